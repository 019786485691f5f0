"""The field file: what a grower writes down about each field.

Reading never changes the file.  Every message names the file, the field, the
key and the value found, and says what would be right.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, cast

from covercrop.base.days import us_date
from covercrop.base.errors import FieldFileError, UsageError, shown
from covercrop.base.kinds import Choice, Date, Flag, UnfitError, as_given
from covercrop.base.reading import read_whole
from covercrop.base.records import Units
from covercrop.base.shipped import data_path
from covercrop.base.strict_table import TableReader
from covercrop.field import bed_entries
from covercrop.field.checks import wrong
from covercrop.field.entries import (
    NO_COVER,
    UNITS,
    CoverEntry,
    CropEntry,
    Field,
    FieldFile,
    Ground,
    ScoutingNote,
    WeatherEntry,
    check_past,
    check_visit,
    legume,
)
from covercrop.parameters.own_bloom import Calibration, read_calibration

#: What may be given in place of the path of a field file: other shipped files of the demonstration.
DEMONSTRATIONS = {"demo:squares": "squares.toml"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Top:
    """What stands at the top of a field file."""

    units: Annotated[Units, Choice(UNITS)] = "metric"
    today: dt.date | None = None
    field: Annotated[tuple[Any, ...], as_given] = ()


#: What a note alone stands in.
_NO_FILE = Path()


@lru_cache(maxsize=8)
def _reader(file: Path, *, us: bool) -> TableReader:
    """What reads the tables of a field file; in one of US units, dates may be written as Americans do."""
    folder = file.parent

    def beside(got: Any, _: Any) -> Path:
        if not isinstance(got, str) or not got.strip():
            raise UnfitError
        return folder / got

    return TableReader(
        FieldFileError,
        {
            bool: Flag(),
            dt.date: Date(us),
            Path: beside,
            Calibration: lambda got, kind: read_calibration(beside(got, kind)),
        },
        {
            CoverEntry: _check_calibration,
            WeatherEntry: lambda _, made: {"units": "us" if us else "metric"} | made,
            ScoutingNote: _check_stage,
            bed_entries.AmendmentEntry: bed_entries.settled_amendment,
            Ground: _check_together,
            Field: _check_together,
        },
    )


def _check_calibration(table: Mapping[str, Any], made: dict[str, Any]) -> dict[str, Any]:
    """Refuse own numbers of another cover or cultivar than the field has."""
    own: Calibration | None = made.get("calibration")
    if own is None:
        return made
    species, cultivar = legume(made["species"]).key, made.get("cultivar", "")
    if own.cover != species:
        way_out = f"was fitted to {own.cover}, and this field has {species}; name another"
        raise wrong("calibration", table["calibration"], way_out)
    if own.cultivar.casefold() != cultivar.casefold():
        other = repr(own.cultivar) if own.cultivar else "records that name no cultivar"
        here = f"has cultivar = {cultivar!r}" if cultivar else "names no cultivar"
        way_out = f"was fitted to {other}, and this field {here}; make the two the same"
        raise wrong("calibration", table["calibration"], way_out)
    return made


def _check_stage(_: Mapping[str, Any], made: dict[str, Any]) -> dict[str, Any]:
    """Refuse a note that tells the stage twice."""
    if "bloom_percent" in made and "bbch" in made:
        raise UsageError("give bloom_percent or bbch, not both")
    return made


def _check_together(table: Mapping[str, Any], made: dict[str, Any]) -> dict[str, Any]:
    """Refuse notes on a cover that is not there, and beds that do not go with the crop."""
    if made.get("scouting") and "cover" not in made:
        raise UsageError(f"scouting: {NO_COVER}")
    if "beds" in made:
        crop: CropEntry = made["crop"]
        try:
            bed_entries.check_beds(table["beds"], made["beds"], crop.ground_cover, crop.method)
        except UsageError as error:
            raise UsageError(f"beds: {error}") from None
    return made


def read_note(where: str, entry: Any, cover: CoverEntry, *, us: bool) -> ScoutingNote:
    """A note from its keys and values, as they stand in a file.

    Parameters
    ----------
    where : str
        Where it stands, for messages.
    entry : mapping
    cover : CoverEntry
        That it is of.
    us : bool
        Whether the file is one of US units.
    """
    note = _reader(_NO_FILE, us=us).read(ScoutingNote, entry, where)
    try:
        check_visit(note, cover)
    except UsageError as error:
        raise FieldFileError(f"{where}: {error}") from None
    return note


def notes_in(path: Path, content: bytes, number: int) -> list[tuple[dict[str, Any], ScoutingNote]]:
    """The notes of a sound field file's field in the order of the file, each as it is written and as it is read."""
    cover = parse_fields(path, content).entries[number].cover
    raw = tomllib.loads(content.decode("utf-8-sig"))
    listed = raw["field"][number].get("scouting", []) if cover is not None else []
    us = raw.get("units") == "us"
    return [(entry, read_note(str(path), entry, cast("CoverEntry", cover), us=us)) for entry in listed]


def _field(where: str, raw: Any, reader: TableReader) -> Ground:
    told = raw if isinstance(raw, dict) else {}
    named = told.get("name")
    return reader.read(
        Field if "cover" in told else Ground, raw, f'{where} "{named}"' if isinstance(named, str) else where
    )


_HOW_TO_WRITE = (
    "write texts and names in quotes, numbers with a point, dates as 2026-04-20 (or, under a first line "
    'units = "us", as "4/20/2026")'
)


def _line_named(error: tomllib.TOMLDecodeError, text: str) -> str:
    """The line that a message names, as it stands in the file."""
    number = re.search(r"at line (\d+)", str(error))
    lines = text.split("\n")
    return f": {shown(lines[int(number[1]) - 1].strip())}" if number else ""


def read_fields(path: str | Path | None = None) -> FieldFile:
    """Read a field file, as every command does that takes FIELDS.

    Parameters
    ----------
    path : str or Path, optional
        The demonstration by default, an invented place; ``demo:squares`` for its patch of framed squares in a sheet.

    Returns
    -------
    FieldFile

    Raises
    ------
    FieldFileError
        If the file cannot be read, or something in it is not what it should
        be; the line names the place, the value and the way out.
    """
    shipped = "fields.toml" if path is None else DEMONSTRATIONS.get(str(path))
    path = data_path("demo", shipped, beside=("weather.csv",)) if shipped else Path(str(path))
    return parse_fields(path, read_bytes(path))


def today_in(path: Path) -> dt.date | None:
    """The day that a field file fixes as today; None where it fixes none, or there is no such file yet."""
    fixed = _top(path).get("today")
    return fixed if type(fixed) is dt.date else None


def names_in(path: Path) -> tuple[str, ...]:
    """The names of the fields of a file; none where there is no such file yet, or no field in it.

    Raises
    ------
    FieldFileError
        If it is not sound.
    """
    if not path.exists():
        return ()
    content = read_bytes(path)
    try:
        if "field" not in tomllib.loads(content.decode("utf-8-sig")):
            return ()
    except (ValueError, RecursionError):
        pass  # reading the fields says what is wrong
    return tuple(entry.name for entry in parse_fields(path, content).entries)


def units_in(path: Path) -> Units:
    """In which units the owner of a field file thinks; metric where it does not say, or there is no such file yet."""
    return "us" if _top(path).get("units") == "us" else "metric"


def month_first(path: Path) -> tuple[str, dt.date] | None:
    """A date of a sound field file that is written as Americans do, and how it is read; None where there is none.

    One that another reader would take for another day is taken before one that can be read in one way only.
    """
    top = _top(path)
    if top.get("units") != "us":
        return None
    found = [(text, day) for text in _texts(top) if (day := us_date(text)) is not None]
    return min(found, key=lambda each: each[1].day > MONTHS_OF_YEAR, default=None)


def _texts(value: Any) -> Iterator[str]:
    """All texts in a TOML value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from (text for each in value.values() for text in _texts(each))
    elif isinstance(value, list):
        yield from (text for each in value for text in _texts(each))


#: A day of the month above this cannot be taken for a month.
MONTHS_OF_YEAR = 12


def _top(path: Path) -> dict[str, Any]:
    """What stands at the top of a field file, sound or not."""
    try:
        return tomllib.loads(read_whole(path).decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return {}  # reading the fields says what is wrong


def read_bytes(path: Path) -> bytes:
    """The bytes of a field file.

    Raises
    ------
    FieldFileError
        If there is no such file, or it cannot be read.
    """
    try:
        return read_whole(path)
    except FileNotFoundError:
        raise FieldFileError(f"{path}: no such file; give the path of your field file") from None
    except IsADirectoryError:
        raise FieldFileError(f"{path}: is a folder; give the path of a field file in it") from None
    except OSError as error:
        raise FieldFileError(f"{path}: cannot be read ({error.strerror}); give the path of your field file") from None


def parse_fields(path: Path, content: bytes) -> FieldFile:
    """The field file that some bytes make.

    Parameters
    ----------
    path : pathlib.Path
        Where they stand, or will stand.
    content : bytes

    Raises
    ------
    FieldFileError
        As :func:`read_fields`.
    """
    try:
        text = content.decode("utf-8-sig")  # some editors put a mark before the first character
        raw = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise FieldFileError(f"{path}: byte {error.start} is not UTF-8 text; save the file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise FieldFileError(f"{path}: not TOML: {error}{_line_named(error, text)}; {_HOW_TO_WRITE}") from None
    except (ValueError, RecursionError) as error:
        raise FieldFileError(f"{path}: cannot be read ({error}); give the path of a plain field file") from None
    reader = _reader(path, us=False)
    top = reader.read(_Top, raw, str(path))
    if not isinstance(top.field, list) or not top.field:
        raise FieldFileError(f"{path}: no field in it; begin each with a line [[field]]")
    if top.units == "us":
        reader = _reader(path, us=True)
    fields = tuple(_field(f"{path}: field {number}", entry, reader) for number, entry in enumerate(top.field, start=1))
    seen: set[str] = set()
    for field in fields:
        if field.name in seen:
            raise FieldFileError(f'{path}: two fields are named "{field.name}"; give each its own name')
        seen.add(field.name)
    return FieldFile(path=path, entries=fields, today=top.today, units=top.units)


def check_dates(file: FieldFile, today: dt.date) -> None:
    """Refuse what cannot have happened yet.

    Raises
    ------
    FieldFileError
        If a cover is sown, turned under, planted or scouted after ``today``.
    """
    for field in file.fields:
        try:
            check_past(field, today)
        except FieldFileError as error:
            raise FieldFileError(f'{file.path}: field "{field.name}": {error}') from None
