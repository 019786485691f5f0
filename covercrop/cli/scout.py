"""`covercrop scout`: a note of what was seen, written into the field file."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

from covercrop.cli.shared import Commands, date, in_options, on_argument, progress, screen, show

#: Stands for the note that was written last.
LAST = 0


def add(commands: Commands) -> None:
    """Add it to the parser."""
    scout = commands.add(
        "scout",
        _run,
        "write what you saw into the field file; the next answer goes by it",
        (
            "add_scouting_note",
            "edit_scouting_note",
            "undo_scouting_note",
            "add_scouting_notes",
            "undo_scouting_notes",
        ),
        units="units of the measurements",
    )
    scout.add_argument("fields", type=Path, metavar="FIELDS", help="field file")
    scout.add_argument("name", nargs="?", metavar="NAME", help="name of the field, in quotes if it has blanks")
    on_argument(scout, "the day of the visit")
    instead = scout.add_mutually_exclusive_group()
    instead.add_argument("--list", action="store_true", help="show the notes of the field, and write nothing")
    instead.add_argument("--undo", action="store_true", help="take the note that was written last out of the file")
    instead.add_argument("--stages", action="store_true", help="show what each stage looks like, and write nothing")
    instead.add_argument(
        "--edit",
        nargs="?",
        type=_which,
        const=LAST,
        metavar="NOTE",
        help="change the note of this day, or of this number in --list (default: the one written last); --on moves it",
    )
    scout.add_argument(
        "--from",
        dest="notes",
        type=Path,
        metavar="FILE.csv",
        help="write all notes of a CSV file with columns field, date, bloom_percent and others of a note; with --undo, "
        "take them out again",
    )
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
    scout.add_argument(
        "--cereal",
        type=int,
        metavar="N",
        help="Zadoks stage of the cereal beside it: 45 boot, 51 heads, 61 in flower",
    )
    scout.add_argument(
        "--legume-percent", type=float, metavar="SHARE", help="the legume's part of the dry weight, by eye or sorted"
    )
    scout.add_argument("--note", metavar="TEXT", help="in your words")
    scout.add_argument("--anyway", action="store_true", help="write it although it does not fit what else is known")
    scout.set_defaults(misused=scout.error)


def _which(text: str) -> dt.date | int:
    """A note by its day, or by its number; for ``type=``."""
    return int(text) if text.isdecimal() else date(text)


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.field.file import read_fields
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting
    from covercrop.season.noting import add_scouting_note

    seen = _seen(arguments)
    if arguments.notes is not None:
        if seen or arguments.note is not None or arguments.name or arguments.list or arguments.edit is not None:
            arguments.misused("--from has all that was seen in its file; give --undo or --anyway with it, or nothing")
        return _take_back(arguments) if arguments.undo else _from_file(arguments)
    if arguments.name is None:
        arguments.misused("which field? give its NAME, or --from FILE.csv with the notes of several")
    if arguments.list or arguments.undo or arguments.stages:
        if seen or arguments.note is not None:
            arguments.misused("--list, --undo and --stages stand alone; leave out what was seen")
        return _undo(arguments) if arguments.undo else _stages(arguments) if arguments.stages else _list(arguments)
    if arguments.edit is not None:
        return _edit(arguments, seen)
    if not seen:
        arguments.misused(
            "nothing that was seen; give --bloom, --bbch or --no-buds, or a measurement: --soil, --height, "
            "--dry-matter, --nitrogen-percent, or of a mixture --cereal, --legume-percent; --stages shows what each "
            "stage looks like"
        )
    file = read_fields(arguments.fields)
    today = file.today or dt.date.today()
    words = {} if arguments.note is None else {"note": arguments.note}
    entry = {"date": arguments.on or today, **seen, **words}
    noted = add_scouting_note(arguments.fields, arguments.name, entry, anyway=arguments.anyway, today=today)
    field, note, doubts, unchecked = noted.field, noted.note, noted.doubts, in_options(noted.unchecked)
    if arguments.json:
        show(machine.dump(machine.scouted(field, note, arguments.fields, doubts, unchecked)))
    else:
        scouting.noted(screen(), field, note, arguments.fields, us=_us(arguments), doubts=doubts, unchecked=unchecked)
    return 0


def _edit(arguments: argparse.Namespace, seen: dict[str, float]) -> int:
    """Change a note, and say what it was."""
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting
    from covercrop.season.noting import edit_scouting_note

    words = {} if arguments.note is None else {"note": arguments.note}
    day = {} if arguments.on is None else {"date": arguments.on}
    changes = {**day, **seen, **words}
    if not changes:
        arguments.misused("--edit changes nothing; give what it is to say, as --bloom 10, --note TEXT or --on DATE")
    which = None if arguments.edit == LAST else arguments.edit
    us = _us(arguments)
    edited = edit_scouting_note(arguments.fields, arguments.name, changes, which, anyway=arguments.anyway)
    if arguments.json:
        show(machine.dump(machine.edited(edited, arguments.fields, in_options(edited.unchecked))))
    else:
        scouting.edited(screen(), edited, arguments.fields, us=us, unchecked=in_options(edited.unchecked))
    return 0


def _from_file(arguments: argparse.Namespace) -> int:
    """Write the notes of a CSV file."""
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting
    from covercrop.season.noting import add_scouting_notes

    with progress("holding notes against the weather", None):
        noted = add_scouting_notes(arguments.fields, arguments.notes, anyway=arguments.anyway)
    if arguments.json:
        show(machine.dump(machine.noted_many(noted, arguments.fields)))
    else:
        scouting.noted_many(screen(), noted, arguments.fields, us=_us(arguments))
    return 0


def _take_back(arguments: argparse.Namespace) -> int:
    """Take the notes of a CSV file out again."""
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting
    from covercrop.season.noting import undo_scouting_notes

    undone = undo_scouting_notes(arguments.fields, arguments.notes)
    if arguments.json:
        show(machine.dump(machine.unnoted_many(undone, arguments.fields)))
    else:
        scouting.undone_many(screen(), undone, arguments.fields, us=_us(arguments))
    return 0


def _undo(arguments: argparse.Namespace) -> int:
    """Take the last note out, and say which it was."""
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting
    from covercrop.season.noting import undo_scouting_note

    us = _us(arguments)
    undone = undo_scouting_note(arguments.fields, arguments.name)
    if arguments.json:
        show(machine.dump(machine.unnoted(undone.field, undone.note, arguments.fields)))
    else:
        scouting.undone(screen(), undone.field, undone.note, arguments.fields, us=us)
    return 0


def _list(arguments: argparse.Namespace) -> int:
    """Show the notes of a field."""
    from covercrop.cli.shared import named
    from covercrop.field.file import read_fields
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting

    us = _us(arguments)
    (field,) = named(read_fields(arguments.fields), [arguments.name])
    if arguments.json:
        show(machine.dump(machine.notes(field, arguments.fields)))
    else:
        scouting.listed(screen(), field, us=us)
    return 0


def _stages(arguments: argparse.Namespace) -> int:
    """Show what the stages of the cover of a field look like."""
    from covercrop.cli.shared import named
    from covercrop.field.entries import cover_of
    from covercrop.field.file import read_fields
    from covercrop.render.data import machine
    from covercrop.render.screen import scouting

    (field,) = named(read_fields(arguments.fields), [arguments.name])
    cover = cover_of(field.cover)
    if arguments.json:
        show(machine.dump(machine.stages(cover)))
    else:
        scouting.stages(screen(), cover)
    return 0


def _us(arguments: argparse.Namespace) -> bool:
    """Whether US units are asked for, or are those of the file."""
    from covercrop.field.file import units_in

    return bool((arguments.units or units_in(arguments.fields)) == "us")


def _seen(arguments: argparse.Namespace) -> dict[str, float]:
    """What was seen, by its key in the field file."""
    from covercrop.field.entries import NO_BUDS

    us = _us(arguments)
    found = {
        "bloom_percent": arguments.bloom,
        "bbch": NO_BUDS if arguments.no_buds else arguments.bbch,
        "soil_f" if us else "soil_c": arguments.soil,
        "height_in" if us else "height_cm": arguments.height,
        "dry_matter_lb_acre" if us else "dry_matter_kg_ha": arguments.dry_matter,
        "nitrogen_percent": arguments.nitrogen_percent,
        "cereal": arguments.cereal,
        "legume_percent": arguments.legume_percent,
    }
    return {key: value for key, value in found.items() if value is not None}
