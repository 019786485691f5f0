"""Manure and compost: what they bring, what the crop needs and takes, and when they may be spread.

Weights are as spread, contents of them; areas in m2, days as numpy dates.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from covercrop.units import KG_HA_PER_LB_ACRE, M2_PER_HA, celsius_from_fahrenheit

if TYPE_CHECKING:
    from covercrop.bed_tables import AmendmentEntry, Composting
    from covercrop.records import CitedValue
    from covercrop.traits import Crop, Material

#: Elements in their oxides, by weight: 2 P in P2O5, 2 K in K2O (molar masses 30.974, 15.999 and 39.098 g/mol).
P_IN_PHOSPHATE = 2 * 30.974 / (2 * 30.974 + 5 * 15.999)
K_IN_POTASH = 2 * 39.098 / (2 * 39.098 + 15.999)

#: Phosphorus that vegetable crops take off in a year, least and most [kg/ha] (uvm_phosphorus: 10 to 80 lb an acre).
P_REMOVED = (10 * KG_HA_PER_LB_ACRE, 80 * KG_HA_PER_LB_ACRE)

#: Share of a manure's phosphorus that the crop can have in the first year (brown2013: 40 %, and another 40 later).
P_FIRST_YEAR = 0.4

#: A balance within this is about right [kg/ha]: what one knows of a cover's nitrogen is no better.
ABOUT_RIGHT = 20.0

#: Organic matter of a soil that nobody has tested [%].
USUAL_ORGANIC_MATTER = 3.0

#: Days from raw manure to harvest, where what is eaten lies on the soil and where it does not (cfr205_203).
RAW_DAYS_ON_SOIL, RAW_DAYS_ABOVE = 120, 90

#: What a compost of manure has to have been through (cfr205_203; omri_generic, manitoba_compost).
COMPOST_CARBON_NITROGEN = (25.0, 40.0)
COMPOST_CELSIUS = (celsius_from_fahrenheit(131.0), celsius_from_fahrenheit(170.0))
COMPOST_DAYS = {"vessel": 3, "aerated-pile": 3, "windrow": 15}
WINDROW_TURNINGS = 5

#: From the day a test for weed-killers is sown to the day it can be read [d].
BIOASSAY_DAYS = 28

#: From fresh poultry manure to seed [d].
POULTRY_DAYS = 21

RAW_RULE = "7 CFR 205.203(c)(1)"
COMPOST_RULE = "7 CFR 205.203(c)(2)"

BIOASSAY_STEPS = (
    "Take a handful from a dozen places in the heap, mix, and blend one part with one part of clean potting soil.",
    "Fill three pots with the blend and three with potting soil alone; stand each in its own saucer.",
    "Sow three beans or peas in each, since legumes are among the first to suffer (University of Florida), and keep "
    "them warm and moist.",
    "Wait for three sets of true leaves. Cupped, twisted or thick leaves in the blend only: use none of that heap on "
    "this crop. Test every load; nothing but the test shows it.",
)

SOURCES = (
    "uvm_phosphorus",
    "brown2013",
    "cfr205_203",
    "omri_generic",
    "manitoba_compost",
    "strawn_fsma",
    "ncstate_herbicide",
    "ferrell_herbicide",
    "uconn_psnt",
)

ASSUMPTIONS = (
    "Soil whose organic matter is not given is taken to have 3%.",
    "The nitrogen of a cover is known no better than to some 20 kg/ha (18 lb/acre), so a balance within that counts as "
    "about right.",
    "A weed-killer test with beans or peas is given 28 days, from memory.",
    "Seed is kept 21 days away from fresh poultry manure, whose salt and ammonia burn it: from memory, no source at "
    "hand.",
    "The days of the compost rule for windrows (15, with five turnings) are those seen in Manitoba's text of the same "
    "rule; the US wording is from memory.",
)

Verdict = Literal["missing", "about-right", "too-much"]


# --- what is brought ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """One amendment on its ground.

    Attributes
    ----------
    material : Material
    entry : AmendmentEntry
    area : float
        Ground that it is spread on [m2].
    reached : float
        Ground whose plants live on it [m2].
    volume : float
        Settled [m3].
    mass : float
        As spread [t].
    nitrogen, available, phosphorus, potassium : float
        Total N, the N of the first year, P and K in all [kg].
    own : bool
        Whether the contents rest on the grower's own analysis.
    """

    material: Material
    entry: AmendmentEntry
    area: float
    reached: float
    volume: float
    mass: float
    nitrogen: float
    available: float
    phosphorus: float
    potassium: float
    own: bool

    @property
    def on_bed(self) -> float:
        """Nitrogen of the first year where it lies [kg/ha]."""
        return per_hectare(self.available, self.area)

    @property
    def on_vines(self) -> float:
        """Nitrogen of the first year over all that the plants run over [kg/ha]."""
        return per_hectare(self.available, self.reached)


def dose(entry: AmendmentEntry, material: Material, area: float, reached: float) -> Dose:
    """What an amendment brings.

    Parameters
    ----------
    entry : AmendmentEntry
        The grower's own analysis and bucket come before the numbers of the material.
    material : Material
    area, reached : float
        Ground that it is spread on, and that the plants fed by it run over [m2].
    """
    density = material.density.value if entry.density_t_m3 is None else entry.density_t_m3
    if entry.depth_m is None:
        mass = (entry.rate_kg_m2 or 0.0) * area / 1000
        volume = mass / density
    else:
        volume = entry.depth_m * area
        mass = volume * density

    def content(own: float | None, published: float) -> float:
        return mass * (published if own is None else own)

    nitrogen = content(entry.nitrogen, material.nitrogen.value)
    return Dose(
        material=material,
        entry=entry,
        area=area,
        reached=reached,
        volume=volume,
        mass=mass,
        nitrogen=nitrogen,
        available=nitrogen * (material.available.value if entry.available is None else entry.available),
        phosphorus=content(entry.phosphate, material.phosphate.value) * P_IN_PHOSPHATE,
        potassium=content(entry.potash, material.potash.value) * K_IN_POTASH,
        own=entry.nitrogen is not None,
    )


def per_hectare(kilograms: float, area: float) -> float:
    """Kilograms on an area, as [kg/ha]."""
    return kilograms / area * M2_PER_HA


# --- nitrogen and phosphorus ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class NitrogenBalance:
    """Nitrogen needed and brought [kg/ha].

    Attributes
    ----------
    organic_matter : float
        Of the soil [%]; ``tested`` says whether it was given.
    tested : bool
    need, cover, missing : tuple of (low, likely, high)
        What the crop needs, what the cover releases, and what is left over;
        a negative one is too much.
    amendments : float
        What manure and compost release in the first year.
    verdict : str
        ``missing``, ``about-right`` or ``too-much``.
    need_source : str
        Key in ``data/sources.toml``; empty where the need is assumed.
    """

    organic_matter: float
    tested: bool
    need: tuple[float, float, float]
    cover: tuple[float, float, float]
    amendments: float
    missing: tuple[float, float, float]
    verdict: Verdict
    need_source: str


def nitrogen_need(crop: Crop, organic_matter: float) -> CitedValue:
    """Nitrogen that a crop needs on a soil [kg/ha].

    Parameters
    ----------
    crop : Crop
        With a table of needs.
    organic_matter : float
        [%].
    """
    return next(row.need for row in reversed(crop.nitrogen_need) if row.organic_matter.value <= organic_matter + 1e-9)


def nitrogen_balance(
    crop: Crop, organic_matter: float | None, cover: tuple[float, float, float], doses: tuple[Dose, ...]
) -> NitrogenBalance:
    """What the crop needs less what the cover and the amendments release.

    Parameters
    ----------
    crop : Crop
    organic_matter : float or None
        [%]; :data:`USUAL_ORGANIC_MATTER` if not known.
    cover : tuple of float
        Plant-available nitrogen of the cover, low, likely and high [kg/ha].
    doses : tuple of Dose
    """
    soil = USUAL_ORGANIC_MATTER if organic_matter is None else organic_matter
    cited = nitrogen_need(crop, soil)
    need = (
        cited.value if cited.low is None else cited.low,
        cited.value,
        cited.value if cited.high is None else cited.high,
    )
    brought = sum(each.on_vines for each in doses)
    missing = (need[0] - cover[2] - brought, need[1] - cover[1] - brought, need[2] - cover[0] - brought)
    verdict: Verdict = "about-right"
    if missing[1] > ABOUT_RIGHT:
        verdict = "missing"
    elif missing[1] < -ABOUT_RIGHT:
        verdict = "too-much"
    return NitrogenBalance(
        organic_matter=soil,
        tested=organic_matter is not None,
        need=need,
        cover=cover,
        amendments=brought,
        missing=missing,
        verdict=verdict,
        need_source=cited.source,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PhosphorusLoad:
    """Phosphorus brought against what crops take off [kg/ha].

    Attributes
    ----------
    brought : float
        On the ground that the plants run over.
    on_beds : float
        On the ground that it lies on, the most loaded.
    removed : tuple of float
        Least and most that vegetable crops take off in a year.
    share : float
        Of the amendments that would be no more than any crop takes [1].
    years : float
        Harvests of a middling crop that carry off what lies thickest.
    excess, thick : bool
        Whether it is more than any crop takes: over all that the plants run
        over, and where it lies.
    """

    brought: float
    on_beds: float
    removed: tuple[float, float]
    share: float
    years: float
    excess: bool
    thick: bool


def phosphorus_load(doses: tuple[Dose, ...]) -> PhosphorusLoad:
    """What the amendments bring of phosphorus, against what crops take off."""
    brought = sum(per_hectare(each.phosphorus, each.reached) for each in doses)
    on_field = sum(per_hectare(each.phosphorus, each.area) for each in doses if each.entry.where == "field")
    on_beds = on_field + sum(per_hectare(each.phosphorus, each.area) for each in doses if each.entry.where != "field")
    return PhosphorusLoad(
        brought=brought,
        on_beds=on_beds,
        removed=P_REMOVED,
        share=min(1.0, P_REMOVED[1] / brought) if brought else 1.0,
        years=on_beds / (sum(P_REMOVED) / 2),
        excess=brought > P_REMOVED[1],
        thick=on_beds > P_REMOVED[1],
    )


# --- when it may be spread ------------------------------------------------------------------------

NEVER = np.datetime64("NaT", "D")

Kind = Literal["raw", "on-top", "compost", "heated", "plants", "poultry", "bioassay"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A time to keep.

    Attributes
    ----------
    kind : str
        ``raw`` manure, raw manure left ``on-top``, ``compost`` that passes,
        manure that was ``heated`` and dried, ``plants`` only, fresh
        ``poultry`` manure near seed, a ``bioassay`` for weed-killers.
    subject : str
        What it is about, such as ``cattle manure``.
    rule : str
        What is asked for, and by whom.
    done, aim : numpy.datetime64[D]
        When it is spread, and the harvest (or seed) that it has to wait for;
        NaT where that is not known.
    start, end : numpy.datetime64[D]
        First and last day on which it may be done; NaT where there is none.
    allowed : bool or None
        Whether what is planned keeps to it; None where that is not known.
    faults : tuple of str
        Why a compost counts as raw.
    source : str
        Key in ``data/sources.toml``; empty where it is assumed.
    first_harvest : numpy.datetime64[D]
        That raw manure spread then allows; NaT for everything else.
    """

    kind: Kind
    subject: str
    rule: str
    done: np.datetime64
    aim: np.datetime64
    start: np.datetime64
    end: np.datetime64
    allowed: bool | None
    source: str
    faults: tuple[str, ...] = ()
    first_harvest: np.datetime64 = NEVER


def raw_days(crop: Crop) -> int:
    """Days from raw manure to harvest."""
    return RAW_DAYS_ON_SOIL if crop.touches_soil else RAW_DAYS_ABOVE


def compost_faults(composting: Composting | None) -> list[str]:
    """Why a compost of manure does not pass, as published; empty if it does.

    Parameters
    ----------
    composting : Composting or None
        How it was composted, as far as that is known.
    """
    if composting is None:
        return ["its composting is not recorded"]
    faults = []
    low, high = COMPOST_CARBON_NITROGEN
    if composting.carbon_nitrogen is None:
        faults.append("its C:N ratio at the start is not known")
    elif not low <= composting.carbon_nitrogen <= high:
        faults.append(f"its C:N ratio at the start, {composting.carbon_nitrogen:g}, is not within {low:g} to {high:g}")
    faults += _temperature_faults(composting)
    if composting.method is None:
        return [*faults, "the way it was composted is not known"]
    wanted = COMPOST_DAYS[composting.method]
    if composting.days is None:
        faults.append("the days at that heat are not known")
    elif composting.days < wanted:
        faults.append(f"{composting.days} days at that heat are fewer than {wanted}")
    if composting.method == "windrow":
        if composting.turnings is None:
            faults.append("how often the windrow was turned is not known")
        elif composting.turnings < WINDROW_TURNINGS:
            faults.append(f"{composting.turnings} turnings of the windrow are fewer than {WINDROW_TURNINGS}")
    return faults


def _temperature_faults(composting: Composting) -> list[str]:
    low, high = COMPOST_CELSIUS
    if composting.coolest_c is None or composting.hottest_c is None:
        return ["its temperatures are not known"]
    faults = []
    if composting.coolest_c < low - 1e-6:
        faults.append(f"it cooled to {composting.coolest_c:.0f} degC, below 55 degC (131 degF)")
    if composting.hottest_c > high + 1e-6:
        faults.append(f"it heated to {composting.hottest_c:.0f} degC, above 77 degC (170 degF)")
    return faults


def raw_interval(
    crop: Crop,
    subject: str,
    applied: np.datetime64,
    harvest: np.datetime64,
    *,
    mixed: bool = True,
    faults: tuple[str, ...] = (),
) -> Interval:
    """Whether raw manure on a day leaves enough time to the harvest.

    Parameters
    ----------
    crop : Crop
    subject : str
        The manure.
    applied, harvest : numpy.datetime64[D]
        NaT where they are not known.
    mixed : bool
        Whether it is worked into the soil, as the rule asks.
    faults : tuple of str
        Why a compost counts as raw.
    """
    days = raw_days(crop)
    where = "lies on the soil" if crop.touches_soil else "does not touch the soil"
    last = harvest - np.timedelta64(days, "D")
    known = not (np.isnat(applied) or np.isnat(harvest))
    return Interval(
        kind="raw" if mixed else "on-top",
        subject=subject,
        rule=f"raw manure is worked in {days} days before harvest where what is eaten {where}, {RAW_RULE}",
        done=applied,
        aim=harvest,
        start=NEVER,
        end=last if mixed else NEVER,
        allowed=(bool(applied <= last) if known else None) if mixed else False,
        source="cfr205_203",
        faults=faults,
        first_harvest=applied + np.timedelta64(days, "D") if mixed else NEVER,
    )


def manure_interval(crop: Crop, each: Dose, applied: np.datetime64, harvest: np.datetime64) -> Interval:
    """Whether an amendment may be spread on a day, before a harvest.

    Parameters
    ----------
    crop : Crop
    each : Dose
    applied, harvest : numpy.datetime64[D]
        NaT where they are not known.
    """
    name, entry = each.material.common_name, each.entry
    faults = tuple(compost_faults(entry.composting)) if each.material.composted else ("it is raw",)
    if each.material.animal != "none" and not entry.heated and faults:
        why = faults if each.material.composted else ()
        return raw_interval(crop, name, applied, harvest, mixed=entry.worked_in, faults=why)
    kind, rule, source = _FREE["plants" if each.material.animal == "none" else "heated" if entry.heated else "compost"]
    return Interval(
        kind=kind,
        subject=name,
        rule=rule,
        done=applied,
        aim=harvest,
        start=NEVER,
        end=NEVER,
        allowed=True,
        source=source,
    )


#: What may be spread at any time: the kind, the rule, its source.
_FREE: dict[str, tuple[Kind, str, str]] = {
    "plants": ("plants", f"plant material has no interval to harvest, {COMPOST_RULE}", "cfr205_203"),
    "heated": (
        "heated",
        "manure heated to 74 degC (165 degF), or to 66 degC (150 degF) for an hour, and dried to 12% water has no "
        "interval to harvest",
        "omri_generic",
    ),
    "compost": (
        "compost",
        f"compost of manure from a C:N of 25 to 40, held at 131 to 170 degF, has no interval, {COMPOST_RULE}",
        "cfr205_203",
    ),
}


def poultry_interval(each: Dose, applied: np.datetime64, planting: np.datetime64) -> Interval:
    """Whether fresh poultry manure leaves its salt and ammonia time before seed."""
    first = applied + np.timedelta64(POULTRY_DAYS, "D")
    known = not (np.isnat(applied) or np.isnat(planting))
    return Interval(
        kind="poultry",
        subject=each.material.common_name,
        rule=f"no seed within {POULTRY_DAYS} days of fresh poultry manure: its salt and ammonia burn it (assumed)",
        done=applied,
        aim=planting,
        start=first,
        end=NEVER,
        allowed=bool(planting >= first) if known else None,
        source="",
    )


def bioassay_interval(subject: str, applied: np.datetime64, on: np.datetime64) -> Interval:
    """Whether there is time to test for weed-killers before spreading.

    ``start`` is the first day to spread, tested from ``on``; ``end`` the last
    day to sow the test.
    """
    spread = np.isnat(applied) or applied < on
    ready = on + np.timedelta64(BIOASSAY_DAYS, "D")
    return Interval(
        kind="bioassay",
        subject=subject,
        rule="test every load for aminopyralid, clopyralid and picloram, which outlast gut and heap, before use",
        done=applied,
        aim=NEVER,
        start=NEVER if spread else ready,
        end=NEVER if spread else applied - np.timedelta64(BIOASSAY_DAYS, "D"),
        allowed=None if spread else bool(applied >= ready),
        source="ncstate_herbicide",
    )
