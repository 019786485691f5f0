"""Hazards: published maggot numbers, the rule put together from them, diseases, and freezes on both sides."""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from covercrop.base.errors import UnknownNameError
from covercrop.base.records import CitedValue
from covercrop.base.units import celsius_from_fahrenheit, fahrenheit_difference
from covercrop.models import frost, maggot, season_calendar, seedling_disease
from covercrop.models.soil_temperature import held
from covercrop.parameters.companions import CerealWait

CHECKS = Path(__file__).resolve().parent.parent / "data" / "validation" / "planting_checks.csv"


def checks(name: str) -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["check"] == name]


# --- seedcorn maggot ------------------------------------------------------------------------------


@pytest.mark.parametrize("row", checks("maggot_degree_days"), ids=lambda row: row["given"])
def test_maggot_degree_days_are_as_published(row: dict[str, str]) -> None:
    """Degree-days in degF d follow the rule of the row's source: the maximum is cut off, cold days count nothing."""
    tmax, tmin = (celsius_from_fahrenheit(float(text)) for text in row["given"].removesuffix(" F").split("/"))
    found = fahrenheit_difference(float(maggot.maggot_degree_days(tmin, tmax)))
    assert found == pytest.approx(float(row["expected"]), abs=1e-9)


def test_peaks_are_as_published() -> None:
    """Peaks of 360, 1080 and 1800 degF d are printed as 200, 600 and 1000 degC d (South Dakota State University)."""
    np.testing.assert_allclose(maggot.MAGGOT_PEAKS, [200, 600, 1000])


@pytest.mark.parametrize("row", checks("brood_peak"), ids=lambda row: f"{row['given']} C")
def test_brood_takes_the_published_sum(row: dict[str, str]) -> None:
    """At a steady temperature the flies bred on the cover are out after the days of the row, to one whole day."""
    steady = np.full(100, float(row["given"]))
    days = float(maggot.brood_peak(steady, steady, 10)) - 10
    assert abs(days - float(row["expected"])) <= float(row["tolerance"])


def test_peaks_are_counted_from_midwinter() -> None:
    """A warm autumn before midwinter does not count; the first day that does is midwinter itself."""
    warm = np.full((2, 200), maggot.MAGGOT_LOWER + 10)
    np.testing.assert_array_equal(maggot.generation_peaks(warm, warm, 50), [[69, 109, 149]] * 2)
    np.testing.assert_array_equal(maggot.generation_peaks(warm[:, :100], warm[:, :100], 50), [[69, np.nan, np.nan]] * 2)


def clear_by_loop(soil: np.ndarray, peaks: np.ndarray, start: float, error: float) -> float:
    """The rule, read out day by day."""
    kept = held(soil)
    for day in range(soil.size):
        if day < start or np.isnan(kept[day]):
            continue
        rotting = day - start < 25 and kept[day] < 18 - error
        flying = any(0 <= day - peak <= 21 for peak in peaks) and kept[day] < 21 - error
        if not rotting and not flying:
            return float(day)
    return float("nan")


@given(
    arrays(np.float64, (3, 120), elements=st.floats(8, 24)),
    st.lists(st.floats(0, 119), min_size=1, max_size=4),
    st.floats(-4, 4),
)
def test_maggot_clear_is_the_rule_read_day_by_day(soil: np.ndarray, starts: list[float], error: float) -> None:
    """Every season and every day of turning under gives the day of the plain loop."""
    tmin, tmax = soil - 5, soil + 5
    peaks = maggot.generation_peaks(tmin, tmax, 3)
    found = maggot.maggot_clear(tmin, tmax, soil, np.array(starts), 3, soil_error=error)
    expected = [
        [clear_by_loop(row, peak, start, error) for start in starts] for row, peak in zip(soil, peaks, strict=True)
    ]
    np.testing.assert_array_equal(found, expected)


@pytest.mark.parametrize(
    ("soil", "days"),
    [
        pytest.param(22.0, 0, id="above 21 C under 3 % of melon plants died"),
        pytest.param(17.0, 25, id="below 18 C 30 to 60 % died; injury least at 3.5 weeks"),
    ],
)
def test_soil_temperature_gates_the_maggots(soil: float, days: int) -> None:
    """Away from any peak, warm soil is safe at once and cold soil after 25 days (muskmelon and rye; Hammond 1993)."""
    cold_air = np.zeros(100)  # no flies from elsewhere
    found = maggot.maggot_clear(cold_air, cold_air, np.full(100, soil), 30, 0)
    assert float(found) == 30 + days


def test_three_weeks_after_a_peak_are_at_risk() -> None:
    """In soil between 18 and 21 degC seed waits until 21 days after the peak (University of Delaware)."""
    warm = np.full(60, maggot.MAGGOT_LOWER + 10)  # first peak on day 19
    assert float(maggot.maggot_clear(warm, warm, np.full(60, 19.0), 25, 0)) == 19 + 21 + 1
    assert float(maggot.maggot_clear(warm, warm, np.full(60, 19.0), 10, 0)) == 10


def test_maggots_where_nothing_is_known() -> None:
    """Without temperatures, or without a day of turning under, there is no date."""
    nothing = np.full(60, np.nan)
    assert np.isnan(maggot.maggot_clear(nothing, nothing, nothing, 5, 0))
    warm = np.full(60, 22.0)
    assert np.isnan(maggot.maggot_clear(warm, warm, warm, np.nan, 0))


# --- seedling diseases ----------------------------------------------------------------------------


def test_disease_floor() -> None:
    """Seed waits 21 days (Grunwald et al. 2000), plants 14 (SARE GNC05-044, 2007)."""
    start = np.array([10.0, np.nan])
    np.testing.assert_array_equal(seedling_disease.disease_clear(start, "direct-seed"), [31, np.nan])
    np.testing.assert_array_equal(seedling_disease.disease_clear(start, "transplant"), [24, np.nan])
    with pytest.raises(UnknownNameError, match=r"did you mean transplant\?"):
        seedling_disease.disease_clear(start, "transplants")


# --- frost ----------------------------------------------------------------------------------------


def season(*freezes: int, days: int = 500) -> np.ndarray:
    """Minimum temperatures of 5 degC with a freeze on some days."""
    tmin = np.full(days, 5.0)
    tmin[list(freezes)] = 0.0
    return tmin


def test_freezes_are_told_apart_by_midsummer() -> None:
    """Spring runs from midwinter to midsummer, autumn from there; 0 degC itself is a freeze."""
    tmin = season(60, 100, 220, 300, 420, 430)
    assert float(frost.freeze_free_from(tmin, 110)) == 221
    assert float(frost.first_autumn_freeze(tmin, 110)) == 300
    assert float(frost.freeze_free_from(tmin, 110, threshold=-2.0)) == 110
    assert np.isnan(frost.first_autumn_freeze(tmin, 110, threshold=-2.0))


def test_south_of_the_equator_only_midwinter_moves() -> None:
    """The same weather half a year on, with midwinter half a year on, gives the same dates half a year on."""
    tmin = season(220, 300)
    south = np.concatenate([np.full(181, 5.0), tmin])
    assert frost.freeze_free_from(south, 110 + 181) == frost.freeze_free_from(tmin, 110) + 181
    assert frost.first_autumn_freeze(south, 110 + 181) == frost.first_autumn_freeze(tmin, 110) + 181


def test_unknown_days_after_the_last_freeze_hide_it() -> None:
    """A day that is not known may have frozen: no date, unless a known freeze comes later; nor off the axis."""
    hidden, harmless = season(150), season(150)
    hidden[200], harmless[140] = np.nan, np.nan
    np.testing.assert_array_equal(frost.freeze_free_from(np.stack([hidden, harmless]), 110), [np.nan, 151])
    assert np.isnan(frost.freeze_free_from(season(150, days=200), 110))
    assert np.isnan(frost.first_autumn_freeze(season(150, days=200), 110))


def test_midwinter_itself_and_the_last_day_before_midsummer_are_of_spring() -> None:
    """A freeze on 1 January counts, as does one 181 days on; the day after is of the next autumn."""
    assert frost.freeze_free_from(season(110), 110) == 111
    assert frost.freeze_free_from(season(109), 110) == 110
    assert frost.freeze_free_from(season(110 + 181), 110) == 110 + 182
    assert frost.freeze_free_from(season(110 + 182), 110) == 110
    assert frost.first_autumn_freeze(season(110 + 182), 110) == 110 + 182
    assert np.isnan(frost.first_autumn_freeze(season(110 + 181), 110))


def test_a_spring_that_begins_before_the_axis_is_what_is_left_of_it() -> None:
    """Sown after midwinter: the days that there are count from the first on, until midsummer."""
    assert frost.freeze_free_from(season(0), -40) == 1
    assert frost.freeze_free_from(season(), -40) == 0
    assert frost.freeze_free_from(season(), 0) == 0
    assert frost.freeze_free_from(season(141, 142), -40) == 142  # midsummer is day 142
    assert frost.first_autumn_freeze(season(141, 142), -40) == 142
    assert frost.first_autumn_freeze(season(0), -400) == 0


def test_the_last_day_of_spring_may_be_the_only_one_there_is() -> None:
    """Midsummer is day 1: a freeze on day 0 ends spring, and without one it is free from day 0."""
    assert frost.freeze_free_from(np.stack([season(0), season(1)]), -181).tolist() == [1, 0]


def test_half_a_degree_above_is_no_freeze() -> None:
    """Unless that is what harms the crop; at the threshold itself it is."""
    tmin = season()
    tmin[[150, 320]] = 0.5
    assert frost.freeze_free_from(tmin, 110) == 110
    assert np.isnan(frost.first_autumn_freeze(tmin, 110))
    assert frost.freeze_free_from(tmin, 110, threshold=0.5) == 151
    assert frost.first_autumn_freeze(tmin, 110, threshold=0.5) == 320


def test_springs_without_a_day_have_no_date() -> None:
    """Off the axis at either end, a year each; the last day of the axis may be the last of spring."""
    years = np.stack([season(), season(5)])
    for midwinter in (-182, -300, 319, 600):
        found = frost.freeze_free_from(years, midwinter)
        assert found.shape == (2,)
        assert np.isnan(found).all()
    assert frost.freeze_free_from(years, 318).tolist() == [318, 318]
    for midwinter in (318, 600):
        autumn = frost.first_autumn_freeze(years, midwinter)
        assert autumn.shape == (2,)
        assert np.isnan(autumn).all()


def test_a_spring_that_is_not_known_throughout_has_no_date_and_one_that_freezes_last_has() -> None:
    """Every day unknown; every day a freeze; the last day unknown or a freeze."""
    unknown = np.full(400, np.nan)
    assert np.isnan(frost.freeze_free_from(unknown, 110))
    assert frost.freeze_free_from(np.full(400, -1.0), 110) == 110 + 182
    hidden = season(120, days=400)
    hidden[110 + 181] = np.nan
    assert np.isnan(frost.freeze_free_from(hidden, 110))
    first = season(days=400)
    first[110] = np.nan
    assert np.isnan(frost.freeze_free_from(first, 110))


@pytest.mark.parametrize(
    ("day", "latitude", "midwinter"),
    [
        ("2026-04-20", 37.6, "2026-01-01"),
        ("2026-09-30", 37.6, "2026-01-01"),
        ("2026-10-01", 37.6, "2027-01-01"),  # 92 days before
        ("2026-12-31", 0.0, "2027-01-01"),
        ("2026-01-01", 37.6, "2026-01-01"),
        ("2026-03-30", -33.0, "2025-07-01"),
        ("2026-03-31", -33.0, "2026-07-01"),
        ("2026-10-20", -33.0, "2026-07-01"),
        ("2026-07-01", -0.1, "2026-07-01"),
    ],
)
def test_the_midwinter_before_a_spring(day: str, latitude: float, midwinter: str) -> None:
    """1 January, south of the equator 1 July; from a quarter of a year before it on, the next spring is meant."""
    assert season_calendar.midwinter_before(np.datetime64(day), latitude) == np.datetime64(midwinter)


def test_the_day_of_turning_under_breeds_nothing() -> None:
    """Eight degree-days a day from the morrow on: the brood of 408 is out on the 51st day."""
    warm = np.full(80, maggot.MAGGOT_LOWER + 8.0)
    assert maggot.brood_peak(warm, warm, 10.0) == 10 + 51
    assert np.isnan(maggot.brood_peak(warm, warm, 40.0))


def test_a_season_is_five_hundred_days() -> None:
    """From the day of sowing to past the first freeze of the next autumn: a year and 135 days."""
    assert season_calendar.season_ends(dt.date(2025, 9, 1)) == dt.date(2026, 9, 1) + dt.timedelta(days=135)
    assert season_calendar.DAYS_OF_SEASON == 501


@pytest.mark.parametrize(
    ("method", "terminate", "small", "early", "likely", "late"),
    [
        ("direct-seed", "turn-under", False, 14, 21, 28),
        ("direct-seed", "turn-under", True, 21, 28, 35),
        ("transplant", "turn-under", False, 7, 14, 21),
        ("direct-seed", "roll", False, 10, 12, 14),
        ("direct-seed", "mow", True, 28, 28, 42),
        ("transplant", "roll", False, 0, 7, 14),
        ("transplant", "tarp", False, 0, 0, 0),
        ("direct-seed", "tarp", False, 0, 0, 0),
    ],
)
def test_the_wait_for_seedling_disease_fits(
    method: str, terminate: str, small: bool, early: float, likely: float, late: float
) -> None:
    """By way of planting, seed and way of ending; eight draws of ten lie between its ends; a tarp's weeks count."""
    found = seedling_disease.disease_clear(
        100.0, method, terminate, small_seed=small, draw=np.array([-1.2816, 0.0, 1.2816])
    )
    np.testing.assert_array_equal(found - 100, [early, likely, late])


@pytest.mark.parametrize(
    ("sown", "latitude", "midwinter"),
    [
        ("2025-09-10", 40.0, "2026-01-01"),
        ("2026-02-15", 40.0, "2026-01-01"),  # sown in spring, of the winter just past
        ("2026-04-01", 40.0, "2026-01-01"),
        ("2026-04-02", 40.0, "2027-01-01"),  # 182 days on it is October
        ("2026-03-10", -37.0, "2026-07-01"),
    ],
)
def test_the_midwinter_of_a_sowing(sown: str, latitude: float, midwinter: str) -> None:
    """That of the spring which comes half a year after it."""
    assert season_calendar.midwinter_after(np.datetime64(sown), latitude) == np.datetime64(midwinter)


def test_a_peak_of_flies_is_a_risk_from_its_day_on() -> None:
    """Ten degree-days a day: out on day 19; sown the day before, in soil of 19 degC, seed is at low risk at once."""
    warm, soil = np.full(60, maggot.MAGGOT_LOWER + 10), np.full(60, 19.0)
    found = maggot.maggot_clear(warm, warm, soil, np.array([18.0, 19.0, 40.0, 41.0]), 0)
    np.testing.assert_array_equal(found, [18, 41, 41, 41])


def test_draws_of_a_tarp_that_outlasts_the_disease() -> None:
    """Under a tarp three weeks are over when it is dead: four and six weeks of small seed leave one and three."""
    late = seedling_disease.disease_clear(100.0, "direct-seed", "tarp", small_seed=True, draw=[0.0, 1.2816])
    np.testing.assert_array_equal(late, [107, 121])
    never_early = seedling_disease.disease_clear(100.0, "transplant", draw=-9.0)
    assert never_early == 100


@pytest.mark.parametrize(
    ("method", "terminate", "small", "waits"),
    [
        ("direct-seed", "turn-under", False, 30),
        ("direct-seed", "turn-under", True, 40),
        ("transplant", "turn-under", True, 30),
        ("direct-seed", "roll", True, 50),
        ("direct-seed", "mow", False, 12),
        ("transplant", "roll", True, 7),
    ],
)
def test_the_longer_wait_of_two_covers_counts(method: str, terminate: str, small: bool, waits: int) -> None:
    """Invented waits of a cereal: 30 days for what is large, 40 for small seed, 50 for small seed on top of it.

    Large seed and plants go in through what lies on top, and wait for the legume alone: 12 days and 7.
    """
    large, buried, on_top = (CitedValue(value=days, unit="d", printed="", basis="assumed") for days in (30, 40, 50))
    cereal = CerealWait(large_seed=large, small_seed=buried, small_seed_on_top=on_top)
    found = seedling_disease.disease_clear(100.0, method, terminate, small_seed=small, cereal=cereal)
    assert found == 100 + waits
    brief = CerealWait(**dict.fromkeys(CerealWait.__slots__, replace(large, value=1.0)))
    alone = seedling_disease.disease_clear(100.0, method, terminate, small_seed=small)
    assert seedling_disease.disease_clear(100.0, method, terminate, small_seed=small, cereal=brief) == alone
