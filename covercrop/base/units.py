"""Unit conversion, at the edges only: on reading and on showing.

A temperature and a temperature difference convert differently: 50 degF is
10 degC, but a difference of 18 degF is one of 10 degC, and 90 degF d are
50 degC d.  Each function therefore says which of the two it takes.
All functions take and return floats or arrays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from covercrop.base.errors import ParameterError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Number = TypeVar("Number", float, "NDArray[np.float64]")

M_PER_FT = 0.3048  # exact, international foot
M_PER_IN = 0.0254  # exact
KM_PER_MILE = 1.609344  # exact, international mile
KG_PER_LB = 0.45359237  # exact, international pound
M2_PER_ACRE = 4046.8564224  # exact, international acre
M2_PER_HA = 10_000.0
M3_PER_GAL = 231 * M_PER_IN**3  # exact, US gallon
M3_PER_YD3 = (3 * M_PER_FT) ** 3

KG_HA_PER_LB_ACRE = KG_PER_LB / M2_PER_ACRE * M2_PER_HA
KG_T_PER_LB_TON = 0.5  # pounds in a short ton are parts in 2000


def celsius_from_fahrenheit(temperature: Number) -> Number:
    """Temperature [degF] to [degC]."""
    return (temperature - 32.0) / 1.8


def fahrenheit_from_celsius(temperature: Number) -> Number:
    """Temperature [degC] to [degF]."""
    return temperature * 1.8 + 32.0


def celsius_difference(difference: Number) -> Number:
    """Temperature difference or degree-day sum [degF, degF d] to [degC, degC d]."""
    return difference / 1.8


def fahrenheit_difference(difference: Number) -> Number:
    """Temperature difference or degree-day sum [degC, degC d] to [degF, degF d]."""
    return difference * 1.8


def in_both(value: float, unit: str) -> str:
    """A number in the units of both kinds of reader, for a sentence that all of them read.

    Parameters
    ----------
    value : float
    unit : str
        ``degC``, ``K``, ``m``, ``mm`` or ``kg/ha``.

    Returns
    -------
    str
        Such as ``"21 degC (70 degF)"``, to two places that count.

    Raises
    ------
    ParameterError
        If the unit has no counterpart.
    """
    pairs = {
        "degC": (value, "degC", fahrenheit_from_celsius(value), "degF"),
        "K": (value, "degC", fahrenheit_difference(value), "degF"),
        "m": (value, "m", value / M_PER_FT, "ft"),
        "mm": (value / 10, "cm", _half_inches(value / 1000 / M_PER_IN), "in"),
        "kg/ha": (value, "kg/ha", value / KG_HA_PER_LB_ACRE, "lb/acre"),
    }
    if unit not in pairs:
        raise ParameterError(f"no two units for {unit!r}; known: {', '.join(pairs)}")
    metric, its_unit, us, us_unit = pairs[unit]
    return f"{_two_places(metric)} {its_unit} ({_two_places(us)} {us_unit})"


def _half_inches(inches: float) -> float:
    """A length as it is said in inches: to the half inch from one inch on."""
    return round(2 * inches) / 2 if inches >= 0.9 else inches


def _two_places(value: float) -> str:
    return f"{float(f'{value:.2g}'):,g}"


#: Factor from each unit to the one used inside for the same quantity.
#: Absolute temperatures are the exception: see :func:`to_internal`.
_FACTORS: dict[str, tuple[str, float]] = {
    "degC d": ("degC d", 1.0),
    "degF d": ("degC d", 1 / 1.8),
    "K": ("K", 1.0),
    "d": ("d", 1.0),
    "week": ("d", 7.0),
    "1/d": ("1/d", 1.0),
    "1/K/d": ("1/K/d", 1.0),
    "1/K3/d": ("1/K3/d", 1.0),
    "1/cm2": ("1/cm2", 1.0),
    "mm/K/d": ("mm/K/d", 1.0),
    "h": ("h", 1.0),
    "1": ("1", 1.0),
    "%": ("%", 1.0),
    "m": ("m", 1.0),
    "ft": ("m", M_PER_FT),
    "in": ("m", M_PER_IN),
    "mm": ("mm", 1.0),
    "m3": ("m3", 1.0),
    "ft3": ("m3", M_PER_FT**3),
    "kg/t": ("kg/t", 1.0),
    "lb/ton": ("kg/t", KG_T_PER_LB_TON),
    "t/m3": ("t/m3", 1.0),
    "% N": ("% N", 1.0),
    "kg/ha": ("kg/ha", 1.0),
    "Mg/ha": ("kg/ha", 1000.0),
    "lb/acre": ("kg/ha", KG_HA_PER_LB_ACRE),
    "kg/ha per m": ("kg/ha per m", 1.0),
    "lb/acre per in": ("kg/ha per m", KG_HA_PER_LB_ACRE / M_PER_IN),
    "kg/ha per degC d": ("kg/ha per degC d", 1.0),
    "kg/ha per 100 degC d": ("kg/ha per degC d", 0.01),
}

UNITS = ("degC", "degF", *_FACTORS)


def to_internal(value: float, unit: str) -> tuple[float, str]:
    """A value in a unit of the parameter files, in the unit used inside.

    Parameters
    ----------
    value : float
    unit : str
        One of :data:`UNITS`.

    Returns
    -------
    tuple of float and str
        The value and its unit.

    Raises
    ------
    ParameterError
        If the unit is not known.
    """
    if unit == "degC":
        return value, "degC"
    if unit == "degF":
        return celsius_from_fahrenheit(value), "degC"
    try:
        internal, factor = _FACTORS[unit]
    except KeyError:
        raise ParameterError(f"unknown unit {unit!r}; use one of {', '.join(UNITS)}") from None
    return value * factor, internal
