"""What a server can answer and a cache can hold: the real meteostat client against a server on 127.0.0.1.

What was kept stays kept and is used, what failed is named in one line and
asked for again by the next run, and no wrong number is believed.
"""

from __future__ import annotations

import gzip
import io
import json
import os
import resource
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from weather_server import WeatherServer, observed_row, point_client_at, temperatures

from covercrop.errors import OfflineError, StationError, UnusableError
from covercrop.records import DailyWeather
from covercrop.weather import patience, stations, store
from covercrop.weather.belief import doubts
from covercrop.weather.stations import nearest, station_weather, weather_at

HERE = (40.50, -86.90, 200.0)
TODAY, TOMORROW = date(2024, 4, 20), date(2024, 4, 21)
SOWN = date(2023, 9, 15)

Table = list[list[str]]
Fault = Callable[[bytes], bytes]


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[WeatherServer]:
    """The server, with the client pointed at it: nothing else is replaced."""
    with WeatherServer(today=TODAY) as running:
        point_client_at(running, monkeypatch)
        yield running


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache with the season and the list of stations, as a run on 20 April left it."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch, WeatherServer(today=TODAY) as running:
        point_client_at(running, patch)
        season(folder)
    return folder


@pytest.fixture
def cache(filled: Path, tmp_path: Path) -> Path:
    """A cache of one's own that is filled like that."""
    return Path(shutil.copytree(filled, tmp_path / "cache"))


def season(cache: Path, *, today: date = TODAY, station: str = "ZZ001", refresh: bool = False) -> DailyWeather:
    end = today + timedelta(days=14)
    return station_weather(station, SOWN, end, today=today, cache_dir=cache, refresh=refresh)


def is_true(weather: DailyWeather, first: date, last: date) -> bool:
    """Whether every day is observed, with the numbers of the sound server."""
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    part = weather.table.loc[str(first) : str(last)]
    truth = np.array([temperatures("ZZ001", day) for day in days])
    return bool(
        len(part) == len(days)
        and (part["origin"] == "observed").all()
        and np.array_equal(part[["tmin_c", "tmax_c"]].to_numpy(), truth)
    )


def said(weather: DailyWeather, *words: str) -> list[str]:
    """The notes that have all of these words; each is one line."""
    found = [note for note in weather.notes if all(word in note for word in words)]
    assert all("\n" not in note and len(note) < 500 for note in found)
    return found


# --- answers that are wrong -----------------------------------------------------------------------


def table(change: Callable[[Table], Table]) -> Fault:
    """A fault in the rows of a file, the header among them."""

    def spoil(body: bytes) -> bytes:
        rows = [line.split(",") for line in gzip.decompress(body).decode().splitlines()]
        return gzip.compress("\n".join(",".join(row) for row in change(rows)).encode())

    return spoil


def each_value(change: Callable[[float, int], object], *names: str) -> Fault:
    """A fault in every value of some columns, given the value and the day's number in the file."""

    def spoiled(rows: Table) -> Table:
        at = [rows[0].index(name) for name in names or ("tmin", "tmax")]
        return [
            rows[0],
            *(
                [str(change(float(cell), number)) if place in at else cell for place, cell in enumerate(row)]
                for number, row in enumerate(rows[1:])
            ),
        ]

    return table(spoiled)


def header(old: str, new: str) -> Fault:
    return table(lambda rows: [",".join(rows[0]).replace(old, new).split(","), *rows[1:]])


def without_column(*names: str) -> Fault:
    return table(lambda rows: [[c for h, c in zip(rows[0], row, strict=True) if h not in names] for row in rows])


def dated(change: Callable[[date], date]) -> Fault:
    """Rows under other dates."""

    def spoiled(rows: Table) -> Table:
        days = [change(date(*map(int, row[:3]))) for row in rows[1:]]
        return [
            rows[0],
            *([str(d.year), str(d.month), str(d.day), *row[3:]] for d, row in zip(days, rows[1:], strict=True)),
        ]

    return table(spoiled)


def weather_of(station: str, shift: int = 0) -> Fault:
    """Another station's weather, or that of so many days before."""

    def spoiled(rows: Table) -> Table:
        made = [rows[0]]
        for row in rows[1:]:
            low, high = temperatures(station, date(*map(int, row[:3])) - timedelta(days=shift))
            made.append([*row[:5], str(low), row[6], str(high), *row[8:]])
        return made

    return table(spoiled)


def swapped(old: str, new: str) -> Fault:
    def spoiled(rows: Table) -> Table:
        exchange = {old: new, new: old}
        return [[exchange.get(name, name) for name in rows[0]], *rows[1:]]

    return table(spoiled)


def archive() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as file:
        file.writestr("days.csv", "year,month,day\n")
    return made.getvalue()


#: True numbers, only fewer; or weather of a place and of days that can be, as far as anybody can tell.
UNSEEN = ("half of the rows", "every second row", "no rain")
UNTOLD = ("10 K more", "another year under this one", "a fortnight late", "a high pass")
PORTAL = b"<!DOCTYPE html><html><body>Please sign in to use this network</body></html>"

WRONG: dict[str, Fault] = {
    "no bytes": lambda _: b"",
    "a sign-in page": lambda _: PORTAL,
    "a sign-in page, packed": lambda _: gzip.compress(PORTAL),
    "packed nothing": lambda _: gzip.compress(b""),
    "packed garbage": lambda _: gzip.compress(bytes(range(256)) * 40),
    "garbage": lambda _: bytes(range(256)) * 40,
    "one byte": lambda _: b"\x1f",
    "cut off in the middle": lambda body: body[: len(body) // 2],
    "cut off before the check sum": lambda body: body[:-6],
    "a wrong check sum": lambda body: body[:-8] + b"\0\0\0\0" + body[-4:],
    "not packed": gzip.decompress,
    "packed twice": gzip.compress,
    "a zip archive": lambda _: archive(),
    "a database": lambda _: b"SQLite format 3\0" + bytes(4080),
    "in UTF-16": lambda body: gzip.compress(gzip.decompress(body).decode().encode("utf-16")),
    "with semicolons": lambda body: gzip.compress(gzip.decompress(body).replace(b",", b";")),
    "a header only": table(lambda rows: rows[:1]),
    "no header": table(lambda rows: rows[1:]),
    "another header": table(lambda rows: [["a", "b", "c"], *(row[:3] for row in rows[1:])]),
    "half of the rows": table(lambda rows: rows[: len(rows) // 3]),
    "every second row": table(lambda rows: [rows[0], *rows[1::2]]),
    "rows twice": table(lambda rows: [*rows, *rows[1:]]),
    "rows twice, not alike": table(lambda rows: [*rows, *([*row[:5], "1.0", *row[6:]] for row in rows[1:])]),
    "no minimum": without_column("tmin", "tmin_source"),
    "no maximum": without_column("tmax", "tmax_source"),
    "no rain": without_column("prcp", "prcp_source"),
    "no sources": without_column("tmin_source", "tmax_source", "prcp_source"),
    "no temperatures": without_column("tmin", "tmin_source", "tmax", "tmax_source"),
    "no day": without_column("day"),
    "minimum under another name": header(",tmin,tmin_source", ",low,low_source"),
    "minimum and maximum exchanged": swapped("tmin", "tmax"),
    "maximum and rain exchanged": swapped("tmax", "prcp"),
    "minimum and rain exchanged": swapped("tmin", "prcp"),
    "month and day exchanged": swapped("month", "day"),
    "a cell too few": table(lambda rows: [rows[0], *(row[:2] + row[3:] for row in rows[1:])]),
    "zeros": each_value(lambda *_: 0.0),
    "zeros everywhere": each_value(lambda *_: 0.0, "tmin", "tmax", "prcp"),
    "maximum zero": each_value(lambda *_: 0.0, "tmax"),
    "the same each day": each_value(lambda value, _: 4.0 if value < 12 else 16.0),
    "Kelvin": each_value(lambda value, _: value + 273.15),
    "Kelvin in the minimum": each_value(lambda value, _: value + 273.15, "tmin"),
    "tenths of a degree": each_value(lambda value, _: value * 10),
    "a tenth": each_value(lambda value, _: round(value / 10, 2)),
    "Fahrenheit": each_value(lambda value, _: round(value * 1.8 + 32, 1)),
    "Fahrenheit in the maximum": each_value(lambda value, _: round(value * 1.8 + 32, 1), "tmax"),
    "Fahrenheit from March": each_value(lambda value, day: value if day < 60 else round(value * 1.8 + 32, 1)),
    "the sign lost": each_value(lambda value, _: -value),
    "10 K more": each_value(lambda value, _: value + 10),
    "huge": each_value(lambda *_: 1e308),
    "endless": each_value(lambda *_: "inf"),
    "less than nothing": each_value(lambda *_: "-inf"),
    "-9999": each_value(lambda *_: -9999),
    "none": each_value(lambda *_: "NaN"),
    "blank": each_value(lambda *_: ""),
    "text": each_value(lambda *_: "warm"),
    "text once": each_value(lambda value, day: "M" if day == 40 else value, "tmin"),
    "text once in the rain": each_value(lambda value, day: "trace" if day == 40 else value, "prcp"),
    "a terminal's command": each_value(lambda value, day: "\x1b[31m" if day == 40 else value, "tmax"),
    "decimal commas": each_value(lambda value, _: str(value).replace(".", ",")),
    "another year": dated(lambda day: day.replace(year=day.year - 1, day=min(day.day, 28))),
    "a year to come": dated(lambda day: day.replace(year=day.year + 1, day=min(day.day, 28))),
    "the year 0": dated(lambda day: day.replace(year=1, day=min(day.day, 28))),
    "one date for all": dated(lambda day: day.replace(month=1, day=1)),
    "another year under this one": weather_of("ZZ001", 1099),
    "a fortnight late": weather_of("ZZ001", 13),
    "a high pass": weather_of("ZZ005"),
}


def spoils(fault: Fault, years: tuple[int, ...] = (2023, 2024)) -> Callable[[str, bytes], bytes]:
    """The daily files of some years with a fault in them."""

    def spoil(path: str, body: bytes) -> bytes:
        return fault(body) if path.startswith("/daily/") and int(path.split("/")[2]) in years else body

    return spoil


@pytest.mark.parametrize("fault", WRONG.values(), ids=WRONG)
def test_a_wrong_answer_never_takes_the_place_of_kept_days(
    server: WeatherServer, cache: Path, fault: Fault
) -> None:
    """The kept days are used as they were, one line names the fetch, and the next run asks again and has the new day."""
    server.today, server.spoil = TOMORROW, spoils(fault)
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "ZZ001", "2024", "cannot be right", "asked for again")) == 1
    assert not set(weather.table["origin"]) - {"observed", "filled", "climatology", "missing"}  # no forecast from it
    server.spoil = spoils(lambda body: body)
    server.log.clear()
    mended = season(cache, today=TOMORROW)
    assert 2024 in server.years_asked()
    assert is_true(mended, SOWN, TOMORROW)
    assert (mended.table["origin"] == "forecast").sum() == 10
    assert mended.notes == ()


SEEN = [name for name in WRONG if name not in UNSEEN + UNTOLD]


@pytest.mark.parametrize("fault", [WRONG[name] for name in SEEN], ids=SEEN)
def test_a_wrong_answer_is_not_believed_where_nothing_is_kept(
    server: WeatherServer, cache: Path, fault: Fault
) -> None:
    """What can be seen without anything to compare with is refused, and the next run starts as if it had not been."""
    (cache / "station-ZZ001.npz").unlink()
    server.spoil = spoils(fault)
    with pytest.raises((UnusableError, StationError), match=r"^station ZZ001"):
        season(cache)
    server.spoil = spoils(lambda body: body)
    assert is_true(season(cache), SOWN, TODAY)


@pytest.mark.parametrize("name", [*UNSEEN, "a high pass", "10 K more"])
@pytest.mark.parametrize("refresh", [False, True])
def test_what_only_the_kept_days_give_away(server: WeatherServer, cache: Path, name: str, refresh: bool) -> None:
    """A year whose days are kept is compared with them, asked for by itself or by all of it again."""
    server.spoil = spoils(WRONG[name], (2023,) if refresh else (2024,))
    if not refresh:
        server.today = TOMORROW
    weather = season(cache, today=server.today, refresh=refresh)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "2023" if refresh else "2024", "cannot be right")) == 1
    server.log.clear()
    server.spoil = spoils(lambda body: body)
    assert season(cache, today=server.today).notes == ()
    assert (2023 in server.years_asked()) == refresh
