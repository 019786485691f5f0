"""What the field file says about beds, amendments and the soil: its optional tables.

Lengths are given in metres or feet, depths in centimetres or inches, each by
the ending of its key, and are metres from here on.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from covercrop.base import units
from covercrop.base.errors import FieldFileError, ParameterError
from covercrop.field.table import Table
from covercrop.parameters import catalogue

if TYPE_CHECKING:
    from typing import Any

LAYOUTS = ("rows", "hills", "frames")
COVERINGS = ("everywhere", "rows", "paths")
EDGES = ("buried", "weighted", "pinned", "boards", "rolled")
MULCHES = ("straw", "leaf-mould", "wood-chips", "clippings")
PLACES = ("field", "beds", "spots")
METHODS = ("vessel", "aerated-pile", "windrow")
LEFT = ("leave", "take")

_BEDS = (
    *(
        f"{stem}_{unit}"
        for stem in ("length", "width", "row_spacing", "spacing", "path", "spot", "sheet_width", "margin")
        for unit in ("m", "ft")
    ),
    *(f"{stem}_{unit}" for stem in ("frame_length", "frame_width") for unit in ("m", "ft")),
    *(f"{stem}_{unit}" for stem in ("board", "mulch") for unit in ("cm", "in")),
    *("layout", "plants", "seeds", "covering", "edges", "mulch_kind", "frames"),
)
_AMENDMENT = (
    "material",
    "depth_cm",
    "depth_in",
    "rate_t_ha",
    "rate_ton_acre",
    "where",
    "applied",
    "worked_in",
    "heated",
    "bucket_kg",
    "bucket_lb",
    "n_percent",
    "p2o5_percent",
    "k2o_percent",
    "available_percent",
    "composting",
)
_COMPOSTING = (
    "method",
    "carbon_nitrogen",
    "days",
    "turnings",
    "coolest_c",
    "coolest_f",
    "hottest_c",
    "hottest_f",
)
_SOIL = ("organic_matter_percent", "crops_before", "after_harvest")

_LENGTH = (("m", 1.0), ("ft", units.M_PER_FT))
_DEPTH = (("cm", 0.01), ("in", units.M_PER_IN))

#: A metric bucket, and the five-gallon one [m3].
BUCKET_M3, BUCKET_US_M3 = 0.010, 5 * units.M3_PER_GAL

T_HA_PER_TON_ACRE = units.KG_HA_PER_LB_ACRE * 2000 / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class BedsEntry:
    """How the field is to be laid out; None where the file leaves it to the crop.

    Attributes
    ----------
    length_m, width_m : float or None
        Of the field; rows run along its length.
    layout : str or None
        One of :data:`LAYOUTS`.
    row_spacing_m, spacing_m, path_m, spot_m : float or None
        Row to row, spot to spot in the row, the path between two rows, and
        the side of the square that is dug and fed at a spot.  Of frames,
        from middle to middle across and along the field, and the path
        between them either way.
    plants, seeds : int or None
        To a spot.
    covering : str or None
        What the crop's ground cover lies on; one of :data:`COVERINGS`.
    sheet_width_m : float or None
        Of the sheet as it is bought.
    edges : str
        How its edges are held; one of :data:`EDGES`.
    mulch_m : float or None
        Settled depth of an organic cover; of that in the squares of a sheet.
    mulch : str
        What is laid in the squares of a sheet; one of :data:`MULCHES`.
    frames : int
        Framed beds; 0 for none, or, where something else of them is given,
        for as many as go in.
    margin_m : float or None
        Least from a frame to the edge of the field.
    frame_length_m, frame_width_m, board_m : float or None
        Of one frame, inside, and the height of its boards.
    """

    length_m: float | None = None
    width_m: float | None = None
    layout: str | None = None
    row_spacing_m: float | None = None
    spacing_m: float | None = None
    path_m: float | None = None
    spot_m: float | None = None
    plants: int | None = None
    seeds: int | None = None
    covering: str | None = None
    sheet_width_m: float | None = None
    edges: str = "buried"
    mulch_m: float | None = None
    mulch: str = "straw"
    frames: int = 0
    margin_m: float | None = None
    frame_length_m: float | None = None
    frame_width_m: float | None = None
    board_m: float | None = None

    @property
    def framed(self) -> bool:
        """Whether the beds have frames: their number, or anything else of them, is given."""
        described = (self.margin_m, self.frame_length_m, self.frame_width_m, self.board_m)
        return bool(self.frames) or self.layout == "frames" or any(each is not None for each in described)

    def where_covered(self, ground_cover: str) -> str | None:
        """Where the crop's ground cover lies; None on bare ground.  A sheet with frames on it lies everywhere."""
        if ground_cover == "bare":
            return None
        return self.covering or ("rows" if ground_cover == "black-plastic" and not self.framed else "everywhere")

    def in_squares(self, ground_cover: str) -> bool:
        """Whether frames stand on a sheet that is cut open in each."""
        return self.framed and ground_cover == "black-plastic" and self.where_covered(ground_cover) == "everywhere"


@dataclass(frozen=True, slots=True, kw_only=True)
class Composting:
    """How a heap was composted, as far as it is known [degC, d]."""

    method: str | None = None
    carbon_nitrogen: float | None = None
    coolest_c: float | None = None
    hottest_c: float | None = None
    days: int | None = None
    turnings: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AmendmentEntry:
    """A manure or compost that is to go, or went, on the field.

    Attributes
    ----------
    material : str
        Key in ``data/amendments.toml``.
    depth_m, rate_kg_m2 : float or None
        One of the two: a settled depth, or a weight on each square metre.
    where : str
        One of :data:`PLACES`.
    applied : datetime.date or None
    worked_in : bool
        Whether it is mixed into the soil.
    heated : bool
        Whether it was heated and dried to be sold.
    density_t_m3 : float or None
        By the grower's own bucket.
    nitrogen, phosphate, potash : float or None
        Of the grower's own analysis [kg/t].
    available : float or None
        The grower's own share of the nitrogen in the first year [1].
    composting : Composting or None
    """

    material: str
    depth_m: float | None = None
    rate_kg_m2: float | None = None
    where: str = "field"
    applied: dt.date | None = None
    worked_in: bool = True
    heated: bool = False
    density_t_m3: float | None = None
    nitrogen: float | None = None
    phosphate: float | None = None
    potash: float | None = None
    available: float | None = None
    composting: Composting | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilEntry:
    """What is known of the soil, and what happens to the crop's remains.

    ``crops_before`` are keys of ``data/crops.toml``, last year's first.
    """

    organic_matter_percent: float | None = None
    crops_before: tuple[str, ...] = ()
    after_harvest: str | None = None


def beds(field: Table, ground_cover: str, method: str) -> BedsEntry:
    """The table [field.beds].

    Parameters
    ----------
    field : Table
        The field that it stands in.
    ground_cover : str
        What the crop is planted into, which decides what can be given here.
    method : str
        How it is planted, which decides whether there is seed.

    Raises
    ------
    FieldFileError
        If a key is not what it should be, or does not go with another.
    """
    table = field.below("beds", _BEDS, default={})
    entry = BedsEntry(
        length_m=table.either("length", _LENGTH, 0.3, 20_000),
        width_m=table.either("width", _LENGTH, 0.3, 20_000),
        layout=_choice(table, "layout", LAYOUTS),
        row_spacing_m=table.either("row_spacing", _LENGTH, 0.1, 15),
        spacing_m=table.either("spacing", _LENGTH, 0.05, 15),
        path_m=table.either("path", _LENGTH, 0, 10),
        spot_m=table.either("spot", _LENGTH, 0.1, 5),
        plants=table.whole("plants", 1, 20, "give the plants left at a spot, 1 to 20", None),
        seeds=table.whole("seeds", 1, 50, "give the seeds sown at a spot, 1 to 50", None),
        covering=_choice(table, "covering", COVERINGS),
        sheet_width_m=table.either("sheet_width", _LENGTH, 0.5, 50),
        edges=table.choice("edges", EDGES, "buried"),
        mulch_m=table.either("mulch", _DEPTH, 0.01, 0.6),
        mulch=table.choice("mulch_kind", MULCHES, "straw"),
        frames=table.whole("frames", 1, 1000, "give how many framed beds, 1 to 1000", 0),
        margin_m=table.either("margin", _LENGTH, 0, 20),
        frame_length_m=table.either("frame_length", _LENGTH, 0.3, 30),
        frame_width_m=table.either("frame_width", _LENGTH, 0.3, 5),
        board_m=table.either("board", _DEPTH, 0.05, 1),
    )
    if entry.seeds is not None and method == "transplant":
        raise table.fail("seeds", 'the crop is set out as plants; set method = "direct-seed", or leave it out')
    _check_together(table, entry, ground_cover)
    return entry


def _check_together(table: Table, entry: BedsEntry, ground_cover: str) -> None:
    if (entry.length_m is None) != (entry.width_m is None):
        given, missing = ("width", "length") if entry.length_m is None else ("length", "width")
        raise FieldFileError(f"{table.where}: {given} is given without {missing}; give both, as {missing}_m or _ft")
    if entry.plants is not None and entry.seeds is not None and entry.plants > entry.seeds:
        raise table.fail("plants", f"more than the {entry.seeds} seeds sown at a spot; give more seeds or fewer plants")
    for key, value in (("covering", entry.covering), ("mulch", entry.mulch_m), ("sheet_width", entry.sheet_width_m)):
        if value is not None and ground_cover == "bare":
            raise FieldFileError(
                f'{table.where}: {key} is given but the ground is bare; set ground_cover = "straw" or "black-plastic" '
                "in [field.crop], or leave it out"
            )
    if entry.sheet_width_m is not None and ground_cover != "black-plastic":
        raise FieldFileError(
            f"{table.where}: sheet_width is given but the ground cover is {ground_cover}; set ground_cover = "
            '"black-plastic" in [field.crop], or leave it out'
        )
    squares = entry.in_squares(ground_cover)
    if entry.mulch_m is not None and ground_cover != "straw" and not squares:
        raise FieldFileError(
            f'{table.where}: mulch is given but the ground cover is {ground_cover}; set ground_cover = "straw" in '
            "[field.crop], describe frames on a sheet that lies everywhere, or leave it out"
        )
    if "mulch_kind" in table.table and (not squares or entry.mulch_m is None):
        way_out = (
            "give its depth, as mulch_cm or _in" if squares else "it goes with frames on a black sheet; leave it out"
        )
        raise table.fail("mulch_kind", way_out)
    if "edges" in table.table and ground_cover != "black-plastic":
        raise table.fail("edges", 'only a sheet has edges to hold; set ground_cover = "black-plastic", or leave it out')
    if entry.framed:
        _check_frames(table, entry)


def _check_frames(table: Table, entry: BedsEntry) -> None:
    if entry.layout not in (None, "frames"):
        raise table.fail("layout", 'frames are described too; write "frames", or leave out what describes them')
    given = next((key for key in ("spacing", "row_spacing") if getattr(entry, f"{key}_m") is not None), None)
    if entry.path_m is not None and given is not None:
        raise FieldFileError(
            f"{table.where}: path and {given} both say how far frames stand apart; keep path, between them, or "
            f"{given}, from middle to middle"
        )


def amendments(field: Table) -> tuple[AmendmentEntry, ...]:
    """The tables [[field.amendment]].

    Raises
    ------
    FieldFileError
        If a key is not what it should be.
    """
    raw = field.list_of("amendment", "write each as its own [[field.amendment]]")
    return tuple(
        _amendment(Table(f"{field.where}: amendment {number}", entry, _AMENDMENT))
        for number, entry in enumerate(raw, start=1)
    )


def _amendment(table: Table) -> AmendmentEntry:
    named = table.text("material", f"use one of {', '.join(catalogue.material_names())}")
    try:
        material = catalogue.material(named)
    except ParameterError as error:
        raise FieldFileError(f"{table.where}: {error}") from None
    depth = table.either("depth", _DEPTH, 0.001, 1)
    rate = table.either("rate", (("t_ha", 0.1), ("ton_acre", 0.1 * T_HA_PER_TON_ACRE)), 0.001, 1000)
    if (depth is None) == (rate is None):
        both = ", not both" if depth is not None else "; for a layer write depth_cm = 5"
        raise FieldFileError(f"{table.where}: give a depth or a rate{both}")
    if "composting" in table.table and not material.composted:
        raise table.fail("composting", f"{material.key} is raw; name a composted material, or leave composting out")
    return AmendmentEntry(
        material=material.key,
        depth_m=depth,
        rate_kg_m2=rate,
        where=table.choice("where", PLACES, "field" if depth is None else "beds"),
        applied=table.date("applied", None),
        worked_in=table.flag("worked_in", default=True),
        heated=table.flag("heated", default=False),
        density_t_m3=_bucket(table),
        nitrogen=_percent(table, "n_percent", 10),
        phosphate=_percent(table, "p2o5_percent", 15),
        potash=_percent(table, "k2o_percent", 15),
        available=_share(table, "available_percent"),
        composting=_composting(table) if "composting" in table.table else None,
    )


def _bucket(table: Table) -> float | None:
    metric = table.number("bucket_kg", 1, 20, "give the weight of a full bucket of 10 litres, 1 to 20 kg", None)
    us = table.number("bucket_lb", 4, 90, "give the weight of a full 5-gallon bucket, 4 to 90 lb", None)
    if metric is not None and us is not None:
        raise table.fail("bucket_lb", "bucket_kg is given too; keep one of them")
    if metric is not None:
        return float(metric) / 1000 / BUCKET_M3
    return None if us is None else float(us) * units.KG_PER_LB / 1000 / BUCKET_US_M3


def _percent(table: Table, key: str, high: float) -> float | None:
    """A content in percent of the weight as it is spread, in kg to the tonne."""
    value = table.number(key, 0, high, f"give percent of the weight as it is spread, 0 to {high:g}", None)
    return None if value is None else 10 * float(value)


def _share(table: Table, key: str) -> float | None:
    value = table.number(key, 0, 100, "give percent, 0 to 100", None)
    return None if value is None else float(value) / 100


def _composting(table: Table) -> Composting:
    below = table.below("composting", _COMPOSTING)
    return Composting(
        method=_choice(below, "method", METHODS),
        carbon_nitrogen=below.number("carbon_nitrogen", 1, 200, "give the C:N ratio at the start, such as 30", None),
        coolest_c=_temperature(below, "coolest"),
        hottest_c=_temperature(below, "hottest"),
        days=below.whole("days", 0, 1000, "give the days at that temperature", None),
        turnings=below.whole("turnings", 0, 200, "give how often it was turned in those days", None),
    )


def _temperature(table: Table, stem: str) -> float | None:
    celsius = table.number(f"{stem}_c", 0, 100, "give degrees Celsius, 0 to 100", None)
    fahrenheit = table.number(f"{stem}_f", 32, 212, "give degrees Fahrenheit, 32 to 212", None)
    if celsius is not None and fahrenheit is not None:
        raise table.fail(f"{stem}_f", f"{stem}_c is given too; keep one of them")
    return celsius if fahrenheit is None else units.celsius_from_fahrenheit(float(fahrenheit))


def soil(field: Table) -> SoilEntry:
    """The table [field.soil].

    Raises
    ------
    FieldFileError
        If a key is not what it should be.
    """
    table = field.below("soil", _SOIL, default={})
    way_out = 'write a list of crops, last year\'s first, such as ["pumpkin", "tomato"]'
    return SoilEntry(
        organic_matter_percent=table.number("organic_matter_percent", 0, 100, "give percent, 0 to 100", None),
        crops_before=tuple(_crop(table, name, way_out) for name in table.list_of("crops_before", way_out)),
        after_harvest=_choice(table, "after_harvest", LEFT),
    )


def _crop(table: Table, name: Any, way_out: str) -> str:
    if not isinstance(name, str):
        raise table.fail("crops_before", way_out)
    try:
        return catalogue.crop(name).key
    except ParameterError as error:
        raise FieldFileError(f"{table.where}: crops_before: {error}") from None


def _choice(table: Table, key: str, choices: tuple[str, ...]) -> str | None:
    """One of a few words, or None where it is left out."""
    return table.choice(key, choices, choices[0]) if key in table.table else None
