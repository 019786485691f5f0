"""Soil water: reference evapotranspiration against an independent library, and a balance that closes."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from covercrop.base.errors import UnknownNameError
from covercrop.models import soil_water
from covercrop.models.soil_temperature import GROUNDS
from covercrop.models.soil_water import (
    LOWER_LIMIT,
    READILY_EVAPORABLE,
    ROOT_SHARE,
    SATURATION,
    SURFACE_DEPTH,
    TOTAL_EVAPORABLE,
    TURNED_DEPTH,
    UNKNOWN_DAYS,
    UPPER_LIMIT,
    WET_GROUND,
    evapotranspiration,
    extraterrestrial_radiation,
    moisture,
    moisture_factor,
    relative_water,
)
from covercrop.parameters import catalogue

CHECKS = Path(__file__).resolve().parent.parent / "data" / "validation" / "planting_checks.csv"
CHAMPION_LATITUDE = 40.4
DAYS = 60
RAIN = arrays(np.float64, DAYS, elements=st.one_of(st.just(0.0), st.floats(0, 90)))
DEMAND = arrays(np.float64, DAYS, elements=st.floats(0, 14))
COVERS = st.sampled_from(GROUNDS)
TURNED = st.one_of(st.floats(-5, DAYS + 5), st.just(np.nan))


def checks(name: str) -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["check"] == name]


# --- what the air asks for ------------------------------------------------------------------------


def test_the_sun_of_an_equinox_is_the_solar_constant_over_half_a_day() -> None:
    """1367 W/m2 on the ground of the equator, up and down as a sine: 37.6 MJ/m2; at 40 degrees its cosine of it.

    In March the sun is 0.6 % nearer than in the mean.
    """
    overhead = 1367 * 86400 / np.pi / 1e6 * 1.006
    found = extraterrestrial_radiation([0.0, 40.0], 80.75)
    np.testing.assert_allclose(found, overhead * np.cos(np.radians([0, 40])), rtol=0.002)


def test_the_pole_has_half_a_year_of_sun() -> None:
    """It rises on 20 March and sets on 23 September, give or take three days; at the solstice it stands 23.44 degrees.

    A day of 1367 W/m2 is 118.1 MJ/m2, and in June the sun is 3.3 % fainter for its distance.
    """
    assert (extraterrestrial_radiation(90.0, [76.0, 269.0]) < 1e-9).all()
    assert (extraterrestrial_radiation(90.0, [84.0, 262.0]) > 1).all()
    highest = 118.1 * np.sin(np.radians(23.44)) * (1 - 0.033)
    assert extraterrestrial_radiation(90.0, 172.0) == pytest.approx(highest, rel=0.005)


@pytest.mark.parametrize("latitude", [-65.0, -38.0, 0.0, 40.0, 75.0])
@pytest.mark.parametrize("day", [10.0, 100.0, 172.0, 300.0])
def test_radiation_is_the_sun_added_up_minute_by_minute(latitude: float, day: float) -> None:
    """While it is above the horizon, by the sine of its height, with the declination and distance of FAO-56."""
    angle, phi = 2 * np.pi * day / 365, np.radians(latitude)
    declination, distance = 0.409 * np.sin(angle - 1.39), 1 + 0.033 * np.cos(angle)
    hours = np.linspace(-np.pi, np.pi, 1440, endpoint=False)
    height = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(hours)
    added = 0.0820 * distance * np.maximum(height, 0).sum()
    assert extraterrestrial_radiation(latitude, day) == pytest.approx(added, abs=0.01)


def test_evapotranspiration_by_hand() -> None:
    """20 to 30 degC under 37.8 MJ/m2, which evaporate 15.4 mm: 0.0023 * (25 + 17.8) * 10**0.5 * 15.4 are 4.8 mm."""
    assert evapotranspiration(20.0, 30.0, 0.0, 80.75) == pytest.approx(4.80, abs=0.01)


@pytest.mark.parametrize("latitude", [-38.0, 0.0, 52.0])
def test_the_sun_turns_with_the_hemisphere(latitude: float) -> None:
    """The year's most sun falls near the solstice of its own side, and at the equator near an equinox."""
    highest = int(np.argmax(extraterrestrial_radiation(latitude, np.arange(1, 366)))) + 1
    expected = {-38.0: (355,), 0.0: (80, 266), 52.0: (172,)}[latitude]
    assert min(min(abs(highest - day), 365 - abs(highest - day)) for day in expected) <= 20


def test_polar_night_and_hard_frost_take_no_water() -> None:
    """Without sun, or with a mean below -17.8 degC, nothing evaporates; swapped extremes give no root of a negative."""
    assert extraterrestrial_radiation(75.0, 1) == 0.0
    assert extraterrestrial_radiation(75.0, 172) > extraterrestrial_radiation(45.0, 172)
    assert evapotranspiration(-30.0, -20.0, 45.0, 20) == 0.0
    assert evapotranspiration(12.0, 10.0, 45.0, 172) == 0.0


# --- what the ground holds ------------------------------------------------------------------------


def test_evaporable_water_is_that_of_the_table() -> None:
    """Equation 73 with the middle of a loam lands in the total that FAO-56, table 19, gives for loam: 16 to 22 mm."""
    assert 16 <= TOTAL_EVAPORABLE <= 22
    assert 8 <= READILY_EVAPORABLE <= 10


def by_loop(rain: np.ndarray, demand: np.ndarray, left: float, turned: float) -> np.ndarray:
    """Water in the layer [mm], its losses [mm] and its drainage [mm], as two stores that are filled and emptied."""
    top_full, deep_full = (UPPER_LIMIT * depth for depth in (SURFACE_DEPTH, TURNED_DEPTH - SURFACE_DEPTH))
    top, deep, free = top_full, deep_full, 0.0  # free: above the drained upper limit
    mixed = False
    rows = []
    for day, (fallen, wanted) in enumerate(zip(rain, demand, strict=True)):
        drained, free = free, 0.0
        if day >= turned and not mixed:
            top = deep = (top + deep) / 2
            mixed = True
        into_top = min(fallen, top_full - top)
        into_deep = min(fallen - into_top, deep_full - deep)
        free = fallen - into_top - into_deep
        top, deep = top + into_top, deep + into_deep
        lost = max(free - (SATURATION - UPPER_LIMIT) * TURNED_DEPTH, 0.0)
        free -= lost
        if mixed:
            dryness = top_full - top
            limit = (TOTAL_EVAPORABLE - dryness) / (TOTAL_EVAPORABLE - READILY_EVAPORABLE)
            used = min(WET_GROUND * left * wanted * min(max(limit, 0.0), 1.0), TOTAL_EVAPORABLE - dryness)
            from_free = min(used, free)
            free, top = free - from_free, top - (used - from_free)
        else:
            used = min(ROOT_SHARE * wanted, top + deep + free - LOWER_LIMIT * TURNED_DEPTH)
            from_free = min(used, free)
            free -= from_free
            # Where roots take it from does not matter until turning under mixes the layer; rain fills all of it.
            top, deep = ((top + deep - (used - from_free)) / 2,) * 2
        rows.append((top + deep + free, used, drained + lost))
    return np.array(rows).T


@given(RAIN, DEMAND, COVERS, TURNED)
def test_the_water_balance_closes(rain: np.ndarray, demand: np.ndarray, cover: str, turned: float) -> None:
    """Rain is evaporation, drainage and change of a plain account of two stores, and the water is that account's."""
    left = soil_water._EVAPORATION_LEFT[cover]
    water, used, drained = by_loop(rain, demand, left, turned)
    change = np.diff(water, prepend=UPPER_LIMIT * TURNED_DEPTH)
    np.testing.assert_allclose(used + drained + change, rain, atol=1e-9)
    assert (used >= -1e-9).all()
    limits = np.array([0.5 * LOWER_LIMIT, LOWER_LIMIT, UPPER_LIMIT, SATURATION]) * TURNED_DEPTH
    expected = np.interp(water, limits, (0.0, 1.0, 2.0, 3.0))
    np.testing.assert_allclose(relative_water(rain, demand, cover, turned), expected, atol=1e-9)


@given(RAIN, DEMAND, COVERS, TURNED, st.integers(0, DAYS - 1), st.floats(0, 60))
def test_more_rain_is_never_drier(
    rain: np.ndarray, demand: np.ndarray, cover: str, turned: float, day: int, more: float
) -> None:
    """A wetter day leaves the ground as wet or wetter ever after, and the scale is kept to 0 to 3."""
    wetter = rain.copy()
    wetter[day] += more
    first, second = (relative_water(fallen, demand, cover, turned) for fallen in (rain, wetter))
    assert (second >= first - 1e-9).all()
    assert first.min() >= 0.0
    assert second.max() <= 3.0


def test_a_dry_spell_dries() -> None:
    """Without rain the ground dries from day to day, under straw and plastic later, and a soaking makes it moist."""
    rain, demand = np.zeros(60), np.full(60, 5.0)
    rain[40] = 40.0
    bare, straw, plastic = (relative_water(rain, demand, cover, 0) for cover in ("bare", "straw", "black-plastic"))
    assert (np.diff(bare[:20]) < 0).all()
    assert (bare[:20] < straw[:20]).all()
    assert (straw[:20] < plastic[:20]).all()
    assert 1.0 < bare[39] < 1.5  # evaporation seals the ground below 10 cm
    assert bare[40] > 1.5


def test_a_thirsty_cover_leaves_dry_ground() -> None:
    """A cover that has stood through a drought leaves the ground at the lower limit: nothing decays until rain."""
    rain, demand = np.zeros(60), np.full(60, 5.0)
    water = relative_water(rain, demand, "bare", 30)
    assert water[29] == pytest.approx(1.0)
    assert (moisture_factor(water[29:]) == 0).all()
    rain[35] = 30.0
    assert moisture_factor(relative_water(rain, demand, "bare", 30))[36] > 0.5
    assert relative_water(rain, demand, "bare", np.nan)[30] == pytest.approx(1.0)


def test_too_much_rain_drains_the_next_day() -> None:
    """A cloudburst fills the ground, and a day later what is left above the drained upper limit is gone."""
    water = relative_water([100.0, 0.0], [0.0, 0.0], "bare", np.nan)
    np.testing.assert_allclose(water, [3.0, 2.0])


@given(RAIN, DEMAND, st.integers(0, DAYS - 1), st.booleans())
def test_an_unknown_day_leaves_the_water_as_it_was(
    rain: np.ndarray, demand: np.ndarray, day: int, of_rain: bool
) -> None:
    """One day whose rain, or temperature, is not known dries nothing and wets nothing; the days before are the same."""
    known = relative_water(rain, demand, "bare", np.nan)
    holed, asked = rain.copy(), demand.copy()
    (holed if of_rain else asked)[day] = np.nan
    found = relative_water(holed, asked, "bare", np.nan)
    np.testing.assert_array_equal(found[:day], known[:day])
    before = found[day - 1] if day else 2.0
    assert found[day] == pytest.approx(min(before, 2.0))  # what stood above the upper limit has drained


@given(DEMAND, st.integers(0, DAYS - 20), st.integers(1, 15))
def test_no_drought_is_made_up(demand: np.ndarray, first: int, length: int) -> None:
    """A short run of unknown days keeps the drought there was; a longer one ends at the drained upper limit."""
    rain = np.zeros(DAYS)
    rain[first : first + length] = np.nan
    water = relative_water(rain, demand, "bare", np.nan)
    before = water[first - 1] if first else 2.0
    assert water[first + length - 1] == pytest.approx(2.0 if length > UNKNOWN_DAYS else before)


def test_without_any_rain_known_the_ground_is_moist() -> None:
    """A record without rain gives the full rate of decay on every day."""
    nothing = np.full(DAYS, np.nan)
    steady = np.full(DAYS, 20.0)
    assert (moisture(nothing, steady - 5, steady + 5, 40.0, np.arange(DAYS) + 1.0, "bare", 30.0) == 1.0).all()


def test_every_year_stands_alone(champion: pd.DataFrame) -> None:
    """Leading axes are worked as one by one, days may be none, and nothing given is changed."""
    years = [champion[f"{year}-09-15" :].iloc[:400] for year in (1990, 1991, 1992, 1993)]
    day = np.stack([year.index.day_of_year for year in years]).reshape(2, 2, 400)
    low, high, rain = (
        np.stack([year[name].to_numpy() for year in years]).reshape(2, 2, 400)
        for name in ("tmin_c", "tmax_c", "prcp_mm")
    )
    rain[1, 0, 300] = np.nan
    kept = [values.copy() for values in (rain, low, high, day)]
    together = moisture(rain, low, high, CHAMPION_LATITUDE, day, "straw", 237)
    for place in np.ndindex(2, 2):
        alone = moisture(rain[place], low[place], high[place], CHAMPION_LATITUDE, day[place], "straw", 237)
        np.testing.assert_array_equal(together[place], alone)
    for before, after in zip(kept, (rain, low, high, day), strict=True):
        np.testing.assert_array_equal(before, after)
    assert relative_water(np.zeros((3, 0)), np.zeros((3, 0)), "bare", np.nan).shape == (3, 0)


def test_ground_covers_are_those_of_the_soil_temperature() -> None:
    """The two models know the same ground covers, and refuse any other by name."""
    assert tuple(soil_water._EVAPORATION_LEFT) == GROUNDS
    with pytest.raises(UnknownNameError, match="unknown ground cover 'gravel'"):
        relative_water([0.0], [1.0], "gravel", 0)


# --- what that allows -----------------------------------------------------------------------------


@pytest.mark.parametrize("row", checks("moisture_factor"), ids=lambda row: row["given"])
def test_moisture_factor_is_as_published(row: dict[str, str]) -> None:
    """The factor takes its published value (source in the row), exactly."""
    assert moisture_factor(float(row["given"])) == float(row["expected"])


def test_the_model_rests_on_listed_sources() -> None:
    """Each key that the model names is an entry of sources.toml."""
    assert all(catalogue.source(key).title for key in soil_water.SOURCES)


# --- a loam, in numbers ---------------------------------------------------------------------------

# 25 % of water at the drained upper limit, 12 % at the lower limit, 45 % when full, over 200 mm: 26 mm from one limit
# to the other, and 40 mm above them.


@pytest.mark.parametrize(("rain", "scale"), [(0, 2.0), (10, 2.25), (20, 2.5), (38, 2.95), (40, 3.0), (60, 3.0)])
def test_rain_fills_a_loam(rain: float, scale: float) -> None:
    """Forty millimetres above the drained limit it is full."""
    assert relative_water([rain], [0.0], "bare", np.nan)[0] == pytest.approx(scale)


def test_a_standing_cover_draws_four_tenths() -> None:
    """Two of five millimetres a day come from the layer, down to the lower limit and no further."""
    water = relative_water(np.zeros(20), np.full(20, 5.0), "bare", np.nan)
    expected = [max(2 - 2 * (day + 1) / 26, 1.0) for day in range(20)]
    assert water.tolist() == pytest.approx(expected)


@pytest.mark.parametrize(("cover", "left"), [("bare", 1.0), ("straw", 0.5), ("black-plastic", 0.2)])
def test_ground_dries_by_its_cover(cover: str, left: float) -> None:
    """A fifth above the reference rate times what the cover leaves; beyond nine of nineteen millimetres ever slower."""
    water = relative_water(np.zeros(40), np.full(40, 5.0), cover, 0)
    dry, expected = 0.0, []
    for _ in range(40):
        dry += 1.2 * 5.0 * left * min((19 - dry) / 10, 1.0)
        expected.append(2 - dry / 26)
    assert water.tolist() == pytest.approx(expected)


def test_half_of_what_a_cover_left_dry_is_dry_on_top() -> None:
    """What is missing on the day of turning is spread over both halves: then the first ten centimetres evaporate."""
    water = relative_water(np.zeros(6), np.full(6, 5.0), "bare", 5)
    below = 10.0  # five days of two millimetres
    used = 6.0 * min((19 - below / 2) / 10, 1.0)
    assert water[5] == pytest.approx(2 - (below + used) / 26)
    late = relative_water(np.zeros(14), np.full(14, 5.0), "bare", 13)
    used = 6.0 * min((19 - 13.0) / 10, 1.0)
    # Below the lower limit the scale runs down to air-dry ground, at half of it: 12 mm further.
    assert late[13] == pytest.approx(1 - used / 12)


def test_five_unknown_days_are_passed_over_and_a_sixth_is_not() -> None:
    """Then the ground is taken to be moist again."""
    rain, demand = np.zeros(12), np.full(12, 5.0)
    for unknown, moist in ((5, False), (6, True)):
        holes = rain.copy()
        holes[3 : 3 + unknown] = np.nan
        water = relative_water(holes, demand, "bare", np.nan)
        assert bool(water[2 + unknown] == 2.0) is moist
        assert water[2] == pytest.approx(2 - 6 / 26)
        assert water[2 + unknown] == pytest.approx(2.0 if moist else 2 - 6 / 26)


def test_what_lies_on_top_holds_the_rain_of_few_days() -> None:
    """Four millimetres wet it through, four tenths of that are left a day on, nothing after four dry days."""
    rain = np.array([0.0, 4.0, 0.0, 0.0, 0.0, 0.0, 2.0, 2.0, 40.0, np.nan, 0.0])
    held = soil_water.litter_moisture(np.stack([rain, np.zeros(11)]))
    expected = [0.0, 1.0, 0.4, 0.16, 0.064, 0.0, 0.5, 0.7, 1.0]
    np.testing.assert_allclose(held[0, :9], expected, atol=1e-9)
    assert np.isnan(held[0]).tolist() == [False] * 9 + [True, False]
    assert held[0, 10] == pytest.approx(0.4 * 0.4)  # a day that is not known wets nothing and dries as any
    assert not held[1].any()
    assert soil_water.litter_moisture(np.full(3, np.nan)).tolist() == pytest.approx([np.nan] * 3, nan_ok=True)


def test_a_cover_that_lies_as_a_mulch_keeps_the_ground_moist_as_straw_does() -> None:
    """Moister than bare ground after a dry month."""
    dry = {
        cover: relative_water(np.zeros(30), np.full(30, 5.0), cover, 0)[-1] for cover in ("bare", "residue", "straw")
    }
    assert dry["bare"] < dry["residue"] == dry["straw"]


def test_each_place_has_its_own_unknown_days() -> None:
    """Three places side by side: nothing unknown, five days and six, in the rain or in what the air asks for."""
    rain, demand = np.zeros((3, 12)), np.full((3, 12), 5.0)
    rain[1, 3:8] = np.nan
    demand[2, 3:9] = np.nan
    water = relative_water(rain, demand, "bare", np.nan)
    for place in range(3):
        np.testing.assert_array_equal(water[place], relative_water(rain[place], demand[place], "bare", np.nan))
    assert water[2, 8] == 2.0
    np.testing.assert_allclose(water[:, 7], [2 - 16 / 26, 2 - 6 / 26, 2 - 6 / 26])


def test_the_sun_is_nearer_in_january() -> None:
    """Half a year apart the two halves of the earth change places, but for an orbit of eccentricity 0.0167.

    What falls goes with the square of the distance: (1.0167 / 0.9833)**2, a fifteenth more.
    """
    south, north = extraterrestrial_radiation(-40.0, 365.0), extraterrestrial_radiation(40.0, 182.5)
    assert south / north == pytest.approx((1.0167 / 0.9833) ** 2, abs=0.002)


def test_the_ground_is_turned_on_the_first_whole_day() -> None:
    """Part of a day counts for the next one; before the axis it is bare from the first on, beyond it never."""
    rain, demand = np.zeros(10), np.full(10, 5.0)

    def water(turned: float) -> list[float]:
        return relative_water(rain, demand, "bare", turned).tolist()

    assert water(3.4) == water(4.0) != water(3.0)
    assert water(-7.0) == water(0.0) != water(1.0)
    assert water(30.0) == water(10.0) == water(np.nan) != water(9.0)


def test_a_scorching_day_takes_no_more_than_is_left_on_top() -> None:
    """Nineteen millimetres can go; a day that asks for twenty-four takes all of them, and the next one none."""
    water = relative_water(np.zeros(2), np.full(2, 20.0), "bare", 0)
    assert water.tolist() == pytest.approx([2 - 19 / 26] * 2)


def test_between_the_published_points_the_factor_goes_straight() -> None:
    """None below the lower limit, half of it a quarter of the way up, all of it up to the drained limit, then less."""
    assert moisture_factor([0.5, 1.25, 1.75, 2.5]).tolist() == [0.0, 0.5, 1.0, 0.75]


def test_ground_is_worked_once_a_tenth_of_its_water_has_gone() -> None:
    """2.6 of 26 mm, which a cover draws on a day that asks for 6.5; on a day that asks for 6 it still smears."""
    for asked, workable in ((6.0, False), (6.6, True)):
        assert bool(relative_water([0.0], [asked], "bare", np.nan)[0] <= soil_water.WORKABLE) is workable
