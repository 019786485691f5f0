"""How a plan moved since an earlier day, and by what: the field file, the weather since, the notes, what was done.

The plan is asked again as of that day, with the weather and the notes of then, and one thing after the other is then
brought up to today; each step's part is by how much it moves the day.  A forecast of that day is not kept: the plan
of then rests on the days observed and on past years.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.days import date_of
from covercrop.base.errors import CovercropError, FieldFileError
from covercrop.field.entries import as_of
from covercrop.field.weather_source import field_weather
from covercrop.season.plan import make_plans, start_of

if TYPE_CHECKING:
    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.season.plan import Plan
    from covercrop.season.start import Start

#: What moves a plan, in the order in which it is brought up to today.
CAUSES = ("file", "weather", "notes", "done")

#: Days before today that a page looks back.
LOOK_BACK = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How far one likely day of a plan moved.

    Attributes
    ----------
    before, after : numpy.datetime64[D]
        ``NaT`` where there is none.
    by : dict of str to int
        Days later that each of :data:`CAUSES` put it, those that put it anywhere; empty where one of the days on the
        way is not known.
    """

    before: np.datetime64
    after: np.datetime64
    by: dict[str, int]

    @property
    def days(self) -> int | None:
        """Days later than before; None where one of the two is not known."""
        return None if np.isnat(self.before) or np.isnat(self.after) else int((self.after - self.before).astype(int))


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What moved of a plan.

    Attributes
    ----------
    since : numpy.datetime64[D]
    state : str
        That of the field on that day.
    ending : Move or None
        Of the best day to end the cover; None once it is ended, and where neither plan has one.
    planting : Move or None
        Of the likely first safe day; None once the crop is in, and where neither plan has one.
    """

    since: np.datetime64
    state: str
    ending: Move | None
    planting: Move | None

    @property
    def is_still(self) -> bool:
        """Whether nothing moved."""
        return all(move is None or move.before == move.after for move in (self.ending, self.planting))


def what_changed(
    plan: Plan, since: Day, weather: DailyWeather | None = None, *, before: Field | None = None
) -> Changes:
    """How a plan moved since an earlier day; ``covercrop ready --since`` shows it.

    Parameters
    ----------
    plan : Plan
    since : date
        Before the day of the plan, and on or after sowing.
    weather : DailyWeather, optional
        What the plan rests on; without it that which the field names (:func:`covercrop.field_weather`).
    before : Field, optional
        The field as its file had it then, where that said anything else than now.

    Returns
    -------
    Changes

    Raises
    ------
    FieldFileError
        If the cover was not yet sown on that day, or it is not before that of the plan.
    WeatherError
        If there was no weather from sowing on.
    """
    if weather is None:
        weather = field_weather(plan.field, plan.on.astype(object))
    day = date_of(since, "since")
    stages = _stages(plan, day, weather, before)
    plans = make_plans(list(stages.values()), details=False)
    return _changes(plan, day, dict(zip(stages, plans, strict=True)))


def what_changed_each(
    plans: Sequence[Plan], weather: Sequence[DailyWeather], since: Day, before: Mapping[str, Field] | None = None
) -> list[Changes | None]:
    """The same for many plans, in less time; None where there is nothing to compare with, as before sowing.

    Parameters
    ----------
    plans : sequence of Plan
    weather : sequence of DailyWeather
        What each of them rests on.
    since : date
    before : mapping of str to Field, optional
        Fields as their file had them then, by name.
    """
    day = date_of(since, "since")
    asked: list[tuple[Field, Start, DailyWeather]] = []
    found: list[tuple[str, ...]] = []
    for plan, record in zip(plans, weather, strict=True):
        try:
            stages = _stages(plan, day, record, (before or {}).get(plan.field.name))
        except CovercropError:
            stages = {}
        found.append(tuple(stages))
        asked += stages.values()
    made = iter(make_plans(asked, details=False) if asked else ())
    return [
        _changes(plan, day, {name: next(made) for name in names}) if names else None
        for plan, names in zip(plans, found, strict=True)
    ]


def _stages(
    plan: Plan, since: dt.date, weather: DailyWeather, before: Field | None
) -> dict[str, tuple[Field, Start, DailyWeather]]:
    """What is to be planned beside the plan itself: as of then, and each step on the way that changes anything."""
    now = plan.field
    if np.datetime64(since, "D") >= plan.on:
        raise FieldFileError(f"`since` = {since} is not before {plan.on}, the day of the plan; give an earlier day")
    try:
        then = as_of(now, since)
    except FieldFileError:
        raise FieldFileError(f"`since` = {since} is before sowing on {now.cover.sown}; give a day since then") from None
    asked = {"weather": (then, plan.on)}
    asked["file"] = (then, np.datetime64(since, "D"))
    if before is not None and (was := as_of(before, since)) != then:
        asked["before"] = (was, np.datetime64(since, "D"))
    seen = replace(then, scouting=now.scouting)
    if seen.scouting != then.scouting and seen != now:
        asked["notes"] = (seen, plan.on)
    if then == now:
        del asked["weather"]  # the plan itself
    return {name: (field, start_of(field, weather, day), weather) for name, (field, day) in asked.items()}


def _changes(plan: Plan, since: dt.date, made: dict[str, Plan]) -> Changes:
    """What moved from each plan to the next."""
    first = made.get("before", made["file"])
    steps = [("file", made["file"])]
    if "weather" in made:
        steps.append(("weather", made["weather"]))
        if "notes" in made:
            steps.append(("notes", made["notes"]))
        steps.append(("done" if _did(plan, made) else "notes", plan))
    else:
        steps.append(("weather", plan))
    return Changes(
        since=np.datetime64(since, "D"),
        state=first.state,
        ending=None if plan.is_ended else _move(first, steps, _ending),
        planting=None if plan.is_planted else _move(first, steps, _planting),
    )


def _did(plan: Plan, made: dict[str, Plan]) -> bool:
    """Whether anything was done since, beside what was seen."""
    then = made["weather"].field
    return (then.cover, then.crop) != (plan.field.cover, plan.field.crop)


def _ending(plan: Plan) -> np.datetime64:
    return np.datetime64("NaT", "D") if plan.window.best is None else plan.window.best.date


def _planting(plan: Plan) -> np.datetime64:
    return plan.planting.earliest.median


def _move(first: Plan, steps: Sequence[tuple[str, Plan]], day: Callable[[Plan], np.datetime64]) -> Move | None:
    """One day of all the plans on the way; None where it is not known at either end."""
    on_the_way = [day(first), *(day(each) for _, each in steps)]
    if np.isnat(on_the_way[0]) and np.isnat(on_the_way[-1]):
        return None
    moved = np.diff(np.array(on_the_way, dtype="datetime64[D]"))
    by = {
        cause: int(days.astype(int))
        for (cause, _), days in zip(steps, moved, strict=True)
        if not np.isnat(moved).any() and days.astype(int)
    }
    return Move(before=on_the_way[0], after=on_the_way[-1], by=by)
