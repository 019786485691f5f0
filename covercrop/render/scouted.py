"""A scouting note that was written, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop import units
from covercrop.render import words

if TYPE_CHECKING:
    from pathlib import Path

    from covercrop.render.terminal import Screen
    from covercrop.season import Field, ScoutingNote


def noted(screen: Screen, field: Field, note: ScoutingNote, path: Path, *, us: bool = False) -> None:
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
    """
    day = words.weekday(np.datetime64(note.date, "D"))
    screen.say(f"Noted for {field.name}, {day} {note.date.year}: {'; '.join(seen(note, us=us))}.")
    count = len(field.scouting)
    screen.say(
        f"{path.name} now holds {count} note{'s' if count > 1 else ''} of this field. What it changes: covercrop ready "
        f"{path}"
    )


def seen(note: ScoutingNote, *, us: bool = False) -> list[str]:
    """What a note says, a phrase each."""
    said = []
    if note.has_stage:
        said.append(words.stage_seen(note))
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
    return said
