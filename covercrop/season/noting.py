"""A scouting note held against what else is known of its field, and written into the field file."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.days import date_of
from covercrop.base.errors import CovercropError, FieldFileError, UsageError, one_line
from covercrop.base.shipped import is_shipped
from covercrop.field.add_note import add_note, proposed_note, undo_note
from covercrop.field.entries import ScoutingNote
from covercrop.field.file import read_fields
from covercrop.models.members import standard_draws
from covercrop.models.season_calendar import season_ends
from covercrop.parameters import catalogue
from covercrop.season import note_effects
from covercrop.season.chain import doubts_about
from covercrop.season.doubts import worst
from covercrop.season.many import gathered
from covercrop.season.plan import start_of
from covercrop.weather.sharing import SharedWeather

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from covercrop.base.days import Day
    from covercrop.field.entries import Field
    from covercrop.season.doubts import Doubt


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A note that was written.

    Attributes
    ----------
    field : Field
        With the note.
    note : ScoutingNote
        As it is read back from the file.
    doubts : tuple of Doubt
        What does not fit of it, where it was written all the same.
    unchecked : str
        Why that could not be told; empty where it could.
    """

    field: Field
    note: ScoutingNote
    doubts: tuple[Doubt, ...] = ()
    unchecked: str = ""


def add_scouting_note(
    path: str | Path,
    name: str,
    note: ScoutingNote | Mapping[str, dt.date | float | str],
    *,
    anyway: bool = False,
    today: Day | None = None,
) -> Noted:
    """Write a note of what was seen into a field file, whole or not at all; ``covercrop scout`` does.

    Parameters
    ----------
    path : str or Path
        The field file; all else in it stays as it is, byte for byte.
    name : str
        Of the field; capitals do not matter.
    note : ScoutingNote, or mapping of str to date, number or text
        A mapping has the keys and units of a ``[[field.scouting]]`` table, such as ``soil_f`` [degF].
    anyway : bool
        Write it although it does not fit the weather, or another note.
    today : date, optional
        No note may be later; that of the file, or of this machine's clock, by default.

    Returns
    -------
    Noted

    Raises
    ------
    FieldFileError
        If the file is not sound, before or with the note; if it holds the note already, or is the demonstration; if
        the note does not fit and ``anyway`` is false; if it cannot be written.  Nothing is changed then.
    UnknownNameError
        If the file has no such field; near matches are named.
    UsageError
        If ``note`` is neither, or ``today`` is no day.
    """
    place = Path(path)
    if is_shipped(place):
        raise FieldFileError(
            f"{path}: is the demonstration, which is not written to; copy it and its weather.csv to a folder of your "
            "own, and note there"
        )
    entry = _entry(note)
    now = (read_fields(place).today or dt.date.today()) if today is None else date_of(today, "today")
    field, proposed = proposed_note(place, name, entry, now)
    doubts, unchecked = _doubts(field, proposed, now)
    if doubts and not anyway:
        raise FieldFileError(f'{path}: field "{field.name}": {_unfit(doubts, field)}')
    field, written = add_note(place, name, entry, now)
    return Noted(field=field, note=written, doubts=doubts, unchecked=unchecked)


def undo_scouting_note(path: str | Path, name: str, *, today: Day | None = None) -> Noted:
    """Take the note that was written last of a field out of its file; ``covercrop scout --undo`` does.

    Parameters
    ----------
    path : str or Path
        The field file; all else in it stays as it is.
    name : str
        Of the field; capitals do not matter.
    today : date, optional
        That of the file, or of this machine's clock, by default.

    Returns
    -------
    Noted
        The field without the note, and the note.

    Raises
    ------
    FieldFileError
        If the field has no note, the file is not sound or is the demonstration, or it cannot be written.  Nothing is
        changed then.
    UnknownNameError
        If the file has no such field; near matches are named.
    """
    place = Path(path)
    if is_shipped(place):
        raise FieldFileError(f"{path}: is the demonstration, which is not written to; name a file of your own")
    now = (read_fields(place).today or dt.date.today()) if today is None else date_of(today, "today")
    field, note = undo_note(place, name, now)
    return Noted(field=field, note=note)


def _unfit(doubts: Sequence[Doubt], field: Field) -> str:
    """That a note does not fit, what it would take for it to be true, and the way out, in a line."""
    doubt = worst(doubts)
    why = f"{note_effects.doubt_said(doubt)}: {note_effects.would_take(doubt, catalogue.cover(field.cover.species))}"
    return f"nothing is noted, since {why}; look again, or add `anyway` to note it all the same"


def _entry(note: ScoutingNote | Mapping[str, dt.date | float | str]) -> Mapping[str, dt.date | float | str]:
    """A note as the file will have it."""
    if not isinstance(note, ScoutingNote):
        if not hasattr(note, "items"):
            raise UsageError(f"`note` is a {type(note).__name__}; give a ScoutingNote, or a mapping of its keys")
        return note
    given = ((each.name, getattr(note, each.name), each.default) for each in fields(note))
    return {name: value for name, value, default in given if value != default}


def _doubts(field: Field, note: ScoutingNote, today: dt.date) -> tuple[tuple[Doubt, ...], str]:
    """What does not fit of a note, and why that cannot be said, where there is no weather to tell by."""
    day = min(today, season_ends(field.cover.sown))
    try:
        known, weather = gathered(field, None, day, today, SharedWeather())
        start = start_of(known, weather, np.datetime64(day, "D"))
    except CovercropError as error:
        return (), one_line(error)
    return doubts_about(start, note, standard_draws()), ""
