"""What a plan has no value for, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.season.absent import DEAD, NOT_ASKED_FOR, NOT_KNOWN, NOT_NEEDED, NOT_REACHED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from covercrop.base.records import DateRange
    from covercrop.season.nitrogen_part import NitrogenPart
    from covercrop.season.planting_part import PlantingPart
    from covercrop.season.window_part import WindowPart


def absences(
    dates: Mapping[str, DateRange],
    window: WindowPart,
    planting: PlantingPart,
    nitrogen: NitrogenPart | None,
    *,
    killed: bool,
    known: bool,
) -> dict[str, str]:
    """What a plan has no value for, and why.

    Parameters
    ----------
    dates : mapping of str to DateRange
        Every date of the chain.
    window, planting
        The parts of the plan.
    nitrogen : NitrogenPart or None
        None where the details of the plan were left out.
    killed, known : bool
        Whether the stand is dead, and whether the season is known to its end.

    Returns
    -------
    dict of str to str
        One of :data:`covercrop.season.absent.WHY` for each date of the chain that lacks an end (``dates.frost``), and
        for ``turn_under``, ``binding_limit``, ``safe_planting``, ``p_ripens``, ``worth_watering``, ``nitrogen`` and
        ``nitrogen.released``, where they are missing.
    """
    why = DEAD if killed else NOT_REACHED if known else NOT_KNOWN
    missing = {
        **{f"dates.{name}": _lacks_an_end(each) for name, each in dates.items()},
        "binding_limit": planting.binding is None,
        "safe_planting": bool(np.isnat(planting.safe)),
        "p_ripens": bool(np.isnan(planting.ripens)),
        "nitrogen.released": nitrogen is not None and not nitrogen.release,
    }
    found = {name: why for name, lacks in missing.items() if lacks}
    if window.no_best is not None:
        found["turn_under"] = window.no_best
    if nitrogen is None:
        found |= dict.fromkeys(("worth_watering", "nitrogen", "nitrogen.released"), NOT_ASKED_FOR)
    elif nitrogen.no_amounts is not None:
        found["nitrogen"] = nitrogen.no_amounts
    elif not nitrogen.release and nitrogen.ties_up is not None:
        found["nitrogen.released"] = NOT_NEEDED  # what ties nitrogen up has none to release
    return found


def _lacks_an_end(dates: DateRange) -> bool:
    return any(np.isnat(day) for day in (dates.early, dates.median, dates.late))
