"""Winter kill: what the stand feels on each day against the cold that it can stand on it.

A stand hardens on cool days and loses it on warm ones, at the rates of
FROSTOL (`bergjord2008`), between what kills a seedling and what its kind can
stand at best.  It hardens only as far as it has grown.  A grown stand feels
the temperature of its crowns, under what snow there is; a young one, whose
buds stand in the open, the night of the air.  Unhardened stands of one kind
die alike, hardened ones differ (`wiering`).  Ice, heaving and snow mould are
not known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.units import in_both
from covercrop.models.crown import crown_under, felt_share
from covercrop.models.degree_days import crossing
from covercrop.parameters.constants import MODELS
from covercrop.parameters.traits import Winter

#: Cold that kills half of the plants before any hardening [degC].
TENDER = MODELS.winter.tender
#: Share of what is still to harden that a day brings for each degree below a limit [1/d], and that limit [degC].
HARDENING, HARDENING_BELOW = MODELS.winter.hardening, MODELS.winter.hardening_below
#: Share of what was hardened that a day loses, for the cube of the degrees above a limit [1/d], and that limit [degC].
LOSING, LOSING_ABOVE = MODELS.winter.losing, MODELS.winter.losing_above
#: Warmth from emergence until a stand can harden as far as its kind, and has crowns below the ground [degC d].
GROWN = MODELS.winter.grown

#: What no source gives about the winter, for the reader.
ASSUMPTIONS = (
    f"A stand hardens where its crowns are below {in_both(HARDENING_BELOW.value, 'degC')} and loses it above "
    f"{in_both(LOSING_ABOVE.value, 'degC')}, at the rates of winter wheat, all winter long. It does so between what "
    f"kills pea seedlings, {in_both(TENDER.value, 'degC')}, and what its kind can stand at best, no further than it "
    f"has grown, for which {GROWN.value:.0f} degC d above freezing are taken.",
    "Ice, heaving of the ground and snow mould are not reckoned with.",
)

#: Keys in ``data/sources.toml``.
SOURCES = (TENDER.source, HARDENING.source)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposure:
    """What stands of one emergence go through, day by day; arrays have shape (..., day).

    Attributes
    ----------
    felt : numpy.ndarray
        What they feel [degC]; NaN where it is not known.
    hardened : numpy.ndarray
        How far they have hardened, from 0 to 1 for what their kind can stand at best.
    grown : numpy.ndarray
        How far they have grown towards the size from which on they can, from 0 to 1.
    """

    felt: Array
    hardened: Array
    grown: Array

    def at(self, place: int) -> Exposure:
        """Those of one of several places."""
        return Exposure(felt=self.felt[place], hardened=self.hardened[place], grown=self.grown[place])

    def stands(self, winter: Winter) -> Array:
        """The temperature that kills half of the stands of a kind on each day [degC]."""
        return TENDER.value + self.hardened * min(winter.kill_temperature.value - TENDER.value, 0.0)


def exposure(tmin: Array, tmax: Array, snow_mm: ArrayLike, up: ArrayLike) -> Exposure:
    """What stands feel and how far they have hardened.

    Parameters
    ----------
    tmin, tmax : numpy.ndarray, shape (..., day)
        [degC].
    snow_mm : array_like, shape (..., day)
        Depth of the snow [mm].
    up : array_like, shape (...)
        Day index of emergence; from then on they grow and harden.  NaN for what never comes up.

    Returns
    -------
    Exposure
        Before emergence nothing is felt: plus infinity.
    """
    tmean, share = (tmin + tmax) / 2, felt_share(snow_mm)
    crown = crown_under(tmean, share)
    days = tmean.shape[-1]
    out = ~(np.arange(days) >= np.asarray(up, dtype=np.float64)[..., np.newaxis])  # NaN is never up
    warmth = np.where(out, 0.0, np.fmax(tmean, 0.0))  # an unknown day adds nothing
    grown = np.minimum(np.cumsum(warmth, axis=-1) / GROWN.value, 1.0)

    # The day first, so that each step works on what lies together; an unknown day neither hardens nor softens.
    limit, known = (np.ascontiguousarray(np.moveaxis(values, -1, 0)) for values in (grown, crown))
    gains = HARDENING.value * np.fmax(HARDENING_BELOW.value - np.maximum(known, 0.0), 0.0)
    above = np.fmax(known - LOSING_ABOVE.value, 0.0)
    kept = np.maximum(1.0 - gains - LOSING.value * above * above * above, 0.0)
    hardened = np.empty(limit.shape)
    now = np.zeros(limit.shape[1:])
    for day in range(days):
        now = np.multiply(now, kept[day], out=hardened[day, ...])
        now += gains[day]
        np.minimum(now, limit[day], out=now)

    night = np.maximum(tmin, 0.0) + np.minimum(tmin, 0.0) * (share / felt_share(0.0))
    felt = np.where(out, np.inf, night + grown * (crown - night))
    return Exposure(felt=felt, hardened=np.moveaxis(hardened, 0, -1), grown=grown)


def kill_day(
    exposed: Exposure,
    winter: Winter,
    deviation: ArrayLike,
    *,
    start: ArrayLike = 0.0,
    end: ArrayLike = np.inf,
) -> Array:
    """Day on which cold kills a stand.

    Parameters
    ----------
    exposed : Exposure
        Arrays of shape (..., day).
    winter : Winter
    deviation : array_like, shape (k,) or (..., k)
        How tender each stand is, in standard deviations of the kill
        temperature: positive dies sooner.
    start : array_like, shape (...)
        First day index on which cold can kill, such as that on which the stand was last seen alive.
    end : array_like, shape (..., k)
        Last day index on which it can, such as the turning under; NaN leaves
        it open.  The day axis may run into a second winter, so give an end.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index of the first day that kills; NaN where the stand lives.
    """
    begin, last = (np.asarray(index, dtype=np.float64) for index in (start, end))
    felt, hardened = exposed.felt, exposed.hardened
    if last.size and np.isfinite(last).all():
        before = int(last.max()) + 1  # what comes later kills nothing
        felt, hardened = felt[..., :before], hardened[..., :before]
    # What is felt is put on the scale of the best, as if hardened; what no one dies of unhardened kills no one.
    best = winter.kill_temperature.value + winter.spread.value * np.atleast_1d(np.asarray(deviation, dtype=np.float64))
    colder = felt - TENDER.value
    with np.errstate(divide="ignore", invalid="ignore"):
        scaled = np.where(colder < 0, colder / hardened, np.inf)
    counts = np.arange(felt.shape[-1]) >= begin[..., np.newaxis]
    # The worst day so far only ever gets worse, so that one search serves any number of draws.
    killed = crossing(-np.minimum.accumulate(np.where(counts, scaled, np.inf), axis=-1), TENDER.value - best)
    return np.where(killed > last, np.nan, killed)
