"""The cereal beside a legume, in every member: its stages, whether it lives, and how much of the stand it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from covercrop.base.arrays import Array
from covercrop.models import cereal, mixture, termination
from covercrop.models.members import Draws, quantiles, share_by
from covercrop.models.note_weights import SCOUTING_SD_DAYS, SHARED_SCATTER, SURPRISING_SD
from covercrop.parameters.constants import MODELS
from covercrop.season.doubts import Doubt

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from covercrop.field.entries import CoverEntry, ScoutingNote
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Residue
    from covercrop.weather.outlook import Outlook

#: Whose the share of the legume is: of a note, of the field file, or nobody's.
WHOSE = ("note", "field", "assumed")

#: From this share of the members on something is called most likely.
MOST_LIKELY = 0.5

#: Part of the names under which the stages of the cereal stand among those of the legume.
PREFIX = "cereal_"


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """The share of the legume in the dry matter [1], its middle and its range, and whose it is (:data:`WHOSE`)."""

    low: float
    middle: float
    high: float
    whose: str

    def drawn(self, draw: ArrayLike) -> Array:
        """The share in each draw, by standard normal ones; the range is taken for an 80 % interval."""
        return mixture.share_drawn(self.low, self.middle, self.high, draw)


def share_of(entry: CoverEntry, notes: Sequence[ScoutingNote]) -> Share:
    """The share of the legume as it was judged last, or as it is taken to be."""
    judged = [note.legume_percent for note in notes if note.legume_percent is not None]
    if judged:
        low, high, whose = judged[-1], judged[-1], "note"
    elif entry.legume_percent is not None:
        low, high, whose = *entry.legume_percent, "field"
    else:
        least, likely, most = mixture.UNKNOWN_SHARE
        return Share(low=least, middle=likely, high=most, whose="assumed")
    return Share(low=low / 100, middle=(low + high) / 200, high=high / 100, whose=whose)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CerealStand:
    """A cereal, member by member; arrays have shape (year, draw), after (place,) where there are several.

    Attributes
    ----------
    companion : Companion
    share : Share
        Of the legume.
    stages : dict of str to numpy.ndarray
        Day index of each stage (:data:`covercrop.models.cereal.ZADOKS`), and of ``tilled_until`` and ``last``.
    killed : numpy.ndarray
        Day index on which cold kills it; NaN where it lives.
    notes : int
        How many notes of its stage its dates rest on.
    sd : float
        Standard deviation of its flowering that is left [d].
    doubts : tuple of Doubt
        Notes of its stage that do not fit the weather.
    """

    companion: Companion
    share: Share
    stages: dict[str, Array]
    killed: Array
    notes: int
    sd: float
    doubts: tuple[Doubt, ...] = ()

    def at(self, place: int) -> CerealStand:
        """That of one of several places."""
        return replace(
            self, stages={name: days[place] for name, days in self.stages.items()}, killed=self.killed[place]
        )

    def later(self, days: int) -> CerealStand:
        """The same with its day indexes counted from so many days earlier."""
        moved = {name: day + days for name, day in self.stages.items()}
        return replace(self, stages=moved, killed=self.killed + days)

    def among_stages(self) -> dict[str, Array]:
        """Its stages as :func:`covercrop.models.termination.window` wants them; a dead one asks for nothing."""
        dead = ~np.isnan(self.killed)
        free = {"heading": -np.inf, "flowering": -np.inf, "tilled_until": np.inf}
        return {PREFIX + name: np.where(dead, free.get(name, np.nan), days) for name, days in self.stages.items()}

    def likely(self) -> dict[str, Array]:
        """The middle day index of each stage, of all members; shape () or (place,)."""
        return {name: np.median(days, axis=(-2, -1)) for name, days in self.stages.items()}

    def days(self, weights: Array) -> Array:
        """Early, likely and late day index of each of :data:`covercrop.models.cereal.ZADOKS`, if it lives."""
        living = weights * np.isnan(self.killed)
        known = living if living.sum() > 0 else weights
        return quantiles(np.stack([self.stages[name] for name in cereal.ZADOKS]), known)

    def zadoks_on(self, day: float, weights: Array) -> int:
        """Its most likely stage on a day, as a Zadoks number."""
        return cereal.zadoks(dict(zip(cereal.ZADOKS, self.days(weights)[:, 1], strict=True)), day)

    def dead_by(self, day: float, weights: Array) -> float:
        """The share of the members in which it is dead by a day [1]."""
        return share_by(self.killed, weights, day)

    def in_grain(self, day: float, weights: Array) -> bool:
        """Whether by a day its grain has most likely begun to fill, so that some may come up whatever is done."""
        return share_by(np.where(np.isnan(self.killed), self.stages["last"], np.nan), weights, day) >= MOST_LIKELY

    def legume_share(self, day: Array | float, draws: Draws | None = None) -> Array:
        """The share of the legume on a day, in every member: all of it, where the cereal is dead [1]."""
        share = self.share.middle if draws is None else self.share.drawn(draws.legume_share)
        return np.where(self.killed <= day, 1.0, share)

    def growth_factor(self, day: Array | float) -> Array:
        """Dry matter of the mixture as a multiple of that of the legume alone, shape (year, 1) [1]."""
        alive = np.mean(~(self.killed <= day), axis=-1, keepdims=True)
        return 1 + (mixture.growth_factor(self.share.middle) - 1) * alive

    def nitrogen_percent(self, day: ArrayLike, draw: ArrayLike) -> Array:
        """Nitrogen in its dry matter on a day, in every member [% N]."""
        return cereal.nitrogen_percent(day, self.stages, self.companion.nitrogen, draw)

    def residue_pace(self, legume: Residue, ended: ArrayLike) -> Array:
        """How fast the ground is clear after ending the mixture on a day, against the legume alone [1].

        Parameters
        ----------
        legume : Residue
        ended : array_like, shape (...)
            Day index; its stage then is that of the middle member.
        """
        likely = self.likely()
        nitrogen = self.companion.nitrogen
        percent = cereal.nitrogen_percent(ended, likely, nitrogen, 0.0)
        gone = np.mean(~np.isnan(self.killed)) >= MODELS.answer.dead.value
        share = 1.0 if gone else self.share.middle
        return mixture.residue_pace(share, legume, self.companion.residue, nitrogen.carbon.value / percent)


def joined(parts: Sequence[CerealStand]) -> CerealStand:
    """The cereal beside a legume of several sowing dates: only what the cold does differs, with how old it is then."""
    return replace(parts[0], killed=np.concatenate([part.killed for part in parts]))


def grow_cereal(
    outlook: Outlook,
    day_length: ArrayLike,
    companion: Companion,
    draws: Draws,
    *,
    midwinter: int,
    share: Share,
    scouting: Sequence[ScoutingNote] = (),
    set_aside: Collection[ScoutingNote] = (),
) -> CerealStand:
    """Follow a cereal through every member of a season; whether it lives is told later.

    Parameters
    ----------
    outlook : Outlook
        Of one place, or of several.
    day_length : array_like
        [h]
    companion : Companion
    draws : Draws
    midwinter : int
        Day index of the midwinter before its spring.
    share : Share
        Of the legume.
    scouting : sequence of ScoutingNote
        Of one place; those of its stage shift its dates.
    set_aside : collection of ScoutingNote
        Those that are not believed.

    Notes
    -----
    A note that lies further off than one honest note in twenty pulls no harder than one that lies just there, and is
    in doubt.
    """
    sd = cereal.spread_of(companion)
    mean = 0.0
    seen = [note for note in scouting if note.cereal is not None and note not in set_aside]
    late: list[float] = []
    doubts: tuple[Doubt, ...] = ()
    if seen:
        middle = cereal.stage_days(outlook.tmean, day_length, companion, midwinter)
        told = {note: gap for note in seen if (gap := _lateness(note, middle, outlook)) is not None}
        most = SURPRISING_SD * float(np.hypot(SCOUTING_SD_DAYS, sd))
        doubts = _doubts(told, most)
        late = [float(np.clip(gap, -most, most)) for gap in told.values()]
    used = len(late)
    if used:
        scatter = SCOUTING_SD_DAYS**2 * (SHARED_SCATTER + (1 - SHARED_SCATTER) / used)
        mean = float(np.mean(late)) * sd**2 / (sd**2 + scatter)
        sd = float(np.sqrt(sd**2 * scatter / (sd**2 + scatter)))
    stages = cereal.stage_days(
        outlook.tmean, day_length, companion, midwinter, late=mean + sd * draws.cereal, milk_draw=draws.pods
    )
    stages["tilled_until"] = termination.tilled_until(stages["boot"], stages["milk"], draws.kill)
    stages["last"] = termination.last_before_grain(stages["milk"], draws.pods)
    return CerealStand(
        companion=companion,
        share=share,
        stages=stages,
        killed=np.full(stages["milk"].shape, np.nan),
        notes=used,
        sd=sd,
        doubts=doubts,
    )


def _doubts(late: Mapping[ScoutingNote, float], most: float) -> tuple[Doubt, ...]:
    """Notes of the cereal that do not fit the weather, by how many days late each has it."""
    far = {note: gap for note, gap in late.items() if abs(gap) > most}
    return tuple(
        Doubt(
            note=note,
            days=-gap,
            of_cereal=True,
            confirmed=any(other.date != note.date and np.sign(gap) == np.sign(far[other]) for other in far),
        )
        for note, gap in far.items()
    )


def _lateness(note: ScoutingNote, middle: dict[str, Array], outlook: Outlook) -> float | None:
    """How much later than the middle stand a cereal was seen at its stage [d]; None where a note tells nothing."""
    assert note.cereal is not None
    reached = cereal.day_at(middle, note.cereal)
    if np.isnan(reached).all():
        return None
    expected = float(np.nanmedian(reached))
    late = outlook.position(np.datetime64(note.date, "D")) - expected
    codes = list(cereal.ZADOKS.values())
    # Before the first dated stage and past the last one a note only tells of a stand that is later, or earlier.
    if (note.cereal < codes[0] and late < 0) or (note.cereal > codes[-1] and late > 0):
        return None
    return late
