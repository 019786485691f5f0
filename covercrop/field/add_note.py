"""Add a scouting note to a field file: whole, or not at all.

The note is put in as text at the end of its field, so that every other byte
of the file stays as it was: comments, order, blank lines, ends of lines.  That
it landed in the right place is not taken on trust: the new text is parsed, and
has to say what the old one said and the note, nothing else.

A lock keeps two writers apart.  The new file is written beside the old one and
takes its place in one step, so that a crash leaves the one or the other.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from copy import deepcopy
from math import isfinite
from pathlib import Path

from covercrop.base.errors import FieldFileError, UnknownNameError
from covercrop.field.entries import Field, FieldFile, ScoutingNote
from covercrop.field.file import check_dates, parse_fields, read_bytes
from covercrop.models.bbch import stage_name
from covercrop.models.season_calendar import SEASON_DAYS, season_ends

#: Seconds to wait for another writer.  The lock falls with the process that holds it, so that none is ever left behind.
PATIENCE = 10.0

Entry = Mapping[str, dt.date | float | str]

_FIELD = re.compile(r"""^[ \t]*\[\[[ \t]*(?:field|"field"|'field')[ \t]*\]\]""", re.MULTILINE)
_LIST = re.compile(r"^[ \t]*[\"']?scouting[\"']?[ \t]*=", re.MULTILINE)
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
    new = _with_note(content, number, entry, path)
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


def _with_note(content: bytes, number: int, entry: Entry, path: Path) -> bytes:
    """The file with the note at the end of a field."""
    text = content.decode("utf-8")
    mark, text = (_MARK, text[1:]) if text.startswith(_MARK) else ("", text)
    wanted = deepcopy(tomllib.loads(text))
    wanted["field"][number].setdefault("scouting", []).append(dict(entry))
    newline = "\r\n" if 2 * text.count("\r\n") > text.count("\n") else "\n"
    table = newline.join(_table(entry, path))
    for place in _places(text, number):
        head, tail = text[:place], text[place:]
        joint = newline if not head or head.endswith("\n") else newline + newline
        gap = newline if tail and not tail.lstrip(" \t").startswith(("\n", "\r\n")) else ""
        new = f"{head}{joint}{table}{newline}{gap}{tail}"
        with suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(new) == wanted:
                return (mark + new).encode("utf-8")
    if _LIST.search(text):
        raise FieldFileError(
            f'{path}: field "{wanted["field"][number]["name"]}": scouting = [...] is a list, to which no note can be '
            "added; write each of its notes as its own [[field.scouting]]"
        )
    raise FieldFileError(f"{path}: has no place for a note; begin each field with a line [[field]] of its own")


def _places(text: str, number: int) -> Iterator[int]:
    """Where the field may end, the likeliest place first; a header inside a text is told from a real one by parsing."""
    starts = [match.start() for match in _FIELD.finditer(text)]
    ends = [*starts[1:], len(text)]
    for end in ends[number:] + ends[:number]:
        yield _last_line(text, end)
        yield end


def _last_line(text: str, end: int) -> int:
    """The end of the last line of a field, before the blank lines and the comment that belong to the next one."""
    lines = text[:end].split("\n")
    lines = [f"{line}\n" for line in lines[:-1]] + [lines[-1]] * bool(lines[-1])
    if end < len(text):
        while lines and lines[-1].lstrip().startswith("#"):
            lines.pop()
    while lines and not lines[-1].strip():
        lines.pop()
    return len("".join(lines))


def _table(entry: Entry, path: Path) -> Iterator[str]:
    yield "[[field.scouting]]"
    for key, value in entry.items():
        said = f"  # {stage_name(float(value))}" if key == "bbch" and isinstance(value, int | float) else ""
        if isinstance(value, float) and not isfinite(value):
            raise FieldFileError(f"{path}: {key} = {value}: give a number")
        yield f"{key} = {_value(value, path)}{said}"


def _value(value: dt.date | float | str, path: Path) -> str:
    """A value as TOML."""
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError:
            raise FieldFileError(f"{path}: the words of the note are not text in this terminal's encoding") from None
        # A JSON string is a TOML one, but for the delete character.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return str(int(value)) if float(value).is_integer() else repr(float(value))


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
