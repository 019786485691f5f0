"""A season beside the past ones, in sentences: how far ahead it is, the trend of the bloom, its temperatures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.checking.springs import LATEST
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from covercrop.checking.springs import Springs
    from covercrop.checking.trend import Trend
    from covercrop.season.plan import Plan

TITLES = {
    "springs": "This spring beside the past ones",
    "bloom": "50% bloom in every year of the weather",
    "normal": "Temperatures beside the usual ones",
}

#: What is drawn, a line each.
KEYS = {
    "springs": "Above, degree-days towards bloom; below, each spring's window with a dot at 50% bloom.",
    "bloom": "A dot a year, worked out from its weather; the line is the trend, the shade its 95% interval.",
    "normal": "Means of seven days; the shade holds eight years in ten, the dashes are the middle year.",
}


def beside(plan: Plan, springs: Springs) -> str:
    """How far this season is ahead of the usual, and when it brings the bloom; empty where neither can be said."""
    if plan.state == "winter-killed":
        return ""
    middle, same = (f"{as_in}the middle of {springs.recent} springs" for as_in in ("", "as in "))
    said = []
    if not np.isnan(springs.ahead):
        said.append(f"Up to now this season is {_days(springs.ahead, 'ahead of', 'behind')} {middle}.")
        middle, same = "usual", "as usual"
    bloom = springs.likely["bloom_50"].median
    if not np.isnan(springs.early):
        usual = phrases.day_month(springs.usual("bloom_50"))
        off = f"{_days(springs.early, 'earlier than', 'later than')} {middle}" if springs.early else same
        said.append(
            f"By its weather 50% bloom {'fell' if springs.is_bloom_past else 'falls'} on {phrases.day_month(bloom)}, "
            f"{off} ({usual})."
        )
        own = plan.dates["bloom_50"].median
        if own != bloom and not np.isnat(own) and any(note.has_stage for note in plan.field.scouting):
            said.append(f"Your notes put it on {phrases.day_month(own)}.")
    return " ".join(said)


def trend_said(trend: Trend | None) -> str:
    """What the record tells of a trend of the bloom, and how surely."""
    if trend is None:
        return "The record is too short to tell of a trend."
    ten, low, high = (10 * each for each in (trend.slope, trend.low, trend.high))
    if trend.is_told:
        near, far = sorted((abs(low), abs(high)))
        way = "earlier" if ten < 0 else "later"
        return (
            f"Over {trend.years} springs bloom has come {abs(ten):.1f} days {way} every ten years (95% interval "
            f"{near:.1f} to {far:.1f})."
        )
    return (
        f"Over {trend.years} springs no trend can be told from none: {_moved(ten)} every ten years, and anything from "
        f"{_moved(low)} to {_moved(high)} fits."
    )


def warmth(springs: Springs, *, us: bool = False) -> str:
    """How much warmer the season has been than usual, and its latest days."""
    middle = f"the middle of {springs.recent} years"
    said = f"Since sowing it has been {_kelvin(springs.departure, us=us)} than {middle}"
    if not springs.has_latest:
        return f"{said}."
    return f"{said}, the last {LATEST} days {_kelvin(springs.lately, us=us)}."


def describe(plan: Plan, springs: Springs, chart: str, *, us: bool = False) -> str:
    """A chart of :data:`TITLES` in sentences."""
    lines = f"Degree-days up to {phrases.day_month(springs.on)}, beside those of {springs.recent} past springs."
    words = {
        "springs": beside(plan, springs) or lines,
        "bloom": trend_said(springs.trend),
        "normal": warmth(springs, us=us),
    }
    return words[chart]


def _days(off: float, more: str, less: str) -> str:
    """So many days to either side."""
    count = round(abs(off))
    return f"{count} day{'s' * (count > 1)} {more if off > 0 else less}" if count else "level with"


def _moved(days: float) -> str:
    return f"{abs(days):.1f} days {'earlier' if days < 0 else 'later'}"


def _kelvin(off: float, *, us: bool) -> str:
    shown = units.fahrenheit_difference(off) if us else off
    return f"{abs(shown):.1f} {'°F' if us else '°C'} {'warmer' if off > 0 else 'cooler'}"
