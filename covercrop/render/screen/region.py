"""What a region came to, in a few lines; the whole is in its file."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from covercrop.region.across import Span, middle_percentile, span
from covercrop.region.question import as_words
from covercrop.region.results import counts, why

if TYPE_CHECKING:
    from covercrop.region.survey import Survey
    from covercrop.render.screen.terminal import Screen

_SHOWN = {
    "sowing": "sowing",
    "bloom_50": "50% bloom",
    "window_open": "window opens",
    "window_close": "window closes",
    "end_cover": "best day to end the cover",
    "earliest_planting": "earliest planting",
    "safe_planting": "planting safe in 8 of 10 years",
    "latest_planting": "latest planting to ripen",
}


def summary(screen: Screen, survey: Survey) -> None:
    """Print what a region came to.

    Parameters
    ----------
    screen : Screen
    survey : Survey
    """
    cells = "cells" if survey.latitude.ndim > 1 else "places"
    found = counts(survey.arrays)
    answered, total = found.get("answered", 0), sum(found.values())
    screen.say(f"{survey.out}: {answered:,} of {total:,} {cells} answered", style="bold")
    for status, count in found.items():
        if status != "answered":
            screen.say(why(count, status), indent=2)
    screen.say()
    percentile = survey.question.percentiles[middle_percentile(survey.question.percentiles)]
    year = "in the middle year" if percentile == 50 else f"at percentile {percentile:g}"
    heads = (
        (year, "left"),
        ("earliest", "right"),
        ("half by", "right"),
        ("latest", "right"),
        (f"of {answered:,}", "right"),
    )
    rows = []
    for name, label in _SHOWN.items():
        dates = _span(survey, name)
        number = "all" if dates.count == answered else f"{dates.count:,}" if dates.count else "none"
        rows.append((label, *(_day(date) for date in (dates.first, dates.middle, dates.last)), number))
    screen.table(heads, rows)
    for note in survey.notes:
        screen.say(note)


def document(survey: Survey, history: str) -> dict[str, Any]:
    """The same for another program.

    Dates of one name are laid in one season, so that they sort as they stand; ``cells`` is the number of cells, or
    places, that have one.
    """
    dates = {name: _span(survey, name) for name in _SHOWN}
    return {
        "schema": 1,
        "out": str(survey.out),
        "question": as_words(survey.question),
        "history": history,
        "cells": counts(survey.arrays),
        "percentile": survey.question.percentiles[middle_percentile(survey.question.percentiles)],
        "dates": {
            name: {
                "first": _iso(each.first),
                "middle": _iso(each.middle),
                "last": _iso(each.last),
                "cells": each.count,
            }
            for name, each in dates.items()
        },
        "notes": list(survey.notes),
    }


def _span(survey: Survey, name: str) -> Span:
    return span(survey.arrays, name, middle_percentile(survey.question.percentiles))


def _day(date: dt.date | None) -> str:
    return "-" if date is None else f"{date.day} {date:%b}"


def _iso(date: dt.date | None) -> str | None:
    return None if date is None else date.isoformat()
