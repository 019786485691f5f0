"""What a grower wants of the day on which a cover is ended, and the chance of each want on every day.

Each want holds over one stretch of days in a member, so that a member is four day indexes, and a chance by day is a
sum of steps.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models import spans, termination
from covercrop.models.spans import Places

if TYPE_CHECKING:
    from collections.abc import Iterable

    from covercrop.parameters.traits import Cover


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wants:
    """Between which days each want is met, if the cover is ended in one way; arrays of shape (year, draw).

    Attributes
    ----------
    killed_from : numpy.ndarray
        First day on which this way kills the cover; NaN where it never does.
    bloom_from : numpy.ndarray
        First day on which the cover has bloomed as far as it is to; NaN where it does not.
    seed_free_until : numpy.ndarray
        Last day on which no seed is left behind that could come up; NaN where the cover sets none.
    in_time_until : numpy.ndarray
        Last day that leaves the crop in time; ``-inf`` where none does.
    killed_until : numpy.ndarray or None
        Last day on which it kills the cover; None where it does so on any later day.
    ready_from : numpy.ndarray or None
        First day on which a mixture is as far as this way of ending it asks; None where that is when it has bloomed.
    """

    killed_from: Array
    bloom_from: Array
    seed_free_until: Array
    in_time_until: Array
    killed_until: Array | None = None
    ready_from: Array | None = None

    @property
    def opens(self) -> Array:
        """First day on which it is killed, and as far as it is to be; NaN where that never is."""
        ready = self.bloom_from if self.ready_from is None else self.ready_from
        return np.maximum(self.killed_from, ready)  # passes NaN on

    @property
    def clean_until(self) -> Array:
        """Last day on which it is killed and no seed is left behind; infinity where the cover sets none."""
        free = np.where(np.isnan(self.seed_free_until), np.inf, self.seed_free_until)
        return free if self.killed_until is None else np.minimum(free, self.killed_until)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chances:
    """The chance of each want on every day, and of some of them together; arrays of shape (..., day) [1].

    Attributes
    ----------
    killed, seed_free, bloom, in_time
        Of each want alone (:class:`Wants`).
    clean
        Killed, and no seed left behind.
    window
        Killed, no seed, and in bloom, or as far as the way of ending a mixture asks: the window.
    together
        All of it, and in time.
    """

    killed: Array
    seed_free: Array
    bloom: Array
    in_time: Array
    clean: Array
    window: Array
    together: Array

    def least(self, others: Iterable[Chances]) -> Chances:
        """Each chance, no higher than any of the others has it."""
        others = tuple(others)
        if not others:
            return self
        return Chances(
            **{
                each.name: np.minimum.reduce([getattr(chances, each.name) for chances in (self, *others)])
                for each in fields(self)
            }
        )

    def between(self, first: int, end: int) -> Chances:
        """The same on some of the days, the last one left out."""
        return Chances(**{each.name: getattr(self, each.name)[..., first:end] for each in fields(self)})

    def at(self, place: int) -> Chances:
        """Those of one place of the first axis."""
        return Chances(**{each.name: getattr(self, each.name)[place] for each in fields(self)})

    def scaled(self, factor: float) -> Chances:
        """With the chances of the window, and of all together, so many times as high."""
        return replace(self, window=self.window * factor, together=self.together * factor)


def wants(stages: dict[str, Array], method: str, cover: Cover, in_time_until: Array) -> Wants:
    """Between which days each want is met.

    Parameters
    ----------
    stages : dict of str to numpy.ndarray, shape (year, draw)
        From :func:`covercrop.models.phenology.stage_days`.
    method : str
        One of :data:`covercrop.models.termination.METHODS`.
    cover : Cover
    in_time_until : numpy.ndarray
        As in :class:`Wants`.

    Raises
    ------
    UnknownNameError
        If there is no such way of ending a cover.
    """
    opens, closes = termination.window(stages, method, cover)
    # Dug in or kept dark, a cover dies at any stage; rolled or mown, not before its window opens.
    anyhow = method in termination.KILL_AT_ANY_STAGE
    mixed = "cereal_milk" in stages
    bloom = opens if anyhow and not mixed else stages["bloom_10"]
    return Wants(
        killed_from=np.zeros_like(opens) if anyhow else opens,
        bloom_from=bloom,
        seed_free_until=closes,
        in_time_until=in_time_until,
        killed_until=termination.killed_until(stages, method),
        ready_from=opens if mixed else None,
    )


def chances(wanted: Wants, weights: ArrayLike, days: int) -> Chances:
    """The chance of each want on every day.

    Parameters
    ----------
    wanted : Wants
    weights : array_like, shape (..., year, draw)
        Weights of the members; need not sum to 1.
    days : int
        Length of the day axis.

    Returns
    -------
    Chances
        Arrays of shape (..., day).
    """
    weight = np.asarray(weights, dtype=np.float64)
    shape = weight.shape
    weight = (weight / weight.sum(axis=(-2, -1), keepdims=True)).reshape(*shape[:-2], -1)

    def of_members(places: Places) -> Places:
        return np.broadcast_to(places, shape).reshape(*shape[:-2], -1)

    killed = of_members(spans.first_place(wanted.killed_from, days))
    bloom = of_members(spans.first_place(wanted.bloom_from, days))
    ready = of_members(spans.first_place(wanted.opens, days))
    seed = of_members(spans.end_place(wanted.seed_free_until, days))
    in_time = of_members(spans.end_place(wanted.in_time_until, days))
    always, never = np.zeros_like(killed), np.full_like(killed, days)
    killed_until = never if wanted.killed_until is None else of_members(spans.end_place(wanted.killed_until, days))
    clean = of_members(spans.end_place(wanted.clean_until, days))

    def held(first: Places, end: Places) -> Array:
        # What is left of sums in another order is no chance.
        return np.round(spans.held_by_day(first, end, weight, days), 9)

    return Chances(
        killed=held(killed, killed_until),
        seed_free=held(always, seed),
        bloom=held(bloom, never),
        in_time=held(always, in_time),
        clean=held(killed, clean),
        window=held(ready, clean),
        together=held(ready, np.minimum(clean, in_time)),
    )
