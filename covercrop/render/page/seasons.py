"""What a page tells of a field from one day or year to another: what moved of its plan, and past seasons beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.errors import CovercropError, one_line
from covercrop.base.extras import need
from covercrop.checking.springs import past_springs
from covercrop.render.figures.springs import SPRING_CHARTS
from covercrop.render.figures.svg import Shared, svg
from covercrop.render.words import springs as beside
from covercrop.season.changes import LOOK_BACK, what_changed_each

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather
    from covercrop.checking.springs import Springs
    from covercrop.season.changes import Changes
    from covercrop.season.many import Plans
    from covercrop.season.plan import Plan

#: A page of no more fields says what moved, and shows each season beside the past ones on the screen, unasked: that
#: takes as long as the answers themselves.
FEW = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """What is told of a field from one day or year to another.

    Attributes
    ----------
    changes : Changes or None
        What moved since some days ago; None where nothing is known of then.
    springs : Springs or None
        The season beside the past ones; None where that is not asked for.
    lacking : str
        Why there is none, although it is; empty otherwise.
    printed : bool
        Whether it is printed, too, on a sheet of its own.
    """

    changes: Changes | None = None
    springs: Springs | None = None
    lacking: str = ""
    printed: bool = False


def seasons_of(plans: Plans, wanted: Sequence[str]) -> list[Season]:
    """What is told of each field where it is asked for, or on a page of few."""
    few, printed = len(plans) <= FEW, "springs" in wanted
    changes: Sequence[Changes | None] = [None] * len(plans)
    if few or "changes" in wanted:
        since = (plans.on - np.timedelta64(LOOK_BACK, "D")).astype(object)
        changes = what_changed_each(plans.plans, plans.weather, since)
    told = []
    for plan, weather, moved in zip(plans.plans, plans.weather, changes, strict=True):
        springs, lacking = _springs(plan, weather) if few or printed else (None, "")
        told.append(Season(changes=moved, springs=springs, lacking=lacking, printed=printed))
    return told


def _springs(plan: Plan, weather: DailyWeather) -> tuple[Springs | None, str]:
    """The season beside the past ones, or why there is none: the answer stands without it."""
    try:
        return past_springs(plan, weather), ""
    except CovercropError as error:
        return None, one_line(error)


def shown(plan: Plan, season: Season, key: str, *, us: bool) -> dict[str, Any] | None:
    """The season beside the past ones: sentences, and a chart of each kind with what is drawn in it."""
    springs = season.springs
    if springs is None:
        return {"lacking": season.lacking, "charts": [], "printed": season.printed} if season.lacking else None
    charts = []
    for name, draw in SPRING_CHARTS.items():
        title, said, shared = beside.TITLES[name], beside.describe(plan, springs, name, us=us), Shared()
        drawn = need("markupsafe").Markup(svg(draw(springs, us), title, said, f"{key}-{name}", page=shared))
        chart = {"name": name, "title": title, "svg": drawn, "shared": shared}
        charts.append(chart | {"said": said, "key": beside.KEYS[name]})
    return {"lacking": "", "charts": charts, "printed": season.printed}
