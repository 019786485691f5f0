"""The season as it is known, and as past years would finish it."""

from __future__ import annotations

import invented
import numpy as np
import pandas as pd
import pytest

from covercrop.base.errors import WeatherGapError
from covercrop.base.records import DailyWeather
from covercrop.weather.forecast_error import MEMBERS, lead_sd
from covercrop.weather.outlook import FEWEST_YEARS, past_seasons, season_outlook, years_earlier

ON = np.datetime64("2021-04-20")
SOWN = np.datetime64("2020-09-15")


def record(first: str = "2000-01-01", last: str = "2021-04-20") -> DailyWeather:
    """Weather whose minimum is its day number, so that every day can be told from every other."""
    days = pd.date_range(first, last, name="date")
    number = (days - pd.Timestamp("2000-01-01")).days.to_numpy(dtype=float)
    table = pd.DataFrame({"tmin_c": number, "tmax_c": number + 10, "prcp_mm": 0.0}, index=days)
    table["origin"] = "observed"
    table["flag"] = ""
    return DailyWeather(table=table)


def number(day: str) -> float:
    return float((np.datetime64(day) - np.datetime64("2000-01-01")).astype(int))


@pytest.mark.parametrize(
    ("day", "years", "expected"),
    [
        ("2020-02-29", 1, "2019-02-28"),
        ("2020-02-29", 4, "2016-02-29"),
        ("2021-03-01", 1, "2020-03-01"),
        ("2021-12-31", 30, "1991-12-31"),
    ],
)
def test_the_same_day_of_another_year(day: str, years: int, expected: str) -> None:
    """A calendar day stays itself; 29 February falls back on the 28th."""
    assert years_earlier(np.array([day], dtype="datetime64[D]"), np.array([years]))[0, 0] == np.datetime64(expected)


def test_members_share_the_past_and_differ_in_what_is_to_come() -> None:
    """Up to today every member is the record; from tomorrow on each is its own past year, day for day."""
    outlook = season_outlook(record(), SOWN, 400, ON)
    assert outlook.complete
    assert outlook.known == outlook.observed.sum() == outlook.position(ON) + 1
    assert (outlook.tmin[:, : outlook.known] == number("2020-09-15") + np.arange(outlook.known)).all()
    tomorrow = outlook.known
    for row, year in enumerate(outlook.years):
        assert outlook.tmin[row, tomorrow] == number(f"{year + 1}-04-21")
    assert (outlook.tmean == (outlook.tmin + outlook.tmax) / 2).all()


def test_nothing_after_today_is_used() -> None:
    """A record that runs on past the day asked about gives the same outlook as one that ends there."""
    ending = season_outlook(record(last="2021-04-20"), SOWN, 400, ON)
    running_on = season_outlook(record(last="2022-12-31"), SOWN, 400, ON)
    assert running_on.years == ending.years
    assert (running_on.tmin == ending.tmin).all()


def test_the_record_is_not_changed() -> None:
    """Reading an outlook leaves the weather as it was, and the outlook does not share its memory."""
    weather = record()
    before = weather.table.copy()
    outlook = season_outlook(weather, SOWN, 400, ON)
    outlook.tmin[:] = -99
    pd.testing.assert_frame_equal(weather.table, before)


def test_too_few_past_years_give_no_forecast() -> None:
    """With less history than is needed the season ends today, and the reason is said."""
    outlook = season_outlook(record(first="2015-01-01"), SOWN, 400, ON)
    assert not outlook.complete
    assert outlook.years == ()
    assert outlook.days[-1] == ON
    assert outlook.tmin.shape == (1, outlook.known)
    assert f"{FEWEST_YEARS} are needed" in outlook.notes[0]


def test_just_enough_past_years_do() -> None:
    """The limit itself counts."""
    outlook = season_outlook(record(first=f"{2021 - FEWEST_YEARS}-01-01"), SOWN, 400, ON)
    assert len(outlook.years) == FEWEST_YEARS
    assert outlook.complete


def test_a_past_year_with_a_hole_is_left_out() -> None:
    """A year that lacks a day of the rest of the season is no member; one filled day does not matter."""
    weather = record()
    weather.table.loc["2013-05-10", ["tmin_c", "tmax_c"]] = np.nan
    weather.table.loc["2013-05-10", "origin"] = "missing"
    weather.table.loc["2015-05-10", "origin"] = "filled"
    years = season_outlook(weather, SOWN, 400, ON).years
    assert 2012 not in years
    assert 2014 in years


def test_a_past_year_that_is_mostly_climatology_is_left_out() -> None:
    """Filled weather is too smooth to stand for a year."""
    weather = record()
    weather.table.loc["2013-05-01":"2013-06-15", "origin"] = "climatology"
    assert 2012 not in season_outlook(weather, SOWN, 400, ON).years


def with_forecast(days: int, *, first: str = "2000-01-01", mean: float | None = None) -> DailyWeather:
    """Invented weather whose days after :data:`ON` are forecast, of one temperature if one is given."""
    weather = invented.weather(first, str(ON + invented.days(days)))
    ahead = weather.table.index > pd.Timestamp(str(ON))
    weather.table.loc[ahead, "origin"] = "forecast"
    if mean is not None:
        weather.table.loc[ahead, "tmin_c"] = mean - 5
        weather.table.loc[ahead, "tmax_c"] = mean + 5
    return weather


def test_forecast_rows_come_between() -> None:
    """Rows flagged as forecast after today are counted, kept as the mean of the members, and joined by past years."""
    outlook = season_outlook(with_forecast(7, mean=14.0), SOWN, 400, ON)
    assert outlook.forecast == 7
    ahead = slice(outlook.known, outlook.known + 7)
    assert outlook.tmean[:, ahead].mean(axis=0) == pytest.approx(np.full(7, 14.0))
    assert (outlook.tmax - outlook.tmin)[:, ahead] == pytest.approx(np.full((len(outlook.years), 7), 10.0))
    assert np.ptp(outlook.tmin[:, outlook.known + 7]) > 0
    assert "7 forecast days are used, to 2021-04-27; their daily mean is taken to be good to 1.2" in outlook.notes[0]


@pytest.mark.parametrize("first", ["2000-01-01", "2019-01-01"])
def test_the_error_of_a_forecast_grows_with_its_lead(first: str) -> None:
    """The spread of the members is that of the lead, until it is that of the season, with past years and without."""
    outlook = season_outlook(with_forecast(12, first=first, mean=14.0), SOWN, 400, ON)
    spread = outlook.tmean[:, outlook.known : outlook.known + 12].std(axis=0)
    assert spread[:5] == pytest.approx(lead_sd(5), rel=0.05)
    assert (np.diff(spread[:6]) > 0).all()
    assert (spread <= lead_sd(12) * 1.001).all()
    assert outlook.complete == (first == "2000-01-01")
    assert outlook.tmin.shape[0] == (len(outlook.years) or MEMBERS)


def test_without_a_forecast_nothing_is_added() -> None:
    """The season up to today is the record's own in every member."""
    with_rows, without = (
        season_outlook(invented_record, SOWN, 400, ON) for invented_record in (with_forecast(9), with_forecast(0))
    )
    assert (with_rows.tmin[:, : without.known] == without.tmin[:, : without.known]).all()
    assert np.ptp(without.tmin[:, : without.known], axis=0).max() == 0
    assert not any("forecast days" in note for note in without.notes)


def test_a_member_errs_for_days_on_end() -> None:
    """What is too warm on the third day ahead is mostly too warm on the fourth, as weather is: more than half alike."""
    outlook = season_outlook(with_forecast(10, mean=14.0), SOWN, 400, ON)
    error = outlook.tmean[:, outlook.known : outlook.known + 10] - 14.0
    assert np.mean([np.corrcoef(error[:, k], error[:, k + 1])[0, 1] for k in range(9)]) > 0.5


def test_days_since_the_record_ended_are_forecast() -> None:
    """A record that is ten days old is used, and said to be."""
    outlook = season_outlook(record(last="2021-04-10"), SOWN, 400, ON)
    assert outlook.known == outlook.position(np.datetime64("2021-04-10")) + 1
    assert "2021-04-10; the 10 days since are taken from past years" in outlook.notes[0]


@pytest.mark.parametrize(
    ("weather", "message"),
    [
        (record(first="2020-10-01"), "begins on 2020-10-01, after sowing on 2020-09-15; give a record"),
        (record(last="2020-09-01"), "no weather since sowing on 2020-09-15 .last observed day: 2020-09-01.; bring"),
    ],
)
def test_a_season_that_is_not_known_from_its_start_is_refused(weather: DailyWeather, message: str) -> None:
    """Without weather from sowing on there is nothing to go by."""
    with pytest.raises(WeatherGapError, match=message):
        season_outlook(weather, SOWN, 400, ON)


def test_a_hole_in_the_season_is_named() -> None:
    """A gap that was too long to fill is named with its first day and its length."""
    weather = record()
    weather.table.loc["2020-12-01":"2021-01-20", ["tmin_c", "tmax_c"]] = np.nan
    weather.table.loc["2020-12-01":"2021-01-20", "origin"] = "missing"
    with pytest.raises(WeatherGapError, match=r"gap from 2020-12-01 .* \(51 days") as caught:
        season_outlook(weather, SOWN, 400, ON)
    assert caught.value.gaps == (("2020-12-01", "2021-01-20"),)


def test_a_record_that_ended_years_ago_keeps_its_first_years() -> None:
    """A season of 2040 has the same past as one of 2021, where the record ends in 2020."""
    weather = record(last="2020-12-31")
    soon, late = (
        past_seasons(weather, np.datetime64(f"{year}-07-01"), 549, np.datetime64(f"{year}-06-01"))
        for year in (2021, 2040)
    )
    assert soon.years == late.years == tuple(range(2019, 1999, -1))


def test_not_reached_is_nat() -> None:
    """Day indexes become dates, NaN becomes NaT."""
    outlook = season_outlook(record(), SOWN, 400, ON)
    dates = outlook.dates(np.array([0.0, 10.0, np.nan]))
    assert list(dates[:2].astype(str)) == ["2020-09-15", "2020-09-25"]
    assert np.isnat(dates[2])


def test_a_replay_uses_the_years_on_either_side_nearest_first() -> None:
    """A season that is over is finished by the years before and after it, in turn."""
    on = np.datetime64("2010-04-01")
    outlook = season_outlook(record(), np.datetime64("2009-09-15"), 360, on, replay=True)
    assert outlook.years[:4] == (2008, 2010, 2007, 2011)
    assert outlook.tmin[0, outlook.known] == number("2009-04-02")
    assert outlook.tmin[1, outlook.known] == number("2011-04-02")


def test_a_replay_never_sees_what_it_foretells() -> None:
    """No member holds a day of the season itself that came after the day of the forecast; nor do forecast rows."""
    start, length = np.datetime64("2009-09-15"), 360
    weather = record()
    weather.table.loc["2010-04-02":"2010-04-10", "origin"] = "forecast"
    for on in ("2009-12-31", "2010-02-15", "2010-04-01"):
        outlook = season_outlook(weather, start, length, np.datetime64(on), replay=True)
        own = (outlook.tmin[:, outlook.known :] > number(on)) & (
            outlook.tmin[:, outlook.known :] <= number("2009-09-15") + length - 1
        )
        assert outlook.forecast == 0
        assert len(outlook.years) >= FEWEST_YEARS
        assert not own.any()
