"""A field file rewritten: whole, or not at all.

A lock keeps two writers apart.  The new file is written beside the old one and
takes its place in one step, so that a crash leaves the one or the other.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from math import isfinite
from pathlib import Path
from typing import Any, TypeVar

from covercrop.base.errors import FieldFileError
from covercrop.field.file import read_bytes

Result = TypeVar("Result")

#: Seconds to wait for another writer.  The lock falls with the process that holds it, so that none is ever left behind.
PATIENCE = 10.0

#: What some editors put before the first character.
MARK = "\ufeff"


def rewrite(path: Path, told: Callable[[bytes], tuple[bytes, Result]], *, new: bool = False) -> Result:
    """Put what becomes of a field file in its place.

    Parameters
    ----------
    path : pathlib.Path
        A link stays one: what it leads to is replaced.
    told : callable
        Takes the bytes of the file, none where it is new, and gives the new ones and what they came to; what it
        raises leaves the file as it was.
    new : bool
        Make the file where there is none.

    Returns
    -------
    What ``told`` gave with the bytes.

    Raises
    ------
    FieldFileError
        If the file cannot be read or written, or another program is at it.
    """
    place = Path(os.path.realpath(path))
    with _alone(place, path, new=new):
        stamp = _stamp(place)
        content, result = told(b"" if stamp is None else read_bytes(path))
        _replace(place, content, stamp, path)
    return result


def as_written(key: str, value: Any, path: Path) -> Any:
    """A value as it is to stand in the file: whole numbers without a point, in a list too.

    Raises
    ------
    FieldFileError
        If it is no number, or no text that can be written.
    """
    if isinstance(value, dt.date):
        return value
    if isinstance(value, str):
        try:
            value.encode("utf-8")
        except UnicodeEncodeError:
            what = "the words of the note" if key == "note" else key
            raise FieldFileError(f"{path}: {what} are not text in this terminal's encoding") from None
        return value
    if isinstance(value, list | tuple):
        return [as_written(key, each, path) for each in value]
    if not isfinite(value):
        raise FieldFileError(f"{path}: {key} = {value}: give a number")
    return int(value) if float(value).is_integer() else float(value)


@contextmanager
def _alone(place: Path, path: Path, *, new: bool) -> Iterator[None]:
    """Hold the file's lock; its lock file is gone again afterwards."""
    from filelock import FileLock, Timeout

    _check_place(place, path, new=new)
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


def check_folder(path: Path) -> None:
    """Refuse a place for a new file whose folder is not there."""
    if not path.parent.is_dir():
        raise FieldFileError(f"{path}: there is no folder {path.parent}; make it first")


def _check_place(place: Path, path: Path, *, new: bool) -> None:
    """Refuse what is no file to write to."""
    try:
        mode = place.stat().st_mode
    except FileNotFoundError:
        if not new:
            read_bytes(path)  # says what is wrong
            raise
        check_folder(path)
        return
    except (OSError, ValueError):
        read_bytes(path)
        raise
    if not place.is_file():
        read_bytes(path)
    if not mode & 0o222 or not os.access(place, os.W_OK):
        raise FieldFileError(f"{path}: is read-only; allow writing to it, or copy it to a place of your own")


def _stamp(place: Path) -> tuple[int, int, int] | None:
    """What tells a file from another that took its place; None where there is none."""
    try:
        found = place.stat()
    except FileNotFoundError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns


def _replace(place: Path, content: bytes, stamp: tuple[int, int, int] | None, path: Path) -> None:
    """Put new bytes in the place of a file in one step."""
    part = place.with_name(f".{place.name}.part")  # what a crash leaves is written over the next time
    try:
        old = None if stamp is None else place.stat()
        with part.open("wb") as out:
            if old is not None and hasattr(os, "fchmod"):
                os.fchmod(out.fileno(), old.st_mode & 0o7777)
            if old is not None and hasattr(os, "fchown"):
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
