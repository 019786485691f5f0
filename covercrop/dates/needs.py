"""What each of many fields needs next, and which of them first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.dates.agenda import visits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.season.plan import Plan

#: A task is due if its time begins within so many days, today among them.
WEEK = 7

#: Of tasks that begin on one day, those of the first state come first.
_URGENCY = (
    "seed-risk",
    "closing",
    "winter-killed",
    "in-window",
    "plantable",
    "budding",
    "turned-under",
    "growing",
    "planted",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a field needs next.

    Attributes
    ----------
    what : {"end", "scout", "look", "plant", "harvest", "wait"}
        End the cover, scout it this week, look whether it lives, plant,
        harvest, or wait for a day that cannot be named yet.
    start, end : numpy.datetime64[D]
        First and last day of its time; ``NaT`` where it is not known.
    """

    what: str
    start: np.datetime64
    end: np.datetime64


def next_task(plan: Plan) -> Task:
    """What a field needs next.

    Parameters
    ----------
    plan : Plan
    """
    start: np.datetime64
    end: np.datetime64
    on, never = plan.on, np.datetime64("NaT", "D")
    best, last = plan.turn_under, plan.dates["latest_planting"].early
    match plan.state:
        case "winter-killed":
            what, start, end = "look", on, never
        case "seed-risk":
            what, start, end = "end", on, on
        case "closing" | "in-window":
            start = on if best is None else max(best.start, on)
            what, end = "end", max(start, plan.dates["window_close"].early)
        case "turned-under":
            what, start, end = "plant", plan.safe_planting, last
        case "plantable":
            what, start, end = "plant", on, last
        case "planted":
            what, start, end = "harvest", plan.ripe, never
        case _ if (visit := _visit(plan)) is not None:
            what, start, end = "scout", visit, visit
        case _ if best is not None:
            what, start, end = "end", max(best.start, on), best.end
        case _:
            what, start, end = "wait", never, never
    return Task(what=what, start=start, end=end)


def _visit(plan: Plan) -> np.datetime64 | None:
    """The day of a visit to scout within the week and before the best week of ending the cover."""
    best = plan.turn_under
    if best is None:
        return None
    before = min(plan.on + np.timedelta64(WEEK, "D"), best.start)
    return next((event.first for event in visits(plan) if plan.on <= event.first < before), None)


def is_due(plan: Plan) -> bool:
    """Whether a field needs something within the week."""
    return bool(next_task(plan).start < plan.on + np.timedelta64(WEEK, "D"))  # never true of NaT


def by_need(plans: Sequence[Plan]) -> list[Plan]:
    """Fields in the order in which they need something, those without a date last.

    Parameters
    ----------
    plans : sequence of Plan
    """

    def need(plan: Plan) -> tuple[bool, str, int, bool, str, str]:
        task = next_task(plan)
        no_start, no_end = bool(np.isnat(task.start)), bool(np.isnat(task.end))
        urgency = _URGENCY.index(plan.state)
        return no_start, str(task.start), urgency, no_end, str(task.end), plan.field.name

    return sorted(plans, key=need)
