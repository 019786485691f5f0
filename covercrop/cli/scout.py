"""`covercrop scout`: a note of what was seen, written into the field file."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.cli.shared import Commands, on_argument, read, screen, show

if TYPE_CHECKING:
    from covercrop.field.entries import Field, ScoutingNote
    from covercrop.season.doubts import Doubt


def add(commands: Commands) -> None:
    """Add it to the parser."""
    scout = commands.add(
        "scout",
        _run,
        "write what you saw into the field file; the next answer goes by it",
        units="units of the measurements",
    )
    scout.add_argument("fields", type=Path, metavar="FIELDS", help="field file")
    scout.add_argument("name", metavar="NAME", help="name of the field, in quotes if it has blanks")
    on_argument(scout, "the day of the visit")
    stage = scout.add_mutually_exclusive_group()
    stage.add_argument("--bloom", type=float, metavar="PERCENT", help="share of the plants in flower, 0 to 100")
    stage.add_argument(
        "--bbch", type=int, metavar="N", help="BBCH stage: 51 first buds, 60 first flowers, 65 full bloom"
    )
    stage.add_argument("--no-buds", action="store_true", help="no buds to be seen yet")
    scout.add_argument("--soil", type=float, metavar="T", help="soil thermometer at three inches, degC or degF")
    scout.add_argument("--height", type=float, metavar="H", help="height of the stand, cm or inches")
    scout.add_argument("--dry-matter", type=float, metavar="W", help="dry weight of a clip sample, kg/ha or lb/acre")
    scout.add_argument("--nitrogen-percent", type=float, metavar="N", help="nitrogen in that sample, %% of dry weight")
    scout.add_argument("--note", metavar="TEXT", help="in your words")
    scout.add_argument("--anyway", action="store_true", help="write it although it does not fit what else is known")
    scout.set_defaults(misused=scout.error)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.errors import FieldFileError
    from covercrop.base.shipped import is_shipped
    from covercrop.field.add_note import add_note, proposed_note
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting

    seen = _seen(arguments)
    if not seen:
        arguments.misused(
            "nothing that was seen; give --bloom, --bbch or --no-buds, or a measurement: --soil, --height, "
            "--dry-matter, --nitrogen-percent"
        )
    if is_shipped(arguments.fields):
        raise FieldFileError(
            f"{arguments.fields}: is the demonstration, which is not written to; copy it and its weather.csv to a "
            "folder of your own, and note there"
        )
    _, today, _ = read(arguments)
    day: dt.date = arguments.on or today
    words = {} if arguments.note is None else {"note": arguments.note}
    entry = {"date": day, **seen, **words}
    field, note = proposed_note(arguments.fields, arguments.name, entry, today)
    doubts, unchecked = _doubts(field, note, today)
    if doubts and not arguments.anyway:
        raise FieldFileError(f'{arguments.fields}: field "{field.name}": {scouting.unfit(doubts, field)}')
    field, note = add_note(arguments.fields, arguments.name, entry, today)
    if arguments.json:
        show(machine.dump(machine.scouted(field, note, arguments.fields, doubts, unchecked)))
    else:
        scouting.noted(
            screen(), field, note, arguments.fields, us=arguments.units == "us", doubts=doubts, unchecked=unchecked
        )
    return 0


def _doubts(field: Field, note: ScoutingNote, today: dt.date) -> tuple[tuple[Doubt, ...], str]:
    """What does not fit of a note, and why that cannot be said, where there is no weather to tell by."""
    import numpy as np

    from covercrop.base.errors import CovercropError, one_line
    from covercrop.models.members import standard_draws
    from covercrop.models.season_calendar import season_ends
    from covercrop.season.chain import doubts_about
    from covercrop.season.many import gatherer
    from covercrop.season.plan import start_of

    day = min(today, season_ends(field.cover.sown))
    try:
        known, weather = gatherer(day, today)(field)
        start = start_of(known, weather, np.datetime64(day, "D"))
    except CovercropError as error:
        return (), one_line(error)
    return doubts_about(start, note, standard_draws()), ""


def _seen(arguments: argparse.Namespace) -> dict[str, float]:
    """What was seen, by its key in the field file."""
    from covercrop.field.entries import NO_BUDS

    us = arguments.units == "us"
    found = {
        "bloom_percent": arguments.bloom,
        "bbch": NO_BUDS if arguments.no_buds else arguments.bbch,
        "soil_f" if us else "soil_c": arguments.soil,
        "height_in" if us else "height_cm": arguments.height,
        "dry_matter_lb_acre" if us else "dry_matter_kg_ha": arguments.dry_matter,
        "nitrogen_percent": arguments.nitrogen_percent,
    }
    return {key: value for key, value in found.items() if value is not None}
