"""Notes changed, and many written from a CSV file: all of it or nothing, and all else in the file as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from covercrop.base.toml_text import NoPlaceError, with_changed
from covercrop.field.file import read_fields

Run = Callable[..., tuple[int, str, str]]

NOTES = """field,date,bloom_percent,bbch,soil_f,note
Ford meadow,4/20/2026,,59,,"nearly, by the barn"
chapel bench,2026-04-19,,51,,

Upper orchard strip,2026-04-20,,,53,
"""


@pytest.fixture
def notes(farm: Path) -> Path:
    """A round of visits, and the farm a file of US units, so that a day may be written as Americans do."""
    text = farm.read_text(encoding="utf-8")
    farm.write_text(text.replace("[[field]]", 'units = "us"\n[[field]]', 1), encoding="utf-8")
    path = Path("notes.csv")
    path.write_text(NOTES, encoding="utf-8")
    return path


def test_a_round_of_visits_and_back(run: Run, farm: Path, notes: Path) -> None:
    """Each row stands in its field; given again nothing is added; taken back, every byte is as it was."""
    before = farm.read_bytes()
    status, screen, messages = run("scout", farm, "--from", notes)
    assert (status, messages) == (0, "")
    assert "3 notes written." in screen
    ford, chapel, upper = read_fields(farm).fields
    assert (ford.scouting[-1].bbch, ford.scouting[-1].note) == (59, "nearly, by the barn")
    assert chapel.scouting[-1].bbch == 51
    assert upper.scouting[-1].soil_c == pytest.approx((53 - 32) / 1.8)
    assert "0 notes written; 3 were there already." in run("scout", farm, "--from", notes)[1]
    document = json.loads(run("scout", farm, "--from", notes, "--json")[1])
    assert (document["fields"], document["there_already"]) == ([], 3)
    taken = json.loads(run("scout", farm, "--from", notes, "--undo", "--json")[1])["fields"]
    assert [(each["name"], each["date"]) for each in taken] == [
        ("Ford meadow", "2026-04-20"),
        ("Chapel bench", "2026-04-19"),
        ("Upper orchard strip", "2026-04-20"),
    ]
    assert farm.read_bytes() == before
    assert "0 notes taken out." in run("scout", farm, "--from", notes, "--undo")[1]
    assert farm.read_bytes() == before


def test_a_round_tells_of_a_cereal_too(run: Run, farm: Path) -> None:
    """The columns are the keys of a note in a field file, whatever they are."""
    text = farm.read_text(encoding="utf-8")
    farm.write_text(text.replace("[field.cover]\n", '[field.cover]\nwith = "rye"\n', 1), encoding="utf-8")
    Path("notes.csv").write_text("field,date,cereal,legume_percent\nFord meadow,2026-04-20,41,35\n", encoding="utf-8")
    status, _, messages = run("scout", farm, "--from", "notes.csv", "--anyway")
    assert (status, messages) == (0, "")
    note = read_fields(farm).fields[0].scouting[-1]
    assert (note.cereal, note.legume_percent) == (41, 35.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (NOTES + "Mill,2026-04-20,5,,,\n", "notes.csv: line 6: unknown field 'Mill'"),
        (NOTES + "Ford meadow,2026-04-21,5,,,\n", 'line 6: field "Ford meadow": scouting date = 2026-04-21 is after'),
        (NOTES + "Ford meadow,20.4.2026,5,,,\n", "line 6: date = '20.4.2026': write a date as 2026-04-20 or 4/20/2026"),
        (NOTES + "Ford meadow,2026-04-20,5%,,,\n", "line 6: bloom_percent = '5%': give a number"),
        (NOTES + "Ford meadow,2026-04-20,,,,just words\n", "line 6: says nothing that was seen"),
        (NOTES + ",2026-04-20,5,,,\n", "line 6: field is empty"),
        (NOTES + "Upper orchard strip,2026-03-10,90,,,\n", "line 6: nothing is noted, since"),
        ("field,date,bloom_percnt\nFord meadow,2026-04-20,5\n", "unknown column 'bloom_percnt'; did you mean"),
        ("field,bloom_percent\nFord meadow,5\n", "column 'date' is missing"),
        ("field,date,bbch,bbch\nFord meadow,2026-04-20,5,5\n", "two columns are named 'bbch'"),
        ("field,date,bbch\n", "no note below the header"),
    ],
)
def test_one_bad_row_and_nothing_is_written(run: Run, farm: Path, notes: Path, text: str, said: str) -> None:
    """The line of the row is named, and the field file stays as it was."""
    before = farm.read_bytes()
    notes.write_text(text, encoding="utf-8")
    status, screen, message = run("scout", farm, "--from", notes)
    assert (status, screen) == (1, "")
    assert said in message
    assert message.count("\n") == 1
    assert farm.read_bytes() == before


def test_a_day_of_the_month_first_is_for_files_of_us_units_only(run: Run, farm: Path) -> None:
    """In any other file it is refused, since others read the day first."""
    Path("notes.csv").write_text("field,date,bbch\nFord meadow,4/20/2026,57\n", encoding="utf-8")
    assert "date = '4/20/2026': write a date as 2026-04-20\n" in run("scout", farm, "--from", "notes.csv")[2]


def test_a_note_is_changed(run: Run, farm: Path) -> None:
    """What is given takes the place of what stood there, the rest stays, and all else in the file does too."""
    before = farm.read_text(encoding="utf-8")
    status, screen, _ = run("scout", farm, "ford meadow", "--edit", "--bbch", 57)
    assert status == 0
    assert "was  Fri 17 Apr 2026: BBCH 55 (flower buds all over, none open)" in screen
    assert "is   Fri 17 Apr 2026: BBCH 57 (flower buds all over, none open)" in screen
    wanted = before.replace("bbch = 55", "bbch = 57  # flower buds all over, none open")
    assert farm.read_text(encoding="utf-8") == wanted
    run("scout", farm, "Ford meadow", "--edit", "2026-04-08", "--note", "by the barn")
    first, last = read_fields(farm).fields[0].scouting
    assert (first.bbch, first.note, last.bbch) == (51, "by the barn", 57)
    document = json.loads(run("scout", farm, "Ford meadow", "--edit", 1, "--on", "2026-04-09", "--json")[1])
    assert (document["on"], document["fields"][0]["was"]["date"]) == ("2026-04-09", "2026-04-08")
    run("scout", farm, "Ford meadow", "--edit", 2, "--bloom", 0)
    last = read_fields(farm).fields[0].scouting[-1]
    assert (last.bbch, last.bloom_percent) == (None, 0)


@pytest.mark.parametrize(
    ("options", "status", "said"),
    [
        (["Ford meadow", "--edit"], 2, "--edit changes nothing"),
        (["Ford meadow", "--edit", "3", "--bloom", "5"], 1, "has no note 3; its notes are 1 to 2"),
        (["Ford meadow", "--edit", "2026-04-01", "--bloom", "5"], 1, "it has some of 2026-04-08, 2026-04-17"),
        (["Ford meadow", "--edit", "soon", "--bloom", "5"], 2, "'soon' is not a date"),
        (["Ford meadow", "--edit", "--bbch", "55"], 1, "says that already"),
        (["Ford meadow", "--edit", "--bbch", "100"], 1, "bbch = 100: give a BBCH stage"),
        (["Ford meadow", "--edit", "--bloom", "90"], 1, "nothing is noted, since"),
        (["Ford meadow", "--edit", "--on", "2026-04-21"], 1, "is after 2026-04-20"),
        (["Chapel bench", "--edit", "--bloom", "5"], 1, "has no note yet; nothing to change"),
        ([], 2, "which field? give its NAME, or --from"),
        (["Ford meadow", "--from", "notes.csv"], 2, "--from has all that was seen in its file"),
    ],
)
def test_what_cannot_be_changed(run: Run, farm: Path, options: list[str], status: int, said: str) -> None:
    """A line that says why, and the file as it was."""
    before = farm.read_bytes()
    found, _, message = run("scout", farm, *options)
    assert (found, said in message) == (status, True), message
    assert farm.read_bytes() == before


def test_two_notes_of_a_day_are_told_apart_by_number(run: Run, farm: Path) -> None:
    """The message names the numbers that --list shows."""
    run("scout", farm, "Ford meadow", "--soil", 12, "--on", "2026-04-17")
    message = run("scout", farm, "Ford meadow", "--edit", "2026-04-17", "--soil", 11)[2]
    assert "has 2 notes of 2026-04-17; name one by its number, 2 or 3" in message
    assert "3. Fri 17 Apr 2026: soil at 12.0 °C" in run("scout", farm, "Ford meadow", "--list")[1]
    run("scout", farm, "Ford meadow", "--edit", 3, "--soil", 11)
    assert read_fields(farm).fields[0].scouting[2].soil_c == 11


def test_a_text_that_tomlkit_does_not_keep_is_not_touched() -> None:
    """Notes of one field between those of another table: refused, never written otherwise."""
    text = "[[a]]\n[[a.s]]\nx = 1\n[a.t]\ny = 1\n[[a.s]]\nx = 2\n"
    try:
        told = with_changed(text, ("a", 0), "s", 1, {"x": 3}, {})
    except NoPlaceError:
        return
    assert told == text.replace("x = 2", "x = 3")
