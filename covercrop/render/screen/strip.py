"""The season strip: today, window, lag and planting on one line of time, as text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.words.phrases import MONTHS

if TYPE_CHECKING:
    from covercrop.season.plan import Plan

LABEL = 11  # columns

#: Odds below this leave the strip blank.
LEAST_SHOWN = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Glyphs:
    """The characters of a strip: odds from none to certain, and two fills."""

    odds: str
    likely: str
    possible: str
    today: str
    tick: str


BLOCKS = Glyphs(odds=" ▁▂▃▄▅▆▇█", likely="▓", possible="░", today="▼", tick="│")
PLAIN = Glyphs(odds=" .:-=+*#@", likely="#", possible=".", today="v", tick="|")


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRow:
    """One labelled line; ``kind`` names what it shows, for colour."""

    kind: str
    label: str
    text: str


def season_strip(plan: Plan, width: int, glyphs: Glyphs = BLOCKS) -> list[StripRow]:
    """Draw the rest of a field's season.

    Parameters
    ----------
    plan : Plan
    width : int
        Columns, label included.
    glyphs : Glyphs

    Returns
    -------
    list of StripRow
        Empty where nothing lies ahead.
    """
    first, last = _ends(plan)
    if np.isnat(first) or np.isnat(last):
        return []
    columns = max(width - LABEL, 20)
    step = int(np.ceil((int((last - first).astype(int)) + 1) / columns))
    edges = first + np.arange(columns + 1) * np.timedelta64(step, "D")
    starts = edges[:-1][edges[:-1] <= last]

    def fill(start: np.datetime64, end: np.datetime64, glyph: str, text: list[str]) -> None:
        if np.isnat(start):
            return
        stop = starts[-1] if np.isnat(end) else end
        for place, day in enumerate(starts):
            if day + np.timedelta64(step - 1, "D") >= start and day <= stop:
                text[place] = glyph

    def blank() -> list[str]:
        return [" "] * len(starts)

    rows = [StripRow(kind="ruler", label="", text=ruler(starts, glyphs))]
    marker = blank()
    fill(plan.on, plan.on, glyphs.today, marker)
    rows.append(StripRow(kind="today", label="today", text="".join(marker)))
    odds = _column_odds(plan, starts, step)
    if odds.max(initial=0.0) >= LEAST_SHOWN:
        levels = np.where(odds < LEAST_SHOWN, 0, np.ceil(odds * (len(glyphs.odds) - 1))).astype(int)
        rows.append(StripRow(kind="window", label="window", text="".join(glyphs.odds[level] for level in levels)))
    ended = plan.window.ending_day
    if not np.isnat(ended):
        residue = plan.planting.limits["residue"]
        lag = blank()
        fill(ended, residue.late, glyphs.possible, lag)
        fill(ended, residue.median, glyphs.likely, lag)
        rows.append(StripRow(kind="lag", label="residue", text="".join(lag)))
    earliest, latest = plan.planting.earliest, plan.planting.latest
    if not np.isnat(earliest.early):
        planting = blank()
        fill(earliest.early, latest.median, glyphs.possible, planting)
        if not np.isnat(earliest.median):
            fill(earliest.median, latest.early, glyphs.likely, planting)
        rows.append(StripRow(kind="planting", label="planting", text="".join(planting)))
    return [StripRow(kind=row.kind, label=row.label, text=row.text.rstrip()) for row in rows]


def _ends(plan: Plan) -> tuple[np.datetime64, np.datetime64]:
    """The week before whatever comes first, and the last date of interest."""
    dates = plan.dates
    begins = [plan.on, plan.window.ending_day]
    likely = plan.window.days[plan.window.chances >= LEAST_SHOWN]
    if not plan.is_ended and likely.size:
        begins.append(likely[0])
    ends = [
        dates[name].median
        for name in ("window_close", "residue", "soil_warm", "frost", "earliest_planting", "latest_planting")
    ]
    begins = [day for day in begins if not np.isnat(day)]
    ends = [day for day in ends if not np.isnat(day) and day >= plan.on]
    if not ends:
        return np.datetime64("NaT", "D"), np.datetime64("NaT", "D")
    return min(begins) - np.timedelta64(7, "D"), max(ends) + np.timedelta64(7, "D")


def _column_odds(plan: Plan, starts: np.ndarray, step: int) -> np.ndarray:
    odds = np.zeros(len(starts))
    days = plan.window.days
    if plan.is_ended or not days.size:
        return odds
    place = (days - starts[0]).astype(int) // step
    inside = (place >= 0) & (place < len(starts)) & (days >= starts[0])
    np.add.at(odds, place[inside], plan.window.chances[inside])
    return odds / step


def ruler(starts: np.ndarray, glyphs: Glyphs) -> str:
    """Months along a line, each from the column of its first day on."""
    text = [" "] * len(starts)
    months = starts.astype("datetime64[M]")
    for place in range(len(starts)):
        if place == 0 or months[place] != months[place - 1]:
            name = MONTHS[int(str(months[place])[5:7]) - 1]
            label = name if place == 0 else glyphs.tick + name
            if place == 0 and np.any(months[1 : len(label) + 1] != months[0]):
                continue
            for shift, letter in enumerate(label):
                if place + shift < len(text):
                    text[place + shift] = letter
    return "".join(text)
