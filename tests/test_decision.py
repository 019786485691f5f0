"""The decision in plain order: no seed and no living cover, the crop in time, the window most surely open."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.season.decision import Decision, decide
from covercrop.season.wants import Chances, Wants, chances

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


# --- the chances ----------------------------------------------------------------------------------


def members(*values: float) -> np.ndarray:
    return np.array([values], dtype=float)


def test_the_chance_of_each_want_is_the_share_of_the_members() -> None:
    """Counted by hand: four members of equal weight."""
    wanted = Wants(
        killed_from=members(0, 5, 5, np.nan),
        bloom_from=members(2, 4, 8, 3),
        seed_free_until=members(10, np.nan, 9, 12),
        in_time_until=members(6, -np.inf, np.inf, 7),
    )
    found = chances(wanted, np.full((1, 4), 0.25), 14)
    assert found.killed[[0, 4, 5, 13]].tolist() == [0.25, 0.25, 0.75, 0.75]
    assert found.bloom[[1, 2, 3, 4, 8]].tolist() == [0.0, 0.25, 0.5, 0.75, 1.0]
    assert found.seed_free[[9, 10, 11, 13]].tolist() == [1.0, 0.75, 0.5, 0.25]
    assert found.in_time[[0, 6, 7, 8]].tolist() == [0.75, 0.75, 0.5, 0.25]
    assert found.clean[[0, 5, 10, 11]].tolist() == [0.25, 0.75, 0.5, 0.25]
    assert found.window[[2, 5, 8, 10]].tolist() == [0.25, 0.5, 0.75, 0.5]
    assert found.together[[2, 6, 7, 8]].tolist() == [0.25, 0.25, 0.0, 0.25]


@pytest.mark.parametrize("name", ["killed", "clean", "window", "together"])
def test_the_least_of_two_is_no_higher_than_either(name: str) -> None:
    """A chance that notes in doubt would raise is held down, each on its own."""
    one, other = told(bloom=hill(20), in_time=ramp(1, 0)), told(bloom=hill(30), in_time=ramp(0, 1))
    least = getattr(one.least([other]), name)
    assert (least <= getattr(one, name)).all()
    assert (least <= getattr(other, name)).all()
    assert one.least([]) is one
