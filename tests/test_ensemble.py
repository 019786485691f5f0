"""Draws, weighted quantiles and the weights of scouting notes."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.special import huber
from scipy.stats import norm, t

from covercrop.models.members import (
    _PRIMES,
    EIGHTY,
    Draws,
    quantiles,
    share,
    share_by,
    staggered,
    standard_draws,
    student,
)
from covercrop.models.note_weights import (
    FIRM_SD,
    NOTE_NOT_YET,
    NOTE_PAST,
    NOTE_REACHED,
    PLACES,
    SCOUTING_SD_DAYS,
    SHARED_SCATTER,
    Evidence,
    _log_normal,
    _log_share,
    clash,
    effective_share,
    refocus,
    scouting_weights,
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


def test_the_points_are_richtmyers_by_hand() -> None:
    """The fractions of n times the root of 2, n from 1 to 4, are .41, .83, .24 and .66: ranks 1, 3, 0 and 2 of four.

    Their places are the middles of four equal shares: an eighth, three eighths and so on.
    """
    np.testing.assert_allclose(standard_draws(4).requirement, norm.ppf(np.array([3, 7, 1, 5]) / 8))


def test_each_quantity_has_a_prime_of_its_own() -> None:
    """Roots of different primes are independent of each other over the fractions; that of a square is none at all."""
    assert len(set(_PRIMES)) == len(_PRIMES) == len(NAMES)
    assert all(prime > 1 and all(prime % lower for lower in range(2, prime)) for prime in _PRIMES)


def test_a_tenth_lies_beyond_either_end_of_the_interval() -> None:
    """Of the normal distribution."""
    assert norm.sf(EIGHTY) == pytest.approx(0.1, abs=1e-5)
    assert norm.cdf(-EIGHTY) == pytest.approx(0.1, abs=1e-5)


def test_draws_of_two_years_by_hand() -> None:
    """A quarter of a rank earlier and later, straight between the draws and never beyond them; one year has its own."""
    draws = np.array([1.0, -1.0])
    np.testing.assert_allclose(staggered(draws, 2), [[0.5, -1.0], [1.0, -0.5]])
    np.testing.assert_array_equal(staggered(draws, 1), [draws])
    assert staggered(draws, 0).shape == (0, 2)


def test_draws_that_differ_by_year_fill_the_steps() -> None:
    """Each year lies within half a rank of the draws, in their order, and all years together keep mean and spread."""
    plain = standard_draws(16).disease
    mixed = staggered(plain, 25)
    assert mixed.shape == (25, 16)
    assert (np.argsort(mixed, axis=1) == np.argsort(plain)).all()
    assert np.unique(mixed.round(9)).size > 300
    assert abs(mixed.mean()) < 1e-9
    assert mixed.std() == pytest.approx(plain.std(), abs=0.03)


def test_draws_are_the_same_twice_and_cannot_be_changed() -> None:
    """The same field gives the same answer twice."""
    assert standard_draws() is standard_draws()
    with pytest.raises(ValueError, match="read-only"):
        standard_draws().seed[0] = 0.0


@given(st.lists(st.floats(0, 500), min_size=1, max_size=60))
def test_quantiles_of_equal_weights_are_order_statistics(values: list[float]) -> None:
    """With equal weights a quantile is the smallest value that this share of the members has reached."""
    array = np.array(values)
    for wanted, got in zip((0.1, 0.5, 0.9), quantiles(array, np.ones(len(values))), strict=True):
        assert got in array
        assert (array <= got).mean() >= wanted - 1e-9
        assert (array < got).mean() < wanted + 1e-9


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


def test_a_share_of_all_is_one_and_of_none_is_nothing() -> None:
    """From 0 to 1, and 0 without any weight."""
    uneven = 1 / np.arange(1.0, 400.0)
    weights = uneven[::-1] / uneven.sum()
    order = np.argsort(weights % 0.001)
    assert 0.999 < share(np.ones(399, dtype=bool), weights[order]) <= 1.0
    assert share(np.zeros(399, dtype=bool), weights) == 0.0
    assert share(np.ones(3, dtype=bool), np.zeros(3)) == 0.0
    assert share_by(np.array([1.0, 5.0, np.nan]), np.array([1.0, 1.0, 2.0]), 5) == 0.5


def test_a_share_of_all_is_no_hair_above_one() -> None:
    """Weights that lie in another order in memory are summed in another: here the one sum is greater than the other."""
    weights = np.random.default_rng(4).random((40, 30)).T
    everywhere = np.ones(weights.shape, dtype=bool)
    assert weights[everywhere].sum() > weights.sum()
    assert share(everywhere, weights) == 1.0


@pytest.mark.parametrize("far", [0.0, 1e5])
@pytest.mark.parametrize(
    ("weights", "wanted", "expected"),
    [
        ((1, 1, 1, 1), 0.5, 2.0),  # lands exactly on the second
        ((1, 1, 1, 1), 0.5001, 3.0),
        ((1, 1, 1, 1), 0.25, 1.0),
        ((1, 1, 1, 1), 1.0, 4.0),
        ((0.1,) * 10, 0.3, 3.0),  # though three tenths sum to a hair more
        ((0.1,) * 10, 0.7, 7.0),
        ((0.1,) * 8, 0.75, 6.0),  # and six of eight to a hair less
        ((0.2, 0.3, 0.1, 0.4), 0.5, 2.0),
        ((0.5, 0.0, 0.0, 0.5), 0.5, 1.0),
        ((0.0, 0.0, 1.0), 0.1, 3.0),
    ],
)
def test_a_share_that_lands_on_a_member_is_that_member(
    weights: tuple[float, ...], wanted: float, expected: float, far: float
) -> None:
    """Whole days are tallied and others are sorted: either way the first day by which the share is there."""
    values = np.arange(1.0, len(weights) + 1)
    values[-1] += far  # beyond a few years days are no longer tallied
    each = np.array(weights)
    if expected == len(weights):
        expected += far
    assert quantiles(values, each, (wanted,)) == expected
    assert quantiles(values + 0.5, each, (wanted,)) == expected + 0.5
    assert quantiles(values[::-1].copy(), each[::-1].copy(), (wanted,)) == expected
    assert share_by(values, each, expected) >= wanted - 1e-12


def test_what_is_shown_is_the_middle_80_percent() -> None:
    """Of a hundred members the tenth, the fiftieth and the ninetieth."""
    assert quantiles(np.arange(1.0, 101.0), np.ones(100)).tolist() == [10.0, 50.0, 90.0]
    assert quantiles(np.arange(1.0, 1001.0) ** 2, np.ones(1000)).tolist() == [100.0**2, 500.0**2, 900.0**2]


def test_quantiles_are_taken_row_by_row_over_any_member_axes() -> None:
    """A stage a row, the members on two axes; each as if it were alone, whatever the others hold."""
    weights = np.array([[1.0, 2.0], [3.0, 4.0]])
    rows = np.array([[[5.0, 1.0], [7.0, 3.0]], [[np.nan, 900.0], [1.0, 2.0]], [[0.5, 2.5], [1.5, 3.5]]])
    found = quantiles(rows, weights)
    assert found.shape == (3, 3)
    for row, got in zip(rows, found, strict=True):
        np.testing.assert_array_equal(got, quantiles(row, weights))
    assert found[0].tolist() == [1.0, 3.0, 7.0]
    assert found[1].tolist()[:2] == [1.0, 2.0]
    assert found[2].tolist() == [0.5, 2.5, 3.5]
    whole = np.floor(rows[:2])  # whole days of a few years are counted another way
    whole[1, 0, 1] = np.nan
    for row, got in zip(whole, quantiles(whole, weights), strict=True):
        np.testing.assert_array_equal(got, quantiles(row, weights))
    assert quantiles(whole, weights).tolist()[0] == [1.0, 3.0, 7.0]


def test_the_day_itself_counts_as_reached() -> None:
    """A stage of today is there today; one that is never reached is never."""
    days, weights = np.array([4.0, 5.0, np.nan]), np.array([1.0, 2.0, 1.0])
    assert [share_by(days, weights, day) for day in (3, 4, 4.9, 5, 500)] == [0.0, 0.25, 0.25, 0.75, 0.75]
    assert share(np.array([True, False, True]), weights) == 0.5


def test_what_is_never_early_is_sorted_too() -> None:
    """Days without beginning, beside others and alone."""
    assert quantiles(np.array([-np.inf, 3.0, 4.0]), np.ones(3)).tolist() == [-np.inf, 3.0, 4.0]
    assert quantiles(np.array([-np.inf, np.nan, np.nan]), np.ones(3), (0.1, 0.3)).tolist() == [-np.inf, -np.inf]


def _members(centre: float, spread: float = 8.0) -> np.ndarray:
    return centre + spread * np.tile(standard_draws().requirement, (30, 1))


def test_no_notes_leave_the_members_equal() -> None:
    """Without notes each member weighs the same."""
    weights, sd = scouting_weights((30, 64), [])
    assert np.ptp(weights) == 0
    assert weights.sum() == pytest.approx(1.0)
    assert sd == SCOUTING_SD_DAYS


def test_a_note_is_weighed_as_a_normal_observation() -> None:
    """Prior N(200, 8), sighting of 210 with an error of its own and one that it cannot tell: worked out by hand.

    The gain is that of the error of its own, 64 / (64 + 8); the other error goes through it into the spread.
    """
    bloom = _members(200.0)
    weights, sd = scouting_weights(bloom.shape, [Evidence(day=210.0, expected=bloom, kind=NOTE_REACHED)])
    own, shared = (1 - SHARED_SCATTER) * sd**2, SHARED_SCATTER * sd**2
    gain = 64 / (64 + own)
    mean = (weights * bloom).sum()
    assert sd == SCOUTING_SD_DAYS
    assert mean == pytest.approx(200 + gain * 10, abs=0.3)
    spread = np.sqrt((weights * (bloom - mean) ** 2).sum())
    assert spread == pytest.approx(np.sqrt(gain * own + gain**2 * shared), rel=0.08)  # the straight tails widen it


def test_a_note_is_of_today_and_of_bloom_unless_said() -> None:
    """One that gives no age has not faded."""
    note = Evidence(day=1.0, expected=np.zeros((1, 1)), kind=NOTE_REACHED)
    assert (note.age, note.of_seed) == (0.0, False)


def test_years_that_differ_are_weighed_against_each_other() -> None:
    """Two years of three draws by plain loops: for each error in common weights that sum to 1, then their mean."""
    days = np.array([[196.0, 200.0, 204.0], [206.0, 212.0, 230.0]])
    prior = np.array([0.0, 0.5, -0.3])
    notes = [(203.0, NOTE_REACHED), (192.0, NOTE_NOT_YET)]
    found, sd = scouting_weights(
        (2, 3), [Evidence(day=day, expected=days, kind=kind) for day, kind in notes], prior=prior
    )
    assert sd == SCOUTING_SD_DAYS
    own, shared = sd * np.sqrt(1 - SHARED_SCATTER), sd * np.sqrt(SHARED_SCATTER)
    total = np.zeros((2, 3))
    for place in range(32):
        error = shared * norm.ppf((place + 0.5) / 32)
        each = np.zeros((2, 3))
        for year, draw in np.ndindex(2, 3):
            late = (days[year, draw] - 203.0 + error) / own
            bound = norm.logcdf((days[year, draw] - 192.0 + error) / own)  # no member far on the wrong side
            each[year, draw] = np.exp(prior[draw] - huber(FIRM_SD, late) + bound)
        total += each / each.sum()
    np.testing.assert_allclose(found, total / 32, atol=1e-5)


def test_what_is_seen_a_day_earlier_and_a_day_later_is_mirrored() -> None:
    """What notes have in common lies evenly on both sides."""
    bloom = np.linspace(180.0, 220.0, 41)[np.newaxis]
    early, late = (
        scouting_weights(bloom.shape, [Evidence(day=day, expected=bloom, kind=NOTE_REACHED)])[0]
        for day in (197.0, 203.0)
    )
    np.testing.assert_allclose(early, late[:, ::-1], atol=1e-12)


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


VISITS = [
    (206.0, NOTE_REACHED),
    (204.0, NOTE_REACHED),
    (196.0, NOTE_NOT_YET),
    (201.0, NOTE_NOT_YET),
    (215.0, NOTE_PAST),
]


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_notes_weigh_as_a_numerical_integral_says(count: int) -> None:
    """Sightings by scipy's Huber loss, bounds by its normal distribution, over an error that none of them informs."""
    bloom = np.linspace(180.0, 230.0, 51)[np.newaxis]
    visits = VISITS[:count]
    notes = [Evidence(day=day, expected=bloom, kind=kind) for day, kind in visits]
    weights, sd = scouting_weights(bloom.shape, notes)
    assert sd == SCOUTING_SD_DAYS
    shared, own = sd * np.sqrt(SHARED_SCATTER), sd * np.sqrt(1 - SHARED_SCATTER)
    errors = np.linspace(-5 * shared, 5 * shared, 2001)[:, np.newaxis]
    slope = norm.pdf(FIRM_SD) / norm.cdf(-FIRM_SD)

    def bound(scaled: np.ndarray) -> np.ndarray:
        straight = norm.logcdf(-FIRM_SD) + slope * (scaled + FIRM_SD)
        return np.where(scaled < -FIRM_SD, straight, norm.logcdf(scaled))

    score = np.zeros((errors.size, bloom.size))
    for day, kind in visits:
        late = (bloom - day + errors) / own
        score += {
            NOTE_REACHED: -huber(FIRM_SD, late),
            NOTE_NOT_YET: bound(late),
            NOTE_PAST: bound(-late),
        }[kind]
    members = np.exp(score) / np.exp(score).sum(axis=1, keepdims=True)
    expected = np.average(members, axis=0, weights=norm.pdf(errors[:, 0], scale=shared))
    assert weights[0] == pytest.approx(expected, rel=0.05, abs=1e-3)


visits_of_two_weeks = st.lists(
    st.tuples(st.floats(-20, 20), st.sampled_from([NOTE_REACHED, NOTE_NOT_YET, NOTE_PAST]), st.floats(0, 14)),
    max_size=4,
)


@given(visits_of_two_weeks, st.floats(-40, 40), st.floats(0, 20), st.sampled_from([NOTE_REACHED, NOTE_NOT_YET]))
def test_more_seen_is_never_later(
    others: list[tuple[float, str, float]], off: float, further: float, kind: str
) -> None:
    """Whatever else was noted, a note of a stand further on makes an earlier stand more likely, at every share.

    So long as the notes scatter no more than they were thought to; what they scatter more widens on both sides.
    """
    bloom = _members(200.0)[:1]  # all years alike: one tells of all
    order = np.argsort(bloom[0])
    rest = [Evidence(day=200 + day, expected=bloom, kind=of, age=age) for day, of, age in others]

    def shares(by: float) -> tuple[np.ndarray, float]:
        # To have seen a stage that comes so many days after another is to have seen the other so many days ago.
        note = Evidence(day=200 + off, expected=bloom + by, kind=kind)
        weights, sd = scouting_weights(bloom.shape, [*rest, note])
        return np.cumsum(weights.sum(axis=0)[order]), sd

    (less, sd), (more, wider) = shares(0.0), shares(further)
    assume(sd == wider == SCOUTING_SD_DAYS)
    assert (more >= less - 1e-9).all()


def test_contradicting_notes_do_not_push_the_stand_beyond_either() -> None:
    """Two old notes say late, one of today early: what is likely lies between, and is wider than by the two alone."""
    bloom = _members(200.0)
    late = [Evidence(day=day, expected=bloom, kind=NOTE_REACHED, age=age) for day, age in ((211.0, 12.0), (210.0, 3.0))]
    early = Evidence(day=190.0, expected=bloom, kind=NOTE_REACHED)
    found = []
    for notes in (late, [*late, early]):
        weights, sd = scouting_weights(bloom.shape, notes)
        found.append((*quantiles(bloom, weights), sd))
    (low, before, high, calm), (lowest, after, highest, upset) = found
    assert 190 < after < before - 3
    assert highest - lowest > 1.2 * (high - low)
    assert calm == SCOUTING_SD_DAYS
    assert upset > 6


def test_a_note_fades() -> None:
    """What was seen two weeks ago moves the stand less than what is seen today, and no less after a month."""
    bloom = _members(200.0)
    means = []
    for age in (0.0, 7.0, 14.0, 30.0):
        note = Evidence(day=212.0, expected=bloom, kind=NOTE_REACHED, age=age)
        means.append((scouting_weights(bloom.shape, [note])[0] * bloom).sum())
    assert means[0] > means[1] > means[2] == means[3] > 204


def test_many_notes_of_the_same_eyes_have_an_end_of_narrowing() -> None:
    """A hundred notes leave at least the scatter that all have in common."""
    bloom = np.linspace(170.0, 230.0, 601)[np.newaxis]
    weights, _ = scouting_weights(bloom.shape, [Evidence(day=203.0, expected=bloom, kind=NOTE_REACHED)] * 100)
    mean = (weights * bloom).sum()
    assert np.sqrt((weights * (bloom - mean) ** 2).sum()) > 0.95 * SCOUTING_SD_DAYS * np.sqrt(SHARED_SCATTER)


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
        days = np.broadcast_to(200 + sd_days * draw, (2, draw.size))
        notes = [Evidence(day=200 + offset, expected=days, kind=kind)]
        return days, scouting_weights(days.shape, notes, prior=prior)[0]

    _, weights = weighed(coarse, 0.0)
    moved, prior = refocus(coarse, coarse, weights)
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


# --- two notes of one field -----------------------------------------------------------------------


def evidence(day: float, expected: float, kind: str = NOTE_REACHED) -> Evidence:
    return Evidence(day=day, expected=expected + 6 * standard_draws().requirement[np.newaxis], kind=kind)


@pytest.mark.parametrize(
    ("earlier", "later", "expected"),
    [
        # Both notes see the stand a week ahead of the members: they go together.
        (evidence(200, 207), evidence(203, 210), 0.0),
        # 20 % bloom where the members have it on day 220, then no buds (day 195 in the members) three days later:
        # the stand is back by 25 days of the members and 3 of the calendar.
        (evidence(217, 220), evidence(220, 195, NOTE_NOT_YET), -28.0),
        # Buds on day 200, as foretold; full bloom nine days later, where the members take thirty.
        (evidence(200, 200), evidence(209, 230), 21.0),
        # "No buds" twice, and "no buds" before they were due, set no bound that the other breaks.
        (evidence(200, 195, NOTE_NOT_YET), evidence(203, 260, NOTE_NOT_YET), 0.0),
        (evidence(200, 230, NOTE_NOT_YET), evidence(240, 232), 0.0),
        # Seed seen ripe, 40 days after no buds were seen, for which the members take 100.
        (evidence(200, 195, NOTE_NOT_YET), evidence(240, 295, NOTE_PAST), 60.0),
    ],
)
def test_two_notes_clash_by_the_days_that_are_missing(earlier: Evidence, later: Evidence, expected: float) -> None:
    """Worked out by hand: the days that the members take between two stages, less those between the visits."""
    assert clash(earlier, later) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("side", [1, -1])
def test_two_notes_just_twice_their_own_scatter_apart_do_not_clash(side: int) -> None:
    """Members all alike, so that eight days are eight: sqrt(2 * 16 / 2) twice."""
    alike = np.full((1, 4), 200.0)
    first = Evidence(day=200.0, expected=alike, kind=NOTE_REACHED)
    assert clash(first, Evidence(day=200.0 - side * 8.0, expected=alike, kind=NOTE_REACHED)) == 0.0
    assert clash(first, Evidence(day=200.0 - side * 8.01, expected=alike, kind=NOTE_REACHED)) == pytest.approx(
        side * 8.01
    )


def test_members_that_never_get_there_do_not_clash() -> None:
    """What no member comes to is a matter between the note and the weather."""
    never = Evidence(day=220.0, expected=np.full((1, 64), np.nan), kind=NOTE_REACHED)
    assert clash(evidence(200, 200), never) == 0.0


@pytest.mark.parametrize(
    ("apart", "between", "gap"),
    [
        # Two notes of a day or of stages alike may differ by the scatter that they do not share: sqrt(2 * 16 / 2).
        (7.9, 0.0, 0.0),
        (8.1, 0.0, 8.1),
        (-7.9, 0.0, 0.0),
        (-8.1, 0.0, -8.1),
        # Of stages thirty days apart by a fifth of those more: hypot(4, 6), twice.
        (14.3, 30.0, 0.0),
        (14.5, 30.0, 14.5),
    ],
)
def test_two_notes_may_differ_by_twice_their_own_scatter_and_the_pace(apart: float, between: float, gap: float) -> None:
    """Half of the scatter of a note, as variance, is shared with the other and does not count."""
    earlier, later = evidence(200, 200), evidence(200 + between - apart, 200 + between)
    assert clash(earlier, later) == pytest.approx(gap)


@pytest.mark.parametrize(
    ("earlier", "later", "gap"),
    [
        # The later note sees the stand further on (+) or further back (-) by thirty days.
        (NOTE_REACHED, NOTE_REACHED, (30, -30)),
        (NOTE_NOT_YET, NOTE_REACHED, (30, 0)),
        (NOTE_PAST, NOTE_REACHED, (0, -30)),
        (NOTE_REACHED, NOTE_NOT_YET, (0, -30)),
        (NOTE_REACHED, NOTE_PAST, (30, 0)),
        (NOTE_NOT_YET, NOTE_PAST, (30, 0)),
        (NOTE_PAST, NOTE_NOT_YET, (0, -30)),
        (NOTE_NOT_YET, NOTE_NOT_YET, (0, 0)),
        (NOTE_PAST, NOTE_PAST, (0, 0)),
    ],
)
def test_a_bound_is_broken_on_its_own_side_only(earlier: str, later: str, gap: tuple[float, float]) -> None:
    """What a note of none yet, or of past, leaves open no other note contradicts."""
    found = tuple(clash(evidence(200, 200, earlier), evidence(205, 205 + by, later)) for by in (30, -30))
    assert found == pytest.approx(gap)


# --- the scatter that notes share -----------------------------------------------------------------


def test_half_of_the_scatter_is_shared() -> None:
    """Notes without end leave half of the variance of one: what the eyes of one person are off in all of them."""
    bloom = np.linspace(150.0, 250.0, 401)[np.newaxis]
    weights, sd = scouting_weights(bloom.shape, [Evidence(day=200.0, expected=bloom, kind=NOTE_REACHED)] * 400)
    assert sd == 4.0
    assert np.sqrt((weights * (bloom - 200) ** 2).sum()) == pytest.approx(4.0 * np.sqrt(0.5), rel=0.02)


@pytest.mark.parametrize("shared", [0.2, 0.8])
def test_what_is_shared_does_not_narrow_with_more_notes(monkeypatch: pytest.MonkeyPatch, shared: float) -> None:
    """Whatever the share is: it is what many notes leave, and the rest is what pulls."""
    monkeypatch.setattr("covercrop.models.note_weights.SHARED_SCATTER", shared)
    bloom = np.linspace(150.0, 250.0, 401)[np.newaxis]
    weights, _ = scouting_weights(bloom.shape, [Evidence(day=200.0, expected=bloom, kind=NOTE_REACHED)] * 400)
    assert np.sqrt((weights * (bloom - 200) ** 2).sum()) == pytest.approx(4.0 * np.sqrt(shared), rel=0.03)


def test_notes_that_scatter_more_widen_what_they_share_and_stay_where_they_are() -> None:
    """Two notes a dozen days on either side of the middle: the middle stays, the scatter is their root mean square."""
    bloom = np.linspace(150.0, 250.0, 2001)[np.newaxis]
    notes = [Evidence(day=day, expected=bloom, kind=NOTE_REACHED) for day in (188.0, 212.0)]
    weights, sd = scouting_weights(bloom.shape, notes)
    assert sd == pytest.approx(12.0, abs=0.1)
    mean = (weights * bloom).sum()
    assert mean == pytest.approx(200.0, abs=0.1)
    calm, _ = scouting_weights(bloom.shape, [replace(note, day=200.0) for note in notes])
    assert (weights * (bloom - mean) ** 2).sum() > 100 + (calm * (bloom - 200) ** 2).sum()


def test_a_share_of_the_members_is_always_left() -> None:
    """Notes that leave too few widen their scatter by half until a twentieth of the members counts."""
    bloom = _members(200.0)
    for off in (40.0, 60.0, 90.0):
        weights, sd = scouting_weights(bloom.shape, [Evidence(day=200 - off, expected=bloom, kind=NOTE_REACHED)])
        assert effective_share(weights) >= 0.05
        assert sd >= 4.0
    assert effective_share(np.array([1.0, 1.0, 0.0, 0.0])) == 0.5
    assert effective_share(np.array([0.25, 0.25])) == 1.0
    assert effective_share(np.zeros(3)) == 0.0


def test_the_widening_by_half_has_an_end() -> None:
    """Draws of which one alone counts beforehand: no scatter helps.  4, 6, 9, 13.5, 20.25, 30.4, 45.6 and 68.3 days."""
    bloom = np.full((1, 64), 200.0)
    prior = np.full(64, -99.0)
    prior[5] = 0.0
    weights, sd = scouting_weights(bloom.shape, [Evidence(day=200.0, expected=bloom, kind=NOTE_REACHED)], prior=prior)
    assert weights[0, 5] == pytest.approx(1.0)
    assert sd == pytest.approx(4 * 1.5**7)


@pytest.mark.parametrize(("counting", "widened"), [(12, True), (13, False)])
def test_a_twentieth_of_the_members_is_enough(counting: int, widened: bool) -> None:
    """Of 250 members 13 are 5.2 %, with which the scatter stays, and 12 are 4.8 %."""
    bloom = np.full((1, 250), 200.0)
    prior = np.where(np.arange(250) < counting, 0.0, -99.0)
    _, sd = scouting_weights(bloom.shape, [Evidence(day=200.0, expected=bloom, kind=NOTE_REACHED)], prior=prior)
    assert (sd > SCOUTING_SD_DAYS) == widened


def test_what_notes_scatter_more_goes_into_the_shared_error() -> None:
    """Twelve days on either side: by plain loops with a shared error of sqrt(12^2 - 8), and own ones as ever."""
    bloom = np.linspace(150.0, 250.0, 101)
    notes = [Evidence(day=day, expected=bloom[np.newaxis], kind=NOTE_REACHED) for day in (188.0, 212.0)]
    weights, sd = scouting_weights((1, 101), notes)
    assert sd == pytest.approx(12.0)
    total = np.zeros(101)
    for place in range(32):
        error = np.sqrt(144.0 - 8.0) * norm.ppf((place + 0.5) / 32)
        score = sum(-huber(FIRM_SD, (bloom - day + error) / np.sqrt(8.0)) for day in (188.0, 212.0))
        total += np.exp(score) / np.exp(score).sum()
    np.testing.assert_allclose(weights[0], total / 32, atol=1e-6)


def test_without_notes_the_scatter_asked_for_stands() -> None:
    """However small, and however few members count beforehand."""
    weights, sd = scouting_weights((2, 64), [], 0.5, prior=np.where(np.arange(64) == 5, 0.0, -99.0))
    assert sd == 0.5
    assert weights[:, 5] == pytest.approx(0.5)


def test_a_note_is_surprising_from_twice_the_scatter_on() -> None:
    """Members that are all alike: eight days are not surprising, nine are; members that are spread allow for more."""
    alike = np.full((1, 64), 200.0)
    for kind, sides in ((NOTE_REACHED, (1, -1)), (NOTE_NOT_YET, (-1,)), (NOTE_PAST, (1,))):
        for side in (1, -1):
            near, far = (surprise(Evidence(day=200 - side * by, expected=alike, kind=kind)) for by in (8.0, 8.1))
            assert near == 0.0
            assert far == pytest.approx(side * 8.1 if side in sides else 0.0)
    # The spread of normal members is that of their 80 % interval: twice hypot(4, 8) is 17.9.
    spread = 200 + 8 * np.array([[NormalDist().inv_cdf((k + 0.5) / 2001) for k in range(2001)]])
    assert surprise(Evidence(day=200 - 17.8, expected=spread, kind=NOTE_REACHED)) == 0.0
    assert surprise(Evidence(day=200 - 18.0, expected=spread, kind=NOTE_REACHED)) == pytest.approx(18.0)


def test_what_was_foretold_is_weighed_by_the_notes_before() -> None:
    """Members that earlier notes have ruled out foretell nothing."""
    two = np.array([[200.0] * 32 + [240.0] * 32])
    first = np.where(two == 200.0, 1.0, 0.0)
    assert surprise(Evidence(day=240.0, expected=two, kind=NOTE_REACHED), first) == pytest.approx(-40.0)
    assert surprise(Evidence(day=240.0, expected=two, kind=NOTE_REACHED), 1 - first) == 0.0
    late = np.array([[200.0] * 40 + [np.nan] * 24])
    assert surprise(Evidence(day=150.0, expected=late, kind=NOTE_REACHED)) == pytest.approx(50.0)


def test_a_member_that_never_gets_there_is_as_good_as_a_year_late() -> None:
    """And the others are late by their days."""
    note = Evidence(day=100.0, expected=np.array([[90.0, 130.0, np.nan]]), kind=NOTE_REACHED)
    assert note.lateness.tolist() == [[-10.0, 30.0, 365.0]]


def test_gathered_draws_keep_within_reach() -> None:
    """About the weighted mean, by a tenth more than the weighted spread, never narrower than a quarter nor wider."""
    draw = standard_draws().requirement
    weights = np.exp(-0.5 * ((PLACES - 1.0) / 0.5) ** 2)[np.newaxis].repeat(2, axis=0)
    moved, prior = refocus(draw, PLACES, weights)
    np.testing.assert_allclose(moved, 1.0 + 0.55 * draw, atol=1e-3)
    np.testing.assert_allclose(prior, 0.5 * (draw**2 - moved**2))
    sharp, _ = refocus(draw, PLACES, np.exp(-0.5 * ((PLACES + 2.0) / 0.01) ** 2)[np.newaxis])
    np.testing.assert_allclose(sharp, -2.0 + 0.25 * draw, atol=1e-6)
    wide, _ = refocus(draw, PLACES, np.ones((1, PLACES.size)))
    np.testing.assert_allclose(wide, draw, atol=1e-9)
    far, _ = refocus(draw, PLACES, np.exp(-0.5 * ((PLACES - 3.4) / 0.4) ** 2)[np.newaxis])
    assert far.max() == 3.5


def test_a_bound_weighs_by_the_normal_share_and_far_off_on_a_straight_line() -> None:
    """Held against scipy's normal distribution; the line goes on where and as steeply as the curve has come to."""
    near = np.linspace(-1.5, 9.0, 500)
    np.testing.assert_allclose(_log_share(near), norm.logcdf(near), atol=1e-4)
    step = (norm.logcdf(-1.5 + 1e-6) - norm.logcdf(-1.5)) / 1e-6
    far = norm.logcdf(-1.5) - step * np.array([1.0, 10.0])
    np.testing.assert_allclose(_log_share(np.array([-2.5, -11.5])), far, rtol=1e-6)


def test_far_off_a_note_pulls_on_a_straight_line() -> None:
    """Within one and a half standard deviations it counts in full, beyond by Huber's rule."""
    found = _log_normal(np.array([0.0, 1.0, -1.5, 3.0, -4.0]))
    assert found == pytest.approx([0.0, -0.5, -1.125, 1.5 * (0.75 - 3.0), 1.5 * (0.75 - 4.0)])


@pytest.mark.parametrize("freedom", [5, 7, 26])
def test_draws_of_few_cases_are_students(freedom: int) -> None:
    """From the middle to one in a hundred within 1 % of scipy's quantiles of t; wider than the normal, and even."""
    draw = norm.ppf([0.55, 0.8, 0.9, 0.95, 0.99])
    found = student(draw, freedom)
    np.testing.assert_allclose(found, t.ppf(norm.cdf(draw), freedom), rtol=0.01)
    assert (found > draw).all()
    np.testing.assert_array_equal(student(-draw, freedom), -found)
    assert student(0.0, freedom) == 0
