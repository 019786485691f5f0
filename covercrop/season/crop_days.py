"""The days of the crop: planted, up, thinned, ripe, and the frosts that end it.

A day is that of the grower where it was done, and the likely one where it was not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.records import DateRange
from covercrop.models import season_calendar
from covercrop.models.frost import HARD_FROST, first_autumn_freeze
from covercrop.models.members import quantiles
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.field.entries import Field
    from covercrop.parameters.traits import Planting
    from covercrop.season.plan import Plan

#: Taken for emergence where no table gives it [d].
EMERGENCE_ASSUMED = int(MODELS.crop.emergence.value)


def planting_day(plan: Plan) -> np.datetime64:
    """The day on which the crop was planted, or is likely to be.

    Returns
    -------
    numpy.datetime64[D]
        NaT where no day is likely safe, and where the ground is ready but the crop would no longer ripen.
    """
    return plan.planting.day


def days_to_emergence(plan: Plan) -> int:
    """Whole days from sowing the crop to emergence.

    Where the soil lies outside the crop's table it is taken for cold, and the
    longest time of the table holds; :data:`EMERGENCE_ASSUMED` for a crop without one.
    """
    if np.isnan(plan.planting.emergence_days):
        return max((round(point.days.value) for point in plan.crop.emergence), default=EMERGENCE_ASSUMED)
    return round(plan.planting.emergence_days)


def at_a_spot(field: Field, standing: Planting) -> tuple[int, int]:
    """Seeds sown to a spot, and plants left there: as the field's file says, otherwise as the crop stands.

    Where the file names more plants than the crop's seeds, one seed goes in for each.
    """
    beds = field.beds
    plants = round(standing.plants.value) if beds.plants is None else beds.plants
    seeds = max(round(standing.seeds.value), plants) if beds.seeds is None else beds.seeds
    return seeds, plants


def thinning_day(plan: Plan) -> np.datetime64:
    """The day on which the seedlings are thinned, counted from their predicted emergence.

    Returns
    -------
    numpy.datetime64[D]
        NaT where nothing is thinned: plants set out, no more seeds than
        plants, no planting day, or a crop of which nothing says how it stands.
    """
    standing = plan.crop.planting
    if standing is None or plan.field.crop.method != "direct-seed":
        return np.datetime64("NaT", "D")
    seeds, plants = at_a_spot(plan.field, standing)
    if seeds <= plants:
        return np.datetime64("NaT", "D")
    return planting_day(plan) + np.timedelta64(days_to_emergence(plan) + round(standing.thin_after.value), "D")


def ripe_day(plan: Plan) -> np.datetime64:
    """The likely day on which the crop is ripe; NaT where it is not planted, or the season ends before."""
    return plan.planting.ripe.median


def first_harvest(plan: Plan) -> np.datetime64:
    """The day on which the crop is ripe at the earliest, in one year of ten before it; NaT as :func:`ripe_day`."""
    return plan.planting.ripe.early


def autumn_frost(plan: Plan) -> DateRange:
    """The first autumn frost that harms the crop, with its 80 % interval; as :func:`hard_frost`."""
    return _autumn_freeze(plan, plan.crop.frost.value)


def hard_frost(plan: Plan) -> DateRange:
    """The first hard frost of the next autumn, with its 80 % interval over the past years.

    Returns
    -------
    DateRange
        NaT where too few of the years have one, or there are no past years.
    """
    return _autumn_freeze(plan, HARD_FROST.value)


def _autumn_freeze(plan: Plan, threshold: float) -> DateRange:
    outlook = plan.outlook
    midwinter = outlook.position(season_calendar.midwinter_after(outlook.days[0], plan.field.latitude))
    freeze = first_autumn_freeze(outlook.tmin, midwinter, threshold)
    if not outlook.complete:
        freeze = np.full_like(freeze, np.nan)
    early, median, late = outlook.dates(quantiles(freeze, np.ones_like(freeze)))
    return DateRange(early=early, median=median, late=late)
