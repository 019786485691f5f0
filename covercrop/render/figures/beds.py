"""The plan of a field drawn to scale in characters.

A line is some twice as deep as a column is wide, as on most screens.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.beds.lengths import Measures

if TYPE_CHECKING:
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
