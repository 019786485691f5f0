"""What goes with every answer: what can hurt, what is assumed, what it rests on."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from covercrop.base.units import in_both
from covercrop.models import (
    biomass,
    cereal,
    crown,
    frost,
    mixture,
    phenology,
    plantback,
    snow,
    soil_water,
    termination,
    winter,
)
from covercrop.models.note_weights import FADING, FADING_DAYS, SCOUTING_SD_DAYS, SHARED_SCATTER
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.parameters.constants import MODELS
from covercrop.parameters.traits import label
from covercrop.season import measurements
from covercrop.weather.outlook import FEWEST_YEARS, MOST_YEARS

if TYPE_CHECKING:
    from covercrop.base.records import CitedValue, Source
    from covercrop.field.entries import Field, Ground
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop

#: Sources of the methods that every answer uses, whatever the cover and crop.
METHOD_SOURCES = (
    "mcmaster1997",
    "usno_sun",
    "bbch2001",
    *plantback.SOURCES,
    *soil_water.SOURCES,
    *biomass.SOURCES,
    *winter.SOURCES,
    *crown.SOURCES,
    *snow.SOURCES,
    "cfr205_203",
)

#: Said wherever dates or amounts are handed on without the rest of an answer.
ADVICE_FIRST = "Local codes, your extension office and licensed advice come before anything said here."
BARE_SOIL = (
    "Turning under bares the soil: keep off wet ground, work across the slope, leave a standing strip beside water."
)
INSURED = "Insured ground may have its own last day for ending a cover: ask before you wait for bloom."
TREATED_SEED = "Handle treated seed with gloves, and keep it from children, stock and birds."

_CAUTIONS = (
    ADVICE_FIRST,
    "Manure, hay, straw and compost can carry weed-killers that outlast composting: grow a few beans or peas in a "
    "sample before any of it goes on a bed.",
    INSURED,
    TREATED_SEED,
)
_DECIDED = MODELS.decision
_ASSUMPTIONS = (
    f"A day with a mean between {in_both(phenology.COOL_RANGE[0], 'degC')} and "
    f"{in_both(phenology.COOL_RANGE[1], 'degC')} counts as cool, {MODELS.bloom.cool_below.reason}.",
    f"Two people who scout the same stand differ by about {SCOUTING_SD_DAYS:.0f} days; {SHARED_SCATTER:.0%} of that, "
    f"as variance, is taken to be the same in all notes of a field. A note fades by {FADING:g} days of scatter a day, "
    f"for {FADING_DAYS:.0f} days.",
    f"A stand is called dead when {MODELS.answer.dead.value:.0%} of the ways the season may go say so, and planting "
    f"safe when {MODELS.answer.safe.value:.0%} do.",
    f"The day of ending the cover leaves seed, or a living cover, with a chance of {_DECIDED.most_risk.value:.0%} at "
    f"the most, where there is such a day: {_DECIDED.most_risk.reason}. Of the chance that the crop is in time "
    f"{_DECIDED.in_time_within.value:.0%} is given for bloom: {_DECIDED.in_time_within.reason}. Days within "
    f"{_DECIDED.flat_top.value:.0%} are equally good: {_DECIDED.flat_top.reason}. Below "
    f"{_DECIDED.out_of_reach.value:.0%} bloom or crop are out of reach: {_DECIDED.out_of_reach.reason}.",
    f"A forecast needs {FEWEST_YEARS} past years and uses no more than {MOST_YEARS}.",
)
#: What a roller or a mower asks, which bares no soil.
CUTTING = (
    "Keep people and pets away from a working roller or mower, walk the field for stones and wire first, and stop the "
    "engine before you clear it."
)
SQUARES = (
    "The soil of an open square in a sheet is taken to warm as bare ground does, and to get the rain that falls on it: "
    "no source at hand measured one. Under a mulch in it, be it of straw, leaf mould, wood chips or clippings, it is "
    "taken to stay as cool as under straw: no source at hand holds one kind against another."
)
TARP = "A tarp sheds its rain beside it: weigh its edges down, and keep the runoff from ditches and streams."


#: What each way of ending a cover asks.
OF_WAY = {"turn-under": BARE_SOIL, "roll": CUTTING, "mow": CUTTING, "tarp": TARP}


def cautions(field: Field, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """What can hurt people, stock, water or the crop, in plain sentences.

    Parameters
    ----------
    field : Field
    cover : Cover
    crop : Crop
    """
    of_way = OF_WAY[field.cover.terminate]
    days, why = (
        (MODELS.spreading.raw_on_soil.value, "lies on the soil")
        if crop.touches_soil
        else (MODELS.spreading.raw_above.value, "does not touch the soil")
    )
    manure = (
        f"Raw manure has to be worked in at least {days:.0f} days before {crop.common_name} is harvested, since what "
        f"is eaten {why} (US organic rule, 7 CFR 205.203(c)(1)); your own rule may ask for more."
    )
    beside = _beside(field)
    return (*cover.cautions, *(beside.cautions if beside else ()), *crop.cautions, of_way, manure, *_CAUTIONS)


def assumptions(field: Ground, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """Each value that no source gives, with the reason for what was set instead, or the crop model that set it."""
    beside = _beside(field)
    numbers = [
        f"{subject.common_name.capitalize()}, {label(path)}, {value.printed}: {value.doubt}."
        for subject in (cover, *((beside,) if beside else ()), crop)
        for path, value in _numbers(subject)
        if value.doubt
    ]
    return (
        *_ASSUMPTIONS,
        *((SQUARES,) if field.in_squares else ()),
        *measurements.assumptions(field.scouting),
        *plantback.ASSUMPTIONS,
        *soil_water.ASSUMPTIONS,
        *snow.ASSUMPTIONS,
        *crown.ASSUMPTIONS,
        *winter.ASSUMPTIONS,
        *termination.assumptions(field.terminate),
        *(_of_mixture(field) if beside else ()),
        *numbers,
    )


def sources(field: Ground, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """Keys of the sources behind an answer, each once: those of the cover and crop, then those of the methods."""
    found = sources_of(field.terminate, cover, crop)
    beside = _beside(field)
    if beside is None:
        return found
    cited = [value.source for _, value in _numbers(beside) if value.source]
    of_windows = ("mirsky2009", "ashford2003", "msu_rye_boot", "uc_cereal_latest")
    return tuple(dict.fromkeys((*found, *cited, *of_windows, *cereal.SOURCES, *mixture.SOURCES)))


def _beside(field: Ground) -> Companion | None:
    """The cereal beside the cover of a field."""
    return companion(field.cover.companion) if field.cover and field.cover.companion else None


def _of_mixture(field: Ground) -> tuple[str, ...]:
    """What no source gives about a mixture, and of its share where nobody has judged it."""
    judged = field.cover is not None and field.cover.legume_percent is not None
    if judged or any(note.legume_percent is not None for note in field.scouting):
        return mixture.ASSUMPTIONS
    return (mixture.SHARE_ASSUMED, *mixture.ASSUMPTIONS)


def sources_of(terminate: str, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """The same for a way of ending the cover, wherever it is grown."""
    cited = [value.source for subject in (cover, crop) for _, value in _numbers(subject) if value.source]
    return tuple(dict.fromkeys((*cited, *termination.sources(terminate), *METHOD_SOURCES)))


def sowing_cautions(cover: Cover) -> tuple[str, ...]:
    """What can hurt when a cover is chosen and sown, in plain sentences."""
    return (*cover.cautions, *(caution for caution in _CAUTIONS if caution.startswith(("Local", "Insured", "Handle"))))


def sowing_assumptions(cover: Cover) -> tuple[str, ...]:
    """What no source gives about how a cover is sown, and when it covers the ground."""
    return tuple(
        f"{cover.common_name.capitalize()}, {label(path)}, {value.printed}: {value.doubt}."
        for path, value in catalogue.cited_values(cover)
        if path.startswith("sowing") and value.doubt
    )


def sowing_sources(cover: Cover) -> tuple[str, ...]:
    """Keys of the sources of how a cover is sown, and of what a hard frost is."""
    cited = [value.source for path, value in catalogue.cited_values(cover) if path.startswith("sowing")]
    return tuple(dict.fromkeys((*filter(None, cited), frost.HARD_FROST.source)))


def reference(source: Source) -> str:
    """A source in one line, with what was seen of it."""
    where = ". ".join(part for part in (source.container, f"doi:{source.doi}" if source.doi else source.url) if part)
    text = f"{source.authors} ({source.year}). {source.title}. {where}".rstrip(". ") + "."
    return f"{text} [{source.note.rstrip('.')}]" if source.note else text


#: Offsets of other cultivars, how it is sown, and what only the beds rest on: no part of a field's dates.
_ELSEWHERE = ("cultivars", "sowing", "planting", "nitrogen_need")


@lru_cache(maxsize=256)
def _numbers(subject: Cover | Crop | Companion) -> tuple[tuple[str, CitedValue], ...]:
    cited = catalogue.cited_values(subject)
    return tuple((path, value) for path, value in cited if not path.startswith(_ELSEWHERE))
