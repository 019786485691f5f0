"""The command line: parse, call one function of the library, show what it gives.

Nothing is computed here.  Everything that takes time to import is imported
by the command that needs it, so that ``--help`` answers at once.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop import __version__
from covercrop.errors import CovercropError, WeatherGapError, one_line

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from covercrop.render.terminal import Screen
    from covercrop.season import FieldFile

DESCRIPTION = """\
When to turn a legume cover under, and when the ground is safe to plant.

With no FIELDS file, the commands show an invented demonstration."""

#: The choices of `degree-days`, repeated from covercrop.degree_days, which imports numpy; a test holds them equal.
METHODS = ("average", "clamped-average", "triangle", "double-triangle", "sine", "double-sine")
CUTOFFS = ("horizontal", "intermediate", "vertical")

EPILOG = """\
examples:
  covercrop ready                      this week's answer for the demonstration
  covercrop ready fields.toml          the same for your own fields
  covercrop ready fields.toml --json   for another program
  covercrop weather fields.toml        where the weather comes from, and how good it is

exit status: 0; 1 a problem, said in one line; 2 wrong usage"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the process by default.

    Returns
    -------
    int
        Exit status: 0; 1 where a problem was said in one line.  Wrong usage
        leaves through ``SystemExit`` with status 2.
    """
    parsed = _parser().parse_args(arguments)
    try:
        status: int = parsed.run(parsed)
        sys.stdout.flush()
    except CovercropError as error:
        print(one_line(f"covercrop: {error}"), file=sys.stderr)  # noqa: T201
        return 1
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader of a pipe has gone; that is its right, and nothing is lost.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return status


# --- what can be asked ----------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="covercrop",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"covercrop {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def command(
        name: str, run: Callable[[argparse.Namespace], int], brief: str, units: str = "units to show"
    ) -> argparse.ArgumentParser:
        added = commands.add_parser(name, help=brief, description=f"{brief[0].upper()}{brief[1:]}.")
        added.add_argument("--units", choices=("metric", "us"), default="metric", help=f"{units} (default: metric)")
        added.add_argument("--json", action="store_true", help="answer as JSON")
        added.set_defaults(run=run)
        return added

    ready = command("ready", _ready, "this week's answer for every field: stage, window, wait, planting")
    _fields_argument(ready)
    ready.add_argument("--on", type=_date, metavar="DATE", help="the day asked about, as 2026-04-20 (default: today)")
    ready.add_argument("--full", action="store_true", help="add every assumption with its reason, and sources in full")

    weather = command("weather", _weather, "which weather is used, how complete it is, what was flagged")
    _fields_argument(weather)
    weather.add_argument("--fetch", action="store_true", help="fetch station data now and keep them")

    degree_days = command(
        "degree-days",
        _degree_days,
        "plain degree-days from a weather file, per day and summed",
        units="units of the file, the thresholds and the answer",
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
    degree_days.add_argument("--from", dest="start", type=_date, metavar="DATE", help="first day of the sum")
    degree_days.add_argument("--to", dest="end", type=_date, metavar="DATE", help="last day of the sum")
    degree_days.add_argument("--csv", action="store_true", help="print date,tmin,tmax,degree_days,sum")

    for name, run, brief in (
        ("covers", _covers, "the legume covers that are known, with sources"),
        ("crops", _crops, "the crops that are known, with sources"),
    ):
        command(name, run, brief).add_argument("name", nargs="?", metavar="NAME", help="show every number of this one")
    return parser


def _fields_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "fields", nargs="?", type=Path, metavar="FIELDS", help="field file (default: the demonstration)"
    )


def _date(text: str) -> dt.date:
    from covercrop.season import FIRST_YEAR, LAST_YEAR

    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; write it as 2026-04-20") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise argparse.ArgumentTypeError(f"{text!r} is too far off; give a day from {FIRST_YEAR} to {LAST_YEAR}")
    return day


# --- commands -------------------------------------------------------------------------------------


def _ready(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.field_weather import described, weather_of
    from covercrop.plan import make_plan
    from covercrop.season import as_of

    file, today, title = _read(arguments)
    day = arguments.on or today
    on = np.datetime64(day, "D")
    plans, problems = [], []
    for field in file.fields:
        try:
            known = as_of(field, day)
            plans.append(make_plan(known, weather_of(known, max(today, day)), on))
        except WeatherGapError as error:
            problems.append((field.name, one_line(f"{described(field)}: {error}")))
        except CovercropError as error:
            problems.append((field.name, one_line(error)))
    if arguments.json:
        from covercrop.render import machine

        _print(machine.dump(machine.ready(plans, on, problems)))
    else:
        from covercrop.render import terminal

        us = arguments.units == "us"
        terminal.ready(_screen(), plans, on, title=title, us=us, full=arguments.full)
    return _report(problems)


def _weather(arguments: argparse.Namespace) -> int:
    from covercrop.field_weather import described, weather_of
    from covercrop.render import machine, terminal
    from covercrop.weather.table import summary

    file, today, _ = _read(arguments)
    found, problems = [], []
    for field in file.fields:
        try:
            found.append((field, weather_of(field, today, refresh=arguments.fetch)))
        except CovercropError as error:
            problems.append((field.name, one_line(error)))
    if arguments.json:
        entries = [(field.name, record, summary(record)) for field, record in found]
        _print(machine.dump(machine.weather(entries, today, problems)))
    else:
        screen = _screen()
        for record in {id(record): record for _, record in found}.values():
            users = [field for field, used in found if used is record]
            names = [field.name for field in users]
            terminal.weather(screen, names, described(users[0]), record, summary(record), us=arguments.units == "us")
    return _report(problems)


def _degree_days(arguments: argparse.Namespace) -> int:
    from covercrop.render import machine, terminal
    from covercrop.tabulate import degree_day_table

    table = degree_day_table(
        arguments.file,
        arguments.units,
        arguments.method,
        arguments.lower,
        arguments.upper,
        arguments.cutoff,
        start=arguments.start,
        end=arguments.end,
    )
    if arguments.json:
        _print(machine.dump(machine.degree_days(table)))
    elif arguments.csv:
        _print(machine.degree_days_csv(table))
    else:
        terminal.degree_days(_screen(), table)
    return 0


def _covers(arguments: argparse.Namespace) -> int:
    from covercrop import parameters
    from covercrop.render import machine, terminal

    names = (arguments.name,) if arguments.name else parameters.cover_names()
    records = [parameters.cover(name) for name in names]
    if arguments.json:
        _print(machine.dump(machine.parameter_records(records)))
    elif arguments.name:
        terminal.record(_screen(), records[0])
    else:
        terminal.covers(_screen(), records)
    return 0


def _crops(arguments: argparse.Namespace) -> int:
    from covercrop import parameters
    from covercrop.render import machine, terminal

    names = (arguments.name,) if arguments.name else parameters.crop_names()
    records = [parameters.crop(name) for name in names]
    if arguments.json:
        _print(machine.dump(machine.parameter_records(records)))
    elif arguments.name:
        terminal.record(_screen(), records[0])
    else:
        terminal.crops(_screen(), records, us=arguments.units == "us")
    return 0


# --- shared ---------------------------------------------------------------------------------------


def _read(arguments: argparse.Namespace) -> tuple[FieldFile, dt.date, str]:
    """The field file (or the demonstration), today's date there, and a title."""
    from covercrop.resources import data_path
    from covercrop.season import check_dates, read_fields

    path = arguments.fields or data_path("demo", "fields.toml", beside=("weather.csv",))
    file = read_fields(path)
    today = file.today or dt.date.today()
    check_dates(file, today)
    if arguments.fields is None:
        return file, today, "Demonstration (an invented place)"
    return file, today, f"{path.name}"


def _report(problems: Sequence[tuple[str, str]]) -> int:
    """Say which fields could not be worked out, a line each; the exit status."""
    for name, message in problems:
        print(one_line(f"covercrop: {name}: {message}"), file=sys.stderr)  # noqa: T201
    return 1 if problems else 0


def _screen() -> Screen:
    from covercrop.render.terminal import Screen

    return Screen()


def _print(text: str) -> None:
    print(text)  # noqa: T201
