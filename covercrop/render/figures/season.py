"""The chart of a season: warmth towards bloom, the window, the wait, planting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.base.arrays import Array
from covercrop.models import season_calendar
from covercrop.render.figures.canvas import (
    BEHIND,
    EDGE,
    FAN,
    INK,
    LINE,
    RULE,
    WIDTH,
    WINDOW,
    area,
    at,
    axes_at,
    blank_figure,
    draw,
    month_lines,
    months,
    scale,
    ticks,
    today,
    words,
)
from covercrop.render.figures.key import (
    LIKELY,
    LIKELY_WORDS,
    PLANTING_WORDS,
    VISIT,
    WINDOW_WORDS,
    Key,
    Mark,
    dot,
    draw_key,
    filled,
    hump,
    key_height,
    likely,
    line,
    shades,
    visit,
)
from covercrop.render.figures.spans import draw_ending, draw_planting, draw_wait, draw_window, window_shown
from covercrop.render.words import answer, phrases
from covercrop.season.progress import Progress, towards_bloom

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.base.records import DateRange
    from covercrop.season.plan import Plan

#: Stages that are written beside the line of the season.
_STAGES = {"bud": "buds", "first_flower": "flowers", "bloom_50": "half bloom", "viable_seed": "seed"}

#: Points: room for the sums, the words above, the lines of the season, the months, a row, and a hump.
_SUMS, _HEAD, _PANEL, _MONTHS, _ROW, _HUMP = 50.0, 22.0, 170.0, 23.0, 21.0, 34.0


def season_chart(plan: Plan, *, us: bool = False) -> Figure | None:
    """The season on one line of time: warmth towards bloom, the window, the wait, planting.

    Parameters
    ----------
    plan : Plan
    us : bool
        Show US units.

    Returns
    -------
    matplotlib.figure.Figure or None
        None for a stand that the cold has killed: its chart is that of the winter.
    """
    if plan.state == "winter-killed":
        return None
    waits = plan.planting.limits.get(plan.planting.binding or "")
    waited = waits if _waited(plan) else None
    humps = _HUMP if window_shown(plan).size else 0.0 if np.isnat(plan.window.ending_day) else _ROW
    rows = humps + _ROW * ((waited is not None) + _planted(plan))
    until = _until(plan, waited)
    stages = _stages(plan, until)
    key = _key(plan, rows=bool(rows), dated=bool(stages) or waited is not None, us=us)
    foot = key_height(key)
    height = _HEAD + _PANEL + _MONTHS + rows + foot
    figure = blank_figure(height)
    first, last = _ends(plan, until, [*stages.values()], waited)
    wide = WIDTH - EDGE - _SUMS
    above = axes_at(figure, EDGE, height - _HEAD - _PANEL, wide, _PANEL, first, last)
    months(above, first, last)
    _progress(above, plan, stages, us=us)
    if rows:
        below = axes_at(figure, EDGE, foot, wide, rows, first, last)
        below.set_ylim(0, rows / _ROW)
        month_lines(below, first, last)
        _rows(below, plan, waited, humps / _ROW)
        today(below, plan)
    today(above, plan, label=True)
    draw_key(figure, key)
    return figure


def _waited(plan: Plan) -> bool:
    """Whether there is something left to wait for, of which the day is known."""
    return plan.state not in ("planted", "plantable") and plan.planting.binding is not None


def _planted(plan: Plan) -> bool:
    return not np.isnat(plan.planting.earliest.early)


def _key(plan: Plan, *, rows: bool, dated: bool, us: bool) -> Key:
    """What the marks mean, of those that are drawn."""
    fan = [(filled(FAN), f"{len(plan.outlook.years)} past years")] if _foretold(plan) else []
    visited: list[tuple[Mark, str]] = [(visit, "your notes")] if _visits(plan) else []
    found = [[(line(INK), f"{'°F' if us else '°C'} days to bloom"), *fan]]
    if window_shown(plan).size:
        found.append([(hump(WINDOW), WINDOW_WORDS)])
    if rows and not np.isnat(plan.window.ending_day):
        found.append([(dot, answer.ending(plan) if plan.is_ended else answer.to_end(plan)), *visited])
    elif visited:
        found.append(visited)
    if dated:
        found.append([(likely, LIKELY_WORDS)])
    if _planted(plan):
        found.append([(shades, PLANTING_WORDS)])
    return found


def _visits(plan: Plan) -> list[int]:
    """The days of the notes that lie on the line."""
    places = [plan.outlook.position(np.datetime64(note.date, "D")) for note in plan.field.scouting]
    return [place for place in places if 0 <= place < _stop(plan)]


def _foretold(plan: Plan) -> bool:
    """Whether past years are drawn."""
    return bool(plan.outlook.years) and plan.outlook.known < _stop(plan)


def _stop(plan: Plan) -> int:
    """The number of days for which the line is drawn: to the ending of a cover that is ended."""
    days = plan.outlook.days
    return days.size if not plan.is_ended else min(plan.outlook.position(plan.window.ending_day) + 1, days.size)


def _spans(plan: Plan, waits: DateRange | None) -> list[float]:
    """The days of the window and of planting that are drawn, with those of the wait."""
    shown, latest = window_shown(plan), plan.planting.latest
    days = [plan.window.ending_day, *shown[:1], *shown[-1:], plan.planting.earliest.early, plan.planting.earliest.late]
    if waits is not None:
        days += [waits.early, waits.late, latest.early, latest.median]
    return [at(day) for day in days if not np.isnat(day)]


def _until(plan: Plan, waits: DateRange | None) -> float:
    """The last day of interest, and a week."""
    known = plan.outlook.days[plan.outlook.known - 1]
    return max([*_spans(plan, waits), at(plan.on), at(known)]) + 8


def _ends(plan: Plan, until: float, stages: Sequence[DateRange], waits: DateRange | None) -> tuple[float, float]:
    """From midwinter, or from sowing where that is still ahead, to the last day of interest.

    The words of stages and rows stand at the left, before whatever comes first.
    """
    sown = plan.outlook.days[0]
    half = np.timedelta64(season_calendar.HALF_YEAR, "D")
    midwinter = at(season_calendar.midwinter_before(sown + half, plan.field.latitude))
    start = at(sown) if at(plan.on) < midwinter + 21 else midwinter
    for share, days in ((0.66, _spans(plan, waits)), (0.6, [at(dates.median) for dates in stages])):
        if days:
            start = min(start, until - (until - min(days)) / share)
    return start, max(until, start + 60)


def _progress(axes: Axes, plan: Plan, stages: Mapping[str, DateRange], *, us: bool) -> None:
    """The sum of degree-days that count towards bloom, with its stages."""
    outlook, stop = plan.outlook, _stop(plan)
    factor = units.fahrenheit_difference(1.0) if us else 1.0
    sums = towards_bloom(outlook, plan.field.latitude, plan.cover)
    days, median = outlook.days.astype(np.float64), sums.median * factor
    tops = [median[min(outlook.position(dates.median), median.size - 1)] for dates in stages.values()]
    _heights(axes, plan, median[:stop], tops, needed=plan.cover.bloom.requirement.value * factor)
    if _foretold(plan):
        _past_years(axes, sums, days, slice(outlook.known - 1, stop), factor)
    known = min(outlook.known, stop)
    draw(axes, days[:known], median[:known], color=INK, linewidth=2, label="this season")
    _stage_labels(axes, stages, tops)
    for place in _visits(plan):
        draw(axes, [days[place]], [median[place]], label="scouting note", **VISIT)


def _past_years(axes: Axes, sums: Progress, days: Array, ahead: slice, factor: float) -> None:
    """How past years went on from here: eight in ten of them, and their middle."""
    area(axes, days[ahead], sums.early[ahead] * factor, sums.late[ahead] * factor, FAN, label="past years")
    draw(
        axes,
        days[ahead],
        sums.median[ahead] * factor,
        color=INK,
        linewidth=1.2,
        linestyle=(0, (3, 2)),
        label="their middle",
    )


def _heights(axes: Axes, plan: Plan, median: Array, tops: Sequence[float], *, needed: float) -> None:
    """The range of the sums that is shown, with a few of them written beside it."""
    first, last = axes.get_xlim()
    days = plan.outlook.days[: median.size].astype(np.float64)
    inside = (days >= first) & (days <= last)
    # Where the days never lengthen nothing is summed, and an axis still needs a height.
    known = median[min(plan.outlook.known, median.size) - 1 :][:1]
    top = max([*tops, needed * (0.1 if tops else 1.1), *known]) * 1.06
    low = min(float(median[inside][0]) if inside.any() else 0.0, top / 2)
    axes.set_ylim(low - (top - low) * 0.05, top)
    scale(axes, ticks(low, top), "{:,.0f}")


def _stages(plan: Plan, until: float) -> dict[str, DateRange]:
    """The stages that are written: those that come before the cover is ended, and before the chart ends."""
    found = {name: plan.stand.dates[name] for name in _STAGES}
    last = plan.window.ending_day if plan.is_ended else np.datetime64(int(until), "D")
    return {name: dates for name, dates in found.items() if dates.median <= last}  # never true of NaT


def _stage_labels(axes: Axes, stages: Mapping[str, DateRange], sums: Sequence[float]) -> None:
    """A dot with its interval at each stage, and its words at the left, where the line is still low."""
    low, top = axes.get_ylim()
    first, last = axes.get_xlim()
    point = (top - low) / _PANEL
    heights = spread(np.array(sums), LINE * point, low + LINE / 2 * point, top - LINE / 2 * point)
    for (name, dates), total, height in zip(stages.items(), sums, heights, strict=True):
        early, late = (at(day) if not np.isnat(day) else last for day in (dates.early, dates.late))
        draw(axes, [first, early], [height, total], color=RULE, linewidth=0.8, zorder=0.5)
        draw(axes, [early, late], [total, total], color=INK, linewidth=1.4, solid_capstyle="butt")
        draw(axes, [at(dates.median)], [total], **LIKELY)
        words(axes, first, height, f"{_STAGES[name]} {phrases.day_month(dates.median)}", bbox=BEHIND)


def spread(heights: Array, apart: float, low: float, top: float) -> Array:
    """Heights in rising order moved apart as little as it takes, from the lowest up and then from the top down.

    Parameters
    ----------
    heights : numpy.ndarray, shape (word,)
    apart, low, top : float
        The least distance, and the range to stay in.
    """
    moved = np.maximum(heights, low)
    for place in range(1, moved.size):
        moved[place] = max(moved[place], moved[place - 1] + apart)
    for place in range(moved.size - 1, -1, -1):
        above = top if place == moved.size - 1 else moved[place + 1] - apart
        moved[place] = min(moved[place], above)
    return moved


def _rows(axes: Axes, plan: Plan, waits: DateRange | None, hump_rows: float) -> None:
    """The rows below the line of the season, the window at the top."""
    row = 0.5
    if _planted(plan):
        draw_planting(axes, plan, row)
        _label(axes, row, "planting")
        row += 1
    if waits is not None:
        draw_wait(axes, plan, waits, row, binds=True)
        _label(axes, row, "wait")
        row += 1
    if hump_rows:
        base = row - 0.25
        draw_window(axes, plan, base, base - 0.35 + hump_rows)
        draw_ending(axes, plan, base)
        _label(axes, base + 0.25, "window" if window_shown(plan).size else "ended" if plan.is_ended else "ending")


def _label(axes: Axes, row: float, text: str) -> None:
    words(axes, axes.get_xlim()[0], row, text, bbox=BEHIND)
