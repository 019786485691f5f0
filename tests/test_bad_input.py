"""Bad input, as a hurried user gives it and as a hostile one does: through the command line, from end to end.

What is wrong gets one line that names the place, the value found and the way
out, with status 1; what can be mended is answered, and flagged.  Neither ever
gives a traceback, changes a file or sends a terminal what it would obey.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import os
import re
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from weather_server import WeatherServer, _remembered

from covercrop.base.errors import LONGEST_LINE, one_line, visible
from covercrop.cli.main import main
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion_names

ESC = "\x1b[31m"
#: What a terminal obeys: C0 and C1 controls, line and paragraph separators, marks of direction, lone surrogates.
OBEYED = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")

FIELD = """\
today = 2026-04-20

[[field]]
name = "Mill terrace"
latitude = 37.80
longitude = -84.10
elevation_m = 260
area_m2 = 900

[field.cover]
species = "hairy-vetch"
cultivar = "Purple Bounty"
sown = 2025-09-12

[field.weather]
file = "plot.csv"
units = "metric"

[field.crop]
name = "pumpkin"

[[field.scouting]]
date = 2026-04-10
bbch = 51
note = "racemes"
"""

HEADER = "date,tmin,tmax,rain"


def invented(first: str, last: str = "2026-04-20") -> list[str]:
    """Rows of an invented place with summers in July: a wave, and a shorter one upon it."""
    start, end = dt.date.fromisoformat(first), dt.date.fromisoformat(last)
    rows = []
    for number in range(start.toordinal(), end.toordinal() + 1):
        day = dt.date.fromordinal(number)
        mean = 12.5 - 12 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25) + 3 * math.sin(number * 0.7)
        half = 5.5 + math.sin(number * 1.1)
        rows.append(f"{day},{mean - half:.1f},{mean + half:.1f},{6.0 if number % 3 == 0 else 0.0}")
    return rows


SEASON = invented("2025-08-01")
DECADE = invented("2014-01-01")


def sheet(rows: list[str], header: str = HEADER) -> str:
    return "\n".join([header, *rows, ""])


def with_row(day: str, row: str, rows: list[str] = SEASON) -> str:
    """A sheet in which the row of one day is another."""
    assert any(old.startswith(day) for old in rows)
    return sheet([row if old.startswith(day) else old for old in rows])


def without(first: str, last: str, rows: list[str] = SEASON) -> str:
    """A sheet in which days are missing."""
    return sheet([row for row in rows if not first <= row[:10] <= last])


def converted(rows: list[str], factor: float, offset: float) -> list[str]:
    split = [row.split(",") for row in rows]
    return [
        ",".join([day, *(f"{float(value) * factor + offset:.1f}" for value in extremes), rain])
        for day, *extremes, rain in split
    ]


@dataclass
class Desk:
    """A folder with a field file and its weather, and the command line beside it."""

    folder: Path
    capsys: pytest.CaptureFixture[str]

    def fields(self, *replacements: tuple[str, str], text: str = FIELD) -> Path:
        for old, new in replacements:
            assert old in text
            text = text.replace(old, new, 1)
        path = self.folder / "fields.toml"
        path.write_bytes(text.encode("utf-8"))
        return path

    def weather(self, content: str | bytes = "", name: str = "plot.csv") -> Path:
        path = self.folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    def run(self, *arguments: object) -> tuple[int, str, str]:
        """Status, output and messages; the files stay as they are, and nothing reaches the terminal to obey."""
        before = self._files()
        try:
            status = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            status = int(stop.code or 0)
        printed, said = self.capsys.readouterr()
        assert self._files() == before
        assert not OBEYED.search(printed + said), ascii(OBEYED.findall(printed + said))
        return status, printed, said

    def refused(self, *arguments: object) -> str:
        """The one line of a refusal; what is printed beside it repeats that line at most."""
        status, printed, said = self.run(*arguments)
        assert status == 1
        assert said.startswith("covercrop: ")
        assert said.count("\n") == 1
        assert len(said) <= LONGEST_LINE + 1
        assert "plan to" not in printed
        assert "likely" not in printed
        return said

    def answered(self, *arguments: object) -> str:
        status, printed, said = self.run(*arguments)
        assert (status, said) == (0, "")
        return printed

    def _files(self) -> list[tuple[Path, bytes, int]]:
        return [
            (path, path.read_bytes(), path.stat().st_mtime_ns)
            for path in sorted(self.folder.rglob("*"))
            if path.is_file() and "cache" not in path.parts
        ]


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    """A sound field file with a sound season of weather."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COVERCROP_CACHE", str(tmp_path / "cache"))
    made = Desk(tmp_path, capsys)
    made.fields()
    made.weather(sheet(SEASON))
    return made


def test_the_sound_file_is_answered(desk: Desk) -> None:
    """What the tests below spoil is in order as it is."""
    desk.weather(sheet(DECADE))
    # Its note of buds lies 24 days ahead of the invented weather, which is said before the advice.
    assert "Mill terrace: GROWING. Look again before you act: your note of 10 Apr" in desk.answered(
        "ready", desk.folder / "fields.toml"
    )


# --- the field file -----------------------------------------------------------------------------------

SOWN, SPECIES, LATITUDE, AREA = "sown = 2025-09-12", '"hairy-vetch"', "latitude = 37.80", "area_m2 = 900"
NOTE = '[[field.scouting]]\ndate = 2026-04-10\nbbch = 51\nnote = "racemes"\n'
TURNED = f"{SOWN}\nturned_under = 2026-04-18"

FIELD_FAULTS = {
    "latitude of 91": ((LATITUDE, "latitude = 91"), "latitude = 91: give degrees north of the equator, -90 to 90"),
    "latitude out of range": ((LATITUDE, "latitude = 1e400"), "latitude = inf: give degrees north"),
    "latitude of 400 digits": ((LATITUDE, f"latitude = {'9' * 400}"), r"latitude = 9+\.\.\.: give degrees north"),
    "number of 5000 digits": ((LATITUDE, f"latitude = {'9' * 5000}"), "cannot be read .*; give the path of a plain"),
    "decimal comma": ((LATITUDE, "latitude = 37,80"), "line 5, .*'latitude = 37,80'; write .* numbers with a point"),
    "degrees in words": ((LATITUDE, "latitude = \"37°48'N\""), "latitude = .37°48'N.*: give degrees north"),
    "longitude out of range": (("longitude = -84.10", "longitude = -840"), "longitude = -840: give degrees east"),
    "negative area": ((AREA, "area_m2 = -5"), "area_m2 = -5: give the area in square metres"),
    "endless area": ((AREA, "area_m2 = inf"), "area_m2 = inf: give the area in square metres"),
    "area in words": ((AREA, 'area_ft2 = "a lot"'), "area_ft2 = 'a lot': give the area in square feet"),
    "key twice": ((AREA, f"{AREA}\n{AREA}"), "Cannot overwrite a value .*line 9.*'area_m2 = 900'"),
    "key with an escape": ((AREA, '"ar\\u001b[31mea" = 1'), r"unknown key 'ar\\x1b\[31mea'"),
    "nested lists": ((AREA, f"area_m2 = {'[' * 3000}{']' * 3000}"), "cannot be read .*recursion"),
    "future sowing": ((SOWN + "\n", "sown = 2026-05-12\n"), "date = 2026-04-10: is not after sowing on 2026-05-12"),
    "sowing in the year 1": ((SOWN, "sown = 0001-01-01"), "sown = 0001-01-01: is too far off; give a day from 1800"),
    "sowing in 9999": ((SOWN, "sown = 9999-12-31"), "sown = 9999-12-31: is too far off"),
    "30 February": ((SOWN, "sown = 2026-02-30"), "line 13, .*'sown = 2026-02-30'; write .* dates as 2026-04-20"),
    "date in quotes": ((SOWN, 'sown = "2025-09-12"'), "sown = '2025-09-12': write a date as 2026-04-20, without"),
    "date with a time": ((SOWN, "sown = 2025-09-12T10:00:00"), "sown = 2025-09-12T10:00:00: write a date as"),
    "time of day": ((SOWN, "sown = 10:00:00"), "sown = 10:00:00: write a date as"),
    "no sowing date": ((SOWN, ""), "'sown' is missing"),
    "sown years ago": ((SOWN, "sown = 2020-09-12"), "sown = 2020-09-12 lies more than 500 days before 2026-04-20"),
    "today in 9999": (("today = 2026-04-20", "today = 9999-12-31"), "today = 9999-12-31: is too far off"),
    "unknown cover": ((SPECIES, '"hairy-vech"'), "unknown cover 'hairy-vech'; did you mean hairy-vetch"),
    "cover with an escape": ((SPECIES, '"hairy\\u001b[31m"'), r"unknown cover 'hairy\\x1b\[31m'"),
    "cultivar of another cover": (("Purple Bounty", "Dixie"), "unknown hairy vetch cultivar 'Dixie'; known: common"),
    "unknown crop": (('"pumpkin"', '"pumkin"'), "unknown crop 'pumkin'; did you mean pumpkin"),
    "turned under before sowing": ((SOWN, f"{SOWN}\nturned_under = 2025-09-01"), "turned_under = 2025-09-01: is not"),
    "turned under tomorrow": ((SOWN, f"{SOWN}\nturned_under = 2026-04-21"), "turned_under = 2026-04-21 is after 2026"),
    "scouted after it was gone": (
        (SOWN, f"{SOWN}\nturned_under = 2026-04-01"),
        "scouting 1: date = 2026-04-10: is after turning under on 2026-04-01; mend one of the two",
    ),
    "planted into the cover": (
        ('name = "pumpkin"', 'name = "pumpkin"\nplanted = 2026-04-15'),
        "planted = 2026-04-15: the cover is still standing; give turned_under",
    ),
    "scouting as a table": (("[[field.scouting]]", "[field.scouting]"), r"scouting = .*write each note as its own"),
    "scouting as texts": ((NOTE, ""), "scouting 1: 'seen' is not one table"),
    "weather as a text": (('file = "plot.csv"', 'station = ["a"]'), r"station = \['a'\]: give the station's id"),
    "method as a list": (('name = "pumpkin"', 'name = "pumpkin"\nmethod = ["sow"]'), r"method = \['sow'\]: use one of"),
    "empty name": (('"Mill terrace"', '" "'), "name = ' ': give the field a name"),
    "long name": (
        ('"Mill terrace"\n' + LATITUDE, f'"{"x" * 5000}"\nlatitude = 91'),
        r'field 1 "x+ \.\.\. x+": latitude = 91: give degrees north',
    ),
    "one field as a table": (("[[field]]", "[field]"), r"no field in it; begin each with a line \[\[field\]\]"),
}  # fmt: skip


@pytest.mark.parametrize("case", FIELD_FAULTS)
def test_a_wrong_field_file(desk: Desk, case: str) -> None:
    """Each fault is refused in one line with the place, the value found and the way out."""
    replacement, message = FIELD_FAULTS[case]
    extra = [(AREA, f'{AREA}\nscouting = ["seen"]')] if case == "scouting as texts" else []
    said = desk.refused("ready", desk.fields(replacement, *extra))
    assert re.search(message, said), said
    assert "fields.toml" in said or "Mill terrace" in said


def test_future_sowing_by_itself(desk: Desk) -> None:
    """A cover that is not sown yet is said to be so, by its own date and today's."""
    path = desk.fields((NOTE, ""), (SOWN, "sown = 2026-05-12"))
    assert "sown = 2026-05-12 is after 2026-04-20, today; mend the date" in desk.refused("ready", path)


def test_planted_before_turned_under(desk: Desk) -> None:
    """The crop cannot be older than the bed it stands in."""
    path = desk.fields((SOWN, TURNED), ('name = "pumpkin"', 'name = "pumpkin"\nplanted = 2026-04-12'))
    assert "planted = 2026-04-12: is not after turning under on 2026-04-18" in desk.refused("ready", path)


@pytest.mark.parametrize("terminate", ["turn-under", "roll", "mow", "tarp"])
def test_a_cover_ended_in_any_way_has_its_day(desk: Desk, terminate: str) -> None:
    """``turned_under`` is the day on which it was done, whatever was done."""
    desk.weather(sheet(DECADE))
    path = desk.fields((SOWN, f'{TURNED}\nterminate = "{terminate}"'))
    (field,) = json.loads(desk.answered("ready", path, "--json"))["fields"]
    assert (field["state"], field["turn_under"]["date"]) == ("turned-under", None)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", r"no field in it; begin each with a line \[\[field\]\]"),
        (FIELD.encode("utf-16"), "byte 0 is not UTF-8 text; save the file as UTF-8"),
        (FIELD.replace("Mill", "Mühl").encode("latin-1"), r"byte \d+ is not UTF-8 text"),
        (bytes(range(256)) * 20, "byte 128 is not UTF-8"),
        (FIELD.replace("Mill", "Mi\0l").encode(), r"line 4, .*Mi\\x00l"),
        (FIELD.replace("\n", "\r").encode(), "not TOML: .*line 1"),
        (sheet(SEASON).encode(), f"not TOML: .*line 1, .*'{HEADER}'"),
    ],
    ids=["empty", "utf-16", "latin-1", "junk", "nul", "old line ends", "a weather file"],
)
def test_what_is_no_field_file(desk: Desk, content: bytes, message: str) -> None:
    """Other files in its place are told apart."""
    path = desk.weather(content, "fields.toml")
    assert re.search(message, said := desk.refused("ready", path)), said


@pytest.mark.parametrize("command", ["ready", "weather"])
def test_paths_that_lead_nowhere(desk: Desk, command: str) -> None:
    """A folder, a missing file, a name no system takes, and one that a terminal would obey."""
    assert "is a folder; give the path of a field file in it" in desk.refused(command, desk.folder)
    assert "no such file; give the path of your field file" in desk.refused(command, desk.folder / "none.toml")
    assert "cannot be read (File name too long)" in desk.refused(command, desk.folder / ("x" * 300))
    assert "cannot be read (embedded null byte)" in desk.refused(command, f"{desk.folder}/a\0b")
    assert "no\\x1b[31mne.toml: no such file" in desk.refused(command, desk.folder / f"no{ESC}ne.toml")
    assert "no\\udcffne: no such file" in desk.refused(command, f"{desk.folder}/no\udcffne")


@pytest.mark.parametrize("mend", [lambda raw: b"\xef\xbb\xbf" + raw, lambda raw: raw.replace(b"\n", b"\r\n")])
def test_what_editors_add_is_no_fault(desk: Desk, mend: Callable[[bytes], bytes]) -> None:
    """A mark before the first character, and the line ends of Windows, are read."""
    desk.weather(mend(FIELD.encode()), "fields.toml")
    desk.weather(mend(sheet(SEASON).encode()))
    assert desk.answered("ready", desk.folder / "fields.toml").startswith("fields.toml, Mon 20 Apr 2026")


def test_one_wrong_field_in_three_hundred(desk: Desk) -> None:
    """The line says which of them, by number and by name."""
    one = FIELD.split("\n", 1)[1]
    fields = [one.replace("Mill terrace", f"Plot {number}") for number in range(1, 301)]
    fields[217] = fields[217].replace("2025-09-12", '"last autumn"')
    said = desk.refused("ready", desk.fields(text="".join(fields)))
    assert "field 218 \"Plot 218\": cover: sown = 'last autumn': write a date" in said


# --- names ----------------------------------------------------------------------------------------------

NAMES = {
    "escape": "Mill \x1b[2J\x1b]0;owned\x07terrace",
    "C1": "Mill \x9b31mterrace\x85",
    "markup": "[red]Mill[/red] [link=http://a.invalid]terrace[/link] \\[x]",
    "line ends": "Mill\nterrace: PLANTABLE\r\vnow",
    "direction": "Mill \u202eecarret\u202c \u2067x\u2069 \u200f\u061c",
    "separators": "Mill\u2028terrace\u2029",
    "delete": "Mill\x7f\x08\x08\x08\x08terrace",
    "scripts": "Мельница · 水車小屋 · сад\u200cы · Mühle 👩\u200d🌾",
    "long": "terrace " * 300,
    "one long word": "x" * 3000,
    "quotes": "\"Mill\" 'terrace' {0} %s ${HOME}",
}


@pytest.mark.parametrize("case", NAMES)
def test_a_name_is_only_a_name(desk: Desk, case: str) -> None:
    """On screens and in messages a name is text and nothing else; in JSON it is what was written, to the letter."""
    name = NAMES[case]
    path = desk.fields(
        ('"Mill terrace"', json.dumps(name, ensure_ascii=False).replace("\x7f", "\\u007f")),
        ('"racemes"', json.dumps(ESC)),
    )
    screens = [desk.answered("ready", path), desk.answered("weather", path)]
    for screen in screens:
        assert max(map(len, screen.splitlines())) <= 80
        assert visible(name).split()[0][:60] in screen
    for command in ("ready", "weather"):
        document = desk.answered(command, path, "--json")
        assert json.loads(document)["fields"][0]["name"] == name
        assert document.isascii()
    desk.weather("date,tmin,tmax\n")
    assert "a header and no rows" in desk.refused("ready", path)
    _, document, _ = desk.run("ready", path, "--json")
    assert json.loads(document)["problems"][0]["name"] == name


def test_markup_stays_text(desk: Desk) -> None:
    """Square brackets of a name are shown as they stand."""
    path = desk.fields(('"Mill terrace"', '"[red]Mill[/red] [bold]terrace"'))
    assert "\n[red]Mill[/red] [bold]terrace: " in desk.answered("ready", path)


@given(st.text())
def test_visible_text_commands_nothing(text: str) -> None:
    """Of any text nothing is left that a terminal obeys, and whatever can be shown is kept as it is."""
    shown = visible(text)
    assert not OBEYED.search(shown.replace("\n", "\0"))
    if not OBEYED.search(text.replace("\n", "\0")):
        assert shown == text
    assert visible(shown) == shown


@given(st.text(max_size=2000))
def test_a_message_is_one_line(text: str) -> None:
    """A message of anything is one line of bounded length, with its beginning and its end."""
    line = one_line(f"place: {text} way out")
    assert line.splitlines() == [line]
    assert len(line) <= LONGEST_LINE
    assert line.startswith("place:")
    assert line.endswith("way out")


def test_every_name_of_the_program_fits_into_a_message() -> None:
    """The longest message of the program's own, the list of all covers and cultivars, is shown whole."""
    known = [*catalogue.cover_names(), *catalogue.crop_names()]
    assert len(f"covercrop: unknown cover {'x' * 60!r}; known: {', '.join(known)}") <= LONGEST_LINE


# --- weather files ----------------------------------------------------------------------------------------

WEATHER_FAULTS: dict[str, tuple[str | bytes, str]] = {
    "empty": ("", "the file is empty; it needs a header line such as date,tmin,tmax"),
    "Fahrenheit": (sheet(converted(DECADE, 1.8, 32)), 'look like Fahrenheit: say units = "us"'),
    "Fahrenheit for a winter": (
        sheet(DECADE[:-100] + converted(DECADE[-100:], 1.8, 32)),
        "2026-01-11 to 2026-04-20 seem to be in degF in a record of degC .they are 36 K warmer than the same days of "
        "other years, and once converted 0 K apart.; write those days in degC, or delete them",
    ),
    "Kelvin": (sheet(converted(SEASON, 1, 273.15)), "none of 263 days can be used .263 days with a value no thermomet"),
    "tenths": (sheet(converted(DECADE, 10, 0)), "hotter than any place on Earth; the numbers are in neither degC nor"),
    "columns the wrong way round": (
        sheet(SEASON, "date,tmax,tmin,rain"),
        "none of 263 days can be used .263 days with the minimum above the maximum .first on 2025-08-01.*; correct",
    ),
    "one day twice": (sheet([*SEASON, "2026-03-05,-4,33,0"]), "2026-03-05 stands twice with different values"),
    "60 days missing": (without("2026-01-10", "2026-03-10"), "plot.csv: the weather has a gap from 2026-01-10.*60"),
    "begins too late": (sheet(SEASON[90:]), "plot.csv: the weather begins on 2025-10-30, after sowing on 2025-09-12"),
    "ends before sowing": (sheet(SEASON[:20]), "no weather since sowing on 2025-09-12 .last observed day: 2025-08-20"),
    "one row": (sheet(SEASON[-1:]), "the weather begins on 2026-04-20, after sowing"),
    "stuck for ever": (
        sheet([f"{row[:10]},5.0,15.0,0" for row in SEASON]),
        "none of 263 days can be used .263 days in which the same values repeat",
    ),
    "wrong column": (sheet(SEASON, "date,tmin,humidity,rain"), "no column with the daily maximum .found: date, tmin"),
    "near column": (sheet(SEASON, "date,tmin,tmxx,rain"), "rename 'tmxx' to tmax"),
    "column with an escape": (sheet(SEASON, f"date,tmin,{ESC}x,rain"), r"found: date, tmin, \\x1b\[31mx, rain"),
    "same column twice": (sheet(SEASON, "date,tmin,tmin,tmax"), "'tmin' and 'tmin' could both be the daily minimum"),
    "minimum never read": (sheet([f"{row[:10]},,15.0,0" for row in SEASON]), "no day has both a minimum and a maximum"),
    "nothing ever read": (sheet([f"{row[:10]},,,0" for row in SEASON]), "no temperatures in it"),
    "rows cut off": (sheet([row[:12] for row in SEASON]), "no day has both a minimum and a maximum"),
    "text": (with_row("2026-03-05", "2026-03-05,cold,12,0"), "line 218, column 'tmin': 'cold' is not a number"),
    "escape": (with_row("2026-03-05", f"2026-03-05,{ESC},12,0"), r"line 218, column 'tmin': '\\x1b\[31m' is not a"),
    "endless text": (with_row("2026-03-05", f"2026-03-05,{'z' * 100_000},12,0"), "line 218, column 'tmin': 'zzz"),
    "underscore": (with_row("2026-03-05", "2026-03-05,1_0,12,0"), "'1_0' is not a number"),
    "other digits": (with_row("2026-03-05", "2026-03-05,\u0661,12,0"), "'\u0661' is not a number"),
    "decimal comma": (with_row("2026-03-05", "2026-03-05,1,5,12,5,0"), "line 218 has 6 values under 4 .*decimal comma"),
    "decimal comma in quotes": (with_row("2026-03-05", '2026-03-05,"1,5",12,0'), "line 218, .*'1,5' is not a number"),
    "open quotation mark": (with_row("2026-03-05", '2026-03-05,"1,12,0'), "line 218, .*opens a quotation mark that is"),
    "endless quotation": (
        with_row("2026-03-05", f'2026-03-05,"{"z" * 200_000}'),
        "line 218 opens a quotation mark that is never closed; delete it",
    ),
    "header twice": (sheet([*SEASON[:9], HEADER, *SEASON[9:]]), "line 11, column 'tmin': 'tmin' is not a number"),
    "a line of means": (sheet([*SEASON, "mean,5,15,1"]), "line 265, column 'date': 'mean' is no date; write dates as"),
    "30 February": (with_row("2026-03-05", "2026-02-30,1,12,0"), "line 218, .*'2026-02-30' is not in the calendar"),
    "month first": (with_row("2026-03-05", "03/05/2026,1,12,0"), "'03/05/2026' is in no order that is safe to guess"),
    "reading of 2099": (
        sheet([*SEASON, "2099-01-01,1,12,0"]),
        "plot.csv: 2099-01-01 is after 2026-04-20, today, and is no forecast row; mend the date, or add a column kind",
    ),
    "year 2206": (sheet([*SEASON, "2206-01-01,1,12,0"]), "line 265, .*'2206-01-01' is too far off"),
    "year 99999": (sheet([*SEASON, "99999-01-01,1,12,0"]), "'99999-01-01' is no date"),
    "utf-16": (sheet(SEASON).encode("utf-16"), 'the file is in UTF-16; save it as "CSV UTF-8"'),
    "utf-16 unmarked": (sheet(SEASON).encode("utf-16-le"), "this is not a text file; export the sheet or the logger"),
    "latin-1": (sheet([*SEASON, "2026-04-21,1,12,\xe9"]).encode("latin-1"), "line 265 holds the byte 0xe9, which"),
    "binary": (bytes(range(255, 0, -1))[2:] * 20, "line 1 holds the byte 0xfd, which is not UTF-8"),
    "a web page": ("<html><body>404, not found</body></html>", "no column with the date .found: <html>"),
    "a field file": (FIELD, "line 1, 'today = 2026-04-20', is no header of several columns"),
}  # fmt: skip


@pytest.mark.parametrize("case", WEATHER_FAULTS)
def test_a_wrong_weather_file(desk: Desk, case: str) -> None:
    """Each fault is refused in one line with the field, the file, the place, the value and the way out."""
    content, message = WEATHER_FAULTS[case]
    desk.weather(content)
    said = desk.refused("ready", desk.folder / "fields.toml")
    assert re.search(message, said), said
    assert said.startswith("covercrop: Mill terrace: ")
    assert "plot.csv: " in said


@pytest.mark.parametrize("first", [-31, -230])
def test_celsius_in_a_us_file(desk: Desk, first: int) -> None:
    """A month of degC in a file of degF, at its end or before the winter, is refused by its days and mended by them."""
    fields = desk.fields(('units = "metric"', 'units = "us"'))
    us = converted(DECADE, 1.8, 32)
    month = slice(first, first + 31 or None)
    desk.weather(sheet([*us[:first], *DECADE[month], *(us[first + 31 :] if first + 31 else [])]))
    said = desk.refused("ready", fields)
    begins, ends = DECADE[month][0][:10], DECADE[month][-1][:10]
    assert f"plot.csv: {begins} to {ends} seem to be in degC in a record of degF (they are" in said
    assert said.endswith("write those days in degF, or delete them\n")
    desk.weather(sheet(us))
    desk.answered("ready", fields)


def test_each_fault_has_its_own_message() -> None:
    """No two faults of a kind are told in the same words, but for those that are the same fault."""
    same = {"rows cut off"}
    for faults in (FIELD_FAULTS, WEATHER_FAULTS):
        messages = [message for case, (_, message) in faults.items() if case not in same]
        assert len(set(messages)) == len(messages)


def test_degree_days_of_a_wrong_file(desk: Desk) -> None:
    """The plain table is as strict as the answer for a field."""
    path = desk.weather(WEATHER_FAULTS["text"][0])
    assert "plot.csv: line 218, column 'tmin': 'cold'" in desk.refused("degree-days", path, "--lower", 4)
    path = desk.weather(WEATHER_FAULTS["60 days missing"][0])
    assert "60 days from 2026-01-10 are missing" in desk.refused("degree-days", path, "--lower", 4)
    assert "this is a folder" in desk.refused("degree-days", desk.folder, "--lower", 4)
    assert "did you mean plot.csv?" in desk.refused("degree-days", desk.folder / "plott.csv", "--lower", 4)
    assert "--lower inf: give a temperature" in desk.refused("degree-days", path, "--lower", "1e400")


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("absent", "absent: no such file; check the name and the folder"),
        ("plott.csv", "no such file; did you mean plot.csv"),
        (".", "this is a folder; name the CSV file in it"),
        ("x" * 300, "cannot be read (File name too long)"),
        ("a\\u0000b", "cannot be read (embedded null byte)"),
        ("\\u001b[31m.csv", "\\x1b[31m.csv: no such file"),
        ("plot.csv/inside", "cannot be read (Not a directory)"),
        ("/dev/null", "cannot be read (it is a device, not a file)"),
    ],
)
def test_a_weather_file_that_cannot_be_read(desk: Desk, name: str, message: str) -> None:
    """A wrong name in the field file is told from a wrong file."""
    path = desk.fields(('"plot.csv"', f'"{name}"'))
    assert message in desk.refused("ready", path)


def test_a_path_with_spaces(desk: Desk) -> None:
    """Spaces and letters of any script in the name of a file are in order."""
    desk.weather(sheet(SEASON), "my plöt, 2026.csv")
    assert "from the file my plöt, 2026.csv" in desk.answered(
        "weather", desk.fields(('"plot.csv"', '"my plöt, 2026.csv"'))
    )


def test_a_mended_file_is_read_again(desk: Desk) -> None:
    """In one session too, a file that was changed is not answered from memory."""
    path = desk.folder / "fields.toml"
    assert "263 days" in desk.answered("weather", path)
    os.utime(desk.weather(sheet(SEASON[:-3])), ns=(1, 1))
    assert "260 days" in desk.answered("weather", path)


# --- what is answered, with a flag ------------------------------------------------------------------------

FLAGGED = {
    "minimum above maximum": (with_row("2026-03-05", "2026-03-05,19,12,0", DECADE), "tmin-above-tmax: 1 (2026-03-05)"),
    "stuck sensor": (
        sheet([f"{row[:10]},3.0,14.0,0" if "2026-03-01" <= row[:10] <= "2026-03-06" else row for row in DECADE]),
        "stuck-sensor: 6 (2026-03-01, 2026-03-02, 2026-03-03, ...)",
    ),
    "day twice alike": (sheet([*DECADE, DECADE[-40]]), f"duplicated: 1 ({DECADE[-40][:10]})"),
    "two days missing": (
        without("2026-03-01", "2026-03-02", DECADE),
        "2 days filled by a straight line (gaps of up to 5 days)",
    ),
    "20 days missing": (
        without("2026-03-01", "2026-03-20", DECADE),
        "20 days filled with the season's usual temperature (gaps of up to 30 days)",
    ),
    "1e400": (with_row("2026-03-05", "2026-03-05,1e400,12,0", DECADE), "out-of-range: 1 (2026-03-05)"),
    "minus infinity": (with_row("2026-03-05", "2026-03-05,-inf,12,0", DECADE), "out-of-range: 1 (2026-03-05)"),
    "rain below nothing": (with_row("2026-03-05", "2026-03-05,1,12,-5", DECADE), "out-of-range: 1 (2026-03-05)"),
    "a spike": (with_row("2026-03-05", "2026-03-05,30,45,0", DECADE), "spike: 1 (2026-03-05)"),
    "in any order": (sheet(DECADE[::-1]), "the rows were not in order of date and were sorted"),
    "semicolons and decimal commas": (
        sheet([row.replace(",", ";").replace(".", ",") for row in DECADE], "date;tmin;tmax;rain"),
        "2014-01-01 to 2026-04-20, 4,493 days: 100% observed",
    ),
    "a row of long ago": (sheet(["1901-01-01,1,12,0", *DECADE]), "the longest gap runs from 1901-01-02 to 2013-12-31"),
}


@pytest.fixture(scope="module")
def best_days() -> list[dt.date]:
    """The best day by the sound file, once a test below has asked for it."""
    return []


@pytest.mark.parametrize("case", FLAGGED)
def test_what_can_be_mended_is_answered_and_flagged(desk: Desk, case: str, best_days: list[dt.date]) -> None:
    """The answer comes, `covercrop weather` names the flag and the day, and the best day moves by at most 3 days."""
    content, flag = FLAGGED[case]
    path = desk.folder / "fields.toml"

    def best_day() -> dt.date:
        (field,) = json.loads(desk.answered("ready", path, "--json"))["fields"]
        return dt.date.fromisoformat(field["turn_under"]["date"])

    if not best_days:
        desk.weather(sheet(DECADE))
        best_days.append(best_day())
    (sound,) = best_days
    desk.weather(content)
    assert flag in " ".join(desk.answered("weather", path).split())
    assert abs((best_day() - sound).days) <= 3


def test_weather_that_ended_a_month_ago(desk: Desk) -> None:
    """It is answered, and the last observed day is named."""
    desk.weather(sheet(DECADE[:-32]))
    screen = desk.answered("ready", desk.folder / "fields.toml")
    assert "2026-03-19; the 32 days since are taken from past years" in " ".join(screen.split())


def test_three_years_of_history(desk: Desk) -> None:
    """Too few past years give no forecast and no invented date, but the reason."""
    desk.weather(sheet(invented("2023-04-01")))
    path = desk.folder / "fields.toml"
    (field,) = json.loads(desk.answered("ready", path, "--json"))["fields"]
    assert field["turn_under"]["date"] is None
    assert field["dates"]["window_close"]["median"] is None
    assert field["dates"]["emergence"]["median"] is not None
    assert any("Only 3 complete past years" in note and "Name a station" in note for note in field["notes"])


# --- places and days --------------------------------------------------------------------------------------


@pytest.mark.parametrize("latitude", ["0.0", "-0.0", "24.9", "-24.9", "80", "90"])
def test_far_latitudes_are_answered(desk: Desk, latitude: str) -> None:
    """From the equator to the pole there is an answer, with finite dates and no warning."""
    desk.weather(sheet(DECADE))
    path = desk.fields((LATITUDE, f"latitude = {latitude}"))
    assert json.loads(desk.answered("ready", path, "--json"))["fields"][0]["dates"]["emergence"]["median"]


@pytest.mark.parametrize("latitude", ["-37.80", "-90"])
def test_a_sign_left_out_of_the_latitude(desk: Desk, latitude: str) -> None:
    """A place south of the equator with its summer in July is refused, whichever of the two is wrong."""
    desk.weather(sheet(DECADE))
    said = desk.refused("ready", desk.fields((LATITUDE, f"latitude = {latitude}")))
    assert "plot.csv: July is warmer than January" in said
    assert "south of the equator; check the sign of the latitude" in said


@pytest.mark.parametrize(
    ("day", "message"),
    [
        ("2025-09-11", "sown = 2025-09-12 is after 2025-09-11, the day asked about; ask about a later day with --on"),
        ("1801-01-01", "sown = 2025-09-12 is after 1801-01-01"),
        ("2027-02-01", "sown = 2025-09-12 lies more than 500 days before 2027-02-01, and that season is over"),
        ("2100-12-31", "lies more than 500 days before 2100-12-31"),
    ],
)
def test_days_beyond_the_season(desk: Desk, day: str, message: str) -> None:
    """Before sowing there is nothing to say, nor once the season is over."""
    assert message in desk.refused("ready", desk.folder / "fields.toml", "--on", day)


@pytest.mark.parametrize("day", ["2026-02-30", "0001-01-01", "9999-12-31", "20 April", ESC, ""])
def test_days_that_are_none(desk: Desk, day: str) -> None:
    """What --on cannot take is wrong usage, said with the value and how to write it."""
    status, printed, said = desk.run("ready", desk.folder / "fields.toml", "--on", day)
    assert (status, printed) == (2, "")
    assert re.search(r"argument --on: '.*' is (not a date; write it as 2026-04-20|too far off; give a day)", said)


@pytest.mark.parametrize("day", ["2025-09-12", "2026-06-30", "2026-12-31"])
def test_any_day_of_the_season_is_answered(desk: Desk, day: str) -> None:
    """From the day of sowing on, and ahead of the calendar too."""
    desk.weather(sheet(DECADE))
    assert desk.answered("ready", desk.folder / "fields.toml", "--on", day)


@pytest.mark.parametrize("command", ["covers", "crops"])
def test_names_that_are_no_cover(desk: Desk, command: str) -> None:
    """Escapes, line ends and endless names are repeated harmlessly, and what is known is told."""
    known = {"covers": companion_names, "crops": catalogue.crop_names}[command]()  # the cereals come after the legumes
    for name in (ESC, "pump\nkin", "x" * 100_000, "[red]x[/red]"):
        said = desk.refused(command, name)
        assert said.startswith(f"covercrop: unknown {command.removesuffix('s')} '")
        assert said.rstrip().endswith((known[-1], "did you mean pumpkin?"))


# --- stations ---------------------------------------------------------------------------------------------


@pytest.fixture
def client(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Points the meteostat client at an address on this machine; what it makes of a table is remembered."""
    import meteostat as ms
    from meteostat.api import timeseries
    from meteostat.providers.meteostat import daily

    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr(daily, "reshape_by_source", _remembered(daily.reshape_by_source))
    monkeypatch.setattr(timeseries, "squash_df", _remembered(timeseries.squash_df))
    for name in vars(type(ms.config)):
        if name.startswith(("cache_", "network_", "stations_db_")) or name == "include_model_data":
            monkeypatch.setattr(ms.config, name, getattr(ms.config, name))

    def point(url: str) -> None:
        monkeypatch.setattr(ms.config, "stations_db_endpoints", [f"{url}/stations.db"])
        monkeypatch.setattr(daily, "ENDPOINT", url + "/daily/{year}/{station}.csv.gz")

    return point


def closed_port() -> str:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return f"http://127.0.0.1:{taken.getsockname()[1]}"


@pytest.mark.parametrize(
    "source",
    ['station = "ZZ001"', ""],
    ids=["station", "nearest"],
)
@pytest.mark.parametrize("command", [["ready"], ["weather", "--fetch"]])
def test_no_network_and_nothing_kept(
    desk: Desk, client: Callable[[str], None], source: str, command: list[str]
) -> None:
    """Without a network the way out is a connection or a file; nothing is left half-written in the cache."""
    client(closed_port())
    path = desk.fields(('file = "plot.csv"', source))
    said = desk.refused(*command, path)
    assert "Mill terrace: the list of weather stations could not be fetched (no answer); connect and try again" in said
    assert list((desk.folder / "cache").iterdir()) == []


def test_a_file_is_enough_where_the_station_cannot_be_reached(desk: Desk, client: Callable[[str], None]) -> None:
    """With a file of one's own, a station out of reach is noted and the answer still comes."""
    client(closed_port())
    path = desk.fields(('file = "plot.csv"', 'file = "plot.csv"\nstation = "ZZ001"'))
    screen = " ".join(desk.answered("ready", path).split())
    assert "Station ZZ001 could not be reached: the list of weather stations could not be fetched" in screen


def at_the_stations(desk: Desk, source: str, **place: str) -> Path:
    """The field file moved to where the invented stations are."""
    return desk.fields(
        ('file = "plot.csv"', source),
        ("today = 2026-04-20", "today = 2024-04-20"),
        (SOWN, "sown = 2023-09-12"),
        (NOTE, ""),
        (LATITUDE, f"latitude = {place.get('latitude', '40.5')}"),
        ("longitude = -84.10", f"longitude = {place.get('longitude', '-86.9')}"),
    )


def test_stations_that_do_not_serve(desk: Desk, client: Callable[[str], None]) -> None:
    """A station without data, an unknown one, a place without any, and an outage later on each have their line."""
    with WeatherServer(today=dt.date(2024, 4, 20)) as server:
        client(server.url)
        said = desk.refused("ready", at_the_stations(desk, 'station = "ZZ004"'))
        assert "station ZZ004 (Silent Hill) has no daily temperatures from 1993-01-01 to 2024-04-20" in said
        assert "name another station, or give a weather file" in said
        said = desk.refused("ready", at_the_stations(desk, 'station = "ZZ01"'))
        assert "no station 'ZZ01'; did you mean ZZ001" in said
        for hostile in ("../../etc/passwd", "%", "a\\u0000b", "\\u001b[31m", "x" * 5000):
            assert "leave the station out" in desk.refused("ready", at_the_stations(desk, f'station = "{hostile}"'))
        said = desk.refused("ready", at_the_stations(desk, "", latitude="10", longitude="10"))
        assert "no station with daily temperatures within 80 km of 10.00, 10.00; name a station, or give a" in said
    said = desk.refused("ready", at_the_stations(desk, 'station = "ZZ001"'))
    assert "station ZZ001: no answer from the weather server and nothing kept from earlier" in said


@pytest.mark.parametrize("folder", ["/dev/null/cache", f"/dev/null/{ESC}", "/tmp/" + "y" * 300])
def test_a_cache_that_cannot_be(
    desk: Desk, client: Callable[[str], None], monkeypatch: pytest.MonkeyPatch, folder: str
) -> None:
    """A folder that cannot be made is named, with the setting that names another."""
    client(closed_port())
    monkeypatch.setenv("COVERCROP_CACHE", folder)
    said = desk.refused("ready", desk.fields(('file = "plot.csv"', "")))
    assert "set COVERCROP_CACHE to a folder that can be written" in said


@pytest.mark.parametrize("source", ['station = "ZZ001"', "", 'file = "plot.csv"\nstation = "ZZ001"'])
def test_a_server_that_sends_nothing_to_use(desk: Desk, client: Callable[[str], None], source: str) -> None:
    """Empty files with status 200: one line, again and again; with a file of one's own the answer still comes."""
    with WeatherServer(today=dt.date(2024, 4, 20)) as server:
        client(server.url)
        path = at_the_stations(desk, source)
        desk.weather(sheet(invented("2014-01-01", "2024-04-20")))
        for ending, words in (("stations.db", "list of weather stations"), (".csv.gz", "could not be read")):
            server.spoil = lambda asked, body, ending=ending: b"" if asked.endswith(ending) else body
            for _ in range(2):
                if "file" in source:
                    screen = " ".join(desk.answered("ready", path).split())
                    assert words in screen
                    assert "sent cannot be used" in screen or "Station ZZ001 cannot be used" in screen
                else:
                    assert words in desk.refused("ready", path)


def test_a_cache_that_holds_something_else(desk: Desk, client: Callable[[str], None]) -> None:
    """Whatever stands in the cache, the answer is that of a fresh one, and a note says what was thrown away."""
    cache = desk.folder / "cache"
    with WeatherServer(today=dt.date(2024, 4, 20)) as server:
        client(server.url)
        path = at_the_stations(desk, "")
        fresh = desk.answered("weather", path)
        for name in ("stations.db", "station-ZZ001.npz"):
            (cache / name).write_bytes(b"PK\x03\x04 \x1b[31m something else")
        screen = " ".join(desk.answered("weather", path).split())
        assert "that was kept could not be used (file is not a database) and was thrown away; another" in screen
        assert "station ZZ001: what was kept of it is damaged; thrown away, and asked for again" in screen
        assert desk.answered("weather", path) == fresh
