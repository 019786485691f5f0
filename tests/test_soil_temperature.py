"""Soil temperature: the published equations, the ground covers, and one place where growers know the date."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from covercrop.base.errors import UnknownNameError
from covercrop.models.soil_temperature import (
    GROUND_COVERS,
    PLASTIC_WARMING,
    SOIL_ERROR_SD,
    daily_gain,
    held,
    soil_temperature,
    surface_temperature,
)

CHECKS = Path(__file__).resolve().parent.parent / "data" / "validation" / "planting_checks.csv"


def checks(name: str) -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["check"] == name]


AIR = arrays(np.float64, st.tuples(st.just(2), st.integers(1, 40)), elements=st.floats(-20, 35))


@pytest.mark.parametrize("row", checks("surface_temperature"), ids=lambda row: row["given"])
def test_surface_temperature_is_as_published(row: dict[str, str]) -> None:
    """The surface is as warm as the equation of Kätterer and Andrén (2009) makes it, to the printed precision."""
    air, leaf_area = row["given"].split(" C leaf area ")
    assert surface_temperature(float(air), float(leaf_area)) == pytest.approx(
        float(row["expected"]), abs=float(row["tolerance"])
    )


@pytest.mark.parametrize("row", checks("daily_gain"), ids=lambda row: row["given"])
def test_daily_gain_is_as_published(row: dict[str, str]) -> None:
    """Bare soil closes the published share of the gap (Kätterer and Andrén 2009), to the printed precision."""
    assert daily_gain(float(row["given"]), 0.0) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_error_lies_within_the_published_range() -> None:
    """Zheng et al. (1993) report standard errors of 1.5 to 2.9 degC for models of this kind."""
    assert 1.5 <= SOIL_ERROR_SD <= 2.9


def test_plastic_is_at_the_safe_end_of_what_was_measured() -> None:
    """The least that was printed is used: 3 degF or 1.7 K at 4 in at most (Pennsylvania State University).

    North Carolina has 2.2 to 2.8 K at 2 in, Texas 3 to 8 at 10 cm (HortScience 39(4), 802A).
    """
    bare, plastic = (soil_temperature(np.full(30, 16.0), cover) for cover in ("bare", "black-plastic"))
    np.testing.assert_allclose(plastic - bare, 1.7)
    assert PLASTIC_WARMING == 1.7


def test_steady_air_is_reached_exponentially() -> None:
    """After a step the gap to the new surface closes by the gain a day: the sum of a geometric series."""
    air = np.concatenate([[0.0], np.full(20, 10.0)])
    surface, gain = float(surface_temperature(10.0, 0.0)), float(daily_gain(75.0, 0.0))
    expected = surface * (1 - (1 - gain) ** np.arange(21))
    np.testing.assert_allclose(soil_temperature(air, "bare"), expected, atol=1e-12)


def test_a_tenth_of_the_first_guess_is_left_after_ten_days() -> None:
    """Two seasons that differ on the first day only differ by less than a tenth of it ten days on."""
    warm, cold = np.full(11, 10.0), np.full(11, 10.0)
    warm[0] = 20.0
    first, *_, last = soil_temperature(warm, "bare") - soil_temperature(cold, "bare")
    assert 0 < last < 0.1 * first


def test_deeper_soil_lags_more() -> None:
    """At 150 mm a warm spell arrives later and weaker than at 50 mm."""
    air = np.concatenate([np.full(10, 10.0), np.full(5, 20.0)])
    shallow, deep = (soil_temperature(air, "bare", depth_mm=depth) for depth in (50.0, 150.0))
    assert (deep[10:] < shallow[10:]).all()


@given(AIR)
def test_ground_covers_stand_in_order(air: np.ndarray) -> None:
    """In air above freezing straw is never warmer than bare ground in a rising spring, and plastic always is."""
    rising = np.sort(np.abs(air), axis=-1)
    straw, bare, plastic = (soil_temperature(rising, cover) for cover in ("straw", "bare", "black-plastic"))
    assert (straw <= bare + 1e-9).all()
    assert (bare < plastic).all()


@given(AIR, st.sampled_from(GROUND_COVERS))
def test_seasons_are_worked_one_by_one(air: np.ndarray, cover: str) -> None:
    """Leading axes are independent, later days do not change earlier ones, and the input stays as it was."""
    kept = air.copy()
    until = np.array([3.0, np.nan])
    together = soil_temperature(air, cover, canopy_until=until)
    for season, single, end in zip(together, air, until, strict=True):
        np.testing.assert_array_equal(season, soil_temperature(single, cover, canopy_until=end))
        half = single.size // 2
        np.testing.assert_array_equal(season[:half], soil_temperature(single[:half], cover, canopy_until=end))
    np.testing.assert_array_equal(air, kept)


@given(AIR, st.floats(0.1, 5.0))
def test_warmer_air_never_cools_the_soil(air: np.ndarray, more: float) -> None:
    """Raising the air temperature on every day raises the soil or leaves it."""
    assert (soil_temperature(air + more, "bare") >= soil_temperature(air, "bare") - 1e-9).all()


def test_ground_is_bare_from_the_day_of_turning_under() -> None:
    """Under the standing cover the soil goes to the air's temperature, from turning under on above it."""
    air = np.full(60, 18.0)
    soil = soil_temperature(air, "bare", canopy_until=30)
    np.testing.assert_allclose(soil[:30], 18.0)
    assert (soil[30:] > 18.0).all()
    assert soil[-1] == pytest.approx(float(surface_temperature(18.0, 0.0)), abs=0.01)
    np.testing.assert_allclose(soil_temperature(air, "bare", canopy_until=np.nan), 18.0)


def test_straw_costs_about_two_degrees() -> None:
    """In steady air of 20 degC the soil under straw is 1 to 3 degC below bare ground: common practice, no source."""
    bare, straw = (soil_temperature(np.full(40, 20.0), cover)[-1] for cover in ("bare", "straw"))
    assert bare - straw == pytest.approx(2.0, abs=1.0)


def test_an_unknown_day_leaves_the_rest_unknown() -> None:
    """The soil of a day without air temperature, and of all later days, is not made up."""
    soil = soil_temperature(np.array([10.0, 12.0, np.nan, 12.0]), "bare")
    assert np.isnan(soil).tolist() == [False, False, True, True]


def test_an_unknown_ground_cover_is_named() -> None:
    """A cover that is not known is refused with near matches."""
    with pytest.raises(UnknownNameError, match=r"unknown ground cover 'plastic'; did you mean black-plastic\?"):
        soil_temperature(np.zeros(3), "plastic")


def test_held_is_the_lowest_of_four_days() -> None:
    """One warm day does not count: the lowest of today and the three days before does."""
    soil = np.array([[10.0, 20.0, 21.0, 22.0, 19.0], [1.0, 2.0, np.nan, 4.0, 5.0]])
    expected = np.array([[np.nan, np.nan, np.nan, 10.0, 19.0], [np.nan] * 5])
    np.testing.assert_array_equal(held(soil), expected)
    np.testing.assert_array_equal(held(soil[:, :2]), np.full((2, 2), np.nan))


# --- what is assumed, by what it does -------------------------------------------------------------


def test_the_error_of_the_model_is_two_degrees() -> None:
    """As every answer says (``plantback.ASSUMPTIONS``), and no other number of the published range."""
    assert SOIL_ERROR_SD == 2.0


def test_straw_and_a_cover_shade_as_leaves_do() -> None:
    """Straw is worth a leaf area of two, a standing cover one of three; in steady air the soil goes to that surface."""
    air = np.full(400, 20.0)
    assert soil_temperature(air, "straw")[-1] == pytest.approx(20 * (0.95 + 0.05 * np.exp(0.4)))
    assert soil_temperature(air, "bare")[-1] == pytest.approx(20 * (0.95 + 0.05 * np.exp(1.2)))
    assert soil_temperature(air, "straw", canopy_until=np.nan)[-1] == pytest.approx(20.0)


def test_each_shade_slows_the_soil() -> None:
    """After a step of ten degrees the gap closes by 0.24 exp(-0.017 depth / 20) exp(-0.15 area / 0.8) a day."""
    step = np.concatenate([np.zeros(1), np.full(3, 10.0)])
    for cover, area in (("bare", 0.0), ("straw", 2.0)):
        surface = 10 * (0.95 + 0.05 * np.exp(-0.4 * (area - 3)))
        for depth in (75.0, 150.0):
            gain = 0.24 * np.exp(-0.017 * depth / 20) * np.exp(-0.15 * area / 0.8)
            expected = surface * (1 - (1 - gain) ** np.arange(4))
            np.testing.assert_allclose(soil_temperature(step, cover, depth_mm=depth), expected, atol=1e-12)
    by_default = soil_temperature(step, "bare")
    np.testing.assert_array_equal(by_default, soil_temperature(step, "bare", depth_mm=75.0))


def test_plastic_warms_only_once_it_is_laid() -> None:
    """Under the standing cover there is none."""
    air = np.full(40, 18.0)
    warmer = soil_temperature(air, "black-plastic", canopy_until=25) - soil_temperature(air, "bare", canopy_until=25)
    assert warmer.tolist() == pytest.approx([0.0] * 25 + [1.7] * 15)


def test_frost_is_damped_and_thaw_is_not() -> None:
    """A fifth of the air below 0 degC; from 0 up the air itself under a closed stand."""
    assert surface_temperature([-10.0, -0.5, 0.0, 0.5, 0.99], 3.0).tolist() == pytest.approx(
        [-2.0, -0.1, 0.0, 0.5, 0.99]
    )


def test_years_of_days_are_followed_as_day_by_day() -> None:
    """Across the stretches that are summed at a time, with a cover and without."""
    air = 12 + 10 * np.sin(np.arange(1500) / 58)
    for until in (None, 690.0, 1405.0):
        soil = soil_temperature(air, "straw", canopy_until=until)
        area = np.where(np.arange(1500) < (until or 0), 3.0, 2.0)
        surface, gain = surface_temperature(air, area), daily_gain(75.0, area)
        expected = [surface[0]]
        for day in range(1, 1500):
            expected.append(expected[-1] + gain[day] * (surface[day] - expected[-1]))
        np.testing.assert_allclose(soil, expected, atol=1e-9)


def test_held_over_other_days() -> None:
    """One day is itself; as many days as there are give one value."""
    soil = np.array([3.0, 1.0, 2.0])
    assert held(soil, 1).tolist() == [3.0, 1.0, 2.0]
    assert held(soil, 2)[1:].tolist() == [1.0, 1.0]
    assert held(soil, 3)[2] == 1.0
    assert np.isnan(held(soil, 3)[:2]).all()
    assert np.isnan(held(soil, 4)).all()
    assert np.isnan(held(soil)).all()


def test_years_of_days_of_many_places_are_those_of_each() -> None:
    """However long: two rows of two places, over more days than are summed at a time."""
    air = 12 + 10 * np.sin(np.arange(900) / np.array([50.0, 55.0, 60.0, 65.0]).reshape(2, 2, 1))
    together = soil_temperature(air, "bare")
    for place in np.ndindex(2, 2):
        np.testing.assert_array_equal(together[place], soil_temperature(air[place], "bare"))
