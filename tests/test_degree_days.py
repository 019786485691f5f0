"""Degree-days against published tables, against integrals of the curves they stand for, and against plain loops."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from covercrop.base.errors import UnknownNameError, UsageError
from covercrop.base.shipped import data_file
from covercrop.models.degree_days import (
    CUTOFFS,
    METHODS,
    TOLERANCE,
    accumulate,
    crossing,
    degree_days,
    first_at_least,
    first_day,
)

DOUBLE = tuple(method for method in METHODS if method.startswith("double-"))
SINGLE = tuple(method for method in METHODS if method not in DOUBLE)


# --- published tables ---------------------------------------------------------------------------------------------


def _cases() -> pd.DataFrame:
    with data_file("validation", "degree_day_cases.csv").open() as file:
        return pd.read_csv(file)


CASES = _cases()
RIGHT = CASES[CASES["wrong"].isna()]
WRONG = CASES[CASES["wrong"].notna()]


def _computed(case: Any) -> float:
    upper = None if np.isnan(case.upper) else case.upper
    day = degree_days(
        [case.tmin],
        [case.tmax],
        case.lower,
        upper,
        method=case.method,
        cutoff=case.cutoff,
        next_tmin=[case.next_tmin] if case.method in DOUBLE else None,
    )
    return float(day[0])


def test_no_published_case_is_skipped_silently() -> None:
    """Of 499 rows 484 published and 12 worked ones are checked; 3 are left out, each with its reason."""
    assert len(CASES) == 499
    assert RIGHT["kind"].value_counts().to_dict() == {"published": 484, "derived": 12}
    assert len(WRONG) == 3


@pytest.mark.parametrize("source", sorted(RIGHT["source"].unique()))
def test_published_cases(source: str) -> None:
    """Every row of the source is met within 0.01 degree-days, the precision to which the tables are printed."""
    cases = RIGHT[RIGHT["source"] == source]
    errors = np.array([_computed(case) - case.degree_days for case in cases.itertuples()])
    worst = cases.iloc[int(np.abs(errors).argmax())]
    assert np.abs(errors).max() <= 0.01, f"{np.abs(errors).max():.4f} off in\n{worst}"


@pytest.mark.parametrize(
    "row", [pytest.param(row, marks=pytest.mark.xfail(reason=row.wrong)) for row in WRONG.itertuples()]
)
def test_rows_known_to_be_wrong_in_their_source(row: Any) -> None:
    """Rows that contradict the rest of their own source stay in sight: meeting one would be an error."""
    assert _computed(row) == pytest.approx(row.degree_days, abs=0.01)


# --- the curves themselves ----------------------------------------------------------------------------------------

DAYS = [(5.0, 20.0), (-4.0, 9.0), (12.0, 31.0), (22.0, 38.0), (26.0, 44.0), (1.0, 3.0), (10.0, 10.5)]
THRESHOLDS = [(10.0, None), (0.0, None), (10.0, 30.0), (4.0, 18.0), (10.0, 25.0), (18.0, 20.0)]


def _rise(method: str, tmin: float, tmax: float) -> Callable[[float], float]:
    """The temperature as half a day goes from 0 (at tmin) to 1 (at tmax)."""
    if method.endswith("sine"):
        return lambda x: (tmin + tmax) / 2 - (tmax - tmin) / 2 * np.cos(np.pi * x)
    return lambda x: tmin + (tmax - tmin) * x


def _integrated(method: str, cutoff: str, tmin: float, tmax: float, lower: float, upper: float | None) -> float:
    """Degree-days of half a day's curve by numerical integration, as if the whole day were like it."""
    from scipy.integrate import quad
    from scipy.optimize import brentq

    curve = _rise(method, tmin, tmax)
    bends = [
        brentq(lambda x, t=threshold: curve(x) - t, 0, 1, xtol=1e-14)
        for threshold in (lower, upper)
        if threshold is not None and min(tmin, tmax) < threshold < max(tmin, tmax)
    ]

    def total(rate: Callable[[float], float]) -> float:
        edges = [0.0, *sorted(bends), 1.0]
        # Looked at inside each piece only: a cut-off may jump at its ends.
        return sum(quad(lambda x: rate(curve(x)), a, b, epsabs=1e-10)[0] for a, b in pairwise(edges))

    if upper is None:
        return total(lambda t: max(t - lower, 0.0))
    vertical = total(lambda t: max(t - lower, 0.0) if t <= upper else 0.0)
    return {
        "horizontal": total(lambda t: min(max(t, lower), upper) - lower),
        "vertical": vertical,
        "intermediate": max(total(lambda t: max(t - lower, 0.0) - 2 * max(t - upper, 0.0)), vertical),
    }[cutoff]


@pytest.mark.parametrize("cutoff", CUTOFFS)
@pytest.mark.parametrize("method", ["sine", "triangle", "double-sine", "double-triangle"])
def test_curves_equal_their_integral(method: str, cutoff: str) -> None:
    """Each curve's degree-days are the integral of that curve, within 1e-6 degree-days."""
    tmin, tmax = np.array(DAYS).T
    next_tmin = np.roll(tmin, 1)
    for lower, upper in THRESHOLDS:
        expected = [_integrated(method, cutoff, *day, lower, upper) for day in zip(tmin, tmax, strict=True)]
        if method in DOUBLE:
            falling = [_integrated(method, cutoff, *day, lower, upper) for day in zip(next_tmin, tmax, strict=True)]
            expected = list((np.array(expected) + falling) / 2)
        got = degree_days(tmin, tmax, lower, upper, method=method, cutoff=cutoff, next_tmin=next_tmin)
        np.testing.assert_allclose(got, expected, atol=1e-6, rtol=0)


@pytest.mark.parametrize(
    ("method", "cutoff", "expected"),
    # Worked by hand for 2 to 30, thresholds 10 and 14 (mean 16), and for 8 to 14, thresholds 10 and 11.5 (mean 11).
    [
        ("average", "horizontal", [4.0, 1.0]),
        ("average", "intermediate", [2.0, 1.0]),
        ("average", "vertical", [0.0, 1.0]),
        ("clamped-average", "horizontal", [2.0, 0.75]),
        ("clamped-average", "intermediate", [0.0, 0.0]),
        ("clamped-average", "vertical", [0.0, 0.0]),
    ],
)
def test_averages_with_an_upper_threshold(method: str, cutoff: str, expected: list[float]) -> None:
    """The averages are curves too: a day at its mean, or half a day at each extreme."""
    hot = degree_days([2.0], [30.0], 10.0, 14.0, method=method, cutoff=cutoff)
    mild = degree_days([8.0], [14.0], 10.0, 11.5, method=method, cutoff=cutoff)
    np.testing.assert_allclose([hot[0], mild[0]], expected, atol=1e-12)


@pytest.mark.parametrize("method", METHODS)
def test_steady_day_at_the_upper_threshold_counts_in_full(method: str) -> None:
    """A day that stays at the upper threshold is not above it, whatever the cut-off."""
    got = [degree_days([25.0], [25.0], 10.0, 25.0, method=method, cutoff=cutoff)[0] for cutoff in CUTOFFS]
    assert got == pytest.approx([15.0] * 3)


# --- what must hold for any weather -------------------------------------------------------------------------------

temperatures = st.floats(-30, 45).map(lambda value: round(value, 1))
methods = st.sampled_from(METHODS)
cutoffs = st.sampled_from(CUTOFFS)
seasons = hnp.arrays(np.float64, st.tuples(st.just(2), st.integers(1, 25)), elements=temperatures).map(
    lambda extremes: np.sort(extremes, axis=0)
)
thresholds = st.tuples(st.floats(-5, 20), st.floats(0, 25)).map(lambda pair: (pair[0], pair[0] + pair[1]))


@given(seasons, thresholds, methods, cutoffs)
def test_fahrenheit_in_is_celsius_in(
    extremes: np.ndarray, bounds: tuple[float, float], method: str, cutoff: str
) -> None:
    """The same weather in Fahrenheit gives 1.8 times the degree-days, within 1e-6."""
    celsius = degree_days(*extremes, *bounds, method=method, cutoff=cutoff)
    in_fahrenheit = (bound * 1.8 + 32 for bound in bounds)
    fahrenheit = degree_days(*(extremes * 1.8 + 32), *in_fahrenheit, method=method, cutoff=cutoff)
    np.testing.assert_allclose(fahrenheit, 1.8 * celsius, atol=1e-6, rtol=0)


@given(seasons, thresholds, st.floats(0, 10), methods, cutoffs)
def test_a_higher_base_never_gives_more(
    extremes: np.ndarray, bounds: tuple[float, float], rise: float, method: str, cutoff: str
) -> None:
    """Raising the base leaves every day with as many degree-days or fewer, and none below zero."""
    lower, upper = bounds
    raised = min(lower + rise, upper)
    less = degree_days(*extremes, raised, upper, method=method, cutoff=cutoff)
    assert (less >= 0).all()
    assert (less <= degree_days(*extremes, lower, upper, method=method, cutoff=cutoff) + 1e-9).all()


@given(seasons, thresholds, methods)
def test_cutoffs_are_ordered(extremes: np.ndarray, bounds: tuple[float, float], method: str) -> None:
    """No cut-off counts at least as much as a horizontal one, that as an intermediate, that as a vertical one."""
    whole = degree_days(*extremes, bounds[0], method=method)
    horizontal, intermediate, vertical = (
        degree_days(*extremes, *bounds, method=method, cutoff=cutoff) for cutoff in CUTOFFS
    )
    assert (whole + 1e-9 >= horizontal).all()
    assert (horizontal + 1e-9 >= intermediate).all()
    assert (intermediate + 1e-9 >= vertical).all()


@given(seasons, thresholds, methods, cutoffs, st.data())
def test_splitting_a_season_changes_nothing(
    extremes: np.ndarray, bounds: tuple[float, float], method: str, cutoff: str, data: st.DataObject
) -> None:
    """Two parts of a season give the days and the sum of the whole, told the minimum that follows the first."""
    tmin, tmax = extremes
    cut = data.draw(st.integers(0, tmin.size))
    following = np.append(tmin[1:], tmin[-1])
    whole = degree_days(tmin, tmax, *bounds, method=method, cutoff=cutoff)
    parts = [
        degree_days(tmin[part], tmax[part], *bounds, method=method, cutoff=cutoff, next_tmin=following[part])
        for part in (slice(None, cut), slice(cut, None))
    ]
    np.testing.assert_allclose(np.concatenate(parts), whole, atol=1e-12)
    assert sum(part.sum() for part in parts) == pytest.approx(accumulate(whole)[-1], abs=1e-9)


@given(
    hnp.arrays(
        np.float64,
        st.tuples(st.just(2), st.integers(1, 3), st.integers(1, 3), st.integers(1, 6)),
        elements=temperatures,
    ),
    methods,
    cutoffs,
)
def test_leading_axes_are_independent(extremes: np.ndarray, method: str, cutoff: str) -> None:
    """An array of seasons gives what its seasons give one by one, with a lower threshold of their own."""
    lower = np.linspace(0, 8, extremes.shape[1])[:, None, None]
    together = degree_days(*extremes, lower, 20.0, method=method, cutoff=cutoff)
    assert together.shape == extremes.shape[1:]
    for row in np.ndindex(together.shape[:-1]):
        alone = degree_days(extremes[0][row], extremes[1][row], lower[row[0], 0, 0], 20.0, method=method, cutoff=cutoff)
        np.testing.assert_array_equal(together[row], alone)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_unknown_days_stay_unknown(method: str, cutoff: str) -> None:
    """A day with an unknown extreme is NaN, its neighbours are not; double methods also need tomorrow's minimum."""
    tmin = np.array([8.0, np.nan, 9.0, 10.0, 11.0])
    tmax = np.array([20.0, 21.0, 22.0, np.nan, 24.0])
    got = degree_days(tmin, tmax, 10.0, 18.0, method=method, cutoff=cutoff)
    unknown = [method in DOUBLE, True, False, True, False]
    assert np.isnan(got).tolist() == unknown


@pytest.mark.parametrize("method", METHODS)
def test_inputs_are_not_changed(method: str) -> None:
    """Nothing is written into the arrays that are handed in."""
    tmin, tmax, bounds = np.array([2.0, 9.0, 14.0]), np.array([12.0, 25.0, 33.0]), (np.array([10.0]), np.array([30.0]))
    for array in (tmin, tmax, *bounds):
        array.flags.writeable = False
    daily = degree_days(tmin, tmax, *bounds, method=method, cutoff="intermediate", next_tmin=tmin)
    daily.flags.writeable = False
    total = accumulate(daily)
    total.flags.writeable = False
    assert crossing(total, bounds[0] / 4, np.zeros(1)).shape == (1,)


@pytest.mark.parametrize("method", DOUBLE)
def test_the_last_day_ends_on_its_own_minimum(method: str) -> None:
    """Without `next_tmin` the next day's minimum is read from the record, and the last day takes its own."""
    tmin, tmax = np.array([4.0, 8.0, 1.0]), np.array([20.0, 17.0, 15.0])
    got = degree_days(tmin, tmax, 6.0, method=method)
    np.testing.assert_array_equal(got, degree_days(tmin, tmax, 6.0, method=method, next_tmin=[8.0, 1.0, 1.0]))
    assert got[-1] == pytest.approx(degree_days(tmin, tmax, 6.0, method=method.removeprefix("double-"))[-1])


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"method": "sin"}, UnknownNameError, "unknown degree-day method 'sin'; did you mean sine"),
        ({"cutoff": "flat"}, UnknownNameError, "unknown cut-off 'flat'"),
        ({"upper": 4.0}, UsageError, "lower threshold 10 is above the upper threshold 4; give the lower one first"),
        ({"upper": np.inf}, UsageError, "upper threshold inf is not a temperature; leave it out for none"),
        ({"lower": np.nan}, UsageError, "lower threshold nan is not a temperature; give degrees"),
        ({"upper": [30.0, np.inf]}, UsageError, "upper threshold inf is not a temperature; leave it out for none"),
        ({"lower": [12.0, 9.0], "upper": [15.0, 8.0]}, UsageError, "lower threshold 9 is above the upper threshold 8"),
    ],
)
def test_refusals_name_the_value_and_the_way_out(
    arguments: dict[str, Any], error: type[Exception], message: str
) -> None:
    """What cannot be used is refused in one plain line."""
    with pytest.raises(error, match=re.escape(message)):
        degree_days([5.0], [20.0], **{"lower": 10.0, **arguments})


# --- the running sum and its crossing -----------------------------------------------------------------------------


def _crossing_by_hand(steps: list[int], threshold: int, start: float) -> float:
    """The contract in whole numbers of steps: the first day on which the sum since the start is reached."""
    so_far = 0
    for day, step in enumerate(steps):
        if day >= start:
            so_far += step
            if so_far >= threshold:
                return float(day)
    return np.nan


@given(
    st.lists(st.integers(0, 60), min_size=1, max_size=40),
    st.lists(st.tuples(st.integers(0, 900), st.floats(-3, 45) | st.just(np.nan)), min_size=1, max_size=6),
)
def test_crossing_equals_a_plain_loop(steps: list[int], asked: list[tuple[int, float]]) -> None:
    """In steps of 0.05, where sums land on their thresholds and rounding would move the date, no date is moved."""
    total = accumulate(np.array(steps) * 0.05)
    threshold, start = np.array(asked, dtype=float).T
    expected = [_crossing_by_hand(steps, *one) for one in asked]
    np.testing.assert_array_equal(crossing(total, threshold * 0.05, start), expected)


@pytest.mark.parametrize("step", [0.05, 0.1, 0.7])
def test_a_sum_that_lands_on_its_threshold_counts(step: float) -> None:
    """Ten thousand equal days reach n steps on day n - 1, however the sum is rounded."""
    total = accumulate(np.full(10_000, step))
    n = np.arange(1, 10_001)
    np.testing.assert_array_equal(crossing(total, n * step), n - 1.0)
    np.testing.assert_array_equal(crossing(total, n[:5000] * step, 5000.0), n[:5000] + 4999.0)
    # The other side of the tolerance, so that this test can fail: a shade more is a day later.
    np.testing.assert_array_equal(crossing(total, n[:-1] * step + 1e-5), n[:-1] + 0.0)


@settings(max_examples=50)
@given(
    hnp.arrays(
        np.float64, st.tuples(st.integers(1, 3), st.integers(1, 3), st.integers(1, 12)), elements=st.floats(0, 30)
    ),
    st.integers(1, 4),
    st.data(),
)
def test_crossing_of_leading_axes(daily: np.ndarray, k: int, data: st.DataObject) -> None:
    """Sums, thresholds and starts broadcast; each place of the result is what a call of its own gives."""
    total = accumulate(daily)
    years, members = daily.shape[:2]
    some = st.floats(0, 200)
    threshold = data.draw(hnp.arrays(np.float64, (members, k), elements=some))
    start = data.draw(hnp.arrays(np.float64, (years, 1, 1), elements=st.integers(0, 12).map(float)))
    got = crossing(total, threshold, start)
    assert got.shape == (years, members, k)
    for year, member, i in np.ndindex(got.shape):
        alone = crossing(total[year, member], threshold[member, i], start[year, 0, 0])
        assert alone.shape == ()
        np.testing.assert_array_equal(got[year, member, i], alone)


@pytest.mark.parametrize(
    ("total", "threshold", "start", "shape"),
    [
        ((30, 480), (60,), (), (30, 60)),
        ((30, 480), (), (30, 60), (30, 60)),
        ((30, 480), (), (), (30,)),
        ((480,), (5,), (7, 1), (7, 5)),
        ((4, 1, 480), (5,), (7, 1), (4, 7, 5)),
        ((30, 0), (3,), (), (30, 3)),
        ((0, 480), (3,), (), (0, 3)),
        ((30, 0), (), (), (30,)),
    ],
)
def test_shapes_of_crossing(
    total: tuple[int, ...], threshold: tuple[int, ...], start: tuple[int, ...], shape: tuple[int, ...]
) -> None:
    """The result has the shape of thresholds, starts and leading axes broadcast; no axis k for two scalars."""
    got = crossing(accumulate(np.ones(total)), np.full(threshold, 9.5), np.zeros(start))
    assert got.shape == shape
    assert (got == 9.0).all() == (total[-1] > 0)


def test_a_long_search_equals_a_short_one() -> None:
    """Searching more places than fit one block gives what searching them in parts gives."""
    rng = np.random.default_rng(7)
    total = accumulate(rng.uniform(0, 20, (3, 700)))
    threshold, start = rng.uniform(0, 9000, 20_000), rng.integers(0, 700, 20_000).astype(float)
    whole = crossing(total, threshold, start)
    parts = [crossing(total, threshold[i : i + 999], start[i : i + 999]) for i in range(0, 20_000, 999)]
    np.testing.assert_array_equal(whole, np.concatenate(parts, axis=-1))
    assert 0.1 < np.isnan(whole).mean() < 0.9


def test_crossing_later_by_parts() -> None:
    """Two requirements one after the other end where the second does when it starts the day after the first."""
    total = accumulate(np.full(30, 2.0))
    first = crossing(total, 10.0)
    assert first == 4.0
    assert crossing(total, 10.0, first + 1) == 9.0


def test_sums_stop_where_the_weather_is_unknown() -> None:
    """Behind an unknown day nothing is reached; before it everything is as ever."""
    total = accumulate([5.0, 5.0, np.nan, 5.0, 5.0])
    assert np.isnan(total[2:]).all()
    np.testing.assert_array_equal(crossing(total, [5.0, 10.0, 12.0, 20.0]), [0.0, 1.0, np.nan, np.nan])
    np.testing.assert_array_equal(crossing(total, [1.0, 1.0, np.nan], [1.0, 3.0, 0.0]), [1.0, np.nan, np.nan])


@given(
    st.lists(st.one_of(st.floats(-40, 40), st.just(float("nan"))), min_size=1, max_size=260),
    st.lists(st.floats(-60, 60), min_size=1, max_size=4),
    st.lists(st.one_of(st.integers(-3, 262), st.just(float("nan"))), min_size=1, max_size=4),
)
def test_the_first_day_on_which_a_value_is_reached(
    values: list[float], thresholds: list[float], starts: list[float]
) -> None:
    """As counted day by day, wherever it starts, with days unknown, and however late it comes."""
    count = min(len(thresholds), len(starts))
    for begin in (starts[:count], starts[:1]):
        got = first_at_least(np.array(values), np.array(thresholds[:count]), np.array(begin))
        for place, threshold in enumerate(thresholds[:count]):
            start = begin[place if len(begin) > 1 else 0]
            days = [day for day, value in enumerate(values) if day >= start and value >= threshold - 1e-6]
            assert got[place] == days[0] if days else np.isnan(got[place])


@given(st.integers(0, 2**32 - 1), st.lists(st.integers(0, 150), min_size=2, max_size=4))
def test_the_first_day_is_that_of_each_row(seed: int, starts: list[int]) -> None:
    """Rows of values, each with a start of its own, find what each finds alone: soon, late in the season or never."""
    rng = np.random.default_rng(seed)
    season = 20 * np.sin(np.arange(400) / rng.uniform(40, 120, (len(starts), 1)))
    values = season + rng.normal(0, 4, season.shape)
    values[rng.random(values.shape) < 0.05] = np.nan
    thresholds, begin = rng.uniform(-25, 35, 5), np.array(starts, dtype=float)
    together = first_at_least(values, thresholds, begin[:, np.newaxis])
    alone = [first_at_least(row, thresholds, first) for row, first in zip(values, begin, strict=True)]
    np.testing.assert_array_equal(together, alone)


@given(
    st.lists(st.lists(st.floats(0, 30), min_size=40, max_size=40), min_size=1, max_size=5),
    st.lists(st.floats(0, 900), min_size=1, max_size=6),
    st.integers(0, 45),
)
def test_one_search_finds_what_a_count_finds(daily: list[list[float]], thresholds: list[float], start: int) -> None:
    """Rows end to end, lifted above each other: each finds the day of its own sum."""
    total = np.cumsum(np.array(daily), axis=-1)
    got = crossing(total, np.array(thresholds), np.full((len(daily), 1), float(start)))
    for row, sums in enumerate(total):
        before = sums[start - 1] if 0 < start <= 40 else 0.0
        for place, threshold in enumerate(thresholds):
            days = [day for day in range(start, 40) if sums[day] >= before + (threshold - 1e-6)]
            assert got[row, place] == days[0] if days else np.isnan(got[row, place])


def test_the_first_day_that_holds() -> None:
    """Of several the first, the first and the last of the axis among them; none where it never does."""
    holds = np.array([[0, 1, 1, 0], [1, 0, 0, 1], [0, 0, 0, 1], [0, 0, 0, 0]], dtype=bool)
    np.testing.assert_array_equal(first_day(holds), [1.0, 0.0, 3.0, np.nan])


def test_the_first_day_of_each_row_of_any_shape() -> None:
    """The day lies on the last of three axes; a row that never holds has none."""
    holds = np.array([[[False, True, True, False]], [[False, False, False, False]], [[True, False, False, True]]])
    np.testing.assert_array_equal(first_day(holds), [[1.0], [np.nan], [0.0]])
    assert np.isnan(first_day(holds[..., :0])).tolist() == [[True]] * 3  # no day at all


def test_a_start_before_the_first_day_is_the_first() -> None:
    """Nothing is known of the days before it, whether the start is one or one of several."""
    for start in ([-3.0], [-3.0, -1.0]):
        np.testing.assert_array_equal(first_at_least([5.0, 1.0, 2.0], 5.0, start), np.zeros(len(start)))


@pytest.mark.parametrize(("cutoff", "expected"), [("horizontal", 12.5), ("intermediate", 10.0), ("vertical", 2.5)])
def test_half_a_day_above_the_upper_threshold(cutoff: str, expected: float) -> None:
    """15 to 35 degrees between 10 and 30, each extreme for half the day: (5 + 20) / 2; less 5 / 2; less 20 / 2."""
    got = degree_days([15.0], [35.0], 10.0, 30.0, method="clamped-average", cutoff=cutoff)
    assert got[0] == pytest.approx(expected)


def test_a_sum_short_by_the_tolerance_counts() -> None:
    """By exactly that much, whether the days to come are known or not."""
    for last in (0.0, np.nan):
        np.testing.assert_array_equal(crossing([0.0, 0.0, last], [TOLERANCE, 3 * TOLERANCE]), [0.0, np.nan])


def test_only_the_last_day_unknown_is_never_reached() -> None:
    """It is not above the threshold, nor does it hide the days before; in any row."""
    total = np.array([[5.0, 10.0, np.nan], [5.0, 10.0, 15.0]])
    np.testing.assert_array_equal(crossing(total[0], [10.0, 12.0]), [1.0, np.nan])
    np.testing.assert_array_equal(crossing(total, [10.0, 12.0]), [[1.0, np.nan], [1.0, 2.0]])


def test_a_sum_that_begins_without_bound_hides_no_other_row() -> None:
    """Minus infinity is short of any threshold, as before the first cold that could kill."""
    total = np.array([[-np.inf, 3.0, 9.0], [1.0, 2.0, 3.0]])
    np.testing.assert_array_equal(crossing(total, [2.0, 5.0]), [[1.0, 2.0], [1.0, np.nan]])


def test_what_needs_nothing_is_there_on_the_first_day_that_counts() -> None:
    """And no day before, in each row, with the last day known or not."""
    for last in (1.0, np.nan):
        total = np.array([[1.0, 1.0, 1.0, last]] * 3)
        np.testing.assert_array_equal(crossing(total, 0.0, [[0.0], [1.0], [1.5]]), [[0.0], [1.0], [2.0]])


def test_starts_beyond_the_last_day_reach_nothing() -> None:
    """The day after the last one, and later, also where that is the place of another row's first day."""
    total = accumulate(np.ones((2, 4)))
    np.testing.assert_array_equal(crossing(total, [1.0, 1.0, 1.0], [3.0, 4.0, 9.0]), [[3.0, np.nan, np.nan]] * 2)


@pytest.mark.parametrize("shape", [(4,), (3, 4), (2, 3, 4)])
def test_several_starts_in_seasons_of_any_shape(shape: tuple[int, ...]) -> None:
    """Each place, start and threshold find the day that a loop finds; what is waited for may lie below zero."""
    values = np.random.default_rng(2).integers(-4, 5, shape).astype(float)
    starts, thresholds = np.array([0.0, 1.5, 3.0]), np.array([-2.0, 0.0, 3.0])
    got = first_at_least(values, thresholds, starts)
    assert got.shape == (*shape[:-1], 3)
    for place in np.ndindex(got.shape):
        row, start, threshold = values[place[:-1]], starts[place[-1]], thresholds[place[-1]]
        days = [day for day in range(4) if day >= start and row[day] >= threshold]
        np.testing.assert_equal(got[place], float(days[0]) if days else np.nan)
