"""Line drawings of the stages that a note tells of: buds, first flowers, a quarter and half in flower, swelling pods.

Drawn by the numbers below, for a head (clovers) and for a raceme (vetches, pea, faba, lupin).  Shares are drawn as
they are counted: plants in flower among four.  Only lines and two fills are used, so that they copy and print in grey.
"""

from __future__ import annotations

from math import cos, radians, sin, sqrt
from xml.etree import ElementTree

from covercrop.render.figures.svg import FONTS, SVG
from covercrop.render.words.stages import STAGES

_INK, _PAPER, _OPEN, _LEAF = "#2a2822", "#fffdf7", "#9a2850", "#e4e6d2"

#: A drawing is so wide and high, and its lines so thick.
_WIDE, _HIGH, _LINE = 120.0, 150.0, 1.3

#: Of four plants, which are in flower.
_AMONG = {"quarter": (1,), "half": (0, 2)}

Point = tuple[float, float]


def stage_drawing(form: str, stage: str, prefix: str) -> str:
    """One stage as SVG text without style attributes, with a text alternative.

    Parameters
    ----------
    form : str
        One of :data:`covercrop.parameters.traits.INFLORESCENCES`.
    stage : str
        One of :data:`covercrop.render.words.stages.STAGES`.
    prefix : str
        Begins every id, so that many can stand on one page.
    """
    named = STAGES[stage]
    title, told = f"{prefix}-title", f"{prefix}-told"
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": SVG, "viewBox": f"0 0 {_WIDE:g} {_HIGH:g}", "role": "img", "aria-labelledby": f"{title} {told}",
            "font-family": FONTS, "fill": "none", "stroke": _INK, "stroke-width": f"{_LINE}",
            "stroke-linejoin": "round", "stroke-linecap": "round",
        },
    )  # fmt: skip
    ElementTree.SubElement(root, "title", {"id": title}).text = f"{named.title}, {form}"
    ElementTree.SubElement(root, "desc", {"id": told}).text = named.told[form]
    draw = _head if form == "head" else _raceme
    if stage not in _AMONG:
        draw(root, stage)
        return ElementTree.tostring(root, encoding="unicode")
    scale = {"head": 0.42, "raceme": 0.54}[form]
    for place in range(4):
        middle, ground = 17 + 28.7 * place, 132
        where = f"translate({middle - 60 * scale:.1f} {ground - 148 * scale - 9 * (place % 2):.1f}) scale({scale})"
        group = ElementTree.SubElement(root, "g", {"transform": where, "stroke-width": f"{_LINE / scale:.2f}"})
        draw(group, "flowering" if place in _AMONG[stage] else "bud", leaves=False)
        _line(group, (60, 140), (60, 148 + 9 / scale * (place % 2)))
    _line(root, (2, ground), (118, ground))
    return ElementTree.tostring(root, encoding="unicode")


# --- a head ---------------------------------------------------------------------------------------


def _head(group: ElementTree.Element, stage: str, *, leaves: bool = True) -> None:
    """A clover: a stem, two leaves of three leaflets, and florets around a head that opens from below."""
    rows, half_wide, half_high = (4, 13.0, 15.0) if stage == "bud" else (6, 19.0, 28.0)
    middle = 84 - half_high
    _line(group, (60, 148), (60, middle))
    if leaves:
        for end, turn, start in (((34, 116), -60, 128), ((88, 104), 60, 118)):
            _curve(group, (60, start), ((60 + end[0]) / 2, end[1] + 9), end)
            _trefoil(group, end, turn)
    core = {"cx": "60", "cy": f"{middle:g}", "rx": f"{half_wide * 0.8:.1f}", "ry": f"{half_high * 0.9:.1f}"}
    ElementTree.SubElement(group, "ellipse", {**core, "fill": _OPEN if stage == "flowering" else _LEAF})
    for row in range(rows):  # from the top down, so that the lower ones lie in front
        height = 1 - 2 * (row + 0.5) / rows
        reach = half_wide * sqrt(1 - height**2)
        count = max(2, round(2 * reach / 8)) + 1
        for place in range(count):
            side = -1 + 2 * place / (count - 1)
            at = (60 + side * reach * 0.8, middle + 5 - height * half_high * 0.9)
            _floret(group, at, side, rows - 1 - row, stage)
    if stage == "pods":  # one of them, taken out: the cup, and the seed that swells in it
        _petal(group, (99, 44), 30, 9, 180, _PAPER)
        _dot(group, (99, 42), 10, _LEAF)
        _dot(group, (99, 42), 5.5, _PAPER)
        _line(group, (80, 42), (88, 42))


def _floret(group: ElementTree.Element, at: Point, side: float, below: int, stage: str) -> None:
    """One floret: closed, open, or withered and hanging."""
    if stage == "pods":
        _petal(group, at, 17, 5.5, 180 - side * 62, _PAPER)
    elif stage == "flowering" or (stage == "first" and below == 0):
        _petal(group, at, 20, 9.5, side * 74, _OPEN)
    else:
        _petal(group, at, 11, 8, side * 45, _LEAF)


def _trefoil(group: ElementTree.Element, at: Point, towards: float) -> None:
    for turn in (-62, 62, 0):
        _petal(group, at, 19, 13, towards + turn, _LEAF)


# --- a raceme -------------------------------------------------------------------------------------


def _raceme(group: ElementTree.Element, stage: str, *, leaves: bool = True) -> None:
    """A vetch or pea: a stem with a leaf of pairs, and flowers along a stalk that open from below."""
    if leaves:
        _curve(group, (40, 148), (42, 112), (36, 78))
        _pinnate(group, (41, 124), (96, 128), 4)
        _curve(group, (40, 110), (58, 84), (64, 14))
    else:
        _curve(group, (60, 148), (58, 90), (64, 14))
    count = 6
    for place in range(count):
        share = place / (count - 1)
        at = (61.5 + 2.5 * share - 4 * (1 - share), 76 - 58 * share)
        side = 1 if place % 2 else -1
        size = 1 - 0.45 * share
        if stage == "pods" and place < 4:
            _pod(group, at, side, 1 - 0.12 * place)
        elif stage == "pods":
            _petal(group, at, 10 * size, 3, side * 130, _PAPER)
        elif (stage == "flowering" and place < 5) or (stage == "first" and place == 0):
            _pea_flower(group, at, side, max(size, 0.75))
        else:
            _petal(group, at, 17 * size, 7.5 * size, side * 38, _LEAF)


def _pea_flower(group: ElementTree.Element, at: Point, side: int, size: float) -> None:
    """A flower from the side: the upright petal, the two that it holds, and the cup that all stand in."""
    x, y = at
    end = (x + side * 10 * size, y - 5 * size)
    _petal(group, end, 19 * size, 15 * size, side * 8, _OPEN)
    _petal(group, end, 17 * size, 9 * size, side * 72, _PAPER)
    _petal(group, at, 12 * size, 6 * size, side * 62, _LEAF)


def _pod(group: ElementTree.Element, at: Point, side: int, size: float) -> None:
    """A flat pod that hangs out, with the seeds as bumps in it."""
    turn = 118 * side
    _petal(group, at, 34 * size, 11 * size, turn, _LEAF)
    for share in (0.3, 0.5, 0.7):
        out = 34 * size * share
        _dot(group, (at[0] + out * sin(radians(turn)), at[1] - out * cos(radians(turn))), 2.6 * size, _PAPER)


def _pinnate(group: ElementTree.Element, start: Point, end: Point, pairs: int) -> None:
    """A leaf of pairs along a midrib that ends in a tendril."""
    _curve(group, start, ((start[0] + end[0]) / 2, start[1] - 8), end)
    for pair in range(pairs):
        share = (pair + 0.7) / (pairs + 0.4)
        at = (start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share - 14 * share * (1 - share))
        _petal(group, at, 13, 6.5, 20, _LEAF)
        _petal(group, at, 13, 6.5, 155, _LEAF)
    x, y = end
    _curve(group, end, (x + 14, y + 2), (x + 12, y + 10))


# --- lines ----------------------------------------------------------------------------------------


def _petal(group: ElementTree.Element, at: Point, long: float, wide: float, turn: float, fill: str) -> None:
    """A drop that starts at a point and leans so many degrees to the right of upright."""
    half, cosine, sine = wide / 2, cos(radians(turn)), sin(radians(turn))

    def turned(*points: Point) -> str:
        moved = (number for x, y in points for number in (x * cosine - y * sine, x * sine + y * cosine))
        return " ".join(f"{round(number, 1):g}" for number in moved).replace(" -", "-")

    out = turned((-half * 1.3, -long * 0.35), (-half, -long), (0, -long))
    back = turned((half, 0), (half * 1.3, long * 0.65), (0, long))
    line = f"M{round(at[0], 1):g} {round(at[1], 1):g}c{out}c{back}z"
    ElementTree.SubElement(group, "path", {"d": line, "fill": fill})


def _dot(group: ElementTree.Element, at: Point, radius: float, fill: str) -> None:
    ElementTree.SubElement(
        group, "circle", {"cx": f"{at[0]:.1f}", "cy": f"{at[1]:.1f}", "r": f"{radius:.1f}", "fill": fill}
    )


def _curve(group: ElementTree.Element, start: Point, by: Point, end: Point) -> None:
    ElementTree.SubElement(
        group, "path", {"d": f"M{start[0]:g} {start[1]:g}Q{by[0]:g} {by[1]:g} {end[0]:g} {end[1]:g}"}
    )


def _line(group: ElementTree.Element, start: Point, end: Point) -> None:
    ElementTree.SubElement(group, "path", {"d": f"M{start[0]:g} {start[1]:g}L{end[0]:g} {end[1]:g}"})
