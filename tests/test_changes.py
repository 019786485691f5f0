"""How a plan moved since an earlier day: by the weather, by notes, by what was done, by the file."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from invented import field, weather

from covercrop.base.errors import FieldFileError
from covercrop.field.entries import Field, ScoutingNote
from covercrop.render.words.changes import changed
from covercrop.season import changes
from covercrop.season.changes import Changes, Move, what_changed, what_changed_each
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


# --- the steps, one by one ------------------------------------------------------------------------

NEVER = np.datetime64("NaT", "D")
FIRST = np.datetime64("2026-05-10")


def told(day: np.datetime64, of: Field | None = None, **more: Any) -> Any:
    """As much of a plan as is compared: one day, for its ending and its planting alike."""
    return SimpleNamespace(
        field=of or field(),
        on=ON,
        state=f"as of {day}",
        is_ended=False,
        is_planted=False,
        window=SimpleNamespace(best=None if np.isnat(day) else SimpleNamespace(date=day)),
        planting=SimpleNamespace(earliest=SimpleNamespace(median=day)),
        **more,
    )


@pytest.mark.parametrize(
    ("days", "by"),
    [
        ((0, 2, -1, -1), {"file": 2, "weather": -3}),  # what moved nothing is not named
        ((5, 5, 5, 8), {"notes": 3}),
        ((0, 0, 0, 0), {}),
        ((0, None, 3, 4), {}),  # a day on the way that is not known leaves the parts unknown
        ((0, 1, 2, None), {}),
        ((None, 1, 2, 3), {}),
    ],
)
def test_each_step_has_the_days_that_it_put_it_later(days: tuple[int | None, ...], by: dict[str, int]) -> None:
    """From the first plan to the last, over the file, the weather and the notes."""
    first, *others = (NEVER if day is None else FIRST + day for day in days)
    steps = [(cause, told(day)) for cause, day in zip(("file", "weather", "notes"), others, strict=True)]
    for of in (changes._ending, changes._planting):
        move = changes._move(told(first), steps, of)
        assert move is not None
        assert move.by == by
        ends = (days[0], days[-1])
        assert move.days == (None if None in ends else ends[1] - ends[0])  # type: ignore[operator]
        assert [np.isnat(day) for day in (move.before, move.after)] == [end is None for end in ends]


def test_what_never_had_a_day_and_has_none_did_not_move() -> None:
    """Whatever lay between."""
    steps = [("file", told(FIRST)), ("weather", told(NEVER))]
    assert changes._move(told(NEVER), steps, changes._ending) is None


@pytest.mark.parametrize(
    ("ending", "planting", "still"),
    [(None, None, True), (0, None, True), (0, 0, True), (1, 0, False), (0, -1, False), (None, 2, False)],
)
def test_a_plan_stands_still_where_neither_day_moved(ending: int | None, planting: int | None, still: bool) -> None:
    """What has no day does not move."""
    moves = [None if by is None else Move(before=FIRST, after=FIRST + by, by={}) for by in (ending, planting)]
    assert Changes(since=FIRST, state="budding", ending=moves[0], planting=moves[1]).is_still is still


def asked_of(
    now: Field, monkeypatch: pytest.MonkeyPatch, before: Field | None = None, since: dt.date = SINCE
) -> dict[str, tuple[Field, np.datetime64]]:
    """What is to be planned beside a plan of today: of which field, on which day."""
    monkeypatch.setattr(changes, "start_of", lambda plot, record, day: (plot, record, day))
    stages = changes._stages(told(FIRST, now), since, RECORD, before)
    for plot, start, record in stages.values():
        assert record is RECORD
        assert start[:2] == (plot, RECORD)  # type: ignore[index]
    return {name: (plot, start[2]) for name, (plot, start, _) in stages.items()}  # type: ignore[index]


def test_only_steps_that_change_anything_are_planned(monkeypatch: pytest.MonkeyPatch) -> None:
    """The field as it was known then, on both days; with the notes of now where what was done differs too."""
    then, plain = np.datetime64(SINCE), field()
    early = replace(LATE, date=dt.date(2026, 3, 1))
    assert asked_of(plain, monkeypatch) == {"file": (plain, then)}
    assert asked_of(field(scouting=(early,)), monkeypatch) == {"file": (field(scouting=(early,)), then)}
    # A note since then, and nothing else: with it the field is the plan's own.
    assert asked_of(field(scouting=(LATE,)), monkeypatch) == {"weather": (plain, ON), "file": (plain, then)}
    done = field(turned_under="2026-04-17")
    assert asked_of(done, monkeypatch) == {"weather": (plain, ON), "file": (plain, then)}
    note = replace(LATE, date=dt.date(2026, 4, 12))
    both = field(turned_under="2026-04-17", scouting=(note,))
    assert asked_of(both, monkeypatch) == {
        "weather": (plain, ON),
        "file": (plain, then),
        "notes": (field(scouting=(note,)), ON),
    }


def test_another_file_is_planned_where_it_said_anything_else_then(monkeypatch: pytest.MonkeyPatch) -> None:
    """What it says of days since then is no difference."""
    then, plain = np.datetime64(SINCE), field()
    other = field(sown="2025-10-01")
    assert asked_of(plain, monkeypatch, other) == {"file": (plain, then), "before": (other, then)}
    assert asked_of(plain, monkeypatch, field(scouting=(LATE,))) == {"file": (plain, then)}


def test_the_day_before_the_plan_is_the_last_to_look_back_to(monkeypatch: pytest.MonkeyPatch) -> None:
    """And that of sowing the first."""
    plain = field()
    for day in ("2026-04-19", "2025-09-20"):
        since = dt.date.fromisoformat(day)
        assert asked_of(plain, monkeypatch, since=since) == {"file": (plain, np.datetime64(day))}


def test_the_steps_are_told_in_order_and_by_their_causes() -> None:
    """Each plan on the way is held to the one before; the state is that of then, by the file of then."""
    plain, noted = field(), field(scouting=(LATE,))
    now = told(FIRST + 20, noted)
    moved = changes._changes(now, SINCE, {"file": told(FIRST), "weather": told(FIRST + 1, plain)})
    assert moved.ending == moved.planting == Move(before=FIRST, after=FIRST + 20, by={"weather": 1, "notes": 19})
    assert (moved.since, moved.state) == (np.datetime64(SINCE), f"as of {FIRST}")
    by_file = {"before": told(FIRST - 5), "file": told(FIRST)}
    only = changes._changes(told(FIRST + 2, plain), SINCE, by_file)
    assert only.ending == Move(before=FIRST - 5, after=FIRST + 2, by={"file": 5, "weather": 2})
    assert only.state == f"as of {FIRST - 5}"
    note = replace(LATE, date=dt.date(2026, 4, 12))
    done = told(FIRST + 20, field(turned_under="2026-04-17", scouting=(note,)))
    steps = {"file": told(FIRST), "weather": told(FIRST + 1, plain), "notes": told(FIRST + 4, noted)}
    all_three = changes._changes(done, SINCE, steps)
    assert all_three.planting is not None
    assert all_three.planting.by == {"weather": 1, "notes": 3, "done": 16}
    planted = told(FIRST + 20, field(turned_under="2026-04-10", planted="2026-04-17"))
    crop = changes._changes(planted, SINCE, {"file": told(FIRST), "weather": told(FIRST + 1, plain)})
    assert crop.planting is not None
    assert crop.planting.by == {"weather": 1, "done": 19}


def test_what_is_done_moves_no_more() -> None:
    """The ending of an ended cover, and the planting of a planted crop."""
    made = {"file": told(FIRST)}
    for ended, planted in ((False, False), (True, False), (True, True)):
        now = told(FIRST + 2)
        now.is_ended, now.is_planted = ended, planted
        found = changes._changes(now, SINCE, made)
        assert [found.ending is None, found.planting is None] == [ended, planted]


def test_many_are_planned_in_one_go_without_their_details(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each gets its own steps back; one that was not sown yet gets none, and of none nothing is planned."""
    calls: list[list[Field]] = []

    def make_plans(asked: list[tuple[Field, Any, Any]], *, details: bool) -> Iterator[Any]:
        assert details is False
        calls.append([plot for plot, _, _ in asked])
        # The later the field was sown, the later its day; each plan is a day later than the one before it.
        return iter([told(np.datetime64(plot.cover.sown) + place, plot) for place, (plot, _, _) in enumerate(asked)])

    monkeypatch.setattr(changes, "start_of", lambda *_: None)
    monkeypatch.setattr(changes, "make_plans", make_plans)
    one, fresh, two = field(scouting=(LATE,)), field(sown="2026-03-25"), field(sown="2025-10-01")
    was = {"Test plot": field(sown="2025-09-10")}
    plans = [told(FIRST, plot) for plot in (one, fresh, two)]
    found = what_changed_each(plans, [RECORD] * 3, SINCE)
    assert calls == [[field(), field(), two]]
    assert [each and each.ending and each.ending.before for each in found] == [
        np.datetime64("2025-09-21"),  # of one the file's plan is its second, after that of the weather
        None,
        np.datetime64("2025-10-03"),
    ]
    calls.clear()
    assert what_changed_each([plans[1]], [RECORD], SINCE) == [None]
    assert calls == []
    (with_file,) = what_changed_each([plans[2]], [RECORD], SINCE, was)
    assert calls == [[two, was["Test plot"]]]
    assert with_file is not None
    assert with_file.ending is not None
    assert with_file.ending.before == np.datetime64("2025-09-11")
    calls.clear()
    assert what_changed(plans[2], SINCE, RECORD).ending is not None
    assert calls == [[two]]


def test_without_weather_it_is_that_which_the_field_names(monkeypatch: pytest.MonkeyPatch) -> None:
    """As far as the day of the plan."""
    seen = []

    def field_weather(plot: Field, today: dt.date) -> Any:
        seen.append((plot, today))
        return RECORD

    monkeypatch.setattr(changes, "field_weather", field_weather)
    monkeypatch.setattr(changes, "start_of", lambda plot, record, day: record)
    monkeypatch.setattr(changes, "make_plans", lambda asked, details: [told(FIRST) for _, record, _ in asked])
    assert what_changed(told(FIRST + 1), SINCE).planting == Move(before=FIRST, after=FIRST + 1, by={"weather": 1})
    assert seen == [(field(), dt.date(2026, 4, 20))]


# --- in words -------------------------------------------------------------------------------------


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
