"""A file that takes another's place in one step, so that no reader and no crash ever meets half of it."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING

from covercrop.base.reading import no_regular_file

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def replacing(path: Path) -> Iterator[IO[bytes]]:
    """Write a file beside its place and move it there once it is whole.

    Parameters
    ----------
    path : pathlib.Path
        Where the file will be; a link stays one, and what it leads to is replaced.

    Yields
    ------
    binary file
        To be written to.

    Raises
    ------
    OSError
        If it cannot be written, or what stands there is no file, such as a
        device; what stood there before still does.
    """
    try:
        place = Path(os.path.realpath(path))
    except ValueError as error:  # a name with a null byte
        raise OSError(errno.EINVAL, str(error), str(path)) from None
    _refuse_others(place)
    handle, name = tempfile.mkstemp(prefix=f".{place.name[:40]}.", suffix=".part", dir=place.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        part.chmod(place.stat().st_mode & 0o7777 if place.exists() else 0o666 & ~_mask())
        part.replace(place)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _refuse_others(place: Path) -> None:
    """A device or a pipe is not to make way for a file, as it would for root."""
    try:
        mode = place.stat().st_mode
    except FileNotFoundError:
        return
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(place))
    if why := no_regular_file(mode):
        raise OSError(errno.EINVAL, why, str(place))


def _mask() -> int:
    """What this user's new files are not allowed."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
