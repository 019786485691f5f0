"""What a cover, a crop and an amendment are: the records that the parameter files fill.

The attributes are the keys of the tables in ``data/covers.toml``,
``data/crops.toml`` and ``data/amendments.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass

from covercrop.base.records import CitedValue

# --- what a cover is ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Emergence:
    """Sowing to emergence: a degree-day sum above a base."""

    base: CitedValue
    sum: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Bloom:
    """Emergence to 25 % bloom: day-length-gated thermal time after cool days.

    Attributes
    ----------
    base, optimum : CitedValue
        Daily mean temperature at which development starts and levels off [degC].
    day_length_none, day_length_full : CitedValue
        Sunrise-to-sunset day length below which nothing counts, and above
        which everything does [h].
    cool_days : CitedValue
        Days with a mean between 0 and 10 degC over which the response rises
        from 0 to 1 [d].
    requirement : CitedValue
        Sum at 25 % bloom [degC d].
    pace : CitedValue
        Sum gained in an average day of the two weeks up to 25 % bloom where the
        cover was calibrated; turns days between cultivars into sums [K].
    spread : CitedValue
        Standard deviation of the requirement for a known cultivar at a new
        place [degC d].
    cultivar_spread : CitedValue
        Standard deviation among cultivars, added where the cultivar is not
        known [degC d].
    """

    base: CitedValue
    optimum: CitedValue
    day_length_none: CitedValue
    day_length_full: CitedValue
    cool_days: CitedValue
    requirement: CitedValue
    pace: CitedValue
    spread: CitedValue
    cultivar_spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Stages:
    """The other stages, as thermal time before or after 25 % bloom [degC d].

    ``bud``, ``first_flower`` and ``bloom_10`` come before and are counted on
    the photothermal clock; ``bloom_50`` and ``end_of_bloom`` come after and
    are counted on temperature alone.  All are positive.
    """

    bud: CitedValue
    first_flower: CitedValue
    bloom_10: CitedValue
    bloom_50: CitedValue
    end_of_bloom: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Seed:
    """First flowers to seed: a degree-day sum above a base.

    ``viable_share`` is the share of ``flower_to_maturity`` after which the
    first seed counts as viable; ``spread`` is the standard deviation of the
    sum [degC d].
    """

    base: CitedValue
    flower_to_maturity: CitedValue
    viable_share: CitedValue
    spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Winter:
    """Winter kill: the cold at the crowns that kills half of the stands that have hardened as far as they can (LT50).

    ``spread`` is its standard deviation among stands [K].
    """

    kill_temperature: CitedValue
    spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Residue:
    """What is ended: pools of a plant up to full bloom.  Its C:N ratio is that of its growth."""

    carbohydrate: CitedValue
    cellulose: CitedValue
    lignin: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """Dry matter and nitrogen of the standing cover.

    Attributes
    ----------
    base : CitedValue
        Base temperature of growth [degC].
    slope : CitedValue
        Dry matter per unit of thermal time once growth is under way
        [kg/ha per degC d].
    lag : CitedValue
        Thermal time from emergence before that slope holds [degC d].
    most : CitedValue
        Dry matter that a good stand does not exceed [kg/ha].
    spread : CitedValue
        Coefficient of variation of the dry matter among stands [1].
    nitrogen_bud, nitrogen_bloom, nitrogen_seed : CitedValue
        Nitrogen in the dry matter at visible buds, full bloom and seed set [% N].
    """

    base: CitedValue
    slope: CitedValue
    lag: CitedValue
    most: CitedValue
    spread: CitedValue
    nitrogen_bud: CitedValue
    nitrogen_bloom: CitedValue
    nitrogen_seed: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Sowing:
    """How a cover is sown, and what it has to grow into before winter.

    Attributes
    ----------
    drilled, broadcast : CitedValue
        Seed sown alone, in rows and scattered [kg/ha].
    depth : CitedValue
        Depth of the seed, its range above all [m].
    ground_cover : CitedValue
        Warmth from emergence, above the base of growth, after which the stand
        covers the ground [degC d].
    """

    drilled: CitedValue
    broadcast: CitedValue
    depth: CitedValue
    ground_cover: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Cultivar:
    """A named cultivar as days earlier (negative) or later than the standard.

    ``requirement`` [degC d] and ``cool_days`` [d] are there, both, where they were fitted to its own flowerings: they
    take the place of those of the cover (:class:`Bloom`), and of the offset.
    """

    name: str
    group: str
    offset: CitedValue
    requirement: CitedValue | None = None
    cool_days: CitedValue | None = None


#: How flowers stand: around the end of a stem, or along a stalk.
INFLORESCENCES = ("head", "raceme")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """A legume cover: one table of ``data/covers.toml``."""

    key: str
    common_name: str
    scientific_name: str
    inoculant: str
    standard: str
    confidence: str
    emergence: Emergence
    bloom: Bloom
    stages: Stages
    seed: Seed
    winter: Winter
    residue: Residue
    sowing: Sowing
    growth: Growth | None = None
    cultivars: tuple[Cultivar, ...] = ()
    also: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def inflorescence(self) -> str:
        """How its flowers stand, one of :data:`INFLORESCENCES`: those of a clover in a head."""
        return "head" if self.scientific_name.startswith("Trifolium") else "raceme"


# --- what a crop is -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class EmergenceTime:
    """Days from sowing to emergence at one soil temperature."""

    soil: CitedValue
    days: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripening:
    """The heat by which a crop ripens.

    Attributes
    ----------
    base, cap : CitedValue
        Between which both extremes of a day are held before they count [degC].
    heat_of_a_day : CitedValue
        Heat of a day where the days on the packet hold [degC d]: times those days it is what the crop needs.
    until_up : CitedValue or None
        Heat from sowing to emergence [degC d], where the packet counts from there; None where it counts from sowing.
    filling : CitedValue or None
        From pollination to a ripe fruit, the last weeks before harvest [d]; None where fruit is picked young.
    """

    base: CitedValue
    cap: CitedValue
    heat_of_a_day: CitedValue
    until_up: CitedValue | None = None
    filling: CitedValue | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Planting:
    """How a crop stands.

    Attributes
    ----------
    layout : str
        ``rows`` of single plants, or ``hills`` of one or more.
    row_spacing, spacing : CitedValue
        From row to row, and from spot to spot in the row [m].
    plants, seeds : CitedValue
        To a spot: left standing, and sown [1].
    thin_after : CitedValue
        From emergence to thinning [d].
    """

    layout: str
    row_spacing: CitedValue
    spacing: CitedValue
    plants: CitedValue
    seeds: CitedValue
    thin_after: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class NitrogenNeed:
    """Nitrogen that a crop needs [kg/ha], from a soil organic matter [%] upwards."""

    organic_matter: CitedValue
    need: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A heavy feeder: one table of ``data/crops.toml``.

    Attributes
    ----------
    soil_minimum, soil_planting : CitedValue
        Coldest soil in which seed germinates, and the least in which it can be sown [degC].
    soil_good : CitedValue or None
        Soil in which seed comes up well, where that is warmer [degC].
    soil_set_out : CitedValue or None
        Least in which plants can be set out [degC]; as for seed where it is None.
    frost : CitedValue
        Air temperature that harms the crop [degC].
    days_to_maturity : CitedValue
        To harvest, direct-seeded, as packets count them [d].
    ripening : Ripening
        What those days stand for.
    transplant_credit : CitedValue
        Days saved by transplants [d].
    touches_soil : bool
        Whether the part that is eaten touches the soil.
    maggot_host : bool
        Whether seedcorn maggot is known to harm it.
    small_seed : bool
        Whether its seed is small, which suffers longest from residue.
    planting : Planting or None
        How it stands.
    nitrogen_need : tuple of NitrogenNeed
        Poorest soil first.
    emergence : tuple of EmergenceTime
        Coldest first.
    also : tuple of str
        What else growers call it.
    also : tuple of str
        What else growers call it.
    """

    key: str
    common_name: str
    scientific_name: str
    family: str
    soil_minimum: CitedValue
    soil_planting: CitedValue
    frost: CitedValue
    days_to_maturity: CitedValue
    ripening: Ripening
    transplant_credit: CitedValue
    touches_soil: bool
    maggot_host: bool
    small_seed: bool = False
    soil_good: CitedValue | None = None
    soil_set_out: CitedValue | None = None
    planting: Planting | None = None
    nitrogen_need: tuple[NitrogenNeed, ...] = ()
    emergence: tuple[EmergenceTime, ...] = ()
    also: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


# --- what an amendment is -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A manure or compost as it is spread: one table of ``data/amendments.toml``.

    Attributes
    ----------
    animal : str
        ``cattle``, ``poultry`` or ``horse``; ``none`` for plant material only.
    composted : bool
    nitrogen, phosphate, potash : CitedValue
        Total N, P2O5 and K2O [kg/t].
    available : CitedValue
        Share of the nitrogen that the crop can have in the first year, worked in [1].
    available_on_top : CitedValue or None
        The same where it is left on top; None where that makes no difference.
    density : CitedValue
        Loosely filled [t/m3].
    """

    key: str
    common_name: str
    animal: str
    composted: bool
    nitrogen: CitedValue
    phosphate: CitedValue
    potash: CitedValue
    available: CitedValue
    density: CitedValue
    available_on_top: CitedValue | None = None
    notes: tuple[str, ...] = ()

    def first_year(self, *, worked_in: bool) -> CitedValue:
        """Share of the nitrogen that the crop can have in the first year [1]."""
        return self.available if worked_in or self.available_on_top is None else self.available_on_top


# --- how they are shown -----------------------------------------------------------------------------

#: What the less plain attributes are called where they are shown.
_LABELS = {
    "bloom day_length_none": "bloom, day length below which nothing counts",
    "bloom day_length_full": "bloom, day length from which all counts",
    "bloom cool_days": "bloom, cool days wanted",
    "bloom requirement": "bloom, sum at 25% bloom",
    "bloom pace": "bloom, progress in a day near bloom",
    "bloom spread": "bloom, scatter of the sum at a new place",
    "bloom cultivar_spread": "bloom, scatter among cultivars",
    "stages bud": "buds visible, before 25% bloom",
    "stages first_flower": "first flowers, before 25% bloom",
    "stages bloom_10": "10% bloom, before 25% bloom",
    "stages bloom_50": "50% bloom, after 25% bloom",
    "stages end_of_bloom": "end of bloom, after 25% bloom",
    "seed flower_to_maturity": "seed, from first flower to ripe",
    "seed viable_share": "seed, share of that to the first viable one",
    "seed spread": "seed, scatter of the sum",
    "winter kill_temperature": "winter, crown that kills half of the stands",
    "winter spread": "winter, scatter among stands",
    "growth slope": "growth, dry matter for warmth",
    "growth lag": "growth, warmth before it is under way",
    "growth most": "growth, most dry matter",
    "growth spread": "growth, scatter among stands",
    "growth nitrogen_bud": "nitrogen at visible buds",
    "growth nitrogen_bloom": "nitrogen at full bloom",
    "growth nitrogen_seed": "nitrogen at seed set",
    "sowing drilled": "seed, drilled",
    "sowing broadcast": "seed, broadcast",
    "sowing depth": "seed, depth",
    "sowing ground_cover": "warmth from emergence to covered ground",
    "soil_minimum": "coldest soil for seed",
    "soil_planting": "soil to sow from",
    "soil_good": "soil to sow well from",
    "soil_set_out": "soil to set out from",
    "frost": "air that harms it",
    "days_to_maturity": "days to maturity",
    "ripening base": "ripening, base of its heat",
    "ripening cap": "ripening, cap of its heat",
    "ripening heat_of_a_day": "ripening, heat of a day of the packet",
    "ripening until_up": "ripening, heat until it is up",
    "ripening filling": "ripening, pollination to ripe fruit",
    "transplant_credit": "days saved by transplants",
    "planting row_spacing": "row to row",
    "planting spacing": "spot to spot in the row",
    "planting plants": "plants to a spot",
    "planting seeds": "seeds to a spot",
    "planting thin_after": "emergence to thinning",
    "nitrogen_need organic_matter": "nitrogen, from a soil organic matter of",
    "nitrogen_need need": "nitrogen that it needs there",
    "phosphate": "phosphate (P2O5)",
    "potash": "potash (K2O)",
    "available": "share of the nitrogen in the first year",
    "available_on_top": "share of the nitrogen in the first year, left on top",
}


def label(path: str) -> str:
    """What a cited value is called where it is shown."""
    return _LABELS.get(path, path.replace("_", " "))
