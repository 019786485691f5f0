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

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.base.days import date_of
from covercrop.base.errors import UsageError, WeatherGapError
from covercrop.field.entries import cover_of
from covercrop.field.weather_source import field_weather
from covercrop.models import phenology, season_calendar, snow, termination, winter
from covercrop.models.daylength import day_length
from covercrop.models.degree_days import accumulate
from covercrop.models.members import EARLY, LATE, MEDIAN, quantiles, standard_draws
from covercrop.season.stand import stages_of
from covercrop.weather.outlook import FEWEST_YEARS, MOST_FILLED, season_outlook
from covercrop.weather.record import Record, record_of

if TYPE_CHECKING:
    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.parameters.traits import Cover

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
    left_out : tuple of int
        Seasons of the record that were not: days are missing or mostly filled
        in them, or in too many of the others.
    lived : tuple of float
        Share of the stands that live through the winter of each season; the dates are those of stands that do.
    reached : dict of str to int
        Seasons in which each event came at all.
    scores : tuple of Score
        One for each issue date, in the order of the season, and event.
    overall : dict of str to Score
        Each issue date over all events that were ahead in more than one
        season, ``event`` being ``all``.
    """

    field: Field
    cover: Cover
    years: tuple[int, ...]
    left_out: tuple[int, ...]
    lived: tuple[float, ...]
    reached: dict[str, int]
    scores: tuple[Score, ...]
    overall: dict[str, Score]


def usual_issues(latitude: float) -> tuple[Issue, ...]:
    """The issue dates that are replayed where none are asked for: half a year later south of the equator."""
    return ISSUES if latitude >= 0 else tuple(((month + 5) % 12 + 1, day) for month, day in ISSUES)


def crps(members: ArrayLike, truth: ArrayLike) -> Array:
    """Continuous ranked probability score of equally likely members.

    Parameters
    ----------
    members : array_like, shape (..., member)
    truth : array_like, shape (...)

    Returns
    -------
    numpy.ndarray, shape (...)
        In the unit of the members; of a single member its absolute error.

    Notes
    -----
    The integral over x of the squared distance between the share of members
    up to x and the step at the truth, which is ``mean |X - y| - mean |X - X'| / 2``
    (Gneiting and Raftery 2007, equation 21).
    """
    ordered = np.sort(np.asarray(members, dtype=np.float64), axis=-1)
    count = ordered.shape[-1]
    rank = 2 * np.arange(1, count + 1) - count - 1
    error = np.abs(ordered - np.asarray(truth, dtype=np.float64)[..., np.newaxis]).mean(axis=-1)
    return np.asarray(error - (rank * ordered).sum(axis=-1) / count**2)


def hindcast_field(
    field: Field,
    weather: DailyWeather | None = None,
    issues: Sequence[Issue] = (),
    *,
    today: Day | None = None,
    advance: Callable[[float], None] = lambda share: None,
) -> Hindcast:
    """Forecast the past seasons of one field, and hold the forecasts against what came.

    ``covercrop hindcast`` shows it.

    Parameters
    ----------
    field : Field
        Its sowing day, cover, cultivar and way of ending the cover; what was
        done or seen this season plays no part.
    weather : DailyWeather, optional
        With nine complete past seasons or more; without it that which the field names
        (:func:`covercrop.field_weather`).
    issues : sequence of (month, day)
        :func:`usual_issues` by default.
    today : date, optional
        Up to which weather is looked for, where none is given; that of this machine's clock by default.
    advance : callable
        Told the share of the work that is done, season by season.

    Returns
    -------
    Hindcast
        Scores in days and in shares from 0 to 1.

    Raises
    ------
    WeatherError
        If there is no weather, or there are too few complete past seasons.
    UsageError
        If an issue date does not lie between sowing and the end of the season.

    Notes
    -----
    The score of a whole forecast is that of Gneiting and Raftery (2007), equation 21.
    """
    if weather is None:
        weather = field_weather(field, dt.date.today() if today is None else date_of(today, "today"))
    record = record_of(weather)
    cover = cover_of(field.cover)
    starts, holed = whole_seasons(record, field.cover.sown)
    if len(starts) <= FEWEST_SEASONS:
        more = f"{len(holed)}{' more' * bool(starts)} {'have' if len(holed) > 1 else 'has'} gaps"
        gaps = f", where {more}" if holed else ""
        raise WeatherGapError(
            f"{len(starts) or 'no'} complete past season{'s' * (len(starts) != 1)} from {field.cover.sown.day} "
            f"{field.cover.sown:%B} on in the weather{gaps}, and a replay needs {FEWEST_SEASONS + 1}; name a station "
            f"with a {'more complete' if holed else 'longer'} record"
        )
    issues = _in_season(issues or usual_issues(field.latitude), starts[-1])
    seasons = []
    for done, start in enumerate(starts, start=1):
        if season := _replayed(field, cover, record, start, issues):
            seasons.append(season)
        advance(done / len(starts))
    if len(seasons) < FEWEST_SEASONS:
        raise WeatherGapError(
            f"{len(seasons) or 'no'} past season{'s' * (len(seasons) != 1)} can be forecast from the other years in "
            f"the weather, and a replay needs {FEWEST_SEASONS}; name a station with a more complete record"
        )
    past = _Past(
        years=np.array([season.year for season in seasons]),
        truth=np.stack([season.truth for season in seasons]),
        sums=np.stack([season.sums for season in seasons]),
    )
    scores, overall = [], {}
    for at, (month, day) in enumerate(issues):
        name = f"{month:02d}-{day:02d}"
        errors = _errors(seasons, past, at)
        scores += [_score(name, event, each) for event, each in zip(EVENTS, np.moveaxis(errors, 2, 0), strict=True)]
        # An event that was ahead in one season alone has no odds of the pace to be held against.
        several = (~np.isnan(errors[0])).sum(axis=0) > 1
        overall[name] = _score(name, "all", errors[:, :, several].reshape(len(_ERRORS), -1))
    return Hindcast(
        field=field,
        cover=cover,
        years=tuple(past.years.tolist()),
        left_out=tuple(sorted({*holed, *(_year(start) for start in starts)} - set(past.years.tolist()))),
        lived=tuple(_lived(seasons, record, cover).tolist()),
        reached=dict(zip(EVENTS, (~np.isnan(past.truth)).sum(axis=0).tolist(), strict=True)),
        scores=tuple(scores),
        overall=overall,
    )


# --- the seasons ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Season:
    """One past season: what came, and what was expected of it on each issue date.

    ``begin`` is its first row in the record, ``up`` the day index of emergence
    and ``end`` the last on which cold can kill, the close of the window or
    midsummer; ``truth`` has shape (event,), ``sums`` (day,); ``issued``,
    ``others`` and ``members`` have an entry an issue date: its day index, the
    years that finish the season, and their days of each event, shape (member,
    event).
    """

    year: int
    begin: int
    up: float
    end: float
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


def day_in_year(year: int, month: int, day: int) -> np.datetime64:
    """A day of a year; 29 February is the 28th where there is none."""
    first = np.datetime64(f"{year:04d}-{month:02d}", "M")
    last = (first + np.timedelta64(1, "M")).astype("datetime64[D]") - np.timedelta64(1, "D")
    return min(first.astype("datetime64[D]") + np.timedelta64(day - 1, "D"), last)


def _after(start: np.datetime64, issue: Issue) -> np.datetime64:
    """The first time that an issue date comes round after sowing."""
    year = _year(start)
    this = day_in_year(year, *issue)
    return this if this > start else day_in_year(year + 1, *issue)


def _year(start: np.datetime64) -> int:
    """What a season is named by."""
    return int(str(start)[:4])


def whole_seasons(record: Record, sown: dt.date, length: int = SEASON_DAYS) -> tuple[list[np.datetime64], list[int]]:
    """Sowing day of each season that the record holds from end to end, and the years of those that have gaps."""
    first, count = int(str(record.first)[:4]), record.usable.size
    known = record.usable & ~record.forecast
    found, holed = [], []
    for year in range(first, first + count // 365 + 2):
        start = day_in_year(year, sown.month, sown.day)
        begin = record.position(start)
        rows = slice(begin, begin + length)
        if begin < 0 or rows.stop > count or record.forecast[rows].any():
            continue  # not in the record, or still running
        if known[rows].all() and record.filled[rows].mean() <= MOST_FILLED:
            found.append(start)
        else:
            holed.append(year)
    return found, holed


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
    seasons = np.vstack([came, *(outlook.tmean for outlook in outlooks)])
    up = phenology.emergence(seasons, cover, lead=outlooks[0].lead)
    events = _events(seasons, up, length, field, cover)
    midwinter = outlooks[0].position(season_calendar.midwinter_after(start, field.latitude))
    closes = events[0, EVENTS.index("window_close")]
    return _Season(
        year=_year(start),
        begin=begin,
        up=float(up[0]),
        end=float(midwinter + season_calendar.HALF_YEAR if np.isnan(closes) else closes),
        truth=events[0],
        sums=accumulate(np.maximum(came - cover.bloom.base.value, 0.0) * (np.arange(SEASON_DAYS) >= midwinter)),
        issued=[outlook.position(day) for outlook, day in zip(outlooks, days, strict=True)],
        others=[outlook.years for outlook in outlooks],
        members=np.split(events[1:], np.cumsum([len(outlook.years) for outlook in outlooks])[:-1]),
    )


def _lived(seasons: Sequence[_Season], record: Record, cover: Cover) -> Array:
    """Share of the stands that live through the winter of each season."""
    rows = np.array([season.begin for season in seasons])[:, np.newaxis] + np.arange(SEASON_DAYS)
    tmin, tmax = record.tmin[rows], record.tmax[rows]
    lying = snow.lying_snow(record.snow[rows], (tmin + tmax) / 2, record.prcp[rows])
    exposed = winter.exposure(tmin, tmax, lying, [season.up for season in seasons])
    end = np.array([season.end for season in seasons])[:, np.newaxis]
    killed = winter.kill_day(exposed, cover.winter, standard_draws().cold, end=end)
    return np.asarray(np.isnan(killed).mean(axis=1))


def _events(tmean: Array, up: Array, length: Array, field: Field, cover: Cover) -> Array:
    """Day index of each event in each row of temperatures, shape (row, event); NaN where it is not reached."""
    stages = stages_of(tmean, length, cover, field.cover.cultivar, emerged=up)
    opens, closes = termination.window(stages, field.cover.terminate, cover)
    found = {**stages, "window_open": opens, "window_close": closes}
    return np.stack([found[event][:, 0] for event in EVENTS], axis=1)


# --- the forecasts --------------------------------------------------------------------------------

#: What is kept of a forecast, as days less what came, or as a score.
_ERRORS = ("early", "median", "late", "crps", "mean_date", "mean_date_crps", "pace", "pace_crps")

#: A stage that is not reached in the season counts as this day.
_NEVER = float(SEASON_DAYS)


def _errors(seasons: Sequence[_Season], past: _Past, at: int) -> Array:
    """Every forecast from one issue date, shape (error, season, event); NaN where the event was no longer ahead."""
    today = np.array([season.issued[at] for season in seasons])[:, np.newaxis]
    ahead = past.truth > today
    found = np.stack([_of_season(season, past, at) for season in seasons], axis=1)
    found[:, ~ahead] = np.nan
    pace = found[_ERRORS.index("pace")]
    for event in range(len(EVENTS)):
        rows = np.flatnonzero(ahead[:, event])
        if rows.size > 1:
            missed = pace[rows, event]
            others = np.stack([np.delete(missed, place) for place in range(rows.size)])
            # The odds of the rule are its errors in the other seasons; none of them names a day that has passed.
            odds = np.maximum(missed[:, np.newaxis] - others, (today + 1 - past.truth)[rows, event][:, np.newaxis])
            found[_ERRORS.index("pace_crps"), rows, event] = crps(odds, np.zeros(rows.size))
    return found


def _of_season(season: _Season, past: _Past, at: int) -> Array:
    """The forecasts of one season from one issue date, shape (error, event); that of the pace has no odds yet."""
    today, truth = season.issued[at], season.truth
    expected = season.members[at].T  # (event, member)
    weights = np.ones(expected.shape[1])
    interval = quantiles(expected, weights, (EARLY, MEDIAN, LATE)).T
    others = np.isin(past.years, season.others[at])
    dates, sums = past.truth[others], past.sums[others]
    known = ~np.isnan(dates)
    count = np.maximum(known.sum(axis=0), 1)
    mean_date = np.where(known, dates, 0.0).sum(axis=0) / count
    whole = np.take_along_axis(sums, np.where(known, dates, 0.0).astype(np.intp), axis=1)
    missing = np.where(known, whole, 0.0).sum(axis=0) / count - season.sums[today]
    # Carried on day by day, so that a pace that quickens towards summer is taken as it is.
    gained = (sums[:, today + 1 :] - sums[:, [today]]).mean(axis=0)
    return np.stack(
        [
            *(np.nan_to_num(interval, nan=_NEVER) - truth),
            crps(np.nan_to_num(expected, nan=_NEVER), truth),
            np.maximum(mean_date, today + 1) - truth,
            crps(np.maximum(np.nan_to_num(dates.T, nan=_NEVER), today + 1), truth),
            today + 1 + np.searchsorted(gained, missing) - truth,
            np.full(truth.size, np.nan),
        ]
    )


def _score(issue: str, event: str, errors: Array) -> Score:
    """What forecasts, shape (error, forecast), come to; NaN throughout where they are too few."""
    errors = errors[:, ~np.isnan(errors[0])]
    seasons = errors.shape[1]
    if seasons < FEWEST_SEASONS:
        errors = np.full((len(_ERRORS), 1), np.nan)
    of = dict(zip(_ERRORS, errors, strict=True))
    return Score(
        issue=issue,
        event=event,
        seasons=seasons,
        bias_days=float(of["median"].mean()),
        rmse_days=_rms(of["median"]),
        crps_days=float(of["crps"].mean()),
        coverage_80=np.nan if np.isnan(errors).any() else float(((of["early"] <= 0) & (of["late"] >= 0)).mean()),
        width_days=float((of["late"] - of["early"] + 1).mean()),
        station_mean=Plain(rmse_days=_rms(of["mean_date"]), crps_days=float(of["mean_date_crps"].mean())),
        pace=Plain(rmse_days=_rms(of["pace"]), crps_days=float(of["pace_crps"].mean())),
    )


def _rms(errors: Array) -> float:
    return float(np.sqrt(np.mean(errors**2)))
