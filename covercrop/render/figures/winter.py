"""The chart of a winter: the snow, what the stand felt under it, and what it could stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.base.arrays import Array
from covercrop.render.figures.canvas import (
    EDGE,
    FAINT,
    INK,
    MUTED,
    SNOW,
    WIDTH,
    WINDOW,
    area,
    at,
    axes_at,
    blank_figure,
    draw,
    month_lines,
    months,
    scale,
    ticks,
    today,
)
from covercrop.render.figures.key import Key, dot, draw_key, filled, key_height, line
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan

#: Points: room for the degrees, the words above, both panels, and the months between them.
_DEGREES, _HEAD, _PANEL, _MONTHS, _SNOW = 48.0, 22.0, 130.0, 24.0, 44.0

_DASHES = (0, (4, 2))


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
    felt, stands = (units.fahrenheit_from_celsius(each) if us else each for each in (winter.felt, winter.stands))
    killed = bool((felt <= stands).any())
    key = _key(plan, killed=killed, us=us)
    foot = key_height(key) + EDGE
    figure = blank_figure(_HEAD + _PANEL + _MONTHS + _SNOW + foot)
    first, last = at(winter.days[up[0]]), at(winter.days[-1]) + 1
    days = winter.days.astype(float) + 0.5
    wide = WIDTH - EDGE - _DEGREES
    above = axes_at(figure, EDGE, foot + _SNOW + _MONTHS, wide, _PANEL, first, last)
    months(above, first, last)
    _felt(above, plan, days, felt, stands, us=us)
    below = axes_at(figure, EDGE, foot, wide, _SNOW, first, last)
    month_lines(below, first, last)
    _lying(below, days, winter.snow, us=us)
    today(below, plan)
    today(above, plan, label=True)
    draw_key(figure, key)
    return figure


def _key(plan: Plan, *, killed: bool, us: bool) -> Key:
    """What the marks mean, of those that are drawn."""
    day = phrases.day_month(plan.winter.hardest)
    unit, depth = ("°F", "in") if us else ("°C", "cm")
    return [
        [(line(INK, 1.1), f"felt by the stand, {unit}")],
        [(line(WINDOW, 1.6, _DASHES), "where half die")] + ([(filled(FAINT), "colder still")] if killed else []),
        [(dot, f"hardest, {day}"), (filled(SNOW), f"snow, {depth}")],
    ]


def _felt(axes: Axes, plan: Plan, days: Array, felt: Array, stands: Array, *, us: bool) -> None:
    """The two lines, and the day on which they came nearest to each other."""
    lowest = min(float(np.nanmin(felt)), float(np.nanmin(stands)))
    zero, step = (32.0, 20.0) if us else (0.0, 10.0)
    axes.set_ylim(lowest - step / 2, zero + step)
    scale(axes, ticks(*axes.get_ylim()), "{:.0f}°")
    for cold in np.split(np.arange(days.size), np.flatnonzero(np.diff(felt <= stands)) + 1):
        if felt[cold[0]] <= stands[cold[0]]:
            area(axes, days[cold], felt[cold], stands[cold], FAINT)
    draw(axes, axes.get_xlim(), [zero, zero], color=MUTED, linewidth=0.8, zorder=0)
    draw(axes, days, stands, color=WINDOW, linewidth=1.6, linestyle=_DASHES)
    draw(axes, days, felt, color=INK, linewidth=1.1)
    hardest = int(np.flatnonzero(plan.winter.days == plan.winter.hardest)[0])
    draw(axes, [days[hardest]], [felt[hardest]], marker="o", markersize=8, color=INK, linestyle="none")


def _lying(axes: Axes, days: Array, snow: Array, *, us: bool) -> None:
    """The depth of the snow."""
    per, step = (1 / (units.M_PER_IN * 1000), 4.0) if us else (0.1, 10.0)
    depth = np.nan_to_num(snow * per)
    axes.set_ylim(0, max(float(depth.max()), step) * 1.25)
    area(axes, days, 0, depth, SNOW)
    draw(axes, axes.get_xlim(), [0, 0], color=MUTED, linewidth=0.8)
    scale(axes, [step], "{:.0f}")
