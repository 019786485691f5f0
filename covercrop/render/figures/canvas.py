"""What the charts have in common: colours, sizes, time from left to right."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.extras import need
from covercrop.render.figures.svg import png
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan

INK = "#2a2822"
MUTED = "#645e50"
RULE = "#d8d0bd"
PAPER = "#fffdf7"
FAN = "#ddd3bb"
WINDOW = "#9a2850"
WAIT = "#d6992a"
PLANTING = "#339383"

#: What each colour stands for; they can be told apart without colour.
COLOURS = {"past years": FAN, "window": WINDOW, "wait": WAIT, "planting": PLANTING}

WIDTH = 344.0  # points, as the pixels of a small phone
EDGE = 6.0
TEXT = 12.0
SMALL = 11.0

#: In a notebook, in pixels of the page an inch.
SHOWN_DPI = 96

#: Paper behind words that lines run through.
BEHIND = {"facecolor": PAPER, "linewidth": 0, "pad": 0.5}


def blank_figure(height: float) -> Figure:
    """A figure as wide as a small phone, so many points high."""
    figure: Figure = _chart()(figsize=(WIDTH / 72, height / 72), facecolor=PAPER)
    return figure


@cache
def _chart() -> Any:
    """The class of the figures; made when first needed, since matplotlib is optional and slow to import."""

    class Chart(need("matplotlib.figure").Figure):  # type: ignore[misc]
        """A figure that a notebook shows, whatever backend is set."""

        def _repr_png_(self) -> tuple[bytes, dict[str, float]]:
            width, height = self.get_size_inches() * SHOWN_DPI
            return png(self), {"width": width, "height": height}

    return Chart


def axes_at(figure: Figure, left: float, bottom: float, width: float, height: float, first: float, last: float) -> Axes:
    """Axes placed in points, with days from left to right and nothing drawn yet."""
    wide, high = figure.get_size_inches() * 72
    axes = figure.add_axes((left / wide, bottom / high, width / wide, height / high))
    axes.set_xlim(first, last)
    axes.set_axis_off()
    return axes


def at(day: np.datetime64) -> float:
    """A day as the number of its morning, as matplotlib counts them."""
    return float(day.astype("datetime64[D]").astype(np.int64))


def _month_starts(first: float, last: float) -> list[float]:
    start, end = (np.datetime64(int(day), "D").astype("datetime64[M]") for day in (first, last))
    return [at(month.astype("datetime64[D]")) for month in np.arange(start, end + np.timedelta64(2, "M"))]


def month_lines(axes: Axes, first: float, last: float) -> None:
    """Lines between the months."""
    for start in _month_starts(first, last):
        if first < start < last:
            axes.axvline(start, color=RULE, linewidth=0.7, zorder=0)


def months(axes: Axes, first: float, last: float) -> None:
    """Lines between the months, and their names below."""
    month_lines(axes, first, last)
    starts = _month_starts(first, last)
    for start, end in pairwise(starts):
        left, right = max(start, first), min(end, last)
        if right - left >= (last - first) * 0.06:
            under(axes, (left + right) / 2, phrases.MONTHS[int(str(np.datetime64(int(start), "D"))[5:7]) - 1])


def day_ticks(axes: Axes, first: float, last: float) -> None:
    """Every Monday, or every other, with its date below."""
    monday = first + (-(first + 3)) % 7  # 1 January 1970 was a Thursday
    step = 7 * int(np.ceil((last - first) * 46 / 7 / (axes.get_position().width * WIDTH)))
    for day in np.arange(monday, last + 1, max(step, 7)):
        axes.axvline(day, color=RULE, linewidth=0.7, zorder=0)
        share = (day - axes.get_xlim()[0]) / (axes.get_xlim()[1] - axes.get_xlim()[0])
        under(axes, day, phrases.day_month(np.datetime64(int(day), "D")), ha="left" if share < 0.05 else "center")


def under(axes: Axes, day: float, text: str, ha: str = "center") -> None:
    """Words below the axes, at a day."""
    axes.annotate(
        text,
        (day, 0),
        xycoords=("data", "axes fraction"),
        xytext=(0, -4),
        textcoords="offset points",
        ha=ha,
        va="top",
        fontsize=SMALL,
        color=MUTED,
        annotation_clip=False,
    )


def over(axes: Axes, day: float, text: str, ha: str = "center", colour: str = MUTED) -> None:
    """Words above the axes, at a day."""
    axes.annotate(
        text,
        (day, 1),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha=ha,
        va="bottom",
        fontsize=SMALL,
        color=colour,
        annotation_clip=False,
    )


def today(axes: Axes, plan: Plan, *, label: bool = False) -> None:
    """A line through today, with its word."""
    first, last = axes.get_xlim()
    day = at(plan.on)
    if not first <= day <= last:
        return
    axes.axvline(day, color=INK, linewidth=1)
    if label:
        share = (day - first) / (last - first)
        side = "left" if share < 0.1 else "right" if share > 0.9 else "center"
        over(axes, day, f"today {phrases.day_month(plan.on)}", ha=side, colour=INK)
