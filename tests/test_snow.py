"""Snow on the ground and the crowns under it: worked by hand, read from files, and said."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented import field, season, weather

from covercrop.base.errors import WeatherFileError
from covercrop.base.records import Station
from covercrop.field.entries import ScoutingNote
from covercrop.models.crown import crown_temperature, felt_share
from covercrop.models.snow import lying_snow, snow_depth
from covercrop.render.words import answer
from covercrop.season.plan import Plan, make_plan
from covercrop.season.winter_part import snow_from
from covercrop.weather import stations, store
from covercrop.weather.daily import blend, daily_weather
from covercrop.weather.own_file import read_weather
from covercrop.weather.record import record_of

# --- the models -----------------------------------------------------------------------------------


def test_snow_by_hand():
    """20 mm on a cold day are 20 cm; they settle by a tenth, and two degrees melt 9 mm of the water and its share."""
    depth = snow_depth([-5.0, -5.0, 2.0, 2.0, 2.0], [20.0, 0.0, 0.0, 0.0, 0.0])
    np.testing.assert_allclose(depth[:3], [200.0, 180.0, 162.0 * 11 / 20])
    assert depth[3] == pytest.approx(162.0 * 11 / 20 * 0.9 * 2 / 11)
    assert depth[4] == 0.0


def test_snow_settles_to_a_greatest_density():
    """After two months of frost the 35 mm of water lie 10 cm deep, at 350 kg/m3."""
    rain = np.zeros(60)
    rain[0] = 35.0
    assert snow_depth(np.full(60, -5.0), rain)[-1] == pytest.approx(100.0)


def test_half_of_what_falls_between_snow_and_rain_lies():
    """Half way from -2 to 1 degC; rain brings none, and what is not known neither."""
    assert snow_depth([-0.5], [10.0])[0] == pytest.approx(50.0)
    assert snow_depth([1.0], [10.0])[0] == 0.0
    np.testing.assert_array_equal(snow_depth([-5.0, np.nan], [np.nan, 5.0]), [0.0, 0.0])


def test_snow_of_many_is_that_of_each_alone():
    """Leading axes change nothing."""
    rng = np.random.default_rng(3)
    tmean, rain = rng.normal(-2, 6, (2, 3, 90)), rng.exponential(2, (2, 3, 90))
    together = snow_depth(tmean, rain)
    for place in np.ndindex(2, 3):
        np.testing.assert_allclose(together[place], snow_depth(tmean[place], rain[place]))


def by_loop(tmean, rain):
    """Depth of one place, from a plain account of its water and its depth [mm]."""
    water, deep, depths = 0.0, 0.0, []
    for air, fallen in zip(tmean, rain, strict=True):
        new = fallen * min(max((1 - air) / 3, 0), 1)  # all snow at -2 degC, none at 1
        whole = water + new
        water = max(whole - 4.5 * max(air, 0), 0)
        deep = max((deep * 0.9 + new / 0.1) * water / whole, water / 0.35) if water else 0.0
        depths.append(deep)
    return depths


def test_snow_comes_and_goes_as_in_a_plain_account():
    """Place by place: two winters with a bare summer between, a thaw with new snow in it, and no snow at all."""
    tmean = np.array(
        [
            [-4.0, -1.0, 0.5, 6.0, 9.0, 9.0, -3.0, 0.5, 0.0, 5.0],
            [8.0, -5.0, -6.0, 0.9, -0.5, 3.0, 1.0, 1.5, -9.0, -9.0],
            [5.0] * 10,
        ]
    )
    rain = np.array([[9.0, 5.0, 4.0, 8.0, 0.0, 2.0, 3.0, 6.0, 0.0, 1.0], [4.0] * 10, [9.0] * 10])
    depth = snow_depth(tmean, rain)
    np.testing.assert_allclose(depth, [by_loop(*place) for place in zip(tmean, rain, strict=True)], atol=1e-9)
    np.testing.assert_allclose(snow_depth(tmean[0], rain[0]), depth[0], atol=1e-9)
    assert (depth[0, 4:6] == 0).all()
    assert depth[0, 6] > 0
    assert not depth[2].any()


def test_snow_lies_on_as_long_as_there_is_water_in_it():
    """A thin cover outlasts the last snowfall, a degree and 4.5 mm a day."""
    np.testing.assert_allclose(
        snow_depth([-5.0, 1.0, 1.0, 1.0], [10.0, 0.0, 0.0, 0.0])[1:], [49.5, 8.1, 0.0], atol=1e-9
    )


def test_snow_that_was_measured_now_and_then_is_none_elsewhere_without_rain():
    """Nothing is worked out from rain that is not known; what was measured throughout is as it was."""
    measured, unknown = np.array([[np.nan, 70.0], [np.nan, np.nan]]), np.full((2, 2), np.nan)
    np.testing.assert_array_equal(lying_snow(measured, np.full((2, 2), -5.0), unknown), [[0.0, 70.0], [0.0, 0.0]])
    known = np.array([[3.0, 70.0], [0.0, 8.0]])
    np.testing.assert_array_equal(lying_snow(known, unknown, unknown), known)
    rain = np.array([10.0, np.nan])  # one day's is enough
    np.testing.assert_allclose(lying_snow(np.full(2, np.nan), np.full(2, -5.0), rain), [100.0, 90.0])


def test_measured_snow_comes_before_that_of_temperature_and_rain():
    """Day by day; none where nothing is known."""
    measured = np.array([np.nan, 70.0, np.nan])
    tmean, rain = np.full(3, -5.0), np.array([10.0, 0.0, 0.0])
    np.testing.assert_allclose(lying_snow(measured, tmean, rain), [100.0, 70.0, 81.0])
    np.testing.assert_array_equal(lying_snow(np.full(3, np.nan), tmean, np.full(3, np.nan)), [0.0, 0.0, 0.0])


@pytest.mark.parametrize(("snow", "share"), [(0.0, 0.805), (50.0, 0.58), (150.0, 0.4), (400.0, 0.4), (np.nan, 0.805)])
def test_crowns_as_ceres_has_them(snow, share):
    """T (0.4 + 0.0018 (depth - 15)^2) + 2, by hand."""
    assert felt_share(snow) == pytest.approx(share)
    assert crown_temperature(np.full(4, -20.0), snow)[-1] == pytest.approx(2 - 20 * share)


def test_crowns_follow_three_days_and_the_ground_is_no_warmer_than_frozen():
    """The mean of the last three; a slight frost leaves them at freezing; an unknown day hides three."""
    felt = crown_temperature([6.0, 3.0, 0.0, -4.0, np.nan, 0.0, 0.0, 3.0])
    np.testing.assert_allclose(felt, [6.0, 4.5, 3.0, 0.0, np.nan, np.nan, np.nan, 1.0])


def test_the_first_days_have_fewer_before_them():
    """One day is its own mean, two are that of both; the axis may be as short."""
    np.testing.assert_allclose(crown_temperature([-20.0]), [2 - 20 * 0.805])
    np.testing.assert_allclose(crown_temperature([[-20.0, -10.0], [4.0, 8.0]]), [[-14.1, 2 - 15 * 0.805], [4.0, 6.0]])
    assert crown_temperature(np.empty((3, 0))).shape == (3, 0)


def test_crowns_above_freezing_are_as_warm_as_the_air():
    """The relation is one of frost: half a degree above it is felt whole, half a degree below is freezing."""
    assert crown_temperature([0.5]) == 0.5
    assert crown_temperature([-0.5]) == 0.0


# --- reading --------------------------------------------------------------------------------------

DAYS = pd.date_range("2025-12-01", periods=4)


@pytest.mark.parametrize(
    ("title", "units", "scale"),
    [
        ("snow_depth_cm", "metric", 10.0),
        ("Snow depth (mm)", "metric", 1.0),
        ("SNWD in", "metric", 25.4),
        ("snow depth", "us", 25.4),
        ("Depth of snow [cm]", "us", 10.0),
    ],
)
def test_the_depth_of_the_snow_is_read_in_its_unit(tmp_path, title, units, scale):
    """In the unit of its title, in a file of US units in inches; a trace is none and an empty cell is not known."""
    values = ("25,35" if units == "us" else "-5,1",) * 4
    rows = "".join(
        f"{day:%Y-%m-%d},{pair},{depth}\n" for day, pair, depth in zip(DAYS, values, ("0", "T", "", "4"), strict=True)
    )
    path = tmp_path / "own.csv"
    path.write_text(f"date,tmin,tmax,{title}\n{rows}", encoding="utf-8")
    table = read_weather(path, units, sensor=False).table
    np.testing.assert_allclose(table["snow_depth_mm"], [0.0, 0.0, np.nan, 4 * scale])
    assert table["prcp_mm"].isna().all()


def test_snow_without_a_unit_is_refused(tmp_path):
    """A factor of ten or twenty-five lies between them."""
    path = tmp_path / "own.csv"
    path.write_text("date,tmin,tmax,snow_depth\n2025-12-01,-5,1,3\n", encoding="utf-8")
    with pytest.raises(
        WeatherFileError, match=r"own\.csv: column 'snow_depth' does not say its unit; put mm, cm or in"
    ):
        read_weather(path)


def test_ghcn_snow_is_in_millimetres_and_its_flags_are_heeded(tmp_path):
    """SNWD is in whole millimetres where the temperatures are in tenths."""
    lines = []
    for day, (low, high, snow, flag) in enumerate(((-50, 10, 51, ""), (-60, 160, 76, "I"), (-50, 10, 0, "")), start=1):
        for name, value, wrong in (("TMIN", low, ""), ("TMAX", high, ""), ("SNWD", snow, flag)):
            lines.append(f"USW00014839,202512{day:02d},{name},{value},,{wrong},W,\n")
    path = tmp_path / "station.csv"
    path.write_text("".join(lines), encoding="utf-8")
    table = read_weather(path).table
    np.testing.assert_array_equal(table["snow_depth_mm"], [51.0, np.nan, 0.0])
    assert list(table["flag"]) == ["", "", ""]


def test_a_station_gives_snow_in_centimetres():
    """Meteostat counts the snow on the ground (snwd) in whole centimetres; a server without the column has none."""
    made = pd.DataFrame(
        {"tmin": [-5.0, -6.0], "tmax": [1.0, 0.0], "prcp": [0.0, 2.0], "snwd": [5, 7]},
        index=pd.date_range("2026-01-01", periods=2),
    )
    for name in ("tmin", "tmax", "prcp", "snwd"):
        made[f"{name}_source"] = "ghcnd"
    _, readings = stations._split(made, {"mosmix"}, model=False)
    np.testing.assert_array_equal(readings[3], [50.0, 70.0])
    _, without = stations._split(made.drop(columns=["snwd", "snwd_source"]), {"mosmix"}, model=False)
    assert np.isnan(without[3]).all()
    assert "snwd" in stations._COLUMNS


def test_a_station_kept_before_there_was_snow_is_asked_again(tmp_path):
    """Its three rows of readings stay, without snow, and every year of it is asked for again."""
    kept = store.Kept(
        station=Station(id="ZZ001", name="Old", latitude=40.0, longitude=-86.0),
        days=np.array(["2020-01-01"], dtype="datetime64[D]"),
        readings=np.array([[-5.0], [1.0], [0.0]]),
        fetched={2020: np.datetime64("2021-06-01")},
        ahead_readings=np.empty((3, 0)),
    )
    assert store.save(tmp_path, kept)
    found, said = store.looked_into(tmp_path, "ZZ001")
    assert said == ""
    assert found is not None
    np.testing.assert_array_equal(found.readings[:, 0], [-5.0, 1.0, 0.0, np.nan])
    assert not store.is_fresh(found, 2020, np.datetime64("2026-01-01"))


def frame(snow: list[float], tmin: float = -5.0) -> pd.DataFrame:
    return pd.DataFrame(
        {"tmin_c": tmin + np.arange(4) / 4, "tmax_c": tmin + 9 + np.arange(4) / 3, "snow_depth_mm": snow}, index=DAYS
    )


def test_snow_that_cannot_be_is_taken_out_and_flagged():
    """Less than none, deeper than any, and new after a warm night."""
    table = daily_weather(frame([-1.0, 20_000.0, 0.0, 40.0])).table
    np.testing.assert_array_equal(table["snow_depth_mm"], [np.nan, np.nan, 0.0, 40.0])
    assert list(table["flag"]) == ["out-of-range", "out-of-range", "", ""]
    warm = daily_weather(frame([0.0, 40.0, 40.0, 0.0], tmin=12.0))
    np.testing.assert_array_equal(warm.table["snow_depth_mm"], [0.0, np.nan, 40.0, 0.0])
    assert any("new snow after a night in which none can lie" in note for note in warm.notes)


def test_the_snow_of_a_station_fills_that_of_the_field():
    """What the grower measured stands."""
    both = blend(daily_weather(frame([5.0, np.nan, np.nan, 8.0])), daily_weather(frame([1.0, 2.0, np.nan, 4.0])))
    np.testing.assert_array_equal(both.table["snow_depth_mm"], [5.0, 2.0, np.nan, 8.0])
    np.testing.assert_array_equal(record_of(both).snow, both.table["snow_depth_mm"])


# --- what is said ---------------------------------------------------------------------------------


def winter_of(snow: float | None, *notes: ScoutingNote) -> Plan:
    """A plan of hairy vetch with a fortnight of January at -24 degC under so much snow; None where it is not known."""
    record = weather("2010-01-01", last="2026-03-20", mean=8.0)
    table = record.table.copy()
    week = (table.index >= "2026-01-10") & (table.index <= "2026-01-24")
    table.loc[week, "tmin_c"], table.loc[week, "tmax_c"] = -28.0, -20.0
    table["prcp_mm"] = np.nan
    table["snow_depth_mm"] = np.nan if snow is None else np.where(week, snow, 0.0)
    plot = field("hairy-vetch", sown="2025-09-10", scouting=notes)
    return make_plan(plot, replace(record, table=table), np.datetime64("2026-03-20"))


def test_what_killed_or_protected_it_is_said_with_its_day():
    """No snow, deep snow, and snow that is not known: three different sentences."""
    bare = winter_of(0.0)
    assert (bare.state, bare.winter.cause, bare.winter.snow_from) == ("winter-killed", "bare", "measured")
    day = answer.day_month(bare.winter.hardest)
    assert f"since no snow lay in the cold week of {day}" in answer.headline(bare)
    saved = winter_of(200.0)
    assert (saved.state == "winter-killed", saved.winter.cause) == (False, "snow")
    assert f"20 cm of snow kept it alive in the cold week of {day}" in answer.winter(saved)
    assert "8 in of snow" in answer.winter(saved, us=True)
    unknown = winter_of(None)
    assert unknown.winter.snow_from == "none"
    assert "unless snow covered it" in answer.headline(unknown)
    assert any("neither its depth nor the rain is known" in note for note in unknown.provenance.notes)


def test_a_winter_without_frost_has_nothing_to_tell():
    """No day, no sentence."""
    mild = make_plan(field(), weather("2010-01-01", mean=20.0, swing=3.0), np.datetime64("2026-03-01"))
    assert np.isnat(mild.winter.hardest)
    assert answer.winter(mild) == ""


@pytest.mark.parametrize(("rain_on", "source"), [(10, "worked-out"), (0, "no-catch")])
def test_a_gauge_that_catches_no_snow_is_told_by_its_dry_frosts(rain_on, source):
    """A hundred days at -10 degC: wet on one of ten, or on none, and rain in autumn both times."""
    outlook = season(np.concatenate([np.full(30, 8.0), np.full(100, -10.0)]), length=130)
    outlook.prcp[:, :30] = 4.0
    outlook.prcp[:, 30 : 30 + rain_on] = 4.0
    assert snow_from(outlook) == source


def test_a_note_that_it_was_seen_alive_settles_the_cold_before_it():
    """The same winter, seen standing in February."""
    assert winter_of(0.0).stand.survival < 0.05
    assert winter_of(0.0, ScoutingNote(date=dt.date(2026, 2, 20), bbch=25)).stand.survival > 0.9
