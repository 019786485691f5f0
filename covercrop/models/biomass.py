"""What stands in the field: dry matter and nitrogen of the cover.

Dry matter climbs in a straight line with thermal time once the stand is away;
the slope is published for hairy vetch as a mean over sowing and kill dates in
five states, so winter is in it: days colder than the base simply add nothing.
Frost damage that a stand outlives, drought and poor stands are not modelled;
they are part of the spread among stands that the parameter file gives.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.degree_days import accumulate
from covercrop.models.spans import end_place, first_place
from covercrop.parameters.constants import MODELS
from covercrop.parameters.traits import Growth

#: Where the plant-available nitrogen of a cover comes from, in ``data/sources.toml``.
PAN_SOURCE = MODELS.nitrogen.at_full.source

#: Its straight line: none up to here, all from there on [% N], all of it [kg/t dry matter], and its top [kg/ha].
PAN_NONE = MODELS.nitrogen.none_below.value
PAN_FULL = MODELS.nitrogen.full_from.value
PAN_AT_FULL = MODELS.nitrogen.at_full.value
PAN_MOST = MODELS.nitrogen.most.value

#: Carbon in the dry matter of a legume [%].
CARBON_PERCENT = MODELS.nitrogen.carbon.value

#: Keys in ``data/sources.toml``.
SOURCES = (PAN_SOURCE,)


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
    up = np.arange(tmean.shape[-1]) >= np.asarray(emergence, dtype=np.float64)[..., None]
    total = np.cumsum(np.where(up, warmth(tmean, growth), 0.0), axis=-1)
    return _climbed(total, growth)


def dry_matter_on(tmean: Array, emergence: ArrayLike, day: ArrayLike, growth: Growth) -> Array:
    """Dry matter above ground on one day.

    Parameters
    ----------
    tmean : numpy.ndarray, shape (year, day)
        Daily mean temperature [degC].
    emergence, day : array_like, shape (..., year)
        Day indexes of emergence and of the day asked about; they broadcast,
        with one row a year.
    growth : Growth

    Returns
    -------
    numpy.ndarray, shape (..., year)
        [kg/ha], that of :func:`dry_matter` on the day; NaN where there is no
        such day.
    """
    years, days = tmean.shape
    before = np.concatenate([np.zeros((years, 1)), accumulate(warmth(tmean, growth))], axis=-1)  # up to each day
    up, on = np.broadcast_arrays(*(np.asarray(each, dtype=np.float64) for each in (emergence, day)))
    first, end, year = first_place(up, days), end_place(on, days), np.arange(years)
    gained = np.where(end > first, before[year, end] - before[year, first], 0.0)
    return np.where(on < days, _climbed(gained, growth), np.nan)  # not so where NaN


def warmth(tmean: ArrayLike, growth: Growth) -> Array:
    """Warmth of each day for growth: the daily mean above the base [degC d], shape of ``tmean``."""
    return np.maximum(np.asarray(tmean, dtype=np.float64) - growth.base.value, 0.0)


def _climbed(total: Array, growth: Growth) -> Array:
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
    return (
        growth.nitrogen_bud.value
        + to_bloom * share_of_the_way(day, bud, bloom)
        + to_seed * share_of_the_way(day, bloom, seed)
    )


def share_of_the_way(day: ArrayLike, start: ArrayLike, end: ArrayLike) -> Array:
    """Share of the way from one stage to the next on a day, day indexes all; 0 where either stage is not reached."""
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


def carbon_nitrogen(percent: ArrayLike) -> Array:
    """C:N ratio of the dry matter.

    Parameters
    ----------
    percent : array_like
        Nitrogen in it [% N].

    Returns
    -------
    numpy.ndarray
        [1], with :data:`CARBON_PERCENT` of carbon.
    """
    return CARBON_PERCENT / np.asarray(percent, dtype=np.float64)


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


def amounts(dry_matter_kg_ha: Array, percent: Array) -> dict[str, Array]:
    """What a cover brings to the ground.

    Parameters
    ----------
    dry_matter_kg_ha : numpy.ndarray
        Dry matter turned under [kg/ha].
    percent : numpy.ndarray
        Nitrogen in it [% N].

    Returns
    -------
    dict of str to numpy.ndarray
        ``dry_matter_kg_ha``, ``n_kg_ha``, ``pan_kg_ha`` [kg/ha] and
        ``carbon_nitrogen`` [1].
    """
    return {
        "dry_matter_kg_ha": dry_matter_kg_ha,
        "n_kg_ha": nitrogen_yield(dry_matter_kg_ha, percent),
        "pan_kg_ha": pan(dry_matter_kg_ha, percent),
        "carbon_nitrogen": carbon_nitrogen(percent),
    }
