"""How late a cover may be ended for the crop still to be in time: what is followed, and what lies between."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import invented
import numpy as np
import pytest

from covercrop.base.arrays import Array
from covercrop.field.entries import CropEntry, ScoutingNote
from covercrop.models import plantback
from covercrop.models.decomposition import YOUNG, Maturity
from covercrop.models.members import standard_draws
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.season.chain import limits_after
from covercrop.season.following import follow
from covercrop.season.ground import dead_from, follow_ground
from covercrop.season.in_time import (
    AT_ONCE,
    EVERY,
    Deadline,
    ending_in_time_until,
    last_before,
    last_in_time,
)
from covercrop.season.plan import make_plan, start_of

# --- between the days that are followed -----------------------------------------------------------


def test_the_last_day_in_time_lies_straight_between_those_that_are_followed() -> None:
    """Worked out by hand: three members over days 0, 8 and 16."""
    ended = np.array([0.0, 8.0, 16.0])
    earliest = np.array([[[30.0, 50.0, 10.0]], [[34.0, 60.0, 12.0]], [[42.0, 70.0, np.inf]]])
    until = last_before(ended, earliest, np.array([[36.0]]))
    # 34 + 2 of the 8 days that the next 8 cost; never; the third ends where its ground no longer clears.
    assert until.tolist() == [[10.0, -np.inf, 8.0]]
    assert last_before(ended, earliest[:, :, :1], 42.0).tolist() == [[np.inf]]


@pytest.mark.parametrize(
    ("earliest", "by", "until"),
    [
        ((30, 34, 42), 30, 0 + 0),  # on the very day counts, and nothing is left to wait for
        ((30, 34, 42), 33, 0 + 6),  # 3 of 4 days of the ground are 6 of 8 of the ending
        ((30, 33, 42), 32, 0 + 5),  # 2 of 3 are 5 and a third: the whole day before
        ((30, 34, 42), 34, 8 + 0),
        ((30, 34, 42), 41, 8 + 7),
        ((30, 34, 42), 42, np.inf),  # even the last is early enough
        ((30, 34, 42), 29, -np.inf),  # none is
        ((30, 34, np.inf), 50, 8),  # what never clears says nothing of the days before it
        ((30, np.inf, np.inf), 50, 0),
        ((40, 30, 50), 35, 8 + 2),  # too late after the first, in time after the second: the last one counts
        ((30, 50, 34), 34, np.inf),
        ((30, 34, 42), np.inf, np.inf),  # nothing has to be met
    ],
)
def test_the_last_day_in_time_at_its_edges(earliest: tuple[float, ...], by: float, until: float) -> None:
    """One member, followed over days 0, 8 and 16."""
    days = np.array(earliest, dtype=float)[:, np.newaxis, np.newaxis]
    assert last_before(np.array([0.0, 8.0, 16.0]), days, by).tolist() == [[until]]


def test_each_member_has_its_own_last_day_for_planting() -> None:
    """A day a year, for all of its draws, or one a member."""
    ended = np.array([80.0, 88.0])
    earliest = np.array([[[100.0, 104.0], [102.0, 106.0]], [[108.0, 108.0], [118.0, 114.0]]])
    assert last_before(ended, earliest, np.array([[103.0], [110.0]])).tolist() == [[83.0, -np.inf], [84.0, 84.0]]
    by = np.array([[103.0, 106.0], [110.0, 114.0]])
    assert last_before(ended, earliest, by).tolist() == [[83.0, 84.0], [84.0, np.inf]]


@pytest.mark.parametrize(
    ("lags", "by", "days", "asked"),
    [
        ((10,), 161, 20, (*range(128, 153, 8),)),  # in time after all but the last of the last four
        ((10,), 138, 20, (*range(128, 153, 8),)),  # on the day is in time
        ((10,), 137, 20, (*range(128, 153, 8), 0, *range(96, 121, 8))),  # late after four, and not after the first
        ((10,), 105, 20, (*range(128, 153, 8), 0, *range(96, 121, 8), *range(64, 89, 8))),
        ((200,), 160, 20, (*range(128, 153, 8), 0)),  # late after the first, so after all
        ((np.nan,), 500, 20, (*range(128, 153, 8), 0)),
        ((10, 200), 137, 20, (*range(128, 153, 8), 0, *range(96, 121, 8))),  # one of two always
        ((10,), 9, 4, (0, 8, 16, 24)),  # the first is among the four
        ((10,), 9, 5, (8, 16, 24, 32, 0)),
        ((10,), 10, 5, (8, 16, 24, 32, 0, 0)),  # in time after the first on the very day
    ],
)
def test_only_what_may_change_the_answer_is_followed(
    lags: tuple[float, ...], by: float, days: int, asked: tuple[int, ...]
) -> None:
    """Four endings at a time from the last one back, while somebody is late who is not late after the first."""
    followed: list[float] = []

    def earliest(some: Array) -> Array:
        followed.extend(some)
        return some[:, np.newaxis, np.newaxis] + np.array([lags], dtype=float)

    last_in_time(np.arange(0.0, 8.0 * days, 8.0), earliest, by)
    assert followed == [*asked]


def test_what_need_not_be_followed_is_not() -> None:
    """The last endings first, back to where nobody is late but those who always are, and the answer is the same."""
    ended = np.arange(20.0) * EVERY
    lag = np.array([[10.0, 30.0, 44.0, 300.0, np.nan]])
    asked: list[float] = []

    def earliest(some: np.ndarray) -> np.ndarray:
        asked.extend(some)
        return some[:, np.newaxis, np.newaxis] + lag

    whole = np.where(np.isnan(earliest(ended)), np.inf, earliest(ended))
    for by in (-5.0, 60.0, 140.0, 161.0, 500.0):
        asked.clear()
        np.testing.assert_array_equal(last_in_time(ended, earliest, by), last_before(ended, whole, by))
    asked.clear()
    last_in_time(ended, earliest, 161.0)
    assert len(asked) <= 3 * AT_ONCE + 1 < len(ended)


def test_what_is_in_time_is_what_following_the_ground_to_its_end_finds() -> None:
    """Day by day, the share of members whose ground is clear by the last day for planting, within the straight line."""
    draws = standard_draws()
    cool = invented.weather("2012-01-01", mean=9.5, swing=13.0)  # so cool that a long pumpkin is in doubt
    plot = replace(invented.field("hairy-vetch", "pumpkin", sown="2025-09-08", latitude=42.5))
    start = start_of(plot, cool, np.datetime64("2026-04-20"))
    chain = follow(start, draws)
    assert chain.ahead is not None
    found = chain.ending.chances
    assert found is not None
    latest = np.where(np.isnan(chain.ground.latest), np.inf, chain.ground.latest)
    first = start.conditions.today
    for place in (first + 1, first + 20, first + 41, first + 60):
        ground = follow_ground(
            start.outlook,
            start.conditions.cover,
            start.conditions.crop,
            start.conditions.planting,
            draws,
            dead=dead_from(place, "turn-under"),
            midwinter=chain.midwinter,
            maturity=chain.stand.maturity(place, start.conditions.cover),
        )
        exact = float(chain.weights[ground.earliest <= latest].sum() / chain.weights.sum())
        assert found.in_time[place] == pytest.approx(exact, abs=0.06)
    assert EVERY == 8
    assert 0.0 < found.in_time[first + 41] < found.in_time[first] < 1.0


# --- against the whole ground, day by day ---------------------------------------------------------

CRIMSON, SQUASH = catalogue.cover("crimson-clover"), catalogue.crop("summer-squash")
DRAWS = standard_draws(4)
MIDWINTER, TODAY, HORIZON, LENGTH = 122, 213, 236, 400
ENTRY = CropEntry(name="summer-squash")
MEANS = 13.0 - 11.0 * np.cos(2 * np.pi * (np.arange(LENGTH) + 244 - 20) / 365.25)
OUTLOOK = invented.season(MEANS + np.array([[-1.0], [1.0]]), length=LENGTH, years=2, known=TODAY)
FOLLOWED = np.arange(208.0, 241.0, 8.0)  # from the one before today to the one after the last
#: Planting by some days of spring, by one after midsummer, and whenever it may be.
PLANT_BY = np.array([[245.0, 255.0, 264.0, np.inf], [240.0, 250.0, 258.0, 310.0]])


def young(_: Array) -> Maturity:
    """As if it were in bloom on all days."""
    return YOUNG


def ageing(ended: Array) -> Maturity:
    """Older the later it is ended, up to half way to ripe seed."""
    age = np.broadcast_to(np.clip((ended - 200) / 80, 0, 0.5)[:, np.newaxis, np.newaxis], (ended.size, 2, 4))
    return Maturity(age=age, carbon_nitrogen=np.zeros((1, 1)))


def in_time(
    method: str = "turn-under",
    entry: CropEntry = ENTRY,
    *,
    maturity: Callable[[Array], Maturity] = young,
    today: int = TODAY,
    horizon: int = HORIZON,
    plant_by: Array = PLANT_BY,
    **options: Any,
) -> Array:
    """The last day of ending it, for a crop that has to be planted by some day."""
    deadline = Deadline(today=today, horizon=horizon, midwinter=MIDWINTER, plant_by=plant_by)
    return ending_in_time_until(
        OUTLOOK, CRIMSON, SQUASH, entry, DRAWS, deadline, method=method, maturity=maturity, **options
    )


def by_each_day(
    method: str = "turn-under",
    entry: CropEntry = ENTRY,
    *,
    maturity: Callable[[Array], Maturity] = young,
    pace: float = 1.0,
    ended: Array = FOLLOWED,
    plant_by: Array = PLANT_BY,
    **options: Any,
) -> Array:
    """The same by following the ground of the whole season after each eighth day of the year, one by one."""

    def earliest(day: float) -> Array:
        old = maturity(np.array([day]))
        return follow_ground(
            OUTLOOK,
            CRIMSON,
            SQUASH,
            entry,
            DRAWS,
            dead=dead_from(day, method),
            midwinter=MIDWINTER,
            terminate=method,
            maturity=old if old is YOUNG else old.at(0),
            residue_pace=pace,
            **options,
        ).earliest

    return last_before(ended, np.array([earliest(day) for day in ended]), plant_by)


def test_it_is_what_the_whole_ground_after_each_eighth_day_says() -> None:
    """Over the days from the one before today to the one after the last, though only a part of the season is used."""
    found = in_time()
    np.testing.assert_array_equal(found, by_each_day())
    assert np.isneginf(found).any()
    assert np.isposinf(found).any()
    assert np.isfinite(found).sum() >= 3
    # From a day and to a day that are followed themselves, no day less and none that is not needed.
    np.testing.assert_array_equal(in_time(today=208, horizon=232), by_each_day())
    np.testing.assert_array_equal(in_time(today=207, horizon=231), by_each_day(ended=np.arange(200.0, 233.0, 8.0)))


def test_a_crop_that_has_to_be_planted_in_spring_may_be_in_time() -> None:
    """The frosts of the spring are followed to midsummer, though no day after the wanted one is asked about."""
    plant_by = np.array([[245.0, 255.0, 264.0, 264.0], [240.0, 250.0, 258.0, 264.0]])
    found = in_time(plant_by=plant_by)
    np.testing.assert_array_equal(found, by_each_day(plant_by=plant_by))
    assert np.isfinite(found).any()


def test_a_cover_ended_in_autumn_rots_before_the_winter_too() -> None:
    """From the first of the days that it may be ended on, though the crop's spring comes after midwinter."""
    plant_by = np.array([[194.0, 202.0, 190.0, np.inf], [178.0, 190.0, 202.0, 310.0]])
    autumn = np.arange(16.0, 105.0, 8.0)
    found = in_time(today=20, horizon=100, plant_by=plant_by)
    np.testing.assert_array_equal(found, by_each_day(ended=autumn, plant_by=plant_by))
    assert np.isfinite(found).sum() >= 5


def test_a_tarp_takes_its_three_weeks_and_a_ground_cover_is_kept() -> None:
    """The way and the planting are those that are asked about."""
    for method in ("tarp", "mow"):
        np.testing.assert_array_equal(in_time(method), by_each_day(method))
    straw = CropEntry(name="summer-squash", ground_cover="straw", method="transplant")
    found = in_time(entry=straw)
    np.testing.assert_array_equal(found, by_each_day(entry=straw))
    assert (found != in_time()).any()


def test_an_older_cover_has_to_be_ended_sooner() -> None:
    """Its age on each of the days counts where the crop waits for it to rot, and is not asked for where it does not."""
    found = in_time(maturity=ageing)
    np.testing.assert_array_equal(found, by_each_day(maturity=ageing))
    assert (found <= in_time()).all()
    assert (found < in_time()).any()

    def refused(_: Array) -> Maturity:
        pytest.fail("large seed goes in through what is rolled")

    np.testing.assert_array_equal(in_time("roll", maturity=refused), by_each_day("roll"))


def test_a_cereal_beside_it_slows_the_ground_and_makes_its_own_wait() -> None:
    """Its residue goes at its own pace on each of the days, and the crop waits for what it leaves."""
    rye = companion("cereal-rye")
    paces: list[Array] = []

    def residue_pace(residue: object, ended: Array) -> Array:
        assert residue is CRIMSON.residue
        paces.append(ended)
        return np.full(ended.shape, 0.7)

    beside: Any = SimpleNamespace(companion=rye, residue_pace=residue_pace)
    found = in_time(cereal=beside)
    assert paces
    np.testing.assert_array_equal(found, by_each_day(pace=0.7, cereal=rye))
    assert (found <= in_time()).all()
    assert (found < in_time()).any()
    # One that makes wait for six weeks, though its residue goes as fast as that of the legume.
    six = replace(rye.wait.large_seed, value=42.0, low=42.0, high=42.0)
    slow = replace(rye, wait=replace(rye.wait, large_seed=six))
    as_quick: Any = SimpleNamespace(companion=slow, residue_pace=lambda _, ended: np.ones(ended.shape))
    waiting = in_time(cereal=as_quick)
    np.testing.assert_array_equal(waiting, by_each_day(cereal=slow))
    assert (waiting < in_time()).any()


def test_a_reading_of_the_soil_counts_on_all_of_the_days() -> None:
    """A thermometer that found the standing cover warmer than the model leaves more time, by every draw."""
    warm = (ScoutingNote(date=dt.date(2026, 3, 25), soil_c=10.0),)
    found = in_time(scouting=warm)
    np.testing.assert_array_equal(found, by_each_day(scouting=warm))
    assert (found >= in_time()).all()
    assert (found > in_time()).any()


def test_a_reading_of_the_soil_in_autumn_counts_for_what_is_in_time() -> None:
    """It is held against the soil of its own day, which lies before the spring that the endings are followed in."""
    draws = standard_draws()
    field = invented.field("hairy-vetch", "pumpkin", sown="2025-09-08", latitude=42.5)
    field = replace(field, scouting=(ScoutingNote(date=dt.date(2025, 10, 10), soil_c=15.0),))
    start = start_of(field, invented.weather("2012-01-01", mean=9.5, swing=13.0), np.datetime64("2026-04-20"))
    known = follow(start, draws)
    found = known.ending.chances
    assert found is not None
    place = start.conditions.today + 41
    limits = limits_after(start, known, draws, "turn-under", [place])
    in_time = plantback.earliest(limits)[0] <= np.where(np.isnan(known.ground.latest), np.inf, known.ground.latest)
    exact = float(known.weights[in_time].sum() / known.weights.sum())
    assert found.in_time[place] == pytest.approx(exact, abs=0.02)
    # One of the year before, as of a clover in its second winter, has its day too.
    old = invented.field(
        "red-clover", sown="2024-10-21", scouting=(ScoutingNote(date=dt.date(2025, 4, 4), soil_c=9.0),)
    )
    assert make_plan(old, invented.weather(), np.datetime64("2026-01-22"), details=False).state == "seed-risk"
