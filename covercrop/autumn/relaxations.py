"""What makes a cover fit that does not: one thing done differently, worked out in full."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from covercrop.autumn.frame import _default_dates, _frame, _reached_by
from covercrop.autumn.sowing_dates import (
    BEFORE_MIDWINTER,
    LIMITS,
    Asked,
    Choice,
    Frame,
    choice_of,
    compare,
    follow,
    grounds,
    grow,
    growth_of,
    limits_after,
    longest_run,
    middle,
    stand_days,
)
from covercrop.models import plantback, season_calendar
from covercrop.parameters import catalogue
from covercrop.season.ripeness import ripeness
from covercrop.season.stand import brought

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


# --- what to relax --------------------------------------------------------------------------------


def _relaxations(frame: Frame, nearest: Choice, on: np.datetime64) -> list[Relaxation]:
    """What makes the nearest cover fit, each tried on its own and worked out in full."""
    place, accepted = nearest.best, frame.risk
    failing = {name for name in LIMITS if nearest.share(name)[place] < getattr(frame.risk, name) - 1e-9}
    frame = replace(frame, dates=frame.dates[::TRIAL_STEP], sowing=frame.sowing[::TRIAL_STEP])
    asked = Asked(
        cover=nearest.cover,
        cultivar=nearest.cultivar,
        companion=nearest.companion,
        share=nearest.share_of_legume,
    )
    found: list[Relaxation | None] = []
    plain = frame, asked
    if "survives" in failing:
        # The cold is weather: what the grower can do is tried for more risk, where it takes little more, or under snow.
        reached = np.floor(float(nearest.survives.max()) * 100) / 100
        eased, under_snow = replace(frame, risk=replace(frame.risk, survives=reached)), replace(asked, snow=True)
        little = frame.risk.survives - reached <= LITTLE_MORE_RISK
        if failing == {"survives"}:
            found += [_if_it_fits(eased, asked, "accept") if little else None, _if_it_fits(frame, under_snow, "snow")]
        frame, asked = (eased, asked) if little else (frame, under_snow)
    if "established" in failing and frame.sowing[0] > 0:
        # An older stand may stand the cold that the young one does not.
        found.append(_earlier_sowing(*plain, on) or _earlier_sowing(frame, asked, on))
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
    now = catalogue.cultivar(asked.cover, asked.cultivar).offset.value if asked.cultivar else 0.0
    earliest = min(asked.cover.cultivars, key=lambda cultivar: cultivar.offset.value, default=None)
    if earliest is None or earliest.offset.value >= now:
        return None
    return _if_it_fits(frame, replace(asked, cultivar=earliest.name), "early-cultivar", earliest.name)


def _transplants(frame: Frame, asked: Asked) -> Relaxation | None:
    if frame.planting.method == "transplant":
        return None
    by = frame.season.days[frame.plant_by] if frame.plant_by_from == "asked" else None
    planting = replace(frame.planting, method="transplant")
    changed = _frame(frame.field, frame.season, frame.dates, frame.risk, frame.draws, by, planting)
    return _if_it_fits(changed, asked, "transplants")


def _earlier_ending(frame: Frame, asked: Asked) -> Relaxation | None:
    """Turning it under before it blooms, on the last day that leaves the crop plantable."""
    followed = follow(frame, asked)
    days = np.arange(frame.plant_by - _EARLY_DAYS, frame.plant_by, dtype=np.float64)
    in_time = plantback.earliest(limits_after(frame, asked, followed.stand, days, "turn-under")) <= frame.plant_by
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
        cereal=followed.stand.cereal,
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
    stand = grow(frame, asked)

    @cache
    def planted_by(by: int) -> Choice:
        later = replace(frame, plant_by=by)
        followed = follow(later, asked, grown=stand)  # with more time for the crop it is ended on another day
        (limits,) = grounds(later, [followed])
        return choice_of(later, followed, limits)

    # What can be planted by a day can nearly always be by a later one.
    days = range(frame.plant_by + 1, BEFORE_MIDWINTER + season_calendar.HALF_YEAR + _LATE_DAYS)
    place = bisect_left(days, True, key=lambda by: bool(planted_by(by).fits.any()))
    if place == len(days):
        return None
    by = days[place]
    later = planted_by(by)
    assert later.first is not None  # some fit
    assert later.last is not None
    ripens = ripeness(frame.season, frame.crop, frame.planting, frame.draws, BEFORE_MIDWINTER)
    longest = np.floor(_reached_by(ripens.longest_days(by), frame.risk.plantable))
    if longest < _SHORTEST_CROP:
        return None
    return Relaxation(
        cover=asked.cover.common_name,
        kind="shorter-crop" if longest < ripens.days else "later-planting",
        start=frame.dates[later.first],
        end=frame.dates[later.last],
        snow=asked.snow,
        day=frame.season.days[by],
        number=longest,
    )
