"""What scouting notes do to the members: how well each explains them, weights, draws gathered about them."""

from __future__ import annotations

from dataclasses import dataclass
from math import erfc, hypot, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models.members import EARLY, LATE, quantiles
from covercrop.parameters.constants import MODELS

#: Scatter of a scouted stage about the field's true stage, as days.
SCOUTING_SD_DAYS = MODELS.notes.scatter.value

#: Share of that scatter (as variance) that all notes of one field have in common.
SHARED_SCATTER = MODELS.notes.shared.value

#: Days of scatter that a note gains for each day since the visit, for so many days.
FADING = MODELS.notes.fading.value
FADING_DAYS = MODELS.notes.fading_days.value

#: A note counts in full up to so many standard deviations of its own scatter; beyond that it pulls no harder (Huber's
#: rule, at a customary place): the slip of a month must not move a forecast by a month.
FIRM_SD = 1.5

#: A note that lies further than this from what the weather and the notes before it foretell is called surprising: so
#: many standard deviations of the members and the note together, one honest note in twenty.
SURPRISING_SD = 2.0

#: Standard deviation of the days from one stage of a stand to another, as a share of them.
PACE_SPREAD = MODELS.notes.pace_spread.value

#: Below this share of members that still count, the notes have all but
#: contradicted the ensemble and their scatter is widened.
LEAST_EFFECTIVE_SHARE = 0.05

#: Draws are gathered about what the notes say, over so much more than its spread, never over less than this, nor
#: beyond the limit.
REFOCUS_WIDER, REFOCUS_LEAST, REFOCUS_LIMIT = 1.1, 0.25, 3.5

NOTE_REACHED = "reached"
NOTE_NOT_YET = "not yet"
NOTE_PAST = "past"

#: What all notes may have in common, in standard deviations: the midpoints of as many equal shares.
_COMMON = np.array([NormalDist().inv_cdf((place + 0.5) / 32) for place in range(32)])

_GRID = np.linspace(-FIRM_SD, 8.0, 901)
_LOG_SHARES = np.log([0.5 * erfc(-x / sqrt(2)) for x in _GRID])
_SLOPE = NormalDist().pdf(FIRM_SD) / NormalDist().cdf(-FIRM_SD)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """One scouting note, as the members see it.

    Attributes
    ----------
    day : float
        Day index of the visit.
    expected : numpy.ndarray, shape (year, draw) or (1, draw)
        Day index on which each member is at the stage that was seen (NaN
        where it never is); one row where the years do not differ.
    kind : {"reached", "not yet", "past"}
        Whether the stage was seen, or seen not to have come yet, or to be
        over already.
    age : float
        Days since the visit.
    of_seed : bool
        Whether it tells of pods and seed, not of buds and bloom.
    """

    day: float
    expected: Array
    kind: str
    age: float = 0.0
    of_seed: bool = False

    @property
    def lateness(self) -> Array:
        """Days by which each member is later than the note; one that never gets there is as good as a season late."""
        return np.where(np.isnan(self.expected), self.day + 365.0, self.expected) - self.day


def _contradiction(note: Evidence, lateness: float) -> float:
    """Days by which a note speaks against a lateness; a note that only bounds a stage speaks on one side."""
    if note.kind == NOTE_NOT_YET:
        return min(lateness, 0.0)
    return max(lateness, 0.0) if note.kind == NOTE_PAST else lateness


def surprise(note: Evidence, weights: Array | None = None) -> float:
    """Days by which a note contradicts what was foretold without it.

    Parameters
    ----------
    note : Evidence
    weights : numpy.ndarray, shape (year, draw), optional
        Of its members, by the notes before it; alike by default.

    Returns
    -------
    float
        Positive where the stage was seen early [d]; infinite where most
        members never get there; 0 where there is nothing to be surprised at.
    """
    weights = np.ones_like(note.expected) if weights is None else weights
    early, median, late = quantiles(np.broadcast_to(note.expected, weights.shape), weights)
    if np.isnan(median):
        return 0.0 if note.kind == NOTE_NOT_YET else np.inf
    gap = _contradiction(note, float(median - note.day))
    spread = 0.0 if np.isnan(late) else (late - early) / (NormalDist().inv_cdf(LATE) - NormalDist().inv_cdf(EARLY))
    return gap if abs(gap) > SURPRISING_SD * hypot(SCOUTING_SD_DAYS, spread) else 0.0


def clash(earlier: Evidence, later: Evidence) -> float:
    """Days by which two notes of one field cannot both be right.

    Parameters
    ----------
    earlier, later : Evidence
        The one taken first, and the other.

    Returns
    -------
    float
        Positive where the later note sees the stand further on than the earlier one allows [d], negative where it
        sees it further back; 0 where both can be right, and where the members do not get to what was seen.

    Notes
    -----
    Each note says how late this stand is against a member: exactly so, at least so ("not yet") or at most so
    ("past").  What two notes say may differ by the scatter that they do not share, and by how far the pace of a stand
    from the one stage to the other may differ from that of the members.
    """
    between = abs(float(np.median(later.expected - earlier.expected)))
    if np.isnan(between):
        return 0.0
    gap = float(np.median(later.lateness - earlier.lateness))
    # The later note may not put the stand back, or not forward, where one of the two sets no bound on that side.
    if later.kind == NOTE_PAST or earlier.kind == NOTE_NOT_YET:
        gap = max(gap, 0.0)
    if later.kind == NOTE_NOT_YET or earlier.kind == NOTE_PAST:
        gap = min(gap, 0.0)
    scatter = hypot(SCOUTING_SD_DAYS * sqrt(2 * (1 - SHARED_SCATTER)), PACE_SPREAD * between)
    return gap if abs(gap) > SURPRISING_SD * scatter else 0.0


def _log_share(scaled: Array) -> Array:
    """Logarithm of the normal share below a value; on from :data:`FIRM_SD` below the middle, a straight line."""
    return np.interp(scaled, _GRID, _LOG_SHARES) - _SLOPE * np.maximum(-FIRM_SD - scaled, 0.0)


def _log_normal(scaled: Array) -> Array:
    """Logarithm of the normal density but for a constant; on from :data:`FIRM_SD`, a straight line (Huber's)."""
    firm = np.minimum(np.abs(scaled), FIRM_SD)
    return firm * (0.5 * firm - np.abs(scaled))


def _log_likelihood(note: Evidence, error: Array, sd: float) -> Array:
    """How well each member explains a note of some scatter of its own, for each error that all notes have in common."""
    scaled = (note.lateness + error) / hypot(sd, FADING * min(note.age, FADING_DAYS))
    if note.kind == NOTE_REACHED:
        return _log_normal(scaled)
    return _log_share(scaled if note.kind == NOTE_NOT_YET else -scaled)


def _weights(shape: tuple[int, ...], notes: list[Evidence], own: float, shared: float, prior: ArrayLike) -> Array:
    """Weights of the members, averaged over what all notes may have in common."""
    error = (shared * _COMMON)[:, np.newaxis, np.newaxis]
    score = np.broadcast_to(np.asarray(prior, dtype=np.float64), (_COMMON.size, 1, shape[-1]))
    for note in notes:
        score = score + _log_likelihood(note, error, own)
    weights = np.exp(score - score.max(axis=(1, 2), keepdims=True))
    weights /= weights.sum(axis=(1, 2), keepdims=True)
    mean = np.broadcast_to(weights.mean(axis=0), shape)
    return mean / mean.sum()


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
        The scatter that was used [d]: wider than asked for if the notes turn
        out to lie further than that from the middle member, or would have left
        too few members.

    Notes
    -----
    The error of a note is the sum of one that all notes share and one of its
    own.  The shared one is averaged over as it was thought of beforehand: the
    notes may not tell how far they are all off.  (If they might, two notes that
    contradict each other would be explained by an error of both, and the plant
    would be moved away from either.)  So a further note moves the stage
    towards what it says, never the other way.  What the notes scatter more than
    they were thought to goes into the shared error, which widens the dates but
    does not move them.
    """
    while True:
        own, shared = np.sqrt(1 - SHARED_SCATTER) * sd, np.sqrt(SHARED_SCATTER) * sd
        weights = _weights(shape, notes, own, shared, prior)
        scatter = max(sd, _scatter(notes, weights))
        if scatter > sd:
            weights = _weights(shape, notes, own, np.sqrt(scatter**2 - own**2), prior)
        if not notes or effective_share(weights) >= LEAST_EFFECTIVE_SHARE or sd > 60:
            return weights, scatter
        sd *= 1.5


def _scatter(notes: list[Evidence], weights: Array) -> float:
    """Root mean square of the days by which the notes contradict the middle member [d]."""
    middle = (float(quantiles(np.broadcast_to(note.lateness, weights.shape), weights)[1]) for note in notes)
    off = [_contradiction(note, lateness) for note, lateness in zip(notes, middle, strict=True)]
    return float(np.sqrt(np.mean(np.square(off)))) if off else 0.0


#: Places on the standard normal scale, close together and far out, to find where the notes have put a quantity.
PLACES = np.linspace(-REFOCUS_LIMIT, REFOCUS_LIMIT, 141)


def refocus(draw: Array, places: Array, weights: Array) -> tuple[Array, Array]:
    """The draws of one quantity, gathered where the notes have put it.

    Parameters
    ----------
    draw : numpy.ndarray, shape (draw,)
        Standard normal.
    places : numpy.ndarray, shape (place,)
        Values of the quantity on the same scale.
    weights : numpy.ndarray, shape (year, place)
        Theirs after the notes.

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
    share = weights.sum(axis=0) / weights.sum()
    centre = float((share * places).sum())
    spread = max(REFOCUS_WIDER * float(np.sqrt((share * (places - centre) ** 2).sum())), REFOCUS_LEAST)
    moved = np.clip(centre + min(spread, 1.0) * draw, -REFOCUS_LIMIT, REFOCUS_LIMIT)
    return moved, 0.5 * (draw**2 - moved**2)
