"""What the charts have in common: colours, sizes, time from left to right.

A chart is as wide as a small phone and its words are as large there as those
of the page around it, so that nothing has to be pushed or pulled; a chart
never puts words where a curve can run.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.extras import need
from covercrop.render.figures.svg import png
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Transform

    from covercrop.season.plan import Plan

INK = "#2a2822"
MUTED = "#645e50"
RULE = "#938a76"
PAPER = "#fffdf7"
FAN = "#ddd3bb"
WINDOW = "#9a2850"
FAINT = "#cfa6b4"  # the window, of days that are not the best
WAIT = "#d6992a"
PLANTING = "#339383"
HALF, NINE = "#b9ddd5", "#14574b"  # planting safe in five and in nine years of ten; in eight it is PLANTING
SNOW = "#9db7c9"

#: The edge of what is too pale to be seen on paper without one.
EDGES = {FAN: "#8c8268", FAINT: WINDOW, WAIT: "#8f6410", HALF: PLANTING, SNOW: "#5d7f98"}

#: What each colour stands for; they can be told apart without colour.
COLOURS = {"past years": FAN, "window": WINDOW, "wait": WAIT, "planting": PLANTING}

#: The same on the dark paper of a screen at night.
DARK = {
    INK: "#ece6d8",
    MUTED: "#b8b09e",
    RULE: "#756d5d",
    PAPER: "#1f1d19",
    FAN: "#4a4436",
    WINDOW: "#e27c9f",
    FAINT: "#5d3342",
    WAIT: "#a97920",
    PLANTING: "#339383",
    HALF: "#234a43",
    NINE: "#8fdccb",
    SNOW: "#3f5464",
    EDGES[FAN]: "#9c9276",
    EDGES[WAIT]: "#f0c26a",
    EDGES[SNOW]: "#8fb0c6",
    "#e4e6d2": "#3a3d2c",  # the leaves of the drawn stages
}

WIDTH = 344.0  # points, as the pixels of a small phone
EDGE = 6.0
TEXT = 16.0  # as large as the words of the page
LINE = 20.0  # from one line of words to the next

#: In a notebook, in pixels of the page an inch.
SHOWN_DPI = 96

#: Paper behind words that lines run through.
BEHIND = {"facecolor": PAPER, "linewidth": 0, "pad": 0.5}


@cache
def kind(module: str, name: str) -> Any:
    """Something of matplotlib, looked up once: matplotlib is optional and slow to import."""
    return getattr(need(f"matplotlib.{module}"), name)


def blank_figure(height: float) -> Figure:
    """A figure as wide as a small phone, so many points high."""
    figure: Figure = _chart()(figsize=(WIDTH / 72, height / 72), facecolor=PAPER)
    return figure


@cache
def _chart() -> Any:
    """The class of the figures; made when first needed, since matplotlib is optional and slow to import."""

    class Chart(kind("figure", "Figure")):  # type: ignore[misc]
        """A figure that a notebook shows, whatever backend is set."""

        def _repr_png_(self) -> tuple[bytes, dict[str, float]]:
            width, height = self.get_size_inches() * SHOWN_DPI
            return png(self), {"width": width, "height": height}

    return Chart


@cache
def _bare_axes() -> Any:
    """Axes without ticks: making those takes longer than all else, and they are never drawn."""

    class Unticked:
        """An axis that sets up its ticks only once somebody asks for them."""

        made = False

        def set_clip_path(self, *given: Any, **named: Any) -> None:
            if self.made:
                super().set_clip_path(*given, **named)  # type: ignore[misc]

        def grid(self, *given: Any, **named: Any) -> None:
            if self.made:
                super().grid(*given, **named)  # type: ignore[misc]

        def set_tick_params(self, *given: Any, **named: Any) -> None:
            if self.made:
                super().set_tick_params(*given, **named)  # type: ignore[misc]

    class Across(Unticked, kind("axis", "XAxis")):  # type: ignore[misc]
        """An axis of days."""

    class Up(Unticked, kind("axis", "YAxis")):  # type: ignore[misc]
        """An axis of heights."""

    class Bare(kind("axes", "Axes")):  # type: ignore[misc]
        """Axes of which only what is put into them is drawn."""

        def _init_axis(self) -> None:
            self.xaxis, self.yaxis = Across(self, clear=False), Up(self, clear=False)

        def _gen_axes_spines(self) -> dict[str, Any]:
            return {}

    return Bare


def axes_at(figure: Figure, left: float, bottom: float, width: float, height: float, first: float, last: float) -> Axes:
    """Axes placed in points, with days from left to right and nothing drawn yet."""
    wide, high = figure.get_size_inches() * 72
    place = (left / wide, bottom / high, width / wide, height / high)
    axes: Axes = figure.add_axes(place, axes_class=_bare_axes())
    axes.xaxis.made = axes.yaxis.made = True  # type: ignore[attr-defined]
    axes.edges = kind("transforms", "TransformedPath")(kind("path", "Path").unit_rectangle(), axes.transAxes)  # type: ignore[attr-defined]
    axes.set_xlim(first, last)
    axes.set_axis_off()
    return axes


def points_across(axes: Axes) -> float:
    """Points that a day takes."""
    first, last = axes.get_xlim()
    return float(axes.get_position().width * WIDTH / (last - first))


def at(day: np.datetime64) -> float:
    """A day as the number of its morning, as matplotlib counts them."""
    return float(day.astype("datetime64[D]").astype(np.int64))


def _month_starts(first: float, last: float) -> list[float]:
    start, end = (np.datetime64(int(day), "D").astype("datetime64[M]") for day in (first, last))
    return [at(month.astype("datetime64[D]")) for month in np.arange(start, end + np.timedelta64(2, "M"))]


def month_lines(axes: Axes, first: float, last: float) -> None:
    """Lines between the months."""
    rules(axes, days=[start for start in _month_starts(first, last) if first < start < last])


def rules(axes: Axes, *, days: Sequence[float] = (), heights: Sequence[float] = ()) -> None:
    """Thin lines to read by, at days or at heights."""
    if not len(days) and not len(heights):
        return
    places, ends = np.repeat(days if len(days) else heights, 3), np.resize([0.0, 1.0, np.nan], 3 * len(days or heights))
    across, up = (places, ends) if len(days) else (ends, places)
    transform = axes.get_xaxis_transform() if len(days) else axes.get_yaxis_transform()
    style = {"color": RULE, "linewidth": 0.4, "zorder": 0}
    draw(axes, across, up, transform=transform, **style)


def put(axes: Axes, artist: Artist) -> None:
    """Put something into axes, cut off at their edges, which are worked out once for all."""
    artist.set_clip_box(axes.bbox)
    artist.set_clip_path(axes.edges)  # type: ignore[attr-defined]
    axes.add_artist(artist)


def words(axes: Axes, across: float, up: float, text: str, *, place: Transform | None = None, **style: Any) -> None:
    """Words in the size and ink of a chart, at a day and a height, or at a place of another kind."""
    given = {"fontsize": TEXT, "color": INK, "va": "center", **style}
    put(axes, kind("text", "Text")(across, up, text, transform=place or axes.transData, clip_on=False, **given))


def draw(axes: Axes, across: Any, up: Any, **style: Any) -> None:
    """Draw what plot() draws, in a third of its time: it looks for limits of the axes, which are set."""
    put(axes, kind("lines", "Line2D")(across, up, **{"label": "_", **style}))


#: Points that the name of a month takes, and a day with its month, with the room beside them.
_MONTH_WIDE, _DAY_WIDE = 36.0, 62.0


def months(axes: Axes, first: float, last: float) -> None:
    """Lines between the months, and the names of as many as there is room for below."""
    month_lines(axes, first, last)
    wide = points_across(axes)
    free = -np.inf
    for start, end in pairwise(_month_starts(first, last)):
        left, right = max(start, first), min(end, last)
        middle = (left + right) / 2
        inside = min(middle - first, last - middle) * wide >= _MONTH_WIDE / 2
        if inside and (right - left) * 2 >= end - start and (middle - free) * wide >= _MONTH_WIDE / 2:
            under(axes, middle, phrases.MONTHS[int(str(np.datetime64(int(start), "D"))[5:7]) - 1])
            free = middle + _MONTH_WIDE / 2 / wide


def day_ticks(axes: Axes, first: float, last: float) -> None:
    """Every Monday, or every so manieth, with its date below where there is room for it."""
    monday = first + (-(first + 3)) % 7  # 1 January 1970 was a Thursday
    wide = points_across(axes)
    step = max(7, 7 * int(np.ceil(_DAY_WIDE / wide / 7)))
    start, end = axes.get_xlim()
    mondays = np.arange(monday, last + 1, step).tolist()
    rules(axes, days=mondays)
    for day in mondays:
        if min(day - start, end - day) * wide >= _DAY_WIDE / 2 - EDGE:
            under(axes, day, phrases.day_month(np.datetime64(int(day), "D")))


def _shifted(axes: Axes, transform: Transform, up: float, right: float = 0.0) -> Transform:
    """A place so many points above and right of another."""
    moved: Transform = kind("transforms", "offset_copy")(transform, axes.figure, right, up, units="points")
    return moved


def under(axes: Axes, day: float, text: str, ha: str = "center") -> None:
    """Words below the axes, at a day."""
    place = _shifted(axes, axes.get_xaxis_transform(), -3)
    words(axes, day, 0, text, place=place, ha=ha, va="top", color=MUTED)


def over(axes: Axes, day: float, text: str, ha: str = "", colour: str = MUTED, weight: str = "normal") -> None:
    """Words above the axes, on a side of a day; or about it, moved aside as far as they must to stay over them."""
    first, last = axes.get_xlim()
    half = _half_wide(text) / points_across(axes)
    side, across = ha or "center", day
    if not ha and day - half < first:
        side, across = "left", first
    elif not ha and day + half > last:
        side, across = "right", last
    place = _shifted(axes, axes.get_xaxis_transform(), 2)
    words(axes, across, 1, text, place=place, ha=side, va="bottom", color=colour, fontweight=weight)


def _half_wide(text: str) -> float:
    """Half the points that words take, at the most."""
    return len(text) * TEXT * 0.32


def today(axes: Axes, plan: Plan, *, label: bool = False) -> None:
    """A line through today, with its word."""
    first, last = axes.get_xlim()
    day = at(plan.on)
    if not first <= day <= last:
        return
    draw(axes, [day, day], [0, 1], transform=axes.get_xaxis_transform(), color=INK, linewidth=1)
    if label:
        over(axes, day, f"today {phrases.day_month(plan.on)}", colour=INK)


def scale(axes: Axes, heights: Sequence[float], form: str) -> None:
    """Lines to read by at some heights, each with its number right of the axes, in the form of a format."""
    place = _shifted(axes, axes.get_yaxis_transform(), 0, 5)
    rules(axes, heights=heights)
    for height in heights:
        words(axes, 1, height, form.format(height), place=place, color=MUTED)


def ticks(low: float, high: float) -> list[float]:
    """A few round heights in a range."""
    found = kind("ticker", "MaxNLocator")(4).tick_values(low, high)
    return [float(each) + 0.0 for each in found if low <= each <= high]  # never a minus before nought


def area(axes: Axes, days: Any, low: Any, high: Any, colour: str, **style: Any) -> None:
    """Fill between a base and a line, or between two, with an edge where the colour is pale."""
    days, low, high = np.asarray(days, dtype=float), np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    back = (days[[-1, 0]], low.repeat(2)) if low.ndim == 0 else (days[::-1], low[::-1])
    around = np.column_stack((np.concatenate((days, back[0])), np.concatenate((high, back[1]))))
    path = kind("path", "Path")(np.vstack((around, around[:1])))
    put(axes, kind("patches", "PathPatch")(path, **_fill(colour), **style))


def _fill(colour: str) -> dict[str, Any]:
    """How an area of a colour is painted."""
    edge = EDGES.get(colour)
    return {"facecolor": colour, "edgecolor": edge or "none", "linewidth": 0.7 if edge else 0}


def rectangle(axes: Axes, left: float, bottom: float, width: float, height: float, colour: str) -> None:
    """Draw what bar() and barh() draw, in a tenth of their time: they look for limits of the axes, which are set."""
    put(axes, block(left, bottom, width, height, colour))


def block(left: float, bottom: float, width: float, height: float, colour: str) -> Artist:
    """A rectangle with an edge where its colour is pale."""
    drawn: Artist = kind("patches", "Rectangle")((left, bottom), width, height, **_fill(colour))
    return drawn
