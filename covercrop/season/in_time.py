"""How late a cover may be ended for the crop still to be in time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models import plantback
from covercrop.models.soil_temperature import soil_temperature
from covercrop.season.ground import dead_from, ground_under, planting_limits
from covercrop.season.measurements import soil_check
from covercrop.weather.outlook import LEAD_DAYS, part_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.field.entries import CropEntry, ScoutingNote
    from covercrop.models.members import Draws
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.season.beside import CerealStand
    from covercrop.weather.outlook import Outlook

#: The ground is followed from an ending on every so many days of the season; between two of them its date is straight.
EVERY = 8


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
    begin = max(min(deadline.midwinter, int(ended[0])) - LEAD_DAYS, 0)
    limit = np.nanmax(np.where(np.isfinite(deadline.plant_by), deadline.plant_by, np.nan), initial=deadline.horizon)
    season = part_of(outlook, slice(begin, int(limit) + 2))
    dead = dead_from(ended, method) - begin
    modelled = soil_temperature(season.tmean, ground_under(entry, method), canopy_until=dead[:, np.newaxis])
    check = soil_check(scouting, season, modelled[-1], np.nan)  # the cover stands where it was read
    limits = planting_limits(
        season,
        check.corrected(modelled, dead),
        cover.residue,
        crop,
        entry,
        draws,
        dead,
        deadline.midwinter - begin,
        terminate=method,
        soil_sd=check.sd,
        residue_pace=1.0 if cereal is None else cereal.residue_pace(cover.residue, ended),
        cereal=None if cereal is None else cereal.companion,
    )
    earliest = plantback.earliest(limits) + begin
    return last_before(ended, np.where(np.isnan(earliest), np.inf, earliest), deadline.plant_by)


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
    here = np.take_along_axis(earliest, last[np.newaxis], axis=0)[0]
    after = np.take_along_axis(earliest, np.minimum(last + 1, len(ended) - 1)[np.newaxis], axis=0)[0]
    # Where the next day that was followed never clears, nothing is said of those between.
    between = works.any(axis=0) & ~works[-1] & np.isfinite(after)
    gain = np.where(between, after - np.where(between, here, 0.0), np.inf)
    spare = np.where(between, plant_by - np.where(between, here, 0.0), 0.0)
    until = np.where(works.any(axis=0), ended[last] + np.floor(EVERY * spare / gain + 1e-9), -np.inf)
    return np.where(works[-1], np.inf, until)
