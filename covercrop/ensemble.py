"""Members, their weights, and what they say together.

A member is one past year's weather for the rest of the season (axis ``year``)
times one draw of the plant's and the soil's uncertain numbers (axis
``draw``).  The draws are not random: they are an evenly spread set of
points, so that the same field gives the same answer twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import erf
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DRAWS = 64

#: The interval shown: 80 %.
EARLY, MEDIAN, LATE = 0.1, 0.5, 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Standard normal draws, one array of shape (draw,) a quantity."""

    requirement: Array
    seed: Array
    residue: Array
    soil: Array
    cold: Array
    dry_matter: Array


#: The six of the first nine primes whose points are least correlated.
_PRIMES = (2, 11, 13, 17, 19, 23)


@cache
def standard_draws(count: int = DRAWS) -> Draws:
    """Evenly spread standard normal draws.

    Parameters
    ----------
    count : int

    Returns
    -------
    Draws
        Each array has mean 0 and, but for the missing tails, variance 1.

    Notes
    -----
    The ``n``-th point takes the fractional parts of ``n`` times the square
    roots of six primes (Richtmyer's sequence), which fill the unit cube
    evenly.  Each dimension is then ranked, so that every single quantity takes
    exactly the midpoints of ``count`` equal shares.
    """
    normal = NormalDist()
    middles = np.array([normal.inv_cdf((place + 0.5) / count) for place in range(count)])
    arrays = {}
    for name, prime in zip(Draws.__slots__, _PRIMES, strict=True):
        values = middles[np.argsort(np.argsort(np.arange(1, count + 1) * np.sqrt(prime) % 1))]
        values.setflags(write=False)
        arrays[name] = values
    return Draws(**arrays)


def quantiles(values: Array, weights: Array, shares: tuple[float, ...] = (EARLY, MEDIAN, LATE)) -> Array:
    """Weighted quantiles of day indexes, some of which may not be reached.

    Parameters
    ----------
    values : numpy.ndarray
        Day indexes; NaN where not reached, which counts as later than all.
    weights : numpy.ndarray
        Same shape; need not sum to 1.
    shares : tuple of float

    Returns
    -------
    numpy.ndarray, shape (len(shares),)
        NaN for a share that falls among the members that do not get there.
    """
    flat, weight = values.ravel(), weights.ravel()
    total = weight.sum()
    if total <= 0:
        return np.full(len(shares), np.nan)
    order = np.argsort(flat)  # NaN sorts last
    climbing = np.cumsum(weight[order])
    places = np.searchsorted(climbing, np.asarray(shares) * total * (1 - 1e-9))
    return flat[order][np.minimum(places, flat.size - 1)]


def share_by(values: Array, weights: Array, day: float) -> float:
    """Weighted share of members that have reached a stage by a day.

    Parameters
    ----------
    values, weights : numpy.ndarray
        Day indexes (NaN where not reached) and weights.
    day : float
        Day index.
    """
    total = weights.sum()
    return float(weights[values <= day].sum() / total) if total > 0 else 0.0


# --- scouting -------------------------------------------------------------------------------------

#: Scatter of a scouted stage about the field's true stage, as days.  `assumed`:
#: two people walking the same stand a few days apart in bloom rarely agree to
#: the day; four days is the scoring interval of careful bloom surveys.
SCOUTING_SD_DAYS = 4.0

#: A note that even its best member misses by more than so many of its standard
#: deviations is given a wider one: the slip of a month must not move a forecast.
MOST_SD = 2.0

#: Below this share of members that still count, the notes have all but
#: contradicted the ensemble and their scatter is widened.
LEAST_EFFECTIVE_SHARE = 0.02

NOTE_REACHED = "reached"
NOTE_NOT_YET = "not yet"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """One scouting note, as the members see it.

    Attributes
    ----------
    day : float
        Day index of the visit.
    expected : numpy.ndarray, shape (year, draw)
        Day index on which each member is at the stage that was seen (NaN
        where it never is).
    kind : {"reached", "not yet"}
        Whether the stage was seen, or seen not to have come yet.
    """

    day: float
    expected: Array
    kind: str


def _misfit(note: Evidence) -> float:
    """Days by which even the member that explains a note best is off; a note far from all has to be a slip."""
    lateness = note.expected - note.day
    known = lateness[~np.isnan(lateness)]
    if not known.size:
        return 0.0
    return float(np.abs(known).min() if note.kind == NOTE_REACHED else max(-known.max(), 0.0))


def _log_likelihood(note: Evidence, sd: float) -> Array:
    # A member that never gets there is as good as one that is a season late.
    lateness = np.where(np.isnan(note.expected), note.day + 365.0, note.expected) - note.day
    if note.kind == NOTE_REACHED:
        return -0.5 * (lateness / sd) ** 2
    share = 0.5 * (1 + np.vectorize(erf, otypes=[float])(lateness / (sd * np.sqrt(2))))
    return np.log(np.maximum(share, 1e-300))


def effective_share(weights: Array) -> float:
    """Kish's effective sample size as a share of the number of members."""
    squares = float((weights**2).sum())
    return float(weights.sum() ** 2 / squares / weights.size) if squares > 0 else 0.0


def scouting_weights(
    shape: tuple[int, ...], notes: list[Evidence], sd: float = SCOUTING_SD_DAYS
) -> tuple[Array, float]:
    """Weights of the members after the scouting notes.

    Parameters
    ----------
    shape : tuple of int
        (year, draw).
    notes : list of Evidence
    sd : float
        Scatter of a note [d].

    Returns
    -------
    weights : numpy.ndarray, shape (year, draw)
        Sum to 1.
    sd : float
        The scatter that was used: wider than asked for if the notes would
        otherwise have left too few members [d].
    """
    sd = max([sd, *(_misfit(note) / MOST_SD for note in notes)])
    while True:
        score = np.zeros(shape)
        for note in notes:
            score = score + _log_likelihood(note, sd)
        weights = np.exp(score - score.max())
        weights /= weights.sum()
        if not notes or effective_share(weights) >= LEAST_EFFECTIVE_SHARE or sd > 60:
            return weights, sd
        sd *= 1.5
