"""Fields from a DataFrame: a row a field, a column a key.

The columns are the keys of the field file where these are plain; ``crop``
stands for the name of the crop, and ``station`` for that of the weather.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from covercrop.base.days import date_of
from covercrop.base.errors import CovercropError, UsageError, one_line
from covercrop.field.checks import ends_of
from covercrop.field.entries import CoverEntry, CropEntry, Field, WeatherEntry
from covercrop.field.ranges import MIXED

if TYPE_CHECKING:
    import pandas as pd

_FIELD = ("latitude", "longitude", "elevation_m", "area_m2")
_COVER = ("species", "cultivar", "with", "legume_percent", "sown", "turned_under", "terminate")
_CROP = ("method", "ground_cover", "days_to_maturity", "soil_c", "planted")
_DATES = ("sown", "turned_under", "planted")
_NUMBERS = (*_FIELD, "days_to_maturity", "soil_c")

#: Every column that is understood, and those that no row can do without.
COLUMNS = ("name", *_FIELD, *_COVER, "crop", *_CROP, "station")
NEEDED = ("latitude", "longitude", "species", "sown", "crop")


def read_rows(frame: pd.DataFrame) -> list[tuple[str, Field | str]]:
    """The fields of a table.

    Parameters
    ----------
    frame : pandas.DataFrame
        A row a field.  Columns ``latitude``, ``longitude`` [degrees, north and east positive], ``species``, ``sown``
        and ``crop``; where they are of use ``name`` (the label of the row by default), ``elevation_m``, ``area_m2``,
        ``cultivar``, ``with``, ``legume_percent`` [%, or a range as ``30-50``], ``turned_under``, ``terminate``,
        ``method``, ``ground_cover``, ``days_to_maturity``, ``soil_c`` [degC], ``planted`` and ``station``.  An empty
        cell is as if its column were not there.

    Returns
    -------
    list of (name, Field or str)
        In the order of the rows; a text is what is wrong with the row.

    Raises
    ------
    UsageError
        If a column is missing, stands twice or is not known; the nearest known one is named.
    """
    _check_columns([str(column) for column in frame.columns])
    names = frame["name"] if "name" in frame else [None] * len(frame)
    columns = [str(column) for column in frame.columns if column != "name"]
    found: list[tuple[str, Field | str]] = []
    cells = frame[columns].itertuples(index=False, name=None)
    for label, said, row in zip(frame.index, names, cells, strict=True):
        name = str(label) if _is_empty(said) else str(said)
        given = {column: value for column, value in zip(columns, row, strict=True) if not _is_empty(value)}
        try:
            found.append((name, _field(name, given)))
        except CovercropError as error:
            found.append((name, one_line(error)))
    return found


def _check_columns(columns: list[str]) -> None:
    for column in columns:
        if column not in COLUMNS:
            near = get_close_matches(column, COLUMNS, n=1)
            way_out = f"did you mean {near[0]!r}?" if near else f"known columns: {', '.join(COLUMNS)}"
            raise UsageError(f"`fields`: unknown column {column!r}; {way_out}")
        if columns.count(column) > 1:
            raise UsageError(f"`fields`: two columns are named {column!r}; keep one")
    for column in NEEDED:
        if column not in columns:
            raise UsageError(f"`fields`: no column {column!r}; a row needs {', '.join(NEEDED)}")


def _is_empty(cell: Any) -> bool:
    """Whether nothing stands in a cell: None, NaN, NaT, pandas' NA or an empty text."""
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return True
    import pandas as pd

    return pd.api.types.is_scalar(cell) and bool(pd.isna(cell))


def _field(name: str, given: dict[str, Any]) -> Field:
    for column in NEEDED:
        if column not in given:
            raise UsageError(f"{column} is empty; fill it in")
    for column in given.keys() & set(_DATES):
        given[column] = date_of(given[column], column)
    for column in given.keys() & set(_NUMBERS):
        given[column] = _number(given[column], column)

    def those(columns: tuple[str, ...]) -> dict[str, Any]:
        return {column: given[column] for column in columns if column in given}

    cover = those(_COVER)
    cover["companion"] = cover.pop("with", None)
    if isinstance(cover.get("legume_percent"), str):
        cover["legume_percent"] = ends_of(cover["legume_percent"], "legume_percent", f"give {MIXED}")
    return Field(
        name=name,
        **those(_FIELD),
        cover=CoverEntry(**cover),
        crop=CropEntry(name=given["crop"], **those(_CROP)),
        weather=WeatherEntry(station=str(given.get("station", ""))),
    )


def _number(cell: Any, column: str) -> float:
    try:
        return float(cell)
    except (TypeError, ValueError):
        raise UsageError(f"{column} = {cell!r} is no number; mend the cell") from None
