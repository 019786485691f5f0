"""What comes of each sowing date of one cover, over the past seasons of a place.

Every date runs through the chain of a field's own answer (:mod:`covercrop.season.plan`):
emergence, winter, bloom, window, the ground after it, planting.  Arrays have
shape (date, year, draw).  The ground knows nothing of the sowing date, and is
worked out once for each day on which some cover dies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.base.errors import UsageError
from covercrop.models import biomass, decay, plantback, season_calendar, soil_water, termination
from covercrop.models.degree_days import accumulate, crossing
from covercrop.models.members import MEDIAN, Draws
from covercrop.parameters.constants import MODELS
from covercrop.season.beside import joined
from covercrop.season.decision import decide
from covercrop.season.ending import LEAST_ODDS, POOR
from covercrop.season.ground import dead_from, limits_by_ending
from covercrop.season.in_time import EVERY, last_in_time
from covercrop.season.stand import Stand, brought, grow_stand, usual_emergence
from covercrop.season.wants import chances, wants
from covercrop.weather.outlook import Outlook, part_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from covercrop.field.entries import CropEntry, Ground
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop, Growth
    from covercrop.season.beside import Share


#: Days from the start of the season to midwinter.
BEFORE_MIDWINTER = 184

#: Days in which seed has to find rain, and the rain that wets a dry loam to
#: 10 cm (:data:`covercrop.models.soil_water.TOTAL_EVAPORABLE`) [mm].
SEEDBED_DAYS = int(MODELS.sowing.rain_within.value)
SEEDBED_RAIN = soil_water.TOTAL_EVAPORABLE

#: Dates whose joint chance is no further than this below the best are as good as it.
AS_GOOD = 0.02

#: Days of the season kept behind midsummer for the stand, and before midwinter and behind midsummer for the ground.
_TAIL, _LEAD, _SUMMER = 30, 30, 75

#: Sowing dates followed at a time: they share a day axis, which begins on the first of them.
DATES_TOGETHER = 16

LIMITS = ("established", "survives", "plantable")


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """Shares of the years in which each thing has to go well."""

    established: float = 0.8
    survives: float = 0.9
    plantable: float = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """What fails first on one side of the dates that work: the limit, on which date, how often it still holds.

    ``cause`` says why the crop cannot be planted in time: ``bloom``, or one of
    :data:`covercrop.models.plantback.LIMITS`.
    """

    limit: str
    date: np.datetime64
    share: float
    cause: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """One cover, sown on each of the dates; arrays have shape (date,).

    Attributes
    ----------
    cover : Cover
    cultivar : str
        Empty where it is not known.
    companion : Companion or None
        The cereal beside it, and
    share_of_legume : Share or None
        how much of the stand is the legume.
    cereal_lives : numpy.ndarray
        Share of the years in which the cereal lives; NaN where there is none.
    established, survives, plantable : numpy.ndarray
        Shares of the years: ground covered before winter; stand alive; crop
        plantable by the wanted date, of those in which it lives.
    together : numpy.ndarray
        Share of the years in which all three hold.
    window : numpy.ndarray
        Chance that the window is open on the day of ending.
    methods : numpy.ndarray of str
        How it is ended: turned under, where the way asked for has no window in most years.
    ended, window_open, earliest_planting : numpy.ndarray of datetime64[D]
        Day of ending; likely opening of the window; likely first safe day.
    brings : dict of str to numpy.ndarray
        Middle values of what the cover brings (:func:`covercrop.season.stand.brought`).
    fits : numpy.ndarray of bool
    first, last : int or None
        Ends of the longest run of dates that fit.
    best : int
        The best date: among those that fit, if any do.
    before, after : Failure or None
        What fails first on either side; None at the edge of the dates asked for.
    """

    cover: Cover
    cultivar: str
    companion: Companion | None
    share_of_legume: Share | None
    cereal_lives: Array
    established: Array
    survives: Array
    plantable: Array
    together: Array
    window: Array
    methods: NDArray[np.str_]
    ended: Days
    window_open: Days
    earliest_planting: Days
    brings: dict[str, Array]
    fits: NDArray[np.bool_]
    first: int | None
    last: int | None
    best: int
    before: Failure | None
    after: Failure | None

    @property
    def fit(self) -> bool:
        """Whether any date fits."""
        return self.first is not None

    def share(self, limit: str) -> Array:
        """The shares of one of :data:`LIMITS`."""
        shares: Array = getattr(self, limit)
        return shares


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """What all covers of one question share; day indexes on the axis of ``season``."""

    field: Ground
    crop: Crop
    planting: CropEntry
    season: Outlook
    dates: Days
    sowing: NDArray[np.intp]
    plant_by: int
    plant_by_from: str
    risk: Risk
    draws: Draws


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A cover as it is asked about, with the cereal beside it; ``snow`` takes the cold away."""

    cover: Cover
    cultivar: str
    snow: bool = False
    companion: Companion | None = None
    share: Share | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Followed:
    """A cover followed to its ending; arrays (date, year, draw), the last four (date,)."""

    asked: Asked
    stand: Stand
    alive: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    methods: NDArray[np.str_]
    ended: Array
    dead: Array
    odds: Array


def compare(frame: Frame, asked: Iterable[Asked]) -> list[Choice]:
    """Every cover on every date; the ground is worked out once for each day on which some cover dies."""
    known: dict[object, Array] = {}
    followed = [follow(frame, each, known) for each in asked]
    after = grounds(frame, followed)
    return [choice_of(frame, each, limits) for each, limits in zip(followed, after, strict=True)]


def follow(
    frame: Frame, asked: Asked, known: dict[object, Array] | None = None, *, grown: Stand | None = None
) -> Followed:
    """A cover on every date, from sowing to the day on which it is ended.

    ``known`` is that of :func:`in_time_until`; ``grown`` is what :func:`grow` gives, if it was grown before.
    """
    cover, field, first = asked.cover, frame.field, int(frame.sowing[0])
    season = part_of(frame.season, slice(first, stand_days()))
    stand = grown or grow(frame, asked)
    alive = np.ones(stand.killed.shape, dtype=np.bool_) if asked.snow else np.isnan(stand.killed)
    # Where every member dies the dates are those of a stand that lives.
    counted = np.where(alive.any(axis=(1, 2), keepdims=True), alive, True)
    opens, closes, methods = _windows(stand, field.terminate, cover, counted)
    ended, odds = _endings(frame, asked, stand, methods, counted, {} if known is None else known)
    rate = accumulate(biomass.warmth(season.tmean, growth_of(cover)))
    wanted = crossing(rate, cover.sowing.ground_cover.value, usual_emergence(stand.stages)[..., np.newaxis] + 1)
    return Followed(
        asked=asked,
        stand=replace(stand, opens=opens, closes=closes),
        alive=alive,
        covered=wanted <= BEFORE_MIDWINTER - first,
        methods=methods,
        ended=ended,
        dead=np.where(methods == "tarp", dead_from(ended, "tarp"), ended) + first,
        odds=odds,
    )


def grow(frame: Frame, asked: Asked) -> Stand:
    """A cover as it grows on every date; day indexes from the first of all."""
    parts = np.split(frame.sowing, range(DATES_TOGETHER, frame.sowing.size, DATES_TOGETHER))
    return _joined([_stand_on(frame, asked, part) for part in parts])


def _stand_on(frame: Frame, asked: Asked, sowing: NDArray[np.intp]) -> Stand:
    """A cover on some of the dates; day indexes from the first of all."""
    begin = int(sowing[0])
    part = slice(begin, stand_days())
    stand = grow_stand(
        part_of(frame.season, part),
        frame.field.latitude,
        asked.cover,
        frame.draws,
        cultivar=asked.cultivar,
        terminate=frame.field.terminate,
        sowing=(sowing - begin)[:, np.newaxis],
        companion=asked.companion,
        share=asked.share,
    )
    later = begin - int(frame.sowing[0])
    # A cereal, whose clock starts at midwinter, knows nothing of the sowing date.
    return replace(
        stand,
        stages={name: np.broadcast_to(day, stand.killed.shape) + later for name, day in stand.stages.items()},
        cereal=None if stand.cereal is None else stand.cereal.later(later),
        opens=stand.opens + later,
        closes=stand.closes + later,
        killed=stand.killed + later,
    )


def _joined(stands: Sequence[Stand]) -> Stand:
    """The stands of all dates, from those of some at a time."""
    return replace(
        stands[0],
        stages={name: np.concatenate([stand.stages[name] for stand in stands]) for name in stands[0].stages},
        opens=np.concatenate([stand.opens for stand in stands]),
        closes=np.concatenate([stand.closes for stand in stands]),
        killed=np.concatenate([stand.killed for stand in stands]),
        weights=np.concatenate([stand.weights for stand in stands]),
        cereal=None if stands[0].cereal is None else joined([stand.cereal for stand in stands if stand.cereal]),
    )


def growth_of(cover: Cover) -> Growth:
    """The growth of a cover, without which its dates cannot be compared."""
    if cover.growth is None:
        raise UsageError(f"nothing is known about the growth of {cover.key}; leave it out of `covers`")
    return cover.growth


def _windows(
    stand: Stand, terminate: str, cover: Cover, counted: NDArray[np.bool_]
) -> tuple[Array, Array, NDArray[np.str_]]:
    """Windows by date: of the way asked for, or of turning under where that has none in most years."""
    opens, closes = stand.opens, stand.closes
    methods = np.full(len(opens), terminate)
    if terminate == "turn-under":
        return opens, closes, methods
    held = ((closes >= opens) & counted).sum(axis=(1, 2)) / counted.sum(axis=(1, 2))
    without = held < POOR
    turning = termination.window(stand.stages, "turn-under", cover)
    other = without[:, np.newaxis, np.newaxis]
    return (
        np.where(other, turning[0], opens),
        np.where(other, turning[1], closes),
        np.where(without, "turn-under", methods),
    )


def _endings(
    frame: Frame,
    asked: Asked,
    stand: Stand,
    methods: NDArray[np.str_],
    counted: NDArray[np.bool_],
    known: dict[object, Array],
) -> tuple[Array, Array]:
    """The day on which each date's cover is best ended, NaN where it has none, and the chance of the window on it.

    It is the day that a field's own answer would name (:mod:`covercrop.season.decision`), with the wanted planting
    date for the crop's.
    """
    first, days = int(frame.sowing[0]), stand_days() - int(frame.sowing[0])
    may = np.arange(days) >= BEFORE_MIDWINTER - first
    until = {way: in_time_until(frame, asked, stand, str(way), known) - first for way in np.unique(methods)}
    ended, best = np.full(len(methods), np.nan), np.zeros(len(methods))
    for way, last in until.items():
        places = np.flatnonzero(methods == way)
        stages = {name: day[places] for name, day in stand.stages.items()}
        found = chances(wants(stages, str(way), asked.cover, last), counted[places], days)
        for row, place in enumerate(places):
            one = found.at(row)
            decided = None
            if one.window.max() >= LEAST_ODDS:
                decided = decide(one, may, cover_first=frame.field.aim.favour == "cover")
            if decided is not None:
                ended[place], best[place] = decided.day, one.window[decided.day]
    return ended, best


def in_time_until(frame: Frame, asked: Asked, stand: Stand, method: str, known: dict[object, Array]) -> Array:
    """Last day of ending a cover, in a way, that leaves the ground plantable by the wanted date, shape (year, draw).

    ``known`` are those of other covers, which are the same where their residue is.
    """
    kind = (method, *_ground_of(asked))
    if kind in known:
        return known[kind]
    last = max(frame.plant_by, BEFORE_MIDWINTER)  # where nothing ripens, the wanted day lies before all others
    ended = np.arange(BEFORE_MIDWINTER, last + EVERY, EVERY, dtype=np.float64)

    def earliest(ended: Array) -> Array:
        return plantback.earliest(limits_after(frame, asked, stand, dead_from(ended, method), method))

    known[kind] = last_in_time(ended, earliest, frame.plant_by)
    return known[kind]


def _ground_of(asked: Asked) -> tuple[object, ...]:
    """What the ground knows of a cover: its residue, as young as it is in the window, and the cereal beside it."""
    return (*decay.fractions(asked.cover.residue).tolist(), asked.companion and asked.companion.key)


def grounds(frame: Frame, covers: Sequence[Followed]) -> list[dict[str, Array]]:
    """Limits on planting for each cover and date, shape (date, year, draw).

    The ground knows nothing of the sowing date, and of the cover only its
    residue, the day on which it dies, and how it is ended.
    """
    found: list[dict[str, Array]] = [{} for _ in covers]
    groups: dict[object, list[int]] = {}
    for place, cover in enumerate(covers):
        groups.setdefault(_ground_of(cover.asked), []).append(place)
    for places in groups.values():
        first = covers[places[0]]
        for method in sorted({str(method) for place in places for method in covers[place].methods}):
            ways = {place: covers[place].methods == method for place in places}
            days = np.unique(np.concatenate([covers[place].dead[way] for place, way in ways.items()]))
            limits = limits_after(frame, first.asked, first.stand, days, method)
            for place, way in ways.items():
                rows = np.minimum(np.searchsorted(days, covers[place].dead[way]), days.size - 1)
                for name, limit in limits.items():
                    whole = found[place].setdefault(name, np.full((way.size, *limit.shape[1:]), np.nan))
                    whole[way] = limit[rows]
    return found


def limits_after(frame: Frame, asked: Asked, stand: Stand, dead: Array, terminate: str) -> dict[str, Array]:
    """Limits on planting after each day on which a cover dies, on the axis of the season."""
    # Soil and residue forget the autumn, and no one waits for the next: half of the days are enough.
    first = BEFORE_MIDWINTER - _LEAD
    season = part_of(frame.season, slice(first, BEFORE_MIDWINTER + season_calendar.HALF_YEAR + _SUMMER))
    limits = limits_by_ending(
        season,
        asked.cover,
        frame.crop,
        frame.planting,
        frame.draws,
        dead=dead - first,
        midwinter=_LEAD,
        terminate=terminate,
        residue_pace=stand.residue_pace(asked.cover, dead - int(frame.sowing[0])),
        cereal=asked.companion,
    )
    return {name: limit + first for name, limit in limits.items()}


def choice_of(frame: Frame, followed: Followed, limits: dict[str, Array]) -> Choice:
    """The shares, dates and amounts of a cover that was followed, and which dates fit."""
    first, season, stand = int(frame.sowing[0]), frame.season, followed.stand
    cover, alive = followed.asked.cover, followed.alive
    earliest = plantback.earliest(limits)
    in_time = earliest <= frame.plant_by
    members = alive[0].size
    living = alive.sum(axis=(1, 2))
    covered = np.broadcast_to(followed.covered, alive.shape)
    plantable = (in_time & alive).sum(axis=(1, 2)) / np.maximum(living, 1)
    together = in_time & alive & covered
    counted = np.where(living[:, np.newaxis, np.newaxis] > 0, alive, True)
    tmean = season.tmean[:, first : stand_days()]
    brings = brought(growth_of(cover), tmean, stand.stages, frame.draws, followed.ended, cereal=stand.cereal)
    shares = {
        "established": covered.sum(axis=(1, 2)) / members,
        "survives": living / members,
        "plantable": plantable,
    }
    fits = np.all([share >= getattr(frame.risk, name) - 1e-9 for name, share in shares.items()], axis=0)
    joint = together.sum(axis=(1, 2)) / members
    moist = moist_share(season, frame.sowing)
    run = longest_run(fits)
    # Where nothing fits, the best date is the one that falls least short.
    short = np.sum([np.minimum(share - getattr(frame.risk, name), 0.0) for name, share in shares.items()], axis=0)
    score = np.where(np.isnan(moist), 1.0, moist) * joint if run else short
    inside = np.zeros(fits.shape, dtype=np.bool_)
    inside[slice(*run) if run else slice(None)] = True
    return Choice(
        cover=cover,
        cultivar=followed.asked.cultivar,
        companion=followed.asked.companion,
        share_of_legume=followed.asked.share,
        cereal_lives=_cereal_lives(stand),
        **shares,
        together=joint,
        window=followed.odds,
        methods=followed.methods,
        ended=season.dates(followed.ended + first),
        window_open=season.dates(middle(stand.opens, counted) + first),
        earliest_planting=season.dates(np.ceil(middle(earliest, counted))),
        brings={name: middle(values, counted) for name, values in brings.items()},
        fits=fits,
        first=run[0] if run else None,
        last=run[1] - 1 if run else None,
        best=_best(score, inside),
        before=_failure(frame, shares, limits, run[0] - 1) if run else None,
        after=_failure(frame, shares, limits, run[1]) if run else None,
    )


def _cereal_lives(stand: Stand) -> Array:
    """Share of the years in which the cereal lives, by date; NaN where there is none."""
    if stand.cereal is None:
        return np.full(len(stand.killed), np.nan)
    return np.isnan(stand.cereal.killed).mean(axis=(1, 2))


def middle(values: Array, counted: NDArray[np.bool_]) -> Array:
    """Median over the members that count, by date; what is not reached is later than all."""
    flat = np.where(np.isnan(values), np.inf, values).reshape(len(values), -1)
    counts = counted.reshape(len(values), -1)
    ordered = np.sort(np.where(counts, flat, np.nan), axis=1)  # those that do not count go last
    half = np.ceil(MEDIAN * counts.sum(axis=1) - 1e-6).astype(np.intp) - 1
    middle = ordered[np.arange(len(values)), half]
    return np.where(np.isinf(middle), np.nan, middle)


def longest_run(fits: NDArray[np.bool_]) -> tuple[int, int] | None:
    """Start and end (without) of the longest run of dates that fit; of equal ones, the first."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], fits, [False]]).astype(np.int8)))
    if not edges.size:
        return None
    runs = edges.reshape(-1, 2)
    start, end = runs[np.argmax(runs[:, 1] - runs[:, 0])]
    return int(start), int(end)


def _best(score: Array, inside: NDArray[np.bool_]) -> int:
    """The middle of the dates with the best score."""
    scored = np.where(inside, score, -np.inf)
    good = scored >= scored.max() - AS_GOOD
    run = longest_run(good)
    return (run[0] + run[1] - 1) // 2 if run else 0


def _failure(frame: Frame, shares: dict[str, Array], limits: dict[str, Array], place: int) -> Failure | None:
    """What fails on the first date outside those that fit; None where that was not asked about."""
    if not 0 <= place < frame.dates.size:
        return None
    short = {name: float(share[place]) - getattr(frame.risk, name) for name, share in shares.items()}
    limit = min(short, key=lambda name: short[name])
    return Failure(
        limit=limit,
        date=frame.dates[place],
        share=float(shares[limit][place]),
        cause=_cause({name: days[place] for name, days in limits.items()}) if limit == "plantable" else "",
    )


def _cause(limits: dict[str, Array]) -> str:
    """The limit on planting that most often clears last; bloom, where there is no day of ending to count from."""
    if np.isnan(limits["disease"]).all():
        return "bloom"
    return plantback.binding(limits) or ""


def stand_days() -> int:
    """Days of the season in which a stand is followed."""
    return BEFORE_MIDWINTER + season_calendar.HALF_YEAR + _TAIL


def moist_share(season: Outlook, sowing: NDArray[np.intp]) -> Array:
    """Share of the years in which rain wets the seedbed, by sowing date; NaN where rain is not known."""
    total = np.cumsum(np.concatenate([np.zeros((len(season.prcp), 1)), season.prcp], axis=1), axis=1)
    fallen = total[:, sowing + SEEDBED_DAYS] - total[:, sowing]
    known = ~np.isnan(fallen)
    years = known.sum(axis=0)
    return np.where(years > 0, (fallen >= SEEDBED_RAIN).sum(axis=0) / np.maximum(years, 1), np.nan)
