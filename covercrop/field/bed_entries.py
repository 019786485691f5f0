"""What the field file says about beds, amendments and the soil: its optional tables.

Lengths are given in metres or feet, depths in centimetres or inches, each by
the ending of its key, and are metres from here on.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from covercrop.base import units
from covercrop.base.errors import UsageError
from covercrop.base.kinds import Choice, Number, Text, UnfitError, in_units
from covercrop.field.checks import wrong
from covercrop.parameters import catalogue

LAYOUTS = ("rows", "hills", "frames")
COVERINGS = ("everywhere", "rows", "paths")
EDGES = ("buried", "weighted", "pinned", "boards", "rolled")
MULCHES = ("straw", "leaf-mould", "wood-chips", "clippings")
PLACES = ("field", "beds", "spots")
METHODS = ("vessel", "aerated-pile", "windrow")
LEFT = ("leave", "take")

_LENGTH = {"m": 1.0, "ft": units.M_PER_FT}
_DEPTH = {"cm": 0.01, "in": units.M_PER_IN}

#: A metric bucket, and the five-gallon one [m3].
BUCKET_M3, BUCKET_US_M3 = 0.010, 5 * units.M3_PER_GAL

T_HA_PER_TON_ACRE = units.KG_HA_PER_LB_ACRE * 2000 / 1000
_RATE = {"t_ha": 0.1, "ton_acre": 0.1 * T_HA_PER_TON_ACRE}

_BUCKET = {
    "bucket_kg": Number(
        1, 20, "give the weight of a full bucket of 10 litres, 1 to 20 kg", lambda kg: kg / 1000 / BUCKET_M3
    ),
    "bucket_lb": Number(
        4,
        90,
        "give the weight of a full 5-gallon bucket, 4 to 90 lb",
        lambda pounds: pounds * units.KG_PER_LB / 1000 / BUCKET_US_M3,
    ),
}
_SHARE = Number(0, 100, "give percent, 0 to 100", lambda percent: percent / 100)


def _content(key: str, high: float) -> dict[str, Number]:
    """A content in percent of the weight as it is spread, in kg to the tonne."""
    way_out = f"give percent of the weight as it is spread, 0 to {high:g}"
    return {key: Number(0, high, way_out, lambda percent: 10 * percent)}


def _temperature(stem: str) -> dict[str, Number]:
    return {
        f"{stem}_c": Number(0, 100, "give degrees Celsius, 0 to 100"),
        f"{stem}_f": Number(32, 212, "give degrees Fahrenheit, 32 to 212", units.celsius_from_fahrenheit),
    }


def _crops(got: Any, _: Any) -> tuple[str, ...]:
    """The keys of crops in a list."""
    if not isinstance(got, list) or not all(isinstance(name, str) for name in got):
        raise UnfitError('write a list of crops, last year\'s first, such as ["pumpkin", "tomato"]')
    return tuple(catalogue.crop(name).key for name in got)


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

    length_m: Annotated[float | None, in_units("length", _LENGTH, 0.3, 20_000)] = None
    width_m: Annotated[float | None, in_units("width", _LENGTH, 0.3, 20_000)] = None
    layout: Annotated[str | None, Choice(LAYOUTS)] = None
    row_spacing_m: Annotated[float | None, in_units("row_spacing", _LENGTH, 0.1, 15)] = None
    spacing_m: Annotated[float | None, in_units("spacing", _LENGTH, 0.05, 15)] = None
    path_m: Annotated[float | None, in_units("path", _LENGTH, 0, 10)] = None
    spot_m: Annotated[float | None, in_units("spot", _LENGTH, 0.1, 5)] = None
    plants: Annotated[int | None, Number(1, 20, "give the plants left at a spot, 1 to 20", int)] = None
    seeds: Annotated[int | None, Number(1, 50, "give the seeds sown at a spot, 1 to 50", int)] = None
    covering: Annotated[str | None, Choice(COVERINGS)] = None
    sheet_width_m: Annotated[float | None, in_units("sheet_width", _LENGTH, 0.5, 50)] = None
    edges: Annotated[str, Choice(EDGES)] = "buried"
    mulch_m: Annotated[float | None, in_units("mulch", _DEPTH, 0.01, 0.6)] = None
    mulch: Annotated[str, {"mulch_kind": Choice(MULCHES)}] = "straw"
    frames: Annotated[int, Number(1, 1000, "give how many framed beds, 1 to 1000", int)] = 0
    margin_m: Annotated[float | None, in_units("margin", _LENGTH, 0, 20)] = None
    frame_length_m: Annotated[float | None, in_units("frame_length", _LENGTH, 0.3, 30)] = None
    frame_width_m: Annotated[float | None, in_units("frame_width", _LENGTH, 0.3, 5)] = None
    board_m: Annotated[float | None, in_units("board", _DEPTH, 0.05, 1)] = None

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

    method: Annotated[str | None, Choice(METHODS)] = None
    carbon_nitrogen: Annotated[float | None, Number(1, 200, "give the C:N ratio at the start, such as 30")] = None
    coolest_c: Annotated[float | None, _temperature("coolest")] = None
    hottest_c: Annotated[float | None, _temperature("hottest")] = None
    days: Annotated[int | None, Number(0, 1000, "give the days at that temperature", int)] = None
    turnings: Annotated[int | None, Number(0, 200, "give how often it was turned in those days", int)] = None


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

    material: Annotated[str, Text(f"use one of {', '.join(catalogue.material_names())}")]
    depth_m: Annotated[float | None, in_units("depth", _DEPTH, 0.001, 1)] = None
    rate_kg_m2: Annotated[float | None, in_units("rate", _RATE, 0.001, 1000)] = None
    where: Annotated[str, Choice(PLACES)] = "field"
    applied: dt.date | None = None
    worked_in: bool = True
    heated: bool = False
    density_t_m3: Annotated[float | None, _BUCKET] = None
    nitrogen: Annotated[float | None, _content("n_percent", 10)] = None
    phosphate: Annotated[float | None, _content("p2o5_percent", 15)] = None
    potash: Annotated[float | None, _content("k2o_percent", 15)] = None
    available: Annotated[float | None, {"available_percent": _SHARE}] = None
    composting: Composting | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilEntry:
    """What is known of the soil, and what happens to the crop's remains.

    ``crops_before`` are keys of ``data/crops.toml``, last year's first.
    """

    organic_matter_percent: Annotated[float | None, Number(0, 100, "give percent, 0 to 100")] = None
    crops_before: Annotated[tuple[str, ...], _crops] = ()
    after_harvest: Annotated[str | None, Choice(LEFT)] = None


def check_beds(table: Mapping[str, Any], entry: BedsEntry, ground_cover: str, method: str) -> None:
    """Refuse what does not go with another entry.

    Parameters
    ----------
    table : mapping
        As it was given.
    entry : BedsEntry
        What was read in it.
    ground_cover, method : str
        What the crop is planted into, and how, which decide what can be given.

    Raises
    ------
    UsageError
        If a key does not go with another.
    """
    if entry.seeds is not None and method == "transplant":
        raise wrong("seeds", entry.seeds, 'the crop is set out as plants; set method = "direct-seed", or leave it out')
    if (entry.length_m is None) != (entry.width_m is None):
        given, missing = ("width", "length") if entry.length_m is None else ("length", "width")
        raise UsageError(f"{given} is given without {missing}; give both, as {missing}_m or _ft")
    if entry.plants is not None and entry.seeds is not None and entry.plants > entry.seeds:
        way_out = f"more than the {entry.seeds} seeds sown at a spot; give more seeds or fewer plants"
        raise wrong("plants", entry.plants, way_out)
    for key, value in (("covering", entry.covering), ("mulch", entry.mulch_m), ("sheet_width", entry.sheet_width_m)):
        if value is not None and ground_cover == "bare":
            raise UsageError(
                f'{key} is given but the ground is bare; set ground_cover = "straw" or "black-plastic" in '
                "[field.crop], or leave it out"
            )
    if entry.sheet_width_m is not None and ground_cover != "black-plastic":
        raise UsageError(
            f'sheet_width is given but the ground cover is {ground_cover}; set ground_cover = "black-plastic" in '
            "[field.crop], or leave it out"
        )
    squares = entry.in_squares(ground_cover)
    if entry.mulch_m is not None and ground_cover != "straw" and not squares:
        raise UsageError(
            f'mulch is given but the ground cover is {ground_cover}; set ground_cover = "straw" in [field.crop], '
            "describe frames on a sheet that lies everywhere, or leave it out"
        )
    if "mulch_kind" in table and (not squares or entry.mulch_m is None):
        way_out = (
            "give its depth, as mulch_cm or _in" if squares else "it goes with frames on a black sheet; leave it out"
        )
        raise wrong("mulch_kind", table["mulch_kind"], way_out)
    if "edges" in table and ground_cover != "black-plastic":
        way_out = 'only a sheet has edges to hold; set ground_cover = "black-plastic", or leave it out'
        raise wrong("edges", table["edges"], way_out)
    if entry.framed:
        _check_frames(entry)


def _check_frames(entry: BedsEntry) -> None:
    if entry.layout not in (None, "frames"):
        way_out = 'frames are described too; write "frames", or leave out what describes them'
        raise wrong("layout", entry.layout, way_out)
    given = next((key for key in ("spacing", "row_spacing") if getattr(entry, f"{key}_m") is not None), None)
    if entry.path_m is not None and given is not None:
        raise UsageError(
            f"path and {given} both say how far frames stand apart; keep path, between them, or {given}, from middle "
            "to middle"
        )


def settled_amendment(table: Mapping[str, Any], made: dict[str, Any]) -> dict[str, Any]:
    """What the keys of an amendment say of each other, a rule of :class:`covercrop.base.strict_table.TableReader`.

    Raises
    ------
    CovercropError
        If the material is not known, or a key does not go with it or with another.
    """
    material = catalogue.material(made["material"])
    if ("depth_m" in made) == ("rate_kg_m2" in made):
        raise UsageError(
            f"give a depth or a rate{', not both' if 'depth_m' in made else '; for a layer write depth_cm = 5'}"
        )
    if "composting" in made and not material.composted:
        way_out = f"{material.key} is raw; name a composted material, or leave composting out"
        raise wrong("composting", table["composting"], way_out)
    return {"where": "beds" if "depth_m" in made else "field"} | made | {"material": material.key}
