"""A drawn figure as a file or as part of a page.

matplotlib draws into the pen of :mod:`covercrop.render.figures.pen`, which writes SVG that is short, stands
under a strict content-security policy (no ``style``), keeps text as text, and
is the same for the same figure.
"""

from __future__ import annotations

import io
import string
import warnings
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from covercrop.base.errors import visible
from covercrop.render.figures.pen import POINTS, USUAL, Mark, number, pen

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SVG = "http://www.w3.org/2000/svg"

#: What the text of a chart is set in, wherever it is looked at.
FONTS = "'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif"

PNG_DPI = 216  # three pixels a point: sharp on a phone and in print
_LETTERS = string.digits + string.ascii_lowercase


@dataclass(frozen=True, slots=True)
class Shared:
    """What the figures of a page have in common.

    Attributes
    ----------
    styles : dict of str to dict of str to str
        The classes of their marks, each with its properties.
    keys : dict of str to str
        Their keys by id, as SVG that belongs on the page once.
    """

    styles: dict[str, dict[str, str]] = field(default_factory=dict)
    keys: dict[str, str] = field(default_factory=dict)

    def add(self, other: Shared) -> None:
        """Take over what other figures have."""
        self.styles.update(other.styles)
        self.keys.update(other.keys)

    def style_sheet(self, night: Mapping[str, str]) -> str:
        """The classes as a style sheet; ``night`` says what each colour is on dark paper, there and of plain marks."""
        dark = {
            name: {key: night[value] for key, value in style.items() if value in night}
            for name, style in self.styles.items()
        }
        day, after = (
            "".join(f".{name}{{{_declared(style)}}}" for name, style in sorted(each.items()))
            for each in (self.styles, dark)
        )
        plain = "".join(f'[{key}="{old}"]{{{key}:{new}}}' for old, new in night.items() for key in ("fill", "stroke"))
        return f"{day}\n@media screen and (prefers-color-scheme: dark) {{{after}{plain}}}\n"


def _declared(style: Mapping[str, str]) -> str:
    return ";".join(f"{key}:{value}{'px' if key == 'font-size' else ''}" for key, value in style.items())


def svg(
    figure: Figure,
    title: str,
    description: str,
    prefix: str,
    *,
    file: bool = False,
    page: Shared | None = None,
) -> str:
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
    page : Shared, optional
        Takes what the figures of a page have in common.  Where it is left out, each mark carries its own style, and
        the figure its own key.
    """
    wide, high = figure.get_size_inches() * POINTS
    drawn = pen()(wide, high)
    before = figure.dpi
    figure.set_dpi(POINTS)
    figure.patch.set_visible(file)
    try:
        with _whatever_the_letters():
            figure.draw(drawn)
    finally:
        figure.set_dpi(before)
        figure.patch.set_visible(True)
    size = {"width": number(wide), "height": number(high), "font-family": FONTS} if file else {}
    root = ElementTree.Element(
        "svg",
        {
            **({} if page else {"xmlns": SVG}),
            "viewBox": f"0 0 {number(wide)} {number(high)}",
            **size,
            "role": "img",
            "aria-labelledby": f"{prefix}-t {prefix}-d",
            "fill": "none",
            "font-size": number(USUAL),
        },
    )
    for name, text in (("title", title), ("desc", description)):
        said = ElementTree.SubElement(root, name, {"id": f"{prefix}-{name[0]}"})
        said.text = as_text(text)
    _write(root, [mark for mark in drawn.marks if not mark.in_key], page)
    if in_key := [mark for mark in drawn.marks if mark.in_key]:
        _write_key(root, in_key, high, page)
    declared = '<?xml version="1.0" encoding="UTF-8"?>\n' if file else ""
    return declared + _text(root) + ("\n" if file else "")


def _write(root: ElementTree.Element, marks: Sequence[Mark], page: Shared | None) -> None:
    """The marks as elements; the style of those that follow each other is said once."""
    for _, alike in groupby(marks, key=lambda mark: mark.style):
        run = list(alike)
        style = _styled(run[0].style, page)
        group = ElementTree.SubElement(root, "g", style) if len(run) > 1 else root
        for mark in run:
            path = {"d": mark.content} if mark.name == "path" else {}
            own = {} if len(run) > 1 else style
            element = ElementTree.SubElement(group, mark.name, mark.place | path | own)
            element.text = None if path else as_text(mark.content) or None


def _write_key(root: ElementTree.Element, marks: Sequence[Mark], high: float, page: Shared | None) -> None:
    """The key at the foot, measured from there; on a page, where it stands once for all the figures that have it."""
    group = ElementTree.Element("g")
    _write(group, marks, page)
    if page is None:
        group.set("transform", f"translate(0 {number(high)})")
        root.append(group)
        return
    name = f"key-{_short(_text(group))}"
    group.set("id", name)
    page.keys[name] = _text(group)
    ElementTree.SubElement(root, "use", {"href": f"#{name}", "y": number(high)})


def _text(element: ElementTree.Element) -> str:
    """An element as text, without the blank at the end of its tags; words have no such end, since it is escaped."""
    return ElementTree.tostring(element, encoding="unicode").replace(" />", "/>")


def _styled(style: dict[str, str], page: Shared | None) -> dict[str, str]:
    """A style as it is written: as it is, or on a page as a class, whose name depends on the style alone."""
    if page is None:
        return style
    name = f"c{_short(repr(sorted(style.items())))}"
    page.styles[name] = style
    return {"class": name}


def _short(text: str) -> str:
    """Four letters that stand for a text."""
    number, name = zlib.crc32(text.encode()), ""
    for _ in range(4):
        number, letter = divmod(number, len(_LETTERS))
        name += _LETTERS[letter]
    return name


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
