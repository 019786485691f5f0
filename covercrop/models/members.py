"""Members, their weights, and what they say together.

A member is one past year's weather for the rest of the season (axis ``year``)
times one draw of the plant's and the soil's uncertain numbers (axis
``draw``).  The draws are not random: they are an evenly spread set of
points, so that the same field gives the same answer twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array

DRAWS = 64

#: The interval shown: 80 %.
EARLY, MEDIAN, LATE = 0.1, 0.5, 0.9

#: Standard normal draw at its ends.
EIGHTY = 1.2816


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Standard normal draws, one array of shape (draw,) a quantity.

    Whatever is drawn for a field is drawn here, so that all that rests on one quantity feels the same draw: ``soil`` is
    the part of the soil's error that lasts, on which residue, maggots and warmth all rest, ``soil_passing`` that of the
    days on which a threshold is met.
    """

    requirement: Array
    seed: Array
    residue: Array
    soil: Array
    cold: Array
    dry_matter: Array
    ripeness: Array
    disease: Array
    kill: Array
    pods: Array
    viable_share: Array
    soil_passing: Array
    residue_clear: Array
    surface: Array
    cereal: Array
    cereal_nitrogen: Array
    legume_share: Array


#: Day indexes that lie within so many days are tallied.
_FEW_DAYS = 2000  # speed only: those further apart are sorted

#: Primes whose points are little correlated.
_PRIMES = (2, 11, 13, 17, 19, 23, 47, 83, 2473, 1723, 1531, 1019, 443, 1217, 8287, 941, 1069)


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
    roots of as many primes (Richtmyer's sequence), which fill the unit cube
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


def staggered(draws: Array, years: int) -> Array:
    """Draws of what differs from one year to the next: those between them too, so that few draws leave no steps.

    Parameters
    ----------
    draws : numpy.ndarray, shape (draw,)
    years : int

    Returns
    -------
    numpy.ndarray, shape (year, draw)
        Each year lies by its own part of a rank beside the draws, half a rank at the most.
    """
    rank = np.argsort(np.argsort(draws))
    beside = (np.arange(years)[:, np.newaxis] + 0.5) / years - 0.5
    return np.interp(rank + beside, np.arange(draws.size), np.sort(draws))


def student(draw: ArrayLike, freedom: float) -> Array:
    """Draws of Student's t in place of standard normal ones, for a spread that few cases tell.

    Parameters
    ----------
    draw : array_like
        Standard normal.
    freedom : float
        Degrees of freedom, three or more.

    Returns
    -------
    numpy.ndarray
        The value that as large a share lies below.

    Notes
    -----
    ``t = sqrt(n (exp(z**2 (n - 1.5) / (n - 1)**2) - 1))``, within 1 % of the quantile from 5 degrees of freedom on
    (held against scipy in the tests), and without scipy's tables, which take longer to load than a field to answer.
    """
    z = np.asarray(draw, dtype=np.float64)
    scaled = z**2 * (freedom - 1.5) / (freedom - 1) ** 2
    return np.sign(z) * np.sqrt(freedom * np.expm1(scaled))


def quantiles(values: Array, weights: Array, shares: tuple[float, ...] = (EARLY, MEDIAN, LATE)) -> Array:
    """Weighted quantiles of day indexes, some of which may not be reached.

    Parameters
    ----------
    values : numpy.ndarray, shape (..., *member)
        Day indexes; NaN where not reached, which counts as later than all.
    weights : numpy.ndarray, shape (*member)
        Those of the members, on any number of axes; need not sum to 1.
    shares : tuple of float

    Returns
    -------
    numpy.ndarray, shape (..., len(shares))
        NaN for a share that falls among the members that do not get there.

    Notes
    -----
    ``numpy.quantile(..., weights=..., method="inverted_cdf")`` gives the same, bit by bit, but takes three times as
    long for the whole days of one field (30 years, 64 draws), five to ten times for several together, and 0.9 to 2.6
    times for other numbers (measured with numpy 2.4.6); it refuses weights that are all zero.
    """
    leading = values.shape[: values.ndim - weights.ndim]
    rows, weight = values.reshape(-1, weights.size), weights.ravel()
    total = weight.sum()
    if total <= 0:
        return np.full((*leading, len(shares)), np.nan)
    wanted = np.asarray(shares) * total * (1 - 1e-9)
    found = _tallied(rows, weight, wanted)
    if found is None:
        found = np.stack([_sorted(row, weight, wanted) for row in rows])
    return found.reshape(*leading, len(shares))


def _sorted(values: Array, weights: Array, wanted: Array) -> Array:
    """The values at which the running sum of the weights comes to what is wanted."""
    order = np.argsort(values)  # NaN sorts last
    return values[order[np.searchsorted(np.cumsum(weights[order]), wanted)]]


def _tallied(rows: Array, weights: Array, wanted: Array) -> Array | None:
    """The same, row by row, where all are whole days of a few years, which is quicker than to sort them; else None."""
    first, last = np.fmin.reduce(rows, axis=None), np.fmax.reduce(rows, axis=None)
    if not np.isfinite([first, last]).all():
        return None
    if last - first > _FEW_DAYS:  # speed only: those further apart are sorted
        return None
    missing = int(last - first) + 1
    place = np.where(np.isnan(rows), last + 1, rows) - first
    whole = place.astype(np.intp)
    if (whole != place).any():
        return None
    days = first + np.arange(missing + 1)
    days[missing] = np.nan
    whole += np.arange(len(rows))[:, np.newaxis] * days.size
    tally = np.bincount(whole.ravel(), np.broadcast_to(weights, rows.shape).ravel(), len(rows) * days.size)
    climbing = np.cumsum(tally.reshape(-1, days.size), axis=1)
    places = np.stack([(climbing < share).sum(axis=1) for share in wanted], axis=-1)
    return days[places]


def share_by(values: Array, weights: Array, day: float) -> float:
    """Weighted share of members that have reached a stage by a day.

    Parameters
    ----------
    values, weights : numpy.ndarray
        Day indexes (NaN where not reached) and weights.
    day : float
        Day index.
    """
    return share(values <= day, weights)


def share(where: NDArray[np.bool_], weights: Array) -> float:
    """Weighted share of the members for which something holds, from 0 to 1.

    Parameters
    ----------
    where : numpy.ndarray of bool
        Shape of ``weights``.
    weights : numpy.ndarray
        Those of the members; without any weight the share is 0.

    Notes
    -----
    Two sums of the same numbers in another order differ in their last digits, so that a share that is all would lie a
    hair above 1.  A chance is held to [0, 1] here, where it is made.
    """
    total = float(weights.sum())
    return min(float(weights[where].sum()) / total, 1.0) if total > 0 else 0.0
