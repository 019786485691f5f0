"""How far a cover has come towards its bloom, day by day, in every way the season may go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models.daylength import day_length
from covercrop.models.members import EARLY, LATE, MEDIAN
from covercrop.models.phenology import bloom_clock, emergence

if TYPE_CHECKING:
    from covercrop.parameters.traits import Cover
    from covercrop.weather.outlook import Outlook


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Progress:
    """The running sum of the degree-days that count towards bloom, shape (day,) each [degC d].

    Up to the last observed or forecast day the three are one line; from there
    they are the middle, and one year in ten on either side, of the past years.
    """

    early: Array
    median: Array
    late: Array


def towards_bloom(outlook: Outlook, latitude: float, cover: Cover) -> Progress:
    """Add up what counts towards the bloom of a cover (:func:`covercrop.models.phenology.bloom_clock`).

    Parameters
    ----------
    outlook : Outlook
    latitude : float
        [degrees], north positive.
    cover : Cover

    Returns
    -------
    Progress
        ``early`` is the sum of the years that are ahead of the others.
    """
    up = emergence(outlook.tmean, cover, lead=outlook.lead)
    clock = bloom_clock(outlook.tmean, day_length(latitude, outlook.day_of_year), cover, emerged=up)
    early, median, late = np.quantile(clock.total, (1 - EARLY, MEDIAN, 1 - LATE), axis=0)
    return Progress(early=early, median=median, late=late)
