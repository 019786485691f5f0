"""The chart of a winter: the snow, what the stand felt under it, and what it could stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.base.arrays import Array
from covercrop.render.figures.canvas import (
    BEHIND,
    EDGE,
    INK,
    MUTED,
    PLANTING,
    RULE,
    SMALL,
    TEXT,
    WIDTH,
    WINDOW,
    at,
    axes_at,
    blank_figure,
    month_lines,
    months,
    today,
)
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan

#: The colour of the snow.
_SNOW = "#9db7c9"


def winter_chart(plan: Plan, *, us: bool = False) -> Figure | None:
    """What the stand felt and what it could stand, above the snow; None where it has felt no frost.

    Parameters
    ----------
    plan : Plan
    us : bool
        Show US units.
    """
    winter = plan.winter
    up = np.flatnonzero(~np.isnan(winter.felt))
    if np.isnat(winter.hardest):
        return None
    head, panel, gap, low = 15.0, 130.0, 8.0, 46.0
    height = head + panel + gap + low + EDGE
    first, now = at(winter.days[up[0]]), at(winter.days[-1]) + 1
    last = now + (now - first) / 9  # room for what the lines stand for
    days = winter.days.astype(float) + 0.5
    figure = blank_figure(height)
    above = axes_at(figure, EDGE, EDGE + low + gap, WIDTH - 2 * EDGE, panel, first, last)
    months(above, first, last)
    felt, stands = (units.fahrenheit_from_celsius(each) if us else each for each in (winter.felt, winter.stands))
    _felt(above, plan, days, felt, stands, us=us)
    below = axes_at(figure, EDGE, EDGE, WIDTH - 2 * EDGE, low, first, last)
    month_lines(below, first, last)
    _lying(below, days, winter.snow, us=us)
    today(below, plan)
    today(above, plan, label=True)
    return figure


def _felt(axes: Axes, plan: Plan, days: Array, felt: Array, stands: Array, *, us: bool) -> None:
    """The two lines, and the day on which they came nearest to each other."""
    winter, unit = plan.winter, "°F" if us else "°C"
    lowest = min(float(np.nanmin(felt)), float(np.nanmin(stands)))
    zero, step = (32.0, 10.0) if us else (0.0, 5.0)
    axes.set_ylim(lowest - 2 * step, zero + 3 * step)
    for line in np.arange(np.ceil(lowest / step) * step, zero + 3 * step, step):
        axes.axhline(line, color=RULE, linewidth=0.7, zorder=0)
        axes.text(
            axes.get_xlim()[1],
            line,
            f"{line:.0f} {unit}",
            fontsize=SMALL,
            color=MUTED,
            ha="right",
            va="center",
            bbox=BEHIND,
        )
    axes.fill_between(days, felt, stands, where=felt <= stands, color=WINDOW, alpha=0.35, linewidth=0)
    axes.plot(days, stands, color=WINDOW, linewidth=1.6, linestyle=(0, (4, 2)))
    axes.plot(days, felt, color=INK, linewidth=1.1)
    start = int(np.flatnonzero(~np.isnan(stands))[0])
    axes.text(
        days[start] + 1,
        lowest - 1.9 * step,
        f"- - half of the {plan.cover.common_name} would die",
        fontsize=TEXT,
        color=WINDOW,
        va="bottom",
        bbox=BEHIND,
    )
    axes.text(days[start] + 1, zero + 2.9 * step, "felt by the stand", fontsize=TEXT, color=INK, va="top", bbox=BEHIND)
    hardest = int(np.flatnonzero(winter.days == winter.hardest)[0])
    axes.plot([days[hardest]], [felt[hardest]], marker="o", markersize=5, color=INK)
    axes.annotate(
        phrases.day_month(winter.hardest),
        (days[hardest], felt[hardest]),
        xytext=(0, -6),
        textcoords="offset points",
        fontsize=SMALL,
        color=INK,
        ha="center",
        va="top",
    )


def _lying(axes: Axes, days: Array, snow: Array, *, us: bool) -> None:
    """The depth of the snow."""
    scale, unit, step = (1 / (units.M_PER_IN * 1000), "in", 4.0) if us else (0.1, "cm", 10.0)
    depth = snow * scale
    axes.set_ylim(0, max(float(np.nanmax(depth)), step) * 1.25)
    axes.fill_between(days, depth, 0, step="mid", color=_SNOW, linewidth=0)
    axes.axhline(0, color=PLANTING, linewidth=0.8)
    axes.text(axes.get_xlim()[0], 0.6 * axes.get_ylim()[1], " snow", fontsize=TEXT, color=INK, va="center", bbox=BEHIND)
    axes.axhline(step, color=RULE, linewidth=0.7, zorder=0)
    axes.text(
        axes.get_xlim()[1],
        step,
        f"{step:.0f} {unit}",
        fontsize=SMALL,
        color=MUTED,
        ha="right",
        va="center",
        bbox=BEHIND,
    )
