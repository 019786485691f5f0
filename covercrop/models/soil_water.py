"""How wet the ground is where the residue lies, and what that allows of its decay.

Rain goes in, what is above the drained upper limit drains the next day, and
evaporation follows the reference rate of Hargreaves, less as the surface dries
(FAO-56).  Two depths are kept apart, because they dry differently: bare ground
loses water from the top 10 cm only, which then seals what lies below, and the
residue lies in the 20 cm that were turned.  One layer of 15 cm that bears all
evaporation would be dry within a week of any rain, and put the residue date
off by weeks in a moist climate too.

References
----------
Allen, R.G., Pereira, L.S., Raes, D., Smith, M. (1998). Crop evapotranspiration.
    FAO Irrigation and Drainage Paper 56: eq. 20 to 25, 52 and 71 to 77, table 19.
Probert, M.E., et al. (1998). Agricultural Systems 56, 1-28: numbers as later
    work quotes them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.base.units import in_both
from covercrop.parameters.constants import MODELS

#: Water that a loam holds at its drained upper limit, at the lower limit for
#: plants and when it is full [m3/m3].
UPPER_LIMIT = MODELS.water.upper_limit.value
LOWER_LIMIT = MODELS.water.lower_limit.value
SATURATION = MODELS.water.saturation.value

#: Depth that is turned, and depth that evaporation reaches [mm].
TURNED_DEPTH = MODELS.water.turned_depth.value
SURFACE_DEPTH = MODELS.water.surface_depth.value

#: What evaporation can take from the surface in all [mm]: it dries to half of
#: the lower limit (FAO-56, eq. 73).
TOTAL_EVAPORABLE = (UPPER_LIMIT - 0.5 * LOWER_LIMIT) * SURFACE_DEPTH

#: What it takes of that at the full rate [mm].
READILY_EVAPORABLE = MODELS.water.readily_evaporable.value

#: Evaporation from wet bare ground as a multiple of the reference rate.
WET_GROUND = MODELS.water.wet_ground.value

#: Days running whose weather may be unknown before the water is taken to be at the drained upper limit again [d].
UNKNOWN_DAYS = int(MODELS.water.unknown_days.value)

#: Share of a standing cover's water that comes from the turned depth.
ROOT_SHARE = MODELS.water.root_share.value

#: Share of the evaporation of bare ground that is left under each ground cover.
_EVAPORATION_LEFT = {
    "bare": 1.0,
    "straw": MODELS.water.straw_evaporation.value,
    "black-plastic": MODELS.water.plastic_evaporation.value,
    "residue": MODELS.water.straw_evaporation.value,
}

#: Rain that wets through what lies on top [mm], the share of that left a day later [1], and the days to the last of it.
LITTER_FULL = MODELS.water.litter_full.value
LITTER_KEPT = MODELS.water.litter_kept.value
LITTER_DRY = int(MODELS.water.litter_dry.value)

#: The ground can be worked up to this wetness, on the scale of :func:`relative_water` [1].
WORKABLE = 1 + MODELS.water.workable.value

#: Keys in ``data/sources.toml``.
SOURCES = ("allen1998", "probert1998")

#: What no source gives, for the reader of the dates.
ASSUMPTIONS = (
    f"The soil is taken to be a loam, turned {in_both(TURNED_DEPTH, 'mm')} deep and moist on the day of sowing: a sand "
    "dries sooner. The water limits of a loam and the rule of evaporation are those of FAO Irrigation and Drainage "
    "Paper 56, from memory.",
    "Rain is taken to soak in where it falls, and nothing to rise from below or run off.",
    f"A standing cover is taken to draw {ROOT_SHARE:.0%} of its water from the ground that is later turned, "
    f"{MODELS.water.root_share.reason}.",
    "Straw, and a cover that lies as a mulch, is taken to leave "
    f"{MODELS.water.straw_evaporation.value:.0%} of the evaporation and plastic "
    f"{MODELS.water.plastic_evaporation.value:.0%}: {MODELS.water.straw_evaporation.reason}, and "
    f"{MODELS.water.plastic_evaporation.reason.removeprefix('advice, from memory, says ')}; rain is taken to reach "
    "the ground under plastic from the sides.",
)


# --- what the air asks for ------------------------------------------------------------------------


def extraterrestrial_radiation(latitude: ArrayLike, day_of_year: ArrayLike) -> Array:
    """Sunshine of a day above the air.

    Parameters
    ----------
    latitude : array_like
        [degrees], north positive; broadcast against ``day_of_year``.
    day_of_year : array_like
        1 on the first of January.

    Returns
    -------
    numpy.ndarray
        [MJ/m2 a day]; 0 in polar night.

    Notes
    -----
    FAO-56, eq. 21 and 23 to 25; the declination is that of the paper, so that
    its parts agree.
    """
    phi = np.radians(np.asarray(latitude, dtype=np.float64))
    angle = 2.0 * np.pi / 365.0 * np.asarray(day_of_year, dtype=np.float64)
    distance = 1.0 + 0.033 * np.cos(angle)
    declination = 0.409 * np.sin(angle - 1.39)
    sunset = np.arccos(np.clip(-np.tan(phi) * np.tan(declination), -1.0, 1.0))
    height = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(sunset)
    return np.asarray(24.0 * 60.0 / np.pi * 0.0820 * distance * height)


def evapotranspiration(tmin: ArrayLike, tmax: ArrayLike, latitude: ArrayLike, day_of_year: ArrayLike) -> Array:
    """Reference evapotranspiration, what short grass with water enough would use.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., day)
        Daily extremes [degC].
    latitude : array_like
        [degrees], north positive; broadcast against the days.
    day_of_year : array_like, shape (..., day)
        1 on the first of January.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [mm], never below 0.

    Notes
    -----
    0.0023 (T + 17.8) (Tmax - Tmin)**0.5 Ra, with the radiation in the mm of
    water that it evaporates (Hargreaves; FAO-56, eq. 52 and 20).  Made for
    spells of five days or more: single days are rough.
    """
    low, high = (np.asarray(value, dtype=np.float64) for value in (tmin, tmax))
    radiation = 0.408 * extraterrestrial_radiation(latitude, day_of_year)
    daily = 0.0023 * ((low + high) / 2 + 17.8) * np.sqrt(np.maximum(high - low, 0.0)) * radiation
    return np.asarray(np.maximum(daily, 0.0))


# --- what the ground holds ------------------------------------------------------------------------


def relative_water(prcp: ArrayLike, et0: ArrayLike, ground_cover: str, turned: float) -> Array:
    """Water in the ground that is turned, at the end of each day.

    Parameters
    ----------
    prcp : array_like, shape (..., day)
        Daily precipitation [mm].
    et0 : array_like, shape (..., day)
        Reference evapotranspiration [mm].
    ground_cover : str
        What lies on the ground once the cover is gone: ``bare``, ``straw``,
        ``residue`` of a rolled or mown cover or ``black-plastic``.
    turned : float
        Day index on which the standing cover is turned under and the ground
        cover laid; NaN where it stands throughout.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        0 dry, 1 lower limit for plants, 2 drained upper limit, 3 full [1].
        Days whose weather is not known leave the water as it was; where more
        than :data:`UNKNOWN_DAYS` running are not known it is 2, and the count
        begins anew from there: no drought is made up.

    Raises
    ------
    UnknownNameError
        If there is no such ground cover.

    Notes
    -----
    The first day starts at the drained upper limit.  What the full soil cannot
    take is lost.  A standing cover uses the reference rate, :data:`ROOT_SHARE`
    of it from here, down to the lower limit; turning it under mixes the layer.
    """
    if ground_cover not in _EVAPORATION_LEFT:
        raise UnknownNameError("ground cover", ground_cover, tuple(_EVAPORATION_LEFT))
    rain, demand = np.broadcast_arrays(np.asarray(prcp, dtype=np.float64), np.asarray(et0, dtype=np.float64))
    known = ~(np.isnan(rain) | np.isnan(demand))
    days = rain.shape[-1]
    standing = days if np.isnan(turned) else int(np.clip(np.ceil(turned), 0, days))
    rate = np.where(np.arange(days) < standing, ROOT_SHARE, WET_GROUND * _EVAPORATION_LEFT[ground_cover])
    lost = _lost(known)
    below = _depletion(np.where(known, rain, 0.0), np.where(known, rate * demand, 0.0), lost, standing)
    limits = np.array([0.5 * LOWER_LIMIT, LOWER_LIMIT, UPPER_LIMIT, SATURATION])
    return np.interp(-below, (limits - UPPER_LIMIT) * TURNED_DEPTH, (0.0, 1.0, 2.0, 3.0))


def _lost(known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Days that end a run of unknown ones so long that the water has to be guessed anew."""
    day = np.arange(known.shape[-1])
    last_known = np.maximum.accumulate(np.where(known, day, -1), axis=-1)
    return day - last_known > UNKNOWN_DAYS


def _depletion(rain: Array, demand: Array, lost: NDArray[np.bool_], standing: int) -> Array:
    """Water missing to the drained upper limit [mm], below 0 above it, with a cover on the first ``standing`` days.

    It is 0 on the ``lost`` days.
    """
    fullest = (UPPER_LIMIT - SATURATION) * TURNED_DEPTH
    available = (UPPER_LIMIT - LOWER_LIMIT) * TURNED_DEPTH
    falling = np.minimum(demand / (TOTAL_EVAPORABLE - READILY_EVAPORABLE), 1.0)  # eq. 74, and never more than is left
    water, wanted, slope = (np.ascontiguousarray(np.moveaxis(each, -1, 0)) for each in (rain, demand, falling))
    kept = np.moveaxis(np.where(lost, 0.0, 1.0), -1, 0)
    missing = np.empty_like(water)
    members = math.prod(rain.shape[:-1])
    rows = (each.reshape(len(water), members) for each in (water, wanted, slope, kept, missing))
    days = list(zip(*rows, strict=True))
    short, spare = np.zeros((2, members))
    # Hundreds of steps over few members: each writes where its result is wanted, or making arrays would cost the most.
    for drop, want, _, keep, layer in days[:standing]:
        np.maximum(np.subtract(short, drop, out=layer), fullest, out=layer)
        np.add(layer, np.minimum(np.subtract(available, layer, out=spare), want, out=spare), out=layer)
        np.multiply(layer, keep, out=layer)
        np.maximum(layer, 0.0, out=short)  # what is above the limit drains
    surface = short * (SURFACE_DEPTH / TURNED_DEPTH)
    for drop, want, fall, keep, layer in days[standing:]:
        np.maximum(np.subtract(surface, drop, out=surface), 0.0, out=surface)
        evaporated = np.subtract(TOTAL_EVAPORABLE, surface, out=spare)
        evaporated *= fall
        np.minimum(evaporated, want, out=evaporated)
        np.maximum(np.subtract(short, drop, out=layer), fullest, out=layer)
        np.add(layer, evaporated, out=layer)
        np.multiply(layer, keep, out=layer)
        np.maximum(layer, 0.0, out=short)
        surface += evaporated
        np.minimum(surface, short, out=surface)  # free water goes before that of the surface
    return np.moveaxis(missing, 0, -1)


# --- what that allows -----------------------------------------------------------------------------


def moisture_factor(water: ArrayLike) -> Array:
    """Share of the full rate of decay that soil water allows.

    Parameters
    ----------
    water : array_like
        Soil water on the scale of :func:`relative_water` [1].

    Returns
    -------
    numpy.ndarray
        [1].

    Notes
    -----
    Straight lines through 0, 0, 1, 1 and 0.5 at 0, 1, 1.5, 2 and 3 (Probert
    et al. 1998).
    """
    wetness = np.asarray(water, dtype=np.float64)
    return np.asarray(np.interp(wetness, (0.0, 1.0, 1.5, 2.0, 3.0), (0.0, 0.0, 1.0, 1.0, 0.5)))


def moisture(
    prcp: ArrayLike,
    tmin: ArrayLike,
    tmax: ArrayLike,
    latitude: ArrayLike,
    day_of_year: ArrayLike,
    ground_cover: str,
    turned: float,
) -> Array:
    """Share of the full rate of decay that the weather's soil water allows on each day.

    Takes what :func:`evapotranspiration` and :func:`relative_water` take.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [1]; 1 throughout where no rain is known.
    """
    demand = evapotranspiration(tmin, tmax, latitude, day_of_year)
    return moisture_factor(relative_water(prcp, demand, ground_cover, turned))


def litter_moisture(prcp: ArrayLike) -> Array:
    """Share of the full rate of decay that the rain allows which residue on top of the ground still holds.

    Parameters
    ----------
    prcp : array_like, shape (..., day)
        Daily precipitation [mm].

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [1]; NaN on days whose rain is not known.

    Notes
    -----
    A rain of :data:`LITTER_FULL` wets it through; :data:`LITTER_KEPT` of what it holds is left a day later, and nothing
    after :data:`LITTER_DRY` days without rain.
    """
    rain = np.asarray(prcp, dtype=np.float64)
    fallen = np.where(np.isnan(rain), 0.0, rain) / LITTER_FULL
    wet = np.moveaxis(np.empty_like(fallen), -1, 0)
    held, dry = np.zeros((2, *rain.shape[:-1]))
    for day, gained in enumerate(np.moveaxis(fallen, -1, 0)):
        dry = np.where(gained > 0, 0.0, dry + 1)
        held = np.where(dry < LITTER_DRY, np.minimum(gained + LITTER_KEPT * held, 1.0), 0.0)
        wet[day] = held
    return np.where(np.isnan(rain), np.nan, np.moveaxis(wet, 0, -1))
