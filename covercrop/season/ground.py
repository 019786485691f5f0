"""The ground once the cover is ended, in every member: what stands between it and the crop."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models import decay, decomposition, maggot, plantback, soil_water, termination
from covercrop.models.decomposition import YOUNG, Maturity
from covercrop.models.members import EIGHTY, staggered
from covercrop.models.soil_temperature import SOIL_ERROR_SD, soil_temperature
from covercrop.season.measurements import PASSING_SHARE, SoilCheck, soil_check
from covercrop.season.ripeness import Ripeness, ripeness

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.field.entries import CropEntry, ScoutingNote
    from covercrop.models.members import Draws
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop, Residue
    from covercrop.weather.outlook import Outlook


#: Weeks after the ending of the cover at which its nitrogen is told.
RELEASE_WEEKS = (2, 4, 8)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """The ground of one field, member by member.

    Arrays of day indexes have shape (year, draw), or (year, 1) where the
    draws play no part; after (place,) where there are several.

    Attributes
    ----------
    limits : dict of str to numpy.ndarray
        Day on which each limit on planting clears (:data:`covercrop.models.plantback.LIMITS`).
    terminate : str
        How the cover was taken to be ended.
    earliest, latest : numpy.ndarray
        First day without a limit, and last day that lets the crop ripen (:meth:`Ripeness.latest`).
    ripeness : Ripeness
        By what it does.
    dead : numpy.ndarray, shape ()
        Day index on which the ended cover is dead; NaN where it is not ended.
    maturity : Maturity
        How far it had come when it was ended.
    soil_c : numpy.ndarray, shape (year, day)
        Soil temperature at planting depth [degC].
    soil_check : SoilCheck
        What thermometer readings have done to it.
    residue_pace : numpy.ndarray, shape ()
        How fast the residue goes, as a share of that of the legume alone: 1 where there is no cereal [1].
    """

    limits: dict[str, Array]
    terminate: str
    earliest: Array
    latest: Array
    ripeness: Ripeness
    dead: Array
    maturity: Maturity
    soil_c: Array
    soil_check: SoilCheck
    residue_pace: Array

    def at(self, place: int) -> Ground:
        """The ground of one of several places."""
        return replace(
            self,
            limits={name: days[place] for name, days in self.limits.items()},
            earliest=self.earliest[place],
            latest=self.latest[place],
            ripeness=self.ripeness.at(place),
            dead=self.dead[place],
            maturity=self.maturity.at(place),
            soil_c=self.soil_c[place],
            soil_check=self.soil_check.at(place),
            residue_pace=self.residue_pace[place],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GroundDetails:
    """What the ground tells beside the dates, of which it moves none.

    Attributes
    ----------
    residue_by_rain : numpy.ndarray, shape (year, 1)
        When the residue would be gone with no water but the rain.
    brood : numpy.ndarray, shape (year, 1)
        When most of the flies bred on the cover are out.
    soil_good : numpy.ndarray, shape (year, 1)
        When the soil is so warm that seed comes up well; NaN where it never is, or no such soil is known.
    released : numpy.ndarray, shape (year, day)
        Share of the plant-available nitrogen of the season released [1].
    release : dict of int to numpy.ndarray, shape (3, year)
        The same so many weeks after the cover is dead, for the slow, the
        likely and the fast case; NaN beyond the season.
    """

    residue_by_rain: Array
    brood: Array
    soil_good: Array
    released: Array
    release: dict[int, Array]


def dead_from(ended: ArrayLike, terminate: str) -> Array:
    """Day index on which the clocks of the ground start: the ending of the cover, or what a tarp takes after it."""
    return np.asarray(ended, dtype=np.float64) + (termination.TARP_DAYS.value if terminate == "tarp" else 0.0)


def ground_under(entry: CropEntry, terminate: str) -> str:
    """What lies on the ground once the cover is ended: its own residue, where that is left and nothing is laid."""
    return "residue" if entry.ground_cover == "bare" and terminate in ("roll", "mow") else entry.ground_cover


def planting_limits(
    outlook: Outlook,
    soil_c: Array,
    residue: Residue,
    crop: Crop,
    entry: CropEntry,
    draws: Draws,
    dead: ArrayLike,
    midwinter: int,
    *,
    terminate: str = "turn-under",
    maturity: Maturity = YOUNG,
    soil_sd: float = SOIL_ERROR_SD,
    residue_pace: ArrayLike = 1.0,
    cereal: Companion | None = None,
) -> dict[str, Array]:
    """Every limit on planting after a cover that dies on a given day.

    Parameters
    ----------
    outlook : Outlook
    soil_c : numpy.ndarray, shape (..., year, day)
        Soil temperature at planting depth, with the cover standing until then [degC].
    residue : Residue
        What is left of the cover.
    crop : Crop
    entry : CropEntry
        How the crop is to be planted.
    draws : Draws
    dead : array_like, shape (...)
        Day index from which the cover no longer stands; NaN where it does throughout.
    midwinter : int
        Day index of the midwinter before the crop's spring.
    terminate : str
        How it was ended.
    maturity : Maturity, of arrays (..., year, draw), optional
        How far it had come.
    soil_sd : float
        Standard deviation of the error of ``soil_c`` [K].
    residue_pace : array_like, shape of ``dead``, optional
        How fast the residue of a mixture goes, as a share of that of the legume alone [1].
    cereal : Companion, optional
        What stood beside the legume.

    Returns
    -------
    dict of str to numpy.ndarray, shape (..., year, draw)
        Day index on which each limit clears (:data:`covercrop.models.plantback.LIMITS`).
    """
    start = np.asarray(dead, dtype=np.float64)[..., np.newaxis]
    passing = np.sqrt(PASSING_SHARE) * SOIL_ERROR_SD
    return plantback.limits(
        outlook.tmin,
        outlook.tmax,
        soil_c,
        start[..., np.newaxis],
        midwinter,
        residue=residue,
        crop=crop,
        method=entry.method,
        terminate=terminate,
        soil_least=entry.soil_c,
        maturity=maturity,
        residue_draw=draws.residue,
        clear_draw=draws.residue_clear,
        surface_draw=draws.surface,
        disease_draw=staggered(draws.disease, outlook.tmin.shape[-2]),
        soil_error=np.sqrt(max(soil_sd**2 - passing**2, 0.0)) * draws.soil,
        soil_passing=min(passing, soil_sd) * draws.soil_passing,
        residue_pace=np.asarray(residue_pace, dtype=np.float64)[..., np.newaxis, np.newaxis],
        cereal=None if cereal is None else cereal.wait,
    )


def limits_by_ending(
    outlook: Outlook,
    cover: Cover,
    crop: Crop,
    entry: CropEntry,
    draws: Draws,
    *,
    dead: Array,
    midwinter: int,
    terminate: str,
    maturity: Maturity = YOUNG,
    scouting: Sequence[ScoutingNote] = (),
    residue_pace: ArrayLike = 1.0,
    cereal: Companion | None = None,
) -> dict[str, Array]:
    """Every limit on planting after each of several days on which the cover may still be ended.

    Takes what :func:`follow_ground` takes, of one place, but for ``dead``, which is of shape (ending,) and lies ahead,
    ``maturity``, of arrays (ending, year, draw), and ``residue_pace``, which may be of shape (ending,).

    Returns
    -------
    dict of str to numpy.ndarray, shape (ending, year, draw)
        Day index on which each limit clears (:data:`covercrop.models.plantback.LIMITS`).
    """
    modelled = soil_temperature(outlook.tmean, ground_under(entry, terminate), canopy_until=dead[:, np.newaxis])
    check = soil_check(scouting, outlook, modelled[-1], np.nan)  # the cover stands where it was read
    return planting_limits(
        outlook,
        check.corrected(modelled, dead),
        cover.residue,
        crop,
        entry,
        draws,
        dead,
        midwinter,
        terminate=terminate,
        maturity=maturity,
        soil_sd=check.sd,
        residue_pace=residue_pace,
        cereal=cereal,
    )


def follow_ground(
    outlook: Outlook,
    cover: Cover,
    crop: Crop,
    entry: CropEntry,
    draws: Draws,
    *,
    dead: ArrayLike,
    midwinter: int,
    terminate: str = "turn-under",
    maturity: Maturity = YOUNG,
    scouting: Sequence[ScoutingNote] = (),
    residue_pace: ArrayLike = 1.0,
    cereal: Companion | None = None,
) -> Ground:
    """Follow the ground from the ending of the cover to the planting of the crop.

    Parameters
    ----------
    outlook : Outlook
        Of one place, or of several (:func:`covercrop.weather.outlook.together`).
    cover : Cover
    crop : Crop
    entry : CropEntry
        How the crop is to be planted.
    draws : Draws
    dead : array_like, shape () or (place,)
        Day index from which the cover no longer stands (:func:`dead_from`); NaN where it does throughout.
    midwinter : int
        Day index of the midwinter before the crop's spring.
    terminate : str
        How the cover is ended.
    maturity : Maturity, of arrays (year, draw) or (place, year, draw), optional
        How far it has come by then; young by default.
    scouting : sequence of ScoutingNote
        Of one place; its thermometer readings set the soil model right.
    residue_pace, cereal
        As for :func:`planting_limits`.

    Raises
    ------
    UnknownNameError
        If there is no such ground cover or planting method.
    """
    died = np.asarray(dead, dtype=np.float64)
    modelled = soil_temperature(outlook.tmean, ground_under(entry, terminate), canopy_until=died[..., np.newaxis])
    check = soil_check(scouting, outlook, modelled, died)
    soil_c = check.corrected(modelled, died)
    limits = planting_limits(
        outlook,
        soil_c,
        cover.residue,
        crop,
        entry,
        draws,
        died,
        midwinter,
        terminate=terminate,
        maturity=maturity,
        soil_sd=check.sd,
        residue_pace=residue_pace,
        cereal=cereal,
    )
    ripens = ripeness(outlook, crop, entry, draws, midwinter)
    return Ground(
        limits=limits,
        terminate=terminate,
        earliest=plantback.earliest(limits),
        latest=ripens.latest(),
        ripeness=ripens,
        dead=died,
        maturity=maturity,
        soil_c=soil_c,
        soil_check=check,
        residue_pace=np.broadcast_to(np.asarray(residue_pace, dtype=np.float64), died.shape),
    )


def ground_details(
    outlook: Outlook, latitude: float, cover: Cover, crop: Crop, entry: CropEntry, ground: Ground
) -> GroundDetails:
    """What else the ground has to tell once it has been followed.

    Takes what :func:`follow_ground` takes, and what it gave.
    """
    start = ground.dead[np.newaxis]
    moist = soil_water.moisture(
        outlook.prcp,
        outlook.tmin,
        outlook.tmax,
        latitude,
        outlook.day_of_year,
        ground_under(entry, ground.terminate),
        float(ground.dead),
    )
    middle, pace = ground.maturity.middle(), float(ground.residue_pace)
    _, good = plantback.soil_wanted(crop, entry.method, entry.soil_c)
    # A cover that is ended after the season of the crop gives to the rest of the days.
    ends = np.where(ground.ripeness.end > ground.dead, ground.ripeness.end, np.nan)

    def by_model(moisture: ArrayLike) -> Array:
        released = decomposition.nitrogen_released(
            ground.soil_c, ground.dead, cover.residue, maturity=middle, moisture=pace * np.asarray(moisture)
        )
        return decomposition.of_the_season(released, ends)

    if ground.terminate in termination.ON_SURFACE:
        rained = soil_water.litter_moisture(outlook.prcp)
        rotting = {
            case: decay.surface_moisture(moist, rained, decay.surface_pace(draw))
            for case, draw in zip(decomposition.CASES, (-EIGHTY, 0.0, EIGHTY), strict=True)
        }
        by_rain = rotting["likely"]
        released = {case: decomposition.case_of(by_model(rotting[case]), case) for case in rotting}
    else:
        by_rain, kept_moist = moist, by_model(1.0)
        released = {case: decomposition.case_of(kept_moist, case) for case in decomposition.CASES}
    through = plantback.planted_through(crop, entry.method, ground.terminate)
    return GroundDetails(
        residue_by_rain=np.broadcast_to(start, (len(ground.soil_c), 1))
        if through
        else decomposition.residue_clear(
            ground.soil_c, start, cover.residue, maturity=middle, pace=pace, moisture=by_rain
        ),
        soil_good=np.full((len(ground.soil_c), 1), np.nan)
        if good is None
        else plantback.soil_warm(ground.soil_c, good, start),
        brood=maggot.brood_peak(outlook.tmin, outlook.tmax, start),
        released=released["likely"],
        release={weeks: _on_day(released, float(ground.dead) + 7 * weeks) for weeks in RELEASE_WEEKS},
    )


def _on_day(released: dict[str, Array], day: float) -> Array:
    """What has been released by a day, case by case; NaN where there is no such day."""
    first = released["likely"]
    if not day < first.shape[-1]:
        return np.full((len(decomposition.CASES), len(first)), np.nan)
    return np.stack([released[case][:, int(day)] for case in decomposition.CASES])
