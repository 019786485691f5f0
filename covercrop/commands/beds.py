"""`covercrop beds`: beds, what to load, nitrogen, and the times to keep."""

from __future__ import annotations

import argparse
from pathlib import Path

from covercrop.commands.shared import Commands, date, each_field, fields_argument, read, report, screen, show
from covercrop.errors import UnknownNameError, UsageError


def add(commands: Commands) -> None:
    """Add it to the parser."""
    beds = commands.add("beds", _run, "what goes on the ground: beds, what to load, nitrogen, times to keep")
    fields_argument(beds)
    beds.add_argument("--field", metavar="NAME", help="this field only")
    beds.add_argument("--on", type=date, metavar="DATE", help="the day asked about, as 2026-04-20 (default: today)")
    beds.add_argument("--svg", type=Path, metavar="FILE", help="also draw the beds to scale, to print")
    beds.add_argument("--csv", action="store_true", help="print the lists of all fields for a spreadsheet")
    beds.add_argument("--full", action="store_true", help="add every assumption with its reason, and sources in full")


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.beds import BedPlan, make_beds
    from covercrop.field_weather import weather_of
    from covercrop.plan import make_plan
    from covercrop.render import bed_drawing, bed_sheet, machine
    from covercrop.render.files import write_whole
    from covercrop.season import Field, as_of

    if arguments.json and arguments.csv:
        raise UsageError("--json and --csv both print to standard output; give one of them")
    file, today, title = read(arguments)
    day = arguments.on or today
    on = np.datetime64(day, "D")
    fields = [field for field in file.fields if arguments.field in (None, field.name)]
    if not fields:
        raise UnknownNameError("field", arguments.field, [field.name for field in file.fields])

    def beds(field: Field) -> BedPlan:
        known = as_of(field, day)
        return make_beds(make_plan(known, weather_of(known, max(today, day)), on), us=arguments.units == "us")

    laid_out, problems = each_field(fields, beds)
    if arguments.svg is not None and laid_out:
        write_whole(arguments.svg, bed_drawing.svg(laid_out))
    if arguments.json:
        show(machine.dump(bed_sheet.document(laid_out, on, problems)))
    elif arguments.csv:
        show(bed_sheet.table_csv(laid_out))
    else:
        bed_sheet.show(screen(), laid_out, title=title, full=arguments.full)
    return report(problems)
