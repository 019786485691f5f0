"""`covercrop calendar`: the dates ahead, on the screen or as a file for any calendar."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from covercrop.commands.shared import (
    Commands,
    complain,
    each_field,
    fields_argument,
    on_argument,
    planner,
    read,
    screen,
    show,
)

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

    from covercrop.agenda import next_autumn
    from covercrop.errors import UsageError
    from covercrop.plan import Plan
    from covercrop.render import calendar, datebook, machine
    from covercrop.render.files import write_whole
    from covercrop.render.reminders import Reminder, reminders
    from covercrop.season import Field

    output = arguments.output
    if output == _STANDARD_OUTPUT and arguments.json:
        raise UsageError("-o - and --json both print to standard output; give one of them, or -o with a file's name")
    file, today, title = read(arguments)
    before = {} if output in (None, _STANDARD_OUTPUT) else calendar.read(output, file.fields)
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
        untouched = frozenset[str]().union(*(calendar.uids(field) for field in file.fields if field.name in unknown))
        entries, changes = calendar.merge(ahead, before, day, untouched)
        if not entries:
            raise UsageError(f"{output}: not written, since no date can be named after {day}; covercrop ready says why")
        content = calendar.document(entries, title)
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
