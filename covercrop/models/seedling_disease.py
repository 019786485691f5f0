"""When seedling diseases on fresh residue, and what it gives off, have died down.

References
----------
Grunwald, N.J., Hu, S., van Bruggen, A.H.C. (2000). Short-term cover crop
    decomposition in organic and conventional soils. European Journal of Plant
    Pathology 106, 37-50. (Pythium back down by three weeks.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.parameters.constants import MODELS

#: Days from turning under until seedling diseases, and what fresh residue gives off, have died down [d].
DISEASE_DAYS = {"direct-seed": MODELS.disease.direct_seed.value, "transplant": MODELS.disease.transplant.value}


#: Standard deviation of these days, as a share of them, and the least share of them that is drawn.
DISEASE_SPREAD = MODELS.disease.spread.value
LEAST_SHARE = 0.3


def disease_clear(start: ArrayLike, method: str, draw: ArrayLike = 0.0) -> Array:
    """First day on which seedling diseases on the fresh residue have died down.

    Parameters
    ----------
    start : array_like, shape (...)
        Day index of turning under.
    method : str
        ``"direct-seed"`` or ``"transplant"``.
    draw : array_like, shape (..., k), optional
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
    if method not in DISEASE_DAYS:
        raise UnknownNameError("planting method", method, DISEASE_DAYS)
    share = np.maximum(1 + DISEASE_SPREAD * np.asarray(draw, dtype=np.float64), LEAST_SHARE)
    return np.asarray(start, dtype=np.float64) + np.round(DISEASE_DAYS[method] * share)
