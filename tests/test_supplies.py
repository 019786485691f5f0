"""What is loaded: by hand, in both markets, and by its invariants."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.beds import materials
from covercrop.beds.layout import Layout, framed, rows_or_hills
from covercrop.beds.lengths import Measures
from covercrop.beds.materials import boards, figures, loads, sheet, up_to

quantity = st.floats(0.01, 1e6)
ureg = pint.UnitRegistry()


def vines(length: float = 30.0, width: float = 24.0) -> Layout:
    """Rows 2.4 m apart with beds and paths of 1.2 m, by hand ten on 24 m."""
    return rows_or_hills(length, width, kind="hills", row_spacing=2.4, spacing=1.2, plants=1)


@given(quantity, st.sampled_from([0.01, 0.1, 0.5, 1.0, 10.0]))
def test_rounding_is_up_and_by_less_than_a_step(need: float, step: float) -> None:
    """What is bought is never less than the need (but for a millionth of a step), nor a whole step more."""
    bought = up_to(need, step)
    assert need - 1e-5 * step <= bought < need + step * (1 + 1e-9)
    assert need * (1 - 1e-6) - 1e-6 <= figures(need, 2, 0.01) <= max(1.11 * need, need + 0.02)


def test_nobody_buys_a_part_of_a_bag() -> None:
    """By hand: 0.1348 m3 settled is 0.1685 m3 loose, 3.37 bags of 50 litres: four are bought."""
    assert loads(0.1348, 0.1, us=False).bags == 4


def test_a_heap_by_hand() -> None:
    """4 m3 settled are 5 m3 loose: 100 bags of 50 L, 63 barrows of 80 L, four pickups of 1.5 m3; 4.2 t take six."""
    light, heavy = loads(4.0, 2.4, us=False), loads(4.0, 4.2, us=False)
    assert light.loose == pytest.approx(5.0)
    assert (light.bags, light.barrows, light.trucks) == (100, 63, 4)
    assert heavy.trucks == 6


def test_the_same_heap_in_us_sizes() -> None:
    """A cubic yard loose is 27 bags of a cubic foot and 9 barrows of three."""
    yard = (1 * ureg.yard**3).to("m^3").magnitude
    found = loads(yard * (1 - materials.SETTLING), 0.4, us=True)
    assert (found.bags, found.barrows) == (27, 9)


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e4))
def test_twice_the_heap_twice_the_loads(volume: float, mass: float) -> None:
    """Twice as much takes twice the loads, within the rounding of one."""
    one, two = loads(volume, mass, us=False), loads(2 * volume, 2 * mass, us=False)
    assert two.loose == pytest.approx(2 * one.loose)
    for name in ("bags", "barrows", "trucks"):
        assert 2 * getattr(one, name) - 1 <= getattr(two, name) <= 2 * getattr(one, name)


def test_straw_by_hand() -> None:
    """A bale does 76 square feet two inches deep: an acre (43,560 ft2) at two inches takes 573 bales."""
    acre = (1 * ureg.acre).to("m^2").magnitude
    assert materials.bales(acre, (2 * ureg.inch).to("m").magnitude) == pytest.approx(43560 / 76, rel=0.003)


def test_sheet_on_rows_by_hand() -> None:
    """Ten beds of 1.2 m take 1.5 m with both edges: strips of 1.8 m, each 30.3 m long, 303 m in all."""
    found = sheet(vines(), "rows")
    assert (found.strips, found.width) == (10, 1.8)
    assert found.cut == pytest.approx(30.3)
    assert found.length == pytest.approx(303)
    assert found.seam == 0
    assert found.covered == pytest.approx(360)


def test_sheet_on_everything_by_hand() -> None:
    """24 m and two edges of 0.15 m out of sheet of 4 m with 0.15 m overlap: seven strips, six overlaps.

    24.3 m - 0.05 m that sheet gives, less an overlap, over 3.85 m a strip is 6.26.
    """
    found = sheet(vines(), "everywhere", 4.0)
    assert found.strips == 7
    assert found.seam == pytest.approx(6 * 30.3)
    assert found.covered == pytest.approx(720)


@given(st.floats(2, 100), st.floats(3, 100), st.floats(1, 12), st.sampled_from(["everywhere", "rows", "paths"]))
def test_sheet_covers_what_it_has_to(length: float, width: float, bought: float, covering: str) -> None:
    """Strips, less their overlaps and edges, are at least the ground under them, but for the little that gives."""
    laid = vines(length, width)
    found = sheet(laid, covering, bought)
    across = found.strips * found.width - found.seam / found.cut * materials.SHEET_OVERLAP
    runs = 1 if covering == "everywhere" else laid.rows.size
    wanted = {"everywhere": width, "rows": laid.bed * runs, "paths": (2.4 - laid.bed) * runs}[covering]
    assert across + runs * materials.SHEET_GIVES + 1e-4 >= wanted + runs * 2 * materials.SHEET_EDGE
    assert found.cut > length


@pytest.mark.parametrize(
    ("pieces", "stock", "count"),
    # By hand: a frame of 2.4 by 1.2 m is two whole boards and one cut in half; a side of 3 m is spliced from
    # 2.4 and 0.6, and four rests of 0.6 come out of one board.
    [([2.4, 2.4, 1.2, 1.2], 2.4, 3), ([3.0, 3.0, 3.0, 3.0], 2.4, 5), ([1.0, 1.0, 1.0], 2.4, 2), ([], 2.4, 0)],
)
def test_boards_by_hand(pieces: list[float], stock: float, count: int) -> None:
    """As many boards as a carpenter would buy."""
    assert boards(pieces, stock) == count


@given(st.lists(st.floats(0.1, 10), max_size=40), st.sampled_from([2.4, 3.6]))
def test_boards_are_enough_and_not_absurd(pieces: list[float], stock: float) -> None:
    """No fewer than the lengths add up to, and fewer than twice as many and one."""
    assert sum(pieces) / stock - 1e-3 <= boards(pieces, stock) <= 2 * sum(pieces) / stock + 1


def test_posts_of_a_frame() -> None:
    """Four corners; a side of 2.4 m is held once in between."""
    assert materials.posts(1.2, 1.2) == 4
    assert materials.posts(2.4, 1.2) == 6


def test_frames_are_covered_one_by_one() -> None:
    """A strip for each frame, with its edges."""
    laid = framed(20, 10, frames=6, row_spacing=1.8, spacing=0.8, plants=1)
    found = sheet(laid, "rows")
    assert found.strips == 6
    assert found.cut == pytest.approx(2.7)


@pytest.mark.parametrize(
    ("method", "value", "unit", "quantity"),
    [
        ("length", 30.0, "m", 30 * ureg.meter),
        ("area", 850.0, "m", 850 * ureg.meter**2),
        ("tonnes", 6.0, "t", 6 * ureg.metric_ton),
        ("weight", 12.0, "kg", 12 * ureg.kilogram),
        ("volume", 20.0, "m", 20 * ureg.meter**3),
    ],
)
def test_measures_agree_with_another_library(method: str, value: float, unit: str, quantity: pint.Quantity) -> None:
    """The US number is that of pint, to the figures that are shown."""
    named = {"length": "foot", "area": "foot**2", "tonnes": "short_ton", "weight": "pound", "volume": "yard**3"}
    shown = float(getattr(Measures(us=True), method)(value).split()[0].replace(",", ""))
    assert shown == pytest.approx(quantity.to(named[method]).magnitude, rel=0.005)
    assert float(getattr(Measures(), method)(value).split()[0]) == pytest.approx(value)


def test_small_things_are_said_small() -> None:
    """Litres and cubic feet of little, grams and ounces; ten centimetres are four inches to a rake."""
    assert Measures().volume(0.25) == "250 L"
    assert Measures(us=True).volume(0.25) == "8.8 ft³"
    assert Measures().weight(0.05) == "50 g"
    assert Measures(us=True).weight(0.05) == "1.8 oz"
    assert Measures(us=True).depth(0.1) == "4 in"
    assert Measures(us=True).depth(0.09) == "3.5 in"
