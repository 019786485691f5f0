"""The plan of a field drawn to scale: in characters, and as SVG.

In characters a line is some twice as deep as a column is wide, as on most screens.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import numpy as np

from covercrop.base import units
from covercrop.base.errors import visible
from covercrop.beds.lengths import Measures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds.beds import BedPlan
    from covercrop.beds.layout import Layout

#: Ground that a column of characters may stand for, in metres or feet.
_STEPS = tuple(
    round(step * ten, 3) for ten in (0.1, 1.0, 10.0, 100.0, 1000.0) for step in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8)
)

#: How far a drawing may be drawn out so that spots stand evenly, as a power of two; what is as good as equal.
_SKEWED, _ROUND = 0.6, 1 + 1e-6

#: Lines that a drawing of the field may take, and one of its corner; columns of the corner.
MOST_LINES, CORNER_LINES, CORNER_COLUMNS = 15, 7, 44


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The characters of a drawing: corners and sides of the field, what covers it, a bed, a spot."""

    corners: str
    across: str
    down: str
    covered: str
    bed: str
    spot: str


BOX = Marks(corners="┌┐└┘", across="─", down="│", covered="░", bed="·", spot="o")
ASCII = Marks(corners="++++", across="-", down="|", covered=":", bed=".", spot="o")


def text_plan(beds: BedPlan, width: int, marks: Marks = BOX) -> list[str]:
    """Draw a field in characters, with what a column and a line stand for below it.

    Parameters
    ----------
    beds : BedPlan
    width : int
        Columns.
    marks : Marks

    Returns
    -------
    list of str
        The whole field where each of its spots has a place of its own,
        otherwise its corner, open on two sides.  The last one is the legend.
    """
    ground = beds.layout
    foot = units.M_PER_FT if beds.us else 1.0
    steps = [step * foot for step in _STEPS]
    finest = apart = min(ground.spacing, ground.row_spacing / 2)
    if ground.frames:
        finest = min(ground.frame_length / ground.grid[0], ground.bed / ground.grid[1] / 2)
    fitting = [(each, 2 * each) for each in steps if _fits(ground, each, 2 * each, width)]
    even = _even(ground, width)
    # Each spot has a place of its own, or at least each frame; a few frames in a wide field are shown all the same.
    few = fitting[:1] if 0 < ground.frames <= width else []
    whole = [
        each
        for most in (finest, apart)
        for each in (each for each in even if _fits(ground, *each, width))
        if min(each[0], each[1] / 2) <= most * _ROUND
    ] + few
    corner = not whole
    column, line = next(iter([*whole, *even[::-1], (steps[0], 2 * steps[0])]))
    columns, lines = _lines(ground.length, column), _lines(ground.width, line)
    if corner:
        columns, lines = min(columns, CORNER_COLUMNS, width - 2), min(lines, CORNER_LINES)
    cells = np.full((lines, columns), " ")
    _fill(cells, beds, (column, line), marks)
    for x, y in _spots(ground, columns * column, lines * line):
        cells[int(y / line + 1e-9), int(x / column + 1e-9)] = marks.spot
    whole_across, whole_down = columns * column >= ground.length - 1e-6, lines * line >= ground.width - 1e-6
    top, bottom, side = marks.across * columns, marks.corners[2:], marks.down if whole_across else ""
    drawn = [f"{marks.corners[0]}{top}{marks.corners[1] if whole_across else ''}"]
    drawn += [f"{marks.down}{''.join(line)}{side}".rstrip() for line in cells]
    if whole_down:
        drawn.append(f"{bottom[0]}{top}{bottom[1] if whole_across else ''}")
    return [*drawn, _legend(beds, (column, line), marks, corner=corner)]


def _even(ground: Layout, width: int) -> list[tuple[float, float]]:
    """Columns and lines that go into the spacings without a rest, two columns to a spot or more, the finest first."""
    found = [
        (ground.spacing / across, ground.row_spacing / down)
        for across in range(2, width)
        for down in range(1, MOST_LINES + 1)
    ]
    return sorted(each for each in found if abs(log2(each[1] / each[0]) - 1) <= _SKEWED)


def _fits(ground: Layout, column: float, line: float, width: int) -> bool:
    """Whether the whole field can be drawn so."""
    return _lines(ground.length, column) <= width - 2 and _lines(ground.width, line) <= MOST_LINES


def _lines(length: float, each: float) -> int:
    """Columns or lines that a length takes."""
    return max(1, ceil(length / each - 1e-6))


def _spots(ground: Layout, long: float, wide: float) -> list[tuple[float, float]]:
    """Spots within the first stretch of a field."""
    if ground.frames:
        places = [(float(x), float(y)) for x, y in ground.frame_spots.reshape(-1, 2)]
    else:
        shown = ground.spots[ground.spots < long], ground.rows[ground.rows < wide]
        places = [(float(x), float(y)) for y in shown[1] for x in shown[0]]
    return [(x, y) for x, y in places if x < long and y < wide]


def _legend(beds: BedPlan, step: tuple[float, float], marks: Marks, *, corner: bool) -> str:
    say = Measures(beds.us)
    said = [f"{'the corner: ' if corner else ''}a column is {say.length(step[0])}, a line {say.length(step[1])}"]
    said.append(f"{marks.spot} {'plant' if beds.layout.kind == 'rows' else 'spot'}")
    if beds.covering is not None:
        said.append(f"{marks.covered} {'straw' if beds.plan.field.crop.ground_cover == 'straw' else 'sheet'}")
    if (beds.covering in (None, "paths") or beds.squares is not None) and beds.layout.has_paths:
        said.append(f"{marks.bed} {'square' if beds.squares is not None else 'bed'}")
    if beds.layout.frames:
        said.append(f"vines and roots may reach {say.length(beds.layout.reach)} from a spot (assumed)")
    return "; ".join(said)


def _spans(middles: np.ndarray, wide: float, centres: np.ndarray) -> np.ndarray:
    """Which centres of cells lie within a stretch about any of the middles; a stretch always has its own cell."""
    half = (centres[1] - centres[0]) / 2 if centres.size > 1 else np.inf
    shown = middles[middles < centres[-1] + half]
    apart = np.abs(centres[:, np.newaxis] - shown)
    inside = (apart <= wide / 2 + 1e-9).any(axis=1)
    if shown.size:
        inside[apart.argmin(axis=0)] = True
    return np.asarray(inside)


def _fill(cells: np.ndarray, beds: BedPlan, step: tuple[float, float], marks: Marks) -> None:
    """Beds and what is covered, cell by cell."""
    ground, (lines, columns) = beds.layout, cells.shape
    down, across = (np.arange(lines) + 0.5) * step[1], (np.arange(columns) + 0.5) * step[0]
    in_bed = np.repeat(_spans(ground.rows, ground.bed, down)[:, np.newaxis], columns, axis=1)
    if ground.frames:
        in_bed = np.zeros(cells.shape, dtype=bool)
        for x, y in ground.places:
            in_bed |= np.outer(
                _spans(np.array([y]), ground.bed, down), _spans(np.array([x]), ground.frame_length, across)
            )
    if ground.has_paths:
        cells[in_bed] = marks.bed
    if beds.covering is not None:
        everywhere = ~in_bed if beds.squares is not None else np.ones_like(in_bed)
        cells[{"everywhere": everywhere, "rows": in_bed, "paths": ~in_bed}[beds.covering]] = marks.covered


# --- SVG ------------------------------------------------------------------------------------------

#: Scales that a rule can measure, and the paper they have to fit [mm].
SCALES = (10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10_000, 20_000, 50_000, 100_000)
PAPER = (180.0, 220.0)
_MARGIN, _HEADING, _FOOTING = 12.0, 20.0, 22.0

#: Rows closer than this on paper are not all drawn [mm].
_FINEST = 0.5

_INK, _SOFT, _SOIL, _BED, _STRAW, _SHEET, _LEAF = (
    "#222222",
    "#666666",
    "#f4efe6",
    "#d9c9ae",
    "#f2dd8c",
    "#8f959b",
    "#2f6b34",
)


def svg(all_beds: Sequence[BedPlan]) -> str:
    """Plans drawn to scale, one below the other, as an SVG document in millimetres.

    Parameters
    ----------
    all_beds : sequence of BedPlan

    Returns
    -------
    str
        Every text in it is escaped.
    """
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + inline(all_beds) + "\n"


def inline(all_beds: Sequence[BedPlan]) -> str:
    """The same as an element of a page."""
    scales = [_scale(beds.layout) for beds in all_beds]
    heights = [
        beds.layout.width * 1000 / scale + _HEADING + _FOOTING for beds, scale in zip(all_beds, scales, strict=True)
    ]
    width, height = PAPER[0] + 2 * _MARGIN, sum(heights) + 2 * _MARGIN
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{width:g}mm",
            "height": f"{height:.2f}mm",
            "viewBox": f"0 0 {width:g} {height:.2f}",
            "font-family": "sans-serif",
            "role": "img",
        },
    )
    ElementTree.SubElement(root, "title").text = _clean("Bed plan: " + ", ".join(b.plan.field.name for b in all_beds))
    ElementTree.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    top = _MARGIN
    for beds, scale, tall in zip(all_beds, scales, heights, strict=True):
        group = ElementTree.SubElement(root, "g", {"transform": f"translate({_MARGIN:g} {top:.2f})"})
        _draw(group, beds, scale)
        top += tall
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="unicode")


def _scale(ground: Layout) -> int:
    return next(
        (
            scale
            for scale in SCALES
            if ground.length * 1000 / scale <= PAPER[0] and ground.width * 1000 / scale <= PAPER[1]
        ),
        SCALES[-1],
    )


def _clean(text: str) -> str:
    """Text without what XML cannot hold."""
    return visible(text)


def _draw(group: ElementTree.Element, beds: BedPlan, scale: int) -> None:
    ground, say, mm = beds.layout, Measures(beds.us), 1000 / scale
    _text(group, 0, 5, _clean(beds.plan.field.name), size=5, weight="bold")
    _text(group, 0, 10.5, f"{_clean(_what(beds, say))}. Scale 1:{scale:,}.", size=3.2, fill=_SOFT)
    field = ElementTree.SubElement(group, "g", {"transform": f"translate(0 {_HEADING:g})"})
    long, wide = ground.length * mm, ground.width * mm
    covered = _STRAW if beds.plan.field.crop.ground_cover == "straw" else _SHEET
    under = {"everywhere": (covered, covered), "rows": (_SOIL, covered), "paths": (covered, _BED)}
    if beds.squares is not None:
        under["everywhere"] = (covered, _BED)
    path, bed = under.get(beds.covering or "", (_SOIL, _BED))
    _rect(field, 0, 0, long, wide, fill=path)
    (_frames if ground.frames else _rows)(field, ground, mm, bed)
    _rect(field, 0, 0, long, wide, fill="none", stroke=_INK, **{"stroke-width": "0.4"})
    _text(field, long / 2, -2, say.length(ground.length), size=3.2, **{"text-anchor": "middle"})
    turned = {"text-anchor": "middle", "transform": f"rotate(-90 -2 {wide / 2:.2f})"}
    _text(field, -2, wide / 2, say.length(ground.width), size=3.2, **turned)
    _bar(field, wide + 8, mm, long, us=beds.us)
    if key := _key(beds, say):
        _text(field, 0, wide + 15, key, size=3.2, fill=_SOFT)


def _key(beds: BedPlan, say: Measures) -> str:
    """What the colours and lines about frames stand for; empty without frames."""
    if not beds.layout.frames:
        return ""
    sheet = ["grey: sheet"] if beds.squares is not None else []
    reach = f"dashed: how far vines and roots may reach, {say.length(beds.layout.reach)} (assumed)"
    return "; ".join([*sheet, "brown: boards", "green: plants", reach]) + "."


def _what(beds: BedPlan, say: Measures) -> str:
    ground, crop = beds.layout, beds.plan.crop.common_name
    if ground.frames:
        inside = f"{say.length(ground.frame_length)} by {say.length(ground.bed)}"
        spots = f"{ground.spots_per_frame} spot{'s' if ground.spots_per_frame > 1 else ''}"
        return f"{crop.capitalize()} in {ground.frames} framed beds of {inside}, {spots} in each"
    named = "hills" if ground.kind == "hills" else "places"
    return (
        f"{crop.capitalize()}: {ground.rows.size:,} rows {say.length(ground.row_spacing)} apart, "
        f"{ground.spots.size:,} {named} {say.length(ground.spacing)} apart in each"
    )


def _rows(field: ElementTree.Element, ground: Layout, mm: float, bed: str) -> None:
    """Each row as a bed with a dot at every spot: dashes of no length with round ends."""
    every = max(1, ceil(_FINEST / (ground.row_spacing * mm)))
    dot = max(0.3, min(2.0, 0.5 * ground.spacing * mm, 0.4 * ground.row_spacing * mm * every))
    first, last = ground.spots[0] * mm, ground.spots[-1] * mm
    for y in ground.rows[::every] * mm:
        edge = {"stroke": _SOFT, "stroke-width": "0.15", "stroke-dasharray": "1.5 1.5"} if ground.has_paths else {}
        _rect(field, 0, y - ground.bed * mm / 2, ground.length * mm, ground.bed * mm, fill=bed, **edge)
    for y in ground.rows[::every] * mm:
        ElementTree.SubElement(
            field,
            "line",
            {
                "class": "spots",
                "x1": f"{first:.3f}",
                "x2": f"{last + 0.001:.3f}",
                "y1": f"{y:.3f}",
                "y2": f"{y:.3f}",
                "stroke": _LEAF,
                "stroke-width": f"{dot:.2f}",
                "stroke-linecap": "round",
                "stroke-dasharray": f"0 {ground.spacing * mm:.4f}",
            },
        )


def _frames(field: ElementTree.Element, ground: Layout, mm: float, bed: str) -> None:
    long, wide, reach = ground.frame_length * mm, ground.bed * mm, ground.reach * mm
    dashed = {"stroke": _LEAF, "stroke-width": "0.2", "stroke-dasharray": "1 1", "class": "reach"}
    for (x, y), spots in zip(ground.places * mm, ground.frame_spots * mm, strict=True):
        left, top = x - long / 2, y - wide / 2
        _rect(field, left, top, long, wide, fill=bed, stroke="#7a4b21", **{"stroke-width": "0.8", "class": "frame"})
        for spot_x, spot_y in spots:
            place = {"cx": f"{spot_x:.3f}", "cy": f"{spot_y:.3f}"}
            ElementTree.SubElement(field, "circle", {"class": "spot", **place, "r": "0.7", "fill": _LEAF})
        (first_x, first_y), (last_x, last_y) = spots.min(axis=0) - reach, spots.max(axis=0) + reach
        round_it = {"fill": "none", "rx": f"{reach:.3f}", "ry": f"{reach:.3f}"}
        _rect(field, first_x, first_y, last_x - first_x, last_y - first_y, **round_it, **dashed)


def _bar(field: ElementTree.Element, y: float, mm: float, longest: float, *, us: bool) -> None:
    """A bar of a round length, some 40 mm long."""
    foot, unit = (units.M_PER_FT, "ft") if us else (1.0, "m")
    room = max(min(40.0, longest), 8.0)
    lengths = [step * ten for ten in (0.1, 1, 10, 100, 1000, 10_000) for step in (1, 2, 5)]
    fitting = [length for length in lengths if length * foot * mm <= room] or lengths[:1]
    long = fitting[-1] * foot * mm
    for part in range(4):
        fill = _INK if part % 2 == 0 else "#ffffff"
        _rect(field, part * long / 4, y, long / 4, 1.5, fill=fill, stroke=_INK, **{"stroke-width": "0.2"})
    _text(field, long + 2, y + 2, f"{fitting[-1]:g} {unit}", size=3.2)


def _rect(group: ElementTree.Element, x: float, y: float, width: float, height: float, **style: str) -> None:
    place = {"x": f"{x:.3f}", "y": f"{y:.3f}", "width": f"{width:.3f}", "height": f"{height:.3f}"}
    ElementTree.SubElement(group, "rect", {**place, **style})


def _text(group: ElementTree.Element, x: float, y: float, text: str, *, size: float, **style: str) -> None:
    named = {"weight": "font-weight"}
    place = {"x": f"{x:.2f}", "y": f"{y:.2f}", "font-size": f"{size:g}"}
    found = ElementTree.SubElement(
        group, "text", {"fill": _INK, **place, **{named.get(key, key): value for key, value in style.items()}}
    )
    found.text = text
