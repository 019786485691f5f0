"""Many fields in a table, a line each: what needs doing first at the top."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.dates.needs import by_need, is_due
from covercrop.render.screen.terminal import STATE_STYLE
from covercrop.render.words import answer, ending, phrases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.render.screen.terminal import Screen
    from covercrop.season.next_step import NextStep
    from covercrop.season.plan import Plan

#: Fields that a remark names one by one.
_NAMED = 6

_HEADS = ("when", "what", "field", "state", "safe to plant", "ripens")
_NAME = _HEADS.index("field")

#: On a narrower screen names are kept and columns go, the first of these first; on a wider one only the first may.
NARROW = 80
_SPARED = ("state", "ripens", "safe to plant")


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
            _lines(screen, [heads, *table[first:last]], widths, ["dim", *styles[first:last]])
    _mark(
        screen,
        "weather that ends more than three weeks before",
        [plan for plan in plans if plan.provenance.is_stale and not plan.is_ended],
    )
    _mark(screen, "a note that does not fit", [plan for plan in plans if plan.provenance.doubts])
    doubtful = [plan for plan in plans if plan.stand.doubtful]
    _mark(screen, "a cover that may not have lived through the cold", doubtful)


def _mark(screen: Screen, why: str, plans: Sequence[Plan]) -> None:
    """Say which fields rest on something that the reader should know."""
    if not plans:
        return
    names = [plan.field.name for plan in plans]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    screen.say()
    screen.say(f"Look twice, for {why}: {', '.join(names[:_NAMED])}{more}.")


def _fitting(rows: list[tuple[str, ...]], width: int) -> tuple[Sequence[str], list[Sequence[str]], list[int]]:
    """Headings, rows and widths that fit: columns are left out before names are cut."""
    columns = dict(zip(_HEADS, zip(*rows, strict=True), strict=True)) if rows else {}
    spared = list(_SPARED if width < NARROW else _SPARED[:1])
    while True:
        widths = [max(map(len, (head, *column))) for head, column in columns.items()]
        over = sum(widths) + 2 * len(widths) - width
        if over <= 0 or not spared:
            break
        columns.pop(spared.pop(0), None)
    if over > 0 and widths:
        widths[_NAME] = max(widths[_NAME] - over, len("field"))
    return tuple(columns), list(zip(*columns.values(), strict=True)), widths


def _lines(screen: Screen, rows: Sequence[Sequence[str]], widths: Sequence[int], styles: Sequence[str]) -> None:
    # Hundreds of fields: straight to the output, since laying out a table would take seconds.
    for row, style in zip(rows, styles, strict=True):
        cells = [_fitted(screen.fit(cell), width) for cell, width in zip(row, widths, strict=True)]
        line = f"  {'  '.join(cells)}".rstrip()
        if screen.console.is_terminal:
            screen.console.print(line, style=style, markup=False, highlight=False, no_wrap=True, soft_wrap=True)
        else:
            screen.console.file.write(f"{line}\n")


def _fitted(text: str, width: int) -> str:
    return (text if len(text) <= width else f"{text[: width - 2]}..").ljust(width)


def _row(plan: Plan) -> tuple[str, ...]:
    step = plan.next_step
    planting = "" if plan.is_planted else phrases.day_month(plan.planting.safe, int(str(plan.on)[:4]))
    ripens = "" if plan.is_planted or np.isnan(plan.planting.ripens) else phrases.chance(plan.planting.ripens)
    return _when(step, plan.on), _what(step), plan.field.name, answer.state(plan), planting, ripens


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


def _what(step: NextStep) -> str:
    if step.method is not None:
        return ending.to_end(step.method)
    match step.action:
        case "look":
            return "look at it"
        case "scout":
            return "scout it"
    return step.action
