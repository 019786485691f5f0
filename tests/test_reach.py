"""What the roots of a vine reach: its spot first, all its ground after."""

from __future__ import annotations

import numpy as np
import pytest

from covercrop.beds import nutrients
from covercrop.field.bed_entries import AmendmentEntry
from covercrop.parameters import catalogue

PLANTED = np.datetime64("2026-06-01", "D")


def reached(where: str, area: float, ground: float = 9.0) -> nutrients.Reach:
    """Ten spots of 0.81 m2 on 9 m2 each, a kilogram of cattle manure to the square metre that it is spread on."""
    entry = AmendmentEntry(material="cattle-manure", rate_kg_m2=1.0, where=where)
    doses = (nutrients.dose(entry, catalogue.material("cattle-manure"), area, 90.0),)
    balance = nutrients.nitrogen_balance(catalogue.crop("pumpkin"), 3.0, (10.0, 20.0, 30.0), doses)
    return nutrients.reach(balance, doses, spot_area=0.81, ground_area=ground, planting=PLANTED)


def test_manure_in_the_spots_by_hand() -> None:
    """A kilogram holds 4.5 g of nitrogen, 0.4 of it this year: 1.8 g a square metre; 20 kg/ha of the cover are 2 g."""
    found = reached("spots", 8.1)
    assert [1000 * end for end in found.spot] == pytest.approx([0.81 * (2.8 - 1 + rest) for rest in (1, 2, 3)])
    # Over its 9 m2 the same 0.81 m2 of manure, and nine times what the cover leaves on one.
    assert [1000 * end for end in found.ground] == pytest.approx([0.81 * 1.8 + 9 * rest for rest in (1, 2, 3)])
    # 80 lb an acre are 89.7 kg/ha.
    assert 1000 * found.need == pytest.approx(9 * 8.967, rel=1e-3)


def test_manure_on_all_the_field_is_as_thick_in_a_spot_as_between() -> None:
    """Then spot and ground differ only by their area."""
    found = reached("field", 90.0)
    assert np.array(found.ground) / np.array(found.spot) == pytest.approx(9 / 0.81)


def test_the_roots_leave_the_spot_in_three_to_six_weeks() -> None:
    """Weaver and Bruner (1927): 21 in 22 days after sowing (pumpkin), 30 in at 41 (squash); half of a spot is 18 in."""
    assert [str(day) for day in reached("spots", 8.1).leaves] == ["2026-06-23", "2026-07-12"]
    balance = nutrients.nitrogen_balance(catalogue.crop("pumpkin"), 3.0, (0.0, 0.0, 0.0), ())
    unknown = nutrients.reach(balance, (), spot_area=0.81, ground_area=9.0, planting=np.datetime64("NaT", "D"))
    assert np.isnat(unknown.leaves).all()
    assert unknown.spot == (0.0, 0.0, 0.0)
