"""When a cover may be ended: a window for each way of doing it, and its odds by the day.

A window opens with what the method needs of the plant and closes before seed
could come up again in the crop.

============== ============================ =====================================
method         opens                        closes
============== ============================ =====================================
``turn-under`` 10 % bloom                   first viable seed
``roll``       full bloom; vetches by the   first swelling pods
               first pods
``mow``        full bloom                   first swelling pods
``tarp``       first buds                   in time to be dead before viable seed
============== ============================ =====================================

Beside a cereal, whose stages stand among those of the legume as ``cereal_...``,
what is rolled or mown waits for the later of the two: a roller kills rye from
its first flowers on (`mirsky2009`; in Alabama, `ashford2003`, it was sure only
in late milk), a mower from heading.  What is turned under goes by the earlier,
nearly always the cereal, from when its stems stretch; from the boot on tillage
kills it less and less surely (`msu_rye_boot`).  All end before its grain is
more than watery ripe (`uc_cereal_latest`), or the legume's seed is a risk.

Turned-under plants die whatever their stage.  Rolled or mown ones live on, or
grow again, until they are in full bloom; a roller was unreliable on hairy
vetch through flowering and reliable once pods had set (`mischler2010`), so
that the day from which it kills is drawn between the two; and
vetch, pea and faba hardly regrow once mown after bloom (`clark2007`).  What is
rolled or mown dries above ground, where common vetch seed that had only begun
to fill ripened in its pods (`samarah`); so these two close before turning
under does.  Under a black tarp rye and vetch were dead in three weeks of
spring (`strader2019`).

Windows are pairs of arrays of day indexes, one entry a member; both days are
within.  One that closes before it opens, or does not open, holds no day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.base.errors import UnknownNameError
from covercrop.models import spans
from covercrop.models.members import EIGHTY
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.base.records import CitedValue
    from covercrop.parameters.traits import Cover


METHODS = ("turn-under", "roll", "mow", "tarp")

#: Those that kill a cover whatever its stage.
KILL_AT_ANY_STAGE = ("turn-under", "tarp")

#: Those that leave the residue on top.
ON_SURFACE = ("roll", "mow", "tarp")

#: Covers that a roller kills reliably only once they set pods.
NEED_PODS = ("hairy-vetch", "woollypod-vetch", "common-vetch")

#: Pace of what is left on top, as a share of that of what is dug in.
_SURFACE = MODELS.residue.surface

#: Keys of the sources of what it does to residue and soil that the cover lies on top.
_ON_TOP = (_SURFACE.source, MODELS.water.litter_full.source, MODELS.soil.residue_leaf_area.source)

#: Early pod set, as a share of the days from full bloom to the end of bloom.
EARLY_PODS = MODELS.ending.early_pods

#: When a roller kills what needs pods for it, as such a share: at full bloom in some stands, with early pods in all.
ROLLED_FROM = MODELS.ending.rolled_from

#: Last day on which seed in a cut plant does not ripen, as a share of the days from the first flowers to viable seed.
SWELLING_PODS = MODELS.ending.swelling_pods

#: Last day on which tillage kills a cereal that is hard to kill, as a share of the days from boot to watery ripe grain.
TILLED_UNTIL = MODELS.mixture.tilled_until

#: Last day on which a cereal leaves no grain behind, as a share of the days from watery ripe grain to soft dough.
LAST_GRAIN = MODELS.mixture.last_grain

#: How long a tarp takes.
TARP_DAYS = MODELS.ending.tarp


def window(stages: dict[str, Array], method: str, cover: Cover) -> tuple[Array, Array]:
    """First and last day on which a cover may be ended.

    Parameters
    ----------
    stages : dict of str to numpy.ndarray
        From :func:`covercrop.models.phenology.stage_days`.
    method : str
        One of :data:`METHODS`.
    cover : Cover

    Returns
    -------
    tuple of numpy.ndarray
        Day index of opening and of closing: the last day within, which lies
        before that of the first viable seed.  NaN where not reached.

    Raises
    ------
    UnknownNameError
        If there is no such method.
    """
    opens, closes = _of_legume(stages, method, cover)
    return _beside_cereal(opens, closes, stages, method) if "cereal_milk" in stages else (opens, closes)


def _of_legume(stages: dict[str, Array], method: str, cover: Cover) -> tuple[Array, Array]:
    seed = stages["viable_seed"] - 1
    if method == "turn-under":
        return stages["bloom_10"], seed
    if method == "tarp":
        return stages["bud"], seed - TARP_DAYS.value
    if method not in METHODS:
        raise UnknownNameError("way of ending a cover", method, METHODS)
    opens = stages["bloom_50"]
    if method == "roll" and cover.key in NEED_PODS:
        opens = stages["rolled_from"] if "rolled_from" in stages else rolled_from(stages)
    return opens, stages["swelling_pods"] if "swelling_pods" in stages else swelling_pods(stages)


#: The stage of a cereal that a way of ending it waits for.
_CEREAL_FROM = {"roll": "cereal_flowering", "mow": "cereal_heading"}


def _beside_cereal(opens: Array, closes: Array, stages: dict[str, Array], method: str) -> tuple[Array, Array]:
    """The window of a legume, held to that of the cereal beside it."""
    if method in _CEREAL_FROM:
        opens = np.maximum(opens, stages[_CEREAL_FROM[method]])  # passes NaN on: what never comes to it is not killed
    else:
        opens = np.fmin(opens, stages["cereal_jointing"])
    return opens, np.fmin(closes, stages["cereal_last"])


def killed_until(stages: dict[str, Array], method: str) -> Array | None:
    """Last day on which a way surely kills what stands, where it does not for ever.

    Takes what :func:`window` takes.

    Returns
    -------
    numpy.ndarray or None
        Day index: tillage kills a cereal less surely from the boot on.  None where it kills on any later day too.
    """
    if method != "turn-under" or "cereal_tilled_until" not in stages:
        return None
    last = stages["cereal_tilled_until"]
    return np.where(np.isnan(last), np.inf, last)  # what does not come so far is soft


def tilled_until(boot: Array, milk: Array, draw: ArrayLike = 0.0) -> Array:
    """Last day on which tillage surely kills a cereal: from its boot on it is hard in ever more stands, but not in all.

    Parameters
    ----------
    boot, milk : numpy.ndarray
        Day index of the boot, and of watery ripe grain.
    draw : array_like, shape (draw,), optional
        Standard normal; one below 0 is a stand that is hard to kill, the lower the sooner.

    Returns
    -------
    numpy.ndarray
        Day index; plus infinity for a stand that is never hard to kill.
    """
    last = np.floor(boot + drawn(TILLED_UNTIL, draw) * (milk - boot))
    return np.where(np.asarray(draw) < 0, last, np.inf)


def last_before_grain(milk: Array, draw: ArrayLike = 0.0) -> Array:
    """Last day on which a cereal leaves no grain that could come up: between watery ripe grain and soft dough.

    Parameters
    ----------
    milk : numpy.ndarray
        Day index of watery ripe grain.
    draw : array_like, shape (draw,), optional
        Standard normal; above 0 it is later than is likely.
    """
    return np.floor(milk + drawn(LAST_GRAIN, draw) * MODELS.cereal.dough.value)


def rolled_from(stages: dict[str, Array], draw: ArrayLike = 0.0) -> Array:
    """First day on which a roller kills a cover that needs pods for it.

    Parameters
    ----------
    stages : dict of str to numpy.ndarray
        As for :func:`window`.
    draw : array_like, shape (draw,), optional
        Standard normal; above 0 the stand has to be further on than is likely.

    Returns
    -------
    numpy.ndarray
        Day index; NaN where not reached.
    """
    bloom = stages["bloom_50"]
    return np.ceil(bloom + drawn(ROLLED_FROM, draw) * (stages["end_of_bloom"] - bloom))


def swelling_pods(stages: dict[str, Array], draw: ArrayLike = 0.0) -> Array:
    """Last day on which no seed ripens in plants that are rolled or mown; later than is likely for a draw above 0.

    Takes and gives what :func:`rolled_from` does.
    """
    flower = stages["first_flower"]
    return np.floor(flower + drawn(SWELLING_PODS, draw) * (stages["viable_seed"] - 1 - flower))


def drawn(value: CitedValue, draw: ArrayLike) -> Array:
    """A value by a standard normal draw, its range taken for an 80 % interval, and never beyond it."""
    low, high = value.value if value.low is None else value.low, value.value if value.high is None else value.high
    normal = np.asarray(draw, dtype=np.float64)
    off = np.where(normal < 0, value.value - low, high - value.value) * normal / EIGHTY
    return np.clip(value.value + off, low, high)


def probability_by_day(opens: ArrayLike, closes: ArrayLike, weights: ArrayLike, days: int) -> Array:
    """Weight of the members whose window holds each day.

    Parameters
    ----------
    opens, closes : array_like
        Day indexes, one a member; a window that does not close within the
        days looked at stays open to the last of them.
    weights : array_like
        Same shape.  They are not made to sum to 1, so that members that die
        in winter may be given no weight.
    days : int
        Length of the day axis.

    Returns
    -------
    numpy.ndarray, shape (days,)
        From 0 to 1, for weights that sum to 1 at most.
    """
    first, end = (np.ravel(place(day, days)) for place, day in ((spans.first_place, opens), (spans.end_place, closes)))
    return spans.held_by_day(first, end, np.ravel(np.asarray(weights, dtype=np.float64)), days)


def sources(method: str) -> tuple[str, ...]:
    """Keys of the sources that a method's window rests on."""
    return {
        "turn-under": (),
        "roll": ("mischler2010", EARLY_PODS.source, "samarah", "regan2024", *_ON_TOP),
        "mow": ("clark2007", "samarah", "regan2024", *_ON_TOP),
        "tarp": (TARP_DAYS.source, "regan2024", *_ON_TOP),
    }[method]


def assumptions(method: str) -> tuple[str, ...]:
    """What no source gives about a method's window, in plain sentences."""
    if method == "turn-under":
        return ()
    surface = (
        f"What lies on top is taken to rot at {_SURFACE.value:.0%} of the pace of what is dug in, "
        f"{_SURFACE.low:.0%} to {_SURFACE.high:.0%} in eight cases of ten, and slower in dry weather. Plants and large "
        "seed go in through it and do not wait for it; small seed does.",
        "Cut or flattened residue is taken to breed too few flies to wait for: fifteen times as many came from tilled "
        "covers (Regan et al. 2024).",
        f"It is taken to shade the soil like a leaf area of {MODELS.soil.residue_leaf_area.printed}, as what lies on "
        "land that is not tilled does.",
    )
    if method == "tarp":
        return (*surface, "A tarp is given three weeks whatever the weather; in a cool spring it takes four to six.")
    return (
        *surface,
        f"A cover that is rolled or mown is safe only up to its first swelling pods: {SWELLING_PODS.reason}.",
        *((f"A roller kills vetch from full bloom to early pods on: {ROLLED_FROM.reason}.",) * (method == "roll")),
    )
