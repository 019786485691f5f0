"""How fast residue decays in warm, moist soil: three published models, and the pools that they follow.

Each of the three has the rate constants that its temperature factor was published with:

==================  =================  ===========================================  =====================
model               rates [1/d]        temperature factor                           source
==================  =================  ===========================================  =====================
three pools         0.2, 0.05, 0.0095  (T - 5) / 30                                 Godwin, Jones (1991)
three pools         0.2, 0.05, 0.0095  (T / 32)**2                                  Probert et al. (1998)
one pool            0.05               (0.1 + 0.9 T / (T + exp(9.93-0.312 T)))**.5  Neitsch et al. (2011)
==================  =================  ===========================================  =====================

Each factor is kept between 0 and 1.  They disagree by up to two times in spring soils, and change places as it gets
warmer.  What water allows is one factor for all three (:mod:`covercrop.models.soil_water`), so that they differ in
temperature alone.

The pools (carbohydrate, cellulose, lignin) are those of a young plant up to full bloom; on the way from there to ripe
seed they come to those of straw.

References
----------
Seligman, N.G., van Keulen, H. (1981); Godwin, D.C., Jones, C.A. (1991),
    Agronomy Monograph 31; Probert, M.E., et al. (1998), Agricultural Systems
    56, 1-28: numbers as later work quotes them.
Neitsch, S.L., Arnold, J.G., Kiniry, J.R., Williams, J.R. (2011). Theoretical
    documentation, version 2009, eq. 3:1.2.1 to 3:1.2.8. Texas Water Resources
    Institute.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.members import EIGHTY
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.traits import Residue


#: Rate of carbohydrate, cellulose and lignin in warm, moist soil [1/d].
RATES = tuple(
    rate.value for rate in (MODELS.residue.carbohydrate_rate, MODELS.residue.cellulose_rate, MODELS.residue.lignin_rate)
)

#: Rate of the whole, where it is followed as one pool [1/d].
SINGLE_RATE = MODELS.residue.single_rate.value

#: Carbohydrate, cellulose and lignin of a plant whose seed is ripe [1].
STRAW = tuple(
    part.value
    for part in (MODELS.residue.straw_carbohydrate, MODELS.residue.straw_cellulose, MODELS.residue.straw_lignin)
)

#: C:N ratio above which too little nitrogen slows decay [1].
TIED_FROM = MODELS.residue.tied_from.value

#: Least pace that is drawn for what lies on top.
LEAST_PACE = 0.3


# --- factors --------------------------------------------------------------------------------------


def linear_factor(soil_c: ArrayLike) -> Array:
    """Temperature factor of Godwin and Jones (1991) [1], from the soil temperature [degC]."""
    return np.clip((np.asarray(soil_c, dtype=np.float64) - 5.0) / 30.0, 0.0, 1.0)


def quadratic_factor(soil_c: ArrayLike) -> Array:
    """Temperature factor of Probert et al. (1998) [1], from the soil temperature [degC]."""
    return np.clip(np.asarray(soil_c, dtype=np.float64) / 32.0, 0.0, 1.0) ** 2


def sigmoid_factor(soil_c: ArrayLike) -> Array:
    """Temperature factor of Neitsch et al. (2011), eq. 3:1.2.1 [1], from the soil temperature [degC].

    There is no decay at or below 0 degC.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    return np.where(soil <= 0.0, 0.0, 0.9 * soil / (soil + np.exp(9.93 - 0.312 * soil)) + 0.1)


def carbon_nitrogen_factor(carbon_nitrogen: ArrayLike) -> Array:
    """Share of the full rate that the residue's C:N ratio allows [1].

    Notes
    -----
    exp(-0.693 (R - 25) / 25), at most 1 (Neitsch et al. 2011, eq. 3:1.2.5).
    """
    ratio = np.asarray(carbon_nitrogen, dtype=np.float64)
    return np.minimum(1.0, np.exp(-0.693 * (ratio - TIED_FROM) / TIED_FROM))


def daily_decay(soil_c: ArrayLike, moisture: ArrayLike = 1.0) -> tuple[Array, Array, Array]:
    """Share of its own full rate at which each of the three models has residue decay.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    moisture : array_like, shape (..., day), optional
        Share of the full rate that water allows; 1, moist, by default.

    Returns
    -------
    tuple of three numpy.ndarray, shape (..., day)
        [1], in the order of the table above.
    """
    water = np.asarray(moisture, dtype=np.float64)
    return linear_factor(soil_c) * water, quadratic_factor(soil_c) * water, np.sqrt(sigmoid_factor(soil_c)) * water


def surface_pace(draw: ArrayLike = 0.0) -> Array:
    """Pace of what lies on top, as a share of that of what is dug in, where it is as moist as it usually is.

    Parameters
    ----------
    draw : array_like
        Standard normal; above 0 it rots faster than is likely.

    Returns
    -------
    numpy.ndarray
        [1]; the ends of the printed range hold eight in ten.
    """
    pace, side = MODELS.residue.surface, np.asarray(draw, dtype=np.float64) / EIGHTY
    low, high = (pace.value if end is None else end for end in (pace.low, pace.high))
    drawn = pace.value + np.where(side < 0, (pace.value - low) * side, (high - pace.value) * side)
    return np.maximum(drawn, LEAST_PACE)


def surface_moisture(moist: ArrayLike, rained: ArrayLike, pace: ArrayLike) -> Array:
    """Share of the full rate at which what lies on top decays in the weather.

    Parameters
    ----------
    moist : array_like, shape (..., day)
        What the water of the ground below allows [1].
    rained : array_like, shape (..., day)
        What the rain that it still holds allows (:func:`covercrop.models.soil_water.litter_moisture`) [1]; NaN where no
        rain is known.
    pace : array_like
        From :func:`surface_pace` [1].

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [1]; ``pace`` where no rain is known.

    Notes
    -----
    Rain alone gives too slow a decay, and a surface that is never dry too fast a one.  In seasons of ordinary rain the
    two come to the low end of the printed range and to about 1, so that ``pace`` says how far from the one to the other
    the surface lies; in dry weather both are less.
    """
    low = MODELS.residue.surface.low
    assert low is not None  # the file gives the range
    towards = np.clip((np.asarray(pace) - low) / (1.0 - low), 0.0, 1.0)
    rain = np.asarray(rained, dtype=np.float64)
    return np.where(np.isnan(rain), pace, rain + towards * np.maximum(np.asarray(moist) - rain, 0.0))


# --- pools ----------------------------------------------------------------------------------------


def fractions(residue: Residue, age: ArrayLike = 0.0) -> Array:
    """Carbohydrate, cellulose and lignin of a cover's residue.

    Parameters
    ----------
    residue : Residue
        Of a young plant.
    age : array_like, shape (...)
        As in :class:`Maturity`.

    Returns
    -------
    numpy.ndarray, shape (..., 3)
        They sum to 1.
    """
    young = np.array([part.value for part in (residue.carbohydrate, residue.cellulose, residue.lignin)])
    return np.asarray(young + np.multiply.outer(np.asarray(age, dtype=np.float64), np.array(STRAW) - young))


def pools_left(effective: ArrayLike, fractions: ArrayLike) -> Array:
    """What is left of each pool, as a share of the whole residue.

    Parameters
    ----------
    effective : array_like, shape (...)
        Effective days since the ending [d].
    fractions : array_like, shape (3,) or (..., 3)
        Carbohydrate, cellulose and lignin in the residue when it was ended.

    Returns
    -------
    numpy.ndarray, shape (..., 3)
        [1].
    """
    decay = np.exp(-np.multiply.outer(np.asarray(effective, dtype=np.float64), np.array(RATES)))
    return np.asarray(decay * np.asarray(fractions, dtype=np.float64))


def mass_left(effective: ArrayLike, fractions: ArrayLike) -> Array:
    """What is left of the residue, as a share of its mass when it was ended [1].

    Takes what :func:`pools_left` takes.
    """
    return np.asarray(pools_left(effective, fractions).sum(axis=-1))


def single_left(daily: ArrayLike) -> Array:
    """The same of one pool, from the share of the full rate on each day so far [1], shape (..., day)."""
    return np.asarray(np.cumprod(1.0 - SINGLE_RATE * np.asarray(daily, dtype=np.float64), axis=-1))
