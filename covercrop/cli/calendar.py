"""`covercrop calendar`: the dates ahead, on the screen or as a file for any calendar."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from covercrop.cli.shared import Commands, complain, fields_argument, on_argument, read, screen, show
from covercrop.season.many import each_field, planner

_STANDARD_OUTPUT = Path("-")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    calendar = commands.add("calendar", _run, "the dates ahead of every field, as a list or for a calendar")
    fields_argument(calendar)
    calendar.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE.ics",
        help="write an iCalendar file; run again, it raises the number of what has moved (- for standard output)",
    )
    on_argument(calendar)


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.base.errors import UsageError
    from covercrop.base.output import write_whole
    from covercrop.dates.agenda import next_autumn
    from covercrop.field.entries import Field
    from covercrop.render.data import icalendar, machine
    from covercrop.render.screen import datebook
    from covercrop.render.words.reminders import Reminder, reminders
    from covercrop.season.plan import Plan

    output = arguments.output
    if output == _STANDARD_OUTPUT and arguments.json:
        raise UsageError("-o - and --json both print to standard output; give one of them, or -o with a file's name")
    file, today, title = read(arguments)
    before = {} if output in (None, _STANDARD_OUTPUT) else icalendar.read(output, file.fields)
    day = arguments.on or today
    on = np.datetime64(day, "D")
    plan = planner(day, today)

    def remind(field: Field) -> tuple[Plan, tuple[Reminder, ...]]:
        made, weather = plan(field)
        return made, reminders(made, next_autumn(made, weather), us=arguments.units == "us")

    answers, problems = each_field(file.fields, remind)
    plans = [made for made, _ in answers]
    ahead = [reminder for _, said in answers for reminder in said]
    if output is not None and plans:
        unknown = {name for name, _ in problems}
        untouched = frozenset[str]().union(*(icalendar.uids(field) for field in file.fields if field.name in unknown))
        entries, changes = icalendar.merge(ahead, before, day, untouched)
        if not entries:
            raise UsageError(f"{output}: not written, since no date can be named after {day}; covercrop ready says why")
        content = icalendar.document(entries, title)
        if output == _STANDARD_OUTPUT:
            sys.stdout.buffer.write(content)
        else:
            write_whole(output, content)
            if not arguments.json:
                datebook.saved(screen(), str(output), changes)
    if arguments.json:
        show(machine.dump(machine.calendar(plans, ahead, on, problems)))
    elif output is None and plans:
        datebook.datebook(screen(), ahead, on, title=title)
    return complain(problems)
