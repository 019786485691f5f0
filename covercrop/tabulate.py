"""Degree-days of a weather file, as a plain table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covercrop.degree_days import accumulate, degree_days
from covercrop.errors import UsageError, WeatherGapError
from covercrop.records import Units
from covercrop.units import fahrenheit_from_celsius
from covercrop.weather.files import read_weather_file

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DegreeDayTable:
    """Degree-days per day and summed, in the file's own unit.

    Attributes
    ----------
    dates : numpy.ndarray of datetime64[D], shape (day,)
    tmin, tmax : numpy.ndarray, shape (day,)
        [degC or degF]
    degree_days, sum : numpy.ndarray, shape (day,)
        [degC d or degF d]
    filled : int
        Days that were filled between observed ones.
    """

    dates: NDArray[np.datetime64]
    tmin: Array
    tmax: Array
    degree_days: Array
    sum: Array
    filled: int


def degree_day_table(
    path: Path, units: Units, method: str, lower: float, upper: float | None = None, cutoff: str = "horizontal"
) -> DegreeDayTable:
    """Read a weather file and accumulate its degree-days.

    Parameters
    ----------
    path : pathlib.Path
    units : {"metric", "us"}
        Units of the file, the thresholds and the answer.
    method, cutoff : str
        As for :func:`covercrop.degree_days.degree_days`.
    lower, upper : float
        Thresholds [degC or degF].

    Raises
    ------
    WeatherFileError
        If the file cannot be used.
    WeatherGapError
        If days are missing that may not be filled: there is no sum across them.
    UsageError
        If a threshold, the method or the cut-off cannot be used.
    """
    for name, value in (("--lower", lower), ("--upper", upper)):
        if value is not None and not np.isfinite(value):
            raise UsageError(f"{name} {value}: give a temperature")
    # The sums of what stands in the file: a worked example may well repeat a day.
    table = read_weather_file(path, units, sensor=False).table
    tmin, tmax = table["tmin_c"].to_numpy(), table["tmax_c"].to_numpy()
    dates = table.index.to_numpy().astype("datetime64[D]")
    unknown = np.isnan(tmin) | np.isnan(tmax)
    if unknown.any():
        raise WeatherGapError(
            f"{path}: {int(unknown.sum())} days from {dates[unknown][0]} are missing and too many to fill; "
            "complete them, or split the file there"
        )
    if units == "us":
        tmin, tmax = fahrenheit_from_celsius(tmin), fahrenheit_from_celsius(tmax)
    daily = degree_days(tmin, tmax, lower, upper, method=method, cutoff=cutoff)
    return DegreeDayTable(
        dates=dates,
        tmin=tmin,
        tmax=tmax,
        degree_days=daily,
        sum=accumulate(daily),
        filled=int((table["origin"].to_numpy() == "filled").sum()),
    )
