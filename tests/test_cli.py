"""The command line, as a grower types it."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from covercrop.cli import degree_days as degree_days_command
from covercrop.cli import main, region, shared
from covercrop.models import degree_days
from covercrop.season.absent import WHY
from covercrop.season.decision import WHY as WHY_CHOSEN
from covercrop.season.next_step import ACTIONS
from covercrop.season.plan import DATES, STATES
from covercrop.season.provenance import CHECKS

Run = Callable[..., tuple[int, str, str]]


# --- screens --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("ready.txt", ["ready"]),
        ("ready_full_us.txt", ["ready", "--full", "--units", "us"]),
        ("ready_may.txt", ["ready", "--on", "2026-05-05"]),
        ("calendar.txt", ["calendar"]),
        ("calendar_us.txt", ["calendar", "--on", "2026-05-25", "--units", "us"]),
        ("weather.txt", ["weather"]),
        ("covers.txt", ["covers"]),
        ("cover.txt", ["covers", "crimson-clover"]),
        ("crops.txt", ["crops", "--units", "us"]),
        ("crop.txt", ["crops", "muskmelon"]),
    ],
)
def test_screens(run: Run, golden: Callable[[str, str], None], name: str, arguments: list[str]) -> None:
    """Each screen is the recorded one, fits 80 columns, and leaves no blanks at the ends of lines."""
    status, screen, messages = run(*arguments)
    assert (status, messages) == (0, "")
    assert max(map(len, screen.splitlines())) <= 80
    assert not any(line.endswith(" ") for line in screen.splitlines())
    golden(name, screen)


def test_a_crop_model_is_named_where_it_set_a_number(run: Run) -> None:
    """Beside the number, as an assumption is, and among what an answer assumes."""
    _, screen, _ = run("covers", "faba-bean")
    assert "a crop model's setting, no measurement (wofost_faba: 0, as in APSIM" in " ".join(screen.split())


def test_a_screen_without_unicode_is_plain_ascii(demo_dir: Path) -> None:
    """An output that cannot hold blocks and degree signs gets plain characters, not an error."""
    ended = subprocess.run(
        [sys.executable, "-m", "covercrop", "ready"],
        capture_output=True,
        check=True,
        env={"PATH": "", "PYTHONPATH": str(demo_dir.parent.parent), "PYTHONIOENCODING": "ascii", "COLUMNS": "80"},
    )
    assert ended.stderr == b""
    screen = ended.stdout.decode("ascii")
    assert "#" in screen
    assert "?" not in screen


@pytest.mark.parametrize("width", [40, 60, 100, 160])
def test_screens_fit_the_width(run: Run, monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    """At any width from 40 columns on no line is longer than the terminal, nor than 100."""
    monkeypatch.setenv("COLUMNS", str(width))
    _, screen, _ = run("ready")
    assert max(map(len, screen.splitlines())) <= min(width, 100)


@pytest.mark.parametrize("on", ["2026-04-20", "2026-05-06", "2026-05-25"])
def test_an_answer_is_short_until_more_is_asked_for(run: Run, monkeypatch: pytest.MonkeyPatch, on: str) -> None:
    """A field takes half a page; why, assumptions and sources come with --full, and are told of."""
    monkeypatch.setenv("COLUMNS", "80")
    short = run("ready", "--on", on, "--field", "Chapel bench")[1]
    full = run("ready", "--on", on, "--field", "Chapel bench", "--full")[1]
    assert len(short.splitlines()) <= 40 < len(full.splitlines())
    assert "--full adds why, every date" in short
    assert "licensed advice" in short
    for title in ("Why", "Sources", "Assumed, since no source gives it"):
        assert title in full.splitlines()
        assert title not in short.splitlines()
    assert short.count("Take care") <= 1


def test_the_caution_is_that_of_the_work_in_hand(run: Run) -> None:
    """Turning under within the week bares the soil; a month before there is nothing to take care of yet."""
    assert "Take care: Turning under bares the soil" in run("ready", "--on", "2026-05-14", "--field", "Chapel bench")[1]
    assert "Take care" not in run("ready", "--on", "2026-03-20", "--field", "Chapel bench")[1]


def test_every_field_begins_with_what_to_do(run: Run) -> None:
    """The first line of a field names it, its state in words and the day to go there."""
    _, screen, _ = run("ready")
    for name in ("Ford meadow", "Chapel bench", "Upper orchard strip"):
        line = next(line for line in screen.splitlines() if line.startswith(name))
        assert line.split(": ")[1].startswith(("BUDDING", "GROWING"))
        assert "plan to turn it under" in line


# --- JSON -----------------------------------------------------------------------------------------

DATE = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
RANGE = {
    "type": "object",
    "properties": {"early": DATE, "median": DATE, "late": DATE},
    "required": ["early", "median", "late"],
    "additionalProperties": False,
}
TEXTS = {"type": "array", "items": {"type": "string", "minLength": 1}}
SHARE = {"type": "number", "minimum": 0, "maximum": 1}
AMOUNT = {
    "type": "object",
    "properties": {end: {"type": ["number", "null"], "minimum": 0} for end in ("low", "median", "high")},
    "required": ["low", "median", "high"],
}
SHARE = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
ODDS = {
    "date": DATE,
    **dict.fromkeys(("probability", "p_killed", "p_seed_free", "p_bloom", "p_in_time", "p_all"), SHARE),
}
BEST = {
    **ODDS,
    "from": DATE,
    "to": DATE,
    "p_some_day": SHARE,
    "why": {"enum": [*WHY_CHOSEN, None]},
    "given_up": {"enum": ["bloom", "crop", None]},
    "instead_of_day": {"type": ["object", "null"], "properties": ODDS, "required": list(ODDS)},
}
METHODS = ("turn-under", "roll", "mow", "tarp")
#: What may be missing from a field.
MAY_LACK = (
    *(f"dates.{name}" for name in DATES),
    "turn_under",
    "binding_limit",
    "safe_planting",
    "p_ripens",
    "worth_watering",
    "nitrogen",
    "nitrogen.released",
)
READY = {
    "type": "object",
    "required": ["schema", "on", "fields"],
    "properties": {
        "schema": {"const": 1},
        "on": {"type": "string", "format": "date"},
        "fields": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": [
                    "name",
                    "species",
                    "cultivar",
                    "sown",
                    "state",
                    "stage",
                    "dates",
                    "seen_otherwise",
                    "p_survives",
                    "doubtful",
                    "turn_under",
                    "given_up",
                    "winter",
                    "next_step",
                    "window_probability",
                    "binding_limit",
                    "safe_planting",
                    "planted_before_safe",
                    "too_late_to_plant",
                    "p_ripens",
                    "likely_ripe",
                    "ripe",
                    "cold_filling",
                    "worth_watering",
                    "doubts",
                    "check_first",
                    "stale_since",
                    "observed_share",
                    "nitrogen",
                    "absent",
                    "notes",
                    "cautions",
                    "sources",
                ],
                "properties": {
                    "name": {"type": "string"},
                    "species": {"type": "string"},
                    "cultivar": {"type": ["string", "null"]},
                    "sown": {"type": "string", "format": "date"},
                    "state": {"enum": list(STATES)},
                    "stage": {
                        "type": "object",
                        "properties": {
                            "bbch": {"type": "integer", "minimum": 0, "maximum": 99},
                            "name": {"type": "string"},
                        },
                        "required": ["bbch", "name"],
                    },
                    "dates": {
                        "type": "object",
                        "properties": dict.fromkeys(DATES, RANGE),
                        "required": list(DATES),
                        "additionalProperties": False,
                    },
                    "seen_otherwise": {
                        "type": ["object", "null"],
                        "additionalProperties": False,
                        "required": ["date", "bbch"],
                        "properties": {"date": DATE, "bbch": {"type": "number", "minimum": 0, "maximum": 99}},
                    },
                    "p_survives": SHARE,
                    "doubtful": {"type": "boolean"},
                    "turn_under": {
                        "type": "object",
                        "additionalProperties": False,
                        "properties": {
                            **BEST,
                            "method": {"enum": list(METHODS)},
                            "instead_of": {"enum": [*METHODS, None]},
                            "poor": {"type": "boolean"},
                            "may_be_closed": {"type": "boolean"},
                            "surer": {"type": ["object", "null"], "properties": BEST, "required": list(BEST)},
                        },
                        "required": [*BEST, "method", "instead_of", "poor", "may_be_closed", "surer"],
                    },
                    "given_up": {"type": ["string", "null"]},
                    "winter": {
                        "type": "object",
                        "additionalProperties": False,
                        "required": ["snow_from", "hardest", "snow_mm", "felt_c", "stands_c", "lost", "cause"],
                        "properties": {
                            "snow_from": {"enum": ["measured", "worked-out", "none", "no-catch"]},
                            "hardest": DATE,
                            **{name: {"type": ["number", "null"]} for name in ("snow_mm", "felt_c", "stands_c")},
                            "lost": {"type": "boolean"},
                            "cause": {"type": ["string", "null"]},
                        },
                    },
                    "next_step": {
                        "type": "object",
                        "additionalProperties": False,
                        "required": ["action", "method", "from", "to"],
                        "properties": {
                            "action": {"enum": list(ACTIONS)},
                            "method": {"enum": [*METHODS, None]},
                            "from": DATE,
                            "to": DATE,
                        },
                    },
                    "safe_planting": DATE,
                    "planted_before_safe": {"type": "boolean"},
                    "too_late_to_plant": {"type": "boolean"},
                    "p_ripens": {"type": ["number", "null"], "minimum": 0, "maximum": 1},
                    "likely_ripe": {"type": ["boolean", "null"]},
                    "ripe": RANGE,
                    "cold_filling": {"type": ["boolean", "null"]},
                    "worth_watering": {"type": ["boolean", "null"]},
                    "check_first": {"enum": [*CHECKS, None]},
                    "stale_since": DATE,
                    "absent": {
                        "type": "object",
                        "additionalProperties": False,
                        "properties": {name: {"enum": list(WHY)} for name in MAY_LACK},
                    },
                    "window_probability": {
                        "type": "array",
                        "items": {
                            "type": "object",
                            "properties": {
                                "date": {"type": "string", "format": "date"},
                                "p": {"type": "number", "minimum": 0, "maximum": 1},
                            },
                            "required": ["date", "p"],
                        },
                    },
                    "binding_limit": {"enum": ["residue", "disease", "maggot", "soil_warm", "frost", None]},
                    "doubts": {
                        "type": "array",
                        "items": {
                            "type": "object",
                            "additionalProperties": False,
                            "required": ["date", "of", "days", "kelvin", "against", "confirmed", "used", "said"],
                            "properties": {
                                "date": DATE,
                                "of": {"enum": ["stage", "cereal", "soil"]},
                                "days": {"type": ["number", "null"]},
                                "kelvin": {"type": ["number", "null"]},
                                "against": DATE,
                                "confirmed": {"type": "boolean"},
                                "used": {"type": "boolean"},
                                "said": {"type": "string", "minLength": 1},
                            },
                        },
                    },
                    "observed_share": {"type": "number", "minimum": 0, "maximum": 1},
                    "nitrogen": {
                        "type": "object",
                        "properties": {
                            **dict.fromkeys(("dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha", "carbon_nitrogen"), AMOUNT),
                            "released": {
                                "type": "array",
                                "items": {
                                    "type": "object",
                                    "properties": {
                                        "weeks": {"type": "integer", "minimum": 1},
                                        **dict.fromkeys(("low", "median", "high"), SHARE),
                                    },
                                    "required": ["weeks", "low", "median", "high"],
                                    "additionalProperties": False,
                                },
                            },
                        },
                        "required": ["dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha", "carbon_nitrogen", "released"],
                        "additionalProperties": False,
                    },
                    "notes": TEXTS,
                    "cautions": TEXTS,
                    "sources": TEXTS,
                },
            },
        },
    },
}


@pytest.mark.parametrize("on", ["2025-11-01", "2026-04-20", "2026-05-06", "2026-07-01"])
def test_ready_json_keeps_to_its_schema(run: Run, on: str) -> None:
    """On any day the document has every key of the contract, ISO dates and null for what is not reached."""
    status, printed, messages = run("ready", "--json", "--on", on)
    assert (status, messages) == (0, "")
    document = json.loads(printed)
    jsonschema.validate(document, READY, format_checker=jsonschema.FormatChecker())
    assert document["on"] == on
    assert len(document["fields"]) == 3


def test_ready_json_says_what_the_screen_says(run: Run) -> None:
    """The best day of the document is the day of the headline."""
    _, screen, _ = run("ready")
    _, printed, _ = run("ready", "--json")
    for field in json.loads(printed)["fields"]:
        best = dt.date.fromisoformat(field["turn_under"]["date"])
        assert f"{field['name']}: " in screen
        assert f"{best.day} {best:%b}" in screen
        odds = [entry["p"] for entry in field["window_probability"]]
        assert field["turn_under"]["probability"] <= max(odds)
        if field["turn_under"]["p_seed_free"] > 0.95:  # where the risk of seed does not bring it forward
            assert field["turn_under"]["probability"] >= max(odds) - 0.031


def test_the_other_commands_speak_json(run: Run) -> None:
    """covers, crops and weather give a document with a schema number."""
    for arguments in (["covers"], ["covers", "faba-bean"], ["crops"], ["weather"]):
        status, printed, _ = run(*arguments, "--json")
        assert status == 0
        assert json.loads(printed)["schema"] == 1


# --- degree-days ------------------------------------------------------------------------------------


@pytest.fixture
def week(tmp_path: Path) -> Path:
    """Four days in degF with round numbers."""
    path = tmp_path / "week.csv"
    path.write_text("date,tmin,tmax\n2026-04-01,40,60\n2026-04-02,50,90\n2026-04-03,30,45\n2026-04-04,55,75\n")
    return path


def test_degree_days_as_csv(run: Run, week: Path) -> None:
    """Simple average above 50 degF: 0, 20, 0, 15, summed to 35, with the contract's columns."""
    status, printed, _ = run("degree-days", week, "--method", "average", "--lower", 50, "--units", "us", "--csv")
    assert status == 0
    rows = list(csv.DictReader(io.StringIO(printed)))
    assert list(rows[0]) == ["date", "tmin", "tmax", "degree_days", "sum"]
    assert [float(row["degree_days"]) for row in rows] == [0, 20, 0, 15]
    assert [float(row["sum"]) for row in rows] == [0, 20, 20, 35]
    assert rows[0]["date"] == "2026-04-01"
    assert float(rows[1]["tmax"]) == 90


def test_a_worked_example_of_equal_days(run: Run, tmp_path: Path) -> None:
    """Ten days of 10 and 20 degC above 10: 5 degree-days each, though a thermometer would be stuck."""
    path = tmp_path / "example.csv"
    rows = "".join(f"2026-04-{day:02d},10,20\n" for day in range(1, 11))
    path.write_text(f"date,tmin,tmax\n{rows}", encoding="utf-8")
    _, printed, _ = run("degree-days", path, "--lower", 10, "--csv")
    assert printed.splitlines()[-1] == "2026-04-10,10.0,20.0,5.0,50.0"


def test_degree_days_between_two_days(run: Run, week: Path) -> None:
    """The sum begins and ends where it is asked to, and the document says what was computed."""
    _, printed, _ = run(
        "degree-days", week, "--lower", 50, "--units", "us", "--from", "2026-04-02", "--to", "2026-04-03", "--json"
    )
    document = json.loads(printed)
    assert [day["sum"] for day in document["days"]] == [20, 20]
    assert (document["method"], document["lower"], document["upper"], document["cutoff"]) == ("average", 50, None, None)


def test_corn_degree_days(run: Run, week: Path) -> None:
    """86/50 degF with both extremes held between the thresholds, as corn growers count: 90/50 gives 18."""
    arguments = ["--method", "clamped-average", "--lower", 50, "--upper", 86, "--units", "us", "--json"]
    _, printed, _ = run("degree-days", week, *arguments)
    assert json.loads(printed)["days"][1]["degree_days"] == 18


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--method", "sinus", "--lower", "50"], "unknown .*method 'sinus'; did you mean sine"),
        (["--cutoff", "level", "--lower", "50", "--upper", "80"], "unknown .*'level'"),
        (["--lower", "80", "--upper", "50"], "80.*50"),
        (["--lower", "nan"], "--lower nan: give a temperature"),
        (["--lower", "50", "--cutoff", "vertical"], "--cutoff vertical .*give --upper too"),
        (["--lower", "50", "--from", "2027-01-01"], "no day from 2027-01-01 to its last"),
    ],
)
def test_degree_day_options_that_cannot_be_used(run: Run, week: Path, arguments: list[str], message: str) -> None:
    """A method, cut-off or threshold that makes no sense gives one plain line and exit status 1."""
    status, printed, said = run("degree-days", week, "--units", "us", *arguments)
    assert (status, printed) == (1, "")
    assert said.count("\n") == 1
    assert re.search(message, said)


# --- wrong usage and wrong input ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "arguments",
    [[], ["redy"], ["ready", "--on", "20 April"], ["ready", "--units", "imperial"], ["degree-days", "x.csv"]],
)
def test_wrong_usage_leaves_with_status_2(run: Run, arguments: list[str]) -> None:
    """What cannot be parsed gives the usage and status 2."""
    status, printed, said = run(*arguments)
    assert (status, printed) == (2, "")
    assert "usage: covercrop" in said


def test_help_names_the_methods() -> None:
    """The choices that the help names are those of the library."""
    assert degree_days_command.METHODS == degree_days.METHODS
    assert degree_days_command.CUTOFFS == degree_days.CUTOFFS


@pytest.mark.parametrize("command", main._parser()._subparsers._group_actions[0].choices)
def test_every_command_has_help(run: Run, command: str) -> None:
    """Each command explains itself."""
    status, printed, _ = run(command, "--help")
    assert status == 0
    assert printed.startswith(f"usage: covercrop {command}")


def one_line(status: int, printed: str, said: str) -> str:
    """The message of a refused command: one line, nothing printed, no traceback."""
    assert status == 1
    assert printed == ""
    assert said.startswith("covercrop: ")
    assert said.count("\n") == 1
    assert "Traceback" not in said
    return said


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("latitude = 37.62", "latitude = 91", 'field 1 "Ford meadow": latitude = 91'),
        ("sown = 2025-09-08", "sown = 2027-09-08", "sown = 2027-09-08 is after 2026-04-20, today"),
        ('"crimson-clover"', '"crimson-clove"', "unknown cover 'crimson-clove'; did you mean crimson-clover"),
        ('"pumpkin"', '"pumkin"', "unknown crop 'pumkin'; did you mean pumpkin"),
        ("[[field]]", "[[field", "not TOML"),
    ],
)
def test_a_wrong_field_file(run: Run, own: Any, old: str, new: str, message: str) -> None:
    """One line names the file, the place, the value and the way out."""
    path = own((old, new))
    said = one_line(*run("ready", path))
    assert message in said
    assert str(path) in said


def test_names_that_are_not_known(run: Run) -> None:
    """An unknown cover or crop offers near matches."""
    assert "did you mean hairy-vetch" in one_line(*run("covers", "hairy-vech"))
    assert "did you mean sweet-corn" in one_line(*run("crops", "sweetcorn"))


def test_a_day_before_sowing(run: Run) -> None:
    """Asked about a day on which fields were not sown yet, each has its line, and the others are answered."""
    status, printed, said = run("ready", "--on", "2025-09-12")
    assert status == 1
    assert "Chapel bench: GROWING" in printed
    assert "Ford meadow" not in printed
    assert said.count("\n") == 2
    assert "Ford meadow: sown = 2025-09-15 is after 2025-09-12" in said
    assert "ask about a later day with --on" in said


def test_one_bad_field_does_not_hide_the_others(run: Run, own: Any) -> None:
    """A field whose weather cannot be read is named; the other fields are answered; the status is 1."""
    path = own(('file = "weather.csv"', 'file = "elsewhere.csv"'))
    status, screen, said = run("ready", path)
    assert status == 1
    assert said.count("\n") == 1
    assert "Ford meadow" in said
    assert "elsewhere.csv" in said
    assert "Chapel bench: BUDDING" in screen
    _, printed, _ = run("ready", path, "--json")
    document = json.loads(printed)
    assert [field["name"] for field in document["fields"]] == ["Chapel bench", "Upper orchard strip"]
    assert document["problems"][0]["name"] == "Ford meadow"


def test_fahrenheit_declared_metric(run: Run, own: Any) -> None:
    """Weather in degF in a file declared metric is refused, not read."""
    path = own()
    weather = path.parent / "weather.csv"
    rows = list(csv.reader(weather.read_text().splitlines()))
    with weather.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(rows[0])
        writer.writerows(
            [d, *(f"{float(t) * 1.8 + 32:.1f}" if t else "" for t in (low, high)), rain]
            for d, low, high, rain in rows[1:]
        )
    status, screen, said = run("ready", path)
    assert status == 1
    assert said.count("\n") == 3
    assert "us" in said
    assert "BUDDING" not in screen


def test_reading_changes_no_file(run: Run, own: Any) -> None:
    """After every reading command the files have the bytes and the time stamps they had."""
    path = own()
    files = sorted(path.parent.iterdir())
    before = [(file.name, file.read_bytes(), file.stat().st_mtime_ns) for file in files]
    run("ready", path)
    run("weather", path)
    run("degree-days", path.parent / "weather.csv", "--lower", 4)
    after = [(file.name, file.read_bytes(), file.stat().st_mtime_ns) for file in sorted(path.parent.iterdir())]
    assert after == before


def test_fahrenheit_in_equals_celsius_in(run: Run, own: Any) -> None:
    """The same weather in degF and inches gives the same dates: rounding to 0.1 degF moves none by more than a day."""
    path = own()
    _, metric, _ = run("ready", path, "--json")
    weather = path.parent / "weather.csv"
    rows = list(csv.reader(weather.read_text().splitlines()))
    with weather.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["date", "min temp (F)", "max temp (F)", "rain (in)"])
        writer.writerows(
            [
                day,
                *(f"{float(t) * 1.8 + 32:.2f}" if t else "" for t in (low, high)),
                f"{float(rain) / 25.4:.3f}" if rain else "",
            ]
            for day, low, high, rain in rows[1:]
        )
    text = path.read_text().replace('units = "metric"', 'units = "us"')
    path.write_text(text)
    status, us, said = run("ready", path, "--json")
    assert (status, said) == (0, "")
    for before, after in zip(json.loads(metric)["fields"], json.loads(us)["fields"], strict=True):
        for name, dates in before["dates"].items():
            for end, day in dates.items():
                other = after["dates"][name][end]
                assert (day is None) == (other is None)
                if day is not None:
                    assert abs((dt.date.fromisoformat(day) - dt.date.fromisoformat(other)).days) <= 1, (name, end)


def test_a_reader_that_leaves_early_is_no_error() -> None:
    """`covercrop ready | head -1` ends quietly."""
    shell = f"{sys.executable} -m covercrop ready --full | head -n 1"
    ended = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, check=True)
    assert ended.stderr == ""
    assert ended.stdout.startswith("Demonstration")


@pytest.mark.parametrize("bar", [lambda: shared.progress("replaying", 3), lambda: region._progress(3, 0)])
def test_there_is_no_bar_but_on_a_terminal(bar: Any, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """Not even one that is told to show nothing: rich 13.7 to 14.2 at least leave an empty line of it."""

    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("a bar where there is no terminal")

    monkeypatch.setattr("rich.progress.Progress.__init__", refuse)
    with bar() as advance:
        advance(1)
    assert capsys.readouterr().err == ""
