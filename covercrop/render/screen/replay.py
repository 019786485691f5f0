"""The screen of `covercrop hindcast --advice`: what came of the advice, and of plain rules."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.render.screen.terminal import long_list
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


#: Of the list of many fields.
_HEADS = ("field", "seasons", "by this advice", "best plain rule", "by that", "N", "visits")


def table(screen: Screen, replayed: Sequence[AdviceReplay], *, title: str = "", us: bool = False) -> None:
    """Print what came of the advice in each of many fields, a line a field, in the order of the file.

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
    long_list(
        screen,
        title,
        _HEADS,
        [_line(each, us=us) for each in replayed],
        ("seasons", "visits", "N"),
        key="by this advice, by that: the share of seasons in which everything would have worked: no seed left behind, "
        f"ended in bloom, the crop in time. N: nitrogen for the crop by this advice, {'lb/acre' if us else 'kg/ha'}; "
        "visits: to the field.",
        more="One field in full: covercrop hindcast FIELDS --advice --field NAME",
    )


def _line(each: AdviceReplay, *, us: bool) -> tuple[str, ...]:
    best = each.best_rule
    _, *_, together, nitrogen, visits, _ = _row("", each.advice, us=us)
    plain = percent(each.outcomes[best].together)
    return each.field.name, str(len(each.years)), together, words.NAMES[best], plain, nitrogen, visits


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
