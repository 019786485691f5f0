"""Notes in doubt: what was seen that does not fit the weather, or another note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from covercrop.models.note_weights import Evidence, clash, surprise

if TYPE_CHECKING:
    from covercrop.field.entries import ScoutingNote


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A note that does not fit.

    Attributes
    ----------
    note : ScoutingNote
    days : float
        By which it does not; positive where the stand was seen further on than it can be; infinite where it hardly
        ever comes to that stage; NaN for a reading of the soil.
    against : ScoutingNote or None
        The other note that it does not go with; None where it is the weather.
    confirmed : bool
        Whether a note of another day tells the same against the weather, so that it is the weather, the sowing date or
        the cultivar that has to be doubted.
    kelvin : float
        How much warmer a reading of the soil is than the air allows; NaN for a note of a stage.
    of_cereal : bool
        Whether it is the stage of the cereal beside the legume that does not fit.
    """

    note: ScoutingNote
    days: float = np.nan
    against: ScoutingNote | None = None
    confirmed: bool = False
    kelvin: float = np.nan
    of_cereal: bool = False

    @property
    def of_soil(self) -> bool:
        """Whether it is a reading of the soil that is in doubt."""
        return not np.isnan(self.kelvin)

    @property
    def ahead(self) -> bool:
        """Whether the stand was seen further on than it can be."""
        return self.days > 0


def worst(doubts: Sequence[Doubt]) -> Doubt:
    """The doubt to name: the furthest off, and of a pair of notes what is said of the later one."""
    return max(doubts, key=lambda doubt: (abs(doubt.days) if not doubt.of_soil else 0.0, doubt.note.date))


def doubts_of(
    notes: Sequence[ScoutingNote],
    evidence: Sequence[Evidence],
    surprises: Sequence[tuple[ScoutingNote, float]],
) -> tuple[Doubt, ...]:
    """What does not fit, in order of time.

    Parameters
    ----------
    notes : sequence of ScoutingNote
        Of stages, in order of time.
    evidence : sequence of Evidence
        What each says to the members.
    surprises : sequence of (ScoutingNote, float)
        Notes that the weather and the notes before them did not foretell.

    Returns
    -------
    tuple of Doubt
        One a note at most.  Of two notes that do not go together both are in doubt: which is wrong, the weather alone
        cannot tell.
    """
    places = range(len(notes))
    against_weather = {place: gap for place in places if (gap := surprise(evidence[place]))}
    pairs = {pair: gap for pair in combinations(places, 2) if (gap := clash(*(evidence[place] for place in pair)))}
    found = {
        place: Doubt(
            note=notes[place],
            days=gap,
            confirmed=_confirmed(place, against_weather, pairs, notes),
        )
        for place, gap in against_weather.items()
    }
    for (earlier, later), gap in pairs.items():
        for place, other, days in ((earlier, later, -gap), (later, earlier, gap)):
            if place not in found or found[place].confirmed:
                found[place] = Doubt(note=notes[place], days=days, against=notes[other])
    for note, gap in surprises:
        found.setdefault(notes.index(note), Doubt(note=note, days=gap))
    return tuple(found[place] for place in sorted(found))


def _confirmed(
    place: int, against_weather: dict[int, float], pairs: dict[tuple[int, int], float], notes: Sequence[ScoutingNote]
) -> bool:
    """Whether a note of another day tells the same against the weather."""
    return any(
        notes[other].date != notes[place].date
        and np.sign(gap) == np.sign(against_weather[place])
        and not pairs.keys() & {(place, other), (other, place)}
        for other, gap in against_weather.items()
    )
