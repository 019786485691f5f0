"""`covercrop beds`, as a grower types it."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import jsonschema
import pytest
from defusedxml import ElementTree

from covercrop.cli.main import main
from covercrop.season.absent import WHY

Run = Callable[..., tuple[int, str, str]]

pytestmark = pytest.mark.usefixtures("plans_once")

DATE = {"type": ["string", "null"], "pattern": r"^\d{4}-\d{2}-\d{2}$"}
ENDS = {
    "type": "object",
    "required": ["low", "median", "high"],
    "additionalProperties": {"type": "number"},
}
TEXTS = {"type": "array", "items": {"type": "string", "minLength": 1}}
FIELD = {
    "type": "object",
    "required": [
        "name",
        "crop",
        "layout",
        "planting",
        "thinning",
        "items",
        "nitrogen",
        "phosphorus",
        "too_rich_where_it_lies",
        "intervals",
        "after_harvest",
        "absent",
        "cautions",
        "assumptions",
        "sources",
    ],
    "properties": {
        "planting": DATE,
        "thinning": DATE,
        "items": {
            "type": "array",
            "minItems": 3,
            "items": {
                "type": "object",
                "required": ["item", "quantity", "unit", "why"],
                "properties": {"quantity": {"type": "number", "exclusiveMinimum": 0}},
            },
        },
        "nitrogen": {
            "type": "object",
            "required": ["need_kg_ha", "cover_kg_ha", "amendments_kg_ha", "missing_kg_ha", "verdict", "leans"],
            "properties": {
                "need_kg_ha": ENDS,
                "cover_kg_ha": ENDS,
                "missing_kg_ha": ENDS,
                "verdict": {"enum": ["missing", "about-right", "too-much"]},
                "leans": {"enum": ["short", "over", None]},
            },
        },
        "phosphorus": {
            "type": ["object", "null"],
            "required": ["uneven"],
            "properties": {"uneven": {"type": "boolean"}},
        },
        "too_rich_where_it_lies": TEXTS,
        "after_harvest": {
            "type": "object",
            "required": ["harvest_after_sowing"],
            "properties": {"harvest_after_sowing": {"type": "boolean"}},
        },
        "absent": {"type": "object", "additionalProperties": {"enum": list(WHY)}},
        "intervals": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["rule", "from", "until", "allowed", "source"],
                "properties": {
                    "from": DATE,
                    "until": DATE,
                    "allowed": {"type": ["boolean", "null"]},
                    "source": {"type": "string", "minLength": 1},
                },
            },
        },
        "cautions": TEXTS,
        "assumptions": TEXTS,
        "sources": TEXTS,
    },
}


@pytest.fixture
def run(run: Run) -> Run:
    """`covercrop beds`, as any command is run."""
    return partial(run, "beds")


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("beds.txt", []),
        ("beds_full_us.txt", ["--full", "--units", "us", "--field", "Ford meadow"]),
        ("beds_june.txt", ["--on", "2026-06-05", "--field", "Chapel bench"]),
    ],
)
def test_screens(run: Run, golden: Callable[[str, str], None], name: str, arguments: list[str]) -> None:
    """Each screen is the recorded one, fits 80 columns, and leaves no blanks at the ends of lines."""
    status, screen, messages = run(*arguments)
    assert (status, messages) == (0, "")
    assert max(map(len, screen.splitlines())) <= 80
    assert not any(line.endswith(" ") for line in screen.splitlines())
    golden(name, screen)


def test_a_field_takes_no_more_than_its_screens(run: Run) -> None:
    """What is said of one field, drawing and all, is some two screens of forty lines at most."""
    _, screen, _ = run("--field", "Ford meadow")
    assert len(screen.split("To test manure")[0].splitlines()) <= 80


@pytest.mark.parametrize("width", [40, 60, 100])
def test_screens_fit_the_width(run: Run, monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    """No line is longer than the terminal, nor than 100."""
    monkeypatch.setenv("COLUMNS", str(width))
    _, screen, _ = run()
    assert max(map(len, screen.splitlines())) <= min(width, 100)


def test_plain_ascii_when_the_output_holds_no_more(demo_dir: Path) -> None:
    """Boxes, powers and dots get plain characters, and nothing becomes a question mark."""
    ended = subprocess.run(
        [sys.executable, "-m", "covercrop", "beds"],
        capture_output=True,
        check=True,
        env={"PATH": "", "PYTHONPATH": str(demo_dir.parent.parent), "PYTHONIOENCODING": "ascii", "COLUMNS": "80"},
    )
    screen = ended.stdout.decode("ascii")
    assert "+------" in screen
    assert "m2" in screen
    assert "?" not in screen


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("on", ["2025-11-01", "2026-04-20", "2026-06-05"])
def test_json_keeps_to_its_form(run: Run, on: str, units: str) -> None:
    """One document with an entry for every field, in plain numbers and ISO dates, on any day."""
    status, printed, messages = run("--json", "--on", on, "--units", units)
    assert (status, messages) == (0, "")
    document = json.loads(printed)
    assert (document["schema"], document["on"], len(document["fields"])) == (1, on, 3)
    for field in document["fields"]:
        jsonschema.validate(field, FIELD, format_checker=jsonschema.FormatChecker())
        for key in ("planting", "thinning", "nitrogen", "phosphorus"):
            assert (field[key] is None) == (key in field["absent"]), key


def test_csv_has_every_line_of_every_field(run: Run) -> None:
    """The CSV and the JSON hold the same list."""
    rows = list(csv.DictReader(io.StringIO(run("--csv")[1])))
    fields = json.loads(run("--json")[1])["fields"]
    assert all(item["quantity"] == float(f"{item['quantity']:.9g}") for field in fields for item in field["items"])
    listed = [(field["name"], item["item"], item["quantity"]) for field in fields for item in field["items"]]
    assert [(row["field"], row["item"], float(row["quantity"])) for row in rows] == listed


def test_the_drawing_is_written_whole(run: Run, tmp_path: Path) -> None:
    """The SVG parses, names every field, replaces its earlier self, and leaves nothing else behind."""
    path = tmp_path / "plan.svg"
    assert run("--svg", path, "--field", "Ford meadow")[0] == 0
    status, screen, _ = run("--svg", path)
    assert status == 0
    assert "Ford meadow" in screen
    words = "".join(ElementTree.parse(path).getroot().itertext())
    for name in ("Ford meadow", "Chapel bench", "Upper orchard strip"):
        assert name in words
    assert [each.name for each in tmp_path.iterdir()] == ["plan.svg"]


@pytest.mark.parametrize("place", ["nowhere/plan.svg", "."])
def test_a_drawing_that_cannot_be_written(run: Run, tmp_path: Path, place: str) -> None:
    """One line, and nothing half-written."""
    status, _, messages = run("--svg", tmp_path / place)
    assert status == 1
    assert messages.count("\n") == 1
    assert "give a path" in messages or "give the path" in messages
    assert not list(tmp_path.iterdir())


def test_a_field_without_a_size_is_named(run: Run, own: Callable[..., Path]) -> None:
    """The others are answered; the one gets its line and exit status 1."""
    status, screen, messages = run(own(("area_m2 = 1200\n", "")))
    assert status == 1
    assert "Ford meadow" in screen
    assert messages == (
        "covercrop: Chapel bench: the size of the field is not given; add area_m2 (or area_ft2), or length_m and "
        "width_m in [field.beds]\n"
    )


@pytest.mark.parametrize("command", [("beds",), ("sow",), ("degree-days", "weather.csv", "--lower", "4")])
def test_two_things_on_one_output(command: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """``--json`` and ``--csv`` would mix two documents, or drop one."""
    with pytest.raises(SystemExit, match="2"):
        main([*command, "--json", "--csv"])
    printed, said = capsys.readouterr()
    assert printed == ""
    assert said.endswith("error: argument --csv: not allowed with argument --json\n")


def test_an_unknown_field_is_named(run: Run) -> None:
    """Near matches are offered."""
    assert run("--field", "Ford medow") == (1, "", "covercrop: unknown field 'Ford medow'; did you mean Ford meadow?\n")


def test_layout_and_area_have_to_agree(run: Run, own: Callable[..., Path]) -> None:
    """A slip in one of them is shown, not drawn."""
    status, _, messages = run(own(("length_m = 34", "length_m = 43")))
    assert status == 1
    assert "make 1,075 m2" in messages
    assert "but the area is 850 m2" in messages


def test_a_hostile_name_commands_no_terminal(run: Run, own: Callable[..., Path]) -> None:
    """What a terminal would obey is written out, in the screen and in the CSV."""
    path = own(('name = "Ford meadow"', 'name = "=cmd\\u001b[2J\\u202e"'))
    for arguments in ([], ["--csv"]):
        _, printed, _ = run(path, *arguments)
        assert "\x1b" not in printed
        assert "\u202e" not in printed
    assert "'=cmd" in run(path, "--csv")[1]
    assert json.loads(run(path, "--json")[1])["fields"][0]["name"] == "=cmd\x1b[2J\u202e"


def test_after_the_spreading_the_heap_is_off_the_list(run: Run, own: Callable[..., Path]) -> None:
    """A manure that lies on the field already is not loaded again, but still counts."""
    path = own(('where = "spots"', 'where = "spots"\napplied = 2026-04-10'))
    fields = [json.loads(run(*where, "--json")[1])["fields"][0] for where in ([], [path])]
    ahead, done = ([item["item"] for item in field["items"]] for field in fields)
    assert "cattle manure" in ahead
    assert "cattle manure" not in done
    assert fields[0]["nitrogen"]["amendments_kg_ha"] == fields[1]["nitrogen"]["amendments_kg_ha"] > 0
