"""What a plan says of the stand: its stage, its dates, and whether it lives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.models import bbch as scale

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from covercrop.base.records import DateRange
    from covercrop.field.entries import ScoutingNote

#: Below this chance of having lived through the winter, every sentence about the stand is conditional.
DOUBTFUL = 0.8

#: Below this chance of living through the winter, the chance is said.
SURE = 0.95

#: Stages of the BBCH scale so few apart are not worth arguing over.
NEAR_STAGES = 3

#: The dates of a stand, in their order.
STAND_DATES = ("emergence", "bud", "first_flower", "bloom_25", "bloom_50", "end_of_bloom", "viable_seed")


@dataclass(frozen=True, slots=True, kw_only=True)
class StandPart:
    """The stand on the day of the answer.

    Attributes
    ----------
    bbch : int
        Its most likely BBCH stage; that on which it was ended, once it is.
    dates : dict of str to DateRange
        Each of :data:`STAND_DATES` with its 80 % interval; ``NaT`` where the stand does not come to it, and of a dead
        one for all but its emergence.
    survival : float
        Chance that it lives through the winter [1].
    killed : bool
        Whether it is called dead.
    doubtful : bool
        Whether it still stands but may well have died of the cold.
    seed_now : float
        Chance that the first seed is viable by the day of the answer [1].
    seen_otherwise : ScoutingNote or None
        The last note of a stage, where it tells of another than ``bbch``; None where they agree, and without notes.
    """

    bbch: int
    dates: dict[str, DateRange]
    survival: float
    killed: bool
    doubtful: bool
    seed_now: float
    seen_otherwise: ScoutingNote | None

    @property
    def stage(self) -> str:
        """The stage in plain words."""
        return scale.stage_name(self.bbch)


def stand_part(
    dates: Mapping[str, DateRange],
    likely: Mapping[str, float],
    day: float,
    *,
    survival: float,
    killed: bool,
    ended: bool,
    seed_now: float,
    notes: Sequence[ScoutingNote],
    on: np.datetime64,
) -> StandPart:
    """The stand, summed up.

    Parameters
    ----------
    dates : mapping of str to DateRange
        Of the stand among others.
    likely : mapping of str to float
        Day index by which half of the members have reached each stage; NaN where they have not.
    day : float
        Day index on which its stage is asked for.
    survival, killed, seed_now
        As in :class:`StandPart`.
    ended : bool
        Whether it has been ended.
    notes : sequence of ScoutingNote
    on : numpy.datetime64[D]
        The day of the answer.
    """
    code = scale.bbch(dict(likely), day)
    return StandPart(
        bbch=code,
        dates={name: dates[name] for name in STAND_DATES},
        survival=survival,
        killed=killed,
        doubtful=bool(survival < DOUBTFUL and not ended),
        seed_now=seed_now,
        seen_otherwise=seen_otherwise(notes, code, on),
    )


def seen_otherwise(notes: Sequence[ScoutingNote], code: float, on: np.datetime64) -> ScoutingNote | None:
    """The last note of a stage, where it is of another than a BBCH code: an answer may not argue with eyes."""
    last = max((note for note in notes if note.has_stage), key=lambda note: note.date, default=None)
    if last is None or _alike(last.stage, code):
        return None
    # What was seen before today may have gone on since; it has not gone back.
    return None if np.datetime64(last.date, "D") < on and last.stage < code else last


def _alike(seen: float, code: float) -> bool:
    """Whether two BBCH codes are one stage to the eye: near each other, no first bud or flower between."""
    firsts = (scale.BBCH["bud"], scale.BBCH["first_flower"])
    near = abs(seen - code) < NEAR_STAGES and all((seen < first) == (code < first) for first in firsts)
    return near or scale.stage_name(seen) == scale.stage_name(code)
