"""Models on data with labels: what is given comes back as its kind, with the model's own numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import covercrop
from covercrop.base.errors import UnknownNameError, UsageError
from covercrop.models import crown, daylength, degree_days, labelled, snow, soil_temperature

DAYS = pd.date_range("2026-04-01", periods=6)
LOW = np.array([[1.0, 2.0, 5.0, 0.0, 8.0, 9.0], [3.0, 4.0, 1.0, 2.0, 2.0, 6.0]])
HIGH = LOW + np.array([[9.0], [14.0]])


@pytest.mark.parametrize("method", degree_days.METHODS)
def test_degree_days_come_back_as_the_kind_that_was_given(method: str) -> None:
    """Array, list, Series, a frame with a column a station, a DataArray along any axis, whole or in chunks: one sum."""
    wanted = degree_days.degree_days(LOW, HIGH, 4.0, 12.0, method=method, cutoff="vertical")

    def ask(low: Any, high: Any) -> Any:
        return covercrop.growing_degree_days(low, high, 4.0, 12.0, method=method, cutoff="vertical")

    np.testing.assert_array_equal(ask(LOW, HIGH), wanted)
    np.testing.assert_array_equal(ask(LOW[0].tolist(), HIGH[0].tolist()), wanted[0])
    series = ask(pd.Series(LOW[0], DAYS, name="tmin"), pd.Series(HIGH[0], DAYS, name="tmax"))
    pd.testing.assert_series_equal(series, pd.Series(wanted[0], DAYS, name="growing_degree_days"))
    frame = ask(*(pd.DataFrame(each.T, DAYS, ["valley", "hill"]) for each in (LOW, HIGH)))
    pd.testing.assert_frame_equal(frame, pd.DataFrame(wanted.T, DAYS, ["valley", "hill"]))
    about = {"units": "degC"}
    low, high = (xr.DataArray(each.T, {"time": DAYS, "place": ["v", "h"]}, attrs=about) for each in (LOW, HIGH))
    for made in (ask(low, high), ask(low.chunk(time=2), high.chunk(place=1)).compute()):
        assert made.dims == ("time", "place")
        np.testing.assert_array_equal(made.values, wanted.T)
        assert made.attrs == {"units": "degC d", "long_name": "growing degree-days"}
        xr.testing.assert_equal(made["time"], low["time"])


def test_extremes_that_do_not_go_together() -> None:
    """Two kinds, other days, other stations, other units, no days, no numbers: a line each that says which."""
    series, array = pd.Series(LOW[0], DAYS), xr.DataArray(LOW[0], {"time": DAYS}, attrs={"units": "degC"})
    frame = pd.DataFrame(LOW.T, DAYS, ["valley", "hill"])
    for low, high, message in (
        (series, HIGH[0], "`tmin` is a Series and `tmax` is an array; give both alike"),
        (frame, series, "`tmin` is a DataFrame and `tmax` is a Series"),
        (series, series[1:], "differ in their index, such as 2026-04-01"),
        (series, series[::-1], "differ in their index or their order; select the same of both"),
        (frame, frame[["hill", "valley"]], "differ in their columns or their order"),
        (frame.assign(name="x"), frame.assign(name="x"), "`tmin` holds what is no number; leave such columns out"),
        (LOW[0], HIGH[0, 1:], r"`tmin` has shape \(6,\) and `tmax` has shape \(5,\); give as many days"),
        (3.0, 15.0, r"`tmin` has shape \(\)"),
        (array.rename(time="day"), array, "`tmin` has no dimension 'time'; rename the one"),
        (array, array[1:], "`tmin` and `tmax` have other labels"),
        (array, array.assign_attrs(units="K"), "different units, K and degC; convert one"),
    ):
        with pytest.raises(UsageError, match=message):
            covercrop.growing_degree_days(low, high, 4.0)
    with pytest.raises(UsageError, match="`base` = 'ten' is no number; give a temperature"):
        covercrop.growing_degree_days(LOW, HIGH, "ten")  # type: ignore[arg-type]
    with pytest.raises(UnknownNameError, match="did you mean sine"):
        covercrop.growing_degree_days(LOW, HIGH, 4.0, method="sin")


def test_soil_temperature_in_the_unit_of_a_thermometer() -> None:
    """Depth in centimetres, the kind that was given, and the ground by name."""
    wanted = soil_temperature.soil_temperature(LOW, "straw", depth_mm=100.0)
    np.testing.assert_array_equal(covercrop.soil_temperature(LOW, ground="straw", depth_cm=10), wanted)
    frame = covercrop.soil_temperature(pd.DataFrame(LOW.T, DAYS), ground="straw", depth_cm=10)
    pd.testing.assert_frame_equal(frame, pd.DataFrame(wanted.T, DAYS))
    assert covercrop.soil_temperature(pd.Series(LOW[0], DAYS)).name == "soil_temperature"
    np.testing.assert_array_equal(
        covercrop.soil_temperature(LOW), soil_temperature.soil_temperature(LOW, "bare", depth_mm=50.0)
    )
    with pytest.raises(UsageError, match="`depth_cm` = -5: give centimetres, 0 to 100"):
        covercrop.soil_temperature(LOW, depth_cm=-5)
    with pytest.raises(UnknownNameError, match="unknown ground cover 'grass'"):
        covercrop.soil_temperature(LOW, ground="grass")


def test_snow_and_crowns_keep_labels() -> None:
    """Both are the models' own, by the column; what is of two kinds is refused."""
    cold, rain = pd.DataFrame(LOW.T - 20.0, DAYS), pd.DataFrame(np.full_like(LOW.T, 5.0), DAYS)
    lying = covercrop.snow_depth(cold, rain)
    np.testing.assert_array_equal(lying.to_numpy().T, snow.snow_depth(LOW - 20.0, np.full_like(LOW, 5.0)))
    felt = covercrop.crown_temperature(cold, lying)
    np.testing.assert_array_equal(felt.to_numpy().T, crown.crown_temperature(LOW - 20.0, lying.to_numpy().T))
    assert list(felt.index) == list(DAYS)
    assert (lying > 0).to_numpy().any()
    assert covercrop.snow_depth(cold[0], rain[0]).name == "snow_depth"
    with pytest.raises(UsageError, match="give both alike"):
        covercrop.crown_temperature(cold, [0.0] * len(DAYS))


def test_day_length_of_dates() -> None:
    """A Series on the dates, a column a station, a DataArray, an array: each the model's hours of those days."""
    wanted = daylength.day_length(37.6, np.arange(91.0, 97.0))
    pd.testing.assert_series_equal(covercrop.day_length(37.6, DAYS), pd.Series(wanted, DAYS, name="day_length"))
    column = pd.Series(DAYS, index=list("abcdef"))
    assert list(covercrop.day_length(37.6, column).index) == list("abcdef")
    frame = covercrop.day_length(pd.Series({"valley": 37.6, "north": 60.0}), DAYS)
    np.testing.assert_array_equal(frame["valley"], wanted)
    assert (frame["north"] > frame["valley"]).all()
    made = covercrop.day_length(37.6, xr.DataArray(DAYS, dims="time"))
    np.testing.assert_array_equal(made.values, wanted)
    assert made.attrs["units"] == "h"
    np.testing.assert_array_equal(covercrop.day_length(37.6, ["2026-04-01", "2026-04-02"]), wanted[:2])
    assert covercrop.day_length(37.6, "2026-04-01") == wanted[0]
    for dates in ([91, 92], "soon", [pd.NaT]):
        with pytest.raises(UsageError, match="`dates`"):
            covercrop.day_length(37.6, dates)
    with pytest.raises(UsageError, match="latitude 95: give degrees"):
        covercrop.day_length(95, DAYS)


def test_no_unit_is_made_up() -> None:
    """Extremes that state none give degree-days that state none; what is not in chunks comes back whole."""
    low, high = (xr.DataArray(each[0], {"time": DAYS}) for each in (LOW, HIGH))
    made = labelled.growing_degree_days(low, high, 4.0)
    assert made.attrs == {"long_name": "growing degree-days"}
    assert made.chunks is None


def test_one_series_goes_with_many() -> None:
    """Arrays have as many days; what stands before the days broadcasts, one snow on two places."""
    snow_mm = np.full(6, 80.0)
    np.testing.assert_array_equal(
        labelled.crown_temperature(LOW, snow_mm), crown.crown_temperature(LOW, np.stack([snow_mm, snow_mm]))
    )


@pytest.mark.parametrize("depth_cm", [0, 0.5, 95, 100.0])
def test_the_ground_is_known_from_its_face_to_a_metre(depth_cm: float) -> None:
    """Both ends count; ten times as many millimetres are what the model takes."""
    wanted = soil_temperature.soil_temperature(LOW, "bare", depth_mm=10 * depth_cm)
    np.testing.assert_array_equal(labelled.soil_temperature(LOW, depth_cm=depth_cm), wanted)


@pytest.mark.parametrize("depth_cm", [-0.1, 100.1, np.nan, "5"])
def test_a_depth_that_is_none_is_refused(depth_cm: Any) -> None:
    """Above the ground, below a metre, no number."""
    with pytest.raises(UsageError, match=r"`depth_cm` = .*: give centimetres, 0 to 100"):
        labelled.soil_temperature(LOW, depth_cm=depth_cm)


def test_day_length_of_stations_stands_on_the_days_however_they_are_given() -> None:
    """A list of days is the index itself, a single day one row; a Series of days keeps its own index."""
    places = pd.Series({"valley": 37.6, "north": 60.0})
    for dates, rows in (
        (["2026-04-01", "2026-04-02"], DAYS[:2]),
        ("2026-04-01", DAYS[:1]),
        (pd.Series(DAYS[:2], index=["a", "b"]), pd.Index(["a", "b"])),
    ):
        hours = labelled.day_length(places, dates)
        assert list(hours.index) == list(rows)
        np.testing.assert_array_equal(hours["north"], daylength.day_length(60.0, 91.0 + np.arange(len(rows))))


def test_one_missing_day_is_enough_to_be_refused() -> None:
    """A day that is not there has no length."""
    with pytest.raises(UsageError, match=r"`dates` has a day that is missing \(NaT\); leave it out"):
        labelled.day_length(37.6, np.array(["2026-04-01", "NaT"], dtype="datetime64[D]"))
