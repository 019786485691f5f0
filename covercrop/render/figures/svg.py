"""A drawn figure as a file or as part of a page.

matplotlib draws into :class:`_Pen`, which writes SVG that is short, stands
under a strict content-security policy (no ``style``), keeps text as text, and
is the same for the same figure.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import numpy as np

from covercrop.base.errors import visible
from covercrop.base.extras import need

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SVG = "http://www.w3.org/2000/svg"

#: What the text of a chart is set in, wherever it is looked at.
FONTS = "'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif"

PNG_DPI = 216  # three pixels a point: sharp on a phone and in print
_POINTS = 72

#: matplotlib's codes of a path, with the letter of SVG and the number of points that each has.
_CODES = {1: ("M", 1), 2: ("l", 1), 3: ("q", 2), 4: ("c", 3), 79: ("z", 1)}

#: Points by which a line may be off where it is made of fewer pieces.
_SIMPLER = 0.2

#: The code of a curve, and how often it stands in matplotlib's own circle.
_CURVE, _CIRCLE = 4, 24

#: The width of a letter, the height of a line and what of it is below the letters, as shares of their size.
_LETTER, _TALL, _BELOW = 0.52, 0.95, 0.23

#: The size of most words.
_USUAL = 16.0

_ANCHORS = {"left": "", "center": "middle", "right": "end"}


def svg(figure: Figure, title: str, description: str, prefix: str, *, file: bool = False) -> str:
    """A figure as SVG text without style attributes, with a text alternative.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    title, description : str
        What it is, and what it shows.
    prefix : str
        Begins every id, so that many figures can stand on one page.
    file : bool
        As a file of its own: with an XML declaration, its size, its fonts and its paper.
    """
    wide, high = figure.get_size_inches() * _POINTS
    pen = _pen()(wide, high)
    before = figure.dpi
    figure.set_dpi(_POINTS)
    figure.patch.set_visible(file)
    try:
        with _whatever_the_letters():
            figure.draw(pen)
    finally:
        figure.set_dpi(before)
        figure.patch.set_visible(True)
    size = {"width": _number(wide), "height": _number(high), "font-family": FONTS} if file else {}
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": SVG,
            "viewBox": f"0 0 {_number(wide)} {_number(high)}",
            **size,
            "role": "img",
            "aria-labelledby": f"{prefix}-title {prefix}-description",
            "fill": "none",
            "font-size": _number(_USUAL),
        },
    )
    for name, text in (("title", title), ("desc", description)):
        said = ElementTree.SubElement(root, name, {"id": f"{prefix}-{'title' if name == 'title' else 'description'}"})
        said.text = as_text(text)
    _write(root, pen.marks)
    declared = '<?xml version="1.0" encoding="UTF-8"?>\n' if file else ""
    return declared + ElementTree.tostring(root, encoding="unicode") + ("\n" if file else "")


def _write(root: ElementTree.Element, marks: Sequence[tuple[str, dict[str, str], str]]) -> None:
    """The marks as elements; what words that follow each other have in common is said once."""
    group, shared = root, dict[str, str]()
    for name, attributes, content in marks:
        if name != "text":
            ElementTree.SubElement(root, name, attributes | ({"d": content} if name == "path" else {}))
            shared = {}
            continue
        style = {key: value for key, value in attributes.items() if key not in ("x", "y", "transform")}
        if style != shared:
            group, shared = ElementTree.SubElement(root, "g", style), style
        place = {key: value for key, value in attributes.items() if key not in style}
        ElementTree.SubElement(group, name, place).text = as_text(content)


def as_text(text: str) -> str:
    """Text that a drawing can hold: nothing that would be obeyed, and neither of the two letters that XML forbids."""
    return visible(text).translate({0xFFFE: "\ufffd", 0xFFFF: "\ufffd"})


def png(figure: Figure) -> bytes:
    """A figure as a PNG."""
    drawn = io.BytesIO()
    with _whatever_the_letters():
        figure.savefig(drawn, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return drawn.getvalue()


@contextmanager
def _whatever_the_letters() -> Iterator[None]:
    """A name may have letters that the font lacks: boxes are drawn for them, without a warning to the grower."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=r"Glyph .* missing from font", category=UserWarning)
        yield


def _number(value: float) -> str:
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
def _pen() -> Any:
    """The class that matplotlib draws with; made when first needed, since matplotlib is optional and slow to import."""
    to_hex = need("matplotlib.colors").to_hex

    class _Pen(need("matplotlib.backend_bases").RendererBase):  # type: ignore[misc]
        """What matplotlib draws, as elements of SVG: (name, attributes, path or text), the lowest first."""

        def __init__(self, wide: float, high: float) -> None:
            super().__init__()
            self.wide, self.high = wide, high
            self.marks: list[tuple[str, dict[str, str], str]] = []

        def get_canvas_width_height(self) -> tuple[float, float]:
            return self.wide, self.high

        def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any) -> tuple[float, float, float]:
            """About as large as words are in any font, so that no font has to be read to place them."""
            size = prop.get_size_in_points()
            return len(s) * size * _LETTER, size * _TALL, size * _BELOW

        def draw_path(self, gc: Any, path: Any, transform: Any, rgbFace: Any = None) -> None:
            attributes = _paint(gc, rgbFace)
            drawn = _letters(self._inside(path, transform, gc.get_clip_rectangle(), rgbFace), self.high)
            if not attributes or not drawn:
                return
            # Marks of one kind that follow each other are one path.
            if self.marks and self.marks[-1][:2] == ("path", attributes):
                self.marks[-1] = ("path", attributes, self.marks[-1][2] + drawn)
            else:
                self.marks.append(("path", attributes, drawn))

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
            radius = _number(marker_trans.transform_path(marker_path).get_extents().width / 2)
            for x, y in trans.transform(path.vertices):
                place = {"cx": _number(x), "cy": _number(self.high - y), "r": radius}
                self.marks.append(("circle", place | _paint(gc, rgbFace), ""))

        def draw_text(
            self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False, mtext: Any = None
        ) -> None:
            anchor = turned = ""
            if angle:
                turned = f"rotate({_number(-angle)} {_number(x)} {_number(y)})"
            elif mtext is not None:
                x = mtext.get_transform().transform(mtext.get_unitless_position())[0]
                anchor = _ANCHORS[mtext.get_horizontalalignment()]
            size = _number(prop.get_size_in_points())
            styled = {
                "font-size": size if size != _number(_USUAL) else "",
                "text-anchor": anchor,
                "transform": turned,
                "font-weight": "700" if prop.get_weight() == "bold" else "",
            }
            place = {"x": _number(x), "y": _number(y)}
            colour = {"fill": to_hex(gc.get_rgb())}
            self.marks.append(("text", place | colour | {name: value for name, value in styled.items() if value}, s))

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
        painted |= {"stroke": to_hex(gc.get_rgb()), "stroke-width": _number(gc.get_linewidth())}
        if gc.get_rgb()[3] < 1:
            painted["stroke-opacity"] = f"{gc.get_rgb()[3]:g}"
        dashes = gc.get_dashes()[1]
        if dashes is not None:
            painted["stroke-dasharray"] = " ".join(map(_number, dashes))
        return painted

    return _Pen
