"""From daily temperatures to the stages of a cover: emergence, bloom, seed.

Three clocks run one after another.

1. Sowing to emergence: degree-days of the bare soil around the seed (:func:`emergence`).
2. Emergence to 25 % bloom: on each day the warmth above a base, times how far
   the days have lengthened, times how much of its cool spell the plant has had
   (:func:`photothermal_rate`).  Buds, the first flowers and 10 % bloom are
   smaller sums on the same clock.  Growth on warmth alone foretells leaves but
   not flowers: sown in early autumn, crimson clover gathers by November the warmth that a
   later sowing needs until May, and still waits for spring.
3. Temperature alone: from 25 % bloom to 50 % bloom and to the end of bloom,
   and from the first flowers to the first viable seed.  The bloom speaks of the
   median plant, the seed of the earliest one.

The first two are one clock, :func:`bloom_clock`: whoever asks for the day of emergence or for the progress towards
bloom, of a field, a cell, a past season or a dated record, reads it there.

A stage that is reached on a day leaves that day behind it: the next clock
counts from the morning after.

References
----------
Keatinge, J.D.H., et al. (1998). Effects of temperature and photoperiod on
    phenology as a guide to the selection of annual legume cover and green
    manure crops for hillside farming systems. Field Crops Research 57,
    139-152. doi:10.1016/S0378-4290(97)00122-6 (day length up to flowering,
    temperature alone from flower to pod)
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.degree_days import accumulate, crossing
from covercrop.models.members import LATE, student
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.traits import Bloom, Cover


#: A day with a mean in this range [degC], bounds left out, is a cool day.
COOL_RANGE = (MODELS.bloom.cool_above.value, MODELS.bloom.cool_below.value)

#: Depth of the seed at which the soil is taken for emergence [mm].
SEED_DEPTH = MODELS.sowing.depth.value

#: Days from sowing within which the stages, and the seed, are first looked for.
SOON, SOON_UP = 310, 60  # speed only: all days are looked at where these do not do

#: Degrees of freedom of the spread among places.
FREEDOM = MODELS.bloom.freedom.value

#: Half of an interval of 80 % in standard deviations.
EIGHTY_PERCENT = NormalDist().inv_cdf(LATE)

#: No draw of the sum to bloom, or of that to ripe seed, is less than this share of it.
LEAST_REQUIREMENT = 0.35
LEAST_SEED = 0.3

#: The soil is followed from so many days before sowing, where they are known: nothing is left then of its first guess.
SOIL_DAYS = 45


# --- the stages -----------------------------------------------------------------------------------


def thermal_rate(tmean: ArrayLike, bloom: Bloom) -> Array:
    """Warmth of each day: the daily mean above the base, level beyond the optimum.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean temperature [degC].
    bloom : Bloom

    Returns
    -------
    numpy.ndarray, shape (..., day)
        [degC d] gained on each day.
    """
    return np.clip(np.asarray(tmean, dtype=np.float64) - bloom.base.value, 0.0, bloom.optimum.value - bloom.base.value)


def photothermal_rate(tmean: ArrayLike, day_length: ArrayLike, emergence: ArrayLike, bloom: Bloom) -> Array:
    """Progress towards bloom on each day.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean temperature [degC].
    day_length : array_like, shape (day,)
        Sunrise to sunset [h].
    emergence : array_like, shape (...)
        Day index of emergence; NaN where the seed does not come up.
    bloom : Bloom

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Photothermal units [degC d] gained on each day; 0 up to and on the day
        of emergence.

    Notes
    -----
    ``clip(T - Tb, 0, Topt - Tb) * clip((P - P0) / (P1 - P0), 0, 1) * v``, with
    ``v`` the number of cool days (:data:`COOL_RANGE`) since emergence over the
    number that the cover wants, at most 1.  A warmer day never slows the
    clock, except that warming a cool day beyond 10 degC before the cover has
    had all its cool days takes that cool day away.
    """
    tmean = np.asarray(tmean, dtype=np.float64)
    none, full = bloom.day_length_none.value, bloom.day_length_full.value
    gate = np.clip((np.asarray(day_length, dtype=np.float64) - none) / (full - none), 0.0, 1.0)
    emerged = np.asarray(emergence, dtype=np.float64)[..., np.newaxis]
    rate = thermal_rate(tmean, bloom) * gate
    if not bloom.cool_days.value > 0:
        return rate * (np.arange(tmean.shape[-1]) > emerged)
    cool = np.cumsum((tmean > COOL_RANGE[0]) & (tmean < COOL_RANGE[1]), axis=-1, dtype=np.float64)
    # Those since emergence are none before it; with emergence on several axes each step here is over all of them.
    since = cool - _cool_days_before(cool, emerged)
    since /= bloom.cool_days.value
    np.clip(since, 0.0, 1.0, out=since)
    return np.multiply(since, rate, out=since)


def _cool_days_before(cool: Array, emerged: Array) -> Array:
    """Cool days up to and on the day of emergence; infinitely many where the seed does not come up."""
    last = np.minimum(np.floor(emerged), cool.shape[-1] - 1)
    shape = np.broadcast_shapes(cool.shape[:-1], last.shape[:-1])
    place = np.broadcast_to(np.fmax(last, 0).astype(np.intp), (*shape, 1))
    counted = np.take_along_axis(np.broadcast_to(cool, (*shape, cool.shape[-1])), place, axis=-1)
    return np.where(np.isnan(emerged), np.inf, np.where(last >= 0, counted, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BloomClock:
    """From sowing to bloom.

    Attributes
    ----------
    emergence : numpy.ndarray, shape (...)
        Day index on which the seed is up; NaN where it does not come up.
    rate : numpy.ndarray, shape (..., day)
        Photothermal units gained on each day since [degC d].
    """

    emergence: Array
    rate: Array

    @property
    def total(self) -> Array:
        """Running sum of the units, up to and with each day [degC d]."""
        return accumulate(self.rate)


def bloom_clock(
    tmean: ArrayLike,
    day_length: ArrayLike,
    cover: Cover,
    *,
    sowing: ArrayLike = 0.0,
    emerged: ArrayLike | None = None,
) -> BloomClock:
    """When a cover is up, and how far it has come towards its bloom since.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean temperature of the air [degC].
    day_length : array_like, shape (..., day)
        Sunrise to sunset [h].
    cover : Cover
    sowing : array_like, shape (...)
        Day index of sowing; broadcasts with the leading axes of ``tmean``, so that shape (s, 1) with ``tmean``
        (year, day) gives (s, year).
    emerged : array_like, shape (...), optional
        Day index of emergence, where it is known already.

    Returns
    -------
    BloomClock
    """
    up = emergence(tmean, cover, sowing) if emerged is None else np.asarray(emerged, dtype=np.float64)
    return BloomClock(emergence=up, rate=photothermal_rate(tmean, day_length, up, cover.bloom))


def emergence(
    tmean: ArrayLike, cover: Cover, sowing: ArrayLike = 0.0, *, lead: ArrayLike = (), soil_error: ArrayLike = 0.0
) -> Array:
    """Day on which the seed is up: degree-days of the bare soil around it, from the day of sowing on.

    Parameters
    ----------
    tmean : array_like, shape (..., day)
        Daily mean temperature of the air [degC].
    cover : Cover
    sowing : array_like, shape (...)
        Day index of sowing; broadcasts with the leading axes of ``tmean``.
    lead : array_like, shape (..., day)
        The same of the days just before the first, as many as are known; they warm the soil, and nothing grows on them.
    soil_error : array_like, shape () or (k,)
        Added to the soil temperature [K].

    Returns
    -------
    numpy.ndarray, shape (...) or (..., k)
        Day index; NaN where the days given do not bring it up.

    Notes
    -----
    The soil is followed for :data:`SOIL_DAYS` before sowing, or for as many of them as are known, and begins at its
    surface temperature (:func:`covercrop.models.soil_temperature.soil_temperature`).
    """
    air, before = np.asarray(tmean, dtype=np.float64), np.asarray(lead, dtype=np.float64)
    earlier = before.shape[-1]
    air = np.concatenate([np.broadcast_to(before, (*air.shape[:-1], earlier)), air], axis=-1)
    sown = np.maximum(np.asarray(sowing, dtype=np.float64), 0.0) + earlier  # before the first day nothing is sown
    error = np.asarray(soil_error, dtype=np.float64)
    errors = np.atleast_1d(error)
    up = _up_within(air, cover, sown, errors, SOON_UP)
    late = np.isnan(up).any(axis=-1)
    if late.any():
        whole, sowings = np.broadcast_to(air, (*late.shape, air.shape[-1])), np.broadcast_to(sown, late.shape)
        up[late] = _up_within(whole[late], cover, sowings[late], errors, air.shape[-1])
    return (up if error.ndim else up[..., 0]) - earlier


def _up_within(air: Array, cover: Cover, sown: Array, error: Array, days: int) -> Array:
    """Emergence, looked for in so many days from sowing on, shape (..., error)."""
    begin = np.fmax(sown - SOIL_DAYS, 0.0).astype(np.intp)
    length = SOIL_DAYS + days
    if (begin == begin.flat[0]).all():  # speed only: all sown on one day, as nearly always
        after = air[..., begin.flat[0] :][..., :length]
    else:
        shape = np.broadcast_shapes(begin.shape, air.shape[:-1])
        place = np.broadcast_to(begin, shape)[..., np.newaxis] + np.arange(length)
        inside = np.minimum(place, air.shape[-1] - 1)
        after = np.take_along_axis(np.broadcast_to(air, (*shape, air.shape[-1])), inside, axis=-1)
        after = np.where(place < air.shape[-1], after, np.nan)
    soil = soil_temperature(after, "bare", depth_mm=SEED_DEPTH)
    above = soil[..., np.newaxis, :] + (error - cover.emergence.base.value)[:, np.newaxis]
    counted = (sown - begin)[..., np.newaxis, np.newaxis]
    reached = crossing(accumulate(np.maximum(above, 0.0)), np.array([cover.emergence.sum.value]), counted)
    return reached[..., 0] + begin[..., np.newaxis]


def stage_days(
    tmean: ArrayLike,
    day_length: ArrayLike,
    cover: Cover,
    *,
    sowing: ArrayLike = 0.0,
    emerged: ArrayLike | None = None,
    requirement_shift: ArrayLike = 0.0,
    seed_scale: ArrayLike = 1.0,
) -> dict[str, Array]:
    """Day on which each stage is reached.

    Parameters
    ----------
    tmean, day_length, cover, sowing, emerged
        As for :func:`bloom_clock`.
    requirement_shift : array_like, shape (..., k)
        Added to the sum at 25 % bloom [degC d]: a cultivar's offset, a draw of
        the spread, or both.
    seed_scale : array_like, shape (k,)
        Factor on the sum from flower to seed [1].

    Returns
    -------
    dict of str to numpy.ndarray, shape (..., k)
        Keys ``emergence``, ``bud``, ``first_flower``, ``bloom_10``,
        ``bloom_25``, ``bloom_50``, ``end_of_bloom``, ``viable_seed``; NaN
        where a stage is not reached.
    """
    tmean, hours = (np.asarray(value, dtype=np.float64) for value in (tmean, day_length))
    shift = np.atleast_1d(np.asarray(requirement_shift, dtype=np.float64))
    scale = np.atleast_1d(np.asarray(seed_scale, dtype=np.float64))
    sown = np.asarray(sowing, dtype=np.float64)

    up = emergence(tmean, cover, sown) if emerged is None else np.asarray(emerged, dtype=np.float64)
    # Most seasons end within ten months; the rest of the days is looked at only where they do not.
    soon = int(np.max(sown, initial=0.0, where=~np.isnan(sown))) + SOON  # speed only: as above
    days = _stage_days(tmean[..., :soon], hours[..., :soon], cover, up, shift, scale)
    if soon < tmean.shape[-1] and np.isnan(days["viable_seed"] + days["end_of_bloom"]).any():
        days = _stage_days(tmean, hours, cover, up, shift, scale)
    shape = np.broadcast_shapes(*(day.shape for day in days.values()))
    return {stage: np.broadcast_to(day, shape).copy() for stage, day in days.items()}


def _stage_days(
    tmean: Array, day_length: Array, cover: Cover, emerged: Array, shift: Array, scale: Array
) -> dict[str, Array]:
    """The stages that are reached on the days given."""
    clock = bloom_clock(tmean, day_length, cover, emerged=emerged)
    up, progress = emerged[..., np.newaxis], clock.total

    requirement = cover.bloom.requirement.value + shift
    # A plant that blooms on a smaller sum hurries through its buds too, or its buds would come long before its flowers.
    hurry = np.clip(requirement / cover.bloom.requirement.value, 0.0, 1.0)
    early = ("bud", "first_flower", "bloom_10")
    sums = [*(requirement - hurry * getattr(cover.stages, stage).value for stage in early), requirement]
    reached = np.split(crossing(progress, np.concatenate(sums, axis=-1), up + 1), len(sums), axis=-1)
    days = {"emergence": up, **dict(zip((*early, "bloom_25"), reached, strict=True))}

    thermal = accumulate(thermal_rate(tmean, cover.bloom))
    for stage in ("bloom_50", "end_of_bloom"):
        days[stage] = crossing(thermal, getattr(cover.stages, stage).value, days["bloom_25"] + 1)

    ripening = accumulate(np.maximum(tmean - cover.seed.base.value, 0.0))
    to_viable = cover.seed.viable_share.value * cover.seed.flower_to_maturity.value * scale
    days["viable_seed"] = crossing(ripening, to_viable, days["first_flower"] + 1)
    return days


# --- how far cultivars and places differ ----------------------------------------------------------


def requirement_shift_for(offset_days: float, cover: Cover) -> float:
    """A cultivar's published offset in days as a shift of the requirement.

    Parameters
    ----------
    offset_days : float
        Days later (positive) or earlier than the standard cultivar.
    cover : Cover

    Returns
    -------
    float
        [degC d].

    Notes
    -----
    Offsets are published as days, at places and in years of their own.  One
    day is taken as the photothermal units of an average day in the two weeks
    up to 25 % bloom where the cover was calibrated (``cover.bloom.pace``): the
    cultivars then lie so many days apart there, fewer in a warm spring and more
    in a cold one.
    """
    return offset_days * cover.bloom.pace.value


def requirement_spread(cover: Cover, cultivar_known: bool) -> float:
    """Standard deviation of the requirement at a new place.

    Parameters
    ----------
    cover : Cover
    cultivar_known : bool
        If not, the spread among cultivars is added (root of the sum of squares).

    Returns
    -------
    float
        [degC d].
    """
    spread = cover.bloom.spread.value
    return spread if cultivar_known else hypot(spread, cover.bloom.cultivar_spread.value)


def requirement_drawn(cover: Cover, cultivar_known: bool, draw: ArrayLike, offset_days: float = 0.0) -> Array:
    """What is added to the requirement for a cultivar, at a new place and in a new year.

    Parameters
    ----------
    cover : Cover
    cultivar_known : bool
    draw : array_like
        Standard normal.
    offset_days : float
        As for :func:`requirement_shift_for` [d].

    Returns
    -------
    numpy.ndarray
        [degC d], by Student's t: the spread among places was measured at few of them (:data:`FREEDOM`).  That among
        cultivars is no doubt of this kind; the degrees of freedom of both together are those of Welch and
        Satterthwaite.
    """
    spread = requirement_spread(cover, cultivar_known)
    freedom = FREEDOM * (spread / cover.bloom.spread.value) ** 4 if cover.bloom.spread.value else np.inf
    drawn = spread * (student(draw, freedom) if np.isfinite(freedom) else np.asarray(draw, dtype=np.float64))
    shift = requirement_shift_for(offset_days, cover) + drawn
    return np.maximum(shift, (LEAST_REQUIREMENT - 1) * cover.bloom.requirement.value)


def seed_scale(cover: Cover, seed_draw: ArrayLike, share_draw: ArrayLike) -> Array:
    """Factor on the sum from the first flowers to the first viable seed [1].

    Parameters
    ----------
    cover : Cover
    seed_draw, share_draw : array_like
        Standard normal: of the sum to ripe seed, and of the share of it after which the first seed is viable, whose
        printed range is taken to hold eight in ten.
    """
    seed = cover.seed
    share = seed.viable_share
    low, high = (share.value if end is None else end for end in (share.low, share.high))
    share_spread = (high - low) / (2 * EIGHTY_PERCENT) / share.value
    variation = seed.spread.value / seed.flower_to_maturity.value
    sum_, viable = 1 + variation * np.asarray(seed_draw), 1 + share_spread * np.asarray(share_draw)
    return np.asarray(np.maximum(sum_, LEAST_SEED) * viable)
