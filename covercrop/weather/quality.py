"""Faults in daily readings: found, named, and taken out."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from covercrop.base.arrays import Days
from covercrop.base.errors import WeatherFileError
from covercrop.base.units import fahrenheit_from_celsius

Values = NDArray[np.float64]
Words = NDArray[np.object_]

TEMPERATURES = ("tmin_c", "tmax_c")

#: Nothing colder or hotter has been measured: -89.2 degC at Vostok in 1983
#: and 56.7 degC at Furnace Creek in 1913 (WMO World Weather and Climate Extremes Archive).
COLDEST, HOTTEST = -90.0, 60.0
#: Most rain of one day: 1825 mm at Foc-Foc in 1966 (same archive).
WETTEST = 1825.0
#: Most snow on the ground: 1182 cm on Mount Ibuki in 1927 (from memory of the same archive) [mm].
DEEPEST_SNOW = 12000.0
#: The warmest night over which snow can have come to lie where the day before had none [degC].
WARMEST_FOR_SNOW = 10.0

#: What a record may have besides, in mm, NaN where unknown.
AMOUNTS = ("prcp_mm", "snow_depth_mm")

#: A reading is a spike only if it stands this many standard deviations from
#: what the season brings at this place, and this many from either day beside
#: it: real heat and cold come with neighbours.  In 71 station records (0.7
#: million days) the pair flags 27 readings, 19 of them in one record known for faults.
SPIKE_SEASON, SPIKE_NEIGHBOURS = 5.0, 3.0
#: Years needed before a place has a climatology.
FEWEST_YEARS = 5

#: Same minimum and same maximum for so many days running is a stuck sensor.
#: In the same records three such days come about once in 15 years, five or
#: more only five times in all.
STUCK_DAYS = 5

#: The words of the column ``flag``, and how a note says them.
FLAGS = {
    "missing": "without a reading",
    "duplicated": "written twice alike, kept once",
    "quality-flag": "that the station's own checks reject",
    "out-of-range": "with a value no thermometer has shown",
    "tmin-above-tmax": "with the minimum above the maximum",
    "stuck-sensor": "in which the same values repeat",
    "snow-in-warmth": "with new snow after a night in which none can lie",
    "spike": "far from the usual of the season and from the days beside it",
}


def check_left(faults: list[str], usable: int, read: int, prefix: str) -> None:
    """Refuse a record of which less than half is left once its faults are taken out.

    Parameters
    ----------
    faults : list of str
        The faults in words.
    usable, read : int
        Days that are left, and days with a minimum and a maximum.
    prefix : str
        Beginning of the message.
    """
    if not read:
        raise WeatherFileError(f"{prefix}no day has both a minimum and a maximum; give both")
    if usable < read / 2:
        why = "; ".join(faults)
        raise WeatherFileError(f"{prefix}{usable or 'none'} of {read} days can be used ({why}); correct the record")


def merge_duplicates(readings: pd.DataFrame, units: str, prefix: str) -> tuple[pd.DataFrame, pd.Index]:
    """One row a day in order, and the days that stood twice with the same values.

    Of a reading and a forecast for one day the reading is kept.
    """
    if readings.index.is_unique:
        return readings.sort_index(), readings.index[:0]
    read_too = readings.index.isin(readings.index[~readings["forecast"]])
    readings = readings[~(readings["forecast"] & read_too)]
    twice = readings[readings.index.duplicated(keep=False)]
    by_day = twice.groupby(level=0)
    for name in (*TEMPERATURES, *(amount for amount in AMOUNTS if amount in readings)):
        low, high = by_day[name].min(), by_day[name].max()
        apart = (high > low).to_numpy()
        if apart.any():
            values = [float(bound[apart].iloc[0]) for bound in (low, high)]
            said = name.rpartition("_")[0]
            if name in TEMPERATURES and units == "us":
                values = [fahrenheit_from_celsius(value) for value in values]
            raise WeatherFileError(
                f"{prefix}{low.index[apart][0]:%Y-%m-%d} stands twice with different values "
                f"({said} {values[0]:.4g} and {values[1]:.4g}); delete the wrong row"
            )
    return readings.groupby(level=0).first(), by_day.size().index


def take_out_faults(
    days: Days, values: Values, amounts: Values, flag: Words, forecast: NDArray[np.bool_], *, sensor: bool = True
) -> None:
    """Flag what cannot be true and set it to NaN, in place.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
    values : numpy.ndarray, shape (2, day)
        Minimum and maximum [degC].
    amounts : numpy.ndarray, shape (2, day)
        Rain, and depth of the snow on the ground [mm].
    flag : numpy.ndarray of str, shape (day,)
        Faults known before; empty for none.
    forecast : numpy.ndarray of bool, shape (day,)
        Days that were not read but forecast, which make no climatology.
    sensor : bool
        Whether the values are those of a thermometer, which gets stuck and
        strays; a worked example does neither.
    """
    outside = (values < COLDEST) | (values > HOTTEST)
    values[outside] = np.nan
    flag[outside.any(axis=0)] = "out-of-range"
    flag[np.isnan(values).any(axis=0) & ((flag == "") | (flag == "duplicated"))] = "missing"

    above = values[0] > values[1]
    stuck = np.zeros(len(days), dtype=bool)
    for first, end in runs((np.diff(values, axis=1) == 0).all(axis=0)):
        stuck[first : end + 1] = end + 1 - first >= STUCK_DAYS
    stuck &= sensor & ~forecast  # a forecast has no sensor
    for name, wrong in (("tmin-above-tmax", above), ("stuck-sensor", stuck)):
        values[:, wrong] = np.nan
        flag[wrong] = name

    for series in values if sensor else ():
        spike = spikes(days, series, ~forecast)
        series[spike] = np.nan
        flag[spike] = "spike"
    for amount, most in zip(amounts, (WETTEST, DEEPEST_SNOW), strict=True):
        impossible = (amount < 0) | (amount > most)
        amount[impossible] = np.nan
        flag[impossible & (flag == "")] = "out-of-range"
    # A zero left out, or another column: snow that is suddenly there after a warm night.
    snow = amounts[1]
    warm = np.zeros(len(days), dtype=bool)
    warm[1:] = (snow[1:] > 0) & (snow[:-1] == 0) & (values[0, 1:] > WARMEST_FOR_SNOW)
    snow[warm] = np.nan
    flag[warm & (flag == "")] = "snow-in-warmth"


def spikes(days: Days, values: Values, usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Values far from their season and from the days beside them."""
    middle, below, above = climatology(days, np.where(usable, values, np.nan))
    departure = values - middle
    scale = np.where(departure < 0, below, above)
    step = np.full((2, len(values)), np.inf)
    step[0, 1:] = step[1, :-1] = np.abs(np.diff(departure))
    nearer = np.fmin(*np.where(np.isnan(step), np.inf, step))
    return (np.abs(departure) > SPIKE_SEASON * scale) & (nearer > SPIKE_NEIGHBOURS * scale)


def climatology(days: Days, values: Values) -> tuple[Values, Values, Values]:
    """Median of the season at each day, and the standard deviation below and above it.

    Every fifth day of the year takes the values within 15 days of it from all
    years; between them the line is straight.  The deviations come
    from the 5 % and 95 % quantiles, so that one false value does not hide
    itself, and are at least 1 K.  NaN where fewer than 5 years have values.
    """
    day_of_year = np.minimum((days - days.astype("datetime64[Y]")).astype(np.int64), 364)
    year = days.astype("datetime64[Y]").astype(np.int64)
    grid = np.full((year[-1] - year[0] + 1, 365), np.nan)
    grid[year - year[0], day_of_year] = values
    around = sliding_window_view(np.concatenate([grid[:, -13:], grid, grid[:, :15]], axis=1), 31, axis=1)[:, ::5]
    centres = np.arange(2, 365, 5)
    enough = (~np.isnan(around)).any(axis=2).sum(axis=0) >= FEWEST_YEARS
    ordered = np.sort(around.transpose(1, 0, 2).reshape(centres.size, -1), axis=1)  # NaN last
    count = (~np.isnan(ordered)).sum(axis=1)

    def quantile(share: float) -> Values:
        at = ordered[np.arange(centres.size), (share * np.maximum(count - 1, 0)).astype(np.int64)]
        return np.interp(day_of_year, centres, np.where(enough, at, np.nan), period=365)

    middle = quantile(0.5)
    normal = 1.645  # the 95 % point of the standard normal distribution
    below = np.maximum((middle - quantile(0.05)) / normal, 1.0)
    above = np.maximum((quantile(0.95) - middle) / normal, 1.0)
    return middle, below, above


def faults_found(days: Days, flag: Words) -> dict[str, str]:
    """How often each fault was found and where first, in words; days without any reading are told by the gaps."""
    found = {}
    for name, words in FLAGS.items():
        here = flag == name
        if name != "missing" and here.any():
            found[name] = f"{days_word(int(here.sum()))} {words} (first on {days[here][0]})"
    return found


def flag_notes(days: Days, flag: Words) -> list[str]:
    """The faults as sentences."""
    return [
        f"{words}." if name == "duplicated" else f"Not used: {words}."
        for name, words in faults_found(days, flag).items()
    ]


def days_word(count: int) -> str:
    """``"1 day"`` or ``"7 days"``."""
    return "1 day" if count == 1 else f"{count} days"


def calendar_days(table: pd.DataFrame) -> Days:
    """The index of a weather table as ``datetime64[D]``."""
    return table.index.to_numpy().astype("datetime64[D]")


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Start and end (past the last) of each stretch of true values."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
