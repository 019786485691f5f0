"""Add a scouting note to a field file: whole, or not at all.

Every other byte of the file stays as it was: comments, order, blank lines,
ends of lines.

A lock keeps two writers apart.  The new file is written beside the old one and
takes its place in one step, so that a crash leaves the one or the other.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from math import isfinite
from pathlib import Path

from covercrop.base.errors import FieldFileError, UnknownNameError
from covercrop.base.toml_text import NoPlaceError, with_table
from covercrop.field.entries import Field, FieldFile, ScoutingNote
from covercrop.field.file import check_dates, parse_fields, read_bytes
from covercrop.models.bbch import stage_name
from covercrop.models.season_calendar import SEASON_DAYS, season_ends

#: Seconds to wait for another writer.  The lock falls with the process that holds it, so that none is ever left behind.
PATIENCE = 10.0

Entry = Mapping[str, dt.date | float | str]

_MARK = "\ufeff"


def proposed_note(path: Path, name: str, entry: Entry, today: dt.date) -> tuple[Field, ScoutingNote]:
    """A field as it would be with a note, and the note; takes and raises what :func:`add_note` does, writes nothing."""
    _, field, note = _told(path, read_bytes(path), name, entry, today)
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
    place = Path(os.path.realpath(path))  # a link stays one: what it leads to is replaced
    with _alone(place, path):
        content, stamp = read_bytes(path), _stamp(place)
        new, field, note = _told(path, content, name, entry, today)
        _replace(place, new, stamp, path)
    return field, note


def _told(path: Path, content: bytes, name: str, entry: Entry, today: dt.date) -> tuple[bytes, Field, ScoutingNote]:
    """The file with the note, and the field and the note as they are read back from it."""
    file = parse_fields(path, content)
    check_dates(file, today)
    number = _number(file, name)
    new = _with_note(content, number, file.fields[number].name, entry, path)
    told = parse_fields(path, new)
    check_dates(told, today)
    field, note = told.fields[number], _added(file.fields[number], told.fields[number], path)
    if note.date > season_ends(field.cover.sown):
        raise FieldFileError(
            f'{path}: field "{field.name}": date = {note.date} is more than {SEASON_DAYS} days after sowing on '
            f"{field.cover.sown}, and that season is over; mend the date, or enter the cover that stands now"
        )
    return new, field, note


def _number(file: FieldFile, name: str) -> int:
    names = [field.name for field in file.fields]
    if name in names:
        return names.index(name)
    alike = [number for number, known in enumerate(names) if known.casefold() == name.strip().casefold()]
    if len(alike) == 1:
        return alike[0]
    raise UnknownNameError("field", name, names)


def _added(before: Field, after: Field, path: Path) -> ScoutingNote:
    """The note that a field has gained."""
    left = list(after.scouting)
    for note in before.scouting:
        left.remove(note)
    (note,) = left
    if note in before.scouting:
        raise FieldFileError(f'{path}: field "{after.name}": this note of {note.date} is there already; nothing to add')
    return note


# --- the text -------------------------------------------------------------------------------------


def _with_note(content: bytes, number: int, name: str, entry: Entry, path: Path) -> bytes:
    """The file with the note at the end of a field."""
    text = content.decode("utf-8")
    mark, text = (_MARK, text[1:]) if text.startswith(_MARK) else ("", text)
    bbch = entry.get("bbch")
    said = {"bbch": stage_name(float(bbch))} if isinstance(bbch, int | float) else {}
    note = {key: _value(key, value, path) for key, value in entry.items()}
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


def _value(key: str, value: dt.date | float | str, path: Path) -> dt.date | float | str:
    """A value as it is to stand in the file: whole numbers without a point."""
    if isinstance(value, dt.date):
        return value
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError:
            raise FieldFileError(f"{path}: the words of the note are not text in this terminal's encoding") from None
        return value
    if not isfinite(value):
        raise FieldFileError(f"{path}: {key} = {value}: give a number")
    return int(value) if float(value).is_integer() else float(value)


# --- the file -------------------------------------------------------------------------------------


@contextmanager
def _alone(place: Path, path: Path) -> Iterator[None]:
    """Hold the file's lock; its lock file is gone again afterwards."""
    from filelock import FileLock, Timeout

    try:
        mode = place.stat().st_mode
    except OSError:
        read_bytes(path)  # says what is wrong
        raise
    if not mode & 0o222 or not os.access(place, os.W_OK):
        raise FieldFileError(f"{path}: is read-only; allow writing to it, or copy it to a place of your own")
    lock = FileLock(place.with_name(f".{place.name}.lock"), timeout=PATIENCE)
    try:
        lock.acquire()
    except Timeout:
        raise FieldFileError(
            f"{path}: another program has been writing to it for {PATIENCE:.0f} seconds; try again when it is done"
        ) from None
    except OSError as error:
        raise _unwritable(path, error) from None
    try:
        yield
    finally:
        # Taken away while it is still held: whoever waits for it finds that it has no name any more and asks anew.
        with suppress(OSError):
            Path(lock.lock_file).unlink()
        lock.release()


def _stamp(place: Path) -> tuple[int, int, int]:
    found = place.stat()
    return found.st_ino, found.st_size, found.st_mtime_ns


def _replace(place: Path, content: bytes, stamp: tuple[int, int, int], path: Path) -> None:
    """Put new bytes in the place of a file in one step."""
    part = place.with_name(f".{place.name}.part")  # what a crash leaves is written over the next time
    try:
        old = place.stat()
        with part.open("wb") as out:
            if hasattr(os, "fchmod"):
                os.fchmod(out.fileno(), old.st_mode & 0o7777)
            if hasattr(os, "fchown"):
                with suppress(OSError):
                    os.fchown(out.fileno(), old.st_uid, old.st_gid)
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        if _stamp(place) != stamp:
            raise FieldFileError(f"{path}: was changed by another program just now; nothing was written, try again")
        part.replace(place)
        _settle(place.parent)
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        with suppress(OSError):
            part.unlink()


def _settle(folder: Path) -> None:
    """See to it that the new name of the file outlives a loss of power, where the system lets a folder be synced."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _unwritable(path: Path, error: OSError) -> FieldFileError:
    return FieldFileError(f"{path}: cannot be written ({error.strerror or error}); free or allow it, and try again")
