"""What would help a field most: one thing done differently, each followed through the whole chain."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models import termination
from covercrop.models.members import MEDIAN, Draws
from covercrop.models.plantback import earliest
from covercrop.models.soil_temperature import GROUND_COVERS
from covercrop.parameters.constants import MODELS
from covercrop.season.chain import Chain, limits_after, member_days
from covercrop.season.decision import IN_TIME_WITHIN, decide
from covercrop.season.ending import Odds, odds_on
from covercrop.season.following import Grown, follow
from covercrop.season.start import Start

if TYPE_CHECKING:
    from collections.abc import Iterator

    from covercrop.field.entries import CropEntry
    from covercrop.parameters.traits import Crop

#: What is gained has to be more than this to be named.
LEAST_GAIN = MODELS.decision.least_gain.value

#: Chance of seed, or of a cover that lives on, of those who are ready to take more of it [1].
MORE_RISK = MODELS.decision.more_risk.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Help:
    """One thing done differently, and what comes of it.

    Attributes
    ----------
    change : str
        ``transplants``, ``quicker-variety``, ``ground-cover`` or ``way``; by ``more-risk`` another of the same days.
    detail : str
        The ground cover, or the way of ending; the days to maturity of the variety; the risk that is taken, in percent.
    date : numpy.datetime64[D]
        The best day of ending the cover then.
    probability, in_time, together : float
        Chances of that day: the window is open; the crop in time; all of it [1].
    gain : float
        How much higher the chance of all of it, or of a crop in time, is than on the day that is advised now [1].
    of_crop : bool
        Whether it is the chance of the crop that gains more.
    plant_likely : numpy.datetime64[D]
        Likely first safe day of planting then.
    """

    change: str
    detail: str
    date: np.datetime64
    probability: float
    in_time: float
    together: float
    gain: float
    of_crop: bool
    plant_likely: np.datetime64


def helps(start: Start, chain: Chain, draws: Draws, *, with_risk: bool = False) -> tuple[Help, ...]:
    """What would help, what gains most first.

    Parameters
    ----------
    start : Start
    chain : Chain
        What was followed from it.
    draws : Draws
    with_risk : bool
        Whether taking more risk of seed is looked at too: it is for whoever compares, and no advice.

    Returns
    -------
    tuple of Help
        Empty where there is no day to choose, and where nothing gains more than :data:`LEAST_GAIN`.
    """
    best = chain.ending.best
    if best is None or best.together > 1 - LEAST_GAIN:
        return ()
    found = []
    riskier = _riskier(start, chain, draws) if with_risk else ()
    for change, detail, day, likely in (*_followed(start, chain, draws), *riskier):
        together, in_time = day.together - best.together, day.in_time - best.in_time
        if in_time < -IN_TIME_WITHIN or max(together, in_time) < LEAST_GAIN:
            continue  # what costs the crop is no help
        [plant_likely] = start.outlook.dates([likely])
        found.append(
            Help(
                change=change,
                detail=detail,
                date=day.date,
                probability=day.probability,
                in_time=day.in_time,
                together=day.together,
                gain=max(together, in_time),
                of_crop=in_time > together,
                plant_likely=plant_likely,
            )
        )
    return tuple(sorted(found, key=lambda each: -each.gain))


def _followed(start: Start, chain: Chain, draws: Draws) -> Iterator[tuple[str, str, Odds, float]]:
    """What comes of each thing done differently: its best day, and the likely day of planting."""
    # Nothing that is changed here changes the stand; that of a mixture is no longer what was grown if cold took a part.
    stand = None if chain.rivals or chain.stand.cereal else chain.stand
    grown: Grown = {}
    for change, detail, other in _changes(start, chain.ending.method):
        ahead = chain.ahead if change == "way" and stand is not None else None
        then = follow(other, draws, stand=stand, ahead=ahead, grown=grown)
        if then.ending.best is not None:
            yield change, detail, then.ending.best, _likely(then.ground.earliest, then)


def _riskier(start: Start, chain: Chain, draws: Draws) -> Iterator[tuple[str, str, Odds, float]]:
    """What comes of taking more risk of seed: another of the same days."""
    chances, ahead = chain.ending.chances, chain.ahead
    if chances is None or ahead is None:
        return
    decided = decide(chances, ahead.may, cover_first=ahead.cover_first, most_risk=MORE_RISK)
    if decided is None or decided.day == chain.ending.day:
        return
    limits = limits_after(start, chain, draws, chain.ending.method, [decided.day])
    [planting] = earliest(limits)
    yield "more-risk", f"{100 * MORE_RISK:.0f}", odds_on(chances, decided.day, start.outlook), _likely(planting, chain)


def _likely(planting: Array, chain: Chain) -> float:
    """The middle one of the first days of planting."""
    return float(member_days([planting], chain.weights, (MEDIAN,)).item())


def _changes(start: Start, method: str) -> Iterator[tuple[str, str, Start]]:
    """Each thing that can be done differently, and what the field is followed from then."""
    conditions = start.conditions
    planting, crop = conditions.planting, conditions.crop

    def planted(entry: CropEntry) -> Start:
        return replace(start, conditions=replace(conditions, planting=entry))

    if planting.method == "direct-seed":
        yield "transplants", "", planted(replace(planting, method="transplant"))
    quick = _quicker(crop, planting)
    if quick is not None:
        yield "quicker-variety", f"{quick:.0f}", planted(replace(planting, days_to_maturity=quick))
    for ground in GROUND_COVERS:
        if ground != planting.ground_cover:
            yield "ground-cover", ground, planted(replace(planting, ground_cover=ground))
    for way in termination.METHODS:
        if way not in (method, conditions.sown.terminate):
            changed = replace(conditions, sown=replace(conditions.sown, terminate=way))
            yield "way", way, replace(start, conditions=changed)


def _quicker(crop: Crop, planting: CropEntry) -> float | None:
    """Days to maturity of the quickest variety that the source knows of; None where it is no quicker."""
    quickest = crop.days_to_maturity.low
    now = crop.days_to_maturity.value if planting.days_to_maturity is None else planting.days_to_maturity
    return quickest if quickest is not None and quickest < now else None
