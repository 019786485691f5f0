"""Windows for ending a cover, and their odds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from covercrop.base.errors import UnknownNameError
from covercrop.models import termination
from covercrop.parameters import catalogue
from covercrop.parameters.constants import MODELS

STAGES = {
    "emergence": np.array([8.0]),
    "bud": np.array([200.0]),
    "first_flower": np.array([215.0]),
    "bloom_10": np.array([218.0]),
    "bloom_25": np.array([221.0]),
    "bloom_50": np.array([225.0]),
    "end_of_bloom": np.array([255.0]),
    "viable_seed": np.array([246.0]),
}
CRIMSON = catalogue.cover("crimson-clover")
VETCH = catalogue.cover("hairy-vetch")
SHORT = settings(max_examples=60)


def test_turning_under_opens_at_ten_percent_and_closes_before_seed() -> None:
    """Turning under: from 10 % bloom to the day before the first viable seed."""
    opens, closes = termination.window(STAGES, "turn-under", CRIMSON)
    assert opens == 218
    assert closes == 245


@pytest.mark.parametrize("method", ["roll", "mow"])
def test_cut_plants_need_full_bloom_and_close_earlier(method: str) -> None:
    """Rolling and mowing wait for full bloom and close before turning under does.

    Vetch, pea and faba do not grow again well when mown after bloom (SARE 2007); seed of common vetch ripened in its
    dried pods from the start of seed fill on (Samarah).
    """
    opens, closes = termination.window(STAGES, method, CRIMSON)
    assert opens == 225
    assert closes == 215 + 0.9 * 30
    assert closes < termination.window(STAGES, "turn-under", CRIMSON)[1]


@pytest.mark.parametrize("name", termination.NEED_PODS)
def test_vetch_is_rolled_with_the_first_pods(name: str) -> None:
    """The roller was unreliable on vetch through flowering, and reliable after early pod set (Mischler et al. 2010).

    First pods showed a third of the way from half to the end of bloom (Palouse counts of 2019).
    """
    vetch = catalogue.cover(name)
    assert termination.window(STAGES, "roll", vetch)[0] == 231  # 225 + 0.2 * 30
    assert termination.window(STAGES, "mow", vetch)[0] == 225


def test_the_day_from_which_a_roller_kills_is_drawn_between_full_bloom_and_early_pods() -> None:
    """By hand: 80 % of the draws between 225 + 0 and 225 + 0.45 * 30, on the next whole day, and none beyond."""
    draws = np.array([-5.0, -1.2816, 0.0, 1.2816, 5.0])
    assert termination.rolled_from(STAGES, draws).tolist() == [225.0, 225.0, 231.0, 239.0, 239.0]
    assert termination.EARLY_PODS.value < 0.45
    # The last day without ripe seed in what is cut: 0.8, 0.9 and all of the 30 days from the flowers on.
    assert termination.swelling_pods(STAGES, draws).tolist() == [239.0, 239.0, 242.0, 245.0, 245.0]


def test_half_way_to_an_end_of_the_range_is_half_way() -> None:
    """Each side by its own width: 225 + 30 * 0.1, and 225 + 30 * 0.325 on the next whole day."""
    assert termination.rolled_from(STAGES, np.array([-0.6408, 0.6408])).tolist() == [228.0, 235.0]
    # Seed in what is cut: 215 + 30 * 0.85 on the last whole day, and 215 + 30 * 0.95.
    assert termination.swelling_pods(STAGES, np.array([-0.6408, 0.6408])).tolist() == [240.0, 243.0]


def test_part_of_a_day_of_swelling_pods_is_not_safe() -> None:
    """Nine tenths of the 29 days from 216 to 245 end on day 242.1: the last whole day is 242."""
    later = STAGES | {"first_flower": np.array([216.0])}
    assert termination.swelling_pods(later) == 242


def test_drawn_days_come_before_those_of_the_middle() -> None:
    """Where the stages carry the days that were drawn, the window is theirs."""
    drawn = STAGES | {"rolled_from": np.array([229.0]), "swelling_pods": np.array([240.0])}
    assert termination.window(drawn, "roll", VETCH) == (229.0, 240.0)
    assert termination.window(drawn, "mow", VETCH) == (225.0, 240.0)


def test_tarp_is_on_three_weeks_before_seed() -> None:
    """A tarp takes three weeks to kill (Strader 2019), so it goes on between buds and 21 days before seed."""
    opens, closes = termination.window(STAGES, "tarp", VETCH)
    assert opens == 200
    assert closes == 246 - 1 - 21


def test_unknown_method_names_near_matches() -> None:
    """A mistyped method is answered with what was likely meant."""
    with pytest.raises(UnknownNameError, match="turn-under"):
        termination.window(STAGES, "turn under", CRIMSON)


def test_windows_keep_shape_and_inputs() -> None:
    """Members keep their shape, stages that are not reached stay NaN, and no input is written to."""
    stages = {name: np.array([[day[0], np.nan, day[0] + 1.0]]) for name, day in STAGES.items()}
    for day in stages.values():
        day.setflags(write=False)
    for method in termination.METHODS:
        opens, closes = termination.window(stages, method, VETCH)
        assert opens.shape == closes.shape == (1, 3)
        assert np.isnan(opens[0, 1])
        assert np.isnan(closes[0, 1])


# --- beside a cereal --------------------------------------------------------------------------------------


def pair(method: str, **changes: float) -> tuple[float, float]:
    """The window of vetch and rye on round days, some of them changed."""
    days = {"bud": 90, "first_flower": 105, "bloom_10": 110, "bloom_25": 115, "bloom_50": 120, "end_of_bloom": 150}
    days |= {"viable_seed": 161, "rolled_from": 125, "swelling_pods": 150}
    days |= {"cereal_jointing": 80, "cereal_boot": 95, "cereal_heading": 98, "cereal_flowering": 108}
    days |= {"cereal_milk": 114, "cereal_last": 121, "cereal_tilled_until": 108} | changes  # type: ignore[assignment]
    found = termination.window({name: np.array([float(day)]) for name, day in days.items()}, method, VETCH)
    return found[0].item(), found[1].item()


def test_the_window_of_the_two_by_way_of_ending() -> None:
    """Rolled and mown by the later of the two, turned under by the earlier, all before either sets seed."""
    assert pair("roll") == (125, 121)
    assert pair("roll", cereal_flowering=130, cereal_last=143) == (130, 143)
    assert pair("mow") == (120, 121)
    assert pair("mow", cereal_heading=128, cereal_last=200) == (128, 150)
    assert pair("turn-under") == (80, 121)
    assert pair("turn-under", cereal_jointing=140, cereal_last=200) == (110, 160)
    assert pair("tarp", cereal_last=200) == (80, 160 - 21)


def test_rolled_before_it_flowers_a_cereal_lives_on() -> None:
    """What never comes to flower is never killed by a roller, whatever the legume does."""
    assert np.isnan(pair("roll", cereal_flowering=np.nan)[0])


def test_tillage_kills_less_surely_from_the_boot_on() -> None:
    """One stand in ten is hard from the boot on, half of them by the watery grain; a legume never is."""
    boot, milk = np.array([95.0]), np.array([121.0])
    last = [termination.tilled_until(boot, milk, np.array([draw])).item() for draw in (-1.2816, -0.6408, -1e-9, 0.0)]
    assert last == [95, 108, 120, np.inf]
    stages_ = {"cereal_tilled_until": np.array([108.0, np.nan])}
    assert termination.killed_until(stages_, "turn-under") == pytest.approx([108, np.inf])
    assert termination.killed_until(stages_, "roll") is None
    assert termination.killed_until({}, "turn-under") is None


def test_the_last_day_of_a_cereal_lies_between_watery_grain_and_soft_dough() -> None:
    """Two sources name one end each; a draw lies between, and never beyond."""
    milk = np.array([120.0])
    early, middle, late = (termination.last_before_grain(milk, np.array([draw])).item() for draw in (-3.0, 0.0, 3.0))
    assert (early, middle, late) == (124, 131, 134)
    assert MODELS.cereal.dough.value == 14


# --- where it comes from --------------------------------------------------------------------------


def test_what_lies_on_top_is_said_and_what_is_turned_under_is_not() -> None:
    """Each way has what it rests on: a tarp its weeks, a roller and a mower the pods, and a roller the vetches."""
    roll, mow, tarp = map(termination.assumptions, termination.ON_SURFACE)
    assert termination.assumptions("turn-under") == ()
    assert tarp[:-1] == mow[:-1]
    assert tarp[-1].startswith("A tarp is given three weeks")
    assert roll[:-1] == mow
    assert roll[-1].startswith("A roller kills vetch from full bloom to early pods on")
    assert mow[-1].startswith("A cover that is rolled or mown is safe only up to its first swelling pods")


def test_each_way_names_listed_sources() -> None:
    """And what lies on top those of its slower rot; turning under is what the bloom itself rests on."""
    assert termination.sources("turn-under") == ()
    for method in termination.ON_SURFACE:
        keys = termination.sources(method)
        assert all(catalogue.source(key).title for key in keys)
        assert "regan2024" in keys


# --- odds -----------------------------------------------------------------------------------------

indexes = st.one_of(st.just(np.nan), st.integers(-5, 45).map(float))


@SHORT
@given(st.lists(st.tuples(indexes, indexes, st.floats(0.0, 1.0)), min_size=1, max_size=12))
def test_odds_are_the_weights_of_the_windows_that_hold_the_day(members: list[tuple[float, float, float]]) -> None:
    """Counting member by member and day by day gives the same odds."""
    opens, closes, weights = (np.array(column) for column in zip(*members, strict=True))
    odds = termination.probability_by_day(opens, closes, weights, 40)
    counted = [
        sum(weight for first, last, weight in members if first <= day and (np.isnan(last) or day <= last))
        for day in range(40)
    ]
    np.testing.assert_allclose(odds, counted, atol=1e-9)


def test_a_window_that_closes_before_it_opens_holds_no_day() -> None:
    """An empty window has no odds on any day, its own ends included."""
    assert not termination.probability_by_day([20.0], [15.0], [1.0], 40).any()


def test_a_day_that_all_windows_hold_is_certain_and_no_more() -> None:
    """Also where the running sum of the weights ends a hair above the whole."""
    uneven = 1 / np.arange(1.0, 400.0)[::-1]
    weights = uneven / uneven.sum()
    odds = termination.probability_by_day(np.zeros(399), np.full(399, 9.0), weights, 20)
    assert odds[:10] == pytest.approx(np.ones(10), abs=1e-12)
    assert odds.max() <= 1.0
    assert odds[10:] == pytest.approx(np.zeros(10), abs=1e-12)


def test_dead_members_lower_the_odds() -> None:
    """Weights are taken as they are: if half of the members are dead, the odds are at most a half."""
    odds = termination.probability_by_day([[5.0, 5.0]], [[9.0, 9.0]], [[0.5, 0.0]], 20)
    assert odds.max() == 0.5
    np.testing.assert_array_equal(np.flatnonzero(odds), np.arange(5, 10))
