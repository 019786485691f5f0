"""What a plan rests on: weather and notes, and what is assumed; what can hurt; where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.field.entries import ScoutingNote
    from covercrop.season.doubts import Doubt
    from covercrop.weather.outlook import Outlook

#: Days without weather after which the answer begins with saying so.
STALE_DAYS = 21

#: What notes in doubt ask for before anything else: measuring the soil again; checking the sowing date and the
#: cultivar; mending or striking a note; looking at the stand again.
CHECKS = ("soil", "sowing", "notes", "stand")


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What an answer rests on.

    Attributes
    ----------
    observed_share : float
        Share of the days from sowing to the ending of the cover that were observed; up to the last known one, where
        there is no ending [1].
    stale_since : numpy.datetime64[D]
        The last day with weather, where that is more than :data:`STALE_DAYS` before the answer; ``NaT`` where it is
        not.
    doubts : tuple of Doubt
        Notes that do not fit, while there is something to be decided by them: no chance is higher than it would be
        without them.
    set_aside : tuple of Doubt
        Those of them that the answer does not rest on.
    check : str or None
        What they ask for first, one of :data:`CHECKS`; None where nothing is in doubt.
    notes, assumptions, cautions : tuple of str
        What the reader should know; what no source gives and why it was set as it is; what can hurt.
    sources : tuple of str
        Keys of the sources.
    of_weather : tuple of str
        Those of the notes that say whose the weather is, and what it lacks.
    """

    observed_share: float
    stale_since: np.datetime64
    doubts: tuple[Doubt, ...]
    set_aside: tuple[Doubt, ...]
    check: str | None
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    of_weather: tuple[str, ...] = ()

    @property
    def is_stale(self) -> bool:
        """Whether the weather ends long before the answer."""
        return not np.isnat(self.stale_since)

    def rests_on(self, doubt: Doubt) -> bool:
        """Whether the answer rests on a note in doubt all the same."""
        return doubt not in self.set_aside and (doubt.confirmed or not doubt.of_soil)


def stale_since(outlook: Outlook, on: np.datetime64) -> np.datetime64:
    """The last day with weather, where that is long before a day; ``NaT`` otherwise."""
    last: np.datetime64 = outlook.days[outlook.known - 1]
    return last if on - last > np.timedelta64(STALE_DAYS, "D") else np.datetime64("NaT", "D")


def observed_share(outlook: Outlook, ending: int | None) -> float:
    """Share of the days up to the ending of the cover that were observed; up to the last known one, without an ending.

    Parameters
    ----------
    outlook : Outlook
    ending : int or None
        Day index.
    """
    days = outlook.known if ending is None else ending + 1
    return float(outlook.observed[:days].sum() / days)


def to_check(doubts: Sequence[Doubt], notes: Sequence[ScoutingNote]) -> str | None:
    """What notes in doubt ask for before anything else.

    Parameters
    ----------
    doubts : sequence of Doubt
        In order of time; the last one decides.
    notes : sequence of ScoutingNote
        All notes of the field.

    Returns
    -------
    str or None
        One of :data:`CHECKS`; None where nothing is in doubt.
    """
    if not doubts:
        return None
    last = doubts[-1]
    if last.of_soil:
        return "soil"
    if last.confirmed:
        return "sowing"
    doubted = {doubt.note for doubt in doubts}
    # Once the stand has been looked at again and that fits, it is the note that has to be mended.
    looked = (note for note in notes if (note.cereal is not None if last.of_cereal else note.has_stage))
    since = any(note not in doubted and note.date > last.note.date for note in looked)
    return "notes" if since else "stand"
