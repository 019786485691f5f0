"""The models, set right by what was measured in the field: a soil thermometer, a ruler, a clip sample."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.units import in_both
from covercrop.models.soil_temperature import SOIL_ERROR_SD
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.field.entries import ScoutingNote
    from covercrop.weather.outlook import Outlook


# The error of the soil model is taken to be a sum of three, as shares of its variance: one of the field, that stays;
# one of what lies on the ground, that stays until the cover is turned under and is then another; one that passes.
FIELD_SHARE = MODELS.readings.field_share.value
COVER_SHARE = MODELS.readings.cover_share.value
PASSING_SHARE = MODELS.readings.passing_share.value

#: Days after which a third of the passing error is left.
PASSING_DAYS = MODELS.readings.passing_days.value

#: Standard deviation of a reading about the day's mean at planting depth [K].
READING_SD = MODELS.readings.soil.value

#: A reading further than this from the model, in standard deviations of both, is called surprising.
SURPRISING_SD = 2.5

#: Standard error of a clip sample, as a share of it.
CLIP_ERROR = MODELS.readings.clip.value

#: Dry matter of a full stand by its height [cm, kg/ha, kg/ha for each cm more], and its standard error as a share.
LOW_STAND_CM = MODELS.readings.low_stand.value * 100
LOW_STAND_KG_HA = MODELS.readings.low_stand_weight.value
KG_HA_PER_CM = MODELS.readings.each_more.value / 100
HEIGHT_ERROR = MODELS.readings.height.value

_SOIL = (
    f"Of the error of the soil model {FIELD_SHARE:.0%} is taken to stay with a field, and {COVER_SHARE:.0%} to change "
    f"when the cover is turned under. A reading of a thermometer is taken to be good to {in_both(READING_SD, 'K')}, "
    f"{MODELS.readings.soil.reason}."
)
_CLIP = f"A clip sample is taken to be good to {CLIP_ERROR:.0%}, {MODELS.readings.clip.reason}."
_HEIGHT = (
    f"A full stand is taken to weigh {LOW_STAND_KG_HA:,.0f} kg/ha ({MODELS.readings.low_stand_weight.printed}) dry at "
    f"{LOW_STAND_CM:.0f} cm ({MODELS.readings.low_stand.printed}) and {KG_HA_PER_CM:.0f} kg/ha for each cm more "
    f"({MODELS.readings.each_more.printed}), the rule of a field day, that is taken to be good to {HEIGHT_ERROR:.0%}."
)


def assumptions(scouting: Sequence[ScoutingNote]) -> tuple[str, ...]:
    """What the use of these measurements rests on that no source gives."""
    clip, height = weighing(scouting)
    soil = any(note.soil_c is not None for note in scouting)
    return tuple(text for used, text in ((soil, _SOIL), (clip, _CLIP), (height, _HEIGHT)) if used)


# --- the soil -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SoilCheck:
    """What thermometer readings do to the soil model.

    Attributes
    ----------
    standing, after : numpy.ndarray, shape (year,) or (place, year)
        Added to the soil temperature under the standing cover, and once it
        is ended [K].
    sd : float
        Standard deviation of the error that is left once the cover is ended [K].
    readings : int
        How many readings it rests on.
    surprising : tuple of (ScoutingNote, float)
        Readings that are far from the model, and how much warmer they are [K].
    left_out : tuple of ScoutingNote
        Those of them that it does not rest on, since no reading of another day is off the same way.
    """

    standing: Array
    after: Array
    sd: float
    readings: int
    surprising: tuple[tuple[ScoutingNote, float], ...] = ()
    left_out: tuple[ScoutingNote, ...] = ()

    def at(self, place: int) -> SoilCheck:
        """The check of one of several places."""
        return replace(self, standing=self.standing[place], after=self.after[place])

    def corrected(self, soil_c: Array, ended: ArrayLike) -> Array:
        """Soil temperature, shape (year, day), with the readings in it [degC]; after the axes of ``ended``, if any."""
        if not self.readings:
            return soil_c
        is_after = np.arange(soil_c.shape[-1]) >= np.asarray(ended)[..., np.newaxis, np.newaxis]  # NaN: never
        return soil_c + np.where(is_after, self.after[:, np.newaxis], self.standing[:, np.newaxis])


def soil_check(scouting: Sequence[ScoutingNote], outlook: Outlook, soil_c: Array, ended: ArrayLike) -> SoilCheck:
    """How far the soil model is off, by the readings of a thermometer.

    Parameters
    ----------
    scouting : sequence of ScoutingNote
        None for several places.
    outlook : Outlook
    soil_c : numpy.ndarray, shape (year, day) or (place, year, day)
        The model [degC].
    ended : array_like
        Day index from which the cover shades the ground no more; NaN where it
        stands throughout.

    Returns
    -------
    SoilCheck

    Notes
    -----
    The best linear estimate of the lasting errors (:data:`FIELD_SHARE`,
    :data:`COVER_SHARE`) from the differences between readings and model,
    whose covariances follow from the three shares and the error of a reading.
    With no readings it corrects nothing and leaves the whole error.  One that is far
    from the model is left out until one of another day is off the same way.  A
    reading under the standing cover tells less of the bare ground than one
    taken there.
    """
    read = [(note, outlook.position(np.datetime64(note.date, "D"))) for note in scouting if note.soil_c is not None]
    read = [(note, day) for note, day in read if day < soil_c.shape[-1] and not np.isnan(soil_c[..., day]).any()]
    nothing = np.zeros(soil_c.shape[:-1])
    if not read:
        return SoilCheck(standing=nothing, after=nothing, sd=SOIL_ERROR_SD, readings=0)
    days = np.array([day for _, day in read])
    misses = np.array([note.soil_c for note, _ in read])[:, np.newaxis] - soil_c[:, days].T  # (reading, year)
    off = misses.mean(axis=1)
    far = np.abs(off) > SURPRISING_SD * np.hypot(SOIL_ERROR_SD, READING_SD)
    surprising = tuple((note, float(miss)) for (note, _), miss, is_far in zip(read, off, far, strict=True) if is_far)
    # A thermometer that was read wrong once must not plant the crop; what two visits agree on may.
    agreed = (np.sign(off[:, np.newaxis]) == np.sign(off)) & far & (days[:, np.newaxis] != days)
    used = ~far | agreed.any(axis=1)
    left_out = tuple(note for (note, _), is_used in zip(read, used, strict=True) if not is_used)
    days, misses = days[used], misses[used]
    if not days.size:
        return SoilCheck(
            standing=nothing, after=nothing, sd=SOIL_ERROR_SD, readings=0, surprising=surprising, left_out=left_out
        )
    is_after = days >= ended
    whole = SOIL_ERROR_SD**2
    passing = PASSING_SHARE * np.exp(-np.abs(days[:, np.newaxis] - days) / PASSING_DAYS)
    alike = COVER_SHARE * (is_after[:, np.newaxis] == is_after)
    between = whole * (FIELD_SHARE + alike + passing) + READING_SD**2 * np.eye(len(days))

    def lasting(*, after: bool) -> Array:
        return whole * (FIELD_SHARE + COVER_SHARE * (is_after == after))

    told = np.linalg.solve(between, misses)
    left = whole - float(lasting(after=True) @ np.linalg.solve(between, lasting(after=True)))
    return SoilCheck(
        standing=lasting(after=False) @ told,
        after=lasting(after=True) @ told,
        sd=float(np.sqrt(left)),
        readings=len(days),
        surprising=surprising,
        left_out=left_out,
    )


# --- the stand ------------------------------------------------------------------------------------


def height_weight(height_cm: float) -> float:
    """Dry matter that the height of a full stand speaks for, by a rule of thumb [kg/ha]."""
    if height_cm <= LOW_STAND_CM:
        return LOW_STAND_KG_HA * height_cm / LOW_STAND_CM
    return LOW_STAND_KG_HA + KG_HA_PER_CM * (height_cm - LOW_STAND_CM)


def weighing(scouting: Sequence[ScoutingNote]) -> tuple[ScoutingNote | None, ScoutingNote | None]:
    """The notes that count for the dry matter: the last clip sample, and the last height if it is later."""
    clip = next((note for note in reversed(scouting) if note.dry_matter_kg_ha is not None), None)
    height = next((note for note in reversed(scouting) if note.height_cm is not None), None)
    if height is not None and clip is not None and height.date <= clip.date:
        height = None
    return clip, height


def dry_matter(
    day: int, scouting: Sequence[ScoutingNote], outlook: Outlook, grown_on: Callable[[int], Array], spread: float
) -> tuple[Array, Array]:
    """Dry matter on a day, by the model and by what was measured before.

    Parameters
    ----------
    day : int
        Day index.
    scouting : sequence of ScoutingNote
        In order of time.
    outlook : Outlook
    grown_on : callable
        The model: dry matter of each year's stand, shape (year,), on a day
        index [kg/ha].
    spread : float
        Standard deviation of the model, as a share.

    Returns
    -------
    mean, sd : numpy.ndarray, shape (year,)
        [kg/ha].

    Notes
    -----
    A clip sample takes the model's place on its day.  A height is weighed
    against what is known by then, each by its own error.  What grows after a
    measurement is the model's, with the model's error.
    """
    weight: Array = np.zeros(1)  # of the model, when it was last looked at
    mean, variance = weight, weight

    def grow(until: int) -> tuple[Array, Array, Array]:
        now = grown_on(until)
        return now, mean + now - weight, variance + (spread * (now - weight)) ** 2

    for note in weighing(scouting):
        if note is None or (noted := outlook.position(np.datetime64(note.date, "D"))) > day:
            continue
        weight, mean, variance = grow(noted)
        if note.dry_matter_kg_ha is not None:
            mean = np.full_like(mean, note.dry_matter_kg_ha)
            variance = (CLIP_ERROR * mean) ** 2
        elif note.height_cm is not None:
            by_height = height_weight(note.height_cm)
            trust = variance / (variance + (HEIGHT_ERROR * by_height) ** 2)
            mean, variance = mean + trust * (by_height - mean), (1 - trust) * variance
    _, mean, variance = grow(day)
    return mean, np.sqrt(variance)


def nitrogen_factor(
    day: int, scouting: Sequence[ScoutingNote], outlook: Outlook, percent_on: Callable[[float], Array]
) -> Array:
    """Factor that brings the model's % N to that of the last sample.

    Parameters
    ----------
    day : int
        Day index that is asked about; later samples do not count.
    scouting : sequence of ScoutingNote
        In order of time.
    outlook : Outlook
    percent_on : callable
        The model's % N in every member on a day index.

    Returns
    -------
    numpy.ndarray
        1 where there is no sample [1].
    """
    samples = [
        (outlook.position(np.datetime64(note.date, "D")), note.nitrogen_percent)
        for note in scouting
        if note.nitrogen_percent is not None
    ]
    samples = [(noted, percent) for noted, percent in samples if noted <= day]
    if not samples:
        return np.array(1.0)
    noted, percent = samples[-1]
    return percent / percent_on(float(noted))
