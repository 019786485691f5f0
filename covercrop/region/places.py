"""A table of stations: a line each, with the file of its daily weather."""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from covercrop.base.errors import CovercropError, RegionError
from covercrop.base.reading import read_whole
from covercrop.region.cells import Answers, Place, answers
from covercrop.region.question import Question, month_day
from covercrop.weather.own_file import read_weather
from covercrop.weather.record import record_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from covercrop.base.records import Units
    from covercrop.weather.record import Record

_NEEDED = ("id", "latitude", "longitude", "file")

#: Python would read 1_0 as 10, and digits of any script.
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)", re.ASCII)

#: Stations that are worked out together.
GROUP = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRow:
    """A line of the table.

    Attributes
    ----------
    id : str
    latitude, longitude : float
        [degrees], north and east positive.
    elevation : float or None
        [m].
    file : pathlib.Path
        Of its daily weather.
    question : Question
        With the station's own choices made.
    """

    id: str
    latitude: float
    longitude: float
    elevation: float | None
    file: Path
    question: Question


def read_table(path: Path, question: Question) -> list[StationRow]:
    """Read a table of stations.

    Parameters
    ----------
    path : pathlib.Path
        CSV with the columns id, latitude, longitude, file, and elevation [m] where it is known; files lie relative to
        it.
    question : Question

    Raises
    ------
    RegionError
        If it cannot be used; the line names the place, the value and the way out.
    """
    text = _read(path)
    table = csv.DictReader(io.StringIO(text, newline=""), skipinitialspace=True)
    try:
        return _rows(table, path, question)
    except csv.Error as error:
        raise RegionError(f"{path}: line {table.line_num + 1} cannot be read as CSV ({error}); mend it") from None


def _read(path: Path) -> str:
    """The text of a table."""
    try:
        return read_whole(path).decode("utf-8-sig")
    except FileNotFoundError:
        raise RegionError(f"{path}: no such file; give the path of a table of stations") from None
    except IsADirectoryError:
        raise RegionError(f"{path}: is a folder; give the path of a table of stations") from None
    except OSError as error:
        raise RegionError(f"{path}: cannot be read ({error.strerror}); give the path of a table of stations") from None
    except UnicodeDecodeError as error:
        raise RegionError(f"{path}: byte {error.start} is not UTF-8 text; save the table as UTF-8") from None


def _rows(table: csv.DictReader[str], path: Path, question: Question) -> list[StationRow]:
    columns = [name.strip().casefold() for name in table.fieldnames or ()]
    wanted = (*_NEEDED, *question.per_cell().values())
    if missing := [name for name in wanted if name.casefold() not in columns]:
        raise RegionError(
            f"{path}: no column {missing[0]!r}; its first line has to name {', '.join(wanted)}, and may name elevation"
        )
    for name in wanted:
        if columns.count(name.casefold()) > 1:
            raise RegionError(f"{path}: two columns are called {name!r}; keep one")
    table.fieldnames = columns
    found: list[StationRow] = []
    for line in table:
        where = f"{path}: line {table.line_num}"
        row = {name: (value or "").strip() for name, value in line.items() if isinstance(name, str)}
        if any(line.get(None) or ()):
            more = len(columns) + len(line[None])
            raise RegionError(f"{where} has {more} values under {len(columns)} columns; mend the line")
        if any(row.values()):
            found.append(_row(row, where, path.parent, question))
    if not found:
        raise RegionError(f"{path}: no station in it; give a line for each")
    seen: set[str] = set()
    for station in found:
        if station.id in seen:
            raise RegionError(f"{path}: two stations have the id {station.id!r}; give each its own")
        seen.add(station.id)
    return found


def _row(row: dict[str, str], where: str, folder: Path, question: Question) -> StationRow:
    def number(name: str, low: float, high: float) -> float:
        value = float(row[name]) if _NUMBER.fullmatch(row[name]) else math.nan
        if not low <= value <= high:
            raise RegionError(f"{where}: {name} = {row[name]!r}: give a number from {low:g} to {high:g}")
        return value

    if not row["id"]:
        raise RegionError(f"{where}: id is empty; give the station a name of its own")
    if not row["file"] or not _is_file(folder / row["file"]):
        raise RegionError(f"{where}: file = {row['file']!r}: no such weather file beside the table; mend the path")
    latitude, longitude = number("latitude", -90, 90), number("longitude", -180, 180)
    try:
        chosen = {
            option: month_day(row[column.casefold()]) if option == "sown" else row[column.casefold()]
            for option, column in question.per_cell().items()
        }
        own = question.with_choices(**chosen)
    except CovercropError as error:
        raise RegionError(f"{where}: {error}") from None
    return StationRow(
        id=row["id"],
        latitude=latitude,
        longitude=longitude,
        elevation=number("elevation", -430, 6000) if row.get("elevation") else None,
        file=folder / row["file"],
        question=own,
    )


def _is_file(path: Path) -> bool:
    """Whether there is such a file; a name that is too long is none."""
    try:
        return path.is_file()
    except OSError:
        return False


def identity(path: Path, stations: Sequence[StationRow]) -> str:
    """A fingerprint of the table and of the files that it names."""
    try:
        seen = hashlib.sha256(read_whole(path))
        for station in stations:
            about = station.file.stat()
            seen.update(f"{station.file} {about.st_size} {about.st_mtime_ns}".encode(errors="surrogateescape"))
    except OSError as error:
        raise RegionError(
            f"{error.filename}: cannot be read any more ({error.strerror}); run the same command again"
        ) from None
    return seen.hexdigest()


def group_answers(stations: Sequence[StationRow], units: Units, percentiles: int) -> Answers:
    """The answers of some stations; what the workers do.

    Raises
    ------
    RegionError
        If a weather file cannot be used.
    """

    def records() -> Iterator[Record]:
        for station in stations:
            try:
                yield record_of(read_weather(station.file, units))
            except CovercropError as error:
                raise RegionError(f"station {station.id}: {error}") from None

    places = [Place(latitude=station.latitude, question=station.question) for station in stations]
    return answers(records(), places, len(stations), percentiles)


def as_places(stations: Sequence[StationRow]) -> list[dict[str, Any]]:
    """What the table says of each station."""
    return [
        {"id": each.id, "latitude": each.latitude, "longitude": each.longitude, "elevation": each.elevation}
        for each in stations
    ]
