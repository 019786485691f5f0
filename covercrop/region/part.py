"""A run that can be stopped at any moment: what is done lies beside where the answer will be.

Each block's answers are one file in the folder ``OUT.part``, written under
another name and then renamed, so that it is whole or not there.  OUT itself
appears at the very end, by a rename.  A manifest says which question the
folder belongs to; another one is refused rather than mixed in.
"""

from __future__ import annotations

import hashlib
import io
import json
import shutil
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.errors import RegionError
from covercrop.replacement import replacing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from covercrop.region.cells import Answers

_MANIFEST = "manifest.json"


class Part:
    """The folder of an unfinished run.

    Parameters
    ----------
    out : pathlib.Path
        Where the answer will be.
    asked : dict
        All that the answer depends on, in plain values.

    Raises
    ------
    RegionError
        If ``out`` is there already, the folder is another question's, or it
        cannot be written.
    """

    def __init__(self, out: Path, asked: dict[str, Any]) -> None:
        self.out = out
        self.folder = out.with_name(f"{out.name}.part")
        if out.exists():
            raise RegionError(f"{out}: is there already, and is not written over; remove it, or name another with -o")
        if not out.parent.is_dir():
            raise RegionError(f"{out}: there is no folder {out.parent}; make it, or name another with -o")
        manifest = {"asked": asked, "key": hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()}
        with self._writing():
            self._begin(manifest)

    @contextmanager
    def _writing(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            reason = error.strerror or type(error).__name__
            raise RegionError(
                f"{self.folder}: cannot be written ({reason}); make room, or name another place with -o"
            ) from None

    def _begin(self, manifest: dict[str, Any]) -> None:
        file = self.folder / _MANIFEST
        if not file.exists():
            self.folder.mkdir(exist_ok=True)
            self._write(file, json.dumps(manifest, indent=2).encode())
            return
        try:
            begun = json.loads(file.read_text(encoding="utf-8"))
            same = begun["key"] == manifest["key"]
        except (ValueError, KeyError, TypeError):
            same = False
        if not same:
            raise RegionError(
                f"{self.folder}: holds a run begun with another input, question or version; remove the folder to start "
                "anew, or name another place with -o"
            )

    def _write(self, file: Path, content: bytes) -> None:
        with replacing(file) as part:
            part.write(content)

    def _file(self, number: int) -> Path:
        return self.folder / f"block-{number:06d}.npz"

    def missing(self, count: int) -> list[int]:
        """Numbers of the blocks, of so many, that are still to do."""
        return [number for number in range(count) if not self._file(number).exists()]

    def save(self, number: int, answers: Answers) -> None:
        """Keep the answers of a block."""
        content = io.BytesIO()
        np.savez(content, **answers.arrays())  # type: ignore[arg-type]
        with self._writing():
            self._write(self._file(number), content.getvalue())

    def load(self, number: int) -> dict[str, NDArray[Any]]:
        """The answers of a block by name."""
        with np.load(self._file(number), allow_pickle=False) as file:
            return {name: file[name] for name in file.files}

    def discard(self) -> None:
        """Clear the folder away."""
        shutil.rmtree(self.folder)

    def finish(self, write: Callable[[Path], None]) -> None:
        """Write the whole, put it in its place, and clear the folder away.

        Parameters
        ----------
        write : callable
            Takes the path to write to, which has the ending of ``out``.
        """
        whole = self.folder / f"whole{self.out.suffix}"
        with self._writing():
            if whole.is_dir():
                shutil.rmtree(whole)
            write(whole)
            if self.out.exists():
                raise RegionError(f"{self.out}: was made by another run in the meantime; look at it, or name another")
            whole.replace(self.out)
        shutil.rmtree(self.folder)
