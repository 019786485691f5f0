"""Weather from the nearest stations, through meteostat and a cache of our own.

The only module that imports meteostat, and only when it has to ask the
network.  The client reports an outage, a missing year and a hung server
alike, as fewer rows; what it logs and a time limit tell them apart.
"""

from __future__ import annotations

import errno
import http.client
import math
import time
import urllib.error
from contextlib import suppress
from dataclasses import replace
from datetime import date
from difflib import get_close_matches
from functools import lru_cache, partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covercrop.base.arrays import Days
from covercrop.base.errors import OfflineError, StationError, UnusableError, visible
from covercrop.base.records import DailyWeather, Station
from covercrop.weather import station_list
from covercrop.weather.daily import MOST_CLIMB, blend, lapse_adjust
from covercrop.weather.fetching import Answer, Ask, station_record
from covercrop.weather.patience import ANSWER_LIMIT, Heard, NoAnswerError, listening, within
from covercrop.weather.record import record_of
from covercrop.weather.sharing import SharedWeather
from covercrop.weather.store import NO_DAYS, NO_READINGS, Kept, Values, cache_folder, looked_into

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Found = TypeVar("Found")
Day = date | np.datetime64

#: Seconds that one request, for several years, may take.
REQUEST_LIMIT = 20.0
#: Age at which the list of stations is fetched again [d].
STATION_LIST_AGE = 30
#: Share of the stations kept that another list must have: some are closed, but half of them are not at once.
LEAST_OF_LIST = 0.5
#: A file that cannot be written, rather than an answer that does not come.
_NO_PLACE = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM)

#: How far stations are looked for [km], and how many of them.
RADIUS_KM, MOST_NEAR = 80.0, 6
#: Height counts like distance when stations are ranked [km per m]: 100 m as 10 km.
KM_PER_M = 0.1
#: Share of the days without which a station does not lead, and beyond which no
#: further one is asked.  A tenth is three years in thirty: enough to bring a
#: longer record from further away to the level of the nearest.
LEAST_COMPLETE, COMPLETE_ENOUGH = 0.1, 0.995
#: Most stations that make one record.
MOST_STATIONS = 3

#: Side of the squares that stations are looked up for, so that fields near each other share it [degrees]; how far at
#: most a corner lies from the middle [km]; and most stations that are looked at.
SQUARE, CORNER_KM, MOST_AROUND = 0.5, 40.0, 900
#: Mean radius of the earth [km].
EARTH_KM = 6371.0

#: What is asked of the service, and how many of the units used here one of its own is: snow comes in cm.
_COLUMNS = {"tmin": 1.0, "tmax": 1.0, "prcp": 1.0, "snwd": 10.0}


# --- for callers ----------------------------------------------------------------------------------


def nearest(
    latitude: float,
    longitude: float,
    elevation_m: float | None = None,
    *,
    radius_km: float = RADIUS_KM,
    limit: int = MOST_NEAR,
    cache_dir: str | Path | None = None,
) -> list[Station]:
    """Stations near a place that have daily temperatures, the most alike first.

    Parameters
    ----------
    latitude, longitude : float
        [degrees].
    elevation_m : float, optional
        With it, a station 100 m higher or lower counts as 10 km further
        away, and one more than 1000 m off is left out.
    radius_km : float
    limit : int
        Most stations returned.
    cache_dir : str or Path, optional
        Where the list of stations is kept.

    Returns
    -------
    list of Station

    Raises
    ------
    StationError
        If there is none.
    OfflineError
        If the list of stations can neither be fetched nor is kept.
    """
    folder = cache_folder(cache_dir)
    _keep_list(folder)
    return _nearest(folder, latitude, longitude, elevation_m, radius_km=radius_km, limit=limit)


def _nearest(
    folder: Path, latitude: float, longitude: float, elevation_m: float | None, *, radius_km: float, limit: int
) -> list[Station]:
    """The same by the list of stations that is kept."""
    # The far ends, 90 and 180 degrees, belong to the last square.
    square = (min(math.floor(latitude / SQUARE), 179), min(math.floor(longitude / SQUARE), 359))
    made = _list_file(folder).stat().st_mtime_ns
    around, complete = _looked_up(folder, lambda: _around(folder, made, square, radius_km))
    distance = _distances_km(latitude, longitude, around)
    reached = [place for place in np.argsort(distance, kind="stable") if distance[place] <= radius_km]
    stations = [
        replace(around[place], distance_km=float(distance[place]))
        for place in reached[: max(50, 5 * limit)]
        if around[place].id in complete
    ]
    if elevation_m is not None:
        stations = [near for near in stations if _climb(near, elevation_m) <= MOST_CLIMB]
    if not stations:
        raise StationError(
            f"no station with daily temperatures within {radius_km:.0f} km of {latitude:.2f}, {longitude:.2f}; "
            "name a station, or give a weather file"
        )
    stations.sort(key=lambda near: (near.distance_km or 0.0) + KM_PER_M * _climb(near, elevation_m))
    return stations[:limit]


def station_weather(
    station_id: str,
    start: Day,
    end: Day,
    *,
    today: Day,
    cache_dir: str | Path | None = None,
    refresh: bool = False,
) -> DailyWeather:
    """The record of one station.

    Parameters
    ----------
    station_id : str
    start, end : date or numpy.datetime64
        First and last day; days after ``today`` come only as forecast rows.
    today : date or numpy.datetime64
    cache_dir : str or Path, optional
    refresh : bool
        Fetch everything again, whatever is kept.

    Returns
    -------
    DailyWeather
        ``notes`` say what could not be fetched and how old the rest is.

    Raises
    ------
    StationError
        If there is no such station or it has no temperatures in that time.
    OfflineError
        If nothing is kept and the server does not answer.
    """
    folder = cache_folder(cache_dir)
    station_id = station_id.strip().upper()
    kept, thrown = looked_into(folder, station_id)
    told: tuple[str, ...] = ()
    if kept is None:
        told = _keep_list(folder)
        kept = Kept(station=_known_station(station_id, folder))
    weather = station_record(
        kept, _day(start), _day(end), _day(today), folder, _asker(folder), refresh=refresh, thrown=thrown
    )
    return replace(weather, notes=(*told, *weather.notes)) if told else weather


def weather_at(
    latitude: float,
    longitude: float,
    elevation_m: float | None,
    start: Day,
    end: Day,
    *,
    today: Day,
    cache_dir: str | Path | None = None,
    refresh: bool = False,
    shared: SharedWeather | None = None,
) -> DailyWeather:
    """The record of a place, from the stations around it.

    The first station that has at least a tenth of the days leads;
    what it lacks comes from the next ones, adjusted to it month by month.  All are
    moved to the height of the place.

    Parameters
    ----------
    latitude, longitude : float
        [degrees].
    elevation_m : float or None
        Without it no height is corrected for.
    start, end, today, cache_dir, refresh
        As for :func:`station_weather`.
    shared : SharedWeather, optional
        What other places of the same run have brought; added to.

    Returns
    -------
    DailyWeather

    Raises
    ------
    StationError
        If no station is near, or none has a tenth of the days.
    OfflineError
        If nothing is kept and the server does not answer.
    """
    folder = cache_folder(cache_dir)
    first, last, now = _day(start), _day(end), _day(today)
    asked = int((min(last, now) - first).astype(int)) + 1
    weather: DailyWeather | None = None
    days = 0  # observed in it
    offline: OfflineError | None = None
    unusable: list[UnusableError] = []
    shared = SharedWeather() if shared is None else shared
    told = shared.once(("the list of stations", folder), lambda: _keep_list(folder))
    for station in _nearest(folder, latitude, longitude, elevation_m, radius_km=RADIUS_KM, limit=MOST_NEAR):
        # After one outage the other stations are only looked up: each would cost a time limit.
        ask = _asker(folder) if offline is None else None

        def bring(station: Station = station, ask: Ask | None = ask) -> DailyWeather:
            kept, thrown = looked_into(folder, station.id)
            kept = kept or Kept(station=station)
            return station_record(kept, first, last, now, folder, ask, refresh=refresh, thrown=thrown)

        which = (station.id, first, last, now)
        try:
            record = shared.once(which, bring)
            observed = _observed(record)
            if weather is None and observed < LEAST_COMPLETE * asked:
                continue
            moved = shared.once((*which, elevation_m), partial(lapse_adjust, record, station.elevation_m, elevation_m))
        except StationError:
            continue
        except UnusableError as error:  # which says nothing of the other stations
            unusable.append(error)
            continue
        except OfflineError as error:
            offline = offline or error
            continue
        moved = replace(moved, stations=(station,))
        if weather is None:
            weather, days = moved, observed
        else:
            joined = blend(weather, moved)
            if (more := _observed(joined)) > days:
                weather, days = joined, more
        if days >= COMPLETE_ENOUGH * asked or len(weather.stations) >= MOST_STATIONS:
            break
    if weather is None:
        raise (
            offline
            or next(iter(unusable), None)
            or StationError(
                f"no station within {RADIUS_KM:.0f} km of {latitude:.2f}, {longitude:.2f} has a tenth of the days from "
                f"{first} to {min(last, now)}; name a station, or give a weather file"
            )
        )
    told = (*told, *(f"passed over: {error}" for error in unusable))
    return replace(weather, notes=(*told, *weather.notes)) if told else weather


def _observed(weather: DailyWeather) -> int:
    return int(record_of(weather).observed.sum())


def _climb(station: Station, elevation_m: float | None) -> float:
    """Height difference [m]; 0 where either height is unknown."""
    return 0.0 if elevation_m is None or station.elevation_m is None else abs(station.elevation_m - elevation_m)


def _day(day: Day) -> np.datetime64:
    return np.datetime64(str(day)[:10], "D")


# --- the client -----------------------------------------------------------------------------------


@lru_cache(maxsize=128)
def _around(
    folder: Path, made: int, square: tuple[int, int], radius_km: float
) -> tuple[tuple[Station, ...], frozenset[str]]:
    """Stations within reach of anywhere in a square, and the ids of those with daily temperatures.

    Looked up once for all fields in it; ``made`` tells a list of stations that was fetched since.
    """
    ms = _listed(folder)
    middle = ms.Point(*((side + 0.5) * SQUARE for side in square))
    found = ms.stations.nearby(middle, radius=int((radius_km + CORNER_KM) * 1000), limit=MOST_AROUND)
    if not len(found):
        return (), frozenset()
    held = ms.stations.inventory([str(name) for name in found.index]).df.reset_index()
    parameters = held.groupby("station")["parameter"].agg(set)
    complete = frozenset(str(name) for name, kinds in parameters.items() if {"tmin", "tmax"} <= kinds)
    return tuple(_station(row.id, row) for row in found.reset_index().itertuples()), complete


def _distances_km(latitude: float, longitude: float, stations: Sequence[Station]) -> NDArray[np.float64]:
    """Distances along great circles, to a tenth of a metre, of stations from a place [km]."""
    here, there = np.radians(latitude), np.radians([station.latitude for station in stations])
    apart = np.radians([station.longitude for station in stations]) - np.radians(longitude)
    cosine = np.cos(here) * np.cos(there) * np.cos(apart) + np.sin(here) * np.sin(there)
    return np.asarray(np.round(EARTH_KM * np.arccos(np.clip(cosine, -1.0, 1.0)), 4))


def _list_file(folder: Path) -> Path:
    return folder / "stations.db"


def _client(folder: Path) -> Any:
    """The meteostat client, set up so that it keeps nothing of its own."""
    import meteostat as ms

    ms.config.cache_enable = False  # it would serve the current year 30 days old
    ms.config.cache_autoclean = False
    ms.config.cache_directory = str(folder)
    ms.config.network_timeout = int(ANSWER_LIMIT)
    ms.config.network_max_retries = 0
    return ms


def _keep_list(folder: Path) -> tuple[str, ...]:
    """See to it that a list of stations is there that can be used; what is to be said of it.

    One that cannot is thrown away; one that is old stays until another has been fetched whole and looked into.
    """
    file = _list_file(folder)
    fault, days = "", None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if file.exists():
            about = file.stat()
            days = int((time.time() - about.st_mtime) // 86400)
            if fault := station_list.fault(file, about.st_mtime_ns, about.st_size):
                file.unlink()
    except OSError as error:
        raise _no_place(folder, error) from None
    sound = days is not None and not fault
    if sound and days is not None and -1 <= days < STATION_LIST_AGE:  # a clock may be an hour or two off
        return ()
    lost = f"the list of weather stations that was kept could not be used ({fault}) and was thrown away"
    try:
        problem = _fetch_list(folder, file)
    except OSError as error:
        if not sound:
            raise _no_place(folder, error) from None
        problem = str(_no_place(folder, error))
    if not problem:
        return (f"{lost}; another was fetched",) if fault else ()
    if sound:
        age = f" from {days} days ago" if days is not None and days > 0 else ""
        return (f"{problem}; the one kept{age} is used",)
    way_out = "connect and try again, or give a weather file"
    raise OfflineError(f"{lost}; {problem}; {way_out}" if fault else f"{problem}; {way_out}")


def _fetch_list(folder: Path, file: Path) -> str:
    """Fetch the list of stations; what went wrong, in words, or nothing.

    Raises
    ------
    OSError
        If there is no place for it.
    """
    ms = _listed(folder)
    with TemporaryDirectory(prefix=".stations-", dir=folder, ignore_cleanup_errors=True) as aside:
        part = Path(aside) / file.name
        ms.config.stations_db_file = str(part)
        with listening():  # to the end of the exception too, which holds a connection that nobody closes
            try:
                within(REQUEST_LIMIT, lambda: ms.stations.connect().close())
            except Exception as error:  # the client raises a bare Exception
                if isinstance(error, OSError) and error.errno in _NO_PLACE:
                    raise
                return "the list of weather stations could not be fetched (no answer)"
        about = part.stat()
        fault = station_list.fault(part, about.st_mtime_ns, about.st_size)
        if not fault and (kept := station_list.stations_in(file) if file.exists() else 0):
            sent = station_list.stations_in(part)
            fault = f"it has {sent} stations, and {kept} are kept" if sent < LEAST_OF_LIST * kept else ""
        if fault:
            return f"the list of weather stations that the server sent cannot be used ({fault})"
        part.replace(file)
    return ""


def _no_place(folder: Path, error: OSError) -> StationError:
    return StationError(
        f"the list of weather stations cannot be kept in {folder} ({error.strerror}); "
        "set COVERCROP_CACHE to a folder that can be written"
    )


def _listed(folder: Path) -> Any:
    """The client, pointed at the list of stations that is kept."""
    ms = _client(folder)
    ms.config.stations_db_ttl = 10**12  # its age is judged here
    ms.config.stations_db_file = str(_list_file(folder))
    return ms


def _looked_up(folder: Path, look: Callable[[], Found]) -> Found:
    """What the list of stations answers; a list whose fault shows only now is thrown away.

    Raises
    ------
    StationError
        If it cannot be used.
    """
    try:
        return look()
    except Exception as error:  # of sqlite, pandas or the client: each has its own for a list that is damaged
        why = visible(" ".join(str(error).split()))[:120]
    with suppress(OSError):
        _list_file(folder).unlink()
    raise StationError(
        f"the list of weather stations that was kept could not be used ({why}) and was thrown away; "
        "run it again to fetch another, or give a weather file"
    )


def _known_station(station_id: str, folder: Path) -> Station:
    """A station by its id, from the list of stations that is kept."""
    ms = _listed(folder)
    # The client's own look-up takes % and _ as wildcards, and fails where the list has a column more than it knows.
    asked = (
        "SELECT stations.id, latitude, longitude, elevation, names.name AS name FROM stations "
        "LEFT JOIN names ON names.station = stations.id AND names.language = 'en' WHERE stations.id = ? LIMIT 1"
    )
    found = _looked_up(folder, lambda: ms.stations.query(asked, params=(station_id,)))
    if not len(found):
        known = ms.stations.query("SELECT id FROM stations")["id"].astype(str).tolist()
        near = get_close_matches(station_id.upper(), known, n=3, cutoff=0.6)
        way_out = f"did you mean {' or '.join(near)}?" if near else "leave the station out to use the nearest ones"
        raise StationError(f"no station {station_id!r}; {way_out}")
    return _station(station_id, next(found.itertuples()))


def _station(station_id: str, row: Any, distance_km: float | None = None) -> Station:
    height = row.elevation
    return Station(
        id=station_id,
        name=visible(row.name) if isinstance(row.name, str) and row.name.strip() else station_id,
        latitude=float(row.latitude),
        longitude=float(row.longitude),
        elevation_m=None if height is None or pd.isna(height) else float(height),
        distance_km=distance_km,
    )


def _asker(folder: Path) -> Ask:
    """Asks through the client, which is loaded at the first question."""

    def ask(station: Station, first: np.datetime64, last: np.datetime64, model: bool) -> Answer:
        return _ask(_client(folder), station, first, last, model)

    return ask


def _ask(ms: Any, station: Station, first: np.datetime64, last: np.datetime64, model: bool) -> Answer:
    """One request; the failures are what the client only logs."""
    known = ms.Station(
        id=station.id,
        name=station.name,
        latitude=station.latitude,
        longitude=station.longitude,
        elevation=station.elevation_m,
    )
    wanted = [ms.Parameter(name) for name in _COLUMNS]

    def fetch() -> tuple[pd.DataFrame | None, str]:
        series = ms.daily(known, first.astype(object), last.astype(object), parameters=wanted)
        # What the client would take out as impossible tells what an answer is worth.
        return series.fetch(sources=True, clean=False), series.attribution

    def asked(model: bool) -> tuple[pd.DataFrame | None, str, list[Heard]]:
        ms.config.include_model_data = model
        with listening() as heard:
            return *within(REQUEST_LIMIT, fetch), heard

    try:
        frame, attribution, heard = asked(model)
        if (frame is None or frame.empty) and not heard and not model:
            # A file without a day that was observed is empty, or has days of models.
            of_models, _, heard = asked(True)
            if of_models is None or of_models.empty:
                return _none(heard, failure="what came has no day of it")
        if (frame is None or frame.empty) or any(not trouble.absent for trouble in heard):
            return _none(heard)
        days, readings = _split(frame, {str(ms.Provider.DWD_MOSMIX), str(ms.Provider.METNO_FORECAST)}, model)
    except NoAnswerError:
        return Answer(days=NO_DAYS, readings=NO_READINGS, silent=True)
    except _TextError as error:
        return _none([], failure=str(error))
    except Exception:  # the client joins numbers and text, and fails in as many ways as there are texts
        return _none([], failure="what came could not be read")
    return Answer(days=days, readings=readings, attribution=attribution)


def _none(heard: list[Heard], failure: str = "") -> Answer:
    """An answer without a day, and why: as given, unless the client logged what it met."""
    kinds = [trouble.error for trouble in heard if trouble.error]
    silent = any(issubclass(kind, urllib.error.URLError | TimeoutError | ConnectionError) for kind in kinds)
    if silent:
        failure = ""
    elif any(issubclass(kind, http.client.HTTPException) for kind in kinds):
        failure = "the answer broke off"
    elif any(not trouble.absent for trouble in heard):
        failure = "what came could not be read"
    nothing = not silent and not failure and any(trouble.absent for trouble in heard)
    return Answer(days=NO_DAYS, readings=NO_READINGS, nothing=nothing, silent=silent, failure=failure)


class _TextError(Exception):
    """Text where numbers should stand."""


def _split(frame: pd.DataFrame | None, models: set[str], model: bool) -> tuple[Days, Values]:
    """Days and values without any model in their source, or those with one.

    The client leaves out rows that come from a model alone, but not those
    in which a model completed the observations.
    """
    if frame is None or frame.empty:
        return NO_DAYS, NO_READINGS
    days = frame.index.to_numpy().astype("datetime64[D]")
    values = np.full((len(_COLUMNS), days.size), np.nan)
    for row, (name, scale) in zip(values, _COLUMNS.items(), strict=True):
        if name in frame:
            sources, named = pd.factorize(frame[f"{name}_source"], use_na_sentinel=False)
            from_model = np.array([not models.isdisjoint(str(source).split()) for source in named], dtype=bool)
            here = from_model[sources] == model
            numbers = pd.to_numeric(frame[name], errors="coerce")
            if (text := frame[name].notna() & numbers.isna()).any():
                found = visible(ascii(str(frame[name][text].iloc[0])[:20]))
                raise _TextError(f"{name} on {frame.index[text][0]:%Y-%m-%d} is {found}, which is no number")
            row[here] = scale * numbers.to_numpy(np.float64, na_value=np.nan)[here]
    some = ~np.isnan(values).all(axis=0)
    return days[some], values[:, some]
