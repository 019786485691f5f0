"""`covercrop ready`: this week's answer for every field."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.cli.shared import (
    FEW,
    Commands,
    aim_arguments,
    aimed,
    complain,
    date,
    field_argument,
    fields_argument,
    full_argument,
    named,
    on_argument,
    plan_all,
    read,
    said,
    screen,
    show,
)

if TYPE_CHECKING:
    from covercrop.season.changes import Changes
    from covercrop.season.many import Plans

#: The exit status that says that something is due.
DUE = 3


def add(commands: Commands) -> None:
    """Add it to the parser."""
    ready = commands.add(
        "ready",
        _run,
        "this week's answer for every field: stage, window, wait, planting",
        ("plan_field", "plan_fields", "what_changed"),
        csv="print a line a field for a spreadsheet",
    )
    fields_argument(ready)
    on_argument(ready)
    aim_arguments(ready)
    full_argument(ready)
    field_argument(ready, f"more than {FEW} fields are shown in a table")
    ready.add_argument(
        "--since", type=date, metavar="DATE", help="say in a line how the plan moved since that day, and why"
    )
    ready.add_argument(
        "--before", type=Path, metavar="FILE", help="with --since: the field file as it was then, if it was another"
    )
    ready.add_argument("--due", action="store_true", help="only fields that need something within the week")
    ready.add_argument("--exit-code", action="store_true", help=f"with --due: exit status {DUE} if there are any")
    ready.set_defaults(misused=ready.error)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.dates.needs import is_due

    if arguments.exit_code and not arguments.due:
        arguments.misused("--exit-code says whether anything is due; give --due too")
    if arguments.before and not arguments.since:
        arguments.misused("--before is the file of an earlier day; give --since too")
    file, today, title = read(arguments)
    fields = aimed(named(file, arguments.field), arguments)
    in_full = arguments.full or arguments.field or arguments.json or arguments.csv
    table = not in_full and (arguments.due or len(fields) > FEW)
    planned = plan_all(fields, arguments, today, details=not table)
    plans, on, problems = planned.plans, planned.on, said(planned.problems)
    changes = _changes(planned, arguments) if arguments.since else {}
    shown = [each for each in plans if is_due(each)] if arguments.due else plans
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.ready(shown, on, problems, changes)))
    elif arguments.csv:
        from covercrop.render.data import lists

        show(lists.ready(shown))
    elif table:
        from covercrop.render.screen import many_fields, terminal

        to = screen()
        if plans:
            many_fields.fields(to, shown, on, title=title, of=len(plans))
            terminal.moved(to, shown, changes)
        if shown and not arguments.due:
            to.say()
            to.say("One field in full: covercrop ready FIELDS --field NAME")
            terminal.more(to, shown)
    else:
        from covercrop.render.screen import terminal

        us = arguments.units == "us"
        terminal.ready(screen(), shown, on, title=title, us=us, full=arguments.full, changes=changes)
    return complain(problems) or (DUE if arguments.exit_code and shown else 0)


def _changes(planned: Plans, arguments: argparse.Namespace) -> dict[str, Changes]:
    """What moved of each field since the day that was asked about, by its name."""
    import numpy as np

    from covercrop.base.errors import UsageError
    from covercrop.base.streams import tell
    from covercrop.field.file import read_fields
    from covercrop.season.changes import what_changed_each

    if planned.plans and np.datetime64(arguments.since, "D") >= planned.on:
        raise UsageError(f"--since {arguments.since} is not before {planned.on}, the day asked about")
    before = {field.name: field for field in read_fields(arguments.before).fields} if arguments.before else None
    found = what_changed_each(planned.plans, planned.weather, arguments.since, before)
    changes = {}
    for plan, each in zip(planned.plans, found, strict=True):
        if each is None:
            tell(f"covercrop: {plan.field.name}: nothing is known of {arguments.since}, before it was sown")
        else:
            changes[plan.field.name] = each
    return changes
