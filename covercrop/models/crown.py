"""Temperature at the crowns of a stand, a thumb's breadth under bare ground or snow.

The relation is that of CERES-Wheat, which goes back to measurements in
Montana: below freezing the crown feels a share of the cold above it, and the
less of it the deeper the snow.  The air is that of the last days together,
since the ground follows it slowly.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.parameters.constants import MODELS

#: Share of the air's cold that is felt under the deepest snow that counts, and what each squared centimetre less of it
#: adds [1, 1/cm2]; what the ground is warmer [degC]; and that depth [mm].
LEAST_FELT, FELT_MORE = MODELS.crown.least_felt, MODELS.crown.felt_more
WARMER, DEEPEST_FELT = MODELS.crown.warmer, MODELS.crown.deepest_felt
#: Days whose mean the crown follows.
FOLLOWED = MODELS.crown.followed

#: Keys in ``data/sources.toml``.
SOURCES = (LEAST_FELT.source,)

#: What no source gives about the crown, for the reader.
ASSUMPTIONS = (
    f"Crowns follow the mean of the last {FOLLOWED.value:.0f} days; frozen ground is not warmer than freezing.",
)


def felt_share(snow_mm: ArrayLike) -> Array:
    """Share of the cold of the air that is felt below so much snow, shape of the depths [mm]."""
    depth = np.fmax(np.asarray(snow_mm, dtype=np.float64), 0.0)
    missing = np.maximum(DEEPEST_FELT.value - depth, 0.0) / 10.0  # the relation counts in centimetres
    return np.asarray(LEAST_FELT.value + FELT_MORE.value * missing**2)


def crown_temperature(tmean: ArrayLike, snow_mm: ArrayLike = 0.0) -> Array:
    """Daily temperature at the crowns, some 2 cm below the ground.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean of the air [degC].
    snow_mm : array_like, shape (..., day)
        Depth of the snow [mm]; NaN counts as none.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [degC]; that of the air, averaged, where it does not freeze.  NaN where one of the last days is not known.
    """
    return crown_under(tmean, felt_share(snow_mm))


def crown_under(tmean: ArrayLike, share: Array) -> Array:
    """The same for a share of the cold that is felt (:func:`felt_share`)."""
    air = np.asarray(tmean, dtype=np.float64)
    length, days = round(FOLLOWED.value), air.shape[-1]
    mean = air.copy()
    for earlier in range(1, length):  # the first days have fewer before them
        mean[..., earlier:] += air[..., :-earlier]
    mean /= np.minimum(np.arange(days) + 1.0, length)
    frozen = np.minimum(WARMER.value + mean * share, 0.0)
    return np.where(mean < 0, frozen, mean)
