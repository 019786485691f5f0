"""`covercrop degree-days`: plain degree-days from a weather file."""

from __future__ import annotations

import argparse
from pathlib import Path

from covercrop.cli.shared import Commands, date, screen, show

#: The choices, repeated from covercrop.models.degree_days, which imports numpy; a test holds them equal.
METHODS = ("average", "clamped-average", "triangle", "double-triangle", "sine", "double-sine")
CUTOFFS = ("horizontal", "intermediate", "vertical")


def add(commands: Commands) -> None:
    """Add it to the parser."""
    degree_days = commands.add(
        "degree-days",
        _run,
        "plain degree-days from a weather file, per day and summed",
        ("growing_degree_days",),
        units="units of the file, the thresholds and the answer",
        csv="print date,tmin,tmax,degree_days,sum",
    )
    degree_days.add_argument("file", metavar="FILE.csv", type=Path, help="daily weather, in the units of --units")
    degree_days.add_argument(
        "--method",
        default="average",
        metavar="M",
        help=f"how the day's curve is drawn: {', '.join(METHODS)} (default: average)",
    )
    degree_days.add_argument("--lower", type=float, required=True, metavar="X", help="base temperature, in --units")
    degree_days.add_argument("--upper", type=float, metavar="Y", help="upper threshold, in --units")
    degree_days.add_argument(
        "--cutoff", metavar="C", help=f"what happens above it: {', '.join(CUTOFFS)} (default: {CUTOFFS[0]})"
    )
    degree_days.add_argument("--from", dest="start", type=date, metavar="DATE", help="first day of the sum")
    degree_days.add_argument("--to", dest="end", type=date, metavar="DATE", help="last day of the sum")


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.checking.degree_day_table import degree_day_table
    from covercrop.render.data import machine
    from covercrop.render.screen import terminal

    table = degree_day_table(
        arguments.file,
        arguments.units or "metric",
        arguments.method,
        arguments.lower,
        arguments.upper,
        arguments.cutoff,
        start=arguments.start,
        end=arguments.end,
    )
    if arguments.json:
        show(machine.dump(machine.degree_days(table)))
    elif arguments.csv:
        show(machine.degree_days_csv(table))
    else:
        terminal.degree_days(screen(), table)
    return 0
