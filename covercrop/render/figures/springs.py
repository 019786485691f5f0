"""One year against every other: its warmth and window, the date of bloom, its temperatures, beside all past years."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.render.figures.canvas import (
    EDGE,
    FAN,
    INK,
    MUTED,
    PAPER,
    RULE,
    TEXT,
    WIDTH,
    WINDOW,
    area,
    at,
    axes_at,
    blank_figure,
    month_lines,
    months,
    over,
)
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.checking.springs import Springs

#: A past year's line and its window: pale, and still three times as dark as the paper.
_PAST, _PAST_WINDOW = "#948c78", "#b8728c"

#: Warmer and cooler than usual.
_WARM, _COOL = "#c2831a", "#4d7391"

#: Height of a past year's strip and of this year's [points].
_STRIP, _THIS = 5.4, 1.5 * TEXT

#: Strips between two years that are written.
_APART = ceil(1.4 * TEXT / _STRIP)

#: Room for years and dates at the left, for a line of words above, for the months below, for a legend [points].
_GUTTER, _HEAD, _NAMES, _LEGEND = 4.3 * TEXT, 1.5 * TEXT, 1.8 * TEXT, 4.5 * TEXT + 4

#: A past year is drawn by every so many days, and there is no more to be seen.
_STEP = 5


def springs_chart(springs: Springs, *, us: bool = False) -> Figure:
    """Degree-days towards bloom of this and each past season, and below them their windows.

    Parameters
    ----------
    springs : Springs
    us : bool
        Show US units.
    """
    panel = 150.0
    strips = _STRIP * springs.recent + _THIS
    height = _HEAD + panel + _NAMES + strips + _LEGEND
    figure = blank_figure(height)
    first, last = _spring_ends(springs)
    wide = WIDTH - _GUTTER - EDGE
    above = axes_at(figure, _GUTTER, height - _HEAD - panel, wide, panel, first, last)
    months(above, first, last)
    _sums(above, springs, us=us)
    below = axes_at(figure, _GUTTER, _LEGEND, wide, strips, first, last)
    month_lines(below, first, last)
    _strips(below, springs)
    _today(above, springs, label=True)
    _today(below, springs)
    _legend(figure, above, below)
    return figure


def _spring_ends(springs: Springs) -> tuple[float, float]:
    """From midwinter to when all windows but one in ten have closed."""
    start = at(springs.days[0])
    closes = springs.events["window_close"][-springs.recent :]
    closes = closes[np.isfinite(closes)]
    last = start + float(closes.max()) if closes.size else at(springs.days[-1])
    first = max(start, at(springs.midwinter))
    return first, max(last, at(springs.on), first + 30) + 6


def _sums(axes: Axes, springs: Springs, *, us: bool) -> None:
    """A thin line a past season, this one bold, the usual dashed."""
    factor = units.fahrenheit_difference(1.0) if us else 1.0
    days = springs.days.astype(np.float64)
    shown = (days >= axes.get_xlim()[0] - _STEP) & (days <= axes.get_xlim()[1] + _STEP)
    for place, line in enumerate(springs.sums):
        along, height = days[shown][::_STEP], line[shown][::_STEP] * factor
        axes.plot(along, height, color=_PAST, linewidth=0.6, label="" if place else "a past spring")
    usual = np.median(springs.sums, axis=0)[shown][::_STEP] * factor
    axes.plot(days[shown][::_STEP], usual, color=INK, linewidth=1.3, linestyle=(0, (3, 2)), label="their middle")
    now = shown[: springs.known]
    axes.plot(
        days[: springs.known][now], springs.now[now] * factor, color=INK, linewidth=2.6, label=f"{springs.spring}"
    )
    top = max(float(springs.sums[:, shown].max()) * factor, 1.0) * 1.04
    axes.set_ylim(-0.02 * top, top)
    _scale(axes, top, f"{'°F' if us else '°C'} d")


def _scale(axes: Axes, top: float, unit: str) -> None:
    """A few heights with their numbers, left of the axes."""
    from matplotlib.ticker import MaxNLocator

    low = axes.get_ylim()[0]
    heights = [each for each in MaxNLocator(4).tick_values(low, top) if max(low, 0) <= each <= top * 0.93]
    for height in heights:
        axes.axhline(height, color=RULE, linewidth=0.7, zorder=0)
        _left(axes, height, f"{height:,.0f}")
    over(axes, axes.get_xlim()[0], unit, ha="right")


def _left(axes: Axes, height: float, text: str, *, bold: bool = False) -> None:
    """Words left of the axes."""
    axes.text(
        -0.015, height, text, transform=axes.get_yaxis_transform(), fontsize=TEXT, color=INK if bold else MUTED,
        fontweight="bold" if bold else "normal", ha="right", va="center", clip_on=False,
    )  # fmt: skip


def _strips(axes: Axes, springs: Springs) -> None:
    """The window of each spring, the oldest on top, with a dot at 50% bloom; this one bold below them."""
    recent, start = springs.recent, at(springs.days[0])
    opens, closes, bloom = (
        start + springs.events[name][-recent:] for name in ("window_open", "window_close", "bloom_50")
    )
    axes.set_ylim(recent * _STRIP + _THIS, 0)
    middles = (np.arange(recent) + 0.5) * _STRIP
    held = closes >= opens
    axes.hlines(middles[held], opens[held], closes[held] + 1, color=_PAST_WINDOW, linewidth=3.4, label="its window")
    axes.plot(bloom, middles, ".", color=INK, markersize=3.6, label="50% bloom")
    years = springs.years[-recent:].tolist()
    _left(axes, middles[0], f"{years[0]}")
    for middle, year in zip(middles[_APART:-1], years[_APART:-1], strict=True):
        if year % 10 == 0:
            _left(axes, middle, f"{year}")
    line = recent * _STRIP + _THIS / 2
    likely = springs.likely
    first, last = likely["window_open"].median, likely["window_close"].median
    if not (np.isnat(first) or np.isnat(last)) and last >= first:
        axes.hlines(line, at(first), at(last) + 1, color=WINDOW, linewidth=9)
    if not np.isnat(likely["bloom_50"].median):
        axes.plot([at(likely["bloom_50"].median)], [line], "o", color=PAPER, markeredgecolor=INK, markersize=6)
    _left(axes, line, f"{springs.spring}", bold=True)


def _today(axes: Axes, springs: Springs, *, label: bool = False) -> None:
    first, last = axes.get_xlim()
    day = at(springs.on)
    if not first <= day <= last:
        return
    axes.axvline(day, color=INK, linewidth=1)
    if label:
        share = (day - first) / (last - first)
        over(axes, day, f"today {phrases.day_month(springs.on)}", ha="right" if share > 0.5 else "left", colour=INK)


def _legend(figure: Figure, *axes: Axes) -> None:
    """What the marks are, below everything."""
    handles, labels = [], []
    for each in axes:
        found = each.get_legend_handles_labels()
        handles += found[0]
        labels += found[1]
    figure.legend(
        handles, labels, loc="lower left", bbox_to_anchor=(0.0, 0.0), ncols=2, fontsize=TEXT, labelcolor=INK,
        frameon=False, handlelength=1.8, columnspacing=1.2, borderpad=0.2, handletextpad=0.5, labelspacing=0.35,
    )  # fmt: skip


def bloom_chart(springs: Springs, *, us: bool = False) -> Figure:
    """The date of 50% bloom in every year of the record, with its trend; this year's with its interval.

    Parameters
    ----------
    springs : Springs
    us : bool
        Changes nothing: there is no unit in it.
    """
    panel, right = 170.0, 3.7 * TEXT
    legend = _LEGEND * 2 / 3
    figure = blank_figure(panel + _NAMES + legend + EDGE)
    years = springs.years.astype(float)
    spare = max(1.5, 0.03 * (springs.spring - years[0]))
    first, last = years[0] - spare, max(years[-1], springs.spring) + spare
    axes = axes_at(figure, _GUTTER, _NAMES + legend, WIDTH - _GUTTER - right, panel, first, last)
    start = at(springs.days[0])
    bloom = start + springs.events["bloom_50"]
    likely = springs.likely["bloom_50"]
    mine = np.array([at(each) for each in (likely.early, likely.median, likely.late) if not np.isnat(each)])
    every = np.concatenate((bloom[np.isfinite(bloom)], mine))
    if every.size:
        axes.set_ylim(every.min() - 4, every.max() + 4)
    _dates(axes)
    _years(axes)
    found = springs.trend
    if found is not None:
        along = np.array([years[0], years[-1]])
        middle = float(np.median(years[np.isfinite(bloom)]))
        level = start + found.at(along)
        centre = start + float(found.at(middle))
        fine = np.linspace(float(years[0]), float(years[-1]), 60)
        ends = np.array([centre + slope * (fine - middle) for slope in (found.low, found.high)])
        area(axes, fine, ends.min(axis=0), ends.max(axis=0), FAN, label="95% interval")
        dashes = "solid" if found.is_told else (0, (3, 2))
        axes.plot(along, level, color=INK, linewidth=1.4, linestyle=dashes, label="trend")
    axes.plot(years, bloom, "o", color=MUTED, markersize=4, label="a past spring")
    if mine.size:
        axes.plot([springs.spring] * mine.size, mine, color=WINDOW, linewidth=2)
    if not np.isnat(likely.median):
        axes.plot([springs.spring], [at(likely.median)], "D", color=WINDOW, markersize=7)
        axes.text(
            1.02, at(likely.median), f"{springs.spring}", transform=axes.get_yaxis_transform(), fontsize=TEXT,
            color=WINDOW, fontweight="bold", va="center", clip_on=False,
        )  # fmt: skip
    _legend(figure, axes)
    return figure


def _dates(axes: Axes) -> None:
    """Dates left of the axes, a week or more apart."""
    low, top = axes.get_ylim()
    step = next((each for each in (7, 14, 28) if (top - low) / each <= 6), 56)
    for day in np.arange(np.ceil(low / step) * step, top, step):
        axes.axhline(day, color=RULE, linewidth=0.7, zorder=0)
        _left(axes, day, phrases.day_month(np.datetime64(int(day), "D")))


def _years(axes: Axes) -> None:
    """Round years below the axes."""
    from matplotlib.ticker import MaxNLocator

    first, last = axes.get_xlim()
    for year in MaxNLocator(5, integer=True).tick_values(first, last):
        if first <= year <= last:
            axes.axvline(year, color=RULE, linewidth=0.7, zorder=0)
            axes.annotate(
                f"{year:.0f}", (year, 0), xycoords=("data", "axes fraction"), xytext=(0, -4),
                textcoords="offset points", ha="center", va="top", fontsize=TEXT, color=MUTED, annotation_clip=False,
            )  # fmt: skip


def normal_chart(springs: Springs, *, us: bool = False) -> Figure:
    """The temperatures of this season over those of the latest years.

    Parameters
    ----------
    springs : Springs
    us : bool
        Show US units.
    """
    panel = 160.0
    figure = blank_figure(_HEAD + panel + _NAMES + _LEGEND)
    known = springs.known
    days = springs.days.astype(np.float64) + 0.5
    first, last = days[0], days[min(known + 14, days.size) - 1]
    axes = axes_at(figure, _GUTTER, _LEGEND + _NAMES, WIDTH - _GUTTER - EDGE, panel, first, last)
    months(axes, first, last)
    warmth, normal = (units.fahrenheit_from_celsius(each) if us else each for each in (springs.warmth, springs.normal))
    shown = days <= last
    low, middle, high = normal[:, shown]
    area(axes, days[shown], low, high, FAN, label="8 years in 10")
    axes.plot(days[shown], middle, color=INK, linewidth=1.1, linestyle=(0, (3, 2)), label="the middle year")
    usual = middle[:known]
    for colour, where, label in ((_WARM, warmth >= usual, "warmer"), (_COOL, warmth <= usual, "cooler")):
        axes.fill_between(
            days[:known], warmth, usual, where=where, color=colour, linewidth=0, label=label, interpolate=True
        )
    axes.plot(days[:known], warmth, color=INK, linewidth=1.4, label="this season")
    every = np.concatenate((low, high, warmth))
    axes.set_ylim(every.min() - 1, every.max() + 1)
    _degrees(axes, "°F" if us else "°C")
    _today(axes, springs, label=True)
    _legend(figure, axes)
    return figure


def _degrees(axes: Axes, unit: str) -> None:
    """A few temperatures left of the axes."""
    from matplotlib.ticker import MaxNLocator

    low, top = axes.get_ylim()
    for height in MaxNLocator(5, integer=True).tick_values(low, top):
        if low <= height <= top - 0.07 * (top - low):
            axes.axhline(height, color=RULE, linewidth=0.7, zorder=0)
            _left(axes, height, f"{height:.0f}".replace("-", "\N{MINUS SIGN}"))
    over(axes, axes.get_xlim()[0], unit, ha="right")


#: The charts by the names that a command takes; each is called with the springs and whether to show US units.
SPRING_CHARTS: dict[str, Callable[[Springs, bool], Figure]] = {
    "springs": lambda springs, us: springs_chart(springs, us=us),
    "bloom": lambda springs, us: bloom_chart(springs, us=us),
    "normal": lambda springs, us: normal_chart(springs, us=us),
}
