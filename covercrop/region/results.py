"""The answers of a region put together, as a CF dataset or a table of places."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.shipped import data_file
from covercrop.base.version import __version__
from covercrop.models import plantback
from covercrop.parameters import catalogue
from covercrop.region.cells import AT_PERCENTILES, CHANCES, LIMIT_NUMBER, SINGLE, STATUS, WARM, no_answers
from covercrop.region.question import Question, as_words
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    import xarray as xr

    from covercrop.region.grid import Grid

Arrays = dict[str, NDArray[Any]]

_FILL = -9999

#: Why a cell has no answer, in words.
WHY = {
    "no_data": "no temperatures",
    "gaps_too_long": "gaps too long to fill",
    "tasmin_above_tasmax": "a minimum above the maximum",
    "temperature_that_cannot_be": "temperatures that cannot be (are missing values declared?)",
    "too_few_years": "too few whole seasons",
    "no_sowing_date": "no sowing date: fewer than half of the autumns freeze",
    "no_such_choice": "a choice that is not known",
    "seasons_of_the_other_hemisphere": "the seasons of the other hemisphere (is the sign of the latitude right?)",
    "seasons_too_far_apart": "seasons that no place at the equator has (is the latitude in degrees?)",
    "never_warm": f"no day above {WARM:g} degC in all years (is the unit of the temperatures right?)",
    "no_place": "no latitude",
}


def why(count: int, status: str) -> str:
    """So many cells, and what keeps them from an answer."""
    return f"{count:,} {'has' if count == 1 else 'have'} {WHY[status]}"


DEFINITION = (
    "Each cell is answered as covercrop ready answers a field there on the day of sowing, with the cell's record as "
    "its only weather: every complete past season, at most thirty, times 64 draws of what is uncertain in plant and "
    "soil. Dates are those of a stand that lives through the winter. The date at percentile 10 comes before those of "
    "nine members in ten; no date where a stage is not reached. The season is the last that can begin in the record: "
    "the year of a date only says where in the season it lies."
)


def parameter_fingerprint() -> str:
    """What tells one version of the shipped parameters from another."""
    seen = hashlib.sha256()
    for name in ("covers.toml", "crops.toml"):
        seen.update(data_file(name).read_bytes())
    return seen.hexdigest()[:16]


def together(blocks: Iterable[tuple[tuple[Any, ...], Arrays]], shape: tuple[int, ...], percentiles: int) -> Arrays:
    """Blocks laid out in space.

    Parameters
    ----------
    blocks : iterable of (index into space, arrays by name)
    shape : tuple of int
        Of space.
    percentiles : int
        Number of them.
    """
    whole = {
        name: array.reshape(*array.shape[:-1], *shape)
        for name, array in no_answers(int(np.prod(shape)), percentiles).arrays().items()
    }
    for where, arrays in blocks:
        for name, array in arrays.items():
            place = whole[name][(..., *where)]
            place[...] = array.reshape(place.shape)
    return whole


def counts(arrays: Arrays) -> dict[str, int]:
    """Number of cells by status; those that occur."""
    number = np.bincount(arrays["status"].ravel(), minlength=len(STATUS))
    return {name: int(count) for name, count in zip(STATUS, number, strict=True) if count}


def dates_of(arrays: Arrays, name: str) -> NDArray[np.datetime64]:
    """Dates of a quantity that is kept as days after sowing."""
    days = arrays[name]
    reached = ~np.isnan(days)
    later = np.where(reached, days, 0).astype("timedelta64[D]")
    return np.where(reached, arrays["sowing"] + later, np.datetime64("NaT", "D"))


def dataset(grid: Grid, question: Question, arrays: Arrays, *, history: str, as_dates: bool) -> xr.Dataset:
    """The answers over a grid, by the CF conventions.

    Parameters
    ----------
    grid : Grid
    question : Question
    arrays : dict of str to numpy.ndarray
        From :func:`together`.
    history : str
        Who made it from what, and when.
    as_dates : bool
        Dates as CF time; else as days after sowing.
    """
    import xarray as xr

    sown = arrays["sowing"]
    known = ~np.isnat(sown)
    base = sown[known].min() if known.any() else np.datetime64("2000-01-01")
    located = {"grid_mapping": grid.mapping} if grid.mapping else {}
    if _two_dimensional(grid):
        located["coordinates"] = "lat lon"
    variables: dict[str, Any] = {}

    def add(name: str, values: NDArray[Any], about: dict[str, Any]) -> None:
        dims = (("percentile",) if name in AT_PERCENTILES else ()) + grid.dims
        variables[name] = (dims, values, {**about, **located})

    for name, words in (SINGLE | AT_PERCENTILES).items():
        if as_dates or name == "sowing":
            dates = sown if name == "sowing" else dates_of(arrays, name)
            units = {"units": f"days since {base}", "calendar": "standard"}
            there = ~np.isnat(dates)
            number = np.where(there, (np.where(there, dates, base) - base).astype(np.int64), _FILL)
            add(name, number.astype(np.int32), {"long_name": words, **units, "_FillValue": np.int32(_FILL)})
        else:
            about = {"long_name": f"{words}, in days after sowing", "units": "d", "_FillValue": np.float32(np.nan)}
            add(name, arrays[name].astype(np.float32), about)
    for name, words in CHANCES.items():
        if name == "planting_chance" and question.plant_by is None:
            continue
        about = {"long_name": words, "units": "1", "_FillValue": np.float32(np.nan)}
        if name == "planting_chance" and question.plant_by is not None:
            about["plant_by"] = f"{question.plant_by.month:02d}-{question.plant_by.day:02d}"
        add(name, arrays[name].astype(np.float32), about)
    limits = {
        "flag_values": np.arange(len(LIMIT_NUMBER) + 1, dtype=np.int8),
        "flag_meanings": _flags(("none", *LIMIT_NUMBER)),
    }
    add(
        "binding_limit",
        arrays["binding_limit"],
        {"long_name": "limit on planting that is most often the last to clear", **limits},
    )
    add("years", arrays["years"], {"long_name": "past seasons that took part", "units": "1"})
    status = {"flag_values": np.arange(len(STATUS), dtype=np.int8), "flag_meanings": _flags(STATUS)}
    add("status", arrays["status"], {"long_name": "whether the cell is answered, or why not", **status})

    percentile = np.array(question.percentiles)
    coordinates: dict[str, Any] = {
        "percentile": ("percentile", percentile, {"long_name": "percentile of the members", "units": "percent"}),
        **_place(grid),
    }
    made = xr.Dataset(variables, coords=coordinates, attrs=_about(question, history, grid.notes))
    if grid.mapping and grid.mapping in grid.dataset.coords:
        mapping = grid.dataset[grid.mapping]
        made[grid.mapping] = mapping.drop_attrs().assign_attrs(_plain(mapping.attrs))
    return made


def _two_dimensional(grid: Grid) -> bool:
    return not {"lat", "latitude"} & set(grid.dims)


def _place(grid: Grid) -> dict[str, Any]:
    """The coordinates of the input along space, and latitude and longitude."""
    kept: dict[str, Any] = {
        dim: (dim, grid.dataset[dim].values, _known(dim) | _plain(grid.dataset[dim].attrs))
        for dim in grid.dims
        if dim in grid.dataset.coords
    }
    if _two_dimensional(grid):
        kept["lat"] = (grid.dims, grid.latitude, _known("lat"))
        kept["lon"] = (grid.dims, grid.longitude, _known("lon"))
    return kept


def _known(dim: str) -> dict[str, str]:
    """What the CF conventions want said of a latitude or longitude, where the input leaves it out."""
    if dim in ("lat", "latitude"):
        return {"standard_name": "latitude", "long_name": "latitude", "units": "degrees_north"}
    if dim in ("lon", "longitude"):
        return {"standard_name": "longitude", "long_name": "longitude", "units": "degrees_east"}
    return {}


def _plain(attributes: dict[Any, Any]) -> dict[str, Any]:
    """Attributes that a NetCDF file can hold: those of a Zarr store may be anything that JSON has."""
    return {
        str(name): value
        for name, value in attributes.items()
        if name != "_FillValue"
        and "/" not in str(name)
        and (
            isinstance(value, str | int | float | np.generic)
            or (isinstance(value, list | np.ndarray) and np.asarray(value, dtype=object).ndim == 1)
        )
        and np.asarray(value).dtype.kind in "USiuf"
    }


def _flags(names: Sequence[str]) -> str:
    return " ".join(names)


def _about(question: Question, history: str, notes: Sequence[str]) -> dict[str, Any]:
    words = as_words(question)
    return {
        "Conventions": "CF-1.11",
        "title": f"Ending {words['cover']} and planting {words['crop']}",
        "source": f"covercrop {__version__}",
        "history": history,
        "references": "; ".join(advice.reference(catalogue.source(key)) for key in source_keys(question)),
        "comment": " ".join((DEFINITION, *notes)),
        "parameters": parameter_fingerprint(),
        "source_keys": " ".join(source_keys(question)),
        **{
            f"question_{name}": value
            if isinstance(value, str | float | int)
            else " ".join(f"{each:g}" for each in value)
            for name, value in words.items()
            if value not in (None, "")
        },
    }


def source_keys(question: Question) -> tuple[str, ...]:
    """Keys of the sources behind the answers; of the methods alone where cells choose their own cover or crop."""
    if isinstance(question.cover, str) and isinstance(question.crop, str) and isinstance(question.terminate, str):
        cover, crop = catalogue.cover(question.cover), catalogue.crop(question.crop)
        return advice.sources_of(question.terminate, cover, crop)
    return tuple(dict.fromkeys((*advice.METHOD_SOURCES, *plantback.SOURCES)))


def write_netcdf(made: xr.Dataset, path: Path) -> None:
    """Write a dataset as NetCDF, compressed."""
    made.to_netcdf(path, engine="netcdf4", encoding=_encoding(made, {"zlib": True, "complevel": 4}))


def write_zarr(made: xr.Dataset, path: Path) -> None:
    """Write a dataset as a Zarr store."""
    made.to_zarr(path, mode="w", consolidated=False, zarr_format=2, encoding=_encoding(made, {}))


def _encoding(made: xr.Dataset, how: dict[str, Any]) -> dict[Any, dict[str, Any]]:
    """How the variables are stored; a coordinate has no fill value, by the CF conventions."""
    places = {name: {"_FillValue": None} for name in made.coords if name in made.variables and made[name].ndim}
    return places | {name: dict(how) for name, variable in made.data_vars.items() if variable.ndim}


# --- places ---------------------------------------------------------------------------------------


def rows(places: Sequence[dict[str, Any]], question: Question, arrays: Arrays) -> list[dict[str, Any]]:
    """What is known of each place, by name, in plain values: for a table, or the properties of a point.

    Parameters
    ----------
    places : sequence of dict
        What the table of stations says of each.
    question : Question
    arrays : dict of str to numpy.ndarray
        The last axis is that of the places.
    """
    limits = {number: name for name, number in LIMIT_NUMBER.items()}
    dates = {name: dates_of(arrays, name) for name in (*AT_PERCENTILES, *SINGLE) if name != "sowing"}
    dates["sowing"] = arrays["sowing"]
    answered = []
    for at, place in enumerate(places):
        row = {**place, "status": STATUS[int(arrays["status"][at])]}
        for name in SINGLE:
            row[name] = _iso(dates[name][at])
        for name in AT_PERCENTILES:
            for percentile, date in zip(question.percentiles, dates[name][:, at], strict=True):
                row[f"{name}_p{percentile:g}"] = _iso(date)
        for name in CHANCES:
            if name != "planting_chance" or question.plant_by is not None:
                value = float(arrays[name][at])
                row[name] = None if np.isnan(value) else round(value, 3)
        row["binding_limit"] = limits.get(int(arrays["binding_limit"][at]))
        row["years"] = int(arrays["years"][at])
        answered.append(row)
    return answered


def _iso(date: np.datetime64) -> str | None:
    return None if np.isnat(date) else str(date.astype("datetime64[D]"))


def geojson(answered: Sequence[dict[str, Any]], question: Question, history: str) -> dict[str, Any]:
    """A collection of points (RFC 7946), with what is known of each."""
    return {
        "type": "FeatureCollection",
        "covercrop": {
            "history": history,
            "parameters": parameter_fingerprint(),
            "question": as_words(question),
            "sources": list(source_keys(question)),
            "comment": DEFINITION,
        },
        "features": [
            {
                "type": "Feature",
                "id": row["id"],
                "geometry": {
                    "type": "Point",
                    "coordinates": [row["longitude"], row["latitude"]]
                    + ([] if row["elevation"] is None else [row["elevation"]]),
                },
                "properties": {
                    name: value for name, value in row.items() if name not in ("longitude", "latitude", "elevation")
                },
            }
            for row in answered
        ],
    }
