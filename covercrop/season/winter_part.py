"""What a plan says of the winter: what the stand went through, what protected it or killed it, and when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array, Days
from covercrop.models.crown import crown_temperature

if TYPE_CHECKING:
    from covercrop.parameters.traits import Cover
    from covercrop.season.stand import Stand
    from covercrop.weather.outlook import Outlook

#: Snow thinner than this is none to speak of [mm].
THIN = 10.0
#: A stand that has grown or hardened less than this is called young or soft.
HALF = 0.5
#: Daily mean at which what falls is snow, so many such days tell what a gauge is worth, and the least share of them on
#: which one that catches snow has something.
SURELY_SNOW, DAYS_THAT_TELL, LEAST_CAUGHT = -5.0, 60, 0.02

#: Where the snow is from, where next to none is reckoned with for want of knowledge.
UNKNOWN_SNOW = ("none", "no-catch")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WinterPart:
    """The winter so far, as far as it is known; the day on which the stand came nearest to dying.

    Attributes
    ----------
    snow_from : str
        Where the snow is from: ``measured``, ``worked-out`` from temperature and rain, ``none`` where neither snow nor
        rain is known, or ``no-catch`` where the gauge brings next to nothing on days of frost.
    hardest : numpy.datetime64[D]
        ``NaT`` where no frost was felt.
    snow_mm, felt_c, stands_c : float
        On that day: snow, what the stand felt, and what half of such stands can stand [mm, degC].
    lost : bool
        Whether half or more of such stands died of it.
    cause : str
        Of a loss ``young``, ``soft`` (little hardened), ``bare`` (no snow) or ``cold``, in spite of snow; ``snow``
        where it saved the stand; empty otherwise.
    days : numpy.ndarray of datetime64[D], shape (day,)
    snow, felt, stands : numpy.ndarray, shape (day,)
        The course, day by day [mm, degC]; NaN before the stand is up.
    """

    snow_from: str
    hardest: np.datetime64
    snow_mm: float
    felt_c: float
    stands_c: float
    lost: bool
    cause: str
    days: Days
    snow: Array
    felt: Array
    stands: Array


def winter_part(outlook: Outlook, cover: Cover, stand: Stand, until: int) -> WinterPart:
    """The winter, summed up.

    Parameters
    ----------
    outlook : Outlook
    cover : Cover
    stand : Stand
        Of one place.
    until : int
        Number of days that are looked at: those that are known, and no more than the stand stood.
    """
    part = slice(until)
    snow, felt = stand.snow[0, part], stand.exposed.felt[0, part]
    felt = np.where(np.isfinite(felt), felt, np.nan)
    stands = np.where(np.isnan(felt), np.nan, stand.exposed.stands(cover.winter)[0, part])
    spare = np.where(felt < 0, felt - stands, np.inf)
    day = int(spare.argmin()) if np.isfinite(spare).any() else None
    saved = False
    if day is not None and spare[day] > 0:
        # Of a stand that lived the day is told that it would not have outlived in the open.
        open_ground = np.where(snow >= THIN, crown_temperature(outlook.tmean[0, : snow.size]) - stands, np.nan)
        saved = bool((open_ground <= 0).any())
        day = int(np.nanargmin(open_ground)) if saved else day
    course = (snow, felt, stands, stand.exposed.grown[0, part], stand.exposed.hardened[0, part])
    snow_mm, felt_c, stands_c, grown, hardened = (np.nan if day is None else float(each[day]) for each in course)
    lost = felt_c <= stands_c
    cause = ""
    if lost and grown < HALF:
        cause = "young"
    elif lost and hardened < HALF:
        cause = "soft"
    elif lost:
        cause = "bare" if snow_mm < THIN else "cold"
    elif saved:
        cause = "snow"
    return WinterPart(
        snow_from=snow_from(outlook),
        hardest=np.datetime64("NaT", "D") if day is None else outlook.days[day],
        snow_mm=snow_mm,
        felt_c=felt_c,
        stands_c=stands_c,
        lost=lost,
        cause=cause,
        days=outlook.days[: snow.size],
        snow=snow,
        felt=felt,
        stands=stands,
    )


def snow_from(outlook: Outlook) -> str:
    """Where the snow of a season is from, as :class:`WinterPart` has it."""
    if not np.isnan(outlook.snow).all():
        return "measured"
    if np.isnan(outlook.prcp).all():
        return "none"
    fell = outlook.prcp[(outlook.tmean <= SURELY_SNOW) & ~np.isnan(outlook.prcp)]
    return "no-catch" if fell.size >= DAYS_THAT_TELL and float(np.mean(fell > 0)) < LEAST_CAUGHT else "worked-out"
