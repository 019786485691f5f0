"""`covercrop ready`: this week's answer for every field."""

from __future__ import annotations

import argparse

from covercrop.cli.shared import (
    Commands,
    complain,
    field_argument,
    fields_argument,
    full_argument,
    named,
    on_argument,
    read,
    screen,
    show,
)
from covercrop.season.many import plan_all

#: More fields than this are shown in a table.
FEW = 5


def add(commands: Commands) -> None:
    """Add it to the parser."""
    ready = commands.add("ready", _run, "this week's answer for every field: stage, window, wait, planting")
    fields_argument(ready)
    on_argument(ready)
    full_argument(ready)
    field_argument(ready, f"more than {FEW} fields are shown in a table")
    ready.add_argument("--due", action="store_true", help="only fields that need something within the week")


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.dates.needs import is_due

    file, today, title = read(arguments)
    day = arguments.on or today
    on = np.datetime64(day, "D")
    fields = named(file, arguments.field)
    in_full = arguments.full or arguments.field or arguments.json
    table = not in_full and (arguments.due or len(fields) > FEW)
    plans, problems = plan_all(fields, day, today, details=not table)
    shown = [each for each in plans if is_due(each)] if arguments.due else plans
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.ready(shown, on, problems)))
    elif table:
        from covercrop.render.screen import many_fields, terminal

        to = screen()
        if plans:
            many_fields.fields(to, shown, on, title=title, of=len(plans))
        if shown:
            to.say()
            to.say("One field in full: covercrop ready FIELDS --field NAME")
            terminal.beneath(to, shown)
    else:
        from covercrop.render.screen import terminal

        terminal.ready(screen(), shown, on, title=title, us=arguments.units == "us", full=arguments.full)
    return complain(problems)
