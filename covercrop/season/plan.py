"""The whole chain for one field, from its weather to the earliest safe planting."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.base.errors import FieldFileError, UsageError
from covercrop.base.records import DateRange
from covercrop.models import plantback
from covercrop.models.members import EARLY, LATE, MEDIAN, Draws, share, share_by, standard_draws
from covercrop.models.season_calendar import DAYS_OF_SEASON, SEASON_DAYS, season_ends
from covercrop.parameters.constants import MODELS
from covercrop.season import advice, provenance
from covercrop.season.absences import absences
from covercrop.season.beside import PREFIX
from covercrop.season.chain import DATES, Chain, member_days
from covercrop.season.ending import POOR
from covercrop.season.following import follow, follow_each
from covercrop.season.ground import follow_ground, ground_details
from covercrop.season.ground_part import GroundPart, ground_part
from covercrop.season.helps import Help, helps
from covercrop.season.mixture_part import MixturePart, mixture_part
from covercrop.season.next_step import NextStep, next_step, work_ahead
from covercrop.season.nitrogen_part import PERCENT, NitrogenPart, nitrogen_part
from covercrop.season.note_effects import what_notes_did
from covercrop.season.planting_part import PlantingPart, planting_part
from covercrop.season.provenance import Provenance
from covercrop.season.stand import midsummer_of
from covercrop.season.stand_part import SURE, StandPart, stand_part
from covercrop.season.start import Start
from covercrop.season.window_part import WindowPart, window_part
from covercrop.season.winter_part import WinterPart, snow_from, winter_part
from covercrop.weather.outlook import Outlook, season_outlook
from covercrop.weather.sharing import SharedWeather

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.season.ground import Ground


#: The ground counts as plantable once this share of the members says so.
SAFE_SHARE = MODELS.answer.safe.value

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
class Details:
    """What is only said beside the dates, and costs as much to work out as they do.

    Attributes
    ----------
    ground : GroundPart
    nitrogen : NitrogenPart
    helps : tuple of Help
        What would help, what gains most first; only looked for where the best day is more likely to fail than not.
    """

    ground: GroundPart
    nitrogen: NitrogenPart
    helps: tuple[Help, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Everything known about one field on one day, in parts.

    A date that is not reached is ``NaT``, a number that is not known NaN, and what there is nothing of None; a part
    that was left out (``details=False``) raises where it is asked for.  ``absent`` says of each which it is.

    Attributes
    ----------
    field, cover, crop
        What was asked about.
    on : numpy.datetime64[D]
        The day of the answer.
    outlook : Outlook
        The weather of the season behind it.
    state : str
        One of :data:`STATES`.
    stand : StandPart
    window : WindowPart
    winter : WinterPart
    planting : PlantingPart
    provenance : Provenance
    mixture : MixturePart or None
        The cereal beside the cover; None for a legume alone.
    details : Details or None
        Read through ``ground`` and ``nitrogen``; None where they were not asked for.
    """

    field: Field
    cover: Cover
    crop: Crop
    on: np.datetime64
    outlook: Outlook
    state: str
    stand: StandPart
    window: WindowPart
    winter: WinterPart
    planting: PlantingPart
    provenance: Provenance
    mixture: MixturePart | None
    details: Details | None

    @property
    def ground(self) -> GroundPart:
        """What the ground tells beside its dates.

        Raises
        ------
        UsageError
            If it was left out.
        """
        return self._detailed("ground").ground

    @property
    def nitrogen(self) -> NitrogenPart:
        """What the cover brings.

        Raises
        ------
        UsageError
            If it was left out.
        """
        return self._detailed("nitrogen").nitrogen

    def _detailed(self, part: str) -> Details:
        if self.details is None:
            raise UsageError(f"{self.field.name}: the plan was made without its {part}; make it with details=True")
        return self.details

    @property
    def is_ended(self) -> bool:
        """Whether the cover has been ended, so that only the ground is left to talk about."""
        return self.field.cover.turned_under is not None

    @property
    def is_planted(self) -> bool:
        """Whether the crop is in the ground."""
        return self.field.crop.planted is not None

    @property
    def dates(self) -> dict[str, DateRange]:
        """Every date of the chain (:data:`covercrop.season.chain.DATES`), as the parts have them, for tables."""
        found = self.stand.dates | self.planting.limits
        found |= {"window_open": self.window.opens, "window_close": self.window.closes}
        found |= {"earliest_planting": self.planting.earliest, "latest_planting": self.planting.latest}
        return {name: found[name] for name in DATES}

    @property
    def next_step(self) -> NextStep:
        """What the field needs next."""
        return next_step(self.state, self.on, self.stand, self.window, self.planting)

    @property
    def work_ahead(self) -> NextStep | None:
        """The next work with a likely day, scouting passed over; None where there is none."""
        return work_ahead(self.on, self.window, self.planting, ended=self.is_ended, planted=self.is_planted)

    @property
    def absent(self) -> dict[str, str]:
        """What has no value, and why (:func:`covercrop.season.absences.absences`)."""
        return absences(
            self.dates,
            self.window,
            self.planting,
            self.details.nitrogen if self.details else None,
            killed=self.stand.killed,
            known=self.outlook.complete,
        )


def make_plan(
    field: Field, weather: DailyWeather, on: np.datetime64, draws: Draws | None = None, *, details: bool = True
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
    details : bool
        Work out what is only said beside the dates, too: the parts ``ground`` and ``nitrogen``.

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
    return plan_of(field, start, weather, follow(start, draws), draws, details=details)


def make_plans(
    asked: Sequence[tuple[Field, Start, DailyWeather]],
    draws: Draws | None = None,
    *,
    details: bool = True,
    advance: Callable[[float], None] = lambda _share: None,
) -> list[Plan]:
    """Work out many fields, each as :func:`make_plan` would, in less time.

    Parameters
    ----------
    asked : sequence of (Field, Start, DailyWeather)
        Field and weather as they were given to :func:`start_of`, and what it gave.
    draws, details
        As for :func:`make_plan`.
    advance : callable, optional
        Told 1 as each field is done.
    """
    draws = draws or standard_draws()
    plans = {}
    for place, start, chain in follow_each((start for _, start, _ in asked), draws):
        plans[place] = plan_of(asked[place][0], start, asked[place][2], chain, draws, details=details)
        advance(1)
    return [plans[place] for place in range(len(asked))]


def start_of(field: Field, weather: DailyWeather, on: np.datetime64, shared: SharedWeather | None = None) -> Start:
    """What a field is followed from; takes and raises what :func:`make_plan` does, but of the cultivar.

    Fields of one run that share their weather and their day of sowing share their season too.
    """
    if on > np.datetime64(season_ends(field.cover.sown), "D"):
        raise FieldFileError(
            f"sown = {field.cover.sown} lies more than {SEASON_DAYS} days before {on}, and that season is over; "
            "enter the cover that stands now, or ask about an earlier day with `on`"
        )
    if field.aim.plant_by is not None and np.datetime64(field.aim.plant_by, "D") < on and field.crop.planted is None:
        raise FieldFileError(f"plant_by = {field.aim.plant_by} is before {on}; give a later day, or leave it out")
    sown = np.datetime64(field.cover.sown, "D")
    outlook = (shared or SharedWeather()).once(
        (weather, sown, on), lambda: season_outlook(weather, sown, DAYS_OF_SEASON, on)
    )
    return Start.of(field, outlook, outlook.position(on))


def plan_of(
    field: Field, start: Start, weather: DailyWeather, chain: Chain, draws: Draws, *, details: bool = True
) -> Plan:
    """The plan of a field that has been followed; takes what :func:`make_plan` does, and what it was followed from."""
    outlook, today = start.outlook, start.conditions.today
    cover, crop = start.conditions.cover, start.conditions.crop
    stand, ending, ground, weights, killed = chain.stand, chain.ending, chain.ground, chain.weights, chain.killed
    ended = field.cover.turned_under is not None
    on = outlook.days[0] + np.timedelta64(today, "D")
    own = {name: days for name, days in stand.stages.items() if not name.startswith(PREFIX)}
    indexes = own | chain.indexes()
    found = member_days(list(indexes.values()), weights, (EARLY, MEDIAN, LATE, SAFE_SHARE))
    days = dict(zip(indexes, found, strict=True))
    planting, safe = days["earliest_planting"][[1, 3]]
    gone = killed or stand.legume_dead
    if stand.legume_dead:
        days |= {name: np.full_like(days[name], np.nan) for name in own if name != "emergence"}
    dates = _dates(days, outlook, killed=killed)
    worked_out = _details(field, start, chain, draws, planting, dates["residue"].median) if details else None
    window = window_part(
        ending,
        outlook,
        today,
        asked=field.cover.terminate,
        dates=(dates["window_open"], dates["window_close"]),
        open_now=chain.least(partial(_open_on, day=today)),
        undoubted=chain.settled.ending.best if chain.settled else None,
        killed=killed,
        ended=ended,
    )
    nowhere = bool(np.isnat(window.ending_day))
    state = "winter-killed" if killed else _state(field, chain, today)
    too_late = share_by(ground.latest, weights, today - 1) >= 0.5
    planted = _planted(field, outlook, np.nan if state == "plantable" and too_late else np.maximum(planting, today))
    early, median, late = outlook.dates(member_days((ground.ripeness.ripe(planted),), weights).ravel())
    stood_until = today if ending.day is None else min(today, ending.day)
    safe_day, likely_day = outlook.dates([safe, planted])
    return Plan(
        field=field,
        cover=cover,
        crop=crop,
        on=on,
        outlook=outlook,
        state=state,
        stand=stand_part(
            dates,
            {name: days[name][1] for name in own},
            stood_until,
            survival=chain.survival,
            killed=gone,
            ended=ended,
            seed_now=chain.undoubted(lambda each: share_by(each.stand.stages["viable_seed"], each.weights, today)),
            notes=field.scouting,
            on=on,
        ),
        window=window,
        winter=winter_part(
            outlook,
            cover,
            stand,
            min(
                outlook.known,
                midsummer_of(outlook, field.latitude) + 1,
                int(ending.day) + 1 if ended and ending.day is not None else outlook.known,
            ),
        ),
        planting=planting_part(
            field.crop,
            dates,
            safe=safe_day,
            binding=None if nowhere or not outlook.complete else plantback.binding(ground.limits, weights),
            ripens=_ripens_at_least(chain, None if field.crop.planted is None else planted)
            if outlook.complete
            else np.nan,
            day=likely_day if field.crop.planted is None else np.datetime64(field.crop.planted, "D"),
            ripe=DateRange(early=early, median=median, late=late),
            cold_filling=_chance(ground.ripeness.cold_filling(planted), weights),
            soil_c=plantback.soil_wanted(crop, field.crop.method, field.crop.soil_c)[0],
            emergence_days=_emergence(crop, ground, _planted(field, outlook, planting)),
            too_late=too_late,
        ),
        provenance=_provenance(field, start, weather, chain),
        mixture=mixture_part(
            stand,
            outlook,
            cover,
            crop,
            field.crop,
            weights,
            asked=field.cover.terminate,
            method=ending.method,
            today=stood_until,
            ending=ending.day,
            legume_survival=chain.legume_survival,
            percent=worked_out.nitrogen.amounts.get(PERCENT) if worked_out else None,
            soil_c=ground.soil_c,
        ),
        details=worked_out,
    )


def _dates(days: dict[str, Array], outlook: Outlook, *, killed: bool) -> dict[str, DateRange]:
    """The dates of the chain with their intervals; of a dead stand nothing is said but when it came up."""
    never = np.full(3, np.nan)
    ranges = outlook.dates([never if killed and name != "emergence" else days[name][:3] for name in DATES])
    return {
        name: DateRange(early=early, median=median, late=late)
        for name, (early, median, late) in zip(DATES, ranges, strict=True)
    }


def _details(
    field: Field, start: Start, chain: Chain, draws: Draws, planting: float, residue: np.datetime64
) -> Details:
    """What is said beside the dates: ``planting`` is the likely day index of it, ``residue`` the date of its limit."""
    cover, outlook, weights = start.conditions.cover, start.outlook, chain.weights
    found = ground_details(outlook, field.latitude, cover, start.conditions.crop, field.seedbed, chain.ground)
    soil_warm = chain.ground.limits["soil_warm"]
    by_rain, brood, soil_good, soil_least = outlook.dates(
        member_days((found.residue_by_rain, found.brood, found.soil_good, soil_warm), weights, (MEDIAN,)).ravel()
    )
    best = chain.ending.best
    return Details(
        ground=ground_part(
            residue,
            by_rain,
            brood,
            soil_good,
            soil_least,
            known=outlook.complete,
            mulch_costs=_mulch_costs(field, start, chain, draws),
        ),
        nitrogen=nitrogen_part(
            chain.stand,
            cover.growth,
            outlook,
            field.scouting,
            weights,
            draws,
            chain.ending.day,
            killed=chain.killed,
            release=found.release,
            by_planting=_median_on(found.released, planting),
            other=outlook.position(best.other.date) if best and best.other else None,
        ),
        helps=helps(start, chain, draws) if best and best.together < POOR else (),
    )


def _mulch_costs(field: Field, start: Start, chain: Chain, draws: Draws) -> int | None:
    """Days by which a mulch laid in the squares of a sheet with the ending puts planting off; None where not known."""
    if not field.in_squares or field.beds.mulch_m is None or field.crop.planted is not None:
        return None
    conditions = start.conditions
    mulched = follow_ground(
        start.outlook,
        conditions.cover,
        conditions.crop,
        replace(conditions.planting, ground_cover="straw"),
        draws,
        dead=chain.ground.dead,
        midwinter=chain.midwinter,
        terminate=chain.ending.method,
        maturity=chain.ground.maturity,
        scouting=conditions.scouting,
        residue_pace=chain.ground.residue_pace,
        cereal=conditions.companion,
    )
    open_soil, under_mulch = member_days([chain.ground.earliest, mulched.earliest], chain.weights, (MEDIAN,)).ravel()
    late = under_mulch - open_soil
    return round(late) if np.isfinite(late) else None


# --- the stand ------------------------------------------------------------------------------------


def _state(field: Field, chain: Chain, today: int) -> str:
    """Where the field stands; while notes are in doubt, no further on than without them, but for the seed."""
    if field.crop.planted is not None:
        return "planted"
    if field.cover.turned_under is not None:
        return "plantable" if share_by(chain.ground.earliest, chain.weights, today) >= SAFE_SHARE else "turned-under"
    if chain.closed_by(today - 1) >= 0.5:
        return "seed-risk"
    if chain.is_closing(today):
        return "closing"
    if chain.least(lambda each: share_by(each.stand.opens, each.weights, today)) >= 0.5:
        return "in-window"
    budding = chain.least(lambda each: share_by(each.stand.stages["bud"], each.weights, today)) >= 0.5
    return "budding" if budding else "growing"


def _open_on(chain: Chain, day: int) -> float:
    """Chance that the window holds a day; one that is not known to have closed is open."""
    stand, odds = chain.stand, chain.ending.odds
    if day < odds.size:
        return float(odds[day])
    return share((stand.opens <= day) & ~(stand.closes < day), chain.weights)


# --- the ground -----------------------------------------------------------------------------------


def _ripens_at_least(chain: Chain, planted: float | None) -> float:
    """Chance that the crop ripens, no higher than it is without the notes in doubt, where that is known."""
    without = [chance for rival in chain.rivals if not np.isnan(chance := _ripens_at_least(rival, planted))]
    return min([_ripens(chain, planted), *without])


def _chance(holds: Array, weights: Array) -> float:
    """Chance of what is 1 or 0 in each member, of those in which it is known; NaN where it is in none."""
    known = np.broadcast_to(~np.isnan(holds), weights.shape)
    return share(np.broadcast_to(holds == 1, weights.shape), weights * known) if known.any() else np.nan


def _ripens(chain: Chain, planted: float | None) -> float:
    """Chance that the crop ripens, planted on the first safe day or when it was; NaN where that is not known."""
    ground = chain.ground
    day = ground.earliest if planted is None else np.full_like(ground.earliest, planted)
    if np.isnan(day).all():
        return np.nan
    latest = np.where(np.isnan(ground.latest), np.inf, ground.latest)  # no end of the season, no last day
    return share(day <= latest, chain.weights)


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


# --- what it comes to -----------------------------------------------------------------------------


def _provenance(field: Field, start: Start, weather: DailyWeather, chain: Chain) -> Provenance:
    cover, crop, outlook = start.conditions.cover, start.conditions.crop, start.outlook
    of_weather = (*_credit(weather), *weather.notes, *outlook.notes)
    return Provenance(
        observed_share=provenance.observed_share(outlook, chain.ending.day),
        stale_since=provenance.stale_since(outlook, outlook.days[0] + np.timedelta64(start.conditions.today, "D")),
        doubts=chain.doubts,
        set_aside=chain.set_aside,
        check=provenance.to_check(chain.doubts, field.scouting),
        notes=(
            *of_weather,
            *_notes(field, cover, chain.legume_survival, snow_from(outlook), legume_dead=chain.stand.legume_dead),
            *what_notes_did(field, cover, outlook, chain.stand, chain.ground, chain.set_aside),
        ),
        assumptions=advice.assumptions(field, cover, crop),
        cautions=advice.cautions(field, cover, crop),
        of_weather=of_weather,
        sources=advice.sources(field, cover, crop),
    )


#: How the snow comes into the chance of living, by where it is from.
_SNOW = {
    "measured": "under the snow that was measured, and what temperature and rain make of the rest",
    "worked-out": "under the snow that temperature and rain make",
    "none": "with no snow reckoned with, since neither its depth nor the rain is known",
    "no-catch": "with next to no snow reckoned with, since the rain gauge seems to catch none",
}


def _credit(weather: DailyWeather) -> tuple[str, ...]:
    """The line of credit that public data ask for."""
    return (f"Weather: {weather.attribution}",) if weather.attribution else ()


def _notes(field: Field, cover: Cover, survival: float, snow: str, *, legume_dead: bool = False) -> list[str]:
    notes = []
    lives = "of the cereal alone" if legume_dead else "those of a stand that lives"
    what = cover.common_name if field.cover.companion else "stand"
    if survival < SURE and field.cover.turned_under is None:
        notes.append(
            f"The chance that the {what} lives through the cold is {max(survival, 0.01):.0%}, {_SNOW[snow]}; "
            f"dates are {lives}."
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
