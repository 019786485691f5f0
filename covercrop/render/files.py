"""Writing a file: whole, or not at all."""

from __future__ import annotations

from pathlib import Path

from covercrop.errors import UsageError
from covercrop.replacement import replacing


def check_place(path: Path, suffixes: tuple[str, ...]) -> None:
    """Refuse a place that cannot be written to, before any work is done.

    Parameters
    ----------
    path : pathlib.Path
    suffixes : tuple of str
        What its name may end with.

    Raises
    ------
    UsageError
        If the name ends otherwise, is that of a folder, or its folder is not there.
    """
    if path.suffix.lower() not in suffixes:
        raise UsageError(f"-o {path}: give a name that ends with {' or '.join(suffixes)}")
    if path.is_dir():
        raise UsageError(f"-o {path}: is a folder; give the name of a file in it")
    if not path.parent.is_dir():
        raise UsageError(f"-o {path}: there is no folder {path.parent}; make it first, or give another place")


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file beside its place and move it there, so that no reader ever sees half of it.

    Parameters
    ----------
    path : pathlib.Path
    content : str or bytes
        A text is written as UTF-8.

    Raises
    ------
    UsageError
        If it cannot be written; what stood there before still does.
    """
    if path.is_dir():
        raise UsageError(f"{path}: is a folder; give the path of a file in it")
    try:
        with replacing(path) as file:
            file.write(content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); give a path in a folder of your own") from None
