"""Endings compared, as JSON and as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base import units
from covercrop.base.spreadsheet import csv_table
from covercrop.render.data import machine
from covercrop.render.words import comparison as words
from covercrop.season.nitrogen_part import AMOUNTS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from covercrop.season.comparison import Endings, Row

_CHANCES = {
    "p_killed": "killed",
    "p_seed_free": "seed_free",
    "p_bloom": "bloom",
    "p_in_time": "in_time",
    "p_all": "together",
    "p_workable": "workable",
}


def document(answers: Sequence[Endings], on: np.datetime64, problems: Sequence[tuple[str, str]] = ()) -> dict[str, Any]:
    """The document of ``covercrop compare --json``; amounts are the middle ones, in kg/ha."""
    return machine.document(str(on), [_field(each) for each in answers], problems)


def _field(each: Endings) -> dict[str, Any]:
    best = each.plan.window.best
    return {
        "name": each.plan.field.name,
        "state": each.plan.state,
        "choice": {
            "date": machine.iso_date(each.plan.window.ending_day),
            "method": each.plan.window.method,
            "why": None if best is None else best.why,
        },
        "rows": [
            {
                "date": str(row.date),
                "method": row.method,
                "chosen": row.chosen,
                **{key: _rounded(getattr(row, name), 3) for key, name in _CHANCES.items()},
                "plant_likely": machine.iso_date(row.plant_likely),
                "plant_safe": machine.iso_date(row.plant_safe),
                "binding_limit": row.binding,
                **{name: _amount(row, name) for name in AMOUNTS},
                **({} if row.zadoks is None else {"band": row.band, "cereal_zadoks": row.zadoks}),
            }
            for row in each.rows
        ],
        "helps": [
            {
                "change": helped.change,
                "detail": helped.detail or None,
                "p_all": round(helped.together, 3),
                "p_in_time": round(helped.in_time, 3),
                "date": str(helped.date),
                "plant_likely": machine.iso_date(helped.plant_likely),
                "words": words.helps(each.plan, helped),
            }
            for helped in each.helps
        ],
    }


def table(answers: Sequence[Endings], *, us: bool = False) -> str:
    """The table of ``covercrop compare --csv``, without a final newline; amounts per acre in pounds for US units."""
    amounts = [name.replace("kg_ha", "lb_acre") if us else name for name in AMOUNTS]
    columns = ("name", "date", "method", "chosen", *_CHANCES, "plant_likely", "plant_safe", "binding_limit", *amounts)
    return csv_table((*columns, "band", "cereal_zadoks"), _lines(answers, 1 / units.KG_HA_PER_LB_ACRE if us else 1.0))


def _lines(answers: Sequence[Endings], per: float) -> Iterator[list[Any]]:
    for each in answers:
        for row in each.rows:
            yield [
                each.plan.field.name,
                str(row.date),
                row.method,
                "yes" if row.chosen else "no",
                *(_rounded(getattr(row, name), 3) for name in _CHANCES.values()),
                machine.iso_date(row.plant_likely),
                machine.iso_date(row.plant_safe),
                row.binding,
                *(_amount(row, name, per if name.endswith("kg_ha") else 1.0) for name in AMOUNTS),
                row.band,
                row.zadoks,
            ]


def _amount(row: Row, name: str, per: float = 1.0) -> float | None:
    found = row.amounts.get(name)
    return None if found is None else _rounded(found.median * per, 1)


def _rounded(value: float, places: int) -> float | None:
    return None if np.isnan(value) else round(float(value), places)
