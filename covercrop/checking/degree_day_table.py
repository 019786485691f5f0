"""Degree-days of a weather file, as a plain table."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array
from covercrop.base.errors import UsageError, WeatherGapError
from covercrop.base.records import Units
from covercrop.base.units import fahrenheit_from_celsius
from covercrop.models.degree_days import CUTOFFS, accumulate
from covercrop.models.labelled import growing_degree_days
from covercrop.weather.own_file import read_weather


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DegreeDayTable:
    """Degree-days per day and summed, in the file's own unit.

    Attributes
    ----------
    units, method, lower, upper, cutoff
        What was asked for; ``upper`` and ``cutoff`` are None without one.
    dates : numpy.ndarray of datetime64[D], shape (day,)
    tmin, tmax : numpy.ndarray, shape (day,)
        [degC or degF]
    degree_days, sum : numpy.ndarray, shape (day,)
        [degC d or degF d]
    filled : numpy.ndarray of bool, shape (day,)
        Days that were filled between the readings beside them.
    """

    units: Units
    method: str
    lower: float
    upper: float | None
    cutoff: str | None
    dates: NDArray[np.datetime64]
    tmin: Array
    tmax: Array
    degree_days: Array
    sum: Array
    filled: NDArray[np.bool_]


def degree_day_table(
    path: Path,
    units: Units,
    method: str,
    lower: float,
    upper: float | None = None,
    cutoff: str | None = None,
    *,
    start: dt.date | None = None,
    end: dt.date | None = None,
) -> DegreeDayTable:
    """Read a weather file and accumulate its degree-days.

    Parameters
    ----------
    path : pathlib.Path
    units : {"metric", "us"}
        Units of the file, the thresholds and the answer.
    method, cutoff : str
        As for :func:`covercrop.growing_degree_days`.
    lower, upper : float
        Thresholds [degC or degF].
    start, end : datetime.date, optional
        First and last day of the sum; those of the file by default.

    Raises
    ------
    WeatherFileError
        If the file cannot be used.
    WeatherGapError
        If days are missing that may not be filled: there is no sum across them.
    UsageError
        If a threshold, the method, the cut-off or a day cannot be used.
    """
    for name, value in (("`base`", lower), ("`upper`", upper)):
        if value is not None and not np.isfinite(value):
            raise UsageError(f"{name} {value}: give a temperature")
    if cutoff is not None and upper is None:
        raise UsageError(f"`cutoff` {cutoff} says what happens above an upper threshold; give `upper` too")
    # The sums of what stands in the file: a worked example may well repeat a day.
    table = read_weather(path, units, sensor=False).table
    table = table.loc[slice(None if start is None else str(start), None if end is None else str(end))]
    if table.empty:
        raise UsageError(
            f"{path}: no day from {start or 'its first'} to {end or 'its last'} in it; mend `start` or `end`"
        )
    tmin, tmax = table["tmin_c"].to_numpy(), table["tmax_c"].to_numpy()
    dates = table.index.to_numpy().astype("datetime64[D]")
    unknown = np.isnan(tmin) | np.isnan(tmax)
    if unknown.any():
        raise WeatherGapError(
            f"{path}: {int(unknown.sum())} days from {dates[unknown][0]} are missing and too many to fill; "
            "complete them, or leave them out with `start` or `end`"
        )
    if units == "us":
        tmin, tmax = fahrenheit_from_celsius(tmin), fahrenheit_from_celsius(tmax)
    daily = growing_degree_days(tmin, tmax, lower, upper, method=method, cutoff=cutoff or CUTOFFS[0])
    return DegreeDayTable(
        units=units,
        method=method,
        lower=lower,
        upper=upper,
        cutoff=None if upper is None else cutoff or CUTOFFS[0],
        dates=dates,
        tmin=tmin,
        tmax=tmax,
        degree_days=daily,
        sum=accumulate(daily),
        filled=np.asarray(table["origin"].to_numpy() == "filled"),
    )
