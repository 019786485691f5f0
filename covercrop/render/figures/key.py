"""The key of a chart: what each of its marks means, drawn small beside its words at the foot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.render.figures.canvas import (
    EDGE,
    HALF,
    INK,
    LINE,
    NINE,
    PAPER,
    PLANTING,
    TEXT,
    WIDTH,
    block,
    kind,
)
from covercrop.render.figures.pen import KEY

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.figure import Figure

#: Points that a mark takes beside its words, and the height of one that is filled.
_MARK, _FILLED = 24.0, 12.0

#: A mark, drawn from a place on, halfway up a line.
Mark = Callable[[float, float], "list[Artist]"]

#: Lines of marks with their words, one or two in a line.
Key = Sequence[Sequence[tuple[Mark, str]]]


def key_height(key: Key) -> float:
    """Points that a key takes at the foot of a chart, with the space around it."""
    return LINE * len(key) + 2 * EDGE


def draw_key(figure: Figure, key: Key) -> None:
    """Draw a key at the foot of a figure, the first line at the top.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    key : sequence of sequence of (mark, words)
    """
    points = kind("transforms", "Affine2D")().scale(1 / 72) + figure.dpi_scale_trans
    for number, line in enumerate(reversed(key)):
        height = EDGE + LINE * (number + 0.5)
        for place, (mark, words) in enumerate(line):
            left = EDGE + place * (WIDTH - EDGE) / 2
            for artist in mark(left, height):
                artist.set(transform=points, gid=KEY)
                figure.add_artist(artist)
            style: dict[str, Any] = {"fontsize": TEXT, "color": INK, "va": "center", "gid": KEY}
            figure.text(left + _MARK + EDGE, height, words, transform=points, **style)


def _line(across: Any, up: Any, **style: Any) -> Artist:
    drawn: Artist = kind("lines", "Line2D")(across, up, **style)
    return drawn


def line(colour: str, width: float = 2.0, dashes: Any = "solid") -> Mark:
    """A piece of a line."""
    return lambda left, up: [
        _line([left, left + _MARK], [up, up], color=colour, linewidth=width, linestyle=dashes, solid_capstyle="butt")
    ]


def filled(colour: str) -> Mark:
    """A piece of an area."""
    return lambda left, up: [block(left, up - _FILLED / 2, _MARK, _FILLED, colour)]


def hump(colour: str) -> Mark:
    """A chance that rises and falls."""
    along = np.linspace(0, 1, 9)
    shape = np.column_stack((along * _MARK, np.sin(np.pi * along) * _FILLED))
    return lambda left, up: [
        kind("patches", "Polygon")(shape + np.array([left, up - _FILLED / 2]), facecolor=colour, linewidth=0)
    ]


def likely(left: float, up: float) -> list[Artist]:
    """A likely day with its whiskers."""
    ends = [left, left + _MARK]
    return [
        _line(ends, [up, up], color=INK, linewidth=1.4, solid_capstyle="butt"),
        _line([left + _MARK / 2], [up], **LIKELY),
    ]


def dot(left: float, up: float) -> list[Artist]:
    """The day of ending the cover."""
    return [_line([left + _MARK / 2], [up], **ENDING)]


def now(left: float, up: float) -> list[Artist]:
    """Today."""
    middle = left + _MARK / 2
    return [_line([middle, middle], [up - LINE / 2, up + LINE / 2], color=INK, linewidth=1)]


def visit(left: float, up: float) -> list[Artist]:
    """A visit."""
    return [_line([left + _MARK / 2], [up], **VISIT)]


def shades(left: float, up: float) -> list[Artist]:
    """How sure planting is: in five, eight and nine years of ten, with the mark of the eight."""
    wide, low = _MARK / 3, up - _FILLED / 2
    blocks = [
        block(left + number * wide, low, wide, _FILLED, colour) for number, colour in enumerate((HALF, PLANTING, NINE))
    ]
    tick = _line([left + wide] * 2, [low - 2, low + _FILLED + 2], color=INK, linewidth=2.4, solid_capstyle="butt")
    return [*blocks, tick]


#: How a likely day, the day of ending the cover and a visit are drawn, here and in the charts.
LIKELY: dict[str, Any] = {
    "marker": "o",
    "color": PAPER,
    "markeredgecolor": INK,
    "markeredgewidth": 1.4,
    "markersize": 6,
    "linestyle": "none",
    "zorder": 2.5,
}
ENDING: dict[str, Any] = LIKELY | {"color": INK, "markeredgecolor": PAPER, "markeredgewidth": 1.0, "markersize": 9}
VISIT: dict[str, Any] = LIKELY | {"marker": "D", "markersize": 5, "markeredgewidth": 1.0}

#: What the marks of a chance, a likely day and of planting say, wherever they stand.
WINDOW_WORDS = "window: in flower, no seed yet"
LIKELY_WORDS = "likely day, and 8 years in 10"
PLANTING_WORDS = "safe to plant, 5, 8, 9 years in 10"
