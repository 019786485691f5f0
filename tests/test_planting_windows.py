"""The earliest planting after an early-ended cover, against the windows of practice of eight places.

The dates of the table are worked out from station records that are not shipped; here they are held against years made
up from the monthly normals of those records, which are.
"""

from __future__ import annotations

import csv
import importlib.util
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from invented import like

from covercrop.parameters.constants import MODELS
from covercrop.season.plan import Plan

DATA = Path(__file__).resolve().parent.parent / "data" / "validation"

_SPEC = importlib.util.spec_from_file_location("planting_windows", DATA / "planting_windows.py")
assert _SPEC is not None
assert _SPEC.loader is not None
script = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(script)

with (DATA / "planting_windows.csv").open(encoding="utf-8", newline="") as file:
    WINDOWS = list(csv.DictReader(file))
ROWS = [row for row in WINDOWS if row["place"]]

#: Days by which the earliest planting may lie beside the first day of a window.
WITHIN = 10


def named(row: dict[str, str]) -> str:
    return f"{row['standing_for']} {row['crop']} {row['method']}"


def day(text: str) -> int:
    """Day of a common year."""
    return int((np.datetime64(f"2001-{text}") - np.datetime64("2001-01-01")).astype(int))


def in_practice(row: dict[str, str], planting: str) -> bool:
    """Whether a day lies in the window, or within ten days of its first."""
    on, first, last = day(planting), day(row["practice_from"]), day(row["practice_to"])
    return first <= on <= last or abs(on - first) <= WITHIN


@cache
def planned(place: str, crop: str, method: str, practice_from: str) -> Plan:
    row = {"place": place, "crop": crop, "method": method, "practice_from": practice_from}
    return script.planned(like(place, "1998-01-01", "2019-12-31"), script.RECORDS[place][1], row)


def plan_of(row: dict[str, str]) -> Plan:
    return planned(row["place"], row["crop"], row["method"], row["practice_from"])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_the_earliest_planting_is_that_of_practice(row: dict[str, str]) -> None:
    """Inside the window, or within ten days of its start, or else the row says why not; with the source in the row."""
    recorded = in_practice(row, row["likely"])
    made_up = in_practice(row, str(plan_of(row).dates["earliest_planting"].median)[5:])
    assert recorded == made_up == (not row["beside"])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_the_table_is_that_of_this_program(row: dict[str, str]) -> None:
    """Years made up from the normals of the record come within a week of what the record itself gave."""
    plan = plan_of(row)
    for ours, theirs in ((plan.dates["earliest_planting"].median, row["likely"]), (plan.planting.safe, row["safe"])):
        assert abs(day(str(ours)[5:]) - day(theirs)) <= 7


@pytest.mark.parametrize("row", [row for row in ROWS if row["beside"]], ids=named)
def test_pumpkins_are_sown_late_for_their_market(row: dict[str, str]) -> None:
    """Sown as soon as the ground allows they are ripe longer before Halloween than they may be left standing."""
    ripe = plan_of(row).planting.ripe.median
    halloween = np.datetime64(f"{str(ripe)[:4]}-10-31")
    assert row["crop"] == "pumpkin"
    assert int((halloween - ripe).astype(int)) > MODELS.crop.left_standing.value
    assert str(ripe)[5:7] in ("07", "08")


def test_what_cannot_be_held_is_said() -> None:
    """A window of a place without a record says so."""
    left_out = [row for row in WINDOWS if not row["place"]]
    assert left_out
    assert all(row["beside"] == "no daily record of the place is at hand" for row in left_out)
    assert all(row["origin"] for row in WINDOWS)
