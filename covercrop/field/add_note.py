"""Add scouting notes to a field file: whole, or not at all.

Every other byte of the file stays as it was: comments, order, blank lines,
ends of lines.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from covercrop.base.errors import CovercropError, FieldFileError, UnknownNameError
from covercrop.base.toml_text import NoPlaceError, with_table
from covercrop.field.entries import NO_COVER, Field, FieldFile, Ground, ScoutingNote
from covercrop.field.file import check_dates, parse_fields, read_bytes
from covercrop.field.rewriting import MARK, as_written, rewrite
from covercrop.models import cereal
from covercrop.models.bbch import stage_name
from covercrop.models.season_calendar import SEASON_DAYS, season_ends

Entry = Mapping[str, dt.date | float | str]


class ThereAlreadyError(FieldFileError):
    """The field has this note already."""


def proposed_note(path: Path, name: str, entry: Entry, today: dt.date) -> tuple[Field, ScoutingNote]:
    """A field as it would be with a note, and the note; takes and raises what :func:`add_note` does, writes nothing."""
    _, field, note = told_with(path, read_bytes(path), name, entry, today)
    return field, note


def add_note(path: Path, name: str, entry: Entry, today: dt.date) -> tuple[Field, ScoutingNote]:
    """Write a note into a field file.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        Name of the field; capitals do not matter.
    entry : mapping of str to date, number or text
        The note, with the keys and units of a ``[[field.scouting]]`` table.
    today : datetime.date
        No note may be later.

    Returns
    -------
    Field, ScoutingNote
        The field with the note, and the note, as they are read back.

    Raises
    ------
    FieldFileError
        If the file is not sound, before or with the note; if it holds the
        note already; if it cannot be written.  Nothing is changed then.
    UnknownNameError
        If the file has no such field.
    """

    def told(content: bytes) -> tuple[bytes, tuple[Field, ScoutingNote]]:
        new, field, note = told_with(path, content, name, entry, today)
        return new, (field, note)

    return rewrite(path, told)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """A note of one of many fields.

    Attributes
    ----------
    place : str
        Where it stands among the others, such as ``notes.csv: line 4``, for messages.
    name : str
        Of the field.
    entry : mapping of str to date, number or text
        As :func:`add_note` takes it.
    """

    place: str
    name: str
    entry: Entry


def with_notes(
    path: Path, content: bytes, rows: Sequence[NoteRow], today: dt.date
) -> tuple[bytes, list[tuple[Field, ScoutingNote] | None]]:
    """A field file with many notes.

    Parameters
    ----------
    path : pathlib.Path
    content : bytes
        The file.
    rows : sequence of NoteRow
    today : datetime.date
        No note may be later.

    Returns
    -------
    bytes
    list of (Field, ScoutingNote) or None
        Each as it is read back, its field with all that come before it; None of a note that is there already.

    Raises
    ------
    FieldFileError
        If one of them cannot be, named by its place.
    """
    found: list[tuple[Field, ScoutingNote] | None] = []
    for row in rows:
        try:
            new, field, note = told_with(path, content, row.name, row.entry, today)
        except ThereAlreadyError:
            found.append(None)
            continue
        except CovercropError as error:
            raise FieldFileError(f"{row.place}: {str(error).removeprefix(f'{path}: ')}") from None
        content = new
        found.append((field, note))
    return content, found


def add_notes(path: Path, rows: Sequence[NoteRow], today: dt.date) -> list[tuple[Field, ScoutingNote] | None]:
    """Write many notes into a field file in one step, all of them or none; raises what :func:`with_notes` does."""
    return rewrite(path, lambda content: with_notes(path, content, rows, today))


def told_with(path: Path, content: bytes, name: str, entry: Entry, today: dt.date) -> tuple[bytes, Field, ScoutingNote]:
    """The file with the note, and the field and the note as they are read back from it."""
    file = parse_fields(path, content)
    check_dates(file, today)
    number = number_of(file, name)
    before = sown_field(file.entries[number], path)
    new = _with_note(content, number, before.name, entry, path)
    told = parse_fields(path, new)
    check_dates(told, today)
    field = sown_field(told.entries[number], path)
    note = _added(before, field, path)
    check_season(field, note, path)
    return new, field, note


def check_season(field: Field, note: ScoutingNote, path: Path) -> None:
    """Refuse a note of another season than that of the cover."""
    if note.date > season_ends(field.cover.sown):
        raise FieldFileError(
            f'{path}: field "{field.name}": date = {note.date} is more than {SEASON_DAYS} days after sowing on '
            f"{field.cover.sown}, and that season is over; mend the date, or enter the cover that stands now"
        )


def number_of(file: FieldFile, name: str) -> int:
    """The place of a field in its file, by its name; capitals do not matter."""
    names = [entry.name for entry in file.entries]
    if name in names:
        return names.index(name)
    alike = [number for number, known in enumerate(names) if known.casefold() == name.strip().casefold()]
    if len(alike) == 1:
        return alike[0]
    raise UnknownNameError("field", name, names)


def sown_field(entry: Ground, path: Path) -> Field:
    """A field that a note can be of: one with a cover."""
    if not isinstance(entry, Field):
        raise FieldFileError(f'{path}: field "{entry.name}": {NO_COVER}')
    return entry


def _added(before: Field, after: Field, path: Path) -> ScoutingNote:
    """The note that a field has gained."""
    left = list(after.scouting)
    for note in before.scouting:
        left.remove(note)
    (note,) = left
    if note in before.scouting:
        raise ThereAlreadyError(
            f'{path}: field "{after.name}": this note of {note.date} is there already; nothing to add'
        )
    return note


# --- the text -------------------------------------------------------------------------------------


def _with_note(content: bytes, number: int, name: str, entry: Entry, path: Path) -> bytes:
    """The file with the note at the end of a field."""
    text = content.decode("utf-8")
    mark, text = (MARK, text[1:]) if text.startswith(MARK) else ("", text)
    in_words = {"bbch": stage_name, "cereal": cereal.stage_name}
    said = {
        key: words(float(code)) for key, words in in_words.items() if isinstance(code := entry.get(key), int | float)
    }
    note = {key: as_written(key, value, path) for key, value in entry.items()}
    try:
        return (mark + with_table(text, ("field", number), "scouting", note, said)).encode("utf-8")
    except NoPlaceError as error:
        if error.key == "scouting":
            raise FieldFileError(
                f'{path}: field "{name}": scouting = [...] is a list, to which no note can be '
                "added; write each of its notes as its own [[field.scouting]]"
            ) from None
        raise FieldFileError(
            f"{path}: has no place for a note; begin each field with a line [[field]] of its own"
        ) from None
