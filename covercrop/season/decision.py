"""On which day the cover is best ended, so that the whole chain works, from killing it to the ripe crop.

The decision in plain order: (1) no day whose chance of leaving seed, or living cover, is more than one in ten, and
where there is none, the day with the least; (2) of the rest, those whose chance that the crop is in time lies within a
tenth of the best that any of them offers; (3) of those, the day on which the window is most surely open, the earliest
of a flat top, since each day is heat for the crop; where bloom is out of reach, the latest, which has more nitrogen.
Where the cover comes first, (3) goes before (2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.season.wants import Chances

#: The most chance of seed, or of a cover that lives on, that is taken where there is a choice.
MOST_RISK = MODELS.decision.most_risk.value

#: How far below the best the chance may lie that the crop is in time.
IN_TIME_WITHIN = MODELS.decision.in_time_within.value

#: Days whose chance lies no further than this below the best are as good as it.
FLAT_TOP = MODELS.decision.flat_top.value

#: What has less of a chance on every day is out of reach.
OUT_OF_REACH = MODELS.decision.out_of_reach.value

#: Days that are as good as the one advised are told of as far as a week goes.
SPELL_DAYS = 7

#: Why a day was chosen: the window is then most surely open; the crop needs it sooner; no bloom is to be had in time;
#: the crop is out of reach; the cover was to come first; there is no day without risk.
WHY = ("window", "crop", "before-bloom", "crop-out-of-reach", "cover-first", "least-risk")


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """The day that is best, as day indexes.

    Attributes
    ----------
    day : int
    first, last : int
        The days around it that are about as good; a week of them at most.
    why : str
        One of :data:`WHY`.
    other : int or None
        The day that would be best for what is given up on this one: that of the window for the crop's sake, or that of
        the crop for the cover's; None where nothing is.
    """

    day: int
    first: int
    last: int
    why: str
    other: int | None = None

    @property
    def given_up(self) -> str | None:
        """What is given up: ``bloom`` or ``crop``; None where nothing is."""
        if self.other is None:
            return None
        return "bloom" if self.why in ("crop", "before-bloom") else "crop"


def decide(
    chances: Chances, may: NDArray[np.bool_], *, cover_first: bool = False, most_risk: float = MOST_RISK
) -> Decision | None:
    """The day on which the cover is best ended.

    Parameters
    ----------
    chances : Chances
        Arrays of shape (day,).
    may : numpy.ndarray of bool, shape (day,)
        The days that are still to come and on which it can be done.
    cover_first : bool
        Whether bloom comes before the crop.
    most_risk : float
        The most chance of seed, or of a cover that lives on, that is taken where there is a choice [1].

    Returns
    -------
    Decision or None
        None where it can be done on no day.
    """
    if not may.any():
        return None
    safe = may & (chances.clean >= 1 - most_risk - 1e-9)
    if not safe.any():
        near = may & (chances.clean >= chances.clean[may].max() - FLAT_TOP)
        return _decision(near, int(np.argmax(near)), "least-risk")
    for_cover = _highest(chances.window, safe)
    for_crop = safe & (chances.in_time >= chances.in_time[safe].max() - IN_TIME_WITHIN)
    out_of_reach = chances.in_time[safe].max() < OUT_OF_REACH
    if cover_first or out_of_reach:
        best = _highest(chances.in_time, for_cover)
        day = _day_of(best, chances.window)
        lost = not out_of_reach and not for_crop[day]
        why = "crop-out-of-reach" if out_of_reach else "cover-first" if lost else "window"
        other = _day_of(_highest(chances.window, for_crop), chances.window) if lost else None
        return _decision(for_cover, day, why, other=other)
    best = _highest(chances.window, for_crop)
    day = _day_of(best, chances.window)
    lost = chances.window[day] < chances.window[safe].max() - IN_TIME_WITHIN
    why = "window" if not lost else "crop" if chances.window[day] >= OUT_OF_REACH else "before-bloom"
    near = for_crop & (chances.window >= chances.window[day] - IN_TIME_WITHIN)
    return _decision(near, day, why, other=int(np.argmax(for_cover)) if lost else None)


def _highest(chance: Array, among: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Those of some days on which a chance is highest, a flat top with its edges."""
    return among & (chance >= chance[among].max() - FLAT_TOP)


def _day_of(best: NDArray[np.bool_], window: Array) -> int:
    """The earliest of the days that are equally good, since each day is heat for the crop; the latest without bloom."""
    places = np.flatnonzero(best)
    return int(places[0] if window[places].max() >= OUT_OF_REACH else places[-1])


def _decision(good: NDArray[np.bool_], day: int, why: str, *, other: int | None = None) -> Decision:
    """A decision, with the stretch of good days around its own."""
    bad = np.flatnonzero(~good)
    first = int(bad[bad < day].max(initial=-1)) + 1
    last = int(bad[bad > day].min(initial=good.size)) - 1
    # A week: as many days after the day as there are, then before it.
    last = min(last, day + SPELL_DAYS - 1)
    return Decision(day=day, first=max(first, last - SPELL_DAYS + 1), last=last, why=why, other=other)
