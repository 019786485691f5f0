"""The chart of what planting waits for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.figures.canvas import (
    EDGE,
    INK,
    MUTED,
    WAIT,
    WIDTH,
    at,
    axes_at,
    blank_figure,
    day_ticks,
    draw,
    over,
    rules,
    today,
    words,
)
from covercrop.render.figures.key import (
    LIKELY_WORDS,
    PLANTING_WORDS,
    draw_key,
    filled,
    key_height,
    likely,
    shades,
)
from covercrop.render.figures.spans import draw_planting, draw_wait
from covercrop.render.words import answer, phrases

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.base.records import DateRange
    from covercrop.season.plan import Plan

_LIMIT_WORDS = {
    "residue": "residue rotted",
    "disease": "seedling disease",
    "maggot": "seedcorn maggot",
    "soil_warm": "soil at {soil}",
    "frost": "frost likely past",
}

#: Points: a row, the words at its left and the date at its right, what stands above, and the days below.
_PITCH, _GUTTER, _DATED, _HEAD, _DAYS = 24.0, 144.0, 62.0, 22.0, 23.0

_KEY = (
    ((filled(WAIT), "wait"), (filled(INK), "the longest")),
    ((likely, LIKELY_WORDS),),
    ((shades, PLANTING_WORDS),),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A limit with its dates."""

    label: str
    dates: DateRange
    binds: bool


def limits_chart(plan: Plan, *, us: bool = False) -> Figure | None:
    """What planting waits for, and which of it is last; None where nothing is waited for.

    Parameters
    ----------
    plan : Plan
    us : bool
        Show US units.
    """
    rows = sorted(_rows(plan, us=us), key=lambda row: (np.isnat(row.dates.median), row.dates.median, row.binds))
    if not rows:
        return None
    foot, panel = key_height(_KEY), _PITCH * (len(rows) + 1)
    figure = blank_figure(_HEAD + panel + _DAYS + foot)
    earliest, safe = plan.planting.earliest, plan.planting.safe
    begin = at(plan.window.ending_day)
    ends = [at(day) for row in rows for day in (row.dates.late, row.dates.median) if not np.isnat(day)]
    ends += [at(day) for day in (earliest.late, safe) if not np.isnat(day)]
    last = max([*ends, begin + 21]) + 4
    axes = axes_at(figure, _GUTTER, foot + _DAYS, WIDTH - _GUTTER - _DATED, panel, begin - 2, last)
    axes.set_ylim(0, len(rows) + 1)
    draw(axes, [begin, begin], [0, len(rows) + 1], color=MUTED, linewidth=1, linestyle=(0, (2, 2)), zorder=0)
    condition = "" if plan.is_ended else "if "
    over(axes, begin, f"{condition}{answer.ending(plan)} {phrases.day_month(plan.window.ending_day)}")
    for place, row in enumerate(rows):
        height = len(rows) + 0.5 - place
        draw_wait(axes, plan, row.dates, height, binds=row.binds)
        _beside(axes, height, row.label, phrases.day_month(row.dates.median), bold=row.binds)
    rules(axes, heights=[1])
    draw_planting(axes, plan, 0.5)
    _beside(axes, 0.5, "safe to plant", phrases.day_month(safe), bold=True)
    day_ticks(axes, begin, last - 2)
    if at(plan.on) > begin:
        today(axes, plan)
    draw_key(figure, _KEY)
    return figure


def _beside(axes: Axes, height: float, label: str, date: str, *, bold: bool) -> None:
    """A row's words at the left of the time, and its day at the right."""
    wide = axes.get_position().width * WIDTH
    for across, text, side in (
        ((EDGE - _GUTTER) / wide, label, "left"),
        (1 + (_DATED - EDGE) / wide, "no date" if date == "-" else date, "right"),
    ):
        weight = "bold" if bold else "normal"
        words(axes, across, height, text, place=axes.get_yaxis_transform(), ha=side, fontweight=weight)


def _rows(plan: Plan, *, us: bool) -> list[_Row]:
    """The limits on planting with a date; none where the cover is dead, the crop in, or the rest not known."""
    if plan.state in ("winter-killed", "planted") or np.isnat(plan.window.ending_day) or not plan.outlook.complete:
        return []
    soil = phrases.temperature(plan.planting.soil_c, us=us)
    return [
        _Row(label=_LIMIT_WORDS[name].format(soil=soil), dates=dates, binds=name == plan.planting.binding)
        for name, dates in plan.planting.limits.items()
    ]
