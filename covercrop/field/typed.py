"""A field as it is typed, a text for each thing, turned into an entry of the field file."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from covercrop.base.days import date_of, us_date
from covercrop.base.errors import UsageError
from covercrop.field.checks import ends_of
from covercrop.field.ranges import AREA, ELEVATION, MIXED

#: A number and the letters behind it.
_QUANTITY = re.compile(r"\s*(-?[\d.]+)\s*([a-zA-Z]+2?)\s*")
#: What people call the units of the file.
_ALSO = {"acre": "acres", "ac": "acres", "sqft": "ft2", "sqm": "m2", "hectares": "ha", "hectare": "ha", "feet": "ft"}
#: Those of each quantity.
UNITS_OF = {"elevation": tuple(ELEVATION), "area": tuple(AREA)}

#: The keys of the tables inside a field's own.
COVER = {
    "cover": "species",
    "cultivar": "cultivar",
    "with": "with",
    "legume_percent": "legume_percent",
    "sown": "sown",
    "terminate": "terminate",
}
CROP = {
    "crop": "name",
    "method": "method",
    "ground_cover": "ground_cover",
    "days_to_maturity": "days_to_maturity",
}


def entry_of(typed: Mapping[str, str], path: Path, *, us: bool) -> dict[str, Any]:
    """The entry of a field.

    Parameters
    ----------
    typed : mapping of str to str
        ``name``, ``at``, ``elevation``, ``area``, the keys of :data:`COVER` and :data:`CROP`, ``station``,
        ``weather_units`` and ``weather_file``, which is named from the folder one works in; what is not given is not
        there.
    path : pathlib.Path
        Where the field file stands: its weather file is named from there.
    us : bool
        Take dates as Americans write them too.

    Returns
    -------
    dict
        As :func:`covercrop.add_field` takes it.

    Raises
    ------
    UsageError
        If a text is not what it should be; it names the argument.
    """
    entry: dict[str, Any] = {"name": typed["name"]}
    entry["latitude"], entry["longitude"] = place_of(typed["at"])
    for stem in UNITS_OF:
        if stem in typed:
            entry |= quantity_of(typed[stem], stem)
    cover: dict[str, Any] = {key: typed[name] for name, key in COVER.items() if name in typed}
    if cover and "species" not in cover:
        raise UsageError(f"`cover` is missing, and {', '.join(cover)} is given; name the cover")
    if cover and "sown" not in cover:
        raise UsageError(f"`sown` is missing; give the day on which the {cover['species']} was sown")
    if cover:
        cover["sown"] = day_of(cover["sown"], "sown", us=us)
    if "legume_percent" in cover:
        cover["legume_percent"] = share_of(cover["legume_percent"])
    crop: dict[str, Any] = {key: typed[name] for name, key in CROP.items() if name in typed}
    if "days_to_maturity" in crop:
        crop["days_to_maturity"] = number_of(crop["days_to_maturity"], "days_to_maturity")
    weather = {"station": typed["station"]} if "station" in typed else {}
    if "weather_file" in typed:
        weather["file"] = _beside(typed["weather_file"], path)
    if "weather_units" in typed:
        weather["units"] = typed["weather_units"]
    return {**entry, "cover": cover, "weather": weather, "crop": crop}


def place_of(text: str) -> tuple[float, float]:
    """Latitude and longitude of ``37.80 -84.10`` or ``37.80, -84.10``."""
    parts = text.replace(",", " ").split()
    if len(parts) != 2:
        raise UsageError(f"`at` = {text!r}: give latitude and longitude in degrees, such as 37.80 -84.10")
    latitude, longitude = (number_of(part, "at") for part in parts)
    return latitude, longitude


def quantity_of(text: str, stem: str) -> dict[str, float]:
    """The key of the file and the number of ``0.5 acres``; ``stem`` is one of :data:`UNITS_OF`."""
    units = UNITS_OF[stem]
    found = _QUANTITY.fullmatch(text)
    unit = "" if found is None else _ALSO.get(found[2].lower(), found[2].lower())
    if found is None or unit not in units:
        raise UsageError(f"`{stem}` = {text!r}: give a number and its unit, one of {', '.join(units)}")
    return {f"{stem}_{unit}": number_of(found[1], stem)}


def day_of(text: str, argument: str, *, us: bool) -> dt.date:
    """A day as 2026-04-20; as 4/20/2026 only where US units are asked for, since others read that another way."""
    american = us_date(text)
    if american is None:
        return date_of(text, argument)
    if not us:
        raise UsageError(f"`{argument}` = {text!r}: write it as {american}, or say that you use US units (--units us)")
    return date_of(american, argument)


def share_of(text: str) -> float | list[float]:
    """The legume's share of ``40``, or of ``30-50``, as the file has it."""
    low, high = ends_of(text, "legume_percent", f"give {MIXED}")
    return low if low == high else [low, high]


def number_of(text: str, argument: str) -> float:
    """A number."""
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"`{argument}` = {text!r} is no number; give one with a point, such as 37.80") from None


def _beside(file: str, path: Path) -> str:
    """A file as it is named from the folder of another."""
    if Path(file).is_absolute():
        return file
    return Path(os.path.relpath(Path(file).absolute(), path.absolute().parent)).as_posix()
