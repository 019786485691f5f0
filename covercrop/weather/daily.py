"""The weather table: one row a day, no holes, each value with its origin and its fault.

Readings come in as they were read; out comes a gapless calendar.  What
cannot be true is flagged and taken out, short gaps are filled and say so, and
long ones stay empty.  Rain and snow are never invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covercrop.base.errors import StationError, WeatherFileError
from covercrop.base.records import DailyWeather
from covercrop.weather.gaps import fill_gaps, fill_notes
from covercrop.weather.one_unit import check_stretches, check_unit
from covercrop.weather.quality import (
    AMOUNTS,
    FLAGS,
    TEMPERATURES,
    Values,
    Words,
    calendar_days,
    check_left,
    faults_found,
    flag_notes,
    merge_duplicates,
    runs,
    take_out_faults,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from covercrop.base.records import Station, Units

#: Fall of temperature with height [K/m]: International Standard Atmosphere, ISO 2533.
LAPSE_RATE = 0.0065
#: A height difference below this changes a temperature by less than 0.1 K [m].
LEAST_CLIMB = 15.0
#: Above this a mean lapse rate says little about frost in a valley [m].
MOST_CLIMB = 1000.0

#: Days that two records must share before one is adjusted to the other, and
#: days of one calendar month before that month has a difference of its own.
FEWEST_SHARED, FEWEST_SHARED_IN_MONTH = 30, 10
#: Two places that can stand for each other do not differ by more than this [K].
MOST_DIFFERENCE = 12.0

#: What a frame of readings may hold.
COLUMNS = (*TEMPERATURES, *AMOUNTS, "forecast", "flag")

_ORIGINS = ("observed", "forecast", "filled", "climatology", "missing")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagCount:
    """How often one fault was found, and where first."""

    flag: str
    days: int
    first: tuple[np.datetime64, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherSummary:
    """What a weather record holds.

    Attributes
    ----------
    first, last : numpy.datetime64[D]
    days : int
    shares : dict of str to float
        Share of the days by origin; sums to 1.
    flags : tuple of FlagCount
        With the first three days of each.
    longest_gap : tuple of two numpy.datetime64[D], or None
        First and last day of the longest run without readings.
    """

    first: np.datetime64
    last: np.datetime64
    days: int
    shares: dict[str, float]
    flags: tuple[FlagCount, ...]
    longest_gap: tuple[np.datetime64, np.datetime64] | None


def daily_weather(
    frame: pd.DataFrame,
    *,
    stations: Iterable[Station] = (),
    attribution: str = "",
    retrieved: str = "",
    where: str = "",
    units: Units = "metric",
    sensor: bool = True,
) -> DailyWeather:
    """A checked, gapless record from readings of one place; ``covercrop weather`` shows what it holds.

    Parameters
    ----------
    frame : pandas.DataFrame
        Indexed by day, without a time zone, in any order.  Columns
        ``tmin_c``, ``tmax_c`` [degC], and where known ``prcp_mm`` and
        ``snow_depth_mm``, the snow on the ground [mm], ``forecast`` (bool)
        and ``flag`` (a fault found before, empty for none); any other is refused.
    stations, attribution, retrieved
        As in :class:`~covercrop.base.records.DailyWeather`.
    where : str
        Name of the record for messages, such as the file.
    units : {"metric", "us"}
        Units in which the values were declared before they became metric:
        the check that they can be true needs it, and messages show them so.
    sensor : bool
        Whether the values are those of a thermometer; those of a worked
        example are taken as they are, repeated or far from the usual.

    Returns
    -------
    DailyWeather
        Its table has every day from the first to the last of the frame.

    Raises
    ------
    WeatherFileError
        If a column is missing, not known, stands twice or holds what is no
        number, or the index holds no days; if there is no reading, a day stands twice with different values, the
        numbers cannot be in the declared unit or not all in one, or less than
        half of them is left without the faults.
    """
    prefix = f"{where}: " if where else ""
    _check_frame(frame, prefix)
    if frame.empty or not frame[list(TEMPERATURES)].notna().any(axis=None):
        raise WeatherFileError(
            f"{prefix}no temperatures in it; give a record with a minimum and a maximum for each day"
        )
    readings = pd.DataFrame(
        {
            name: frame[name].to_numpy(np.float64, copy=True, na_value=np.nan)
            for name in (*TEMPERATURES, *AMOUNTS)
            if name in frame
        },
        index=pd.DatetimeIndex(frame.index).normalize().rename("date"),
    )
    for name in AMOUNTS:
        if name not in readings:
            readings[name] = np.nan
    readings["forecast"] = frame["forecast"].to_numpy(bool) if "forecast" in frame else False
    readings["flag"] = frame["flag"].to_numpy(object) if "flag" in frame else ""
    readings, twice = merge_duplicates(readings, units, prefix)

    calendar = pd.date_range(readings.index[0], readings.index[-1], name="date")
    days = calendar.to_numpy().astype("datetime64[D]")
    place = (readings.index.to_numpy().astype("datetime64[D]") - days[0]).astype(np.int64)
    values = np.full((4, len(days)), np.nan)
    values[:, place] = readings[[*TEMPERATURES, *AMOUNTS]].to_numpy().T
    forecast = np.zeros(len(days), dtype=bool)
    forecast[place] = readings["forecast"].to_numpy()
    flag = np.full(len(days), "missing", dtype=object)
    flag[place] = readings["flag"].to_numpy(object)
    flag[calendar.isin(twice) & (flag == "")] = "duplicated"

    check_stretches(days, values[:2], units, prefix)
    check_unit(readings, units, prefix)
    whole = int((~np.isnan(values[:2])).all(axis=0).sum())
    take_out_faults(days, values[:2], values[2:], flag, forecast, sensor=sensor)
    read = ~np.isnan(values[:2]).any(axis=0)
    check_left(list(faults_found(days, flag).values()), int(read.sum()), whole, prefix)
    origin = np.where(read, np.where(forecast, "forecast", "observed"), "missing").astype(object)
    values[:2], origin = fill_gaps(days, values[:2], origin)
    return DailyWeather(
        table=_table(calendar, values, origin, flag),
        stations=tuple(stations),
        attribution=attribution,
        retrieved=retrieved,
        notes=(*flag_notes(days, flag), *fill_notes(days, origin)),
    )


def _check_frame(frame: pd.DataFrame, prefix: str) -> None:
    """Refuse what a record cannot be made of; nothing in a frame is passed over."""
    columns = [str(column) for column in frame.columns]
    for column in columns:
        if column not in COLUMNS:
            near = get_close_matches(column, COLUMNS, n=1)
            way_out = f"did you mean {near[0]!r}?" if near else f"known columns: {', '.join(COLUMNS)}"
            raise WeatherFileError(f"{prefix}unknown column {column!r} in `frame`; {way_out}")
        if columns.count(column) > 1:
            raise WeatherFileError(f"{prefix}two columns of `frame` are named {column!r}; keep one")
    for column in TEMPERATURES:
        if column not in columns:
            raise WeatherFileError(f"{prefix}no column {column!r} in `frame` (found: {', '.join(columns) or 'none'})")
    if not isinstance(frame.index, pd.DatetimeIndex) or frame.index.hasnans:
        shown = frame.index[0] if len(frame) else "nothing"
        raise WeatherFileError(
            f"{prefix}the index of `frame` holds {shown!r}, which is no day; index it by dates, such as with "
            "set_index and pandas.to_datetime"
        )
    if frame.index.tz is not None:
        raise WeatherFileError(
            f"{prefix}the index of `frame` has the time zone {frame.index.tz}; take it off with tz_localize(None)"
        )
    for column in columns:
        if column not in ("forecast", "flag") and not pd.api.types.is_numeric_dtype(frame[column]):
            raise WeatherFileError(
                f"{prefix}column {column!r} of `frame` holds what is no number; convert it with pandas.to_numeric"
            )


def _table(calendar: pd.DatetimeIndex, values: Values, origin: Words, flag: Words) -> pd.DataFrame:
    words = (pd.Series(column, index=calendar, dtype=object) for column in (origin, flag))
    return pd.DataFrame(
        dict(zip((*TEMPERATURES, *AMOUNTS, "origin", "flag"), (*values, *words), strict=True)), index=calendar
    )


def summary(weather: DailyWeather) -> WeatherSummary:
    """Span, origins, faults and longest gap of a record."""
    days = calendar_days(weather.table)
    origin = weather.table["origin"].to_numpy(object)
    flag = weather.table["flag"].to_numpy(object)
    gaps = runs(~np.isin(origin, ("observed", "forecast")))
    longest = max(gaps, key=lambda gap: gap[1] - gap[0], default=None)
    return WeatherSummary(
        first=days[0],
        last=days[-1],
        days=len(days),
        shares={name: float(np.mean(origin == name)) for name in _ORIGINS},
        flags=tuple(
            FlagCount(flag=name, days=int(np.sum(flag == name)), first=tuple(days[flag == name][:3]))
            for name in FLAGS
            if (flag == name).any()
        ),
        longest_gap=None if longest is None else (days[longest[0]], days[longest[1] - 1]),
    )


def lapse_adjust(weather: DailyWeather, from_elevation: float | None, to_elevation: float | None) -> DailyWeather:
    """A record moved to another height by the standard lapse rate of 6.5 K/km.

    Parameters
    ----------
    weather : DailyWeather
    from_elevation, to_elevation : float or None
        Heights of the station and of the field [m]; with either unknown the
        record stays as it is.

    Returns
    -------
    DailyWeather
        Unchanged below a difference of 15 m; otherwise with a note.

    Raises
    ------
    StationError
        If the two differ by more than 1000 m.

    References
    ----------
    ISO 2533:1975, Standard Atmosphere (the same as ICAO Doc 7488).
    """
    if from_elevation is None or to_elevation is None:
        return weather
    climb = to_elevation - from_elevation
    if abs(climb) < LEAST_CLIMB:
        return weather
    if abs(climb) > MOST_CLIMB:
        raise StationError(
            f"the station stands {abs(climb):.0f} m {'below' if climb > 0 else 'above'} the field, and more than "
            f"{MOST_CLIMB:.0f} m cannot be bridged; name a station nearer in height, or check elevation_m"
        )
    shift = -LAPSE_RATE * climb
    table = weather.table.copy()
    table[list(TEMPERATURES)] += shift
    note = (
        f"temperatures moved by {shift:+.1f} K, because the field lies {abs(climb):.0f} m "
        f"{'above' if climb > 0 else 'below'} the station (6.5 K/km)"
    )
    return replace(weather, table=table, notes=(*weather.notes, note))


def blend(own: DailyWeather, reference: DailyWeather) -> DailyWeather:
    """The grower's record, continued and completed by a station's.

    A reading of one's own comes first, then the station's, then forecasts.
    The station's temperatures are first shifted by the mean difference of
    the two records in each calendar month.

    Parameters
    ----------
    own, reference : DailyWeather

    Returns
    -------
    DailyWeather
        From the first day of either to the last; ``origin`` says what each
        day was where it was read.

    Raises
    ------
    StationError
        If the records differ by more than 12 K on average.
    """
    calendar = own.table.index.union(reference.table.index)
    calendar = pd.date_range(calendar[0], calendar[-1], name="date")
    days = calendar.to_numpy().astype("datetime64[D]")
    mine, my_origin, my_flag = _readings_only(own.table, calendar)
    theirs, their_origin, their_flag = _readings_only(reference.table, calendar)
    shared = (my_origin == "observed") & (their_origin == "observed")
    adjusted = _adjust(theirs[:2], mine[:2], shared, calendar.month.to_numpy())

    take = (my_origin != "observed") & (their_origin == "observed")
    ahead = (my_origin == "missing") & (their_origin == "forecast")
    values, origin, flag = mine.copy(), my_origin.copy(), my_flag.copy()
    values[:2, take | ahead], origin[take | ahead] = theirs[:2, take | ahead], their_origin[take | ahead]
    values[2:] = np.where(np.isnan(mine[2:]), theirs[2:], mine[2:])
    unflagged = (take | ahead) & np.isin(my_flag, ("", "missing"))
    flag[unflagged] = their_flag[unflagged]
    values[:2], origin = fill_gaps(days, values[:2], origin)

    kept = [
        note
        for weather in (own, reference)
        for note in weather.notes
        if note not in fill_notes(calendar_days(weather.table), weather.table["origin"].to_numpy(object))
    ]
    share = f"{int(take.sum())} days come from the station, and {int((my_origin == 'observed').sum())} from the field's"
    return DailyWeather(
        table=_table(calendar, values, origin, flag),
        stations=tuple(dict.fromkeys((*own.stations, *reference.stations))),
        attribution=", ".join(dict.fromkeys(filter(None, (own.attribution, reference.attribution)))),
        retrieved=reference.retrieved or own.retrieved,
        notes=tuple(dict.fromkeys((*kept, f"{share} own record; {adjusted}", *fill_notes(days, origin)))),
    )


def _readings_only(table: pd.DataFrame, calendar: pd.DatetimeIndex) -> tuple[Values, Words, Words]:
    """Values, origin and flag of what was read or forecast, on a longer calendar; the rest is empty again."""
    longer = table.reindex(calendar)
    values = longer.reindex(columns=[*TEMPERATURES, *AMOUNTS]).to_numpy(np.float64).T.copy()
    origin, flag = (longer[name].to_numpy(object).copy() for name in ("origin", "flag"))
    flag[longer["flag"].isna()] = "missing"
    gone = ~np.isin(origin.astype(str), ("observed", "forecast"))
    values[:2, gone] = np.nan
    origin[gone] = "missing"
    return values, origin, flag


def _adjust(other: Values, own: Values, shared: NDArray[np.bool_], month: NDArray[np.int64]) -> str:
    """Shift ``other`` by its mean difference from ``own``, month by month, in place; say what was done."""
    count = int(shared.sum())
    if count < FEWEST_SHARED:
        return f"the station is taken as it is, since the two share only {count} days ({FEWEST_SHARED} are needed)"
    difference = own - other
    mean = difference[:, shared].mean(axis=1)
    worst = mean[np.argmax(np.abs(mean))]
    if abs(worst) > MOST_DIFFERENCE:
        raise StationError(
            f"the field's record is {abs(worst):.0f} K {'warmer' if worst > 0 else 'colder'} than the station on the "
            f"{count} days they share; check the units of the file, or name another station"
        )
    for number in range(1, 13):
        here = month == number
        both = here & shared
        shift = difference[:, both].mean(axis=1) if both.sum() >= FEWEST_SHARED_IN_MONTH else mean
        other[:, here] += shift[:, None]
    return (
        f"the station is shifted by the mean difference of each month over {count} shared days "
        f"(minimum {mean[0]:+.1f} K, maximum {mean[1]:+.1f} K)"
    )
