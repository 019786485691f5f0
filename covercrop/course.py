"""The course of one season: its stand, its ending and its ground, whoever asks.

One field on one day and every cell of a region come through here, so that
they cannot come to different answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop import hazards
from covercrop.ending import Ending, choose_ending
from covercrop.ensemble import EARLY, LATE, MEDIAN, Draws, quantiles, share_by
from covercrop.ground import Ground, follow_ground
from covercrop.stand import Stand, grow_stand

if TYPE_CHECKING:
    from covercrop.season import Field
    from covercrop.traits import Cover, Crop
    from covercrop.weather.outlook import Outlook

Array = NDArray[np.float64]

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
    stand = grow_stand(
        outlook,
        field.latitude,
        cover,
        draws,
        cultivar=field.cover.cultivar,
        terminate=field.cover.terminate,
        scouting=field.scouting,
    )
    survival = float(stand.living.sum())
    ended = field.cover.turned_under is not None
    # Once the cover is ended, what the cold would have done to it no longer matters.
    weights = stand.weights if ended or survival == 0 else stand.living
    killed = not ended and share_by(stand.killed, stand.weights, today) >= DEAD_SHARE

    ending = choose_ending(field, cover, outlook, stand, weights, today, settled=ended or killed)
    stand, turned = ending.stand, ending.day
    spring = turned if turned is not None else _first(quantiles(stand.opens, weights)[1], max(today, hazards.HALF_YEAR))
    midwinter = hazards.midwinter_before(outlook.days[0] + np.timedelta64(spring, "D"), field.latitude)
    ground = follow_ground(
        outlook,
        cover,
        crop,
        field.crop,
        draws,
        terminate=ending.method,
        ended=np.nan if turned is None else float(turned),
        midwinter=outlook.position(midwinter),
        scouting=field.scouting,
    )
    return Course(stand=stand, ending=ending, ground=ground, weights=weights, survival=survival, killed=killed)


def _first(day: float, otherwise: int) -> int:
    return otherwise if np.isnan(day) else int(day)


def member_dates(
    index: Array, weights: Array, outlook: Outlook, shares: tuple[float, ...] = (EARLY, MEDIAN, LATE)
) -> NDArray[np.datetime64]:
    """Dates by which these shares of the members have reached a stage."""
    return outlook.dates(member_days(index, weights, shares))


def member_days(index: Array, weights: Array, shares: tuple[float, ...]) -> Array:
    """Day indexes by which these shares of the members have reached a stage; NaN where they have not."""
    return np.ceil(quantiles(np.broadcast_to(index, weights.shape), weights, shares))
