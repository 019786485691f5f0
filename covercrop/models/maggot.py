"""Seedcorn maggot: from which day on seed is at low risk of it after a cover is turned under.

Seedcorn maggot flies lay where green matter rots, and their larvae bore into
seed that is slow to come up.  The flies come in generations that degree-days
predict; the soil temperature decides whether it matters.  Published numbers:

- lower threshold 39 degF, upper 84.2 degF, sum from 1 January; most adults of
  the first three generations at 360, 1080 and 1800 degF d (University of
  Minnesota VegEdge, after Funderburk et al. 1984; South Dakota State
  University Extension);
- three weeks of risk after a peak on fields with fresh organic matter
  (University of Delaware Weekly Crop Update);
- least injury 3.5 weeks after turning under (Hammond and Cooper 1993);
- melon transplants: 30 to 60 % killed in soil below 18 degC, under 3 % above
  21 degC, whether the rye had lain 0, 1 or 2 weeks (abstract of a trial in
  black plastic; 70 degF at 2 in, Brust, University of Maryland).

How they are put together is assumed, see :func:`maggot_clear`.  Everything is
in degC and degC d: 360 degF d are 200 degC d.

References
----------
Funderburk et al. (1984). Environmental Entomology 13, 105-109.
Hammond, R.B., Cooper, R.L. (1993). Crop Protection 12, 539-543.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.degree_days import accumulate, crossing, degree_days, first_at_least
from covercrop.models.soil_temperature import held
from covercrop.parameters.constants import MODELS

#: Thresholds of seedcorn maggot development [degC].
MAGGOT_LOWER = MODELS.maggot.lower.value
MAGGOT_UPPER = MODELS.maggot.upper.value

#: Sum from midwinter at which most flies of each generation are out [degC d].
MAGGOT_PEAKS = tuple(peak.value for peak in MODELS.maggot.peaks)

#: From turning a live cover under to most of the flies bred on it [degC d].
MAGGOT_BROOD = MODELS.maggot.brood.value

#: Days after a peak in which seed is at risk, and after turning under [d].
MAGGOT_PEAK_DAYS = MODELS.maggot.peak_days.value
MAGGOT_BROOD_DAYS = MODELS.maggot.brood_days.value

#: Soil at or above which maggots no longer harm, and below which they kill [degC].
MAGGOT_SAFE_SOIL = MODELS.maggot.safe_soil.value
MAGGOT_COLD_SOIL = MODELS.maggot.cold_soil.value

#: No soil is colder [degC].
ABSOLUTE_ZERO = -273.15


def maggot_degree_days(tmin: ArrayLike, tmax: ArrayLike) -> Array:
    """Degree-days of seedcorn maggot, each day.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [degC].

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [degC d].

    Notes
    -----
    (min(Tmax, 84.2 degF) + Tmin) / 2 - 39 degF, never below 0: it is the
    maximum that is cut off, not the mean.
    """
    return degree_days(tmin, np.minimum(np.asarray(tmax, dtype=np.float64), MAGGOT_UPPER), MAGGOT_LOWER)


def generation_peaks(tmin: ArrayLike, tmax: ArrayLike, midwinter: float) -> Array:
    """Days on which most flies of the first three generations are out.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [degC].
    midwinter : float
        Day index from which the sum runs: 1 January, south of the equator
        1 July.

    Returns
    -------
    numpy.ndarray, shape (..., 3)
        Day indexes; NaN where not reached.
    """
    return _first_at(tmin, tmax, np.array(MAGGOT_PEAKS), midwinter)


def brood_peak(tmin: ArrayLike, tmax: ArrayLike, start: ArrayLike) -> Array:
    """Day on which most flies bred on a cover that was turned under are out.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [degC].
    start : array_like, shape (..., k)
        Day index of turning under, which itself does not count.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where not reached.
    """
    return _first_at(tmin, tmax, MAGGOT_BROOD, np.asarray(start, dtype=np.float64) + 1)


def _first_at(tmin: ArrayLike, tmax: ArrayLike, need: ArrayLike, start: ArrayLike) -> Array:
    """Day on which the degree-days of the maggot since ``start`` come to ``need``."""
    return np.asarray(crossing(accumulate(maggot_degree_days(tmin, tmax)), need, start))


def maggot_clear(
    tmin: ArrayLike,
    tmax: ArrayLike,
    soil_c: ArrayLike,
    start: ArrayLike,
    midwinter: float,
    *,
    soil_error: ArrayLike = 0.0,
) -> Array:
    """First day from turning under on which seed is at low risk of maggots.

    Risk is high on a day

    - less than 25 days after turning under, unless the soil has held 18 degC, or
    - within 21 days after a generation's peak, unless the soil has held 21 degC.

    The numbers are published; that they make one rule is assumed.  Transplants
    are no exception: they are what the soil limits were measured on.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [degC].
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC]; held as in :func:`covercrop.models.soil_temperature.held`.
    start : array_like, shape (..., k)
        Day index of turning under.
    midwinter : float
        Day index of 1 January, south of the equator 1 July.
    soil_error : array_like, shape (..., k), optional
        Added to the soil temperature [K].

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where not reached, and where ``start`` is NaN.
    """
    soil = held(soil_c)
    begin, error = (np.asarray(value, dtype=np.float64) for value in (start, soil_error))
    day = np.arange(soil.shape[-1], dtype=np.float64)
    flying = np.zeros(soil.shape, dtype=np.bool_)
    for peak in np.moveaxis(generation_peaks(tmin, tmax, midwinter), -1, 0)[..., np.newaxis]:
        flying |= (day >= peak) & (day <= peak + MAGGOT_PEAK_DAYS)
    between = np.where(flying, np.nan, soil)
    # The ways to be safe: warm soil; no flies, and mild soil; no flies, and whatever they bred on rotted.
    ways = (
        first_at_least(soil, MAGGOT_SAFE_SOIL - error, begin),
        first_at_least(between, MAGGOT_COLD_SOIL - error, begin),
        first_at_least(between, ABSOLUTE_ZERO, begin + MAGGOT_BROOD_DAYS),
    )
    first = np.fmin(np.fmin(*ways[:2]), ways[2])
    return np.asarray(first[..., 0] if begin.ndim == error.ndim == 0 else first)
