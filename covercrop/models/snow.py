"""Snow on the ground, from daily temperature and precipitation where its depth was not measured.

What falls on a cold day lies as new snow, warm days melt it at so many
millimetres of water for each degree, and what lies settles day by day to a
greatest density.  Rain on snow runs through it, wind moves nothing, and a
gauge that catches no snow brings none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.units import in_both
from covercrop.parameters.constants import MODELS

#: Daily means between which precipitation turns from all snow to all rain [degC].
ALL_SNOW, NO_SNOW = MODELS.snow.all_snow, MODELS.snow.no_snow
#: Water that a day melts for each degree above freezing [mm/K/d].
MELT = MODELS.snow.melt
#: Density of new snow, and the greatest that it settles to [t/m3].
NEW, DENSEST = MODELS.snow.new_density, MODELS.snow.densest
#: Share of its depth that snow loses by settling in a day [1/d].
SETTLING = MODELS.snow.settling

#: Keys in ``data/sources.toml``.
SOURCES = (NEW.source,)

#: What no source gives about the snow, for the reader.
ASSUMPTIONS = (
    "Where the depth of the snow was not measured it is worked out from temperature and precipitation: all snow below "
    f"a daily mean of {in_both(ALL_SNOW.value, 'degC')}, all rain above {in_both(NO_SNOW.value, 'degC')}, "
    f"{MELT.value:g} mm of water melted a day for each kelvin, {SETTLING.value:.0%} of the depth lost a day by "
    "settling; fitted to one station and tried at two others.",
)


def snow_depth(tmean: ArrayLike, precipitation: ArrayLike) -> Array:
    """Depth of the snow on the ground at the end of each day, beginning with none.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean of the air [degC]; a day that is not known neither melts nor brings snow.
    precipitation : array_like, shape (..., day)
        Rain, and the water in what snows [mm]; a day that is not known brings none.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [mm].
    """
    air, water = np.broadcast_arrays(np.asarray(tmean, dtype=np.float64), np.asarray(precipitation, dtype=np.float64))
    depth = np.zeros(air.shape)
    share = np.clip((NO_SNOW.value - air) / (NO_SNOW.value - ALL_SNOW.value), 0.0, 1.0)
    fallen = np.nan_to_num(share * water)
    snowy = np.flatnonzero(fallen.any(axis=tuple(range(air.ndim - 1))))
    if not snowy.size:
        return depth
    # The day first, so that each step works on what lies together.
    fallen = np.ascontiguousarray(np.moveaxis(fallen, -1, 0))
    melting = np.ascontiguousarray(np.moveaxis(MELT.value * np.maximum(np.nan_to_num(air), 0.0), -1, 0))
    lying = np.zeros(fallen.shape)  # depth, by day
    packed = np.zeros(fallen.shape[1:])  # water in it
    before = packed
    for day in range(int(snowy[0]), air.shape[-1]):
        whole = packed + fallen[day]
        packed = np.maximum(whole - melting[day], 0.0)
        if day > snowy[-1] and not packed.any():
            break
        left = packed / np.maximum(whole, packed + np.finfo(np.float64).tiny)
        settled = (before * (1.0 - SETTLING.value) + fallen[day] / NEW.value) * left
        before = np.maximum(settled, packed / DENSEST.value, out=lying[day, ...])
    return np.moveaxis(lying, 0, -1)


def lying_snow(measured: Array, tmean: Array, precipitation: Array) -> Array:
    """Depth of the snow as it was measured, and elsewhere as temperature and precipitation have it [mm].

    Parameters
    ----------
    measured : numpy.ndarray, shape (..., day)
        [mm], NaN where it was not.
    tmean, precipitation : numpy.ndarray, shape (..., day)
        [degC, mm], NaN where unknown.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [mm]; none where neither snow nor rain is known.
    """
    unknown = np.isnan(measured)
    if not unknown.any():
        return measured
    if np.isnan(precipitation).all():
        return np.where(unknown, 0.0, measured)
    return np.where(unknown, snow_depth(tmean, precipitation), measured)
