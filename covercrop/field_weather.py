"""The weather of a field, from wherever its entry in the field file says."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.weather.files import read_weather_file
from covercrop.weather.stations import station_weather, weather_at
from covercrop.weather.table import blend, lapse_adjust

if TYPE_CHECKING:
    from covercrop.records import DailyWeather, Units
    from covercrop.season import Field

#: Past seasons asked of a station, beside the present one.
HISTORY_YEARS = 30

#: Days of forecast asked of a station.
FORECAST_DAYS = 14


@lru_cache(maxsize=16)
def _file(path: Path, units: Units) -> DailyWeather:
    return read_weather_file(path, units)


def weather_of(field: Field, today: dt.date, *, refresh: bool = False) -> DailyWeather:
    """The daily weather of a field, from thirty years before it was sown up to today and the forecast beyond.

    Parameters
    ----------
    field : Field
    today : datetime.date
    refresh : bool
        Fetch station data anew, even where a fresh enough copy is kept.

    Returns
    -------
    DailyWeather
        A file's own rows first; a station's where the file has none.

    Raises
    ------
    WeatherError
        If the file cannot be used, no station serves, or there is neither
        network nor cache.
    """
    entry = field.weather
    start = dt.date(field.cover.sown.year - HISTORY_YEARS, 1, 1)
    end = today + dt.timedelta(days=FORECAST_DAYS)
    if entry.file is not None and not entry.station:
        return _file(entry.file, entry.units)
    if entry.station:
        record = station_weather(entry.station, start, end, today=today, refresh=refresh)
        station = lapse_adjust(record, record.stations[0].elevation_m, field.elevation_m)
        return blend(_file(entry.file, entry.units), station) if entry.file is not None else station
    return weather_at(field.latitude, field.longitude, field.elevation_m, start, end, today=today, refresh=refresh)


def described(field: Field) -> str:
    """Where the weather of a field is taken from, in words."""
    entry = field.weather
    file = f"the file {entry.file.name}" if entry.file else ""
    station = f"station {entry.station}" if entry.station else ""
    return " and ".join(part for part in (file, station) if part) or "the nearest stations"
