"""What matplotlib draws with, so that a figure becomes a list of marks: elements of SVG that are short."""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np

from covercrop.base.extras import need

POINTS = 72  # an inch

#: matplotlib's codes of a path, with the letter of SVG and the number of points that each has.
_CODES = {1: ("M", 1), 2: ("l", 1), 3: ("q", 2), 4: ("c", 3), 79: ("z", 1)}

#: Points by which a line may be off where it is made of fewer pieces.
_SIMPLER = 0.3

#: The code of a curve, and how often it stands in matplotlib's own circle.
_CURVE, _CIRCLE = 4, 24

#: The width of a letter, the height of a line and what of it is below the letters, as shares of their size.
_LETTER, _TALL, _BELOW = 0.52, 0.95, 0.23

#: The group of artists that are the key of a figure.
KEY = "key"

#: The size of most words.
USUAL = 16.0

_ANCHORS = {"left": "", "center": "middle", "right": "end"}


class Mark(NamedTuple):
    """An element of SVG: where it is, how it looks, its words, or its path, and whether it belongs to the key."""

    name: str
    place: dict[str, str]
    style: dict[str, str]
    content: str
    in_key: bool


def number(value: float) -> str:
    """A length to a tenth of a point, as short as it can be written."""
    said = f"{value:.1f}"
    return said.removesuffix(".0") if said != "-0.0" else "0"


def _letters(path: Any, high: float) -> str:
    """A path as SVG writes it, down being more: in tenths of a point from point to point, as short as can be."""
    points = np.round((path.vertices * (1, -1) + (0, high)) * 10).astype(int).tolist()
    codes = [1] + [2] * (len(points) - 1) if path.codes is None else path.codes.tolist()
    said, place, before, here = [], 0, "", [0, 0]
    while place < len(points):
        letter, count = _CODES[codes[place]]
        if letter == "M":
            here = [0, 0]
        steps = [step - at for point in points[place : place + count] for step, at in zip(point, here, strict=True)]
        if letter == "z":
            said.append("z")
        elif any(steps) or letter == "M":
            if letter == "l" and not all(steps):
                letter, steps = ("h", steps[:1]) if steps[0] else ("v", steps[1:])
            # A letter that is repeated is left out, as is the blank before a minus.
            written = "".join(f" {_tenths(step)}" for step in steps).replace(" -", "-")
            said.append(written if letter == before and letter != "M" else f"{letter}{written.lstrip()}")
            before, here = letter, points[place + count - 1]
        if letter == "z":
            before = ""
        place += count
    return "".join(said)


def _tenths(value: int) -> str:
    """A number of tenths, as SVG reads it."""
    whole, rest = divmod(abs(value), 10)
    said = f"{whole or ''}.{rest}" if rest else f"{whole}"
    return f"-{said}" if value < 0 else said


@cache
def pen() -> Any:
    """The class that matplotlib draws with; made when first needed, since matplotlib is optional and slow to import."""
    to_hex = need("matplotlib.colors").to_hex

    class Pen(need("matplotlib.backend_bases").RendererBase):  # type: ignore[misc]
        """What matplotlib draws, as elements of SVG: (name, attributes, path or text), the lowest first."""

        def __init__(self, wide: float, high: float) -> None:
            super().__init__()
            self.wide, self.high, self.foot = wide, high, high
            self.in_key = self.in_text = False
            self.marks: list[Mark] = []

        def get_canvas_width_height(self) -> tuple[float, float]:
            return self.wide, self.high

        def open_group(self, s: str, gid: str | None = None) -> None:
            """Note what is drawn: a key is measured from its foot, and paper may lie behind words."""
            self.in_text = self.in_text or s == "text"
            self.in_key = gid == KEY
            self.foot = 0.0 if self.in_key else self.high

        def close_group(self, s: str) -> None:
            self.in_text = self.in_text and s != "text"
            self.in_key, self.foot = False, self.high

        def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any) -> tuple[float, float, float]:
            """About as large as words are in any font, so that no font has to be read to place them."""
            size = prop.get_size_in_points()
            return len(s) * size * _LETTER, size * _TALL, size * _BELOW

        def draw_path(self, gc: Any, path: Any, transform: Any, rgbFace: Any = None) -> None:
            style = _paint(gc, rgbFace)
            drawn = _letters(self._inside(path, transform, gc.get_clip_rectangle(), rgbFace), self.foot)
            if not style or not drawn:
                return
            # Paper behind words goes beneath all that stand there: no words meet.  Marks of one kind are one path.
            place = len(self.marks)
            while self.in_text and place and self.marks[place - 1].name == "text":
                place -= 1
            if place and self.marks[place - 1][:3] + self.marks[place - 1][4:] == ("path", {}, style, self.in_key):
                place -= 1
                drawn = self.marks.pop(place).content + drawn
            self.marks.insert(place, Mark("path", {}, style, drawn, self.in_key))

        def draw_markers(
            self,
            gc: Any,
            marker_path: Any,
            marker_trans: Any,
            path: Any,
            trans: Any,
            rgbFace: Any = None,
        ) -> None:
            if marker_path.codes is None or (marker_path.codes == _CURVE).sum() != _CIRCLE:
                super().draw_markers(gc, marker_path, marker_trans, path, trans, rgbFace)
                return
            radius = number(marker_trans.get_matrix()[0, 0])  # the circle of the marker has a radius of 1
            for x, y in trans.transform(path.vertices):
                place = {"cx": number(x), "cy": number(self.foot - y), "r": radius}
                self.marks.append(Mark("circle", place, _paint(gc, rgbFace), "", self.in_key))

        def draw_text(
            self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False, mtext: Any = None
        ) -> None:
            anchor = turned = ""
            if angle:
                turned = f"rotate({number(-angle)} {number(x)} {number(y)})"
            elif mtext is not None:
                x = mtext.get_transform().transform(mtext.get_unitless_position())[0]
                anchor = _ANCHORS[mtext.get_horizontalalignment()]
            size = number(prop.get_size_in_points())
            style = {
                "fill": to_hex(gc.get_rgb()),
                "font-size": size if size != number(USUAL) else "",
                "text-anchor": anchor,
                "font-weight": "700" if prop.get_weight() == "bold" else "",
            }
            down = y if self.foot else y - self.high
            place = {"x": f"{x:.0f}", "y": f"{down:.0f}"} | ({"transform": turned} if turned else {})
            style = {name: value for name, value in style.items() if value}
            self.marks.append(Mark("text", place, style, s, self.in_key))

        def _inside(self, path: Any, transform: Any, clip: Any, face: Any) -> Any:
            """A path in points, cut off at the edges of its axes, in no more pieces than are seen."""
            if path.codes is None:
                path.simplify_threshold = _SIMPLER
                box = None if face is not None else (0, 0, self.wide, self.high) if clip is None else clip.extents
                path = path.cleaned(transform=transform, clip=box, simplify=True, remove_nans=True)
                path = type(path)(path.vertices[:-1], path.codes[:-1])  # the last is a mark of the end
            else:
                path = transform.transform_path(path)
            if face is None or clip is None or not len(path.vertices):
                return path
            (left, bottom), (right, top) = path.vertices.min(axis=0), path.vertices.max(axis=0)
            within = clip.padded(_SIMPLER)
            return path if within.contains(left, bottom) and within.contains(right, top) else path.clip_to_bbox(clip)

    def _paint(gc: Any, face: Any) -> dict[str, str]:
        """Fill and stroke as attributes; empty where nothing is to be seen."""
        painted = {} if face is None else {"fill": to_hex(face)}
        if face is not None and len(face) > len("rgb") and face[3] < 1:
            painted["fill-opacity"] = f"{face[3]:g}"
        if gc.get_linewidth() <= 0 or not gc.get_rgb()[3]:
            return painted
        painted |= {"stroke": to_hex(gc.get_rgb()), "stroke-width": number(gc.get_linewidth())}
        if gc.get_rgb()[3] < 1:
            painted["stroke-opacity"] = f"{gc.get_rgb()[3]:g}"
        dashes = gc.get_dashes()[1]
        if dashes is not None:
            painted["stroke-dasharray"] = " ".join(map(number, dashes))
        return painted

    return Pen
