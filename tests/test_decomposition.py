"""Decomposition: when residue is out of the way by three published models, and what it lets go."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.base.errors import UnknownNameError
from covercrop.base.records import CitedValue
from covercrop.models import decay, decomposition
from covercrop.models.decay import RATES, mass_left
from covercrop.models.decomposition import CASE_DRAW, Maturity
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Residue

# Fractions of carbohydrate, cellulose and lignin, as quoted for the pools of Probert et al. (1998).
FRACTIONS = {
    "default": (0.20, 0.70, 0.10),
    "mucuna": (0.54, 0.37, 0.09),
    "lablab": (0.57, 0.37, 0.06),
    "sunn hemp": (0.45, 0.47, 0.08),
}
MUCUNA = FRACTIONS["mucuna"]


def residue(fractions: tuple[float, float, float] = MUCUNA) -> Residue:
    """A residue of plain numbers."""
    plain = CitedValue(value=0.0, unit="1", printed="", basis="assumed")
    numbers = [replace(plain, value=number) for number in fractions]
    return Residue(**dict(zip(Residue.__slots__, numbers, strict=True)))


def mature(age: float = 0.0, carbon_nitrogen: float = 0.0) -> Maturity:
    return Maturity(age=np.array(age), carbon_nitrogen=np.array(carbon_nitrogen))


def by_loop(soil: np.ndarray, start: float, fractions: tuple[float, float, float] = MUCUNA) -> list[float]:
    """The date of each of the three models, asked day by day and pool by pool."""
    dates = []
    for factor in (decay.linear_factor, decay.quadratic_factor):
        pools, date = list(fractions), np.nan
        for day in range(max(int(start) + 1, 0), soil.size):
            pools = [pool * float(np.exp(-rate * factor(soil[day]))) for pool, rate in zip(pools, RATES, strict=True)]
            if pools[0] <= 0.10 * fractions[0] + 1e-9 or sum(pools) <= 0.50 + 1e-9:
                date = float(day)
                break
        dates.append(date)
    whole, date = 1.0, np.nan
    for day in range(max(int(start) + 1, 0), soil.size):
        whole *= 1 - 0.05 * float(np.sqrt(decay.sigmoid_factor(soil[day])))
        if whole <= 0.50 + 1e-9:
            date = float(day)
            break
    return sorted([*dates, date], key=lambda each: np.inf if np.isnan(each) else each, reverse=True)


def dates_of(soil: np.ndarray, start: float = 10.0) -> np.ndarray:
    """Slow, likely and fast."""
    return decomposition.residue_clear(soil, start, residue(), draw=CASE_DRAW * np.array([-1.0, 0.0, 1.0]))


@pytest.mark.parametrize("start", [0, 17, 59])
@pytest.mark.parametrize(("first", "last"), [(6.0, 14.0), (11.0, 19.5), (18.0, 27.0)])
def test_the_cases_are_the_three_models_in_order(first: float, last: float, start: int) -> None:
    """Slow, likely and fast are the last, the middle and the first of the three dates, each model for itself."""
    soil = np.linspace(first, last, 160)
    np.testing.assert_array_equal(dates_of(soil, start), by_loop(soil, start))


@pytest.mark.parametrize("name", sorted(FRACTIONS))
def test_one_crossing_is_the_daily_loop(name: str) -> None:
    """For each of the published sets of pools."""
    soil = np.linspace(11.0, 19.5, 90)
    found = decomposition.residue_clear(soil, 17, residue(FRACTIONS[name]))
    assert float(found) == by_loop(soil, 17, FRACTIONS[name])[1]


def test_in_cold_soil_the_pools_are_no_longer_followed_at_the_pace_of_another_model() -> None:
    """At 10 degC the temperature factor of the single pool with the rates of three pools had called for 61 days.

    Followed as published, it clears in 42, and the two of the pools in 40 and 68 (mucuna; equations in the module).
    """
    soil = np.full(200, 10.0)
    waits = dates_of(soil) - 10
    need = decomposition.days_to_clear(MUCUNA)
    assert waits[1] == np.ceil(np.log(2) / -np.log(1 - 0.05 * np.sqrt(decay.sigmoid_factor(10.0))))
    assert waits.tolist() == [np.ceil(need / 0.09765625), 42, np.ceil(need * 6)]
    assert need / decay.sigmoid_factor(10.0) > waits[1] + 14


def test_an_unknown_case_is_named() -> None:
    """A case that is not known is refused."""
    with pytest.raises(UnknownNameError, match="unknown decomposition case 'quick'"):
        decomposition.case_of(np.zeros((3, 5)), "quick")


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
    found = dates_of(soil)
    for row, celsius in zip(found, (12.0, 17.0), strict=True):
        np.testing.assert_array_equal(row, by_loop(np.full(200, celsius), 10))
    np.testing.assert_array_equal(decomposition.residue_clear(soil, 10, residue()), found[:, 1])


def test_cold_dry_or_starved_residue_waits() -> None:
    """Residue in frozen ground is never clear; dry soil stops the clock; a high C:N ratio slows it."""
    warm = np.full(120, 18.0)
    assert np.isnan(decomposition.residue_clear(np.full(300, -1.0), 0, residue()))
    assert np.isnan(decomposition.residue_clear(warm, np.nan, residue()))
    assert np.isnan(decomposition.residue_clear(warm, 0, residue(), moisture=0.0))
    slow, fast = (decomposition.residue_clear(warm, 0, residue(), maturity=mature(carbon_nitrogen=r)) for r in (40, 25))
    assert slow > fast == decomposition.residue_clear(warm, 0, residue())


def test_nitrogen_follows_the_residue() -> None:
    """Nothing before turning under, then the share decomposed; most of it within six weeks in warm soil.

    "Most within 4 to 6 weeks of kill": Pacific Northwest Extension 636 (2012), here as more than half at 42 days.
    """
    soil = np.full((2, 100), 18.0)
    released = decomposition.case_of(
        decomposition.nitrogen_released(soil, np.array([20.0, np.nan]), residue()), "likely"
    )
    assert (released[0, :21] == 0).all()
    assert (np.diff(released[0, 20:]) > 0).all()
    assert released[0, 62] > 0.5
    quadratic = 1 - mass_left(7 * decay.quadratic_factor(18.0), MUCUNA)  # the middle one of the three
    assert released[0, 27] == pytest.approx(quadratic)
    assert np.isnan(released[1]).all()


def test_the_fast_and_the_slow_case_stand_at_the_ends_of_80_percent() -> None:
    """A tenth of a normal distribution lies above 1.2816 (NIST tables); half way there is half way in days."""
    soil = np.full(300, 12.0)
    slow, half_slow, likely, half_fast, fast, faster = decomposition.residue_clear(
        soil, 10, residue(), draw=1.2816 * np.array([-1.0, -0.5, 0.0, 0.5, 1.0, 1.5])
    )
    assert [slow, likely, fast] == by_loop(soil, 10)
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
    expected = by_loop(soil, start)[1]
    assert decomposition.residue_clear(soil, start, residue()) == expected
    both = decomposition.residue_clear(soil, np.array([start, np.nan]), residue())
    assert both[0] == expected
    assert np.isnan(both[1])


def test_older_plants_take_longer() -> None:
    """By what their pools need; the model of one pool knows nothing of pools."""
    soil = np.full(300, 15.0)
    young, old = (
        decomposition.residue_clear(
            soil, 10, residue(), maturity=mature(age), draw=CASE_DRAW * np.array([-1.0, 0.0, 1.0])
        )
        - 10
        for age in (0.0, 1.0)
    )
    longer = decomposition.days_to_clear(decay.STRAW) / decomposition.days_to_clear(MUCUNA)
    assert longer > 1.5
    single = np.ceil(np.log(2) / -np.log(1 - 0.05 * np.sqrt(decay.sigmoid_factor(15.0))))
    assert single in young
    assert single in old
    assert old[0] == pytest.approx(
        longer * np.ceil(decomposition.days_to_clear(MUCUNA) / decay.quadratic_factor(15.0)), abs=1
    )
    ages = Maturity(age=np.linspace(0, 1, 5), carbon_nitrogen=np.zeros(5))
    assert (np.diff(decomposition.residue_clear(soil, 10, residue(), maturity=ages)) >= 0).all()
    less = [
        decomposition.nitrogen_released(soil, 10, residue(), maturity=mature(age))[0, 40] for age in (0.0, 0.5, 1.0)
    ]
    assert less == sorted(less, reverse=True)
    assert less[0] > less[2]


def test_a_slower_pace_takes_longer_in_each_member() -> None:
    """At half the pace twice the days, for all three models."""
    soil = np.full(400, 14.0)
    full, half = (decomposition.residue_clear(soil, 10, residue(), pace=np.array([pace])) - 10 for pace in (1.0, 0.5))
    assert half == 2 * full


def test_places_keep_their_own_maturity() -> None:
    """Put together and taken apart again; one number stands for all."""
    parts = [Maturity(age=np.full((2, 3), age), carbon_nitrogen=np.full((2, 3), 10 + age)) for age in (0.2, 0.4)]
    both = Maturity.together(parts)
    assert both.age.shape == (2, 2, 3)
    assert (both.at(1).age == 0.4).all()
    assert (both.at(0).carbon_nitrogen == 10.2).all()
    assert Maturity.together(parts[:1]) is parts[0]
    assert decomposition.YOUNG.at(1) is decomposition.YOUNG
    assert parts[0].middle().age.shape == (2, 1)


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


def test_several_endings_are_as_each_alone() -> None:
    """The day of an ending itself does not count, whichever of them comes first."""
    soil, starts = np.linspace(8.0, 24.0, 200), np.array([10.0, 30.0, 55.0, 80.0])
    together = decomposition.residue_clear(soil, starts, residue())
    np.testing.assert_array_equal(together, [by_loop(soil, start)[1] for start in starts])


def test_a_slow_case_in_a_colder_soil_is_late_by_both() -> None:
    """What the case costs is that of the soil as it is; the error of the soil comes on top."""
    soil = np.linspace(9.0, 20.0, 300)
    likely = by_loop(soil, 10)[1]
    slow, fast = by_loop(soil, 10)[0], by_loop(soil, 10)[2]
    colder, warmer = by_loop(soil - 1, 10)[1], by_loop(soil + 1, 10)[1]
    both = decomposition.residue_clear(
        soil, 10, residue(), draw=CASE_DRAW * np.array([-1.0, 1.0]), soil_error=np.array([-1.0, 1.0])
    )
    np.testing.assert_array_equal(both - likely, [slow + colder - 2 * likely, fast + warmer - 2 * likely])


def test_a_case_is_the_least_the_middle_or_the_most_on_each_day() -> None:
    """Models change places as it gets warmer; the days keep their order."""
    released = np.array([[0.1, 0.5], [0.2, 0.3], [0.3, 0.4]])
    for case, expected in (("slow", [0.1, 0.3]), ("likely", [0.2, 0.4]), ("fast", [0.3, 0.5])):
        np.testing.assert_array_equal(decomposition.case_of(released, case), expected)


def test_each_place_and_model_counts_to_its_own_end() -> None:
    """Released by models, places and days; a season that ends before the first day holds that day."""
    released = np.stack([np.linspace(0, 0.8, 5), np.linspace(0, 0.4, 5)])[:, np.newaxis] * np.ones((2, 3, 1))
    found = decomposition.of_the_season(released, [3.0, np.nan, 9.0])
    np.testing.assert_allclose(found[0], [[0, 0.5, 1, 1, 1], [0, 0.25, 0.5, 0.75, 1], [0, 0.25, 0.5, 0.75, 1]])
    np.testing.assert_allclose(found[1], found[0])
    np.testing.assert_allclose(decomposition.of_the_season(np.array([0.5, 1.0]), 0.0), [1.0, 1.0])


@pytest.mark.parametrize("pace", [0.4, 1.0])
def test_what_is_ended_before_the_first_day_rots_from_it_on(pace: float) -> None:
    """In steady soil as long a wait as from any other day, counted from the day before the first."""
    soil = np.full(300, 14.0)
    late = decomposition.residue_clear(soil, 40.0, residue(), pace=pace) - 40
    for start in (-7.0, -1.0):
        assert decomposition.residue_clear(soil, start, residue(), pace=pace) == late - 1
    assert decomposition.residue_clear(soil, 0.0, residue(), pace=pace) == late


def test_a_place_that_clears_late_is_found_beside_one_that_clears_soon() -> None:
    """Each is searched as far as it takes."""
    soil = np.stack([np.full(400, 20.0), np.where(np.arange(400) < 250, 3.0, 20.0)])
    found = decomposition.residue_clear(soil, [10.0], residue())
    np.testing.assert_array_equal(found[:, 0], [by_loop(row, 10)[1] for row in soil])
    assert found[0, 0] < 100 < found[1, 0]


def test_age_is_read_off_between_five_ages() -> None:
    """In soil so cold that days tell: at each of the five by what its pools need, between two of them half way.

    The linear model is the slow one at 5.3 degC, at a hundredth of the full rate.
    """
    soil = np.full(6000, 5.3)
    ages = np.array([0.0, 0.25, 0.5, 0.625, 0.75, 1.0])
    needs = [decomposition.days_to_clear(tuple(decay.fractions(residue(), age).tolist())) for age in ages]
    needs[3] = (needs[2] + needs[4]) / 2
    plants = Maturity(age=ages, carbon_nitrogen=np.zeros(6))
    found = decomposition.residue_clear(soil, 0, residue(), maturity=plants, draw=np.full(6, -CASE_DRAW))
    np.testing.assert_allclose(found, np.array(needs) * 100, atol=2)


def test_how_much_may_be_left_stretches_the_wait() -> None:
    """A standard deviation is a fifth of the days; however lucky, three tenths of them are waited for."""
    soil, spread = np.full(900, 8.0), decomposition.CLEAR_SPREAD
    wait = float(decomposition.residue_clear(soil, 0, residue()))
    less, more, least = decomposition.residue_clear(soil, 0, residue(), clear_draw=np.array([-1.0, 1.0, -9.0]))
    assert [less, more] == [np.ceil(wait * (1 - spread)), np.ceil(wait * (1 + spread))]
    assert least == np.ceil(0.3 * wait)


def test_a_high_ratio_slows_the_single_pool_too() -> None:
    """At C:N 50 half of the rate, so twice the days, by every model (0.693 in the exponent is ln 2 to 1 in 4700)."""
    soil = np.full(600, 15.0)
    draws = CASE_DRAW * np.array([-1.0, 0.0, 1.0])
    enough, starved = (
        decomposition.residue_clear(soil, 0, residue(), maturity=mature(carbon_nitrogen=ratio), draw=draws)
        for ratio in (25, 50)
    )
    np.testing.assert_array_equal(starved, 2 * enough)


def test_the_middle_plant_is_the_mean_of_the_draws_of_each_year() -> None:
    """The axis of the draws is kept; one number for all is its own mean."""
    plants = Maturity(age=np.array([[0.0, 1.0], [0.5, 1.0]]), carbon_nitrogen=np.array([[20.0, 40.0], [30.0, 30.0]]))
    np.testing.assert_array_equal(plants.middle().age, [[0.5], [0.75]])
    np.testing.assert_array_equal(plants.middle().carbon_nitrogen, [[30.0], [30.0]])
    np.testing.assert_array_equal(decomposition.YOUNG.middle().age, [0.0])


def test_the_morrow_of_part_of_a_day_is_a_whole_one() -> None:
    """Ended in the course of day 10, it is seen to be clear on day 12 at the soonest."""
    lucky = np.array([9.0])
    assert decomposition.residue_clear(np.full(300, 14.0), 10.5, residue(), draw=lucky) == 12


def test_half_the_water_releases_in_twice_the_days() -> None:
    """By the models of pools exactly, which follow the sum of what the days allow."""
    soil = np.full(60, 16.0)
    moist = decomposition.nitrogen_released(soil, 0, residue())
    dry = decomposition.nitrogen_released(soil, 0, residue(), moisture=np.full(60, 0.5))
    np.testing.assert_allclose(dry[:2, 2::2], moist[:2, 1:30])
    assert (dry[2] <= moist[2]).all()
