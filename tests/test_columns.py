"""The columns of a table with a row a field: what each takes from a plan, and what stands where there is nothing."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from covercrop.season.columns import COLUMNS

DAY = np.datetime64("2026-05-01")
AMOUNTS = {
    name: SimpleNamespace(median=value)
    for name, value in {
        "dry_matter_kg_ha": 4000.0,
        "n_kg_ha": 120.0,
        "pan_kg_ha": 60.0,
        "carbon_nitrogen": 13.0,
    }.items()
}
BEST = SimpleNamespace(date=DAY, start=DAY - 1, end=DAY + 4, probability=0.8)
MIXTURE = SimpleNamespace(
    companion=SimpleNamespace(key="cereal-rye"), share=SimpleNamespace(middle=0.3), zadoks=37, band="release"
)


def plan(*, best: Any = BEST, mixture: Any = MIXTURE, amounts: dict[str, Any] | None = AMOUNTS) -> Any:
    """A plan with a number or a date of its own in each place that the table looks at."""
    names = ("window_open", "window_close", "viable_seed", "earliest_planting")
    return SimpleNamespace(
        state="budding",
        stand=SimpleNamespace(bbch=51, stage="buds", survival=0.9),
        window=SimpleNamespace(method="roll", best=best),
        dates={name: SimpleNamespace(early=DAY, median=DAY + 10 + place) for place, name in enumerate(names)},
        planting=SimpleNamespace(safe=DAY + 30, binding="residue", ripens=0.7),
        details=None if amounts is None else SimpleNamespace(nitrogen=SimpleNamespace(amounts=amounts)),
        mixture=mixture,
    )


def row(made: Any) -> dict[str, Any]:
    return {column: get(made) for column, _, get in COLUMNS}


def test_each_column_has_what_its_name_says() -> None:
    """The state, the day and the way of ending it, the likely dates, the crop, the amounts and the cereal."""
    assert row(plan()) == {
        "state": "budding",
        "bbch": 51,
        "stage": "buds",
        "end_by": "roll",
        "end_cover": DAY,
        "end_from": DAY - 1,
        "end_to": DAY + 4,
        "end_chance": 0.8,
        "window_open": DAY + 10,
        "window_close": DAY + 11,
        "viable_seed": DAY + 12,
        "planting": DAY + 13,
        "safe_planting": DAY + 30,
        "binding_limit": "residue",
        "ripens_chance": 0.7,
        "survival_chance": 0.9,
        "dry_matter_kg_ha": 4000.0,
        "n_kg_ha": 120.0,
        "pan_kg_ha": 60.0,
        "carbon_nitrogen": 13.0,
        "companion": "cereal-rye",
        "legume_share": 0.3,
        "zadoks": 37,
        "band": "release",
    }


def test_where_no_day_is_to_be_chosen_no_date_and_no_chance_stand() -> None:
    """The rest of the row stays as it is."""
    found, whole = row(plan(best=None)), row(plan())
    for name in ("end_cover", "end_from", "end_to"):
        assert np.isnat(found[name])
        assert found[name].dtype == np.dtype("datetime64[D]")
    assert np.isnan(found["end_chance"])
    assert {name for name in whole if found[name] != whole[name]} == {"end_cover", "end_from", "end_to", "end_chance"}


@pytest.mark.parametrize("amounts", [None, {}, {"other": SimpleNamespace(median=1.0)}])
def test_amounts_that_were_not_asked_for_or_are_not_known_are_empty(amounts: dict[str, Any] | None) -> None:
    """Of a plan without its details, of a cover whose growth is not known, and of a place that lacks just these."""
    found = row(plan(amounts=amounts))
    assert all(np.isnan(found[name]) for name in AMOUNTS)


def test_a_legume_alone_leaves_the_columns_of_the_cereal_empty() -> None:
    """No companion, no stage and no band; the share is not known, not nothing."""
    found = row(plan(mixture=None))
    assert (found["companion"], found["zadoks"], found["band"]) == (None, None, None)
    assert np.isnan(found["legume_share"])


def test_every_column_is_of_a_kind_that_pandas_holds() -> None:
    """With a row that has all and one that has nothing, so that what is missing turns no kind into another."""
    rows = [plan(), plan(best=None, mixture=None, amounts=None)]
    for column, kind, get in COLUMNS:
        made = pd.Series([get(each) for each in rows], dtype=kind)
        assert str(made.dtype) == kind, column
        assert not made.isna()[0]
    assert len({column for column, _, _ in COLUMNS}) == len(COLUMNS)
