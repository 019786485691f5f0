"""When seedling diseases on fresh residue have died down."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError

#: Days from turning under until seedling diseases, and what fresh residue
#: gives off, have died down [d].  Direct seed: Pythium back down by three
#: weeks (Grunwald et al. 2000).  Transplants: inhibition by vetch residue
#: greatest in the first two weeks (SARE GNC05-044, 2007).
DISEASE_DAYS = {"direct-seed": 21.0, "transplant": 14.0}


# --- seedling diseases ----------------------------------------------------------------------------


def disease_clear(start: ArrayLike, method: str) -> Array:
    """First day on which seedling diseases on the fresh residue have died down.

    Parameters
    ----------
    start : array_like, shape (...)
        Day index of turning under.
    method : str
        ``"direct-seed"`` or ``"transplant"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Day index.

    Raises
    ------
    UnknownNameError
        If there is no such planting method.
    """
    if method not in DISEASE_DAYS:
        raise UnknownNameError("planting method", method, DISEASE_DAYS)
    return np.asarray(start, dtype=np.float64) + DISEASE_DAYS[method]
