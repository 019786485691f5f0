"""The ripening of the crop in every member: from when it is too late to plant it, and when it is ripe."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models import plantback, ripening

if TYPE_CHECKING:
    from covercrop.field.entries import CropEntry
    from covercrop.models.members import Draws
    from covercrop.parameters.traits import Crop
    from covercrop.weather.outlook import Outlook


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ripeness:
    """What the crop needs to ripen, and the seasons that it has for it; arrays may have an axis of places before.

    Attributes
    ----------
    crop : Crop
    sown : bool
        Whether it is sown, not set out as plants.
    days : float
        To maturity as on the packet, less what transplants save [d].
    heat : numpy.ndarray, shape (year, day)
        Running sum since midwinter [degC d].
    needed : numpy.ndarray, shape (draw,)
        Of it, from planting to harvest [degC d].
    end : numpy.ndarray, shape (year,)
        Day index of the first day that is too cold for the crop; NaN where there is none.
    """

    crop: Crop
    sown: bool
    days: float
    heat: Array
    needed: Array
    end: Array

    def at(self, place: int) -> Ripeness:
        """That of one of several places."""
        return replace(self, heat=self.heat[place], end=self.end[place])

    def latest(self) -> Array:
        """Last day on which it can be planted and still ripen, shape (year, draw).

        NaN where the season has no end, :data:`covercrop.models.ripening.NO_DAY` where no day lets it.
        """
        return ripening.latest_planting(self.heat, self.needed, self.days, self.end)

    def ripe(self, planted: ArrayLike) -> Array:
        """Day on which it is ripe, planted on a day (year, draw) or one for all; NaN where the season ends before."""
        return ripening.ripe(self.heat, self.needed, self.days, np.atleast_1d(planted), self.end)

    def cold_filling(self, planted: ArrayLike) -> Array:
        """Whether the last weeks of filling fall into the cold: 1 or 0, NaN where not known or of no account."""
        filling = self.crop.ripening.filling
        if filling is None:
            return np.full(np.broadcast_shapes(np.shape(planted), (*self.end.shape, self.needed.size)), np.nan)
        half = ripening.half_way_by(self.heat, self.needed, np.atleast_1d(planted), self.end - filling.value)
        return 1.0 - half

    def longest_days(self, planted: float) -> Array:
        """Days to maturity of the slowest variety that still ripens, less what transplants save, shape (year,) [d]."""
        return ripening.longest_packet(self.heat, self.crop.ripening, planted, self.end, sown=self.sown)


def ripeness(outlook: Outlook, crop: Crop, entry: CropEntry, draws: Draws, midwinter: float) -> Ripeness:
    """The ripening of a crop.

    Parameters
    ----------
    outlook : Outlook
        Of one place, or of several.
    crop : Crop
    entry : CropEntry
        How it is planted, and the days on its packet.
    draws : Draws
    midwinter : float
        Day index of the midwinter before its spring.

    Raises
    ------
    UnknownNameError
        If there is no such planting method.
    """
    days = plantback.days_to_maturity(crop, entry.method, entry.days_to_maturity)
    sown = entry.method != "transplant"
    heat = ripening.heat(outlook.tmin, outlook.tmax, crop.ripening)
    first = int(np.clip(midwinter, 0, heat.shape[-1] - 1))
    # What the autumn before has brought is no crop's of this year.
    heat = np.maximum(heat - heat[..., first : first + 1], 0.0)
    end = ripening.season_end(outlook.tmin, heat, midwinter, crop.frost.value)
    return Ripeness(
        crop=crop,
        sown=sown,
        days=days,
        heat=heat,
        needed=ripening.heat_needed(crop.ripening, days, sown=sown, draw=draws.ripeness),
        end=end if outlook.complete else np.full_like(end, np.nan),
    )
