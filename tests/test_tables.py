"""Many fields in `beds`, `hindcast` and `sow`: a line each, and no question asked twice."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import covercrop
from covercrop.autumn import many
from covercrop.base.shipped import data_path
from covercrop.beds.beds import lay_out_beds
from covercrop.checking.replay import AdviceReplay, Outcome
from covercrop.cli.main import main
from covercrop.render.screen import replay as replay_screen
from covercrop.render.screen.terminal import Screen
from covercrop.render.words import beds as bed_words
from covercrop.season.many import plan_fields

REPOSITORY = Path(__file__).resolve().parent.parent

pytestmark = pytest.mark.usefixtures("plans_once", "autumns_once")
Run = Callable[..., str]


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six plots in the demonstration's weather: two that differ in nothing but name and area, and four others."""
    path = tmp_path_factory.mktemp("farm") / "fields.toml"
    weather = data_path("demo", "weather.csv")
    text = "today = 2026-04-20\n"
    for number, (latitude, crop) in enumerate(
        [(37.6, "pumpkin")] * 2 + [(37.7, "pumpkin"), (37.6, "sweet-corn"), (37.8, "tomato"), (37.9, "muskmelon")]
    ):
        text += (
            f'[[field]]\nname = "Plot {number}"\nlatitude = {latitude}\nlongitude = -84.9\narea_m2 = {400 + number}\n'
            f'[field.cover]\nspecies = "crimson-clover"\nsown = 2025-09-15\n'
            f'[field.weather]\nfile = "{weather.as_posix()}"\n[field.crop]\nname = "{crop}"\n'
        )
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def run(farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """What a command prints about the farm, 80 columns wide."""
    monkeypatch.setenv("COLUMNS", "80")

    def runs(command: str, *more: str) -> str:
        assert main([command, str(farm), *more]) == 0
        return capsys.readouterr().out

    return runs


def test_beds_of_many_fields_are_a_table(run: Run) -> None:
    """A line a field within the width; with a name, or --full, the lists as before."""
    shown = run("beds")
    assert set(re.findall(r"^  (Plot \d)", shown, flags=re.MULTILINE)) == {f"Plot {number}" for number in range(6)}
    assert len(shown.splitlines()) < 20
    assert max(map(len, shown.splitlines())) <= 80
    assert "to load" not in shown
    assert "beds FIELDS --field NAME" in shown
    assert "to load" in run("beds", "--field", "plot 3")
    assert run("beds", "--full").count("to load") == 6
    assert "lb/acre" in run("beds", "--units", "us")


def test_a_line_says_what_the_full_page_says(farm: Path) -> None:
    """Of nitrogen the likely balance, of manure the day or the no of the rule."""
    file = covercrop.read_fields(farm)
    plan = plan_fields(file.fields[:1], on=file.today, today=file.today)[0]
    beds = lay_out_beds(plan)
    assert beds.nitrogen is not None
    name, crop, stands, plants, day, nitrogen, manure = bed_words.line(beds)
    assert (name, crop, stands.split()[-1], int(plants)) == (
        "Plot 0",
        "pumpkin",
        "hills",
        beds.layout.count * beds.layout.plants,
    )
    assert day in bed_words.dates(beds)
    assert manure.removeprefix("until ") in bed_words.interval(beds, beds.intervals[0])
    verdicts = {"missing": "45 short", "too-much": "45 over", "about-right": "about right"}
    for verdict, said in verdicts.items():
        missing = (0.0, 45.0 if verdict == "missing" else -45.0, 0.0)
        other = replace(beds, nitrogen=replace(beds.nitrogen, verdict=verdict, missing=missing))
        assert bed_words.line(other)[5] == said
    assert bed_words.line(replace(beds, nitrogen=None))[5] == "not known"
    never = replace(beds.intervals[0], allowed=False)
    assert bed_words.line(replace(beds, intervals=(*beds.intervals, never)))[6] == "NO"
    assert nitrogen


def test_hindcast_of_many_fields_is_a_table(run: Run) -> None:
    """A line a field; one in full by its name."""
    shown = run("hindcast", "--issue", "04-01")
    assert re.findall(r"^  (Plot \d)", shown, flags=re.MULTILINE) == [f"Plot {number}" for number in range(6)]
    assert "Average date" not in shown
    assert len(shown.splitlines()) < 20
    alone = run("hindcast", "--issue", "04-01", "--field", "Plot 2")
    assert "Average date" in alone
    assert "Plot 3" not in alone
    off_by = re.search(r"Plot 2 .*?(\d\.\d days)", shown)
    assert off_by
    assert re.search(rf"1 Apr +{off_by[1]}", alone)


def test_the_advice_of_many_fields_is_a_table(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line a field with the best of the plain rules beside it, nitrogen in the units asked for."""
    advice = Outcome(seed_free=0.9, in_bloom=0.8, in_time=0.7, together=0.6, pan_kg_ha=56.0, visits=3.0, moved_days=0.5)
    rules = {"fixed_date": 0.4, "first_flower": 0.5, "degree_day_sum": 0.3}
    replayed = AdviceReplay(
        field=covercrop.read_fields(farm).fields[0],
        years=tuple(range(20)),
        advice=advice,
        best_fixed=(5, 4),
        **{name: replace(advice, together=share) for name, share in rules.items()},
    )
    assert replayed.best_rule == "first_flower"
    monkeypatch.setenv("COLUMNS", "100")
    replay_screen.table(Screen(), [replayed], us=True)
    shown = capsys.readouterr().out
    assert re.search(r"Plot 0 +20 +60% +first flowers seen +50% +50 +3\.0", shown)
    assert "lb/acre" in shown


def test_the_same_question_is_not_asked_twice(farm: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of six fields two are the same but for name and area: five comparisons, and each answer has its own field."""
    asked = []
    monkeypatch.setattr(many, "compare_sowing_dates", lambda field, *_, **__: asked.append(field) or _Answer())
    monkeypatch.setattr(many, "replace", lambda _, field: field)
    told: list[float] = []
    file, day = covercrop.read_fields(farm), dt.date(2026, 4, 20)
    answers, problems = many.compare_fields(file.entries, day, today=day, advance=told.append)
    assert not problems
    assert [field.name for field in asked] == ["Plot 0", "Plot 2", "Plot 3", "Plot 4", "Plot 5"]
    assert answers == list(file.entries)
    assert told == [1] * 6


class _Answer:
    """Stands for what was compared."""


def test_sow_is_asked_about_another_day(run: Run) -> None:
    """`--on` as everywhere: once this autumn's dates are over, the next one is meant."""
    more = ("--cover", "crimson-clover", "--field", "Plot 0")
    assert "sowing in autumn 2026" in run("sow", *more)
    assert "sowing in autumn 2027" in run("sow", *more, "--on", "2026-12-01")
    assert '"on": "2026-12-01"' in run("sow", *more, "--on", "2026-12-01", "--json")


def test_what_takes_long_shows_how_far_it_is(farm: Path) -> None:
    """On a terminal's error output, and only there, with what is being done."""
    pty = pytest.importorskip("pty")  # not on Windows
    at_once = "import covercrop.cli.shared as shared, covercrop.cli.main as main; shared.LONG = 0.0; main.main()"
    ours, theirs = pty.openpty()
    environment = os.environ | {"PYTHONPATH": str(REPOSITORY), "TERM": "xterm"}
    program = [sys.executable, "-c", at_once, "ready", str(farm)]
    with subprocess.Popen(program, stdout=subprocess.PIPE, stderr=theirs, env=environment) as running:
        os.close(theirs)
        assert running.stdout is not None
        seen = bytearray()
        drain = threading.Thread(target=_read_all, args=(ours, seen))
        drain.start()
        shown = running.stdout.read()
        drain.join()
    os.close(ours)
    assert running.returncode == 0
    assert b"weather and dates of 6 fields" in seen
    assert b"weather and dates" not in shown


def _read_all(terminal: int, into: bytearray) -> None:
    try:
        while part := os.read(terminal, 4096):
            into += part
    except OSError:  # the other end was closed
        pass


def test_lists_for_a_spreadsheet(run: Run) -> None:
    """A line a field, a date or a score, with what the JSON has of them."""
    ready = list(csv.DictReader(io.StringIO(run("ready", "--csv"))))
    fields = json.loads(run("ready", "--json"))["fields"]
    assert [(each["field"], each["state"]) for each in ready] == [(each["name"], each["state"]) for each in fields]
    assert [each["safe_planting"] for each in ready] == [each["safe_planting"] for each in fields]
    due = list(csv.DictReader(io.StringIO(run("ready", "--csv", "--due"))))
    assert [each["field"] for each in due] == [each["field"] for each in ready if each["due"] == "True"]
    more = ("--field", "Plot 0")
    dated = list(csv.DictReader(io.StringIO(run("calendar", "--csv", *more))))
    events = json.loads(run("calendar", "--json", *more))["fields"][0]["events"]
    assert [(each["kind"], each["from"], each["to"]) for each in dated] == [
        (each["kind"], each["from"], each["to"]) for each in events
    ]
    scored = list(csv.DictReader(io.StringIO(run("hindcast", "--csv", "--issue", "04-01", *more))))
    assert {each["issue"] for each in scored} == {"04-01"}
    assert len({each["event"] for each in scored}) == len(scored) > 4


def test_the_reading_of_american_dates_is_said_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By a date that another reader would take for another day, where there is one; else nothing is said."""
    text = data_path("demo", "fields.toml", beside=("weather.csv",)).read_text(encoding="utf-8")
    weather = data_path("demo", "weather.csv").as_posix()
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace('"weather.csv"', f'"{weather}"'), encoding="utf-8")
    assert main(["weather", str(mine)]) == 0
    assert capsys.readouterr().err == ""
    american = mine.read_text(encoding="utf-8").replace("[[field]]", 'units = "us"\n[[field]]', 1)
    mine.write_text(american.replace("2025-09-15", '"9/15/2025"').replace("2025-09-08", '"9/8/2025"'), encoding="utf-8")
    assert main(["weather", str(mine)]) == 0
    said = "covercrop: mine.toml: dates are read with the month first, 9/8/2025 as 2025-09-08\n"
    assert capsys.readouterr().err == said


def test_plans_say_how_far_they_are(farm: Path) -> None:
    """Twice for each field: its weather is there, and it is done."""
    told: list[float] = []
    file = covercrop.read_fields(farm)
    plan_fields(file.fields[:2], on=file.today, today=file.today, details=False, advance=told.append)
    np.testing.assert_array_equal(told, [1, 1, 1, 1])
