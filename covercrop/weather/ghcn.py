"""GHCN-Daily, the archive of daily station records, in the two CSV forms in which NOAA publishes it.

References
----------
Menne et al. 2012, J. Atmos. Oceanic Technol. 29, 897-910, doi:10.1175/JTECH-D-11-00103.1.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covercrop.errors import WeatherFileError
from covercrop.records import Station
from covercrop.units import M_PER_IN, celsius_from_fahrenheit
from covercrop.weather.sheet import NO_READING, Sheet, changed, dates
from covercrop.weather.table import daily_weather

if TYPE_CHECKING:
    from covercrop.records import DailyWeather, Units

#: In tenths of a degree a record has days above this; in whole degrees none does.
TENTHS_ABOVE = 150.0

_BY_STATION = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9},\d{8},[A-Z0-9]{4},")
_PLACE = ("LATITUDE", "LONGITUDE", "ELEVATION")
_GHCN_NUMBERS = {"TMIN", "TMAX", "PRCP", *_PLACE}


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
    rain = frame["prcp"].to_numpy(np.float64)
    values = {f"{key}_c": frame[key].to_numpy(np.float64) for key in ("tmin", "tmax")}
    if tenths:
        values = {key: value / 10 for key, value in values.items()}
        rain = rain / 10
    elif units == "us":
        values = {key: celsius_from_fahrenheit(value) for key, value in values.items()}
        rain = rain * (M_PER_IN * 1000)
    weather = daily_weather(
        pd.DataFrame({**values, "prcp_mm": rain, "flag": frame["flag"].to_numpy(object)}, index=frame.index),
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
    elements = [name for name in ("TMIN", "TMAX", "PRCP") if name in sheet.header]
    wanted = {f"{name}_ATTRIBUTES" for name in elements} | {"STATION", "DATE", "NAME"}
    table = pd.read_csv(
        io.StringIO(sheet.text), dtype=str, usecols=lambda name: name in wanted or name in _GHCN_NUMBERS
    )
    identifiers = table["STATION"].dropna().unique()
    if len(identifiers) != 1:
        sheet.fail(f"{len(identifiers)} stations in it ({', '.join(identifiers[:3])}); keep the rows of one")
    days = dates(sheet, table["DATE"], sheet.header.index("DATE"))
    frame = pd.DataFrame({"flag": ""}, index=days, dtype=object)
    for name in ("TMIN", "TMAX", "PRCP"):
        values = _numbers(sheet, table, name) if name in table else np.full(len(table), np.nan)
        if f"{name}_ATTRIBUTES" in table:
            quality = table[f"{name}_ATTRIBUTES"].str.split(",").str[1].fillna("").str.strip()
            _reject(frame, values, (quality != "").to_numpy(), name)
        frame[name.lower()] = values
    place = {name: _numbers(sheet, table, name)[0] if name in table else np.nan for name in _PLACE}
    title = str(table["NAME"].iloc[0]) if "NAME" in table else str(identifiers[0])
    return frame, _station(str(identifiers[0]), title, place)


def _by_station(name: str, text: str) -> tuple[pd.DataFrame, tuple[Station, ...]]:
    """GHCN-Daily with a line for each element and day: id, day, element, value, three flags, hour."""
    table = pd.read_csv(
        io.StringIO(text),
        header=None,
        names=["id", "day", "element", "value", "measurement", "quality", "source", "hour"],
        dtype=str,
    )
    identifiers = table["id"].unique()
    if len(identifiers) != 1:
        raise WeatherFileError(
            f"{name}: {len(identifiers)} stations in it ({', '.join(identifiers[:3])}); keep the lines of one"
        )
    table = table[table["element"].isin(("TMIN", "TMAX", "PRCP"))]
    day = pd.to_datetime(table["day"], format="%Y%m%d", errors="coerce")
    value = pd.to_numeric(table["value"], errors="coerce")
    wrong = (day.isna() | value.isna()).to_numpy()
    if wrong.any():
        line = int(table.index[wrong][0]) + 1
        raise WeatherFileError(
            f"{name}: line {line}, {text.splitlines()[line - 1]!r}, is damaged; download the file again"
        )
    doubled = pd.DataFrame({"day": day, "element": table["element"]}).duplicated().to_numpy()
    if doubled.any():
        line = int(table.index[doubled][0]) + 1
        raise WeatherFileError(f"{name}: line {line} repeats an element of its day; download the file again")
    values = value.set_axis(pd.MultiIndex.from_arrays([day, table["element"]])).unstack("element")  # noqa: PD010
    rejected = table["quality"].fillna("").str.strip() != ""
    frame = pd.DataFrame({"flag": ""}, index=pd.DatetimeIndex(values.index), dtype=object)
    for element in ("TMIN", "TMAX", "PRCP"):
        column = values[element].to_numpy(np.float64, copy=True) if element in values else np.full(len(values), np.nan)
        bad = frame.index.isin(day[rejected & (table["element"] == element)])
        _reject(frame, column, bad, element)
        frame[element.lower()] = column
    return frame, _station(str(identifiers[0]), str(identifiers[0]), dict.fromkeys(_PLACE, np.nan))


def _numbers(sheet: Sheet, table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    texts = table[name].str.strip()
    values = pd.to_numeric(texts.mask(texts.isin(NO_READING)), errors="coerce")
    wrong = (values.isna() & texts.notna() & ~texts.isin(NO_READING)).to_numpy()
    if wrong.any():
        text = texts[wrong].iloc[0]
        line = sheet.line_of(sheet.header.index(name), text)
        sheet.fail(f"line {line}, column {name!r}: {text!r} is not a number; download the file again")
    return values.to_numpy(np.float64, copy=True)


def _reject(frame: pd.DataFrame, values: NDArray[np.float64], bad: NDArray[np.bool_], element: str) -> None:
    """Take out values that the archive's own checks reject; only temperatures flag the day."""
    values[bad] = np.nan
    if element != "PRCP":
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
            elevation_m=None if np.isnan(height) else float(height),
        ),
    )
