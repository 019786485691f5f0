"""The dates ahead of a field: what is to be looked at or done, and on which days."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.autumn.comparison import RULE_DAYS, Autumn, compare_sowing_dates
from covercrop.base.errors import UsageError, WeatherGapError
from covercrop.models import season_calendar
from covercrop.parameters.constants import MODELS
from covercrop.season.crop_days import autumn_frost, hard_frost, planting_day, ripe_day, thinning_day
from covercrop.season.next_step import look_for, visits

if TYPE_CHECKING:
    from collections.abc import Iterator

    from covercrop.base.records import DailyWeather
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

#: A crop may stand so long after it is ripe that frost still matters [d].
LEFT_STANDING = int(MODELS.crop.left_standing.value)


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
    # A crop of which no day of ripening is known may well still stand.
    gone = ripe_day(plan) + np.timedelta64(LEFT_STANDING, "D") < frost.early
    if not gone and not np.isnat(frost.early):
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
        autumn = compare_sowing_dates(plan.field, weather, plan.on, covers=(plan.cover.key,), relax=False)
    except (WeatherGapError, UsageError):
        return None
    sown = np.datetime64(plan.field.cover.sown, "D")
    return autumn if autumn.dates[0] > sown + np.timedelta64(season_calendar.HALF_YEAR, "D") else None


def next_sowing(plan: Plan, weather: DailyWeather) -> np.datetime64:
    """The best day for sowing the same cover again, as ``covercrop sow`` names it; NaT where it names none.

    Parameters
    ----------
    plan : Plan
    weather : DailyWeather
        That the plan was made from.
    """
    autumn = next_autumn(plan, weather)
    if autumn is None or autumn.choices[0].first is None:
        return np.datetime64("NaT", "D")
    return np.datetime64(autumn.dates[autumn.choices[0].best], "D")


def _or(day: np.datetime64, otherwise: np.datetime64) -> np.datetime64:
    return otherwise if np.isnat(day) else day
