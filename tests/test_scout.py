"""`covercrop scout`, as a grower types it."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from covercrop.field.file import read_fields

Run = Callable[..., tuple[int, str, str]]


def test_a_note_and_what_it_changes(run: Run, farm: Path) -> None:
    """The note stands under today's date, is said back, and moves the next answer."""
    before = json.loads(run("ready", farm, "--json")[1])["fields"][1]["dates"]["window_open"]
    status, screen, messages = run("scout", farm, "chapel bench", "--bloom", 5, "--note", "first racemes by the wall")
    assert (status, messages) == (0, "")
    assert screen == (
        "Noted for Chapel bench, Mon 20 Apr 2026: 5% in bloom.\n"
        "fields.toml now holds 1 note of this field. What it changes: covercrop ready\nfields.toml\n"
    )
    (note,) = read_fields(farm).fields[1].scouting
    assert (note.date, note.bloom_percent, note.note) == (dt.date(2026, 4, 20), 5, "first racemes by the wall")
    after = json.loads(run("ready", farm, "--json")[1])["fields"][1]
    width = [
        (dt.date.fromisoformat(dates["late"]) - dt.date.fromisoformat(dates["early"])).days
        for dates in (before, after["dates"]["window_open"])
    ]
    assert width[1] < 0.75 * width[0]
    assert after["dates"]["window_open"]["median"] < before["median"]
    assert any("1 scouting note is used" in said for said in after["notes"])


@pytest.mark.parametrize(
    ("options", "stored", "said"),
    [
        (["--no-buds"], {"bbch": 50}, "BBCH 50 (up and growing, no buds)"),
        (["--bloom", "0"], {"bloom_percent": 0}, "no flowers yet"),
        (["--bbch", "51"], {"bbch": 51}, "BBCH 51 (first flower buds visible)"),
        (["--soil", "14.5"], {"soil_c": 14.5}, "soil at 14.5 °C"),
        (["--soil", "59", "--units", "us"], {"soil_c": 15.0}, "soil at 59.0 °F"),
        (["--height", "45"], {"height_cm": 45}, "45 cm high"),
        (["--height", "18", "--units", "us"], {"height_cm": 45.72}, "18 inches high"),
        (
            ["--dry-matter", "3200", "--nitrogen-percent", "3.1"],
            {"dry_matter_kg_ha": 3200, "nitrogen_percent": 3.1},
            "3,200 kg/ha of dry matter; 3.1% nitrogen in it",
        ),
        (["--dry-matter", "2800", "--units", "us"], {"dry_matter_kg_ha": 3138.4}, "2,800 lb/acre of dry matter"),
    ],
)
def test_each_thing_that_can_be_seen(run: Run, farm: Path, options: list[str], stored: dict, said: str) -> None:
    """What is typed is what is read back, in the units of the file or converted, on the screen and as JSON."""
    day = ["--on", "2026-04-18"]
    status, screen, _ = run("scout", farm, "Chapel bench", *options, *day)
    assert status == 0
    assert said in screen.replace("\n", " ")
    note = read_fields(farm).fields[1].scouting[-1]
    for name, value in stored.items():
        assert getattr(note, name) == pytest.approx(value, rel=1e-4)
    document = json.loads(run("scout", farm, "Upper orchard strip", *options, *day, "--json")[1])
    assert document == {
        "schema": 1,
        "on": "2026-04-18",
        "fields": [
            {
                "name": "Upper orchard strip",
                "file": "fields.toml",
                "noted": {name: pytest.approx(value, rel=1e-4) for name, value in stored.items()},
                "notes_in_file": 1,
            }
        ],
    }
    assert run("ready", farm)[0] == 0


@pytest.mark.parametrize(
    ("options", "status", "message"),
    [
        (["Chapel bench"], 2, "nothing that was seen; give --bloom, --bbch or --no-buds, or a measurement: --soil"),
        (["Chapel bench", "--note", "nice"], 2, "nothing that was seen"),
        (["Chapel bench", "--bloom", "5", "--bbch", "60"], 2, "not allowed with argument"),
        (["Chapel bench", "--bloom", "some"], 2, "invalid float value: 'some'"),
        (["Chapel bench", "--on", "20 April", "--bloom", "5"], 2, "'20 April' is not a date; write it as 2026-04-20"),
        (["Chapel bank", "--bloom", "5"], 1, "unknown field 'Chapel bank'; did you mean Chapel bench?"),
        (["Chapel bench", "--bloom", "5", "--on", "2026-04-21"], 1, "scouting date = 2026-04-21 is after 2026-04-20"),
        (["Chapel bench", "--bloom", "5", "--on", "2025-09-08"], 1, "date = 2025-09-08: is not after sowing"),
        (["Chapel bench", "--bbch", "100"], 1, "bbch = 100: give a BBCH stage, 0 to 99"),
        (
            ["Chapel bench", "--soil", "57"],
            1,
            "give the soil in degC, -20 to 45; in degF it is soil_f (scout: --units us)",
        ),
        (["Chapel bench", "--soil", "nan"], 1, "soil_c = nan: give a number"),
        (["Chapel bench", "--height", "500"], 1, "height_cm = 500: give the height in cm, 1 to 300"),
        (["Chapel bench", "--bloom", "5", "--note", ""], 1, "note = '': write some words, or leave the line out"),
        (
            ["Ford meadow", "--bbch", "55", "--on", "2026-04-17", "--note", "buds all over the meadow, no colour yet"],
            1,
            "this note of 2026-04-17 is there already; nothing to add",
        ),
    ],
)
def test_a_note_that_cannot_be(run: Run, farm: Path, options: list[str], status: int, message: str) -> None:
    """One line with the way out, and a file that is as it was."""
    before = farm.read_bytes()
    got, screen, messages = run("scout", farm, *options)
    assert (got, screen) == (status, "")
    assert message in messages
    assert farm.read_bytes() == before
    if status == 1:
        assert messages.count("\n") == 1


def test_the_demonstration_is_left_alone(run: Run, demo_dir: Path) -> None:
    """What came with the program is not written to, and the way out is said."""
    before = (demo_dir / "fields.toml").read_bytes()
    status, _, messages = run("scout", demo_dir / "fields.toml", "Ford meadow", "--bloom", "5")
    assert status == 1
    assert (
        "is the demonstration, which is not written to; copy it and its weather.csv to a folder of your own" in messages
    )
    assert (demo_dir / "fields.toml").read_bytes() == before


def test_a_note_of_another_day_is_left_out_of_an_earlier_answer(run: Run, farm: Path) -> None:
    """Asked about the day before, the answer is that of the day before."""
    before = run("ready", farm, "--on", "2026-04-19")[1]
    run("scout", farm, "Chapel bench", "--bloom", "5")
    assert run("ready", farm, "--on", "2026-04-19")[1] == before


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("name", ["Ford meadow", "Chapel bench", "Upper orchard strip"])
def test_a_note_is_taken_out_again(run: Run, farm: Path, name: str, newline: str) -> None:
    """Undoing a note leaves every byte as it was before it, whichever field it was of, and says what went."""
    before = farm.read_bytes().replace(b"\n", newline.encode())
    farm.write_bytes(before)
    kept = len(next(field for field in read_fields(farm).fields if field.name == name).scouting)
    assert run("scout", farm, name, "--bbch", 55, "--note", "by the gate")[0] == 0
    assert '"by the gate"' in run("scout", farm, name, "--list")[1]
    status, screen, messages = run("scout", farm, name.upper(), "--undo")
    assert (status, messages) == (0, "")
    assert screen.startswith(f"Taken out of fields.toml, {name}: Mon 20 Apr 2026: BBCH 55")
    assert farm.read_bytes() == before
    document = json.loads(run("scout", farm, name, "--list", "--json")[1])
    assert len(document["fields"][0]["notes"]) == kept


def test_undoing_more_than_there_is(run: Run, farm: Path) -> None:
    """The notes go one by one, the last written first; then there is none, and the file is left as it is."""
    assert json.loads(run("scout", farm, "Ford meadow", "--undo", "--json")[1])["fields"][0]["taken_out"]["bbch"] == 55
    assert json.loads(run("scout", farm, "Ford meadow", "--undo", "--json")[1])["fields"][0]["taken_out"]["bbch"] == 51
    before = farm.read_bytes()
    assert b"[field.beds]" in before
    assert "has no note; nothing to take out" in run("scout", farm, "Ford meadow", "--undo")[2]
    assert run("scout", farm, "Ford meadow", "--list")[1] == "Ford meadow has no note yet.\n"
    assert farm.read_bytes() == before
    assert "did you mean Ford meadow" in run("scout", farm, "Ford medow", "--undo")[2]
    assert run("scout", farm, "Ford meadow", "--undo", "--bloom", 5)[0] == 2


def test_a_note_inside_a_list_is_left_to_an_editor(run: Run, farm: Path) -> None:
    """What is not written under a header of its own is not touched."""
    text = farm.read_text().split("[[field]]")[1].split("[[field.scouting]]")[0]
    farm.write_text(
        "today = 2026-04-20\n[[field]]\nscouting = [{date = 2026-04-08, bbch = 51}]" + text.replace("today", "# today")
    )
    before = farm.read_bytes()
    assert "take it out with an editor" in run("scout", farm, "Ford meadow", "--undo")[2]
    assert farm.read_bytes() == before
