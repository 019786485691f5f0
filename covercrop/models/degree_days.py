"""Degree-days, their running sum, and the day on which it reaches a threshold.

A method is a picture of how the temperature runs through the day, drawn from
the two daily extremes alone:

===================== ====================================================
``average``           all day at the mean of the extremes
``clamped-average``   half the day at the minimum, half at the maximum
``triangle``          straight up from minimum to maximum, straight down
``sine``              one wave of a sine between minimum and maximum
``double-triangle``,  as above, but the second half of the day falls to the
``double-sine``       minimum of the next day
===================== ====================================================

The first two are the two readings of the averaging formula that McMaster and
Wilhelm (1997) tell apart: setting a mean that lies outside the thresholds to
the threshold, or doing that to each extreme before taking the mean.

From any of them two things are needed, the area of the curve above a threshold
and the share of the day it spends there; a cut-off says what to make of them.

Daily arrays have the day on the last axis and any axes before it.  Temperatures
and thresholds share one unit, degree-days come in that unit times a day.

References
----------
Zalom, F.G., et al. (1983). Degree-days: the calculation and use of heat units
    in pest management. University of California, Leaflet 21373.
McMaster, G.S., Wilhelm, W.W. (1997). Growing degree-days: one equation, two
    interpretations. Agricultural and Forest Meteorology 87, 291-300.
Baskerville, G.L., Emin, P. (1969). Rapid estimation of heat accumulation from
    maximum and minimum temperatures. Ecology 50, 514-517.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError, UsageError

Indices: TypeAlias = NDArray[np.intp]
Curve: TypeAlias = Callable[[Array, Array, Array], Array]

METHODS = ("average", "clamped-average", "triangle", "double-triangle", "sine", "double-sine")
CUTOFFS = ("horizontal", "intermediate", "vertical")

#: A sum this close to its threshold counts as having reached it [degree-days].
TOLERANCE = 1e-6

# Two temperatures closer than this are the same one, told apart by rounding.
_SAME = 1e-9

# Most of what is waited for comes within so many days: the rest of the season is looked at only if it does not.
_SOON = 100  # speed only: the whole season is searched where these do not do

# Searched at a time, so that the work stays in the processor's cache.
_BLOCK = 16384  # speed only: each block finds its own


def _average_area(tmin: Array, tmax: Array, threshold: Array) -> Array:
    return np.maximum((tmin + tmax) / 2 - threshold, 0.0)


def _average_share(tmin: Array, tmax: Array, threshold: Array) -> Array:
    return np.asarray((tmin + tmax) / 2 - threshold > _SAME, dtype=np.float64)


def _clamped_area(tmin: Array, tmax: Array, threshold: Array) -> Array:
    return (np.maximum(tmin - threshold, 0.0) + np.maximum(tmax - threshold, 0.0)) / 2


def _clamped_share(tmin: Array, tmax: Array, threshold: Array) -> Array:
    return (np.asarray(tmin - threshold > _SAME, dtype=np.float64) + (tmax - threshold > _SAME)) / 2


def _triangle_area(tmin: Array, tmax: Array, threshold: Array) -> Array:
    spread = np.abs(tmax - tmin)
    tip = np.clip(np.maximum(tmin, tmax) - threshold, 0.0, spread)
    return tip * tip / (2 * np.maximum(spread, _SAME)) + np.maximum(np.minimum(tmin, tmax) - threshold, 0.0)


def _triangle_share(tmin: Array, tmax: Array, threshold: Array) -> Array:
    spread = np.abs(tmax - tmin)
    tip = np.clip(np.maximum(tmin, tmax) - threshold, 0.0, spread)
    return np.where(spread > _SAME, tip / np.maximum(spread, _SAME), _average_share(tmin, tmax, threshold))


def _sine_height(tmin: Array, tmax: Array, threshold: Array) -> tuple[Array, Array, Array]:
    """The threshold above the mean, the half range, and their ratio kept within the wave."""
    half = np.abs(tmax - tmin) / 2
    height = threshold - (tmin + tmax) / 2
    return height, half, np.clip(height / np.maximum(half, _SAME), -1.0, 1.0)


def _sine_area(tmin: Array, tmax: Array, threshold: Array) -> Array:
    height, half, ratio = _sine_height(tmin, tmax, threshold)
    wave = np.sqrt(1.0 - ratio * ratio) - ratio * np.arccos(ratio)
    return half * wave / np.pi + np.maximum(-height - half, 0.0)


def _sine_share(tmin: Array, tmax: Array, threshold: Array) -> Array:
    _, half, ratio = _sine_height(tmin, tmax, threshold)
    return np.where(half > _SAME, np.arccos(ratio) / np.pi, _average_share(tmin, tmax, threshold))


_CURVES: dict[str, tuple[Curve, Curve]] = {
    "average": (_average_area, _average_share),
    "clamped-average": (_clamped_area, _clamped_share),
    "triangle": (_triangle_area, _triangle_share),
    "sine": (_sine_area, _sine_share),
}


def degree_days(
    tmin: ArrayLike,
    tmax: ArrayLike,
    lower: ArrayLike,
    upper: ArrayLike | None = None,
    *,
    method: str = "average",
    cutoff: str = "horizontal",
    next_tmin: ArrayLike | None = None,
) -> Array:
    """Degree-days of each day.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [deg].  They may stand in either order.
    lower, upper : array_like
        Thresholds [deg], broadcast against the daily arrays: one for each
        member is of shape (member, 1).  Without ``upper`` nothing is cut off.
    method : str
        One of :data:`METHODS`.
    cutoff : str
        One of :data:`CUTOFFS`; what the time above ``upper`` counts for: as
        much as at ``upper`` (horizontal), less by what exceeds it, but no less
        than with a vertical cut-off (intermediate), nothing (vertical).
    next_tmin : array_like, shape (..., day), optional
        Minimum of the next day [deg], for the double methods.  Left out, it is
        taken from ``tmin``, and the last day ends on its own minimum.

    Returns
    -------
    ndarray, shape (..., day)
        [deg d]; NaN on a day with an extreme that is NaN.

    Raises
    ------
    UnknownNameError
        If the method or the cut-off is not known.
    UsageError
        If the lower threshold is above the upper one, or a threshold is no
        finite number.

    Notes
    -----
    With A(t) the area above t and s(t) the share of the day above t, the
    cut-offs are A(L) - A(U), A(L) - 2 A(U) and A(L) - A(U) - (U - L) s(U)
    (Zalom et al. 1983).
    """
    if method not in METHODS:
        raise UnknownNameError("degree-day method", method, METHODS)
    if cutoff not in CUTOFFS:
        raise UnknownNameError("cut-off", cutoff, CUTOFFS)
    low = np.asarray(lower, dtype=np.float64)
    high = None if upper is None else np.asarray(upper, dtype=np.float64)
    _check_thresholds(low, high)
    first = np.asarray(tmin, dtype=np.float64)
    top = np.asarray(tmax, dtype=np.float64)
    curve = _CURVES[method.removeprefix("double-")]
    today = _cut_off(curve, cutoff, first, top, (low, high))
    if not method.startswith("double-"):
        return today
    if next_tmin is None:
        second = np.concatenate([first[..., 1:], first[..., -1:]], axis=-1)
    else:
        second = np.asarray(next_tmin, dtype=np.float64)
    return (today + _cut_off(curve, cutoff, second, top, (low, high))) / 2


def _check_thresholds(lower: Array, upper: Array | None) -> None:
    for name, threshold in (("lower", lower), ("upper", upper)):
        if threshold is not None and not np.isfinite(threshold).all():
            value = threshold[~np.isfinite(threshold)].flat[0]
            way_out = "leave it out for none" if name == "upper" else "give degrees"
            raise UsageError(f"{name} threshold {value:g} is not a temperature; {way_out}")
    if upper is not None and (lower > upper).any():
        lows, highs = np.broadcast_arrays(lower, upper)
        wrong = lows > highs
        raise UsageError(
            f"lower threshold {lows[wrong].flat[0]:g} is above the upper threshold {highs[wrong].flat[0]:g}; "
            "give the lower one first"
        )


def _cut_off(
    curve: tuple[Curve, Curve], cutoff: str, tmin: Array, tmax: Array, bounds: tuple[Array, Array | None]
) -> Array:
    area, share = curve
    lower, upper = bounds
    whole = area(tmin, tmax, lower)
    if upper is None:
        return whole
    excess = area(tmin, tmax, upper)
    horizontal = whole - excess
    if cutoff == "horizontal":
        return np.maximum(horizontal, 0.0)
    vertical = np.maximum(horizontal - (upper - lower) * share(tmin, tmax, upper), 0.0)
    return vertical if cutoff == "vertical" else np.maximum(horizontal - excess, vertical)


def accumulate(daily: ArrayLike) -> Array:
    """Running sum over the days, each day's own value included.

    Parameters
    ----------
    daily : array_like, shape (..., day)

    Returns
    -------
    ndarray, shape (..., day)
        NaN from the first day that is NaN: what is not known cannot be summed.
    """
    return np.cumsum(np.asarray(daily, dtype=np.float64), axis=-1)


def crossing(total: ArrayLike, threshold: ArrayLike, start: ArrayLike = 0.0) -> Array:
    """Day on which a sum that begins on a given day reaches its threshold.

    Parameters
    ----------
    total : array_like, shape (..., day)
        Running sum, never falling, as from :func:`accumulate`.
    threshold : array_like, shape (..., k)
        What the sum is to reach, in the unit of ``total``.
    start : array_like, shape (..., k)
        Day index of the first day that counts.  Before the first day of
        ``total`` there is nothing to count, so an earlier start is the first.
        One start for each row of ``total`` is of shape (row, 1).

    Returns
    -------
    ndarray of float64, shape (..., k)
        Smallest day index ``i >= start`` for which ``total[i]`` exceeds
        ``total[start - 1]`` by ``threshold``, to within :data:`TOLERANCE`; NaN
        where that is not reached and where ``start`` is NaN.  The shape is that
        of ``threshold`` and ``start`` broadcast with each other and with the
        leading axes of ``total``, less the axis ``k`` if both are scalars.
    """
    total = np.asarray(total, dtype=np.float64)
    threshold = np.asarray(threshold, dtype=np.float64)
    start = np.asarray(start, dtype=np.float64)
    leading, days = total.shape[:-1], total.shape[-1]
    shape = np.broadcast_shapes(threshold.shape, start.shape, (*leading, 1))
    scalars = threshold.ndim == start.ndim == 0
    if not total.size:
        return np.full(shape[:-1] if scalars else shape, np.nan)
    known = start < days  # false for NaN too
    first = np.ceil(np.where(known, np.maximum(start, 0.0), 0.0)).astype(np.intp)
    # All rows end to end, so that one search serves any number of them.
    sums = total.ravel()
    row = np.arange(0, sums.size, days).reshape(*leading, 1)
    earlier = np.where(first > 0, sums[row + first - 1], 0.0)
    target, low, end = earlier + (threshold - TOLERANCE), row + first, row + days
    if math.prod(shape) <= _BLOCK:  # speed only: the search by blocks finds the same
        sound = np.isfinite(total[..., 0]).all() and np.isfinite(total[..., -1]).all()
        search = _first_in_bands if sound else _first_reaching
        found = search(sums, target, low, end)
    else:
        target, low, end = (np.broadcast_to(each, shape).ravel() for each in (target, low, end))
        found = np.empty(low.size, dtype=np.intp)
        for begin in range(0, low.size, _BLOCK):
            block = slice(begin, begin + _BLOCK)
            found[block] = _first_reaching(sums, target[block], low[block], end[block])
        found, end = found.reshape(shape), end.reshape(shape)
    result = np.where(known & (found < end), found - row, np.nan)
    return result[..., 0] if scalars else result


def first_day(holds: NDArray[np.bool_]) -> Array:
    """First day on which something holds.

    Parameters
    ----------
    holds : ndarray of bool, shape (..., day)

    Returns
    -------
    ndarray of float64, shape (...)
        Day index; NaN where it never does.
    """
    if not holds.shape[-1]:
        return np.full(holds.shape[:-1], np.nan)
    return np.where(holds.any(axis=-1), holds.argmax(axis=-1), np.nan)


def first_at_least(values: ArrayLike, threshold: ArrayLike, start: ArrayLike = 0.0) -> Array:
    """First day, from a given one on, on which a value is no less than a threshold.

    Parameters
    ----------
    values : array_like, shape (..., day)
        NaN where not known, which is never enough.
    threshold : array_like, shape (..., k)
        In the unit of ``values``.
    start : array_like, shape (..., k)
        Day index of the first day that counts; NaN where there is none.

    Returns
    -------
    ndarray of float64, shape (..., k)
        Day index, to within :data:`TOLERANCE` of the threshold; NaN where it is not reached.

    Notes
    -----
    The highest value since the start only ever rises, so that one search serves any number of thresholds: a pass
    over the days for each start that differs along ``k``.
    """
    values = np.asarray(values, dtype=np.float64)
    threshold, begin = np.atleast_1d(threshold), np.atleast_1d(start)
    earliest = np.min(begin, initial=values.shape[-1], where=~np.isnan(begin))
    skipped = max(int(earliest), 0)
    values = values[..., skipped:]
    day = skipped + np.arange(values.shape[-1])
    # Lower than all that is looked for, by no more than it takes: a great number would cost digits of the others.
    never = float(np.fmin.reduce(threshold, axis=None, initial=0.0)) - 1.0

    def since(first: ArrayLike) -> Array:
        counts = (day >= np.asarray(first)) & ~np.isnan(values)
        counted = np.where(counts, values, never)
        found = crossing(np.maximum.accumulate(counted[..., :_SOON], axis=-1), threshold)
        late = np.isnan(found).any(axis=-1)
        if day.size > _SOON and late.any():
            rows = np.broadcast_to(counted, (*late.shape, day.size))[late]
            wanted = np.broadcast_to(threshold, found.shape)[late]
            found[late] = crossing(np.maximum.accumulate(rows, axis=-1), wanted)
        return found + skipped

    if begin.shape[-1] == 1:
        return since(begin)
    found = np.full(np.broadcast_shapes(begin.shape, threshold.shape, (*values.shape[:-1], 1)), np.nan)
    for first in np.unique(begin[~np.isnan(begin)]):
        found = np.where(begin == first, since(first), found)
    return found


def _first_in_bands(sums: Array, target: Array, low: Indices, end: Indices) -> Indices:
    """What :func:`_first_reaching` finds, by one search: each row is lifted above all that stand before it."""
    if end.size == 1:
        return np.maximum(sums.searchsorted(target), low)
    days = sums.size // end.size
    rows = sums.reshape(-1, days)
    bottom, top = float(rows[:, 0].min()), float(rows[:, -1].max()) + 1.0
    lift = (end // days) * (top - bottom)
    lifted = (rows + lift.reshape(-1, 1)).ravel()
    return np.maximum(lifted.searchsorted(np.clip(target, bottom, top) + lift), low)


def _first_reaching(sums: Array, target: Array, low: Indices, end: Indices) -> Indices:
    """The first place from `low` up to, without, `end` where `sums` is at least `target`; `end` if none."""
    behind = low - 1  # always short of the target; raised by ever shorter steps for as long as that holds
    step = 1 << int(np.max(end - low)).bit_length()
    while step := step >> 1:
        ahead = behind + step
        behind = behind + ((sums.take(ahead, mode="clip") < target) & (ahead < end)) * step
    found = behind + 1
    # A sum that is NaN is not short of anything, but has not reached it either.
    return np.where(sums.take(found, mode="clip") >= target, found, end)
