"""The columns of a weather table as arrays, taken out once for all who ask."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Temperatures

if TYPE_CHECKING:
    import pandas as pd

    from covercrop.base.records import DailyWeather


class Record:
    """The columns of a weather record as arrays, taken out once where many seasons are asked of it.

    Parameters
    ----------
    first : numpy.datetime64[D]
    tmin, tmax : numpy.ndarray, shape (day,)
        [degC], NaN where unknown.
    prcp : numpy.ndarray, shape (day,)
        [mm], NaN where unknown.
    snow : numpy.ndarray, shape (day,), optional
        Depth of the snow on the ground [mm], NaN where unknown; nowhere known, by default.
    origin : numpy.ndarray of str, shape (day,), optional
        As in :class:`~covercrop.base.records.DailyWeather`; every day that is
        known was observed, by default.
    """

    def __init__(
        self,
        first: np.datetime64,
        tmin: Temperatures,
        tmax: Temperatures,
        prcp: Temperatures,
        origin: NDArray[Any] | None = None,
        snow: Temperatures | None = None,
    ) -> None:
        self.first = first
        self.tmin = tmin
        self.tmax = tmax
        self.prcp = prcp
        self.snow = np.full_like(tmin, np.nan) if snow is None else snow
        self.usable = ~(np.isnan(self.tmin) | np.isnan(self.tmax))
        self.observed, self.filled, self.forecast = (
            (self.usable if name == "observed" else np.zeros_like(self.usable)) if origin is None else origin == name
            for name in ("observed", "climatology", "forecast")
        )

    def position(self, day: np.datetime64) -> int:
        """Where a day stands in the record, which it may lie beyond."""
        return int((day - self.first).astype(int))

    def day(self, position: int) -> np.datetime64:
        """The day that stands at a position."""
        return self.first + np.timedelta64(position, "D")


def record_of(weather: DailyWeather) -> Record:
    """The columns of a weather table, taken out once for all the fields that share it."""
    return _record_of(_Table(weather.table))


class _Table:
    """A table that is told from others by what it is, not by what it holds."""

    __slots__ = ("table",)

    def __init__(self, table: pd.DataFrame) -> None:
        self.table = table

    def __hash__(self) -> int:
        return id(self.table)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Table) and self.table is other.table


@lru_cache(maxsize=512)
def _record_of(key: _Table) -> Record:
    table = key.table
    tmin, tmax, prcp = (table[name].to_numpy() for name in ("tmin_c", "tmax_c", "prcp_mm"))
    snow = table["snow_depth_mm"].to_numpy() if "snow_depth_mm" in table else None
    first = table.index[0].to_datetime64().astype("datetime64[D]")
    return Record(first, tmin, tmax, prcp, table["origin"].to_numpy(object), snow)
