"""A run that can be stopped at any moment: what is done lies beside where the answer will be.

Each block's answers are one file in the folder ``OUT.part``, written under
another name and then renamed, so that it is whole or not there.  Each says
itself which question and which block it answers: one that does not, or that
was damaged since, is thrown away and worked out again.  OUT itself appears at
the very end, by a rename.  A manifest says which question the folder belongs
to; another one is refused rather than mixed in.  While a run is at work it
holds a lock in the folder, which goes with the process.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.errors import RegionError
from covercrop.base.replacing import replacing
from covercrop.region.stored import reason

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from covercrop.region.cells import Answers

_MANIFEST = "manifest.json"
_LOCK = "lock"

#: What a block file holds beside the answers: the run and the block that they are of.
_OF = "of"


@contextmanager
def alone(out: Path) -> Iterator[None]:
    """Hold the place of an answer, so that a second run to it stops at once.

    Parameters
    ----------
    out : pathlib.Path
        Where the answer will be.

    Raises
    ------
    RegionError
        If another run holds it, it is there already, or it cannot be written.
    """
    from filelock import FileLock, Timeout

    folder = _folder(out)
    with _writing(folder):
        _check_free(out)
        folder.mkdir(exist_ok=True)
        lock = FileLock(folder / _LOCK, timeout=0)
        try:
            lock.acquire()
        except Timeout:
            raise RegionError(
                f"{out}: another run is at work on it; wait until it is done, or name another place with `out`"
            ) from None
    new = not os.path.lexists(folder / _MANIFEST)
    try:
        _check_free(out)  # the other may have ended just now
        yield
    finally:
        # Taken away while it is still held: whoever waits for it finds that it has no name any more.
        with suppress(OSError):
            (folder / _LOCK).unlink()
        lock.release()
        with suppress(OSError):
            if new and not any(folder.glob("block-*")):  # nothing is done that a later run could go on from
                (folder / _MANIFEST).unlink(missing_ok=True)
            folder.rmdir()  # only an empty one goes


def _check_free(out: Path) -> None:
    if os.path.lexists(out):
        raise RegionError(f"{out}: is there already, and is not written over; remove it, or name another with `out`")
    if not out.parent.is_dir():
        raise RegionError(f"{out}: there is no folder {out.parent}; make it, or name another with `out`")


def _folder(out: Path) -> Path:
    return out.with_name(f"{out.name}.part")


@contextmanager
def _writing(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise RegionError(
            f"{folder}: cannot be written ({reason(error)}); make room, or name another place with `out`"
        ) from None


class Part:
    """The folder of an unfinished run.

    Parameters
    ----------
    out : pathlib.Path
        Where the answer will be; held by :func:`alone`.
    asked : dict
        All that the answer depends on, in plain values.
    like : callable
        Takes the number of a block, gives arrays of the names, shapes and kinds that its answers have.

    Attributes
    ----------
    thrown_away : list of str
        Names of the files that were no blocks of this run, or damaged.

    Raises
    ------
    RegionError
        If the folder is another question's, or cannot be written.
    """

    def __init__(self, out: Path, asked: dict[str, Any], like: Callable[[int], Mapping[str, NDArray[Any]]]) -> None:
        self.out, self.folder, self.like = out, _folder(out), like
        self.thrown_away: list[str] = []
        self.key = hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()
        with _writing(self.folder):
            self._begin({"asked": asked, "key": self.key})

    def _begin(self, manifest: dict[str, Any]) -> None:
        file = self.folder / _MANIFEST
        self.folder.mkdir(exist_ok=True)
        try:
            begun = json.loads(file.read_text(encoding="utf-8"))["key"]
        except (OSError, ValueError, KeyError, TypeError):  # none, or damaged: each block says itself whose it is
            if os.path.lexists(file):
                _remove(file)
            self._write(file, json.dumps(manifest, indent=2).encode())
            return
        if begun != manifest["key"]:
            raise RegionError(
                f"{self.folder}: holds a run begun with another input, question or version; remove the folder to start "
                "anew, or name another place with `out`"
            )

    def _write(self, file: Path, content: bytes) -> None:
        with replacing(file) as part:
            part.write(content)

    def _file(self, number: int) -> Path:
        return self.folder / f"block-{number:06d}.npz"

    def missing(self, count: int) -> list[int]:
        """Numbers of the blocks, of so many, that are still to do; what is in the place of one and is none goes."""
        left = []
        for number in range(count):
            file = self._file(number)
            if self._kept(number) is not None:
                continue
            left.append(number)
            if os.path.lexists(file):
                self.thrown_away.append(file.name)
                with _writing(self.folder):
                    _remove(file)
        return left

    def save(self, number: int, answers: Answers) -> None:
        """Keep the answers of a block."""
        content = io.BytesIO()
        # Days that came from another process carry a note on their type, which older numpy warns that it does not keep.
        plain = {name: values.view(values.dtype.str) for name, values in answers.arrays().items()}
        np.savez(content, **{_OF: np.array(self._of(number))}, **plain)  # type: ignore[arg-type]
        with _writing(self.folder):
            self._write(self._file(number), content.getvalue())

    def load(self, number: int) -> dict[str, NDArray[Any]]:
        """The answers of a block by name.

        Raises
        ------
        RegionError
            If they are not there, or not whole.
        """
        answers = self._kept(number)
        if answers is None:
            raise RegionError(
                f"{self._file(number)}: was damaged or taken away just now; run the same command again, which works it "
                "out anew"
            )
        return answers

    def _of(self, number: int) -> str:
        return f"{self.key} {number}"

    def _kept(self, number: int) -> dict[str, NDArray[Any]] | None:
        """The answers of a block; None if they are not there, not whole, or of another block or run."""
        try:
            with self._file(number).open("rb") as stored, np.load(stored, allow_pickle=False) as file:
                found = {name: file[name] for name in file.files}
        except PermissionError as error:
            raise RegionError(f"{self._file(number)}: cannot be read ({error.strerror}); allow reading it") from None
        except Exception:  # whatever numpy and zip may come to in a damaged file
            return None
        if str(found.pop(_OF, "")) != self._of(number):
            return None
        like = self.like(number)
        same = found.keys() == like.keys() and all(
            found[name].shape == each.shape and found[name].dtype == each.dtype for name, each in like.items()
        )
        return found if same else None

    def discard(self) -> None:
        """Clear the folder away."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def finish(self, write: Callable[[Path], None]) -> None:
        """Write the whole, put it in its place, and clear the folder away.

        Parameters
        ----------
        write : callable
            Takes the path to write to, which has the ending of ``out``.

        Raises
        ------
        RegionError
            If it cannot be written; the blocks are kept.
        """
        whole = self.folder / f"whole{self.out.suffix}"
        with _writing(self.folder):
            if os.path.lexists(whole):
                _remove(whole)
            try:
                write(whole)
            except BaseException as error:
                with suppress(OSError):
                    _remove(whole)
                if isinstance(error, OSError | RegionError) or not isinstance(error, Exception):
                    raise
                raise RegionError(  # whatever the libraries of the formats make of a full disk
                    f"{whole}: cannot be written ({type(error).__name__}: is the disk full?); make room, and run the "
                    "same command again: what is done is kept"
                ) from error
            if os.path.lexists(self.out):
                raise RegionError(f"{self.out}: was made by another run in the meantime; look at it, or name another")
            whole.replace(self.out)
        self.discard()


def _remove(path: Path) -> None:
    """Take away a file, or a folder with what is in it; of a link, the link."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink()
