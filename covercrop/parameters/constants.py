"""The numbers of the models that belong to no cover, crop or material, as ``data/models.toml`` cites them.

A model takes its numbers from :data:`MODELS` where it is imported, so that it reads nothing itself; what the output
says of a number is made from the same record.  The comments of the file say what each table is about, and the reason or
the locator of a value why it is what it is.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass

from covercrop.base.records import CitedValue
from covercrop.base.shipped import data_file
from covercrop.parameters.catalogue import build


@dataclass(frozen=True, slots=True, kw_only=True)
class Nitrogen:
    """What a cover gives to the crop after it."""

    none_below: CitedValue
    full_from: CitedValue
    at_full: CitedValue
    most: CitedValue
    carbon: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Snow:
    """How snow falls, settles and melts."""

    all_snow: CitedValue
    no_snow: CitedValue
    melt: CitedValue
    settling: CitedValue
    new_density: CitedValue
    densest: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Crown:
    """What the crowns feel of the cold of the air."""

    least_felt: CitedValue
    felt_more: CitedValue
    warmer: CitedValue
    deepest_felt: CitedValue
    followed: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Hardening:
    """How a stand hardens, and loses it."""

    tender: CitedValue
    hardening: CitedValue
    hardening_below: CitedValue
    losing: CitedValue
    losing_above: CitedValue
    grown: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolDays:
    """The daily mean of a day that counts as cool, bounds left out; and how well the scatter among places is known."""

    cool_above: CitedValue
    cool_below: CitedValue
    freedom: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class SowingPractice:
    """The seed of a cover, and the rule by which the trade sows it."""

    depth: CitedValue
    rain_within: CitedValue
    rule_earliest: CitedValue
    rule_latest: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CerealClock:
    """The clock of cereal rye, and the heat between its stages."""

    base: CitedValue
    day_length_none: CitedValue
    day_length_full: CitedValue
    flowering: CitedValue
    stage_base: CitedValue
    tillering: CitedValue
    jointing: CitedValue
    flag_leaf: CitedValue
    boot: CitedValue
    heading: CitedValue
    milk: CitedValue
    dough: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """A cereal beside a legume."""

    share: CitedValue
    over_legume: CitedValue
    over_cereal: CitedValue
    even: CitedValue
    most_tied: CitedValue
    release_from: CitedValue
    cool_soil: CitedValue
    tilled_until: CitedValue
    last_grain: CitedValue
    late_rye: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """The pods that open or close a window, and the tarp."""

    early_pods: CitedValue
    rolled_from: CitedValue
    swelling_pods: CitedValue
    tarp: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Which day is best for ending a cover."""

    most_risk: CitedValue
    more_risk: CitedValue
    in_time_within: CitedValue
    flat_top: CitedValue
    least_gain: CitedValue
    out_of_reach: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidueDecay:
    """How residue decays, and how much of it is in the way."""

    carbohydrate_rate: CitedValue
    cellulose_rate: CitedValue
    lignin_rate: CitedValue
    single_rate: CitedValue
    tied_from: CitedValue
    straw_carbohydrate: CitedValue
    straw_cellulose: CitedValue
    straw_lignin: CitedValue
    surface: CitedValue
    carbohydrate_clear: CitedValue
    mass_clear: CitedValue
    clear_spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Maggot:
    """Seedcorn maggot: its flies, and when seed is at risk."""

    lower: CitedValue
    upper: CitedValue
    peaks: tuple[CitedValue, ...]
    brood: CitedValue
    peak_days: CitedValue
    brood_days: CitedValue
    safe_soil: CitedValue
    cold_soil: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Disease:
    """Seedling diseases, and what fresh residue gives off."""

    direct_seed: CitedValue
    small_seed: CitedValue
    transplant: CitedValue
    surface_direct_seed: CitedValue
    surface_small_seed: CitedValue
    surface_transplant: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class RipeningOfAll:
    """How surely heat tells ripeness, and when the season is over for want of it."""

    spread: CitedValue
    least_share: CitedValue
    cool_days: CitedValue
    cool_heat: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Frost:
    """What the trade calls a frost."""

    hard: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Soil:
    """The soil temperature at planting depth."""

    error: CitedValue
    plastic: CitedValue
    canopy_leaf_area: CitedValue
    straw_leaf_area: CitedValue
    residue_leaf_area: CitedValue
    days_held: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class SoilWater:
    """The water of a loam."""

    upper_limit: CitedValue
    lower_limit: CitedValue
    saturation: CitedValue
    turned_depth: CitedValue
    surface_depth: CitedValue
    readily_evaporable: CitedValue
    wet_ground: CitedValue
    workable: CitedValue
    unknown_days: CitedValue
    root_share: CitedValue
    straw_evaporation: CitedValue
    plastic_evaporation: CitedValue
    litter_full: CitedValue
    litter_kept: CitedValue
    litter_dry: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Notes:
    """What a scouting note is worth."""

    scatter: CitedValue
    shared: CitedValue
    fading: CitedValue
    fading_days: CitedValue
    pace_spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a thermometer, a clip sample and a ruler are worth."""

    field_share: CitedValue
    cover_share: CitedValue
    passing_share: CitedValue
    passing_days: CitedValue
    soil: CitedValue
    clip: CitedValue
    low_stand: CitedValue
    low_stand_weight: CitedValue
    each_more: CitedValue
    height: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """How far a weather forecast may be off."""

    first_day: CitedValue
    each_day: CitedValue
    usual: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The share of the members that makes an answer."""

    safe: CitedValue
    dead: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class BloomRecords:
    """Bloom records of one's own."""

    days_per_degree: CitedValue
    least_scatter: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class CropPractice:
    """How a crop is followed where no table of it tells."""

    emergence: CitedValue
    left_standing: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreading:
    """Manure and compost."""

    phosphorus_removed_least: CitedValue
    phosphorus_removed_most: CitedValue
    phosphorus_first_year: CitedValue
    about_right: CitedValue
    organic_matter: CitedValue
    raw_on_soil: CitedValue
    raw_above: CitedValue
    compost_carbon_least: CitedValue
    compost_carbon_most: CitedValue
    compost_coldest: CitedValue
    compost_hottest: CitedValue
    vessel: CitedValue
    aerated_pile: CitedValue
    windrow: CitedValue
    turnings: CitedValue
    bioassay: CitedValue
    bioassay_mix: CitedValue
    poultry: CitedValue
    on_top_uk: CitedValue
    on_top_australia: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Roots:
    """How long a vine feeds from its spot."""

    spot_least: CitedValue
    spot_most: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Supplies:
    """What is bought."""

    bale: CitedValue
    pin_edge: CitedValue
    board_us: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Models:
    """All of them, a table each."""

    nitrogen: Nitrogen
    snow: Snow
    crown: Crown
    winter: Hardening
    bloom: CoolDays
    sowing: SowingPractice
    cereal: CerealClock
    mixture: Mixture
    ending: Ending
    decision: Decision
    residue: ResidueDecay
    maggot: Maggot
    disease: Disease
    frost: Frost
    ripening: RipeningOfAll
    soil: Soil
    water: SoilWater
    notes: Notes
    readings: Readings
    forecast: Forecast
    answer: Answer
    fit: BloomRecords
    crop: CropPractice
    spreading: Spreading
    roots: Roots
    supplies: Supplies


def read(text: str) -> Models:
    """The numbers of the models, strictly read.

    Parameters
    ----------
    text : str
        TOML, as in ``data/models.toml``.

    Raises
    ------
    ParameterError
        If a table or key is unknown or missing, or a value is not what it should be.
    """
    return build(Models, tomllib.loads(text), "models.toml")


MODELS = read(data_file("models.toml").read_text(encoding="utf-8"))
