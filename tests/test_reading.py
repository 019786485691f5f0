"""Only a regular file is read: nothing that waits for ever, has no end, or takes all the memory."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from covercrop.base import reading
from covercrop.base.replacing import replacing
from covercrop.cli.main import main

FIELD = """\
[[field]]
name = "Plot"
latitude = 37.6
longitude = -84.9
[field.cover]
species = "crimson-clover"
sown = 2025-09-12
{calibration}
[field.crop]
name = "summer-squash"
method = "direct-seed"
[field.weather]
file = "{weather}"
"""
RECORDS = """\
place,latitude,cover,cultivar,sown,stage,date,weather
Home,37.6,crimson-clover,,2025-09-12,25%,2026-04-20,{weather}
"""


@pytest.fixture
def odd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder of what is no file, or no longer one that can be read whole."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(reading, "LARGEST", 2**20)
    os.mkfifo("pipe")
    Path("device").symlink_to("/dev/zero")
    Path("loop").symlink_to("loop")
    with Path("sparse").open("wb") as sparse:
        sparse.truncate(2**20 + 1)
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind("socket")
        yield tmp_path


ODD = {
    "pipe": "it is a pipe, not a file",
    "device": "it is a device, not a file",
    "socket": "it is a socket, not a file",
    "loop": "Too many levels of symbolic links",
    "sparse": "it is larger than 1 MB",
    "x" * 3000: "File name too long",
}


def as_fields(name: str) -> list[str]:
    return ["ready", name]


def as_scouted_fields(name: str) -> list[str]:
    return ["scout", name, "Plot", "--bloom", "10"]


def as_weather(name: str) -> list[str]:
    Path("fields.toml").write_text(FIELD.format(calibration="", weather=name), encoding="utf-8")
    return ["weather", "fields.toml"]


def as_calibration(name: str) -> list[str]:
    text = FIELD.format(calibration=f'calibration = "{name}"', weather="none.csv")
    Path("fields.toml").write_text(text, encoding="utf-8")
    return ["ready", "fields.toml"]


def as_degree_days(name: str) -> list[str]:
    return ["degree-days", name, "--lower", "4"]


def as_records(name: str) -> list[str]:
    return ["calibrate", name]


def as_weather_of_records(name: str) -> list[str]:
    Path("records.csv").write_text(RECORDS.format(weather=name), encoding="utf-8")
    return ["calibrate", "records.csv"]


@pytest.mark.parametrize("name", ODD, ids=lambda name: name[:10])
@pytest.mark.parametrize(
    "role",
    [as_fields, as_scouted_fields, as_weather, as_calibration, as_degree_days, as_records, as_weather_of_records],
    ids=lambda role: role.__name__,
)
def test_what_is_no_regular_file_is_refused(
    odd: Path, capsys: pytest.CaptureFixture[str], role: Callable[[str], list[str]], name: str
) -> None:
    """In whichever role it is named, it is refused in one line that says what it is, and left as it is."""
    assert main(role(name)) == 1
    printed, said = capsys.readouterr()
    assert printed == ""
    assert said.startswith("covercrop: ")
    assert said.count("\n") == 1
    assert f"({ODD[name]})" in said
    assert {path.name for path in odd.iterdir()} >= {"pipe", "device", "socket", "loop", "sparse"}


def test_a_calendar_is_not_read_from_a_pipe(odd: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What stands in the place of the earlier calendar does not keep the command waiting."""
    assert main(["calendar", "-o", "pipe"]) == 1
    assert "pipe: cannot be read (it is a pipe, not a file)" in capsys.readouterr().err


def test_a_regular_file_is_read_through_its_links(odd: Path) -> None:
    """A link to a file is that file, and one of just the largest size is read."""
    content = bytes(2**20)
    Path("whole").write_bytes(content)
    Path("link").symlink_to("whole")
    assert reading.read_whole(Path("link")) == content


def test_a_file_that_tells_no_size_is_read_no_further(odd: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One that is longer than it says, as those of the system are, ends the reading too."""
    monkeypatch.setattr(reading, "_refuse_others", lambda path, found: None)
    with pytest.raises(OSError, match="larger than 1 MB"):
        reading.read_whole(Path("device"))


@pytest.mark.parametrize("name", ["pipe", "device", "socket"])
def test_what_is_no_file_is_not_replaced(odd: Path, name: str) -> None:
    """For root a device would make way for a file: it does not."""
    before = Path(name).stat().st_mode
    with pytest.raises(OSError, match="not a file"), replacing(odd / name) as file:
        file.write(b"new")
    assert Path(name).stat().st_mode == before
    assert not list(odd.glob(".*"))
