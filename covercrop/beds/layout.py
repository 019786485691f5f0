"""Where the plants stand: rows, hills or framed beds on a rectangle.

Lengths are in metres.  The field lies with its length along x and its rows
along it; nothing is drawn here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import floor, isclose, log, sqrt

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

#: Between framed beds at the least, and from them to the edge of the field, where nothing is given: room for a
#: wheelbarrow, 2 ft [m].
FRAME_PATH = FRAME_MARGIN = 0.6

#: Side of the square in a frame that a plant takes at the least, a foot [m].
PLANT_ROOM = 0.3

ASSUMPTIONS = (
    "Where no path is given, rows 1.2 m (4 ft) apart or more leave half of their spacing as path.",
    "A spot that is fed on its own is taken as a square of 0.9 m (3 ft).",
    "A framed bed is taken as 2.4 by 1.2 m (8 by 4 ft) inside. Where nothing else is given its plants have the room "
    "that is published for the crop, with 0.6 m (2 ft) between beds at the least, and from them to the edge.",
    "Vines, and roots after them, are drawn as reaching half of the published row spacing from the plant.",
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
        Row to row, and spot to spot in the row; of frames, from middle to
        middle across and along the field.
    plants : int
        To a spot.
    bed : float
        Width of the bed along a row; the rest of the row spacing is path.
        Of a framed bed, its width inside.
    rows : numpy.ndarray
        Middle of each row across the field; of frames, of each row of them.
    spots : numpy.ndarray
        Place of each spot along a row; of frames, of each frame in the fullest row.
    spot : float
        Side of the square fed at a spot.
    frames : int
        Framed beds; 0 for none.
    frame_length : float
        Inside; 0 for none.
    grid : tuple of int
        Spots in a frame, along it and across.
    places : numpy.ndarray
        Middle of each frame, along and across the field, shape (frames, 2).
    margin : float
        Least from a frame to the edge of the field, as asked for.
    frame_room : float
        Ground that the plants of one frame run over [m2].
    reach : float
        From a plant in a frame to where its vines end.
    counted : bool
        Whether the number of frames was given, not how many fit.
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
    grid: tuple[int, int] = (0, 0)
    places: Array = field(default_factory=lambda: np.empty((0, 2)))
    margin: float = 0.0
    frame_room: float = 0.0
    reach: float = 0.0
    counted: bool = True

    @property
    def spots_per_frame(self) -> int:
        """Spots in one frame."""
        return self.grid[0] * self.grid[1]

    @property
    def frame_spots(self) -> Array:
        """Place of each spot in each frame, along and across the field [m], shape (frames, spots, 2)."""
        along, across = (
            side * ((np.arange(count) + 0.5) / max(count, 1) - 0.5)
            for side, count in zip(self.each, self.grid, strict=True)
        )
        inside = np.stack(np.meshgrid(along, across, indexing="ij"), axis=-1).reshape(-1, 2)
        return np.asarray(self.places[:, np.newaxis] + inside)

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
        room = self.frames * self.frame_room if self.frames else self.count * self.row_spacing * self.spacing
        return min(self.area, room)

    @property
    def each(self) -> tuple[float, float]:
        """Length and width of one bed."""
        return (self.frame_length if self.frames else self.length), self.bed


def fits(length: float, each: float) -> int:
    """How many times ``each`` goes into ``length``; at least once."""
    return max(1, floor(length / each + _TOLERANCE))


def _said(metres: float) -> str:
    """A length in both units, for a message: its key may have been in either."""
    return f"{metres:.3g} m ({metres / M_PER_FT:.3g} ft)"


def _middles(length: float, each: float, count: int) -> Array:
    """Middles of ``count`` stretches, themselves in the middle of the length."""
    return np.asarray(length / 2 + each * (np.arange(count) - (count - 1) / 2))


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
        If the path leaves no bed, or the spots would overlap or leave the bed.
    """
    if path is None:
        path = PATH_SHARE * row_spacing if row_spacing >= PATH_FROM else 0.0
    if path >= row_spacing:
        raise FieldFileError(
            f"path = {path:.2g} m in [field.beds] leaves no bed between rows {row_spacing:.2g} m apart; make it smaller"
        )
    bed = min(row_spacing - path, width)
    if spot is not None and spot > min(spacing, bed) + _TOLERANCE:
        raise FieldFileError(
            f"spot = {_said(spot)} in [field.beds] is more than the {_said(min(spacing, bed))} that each spot has; "
            "make it smaller, or leave it out"
        )
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
    row_spacing: float,
    spacing: float,
    plants: int,
    frames: int = 0,
    frame_length: float | None = None,
    frame_width: float | None = None,
    apart: tuple[float | None, float | None] = (None, None),
    path: float | None = None,
    margin: float | None = None,
    spot: float | None = None,
    squared: bool = False,
    us: bool = False,
) -> Layout:
    """Framed beds, evenly over the field.

    Parameters
    ----------
    length, width : float
        Of the field.
    row_spacing, spacing : float
        That the crop is published to stand at, which gives the spots in a
        frame and, where nothing else is given, the room of a frame.
    plants : int
        To a spot.
    frames : int
        How many; 0 for as many as go in.
    frame_length, frame_width : float, optional
        Inside; by default :data:`FRAME`.
    apart : tuple of (float or None)
        From the middle of a frame to that of the next, along and across.
    path : float, optional
        Between two frames either way, instead.
    margin : float, optional
        Least from a frame to the edge; by default :data:`FRAME_MARGIN`.
    spot : float, optional
        Side of the square that is fed at a spot.
    squared, us : bool
        Whether only the area was known, and whether boards are those of the
        United States.

    Returns
    -------
    Layout
        At what is given, in the middle of the field; a number of frames
        without a spacing or path is spread over all of it.

    Raises
    ------
    FieldFileError
        If frames would overlap or leave the field, or are too small for what
        is to stand in them.
    """
    usual = FRAME["us" if us else "metric"]
    inside = (usual[0] if frame_length is None else frame_length, usual[1] if frame_width is None else frame_width)
    grid = (fits(inside[0] * (1 + FRAME_GIVES), spacing), fits(inside[1] * (1 + FRAME_GIVES), row_spacing))
    margin = FRAME_MARGIN if margin is None else margin
    _check_frame(inside, grid, plants, apart, spot)
    field_sides = (length, width)
    least = [
        max(count * each, side + FRAME_PATH)
        for count, each, side in zip(grid, (spacing, row_spacing), inside, strict=True)
    ]
    asked = [
        given if given is not None else None if path is None else side + path
        for given, side in zip(apart, inside, strict=True)
    ]
    pitch = [given if given is not None else room for given, room in zip(asked, least, strict=True)]
    along, across = (
        max(0, floor((whole - 2 * margin - side) / each + _TOLERANCE) + 1)
        for whole, side, each in zip(field_sides, inside, pitch, strict=True)
    )
    if along * across < max(frames, 1):
        raise FieldFileError(
            f"{frames or 'frames'}{' frames' if frames else ''} of {_said(inside[0])} by {_said(inside[1])}, "
            f"{_said(pitch[0])} and {_said(pitch[1])} from middle to middle, with a margin of {_said(margin)} do not "
            f"go onto {_said(length)} by {_said(width)}, which holds {along * across}; give fewer or smaller ones, or "
            "another spacing, path or margin in [field.beds]"
        )
    shape = [whole / each for whole, each in zip(field_sides, pitch, strict=True)]
    rows = _rows_of_frames(frames, along, across, shape)
    if frames:
        pitch = [
            each if given is not None else _spread(whole, side, margin, each, count)
            for whole, side, each, given, count in zip(
                field_sides, inside, pitch, asked, (max(rows), len(rows)), strict=True
            )
        ]
    middles = _middles(width, pitch[1], len(rows))
    room = [
        given if given is not None else max(published, each)
        for given, published, each in zip(apart, least, pitch if path is not None else least, strict=True)
    ]
    return Layout(
        length=length,
        width=width,
        squared=squared,
        kind="frames",
        row_spacing=pitch[1],
        spacing=pitch[0],
        plants=plants,
        bed=inside[1],
        rows=middles,
        spots=_middles(length, pitch[0], max(rows)),
        spot=min(SPOT, inside[0] / grid[0], inside[1] / grid[1]) if spot is None else spot,
        frames=sum(rows),
        frame_length=inside[0],
        grid=grid,
        places=np.array(
            [(x, y) for y, count in zip(middles, rows, strict=True) for x in _middles(length, pitch[0], count)]
        ),
        margin=margin,
        frame_room=room[0] * room[1],
        reach=row_spacing / 2,
        counted=frames > 0,
    )


def _check_frame(
    inside: tuple[float, float],
    grid: tuple[int, int],
    plants: int,
    apart: tuple[float | None, float | None],
    spot: float | None,
) -> None:
    """Refuse frames that overlap, and frames too small for what stands in them."""
    for name, given, side, of in zip(
        ("spacing", "row_spacing"), apart, inside, ("frame_length", "frame_width"), strict=True
    ):
        if given is not None and given < side - _TOLERANCE:
            raise FieldFileError(
                f"{name} = {_said(given)} in [field.beds] lets frames overlap whose {of} is {_said(side)}; frames "
                f"stand {name} from middle to middle, so make it larger, or the frames smaller"
            )
    count = grid[0] * grid[1] * plants
    if count * PLANT_ROOM**2 > inside[0] * inside[1] + _TOLERANCE:
        raise FieldFileError(
            f"a frame of {_said(inside[0])} by {_said(inside[1])} in [field.beds] is too small for {count} "
            f"plant{'s' if count > 1 else ''}, which take {PLANT_ROOM:g} by {PLANT_ROOM:g} m each (assumed); make it "
            "larger, or give fewer plants"
        )
    free = min(inside[0] / grid[0], inside[1] / grid[1])
    if spot is not None and spot > free + _TOLERANCE:
        raise FieldFileError(
            f"spot = {_said(spot)} in [field.beds] is more than the {_said(free)} that each spot of a frame has; make "
            "it smaller, or leave it out"
        )


def _rows_of_frames(frames: int, along: int, across: int, shape: list[float]) -> list[int]:
    """Frames in each row of them, as even as they can be.

    Parameters
    ----------
    frames : int
        0 for all that fit.
    along, across : int
        That fit into a row, and rows that fit.
    shape : list of float
        Spacings that the field is long and wide, whose ratio a block of frames keeps to.
    """
    if not frames:
        return [along] * across

    def uneven(rows: int) -> float:
        return abs(log(shape[0] / -(-frames // rows) * rows / shape[1]))

    rows = min(range(-(-frames // along), min(across, frames) + 1), key=uneven)
    return [round(frames * (row + 1) / rows) - round(frames * row / rows) for row in range(rows)]


def _spread(whole: float, side: float, margin: float, least: float, count: int) -> float:
    """From middle to middle where frames are spread over a side: its edges get half a path, or the margin."""
    if count == 1:
        return least
    return max(least, min(whole / count, (whole - 2 * margin - side) / (count - 1)))
