"""What was fetched from stations, kept between runs: one file a station.

A file is replaced whole or not at all.  One that cannot be read counts as
absent, since everything in it can be fetched again.
"""

from __future__ import annotations

import json
import os
import sys
import zipfile
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covercrop.records import Station
from covercrop.replacement import replacing

Days = NDArray[np.datetime64]
Values = NDArray[np.float64]

#: A year is settled when it was fetched so long after its end [d].
SETTLED_AFTER = 60

NO_DAYS = np.empty(0, dtype="datetime64[D]")
NO_READINGS = np.empty((3, 0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """What is known of one station.

    Attributes
    ----------
    station : Station
    attribution : str
    days : numpy.ndarray of datetime64[D], shape (day,)
        Observed days, in order.
    readings : numpy.ndarray, shape (3, day)
        Minimum, maximum [degC] and rain [mm].
    fetched : dict of int to numpy.datetime64[D]
        For each year that was asked for and answered, with data or without, when.
    ahead, ahead_readings
        The same for forecast days, which are as old as ``ahead_fetched``.
    """

    station: Station
    attribution: str = ""
    days: Days = field(default_factory=lambda: NO_DAYS)
    readings: Values = field(default_factory=lambda: NO_READINGS)
    fetched: dict[int, np.datetime64] = field(default_factory=dict)
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


def load(folder: Path, station_id: str) -> Kept | None:
    """What is kept of a station, or None."""
    try:
        with _path(folder, station_id).open("rb") as raw, np.load(raw, allow_pickle=False) as file:
            about = json.loads(str(file["about"]))
            return Kept(
                station=Station(**about["station"]),
                attribution=about["attribution"],
                days=file["days"],
                readings=file["readings"],
                fetched=dict(zip(file["years"].tolist(), file["fetched"], strict=True)),
                ahead=file["ahead"],
                ahead_readings=file["ahead_readings"],
                ahead_fetched=file["ahead_fetched"][()],
            )
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile):
        return None


def save(folder: Path, kept: Kept) -> bool:
    """Keep a station; False if the folder cannot be written to."""
    years = sorted(kept.fetched)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with replacing(_path(folder, kept.station.id)) as file:
            np.savez(
                file,
                about=json.dumps({"station": asdict(kept.station), "attribution": kept.attribution}),
                days=kept.days,
                readings=kept.readings,
                years=np.array(years, dtype=np.int64),
                fetched=np.array([kept.fetched[year] for year in years], dtype="datetime64[D]"),
                ahead=kept.ahead,
                ahead_readings=kept.ahead_readings,
                ahead_fetched=kept.ahead_fetched,
            )
    except OSError:
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


def is_fresh(kept: Kept, year: int, today: np.datetime64) -> bool:
    """Whether a year need not be asked for again: fetched today, or when it was long over."""
    fetched = kept.fetched.get(year)
    if fetched is None:
        return False
    settled = np.datetime64(f"{year}-12-31") + np.timedelta64(SETTLED_AFTER, "D")
    return bool(fetched >= settled or today - fetched < np.timedelta64(1, "D"))


def age_notes(kept: Kept, behind: list[int], today: np.datetime64) -> list[str]:
    """What could not be fetched now, and how old what is kept of it is."""
    name = f"station {kept.station.id}"
    old = [kept.fetched[year] for year in behind if year in kept.fetched]
    lost = [str(year) for year in sorted(behind) if year not in kept.fetched]
    notes = []
    if old:
        age = int((today - max(old)).astype(int))
        ago = "1 day ago" if age == 1 else f"{age} days ago"
        notes.append(f"{name}: last fetched {max(old)}, {ago}; no answer from the weather server now")
    if lost:
        notes.append(f"{name}: {', '.join(lost)} could not be fetched; try again later")
    return notes


def merge(
    kept: Kept,
    days: Days,
    readings: Values,
    years: set[int],
    stamp: np.datetime64,
    attribution: str,
) -> Kept:
    """Replace whole years of what is kept."""
    stay = ~np.isin(years_of(kept.days), sorted(years))
    all_days = np.concatenate([kept.days[stay], days])
    order = np.argsort(all_days, kind="stable")
    return replace(
        kept,
        days=all_days[order],
        readings=np.concatenate([kept.readings[:, stay], readings], axis=1)[:, order],
        fetched=kept.fetched | dict.fromkeys(years, stamp),
        attribution=credit(kept.attribution, attribution) if days.size else kept.attribution,
    )


def credit(*lines: str) -> str:
    """Lines of credit as one, each name once."""
    names = [name for line in lines for name in line.split(", ") if name]
    return ", ".join(dict.fromkeys(names))
