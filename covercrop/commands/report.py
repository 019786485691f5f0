"""`covercrop report`: a page to look at and to print, or one chart."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.commands.shared import Commands, date, each_field, fields_argument, read, show
from covercrop.commands.shared import report as say
from covercrop.errors import visible

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.plan import Plan
    from covercrop.render.report import Section
    from covercrop.season import Field, FieldFile

#: The choices, repeated from covercrop.render.charts, which imports numpy; a test holds them equal.
CHARTS = ("season", "window", "limits")
WITH = ("materials", "cautions")

PAGES, PICTURES = (".html", ".htm"), (".svg", ".png")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    page = commands.add("report", _run, "one page to look at and to print, a sheet for every field, with charts")
    fields_argument(page)
    page.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="the file to write")
    page.add_argument("--on", type=date, metavar="DATE", help="the day asked about, as 2026-04-20 (default: today)")
    page.add_argument(
        "--with",
        dest="more",
        action="append",
        choices=WITH,
        default=[],
        help="add this to every field's sheet; again for both",
    )
    page.add_argument(
        "--chart", choices=CHARTS, help="write this chart of one field alone; FILE then ends with .svg or .png"
    )
    page.add_argument("--field", metavar="NAME", help="only this field")


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.field_weather import weather_of
    from covercrop.plan import make_plan
    from covercrop.render import report
    from covercrop.render.files import check_place, write_whole
    from covercrop.season import as_of

    check_place(arguments.output, PICTURES if arguments.chart else PAGES)
    report.check_packages()
    file, today, title = read(arguments)
    day = arguments.on or today
    on = np.datetime64(day, "D")

    def plan(field: Field) -> Plan:
        known = as_of(field, day)
        return make_plan(known, weather_of(known, max(today, day)), on)

    plans, problems = each_field(_chosen(file, arguments.field, alone=arguments.chart is not None), plan)
    if plans:
        us = arguments.units == "us"
        if arguments.chart:
            content = report.picture(plans[0], arguments.chart, arguments.output.suffix, us=us)
        else:
            page = report.page(
                plans, on, title=title, problems=problems, sections=_more(plans, arguments.more, us=us), us=us
            )
            content = page.encode()
        write_whole(arguments.output, content)
        if arguments.json:
            from covercrop.render import machine

            show(machine.dump(machine.report(plans, on, str(arguments.output), problems)))
        else:
            show(visible(f"{arguments.output}: {arguments.chart or 'page'} of {_named(plans)}"))
    return say(problems)


def _chosen(file: FieldFile, name: str | None, *, alone: bool) -> tuple[Field, ...]:
    """The field of a name, or all; a chart is of one."""
    from covercrop.errors import UnknownNameError, UsageError

    names = [field.name for field in file.fields]
    if name is None:
        if alone and len(names) > 1:
            raise UsageError(f"--chart draws one field; name it with --field, one of: {', '.join(names)}")
        return file.fields
    if name not in names:
        raise UnknownNameError("field", name, names)
    return (file.fields[names.index(name)],)


def _named(plans: Sequence[Plan]) -> str:
    return plans[0].field.name if len(plans) == 1 else f"{len(plans)} fields"


def _more(plans: Sequence[Plan], wanted: Sequence[str], *, us: bool) -> list[list[Section]]:
    """What was asked for besides the answer, field by field."""
    from covercrop.render.report import Section

    found = []
    for plan in plans:
        materials = _materials(plan, us=us) if "materials" in wanted else []
        cautions = [Section(title="Take care", items=plan.cautions)] if "cautions" in wanted else []
        found.append([*materials, *cautions])
    return found


def _materials(plan: Plan, *, us: bool) -> list[Section]:
    """The list of a field, or why there is none: its answer stands without it."""
    from covercrop.beds import make_beds
    from covercrop.errors import CovercropError, one_line
    from covercrop.render.report import Section, materials

    try:
        return materials(make_beds(plan, us=us))
    except CovercropError as error:
        return [Section(title="Materials", items=(f"No list: {one_line(error)}",))]
