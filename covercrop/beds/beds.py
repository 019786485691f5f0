"""One field on the ground: its beds, what to load, what to feed, what to keep, and what comes after."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.errors import FieldFileError, ParameterError
from covercrop.base.units import in_both
from covercrop.beds import layout, loading_list, materials, nutrients, spreading
from covercrop.models import biomass
from covercrop.parameters import catalogue
from covercrop.parameters.traits import label
from covercrop.season import absent, crop_days
from covercrop.season.ground import dead_from

if TYPE_CHECKING:
    from covercrop.base.records import CitedValue
    from covercrop.beds.layout import Layout
    from covercrop.beds.materials import Item
    from covercrop.beds.nutrients import Dose, NitrogenBalance, PhosphorusLoad, Reach
    from covercrop.beds.spreading import Interval
    from covercrop.field.bed_entries import AmendmentEntry
    from covercrop.field.entries import Field
    from covercrop.parameters.traits import Crop, Planting
    from covercrop.season.plan import Plan

_EMERGENCE = (
    "{crop} is taken to be up {days} days after sowing into warm soil: no table of its emergence was at hand, and its "
    "relatives take 4 to 8 days at 20 to 25 degC (68 to 77 degF)."
)
_CLEARED = (
    "The cover's nitrogen is that of the plan, set free in ground that is kept moist; the roots and tops of the crop "
    "are not counted as given back."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterHarvest:
    """The turn of the next autumn.

    Attributes
    ----------
    harvest : numpy.datetime64[D]
        When the crop is ripe; NaT where that is not known.
    sowing : numpy.datetime64[D]
        A year after the cover was sown.
    best_sowing : numpy.datetime64[D]
        The best day for sowing it again; NaT where nobody has asked.
    same_family : tuple of (int, str)
        Years ago, and the crop that was of the same family then.
    remains : str or None
        ``leave`` or ``take``, as the field file says.
    cover_nitrogen : float
        Total N of the cover that was turned under [kg]; NaN where not known.
    nitrogen, phosphorus, potassium : float
        That manure and compost brought in all [kg].
    """

    harvest: np.datetime64
    sowing: np.datetime64
    best_sowing: np.datetime64
    same_family: tuple[tuple[int, str], ...]
    remains: str | None
    cover_nitrogen: float
    nitrogen: float
    phosphorus: float
    potassium: float

    @property
    def in_the_way(self) -> bool:
        """Whether the crop still stands when the next cover is to be sown; not so where the harvest is not known."""
        return bool(self.harvest > self.sowing)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverNitrogen:
    """What the cover has given by a day.

    Attributes
    ----------
    weeks : int
        Since it died.
    day : numpy.datetime64[D]
    share : float
        Of all the nitrogen that becomes available, likely [1].
    available : tuple of (low, likely, high)
        Plant-available nitrogen released by then [kg/ha]: the least amount
        slowly, the likely one, and the most fast.
    """

    weeks: int
    day: np.datetime64
    share: float
    available: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Squares:
    """What lies in each square of a sheet, from the soil up.

    Attributes
    ----------
    layers : tuple of (str, float)
        Each with its settled depth [m].
    mulch : str or None
        The uppermost, one of :data:`covercrop.field.bed_entries.MULCHES`.
    board : float
        Height of the boards [m].
    """

    layers: tuple[tuple[str, float], ...]
    mulch: str | None
    board: float

    @property
    def depth(self) -> float:
        """Of all layers [m]."""
        return sum(depth for _, depth in self.layers)

    @property
    def over(self) -> float:
        """From the top of the boards up to that of the layers [m]; negative where they end below."""
        return self.depth - self.board

    @property
    def heaped(self) -> bool:
        """Whether the layers stand higher than the boards."""
        return self.over > 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BedPlan:
    """A field on the ground.

    Attributes
    ----------
    plan : Plan
    us : bool
        Whether the list is in US units and sizes.
    layout : Layout
    covering : str or None
        Where the ground cover lies; None on bare ground.
    squares : Squares or None
        None but for frames on a sheet that is cut open in each.
    planting : numpy.datetime64[D]
        When the crop was or will likely be planted; NaT where not known.
    thinning : numpy.datetime64[D]
        NaT where nothing is thinned.
    items : tuple of Item
    doses : tuple of Dose
    nitrogen : NitrogenBalance or None
        None for a crop without a table of needs.
    cover_nitrogen : tuple of CoverNitrogen
        What the cover gives over the weeks, on ground that is kept moist;
        empty where it is not known.
    reach : Reach or None
        Nitrogen in the spot and over all the ground of a vine; None for a crop in rows.
    phosphorus : PhosphorusLoad or None
        None without manure or compost.
    intervals : tuple of Interval
    after : AfterHarvest
    assumptions, sources : tuple of str
    """

    plan: Plan
    us: bool
    layout: Layout
    covering: str | None
    squares: Squares | None
    planting: np.datetime64
    thinning: np.datetime64
    items: tuple[Item, ...]
    doses: tuple[Dose, ...]
    nitrogen: NitrogenBalance | None
    cover_nitrogen: tuple[CoverNitrogen, ...]
    reach: Reach | None
    phosphorus: PhosphorusLoad | None
    intervals: tuple[Interval, ...]
    after: AfterHarvest
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def absent(self) -> dict[str, str]:
        """What has no value, and why: one of :data:`covercrop.season.absent.WHY` for each by its key in JSON."""
        plan = self.plan
        # Where a day is likely safe but none is named, the crop would hardly ripen any more.
        never = bool(np.isnat(plan.planting.earliest.median))
        no_day = plan.absent["dates.earliest_planting"] if never else absent.PAST
        no_planting = bool(np.isnat(self.planting))
        no_amounts = plan.nitrogen.no_amounts
        missing = {
            "planting": (no_planting, no_day),
            "thinning": (bool(np.isnat(self.thinning)), no_day if no_planting else absent.NOT_NEEDED),
            "squares": (self.squares is None, absent.NOT_NEEDED),
            "layout.covering": (self.covering is None, absent.NOT_NEEDED),
            "phosphorus": (self.phosphorus is None, absent.NOT_NEEDED),
            "nitrogen": (self.nitrogen is None, absent.NOT_KNOWN),
            "nitrogen.roots": (
                self.nitrogen is not None and self.reach is None,
                absent.NOT_NEEDED,
            ),
            "nitrogen.roots.leave_the_spot": (self.reach is not None and no_planting, no_day),
            "nitrogen.cover_share_by_planting": (
                bool(np.isnan(plan.nitrogen.by_planting)),
                no_day if never else absent.NOT_KNOWN,
            ),
            "nitrogen.cover_over_time": (
                not self.cover_nitrogen,
                no_amounts or plan.absent.get("nitrogen.released", absent.NOT_REACHED),
            ),
            "after_harvest.harvest": (bool(np.isnat(self.after.harvest)), no_day),
            "after_harvest.best_sowing": (
                bool(np.isnat(self.after.best_sowing)),
                absent.NOT_NEEDED if self.squares is None else absent.NOT_ASKED_FOR,
            ),
            "after_harvest.soil_got_kg.nitrogen_in_cover": (no_amounts is not None, no_amounts or absent.NOT_KNOWN),
        }
        return {name: why for name, (lacks, why) in missing.items() if lacks}


def lay_out_beds(plan: Plan, *, us: bool = False, next_sowing: np.datetime64 | None = None) -> BedPlan:
    """Lay a field out, and work out what goes on it; ``covercrop beds`` shows it.

    Parameters
    ----------
    plan : Plan
        Its field brings the tables [field.beds], [[field.amendment]] and [field.soil].
    us : bool
        Sizes that can be bought in the United States.
    next_sowing : numpy.datetime64[D], optional
        The best day for sowing the cover again, by which a sheet has to be off;
        :func:`covercrop.dates.agenda.next_sowing` tells it.

    Returns
    -------
    BedPlan
        Lengths in m, weights in kg, areas in m2, nitrogen in kg/ha; each dose and interval with its source.

    Raises
    ------
    FieldFileError
        If the size of the field is not known, or the beds do not go onto it.
    ParameterError
        If nothing says how the crop stands.
    UsageError
        If the plan was made without its details.
    """
    field, crop = plan.field, plan.crop
    standing = crop.planting
    if standing is None:
        raise ParameterError(f"{crop.key}: no spacing is known for it; add a table [{crop.key}.planting]")
    ground = lay_out(field, standing, us=us)
    doses = tuple(_dose(entry, ground, field.cover.sown) for entry in field.amendments)
    seeds, _ = crop_days.at_a_spot(field, standing)
    planting, harvest = crop_days.planting_day(plan), crop_days.ripe_day(plan)
    transplant = field.crop.method == "transplant"
    cover = field.crop.ground_cover
    squares = _squares(field, doses, us=us)
    planted = field.crop.planted is not None
    ahead = [each for each in doses if not _is_spread(each, plan.on)]
    nitrogen = _nitrogen(plan, doses)
    intervals = _intervals(plan, doses, planting, crop_days.first_harvest(plan))
    return BedPlan(
        plan=plan,
        us=us,
        layout=ground,
        covering=field.beds.where_covered(cover),
        squares=squares,
        planting=planting,
        thinning=crop_days.thinning_day(plan),
        items=(
            *([] if planted else loading_list.for_planting(ground, crop, seeds, transplant=transplant)),
            *loading_list.for_ground(ground, field.beds, cover, us=us),
            *loading_list.for_frames(ground, field.beds.board_m, us=us, on_sheet=squares is not None),
            *loading_list.for_heaps(ahead, us=us),
            *loading_list.for_autumn(
                plan.cover, ground.area, us=us, cereal=plan.mixture.companion if plan.mixture else None
            ),
        ),
        doses=doses,
        nitrogen=nitrogen,
        cover_nitrogen=cover_nitrogen(plan),
        reach=_reach(nitrogen, doses, standing, ground, planting),
        phosphorus=nutrients.phosphorus_load(doses) if doses else None,
        intervals=intervals,
        after=_after(plan, ground, doses, harvest, next_sowing),
        assumptions=_assumptions(plan, doses, ground),
        sources=_sources(plan, doses, intervals),
    )


# --- the layout -----------------------------------------------------------------------------------


def lay_out(field: Field, standing: Planting, *, us: bool = False) -> Layout:
    """The beds of a field: as its file says, otherwise as the crop stands.

    Raises
    ------
    FieldFileError
        If the size of the field is not known, or the beds do not go onto it.
    """
    beds = field.beds
    length, width, squared = layout.sides(field.area_m2, beds.length_m, beds.width_m)
    _, plants = crop_days.at_a_spot(field, standing)
    if beds.framed:
        return layout.framed(
            length,
            width,
            frames=beds.frames,
            row_spacing=standing.row_spacing.value,
            spacing=standing.spacing.value,
            plants=plants,
            frame_length=beds.frame_length_m,
            frame_width=beds.frame_width_m,
            apart=(beds.spacing_m, beds.row_spacing_m),
            path=beds.path_m,
            margin=beds.margin_m,
            spot=beds.spot_m,
            squared=squared,
            us=us,
        )
    return layout.rows_or_hills(
        length,
        width,
        kind=beds.layout or standing.layout,
        row_spacing=standing.row_spacing.value if beds.row_spacing_m is None else beds.row_spacing_m,
        spacing=standing.spacing.value if beds.spacing_m is None else beds.spacing_m,
        plants=plants,
        path=beds.path_m,
        spot=beds.spot_m,
        squared=squared,
    )


def _squares(field: Field, doses: tuple[Dose, ...], *, us: bool) -> Squares | None:
    """What lies in each square of a sheet; None where there are none.

    Raises
    ------
    FieldFileError
        If the mulch is deeper than the boards are high.
    """
    beds = field.beds
    if not beds.in_squares(field.crop.ground_cover):
        return None
    board = materials.BOARD_HEIGHT["us" if us else "metric"] if beds.board_m is None else beds.board_m
    if beds.mulch_m is not None and beds.mulch_m > board + 1e-6:
        raise FieldFileError(
            f"mulch = {in_both(1000 * beds.mulch_m, 'mm')} in [field.beds] is deeper than the frame, whose boards are "
            f"{in_both(1000 * board, 'mm')} high; lay less, or give higher boards as board_cm or _in"
        )
    layers = [(each.material.common_name, each.depth) for each in doses if each.entry.where == "beds"]
    mulch = beds.mulch if beds.mulch_m is not None else None
    if beds.mulch_m is not None:
        layers.append((beds.mulch.replace("-", " "), beds.mulch_m))
    return Squares(layers=tuple(layers), mulch=mulch, board=board)


# --- dates ----------------------------------------------------------------------------------------


def _spread_on(each: Dose, plan: Plan) -> np.datetime64:
    """When an amendment is or will be spread: as the file says, otherwise with the turning under, or today."""
    if each.entry.applied is not None:
        return np.datetime64(each.entry.applied, "D")
    ended = plan.window.ending_day
    return plan.on if np.isnat(ended) else max(ended, plan.on)


def _is_spread(each: Dose, on: np.datetime64) -> bool:
    return each.entry.applied is not None and bool(np.datetime64(each.entry.applied, "D") < on)


# --- manure and compost ---------------------------------------------------------------------------


def _dose(entry: AmendmentEntry, ground: Layout, sown: dt.date) -> Dose:
    area = {"field": ground.area, "beds": ground.bed_area, "spots": ground.spot_area}[entry.where]
    reached = ground.area if entry.where == "field" else ground.vine_area
    return nutrients.dose(entry, catalogue.material(entry.material), area, reached, sown)


def _nitrogen(plan: Plan, doses: tuple[Dose, ...]) -> NitrogenBalance | None:
    if not plan.crop.nitrogen_need:
        return None
    pan = plan.nitrogen.amounts.get("pan_kg_ha")
    cover = (0.0, 0.0, 0.0) if pan is None else (float(pan.low), float(pan.median), float(pan.high))
    return nutrients.nitrogen_balance(plan.crop, plan.field.soil.organic_matter_percent, cover, doses)


def _reach(
    nitrogen: NitrogenBalance | None,
    doses: tuple[Dose, ...],
    standing: Planting,
    ground: Layout,
    planting: np.datetime64,
) -> Reach | None:
    if nitrogen is None or standing.layout != "hills":
        return None
    return nutrients.reach(
        nitrogen,
        doses,
        spot_area=ground.spot**2,
        ground_area=ground.vine_area / ground.count,
        planting=planting,
    )


def cover_nitrogen(plan: Plan) -> tuple[CoverNitrogen, ...]:
    """What the cover has given some weeks after it died; empty where that is not known."""
    if not plan.nitrogen.amounts:
        return ()
    pan = plan.nitrogen.amounts["pan_kg_ha"]
    dead = plan.window.ending_day + np.timedelta64(int(dead_from(0, plan.window.method)), "D")
    return tuple(
        CoverNitrogen(
            weeks=weeks,
            day=dead + np.timedelta64(7 * weeks, "D"),
            share=share.median,
            available=(pan.low * share.low, pan.median * share.median, pan.high * share.high),
        )
        for weeks, share in plan.nitrogen.release.items()
    )


def _intervals(
    plan: Plan, doses: tuple[Dose, ...], planting: np.datetime64, harvest: np.datetime64
) -> tuple[Interval, ...]:
    """The manure rule for each amendment, or for any manure; salt near seed; the test for weed-killers."""
    if not doses:
        return (spreading.raw_interval(plan.crop, "raw manure", plan.on, harvest),)
    found = [spreading.manure_interval(plan.crop, each, _spread_on(each, plan), harvest) for each in doses]
    found += [
        spreading.poultry_interval(each, _spread_on(each, plan), planting)
        for each in doses
        if each.material.animal == "poultry" and not each.material.composted and not each.entry.heated
    ]
    for spread in (False, True):
        group = [each for each in doses if _is_spread(each, plan.on) is spread]
        if group:
            names = ", ".join(dict.fromkeys(each.material.common_name for each in group))
            found.append(spreading.bioassay_interval(names, min(_spread_on(each, plan) for each in group), plan.on))
    return tuple(found)


# --- after the harvest ----------------------------------------------------------------------------


def _after(
    plan: Plan,
    ground: Layout,
    doses: tuple[Dose, ...],
    harvest: np.datetime64,
    next_sowing: np.datetime64 | None,
) -> AfterHarvest:
    before = [catalogue.crop(name) for name in plan.field.soil.crops_before]
    total = plan.nitrogen.amounts.get("n_kg_ha")
    return AfterHarvest(
        harvest=harvest,
        sowing=_a_year_on(plan.field.cover.sown),
        best_sowing=np.datetime64("NaT", "D") if next_sowing is None else next_sowing,
        same_family=tuple(
            (years, crop.common_name) for years, crop in enumerate(before, start=1) if crop.family == plan.crop.family
        ),
        remains=plan.field.soil.after_harvest,
        cover_nitrogen=np.nan if total is None else float(total.median) * ground.area / 10_000,
        nitrogen=sum(each.nitrogen for each in doses),
        phosphorus=sum(each.phosphorus for each in doses),
        potassium=sum(each.potassium for each in doses),
    )


def _a_year_on(day: dt.date) -> np.datetime64:
    month_day = (day.month, 28 if (day.month, day.day) == (2, 29) else day.day)
    return np.datetime64(dt.date(day.year + 1, *month_day), "D")


# --- what it rests on -----------------------------------------------------------------------------


def _numbers(plan: Plan, doses: tuple[Dose, ...]) -> list[tuple[str, str, CitedValue]]:
    """Subject, name and value of each number behind the beds."""
    crop: Crop = plan.crop
    found = [
        (crop.common_name, path, value)
        for path, value in catalogue.cited_values(crop)
        if path.startswith(("planting", "nitrogen_need"))
    ]
    found.append((plan.cover.common_name, "sowing.broadcast", plan.cover.sowing.broadcast))
    if plan.mixture is not None:
        cereal = plan.mixture.companion
        found += [(cereal.common_name, path, value) for path, value in catalogue.cited_values(cereal.sowing)]
    for material in {each.material.key: each.material for each in doses}.values():
        found += [(material.common_name, path, value) for path, value in catalogue.cited_values(material)]
    return found


def _assumptions(plan: Plan, doses: tuple[Dose, ...], ground: Layout) -> tuple[str, ...]:
    numbers = [
        f"{subject.capitalize()}, {label(path)}, {value.printed}: {value.doubt}."
        for subject, path, value in _numbers(plan, doses)
        if value.doubt
    ]
    unknown_emergence = not plan.crop.emergence and plan.field.crop.method == "direct-seed"
    square = ("Only the area of the field is known, so it is drawn as a square.",) if ground.squared else ()
    return (
        *square,
        *layout.ASSUMPTIONS,
        *materials.ASSUMPTIONS,
        *nutrients.ASSUMPTIONS,
        *spreading.ASSUMPTIONS,
        _CLEARED,
        *(
            (_EMERGENCE.format(crop=plan.crop.common_name.capitalize(), days=crop_days.EMERGENCE_ASSUMED),)
            if unknown_emergence
            else ()
        ),
        *numbers,
    )


def _sources(plan: Plan, doses: tuple[Dose, ...], intervals: tuple[Interval, ...]) -> tuple[str, ...]:
    cited = [value.source for _, _, value in _numbers(plan, doses) if value.source]
    readings = [reading.source for kept in intervals for reading in kept.readings]
    return tuple(dict.fromkeys((*cited, *readings, *nutrients.SOURCES, biomass.PAN_SOURCE)))
