"""The list to load the truck with, line by line, each with the exact need beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from covercrop.base.units import M_PER_FT
from covercrop.beds import materials
from covercrop.beds.lengths import Measures
from covercrop.beds.materials import Item, figures, up_to

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds.layout import Layout
    from covercrop.beds.materials import Loads
    from covercrop.beds.nutrients import Dose
    from covercrop.field.bed_entries import BedsEntry
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop

SEED, GROUND, FRAMES, HEAPS, AUTUMN = (
    "Seed and plants",
    "On the ground",
    "Frames",
    "Manure and compost",
    "For next autumn",
)

#: Where the covering lies, in words.
_COVERED = {"everywhere": "the whole field", "rows": "the beds", "paths": "the paths"}
_PLACED = {"field": "the whole field", "beds": "the beds", "spots": "the spots"}


def for_planting(layout: Layout, crop: Crop, seeds: int, *, transplant: bool) -> list[Item]:
    """Seed, or plants to set out.

    Parameters
    ----------
    layout : Layout
    crop : Crop
    seeds : int
        To a spot.
    transplant : bool
    """
    left = layout.count * layout.plants
    spots = f"{layout.count:,} {'spots' if layout.kind != 'rows' else 'places in the row'}"
    if transplant:
        need = left * (1 + materials.SPARE)
        why = f"{left:,} to set out, {spots} of {layout.plants}; a tenth spare"
        return [Item(group=SEED, item=f"{crop.common_name} plants", quantity=figures(need, 3), unit="", why=why)]
    need = layout.count * seeds * (1 + materials.SPARE)
    why = f"{spots}, {seeds} to each, thinned to {layout.plants}; a tenth spare"
    if seeds == layout.plants:
        why = f"{spots}, {seeds} to each; a tenth spare"
    return [Item(group=SEED, item=f"{crop.common_name} seeds", quantity=figures(need), unit="", why=why)]


def for_ground(layout: Layout, entry: BedsEntry, ground_cover: str, *, us: bool) -> list[Item]:
    """Straw or sheet, what holds it down, and the planting holes.

    Parameters
    ----------
    layout : Layout
    entry : BedsEntry
    ground_cover : str
        One of :data:`covercrop.models.soil_temperature.GROUND_COVERS`.
    us : bool
    """
    covering, say = entry.where_covered(ground_cover), Measures(us)
    if covering is None:
        return []
    if ground_cover == "straw":
        return _straw(layout, covering, entry.mulch_m or materials.MULCH_DEPTH, say)
    if entry.in_squares(ground_cover):
        return [*_sheet(layout, entry, covering, say), *_squares(layout, say), *_square_mulch(layout, entry, say)]
    holes = _holes(layout, materials.SHEET_HOLE, say) if covering != "paths" else []
    return [*_sheet(layout, entry, covering, say), *holes]


def _straw(layout: Layout, covering: str, depth: float, say: Measures) -> list[Item]:
    holes = layout.kind != "rows" and covering != "paths"
    across = min(materials.MULCH_HOLE, layout.spot)
    area = materials.covered_area(layout, covering) - (layout.count * across**2 if holes else 0.0)
    volume, count = area * depth, materials.bales(area, depth)
    why = f"{say.volume(volume)} settled: {say.depth(depth)} on {say.area(area)}, {_COVERED[covering]}"
    items = [Item(group=GROUND, item="small bales of straw", quantity=count, unit="", why=why)]
    return [*items, *_holes(layout, across, say)] if holes else items


def _sheet(layout: Layout, entry: BedsEntry, covering: str, say: Measures) -> list[Item]:
    rolled = entry.edges == "rolled"
    edge = materials.SHEET_ROLLED if rolled else materials.SHEET_EDGE
    sheet = materials.sheet(layout, covering, entry.sheet_width_m, edge=edge, us=say.us)
    foot, unit = (M_PER_FT, "ft") if say.us else (1.0, "m")
    length = up_to(sheet.length / foot)
    strips = f"{sheet.strips} strip{'s' if sheet.strips > 1 else ''} of {say.length(sheet.cut)}"
    seam = f", {say.depth(materials.SHEET_OVERLAP)} overlap" if sheet.seam else ""
    buried = f", edges {entry.edges}" if entry.edges in ("buried", "rolled") else ""
    why = f"{strips}{seam}{buried}; covers {say.area(sheet.covered)}, {_COVERED[covering]}"
    items = [
        Item(group=GROUND, item=f"black sheet, {say.length(sheet.width)} wide", quantity=length, unit=unit, why=why)
    ]
    rim = sheet.rim if entry.edges == "pinned" else 0.0
    pinned = [
        f"one every {say.length(every)} on {say.length(long)} {where}"
        for every, long, where in (
            (materials.PIN_EDGE, rim, "along edges"),
            (materials.PIN_EVERY, sheet.seam, "along the overlaps"),
        )
        if long
    ]
    if pinned:
        need = rim / materials.PIN_EDGE + sheet.seam / materials.PIN_EVERY
        items.append(
            Item(group=GROUND, item="ground staples", quantity=figures(need), unit="", why=" and ".join(pinned))
        )
    if entry.edges == "weighted":
        items.append(
            Item(
                group=GROUND,
                item="sandbags or stones",
                quantity=figures(sheet.rim / materials.WEIGHT_EVERY),
                unit="",
                why=f"one every {say.length(materials.WEIGHT_EVERY)} on {say.length(sheet.rim)} of edge",
            )
        )
    if entry.edges in ("boards", "rolled"):
        stock = materials.BOARD_STOCK["us" if say.us else "metric"]
        how = "to roll the edge round" if rolled else "laid end to end"
        items.append(
            Item(
                group=GROUND,
                item=f"boards for the edges, {say.length(stock)} long",
                quantity=up_to(sheet.rim / stock),
                unit="",
                why=f"{how}, on {say.length(sheet.rim)} of edge",
            )
        )
    return items


def _squares(layout: Layout, say: Measures) -> list[Item]:
    """Squares cut into a sheet, and what holds it between them."""
    side = f"{say.length(layout.frame_length)} by {say.length(layout.bed)}"
    staples = materials.flap_staples(layout.frame_length, layout.bed)
    return [
        Item(
            group=GROUND,
            item="squares to cut into the sheet",
            quantity=layout.frames,
            unit="",
            why=f"{side}, one to a frame, cut from corner to corner and folded up inside the boards",
        ),
        Item(
            group=GROUND,
            item="staples for what is folded up",
            quantity=staples * layout.frames,
            unit="",
            why=f"{staples} to a frame, one every {say.length(materials.FLAP_EVERY)} of its boards",
        ),
        Item(
            group=GROUND,
            item="stones between the frames",
            quantity=materials.FRAME_STONES * layout.frames,
            unit="",
            why="on the sheet, one to a frame, against wind",
        ),
    ]


def _square_mulch(layout: Layout, entry: BedsEntry, say: Measures) -> list[Item]:
    """A mulch over what is in the squares, by its kind, and the holes to plant through it."""
    across = min(materials.MULCH_HOLE, layout.spot)
    holes = _holes(layout, across, say)
    if entry.mulch_m is None:
        return holes
    area = layout.bed_area - layout.count * across**2
    volume = area * entry.mulch_m
    why = f"{say.volume(volume)} settled: {say.depth(entry.mulch_m)} on {say.area(area)}, in all squares"
    if entry.mulch == "straw":
        count = materials.bales(area, entry.mulch_m)
        return [Item(group=GROUND, item="small bales of straw", quantity=count, unit="", why=why), *holes]
    carried = materials.loads(volume, 0.0, us=say.us)
    value, unit = say.heap(carried.loose)
    mulch = Item(
        group=GROUND,
        item=entry.mulch.replace("-", " "),
        quantity=figures(value, least=_least(unit)),
        unit=unit,
        why=f"{why}; {_carriers(carried, say)}",
    )
    return [mulch, *holes]


def _holes(layout: Layout, across: float, say: Measures) -> list[Item]:
    why = f"{say.depth(across)} across, one to a spot"
    return [Item(group=GROUND, item="planting holes to open", quantity=layout.count, unit="", why=why)]


def for_frames(layout: Layout, board_height: float | None, *, us: bool, on_sheet: bool = False) -> list[Item]:
    """Boards of framed beds, and posts that hold them, or screws where they stand on a sheet; none without frames."""
    if not layout.frames:
        return []
    say = Measures(us)
    stock = materials.BOARD_STOCK["us" if us else "metric"]
    height = materials.BOARD_HEIGHT["us" if us else "metric"] if board_height is None else board_height
    sides = [layout.frame_length, layout.frame_length, layout.bed, layout.bed]
    cut = f"{layout.frames} frame{'s' if layout.frames > 1 else ''}, each 2 of {say.length(sides[0])} and 2 of "
    cut += f"{say.length(sides[2])}; {say.length(sum(sides) * layout.frames)} in all; wood that is not treated"
    count = materials.posts(layout.frame_length, layout.bed) * layout.frames
    held = Item(
        group=FRAMES,
        item="posts",
        quantity=count,
        unit="",
        why=f"at the corners, and every {say.length(materials.POST_EVERY)} along longer sides",
    )
    if on_sheet:
        screws = materials.FRAME_SCREWS
        why = f"{screws} to a frame, at its corners; no posts, which would hole the sheet"
        held = Item(group=FRAMES, item="screws", quantity=screws * layout.frames, unit="", why=why)
    return [
        Item(
            group=FRAMES,
            item=f"boards {say.depth(height)} high, {say.length(stock)} long",
            quantity=materials.boards(sides * layout.frames, stock),
            unit="",
            why=cut,
        ),
        held,
    ]


def for_heaps(doses: Sequence[Dose], *, us: bool) -> list[Item]:
    """Manure and compost, by what carries it; what is spread already is left out by the caller."""
    return [_heap(dose, Measures(us)) for dose in doses]


def _heap(dose: Dose, say: Measures) -> Item:
    carried = materials.loads(dose.volume, dose.mass, us=say.us)
    value, unit = say.heap(carried.loose)
    if dose.entry.depth_m is not None:
        laid = f"{say.depth(dose.entry.depth_m)} on {say.area(dose.area)}"
    else:
        laid = f"on {say.area(dose.area)}"
    return Item(
        group=HEAPS,
        item=dose.material.common_name,
        quantity=figures(value, least=_least(unit)),
        unit=unit,
        why=f"{say.volume(dose.volume)} settled: {laid}, {_PLACED[dose.entry.where]}; "
        f"{_carriers(carried, say)}, {say.tonnes(dose.mass)}",
    )


def _least(unit: str) -> float:
    """The step in which a heap is bought."""
    return 0.1 if unit in ("m³", "yd³") else 1.0


def _carriers(carried: Loads, say: Measures) -> str:
    """What carries a heap: wheelbarrows, bags and pickup loads."""
    count = f"{carried.barrows:,} wheelbarrow{'s' if carried.barrows > 1 else ''}"
    if carried.bags <= materials.MOST_BAGS:
        bag = "1 ft³" if say.us else "50 L"
        count += f" or {carried.bags} bag{'s' if carried.bags > 1 else ''} of {bag}"
    if carried.trucks > 1 or carried.bags > materials.MOST_BAGS:
        count += f", {carried.trucks} pickup load{'s' if carried.trucks > 1 else ''}"
    return count


def for_autumn(cover: Cover, area: float, *, us: bool, cereal: Companion | None = None) -> list[Item]:
    """Seed and inoculant of the same cover, and of the cereal beside it, for the whole field.

    Parameters
    ----------
    cover : Cover
    area : float
        [m2].
    us : bool
    cereal : Companion, optional
        Sown thin enough that the legume leads.
    """
    say = Measures(us)
    need = cover.sowing.broadcast.value * area / 10_000
    value, unit = say.weighed(need * (1 + materials.SPARE))
    packets = up_to(need * (1 + materials.SPARE) / materials.INOCULANT)
    return [
        Item(
            group=AUTUMN,
            item=f"{cover.common_name} seed",
            quantity=figures(value, least=0.5),
            unit=unit,
            why=f"{say.weight(need)} broadcast at {say.rate(cover.sowing.broadcast.value)}"
            f"{f', {say.garden_rate(cover.sowing.broadcast.value)}' if cereal else ''}; a tenth spare",
        ),
        *([] if cereal is None else [_cereal_seed(cereal, area, say)]),
        Item(
            group=AUTUMN,
            item="inoculant",
            quantity=packets,
            unit="packet" if packets == 1 else "packets",
            why=f"{cover.inoculant}; fresh, and kept cool",
        ),
    ]


def _cereal_seed(cereal: Companion, area: float, say: Measures) -> Item:
    """Seed of a cereal beside a legume that is to lead."""
    beside = cereal.sowing.beside.value
    part = beside / cereal.sowing.alone.value
    need = beside * area / 10_000
    value, unit = say.weighed(need * (1 + materials.SPARE))
    return Item(
        group=AUTUMN,
        item=f"{cereal.common_name} seed",
        quantity=figures(value, least=0.5),
        unit=unit,
        why=f"{say.weight(need)} at {say.rate(beside)}, {say.garden_rate(beside)}: {part:.0%} of what is sown of it "
        "alone, so that the legume leads; a tenth spare",
    )
