"""Reading a CSV file of notes, a row a visit: it is read as a whole or refused in one line."""

from __future__ import annotations

import datetime as dt
from difflib import get_close_matches
from pathlib import Path

from covercrop.base.days import us_date
from covercrop.base.errors import FieldFileError, WeatherFileError
from covercrop.base.strict_table import keys_of
from covercrop.field.add_note import NoteRow
from covercrop.field.entries import ScoutingNote
from covercrop.weather.sheet import layout, read_text

NEEDED = ("field", "date")
NUMBERS = tuple(key for key in keys_of(ScoutingNote) if key not in ("date", "note"))
KNOWN = (*NEEDED, *NUMBERS, "note")
EXAMPLE = "field,date,bloom_percent,note"


def read_notes(path: Path, *, us: bool) -> tuple[NoteRow, ...]:
    """The notes of a CSV file.

    Parameters
    ----------
    path : pathlib.Path
        With the columns :data:`NEEDED` and any others of :data:`KNOWN`, which mean what they do in a field file; an
        empty cell says nothing.
    us : bool
        Whether dates may be written as 4/20/2026, as in the field file.

    Raises
    ------
    FieldFileError
        If anything in it is not what it should be; the line is named.
    """
    try:
        sheet = layout(path.name, read_text(path, EXAMPLE), EXAMPLE)
        rows = list(sheet.rows())
    except WeatherFileError as error:
        raise FieldFileError(str(error)) from None
    columns = [title.strip().casefold() for title in sheet.header]
    _check_columns(path, columns)
    if not rows:
        raise FieldFileError(f"{path.name}: no note below the header; add a line for each visit")
    return tuple(
        _row(f"{path.name}: line {line}", dict(zip(columns, cells, strict=False)), us=us, comma=sheet.delimiter == ";")
        for line, cells in rows
    )


def _check_columns(path: Path, columns: list[str]) -> None:
    for number, title in enumerate(columns):
        if title not in KNOWN:
            near = get_close_matches(title, KNOWN, n=1)
            way_out = f"did you mean {near[0]!r}?" if near else f"known columns: {', '.join(KNOWN)}"
            raise FieldFileError(f"{path.name}: unknown column {title!r}; {way_out}")
        if title in columns[:number]:
            raise FieldFileError(f"{path.name}: two columns are named {title!r}; keep one of them")
    if missing := [title for title in NEEDED if title not in columns]:
        raise FieldFileError(f"{path.name}: column {missing[0]!r} is missing; a header is, for one, {EXAMPLE}")


def _row(place: str, cells: dict[str, str], *, us: bool, comma: bool) -> NoteRow:
    said = {title: cell for title, cell in cells.items() if cell}
    if missing := [title for title in NEEDED if title not in said]:
        raise FieldFileError(f"{place}: {missing[0]} is empty; give it in each row")
    entry: dict[str, dt.date | float | str] = {"date": _date(place, said["date"], us=us)}
    for title in NUMBERS:
        if title in said:
            entry[title] = _number(place, title, said[title].replace(",", ".") if comma else said[title])
    if "note" in said:
        entry["note"] = said["note"]
    if len(entry) == 1 + ("note" in entry):
        raise FieldFileError(f"{place}: says nothing that was seen; fill in one of {', '.join(NUMBERS)}")
    return NoteRow(place=place, name=said["field"], entry=entry)


def _date(place: str, text: str, *, us: bool) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        day = us_date(text) if us else None
        if isinstance(day, dt.date):
            return day
    more = " or 4/20/2026" if us else ""
    raise FieldFileError(f"{place}: date = {text!r}: write a date as 2026-04-20{more}")


def _number(place: str, title: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise FieldFileError(f"{place}: {title} = {text!r}: give a number, without its unit") from None
