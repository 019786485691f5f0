"""Lists for a spreadsheet: a line a field, a date ahead, or a score."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.spreadsheet import csv_table
from covercrop.dates.needs import is_due
from covercrop.season.columns import COLUMNS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.checking.hindcast import Hindcast
    from covercrop.checking.replay import AdviceReplay
    from covercrop.render.words.reminders import Reminder
    from covercrop.season.plan import Plan

READY = ("field", "due", "next", "from", "to", "works_chance", *(name for name, _, _ in COLUMNS))
CALENDAR = ("field", "kind", "from", "to", "title", "odds", "advice")
_ERRORS = ("bias_days", "rmse_days", "crps_days", "coverage_80", "width_days")
HINDCAST = ("field", "issue", "event", "seasons", *_ERRORS, "average_date_crps_days", "pace_crps_days")
_OUTCOME = ("seed_free", "in_bloom", "in_time", "together", "pan_kg_ha", "visits", "moved_days")
ADVICE = ("field", "seasons", "rule", *_OUTCOME)


def ready(plans: Sequence[Plan]) -> str:
    """A line a field: what it needs next, and the columns of :data:`covercrop.season.columns.COLUMNS`."""
    return csv_table(
        READY,
        (
            (
                plan.field.name,
                is_due(plan),
                plan.next_step.action,
                _cell(plan.next_step.start),
                _cell(plan.next_step.end),
                _cell(np.nan if plan.window.best is None else plan.window.best.together),
                *(_cell(get(plan)) for _, _, get in COLUMNS),
            )
            for plan in plans
        ),
    )


def calendar(reminders: Sequence[Reminder]) -> str:
    """A line for each date ahead."""
    return csv_table(
        CALENDAR,
        (
            (
                each.field.name,
                each.event.kind,
                str(each.event.first),
                str(each.event.last),
                each.what,
                each.odds,
                each.advice,
            )
            for each in sorted(reminders, key=lambda each: each.event.first)
        ),
    )


def hindcast(replayed: Sequence[Hindcast]) -> str:
    """A line for each field, day of the forecast and event."""
    return csv_table(
        HINDCAST,
        (
            (
                each.field.name,
                score.issue,
                score.event,
                score.seasons,
                *(_cell(getattr(score, name)) for name in _ERRORS),
                _cell(score.station_mean.crps_days),
                _cell(score.pace.crps_days),
            )
            for each in replayed
            for score in each.scores
        ),
    )


def advice(replayed: Sequence[AdviceReplay]) -> str:
    """A line for each field and rule."""
    return csv_table(
        ADVICE,
        (
            (each.field.name, len(each.years), name, *(_cell(getattr(outcome, key)) for key in _OUTCOME))
            for each in replayed
            for name, outcome in each.outcomes.items()
        ),
    )


def _cell(value: Any) -> Any:
    """A value as a cell: empty where there is none, a number with what figures it has to tell."""
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else str(value.astype("datetime64[D]"))
    if isinstance(value, float | np.floating):
        return None if np.isnan(value) else float(f"{value:.4g}")
    return value
