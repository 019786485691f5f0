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
    from collections.abc import Sequence

    from covercrop.season import Field
    from covercrop.traits import Cover, Crop
    from covercrop.weather.outlook import Outlook

Array = NDArray[np.float64]
Part = TypeVar("Part", Stand, Ground)

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


def follow(field: Field, cover: Cover, crop: Crop, outlook: Outlook, today: int, draws: Draws) -> Course:
    """Follow a field from sowing to the planting of the crop.

    Parameters
    ----------
    field : Field
        As it was known on the day of the answer.
    cover : Cover
    crop : Crop
    outlook : Outlook
    today : int
        Day index of the day of the answer.
    draws : Draws

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar, or there is no such method or ground cover.
    """
    return follow_together([field], cover, crop, [outlook], today, draws)[0]


def follow_together(
    fields: Sequence[Field], cover: Cover, crop: Crop, outlooks: Sequence[Outlook], today: int, draws: Draws
) -> list[Course]:
    """Follow fields that differ in nothing but their place, which takes much less than one after the other.

    Takes and raises what :func:`follow` does.  Several fields were sown on one day, on one side of the equator, have
    as many past years each, and no scouting notes.
    """
    field = fields[0]
    whole = grow_stand(
        together(outlooks),
        np.squeeze([each.latitude for each in fields]),
        cover,
        draws,
        cultivar=field.cover.cultivar,
        terminate=field.cover.terminate,
        scouting=field.scouting,
    )
    stands = _apart(whole, len(fields))
    ended = [_end(*each, cover, today) for each in zip(fields, outlooks, stands, strict=True)]
    grounds: dict[int, Ground] = {}
    # Nearly always one: they are all ended before the same summer.
    for midwinter in {each.midwinter for each in ended}:
        places = [place for place, each in enumerate(ended) if each.midwinter == midwinter]
        ground = follow_ground(
            together([outlooks[place] for place in places]),
            cover,
            crop,
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


def _end(field: Field, outlook: Outlook, stand: Stand, cover: Cover, today: int) -> _Ended:
    survival = float(stand.living.sum())
    ended = field.cover.turned_under is not None
    # Once the cover is ended, what the cold would have done to it no longer matters.
    weights = stand.weights if ended or survival == 0 else stand.living
    killed = not ended and share_by(stand.killed, stand.weights, today) >= DEAD_SHARE

    ending = choose_ending(field, cover, outlook, stand, weights, today, settled=ended or killed)
    turned = ending.day
    spring = (
        turned
        if turned is not None
        else _first(quantiles(ending.stand.opens, weights)[1], max(today, hazards.HALF_YEAR))
    )
    midwinter = hazards.midwinter_before(outlook.days[0] + np.timedelta64(spring, "D"), field.latitude)
    return _Ended(
        ending=ending,
        weights=weights,
        survival=survival,
        killed=killed,
        dead=float(dead_from(np.nan if turned is None else turned, ending.method)),
        midwinter=outlook.position(midwinter),
    )


def _first(day: float, otherwise: int) -> int:
    return otherwise if np.isnan(day) else int(day)


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
