"""Which of many fields needs something first, and which within the week; what matters of it now."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.season import advice
from covercrop.season.next_step import WEEK

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.season.plan import Plan

#: Of steps that begin on one day, those of the first state come first.
_URGENCY = (
    "seed-risk",
    "closing",
    "winter-killed",
    "in-window",
    "plantable",
    "budding",
    "turned-under",
    "growing",
    "planted",
)

#: The dates that a standing cover is managed by, and those of the ground after it.
_STANDING = ("bud", "first_flower", "window_open", "window_close", "earliest_planting", "latest_planting")
_GROUND = ("residue", "disease", "soil_warm", "earliest_planting", "latest_planting")


def dates_that_matter(plan: Plan) -> tuple[str, ...]:
    """Names of the few dates that something is still decided by: those that are surely past matter no more."""
    names = _GROUND if plan.is_ended else _STANDING
    return tuple(name for name in names if not plan.dates[name].late < plan.on)  # NaT is before nothing


def caution_now(plan: Plan) -> str:
    """The one caution that this week's work needs; empty where there is none to do."""
    step = plan.next_step
    if not is_due(plan):
        return ""
    if step.action == "plant":
        return advice.TREATED_SEED if plan.field.crop.method == "direct-seed" else ""
    return {"turn-under": advice.BARE_SOIL, "tarp": advice.TARP}.get(step.method or "", "")


def is_due(plan: Plan) -> bool:
    """Whether a field needs something within the week."""
    return bool(plan.next_step.start < plan.on + np.timedelta64(WEEK, "D"))  # never true of NaT


def by_need(plans: Sequence[Plan]) -> list[Plan]:
    """Fields in the order in which they need something, those without a date last.

    Parameters
    ----------
    plans : sequence of Plan
    """

    def need(plan: Plan) -> tuple[bool, str, int, bool, str, str]:
        step = plan.next_step
        no_start, no_end = bool(np.isnat(step.start)), bool(np.isnat(step.end))
        urgency = _URGENCY.index(plan.state)
        return no_start, str(step.start), urgency, no_end, str(step.end), plan.field.name

    return sorted(plans, key=need)


def winter_matters(plan: Plan, *, among_few: bool = True) -> bool:
    """Whether the answer still turns on the winter: the stand is dead or in doubt, or has not come to its buds.

    The last only on a page of few fields: among many nobody looks at a winter that did no harm.
    """
    budded = bool(plan.on >= plan.stand.dates["bud"].median)  # never true of NaT
    ahead = among_few and not (budded or plan.is_ended)
    return plan.state == "winter-killed" or plan.stand.doubtful or ahead
