"""What was fetched from stations, kept between runs: one file a station.

A file is replaced whole or not at all.  One that holds what it should not is
thrown away, since everything in it can be fetched again.
"""

from __future__ import annotations

import errno
import json
import math
import os
import sys
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from covercrop.base.arrays import Days
from covercrop.base.records import Station
from covercrop.base.replacing import replacing

if TYPE_CHECKING:
    from collections.abc import Iterable

Values = NDArray[np.float64]

#: A year is settled when it was fetched so long after its end [d].
SETTLED_AFTER = 60
#: Age at which a settled year without any day is asked for again [d]: a server that was mended has it now.
EMPTY_AGE = 30

NO_DAYS = np.empty(0, dtype="datetime64[D]")
NO_READINGS = np.empty((4, 0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """What is known of one station.

    Attributes
    ----------
    station : Station
    attribution : str
    days : numpy.ndarray of datetime64[D], shape (day,)
        Observed days, in order.
    readings : numpy.ndarray, shape (4, day)
        Minimum, maximum [degC], rain and depth of the snow [mm].
    fetched : dict of int to numpy.datetime64[D]
        For each year that was asked for and answered, with data or without, when.
    again : frozenset of int
        Years to ask for again however fresh they are, since the last answer was not used.
    anew : str
        The day on which everything was last fetched anew because it did not fit together.
    ahead, ahead_readings
        The same for forecast days, which are as old as ``ahead_fetched``.
    """

    station: Station
    attribution: str = ""
    days: Days = field(default_factory=lambda: NO_DAYS)
    readings: Values = field(default_factory=lambda: NO_READINGS)
    fetched: dict[int, np.datetime64] = field(default_factory=dict)
    again: frozenset[int] = frozenset()
    anew: str = ""
    ahead: Days = field(default_factory=lambda: NO_DAYS)
    ahead_readings: Values = field(default_factory=lambda: NO_READINGS)
    ahead_fetched: np.datetime64 = field(default_factory=lambda: np.datetime64("NaT", "D"))


def cache_folder(given: str | Path | None = None) -> Path:
    """Where fetched weather is kept: as given, else ``COVERCROP_CACHE``, else the platform's cache."""
    if given or (given := os.environ.get("COVERCROP_CACHE")):
        return Path(given)
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "covercrop"


def clock() -> np.datetime64:
    """The calendar's today: a day asked about ahead of time must not make the cache look newer than it is."""
    return np.datetime64(date.today(), "D")


def load(folder: Path, station_id: str) -> Kept | None:
    """What is kept of a station, or None."""
    return looked_into(folder, station_id)[0]


def looked_into(folder: Path, station_id: str) -> tuple[Kept | None, str]:
    """What is kept of a station, or None; and what is to be said where something is there that cannot be used."""
    path = _path(folder, station_id)
    try:
        raw = path.open("rb")
    except OSError as error:
        if error.errno in (errno.ENOENT, errno.ENOTDIR, errno.ENAMETOOLONG):
            return None, ""
        # It may well be whole, and is replaced only by an answer.
        return None, f"station {station_id}: {path.name} in {folder} cannot be read ({error.strerror}); asked for again"
    except ValueError:  # a name that no file can have
        return None, ""
    with raw:
        try:
            return _checked(_read(raw), station_id, clock() + np.timedelta64(1, "D")), ""
        except Exception as error:  # a zip file can be wrong in more ways than zipfile, zlib, json and numpy have names
            why = f" ({error})" if isinstance(error, _WrongError) else ""
    with suppress(OSError):  # the next answer replaces it
        path.unlink()
    return None, f"station {station_id}: what was kept of it is damaged{why}; thrown away, and asked for again"


class _WrongError(Exception):
    """A file that can be read and holds what it should not."""


def _read(raw: IO[bytes]) -> Kept:
    file = np.load(raw, allow_pickle=False)
    about = json.loads(str(file["about"]))
    names = ("days", "readings", "years", "fetched", "ahead", "ahead_readings", "ahead_fetched")
    arrays = {name: file[name] for name in names}
    for name in ("readings", "ahead_readings"):
        if arrays[name].shape[:1] == (3,):  # written before 0.4, which asks for snow too
            arrays[name] = np.concatenate([arrays[name], np.full((1, *arrays[name].shape[1:]), np.nan)])
            arrays["again"] = arrays["years"]
    for name, kind in {"years": "i8", "readings": "f8", "ahead_readings": "f8"}.items():
        if arrays[name].dtype != np.dtype(kind):
            raise _WrongError(f"{name} are of type {arrays[name].dtype}")
    for name in ("days", "fetched", "ahead", "ahead_fetched"):
        if arrays[name].dtype != np.dtype("datetime64[D]"):
            raise _WrongError(f"{name} are of type {arrays[name].dtype}")
    for name in ("days", "ahead"):
        days, values = arrays[name], arrays["readings" if name == "days" else "ahead_readings"]
        if days.ndim != 1 or values.shape != (4, days.size):
            raise _WrongError(f"{name} and their readings are of unequal length")
        if np.isnat(days).any() or (np.diff(days) <= np.timedelta64(0, "D")).any():
            raise _WrongError(f"{name} are not in order")
        if np.isinf(values).any():
            raise _WrongError("an endless reading")
    years, fetched = arrays["years"], arrays["fetched"]
    if years.ndim != 1 or fetched.shape != years.shape or arrays["ahead_fetched"].shape:
        raise _WrongError("years and their dates are of unequal length")
    if np.isnat(fetched).any() or np.unique(years).size != years.size:
        raise _WrongError("a year without a date, or twice")
    return Kept(
        station=_station(about["station"]),
        attribution=_text(about["attribution"]),
        days=arrays["days"],
        readings=arrays["readings"],
        fetched=dict(zip(years.tolist(), fetched, strict=True)),
        # Neither was written before 0.3.
        again=frozenset(int(year) for year in arrays.get("again", about.get("again", ()))),
        anew=_text(about.get("anew", "")),
        ahead=arrays["ahead"],
        ahead_readings=arrays["ahead_readings"],
        ahead_fetched=arrays["ahead_fetched"][()],
    )


def _station(about: dict[str, Any]) -> Station:
    station = Station(**about)
    place = (station.latitude, station.longitude, station.elevation_m or 0.0, station.distance_km or 0.0)
    if not all(isinstance(number, int | float) and math.isfinite(number) for number in place):
        raise _WrongError("a place that is none")
    _text(station.id), _text(station.name)
    return station


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise _WrongError(f"{value!r} where a name should stand")
    return value


def _checked(kept: Kept, station_id: str, latest: np.datetime64) -> Kept:
    """What is kept, if it is that station's and its days those that were fetched, up to the latest that can be."""
    if kept.station.id != station_id:
        raise _WrongError(f"it is of station {kept.station.id}")
    year = years_of(kept.days)
    last = {each: kept.days[year == each][-1] for each in np.unique(year).tolist()}
    day = np.timedelta64(1, "D")  # a thermometer east of the machine's clock may be a day ahead
    if any(each not in kept.fetched or end > min(kept.fetched[each] + day, latest) for each, end in last.items()):
        raise _WrongError("days that were never fetched")
    if all(stamp <= latest for stamp in kept.fetched.values()):
        return kept
    # A clock that was wrong for a while: a year was fetched on its last day at the earliest.
    fetched = {each: stamp if stamp <= latest else last.get(each) for each, stamp in kept.fetched.items()}
    again = frozenset(each for each, stamp in kept.fetched.items() if stamp > latest)
    return replace(
        kept,
        fetched={each: stamp for each, stamp in fetched.items() if stamp is not None},
        again=kept.again | again,
    )


def save(folder: Path, kept: Kept) -> bool:
    """Keep a station; False if the folder cannot be written to."""
    years = sorted(kept.fetched)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with replacing(_path(folder, kept.station.id)) as file:
            np.savez(
                file,
                about=json.dumps(
                    {
                        "station": asdict(kept.station),
                        "attribution": kept.attribution,
                        "again": sorted(kept.again),
                        "anew": kept.anew,
                    }
                ),
                days=kept.days,
                readings=kept.readings,
                years=np.array(years, dtype=np.int64),
                fetched=np.array([kept.fetched[year] for year in years], dtype="datetime64[D]"),
                ahead=kept.ahead,
                ahead_readings=kept.ahead_readings,
                ahead_fetched=kept.ahead_fetched,
            )
    except (OSError, RuntimeError):  # the latter for a link that leads to itself
        return False
    return True


def _path(folder: Path, station_id: str) -> Path:
    return folder / f"station-{station_id}.npz"


def year_of(day: np.datetime64) -> int:
    """Calendar year of a day."""
    return int(str(day)[:4])


def years_of(days: Days) -> NDArray[np.int64]:
    """Calendar years of days."""
    return days.astype("datetime64[Y]").astype(np.int64) + 1970


def spans(years: list[int]) -> str:
    """Years in order as ``1994-2001, 2003``."""
    parts = np.split(np.array(years), np.flatnonzero(np.diff(years) > 1) + 1)
    return ", ".join(str(part[0]) if part.size == 1 else f"{part[0]}-{part[-1]}" for part in parts)


def is_fresh(kept: Kept, year: int, today: np.datetime64) -> bool:
    """Whether a year need not be asked for again: fetched today, or when it was long over."""
    fetched = kept.fetched.get(year)
    if fetched is None or year in kept.again:
        return False
    age = (today - fetched).astype(int)
    settled = np.datetime64(f"{year}-12-31") + np.timedelta64(SETTLED_AFTER, "D")
    return bool(age < 1 or (fetched >= settled and (age < EMPTY_AGE or year in years_of(kept.days))))


def age_notes(kept: Kept, behind: list[int], today: np.datetime64) -> list[str]:
    """What could not be fetched now, and how old what is kept of it is."""
    name = f"station {kept.station.id}"
    old = [kept.fetched[year] for year in behind if year in kept.fetched]
    lost = [year for year in behind if year not in kept.fetched]
    notes = []
    if old:
        age = int((today - max(old)).astype(int))
        ago = "1 day ago" if age == 1 else f"{age} days ago"
        notes.append(f"{name}: last fetched {max(old)}, {ago}; no answer from the weather server now")
    if lost:
        notes.append(f"{name}: {spans(sorted(lost))} could not be fetched; try again later")
    return notes


def merge(
    kept: Kept,
    days: Days,
    readings: Values,
    years: set[int],
    stamp: np.datetime64,
    attribution: str,
) -> Kept:
    """Add what was answered of some years to what is kept.

    Of two readings the one that came stands; one that did not come is no reason to lose that which is kept.
    """
    all_days = np.union1d(kept.days, days)
    values = np.full((4, all_days.size), np.nan)
    values[:, np.searchsorted(all_days, kept.days)] = kept.readings
    place = np.searchsorted(all_days, days)
    values[:, place] = np.where(np.isnan(readings), values[:, place], readings)
    return replace(
        kept,
        days=all_days,
        readings=values,
        # A day asked about in the past does not make a later visit undone.
        fetched=kept.fetched | {year: max(stamp, kept.fetched.get(year, stamp)) for year in years},
        again=kept.again - years,
        attribution=credit(kept.attribution, attribution) if days.size else kept.attribution,
    )


def without(kept: Kept, years: Iterable[int]) -> Kept:
    """What is kept of all other years."""
    gone = sorted(years)
    stay = ~np.isin(years_of(kept.days), gone)
    return replace(
        kept,
        days=kept.days[stay],
        readings=kept.readings[:, stay],
        fetched={year: stamp for year, stamp in kept.fetched.items() if year not in gone},
    )


def by_year(days: Days, readings: Values) -> dict[int, tuple[Days, Values]]:
    """Days and readings of each calendar year."""
    year = years_of(days)
    return {each: (days[year == each], readings[:, year == each]) for each in np.unique(year).tolist()}


def credit(*lines: str) -> str:
    """Lines of credit as one, each name once."""
    names = [name for line in lines for name in line.split(", ") if name]
    return ", ".join(dict.fromkeys(names))
