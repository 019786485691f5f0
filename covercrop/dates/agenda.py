"""The dates ahead of a field: what is to be looked at or done, and on which days."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.autumn.comparison import RULE_DAYS, Autumn, compare_sowing_dates
from covercrop.base.errors import UsageError, WeatherGapError
from covercrop.base.records import DateRange
from covercrop.models import plantback, season_calendar
from covercrop.models.frost import HARD_FROST, first_autumn_freeze
from covercrop.models.members import quantiles
from covercrop.season.next_step import look_for, visits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.parameters.traits import Planting
    from covercrop.season.plan import Plan

#: In the order of a season.  A kind never changes its name: calendars know an event again by it.
KINDS = (
    "scout",
    "check-stand",
    "window-opens",
    "turn-under",
    "window-closes",
    "planting",
    "spring-frost",
    "thinning",
    "next-sowing",
    "autumn-frost",
)

#: Kinds whose dates move with the weather of the season; the others rest on past years, or on a date already said.
BY_THE_SEASON = ("scout", "window-opens", "turn-under", "window-closes", "planting", "spring-frost")

#: Taken for emergence where no table gives it; `assumed`: what squash and pumpkin need in soil warm enough to sow [d].
EMERGENCE_ASSUMED = 7

#: A crop may stand so long after it is ripe that frost still matters; `assumed`, of pumpkins and squash [d].
LEFT_STANDING = 28


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One entry of the agenda.

    Attributes
    ----------
    kind : str
        One of :data:`KINDS`.
    first, last : numpy.datetime64[D]
        First and last day.
    number : int
        Tells events of one kind apart: a visit is numbered by the weeks
        before the window opens, so that it keeps its number as the window
        moves.
    best : numpy.datetime64[D] or None
        The best of several days, where there is one.
    chance : float or None
        The chance that goes with it: that the window is open, or that the
        next cover does well.
    look_for : str or None
        What there is to be seen on a visit, one of :data:`covercrop.season.next_step.LOOK_FOR`; None of other kinds.
    crop_stands : bool or None
        Whether the crop may still stand when the next cover is to be sown; None of other kinds.
    """

    kind: str
    first: np.datetime64
    last: np.datetime64
    number: int = 0
    best: np.datetime64 | None = None
    chance: float | None = None
    look_for: str | None = None
    crop_stands: bool | None = None

    @property
    def moves(self) -> bool:
        """Whether its days move with the weather of the season."""
        return self.kind in BY_THE_SEASON


def agenda(plan: Plan, autumn: Autumn | None = None) -> tuple[Event, ...]:
    """What lies ahead of a field on the day of the answer, that day included.

    Parameters
    ----------
    plan : Plan
    autumn : Autumn, optional
        The sowing dates of the next cover compared (:func:`next_autumn`);
        the rule of the trade holds without it.

    Returns
    -------
    tuple of Event
        In the order of their first days; none where nothing can be foretold.
    """
    events = [*_stand(plan), *_crop(plan), *_next_cover(plan, autumn)]
    ahead = (event for event in events if event.last >= plan.on)
    return tuple(sorted(ahead, key=lambda event: (event.first, KINDS.index(event.kind))))


def _stand(plan: Plan) -> Iterator[Event]:
    """The cover, while it stands."""
    if plan.state == "winter-killed":
        yield Event(kind="check-stand", first=plan.on, last=plan.on)
    elif plan.state == "seed-risk":
        yield Event(kind="turn-under", first=plan.on, last=plan.on)
    elif plan.window.best is not None:
        best, opens, closes = plan.window.best, plan.window.opens.median, plan.window.closes
        for weeks, day in visits(plan.stand, plan.window):
            yield Event(kind="scout", first=day, last=day, number=weeks, look_for=look_for(plan.stand, day, weeks))
        yield Event(kind="turn-under", first=best.start, last=best.end, best=best.date, chance=best.probability)
        if plan.window.poor:
            return  # there is hardly a window, and its ends would come in any order
        if not np.isnat(opens):
            yield Event(kind="window-opens", first=opens, last=opens)
        if not np.isnat(closes.early):
            # From the day after which it may be too late to the one by which it likely is.
            yield Event(kind="window-closes", first=closes.early, last=_or(closes.median, closes.early))


def _crop(plan: Plan) -> Iterator[Event]:
    """The crop, from the day on which it can go in to the first frost of autumn."""
    day = planting_day(plan)
    if np.isnat(day):
        return
    if plan.state == "plantable":
        yield Event(kind="planting", first=plan.on, last=plan.on)
    elif plan.state != "planted":
        likely = plan.planting.earliest.median
        yield Event(kind="planting", first=likely, last=_or(plan.planting.safe, likely))
    thin = thinning_day(plan)
    if not np.isnat(thin):
        yield Event(kind="thinning", first=thin, last=thin)
    frosty = plan.planting.limits["frost"].late - np.timedelta64(1, "D")
    if frosty >= day:
        yield Event(kind="spring-frost", first=max(day, plan.on), last=frosty)
    frost = autumn_frost(plan)
    if ripe_day(plan) + np.timedelta64(LEFT_STANDING, "D") >= frost.early:
        yield Event(kind="autumn-frost", first=frost.early, last=_or(frost.median, frost.early))


def _next_cover(plan: Plan, autumn: Autumn | None) -> Iterator[Event]:
    ripe = ripe_day(plan)
    if autumn is not None:
        choice = autumn.choices[0]
        if choice.first is not None and choice.last is not None:
            yield Event(
                kind="next-sowing",
                first=autumn.dates[choice.first],
                last=autumn.dates[choice.last],
                best=autumn.dates[choice.best],
                chance=float(choice.together[choice.best]),
                crop_stands=bool(ripe > autumn.dates[choice.first]),
            )
            return
    frost = hard_frost(plan).median
    if not np.isnat(frost):
        first, last = (frost - np.timedelta64(days, "D") for days in RULE_DAYS)
        yield Event(kind="next-sowing", first=first, last=last, crop_stands=bool(ripe > first))


def next_autumn(plan: Plan, weather: DailyWeather) -> Autumn | None:
    """The sowing dates of the same cover compared, for the autumn that follows the crop.

    Parameters
    ----------
    plan : Plan
    weather : DailyWeather
        That the plan was made from.

    Returns
    -------
    Autumn or None
        None where too little of the past is known, and while the autumn
        ahead is still the one in which the present cover was sown.
    """
    try:
        autumn = compare_sowing_dates(plan.field, weather, plan.on, covers=(plan.cover.key,))
    except (WeatherGapError, UsageError):
        return None
    sown = np.datetime64(plan.field.cover.sown, "D")
    return autumn if autumn.dates[0] > sown + np.timedelta64(season_calendar.HALF_YEAR, "D") else None


def planting_day(plan: Plan) -> np.datetime64:
    """The day on which the crop was planted, or is likely to be.

    Returns
    -------
    numpy.datetime64[D]
        NaT where no day is likely safe, and where the ground is ready but the crop would no longer ripen.
    """
    if plan.field.crop.planted is not None:
        return np.datetime64(plan.field.crop.planted, "D")
    likely = plan.planting.earliest.median
    too_late = plan.state == "plantable" and plan.planting.too_late
    return np.datetime64("NaT", "D") if too_late or np.isnat(likely) else max(likely, plan.on)


def days_to_emergence(plan: Plan) -> int:
    """Whole days from sowing the crop to emergence.

    Where the soil lies outside the crop's table it is taken for cold, and the
    longest time of the table holds; :data:`EMERGENCE_ASSUMED` for a crop without one.
    """
    if np.isnan(plan.planting.emergence_days):
        return max((round(point.days.value) for point in plan.crop.emergence), default=EMERGENCE_ASSUMED)
    return round(plan.planting.emergence_days)


def at_a_spot(field: Field, standing: Planting) -> tuple[int, int]:
    """Seeds sown to a spot, and plants left there: as the field's file says, otherwise as the crop stands.

    Where the file names more plants than the crop's seeds, one seed goes in for each.
    """
    beds = field.beds
    plants = round(standing.plants.value) if beds.plants is None else beds.plants
    seeds = max(round(standing.seeds.value), beds.plants or 0) if beds.seeds is None else beds.seeds
    return seeds, plants


def thinning_day(plan: Plan) -> np.datetime64:
    """The day on which the seedlings are thinned, counted from their predicted emergence.

    Returns
    -------
    numpy.datetime64[D]
        NaT where nothing is thinned: plants set out, no more seeds than
        plants, no planting day, or a crop of which nothing says how it stands.
    """
    standing = plan.crop.planting
    if standing is None or plan.field.crop.method != "direct-seed":
        return np.datetime64("NaT", "D")
    seeds, plants = at_a_spot(plan.field, standing)
    if seeds <= plants:
        return np.datetime64("NaT", "D")
    return planting_day(plan) + np.timedelta64(days_to_emergence(plan) + round(standing.thin_after.value), "D")


def ripe_day(plan: Plan) -> np.datetime64:
    """The day on which the crop is ripe, by its days to maturity; NaT where it is not planted."""
    return planting_day(plan) + _maturity(plan)


def autumn_frost(plan: Plan) -> DateRange:
    """The first autumn frost that harms the crop, with its 80 % interval."""
    latest = plan.planting.latest
    early, median, late = (day + _maturity(plan) for day in (latest.early, latest.median, latest.late))
    return DateRange(early=early, median=median, late=late)


def hard_frost(plan: Plan) -> DateRange:
    """The first hard frost of the next autumn, with its 80 % interval over the past years.

    Returns
    -------
    DateRange
        NaT where too few of the years have one, or there are no past years.
    """
    outlook = plan.outlook
    spring = outlook.days[0] + np.timedelta64(season_calendar.HALF_YEAR, "D")
    midwinter = outlook.position(season_calendar.midwinter_before(spring, plan.field.latitude))
    freeze = first_autumn_freeze(outlook.tmin, midwinter, HARD_FROST.value)
    if not outlook.complete:
        freeze = np.full_like(freeze, np.nan)
    early, median, late = outlook.dates(np.ceil(quantiles(freeze, np.ones_like(freeze))))
    return DateRange(early=early, median=median, late=late)


def _maturity(plan: Plan) -> np.timedelta64:
    crop = plan.field.crop
    days = plantback.days_to_maturity(plan.crop, crop.method, crop.days_to_maturity)
    return np.timedelta64(int(np.ceil(days)), "D")


def _or(day: np.datetime64, otherwise: np.datetime64) -> np.datetime64:
    return otherwise if np.isnat(day) else day
