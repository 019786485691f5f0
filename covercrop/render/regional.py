"""What a region came to, in a few lines; the whole is in its file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.region.question import as_words
from covercrop.region.results import counts, dates_of, why

if TYPE_CHECKING:
    from covercrop.region.survey import Survey
    from covercrop.render.terminal import Screen

_SHOWN = {
    "sowing": "sowing",
    "bloom_50": "50% bloom",
    "window_open": "window opens",
    "window_close": "window closes",
    "end_cover": "best day to end it",
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
    cells = "cells" if survey.x is not None else "places"
    found = counts(survey.arrays)
    total = sum(found.values())
    screen.say(f"{survey.out}: {found.get('answered', 0):,} of {total:,} {cells} answered", style="bold")
    for status, count in found.items():
        if status != "answered":
            screen.say(why(count, status), indent=2)
    rows = []
    for name, label in _SHOWN.items():
        early, middle, late = _across(survey, name)
        if early is not None:
            rows.append((label, early, str(middle), str(late)))
    if rows:
        screen.say()
        heads = (("middle year", "left"), ("first", "right"), (f"middle of {cells}", "right"), ("last", "right"))
        screen.table(heads, rows)
    for note in survey.notes:
        screen.say(note)


def document(survey: Survey, history: str) -> dict[str, Any]:
    """The same for another program."""
    return {
        "schema": 1,
        "out": str(survey.out),
        "question": as_words(survey.question),
        "history": history,
        "cells": counts(survey.arrays),
        "dates": {
            name: dict(zip(("first", "middle", "last"), _across(survey, name, iso=True), strict=True))
            for name in _SHOWN
        },
        "notes": list(survey.notes),
    }


def _across(survey: Survey, name: str, *, iso: bool = False) -> tuple[str | None, str | None, str | None]:
    """First, middle and last date of the cells that have one: of the middle percentile."""
    dates = survey.arrays["sowing"] if name == "sowing" else dates_of(survey.arrays, name)
    if dates.ndim > survey.latitude.ndim:
        dates = dates[int(np.abs(np.array(survey.question.percentiles) - 50).argmin())]
    known = np.sort(dates[~np.isnat(dates)].astype("datetime64[D]"))
    if not known.size:
        return None, None, None
    first, middle, last = known[0].item(), known[known.size // 2].item(), known[-1].item()
    if iso:
        return first.isoformat(), middle.isoformat(), last.isoformat()
    return f"{first.day} {first:%b}", f"{middle.day} {middle:%b}", f"{last.day} {last:%b}"
