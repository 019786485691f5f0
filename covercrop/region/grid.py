"""A grid of daily temperatures, opened without being read, and cut into blocks of cells.

NetCDF and Zarr by the CF conventions: variables are known by their names or
by their standard names, places by latitude and longitude of one or two
dimensions, temperatures by their units.  What cannot be used is said in one
line before anything is worked out.
"""

from __future__ import annotations

import hashlib
import warnings
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Array, Days
from covercrop.base.errors import ParameterError, RegionError
from covercrop.base.units import celsius_from_fahrenheit
from covercrop.models.season_calendar import SEASON_DAYS
from covercrop.region.cells import (
    COLDEST,
    HOTTEST,
    MOST_APART,
    NEAR_EQUATOR,
    Answers,
    Place,
    grid_answers,
    no_answers,
    seasons_apart,
)
from covercrop.region.question import MonthDay, Question
from covercrop.region.stored import check_numbers, open_stored, values
from covercrop.weather.outlook import FEWEST_YEARS

if TYPE_CHECKING:
    import xarray as xr


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
_MIXED = ("standard", "gregorian")
_REAL = (*_MIXED, "proleptic_gregorian")
_NO_LEAP = ("noleap", "365_day")

_EXTREMES = {"tasmin": "minimum", "tasmax": "maximum"}

#: Days beyond which a time axis is damaged, or none: more than any model of the climate has run.
MOST_DAYS = 2_000_000
#: Years that dates can be written in.
FIRST_YEAR, LAST_YEAR = 1, 9998
#: Before this day the calendar called standard has 29 Februaries that later rules do not know, and then a jump.
GREGORIAN = np.datetime64("1582-10-15")

#: Share of the days beyond what weather can be that makes a unit false, rather than a day; as for a weather file.
FALSE_SHARE = 0.02

#: Cells that are looked at before the work begins, as shares of the way along each dimension, until one has
#: temperatures: the middle one, and then a ring around it.
_LOOK_AT = sorted(product((0.25, 0.5, 0.75), repeat=2), key=lambda share: share != (0.5, 0.5))

#: What a longitude may be: from 180 degrees west or the prime meridian, or wherever an ocean model begins.
_LONGITUDES = (-360.0, 540.0)


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
    raw = open_stored(path)
    names = {name: _extreme(raw, name, path) for name in _EXTREMES}
    time = _time_dim(raw, names["tasmin"], path)
    for name in names.values():
        check_numbers(raw[name], name, path)
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
    if empty := [dim for dim in dims if not data.sizes[dim]]:
        raise RegionError(
            f"{path}: tasmin has no cells: the dimension {empty[0]} is empty; give a grid with cells in it"
        )
    if taken := {*dims} & {*no_answers(0, 0).arrays(), "percentile"}:
        raise RegionError(f"{path}: a dimension is called {min(taken)}, as a part of the answer is; rename it")
    data = data.transpose(time, *dims)
    unit = {name: _unit(data[name], name, path) for name in _EXTREMES}
    latitude, longitude = (_place(raw, data, dims, kind, name, path) for kind, name in places.items())
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
    _look_at_cells(grid, path)
    return grid


_FEBRUARY = "The calendar of the input has no 29 February: that day is filled on a straight line, in every leap year."


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
    """The day of each step, every day once and in order, and the calendar."""
    calendar = str(raw[time].attrs.get("calendar", "standard")).lower()
    if calendar not in (*_REAL, *_NO_LEAP):
        raise RegionError(
            f"{path}: calendar {calendar!r} has days that no date stands for; convert it to standard or noleap first"
        )
    moments = _moments(raw, time, calendar, path)
    for each in (moments.min(), moments.max()):
        if not FIRST_YEAR <= each.year <= LAST_YEAR:
            raise RegionError(f"{path}: {time} reaches into the year {each.year}; mend its attribute 'units'")
    if calendar in _MIXED and moments.min().year <= GREGORIAN.astype(object).year:
        raise RegionError(
            f"{path}: calendar {calendar!r} has days before {GREGORIAN} that no date stands for; convert it to "
            "proleptic_gregorian first"
        )
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


def _moments(raw: xr.Dataset, time: str, calendar: str, path: Path) -> NDArray[Any]:
    """What each step stands for, in its calendar."""
    import cftime

    count = raw.sizes[time]
    if not count:
        raise RegionError(f"{path}: holds no day: {time} has no steps; give {FEWEST_DAYS / 365.25:.1f} years of days")
    if count > MOST_DAYS:
        raise RegionError(f"{path}: {time} has {count:,} steps, more than days can be; make the file anew")
    check_numbers(raw[time], time, path)
    numbers = values(raw[time], time, path)
    if not np.isfinite(numbers).all():
        at = int(np.argmin(np.isfinite(numbers)))
        raise RegionError(f"{path}: {time} holds no date at step {at + 1} of {count}; give every step its day")
    units = str(raw[time].attrs.get("units", ""))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return np.atleast_1d(cftime.num2date(numbers, units, calendar, only_use_cftime_datetimes=True))
    except (ValueError, KeyError, TypeError, OverflowError, Warning) as error:
        raise RegionError(
            f"{path}: the time cannot be read ({error}); give units such as 'days since 1991-01-01'"
        ) from None


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


def _place(raw: xr.Dataset, data: xr.Dataset, dims: tuple[str, ...], kind: str, name: str, path: Path) -> Array:
    """Latitude or longitude of each cell [degrees]; NaN where a cell of two dimensions has none."""
    variable = raw[name]
    check_numbers(variable, name, path)
    unit = str(variable.attrs.get("units", ""))
    if unit.casefold().startswith("rad"):
        raise RegionError(f"{path}: {name} is in {unit}; give degrees")
    degrees = _over_space(raw, data, dims, name, path).astype(np.float64)
    unknown = np.isnan(degrees)
    if unknown.all() or (variable.ndim < 2 and unknown.any()):
        raise RegionError(
            f"{path}: {name} holds no number for {'any' if unknown.all() else 'some'} of the cells; mend it"
        )
    low, high = (-90.0, 90.0) if kind == "latitude" else _LONGITUDES
    beyond = ~unknown & ((degrees < low) | (degrees > high))
    if beyond.any():
        raise RegionError(
            f"{path}: a {kind} of {degrees[beyond].flat[0]:g}; give degrees from "
            f"{'-90 to 90' if kind == 'latitude' else '-180 to 180, or 0 to 360'}"
        )
    return degrees


def _over_space(raw: xr.Dataset, data: xr.Dataset, dims: tuple[str, ...], name: str, path: Path) -> NDArray[Any]:
    """A variable's value for each cell."""
    variable = raw[name]
    if not {str(dim) for dim in variable.dims} <= set(dims):
        lies, space = (" and ".join(map(str, each)) for each in (variable.dims, dims))
        raise RegionError(f"{path}: {name!r} runs over {lies}, and the cells over {space}; give it for each cell")
    like = data["tasmin"].isel({data["tasmin"].dims[0]: 0}, drop=True)
    alone = variable.drop_vars([each for each in variable.coords if each not in dims], errors="ignore")
    return values(alone.broadcast_like(like).transpose(*dims), name, path)


def _choices(
    raw: xr.Dataset, option: str, name: str, data: xr.Dataset, dims: tuple[str, ...], path: Path
) -> NDArray[Any]:
    """What a variable says for each cell: days of the year for sowing, else names by its flags."""
    if name not in raw:
        raise RegionError(f"{path}: no variable {name!r} for the {option} of each cell; add it, or give one for all")
    variable, given = raw[name], _over_space(raw, data, dims, name, path)
    chosen = np.full(given.shape, None, dtype=object)
    if option == "sown":
        check_numbers(variable, name, path)
        whole = np.isfinite(given) & (given >= 1) & (given <= 366)
        for number in np.unique(given[whole]):
            chosen[given == number] = _month_day(int(number))
        return chosen
    if given.dtype.kind in "OUST":
        chosen[...] = np.vectorize(
            lambda text: text.decode(errors="replace") if isinstance(text, bytes) else str(text), otypes=[object]
        )(given)
        return chosen
    flags, meanings = variable.attrs.get("flag_values"), str(variable.attrs.get("flag_meanings", "")).split()
    if flags is None or len(np.atleast_1d(flags)) != len(meanings):
        raise RegionError(f"{path}: {name!r} holds numbers; give flag_values and flag_meanings, a name for each")
    for flag, meaning in zip(np.atleast_1d(flags), meanings, strict=True):
        chosen[given == flag] = meaning.replace("_", "-") if option != "cultivar" else meaning.replace("_", " ")
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
    seen = hashlib.sha256(str(path.resolve()).encode(errors="surrogateescape"))
    files = sorted(path.rglob("*")) if path.is_dir() else [path]
    for file in files:
        with suppress(OSError):  # a link that leads nowhere is a piece that is missing
            if file.is_file():
                about = file.stat()
                seen.update(f"{file.name} {about.st_size} {about.st_mtime_ns}".encode(errors="surrogateescape"))
    seen.update(days.tobytes())
    seen.update(repr(sorted((str(name), variable.shape) for name, variable in raw.variables.items())).encode())
    for array in arrays:
        seen.update(repr(array).encode() if isinstance(array, dict) else array.tobytes())
    return seen.hexdigest()


def _look_at_cells(grid: Grid, path: Path) -> None:
    """Refuse units of temperature and place that cannot be true, before hours are spent on them."""
    north = np.nanmax(np.abs(grid.latitude))
    for share in _LOOK_AT:
        cell = {dim: int(along * grid.dataset.sizes[dim]) for dim, along in zip(grid.dims, share, strict=False)}
        low, high = (celsius(values(grid.dataset[name].isel(cell), name, path), grid.unit[name]) for name in _EXTREMES)
        known = ~(np.isnan(low) | np.isnan(high))
        if not known.any():
            continue  # sea or beyond the border; the blocks look at every cell
        for name, series in zip(_EXTREMES, (low[known], high[known]), strict=True):
            if np.mean((series < COLDEST) | (series > HOTTEST)) >= FALSE_SHARE:
                raise RegionError(
                    f"{path}: {name} in {grid.unit[name]} would run from {series.min():.0f} to {series.max():.0f} degC "
                    f"at {_named(grid, cell)}; mend its attribute 'units', or declare its missing values"
                )
        if north > NEAR_EQUATOR:
            return
        apart = seasons_apart(grid.days, low, high)
        if apart > MOST_APART:
            raise RegionError(
                f"{path}: no latitude is further from the equator than {north:.2f}, but summer and winter are "
                f"{apart:.0f} K apart at {_named(grid, cell)}; the latitude looks like radians, give degrees"
            )


def _named(grid: Grid, cell: dict[str, int]) -> str:
    """A cell by its place."""
    where = tuple(cell.values())
    return f"latitude {grid.latitude[where]:.2f}, longitude {grid.longitude[where]:.2f}"


def celsius(stored: NDArray[Any], unit: str) -> Array:
    """Temperatures in degC."""
    degrees = np.asarray(stored, dtype=np.float64)
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
    flat = [stored.reshape(len(days), cells) for stored in (tasmin, tasmax)]
    if all(np.isnan(stored).all() for stored in flat):
        return no_answers(cells, percentiles)
    length = int((days[-1] - days[0]).astype(np.int64)) + 1
    at = (days - days[0]).astype(np.int64)
    low, high = (np.full((cells, length), np.nan) for _ in range(2))
    for series, stored, name in zip((low, high), flat, _EXTREMES, strict=True):
        series[:, at] = celsius(stored.T, unit[name])
    asked = _questions(question, {option: chosen.ravel() for option, chosen in choices.items()}, cells)
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
