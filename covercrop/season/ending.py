"""When, and in which way, the cover is best ended."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array
from covercrop.models import termination
from covercrop.models.members import share, share_by
from covercrop.season.decision import decide
from covercrop.season.stand import Stand
from covercrop.season.wants import Chances, chances, wants

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from covercrop.parameters.traits import Cover
    from covercrop.weather.outlook import Outlook


#: The window is closing when half of the members close within so many days.
CLOSING_DAYS = 7

#: A day with a smaller chance than this is no day to plan a visit for.
LEAST_ODDS = 0.05

#: Where the best day has a smaller chance than this, turning under is named beside another way of ending the cover.
POOR = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Odds:
    """What a day of ending the cover promises [1].

    Attributes
    ----------
    date : numpy.datetime64[D]
    probability : float
        That the window is then open: the cover killed, in bloom, and no seed left behind.
    killed, seed_free, bloom, in_time : float
        Of each want alone; ``in_time`` that the crop is planted by the wanted day, and ripens.
    together : float
        Of all four.
    """

    date: np.datetime64
    probability: float
    killed: float
    seed_free: float
    bloom: float
    in_time: float
    together: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommended(Odds):
    """The day on which the cover is best ended, and why.

    Attributes
    ----------
    start, end : numpy.datetime64[D]
        First and last day of those around it that are about as good, a week at most.
    some_day : float
        Chance that there is a day at all on which the cover is killed, in bloom and without seed [1]: whoever goes by
        what he sees on the field may find it.
    why : str
        One of :data:`covercrop.season.decision.WHY`.
    given_up : str or None
        What this day gives up: ``bloom`` or ``crop``; None where nothing.
    other : Odds or None
        The day that would have that; None where nothing is given up.
    """

    start: np.datetime64
    end: np.datetime64
    some_day: float
    why: str
    given_up: str | None = None
    other: Odds | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ending:
    """How the cover is to be ended, or was: the way, its window and chances, the best day, and the day that counts.

    ``odds`` are those of the window by day; ``chances`` those of every want, while there is something to choose.
    ``surer`` is the best day of turning under, where the way asked for has poor chances; ``too_late`` says that the
    window has most likely closed, so that the day is today.
    """

    method: str
    stand: Stand
    odds: Array
    best: Recommended | None
    day: int | None
    chances: Chances | None = None
    surer: Recommended | None = None
    too_late: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rival:
    """The stand as it would be without a note in doubt, the weights of its members, and its ending.

    ``closed`` is the chance that its window has closed by yesterday.
    """

    stand: Stand
    weights: Array
    ending: Ending
    closed: float


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ahead:
    """What there is to choose from.

    Attributes
    ----------
    may : numpy.ndarray of bool, shape (day,)
        The days that are to come and on which the cover can be ended.
    cover_first : bool
        Whether bloom comes before the crop.
    in_time_until : callable
        Last day of ending the cover, in a way, that leaves the crop in time
        (:func:`covercrop.season.in_time.ending_in_time_until`).
    """

    may: NDArray[np.bool_]
    cover_first: bool
    in_time_until: Callable[[str], Array]


def choose_ending(
    terminate: str,
    ended: dt.date | None,
    cover: Cover,
    outlook: Outlook,
    stand: Stand,
    weights: Array,
    today: int,
    *,
    ahead: Ahead | None,
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
    ahead : Ahead or None
        What there is to choose from; None where the cover is ended, or dead, and where the season is not known to its
        end.
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
        moved = replace(stand, opens=opens, closes=closes)
        if ahead is None:
            odds = termination.probability_by_day(opens, closes, weights / weights.sum(), outlook.days.size)
            return Ending(method=method, stand=moved, odds=odds, best=None, day=None)

        def chances_of(stages: dict[str, Array], weights: Array) -> Chances:
            return chances(wants(stages, method, cover, ahead.in_time_until(method)), weights, outlook.days.size)

        found = chances_of(stand.stages, weights)
        if dispute is not None:
            found = _undisputed(found, dispute, method, chances_of, ahead)
        best = None  # what does not bloom has no day of its own
        if found.window[ahead.may].max(initial=0.0) >= LEAST_ODDS:
            best = _best(found, moved, weights, ahead, outlook)
        if best is not None and dispute is not None:
            best = _no_surer(best, dispute, method)
        day = None if best is None else outlook.position(best.date)
        return Ending(method=method, stand=moved, odds=found.window, best=best, day=day, chances=found)

    wanted = by(terminate)
    if ended is not None:
        return replace(wanted, day=outlook.position(np.datetime64(ended, "D")))
    if ahead is None:
        return wanted
    if wanted.method != "turn-under":
        turning = by("turn-under")
        window = (wanted.stand.closes >= wanted.stand.opens) & (wanted.stand.closes >= today)
        hopeless = share(window, weights) < 0.5
        if (
            dispute.settled.ending.method == "turn-under"
            if dispute is not None
            else hopeless and _surer(turning, wanted)
        ):
            wanted = turning
        elif _surer(turning, wanted) and (wanted.best is None or wanted.best.probability < POOR):
            wanted = replace(wanted, surer=turning.best)
    closed = share_by(wanted.stand.closes, weights, today - 1)
    if dispute is not None and dispute.rivals:
        closed = min(rival.closed for rival in dispute.rivals)
    return replace(wanted, best=None, surer=None, day=today, too_late=True) if closed >= 0.5 else wanted


def _surer(one: Ending, other: Ending) -> bool:
    """Whether the best day of an ending is surer than that of another, or the other has none."""
    return other.best is None or (one.best is not None and one.best.probability > other.best.probability)


def _best(found: Chances, stand: Stand, weights: Array, ahead: Ahead, outlook: Outlook) -> Recommended | None:
    decided = decide(found, ahead.may, cover_first=ahead.cover_first)
    if decided is None:
        return None
    today = int(np.argmax(ahead.may))
    closes = np.where(np.isnan(stand.closes), np.inf, stand.closes)
    return Recommended(
        **asdict(odds_on(found, decided.day, outlook)),
        start=outlook.days[decided.first],
        end=outlook.days[decided.last],
        some_day=share(closes >= np.maximum(stand.opens, today), weights),
        why=decided.why,
        given_up=decided.given_up,
        other=None if decided.other is None else odds_on(found, decided.other, outlook),
    )


def _no_surer(best: Recommended, dispute: Dispute, method: str) -> Recommended:
    """A day whose window is no surer than the best days of the stands without the notes in doubt."""
    others = (dispute.settled, *dispute.rivals, *dispute.ceilings)
    told = [each.ending.best.probability for each in others if each.ending.best and each.ending.method == method]
    return replace(best, probability=min([best.probability, *told]))


def odds_on(found: Chances, day: int, outlook: Outlook) -> Odds:
    """What a day promises."""
    return Odds(
        date=outlook.days[day],
        probability=float(found.window[day]),
        **{name: float(getattr(found, name)[day]) for name in ("killed", "seed_free", "bloom", "in_time", "together")},
    )


def _undisputed(
    found: Chances,
    dispute: Dispute,
    method: str,
    chances_of: Callable[[dict[str, Array], Array], Chances],
    ahead: Ahead,
) -> Chances:
    """The chances of each day that neither the notes in doubt nor their absence would raise."""

    def without(rival: Rival) -> Chances:
        if rival.ending.method == method and rival.ending.chances is not None:
            return rival.ending.chances
        return chances_of(rival.stand.stages, rival.weights)

    least = found.least(map(without, dispute.rivals))
    top = least.window[ahead.may].max(initial=0.0)

    def highest(rival: Rival) -> float:
        best = rival.ending.best if rival.ending.method == method else None
        return without(rival).window[ahead.may].max(initial=0.0) if best is None else best.probability

    ceiling = min(map(highest, (dispute.settled, *dispute.ceilings)))
    return least.scaled(ceiling / top) if top > ceiling else least


def is_closing(opens: Array, closes: Array, weights: Array, today: int) -> bool:
    """Whether the window is most likely open, and will most likely close within :data:`CLOSING_DAYS`."""
    return share_by(opens, weights, today) >= 0.5 and share_by(closes, weights, today + CLOSING_DAYS) >= 0.5
