"""Decay: published factors and pools, and what lies on top of the ground."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.models import decay
from covercrop.models.decay import RATES, mass_left, pools_left
from covercrop.parameters import catalogue
from covercrop.parameters.constants import MODELS

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


@pytest.mark.parametrize("row", checks(*FACTORS), ids=lambda row: f"{row['check']} {row['given']}")
def test_factors_are_as_published(row: dict[str, str]) -> None:
    """Each factor takes its published value (source in the row), to the printed precision."""
    factor = getattr(decay, row["check"])
    assert factor(float(row["given"])) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", checks("mass_left"), ids=lambda row: row["given"])
def test_mass_left_is_as_published(row: dict[str, str]) -> None:
    """The pools leave the published share of the mass (source in the row), to the printed precision."""
    match = re.fullmatch(r"(.+) after (\d+) d at (?:the full rate|(\d+) C)", row["given"])
    assert match is not None
    name, days, soil = match.groups()
    rate = 1.0 if soil is None else float(decay.quadratic_factor(float(soil)))
    assert mass_left(rate * float(days), FRACTIONS[name]) == pytest.approx(
        float(row["expected"]), abs=float(row["tolerance"])
    )


def test_rates_are_as_published() -> None:
    """Seligman and van Keulen (1981), as quoted: 0.2, 0.05 and 0.0095 a day."""
    assert RATES == (0.2, 0.05, 0.0095)


@given(st.floats(-10, 45))
def test_factors_lie_between_nothing_and_all(soil: float) -> None:
    """Whatever the soil; nothing decays in frozen ground by any of them, and more in warmer soil by all."""
    now, warmer = decay.daily_decay(soil), decay.daily_decay(soil + 1)
    assert all(0 <= float(each) <= 1 for each in now)
    assert all(float(first) <= float(second) for first, second in zip(now, warmer, strict=True))
    assert all(float(each) == 0 for each in decay.daily_decay(-1.0))


@pytest.mark.parametrize("row", checks("single_left"), ids=lambda row: row["given"])
def test_one_pool_is_left_as_published(row: dict[str, str]) -> None:
    """With its own rate and the root of its factor, day by day (source in the row), to the printed precision."""
    match = re.fullmatch(r"after (\d+) d at (\d+) C", row["given"])
    assert match is not None
    days, soil = map(int, match.groups())
    daily = decay.daily_decay(np.full(days, float(soil)))[2]
    assert decay.single_left(daily)[-1] == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_factors_disagree_in_cold_soil() -> None:
    """At 10 degC the two factors for pools differ by 1.7 times, which is why a range is shown (same equations)."""
    ratio = decay.linear_factor(10.0) / decay.quadratic_factor(10.0)
    assert ratio == pytest.approx(1.7, abs=0.05)


def test_unknown_soil_stays_unknown() -> None:
    """A day without a soil temperature leaves the decay of that day unknown, whichever model is asked."""
    for each in decay.daily_decay(np.array([15.0, np.nan, 15.0])):
        assert np.isnan(each).tolist() == [False, True, False]


def test_water_slows_all_three_alike() -> None:
    """Half of the rate is half of it, whatever the model."""
    full, half = decay.daily_decay(18.0), decay.daily_decay(18.0, 0.5)
    np.testing.assert_allclose(np.array(half), 0.5 * np.array(full))


@given(st.floats(0, 300), st.sampled_from(sorted(FRACTIONS)))
def test_pools_add_up_and_shrink(effective: float, name: str) -> None:
    """The pools begin as the fractions, never grow, and sum to the mass left."""
    left = pools_left(np.array([0.0, effective, effective + 1]), FRACTIONS[name])
    np.testing.assert_allclose(left[0], FRACTIONS[name])
    assert (np.diff(left, axis=0) <= 0).all()
    np.testing.assert_allclose(left.sum(axis=-1), mass_left([0.0, effective, effective + 1], FRACTIONS[name]))


def test_young_plants_turn_to_straw() -> None:
    """At no age the pools of the cover, at full age those of straw, half way in the middle of both."""
    residue = catalogue.cover("common-vetch").residue
    young = [residue.carbohydrate.value, residue.cellulose.value, residue.lignin.value]
    np.testing.assert_allclose(decay.fractions(residue), young)
    np.testing.assert_allclose(
        decay.fractions(residue, [1.0, 0.5]), [[0.2, 0.7, 0.1], (np.array(young) + decay.STRAW) / 2]
    )
    assert decay.fractions(residue, np.zeros((2, 4))).shape == (2, 4, 3)


# --- on top ---------------------------------------------------------------------------------------


def test_the_pace_on_top_is_drawn() -> None:
    """Seven tenths in the middle; a tenth of the draws lies below 0.45, another above 0.95; never next to nothing."""
    assert decay.surface_pace() == 0.7
    paces = decay.surface_pace([-1.2816, 0.0, 1.2816, -9.0])
    np.testing.assert_allclose(paces, [0.45, 0.7, 0.95, 0.3], atol=1e-4)


def test_field_ratios_lie_in_the_range_of_the_pace() -> None:
    """On top against dug in, Alberta (Lupwayi et al. 2004, abstract): 0.76, 0.70 to 0.94, 0.62."""
    surface = MODELS.residue.surface
    assert surface.low is not None
    assert surface.high is not None
    assert all(surface.low < ratio < surface.high for ratio in (0.76, 0.70, 0.94, 0.62))


def test_what_lies_on_top_decays_less_when_dry() -> None:
    """Wet through and on moist ground at the full rate; without rain for days, less the drier the ground below."""
    pace = decay.surface_pace()
    assert decay.surface_moisture(1.0, 1.0, pace) == 1.0
    moist, dry = decay.surface_moisture([1.0, 0.2], 0.0, pace)
    assert 0 < dry < moist < pace
    assert decay.surface_moisture(0.3, np.nan, pace) == pace  # no rain is known
    slow, fast = (decay.surface_moisture(1.0, 0.4, decay.surface_pace(draw)) for draw in (-1.2816, 1.2816))
    assert slow == pytest.approx(0.4)
    assert 0.9 < fast < 1


def test_the_pace_says_how_far_the_surface_lies_between_rain_and_ground() -> None:
    """By hand, rain alone 0.4 and ground 1: none of the way at 0.45, half of it at 0.725, all at 1, no more beyond."""
    found = decay.surface_moisture(1.0, 0.4, [0.3, 0.45, 0.725, 1.0, 1.3])
    np.testing.assert_allclose(found, [0.4, 0.4, 0.7, 1.0, 1.0])
    assert decay.surface_moisture(0.2, 0.8, 1.0) == 0.8  # rain on dry ground wets what lies on top all the same


# --- at the edges ---------------------------------------------------------------------------------


def test_warm_soil_decays_at_the_full_rate_and_no_faster() -> None:
    """The line comes to 1 at 35 degC, the square at 32; the curve has levelled off there and stays below."""
    assert decay.linear_factor([5.0, 20.0, 35.0, 44.0]).tolist() == [0.0, 0.5, 1.0, 1.0]
    assert decay.quadratic_factor([-3.0, 0.0, 16.0, 32.0, 44.0]).tolist() == [0.0, 0.0, 0.25, 1.0, 1.0]
    assert decay.sigmoid_factor([-30.0, 0.0]).tolist() == [0.0, 0.0]
    # A tenth at the freezing point; where exp(9.93 - 0.312 T) is T, half of nine tenths more.
    assert decay.sigmoid_factor(1e-9) == pytest.approx(0.1)
    assert decay.sigmoid_factor(60.0) == pytest.approx(1.0, abs=1e-5)
    even = 20.0
    for _ in range(30):  # closer by seven times each time
        even = (9.93 - np.log(even)) / 0.312
    assert decay.sigmoid_factor(even) == pytest.approx(0.55)


def test_nitrogen_enough_does_not_hurry() -> None:
    """The full rate up to a ratio of 25, half of it at 50 (the half-life of the exponent is one more 25)."""
    np.testing.assert_allclose(decay.carbon_nitrogen_factor([0.0, 25.0, 50.0, 75.0]), [1.0, 1.0, 0.5, 0.25], atol=1e-3)


def test_the_single_pool_is_followed_over_the_days_of_each_place() -> None:
    """A twentieth of what is left goes on each full day: 0.95, then 0.95 squared; none on a day without decay."""
    left = decay.single_left([[1.0, 1.0], [0.0, 1.0]])
    np.testing.assert_allclose(left, [[0.95, 0.9025], [1.0, 0.95]])
