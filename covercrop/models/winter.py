"""Winter kill: the coldest spell against the cold that kills half of a stand.

The spell is a running mean of the daily mean temperature, because the field
rules speak of sustained cold and the crowns sit at the soil.  A stand that has
not hardened dies sooner: the limit falls from that of seedlings to that of the
cover over four weeks of cool days (`wiering`: four weeks at 3 degC told hardy
from tender accessions, which without it did not differ).  Snow, which
protects, is not known.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.units import in_both
from covercrop.models.degree_days import crossing
from covercrop.parameters.constants import MODELS
from covercrop.parameters.traits import Winter

#: Cold that kills half of the plants before any hardening, and cool days until a stand stands what its cover can.
TENDER = MODELS.winter.tender
HARDENING_DAYS = MODELS.winter.hardening_days

#: Daily mean below which a day hardens [degC].
HARDENING_BELOW = MODELS.winter.hardening_below.value

#: What no source gives about the winter, for the reader.
ASSUMPTIONS = (
    f"A stand hardens on days with a mean below {in_both(HARDENING_BELOW, 'degC')}, evenly over "
    f"{HARDENING_DAYS.value:.0f} of them, from what kills pea seedlings, {in_both(TENDER.value, 'degC')}, to what its "
    "kind can stand.",
)

#: Keys in ``data/sources.toml``.
SOURCES = (TENDER.source, HARDENING_DAYS.source)


def kill_day(
    tmean: Array,
    winter: Winter,
    deviation: ArrayLike,
    *,
    start: ArrayLike = 0.0,
    up: ArrayLike | None = None,
    end: ArrayLike = np.inf,
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
    up : array_like, shape (...), optional
        Day index from which the stand hardens: emergence, where cold cannot
        kill before a later day; ``start`` by default.
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
    air = np.asarray(tmean, dtype=np.float64)
    begin, last = (np.asarray(index, dtype=np.float64) for index in (start, end))
    if last.size and np.isfinite(last).all():
        air = air[..., : int(max(last.max(), 0)) + 1]  # what comes later kills nothing
    felt = _spells(air, winter, begin) - _tenderness(air, winter, begin if up is None else up)
    # The coldest spell so far only ever falls, so that one search serves any number of draws.
    killed = crossing(-np.minimum.accumulate(felt, axis=-1), -limit)
    return np.where(killed <= np.where(np.isnan(last), np.inf, last), killed, np.nan)


def _tenderness(tmean: Array, winter: Winter, up: ArrayLike) -> Array:
    """How much less cold a stand stands at the start of the spell that ends on each day than a hardened one [K]."""
    length, days = round(winter.days.value), tmean.shape[-1]
    # Days before each day; counted up to the start of the spell, since the killing cold itself hardens no one.
    cool = np.concatenate(
        [np.zeros((*tmean.shape[:-1], 1)), np.cumsum(tmean < HARDENING_BELOW, axis=-1)[..., :-1]], axis=-1
    )
    first = np.asarray(up, dtype=np.float64)[..., None]
    place = np.clip(np.where(np.isnan(first), 0.0, np.ceil(first)), 0, days - 1).astype(np.intp)
    at_start = cool[..., np.maximum(np.arange(days) - (length - 1), 0)]
    shape = np.broadcast_shapes(place.shape[:-1], cool.shape[:-1])
    at_emergence = np.take_along_axis(
        np.broadcast_to(cool, (*shape, days)), np.broadcast_to(place, (*shape, 1)), axis=-1
    )
    hardened = np.clip((at_start - at_emergence) / HARDENING_DAYS.value, 0.0, 1.0)
    return max(TENDER.value - winter.kill_temperature.value, 0.0) * (1.0 - hardened)


def _spells(tmean: Array, winter: Winter, start: ArrayLike) -> Array:
    """Mean of the spell that ends on each day; +inf before there is a whole one from start on, or a day is unknown."""
    length = round(winter.days.value)
    days = tmean.shape[-1]
    first = np.asarray(start, dtype=np.float64)[..., None]
    spells = np.full(tmean.shape, np.inf)
    if days >= length:
        # Day by day rather than by differences of a running sum, through which one NaN would spread.
        whole = days - length + 1
        means = tmean[..., :whole].copy()
        for later in range(1, length):
            means += tmean[..., later : later + whole]
        means /= length
        spells[..., length - 1 :] = np.where(np.isnan(means), np.inf, means)
    return np.where(np.arange(days) - (length - 1) >= first, spells, np.inf)
