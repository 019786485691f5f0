"""What litter bags had left, against what the three models leave.

The columns of the table are worked out from station records that are not shipped; here they are held against years
made up from the monthly normals of those records, which are.
"""

from __future__ import annotations

import csv
import importlib
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented import like

DATA = Path(__file__).resolve().parent.parent / "data" / "validation"

with (DATA / "residue_checks.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))

#: More of the residue is left in the bags than here, by up to so much [1].
SLOWER = 0.15


def named(row: dict[str, str]) -> str:
    return f"{row['standing_for']} {row['cover']} {row['weeks']}"


@pytest.fixture(scope="module")
def script():
    sys.path.insert(0, str(DATA))
    try:
        yield importlib.import_module("residue")
    finally:
        sys.path.remove(str(DATA))


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_bags_had_as_much_left_or_some_more(row: dict[str, str]) -> None:
    """As published (source in the row): never less than here, and no more than fifteen hundredths of the whole more."""
    assert 0 <= float(row["left"]) - float(row["likely"]) <= SLOWER
    assert float(row["fast"]) <= float(row["likely"]) <= float(row["slow"])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_the_table_is_that_of_this_program(row: dict[str, str], script) -> None:
    """Years made up from the normals of the record leave what the record itself did, to less than a tenth."""
    years = []
    for year in range(2001, 2011):
        begins = pd.Timestamp(f"{year}-{row['laid_on']}")
        table = like(row["place"], str(begins), str(begins + pd.Timedelta(weeks=int(row["weeks"]))), seed=year).table
        years.append(table[["tmin_c", "tmax_c", "prcp_mm"]].to_numpy())
    tmin, tmax, rain = np.moveaxis(np.stack(years), -1, 0)
    _, latitude = script.RECORDS[row["place"]]
    found = script.left(tmin, tmax, rain, latitude, begins.day_of_year, row)
    for case, share in found.items():
        assert share == pytest.approx(float(row[case]), abs=0.1)
