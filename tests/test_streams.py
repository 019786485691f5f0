"""Standard output and standard error that are full, closed, left by their reader, or too narrow for a letter."""

from __future__ import annotations

import errno
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import pytest

from covercrop.cli import known
from covercrop.cli.main import main

FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="only where there is a device that is always full")

#: A command of each way of writing: console, print, bytes, the output's own lines, and argparse.
WRITERS = [
    ["covers"],
    ["crops", "--json"],
    ["ready", "--json"],
    ["calendar", "-o", "-"],
    ["degree-days", "week.csv", "--lower", "4"],
    ["degree-days", "week.csv", "--lower", "4", "--csv"],
    ["--help"],
    ["ready", "--help"],
    ["--version"],
]
NAMES = [" ".join(arguments) for arguments in WRITERS]


@pytest.fixture(autouse=True)
def _week(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    rows = "".join(f"2026-04-0{day},{day},{day + 9}\n" for day in range(1, 8))
    Path("week.csv").write_text(f"date,tmin,tmax\n{rows}", encoding="utf-8")


@pytest.fixture
def full() -> Iterator[TextIO]:
    """A stream onto a disk without a free byte."""
    stream = FULL.open("w", encoding="utf-8")
    yield stream
    stream.close()


def status_of(arguments: list[str]) -> int:
    """The exit status that the process would have."""
    try:
        return main(arguments)
    except SystemExit as stop:
        return int(stop.code or 0)


@needs_full
@pytest.mark.parametrize("arguments", WRITERS, ids=NAMES)
def test_a_full_output_is_one_line(
    arguments: list[str], full: TextIO, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever writes, a disk that is full is said in one line, with status 1."""
    monkeypatch.setattr(sys, "stdout", full)
    assert status_of(arguments) == 1
    said = capsys.readouterr().err
    assert said.startswith("covercrop: standard output cannot be written (No space left on device)")
    assert said.count("\n") == 1


@pytest.mark.parametrize("arguments", WRITERS, ids=NAMES)
def test_a_closed_output_is_one_line(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An answer that nobody can get is no success."""
    monkeypatch.setattr(sys, "stdout", None)
    assert status_of(arguments) == 1
    assert capsys.readouterr().err == ("covercrop: standard output is closed; leave it open, or send it to a file\n")


@needs_full
@pytest.mark.parametrize("shut", [True, False])
def test_errors_that_cannot_be_said_leave_the_status(
    shut: bool, full: TextIO, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With standard error full or closed the status says it alone, and nothing of it lands in the answer."""
    monkeypatch.setattr(sys, "stderr", None if shut else full)
    assert status_of(["ready", "none.toml"]) == 1
    assert status_of(["covers", "no such cover", "--json"]) == 1
    assert status_of(["ready", "--no-such-option"]) == 2
    assert capsys.readouterr().out == ""
    assert status_of(["crops", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["records"]


@needs_full
@pytest.mark.parametrize("streams", [">/dev/full", ">&-", ">/dev/full 2>/dev/full", ">&- 2>&-"])
def test_nothing_is_left_to_stumble_over_at_the_end(streams: str) -> None:
    """The process ends with status 1 and that one line, whatever was still to be flushed."""
    ended = subprocess.run(
        ["bash", "-c", f"{sys.executable} -m covercrop crops {streams}"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parent.parent)},
    )
    assert ended.returncode == 1
    assert ended.stdout == ""
    assert ended.stderr.count("\n") == (0 if "2>" in streams else 1)


def test_a_letter_that_the_output_lacks(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A CSV is not written with another letter in its place: the encoding is named, and what to set."""
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(io.BytesIO(), encoding="latin-1"))
    monkeypatch.setattr(known, "show", lambda text: sys.stdout.write("Łąka"))
    assert status_of(["crops", "--json"]) == 1
    assert capsys.readouterr().err == (
        "covercrop: standard output is in latin-1, which has no 'Ł'; set PYTHONIOENCODING=utf-8\n"
    )


def test_trouble_of_the_machine_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What no reader or writer expected, such as too many open files, is said without a traceback."""

    def fail(*_: object) -> None:
        raise OSError(errno.EMFILE, "Too many open files", "weather.csv")

    monkeypatch.setattr(known, "show", fail)
    assert status_of(["crops", "--json"]) == 1
    assert capsys.readouterr() == ("", "covercrop: weather.csv: Too many open files\n")
