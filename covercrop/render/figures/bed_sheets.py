"""The plans of fields drawn to scale as SVG, a sheet of paper each, with a legend."""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from covercrop.base import units
from covercrop.base.errors import visible
from covercrop.beds.lengths import Measures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds.beds import BedPlan
    from covercrop.beds.layout import Layout

#: Scales that a rule can measure, and the paper they have to fit [mm].
SCALES = (10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 2500, 5000, 10_000, 20_000, 50_000, 100_000)
PAPER = (180.0, 195.0)
_MARGIN, _HEADING, _FOOTING = 12.0, 20.0, 28.0

#: Sheets of paper, metric and US: name, width and height [mm].
_SHEETS = {False: ("A4", 210.0, 297.0), True: ("letter", 215.9, 279.4)}

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
_BOARD = "#7a4b21"
_REACH = {"stroke": _LEAF, "stroke-width": "0.2", "stroke-dasharray": "1 1"}


def svg(all_beds: Sequence[BedPlan]) -> str:
    """Plans drawn to scale, a sheet of paper each, as an SVG document in millimetres.

    Parameters
    ----------
    all_beds : sequence of BedPlan

    Returns
    -------
    str
        Every text in it is escaped.  Printed from a browser, each sheet comes on a page of its own.
    """
    name, wide, high = _SHEETS[all_beds[0].us]
    margin = (wide - PAPER[0] - 2 * _MARGIN) / 2
    root = _document(all_beds, high - 2 * margin)
    style = ElementTree.Element("style")
    style.text = f"@page {{ size: {name}; margin: {margin:g}mm }}"
    root.insert(1, style)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + _written(root) + "\n"


def inline(beds: BedPlan) -> str:
    """One of them as an element of a page, no higher than it has to be."""
    high = beds.layout.width * 1000 / _scale(beds.layout) + _HEADING + _FOOTING + 2 * _MARGIN
    return _written(_document([beds], high))


def _document(all_beds: Sequence[BedPlan], sheet: float) -> ElementTree.Element:
    """Sheets of a height, one below the other."""
    width, height = PAPER[0] + 2 * _MARGIN, sheet * len(all_beds)
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
    for number, beds in enumerate(all_beds):
        place = f"translate({_MARGIN:g} {_MARGIN + number * sheet:.2f})"
        _draw(ElementTree.SubElement(root, "g", {"transform": place}), beds, _scale(beds.layout))
    return root


def _written(root: ElementTree.Element) -> str:
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
    path, bed = (colour for colour, _ in _ground(beds))
    _rect(field, 0, 0, long, wide, fill=path)
    (_frames if ground.frames else _rows)(field, ground, mm, bed)
    _rect(field, 0, 0, long, wide, fill="none", stroke=_INK, **{"stroke-width": "0.4"})
    _text(field, long / 2, -2, say.length(ground.length), size=3.2, **{"text-anchor": "middle"})
    turned = {"text-anchor": "middle", "transform": f"rotate(-90 -2 {wide / 2:.2f})"}
    _text(field, -2, wide / 2, say.length(ground.width), size=3.2, **turned)
    _bar(field, wide + 8, mm, long, us=beds.us)
    _swatches(ElementTree.SubElement(field, "g", {"transform": f"translate(0 {wide + 16:.2f})"}), beds, say)


def _ground(beds: BedPlan) -> tuple[tuple[str, str], tuple[str, str]]:
    """Colour and name of the paths, and of the beds."""
    straw = beds.plan.field.crop.ground_cover == "straw"
    cover = (_STRAW, "straw") if straw else (_SHEET, "sheet")
    path, bed = (_SOIL, "path"), (_BED, "square" if beds.squares is not None else "bed")
    match beds.covering:
        case "everywhere":
            return cover, bed if beds.squares is not None else cover
        case "rows":
            return path, cover
        case "paths":
            return cover, bed
    return path, bed


def _swatches(group: ElementTree.Element, beds: BedPlan, say: Measures) -> None:
    """What the colours and marks stand for, in a line or two."""
    ground = beds.layout
    found = dict([*(_ground(beds) if ground.has_paths or ground.frames else _ground(beds)[1:])])
    left = 0.0
    for colour, name in found.items():
        _rect(group, left, -2.6, 4, 3, fill=colour, stroke=_SOFT, **{"stroke-width": "0.15"})
        _text(group, left + 5.5, 0, name, size=3.2)
        left += 11 + 2 * len(name)
    ElementTree.SubElement(group, "circle", {"cx": f"{left + 1.5:.2f}", "cy": "-1.1", "r": "1", "fill": _LEAF})
    plant = "plant" if ground.kind == "rows" or ground.frames else "hill"
    _text(group, left + 4, 0, plant, size=3.2)
    if ground.frames:
        left += 9.5 + 2 * len(plant)
        _rect(group, left, -2.6, 4, 3, fill="none", stroke=_BOARD, **{"stroke-width": "0.8"})
        _text(group, left + 5.5, 0, "boards", size=3.2)
        _rect(group, 0, 2.9, 4, 3, fill="none", rx="1.4", **_REACH)
        reach = f"how far vines and roots may reach, {say.length(ground.reach)} (assumed)"
        _text(group, 5.5, 5.5, reach, size=3.2)


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
    dashed = _REACH | {"class": "reach"}
    for (x, y), spots in zip(ground.places * mm, ground.frame_spots * mm, strict=True):
        left, top = x - long / 2, y - wide / 2
        _rect(field, left, top, long, wide, fill=bed, stroke=_BOARD, **{"stroke-width": "0.8", "class": "frame"})
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
