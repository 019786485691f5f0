"""Invented weather for the tests: any place, any length, the same bytes every time."""

from __future__ import annotations

import datetime as dt
from itertools import accumulate
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from covercrop.base.records import DailyWeather
from covercrop.field.entries import CoverEntry, CropEntry, Field
from covercrop.weather.outlook import Outlook

if TYPE_CHECKING:
    import xarray as xr
    from numpy.typing import ArrayLike


def days(count: int) -> np.timedelta64:
    """So many days, to add to a date."""
    return np.timedelta64(count, "D")


def weather(
    first: str = "2000-01-01",
    last: str = "2026-04-20",
    *,
    mean: float = 12.5,
    swing: float = 12.0,
    coldest_day: int = 20,
    noise: float = 3.5,
    seed: int = 5,
) -> DailyWeather:
    """A yearly wave of daily temperature with persistent noise, and rain on every third day or so.

    ``coldest_day`` is a day of the year: 20 is the north's January, 202 the south's July.
    """
    days = pd.date_range(first, last, name="date")
    # A stream for each quantity, so that a longer record begins as a shorter one does.
    air, sky, rain = (np.random.default_rng((seed, stream)) for stream in range(3))
    shocks = air.normal(0, noise * np.sqrt(1 - 0.65**2), len(days)).tolist()
    anomaly = np.array(list(accumulate(shocks, lambda before, shock: 0.65 * before + shock)))
    wave = mean - swing * np.cos(2 * np.pi * (days.day_of_year.to_numpy() - coldest_day) / 365.25)
    half = 5.5 + sky.normal(0, 1.0, len(days)).clip(-3, 3)
    table = pd.DataFrame({"tmin_c": wave + anomaly - half, "tmax_c": wave + anomaly + half}, index=days)
    table["prcp_mm"] = np.maximum(rain.normal(-2.0, 9.0, len(days)), 0.0)
    table["origin"] = "observed"
    table["flag"] = ""
    return DailyWeather(table=table)


def field(
    species: str = "crimson-clover",
    crop: str = "summer-squash",
    *,
    sown: str = "2025-09-20",
    latitude: float = 37.6,
    cultivar: str = "",
    turned_under: str | None = None,
    planted: str | None = None,
    terminate: str = "turn-under",
    method: str = "direct-seed",
    ground_cover: str = "bare",
    scouting: tuple = (),
) -> Field:
    """A field at an invented place."""

    def date(text: str | None) -> dt.date | None:
        return None if text is None else dt.date.fromisoformat(text)

    sown_on = date(sown)
    assert sown_on is not None
    return Field(
        name="Test plot",
        latitude=latitude,
        longitude=-84.9,
        cover=CoverEntry(
            species=species, sown=sown_on, cultivar=cultivar, turned_under=date(turned_under), terminate=terminate
        ),
        crop=CropEntry(name=crop, method=method, ground_cover=ground_cover, planted=date(planted)),
        scouting=scouting,
    )


def season(
    tmean: ArrayLike = 10.0,
    *,
    first: str = "2025-09-01",
    length: int = 400,
    years: int = 1,
    known: int = 0,
    complete: bool = True,
    half_range: float = 5.0,
) -> Outlook:
    """A season of so many days and years whose daily means are given: one number, one a day, or one a year and day."""
    means = np.broadcast_to(np.asarray(tmean, dtype=np.float64), (years, length))
    return Outlook(
        days=np.datetime64(first, "D") + np.arange(length).astype("timedelta64[D]"),
        tmin=means - half_range,
        tmax=means + half_range,
        prcp=np.zeros((years, length)),
        snow=np.full((years, length), np.nan),
        known=known,
        observed=np.ones(known, dtype=np.bool_),
        forecast=0,
        years=tuple(range(2024, 2024 - years, -1)),
        complete=complete,
    )


def grid(
    rows: int = 6,
    columns: int = 5,
    first: str = "1996-01-01",
    last: str = "2015-12-31",
    *,
    units: str = "degC",
    projected: bool = False,
    calendar: str = "standard",
) -> xr.Dataset:
    """A grid of invented daily extremes: warmer to the south, colder with height, one cell of it sea.

    It holds no rain.  With ``projected`` it lies along x and y, with latitude and longitude in two dimensions.
    """
    import xarray as xr

    days = pd.date_range(first, last)
    if calendar == "noleap":
        days = days[(days.month != 2) | (days.day != 29)]
    latitude = np.linspace(40.0, 33.0, rows)[:, None] + np.zeros((1, columns))
    longitude = np.zeros((rows, 1)) + np.linspace(-88.0, -82.0, columns)[None, :]
    if projected:
        latitude = latitude + 0.03 * np.arange(columns)
    record = weather(first, last).table
    record = record.loc[days]
    local = np.random.default_rng(77).normal(0, 1.2, (rows, columns))
    shift = 0.75 * (37.5 - latitude) + local
    stretch = 1 + 0.02 * (latitude - 37.5)
    extremes = {}
    for name, column, kind in (("tasmin", "tmin_c", "minimum"), ("tasmax", "tmax_c", "maximum")):
        celsius = 12.5 + (record[column].to_numpy()[:, None, None] - 12.5) * stretch + shift
        values = {"degC": celsius, "K": celsius + 273.15, "degF": celsius * 1.8 + 32}[units]
        values[:, 0, -1] = np.nan
        about = {"units": units, "standard_name": "air_temperature", "cell_methods": f"time: {kind}"}
        extremes[name] = (("time", "y", "x") if projected else ("time", "lat", "lon"), values.astype(np.float32), about)
    if projected:
        coordinates = {
            "y": ("y", np.arange(rows) * -4000.0, {"units": "m", "standard_name": "projection_y_coordinate"}),
            "x": ("x", np.arange(columns) * 4000.0, {"units": "m", "standard_name": "projection_x_coordinate"}),
            "lat": (("y", "x"), latitude, {"units": "degrees_north", "standard_name": "latitude"}),
            "lon": (("y", "x"), longitude, {"units": "degrees_east", "standard_name": "longitude"}),
        }
    else:
        coordinates = {
            "lat": ("lat", latitude[:, 0], {"units": "degrees_north", "standard_name": "latitude"}),
            "lon": ("lon", longitude[0], {"units": "degrees_east", "standard_name": "longitude"}),
        }
    made = xr.Dataset(extremes, coords=coordinates)
    steps = (days - days[0]).days.to_numpy() if calendar == "standard" else np.arange(len(days))
    about = {"units": f"days since {first}", "calendar": calendar, "standard_name": "time"}
    return made.assign_coords(time=("time", steps, about))


def like(place: str, first: str, last: str, *, seed: int = 5) -> DailyWeather:
    """Made-up years of a real place: its monthly means, and days that stray from them as its days do.

    They are those of ``data/validation/place_normals.csv``; a day strays by a share of what the one before did, and by
    chance.  Rain, where it is known, falls on every third day or so.
    """
    normals = pd.read_csv(Path(__file__).parent.parent / "data" / "validation" / "place_normals.csv")
    month = normals[normals["place"] == place].set_index("month")
    axis = pd.date_range(first, last, name="date")
    when = axis.day_of_year.to_numpy()
    middles = 15.5 + np.arange(-1, 13) * 365.25 / 12

    def daily(column: str) -> np.ndarray:
        return np.interp(when, middles, month[column].to_numpy()[np.arange(-1, 13) % 12])

    kept, spread = daily("next_day"), daily("sd_c")
    air, sky = (np.random.default_rng((seed, stream)) for stream in range(2))
    strayed = air.normal(0.0, 1.0, len(axis)) * np.sqrt(1 - kept**2)
    for day in range(1, len(axis)):
        strayed[day] += kept[day] * strayed[day - 1]
    table = pd.DataFrame({name: daily(name) + strayed * spread for name in ("tmin_c", "tmax_c")}, index=axis)
    wet = sky.random(len(axis)) < 1 / 3
    table["prcp_mm"] = np.where(wet, sky.exponential(1.0, len(axis)) * 3 * daily("rain_mm_a_day"), 0.0)
    if month["rain_mm_a_day"].isna().any():
        table["prcp_mm"] = np.nan
    return DailyWeather(table=table.assign(origin="observed", flag=""))
