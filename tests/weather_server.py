"""A weather server on 127.0.0.1 with invented stations, in the layout that meteostat's bulk interface reads.

``/stations.db`` is one SQLite file; ``/daily/{year}/{station}.csv.gz`` is one
gzip CSV a station and year, and 404 where there is none.  The server can be
told to fail, to hang and to trickle, and it logs every request.
"""

from __future__ import annotations

import gzip
import math
import pickle
import sqlite3
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    import pytest

FIRST, LAST = 1985, 2024

SCHEMA = """
CREATE TABLE stations (id TEXT PRIMARY KEY, country TEXT, region TEXT, latitude REAL, longitude REAL,
    elevation INTEGER, timezone TEXT);
CREATE TABLE names (station TEXT, language TEXT, name TEXT, PRIMARY KEY (station, language));
CREATE TABLE identifiers (station TEXT, key TEXT, value TEXT, PRIMARY KEY (station, key));
CREATE TABLE inventory (station TEXT, provider TEXT, parameter TEXT, start TEXT, end TEXT, completeness REAL,
    PRIMARY KEY (station, provider, parameter));
"""


@dataclass(frozen=True)
class Place:
    name: str
    latitude: float
    longitude: float
    elevation: int | None
    shift: float = 0.0  # K, against the valley
    parameters: tuple[str, ...] = ("tmin", "tmax", "prcp")
    years: tuple[int, ...] = tuple(range(FIRST, LAST + 1))
    inventory_end: str = "2024-12-31"


PLACES = {
    "ZZ001": Place("Hollow Farm", 40.50, -86.90, 200),
    "ZZ002": Place("Ridge Tower", 40.65, -86.80, 320, -1.2, inventory_end="2011-03-04"),  # stale, as seen in the wild
    "ZZ003": Place("Rain Gauge", 40.51, -86.90, 200, parameters=("prcp",)),
    "ZZ004": Place("Silent Hill", 40.52, -86.91, 205, years=()),
    "ZZ005": Place("High Pass", 40.53, -86.92, 1900, -11.0),
    "ZZ006": Place("No Height", 40.80, -86.60, None, 0.5),
}


@cache
def temperatures(station: str, day: date) -> tuple[float, float]:
    """Invented minimum and maximum, the same for ever [degC]."""
    mean = 11 - 13.5 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25)
    mean += 3 * math.sin(day.toordinal() * 0.7) + PLACES[station].shift
    half = 6 + 1.5 * math.sin(day.toordinal() * 1.1)
    return round(mean - half, 1), round(mean + half, 1)


Row = tuple[float | str, str, float | str, str]  # tmin, its source, tmax, its source


def observed_row(station: str, day: date) -> Row | None:
    low, high = temperatures(station, day)
    return low, "ghcnd", high, "ghcnd"


@dataclass
class WeatherServer:
    """Serves until the ``with`` block ends.

    ``status`` fails every request, ``failing_years`` only those years;
    ``hang`` waits before an answer, ``trickle`` sends it a byte at a time [s];
    ``row`` may change what a day brings, ``spoil`` the bytes of any answer,
    given its path; ``cut`` leaves out so many bytes at the end of what is
    announced, ``endless`` never stops sending.
    """

    status: int = 200
    failing_years: set[int] = field(default_factory=set)
    hang: float = 0.0
    trickle: float = 0.0
    row: Callable[[str, date], Row | None] = observed_row
    spoil: Callable[[str, bytes], bytes] = lambda _, body: body
    cut: int = 0
    endless: bool = False
    log: list[str] = field(default_factory=list)
    today: date = date(LAST, 12, 31)
    closed: bool = False

    def __enter__(self) -> WeatherServer:
        self.stations_db = _stations_db()
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                outer.answer(self)

            def log_message(self, *_: object) -> None:
                pass

        class Server(ThreadingHTTPServer):
            daemon_threads = True
            block_on_close = False

            def handle_error(self, *_: object) -> None:
                """A client that gives up waiting is expected here."""

        self.http = Server(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.http.serve_forever, kwargs={"poll_interval": 0.002}, daemon=True).start()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """From now on connections are refused."""
        self.closed = True
        self.http.shutdown()
        self.http.server_close()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.http.server_address[1]}"

    def years_asked(self) -> list[int]:
        """Years asked for since the log was last cleared."""
        return [int(path.split("/")[2]) for path in self.log if path.startswith("/daily/")]

    def answer(self, request: BaseHTTPRequestHandler) -> None:
        self.log.append(request.path)
        time.sleep(self.hang)
        parts = request.path.strip("/").split("/")
        code, body = self.status, b""
        if code == 200 and request.path == "/stations.db":
            body = self.stations_db
        elif code == 200:
            year, station = int(parts[1]), parts[2].removesuffix(".csv.gz")
            if year in self.failing_years:
                code = 503
            elif station in PLACES and year in PLACES[station].years:
                body = self._daily(station, year)
            else:
                code = 404
        if code == 200:
            body = self.spoil(request.path, body)
        request.send_response(code)
        if not self.endless:
            request.send_header("Content-Length", str(len(body)))
        request.end_headers()
        body = body[: len(body) - self.cut]
        while self.endless and not self.closed:
            request.wfile.write(bytes(65536))
        if self.trickle:
            for position in range(len(body)):
                request.wfile.write(body[position : position + 1])
                time.sleep(self.trickle)
        else:
            request.wfile.write(body)

    def _daily(self, station: str, year: int) -> bytes:
        if self.row is observed_row:
            return _sound_year(station, year, self.today)
        return _year(station, year, self.today, self.row)


def _year(station: str, year: int, today: date, row_of: Callable[[str, date], Row | None]) -> bytes:
    """A station's file of a year, as it stands on a day."""
    lines = ["year,month,day,temp,temp_source,tmin,tmin_source,tmax,tmax_source,prcp,prcp_source"]
    day = date(year, 1, 1)
    while day.year == year and day <= today + timedelta(days=10):
        row = row_of(station, day) if day <= today else (5.5, "metno_forecast", 15.5, "metno_forecast")
        if row is not None:
            low, low_source, high, high_source = row
            lines.append(
                f"{day.year},{day.month},{day.day},,,{low},{low_source},{high},{high_source},0.4,{high_source}"
            )
        day += timedelta(days=1)
    return gzip.compress("\n".join(lines).encode(), compresslevel=1)


@cache
def _sound_year(station: str, year: int, today: date) -> bytes:
    """Such a file with nothing changed, which most tests ask for: made once."""
    return _year(station, year, today, observed_row)


@cache
def _stations_db() -> bytes:
    connection = sqlite3.connect(":memory:")
    connection.executescript(SCHEMA)
    for key, place in PLACES.items():
        connection.execute(
            "INSERT INTO stations VALUES (?,?,?,?,?,?,?)",
            (key, "ZZ", "ZZ", place.latitude, place.longitude, place.elevation, "America/Indiana/Indianapolis"),
        )
        connection.execute("INSERT INTO names VALUES (?,?,?)", (key, "en", place.name))
        for parameter in place.parameters:
            connection.execute(
                "INSERT INTO inventory VALUES (?,?,?,?,?,?)",
                (key, "daily", parameter, f"{FIRST}-01-01", place.inventory_end, 99.0),
            )
    connection.commit()
    made = connection.serialize()
    connection.close()
    return made


def point_client_at(server: WeatherServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the real client ask this server; nothing else of it is replaced.

    What it makes of a table that it has had before is remembered: that takes it most of its time.
    """
    import meteostat as ms
    from meteostat.api import timeseries
    from meteostat.providers.meteostat import daily

    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    for name in (
        "cache_enable",
        "cache_autoclean",
        "cache_directory",
        "network_timeout",
        "network_max_retries",
        "stations_db_ttl",
        "stations_db_file",
        "include_model_data",
    ):
        monkeypatch.setattr(ms.config, name, getattr(ms.config, name))
    monkeypatch.setattr(ms.config, "stations_db_endpoints", [f"{server.url}/stations.db"])
    # The provider module copied its address when it was imported.
    monkeypatch.setattr(daily, "ENDPOINT", server.url + "/daily/{year}/{station}.csv.gz")
    monkeypatch.setattr(daily, "reshape_by_source", _remembered(daily.reshape_by_source))
    monkeypatch.setattr(timeseries, "squash_df", _remembered(timeseries.squash_df))


_MADE: dict[bytes, bytes] = {}


def _remembered(make: Callable[..., pd.DataFrame]) -> Callable[..., pd.DataFrame]:
    """A function of a table, called once for each table; each caller gets a copy of its own, as it came."""

    def remembered(*arguments: object, **named: object) -> pd.DataFrame:
        key = sha256(pickle.dumps((make.__name__, arguments, named))).digest()
        if key not in _MADE:
            _MADE[key] = pickle.dumps(make(*arguments, **named))
        made: pd.DataFrame = pickle.loads(_MADE[key])
        return made

    return remembered
