"""From temperatures to stages: hand-worked cases, properties, and what is known of the field."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, t

from covercrop.base.records import CitedValue
from covercrop.models import bbch, phenology
from covercrop.models.daylength import day_length
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Bloom, Cover

DAYS = 480
ORDERED = ("emergence", "bud", "first_flower", "bloom_10", "bloom_25", "bloom_50", "end_of_bloom")
SHORT = settings(max_examples=40)


def cited(value: float) -> CitedValue:
    return CitedValue(value=value, unit="1", printed="", basis="assumed", reason="made for a test")


def bloom(cool_days: float = 0.0, requirement: float = 200.0) -> Bloom:
    """A cover with round numbers: base 4, optimum 20, gate from 10 to 14 hours, two degrees a day."""
    return Bloom(
        base=cited(4.0),
        optimum=cited(20.0),
        day_length_none=cited(10.0),
        day_length_full=cited(14.0),
        cool_days=cited(cool_days),
        requirement=cited(requirement),
        pace=cited(2.0),
        spread=cited(6.0),
        cultivar_spread=cited(8.0),
    )


def made_up(cool_days: float = 0.0, requirement: float = 200.0) -> Cover:
    """The cover of :func:`bloom`, with the stages of crimson clover."""
    crimson = catalogue.cover("crimson-clover")
    return replace(
        crimson,
        bloom=bloom(cool_days, requirement),
        emergence=replace(crimson.emergence, base=cited(2.0), sum=cited(100.0)),
        stages=replace(crimson.stages, bud=cited(120.0), first_flower=cited(80.0), bloom_10=cited(40.0)),
    )


@st.composite
def seasons(draw: st.DrawFn) -> np.ndarray:
    """Daily means [degC] from mid-September on, at about 37 degrees north, warm or cold, calm or rough."""
    level = draw(st.floats(10.0, 16.0))
    swing = draw(st.floats(6.0, 13.0))
    rough = draw(st.floats(0.0, 4.0))
    noise = np.random.default_rng(draw(st.integers(0, 2**32 - 1))).normal(0.0, rough, DAYS)
    return level + swing * np.cos(2 * np.pi * (np.arange(DAYS) - 310) / 365.25) + noise


def hours(latitude: float = 37.0, first: int = 258) -> np.ndarray:
    """Day length from a day of the year on."""
    return day_length(latitude, (first + np.arange(DAYS) - 1) % 365 + 1.0)


# --- worked by hand -------------------------------------------------------------------------------


def test_rate_is_warmth_times_gate() -> None:
    """At 12 degC above a base of 4, on days of 12 h half way through the gate, 4 degC d count a day."""
    rate = phenology.photothermal_rate(np.full(5, 12.0), np.full(5, 12.0), -1.0, bloom())
    assert rate == pytest.approx(np.full(5, 4.0))


@pytest.mark.parametrize(
    ("tmean", "length", "expected"),
    [(3.0, 14.0, 0.0), (4.0, 14.0, 0.0), (20.0, 14.0, 16.0), (31.0, 14.0, 16.0), (12.0, 9.0, 0.0), (12.0, 16.0, 8.0)],
)
def test_rate_is_bounded(tmean: float, length: float, expected: float) -> None:
    """Nothing counts below the base or the gate; warmth levels off at the optimum, day length at the full gate."""
    rate = phenology.photothermal_rate(np.array([tmean]), np.array([length]), -1.0, bloom())
    assert rate[0] == pytest.approx(expected)


def test_cool_days_raise_the_response_in_steps() -> None:
    """With four cool days wanted, the first four days at 8 degC count a quarter, a half, three quarters and all."""
    rate = phenology.photothermal_rate(np.full(6, 8.0), np.full(6, 14.0), 0.0, bloom(cool_days=4))
    assert rate == pytest.approx([0.0, 1.0, 2.0, 3.0, 4.0, 4.0])


def test_one_cool_day_is_a_need_of_cool() -> None:
    """Without it nothing counts, from it on all."""
    rate = phenology.photothermal_rate(np.array([12.0, 12.0, 8.0, 12.0]), np.full(4, 14.0), -1.0, bloom(cool_days=1))
    assert rate == pytest.approx([0.0, 0.0, 4.0, 8.0])


@pytest.mark.parametrize("emerged", [-3.0, -1.0, -0.5, 0.0, 0.5, 2.0, 5.0, 6.0, 7.0, 40.0, np.nan])
def test_cool_days_are_counted_from_the_day_after_emergence(emerged: float) -> None:
    """By going from day to day; before the first day, on the last and beyond it, between two days, or never."""
    tmean = np.array([8.0, 12.0, 8.0, 8.0, 12.0, 8.0, 8.0])
    expected, cool = [], 0
    for day, air in enumerate(tmean):
        cool += bool(day > emerged and air < 10)
        expected.append((air - 4) * min(cool / 4, 1))
    both = np.array([[emerged], [1.0]])
    rate = phenology.photothermal_rate(tmean, np.full(7, 14.0), both, bloom(cool_days=4))
    assert rate.shape == (2, 1, 7)
    assert rate[0, 0] == pytest.approx(expected)
    assert rate[1, 0] == pytest.approx([0, 0, 1, 2, 4, 3, 4])


@pytest.mark.parametrize("tmean", [-1.0, 0.0, 10.0, 15.0])
def test_days_outside_the_range_are_not_cool(tmean: float) -> None:
    """A day at or below 0 degC, or at or above 10 degC, is no cool day."""
    warm_later = np.concatenate([np.full(30, tmean), np.full(5, 12.0)])
    assert not phenology.photothermal_rate(warm_later, np.full(35, 14.0), -1.0, bloom(cool_days=4)).any()


def test_nothing_counts_before_or_without_emergence() -> None:
    """The clock starts on the day after emergence, and not at all for seed that does not come up."""
    tmean = np.full((2, 4), 12.0)
    rate = phenology.photothermal_rate(tmean, np.full(4, 14.0), np.array([1.0, np.nan]), bloom())
    assert rate == pytest.approx(np.array([[0.0, 0.0, 8.0, 8.0], [0.0] * 4]))


def test_dates_of_a_constant_season() -> None:
    """At 12 degC on 12 h days: up on the 9th day (100 / 11.4), 25 % bloom 50 days on (200 / 4), and so forth.

    Bare soil at 12 degC air is at 12 (0.95 + 0.05 exp(1.2)) = 13.39 degC, 11.39 above the base of 2.
    """
    days = phenology.stage_days(np.full(200, 12.0), np.full(200, 12.0), made_up())
    assert days["emergence"] == 8
    assert days["bud"] == 8 + (200 - 120) / 4
    assert days["first_flower"] == 8 + (200 - 80) / 4
    assert days["bloom_10"] == 8 + (200 - 40) / 4
    assert days["bloom_25"] == 8 + 200 / 4
    stages, seed = made_up().stages, made_up().seed
    assert days["bloom_50"] == days["bloom_25"] + np.ceil(stages.bloom_50.value / 8)
    assert days["end_of_bloom"] == days["bloom_25"] + np.ceil(stages.end_of_bloom.value / 8)
    viable = seed.viable_share.value * seed.flower_to_maturity.value
    assert days["viable_seed"] == days["first_flower"] + np.ceil(viable / (12 - seed.base.value) - 1e-9)


def test_shift_and_scale_move_bloom_and_seed() -> None:
    """Forty more degC d at four a day are ten days; seed that needs twice the warmth takes twice as long."""
    args = (np.full(300, 12.0), np.full(300, 12.0), made_up())
    plain = phenology.stage_days(*args)
    moved = phenology.stage_days(*args, requirement_shift=[0.0, 40.0], seed_scale=[2.0, 1.0])
    assert moved["bloom_25"] - plain["bloom_25"] == pytest.approx([0.0, 10.0])
    assert moved["viable_seed"][1] - plain["viable_seed"][0] == 10
    ripening = plain["viable_seed"][0] - plain["first_flower"][0]
    assert moved["viable_seed"][0] - moved["first_flower"][0] == pytest.approx(2 * ripening, abs=1)


def test_requirement_below_nothing_is_met_at_once() -> None:
    """A draw that leaves no requirement blooms on the day after emergence, not before it."""
    days = phenology.stage_days(np.full(60, 12.0), np.full(60, 12.0), made_up(), requirement_shift=[-500.0])
    assert days["bloom_25"] == days["emergence"] + 1


def test_never_reached_is_nan() -> None:
    """A cover that stays below its base has no dates; one that comes up under short days only emerges."""
    cold = phenology.stage_days(np.full(50, 1.0), np.full(50, 14.0), made_up())
    assert all(np.isnan(day).all() for day in cold.values())
    dark = phenology.stage_days(np.full(50, 12.0), np.full(50, 9.0), made_up())
    assert dark["emergence"] == 8
    assert all(np.isnan(dark[stage]).all() for stage in dark if stage != "emergence")


@pytest.mark.parametrize("frozen", [20, 150])
def test_seed_waits_for_the_soil_however_long(frozen: int) -> None:
    """Sown into weeks of frost, the seed comes up by the degree-days of the bare soil an inch down from sowing on."""
    cover = catalogue.cover("crimson-clover")
    tmean = np.where(np.arange(300) < frozen, -2.0, 8.0)
    warmth = soil_temperature(tmean[4:], "bare", depth_mm=25.0) - cover.emergence.base.value
    expected = 4 + int(np.argmax(np.cumsum(np.maximum(warmth, 0.0)) >= cover.emergence.sum.value))
    assert phenology.emergence(tmean, cover, 4.0) == expected > frozen
    two = phenology.emergence(np.stack([tmean, tmean]), cover, np.array([[4.0], [frozen], [np.nan], [299.0]]))
    assert two.shape == (4, 2)
    assert two[0, 0] == expected
    assert two[1, 0] > frozen
    assert np.isnan(two[2:]).all()


def test_seed_comes_up_by_the_last_day_known_or_not_at_all() -> None:
    """However short the record, sown on one day or on several: the same day as in the whole of it, or none.

    Nine days at 11.4 degC d, as above, a day begun not counted; or seven of them and a hot one, the last of the record.
    """
    cover, air = made_up(), np.full(90, 12.0)
    air[-1] = 60.0
    sown = np.array([0.0, 50.0, 60.5, 82.0])
    whole = [float(phenology.emergence(air, cover, each)) for each in sown]
    assert whole == [8, 58, 69, 89]
    for days in (9, 10, 58, 59, 60, 69, 70, 89, 90):
        known = [up if up < days else np.nan for up in whole]
        np.testing.assert_array_equal(phenology.emergence(air[:days], cover, sown), known)
        for each, up in zip(sown, known, strict=True):
            np.testing.assert_array_equal(phenology.emergence(air[:days], cover, each), up)


def test_an_error_of_the_soil_is_added_to_it() -> None:
    """Soil of 13.39 degC above a base of 2: a warmer one is sooner up, a much colder one only in the second warm spell.

    100 degC d at 11.39, 21.39 and 0.39 a day, and from the hundredth day on, at 22.5 degC of air, at once more.
    """
    air = np.where(np.arange(150) < 100, 12.0, 22.5)
    errors = np.array([0.0, 10.0, -11.0])
    together = phenology.emergence(air, made_up(), soil_error=errors)
    assert together[:2].tolist() == [8, 4]
    assert 100 < together[2] < 115
    alone = [float(phenology.emergence(air, made_up(), soil_error=error)) for error in errors]
    assert together.tolist() == alone
    both = phenology.emergence(np.stack([air, air + 5]), made_up(), np.array([[0.0], [70.0]]), soil_error=errors)
    assert both.shape == (2, 2, 3)
    np.testing.assert_array_equal(both[0, 0], together)
    later = phenology.emergence(air + 5, made_up(), 70.0, soil_error=errors)
    np.testing.assert_array_equal(both[1, 1], later)


def test_emergence_that_is_known_is_taken() -> None:
    """What is given as the day of emergence stands, and the clock of bloom starts on the day after it."""
    days = phenology.stage_days(np.full(200, 12.0), np.full(200, 12.0), made_up(), emerged=30.0)
    assert days["emergence"] == 30
    assert days["bloom_25"] == 30 + 200 / 4
    clock = phenology.bloom_clock(np.full(200, 12.0), np.full(200, 12.0), made_up(), emerged=30.0)
    assert clock.total[30] == 0
    assert clock.total[31] == 4


# --- properties -----------------------------------------------------------------------------------


@SHORT
@given(seasons(), st.sampled_from(catalogue.cover_names()), st.floats(-120.0, 120.0))
def test_stages_keep_their_order(tmean: np.ndarray, name: str, shift: float) -> None:
    """No stage comes before the one it follows, whatever the cover and the season."""
    days = phenology.stage_days(tmean, hours(), catalogue.cover(name), requirement_shift=[shift])
    filled = np.array([np.nan_to_num(days[stage][0], nan=np.inf) for stage in ORDERED])
    assert (filled[1:] >= filled[:-1]).all()
    assert not days["viable_seed"][0] <= days["first_flower"][0]


@SHORT
@given(seasons(), st.sampled_from(catalogue.cover_names()))
def test_more_to_gather_is_never_earlier(tmean: np.ndarray, name: str) -> None:
    """A longer requirement never brings a stage forward."""
    days = phenology.stage_days(tmean, hours(), catalogue.cover(name), requirement_shift=np.arange(-90.0, 91.0, 30.0))
    for day in days.values():
        assert (np.diff(np.nan_to_num(day, nan=1e9)) >= 0).all()


def no_later(warm: dict[str, np.ndarray], plain: dict[str, np.ndarray]) -> bool:
    return all((np.nan_to_num(warm[stage], nan=1e9) <= np.nan_to_num(plain[stage], nan=1e9)).all() for stage in plain)


@SHORT
@given(seasons(), st.integers(0, 2**32 - 1))
def test_warmer_is_never_later_without_a_need_of_cool(tmean: np.ndarray, seed: int) -> None:
    """For a cover that needs no cool days, warming any days by any amount delays no stage."""
    warmer = tmean + np.random.default_rng(seed).gamma(1.0, 2.0, DAYS)
    cover = catalogue.cover("faba-bean")
    assert cover.bloom.cool_days.value == 0
    assert no_later(phenology.stage_days(warmer, hours(), cover), phenology.stage_days(tmean, hours(), cover))


@SHORT
@given(seasons(), st.integers(0, 2**32 - 1), st.sampled_from(catalogue.cover_names()))
def test_warmer_is_never_later_if_the_cool_days_stay_cool(tmean: np.ndarray, seed: int, name: str) -> None:
    """Warming delays nothing as long as the cool days that fill the need stay below 10 degC."""
    cover = catalogue.cover(name)
    plain = phenology.stage_days(tmean, hours(), cover)
    low, high = phenology.COOL_RANGE
    cool = (tmean > low) & (tmean < high) & (np.arange(DAYS) > plain["emergence"])
    needed = cool & (np.cumsum(cool) <= cover.bloom.cool_days.value)
    warmer = tmean + np.random.default_rng(seed).gamma(1.0, 2.0, DAYS)
    warmer = np.where(needed, np.minimum(warmer, np.maximum(tmean, high - 1e-3)), warmer)
    assert no_later(phenology.stage_days(warmer, hours(), cover), plain)


def test_a_winter_without_cool_days_holds_bloom_back() -> None:
    """The exception to the rule above: a winter at 12 degC gives crimson clover no cool day, one at 9 degC does."""
    cover = catalogue.cover("crimson-clover")
    cool, mild = (phenology.stage_days(np.full(DAYS, tmean), hours(), cover) for tmean in (9.0, 12.0))
    assert np.isfinite(cool["bloom_25"]).all()
    assert np.isnan(mild["bloom_25"]).all()


@SHORT
@given(seasons(), st.integers(0, 40))
def test_a_later_start_of_the_record_changes_nothing(tmean: np.ndarray, before: int) -> None:
    """Sowing on day n of a record is the same as sowing on day 0 of the record from n on, the days before it known."""
    cover = catalogue.cover("hairy-vetch")
    whole = phenology.stage_days(tmean, hours(), cover, sowing=before)
    up = phenology.emergence(tmean[before:], cover, lead=tmean[:before])
    part = phenology.stage_days(tmean[before:], hours()[before:], cover, emerged=up)
    for stage, day in part.items():
        np.testing.assert_array_equal(whole[stage], day + before)


def test_years_and_sowings_are_worked_together_as_they_are_alone() -> None:
    """Shape (sowing, 1) on (year, day) with k draws gives (sowing, year, k), the same numbers as one by one."""
    rng = np.random.default_rng(4)
    tmean = 12 + 10 * np.cos(2 * np.pi * (np.arange(DAYS) - 310) / 365.25) + rng.normal(0, 3, (3, DAYS))
    cover, shift, sowings = catalogue.cover("winter-pea"), np.array([-50.0, 0.0, 50.0, 90.0]), (0, 25)
    together = phenology.stage_days(tmean, hours(), cover, sowing=np.array(sowings)[:, None], requirement_shift=shift)
    assert all(day.shape == (2, 3, 4) for day in together.values())
    for s, sowing in enumerate(sowings):
        for year in range(3):
            alone = phenology.stage_days(tmean[year], hours(), cover, sowing=sowing, requirement_shift=shift)
            for stage, day in alone.items():
                np.testing.assert_array_equal(together[stage][s, year], day)


@SHORT
@given(seasons())
def test_inputs_are_left_alone(tmean: np.ndarray) -> None:
    """No input array is written to."""
    length, shift, scale = hours(), np.array([1.0]), np.array([1.0])
    for array in (tmean, length, shift, scale):
        array.setflags(write=False)
    phenology.stage_days(tmean, length, catalogue.cover("berseem-clover"), requirement_shift=shift, seed_scale=scale)


@SHORT
@given(seasons(), st.integers(150, 300))
def test_days_without_weather_leave_the_past_alone(tmean: np.ndarray, known: int) -> None:
    """Where the record ends, stages already reached keep their dates and later ones are not reached."""
    cover = catalogue.cover("crimson-clover")
    full = phenology.stage_days(tmean, hours(), cover)
    cut = phenology.stage_days(np.where(np.arange(DAYS) < known, tmean, np.nan), hours(), cover)
    for stage, day in full.items():
        np.testing.assert_array_equal(cut[stage], np.where(day < known, day, np.nan))


@pytest.mark.parametrize("latitude", [30.0, 37.0, 43.0])
@pytest.mark.parametrize("name", ["crimson-clover", "hairy-vetch", "subterranean-clover"])
def test_the_south_mirrors_the_north(latitude: float, name: str) -> None:
    """The same weather half a year later gives the same dates south of the equator, within 3 days.

    Not to the day: the year's halves differ by a few days, since the earth's orbit is not a circle.
    """
    tmean = 13 + 10 * np.cos(2 * np.pi * (np.arange(DAYS) - 310) / 365.25)
    cover = catalogue.cover(name)
    north = phenology.stage_days(tmean, hours(latitude, first=258), cover)
    south = phenology.stage_days(tmean, hours(-latitude, first=258 - 183), cover)
    for stage in ORDERED:
        assert abs(north[stage] - south[stage])[0] <= 3


# --- what is known of the field -------------------------------------------------------------------


def clemson_stages(clemson: pd.DataFrame, name: str, sown: str) -> dict[str, np.ndarray]:
    """Stages at Clemson, one entry a year with a complete record, as days after the end of the year of sowing."""
    mean = clemson.mean(axis=1, skipna=False).where(clemson["tmin_c"] > -30).interpolate(limit=3)
    rows = []
    for year in range(1960, 2019):
        days = mean.reindex(pd.date_range(f"{year}-{sown}", periods=330))
        if days.notna().all():
            rows.append((days.to_numpy(), (pd.Timestamp(f"{year}-12-31") - days.index[0]).days))
    tmean, until_new_year = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    assert len(rows) > 40
    first = pd.Timestamp(f"2001-{sown}").day_of_year
    length = day_length(34.66, (first + np.arange(330) - 1) % 365 + 1.0)
    days = phenology.stage_days(tmean, length, catalogue.cover(name))
    return {stage: day[:, 0] - until_new_year for stage, day in days.items()}


@pytest.mark.parametrize("sown", ["09-15", "10-01"])
def test_crimson_clover_in_the_piedmont(clemson: pd.DataFrame, sown: str) -> None:
    """Sown in early autumn near 35 N, crimson clover blooms some six to seven months later, in the middle of spring.

    Common practice, no source: 25 % bloom between 20 March and 30 April in the median year.  At Matthews, NC
    (35.1 N), a farm store gives April.
    """
    stages = clemson_stages(clemson, "crimson-clover", sown)
    median = np.median(stages["bloom_25"])
    assert 79 <= median <= 120
    assert stages["emergence"].max() < 0  # up before winter
    assert stages["bud"].min() > 31  # and never in bud before February


@pytest.mark.parametrize(
    ("seen", "latitude"),
    [
        ("2003-04-20", 35.5),  # North Carolina, photographed in flower (missouriplants page)
        ("2009-04-12", 34.8),  # Arkansas roadsides, in bloom everywhere (joyandphil blog)
        ("2014-04-17", 33.81),  # west of Fordyce, Arkansas, in bloom 13 to 20 April (corndancer.com)
        ("2007-04-27", 32.41),  # Selma, Alabama, full bloom (selmaala blog)
    ],
)
def test_crimson_clover_was_seen_in_bloom(clemson: pd.DataFrame, seen: str, latitude: float) -> None:
    """Dated sightings fall between the first flowers and the end of bloom, give or take 5 days.

    None of them was used in the fit.  The weather is Clemson's, hundreds of kilometres away, and the sowing day
    (1 October) is assumed: a check of plausibility, not of skill.
    """
    sighting = pd.Timestamp(seen)
    days = pd.date_range(f"{sighting.year - 1}-10-01", periods=300)
    mean = clemson.mean(axis=1, skipna=False).interpolate(limit=3).reindex(days)
    length = day_length(latitude, days.day_of_year.to_numpy(dtype=float))
    stages = phenology.stage_days(mean.to_numpy(), length, catalogue.cover("crimson-clover"))
    day = (sighting - days[0]).days
    assert stages["first_flower"][0] - 5 <= day <= stages["end_of_bloom"][0] + 5


@pytest.mark.parametrize("name", ["crimson-clover", "hairy-vetch", "common-vetch", "winter-pea", "red-clover"])
def test_a_late_summer_sowing_does_not_bloom_in_autumn(clemson: pd.DataFrame, name: str) -> None:
    """Sown on 20 August, a winter cover still waits for spring (common practice, no source)."""
    assert clemson_stages(clemson, name, "08-20")["first_flower"].min() > 31


@pytest.mark.parametrize("name", ["subterranean-clover", "crimson-clover"])
def test_two_months_of_sowing_are_less_than_two_weeks_of_bloom(clemson: pd.DataFrame, name: str) -> None:
    """Sown two months later, subterranean clover flowers less than 14 days later (Archer, Wolfe & Cullis 1987).

    Crimson clover in Texas behaves alike: its bloom goes with the day of the year, r = 0.97 (Butler et al. 2002).
    """
    early, late = (np.median(clemson_stages(clemson, name, sown)["first_flower"]) for sown in ("09-20", "11-20"))
    assert 0 <= late - early < 14


def test_order_of_covers_in_spring(clemson: pd.DataFrame) -> None:
    """Crimson clover first, then vetch and pea, then common vetch and berseem (Parr et al. 2011, North Carolina)."""
    names = ("crimson-clover", "hairy-vetch", "winter-pea", "common-vetch", "berseem-clover")
    crimson, vetch, pea, common, berseem = (
        np.median(clemson_stages(clemson, name, "10-01")["bloom_50"]) for name in names
    )
    assert crimson + 7 < min(vetch, pea)
    assert max(vetch, pea) + 4 < min(common, berseem)


def test_vetch_in_a_cool_maritime_place() -> None:
    """By the sea at 48.6 N hairy vetch is in full bloom in late spring, not on 1 August (common practice, no source).

    Made-up weather of a coast of cool springs: 4 degC in January, 16.5 in July, sown on 20 September.
    """
    days = pd.date_range("2010-09-20", periods=330)
    means = 10.25 - 6.25 * np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 18) / 365.25)
    stages = phenology.stage_days(
        means, day_length(48.6, days.day_of_year.to_numpy(float)), catalogue.cover("hairy-vetch")
    )
    first, full = (days[int(stages[name][0])] for name in ("first_flower", "bloom_50"))
    assert pd.Timestamp("2011-05-10") <= first <= pd.Timestamp("2011-06-10")
    assert pd.Timestamp("2011-05-20") <= full <= pd.Timestamp("2011-06-30")


# --- cultivars and spread -------------------------------------------------------------------------


def test_days_become_a_sum_at_the_pace_of_the_cover() -> None:
    """Fourteen days earlier at two degC d a day are 28 degC d less."""
    assert phenology.requirement_shift_for(-14.0, made_up()) == -28.0


def test_cultivar_offset_comes_back_as_days(clemson: pd.DataFrame) -> None:
    """At Clemson, AU Robin blooms about two weeks before Dixie (SARE 2007); within 5 days, as springs differ."""
    cover = catalogue.cover("crimson-clover")
    shift = phenology.requirement_shift_for(catalogue.cultivar(cover, "AU Robin").offset.value, cover)
    mean = clemson.mean(axis=1).loc["1990-10-01":].iloc[:330].to_numpy()
    length = day_length(34.66, (274 + np.arange(330) - 1) % 365 + 1.0)
    robin, dixie = phenology.stage_days(mean, length, cover, requirement_shift=[shift, 0.0])["bloom_25"]
    assert abs(dixie - robin - 14) <= 5


def test_unknown_cultivar_is_wider() -> None:
    """Not knowing the cultivar adds its spread: root of 6 squared and 8 squared."""
    assert phenology.requirement_spread(made_up(), cultivar_known=True) == 6.0
    assert phenology.requirement_spread(made_up(), cultivar_known=False) == pytest.approx(10.0)


def test_a_requirement_is_drawn_by_students_t() -> None:
    """Scipy's t of five degrees of freedom, times the spread of 6; the offset of the cultivar, at 2 a day, on top."""
    draw = norm.ppf([0.1, 0.4, 0.5, 0.9, 0.95])
    known = phenology.requirement_drawn(made_up(), True, draw, offset_days=3.0)
    np.testing.assert_allclose(known - 6.0, 6.0 * t.ppf(norm.cdf(draw), phenology.FREEDOM), rtol=0.01, atol=1e-9)
    # With the cultivars' 8 the spread is 10, and the freedom that of the 6 times (10 / 6) to the fourth.
    unknown = phenology.requirement_drawn(made_up(), False, draw)
    freedom = phenology.FREEDOM * (10 / 6) ** 4
    np.testing.assert_allclose(unknown, 10.0 * t.ppf(norm.cdf(draw), freedom), rtol=0.002, atol=1e-9)


def test_without_a_spread_among_places_that_of_the_cultivars_is_normal() -> None:
    """What is no doubt about a spread has no tails."""
    cover = replace(made_up(), bloom=replace(bloom(), spread=cited(0.0)))
    assert phenology.requirement_drawn(cover, False, [-1.0, 0.0, 2.0]).tolist() == [-8.0, 0.0, 16.0]
    assert phenology.requirement_drawn(cover, True, [-1.0, 2.0], offset_days=-1.0).tolist() == [-2.0, -2.0]


def test_no_draw_leaves_less_than_a_third_of_the_requirement() -> None:
    """35 % of 200 degC d are left however far the draw: 130 are taken off at the most."""
    drawn = phenology.requirement_drawn(made_up(), True, [-8.0, 8.0])
    assert drawn[0] == pytest.approx(-130.0)
    assert drawn[1] > 130


def test_seed_is_drawn_by_its_sum_and_the_share_of_it() -> None:
    """A sum of 400, give or take 100, and a share of 0.5 that lies between 0.4 and 0.6 eight times in ten."""
    crimson = catalogue.cover("crimson-clover")
    share = replace(crimson.seed.viable_share, value=0.5, low=0.4, high=0.6)
    seed = replace(crimson.seed, viable_share=share, flower_to_maturity=cited(400.0), spread=cited(100.0))
    cover = replace(crimson, seed=seed)
    tenth = norm.ppf(0.9)
    assert phenology.seed_scale(cover, [0.0, 2.0, -2.0], 0.0) == pytest.approx([1.0, 1.5, 0.5])
    assert phenology.seed_scale(cover, 0.0, [-tenth, tenth]) == pytest.approx([0.4 / 0.5, 0.6 / 0.5])
    assert phenology.seed_scale(cover, 2.0, tenth) == pytest.approx(1.5 * 1.2)
    assert phenology.seed_scale(cover, -5.0, 0.0) == pytest.approx(0.3)  # never less than three tenths of the sum


@pytest.mark.parametrize(("low", "high", "tenths"), [(None, 0.6, (0.9, 1.1)), (0.4, None, (0.9, 1.1))])
def test_an_end_of_the_share_that_is_not_given_is_the_share(
    low: float | None, high: float | None, tenths: tuple[float, float]
) -> None:
    """Half as wide then, and on both sides alike."""
    crimson = catalogue.cover("crimson-clover")
    share = replace(crimson.seed.viable_share, value=0.5, low=low, high=high)
    cover = replace(crimson, seed=replace(crimson.seed, viable_share=share))
    tenth = norm.ppf(0.9)
    assert phenology.seed_scale(cover, 0.0, [-tenth, tenth]) == pytest.approx(tenths)


# --- BBCH -----------------------------------------------------------------------------------------

STAGES = {
    "emergence": 10.0,
    "bud": 200.0,
    "first_flower": 218.0,
    "bloom_10": 220.0,
    "bloom_25": 223.0,
    "bloom_50": 228.0,
    "end_of_bloom": 240.0,
    "viable_seed": 260.0,
}


@pytest.mark.parametrize(
    ("on", "code"),
    [
        (0, 0),
        (9.5, 0),
        (10, 9),
        (199, 9),
        (200, 51),
        (209, 55),
        (217.9, 59),
        (218, 60),
        (220, 61),
        (223, 62),
        (224, 63),
        (228, 65),
        (234, 67),
        (240, 69),
        (250, 75),
        (260, 81),
        (400, 81),
    ],
)
def test_bbch_on_a_day(on: float, code: int) -> None:
    """Codes of the BBCH scale (51 buds, 60 first flowers, 61 10 %, 65 full bloom, 69 over), on a line in between."""
    assert bbch.bbch(STAGES, on) == code


def test_bbch_waits_at_the_last_stage_reached() -> None:
    """Where the next stage is not reached, the code stays at the last one; seed overrules bloom."""
    assert bbch.bbch({**STAGES, "bloom_25": np.nan, "bloom_50": np.nan, "end_of_bloom": np.nan}, 239) == 61
    assert bbch.bbch(dict.fromkeys(STAGES, np.nan), 100) == 0
    assert bbch.bbch({**STAGES, "viable_seed": 230.0}, 231) == 81


def test_every_code_has_a_name() -> None:
    """Each code from 0 to 99 reads as the latest stage that it has come to."""
    assert bbch.stage_name(55) == "flower buds all over, none open"
    assert bbch.stage_name(58) == bbch.stage_name(55)
    assert bbch.stage_name(62.5) == "20% in bloom"
    assert bbch.stage_name(65) == "full bloom"
    assert {bbch.stage_name(code) for code in range(100)} == set(bbch.STAGE_NAMES.values())


@pytest.mark.parametrize(("percent", "code"), [(0, 60), (10, 61), (25, 62.5), (30, 63), (50, 65), (75, 66), (100, 67)])
def test_percent_bloom_as_bbch(percent: float, code: float) -> None:
    """One code for every tenth of the plants up to full bloom, as the BBCH scale defines 61 to 65."""
    assert bbch.bbch_of_percent(percent) == pytest.approx(code)


@pytest.mark.parametrize("stage", list(STAGES))
def test_day_at_bbch_meets_the_stages(stage: str) -> None:
    """The day of a dated stage's code is the day of that stage, member by member."""
    members = {name: np.array([[day, np.nan], [day + 3, day - 1]]) for name, day in STAGES.items()}
    np.testing.assert_array_equal(bbch.day_at_bbch(members, bbch.BBCH[stage]), members[stage])


def test_day_at_bbch_between_stages() -> None:
    """Half way in code is half way in days; what lies beyond the last stage is taken as that stage."""
    members = {name: np.array([day]) for name, day in STAGES.items()}
    assert bbch.day_at_bbch(members, 55.5) == pytest.approx(209.0)
    assert bbch.day_at_bbch(members, 30) == pytest.approx(105.0)  # from 9, day 10, to 51, day 200
    assert bbch.day_at_bbch(members, 89) == 260.0
    assert bbch.day_at_bbch(members, 0) == 10.0
    members["bloom_50"] = np.array([np.nan])
    assert np.isnan(bbch.day_at_bbch(members, 64)).all()


@pytest.mark.parametrize("earlier", range(len(bbch.BBCH) - 4))
def test_two_stages_on_one_day(earlier: int) -> None:
    """The later one counts on that day, the line goes on from it, and no line is drawn between the two."""
    names = ["bud", "first_flower", "bloom_10", "bloom_25", "bloom_50", "end_of_bloom"]
    first, second = names[earlier], names[earlier + 1]
    stages = {**STAGES, first: STAGES[second]}
    day = STAGES[second]
    assert bbch.bbch(stages, day) == int(bbch.BBCH[second])
    assert bbch.bbch(stages, day - 0.1) < bbch.BBCH[first]
    together = dict.fromkeys(names, 220.0)
    assert bbch.bbch({**STAGES, **together}, 220) == 69
    assert bbch.bbch({**STAGES, **together}, 219) == 9
    assert bbch.bbch({**STAGES, **together, "viable_seed": 220.0}, 220) == 81
    members = {name: np.array([reached]) for name, reached in stages.items()}
    for code in (bbch.BBCH[first], bbch.BBCH[second]):
        np.testing.assert_array_equal(bbch.day_at_bbch(members, code), [day])


def test_a_stage_out_of_order_is_not_gone_back_from() -> None:
    """A draw whose seed ripens before its bloom is over: the code rises to the one and is the other from its day on."""
    odd = {**STAGES, "bloom_50": 241.0, "end_of_bloom": 240.0}
    assert bbch.bbch(odd, 241) == 69
    assert bbch.bbch(odd, 240.5) == 64
    assert [bbch.bbch(STAGES, day) for day in (9, 10, 199)] == [0, 9, 9]


@pytest.mark.parametrize(
    ("code", "day"), [(69, 240.0), (69.9, 240.0 + 0.9 / 12 * 20), (70, 218 + 42 * 10 / 21), (75, 248.0), (81, 260.0)]
)
def test_pods_are_dated_from_the_first_flowers(code: float, day: float) -> None:
    """From 70 on the line runs from the first flowers (60, day 218) to the first viable seed (81, day 260)."""
    members = {name: np.array([reached]) for name, reached in STAGES.items()}
    assert bbch.day_at_bbch(members, code) == pytest.approx(day)


@pytest.mark.parametrize(
    ("code", "name"),
    [
        (-9, "sown, not yet up"),
        (-1, "sown, not yet up"),
        (8.9, "sown, not yet up"),
        (9, "up and growing, no buds"),
        (50, "up and growing, no buds"),
        (51, "first flower buds visible"),
        (54, "first flower buds visible"),
        (55, "flower buds all over, none open"),
        (59, "flower buds all over, none open"),
        (60, "first flowers open"),
        (61, "10% in bloom"),
        (63, "30% in bloom"),
        (64, "40% in bloom"),
        (66, "full bloom"),
        (67, "bloom fading"),
        (68, "bloom fading"),
        (69, "bloom over, pods filling"),
        (80, "bloom over, pods filling"),
        (81, "first seed may be viable"),
        (99, "first seed may be viable"),
    ],
)
def test_a_code_reads_as_the_stage_that_it_has_come_to(code: float, name: str) -> None:
    """From its own code on, up to the next."""
    assert bbch.stage_name(code) == name


def test_cool_days_are_those_from_above_0_to_below_10() -> None:
    """One cool day of the two wanted lets half of the warmth count; bounds are left out."""
    bloom = catalogue.cover("crimson-clover").bloom
    bloom = replace(
        bloom,
        cool_days=replace(bloom.cool_days, value=2.0),
        base=replace(bloom.base, value=0.0),
        optimum=replace(bloom.optimum, value=20.0),
    )
    for cold, share in ((0.0, 0.0), (0.1, 0.5), (9.9, 0.5), (10.0, 0.0)):
        rate = phenology.photothermal_rate(np.array([5.0, cold, 12.0]), np.full(3, 24.0), 0.0, bloom)
        assert rate[2] == pytest.approx(12.0 * share)


def test_seed_that_lies_beyond_the_days_first_looked_at() -> None:
    """A stand that blooms only in its second year is found there, with all its stages or some of them."""
    cover = catalogue.cover("crimson-clover")
    days = 700
    cold = np.where(np.arange(days) < 330, 2.0, 14.0)
    found = phenology.stage_days(cold, np.full(days, 14.0), cover, emerged=8.0)
    assert (found["viable_seed"] > 330).all()
    late = np.where(np.arange(days) < 60, 5.0, np.where(np.arange(days) < 300, 14.0, -5.0))
    late[400:] = 14.0
    some = phenology.stage_days(late, np.full(days, 14.0), cover, seed_scale=12.0)
    assert (some["end_of_bloom"] < 300).all()
    assert (some["viable_seed"] > 400).all()


def test_a_stand_whose_seed_is_beyond_the_days_first_looked_at_does_not_hold_up_another() -> None:
    """Seed that needs a usual sum, and one that needs far more: each as alone."""
    cover, tmean = made_up(), np.full(600, 12.0)
    scales = [1.0, 12.0]
    together = phenology.stage_days(tmean, np.full(600, 12.0), cover, seed_scale=scales)
    assert together["viable_seed"][0] < 310 < together["viable_seed"][1]
    for place, scale in enumerate(scales):
        alone = phenology.stage_days(tmean, np.full(600, 12.0), cover, seed_scale=scale)
        assert alone["viable_seed"] == together["viable_seed"][place]


def test_days_below_its_base_do_not_ripen_seed() -> None:
    """Thirty cold days between flower and seed put it off by thirty days."""
    cover = made_up()
    warm = np.full(300, 12.0)
    plain = phenology.stage_days(warm, np.full(300, 12.0), cover)
    flower, seed = int(plain["first_flower"].item()), plain["viable_seed"].item()
    assert flower + 5 < seed
    cold = np.insert(warm, flower + 5, np.full(30, cover.seed.base.value - 1.0))
    assert phenology.stage_days(cold, np.full(330, 12.0), cover)["viable_seed"] == seed + 30


@pytest.mark.parametrize(("share", "hurry"), [(0.5, 0.5), (1.0, 1.0), (1.3, 1.0)])
def test_a_plant_that_blooms_on_less_hurries_through_its_buds(share: float, hurry: float) -> None:
    """Its buds come so much of their sum before bloom as its sum is of the usual one; on a greater sum, all of it."""
    cover = catalogue.cover("crimson-clover")
    tmean, hours = np.full(700, 9.0), np.full(700, 24.0)
    need = cover.bloom.requirement.value
    found = phenology.stage_days(tmean, hours, cover, requirement_shift=(share - 1) * need)
    rate = phenology.photothermal_rate(tmean, hours, found["emergence"][0], cover.bloom)
    total = np.cumsum(rate)
    for stage in ("bud", "first_flower", "bloom_10"):
        wanted = share * need - hurry * getattr(cover.stages, stage).value
        assert found[stage][0] == np.argmax(total >= wanted - 1e-6)


def test_fields_sown_on_days_of_their_own_come_up_as_each_alone() -> None:
    """Three axes, soil of before the first day, a sowing day each, and one of them up only after a winter."""
    cover = catalogue.cover("crimson-clover")
    day = np.arange(300)
    air = 11.0 - 9.0 * np.cos(2 * np.pi * (day - 110) / 365) + np.array([[0.0], [1.5]])
    air[1, 100:180] = -5.0
    lead = air[:, :1] - np.linspace(3, 0, 20)
    sown = np.array([[3.0, 102.0]])
    together = phenology.emergence(air[np.newaxis], cover, sown, lead=lead[np.newaxis])
    alone = [phenology.emergence(air[row], cover, sown[0, row], lead=lead[row]) for row in range(2)]
    np.testing.assert_array_equal(together, [alone])
    assert together[0, 0] < 30
    assert together[0, 1] > 180
