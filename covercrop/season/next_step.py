"""What a field needs next, and the days on which it is scouted before its window opens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from covercrop.season.planting_part import PlantingPart
    from covercrop.season.stand_part import StandPart
    from covercrop.season.window_part import WindowPart

#: A visit is the next step if it lies within so many days, today among them.
WEEK = 7

#: Days between two visits before the window opens, and the most visits.
SCOUT_EVERY = 7
MOST_VISITS = 8

#: End the cover; scout it; look whether it lives; plant; harvest; wait for a day that cannot be named yet.
ACTIONS = ("end", "scout", "look", "plant", "harvest", "wait")

#: What there is to be seen on a visit.
LOOK_FOR = ("buds", "first-flowers", "bloom")

_NEVER = np.datetime64("NaT", "D")


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """What a field needs next.

    Attributes
    ----------
    action : str
        One of :data:`ACTIONS`.
    start, end : numpy.datetime64[D]
        First and last day of its time; ``NaT`` where it is not known.
    method : str or None
        How the cover is to be ended; None where that is not the step.
    """

    action: str
    start: np.datetime64 = _NEVER
    end: np.datetime64 = _NEVER
    method: str | None = None


def next_step(state: str, on: np.datetime64, stand: StandPart, window: WindowPart, planting: PlantingPart) -> NextStep:
    """What a field needs next.

    Parameters
    ----------
    state : str
        One of :data:`covercrop.season.plan.STATES`.
    on : numpy.datetime64[D]
        The day of the answer.
    stand, window, planting
        The parts of its plan.
    """
    start: np.datetime64
    end: np.datetime64
    best, last = window.best, planting.latest.early
    match state:
        case "winter-killed":
            action, start, end = "look", on, _NEVER
        case "seed-risk":
            action, start, end = "end", on, on
        case "closing" | "in-window":
            start = on if best is None else max(best.start, on)
            action, end = "end", max(start, window.closes.early)
        case "turned-under":
            action, start, end = "plant", planting.safe, last
        case "plantable":
            action, start, end = "plant", on, last
        case "planted":
            action, start, end = "harvest", planting.ripe.median, _NEVER
        case _ if (visit := _visit(on, stand, window)) is not None:
            action, start, end = "scout", visit, visit
        case _ if best is not None:
            action, start, end = "end", max(best.start, on), best.end
        case _:
            action, start, end = "wait", _NEVER, _NEVER
    method = ending_method(state, window) if action == "end" else None
    return NextStep(action=action, start=start, end=end, method=method)


def ending_method(state: str, window: WindowPart) -> str:
    """How the cover is to be ended: at once by turning under, where seed is about."""
    return "turn-under" if state == "seed-risk" else window.method


def work_ahead(
    on: np.datetime64, window: WindowPart, planting: PlantingPart, *, ended: bool, planted: bool
) -> NextStep | None:
    """The next work with a likely day: ending the cover on its best day, or planting; None where there is none.

    Visits to scout are passed over, and what is overdue has no day of its own.

    Parameters
    ----------
    on : numpy.datetime64[D]
        The day of the answer.
    window, planting
        The parts of its plan.
    ended, planted : bool
        Whether the cover is ended, and whether the crop is in the ground.
    """
    if window.best is not None:
        day = window.best.date
        return NextStep(action="end", start=day, end=day, method=window.method)
    likely = planting.earliest.median
    if ended and not planted and not np.isnat(likely):
        return NextStep(action="plant", start=max(likely, on))
    return None


def visits(stand: StandPart, window: WindowPart) -> Iterator[tuple[int, np.datetime64]]:
    """A visit a week before the window opens, from when buds are likely to be seen; one at the least.

    Yields
    ------
    tuple of (int, numpy.datetime64[D])
        The weeks before the window opens, and the day.
    """
    opens, buds = window.opens.median, stand.dates["bud"].median
    if np.isnat(opens) or np.isnat(buds):
        return
    weeks = int((opens - buds).astype(int)) // SCOUT_EVERY
    for number in range(min(max(weeks, 1), MOST_VISITS), 0, -1):
        yield number, opens - np.timedelta64(SCOUT_EVERY * number, "D")


def look_for(stand: StandPart, day: np.datetime64, weeks: int) -> str:
    """What there is to be seen on a visit so many weeks before the window opens: one of :data:`LOOK_FOR`."""
    if day >= stand.dates["first_flower"].median:
        return "bloom"
    return "first-flowers" if weeks == 1 else "buds"


def _visit(on: np.datetime64, stand: StandPart, window: WindowPart) -> np.datetime64 | None:
    """The day of a visit to scout within the week and before the best week of ending the cover."""
    if window.best is None:
        return None
    before = min(on + np.timedelta64(WEEK, "D"), window.best.start)
    return next((day for _, day in visits(stand, window) if on <= day < before), None)
