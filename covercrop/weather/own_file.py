"""Reading a weather file: a grower's own CSV, or GHCN-Daily as NOAA publishes it.

A file is read as it stands or refused in one line that names the file, the
line, the value and what to do.  Nothing is guessed and nothing is written.
"""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import numpy as np
import pandas as pd

from covercrop.base.units import M_PER_IN, celsius_from_fahrenheit
from covercrop.weather.daily import daily_weather
from covercrop.weather.ghcn import is_by_column, is_by_station, read_ghcn
from covercrop.weather.sheet import NO_READING, Sheet, changed, dates, layout, read_text

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather, Units

_NAMES = {
    "date": "date", "tmin": "daily minimum", "tmax": "daily maximum", "rain": "rain",
    "snow": "depth of the snow", "kind": "kind of row",
}  # fmt: skip
_WORDS = {
    "date": {"date", "day", "time", "datetime", "timestamp"},
    "tmin": {"tmin", "min", "minimum", "low", "lowest", "mint", "tn"},
    "tmax": {"tmax", "max", "maximum", "high", "highest", "maxt", "tx"},
    "rain": {"rain", "rainfall", "prcp", "precip", "precipitation"},
    "snow": {"snowdepth", "snwd", "snd", "depthsnow", "snowonground", "snowdepthonground"},
    "kind": {"forecast", "kind"},
}
_UNITS = {
    "c": "C", "degc": "C", "celsius": "C", "f": "F", "degf": "F", "fahrenheit": "F",
    "mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in",
}  # fmt: skip
_MM_IN = {"mm": 1.0, "cm": 10.0, "in": M_PER_IN * 1000}
_FILLER = {"temp", "temperature", "t", "air", "daily", "deg", "degrees", "total", "of", "the"}
#: Python would read 1_0 as 10, and digits of any script.
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_YES = {"forecast": True, "true": True, "yes": True, "1": True, "y": True}
_NO = {"observed": False, "false": False, "no": False, "0": False, "n": False, "": False}


def read_weather(path: str | Path, units: Units = "metric", *, sensor: bool = True) -> DailyWeather:
    """The record in a weather file; ``covercrop weather`` shows what it holds.

    Parameters
    ----------
    path : str or Path
        A CSV file with a header line and a row a day, delimited by comma,
        semicolon (then with decimal comma or point) or tab.  Columns in any
        order and common spelling: the date (ISO, 2026-04-05), the daily
        minimum and maximum, and where there are some the rain, the depth
        of the snow on the ground and whether the row is a forecast.  Or GHCN-Daily as NOAA publishes it, a column
        or a row for each element; values that its checks reject are left out.
    units : {"metric", "us"}
        What the file is written in: degC and mm, or degF and inches.  A unit
        of rain or snow named in the header goes before it, and in a
        metric file that of snow has to be named.  GHCN-Daily in tenths of
        a degree is recognised by itself.
    sensor : bool
        As in :func:`covercrop.weather.daily.daily_weather`; a file of
        GHCN-Daily always comes from thermometers.

    Returns
    -------
    DailyWeather
        In degC and mm, whatever the file is in.

    Raises
    ------
    WeatherFileError
        If the file cannot be read as it is.
    """
    path = Path(path)
    text = read_text(path)
    if is_by_station(text):
        return read_ghcn(path, text, units)
    sheet = layout(path.name, text)
    if is_by_column(sheet):
        return read_ghcn(path, sheet, units)
    return _own(path, sheet, units, sensor=sensor)


def _own(path: Path, sheet: Sheet, units: Units, *, sensor: bool) -> DailyWeather:
    columns, unit_of = _columns(sheet)
    for key in ("tmin", "tmax"):
        declared = "F" if units == "us" else "C"
        if (said := unit_of.get(key, declared)) != declared:
            way_out = "us" if said == "F" else "metric"
            sheet.fail(
                f"column {sheet.header[columns[key]]!r} is in deg{said}, but the file is declared {units}; "
                f'say units = "{way_out}"'
            )
    table = _parse(sheet, columns)
    days = dates(sheet, table["date"], columns["date"])
    tmin, tmax = (table[key].to_numpy(np.float64) for key in ("tmin", "tmax"))
    if units == "us":
        tmin, tmax = celsius_from_fahrenheit(tmin), celsius_from_fahrenheit(tmax)
    frame = pd.DataFrame({"tmin_c": tmin, "tmax_c": tmax}, index=days)
    if "rain" in columns:
        unit = unit_of.get("rain", "in" if units == "us" else "mm")
        frame["prcp_mm"] = table["rain"].to_numpy(np.float64) * _mm_in(sheet, unit, columns["rain"])
    if "snow" in columns:
        unit = unit_of.get("snow", "in" if units == "us" else "")
        frame["snow_depth_mm"] = table["snow"].to_numpy(np.float64) * _mm_in(sheet, unit, columns["snow"])
    if "kind" in columns:
        frame["forecast"] = _kinds(sheet, table["kind"], columns["kind"])
        if frame["forecast"].all():
            sheet.fail("only forecast rows in it; add the days that were observed")
    weather = daily_weather(frame, retrieved=changed(path), where=sheet.name, units=units, sensor=sensor)
    if not days.is_monotonic_increasing:
        weather = replace(weather, notes=("the rows were not in order of date and were sorted", *weather.notes))
    return weather


def _mm_in(sheet: Sheet, unit: str, position: int) -> float:
    """How many millimetres one of a column's numbers stands for."""
    if unit not in _MM_IN:
        title = sheet.header[position]
        sheet.fail(f"column {title!r} does not say its unit; put mm, cm or in behind it, such as '{title} cm'")
    return _MM_IN[unit]


def _columns(sheet: Sheet) -> tuple[dict[str, int], dict[str, str]]:
    """Where each quantity stands, and the unit that its title names."""
    columns: dict[str, int] = {}
    unit_of: dict[str, str] = {}
    for position, title in enumerate(sheet.header):
        words = re.sub(r"[^a-z0-9]+", " ", title.lower().replace("°", " deg ")).split()
        named = [_UNITS[word] for word in words if word in _UNITS]
        rest = [word for word in words if word not in _UNITS and word not in _FILLER]
        name = "".join(rest) if len(rest) == 1 or "snow" in rest else ""  # "snow depth", in two words
        key = next((key for key, known in _WORDS.items() if name in known), None)
        if key is None:
            continue
        if key in columns:
            sheet.fail(
                f"columns {sheet.header[columns[key]]!r} and {title!r} could both be the {_NAMES[key]}; keep one"
            )
        columns[key] = position
        if named:
            unit_of[key] = named[0]
    for key in ("date", "tmin", "tmax"):
        if key not in columns:
            free = [title for place, title in enumerate(sheet.header) if place not in columns.values() and title]
            near = get_close_matches(key, [title.lower() for title in free], n=1, cutoff=0.5)
            was = next((title for title in free if near and title.lower() == near[0]), None)
            way_out = f"rename {was!r} to {key}" if was else f"name it {key}"
            sheet.fail(f"no column with the {_NAMES[key]} (found: {', '.join(sheet.header)}); {way_out}")
    return columns, unit_of


def _parse(sheet: Sheet, columns: dict[str, int]) -> pd.DataFrame:
    """The columns that are needed: temperatures and rain as numbers, the others as text."""
    numbers = [key for key in ("tmin", "tmax", "rain", "snow") if key in columns]
    names = [str(position) for position in range(len(sheet.header))]
    key_of = {str(position): key for key, position in columns.items()}
    comma = sheet.delimiter != "," and re.search(r"\d,\d", sheet.body) is not None
    if '"' in sheet.body:  # which pandas takes as it comes
        sheet.check_quotes()
        table = _parse_slowly(sheet, columns, comma=comma)
        if table.empty:
            _no_rows(sheet)
        return table
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            table = pd.read_csv(
                io.StringIO(sheet.body),
                sep=sheet.delimiter,
                names=names,
                index_col=False,
                decimal="," if comma else ".",
                na_values=NO_READING,
                keep_default_na=False,
                skipinitialspace=True,
                dtype={name: float if key in numbers else str for name, key in key_of.items()},
            )
    except (ValueError, pd.errors.ParserError, pd.errors.ParserWarning):
        return _parse_slowly(sheet, columns, comma=comma)
    if table.empty:
        _no_rows(sheet)
    return table.rename(columns=key_of)


def _no_rows(sheet: Sheet) -> NoReturn:
    sheet.fail(f"a header and no rows; add a line a day below {sheet.delimiter.join(sheet.header)!r}")


def _parse_slowly(sheet: Sheet, columns: dict[str, int], *, comma: bool) -> pd.DataFrame:
    """The same row by row: finds the cell that cannot be read, or knows what it means."""
    cells: dict[str, list[str | float]] = {key: [] for key in columns}
    for line, row in sheet.rows():
        if len(row) > len(sheet.header) and any(row[len(sheet.header) :]):
            hint = "; a decimal comma needs semicolons between the columns" if sheet.delimiter == "," else ""
            sheet.fail(f"line {line} has {len(row)} values under {len(sheet.header)} columns{hint}; mend the line")
        for key, position in columns.items():
            cell = row[position] if position < len(row) else ""
            if key in ("date", "kind"):
                cells[key].append(cell)
            elif key in ("rain", "snow") and cell.upper() in ("T", "TRACE"):
                cells[key].append(0.0)
            elif cell in NO_READING:
                cells[key].append(np.nan)
            elif _NUMBER.fullmatch(number := cell.replace(",", ".") if comma else cell):
                cells[key].append(float(number))
            else:
                first, more, _ = cell.partition("\n")
                why = "opens a quotation mark that is never closed" if more else "is not a number"
                sheet.fail(
                    f"line {line}, column {sheet.header[position]!r}: {first!r} {why}; "
                    "correct it, or leave the cell empty"
                )
    return pd.DataFrame(cells)


def _kinds(sheet: Sheet, texts: pd.Series[str], position: int) -> list[bool]:
    meaning = _YES | _NO
    plain = texts.fillna("").astype(str).str.strip().str.lower()
    for text in plain.unique():
        if text not in meaning:
            sheet.fail(
                f"line {sheet.line_of(position, text)}, column {sheet.header[position]!r}: {text!r} is neither "
                "forecast nor observed; use one of the two"
            )
    return [meaning[text] for text in plain]
