"""Whether a record has the seasons of its latitude: a wrong sign shows in which months are warm."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from covercrop.weather.record import Record

#: Poleward of this the warm half of the year tells the hemisphere [degrees], where its months differ by so much [K].
SEASONS_FROM, SEASONS_APART = 25.0, 1.0

#: Days of June to August, and of December to February, that are needed to tell.
FEWEST_DAYS = 60


def seasons_against(record: Record, latitude: float) -> float:
    """How much warmer the June to August of a record are than its December to February, where its latitude forbids it.

    Parameters
    ----------
    record : Record
    latitude : float
        [degrees], north positive.

    Returns
    -------
    float
        [K]; negative where they are colder north of the equator, positive where they are warmer south of it.  0 where
        there is nothing to say: the seasons are those of the latitude, or cannot be told.
    """
    if abs(latitude) < SEASONS_FROM:
        return 0.0
    known = [days[record.usable[days]] for days in _solstices(record.first, record.tmin.size)]
    if min(days.size for days in known) < FEWEST_DAYS:
        return 0.0
    # np.mean would take as long as a twentieth of all that is asked of a cell.
    july, january = (float((record.tmin[days] + record.tmax[days]).sum()) / (2 * days.size) for days in known)
    warmer = july - january
    return warmer if warmer * np.sign(latitude) < -SEASONS_APART else 0.0


@lru_cache(maxsize=64)
def _solstices(first: np.datetime64, count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where the days of June to August, and those of December to February, stand in a record."""
    months = (first + np.arange(count).astype("timedelta64[D]")).astype("datetime64[M]").astype(np.int64) % 12
    return np.flatnonzero((months >= 5) & (months <= 7)), np.flatnonzero((months == 11) | (months <= 1))
