"""A drawn figure as a file or as part of a page.

On a page the SVG stands under a strict content-security policy, so that what
matplotlib writes as ``style`` becomes attributes; text stays text; and the
same figure gives the same bytes.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from covercrop.base.errors import visible
from covercrop.base.extras import need

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"

#: What the text of a chart is set in, wherever it is looked at.
FONTS = "'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif"

#: Written into the file, so that ids depend on the drawing alone.
DRAWING = {"svg.fonttype": "none", "svg.hashsalt": "covercrop"}

PNG_DPI = 216  # three pixels a point: sharp on a phone and in print

_REFERENCE = re.compile(r"url\(#([^)]+)\)")
_NUMBER = re.compile(r"-?\d+\.\d+")
# "italic 700 10px 'DejaVu Sans', ..." as older releases of matplotlib write it.
_FONT = re.compile(r"(?:(?P<style>italic|oblique) )?(?:(?P<weight>\d+|bold) )?(?P<size>[\d.]+px) .*")


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
        As a file of its own: with an XML declaration, and its size given.
    """
    matplotlib = need("matplotlib")
    drawn = io.StringIO()
    with matplotlib.rc_context(DRAWING), _whatever_the_letters():
        figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    root = ElementTree.fromstring(drawn.getvalue())
    for name in ("metadata", "defs"):  # the defs directly below the root: a style sheet, and clip paths
        for element in root.findall(f"{{{SVG}}}{name}"):
            for style in element.findall(f"{{{SVG}}}style"):
                element.remove(style)
            if not len(element) or name == "metadata":
                root.remove(element)
    for element in root.iter():
        _plain(element, prefix)
    _tidy(root)
    width, height = root.attrib["viewBox"].split()[2:]
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    if file:
        root.attrib |= {"width": width, "height": height}
    root.attrib |= {
        "role": "img",
        "aria-labelledby": f"{prefix}-title {prefix}-description",
        "font-family": FONTS,
        "stroke-linejoin": "round",
    }
    for place, (name, text) in enumerate((("title", title), ("desc", description))):
        label = ElementTree.Element(f"{{{SVG}}}{name}", {"id": f"{prefix}-{'title' if not place else 'description'}"})
        label.text = as_text(text)
        root.insert(place, label)
    ElementTree.register_namespace("", SVG)
    ElementTree.register_namespace("xlink", XLINK)
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=file) + ("\n" if file else "")


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


def _plain(element: ElementTree.Element, prefix: str) -> None:
    """Turn style into attributes, and give ids and references their prefix."""
    attributes = element.attrib
    for entry in filter(None, (part.strip() for part in attributes.pop("style", "").split(";"))):
        name, _, value = (part.strip() for part in entry.partition(":"))
        if name == "font-family":  # that of the root holds everywhere
            continue
        if name == "font":
            found = _FONT.fullmatch(value)
            fonts = found.groupdict() if found else {}
            attributes |= {f"font-{part}": worth for part, worth in fonts.items() if worth}
        else:
            attributes[name] = value
    if "id" in attributes:
        attributes["id"] = f"{prefix}-{attributes['id']}"
    link = f"{{{XLINK}}}href"
    if link in attributes:
        attributes["href"] = f"#{prefix}-{attributes.pop(link)[1:]}"
    for name, value in attributes.items():
        if name in ("d", "x", "y", "transform", "width", "height"):
            value = _NUMBER.sub(lambda number: f"{float(number[0]):.2f}".rstrip("0").rstrip("."), value)  # noqa: PLW2901
        attributes[name] = _REFERENCE.sub(rf"url(#{prefix}-\1)", value)
    if "d" in attributes:
        attributes["d"] = " ".join(attributes["d"].split())


def _tidy(root: ElementTree.Element) -> None:
    """Drop the ids that nothing points to, the groups left empty, and the white space between elements."""
    pointed = {value[1:] for element in root.iter() for name, value in element.attrib.items() if name == "href"}
    pointed |= {
        found for element in root.iter() for value in element.attrib.values() for found in _REFERENCE.findall(value)
    }
    for element in root.iter():
        if element.attrib.get("id") not in pointed:
            element.attrib.pop("id", None)
        element.tail = None
        if not element.tag.endswith("text"):
            element.text = None
        for child in list(element):
            if child.tag == f"{{{SVG}}}g" and not len(child):
                element.remove(child)
