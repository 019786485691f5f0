"""The screen of `covercrop hindcast --advice`: what came of the advice, and of plain rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.render.words import replay as words
from covercrop.render.words.phrases import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.checking.replay import AdviceReplay, Outcome
    from covercrop.render.screen.terminal import Screen

_COLUMNS = (
    ("ended by", "left"),
    *((name, "right") for name in ("no seed", "bloom", "in time", "all", "N", "visits", "moved")),
)


def show(screen: Screen, replayed: Sequence[AdviceReplay], *, title: str = "", us: bool = False) -> None:
    """Print what came of the advice.

    Parameters
    ----------
    screen : Screen
    replayed : sequence of AdviceReplay
    title : str
        What was asked about.
    us : bool
        Show US units.
    """
    if not replayed:
        return
    screen.say(title, style="bold")
    for each in replayed:
        screen.say()
        screen.say(each.field.name, style="bold")
        screen.say(words.verdict(each))
        screen.say()
        screen.table(_COLUMNS, [_row(words.NAMES[name], outcome, us=us) for name, outcome in each.outcomes.items()])
    unit = "lb/acre" if us else "kg/ha"
    screen.items("How to read it", (words.KEY[0].replace("for the crop.", f"for the crop, {unit}."), *words.KEY[1:]))


def _row(name: str, outcome: Outcome, *, us: bool) -> tuple[str, ...]:
    per = 1 / units.KG_HA_PER_LB_ACRE if us else 1.0
    shares = (outcome.seed_free, outcome.in_bloom, outcome.in_time, outcome.together)
    return (
        name,
        *map(percent, shares),
        "-" if np.isnan(outcome.pan_kg_ha) else f"{outcome.pan_kg_ha * per:.0f}",
        f"{outcome.visits:.1f}",
        f"{outcome.moved_days:.1f}" if outcome.moved_days else "-",
    )
