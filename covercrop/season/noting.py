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
from covercrop.field.add_note import add_note, add_notes, proposed_note, with_notes
from covercrop.field.change_note import change_note, proposed_change, remove_notes, undo_note
from covercrop.field.entries import ScoutingNote
from covercrop.field.file import read_bytes, read_fields, units_in
from covercrop.field.notes_file import read_notes
from covercrop.models.members import standard_draws
from covercrop.models.season_calendar import season_ends
from covercrop.parameters import catalogue
from covercrop.season import note_effects
from covercrop.season.doubts import worst
from covercrop.season.following import doubts_about
from covercrop.season.many import gathered
from covercrop.season.plan import start_of
from covercrop.weather.sharing import SharedWeather

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

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
    before : ScoutingNote or None
        As it was, of a note that was changed.
    """

    field: Field
    note: ScoutingNote
    doubts: tuple[Doubt, ...] = ()
    unchecked: str = ""
    before: ScoutingNote | None = None


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
    place = _own(path)
    entry = _entry(note)
    now = _today(place, today)
    field, proposed = proposed_note(place, name, entry, now)
    doubts, unchecked = _borne_out(path, field, proposed, now, anyway=anyway)
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
    place = _own(path)
    now = _today(place, today)
    field, note = undo_note(place, name, now)
    return Noted(field=field, note=note)


def edit_scouting_note(
    path: str | Path,
    name: str,
    changes: Mapping[str, dt.date | float | str],
    which: Day | int | None = None,
    *,
    anyway: bool = False,
    today: Day | None = None,
) -> Noted:
    """Change a note of a field, whole or not at all; ``covercrop scout --edit`` does.

    Parameters
    ----------
    path : str or Path
        The field file; all else in it stays as it is.
    name : str
        Of the field; capitals do not matter.
    changes : mapping of str to date, number or text
        Keys of a ``[[field.scouting]]`` table; those that are not given stay.
    which : date or int, optional
        The day of the note, or its number in the order of their days, from 1; the one written last by default.
    anyway : bool
        Write it although it does not fit the weather, or another note.
    today : date, optional
        No note may be later; that of the file, or of this machine's clock, by default.

    Returns
    -------
    Noted
        With the note as it was in ``before``.

    Raises
    ------
    FieldFileError
        As :func:`add_scouting_note`, and if there is no such note.  Nothing is changed then.
    UnknownNameError
        If the file has no such field; near matches are named.
    """
    place = _own(path)
    chosen = which if which is None or isinstance(which, int) else date_of(which, "which")
    now = _today(place, today)
    field, _, proposed = proposed_change(place, name, changes, chosen, now)
    doubts, unchecked = _borne_out(path, field, proposed, now, anyway=anyway)
    field, before, note = change_note(place, name, changes, chosen, now)
    return Noted(field=field, note=note, doubts=doubts, unchecked=unchecked, before=before)


def add_scouting_notes(
    path: str | Path,
    notes: str | Path,
    *,
    anyway: bool = False,
    today: Day | None = None,
    advance: Callable[[float], None] = lambda _share: None,
) -> tuple[Noted | None, ...]:
    """Write the notes of a CSV file into a field file, all of them or none; ``covercrop scout --from`` does.

    Parameters
    ----------
    path : str or Path
        The field file; all else in it stays as it is.
    notes : str or Path
        A row a visit, with the columns ``field``, ``date`` and those of a ``[[field.scouting]]`` table.
    anyway : bool
        Write them although one does not fit the weather, or another note.
    today : date, optional
        No note may be later; that of the file, or of this machine's clock, by default.
    advance : callable, optional
        Told 1 for each row, as it is held against the weather.

    Returns
    -------
    tuple of Noted or None
        One for each row; None of a note that the file holds already.

    Raises
    ------
    FieldFileError
        As :func:`add_scouting_note`, with the line of the row.  Nothing is changed then.
    """
    place = _own(path)
    now = _today(place, today)
    rows = read_notes(Path(notes), us=units_in(place) == "us")
    _, proposed = with_notes(place, read_bytes(place), rows, now)
    # A note is held against all that the file would hold: of two that tell the same, neither is in doubt.
    last = {found[0].name: found[0] for found in proposed if found is not None}
    checked: list[tuple[tuple[Doubt, ...], str]] = []
    for row, found in zip(rows, proposed, strict=True):
        checked.append(((), "") if found is None else _doubts(last[found[0].name], found[1], now))
        if checked[-1][0] and not anyway:
            raise FieldFileError(f"{row.place}: {_unfit(checked[-1][0], last[found[0].name])}")  # type: ignore[index]
        advance(1)
    written = add_notes(place, rows, now)
    return tuple(
        None if found is None else Noted(field=found[0], note=found[1], doubts=doubts, unchecked=unchecked)
        for found, (doubts, unchecked) in zip(written, checked, strict=True)
    )


def undo_scouting_notes(path: str | Path, notes: str | Path, *, today: Day | None = None) -> tuple[Noted, ...]:
    """Take the notes of a CSV file out of a field file again; ``covercrop scout --from FILE --undo`` does.

    Parameters
    ----------
    path, notes, today
        As for :func:`add_scouting_notes`.

    Returns
    -------
    tuple of Noted
        Each note that was there, with its field without it.

    Raises
    ------
    FieldFileError
        If one of the files is not sound, or the field file cannot be written.  Nothing is changed then.
    UnknownNameError
        If the file has no such field; near matches are named.
    """
    place = _own(path)
    rows = read_notes(Path(notes), us=units_in(place) == "us")
    return tuple(Noted(field=field, note=note) for field, note in remove_notes(place, rows, _today(place, today)))


def _own(path: str | Path) -> Path:
    """A field file that may be written to."""
    place = Path(path)
    if is_shipped(place):
        raise FieldFileError(
            f"{path}: is the demonstration, which is not written to; copy it and its weather.csv to a folder of your "
            "own, and note there"
        )
    return place


def _today(place: Path, today: Day | None) -> dt.date:
    return (read_fields(place).today or dt.date.today()) if today is None else date_of(today, "today")


def _borne_out(
    path: str | Path, field: Field, note: ScoutingNote, today: dt.date, *, anyway: bool
) -> tuple[tuple[Doubt, ...], str]:
    """What does not fit of a note, or why that cannot be told; where it may not be written for it, the error."""
    doubts, unchecked = _doubts(field, note, today)
    if doubts and not anyway:
        raise FieldFileError(f'{path}: field "{field.name}": {_unfit(doubts, field)}')
    return doubts, unchecked


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
