"""A field held against the weather of its place, and written into a field file."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.base.days import date_of
from covercrop.base.errors import FieldFileError, OfflineError, StationError, UsageError, one_line
from covercrop.base.shipped import is_shipped
from covercrop.field.add_field import add_field as write_field
from covercrop.field.add_field import proposed_field
from covercrop.field.entries import UNITS
from covercrop.field.file import today_in
from covercrop.field.weather_source import field_weather
from covercrop.weather.stations import nearest

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather, Units
    from covercrop.field.entries import Ground

#: Months in which no autumn-sown cover goes into the ground, on either side of the equator.
SPRING = {"north": (2, 3, 4, 5, 6), "south": (8, 9, 10, 11, 12)}

#: Where a US place lies, all but those in the far Pacific: west of Greenwich.
_US_LATITUDES = (17.0, 72.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """A field that was written.

    Attributes
    ----------
    field : Field or Ground
        As it is read back from the file; a Ground has no cover yet.
    units : str
        Those of the file.
    weather : DailyWeather or None
        What its answers rest on.
    unchecked : str
        Why there is none; empty where there is.
    doubts : tuple of str
        What looks like a slip of the pen, each in a sentence with the way out.
    """

    field: Ground
    units: Units
    weather: DailyWeather | None = None
    unchecked: str = ""
    doubts: tuple[str, ...] = ()


def add_field(
    path: str | Path, field: Mapping[str, Any], *, units: Units = "metric", today: Day | None = None
) -> Added:
    """Write a field into a new or an old field file, whole or not at all; ``covercrop add`` does.

    Parameters
    ----------
    path : str or Path
        The field file, made where there is none; all else in it stays as it is, byte for byte.
    field : mapping
        The keys and units of a ``[[field]]`` table, such as ``latitude`` and ``area_acres``; its own tables, such as
        ``cover`` and ``crop``, are mappings too.  Without a ``cover`` only ``sow`` answers for it.
    units : str
        ``us`` makes a new file one of US units; an old one stays what it is.
    today : date, optional
        Nothing may have been done later; that of the file, or of this machine's clock, by default.

    Returns
    -------
    Added

    Raises
    ------
    FieldFileError
        If something in the field or the file is not what it should be, or it cannot be written.  Nothing is changed.
    WeatherError
        If the weather file or station that it names cannot be used, or no station is near; nothing is written then.
        Without a network it is written all the same, and ``unchecked`` says so.
    UsageError
        If ``field`` is no mapping, ``units`` are not known, or ``today`` is no day.
    """
    place = Path(path)
    if not hasattr(field, "items"):
        raise UsageError(f"`field` is a {type(field).__name__}; give a mapping of the keys of a [[field]] table")
    if units not in UNITS:
        raise UsageError(f"`units` = {units!r}; use one of {', '.join(UNITS)}")
    if is_shipped(place):
        raise FieldFileError(f"{path}: is the demonstration, which is not written to; name a file of your own")
    now = (today_in(place) or dt.date.today()) if today is None else date_of(today, "today")
    weather, unchecked = _weather(proposed_field(place, field, now, units=units).entries[-1], now)
    file = write_field(place, field, now, units=units)
    written = file.entries[-1]
    doubts = _doubts(written, file.units)
    return Added(field=written, units=file.units, weather=weather, unchecked=unchecked, doubts=doubts)


def _weather(field: Ground, today: dt.date) -> tuple[DailyWeather | None, str]:
    """The weather of a field, and why there is none where the network does not answer."""
    try:
        return field_weather(field, today), ""
    except OfflineError as error:
        return None, one_line(error)
    except StationError as error:
        raise StationError(f"{error}{_mirrored(field)}") from None


def _mirrored(field: Ground) -> str:
    """That a place without stations has one on the other side of Greenwich."""
    if field.weather.station:
        return ""
    try:
        near = nearest(field.latitude, -field.longitude, field.elevation_m)[0]
    except (StationError, OfflineError):
        return ""
    return (
        f"; with longitude = {-field.longitude:g} {near.name} would be {near.distance_km:.0f} km away: "
        "places west of Greenwich, as all of the Americas, have a minus"
    )


def _doubts(field: Ground, units: Units) -> tuple[str, ...]:
    """What looks like a slip of the pen."""
    found = []
    low, high = _US_LATITUDES
    if units == "us" and field.longitude > 0 and low <= field.latitude <= high:
        found.append(
            f"longitude = {field.longitude:g} lies east of Greenwich, in Asia or Europe: places in the Americas have a "
            "minus."
        )
    if field.cover is not None:
        side, other = ("north", "south") if field.latitude >= 0 else ("south", "north")
        if field.cover.sown.month in SPRING[side]:
            sign = "has a minus" if side == "north" else "has no minus"
            found.append(
                f"sown = {field.cover.sown} is spring {side} of the equator, and these covers are sown in autumn: mend "
                f"the date, or the latitude, which {sign} {other} of it."
            )
    return tuple(found)
