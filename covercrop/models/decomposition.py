"""When residue no longer stands in the way of seed, and the nitrogen that it has let go by each day.

Three published models of decay (:mod:`covercrop.models.decay`) are followed side by side, each for itself.  Cold,
drought and too little nitrogen slow all of a residue alike, so what is left depends only on the *effective days* since
the ending: the sum of the daily product of the factors.  That sum is taken once a model, and every question becomes a
threshold on it.  The cases are what the three come to: ``slow`` the last of them, ``likely`` the middle one, ``fast``
the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.models.decay import (
    RATES,
    SINGLE_RATE,
    carbon_nitrogen_factor,
    daily_decay,
    fractions,
    mass_left,
    single_left,
)
from covercrop.models.degree_days import accumulate, crossing
from covercrop.models.members import EIGHTY
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.traits import Residue


CASES = ("slow", "likely", "fast")

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


#: Ages at which the days until the ground is clear are worked out; between two of them they go in a straight line.
_AGES = tuple(np.linspace(0.0, 1.0, 5).tolist())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Maturity:
    """How far a plant has come when it is ended, in every member; after (place,) where there are several.

    Attributes
    ----------
    age : numpy.ndarray, shape (year, draw), or () for all alike
        0 up to full bloom, 1 once its seed is ripe.
    carbon_nitrogen : numpy.ndarray, of a shape that goes with it
        C:N ratio; 0 for one that never wants for nitrogen.
    """

    age: Array
    carbon_nitrogen: Array

    @classmethod
    def together(cls, places: Sequence[Maturity]) -> Maturity:
        """That of several places, one after the other, or of the one that there is."""
        if len(places) == 1:
            return places[0]
        return cls(
            age=np.stack([each.age for each in places]),
            carbon_nitrogen=np.stack([each.carbon_nitrogen for each in places]),
        )

    def at(self, place: int) -> Maturity:
        """That of one of several places."""
        if self.age.ndim == 0:
            return self
        return Maturity(age=self.age[place], carbon_nitrogen=self.carbon_nitrogen[place])

    def middle(self) -> Maturity:
        """The mean over the draws, whose axis is kept."""
        age, ratio = (np.atleast_1d(each).mean(axis=-1, keepdims=True) for each in (self.age, self.carbon_nitrogen))
        return Maturity(age=age, carbon_nitrogen=ratio)


#: Up to full bloom, with nitrogen enough.
YOUNG = Maturity(age=np.zeros(()), carbon_nitrogen=np.zeros(()))


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


#: The same of one pool [d].
SINGLE_TO_CLEAR = float(-np.log(MASS_CLEAR) / SINGLE_RATE)


def residue_clear(
    soil_c: ArrayLike,
    start: ArrayLike,
    residue: Residue,
    *,
    maturity: Maturity = YOUNG,
    pace: ArrayLike = 1.0,
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
        Day index of the ending, which itself does not count.
    residue : Residue
        What was ended.
    maturity : Maturity, of arrays (..., k), optional
        How far it had come; young, with nitrogen enough, by default.
    pace : array_like, shape (..., k), optional
        Share of the full rate on all days (:func:`surface_pace`); 1 by default.
    draw : array_like, shape (..., k), optional
        Standard normal: 0 is the likely case, :data:`CASE_DRAW` the fast and
        minus that the slow one; between and beyond them the date is drawn
        out in a straight line.
    clear_draw : array_like, shape (..., k), optional
        Standard normal of what may be left when the ground counts as clear; above 0 more has to go first.
    soil_error : array_like, shape (..., k), optional
        Added to the soil temperature on all days [K]; drawn out from a kelvin up and down.
    moisture : array_like, shape (..., day), optional
        Share of the full rate that water allows; 1 by default.

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where it is not reached.

    Notes
    -----
    The days from the ending to the date go with the effective days that are needed, for what differs among members:
    age, C:N, ``pace`` and ``clear_draw``.
    """
    side = np.asarray(draw, dtype=np.float64) / CASE_DRAW
    error, more = (np.asarray(value, dtype=np.float64) for value in (soil_error, clear_draw))
    pooled, whole = _longer(residue, maturity, pace)
    ended = np.asarray(start, dtype=np.float64)
    if any(each.ndim for each in (side, error, more, pooled, whole)):
        ended = np.atleast_1d(ended)
    counted = np.maximum(ended, -1.0)  # before the first day there is nothing to count
    need = days_to_clear(tuple(fractions(residue).tolist()))
    soil, water = np.asarray(soil_c, dtype=np.float64), np.asarray(moisture, dtype=np.float64)
    # What lies before the ending plays no part.
    skipped = max(int(np.min(ended + 1, initial=soil.shape[-1], where=~np.isnan(ended))), 0)

    shifts = np.array([0.0, -1.0, 1.0] if np.any(error) else [0.0]).reshape(-1, *[1] * soil.ndim)
    needs = np.array([need, need, SINGLE_TO_CLEAR]).reshape(3, *[1] * (soil.ndim + 1))

    def waits(count: int) -> Array:
        """Days of a young plant by each model, for each shift of the soil [K]; what is never reached is after all."""
        until = slice(skipped, skipped + count)
        linear, quadratic, single = daily_decay(soil[..., until] + shifts, water[..., until] if water.ndim else water)
        single = -np.log1p(-SINGLE_RATE * single) / SINGLE_RATE  # each day takes its share of what is left
        day = crossing(accumulate(np.stack([linear, quadratic, single])), needs, counted + 1 - skipped) + skipped
        waited = (day if ended.ndim else day[..., 0]) - counted
        return np.where(np.isnan(waited), np.inf, waited)

    # Most of it is gone within a season; the rest of the days is looked at only where it is not.
    found = waits(SOON)
    if np.isinf(found).any():
        found = waits(soil.shape[-1])
    longer, shorter = np.maximum(found[0], found[1]) * pooled, np.minimum(found[0], found[1]) * pooled
    single = found[2] * whole
    likely, *shifted = np.maximum(shorter, np.minimum(longer, single))
    wait = likely
    with np.errstate(invalid="ignore"):  # a case that is never reached says nothing of the likely one
        if np.any(side):
            slow, fast = np.maximum(longer[0], single[0]), np.minimum(shorter[0], single[0])
            wait = wait + _towards(slow, likely, fast, side)
        if np.any(error):
            colder, warmer = shifted
            wait = wait + _towards(colder, likely, warmer, error)
        wait = wait * np.maximum(1 + CLEAR_SPREAD * more, LEAST_SHARE)
    wait = np.where(np.isfinite(wait), wait, np.nan)
    spread = np.zeros(np.broadcast_shapes(side.shape, error.shape, more.shape))
    return np.asarray(np.maximum(np.ceil(counted + wait - 1e-9), np.ceil(counted) + 1) + spread)


def _longer(residue: Residue, maturity: Maturity, pace: ArrayLike) -> tuple[Array, Array]:
    """By what the days of a young plant until the ground is clear are multiplied, for pools and for one pool."""
    needs = [days_to_clear(tuple(fractions(residue, age).tolist())) for age in _AGES]
    slowed = carbon_nitrogen_factor(maturity.carbon_nitrogen) * np.asarray(pace, dtype=np.float64)
    return np.interp(maturity.age, _AGES, needs) / needs[0] / slowed, 1.0 / slowed


def _towards(below: Array, middle: Array, above: Array, by: Array) -> Array:
    """The way from the middle case to one of two others, drawn out by a share of it."""
    return np.where(by == 0, 0.0, np.where(by < 0, middle - below, above - middle) * by)


def nitrogen_released(
    soil_c: ArrayLike,
    start: ArrayLike,
    residue: Residue,
    *,
    maturity: Maturity = YOUNG,
    moisture: ArrayLike = 1.0,
) -> Array:
    """Share of the plant-available nitrogen released by each day, after each of the three models.

    Follows the share of the residue that has decomposed.  Warm soil
    releases so; below about 15 degC ammonium comes with a lag that no
    published number fits, so early figures from cold soil are too high.

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    start : array_like, shape (...)
        Day index of the ending.
    residue : Residue
    maturity : Maturity, of arrays (..., 1), optional
        How far it had come; young, with nitrogen enough, by default.
    moisture : array_like, shape (..., day), optional
        Share of the full rate that water allows; 1 by default.

    Returns
    -------
    numpy.ndarray, shape (3, ..., day)
        0 until it is ended, then rising towards 1; NaN where not known.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    ended = np.asarray(start, dtype=np.float64)[..., np.newaxis]
    slowed = carbon_nitrogen_factor(maturity.carbon_nitrogen)
    since = np.where(np.arange(soil.shape[-1]) > ended, 1.0, 0.0) * slowed * np.asarray(moisture)
    linear, quadratic, single = daily_decay(soil, since)
    pools = fractions(residue, maturity.age)
    left = np.stack(
        [mass_left(accumulate(linear), pools), mass_left(accumulate(quadratic), pools), single_left(single)]
    )
    return np.where(np.isnan(ended), np.nan, 1.0 - left)


def case_of(released: Array, case: str) -> Array:
    """What the slow, the likely or the fast one of the three models has released by each day.

    Parameters
    ----------
    released : numpy.ndarray, shape (3, ..., day)
        From :func:`nitrogen_released`, or of a season.
    case : str
        One of :data:`CASES`.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Least, middle or most of the three on that day.

    Raises
    ------
    UnknownNameError
        If there is no such case.
    """
    if case not in CASES:
        raise UnknownNameError("decomposition case", case, CASES)
    return np.asarray(np.sort(released, axis=0)[CASES.index(case)])


def of_the_season(released: Array, end: ArrayLike) -> Array:
    """Of what is released by the end of a season, the share that is by each day.

    What is said to become available is what a crop can have in its season, so that what comes after it, and for years
    to come, is no part of the whole.

    Parameters
    ----------
    released : numpy.ndarray, shape (..., day)
        From :func:`nitrogen_released`.
    end : array_like, of the shape before the days, or the last part of it
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
