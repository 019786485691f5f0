"""What the commands have in common: their options, the field file, the way out.

Nothing slow is imported at module level, so that ``--help`` answers at once.
"""

from __future__ import annotations

import argparse
import datetime as dt
import re
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, overload

from covercrop.base.errors import FieldFileError, UnknownNameError, one_line
from covercrop.base.streams import tell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from covercrop.field.entries import Field, FieldFile, Ground
    from covercrop.render.screen.terminal import Screen
    from covercrop.season.many import Plans, Problem

    Entry = TypeVar("Entry", bound=Ground)
    Answer = TypeVar("Answer")

#: The options of the arguments that messages of the library speak of.
OPTIONS = {
    "on": "--on",
    "since": "--since",
    "start": "--from",
    "end": "--to",
    "ends": "--end",
    "plant_by": "--plant-by",
    "covers": "--cover",
    "base": "--lower",
    "upper": "--upper",
    "cutoff": "--cutoff",
    "out": "-o",
    "days_to_maturity": "--days-to-maturity",
    "scheduler": "--scheduler",
    "workers": "--workers",
    "anyway": "--anyway",
    "at": "--at",
    "elevation": "--elevation",
    "area": "--area",
    "cover": "--cover",
    "sown": "--sown",
    "with": "--with",
}


#: More fields than this are shown in a table first.
FEW = 5

#: What takes longer shows how far it is [s].
LONG = 2.0


#: The choices, repeated from covercrop.field.entries, which imports numpy; a test holds the two together.
FAVOURS = ("crop", "cover")


class Commands:
    """The commands of the parser, which each command's module adds its own to."""

    def __init__(self, parser: argparse.ArgumentParser) -> None:
        self._added = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def add(
        self,
        name: str,
        run: Callable[[argparse.Namespace], int],
        brief: str,
        twins: tuple[str, ...],
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
        twins : tuple of str
            The functions of the library that do it.
        units : str
            What ``--units`` stands for.
        csv : str
            What ``--csv`` prints; without it there is none.
        """
        added = self._added.add_parser(
            name, help=brief, description=f"{brief[0].upper()}{brief[1:]}. {in_python(twins)}"
        )
        added.add_argument(
            "--units", choices=("metric", "us"), help=f"{units} (default: those of the field file, else metric)"
        )
        form = added.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="answer as JSON")
        if csv:
            form.add_argument("--csv", action="store_true", help=csv)
        added.set_defaults(run=run)
        return added


def in_python(twins: Sequence[str]) -> str:
    """How a command is had in Python."""
    *others, last = (f"covercrop.{twin}" for twin in twins)
    return f"In Python: {' and '.join(filter(None, (', '.join(others), last)))}."


def in_options(message: object) -> str:
    """A message of the library, which speaks of arguments in backticks, in the options of the command line."""
    return re.sub(r"`(\w+)`", lambda found: OPTIONS.get(found[1], found[0]), str(message))


def in_words(planned: Plans) -> Plans:
    """Plans whose troubles are told in the words of the command line."""
    from dataclasses import replace

    problems = (replace(problem, message=in_options(problem.message)) for problem in planned.problems)
    return replace(planned, problems=tuple(problems))


def said(problems: Iterable[Problem]) -> list[tuple[str, str]]:
    """The name and the trouble of each field that could not be worked out, in the words of the command line."""
    return [(problem.name, one_line(in_options(problem.message))) for problem in problems]


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


def aim_arguments(parser: argparse.ArgumentParser) -> None:
    """Let a command be asked for another aim than the field file's; :func:`aimed` gives it to the fields."""
    parser.add_argument("--plant-by", type=date, metavar="DATE", help="when the crop has to be in the ground")
    parser.add_argument("--favour", choices=FAVOURS, help="what comes first where bloom and crop cannot both be had")
    parser.add_argument(
        "--can-come", nargs="+", default=[], metavar="DAY", help="weekdays on which the cover can be ended, as sat sun"
    )


def aimed(fields: Iterable[Field], arguments: argparse.Namespace) -> tuple[Field, ...]:
    """Fields with the aim that the command was given, in place of their own.

    Raises
    ------
    UsageError
        If a weekday is none.
    """
    from dataclasses import replace

    asked = {"plant_by": arguments.plant_by, "favour": arguments.favour, "can_come": tuple(arguments.can_come)}
    given = {name: value for name, value in asked.items() if value}
    return tuple(replace(field, aim=replace(field.aim, **given)) if given else field for field in fields)


def full_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command show what its answer rests on."""
    parser.add_argument(
        "--full", action="store_true", help="add all that the answer rests on: assumptions with their reasons, sources"
    )


def overwrite_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command replace any file; :func:`covercrop.base.output.check_place` sees to the others."""
    parser.add_argument(
        "--overwrite", action="store_true", help="replace a file even if it is not one that this command wrote"
    )


def date(text: str) -> dt.date:
    """A date as it is typed; for ``type=``."""
    from covercrop.base.days import FIRST_YEAR, LAST_YEAR

    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; write it as 2026-04-20") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise argparse.ArgumentTypeError(f"{text!r} is too far off; give a day from {FIRST_YEAR} to {LAST_YEAR}")
    return day


def read(arguments: argparse.Namespace, *, sown: bool = True) -> tuple[FieldFile, dt.date, str]:
    """The field file (or the demonstration), today's date there, and a title.

    Parameters
    ----------
    arguments : argparse.Namespace
        Where no units are asked for, it gets those of the file.
    sown : bool
        Say, in a line, which fields have no cover yet, and cannot be answered for.

    Raises
    ------
    FieldFileError
        If the file is not sound, or none of its fields has the cover that is needed.
    """
    from covercrop.field.entries import NO_COVER
    from covercrop.field.file import DEMONSTRATIONS, check_dates, month_first, read_fields

    file = read_fields(arguments.fields)
    arguments.units = arguments.units or file.units
    if (read_as := month_first(file.path)) is not None:
        text, day = read_as
        tell(f"covercrop: {file.path.name}: dates are read with the month first, {text} as {day.isoformat()}")
    if sown and file.unsown:
        names = ", ".join(entry.name for entry in file.unsown)
        if not file.fields:
            raise FieldFileError(f"{file.path}: {names}: {NO_COVER}")
        tell(f"covercrop: {names}: {NO_COVER}")
    today = file.today or dt.date.today()
    check_dates(file, today)
    if arguments.fields is None or str(arguments.fields) in DEMONSTRATIONS:
        return file, today, "Demonstration (an invented place)"
    return file, today, file.path.name


@overload
def named(file: FieldFile, names: Sequence[str] | None) -> tuple[Field, ...]: ...
@overload
def named(file: FieldFile, names: Sequence[str] | None, *, sown: bool) -> tuple[Ground, ...]: ...
def named(file: FieldFile, names: Sequence[str] | None, *, sown: bool = True) -> tuple[Ground, ...]:
    """The fields of a file with these names, in any spelling of case; all without names.

    Parameters
    ----------
    file : FieldFile
    names : sequence of str or None
    sown : bool
        Only those with a cover will do.

    Raises
    ------
    UnknownNameError
        If there is no such field; names near matches.
    FieldFileError
        If it has no cover, and one is needed.
    """
    from covercrop.field.entries import NO_COVER

    if not names:
        return file.fields if sown else file.entries
    by_name = {entry.name.casefold(): entry for entry in file.entries}
    for name in names:
        if name.casefold() not in by_name:
            raise UnknownNameError("field", name, [entry.name for entry in file.entries])
    found = tuple(by_name[name.casefold()] for name in dict.fromkeys(names))
    for entry in found:
        if sown and entry.cover is None:
            raise FieldFileError(f"{file.path}: {entry.name}: {NO_COVER}")
    return found


def complain(problems: Sequence[tuple[str, str]]) -> int:
    """Say which fields could not be worked out, a line each; the exit status."""
    for name, message in problems:
        tell(f"covercrop: {name}: {message}")
    return 1 if problems else 0


def plan_all(fields: Sequence[Field], arguments: argparse.Namespace, today: dt.date, *, details: bool = True) -> Plans:
    """The plans of fields on the day that the command was asked for, with a bar if they take long."""
    from covercrop.season.many import plan_fields

    with progress(f"weather and dates of {len(fields)} fields", 2 * len(fields)) as advance:
        return plan_fields(fields, on=arguments.on or today, today=today, details=details, advance=advance)


def each_told(
    label: str, fields: Sequence[Entry], work: Callable[[Entry], Answer]
) -> tuple[list[Answer], list[Problem]]:
    """What the work gives for each field, and the trouble of each, with a bar if it takes long."""
    from covercrop.season.many import each_field

    with progress(label, len(fields)) as advance:

        def told(field: Entry) -> Answer:
            try:
                return work(field)
            finally:
                advance(1)

        return each_field(fields, told)


@contextmanager
def progress(label: str, parts: int | None) -> Iterator[Callable[[float], None]]:
    """A bar on standard error while something runs for longer than :data:`LONG`, if that is a terminal.

    Parameters
    ----------
    label : str
        What is being done.
    parts : int or None
        In which the work is done; None where nobody can tell how far it is.

    Yields
    ------
    callable
        To be told the share of the part in hand that is done; 1 ends the part.
    """
    from threading import Timer

    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if not console.is_terminal:  # even where it is told to show nothing, many a release of rich ends with an empty line
        yield lambda _share: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    bar = Progress(*columns, console=console, transient=True)
    task = bar.add_task(label, total=parts)
    done = 0
    late = Timer(LONG, bar.start)
    late.daemon = True
    late.start()

    def advance(share: float) -> None:
        nonlocal done
        bar.update(task, completed=done + share)
        done += share >= 1

    try:
        yield advance
    finally:
        late.cancel()
        late.join()
        if bar.live.is_started:
            bar.stop()


def screen() -> Screen:
    """The terminal, or whatever standard output is."""
    from covercrop.render.screen.terminal import Screen

    return Screen()


def show(text: str) -> None:
    """Print text as it is."""
    print(text)  # noqa: T201
