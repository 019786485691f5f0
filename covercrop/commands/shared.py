"""What the commands have in common: their options, the field file, the way out.

Nothing slow is imported at module level, so that ``--help`` answers at once.
"""

from __future__ import annotations

import argparse
import datetime as dt
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from covercrop.errors import CovercropError, UnknownNameError, WeatherGapError, one_line
from covercrop.streams import tell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from covercrop.course import Start
    from covercrop.plan import Plan
    from covercrop.records import DailyWeather
    from covercrop.render.terminal import Screen
    from covercrop.season import Field, FieldFile

Answer = TypeVar("Answer")


class Commands:
    """The commands of the parser, which each command's module adds its own to."""

    def __init__(self, parser: argparse.ArgumentParser) -> None:
        self._added = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def add(
        self,
        name: str,
        run: Callable[[argparse.Namespace], int],
        brief: str,
        units: str = "units to show",
        csv: str = "",
    ) -> argparse.ArgumentParser:
        """Add a command with the options that all have.

        Parameters
        ----------
        name : str
        run : callable
            Takes what was parsed, gives the exit status.
        brief : str
            What it does, in a line that begins with a small letter.
        units : str
            What ``--units`` stands for.
        csv : str
            What ``--csv`` prints; without it there is none.
        """
        added = self._added.add_parser(name, help=brief, description=f"{brief[0].upper()}{brief[1:]}.")
        added.add_argument("--units", choices=("metric", "us"), default="metric", help=f"{units} (default: metric)")
        form = added.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="answer as JSON")
        if csv:
            form.add_argument("--csv", action="store_true", help=csv)
        added.set_defaults(run=run)
        return added


def fields_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command take a field file."""
    parser.add_argument(
        "fields", nargs="?", type=Path, metavar="FIELDS", help="field file (default: the demonstration)"
    )


def on_argument(parser: argparse.ArgumentParser, what: str = "the day asked about") -> None:
    """Let a command be asked about another day than today."""
    parser.add_argument("--on", type=date, metavar="DATE", help=f"{what}, as 2026-04-20 (default: today)")


def field_argument(parser: argparse.ArgumentParser, more: str = "") -> None:
    """Let a command be about some of the fields; :func:`named` finds them."""
    parser.add_argument(
        "--field", action="append", metavar="NAME", help=f"only this field; may be given again{more and f'; {more}'}"
    )


def full_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command show what its answer rests on."""
    parser.add_argument("--full", action="store_true", help="add every assumption with its reason, and sources in full")


def overwrite_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command replace any file; :func:`covercrop.render.files.check_place` sees to the others."""
    parser.add_argument(
        "--overwrite", action="store_true", help="replace a file even if it is not one that this command wrote"
    )


def date(text: str) -> dt.date:
    """A date as it is typed; for ``type=``."""
    from covercrop.field_table import FIRST_YEAR, LAST_YEAR

    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; write it as 2026-04-20") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise argparse.ArgumentTypeError(f"{text!r} is too far off; give a day from {FIRST_YEAR} to {LAST_YEAR}")
    return day


def read(arguments: argparse.Namespace) -> tuple[FieldFile, dt.date, str]:
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


def named(file: FieldFile, names: Sequence[str] | None) -> tuple[Field, ...]:
    """The fields of a file with these names, in any spelling of case; all without names.

    Raises
    ------
    UnknownNameError
        If there is no such field; names near matches.
    """
    if not names:
        return file.fields
    by_name = {field.name.casefold(): field for field in file.fields}
    for name in names:
        if name.casefold() not in by_name:
            raise UnknownNameError("field", name, [field.name for field in file.fields])
    return tuple(by_name[name.casefold()] for name in dict.fromkeys(names))


def planner(day: dt.date, today: dt.date) -> Callable[[Field], tuple[Plan, DailyWeather]]:
    """What plans a field as it was known on a day; fields of one place share its weather.

    Parameters
    ----------
    day : datetime.date
        The day asked about.
    today : datetime.date

    Returns
    -------
    callable
        Takes a field, gives its plan and the weather that it rests on.
    """
    import numpy as np

    from covercrop.plan import make_plan

    gathered = gatherer(day, today)

    def plan(field: Field) -> tuple[Plan, DailyWeather]:
        known, weather = gathered(field)
        return make_plan(known, weather, np.datetime64(day, "D")), weather

    return plan


def gatherer(day: dt.date, today: dt.date) -> Callable[[Field], tuple[Field, DailyWeather]]:
    """What gives a field as it was known on a day, and its weather; takes what :func:`planner` does."""
    from covercrop.field_weather import weather_of
    from covercrop.season import as_of
    from covercrop.weather.sharing import SharedWeather

    shared = SharedWeather()

    def gathered(field: Field) -> tuple[Field, DailyWeather]:
        known = as_of(field, day)
        return known, weather_of(known, max(today, day), shared=shared)

    return gathered


def plan_all(
    fields: Sequence[Field], day: dt.date, today: dt.date, *, beside: bool = True
) -> tuple[list[Plan], list[tuple[str, str]]]:
    """The plans of many fields, together, and the name and the trouble of each that has none.

    Parameters
    ----------
    fields : sequence of Field
    day, today
        As for :func:`planner`.
    beside : bool
        Also work out what stands beside the answer, which a table has no room for.
    """
    import numpy as np

    from covercrop.plan import make_plans, start_of

    gathered = gatherer(day, today)

    def start(field: Field) -> tuple[Start, DailyWeather]:
        known, weather = gathered(field)
        return start_of(known, weather, np.datetime64(day, "D")), weather

    asked, problems = each_field(fields, start)
    return make_plans(asked, beside=beside), problems


def each_field(fields: Sequence[Field], work: Callable[[Field], Answer]) -> tuple[list[Answer], list[tuple[str, str]]]:
    """What the work gives for each field, and the name and the trouble of each that it fails on."""
    from covercrop.field_weather import described

    answers, problems = [], []
    for field in fields:
        try:
            answers.append(work(field))
        except WeatherGapError as error:
            problems.append((field.name, one_line(f"{described(field)}: {error}")))
        except CovercropError as error:
            problems.append((field.name, one_line(error)))
    return answers, problems


def complain(problems: Sequence[tuple[str, str]]) -> int:
    """Say which fields could not be worked out, a line each; the exit status."""
    for name, message in problems:
        tell(f"covercrop: {name}: {message}")
    return 1 if problems else 0


@contextmanager
def progress(label: str, parts: int) -> Iterator[Callable[[float], None]]:
    """A bar on standard error while something long runs, if that is a terminal.

    Parameters
    ----------
    label : str
    parts : int
        In which the work is done.

    Yields
    ------
    callable
        To be told the share of the part in hand that is done; 1 ends the part.
    """
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if not console.is_terminal:  # even where it is told to show nothing, many a release of rich ends with an empty line
        yield lambda _share: None
        return
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task(label, total=parts)
        done = 0

        def advance(share: float) -> None:
            nonlocal done
            bar.update(task, completed=done + share)
            done += share >= 1

        yield advance


def screen() -> Screen:
    """The terminal, or whatever standard output is."""
    from covercrop.render.terminal import Screen

    return Screen()


def show(text: str) -> None:
    """Print text as it is."""
    print(text)  # noqa: T201
