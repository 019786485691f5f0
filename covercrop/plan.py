"""The whole chain for one field, from its weather to the earliest safe planting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop import advice, decomposition, growth, hazards, parameters, phenology, plantback, soil_water, termination
from covercrop.ensemble import SCOUTING_SD_DAYS, Draws, quantiles, share_by, standard_draws
from covercrop.records import DateRange
from covercrop.soil_temperature import SOIL_ERROR_SD, soil_temperature
from covercrop.stand import Stand, day_of_year, grow_stand
from covercrop.weather.outlook import Outlook, season_outlook

if TYPE_CHECKING:
    from covercrop.parameters import Cover, Crop
    from covercrop.records import DailyWeather
    from covercrop.season import Field

Array = NDArray[np.float64]

#: From sowing to past the first freeze of the next autumn.
SEASON_DAYS = 500

#: The ground counts as plantable once this share of the members says so.
SAFE_SHARE = 0.8

#: The window is closing when half of the members close within so many days.
CLOSING_DAYS = 7

#: A day with lower odds than this is no day to plan a visit for.
LEAST_ODDS = 0.05

STATES = (
    "growing",
    "budding",
    "in-window",
    "closing",
    "seed-risk",
    "turned-under",
    "plantable",
    "planted",
    "winter-killed",
)

DATES = (
    "emergence",
    "bud",
    "first_flower",
    "bloom_25",
    "bloom_50",
    "end_of_bloom",
    "viable_seed",
    "window_open",
    "window_close",
    "residue",
    "disease",
    "maggot",
    "soil_warm",
    "frost",
    "earliest_planting",
    "latest_planting",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A quantity with its 80 % interval."""

    low: float
    median: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnUnder:
    """The best day, its odds, and the first and last day of the best week."""

    date: np.datetime64
    probability: float
    start: np.datetime64
    end: np.datetime64


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Everything known about one field on one day.

    Attributes
    ----------
    field, cover, crop
        What was asked about.
    on : numpy.datetime64[D]
        The day of the answer.
    state : str
        One of :data:`STATES`.
    bbch : int
        BBCH stage of the stand; ``stage`` says it in words.
    dates : dict of str to DateRange
        Every date of the chain (:data:`DATES`) with its 80 % interval.
    turn_under : TurnUnder or None
        None once it is turned under, and where no day has any odds.
    window_days : numpy.ndarray of datetime64[D], shape (day,)
    window_probability : numpy.ndarray, shape (day,)
        Share of the members whose window holds each day; a killed stand has
        none.
    window_now, closed_now : float
        The odds that the window holds ``on``, and that it has closed by then.
    survival : float
        Odds that the stand lives through the winter.
    binding_limit : str or None
        The limit that is most often the last to clear.
    observed_share : float
        Share of the days from sowing to turning under that were observed.
    residue_if_watered : numpy.datetime64[D]
        When the residue is most likely gone in ground that is kept moist;
        the limit in ``dates`` goes by the rain, where that is known.
    pan_by_planting : float
        Share of the plant-available nitrogen released by the likely day of
        the earliest planting; NaN where there is none.
    nitrogen : dict of str to Amount
        ``dry_matter_kg_ha``, ``n_kg_ha`` and ``pan_kg_ha`` on the day of
        turning under; empty where there is no such day.
    outlook : Outlook
        The season behind it, for charts.
    notes, assumptions, cautions, sources : tuple of str
        What the reader should know; what no source gives and why it was set
        as it is; what can hurt; keys of the sources.
    """

    field: Field
    cover: Cover
    crop: Crop
    on: np.datetime64
    state: str
    bbch: int
    stage: str
    dates: dict[str, DateRange]
    turn_under: TurnUnder | None
    window_days: NDArray[np.datetime64]
    window_probability: Array
    window_now: float
    closed_now: float
    survival: float
    binding_limit: str | None
    observed_share: float
    residue_if_watered: np.datetime64
    pan_by_planting: float
    nitrogen: dict[str, Amount]
    outlook: Outlook
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]


def make_plan(field: Field, weather: DailyWeather, on: np.datetime64, draws: Draws | None = None) -> Plan:
    """Work out one field.

    Parameters
    ----------
    field : Field
        As it was known on ``on`` (see :func:`covercrop.season.as_of`).
    weather : DailyWeather
        Reaching back to sowing; past years before it, if there are any.
    on : numpy.datetime64[D]
        The day of the answer.
    draws : Draws, optional
        The standard set by default.

    Returns
    -------
    Plan

    Raises
    ------
    WeatherGapError
        If the season is not known from sowing on.
    ParameterError
        If the cover, the cultivar or the crop is not known.
    """
    draws = draws or standard_draws()
    cover = parameters.cover(field.cover.species)
    crop = parameters.crop(field.crop.name)
    outlook = season_outlook(weather, np.datetime64(field.cover.sown, "D"), SEASON_DAYS, on)
    today = outlook.position(on)
    stand = grow_stand(
        outlook,
        field.latitude,
        cover,
        draws,
        cultivar=field.cover.cultivar,
        terminate=field.cover.terminate,
        scouting=field.scouting,
    )
    survival = float(stand.living.sum())
    # What has been turned under was there to be turned under, whatever the model makes of the winter.
    killed = field.cover.turned_under is None and share_by(stand.killed, stand.weights, today) >= 0.5

    odds = _window_odds(stand, outlook.days.size)
    best = None if field.cover.turned_under or killed else _best(odds, today, outlook)
    turned = _turning_day(field, best, outlook)
    midwinter = _midwinter(field.latitude, outlook)
    ground = _ground(field, outlook, turned)
    limits = plantback.limits(
        outlook.tmin,
        outlook.tmax,
        ground.soil_c,
        ground.turned,
        midwinter,
        residue=cover.residue,
        crop=crop,
        method=field.crop.method,
        residue_draw=draws.residue,
        soil_error=SOIL_ERROR_SD * draws.soil,
        moisture=ground.moisture,
    )
    earliest = plantback.earliest(limits)
    indexes = {
        **{name: stand.stages[name] for name in DATES if name in stand.stages},
        "window_open": stand.opens,
        "window_close": stand.closes,
        **limits,
        # The limit is the date that one year in ten still freezes after; what is shown is the years themselves.
        "frost": _by_member(hazards.freeze_free_from(outlook.tmin, midwinter, crop.frost.value), stand),
        "earliest_planting": earliest,
        "latest_planting": _by_member(_latest_planting(field, crop, outlook, midwinter), stand),
    }
    if killed:
        indexes = {name: index for name, index in indexes.items() if name == "emergence"}
    weights = stand.living if survival > 0 else stand.weights
    state = "winter-killed" if killed else _state(field, stand, weights, earliest, today)
    median_stages = {name: quantiles(index, weights)[1] for name, index in stand.stages.items()}
    bbch = phenology.bbch(median_stages, today)
    return Plan(
        field=field,
        cover=cover,
        crop=crop,
        on=on,
        state=state,
        bbch=bbch,
        stage=phenology.stage_name(bbch),
        dates={name: _date_range(indexes.get(name), weights, outlook) for name in DATES},
        turn_under=best,
        window_days=outlook.days,
        window_probability=np.zeros_like(odds) if killed else odds,
        window_now=float(odds[today]) if 0 <= today < odds.size else 0.0,
        closed_now=share_by(stand.closes, weights, today - 1),
        survival=survival,
        binding_limit=None if killed or np.isnan(earliest).all() else plantback.binding(limits, weights),
        observed_share=_observed_share(outlook, turned),
        residue_if_watered=_if_watered(cover, outlook, ground),
        pan_by_planting=_released(cover, ground, quantiles(earliest, weights)[1]),
        nitrogen={} if killed else _nitrogen(cover, outlook, stand, weights, draws, turned),
        outlook=outlook,
        notes=(*weather.notes, *outlook.notes, *_notes(field, cover, stand)),
        assumptions=advice.assumptions(field, cover, crop),
        cautions=advice.cautions(field, cover, crop),
        sources=advice.sources(field, cover, crop),
    )


# --- the window -----------------------------------------------------------------------------------


def _window_odds(stand: Stand, days: int) -> Array:
    return termination.probability_by_day(stand.opens, stand.closes, stand.living, days)


def _best(odds: Array, today: int, outlook: Outlook) -> TurnUnder | None:
    """The best day that is still to come; none where what is to come is not known."""
    if not outlook.complete:
        return None
    ahead = odds.copy()
    ahead[: max(today, 0)] = 0.0
    if ahead.max(initial=0.0) < LEAST_ODDS:
        return None
    day = termination.best_day(ahead)
    start, end = termination.best_week(ahead)
    return TurnUnder(
        date=outlook.days[day], probability=float(odds[day]), start=outlook.days[start], end=outlook.days[end]
    )


def _turning_day(field: Field, best: TurnUnder | None, outlook: Outlook) -> int | None:
    if field.cover.turned_under is not None:
        return outlook.position(np.datetime64(field.cover.turned_under, "D"))
    return None if best is None else outlook.position(best.date)


# --- after turning under --------------------------------------------------------------------------


def _midwinter(latitude: float, outlook: Outlook) -> int:
    """Position of the first 1 January after sowing; south of the equator, of the first 1 July."""
    sown = outlook.days[0]
    new_year = sown.astype("datetime64[Y]").astype("datetime64[M]") + np.timedelta64(0 if latitude >= 0 else 6, "M")
    if new_year.astype("datetime64[D]") < sown:
        new_year += np.timedelta64(12, "M")
    return outlook.position(new_year.astype("datetime64[D]"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """The ground once the cover is under: when (NaN if it is not), how warm [degC] and how moist, by year and day."""

    turned: float
    soil_c: Array
    moisture: Array


def _ground(field: Field, outlook: Outlook, turned: int | None) -> _Ground:
    day = np.nan if turned is None else float(turned)
    cover = field.crop.ground_cover
    days = day_of_year(outlook.days)
    return _Ground(
        turned=day,
        soil_c=soil_temperature(outlook.tmean, cover, canopy_until=day),
        moisture=soil_water.moisture(outlook.prcp, outlook.tmin, outlook.tmax, field.latitude, days, cover, day),
    )


def _if_watered(cover: Cover, outlook: Outlook, ground: _Ground) -> np.datetime64:
    """When the residue is most likely gone in ground that is kept moist."""
    index = decomposition.residue_clear(ground.soil_c, np.array([ground.turned]), cover.residue)
    median: np.datetime64 = outlook.dates(quantiles(index, np.ones(index.shape)))[1]
    return median


def _released(cover: Cover, ground: _Ground, planting: float) -> float:
    """Share of the plant-available nitrogen that is out by the day of planting; NaN if there is no such day."""
    if np.isnan(planting):
        return np.nan
    share = decomposition.nitrogen_released(
        ground.soil_c, np.array(ground.turned), cover.residue, moisture=ground.moisture
    )
    return float(np.median(share[:, int(planting)]))


def _latest_planting(field: Field, crop: Crop, outlook: Outlook, midwinter: int) -> Array:
    days = plantback.days_to_maturity(crop, field.crop.method, field.crop.days_to_maturity)
    freeze = hazards.first_autumn_freeze(outlook.tmin, midwinter, crop.frost.value)
    return plantback.latest_planting(freeze, days)


def _nitrogen(
    cover: Cover, outlook: Outlook, stand: Stand, weights: Array, draws: Draws, turned: int | None
) -> dict[str, Amount]:
    if turned is None or turned >= outlook.days.size or cover.growth is None:
        return {}
    # Emergence is the same in every draw, since it does not depend on what is drawn.
    grown = growth.dry_matter(outlook.tmean[:, : turned + 1], stand.stages["emergence"][:, 0], cover.growth)[:, -1]
    dry_matter = grown[:, None] * np.maximum(1 + cover.growth.spread.value * draws.dry_matter, 0.0)
    stages = stand.stages
    percent = growth.nitrogen_percent(turned, stages["bud"], stages["bloom_50"], stages["viable_seed"], cover.growth)
    amounts = {
        "dry_matter_kg_ha": dry_matter,
        "n_kg_ha": growth.nitrogen_yield(dry_matter, percent),
        "pan_kg_ha": growth.pan(dry_matter, percent),
    }
    found = {name: quantiles(values, weights) for name, values in amounts.items()}
    return {name: Amount(low=low, median=median, high=high) for name, (low, median, high) in found.items()}


# --- what it comes to -----------------------------------------------------------------------------


def _by_member(by_year: Array, stand: Stand) -> Array:
    return np.broadcast_to(by_year[:, None], stand.opens.shape)


def _date_range(index: Array | None, weights: Array, outlook: Outlook) -> DateRange:
    found = np.full(3, np.nan) if index is None else quantiles(index, weights)
    early, median, late = outlook.dates(np.ceil(found))
    return DateRange(early=early, median=median, late=late)


def _state(field: Field, stand: Stand, weights: Array, earliest: Array, today: int) -> str:
    if field.crop.planted is not None:
        return "planted"
    if field.cover.turned_under is not None:
        return "plantable" if share_by(earliest, weights, today) >= SAFE_SHARE else "turned-under"
    if share_by(stand.closes, weights, today - 1) >= 0.5:
        return "seed-risk"
    if share_by(stand.opens, weights, today) >= 0.5:
        return "closing" if share_by(stand.closes, weights, today + CLOSING_DAYS) >= 0.5 else "in-window"
    return "budding" if share_by(stand.stages["bud"], weights, today) >= 0.5 else "growing"


def _observed_share(outlook: Outlook, turned: int | None) -> float:
    """Share of the days up to turning under that were observed; of those up to today, where there is no such day."""
    days = outlook.known if turned is None else turned + 1
    return min(outlook.observed / days, 1.0)


def _notes(field: Field, cover: Cover, stand: Stand) -> list[str]:
    notes = []
    if not field.cover.cultivar:
        notes.append(f"The cultivar of the {cover.common_name} is not given, so its dates are wider than they need be.")
    if field.scouting:
        count = "1 scouting note is" if len(field.scouting) == 1 else f"{len(field.scouting)} scouting notes are"
        notes.append(f"{count} used, each as good to about {stand.scouting_sd:.0f} days.")
        if stand.scouting_sd > SCOUTING_SD_DAYS:
            notes.append(
                "The notes do not fit this weather well, so the dates are kept wide: check the sowing date, the "
                "cultivar and the stages noted."
            )
    return notes
