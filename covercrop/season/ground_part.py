"""What a plan says of the ground beside its dates: what the rain alone would do, and the flies bred on the cover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: Days by which the soil that is good for seed has to follow the least before it is mentioned.
WORTH_NAMING = 7

#: Days that watering has to gain before it is mentioned.
WORTH_WATERING = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundPart:
    """The ground, beside the dates, of which it moves none.

    Attributes
    ----------
    residue_by_rain : numpy.datetime64[D]
        When the residue is likely gone with no water but the rain, while its date among the limits is that of ground
        that is kept moist; ``NaT`` where the rain does not do it this season, or rain is not known.
    brood : numpy.datetime64[D]
        When most of the maggot flies bred on the cover are likely out; ``NaT`` where they are not this season.
    soil_good : numpy.datetime64[D]
        When the soil is likely so warm that seed comes up well; ``NaT`` where that is not more than a week after it is
        warm enough, or not known.
    worth_watering : bool
        Whether keeping the ground moist gains days that are worth it.
    mulch_costs : int or None
        Days by which a mulch that is laid in the squares of a sheet with the ending of the cover puts the likely
        planting off, rather than once the soil is warm; None where none is to be laid there, or that is not known.
    """

    residue_by_rain: np.datetime64
    brood: np.datetime64
    soil_good: np.datetime64
    worth_watering: bool
    mulch_costs: int | None = None


def ground_part(
    residue: np.datetime64,
    residue_by_rain: np.datetime64,
    brood: np.datetime64,
    soil_good: np.datetime64,
    soil_least: np.datetime64,
    *,
    known: bool,
    mulch_costs: int | None = None,
) -> GroundPart:
    """What else the ground tells, summed up.

    Parameters
    ----------
    residue : numpy.datetime64[D]
        When the residue is likely gone on ground that is kept moist; ``NaT`` where it is not.
    residue_by_rain, brood, mulch_costs
        As in :class:`GroundPart`.
    soil_good, soil_least : numpy.datetime64[D]
        When the soil is likely good for seed, and warm enough to plant.
    known : bool
        Whether the season is known to its end.
    """
    gain = residue_by_rain - residue
    never = known and bool(np.isnat(residue_by_rain)) and not np.isnat(residue)
    return GroundPart(
        residue_by_rain=residue_by_rain,
        brood=brood,
        soil_good=soil_good
        if soil_good - soil_least > np.timedelta64(WORTH_NAMING, "D")
        else np.datetime64("NaT", "D"),
        worth_watering=never or bool(gain >= np.timedelta64(WORTH_WATERING, "D")),
        mulch_costs=mulch_costs,
    )
