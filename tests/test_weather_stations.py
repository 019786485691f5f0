"""Stations: the real meteostat client against a server on 127.0.0.1 that fails in all the ways servers do."""

from __future__ import annotations

import logging
import os
import sys
import threading
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from weather_server import PLACES, WeatherServer, observed_row, point_client_at, temperatures

from covercrop.base.errors import OfflineError, StationError
from covercrop.base.records import DailyWeather, Station
from covercrop.weather import patience, stations, store
from covercrop.weather.sharing import SharedWeather
from covercrop.weather.stations import nearest, station_weather, weather_at

HERE = (40.50, -86.90, 200.0)
TODAY = date(2024, 4, 20)
SOWN = date(2023, 9, 15)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[WeatherServer]:
    """The server, with the client pointed at it: nothing else is replaced."""
    with WeatherServer(today=TODAY) as running:
        point_client_at(running, monkeypatch)
        yield running


def season(
    cache: Path, station: str = "ZZ001", *, today: date = TODAY, start: date = SOWN, refresh: bool = False
) -> DailyWeather:
    return station_weather(station, start, today, today=today, cache_dir=cache, refresh=refresh)


def test_station_record_is_what_the_server_has(server, tmp_path):
    """Every day asked for arrives with the server's own numbers, observed, and with its credit."""
    weather = season(tmp_path)
    table = weather.table
    assert len(table) == (TODAY - SOWN).days + 1
    assert set(table["origin"]) == {"observed"}
    for day in (SOWN, date(2024, 1, 1), date(2024, 2, 29), TODAY):
        assert tuple(table.loc[str(day), ["tmin_c", "tmax_c"]]) == temperatures("ZZ001", day)
    assert table["prcp_mm"].eq(0.4).all()
    assert weather.attribution.startswith("Meteostat")
    assert weather.stations == (
        Station(id="ZZ001", name="Hollow Farm", latitude=40.5, longitude=-86.9, elevation_m=200),
    )
    assert weather.retrieved == "2024-04-20"


def test_nearest_are_alike_and_have_temperatures(server, tmp_path):
    """Gauges without temperatures and stations 1000 m off are left out; height counts like distance."""
    found = nearest(*HERE, cache_dir=tmp_path)
    assert [station.id for station in found] == ["ZZ001", "ZZ004", "ZZ002", "ZZ006"]
    assert found[0].distance_km == pytest.approx(0, abs=0.1)
    assert found[2].distance_km == pytest.approx(18.7, abs=0.2)  # great circle, 6371 km
    assert found[3].elevation_m is None
    assert "ZZ005" in [station.id for station in nearest(*HERE[:2], cache_dir=tmp_path)]
    assert [station.id for station in nearest(40.66, -86.80, 320, limit=1, cache_dir=tmp_path)] == ["ZZ002"]


def test_nowhere_near_a_station(server, tmp_path):
    """A place without stations is said, with the way out."""
    with pytest.raises(
        StationError, match=r"no station with daily temperatures within 80 km of 10\.00, 10\.00; name a"
    ):
        nearest(10, 10, cache_dir=tmp_path)
    for corner in ((90, 180), (-90, -180), (0, 180)):
        with pytest.raises(StationError, match="no station with daily temperatures"):
            nearest(*corner, cache_dir=tmp_path)


def test_trap_current_year_is_never_older_than_a_day(server, tmp_path):
    """The client would serve this year 30 days old; here one run a day asks, and only for the years that can change."""
    season(tmp_path)
    server.log.clear()
    season(tmp_path)
    assert server.log == []
    server.today = TODAY + timedelta(days=1)
    later = season(tmp_path, today=server.today)
    assert set(server.years_asked()) == {2024}  # 2023 was settled, fetched more than 60 days after its end
    assert later.table.index[-1].date() == server.today
    server.log.clear()
    season(tmp_path, today=server.today, refresh=True)
    assert set(server.years_asked()) == {2023, 2024}


def test_trap_year_that_just_ended_is_asked_for_again(server, tmp_path):
    """Last year's December is still being completed in January."""
    season(tmp_path, today=date(2024, 1, 10))
    server.log.clear()
    season(tmp_path, today=date(2024, 1, 11))
    assert set(server.years_asked()) == {2023, 2024}


def test_looking_ahead_does_not_make_the_cache_look_new(server, tmp_path):
    """A day asked about ahead of time is not the day on which the data were fetched."""
    ahead = date.today() + timedelta(days=40)
    season(tmp_path, today=ahead)
    kept = store.load(tmp_path, "ZZ001")
    assert kept is not None
    assert max(kept.fetched.values()) <= np.datetime64(date.today())


@pytest.mark.parametrize("outage", ["503", "refused"])
def test_trap_outage_is_not_no_data(server, tmp_path, outage):
    """The client gives None for both; here an outage is an OfflineError, and no data a StationError."""
    nearest(*HERE, cache_dir=tmp_path)
    with pytest.raises(StationError, match=r"ZZ004 \(Silent Hill\) has no daily temperatures from 2023-09-15"):
        season(tmp_path, "ZZ004")
    if outage == "503":
        server.status = 503
    else:
        server.close()
    with pytest.raises(OfflineError, match="ZZ001: no answer from the weather server and nothing kept"):
        season(tmp_path, "ZZ001")


def test_outage_with_a_cache_goes_on_and_says_how_old_it_is(server, tmp_path):
    """Nine days later without a network the kept days are used and their age is in the notes."""
    season(tmp_path)
    server.close()
    weather = season(tmp_path, today=date(2024, 4, 29))
    assert weather.table.index[-1].date() == TODAY
    assert "ZZ001: last fetched 2024-04-20, 9 days ago; no answer from the weather server now" in weather.notes[0]
    assert weather.retrieved == "2024-04-20"


def test_trap_one_failing_year_is_named_and_asked_for_again(server, tmp_path):
    """The client drops a failing year without a word; here it is named, and asked for next time."""
    server.failing_years = {2022}
    weather = season(tmp_path, start=date(2020, 9, 1))
    assert weather.notes[0] == "station ZZ001: 2022 could not be fetched; try again later"
    assert (weather.table.loc["2022", "origin"] == "missing").all()
    assert (weather.table.loc["2021", "origin"] == "observed").all()
    server.failing_years = set()
    server.log.clear()
    mended = season(tmp_path, start=date(2020, 9, 1))
    assert set(server.years_asked()) == {2022}  # the forecast rows are of the same day
    assert (mended.table["origin"] == "observed").all()


def test_trap_missing_years_are_not_asked_for_again(server, tmp_path):
    """The client asks for a year that does not exist every time; the answer 404 is kept."""
    weather = season(tmp_path, start=date(1980, 1, 1))
    assert weather.table.index[0].date() == date(1985, 1, 1)
    server.log.clear()
    season(tmp_path, start=date(1980, 1, 1))
    assert server.log == []


def test_trap_more_than_thirty_years(server, tmp_path):
    """The client refuses more than 30 years at once; 39 come whole, no year but the last asked for twice."""
    weather = season(tmp_path, start=date(1985, 1, 1))
    assert len(weather.table) == (TODAY - date(1985, 1, 1)).days + 1
    assert weather.table["origin"].eq("observed").mean() > 0.999
    assert sorted(server.years_asked()) == [*range(1985, 2025), 2024]


@pytest.mark.parametrize("how", ["hang", "trickle"])
def test_trap_hung_server_is_left(server, tmp_path, monkeypatch, how):
    """The client sets no limit on a daily file; a server that is silent, or sends a byte now and then, is left."""
    nearest(*HERE, cache_dir=tmp_path)
    monkeypatch.setattr(patience, "ANSWER_LIMIT", 0.5)
    monkeypatch.setattr(stations, "REQUEST_LIMIT", 1.0)
    setattr(server, how, {"hang": 8.0, "trickle": 0.1}[how])
    start = time.perf_counter()
    with pytest.raises(OfflineError, match="no answer from the weather server"):
        season(tmp_path)
    assert time.perf_counter() - start < 2.5


def test_a_request_that_was_left_fails_in_silence(monkeypatch, capfd):
    """The client logs the traceback of a failure, which Python prints where no handler is set up."""
    left, failed = threading.Event(), threading.Event()

    def request():
        left.wait(5)
        try:
            raise TimeoutError("timed out")
        except TimeoutError:
            logging.getLogger("meteostat").warning("Could not load data file", exc_info=True)
        failed.set()

    with patience.listening() as heard, pytest.raises(patience.NoAnswerError):
        patience.within(0.01, request)
    with monkeypatch.context() as outside:
        outside.setattr(logging.root, "handlers", [])  # those of pytest, which a user does not have
        left.set()
        assert failed.wait(5)
    assert heard == []
    assert capfd.readouterr().err == ""


def test_a_request_that_was_left_does_not_fail_the_next():
    """What an earlier request meets late is not taken for the failure of the one that is being made."""
    left, failed = threading.Event(), threading.Event()

    def request():
        left.wait(5)
        logging.getLogger("meteostat").warning("Could not load data file")
        failed.set()

    with patience.listening(), pytest.raises(patience.NoAnswerError):
        patience.within(0.01, request)
    with patience.listening() as heard:
        left.set()
        assert failed.wait(5)
        assert heard == []
        patience.within(5, lambda: logging.getLogger("meteostat").warning("Could not load another"))
    assert [each.message for each in heard] == ["Could not load another"]


def test_trap_no_station_list(server, tmp_path):
    """The client raises a bare Exception; here it is one plain line, and a list kept from earlier serves instead."""
    server.status = 503
    with pytest.raises(OfflineError, match=r"^the list of weather stations could not be fetched .*weather file$"):
        nearest(*HERE, cache_dir=tmp_path)
    with pytest.raises(OfflineError, match="the list of weather stations could not be fetched"):
        season(tmp_path)
    server.status = 200
    before = nearest(*HERE, cache_dir=tmp_path)
    server.status = 503
    old = time.time() - 90 * 86400
    os.utime(tmp_path / "stations.db", (old, old))
    server.log.clear()
    assert nearest(*HERE, cache_dir=tmp_path) == before
    assert server.log == ["/stations.db"]


def test_damaged_station_list_does_not_replace_the_last_one(server, tmp_path):
    """What arrives is looked into before it is kept."""
    server.stations_db = server.stations_db[:5000]
    with pytest.raises(OfflineError, match="the list of weather stations"):
        nearest(*HERE, cache_dir=tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "way_out"), [("ZZ01", "did you mean ZZ001"), ("%", "leave the station out"), ("../x", "leave the")]
)
def test_trap_unknown_station(server, tmp_path, name, way_out):
    """The client raises ValueError, and takes % as a wildcard; here near ids are offered."""
    with pytest.raises(StationError, match=f"^no station {name.upper()!r}; {way_out}"):
        season(tmp_path, name)


def test_trap_model_rows_are_only_forecast(server, tmp_path):
    """The client fills gaps with model rows, and keeps rows half of which are model; none counts as observed."""

    def with_models(station, day):
        low, high = temperatures(station, day)
        if day == date(2024, 3, 1):
            return low, "dwd_mosmix", high, "dwd_mosmix"
        if day == date(2024, 3, 10):
            return low + 9, "isd_lite metno_forecast", high, "isd_lite"
        return observed_row(station, day)

    server.row = with_models
    weather = station_weather("ZZ001", SOWN, date(2024, 12, 31), today=TODAY, cache_dir=tmp_path)
    table = weather.table
    assert table.loc["2024-03-01", "origin"] == "filled"
    assert table.loc["2024-03-10", "origin"] == "filled"
    assert table.loc["2024-03-10", "tmin_c"] < temperatures("ZZ001", date(2024, 3, 10))[0] + 8
    assert table.loc["2024-03-10", "tmax_c"] == temperatures("ZZ001", date(2024, 3, 10))[1]
    ahead = table[table["origin"] == "forecast"]
    assert [day.date() for day in ahead.index] == [TODAY + timedelta(days=n) for n in range(1, 11)]
    assert ahead["tmin_c"].eq(5.5).all()
    assert weather.attribution == "Meteostat, MET Norway"
    assert table.index[-1] == ahead.index[-1]
    assert (table.loc[str(TODAY)]["origin"]) == "observed"


def test_old_forecasts_are_not_served(server, tmp_path):
    """A forecast kept from another day is left out when there is no network."""
    season(tmp_path)
    server.close()
    tomorrow = date(2024, 4, 21)
    weather = station_weather("ZZ001", SOWN, date(2024, 12, 31), today=tomorrow, cache_dir=tmp_path)
    assert set(weather.table["origin"]) == {"observed"}


def test_trap_minimum_above_maximum_is_flagged(server, tmp_path):
    """The archive has served such days; they are flagged and filled."""
    wrong = date(2024, 2, 2)
    server.row = lambda station, day: (12.0, "ghcnd", 3.0, "ghcnd") if day == wrong else observed_row(station, day)
    row = season(tmp_path).table.loc[str(wrong)]
    assert (row["flag"], row["origin"]) == ("tmin-above-tmax", "filled")
    assert row["tmin_c"] <= row["tmax_c"]


def test_place_is_completed_from_the_next_station(server, tmp_path):
    """Days that the nearest lacks come from the next, brought to its level: within 1 K of what it would have shown."""
    gap = [date(2023, 12, 1) + timedelta(days=n) for n in range(45)]
    server.row = lambda station, day: None if station == "ZZ001" and day in gap else observed_row(station, day)
    weather = weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    assert [station.id for station in weather.stations] == ["ZZ001", "ZZ002"]
    assert weather.stations[1].distance_km == pytest.approx(18.7, abs=0.2)
    filled = weather.table.loc[str(gap[0]) : str(gap[-1])]
    assert (filled["origin"] == "observed").all()
    truth = np.array([temperatures("ZZ001", day) for day in gap])
    assert np.abs(filled[["tmin_c", "tmax_c"]].to_numpy() - truth).max() < 1.0
    assert any("45 days come from the station" in note for note in weather.notes)
    assert any("6.5 K/km" in note for note in weather.notes)


def test_place_is_brought_to_its_height(server, tmp_path):
    """300 m above the valley station the record is 1.95 K colder (6.5 K/km, ISO 2533)."""
    weather = weather_at(40.50, -86.90, 500.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    station = weather.stations[0]
    raw = np.array(temperatures(station.id, TODAY))
    expected = raw - 0.0065 * (500 - (PLACES[station.id].elevation or 0))
    assert tuple(weather.table.loc[str(TODAY), ["tmin_c", "tmax_c"]]) == pytest.approx(expected)


def test_trap_station_without_height_and_stale_inventory(server, tmp_path):
    """A station whose height is unknown is used as it is; an inventory that ends too early excludes nothing."""
    weather = weather_at(40.80, -86.60, 250.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    assert weather.stations[0].id == "ZZ006"
    ridge = weather_at(40.66, -86.80, 320.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    assert ridge.stations[0].id == "ZZ002"


def test_place_without_network(server, tmp_path):
    """One outage is enough: with a cache the place goes on, without one it fails after a single request."""
    nearest(*HERE, cache_dir=tmp_path)
    server.status = 503
    server.log.clear()
    with pytest.raises(OfflineError, match="nothing kept"):
        weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    assert server.years_asked() == [2024]
    server.status = 200
    weather_at(*HERE, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    server.close()
    later = weather_at(*HERE, SOWN, date(2024, 4, 25), today=date(2024, 4, 25), cache_dir=tmp_path)
    assert any("5 days ago" in note for note in later.notes)


def test_fresh_cache_needs_neither_network_nor_client(server, tmp_path, monkeypatch):
    """With everything kept the client, half a second of start-up, is not even imported."""
    expected = season(tmp_path).table
    monkeypatch.setitem(sys.modules, "meteostat", None)
    assert season(tmp_path).table.equals(expected)


def test_damaged_cache_is_fetched_again(server, tmp_path):
    """A kept file that cannot be read counts as absent; nothing half-written stays behind."""
    season(tmp_path)
    (tmp_path / "station-ZZ001.npz").write_bytes(b"PK\x03\x04 broken")
    assert len(season(tmp_path).table) == (TODAY - SOWN).days + 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["station-ZZ001.npz", "stations.db"]


def test_cache_folder(monkeypatch, tmp_path):
    """The folder given goes before the environment, and that before the platform's."""
    monkeypatch.setenv("COVERCROP_CACHE", str(tmp_path / "env"))
    assert store.cache_folder(tmp_path) == tmp_path
    assert store.cache_folder() == tmp_path / "env"
    monkeypatch.delenv("COVERCROP_CACHE")
    assert store.cache_folder().name == "covercrop"


def test_cache_folder_that_cannot_be(server, tmp_path):
    """Without a place for the list of stations the way out is another folder."""
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StationError, match=r"cannot be kept in .*file \(File exists\); set COVERCROP_CACHE"):
        nearest(*HERE, cache_dir=tmp_path / "file")


def test_station_ids_in_small_letters(server, tmp_path):
    """The server knows capitals only; the id is asked for in capitals."""
    assert season(tmp_path, "zz001").stations[0].id == "ZZ001"


def test_near_short_record_leads_and_a_longer_one_completes_it(server, tmp_path):
    """Six recent years next door set the level; the ridge supplies the 25 before them, within 1.5 K of the truth."""
    server.row = lambda station, day: None if station == "ZZ001" and day.year < 2019 else observed_row(station, day)
    weather = weather_at(*HERE, date(1995, 1, 1), TODAY, today=TODAY, cache_dir=tmp_path)
    assert [station.id for station in weather.stations] == ["ZZ001", "ZZ002"]
    assert weather.table["origin"].eq("observed").mean() > 0.999
    days = [date(2000, 1, 1) + timedelta(days=n) for n in range(366)]
    truth = np.array([temperatures("ZZ001", day) for day in days])
    got = weather.table.loc["2000", ["tmin_c", "tmax_c"]].to_numpy()
    assert np.abs(got - truth).max() < 1.5


def test_cache_that_cannot_be_written(server, tmp_path, monkeypatch):
    """Without a place to keep it the weather is used all the same, and that is said."""
    monkeypatch.setattr("tempfile.mkstemp", lambda **_: (_ for _ in ()).throw(PermissionError("read-only")))
    weather = season(tmp_path)
    assert "cannot be kept" in weather.notes[0]
    assert len(weather.table) == (TODAY - SOWN).days + 1


def test_places_that_share_a_station_read_it_once(server, tmp_path, monkeypatch):
    """Two fields a mile apart: the second takes what the first has brought, and is answered as if it were alone."""
    alone = weather_at(40.66, -86.80, 250.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path)
    read: list[str] = []
    original = stations.station_record

    def counted(kept, *rest, **named):
        read.append(kept.station.id)
        return original(kept, *rest, **named)

    monkeypatch.setattr(stations, "station_record", counted)
    shared = SharedWeather()
    weather_at(40.67, -86.81, 250.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path, shared=shared)
    first = len(read)
    together = weather_at(40.66, -86.80, 250.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path, shared=shared)
    assert len(read) == len(set(read)) == first > 0
    assert together.table.equals(alone.table)


@pytest.mark.parametrize("kept", ["no list", "an old list", "a list"])
def test_fields_that_share_meet_an_outage_once(server, tmp_path, kept):
    """Forty fields must not wait forty times for a server that does not answer."""
    if kept != "no list":
        nearest(*HERE, cache_dir=tmp_path)
    if kept == "an old list":
        old = time.time() - 90 * 86400
        os.utime(tmp_path / "stations.db", (old, old))
    server.status = 503
    shared = SharedWeather()
    asked = []
    for step in range(4):
        server.log.clear()
        with pytest.raises(OfflineError):
            weather_at(40.66 + step / 100, -86.80, 250.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path, shared=shared)
        asked.append(len(server.log))
    assert asked[0] > 0
    assert asked[1:] == [0, 0, 0]
    server.status = 200  # another run asks again
    assert weather_at(40.66, -86.80, 250.0, SOWN, TODAY, today=TODAY, cache_dir=tmp_path).stations


def test_stations_are_those_that_the_client_finds(server, tmp_path):
    """Looked up by the square that a place lies in, found as if asked for the place: across the borders of squares."""
    import meteostat as ms

    nearest(*HERE, cache_dir=tmp_path)
    rng = np.random.default_rng(4)
    places = np.column_stack([rng.uniform(39.8, 41.6, 60), rng.uniform(-88.0, -85.6, 60)])
    for latitude, longitude in [*places, (40.5, -87.0), (40.0, -86.5), (40.65, -86.8)]:
        expected = ms.stations.nearby(ms.Point(latitude, longitude), radius=80_000)["distance"]
        expected = expected.drop(["ZZ003"], errors="ignore")  # which has no temperatures
        try:
            found = {near.id: near.distance_km for near in nearest(latitude, longitude, cache_dir=tmp_path)}
        except StationError:
            found = {}
        assert list(found) == list(expected.index[:6])
        for name, distance in found.items():
            assert distance == pytest.approx(expected[name] / 1000, abs=2e-4)
