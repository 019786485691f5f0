"""Add a field to a field file, new or old: whole, or not at all; all else in it stays as it was, byte for byte."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from covercrop.base.errors import FieldFileError
from covercrop.base.records import Units
from covercrop.base.toml_text import NoPlaceError, with_entry
from covercrop.field.entries import FieldFile
from covercrop.field.file import check_dates, parse_fields, read_bytes
from covercrop.field.rewriting import MARK, as_written, check_folder, rewrite

#: What a field is described by: the keys of a ``[[field]]`` table, those of its own tables inside mappings.
Entry = Mapping[str, Any]


def proposed_field(path: Path, entry: Entry, today: dt.date, *, units: Units = "metric") -> FieldFile:
    """The file as it would be with a field, its last; takes and raises what :func:`add_field` does, writes nothing."""
    check_folder(path)
    content = b""
    with suppress(FileNotFoundError):
        path.stat()
        content = read_bytes(path)
    return _told(path, content, entry, today, units)[1]


def add_field(path: Path, entry: Entry, today: dt.date, *, units: Units = "metric") -> FieldFile:
    """Write a field into a field file.

    Parameters
    ----------
    path : pathlib.Path
        Made where there is none.
    entry : mapping
        The field, with the keys and units of a ``[[field]]`` table.
    today : datetime.date
        Nothing may have been done later.
    units : str
        ``us`` makes a new file one whose owner thinks in US units; an old one stays what it is.

    Returns
    -------
    FieldFile
        As it is read back, the field at its end.

    Raises
    ------
    FieldFileError
        If the file is not sound, before or with the field; if it has a field of that name; if it cannot be written.
        Nothing is changed then.
    """
    return rewrite(path, lambda content: _told(path, content, entry, today, units), new=True)


def _told(path: Path, content: bytes, entry: Entry, today: dt.date, units: Units) -> tuple[bytes, FieldFile]:
    """The file with the field, and what is read back from it."""
    try:
        text = content.decode("utf-8")
        mark, text = (MARK, text[1:]) if text.startswith(MARK) else ("", text)
        if not text.strip() and units == "us":
            text = 'units = "us"  # dates may be written as "4/20/2026"; answers are in US units\n'
        new = (mark + with_entry(text, "field", _written(entry, path))).encode("utf-8")
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, ValueError):
        parse_fields(path, content)  # says what is wrong
        raise
    except NoPlaceError:
        raise FieldFileError(
            f"{path}: has no place for another field; begin each field with a line [[field]] of its own"
        ) from None
    file = parse_fields(path, new)
    check_dates(file, today)
    return new, file


def _written(entry: Entry, path: Path) -> dict[str, Any]:
    """The field as it is to stand in the file, what is not given left out."""
    return {
        key: _written(value, path) if isinstance(value, Mapping) else as_written(key, value, path)
        for key, value in entry.items()
        if value is not None and value != {}
    }
