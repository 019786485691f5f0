"""`covercrop report`: a page to look at and to print, or one chart."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.base.errors import visible
from covercrop.cli.shared import (
    Commands,
    complain,
    field_argument,
    fields_argument,
    named,
    on_argument,
    overwrite_argument,
    read,
    show,
)
from covercrop.season.many import each_field, planner

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.render.page.report import Section
    from covercrop.season.plan import Plan

#: The choices, repeated from covercrop.render.figures.charts, which imports numpy; a test holds them equal.
CHARTS = ("season", "window", "limits")
WITH = ("materials", "cautions")

#: The mark of what it writes.
BY = "covercrop report"

PAGES, PICTURES = (".html", ".htm"), (".svg", ".png")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    page = commands.add("report", _run, "a page to look at and to print, a sheet for every field, with charts")
    fields_argument(page)
    page.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="the file to write")
    on_argument(page)
    page.add_argument(
        "--with",
        dest="more",
        action="append",
        choices=WITH,
        default=[],
        help="add this to every field's sheet; again for both",
    )
    overwrite_argument(page)
    page.add_argument(
        "--chart", choices=CHARTS, help="write this chart of one field alone; FILE then ends with .svg or .png"
    )
    field_argument(page)


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.base.errors import UsageError
    from covercrop.base.output import check_place, write_marked
    from covercrop.render.page import report

    check_place(arguments.output, BY, suffixes=PICTURES if arguments.chart else PAGES, overwrite=arguments.overwrite)
    report.check_packages()
    file, today, title = read(arguments)
    day = arguments.on or today
    on = np.datetime64(day, "D")
    fields = named(file, arguments.field)
    if arguments.chart and len(fields) > 1:
        names = ", ".join(field.name for field in fields)
        raise UsageError(f"--chart draws one field; name it with --field, one of: {names}")
    planned, problems = each_field(fields, planner(day, today))
    plans = [plan for plan, _ in planned]
    if plans:
        us = arguments.units == "us"
        if arguments.chart:
            content = report.picture(plans[0], arguments.chart, arguments.output.suffix, us=us)
        else:
            page = report.page(
                plans, on, title=title, problems=problems, sections=_more(plans, arguments.more, us=us), us=us
            )
            content = page.encode()
        write_marked(arguments.output, content, BY)
        if arguments.json:
            from covercrop.render.data import machine

            show(machine.dump(machine.report(plans, on, str(arguments.output), problems)))
        else:
            show(visible(f"{arguments.output}: {arguments.chart or 'page'} of {_about(plans)}"))
    return complain(problems)


def _about(plans: Sequence[Plan]) -> str:
    return plans[0].field.name if len(plans) == 1 else f"{len(plans)} fields"


def _more(plans: Sequence[Plan], wanted: Sequence[str], *, us: bool) -> list[list[Section]]:
    """What was asked for besides the answer, field by field."""
    from covercrop.render.page.report import Section

    found = []
    for plan in plans:
        materials = _materials(plan, us=us) if "materials" in wanted else []
        cautions = [Section(title="Take care", items=plan.provenance.cautions)] if "cautions" in wanted else []
        found.append([*materials, *cautions])
    return found


def _materials(plan: Plan, *, us: bool) -> list[Section]:
    """The list of a field, or why there is none: its answer stands without it."""
    from covercrop.base.errors import CovercropError, one_line
    from covercrop.beds.beds import make_beds
    from covercrop.render.page.report import Section, materials

    try:
        return materials(make_beds(plan, us=us))
    except CovercropError as error:
        return [Section(title="Materials", items=(f"No list: {one_line(error)}",))]
