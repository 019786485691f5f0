"""Writing a file: whole, or not at all, and over nobody's own."""

from __future__ import annotations

import os
from pathlib import Path

from covercrop.base.errors import UsageError
from covercrop.base.marks import is_marked, marked
from covercrop.base.reading import read_whole
from covercrop.base.replacing import replacing


def check_place(path: Path, by: str, *, option: str = "-o", suffixes: tuple[str, ...] = (), overwrite: bool) -> None:
    """Refuse a place that cannot or should not be written to, before any work is done.

    Parameters
    ----------
    path : pathlib.Path
    by : str
        The command that will write there, such as ``covercrop report``: what
        it wrote earlier it may replace.
    option : str
        With which the place was given.
    suffixes : tuple of str, optional
        What its name may end with; anything by default.
    overwrite : bool
        Whether any file may be replaced.

    Raises
    ------
    UsageError
        If the name ends otherwise, is that of a folder, or its folder is not
        there; if a file stands there that the command did not write.
    """
    if suffixes and path.suffix.lower() not in suffixes:
        raise UsageError(f"{option} {path}: give a name that ends with {' or '.join(suffixes)}")
    if os.path.isdir(path):  # noqa: PTH112 - Path.is_dir raises where a name is too long or a folder closed
        raise UsageError(f"{option} {path}: is a folder; give the path of a file in it")
    if not os.path.isdir(path.parent):  # noqa: PTH112
        raise UsageError(f"{option} {path}: there is no folder {path.parent}; make it first, or give a path elsewhere")
    if overwrite:
        return
    try:
        ours = is_marked(read_whole(path), by)
    except FileNotFoundError:
        return
    except OSError as error:
        raise UsageError(f"{option} {path}: cannot be read ({error.strerror}); give another name") from None
    if not ours:
        raise UsageError(
            f"{option} {path}: is there already and was not written by {by}; give another name, or replace it with "
            "--overwrite"
        )


def write_marked(path: Path, content: str | bytes, by: str) -> None:
    """Write a page or a picture that the command will know again; as :func:`write_whole`."""
    write_whole(path, marked(content.encode() if isinstance(content, str) else content, by))


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
    try:
        with replacing(path) as file:
            file.write(content.encode() if isinstance(content, str) else content)
    except IsADirectoryError:
        raise UsageError(f"{path}: is a folder; give the path of a file in it") from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); give a path in a folder of your own") from None
