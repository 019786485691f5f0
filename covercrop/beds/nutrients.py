"""Manure and compost: what they bring, what the crop needs and takes, and when they may be spread.

Weights are as spread, contents of them; areas in m2, days as numpy dates.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from covercrop.base.units import M2_PER_HA, in_both
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    import datetime as dt

    from covercrop.base.records import CitedValue
    from covercrop.field.bed_entries import AmendmentEntry
    from covercrop.parameters.traits import Crop, Material


#: Elements in their oxides, by weight: 2 P in P2O5, 2 K in K2O (molar masses 30.974, 15.999 and 39.098 g/mol).
P_IN_PHOSPHATE = 2 * 30.974 / (2 * 30.974 + 5 * 15.999)
K_IN_POTASH = 2 * 39.098 / (2 * 39.098 + 15.999)

#: Phosphorus that vegetable crops take off in a year, least and most [kg/ha].
P_REMOVED = (MODELS.spreading.phosphorus_removed_least.value, MODELS.spreading.phosphorus_removed_most.value)

#: Share of a manure's phosphorus that the crop can have in the first year.
P_FIRST_YEAR = MODELS.spreading.phosphorus_first_year.value

#: A balance within this is about right [kg/ha].
ABOUT_RIGHT = MODELS.spreading.about_right.value

#: Where it lies thickest, phosphorus is told apart if it is so many times what it comes to on all ground.
UNEVEN = 1.05

#: Organic matter of a soil that nobody has tested [%].
USUAL_ORGANIC_MATTER = MODELS.spreading.organic_matter.value

#: From sowing to the day on which the roots of a vine have left its spot: the least and the most [d].
SPOT_DAYS = (int(MODELS.roots.spot_least.value), int(MODELS.roots.spot_most.value))
ROOTS_SOURCE = MODELS.roots.spot_most.source

SOURCES = (
    "uvm_phosphorus",
    ROOTS_SOURCE,
    "brown2013",
    "cfr205_203",
    "omri_generic",
    "strawn_fsma",
    "ncstate_herbicide",
    "ferrell_herbicide",
    "uconn_psnt",
)

ASSUMPTIONS = (
    f"Soil whose organic matter is not given is taken to have {USUAL_ORGANIC_MATTER:g}%.",
    f"The nitrogen of a cover is known no better than to some {in_both(ABOUT_RIGHT, 'kg/ha')}, so a balance within "
    "that counts as about right.",
    "The nitrogen of what was spread before the cover was sown is counted in the cover, not again beside it.",
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
    in_cover : bool
        Whether it was spread before the cover was sown, whose nitrogen holds a part of it.
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
    in_cover: bool

    @property
    def depth(self) -> float:
        """Settled, where it lies [m]."""
        return self.volume / self.area

    @property
    def on_bed(self) -> float:
        """Nitrogen of the first year where it lies [kg/ha]."""
        return per_hectare(self.available, self.area)

    @property
    def on_vines(self) -> float:
        """Nitrogen of the first year over all that the plants run over [kg/ha]."""
        return per_hectare(self.available, self.reached)

    @property
    def credited(self) -> float:
        """That is counted beside the cover's nitrogen, over all that the plants run over [kg/ha]."""
        return 0.0 if self.in_cover else self.on_vines


def dose(entry: AmendmentEntry, material: Material, area: float, reached: float, sown: dt.date | None = None) -> Dose:
    """What an amendment brings.

    Parameters
    ----------
    entry : AmendmentEntry
        The grower's own analysis and bucket come before the numbers of the material.
    material : Material
    area, reached : float
        Ground that it is spread on, and that the plants fed by it run over [m2].
    sown : datetime.date, optional
        When the cover was sown.
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
        available=nitrogen
        * (material.first_year(worked_in=entry.worked_in).value if entry.available is None else entry.available),
        phosphorus=content(entry.phosphate, material.phosphate.value) * P_IN_PHOSPHATE,
        potassium=content(entry.potash, material.potash.value) * K_IN_POTASH,
        own=entry.nitrogen is not None,
        in_cover=sown is not None and entry.applied is not None and entry.applied < sown,
    )


def per_hectare(kilograms: float, area: float) -> float:
    """Kilograms on an area, as [kg/ha]."""
    return kilograms / area * M2_PER_HA


# --- what the roots reach ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Nitrogen in reach of the plants of one spot, as their roots spread.

    A vine feeds from the spot that it was sown on for three to six weeks, and
    from all the ground between the spots after that (Weaver and Bruner 1927).

    Attributes
    ----------
    leaves : tuple of numpy.datetime64[D]
        First and last day on which the roots leave the spot; NaT where the planting is not known.
    need : float
        Of one spot's plants in the whole season [kg].
    spot, ground : tuple of (low, likely, high)
        What the cover and the amendments give this year in the spot, and on
        all the ground of one spot's plants [kg].
    """

    leaves: tuple[np.datetime64, np.datetime64]
    need: float
    spot: tuple[float, float, float]
    ground: tuple[float, float, float]


def reach(
    balance: NitrogenBalance,
    doses: tuple[Dose, ...],
    *,
    spot_area: float,
    ground_area: float,
    planting: np.datetime64,
) -> Reach:
    """Nitrogen in reach of the plants of one spot, early and later.

    Parameters
    ----------
    balance : NitrogenBalance
    doses : tuple of Dose
    spot_area, ground_area : float
        Of one spot, and of all the ground that its plants run over [m2].
    planting : numpy.datetime64[D]
    """
    # What a cover ties up is taken from the soil, not from what lies in reach.
    low, likely, high = (max(amount, 0.0) for amount in balance.cover)

    def given(area: float, brought: float) -> tuple[float, float, float]:
        each = area / M2_PER_HA
        return (low + brought) * each, (likely + brought) * each, (high + brought) * each

    return Reach(
        leaves=(planting + np.timedelta64(SPOT_DAYS[0], "D"), planting + np.timedelta64(SPOT_DAYS[1], "D")),
        need=balance.need[1] * ground_area / M2_PER_HA,
        # Whatever an amendment is spread on, the spots lie on it.
        spot=given(spot_area, sum(each.on_bed for each in doses)),
        ground=given(ground_area, balance.amendments),
    )


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

    @property
    def leans(self) -> Literal["short", "over"] | None:
        """On which side the whole range of what is left over lies; None where it has room for either."""
        low, _, high = self.missing
        return "short" if low >= 0 else "over" if high <= 0 else None


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
    brought = sum(each.credited for each in doses)
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

    @property
    def uneven(self) -> bool:
        """Whether there is clearly more of it where it lies than over all ground."""
        return self.on_beds > self.brought * UNEVEN


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


def enough(each: Dose, balance: NitrogenBalance | None) -> float | None:
    """Share of an amendment with which the likely balance of nitrogen comes out even.

    Parameters
    ----------
    each : Dose
    balance : NitrogenBalance or None

    Returns
    -------
    float or None
        From 0 to 1; None where the need is not known, or nothing of it is counted.
    """
    if balance is None or not each.credited:
        return None
    return min(1.0, max(0.0, 1 + balance.missing[1] / each.credited))


def is_too_rich(each: Dose, balance: NitrogenBalance | None) -> bool:
    """Whether an amendment on a part of the ground gives more nitrogen there than the crop needs at most.

    Parameters
    ----------
    each : Dose
    balance : NitrogenBalance or None
        None for a crop without a table of needs, of which that is not known.
    """
    return balance is not None and each.entry.where != "field" and each.on_bed > balance.need[-1]
