"""What goes with every answer: what can hurt, what is assumed, what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from covercrop import growth, parameters, plantback, soil_water, termination

if TYPE_CHECKING:
    from covercrop.parameters import Cover, Crop
    from covercrop.records import CitedValue, Source
    from covercrop.season import Field

#: Sources of the methods that every answer uses, whatever the cover and crop.
METHOD_SOURCES = (
    "mcmaster1997",
    "usno_sun",
    "bbch2001",
    *plantback.SOURCES,
    *soil_water.SOURCES,
    growth.PAN_SOURCE,
    "cfr205_203",
)

_CAUTIONS = (
    "Local codes, your extension office and licensed advice come before anything said here.",
    "Turning under bares the soil: keep off wet ground, work across the slope, leave a standing strip beside water.",
    "Raw manure has to be worked in at least 120 days before the harvest of what touches the soil (squash, pumpkin, "
    "melon, cucumber), and 90 days before that of other crops (US organic rule, 7 CFR 205.203(c)(1)); your own rule "
    "may ask for more.",
    "Manure, hay, straw and compost can carry weed-killers that outlast composting: grow a few beans or peas in a "
    "sample before any of it goes on a bed.",
    "Insured ground may have its own last day for ending a cover: ask before you wait for bloom.",
    "Handle treated seed with gloves, and keep it from children, stock and birds.",
)
_TARP = "A tarp sheds its rain beside it: weigh its edges down, and keep the runoff from ditches and streams."


def cautions(field: Field, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """What can hurt people, stock, water or the crop, in plain sentences.

    Parameters
    ----------
    field : Field
    cover : Cover
    crop : Crop
    """
    tarp = (_TARP,) if field.cover.terminate == "tarp" else ()
    return (*cover.cautions, *crop.cautions, *tarp, *_CAUTIONS)


def assumptions(field: Field, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """Each value that no source gives, with the reason for what was set instead."""
    numbers = [
        f"{subject.common_name}, {path} = {value.printed}: {value.reason}"
        for subject in (cover, crop)
        for path, value in _numbers(subject)
        if value.basis == "assumed"
    ]
    return (*plantback.ASSUMPTIONS, *soil_water.ASSUMPTIONS, *termination.assumptions(field.cover.terminate), *numbers)


def sources(field: Field, cover: Cover, crop: Crop) -> tuple[str, ...]:
    """Keys of the sources behind an answer, each once: those of the cover and crop, then those of the methods."""
    cited = [value.source for subject in (cover, crop) for _, value in _numbers(subject) if value.source]
    return tuple(dict.fromkeys((*cited, *termination.sources(field.cover.terminate), *METHOD_SOURCES)))


def reference(source: Source) -> str:
    """A source in one line."""
    where = ". ".join(part for part in (source.container, f"doi:{source.doi}" if source.doi else source.url) if part)
    return f"{source.authors} ({source.year}). {source.title}. {where}".rstrip(". ") + "."


def _numbers(subject: Cover | Crop) -> list[tuple[str, CitedValue]]:
    # Other cultivars' offsets play no part in a field's answer and would only swell it.
    return [(path, value) for path, value in parameters.cited_values(subject) if not path.startswith("cultivars")]
