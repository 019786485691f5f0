"""Decomposition: published factors and pools, and the one crossing that stands in for the daily loop."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.base.errors import UnknownNameError
from covercrop.base.records import CitedValue
from covercrop.models import decomposition
from covercrop.models.decomposition import CASE_DRAW, CASES, RATES, effective_days, mass_left, pools_left
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Residue

CHECKS = Path(__file__).resolve().parent.parent / "data" / "validation" / "planting_checks.csv"
FACTORS = ("linear_factor", "quadratic_factor", "sigmoid_factor", "carbon_nitrogen_factor")

# Fractions of carbohydrate, cellulose and lignin, as quoted for the pools of Probert et al. (1998).
FRACTIONS = {
    "default": (0.20, 0.70, 0.10),
    "mucuna": (0.54, 0.37, 0.09),
    "lablab": (0.57, 0.37, 0.06),
    "sunn hemp": (0.45, 0.47, 0.08),
}


def checks(*names: str) -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["check"] in names]


def residue(fractions: tuple[float, float, float] = FRACTIONS["mucuna"], carbon_nitrogen: float = 12.0) -> Residue:
    """A residue of plain numbers."""
    plain = CitedValue(value=0.0, unit="1", printed="", basis="assumed")
    numbers = [replace(plain, value=number) for number in (*fractions, carbon_nitrogen)]
    return Residue(**dict(zip(Residue.__slots__, numbers, strict=True)))


@pytest.mark.parametrize("row", checks(*FACTORS), ids=lambda row: f"{row['check']} {row['given']}")
def test_factors_are_as_published(row: dict[str, str]) -> None:
    """Each factor takes its published value (source in the row), to the printed precision."""
    factor = getattr(decomposition, row["check"])
    assert factor(float(row["given"])) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", checks("mass_left"), ids=lambda row: row["given"])
def test_mass_left_is_as_published(row: dict[str, str]) -> None:
    """The pools leave the published share of the mass (source in the row), to the printed precision."""
    match = re.fullmatch(r"(.+) after (\d+) d at (?:the full rate|(\d+) C)", row["given"])
    assert match is not None
    name, days, soil = match.groups()
    rate = 1.0 if soil is None else float(decomposition.quadratic_factor(float(soil)))
    assert mass_left(rate * float(days), FRACTIONS[name]) == pytest.approx(
        float(row["expected"]), abs=float(row["tolerance"])
    )


def test_rates_are_as_published() -> None:
    """Seligman and van Keulen (1981), as quoted: 0.2, 0.05 and 0.0095 a day."""
    assert RATES == (0.2, 0.05, 0.0095)


@given(st.floats(-10, 45))
def test_cases_are_the_three_published_factors_in_order(soil: float) -> None:
    """Slow, likely and fast are the three factors sorted, at every temperature, and lie between 0 and 1."""
    factors = [float(getattr(decomposition, name)(soil)) for name in FACTORS[:3]]
    cases = [float(decomposition.temperature_factor(soil, case)) for case in CASES]
    assert cases == sorted(factors)
    assert 0.0 <= cases[0] <= cases[2] <= 1.0


def test_factors_disagree_in_cold_soil() -> None:
    """At 10 degC the two factors for pools differ by 1.7 times, which is why a range is shown (same equations)."""
    ratio = decomposition.linear_factor(10.0) / decomposition.quadratic_factor(10.0)
    assert ratio == pytest.approx(1.7, abs=0.05)


def test_an_unknown_case_is_named() -> None:
    """A case that is not known is refused."""
    with pytest.raises(UnknownNameError, match="unknown decomposition case 'quick'"):
        effective_days(np.zeros(3), 12.0, case="quick")


def test_unknown_soil_stays_unknown() -> None:
    """A day without a soil temperature leaves its factors, and the sum from there on, unknown."""
    soil = np.array([15.0, np.nan, 15.0])
    for case in CASES:
        assert np.isnan(effective_days(soil, 12.0, case=case)).tolist() == [False, True, True]


@given(st.floats(0, 300), st.sampled_from(sorted(FRACTIONS)))
def test_pools_add_up_and_shrink(effective: float, name: str) -> None:
    """The pools begin as the fractions, never grow, and sum to the mass left."""
    left = pools_left(np.array([0.0, effective, effective + 1]), FRACTIONS[name])
    np.testing.assert_allclose(left[0], FRACTIONS[name])
    assert (np.diff(left, axis=0) <= 0).all()
    np.testing.assert_allclose(left.sum(axis=-1), mass_left([0.0, effective, effective + 1], FRACTIONS[name]))


def clear_by_loop(soil: np.ndarray, start: int, fractions: tuple[float, float, float], factor: str) -> float:
    """The same question, asked day by day and pool by pool."""
    pools = list(fractions)
    for day in range(start + 1, soil.size):
        strength = float(getattr(decomposition, factor)(soil[day]))
        pools = [pool * float(np.exp(-rate * strength)) for pool, rate in zip(pools, RATES, strict=True)]
        if pools[0] <= 0.10 * fractions[0] or sum(pools) <= 0.50:
            return float(day)
    return float("nan")


@pytest.mark.parametrize("name", sorted(FRACTIONS))
@pytest.mark.parametrize("start", [0, 17, 59])
def test_one_crossing_is_the_daily_loop(name: str, start: int) -> None:
    """Where one factor is the middle one throughout, the crossing gives the day of the plain loop."""
    soil = np.linspace(11.0, 19.5, 90)  # quadratic is the likely factor here
    assert (decomposition.temperature_factor(soil) == decomposition.quadratic_factor(soil)).all()
    found = decomposition.residue_clear(soil, start, residue(FRACTIONS[name]))
    np.testing.assert_equal(float(found), clear_by_loop(soil, start, FRACTIONS[name], "quadratic_factor"))


def test_carbohydrates_decide_where_they_go_first() -> None:
    """Woody residue is more than half there when its carbohydrates are down to a tenth: ln(10) / 0.2 days."""
    assert decomposition.days_to_clear((0.10, 0.20, 0.70)) == pytest.approx(np.log(10) / 0.2)
    assert mass_left(decomposition.days_to_clear(FRACTIONS["mucuna"]), FRACTIONS["mucuna"]) == pytest.approx(0.5)


@given(st.floats(8, 24), st.floats(0.5, 4), st.floats(-2.4, 2.4))
def test_warmer_soil_and_luckier_draws_clear_no_later(soil: float, more: float, draw: float) -> None:
    """Warmer soil, or a draw for faster decay, never puts the residue off."""
    days = 400
    cool, warm = np.full(days, soil), np.full(days, soil + more)
    draws = np.array([draw, draw + 0.1])
    first, luckier = decomposition.residue_clear(cool, 5, residue(), draw=draws)
    assert luckier <= first
    # Dates are drawn out between the cases, each of which is monotone; beyond them by the same straight line.
    for case in (-CASE_DRAW, 0.0, CASE_DRAW):
        at_case = [
            float(decomposition.residue_clear(air, 5, residue(), draw=np.array([case]))[0]) for air in (cool, warm)
        ]
        assert at_case[1] <= at_case[0]


def test_draws_stand_on_the_cases() -> None:
    """A draw of 0 is the likely case, of plus and minus 1.2816 the fast and the slow one; shapes broadcast."""
    soil = np.stack([np.full(200, 12.0), np.full(200, 17.0)])
    draw = np.array([-CASE_DRAW, 0.0, CASE_DRAW])
    found = decomposition.residue_clear(soil, 10, residue(), draw=draw)
    need = decomposition.days_to_clear(FRACTIONS["mucuna"])
    for column, case in enumerate(CASES):
        daily = decomposition.temperature_factor(soil[:, 0], case)
        np.testing.assert_array_equal(found[:, column], 10 + np.ceil(need / daily - 1e-6))
    np.testing.assert_array_equal(decomposition.residue_clear(soil, 10, residue()), found[:, 1])


def test_cold_dry_or_starved_residue_waits() -> None:
    """Residue in frozen ground is never clear; dry soil stops the clock; a high C:N ratio slows it."""
    warm = np.full(120, 18.0)
    assert np.isnan(decomposition.residue_clear(np.full(300, -1.0), 0, residue()))
    assert np.isnan(decomposition.residue_clear(warm, np.nan, residue()))
    assert np.isnan(decomposition.residue_clear(warm, 0, residue(), moisture=0.0))
    slow = decomposition.residue_clear(warm, 0, residue(carbon_nitrogen=40.0))
    assert slow > decomposition.residue_clear(warm, 0, residue(carbon_nitrogen=25.0))


def test_nitrogen_follows_the_residue() -> None:
    """Nothing before turning under, then the share decomposed; most of it within six weeks in warm soil.

    "Most within 4 to 6 weeks of kill": Pacific Northwest Extension 636 (2012), here as more than half at 42 days.
    """
    soil = np.full((2, 100), 18.0)
    released = decomposition.nitrogen_released(soil, np.array([20.0, np.nan]), residue())
    assert (released[0, :21] == 0).all()
    assert (np.diff(released[0, 20:]) > 0).all()
    assert released[0, 62] > 0.5
    assert released[0, 27] == pytest.approx(
        1 - mass_left(7 * decomposition.temperature_factor(18.0), FRACTIONS["mucuna"])
    )
    assert np.isnan(released[1]).all()


def test_the_fast_and_the_slow_case_stand_at_the_ends_of_80_percent() -> None:
    """A tenth of a normal distribution lies above 1.2816 (NIST tables); half way there is half way in days."""
    soil = np.full(300, 12.0)
    slow, half_slow, likely, half_fast, fast, faster = decomposition.residue_clear(
        soil, 10, residue(), draw=1.2816 * np.array([-1.0, -0.5, 0.0, 0.5, 1.0, 1.5])
    )
    need = decomposition.days_to_clear(FRACTIONS["mucuna"])
    for found, case in ((slow, "slow"), (likely, "likely"), (fast, "fast")):
        assert found == 10 + np.ceil(need / decomposition.temperature_factor(12.0, case))
    assert half_slow == np.ceil((slow + likely) / 2)
    assert half_fast == np.ceil((likely + fast) / 2)
    assert faster == np.ceil(likely + (fast - likely) * 1.5)


def test_it_is_never_clear_before_the_morrow() -> None:
    """However lucky the draw."""
    found = decomposition.residue_clear(np.full(300, 14.0), 10, residue(), draw=np.array([9.0]))
    assert found == 11


def test_a_slow_case_without_an_end_says_nothing_of_the_likely_one() -> None:
    """Where only the slow case is not reached, members on its side have no date and the others have theirs."""
    soil = np.full(900, 4.9)  # one of the three factors begins at 5 degC
    slow, likely, fast = decomposition.residue_clear(soil, 0, residue(), draw=np.array([-0.1, 0.0, 0.1]))
    assert np.isnan(slow)
    assert fast <= likely == decomposition.residue_clear(soil, 0, residue())


@pytest.mark.parametrize("start", [-3.0, -1.0, 0.0, 1.0, 150.0, 260.0])
def test_a_start_anywhere_on_the_axis(start: float) -> None:
    """Before its first day nothing rots; what takes longer than the days first looked at is found as well."""
    soil = np.full(400, 6.0)
    soil[300:] = 25.0
    daily = decomposition.temperature_factor(soil)
    total = np.cumsum(np.where(np.arange(400) > start, daily, 0.0))
    need = decomposition.days_to_clear(FRACTIONS["mucuna"])
    assert decomposition.residue_clear(soil, start, residue()) == np.argmax(total >= need - 1e-6)
    both = decomposition.residue_clear(soil, np.array([start, np.nan]), residue())
    assert both[0] == np.argmax(total >= need - 1e-6)
    assert np.isnan(both[1])


def test_nitrogen_counts_to_the_end_of_the_season() -> None:
    """All of it is out on its last day, and stays so; where nothing comes within it, none is."""
    released = np.array([[0.0, 0.2, 0.4, 0.6], [0.0, 0.0, 0.0, 0.5]])
    np.testing.assert_allclose(decomposition.of_the_season(released, [3.0, np.nan])[0], [0.0, 0.5, 1.0, 1.0])
    np.testing.assert_allclose(decomposition.of_the_season(released, [np.nan, np.nan])[1], [0.0, 0.0, 0.0, 1.0])
    assert (decomposition.of_the_season(released, [3.0, 2.0])[1] == 0).all()


def test_an_error_of_the_soil_and_of_what_may_be_left_move_the_day() -> None:
    """A kelvin of error is as good as soil that much warmer; more that has to go first takes longer."""
    residue = catalogue.cover("crimson-clover").residue
    soil = np.full((1, 200), 14.0)
    day = decomposition.residue_clear(soil, 10.0, residue, soil_error=np.array([-1.0, 0.0, 1.0]))
    apart = [decomposition.residue_clear(soil + kelvin, 10.0, residue)[0] for kelvin in (-1.0, 0.0, 1.0)]
    np.testing.assert_array_equal(day[0], apart)
    assert day[0, 0] > day[0, 1] > day[0, 2]
    more = decomposition.residue_clear(soil, 10.0, residue, clear_draw=np.array([-1.0, 0.0, 1.0]))[0]
    assert more[0] < more[1] < more[2]
