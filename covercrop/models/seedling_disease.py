"""When seedling diseases on fresh residue, and what it gives off, have died down.

How long that takes depends on where the residue lies, on what is planted, and
on how fresh it is: seed in the ground that it was dug into waits longest, a
plant set out through a mulch hardly at all, and under a tarp the weeks until
the cover is dead count.  Printed advice runs from one week to four, which is
the spread.

References
----------
Grunwald, N.J., Hu, S., van Bruggen, A.H.C. (2000). Short-term cover crop
    decomposition in organic and conventional soils. European Journal of Plant
    Pathology 106, 37-50. (Pythium back down by three weeks.)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.models.members import EIGHTY
from covercrop.models.termination import ON_SURFACE, TARP_DAYS
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.base.records import CitedValue
    from covercrop.parameters.companions import CerealWait

#: How a crop is planted.
METHODS = ("direct-seed", "transplant")


def disease_days(method: str, terminate: str, *, small_seed: bool = False) -> CitedValue:
    """Days from ending a cover until its seedling diseases have died down, with the range of printed advice.

    Parameters
    ----------
    method : str
        One of :data:`METHODS`.
    terminate : str
        One of :data:`covercrop.models.termination.METHODS`.
    small_seed : bool
        Whether the crop has small seed.

    Raises
    ------
    UnknownNameError
        If there is no such planting method.
    """
    if method not in METHODS:
        raise UnknownNameError("planting method", method, METHODS)
    on_top = terminate in ON_SURFACE
    if method == "transplant":
        return MODELS.disease.surface_transplant if on_top else MODELS.disease.transplant
    if small_seed:
        return MODELS.disease.surface_small_seed if on_top else MODELS.disease.small_seed
    return MODELS.disease.surface_direct_seed if on_top else MODELS.disease.direct_seed


def cereal_wait(cereal: CerealWait, method: str, terminate: str, *, small_seed: bool) -> CitedValue | None:
    """Days from ending a cereal until the crop may follow it, as :func:`disease_days` has them for a legume.

    None where nothing is known to wait for: large seed and plants go in through what lies on top.
    """
    small = small_seed and method == "direct-seed"
    if terminate in ON_SURFACE:
        return cereal.small_seed_on_top if small else None
    return cereal.small_seed if small else cereal.large_seed


def _drawn(days: CitedValue, draw: ArrayLike) -> Array:
    side = np.asarray(draw, dtype=np.float64) / EIGHTY
    low, high = (days.value if end is None else end for end in (days.low, days.high))
    return days.value + np.where(side < 0, (days.value - low) * side, (high - days.value) * side)


def disease_clear(
    start: ArrayLike,
    method: str,
    terminate: str = "turn-under",
    *,
    small_seed: bool = False,
    cereal: CerealWait | None = None,
    draw: ArrayLike = 0.0,
) -> Array:
    """First day on which seedling diseases on the fresh residue have died down.

    Parameters
    ----------
    start : array_like, shape (...)
        Day index on which the cover is dead: of its ending, or what a tarp takes after it.
    method, terminate, small_seed
        As for :func:`disease_days`.
    cereal : CerealWait, optional
        How long a cereal beside the legume makes wait; the longer of the two counts.
    draw : array_like, shape (...), optional
        Standard normal; above 0 it takes longer than is likely.

    Returns
    -------
    numpy.ndarray, shape (...)
        Day index.

    Raises
    ------
    UnknownNameError
        If there is no such planting method.
    """
    wait = _drawn(disease_days(method, terminate, small_seed=small_seed), draw)
    beside = None if cereal is None else cereal_wait(cereal, method, terminate, small_seed=small_seed)
    if beside is not None:
        wait = np.maximum(wait, _drawn(beside, draw))
    dead = np.asarray(start, dtype=np.float64)
    ended = dead - (TARP_DAYS.value if terminate == "tarp" else 0.0)
    return np.maximum(dead, ended + np.rint(np.maximum(wait, 0.0)))
