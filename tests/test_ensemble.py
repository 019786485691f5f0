"""Draws, weighted quantiles and the weights of scouting notes."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from covercrop.ensemble import (
    NOTE_NOT_YET,
    NOTE_PAST,
    NOTE_REACHED,
    SCOUTING_SD_DAYS,
    SHARED_SCATTER,
    Draws,
    Evidence,
    effective_share,
    quantiles,
    refocus,
    scouting_weights,
    share_by,
    standard_draws,
    surprise,
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


@given(st.lists(st.tuples(st.one_of(st.integers(-50, 700).map(float), st.just(np.nan)), st.integers(0, 4)), min_size=1))
def test_whole_days_are_ranked_as_members_written_out(members: list[tuple[float, int]]) -> None:
    """numpy's order statistics of the members, each written as often as it weighs: the rule of Hyndman and Fan's 1."""
    values, weights = (np.array(each, dtype=float) for each in zip(*members, strict=True))
    written_out = np.repeat(values, weights.astype(int))
    shares = (0.1, 0.5, 0.9)
    expected = (
        np.quantile(np.where(np.isnan(written_out), 1e6, written_out), shares, method="inverted_cdf")
        if written_out.size
        else np.full(3, 1e6)
    )
    np.testing.assert_array_equal(quantiles(values, weights, shares), np.where(expected == 1e6, np.nan, expected))


def test_what_never_comes_and_what_is_no_day_at_all() -> None:
    """Neither all members without a date nor an infinite value stops it."""
    assert np.isnan(quantiles(np.full(4, np.nan), np.ones(4))).all()
    assert quantiles(np.array([1.0, 2.0, np.inf]), np.ones(3)).tolist() == [1.0, 2.0, np.inf]
    assert quantiles(np.full(3, np.inf), np.ones(3)).tolist() == [np.inf] * 3


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


# --- notes that share an error --------------------------------------------------------------------


def test_notes_of_the_same_eyes_are_a_correlated_normal_observation() -> None:
    """Three sightings weigh as scipy's multivariate normal with the stated covariance says."""
    bloom, days = _members(200.0), (204.0, 198.0, 209.0)
    stages = [bloom, bloom - 6, bloom + 4]
    notes = [Evidence(day=day, expected=stage, kind=NOTE_REACHED) for day, stage in zip(days, stages, strict=True)]
    weights, sd = scouting_weights(bloom.shape, notes)
    assert sd == SCOUTING_SD_DAYS
    covariance = sd**2 * ((1 - SHARED_SCATTER) * np.eye(3) + SHARED_SCATTER)
    errors = np.stack([stage - day for day, stage in zip(days, stages, strict=True)], axis=-1)
    expected = multivariate_normal(np.zeros(3), covariance).pdf(errors)
    assert weights == pytest.approx(expected / expected.sum(), rel=1e-6)


@pytest.mark.parametrize("past", [0, 1])
def test_bounds_and_sightings_together(past: int) -> None:
    """A sighting, two visits too early and one too late weigh as a numerical integral over the shared error says."""
    bloom = np.linspace(180.0, 230.0, 26)[np.newaxis]
    kinds = [(206.0, NOTE_REACHED), (196.0, NOTE_NOT_YET), (201.0, NOTE_NOT_YET), (215.0, NOTE_PAST)][: 3 + past]
    notes = [Evidence(day=day, expected=bloom, kind=kind) for day, kind in kinds]
    weights, sd = scouting_weights(bloom.shape, notes)
    assert sd == SCOUTING_SD_DAYS
    shared, own = sd * np.sqrt(SHARED_SCATTER), sd * np.sqrt(1 - SHARED_SCATTER)
    error = np.linspace(-8 * shared, 8 * shared, 4001)

    def likelihood(stage: float) -> float:
        total = norm.pdf(error, scale=shared)
        for day, kind in kinds:
            late = (stage - day + error) / own
            total = (
                total
                * {
                    NOTE_REACHED: norm.pdf(late),
                    NOTE_NOT_YET: norm.cdf(late),
                    NOTE_PAST: norm.cdf(-late),
                }[kind]
            )
        return float(total.sum())

    expected = np.array([[likelihood(stage) for stage in bloom[0]]])
    assert weights == pytest.approx(expected / expected.sum(), rel=0.01, abs=1e-6)


def test_many_notes_of_the_same_eyes_have_an_end_of_narrowing() -> None:
    """A hundred notes leave at least the scatter that all have in common."""
    bloom = np.linspace(170.0, 230.0, 601)[np.newaxis]
    weights, _ = scouting_weights(bloom.shape, [Evidence(day=203.0, expected=bloom, kind=NOTE_REACHED)] * 100)
    mean = (weights * bloom).sum()
    assert np.sqrt((weights * (bloom - mean) ** 2).sum()) > 0.98 * SCOUTING_SD_DAYS * np.sqrt(SHARED_SCATTER)


def test_past_its_end_rules_out_the_late_members_only() -> None:
    """Seed that was ripe on a visit: members that are later lose weight, earlier ones keep theirs alike."""
    seed = _members(200.0)
    weights, _ = scouting_weights(seed.shape, [Evidence(day=195.0, expected=seed, kind=NOTE_PAST)])
    assert weights[seed > 206].max() < 0.05 * weights[seed < 185].min()
    assert weights[seed < 183].max() == pytest.approx(weights[seed < 183].min(), rel=0.01)


@pytest.mark.parametrize(("offset", "kind"), [(0.0, NOTE_REACHED), (12.0, NOTE_REACHED), (9.0, NOTE_NOT_YET)])
def test_draws_gathered_about_the_notes_say_the_same_and_count_more(offset: float, kind: str) -> None:
    """Importance sampling changes neither mean nor spread by more than a fraction of a day, and more draws count."""
    sd_days = 10.0
    coarse = standard_draws().requirement

    def weighed(draw: np.ndarray, prior: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
        days = np.broadcast_to(200 + sd_days * draw, (5, draw.size))
        notes = [Evidence(day=200 + offset, expected=days, kind=kind)]
        return days, scouting_weights(days.shape, notes, prior=prior)[0]

    _, weights = weighed(coarse, 0.0)
    moved, prior = refocus(coarse, weights)
    days, fine = weighed(moved, prior)
    many, exact = weighed(np.array([NormalDist().inv_cdf((k + 0.5) / 20001) for k in range(20001)]), 0.0)
    means = [(w * x).sum() for w, x in ((fine, days), (exact, many))]
    spreads = [
        np.sqrt((w * (x - m) ** 2).sum()) for (w, x), m in zip(((fine, days), (exact, many)), means, strict=True)
    ]
    assert means[0] == pytest.approx(means[1], abs=0.2)
    assert spreads[0] == pytest.approx(spreads[1], rel=0.05)
    assert effective_share(fine) > effective_share(weights)


@pytest.mark.parametrize(
    ("day", "kind", "days"),
    [
        (203.0, NOTE_REACHED, 0),
        (170.0, NOTE_REACHED, 30),
        (230.0, NOTE_REACHED, -30),
        (230.0, NOTE_NOT_YET, -30),
        (170.0, NOTE_NOT_YET, 0),
        (170.0, NOTE_PAST, 30),
        (230.0, NOTE_PAST, 0),
    ],
)
def test_a_note_far_from_the_weather_is_surprising(day: float, kind: str, days: float) -> None:
    """Members at 200, give or take 8: a month off is surprising, on the side on which the note says anything."""
    assert surprise(Evidence(day=day, expected=_members(200.0), kind=kind)) == pytest.approx(days, abs=0.2)


def test_a_stage_that_no_year_has_is_surprising_without_end() -> None:
    """Bloom seen where the model has none is infinitely surprising; no bloom there is not."""
    never = np.full((3, 4), np.nan)
    assert surprise(Evidence(day=100.0, expected=never, kind=NOTE_REACHED)) == np.inf
    assert surprise(Evidence(day=100.0, expected=never, kind=NOTE_NOT_YET)) == 0
