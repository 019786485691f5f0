"""The iCalendar file: read back with another library, vobject, and held against RFC 5545, octet by octet."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import re
import sys
import uuid
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import icalendar
import jsonschema
import numpy as np
import pytest
import vobject
from hypothesis import example, given, settings
from hypothesis import strategies as st
from invented import field, weather

from covercrop.base.errors import LONGEST_LINE, one_line
from covercrop.cli.main import main
from covercrop.dates.agenda import KINDS
from covercrop.render.data import icalendar as calendar
from covercrop.render.words.reminders import CATEGORIES, Reminder, reminders
from covercrop.season.next_step import LOOK_FOR
from covercrop.season.plan import STATES, make_plan

Run = Callable[..., tuple[int, str, str]]

FEBRUARY, APRIL, MAY = "2026-02-15", "2026-04-20", "2026-05-05"

pytestmark = pytest.mark.usefixtures("autumns_once", "plans_once")


def events_of(found: Any) -> list[Any]:
    """The events of a calendar that vobject has read."""
    return list(getattr(found, "vevent_list", []))


def parsed(content: bytes) -> list[Any]:
    """The events as vobject reads them."""
    return events_of(vobject.readOne(content.decode("utf-8")))


def by_uid(path: Path) -> dict[str, Any]:
    found = parsed(path.read_bytes())
    events = {event.uid.value: event for event in found}
    assert len(events) == len(found)
    return events


def number(event: Any) -> int:
    return int(event.sequence.value)


def cancelled(event: Any) -> bool:
    return bool(event.status.value == "CANCELLED")


# --- the file -------------------------------------------------------------------------------------


def held_against_the_standard(content: bytes) -> None:
    """RFC 5545, 3.1: lines end with CRLF, have 75 octets at most, and a character may be cut by folding only whole.

    3.3.11: no control characters in text; 3.6: one calendar, components in pairs.
    """
    assert content.endswith(b"END:VCALENDAR\r\n")
    lines = content.split(b"\r\n")[:-1]
    assert not any(b"\r" in line or b"\n" in line for line in lines)
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode("utf-8")
    assert not re.search(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", content)
    unfolded = content.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]
    assert unfolded[0] == "BEGIN:VCALENDAR"
    assert unfolded.count("BEGIN:VCALENDAR") == unfolded.count("END:VCALENDAR") == 1
    assert unfolded.count("BEGIN:VEVENT") == unfolded.count("END:VEVENT") >= 1
    assert {line for line in unfolded if line.startswith("BEGIN:")} == {"BEGIN:VCALENDAR", "BEGIN:VEVENT"}
    assert all(re.match(r"[A-Z-]+[;:]", line) for line in unfolded), unfolded


@pytest.mark.parametrize("on", [FEBRUARY, APRIL, MAY, "2026-05-25", "2026-07-10"])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_another_parser_reads_what_the_document_says(run: Run, tmp_path: Path, on: str, units: str) -> None:
    """Every property of every event, read back by vobject, is that of the JSON document of the same command."""
    path = tmp_path / "dates.ics"
    status, printed, messages = run("calendar", "-o", path, "--json", "--on", on, "--units", units)
    assert (status, messages) == (0, "")
    held_against_the_standard(path.read_bytes())
    document = json.loads(printed)
    wanted = {
        (field["name"], event["kind"], event["number"]): event
        for field in document["fields"]
        for event in field["events"]
    }
    events = parsed(path.read_bytes())
    assert len(events) == len(wanted) > 0
    for (name, kind, _), entry in wanted.items():
        (event,) = [each for each in events if (each.summary.value, each.location.value) == (entry["title"], name)
                    and each.dtstart.value.isoformat() == entry["from"]]  # fmt: skip
        assert type(event.dtstart.value) is type(event.dtend.value) is dt.date
        assert event.dtstart.value_param == event.dtend.value_param == "DATE"
        # RFC 5545, 3.6.1: the end of an event is the first day that is no longer part of it.
        assert event.dtend.value == dt.date.fromisoformat(entry["to"]) + dt.timedelta(days=1)
        said = event.description.value
        assert said.startswith(entry["odds"])
        assert entry["advice"] is None or entry["advice"] in said
        assert all(caution in said for caution in entry["cautions"])
        assert said.endswith(f"Reckoned on {int(on[8:])} {dt.date.fromisoformat(on):%b %Y}.")
        assert event.categories.value == ["Cover crop", CATEGORIES[kind]]
        assert event.transp.value == "TRANSPARENT"
        assert event.status.value == "CONFIRMED"
        assert number(event) == 0
        assert event.dtstamp.value == event.last_modified.value
        assert event.dtstamp.value == dt.datetime.fromisoformat(f"{on}T00:00:00+00:00")
        assert name == event.summary.value.split(": ")[0]
        assert uuid.UUID(event.uid.value).version == 5


TEXT = {"type": "string", "minLength": 1}
DAY = {"type": "string", "format": "date"}
DOCUMENT = {
    "type": "object",
    "additionalProperties": False,
    "required": ["schema", "on", "fields"],
    "properties": {
        "schema": {"const": 1},
        "on": DAY,
        "problems": {"type": "array"},
        "fields": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["name", "state", "events"],
                "properties": {
                    "name": TEXT,
                    "state": {"enum": list(STATES)},
                    "events": {
                        "type": "array",
                        "items": {
                            "type": "object",
                            "additionalProperties": False,
                            "required": [
                                "kind",
                                "look_for",
                                "crop_stands",
                                "number",
                                "from",
                                "to",
                                "title",
                                "odds",
                                "advice",
                                "cautions",
                            ],
                            "properties": {
                                "kind": {"enum": list(KINDS)},
                                "look_for": {"enum": [*LOOK_FOR, None]},
                                "crop_stands": {"type": ["boolean", "null"]},
                                "number": {"type": "integer", "minimum": 0},
                                "from": DAY,
                                "to": DAY,
                                "title": TEXT,
                                "odds": TEXT,
                                "advice": {"type": ["string", "null"], "minLength": 1},
                                "cautions": {"type": "array", "items": TEXT},
                            },
                        },
                    },
                },
            },
        },
    },
}


@pytest.mark.parametrize("on", ["2025-09-20", FEBRUARY, "2026-05-25", "2026-12-24"])
def test_the_document_keeps_to_its_schema(run: Run, on: str) -> None:
    """On any day, before a field was sown and after all is over too, the document has its keys."""
    status, printed, said = run("calendar", "--json", "--on", on)
    document = json.loads(printed)
    jsonschema.validate(document, DOCUMENT, format_checker=jsonschema.FormatChecker())
    assert document["on"] == on
    assert len(document["fields"]) + len(document.get("problems", ())) == 3
    assert status == (1 if said else 0)


def test_the_calendar_names_itself(run: Run, tmp_path: Path) -> None:
    """What RFC 5545 (3.6) asks for, a name (RFC 7986, 5.1), and no METHOD, which would ask for an organizer."""
    path = tmp_path / "dates.ics"
    run("calendar", "-o", path)
    found = vobject.readOne(path.read_text(encoding="utf-8"))
    assert found.version.value == "2.0"
    assert found.prodid.value.startswith("-//covercrop//")
    assert found.contents["x-wr-calname"][0].value == "Cover crops: Demonstration (an invented place)"
    assert found.contents["name"][0].value == "Cover crops: Demonstration (an invented place)"
    assert "licensed advice come before" in found.contents["description"][0].value
    assert "method" not in found.contents


def test_the_place_is_that_of_the_field(run: Run, tmp_path: Path) -> None:
    """GEO is latitude;longitude (RFC 5545, 3.8.1.6)."""
    path = tmp_path / "dates.ics"
    run("calendar", "-o", path)
    places = {event.location.value: event.geo.value for event in parsed(path.read_bytes())}
    assert places == {
        "Ford meadow": "37.62;-84.91",
        "Chapel bench": "37.64;-84.93",
        "Upper orchard strip": "37.6;-84.88",
    }


def test_standard_output(tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    """``-o -`` prints the bytes that a file would hold."""
    path = tmp_path / "dates.ics"
    assert main(["calendar", "-o", str(path)]) == 0
    capfdbinary.readouterr()
    assert main(["calendar", "-o", "-"]) == 0
    assert capfdbinary.readouterr().out == path.read_bytes()


# --- UIDs -----------------------------------------------------------------------------------------


def test_a_uid_is_made_by_the_standard() -> None:
    """Version 5 of RFC 9562 (5.5): SHA-1 over namespace and name, counted here by hashlib alone."""
    plot = replace(field(), name="Mill; terrace")
    name = json.dumps(["Mill; terrace", "37.6 -84.9", "2025-09-20", "scout", 2]).encode()
    digest = bytearray(hashlib.sha1(calendar._NAMESPACE.bytes + name, usedforsecurity=False).digest()[:16])
    digest[6] = digest[6] & 0x0F | 0x50
    digest[8] = digest[8] & 0x3F | 0x80
    assert uuid.UUID(bytes=bytes(digest)) == uuid.UUID(calendar.uid(plot, "scout", 2))


def test_uids_tell_apart_what_is_not_the_same() -> None:
    """Another name, place, season, kind or number is another event; a cultivar, a crop or a note is not."""
    plot = field()
    sown = replace(plot.cover, sown=dt.date(2026, 9, 20))
    others = [replace(plot, name="b"), replace(plot, latitude=38.6), replace(plot, cover=sown)]
    found = {calendar.uid(each, "scout", 1) for each in (plot, *others)}
    found |= {calendar.uid(plot, "scout", 2), calendar.uid(plot, "planting", 1)}
    assert len(found) == 6
    same = replace(plot, area_m2=5.0, cover=replace(plot.cover, cultivar="Dixie", turned_under=dt.date(2026, 5, 1)))
    assert calendar.uid(same, "scout", 1) == calendar.uid(plot, "scout", 1)
    assert calendar.uid(plot, "scout", 1) in calendar.uids(plot)


def test_two_fields_with_the_same_dates_are_two(run: Run, own: Any, tmp_path: Path) -> None:
    """Two fields that differ in nothing but the name have the same dates under different UIDs."""
    path = own()
    text = path.read_text(encoding="utf-8")
    first = text[text.index("[[field]]") : text.index('[[field]]\nname = "Chapel')]
    path.write_text("today = 2026-04-20\n" + first + first.replace("Ford meadow", "Ford meadow 2"), encoding="utf-8")
    run("calendar", path, "-o", tmp_path / "dates.ics")
    days: dict[str, list[dt.date]] = {}
    for event in by_uid(tmp_path / "dates.ics").values():
        days.setdefault(event.location.value, []).append(event.dtstart.value)
    assert days["Ford meadow"] == days["Ford meadow 2"]


# --- run again ------------------------------------------------------------------------------------


def test_a_second_run_changes_nothing(run: Run, own: Any, tmp_path: Path) -> None:
    """The same answer gives the same bytes, on the same day."""
    fields, path = own(), tmp_path / "dates.ics"
    _, first, _ = run("calendar", fields, "-o", path)
    before = path.read_bytes()
    _, second, _ = run("calendar", fields, "-o", path)
    assert path.read_bytes() == before
    total = len(parsed(before))
    assert f"{total} dates ahead: {total} new, 0 changed, 0 as before." in " ".join(first.split())
    assert f"{total} dates ahead: 0 new, 0 changed, {total} as before." in " ".join(second.split())


def test_a_day_later_what_has_not_changed_keeps_its_stamp(run: Run, own: Any, tmp_path: Path) -> None:
    """An event that says the same a day later keeps number, stamp and the day it was reckoned on."""
    fields, path = own(), tmp_path / "dates.ics"
    run("calendar", fields, "-o", path, "--on", "2026-04-20")
    before = by_uid(path)
    run("calendar", fields, "-o", path, "--on", "2026-04-21")
    after = by_uid(path)
    same = [uid for uid in before if before[uid].serialize() == after[uid].serialize()]
    assert len(same) >= 3
    for uid in after.keys() - set(same):
        assert number(after[uid]) == (number(before[uid]) + 1 if uid in before else 0)
        assert after[uid].dtstamp.value.date() == dt.date(2026, 4, 21)


def test_a_moved_forecast_raises_the_sequence(run: Run, own: Any, tmp_path: Path) -> None:
    """From February to April each event that moved keeps its UID and has a higher number; none is doubled."""
    fields, path = own(), tmp_path / "dates.ics"
    run("calendar", fields, "-o", path, "--on", FEBRUARY)
    before = by_uid(path)
    run("calendar", fields, "-o", path, "--on", APRIL)
    after = by_uid(path)
    moved = [uid for uid in before if before[uid].dtstart.value != after[uid].dtstart.value]
    assert len(moved) >= 5
    for uid in before:
        changed = before[uid].serialize() != after[uid].serialize()
        assert number(after[uid]) == number(before[uid]) + changed
    for field_name in ("Ford meadow", "Chapel bench", "Upper orchard strip"):
        alive = [event.summary.value for event in after.values() if event.location.value == field_name]
        assert sum("turn it under" in title for title in alive) == 1
    run("calendar", fields, "-o", path, "--on", MAY)
    for uid, event in by_uid(path).items():
        assert number(event) >= (number(after[uid]) if uid in after else 0)


def test_what_is_done_is_withdrawn(run: Run, own: Any, tmp_path: Path) -> None:
    """Once the cover is under, its dates ahead are cancelled with a higher number; what is past stays."""
    fields, path = own(), tmp_path / "dates.ics"
    run("calendar", fields, "-o", path, "--on", APRIL)
    before = by_uid(path)
    text = fields.read_text(encoding="utf-8").replace("today = 2026-04-20", "today = 2026-05-03")
    fields.write_text(
        text.replace("sown = 2025-09-15", "sown = 2025-09-15\nturned_under = 2026-05-02"), encoding="utf-8"
    )
    _, said, _ = run("calendar", fields, "-o", path)
    held_against_the_standard(path.read_bytes())
    after = by_uid(path)
    gone = {uid for uid, event in after.items() if cancelled(event)}
    assert f"; {len(gone)} withdrawn." in " ".join(said.split())
    titles = sorted(before[uid].summary.value.split(",")[0] for uid in gone)
    assert titles == ["Ford meadow: turn it under", "Ford meadow: window closing"]
    for uid in gone:
        assert number(after[uid]) == number(before[uid]) + 1
        assert after[uid].summary.value == f"Withdrawn: {before[uid].summary.value}"
        assert after[uid].dtstart.value == before[uid].dtstart.value
        assert after[uid].last_modified.value.date() == dt.date(2026, 5, 3)
    for uid, event in before.items():
        if event.dtend.value <= dt.date(2026, 5, 3):  # over: a record of what was expected
            assert after[uid].serialize() == event.serialize()
    # Once more: nothing is withdrawn twice.
    content = path.read_bytes()
    run("calendar", fields, "-o", path)
    assert path.read_bytes() == content
    # It was a slip of the pen: the dates come back, above the number of their cancelling.
    fields.write_text(fields.read_text(encoding="utf-8").replace("turned_under = ", "# "), encoding="utf-8")
    run("calendar", fields, "-o", path)
    back = by_uid(path)
    for uid in gone:
        assert not cancelled(back[uid])
        assert number(back[uid]) == number(after[uid]) + 1
        assert "Withdrawn" not in back[uid].summary.value


def test_a_field_that_fails_keeps_its_dates(run: Run, own: Any, tmp_path: Path) -> None:
    """A field whose weather cannot be read this time is reported, and its events are neither moved nor cancelled."""
    fields, path = own(), tmp_path / "dates.ics"
    run("calendar", fields, "-o", path, "--on", FEBRUARY)
    before = by_uid(path)
    text = fields.read_text(encoding="utf-8").replace('file = "weather.csv"', 'file = "gone.csv"', 1)
    fields.write_text(text, encoding="utf-8")
    status, _, said = run("calendar", fields, "-o", path, "--on", APRIL)
    assert status == 1
    assert "Ford meadow" in said
    after = by_uid(path)
    kept = {uid for uid, event in before.items() if event.location.value == "Ford meadow"}
    assert kept
    assert all(after[uid].serialize() == before[uid].serialize() for uid in kept)
    assert any(number(event) == 1 for event in after.values())


def test_when_every_field_fails_the_file_stays(run: Run, own: Any, tmp_path: Path) -> None:
    """With nothing worked out nothing is written."""
    fields, path = own(), tmp_path / "dates.ics"
    run("calendar", fields, "-o", path)
    before = path.read_bytes()
    fields.write_text(fields.read_text(encoding="utf-8").replace("weather.csv", "gone.csv"), encoding="utf-8")
    status, printed, said = run("calendar", fields, "-o", path)
    assert (status, printed, said.count("\n")) == (1, "", 3)
    assert path.read_bytes() == before


def test_an_event_is_past_the_day_after_its_last() -> None:
    """What is no longer to be expected is withdrawn up to its last day, and left as a record from the next day on."""
    entries, _ = calendar.merge(SAID[:1], {}, dt.date(2026, 2, 15))
    before = {str(entry["UID"]): entry for entry in entries}
    last = calendar._last(entries[0])
    for days, status, withdrawn in ((0, "CANCELLED", 1), (1, "CONFIRMED", 0)):
        (entry,), changes = calendar.merge((), before, last + dt.timedelta(days=days))
        assert (entry["STATUS"], changes.withdrawn) == (status, withdrawn)


def test_a_season_that_cannot_come_back_is_dropped() -> None:
    """What lies further back than a season is long leaves the file; what is nearer stays as a record."""
    entries, _ = calendar.merge(SAID, {}, dt.date(2026, 2, 15))
    before = {str(entry["UID"]): entry for entry in entries}
    last = max(calendar._last(entry) for entry in entries)
    for days, left in ((500, 1), (501, 0)):
        kept, changes = calendar.merge((), before, last + dt.timedelta(days=days))
        assert len(kept) == left
        assert changes.withdrawn == 0


MADE = make_plan(field(), weather(), np.datetime64(FEBRUARY))
SAID = reminders(MADE)
RUNS = st.lists(
    st.tuples(
        st.integers(0, 40),  # days since the run before
        st.dictionaries(st.integers(0, len(SAID) - 1), st.integers(-20, 20)),  # which dates there are, and how moved
    ),
    min_size=1,
    max_size=6,
)


def moved(reminder: Reminder, days: int) -> Reminder:
    shift = np.timedelta64(days, "D")
    event = replace(reminder.event, first=reminder.event.first + shift, last=reminder.event.last + shift)
    return replace(reminder, event=event)


@settings(max_examples=60)
@given(RUNS)
def test_any_course_of_runs(runs: list[tuple[int, dict[int, int]]]) -> None:
    """Whatever comes and goes: one event a UID, numbers that rise exactly with what is said, nothing left ahead."""
    on, held = dt.date(2026, 2, 15), dict[str, Any]()
    for wait, dates in runs:
        on += dt.timedelta(days=wait)
        ahead = [moved(SAID[place], days) for place, days in dates.items()]
        entries, changes = calendar.merge(ahead, held, on)
        now = {str(entry["UID"]): entry for entry in entries}
        assert len(now) == len(entries)
        assert changes.new + changes.changed + changes.same == len(ahead)
        wanted = {calendar.uid(each.field, each.event.kind, each.event.number): each for each in ahead}
        for uid, entry in now.items():
            if uid in wanted:
                assert entry["STATUS"] == "CONFIRMED"
                assert entry.decoded("DTSTART") == dt.date.fromisoformat(str(wanted[uid].event.first))
            else:
                assert entry["STATUS"] == "CANCELLED" or calendar._last(entry) < on
            if uid in held:
                same = entry.to_ical() == held[uid].to_ical()
                assert calendar._sequence(entry) == calendar._sequence(held[uid]) + (not same)
                assert calendar._stamp(entry) == (calendar._stamp(held[uid]) if same else on)
            else:
                assert calendar._sequence(entry) == 0
        assert held.keys() <= now.keys()
        if entries:
            read = icalendar.Calendar.from_ical(calendar.document(entries, "fields.toml"))
            held = {str(entry["UID"]): entry for entry in read.walk("VEVENT")}


# --- names ----------------------------------------------------------------------------------------

HOSTILE = (
    'a,b;c\\d\\ne:f"g"',
    "line\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:mine",
    "BEGIN:VCALENDAR",
    "=cmd|' /C calc'!A0",
    "<script>alert(1)</script>",
    "x" * 700,
    "é" * 200,
    "🌱" * 60,
    "日本の畑" * 40,
    "\x00\x07\x1b[31m\x7f\u2028\u202e",
    " trailing ",
    "\\n",
    "^n^^",
)


def round_trip(name: str) -> None:
    """A field's name goes out and comes back as it is shown elsewhere, but for backslashes, and stays in its place."""
    plan = replace(MADE, field=replace(MADE.field, name=name))
    said = reminders(plan)
    entries, _ = calendar.merge(said, {}, dt.date(2026, 2, 15))
    content = calendar.document(entries, name)
    held_against_the_standard(content)
    read = vobject.readOne(content.decode("utf-8"))
    events = events_of(read)
    assert len(events) == len(said)
    shown = one_line(name).replace("\\", "/")
    assert len(shown) <= LONGEST_LINE
    assert {event.location.value for event in events} == {shown}
    assert sorted(event.summary.value for event in events) == sorted(
        reminder.title.replace("\\", "/") for reminder in said
    )
    assert all(event.summary.value.startswith(f"{shown}: ") for event in events)
    assert read.contents["name"][0].value == f"Cover crops: {shown}"
    # And it is read again as what it was: a second run finds nothing changed.
    held = {str(entry["UID"]): entry for entry in icalendar.Calendar.from_ical(content).walk("VEVENT")}
    again, changes = calendar.merge(said, held, dt.date(2026, 3, 1))
    assert (changes.new, changes.changed, changes.withdrawn) == (0, 0, 0)
    assert calendar.document(again, name) == content


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names(name: str) -> None:
    """Separators, line ends, other components, bytes that fold badly: each is text and stays text."""
    round_trip(name)


@given(st.text(min_size=1, max_size=120).filter(lambda name: bool(name.strip())))
@example("\\,")
@example("a\\")
@example("\\;\\N")
def test_any_name(name: str) -> None:
    """Any name at all."""
    round_trip(name)


def test_a_hostile_name_from_the_field_file(run: Run, own: Any, tmp_path: Path) -> None:
    """From end to end, through TOML and the command line."""
    fields = own(('"Ford meadow"', r'"Ford\r\nEND:VEVENT\r\nX:, ; \\ \u001b[31m 🌱"'))
    path = tmp_path / "dates.ics"
    status, printed, messages = run("calendar", fields, "-o", path)
    assert (status, messages) == (0, "")
    assert "\x1b" not in printed
    held_against_the_standard(path.read_bytes())
    names = {event.location.value for event in parsed(path.read_bytes())}
    assert "Ford END:VEVENT X:, ; / /x1b[31m 🌱" in names


# --- bad input ------------------------------------------------------------------------------------

SOMEONES = (
    "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//else//EN\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTAMP:20260101T000000Z\r\n"
    "DTSTART:20260101T100000Z\r\nSUMMARY:dentist\r\nLOCATION:Ford meadow\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
)
OURS = SOMEONES.replace("-//else//", "-//covercrop//covercrop 0//")
WHOLE_DAY = OURS.replace("DTSTART:20260101T100000Z", "DTSTART;VALUE=DATE:20260101\r\nDTEND;VALUE=DATE:20260102")

REFUSED = {
    "a text": ("notes about the field\n", "is there already and is no calendar; nothing is overwritten"),
    "an empty file": ("", "is there already and is no calendar"),
    "another calendar": (SOMEONES, "is a calendar that another program wrote; give another name with -o"),
    "an event with hours": (OURS, "the calendar in it is damaged .*; move it away, or give another name"),
    "cut off": (WHOLE_DAY[:-40], "the calendar in it is damaged"),
    "no day": (WHOLE_DAY.replace("DTSTART;VALUE=DATE:20260101\r\n", ""), "damaged .*DTSTART"),
    "a wrong day": (WHOLE_DAY.replace("20260102", "20261302"), "the calendar in it is damaged"),
    "a wrong number": (WHOLE_DAY.replace("UID:1", "UID:1\r\nSEQUENCE:-4"), "damaged .*sequence below 0"),
    "other fields": (WHOLE_DAY.replace("Ford meadow", "Far field"), "dates of other fields, such as Far field; give"),
    "no place": (WHOLE_DAY.replace("LOCATION:Ford meadow\r\n", ""), "damaged .*LOCATION"),
    "no UID": (WHOLE_DAY.replace("UID:1\r\n", ""), "damaged .*UID"),
    "no stamp": (WHOLE_DAY.replace("DTSTAMP:20260101T000000Z\r\n", ""), "damaged .*DTSTAMP"),
}


def refused(status: int, printed: str, said: str) -> str:
    """The one line of a refusal."""
    assert (status, printed) == (1, "")
    assert said.startswith("covercrop: ")
    assert said.count("\n") == 1
    return said


@pytest.mark.parametrize("case", REFUSED)
def test_what_stands_there_is_not_overwritten(run: Run, tmp_path: Path, case: str) -> None:
    """A file that is not the program's own, or no longer sound, is left as it is, and one line says so."""
    content, message = REFUSED[case]
    path = tmp_path / "dates.ics"
    path.write_bytes(content.encode())
    said = refused(*run("calendar", "-o", path))
    assert str(path) in said
    assert re.search(message, said), said
    assert path.read_bytes() == content.encode()


def test_a_sound_file_of_ours_is_taken(run: Run, tmp_path: Path) -> None:
    """What the cases above spoil is in order as it is."""
    path = tmp_path / "dates.ics"
    path.write_bytes(WHOLE_DAY.encode())
    status, _, said = run("calendar", "-o", path)
    assert (status, said) == (0, "")
    assert by_uid(path)["1"].summary.value == "dentist"


def test_places_that_cannot_be_written(run: Run, tmp_path: Path) -> None:
    """A folder, a folder that is not there, a name that is too long: one line with the way out."""
    assert "is a folder; give the name of a file in it" in refused(*run("calendar", "-o", tmp_path))
    assert "there is no folder" in refused(*run("calendar", "-o", tmp_path / "no" / "dates.ics"))
    assert "give another name with -o" in refused(*run("calendar", "-o", tmp_path / ("x" * 300)))
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    if os.geteuid():  # the superuser may write anywhere
        assert "cannot be written (Permission denied)" in refused(*run("calendar", "-o", locked / "dates.ics"))
    locked.rmdir()
    assert list(tmp_path.iterdir()) == []


def test_the_field_file_is_not_overwritten(run: Run, own: Any) -> None:
    """``-o fields.toml`` by a slip leaves the field file alone."""
    path = own()
    before = path.read_bytes()
    assert "is no calendar" in refused(*run("calendar", path, "-o", path))
    assert path.read_bytes() == before


def test_a_full_disk_leaves_the_old_file(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, own: Any) -> None:
    """A write that fails half-way leaves the file of the last run, and nothing beside it."""
    fields, path = own(), tmp_path / "dates.ics"
    run("calendar", fields, "-o", path, "--on", FEBRUARY)
    before = path.read_bytes()
    real = os.fdopen

    def full(handle: int, mode: str) -> Any:
        file = real(handle, mode)

        class Short:
            def __enter__(self) -> Short:
                return self

            def __exit__(self, *raised: object) -> None:
                file.close()

            def write(self, content: bytes) -> None:
                file.write(content[:100])
                raise OSError(28, "No space left on device")

        return Short()

    monkeypatch.setattr(os, "fdopen", full)
    said = refused(*run("calendar", fields, "-o", path))
    assert "dates.ics: cannot be written (No space left on device)" in said
    assert path.read_bytes() == before
    assert sorted(each.name for each in tmp_path.iterdir()) == ["dates.ics", "fields.toml", "weather.csv"]


def test_a_link_stays_a_link(run: Run, tmp_path: Path) -> None:
    """Written through a link, the file that it leads to is replaced."""
    target, link = tmp_path / "real.ics", tmp_path / "link.ics"
    run("calendar", "-o", target, "--on", FEBRUARY)
    before = target.read_bytes()
    link.symlink_to(target)
    run("calendar", "-o", link)
    assert link.is_symlink()
    assert target.read_bytes() != before


def test_without_the_package(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where icalendar is missing, one line says how to get it; the list needs no package."""
    monkeypatch.setitem(sys.modules, "icalendar", None)
    for output in (tmp_path / "dates.ics", "-"):
        said = refused(*run("calendar", "-o", output))
        assert "pip install 'covercrop[calendar]'" in said
    assert run("calendar")[0] == 0
    assert list(tmp_path.iterdir()) == []


def test_two_things_on_one_output(run: Run) -> None:
    """``-o -`` and ``--json`` would mix two documents."""
    assert "give one of them" in refused(*run("calendar", "-o", "-", "--json"))


def test_no_date_ahead(run: Run, own: Any, tmp_path: Path) -> None:
    """Without past years there is no date to write: one line, no file; the list says it too."""
    fields = own()
    rows = (tmp_path / "weather.csv").read_text(encoding="utf-8").splitlines()
    season = [rows[0], *(row for row in rows[1:] if row >= "2025-09-01")]
    (tmp_path / "weather.csv").write_text("\n".join(season) + "\n", encoding="utf-8")
    path = tmp_path / "dates.ics"
    said = refused(*run("calendar", fields, "-o", path))
    assert "not written, since no date can be named after 2026-04-20" in said
    assert not path.exists()
    status, printed, _ = run("calendar", fields)
    assert status == 0
    assert "No date lies ahead" in printed


def test_the_list_says_what_the_file_says(run: Run, tmp_path: Path) -> None:
    """The list on the screen has every title of the file, in the order of the days."""
    _, printed, _ = run("calendar")
    path = tmp_path / "dates.ics"
    run("calendar", "-o", path)
    text = " ".join(printed.split())
    places = [text.index(event.summary.value) for event in parsed(path.read_bytes())]
    assert len(places) >= 15
    assert len(set(places)) == len(places)


def test_a_file_of_a_later_year_is_no_guess(run: Run) -> None:
    """A day before sowing is refused for each field, as by the other commands."""
    status, printed, said = run("calendar", "--on", "2025-09-01")
    assert (status, printed) == (1, "")
    assert said.count("ask about a later day with --on") == 3
