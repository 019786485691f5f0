"""The dates ahead as an iCalendar file (RFC 5545; NAME, RFC 7986) that a calendar can take in again and again.

An event keeps its UID for as long as the cover stands, and the file itself
is the memory: what it held before decides whether an event is new, the same
or changed.  A change raises SEQUENCE, and an event that is no longer to be
expected is written as cancelled, so that a calendar moves and drops its own
copies instead of doubling them.

There is no METHOD: without one a file is a plain set of events, and the one
for publishing would ask for the address of an organizer (RFC 5546, 3.2.1).
DTSTAMP is then the day on which an event was last changed, and a second run
that changes nothing writes the same bytes.

The UID of an event is made (RFC 9562, version 5) of the field's name and
place, the day its cover was sown, and what the event is.
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.errors import UsageError, one_line
from covercrop.base.extras import need
from covercrop.base.output import write_whole
from covercrop.base.reading import read_whole
from covercrop.base.version import __version__
from covercrop.dates.agenda import KINDS
from covercrop.models.season_calendar import SEASON_DAYS
from covercrop.render.words.phrases import day_month
from covercrop.render.words.reminders import CATEGORIES, field_name
from covercrop.season import advice
from covercrop.season.next_step import MOST_VISITS

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from types import ModuleType

    from icalendar import Component as Entry

    from covercrop.field.entries import Field
    from covercrop.render.words.reminders import Reminder
    from covercrop.season.many import Plans

MAKER = "-//covercrop//"

_NAMESPACE = uuid.UUID("3f6d7f0e-5b9c-4c55-9d0b-8a3a6e2f71c4")
_WITHDRAWN = "Withdrawn: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """How many events are new, changed, the same, and withdrawn."""

    new: int
    changed: int
    same: int
    withdrawn: int


def uid(field: Field, kind: str, number: int = 0) -> str:
    """The UID of an event, the same however its dates move.

    The place, to a tenth of a degree, tells apart the fields of two growers
    that bear one name.
    """
    place = f"{field.latitude:.1f} {field.longitude:.1f}"
    parts = (field.name, place, field.cover.sown.isoformat(), kind, number)
    return str(uuid.uuid5(_NAMESPACE, json.dumps(parts)))


def uids(field: Field) -> frozenset[str]:
    """Every UID that an event of a field can have."""
    return frozenset(uid(field, kind, number) for kind in KINDS for number in range(MOST_VISITS + 1))


def write_icalendar(out: str | Path, dates: Iterable[Reminder], plans: Plans, *, title: str = "Covercrop") -> Changes:
    """Write the dates ahead as a file for any calendar; ``covercrop calendar -o`` does.

    Written again, it raises the number of what has moved and withdraws what is no longer to be expected.

    Parameters
    ----------
    out : str or Path
        Ends with .ics; what an earlier run wrote is the memory, and is replaced.
    dates : iterable of Reminder
        Of all the plans, from :func:`covercrop.upcoming_dates`.
    plans : Plans
        From :func:`covercrop.plan_fields`: the dates of fields that could not be worked out stay as they were.
    title : str
        What the calendar is called.

    Returns
    -------
    Changes
        How many events are new, changed, the same and withdrawn.

    Raises
    ------
    UsageError
        If something else stands there, which is never overwritten; if there is no date to write; if it cannot be
        written; if the package icalendar is not installed.

    References
    ----------
    RFC 5545 (iCalendar), RFC 7986 (NAME), RFC 9562 (the UID of an event).
    """
    path = Path(out)
    content, changes = calendar_of(dates, plans, read(path, plans.fields), title=title, where=f"{path}: not written, ")
    write_whole(path, content)
    return changes


def calendar_of(
    dates: Iterable[Reminder], plans: Plans, before: dict[str, Entry], *, title: str, where: str = ""
) -> tuple[bytes, Changes]:
    """The bytes of that file, from what it held before; ``where`` says at the head of a message what came of it."""
    planned = {plan.field.name for plan in plans}
    untouched = frozenset[str]().union(*(uids(field) for field in plans.fields if field.name not in planned))
    day = _date(plans.on)
    entries, changes = merge(dates, before, day, untouched)
    if not entries:
        raise UsageError(f"{where}since no date can be named after {day}; covercrop ready says why")
    return document(entries, title), changes


# --- the file as it was ---------------------------------------------------------------------------


def read(path: Path, fields: Iterable[Field]) -> dict[str, Entry]:
    """The events of a file that an earlier run wrote, by UID; none where there is no file.

    Parameters
    ----------
    path : pathlib.Path
    fields : iterable of Field
        The fields that are to be written to it.

    Raises
    ------
    UsageError
        If something else stands there, which is never overwritten, or the
        dates of quite other fields, which would all be withdrawn; if the
        package icalendar is not installed.
    """
    icalendar = _icalendar()
    if not path.parent.is_dir():
        raise UsageError(f"{path}: there is no folder {path.parent}; make it first, or give another name with `out`")
    try:
        content = read_whole(path)
    except FileNotFoundError:
        return {}
    except IsADirectoryError:
        raise UsageError(f"{path}: is a folder; give the name of a file in it, such as {path / 'dates.ics'}") from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror}); give another name with `out`") from None
    if not content.lstrip(b"\xef\xbb\xbf").startswith(b"BEGIN:VCALENDAR"):
        raise UsageError(f"{path}: is there already and is no calendar; nothing is overwritten, give another name")
    if f"PRODID:{MAKER}".encode() not in content:
        raise UsageError(f"{path}: is a calendar that another program wrote; give another name with `out`")
    try:
        calendar = icalendar.Calendar.from_ical(content)
        entries = {str(entry["UID"]): _checked(entry) for entry in calendar.walk("VEVENT")}
    except (ValueError, LookupError, TypeError, AttributeError) as error:
        raise UsageError(
            f"{path}: the calendar in it is damaged ({one_line(error)}); move it away, or give another name with `out`"
        ) from None
    held = sorted({str(entry["LOCATION"]) for entry in entries.values()})
    if held and not {_text(field_name(field)) for field in fields} & set(held):
        raise UsageError(f"{path}: holds the dates of other fields, such as {held[0]}; give another name with `out`")
    return entries


def _checked(entry: Entry) -> Entry:
    """An event of the file, if it is one that this module can have written."""
    days = (entry.decoded("DTSTART"), entry.decoded("DTEND"), _stamp(entry))
    if any(type(day) is not dt.date for day in days):
        raise ValueError(f"event {entry['UID']} has no whole days")
    if _sequence(entry) < 0 or not (str(entry["SUMMARY"]) and str(entry["LOCATION"])):
        raise ValueError(f"event {entry['UID']} has no title or no place, or a sequence below 0")
    return entry


def _icalendar() -> ModuleType:
    module: ModuleType = need("icalendar", "calendar")
    return module


def _sequence(entry: Entry) -> int:
    return int(entry.get("SEQUENCE", 0))


def _stamp(entry: Entry) -> dt.date:
    stamp: dt.datetime = entry.decoded("DTSTAMP")
    return stamp.date()


def _last(entry: Entry) -> dt.date:
    end: dt.date = entry.decoded("DTEND")
    return end - dt.timedelta(days=1)


# --- the file as it will be -----------------------------------------------------------------------


def merge(
    reminders: Iterable[Reminder], before: dict[str, Entry], on: dt.date, untouched: Collection[str] = ()
) -> tuple[list[Entry], Changes]:
    """The events to write: those ahead, with the sequence that their past asks for, and what has become of the others.

    Parameters
    ----------
    reminders : iterable of Reminder
    before : dict of str to icalendar.Event
        What the file held (:func:`read`).
    on : datetime.date
        The day of the answer.
    untouched : collection of str
        UIDs of fields that could not be worked out: their events stay as they are.
    """
    _icalendar()  # says what is missing before anything is made
    entries, new, changed, same, withdrawn = [], 0, 0, 0, 0
    rest = dict(before)
    for reminder in reminders:
        old = rest.pop(uid(reminder.field, reminder.event.kind, reminder.event.number), None)
        if old is None:
            new += 1
            entries.append(_entry(reminder, 0, on))
        elif (again := _entry(reminder, _sequence(old), _stamp(old))).content_lines() == old.content_lines():
            same += 1
            entries.append(again)
        else:
            changed += 1
            entries.append(_entry(reminder, _sequence(old) + 1, on))
    for name, old in rest.items():
        if name in untouched or str(old.get("STATUS")) == "CANCELLED" or _last(old) < on:
            # A cancelled one is kept for its number, a past one as a record, until its season cannot come back.
            if (on - _last(old)).days <= SEASON_DAYS:
                entries.append(old)
        else:
            withdrawn += 1
            entries.append(_cancelled(old, on))
    entries.sort(key=lambda entry: (entry.decoded("DTSTART"), str(entry["UID"])))
    return entries, Changes(new=new, changed=changed, same=same, withdrawn=withdrawn)


def _entry(reminder: Reminder, sequence: int, stamp: dt.date) -> Entry:
    event, field = reminder.event, reminder.field
    entry: Entry = _icalendar().Event()
    entry.add("UID", uid(field, event.kind, event.number))
    _mark(entry, sequence, stamp, "CONFIRMED")
    entry.add("DTSTART", _date(event.first))
    entry.add("DTEND", _date(event.last) + dt.timedelta(days=1))  # the first day that is no longer part of it
    entry.add("TRANSP", "TRANSPARENT")
    entry.add("SUMMARY", _text(reminder.title))
    entry.add("DESCRIPTION", _text(_description(reminder, stamp)))
    entry.add("LOCATION", _text(field_name(field)))
    entry.add("GEO", (field.latitude, field.longitude))
    entry.add("CATEGORIES", ["Cover crop", CATEGORIES[event.kind]])
    return entry


def _text(text: str) -> str:
    """Text without a backslash, which icalendar reads back as the end of a line where an n follows it."""
    return text.replace("\\", "/")


def _description(reminder: Reminder, stamp: dt.date) -> str:
    caution = f"Take care: {' '.join(reminder.cautions)}" if reminder.cautions else ""
    reckoned = f"Reckoned on {day_month(np.datetime64(stamp))} {stamp.year}."
    return "\n\n".join(filter(None, (reminder.odds, reminder.advice, caution, reckoned)))


def _cancelled(old: Entry, on: dt.date) -> Entry:
    entry = old.copy()
    _mark(entry, _sequence(old) + 1, on, "CANCELLED")
    # Said in the title too, for calendars that do not mind the status.
    title = str(entry.pop("SUMMARY"))
    entry.add("SUMMARY", f"{_WITHDRAWN}{title}")
    return entry


def _mark(entry: Entry, sequence: int, stamp: dt.date, status: str) -> None:
    """Say which state of the event this is."""
    midnight = dt.datetime(stamp.year, stamp.month, stamp.day, tzinfo=dt.UTC)
    marks = {"SEQUENCE": sequence, "DTSTAMP": midnight, "LAST-MODIFIED": midnight, "STATUS": status}
    for name, value in marks.items():
        entry.pop(name, None)
        entry.add(name, value)


def _date(day: np.datetime64) -> dt.date:
    return dt.date.fromisoformat(str(day))


def document(entries: Sequence[Entry], title: str) -> bytes:
    """A calendar with these events.

    Parameters
    ----------
    entries : sequence of icalendar.Event
        One at the least, as the standard asks.
    title : str
        What the calendar is called.
    """
    icalendar = _icalendar()
    calendar = icalendar.Calendar()
    calendar.add("PRODID", f"{MAKER}covercrop {__version__}//EN")
    calendar.add("VERSION", "2.0")
    calendar.add("CALSCALE", "GREGORIAN")
    name = icalendar.vText(_text(f"Cover crops: {one_line(title)}"))  # which escapes it, as plain text would not be
    calendar.add("NAME", name)
    calendar.add("X-WR-CALNAME", name)  # what calendars read that came before NAME
    calendar.add("DESCRIPTION", advice.ADVICE_FIRST)
    for entry in entries:
        calendar.add_component(entry)
    content: bytes = calendar.to_ical()
    return content
