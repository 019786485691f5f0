"""What each chart is and what it shows, in words: its title, and the alternative for those who cannot see it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.render.words import answer, phrases
from covercrop.render.words.ending import odds
from covercrop.season.progress import towards_bloom

if TYPE_CHECKING:
    from covercrop.base.records import DateRange
    from covercrop.season.plan import Plan

TITLES = {
    "season": "The season: degree-days towards bloom",
    "window": "The chance that the window is open",
    "endings": "What each day of ending it promises",
    "limits": "What planting waits for",
    "winter": "The winter as the stand felt it",
}

#: The stages, and what follows, that the chart of the season shows.
_SEASON = ("bud", "first_flower", "bloom_50", "viable_seed", "window_open", "window_close")


def describe(plan: Plan, chart: str, *, us: bool = False) -> str:
    """A chart in sentences.

    Parameters
    ----------
    plan : Plan
    chart : str
        One of :data:`TITLES`.
    us : bool
        Show US units.
    """
    words = {"season": _season, "window": _window, "endings": _endings, "limits": _limits, "winter": _winter}
    return words[chart](plan, us=us)


def _season(plan: Plan, *, us: bool) -> str:
    outlook = plan.outlook
    until = outlook.known - 1
    total = float(towards_bloom(outlook, plan.field.latitude, plan.cover).median[until])
    total, unit = (units.fahrenheit_difference(total), "°F") if us else (total, "°C")
    said = [
        f"By {phrases.day_month(outlook.days[until])} {total:,.0f} {unit} days that count towards bloom have added up"
        + (f"; the shading shows how {len(outlook.years)} past years went on from there." if outlook.years else ".")
    ]
    if plan.state == "winter-killed":
        return said[0]
    shown = [] if plan.is_ended else _dated(plan, _SEASON, us=us)
    planting = _dated(plan, ("earliest_planting", "latest_planting"), us=us)
    return " ".join((*said, *(f"{'; '.join(group)}." for group in (shown, planting) if group)))


def _window(plan: Plan, *, us: bool) -> str:
    chances, days, half = plan.window.chances, plan.window.days, plan.window.likely_open
    top = int(chances.argmax())
    said = [f"It is highest on {phrases.day_month(days[top])}, with {phrases.chance(float(chances[top]))}."]
    if half is not None:
        said.append(f"It is half or more from {phrases.day_month(half[0])} to {phrases.day_month(half[1])}.")
    if plan.window.best is not None:
        said.append(f"The best week is {phrases.span(plan.window.best.start, plan.window.best.end)}.")
    return " ".join(said)


def _endings(plan: Plan, *, us: bool) -> str:
    best, wants = plan.window.best, plan.window.wants
    if best is None or wants is None:
        return ""
    top = int(wants.together.argmax())
    return (
        f"To {answer.to_end(plan)} on {phrases.day_month(best.date)} is advised: {odds(plan, best)}. The chance of "
        f"everything is highest on {phrases.day_month(plan.window.days[top])}, with "
        f"{phrases.chance(float(wants.together[top]))}."
    )


def _limits(plan: Plan, *, us: bool) -> str:
    limits = plan.planting.limits
    named = sorted(limits, key=lambda name: (np.isnat(limits[name].median), limits[name].median))
    waits = "; ".join(_dated(plan, named, us=us))
    said = f"With the cover {answer.ending(plan)} on {phrases.day_month(plan.window.ending_day)}: {waits}."
    if plan.planting.binding:
        label = phrases.DATE_LABELS[plan.planting.binding].format(soil=_soil(plan, us=us))
        said += f" Last of all is most often: {label}."
    likely = plan.planting.earliest.median
    return said if np.isnat(likely) else f"{said} It is likely safe to plant from {phrases.day_month(likely)}."


def _winter(plan: Plan, *, us: bool) -> str:
    return answer.winter(plan, us=us)


def _dated(plan: Plan, names: tuple[str, ...] | list[str], *, us: bool) -> list[str]:
    """Dates with their names, those that are known."""
    dates = plan.dates
    return [
        f"{phrases.DATE_LABELS[name].format(soil=_soil(plan, us=us))} {_interval(dates[name])}"
        for name in names
        if not np.isnat(dates[name].early)
    ]


def _soil(plan: Plan, *, us: bool) -> str:
    return phrases.temperature(plan.planting.soil_c, us=us)


def _interval(dates: DateRange) -> str:
    """A likely date, and its interval in brackets where it has one."""
    if np.isnat(dates.median):
        return f"not likely, at the earliest {phrases.day_month(dates.early)}"
    likely = phrases.day_month(dates.median)
    if dates.early == dates.late:
        return likely
    late = "none" if np.isnat(dates.late) else phrases.day_month(dates.late)
    return f"{likely} ({phrases.day_month(dates.early)} to {late})"
