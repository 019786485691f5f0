"""The autumn ahead: what comes of each sowing date, for each cover, over the past years of a place.

Every date runs through the chain of a field's own answer (see
:mod:`covercrop.sowing_dates`).  The years are the same for all dates, so that
what differs between two dates is the date.
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

from covercrop import hazards, parameters, plantback
from covercrop.ensemble import MEDIAN, Draws, quantiles, standard_draws
from covercrop.errors import UsageError
from covercrop.season import cover_of
from covercrop.sowing_dates import (
    BEFORE_MIDWINTER,
    LIMITS,
    SEEDBED_RAIN,
    Array,
    Asked,
    Choice,
    Days,
    Failure,
    Frame,
    Risk,
    choice_of,
    compare,
    follow,
    grounds,
    growth_of,
    limits_after,
    longest_run,
    middle,
    moist_share,
    stand_days,
)
from covercrop.stand import brought, seedbed_temperature
from covercrop.weather.outlook import Outlook, past_seasons

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.records import DailyWeather
    from covercrop.season import CropEntry, Field
    from covercrop.traits import Cover, Crop

__all__ = ["LIMITS", "Autumn", "Choice", "Failure", "Relaxation", "Risk", "plan_autumn"]

#: Draws of the uncertain numbers.  Four times as many move no share by more
#: than three in a hundred and no date by more than two days (a test holds it so).
DRAWS = 16

#: Days from midwinter to the end of the season.
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

#: Where nothing fits, so many of the nearest covers are tried in other ways, on every so many days.
NEAREST, TRIAL_STEP = 2, 3

#: A share alive that is no further than this below the one asked for is named as a risk to take.
LITTLE_MORE_RISK = 0.15

#: Days before the wanted planting on which an earlier ending is tried.
_EARLY_DAYS = 70

#: Later planting is tried for so many days after midsummer, and for crops that take no fewer days than these [d].
_LATE_DAYS = 45
_SHORTEST_CROP = 45.0

NEVER = np.datetime64("NaT", "D")

#: What no source gives, for the reader of the odds.
ASSUMPTIONS = (
    "The ground has to be covered by midwinter; growth up to then counts from emergence.",
    f"Seed is taken to come up on the rain alone where {SEEDBED_RAIN:.0f} mm (3/4 inch) fall in the three weeks after "
    "sowing, what wets a dry loam to 10 cm (4 inches); once it is up, drought is not reckoned with.",
    "The cover is ended on the one day that most often lies in the window, as if it were fixed in autumn; in a year "
    "of your own you will know better.",
    "Best is the middle of the dates with the best chance of all three, rain for the seed included.",
    "Sowing six to eight weeks before the first hard frost is common practice, no source.",
)


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
        Planted later, the crop as it is may still ripen, or takes a quicker variety.
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
    own = cover_of(field.cover)
    known = list({cover.key: own if cover.key == own.key else cover for cover in known}.values())
    season = _season(weather, on, field.latitude, start, end)
    dates = _dates(season, on, start, end)
    frame = _frame(field, season, dates, accepted, draws or standard_draws(DRAWS), plant_by)
    asked = [Asked(cover=cover, cultivar=_cultivar(field, cover)) for cover in known]
    choices = sorted(compare(frame, asked), key=lambda choice: _fitness(choice, accepted), reverse=True)
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
        moist=moist_share(season, frame.sowing),
        choices=tuple(choices),
        relaxations=tuple(
            relaxed for choice in choices[: NEAREST if nowhere else 0] for relaxed in _relaxations(frame, choice, on)
        ),
        years=season.years,
        notes=weather.notes,
    )


# --- the dates ------------------------------------------------------------------------------------


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
    if midwinter + np.timedelta64(LATEST_SOWING, "D") < on:
        raise _past(on, start, end)

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
    asked = end
    if start is None:
        start = max(first, on)
        if end is not None and start > end:
            start = max(end - (last - first), season.days[0], min(on, end))
    if end is None:
        end = last if last >= start else start + (last - first)
    if start > end:
        raise UsageError(f"--from {start} is after --to {end}; give the earlier date first")
    if end < on:
        raise _past(on, start, asked)
    earliest, latest = season.days[0], season.days[BEFORE_MIDWINTER + LATEST_SOWING]
    if start < earliest or end > latest:
        raise UsageError(
            f"sowing from {start} to {end} is not one autumn; give days from {earliest} to {latest}, or another year"
        )
    return np.arange(start, end + np.timedelta64(1, "D"))


def _past(on: np.datetime64, start: np.datetime64 | None, end: np.datetime64 | None) -> UsageError:
    """What to say of dates that are over."""
    asked = f"--to {end} is before {on}, today" if end is not None else f"--from {start}: that autumn is over on {on}"
    return UsageError(f"{asked}; for a cover that is sown already ask covercrop ready, or give a later date")


def _frame(
    field: Field,
    season: Outlook,
    dates: Days,
    risk: Risk,
    draws: Draws,
    plant_by: np.datetime64 | None,
    plan: CropEntry | None = None,
) -> Frame:
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
    return Frame(
        field=field,
        crop=crop,
        plan=plan,
        season=season,
        seedbed=seedbed_temperature(season.tmean[:, : stand_days()]),
        dates=dates,
        sowing=(dates - season.days[0]).astype(np.intp),
        plant_by=by,
        plant_by_from=source,
        risk=risk,
        draws=draws,
    )


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


def _ripens_by(frame: Frame) -> float:
    return float((_latest_planting(frame.season, frame.crop, frame.plan) >= frame.plant_by).mean())


def _cultivar(field: Field, cover: Cover) -> str:
    """The field's own cultivar for its own species; not known for any other."""
    return field.cover.cultivar if field.cover.species == cover.key else ""


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


def _relaxations(frame: Frame, nearest: Choice, on: np.datetime64) -> list[Relaxation]:
    """What makes the nearest cover fit, each tried on its own and worked out in full."""
    place, accepted = nearest.best, frame.risk
    failing = {name for name in LIMITS if nearest.share(name)[place] < getattr(frame.risk, name) - 1e-9}
    frame = replace(frame, dates=frame.dates[::TRIAL_STEP], sowing=frame.sowing[::TRIAL_STEP])
    asked = Asked(cover=nearest.cover, cultivar=nearest.cultivar)
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
        found.append(_earlier_sowing(frame, asked, on))
    if "plantable" in failing:
        found += [_earlier_ending(frame, asked), _earlier_cultivar(frame, asked), _transplants(frame, asked)]
        found.append(_later_planting(frame, asked))
    alive = frame.risk.survives if frame.risk.survives < accepted.survives else np.nan
    return [each if each.snow else replace(each, alive=alive) for each in found if each is not None]


def _if_it_fits(frame: Frame, asked: Asked, kind: str, detail: str = "") -> Relaxation | None:
    (choice,) = compare(frame, [asked])
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


def _earlier_sowing(frame: Frame, asked: Asked, on: np.datetime64) -> Relaxation | None:
    """Sown before the dates asked about: from today on where that is early enough, or else before today."""
    first = _default_dates(frame.season)[0]
    every = np.arange(first if first < frame.sowing[0] else 0, frame.sowing[0], TRIAL_STEP, dtype=np.intp)
    for sowing in (every[frame.season.days[every] >= on], every):
        earlier = replace(frame, dates=frame.season.days[sowing], sowing=sowing)
        if sowing.size and (found := _if_it_fits(earlier, asked, "earlier-sowing")):
            return found
    return None


def _earlier_cultivar(frame: Frame, asked: Asked) -> Relaxation | None:
    now = parameters.cultivar(asked.cover, asked.cultivar).offset.value if asked.cultivar else 0.0
    earliest = min(asked.cover.cultivars, key=lambda cultivar: cultivar.offset.value, default=None)
    if earliest is None or earliest.offset.value >= now:
        return None
    return _if_it_fits(frame, replace(asked, cultivar=earliest.name), "early-cultivar", earliest.name)


def _transplants(frame: Frame, asked: Asked) -> Relaxation | None:
    if frame.plan.method == "transplant":
        return None
    by = frame.season.days[frame.plant_by] if frame.plant_by_from == "asked" else None
    plan = replace(frame.plan, method="transplant")
    changed = _frame(frame.field, frame.season, frame.dates, frame.risk, frame.draws, by, plan)
    return _if_it_fits(changed, asked, "transplants")


def _earlier_ending(frame: Frame, asked: Asked) -> Relaxation | None:
    """Turning it under before it blooms, on the last day that leaves the crop plantable."""
    followed = follow(frame, asked)
    days = np.arange(frame.plant_by - _EARLY_DAYS, frame.plant_by, dtype=np.float64)
    in_time = plantback.earliest(limits_after(frame, asked.cover, days)) <= frame.plant_by
    covered = np.broadcast_to(followed.covered, followed.alive.shape).mean(axis=(1, 2)) >= frame.risk.established - 1e-9
    lives = followed.alive.mean(axis=(1, 2)) >= frame.risk.survives - 1e-9
    enough = np.array(
        [(in_time & alive).sum(axis=(1, 2)) >= frame.risk.plantable * alive.sum() - 1e-9 for alive in followed.alive]
    )
    works = enough.any(axis=1) & covered & lives
    run = longest_run(works)
    if run is None:
        return None
    place = (run[0] + run[1] - 1) // 2
    day = days[np.flatnonzero(enough[place])[-1]]
    first = int(frame.sowing[0])
    brings = brought(
        growth_of(asked.cover),
        frame.season.tmean[:, first : stand_days()],
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
        number=float(middle(brings["dry_matter_kg_ha"], followed.alive)[place]),
    )


def _later_planting(frame: Frame, asked: Asked) -> Relaxation | None:
    """The date by which the crop can be planted often enough, and the days it may then take to ripen."""
    followed = follow(frame, asked)
    (limits,) = grounds(frame, [(asked.cover, followed.dead)])
    for by in range(frame.plant_by + 1, BEFORE_MIDWINTER + hazards.HALF_YEAR + _LATE_DAYS):
        later = choice_of(replace(frame, plant_by=by), followed, limits)
        if later.first is not None and later.last is not None:
            break
    else:
        return None
    freeze = hazards.first_autumn_freeze(frame.season.tmin, BEFORE_MIDWINTER, frame.crop.frost.value)
    days = _reached_by(np.where(np.isnan(freeze), np.inf, freeze), frame.risk.plantable) - by
    if days < _SHORTEST_CROP:
        return None
    method, packet = frame.plan.method, frame.plan.days_to_maturity
    return Relaxation(
        cover=asked.cover.common_name,
        kind="shorter-crop" if days < plantback.days_to_maturity(frame.crop, method, packet) else "later-planting",
        start=frame.dates[later.first],
        end=frame.dates[later.last],
        snow=asked.snow,
        day=frame.season.days[by],
        number=days,
    )
