"""What is left of a cover after it is turned under, and the nitrogen it has let go.

The residue is three pools (carbohydrate, cellulose, lignin), each of which
loses a fixed share a day in warm, moist soil with nitrogen enough (Seligman
and van Keulen 1981).  Cold, drought and too little nitrogen slow all three
alike, so what is left depends only on the *effective days* since turning
under: the sum of the daily product of the factors.  That sum is taken once,
and every question becomes a threshold on it.

Three published temperature factors disagree by up to two times in spring
soils, and they change places as it gets warmer.  The cases are therefore what
the three say of each day: ``slow`` the lowest, ``likely`` the middle, ``fast``
the highest, so that slow is never faster than fast.  From 11 to 20 degC:

=============  ==========  =====================================  =====================
factor         case there  equation                               source
=============  ==========  =====================================  =====================
``sigmoid``    slow        0.1 + 0.9 T / (T + exp(9.93-0.312 T))  Neitsch et al. (2011)
``quadratic``  likely      (T / 32)**2                            Probert et al. (1998)
``linear``     fast        (T - 5) / 30                           Godwin, Jones (1991)
=============  ==========  =====================================  =====================

Each is kept between 0 and 1.  What the soil's water allows comes from
:mod:`covercrop.models.soil_water`; left out, the ground is taken to be moist.

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

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.models.degree_days import accumulate, crossing
from covercrop.models.members import EIGHTY
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.traits import Residue


CASES = ("slow", "likely", "fast")

#: Rate of carbohydrate, cellulose and lignin in warm, moist soil [1/d].
RATES = tuple(
    rate.value for rate in (MODELS.residue.carbohydrate_rate, MODELS.residue.cellulose_rate, MODELS.residue.lignin_rate)
)

#: Pace of what lies on top, as a share of that of what is dug in [1].
SURFACE = MODELS.residue.surface.value

#: Share of the carbohydrates, and of the whole, at or below which the ground
#: is called clear; the first of the two counts.
CARBOHYDRATE_CLEAR = MODELS.residue.carbohydrate_clear.value
MASS_CLEAR = MODELS.residue.mass_clear.value

#: Standard deviation of the effective days until then, as a share of them, and the least share that is drawn.
CLEAR_SPREAD = MODELS.residue.clear_spread.value
LEAST_SHARE = 0.3

#: Days after turning under within which residue is first looked for.
SOON = 100  # speed only: all days are looked at where these do not do

#: Standard normal draw at which the slow and the fast case stand: between
#: them lie 80 % of the members.
CASE_DRAW = EIGHTY


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
    warm = np.clip(soil, 0.0, 60.0)  # far beyond where it has levelled off, and before exp() underflows
    factor = 0.9 * warm / (warm + np.exp(9.93 - 0.312 * warm)) + 0.1
    return np.where(soil <= 0.0, 0.0, np.where(np.isnan(soil), np.nan, np.minimum(factor, 1.0)))


def temperature_factor(soil_c: ArrayLike, case: str = "likely") -> Array:
    """Share of the full rate that the soil temperature allows.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    case : str
        One of :data:`CASES`.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Lowest, middle or highest of the three published factors on that day
        [1].

    Raises
    ------
    UnknownNameError
        If there is no such case.
    """
    if case not in CASES:
        raise UnknownNameError("decomposition case", case, CASES)
    return temperature_factors(soil_c)[case]


def temperature_factors(soil_c: ArrayLike) -> dict[str, Array]:
    """The factor of each case (:func:`temperature_factor`), worked out together."""
    first, second, third = linear_factor(soil_c), quadratic_factor(soil_c), sigmoid_factor(soil_c)
    low, high = np.minimum(first, second), np.maximum(first, second)
    return {
        "slow": np.minimum(low, third),
        "likely": np.maximum(low, np.minimum(high, third)),
        "fast": np.maximum(high, third),
    }


def carbon_nitrogen_factor(carbon_nitrogen: ArrayLike) -> Array:
    """Share of the full rate that the residue's C:N ratio allows [1].

    Notes
    -----
    exp(-0.693 (R - 25) / 25), at most 1 (Neitsch et al. 2011, eq. 3:1.2.5).
    """
    ratio = np.asarray(carbon_nitrogen, dtype=np.float64)
    return np.minimum(1.0, np.exp(-0.693 * (ratio - 25.0) / 25.0))


def effective_days(
    soil_c: ArrayLike, carbon_nitrogen: float, *, case: str = "likely", moisture: ArrayLike = 1.0
) -> Array:
    """Running sum of days' worth of decay at the full rate.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    carbon_nitrogen : float
        C:N ratio of the residue.
    case : str
        One of :data:`CASES`.
    moisture : array_like, shape (..., day), optional
        Share of the full rate that soil water allows
        (:func:`covercrop.models.soil_water.moisture`); 1, moist, by default.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [d]; NaN from the first day without a temperature on.
    """
    daily = temperature_factor(soil_c, case) * np.asarray(moisture, dtype=np.float64)
    return accumulate(daily * carbon_nitrogen_factor(carbon_nitrogen))


# --- pools ----------------------------------------------------------------------------------------


def pools_left(effective: ArrayLike, fractions: Sequence[float]) -> Array:
    """What is left of each pool, as a share of the whole residue.

    Parameters
    ----------
    effective : array_like, shape (...)
        Effective days since turning under [d].
    fractions : sequence of float
        Carbohydrate, cellulose and lignin in the residue as turned under;
        they sum to 1.

    Returns
    -------
    numpy.ndarray, shape (..., 3)
        [1].
    """
    decay = np.exp(-np.multiply.outer(np.asarray(effective, dtype=np.float64), np.array(RATES)))
    return np.asarray(decay * np.asarray(fractions, dtype=np.float64))


def mass_left(effective: ArrayLike, fractions: Sequence[float]) -> Array:
    """What is left of the residue, as a share of its mass when it was turned under [1].

    Takes what :func:`pools_left` takes.
    """
    return np.asarray(pools_left(effective, fractions).sum(axis=-1))


@cache
def days_to_clear(fractions: tuple[float, float, float]) -> float:
    """Effective days until the carbohydrates or the whole are down to where the ground is called clear.

    Parameters
    ----------
    fractions : tuple of float
        Carbohydrate, cellulose and lignin; they sum to 1.

    Returns
    -------
    float
        [d].
    """
    low, high = 0.0, -float(np.log(CARBOHYDRATE_CLEAR)) / RATES[0]
    if float(mass_left(high, fractions)) > MASS_CLEAR:
        return high
    for _ in range(50):
        middle = (low + high) / 2
        if float(mass_left(middle, fractions)) > MASS_CLEAR:
            low = middle
        else:
            high = middle
    return high


def fractions(residue: Residue) -> tuple[float, float, float]:
    """Carbohydrate, cellulose and lignin of a cover's residue."""
    return residue.carbohydrate.value, residue.cellulose.value, residue.lignin.value


def residue_clear(
    soil_c: ArrayLike,
    start: ArrayLike,
    residue: Residue,
    *,
    draw: ArrayLike = 0.0,
    clear_draw: ArrayLike = 0.0,
    soil_error: ArrayLike = 0.0,
    moisture: ArrayLike = 1.0,
) -> Array:
    """Day on which the residue no longer stands in the way of seed.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    start : array_like, shape (..., k)
        Day index of turning under, which itself does not count.
    residue : Residue
        What was turned under.
    draw : array_like, shape (..., k), optional
        Standard normal: 0 is the likely case, :data:`CASE_DRAW` the fast and
        minus that the slow one; between and beyond them the date is drawn
        out in a straight line.
    clear_draw : array_like, shape (..., k), optional
        Standard normal of what may be left when the ground counts as clear; above 0 more has to go first.
    soil_error : array_like, shape (..., k), optional
        Added to the soil temperature on all days [K]; drawn out from a kelvin up and down.
    moisture : array_like, shape (..., day), optional
        Share of the full rate that soil water allows; 1 by default.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where it is not reached.
    """
    side = np.asarray(draw, dtype=np.float64) / CASE_DRAW
    error, more = (np.asarray(value, dtype=np.float64) for value in (soil_error, clear_draw))
    begin = np.asarray(start, dtype=np.float64) + 1
    if side.ndim or error.ndim or more.ndim:
        begin = np.atleast_1d(begin)
    need = days_to_clear(fractions(residue))
    soil, water = np.asarray(soil_c, dtype=np.float64), np.asarray(moisture, dtype=np.float64)
    # What lies before turning under plays no part.
    skipped = max(int(np.min(begin, initial=soil.shape[-1], where=~np.isnan(begin))), 0)
    wanted = ("likely", "slow", "fast") if np.any(side) else ("likely",)

    def days_within(count: int) -> list[Array]:
        until = slice(skipped, skipped + count)
        factors = temperature_factors(soil[..., until])
        other = carbon_nitrogen_factor(residue.carbon_nitrogen.value) * (water[..., until] if water.ndim else water)
        totals = [accumulate(factors[case] * other) for case in wanted]
        if np.any(error):
            shifted = (temperature_factor(soil[..., until] + kelvin) for kelvin in (-1.0, 1.0))
            totals.extend(accumulate(factor * other) for factor in shifted)
        return [np.asarray(crossing(total, need, begin - skipped)) + skipped for total in totals]

    # Most of it is gone within a season; the rest of the days is looked at only where it is not.
    found = days_within(SOON)
    if skipped + SOON < soil.shape[-1] and any(np.isnan(day).any() for day in found):
        found = days_within(soil.shape[-1])
    likely = found[0]
    if not (np.any(side) or np.any(error) or np.any(more)):
        return likely + np.zeros(np.broadcast_shapes(side.shape, error.shape, more.shape))

    def towards(below: Array, above: Array, by: Array) -> Array:
        # A case that is not reached says nothing of the likely one.
        return np.where(by == 0, 0.0, np.where(by < 0, likely - below, above - likely) * by)

    exact = likely
    if np.any(side):
        exact = exact + towards(found[1], found[2], side)
    if np.any(error):
        exact = exact + towards(found[-2], found[-1], error)
    exact = begin + (exact - begin) * np.maximum(1 + CLEAR_SPREAD * more, LEAST_SHARE)
    return np.asarray(np.maximum(np.ceil(exact - 1e-9), begin))


def nitrogen_released(
    soil_c: ArrayLike, start: ArrayLike, residue: Residue, *, case: str = "likely", moisture: ArrayLike = 1.0
) -> Array:
    """Share of the plant-available nitrogen released by each day.

    Follows the share of the residue that has decomposed.  Warm soil
    releases so; below about 15 degC ammonium comes with a lag that no
    published number fits, so early figures from cold soil are too high.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    start : array_like, shape (...)
        Day index of turning under.
    residue : Residue
    case : str
        One of :data:`CASES`.
    moisture : array_like, shape (..., day), optional
        Share of the full rate that soil water allows; 1 by default.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        0 until turned under, then rising towards 1; NaN where not known.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    turned_under = np.asarray(start, dtype=np.float64)[..., np.newaxis]
    buried = np.where(np.arange(soil.shape[-1]) > turned_under, 1.0, 0.0)
    since = effective_days(soil, residue.carbon_nitrogen.value, case=case, moisture=buried * np.asarray(moisture))
    return np.where(np.isnan(turned_under), np.nan, 1.0 - mass_left(since, fractions(residue)))


def of_the_season(released: Array, end: ArrayLike) -> Array:
    """Of what is released by the end of a season, the share that is by each day.

    What is said to become available is what a crop can have in its season, so that what comes after it, and for years
    to come, is no part of the whole.

    Parameters
    ----------
    released : numpy.ndarray, shape (..., day)
        From :func:`nitrogen_released`.
    end : array_like, shape (...)
        Day index of the first day after the season; NaN for the last day that is known.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        From 0 to 1; 0 throughout where nothing is released within the season, NaN where it is not known.
    """
    days = released.shape[-1]
    last = np.clip(np.where(np.isnan(end), days, end), 1, days).astype(np.intp) - 1
    whole = np.take_along_axis(released, np.broadcast_to(last, released.shape[:-1])[..., np.newaxis], axis=-1)
    return np.minimum(released / np.where(whole > 0, whole, np.inf), 1.0)
