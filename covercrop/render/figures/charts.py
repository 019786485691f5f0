"""The charts of a field: the season, the odds of each day, and what planting waits for.

Each is drawn narrow, so that its words can be read on a phone as they are.
Colours only repeat what a shape and a word say; their lightness differs too,
so that they hold in grey print.  The figures are matplotlib's own: change,
combine or save them as you like.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base import units
from covercrop.base.arrays import Array
from covercrop.models import season_calendar
from covercrop.render.figures.canvas import (
    BEHIND,
    EDGE,
    FAN,
    INK,
    MUTED,
    PAPER,
    PLANTING,
    RULE,
    SMALL,
    TEXT,
    WAIT,
    WIDTH,
    WINDOW,
    at,
    axes_at,
    blank_figure,
    day_ticks,
    month_lines,
    months,
    over,
    today,
)
from covercrop.render.figures.svg import as_text
from covercrop.render.figures.winter import winter_chart
from covercrop.render.words import answer, phrases
from covercrop.season.progress import towards_bloom

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.base.records import DateRange
    from covercrop.season.plan import Plan


#: Below this chance a day is left out of the window.
LEAST_DRAWN = 0.01

#: Stages that are written beside the line of the season.
_STAGES = {"bud": "buds", "first_flower": "first flowers", "bloom_50": "50% bloom", "viable_seed": "first seed"}

_LIMIT_WORDS = {
    "residue": "residue rotted",
    "disease": "seedling disease",
    "maggot": "seedcorn maggot",
    "soil_warm": "soil at {soil}",
    "frost": "frost likely past",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A labelled line of a chart with time from left to right."""

    label: str
    dates: DateRange
    kind: str
    binds: bool = False


# --- the season -----------------------------------------------------------------------------------


def season_chart(plan: Plan, *, us: bool = False) -> Figure:
    """The season on one line of time: warmth towards bloom, the window, the wait, planting.

    Parameters
    ----------
    plan : Plan
    us : bool
        Show US units.

    Returns
    -------
    matplotlib.figure.Figure
    """
    rows = _limit_rows(plan, us=us)
    bands = (1.6 if _window_shown(plan).size else 0) + len(rows) + (1 if _is_dated(_planting(plan)) else 0)
    pitch, panel, head, names = 16.0, 172.0, 15.0, 24.0
    height = head + panel + names + pitch * bands + EDGE
    figure = blank_figure(height)
    first, last = _season_ends(plan, [row.dates for row in rows])
    above = axes_at(figure, EDGE, height - head - panel, WIDTH - 2 * EDGE, panel, first, last)
    months(above, first, last)
    _progress(above, plan, us=us)
    if bands:
        below = axes_at(figure, EDGE, EDGE, WIDTH - 2 * EDGE, pitch * bands, first, last)
        below.set_ylim(bands, 0)
        month_lines(below, first, last)
        _bands(below, plan, rows)
        today(below, plan)
    today(above, plan, label=True)
    return figure


def _season_ends(plan: Plan, limits: Sequence[DateRange]) -> tuple[float, float]:
    """From midwinter, or from sowing where that is still ahead, to the last date of interest.

    The labels of the lower rows stand at the left, before whatever comes first.
    """
    outlook = plan.outlook
    sown = at(outlook.days[0])
    midwinter = at(
        season_calendar.midwinter_before(
            outlook.days[0] + np.timedelta64(season_calendar.HALF_YEAR, "D"), plan.field.latitude
        )
    )
    shown = _window_shown(plan)
    marks = [at(day) for day in (plan.window.ending_day, *(shown[[0, -1]] if shown.size else ())) if not np.isnat(day)]
    marks += [at(day) for dates in (*limits, _planting(plan)) for day in (dates.early, dates.late) if not np.isnat(day)]
    latest = plan.planting.latest
    marks += [at(day) for day in (latest.early, latest.median) if limits and not np.isnat(day)]
    until = max([*marks, at(plan.on), at(outlook.days[outlook.known - 1])]) + 8
    start = sown if at(plan.on) < midwinter + 21 else midwinter
    if marks:
        start = min(start, until - (until - min(marks)) / 0.66)
    if at(plan.on) > until - 0.12 * (until - start):  # room for the sums, right of today
        until += 0.12 * (until - start)
    return start, max(until, start + 60)


def _progress(axes: Axes, plan: Plan, *, us: bool) -> None:
    """The sum of degree-days that count towards bloom, with its stages."""
    outlook = plan.outlook
    sums = towards_bloom(outlook, plan.field.latitude, plan.cover)
    factor = units.fahrenheit_difference(1.0) if us else 1.0
    days = outlook.days.astype(np.float64)
    stop = days.size if not plan.is_ended else min(outlook.position(plan.window.ending_day) + 1, days.size)
    if plan.state == "winter-killed":
        stop = min(stop, outlook.known)
    known = min(outlook.known, stop)
    median = sums.median * factor
    axes.plot(days[:known], median[:known], color=INK, linewidth=2, label="this season")
    if outlook.years and known < stop:
        ahead = slice(known - 1, stop)
        axes.fill_between(
            days[ahead],
            sums.early[ahead] * factor,
            sums.late[ahead] * factor,
            color=FAN,
            linewidth=0,
            label=f"as in {len(outlook.years)} past years",
        )
        axes.plot(days[ahead], median[ahead], color=INK, linewidth=1.2, linestyle=(0, (3, 2)), label="their middle")
    stages = {} if plan.state == "winter-killed" else _stages(plan)
    tops = [median[min(outlook.position(dates.median), median.size - 1)] for dates in stages.values()]
    first, last = axes.get_xlim()
    inside = (days >= first) & (days <= last) & (np.arange(days.size) < stop)
    # Where the days never lengthen nothing is summed, and an axis still needs a height.
    needed = plan.cover.bloom.requirement.value * factor * (0.1 if tops else 1.1)
    top = max([*tops, needed, *median[:known][-1:]]) * 1.13
    low = min(float(median[inside][0]) if inside.any() else 0.0, top / 2)
    axes.set_ylim(low - (top - low) * 0.05, top)
    _stage_labels(axes, stages, tops)
    for note in plan.field.scouting:
        place = outlook.position(np.datetime64(note.date, "D"))
        if 0 <= place < stop:
            axes.plot(
                [days[place]],
                [median[place]],
                marker="D",
                color=PAPER,
                markeredgecolor=INK,
                markersize=5,
                linestyle="none",
                label="scouting note",
            )
    at_left = _legend(axes, days, sums.late * factor, stop, at(plan.on))
    _sums(axes, f"{'°F' if us else '°C'} days", above=0.04 if at_left else 0.42, now=at(plan.on))


def _legend(axes: Axes, days: Array, latest: Array, stop: int, now: float) -> bool:
    """What the lines are, below the rising line at the right; whether it is at the left, clear of that and of today."""
    first, last = axes.get_xlim()
    low, top = axes.get_ylim()
    edge = first + (last - first) * 0.58
    right = (days > edge) & (days <= last) & (np.arange(days.size) < stop)
    in_the_way = now > edge or (bool(right.any()) and latest[right].min() < low + (top - low) * 0.38)
    handles, labels = axes.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    legend = axes.legend(
        once.values(),
        once.keys(),
        loc="lower left" if in_the_way else "lower right",
        bbox_to_anchor=(0.02, 0.1) if in_the_way else (1.0, 0.0),
        facecolor=PAPER,
        edgecolor="none",
        framealpha=1.0,
        borderpad=0.15,
        fontsize=SMALL,
        labelcolor=INK,
        handlelength=1.6,
        borderaxespad=0.2,
        labelspacing=0.35,
    )
    legend.set_zorder(0.5)  # over the rules, under the lines
    return in_the_way


def _stages(plan: Plan) -> dict[str, DateRange]:
    """The stages that are written: those that come before the cover is ended."""
    found = {name: plan.stand.dates[name] for name in _STAGES}
    found = {name: dates for name, dates in found.items() if not np.isnat(dates.median)}
    if not plan.is_ended:
        return found
    return {name: dates for name, dates in found.items() if dates.median <= plan.window.ending_day}


def _stage_labels(axes: Axes, stages: dict[str, DateRange], sums: Sequence[float]) -> None:
    """A dot, its interval and its words, at the left of the rising line; no two words on one height."""
    low, top = axes.get_ylim()
    first, last = axes.get_xlim()
    least = (top - low) * 15 / 172
    height = low + least / 2
    for (name, dates), total in zip(stages.items(), sums, strict=True):
        height = max(height + least, total + least * 0.35)
        early, late = (at(day) if not np.isnat(day) else last for day in (dates.early, dates.late))
        axes.plot([early, late], [total, total], color=INK, linewidth=1.2, solid_capstyle="butt")
        axes.plot([at(dates.median)], [total], marker="o", color=INK, markersize=4.5, linestyle="none")
        axes.text(
            min(early, at(dates.median)) - (last - first) * 0.015,
            height,
            f"{_STAGES[name]} {phrases.day_month(dates.median)}",
            ha="right",
            va="center",
            fontsize=TEXT,
            color=INK,
            bbox=BEHIND,
        )


def _sums(axes: Axes, unit: str, above: float, now: float) -> None:
    """A few heights with their sums, small, at the right; none below a share of the height, nor on today's."""
    from matplotlib.ticker import MaxNLocator

    low, top = axes.get_ylim()
    first, last = axes.get_xlim()
    heights = [height for height in MaxNLocator(4).tick_values(low, top) if low + (top - low) * 0.04 <= height <= top]
    beside_today = now > first + (last - first) * 0.6
    for height in heights:
        axes.axhline(height, color=RULE, linewidth=0.7, zorder=0)
        if height < low + (top - low) * above:
            continue
        said = f"{height:,.0f} {unit}" if height == heights[-1] else f"{height:,.0f}"
        side = "top" if beside_today and height > low + (top - low) * 0.93 else "bottom"
        behind = BEHIND if beside_today else None  # over the line of today
        axes.text(
            last - (last - first) * 0.005, height, said, fontsize=SMALL, color=MUTED, ha="right", va=side, bbox=behind
        )


def _bands(axes: Axes, plan: Plan, rows: Sequence[_Row]) -> None:
    """The rows below the line of the season, top to bottom."""
    first, last = axes.get_xlim()
    top = 0.0
    shown = _window_shown(plan)
    if shown.size:
        odds = plan.window.chances[np.isin(plan.window.days, shown)]
        base = 1.5
        axes.fill_between(
            shown.astype(np.float64) + 0.5, base, base - 1.4 * odds, color=WINDOW, linewidth=0, step="mid"
        )
        _label(axes, first, 0.95, "window")
        top = 1.6
    for row in rows:
        _wait(axes, plan, row, top + 0.5)
        _label(axes, first, top + 0.5, row.label, bold=row.binds)
        top += 1
    planting = _planting(plan)
    if _is_dated(planting):
        latest = plan.planting.latest
        end = last if np.isnat(latest.median) else at(latest.median)
        sure = last if np.isnat(latest.early) else at(latest.early)
        _bar(axes, at(planting.early), end, top + 0.5, 0.16, PLANTING)
        if not np.isnat(planting.median) and at(planting.median) < sure:
            _bar(axes, at(planting.median), sure, top + 0.5, 0.6, PLANTING)
        _label(axes, first, top + 0.5, "planting")


def _label(axes: Axes, first: float, height: float, text: str, *, bold: bool = False) -> None:
    weight = "bold" if bold else "normal"
    axes.text(first, height, text, fontsize=TEXT, color=INK, va="center", fontweight=weight, bbox=BEHIND)


def _wait(axes: Axes, plan: Plan, row: _Row, height: float) -> None:
    """What has to pass before planting: the wait to its likely day, and the interval of that day."""
    first, last = axes.get_xlim()
    dates = row.dates
    begin = first if np.isnat(plan.window.ending_day) else at(plan.window.ending_day)
    likely = last if np.isnat(dates.median) else at(dates.median)
    if not np.isnat(plan.window.ending_day) and dates.late < plan.window.ending_day and first >= begin - 2:
        axes.text(
            begin + (last - first) * 0.02, height, "already past", fontsize=SMALL, color=MUTED, va="center", bbox=BEHIND
        )
        return
    if likely > begin:
        _bar(axes, begin, likely, height, 0.5, INK if row.binds else WAIT)
    early, late = (last if np.isnat(day) else at(day) for day in (dates.early, dates.late))
    axes.plot([early, late], [height, height], color=INK, linewidth=1.4, solid_capstyle="butt")
    if not np.isnat(dates.median):
        axes.plot([likely], [height], marker="o", color=PAPER, markeredgecolor=INK, markeredgewidth=1.4, markersize=5.5)


def _bar(axes: Axes, start: float, end: float, height: float, thickness: float, colour: str) -> None:
    _rectangle(axes, start, height - thickness / 2, end - start, thickness, colour)


def _rectangle(axes: Axes, left: float, bottom: float, width: float, height: float, colour: str) -> None:
    """Draw what bar() and barh() draw, in a tenth of their time: they look for limits of the axes, which are set."""
    from matplotlib.patches import Rectangle

    axes.add_artist(Rectangle((left, bottom), width, height, facecolor=colour, linewidth=0))


# --- the window -----------------------------------------------------------------------------------


def window_chart(plan: Plan) -> Figure | None:
    """The chance that the window is open on each day; None where there is none to speak of, or no more.

    Parameters
    ----------
    plan : Plan
    """
    days = _window_shown(plan)
    if not days.size:
        return None
    odds = plan.window.chances[np.isin(plan.window.days, days)]
    first, last = at(days[0]), at(days[-1])
    if first - 21 <= at(plan.on) <= last:
        first = min(first, at(plan.on) - 1)
    height = 140.0
    figure = blank_figure(height)
    axes = axes_at(figure, EDGE, 20, WIDTH - 2 * EDGE, height - 20 - 14, first - 1, last + 2)
    axes.set_ylim(0, 1.3)
    for share in (0.5, 1.0):
        axes.axhline(share, color=RULE, linewidth=0.7, zorder=0)
        axes.text(last + 1.8, share, f"{share:.0%}", fontsize=SMALL, color=MUTED, ha="right", va="bottom")
    best = plan.window.best
    chosen = np.zeros(days.size, bool) if best is None else (days >= best.start) & (days <= best.end)
    for day, chance, week in zip(days.astype(float) + 0.5, odds, chosen, strict=True):
        _rectangle(axes, day - 0.8 / 2, 0, 0.8, chance, WINDOW if week else "#cfa6b4")
    if best is not None:
        start, end = at(best.start), at(best.end) + 1
        axes.plot([start, end], [1.08, 1.08], color=WINDOW, linewidth=2.5, solid_capstyle="butt")
        side, place = _side(start, end, first, last)
        axes.text(
            place,
            1.13,
            f"best week {phrases.span(best.start, best.end)}",
            fontsize=TEXT,
            color=INK,
            fontweight="bold",
            ha=side,
            va="bottom",
            bbox=BEHIND,
        )
    today(axes, plan, label=True)
    day_ticks(axes, first, last)
    return figure


def _side(start: float, end: float, first: float, last: float) -> tuple[str, float]:
    """On which side words stand over a span, so that they stay inside."""
    middle = (start + end) / 2
    share = (middle - first) / max(last - first, 1)
    return ("left", start) if share < 0.3 else ("right", end) if share > 0.7 else ("center", middle)


def _window_shown(plan: Plan) -> np.ndarray[Any, np.dtype[np.datetime64]]:
    """Days with a chance that the window is open, the first to the last; none once the cover is ended or dead."""
    days, likely = plan.window.days, np.flatnonzero(plan.window.chances >= LEAST_DRAWN)
    return days[likely[0] : likely[-1] + 1] if plan.window.foretold else days[:0]


# --- the endings ----------------------------------------------------------------------------------

#: The wants that are drawn, with how each is named and drawn; what always holds is left out.
_WANTS = (
    ("killed", "killed", MUTED, (0, (1, 1.5))),
    ("seed_free", "no seed", INK, (0, (5, 2))),
    ("bloom", "in bloom", WINDOW, "solid"),
    ("in_time", "{crop} in time", PLANTING, (0, (5, 1.5, 1, 1.5))),
)


def endings_chart(plan: Plan) -> Figure | None:
    """The chance of each want, and of all of them, by the day of ending; None where there is nothing to choose.

    Parameters
    ----------
    plan : Plan
    """
    wants, best, days = plan.window.wants, plan.window.best, _window_shown(plan)
    if wants is None or best is None or not days.size:
        return None
    first, last = min(at(plan.on), at(best.date)) - 2, at(days[-1]) + 1
    shown = (plan.window.days.astype(float) >= max(first, at(plan.on))) & (plan.window.days.astype(float) <= last)
    along = plan.window.days[shown].astype(float) + 0.5
    height, legend = 172.0, 46.0
    figure = blank_figure(height)
    below = 20 + legend
    axes = axes_at(figure, EDGE, below, WIDTH - 2 * EDGE, height - below - 16, first, last + 1)
    axes.set_ylim(0, 1.06)
    for share in (0.5, 1.0):
        axes.axhline(share, color=RULE, linewidth=0.7, zorder=0)
        axes.text(last + 0.8, share, f"{share:.0%}", fontsize=SMALL, color=MUTED, ha="right", va="bottom", zorder=0)
    axes.fill_between(along, wants.together[shown], color=FAN, linewidth=0, label="everything works", zorder=1)
    for name, label, colour, dashes in _WANTS:
        chance = getattr(wants, name)[shown]
        if chance.min() < 1 - LEAST_DRAWN:
            named = label.format(crop=plan.crop.common_name)
            axes.plot(along, chance, color=colour, linewidth=1.6, linestyle=dashes, label=named, zorder=2)
    middle = at(best.date) + 0.5
    axes.plot([middle, middle], [0, 1.06], color=INK, linewidth=1.2, zorder=3)
    axes.plot([middle], [best.together], marker="o", color=INK, markersize=5, zorder=4)
    side, place = _side(middle - 0.5, middle + 0.5, first, last)
    words = f"{answer.to_end(plan)} {phrases.day_month(best.date)}"
    axes.text(place, 1.09, words, fontsize=TEXT, color=INK, fontweight="bold", ha=side, va="bottom")
    figure.legend(
        loc="lower left", bbox_to_anchor=(0.0, 0.0), ncols=2, fontsize=SMALL, labelcolor=INK, frameon=False,
        handlelength=2.2, columnspacing=1.2, borderpad=0.2, handletextpad=0.5, labelspacing=0.35,
    )  # fmt: skip
    today(axes, plan)
    day_ticks(axes, first, last)
    return figure


# --- planting -------------------------------------------------------------------------------------


def limits_chart(plan: Plan, *, us: bool = False) -> Figure | None:
    """What planting waits for, and which of it is last; None where nothing is waited for.

    Parameters
    ----------
    plan : Plan
    us : bool
        Show US units.
    """
    rows = sorted(_limit_rows(plan, us=us), key=lambda row: (np.isnat(row.dates.median), row.dates.median, row.binds))
    if not rows:
        return None
    pitch, gutter, dated = 20.0, 122.0, 54.0
    height = 18 + pitch * (len(rows) + 1) + 18 + EDGE
    figure = blank_figure(height)
    planting = _planting(plan)
    begin = at(plan.window.ending_day)
    ends = [at(day) for row in rows for day in (row.dates.late, row.dates.median) if not np.isnat(day)]
    ends += [at(day) for day in (planting.late, plan.planting.safe) if not np.isnat(day)]
    last = max([*ends, begin + 21]) + 2
    axes = axes_at(figure, gutter, 20, WIDTH - gutter - dated, height - 20 - 18, begin - 2, last)
    axes.set_ylim(len(rows) + 1, 0)
    axes.axvline(begin, color=MUTED, linewidth=1, linestyle=(0, (2, 2)), zorder=0)
    condition = "" if plan.is_ended else "if "
    over(axes, begin - 2, f"{condition}{answer.ending(plan)} {phrases.day_month(plan.window.ending_day)}", ha="left")
    for place, row in enumerate(rows):
        _wait(axes, plan, row, place + 0.5)
        _beside(axes, place + 0.5, row.label, phrases.day_month(row.dates.median), bold=row.binds)
    bottom = len(rows) + 0.5
    axes.axhline(len(rows), color=RULE, linewidth=0.7)
    if _is_dated(planting):
        early, late = (at(planting.early), last if np.isnat(planting.late) else at(planting.late))
        _bar(axes, early, late, bottom, 0.16, PLANTING)
        if not np.isnat(planting.median):
            _bar(axes, at(planting.median), last, bottom, 0.6, PLANTING)
    _beside(axes, bottom, "safe to plant", phrases.day_month(planting.median), bold=True)
    day_ticks(axes, begin, last - 2)
    if at(plan.on) > begin:
        today(axes, plan)
    return figure


def _beside(axes: Axes, height: float, label: str, date: str, *, bold: bool) -> None:
    """A row's words at the left of the time, and its likely day at the right."""
    weight = "bold" if bold else "normal"
    across = axes.get_yaxis_transform()
    axes.text(
        -0.03,
        height,
        label,
        transform=across,
        fontsize=TEXT,
        color=INK,
        fontweight=weight,
        ha="right",
        va="center",
        clip_on=False,
    )
    axes.text(
        1.03,
        height,
        "no date" if date == "-" else date,
        transform=across,
        fontsize=TEXT,
        color=INK,
        fontweight=weight,
        ha="left",
        va="center",
        clip_on=False,
    )


def _limit_rows(plan: Plan, *, us: bool) -> list[_Row]:
    """The limits on planting with a date; none where the cover is dead, the crop in, or the rest not known."""
    if plan.state in ("winter-killed", "planted") or np.isnat(plan.window.ending_day) or not plan.outlook.complete:
        return []
    soil = phrases.temperature(plan.planting.soil_c, us=us)
    return [
        _Row(
            label=_LIMIT_WORDS[name].format(soil=soil),
            dates=dates,
            kind=name,
            binds=name == plan.planting.binding,
        )
        for name, dates in plan.planting.limits.items()
    ]


def _is_dated(dates: DateRange) -> bool:
    return not np.isnat(dates.early)


def _planting(plan: Plan) -> DateRange:
    return plan.planting.earliest


# --- titles and alternatives ----------------------------------------------------------------------


def titled(figure: Figure, plan: Plan, title: str) -> Figure:
    """Write field, day and title above a figure that goes out on its own."""
    width, height = figure.get_size_inches() * 72
    room = 34.0
    for axes in figure.axes:
        left, bottom, wide, high = axes.get_position().bounds
        axes.set_position((left, bottom * height / (height + room), wide, high * height / (height + room)))
    figure.set_size_inches(width / 72, (height + room) / 72)
    name = as_text(plan.field.name)
    name = name if len(name) <= 40 else f"{name[:39]}…"
    for text, down, size, weight in (
        (f"{name}, {phrases.day_month(plan.on, 0)}", 15, 13, "bold"),
        (title, 29, TEXT, "normal"),
    ):
        figure.text(
            EDGE / WIDTH,
            1 - down / (height + room),
            text,
            fontsize=size,
            fontweight=weight,
            color=INK,
            va="baseline",
            parse_math=False,
        )
    return figure


#: The charts by the names that a command takes; each is called with the plan and whether to show US units.
CHARTS: dict[str, Callable[[Plan, bool], Figure | None]] = {
    "season": lambda plan, us: season_chart(plan, us=us),
    "window": lambda plan, us: window_chart(plan),
    "endings": lambda plan, us: endings_chart(plan),
    "limits": lambda plan, us: limits_chart(plan, us=us),
    "winter": lambda plan, us: winter_chart(plan, us=us),
}

#: Those of a page: the chances of the endings hold that of the window.
PAGE_CHARTS = ("season", "endings", "limits", "winter")
