"""Where the plants stand: rows, hills or framed beds on a rectangle.

Lengths are in metres.  The field lies with its length along x and its rows
along it; nothing is drawn here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, isclose, sqrt

import numpy as np

from covercrop.base.arrays import Array
from covercrop.base.errors import FieldFileError
from covercrop.base.units import M_PER_FT

#: A count that falls short of the next whole by less than this is that whole.
_TOLERANCE = 1e-6

#: Rows at least this far apart leave a path between them; closer ones are one stand [m].
PATH_FROM = 1.2

#: Share of the row spacing that is path, where none is given [1].
PATH_SHARE = 0.5

#: Side of the square that is dug and fed at a spot, a yard [m].
SPOT = 0.9

#: Inside of a framed bed, where none is given: a board and half a board as they are sold [m].
FRAME = {"metric": (2.4, 1.2), "us": (8 * M_PER_FT, 4 * M_PER_FT)}

#: A metric frame, a little shorter than eight feet, holds as many spots as one of eight feet [1].
FRAME_GIVES = 0.03

#: Between framed beds, where no path is given: room for a wheelbarrow, 2 ft [m].
FRAME_PATH = 2 * M_PER_FT

ASSUMPTIONS = (
    "Where no path is given, rows 1.2 m (4 ft) apart or more leave half of their spacing as path.",
    "A spot that is fed on its own is taken as a square of 0.9 m (3 ft).",
    "A framed bed is taken as 2.4 by 1.2 m (8 by 4 ft) inside, with 0.6 m (2 ft) between beds.",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """A field with its rows and spots, or its framed beds.

    Attributes
    ----------
    length, width : float
        Of the field.
    squared : bool
        Whether only its area was known, so that a square stands for it.
    kind : str
        ``rows``, ``hills`` or ``frames``.
    row_spacing, spacing : float
        Row to row, and spot to spot in the row.
    plants : int
        To a spot.
    bed : float
        Width of the bed along a row; the rest of the row spacing is path.
        Of a framed bed, its width inside.
    rows : numpy.ndarray
        Middle of each row across the field; of frames, of each row of them.
    spots : numpy.ndarray
        Place of each spot along a row; of frames, of each frame in a row.
    spot : float
        Side of the square fed at a spot.
    frames : int
        Framed beds, filled row by row; 0 for none.
    frame_length : float
        Inside; 0 for none.
    spots_per_frame : int
    """

    length: float
    width: float
    squared: bool
    kind: str
    row_spacing: float
    spacing: float
    plants: int
    bed: float
    rows: Array
    spots: Array
    spot: float
    frames: int = 0
    frame_length: float = 0.0
    spots_per_frame: int = 0

    @property
    def count(self) -> int:
        """Spots in all."""
        return self.frames * self.spots_per_frame if self.frames else self.rows.size * self.spots.size

    @property
    def area(self) -> float:
        """Of the field [m2]."""
        return self.length * self.width

    @property
    def has_paths(self) -> bool:
        """Whether beds and paths are told apart."""
        return self.frames > 0 or self.bed < min(self.row_spacing, self.width) - _TOLERANCE

    @property
    def row_path(self) -> float:
        """Width of the path between two rows [m]; 0 where there is none."""
        path = self.row_spacing - self.bed
        return path if path > _TOLERANCE else 0.0

    @property
    def bed_area(self) -> float:
        """Of the beds, without the paths [m2]."""
        if self.frames:
            return self.frames * self.frame_length * self.bed
        return self.rows.size * self.bed * self.length

    @property
    def path_area(self) -> float:
        """Of what is not bed [m2]."""
        return self.area - self.bed_area

    @property
    def spot_area(self) -> float:
        """Of the squares at the spots [m2]."""
        return self.count * self.spot**2

    @property
    def vine_area(self) -> float:
        """Ground that the plants run over: a row spacing by a spacing for each spot, at most the field [m2]."""
        return min(self.area, self.count * self.row_spacing * self.spacing)

    @property
    def each(self) -> tuple[float, float]:
        """Length and width of one bed."""
        return (self.frame_length if self.frames else self.length), self.bed


def fits(length: float, each: float) -> int:
    """How many times ``each`` goes into ``length``; at least once."""
    return max(1, floor(length / each + _TOLERANCE))


def _middles(length: float, each: float, count: int) -> Array:
    """Middles of ``count`` stretches, themselves in the middle of the length."""
    return np.asarray(length / 2 + each * (np.arange(count) - (count - 1) / 2))


def _from_the_corner(length: float, each: float, path: float, count: int) -> Array:
    """Middles of ``count`` frames: a path from the corner, or in the middle where there is no such room."""
    free = length - count * (each + path) + path
    return np.asarray(min(path, free / 2) + each / 2 + (each + path) * np.arange(count))


def sides(area: float | None, length: float | None, width: float | None) -> tuple[float, float, bool]:
    """Length and width of the field, and whether a square stands for it.

    Parameters
    ----------
    area : float or None
        [m2].
    length, width : float or None
        [m]; they come before the area.

    Raises
    ------
    FieldFileError
        If neither is known, or they differ by more than a twentieth.
    """
    if length is None or width is None:
        if area is None:
            raise FieldFileError(
                "the size of the field is not given; add area_m2 (or area_ft2), or length_m and width_m in [field.beds]"
            )
        return sqrt(area), sqrt(area), True
    if area is not None and not isclose(area, length * width, rel_tol=0.05):
        raise FieldFileError(
            f"length and width in [field.beds] make {length * width:,.0f} m2 "
            f"({length * width / M_PER_FT**2:,.0f} ft2), but the area is {area:,.0f} m2 "
            f"({area / M_PER_FT**2:,.0f} ft2); mend one of them"
        )
    return length, width, False


def rows_or_hills(
    length: float,
    width: float,
    *,
    kind: str,
    row_spacing: float,
    spacing: float,
    plants: int,
    path: float | None = None,
    spot: float | None = None,
    squared: bool = False,
) -> Layout:
    """Rows along the length, with spots along each.

    Parameters
    ----------
    length, width : float
    kind : str
        ``rows`` or ``hills``.
    row_spacing, spacing : float
    plants : int
        To a spot.
    path : float, optional
        Between two rows; by default half of the spacing of rows that are
        :data:`PATH_FROM` apart or more, and none between closer ones.
    spot : float, optional
    squared : bool

    Returns
    -------
    Layout
        As many whole rows and spots as go in, at least one, in the middle.

    Raises
    ------
    FieldFileError
        If the path leaves no bed.
    """
    if path is None:
        path = PATH_SHARE * row_spacing if row_spacing >= PATH_FROM else 0.0
    if path >= row_spacing:
        raise FieldFileError(
            f"path = {path:.2g} m in [field.beds] leaves no bed between rows {row_spacing:.2g} m apart; make it smaller"
        )
    bed = min(row_spacing - path, width)
    return Layout(
        length=length,
        width=width,
        squared=squared,
        kind=kind,
        row_spacing=row_spacing,
        spacing=spacing,
        plants=plants,
        bed=bed,
        rows=_middles(width, row_spacing, fits(width, row_spacing)),
        spots=_middles(length, spacing, fits(length, spacing)),
        spot=min(SPOT if spot is None else spot, spacing, bed),
    )


def framed(
    length: float,
    width: float,
    *,
    frames: int,
    row_spacing: float,
    spacing: float,
    plants: int,
    frame_length: float | None = None,
    frame_width: float | None = None,
    path: float | None = None,
    squared: bool = False,
    us: bool = False,
) -> Layout:
    """Framed beds, as many as are wanted, in as few rows as hold them.

    Takes what :func:`rows_or_hills` takes, and whether boards are those of
    the United States; the vines run out of the frames.

    Raises
    ------
    FieldFileError
        If the field does not hold so many.
    """
    usual = FRAME["us" if us else "metric"]
    inside = (usual[0] if frame_length is None else frame_length, usual[1] if frame_width is None else frame_width)
    path = FRAME_PATH if path is None else path
    along, across = (
        floor((side + path) / (frame + path) + _TOLERANCE) for side, frame in zip((length, width), inside, strict=True)
    )
    if along * across < frames:
        raise FieldFileError(
            f"{frames} frames of {inside[0]:.2g} by {inside[1]:.2g} m with paths of {path:.2g} m do not go onto "
            f"{length:.1f} by {width:.1f} m, which holds {along * across}; give fewer or smaller ones"
        )
    spots = [fits(side * (1 + FRAME_GIVES), each) for side, each in zip(inside, (spacing, row_spacing), strict=True)]
    used = -(-frames // along)
    along = -(-frames // used)  # rows of frames as even as they can be
    return Layout(
        length=length,
        width=width,
        squared=squared,
        kind="frames",
        row_spacing=row_spacing,
        spacing=spacing,
        plants=plants,
        bed=inside[1],
        rows=_from_the_corner(width, inside[1], path, used),
        spots=_from_the_corner(length, inside[0], path, along),
        spot=min(SPOT, *inside),
        frames=frames,
        frame_length=inside[0],
        spots_per_frame=spots[0] * spots[1],
    )
