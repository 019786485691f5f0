"""The cover of one season in every member: its stages, its winter, its window."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.arrays import Array
from covercrop.models import bbch, biomass, mixture, phenology, season_calendar, snow, termination, winter
from covercrop.models.biomass import nitrogen_percent
from covercrop.models.daylength import day_length
from covercrop.models.decay import TIED_FROM
from covercrop.models.decomposition import Maturity
from covercrop.models.members import Draws
from covercrop.models.note_weights import (
    NOTE_NOT_YET,
    NOTE_PAST,
    NOTE_REACHED,
    PLACES,
    Evidence,
    refocus,
    scouting_weights,
    surprise,
)
from covercrop.models.soil_temperature import SOIL_ERROR_SD
from covercrop.parameters import catalogue
from covercrop.season.beside import CerealStand, Share, grow_cereal
from covercrop.season.doubts import Doubt, doubts_of
from covercrop.season.measurements import PASSING_SHARE

if TYPE_CHECKING:
    from covercrop.field.entries import ScoutingNote
    from covercrop.models.winter import Exposure
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Growth
    from covercrop.weather.outlook import Outlook

#: Standard deviation of the part of the soil's error that lasts [K].
LASTING_SOIL_SD = float(np.sqrt(1 - PASSING_SHARE)) * SOIL_ERROR_SD


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stand:
    """A cover, member by member; arrays have shape (year, draw), after (sowing,) or (place,) where there are several.

    Attributes
    ----------
    stages : dict of str to numpy.ndarray
        Day index of each stage (see :func:`covercrop.models.phenology.stage_days`), those of a cereal beside it among
        them (:meth:`covercrop.season.beside.CerealStand.among_stages`).
    opens, closes : numpy.ndarray
        First and last day index of the window for turning under.
    killed : numpy.ndarray
        Day index on which cold kills the stand; NaN where it lives.
    snow : numpy.ndarray, shape (year, day)
        Depth of the snow on the ground, measured or worked out [mm], as far as cold matters to it.
    exposed : Exposure
        What it feels and stands day by day, shape (year, day), as far.
    weights : numpy.ndarray
        Weight of each member after scouting; sums to 1.
    scouting_sd : float
        Scatter that the scouting notes were given [d].
    surprises : tuple of (ScoutingNote, float)
        Notes that contradict the weather and the notes before them, and by how many days; positive where the stage was
        seen early.
    doubts : tuple of Doubt
        What does not fit, note by note: the weather, or another note.
    cereal : CerealStand or None
        What stands beside it; None for a legume alone.
    legume_dead : bool
        Whether cold has killed the legume, so that the rest is about the cereal alone.
    """

    stages: dict[str, Array]
    opens: Array
    closes: Array
    killed: Array
    snow: Array
    exposed: Exposure
    weights: Array
    scouting_sd: float
    surprises: tuple[tuple[ScoutingNote, float], ...] = ()
    doubts: tuple[Doubt, ...] = ()
    cereal: CerealStand | None = None
    legume_dead: bool = False

    @property
    def living(self) -> Array:
        """Weights of the members that live through the winter."""
        return self.weights * np.isnan(self.killed)

    def at(self, place: int) -> Stand:
        """The stand of one of several places."""
        return replace(
            self,
            stages={name: days[place] for name, days in self.stages.items()},
            opens=self.opens[place],
            closes=self.closes[place],
            killed=self.killed[place],
            snow=self.snow[place],
            exposed=self.exposed.at(place),
            weights=self.weights[place],
            cereal=None if self.cereal is None else self.cereal.at(place),
        )

    def without_legume(self, method: str, cover: Cover) -> Stand:
        """What is left once cold has killed the legume: the cereal, which alone has a say from then on."""
        assert self.cereal is not None
        never, anyhow = np.full_like(self.opens, np.nan), np.full_like(self.opens, -np.inf)
        silent = dict.fromkeys(("bud", "first_flower", "bloom_10", "bloom_25", "end_of_bloom", "viable_seed"), never)
        silent |= {"swelling_pods": never, "bloom_50": anyhow, "rolled_from": anyhow}
        stages = self.stages | silent
        opens, closes = termination.window(stages, method, cover)
        share = Share(low=0.0, middle=0.0, high=0.0, whose=self.cereal.share.whose)
        return replace(
            self,
            stages=stages,
            opens=opens,
            closes=closes,
            killed=self.cereal.killed,
            cereal=replace(self.cereal, share=share),
            legume_dead=True,
        )

    def past_grain(self, method: str, cover: Cover) -> Stand:
        """The same once the grain of the cereal fills, so that only seed of the legume can still be kept out."""
        stages = self.stages | {"cereal_last": np.full_like(self.closes, np.nan)}
        opens, closes = termination.window(stages, method, cover)
        return replace(self, stages=stages, opens=opens, closes=closes)

    def residue_pace(self, cover: Cover, ended: ArrayLike) -> Array:
        """How fast the ground is clear after ending it on a day, against the legume alone, shape of ``ended`` [1]."""
        if self.cereal is None:
            return np.ones(np.shape(ended))
        return self.cereal.residue_pace(cover.residue, ended)

    def nitrogen_percent(self, day: float, growth: Growth, draws: Draws | None = None) -> Array:
        """Nitrogen in the dry matter on a day, member by member, that of a cereal with it [% N].

        Without draws, with the middle share of the legume and a middle cereal.
        """
        stages = self.stages
        legume = nitrogen_percent(day, stages["bud"], stages["bloom_50"], stages["viable_seed"], growth)
        if self.cereal is None:
            return legume
        of_cereal = self.cereal.nitrogen_percent(day, 0.0 if draws is None else draws.cereal_nitrogen)
        return mixture.blended(self.cereal.legume_share(day, draws), legume, of_cereal)

    def dry_matter_on(self, tmean: Array, emergence: Array, day: float, growth: Growth) -> Array:
        """Dry matter above ground on a day, the cereal's with it, shape (year,) [kg/ha].

        Takes what :func:`covercrop.models.biomass.dry_matter_on` takes.
        """
        legume = biomass.dry_matter_on(tmean, emergence, day, growth)
        return legume if self.cereal is None else legume * self.cereal.growth_factor(day)[:, 0]

    def maturity(self, day: ArrayLike, cover: Cover) -> Maturity:
        """How far the cover has come on a day, or on several along an axis before, member by member."""
        asked = np.asarray(day, dtype=np.float64)[..., np.newaxis, np.newaxis]
        bloom, seed = self.stages["bloom_50"], self.stages["viable_seed"]
        # Seed is viable before it is ripe.
        age = biomass.share_of_the_way(asked, bloom, seed) * cover.seed.viable_share.value
        growth = cover.growth
        if growth is None or biomass.carbon_nitrogen(growth.nitrogen_seed.value) <= TIED_FROM:
            return Maturity(age=age, carbon_nitrogen=np.zeros((1, 1)))
        percent = nitrogen_percent(asked, self.stages["bud"], bloom, seed, growth)
        return Maturity(age=age, carbon_nitrogen=biomass.carbon_nitrogen(percent))


def stages_of(
    tmean: ArrayLike,
    day_length: ArrayLike,
    cover: Cover,
    cultivar: str = "",
    *,
    sowing: ArrayLike = 0.0,
    emerged: ArrayLike | None = None,
    requirement: ArrayLike = 0.0,
    seed: ArrayLike = 0.0,
    viable_share: ArrayLike = 0.0,
) -> dict[str, Array]:
    """Day on which a cover of some cultivar comes to each stage.

    Parameters
    ----------
    tmean, day_length, cover, sowing, emerged
        As for :func:`covercrop.models.phenology.stage_days`.
    cultivar : str
        Empty where it is not known: the standard one is followed, with a wider spread.
    requirement, seed, viable_share : array_like, shape (..., draw)
        Standard normal draws of the sum to bloom, of that from flower to ripe seed, and of the share of it after which
        the first seed is viable; 0 is the middle one.

    Returns
    -------
    dict of str to numpy.ndarray, shape (..., draw)

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar.
    """
    offset = catalogue.cultivar(cover, cultivar).offset.value if cultivar else 0.0
    return phenology.stage_days(
        tmean,
        day_length,
        cover,
        sowing=sowing,
        emerged=emerged,
        requirement_shift=phenology.requirement_drawn(cover, bool(cultivar), requirement, offset),
        seed_scale=phenology.seed_scale(cover, seed, viable_share),
    )


def grow_stand(
    outlook: Outlook,
    latitude: ArrayLike,
    cover: Cover,
    draws: Draws,
    *,
    cultivar: str = "",
    terminate: str = "turn-under",
    scouting: Sequence[ScoutingNote] = (),
    set_aside: Collection[ScoutingNote] = (),
    sowing: ArrayLike = 0.0,
    companion: Companion | None = None,
    share: Share | None = None,
) -> Stand:
    """Follow a cover from sowing to seed through every member of a season.

    Parameters
    ----------
    outlook : Outlook
        Of one place, or of several (:func:`covercrop.weather.outlook.together`).
    latitude : array_like, shape () or (place,)
        [degrees], north positive; several places lie on one side of the equator.
    cover : Cover
    draws : Draws
    cultivar : str
        Empty where it is not known, which widens the spread.
    terminate : str
        How the cover will be ended; one of :data:`covercrop.models.termination.METHODS`.
    scouting : sequence of ScoutingNote
        Of one place and date.
    set_aside : collection of ScoutingNote
        Those whose stage is not believed; that the stand was seen alive is.
    sowing : array_like
        Day index of sowing, the first day by default; shape (sowing, 1) for
        several dates.
    companion : Companion, optional
        The cereal beside it.
    share : Share, optional
        Of the legume, where there is a cereal.

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar, or there is no such method.
    """
    tmean = outlook.tmean
    lengths = day_length(np.asarray(latitude)[..., np.newaxis, np.newaxis], outlook.day_of_year)
    groups = soil_groups(draws.soil)
    outer = draws.soil[groups[[0, -1]]].mean(axis=-1) if len(groups) > 1 else np.zeros(2)
    cold, middle, warm = np.moveaxis(
        phenology.emergence(
            tmean, cover, sowing, lead=outlook.lead, soil_error=LASTING_SOIL_SD * np.array([outer[0], 0.0, outer[1]])
        ),
        -1,
        0,
    )
    up = np.stack([cold, middle, middle, warm] if len(groups) > 1 else [middle], axis=-1)
    back = np.argsort(groups, axis=None)

    def followed(requirement: Array) -> dict[str, Array]:
        grouped = stages_of(
            tmean[..., np.newaxis, :],
            lengths[..., np.newaxis, :],
            cover,
            cultivar,
            sowing=sowing,
            emerged=up,
            requirement=requirement[groups],
            seed=draws.seed[groups],
            viable_share=draws.viable_share[groups],
        )
        found = {stage: days.reshape(*days.shape[:-2], -1)[..., back] for stage, days in grouped.items()}
        return found | {
            "rolled_from": termination.rolled_from(found, draws.kill),
            "swelling_pods": termination.swelling_pods(found, draws.pods),
        }

    stages = followed(draws.requirement)
    shape = stages["bud"].shape
    believed = [note for note in scouting if note.has_stage and note not in set_aside]
    seen = sorted(believed, key=lambda note: note.date)

    def days_late(requirement: Array) -> Array:
        return phenology.requirement_drawn(cover, bool(cultivar), requirement) / cover.bloom.pace.value

    days = days_late(draws.requirement)
    raw = [_evidence(note, stages, outlook) for note in seen]
    evidence = [fact if fact.of_seed else _straightened(fact, days, days) for fact in raw]
    surprises = tuple(
        (note, gap)
        for place, note in enumerate(seen)
        if (gap := surprise(raw[place], scouting_weights(shape, evidence[:place])[0]))
    )
    weights, scouting_sd = scouting_weights(shape[-2:], [])
    if evidence:
        located = [_straightened(fact, days, days_late(PLACES)) for fact in raw]
        weights, _ = scouting_weights((shape[0], PLACES.size), located, prior=-0.5 * PLACES**2)
        requirement, prior = refocus(draws.requirement, PLACES, weights)
        stages = followed(requirement)
        evidence = [
            _evidence(note, stages, outlook) if fact.of_seed else _straightened(fact, days, days_late(requirement))
            for note, fact in zip(seen, raw, strict=True)
        ]
        weights, scouting_sd = scouting_weights(shape, evidence, prior=prior)
    opens, closes = termination.window(stages, terminate, cover)
    end = _spring_over(closes, outlook, latitude)
    stood = slice(max(int(end.max()), midsummer_of(outlook, latitude)) + 1)  # the axis runs on into a second winter
    lying = snow.lying_snow(outlook.snow[..., stood], tmean[..., stood], outlook.prcp[..., stood])
    exposed = winter.exposure(outlook.tmin[..., stood], outlook.tmax[..., stood], lying, middle)
    beside = None
    if companion is not None and share is not None:
        beside = grow_cereal(
            outlook,
            lengths,
            companion,
            draws,
            midwinter=midsummer_of(outlook, latitude) - season_calendar.HALF_YEAR,
            share=share,
            scouting=scouting,
            set_aside=set_aside,
        )
        spring = _spring_over(beside.stages["milk"], outlook, latitude)
        seen_alive = _last_seen(scouting, outlook)
        died = winter.kill_day(exposed, companion.winter, draws.cold, start=seen_alive, end=spring)
        beside = replace(beside, killed=died)
        stages = stages | beside.among_stages()
        opens, closes = termination.window(stages, terminate, cover)
    return Stand(
        stages=stages,
        opens=opens,
        closes=closes,
        killed=winter.kill_day(
            exposed,
            cover.winter,
            draws.cold,
            start=_last_seen_alive(scouting, outlook),
            end=end,
        ),
        cereal=beside,
        snow=lying,
        exposed=exposed,
        weights=np.broadcast_to(weights, shape),
        scouting_sd=scouting_sd,
        surprises=surprises,
        doubts=doubts_of(seen, raw, surprises) + (() if beside is None else beside.doubts),
    )


def brought(
    cover_growth: Growth,
    tmean: Array,
    stages: dict[str, Array],
    draws: Draws,
    day: ArrayLike,
    *,
    cereal: CerealStand | None = None,
) -> dict[str, Array]:
    """What ending a cover on a day brings, in every member.

    Parameters
    ----------
    cover_growth : Growth
    tmean : numpy.ndarray, shape (year, day)
        Daily mean temperature [degC].
    stages : dict of str to numpy.ndarray, shape (..., year, draw)
        Day index of each stage.
    draws : Draws
    day : array_like, shape (...)
        Day index of the ending; NaN where there is none.
    cereal : CerealStand, optional
        What stands beside it, and is brought too.

    Returns
    -------
    dict of str to numpy.ndarray, shape (..., year, draw)
        ``dry_matter_kg_ha``, ``n_kg_ha``, ``pan_kg_ha`` [kg/ha] and
        ``carbon_nitrogen`` [1].
    """
    ended = np.asarray(day, dtype=np.float64)[..., np.newaxis]
    grown = biomass.dry_matter_on(tmean, usual_emergence(stages), ended, cover_growth)[..., np.newaxis]
    dry_matter = grown * np.maximum(1 + cover_growth.spread.value * draws.dry_matter, 0.0)
    percent = biomass.nitrogen_percent(
        ended[..., np.newaxis], stages["bud"], stages["bloom_50"], stages["viable_seed"], cover_growth
    )
    if cereal is None:
        return biomass.amounts(dry_matter, percent)
    on = ended[..., np.newaxis]
    share = cereal.legume_share(on, draws)
    percent = mixture.blended(share, percent, cereal.nitrogen_percent(on, draws.cereal_nitrogen))
    carbon = cereal.companion.nitrogen.carbon.value
    return mixture.amounts(dry_matter * cereal.growth_factor(on), percent, share, carbon)


def soil_groups(draw: Array) -> NDArray[np.intp]:
    """Quarters of the draws of the soil, from the coldest to the warmest.

    Parameters
    ----------
    draw : numpy.ndarray, shape (draw,)

    Returns
    -------
    numpy.ndarray, shape (4, member)
        Places in ``draw``; all in one row where four do not divide their number.

    Notes
    -----
    The seed comes up in a cold soil, in the middle one, and in a warm one: the means of the outer quarters. A soil for
    each draw would follow the days of a season as many times over. What lasts of the soil's error is the same here as
    for planting; what comes and goes within days evens out until the seed is up.
    """
    return np.argsort(draw).reshape(4 if draw.size % 4 == 0 else 1, -1)


def usual_emergence(stages: dict[str, Array]) -> Array:
    """Emergence in the middle of the draws, shape (..., year): a day or two of autumn is nothing to what has grown."""
    return np.median(stages["emergence"], axis=-1)


def _spring_over(closes: Array, outlook: Outlook, latitude: ArrayLike) -> Array:
    """Day index after which cold no longer matters: the close of the window, or midsummer where it does not close.

    The day axis runs on into a second winter, which is none of the cover's.
    """
    return np.where(np.isnan(closes), midsummer_of(outlook, latitude), closes)


def midsummer_of(outlook: Outlook, latitude: ArrayLike) -> int:
    """Day index of the midsummer after sowing."""
    anywhere = float(np.max(np.asarray(latitude)))
    midwinter = season_calendar.midwinter_after(outlook.days[0], anywhere)
    return outlook.position(midwinter) + season_calendar.HALF_YEAR


def _last_seen_alive(scouting: Sequence[ScoutingNote], outlook: Outlook) -> float:
    """Day index of the last visit that found the stand up: whatever cold came before it did not kill."""
    visits = [
        outlook.position(np.datetime64(note.date, "D"))
        for note in scouting
        if note.of_the_legume and (note.bbch is None or note.bbch >= bbch.BBCH["emergence"])
    ]
    return float(max(visits, default=0))


def _last_seen(scouting: Sequence[ScoutingNote], outlook: Outlook) -> float:
    """Day index of the last visit that found the cereal up."""
    visits = [outlook.position(np.datetime64(note.date, "D")) for note in scouting if note.cereal is not None]
    return float(max(visits, default=0))


def _evidence(note: ScoutingNote, stages: dict[str, Array], outlook: Outlook) -> Evidence:
    """What a note says to each member."""
    day = outlook.position(np.datetime64(note.date, "D"))
    seen = note.stage
    if note.bloom_percent == 0:
        expected, kind = stages["first_flower"], NOTE_NOT_YET
    elif seen < bbch.BBCH["bud"]:
        expected, kind = stages["bud"], NOTE_NOT_YET
    elif seen > bbch.BBCH["viable_seed"]:
        expected, kind = stages["viable_seed"], NOTE_PAST
    else:
        expected, kind = bbch.day_at_bbch(stages, seen), NOTE_REACHED
    if day < outlook.known:
        expected = _over_years(expected)
    return Evidence(
        day=day,
        expected=expected,
        kind=kind,
        age=float(max(outlook.known - 1 - day, 0)),
        of_seed=seen >= bbch.PODS,
    )


def _straightened(note: Evidence, days: Array, places: Array) -> Evidence:
    """A note as it would be if the stand went through all its stages at its usual pace.

    Parameters
    ----------
    note : Evidence
    days : numpy.ndarray, shape (draw,)
        How much later each draw of the requirement is than the middle one, at the usual pace of the cover [d].
    places : numpy.ndarray, shape (draw,)
        Where it is asked for, by the same measure.

    Notes
    -----
    What eyes mistake is the stage, not the calendar: a cold week, in which the buds of all members stand still, is no
    disagreement of a week, and a stand seen further on must never count for less because its last stages were quick.
    """
    order = np.argsort(days)
    ranked = days[order]
    lateness = np.maximum.accumulate(note.lateness[:, order], axis=1)
    # Where members are at the stage on the very day, they are so over a stretch: its middle is taken.
    first, last = (lateness < 0).sum(axis=1), (lateness <= 0).sum(axis=1)
    middle = (_zero(lateness, ranked, first) + _zero(lateness, ranked, last)) / 2
    return replace(note, expected=note.day + places - middle[:, np.newaxis])


def _zero(lateness: Array, places: Array, after: NDArray[np.int64]) -> Array:
    """Where the lateness passes zero, just before a member; beyond the members it goes on a day for a day."""
    below, above = np.maximum(after - 1, 0), np.minimum(after, places.size - 1)
    early, late = (lateness[np.arange(len(lateness)), at] for at in (below, above))
    share = np.where(late > early, -early / np.where(late > early, late - early, 1.0), 0.0)
    inside = places[below] + share * (places[above] - places[below])
    return np.where(above == below, places[above] - early, inside)


def _over_years(expected: Array) -> Array:
    """The mean over the years, shape (1, draw).

    What was seen up to today tells of the plants, not of the weather to come,
    on which the date of a stage between two others would otherwise depend.
    """
    known = ~np.isnan(expected)
    count = known.sum(axis=-2, keepdims=True)
    total = np.where(known, expected, 0.0).sum(axis=-2, keepdims=True)
    return np.where(2 * count > expected.shape[-2], total / np.maximum(count, 1), np.nan)
