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
    in_words,
    named,
    on_argument,
    overwrite_argument,
    plan_all,
    progress,
    read,
    said,
    show,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.season.plan import Plan

#: The choices, repeated from covercrop.render.figures.charts and render.page.report, which import numpy; a test holds
#: them equal.
CHARTS = ("season", "window", "endings", "limits", "winter", "springs", "bloom", "normal")
WITH = ("materials", "cautions", "changes", "springs", "notes")

#: The mark of what it writes.
BY = "covercrop report"

PAGES, PICTURES = (".html", ".htm"), (".svg", ".png")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    page = commands.add(
        "report",
        _run,
        "a page to look at and to print, a sheet for every field, with charts",
        ("report_html", "past_springs"),
    )
    fields_argument(page)
    page.add_argument("-o", "--output", type=Path, required=True, metavar="FILE.html", help="the file to write")
    on_argument(page)
    page.add_argument(
        "--with",
        dest="more",
        action="append",
        choices=WITH,
        default=[],
        help="add this to every field's sheet, or to the page, in print too; may be given again",
    )
    overwrite_argument(page)
    page.add_argument(
        "--chart", choices=CHARTS, help="write this chart of one field alone; FILE then ends with .svg or .png"
    )
    field_argument(page)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.errors import UsageError
    from covercrop.base.output import check_place, write_marked
    from covercrop.render.page import report

    check_place(arguments.output, BY, suffixes=PICTURES if arguments.chart else PAGES, overwrite=arguments.overwrite)
    report.check_packages()
    file, today, title = read(arguments)
    fields = named(file, arguments.field)
    if arguments.chart and len(fields) > 1:
        names = ", ".join(field.name for field in fields)
        raise UsageError(f"--chart draws one field; name it with --field, one of: {names}")
    planned = plan_all(fields, arguments, today)
    plans, problems = planned.plans, said(planned.problems)
    if plans:
        us = arguments.units == "us"
        with progress("drawing", None):
            if arguments.chart:
                content = report.picture(
                    plans[0], arguments.chart, arguments.output.suffix, weather=planned.weather[0], us=us
                )
            else:
                content = report.report_html(in_words(planned), title=title, sections=arguments.more, us=us).encode()
        write_marked(arguments.output, content, BY)
        if arguments.json:
            from covercrop.render.data import machine

            show(machine.dump(machine.report(plans, planned.on, str(arguments.output), problems)))
        else:
            show(visible(f"{arguments.output}: {arguments.chart or 'page'} of {_about(plans)}"))
    return complain(problems)


def _about(plans: Sequence[Plan]) -> str:
    return plans[0].field.name if len(plans) == 1 else f"{len(plans)} fields"
