"""A stretch in the other unit inside a record is refused and named; weather, however odd, is not."""

from __future__ import annotations

import re

import invented
import numpy as np
import pandas as pd
import pytest

from covercrop.base.errors import WeatherFileError
from covercrop.weather.daily import daily_weather
from covercrop.weather.one_unit import surest_stretch
from covercrop.weather.own_file import read_weather

BOTH = ("tmin_c", "tmax_c")
NAMED = re.compile(r"(\d{4}-\d{2}-\d{2}) to (\d{4}-\d{2}-\d{2})(?=,| and| seem)")
SEASON = ("2025-08-20", "2026-04-20")
DECADE = ("2016-05-01", "2026-04-20")


def record(first: str, last: str, **more: float) -> pd.DataFrame:
    """Invented readings, rounded as a file has them [degC]."""
    return invented.weather(first, last, **more).table[list(BOTH)].round(1)


def misread(celsius: pd.DataFrame, units: str) -> pd.DataFrame:
    """What is read of days that were written in the unit that was not declared [degC]."""
    return (celsius * 1.8 + 32).round(1) if units == "metric" else (celsius - 32) / 1.8


def with_stretch(frame: pd.DataFrame, first: str, last: str, units: str, columns: tuple[str, ...] = BOTH):
    """The record with some of its days in the unit that was not declared."""
    frame = frame.copy()
    frame.loc[first:last, list(columns)] = misread(frame.loc[first:last, list(columns)], units)
    return frame


def refusal(frame: pd.DataFrame, units: str) -> str:
    with pytest.raises(WeatherFileError) as caught:
        daily_weather(frame, where="plot.csv", units=units)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("plot.csv: ")
    return message


def assert_named(message: str, *spans: tuple[str, str], within: int = 3) -> None:
    """The message names just these stretches, each end to within some days."""
    found = np.array(NAMED.findall(message), dtype="datetime64[D]")
    assert found.shape == (len(spans), 2), message
    assert (np.abs(found - np.array(spans, dtype="datetime64[D]")) <= np.timedelta64(within, "D")).all(), message


# --- found ----------------------------------------------------------------------------------------------

STRETCHES = {
    "a month of the season": (DECADE, "2026-03-01", "2026-03-31"),
    "ten days of the season": (DECADE, "2026-04-02", "2026-04-11"),
    "the tail": (DECADE, "2026-04-08", "2026-04-20"),
    "a past spring": (DECADE, "2021-04-10", "2021-05-09"),
    "across a new year": (DECADE, "2019-12-20", "2020-01-15"),
    "the head": (DECADE, "2016-05-01", "2016-06-14"),
    "three years": (DECADE, "2018-02-11", "2021-02-10"),
    "a winter of a record of two": (("2024-08-20", "2026-04-20"), "2026-01-05", "2026-03-05"),
    "a month of the only season": (SEASON, "2026-02-20", "2026-03-21"),
    "ten days of the only season": (SEASON, "2025-10-11", "2025-10-20"),
    "the head of the only season": (SEASON, "2025-08-20", "2025-09-30"),
    "the tail of the only season": (SEASON, "2026-03-20", "2026-04-20"),
    "most of the only season": (SEASON, "2025-10-15", "2026-04-20"),
}


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("case", STRETCHES)
def test_a_stretch_in_the_other_unit_is_refused_and_named(case: str, units: str) -> None:
    """Anywhere in a long record or a short one, in either direction; its first and last day are named."""
    span, first, last = STRETCHES[case]
    message = refusal(with_stretch(record(*span), first, last, units), units)
    assert_named(message, (first, last))
    declared, other = ("degC", "degF") if units == "metric" else ("degF", "degC")
    assert f"seem to be in {other} in a record of {declared} (they are" in message
    assert ("warmer" if units == "metric" else "colder") in message
    assert message.endswith(f"; write those days in {declared}, or delete them")


@pytest.mark.parametrize("units", ["metric", "us"])
def test_stretches_of_several_years_do_not_hide_each_other(units: str) -> None:
    """The same month in four of ten years is named four times in one line."""
    frame = record(*DECADE)
    spans = [(f"{year}-03-01", f"{year}-03-31") for year in (2018, 2020, 2023, 2026)]
    for first, last in spans:
        frame = with_stretch(frame, first, last, units)
    assert_named(refusal(frame, units), *spans)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("column", BOTH)
@pytest.mark.parametrize("span", [DECADE, SEASON], ids=["decade", "season"])
def test_one_column_alone(span: tuple[str, str], column: str, units: str) -> None:
    """The minima or the maxima alone are found and said to be meant."""
    message = refusal(with_stretch(record(*span), "2026-02-25", "2026-04-05", units, (column,)), units)
    assert f"plot.csv: the {'minima' if column == 'tmin_c' else 'maxima'} of 2026-" in message
    assert_named(message, ("2026-02-25", "2026-04-05"))


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_stretch_with_gaps_in_it(units: str) -> None:
    """Half of its days missing, and a month missing before it, a stretch is still one."""
    frame = with_stretch(record(*DECADE), "2026-02-20", "2026-04-01", units)
    kept = (frame.index < "2026-01-20") | (frame.index >= "2026-02-20")
    kept &= (frame.index < "2026-02-21") | (frame.index > "2026-03-30") | (np.arange(len(frame)) % 2 == 0)
    assert_named(refusal(frame[kept], units), ("2026-02-20", "2026-04-01"))


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_stretch_in_the_south(units: str) -> None:
    """Where July is winter nothing is different."""
    frame = record("2018-01-01", "2026-10-20", coldest_day=202)
    assert_named(refusal(with_stretch(frame, "2026-08-11", "2026-09-05", units), units), ("2026-08-11", "2026-09-05"))


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_stretch_converted_twice(units: str) -> None:
    """A month that was in the declared unit and was made so once more is as wrong, and said to be so."""
    other = "us" if units == "metric" else "metric"
    message = refusal(with_stretch(record(*DECADE), "2026-03-01", "2026-03-31", other), units)
    assert f"seem to have been made {'degC' if units == 'metric' else 'degF'} twice" in message
    assert_named(message, ("2026-03-01", "2026-03-31"))


def test_decimals_tell_a_short_stretch_in_winter() -> None:
    """Ten cold days in tenths of degC among whole degF say more than the same days in whole numbers."""
    frame = record(*DECADE)
    whole = ((frame * 1.8 + 32).round() - 32) / 1.8
    sure = []
    for digits in (1, 0):
        written = whole.copy()
        written.loc["2026-01-11":"2026-01-20"] = (frame.loc["2026-01-11":"2026-01-20"].round(digits) - 32) / 1.8
        one = surest_stretch(frame.index.to_numpy().astype("datetime64[D]"), written.to_numpy().T, "us")
        assert one is not None
        sure.append(one.surely)
    assert sure[0] > 1
    assert sure[0] > sure[1] + 0.3


def test_order_and_layout_hide_nothing(tmp_path) -> None:
    """Rows in any order, semicolons and decimal commas: the stretch is named alike."""
    frame = with_stretch(record(*SEASON), "2026-02-20", "2026-03-21", "metric")
    rows = [f"{day:%Y-%m-%d};{low:.1f};{high:.1f}".replace(".", ",") for day, low, high in frame.itertuples()]
    path = tmp_path / "plot.csv"
    path.write_text("\n".join(["Day;Low;High", *rows[::-1], ""]), encoding="utf-8")
    with pytest.raises(WeatherFileError) as caught:
        read_weather(path)
    assert str(caught.value) == refusal(frame, "metric")


# --- left alone -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("kelvin", [-15.0, -12.0, 12.0, 15.0])
@pytest.mark.parametrize("span", [DECADE, SEASON], ids=["decade", "season"])
def test_heat_and_cold_waves_are_weather(span: tuple[str, str], kelvin: float, units: str) -> None:
    """Twelve days far from the season, which come and go within two, are no other unit."""
    frame = record(*span)
    for first in ("2025-09-20", "2026-01-10", "2026-03-25"):
        wave = frame.loc[first:].index[:14]
        shape = np.r_[0.4, 0.8, np.ones(10), 0.8, 0.4] * kelvin
        frame.loc[wave] += shape[: len(wave), None]
    table = daily_weather(frame, units=units).table
    assert (table["origin"] == "observed").all()


def test_the_hardest_winters_on_record_are_weather(champion, clemson) -> None:
    """December 1983 in Nebraska, 17 K below its season for two weeks, and 91 years of South Carolina, in both units."""
    for frame in (champion, champion["1982-09":"1984-04"], champion["1983-09":"1984-04"], clemson):
        for units in ("metric", "us"):
            daily_weather(frame, units=units)


@pytest.mark.parametrize("years", [1, 2, 3, 6])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_records_cut_anywhere_are_left_alone(champion, clemson, units: str, years: int) -> None:
    """A record that begins and ends on any day is no stretch of another unit."""
    for frame in (champion, clemson["1980":]):
        for last in range(years * 366, len(frame), 1511):
            daily_weather(frame.iloc[last - years * 365 : last], units=units)


def test_a_stuck_logger_is_stuck_and_nothing_else() -> None:
    """Two weeks of the same two numbers, which would do as Fahrenheit, stay a fault of the sensor."""
    frame = record(*DECADE)
    frame.loc["2026-02-10":"2026-02-23"] = [30.0, 48.0]
    flag = daily_weather(frame).table["flag"]
    assert list(flag.index[flag == "stuck-sensor"]) == list(pd.date_range("2026-02-10", "2026-02-23"))


def test_too_little_to_compare_with() -> None:
    """Four weeks, half of them in Fahrenheit, are not judged: what they are beside is too short."""
    frame = record("2026-03-01", "2026-03-28")
    assert len(daily_weather(with_stretch(frame, "2026-03-15", "2026-03-28", "metric")).table) == 28
