"""The columns of a table with a row a field, each a name, a kind and where a plan holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from covercrop.season.nitrogen_part import Amount
    from covercrop.season.plan import Plan

_NOT_A_DATE = np.datetime64("NaT", "D")


def _likely(name: str) -> Callable[[Plan], np.datetime64]:
    return lambda plan: plan.dates[name].median


def _best(name: str, otherwise: Any) -> Callable[[Plan], Any]:
    return lambda plan: otherwise if plan.window.best is None else getattr(plan.window.best, name)


def _amounts(plan: Plan) -> dict[str, Amount]:
    """What ending the cover brings; nothing where that was not asked for."""
    return {} if plan.details is None else plan.details.nitrogen.amounts


def _amount(name: str) -> Callable[[Plan], float]:
    return lambda plan: amounts[name].median if (amounts := _amounts(plan)) and name in amounts else np.nan


#: Column, kind (as pandas names it) and getter, in the order of the table; units stand in the names.
COLUMNS: tuple[tuple[str, str, Callable[[Plan], Any]], ...] = (
    ("state", "object", lambda plan: plan.state),
    ("bbch", "Int64", lambda plan: plan.stand.bbch),
    ("stage", "object", lambda plan: plan.stand.stage),
    ("end_by", "object", lambda plan: plan.window.method),
    ("end_cover", "datetime64[s]", _best("date", _NOT_A_DATE)),
    ("end_from", "datetime64[s]", _best("start", _NOT_A_DATE)),
    ("end_to", "datetime64[s]", _best("end", _NOT_A_DATE)),
    ("end_chance", "float64", _best("probability", np.nan)),
    ("window_open", "datetime64[s]", _likely("window_open")),
    ("window_close", "datetime64[s]", _likely("window_close")),
    ("viable_seed", "datetime64[s]", _likely("viable_seed")),
    ("planting", "datetime64[s]", _likely("earliest_planting")),
    ("safe_planting", "datetime64[s]", lambda plan: plan.planting.safe),
    ("binding_limit", "object", lambda plan: plan.planting.binding),
    ("ripens_chance", "float64", lambda plan: plan.planting.ripens),
    ("survival_chance", "float64", lambda plan: plan.stand.survival),
    ("dry_matter_kg_ha", "float64", _amount("dry_matter_kg_ha")),
    ("n_kg_ha", "float64", _amount("n_kg_ha")),
    ("pan_kg_ha", "float64", _amount("pan_kg_ha")),
    ("carbon_nitrogen", "float64", _amount("carbon_nitrogen")),
    ("companion", "object", lambda plan: plan.mixture.companion.key if plan.mixture else None),
    ("legume_share", "float64", lambda plan: plan.mixture.share.middle if plan.mixture else np.nan),
    ("zadoks", "Int64", lambda plan: plan.mixture.zadoks if plan.mixture else None),
    ("band", "object", lambda plan: plan.mixture.band if plan.mixture else None),
)
