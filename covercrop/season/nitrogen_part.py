"""What a plan says of nitrogen: what the cover holds when it is ended, and how that comes free."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models import biomass, mixture
from covercrop.models.members import Draws, quantiles
from covercrop.season import absent, measurements
from covercrop.season.stand import usual_emergence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.field.entries import ScoutingNote
    from covercrop.parameters.traits import Growth
    from covercrop.season.stand import Stand
    from covercrop.weather.outlook import Outlook

AMOUNTS = ("dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha", "carbon_nitrogen")

#: Of a mixture also the nitrogen in its dry matter.
PERCENT = "n_percent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A quantity with its 80 % interval."""

    low: float
    median: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NitrogenPart:
    """What the cover brings.

    Attributes
    ----------
    amounts : dict of str to Amount
        Each of :data:`AMOUNTS` on the day of ending the cover: dry matter, nitrogen and plant-available nitrogen
        [kg/ha], and C:N [1]; of a mixture all of it, with the nitrogen in its dry matter as ``n_percent`` [% N], and
        negative what it ties up.  Empty where they are not known, as ``no_amounts`` says.
    no_amounts : str or None
        Why there are none (:mod:`covercrop.season.absent`); None where there are.
    release : dict of int to Amount
        Share of the plant-available nitrogen that is released by so many weeks after the cover is dead, from the slow
        to the fast case of decay [1]; without the weeks beyond the season, and empty where no day of ending is known.
    by_planting : float
        Share of it released by the likely day of the earliest planting [1]; NaN where there is no such day.
    forgone_kg_ha : float
        How much more of it the cover would hold on the day that is given up [kg/ha]; NaN where there is none.
    """

    amounts: dict[str, Amount]
    no_amounts: str | None
    release: dict[int, Amount]
    by_planting: float
    forgone_kg_ha: float = np.nan

    @property
    def ties_up(self) -> Amount | None:
        """What the cover takes from the crop, to be made good at planting [kg/ha]; None where it likely takes none."""
        pan = self.amounts.get("pan_kg_ha")
        if pan is None or pan.median >= 0:
            return None
        return Amount(low=max(-pan.high, 0.0), median=-pan.median, high=-pan.low)


def nitrogen_part(
    stand: Stand,
    growth: Growth | None,
    outlook: Outlook,
    notes: Sequence[ScoutingNote],
    weights: Array,
    draws: Draws,
    ending: int | None,
    *,
    killed: bool,
    release: dict[int, Array],
    by_planting: float,
    other: int | None = None,
) -> NitrogenPart:
    """The nitrogen of the cover, summed up.

    Parameters
    ----------
    stand : Stand
    growth : Growth or None
        How the cover grows; None where no source says it.
    outlook : Outlook
    notes : sequence of ScoutingNote
    weights : numpy.ndarray, shape (year, draw)
    draws : Draws
    ending : int or None
        Day index of the ending of the cover; None where there is none.
    killed : bool
        Whether the stand is dead.
    release : dict of int to numpy.ndarray, shape (3, year)
        Share released by so many weeks, slow, likely and fast [1].
    by_planting : float
        As in :class:`NitrogenPart`.
    other : int, optional
        Day index of the ending that is given up for this one.
    """
    why = _no_amounts(growth, outlook, ending, killed=killed)
    amounts, forgone = {}, np.nan
    if why is None and growth is not None and ending is not None:
        amounts = amounts_on(stand, growth, outlook, notes, weights, draws, ending)
        if other is not None:
            then = amounts_on(stand, growth, outlook, notes, weights, draws, other)
            forgone = then["pan_kg_ha"].median - amounts["pan_kg_ha"].median
    part = NitrogenPart(
        amounts=amounts,
        no_amounts=why,
        release={} if ending is None or killed else _middle(release),
        by_planting=by_planting,
        forgone_kg_ha=forgone,
    )
    # What ties nitrogen up has none to release.
    return part if part.ties_up is None else replace(part, release={}, by_planting=np.nan)


def _no_amounts(growth: Growth | None, outlook: Outlook, ending: int | None, *, killed: bool) -> str | None:
    if killed:
        return absent.DEAD
    if growth is None:
        return absent.NOT_KNOWN
    if ending is None:
        return absent.NOT_REACHED if outlook.complete else absent.NOT_KNOWN
    return None if ending < outlook.days.size else absent.NOT_KNOWN


def amounts_on(
    stand: Stand,
    growth: Growth,
    outlook: Outlook,
    notes: Sequence[ScoutingNote],
    weights: Array,
    draws: Draws,
    ending: int,
) -> dict[str, Amount]:
    """What the cover holds on a day, by the model and what was measured: each of :data:`AMOUNTS`.

    Takes what :func:`nitrogen_part` takes.
    """
    grown_on = partial(stand.dry_matter_on, outlook.tmean, usual_emergence(stand.stages), growth=growth)
    mean, sd = measurements.dry_matter(ending, notes, outlook, grown_on, growth.spread.value)
    dry_matter = np.maximum(mean[:, None] + sd[:, None] * draws.dry_matter, 0.0)
    percent_on = partial(stand.nitrogen_percent, growth=growth, draws=draws)
    percent = percent_on(ending) * measurements.nitrogen_factor(ending, notes, outlook, percent_on)
    if stand.cereal is None:
        brought = biomass.amounts(dry_matter, percent)
    else:
        carbon = stand.cereal.companion.nitrogen.carbon.value
        share = stand.cereal.legume_share(ending, draws)
        brought = mixture.amounts(dry_matter, percent, share, carbon) | {PERCENT: percent}
    found = {name: quantiles(values, weights) for name, values in brought.items()}
    return {name: Amount(low=low, median=median, high=high) for name, (low, median, high) in found.items()}


def _middle(release: dict[int, Array]) -> dict[int, Amount]:
    """The middle year's release of nitrogen by the weeks since the ending."""
    middle = {weeks: np.median(shares, axis=1) for weeks, shares in release.items()}
    return {
        weeks: Amount(low=float(slow), median=float(likely), high=float(fast))
        for weeks, (slow, likely, fast) in middle.items()
        if not np.isnan(likely)
    }
