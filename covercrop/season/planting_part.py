"""What a plan says of planting: from when it is safe, what holds it back, and whether the crop ripens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.models import plantback

if TYPE_CHECKING:
    from collections.abc import Mapping

    from covercrop.base.records import DateRange
    from covercrop.field.entries import CropEntry

#: From this chance of ripening on, the crop is called likely to.
LIKELY_RIPE = 0.8

#: From this chance of filling in the cold on, it is warned of.
COLD_FILLING = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantingPart:
    """The planting of the crop.

    Attributes
    ----------
    limits : dict of str to DateRange
        When each of :data:`covercrop.models.plantback.LIMITS` clears, with its 80 % interval, ``frost`` as the past
        years had it; ``NaT`` where it does not this season, or no day of ending the cover is known.
    earliest, latest : DateRange
        First day without a limit, and last day that lets the crop ripen; ``NaT`` where there is none.
    safe : numpy.datetime64[D]
        Earliest planting that is safe in eight years of ten; ``NaT`` where none is.
    binding : str or None
        The limit that is most often the last to clear; None where the ground cannot be followed.
    ripens : float
        Chance that the crop ripens, planted as soon as it is safe [1]; NaN where that is not known.
    day : numpy.datetime64[D]
        On which it was planted, or is likely to be; ``NaT`` where no day is likely safe, and where the ground is ready
        but the crop would no longer ripen.
    ripe : DateRange
        When it is ripe, planted then; ``NaT`` where the season ends before, or there is no such day.
    cold_filling : bool or None
        Whether, planted then, its fruit would most likely fill in the cold; None where that is of no account.
    soil_c : float
        The soil that the planting waits for: the grower's own threshold, or that of the crop and the way of planting
        [degC].
    emergence_days : float
        Days until the crop is up, sown on the likely day or on the day on which it was [d]; NaN where that is not
        known.
    before_safe : bool
        Whether the crop was planted before the ground was likely safe.
    too_late : bool
        Whether a crop that is planted on the day of the answer would hardly ripen before frost.
    """

    limits: dict[str, DateRange]
    earliest: DateRange
    latest: DateRange
    safe: np.datetime64
    binding: str | None
    ripens: float
    day: np.datetime64
    ripe: DateRange
    cold_filling: bool | None
    soil_c: float
    emergence_days: float
    before_safe: bool
    too_late: bool

    @property
    def likely_ripe(self) -> bool | None:
        """Whether the crop, planted as soon as it is safe, most likely ripens; None where that is not known."""
        return None if np.isnan(self.ripens) else bool(self.ripens >= LIKELY_RIPE)


def planting_part(
    entry: CropEntry,
    dates: Mapping[str, DateRange],
    *,
    safe: np.datetime64,
    binding: str | None,
    ripens: float,
    day: np.datetime64,
    ripe: DateRange,
    cold_filling: float,
    soil_c: float,
    emergence_days: float,
    too_late: bool,
) -> PlantingPart:
    """The planting, summed up.

    Parameters
    ----------
    entry : CropEntry
        How the crop is planted, and whether it has been.
    dates : mapping of str to DateRange
        Of the limits, the earliest and the latest planting, among others.
    cold_filling : float
        Chance that the fruit would fill in the cold [1]; NaN where that is of no account.
    safe, binding, ripens, day, ripe, soil_c, emergence_days, too_late
        As in :class:`PlantingPart`.
    """
    planted = np.datetime64(entry.planted, "D")  # ``NaT`` where it has not been
    earliest, latest = dates["earliest_planting"], dates["latest_planting"]
    return PlantingPart(
        limits={name: dates[name] for name in plantback.LIMITS},
        earliest=earliest,
        latest=latest,
        safe=safe,
        binding=binding,
        ripens=ripens,
        day=day,
        ripe=ripe,
        cold_filling=None if np.isnan(cold_filling) else bool(cold_filling >= COLD_FILLING),
        soil_c=soil_c,
        emergence_days=emergence_days,
        before_safe=bool(planted < earliest.median),  # not true of a date that is not reached
        too_late=too_late,
    )
