"""Dates of many places side by side: each is the day of its own season, whatever year that was.

The season of a place is the last that can begin in its record, so that two
records that end in different years have dates of different years.  What can be
compared is where in the season they lie.  A season goes over the new year, and
may begin on either side of it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.region.results import dates_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.region.results import Arrays


#: Places so many times as far out as this share of all are drawn at the edge of a map.
FAR, MOST = 3.0, 0.75

#: Days of the years that are counted in: 29 February is the 28th in them.
YEAR = 365


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A date over many places.

    Attributes
    ----------
    first, middle, last : datetime.date or None
        In order of the day of the season, all in the latest of their seasons; None where no place has one.
    count : int
        Places that have one.
    """

    first: dt.date | None
    middle: dt.date | None
    last: dt.date | None
    count: int


def span(arrays: Arrays, name: str, percentile: int) -> Span:
    """A date over the places that have it.

    Parameters
    ----------
    arrays : dict of str to numpy.ndarray
        From :func:`covercrop.region.results.together`.
    name : str
        Of the date.
    percentile : int
        Position of the percentile, for a date that is given at several.
    """
    days = np.sort(season_days(arrays, name, percentile).ravel())
    days = days[~np.isnan(days)]
    if not days.size:
        return Span(first=None, middle=None, last=None, count=0)
    year = int(_begins(arrays["sowing"][~np.isnat(arrays["sowing"])]).max())
    first, middle, last = (_date(int(days[at]), year) for at in (0, days.size // 2, -1))
    return Span(first=first, middle=middle, last=last, count=int(days.size))


def season_days(arrays: Arrays, name: str, percentile: int) -> Array:
    """Days of 365-day years since the 1 January before the season, or that it begins on, in the shape of space.

    NaN where there is no date.  Takes what :func:`span` does.
    """
    sowing = arrays["sowing"]
    dates = sowing if name == "sowing" else dates_of(arrays, name)
    if dates.ndim > sowing.ndim:
        dates = dates[percentile]
    known = ~np.isnat(dates)
    found = np.full(dates.shape, np.nan)
    if known.any():
        year, day = _year_and_day(dates[known])
        begins = np.zeros(dates.shape, dtype=np.int64)
        sown = ~np.isnat(sowing)
        begins[sown] = _begins(sowing[sown])
        found[known] = YEAR * (year - begins[known]) + day
    return found


def would_not_ripen(arrays: Arrays, percentile: int) -> NDArray[np.bool_]:
    """Where the crop is likely not to ripen, in the shape of space: it could be planted after its last day, or never.

    Takes what :func:`span` does.  A place without an autumn frost has no last day, and ripens.
    """
    earliest, latest = (arrays[name][percentile] for name in ("earliest_planting", "latest_planting"))
    answered = arrays["status"] == 0
    return np.asarray(answered & ~np.isnan(latest) & ~(earliest <= latest))


def far_off(latitude: Array, longitude: Array) -> NDArray[np.bool_]:
    """Which of some places lie so far from the others that a map of all would show nothing of these.

    Parameters
    ----------
    latitude, longitude : numpy.ndarray, shape (place,)
        [degrees].

    Returns
    -------
    numpy.ndarray of bool, shape (place,)
        Those more than :data:`FAR` times as far from the middle as three quarters of all.
    """
    middle = np.nanmedian(longitude)
    east = ((longitude - middle + 180) % 360 - 180) * np.cos(np.radians(np.nanmedian(latitude)))
    away = np.hypot(latitude - np.nanmedian(latitude), east - np.nanmedian(east))
    return np.asarray(away > FAR * np.nanquantile(away, MOST))


def middle_percentile(percentiles: Sequence[float]) -> int:
    """Position of the percentile that is nearest to the middle."""
    return int(np.abs(np.array(percentiles) - 50).argmin())


def day_and_month(day: float) -> dt.date:
    """A day that :func:`season_days` counts, in a year that says nothing."""
    return dt.date(2001, 1, 1) + dt.timedelta(days=int(day) % YEAR)


def _date(day: int, year: int) -> dt.date:
    return day_and_month(day).replace(year=year + day // YEAR)


def _begins(sowing: Days) -> NDArray[np.int64]:
    """The year that each season is counted from, so that sowings on both sides of a new year are of one season."""
    year, day = _year_and_day(sowing)
    sown = np.unique(day)
    # The year of sowing ends in the longest stretch of the calendar in which nothing is sown.
    idle = np.diff(np.append(sown, sown[0] + YEAR))
    turn = sown[(int(idle.argmax()) + 1) % sown.size]
    begins: NDArray[np.int64] = np.where(day < turn, year - 1, year)
    return begins


def _year_and_day(dates: Days) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Year, and day of it from 0 to 364."""
    years = dates.astype("datetime64[Y]")
    start, end = (each.astype("datetime64[D]") for each in (years, years + np.timedelta64(1, "Y")))
    day = (dates.astype("datetime64[D]") - start).astype(np.int64)
    leap = (end - start).astype(np.int64) > YEAR
    return years.astype(np.int64) + 1970, day - (leap & (day >= 59))
