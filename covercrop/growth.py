"""What stands in the field: winter survival, dry matter and nitrogen of the cover.

Dry matter climbs in a straight line with thermal time once the stand is away;
the slope is published for hairy vetch as a mean over sowing and kill dates in
five states, so winter is in it: days colder than the base simply add nothing.
Frost damage that a stand outlives, drought and poor stands are not modelled;
they are part of the spread among stands that the parameter file gives.

Winter kill compares the coldest spell with the cold that kills half of a stand.
The spell is a running mean of the daily mean temperature, because the field
rules speak of sustained cold and the crowns sit at the soil.  Snow, which
protects, is not known, and neither is whether the plants had hardened before
the cold came: no source seen puts a figure on it.
"""

from __future__ import annotations

from math import erf, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.degree_days import crossing
from covercrop.traits import Growth, Winter
from covercrop.units import KG_HA_PER_LB_ACRE, KG_T_PER_LB_TON

Array = NDArray[np.float64]

#: Where the plant-available nitrogen of a cover comes from, in ``data/sources.toml``.
PAN_SOURCE = "sullivan2012"
PAN_NONE = 1.5  # [% N] little or none is released below
PAN_FULL = 3.5  # [% N] the published line ends here
PAN_AT_FULL = 35 * KG_T_PER_LB_TON  # [kg/t dry matter], printed as about 35 lb/ton
PAN_MOST = 100 * KG_HA_PER_LB_ACRE  # [kg/ha], printed as 100 lb/acre


# --- dry matter and nitrogen ----------------------------------------------------------------------


def dry_matter(tmean: Array, emergence: ArrayLike, growth: Growth) -> Array:
    """Dry matter above ground, day by day, of a stand that lives.

    Parameters
    ----------
    tmean : numpy.ndarray, shape (..., day)
        Daily mean temperature [degC].
    emergence : array_like, shape (...)
        Day index of emergence; that day counts.  Broadcasts against the
        leading axes of `tmean`, so that draws of emergence (year, k) go with
        ``tmean[:, None, :]``.
    growth : Growth

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [kg/ha]; zero throughout where emergence is NaN.  NaN from a missing
        temperature on.

    Notes
    -----
    ``min(most, slope * max(0, sum - lag))`` with the sum of
    ``max(0, tmean - base)`` from emergence.

    References
    ----------
    ``mirsky2017`` for the slope, ``teasdale2004`` for the base.
    """
    tmean = np.asarray(tmean, dtype=np.float64)
    up = np.arange(tmean.shape[-1]) >= np.asarray(emergence, dtype=np.float64)[..., None]
    total = np.cumsum(np.where(up, np.maximum(tmean - growth.base.value, 0.0), 0.0), axis=-1)
    return np.clip(growth.slope.value * (total - growth.lag.value), 0.0, growth.most.value)


def nitrogen_percent(day: ArrayLike, bud: ArrayLike, bloom: ArrayLike, seed: ArrayLike, growth: Growth) -> Array:
    """Nitrogen in the dry matter on a day, between the stages it was measured at.

    Parameters
    ----------
    day : array_like
        Day index that is asked about.
    bud, bloom, seed : array_like
        Day indexes of visible buds, full bloom and seed set, in that order;
        all four broadcast together.
    growth : Growth

    Returns
    -------
    numpy.ndarray
        [% N].  Straight lines in time between the stages, level before buds
        and after seed set; a stage that is not reached (NaN) lowers nothing.
    """
    to_bloom = growth.nitrogen_bloom.value - growth.nitrogen_bud.value
    to_seed = growth.nitrogen_seed.value - growth.nitrogen_bloom.value
    return growth.nitrogen_bud.value + to_bloom * _share(day, bud, bloom) + to_seed * _share(day, bloom, seed)


def _share(day: ArrayLike, start: ArrayLike, end: ArrayLike) -> Array:
    """Share of the way from one stage to the next, 0 where either is NaN."""
    day, start, end = (np.asarray(index, dtype=np.float64) for index in (day, start, end))
    length = end - start
    share = np.where(length > 0, (day - start) / np.where(length > 0, length, 1.0), day >= end)
    return np.where(np.isnan(length), 0.0, np.clip(share, 0.0, 1.0))


def nitrogen_yield(dry_matter_kg_ha: ArrayLike, percent: ArrayLike) -> Array:
    """Nitrogen in the standing cover.

    Parameters
    ----------
    dry_matter_kg_ha : array_like
        [kg/ha].
    percent : array_like
        Nitrogen in it [% N].

    Returns
    -------
    numpy.ndarray
        [kg/ha].
    """
    return np.asarray(dry_matter_kg_ha, dtype=np.float64) * np.asarray(percent, dtype=np.float64) / 100.0


def pan(dry_matter_kg_ha: ArrayLike, percent: ArrayLike) -> Array:
    """Plant-available nitrogen that the cover will release.

    Parameters
    ----------
    dry_matter_kg_ha : array_like
        Dry matter turned under [kg/ha].
    percent : array_like
        Nitrogen in it [% N].

    Returns
    -------
    numpy.ndarray
        [kg/ha], most of it within four to six weeks of warm, moist soil.

    Notes
    -----
    A straight line from nothing at 1.5 % N to 35 lb a ton at 3.5 % N, level
    outside (the line is not published further), and never more than 100 lb
    an acre, the most seen from a legume cover.

    References
    ----------
    ``sullivan2012``.
    """
    share = np.clip((np.asarray(percent, dtype=np.float64) - PAN_NONE) / (PAN_FULL - PAN_NONE), 0.0, 1.0)
    return np.minimum(np.asarray(dry_matter_kg_ha, dtype=np.float64) / 1000.0 * PAN_AT_FULL * share, PAN_MOST)


# --- winter ---------------------------------------------------------------------------------------


def kill_day(
    tmean: Array, winter: Winter, deviation: ArrayLike, *, start: ArrayLike = 0.0, end: ArrayLike = np.inf
) -> Array:
    """Day on which cold has killed a stand.

    Parameters
    ----------
    tmean : numpy.ndarray, shape (..., day)
        Daily mean temperature [degC].
    winter : Winter
    deviation : array_like, shape (k,) or (..., k)
        How tender each stand is, in standard deviations of the kill
        temperature: positive dies sooner.
    start : array_like, shape (...)
        First day index on which cold can kill, such as emergence; what never
        comes up (NaN) cannot be killed.
    end : array_like, shape (..., k)
        Last day index on which it can, such as the turning under; NaN leaves
        it open.  The day axis may run into a second winter, so give an end.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index of the last day of the first killing spell; NaN where the
        stand lives.
    """
    limit = winter.kill_temperature.value + winter.spread.value * np.atleast_1d(np.asarray(deviation, dtype=np.float64))
    begin, last = (np.asarray(index, dtype=np.float64) for index in (start, end))
    air = np.asarray(tmean, dtype=np.float64)
    if last.size and np.isfinite(last).all():
        air = air[..., : int(max(last.max(), 0)) + 1]  # what comes later kills nothing
    # The coldest spell so far only ever falls, so that one search serves any number of draws.
    coldest = np.minimum.accumulate(_spells(air, winter, begin, np.inf), axis=-1)
    killed = crossing(-coldest, -limit)
    return np.where(killed <= np.where(np.isnan(last), np.inf, last), killed, np.nan)


def survival_by_day(tmean: Array, winter: Winter, *, start: ArrayLike = 0.0, end: ArrayLike = np.inf) -> Array:
    """Probability that a stand is still alive, day by day.

    Parameters
    ----------
    tmean : numpy.ndarray, shape (..., day)
        Daily mean temperature [degC].
    winter : Winter
    start, end : array_like, broadcasting against the leading axes of `tmean`
        As for :func:`kill_day`.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Never rising.  Unknown temperatures kill nothing.

    Notes
    -----
    Normal about the kill temperature: the share of stands that die in colder
    spells only than the coldest so far.
    """
    coldest = np.minimum.accumulate(_spells(np.asarray(tmean, dtype=np.float64), winter, start, end), axis=-1)
    scaled = (coldest - winter.kill_temperature.value) / (winter.spread.value * sqrt(2))
    return 0.5 * (1.0 + np.vectorize(erf, otypes=[np.float64])(scaled))


def survival(tmean: Array, winter: Winter, *, start: ArrayLike = 0.0, end: ArrayLike = np.inf) -> Array:
    """Probability that a stand outlives the winter.

    Parameters
    ----------
    tmean : numpy.ndarray, shape (..., day)
        Daily mean temperature [degC].
    winter : Winter
    start, end : array_like, broadcasting against the leading axes of `tmean`
        As for :func:`kill_day`.

    Returns
    -------
    numpy.ndarray, shape (...)
        The last day of :func:`survival_by_day`.
    """
    return survival_by_day(tmean, winter, start=start, end=end)[..., -1]


def _spells(tmean: Array, winter: Winter, start: ArrayLike, end: ArrayLike) -> Array:
    """Mean of the spell that ends on each day; +inf outside start to end, and where a day is unknown."""
    length = round(winter.days.value)
    days = tmean.shape[-1]
    first, last = (np.asarray(index, dtype=np.float64)[..., None] for index in (start, end))
    spells = np.full(tmean.shape, np.inf)
    if days >= length:
        # Day by day rather than by differences of a running sum, through which one NaN would spread.
        whole = days - length + 1
        means = tmean[..., :whole].copy()
        for later in range(1, length):
            means += tmean[..., later : later + whole]
        means /= length
        spells[..., length - 1 :] = np.where(np.isnan(means), np.inf, means)
    day = np.arange(days)
    inside = (day - (length - 1) >= first) & ((day <= last) | np.isnan(last))
    return np.where(inside, spells, np.inf)
