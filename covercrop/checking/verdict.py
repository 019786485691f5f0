"""What the scores of a hindcast come to: whether there are any, whether the intervals hold, and what beats them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.checking.hindcast import FEWEST_SEASONS

if TYPE_CHECKING:
    from covercrop.checking.hindcast import Hindcast, Score

#: An interval of eight in ten that held such a share of the days is as it should be, least and most.
FAIR = (0.75, 0.88)

#: How wide the intervals are: they held fewer days than they should, as many, or more.
WIDTHS = ("too-narrow", "fair", "too-wide")

#: Why there is no score: the event never came, came too seldom, was past on the issue date, or was in most seasons.
WHY_UNSCORED = ("never", "seldom", "past", "mostly-past")

#: The event by which a forecast is shown.
SHOWN = "window_open"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the scores come to.

    Attributes
    ----------
    unscored : str or None
        Why nothing could be scored: ``never``, ``seldom`` or ``past``; None where something was, and the rest is only
        there then.
    example : Score or None
        That of the opening of the window, from the last issue date but one at which it was still ahead; None where it
        never was in enough seasons.
    held : float
        Share of the days that fell inside the 80 % intervals, over all issue dates and events [1]; NaN without scores.
    width : str or None
        One of :data:`WIDTHS`; None without scores.
    beaten : dict of str to tuple of str
        For each issue date that was scored, which plain forecasts (``station_mean``, ``pace``) did as well or better;
        empty for one on which neither did.
    """

    unscored: str | None
    example: Score | None
    held: float
    width: str | None
    beaten: dict[str, tuple[str, ...]]


#: A season in which less of the stands lives than this is one that the cold took.
TAKEN = 0.5


def taken(each: Hindcast) -> tuple[int, ...]:
    """Seasons in which the cold killed most of the stands."""
    return tuple(year for year, lived in zip(each.years, each.lived, strict=True) if lived < TAKEN)


def verdict(each: Hindcast) -> Verdict:
    """What the scores of a field come to.

    Parameters
    ----------
    each : Hindcast
    """
    scored = {name: score for name, score in each.overall.items() if _is_scored(score)}
    if not scored:
        most = max(each.reached.values())
        why = "past" if most >= FEWEST_SEASONS else "seldom" if most else "never"
        return Verdict(unscored=why, example=None, held=np.nan, width=None, beaten={})
    opening = [score for score in each.scores if score.event == SHOWN and _is_scored(score)]
    scores = list(scored.values())
    held = float(np.average([score.coverage_80 for score in scores], weights=[score.seasons for score in scores]))
    return Verdict(
        unscored=None,
        example=opening[max(len(opening) - 2, 0)] if opening else None,
        held=held,
        width="too-narrow" if held < FAIR[0] else "too-wide" if held > FAIR[1] else "fair",
        beaten={name: _as_good(score) for name, score in scored.items()},
    )


def why_unscored(each: Hindcast, score: Score) -> str | None:
    """Why an event has no score from an issue date, one of :data:`WHY_UNSCORED`; None where it has one."""
    if _is_scored(score):
        return None
    came = each.reached[score.event]
    if came < FEWEST_SEASONS:
        return "seldom" if came else "never"
    return "mostly-past" if score.seasons else "past"


def _is_scored(score: Score) -> bool:
    return score.seasons >= FEWEST_SEASONS


def _as_good(score: Score) -> tuple[str, ...]:
    """The plain forecasts that did as well or better."""
    plain = {"station_mean": score.station_mean, "pace": score.pace}
    return tuple(name for name, other in plain.items() if other.crps_days <= score.crps_days)
