"""Daily soil temperature at planting depth, from air temperature and what shades the ground.

The default and only model is that of Kätterer and Andrén (2009): a surface
that is warmer than the air where the ground is bare, and a soil that follows
it with a lag of a few days.  It was chosen over a plain step towards the air
mean (Zheng et al. 1993) because it knows the depth of the thermometer and the
leaf area above it, and because bare ground in spring sun is warmer than the
air, which a lag alone can never give.

References
----------
Kätterer, T., Andrén, O. (2009). Acta Agriculturae Scandinavica B 59(1), 77-86.
Zheng, D., Hunt, E.R., Running, S.W. (1993). Climate Research 2, 183-191.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.parameters.constants import MODELS

GROUND_COVERS = ("bare", "straw", "black-plastic")

#: Those, and what a rolled or mown cover leaves.
GROUNDS = (*GROUND_COVERS, "residue")

#: Standard deviation of the predicted temperature [K].
SOIL_ERROR_SD = MODELS.soil.error.value

#: Warming by black plastic [K].
PLASTIC_WARMING = MODELS.soil.plastic.value

#: Leaf area index of a standing cover, and the one that a layer of straw is worth [1].
CANOPY_LEAF_AREA = MODELS.soil.canopy_leaf_area.value
STRAW_LEAF_AREA = MODELS.soil.straw_leaf_area.value

#: Days running that a soil temperature has to hold before seed is trusted to it.
DAYS_HELD = int(MODELS.soil.days_held.value)

#: Days that are summed at a time: over many more, what is left of the first becomes too small a number.
_STRETCH = 700

_LEAF_AREA = {
    "bare": 0.0,
    "straw": STRAW_LEAF_AREA,
    "black-plastic": 0.0,
    "residue": MODELS.soil.residue_leaf_area.value,
}


def surface_temperature(tmean: ArrayLike, leaf_area: ArrayLike) -> Array:
    """Temperature of the soil surface.

    Parameters
    ----------
    tmean : array_like
        Daily mean air temperature [degC].
    leaf_area : array_like
        Leaf area index above the ground [m2/m2]; broadcast against ``tmean``.

    Returns
    -------
    numpy.ndarray
        [degC].

    Notes
    -----
    0.20 T below 0 degC; T (0.95 + 0.05 exp(-0.4 (L - 3))) from 0 degC up
    (Kätterer and Andrén 2009).
    """
    air = np.asarray(tmean, dtype=np.float64)
    bareness = 0.95 + 0.05 * np.exp(-0.4 * (np.asarray(leaf_area, dtype=np.float64) - 3.0))
    return np.where(air < 0.0, 0.20 * air, air * bareness)


def daily_gain(depth_mm: float, leaf_area: ArrayLike) -> Array:
    """Share of the gap to the surface temperature that the soil closes in a day.

    Parameters
    ----------
    depth_mm : float
        Depth [mm].
    leaf_area : array_like
        Leaf area index above the ground [m2/m2].

    Returns
    -------
    numpy.ndarray
        [1/d].

    Notes
    -----
    0.24 exp(-0.017 Z) exp(-0.15 G) with Z = depth / 20 mm and the green area
    index G = L / 0.8 (Kätterer and Andrén 2009).
    """
    green_area = np.asarray(leaf_area, dtype=np.float64) / 0.8
    return np.asarray(0.24 * np.exp(-0.017 * depth_mm / 20.0) * np.exp(-0.15 * green_area))


def soil_temperature(
    tmean: ArrayLike,
    ground_cover: str,
    *,
    canopy_until: ArrayLike | None = None,
    depth_mm: float = 75.0,
) -> Array:
    """Soil temperature of each day.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean air temperature [degC].
    ground_cover : str
        What lies on the ground once the cover is gone; one of
        :data:`GROUNDS`.
    canopy_until : array_like, shape (...), optional
        Day index on which the standing cover is turned under and the ground
        cover laid; NaN where it stands throughout.  Left out, no cover stands.
    depth_mm : float
        Depth [mm]; 75 is the three inches at which growers read a soil
        thermometer.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [degC]; NaN from the first day without an air temperature on.

    Raises
    ------
    UnknownNameError
        If there is no such ground cover.

    Notes
    -----
    The first day is taken to be at its surface temperature; after ten days
    less than a tenth of that guess is left under bare ground.  Error about
    :data:`SOIL_ERROR_SD`; a thermometer is better.
    """
    if ground_cover not in GROUNDS:
        raise UnknownNameError("ground cover", ground_cover, GROUNDS)
    air = np.asarray(tmean, dtype=np.float64)
    if canopy_until is None:
        shaded = np.zeros(air.shape[-1], dtype=np.bool_)
    else:
        turned_under = np.asarray(canopy_until, dtype=np.float64)[..., np.newaxis]
        shaded = ~(np.arange(air.shape[-1]) >= turned_under)  # NaN: shaded throughout
    leaf_area = np.where(shaded, CANOPY_LEAF_AREA, _LEAF_AREA[ground_cover])
    surface = surface_temperature(air, leaf_area)
    soil = _follow(surface, daily_gain(depth_mm, leaf_area))
    if ground_cover == "black-plastic":
        soil += np.where(shaded, 0.0, PLASTIC_WARMING)
    return soil


def _follow(surface: Array, gain: Array) -> Array:
    """What closes each day a share of its gap to the surface, and begins on it.

    With ``k`` the share of yesterday that is left, and ``K`` the product of ``k`` so far, the recurrence is the
    running sum of ``gain * surface / K``, times ``K``.
    """
    soil = gain * surface
    soil[..., :1] = surface[..., :1]
    for begin in range(0, soil.shape[-1], _STRETCH):
        part = soil[..., begin : begin + _STRETCH]
        left = np.cumprod(1.0 - gain[..., begin : begin + _STRETCH], axis=-1)
        if begin:
            part[..., 0] += (1.0 - gain[..., begin]) * soil[..., begin - 1]
        left /= left[..., :1]
        part /= left
        np.cumsum(part, axis=-1, out=part)
        part *= left
    return soil


def held(soil_c: ArrayLike, days: int = DAYS_HELD) -> Array:
    """Temperature that the soil has kept for some days running.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    days : int
        Days running, today included.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Lowest of the last ``days`` days [degC]; NaN where one is not known,
        and on the first ``days - 1`` days.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    lowest = np.full(soil.shape, np.nan)
    if soil.shape[-1] >= days:
        later = soil.shape[-1] - days + 1
        lowest[..., days - 1 :] = soil[..., :later]
        for back in range(1, days):
            np.minimum(lowest[..., days - 1 :], soil[..., back : back + later], out=lowest[..., days - 1 :])
    return lowest
