"""What is next for a field, and with what odds, in a line of a timeline."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.words import answer, phrases
from covercrop.render.words.ending import to_end

if TYPE_CHECKING:
    from covercrop.season.plan import Plan


def next_words(plan: Plan) -> str:
    """What is next, when, and the chance that it works."""
    return "; ".join(filter(None, (_step(plan), _work(plan)))) or "no date yet"


def _step(plan: Plan) -> str:
    """A visit, what is overdue, or what is left to wait for."""
    step = plan.next_step
    day = _day(plan, step.start)
    match step.action:
        case "scout":
            return f"scout it {day}"
        case "look":
            return f"look whether it lives, {phrases.chance(plan.stand.survival)}"
        case "harvest":
            return f"ripe about {day}" if not np.isnat(step.start) else "not likely to ripen"
        case "end" if plan.window.best is None:
            ripe, still = phrases.chance(plan.stand.seed_now), phrases.chance(plan.window.open_now)
            why = f"ripe seed {ripe}" if plan.state == "seed-risk" else f"open {still}"
            return f"{to_end(step.method or plan.window.method)} now, {why}"
        case "plant" if plan.work_ahead is None:
            return "no day is likely safe to plant"
    return ""


def _work(plan: Plan) -> str:
    """The next work with a likely day, and its chance."""
    work, best = plan.work_ahead, plan.window.best
    if work is None:
        return ""
    if best is not None:
        when = f"about {_day(plan, best.date)}" if plan.window.waits else "now"
        return f"{answer.to_end(plan)} {when}, works {phrases.chance(best.together)}"
    safe = plan.planting.safe
    when = f"from {_day(plan, work.start)}" if np.isnat(safe) else f"from {_day(plan, max(safe, plan.on))}"
    when = "now" if plan.state == "plantable" else when
    ripens = plan.planting.ripens
    return f"{answer.planting(plan)} {when}" + ("" if np.isnan(ripens) else f", ripens {phrases.chance(ripens)}")


def _day(plan: Plan, day: np.datetime64) -> str:
    return phrases.day_month(day, int(str(plan.on)[:4]))


def strip_words(plan: Plan) -> str:
    """The strip of a field in a sentence: its window, its ending and its planting."""
    half, ending, safe = plan.window.likely_open, plan.window.ending_day, plan.planting.safe
    said = []
    if half is not None and plan.window.foretold:
        said.append(f"window likely open {phrases.span(*half)}")
    if not np.isnat(ending):
        said.append(f"{'' if plan.is_ended else 'to be '}{answer.ending(plan)} {_day(plan, ending)}")
    if not np.isnat(safe):
        said.append(f"safe to plant in eight years of ten from {_day(plan, safe)}")
    return f"{'; '.join(said)}." if said else "Nothing can be foretold."
