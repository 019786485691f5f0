"""The screen of `covercrop compare`: the endings of each field in a table, the one that is advised marked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from covercrop.base import units
from covercrop.render.words import answer, comparison, ending
from covercrop.render.words.phrases import day_month, percent, weekday

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.render.screen.terminal import Screen
    from covercrop.season.comparison import Endings, Row

#: On a narrower screen the columns that decide the least are left out.
ALL_FROM = 76

_COLUMNS = (("", "left"), ("end it", "whole"), *((name, "right") for name in ("killed", "no seed", "bloom", "in time")))
_MORE = (("all", "right"), ("dry", "right"), ("N", "right"), ("plant", "whole"))


def compare(screen: Screen, answers: Sequence[Endings], *, title: str = "", us: bool = False) -> None:
    """Print the endings of each field side by side.

    Parameters
    ----------
    screen : Screen
    answers : sequence of Endings
    title : str
        What was asked about.
    us : bool
        Show US units.
    """
    if not answers:
        return
    on = answers[0].plan.on
    screen.say(f"{title}, {weekday(on)} {str(on)[:4]}", style="bold")
    for each in answers:
        _field(screen, each, us=us)
    screen.say()
    unit = "lb/acre" if us else "kg/ha"
    mixed = any(each.plan.mixture for each in answers)
    screen.say(f"{comparison.KEY[:-1]}, {unit}{comparison.OF_MIXTURES if mixed else '.'}", style="dim")


def _field(screen: Screen, each: Endings, *, us: bool) -> None:
    plan, mixed = each.plan, each.plan.mixture is not None
    screen.say()
    screen.show(Text.assemble((screen.fit(plan.field.name), "bold"), f": {screen.fit(answer.headline(plan))}"))
    wide = screen.width >= ALL_FROM
    for way in dict.fromkeys(row.method for row in each.rows):
        screen.say()
        screen.say(ending.ending(way).capitalize(), style="bold", indent=2)
        rows = [_row(row, us=us, wide=wide, mixed=mixed) for row in each.rows if row.method == way]
        screen.table(_shown((*_COLUMNS, *_MORE, *(_ZADOKS if mixed else ())), wide=wide), rows)
    screen.items("What would help", (comparison.helps(plan, helped) for helped in each.helps))


#: What a mixture has more: the stage of its cereal.
_ZADOKS = (("Zadoks", "right"),)

#: Columns of a narrow screen: the mark, the day, no seed, bloom, in time, all, planting.
_NARROW = (0, 1, 3, 4, 5, 6, 9)


def _shown(cells: Sequence[tuple[str, str]], *, wide: bool) -> Sequence[tuple[str, str]]:
    return cells if wide else [cells[place] for place in _NARROW]


def _row(row: Row, *, us: bool, wide: bool, mixed: bool = False) -> Sequence[str]:
    per = 1 / units.KG_HA_PER_LB_ACRE if us else 1.0
    pan = row.amounts.get("pan_kg_ha")
    cells = (
        ">" if row.chosen else "",
        day_month(row.date),
        *(_short(chance) for chance in (row.killed, row.seed_free, row.bloom, row.in_time, row.together, row.workable)),
        "-" if pan is None else f"{pan.median * per:.0f}",
        day_month(row.plant_likely),
        *(["-" if row.zadoks is None else f"{row.zadoks}"] if mixed else []),
    )
    return cells if wide else [cells[place] for place in _NARROW]


def _short(share: float) -> str:
    """A share for a narrow column."""
    return "-" if np.isnan(share) else percent(share).replace("over ", ">").replace("under ", "<")
