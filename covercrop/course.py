"""The course of one season: its stand, its ending and its ground, whoever asks.

One field on one day and every cell of a region come through here, so that
they cannot come to different answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from covercrop import hazards
from covercrop.ending import Ending, choose_ending
from covercrop.ensemble import EARLY, LATE, MEDIAN, Draws, quantiles, share_by
from covercrop.ground import Ground, dead_from, follow_ground
from covercrop.stand import Stand, grow_stand
from covercrop.weather.outlook import together

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Iterator, Sequence

    from covercrop.season import Field
    from covercrop.traits import Cover, Crop
    from covercrop.weather.outlook import Outlook

Array = NDArray[np.float64]
Part = TypeVar("Part", Stand, Ground)

#: Fields followed together: enough that starting each step costs little, so few that its arrays stay in the cache.
TOGETHER = 16

#: A stand is called dead once this share of the members is: cold without snow kills more than cold under it.
DEAD_SHARE = 0.8

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
class Course:
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
        Chance that the stand lives through the winter.
    killed : bool
        Whether it is called dead by today.
    """

    stand: Stand
    ending: Ending
    ground: Ground
    weights: Array
    survival: float
    killed: bool

    def indexes(self) -> dict[str, Array]:
        """Day index of every date of the chain (:data:`DATES`), in every member."""
        return {
            **{name: self.stand.stages[name] for name in DATES if name in self.stand.stages},
            "window_open": self.stand.opens,
            "window_close": self.stand.closes,
            **self.ground.limits,
            # The limit is the date that one year in ten still freezes after; what is shown is the years themselves.
            "frost": self.ground.frost_free,
            "earliest_planting": self.ground.earliest,
            "latest_planting": self.ground.latest,
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """What a course is followed from.

    Attributes
    ----------
    field : Field
        As it was known on the day of the answer.
    cover : Cover
    crop : Crop
    outlook : Outlook
    today : int
        Day index of the day of the answer.
    """

    field: Field
    cover: Cover
    crop: Crop
    outlook: Outlook
    today: int

    @property
    def company(self) -> Hashable:
        """What those have in common that differ in nothing but their place, and can be followed together.

        A field with scouting notes goes alone.
        """
        if self.field.scouting:
            return self
        entry, plan, outlook = self.field.cover, self.field.crop, self.outlook
        return (
            (id(self.cover), entry.cultivar, entry.terminate),
            (id(self.crop), plan.method, plan.ground_cover, plan.days_to_maturity),
            (outlook.days[0], outlook.tmin.shape, outlook.complete, self.today),
            self.field.latitude >= 0,
        )


def follow(start: Start, draws: Draws) -> Course:
    """Follow a field from sowing to the planting of the crop.

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar, or there is no such method or ground cover.
    """
    return _follow_together([start], draws)[0]


def follow_each(starts: Iterable[Start], draws: Draws) -> Iterator[tuple[int, Start, Course]]:
    """Follow many fields, those together that can be, which takes far less than one after the other.

    Parameters
    ----------
    starts : iterable of Start
        Taken as they are needed.
    draws : Draws

    Yields
    ------
    tuple
        The place of a field in the order of ``starts``, what it was followed from and its course, as soon as it is
        there, which is not in that order.

    Raises
    ------
    UnknownNameError
        As :func:`follow`.
    """
    waiting: dict[Hashable, list[tuple[int, Start]]] = {}

    def settled(group: list[tuple[int, Start]]) -> Iterator[tuple[int, Start, Course]]:
        courses = _follow_together([start for _, start in group], draws)
        return ((place, start, course) for (place, start), course in zip(group, courses, strict=True))

    for place, start in enumerate(starts):
        company = start.company
        group = waiting.setdefault(company, [])
        group.append((place, start))
        if len(group) == TOGETHER:
            yield from settled(waiting.pop(company))
    for group in waiting.values():
        yield from settled(group)


def _follow_together(starts: Sequence[Start], draws: Draws) -> list[Course]:
    """Follow fields of one company."""
    first = starts[0]
    field, cover = first.field, first.cover
    season = together([start.outlook for start in starts])
    whole = grow_stand(
        season,
        np.squeeze([start.field.latitude for start in starts]),
        cover,
        draws,
        cultivar=field.cover.cultivar,
        terminate=field.cover.terminate,
        scouting=field.scouting,
    )
    ended = [_end(start, stand) for start, stand in zip(starts, _apart(whole, len(starts)), strict=True)]
    grounds: dict[int, Ground] = {}
    # Nearly always one: they are all ended before the same summer.
    for midwinter in {each.midwinter for each in ended}:
        places = [place for place, each in enumerate(ended) if each.midwinter == midwinter]
        ground = follow_ground(
            season if len(places) == len(starts) else together([starts[place].outlook for place in places]),
            cover,
            first.crop,
            field.crop,
            draws,
            dead=np.squeeze([ended[place].dead for place in places]),
            midwinter=midwinter,
            scouting=field.scouting,
        )
        grounds.update(zip(places, _apart(ground, len(places)), strict=True))
    return [
        Course(
            stand=each.ending.stand,
            ending=each.ending,
            ground=grounds[place],
            weights=each.weights,
            survival=each.survival,
            killed=each.killed,
        )
        for place, each in enumerate(ended)
    ]


def _apart(whole: Part, places: int) -> list[Part]:
    """What was worked out together, place by place."""
    return [whole] if places == 1 else [whole.at(place) for place in range(places)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ended:
    """A stand and its ending: what a :class:`Course` says of it, and what the ground has to know."""

    ending: Ending
    weights: Array
    survival: float
    killed: bool
    dead: float
    midwinter: int


def _end(start: Start, stand: Stand) -> _Ended:
    field, outlook, today = start.field, start.outlook, start.today
    survival = float(stand.living.sum())
    ended = field.cover.turned_under is not None
    # Once the cover is ended, what the cold would have done to it no longer matters.
    weights = stand.weights if ended or survival == 0 else stand.living
    killed = not ended and share_by(stand.killed, stand.weights, today) >= DEAD_SHARE

    ending = choose_ending(field, start.cover, outlook, stand, weights, today, settled=ended or killed)
    turned = spring = ending.day
    if spring is None:
        opens = quantiles(ending.stand.opens, weights, (MEDIAN,))[0]
        spring = max(today, hazards.HALF_YEAR) if np.isnan(opens) else int(opens)
    midwinter = hazards.midwinter_before(outlook.days[0] + np.timedelta64(spring, "D"), field.latitude)
    return _Ended(
        ending=ending,
        weights=weights,
        survival=survival,
        killed=killed,
        dead=float(dead_from(np.nan if turned is None else turned, ending.method)),
        midwinter=outlook.position(midwinter),
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
        Day indexes; NaN where they have not.
    """
    return np.ceil(quantiles(np.stack([np.broadcast_to(index, weights.shape) for index in indexes]), weights, shares))
