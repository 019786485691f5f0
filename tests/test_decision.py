"""The decision in plain order: no seed and no living cover, the crop in time, the window most surely open."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.season.decision import Decision, decide
from covercrop.season.wants import Chances

DAYS = 60
ALL = np.ones(DAYS, dtype=np.bool_)


def ramp(first: float, last: float) -> np.ndarray:
    """A chance that falls or rises evenly over the days."""
    return np.linspace(first, last, DAYS)


def told(*, bloom: np.ndarray, in_time: np.ndarray, clean: np.ndarray | None = None) -> Chances:
    """Chances of wants that do not depend on each other."""
    sure = np.ones(DAYS) if clean is None else clean
    window = bloom * sure
    return Chances(
        killed=np.ones(DAYS),
        seed_free=sure,
        bloom=bloom,
        in_time=in_time,
        clean=sure,
        window=window,
        together=window * in_time,
    )


def hill(top: int, width: int = 5, height: float = 0.9) -> np.ndarray:
    """A chance that is highest, and the same, on some days around one."""
    return np.clip(height - 0.06 * np.maximum(np.abs(np.arange(DAYS) - top) - width, 0), 0.0, 1.0)


def decided(found: Chances, may: np.ndarray = ALL, *, cover_first: bool = False) -> Decision:
    decision = decide(found, may, cover_first=cover_first)
    assert decision is not None
    return decision


def test_with_time_enough_it_is_the_earliest_day_of_the_flat_top() -> None:
    """All days are equally good for the crop: each day of a window is heat for it."""
    found = decided(told(bloom=hill(40), in_time=np.ones(DAYS)))
    assert (found.day, found.why, found.given_up) == (35, "window", None)
    # 0.06 a day: the neighbours lie more than the five in a hundred below that count as the same.
    assert (found.first, found.last) == (35, 41)


def test_the_crop_comes_before_the_bloom() -> None:
    """A window that costs more than a tenth of the best chance of the crop is not waited for, and that is said."""
    found = decided(told(bloom=hill(40), in_time=ramp(0.9, 0.31)))  # a hundredth a day
    assert found.day == 10  # 0.9 - 0.1
    assert (found.why, found.given_up) == ("before-bloom", "bloom")
    assert found.other == 35


def test_bloom_that_is_begun_is_told_from_none() -> None:
    """The crop takes the top of the window, not the whole of it."""
    found = decided(told(bloom=ramp(0.0, 1.0), in_time=np.where(np.arange(DAYS) <= 30, 0.9, 0.4)))
    assert found.why == "crop"
    assert 0.46 < ramp(0.0, 1.0)[found.day] <= ramp(0.0, 1.0)[30]


def test_a_cover_that_comes_first_costs_the_crop() -> None:
    """The grower's wish turns the order round, and the price is the crop's."""
    found = decided(told(bloom=hill(40), in_time=ramp(0.9, 0.31)), cover_first=True)
    assert (found.day, found.why, found.given_up, found.other) == (35, "cover-first", "crop", 10)


def test_a_crop_out_of_reach_is_given_up() -> None:
    """Below one in five on every day, the cover is what is left to choose for."""
    found = decided(told(bloom=hill(40), in_time=np.full(DAYS, 0.19)))
    assert (found.day, found.why) == (35, "crop-out-of-reach")
    near = decided(told(bloom=hill(40), in_time=np.full(DAYS, 0.2)))
    assert near.why == "window"


def test_no_day_with_more_than_one_in_ten_of_seed() -> None:
    """The best of the window is given up for the risk; where none is without, it is the least, as early as may be."""
    clean = np.where(np.arange(DAYS) <= 30, 1.0, 0.89)
    found = decided(told(bloom=hill(40), in_time=np.ones(DAYS), clean=clean))
    assert found.day == 30
    late = decided(told(bloom=np.ones(DAYS), in_time=np.ones(DAYS), clean=ramp(0.8, 0.0)), np.arange(DAYS) >= 20)
    assert (late.day, late.why) == (20, "least-risk")


def test_who_takes_more_risk_may_wait_longer_for_bloom() -> None:
    """One in four instead of one in ten, and the day moves on with it."""
    found = told(bloom=ramp(0.0, 1.0), in_time=np.ones(DAYS), clean=ramp(1.0, 0.41))  # a hundredth a day
    day = decide(found, ALL, most_risk=0.25)
    assert day is not None
    assert decided(found).day <= 10 < day.day <= 25


def test_only_on_days_on_which_it_can_be_done() -> None:
    """A grower who comes on one day of the week gets the best of those; with no day there is none."""
    weekly = np.arange(DAYS) % 7 == 1
    assert decided(told(bloom=hill(40), in_time=np.ones(DAYS)), weekly).day == 36
    assert decide(told(bloom=hill(40), in_time=np.ones(DAYS)), np.zeros(DAYS, dtype=np.bool_)) is None


@given(
    bloom=st.integers(0, DAYS - 1),
    crop=st.integers(0, DAYS - 1),
    seed=st.integers(0, DAYS - 1),
    first=st.integers(0, DAYS - 1),
    cover_first=st.booleans(),
)
def test_whatever_the_chances_the_order_holds(bloom: int, crop: int, seed: int, first: int, cover_first: bool) -> None:
    """The day lies ahead, is as safe as any or safe enough, and gives up no more of the crop than it may."""
    days = np.arange(DAYS)
    found = told(
        bloom=1 / (1 + np.exp((bloom - days) / 4)),
        in_time=1 / (1 + np.exp((days - crop) / 4)),
        clean=1 / (1 + np.exp((days - seed) / 4)),
    )
    may = days >= first
    best = decided(found, may, cover_first=cover_first)
    assert may[best.day]
    assert best.first <= best.day <= best.last < best.first + 7
    safe = may & (found.clean >= 0.9)
    if not safe.any():
        assert found.clean[best.day] >= found.clean[may].max() - 0.05 - 1e-9
        return
    assert safe[best.day]
    if not cover_first and found.in_time[safe].max() >= 0.2:
        assert found.in_time[best.day] >= found.in_time[safe].max() - 0.1 - 1e-9


# --- its edges ------------------------------------------------------------------------------------


def steps(*, until: int, then: float, first: float) -> np.ndarray:
    """One chance up to a day, that day with them, and another on all days after it."""
    return np.where(np.arange(DAYS) <= until, first, then)


def test_the_crop_comes_first_unless_the_grower_says_so() -> None:
    """Without a word of his the bloom is what gives way."""
    found = decide(told(bloom=hill(40), in_time=ramp(0.9, 0.31)), ALL)
    assert found is not None
    assert (found.day, found.given_up) == (10, "bloom")


def test_a_tenth_of_the_crop_is_a_fair_price_and_more_is_not() -> None:
    """Days with exactly a tenth less for the crop are among those to choose from, with a hair more they are not."""
    bloom = steps(until=20, first=0.3, then=0.9)
    fair = decided(told(bloom=bloom, in_time=steps(until=20, first=0.9, then=0.8)))
    assert (fair.day, fair.why, fair.other) == (21, "window", None)
    dear = decided(told(bloom=bloom, in_time=steps(until=20, first=0.9, then=0.79)))
    assert (dear.day, dear.why, dear.other) == (0, "crop", 21)


@pytest.mark.parametrize(
    ("kept", "day", "why", "given_up"),
    [
        (0.8, 0, "window", None),  # a tenth below the best of all days: nothing is lost
        (0.79, 0, "crop", "bloom"),
        (0.2, 0, "crop", "bloom"),  # one in five is within reach, and its earliest day is the best
        (0.19, 30, "before-bloom", "bloom"),  # less is none, so that the latest day has more nitrogen
    ],
)
def test_what_the_crop_takes_of_the_window_is_named_by_what_is_left(
    kept: float, day: int, why: str, given_up: str | None
) -> None:
    """The crop is in time up to day 30, and the window is at its best from the day after."""
    found = decided(told(bloom=steps(until=30, first=kept, then=0.9), in_time=steps(until=30, first=0.9, then=0.7)))
    assert (found.day, found.why, found.given_up) == (day, why, given_up)
    assert found.other == (None if given_up is None else 31)


def test_a_cover_that_comes_first_and_costs_nothing_is_no_choice() -> None:
    """Of the days that are best for it the one that is best for the crop; nothing is given up where that is in time."""
    free = decided(told(bloom=hill(40), in_time=np.ones(DAYS)), cover_first=True)
    assert (free.day, free.why, free.other) == (35, "window", None)
    # Of the flat top, days 35 to 45, those from 38 on are best for the crop.
    later = decided(told(bloom=hill(40), in_time=steps(until=37, first=0.5, then=0.6)), cover_first=True)
    assert (later.day, later.why, later.other) == (38, "window", None)


def test_a_crop_out_of_reach_is_not_said_to_be_given_up_for_a_day() -> None:
    """There is no day that would have it, whoever comes first."""
    for cover_first in (False, True):
        found = decided(told(bloom=hill(40), in_time=np.full(DAYS, 0.19)), cover_first=cover_first)
        assert (found.why, found.other, found.given_up) == ("crop-out-of-reach", None, None)


def test_of_days_with_risk_all_that_are_about_as_good_are_told() -> None:
    """Three in a hundred are about as good, and the earliest of them is the day; the week is theirs."""
    clean = np.full(DAYS, 0.4)
    clean[[8, 9, 10, 11, 12]] = (0.46, 0.47, 0.5, 0.47, 0.46)
    found = decided(told(bloom=np.ones(DAYS), in_time=np.ones(DAYS), clean=clean))
    assert (found.day, found.first, found.last, found.why, found.other) == (9, 9, 11, "least-risk", None)


@pytest.mark.parametrize(
    ("top", "good", "told_of"),
    [
        (20, (20, 20), (20, 20)),
        (20, (18, 22), (18, 22)),
        (20, (12, 30), (20, 26)),  # a week at most: as many after the day as there are
        (20, (12, 22), (16, 22)),  # then before it
        (20, (14, 26), (20, 26)),
        (2, (0, 3), (0, 3)),  # the edges of the season
        (57, (40, DAYS - 1), (53, DAYS - 1)),
    ],
)
def test_the_days_around_the_best_are_as_good_and_a_week_at_most(
    top: int, good: tuple[int, int], told_of: tuple[int, int]
) -> None:
    """A tenth below the best of the window is good, more is not, and what is good apart from it does not count."""
    days = np.arange(DAYS)
    bloom = np.where((days >= good[0]) & (days <= good[1]), 0.8, 0.79)
    bloom[[5, 50]] = 0.8
    bloom[top] = 0.9
    found = decided(told(bloom=bloom, in_time=np.ones(DAYS)))
    assert (found.day, found.first, found.last) == (top, *told_of)


def test_days_too_late_for_the_crop_are_not_among_the_good_ones() -> None:
    """Nor are those on which nobody can come."""
    bloom = np.full(DAYS, 0.9)
    found = decided(told(bloom=bloom, in_time=steps(until=22, first=0.9, then=0.5)), np.arange(DAYS) >= 20)
    assert (found.day, found.first, found.last) == (20, 20, 22)
