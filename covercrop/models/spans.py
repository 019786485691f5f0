"""The chance, day by day, of what holds over one stretch of days in each member."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array

#: Places on the axis of the days; one more than there are days stands for what lies beyond it.
Places = NDArray[np.intp]


def first_place(day: ArrayLike, days: int) -> Places:
    """The first whole day of a stretch that begins on a day index; beyond the axis where that is NaN.

    Parameters
    ----------
    day : array_like, shape (...)
        Day index; infinite or NaN for what never begins.
    days : int
        Length of the axis.
    """
    whole = np.ceil(np.asarray(day, dtype=np.float64))
    return np.clip(np.where(np.isnan(whole), days, whole), 0, days).astype(np.intp)


def end_place(day: ArrayLike, days: int) -> Places:
    """The day after the last whole one of a stretch that ends on a day index; the axis's end where that is NaN.

    Takes what :func:`first_place` takes.
    """
    whole = np.floor(np.asarray(day, dtype=np.float64)) + 1.0
    return np.clip(np.where(np.isnan(whole), days, whole), 0, days).astype(np.intp)


def held_by_day(first: Places, end: Places, weights: Array, days: int) -> Array:
    """Weight of the members in which something holds on each day.

    Parameters
    ----------
    first, end : numpy.ndarray of int
        From :func:`first_place` and :func:`end_place`; they broadcast against ``weights``.
    weights : numpy.ndarray, shape (..., member)
    days : int
        Length of the axis.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        No lower than 0, and no higher than the sum of the weights.
    """
    leading = weights.shape[:-1]
    rows = int(np.prod(leading))
    row = (days + 1) * np.arange(rows).reshape(*leading, 1)
    flat, size = np.ascontiguousarray(weights).ravel(), rows * (days + 1)

    def tallied(places: Places) -> Array:
        at = np.broadcast_to(row + places, weights.shape)
        return np.asarray(np.bincount(at.ravel(), flat, size).reshape(*leading, days + 1), dtype=np.float64)

    # What ends before it begins takes back on its first day what it gave.
    steps = tallied(first) - tallied(np.maximum(end, first))
    held = np.cumsum(steps[..., :-1], axis=-1)
    # Weights that sum to 1 do so but for their last digits, and a chance may not lie a hair above it.
    whole = weights.sum(axis=-1, keepdims=True)
    return np.clip(held, 0.0, np.where(whole < 1 + 1e-9, 1.0, whole))
