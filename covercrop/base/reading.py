"""A file that somebody names, read whole: a regular file and nothing else, so that reading it ends."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

#: Bytes.  The biggest record that is read whole is one station of GHCN-Daily with a line for each element and day:
#: 35 bytes a line, some ten elements, 150 years come to 20 MB.  Six times that is no record of one place, and reading
#: on would take many times the file's size in memory.
LARGEST = 128 * 1024**2

_KINDS = (
    (stat.S_ISFIFO, "it is a pipe, not a file"),
    (stat.S_ISSOCK, "it is a socket, not a file"),
    (stat.S_ISCHR, "it is a device, not a file"),
    (stat.S_ISBLK, "it is a device, not a file"),
)


def read_whole(path: Path) -> bytes:
    """The bytes of a regular file.

    Every file that a user names is read by this, but for the grids of a
    region, which are not read whole.

    Parameters
    ----------
    path : pathlib.Path
        A link is followed.

    Raises
    ------
    OSError
        If there is no such file, or it cannot be read, or it is a folder, a
        pipe, a device or a socket, or larger than :data:`LARGEST`, or no
        file can have such a name; ``strerror`` says why in words that can
        stand in brackets.
    """
    try:
        found = path.stat()
    except ValueError as error:  # a name with a null byte
        raise OSError(errno.EINVAL, str(error), str(path)) from None
    _refuse_others(path, found)
    # What has taken its place meanwhile must not keep us waiting either.
    with open(path, "rb", opener=_without_waiting) as file:
        _refuse_others(path, os.fstat(file.fileno()))
        content = file.read(LARGEST + 1)
    if content is None:
        raise OSError(errno.EAGAIN, "it has no end", str(path))
    if len(content) > LARGEST:  # one that grows, or does not tell its size
        raise _too_large(path)
    return content


def no_regular_file(mode: int) -> str:
    """Why a file of this mode is not to be read or replaced, in words; empty for a regular file."""
    return next((why for is_kind, why in _KINDS if is_kind(mode)), "" if stat.S_ISREG(mode) else "it is no file")


def _refuse_others(path: Path, found: os.stat_result) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if why := no_regular_file(found.st_mode):
        raise OSError(errno.EINVAL, why, str(path))
    if found.st_size > LARGEST:
        raise _too_large(path)


def _too_large(path: Path) -> OSError:
    return OSError(errno.EFBIG, f"it is larger than {LARGEST // 1024**2} MB", str(path))


def _without_waiting(name: str, flags: int) -> int:
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0))
