"""GHCN-Daily, the archive of daily station records, in the two CSV forms in which NOAA publishes it.

References
----------
Menne et al. 2012, J. Atmos. Oceanic Technol. 29, 897-910, doi:10.1175/JTECH-D-11-00103.1.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covercrop.base.errors import WeatherFileError
from covercrop.base.records import Station
from covercrop.base.units import M_PER_IN, celsius_from_fahrenheit
from covercrop.weather.daily import daily_weather
from covercrop.weather.sheet import FIRST_YEAR, LAST_YEAR, NO_READING, Sheet, changed, dates

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather, Units

#: In tenths of a degree a record has days above this; in whole degrees none does.
TENTHS_ABOVE = 150.0

_BY_STATION = re.compile(r"([A-Z]{2}[A-Z0-9_-]{9}),(\d{8}),([A-Z0-9]{4}),", re.ASCII)
#: A whole line of that form: its value, three flags and the time of observation behind it.
_LINE = re.compile(rf"{_BY_STATION.pattern} *(-?\d{{1,5}}) *,[\w ]?,([\w ]?),[\w ]?,\d{{0,4}} *", re.ASCII)
_PLACE = ("LATITUDE", "LONGITUDE", "ELEVATION")
_ELEMENTS = ("TMIN", "TMAX", "PRCP", "SNWD")

_NUMBER = re.compile(r"[+-]?\d+(\.\d*)?", re.ASCII)
#: Where there is no value.  The numbers of loggers are not taken for it: in tenths -99 is a frost, 999 a wet day.
_NO_VALUE = {text for text in NO_READING if not _NUMBER.fullmatch(text)} | {"-9999", "9999"}
#: Heights that stand for an unknown one [m].
_NO_HEIGHT = (-999.9, 999.9)


def is_by_station(text: str) -> bool:
    """Whether a text has a line for each element and day, without a header."""
    return _BY_STATION.match(text) is not None


def is_by_column(sheet: Sheet) -> bool:
    """Whether a file has a column for each element."""
    return {"STATION", "DATE"} <= set(sheet.header) and not {"TMIN", "TMAX"}.isdisjoint(sheet.header)


def read_ghcn(path: Path, content: Sheet | str, units: Units) -> DailyWeather:
    """The record of a GHCN-Daily file.

    Parameters
    ----------
    path : Path
    content : Sheet or str
        A file with a column for each element, or the text of one with a line for each.
    units : {"metric", "us"}
        Used only if the file is not in tenths of a degree Celsius.
    """
    frame, stations = _by_station(path.name, content) if isinstance(content, str) else _by_column(content)
    highest = frame["tmax"].max()
    tenths = bool(highest > TENTHS_ABOVE)
    rain, snow = (frame[name].to_numpy(np.float64) for name in ("prcp", "snwd"))  # snow in whole mm
    values = {f"{key}_c": frame[key].to_numpy(np.float64) for key in ("tmin", "tmax")}
    if tenths:
        values = {key: value / 10 for key, value in values.items()}
        rain = rain / 10
    elif units == "us":
        values = {key: celsius_from_fahrenheit(value) for key, value in values.items()}
        rain, snow = rain * (M_PER_IN * 1000), snow * (M_PER_IN * 1000)
    weather = daily_weather(
        pd.DataFrame(
            {**values, "prcp_mm": rain, "snow_depth_mm": snow, "flag": frame["flag"].to_numpy(object)},
            index=frame.index,
        ),
        stations=stations,
        attribution="NOAA GHCN-Daily",
        retrieved=changed(path),
        where=path.name,
        units="metric" if tenths else units,
    )
    note = "read as GHCN-Daily in tenths of a degree Celsius"
    return replace(weather, notes=(note, *weather.notes)) if tenths else weather


def _by_column(sheet: Sheet) -> tuple[pd.DataFrame, tuple[Station, ...]]:
    """GHCN-Daily with a column for each element, and its quality flag in ``..._ATTRIBUTES``."""
    for name in ("TMIN", "TMAX"):
        if name not in sheet.header:
            sheet.fail(f"no column {name} (found: {', '.join(sheet.header)}); choose a station that has both")
    if any('"' in title for title in sheet.header):
        sheet.fail(f"line {sheet.header_line} holds a quotation mark that is out of place; download the file again")
    wanted = ("STATION", "DATE", "NAME", *_ELEMENTS, *(f"{name}_ATTRIBUTES" for name in _ELEMENTS), *_PLACE)
    columns = {name: sheet.header.index(name) for name in wanted if name in sheet.header}
    if twice := [name for name in columns if sheet.header.count(name) > 1]:
        sheet.fail(f"two columns are named {twice[0]}; keep one")
    cells = [[row[position].strip() for position in columns.values()] for row in _rows(sheet)]
    if not cells:
        sheet.fail("a header and no rows; download the file again")
    table = pd.DataFrame(cells, columns=list(columns), dtype=str)
    identifiers = table["STATION"].unique()
    if len(identifiers) != 1:
        sheet.fail(f"{len(identifiers)} stations in it ({', '.join(identifiers[:3])}); keep the rows of one")
    days = dates(sheet, table["DATE"], sheet.header.index("DATE"))
    frame = pd.DataFrame({"flag": ""}, index=days, dtype=object)
    for name in _ELEMENTS:
        values = _numbers(sheet, table, name) if name in table else np.full(len(table), np.nan)
        if f"{name}_ATTRIBUTES" in table:
            # The second of them is the quality flag.
            bad = ["".join(flags.split(",")[1:2]).strip() != "" for flags in table[f"{name}_ATTRIBUTES"]]
            _reject(frame, values, np.array(bad), name)
        frame[name.lower()] = values
    place = {name: _numbers(sheet, table[:1], name)[0] if name in table else np.nan for name in _PLACE}
    title = str(table["NAME"].iloc[0]) if "NAME" in table else str(identifiers[0])
    return frame, _station(str(identifiers[0]), title, place)


def _by_station(name: str, text: str) -> tuple[pd.DataFrame, tuple[Station, ...]]:
    """GHCN-Daily with a line for each element and day: id, day, element, value, three flags, hour."""
    lines = text.split("\n")
    cells = []
    identifiers: dict[str, None] = {}
    for number, line in enumerate(lines, start=1):
        found = _LINE.fullmatch(line)
        if found:
            identifiers[found[1]] = None
            if found[3] in _ELEMENTS:
                cells.append((number, *found.groups()[1:]))
        elif line.strip():
            raise WeatherFileError(f"{name}: line {number}, {line[:60]!r}, is damaged; download the file again")
    station = next(iter(identifiers))
    if len(identifiers) != 1:
        raise WeatherFileError(
            f"{name}: {len(identifiers)} stations in it ({', '.join([*identifiers][:3])}); keep the lines of one"
        )
    table = pd.DataFrame(cells, columns=["line", "day", "element", "value", "quality"]).set_index("line")
    day = pd.to_datetime(table["day"], format="%Y%m%d", errors="coerce")
    value = table["value"].astype(np.float64)
    wrong = (day.isna() | ~day.dt.year.between(FIRST_YEAR, LAST_YEAR)).to_numpy()
    if wrong.any():
        place = int(table.index[wrong][0])
        raise WeatherFileError(f"{name}: line {place}, {lines[place - 1]!r}, is damaged; download the file again")
    doubled = pd.DataFrame({"day": day, "element": table["element"]}).duplicated().to_numpy()
    if doubled.any():
        place = int(table.index[doubled][0])
        raise WeatherFileError(f"{name}: line {place} repeats an element of its day; download the file again")
    values = value.set_axis(pd.MultiIndex.from_arrays([day, table["element"]])).unstack("element")  # noqa: PD010
    rejected = table["quality"].str.strip() != ""
    frame = pd.DataFrame({"flag": ""}, index=pd.DatetimeIndex(values.index), dtype=object)
    for element in _ELEMENTS:
        column = values[element].to_numpy(np.float64, copy=True) if element in values else np.full(len(values), np.nan)
        bad = frame.index.isin(day[rejected & (table["element"] == element)])
        _reject(frame, column, bad, element)
        frame[element.lower()] = column
    return frame, _station(station, station, dict.fromkeys(_PLACE, np.nan))


def _rows(sheet: Sheet) -> Iterator[list[str]]:
    """The cells of each row; a line that is not as the archive writes them is refused, since days may hide in it."""
    reader = csv.reader(io.StringIO(sheet.body), delimiter=sheet.delimiter, skipinitialspace=True, strict=True)
    line = sheet.header_line + 1
    try:
        for row in reader:
            if sheet.header_line + reader.line_num != line:
                sheet.fail(f"line {line} opens a quotation mark that is never closed; download the file again")
            if '"' in "".join(row):  # none of the archive's texts holds one
                raise csv.Error
            if any(row):
                if len(row) != len(sheet.header):
                    sheet.fail(
                        f"line {line} has {len(row)} values under {len(sheet.header)} columns; download the file again"
                    )
                yield row
            line += 1
    except csv.Error:
        sheet.fail(f"line {line} holds a quotation mark that is out of place; download the file again")


def _numbers(sheet: Sheet, table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    values = np.full(len(table), np.nan)
    for place, text in enumerate(table[name]):
        if text in _NO_VALUE:
            continue
        if _NUMBER.fullmatch(text):
            values[place] = float(text)
        else:
            line = sheet.line_of(sheet.header.index(name), text)
            sheet.fail(f"line {line}, column {name!r}: {text!r} is not a number; download the file again")
    return values


def _reject(frame: pd.DataFrame, values: NDArray[np.float64], bad: NDArray[np.bool_], element: str) -> None:
    """Take out values that the archive's own checks reject; only temperatures flag the day."""
    values[bad] = np.nan
    if element in ("TMIN", "TMAX"):
        frame.loc[bad, "flag"] = "quality-flag"


def _station(identifier: str, name: str, place: dict[str, float]) -> tuple[Station, ...]:
    if np.isnan(place["LATITUDE"]) or np.isnan(place["LONGITUDE"]):
        return ()
    height = place["ELEVATION"]
    return (
        Station(
            id=identifier,
            name=name,
            latitude=float(place["LATITUDE"]),
            longitude=float(place["LONGITUDE"]),
            elevation_m=None if np.isnan(height) or height in _NO_HEIGHT else float(height),
        ),
    )
