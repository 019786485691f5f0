"""The charts of a field: the season, the odds of each day, what planting waits for, the winter.

Each is drawn narrow, so that its words can be read on a phone as they are.
Colours only repeat what a shape and a word say; their lightness differs too,
so that they hold in grey print.  The figures are matplotlib's own: change,
combine or save them as you like.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from covercrop.render.figures.canvas import EDGE, INK, TEXT, WIDTH
from covercrop.render.figures.chances import endings_chart, window_chart
from covercrop.render.figures.limits import limits_chart
from covercrop.render.figures.season import season_chart
from covercrop.render.figures.svg import as_text
from covercrop.render.figures.winter import winter_chart
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan

__all__ = [
    "CHARTS",
    "PAGE_CHARTS",
    "endings_chart",
    "limits_chart",
    "season_chart",
    "titled",
    "window_chart",
    "winter_chart",
]


#: The width of a bold letter, as a share of its height, at the most.
_LETTER = 0.6


def titled(figure: Figure, plan: Plan, title: str) -> Figure:
    """Write field, day and title above a figure that goes out on its own."""
    width, height = figure.get_size_inches() * 72
    room = 46.0
    for axes in figure.axes:
        left, bottom, wide, high = axes.get_position().bounds
        axes.set_position((left, bottom * height / (height + room), wide, high * height / (height + room)))
    figure.set_size_inches(width / 72, (height + room) / 72)
    name = as_text(plan.field.name)
    name = name if len(name) <= 40 else f"{name[:39]}…"
    for text, down, weight in (
        (f"{name}, {phrases.day_month(plan.on, 0)}", 19, "bold"),
        (title, 39, "normal"),
    ):
        figure.text(
            EDGE / WIDTH,
            1 - down / (height + room),
            text,
            fontsize=min(TEXT, (WIDTH - 2 * EDGE) / (len(text) * _LETTER)),
            fontweight=weight,
            color=INK,
            va="baseline",
            parse_math=False,
        )
    return figure


#: The charts by the names that a command takes; each is called with the plan and whether to show US units.
CHARTS: dict[str, Callable[[Plan, bool], Figure | None]] = {
    "season": lambda plan, us: season_chart(plan, us=us),
    "window": lambda plan, us: window_chart(plan),
    "endings": lambda plan, us: endings_chart(plan),
    "limits": lambda plan, us: limits_chart(plan, us=us),
    "winter": lambda plan, us: winter_chart(plan, us=us),
}

#: Those of a page: the chances of the endings hold that of the window.
PAGE_CHARTS = ("season", "endings", "limits", "winter")
