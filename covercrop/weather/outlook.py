"""The season of one field, in each of the ways it may still go.

What has been observed is the same in every member; forecast rows follow
where there are any, with an error that grows with their lead; the rest is one past year's weather a member.  Nothing
is invented: where there are too few past years, the season ends with its last
known day.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Days, Temperatures
from covercrop.base.days import day_of_year
from covercrop.base.errors import WeatherGapError
from covercrop.weather.forecast_error import forecast_error, lead_sd, lone_forecast_error
from covercrop.weather.record import Record, record_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.base.records import DailyWeather


#: Fewer past years than this give no forecast: an 80 % interval from three
#: or four years would be a show of confidence.
FEWEST_YEARS = 8

#: No more past years than a climatological normal has: older ones are of a
#: cooler time.  At Milwaukee a record of a century put the closing of the
#: window of hairy vetch 5 days too late in February, thirty years 3.
MOST_YEARS = 30

#: So many days before the first are kept too, for what does not start afresh on it: of a guess at the soil temperature
#: before them nothing is left after so many.
LEAD_DAYS = 45

#: A past year counts only if no more than this share of the days that are
#: taken from it is filled from climatology, since filled days are smoother
#: than weather.
MOST_FILLED = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """Daily temperatures of one season, one row a member.

    Attributes
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
        From the day of sowing.
    tmin, tmax : numpy.ndarray, shape (year, day)
        [degC].  With no past years the season ends with the last day that
        is known or forecast; the rows then differ in the error of the
        forecast, or there is one.
    prcp : numpy.ndarray, shape (year, day)
        Rain [mm]; NaN where unknown.
    snow : numpy.ndarray, shape (year, day)
        Depth of the snow on the ground, where it was recorded [mm]; NaN elsewhere.
    known : int
        Number of leading days up to the last observed one.
    observed : numpy.ndarray of bool, shape (known,)
        Which of those were observed; the others were filled.
    forecast : int
        Number of days after those that come from forecast rows, each member
        with its own error (see :mod:`covercrop.weather.forecast_error`).
    years : tuple of int
        Years whose weather completes the season, named by their sowing.
        Empty if there are too few.
    complete : bool
        Whether the season reaches its end, observed or from past years.
    notes : tuple of str
        What the reader should know.
    lead : numpy.ndarray, shape (..., day)
        Daily mean of the days just before the first [degC], the same in all members where it has one axis: as many as
        are known without a break, and no more than :data:`LEAD_DAYS`.
    """

    days: Days
    tmin: Temperatures
    tmax: Temperatures
    prcp: Temperatures
    snow: Temperatures
    known: int
    observed: NDArray[np.bool_]
    forecast: int
    years: tuple[int, ...]
    complete: bool
    notes: tuple[str, ...] = ()
    lead: Temperatures = field(default_factory=lambda: np.empty(0))

    @property
    def tmean(self) -> Temperatures:
        """Daily mean, half of the sum of the extremes [degC]."""
        return (self.tmin + self.tmax) / 2

    @property
    def day_of_year(self) -> Temperatures:
        """Day of the year of each day, 1 on 1 January."""
        return day_of_year(self.days)

    def position(self, day: np.datetime64) -> int:
        """Where a day stands on the day axis, which it may lie beyond."""
        return int((day - self.days[0]).astype(int))

    def dates(self, index: ArrayLike) -> Days:
        """Dates of day indexes; ``NaT`` for NaN."""
        index = np.asarray(index, dtype=np.float64)
        reached = ~np.isnan(index)
        whole = np.where(reached, index, 0).astype(np.int64)
        return np.where(reached, self.days[0] + whole.astype("timedelta64[D]"), np.datetime64("NaT", "D"))


def together(outlooks: Sequence[Outlook]) -> Outlook:
    """Several places in one season, as many years of each, on an axis of their own before those of years and days.

    As many days are known before it of each.  One alone is left as it is.
    """
    first = outlooks[0]
    if len(outlooks) == 1:
        return first
    tmin, tmax, prcp, snow = (
        np.stack([getattr(outlook, name) for outlook in outlooks]) for name in ("tmin", "tmax", "prcp", "snow")
    )
    lead = np.stack([outlook.lead for outlook in outlooks])[:, np.newaxis]
    return replace(first, tmin=tmin, tmax=tmax, prcp=prcp, snow=snow, lead=lead)


def part_of(outlook: Outlook, days: slice) -> Outlook:
    """A stretch of the days of a season, with the days before it as its lead.

    What was known of it and forecast is no longer told apart.
    """
    return replace(
        outlook,
        days=outlook.days[days],
        tmin=outlook.tmin[..., days],
        tmax=outlook.tmax[..., days],
        prcp=outlook.prcp[..., days],
        snow=outlook.snow[..., days],
        lead=outlook.tmean[..., max(days.start - LEAD_DAYS, 0) : days.start],
    )


def years_earlier(days: Days, years: NDArray[np.int64]) -> Days:
    """The same calendar days, so many years before.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
    years : numpy.ndarray of int, shape (year,)

    Returns
    -------
    numpy.ndarray of datetime64[D], shape (year, day)
        29 February becomes the 28th where the other year has none.
    """
    months = days.astype("datetime64[M]")
    day_in_month = (days - months.astype("datetime64[D]")).astype(np.int64)
    month_before = months[None, :] - (12 * years[:, None]).astype("timedelta64[M]")
    first = month_before.astype("datetime64[D]")
    length = ((month_before + np.timedelta64(1, "M")).astype("datetime64[D]") - first).astype(np.int64)
    return first + np.minimum(day_in_month[None, :], length - 1).astype("timedelta64[D]")


def season_outlook(
    weather: DailyWeather | Record, start: np.datetime64, length: int, on: np.datetime64, *, replay: bool = False
) -> Outlook:
    """The season from ``start``, as far as it is known on day ``on`` and as it may go on.

    Parameters
    ----------
    weather : DailyWeather or Record
        Rows after ``on`` are used only if they are forecast rows.
    start : numpy.datetime64[D]
        Day of sowing.
    length : int
        Days of the season.
    on : numpy.datetime64[D]
        Today.
    replay : bool
        Forecast a season that is over: the years after it finish it too, the
        nearest ones first, and nothing that came after ``on`` in the season
        itself is used.

    Returns
    -------
    Outlook

    Raises
    ------
    WeatherGapError
        If the season is not known from its start, or has a gap that may not
        be filled.
    """
    asked = length
    record = weather if isinstance(weather, Record) else record_of(weather)
    begin = record.position(start)
    today = record.position(on)
    last_known = _last_known_day(record, start, today)
    known = last_known - begin + 1
    ahead = 0 if replay else _forecast_days(record, last_known + 1, length - known)
    settled = min(known + ahead, length)

    notes: list[str] = []
    days = start + np.arange(length).astype("timedelta64[D]")
    offsets, rows = _other_years(record, days[settled:], today, replay=replay)
    if rows.shape[1] and offsets.size < FEWEST_YEARS:
        have = f"Only {offsets.size}" if offsets.size else "No"
        notes.append(
            f"{have} complete past years of weather are there, and {FEWEST_YEARS} are needed for a forecast: only "
            "dates already reached are given. Name a station with a longer record."
        )
        offsets, rows, length = offsets[:0], _NO_ROWS, settled
    behind = today - last_known
    if behind > 0:
        without = "taken from past years" if len(offsets) else "not known"
        source = without if not ahead else "forecast" if ahead >= behind else f"partly forecast, partly {without}"
        since = "the day since is" if behind == 1 else f"the {behind} days since are"
        notes.append(f"The last observed day is {record.day(last_known)}; {since} {source}.")

    ahead_error = _forecast_error(record, days[known:settled], offsets)
    if settled > known:
        off = [f"{sd:.1f} °C ({sd * 1.8:.1f} °F)" for sd in lead_sd(settled - known)[[0, -1]]]
        last = f", {off[1]} on the last" if settled > known + 1 else ""
        notes.append(
            f"{settled - known} forecast days are used, to {days[settled - 1]}; their daily mean is taken to be good "
            f"to {off[0]} on the first{last}: these figures are assumed."
        )

    def members(values: Temperatures, error: Temperatures | float = 0.0) -> Temperatures:
        season = np.empty((max(len(offsets), len(ahead_error)), length))
        season[:, :settled] = values[begin : begin + settled]
        season[:, known:settled] += error
        season[:, settled:] = values[rows]
        return season

    return Outlook(
        days=days[:length],
        tmin=members(record.tmin, ahead_error),
        tmax=members(record.tmax, ahead_error),
        prcp=members(record.prcp),
        snow=members(record.snow),
        known=known,
        observed=record.observed[begin : last_known + 1],
        forecast=ahead,
        years=tuple(int(str(start)[:4]) - int(offset) for offset in offsets),
        complete=length == asked,
        notes=tuple(notes),
        lead=lead_of(record, begin),
    )


def past_seasons(weather: DailyWeather, start: np.datetime64, length: int, on: np.datetime64) -> Outlook:
    """A season that has not begun, as past years of the place would have it.

    Parameters
    ----------
    weather : DailyWeather
        Rows after ``on`` are not used.
    start : numpy.datetime64[D]
        Its first day.
    length : int
        Days of the season.
    on : numpy.datetime64[D]
        Today.

    Returns
    -------
    Outlook
        With no known day.

    Raises
    ------
    WeatherGapError
        If there are fewer than :data:`FEWEST_YEARS` whole past seasons.
    """
    record = record_of(weather)
    days = start + np.arange(length).astype("timedelta64[D]")
    offsets, rows = _other_years(record, days, record.position(on), replay=False)
    if offsets.size < FEWEST_YEARS:
        have = f"only {offsets.size}" if offsets.size else "no"
        raise WeatherGapError(
            f"{have} complete past seasons of weather are there, from one summer to the end of the next year, and "
            f"{FEWEST_YEARS} are needed; name a station with a longer record"
        )
    return Outlook(
        days=days,
        tmin=record.tmin[rows],
        tmax=record.tmax[rows],
        prcp=record.prcp[rows],
        snow=record.snow[rows],
        known=0,
        observed=np.zeros(0, dtype=np.bool_),
        forecast=0,
        years=tuple(int(str(start)[:4]) - int(offset) for offset in offsets),
        complete=True,
    )


def lead_of(record: Record, begin: int) -> Temperatures:
    """Daily mean of the days before a row of a record, as :class:`Outlook` has them [degC]."""
    rows = slice(max(begin - LEAD_DAYS, 0), begin)
    unknown = np.flatnonzero(~record.usable[rows] | record.forecast[rows])
    rows = slice(rows.start + (int(unknown[-1]) + 1 if unknown.size else 0), begin)
    return (record.tmin[rows] + record.tmax[rows]) / 2


_NO_ROWS = np.empty((1, 0), dtype=np.int64)


def _last_known_day(record: Record, start: np.datetime64, today: int) -> int:
    """Position of the last observed day, if the season is known up to it."""
    begin = record.position(start)
    if begin < 0:
        raise WeatherGapError(
            f"the weather begins on {record.first}, after sowing on {start}; "
            "give a record that reaches back to sowing, or name a station"
        )
    past = np.flatnonzero(record.observed[: max(today + 1, 0)])
    if past.size == 0 or past[-1] < begin:
        last = record.day(int(past[-1])) if past.size else "never"
        raise WeatherGapError(
            f"no weather since sowing on {start} (last observed day: {last}); bring the record up to date"
        )
    last_known = int(past[-1])
    holes = np.flatnonzero(~record.usable[begin : last_known + 1])
    if holes.size:
        gap = str(record.day(begin + int(holes[0])))
        raise WeatherGapError(
            f"the weather has a gap from {gap} that is too long to fill ({holes.size} days since sowing are missing); "
            "complete the record, or name a station",
            [(gap, str(record.day(begin + int(holes[-1]))))],
        )
    return last_known


def _forecast_days(record: Record, begin: int, most: int) -> int:
    """Number of forecast rows that follow the last observed day without a hole."""
    usable = record.forecast[begin : begin + most] & record.usable[begin : begin + most]
    return int(np.cumprod(usable).sum())


@lru_cache(maxsize=256)
def _rows_of_years(first: np.datetime64, count: int, offsets: tuple[int, ...]) -> NDArray[np.int64]:
    """Days since 1970 of a stretch of days, so many years before; many places share them."""
    rest = first + np.arange(count).astype("timedelta64[D]")
    rows = years_earlier(rest, np.array(offsets)).astype(np.int64)
    rows.setflags(write=False)
    return rows


def _forecast_error(record: Record, days: Days, offsets: NDArray[np.int64]) -> Temperatures:
    """What each member adds to the forecast days: its past year's departure, scaled; one row where there are none."""
    if not days.size:
        return np.zeros((1, 0))
    if not offsets.size:
        return lone_forecast_error(days.size)
    rows = (years_earlier(days, offsets) - record.first).astype(np.int64)
    return forecast_error(np.where(rows >= 0, (record.tmin + record.tmax)[rows] / 2, np.nan))


def _other_years(
    record: Record, rest: Days, today: int, *, replay: bool
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Years complete enough to finish the season, the nearest first: how long ago, and their rows."""
    if not rest.size:
        return np.arange(0), _NO_ROWS
    # The season may lie years after the end of the record, and its first years count too.
    offsets = np.arange(1, max(len(record.tmin), record.position(rest[-1])) // 365 + 2)
    if replay:
        offsets = np.stack((offsets, -offsets), axis=1).ravel()  # a year after it stands as near as one before
    rows = _rows_of_years(rest[0], rest.size, tuple(offsets.tolist())) - int(record.first.astype(np.int64))
    first, last = rows[:, 0], rows[:, -1]
    # Of the season itself nothing after today may come in, whichever year it is read in.
    before, after = last <= today, first > record.position(rest[-1])
    inside = (first >= 0) & (last < len(record.tmin)) & (before | (after & replay))
    offsets, rows = offsets[inside], rows[inside]
    if record.observed.all():  # nothing to look for, in every cell of a region
        return offsets[:MOST_YEARS], rows[:MOST_YEARS]
    complete = (record.usable & ~record.forecast)[rows].all(axis=1)
    weathered = record.filled[rows].mean(axis=1) <= MOST_FILLED
    chosen = np.flatnonzero(complete & weathered)[:MOST_YEARS]
    return offsets[chosen], rows[chosen]
