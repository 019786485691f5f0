"""What lies in an input file: opened without being read, and every value of it read, or refused, in one line."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.errors import RegionError
from covercrop.region.classic import is_whole

if TYPE_CHECKING:
    from pathlib import Path

    import xarray as xr

_WAY_OUT = "check the path, or make it anew"


def open_stored(path: Path) -> xr.Dataset:
    """A NetCDF file or a Zarr store, its times as they are stored.

    Parameters
    ----------
    path : pathlib.Path

    Raises
    ------
    RegionError
        If it cannot be read as one of the two.
    """
    import xarray as xr

    kind = "NetCDF file"
    try:
        if not path.exists():
            raise RegionError(f"{path}: no such file; give a NetCDF file, a Zarr store or a CSV table of stations")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of attributes that contradict each other: what is needed is checked here
            if path.is_dir():
                kind = "Zarr store"
                return xr.open_dataset(path, engine="zarr", chunks={}, decode_times=False, consolidated=False)
            if not path.is_file():
                raise RegionError(f"{path}: is no file; give a NetCDF file, a Zarr store or a CSV table of stations")
            if not is_whole(path):
                raise RegionError(f"{path}: ends before the last of its values; it was cut short, make it anew")
            return xr.open_dataset(path.resolve(), chunks={}, decode_times=False)
    except RegionError:
        raise
    except Exception as error:  # whatever the libraries of the formats may come to in a damaged file
        raise RegionError(f"{path}: cannot be read as a {kind} ({reason(error)}); {_WAY_OUT}") from None


def values(variable: xr.DataArray, name: str, path: Path) -> NDArray[Any]:
    """The values of a variable.

    Parameters
    ----------
    variable : xarray.DataArray
    name : str
        What it is, for the message.
    path : pathlib.Path

    Raises
    ------
    RegionError
        If they cannot be read.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return np.asarray(variable.values)
    except Exception as error:  # as above: the file can be damaged here alone
        raise RegionError(f"{path}: {name} cannot be read ({reason(error)}); {_WAY_OUT}") from None


def check_numbers(variable: xr.DataArray, name: str, path: Path) -> None:
    """Refuse a variable that holds anything but numbers.

    Raises
    ------
    RegionError
        If it does.
    """
    kind = variable.dtype.kind
    if kind not in "iuf":
        holds = {"M": "dates", "m": "lengths of time", "b": "yes or no", "c": "complex numbers"}.get(kind, "text")
        raise RegionError(f"{path}: {name} holds {holds}; give it as numbers")


def reason(error: Exception) -> str:
    """Why a file cannot be read, as far as its library says so in words that help."""
    if isinstance(error, OSError) and error.strerror and (error.errno or 0) > 0:  # below it, a library's own
        return error.strerror
    text = (str(error).splitlines() or [""])[0]
    if "IO backends" in text:  # names every package that might read it, and none that the reader can use
        return "it does not begin as one"
    if "HDF error" in text:
        return "it is damaged, or was cut short"
    if isinstance(error, MemoryError):
        return "it is larger than the memory"
    return text or type(error).__name__
