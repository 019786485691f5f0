"""The files shipped with the program, wherever it is installed."""

from __future__ import annotations

import atexit
import os
import tempfile
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

_REPOSITORY = Path(__file__).resolve().parent.parent.parent


def data_file(*parts: str) -> Traversable:
    """A file below ``data/``.

    A wheel carries the data inside the package; in a source tree or an
    editable install it stands beside the package.

    Parameters
    ----------
    *parts : str
        Path below ``data/``, one argument a level.

    Returns
    -------
    importlib.resources.abc.Traversable

    Raises
    ------
    FileNotFoundError
        If no such file is shipped.
    """
    roots: list[Traversable] = [files("covercrop").joinpath("data")]
    if (_REPOSITORY / "pyproject.toml").is_file():
        roots.append(_REPOSITORY / "data")
    for root in roots:
        candidate = root.joinpath(*parts)
        if candidate.is_file():
            return candidate
    raise FileNotFoundError(f"no data file {'/'.join(parts)!r} in {' or '.join(map(str, roots))}")


def data_path(*parts: str, beside: tuple[str, ...] = ()) -> Path:
    """A shipped file as a path, for readers that look beside it.

    Parameters
    ----------
    *parts : str
        Path below ``data/``, one argument a level.
    beside : tuple of str
        Names of the other files of the same folder that will be read.

    Returns
    -------
    pathlib.Path
        From a wheel that is run without being unpacked, a copy that is
        removed when the program ends.

    Raises
    ------
    FileNotFoundError
        If one of the files is not shipped.
    """
    *folder, name = parts
    found = {each: data_file(*folder, each) for each in (name, *beside)}
    file = found[name]
    if isinstance(file, Path):
        return file
    unpacked = tempfile.TemporaryDirectory(prefix="covercrop-")
    atexit.register(unpacked.cleanup)
    for each, packed in found.items():
        Path(unpacked.name, each).write_bytes(packed.read_bytes())
    return Path(unpacked.name, name)


def is_shipped(path: Path) -> bool:
    """Whether a path leads to a file that came with the program."""
    try:
        place = Path(os.path.realpath(path))  # which a loop of links does not trouble
    except ValueError:  # a null byte: no file has such a name
        return False
    return any(
        place.is_relative_to(folder)
        for folder in (_REPOSITORY / "data", Path(__file__).resolve().parent.parent / "data")
    )
