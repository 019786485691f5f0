"""What to load: sheet, straw, boards, seed and heaps, in what can be bought.

Lengths in metres, volumes in cubic metres, weights in kilograms or tonnes on
the way in; what comes out is in the units asked for, since a bag, a board and
a roll are of one size here and another there.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10
from typing import TYPE_CHECKING

from covercrop.base import units
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds.layout import Layout

#: A need that overshoots a whole number by less than this still takes that number.
_TOLERANCE = 1e-6

#: Laid over its neighbour, and buried or held down at each edge [m].
SHEET_OVERLAP, SHEET_EDGE = 0.15, 0.15

#: Taken into the roll, where the edge is rolled round a board [m].
SHEET_ROLLED = 0.3

#: A sheet this much narrower than wanted is still taken: its edges lie a little shallower [m].
SHEET_GIVES = 0.05

#: Usual widths of sheet as it is bought, where none is given [m].
SHEET_WIDTHS = {
    "metric": (1.2, 1.8, 2.4, 3.0, 3.6, 4.8, 6.0, 8.0, 12.0),
    "us": tuple(feet * units.M_PER_FT for feet in (4, 6, 8, 10, 12, 16, 20, 26, 40)),
}

#: From pin to pin along an edge and along an overlap, and from weight to weight [m].
PIN_EDGE, PIN_EVERY, WEIGHT_EVERY = MODELS.supplies.pin_edge.value, 1.0, 1.5

#: From staple to staple where a cut sheet is folded up the boards of a frame [m]; screws to a frame whose boards meet
#: at the corners; stones on the sheet between the frames, to a frame.
FLAP_EVERY, FRAME_SCREWS, FRAME_STONES = units.M_PER_FT, 8, 1

#: Planting holes across, in sheet and in an organic cover [m].
SHEET_HOLE, MULCH_HOLE = 0.1, 0.3

#: Settled depth of straw, where none is given, and what a bale makes, settled [m, m3].
MULCH_DEPTH, BALE = 0.1, MODELS.supplies.bale.value

#: Manure and compost sink by this share once spread [1].
SETTLING = 0.2

#: Boards as they are bought [m], and how far apart a long side is held.
BOARD_STOCK, POST_EVERY = {"metric": 2.4, "us": 8 * units.M_PER_FT}, 4 * units.M_PER_FT
BOARD_HEIGHT = {"metric": 0.2, "us": MODELS.supplies.board_us.value}

#: A bag, a heaped wheelbarrow and a pickup's bed [m3], and what a pickup may carry [t].
BAG = {"metric": 0.05, "us": units.M_PER_FT**3}
BARROW = {"metric": 0.08, "us": 3 * units.M_PER_FT**3}
TRUCK, TRUCK_LOAD = 1.5, 0.7

#: From this many bags on, one has it tipped.
MOST_BAGS = 60

#: Seed and plants beyond the need [1].
SPARE = 0.1

#: Seed that a packet of inoculant is good for, 50 lb [kg].
INOCULANT = 50 * units.KG_PER_LB

ASSUMPTIONS = (
    "Sheet overlaps by 15 cm (6 in), and its edges take 15 cm; pins stand 30 cm (1 ft) apart along edges "
    "and 1 m (3 ft) along overlaps, weights 1.5 m (5 ft). An edge that is rolled up takes 30 cm (12 in). What is "
    "folded up a frame is stapled every 30 cm (1 ft), two screws hold each of its corners, and one stone to a frame "
    "lies on the sheet between them.",
    "A small bale of straw, shaken out and settled, covers 7 m2 to 5 cm (76 square feet, two inches deep): two pages "
    "without an author say so, and loose straw would go further.",
    "Manure, compost and loose mulch sink by a fifth once spread, so a quarter more is loaded than lies in the end.",
    "A wheelbarrow holds 80 litres (3 cubic feet), a pickup 1.5 m3 (2 cubic yards) and no more than 0.7 t (1,500 lb): "
    "yours may hold less.",
    "A tenth of seed and plants is spare.",
    "A packet of inoculant is taken to be good for 22 kg (50 lb) of seed: its label comes first.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A line of the list.

    Attributes
    ----------
    group : str
        Under which heading it stands.
    item : str
    quantity : float
        Rounded up to what can be bought.
    unit : str
        Empty for things that are counted.
    why : str
        The exact need, and what it is for.
    """

    group: str
    item: str
    quantity: float
    unit: str
    why: str


def up_to(need: float, step: float = 1.0) -> float:
    """A need rounded up to whole steps."""
    return round(ceil(need / step - _TOLERANCE) * step, 9)  # a tenth is not a whole binary fraction


def figures(need: float, count: int = 2, least: float = 1.0) -> float:
    """A need rounded up to a few figures, in steps no smaller than ``least``."""
    return up_to(need, max(least, 10.0 ** (floor(log10(need)) - count + 1))) if need > 0 else 0.0


# --- what covers the ground -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Strips of sheet.

    Attributes
    ----------
    strips : int
    width, cut : float
        Of one strip, its edges included [m].
    seam, rim : float
        Overlaps, and outer edges, in all [m].
    covered : float
        Ground that is covered [m2].
    """

    strips: int
    width: float
    cut: float
    seam: float
    rim: float
    covered: float

    @property
    def length(self) -> float:
        """To buy, in all [m]."""
        return self.strips * self.cut


def covered_area(layout: Layout, covering: str) -> float:
    """Ground under a covering, holes and all [m2]."""
    return {"everywhere": layout.area, "rows": layout.bed_area, "paths": layout.path_area}[covering]


def sheet(
    layout: Layout, covering: str, bought: float | None = None, *, edge: float = SHEET_EDGE, us: bool = False
) -> Sheet:
    """Strips that cover the rows, the paths or everything.

    Parameters
    ----------
    layout : Layout
    covering : str
        ``everywhere``, ``rows`` or ``paths``.
    bought : float, optional
        Width as it is bought [m]; by default the least of the usual ones that
        does it in one strip, or else the widest.
    edge : float
        That is buried, held down or rolled up on each side [m].
    us : bool
        Which widths are usual.

    Notes
    -----
    The paths between framed beds are covered in strips over the whole field,
    cut out where the beds stand.
    """
    usual = SHEET_WIDTHS["us" if us else "metric"]
    if covering == "everywhere" or layout.frames:
        across, runs, length = layout.width, 1, layout.length
        if covering == "rows":
            across, runs, length = layout.bed, layout.frames, layout.frame_length
    else:
        wide = layout.bed if covering == "rows" else layout.row_spacing - layout.bed
        # Half a path runs along either side of the field, which together are one more.
        across, runs, length = wide, layout.rows.size, layout.length
    need = across + 2 * edge
    if bought is None:
        bought = next((width for width in usual if width >= need - SHEET_GIVES), usual[-1])
    abreast = max(1, ceil((need - SHEET_GIVES - SHEET_OVERLAP) / (bought - SHEET_OVERLAP) - _TOLERANCE))
    cut = length + 2 * edge
    return Sheet(
        strips=runs * abreast,
        width=bought,
        cut=cut,
        seam=runs * (abreast - 1) * cut,
        rim=runs * 2 * (cut + need),
        covered=covered_area(layout, covering),
    )


def bales(area: float, depth: float) -> int:
    """Small bales for a settled depth of straw."""
    return ceil(area * depth / BALE - _TOLERANCE)


# --- frames ---------------------------------------------------------------------------------------


def boards(pieces: Sequence[float], stock: float) -> int:
    """Boards of one length that a list of pieces is cut from.

    Parameters
    ----------
    pieces : sequence of float
        [m]; one longer than a board is spliced from whole ones and a rest.
    stock : float
        Length of a board [m].

    Returns
    -------
    int
        Longest piece first, each from the first board that has enough left.
    """
    whole, rests = 0, []
    for piece in pieces:
        full = int(piece / stock + _TOLERANCE)
        whole += full
        if piece - full * stock > _TOLERANCE:
            rests.append(piece - full * stock)
    left: list[float] = []
    for rest in sorted(rests, reverse=True):
        place = next((index for index, free in enumerate(left) if free >= rest - _TOLERANCE), None)
        if place is None:
            left.append(stock - rest)
        else:
            left[place] -= rest
    return whole + len(left)


def posts(length: float, width: float) -> int:
    """Posts of one frame: one to a corner, and more along sides longer than :data:`POST_EVERY`."""
    between = sum(ceil(side / POST_EVERY - _TOLERANCE) - 1 for side in (length, width))
    return 4 + 2 * max(0, between)


def flap_staples(length: float, width: float) -> int:
    """Staples that hold what is folded up the boards of one frame, every :data:`FLAP_EVERY`."""
    return sum(2 * ceil(side / FLAP_EVERY - _TOLERANCE) for side in (length, width))


# --- heaps ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Loads:
    """A heap in what carries it.

    Attributes
    ----------
    loose : float
        To load, before it settles [m3].
    bags, barrows, trucks : int
        Each for the whole of it.
    """

    loose: float
    bags: int
    barrows: int
    trucks: int


def loads(settled: float, mass: float, *, us: bool) -> Loads:
    """What carries a heap that is to lie settled.

    Parameters
    ----------
    settled : float
        [m3].
    mass : float
        [t]; a pickup is full by volume or by weight.
    us : bool
    """
    market = "us" if us else "metric"
    loose = settled / (1 - SETTLING)
    return Loads(
        loose=loose,
        bags=ceil(loose / BAG[market] - _TOLERANCE),
        barrows=ceil(loose / BARROW[market] - _TOLERANCE),
        trucks=ceil(max(loose / TRUCK, mass / TRUCK_LOAD) - _TOLERANCE),
    )
