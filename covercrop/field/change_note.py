"""Change a scouting note in a field file, or take notes out of it: whole, or not at all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path

from covercrop.base.errors import FieldFileError
from covercrop.base.toml_text import NoPlaceError, with_changed, without
from covercrop.field.add_note import Entry, NoteRow, check_season, number_of, sown_field
from covercrop.field.entries import Field, ScoutingNote
from covercrop.field.file import check_dates, notes_in, parse_fields, read_bytes, read_note, units_in
from covercrop.field.rewriting import MARK, as_written, rewrite
from covercrop.models.bbch import stage_name

#: Keys of a note that say the same in two ways: of each, one stands.
_ONE_OF = (
    ("bloom_percent", "bbch"),
    ("soil_c", "soil_f"),
    ("height_cm", "height_in"),
    ("dry_matter_kg_ha", "dry_matter_lb_acre"),
)


def undo_note(path: Path, name: str, today: dt.date) -> tuple[Field, ScoutingNote]:
    """Take the note that was written last out of a field file.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        Name of the field; capitals do not matter.
    today : datetime.date
        As for :func:`covercrop.field.add_note.add_note`.

    Returns
    -------
    Field, ScoutingNote
        The field without the note, and the note.

    Raises
    ------
    FieldFileError
        If the field has no note, the file is not sound, or it cannot be written.  Nothing is changed then.
    UnknownNameError
        If the file has no such field.
    """

    def told(content: bytes) -> tuple[bytes, tuple[Field, ScoutingNote]]:
        number, before = _field(path, content, name, today)
        if not before.scouting:
            raise FieldFileError(f'{path}: field "{before.name}": has no note; nothing to take out')
        last = len(before.scouting) - 1
        new = _without(path, content, number, before, last)
        after = sown_field(parse_fields(path, new).entries[number], path)
        return new, (after, _gone(before, after))

    return rewrite(path, told)


def remove_notes(path: Path, rows: Sequence[NoteRow], today: dt.date) -> list[tuple[Field, ScoutingNote]]:
    """Take notes out of a field file again, all in one step; those that are not there are passed over.

    Parameters
    ----------
    path : pathlib.Path
    rows : sequence of NoteRow
        As they were added.
    today : datetime.date

    Returns
    -------
    list of (Field, ScoutingNote)
        The field without the note, and the note, for each that was there.

    Raises
    ------
    FieldFileError
        As :func:`undo_note`.
    """

    def told(content: bytes) -> tuple[bytes, list[tuple[Field, ScoutingNote]]]:
        found = []
        for row in reversed(rows):
            number, before = _field(path, content, row.name, today)
            place = _place_of(path, content, number, before, row)
            if place is not None:
                content = _without(path, content, number, before, place)
                after = sown_field(parse_fields(path, content).entries[number], path)
                found.append((after, _gone(before, after)))
        return content, found[::-1]

    return rewrite(path, told)


def proposed_change(
    path: Path, name: str, changes: Entry, which: dt.date | int | None, today: dt.date
) -> tuple[Field, ScoutingNote, ScoutingNote]:
    """A field as it would be; takes, gives and raises what :func:`change_note` does, writes nothing."""
    return _changed(path, read_bytes(path), name, changes, which, today)[1]


def change_note(
    path: Path, name: str, changes: Entry, which: dt.date | int | None, today: dt.date
) -> tuple[Field, ScoutingNote, ScoutingNote]:
    """Change a note of a field.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        Name of the field; capitals do not matter.
    changes : mapping of str to date, number or text
        Keys of a ``[[field.scouting]]`` table; what is not given stays, and a stage takes the place of a stage.
    which : datetime.date, int or None
        The day of the note, if it is the only one of that day; its number among them in the order of
        their days, from 1; or the one that was written last.
    today : datetime.date
        No note may be later.

    Returns
    -------
    Field, ScoutingNote, ScoutingNote
        The field with the changed note, the note as it was, and as it is read back.

    Raises
    ------
    FieldFileError
        If there is no such note, what comes of it is not sound, or the file cannot be written.  Nothing is changed
        then.
    UnknownNameError
        If the file has no such field.
    """
    return rewrite(path, lambda content: _changed(path, content, name, changes, which, today))


def _changed(
    path: Path, content: bytes, name: str, changes: Entry, which: dt.date | int | None, today: dt.date
) -> tuple[bytes, tuple[Field, ScoutingNote, ScoutingNote]]:
    number, before = _field(path, content, name, today)
    notes = notes_in(path, content, number)
    read = [note for _, note in notes]
    place = _chosen(path, before, read, which)
    given = {key: as_written(key, value, path) for key, value in changes.items()}
    beaten = {other for pair in _ONE_OF for key in pair if key in given for other in pair if other != key}
    entry = {key: value for key, value in notes[place][0].items() if key not in beaten} | given
    bbch = given.get("bbch")
    said = {"bbch": stage_name(float(bbch))} if isinstance(bbch, int | float) else {}

    def change(text: str) -> str:
        return with_changed(text, ("field", number), "scouting", place, entry, said)

    new = _rewritten(path, content, before, change, "change it")
    file = parse_fields(path, new)
    check_dates(file, today)
    field = sown_field(file.entries[number], path)
    _, note = notes_in(path, new, number)[place]
    if note == read[place]:
        raise FieldFileError(f'{path}: field "{before.name}": the note of {note.date} says that already')
    check_season(field, note, path)
    return new, (field, read[place], note)


def _field(path: Path, content: bytes, name: str, today: dt.date) -> tuple[int, Field]:
    """The place of a field in its file, and the field."""
    file = parse_fields(path, content)
    check_dates(file, today)
    number = number_of(file, name)
    return number, sown_field(file.entries[number], path)


def _chosen(path: Path, field: Field, notes: Sequence[ScoutingNote], which: dt.date | int | None) -> int:
    """The place of a note in the file."""
    where = f'{path}: field "{field.name}"'
    if not notes:
        raise FieldFileError(f"{where}: has no note yet; nothing to change")
    if which is None:
        return len(notes) - 1
    by_day = sorted(range(len(notes)), key=lambda place: notes[place].date)
    if isinstance(which, int):
        if not 1 <= which <= len(notes):
            raise FieldFileError(
                f"{where}: has no note {which}; its notes are 1 to {len(notes)}, in the order of their days"
            )
        return by_day[which - 1]
    found = [place for place in by_day if notes[place].date == which]
    if not found:
        days = ", ".join(str(notes[place].date) for place in by_day)
        raise FieldFileError(f"{where}: has no note of {which}; it has some of {days}")
    if len(found) > 1:
        numbers = " or ".join(str(by_day.index(place) + 1) for place in found)
        raise FieldFileError(f"{where}: has {len(found)} notes of {which}; name one by its number, {numbers}")
    return found[0]


def _place_of(path: Path, content: bytes, number: int, field: Field, row: NoteRow) -> int | None:
    """The place in the file of a note that says what a row does; None where there is none."""
    entry = {key: as_written(key, value, path) for key, value in row.entry.items()}
    sought = read_note(row.place, entry, field.cover, us=units_in(path) == "us")
    notes = [note for _, note in notes_in(path, content, number)]
    return notes.index(sought) if sought in notes else None


def _without(path: Path, content: bytes, number: int, field: Field, place: int) -> bytes:
    return _rewritten(
        path, content, field, lambda text: without(text, ("field", number), "scouting", place), "take it out"
    )


def _rewritten(path: Path, content: bytes, field: Field, change: Callable[[str], str], what: str) -> bytes:
    """Other bytes of a file, its mark kept."""
    text = content.decode("utf-8")
    mark, text = (MARK, text[1:]) if text.startswith(MARK) else ("", text)
    try:
        return (mark + change(text)).encode("utf-8")
    except NoPlaceError:
        raise FieldFileError(
            f'{path}: field "{field.name}": its note is not written as a [[field.scouting]] of its own; {what} with '
            "an editor"
        ) from None


def _gone(before: Field, after: Field) -> ScoutingNote:
    """The note that a field has lost."""
    left = list(before.scouting)
    for note in after.scouting:
        left.remove(note)
    return left[0]
