"""The weather of a field, from wherever its entry in the field file says."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.days import date_of
from covercrop.base.errors import OfflineError, UnusableError, WeatherError, WeatherFileError
from covercrop.weather.daily import blend, lapse_adjust
from covercrop.weather.fetching import FORECAST_DAYS
from covercrop.weather.hemisphere import seasons_against
from covercrop.weather.outlook import MOST_YEARS
from covercrop.weather.own_file import read_weather
from covercrop.weather.record import record_of
from covercrop.weather.sharing import SharedWeather
from covercrop.weather.stations import station_weather, weather_at

if TYPE_CHECKING:
    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather, Station, Units
    from covercrop.field.entries import Ground

#: A field lies no further from the station that it names than this [degrees], or it is taken to lie elsewhere.
_SAME_PLACE = 5.0

#: A thermometer east of the machine's clock may be a day ahead.
_DAY = dt.timedelta(days=1)


def _file(path: Path, units: Units, today: dt.date) -> DailyWeather:
    """The record in a file, in which no reading may be from the future."""
    try:
        written = path.stat().st_mtime_ns
    except (OSError, ValueError):
        written = 0  # reading it says what is wrong
    weather = _read(path, units, written)
    record = record_of(weather)
    tomorrow = max(record.position(np.datetime64(today + _DAY)), -1)
    ahead = np.flatnonzero(record.observed[tomorrow + 1 :])
    if ahead.size:
        first = record.day(tomorrow + 1 + int(ahead[0]))
        raise WeatherFileError(
            f"{path.name}: {first} is after {today}, today, and is no forecast row; mend the date, or add "
            "a column kind with forecast in such rows"
        )
    return weather


@lru_cache(maxsize=512)
def _read(path: Path, units: Units, written: int) -> DailyWeather:
    """A file's record; ``written`` tells a file that was changed since."""
    return read_weather(path, units)


def field_weather(
    field: Ground, today: Day | None = None, *, refresh: bool = False, shared: SharedWeather | None = None
) -> DailyWeather:
    """The daily weather of a field; ``covercrop weather`` shows where it comes from and how good it is.

    It runs from thirty years before the field was sown, or before today where it is not, up to today and the forecast
    beyond.

    Parameters
    ----------
    field : Field or Ground
    today : date, optional
        That of this machine's clock by default.
    refresh : bool
        Fetch station data anew, even where a fresh enough copy is kept.
    shared : SharedWeather, optional
        What other fields of the same run have brought, so that a station is
        read and checked once for all of them; added to.

    Returns
    -------
    DailyWeather
        [degC, mm]  A file's own rows first; a station's where the file has
        none; it says whom it is owed to.

    Raises
    ------
    WeatherError
        If the file cannot be used, no station serves, or there is neither
        network nor cache.
    """
    now = dt.date.today() if today is None else date_of(today, "today")
    shared = SharedWeather() if shared is None else shared
    sown = now if field.cover is None else field.cover.sown
    start = dt.date(sown.year - MOST_YEARS, 1, 1)
    named = field.weather.file or field.weather.station
    place = (field.weather, field.elevation_m, start, now, None if named else (field.latitude, field.longitude))
    weather = shared.once(place, lambda: _gathered(field, start, now, shared, refresh=refresh))
    if named:
        _check_hemisphere(field, weather)
    return weather


def _gathered(field: Ground, start: dt.date, today: dt.date, shared: SharedWeather, *, refresh: bool) -> DailyWeather:
    """The weather of a field, from its file, its station, or those around it."""
    entry = field.weather
    end = today + dt.timedelta(days=FORECAST_DAYS)
    weather = None if entry.file is None else _file(entry.file, entry.units, today)
    if entry.station:
        try:
            record = shared.once(
                (entry.station, start, end, today),
                lambda: station_weather(entry.station, start, end, today=today, refresh=refresh),
            )
        except OfflineError as error:
            if weather is None:
                raise
            # The grower's own file is there: the answer is poorer without the station, not impossible.
            why = "cannot be used" if isinstance(error, UnusableError) else "could not be reached"
            return replace(weather, notes=(*weather.notes, f"Station {entry.station} {why}: {error}."))
        _check_side(field, record.stations[0])
        station = lapse_adjust(record, record.stations[0].elevation_m, field.elevation_m)
        weather = station if weather is None else blend(weather, station)
    if weather is None:
        return weather_at(
            field.latitude,
            field.longitude,
            field.elevation_m,
            start,
            end,
            today=today,
            refresh=refresh,
            shared=shared,
        )
    return weather


def _check_hemisphere(field: Ground, weather: DailyWeather) -> None:
    """Refuse a record with the seasons of the other hemisphere: a sign is wrong in the latitude."""
    if warmer := seasons_against(record_of(weather), field.latitude):
        raise WeatherError(
            f"{described(field)}: {'July is warmer than January' if warmer > 0 else 'January is warmer than July'} in "
            f"it, but latitude = {field.latitude:g} lies {'south' if field.latitude < 0 else 'north'} of the equator; "
            "check the sign of the latitude"
        )


def _check_side(field: Ground, station: Station) -> None:
    """Refuse a place on the other side of the world from the station that it names: a sign is wrong."""
    here, there = np.array([field.latitude, field.longitude]), np.array([station.latitude, station.longitude])
    near = [np.abs(here * sign - there).max() < _SAME_PLACE for sign in ((1, 1), (1, -1), (-1, 1))]
    for name, mirrored in zip(("longitude", "latitude"), near[1:], strict=True):
        if mirrored and not near[0]:
            raise WeatherError(
                f"station {station.id} ({station.name}) lies at {name} {getattr(station, name):g}, but {name} = "
                f"{getattr(field, name):g}; check the sign of the {name}"
            )


def described(field: Ground) -> str:
    """Where the weather of a field is taken from, in words."""
    entry = field.weather
    file = f"the file {entry.file.name}" if entry.file else ""
    station = f"station {entry.station}" if entry.station else ""
    return " and ".join(part for part in (file, station) if part) or "the nearest stations"
