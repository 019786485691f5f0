"""`covercrop ready`: this week's answer for every field."""

from __future__ import annotations

import argparse

from covercrop.commands.shared import Commands, date, each_field, fields_argument, read, report, screen, show


def add(commands: Commands) -> None:
    """Add it to the parser."""
    ready = commands.add("ready", _run, "this week's answer for every field: stage, window, wait, planting")
    fields_argument(ready)
    ready.add_argument("--on", type=date, metavar="DATE", help="the day asked about, as 2026-04-20 (default: today)")
    ready.add_argument("--full", action="store_true", help="add every assumption with its reason, and sources in full")


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.field_weather import weather_of
    from covercrop.plan import Plan, make_plan
    from covercrop.season import Field, as_of

    file, today, title = read(arguments)
    day = arguments.on or today
    on = np.datetime64(day, "D")

    def plan(field: Field) -> Plan:
        known = as_of(field, day)
        return make_plan(known, weather_of(known, max(today, day)), on)

    plans, problems = each_field(file.fields, plan)
    if arguments.json:
        from covercrop.render import machine

        show(machine.dump(machine.ready(plans, on, problems)))
    else:
        from covercrop.render import terminal

        terminal.ready(screen(), plans, on, title=title, us=arguments.units == "us", full=arguments.full)
    return report(problems)
