"""`covercrop ready`: this week's answer for every field."""

from __future__ import annotations

import argparse

from covercrop.cli.shared import (
    FEW,
    Commands,
    aim_arguments,
    aimed,
    complain,
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

#: The exit status that says that something is due.
DUE = 3


def add(commands: Commands) -> None:
    """Add it to the parser."""
    ready = commands.add(
        "ready",
        _run,
        "this week's answer for every field: stage, window, wait, planting",
        ("plan_field", "plan_fields"),
        csv="print a line a field for a spreadsheet",
    )
    fields_argument(ready)
    on_argument(ready)
    aim_arguments(ready)
    full_argument(ready)
    field_argument(ready, f"more than {FEW} fields are shown in a table")
    ready.add_argument("--due", action="store_true", help="only fields that need something within the week")
    ready.add_argument("--exit-code", action="store_true", help=f"with --due: exit status {DUE} if there are any")
    ready.set_defaults(misused=ready.error)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.dates.needs import is_due

    if arguments.exit_code and not arguments.due:
        arguments.misused("--exit-code says whether anything is due; give --due too")
    file, today, title = read(arguments)
    fields = aimed(named(file, arguments.field), arguments)
    in_full = arguments.full or arguments.field or arguments.json or arguments.csv
    table = not in_full and (arguments.due or len(fields) > FEW)
    planned = plan_all(fields, arguments, today, details=not table)
    plans, on, problems = planned.plans, planned.on, said(planned.problems)
    shown = [each for each in plans if is_due(each)] if arguments.due else plans
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.ready(shown, on, problems)))
    elif arguments.csv:
        from covercrop.render.data import lists

        show(lists.ready(shown))
    elif table:
        from covercrop.render.screen import many_fields, terminal

        to = screen()
        if plans:
            many_fields.fields(to, shown, on, title=title, of=len(plans))
        if shown and not arguments.due:
            to.say()
            to.say("One field in full: covercrop ready FIELDS --field NAME")
            terminal.more(to, shown)
    else:
        from covercrop.render.screen import terminal

        terminal.ready(screen(), shown, on, title=title, us=arguments.units == "us", full=arguments.full)
    return complain(problems) or (DUE if arguments.exit_code and shown else 0)
