"""A sentence in one system of units: reasons are written with metric numbers, some with the US one beside them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from covercrop.base import units

if TYPE_CHECKING:
    from collections.abc import Callable

_NUMBER = r"-?(?<![\d.])\d+(?:,\d{3})*(?:\.\d+)?"
#: One number or a range of them.
_RANGE = rf"{_NUMBER}(?: (?:to|and|by) {_NUMBER})?"


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


#: Metric units as sentences have them, longer ones first: the US unit, the way to it, and the spelling on a screen.
_UNITS: tuple[tuple[str, str, Callable[[float], float], str], ...] = (
    ("degC d", "°F d", _times(1.8), "°C d"),
    ("degC", "°F", units.fahrenheit_from_celsius, "°C"),
    ("kelvin", "°F", _times(1.8), "°C"),
    ("mm/K/d", "in/°F/d", _times(0.001 / units.M_PER_IN / 1.8), "mm/°C/d"),
    ("K", "°F", _times(1.8), "°C"),
    ("kg/ha", "lb/acre", _times(1 / units.KG_HA_PER_LB_ACRE), "kg/ha"),
    ("kg/t", "lb/ton", _times(2.0), "kg/t"),
    ("t/m3", "lb/yd³", _times(1000 / units.KG_PER_LB * units.M3_PER_YD3), "t/m³"),
    ("kg", "lb", _times(1 / units.KG_PER_LB), "kg"),
    ("mm", "in", _times(0.001 / units.M_PER_IN), "mm"),
    ("cm", "in", _times(0.01 / units.M_PER_IN), "cm"),
    ("km", "miles", _times(1000 / units.M_PER_FT / 5280), "km"),
    ("m2", "ft²", _times(1 / units.M_PER_FT**2), "m²"),
    ("m3", "yd³", _times(1 / units.M3_PER_YD3), "m³"),
    ("litres", "gallons", _times(0.001 / units.M3_PER_GAL), "litres"),
    ("ha", "acres", _times(1e4 / units.M2_PER_ACRE), "ha"),
    ("m", "ft", _times(1 / units.M_PER_FT), "m"),
    ("t", "tons", _times(1000 / units.KG_PER_LB / 2000), "t"),
)
_METRIC = "|".join(re.escape(unit) for unit, *_ in _UNITS)
_OF_METRIC = {unit: (us, convert, spelled) for unit, us, convert, spelled in _UNITS}
_US = r"degF|°F|lb/acre|lb|ft|feet|foot|in|inch|inches|acres?|square feet|cubic feet|cubic yards|miles"

_AMOUNT = rf"(?:{_RANGE}) (?:{_METRIC})(?![\w/²³])"
#: A metric amount with the US one in brackets or after ``or``.
_BESIDE = re.compile(rf"(?P<metric>{_AMOUNT}(?: to {_AMOUNT})?) \((?P<us>[^()]*?\b(?:{_US})\b[^()]*)\)")
_OR = re.compile(rf"(?P<metric>{_AMOUNT}) or (?P<us>{_RANGE} (?:{_US}))(?!\w)")
_ALONE = re.compile(rf"(?P<range>{_RANGE}) (?P<unit>{_METRIC})(?![\w/²³])")
#: The base of a sum, whose unit the sum has said.
_BASE = re.compile(rf"(?P<sum>{_NUMBER} degC d) above (?P<base>{_NUMBER})(?! ?deg)(?![\d.])")
#: Sums whose unit the sentence has said before.
_SUM = re.compile(
    rf"(?<=taken as ){_NUMBER}(?= above this base)|(?<=\()\d+(?= above \d)|"
    rf"(?:(?<=range, )|(?<=England against )){_NUMBER} to {_NUMBER}"
)


def one_system(sentence: str, *, us: bool) -> str:
    """A sentence with each amount in one system and one spelling.

    Parameters
    ----------
    sentence : str
        Amounts are metric; some have the US one in brackets or after ``or``.
    us : bool
        Keep or make the US ones; else keep the metric ones.
    """
    told = _SUM.sub(lambda found: f"{found[0]} degC d", sentence) if "degC d" in sentence else sentence
    told = _BASE.sub(lambda found: f"{found['sum']} above {found['base']} degC", told)
    keep = "us" if us else "metric"
    told = _OR.sub(lambda found: found[keep], _BESIDE.sub(lambda found: found[keep], told))
    told = _ALONE.sub(_converted if us else _spelled, told)
    if us:
        told = told.replace("each kelvin", "each 1.8 °F").replace("each mm", "each 0.04 in")
    return told.replace("each kelvin", "each °C").replace("degF", "°F")


def _spelled(found: re.Match[str]) -> str:
    return f"{found['range']} {_OF_METRIC[found['unit']][2]}"


def _converted(found: re.Match[str]) -> str:
    unit, convert, _ = _OF_METRIC[found["unit"]]
    return f"{re.sub(_NUMBER, lambda number: _rounded(number[0], convert), found['range'])} {unit}"


def _rounded(text: str, convert: Callable[[float], float]) -> str:
    """A converted number with as many figures as the one that it comes from, and one more where it had but one."""
    figures = max(2, len(re.sub(r"^0+|\D", "", text)))
    value = float(f"{convert(float(text.replace(',', ''))):.{figures}g}")
    return f"{value:,.10g}"
