"""`covercrop calendar`: the dates ahead, on the screen or as a file for any calendar."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.cli.shared import (
    FEW,
    Commands,
    complain,
    field_argument,
    fields_argument,
    named,
    on_argument,
    plan_all,
    progress,
    read,
    said,
    screen,
    show,
)

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather
    from covercrop.render.words.reminders import Reminder
    from covercrop.season.plan import Plan

_STANDARD_OUTPUT = Path("-")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    calendar = commands.add(
        "calendar",
        _run,
        "the dates ahead of every field, as a list or for a calendar",
        ("upcoming_dates", "write_icalendar"),
        csv="print a line for each date, for a spreadsheet",
    )
    fields_argument(calendar)
    calendar.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE.ics",
        help="write an iCalendar file; run again, it raises the number of what has moved (- for standard output)",
    )
    on_argument(calendar)
    field_argument(calendar, f"of more than {FEW} fields what is to be done on the same days is joined")


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.errors import UsageError
    from covercrop.render.data import icalendar, lists, machine
    from covercrop.render.screen import datebook
    from covercrop.render.words.reminders import upcoming_dates

    output = arguments.output
    if output == _STANDARD_OUTPUT and (arguments.json or arguments.csv):
        form = "--json" if arguments.json else "--csv"
        raise UsageError(f"-o - and {form} both print to standard output; give one of them, or -o with a file's name")
    if output is not None and arguments.field:
        raise UsageError(
            "-o writes the dates of all fields, and takes back those that are not there; leave --field out"
        )
    file, today, title = read(arguments)
    if output not in (None, _STANDARD_OUTPUT):
        icalendar.read(output, file.fields)  # refused before the work
    fields = named(file, arguments.field)
    planned = plan_all(fields, arguments, today)
    with progress("dates of the next cover", len(planned)) as advance:

        def ahead_of(plan: Plan, weather: DailyWeather) -> tuple[Reminder, ...]:
            advance(1)
            return upcoming_dates(plan, weather, us=arguments.units == "us")

        dates, troubled = planned.each(ahead_of)
    plans, problems = planned.plans, said(troubled)
    ahead = [reminder for each in dates for reminder in each]
    if output == _STANDARD_OUTPUT and plans:
        sys.stdout.buffer.write(icalendar.calendar_of(ahead, planned, {}, title=title, where="-: not written, ")[0])
    elif output is not None and plans:
        changes = icalendar.write_icalendar(output, ahead, planned, title=title)
        if not (arguments.json or arguments.csv):
            datebook.saved(screen(), str(output), changes)
    if arguments.json:
        show(machine.dump(machine.calendar(plans, ahead, planned.on, problems)))
    elif arguments.csv:
        show(lists.calendar(ahead))
    elif output is None and plans:
        listed = datebook.joined if len(fields) > FEW and ahead and not arguments.field else datebook.datebook
        listed(screen(), ahead, planned.on, title=title)
    return complain(problems)
