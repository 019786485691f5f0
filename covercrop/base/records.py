"""The records that travel between modules: frozen, with nothing in them but what follows from their fields.

Dates are ``numpy.datetime64[D]``; a date that is not reached is ``NaT``.
Inside the models a day is a position on the day axis of an array, and a
day that is not reached is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

Units = Literal["metric", "us"]
#: Found by measuring; worked out from such a number, or picked within its range; said without telling how it was found,
#: as by the seed trade, a rule or a standard; what the writers of a crop model set in its parameter file; or set by the
#: writers of this program.
Basis = Literal["measured", "converted", "stated", "model-setting", "assumed"]
BASES: tuple[Basis, ...] = get_args(Basis)


@dataclass(frozen=True, slots=True, kw_only=True)
class CitedValue:
    """A number with its origin.

    Attributes
    ----------
    value, low, high : float
        Best value and, where known, its published range, in ``unit``.
    unit : str
        Unit used inside (see :func:`covercrop.base.units.to_internal`).
    printed, printed_range : str
        Value and range with their unit, as the source prints them; the range
        is empty where there is none.
    source : str
        Key in ``data/sources.toml``; empty when ``basis`` is ``"assumed"``.
    locator : str
        Table, page or equation in the source.
    basis : {"measured", "converted", "stated", "model-setting", "assumed"}
    reason : str
        Why an assumed value is what it is; empty otherwise.
    """

    value: float
    unit: str
    printed: str
    printed_range: str = ""
    basis: Basis
    source: str = ""
    locator: str = ""
    reason: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def doubt(self) -> str:
        """Why the number is neither measured nor printed as a fact, for the output to repeat; empty where it is."""
        match self.basis:
            case "assumed":
                return self.reason
            case "model-setting":
                return f"a crop model's setting, no measurement ({self.source}: {self.locator})"
            case _:
                return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """An entry of ``data/sources.toml``."""

    key: str
    authors: str
    year: str
    title: str
    container: str = ""
    doi: str = ""
    url: str = ""
    kind: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Where a weather record comes from.

    Attributes
    ----------
    id, name : str
    latitude, longitude : float
        [degrees], north and east positive.
    elevation_m : float or None
    distance_km : float or None
        From the field.
    """

    id: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float | None = None
    distance_km: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DailyWeather:
    """Daily weather at one place, without holes in its calendar.

    Attributes
    ----------
    table : pandas.DataFrame
        Index: a daily, tz-naive ``DatetimeIndex`` named ``date``, every day
        present.  Columns ``tmin_c``, ``tmax_c`` [degC], ``prcp_mm`` and
        ``snow_depth_mm`` [mm] (the last may be left out; float64, NaN where
        unknown), ``origin`` (``observed``, ``forecast``,
        ``filled``, ``climatology`` or ``missing``) and ``flag`` (empty, or
        what was wrong with the value that was read).
    stations : tuple of Station
    attribution : str
        The line of credit the data ask for.
    retrieved : str
        ISO date on which the data were fetched or read.
    notes : tuple of str
        What the reader should know: gaps filled, adjustments, data age.
    """

    table: pd.DataFrame
    stations: tuple[Station, ...] = ()
    attribution: str = ""
    retrieved: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DateRange:
    """A date with its 80 % interval; ``NaT`` where it is not reached."""

    early: np.datetime64
    median: np.datetime64
    late: np.datetime64
