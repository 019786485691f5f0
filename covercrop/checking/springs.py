"""One season against every other: warmth, bloom and window of each past season of a field's record.

A past season is followed as it came, from the same day of sowing, with the plant's uncertain numbers at their middle
and without notes; and so is this one, so that only the weather tells them apart.  A date of the plan that notes have
moved is therefore another one than here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.base.days import day_of_year
from covercrop.base.errors import WeatherGapError
from covercrop.base.records import DateRange
from covercrop.checking.hindcast import SEASON_DAYS, whole_seasons
from covercrop.checking.trend import Trend, trend
from covercrop.field.weather_source import field_weather
from covercrop.models import phenology, season_calendar, termination
from covercrop.models.daylength import day_length
from covercrop.models.members import EARLY, LATE, MEDIAN, quantiles
from covercrop.season.stand import stages_of
from covercrop.weather.outlook import FEWEST_YEARS, MOST_YEARS, lead_of, years_earlier
from covercrop.weather.record import record_of

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather
    from covercrop.season.plan import Plan
    from covercrop.weather.record import Record

#: What is dated in each season.
EVENTS = ("bloom_50", "window_open", "window_close")

#: From this share of the sum to bloom on it is said how far a season is ahead: before it, a warm day is a week.
COMPARED_FROM = 0.1

#: Days that a temperature is the mean of, and that count as the latest.
SMOOTHED, LATEST = 7, 30


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Springs:
    """A season beside the past ones of the same place.

    Attributes
    ----------
    on : numpy.datetime64[D]
        The day of the answer; nothing after it comes in.
    days : numpy.ndarray of datetime64[D], shape (day,)
        Of this season, from sowing on; a past year's days are those of the same date.
    midwinter : numpy.datetime64[D]
        Before this season's spring.
    known : int
        Number of leading days that are known.
    years : numpy.ndarray of int, shape (year,)
        Past seasons that are whole, the oldest first, each named by the year of its spring.
    spring : int
        The year of this season's spring.
    sums : numpy.ndarray, shape (recent, day)
        Degree-days that count towards bloom, of the latest seasons, of which the usual is the middle [degC d].
    now : numpy.ndarray, shape (known,)
        The same of this season.
    events : dict of str to numpy.ndarray, shape (year,)
        Day index of each of :data:`EVENTS` in each past season, on the days of this one; NaN where it did not come.
    likely : dict of str to DateRange
        The same of this season, by the weather alone.
    warmth : numpy.ndarray, shape (known,)
        Daily mean of this season, over :data:`SMOOTHED` days [degC].
    normal : numpy.ndarray, shape (3, day)
        The same of the latest seasons: one in ten below, the middle, one in ten above.
    departure, lately : float
        By how much this season since sowing, and its latest :data:`LATEST` days, were warmer than the middle [K].
    ahead : float
        Days by which the warmth of this season is ahead of the usual, up to the last known day; NaN where it is too
        early to say, or the cover has come as far as bloom.
    early : float
        Days by which bloom is earlier than usual; NaN where one of the two is not known.
    trend : Trend or None
        Of the day of bloom over all past seasons [d per year].
    """

    on: np.datetime64
    days: Days
    midwinter: np.datetime64
    known: int
    years: NDArray[np.int64]
    spring: int
    sums: Array
    now: Array
    events: dict[str, Array]
    likely: dict[str, DateRange]
    warmth: Array
    normal: Array
    departure: float
    lately: float
    ahead: float
    early: float
    trend: Trend | None

    @property
    def recent(self) -> int:
        """Number of the latest seasons, which the usual is taken from."""
        return len(self.sums)

    @property
    def has_latest(self) -> bool:
        """Whether the season is longer than its latest days."""
        return self.known > LATEST

    @property
    def is_bloom_past(self) -> bool:
        """Whether bloom came before the day of the answer, by the weather."""
        return bool(self.likely["bloom_50"].median <= self.on)

    def usual(self, event: str) -> np.datetime64:
        """The middle date of an event in the latest seasons, on the days of this one; NaT where most lack it."""
        return _date(self.days, _middle(self.events[event][-self.recent :]))


def past_springs(plan: Plan, weather: DailyWeather | None = None) -> Springs:
    """A season beside the past ones; ``covercrop report --chart springs``, ``bloom`` and ``normal`` draw it.

    Parameters
    ----------
    plan : Plan
    weather : DailyWeather, optional
        What the plan rests on; without it that which the field names (:func:`covercrop.field_weather`).

    Returns
    -------
    Springs

    Raises
    ------
    WeatherError
        If there is no weather, or there are fewer than eight complete past seasons.
    """
    field, cover, outlook = plan.field, plan.cover, plan.outlook
    if weather is None:
        weather = field_weather(field, plan.on.astype(object))
    record = record_of(weather)
    length = np.timedelta64(SEASON_DAYS, "D")
    starts = [start for start in whole_seasons(record, field.cover.sown)[0] if start + length <= plan.on + 1]
    if len(starts) < FEWEST_YEARS:
        raise WeatherGapError(
            f"{len(starts) or 'no'} complete past season{'s' * (len(starts) != 1)} before {plan.on} in the weather, "
            f"and {FEWEST_YEARS} are needed to say what is usual; name a station with a longer record"
        )
    days = outlook.days[:SEASON_DAYS]
    known = min(outlook.known, days.size)
    past, events = _followed(plan, record, starts, days)
    sums, air = past
    recent = slice(-MOST_YEARS, None)
    clock, now_events = _clock(plan, outlook.tmean[:, : days.size], day_length(field.latitude, day_of_year(days)))
    now = np.median(clock[:, :known], axis=0)
    warmth, normal = _smooth(outlook.tmean[0, :known]), np.quantile(_smooth(air[recent]), (EARLY, MEDIAN, LATE), axis=0)
    off = outlook.tmean[0, :known] - np.median(air[recent], axis=0)[:known]
    likely = {name: _range(days, index) for name, index in now_events.items()}
    springs = np.array([_spring(start, field.latitude) for start in starts])
    early = _date(days, _middle(events["bloom_50"][recent])) - likely["bloom_50"].median
    return Springs(
        on=plan.on,
        days=days,
        midwinter=season_calendar.midwinter_after(days[0], field.latitude),
        known=known,
        years=springs,
        spring=_spring(days[0], field.latitude),
        sums=sums[recent],
        now=now,
        events=events,
        likely=likely,
        warmth=warmth,
        normal=normal,
        departure=float(off.mean()),
        lately=float(off[-LATEST:].mean()),
        ahead=_ahead(now, sums[recent], cover.bloom.requirement.value),
        early=np.nan if np.isnat(early) else float(early.astype(int)),
        trend=trend(springs, events["bloom_50"]),
    )


def _followed(
    plan: Plan, record: Record, starts: list[np.datetime64], days: Days
) -> tuple[tuple[Array, Array], dict[str, Array]]:
    """Sums towards bloom, daily means, shape (year, day), and events of past seasons, on the days of this one."""
    sums, air, events = [], [], []
    for start in starts:
        begin = record.position(start)
        rows = slice(begin, begin + SEASON_DAYS)
        tmean = (record.tmin[rows] + record.tmax[rows]) / 2
        own = start + np.arange(SEASON_DAYS).astype("timedelta64[D]")
        length = day_length(plan.field.latitude, day_of_year(own))
        clock, found = _clock(plan, tmean[np.newaxis], length, lead=lead_of(record, begin))
        apart = days[0].astype("datetime64[Y]").astype(int) - start.astype("datetime64[Y]").astype(int)
        same = (years_earlier(days, np.array([apart]))[0] - start).astype(int).clip(0, SEASON_DAYS - 1)
        sums.append(clock[0, same])
        air.append(tmean[same])
        events.append([_same_date(found[name][0], same) for name in EVENTS])
    return (np.stack(sums), np.stack(air)), dict(zip(EVENTS, np.array(events).T, strict=True))


def _clock(plan: Plan, tmean: Array, length: Array, lead: Array | None = None) -> tuple[Array, dict[str, Array]]:
    """The sums towards bloom, shape (year, day), and the day index of each event, shape (year,)."""
    field, cover = plan.field, plan.cover
    up = phenology.emergence(tmean, cover, lead=plan.outlook.lead if lead is None else lead)
    stages = stages_of(tmean, length, cover, field.cover.cultivar, emerged=up)
    opens, closes = termination.window(stages, field.cover.terminate, cover)
    found = {"bloom_50": stages["bloom_50"], "window_open": opens, "window_close": closes}
    total = phenology.bloom_clock(tmean, length, cover, emerged=up).total
    return total, {name: each.reshape(len(tmean)) for name, each in found.items()}


def _same_date(index: float, same: NDArray[np.int64]) -> float:
    """Where a past season's day stands on the days of this one; NaN stays."""
    return float(np.searchsorted(same, index)) if np.isfinite(index) else np.nan


def _ahead(now: Array, sums: Array, needed: float) -> float:
    """Days by which a sum is reached earlier than in the middle of other seasons; NaN early on, and from bloom on."""
    if not needed * COMPARED_FROM <= now[-1] < needed:
        return np.nan
    return float(np.median((sums < now[-1]).sum(axis=1))) - (now.size - 1)


def _smooth(air: Array) -> Array:
    """Means over :data:`SMOOTHED` days with the day in their middle; over fewer at the ends."""
    count, half = air.shape[-1], SMOOTHED // 2
    first, last = np.maximum(np.arange(count) - half, 0), np.minimum(np.arange(count) + half + 1, count)
    total = np.concatenate((np.zeros((*air.shape[:-1], 1)), np.cumsum(air, axis=-1)), axis=-1)
    return np.asarray((total[..., last] - total[..., first]) / (last - first))


def _middle(index: Array) -> float:
    """The middle of day indexes, of which those that are not reached are later than all; NaN where that is none."""
    middle = float(np.median(np.where(np.isnan(index), np.inf, index)))
    return middle if np.isfinite(middle) else np.nan


def _range(days: Days, index: Array) -> DateRange:
    """The dates of an event in every way in which the season may go on."""
    early, median, late = (_date(days, each) for each in quantiles(index, np.ones(index.size)))
    return DateRange(early=early, median=median, late=late)


def _date(days: Days, index: float) -> np.datetime64:
    return np.datetime64("NaT", "D") if np.isnan(index) else days[0] + np.timedelta64(int(index), "D")


def _spring(start: np.datetime64, latitude: float) -> int:
    """The year of the spring that follows a sowing."""
    return int(str(season_calendar.midwinter_after(start, latitude))[:4])
