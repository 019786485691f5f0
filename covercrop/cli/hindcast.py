"""`covercrop hindcast`: how good the forecasts would have been in past seasons."""

from __future__ import annotations

import argparse

from covercrop.cli.shared import Commands, complain, fields_argument, progress, read, said, screen, show


def add(commands: Commands) -> None:
    """Add it to the parser."""
    hindcast = commands.add(
        "hindcast", _run, "how good the forecasts would have been in past seasons, at this place", ("hindcast_field",)
    )
    fields_argument(hindcast)
    hindcast.add_argument(
        "--issue",
        type=_month_day,
        action="append",
        default=[],
        metavar="MM-DD",
        help="day of the year on which the forecast is made, as 04-01; may be given again "
        "(default: 15 February, 15 March, 1 and 15 April, half a year later in the south)",
    )
    hindcast.add_argument("--full", action="store_true", help="every event, not only the window")


def _month_day(text: str) -> tuple[int, int]:
    import datetime as dt

    try:
        day = dt.date.fromisoformat(f"2001-{text}")
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day of every year; write it as 04-01") from None
    return day.month, day.day


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.checking.hindcast import Hindcast, hindcast_field
    from covercrop.field.entries import Field
    from covercrop.season.many import each_field

    file, today, title = read(arguments)
    with progress("replaying past seasons", len(file.fields)) as advance:

        def replay(field: Field) -> Hindcast:
            return hindcast_field(field, issues=arguments.issue, today=today, advance=advance)

        replayed, troubled = each_field(file.fields, replay)
    problems = said(troubled)
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.hindcast(replayed, today, problems)))
    else:
        from covercrop.render.screen import hindcast

        hindcast.show(screen(), replayed, title=title, full=arguments.full)
    return complain(problems)
