"""One field or many, from what is known of them to their plans, each with its own trouble."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from covercrop.base.days import date_of
from covercrop.base.errors import CovercropError, UsageError, WeatherGapError, one_line
from covercrop.base.records import DailyWeather
from covercrop.field.entries import NO_COVER, Field, FieldFile, Ground, as_of, check_past
from covercrop.field.rows import read_rows
from covercrop.field.weather_source import described, field_weather
from covercrop.season.columns import COLUMNS
from covercrop.season.plan import Plan, make_plan, make_plans, start_of
from covercrop.weather.sharing import SharedWeather

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    import pandas as pd

    from covercrop.base.days import Day
    from covercrop.season.start import Start

Answer = TypeVar("Answer")
Entry = TypeVar("Entry", bound=Ground)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """A field that could not be worked out.

    Attributes
    ----------
    place : int
        Where it stands among those that were asked about, from 0.
    name : str
    message : str
        What is wrong, and the way out, in a line.
    """

    place: int
    name: str
    message: str

    def __str__(self) -> str:
        return f"field {self.place}, {self.name}: {self.message}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plans:
    """The plans of many fields, and what became of the others; it runs over the plans.

    Attributes
    ----------
    on : numpy.datetime64[D]
        The day of the answer.
    plans : tuple of Plan
        In the order in which the fields were given.
    weather : tuple of DailyWeather
        What each of them rests on.
    places : tuple of int
        Where each of them stood among the fields, from 0.
    problems : tuple of Problem
        The fields that have none, in the same order.
    index : pandas.Index or tuple of str
        That of the DataFrame that was given; else the names of the fields.
    fields : tuple of Field
        All that were given and are fields.
    """

    on: np.datetime64
    plans: tuple[Plan, ...]
    weather: tuple[DailyWeather, ...]
    places: tuple[int, ...]
    problems: tuple[Problem, ...]
    index: pd.Index | tuple[str, ...]
    fields: tuple[Field, ...]

    def __iter__(self) -> Iterator[Plan]:
        return iter(self.plans)

    def __len__(self) -> int:
        return len(self.plans)

    def __getitem__(self, place: int) -> Plan:
        return self.plans[place]

    def each(self, work: Callable[[Plan, DailyWeather], Answer]) -> tuple[list[Answer], list[Problem]]:
        """What more the work gives for each plan, and the trouble of each field that has none of it, or no plan."""
        made = dict(zip(self.places, zip(self.plans, self.weather, strict=True), strict=True))
        answers, problems = [], list(self.problems)
        for place, (plan, weather) in made.items():
            try:
                answers.append(work(plan, weather))
            except CovercropError as error:
                problems.append(Problem(place=place, name=plan.field.name, message=one_line(error)))
        return answers, sorted(problems, key=lambda problem: problem.place)

    def to_frame(self) -> pd.DataFrame:
        """A row a field, with the index and in the order in which they were given.

        Returns
        -------
        pandas.DataFrame
            The columns of :data:`covercrop.season.columns.COLUMNS`, of which dates are ``datetime64``, chances run
            from 0 to 1, and the units of amounts stand in their names; and ``problem``, the trouble of a field that has
            no plan, empty for all others.  ``fields.join(plans.to_frame())`` puts a DataFrame
            of fields and its answers beside each other.
        """
        import pandas as pd

        troubled = {problem.place: problem.message for problem in self.problems}
        rows = range(len(self.index))
        columns = {
            column: pd.Series([get(plan) for plan in self.plans], index=list(self.places), dtype=kind).reindex(rows)
            for column, kind, get in COLUMNS
        }
        problem = pd.Series([troubled.get(row, "") for row in rows], dtype=object)
        index = self.index if isinstance(self.index, pd.Index) else pd.Index(self.index, name="name")
        return pd.DataFrame({**columns, "problem": problem}).set_axis(index, axis=0)


def plan_field(
    field: Field, weather: DailyWeather | None = None, on: Day | None = None, *, today: Day | None = None
) -> Plan:
    """The answer for one field on one day; ``covercrop ready`` shows it.

    Parameters
    ----------
    field : Field
        What was done or seen after ``on`` is left out.
    weather : DailyWeather, optional
        Reaching back to sowing, with past years before it; without it that which the field names, its own file, its
        station or those around it (:func:`covercrop.field_weather`).
    on : date, optional
        The day asked about; ``today`` by default.
    today : date, optional
        The last day of which weather can be known; that of this machine's clock by default.

    Returns
    -------
    Plan

    Raises
    ------
    FieldFileError
        If the cover was not yet sown on ``on``, or its season was over.
    WeatherError
        If there is no weather from sowing on.
    UsageError
        If a day is none.

    Notes
    -----
    Each plan names the sources that it rests on: ``plan.sources``, keys of :func:`covercrop.season.advice.reference`.
    """
    now, day = days_asked(on, today, None)
    known, record = gathered(field, weather, day, now, SharedWeather())
    return make_plan(known, record, np.datetime64(day, "D"))


def plan_fields(
    fields: FieldFile | Iterable[Field] | pd.DataFrame,
    weather: DailyWeather | Mapping[str, DailyWeather] | None = None,
    on: Day | None = None,
    *,
    today: Day | None = None,
    details: bool = True,
    advance: Callable[[float], None] = lambda _share: None,
) -> Plans:
    """The answers for many fields on one day; ``covercrop ready`` shows them.

    One field's trouble does not stop the others: it stands in ``problems``, by name and place.  Fields that share
    their weather are followed together, which is many times as fast as one by one and gives the same.

    Parameters
    ----------
    fields : FieldFile, iterable of Field, or pandas.DataFrame
        What :func:`covercrop.read_fields` gives; records; or a row a field, with columns ``latitude``, ``longitude``
        [degrees, north and east positive], ``species``, ``sown`` and ``crop``, and where they are of use ``name`` (the
        label of the row by default), ``elevation_m`` [m], ``area_m2`` [m2], ``cultivar``, ``turned_under``,
        ``terminate``, ``method``, ``ground_cover``, ``days_to_maturity`` [d], ``planted`` and ``station``.  An empty
        cell is as if its column were not there.
    weather : DailyWeather or mapping of str to DailyWeather, optional
        One record for all fields; or records by the name of the station, else of the field; without it each field's
        own file, its station or those around it (:func:`covercrop.field_weather`).
    on, today : date, optional
        As for :func:`plan_field`; a field file may fix ``today`` itself.
    details : bool
        Also work out what is only said beside the dates, which costs as much as they do: nitrogen, the second brood.
    advance : callable, optional
        Told 1 twice for each field: when its weather is there, and when it is done.

    Returns
    -------
    Plans

    Raises
    ------
    UsageError
        If a column of the table is missing or not known, or a day is none.
    """
    now, day = days_asked(on, today, fields)
    asked, index = _asked(fields)
    shared = SharedWeather()

    def start(field: Field) -> tuple[Field, Start, DailyWeather]:
        known, record = gathered(field, _own(weather, field), day, now, shared)
        advance(1)
        return known, start_of(known, record, np.datetime64(day, "D"), shared), record

    started, problems = _each(asked, start)
    try:
        plans = dict(zip(started, make_plans(list(started.values()), details=details, advance=advance), strict=True))
    except CovercropError:  # one of them stops the others: alone, it stops itself
        plans, problems = _each(asked, lambda field: make_plans([start(field)], details=details)[0])
    return Plans(
        on=np.datetime64(day, "D"),
        plans=tuple(plans.values()),
        weather=tuple(started[place][2] for place in plans),
        places=tuple(plans),
        problems=tuple(problems),
        index=index,
        fields=tuple(field for _, field in asked if isinstance(field, Field)),
    )


def each_field(fields: Sequence[Entry], work: Callable[[Entry], Answer]) -> tuple[list[Answer], list[Problem]]:
    """What the work gives for each field, and the trouble of each that it fails on."""
    answers, problems = _each([(field.name, field) for field in fields], work)
    return list(answers.values()), problems


def gathered(
    field: Field, weather: DailyWeather | None, day: dt.date, now: dt.date, shared: SharedWeather
) -> tuple[Field, DailyWeather]:
    """A field as it was known on a day, and its weather; raises what :func:`plan_field` does."""
    check_past(field, max(now, day))
    known = as_of(field, day)
    if weather is None:
        return known, field_weather(known, max(now, day), shared=shared)
    if not isinstance(weather, DailyWeather):
        raise UsageError(
            f"`weather` is a {type(weather).__name__}; give what daily_weather, read_weather or field_weather returns"
        )
    return known, weather


def _each(
    asked: Sequence[tuple[str, Entry | str]], work: Callable[[Entry], Answer]
) -> tuple[dict[int, Answer], list[Problem]]:
    """The same by place; a text stands for a field that is none, and says why."""
    answers, problems = {}, []
    for place, (name, field) in enumerate(asked):
        if isinstance(field, str):
            problems.append(Problem(place=place, name=name, message=one_line(field)))
            continue
        try:
            answers[place] = work(field)
        except WeatherGapError as error:
            problems.append(Problem(place=place, name=name, message=one_line(f"{described(field)}: {error}")))
        except CovercropError as error:
            problems.append(Problem(place=place, name=name, message=one_line(error)))
    return answers, problems


def days_asked(on: Day | None, today: Day | None, fields: object) -> tuple[dt.date, dt.date]:
    """Today, and the day asked about."""
    fixed = fields.today if isinstance(fields, FieldFile) else None
    now = (fixed or dt.date.today()) if today is None else date_of(today, "today")
    return now, now if on is None else date_of(on, "on")


def _asked(
    fields: FieldFile | Iterable[Field] | pd.DataFrame,
) -> tuple[list[tuple[str, Field | str]], pd.Index | tuple[str, ...]]:
    """What was asked about, by name, and what it is known by."""
    import pandas as pd

    if isinstance(fields, pd.DataFrame):
        return read_rows(fields), fields.index
    if isinstance(fields, FieldFile):
        asked = [(entry.name, entry if isinstance(entry, Field) else NO_COVER) for entry in fields.entries]
        return asked, tuple(name for name, _ in asked)
    records = list(fields)
    for place, record in enumerate(records):
        if not isinstance(record, Field):
            raise UsageError(f"`fields`: {type(record).__name__} at place {place}; give Field records or a DataFrame")
    return [(field.name, field) for field in records], tuple(field.name for field in records)


def _own(weather: DailyWeather | Mapping[str, DailyWeather] | None, field: Field) -> DailyWeather | None:
    """The record of a field among those that were given."""
    if not isinstance(weather, Mapping):
        return weather
    for name in (field.weather.station, field.name):
        if name and name in weather:
            return weather[name]
    sought = f"station {field.weather.station}" if field.weather.station else f"field {field.name!r}"
    known = ", ".join(list(weather)[:5]) or "nothing"
    raise UsageError(f"no weather for {sought}; `weather` holds {known}{', ...' * (len(weather) > 5)}")
