"""The sowing dates compared, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.padding import Padding
from rich.text import Text

from covercrop.autumn import verdict
from covercrop.base import units
from covercrop.render.screen import terminal
from covercrop.render.screen.strip import LEAST_SHOWN, Glyphs, ruler
from covercrop.render.words import sowing as words
from covercrop.render.words.phrases import chance, day_month, percent, span
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.autumn.comparison import Autumn, Choice
    from covercrop.render.screen.terminal import Screen

#: Columns of the names beside the strips.
LABEL = 21


def sow(screen: Screen, answers: Sequence[Autumn], *, title: str = "", us: bool = False, full: bool = False) -> None:
    """Print which sowing date and which cover, for every field.

    Parameters
    ----------
    screen : Screen
    answers : sequence of Autumn
    title : str
        What was asked about.
    us : bool
        Show US units.
    full : bool
        Every assumption with its reason, and every source in full.
    """
    if not answers:
        return
    screen.say(f"{title}: sowing in autumn {words.year(answers[0])}", style="bold")
    shared = terminal.in_all([autumn.notes for autumn in answers])
    for autumn in answers:
        _field(screen, autumn, us=us, leave_out=shared)
    screen.items("Remarks for every field", shared)
    screen.items("Take care", dict.fromkeys(caution for autumn in answers for caution in words.cautions(autumn)))
    assumed = dict.fromkeys(assumption for autumn in answers for assumption in words.assumptions(autumn))
    keys = dict.fromkeys(key for autumn in answers for key in words.sources(autumn, verdict.talked_about(autumn)))
    terminal.foot(screen, list(assumed), list(keys), full=full, us=us)


def table(screen: Screen, answers: Sequence[Autumn], *, title: str = "") -> None:
    """Print what to sow on each of many fields, a line a field, the first to be sown at the top.

    Parameters
    ----------
    screen : Screen
    answers : sequence of Autumn
    title : str
        What was asked about.
    """
    if not answers:
        return
    ordered = sorted(answers, key=lambda autumn: (not autumn.choices[0].fit, _best_day(autumn), autumn.field.name))
    terminal.long_list(
        screen,
        f"{title}: sowing in autumn {words.year(answers[0])}",
        _HEADS,
        [_line(autumn, autumn.choices[0]) for autumn in ordered],
        ("plant", "sow", "cover"),
        key="all three: the chance that it covers the ground before winter, lives, and leaves the ground plantable in "
        "time. Where no date fits (-), best is the one that comes nearest.",
        more=f"One field in full: covercrop sow FIELDS --field NAME. {advice.ADVICE_FIRST}",
        styles=["green" if autumn.choices[0].fit else "red" for autumn in ordered],
    )


#: Of the list of many fields.
_HEADS = ("field", "cover", "sow", "best", "all three", "plant")


def _best_day(autumn: Autumn) -> np.datetime64:
    day: np.datetime64 = autumn.dates[autumn.choices[0].best]
    return day


def _line(autumn: Autumn, choice: Choice) -> tuple[str, ...]:
    cover, sow, best, *_, plant = _row(autumn, choice, 1.0)
    return autumn.field.name, cover, sow, best, chance(float(choice.together[choice.best])), plant


def _field(screen: Screen, autumn: Autumn, *, us: bool, leave_out: Sequence[str]) -> None:
    shown = verdict.talked_about(autumn)
    best = shown[0]
    screen.say()
    screen.show(Text.assemble((screen.fit(autumn.field.name), "bold"), f": {screen.fit(words.headline(autumn))}"))
    if said := words.outcome(autumn, best) if best.fit and not verdict.too_late(autumn, best) else "":
        screen.say(said)
    for other in shown[1:]:
        screen.say(words.own(autumn, other))
    screen.items(
        "What would make one fit", (words.relaxation(autumn, relaxed, us=us) for relaxed in autumn.relaxations)
    )
    if not best.fit and not autumn.relaxations:
        screen.say()
        screen.say(
            "No one thing makes it fit: neither an earlier ending, an earlier cultivar, transplants nor later planting."
        )
    _table(screen, autumn, us=us)
    _strips(screen, autumn)
    reasons = [
        words.wanted(autumn),
        *(sentence for choice in shown for sentence in words.edges(autumn, choice)),
        words.beyond(autumn, best),
        words.brings(autumn, best, us=us),
        words.rule(autumn, us=us),
        *(words.seed(autumn, choice, us=us) for choice in shown),
        *(words.cereal_winter(autumn, choice) for choice in shown),
        words.dry(autumn),
        words.snow(autumn),
        f"{len(autumn.years)} past years of this place are behind it, sown {min(autumn.years)} to {max(autumn.years)}.",
    ]
    screen.items("Why", filter(None, reasons))
    screen.items("Remarks", (note for note in autumn.notes if note not in leave_out))


def _table(screen: Screen, autumn: Autumn, *, us: bool) -> None:
    unit = "lb/acre" if us else "kg/ha"
    per = 1 / units.KG_HA_PER_LB_ACRE if us else 1.0
    screen.say()
    screen.table(
        (
            ("cover", "left"),
            ("sow", "whole"),
            ("best", "right"),
            ("covered", "right"),
            ("alive", "right"),
            ("in time", "right"),
            ("N", "right"),
            ("plant", "right"),
        ),
        (_row(autumn, choice, per) for choice in autumn.choices),
    )
    screen.say(
        f"covered: hides the ground before winter; in time: plantable by {day_month(autumn.plant_by)}; N: {unit} for "
        "the crop. Where no date fits (-), best is the one that comes nearest.",
        style="dim",
        indent=2,
    )


def _row(autumn: Autumn, choice: Choice, per: float) -> tuple[str, ...]:
    place = choice.best
    nitrogen = choice.brings["pan_kg_ha"][place]
    fits = choice.first is not None and choice.last is not None
    return (
        f"{choice.cover.common_name}{words.beside(choice)}",
        span(autumn.dates[choice.first or 0], autumn.dates[choice.last or 0]) if fits else "-",
        day_month(autumn.dates[place]),
        *(_short(float(share[place])) for share in (choice.established, choice.survives, choice.plantable)),
        "-" if np.isnan(nitrogen) else f"{nitrogen * per:.0f}",
        day_month(choice.earliest_planting[place]),
    )


def _short(share: float) -> str:
    """A share for a narrow column."""
    return percent(share).replace("over ", ">").replace("under ", "<")


def _strips(screen: Screen, autumn: Autumn) -> None:
    """A line for each cover: sowing dates along it, the chance of all three as height."""
    columns = max(screen.width - 2 - LABEL, 20)
    step = int(np.ceil(autumn.dates.size / columns))
    starts = autumn.dates[::step]
    screen.say()
    screen.say("the chance of all three (covered, alive, in time), by the day of sowing:", style="dim", indent=2)
    for label, line, style in (
        ("", ruler(starts, screen.glyphs), "dim"),
        *(
            (choice.cover.common_name, _heights(choice.together, step, screen.glyphs), "green" if choice.fit else "red")
            for choice in autumn.choices
        ),
    ):
        screen.show(Padding(Text.assemble((label.ljust(LABEL), "dim"), (line.rstrip(), style)), (0, 0, 0, 2)))


def _heights(odds: np.ndarray, step: int, glyphs: Glyphs) -> str:
    means = np.array([odds[start : start + step].mean() for start in range(0, odds.size, step)])
    levels = np.where(means < LEAST_SHOWN, 0, np.ceil(means * (len(glyphs.odds) - 1))).astype(int)
    return "".join(glyphs.odds[level] for level in levels)
