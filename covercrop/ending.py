"""When, and in which way, the cover is best ended."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop import termination
from covercrop.ensemble import share_by
from covercrop.stand import Stand

if TYPE_CHECKING:
    from covercrop.season import Field
    from covercrop.traits import Cover
    from covercrop.weather.outlook import Outlook

Array = NDArray[np.float64]

#: The window is closing when half of the members close within so many days.
CLOSING_DAYS = 7

#: A day with a smaller chance than this is no day to plan a visit for.
LEAST_ODDS = 0.05

#: Where the best day has a smaller chance than this, turning under is named beside another way of ending the cover.
POOR = 0.5

#: A gain in the chance that is worth waiting for.
WORTH_WAITING = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnUnder:
    """The best day, its chance, and the first and last day of the best week."""

    date: np.datetime64
    probability: float
    start: np.datetime64
    end: np.datetime64


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ending:
    """How the cover is to be ended, or was: the way, its window and chances, the best day, and the day that counts.

    ``surer`` is the best day of turning under, where the way asked for has poor chances.
    """

    method: str
    stand: Stand
    odds: Array
    best: TurnUnder | None
    day: int | None
    surer: TurnUnder | None = None


def choose_ending(
    field: Field, cover: Cover, outlook: Outlook, stand: Stand, weights: Array, today: int, *, settled: bool
) -> Ending:
    """The ending that the field file asks for, or turning under where that has no window, or none any more.

    Parameters
    ----------
    field : Field
    cover : Cover
    outlook : Outlook
    stand : Stand
    weights : numpy.ndarray, shape (year, draw)
        Weights of the members.
    today : int
        Day index.
    settled : bool
        Whether there is nothing left to choose: the cover is ended, or dead.

    Returns
    -------
    Ending
        With today as its day, and no best one, where it is too late.

    Raises
    ------
    UnknownNameError
        If there is no such way of ending a cover.
    """

    def by(method: str) -> Ending:
        opens, closes = termination.window(stand.stages, method, cover)
        odds = termination.probability_by_day(opens, closes, weights / weights.sum(), outlook.days.size)
        best = None if settled else best_ahead(odds, opens, closes, weights, today, outlook)
        return Ending(
            method=method,
            stand=replace(stand, opens=opens, closes=closes),
            odds=odds,
            best=best,
            day=None if best is None else outlook.position(best.date),
        )

    wanted = by(field.cover.terminate)
    if field.cover.turned_under is not None:
        return replace(wanted, day=outlook.position(np.datetime64(field.cover.turned_under, "D")))
    if settled or not outlook.complete:
        return wanted
    if wanted.method != "turn-under":
        turning = by("turn-under")
        window = (wanted.stand.closes >= wanted.stand.opens) & (wanted.stand.closes >= today)
        if weights[window].sum() < 0.5 * weights.sum():
            wanted = turning
        elif turning.best is not None and (wanted.best is None or wanted.best.probability < POOR):
            wanted = replace(wanted, surer=turning.best)
    too_late = share_by(wanted.stand.closes, weights, today - 1) >= 0.5
    return replace(wanted, best=None, surer=None, day=today) if too_late else wanted


def best_ahead(
    odds: Array, opens: Array, closes: Array, weights: Array, today: int, outlook: Outlook
) -> TurnUnder | None:
    """The best day that is still to come.

    Parameters
    ----------
    odds : numpy.ndarray, shape (day,)
        Chance that the window holds each day.
    opens, closes, weights : numpy.ndarray, shape (year, draw)
        First and last day index of the window, and weight, of each member.
    today : int
        Day index.
    outlook : Outlook

    Returns
    -------
    TurnUnder or None
        None where what is to come is not known, and where no day has a chance
        to speak of.
    """
    if not outlook.complete or today >= odds.size:
        return None
    ahead = odds[today:]
    top = ahead.max()
    if top < LEAST_ODDS:
        return None
    # A gain of a hundredth or two is no reason to wait, and once the window is closing there is none at all.
    closing = is_closing(opens, closes, weights, today)
    place = 0 if ahead[0] >= top - WORTH_WAITING or closing else termination.best_day(ahead)
    day = today + place
    start, end = (today + edge for edge in termination.best_week(ahead, place))
    return TurnUnder(
        date=outlook.days[day], probability=float(odds[day]), start=outlook.days[start], end=outlook.days[end]
    )


def is_closing(opens: Array, closes: Array, weights: Array, today: int) -> bool:
    """Whether the window is most likely open, and will most likely close within :data:`CLOSING_DAYS`."""
    return share_by(opens, weights, today) >= 0.5 and share_by(closes, weights, today + CLOSING_DAYS) >= 0.5
