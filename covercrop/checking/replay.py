"""What would have come of the advice in past seasons, had it been followed; beside it three plain rules.

A past season is asked about every week, as it stood then, with its own rest left out
(:func:`covercrop.weather.outlook.season_outlook`).  The cover is ended on the day that is advised as soon as that day
comes before the next asking.  What then came is worked out with the whole season's weather, for every draw of what is
not known of plant and soil: the shares are those of seasons and draws in which the stand lives, and seasons that the
cold takes are left out.  The model of the plant is so taken as true; what is tested is whether the advice is any good
if it is.

Whoever goes by the advice looks at the stand as well.  ``advice_scouted`` is the advice that is told every week, from a
fortnight before the buds on, what stage is seen: each of a few draws is a stand of its own, with notes of its own.

The rules that stand beside it are given the best form that the same seasons allow:

``fixed_date``
    The one day of the year on which everything most often works.
``first_flower``
    Ended on the first weekly visit on which flowers are seen.
``degree_day_sum``
    Ended when the degree-days since midwinter come to what they were, on average, when a tenth was in bloom.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.base.days import date_of
from covercrop.base.errors import WeatherGapError
from covercrop.checking.hindcast import FEWEST_SEASONS, day_in_year, whole_seasons
from covercrop.field.entries import ScoutingNote, cover_of
from covercrop.field.weather_source import field_weather
from covercrop.models import bbch
from covercrop.models.degree_days import accumulate
from covercrop.models.members import standard_draws
from covercrop.season.chain import DEAD_SHARE, Chain
from covercrop.season.following import follow
from covercrop.season.stand import brought
from covercrop.season.start import Start
from covercrop.season.wants import Wants, wants
from covercrop.weather.outlook import Outlook, season_outlook
from covercrop.weather.record import Record, record_of

if TYPE_CHECKING:
    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field
    from covercrop.models.members import Draws

#: The first asking, a day after midwinter [d], and the days between two.
FIRST_ASKING, EVERY = 31, 7

#: The stands that are looked at every week, by their places among all draws in order of bloom, from so many days before
#: the buds on.
LOOKED_AT = (0.1, 0.3, 0.5, 0.7, 0.9)
BEFORE_BUDS = 14

#: Days of a season that are followed: to past the first freeze of the next autumn.
SEASON_DAYS = 440


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of following one rule; shares of seasons and draws, from 0 to 1.

    Attributes
    ----------
    seed_free, in_bloom, in_time, together : float
        No seed left behind; ended in bloom; the crop in time; killed and all of these.
    pan_kg_ha : float
        Mean nitrogen for the crop [kg/ha]; NaN where nothing is known of the cover's growth.
    visits : float
        Mean number of visits to the field, that of the ending among them.
    moved_days : float
        By how many days the day moved from one asking to the next, on average; 0 of a rule that names none ahead [d].
    """

    seed_free: float
    in_bloom: float
    in_time: float
    together: float
    pan_kg_ha: float
    visits: float
    moved_days: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AdviceReplay:
    """The advice of one field, followed through past seasons.

    Attributes
    ----------
    field : Field
    years : tuple of int
        Seasons that were replayed, named by their sowing.
    advice, fixed_date, first_flower, degree_day_sum : Outcome
    best_fixed : tuple of int
        Month and day of the fixed date.
    advice_scouted : Outcome or None
        Of the advice that is told what is seen every week; None where that was not asked for.
    """

    field: Field
    years: tuple[int, ...]
    advice: Outcome
    fixed_date: Outcome
    first_flower: Outcome
    degree_day_sum: Outcome
    best_fixed: tuple[int, int]
    advice_scouted: Outcome | None = None

    @property
    def outcomes(self) -> dict[str, Outcome]:
        """The outcome of each rule by its name."""
        names = ("advice", "advice_scouted", "fixed_date", "first_flower", "degree_day_sum")
        return {name: outcome for name in names if (outcome := getattr(self, name)) is not None}

    @property
    def best_rule(self) -> str:
        """The plain rule by which everything works most often."""
        rules = [name for name in self.outcomes if "advice" not in name]
        return max(rules, key=lambda name: float(self.outcomes[name].together))


def replay_advice(
    field: Field,
    weather: DailyWeather | None = None,
    *,
    today: Day | None = None,
    scouted: bool = False,
    advance: Callable[[float], None] = lambda share: None,
) -> AdviceReplay:
    """Follow the advice through the past seasons of one field; ``covercrop hindcast --advice`` shows it.

    Parameters
    ----------
    field : Field
        Its sowing day, cover, crop and aim; what was done or seen this season plays no part.
    weather : DailyWeather, optional
        With nine complete past seasons or more; without it that which the field names
        (:func:`covercrop.field_weather`).
    today : date, optional
        Up to which weather is looked for, where none is given; that of this machine's clock by default.
    scouted : bool
        Follow also the advice that is told every week what stage is seen, which takes several times as long.
    advance : callable
        Told the share of the work that is done, season by season.

    Returns
    -------
    AdviceReplay

    Raises
    ------
    WeatherError
        If there is no weather, or there are too few complete past seasons.
    """
    if weather is None:
        weather = field_weather(field, dt.date.today() if today is None else date_of(today, "today"))
    record = record_of(weather)
    bare = replace(field, scouting=(), crop=replace(field.crop, planted=None))
    starts, _ = whole_seasons(record, field.cover.sown, SEASON_DAYS)
    draws = standard_draws()
    seasons = []
    for done, start in enumerate(starts, start=1):
        if season := _replayed(bare, record, start, draws):
            seasons.append(replace(season, scouted=_scouted(season, record, draws)) if scouted else season)
        advance(done / len(starts))
    if len(seasons) < FEWEST_SEASONS:
        raise WeatherGapError(
            f"{len(seasons) or 'no'} past season{'s' * (len(seasons) != 1)} can be replayed up to the harvest, and "
            f"{FEWEST_SEASONS} are needed; name a station with a longer or more complete record"
        )
    return _told(field, seasons)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Season:
    """One past season: what came in every draw, and what was advised every week.

    ``wanted`` and ``stages`` have shape (1, draw); ``followed`` is the day index on which the advice was followed,
    ``moved`` by how many days it moved at each asking, ``asked`` the days of asking, ``sums`` degree-days by day;
    ``weights`` are those of the draws in which it lives; ``scouted`` are the days on which the cover of each draw was
    ended and the number of looks it took, shape (2, draw), NaN for a stand that nobody looked at.
    """

    field: Field
    year: int
    days: Days
    truth: Outlook
    wanted: Wants
    stages: dict[str, Array]
    followed: int
    moved: list[int]
    asked: NDArray[np.int64]
    sums: Array
    weights: Array
    pan: Callable[[Array], Array]
    scouted: Array | None = None


def _replayed(field: Field, record: Record, start: np.datetime64, draws: Draws) -> _Season | None:
    """One season: asked about every week, and as it came; None where the cold takes it, or the other years are few."""
    cover = cover_of(field.cover)
    years = int(str(start)[:4]) - field.cover.sown.year
    sown = dt.date.fromisoformat(str(start))
    aim = field.aim
    if aim.plant_by is not None:
        wished = day_in_year(aim.plant_by.year + years, aim.plant_by.month, aim.plant_by.day)
        aim = replace(aim, plant_by=dt.date.fromisoformat(str(wished)))
    season = replace(field, aim=aim, cover=replace(field.cover, sown=sown, turned_under=None))
    truth = _as_it_came(record, start)
    chain = follow(Start.of(season, truth, 0), draws)
    midwinter, last = chain.midwinter, truth.days.size - 1
    method = chain.ending.method
    followed, named, moved, asked = -1, -1, [], []
    for today in range(midwinter + FIRST_ASKING, last, EVERY):
        outlook = season_outlook(record, start, SEASON_DAYS, truth.days[today], replay=True)
        if not outlook.complete:
            return None
        asked.append(today)
        told = follow(Start.of(season, outlook, today), draws)
        if told.killed:
            return None
        found = told.ending
        day = today if found.day is None else found.day
        moved += [abs(day - named)] if named >= 0 else []
        named, method = day, found.method
        if day < today + EVERY:
            followed = day
            break
    if followed < 0 or chain.ahead is None or chain.survival <= 1 - DEAD_SHARE:
        return None
    sums = accumulate(np.maximum(truth.tmean[0] - cover.bloom.base.value, 0.0) * (np.arange(last + 1) >= midwinter))
    return _Season(
        field=season,
        year=int(str(start)[:4]),
        days=truth.days,
        truth=truth,
        wanted=wants(chain.stand.stages, method, cover, chain.ahead.in_time_until(method)),
        stages=chain.stand.stages,
        followed=followed,
        moved=moved,
        asked=np.arange(midwinter + FIRST_ASKING, last, EVERY),
        sums=sums,
        weights=chain.weights[0],
        pan=_nitrogen(chain, truth, field, draws),
    )


def _scouted(season: _Season, record: Record, draws: Draws) -> Array:
    """The day on which each stand that is looked at is ended, and how often it was looked at, shape (2, draw)."""
    found = np.full((2, season.weights.size), np.nan)
    living = np.flatnonzero(season.weights)
    ranked = living[np.argsort(season.stages["bloom_10"][0, living])]
    for draw in ranked[(np.array(LOOKED_AT) * (ranked.size - 1)).round().astype(int)]:
        stages = {name: day[0, draw if day.shape[-1] > 1 else 0] for name, day in season.stages.items()}
        notes: list[ScoutingNote] = []
        for today in season.asked:
            if today < min(stages["bud"] - BEFORE_BUDS, season.followed):
                continue
            seen = bbch.bbch(stages, float(today))
            notes.append(ScoutingNote(date=dt.date.fromisoformat(str(season.days[today])), bbch=seen))
            outlook = season_outlook(record, season.days[0], SEASON_DAYS, season.days[today], replay=True)
            told = follow(Start.of(replace(season.field, scouting=tuple(notes)), outlook, int(today)), draws)
            day = int(today) if told.ending.day is None else told.ending.day
            if day < today + EVERY:
                found[:, draw] = day, len(notes)
                break
    return found


def _as_it_came(record: Record, start: np.datetime64) -> Outlook:
    """A season as it came, in one row."""
    end = start + np.timedelta64(SEASON_DAYS - 1, "D")
    outlook = season_outlook(record, start, SEASON_DAYS, end)
    return replace(
        outlook,
        tmin=outlook.tmin[:1],
        tmax=outlook.tmax[:1],
        prcp=outlook.prcp[:1],
        snow=outlook.snow[:1],
        years=(),
        complete=True,
    )


def _nitrogen(chain: Chain, truth: Outlook, field: Field, draws: Draws) -> Callable[[Array], Array]:
    """The nitrogen for the crop by the day of ending, shape (draw,)."""
    growth = cover_of(field.cover).growth

    def on(day: Array) -> Array:
        if growth is None:
            return np.full(day.shape, np.nan)
        whole = np.unique(day)
        stand = chain.stand
        pan = {
            each: brought(growth, truth.tmean, stand.stages, draws, each, cereal=stand.cereal)["pan_kg_ha"][0]
            for each in whole
        }
        return np.array([pan[each][draw] for draw, each in enumerate(day)])

    return on


def _outcome(seasons: Sequence[_Season], ended: Sequence[Array], visits: float, moved: float = 0.0) -> Outcome:
    """What came of ending the cover on these days, one of each season and draw."""
    found = []
    for season, days in zip(seasons, ended, strict=True):
        wanted = season.wanted
        seed_free = ~(days > wanted.seed_free_until[0])  # NaN: it sets no seed
        bloom = days >= wanted.bloom_from[0]
        in_time = days <= wanted.in_time_until[0]
        together = in_time & (days >= wanted.opens[0]) & (days <= wanted.clean_until[0])
        parts = (seed_free, bloom, in_time, together, season.pan(days))
        found.append([np.average(each, weights=season.weights) for each in parts])
    seed_free, bloom, in_time, together, pan = np.mean(found, axis=0)
    return Outcome(
        seed_free=float(seed_free),
        in_bloom=float(bloom),
        in_time=float(in_time),
        together=float(together),
        pan_kg_ha=float(pan),
        visits=visits,
        moved_days=moved,
    )


def _told(field: Field, seasons: Sequence[_Season]) -> AdviceReplay:
    draws = seasons[0].stages["bud"].shape[-1]
    same = np.ones(draws)
    moved = [days for season in seasons for days in season.moved]
    fixed = _best_fixed(seasons)
    buds = float(np.nanmedian([season.stages["bud"] for season in seasons]))
    flowers = [_weekly(season, season.stages["first_flower"][0]) for season in seasons]
    looks = [np.maximum((days - buds) // EVERY + 1, 1) for days in flowers]
    at_bloom = [_sum_at(season, np.nanmedian(season.stages["bloom_10"])) for season in seasons]
    wanted = float(np.nanmean(at_bloom))
    last = [season.days.size - 1 for season in seasons]
    by_sum = [min(int(np.searchsorted(season.sums, wanted)), end) for season, end in zip(seasons, last, strict=True)]
    return AdviceReplay(
        advice_scouted=_looked_at(seasons),
        field=field,
        years=tuple(season.year for season in seasons),
        advice=_outcome(
            seasons, [season.followed * same for season in seasons], 1.0, float(np.mean(moved)) if moved else 0.0
        ),
        fixed_date=_outcome(seasons, [fixed * same] * len(seasons), 1.0),
        first_flower=_outcome(seasons, flowers, float(np.mean(looks))),
        degree_day_sum=_outcome(seasons, [day * same for day in by_sum], 1.0),
        best_fixed=_month_day(seasons[0].days[fixed]),
    )


def _looked_at(seasons: Sequence[_Season]) -> Outcome | None:
    """What came of the advice that was told what is seen."""
    ended, kept, looks = [], [], []
    for season in seasons:
        if season.scouted is None:
            return None
        followed, counted = season.scouted
        there = ~np.isnan(followed)
        ended.append(np.where(there, followed, season.followed))
        kept.append(replace(season, weights=season.weights * there))
        looks.append(counted[there].mean())
    # The ending is a visit of its own.
    return _outcome(kept, ended, float(np.mean(looks)) + 1.0)


def _month_day(day: np.datetime64) -> tuple[int, int]:
    date = dt.date.fromisoformat(str(day))
    return date.month, date.day


def _sum_at(season: _Season, day: float) -> float:
    return np.nan if np.isnan(day) else float(season.sums[int(day)])


def _weekly(season: _Season, seen: Array) -> Array:
    """The first weekly visit on which something is to be seen; the last of the season where it never is."""
    place = np.searchsorted(season.asked, np.where(np.isnan(seen), np.inf, seen))
    return season.asked[np.minimum(place, season.asked.size - 1)].astype(np.float64)


def _best_fixed(seasons: Sequence[_Season]) -> int:
    """Day index on which everything most often works, over all seasons and draws."""
    days = np.arange(min(season.days.size for season in seasons))[:, np.newaxis]
    works = np.zeros(days.size)
    for season in seasons:
        wanted = season.wanted
        held = (days >= wanted.opens) & (days <= np.minimum(wanted.clean_until, wanted.in_time_until))
        works += np.average(held, axis=1, weights=season.weights)
    return int(works.argmax())
