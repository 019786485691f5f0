"""Everything that has to be over before the crop goes in: the earliest planting.

Five limits stand between turning under and planting.  Each is a day index for
every member; the earliest planting is the latest of them, and the one that is
last is the one that binds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.base.units import in_both
from covercrop.models import decay, decomposition, frost, maggot, seedling_disease
from covercrop.models.degree_days import first_at_least
from covercrop.models.soil_temperature import SOIL_ERROR_SD, held
from covercrop.models.termination import ON_SURFACE
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.models.decomposition import Maturity
    from covercrop.parameters.companions import CerealWait
    from covercrop.parameters.traits import Crop, Residue


METHODS = seedling_disease.METHODS

LIMITS = ("residue", "disease", "maggot", "soil_warm", "frost")

BINDING_WORDS = {
    "residue": "the residue, not the soil, is holding you back",
    "disease": "the seedling diseases that fresh residue feeds are holding you back",
    "maggot": "seedcorn maggot, with the soil still cool, is holding you back",
    "soil_warm": "the soil, not the residue, is holding you back",
    "frost": "late frost, not the ground, is holding you back",
}

#: Keys in ``data/sources.toml`` of what the limits rest on, whatever the crop.
SOURCES = (
    "seligman1981",
    "godwin1991",
    "probert1998",
    "neitsch2011",
    "grunwald2000",
    "sare_gnc05_044",
    "vegedge_maggot",
    "varenhorst2024",
    "owens_maggot",
    "brust_maggot",
    "muskmelon_rye_maggot",
    "hammond1993",
    "kstate_postrock",
    "katterer2009",
    "zheng1993",
    MODELS.soil.plastic.source,
    "alabama_anr1061",
    MODELS.residue.straw_cellulose.source,
    MODELS.soil.straw_leaf_area.source,
)

#: What no source gives, for the reader of the dates.
ASSUMPTIONS = (
    f"Residue counts as gone once {decomposition.CARBOHYDRATE_CLEAR:.0%} of its sugars and starches, or "
    f"{decomposition.MASS_CLEAR:.0%} of its weight, is left: {MODELS.residue.mass_clear.reason}.",
    "From full bloom to ripe seed a cover is taken to turn evenly from young residue to straw.",
    "The ground is taken to be kept moist while the residue rots; what the rain alone would do is said beside it.",
    f"Seed is taken to be at risk of maggots in the first {maggot.MAGGOT_BROOD_DAYS:.0f} days after turning under "
    f"while the soil is below {in_both(maggot.MAGGOT_COLD_SOIL, 'degC')}, and for {maggot.MAGGOT_PEAK_DAYS:.0f} days "
    f"after a peak of flies while it is below {in_both(maggot.MAGGOT_SAFE_SOIL, 'degC')}: the numbers are published, "
    "the rule made of them is not.",
    "A standing cover is taken to shade the soil fully.",
    f"Straw is taken to shade the soil like a leaf area of {MODELS.soil.straw_leaf_area.printed}, which keeps it some "
    f"{in_both(2.0, 'K')} below bare ground in May; a soil thermometer knows better.",
    f"The soil temperature is worked out from the air and may be {in_both(SOIL_ERROR_SD, 'K')} off for a whole spring, "
    "which is why its dates are wide.",
)


def soil_warm(soil_c: ArrayLike, planting_temperature: float, start: ArrayLike, soil_error: ArrayLike = 0.0) -> Array:
    """First day from turning under on which the soil has been warm enough for some days running (:data:`DAYS_HELD`).

    Parameters
    ----------
    soil_c : array_like, shape (..., day)
        Daily soil temperature [degC].
    planting_temperature : float
        What the crop waits for [degC].
    start : array_like, shape (..., k)
        Day index from which it may be planted; the days before it count
        among them.
    soil_error : array_like, shape (..., k), optional
        Added to the soil temperature [K].

    Returns
    -------
    numpy.ndarray, shape (..., k)
        Day index; NaN where not reached, and where ``start`` is NaN.
    """
    begin, error = (np.asarray(value, dtype=np.float64) for value in (start, soil_error))
    first = first_at_least(held(soil_c), planting_temperature - error, begin)
    return np.asarray(first[..., 0] if begin.ndim == error.ndim == 0 else first)


def soil_wanted(crop: Crop, method: str, own: float | None = None) -> tuple[float, float | None]:
    """Soil that the planting waits for, and the warmer one in which seed comes up well.

    Parameters
    ----------
    crop : Crop
    method : str
        One of :data:`METHODS`.
    own : float, optional
        The grower's own threshold, which wins [degC].

    Returns
    -------
    tuple of (float, float or None)
        [degC]; None where no warmer one is known, or there is an own one.
    """
    if own is not None:
        return own, None
    if method == "transplant":
        return (crop.soil_set_out or crop.soil_planting).value, None
    return crop.soil_planting.value, None if crop.soil_good is None else crop.soil_good.value


def planted_through(crop: Crop, method: str, terminate: str) -> bool:
    """Whether the crop goes in through the residue and does not wait for it to rot, as plants and large seed do."""
    return terminate in ON_SURFACE and (method == "transplant" or not crop.small_seed)


def limits(
    tmin: Array,
    tmax: Array,
    soil_c: Array,
    start: ArrayLike,
    midwinter: float,
    *,
    residue: Residue,
    crop: Crop,
    method: str,
    terminate: str = "turn-under",
    soil_least: float | None = None,
    maturity: Maturity = decomposition.YOUNG,
    residue_draw: ArrayLike = 0.0,
    clear_draw: ArrayLike = 0.0,
    surface_draw: ArrayLike = 0.0,
    soil_error: ArrayLike = 0.0,
    disease_draw: ArrayLike = 0.0,
    soil_passing: ArrayLike = 0.0,
    residue_pace: ArrayLike = 1.0,
    cereal: CerealWait | None = None,
) -> dict[str, Array]:
    """Every limit on planting, in every member.

    Parameters
    ----------
    tmin, tmax : numpy.ndarray, shape (year, day)
        Daily extremes [degC].
    soil_c : numpy.ndarray, shape (year, day)
        Daily soil temperature [degC].
    start : array_like, shape (..., k)
        Day index of turning under.
    midwinter : float
        Day index of 1 January, south of the equator 1 July.
    residue : Residue
        What was turned under.
    crop : Crop
    method : str
        One of :data:`METHODS`.
    terminate : str
        How it was ended: what is left on top is planted through, by plants and large seed, and breeds few flies.
    soil_least : float, optional
        Soil to wait for [degC]; that of the crop by default (:func:`soil_wanted`).
    maturity : Maturity, of arrays (..., k), optional
        How far the cover had come.
    residue_draw, surface_draw : array_like, shape (..., k), optional
        Standard normal; above 0 the residue goes faster than is likely, wherever it lies and on top.
    clear_draw, disease_draw : array_like, shape (..., k), optional
        Standard normal; above 0 the ground is called clear, and free of disease, later than is likely.
    soil_error : array_like, shape (..., k), optional
        Part of the error of the soil temperature that lasts all spring, which every limit feels that rests on it [K].
    soil_passing : array_like, shape (..., k), optional
        Part of it that comes and goes within days, which only a threshold feels [K].
    residue_pace : array_like, shape (..., 1, 1), optional
        How fast the residue of a mixture goes, as a share of that of the legume alone [1].
    cereal : CerealWait, optional
        How long a cereal beside the legume makes wait.

    Returns
    -------
    dict of str to numpy.ndarray, shape (year, k)
        Day index by limit (:data:`LIMITS`); NaN where not reached.

    Raises
    ------
    UnknownNameError
        If there is no such planting method.
    """
    begin = np.atleast_1d(np.asarray(start, dtype=np.float64))
    on_top = terminate in ON_SURFACE
    through = planted_through(crop, method, terminate)
    least = soil_wanted(crop, method)[0] if soil_least is None else soil_least
    on_a_day = np.asarray(soil_error, dtype=np.float64) + np.asarray(soil_passing, dtype=np.float64)
    day = {
        "residue": begin
        if through
        else decomposition.residue_clear(
            soil_c,
            begin,
            residue,
            maturity=maturity,
            pace=(decay.surface_pace(surface_draw) if on_top else 1.0) * np.asarray(residue_pace, dtype=np.float64),
            draw=residue_draw,
            clear_draw=clear_draw,
            soil_error=soil_error,
        ),
        "disease": seedling_disease.disease_clear(
            begin, method, terminate, small_seed=crop.small_seed, cereal=cereal, draw=disease_draw
        ),
        "maggot": maggot.maggot_clear(tmin, tmax, soil_c, begin, midwinter, soil_error=on_a_day)
        if crop.maggot_host and not on_top
        else begin,
        "soil_warm": soil_warm(soil_c, least, begin, on_a_day),
        # Each year's own frost: the risk that is run is that of the share of members, once for all limits together.
        "frost": frost.freeze_free_from(tmin, midwinter, crop.frost.value)[..., np.newaxis],
    }
    shape = np.broadcast_shapes(*(index.shape for index in day.values()))
    return {name: np.broadcast_to(index, shape).copy() for name, index in day.items()}


def earliest(limits: dict[str, Array]) -> Array:
    """First day on which no limit stands in the way.

    Parameters
    ----------
    limits : dict of str to numpy.ndarray
        Day index of each limit, all of one shape.

    Returns
    -------
    numpy.ndarray
        Day index; NaN where a limit is never reached.
    """
    return np.asarray(np.max(np.stack(list(limits.values())), axis=0))  # np.max passes NaN on


def binding(limits: dict[str, Array], weights: ArrayLike | None = None) -> str | None:
    """Name of the limit that is most often the last to clear.

    A limit that is never reached binds; of several on one day the first in
    the dictionary does.

    Parameters
    ----------
    limits : dict of str to numpy.ndarray
        Day index of each limit, all of one shape.
    weights : array_like, optional
        Weight of each member; equal by default.

    Returns
    -------
    str or None
        None if there is no member of any weight.
    """
    last = _last_to_clear(limits)
    weight = np.ones(last.shape) if weights is None else np.broadcast_to(np.asarray(weights), last.shape)
    odds = np.bincount(last.ravel(), weight.ravel(), minlength=len(limits))
    best = int(odds.argmax())
    return list(limits)[best] if odds[best] > 0 else None


def _last_to_clear(limits: dict[str, Array]) -> NDArray[np.intp]:
    """Place in the dictionary of the limit that is the last to clear, in each member."""
    days = np.stack(list(limits.values()))
    return np.where(np.isnan(days), np.inf, days).argmax(axis=0)


def days_to_maturity(crop: Crop, method: str, from_packet: float | None = None) -> float:
    """Days to maturity as packets count them, less what transplants save.

    Parameters
    ----------
    crop : Crop
    method : str
        One of :data:`METHODS`; transplants save the crop's credit.
    from_packet : float, optional
        The grower's own number for direct seed, from the seed packet [d];
        without it that of the crop.

    Returns
    -------
    float
        [d].

    Raises
    ------
    UnknownNameError
        If there is no such planting method.
    """
    if method not in METHODS:
        raise UnknownNameError("planting method", method, METHODS)
    days = crop.days_to_maturity.value if from_packet is None else from_packet
    return days - (crop.transplant_credit.value if method == "transplant" else 0.0)


def emergence_days(crop: Crop, soil_c: ArrayLike) -> Array:
    """Days from sowing until the crop is up, at a steady soil temperature.

    Parameters
    ----------
    crop : Crop
    soil_c : array_like
        [degC].

    Returns
    -------
    numpy.ndarray
        [d]; straight between the temperatures of the table.  NaN outside
        them, where nothing was measured, and for a crop without a table.
    """
    soil = np.asarray(soil_c, dtype=np.float64)
    if not crop.emergence:
        return np.full(soil.shape, np.nan)
    table = np.array([(point.soil.value, point.days.value) for point in crop.emergence])
    steady = np.interp(soil, table[:, 0], table[:, 1])
    inside = (soil >= table[0, 0] - 1e-6) & (soil <= table[-1, 0] + 1e-6)
    return np.where(inside, steady, np.nan)
