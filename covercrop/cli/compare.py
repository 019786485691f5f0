"""`covercrop compare`: the days and ways of ending a cover side by side, and what would help."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from covercrop.cli.shared import (
    Commands,
    aim_arguments,
    aimed,
    complain,
    date,
    each_told,
    field_argument,
    fields_argument,
    named,
    on_argument,
    read,
    said,
    screen,
    show,
)

if TYPE_CHECKING:
    from covercrop.field.entries import Field
    from covercrop.season.comparison import Endings

#: The ways, repeated from covercrop.models.termination, which imports numpy; a test holds the two together.
WAYS = ("turn-under", "roll", "mow", "tarp")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    compare = commands.add(
        "compare",
        _run,
        "endings side by side: what each day and way gives and costs, and what would help",
        ("compare_endings",),
        csv="print a line for each day and way",
    )
    fields_argument(compare)
    field_argument(compare)
    on_argument(compare)
    aim_arguments(compare)
    compare.add_argument(
        "--end", type=date, action="append", default=[], metavar="DATE", help="a day to compare; may be given again"
    )
    compare.add_argument(
        "--by",
        choices=WAYS,
        action="append",
        default=[],
        help="a way of ending it; may be given again (default: the one that is advised)",
    )


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.season.comparison import compare_endings

    file, today, title = read(arguments)

    def compare(field: Field) -> Endings:
        return compare_endings(field, on=arguments.on or today, ends=arguments.end, by=arguments.by, today=today)

    answers, troubled = each_told("comparing endings", aimed(named(file, arguments.field), arguments), compare)
    problems, us = said(troubled), arguments.units == "us"
    if arguments.json:
        from covercrop.render.data import comparison, machine

        show(machine.dump(comparison.document(answers, np.datetime64(arguments.on or today, "D"), problems)))
    elif arguments.csv:
        from covercrop.render.data import comparison

        show(comparison.table(answers, us=us))
    else:
        from covercrop.render.screen import comparison as on_screen

        on_screen.compare(screen(), answers, title=title, us=us)
    return complain(problems)
