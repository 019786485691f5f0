"""The stages of a cereal beside a legume: heat of long days to flowering, plain heat from there to the others.

From midwinter on each day adds its mean temperature, weighed by the length of the day; rye begins to flower at a sum of
it, and another cereal so many days later.  Its other stages lie a plain sum of heat before or after
(``data/validation/refit_rye.py``).  With their place left out the rows of the fit are missed by 7.7 days, by a plain
sum by 9.5 and by one date for all by 11.5; sums from sowing tell nothing: rye sown a month apart flowers together.

Stages are those of the Zadoks scale, whose numbers are the BBCH codes of cereals.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.models.biomass import share_of_the_way
from covercrop.models.degree_days import accumulate, crossing
from covercrop.models.members import EIGHTY
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from covercrop.parameters.companions import CerealNitrogen, Companion

#: Zadoks number of each stage that is dated.
ZADOKS = {
    "tillering": 25,
    "jointing": 30,
    "flag_leaf": 39,
    "boot": 45,
    "heading": 51,
    "flowering": 61,
    "milk": 71,
}

#: Heat from each stage to the start of flowering; what comes after it is negative [degC d].
_BEFORE = {
    "tillering": MODELS.cereal.tillering.value,
    "jointing": MODELS.cereal.jointing.value,
    "flag_leaf": MODELS.cereal.flag_leaf.value,
    "boot": MODELS.cereal.boot.value,
    "heading": MODELS.cereal.heading.value,
}

#: Heat from flowering to each of these, and to watery ripe grain: soon, likely and late [degC d].
_AFTER = np.array(
    [*(-gap for gap in _BEFORE.values()), MODELS.cereal.milk.low, MODELS.cereal.milk.value, MODELS.cereal.milk.high],
    dtype=float,
)

#: Stages in plain words, by the Zadoks number from which they hold.
STAGE_NAMES = {
    0: "not up yet",
    10: "seedling",
    20: "tillering",
    30: "stems stretching (jointing)",
    37: "flag leaf coming",
    41: "boot: the head swells in its sheath",
    51: "heading",
    61: "in flower",
    71: "watery ripe: the grain fills with clear sap",
    73: "milk",
    83: "soft dough",
    87: "hard dough",
    92: "ripe",
}

#: Keys in ``data/sources.toml``.
SOURCES = (MODELS.cereal.flowering.source, MODELS.cereal.stage_base.source)


def stage_name(code: float) -> str:
    """A Zadoks number, which is a BBCH code of cereals, in plain words."""
    return STAGE_NAMES[max((known for known in STAGE_NAMES if known <= code), default=0)]


def spread_of(companion: Companion) -> float:
    """Standard deviation of the day on which a cereal flowers at a new place: of the clock, and of its offset [d]."""
    offset = companion.bloom.offset
    low, high = (offset.value if end is None else end for end in (offset.low, offset.high))
    return float(np.hypot(companion.bloom.spread.value, (high - low) / (2 * EIGHTY)))


def stage_days(
    tmean: Array,
    day_length: ArrayLike,
    companion: Companion,
    midwinter: int,
    *,
    late: ArrayLike = 0.0,
    milk_draw: ArrayLike = 0.0,
) -> dict[str, Array]:
    """Day on which a cereal comes to each stage.

    Parameters
    ----------
    tmean : numpy.ndarray, shape (..., day)
        Daily mean temperature [degC].
    day_length : array_like
        Sunrise to sunset, against ``tmean`` [h].
    companion : Companion
    midwinter : int
        Day index from which heat counts.
    late : array_like, shape (draw,), optional
        How much later than is likely it comes to each of its stages [d].
    milk_draw : array_like, shape (draw,), optional
        Standard normal of the heat from flowering to watery ripe grain.

    Returns
    -------
    dict of str to numpy.ndarray, shape (..., draw)
        Day index by the names of :data:`ZADOKS`; NaN where not reached.
    """
    first = max(midwinter, 0)
    air = np.asarray(tmean, dtype=np.float64)[..., first:]
    hours = np.broadcast_to(np.asarray(day_length), np.shape(tmean))[..., first:]
    none, full = MODELS.cereal.day_length_none.value, MODELS.cereal.day_length_full.value
    weight = np.clip((hours - none) / (full - none), 0.0, 1.0)
    clock = accumulate(np.maximum(air - MODELS.cereal.base.value, 0.0) * weight)
    flowers = np.rint(np.asarray(crossing(clock, MODELS.cereal.flowering.value)) + companion.bloom.offset.value)

    heat = accumulate(np.maximum(air - MODELS.cereal.stage_base.value, 0.0))
    inside = (flowers < heat.shape[-1])[..., np.newaxis]  # false for NaN too
    known = np.fmin(flowers, heat.shape[-1] - 1)[..., np.newaxis].astype(np.intp)
    found = crossing(heat, np.take_along_axis(heat, known, axis=-1) + _AFTER) + first
    shift = np.asarray(late, dtype=np.float64)
    days = {name: np.rint(found[..., [place]] + shift) for place, name in enumerate(_BEFORE)}
    soon, middle, after = (found[..., [place]] for place in range(len(_BEFORE), found.shape[-1]))
    side = np.clip(np.asarray(milk_draw, dtype=np.float64) / EIGHTY, -1.0, 1.0)
    milk = middle + np.where(side < 0, (middle - soon) * side, (after - middle) * side)
    whole = {**days, "flowering": np.rint(flowers[..., np.newaxis] + first + shift), "milk": np.rint(milk + shift)}
    return {name: np.where(inside, whole[name], np.nan) for name in ZADOKS}


def zadoks(likely: Mapping[str, float], day: float) -> int:
    """Zadoks number of a stand on a day, straight between the dated stages.

    Parameters
    ----------
    likely : mapping of str to float
        Day index of each of :data:`ZADOKS`; NaN where not reached.
    day : float
    """
    code = 20.0
    for name, following in pairwise(ZADOKS):
        reached, then = likely[name], likely[following]
        if not day >= reached:
            break
        gone = min((day - reached) / (then - reached), 1.0) if then > reached else 0.0
        code = ZADOKS[name] + (ZADOKS[following] - ZADOKS[name]) * gone
    return int(code + 1e-9)


def day_at(stages: Mapping[str, Array], code: float) -> Array:
    """Day on which a stand comes to a Zadoks number, straight between the dated stages and never beyond them."""
    names = list(ZADOKS)
    codes: NDArray[np.float64] = np.array([ZADOKS[name] for name in names], dtype=np.float64)
    place = float(np.interp(code, codes, np.arange(codes.size)))
    low = min(int(place), codes.size - 2)
    return stages[names[low]] + (place - low) * (stages[names[low + 1]] - stages[names[low]])


def nitrogen_percent(day: ArrayLike, stages: Mapping[str, Array], nitrogen: CerealNitrogen, draw: ArrayLike) -> Array:
    """Nitrogen in the dry matter of a cereal on a day [% N].

    Parameters
    ----------
    day : array_like
        Day index.
    stages : mapping of str to numpy.ndarray, shape (..., draw)
        From :func:`stage_days`.
    nitrogen : CerealNitrogen
    draw : array_like, shape (draw,)
        Standard normal: of what stands of one stage differ by.

    Returns
    -------
    numpy.ndarray, shape (..., draw)
        Straight in time between tillering, jointing and flowering, level before and after.
    """
    young, grown, old = nitrogen.tillering.value, nitrogen.jointing.value, nitrogen.flowering.value
    likely = (
        young
        + (grown - young) * share_of_the_way(day, stages["tillering"], stages["jointing"])
        + (old - grown) * share_of_the_way(day, stages["jointing"], stages["flowering"])
    )
    return likely * np.exp(nitrogen.spread.value * np.asarray(draw, dtype=np.float64))
