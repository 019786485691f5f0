"""Spans of days that more than one picture shows: the window, the wait for what holds planting back, planting."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.render.figures.canvas import (
    EDGES,
    HALF,
    INK,
    NINE,
    PLANTING,
    WAIT,
    WINDOW,
    area,
    at,
    draw,
    rectangle,
)
from covercrop.render.figures.key import ENDING, LIKELY

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from covercrop.base.records import DateRange
    from covercrop.season.plan import Plan

#: Below this chance a day is left out of the window.
LEAST_DRAWN = 0.01

#: Heights of bars and lines, as shares of their row.
_THICK, _WAITING = 0.66, 0.44


def window_shown(plan: Plan) -> np.ndarray[Any, np.dtype[np.datetime64]]:
    """Days with a chance that the window is open, the first to the last; none once the cover is ended or dead."""
    days, likely = plan.window.days, np.flatnonzero(plan.window.chances >= LEAST_DRAWN)
    return days[likely[0] : likely[-1] + 1] if plan.window.foretold else days[:0]


def draw_window(axes: Axes, plan: Plan, base: float, height: float) -> None:
    """The chance that the window is open as a hump on a base, its top at a height."""
    shown = window_shown(plan)
    if shown.size:
        odds = plan.window.chances[np.isin(plan.window.days, shown)]
        area(axes, shown.astype(np.float64) + 0.5, base, base + (height - base) * odds, WINDOW)


def draw_ending(axes: Axes, plan: Plan, height: float) -> None:
    """A dot on the day on which the cover is ended, or was, where that is within the axes."""
    first, last = axes.get_xlim()
    day = plan.window.ending_day
    if not np.isnat(day) and first <= at(day) + 0.5 <= last:
        draw(axes, [at(day) + 0.5], [height], **ENDING)


def draw_wait(axes: Axes, plan: Plan, dates: DateRange, row: float, *, binds: bool) -> None:
    """What has to pass before planting: the wait to its likely day, and the interval of that day.

    What is past before the cover is ended is a dot at that day, with nothing to wait for.
    """
    first, last = axes.get_xlim()
    ending = plan.window.ending_day
    begin = first if np.isnat(ending) else at(ending)
    likely = last if np.isnat(dates.median) else at(dates.median)
    if likely > begin:
        rectangle(axes, begin, row - _WAITING / 2, likely - begin, _WAITING, INK if binds else WAIT)
    early, late = (last if np.isnat(day) else max(at(day), begin) for day in (dates.early, dates.late))
    draw(axes, [early, late], [row, row], color=INK, linewidth=1.4, solid_capstyle="butt")
    if not np.isnat(dates.median):
        draw(axes, [max(likely, begin)], [row], **LIKELY)


def draw_planting(axes: Axes, plan: Plan, row: float) -> None:
    """From when planting is safe in five, eight and nine years of ten, to when it no longer ripens.

    The thin line begins where it is safe in one year of ten, and ends where the crop ripens in half of them.
    """
    _, last = axes.get_xlim()
    dates, latest = plan.planting.earliest, plan.planting.latest
    if np.isnat(dates.early):
        return
    ripens_half, ripens = (last if np.isnat(day) else at(day) for day in (latest.median, latest.early))
    draw(axes, [at(dates.early), ripens_half], [row, row], color=EDGES[HALF], linewidth=1.6, solid_capstyle="butt")
    begins = [
        (at(day), colour)
        for day, colour in ((dates.median, HALF), (plan.planting.safe, PLANTING), (dates.late, NINE))
        if not np.isnat(day) and at(day) < ripens
    ]
    if begins:
        ends = [*(day for day, _ in begins[1:]), ripens]
        for (day, colour), end in zip(begins, ends, strict=True):
            rectangle(axes, day, row - _THICK / 2, end - day, _THICK, colour)
    if not np.isnat(plan.planting.safe):
        safe = at(plan.planting.safe)
        draw(axes, [safe, safe], [row - 0.5, row + 0.5], color=INK, linewidth=2.4, solid_capstyle="butt")
