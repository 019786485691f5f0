"""Many fields in a table, a line each: what needs doing first at the top."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.dates.needs import by_need, is_due
from covercrop.render.screen.terminal import NARROW, STATE_STYLE, fitting, lines
from covercrop.render.words import answer, ending, phrases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.render.screen.terminal import Screen
    from covercrop.season.next_step import NextStep
    from covercrop.season.plan import Plan

#: Fields that a remark names one by one.
_NAMED = 6

_HEADS = ("when", "what", "works", "field", "state", "safe to plant", "ripens")
#: What is left out where names would be cut, the first of these first; on a wide screen only the first two may be, as
#: long as what is left of the names tells them apart.
_SPARED = ("state", "works", "ripens", "safe to plant")

_GIVEN_UP = {"bloom": " early", "crop": ", the crop late"}


def fields(screen: Screen, plans: Sequence[Plan], on: np.datetime64, *, title: str, of: int) -> None:
    """Print what each field needs, the first thing first.

    Parameters
    ----------
    screen : Screen
    plans : sequence of Plan
        Those to show.
    on : numpy.datetime64[D]
    title : str
        What was asked about.
    of : int
        Number of the fields that were worked out.
    """
    # Those that are due are the first.
    ordered = by_need(plans)
    due = [plan for plan in ordered if is_due(plan)]
    screen.say(f"{title}, {phrases.weekday(on)} {str(on)[:4]}", style="bold")
    needs = "need" if len(due) != 1 else "needs"
    screen.say(f"{len(due)} of {of} fields {needs} something within the week.")
    heads, table, widths = _fitting([_row(plan) for plan in ordered], screen.width)
    styles = [STATE_STYLE[plan.state] for plan in ordered]
    for heading, first, last in (("This week", 0, len(due)), ("Later", len(due), len(ordered))):
        if first < last:
            screen.say()
            screen.say(heading, style="bold")
            lines(screen, [heads, *table[first:last]], widths, ["dim", *styles[first:last]])
    _mark(
        screen,
        "weather that ends more than three weeks before",
        [plan for plan in plans if plan.provenance.is_stale and not plan.is_ended],
    )
    _mark(screen, "a note that does not fit", [plan for plan in plans if plan.provenance.doubts])
    doubtful = [plan for plan in plans if plan.stand.doubtful]
    _mark(screen, "a cover that may not have lived through the cold", doubtful)


def _fitting(rows: Sequence[tuple[str, ...]], width: int) -> tuple[Sequence[str], list[Sequence[str]], list[int]]:
    """The list as it fits on a screen."""
    if width >= NARROW and rows:
        heads, table, widths = fitting(_HEADS, rows, width, "field", _SPARED[:2])
        place = heads.index("field")
        names = {row[place] for row in table}
        if max(map(len, names)) <= widths[place] or len({name[: widths[place] - 2] for name in names}) == len(names):
            return heads, table, widths
    return fitting(_HEADS, rows, width, "field", _SPARED)


def _mark(screen: Screen, why: str, plans: Sequence[Plan]) -> None:
    """Say which fields rest on something that the reader should know."""
    if not plans:
        return
    names = [plan.field.name for plan in plans]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    screen.say()
    screen.say(f"Look twice, for {why}: {', '.join(names[:_NAMED])}{more}.")


def _row(plan: Plan) -> tuple[str, ...]:
    step = plan.next_step
    planting = "" if plan.is_planted else phrases.day_month(plan.planting.safe, int(str(plan.on)[:4]))
    ripens = "" if plan.is_planted or np.isnan(plan.planting.ripens) else phrases.chance(plan.planting.ripens)
    what, works = _what(step, plan), _works(plan)
    return _when(step, plan.on), what, works, plan.field.name, answer.state(plan), planting, ripens


def _works(plan: Plan) -> str:
    """The chance that everything works, ended on its day; empty where there is nothing to choose."""
    best = plan.window.best
    return "" if best is None else phrases.chance(best.together).replace("over ", ">").replace("under ", "<")


def _when(step: NextStep, on: np.datetime64) -> str:
    if np.isnat(step.start):
        return "no date yet"
    if step.start > on:
        later = np.isnat(step.end) or step.end <= step.start or step.action in ("plant", "harvest")
        start = phrases.day_month(step.start, int(str(on)[:4]))
        return f"from {start}" if step.action == "plant" else start if later else phrases.span(step.start, step.end)
    if np.isnat(step.end) or step.end <= on:
        return "now"
    return f"now - {phrases.day_month(step.end, int(str(on)[:4]))}"


def _what(step: NextStep, plan: Plan) -> str:
    if step.method is not None:
        best = plan.window.best
        return f"{ending.to_end(step.method)}{_GIVEN_UP.get((best and best.given_up) or '', '')}"
    match step.action:
        case "look":
            return "look at it"
        case "scout":
            return "scout it"
    return step.action
