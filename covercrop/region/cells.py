"""The answers of cells: for each its own season, through the same chain as one field's.

A cell is asked what a grower would be told there on the day of sowing, with
its record as the only weather: every complete past season of it is a member.
The day is the last in the record that can be a sowing day, so that the answer
is, to the day, that of a field sown there and asked about on that day.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.field.entries import CoverEntry, CropEntry, Field
from covercrop.models import frost, plantback, season_calendar
from covercrop.models.members import MEDIAN, quantiles, share_by, standard_draws
from covercrop.models.season_calendar import DAYS_OF_SEASON
from covercrop.region.question import BeforeFreeze, MonthDay, Question
from covercrop.season.chain import member_days
from covercrop.season.following import follow_each
from covercrop.season.plan import SAFE_SHARE
from covercrop.season.start import Start
from covercrop.weather.gaps import fill_gaps
from covercrop.weather.hemisphere import seasons_against
from covercrop.weather.outlook import season_outlook
from covercrop.weather.record import Record

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from covercrop.region.question import Sowing
    from covercrop.season.chain import Chain
    from covercrop.weather.outlook import Outlook


#: Dates given at each percentile, and what they are called at length.
AT_PERCENTILES = {
    "first_flower": "first flowers open",
    "bloom_25": "25 % bloom",
    "bloom_50": "50 % bloom",
    "window_open": "first day on which the cover may be ended",
    "window_close": "last day on which the cover may be ended before seed is viable",
    "earliest_planting": "first day on which nothing stands in the way of the crop",
    "latest_planting": "last day on which the crop can be planted and still ripen before the first autumn freeze",
}

#: Dates that a cell has one of.
SINGLE = {
    "sowing": "day of sowing",
    "end_cover": "best day to end the cover",
    "safe_planting": "first day on which planting is safe in eight years of ten",
}

#: Shares, and what of.
CHANCES = {
    "end_cover_chance": "chance that the window is open on the best day to end the cover",
    "survival": "chance that the stand lives through the winter",
    "planting_chance": "chance that the ground is plantable by the day asked about",
}

#: What became of a cell.  The first is an answer; the others say why there is none.
STATUS = (
    "answered",
    "no_data",
    "gaps_too_long",
    "tasmin_above_tasmax",
    "temperature_that_cannot_be",
    "too_few_years",
    "no_sowing_date",
    "no_such_choice",
    "seasons_of_the_other_hemisphere",
    "seasons_too_far_apart",
    "never_warm",
    "no_place",
)

#: The limits, as the output numbers them; 0 is none.
LIMIT_NUMBER = {name: number for number, name in enumerate(plantback.LIMITS, start=1)}

#: Temperatures that weather can have [degC]: below and above the coldest and the hottest ever measured.
COLDEST, HOTTEST = -95.0, 60.0

#: No crop grows where no day of all years gets warmer [degC]; common practice, no source: beyond the tree line the
#: warmest month has a mean of 10, and its hottest day is far warmer.  Degrees Celsius read as Fahrenheit stay below it
#: everywhere but in a place that has had 54, and tenths of them that were divided once too often do everywhere.
WARM = 12.0

#: The tropics have no summer and winter: so near to the equator [degrees], which is also as far from it as a latitude
#: in radians can be, June to August and December to February are at most this far apart [K].  Chosen between the one or
#: two of places there (common practice, no source) and 11, the smallest of the whole years in 100 records of middle
#: latitudes that it was measured on.
NEAR_EQUATOR, MOST_APART = np.pi / 2, 6.0

#: Days of each half of the year that are needed to tell.
FEWEST_SOLSTICE = 60

#: A minimum may lie this far above the maximum, by rounding [K].
ROUNDING = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """One cell or station.

    Attributes
    ----------
    latitude : float
        [degrees], north positive.
    question : Question or None
        With the cell's own choices made; None where they cannot be.
    """

    latitude: float
    question: Question | None


class NoAnswer(Exception):
    """A cell that has no answer, and which of :data:`STATUS` says why."""

    def __init__(self, status: str) -> None:
        self.status = status
        super().__init__(status)


def record_of_cell(first: np.datetime64, tmin: Array, tmax: Array) -> Record:
    """A cell's record, with short gaps filled as those of a thermometer are.

    Parameters
    ----------
    first : numpy.datetime64[D]
    tmin, tmax : numpy.ndarray, shape (day,)
        [degC], NaN where unknown.

    Raises
    ------
    NoAnswer
        If it cannot be used.
    """
    empty = np.isnan(tmin) | np.isnan(tmax)
    if empty.all():
        raise NoAnswer("no_data")
    with np.errstate(invalid="ignore"):
        hottest = np.fmax.reduce(tmax)
        if np.fmin.reduce(tmin) < COLDEST or hottest > HOTTEST:
            raise NoAnswer("temperature_that_cannot_be")
        if (tmin > tmax + ROUNDING).any():
            raise NoAnswer("tasmin_above_tasmax")
    if hottest < WARM:
        raise NoAnswer("never_warm")
    if np.fmin.reduce(tmax) == hottest or np.fmin.reduce(tmin) == np.fmax.reduce(tmin):  # the same every day
        raise NoAnswer("temperature_that_cannot_be")
    rain = np.broadcast_to(np.nan, tmin.shape)
    if not empty.any():
        return Record(first, tmin, tmax, rain, snow=rain)
    days = first + np.arange(tmin.size).astype("timedelta64[D]")
    origin = np.where(empty, "missing", "observed").astype(object)
    (tmin, tmax), origin = fill_gaps(days, np.stack((tmin, tmax)), origin)
    return Record(first, tmin, tmax, rain, origin, snow=rain)


def check_hemisphere(record: Record, latitude: float) -> None:
    """Refuse a record whose seasons are not those of its latitude: a sign is wrong in it, or it is in radians.

    Raises
    ------
    NoAnswer
        As `ready` does for the sign, so that nothing is answered here that it refuses.
    """
    if seasons_against(record, latitude):
        raise NoAnswer("seasons_of_the_other_hemisphere")
    if abs(latitude) <= NEAR_EQUATOR:
        days = record.first + np.arange(record.tmin.size).astype("timedelta64[D]")
        if seasons_apart(days, record.tmin, record.tmax) > MOST_APART:
            raise NoAnswer("seasons_too_far_apart")


def seasons_apart(days: Days, tmin: Array, tmax: Array) -> float:
    """How far the June to August of a record and its December to February are apart [K]; 0 where it cannot be told.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
    tmin, tmax : numpy.ndarray, shape (day,)
        [degC], NaN where unknown.
    """
    mean = (tmin + tmax) / 2
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    halves = [mean[here & ~np.isnan(mean)] for here in ((month >= 5) & (month <= 7), (month == 11) | (month <= 1))]
    if min(each.size for each in halves) < FEWEST_SOLSTICE:
        return 0.0
    return float(abs(halves[0].mean() - halves[1].mean()))


# --- sowing ---------------------------------------------------------------------------------------


def sowing_day(sown: Sowing, record: Record, latitude: float) -> np.datetime64:
    """The last day of a record on which a cover would be sown.

    Raises
    ------
    NoAnswer
        If half of its autumns do not freeze, or no such day lies in the record.
    """
    if isinstance(sown, BeforeFreeze):
        sown = _before_freeze(sown.weeks, record, latitude)
    assert isinstance(sown, MonthDay)
    last = record.day(record.tmin.size - 1)
    year = int(str(last)[:4])
    day = np.datetime64(f"{year}-{sown.month:02d}-{sown.day:02d}")
    if day > last:
        day = np.datetime64(f"{year - 1}-{sown.month:02d}-{sown.day:02d}")
    if day < record.first:
        raise NoAnswer("too_few_years")
    return day


def _before_freeze(weeks: int, record: Record, latitude: float) -> MonthDay:
    """So many weeks before the day by which half of the autumns of a record have frozen."""
    midwinter = season_calendar.midwinter_before(record.first + np.timedelta64(364, "D"), latitude)
    first = record.position(midwinter)
    years = (record.tmin.size - first) // 366
    if years < 1:
        raise NoAnswer("too_few_years")
    starts = [record.position(_years_on(midwinter, year)) for year in range(years)]
    cold = np.stack([record.tmin[start : start + 365] for start in starts])
    cold = cold[~np.isnan(cold).any(axis=1)]
    freeze = frost.first_autumn_freeze(cold, 0)
    half = float(quantiles(freeze, np.ones_like(freeze), (MEDIAN,))[0])
    if np.isnan(half):
        raise NoAnswer("no_sowing_date")
    # Counted in a year without a 29 February, which is then no sowing day.
    day = dt.date(2001, 1 if latitude >= 0 else 7, 1) + dt.timedelta(days=int(half) - 7 * weeks)
    return MonthDay(day.month, 28 if (day.month, day.day) == (2, 29) else day.day)


def _years_on(day: np.datetime64, years: int) -> np.datetime64:
    month = day.astype("datetime64[M]") + np.timedelta64(12 * years, "M")
    later: np.datetime64 = month.astype("datetime64[D]")
    return later


# --- answers --------------------------------------------------------------------------------------


def start_of(record: Record, place: Place) -> Start:
    """What the season of one place is followed from.

    Raises
    ------
    NoAnswer
        If there is none that can be followed.
    """
    question = place.question
    if np.isnan(place.latitude):
        raise NoAnswer("no_place")
    if question is None:
        raise NoAnswer("no_such_choice")
    sown = sowing_day(question.sown, record, place.latitude)
    if not record.observed[record.position(sown)]:
        raise NoAnswer("gaps_too_long")
    outlook = season_outlook(record, sown, DAYS_OF_SEASON, sown)
    if not outlook.complete:
        raise NoAnswer("too_few_years" if record.usable.all() else "gaps_too_long")
    check_hemisphere(record, place.latitude)
    return Start.of(_field(question, sown, place.latitude), outlook, 0)


def told(question: Question, outlook: Outlook, chain: Chain) -> dict[str, Any]:
    """What is known of one place.

    Parameters
    ----------
    question : Question
    outlook : Outlook
    chain : Chain

    Returns
    -------
    dict
        ``sowing`` as a date; the names of :data:`AT_PERCENTILES` as days after it, an array of one a percentile; the
        others of :data:`SINGLE` as days after it; the chances of :data:`CHANCES`; ``binding_limit`` as its name or
        None, and the number of ``years`` that took part.
    """
    shares = tuple(percentile / 100 for percentile in question.percentiles)
    indexes, weights = chain.indexes(), chain.weights
    found = member_days([indexes[name] for name in AT_PERCENTILES], weights, (*shares, SAFE_SHARE))
    days = dict(zip(AT_PERCENTILES, found, strict=True))
    best = chain.ending.best
    return {
        "sowing": outlook.days[0],
        **{name: at[:-1] for name, at in days.items()},
        "end_cover": np.nan if chain.ending.day is None else float(chain.ending.day),
        "end_cover_chance": np.nan if best is None else best.probability,
        "safe_planting": float(days["earliest_planting"][-1]),
        "survival": chain.survival,
        "planting_chance": _planting_chance(question, chain, outlook),
        "binding_limit": None if best is None else plantback.binding(chain.ground.limits, weights),
        "years": len(outlook.years),
    }


def _planting_chance(question: Question, chain: Chain, outlook: Outlook) -> float:
    if question.plant_by is None:
        return np.nan
    by = next_day(question.plant_by, outlook.days[0])
    return share_by(chain.ground.earliest, chain.weights, outlook.position(by))


def next_day(wanted: MonthDay, after: np.datetime64) -> np.datetime64:
    """The first such day after another."""
    year = int(str(after)[:4])
    day = np.datetime64(f"{year}-{wanted.month:02d}-{wanted.day:02d}")
    return day if day > after else np.datetime64(f"{year + 1}-{wanted.month:02d}-{wanted.day:02d}")


@lru_cache(maxsize=4096)
def _field(question: Question, sown: np.datetime64, latitude: float) -> Field:
    """The field that stands for a cell."""
    return Field(
        name="cell",
        latitude=latitude,
        longitude=0.0,  # plays no part where the weather is given
        cover=CoverEntry(
            species=str(question.cover),
            cultivar=str(question.cultivar),
            sown=dt.date.fromisoformat(str(sown)),
            terminate=str(question.terminate),
        ),
        crop=CropEntry(
            name=str(question.crop),
            method=str(question.method),
            ground_cover=str(question.ground_cover),
            days_to_maturity=question.days_to_maturity,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answers:
    """The answers of many places.

    Attributes
    ----------
    status : numpy.ndarray of int8, shape (place,)
        Position in :data:`STATUS`.
    sowing : numpy.ndarray of datetime64[D], shape (place,)
        NaT where there is no answer.
    days : dict of str to numpy.ndarray
        Days after sowing, NaN where not reached: those of :data:`AT_PERCENTILES` of shape (percentile, place), the
        others of :data:`SINGLE` of shape (place,).
    chances : dict of str to numpy.ndarray, shape (place,)
        :data:`CHANCES`.
    binding_limit : numpy.ndarray of int8, shape (place,)
        :data:`LIMIT_NUMBER`; 0 where there is none.
    years : numpy.ndarray of int16, shape (place,)
        Past seasons that took part.
    """

    status: NDArray[np.int8]
    sowing: Days
    days: dict[str, Array]
    chances: dict[str, Array]
    binding_limit: NDArray[np.int8]
    years: NDArray[np.int16]

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Everything by name."""
        return {
            "status": self.status,
            "sowing": self.sowing,
            "binding_limit": self.binding_limit,
            "years": self.years,
            **self.days,
            **self.chances,
        }


def no_answers(count: int, percentiles: int) -> Answers:
    """Answers of places that have none."""
    return Answers(
        status=np.full(count, STATUS.index("no_data"), dtype=np.int8),
        sowing=np.full(count, np.datetime64("NaT", "D")),
        days={
            **{name: np.full((percentiles, count), np.nan) for name in AT_PERCENTILES},
            **{name: np.full(count, np.nan) for name in SINGLE if name != "sowing"},
        },
        chances={name: np.full(count, np.nan) for name in CHANCES},
        binding_limit=np.zeros(count, dtype=np.int8),
        years=np.zeros(count, dtype=np.int16),
    )


def answers(records: Iterable[Record | str], places: Iterable[Place], count: int, percentiles: int) -> Answers:
    """The answers of many places, in their order.

    Parameters
    ----------
    records : iterable of Record or str
        A string is the status of a place whose record cannot be used.
    places : iterable of Place
    count : int
        Of the places.
    percentiles : int
        Number of them.
    """
    found = no_answers(count, percentiles)
    arrays = found.arrays()
    asked: list[tuple[int, Question]] = []

    def starts() -> Iterator[Start]:
        for at, (record, place) in enumerate(zip(records, places, strict=True)):
            try:
                if isinstance(record, str):
                    raise NoAnswer(record)
                start = start_of(record, place)
            except NoAnswer as reason:
                found.status[at] = STATUS.index(reason.status)
                continue
            assert place.question is not None
            asked.append((at, place.question))
            yield start

    for number, start, chain in follow_each(starts(), standard_draws()):
        at, question = asked[number]
        one = told(question, start.outlook, chain)
        one["binding_limit"] = LIMIT_NUMBER.get(one["binding_limit"], 0)
        one["status"] = 0
        for name, value in one.items():
            arrays[name][..., at] = value
    return found


def grid_answers(first: np.datetime64, tmin: Array, tmax: Array, places: Iterable[Place], percentiles: int) -> Answers:
    """The answers of cells that share a time axis.

    Parameters
    ----------
    first : numpy.datetime64[D]
    tmin, tmax : numpy.ndarray, shape (cell, day)
        [degC], NaN where unknown.
    places : iterable of Place
    percentiles : int
        Number of them.
    """

    def records() -> Iterable[Record | str]:
        for low, high in zip(tmin, tmax, strict=True):
            try:
                yield record_of_cell(first, low.astype(np.float64), high.astype(np.float64))
            except NoAnswer as reason:
                yield reason.status

    return answers(records(), places, len(tmin), percentiles)
