"""Models on data with labels: a Series, a DataFrame with a column a station, or a DataArray come back as such.

Plain numbers, lists and arrays are as the models have them, the day on the last axis.  Of a Series or a DataFrame the
rows are the days, of a DataArray the dimension ``time``.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any, TypeVar, overload

import numpy as np

from covercrop.base.days import day_of_year
from covercrop.base.errors import UsageError
from covercrop.models import crown, daylength, degree_days, snow
from covercrop.models import soil_temperature as soil

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd
    import xarray as xr
    from numpy.typing import ArrayLike

    from covercrop.base.arrays import Array, Days

    Labelled = TypeVar("Labelled", pd.Series[float], pd.DataFrame, xr.DataArray)

#: The dimension of a DataArray along which the days run.
TIME = "time"

#: Deepest soil that the model is taken for [cm].
DEEPEST = 100.0


@overload
def growing_degree_days(
    tmin: Labelled,
    tmax: Labelled,
    base: float,
    upper: float | None = None,
    *,
    method: str = "average",
    cutoff: str = "horizontal",
) -> Labelled: ...
@overload
def growing_degree_days(
    tmin: ArrayLike,
    tmax: ArrayLike,
    base: float,
    upper: float | None = None,
    *,
    method: str = "average",
    cutoff: str = "horizontal",
) -> Array: ...
def growing_degree_days(
    tmin: Any,
    tmax: Any,
    base: float,
    upper: float | None = None,
    *,
    method: str = "average",
    cutoff: str = "horizontal",
) -> Any:
    """Growing degree-days of each day; ``covercrop degree-days`` shows them for a file.

    Parameters
    ----------
    tmin, tmax : array_like of shape (..., day), Series, DataFrame or DataArray
        Daily extremes [degC or degF], both of one kind and with the same labels.  A DataFrame has a row a day and a
        column a station, a DataArray the dimension ``time``.
    base, upper : float
        Thresholds, in the unit of the extremes; without ``upper`` nothing is cut off.
    method : str
        How the day's curve is drawn: ``average``, ``clamped-average``, ``triangle``, ``double-triangle``, ``sine`` or
        ``double-sine``.
    cutoff : str
        What the time above ``upper`` counts for: ``horizontal``, ``intermediate`` or ``vertical``.

    Returns
    -------
    of the kind that was given
        [degC d or degF d], with its labels; NaN on a day with an extreme that is NaN.

    Raises
    ------
    UnknownNameError
        If the method or the cut-off is not known; near matches are named.
    UsageError
        If the two are not of one kind, or their labels differ; if ``base`` is above ``upper``, or one of them is no
        finite number.

    References
    ----------
    Zalom, F.G., et al. (1983). Degree-days: the calculation and use of heat units in pest management. University of
        California, Leaflet 21373.
    McMaster, G.S., Wilhelm, W.W. (1997). Growing degree-days: one equation, two interpretations. Agricultural and
        Forest Meteorology 87, 291-300.
    """
    for name, threshold in (("base", base), ("upper", upper)):
        if threshold is not None and not isinstance(threshold, int | float | np.number):
            raise UsageError(f"`{name}` = {threshold!r} is no number; give a temperature")

    def daily(low: Array, high: Array) -> Array:
        return degree_days.degree_days(low, high, base, upper, method=method, cutoff=cutoff)

    unit = _unit(tmin, tmax)
    about = {"long_name": "growing degree-days", **({"units": f"{unit} d"} if unit else {})}
    return _alike(daily, "growing_degree_days", about, tmin=tmin, tmax=tmax)


@overload
def soil_temperature(tmean: Labelled, *, ground: str = "bare", depth_cm: float = 5.0) -> Labelled: ...
@overload
def soil_temperature(tmean: ArrayLike, *, ground: str = "bare", depth_cm: float = 5.0) -> Array: ...
def soil_temperature(tmean: Any, *, ground: str = "bare", depth_cm: float = 5.0) -> Any:
    """Daily soil temperature under open ground, from that of the air.

    No command shows it alone: ``covercrop ready`` rests on it.

    Parameters
    ----------
    tmean : array_like of shape (..., day), Series, DataFrame or DataArray
        Daily mean of the air [degC], without missing days: from one on, nothing is known.  A DataFrame has a row a
        day and a column a station, a DataArray the dimension ``time``.
    ground : str
        ``bare``, ``straw`` or ``black-plastic``.
    depth_cm : float
        Depth [cm], 0 to 100.

    Returns
    -------
    of the kind that was given
        [degC], with its labels.  The first ten days or so still feel that they are the first.

    Raises
    ------
    UnknownNameError
        If there is no such ground.
    UsageError
        If the depth is none, or a frame holds no numbers.

    References
    ----------
    Kätterer, T., Andrén, O. (2009). Acta Agriculturae Scandinavica B 59(1), 77-86.
    """
    if not (isinstance(depth_cm, int | float) and 0.0 <= depth_cm <= DEEPEST):
        raise UsageError(f"`depth_cm` = {depth_cm!r}: give centimetres, 0 to {DEEPEST:g}")

    def daily(air: Array) -> Array:
        return soil.soil_temperature(air, ground, depth_mm=10.0 * depth_cm)

    about = {"long_name": f"soil temperature at {depth_cm:g} cm", "units": "degC"}
    return _alike(daily, "soil_temperature", about, tmean=tmean)


@overload
def snow_depth(tmean: Labelled, precipitation: Labelled) -> Labelled: ...
@overload
def snow_depth(tmean: ArrayLike, precipitation: ArrayLike) -> Array: ...
def snow_depth(tmean: Any, precipitation: Any) -> Any:
    """Daily depth of the snow on the ground, from temperature and precipitation.

    No command shows it alone: ``covercrop ready`` rests on it where snow was not measured.

    Parameters
    ----------
    tmean, precipitation : array_like of shape (..., day), Series, DataFrame or DataArray
        Daily mean of the air [degC], and rain with the water in what snows [mm], both of one kind and with the same
        labels.  A day of either that is not known brings no snow.

    Returns
    -------
    of the kind that was given
        [mm], with its labels; it begins with none on the ground.

    Raises
    ------
    UsageError
        If the two are not of one kind, or their labels differ.
    """
    about = {"long_name": "snow depth", "units": "mm"}
    return _alike(snow.snow_depth, "snow_depth", about, tmean=tmean, precipitation=precipitation)


@overload
def crown_temperature(tmean: Labelled, snow_mm: Labelled) -> Labelled: ...
@overload
def crown_temperature(tmean: ArrayLike, snow_mm: ArrayLike) -> Array: ...
def crown_temperature(tmean: Any, snow_mm: Any) -> Any:
    """Daily temperature at the crowns of a stand, some 2 cm below bare ground or snow.

    No command shows it alone: ``covercrop ready`` rests on it.

    Parameters
    ----------
    tmean, snow_mm : array_like of shape (..., day), Series, DataFrame or DataArray
        Daily mean of the air [degC] and depth of the snow [mm], both of one kind and with the same labels; a depth that
        is NaN is none.

    Returns
    -------
    of the kind that was given
        [degC], with its labels; NaN for three days from one on of which the air is not known.

    Raises
    ------
    UsageError
        If the two are not of one kind, or their labels differ.

    References
    ----------
    Aase, J.K., Siddoway, F.H. (1979), as CERES-Wheat has it (not seen; see ``jrc_crown`` in the sources).
    """
    about = {"long_name": "crown temperature", "units": "degC"}
    return _alike(crown.crown_temperature, "crown_temperature", about, tmean=tmean, snow_mm=snow_mm)


def day_length(latitude: Any, dates: Any) -> Any:
    """Time from sunrise to sunset, as they are seen.

    No command shows it alone: ``covercrop ready`` rests on it.

    Parameters
    ----------
    latitude : float, array_like or Series
        [degrees], north positive; a Series has one for each station.
    dates : DatetimeIndex, Series, DataArray, array_like of datetime64, or a single date
        The days.

    Returns
    -------
    numpy.ndarray, Series, DataFrame or DataArray
        [h]; 24 in polar day, 0 in polar night.  A DatetimeIndex or a Series of days comes back as a Series on its
        index; with a Series of latitudes as a DataFrame with a column a station; a DataArray as one; all else as an
        array, the two broadcast.

    Raises
    ------
    UsageError
        If a latitude does not lie between -90 and 90, or a day is none.

    Notes
    -----
    Three minutes off at worst, at 60 degrees near the equinoxes, since leap years are averaged.

    References
    ----------
    U.S. Naval Observatory, Approximate Solar Coordinates (the low-precision formula of the Astronomical Almanac).
    """
    import pandas as pd

    if _is_data_array(dates):
        days = day_of_year(_as_days(dates.values))
        hours = daylength.day_length(latitude, days)
        return dates.copy(data=hours).rename("day_length").assign_attrs(long_name="day length", units="h")
    index = dates if isinstance(dates, pd.DatetimeIndex) else dates.index if isinstance(dates, pd.Series) else None
    days = day_of_year(_as_days(dates))
    if isinstance(latitude, pd.Series):
        rows = pd.DatetimeIndex(np.atleast_1d(_as_days(dates))) if index is None else index
        hours = daylength.day_length(latitude.to_numpy(np.float64), np.atleast_1d(days)[:, np.newaxis])
        return pd.DataFrame(hours, index=rows, columns=latitude.index)
    hours = daylength.day_length(latitude, days)
    return hours if index is None else pd.Series(hours, index=index, name="day_length")


def _as_days(dates: Any) -> Days:
    try:
        days = np.asarray(dates, dtype="datetime64[D]")
    except (TypeError, ValueError):
        raise UsageError(f"`dates` = {dates!r} are no days; give dates, such as 2026-04-20") from None
    if np.issubdtype(np.asarray(dates).dtype, np.number):
        raise UsageError("`dates` are numbers; give dates, such as 2026-04-20")
    if np.isnat(days).any():
        raise UsageError("`dates` has a day that is missing (NaT); leave it out")
    return days


# --- kinds ----------------------------------------------------------------------------------------


def _alike(work: Callable[..., Array], name: str, about: dict[str, str], **given: Any) -> Any:
    """What a model makes of arrays with the day last, for data of one kind, as that kind."""
    import pandas as pd

    kinds = {argument: _kind(values) for argument, values in given.items()}
    if len(set(kinds.values())) > 1:
        said = " and ".join(f"`{argument}` is {kind}" for argument, kind in kinds.items())
        raise UsageError(f"{said}; give both alike")
    first = next(iter(given.values()))
    if _is_data_array(first):
        return _on_data_arrays(work, name, about, given)
    if isinstance(first, pd.Series | pd.DataFrame):
        _check_labels(given)
        columns = [_numbers(argument, values.to_numpy()) for argument, values in given.items()]
        made = work(*(column.T for column in columns)).T
        if isinstance(first, pd.DataFrame):
            return pd.DataFrame(made, index=first.index, columns=first.columns)
        return pd.Series(made, index=first.index, name=name)
    arrays = {argument: _numbers(argument, values) for argument, values in given.items()}
    shapes = {argument: array.shape for argument, array in arrays.items()}
    if () in shapes.values() or len({shape[-1:] for shape in shapes.values()}) > 1:
        said = " and ".join(f"`{argument}` has shape {shape}" for argument, shape in shapes.items())
        raise UsageError(f"{said}; give as many days of each, along the last axis")
    return work(*arrays.values())


def _on_data_arrays(
    work: Callable[..., Array], name: str, about: dict[str, str], given: dict[str, Any]
) -> xr.DataArray:
    import xarray as xr

    for argument, values in given.items():
        if TIME not in values.dims:
            raise UsageError(f"`{argument}` has no dimension {TIME!r}; rename the one along which the days run")
    # A day needs the next one, and the soil all before it: the days of a cell stay together.
    whole = [values.chunk({TIME: -1}) if values.chunks else values for values in given.values()]
    try:
        made: xr.DataArray = xr.apply_ufunc(
            work,
            *whole,
            input_core_dims=[[TIME]] * len(whole),
            output_core_dims=[[TIME]],
            join="exact",
            dask="parallelized",
            output_dtypes=[np.float64],
        )
    except xr.AlignmentError:
        raise UsageError(f"{_both(given)} have other labels; select the same days and places of both") from None
    first = next(iter(given.values()))
    return made.transpose(*first.dims, ...).rename(name).assign_attrs(about)


def _check_labels(given: dict[str, Any]) -> None:
    first = next(iter(given.values()))
    for values in given.values():
        for what, labels, own in zip(("index", "columns"), first.axes, values.axes, strict=False):
            if not labels.equals(own):
                other = [*labels.difference(own), *own.difference(labels)]
                way_out = f", such as {other[0]}" if other else " or their order"
                raise UsageError(f"{_both(given)} differ in their {what}{way_out}; select the same of both")


def _both(given: dict[str, Any]) -> str:
    return " and ".join(f"`{argument}`" for argument in given)


def _numbers(argument: str, values: Any) -> Array:
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise UsageError(f"`{argument}` holds what is no number; leave such columns out") from None


def _kind(values: Any) -> str:
    import pandas as pd

    if _is_data_array(values):
        return "a DataArray"
    for kind, said in ((pd.Series, "a Series"), (pd.DataFrame, "a DataFrame")):
        if isinstance(values, kind):
            return said
    return "an array"


def _unit(*extremes: Any) -> str:
    """The unit that DataArrays state; empty where they state none."""
    units = {str(each.attrs["units"]) for each in extremes if _is_data_array(each) and "units" in each.attrs}
    if len(units) > 1:
        raise UsageError(
            f"`tmin` and `tmax` are in different units, {' and '.join(sorted(units))}; convert one of them"
        )
    return next(iter(units), "")


def _is_data_array(values: Any) -> bool:
    """Whether it is one, without importing xarray, which is not always installed."""
    xarray = sys.modules.get("xarray")
    return xarray is not None and isinstance(values, xarray.DataArray)
