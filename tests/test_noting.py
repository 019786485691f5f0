"""Notes held against what else is known of their field, and written, changed and taken out again by the library."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from covercrop.base.errors import FieldFileError, StationError, UsageError
from covercrop.field.entries import Field, ScoutingNote
from covercrop.field.file import read_fields
from covercrop.season import noting
from covercrop.season.doubts import Doubt
from covercrop.season.noting import (
    add_scouting_note,
    add_scouting_notes,
    edit_scouting_note,
    undo_scouting_note,
    undo_scouting_notes,
)

FILE = """today = 2026-04-20

[[field]]
name = "Mill"
latitude = 37.8
longitude = -84.1
[field.cover]
species = "crimson-clover"
sown = 2025-09-12
[field.crop]
name = "pumpkin"
"""

#: Whatever is noted in bloom is held to be this much too early.
EARLY = 30.0


class Held:
    """Stands in for the weather: what was held against it, and on which day; full bloom does not fit."""

    def __init__(self) -> None:
        self.fields: list[Field] = []
        self.days: list[tuple[object, dt.date]] = []

    def gathered(self, field: Field, weather: None, day: object, today: dt.date, shared: object) -> tuple[Field, str]:
        assert weather is None
        self.fields.append(field)
        self.days.append((day, today))
        return field, "its weather"

    def doubts_about(self, start: Any, note: ScoutingNote, draws: object) -> tuple[Doubt, ...]:
        assert (start.field, start.weather) == (self.fields[-1], "its weather")
        assert start.day == np.datetime64(self.days[-1][0])  # type: ignore[call-overload]
        early, later = Doubt(note=note, days=EARLY), Doubt(note=note, days=EARLY + 10)
        return (early, later) if note.bloom_percent == 100 else ()


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Held:
    found = Held()
    monkeypatch.setattr(noting, "gathered", found.gathered)
    monkeypatch.setattr(noting, "doubts_about", found.doubts_about)
    start = lambda field, weather, day: SimpleNamespace(field=field, weather=weather, day=day)  # noqa: E731
    monkeypatch.setattr(noting, "start_of", start)
    return found


@pytest.fixture
def path(tmp_path: Path) -> Path:
    place = tmp_path / "fields.toml"
    place.write_text(FILE, encoding="utf-8")
    return place


def notes_in(path: Path) -> list[ScoutingNote]:
    (field,) = read_fields(path).fields
    return list(field.scouting)


def seen(day: int, **what: Any) -> ScoutingNote:
    return ScoutingNote(date=dt.date(2026, 4, day), **what)


# --- one note -------------------------------------------------------------------------------------


def test_a_note_that_fits_is_written(held: Held, path: Path) -> None:
    """Held against its field with it, on the day of the file."""
    note = seen(3, bbch=51, note="by the gate")
    noted = add_scouting_note(path, "mill", note)
    assert notes_in(path) == [note]
    assert (noted.note, noted.field.scouting, noted.doubts, noted.unchecked, noted.before) == (
        note,
        (note,),
        (),
        "",
        None,
    )
    assert held.fields == [noted.field]
    assert held.days == [(dt.date(2026, 4, 20), dt.date(2026, 4, 20))]
    assert "bloom_percent" not in path.read_text(encoding="utf-8")  # only what was seen


def test_a_mapping_has_the_units_of_the_file(held: Held, path: Path) -> None:
    """Fifty degrees Fahrenheit are ten Celsius; what is neither mapping nor note is refused."""
    assert add_scouting_note(path, "Mill", {"date": dt.date(2026, 4, 3), "soil_f": 50}).note == seen(3, soil_c=10.0)
    with pytest.raises(UsageError, match="`note` is a list; give a ScoutingNote, or a mapping of its keys"):
        add_scouting_note(path, "Mill", [])  # type: ignore[arg-type]


def test_a_note_that_does_not_fit_is_refused_unless_asked_for(held: Held, path: Path) -> None:
    """The furthest doubt is said, with the way out, and nothing is changed; `anyway` writes it with its doubts."""
    note = seen(3, bloom_percent=100)
    with pytest.raises(FieldFileError) as refused:
        add_scouting_note(path, "Mill", note)
    assert str(refused.value).startswith(
        f'{path}: field "Mill": nothing is noted, since your note of 3 Apr (100% bloom) is 40 days ahead of what this '
        "weather makes likely: true only if this stand runs so many days earlier than crimson clover does"
    )
    assert str(refused.value).endswith("; look again, or add `anyway` to note it all the same")
    assert path.read_text(encoding="utf-8") == FILE
    noted = add_scouting_note(path, "Mill", note, anyway=True)
    assert [doubt.days for doubt in noted.doubts] == [EARLY, EARLY + 10]
    assert notes_in(path) == [note]


def test_without_weather_it_is_written_unchecked(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And why it could not be told is handed on, in one line."""

    def gone(*_: object) -> None:
        raise StationError("no station\nnear")

    monkeypatch.setattr(noting, "gathered", gone)
    noted = add_scouting_note(path, "Mill", seen(3, bloom_percent=100))
    assert (noted.doubts, noted.unchecked) == ((), "no station near")
    assert len(notes_in(path)) == 1


@pytest.mark.parametrize(
    ("today", "held_on"),
    [("2026-05-01", dt.date(2026, 5, 1)), ("2027-06-01", dt.date(2027, 1, 25)), (None, dt.date(2026, 4, 20))],
)
def test_it_is_held_against_the_season_as_far_as_it_goes(
    held: Held, path: Path, today: str | None, held_on: dt.date
) -> None:
    """Up to today, and no further than the 500 days of the season; today is that of the file if none is given."""
    add_scouting_note(path, "Mill", seen(3, bbch=51), today=today)
    asked, now = held.days[0]
    assert asked == held_on
    assert now == (dt.date.fromisoformat(today) if today else dt.date(2026, 4, 20))


def test_today_is_that_of_the_clock_where_the_file_has_none(held: Held, path: Path) -> None:
    path.write_text(FILE.partition("\n")[2], encoding="utf-8")
    before = dt.date.today()
    add_scouting_note(path, "Mill", {"date": dt.date(2025, 10, 3), "bbch": 12})
    assert before <= held.days[0][1] <= dt.date.today()


def test_the_demonstration_is_not_written_to() -> None:
    demonstration = read_fields().path
    for change in (
        lambda: add_scouting_note(demonstration, "Mill", seen(3, bbch=51)),
        lambda: undo_scouting_note(demonstration, "Mill"),
        lambda: edit_scouting_note(demonstration, "Mill", {"bbch": 55}),
        lambda: add_scouting_notes(demonstration, "visits.csv"),
        lambda: undo_scouting_notes(demonstration, "visits.csv"),
    ):
        with pytest.raises(FieldFileError, match="is the demonstration, which is not written to; copy it and its"):
            change()


# --- changed, and taken out -----------------------------------------------------------------------


def test_the_note_written_last_is_taken_out(held: Held, path: Path) -> None:
    """Not the one of the latest day; the field is told without it."""
    late, early = seen(10, bbch=55), seen(3, bbch=51)
    for note in (late, early):
        add_scouting_note(path, "Mill", note)
    undone = undo_scouting_note(path, "Mill")
    assert (undone.note, undone.field.scouting) == (early, (late,))
    assert notes_in(path) == [late]


@pytest.mark.parametrize(("which", "changed"), [("2026-04-10", 1), (dt.date(2026, 4, 3), 0), (1, 0), (2, 1), (None, 0)])
def test_a_note_is_changed_by_its_day_or_number(held: Held, path: Path, which: Any, changed: int) -> None:
    """Numbers go by the order of days, from 1; by default it is the one written last."""
    notes = [seen(3, bbch=51), seen(10, bbch=55)]
    for note in reversed(notes):
        add_scouting_note(path, "Mill", note)
    noted = edit_scouting_note(path, "Mill", {"bbch": 57}, which)
    assert noted.before == notes[changed]
    assert noted.note == seen(notes[changed].date.day, bbch=57)
    notes[changed] = noted.note
    assert sorted(notes_in(path), key=lambda note: note.date) == notes
    assert set(held.fields[-1].scouting) == set(notes)  # held against the weather as it will be


def test_a_change_that_does_not_fit_is_refused_unless_asked_for(held: Held, path: Path) -> None:
    """As a note is."""
    add_scouting_note(path, "Mill", seen(3, bloom_percent=10))
    before = path.read_bytes()
    change: Mapping[str, float] = {"bloom_percent": 100}
    with pytest.raises(FieldFileError, match="nothing is noted, since"):
        edit_scouting_note(path, "Mill", change)
    assert path.read_bytes() == before
    noted = edit_scouting_note(path, "Mill", change, anyway=True)
    assert (noted.note.bloom_percent, len(noted.doubts), noted.unchecked) == (100, 2, "")


# --- many at once ---------------------------------------------------------------------------------


def visits(path: Path, *rows: str) -> Path:
    place = path.with_name("visits.csv")
    place.write_text("\n".join(["field,date,bbch,bloom_percent", *rows]) + "\n", encoding="utf-8")
    return place


def test_the_notes_of_a_file_are_written_but_for_those_that_are_there(held: Held, path: Path) -> None:
    """Each is held against all that the file will hold, and told as it is done; they can all be taken out again."""
    add_scouting_note(path, "Mill", seen(3, bbch=51))
    rows = visits(path, "Mill,2026-04-03,51,", "Mill,2026-04-06,53,", "mill,2026-04-10,55,")
    told: list[float] = []
    found = add_scouting_notes(path, rows, advance=told.append)
    assert [each and each.note.date.day for each in found] == [None, 6, 10]
    assert [each and (each.doubts, each.unchecked) for each in found] == [None, ((), ""), ((), "")]
    assert [each and len(each.field.scouting) for each in found] == [None, 2, 3]
    assert told == [1, 1, 1]
    assert [len(field.scouting) for field in held.fields] == [1, 3, 3]
    assert [note.date.day for note in notes_in(path)] == [3, 6, 10]
    undone = undo_scouting_notes(path, rows)
    assert [each.note.date.day for each in undone] == [3, 6, 10]
    assert notes_in(path) == []


def test_one_row_that_does_not_fit_keeps_all_out_unless_asked_for(held: Held, path: Path) -> None:
    """Its line is named, and nothing is changed."""
    rows = visits(path, "Mill,2026-04-03,51,", "Mill,2026-04-10,,100")
    with pytest.raises(FieldFileError, match=r"^visits.csv: line 3: nothing is noted, since your note of 10 Apr"):
        add_scouting_notes(path, rows)
    assert path.read_text(encoding="utf-8") == FILE
    first, second = add_scouting_notes(path, rows, anyway=True)
    assert first is not None
    assert second is not None
    assert (len(first.doubts), len(second.doubts)) == (0, 2)
    assert len(notes_in(path)) == 2


def test_a_file_in_us_units_has_its_dates(held: Held, path: Path) -> None:
    """The month first, in what is written and in what is taken out; in a metric file that is refused."""
    rows = visits(path, "Mill,4/3/2026,51,")
    with pytest.raises(FieldFileError, match="line 2"):
        add_scouting_notes(path, rows)
    path.write_text('units = "us"\n' + FILE, encoding="utf-8")
    assert len(add_scouting_notes(path, rows, today="2026-04-20")) == 1
    assert [each.note for each in undo_scouting_notes(path, rows, today="2026-04-20")] == [seen(3, bbch=51)]
