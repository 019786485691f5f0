"""`covercrop hindcast`: how good the forecasts would have been in past seasons."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from covercrop.cli.shared import (
    FEW,
    Commands,
    complain,
    field_argument,
    fields_argument,
    named,
    progress,
    read,
    said,
    screen,
    show,
)

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from covercrop.field.entries import Field


def add(commands: Commands) -> None:
    """Add it to the parser."""
    hindcast = commands.add(
        "hindcast",
        _run,
        "how good the forecasts would have been in past seasons, at this place",
        ("hindcast_field", "replay_advice"),
        csv="print a line for each day of the forecast and event, or for each rule",
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
    field_argument(hindcast, f"more than {FEW} fields are shown in a table")
    hindcast.add_argument(
        "--advice", action="store_true", help="what would have come of following the advice, beside plain rules"
    )
    hindcast.add_argument(
        "--scouted", action="store_true", help="with --advice: also where the stand is looked at every week (slower)"
    )


def _month_day(text: str) -> tuple[int, int]:
    import datetime as dt

    try:
        day = dt.date.fromisoformat(f"2001-{text}")
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day of every year; write it as 04-01") from None
    return day.month, day.day


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.errors import UsageError
    from covercrop.checking.hindcast import Hindcast, hindcast_field
    from covercrop.season.many import each_field

    file, today, title = read(arguments)
    if arguments.scouted and not arguments.advice:
        raise UsageError("--scouted says how the advice is followed; give --advice too")
    fields = named(file, arguments.field)
    if arguments.advice:
        return _advice(arguments, fields, today, title)
    with progress("replaying past seasons", len(fields)) as advance:

        def replay(field: Field) -> Hindcast:
            return hindcast_field(field, issues=arguments.issue, today=today, advance=advance)

        replayed, troubled = each_field(fields, replay)
    problems = said(troubled)
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.hindcast(replayed, today, problems)))
    elif arguments.csv:
        from covercrop.render.data import lists

        show(lists.hindcast(replayed))
    else:
        from covercrop.render.screen import hindcast

        if _in_a_table(arguments, fields):
            hindcast.table(screen(), replayed, title=title)
        else:
            hindcast.show(screen(), replayed, title=title, full=arguments.full)
    return complain(problems)


def _in_a_table(arguments: argparse.Namespace, fields: Sequence[Field]) -> bool:
    """Whether so many fields are shown a line each."""
    return len(fields) > FEW and not (arguments.full or arguments.field)


def _advice(arguments: argparse.Namespace, fields: Sequence[Field], today: dt.date, title: str) -> int:
    from covercrop.base.errors import UsageError
    from covercrop.checking.replay import AdviceReplay, replay_advice
    from covercrop.season.many import each_field

    if arguments.issue:
        raise UsageError("--issue names days of a forecast, and the advice is asked for every week; leave one of them")
    with progress("following the advice", len(fields)) as advance:

        def follow(field: Field) -> AdviceReplay:
            return replay_advice(field, today=today, scouted=arguments.scouted, advance=advance)

        replayed, troubled = each_field(fields, follow)
    problems = said(troubled)
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.replay(replayed, today, problems)))
    elif arguments.csv:
        from covercrop.render.data import lists

        show(lists.advice(replayed))
    else:
        from covercrop.render.screen import replay

        us = arguments.units == "us"
        (replay.table if _in_a_table(arguments, fields) else replay.show)(screen(), replayed, title=title, us=us)
    return complain(problems)
