"""The endings of one field side by side: what each day and way gives and costs, and what would help."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array, Days
from covercrop.base.days import date_of
from covercrop.base.errors import UsageError
from covercrop.models import mixture, plantback, soil_water
from covercrop.models.members import MEDIAN, Draws, standard_draws
from covercrop.parameters.constants import MODELS
from covercrop.season.chain import Chain, limits_after, member_days
from covercrop.season.following import follow
from covercrop.season.helps import Help, helps
from covercrop.season.many import days_asked, gathered
from covercrop.season.nitrogen_part import PERCENT, Amount, amounts_on
from covercrop.season.plan import Plan, plan_of, start_of
from covercrop.season.start import Start
from covercrop.weather.sharing import SharedWeather

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.season.wants import Chances

#: Days between two rows, and the most of them; the ground is dry enough in so many of the days from an ending on.
EVERY, MOST_ROWS, WORK_DAYS = 7, 10, 7

#: The chances of a row, by the names of :class:`covercrop.season.wants.Chances`.
WANTS = ("killed", "seed_free", "bloom", "in_time", "together")

#: Planting is called safe when this share of the members says so.
SAFE_SHARE = MODELS.answer.safe.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One day and way of ending the cover.

    Attributes
    ----------
    date : numpy.datetime64[D]
    method : str
    killed, seed_free, bloom, in_time, together : float
        Chance of each want, and of all at once [1].
    workable : float
        Share of the seven days from then on which the soil is dry enough to work [1]; NaN where rain is not known.
    plant_likely, plant_safe : numpy.datetime64[D]
        First day without a limit, as likely as not, and in eight years of ten; ``NaT`` where there is none.
    binding : str or None
        The limit that is most often the last.
    amounts : dict of str to Amount
        What the cover holds then (:data:`covercrop.season.nitrogen_part.AMOUNTS`); empty where that is not known.
    chosen : bool
        Whether this is what is advised.
    band : str or None
        What a mixture then does with the soil's nitrogen (:data:`covercrop.models.mixture.BANDS`); None for a legume
        alone, and where that is not known.
    zadoks : int or None
        Most likely stage of the cereal beside it then; None where there is none.
    """

    date: np.datetime64
    method: str
    killed: float
    seed_free: float
    bloom: float
    in_time: float
    together: float
    workable: float
    plant_likely: np.datetime64
    plant_safe: np.datetime64
    binding: str | None
    amounts: dict[str, Amount]
    chosen: bool
    band: str | None = None
    zadoks: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Endings:
    """The endings of one field compared.

    Attributes
    ----------
    plan : Plan
        The answer for the field, with the day and the way that are advised.
    rows : tuple of Row
        In the order of the ways asked for, and of the days.
    helps : tuple of Help
        What would help, what gains most first.
    days : numpy.ndarray of datetime64[D], shape (day,)
        The days that lie ahead.
    chances : dict of str to Chances
        Of each way compared, the chances on those days.
    """

    plan: Plan
    rows: tuple[Row, ...]
    helps: tuple[Help, ...]
    days: Days
    chances: dict[str, Chances]


def compare_endings(
    field: Field,
    weather: DailyWeather | None = None,
    on: Day | None = None,
    *,
    ends: Sequence[Day] = (),
    by: Sequence[str] = (),
    today: Day | None = None,
) -> Endings:
    """The days and ways of ending a cover side by side; ``covercrop compare`` shows them.

    Parameters
    ----------
    field : Field
        What was done or seen after ``on`` is left out.
    weather : DailyWeather, optional
        As for :func:`covercrop.plan_field`.
    on : date, optional
        The day asked about; ``today`` by default.
    ends : sequence of date, optional
        Days to compare beside each week ahead and the day that is advised.
    by : sequence of str, optional
        Ways of ending it (:data:`covercrop.models.termination.METHODS`); the one that is advised by default.
    today : date, optional
        The last day of which weather can be known; that of this machine's clock by default.

    Returns
    -------
    Endings

    Raises
    ------
    UsageError
        If there is nothing left to choose, or a day to compare is not ahead, or beyond the season.
    UnknownNameError
        If there is no such way.
    WeatherError
        If there is no weather from sowing on.
    """
    now, day = days_asked(on, today, None)
    known, record = gathered(field, weather, day, now, SharedWeather())
    draws = standard_draws()
    start = start_of(known, record, np.datetime64(day, "D"))
    chain = follow(start, draws)
    plan = plan_of(known, start, record, chain, draws)
    if chain.ahead is None or chain.ending.day is None:
        raise UsageError(f"{field.name}: there is nothing to compare: {_settled(plan)}")
    ways = tuple(dict.fromkeys(by)) or (chain.ending.method,)
    first = start.conditions.today
    days = [_position(wanted, start, first) for wanted in ends]
    chances = {way: chain.chances_by(way, start.conditions.cover, start.outlook.days.size) for way in ways}
    ahead = np.flatnonzero(chain.ahead.may)
    begin, end = int(ahead[0]), int(ahead[-1]) + 1
    return Endings(
        plan=plan,
        rows=tuple(
            row
            for way in ways
            for row in _rows(start, chain, draws, way, _places(chain, chances[way], first, days, way), chances[way])
        ),
        helps=helps(start, chain, draws, with_risk=True),
        days=start.outlook.days[begin:end],
        chances={way: found.between(begin, end) for way, found in chances.items()},
    )


def _settled(plan: Plan) -> str:
    if plan.is_ended:
        return f"the cover was ended on {plan.field.cover.turned_under}; ask about an earlier day with `on`"
    if plan.stand.killed:
        return "the cold has most likely killed the cover"
    if not plan.outlook.complete:
        return "the rest of the season is not known; name a station with a longer record"
    return "in most years the cover does not bloom in time"


def _position(wanted: Day, start: Start, first: int) -> int:
    day = np.datetime64(date_of(wanted, "ends"), "D")
    place = start.outlook.position(day)
    if not first <= place < start.outlook.days.size:
        raise UsageError(
            f"`ends` = {day} is not ahead; give a day from {start.outlook.days[first]} to {start.outlook.days[-1]}"
        )
    return place


def _places(chain: Chain, chances: Chances, first: int, asked: Sequence[int], way: str) -> list[int]:
    """Day indexes to compare: each week while there is anything to choose, those asked for, and the one advised."""
    assert chain.ending.day is not None
    alive = np.flatnonzero(chances.window >= 0.005)
    last = max(int(alive[-1]) if alive.size else first, chain.ending.day if way == chain.ending.method else first)
    weekly = range(first, min(last, first + EVERY * (MOST_ROWS - 1)) + 1, EVERY)
    advised = (chain.ending.day,) if way == chain.ending.method else ()
    return sorted({*weekly, *asked, *advised})


def _rows(start: Start, chain: Chain, draws: Draws, way: str, places: Sequence[int], chances: Chances) -> Iterator[Row]:
    """The rows of one way of ending, whose ground is followed together."""
    conditions, outlook, weights = start.conditions, start.outlook, chain.weights
    cereal = chain.stand.cereal
    limits = limits_after(start, chain, draws, way, places)
    planting = outlook.dates(member_days(list(plantback.earliest(limits)), weights, (MEDIAN, SAFE_SHARE)))
    growth = conditions.cover.growth
    workable = _workable(start)
    for row, place in enumerate(places):
        amounts = (
            {}
            if growth is None
            else amounts_on(chain.stand, growth, outlook, conditions.scouting, weights, draws, place)
        )
        yield Row(
            date=outlook.days[place],
            method=way,
            **{name: float(getattr(chances, name)[place]) for name in WANTS},
            workable=float(workable[place]),
            plant_likely=planting[row, 0],
            plant_safe=planting[row, 1],
            binding=plantback.binding({name: days[row] for name, days in limits.items()}, weights),
            amounts=amounts,
            chosen=way == chain.ending.method and place == chain.ending.day,
            band=mixture.band(amounts[PERCENT].median) if PERCENT in amounts else None,
            zadoks=None if cereal is None else cereal.zadoks_on(place, weights),
        )


def _workable(start: Start) -> Array:
    """Share of the seven days from each day on, over the years, on which the soil is dry enough to work.

    Shape (day,); NaN where no rain is known on those days.
    """
    outlook = start.outlook
    et0 = soil_water.evapotranspiration(outlook.tmin, outlook.tmax, start.latitude, outlook.day_of_year)
    dry = soil_water.relative_water(outlook.prcp, et0, "bare", np.nan) <= soil_water.WORKABLE
    known = ~np.isnan(outlook.prcp).all(axis=0)
    share = np.append(dry.mean(axis=0), np.full(WORK_DAYS, np.nan))
    week = np.lib.stride_tricks.sliding_window_view(share, WORK_DAYS)[: known.size]
    rained = np.lib.stride_tricks.sliding_window_view(np.append(known, np.zeros(WORK_DAYS, dtype=np.bool_)), WORK_DAYS)
    return np.where(rained[: known.size].any(axis=1), week.mean(axis=1), np.nan)
