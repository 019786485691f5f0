"""Many fields at once, each with its own trouble."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, TypeVar

from covercrop.base.errors import CovercropError, WeatherGapError, one_line

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.season.chain import Start
    from covercrop.season.plan import Plan

Answer = TypeVar("Answer")


def planner(day: dt.date, today: dt.date) -> Callable[[Field], tuple[Plan, DailyWeather]]:
    """What plans a field as it was known on a day; fields of one place share its weather.

    Parameters
    ----------
    day : datetime.date
        The day asked about.
    today : datetime.date

    Returns
    -------
    callable
        Takes a field, gives its plan and the weather that it rests on.
    """
    import numpy as np

    from covercrop.season.plan import make_plan

    gathered = gatherer(day, today)

    def plan(field: Field) -> tuple[Plan, DailyWeather]:
        known, weather = gathered(field)
        return make_plan(known, weather, np.datetime64(day, "D")), weather

    return plan


def gatherer(day: dt.date, today: dt.date) -> Callable[[Field], tuple[Field, DailyWeather]]:
    """What gives a field as it was known on a day, and its weather; takes what :func:`planner` does."""
    from covercrop.field.entries import as_of
    from covercrop.field.weather_source import weather_of
    from covercrop.weather.sharing import SharedWeather

    shared = SharedWeather()

    def gathered(field: Field) -> tuple[Field, DailyWeather]:
        known = as_of(field, day)
        return known, weather_of(known, max(today, day), shared=shared)

    return gathered


def plan_all(
    fields: Sequence[Field], day: dt.date, today: dt.date, *, details: bool = True
) -> tuple[list[Plan], list[tuple[str, str]]]:
    """The plans of many fields, together, and the name and the trouble of each that has none.

    Parameters
    ----------
    fields : sequence of Field
    day, today
        As for :func:`planner`.
    details : bool
        Also work out what is only said beside the dates, which a table has no room for.
    """
    import numpy as np

    from covercrop.season.plan import make_plans, start_of

    gathered = gatherer(day, today)

    def start(field: Field) -> tuple[Start, DailyWeather]:
        known, weather = gathered(field)
        return start_of(known, weather, np.datetime64(day, "D")), weather

    asked, problems = each_field(fields, start)
    return make_plans(asked, details=details), problems


def each_field(fields: Sequence[Field], work: Callable[[Field], Answer]) -> tuple[list[Answer], list[tuple[str, str]]]:
    """What the work gives for each field, and the name and the trouble of each that it fails on."""
    from covercrop.field.weather_source import described

    answers, problems = [], []
    for field in fields:
        try:
            answers.append(work(field))
        except WeatherGapError as error:
            problems.append((field.name, one_line(f"{described(field)}: {error}")))
        except CovercropError as error:
            problems.append((field.name, one_line(error)))
    return answers, problems
