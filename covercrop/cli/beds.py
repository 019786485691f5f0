"""`covercrop beds`: beds, what to load, nitrogen, and the times to keep."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.cli.shared import (
    FEW,
    Commands,
    complain,
    field_argument,
    fields_argument,
    full_argument,
    named,
    on_argument,
    overwrite_argument,
    plan_all,
    read,
    said,
    screen,
    show,
)

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather
    from covercrop.beds.beds import BedPlan
    from covercrop.season.plan import Plan

#: The mark of what it draws.
BY = "covercrop beds"


def add(commands: Commands) -> None:
    """Add it to the parser."""
    beds = commands.add(
        "beds",
        _run,
        "what goes on the ground: beds, what to load, nitrogen, times to keep",
        ("lay_out_beds",),
        csv="print the lists of all fields for a spreadsheet",
    )
    fields_argument(beds)
    field_argument(beds, f"more than {FEW} fields are shown in a table")
    on_argument(beds)
    beds.add_argument("--svg", type=Path, metavar="FILE", help="also draw the beds to scale, to print")
    overwrite_argument(beds)
    full_argument(beds)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.output import check_place, write_marked
    from covercrop.beds.beds import lay_out_beds
    from covercrop.dates.agenda import next_sowing
    from covercrop.render.data import beds as bed_sheet_beds
    from covercrop.render.data import machine
    from covercrop.render.figures import bed_sheets
    from covercrop.render.screen import beds as bed_sheet

    if arguments.svg is not None:
        check_place(arguments.svg, BY, option="--svg", overwrite=arguments.overwrite)
    file, today, title = read(arguments)
    fields = named(file, arguments.field)
    planned = plan_all(fields, arguments, today)

    def lay_out(plan: Plan, weather: DailyWeather) -> BedPlan:
        again = next_sowing(plan, weather) if plan.field.in_squares else None
        return lay_out_beds(plan, us=arguments.units == "us", next_sowing=again)

    laid_out, troubled = planned.each(lay_out)
    problems = said(troubled)
    if arguments.svg is not None and laid_out:
        write_marked(arguments.svg, bed_sheets.svg(laid_out), BY)
    if arguments.json:
        show(machine.dump(bed_sheet_beds.document(laid_out, planned.on, problems)))
    elif arguments.csv:
        show(bed_sheet_beds.table_csv(laid_out))
    else:
        table = len(fields) > FEW and not (arguments.full or arguments.field)
        if table:
            bed_sheet.table(screen(), laid_out, title=title)
        else:
            bed_sheet.show(screen(), laid_out, title=title, full=arguments.full)
    return complain(problems)
