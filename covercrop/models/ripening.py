"""When a crop is ripe: by the heat that it has had, not by the days that it has stood.

The days to maturity on a seed packet are those of a place with good summers.
Times the heat of a day in such a place they are a sum of degree-days, which a
cool summer takes longer to give, and an autumn may never give: a squash of 55
days sown in August finds the days before the frost at Seattle, but not the
warmth.  The sum is that of the *clipped* degree-days: both extremes of a day
are held between a base and a cap, then averaged.

The season ends with the first freeze of autumn, or when warmth runs out: a
fortnight that brings next to nothing.

References
----------
Soto-Ortiz, R., Silvertooth, J.C., Galadima, A. (2006). Crop phenology for
    irrigated cantaloupes in Arizona. University of Arizona. (The sum, and its
    scatter among fields.)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.degree_days import TOLERANCE, accumulate, crossing, degree_days, first_day
from covercrop.models.frost import first_autumn_freeze
from covercrop.models.season_calendar import HALF_YEAR
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.traits import Ripening

#: Coefficient of variation of the heat that a crop needs [1].
SPREAD = MODELS.ripening.spread.value

#: Share of the packet's days that a crop takes at the least, whatever the heat [1].
LEAST_SHARE = MODELS.ripening.least_share.value

#: Warmth has run out once so many days have brought less than so much a day, on average [d], [degC d/d].
COOL_DAYS = int(MODELS.ripening.cool_days.value)
COOL_HEAT = MODELS.ripening.cool_heat.value

#: Stands for the last day of planting where none lets the crop ripen: before all days, unlike one that is not reached.
NO_DAY = -1.0


def heat(tmin: ArrayLike, tmax: ArrayLike, ripening: Ripening) -> Array:
    """Running sum of the heat that counts towards ripeness.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [degC].
    ripening : Ripening

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [degC d]; NaN from the first day without temperatures on.
    """
    low, high = ripening.base.value, ripening.cap.value
    return accumulate(degree_days(tmin, tmax, low, high, method="clamped-average"))


def season_end(tmin: ArrayLike, total: ArrayLike, midwinter: float, freezes: float) -> Array:
    """Day on which the season of the crop ends: by frost, or since warmth has run out.

    Parameters
    ----------
    tmin : array_like, shape (..., day)
        Daily minimum [degC].
    total : array_like, shape (..., day)
        From :func:`heat`.
    midwinter : float
        Day index of 1 January, south of the equator 1 July.
    freezes : float
        Minimum at or below which the crop is harmed [degC].

    Returns
    -------
    numpy.ndarray, shape (...)
        Day index of the first day that no longer counts; NaN where there is none.
    """
    total = np.asarray(total, dtype=np.float64)
    begin = max(int(midwinter + HALF_YEAR), COOL_DAYS)  # midsummer, or a fortnight into what is known
    gained = total[..., begin:] - total[..., begin - COOL_DAYS : total.shape[-1] - COOL_DAYS]
    cool = begin + 1 + first_day(gained < COOL_HEAT * COOL_DAYS)
    return np.fmin(first_autumn_freeze(tmin, midwinter, freezes), cool)


def heat_needed(ripening: Ripening, days: float, *, sown: bool, draw: ArrayLike = 0.0) -> Array:
    """Heat from planting to harvest.

    Parameters
    ----------
    ripening : Ripening
    days : float
        Days to maturity as on the packet, less what transplants save [d].
    sown : bool
        Whether it is sown, so that what it takes to come up is added where the packet counts from there.
    draw : array_like, shape (...), optional
        Standard normal; above 0 a crop that needs more than is likely.

    Returns
    -------
    numpy.ndarray, shape (...)
        [degC d].
    """
    up = ripening.until_up.value if sown and ripening.until_up is not None else 0.0
    return np.asarray((days * ripening.heat_of_a_day.value + up) * (1.0 + SPREAD * np.asarray(draw, dtype=np.float64)))


def latest_planting(total: ArrayLike, needed: ArrayLike, days: float, end: ArrayLike) -> Array:
    """Last day on which a crop can be planted and still ripen.

    Parameters
    ----------
    total : array_like, shape (..., day)
        From :func:`heat`.
    needed : array_like, shape (k,)
        From :func:`heat_needed` [degC d].
    days : float
        As for :func:`heat_needed` [d].
    end : array_like, shape (...)
        From :func:`season_end`.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where the season has no end, and :data:`NO_DAY` where it does not hold the heat.
    """
    total, end = np.asarray(total, dtype=np.float64), np.asarray(end, dtype=np.float64)[..., np.newaxis]
    # The day is the last one before which no more has been summed than the end leaves over.
    spare = _total_before(total, end) - np.asarray(needed, dtype=np.float64)
    by_heat = np.where(spare < 0.0, NO_DAY, crossing(total, spare + 2 * TOLERANCE))
    return np.asarray(np.where(np.isnan(end), np.nan, np.minimum(by_heat, end - np.ceil(LEAST_SHARE * days))))


def ripe(total: ArrayLike, needed: ArrayLike, days: float, start: ArrayLike, end: ArrayLike) -> Array:
    """Day on which a crop is ripe.

    Parameters
    ----------
    total, needed, days, end
        As for :func:`latest_planting`.
    start : array_like, shape (..., k)
        Day index of planting.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where the season ends before.
    """
    begin, last = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)[..., np.newaxis]
    day = np.maximum(crossing(total, needed, np.atleast_1d(begin)), begin + np.ceil(LEAST_SHARE * days))
    return np.asarray(np.where(day >= last, np.nan, day))


def half_way_by(total: ArrayLike, needed: ArrayLike, start: ArrayLike, day: ArrayLike) -> Array:
    """Whether half of the heat has come by a day: 1 or 0, NaN where that is not known.

    Parameters
    ----------
    total, needed, start
        As for :func:`ripe`.
    day : array_like, shape (...)
        Day index; it does not count itself.
    """
    total = np.asarray(total, dtype=np.float64)
    begin, by = np.asarray(start, dtype=np.float64), np.asarray(day, dtype=np.float64)[..., np.newaxis]
    had = _total_before(total, by) - _total_before(total, begin)
    return np.where(np.isnan(had), np.nan, had >= np.asarray(needed, dtype=np.float64) / 2 - TOLERANCE)


def longest_packet(total: ArrayLike, ripening: Ripening, start: float, end: ArrayLike, *, sown: bool) -> Array:
    """Days on the packet, less what transplants save, of the slowest variety that still ripens.

    Parameters
    ----------
    total, ripening, end, sown
        As for :func:`latest_planting` and :func:`heat_needed`.
    start : float
        Day index of planting.

    Returns
    -------
    numpy.ndarray, shape (...)
        [d]; infinite where the season has no end.
    """
    total, last = np.asarray(total, dtype=np.float64), np.asarray(end, dtype=np.float64)
    had = (_total_before(total, last[..., np.newaxis]) - _total_before(total, np.asarray([start])))[..., 0]
    by_heat = (had - heat_needed(ripening, 0.0, sown=sown)) / ripening.heat_of_a_day.value
    return np.where(np.isnan(last), np.inf, np.minimum(by_heat, (last - start) / LEAST_SHARE))


def _total_before(total: Array, day: Array) -> Array:
    """Heat summed before a day, shape (..., k); NaN for a day that is not known."""
    place = np.clip(np.where(np.isnan(day), 0.0, np.ceil(day)), 0, total.shape[-1]).astype(np.intp)
    leading = np.broadcast_shapes(total.shape[:-1], place.shape[:-1])
    rows = np.broadcast_to(total, (*leading, total.shape[-1]))
    place = np.broadcast_to(place, (*leading, place.shape[-1]))
    before = np.take_along_axis(rows, place - 1, axis=-1)
    return np.where(np.isnan(day), np.nan, np.where(place > 0, before, 0.0))
