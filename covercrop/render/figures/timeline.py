"""The seasons of many fields on one line of time, a strip each: window, ending and planting."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.figures.canvas import (
    WIDTH,
    WINDOW,
    at,
    axes_at,
    blank_figure,
    month_lines,
    months,
    today,
)
from covercrop.render.figures.key import PLANTING_WORDS, WINDOW_WORDS, dot, draw_key, hump, key_height, now, shades
from covercrop.render.figures.spans import draw_ending, draw_planting, draw_window, window_shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan

#: Points: the strip of a field, and the names of the months above them all.
_STRIP, _MONTHS = 26.0, 24.0

#: Days of what is over that are still shown, and at the ends.
_BEFORE, _BESIDE = 28.0, 5.0

_KEY = (
    ((hump(WINDOW), WINDOW_WORDS),),
    ((dot, "day of ending it"), (now, "today")),
    ((shades, PLANTING_WORDS),),
)


def timeline_ends(plans: Sequence[Plan]) -> tuple[float, float]:
    """The days that the strips of some plans reach from and to.

    Parameters
    ----------
    plans : sequence of Plan
    """
    on = at(plans[0].on)
    marks = [on, on + _BEFORE]
    for plan in plans:
        shown, planting = window_shown(plan), plan.planting
        days = (plan.window.ending_day, *shown[:1], *shown[-1:], planting.earliest.early, planting.earliest.late)
        marks += [at(day) for day in (*days, planting.latest.median) if not np.isnat(day)]
    return max(min(marks), on - _BEFORE) - _BESIDE, max(marks) + _BESIDE


def timeline_axis(ends: tuple[float, float]) -> Figure:
    """The months above the strips."""
    figure = blank_figure(_MONTHS)
    months(axes_at(figure, 0, _MONTHS, WIDTH, 1, *ends), *ends)
    return figure


def timeline_strips(plans: Sequence[Plan], ends: tuple[float, float]) -> Iterator[Figure]:
    """The season of each field between the ends of all: the window as a hump, the ending as a dot, planting as a bar.

    Parameters
    ----------
    plans : sequence of Plan
    ends : tuple of float
        From :func:`timeline_ends`.

    Yields
    ------
    matplotlib.figure.Figure
        One and the same, drawn upon again for each field: making sixty would take longer than drawing on them.
    """
    figure = blank_figure(_STRIP)
    axes = axes_at(figure, 0, 0, WIDTH, _STRIP, *ends)
    axes.set_ylim(-0.1, 1.1)
    for plan in plans:
        for drawn in (*axes.lines, *axes.patches):
            drawn.remove()
        month_lines(axes, *ends)
        draw_window(axes, plan, 0, 1)
        draw_planting(axes, plan, 0.5)
        draw_ending(axes, plan, 0.2)
        today(axes, plan)
        yield figure


def timeline_key() -> Figure:
    """What the marks of the strips mean."""
    figure = blank_figure(key_height(_KEY))
    draw_key(figure, _KEY)
    return figure
