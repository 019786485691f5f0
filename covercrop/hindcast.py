"""How good the forecasts would have been in past seasons, at a field's own place.

A past season is forecast as it stood on an issue date: with its weather up to
that day, and every other year's weather for the rest
(:func:`covercrop.weather.outlook.season_outlook`).  What the full season's
weather gives is the truth that it is held against.  The plant's uncertain
numbers are left at their middle, since that truth is the model's own: it is
the weather's part of an interval that is tested here.

Two plain forecasts stand beside it, in the best form that could be found for
each:

``station_mean``
    The average date of the other seasons; as odds, those seasons' dates.
``pace``
    Degree-days since midwinter so far, carried on day by day at the average
    pace of the other seasons up to their average sum; as odds, that day less
    the errors that the rule makes in the other seasons.  Counted from
    midwinter, since counted from sowing it does worse.

Neither is allowed to name a day that has passed: what it would have expected
earlier is expected tomorrow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop import hazards, parameters, phenology, termination
from covercrop.daylength import day_length
from covercrop.degree_days import accumulate
from covercrop.ensemble import EARLY, LATE, MEDIAN, quantiles
from covercrop.errors import UsageError, WeatherGapError
from covercrop.season import cover_of
from covercrop.weather.outlook import FEWEST_YEARS, MOST_FILLED, Record, season_outlook

if TYPE_CHECKING:
    import datetime as dt

    from covercrop.records import DailyWeather
    from covercrop.season import Field
    from covercrop.traits import Cover

Array = NDArray[np.float64]
Issue = tuple[int, int]

EVENTS = ("first_flower", "bloom_25", "bloom_50", "window_open", "window_close")

#: Month and day of the forecasts that are replayed, in the north.
ISSUES: tuple[Issue, ...] = ((2, 15), (3, 15), (4, 1), (4, 15))

#: Days of a season from sowing.  Less than a year, so that a member's rest of
#: the season never runs into the days that it is asked to foretell.
SEASON_DAYS = 360


#: Fewer seasons than this are not scored.
FEWEST_SEASONS = FEWEST_YEARS


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """How a plain forecast did [d]; see the module for its two forms."""

    rmse_days: float
    crps_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How the forecasts of one event from one issue date did.

    Attributes
    ----------
    issue : str
        Month and day, as ``04-15``.
    event : str
        One of :data:`EVENTS`.
    seasons : int
        In which the event was still ahead; with fewer than
        :data:`FEWEST_SEASONS` the numbers are NaN.
    bias_days, rmse_days : float
        Of the median [d]; positive where it was too late.
    crps_days : float
        Continuous ranked probability score of the whole forecast [d]: the
        mean miss, with credit for honest odds.
    coverage_80 : float
        Share of seasons in which the 80 % interval held the day.
    width_days : float
        Mean length of that interval [d].
    station_mean, pace : Plain
        The two plain forecasts of the same seasons.
    """

    issue: str
    event: str
    seasons: int
    bias_days: float
    rmse_days: float
    crps_days: float
    coverage_80: float
    width_days: float
    station_mean: Plain
    pace: Plain


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hindcast:
    """The forecasts of one field, replayed.

    Attributes
    ----------
    field : Field
    cover : Cover
    years : tuple of int
        Seasons that were replayed, named by their sowing.
    scores : tuple of Score
        One for each issue date, in the order of the season, and event.
    overall : dict of str to Score
        Each issue date over all events, ``event`` being ``all``.
    """

    field: Field
    cover: Cover
    years: tuple[int, ...]
    scores: tuple[Score, ...]
    overall: dict[str, Score]


def usual_issues(latitude: float) -> tuple[Issue, ...]:
    """The issue dates that are replayed where none are asked for: half a year later south of the equator."""
    return ISSUES if latitude >= 0 else tuple(((month + 5) % 12 + 1, day) for month, day in ISSUES)


def crps(members: ArrayLike, truth: float) -> float:
    """Continuous ranked probability score of equally likely members.

    Parameters
    ----------
    members : array_like, shape (member,)
    truth : float

    Returns
    -------
    float
        In the unit of the members; of a single member its absolute error.

    Notes
    -----
    The integral over x of the squared distance between the share of members
    up to x and the step at the truth, which is ``mean |X - y| - mean |X - X'| / 2``
    (Gneiting and Raftery 2007, equation 21).
    """
    ordered = np.sort(np.asarray(members, dtype=np.float64))
    count = ordered.size
    rank = 2 * np.arange(1, count + 1) - count - 1
    return float(np.abs(ordered - truth).mean() - (rank * ordered).sum() / count**2)


def replay_seasons(
    field: Field,
    weather: DailyWeather,
    issues: Sequence[Issue] = (),
    *,
    advance: Callable[[float], None] = lambda share: None,
) -> Hindcast:
    """Forecast the past seasons of one field, and hold the forecasts against what came.

    Parameters
    ----------
    field : Field
        Its sowing day, cover, cultivar and way of ending the cover; what was
        done or seen this season plays no part.
    weather : DailyWeather
    issues : sequence of (month, day)
        :func:`usual_issues` by default.
    advance : callable
        Told the share of the work that is done, season by season.

    Returns
    -------
    Hindcast

    Raises
    ------
    WeatherGapError
        If there are too few complete past seasons.
    UsageError
        If an issue date does not lie between sowing and the end of the season.
    """
    record = Record(weather)
    cover = cover_of(field.cover)
    starts = _whole_seasons(record, field.cover.sown)
    if len(starts) <= FEWEST_SEASONS:
        raise WeatherGapError(
            f"{len(starts) or 'no'} complete past season{'s' * (len(starts) != 1)} from {field.cover.sown.day} "
            f"{field.cover.sown:%B} on in the weather, and a replay needs {FEWEST_SEASONS + 1}; name a station with a "
            "longer record"
        )
    issues = _in_season(issues or usual_issues(field.latitude), starts[-1])
    seasons = []
    for done, start in enumerate(starts, start=1):
        if season := _replayed(field, cover, record, start, issues):
            seasons.append(season)
        advance(done / len(starts))
    past = _Past(
        years=np.array([season.year for season in seasons]),
        truth=np.stack([season.truth for season in seasons]),
        sums=np.stack([season.sums for season in seasons]),
    )
    scores, overall = [], {}
    for at, (month, day) in enumerate(issues):
        name = f"{month:02d}-{day:02d}"
        forecasts = [_forecasts(seasons, past, at, event) for event in range(len(EVENTS))]
        scores += [_score(name, event, these) for event, these in zip(EVENTS, forecasts, strict=True)]
        overall[name] = _score(name, "all", list(chain.from_iterable(forecasts)))
    return Hindcast(
        field=field,
        cover=cover,
        years=tuple(past.years.tolist()),
        scores=tuple(scores),
        overall=overall,
    )


# --- the seasons ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Season:
    """One past season: what came, and what was expected of it on each issue date.

    ``truth`` has shape (event,), ``sums`` (day,); ``issued``, ``others`` and
    ``members`` have an entry an issue date: its day index, the years that
    finish the season, and their days of each event, shape (member, event).
    """

    year: int
    truth: Array
    sums: Array
    issued: list[int]
    others: list[tuple[int, ...]]
    members: list[Array]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Past:
    """What came in all the seasons: days of shape (season, event), degree-days since midwinter (season, day)."""

    years: NDArray[np.int64]
    truth: Array
    sums: Array


def _on(year: int, month: int, day: int) -> np.datetime64:
    """A day of a year; 29 February is the 28th where there is none."""
    first = np.datetime64(f"{year:04d}-{month:02d}", "M")
    last = (first + 1).astype("datetime64[D]") - np.timedelta64(1, "D")
    return min(first.astype("datetime64[D]") + np.timedelta64(day - 1, "D"), last)


def _after(start: np.datetime64, issue: Issue) -> np.datetime64:
    """The first time that an issue date comes round after sowing."""
    year = int(str(start)[:4])
    this = _on(year, *issue)
    return this if this > start else _on(year + 1, *issue)


def _whole_seasons(record: Record, sown: dt.date) -> list[np.datetime64]:
    """Sowing day of each season that the record holds from end to end."""
    first, count = int(str(record.first)[:4]), record.usable.size
    known = record.usable & ~record.forecast
    found = []
    for year in range(first, first + count // 365 + 2):
        start = _on(year, sown.month, sown.day)
        begin = record.position(start)
        rows = slice(begin, begin + SEASON_DAYS)
        if begin >= 0 and rows.stop <= count and known[rows].all() and record.filled[rows].mean() <= MOST_FILLED:
            found.append(start)
    return found


def _in_season(issues: Sequence[Issue], start: np.datetime64) -> list[Issue]:
    """The issue dates in the order of the season, each once."""
    after = {issue: int((_after(start, issue) - start).astype(int)) for issue in issues}
    for (month, day), days in after.items():
        if days >= SEASON_DAYS:
            raise UsageError(
                f"issue date {month:02d}-{day:02d}: the season that is replayed runs for {SEASON_DAYS} days from "
                f"sowing on {str(start)[5:]}, and this day is not in it; give one between sowing and bloom"
            )
    return sorted(after, key=after.__getitem__)


def _replayed(
    field: Field, cover: Cover, record: Record, start: np.datetime64, issues: Sequence[Issue]
) -> _Season | None:
    """One season forecast on each issue date; None where the other years are too few."""
    days = [_after(start, issue) for issue in issues]
    outlooks = [season_outlook(record, start, SEASON_DAYS, day, replay=True) for day in days]
    if not all(outlook.complete for outlook in outlooks):
        return None
    begin = record.position(start)
    season = slice(begin, begin + SEASON_DAYS)
    came = (record.tmin[season] + record.tmax[season]) / 2
    length = day_length(field.latitude, outlooks[0].day_of_year)
    events = _events(np.vstack([came, *(outlook.tmean for outlook in outlooks)]), length, field, cover)
    midwinter = hazards.midwinter_before(start + np.timedelta64(hazards.HALF_YEAR, "D"), field.latitude)
    counted = np.arange(SEASON_DAYS) >= outlooks[0].position(midwinter)
    return _Season(
        year=int(str(start)[:4]),
        truth=events[0],
        sums=accumulate(np.maximum(came - cover.bloom.base.value, 0.0) * counted),
        issued=[outlook.position(day) for outlook, day in zip(outlooks, days, strict=True)],
        others=[outlook.years for outlook in outlooks],
        members=np.split(events[1:], np.cumsum([len(outlook.years) for outlook in outlooks])[:-1]),
    )


def _events(tmean: Array, length: Array, field: Field, cover: Cover) -> Array:
    """Day index of each event in each row of temperatures, shape (row, event); NaN where it is not reached."""
    cultivar = field.cover.cultivar
    offset = parameters.cultivar(cover, cultivar).offset.value if cultivar else 0.0
    shift = phenology.requirement_shift_for(offset, cover)
    stages = phenology.stage_days(tmean, length, cover, requirement_shift=shift)
    opens, closes = termination.window(stages, field.cover.terminate, cover)
    found = {**stages, "window_open": opens, "window_close": closes}
    return np.stack([found[event][:, 0] for event in EVENTS], axis=1)


# --- the forecasts --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Forecast:
    """One forecast of one event in one season, less what came [d]."""

    early: float
    median: float
    late: float
    crps: float
    mean_date: float
    mean_date_crps: float
    pace: float
    earliest: float
    pace_crps: float = np.nan


def _forecasts(seasons: Sequence[_Season], past: _Past, at: int, event: int) -> list[_Forecast]:
    """The forecasts of one event from one issue date, in the seasons in which it was still ahead."""
    found = []
    for season in seasons:
        truth, today = season.truth[event], season.issued[at]
        if not truth > today:
            continue
        expected = season.members[at][:, event]
        early, median, late = quantiles(expected, np.ones(expected.size), (EARLY, MEDIAN, LATE))
        others = np.isin(past.years, season.others[at]) & ~np.isnan(past.truth[:, event])
        dates = past.truth[others, event]
        sums = past.sums[others]
        # Carried on day by day, so that a pace that quickens towards summer is taken as it is.
        missing = sums[np.arange(dates.size), dates.astype(int)].mean() - season.sums[today]
        ahead = (sums[:, today + 1 :] - sums[:, [today]]).mean(axis=0)
        paced = today + 1 + np.searchsorted(ahead, missing)
        never = float(SEASON_DAYS)
        found.append(
            _Forecast(
                early=_late_as(early, never) - truth,
                median=_late_as(median, never) - truth,
                late=_late_as(late, never) - truth,
                crps=crps(np.nan_to_num(expected, nan=never), truth),
                mean_date=max(dates.mean(), today + 1) - truth,
                mean_date_crps=crps(np.maximum(dates, today + 1), truth),
                pace=float(paced - truth),
                earliest=float(today + 1 - truth),
            )
        )
    return _with_odds_of_pace(found)


def _late_as(day: float, never: float) -> float:
    return never if np.isnan(day) else float(day)


def _with_odds_of_pace(forecasts: list[_Forecast]) -> list[_Forecast]:
    """The forecasts with the score of the pace rule, its errors in the other seasons being its odds."""
    errors = np.array([forecast.pace for forecast in forecasts])
    return [
        replace(forecast, pace_crps=crps(np.maximum(forecast.pace - others, forecast.earliest), 0.0))
        for at, forecast in enumerate(forecasts)
        if (others := np.delete(errors, at)).size
    ]


def _score(issue: str, event: str, forecasts: Sequence[_Forecast]) -> Score:
    """What the forecasts of an event come to; NaN throughout where they are too few."""
    if len(forecasts) < FEWEST_SEASONS:
        nothing = Plain(rmse_days=np.nan, crps_days=np.nan)
        empty = dict.fromkeys(("bias_days", "rmse_days", "crps_days", "coverage_80", "width_days"), np.nan)
        return Score(issue=issue, event=event, seasons=len(forecasts), **empty, station_mean=nothing, pace=nothing)

    def of(name: str) -> Array:
        return np.array([getattr(forecast, name) for forecast in forecasts])

    early, median, late = of("early"), of("median"), of("late")
    return Score(
        issue=issue,
        event=event,
        seasons=len(forecasts),
        bias_days=float(median.mean()),
        rmse_days=_rms(median),
        crps_days=float(of("crps").mean()),
        coverage_80=float(((early <= 0) & (late >= 0)).mean()),
        width_days=float((late - early + 1).mean()),
        station_mean=Plain(rmse_days=_rms(of("mean_date")), crps_days=float(of("mean_date_crps").mean())),
        pace=Plain(rmse_days=_rms(of("pace")), crps_days=float(of("pace_crps").mean())),
    )


def _rms(errors: Array) -> float:
    return float(np.sqrt(np.mean(errors**2)))
