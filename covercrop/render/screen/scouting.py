"""A scouting note that was written, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.render.words import answer, mixture, phrases
from covercrop.render.words.stages import STAGES
from covercrop.season import note_effects
from covercrop.season.doubts import worst

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from covercrop.field.entries import Field, ScoutingNote
    from covercrop.parameters.traits import Cover
    from covercrop.render.screen.terminal import Screen
    from covercrop.season.doubts import Doubt
    from covercrop.season.noting import Noted


def noted(
    screen: Screen,
    field: Field,
    note: ScoutingNote,
    path: Path,
    *,
    us: bool = False,
    doubts: Sequence[Doubt] = (),
    unchecked: str = "",
) -> None:
    """Print what was noted, where, and what to ask next.

    Parameters
    ----------
    screen : Screen
    field : Field
    note : ScoutingNote
    path : pathlib.Path
        The field file.
    us : bool
        Show US units.
    doubts : sequence of Doubt
        What does not fit of it.
    unchecked : str
        Why that is not known; empty where it is.
    """
    day = phrases.weekday(np.datetime64(note.date, "D"))
    screen.say(f"Noted for {field.name}, {day} {note.date.year}: {'; '.join(seen(note, us=us))}.")
    if doubts:
        screen.say(f"It does not fit, since {note_effects.doubt_said(worst(doubts))}: no chance will be higher for it.")
    if unchecked:
        screen.say(f"Whether it fits the weather is not known: {unchecked}.")
    count = len(field.scouting)
    screen.say(
        f"{path.name} now holds {count} note{'s' if count > 1 else ''} of this field. What it changes: covercrop ready "
        f"{path}"
    )


def listed(screen: Screen, field: Field, *, us: bool = False) -> None:
    """Print the notes of a field, the oldest first."""
    if not field.scouting:
        screen.say(f"{field.name} has no note yet.")
        return
    screen.say(f"{field.name}:", style="bold")
    for number, note in enumerate(field.scouting, start=1):
        screen.say(f"{number}. {_line(note, us=us)}", indent=2)


def stages(screen: Screen, cover: Cover) -> None:
    """Print what each stage of a cover looks like, and how it is typed."""
    screen.say(f"What to look for in {cover.common_name}; o is a plant still closed, * in flower, v with pods:")
    for stage in STAGES.values():
        screen.say()
        screen.say(f"{stage.plants:<15}  {stage.title}: covercrop scout ... {stage.typed}", indent=2)
        screen.say(stage.told[cover.inflorescence], indent=19)
    screen.say()
    screen.say("Drawn, with a sheet of blanks to print: covercrop report --with notes")


def undone(screen: Screen, field: Field, note: ScoutingNote, path: Path, *, us: bool = False) -> None:
    """Print which note was taken out."""
    screen.say(f"Taken out of {path.name}, {field.name}: {_line(note, us=us)}")


def edited(screen: Screen, noted: Noted, path: Path, *, us: bool = False, unchecked: str = "") -> None:
    """Print what a note was, and what it is now."""
    assert noted.before is not None
    screen.say(f"Changed in {path.name}, {noted.field.name}:", style="bold")
    screen.say(f"was  {_line(noted.before, us=us)}", indent=2)
    screen.say(f"is   {_line(noted.note, us=us)}", indent=2)
    if noted.doubts:
        why = note_effects.doubt_said(worst(noted.doubts))
        screen.say(f"It does not fit, since {why}: no chance will be higher for it.")
    if unchecked:
        screen.say(f"Whether it fits the weather is not known: {unchecked}.")


def noted_many(screen: Screen, noted: Sequence[Noted | None], path: Path, *, us: bool = False) -> None:
    """Print which notes of a file were written, a line each."""
    written = [each for each in noted if each is not None]
    old = len(noted) - len(written)
    there = f"; {old} {'were' if old > 1 else 'was'} there already" if old else ""
    screen.say(f"{path.name}: {_count(len(written))} written{there}.", style="bold")
    for each in written:
        screen.say(f"{each.field.name}, {_line(each.note, us=us)}", indent=2)
        if each.doubts:
            why = note_effects.doubt_said(worst(each.doubts))
            screen.say(f"It does not fit, since {why}: no chance will be higher for it.", indent=4)
    unchecked = dict.fromkeys(each.unchecked for each in written if each.unchecked)
    for why in unchecked:
        screen.say(f"Whether they fit the weather is not known: {why}.")
    if written:
        screen.say(f"What they change: covercrop ready {path}")


def undone_many(screen: Screen, undone: Sequence[Noted], path: Path, *, us: bool = False) -> None:
    """Print which notes were taken out, a line each."""
    screen.say(f"{path.name}: {_count(len(undone))} taken out.", style="bold")
    for each in undone:
        screen.say(f"{each.field.name}, {_line(each.note, us=us)}", indent=2)


def _count(number: int) -> str:
    return "1 note" if number == 1 else f"{number} notes"


def _line(note: ScoutingNote, *, us: bool) -> str:
    """A note with its day and its words."""
    day = phrases.weekday(np.datetime64(note.date, "D"))
    words = f' ("{note.note}")' if note.note else ""
    return f"{day} {note.date.year}: {'; '.join(seen(note, us=us))}{words}"


def seen(note: ScoutingNote, *, us: bool = False) -> list[str]:
    """What a note says, a phrase each."""
    said = []
    if note.has_stage:
        said.append(answer.stage_seen(note))
    if note.soil_c is not None:
        soil = f"{units.fahrenheit_from_celsius(note.soil_c):.1f} °F" if us else f"{note.soil_c:.1f} °C"
        said.append(f"soil at {soil}")
    if note.height_cm is not None:
        said.append(
            f"{note.height_cm / units.M_PER_IN / 100:.0f} inches high" if us else f"{note.height_cm:.0f} cm high"
        )
    if note.dry_matter_kg_ha is not None:
        per, unit = (units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
        said.append(f"{note.dry_matter_kg_ha / per:,.0f} {unit} of dry matter")
    if note.nitrogen_percent is not None:
        said.append(f"{note.nitrogen_percent:g}% nitrogen in it")
    if note.cereal is not None:
        said.append(f"the cereal at {mixture.zadoks(note.cereal)}")
    if note.legume_percent is not None:
        said.append(f"the legume {note.legume_percent:g}% of the dry weight")
    return said
