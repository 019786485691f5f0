"""`covercrop add`: a field written into a new or an old field file, by options or by asking."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.base.errors import CovercropError, one_line
from covercrop.cli.shared import Commands, complain, in_options, on_argument, screen, show

if TYPE_CHECKING:
    from covercrop.season.adding import Added

#: What may be said of a field, in the order in which it is asked for.
ASKED = (
    "name",
    "at",
    "elevation",
    "area",
    "cover",
    "cultivar",
    "with",
    "legume_percent",
    "sown",
    "terminate",
    "crop",
    "method",
    "ground_cover",
    "days_to_maturity",
    "station",
    "weather_file",
    "weather_units",
)
#: What it cannot do without, in the words of the command line.
_NEEDED = {"name": "NAME", "at": "--at LAT LON", "crop": "--crop NAME"}


class _Joined(argparse.Action):
    """Two words that are one text."""

    def __call__(self, _parser: object, namespace: argparse.Namespace, values: object, _option: object = None) -> None:
        """Keep them."""
        setattr(namespace, self.dest, " ".join(map(str, values if isinstance(values, list) else [values])))


def add(commands: Commands) -> None:
    """Add it to the parser."""
    parser = commands.add(
        "add",
        _run,
        "write a field into a new or an old field file, by options or by asking",
        ("add_field",),
        units="units of a new file, and of its answers",
    )
    parser.add_argument("fields", type=Path, metavar="FILE", help="field file; it is made where there is none")
    parser.add_argument("name", nargs="?", metavar="NAME", help="name of the field, in quotes if it has blanks")
    parser.add_argument(
        "--at", nargs=2, action=_Joined, metavar=("LAT", "LON"), help="degrees; south and west have a minus"
    )
    parser.add_argument("--elevation", metavar="H", help="above the sea, with its unit: 260m, 850ft")
    parser.add_argument("--area", metavar="A", help="with its unit: 900m2, 9700ft2, 0.5acres, 0.2ha")
    parser.add_argument("--cover", metavar="NAME", help="what is sown; leave it out while nothing is")
    parser.add_argument("--sown", metavar="DATE", help="when, as 2025-09-12")
    parser.add_argument("--cultivar", metavar="NAME", help="of the cover; it narrows the dates")
    parser.add_argument("--with", metavar="NAME", help="the cereal beside it: rye, triticale, wheat, barley or oats")
    parser.add_argument("--legume-percent", metavar="SHARE", help="the legume's part of the dry weight, as 40 or 30-50")
    parser.add_argument("--terminate", metavar="WAY", help="turn-under (default), roll, mow or tarp")
    parser.add_argument("--crop", metavar="NAME", help="what follows")
    parser.add_argument("--method", metavar="HOW", help="direct-seed (default) or transplant")
    parser.add_argument("--ground-cover", metavar="WHAT", help="bare (default), straw or black-plastic")
    parser.add_argument("--days-to-maturity", metavar="DAYS", help="from the seed packet")
    parser.add_argument("--station", metavar="ID", help="a public station (default: the nearest)")
    parser.add_argument("--weather-file", metavar="FILE", help="your own record of the weather")
    parser.add_argument("--weather-units", choices=("metric", "us"), help="units of that record (default: the file's)")
    on_argument(parser, "the day of the first answer")
    parser.set_defaults(misused=parser.error)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.field.typed import entry_of
    from covercrop.season.adding import add_field

    options = {key: getattr(arguments, key) for key in ASKED if getattr(arguments, key) is not None}
    us = _units(arguments) == "us"
    missing = [words for key, words in _NEEDED.items() if key not in options]
    if missing and sys.stdin.isatty():
        from covercrop.cli.asking import asked

        options = asked(options, arguments.fields, us=us)
    elif missing:
        arguments.misused(f"{', '.join(missing)} is needed; at a terminal it is asked for")
    entry = entry_of(options, arguments.fields, us=us)
    # A first answer of another day makes nothing that is known today unknown.
    later = arguments.on is not None and arguments.on > dt.date.today()
    added = add_field(arguments.fields, entry, units="us" if us else "metric", today=arguments.on if later else None)
    from covercrop.render.data import machine
    from covercrop.render.screen import adding

    if arguments.json:
        show(machine.dump(machine.added(added, arguments.fields)))
        return 0
    adding.added(screen(), added, arguments.fields, us=us)
    return 0 if added.weather is None else _answer(added, arguments, us=us)


def _units(arguments: argparse.Namespace) -> str:
    """The units asked for, else those of the file, else metric."""
    from covercrop.field.file import units_in

    units: str = arguments.units or units_in(arguments.fields)
    return units


def _answer(added: Added, arguments: argparse.Namespace, *, us: bool) -> int:
    """Show the first answer: the plan of a cover, or what to sow; the exit status."""
    from covercrop.field.entries import Field
    from covercrop.field.file import today_in

    to, today = screen(), arguments.on or today_in(arguments.fields) or dt.date.today()
    try:
        if isinstance(added.field, Field):
            from covercrop.render.screen import terminal
            from covercrop.season.many import plan_field

            plan = plan_field(added.field, added.weather, today)
            terminal.ready(to, [plan], plan.on, title="The first answer", us=us)
        else:
            from covercrop.autumn.comparison import compare_sowing_dates
            from covercrop.render.screen import sowing

            autumn = compare_sowing_dates(added.field, added.weather, today)
            sowing.sow(to, [autumn], title="The first answer", us=us, full=False)
    except CovercropError as error:
        return complain([(f"{added.field.name} is written, but cannot be answered for", one_line(in_options(error)))])
    return 0
