"""Conversions at the edges: exact where the definition is exact."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.base import units
from covercrop.base.errors import ParameterError

temperatures = st.floats(-100, 150)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # Fixed points of the two scales by definition: they cross at -40, water freezes at 32 and boils at 212 degF.
    [(-40.0, -40.0), (32.0, 0.0), (50.0, 10.0), (212.0, 100.0)],
)
def test_temperatures_at_fixed_points(fahrenheit: float, celsius: float) -> None:
    """The fixed points of both scales meet, to 1e-12 K."""
    assert units.celsius_from_fahrenheit(fahrenheit) == pytest.approx(celsius, abs=1e-12)
    assert units.fahrenheit_from_celsius(celsius) == pytest.approx(fahrenheit, abs=1e-12)


def test_a_difference_has_no_offset() -> None:
    """18 degF of difference are 10 K, although 18 degF on the thermometer are not 10 degC."""
    assert units.celsius_difference(18.0) == pytest.approx(10.0)
    assert units.fahrenheit_difference(10.0) == pytest.approx(18.0)
    assert units.celsius_from_fahrenheit(18.0) == pytest.approx(-7.7777777778)


@given(temperatures)
def test_there_and_back(value: float) -> None:
    """Converting there and back returns the value, to 1e-9."""
    assert units.fahrenheit_from_celsius(units.celsius_from_fahrenheit(value)) == pytest.approx(value, abs=1e-9)
    assert units.fahrenheit_difference(units.celsius_difference(value)) == pytest.approx(value, abs=1e-9)


@given(temperatures, temperatures)
def test_differences_are_differences_of_temperatures(one: float, other: float) -> None:
    """A difference converted equals the difference of the converted temperatures, to 1e-9 K."""
    apart = units.celsius_from_fahrenheit(one) - units.celsius_from_fahrenheit(other)
    assert units.celsius_difference(one - other) == pytest.approx(apart, abs=1e-9)


def test_arrays_convert_whole_and_stay_unchanged() -> None:
    """An array converts element by element and the one given is left alone."""
    given_values = np.array([32.0, 50.0, np.nan])
    before = given_values.copy()
    np.testing.assert_allclose(units.celsius_from_fahrenheit(given_values), [0.0, 10.0, np.nan])
    np.testing.assert_array_equal(given_values, before)


@pytest.mark.parametrize(
    ("value", "unit", "internal", "internal_unit"),
    [
        # Exact by definition: 0.45359237 kg, 0.3048 m, 4046.8564224 m2 (NIST Special Publication 811, Appendix B).
        (1.0, "lb/acre", 0.45359237 / 0.40468564224, "kg/ha"),
        (2.5, "Mg/ha", 2500.0, "kg/ha"),
        (40.0, "degF", 40 / 9, "degC"),
        (90.0, "degF d", 50.0, "degC d"),
        (3.2, "% N", 3.2, "% N"),
        (7.0, "degC", 7.0, "degC"),
        (450.0, "kg/ha per 100 degC d", 4.5, "kg/ha per degC d"),
    ],
)
def test_to_internal(value: float, unit: str, internal: float, internal_unit: str) -> None:
    """A printed value becomes the one used inside, to one part in a million million."""
    converted, name = units.to_internal(value, unit)
    assert name == internal_unit
    assert converted == pytest.approx(internal, rel=1e-12)


@pytest.mark.parametrize("unit", units.UNITS)
def test_internal_units_are_at_rest(unit: str) -> None:
    """Converting what is already internal changes nothing, whatever it came from."""
    value, internal = units.to_internal(7.0, unit)
    assert units.to_internal(value, internal) == (value, internal)


def test_unknown_unit_is_named() -> None:
    """An unknown unit is refused with the value and the units that are known."""
    with pytest.raises(ParameterError, match="unknown unit 'furlong'; use one of degC, degF"):
        units.to_internal(1.0, "furlong")


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (21.0, "degC", "21 degC (70 degF)"),
        (-4.5, "degC", "-4.5 degC (24 degF)"),
        (1.5, "K", "1.5 degC (2.7 degF)"),
        (200.0, "mm", "20 cm (8 in)"),
        (1.2192, "m", "1.2 m (4 ft)"),
        (2241.7, "kg/ha", "2,200 kg/ha (2,000 lb/acre)"),
    ],
)
def test_a_number_in_both_units(value: float, unit: str, said: str) -> None:
    """A sentence for every reader names both units: a difference is no temperature; two places count."""
    assert units.in_both(value, unit) == said


def test_no_two_units_are_made_up() -> None:
    """A unit without a counterpart is refused by name."""
    with pytest.raises(ParameterError, match="no two units for 'd'"):
        units.in_both(3.0, "d")
