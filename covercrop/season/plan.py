"""The whole chain for one field, from its weather to the earliest safe planting."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array
from covercrop.base.errors import FieldFileError
from covercrop.base.records import DateRange
from covercrop.models import biomass, plantback
from covercrop.models.bbch import bbch as bbch_on
from covercrop.models.bbch import stage_name
from covercrop.models.members import EARLY, LATE, MEDIAN, Draws, quantiles, share, share_by, standard_draws
from covercrop.models.season_calendar import DAYS_OF_SEASON, SEASON_DAYS, season_ends
from covercrop.season import advice, measurements
from covercrop.season.chain import DATES, Course, Start, follow, follow_each, member_days
from covercrop.season.ending import TurnUnder
from covercrop.season.ground import Aside, Ground, ground_aside
from covercrop.season.note_effects import remarks
from covercrop.weather.outlook import Outlook, season_outlook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.season.doubts import Doubt
    from covercrop.season.stand import Stand


#: The ground counts as plantable once this share of the members says so.
SAFE_SHARE = 0.8

_NOT_A_DATE = np.datetime64("NaT", "D")

#: Below this chance of living through the winter, the chance is said.
SURE = 0.95

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A quantity with its 80 % interval."""

    low: float
    median: float
    high: float


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
    method : str
        How the cover is ended, or is to be: what the field file asks for, or
        turning under where that has no window left.
    bbch : int
        BBCH stage of the stand; ``stage`` says it in words.
    dates : dict of str to DateRange
        Every date of the chain (:data:`DATES`) with its 80 % interval.
    turned : numpy.datetime64[D]
        The day from which the ground is followed: that of the ending of the
        cover, done or best, or today if it is too late; NaT where there is none.
    turn_under : TurnUnder or None
        None once it is done, where it is too late or the stand is dead, and
        where no day has a chance to speak of.
    surer : TurnUnder or None
        The best day of turning under, where another way was asked for and has
        poor chances.
    window_days : numpy.ndarray of datetime64[D], shape (day,)
    window_probability : numpy.ndarray, shape (day,)
        Chance that the window holds each day, if the stand lives; none for a
        dead one.
    window_now, seed_now : float
        Chance that the window holds ``on``, and that seed is viable by then.
    survival : float
        Chance that the stand lives through the winter.
    binding_limit : str or None
        The limit that is most often the last to clear.
    observed_share : float
        Share of the days from sowing to the ending of the cover that were observed.
    safe_planting : numpy.datetime64[D]
        Earliest planting that is safe in eight years of ten.
    ripens : float
        Chance that the crop ripens, planted as soon as it is safe; NaN where
        that is not known.
    ripe : numpy.datetime64[D]
        When a planted crop is ripe; NaT where none is planted.
    residue_by_rain : numpy.datetime64[D]
        When the residue is likely gone with no water but the rain; the date
        in ``dates`` is that of ground that is kept moist.
    brood : numpy.datetime64[D]
        When most maggot flies bred on the cover are likely out.
    emergence_days : float
        Days until the crop is up, sown on the likely day or on the day on
        which it was [d]; NaN where that is not known.
    pan_by_planting : float
        Share of the plant-available nitrogen released by the likely day of
        the earliest planting; NaN where there is none.
    nitrogen : dict of str to Amount
        ``dry_matter_kg_ha``, ``n_kg_ha``, ``pan_kg_ha`` and
        ``carbon_nitrogen`` on the day of ending the cover; empty where there
        is no such day.
    release : dict of int to Amount
        Share of the plant-available nitrogen released by so many weeks after
        the ending, from the slow to the fast case of decay; empty as
        ``nitrogen`` is, and without the weeks beyond the season.
    outlook : Outlook
        The season behind it, for charts.
    doubts : tuple of Doubt
        Notes that do not fit, while there is something to be decided by them: no chance is higher than it would be
        without them.
    set_aside : tuple of Doubt
        Those of them that the answer does not rest on.
    undoubted : TurnUnder or None
        The best day of ending the cover if they had not been taken, where that is another than ``turn_under``.
    notes, assumptions, cautions, sources : tuple of str
        What the reader should know; what no source gives and why it was set
        as it is; what can hurt; keys of the sources.
    """

    field: Field
    cover: Cover
    crop: Crop
    on: np.datetime64
    state: str
    method: str
    bbch: int
    stage: str
    dates: dict[str, DateRange]
    turned: np.datetime64
    turn_under: TurnUnder | None
    surer: TurnUnder | None
    window_days: NDArray[np.datetime64]
    window_probability: Array
    window_now: float
    seed_now: float
    survival: float
    binding_limit: str | None
    observed_share: float
    safe_planting: np.datetime64
    ripens: float
    ripe: np.datetime64
    residue_by_rain: np.datetime64
    brood: np.datetime64
    emergence_days: float
    pan_by_planting: float
    nitrogen: dict[str, Amount]
    release: dict[int, Amount]
    outlook: Outlook
    doubts: tuple[Doubt, ...]
    set_aside: tuple[Doubt, ...]
    undoubted: TurnUnder | None
    notes: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]


def make_plan(
    field: Field, weather: DailyWeather, on: np.datetime64, draws: Draws | None = None, *, beside: bool = True
) -> Plan:
    """Work out one field.

    Parameters
    ----------
    field : Field
        As it was known on ``on`` (see :func:`covercrop.field.entries.as_of`).
    weather : DailyWeather
        Reaching back to sowing; past years before it, if there are any.
    on : numpy.datetime64[D]
        The day of the answer.
    draws : Draws, optional
        The standard set by default.
    beside : bool
        Work out what is only said beside the dates, too: ``residue_by_rain``, ``brood``, ``pan_by_planting``,
        ``nitrogen`` and ``release``, which cost as much as the dates.

    Returns
    -------
    Plan

    Raises
    ------
    WeatherGapError
        If the season is not known from sowing on.
    FieldFileError
        If the season of the cover was over before ``on``.
    ParameterError
        If the cover, the cultivar or the crop is not known.
    """
    draws = draws or standard_draws()
    start = start_of(field, weather, on)
    return _plan(field, start, weather, follow(start, draws), draws, beside=beside)


def make_plans(
    asked: Sequence[tuple[Field, Start, DailyWeather]], draws: Draws | None = None, *, beside: bool = True
) -> list[Plan]:
    """Work out many fields, each as :func:`make_plan` would, in less time.

    Parameters
    ----------
    asked : sequence of (Field, Start, DailyWeather)
        Field and weather as they were given to :func:`start_of`, and what it gave.
    draws, beside
        As for :func:`make_plan`.
    """
    draws = draws or standard_draws()
    plans = {
        place: _plan(asked[place][0], start, asked[place][2], course, draws, beside=beside)
        for place, start, course in follow_each((start for _, start, _ in asked), draws)
    }
    return [plans[place] for place in range(len(asked))]


def start_of(field: Field, weather: DailyWeather, on: np.datetime64) -> Start:
    """What a field is followed from; takes and raises what :func:`make_plan` does, but of the cultivar."""
    if on > np.datetime64(season_ends(field.cover.sown), "D"):
        raise FieldFileError(
            f"sown = {field.cover.sown} lies more than {SEASON_DAYS} days before {on}, and that season is over; "
            "enter the cover that stands now, or ask about an earlier day with `on`"
        )
    outlook = season_outlook(weather, np.datetime64(field.cover.sown, "D"), DAYS_OF_SEASON, on)
    return Start.of(field, outlook, outlook.position(on))


def _plan(field: Field, start: Start, weather: DailyWeather, course: Course, draws: Draws, *, beside: bool) -> Plan:
    outlook, today = start.outlook, start.conditions.today
    cover, crop = start.conditions.cover, start.conditions.crop
    stand, ending, ground, weights, killed = course.stand, course.ending, course.ground, course.weights, course.killed
    best, turned = ending.best, ending.day
    indexes = stand.stages | course.indexes()
    found = member_days(list(indexes.values()), weights, (EARLY, MEDIAN, LATE, SAFE_SHARE))
    days = dict(zip(indexes, found, strict=True))
    planting, safe = days["earliest_planting"][[1, 3]]
    never = np.full(3, np.nan)
    # Of a dead stand nothing is said but when it came up.
    ranges = outlook.dates([never if killed and name != "emergence" else days[name][:3] for name in DATES])

    state = "winter-killed" if killed else _state(field, course, today)
    bbch = bbch_on({name: days[name][1] for name in stand.stages}, today if turned is None else min(today, turned))
    nowhere = turned is None or killed
    aside = ground_aside(outlook, field.latitude, cover, field.crop, ground) if beside else None
    by_rain, brood = (
        outlook.dates(member_days((aside.residue_by_rain, aside.brood), weights, (MEDIAN,))[:, 0])
        if aside
        else (_NOT_A_DATE, _NOT_A_DATE)
    )
    nitrogen = {}
    if beside and turned is not None and not killed:
        nitrogen = _nitrogen(field, cover, outlook, stand, weights, draws, turned)
    return Plan(
        field=field,
        cover=cover,
        crop=crop,
        on=outlook.days[0] + np.timedelta64(today, "D"),
        state=state,
        method=ending.method,
        bbch=bbch,
        stage=stage_name(bbch),
        dates={
            name: DateRange(early=early, median=median, late=late)
            for name, (early, median, late) in zip(DATES, ranges, strict=True)
        },
        turned=_NOT_A_DATE if nowhere else outlook.days[0] + np.timedelta64(int(turned or 0), "D"),
        turn_under=best,
        surer=ending.surer,
        window_days=outlook.days,
        window_probability=np.zeros_like(ending.odds) if killed else ending.odds,
        window_now=course.least(partial(_open_on, day=today)),
        seed_now=course.undoubted(lambda each: share_by(each.stand.stages["viable_seed"], each.weights, today)),
        survival=course.survival,
        binding_limit=None if nowhere or not outlook.complete else plantback.binding(ground.limits, weights),
        observed_share=_observed_share(outlook, turned),
        safe_planting=outlook.dates([safe])[0],
        ripens=_ripens_at_least(course) if outlook.complete else np.nan,
        ripe=_ripe(field, crop),
        residue_by_rain=by_rain,
        brood=brood,
        emergence_days=_emergence(crop, ground, _planted(field, outlook, planting)),
        pan_by_planting=_median_on(aside.released, planting) if aside else np.nan,
        nitrogen=nitrogen,
        release={} if nowhere or aside is None else _release(aside),
        outlook=outlook,
        doubts=course.doubts,
        set_aside=course.set_aside,
        undoubted=_undoubted(course, best),
        notes=(
            *_credit(weather),
            *weather.notes,
            *outlook.notes,
            *_notes(field, cover, course.survival),
            *remarks(field, cover, outlook, stand, ground, course.set_aside),
        ),
        assumptions=advice.assumptions(field, cover, crop),
        cautions=advice.cautions(field, cover, crop),
        sources=advice.sources(field, cover, crop),
    )


# --- the stand ------------------------------------------------------------------------------------


def _state(field: Field, course: Course, today: int) -> str:
    """Where the field stands; while notes are in doubt, no further on than without them, but for the seed."""
    if field.crop.planted is not None:
        return "planted"
    if field.cover.turned_under is not None:
        return "plantable" if share_by(course.ground.earliest, course.weights, today) >= SAFE_SHARE else "turned-under"
    if course.closed_by(today - 1) >= 0.5:
        return "seed-risk"
    if course.is_closing(today):
        return "closing"
    if course.least(lambda each: share_by(each.stand.opens, each.weights, today)) >= 0.5:
        return "in-window"
    budding = course.least(lambda each: share_by(each.stand.stages["bud"], each.weights, today)) >= 0.5
    return "budding" if budding else "growing"


def _undoubted(course: Course, best: TurnUnder | None) -> TurnUnder | None:
    """The best day of ending the cover without the notes in doubt, where it is another."""
    without = course.settled.ending.best if course.settled else None
    return None if without is None or (best and best.date == without.date) else without


def _open_on(course: Course, day: int) -> float:
    """Chance that the window holds a day; one that is not known to have closed is open."""
    stand, odds = course.stand, course.ending.odds
    if day < odds.size:
        return float(odds[day])
    return share((stand.opens <= day) & ~(stand.closes < day), course.weights)


# --- the ground -----------------------------------------------------------------------------------


def _ripens_at_least(course: Course) -> float:
    """Chance that the crop ripens, no higher than it is without the notes in doubt, where that is known."""
    without = [chance for rival in course.rivals if not np.isnan(chance := _ripens_at_least(rival))]
    return min([_ripens(course), *without])


def _ripens(course: Course) -> float:
    """Chance that the crop ripens if it is planted on the first safe day; NaN where that is not known."""
    ground = course.ground
    if np.isnan(ground.earliest).all():
        return np.nan
    latest = np.where(np.isnan(ground.latest), np.inf, ground.latest)  # no freeze, no last day
    return share(ground.earliest <= latest, course.weights)


def _ripe(field: Field, crop: Crop) -> np.datetime64:
    """When a crop that is planted is ripe, by its days to maturity; NaT where it is not planted."""
    if field.crop.planted is None:
        return _NOT_A_DATE
    days = plantback.days_to_maturity(crop, field.crop.method, field.crop.days_to_maturity)
    return np.datetime64(field.crop.planted, "D") + np.timedelta64(int(np.ceil(days)), "D")


def _median_on(by_year_and_day: Array, day: float) -> float:
    """The middle year's value on a day; NaN where there is no such day, or it lies beyond the season."""
    return float(np.median(by_year_and_day[:, int(day)])) if day < by_year_and_day.shape[1] else np.nan


def _planted(field: Field, outlook: Outlook, likely: float) -> float:
    """Day index on which the crop was planted, or is likely to be."""
    if field.crop.planted is None:
        return likely
    day = outlook.position(np.datetime64(field.crop.planted, "D"))
    return float(day) if day < outlook.days.size else np.nan


def _emergence(crop: Crop, ground: Ground, planting: float) -> float:
    """Days until the crop is up, sown on a day; NaN where that is not known."""
    return float(plantback.emergence_days(crop, _median_on(ground.soil_c, planting)))


def _nitrogen(
    field: Field, cover: Cover, outlook: Outlook, stand: Stand, weights: Array, draws: Draws, turned: int
) -> dict[str, Amount]:
    if turned >= outlook.days.size or cover.growth is None:
        return {}
    # Emergence is the same in every draw, since it does not depend on what is drawn.
    up = stand.stages["emergence"][:, 0]
    grown_on = partial(biomass.dry_matter_on, outlook.tmean, up, growth=cover.growth)
    mean, sd = measurements.dry_matter(turned, field.scouting, outlook, grown_on, cover.growth.spread.value)
    dry_matter = np.maximum(mean[:, None] + sd[:, None] * draws.dry_matter, 0.0)
    percent_on = partial(stand.nitrogen_percent, growth=cover.growth)
    percent = percent_on(turned) * measurements.nitrogen_factor(turned, field.scouting, outlook, percent_on)
    amounts = biomass.amounts(dry_matter, percent)
    found = {name: quantiles(values, weights) for name, values in amounts.items()}
    return {name: Amount(low=low, median=median, high=high) for name, (low, median, high) in found.items()}


def _release(aside: Aside) -> dict[int, Amount]:
    """The middle year's release of nitrogen by the weeks since the ending."""
    middle = {weeks: np.median(shares, axis=1) for weeks, shares in aside.release.items()}
    return {
        weeks: Amount(low=float(slow), median=float(likely), high=float(fast))
        for weeks, (slow, likely, fast) in middle.items()
        if not np.isnan(likely)
    }


# --- what it comes to -----------------------------------------------------------------------------


def _observed_share(outlook: Outlook, turned: int | None) -> float:
    """Share of the days up to the ending of the cover that were observed; up to today, where there is no such day."""
    days = outlook.known if turned is None else turned + 1
    return float(outlook.observed[:days].sum() / days)


def _credit(weather: DailyWeather) -> tuple[str, ...]:
    """The line of credit that public data ask for."""
    return (f"Weather: {weather.attribution}",) if weather.attribution else ()


def _notes(field: Field, cover: Cover, survival: float) -> list[str]:
    notes = []
    if survival < SURE and field.cover.turned_under is None:
        notes.append(
            f"The chance that the stand lives through the cold is {max(survival, 0.01):.0%}, with no snow reckoned "
            "with; dates are those of a stand that lives."
        )
    if own := field.cover.calibration:
        days = cover.bloom.spread.value / cover.bloom.pace.value
        notes.append(
            f"The bloom of the {cover.common_name} follows your own records ({own.records}: {own.count} at "
            f"{own.places} place{'s' * (own.places > 1)}), good to about {days:.0f} days."
        )
    elif not field.cover.cultivar:
        notes.append(f"The cultivar of the {cover.common_name} is not given, so its dates are wider than they need be.")
    return notes
