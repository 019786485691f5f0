"""Frost in spring and autumn: the days between which it does not freeze."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.degree_days import first_day
from covercrop.models.season_calendar import HALF_YEAR
from covercrop.parameters.constants import MODELS

#: A hard frost, by which the trade counts back to sow.
HARD_FROST = MODELS.frost.hard


def freeze_free_from(tmin: ArrayLike, midwinter: float, threshold: float = 0.0) -> Array:
    """First day of spring after which it does not freeze again before midsummer.

    Parameters
    ----------
    tmin : array_like, shape (..., day)
        Daily minimum [degC].
    midwinter : float
        Day index of 1 January, south of the equator 1 July.
    threshold : float
        Temperature at or below which it freezes [degC].

    Returns
    -------
    numpy.ndarray, shape (...)
        Day index, the day after the last freeze; midwinter where there is
        none.  NaN where a later day is not known, or midsummer lies off the axis.
    """
    cold = np.asarray(tmin, dtype=np.float64)
    begin, end = int(max(midwinter, 0)), int(midwinter) + HALF_YEAR
    if not 0 < end <= cold.shape[-1]:
        return np.full(cold.shape[:-1], np.nan)
    spring = cold[..., begin:end]
    # Counted from the back: a day that is not known hides whether it froze; where none does, every day is known.
    after = np.fmax(spring.shape[-1] - first_day(~(spring > threshold)[..., ::-1]), 0.0)
    last = np.take_along_axis(spring, after.astype(np.intp)[..., np.newaxis] - 1, axis=-1)[..., 0]
    return np.where(np.isnan(last), np.nan, begin + after)


def first_autumn_freeze(tmin: ArrayLike, midwinter: float, threshold: float = 0.0) -> Array:
    """First day after midsummer on which it freezes.

    Parameters
    ----------
    tmin : array_like, shape (..., day)
        Daily minimum [degC].
    midwinter : float
        Day index of 1 January, south of the equator 1 July.
    threshold : float
        Temperature at or below which it freezes [degC].

    Returns
    -------
    numpy.ndarray, shape (...)
        Day index; NaN where there is none.  Days that are not known are
        passed over.
    """
    begin = int(max(midwinter + HALF_YEAR, 0))
    return begin + first_day(np.asarray(tmin, dtype=np.float64)[..., begin:] <= threshold)
