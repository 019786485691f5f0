"""What a plan says of a mixture: where its cereal stands, how much of it is the legume, and what the two come to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.base.records import DateRange
from covercrop.models import cereal, mixture, seedling_disease, termination
from covercrop.models.members import quantiles, share
from covercrop.parameters.companions import companion
from covercrop.parameters.constants import MODELS
from covercrop.season.beside import PREFIX
from covercrop.season.stand_part import SURE

if TYPE_CHECKING:
    from covercrop.base.records import CitedValue
    from covercrop.field.entries import CropEntry
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.season.beside import Share
    from covercrop.season.nitrogen_part import Amount
    from covercrop.season.stand import Stand
    from covercrop.weather.outlook import Outlook

#: The dates of a cereal, in their order.
CEREAL_DATES = ("jointing", "boot", "heading", "flowering", "milk")

#: A way of ending the two clashes where it has a day less often than this, and the legume alone more often.
CLASH = 0.75

#: What helps where they clash: a cereal that is later, a late cultivar of this one, or another way of ending.
HELPS = ("triticale", "winter-wheat", "later-cultivar", "mow", "turn-under")

#: The month after an ending, in which little comes free where the soil is cool [d].
FIRST_MONTH = 28

#: A cereal that is less likely to live than this is told of as likely to die in the winter.
LIKELY_ALIVE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """That a way of ending waits for one of the two until the other is past its last day.

    Attributes
    ----------
    method : str
        The way that was asked for.
    past : str
        Which is past its last day first: the ``cereal``, where the legume is late for it, or the ``legume``.
    chance : float
        That it has a day all the same [1].
    helps : dict of str to float
        What would help (:data:`HELPS`), what gains most first, and the chance of a day then [1].
    """

    method: str
    past: str
    chance: float
    helps: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class MixturePart:
    """The cereal beside the legume, and the two together.

    Attributes
    ----------
    companion : Companion
    zadoks : int
        Most likely stage of the cereal on the day of the answer, or when it was ended.
    dates : dict of str to DateRange
        Each of :data:`CEREAL_DATES`; ``milk`` is its last stage before seed, watery ripe grain.
    notes : int
        How many notes of its stage these rest on.
    good_to : float
        Standard deviation of its flowering [d].
    share : Share
        Of the legume in the dry matter, and whose it is.
    survival : float
        Chance that the cereal lives through the winter [1].
    dead : bool
        Whether it is called dead by the day of the answer.
    dies : DateRange
        When the cold kills it; ``NaT`` where it most likely lives.
    in_grain : bool
        Whether its grain has most likely begun to fill before the day of the answer, or of its ending, so that some may
        come up in the crop; only the legume's seed can then still be kept out.
    legume_dead : bool
        Whether the cold has killed the legume, so that the plan goes on with the cereal alone.
    legume_survival : float
        Chance that the legume lives through the winter [1].
    percent : Amount or None
        Nitrogen in the dry matter on the day of ending [% N]; None where there is no such day.
    band : str or None
        What it does with the soil's nitrogen: one of :data:`covercrop.models.mixture.BANDS`; None as above.
    cool_soil : bool
        Whether the soil is so cool in the month after that less comes free than is said.
    wait : CitedValue or None
        How long the cereal makes the crop wait [d]; None where that is not known to matter.
    clash : Clash or None
    """

    companion: Companion
    zadoks: int
    dates: dict[str, DateRange]
    notes: int
    good_to: float
    share: Share
    survival: float
    dead: bool
    dies: DateRange
    in_grain: bool
    legume_dead: bool
    legume_survival: float
    percent: Amount | None
    band: str | None
    cool_soil: bool
    wait: CitedValue | None
    clash: Clash | None

    @property
    def may_die(self) -> bool:
        """Whether the chance that the cereal lives is worth saying."""
        return self.survival < SURE

    @property
    def headed(self) -> bool:
        """Whether the cereal most likely heads already."""
        return self.zadoks >= cereal.ZADOKS["heading"]

    @property
    def stage(self) -> str:
        """The stage of the cereal in plain words."""
        return cereal.stage_name(self.zadoks)


def mixture_part(
    stand: Stand,
    outlook: Outlook,
    cover: Cover,
    crop: Crop,
    planting: CropEntry,
    weights: Array,
    *,
    asked: str,
    method: str,
    today: float,
    ending: float | None,
    legume_survival: float,
    percent: Amount | None,
    soil_c: Array,
) -> MixturePart | None:
    """The mixture, summed up; None for a legume alone.

    Parameters
    ----------
    stand : Stand
    outlook : Outlook
    cover : Cover
    crop : Crop
    planting : CropEntry
        How the crop is planted.
    weights : numpy.ndarray, shape (year, draw)
    asked, method : str
        How the cover was to be ended, and how it is.
    today : float
        Day index on which the stage is asked for.
    ending : float or None
        Day index of the ending of the cover.
    legume_survival : float
        As in :class:`MixturePart`.
    percent : Amount or None
        As in :class:`MixturePart`.
    soil_c : numpy.ndarray, shape (year, day)
        Soil temperature at planting depth [degC].
    """
    beside = stand.cereal
    if beside is None:
        return None
    by_name = dict(zip(cereal.ZADOKS, outlook.dates(beside.days(weights)), strict=True))
    survival = share(np.isnan(beside.killed), weights)
    dies = quantiles(beside.killed[np.newaxis], weights * ~np.isnan(beside.killed))
    if survival >= LIKELY_ALIVE:
        dies = np.full_like(dies, np.nan)
    grain = beside.in_grain(today - 1, weights)
    return MixturePart(
        companion=beside.companion,
        zadoks=beside.zadoks_on(today, weights),
        dates={name: _range(by_name[name]) for name in CEREAL_DATES},
        notes=beside.notes,
        good_to=beside.sd,
        share=beside.share,
        survival=survival,
        dead=beside.dead_by(today, weights) >= MODELS.answer.dead.value,
        dies=_range(outlook.dates(dies)[0]),
        in_grain=grain,
        legume_dead=stand.legume_dead,
        legume_survival=legume_survival,
        percent=percent,
        band=None if percent is None else mixture.band(percent.median),
        cool_soil=ending is not None and _is_cool(soil_c, ending),
        wait=seedling_disease.cereal_wait(beside.companion.wait, planting.method, method, small_seed=crop.small_seed),
        clash=None if stand.legume_dead or grain else _clash(stand, cover, weights, asked),
    )


def _range(days: Array) -> DateRange:
    early, median, late = days
    return DateRange(early=early, median=median, late=late)


def _is_cool(soil_c: Array, ending: float) -> bool:
    """Whether the soil of the four weeks after an ending is most likely cooler than where the nitrogen was measured."""
    after = soil_c[:, int(ending) : int(ending) + FIRST_MONTH]
    return bool(after.size and np.nanmedian(after.mean(axis=1)) < MODELS.mixture.cool_soil.value)


def _clash(stand: Stand, cover: Cover, weights: Array, asked: str) -> Clash | None:
    """Whether the way that was asked for waits for one of the two until the other is past its last day."""
    if asked not in ("roll", "mow"):
        return None
    alone = {name: days for name, days in stand.stages.items() if not name.startswith(PREFIX)}
    chance = _has_day(stand.stages, asked, cover, weights)
    if chance >= CLASH or _has_day(alone, asked, cover, weights) < CLASH:
        return None
    assert stand.cereal is not None
    opens, _ = termination.window(stand.stages, asked, cover)
    of_cereal = share(stand.stages["cereal_last"] < opens, weights)
    of_legume = share(termination.window(alone, asked, cover)[1] < opens, weights)
    past = "cereal" if of_cereal >= of_legume else "legume"
    found = {way: _has_day(stand.stages, way, cover, weights) for way in ("mow", "turn-under") if way != asked}
    if past == "cereal":  # a later one is then a help
        own = stand.cereal.companion.bloom.offset.value
        later = {name: companion(name).bloom.offset.value - own for name in ("triticale", "winter-wheat")}
        later["later-cultivar"] = MODELS.mixture.late_rye.value
        found |= {
            name: _has_day(_later(stand.stages, gap), asked, cover, weights) for name, gap in later.items() if gap > 0
        }
    gaining = {name: found[name] for name in HELPS if found.get(name, 0.0) > chance}
    return Clash(method=asked, past=past, chance=chance, helps=dict(sorted(gaining.items(), key=lambda each: -each[1])))


def _has_day(stages: dict[str, Array], method: str, cover: Cover, weights: Array) -> float:
    """Chance that there is a day at all on which the way kills all, and no seed is left."""
    opens, closes = termination.window(stages, method, cover)
    return share(np.where(np.isnan(closes), np.inf, closes) >= opens, weights)


def _later(stages: dict[str, Array], days: float) -> dict[str, Array]:
    """The stages with a cereal that is so many days later."""
    return {name: each + days if name.startswith(PREFIX) else each for name, each in stages.items()}
