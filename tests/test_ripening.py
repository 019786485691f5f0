"""Ripening by heat: the sum, its ends, and the dates that it gives where others have worked them out."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented import field, season, weather

from covercrop.field.entries import CropEntry
from covercrop.models import ripening
from covercrop.models.members import standard_draws
from covercrop.models.ripening import NO_DAY
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Crop
from covercrop.render.words import answer
from covercrop.season.plan import make_plan
from covercrop.season.ripeness import Ripeness, ripeness
from covercrop.weather.outlook import Outlook, together

DATA = Path(__file__).resolve().parent.parent / "data" / "validation"
SQUASH = catalogue.crop("summer-squash")
WINTER = catalogue.crop("winter-squash")
NONE = np.array([np.nan])


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def year_of(place: str, base: float) -> np.ndarray:
    """Running sum of the heat of a mean year: the monthly means, straight between the middles of the months."""
    means = [
        float(row["heat_a_day_c"])
        for row in rows("ripening_heat.csv")
        if row["place"] == place and abs(float(row["base_c"]) - base) < 0.1
    ]
    return np.cumsum(np.interp(np.arange(365), 15 + np.arange(12) * 365 / 12, means))


def day_of_year(text: str) -> float:
    return float((np.datetime64(f"2001-{text}") - np.datetime64("2001-01-01")).astype(int))


# --- published and computed dates -----------------------------------------------------------------


@pytest.mark.parametrize(
    "row",
    [row for row in rows("ripening_checks.csv") if not row["reached"].startswith(("10 of", "15 of"))],
    ids=lambda row: f"{row['place']} {row['crop']} {row['sown']}",
)
def test_days_to_ripeness_where_others_have_worked_them_out(row: dict[str, str]) -> None:
    """From sowing to the sum in a mean year, within a week of the middle of the years that it was worked out from."""
    crop = catalogue.crop(row["crop"])
    total = year_of(row["place"], crop.ripening.base.value)
    sown = day_of_year(row["sown"])
    found = ripening.ripe(total, np.array([float(row["sum_c"])]), 0.0, sown, NONE[0])[0] - sown
    assert found == pytest.approx(float(row["days"]), abs=7)


def test_a_late_sowing_at_seattle_does_not_ripen() -> None:
    """Squash of 55 days: sown by the middle of July it ripens in September, on 5 August the autumn runs out of heat."""
    total = year_of("Seattle WA", 10.0)
    needed = np.array([55 * SQUASH.ripening.heat_of_a_day.value])
    end = ripening.season_end(np.full(365, 5.0), total, 0.0, 0.0)
    assert day_of_year("10-10") < end < day_of_year("11-20")
    july = ripening.ripe(total, needed, 55, day_of_year("07-15"), end)
    assert july[0] == pytest.approx(day_of_year("09-20"), abs=4)
    assert np.isnan(ripening.ripe(total, needed, 55, day_of_year("08-05"), end)[0])
    latest = ripening.latest_planting(total, needed, 55, end)
    assert day_of_year("07-15") < latest[0] < day_of_year("08-05")


def test_the_scatter_is_that_of_the_fields_in_arizona() -> None:
    """1297 degF d with a standard deviation of 128, and the heat of a packet day that it makes."""
    assert pytest.approx(128 / 1297, abs=0.002) == ripening.SPREAD
    heat = catalogue.crop("muskmelon").ripening.heat_of_a_day.value
    assert 1297 / 1.8 / 90 <= heat <= 1297 / 1.8 / 80


def test_melon_at_seattle_hangs_by_a_thread() -> None:
    """Sown on 20 May it took 128 days in the 15 of 28 years that brought the sum at all; in the mean year, longer."""
    crop = catalogue.crop("muskmelon")
    total = year_of("Seattle WA", crop.ripening.base.value)
    found = ripening.ripe(total, np.array([1297 / 1.8]), 0.0, day_of_year("05-20"), np.nan)[0] - day_of_year("05-20")
    assert found > 128


# --- the sum --------------------------------------------------------------------------------------


def test_both_extremes_are_held_between_base_and_cap() -> None:
    """A night below the base counts as the base, a noon above the cap as the cap."""
    total = ripening.heat([5.0, 12.0, 20.0, 2.0], [20.0, 35.0, 26.0, 8.0], SQUASH.ripening)
    np.testing.assert_allclose(np.diff(total, prepend=0.0), [5.0, 11.0, 13.0, 0.0])


def test_what_is_needed() -> None:
    """Days times the heat of a day; sown, what it takes to come up; a tenth more a standard deviation."""
    heat, up = SQUASH.ripening.heat_of_a_day.value, SQUASH.ripening.until_up
    assert up is not None
    assert ripening.heat_needed(SQUASH.ripening, 50, sown=False) == pytest.approx(50 * heat)
    assert ripening.heat_needed(SQUASH.ripening, 50, sown=True) == pytest.approx(50 * heat + up.value)
    more = ripening.heat_needed(SQUASH.ripening, 50, sown=False, draw=[-1.0, 1.0])
    np.testing.assert_allclose(more, [45 * heat, 55 * heat])


def test_planted_on_the_last_day_it_ripens_and_a_day_later_it_does_not() -> None:
    """In every member: the two ways of asking come to one answer."""
    rng = np.random.default_rng(5)
    total = np.cumsum(rng.uniform(0, 15, (6, 400)), axis=1)
    needed = ripening.heat_needed(SQUASH.ripening, 55, sown=True, draw=standard_draws(8).ripeness)
    end = np.array([300.0, 310, 320, 330, 250, 399])
    latest = ripening.latest_planting(total, needed, 55, end)
    assert (latest > 100).all()
    assert not np.isnan(ripening.ripe(total, needed, 55, latest, end)).any()
    assert np.isnan(ripening.ripe(total, needed, 55, latest + 1, end)).all()


def test_a_sum_that_lands_on_what_is_needed_counts() -> None:
    """Ten days of ten degree-days ripen what needs a hundred, and no fewer."""
    total = np.cumsum(np.full(400, 10.0))
    needed = np.array([100.0])
    assert ripening.ripe(total, needed, 0.0, 200.0, 300.0)[0] == 209
    assert ripening.latest_planting(total, needed, 0.0, 300.0)[0] == 290


def test_heat_does_not_hurry_a_crop_beyond_its_least_time() -> None:
    """In however hot a summer, 0.85 of the days on the packet."""
    total = np.cumsum(np.full(400, 20.0))
    needed = ripening.heat_needed(SQUASH.ripening, 100, sown=False)[np.newaxis]
    assert ripening.ripe(total, needed, 100, 200.0, 350.0)[0] == 285
    assert ripening.latest_planting(total, needed, 100, 350.0)[0] == 265


def test_a_season_without_the_heat_has_no_last_day_and_one_without_an_end_none_either() -> None:
    """The first before all days, so that nothing is in time; the second after all, so that all is."""
    total = np.cumsum(np.full(400, 1.0))
    needed = np.array([1000.0])
    assert ripening.latest_planting(total, needed, 90, 300.0)[0] == NO_DAY
    assert np.isnan(ripening.latest_planting(total, needed, 90, np.nan)[0])


def test_the_season_ends_by_frost_or_when_warmth_runs_out() -> None:
    """Whichever is first: a fortnight below two degree-days a day, or the first freeze after midsummer."""
    daily = np.where(np.arange(400) < 280, 8.0, 1.0)
    total = np.cumsum(daily)
    mild = np.full(400, 5.0)
    # After twelve cool days of fourteen the mean is exactly two, after thirteen less.
    assert ripening.season_end(mild, total, 0.0, 0.0) == 280 + 13
    frosty = mild.copy()
    frosty[285] = -1.0
    assert ripening.season_end(frosty, total, 0.0, 0.0) == 285
    assert np.isnan(ripening.season_end(mild, np.cumsum(np.full(400, 8.0)), 0.0, 0.0))


def test_the_slowest_variety_is_the_one_whose_last_day_it_is() -> None:
    """The longest packet and the latest planting are one question asked from two sides."""
    total = np.cumsum(10 + 5 * np.sin(np.arange(400) / 60))
    longest = ripening.longest_packet(total, SQUASH.ripening, 200.0, 300.0, sown=True)
    needed = ripening.heat_needed(SQUASH.ripening, float(longest) - 0.01, sown=True)
    assert ripening.latest_planting(total, np.atleast_1d(needed), float(longest) - 0.01, 300.0)[0] == 200


def test_half_way_before_the_filling() -> None:
    """A squash that has half of its heat 55 days before the end fills in warmth, a later one in the cold."""
    total = np.cumsum(np.where(np.arange(400) < 280, 10.0, 3.0))[np.newaxis]
    made = Ripeness(crop=WINTER, sown=False, days=90.0, heat=total, needed=np.array([900.0]), end=np.array([300.0]))
    # The end less 55 is day 245, and half of the heat are 45 days.
    np.testing.assert_array_equal(made.cold_filling(np.array([200.0])), [[0.0]])
    np.testing.assert_array_equal(made.cold_filling(np.array([201.0])), [[1.0]])


# --- at the edges ---------------------------------------------------------------------------------


def test_part_of_a_day_of_the_least_time_is_a_whole_one() -> None:
    """0.85 of 55 days are 46.75: on the 47th day after planting, and no later than 47 before the end."""
    total = np.cumsum(np.full(400, 20.0))
    needed = np.array([100.0])
    assert ripening.ripe(total, needed, 55, 200.0, 300.0)[0] == 247
    assert ripening.latest_planting(total, needed, 55, 300.0)[0] == 253


def test_ripe_on_the_day_of_the_end_is_too_late() -> None:
    """The end is the first day that no longer counts; without an end every day is early enough."""
    total = np.cumsum(np.full(400, 10.0))
    found = ripening.ripe(total, np.array([100.0]), 0.0, 200.0, np.array([209.0, 210.0, np.nan]))
    np.testing.assert_array_equal(found, [[np.nan], [209.0], [209.0]])


def test_planted_on_the_first_days_the_heat_of_those_days_counts() -> None:
    """Ten a day from day 0: planted on it the end of day 12 leaves 120, on the second 110, on the third 100."""
    total = np.cumsum(np.full(400, 10.0))
    assert ripening.latest_planting(total, [120.0, 110.0, 100.0, 130.0], 0.0, 12.0).tolist() == [0, 1, 2, NO_DAY]
    day = np.array([12.0])
    for start, heat in ((0.0, 120.0), (1.0, 110.0), (2.0, 100.0)):
        for more, half in ((0.0, 1.0), (0.1, 0.0)):
            got = ripening.half_way_by(total, np.array([2 * heat + more]), np.array([start]), day)
            np.testing.assert_array_equal(got, [[half]])


def test_half_way_is_not_known_where_the_days_are_not() -> None:
    """Neither planted nor ended: no share of the heat."""
    total = np.cumsum(np.full(400, 10.0))
    got = ripening.half_way_by(total, np.array([100.0]), np.array([np.nan, 5.0]), np.array([50.0]))
    np.testing.assert_array_equal(got, [[np.nan, 1.0]])


def test_one_mean_year_serves_several_ends() -> None:
    """And several years one end each: an end for each row, a column for each need."""
    total, ends = np.cumsum(np.full(400, 10.0)), np.array([100.0, 200.0, np.nan])
    for years in (total, np.stack([total] * 3)):
        found = ripening.latest_planting(years, [100.0, 300.0], 0.0, ends)
        np.testing.assert_array_equal(found, [[90, 70], [190, 170], [np.nan, np.nan]])


@pytest.mark.parametrize("sown", [True, False])
def test_the_slowest_variety_by_hand(sown: bool) -> None:
    """A hundred days of the heat of one: as many packet days less what it takes to come up; no end, no limit."""
    a_day, up = SQUASH.ripening.heat_of_a_day.value, SQUASH.ripening.until_up
    assert up is not None
    total = np.cumsum(np.full(400, a_day / 2))
    found = ripening.longest_packet(np.stack([total] * 2), SQUASH.ripening, 50.0, np.array([250.0, np.nan]), sown=sown)
    np.testing.assert_allclose(found, [100 - (up.value / a_day if sown else 0.0), np.inf])
    hot = np.cumsum(np.full(400, 3 * a_day))  # heat for 255 days, but 85 of the packet's hundred pass at the least
    assert ripening.longest_packet(hot, SQUASH.ripening, 50.0, 135.0, sown=sown) == pytest.approx(100)


def test_warmth_runs_out_no_sooner_than_a_fortnight_is_known() -> None:
    """Cool from the first day on, midsummer before it: the end is the day after the fourteenth known.

    Off the axis there is neither cold nor frost, whatever the shape.
    """
    years = np.cumsum(np.ones((2, 60)), axis=1)
    mild = np.full((2, 60), 5.0)
    np.testing.assert_array_equal(ripening.season_end(mild, years, -300.0, 0.0), [15.0, 15.0])
    assert np.isnan(ripening.season_end(mild, years, -122.0, 0.0)).tolist() == [True, True]  # midsummer is day 60
    np.testing.assert_array_equal(ripening.season_end(mild, years, -132.0, 0.0), [51.0, 51.0])


# --- a crop in a season ---------------------------------------------------------------------------

# Ten degree-days a day from 1 September up to a freeze on day 320; 1 January is day 122.
FREEZE, MIDWINTER = 320, 122
EVEN = season(np.where(np.arange(400) < FREEZE, 20.0, 0.0), known=10)
MIDDLE = replace(standard_draws(4), ripeness=np.zeros(1))


def ripens(crop: Crop = SQUASH, midwinter: float = MIDWINTER, outlook: Outlook = EVEN, **entry: Any) -> Ripeness:
    return ripeness(outlook, crop, CropEntry(name=crop.key, **entry), MIDDLE, midwinter)


def test_heat_counts_from_the_midwinter_before_the_spring_of_the_crop() -> None:
    """What the autumn before brought is none of it; a midwinter off the axis is its first day, or its last."""
    assert ripens().heat[0, [0, 121, 122, 123, 124, 319]].tolist() == [0, 0, 0, 10, 20, 1970]
    assert ripens(midwinter=-30.0).heat[0, [0, 1, 2]].tolist() == [0, 10, 20]
    assert (ripens(midwinter=1000.0).heat == 0).all()
    # Planted in autumn it ripens as if planted at midwinter: 66 days of heat from day 123.
    assert ripens().ripe(0.0)[0, 0] == 188


def test_a_sown_squash_takes_sixty_six_such_days_and_plants_fewer() -> None:
    """55 days of 10.5 and 74 degree-days to come up are 651.5; plants are up, and save their days in the tray."""
    sown = ripens()
    assert (sown.sown, sown.days) == (True, 55.0)
    assert sown.needed.tolist() == [651.5]
    assert sown.end.tolist() == [FREEZE]
    assert sown.latest().tolist() == [[FREEZE - 66]]
    assert sown.ripe(200.0).tolist() == [[265.0]]
    assert np.isnan(sown.ripe(float(FREEZE - 65))).all()
    # What the rest of the season leaves over after coming up, at 10.5 a day.
    assert sown.longest_days(200.0) == pytest.approx([(1200 - 74) / 10.5])
    plants = ripens(method="transplant")
    assert (plants.sown, plants.days) == (False, 55 - SQUASH.transplant_credit.value)
    assert plants.needed == pytest.approx([plants.days * 10.5])
    assert plants.longest_days(200.0) == pytest.approx([1200 / 10.5])
    assert ripens(days_to_maturity=45.0).needed == pytest.approx([45 * 10.5 + 74])


def test_a_season_that_is_not_known_to_its_end_has_none() -> None:
    """Neither an end nor a last day for planting, whatever the days that are known hold."""
    unknown = ripens(outlook=replace(EVEN, complete=False))
    assert np.isnan(unknown.end).all()
    assert np.isnan(unknown.latest()).all()
    assert unknown.ripe(200.0).tolist() == [[265.0]]


def test_filling_is_counted_back_from_the_end_for_what_is_stored() -> None:
    """Winter squash needs 974, half of them before day 265: planted on day 216 it has 490 by then, a day later 480."""
    winter = ripens(WINTER)
    assert winter.needed.tolist() == [974.0]
    assert winter.cold_filling(216.0).tolist() == [[0.0]]
    assert winter.cold_filling(217.0).tolist() == [[1.0]]
    several = ripens().cold_filling(np.full((1, 3), 200.0))
    assert several.shape == (1, 3)
    assert np.isnan(several).all()  # picked young


def test_places_ripen_together_as_alone() -> None:
    """On an axis before the years, each with its own heat and end."""
    warmer = replace(EVEN, tmin=EVEN.tmin + 2, tmax=EVEN.tmax + 2)
    both = ripens(outlook=together([EVEN, warmer]))
    for place, outlook in enumerate((EVEN, warmer)):
        alone, one = ripens(outlook=outlook), both.at(place)
        np.testing.assert_array_equal(one.heat, alone.heat)
        np.testing.assert_array_equal(one.end, alone.end)
        np.testing.assert_array_equal(one.latest(), alone.latest())


# --- the answer -----------------------------------------------------------------------------------

RECORD = weather(last="2026-10-31")


def test_a_planted_crop_ripens_by_the_heat_of_its_season() -> None:
    """Later planted, fewer days in a warming summer; the chance is that of the day on which it was planted."""
    early = make_plan(field(turned_under="2026-05-08", planted="2026-05-20"), RECORD, np.datetime64("2026-06-30"))
    late = make_plan(field(turned_under="2026-05-08", planted="2026-09-10"), RECORD, np.datetime64("2026-09-20"))
    ripe = early.planting.ripe
    assert ripe.early < ripe.median < ripe.late
    assert early.planting.ripens > 0.95
    assert late.planting.ripens < 0.05
    assert np.isnat(late.planting.ripe.median)
    assert "does not suffice to ripen it" in answer.headline(late)


def test_fruit_that_fills_in_the_cold_is_warned_of_where_it_is_stored() -> None:
    """Winter squash that goes in late; of summer squash, picked young, nothing is said."""
    late = {"turned_under": "2026-06-10", "planted": "2026-08-10"}
    on = np.datetime64("2026-08-11")
    winter = make_plan(field(crop="winter-squash", **late), RECORD, on)
    assert winter.planting.cold_filling is True
    assert make_plan(field(crop="summer-squash", **late), RECORD, on).planting.cold_filling is None
    soon = {"turned_under": "2026-04-20", "planted": "2026-05-10"}
    assert make_plan(field(crop="winter-squash", **soon), RECORD, on).planting.cold_filling is False


def test_where_no_day_lets_it_ripen_none_is_named() -> None:
    """A pumpkin in a summer without its heat: no last day, hardly a chance, and it is too late on any day."""
    cold = weather(last="2026-10-31", mean=4.0)
    plan = make_plan(field(crop="pumpkin", turned_under="2026-06-20"), cold, np.datetime64("2026-06-25"))
    assert np.isnat(plan.planting.latest.early)
    assert np.isnat(plan.planting.latest.median)
    assert plan.planting.too_late
    assert plan.planting.ripens == 0.0
    assert plan.absent["dates.latest_planting"] == "not-reached"
    assert "no day of planting makes it nine in ten" in answer.season_fit(plan)
