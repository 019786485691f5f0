"""Windows for ending a cover, and their odds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from covercrop.base.errors import UnknownNameError
from covercrop.models import termination
from covercrop.parameters import catalogue

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
