"""Members, their weights, and what they say together.

A member is one past year's weather for the rest of the season (axis ``year``)
times one draw of the plant's and the soil's uncertain numbers (axis
``draw``).  The draws are not random: they are an evenly spread set of
points, so that the same field gives the same answer twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import erfc, hypot, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

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


#: Day indexes that lie within so many days are tallied.
_FEW_DAYS = 2000

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
    ordered, climbing = _tallied(flat, weight) or _sorted(flat, weight)
    places = np.searchsorted(climbing, np.asarray(shares) * total * (1 - 1e-9))
    return ordered[np.minimum(places, ordered.size - 1)]


def _sorted(values: Array, weights: Array) -> tuple[Array, Array]:
    """Values in order, and the running sum of their weights."""
    order = np.argsort(values)  # NaN sorts last
    return values[order], np.cumsum(weights[order])


def _tallied(values: Array, weights: Array) -> tuple[Array, Array] | None:
    """The same day by day where all are whole days of a few years, which is quicker than to sort them; else None."""
    first, last = np.fmin.reduce(values), np.fmax.reduce(values)
    if not (np.isfinite(last) and last - first < _FEW_DAYS):
        return None
    missing = int(last - first) + 1
    place = np.where(np.isnan(values), last + 1, values) - first
    whole = place.astype(np.intp)
    if (whole != place).any():
        return None
    days = first + np.arange(missing + 1.0)
    days[missing] = np.nan
    return days, np.cumsum(np.bincount(whole, weights, missing + 1))


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

#: Share of that scatter (as variance) that all notes of one field have in common.  `assumed`: they are mostly taken by
#: the same eyes from the same corner, and whoever calls buds early calls bloom early; without it, ten notes would claim
#: to know the stage to a day.
SHARED_SCATTER = 0.5

#: A note that even its best member misses by more than so many of its standard
#: deviations is given a wider one: the slip of a month must not move a forecast.
MOST_SD = 2.0

#: A note that lies further than this from what the weather alone foretells is called surprising: so many standard
#: deviations of the members and the note together, one honest note in twenty.
SURPRISING_SD = 2.0

#: Below this share of members that still count, the notes have all but
#: contradicted the ensemble and their scatter is widened.
LEAST_EFFECTIVE_SHARE = 0.05

#: Draws are gathered about what the notes say, over so much more than its spread, never over less than this, nor
#: beyond the limit.
REFOCUS_WIDER, REFOCUS_LEAST, REFOCUS_LIMIT = 1.1, 0.25, 3.5

NOTE_REACHED = "reached"
NOTE_NOT_YET = "not yet"
NOTE_PAST = "past"

_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)

_TAIL = 8.0
_GRID = np.linspace(-_TAIL, _TAIL, 1601)
_LOG_SHARES = np.log([0.5 * erfc(-x / sqrt(2)) for x in _GRID])


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
    kind : {"reached", "not yet", "past"}
        Whether the stage was seen, or seen not to have come yet, or to be
        over already.
    """

    day: float
    expected: Array
    kind: str

    @property
    def lateness(self) -> Array:
        """Days by which each member is later than the note; one that never gets there is as good as a season late."""
        return np.where(np.isnan(self.expected), self.day + 365.0, self.expected) - self.day


def _misfit(note: Evidence) -> float:
    """Days by which even the member that explains a note best is off; a note far from all has to be a slip."""
    known = (note.expected - note.day)[~np.isnan(note.expected)]
    if not known.size:
        return 0.0
    if note.kind == NOTE_REACHED:
        return float(np.abs(known).min())
    return float(max(-known.max(), 0.0) if note.kind == NOTE_NOT_YET else max(known.min(), 0.0))


def surprise(note: Evidence) -> float:
    """Days by which a note contradicts what the weather alone foretells.

    Parameters
    ----------
    note : Evidence
        Its members count alike.

    Returns
    -------
    float
        Positive where the stage was seen early [d]; infinite where most
        members never get there; 0 where there is nothing to be surprised at.
    """
    early, median, late = quantiles(note.expected, np.ones_like(note.expected))
    if np.isnan(median):
        return 0.0 if note.kind == NOTE_NOT_YET else np.inf
    gap = float(median - note.day)
    if (note.kind == NOTE_NOT_YET and gap > 0) or (note.kind == NOTE_PAST and gap < 0):
        return 0.0
    spread = 0.0 if np.isnan(late) else (late - early) / (NormalDist().inv_cdf(LATE) - NormalDist().inv_cdf(EARLY))
    return gap if abs(gap) > SURPRISING_SD * hypot(SCOUTING_SD_DAYS, spread) else 0.0


def _log_share(scaled: Array) -> Array:
    """Logarithm of the normal share below a value, to far into the tail."""
    far = np.maximum(-scaled, _TAIL)
    tail = -0.5 * far**2 - np.log(far * np.sqrt(2 * np.pi))
    return np.where(scaled < -_TAIL, tail, np.interp(scaled, _GRID, _LOG_SHARES))


def _log_likelihood(notes: list[Evidence], sd: float) -> Array:
    """How well each member explains all notes together, as a logarithm.

    The error of a note is the sum of one that all notes share and one of its
    own.  Given the stages that were seen on the day, the shared one is normal
    in closed form; over the rest of it the notes that only bound a stage are
    averaged.
    """
    shared, own = SHARED_SCATTER * sd**2, (1 - SHARED_SCATTER) * sd**2
    seen = [note.lateness for note in notes if note.kind == NOTE_REACHED]
    bounds = [note for note in notes if note.kind != NOTE_REACHED]
    variance = 1 / (1 / shared + len(seen) / own)
    common = np.zeros(notes[0].expected.shape) - sum(seen) / own * variance
    score = 0.5 * common**2 / variance - 0.5 * sum(lateness**2 for lateness in seen) / own
    if not bounds:
        return score
    at_node = np.zeros((len(_NODES), *score.shape))
    for place, node in enumerate(_NODES):
        error = common + np.sqrt(variance) * node
        for note in bounds:
            scaled = (note.lateness + error) / np.sqrt(own)
            at_node[place] += _log_share(scaled if note.kind == NOTE_NOT_YET else -scaled)
    top = at_node.max(axis=0)
    shares = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()
    return score + top + np.log(np.tensordot(shares, np.exp(at_node - top), axes=1))


def effective_share(weights: Array) -> float:
    """Kish's effective sample size as a share of the number of members."""
    squares = float((weights**2).sum())
    return float(weights.sum() ** 2 / squares / weights.size) if squares > 0 else 0.0


def scouting_weights(
    shape: tuple[int, ...], notes: list[Evidence], sd: float = SCOUTING_SD_DAYS, prior: ArrayLike = 0.0
) -> tuple[Array, float]:
    """Weights of the members after the scouting notes.

    Parameters
    ----------
    shape : tuple of int
        (year, draw).
    notes : list of Evidence
    sd : float
        Scatter of a note [d]; :data:`SHARED_SCATTER` of it, as variance, is
        the same in all notes.
    prior : array_like, shape (draw,)
        Logarithm of the weights before the notes; equal by default.

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
        score = np.broadcast_to(np.asarray(prior, dtype=np.float64), shape)
        if notes:
            score = score + _log_likelihood(notes, sd)
        weights = np.exp(score - score.max())
        weights /= weights.sum()
        if not notes or effective_share(weights) >= LEAST_EFFECTIVE_SHARE or sd > 60:
            return weights, sd
        sd *= 1.5


def refocus(draw: Array, weights: Array) -> tuple[Array, Array]:
    """The draws of one quantity, gathered where the notes have put it.

    Parameters
    ----------
    draw : numpy.ndarray, shape (draw,)
        Standard normal.
    weights : numpy.ndarray, shape (year, draw)
        After the notes.

    Returns
    -------
    draw : numpy.ndarray, shape (draw,)
        As many draws, about the weighted mean and somewhat wider than the
        weighted spread.
    prior : numpy.ndarray, shape (draw,)
        Logarithm of the weights that make them standard normal again.

    Notes
    -----
    Importance sampling.  Without it one good note leaves a dozen draws of 64
    that count, and an unlikely one three, too few for an interval.
    """
    share = weights.reshape(-1, draw.size).sum(axis=0) / weights.sum()
    centre = float((share * draw).sum())
    spread = max(REFOCUS_WIDER * float(np.sqrt((share * (draw - centre) ** 2).sum())), REFOCUS_LEAST)
    moved = np.clip(centre + min(spread, 1.0) * draw, -REFOCUS_LIMIT, REFOCUS_LIMIT)
    return moved, 0.5 * (draw**2 - moved**2)
