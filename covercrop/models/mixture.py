"""A legume and a cereal together: dry matter, nitrogen, what of it a crop can have, and how the residue rots.

Everything follows from the share of the legume in the dry matter, which is the grower's to judge.  Nitrogen is the
share-weighted mean of the two; what becomes available is the straight line of PNW 636 on it, which is let go below
nothing, since a cereal ties up nitrogen, but no further than the most that was seen.  The residue is the pools of the
two, each with its own C:N ratio.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.models import decay, decomposition
from covercrop.models.biomass import CARBON_PERCENT, PAN_AT_FULL, PAN_FULL, PAN_MOST, PAN_NONE, nitrogen_yield
from covercrop.models.members import EIGHTY
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.companions import CerealResidue
    from covercrop.parameters.traits import Residue

#: Share of the legume in the dry matter where nobody has judged it: the least, the likely and the most [1].
UNKNOWN_SHARE = tuple(
    MODELS.mixture.share.value if end is None else end
    for end in (MODELS.mixture.share.low, MODELS.mixture.share.value, MODELS.mixture.share.high)
)

#: Dry matter of an even mixture against that of the legume, and of the cereal, alone [1].
OVER_LEGUME, OVER_CEREAL, EVEN = (
    MODELS.mixture.over_legume.value,
    MODELS.mixture.over_cereal.value,
    MODELS.mixture.even.value,
)

#: The most nitrogen that a cover ties up [kg/ha].
MOST_TIED = MODELS.mixture.most_tied.value

#: Nitrogen in the dry matter from which on it is released within the first month [% N].
RELEASE_FROM = MODELS.mixture.release_from.value

#: What a mixture does with the soil's nitrogen, poorest first: ties it up; gives little in the first month; releases.
BANDS = ("tie-up", "little-at-first", "release")

#: Keys in ``data/sources.toml``.
SOURCES = (
    MODELS.mixture.over_legume.source,
    MODELS.mixture.most_tied.source,
    MODELS.mixture.release_from.source,
    "white2016",
)

#: What is said where nobody has judged the share.
SHARE_ASSUMED = (
    f"The legume is taken to be {UNKNOWN_SHARE[1]:.0%} of the dry matter, {UNKNOWN_SHARE[0]:.0%} to "
    f"{UNKNOWN_SHARE[2]:.0%}: {MODELS.mixture.share.reason}. Clip and sort a square, or judge by eye, and note it."
)

#: What no source gives, for the reader.
ASSUMPTIONS = (
    f"A mixture weighs {OVER_LEGUME:g} times as much as the legume alone, and {OVER_CEREAL:g} times as much as the "
    f"cereal alone, where the legume is {EVEN:.0%} of it, as rye and vetch did; towards either alone the weight is "
    f"taken to go in a straight line: {MODELS.mixture.even.reason}.",
    "Legume and cereal are taken to rot side by side, each at the pace of its own C:N ratio. What is left on top ties "
    "up less at a time than what is dug in; how much less is not reckoned with.",
    f"Ending by tillage: {MODELS.mixture.tilled_until.reason}.",
    f"The last day of a cereal: {MODELS.mixture.last_grain.reason}.",
    "Legume and cereal are taken to come up together, and to feel the same cold.",
)


def growth_factor(share: ArrayLike) -> Array:
    """Dry matter of a mixture as a multiple of that of the legume alone [1].

    Parameters
    ----------
    share : array_like
        Of the legume in the dry matter [1]; 0 is the cereal alone.
    """
    return np.interp(np.asarray(share, dtype=np.float64), (0.0, EVEN, 1.0), (OVER_LEGUME / OVER_CEREAL, OVER_LEGUME, 1))


def share_drawn(low: float, middle: float, high: float, draw: ArrayLike) -> Array:
    """The share of the legume in each draw; a range is taken for an 80 % interval [1].

    Parameters
    ----------
    low, middle, high : float
        [1]
    draw : array_like, shape (draw,)
        Standard normal.
    """
    side = np.asarray(draw, dtype=np.float64) / EIGHTY
    return np.clip(middle + np.where(side < 0, (middle - low) * side, (high - middle) * side), 0.0, 1.0)


def blended(share: ArrayLike, legume: ArrayLike, cereal: ArrayLike) -> Array:
    """The mean of a number of the two, weighed by their dry matter; ``share`` is that of the legume [1]."""
    part, first, second = (np.asarray(each, dtype=np.float64) for each in (share, legume, cereal))
    return np.asarray(part * first + (1 - part) * second)


def pan(dry_matter_kg_ha: ArrayLike, percent: ArrayLike) -> Array:
    """Plant-available nitrogen of a mixture [kg/ha]; negative where it ties nitrogen up.

    Parameters
    ----------
    dry_matter_kg_ha : array_like
        [kg/ha].
    percent : array_like
        Nitrogen in all of it [% N].

    Notes
    -----
    The line of :func:`covercrop.models.biomass.pan`, drawn on below nothing to :data:`MOST_TIED`.  It is straight, so
    that the parts added up give the same as the mean.
    """
    share = np.minimum((np.asarray(percent, dtype=np.float64) - PAN_NONE) / (PAN_FULL - PAN_NONE), 1.0)
    return np.clip(np.asarray(dry_matter_kg_ha, dtype=np.float64) / 1000.0 * PAN_AT_FULL * share, -MOST_TIED, PAN_MOST)


def amounts(dry_matter_kg_ha: Array, percent: Array, share: ArrayLike, cereal_carbon: float) -> dict[str, Array]:
    """What a mixture brings to the ground, as :func:`covercrop.models.biomass.amounts` has it for a legume.

    Parameters
    ----------
    dry_matter_kg_ha : numpy.ndarray
        [kg/ha].
    percent : numpy.ndarray
        Nitrogen in it [% N].
    share : array_like
        Of the legume [1].
    cereal_carbon : float
        Carbon in the cereal [%].
    """
    return {
        "dry_matter_kg_ha": dry_matter_kg_ha,
        "n_kg_ha": nitrogen_yield(dry_matter_kg_ha, percent),
        "pan_kg_ha": pan(dry_matter_kg_ha, percent),
        "carbon_nitrogen": blended(share, CARBON_PERCENT, cereal_carbon) / percent,
    }


def band(percent: float) -> str:
    """What a mixture of so much nitrogen does: one of :data:`BANDS`; ``percent`` is that of the dry matter [% N]."""
    if percent < PAN_NONE:
        return BANDS[0]
    return BANDS[1] if percent < RELEASE_FROM else BANDS[2]


# --- residue --------------------------------------------------------------------------------------


def mass_left(
    days: ArrayLike, share: ArrayLike, legume: Residue, cereal: CerealResidue, carbon_nitrogen: ArrayLike
) -> Array:
    """What is left of a mixture, as a share of its mass, shape of ``days`` [1].

    Parameters
    ----------
    days : array_like
        Days' worth of decay in warm, moist soil with nitrogen enough [d].
    share : array_like
        Of the legume [1].
    legume : Residue
    cereal : CerealResidue
    carbon_nitrogen : array_like
        Of the cereal [1].
    """
    of_legume, of_cereal = _parts(legume, cereal)
    paces = (np.ones(()), decay.carbon_nitrogen_factor(carbon_nitrogen))  # the legume has nitrogen enough
    left = [
        decay.mass_left(np.multiply(days, pace), pools)
        for pace, pools in zip(paces, (of_legume, of_cereal), strict=True)
    ]
    return blended(share, left[0], left[1])


def residue_pace(share: ArrayLike, legume: Residue, cereal: CerealResidue, carbon_nitrogen: ArrayLike) -> Array:
    """How fast the ground is clear of a mixture, as a share of the pace after the legume alone [1].

    Parameters
    ----------
    share : array_like
        Of the legume [1].
    legume : Residue
    cereal : CerealResidue
    carbon_nitrogen : array_like
        Of the cereal when it is ended [1].

    Notes
    -----
    Both rot on the same days of the same soil, so that what differs is how many such days it takes.
    """
    of_legume, of_cereal = _parts(legume, cereal)
    share, ratio = np.broadcast_arrays(np.asarray(share, dtype=np.float64), np.asarray(carbon_nitrogen, dtype=float))
    paces = (np.ones(()), decay.carbon_nitrogen_factor(ratio))  # the legume has nitrogen enough
    rate = decay.RATES[0]
    sugars = blended(share, of_legume[0], of_cereal[0])

    def is_clear(days: Array) -> NDArray[np.bool_]:
        first, second = (
            pools[0] * np.exp(-rate * days * pace) for pools, pace in zip((of_legume, of_cereal), paces, strict=True)
        )
        left = blended(share, first, second)
        whole = mass_left(days, share, legume, cereal, ratio)
        return np.minimum(left - decomposition.CARBOHYDRATE_CLEAR * sugars, whole - decomposition.MASS_CLEAR) <= 0

    low, high = np.zeros(share.shape), np.full(share.shape, 1000.0)
    for _ in range(40):
        middle = (low + high) / 2
        clear = is_clear(middle)
        low, high = np.where(clear, low, middle), np.where(clear, middle, high)
    alone = decomposition.days_to_clear(of_legume)
    return np.asarray(alone / high)


def _parts(legume: Residue, cereal: CerealResidue) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    first, second, third = decay.fractions(legume).tolist()
    return (first, second, third), (
        cereal.carbohydrate.value,
        cereal.cellulose.value,
        cereal.lignin.value,
    )
