"""Which of many fields needs something first, and which within the week."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

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
