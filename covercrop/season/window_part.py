"""What a plan says of the window: when it is open, and on which day and in which way the cover is best ended."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array, Days
from covercrop.season import absent
from covercrop.season.ending import LEAST_ODDS, POOR

if TYPE_CHECKING:
    from covercrop.base.records import DateRange
    from covercrop.season.ending import Ending, Recommended
    from covercrop.season.wants import Chances
    from covercrop.weather.outlook import Outlook

#: A smaller chance than this rounds to nothing.
NEGLIGIBLE = 0.005


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindowPart:
    """The window, and the ending of the cover.

    Attributes
    ----------
    method : str
        How the cover is ended, or is to be: as ``asked``, or by turning under where that has no window left.
    asked : str
        How the field file asks for it.
    opens, closes : DateRange
        With their 80 % intervals; ``NaT`` where the window does not open or close.
    days : numpy.ndarray of datetime64[D], shape (day,)
        The season from sowing on.
    chances : numpy.ndarray, shape (day,)
        Chance that the window holds each day, if the stand lives [1]; none for a dead one.
    wants : Chances or None
        The chance of each want on every day (:class:`covercrop.season.wants.Chances`), while there is something to
        choose.
    open_now : float
        Chance that it holds the day of the answer [1].
    best : Recommended or None
        The best day; None where there is nothing to choose any more or yet, as ``no_best`` says.
    no_best : str or None
        Why there is no best day (:mod:`covercrop.season.absent`); None where there is one.
    best_in_time : float
        The best chance that any day ahead offers that the crop is in time [1]; NaN where there is nothing to choose.
    waits : bool
        Whether the best day is still ahead; not so where it is the day of the answer, or there is none.
    may_be_closed : bool
        Whether the chance that the window has closed has passed one in ten before the day of the answer.
    surer : Recommended or None
        The best day of turning under, where another way was asked for and has poor chances; None where it has not.
    undoubted : Recommended or None
        The best day without the notes in doubt, where it is another than ``best``; None where it is the same.
    ending_day : numpy.datetime64[D]
        The day from which the ground is followed: that of the ending of the cover, done or best, or the day of the
        answer if it is too late; ``NaT`` where there is none, and for a dead stand.
    foretold : bool
        Whether there still is a window to speak of.
    """

    method: str
    asked: str
    opens: DateRange
    closes: DateRange
    days: Days
    chances: Array
    wants: Chances | None
    open_now: float
    best: Recommended | None
    no_best: str | None
    best_in_time: float
    waits: bool
    may_be_closed: bool
    surer: Recommended | None
    undoubted: Recommended | None
    ending_day: np.datetime64
    foretold: bool

    @property
    def instead(self) -> bool:
        """Whether another way of ending the cover is planned than was asked for."""
        return self.method != self.asked

    @property
    def poor(self) -> bool:
        """Whether even the best day is more likely outside of the window than in it."""
        return self.best is not None and self.best.probability < POOR

    @property
    def spell(self) -> slice:
        """Where in ``days`` there is a chance at all, from the first such day to the last; empty where none is."""
        places = np.flatnonzero(self.chances >= NEGLIGIBLE)
        return slice(places[0], places[-1] + 1) if places.size else slice(0)

    @property
    def likely_open(self) -> tuple[np.datetime64, np.datetime64] | None:
        """First and last day on which it is as likely open as not; None where it never is."""
        days = self.days[self.chances >= POOR]
        return (days[0], days[-1]) if days.size else None


def window_part(
    ending: Ending,
    outlook: Outlook,
    today: int,
    *,
    asked: str,
    dates: tuple[DateRange, DateRange],
    open_now: float,
    undoubted: Recommended | None,
    killed: bool,
    ended: bool,
) -> WindowPart:
    """The window, summed up.

    Parameters
    ----------
    ending : Ending
    outlook : Outlook
    today : int
        Day index of the answer.
    asked : str
        How the field file asks for the cover to be ended.
    dates : tuple of DateRange
        Opening and closing.
    open_now : float
        Chance that the window holds today.
    undoubted : Recommended or None
        The best day without the notes in doubt.
    killed, ended : bool
        Whether the stand is dead, and whether it has been ended.
    """
    chances = np.zeros_like(ending.odds) if killed else ending.odds
    opens, closes = dates
    turned = ending.day
    return WindowPart(
        method=ending.method,
        asked=asked,
        opens=opens,
        closes=closes,
        days=outlook.days,
        chances=chances,
        wants=ending.chances,
        open_now=open_now,
        best=ending.best,
        no_best=None if ending.best else _no_best(ending, killed=killed, ended=ended, known=outlook.complete),
        best_in_time=np.nan if ending.chances is None else float(ending.chances.in_time[today:].max(initial=0.0)),
        waits=ending.best is not None and bool(ending.best.date > outlook.days[0] + np.timedelta64(today, "D")),
        may_be_closed=bool(closes.early < outlook.days[0] + np.timedelta64(today, "D")),  # never true of NaT
        surer=ending.surer,
        undoubted=None if undoubted and ending.best and undoubted.date == ending.best.date else undoubted,
        ending_day=np.datetime64("NaT", "D")
        if turned is None or killed
        else outlook.days[0] + np.timedelta64(turned, "D"),
        foretold=bool(not ended and outlook.complete and chances.max(initial=0.0) >= LEAST_ODDS),
    )


def _no_best(ending: Ending, *, killed: bool, ended: bool, known: bool) -> str:
    if killed:
        return absent.DEAD
    if ended:
        return absent.DONE
    if ending.too_late:
        return absent.PAST
    return absent.NOT_REACHED if known else absent.NOT_KNOWN
