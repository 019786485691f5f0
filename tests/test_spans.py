"""The chance, day by day, of what holds over one stretch of days in each member."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from covercrop.models.spans import end_place, first_place, held_by_day

DAYS = 12

bound = st.one_of(st.integers(-3, 15).map(float), st.floats(-3, 15), st.just(np.nan), st.just(np.inf), st.just(-np.inf))


@given(st.lists(st.tuples(bound, bound, st.integers(0, 4)), min_size=2, max_size=8))
def test_each_day_is_counted_as_by_hand(members: list[tuple[float, float, int]]) -> None:
    """A member counts from its first whole day to its last; one that never begins not at all, one without end on."""
    first, last, weight = (np.array(values, dtype=np.float64) for values in zip(*members, strict=True))
    found = held_by_day(first_place(first, DAYS), end_place(last, DAYS), weight, DAYS)
    by_hand = [
        sum(
            share
            for begin, end, share in members
            if not np.isnan(begin) and begin <= day and (np.isnan(end) or day <= end)
        )
        for day in range(DAYS)
    ]
    np.testing.assert_allclose(found, by_hand)


def test_rows_are_counted_apart() -> None:
    """Several sowing dates at once come to what each comes to alone."""
    rng = np.random.default_rng(5)
    first, end = first_place(rng.integers(0, 9, (3, 20)), DAYS), end_place(rng.integers(3, 14, (3, 20)), DAYS)
    weight = rng.random((3, 20))
    together = held_by_day(first, end, weight, DAYS)
    assert together.shape == (3, DAYS)
    for row in range(3):
        np.testing.assert_array_equal(together[row], held_by_day(first[row], end[row], weight[row], DAYS))


def test_no_chance_lies_a_hair_above_one() -> None:
    """Weights that sum to one do so but for their last digits."""
    for members in (9, 20):  # by the sum in their order alone, and by any
        weight, first = np.full(members, 1 / members), np.zeros(members, dtype=np.intp)
        assert np.bincount(first, weight)[0] > 1.0
        assert held_by_day(first, np.full(members, DAYS), weight, DAYS).tolist() == [1.0] * DAYS
    weight = np.full(49, 1 / 49)
    found = held_by_day(np.zeros(49, dtype=np.intp), np.full(49, DAYS), weight, DAYS)
    assert found.max() <= 1.0
    assert held_by_day(np.zeros(49, dtype=np.intp), np.full(49, DAYS), 2 * weight, DAYS).max() > 1.9


def test_no_members_are_no_chance() -> None:
    """On any day, of any row."""
    none = np.zeros((2, 0), dtype=np.intp)
    np.testing.assert_array_equal(held_by_day(none, none, np.zeros((2, 0)), DAYS), np.zeros((2, DAYS)))


def test_places_lie_on_the_axis_or_just_beyond_it() -> None:
    """A stretch begins on its first whole day and ends after its last one, on an axis of twelve days."""
    day = np.array([-np.inf, -7.0, -1.0, -0.5, 0.0, 0.5, 11.0, 11.5, 12.0, 40.0, np.inf, np.nan])
    assert first_place(day, DAYS).tolist() == [0, 0, 0, 0, 0, 1, 11, 12, 12, 12, 12, 12]
    assert end_place(day, DAYS).tolist() == [0, 0, 0, 0, 1, 1, 12, 12, 12, 12, 12, 12]
