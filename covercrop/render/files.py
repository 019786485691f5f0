"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from covercrop.errors import UsageError


def write_whole(path: Path, text: str) -> None:
    """Write a text beside a file and put it in its place.

    Parameters
    ----------
    path : pathlib.Path
    text : str

    Raises
    ------
    UsageError
        If the file cannot be written; one that stood there is as it was.
    """
    if path.is_dir():
        raise UsageError(f"{path}: is a folder; give the path of a file in it")
    scratch = None
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.")
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        Path(scratch).chmod(0o666 & ~_mask())
        Path(scratch).replace(path)
    except OSError as error:
        if scratch is not None:
            Path(scratch).unlink(missing_ok=True)
        raise UsageError(f"{path}: cannot be written ({error.strerror}); give a path in a folder of your own") from None


def _mask() -> int:
    """What this user's new files are not allowed."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
