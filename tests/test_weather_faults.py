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
import pandas as pd
import pytest
from weather_server import Row, WeatherServer, point_client_at, temperatures

from covercrop.base.errors import OfflineError, StationError, UnusableError
from covercrop.base.records import DailyWeather
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
    """Rows under other dates, without 29 February."""

    def spoiled(rows: Table) -> Table:
        kept = [row for row in rows[1:] if row[1:3] != ["2", "29"]]
        days = [change(date(*map(int, row[:3]))) for row in kept]
        return [
            rows[0],
            *([str(d.year), str(d.month), str(d.day), *row[3:]] for d, row in zip(days, kept, strict=True)),
        ]

    return table(spoiled)


def field_weather(station: str, shift: int = 0) -> Fault:
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
    "another year": dated(lambda day: day.replace(year=day.year - 1)),
    "a year to come": dated(lambda day: day.replace(year=day.year + 1)),
    "the year 0": dated(lambda day: day.replace(year=1)),
    "one date for all": dated(lambda day: day.replace(month=1, day=1)),
    "another year under this one": field_weather("ZZ001", 1099),
    "a fortnight late": field_weather("ZZ001", 13),
    "a high pass": field_weather("ZZ005"),
}


def spoils(fault: Fault, years: tuple[int, ...] = (2023, 2024)) -> Callable[[str, bytes], bytes]:
    """The daily files of some years with a fault in them."""

    def spoil(path: str, body: bytes) -> bytes:
        return fault(body) if path.startswith("/daily/") and int(path.split("/")[2]) in years else body

    return spoil


@pytest.mark.parametrize("fault", WRONG.values(), ids=WRONG)
def test_a_wrong_answer_never_takes_the_place_of_kept_days(server: WeatherServer, cache: Path, fault: Fault) -> None:
    """The kept days are used as they were, one line names the fetch, and the next run has the new day."""
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
def test_a_wrong_answer_is_not_believed_where_nothing_is_kept(server: WeatherServer, cache: Path, fault: Fault) -> None:
    """What can be seen without anything to compare with is refused, and the next run starts as if it had not been."""
    (cache / "station-ZZ001.npz").unlink()
    server.spoil = spoils(fault)
    begun = date(2024, 1, 1)
    with pytest.raises((UnusableError, StationError), match=r"^station ZZ001"):
        station_weather("ZZ001", begun, TODAY, today=TODAY, cache_dir=cache)
    server.spoil = spoils(lambda body: body)
    assert is_true(station_weather("ZZ001", begun, TODAY, today=TODAY, cache_dir=cache), begun, TODAY)


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


# --- answers that are right -----------------------------------------------------------------------


RIGHT: dict[str, Fault] = {
    "not in order": table(lambda rows: [rows[0], *rows[:0:-1]]),
    "columns in another order": table(lambda rows: [[*row[:3], *row[:2:-1]] for row in rows]),
    "a column more": table(lambda rows: [[*row, "7" if row[0] != "year" else "pollen"] for row in rows]),
    "text in a column that nobody asks for": table(
        lambda rows: [[*row, "x", "ghcnd"] if row[0] != "year" else [*row, "wspd", "wspd_source"] for row in rows]
    ),
    "a code for what is missing": each_value(lambda value, day: -9999 if day % 9 == 5 else value, "prcp"),
}


@pytest.mark.parametrize("fault", RIGHT.values(), ids=RIGHT)
def test_an_answer_that_only_looks_odd_is_used(server: WeatherServer, cache: Path, fault: Fault) -> None:
    """Another order of rows or columns is none of the user's business."""
    server.today, server.spoil = TOMORROW, spoils(fault)
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TOMORROW)
    assert weather.notes == ()


def revised(station: str, day: date) -> Row:
    """Preliminary readings put right: up to 1.5 K on every day, and one day by 9 K."""
    low, high = temperatures(station, day)
    by = 1.5 * np.sin(day.toordinal() * 2.3) + (9.0 if day == date(2024, 2, 3) else 0.0)
    return round(low + by, 1), "ghcnd", round(high + by, 1), "ghcnd"


def morning_observer(station: str, day: date) -> Row:
    """The maximum is dated on the day of reading, a day late."""
    low = temperatures(station, day)[0]
    return low, "ghcnd", temperatures(station, day - timedelta(days=1))[1], "ghcnd"


def heat_wave(station: str, day: date) -> Row:
    """Three weeks of March 14 K warmer than any other year."""
    low, high = temperatures(station, day)
    by = 14.0 if date(2024, 3, 5) <= day <= date(2024, 3, 26) else 0.0
    return low + by, "ghcnd", high + by, "ghcnd"


@pytest.mark.parametrize("row", [revised, morning_observer])
def test_ordinary_corrections_are_taken_over(
    server: WeatherServer, cache: Path, row: Callable[[str, date], Row]
) -> None:
    """The service revises what it published; the revised days replace those that were kept, without a word."""
    server.today, server.row = TOMORROW, row
    weather = season(cache, today=TOMORROW)
    for day in (date(2024, 1, 5), date(2024, 3, 1), TODAY, TOMORROW):
        low, _, high, _ = row("ZZ001", day)
        assert tuple(weather.table.loc[str(day), ["tmin_c", "tmax_c"]]) == (low, high)
    assert said(weather, "cannot be right") == []


def test_a_year_of_a_heat_wave_is_believed(server: WeatherServer, tmp_path: Path) -> None:
    """With thirty years kept, a new one may be hotter for weeks than any before."""
    early = date(2023, 12, 31)
    station_weather("ZZ001", date(1994, 1, 1), early, today=early, cache_dir=tmp_path)
    server.row = heat_wave
    weather = station_weather("ZZ001", date(1994, 1, 1), TODAY, today=TODAY, cache_dir=tmp_path)
    low, _, high, _ = heat_wave("ZZ001", date(2024, 3, 15))
    assert tuple(weather.table.loc["2024-03-15", ["tmin_c", "tmax_c"]]) == (low, high)
    assert said(weather, "cannot be right") == []


def readings_of(frame: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Days in order and readings of a record, without rain and without a false -72 degF that it has."""
    frame = frame[~frame.index.duplicated()].sort_index()
    values = np.vstack([frame[["tmin_c", "tmax_c"]].to_numpy().T, np.zeros(len(frame))])
    values[:2, np.abs(values[:2]).max(axis=0) > 55] = np.nan
    return frame.index.to_numpy().astype("datetime64[D]"), values


def test_every_real_year_is_believed_beside_the_others(champion: pd.DataFrame, clemson: pd.DataFrame) -> None:
    """Years of two places, each as if it came new, and each as if it came again: none is refused."""
    for frame in (champion, clemson):
        days, values = readings_of(frame)
        sent = store.by_year(days, values)
        for year, (here, readings) in list(sent.items())[1::3]:
            other = store.years_of(days) != year
            assert doubts(days[other], values[:, other], {year: (here, readings)}) == {}
            assert doubts(days, values, {year: (here, readings)}) == {}


@pytest.mark.parametrize("unit", ["Fahrenheit", "Kelvin", "tenths", "a tenth", "zeros", "another year"])
def test_no_real_year_in_another_unit_is_believed(champion: pd.DataFrame, clemson: pd.DataFrame, unit: str) -> None:
    """Whole years of two places, spoilt, beside their own days and beside the other years alone."""
    change = {
        "Fahrenheit": lambda values: values * 1.8 + 32,
        "Kelvin": lambda values: values + 273.15,
        "tenths": lambda values: values * 10,
        "a tenth": lambda values: values / 10,
        "zeros": lambda values: values * 0,
        "another year": lambda values: values,
    }[unit]
    for frame in (champion, clemson["1950":"2019"]):
        days, values = readings_of(frame)
        sent = store.by_year(days, values)
        for year in list(sent)[3::6]:
            here, readings = sent[year]
            readings = readings.copy()
            readings[:2] = change(readings[:2])
            if unit == "another year":
                earlier = sent[year - 2][1]
                least = min(readings.shape[1], earlier.shape[1])
                readings[:2, :least] = earlier[:2, :least]
            other = store.years_of(days) != year
            assert doubts(days, values, {year: (here, readings)})
            if unit != "another year":
                assert doubts(days[other], values[:, other], {year: (here, readings)})


# --- answers that do not come ---------------------------------------------------------------------


@pytest.mark.parametrize("status", [204, 206, 301, 400, 401, 403, 404, 410, 418, 429, 500, 502, 503, 504])
def test_every_status_keeps_what_was_kept(server: WeatherServer, cache: Path, status: int) -> None:
    """Refused, gone, moved or broken: the kept days stand, one line says that nothing came, and it is asked again."""
    server.status, server.today = status, TOMORROW
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "ZZ001")) == 1
    assert said(weather, "no answer from the weather server now") or said(weather, "2024", "asked for again")
    server.status = 200
    mended = season(cache, today=TOMORROW)
    assert is_true(mended, SOWN, TOMORROW)
    assert mended.notes == ()


def test_an_answer_that_breaks_off(server: WeatherServer, cache: Path) -> None:
    """A connection that is cut in the middle of a file is no answer."""
    server.today, server.cut = TOMORROW, 200
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "2024", "broke off", "asked for again")) == 1
    server.cut = 0
    assert is_true(season(cache, today=TOMORROW), SOWN, TOMORROW)


@pytest.mark.parametrize("how", ["hang", "trickle"])
def test_a_slow_answer_leaves_what_was_kept(
    server: WeatherServer, cache: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    """The kept days are used when the time is over."""
    monkeypatch.setattr(patience, "ANSWER_LIMIT", 0.2)
    monkeypatch.setattr(stations, "REQUEST_LIMIT", 0.4)
    server.today = TOMORROW
    setattr(server, how, {"hang": 3.0, "trickle": 0.1}[how])
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "ZZ001", "no answer from the weather server now")) == 1


@pytest.mark.parametrize("announced", [False, True])
def test_an_answer_without_end_is_left(
    server: WeatherServer, cache: Path, announced: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is read beyond what a year can hold, so that the memory lasts."""
    # What an earlier test installed for the whole process is left as it is, and would not be limited.
    monkeypatch.setattr("urllib.request._opener", None)
    server.today, server.endless = TOMORROW, not announced
    if announced:
        server.spoil = spoils(lambda _: gzip.compress(os.urandom(2**18)))
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "2024", "could not be read", "asked for again")) == 1
    server.endless, server.spoil = False, spoils(lambda body: body)
    assert is_true(season(cache, today=TOMORROW), SOWN, TOMORROW)


def test_years_that_cannot_be_read_are_not_all_asked_for(server: WeatherServer, cache: Path) -> None:
    """A sign-in page in place of every file is noticed after three."""
    server.spoil = spoils(lambda _: PORTAL, tuple(range(1980, 2025)))
    (cache / "station-ZZ001.npz").unlink()
    with pytest.raises(UnusableError, match=r"1994-2021 cannot be right \(in 2021, not asked for after 3"):
        station_weather("ZZ001", date(1994, 1, 1), TODAY, today=TODAY, cache_dir=cache)
    assert server.years_asked() == [2024, 2023, 2022]


def test_a_bad_year_does_not_spoil_those_beside_it(server: WeatherServer, tmp_path: Path) -> None:
    """Rows of 2021 in the file of 2022, with another place's weather, do not reach the days of 2021."""
    moved = dated(lambda day: day.replace(year=2021))
    server.spoil = spoils(lambda body: moved(WRONG["a high pass"](body)), (2022,))
    first = date(2020, 1, 1)
    weather = station_weather("ZZ001", first, TODAY, today=TODAY, cache_dir=tmp_path)
    assert is_true(weather, first, date(2021, 12, 31))
    assert (weather.table.loc["2022", "origin"] == "missing").all()
    assert is_true(weather, date(2023, 1, 1), TODAY)
    assert len(said(weather, "2022", "no day of it", "asked for again")) == 1


@pytest.mark.parametrize("name", ["Fahrenheit", "Kelvin", "a tenth", "zeros", "a high pass", "10 K more"])
def test_one_wrong_year_among_new_ones(server: WeatherServer, tmp_path: Path, name: str) -> None:
    """Years that come together are judged by each other, and the odd one is left out until it is right."""
    server.spoil = spoils(WRONG[name], (2022,))
    first = date(2019, 1, 1)
    weather = station_weather("ZZ001", first, TODAY, today=TODAY, cache_dir=tmp_path)
    assert (weather.table.loc["2022", "origin"] == "missing").all()
    assert is_true(weather, date(2023, 1, 1), TODAY)
    assert len(said(weather, "2022", "cannot be right")) == 1
    server.spoil = spoils(lambda body: body)
    assert is_true(station_weather("ZZ001", first, TODAY, today=TODAY, cache_dir=tmp_path), first, TODAY)


@pytest.mark.parametrize(
    "name", ["Kelvin", "Fahrenheit", "minimum and maximum exchanged", "zeros", "tenths of a degree"]
)
def test_a_wrong_forecast_is_left_out(server: WeatherServer, cache: Path, name: str) -> None:
    """With the days sound, a forecast that cannot be is named, left out, and asked for again by the next run."""
    change = WRONG[name]

    def spoil(body: bytes) -> bytes:
        sound, wrong = (gzip.decompress(each).splitlines() for each in (body, change(body)))
        ahead = [place for place, line in enumerate(sound) if b"metno" in line]
        made = [line if place not in ahead else wrong[place] for place, line in enumerate(sound)]
        if name == "minimum and maximum exchanged":
            made = [line.replace(b",5.5,", b",16.5,") for line in sound]
        return gzip.compress(b"\n".join(made))

    server.today, server.spoil = TOMORROW, spoils(spoil)
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TOMORROW)
    assert weather.table.index[-1].date() == TOMORROW
    assert len(said(weather, "ZZ001", "no forecast", "asked for again")) == 1
    server.spoil = spoils(lambda body: body)
    mended = season(cache, today=TOMORROW)
    assert (mended.table["origin"] == "forecast").sum() == 10
    assert mended.notes == ()


def test_a_year_that_was_empty_is_asked_for_again_later(server: WeatherServer, cache: Path) -> None:
    """A server that lost a year, and said so before it was ever kept, is asked again after a month."""
    server.failing_years = set()
    first = date(2022, 9, 1)
    real = server.spoil
    server.status = 404
    assert season(cache, today=TODAY).notes == ()  # nothing is asked for
    with pytest.raises(StationError, match="has no daily temperatures"):
        season(cache, station="ZZ002")
    server.status, server.spoil = 200, real
    server.log.clear()
    with pytest.raises(StationError, match="has no daily temperatures"):
        season(cache, station="ZZ002")
    assert server.log == []
    server.today = TODAY + timedelta(days=31)
    found = station_weather("ZZ002", first, server.today, today=server.today, cache_dir=cache)
    assert set(found.table["origin"]) == {"observed"}


def test_asking_about_an_earlier_day_loses_none_of_the_later(server: WeatherServer, cache: Path) -> None:
    """What is fetched anew for a day in March leaves the April that was kept."""
    earlier = season(cache, today=date(2024, 3, 1), refresh=True)
    assert is_true(earlier, SOWN, date(2024, 3, 1))
    server.close()
    assert is_true(season(cache), SOWN, TODAY)


# --- what the cache can hold ----------------------------------------------------------------------


def arrays(path: Path) -> dict[str, np.ndarray]:
    with np.load(path) as file:
        return {name: file[name] for name in file.files}


def altered(**changes: Callable[[np.ndarray], object]) -> Callable[[Path], object]:
    """A kept file in which some arrays are others; None leaves one out."""

    def spoil(path: Path) -> None:
        held: dict[str, object] = dict(arrays(path))
        for name, change in changes.items():
            held[name] = change(np.asarray(held[name]))
        with path.open("wb") as file:
            np.savez(file, allow_pickle=True, **{name: array for name, array in held.items() if array is not None})

    return spoil


def about(**changes: object) -> Callable[[Path], object]:
    """A kept file that says something else of its station."""

    def change(told: np.ndarray) -> str:
        told_of = json.loads(str(told))
        told_of["station"] |= changes
        return json.dumps(told_of)

    return altered(about=change)


def written(content: bytes) -> Callable[[Path], object]:
    return lambda path: path.write_bytes(content)


def one_array(array: np.ndarray) -> bytes:
    made = io.BytesIO()
    np.save(made, array, allow_pickle=True)
    return made.getvalue()


def shortened(part: float) -> Callable[[Path], object]:
    return lambda path: os.truncate(path, int(path.stat().st_size * part))


def flipped(path: Path) -> None:
    """A byte that went wrong in the middle of the readings."""
    body = bytearray(path.read_bytes())
    body[len(body) // 2] ^= 0xFF
    path.write_bytes(bytes(body))


def packed_and_broken(path: Path) -> None:
    """A packed archive, which the program never writes, with garbage in its middle."""
    np.savez_compressed(path, **arrays(path))
    body = bytearray(path.read_bytes())
    body[600:900] = bytes(300)
    path.write_bytes(bytes(body))


def a_database(path: Path) -> None:
    path.write_bytes((path.parent / "stations.db").read_bytes())


def of_another(path: Path) -> None:
    """The file of another station under this one's name."""
    about(id="ZZ002")(path)


HELD: dict[str, Callable[[Path], object]] = {
    "nothing": written(b""),
    "garbage": written(bytes(range(256)) * 9),
    "a broken archive": written(b"PK\x03\x04 broken"),
    "another archive": written(archive()),
    "a database": a_database,
    "one array": written(one_array(np.zeros(4))),
    "objects": written(one_array(np.array([{}]))),
    "text": written(b"weather\n"),
    "half of it": shortened(0.5),
    "all but the end": shortened(0.98),
    "a byte wrong": flipped,
    "packed and broken": packed_and_broken,
    "another station's": of_another,
    "fewer days than readings": altered(days=lambda days: days[:-5]),
    "more days than readings": altered(readings=lambda values: values[:, :-5]),
    "two readings a day": altered(readings=lambda values: values[:2]),
    "readings turned": altered(readings=lambda values: values.T),
    "readings in a row": altered(readings=lambda values: values.ravel()),
    "no readings": altered(readings=lambda _: None),
    "no days": altered(days=lambda _: None),
    "no word of the station": altered(about=lambda _: None),
    "no such words": altered(about=lambda _: "{}"),
    "half a word": altered(about=lambda told: str(told)[:40]),
    "a list of words": altered(about=lambda _: "[1]"),
    "readings as text": altered(readings=lambda values: values.astype(str)),
    "readings with a word": altered(readings=lambda values: np.where(values > 20, "hot", values.astype(str))),
    "readings as objects": altered(readings=lambda values: values.astype(object)),
    "readings as integers": altered(readings=lambda values: np.nan_to_num(values).astype(np.int64)),
    "readings in single precision": altered(readings=lambda values: values.astype(np.float32)),
    "readings as truths": altered(readings=lambda values: values > 0),
    "endless readings": altered(readings=lambda values: np.where(values > 25, np.inf, values)),
    "days reversed": altered(days=lambda days: days[::-1]),
    "days and readings reversed": altered(days=lambda days: days[::-1], readings=lambda values: values[:, ::-1]),
    "days shuffled": altered(days=lambda days: np.roll(days, 50)),
    "a day twice": altered(days=lambda days: np.r_[days[:10], days[9], days[11:]]),
    "a day that is none": altered(days=lambda days: np.r_[days[:-1], np.datetime64("NaT", "D")]),
    "days as numbers": altered(days=lambda days: days.astype(np.int64)),
    "days as text": altered(days=lambda days: days.astype(str)),
    "days as objects": altered(days=lambda days: days.astype(object)),
    "days to the second": altered(days=lambda days: days.astype("datetime64[s]")),
    "days of another century": altered(days=lambda days: days - np.timedelta64(36524, "D")),
    "days of the year before": altered(days=lambda days: days - np.timedelta64(366, "D")),
    "days to come": altered(days=lambda days: days + np.timedelta64(36524, "D")),
    "days after they were fetched": altered(days=lambda days: days + np.timedelta64(30, "D")),
    "years as text": altered(years=lambda years: years.astype(str)),
    "a year twice": altered(years=lambda years: np.full_like(years, years[0])),
    "fewer years than dates": altered(years=lambda years: years[:1]),
    "no years": altered(years=lambda years: years[:0], fetched=lambda dates: dates[:0]),
    "a year without a date": altered(fetched=lambda dates: np.full_like(dates, np.datetime64("NaT", "D"))),
    "dates as numbers": altered(fetched=lambda dates: dates.astype(np.int64)),
    "forecasts of unequal length": altered(ahead=lambda days: days[:-1]),
    "forecasts reversed": altered(ahead=lambda days: days[::-1]),
    "forecasts as text": altered(ahead_readings=lambda values: values.astype(str)),
    "two dates of the forecast": altered(ahead_fetched=lambda day: np.array([day, day])),
    "a station nowhere": about(latitude=None),
    "a station without end": about(longitude=float("inf")),
    "a height in words": about(elevation_m="high"),
    "a name that is none": about(name=7),
    "a word too many": about(colour="red"),
    "Kelvin": altered(readings=lambda values: values + np.array([[273.15], [273.15], [0], [0]])),
    "Fahrenheit": altered(readings=lambda values: values * [[1.8], [1.8], [1], [1]] + [[32], [32], [0], [0]]),
    "zeros": altered(readings=lambda values: values * 0),
    "minimum and maximum exchanged": altered(readings=lambda values: values[[1, 0, 2, 3]]),
    "huge": altered(readings=lambda values: values * 1e300),
}


@pytest.mark.parametrize("spoil", HELD.values(), ids=HELD)
def test_a_kept_file_that_cannot_be_used_is_fetched_anew(
    server: WeatherServer, cache: Path, spoil: Callable[[Path], object]
) -> None:
    """One line says that it was thrown away, the answer is that of a fresh fetch, and the next run finds it whole."""
    spoil(cache / "station-ZZ001.npz")
    weather = season(cache)
    assert is_true(weather, SOWN, TODAY)
    assert (weather.table["origin"] == "forecast").sum() == 10
    assert len(said(weather, "ZZ001", "thrown away")) == 1
    assert set(server.years_asked()) == {2023, 2024}
    server.log.clear()
    assert season(cache).notes == ()
    assert server.log == []
    assert sorted(path.name for path in cache.iterdir()) == ["station-ZZ001.npz", "stations.db"]


@pytest.mark.parametrize("spoil", [HELD[name] for name in ("nothing", "days reversed", "Kelvin", "readings as text")])
def test_a_kept_file_that_cannot_be_used_without_network(
    server: WeatherServer, cache: Path, spoil: Callable[[Path], object]
) -> None:
    """There is nothing to go on with: one line says why, and the way out."""
    spoil(cache / "station-ZZ001.npz")
    server.close()
    with pytest.raises(OfflineError, match=r"thrown away, and asked for again; .*no answer .*give a weather file$"):
        season(cache)


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache of seven years, of which one January is in another unit than the others."""
    folder = tmp_path_factory.mktemp("mixed")

    def warmer(readings: np.ndarray) -> np.ndarray:
        january = np.arange(readings.shape[1]) // 31 == 0
        return readings + np.where(january, 26.0, 0.0) * [[1], [1], [0], [0]]

    with pytest.MonkeyPatch.context() as patch, WeatherServer(today=TODAY) as running:
        point_client_at(running, patch)
        station_weather("ZZ001", date(2018, 1, 1), TODAY, today=TODAY, cache_dir=folder)
    altered(readings=warmer)(folder / "station-ZZ001.npz")
    return folder


def test_kept_years_that_do_not_fit_together(server: WeatherServer, mixed: Path, tmp_path: Path) -> None:
    """Each can be true, but not all of them: they are thrown away together, said, and fetched anew."""
    cache, first = Path(shutil.copytree(mixed, tmp_path / "cache")), date(2018, 1, 1)
    server.status = 503
    with pytest.raises(
        StationError,
        match=r"2018-01-01 to 2018-01-31 seem .* 2\d K .*apart\); the record is damaged, name another station$",
    ):
        station_weather("ZZ001", first, TODAY, today=TODAY, cache_dir=cache)
    server.status = 200
    weather = station_weather("ZZ001", first, TODAY, today=TODAY, cache_dir=cache)
    assert is_true(weather, first, TODAY)
    assert len(said(weather, "did not fit together", "thrown away, and fetched anew")) == 1
    server.log.clear()
    assert station_weather("ZZ001", first, TODAY, today=TODAY, cache_dir=cache).notes == ()
    assert server.log == []


def test_dates_of_a_clock_that_was_wrong(server: WeatherServer, cache: Path) -> None:
    """Fetched in 2099 does not make a file fresh until then: it is asked for again, and its days stay."""
    altered(fetched=lambda dates: dates + np.timedelta64(27393, "D"))(cache / "station-ZZ001.npz")
    server.status = 503
    assert is_true(season(cache), SOWN, TODAY)
    server.status = 200
    server.log.clear()
    assert is_true(season(cache), SOWN, TODAY)
    assert 2024 in server.years_asked()


def test_a_file_of_the_version_before_is_still_used(server: WeatherServer, cache: Path) -> None:
    """Version 0.2 did not keep which years to ask for again."""

    def older(told: np.ndarray) -> str:
        held = json.loads(str(told))
        del held["again"]
        return json.dumps(held)

    altered(about=older)(cache / "station-ZZ001.npz")
    assert is_true(season(cache), SOWN, TODAY)
    assert server.log == []


def test_a_folder_where_the_file_should_be(server: WeatherServer, cache: Path) -> None:
    """It is left alone; the weather is fetched, used, and said not to be kept."""
    (cache / "station-ZZ001.npz").unlink()
    (cache / "station-ZZ001.npz").mkdir()
    weather = season(cache)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "station-ZZ001.npz", "cannot be read (Is a directory)")) == 1
    assert len(said(weather, "cannot be kept")) == 1


def test_a_link_that_leads_to_itself(server: WeatherServer, cache: Path) -> None:
    """It can be neither read nor replaced; the weather is used all the same."""
    (cache / "station-ZZ001.npz").unlink()
    (cache / "station-ZZ001.npz").symlink_to(cache / "station-ZZ001.npz")
    weather = season(cache)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "station-ZZ001.npz", "cannot be read")) == 1
    assert len(said(weather, "cannot be kept")) == 1


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(server: WeatherServer, cache: Path) -> None:
    """It is replaced by what is fetched."""
    (cache / "station-ZZ001.npz").chmod(0)
    weather = season(cache)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "cannot be read (Permission denied)")) == 1


def test_a_full_disk(server: WeatherServer, cache: Path) -> None:
    """The kept file stays whole, the new day is used, and it is said that it could not be kept."""
    before = (cache / "station-ZZ001.npz").read_bytes()
    server.today = TOMORROW
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limits[1]))
    try:
        weather = season(cache, today=TOMORROW)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert is_true(weather, SOWN, TOMORROW)
    assert len(said(weather, "cannot be kept")) == 1
    assert (cache / "station-ZZ001.npz").read_bytes() == before
    assert sorted(path.name for path in cache.iterdir()) == ["station-ZZ001.npz", "stations.db"]


def test_what_other_runs_left_behind(server: WeatherServer, cache: Path) -> None:
    """Half-written files and locks of a run that was killed are in nobody's way."""
    for name in ("stations.part", ".station-ZZ001.npz.abc.part", "stations.db.lock", "stations.db-journal"):
        (cache / name).write_bytes(b"left over")
    (cache / ".stations-old").mkdir()
    server.today = TOMORROW
    weather = season(cache, today=TOMORROW)
    assert is_true(weather, SOWN, TOMORROW)
    assert weather.notes == ()
    assert nearest(*HERE, cache_dir=cache)[0].id == "ZZ001"


# --- the list of stations -------------------------------------------------------------------------


def with_tables(*statements: str) -> Fault:
    """The list of stations after some statements."""

    def spoil(body: bytes) -> bytes:
        base = sqlite3.connect(":memory:")
        base.deserialize(body)
        for statement in statements:
            base.execute(statement)
        base.commit()
        made = base.serialize()
        base.close()
        return made

    return spoil


def torn(body: bytes) -> bytes:
    """Garbage in one page, behind the tables' names."""
    return body[:8192] + bytes(range(256)) * 16 + body[12288:]


LISTS: dict[str, Fault] = {
    "nothing": lambda _: b"",
    "a sign-in page": lambda _: PORTAL,
    "garbage": lambda _: bytes(range(256)) * 99,
    "one byte": lambda _: b"S",
    "only the head": lambda body: body[:100],
    "one page": lambda body: body[:4096],
    "half": lambda body: body[: len(body) // 2],
    "all but a page": lambda body: body[:-4096],
    "all but a byte": lambda body: body[:-1],
    "garbage in the middle": torn,
    "packed": gzip.compress,
    "an archive": lambda _: archive(),
    "a day's weather": lambda _: b"year,month,day\n2024,1,1\n",
    "an empty database": with_tables("DROP TABLE stations", "DROP TABLE names", "DROP TABLE inventory"),
    "no stations": with_tables("DELETE FROM stations"),
    "no names": with_tables("DELETE FROM names"),
    "names in no language": with_tables("UPDATE names SET language = 'xx'"),
    "no inventory": with_tables("DELETE FROM inventory"),
    "only rain": with_tables("DELETE FROM inventory WHERE parameter <> 'prcp'"),
    "no table of stations": with_tables("DROP TABLE stations"),
    "no table of names": with_tables("DROP TABLE names"),
    "no table of inventory": with_tables("DROP TABLE inventory"),
    "no latitudes": with_tables("ALTER TABLE stations DROP COLUMN latitude"),
    "no heights": with_tables("ALTER TABLE stations DROP COLUMN elevation"),
    "no parameters": with_tables("DROP TABLE inventory", "CREATE TABLE inventory (station TEXT, start TEXT)"),
    "other tables": with_tables("DROP TABLE stations", "CREATE TABLE stations (name TEXT)"),
    "latitudes in words": with_tables("UPDATE stations SET latitude = 'north' WHERE id = 'ZZ002'"),
    "a latitude without end": with_tables("UPDATE stations SET latitude = 9e999 WHERE id = 'ZZ002'"),
    "a longitude missing": with_tables("UPDATE stations SET longitude = NULL WHERE id = 'ZZ002'"),
    "bytes that are no text": with_tables("UPDATE names SET name = CAST(x'ff' AS TEXT) WHERE station = 'ZZ002'"),
    "a height in words": with_tables("UPDATE stations SET elevation = 'high' WHERE id = 'ZZ002'"),
}


@pytest.mark.parametrize("fault", LISTS.values(), ids=LISTS)
def test_a_list_that_cannot_be_used_is_not_kept(server: WeatherServer, tmp_path: Path, fault: Fault) -> None:
    """What arrives is looked into: one line says what came, nothing stays, and the next run asks again."""
    server.spoil = lambda path, body: fault(body) if path == "/stations.db" else body
    for _ in range(2):
        server.log.clear()
        with pytest.raises(
            OfflineError, match=r"^the list of weather stations .*(cannot be used|could not be fetched)"
        ):
            season(tmp_path)
        assert server.log == ["/stations.db"]
    assert list(tmp_path.iterdir()) == []
    server.spoil = lambda _, body: body
    assert nearest(*HERE, cache_dir=tmp_path)[0].id == "ZZ001"


@pytest.mark.parametrize("fault", LISTS.values(), ids=LISTS)
def test_a_kept_list_that_cannot_be_used_is_fetched_anew(server: WeatherServer, cache: Path, fault: Fault) -> None:
    """Thrown away, asked for again, and said; without an answer it is one line, and the next run asks again."""
    file = cache / "stations.db"
    file.write_bytes(fault(file.read_bytes()))
    (cache / "station-ZZ001.npz").unlink()
    server.status = 503
    with pytest.raises(OfflineError, match=r"that was kept could not be used \(.+\) and was thrown away; .*no answer"):
        season(cache)
    assert not file.exists()
    server.status = 200
    file.write_bytes(fault(server.stations_db))
    weather = season(cache)
    assert is_true(weather, SOWN, TODAY)
    assert len(said(weather, "list of weather stations", "thrown away; another was fetched")) == 1
    server.log.clear()
    assert season(cache).notes == ()
    assert nearest(*HERE, cache_dir=cache)[0].id == "ZZ001"
    assert server.log == []


@pytest.mark.parametrize(
    "fault",
    [*LISTS.values(), with_tables("DELETE FROM stations WHERE id > 'ZZ002'")],
    ids=[*LISTS, "far fewer stations"],
)
def test_an_old_list_stays_until_there_is_a_better_one(server: WeatherServer, cache: Path, fault: Fault) -> None:
    """What arrives does not replace a list that serves; that is said, and it is asked for again by the next run."""
    file = cache / "stations.db"
    old = file.stat().st_mtime - 90 * 86400
    os.utime(file, (old, old))
    before = file.read_bytes()
    server.spoil = lambda path, body: fault(body) if path == "/stations.db" else body
    weather = weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=cache)
    assert weather.stations[0].id == "ZZ001"
    assert len(said(weather, "list of weather stations", "the one kept from 90 days ago is used")) == 1
    assert file.read_bytes() == before
    server.spoil = lambda _, body: body
    server.log.clear()
    assert said(weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=cache), "list of weather stations") == []
    assert server.log == ["/stations.db"]


def test_a_list_whose_fault_shows_when_it_is_asked(server: WeatherServer, cache: Path) -> None:
    """One line says that it was thrown away, and the next run fetches another."""
    spoil = with_tables("UPDATE inventory SET start = CAST(x'ff' AS TEXT) WHERE station = 'ZZ002'")
    (cache / "stations.db").write_bytes(spoil(server.stations_db))
    with pytest.raises(StationError, match=r"kept could not be used \(.+\) and was thrown away; run it again"):
        nearest(*HERE, cache_dir=cache)
    assert nearest(*HERE, cache_dir=cache)[0].id == "ZZ001"


def test_a_list_that_has_more_than_is_asked_of_it(server: WeatherServer, tmp_path: Path) -> None:
    """A column, a table and a language more, and a table less that nobody needs."""
    server.stations_db = with_tables(
        "ALTER TABLE stations ADD COLUMN climate TEXT",
        "CREATE TABLE owners (station TEXT)",
        "INSERT INTO names VALUES ('ZZ001', 'de', 'Hohler Hof')",
        "DROP TABLE identifiers",
    )(server.stations_db)
    weather = season(tmp_path)
    assert is_true(weather, SOWN, TODAY)
    assert weather.stations[0].name == "Hollow Farm"
    assert nearest(*HERE, cache_dir=tmp_path)[0].id == "ZZ001"


def test_a_list_from_the_future_is_fetched_anew(server: WeatherServer, cache: Path) -> None:
    """A clock that was wrong does not keep a list for ever."""
    os.utime(cache / "stations.db", (4e9, 4e9))
    nearest(*HERE, cache_dir=cache)
    assert server.log == ["/stations.db"]
    nearest(*HERE, cache_dir=cache)
    assert server.log == ["/stations.db"]


def test_a_folder_in_place_of_the_list(server: WeatherServer, cache: Path) -> None:
    """It is not deleted; one line says where."""
    (cache / "stations.db").unlink()
    (cache / "stations.db").mkdir()
    with pytest.raises(StationError, match=r"cannot be kept in .* \(Is a directory\); set COVERCROP_CACHE"):
        nearest(*HERE, cache_dir=cache)
    assert is_true(season(cache), SOWN, TODAY)  # which needs no list


def test_a_full_disk_for_the_list(server: WeatherServer, cache: Path) -> None:
    """Without a list that is one line; an old one goes on."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    file = cache / "stations.db"
    old = file.stat().st_mtime - 90 * 86400
    os.utime(file, (old, old))
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, limits[1]))
    try:
        weather = weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=cache)
        file.unlink()
        with pytest.raises(StationError, match=r"cannot be kept in .* \(File too large\); set COVERCROP_CACHE"):
            nearest(*HERE, cache_dir=cache)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert len(said(weather, "cannot be kept in", "the one kept from 90 days ago is used")) == 1
    assert sorted(path.name for path in cache.iterdir()) == ["station-ZZ001.npz", "stations.db"][:1]


# --- a place among stations -----------------------------------------------------------------------


@pytest.mark.parametrize("name", ["no bytes", "a header only", "Kelvin", "text once", "minimum and maximum exchanged"])
def test_a_station_with_wrong_answers_is_passed_over(server: WeatherServer, tmp_path: Path, name: str) -> None:
    """The next station serves, and one line says why not the first; it is asked again by the next run."""
    server.spoil = lambda path, body: WRONG[name](body) if path.endswith("ZZ001.csv.gz") else body
    weather = weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    assert weather.stations[0].id == "ZZ002"
    assert len(said(weather, "passed over: station ZZ001", "cannot be right")) == 1
    server.spoil = lambda _, body: body
    weather = weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    assert weather.stations[0].id == "ZZ001"
    assert said(weather, "passed over") == []


def test_all_stations_with_wrong_answers(server: WeatherServer, tmp_path: Path) -> None:
    """A sign-in page in place of every file: one line, with the way out."""
    server.spoil = lambda path, body: body if path == "/stations.db" else PORTAL
    with pytest.raises(
        UnusableError, match=r"^station ZZ001: the answer for 2023-2024 cannot be right .*weather file$"
    ):
        weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
