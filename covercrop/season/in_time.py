"""How late a cover may be ended for the crop still to be in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models import plantback
from covercrop.models.decomposition import YOUNG
from covercrop.models.season_calendar import HALF_YEAR
from covercrop.season.ground import dead_from, limits_by_ending
from covercrop.weather.outlook import LEAD_DAYS, part_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from covercrop.field.entries import CropEntry, ScoutingNote
    from covercrop.models.decomposition import Maturity
    from covercrop.models.members import Draws
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.season.beside import CerealStand
    from covercrop.weather.outlook import Outlook

#: The ground is followed from an ending on every so many days of the season; between two of them its date is straight.
EVERY = 8

#: So many of those days at a time, from the last one back for as long as a crop is late.
AT_ONCE = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Deadline:
    """The days on which a cover may still be ended, and by when its crop has to be in the ground.

    Attributes
    ----------
    today, horizon : int
        Day index of the first and the last of them.
    midwinter : int
        Day index of the midwinter before the crop's spring.
    plant_by : numpy.ndarray, shape (year, draw) or (year, 1)
        Last day on which the crop may be planted: to ripen, and by the grower's own wish; ``inf`` where there is none.
    """

    today: int
    horizon: int
    midwinter: int
    plant_by: Array


def ending_in_time_until(
    outlook: Outlook,
    cover: Cover,
    crop: Crop,
    entry: CropEntry,
    draws: Draws,
    deadline: Deadline,
    *,
    method: str,
    maturity: Callable[[Array], Maturity],
    scouting: Sequence[ScoutingNote] = (),
    cereal: CerealStand | None = None,
) -> Array:
    """Last day on which the cover may be ended for the crop to be in time, in every member.

    Parameters
    ----------
    outlook : Outlook
        Of one place.
    cover : Cover
    crop : Crop
    entry : CropEntry
        How the crop is to be planted.
    draws : Draws
    deadline : Deadline
    method : str
        How the cover is ended.
    maturity : callable
        How far the cover has come in every member on days of ending it, given by their indexes.
    scouting : sequence of ScoutingNote
        Its thermometer readings set the soil model right.
    cereal : CerealStand, optional
        What stands beside it.

    Returns
    -------
    numpy.ndarray, shape (year, draw)
        Day index, within a day where it falls between two days that are followed; ``-inf`` where it is too late for
        all of them, and ``inf`` where even the last is early enough.
    """
    # Whole steps of the season, so that an answer of next week follows the same days.
    ended = np.arange(deadline.today // EVERY, deadline.horizon // EVERY + 2, dtype=np.float64) * EVERY
    read = [outlook.position(np.datetime64(note.date, "D")) for note in scouting if note.soil_c is not None]
    begin = max(min(deadline.midwinter, int(ended[0]), *read) - LEAD_DAYS, 0)
    limit = np.nanmax(np.where(np.isfinite(deadline.plant_by), deadline.plant_by, np.nan), initial=deadline.horizon)
    # Which freeze of spring was the last is not known before midsummer.
    season = part_of(outlook, slice(begin, max(int(limit), deadline.midwinter + HALF_YEAR) + 2))
    days, pace = ended, np.ones(ended.shape) if cereal is None else cereal.residue_pace(cover.residue, ended)

    def earliest(ended: Array) -> Array:
        limits = limits_by_ending(
            season,
            cover,
            crop,
            entry,
            draws,
            dead=dead_from(ended, method) - begin,
            midwinter=deadline.midwinter - begin,
            terminate=method,
            maturity=YOUNG if plantback.planted_through(crop, entry.method, method) else maturity(ended),
            scouting=scouting,
            residue_pace=pace[np.isin(days, ended)],
            cereal=None if cereal is None else cereal.companion,
        )
        return plantback.earliest(limits) + begin

    return last_in_time(ended, earliest, deadline.plant_by)


def last_in_time(ended: Array, earliest: Callable[[Array], Array], plant_by: Array | float) -> Array:
    """Last of some days of ending a cover from which planting is possible by a day.

    Parameters
    ----------
    ended : numpy.ndarray, shape (day,)
        :data:`EVERY` so many days apart.
    earliest : callable
        Takes some of them and gives the first day on which the crop can be planted, shape (some, year, draw); NaN where
        it never can.
    plant_by : numpy.ndarray, shape (year, draw) or (year, 1), or float

    Returns
    -------
    numpy.ndarray, shape (year, draw)
        As :func:`last_before`.
    """

    def first(ended: Array) -> Array:
        found = earliest(ended)
        return np.where(np.isnan(found), np.inf, found)

    # An ending that comes earlier leaves the crop no later: those before one after which nobody is late need not be
    # followed, and who is late after the very first of them is late after all.
    followed: list[Array] = []
    always = None
    for end in range(len(ended), 0, -AT_ONCE):
        followed.insert(0, first(ended[max(end - AT_ONCE, 0) : end]))
        late = followed[0][0] > plant_by
        if late.any() and always is None and end > AT_ONCE:
            [early] = first(ended[:1])
            always = early > plant_by
        if not late.any() or (always is not None and always[late].all()):
            break
    found = np.concatenate(followed)
    return last_before(ended[-len(found) :], found, plant_by)


def last_before(ended: Array, earliest: Array, plant_by: Array | float) -> Array:
    """Last day of ending from which planting is possible by a day, straight between the days that were followed.

    Parameters
    ----------
    ended : numpy.ndarray, shape (day,)
        :data:`EVERY` so many days apart.
    earliest : numpy.ndarray, shape (day, year, draw)
        First day on which the crop can be planted, ``inf`` where it never can.
    plant_by : numpy.ndarray, shape (year, draw) or (year, 1), or float

    Returns
    -------
    numpy.ndarray, shape (year, draw)
        ``-inf`` where no day is early enough, and ``inf`` where all are.
    """
    works = earliest <= plant_by
    last = len(ended) - 1 - np.argmax(works[::-1], axis=0)
    here, after = np.take_along_axis(earliest, np.stack([last, np.minimum(last + 1, len(ended) - 1)]), axis=0)
    # Where the next day that was followed never clears, nothing is said of those between.
    between = works.any(axis=0) & ~works[-1] & np.isfinite(after)
    gain = np.where(between, after - np.where(between, here, 0.0), np.inf)
    spare = np.where(between, plant_by - np.where(between, here, 0.0), 0.0)
    until = np.where(works.any(axis=0), ended[last] + np.floor(EVERY * spare / gain + 1e-9), -np.inf)
    return np.where(works[-1], np.inf, until)
