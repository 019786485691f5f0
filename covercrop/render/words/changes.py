"""How a plan moved since an earlier day, in a line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.words import answer, phrases

if TYPE_CHECKING:
    from covercrop.season.changes import Changes, Move
    from covercrop.season.plan import Plan

#: What moved a plan, in words.
_CAUSES = {"file": "the field file", "weather": "the weather", "notes": "your notes", "done": "what was done"}


def changed(plan: Plan, changes: Changes) -> str:
    """What moved of a plan, by how much and why, in a line."""
    since = f"Since {phrases.day_month(changes.since)}"
    named = ((f"the day to {answer.to_end(plan)}", changes.ending), ("planting", changes.planting))
    moves = [(what, move) for what, move in named if move is not None and move.before != move.after]
    causes = {tuple(move.by) for _, move in moves}
    alone = next(iter(causes)) if len(causes) == 1 else ()
    shared = _CAUSES[alone[0]] if len(alone) == 1 else ""  # one cause of all is said once
    said = [_moved(what, move, why=not shared) for what, move in moves]
    if changes.state != plan.state:
        said.insert(0, f"{answer.STATE_WORDS[changes.state]}, now {answer.state(plan)}")
    if not said:
        return f"{since} nothing has moved."
    return f"{since}: {'; '.join(said)}{shared and f', by {shared}'}."


def _moved(what: str, move: Move, *, why: bool) -> str:
    """One day that moved, and by what."""
    before, after = phrases.day_month(move.before), phrases.day_month(move.after)
    if np.isnat(move.before):
        return f"{what} now has a day, {after}"
    if np.isnat(move.after):
        return f"{what} no longer has a day (it was {before})"
    parts = [(_CAUSES[cause], days) for cause, days in move.by.items()]
    told = f"by {parts[0][0]}" if len(parts) == 1 else ", ".join(f"{cause} {_shift(days)}" for cause, days in parts)
    return f"{what} {_shift(move.days or 0)}, {before} to {after}{f' ({told})' if why and parts else ''}"


def _shift(days: int) -> str:
    """So many days to either side."""
    return f"{abs(days)} day{'s' if abs(days) > 1 else ''} {'later' if days > 0 else 'earlier'}"
