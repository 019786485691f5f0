"""A grid of daily temperatures, opened without being read, and cut into blocks of cells.

NetCDF and Zarr by the CF conventions: variables are known by their names or
by their standard names, places by latitude and longitude of one or two
dimensions, temperatures by their units.  What cannot be used is said in one
line before anything is worked out.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.errors import ParameterError, RegionError
from covercrop.region.cells import COLDEST, HOTTEST, Answers, Place, grid_answers, no_answers
from covercrop.region.question import MonthDay, Question
from covercrop.season import SEASON_DAYS
from covercrop.units import celsius_from_fahrenheit
from covercrop.weather.outlook import FEWEST_YEARS

if TYPE_CHECKING:
    import xarray as xr

Array = NDArray[np.float64]
Days = NDArray[np.datetime64]

#: Cells that are worked out together: some seconds of work, and tens of megabytes.
BLOCK_CELLS = 256
#: Input is kept in pieces of its own; blocks follow them up to this size.
MOST_BLOCK_CELLS = 1024

#: Days that a season of each of the fewest years needs.
FEWEST_DAYS = FEWEST_YEARS * 365 + SEASON_DAYS

_UNITS = {
    "K": ("K", "kelvin", "degK", "Kelvin", "degrees_kelvin"),
    "degC": ("degC", "C", "celsius", "Celsius", "degree_Celsius", "degrees_Celsius", "degrees_C", "deg_C", "°C"),
    "degF": ("degF", "F", "fahrenheit", "Fahrenheit", "degree_Fahrenheit", "degrees_Fahrenheit", "degrees_F", "°F"),
}
_UNIT = {spelled: unit for unit, spellings in _UNITS.items() for spelled in spellings}

#: Calendars with the days that dates have; the second kind only lacks 29 February.
_REAL = ("standard", "gregorian", "proleptic_gregorian")
_NO_LEAP = ("noleap", "365_day")

_EXTREMES = {"tasmin": "minimum", "tasmax": "maximum"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A grid that can be asked.

    Attributes
    ----------
    dataset : xarray.Dataset
        ``tasmin`` and ``tasmax`` with the time first, lazy, in blocks; with their coordinates.
    dims : tuple of str
        The dimensions of space.
    latitude, longitude : numpy.ndarray
        Of each cell [degrees], in the shape of space.
    days : numpy.ndarray of datetime64[D], shape (time,)
        The day of each step.
    calendar : str
    unit : str
        ``K``, ``degC`` or ``degF``, as stored.
    choices : dict of str to numpy.ndarray
        What each cell chooses for itself, in the shape of space; None where it does not.
    mapping : str
        Name of the variable that says how the grid is projected, or empty.
    identity : str
        A fingerprint of the input.
    notes : tuple of str
    """

    dataset: xr.Dataset
    dims: tuple[str, ...]
    latitude: Array
    longitude: Array
    days: Days
    calendar: str
    unit: dict[str, str]
    choices: dict[str, NDArray[Any]]
    mapping: str
    identity: str
    notes: tuple[str, ...]

    def blocks(self) -> list[tuple[slice, ...]]:
        """Where each block lies in space."""
        edges = []
        for dim in self.dims:
            ends = np.cumsum(self.dataset.chunksizes[dim])
            edges.append(
                [slice(int(end - size), int(end)) for end, size in zip(ends, self.dataset.chunksizes[dim], strict=True)]
            )
        return list(product(*edges))


def open_grid(path: Path, question: Question) -> Grid:
    """Open a grid and see whether it can be asked.

    Parameters
    ----------
    path : pathlib.Path
        A NetCDF file, or the folder of a Zarr store.
    question : Question

    Raises
    ------
    RegionError
        If it cannot be used as it is.
    """
    raw = _open(path)
    names = {name: _extreme(raw, name, path) for name in _EXTREMES}
    time = _time_dim(raw, names["tasmin"], path)
    days, calendar = _days(raw, time, path)
    data = raw[[names["tasmin"], names["tasmax"]]].rename({names[name]: name for name in names})
    places = {kind: _place_name(raw, kind, path) for kind in ("latitude", "longitude")}
    of_place = {str(dim) for name in places.values() for dim in raw[name].dims}
    # A height of two metres is no dimension of the grid.
    data = data.isel({dim: 0 for dim in data.dims if data.sizes[dim] == 1 and str(dim) not in of_place}, drop=True)
    if data["tasmin"].dims != data["tasmax"].dims or data["tasmin"].shape != data["tasmax"].shape:
        raise RegionError(f"{path}: tasmin and tasmax do not lie on one grid; give both in one shape")
    dims = tuple(str(dim) for dim in data["tasmin"].dims if dim != time)
    if not dims:
        data, dims = data.expand_dims("cell", axis=-1), ("cell",)
    if len(dims) > 2:
        axes = ", ".join(f"{dim} ({data.sizes[dim]})" for dim in dims)
        raise RegionError(f"{path}: tasmin runs over {axes} beside the time; choose one of all but two of them")
    data = data.transpose(time, *dims)
    unit = {name: _unit(data[name], name, path) for name in _EXTREMES}
    latitude, longitude = (_place(raw, data, dims, name, path) for name in places.values())
    if (np.abs(latitude[~np.isnan(latitude)]) > 90).any():
        raise RegionError(f"{path}: a latitude of {np.nanmax(np.abs(latitude)):g}; give degrees from -90 to 90")
    choices = {option: _choices(raw, option, name, data, dims, path) for option, name in question.per_cell().items()}
    pieces: dict[Any, Any] = {time: -1, **_block_sizes(data["tasmin"], dims)}
    lazy = data.chunk(pieces)
    grid = Grid(
        dataset=lazy,
        dims=dims,
        latitude=latitude,
        longitude=longitude,
        days=days,
        calendar=calendar,
        unit=unit,
        choices=choices,
        mapping=str(
            raw[names["tasmin"]].attrs.get("grid_mapping", raw[names["tasmin"]].encoding.get("grid_mapping", ""))
        ),
        identity=_identity(path, raw, days, latitude, longitude, choices),
        notes=(_FEBRUARY,) if calendar in _NO_LEAP else (),
    )
    _look_at_one_cell(grid, path)
    return grid


_FEBRUARY = "The calendar of the input has no 29 February: that day is filled on a straight line, in every leap year."


def _open(path: Path) -> xr.Dataset:
    import xarray as xr

    if not path.exists():
        raise RegionError(f"{path}: no such file; give a NetCDF file, a Zarr store or a CSV table of stations")
    try:
        if path.is_dir():
            return xr.open_dataset(path, engine="zarr", chunks={}, decode_times=False, consolidated=False)
        return xr.open_dataset(path.resolve(), chunks={}, decode_times=False)
    except (OSError, ValueError, KeyError, TypeError, FileNotFoundError) as error:
        kind = "Zarr store" if path.is_dir() else "NetCDF file"
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        if "IO backends" in reason:  # names every package that might read it, and none that the reader can use
            reason = "it does not begin as one"
        raise RegionError(f"{path}: cannot be read as a {kind} ({reason}); check the path, or make it anew") from None


def _extreme(raw: xr.Dataset, name: str, path: Path) -> str:
    if name in raw:
        return name
    kind = _EXTREMES[name]
    for each, variable in raw.data_vars.items():
        named = variable.attrs.get("standard_name") == "air_temperature"
        if named and f"time: {kind}" in str(variable.attrs.get("cell_methods", "")):
            return str(each)
    have = ", ".join(str(each) for each in raw.data_vars) or "none"
    raise RegionError(
        f"{path}: no variable {name}, nor an air_temperature with cell_methods 'time: {kind}'; variables: {have}; "
        "rename or add it"
    )


def _time_dim(raw: xr.Dataset, tasmin: str, path: Path) -> str:
    for dim in raw[tasmin].dims:
        coordinate = raw[dim] if dim in raw.variables else None
        about = {} if coordinate is None else coordinate.attrs
        if about.get("standard_name") == "time" or " since " in str(about.get("units", "")):
            return str(dim)
    raise RegionError(
        f"{path}: tasmin has no time coordinate with units such as 'days since 1991-01-01'; add it to its dimension"
    )


def _days(raw: xr.Dataset, time: str, path: Path) -> tuple[Days, str]:
    import cftime

    about = raw[time].attrs
    calendar = str(about.get("calendar", "standard")).lower()
    if calendar not in (*_REAL, *_NO_LEAP):
        raise RegionError(
            f"{path}: calendar {calendar!r} has days that no date stands for; convert it to standard or noleap first"
        )
    try:
        moments = cftime.num2date(raw[time].values, about["units"], calendar, only_use_cftime_datetimes=True)
    except (ValueError, KeyError, TypeError, OverflowError) as error:
        raise RegionError(
            f"{path}: the time cannot be read ({error}); give units such as 'days since 1991-01-01'"
        ) from None
    moments = np.atleast_1d(moments)
    days = np.array([f"{each.year:04d}-{each.month:02d}-{each.day:02d}" for each in moments], dtype="datetime64[D]")
    steps = np.diff(days).astype(np.int64)
    if calendar in _NO_LEAP:
        steps[(steps == 2) & (_month_and_day(days[:-1]) == (2, 28)).all(axis=-1)] = 1
    if (steps < 0).any():
        at = int(np.argmax(steps < 0))
        raise RegionError(f"{path}: the days are not in order: {days[at]} stands before {days[at + 1]}; sort them")
    if (steps == 0).any():
        at = int(np.argmax(steps == 0))
        raise RegionError(f"{path}: {days[at]} stands more than once; give one minimum and one maximum a day")
    if (steps > 1).any():
        at = int(np.argmax(steps > 1))
        raise RegionError(
            f"{path}: {int((steps - 1).sum())} days are missing, the first after {days[at]}; give every day, with "
            "missing values where nothing is known"
        )
    if days.size < FEWEST_DAYS:
        raise RegionError(
            f"{path}: holds {days.size / 365.25:.1f} years, from {days[0]} to {days[-1]}; {FEWEST_DAYS / 365.25:.1f} "
            f"are needed for {FEWEST_YEARS} whole seasons"
        )
    return days, calendar


def _month_and_day(days: Days) -> NDArray[np.int64]:
    months = days.astype("datetime64[M]")
    return np.stack(
        (months.astype(np.int64) % 12 + 1, (days - months.astype("datetime64[D]")).astype(np.int64) + 1), axis=-1
    )


def _unit(variable: xr.DataArray, name: str, path: Path) -> str:
    unit = str(variable.attrs.get("units", ""))
    if unit not in _UNIT:
        shown = f"units {unit!r}" if unit else "no units"
        raise RegionError(f"{path}: {name} has {shown}; give them as K, degC or degF in its attribute 'units'")
    return _UNIT[unit]


def _place_name(raw: xr.Dataset, kind: str, path: Path) -> str:
    """The variable that holds the latitude or the longitude."""
    short, unit = kind[:3], {"latitude": "degrees_north", "longitude": "degrees_east"}[kind]
    for name, variable in raw.variables.items():
        about = variable.attrs
        if about.get("standard_name") == kind or about.get("units") == unit or str(name) in (kind, short):
            return str(name)
    raise RegionError(
        f"{path}: no {kind} for the cells; add a coordinate with standard_name {kind!r} and units {unit!r}"
    )


def _place(raw: xr.Dataset, data: xr.Dataset, dims: tuple[str, ...], name: str, path: Path) -> Array:
    """Latitude or longitude of each cell."""
    return np.asarray(_over_space(raw, data, dims, name, path), dtype=np.float64)


def _over_space(raw: xr.Dataset, data: xr.Dataset, dims: tuple[str, ...], name: str, path: Path) -> NDArray[Any]:
    """A variable's value for each cell."""
    variable = raw[name]
    if not {str(dim) for dim in variable.dims} <= set(dims):
        lies, space = (" and ".join(map(str, each)) for each in (variable.dims, dims))
        raise RegionError(f"{path}: {name!r} runs over {lies}, and the cells over {space}; give it for each cell")
    like = data["tasmin"].isel({data["tasmin"].dims[0]: 0}, drop=True)
    alone = variable.drop_vars([each for each in variable.coords if each not in dims], errors="ignore")
    return np.asarray(alone.broadcast_like(like).transpose(*dims).values)


def _choices(
    raw: xr.Dataset, option: str, name: str, data: xr.Dataset, dims: tuple[str, ...], path: Path
) -> NDArray[Any]:
    """What a variable says for each cell: days of the year for sowing, else names by its flags."""
    if name not in raw:
        raise RegionError(f"{path}: no variable {name!r} for the {option} of each cell; add it, or give one for all")
    variable, values = raw[name], _over_space(raw, data, dims, name, path)
    chosen = np.full(values.shape, None, dtype=object)
    if option == "sown":
        whole = np.isfinite(values) & (values >= 1) & (values <= 366)
        for number in np.unique(values[whole]):
            chosen[values == number] = _month_day(int(number))
        return chosen
    if values.dtype.kind in "OUS":
        chosen[...] = np.vectorize(
            lambda text: text.decode() if isinstance(text, bytes) else str(text), otypes=[object]
        )(values)
        return chosen
    flags, meanings = variable.attrs.get("flag_values"), str(variable.attrs.get("flag_meanings", "")).split()
    if flags is None or len(np.atleast_1d(flags)) != len(meanings):
        raise RegionError(f"{path}: {name!r} holds numbers; give flag_values and flag_meanings, a name for each")
    for flag, meaning in zip(np.atleast_1d(flags), meanings, strict=True):
        chosen[values == flag] = meaning.replace("_", "-") if option != "cultivar" else meaning.replace("_", " ")
    return chosen


@cache
def _month_day(number: int) -> MonthDay:
    """Month and day of a day of the year, counted in a year of 365 days."""
    day = np.datetime64("2001-01-01") + np.timedelta64(min(number, 365) - 1, "D")
    month, in_month = _month_and_day(np.array([day]))[0]
    return MonthDay(int(month), int(in_month))


def _block_sizes(variable: xr.DataArray, dims: tuple[str, ...]) -> dict[str, int]:
    """Cells along each dimension of a block: pieces of the store as they are, if they are not too big."""
    stored = variable.encoding.get("preferred_chunks", {})
    own = {dim: min(int(stored.get(dim, variable.sizes[dim])), variable.sizes[dim]) for dim in dims}
    count = int(np.prod([own[dim] for dim in dims]))
    if BLOCK_CELLS // 4 <= count <= MOST_BLOCK_CELLS:
        return own
    if count > MOST_BLOCK_CELLS:
        # Cut the slower dimension, so that a block is read in long runs.
        first, rest = dims[0], dims[1:]
        across = int(np.prod([own[dim] for dim in rest], initial=1))
        rows = max(BLOCK_CELLS // across, 1)
        return {first: min(rows, own[first]), **({rest[0]: min(own[rest[0]], MOST_BLOCK_CELLS)} if rest else {})}
    times = max(BLOCK_CELLS // count, 1)
    return {**own, dims[0]: min(own[dims[0]] * times, variable.sizes[dims[0]])}


def _identity(path: Path, raw: xr.Dataset, days: Days, *arrays: Any) -> str:
    """A fingerprint of the input: where it lies, what it weighs, when it was written, and its coordinates."""
    seen = hashlib.sha256(str(path.resolve()).encode())
    files = sorted(path.rglob("*")) if path.is_dir() else [path]
    for file in files:
        about = file.stat()
        if file.is_file():
            seen.update(f"{file.name} {about.st_size} {about.st_mtime_ns}".encode())
    seen.update(days.tobytes())
    seen.update(repr(sorted((str(name), variable.shape) for name, variable in raw.variables.items())).encode())
    for array in arrays:
        seen.update(repr(array).encode() if isinstance(array, dict) else array.tobytes())
    return seen.hexdigest()


def _look_at_one_cell(grid: Grid, path: Path) -> None:
    """Refuse units that cannot be true, or extremes that are swapped, before hours are spent on them."""
    middle = {dim: grid.dataset.sizes[dim] // 2 for dim in grid.dims}
    pair = [celsius(grid.dataset[name].isel(middle).values, grid.unit[name]) for name in _EXTREMES]
    if np.isnan(pair).all():
        return  # sea or beyond the border; the blocks look at every cell
    for name, values in zip(_EXTREMES, pair, strict=True):
        low, high = float(np.nanmin(values)), float(np.nanmax(values))
        if low < COLDEST or high > HOTTEST:
            raise RegionError(
                f"{path}: {name} in {grid.unit[name]} would run from {low:.0f} to {high:.0f} degC in the middle cell; "
                "mend its attribute 'units'"
            )


def celsius(values: NDArray[Any], unit: str) -> Array:
    """Temperatures in degC."""
    degrees = np.asarray(values, dtype=np.float64)
    if unit == "K":
        return degrees - 273.15
    return celsius_from_fahrenheit(degrees) if unit == "degF" else degrees


# --- a block --------------------------------------------------------------------------------------


def block_answers(
    tasmin: NDArray[Any],
    tasmax: NDArray[Any],
    days: Days,
    unit: dict[str, str],
    latitude: Array,
    question: Question,
    choices: dict[str, NDArray[Any]],
) -> Answers:
    """The answers of one block of cells; what the workers do.

    Parameters
    ----------
    tasmin, tasmax : numpy.ndarray, shape (time, ...)
        As stored.
    days : numpy.ndarray of datetime64[D], shape (time,)
    unit : dict of str to str
    latitude : numpy.ndarray, shape (...)
        [degrees].
    question : Question
    choices : dict of str to numpy.ndarray, shape (...)
        What each cell chooses for itself.
    """
    cells, percentiles = latitude.size, len(question.percentiles)
    flat = [values.reshape(len(days), cells) for values in (tasmin, tasmax)]
    if all(np.isnan(values).all() for values in flat):
        return no_answers(cells, percentiles)
    length = int((days[-1] - days[0]).astype(np.int64)) + 1
    at = (days - days[0]).astype(np.int64)
    low, high = (np.full((cells, length), np.nan) for _ in range(2))
    for series, values, name in zip((low, high), flat, _EXTREMES, strict=True):
        series[:, at] = celsius(values.T, unit[name])
    asked = _questions(question, {option: values.ravel() for option, values in choices.items()}, cells)
    places = [Place(latitude=float(north), question=one) for north, one in zip(latitude.ravel(), asked, strict=True)]
    return grid_answers(days[0], low, high, places, percentiles)


def _questions(question: Question, choices: dict[str, NDArray[Any]], cells: int) -> list[Question | None]:
    """The question of each cell; None where it makes no choice, or one that is not known."""
    if not choices:
        return [question] * cells

    @cache
    def asked(*chosen: Any) -> Question | None:
        if None in chosen:
            return None
        try:
            return question.with_choices(**dict(zip(choices, chosen, strict=True)))
        except ParameterError:
            return None

    return [asked(*chosen) for chosen in zip(*choices.values(), strict=True)]
