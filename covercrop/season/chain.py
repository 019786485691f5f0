"""The chain of one season: its stand, its ending and its ground, in every member.

One field on one day and every cell of a region come through here, so that
they cannot come to different answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.base.days import weekday
from covercrop.field.entries import ScoutingNote
from covercrop.models import ripening, season_calendar
from covercrop.models.decomposition import Maturity
from covercrop.models.members import EARLY, LATE, MEDIAN, Draws, quantiles, share, share_by
from covercrop.parameters.constants import MODELS
from covercrop.season.beside import share_of
from covercrop.season.doubts import Doubt
from covercrop.season.ending import Ahead, Dispute, Ending, choose_ending, is_closing
from covercrop.season.ground import Ground, dead_from, follow_ground, limits_by_ending
from covercrop.season.in_time import Deadline, ending_in_time_until
from covercrop.season.ripeness import ripeness
from covercrop.season.stand import Stand, grow_stand
from covercrop.season.wants import Chances, chances, wants
from covercrop.weather.outlook import together

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from covercrop.field.entries import AimEntry
    from covercrop.parameters.traits import Cover
    from covercrop.season.start import Start
    from covercrop.weather.outlook import Outlook

Part = TypeVar("Part", Stand, Ground)

#: So many days past midsummer a cover may still be ended for this year's crop.
LATEST_ENDING = 30

#: A stand is called dead once this share of the members is.
DEAD_SHARE = MODELS.answer.dead.value

DATES = (
    "emergence",
    "bud",
    "first_flower",
    "bloom_25",
    "bloom_50",
    "end_of_bloom",
    "viable_seed",
    "window_open",
    "window_close",
    "residue",
    "disease",
    "maggot",
    "soil_warm",
    "frost",
    "earliest_planting",
    "latest_planting",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """How a season goes, in every member.

    Attributes
    ----------
    stand : Stand
        With the window of the way in which the cover is ended.
    ending : Ending
    ground : Ground
    weights : numpy.ndarray, shape (year, draw)
        Weights of the members that the dates are taken from: those that live.
    survival : float
        Chance that the stand lives through the winter; of what is left of it, where cold has killed the legume of a
        mixture.
    legume_survival : float
        Chance that the legume does.
    killed : bool
        Whether it is called dead by today.
    midwinter : int
        Day index of the midwinter before the crop's spring.
    ahead : Ahead or None
        What there is to choose from; None where there is nothing.
    doubts : tuple of Doubt
        Notes that do not fit, while there is something to be decided by them.
    rivals : tuple of Chain
        The same season without those of them that no other note confirms: no chance may be higher than in any of these.
    settled : Chain or None
        The same season without any of them; None where there are none.
    set_aside : tuple of Doubt
        Those of them that the answer does not rest on, since no day of ending the cover goes with them and without.
    """

    stand: Stand
    ending: Ending
    ground: Ground
    weights: Array
    survival: float
    legume_survival: float
    killed: bool
    midwinter: int
    ahead: Ahead | None
    doubts: tuple[Doubt, ...] = ()
    rivals: tuple[Chain, ...] = ()
    settled: Chain | None = None
    set_aside: tuple[Doubt, ...] = ()

    def least(self, chance: Callable[[Chain], float]) -> float:
        """A chance, no higher than it is without any of the notes in doubt."""
        return min(chance(self), *(rival.least(chance) for rival in self.rivals)) if self.rivals else chance(self)

    def undoubted(self, chance: Callable[[Chain], float]) -> float:
        """A chance as it is without the notes in doubt."""
        return min(rival.undoubted(chance) for rival in self.rivals) if self.rivals else chance(self)

    def closed_by(self, day: int) -> float:
        """Chance that the window has closed by a day, whatever notes in doubt say."""
        return self.undoubted(lambda chain: share_by(chain.stand.closes, chain.weights, day))

    def is_closing(self, day: int) -> bool:
        """Whether the window is about to close on a day, with notes in doubt and without them."""
        return bool(self.least(lambda each: is_closing(each.stand.opens, each.stand.closes, each.weights, day)))

    def chances_by(self, method: str, cover: Cover, days: int) -> Chances:
        """The chances of each day of ending the cover in a way, no higher than they are without the notes in doubt.

        Parameters
        ----------
        method : str
            One of :data:`covercrop.models.termination.METHODS`.
        cover : Cover
        days : int
            Length of the day axis.

        Raises
        ------
        UnknownNameError
            If there is no such way of ending a cover.
        """
        assert self.ahead is not None  # there is something to choose
        if self.ending.method == method and self.ending.chances is not None:
            return self.ending.chances
        wanted = wants(self.stand.stages, method, cover, self.ahead.in_time_until(method))
        return chances(wanted, self.weights, days).least(
            rival.chances_by(method, cover, days) for rival in self.rivals if rival.ahead is not None
        )

    def indexes(self) -> dict[str, Array]:
        """Day index of every date of the chain (:data:`DATES`), in every member."""
        return {
            **{name: self.stand.stages[name] for name in DATES if name in self.stand.stages},
            "window_open": self.stand.opens,
            "window_close": self.stand.closes,
            **self.ground.limits,
            "earliest_planting": self.ground.earliest,
            "latest_planting": self.ground.latest,
        }


def _doubts(start: Start, ended: _Ended, ground: Ground) -> tuple[Doubt, ...]:
    """What does not fit of what there still is something to be decided by."""
    settled = start.ended is not None or ended.killed
    return (
        *(() if settled else ended.ending.stand.doubts),
        *(() if start.planted is not None else of_soil(ground)),
    )


def of_soil(ground: Ground) -> list[Doubt]:
    """Readings of the soil thermometer that do not fit."""
    check = ground.soil_check
    return [Doubt(note=note, kelvin=miss, confirmed=note not in check.left_out) for note, miss in check.surprising]


def follow_together(
    starts: Sequence[Start],
    draws: Draws,
    *,
    dispute: Dispute | None = None,
    stand: Stand | None = None,
    ahead: Ahead | None = None,
) -> list[Chain]:
    """Follow fields of the same conditions from sowing to the planting of the crop; those with notes go alone.

    Parameters
    ----------
    starts : sequence of Start
    draws : Draws
    dispute : Dispute, optional
        What the answer is held to where notes are in doubt.
    stand : Stand, optional
        Theirs, as :func:`grow` gives it, if it was grown before.
    ahead : Ahead, optional
        What there is to choose from, if it is known.

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar, or there is no such method or ground cover.
    """
    shared = starts[0].conditions
    season = together([start.outlook for start in starts])
    stands = _apart(stand or grow(starts, draws, season), len(starts))
    ended = [_end(start, stand, draws, dispute, ahead) for start, stand in zip(starts, stands, strict=True)]
    grounds: dict[int, Ground] = {}
    # Nearly always one: they are all ended before the same summer, and in the same way.
    for midwinter, method in {(each.midwinter, each.ending.method) for each in ended}:
        places = [
            place for place, each in enumerate(ended) if (each.midwinter, each.ending.method) == (midwinter, method)
        ]
        ground = follow_ground(
            season if len(places) == len(starts) else together([starts[place].outlook for place in places]),
            shared.cover,
            shared.crop,
            shared.planting,
            draws,
            dead=np.squeeze([ended[place].dead for place in places]),
            midwinter=midwinter,
            terminate=method,
            maturity=Maturity.together([ended[place].maturity for place in places]),
            scouting=shared.scouting,
            residue_pace=np.squeeze([ended[place].residue_pace for place in places]),
            cereal=shared.companion,
        )
        grounds.update(zip(places, _apart(ground, len(places)), strict=True))
    return [
        Chain(
            stand=each.ending.stand,
            ending=each.ending,
            ground=grounds[place],
            weights=each.weights,
            survival=each.survival,
            legume_survival=each.legume_survival,
            killed=each.killed,
            midwinter=each.midwinter,
            ahead=each.ahead,
            doubts=_doubts(starts[place], each, grounds[place]),
        )
        for place, each in enumerate(ended)
    ]


def grow(starts: Sequence[Start], draws: Draws, season: Outlook, set_aside: Collection[ScoutingNote] = ()) -> Stand:
    """The stands of fields of the same conditions, in their seasons together; some of their notes may be left aside."""
    shared = starts[0].conditions
    return grow_stand(
        season,
        np.squeeze([start.latitude for start in starts]),
        shared.cover,
        draws,
        cultivar=shared.sown.cultivar,
        terminate=shared.sown.terminate,
        scouting=shared.scouting,
        set_aside=set_aside,
        companion=shared.companion,
        share=None if shared.companion is None else share_of(shared.sown, shared.scouting),
    )


def _apart(whole: Part, places: int) -> list[Part]:
    """What was worked out together, place by place."""
    return [whole] if places == 1 else [whole.at(place) for place in range(places)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ended:
    """A stand and its ending: what a :class:`Chain` says of it, and what the ground has to know."""

    ending: Ending
    weights: Array
    survival: float
    legume_survival: float
    killed: bool
    dead: float
    residue_pace: float
    maturity: Maturity
    midwinter: int
    ahead: Ahead | None


def _end(start: Start, stand: Stand, draws: Draws, dispute: Dispute | None, known: Ahead | None) -> _Ended:
    conditions, outlook, today = start.conditions, start.outlook, start.conditions.today
    ended = start.ended is not None
    legume_survival = share(np.isnan(stand.killed), stand.weights)
    if stand.cereal is not None and _only_cereal(start, stand):
        stand = stand.without_legume(conditions.sown.terminate, conditions.cover)
    elif stand.cereal is not None and stand.cereal.in_grain(today - 1, stand.weights):
        stand = stand.past_grain(conditions.sown.terminate, conditions.cover)
    survival = share(np.isnan(stand.killed), stand.weights)
    # Once the cover is ended, what the cold would have done to it no longer matters.
    weights = stand.weights if ended or survival == 0 else stand.living
    killed = not ended and share_by(stand.killed, stand.weights, today) >= DEAD_SHARE
    midwinter = _midwinter(start, stand, weights)
    ahead = None if ended or killed or not outlook.complete else known or _ahead(start, stand, draws, midwinter)
    ending = choose_ending(
        conditions.sown.terminate,
        start.ended,
        conditions.cover,
        outlook,
        stand,
        weights,
        today,
        ahead=ahead,
        dispute=dispute,
    )
    day = np.nan if ending.day is None else ending.day
    return _Ended(
        residue_pace=float(ending.stand.residue_pace(conditions.cover, day)),
        ending=ending,
        weights=weights,
        survival=survival,
        legume_survival=legume_survival,
        killed=killed,
        dead=float(dead_from(day, ending.method)),
        maturity=stand.maturity(day, conditions.cover),
        midwinter=midwinter,
        ahead=ahead,
    )


def _only_cereal(start: Start, stand: Stand) -> bool:
    """Whether by today, or by its ending, the cold has most likely killed the legume and not the cereal beside it."""
    assert stand.cereal is not None
    day = start.conditions.today
    if start.ended is not None:
        day = min(day, start.outlook.position(np.datetime64(start.ended, "D")))
    dead = share_by(stand.killed, stand.weights, day)
    return dead >= DEAD_SHARE > stand.cereal.dead_by(day, stand.weights)


def _midwinter(start: Start, stand: Stand, weights: Array) -> int:
    """Day index of the midwinter before the spring in which the cover is ended."""
    outlook, today = start.outlook, start.conditions.today
    if start.ended is not None:
        spring = outlook.position(np.datetime64(start.ended, "D"))
    else:
        [opens] = quantiles(stand.opens, weights, (MEDIAN,))
        spring = max(today, season_calendar.HALF_YEAR if np.isnan(opens) else int(opens))
    midwinter = season_calendar.midwinter_before(outlook.days[0] + np.timedelta64(spring, "D"), start.latitude)
    return outlook.position(midwinter)


def _ahead(start: Start, stand: Stand, draws: Draws, midwinter: int) -> Ahead:
    """What there is to choose from: the days from today to the last seed, or past midsummer, and what each costs."""
    conditions, outlook, today = start.conditions, start.outlook, start.conditions.today
    seed = stand.stages["viable_seed"]
    late = midwinter + season_calendar.HALF_YEAR + LATEST_ENDING
    if not np.isnan(seed).any():
        late = min(late, int(seed.max()))  # no day after is without seed in any member
    horizon = min(max(late, today), outlook.days.size - 1)
    latest = ripeness(outlook, conditions.crop, conditions.planting, draws, midwinter).latest()
    plant_by = np.where(np.isnan(latest), np.inf, latest)
    if conditions.aim.plant_by is not None:
        plant_by = np.minimum(plant_by, outlook.position(np.datetime64(conditions.aim.plant_by, "D")))
    deadline = Deadline(today=today, horizon=horizon, midwinter=midwinter, plant_by=plant_by)

    @cache
    def in_time_until(method: str) -> Array:
        return ending_in_time_until(
            outlook,
            conditions.cover,
            conditions.crop,
            conditions.planting,
            draws,
            deadline,
            method=method,
            maturity=partial(stand.maturity, cover=conditions.cover),
            scouting=conditions.scouting,
            cereal=stand.cereal,
        )

    return Ahead(
        may=_may(conditions.aim, outlook.days, today, horizon),
        cover_first=conditions.aim.favour == "cover",
        in_time_until=in_time_until,
    )


def _may(aim: AimEntry, days: Days, first: int, last: int) -> NDArray[np.bool_]:
    """Which of the days lie ahead, and are days on which the grower can come."""
    places = np.arange(days.size)
    return (places >= first) & (places <= last) & np.isin(weekday(days), aim.weekdays)


def limits_after(start: Start, chain: Chain, draws: Draws, method: str, days: Sequence[int]) -> dict[str, Array]:
    """Every limit on planting, were the cover of a field ended in a way on each of some days ahead.

    Parameters
    ----------
    start : Start
    chain : Chain
        What was followed from it.
    draws : Draws
    method : str
    days : sequence of int
        Day indexes.

    Returns
    -------
    dict of str to numpy.ndarray, shape (day, year, draw)
        As from :func:`covercrop.season.ground.limits_by_ending`.
    """
    conditions, ended = start.conditions, np.asarray(days)
    return limits_by_ending(
        start.outlook,
        conditions.cover,
        conditions.crop,
        conditions.planting,
        draws,
        dead=dead_from(ended, method),
        midwinter=chain.midwinter,
        terminate=method,
        maturity=chain.stand.maturity(ended, conditions.cover),
        scouting=conditions.scouting,
        residue_pace=chain.stand.residue_pace(conditions.cover, ended),
        cereal=conditions.companion,
    )


def member_days(indexes: Sequence[Array], weights: Array, shares: tuple[float, ...] = (EARLY, MEDIAN, LATE)) -> Array:
    """Days by which these shares of the members have reached each of some stages.

    Parameters
    ----------
    indexes : sequence of numpy.ndarray
        Day index of each stage in every member; each broadcasts against ``weights``.
    weights : numpy.ndarray, shape (year, draw)
    shares : tuple of float

    Returns
    -------
    numpy.ndarray, shape (stage, share)
        Day indexes; NaN where they have not, and where the share falls on members in which no day will do.
    """
    found = np.ceil(quantiles(np.stack([np.broadcast_to(index, weights.shape) for index in indexes]), weights, shares))
    return np.where(found == ripening.NO_DAY, np.nan, found)
