"""The charts of chances by day: of the window, and of what each day of ending the cover promises."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.figures.canvas import (
    EDGE,
    FAINT,
    FAN,
    INK,
    MUTED,
    PLANTING,
    WIDTH,
    WINDOW,
    area,
    at,
    axes_at,
    blank_figure,
    day_ticks,
    draw,
    over,
    rectangle,
    scale,
    today,
)
from covercrop.render.figures.key import ENDING, WINDOW_WORDS, dot, draw_key, filled, key_height, line
from covercrop.render.figures.spans import LEAST_DRAWN, window_shown
from covercrop.render.words import answer, phrases

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan

#: Points: room for the percentages, the words above, the chances, and the days.
_SHARES, _HEAD, _PANEL, _DAYS = 48.0, 22.0, 120.0, 23.0


def window_chart(plan: Plan) -> Figure | None:
    """The chance that the window is open on each day; None where there is none to speak of, or no more.

    Parameters
    ----------
    plan : Plan
    """
    days = window_shown(plan)
    if not days.size:
        return None
    odds = plan.window.chances[np.isin(plan.window.days, days)]
    first, last = at(days[0]), at(days[-1])
    if first - 21 <= at(plan.on) <= last:
        first = min(first, at(plan.on) - 1)
    best = plan.window.best
    week = [] if best is None else [[(filled(WINDOW), f"best week, {phrases.span(best.start, best.end)}")]]
    key = [[(filled(FAINT), WINDOW_WORDS)], *week]
    figure, axes = _panel(first - 1, last + 2, key_height(key))
    chosen = np.zeros(days.size, bool) if best is None else (days >= best.start) & (days <= best.end)
    for day, chance, is_best in zip(days.astype(float) + 0.5, odds, chosen, strict=True):
        rectangle(axes, day - 0.8 / 2, 0, 0.8, chance, WINDOW if is_best else FAINT)
    today(axes, plan, label=True)
    day_ticks(axes, first, last)
    draw_key(figure, key)
    return figure


def _panel(first: float, last: float, foot: float) -> tuple[Figure, Axes]:
    """A figure with axes of chances over room for a key."""
    figure = blank_figure(_HEAD + _PANEL + _DAYS + foot)
    axes = axes_at(figure, EDGE, foot + _DAYS, WIDTH - EDGE - _SHARES, _PANEL, first, last)
    axes.set_ylim(0, 1.04)
    scale(axes, (0, 0.5, 1), "{:.0%}")
    return figure, axes


#: The wants that are drawn, with how each is named and drawn; what always holds is left out.
_WANTS = (
    ("killed", "killed", MUTED, (0, (1, 1.5))),
    ("seed_free", "no seed", INK, (0, (5, 2))),
    ("bloom", "in bloom", WINDOW, "solid"),
    ("in_time", "crop in time", PLANTING, (0, (5, 1.5, 1, 1.5))),
)


def endings_chart(plan: Plan) -> Figure | None:
    """The chance of each want, and of all of them, by the day of ending; None where there is nothing to choose.

    Parameters
    ----------
    plan : Plan
    """
    wants, best, days = plan.window.wants, plan.window.best, window_shown(plan)
    if wants is None or best is None or not days.size:
        return None
    first, last = min(at(plan.on), at(best.date)) - 2, at(days[-1]) + 1
    shown = (plan.window.days.astype(float) >= max(first, at(plan.on))) & (plan.window.days.astype(float) <= last)
    along = plan.window.days[shown].astype(float) + 0.5
    lines = [
        (chance, label, colour, dashes)
        for name, label, colour, dashes in _WANTS
        for chance in (getattr(wants, name)[shown],)
        if chance.min() < 1 - LEAST_DRAWN
    ]
    entries = [
        (filled(FAN), "all together"),
        *((line(colour, 1.8, dashes), label) for _, label, colour, dashes in lines),
        (dot, "best day"),
    ]
    key = [entries[place : place + 2] for place in range(0, len(entries), 2)]
    figure, axes = _panel(first, last + 1, key_height(key))
    area(axes, along, 0, wants.together[shown], FAN, label="everything works", zorder=1)
    for chance, label, colour, dashes in lines:
        draw(axes, along, chance, color=colour, linewidth=1.8, linestyle=dashes, label=label, zorder=2)
    middle = at(best.date) + 0.5
    draw(axes, [middle, middle], [0, 1.04], color=INK, linewidth=1.2, zorder=3)
    draw(axes, [middle], [best.together], **(ENDING | {"zorder": 4}))
    over(axes, middle, f"{answer.to_end(plan)} {phrases.day_month(best.date)}", colour=INK, weight="bold")
    today(axes, plan)
    day_ticks(axes, first, last)
    draw_key(figure, key)
    return figure
