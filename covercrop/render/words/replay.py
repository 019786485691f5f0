"""The advice of past seasons in words: what came of it, and of plain rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

from covercrop.render.words.phrases import MONTHS, percent

if TYPE_CHECKING:
    from covercrop.checking.replay import AdviceReplay

NAMES = {
    "advice": "this advice",
    "advice_scouted": "this advice, scouted",
    "fixed_date": "a fixed date",
    "first_flower": "first flowers seen",
    "degree_day_sum": "a degree-day sum",
}

#: How the table is read.
KEY = (
    "Each share is one of seasons, and of what is not known of plant and soil: no seed left behind, ended in bloom, "
    "the crop in time, and all of it. N: nitrogen for the crop. Visits: to the field, that of the ending among them. "
    "Moved: days by which the day that is named moved from one week to the next.",
    "The rules are given the best form that these very seasons allow: the best fixed date, the average sum at a tenth "
    "in bloom; first flowers are seen on weekly visits, which the advice is told of only where it says scouted.",
    "What came is worked out with the whole season's weather, the model of the plant being taken as true: this tests "
    "the advice, not how well the model knows your cover.",
)


def verdict(replay: AdviceReplay) -> str:
    """What it comes to, in a sentence or two."""
    best = replay.best_rule
    month, day = replay.best_fixed
    scouted = replay.advice_scouted
    looked = f" ({percent(scouted.together)} with a look at the stand every week)" if scouted else ""
    fixed = f" (the best was {day} {MONTHS[month - 1]})" if best == "fixed_date" else ""
    return (
        f"In {len(replay.years)} past seasons everything would have worked in {percent(replay.advice.together)} by "
        f"this advice{looked}, and in {percent(replay.outcomes[best].together)} by {NAMES[best]}{fixed}, the best of "
        "the plain rules."
    )
