"""When, and in which way, the cover is best ended."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models import termination
from covercrop.models.members import share, share_by
from covercrop.season.stand import Stand

if TYPE_CHECKING:
    import datetime as dt

    from covercrop.parameters.traits import Cover
    from covercrop.weather.outlook import Outlook


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

    ``surer`` is the best day of turning under, where the way asked for has poor chances; ``too_late`` says that the
    window has most likely closed, so that the day is today.
    """

    method: str
    stand: Stand
    odds: Array
    best: TurnUnder | None
    day: int | None
    surer: TurnUnder | None = None
    too_late: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rival:
    """The stand as it would be without a note in doubt, the weights of its members, and its ending.

    ``closed`` is the chance that its window has closed by yesterday, ``closing`` whether it is about to.
    """

    stand: Stand
    weights: Array
    ending: Ending
    closed: float
    closing: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dispute:
    """What an answer may not go beyond while notes are in doubt.

    Attributes
    ----------
    rivals : tuple of Rival
        Stands without some of the notes in doubt: on no day may the chance be higher than in any of these.
    ceilings : tuple of Rival
        Others: no chance may be higher than that of their best day.
    settled : Rival
        The stand without all that is in doubt, whose best day is a ceiling too, and whose way of ending it is taken.
    """

    rivals: tuple[Rival, ...]
    settled: Rival
    ceilings: tuple[Rival, ...] = ()

    @property
    def closing(self) -> bool:
        """Whether the window is about to close in all of them."""
        return all(rival.closing for rival in (self.settled, *self.rivals))


def choose_ending(
    terminate: str,
    ended: dt.date | None,
    cover: Cover,
    outlook: Outlook,
    stand: Stand,
    weights: Array,
    today: int,
    *,
    settled: bool,
    dispute: Dispute | None = None,
) -> Ending:
    """The ending that the field file asks for, or turning under where that has no window, or none any more.

    Parameters
    ----------
    terminate : str
        The way of ending that is asked for.
    ended : datetime.date or None
        The day on which it was done.
    cover : Cover
    outlook : Outlook
    stand : Stand
    weights : numpy.ndarray, shape (year, draw)
        Weights of the members.
    today : int
        Day index.
    settled : bool
        Whether there is nothing left to choose: the cover is ended, or dead.
    dispute : Dispute, optional
        Where notes are in doubt: the day is then one on which the stand with them and the stands without them agree.

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
        odds = _odds(opens, closes, weights, outlook)
        if dispute is not None:
            odds = _undisputed(odds, dispute, method, cover, outlook, today)
        may_close = dispute is None or dispute.closing
        best = None if settled else best_ahead(odds, opens, closes, weights, today, outlook, may_close=may_close)
        return Ending(
            method=method,
            stand=replace(stand, opens=opens, closes=closes),
            odds=odds,
            best=best,
            day=None if best is None else outlook.position(best.date),
        )

    wanted = by(terminate)
    if ended is not None:
        return replace(wanted, day=outlook.position(np.datetime64(ended, "D")))
    if settled or not outlook.complete:
        return wanted
    if wanted.method != "turn-under":
        turning = by("turn-under")
        window = (wanted.stand.closes >= wanted.stand.opens) & (wanted.stand.closes >= today)
        hopeless = share(window, weights) < 0.5
        if dispute.settled.ending.method == "turn-under" if dispute is not None else hopeless:
            wanted = turning
        elif turning.best is not None and (wanted.best is None or wanted.best.probability < POOR):
            wanted = replace(wanted, surer=turning.best)
    closed = share_by(wanted.stand.closes, weights, today - 1)
    if dispute is not None and dispute.rivals:
        closed = min(rival.closed for rival in dispute.rivals)
    return replace(wanted, best=None, surer=None, day=today, too_late=True) if closed >= 0.5 else wanted


def _odds(opens: Array, closes: Array, weights: Array, outlook: Outlook) -> Array:
    return termination.probability_by_day(opens, closes, weights / weights.sum(), outlook.days.size)


def _undisputed(odds: Array, dispute: Dispute, method: str, cover: Cover, outlook: Outlook, today: int) -> Array:
    """The chances of each day that neither the notes in doubt nor their absence would raise."""

    def without(rival: Rival) -> Array:
        if rival.ending.method == method:
            return rival.ending.odds
        return _odds(*termination.window(rival.stand.stages, method, cover), rival.weights, outlook)

    least = np.minimum.reduce([odds, *(without(rival) for rival in dispute.rivals)])
    top = least[today:].max(initial=0.0)
    ceiling = min(without(rival)[today:].max(initial=0.0) for rival in (dispute.settled, *dispute.ceilings))
    return least * (ceiling / top) if top > ceiling else least


def best_ahead(
    odds: Array, opens: Array, closes: Array, weights: Array, today: int, outlook: Outlook, *, may_close: bool = True
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
    may_close : bool
        Whether a window that is about to close is a reason to go today; not where that is in doubt.

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
    closing = may_close and is_closing(opens, closes, weights, today)
    place = 0 if ahead[0] >= top - WORTH_WAITING or closing else termination.best_day(ahead)
    day = today + place
    start, end = (today + edge for edge in termination.best_week(ahead, place))
    return TurnUnder(
        date=outlook.days[day], probability=float(odds[day]), start=outlook.days[start], end=outlook.days[end]
    )


def is_closing(opens: Array, closes: Array, weights: Array, today: int) -> bool:
    """Whether the window is most likely open, and will most likely close within :data:`CLOSING_DAYS`."""
    return share_by(opens, weights, today) >= 0.5 and share_by(closes, weights, today + CLOSING_DAYS) >= 0.5
