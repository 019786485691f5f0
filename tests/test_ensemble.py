"""Draws, weighted quantiles and the weights of scouting notes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.ensemble import (
    NOTE_NOT_YET,
    NOTE_REACHED,
    SCOUTING_SD_DAYS,
    Draws,
    Evidence,
    effective_share,
    quantiles,
    scouting_weights,
    share_by,
    standard_draws,
)

NAMES = tuple(Draws.__slots__)


@pytest.mark.parametrize("name", NAMES)
def test_draws_are_standard_normal(name: str) -> None:
    """Each quantity's draws have mean 0 and a variance just under 1, for want of the far tails."""
    values = getattr(standard_draws(), name)
    assert abs(values.mean()) < 1e-12
    assert 0.95 < values.std() < 1.0


def test_draws_of_two_quantities_do_not_go_together() -> None:
    """No two quantities are correlated by more than 0.15, so that no two errors always come together."""
    table = np.corrcoef([getattr(standard_draws(), name) for name in NAMES])
    assert np.abs(table - np.eye(len(NAMES))).max() < 0.15


def test_draws_are_the_same_twice_and_cannot_be_changed() -> None:
    """The same field gives the same answer twice."""
    assert standard_draws() is standard_draws()
    with pytest.raises(ValueError, match="read-only"):
        standard_draws().seed[0] = 0.0


@given(st.lists(st.floats(0, 500), min_size=1, max_size=60))
def test_quantiles_of_equal_weights_are_order_statistics(values: list[float]) -> None:
    """With equal weights a quantile is the smallest value that this share of the members has reached."""
    array = np.array(values)
    for share, got in zip((0.1, 0.5, 0.9), quantiles(array, np.ones(len(values))), strict=True):
        assert got in array
        assert (array <= got).mean() >= share - 1e-9
        assert (array < got).mean() < share + 1e-9


def test_a_weight_of_two_is_two_members() -> None:
    """Weights count as copies."""
    values = np.array([3.0, 1.0, 2.0])
    copied = np.array([3.0, 1.0, 1.0, 1.0, 2.0])
    assert (quantiles(values, np.array([1.0, 3.0, 1.0])) == quantiles(copied, np.ones(5))).all()


def test_a_stage_that_members_do_not_reach_comes_last() -> None:
    """With four members of ten never there, the median is a date and the late end is not reached."""
    values = np.array([100.0] * 6 + [np.nan] * 4)
    early, median, late = quantiles(values, np.ones(10))
    assert early == median == 100.0
    assert np.isnan(late)
    assert share_by(values, np.ones(10), 100) == pytest.approx(0.6)


def test_without_any_weight_nothing_is_reached() -> None:
    """A stand that is certainly dead has no dates."""
    assert np.isnan(quantiles(np.array([1.0, 2.0]), np.zeros(2))).all()
    assert share_by(np.array([1.0]), np.zeros(1), 5) == 0.0


def _members(centre: float, spread: float = 8.0) -> np.ndarray:
    return centre + spread * np.tile(standard_draws().requirement, (30, 1))


def test_no_notes_leave_the_members_equal() -> None:
    """Without notes each member weighs the same."""
    weights, sd = scouting_weights((30, 64), [])
    assert np.ptp(weights) == 0
    assert weights.sum() == pytest.approx(1.0)
    assert sd == SCOUTING_SD_DAYS


def test_a_note_is_weighed_as_a_normal_observation() -> None:
    """Prior N(200, 8), sighting N(., 4) of 210: the posterior mean and spread are those of the textbook product."""
    bloom = _members(200.0)
    weights, sd = scouting_weights(bloom.shape, [Evidence(day=210.0, expected=bloom, kind=NOTE_REACHED)])
    precision = 1 / 8**2 + 1 / sd**2
    mean = (weights * bloom).sum()
    assert sd == SCOUTING_SD_DAYS
    assert mean == pytest.approx((200 / 8**2 + 210 / sd**2) / precision, abs=0.15)
    assert np.sqrt((weights * (bloom - mean) ** 2).sum()) == pytest.approx(precision**-0.5, abs=0.15)


def test_not_yet_rules_out_the_early_members_only() -> None:
    """No buds on day 205: members with buds by then lose weight, later ones keep theirs alike."""
    buds = _members(200.0)
    weights, _ = scouting_weights(buds.shape, [Evidence(day=205.0, expected=buds, kind=NOTE_NOT_YET)])
    assert weights[buds < 195].max() < 0.02 * weights[buds > 215].min()
    assert weights[buds > 217].max() == pytest.approx(weights[buds > 217].min(), rel=0.01)


def test_two_notes_narrow_more_than_one() -> None:
    """A second sighting that agrees narrows the spread."""
    bloom = _members(200.0)
    spreads = []
    for count in (0, 1, 2):
        weights, _ = scouting_weights(bloom.shape, [Evidence(day=203.0, expected=bloom, kind=NOTE_REACHED)] * count)
        mean = (weights * bloom).sum()
        spreads.append(np.sqrt((weights * (bloom - mean) ** 2).sum()))
    assert spreads[0] > spreads[1] > spreads[2]


def test_a_note_that_nothing_explains_widens_its_scatter() -> None:
    """Two months off, the note still leaves more than a handful of members, with a wider scatter."""
    bloom = _members(200.0)
    weights, sd = scouting_weights(bloom.shape, [Evidence(day=260.0, expected=bloom, kind=NOTE_REACHED)])
    assert sd > SCOUTING_SD_DAYS
    assert effective_share(weights) >= 0.02


def test_members_that_never_bloom_lose_to_a_sighting() -> None:
    """A member without a bloom date cannot explain a bloom that was seen."""
    bloom = np.array([[200.0, np.nan]])
    weights, _ = scouting_weights((1, 2), [Evidence(day=201.0, expected=bloom, kind=NOTE_REACHED)])
    assert weights[0, 0] > 0.999
