"""The autumn ahead: what comes of each sowing date, for each cover, over the past years of a place.

Every date runs through the chain of a field's own answer (:mod:`covercrop.plan`):
emergence, winter, bloom, window, the ground after it, planting.  The years are
the same for all dates, so that what differs between two dates is the date.
As a plan made on the day of sowing would have it, each date has one day on
which its cover is to be ended: the one on which the window is most likely open.

Three things have to go well, each as often as the grower asks for: the cover
hides the ground before winter, it lives, and the crop can be planted by the
wanted date.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop import decomposition, growth, hazards, parameters, plantback, soil_water, termination
from covercrop.degree_days import accumulate, crossing
from covercrop.ending import LEAST_ODDS, POOR
from covercrop.ensemble import MEDIAN, Draws, quantiles, standard_draws
from covercrop.errors import UsageError
from covercrop.ground import dead_from, planting_limits
from covercrop.stand import Stand, brought, grow_stand, seedbed_temperature
from covercrop.weather.outlook import Outlook, past_seasons

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from covercrop.records import DailyWeather
    from covercrop.season import CropEntry, Field
    from covercrop.traits import Cover, Crop, Growth

Array = NDArray[np.float64]
Days = NDArray[np.datetime64]

#: Draws of the uncertain numbers.  Four times as many move no share by more
#: than two in a hundred and no date by more than two days (a test holds it so).
DRAWS = 16

#: Days from the start of the season to midwinter, and from there to its end.
BEFORE_MIDWINTER = 184
AFTER_MIDWINTER = 365

#: Last day after midwinter that still counts as a sowing of that autumn.
LATEST_SOWING = 60

#: Dates that are looked at where none are asked for: from so many days before the
#: middle date of the first hard frost, or before midwinter where that is earlier
#: (1 September, south 1 March), to so many after that frost, or before midwinter
#: where there is none.
FROM_BEFORE_FROST, TO_AFTER_FROST = 70, 7
FROM_BEFORE_MIDWINTER, TO_BEFORE_MIDWINTER = 122, 31

#: Common practice, no source: sow six to eight weeks before the first hard frost.
RULE_DAYS = (56, 42)

#: Days in which seed has to find rain, and the rain that wets a dry loam to
#: 10 cm (:data:`covercrop.soil_water.TOTAL_EVAPORABLE`) [mm].
SEEDBED_DAYS = 21
SEEDBED_RAIN = soil_water.TOTAL_EVAPORABLE

#: Dates whose joint chance is no further than this below the best are as good as it.
AS_GOOD = 0.02

#: Days of the season kept behind midsummer for the stand, and before midwinter and behind midsummer for the ground.
_TAIL, _LEAD, _SUMMER = 30, 30, 75

#: Where nothing fits, so many of the nearest covers are tried in other ways, on every so many days.
NEAREST, TRIAL_STEP = 2, 3

#: A share alive that is no further than this below the one asked for is named as a risk to take.
LITTLE_MORE_RISK = 0.15

#: Days before the wanted planting on which an earlier ending is tried.
_EARLY_DAYS = 70

#: Later planting is tried for so many days after midsummer, and for crops that take no fewer days than these [d].
_LATE_DAYS = 45
_SHORTEST_CROP = 45.0

LIMITS = ("established", "survives", "plantable")

NEVER = np.datetime64("NaT", "D")

#: What no source gives, for the reader of the odds.
ASSUMPTIONS = (
    "The ground has to be covered by midwinter; growth up to then counts from emergence.",
    f"Seed is taken to come up on the rain alone where {SEEDBED_RAIN:.0f} mm (3/4 inch) fall in the three weeks after "
    "sowing, what wets a dry loam to 10 cm (4 inches); once it is up, drought is not reckoned with.",
    "The cover is ended on the one day that most often lies in the window, as if it were fixed in autumn; in a year "
    "of your own you will know better.",
    "Best is the middle of the dates with the best chance that all goes well, rain for the seed included.",
    "Sowing six to eight weeks before the first hard frost is common practice, no source.",
)


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
    :data:`covercrop.plantback.LIMITS`.
    """

    limit: str
    date: np.datetime64
    share: float
    cause: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """One thing done differently that makes a cover fit, worked out.

    Attributes
    ----------
    cover : str
        Its common name.
    kind : str
        ``accept``, ``early-ending``, ``early-cultivar``, ``transplants``,
        ``shorter-crop``, ``later-planting``, ``earlier-sowing`` or ``snow``.
    start, end : numpy.datetime64[D]
        First and last sowing date that then work, to :data:`TRIAL_STEP` days.
    snow : bool
        Whether it also takes snow through the cold weeks.
    alive : float
        Share of the years in which it lives, where that has to be enough; NaN where it need not.
    detail : str
        The cultivar.
    day : numpy.datetime64[D]
        The day of ending, or of planting.
    number : float
        Dry matter left [kg/ha], or days that the crop may take [d].
    """

    cover: str
    kind: str
    start: np.datetime64
    end: np.datetime64
    snow: bool = False
    alive: float = np.nan
    detail: str = ""
    day: np.datetime64 = NEVER
    number: float = np.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Choice:
    """One cover, sown on each of the dates; arrays have shape (date,).

    Attributes
    ----------
    cover : Cover
    cultivar : str
        Empty where it is not known.
    established, survives, plantable : numpy.ndarray
        Shares of the years: ground covered before winter; stand alive; crop
        plantable by the wanted date, of those in which it lives.
    together : numpy.ndarray
        Share of the years in which all three hold.
    window : numpy.ndarray
        Chance that the window is open on the day of ending.
    ended, window_open, earliest_planting : numpy.ndarray of datetime64[D]
        Day of ending; likely opening of the window; likely first safe day.
    brings : dict of str to numpy.ndarray
        Middle values of what the cover brings (:func:`covercrop.stand.brought`).
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
    established: Array
    survives: Array
    plantable: Array
    together: Array
    window: Array
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
class Autumn:
    """The sowing dates of one field compared.

    Attributes
    ----------
    field, crop
        What was asked about.
    on : numpy.datetime64[D]
    dates : numpy.ndarray of datetime64[D]
    plant_by : numpy.datetime64[D]
        The wanted planting date.
    plant_by_from : str
        Where it comes from: ``asked``, ``ripens`` (the last day that lets the
        crop ripen in as many years as have to be plantable) or ``midsummer``.
    ripens_by : float
        Share of the years in which a crop planted on that day ripens.
    risk : Risk
    frost : numpy.datetime64[D]
        Middle date of the first hard frost; NaT where half of the years have none.
    moist : numpy.ndarray
        Share of the years in which rain wets the seedbed, by date; NaN where rain is not known.
    choices : tuple of Choice
        The fittest cover first.
    relaxations : tuple of Relaxation
        Where no cover fits: what would make the nearest ones fit.
    years : tuple of int
    notes : tuple of str
    """

    field: Field
    crop: Crop
    on: np.datetime64
    dates: Days
    plant_by: np.datetime64
    plant_by_from: str
    ripens_by: float
    risk: Risk
    frost: np.datetime64
    moist: Array
    choices: tuple[Choice, ...]
    relaxations: tuple[Relaxation, ...]
    years: tuple[int, ...]
    notes: tuple[str, ...]


def plan_autumn(
    field: Field,
    weather: DailyWeather,
    on: np.datetime64,
    *,
    covers: Sequence[str] = (),
    start: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    plant_by: np.datetime64 | None = None,
    risk: Risk | None = None,
    draws: Draws | None = None,
) -> Autumn:
    """Compare the sowing dates of the autumn ahead.

    Parameters
    ----------
    field : Field
        Its place, crop, way of ending the cover, and cultivar.
    weather : DailyWeather
        With at least eight whole past seasons.
    on : numpy.datetime64[D]
        Today.
    covers : sequence of str
        All that are known by default.
    start, end : numpy.datetime64[D], optional
        First and last sowing date; without them, from ten weeks before the
        middle date of the first hard frost, and four months before midwinter
        at the latest, to a week after it.
    plant_by : numpy.datetime64[D], optional
        Date by which the crop has to be in the ground; by default the last
        that lets it ripen in eight years of ten, and midsummer at the latest.
    risk : Risk, optional
    draws : Draws, optional
        :data:`DRAWS` by default.

    Returns
    -------
    Autumn

    Raises
    ------
    UsageError
        If the dates are not those of one autumn ahead.
    UnknownNameError
        If a cover is not known; names near matches.
    WeatherGapError
        If there are too few whole past seasons.
    """
    accepted = risk or Risk()
    known = [parameters.cover(name) for name in (covers or parameters.cover_names())]
    known = list({cover.key: cover for cover in known}.values())
    season = _season(weather, on, field.latitude, start, end)
    dates = _dates(season, on, start, end)
    frame = _frame(field, season, dates, accepted, draws or standard_draws(DRAWS), plant_by)
    asked = [_Asked(cover=cover, cultivar=_cultivar(field, cover)) for cover in known]
    choices = sorted(_choices(frame, asked), key=lambda choice: _fitness(choice, accepted), reverse=True)
    nowhere = not any(choice.fit for choice in choices)
    return Autumn(
        field=field,
        crop=frame.crop,
        on=on,
        dates=dates,
        plant_by=season.days[frame.plant_by],
        plant_by_from=frame.plant_by_from,
        ripens_by=_ripens_by(frame),
        risk=accepted,
        frost=_frost(season)[1],
        moist=_moist(season, frame.sowing),
        choices=tuple(choices),
        relaxations=tuple(
            relaxed for choice in choices[: NEAREST if nowhere else 0] for relaxed in _relaxations(frame, choice)
        ),
        years=season.years,
        notes=weather.notes,
    )


# --- the dates ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Frame:
    """What all covers of one question share; day indexes on the axis of ``season``."""

    field: Field
    crop: Crop
    plan: CropEntry
    season: Outlook
    seedbed: Array
    dates: Days
    sowing: NDArray[np.intp]
    plant_by: int
    plant_by_from: str
    risk: Risk
    draws: Draws


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A cover as it is asked about; ``snow`` takes the cold away."""

    cover: Cover
    cultivar: str
    snow: bool = False


def _season(
    weather: DailyWeather,
    on: np.datetime64,
    latitude: float,
    start: np.datetime64 | None,
    end: np.datetime64 | None,
) -> Outlook:
    """Past seasons on the days of the autumn asked about, or of the next whose dates are not over."""
    day = start if start is not None else end if end is not None else on
    midwinter = hazards.midwinter_before(day + np.timedelta64(hazards.HALF_YEAR, "D"), latitude)

    def around(midwinter: np.datetime64) -> Outlook:
        first = midwinter - np.timedelta64(BEFORE_MIDWINTER, "D")
        return past_seasons(weather, first, BEFORE_MIDWINTER + AFTER_MIDWINTER, on)

    season = around(midwinter)
    if day is on and season.days[_default_dates(season)[1]] < on:
        return around((midwinter.astype("datetime64[M]") + np.timedelta64(12, "M")).astype("datetime64[D]"))
    return season


def _frost(season: Outlook) -> tuple[float, np.datetime64]:
    """Middle date of the first hard frost; NaN and NaT where half of the years have none."""
    autumn = season.tmin[:, : BEFORE_MIDWINTER + LATEST_SOWING]
    first = hazards.first_autumn_freeze(autumn, BEFORE_MIDWINTER - AFTER_MIDWINTER, hazards.HARD_FROST.value)
    middle = quantiles(first, np.ones(first.shape), (MEDIAN,))
    return float(middle[0]), season.dates(middle)[0]


def _default_dates(season: Outlook) -> tuple[int, int]:
    frost, september = _frost(season)[0], BEFORE_MIDWINTER - FROM_BEFORE_MIDWINTER
    if np.isnan(frost):
        return september, BEFORE_MIDWINTER - TO_BEFORE_MIDWINTER
    return max(min(int(frost) - FROM_BEFORE_FROST, september), 0), int(frost) + TO_AFTER_FROST


def _dates(season: Outlook, on: np.datetime64, start: np.datetime64 | None, end: np.datetime64 | None) -> Days:
    first, last = (season.days[place] for place in _default_dates(season))
    if start is None:
        start = max(first, on)
        if end is not None and start > end:
            start = max(end - (last - first), season.days[0], min(on, end))
    if end is None:
        end = last if last >= start else start + (last - first)
    if start > end:
        raise UsageError(f"--from {start} is after --to {end}; give the earlier date first")
    earliest, latest = season.days[0], season.days[BEFORE_MIDWINTER + LATEST_SOWING]
    if start < earliest or end > latest:
        raise UsageError(
            f"sowing from {start} to {end} is not one autumn; give days from {earliest} to {latest}, or another year"
        )
    if end < on:
        raise UsageError(
            f"--to {end} is before {on}, today; for a cover that is sown already ask covercrop ready, or give a later "
            "date"
        )
    return np.arange(start, end + np.timedelta64(1, "D"))


def _frame(
    field: Field,
    season: Outlook,
    dates: Days,
    risk: Risk,
    draws: Draws,
    plant_by: np.datetime64 | None,
    plan: CropEntry | None = None,
) -> _Frame:
    plan = plan or field.crop
    crop = parameters.crop(plan.name)
    if plant_by is None:
        by, source = _plant_by(season, crop, plan, risk.plantable)
    else:
        by, source = season.position(plant_by), "asked"
        if not BEFORE_MIDWINTER < by < season.days.size:
            raise UsageError(
                f"--plant-by {plant_by} is not in the year after the sowing; give a day from "
                f"{season.days[BEFORE_MIDWINTER + 1]} to {season.days[-1]}"
            )
    return _Frame(
        field=field,
        crop=crop,
        plan=plan,
        season=season,
        seedbed=seedbed_temperature(season.tmean[:, : _stand_days()]),
        dates=dates,
        sowing=(dates - season.days[0]).astype(np.intp),
        plant_by=by,
        plant_by_from=source,
        risk=risk,
        draws=draws,
    )


def _stand_days() -> int:
    return BEFORE_MIDWINTER + hazards.HALF_YEAR + _TAIL


def _latest_planting(season: Outlook, crop: Crop, plan: CropEntry) -> Array:
    """Last day of each year that lets the crop ripen; infinite where no freeze ends the season."""
    freeze = hazards.first_autumn_freeze(season.tmin, BEFORE_MIDWINTER, crop.frost.value)
    latest = plantback.latest_planting(freeze, plantback.days_to_maturity(crop, plan.method, plan.days_to_maturity))
    return np.where(np.isnan(latest), np.inf, latest)


def _plant_by(season: Outlook, crop: Crop, plan: CropEntry, share: float) -> tuple[int, str]:
    """Day index by which to plant, where none is asked for, and where it comes from."""
    ripens = _reached_by(_latest_planting(season, crop, plan), share)
    midsummer = BEFORE_MIDWINTER + hazards.HALF_YEAR - 1
    return (int(ripens), "ripens") if ripens < midsummer else (midsummer, "midsummer")


def _reached_by(days: Array, share: float) -> float:
    """The latest day that is no later than those of this share of the years."""
    return float(np.sort(days)[min(int((1.0 - share) * days.size + 1e-9), days.size - 1)])


def _ripens_by(frame: _Frame) -> float:
    return float((_latest_planting(frame.season, frame.crop, frame.plan) >= frame.plant_by).mean())


def _moist(season: Outlook, sowing: NDArray[np.intp]) -> Array:
    """Share of the years in which rain wets the seedbed, by sowing date; NaN where rain is not known."""
    total = np.cumsum(np.concatenate([np.zeros((len(season.prcp), 1)), season.prcp], axis=1), axis=1)
    fallen = total[:, sowing + SEEDBED_DAYS] - total[:, sowing]
    known = ~np.isnan(fallen)
    years = known.sum(axis=0)
    return np.where(years > 0, (fallen >= SEEDBED_RAIN).sum(axis=0) / np.maximum(years, 1), np.nan)


def _cultivar(field: Field, cover: Cover) -> str:
    """The field's own cultivar for its own species; not known for any other."""
    return field.cover.cultivar if field.cover.species == cover.key else ""


# --- what comes of them ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Followed:
    """A cover followed to its ending; arrays (date, year, draw) but for ``ended``, ``dead`` and ``odds`` (date,)."""

    asked: _Asked
    stand: Stand
    alive: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    ended: Array
    dead: Array
    odds: Array


def _choices(frame: _Frame, asked: Iterable[_Asked]) -> list[Choice]:
    """Every cover on every date; the ground is worked out once for each day on which some cover dies."""
    followed = [_follow(frame, each) for each in asked]
    grounds = _grounds(frame, [(each.asked.cover, each.dead) for each in followed])
    return [_choice(frame, each, ground) for each, ground in zip(followed, grounds, strict=True)]


def _follow(frame: _Frame, asked: _Asked) -> _Followed:
    cover, field, first = asked.cover, frame.field, int(frame.sowing[0])
    part = slice(first, _stand_days())
    season = _cut(frame.season, part)
    stand = grow_stand(
        season,
        field.latitude,
        cover,
        frame.draws,
        cultivar=asked.cultivar,
        terminate=field.cover.terminate,
        sowing=(frame.sowing - first)[:, np.newaxis],
        seedbed=frame.seedbed[:, part],
    )
    alive = np.ones(stand.killed.shape, dtype=np.bool_) if asked.snow else np.isnan(stand.killed)
    # Where every member dies the dates are those of a stand that lives.
    counted = np.where(alive.any(axis=(1, 2), keepdims=True), alive, True)
    opens, closes, methods = _windows(stand, field.cover.terminate, cover, counted)
    ended, odds = _endings(opens, closes, counted, season.days.size)
    rate = accumulate(growth.warmth(season.tmean, _growth(cover)))
    wanted = crossing(rate, cover.sowing.ground_cover.value, stand.stages["emergence"][..., :1] + 1)
    return _Followed(
        asked=asked,
        stand=replace(stand, opens=opens, closes=closes),
        alive=alive,
        covered=wanted <= BEFORE_MIDWINTER - first,
        ended=ended,
        dead=np.where(methods == "tarp", dead_from(ended, "tarp"), ended) + first,
        odds=odds,
    )


def _cut(season: Outlook, part: slice) -> Outlook:
    return replace(
        season, days=season.days[part], tmin=season.tmin[:, part], tmax=season.tmax[:, part], prcp=season.prcp[:, part]
    )


def _growth(cover: Cover) -> Growth:
    if cover.growth is None:
        raise UsageError(f"nothing is known about the growth of {cover.key}; leave it out of --cover")
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


def _endings(opens: Array, closes: Array, counted: NDArray[np.bool_], days: int) -> tuple[Array, Array]:
    """The day with the best odds for each date, NaN where none has a chance to speak of, and its odds."""
    ended, best = np.full(len(opens), np.nan), np.zeros(len(opens))
    for place, weights in enumerate(counted):
        odds = termination.probability_by_day(opens[place], closes[place], weights / weights.sum(), days)
        if odds.max() >= LEAST_ODDS:
            day = termination.best_day(odds)
            ended[place], best[place] = day, odds[day]
    return ended, best


def _grounds(frame: _Frame, covers: Sequence[tuple[Cover, Array]]) -> list[dict[str, Array]]:
    """Limits on planting for each cover and date, shape (date, year, draw).

    The ground knows nothing of the sowing date, and of the cover only its
    residue and the day on which it dies.
    """
    found: list[dict[str, Array]] = [{} for _ in covers]
    groups: dict[object, list[int]] = {}
    for place, (cover, _) in enumerate(covers):
        residue = cover.residue
        # The C:N ratio counts only where it slows decay, so that nearly all covers share one ground.
        slowed = float(decomposition.carbon_nitrogen_factor(residue.carbon_nitrogen.value))
        groups.setdefault((decomposition.fractions(residue), slowed), []).append(place)
    for places in groups.values():
        days = np.unique(np.concatenate([covers[place][1] for place in places]))
        limits = _limits(frame, covers[places[0]][0], days)
        for place in places:
            rows = np.searchsorted(days, covers[place][1])
            rows = np.minimum(rows, days.size - 1)
            found[place] = {name: limit[rows] for name, limit in limits.items()}
    return found


def _limits(frame: _Frame, cover: Cover, dead: Array) -> dict[str, Array]:
    """Limits on planting after each day on which a cover dies, on the axis of the season."""
    # Soil and residue forget the autumn, and no one waits for the next: half of the days are enough.
    first = BEFORE_MIDWINTER - _LEAD
    season = _cut(frame.season, slice(first, BEFORE_MIDWINTER + hazards.HALF_YEAR + _SUMMER))
    _, limits = planting_limits(season, cover.residue, frame.crop, frame.plan, frame.draws, dead - first, _LEAD)
    return {name: limit + first for name, limit in limits.items()}


def _choice(frame: _Frame, followed: _Followed, limits: dict[str, Array]) -> Choice:
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
    tmean = season.tmean[:, first : _stand_days()]
    brings = brought(_growth(cover), tmean, stand.stages, frame.draws, followed.ended)
    shares = {
        "established": covered.sum(axis=(1, 2)) / members,
        "survives": living / members,
        "plantable": plantable,
    }
    fits = np.all([share >= getattr(frame.risk, name) - 1e-9 for name, share in shares.items()], axis=0)
    joint = together.sum(axis=(1, 2)) / members
    moist = _moist(season, frame.sowing)
    run = _longest_run(fits)
    # Where nothing fits, the best date is the one that falls least short.
    short = np.sum([np.minimum(share - getattr(frame.risk, name), 0.0) for name, share in shares.items()], axis=0)
    score = np.where(np.isnan(moist), 1.0, moist) * joint if run else short
    inside = np.zeros(fits.shape, dtype=np.bool_)
    inside[slice(*run) if run else slice(None)] = True
    return Choice(
        cover=cover,
        cultivar=followed.asked.cultivar,
        **shares,
        together=joint,
        window=followed.odds,
        ended=season.dates(followed.ended + first),
        window_open=season.dates(_middle(stand.opens, counted) + first),
        earliest_planting=season.dates(np.ceil(_middle(earliest, counted))),
        brings={name: _middle(values, counted) for name, values in brings.items()},
        fits=fits,
        first=run[0] if run else None,
        last=run[1] - 1 if run else None,
        best=_best(score, inside),
        before=_failure(frame, shares, limits, run[0] - 1) if run else None,
        after=_failure(frame, shares, limits, run[1]) if run else None,
    )


def _middle(values: Array, counted: NDArray[np.bool_]) -> Array:
    """Median over the members that count, by date; what is not reached is later than all."""
    flat = np.where(np.isnan(values), np.inf, values).reshape(len(values), -1)
    counts = counted.reshape(len(values), -1)
    ordered = np.sort(np.where(counts, flat, np.nan), axis=1)  # those that do not count go last
    half = np.ceil(MEDIAN * counts.sum(axis=1) - 1e-6).astype(np.intp) - 1
    middle = ordered[np.arange(len(values)), half]
    return np.where(np.isinf(middle), np.nan, middle)


def _longest_run(fits: NDArray[np.bool_]) -> tuple[int, int] | None:
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
    run = _longest_run(good)
    return (run[0] + run[1] - 1) // 2 if run else 0


def _failure(frame: _Frame, shares: dict[str, Array], limits: dict[str, Array], place: int) -> Failure | None:
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


def _fitness(choice: Choice, risk: Risk) -> tuple[bool, float]:
    """Those that fit first, by the nitrogen that they can be counted on for; the others by how little they fall short.

    Dying counts twice: a crop can be planted otherwise, the winter cannot be had otherwise.
    """
    place = choice.best
    if choice.fit:
        return True, float(choice.together[place] * np.nan_to_num(choice.brings["pan_kg_ha"][place]))
    short = {name: min(float(choice.share(name)[place]) - getattr(risk, name), 0.0) for name in LIMITS}
    return False, sum(short.values()) + short["survives"]


# --- what to relax --------------------------------------------------------------------------------


def _relaxations(frame: _Frame, nearest: Choice) -> list[Relaxation]:
    """What makes the nearest cover fit, each tried on its own and worked out in full."""
    place, accepted = nearest.best, frame.risk
    failing = {name for name in LIMITS if nearest.share(name)[place] < getattr(frame.risk, name) - 1e-9}
    frame = replace(frame, dates=frame.dates[::TRIAL_STEP], sowing=frame.sowing[::TRIAL_STEP])
    asked = _Asked(cover=nearest.cover, cultivar=nearest.cultivar)
    found: list[Relaxation | None] = []
    if "survives" in failing:
        # The cold is weather: what the grower can do is tried for more risk, where it takes little more, or under snow.
        reached = np.floor(float(nearest.survives.max()) * 100) / 100
        eased, under_snow = replace(frame, risk=replace(frame.risk, survives=reached)), replace(asked, snow=True)
        little = frame.risk.survives - reached <= LITTLE_MORE_RISK
        if failing == {"survives"}:
            found += [_if_it_fits(eased, asked, "accept") if little else None, _if_it_fits(frame, under_snow, "snow")]
        frame, asked = (eased, asked) if little else (frame, under_snow)
    if "established" in failing and frame.sowing[0] > 0:
        sowing = np.arange(0, frame.sowing[0], TRIAL_STEP, dtype=np.intp)
        earlier = replace(frame, dates=frame.season.days[sowing], sowing=sowing)
        found.append(_if_it_fits(earlier, asked, "earlier-sowing"))
    if "plantable" in failing:
        found += [_earlier_ending(frame, asked), _earlier_cultivar(frame, asked), _transplants(frame, asked)]
        found.append(_later_planting(frame, asked))
    alive = frame.risk.survives if frame.risk.survives < accepted.survives else np.nan
    return [each if each.snow else replace(each, alive=alive) for each in found if each is not None]


def _if_it_fits(frame: _Frame, asked: _Asked, kind: str, detail: str = "") -> Relaxation | None:
    (choice,) = _choices(frame, [asked])
    if choice.first is None or choice.last is None:
        return None
    return Relaxation(
        cover=asked.cover.common_name,
        kind=kind,
        start=frame.dates[choice.first],
        end=frame.dates[choice.last],
        snow=asked.snow,
        detail=detail,
    )


def _earlier_cultivar(frame: _Frame, asked: _Asked) -> Relaxation | None:
    now = parameters.cultivar(asked.cover, asked.cultivar).offset.value if asked.cultivar else 0.0
    earliest = min(asked.cover.cultivars, key=lambda cultivar: cultivar.offset.value, default=None)
    if earliest is None or earliest.offset.value >= now:
        return None
    return _if_it_fits(frame, replace(asked, cultivar=earliest.name), "early-cultivar", earliest.name)


def _transplants(frame: _Frame, asked: _Asked) -> Relaxation | None:
    if frame.plan.method == "transplant":
        return None
    by = frame.season.days[frame.plant_by] if frame.plant_by_from == "asked" else None
    plan = replace(frame.plan, method="transplant")
    changed = _frame(frame.field, frame.season, frame.dates, frame.risk, frame.draws, by, plan)
    return _if_it_fits(changed, asked, "transplants")


def _earlier_ending(frame: _Frame, asked: _Asked) -> Relaxation | None:
    """Turning it under before it blooms, on the last day that leaves the crop plantable."""
    followed = _follow(frame, asked)
    days = np.arange(frame.plant_by - _EARLY_DAYS, frame.plant_by, dtype=np.float64)
    in_time = plantback.earliest(_limits(frame, asked.cover, days)) <= frame.plant_by
    covered = np.broadcast_to(followed.covered, followed.alive.shape).mean(axis=(1, 2)) >= frame.risk.established - 1e-9
    lives = followed.alive.mean(axis=(1, 2)) >= frame.risk.survives - 1e-9
    enough = np.array(
        [(in_time & alive).sum(axis=(1, 2)) >= frame.risk.plantable * alive.sum() - 1e-9 for alive in followed.alive]
    )
    works = enough.any(axis=1) & covered & lives
    run = _longest_run(works)
    if run is None:
        return None
    place = (run[0] + run[1] - 1) // 2
    day = days[np.flatnonzero(enough[place])[-1]]
    first = int(frame.sowing[0])
    brings = brought(
        _growth(asked.cover),
        frame.season.tmean[:, first : _stand_days()],
        followed.stand.stages,
        frame.draws,
        np.full(frame.dates.size, day - first),
    )
    return Relaxation(
        cover=asked.cover.common_name,
        kind="early-ending",
        start=frame.dates[run[0]],
        end=frame.dates[run[1] - 1],
        snow=asked.snow,
        day=frame.season.days[int(day)],
        number=float(_middle(brings["dry_matter_kg_ha"], followed.alive)[place]),
    )


def _later_planting(frame: _Frame, asked: _Asked) -> Relaxation | None:
    """The date by which the crop can be planted often enough, and the days it may then take to ripen."""
    followed = _follow(frame, asked)
    (limits,) = _grounds(frame, [(asked.cover, followed.dead)])
    for by in range(frame.plant_by + 1, BEFORE_MIDWINTER + hazards.HALF_YEAR + _LATE_DAYS):
        later = _choice(replace(frame, plant_by=by), followed, limits)
        if later.first is not None and later.last is not None:
            break
    else:
        return None
    freeze = hazards.first_autumn_freeze(frame.season.tmin, BEFORE_MIDWINTER, frame.crop.frost.value)
    days = _reached_by(np.where(np.isnan(freeze), np.inf, freeze), frame.risk.plantable) - by
    if days < _SHORTEST_CROP:
        return None
    return Relaxation(
        cover=asked.cover.common_name,
        kind="shorter-crop" if frame.plant_by_from == "ripens" else "later-planting",
        start=frame.dates[later.first],
        end=frame.dates[later.last],
        snow=asked.snow,
        day=frame.season.days[by],
        number=days,
    )
