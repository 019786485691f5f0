"""Pages and pictures replace only what their command wrote, or what they are told to."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest
from conftest import Run

from covercrop.base.marks import is_marked, marked

FORD = ["--field", "Ford meadow"]
#: Arguments up to the name of the file, its ending, and the command of its mark.
WRITERS = {
    "page": (["report", *FORD, "-o"], ".html", "covercrop report"),
    "chart as svg": (["report", *FORD, "--chart", "season", "-o"], ".svg", "covercrop report"),
    "chart as png": (["report", *FORD, "--chart", "season", "-o"], ".png", "covercrop report"),
    "beds": (["beds", *FORD, "--svg"], ".svg", "covercrop beds"),
}
FOREIGN = {
    "empty": b"",
    "page": b'<!doctype html>\n<meta charset="utf-8">\n<p>covercrop report: written by hand</p>\n',
    "drawing": b"<?xml version='1.0'?>\n<svg><!-- covercrop report --><!-- covercrop beds --></svg>",
    "cut": b"\x89PNG\r\n\x1a\n",
    "field file": b'[[field]]\nname = "Plot"\n',
}


@pytest.mark.parametrize("writer", WRITERS)
def test_its_own_file_is_replaced(run: Run, tmp_path: Path, writer: str) -> None:
    """Every week the same line works, without an option: the file of last week makes way."""
    arguments, ending, by = WRITERS[writer]
    path = tmp_path / f"made{ending}"
    assert run(*arguments, path)[0] == 0
    first = path.read_bytes()
    assert is_marked(first, by)
    other = ["Chapel bench" if each == FORD[1] else each for each in arguments]
    status, _, said = run(*other, path)
    assert (status, said) == (0, "")
    assert path.read_bytes() != first
    assert is_marked(path.read_bytes(), by)


@pytest.mark.parametrize("foreign", FOREIGN)
@pytest.mark.parametrize("writer", WRITERS)
def test_a_foreign_file_is_left_alone(run: Run, tmp_path: Path, writer: str, foreign: str) -> None:
    """What the command did not write stays to the byte, before any work is done; the line names the way out."""
    arguments, ending, by = WRITERS[writer]
    path = tmp_path / f"made{ending}"
    path.write_bytes(FOREIGN[foreign])
    status, printed, said = run(*arguments, path)
    assert (status, printed, said.count("\n")) == (1, "", 1)
    assert f"is there already and was not written by {by}; give another name, or replace it with --overwrite" in said
    assert path.read_bytes() == FOREIGN[foreign]


@pytest.mark.parametrize("writer", ["page", "beds"])
def test_told_to_it_replaces_any_file(run: Run, tmp_path: Path, writer: str) -> None:
    """With --overwrite, and from then on without it."""
    arguments, ending, _ = WRITERS[writer]
    path = tmp_path / f"made{ending}"
    path.write_bytes(b"old")
    assert run(*arguments, path, "--overwrite")[0] == 0
    assert run(*arguments, path)[0] == 0


def test_one_command_does_not_replace_the_file_of_another(run: Run, tmp_path: Path) -> None:
    """A plan of the beds is not lost to a chart."""
    path = tmp_path / "made.svg"
    assert run("beds", *FORD, "--svg", path)[0] == 0
    status, _, said = run("report", *FORD, "--chart", "season", "-o", path)
    assert status == 1
    assert "was not written by covercrop report" in said


def test_a_file_that_cannot_be_read_is_no_own_one(run: Run, tmp_path: Path) -> None:
    """A link that leads back to itself, and a name that is too long, are refused before any work is done."""
    path = tmp_path / "loop.html"
    path.symlink_to(path)
    for place, why in ((path, "Too many levels"), (tmp_path / ("x" * 3000 + ".html"), "File name too long")):
        status, _, said = run("report", *FORD, "-o", place)
        assert (status, said.count("\n")) == (1, 1)
        assert why in said


def test_the_mark_leaves_the_picture_whole() -> None:
    """The chunk that is put into a PNG has its length and its sum, and stands between two others that are untouched."""
    body = b"IHDR" + bytes(13)
    plain = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body)) + b"rest"
    chunk = marked(plain, "covercrop report")[33:-4]
    assert marked(plain, "covercrop report").replace(chunk, b"") == plain
    assert struct.unpack(">I", chunk[:4])[0] == len(chunk) - 12
    assert struct.unpack(">I", chunk[-4:])[0] == zlib.crc32(chunk[4:-4])
