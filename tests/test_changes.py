"""How a plan moved since an earlier day: by the weather, by notes, by what was done, by the file."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented import field, weather

from covercrop.base.errors import FieldFileError
from covercrop.field.entries import ScoutingNote
from covercrop.render.words.changes import changed
from covercrop.season.changes import Move, what_changed, what_changed_each
from covercrop.season.plan import Plan, make_plan

ON, SINCE = np.datetime64("2026-04-20"), dt.date(2026, 3, 21)
RECORD = weather()
LATE = ScoutingNote(date=dt.date(2026, 4, 18), bbch=50)


def plan_of(on: np.datetime64 = ON, **options: object) -> Plan:
    return make_plan(field(**options), RECORD, on, details=False)


@pytest.fixture(scope="module")
def noted() -> Plan:
    """A field with a note in April that no buds are there."""
    return plan_of(scouting=(LATE,))


def test_each_part_is_a_plan_of_its_own(noted: Plan) -> None:
    """The weather moves from the plan of then to one of today without the note; the note makes up the rest."""
    found = what_changed(noted, SINCE, RECORD)
    then, without = plan_of(np.datetime64(SINCE)), plan_of()
    for move, day in (
        (found.ending, lambda plan: plan.window.best.date),
        (found.planting, lambda plan: plan.planting.earliest.median),
    ):
        assert (move.before, move.after) == (day(then), day(noted))
        parts = {
            "weather": int((day(without) - day(then)).astype(int)),
            "notes": int((day(noted) - day(without)).astype(int)),
        }
        assert move.by == {cause: days for cause, days in parts.items() if days}
        assert sum(move.by.values()) == move.days
    assert found.ending.by["notes"] > 0
    assert found.state == then.state


def test_without_notes_all_is_the_weather() -> None:
    """One cause alone has all the days."""
    found = what_changed(plan_of(), SINCE, RECORD)
    assert set(found.ending.by) <= {"weather"}
    assert sum(found.ending.by.values()) == found.ending.days


def test_what_was_done_is_told_apart() -> None:
    """Once the cover is under, its ending no longer moves, and planting moves by that too."""
    after = make_plan(field(turned_under="2026-04-17"), RECORD, ON, details=False)
    found = what_changed(after, SINCE, RECORD)
    assert found.ending is None
    assert found.planting.by["done"] == int(
        (after.planting.earliest.median - plan_of().planting.earliest.median).astype(int)
    )


def test_notes_and_what_was_done_are_two_parts() -> None:
    """With both since then, the notes are brought up first, and what was done makes up the rest."""
    note = replace(LATE, date=dt.date(2026, 4, 12))
    after = plan_of(scouting=(note,), turned_under="2026-04-17")
    found = what_changed(after, SINCE, RECORD)
    days = [plan.planting.earliest.median.astype(int) for plan in (plan_of(), plan_of(scouting=(note,)), after)]
    assert found.planting.by["notes"] == days[1] - days[0] != 0
    assert found.planting.by["done"] == days[2] - days[1] != 0


def test_the_file_of_then_is_told_apart(noted: Plan) -> None:
    """What another file said then is a part of its own, and the others stay as they are."""
    other = replace(noted.field, cover=replace(noted.field.cover, sown=dt.date(2025, 10, 20)))
    plain, found = (what_changed(noted, SINCE, RECORD, before=each) for each in (None, other))
    assert found.ending.by["file"] == plain.ending.before.astype(int) - found.ending.before.astype(int) != 0
    assert {cause: days for cause, days in found.ending.by.items() if cause != "file"} == plain.ending.by


def test_many_are_as_one(noted: Plan) -> None:
    """Together each moves as alone; what was not yet sown then is left out."""
    fresh = plan_of(sown="2026-03-25")
    one, none = what_changed_each([noted, fresh], [RECORD, RECORD], SINCE)
    assert one == what_changed(noted, SINCE, RECORD)
    assert none is None


@pytest.mark.parametrize(("since", "message"), [("2026-04-20", "is not before"), ("2025-09-01", "is before sowing on")])
def test_a_day_that_will_not_do(noted: Plan, since: str, message: str) -> None:
    """The day has to lie between sowing and the plan."""
    with pytest.raises(FieldFileError, match=f"`since` = {since} {message}"):
        what_changed(noted, since, RECORD)


def test_the_line(noted: Plan) -> None:
    """What moved, by how much and why; one cause of all is said once; nothing is said as such."""
    found = what_changed(noted, SINCE, RECORD)
    day = np.datetime64("2026-05-04")
    ending = Move(before=day - 4, after=day, by={"weather": -5, "notes": 9})
    planting = Move(before=day + 30, after=day + 29, by={"weather": -1})
    both = changed(noted, replace(found, state=noted.state, ending=ending, planting=planting))
    assert both == (
        "Since 21 Mar: the day to turn it under 4 days later, 30 Apr to 4 May (the weather 5 days earlier, your notes "
        "9 days later); planting 1 day earlier, 3 Jun to 2 Jun (by the weather)."
    )
    alone = changed(noted, replace(found, state=noted.state, ending=None, planting=planting))
    assert alone == "Since 21 Mar: planting 1 day earlier, 3 Jun to 2 Jun, by the weather."
    lost = replace(found, state=noted.state, ending=replace(ending, after=np.datetime64("NaT")), planting=None)
    assert "no longer has a day (it was 30 Apr)" in changed(noted, lost)
    assert changed(noted, replace(found, state=noted.state, ending=None, planting=None)) == (
        "Since 21 Mar nothing has moved."
    )


def test_ready_says_it(run, tmp_path: Path, demo_dir: Path) -> None:
    """In a line and as JSON; a day that will not do, and a file without a day, are refused in a line."""
    status, out, _ = run("ready", "--since", "2026-04-13", "--field", "Chapel bench")
    assert status == 0
    assert "Since 13 Apr: growing, now budding; the day to turn it under" in " ".join(out.split())
    status, out, _ = run("ready", "--since", "2026-04-13", "--json")
    told = json.loads(out)["fields"][0]["changed"]
    assert told["since"] == "2026-04-13"
    assert sum(told["ending"]["days_later_by"].values()) == told["ending"]["days_later"]
    assert run("ready", "--since", "2026-04-20")[2].startswith("covercrop: --since 2026-04-20 is not before 2026-04-20")
    assert "give --since too" in run("ready", "--before", "x.toml")[2]
