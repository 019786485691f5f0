"""Weather files: what is read, and what each wrong file is told."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from covercrop.base.errors import WeatherFileError
from covercrop.weather import sheet
from covercrop.weather.own_file import read_weather

DAYS = pd.date_range("2025-09-01", periods=240)
#: Invented temperatures of an ordinary year, the same in both units [degC].
MEAN = 12 + 10 * np.cos(2 * np.pi * (DAYS.day_of_year.to_numpy() - 200) / 365) + 3 * np.sin(np.arange(240) * 1.3)


def write(folder: Path, text: str | bytes, name: str = "plot.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def year(header: str = "date,tmin,tmax", *, us: bool = False) -> str:
    low, high = MEAN - 6, MEAN + 6
    if us:
        low, high = low * 1.8 + 32, high * 1.8 + 32
    rows = [f"{day:%Y-%m-%d},{a:.1f},{b:.1f}" for day, a, b in zip(DAYS, low, high, strict=True)]
    return "\n".join([header, *rows, ""])


@pytest.mark.parametrize(
    ("text", "units", "expected"),
    [
        ("date,tmin,tmax\n2026-04-05,1.5,12.5\n", "metric", (1.5, 12.5, None)),
        ("Day,Low,High\n2026-04-05,32,50\n", "us", (0.0, 10.0, None)),
        ('Date,"Max Temp (F)","Min Temp (F)"\n2026-04-05,50,32\n', "us", (0.0, 10.0, None)),
        ("time;minimum;maximum;rain\n2026-04-05;1,5;12,5;3,2\n", "metric", (1.5, 12.5, 3.2)),
        ("date\ttmin\ttmax\tprecip\n2026-04-05\t1.5\t12.5\t3.2\n", "metric", (1.5, 12.5, 3.2)),
        ("date,tmin,tmax,prcp\n2026-04-05,32,50,1\n", "us", (0.0, 10.0, 25.4)),
        ("date,tmin,tmax,rain_mm\n2026-04-05,32,50,1\n", "us", (0.0, 10.0, 1.0)),
        ("date,tmin_c,tmax_c,rain\n2026-04-05,1.5,12.5,T\n", "metric", (1.5, 12.5, 0.0)),
        ("# my logger\n\ndate, tmin, tmax, note\r\n2026-04-05, 1.5, 12.5, windy\r\n", "metric", (1.5, 12.5, None)),
        ("\ufeffdate,tmin °C,tmax °C\n2026-04-05T00:00:00,1.5,12.5\n", "metric", (1.5, 12.5, None)),
        ("date,tmin,tmax,\n2026-04-05,1.5,12.5,\n", "metric", (1.5, 12.5, None)),
    ],
)
def test_common_spellings_and_layouts_are_read(tmp_path, text, units, expected):
    """Delimiters, decimal marks, titles and units that growers' files have give the same reading."""
    table = read_weather(write(tmp_path, text), units).table
    row = table.loc["2026-04-05"]
    assert (row["tmin_c"], row["tmax_c"]) == pytest.approx(expected[:2])
    assert row["prcp_mm"] == pytest.approx(expected[2]) if expected[2] is not None else np.isnan(row["prcp_mm"])
    assert row["origin"] == "observed"


def test_fahrenheit_and_celsius_files_of_one_season_agree(tmp_path):
    """A file in degF gives the same table as the file in degC, within the rounding of its numbers."""
    metric = read_weather(write(tmp_path, year()), "metric").table
    us = read_weather(write(tmp_path, year(us=True), "us.csv"), "us").table
    assert np.abs(metric["tmin_c"] - us["tmin_c"]).max() < 0.08  # 0.05 degC + 0.05 degF


WRONG = {
    "empty": ("", "the file is empty"),
    "blank": (" \n\n", "the file is empty"),
    "only comments": ("# nothing\n# yet\n", "only comments"),
    "no header": ("2026-04-05,1,12\n2026-04-06,2,13\n", "line 1 starts with '2026-04-05'.*put a header"),
    "one column": ("hello\nworld\n", "line 1, 'hello', is no header"),
    "no rows": ("date,tmin,tmax\n", "a header and no rows"),
    "near column": ("date,tmin,tmx\n2026-04-05,1,2\n", "no column with the daily maximum .*rename 'tmx' to tmax"),
    "no minimum": ("date,humidity,tmax\n2026-04-05,1,2\n", "no column with the daily minimum .found: date, humidity"),
    "two maxima": ("date,tmin,tmax,high\n2026-04-05,1,2,3\n", "'tmax' and 'high' could both be the daily maximum"),
    "text": ("date,tmin,tmax\n2026-04-05,1,2\n2026-04-06,cold,9\n", "line 3, column 'tmin': 'cold' is not a number"),
    "comma": ("date,tmin,tmax\n2026-04-05,1,5,12,5\n", "line 2 has 5 values under 3 columns; a decimal comma"),
    "day first": (
        "date,tmin,tmax\n4/5/2026,1,2\n",
        "'4/5/2026' is in no order that is safe to guess; write dates as 2026-04-05",
    ),
    "no such day": ("date,tmin,tmax\n2026-02-28,1,2\n2026-02-30,1,2\n", "line 3.*'2026-02-30' is not in the calendar"),
    "far year": ("date,tmin,tmax\n2026-02-28,1,2\n2206-03-01,1,2\n", "line 3.*'2206-03-01' is too far off"),
    "no date": ("date,tmin,tmax\n2026-02-28,1,2\n,1,2\n", "line 3, column 'date': '' is no date"),
    "hourly": ("time,tmin,tmax\n2026-02-28 13:00,1,2\n", "is a time of day, and one row a day"),
    "conflict": ("date,tmin,tmax\n2026-04-05,1,12\n2026-04-05,3,12\n", "2026-04-05 stands twice .*tmin 1 and 3"),
    "no readings": ("date,tmin,tmax\n2026-04-05,,\n2026-04-06,M,-9999\n", "no temperatures in it"),
    "only forecast": ("date,tmin,tmax,kind\n2026-04-05,1,12,forecast\n", "only forecast rows"),
    "kind": ("date,tmin,tmax,kind\n2026-04-05,1,12,maybe\n", "line 2, column 'kind': 'maybe' is neither"),
    "degF title": (
        "date,tmin_f,tmax_f\n2026-04-05,40,62\n",
        "'tmin_f' is in degF, .*declared metric; say units = \"us\"",
    ),
    "utf-16": ("date,tmin,tmax\n".encode("utf-16"), 'UTF-16; save it as "CSV UTF-8"'),
    "sheet": (b"PK\x03\x04\x00\x00junk", "not a text file; export"),
    "junk": (bytes(range(256)), "not a text file; export"),
    "latin-1": ("date,tmin,tmax,note\n2026-04-05,1,12,gel\xe9\n".encode("latin-1"), "line 2 holds the byte 0xe9"),
    "fahrenheit": (year(us=True), 'above 57 degC, hotter than .*say units = "us"'),
}


@pytest.mark.parametrize("case", WRONG)
def test_each_wrong_file_has_its_own_line(tmp_path, case):
    """A wrong file is refused in one line that names it and the way out, and is left as it was."""
    text, message = WRONG[case]
    path = write(tmp_path, text)
    before = path.read_bytes()
    with pytest.raises(WeatherFileError, match=message) as caught:
        read_weather(path, "metric")
    assert str(caught.value).startswith("plot.csv: ")
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == before


def test_each_message_is_different():
    """No two faults share a line (the two kinds of empty and of binary file aside)."""
    messages = [message for _, message in WRONG.values()]
    assert len(messages) - len(set(messages)) == 2


def test_celsius_declared_us_is_refused(tmp_path):
    """A season in degC declared us would never reach 8 degC, and is refused."""
    with pytest.raises(WeatherFileError, match='look like Celsius: say units = "metric"'):
        read_weather(write(tmp_path, year()), "us")
    with pytest.raises(WeatherFileError, match="'tmin_c' is in degC, but the file is declared us"):
        read_weather(write(tmp_path, "date,tmin_c,tmax_c\n2026-04-05,4,12\n"), "us")


def test_conflict_is_shown_in_the_units_of_the_file(tmp_path):
    """Two values for a day are shown as the grower wrote them."""
    path = write(tmp_path, "date,tmin,tmax\n2026-04-05,41,60\n2026-04-05,43,60\n")
    with pytest.raises(WeatherFileError, match="tmin 41 and 43"):
        read_weather(path, "us")


def test_missing_file_and_folder(tmp_path):
    """A name that is nearly right is offered; a folder is said to be one."""
    write(tmp_path, "x", "terrace.csv")
    with pytest.raises(WeatherFileError, match=re.escape("terace.csv: no such file; did you mean terrace.csv?")):
        read_weather(tmp_path / "terace.csv")
    with pytest.raises(WeatherFileError, match="no such file; check the name"):
        read_weather(tmp_path / "nowhere" / "a.csv")
    with pytest.raises(WeatherFileError, match="this is a folder"):
        read_weather(tmp_path)


def test_unsorted_rows_are_sorted_and_said(tmp_path):
    """Rows in any order give the same table, with a note."""
    header, *rows = year().strip().split("\n")
    weather = read_weather(write(tmp_path, "\n".join([header, *rows[::-1]])))
    pd.testing.assert_frame_equal(weather.table, read_weather(write(tmp_path, year())).table)
    assert "sorted" in weather.notes[0]


def test_forecast_rows_are_marked(tmp_path):
    """Forecast rows keep their origin, and give way to a reading of the same day."""
    text = "date,tmin,tmax,forecast\n2026-04-04,1,9,\n2026-04-05,2,11,no\n2026-04-05,5,15,yes\n2026-04-06,3,12,yes\n"
    table = read_weather(write(tmp_path, text)).table
    assert list(table["origin"]) == ["observed", "observed", "forecast"]
    assert table.loc["2026-04-05", "tmin_c"] == 2


# NOAA's GHCN-Daily readme: TMIN, TMAX in tenths of degC, PRCP in tenths of mm; the second of the
# attributes is the quality flag, and a letter there means that a check failed.
COLUMNS = (
    "STATION DATE LATITUDE LONGITUDE ELEVATION NAME PRCP PRCP_ATTRIBUTES TMAX TMAX_ATTRIBUTES TMIN TMIN_ATTRIBUTES"
)
BY_COLUMN = (
    ",".join(f'"{name}"' for name in COLUMNS.split())
    + """
"ZZ000000001","2024-05-01","38.2","-84.5","260.0","INVENTED, ZZ","   25",",,7","  211",",,7","   94",",,7"
"ZZ000000001","2024-05-02","38.2","-84.5","260.0","INVENTED, ZZ","    0","T,,7","  228",",,7","  -50",",I,7"
"ZZ000000001","2024-05-03","38.2","-84.5","260.0","INVENTED, ZZ","    0",",,7","  206",",,7","   89",",,7"
"""
)
BY_STATION = """ZZ000000001,20240501,TMAX,211,,,7,0700
ZZ000000001,20240501,TMIN,94,,,7,0700
ZZ000000001,20240501,PRCP,25,,,7,0700
ZZ000000001,20240501,SNOW,0,,,7,
ZZ000000001,20240502,TMAX,228,,,7,0700
ZZ000000001,20240502,TMIN,-50,,I,7,0700
ZZ000000001,20240502,PRCP,0,T,,7,0700
ZZ000000001,20240503,TMAX,206,,,7,0700
ZZ000000001,20240503,TMIN,89,,,7,0700
ZZ000000001,20240503,PRCP,0,,,7,
"""


@pytest.mark.parametrize("text", [BY_COLUMN, BY_STATION], ids=["by column", "by station"])
def test_ghcn_daily_is_read_in_tenths_and_its_flags_are_heeded(tmp_path, text):
    """Both published forms give degrees and mm; a value that failed a check is dropped, flagged, and filled."""
    weather = read_weather(write(tmp_path, text))
    table = weather.table
    assert list(table["tmax_c"]) == [21.1, 22.8, 20.6]
    assert list(table["tmin_c"]) == pytest.approx([9.4, 9.15, 8.9])
    assert list(table["prcp_mm"]) == [2.5, 0.0, 0.0]
    assert list(table["flag"]) == ["", "quality-flag", ""]
    assert list(table["origin"]) == ["observed", "filled", "observed"]
    assert weather.attribution == "NOAA GHCN-Daily"
    assert any("tenths" in note for note in weather.notes)


def test_ghcn_station_is_known_from_its_columns(tmp_path):
    """Where the file says where the station stands, the record does."""
    (station,) = read_weather(write(tmp_path, BY_COLUMN)).stations
    assert (station.id, station.name, station.latitude, station.elevation_m) == (
        "ZZ000000001",
        "INVENTED, ZZ",
        38.2,
        260.0,
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (BY_COLUMN.replace('"ZZ000000001","2024-05-03"', '"ZZ000000002","2024-05-03"'), "2 stations in it"),
        (BY_STATION.replace("ZZ000000001,20240503", "ZZ000000002,20240503"), "2 stations in it"),
        (BY_STATION.replace("20240502,TMIN", "20240532,TMIN"), "line 6, .* is damaged"),
        (BY_STATION + "ZZ000000001,20240503,TMIN,91,,,7,\n", "line 11 repeats an element"),
        (BY_COLUMN.replace('"  206"', '"  2O6"'), "line 4, column 'TMAX': '2O6' is not a number"),
        (BY_COLUMN.replace("TMIN", "TAVG"), "no column TMIN"),
    ],
)
def test_damaged_ghcn_files_are_refused(tmp_path, text, message):
    """A damaged or mixed archive file is refused in one line."""
    with pytest.raises(WeatherFileError, match=message):
        read_weather(write(tmp_path, text))


def test_archive_file_in_whole_degrees_follows_its_declared_unit(tmp_path):
    """An archive extract in whole degF is read as degF, not as tenths."""
    text = "STATION,NAME,DATE,PRCP,TMAX,TMIN\nZZ1,Invented,2024-05-01,0.10,68,50\nZZ1,Invented,2024-05-02,0,86,59\n"
    table = read_weather(write(tmp_path, text), "us").table
    assert list(table["tmax_c"]) == pytest.approx([20.0, 30.0])
    assert table["prcp_mm"].iloc[0] == pytest.approx(2.54)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (BY_COLUMN.replace('"ZZ000000001","2024-05-02"', 'ZZ000000001","2024-05-02"'), "line 3 holds a quotation mark"),
        (BY_COLUMN.replace('"  228"', '"  228'), "line 3 holds a quotation mark that is out of place"),
        (BY_COLUMN.replace('"  228"', '"  2"28'), "line 3 holds a quotation mark that is out of place"),
        (BY_COLUMN.replace('"T,,7"', '"T,"",7"'), "line 3 holds a quotation mark that is out of place"),
        (BY_COLUMN.removesuffix('"\n'), "line 4 holds a quotation mark that is out of place"),
        (BY_COLUMN.replace('"', "").replace("  228", '"228'), "line 2 has 19 values under 12 columns"),
        (
            BY_COLUMN.replace('"', "").replace("INVENTED, ZZ", '"ZZ', 1).replace("INVENTED, ZZ", 'ZZ"', 1),
            "line 2 opens a quotation mark that is never closed",
        ),
        (BY_COLUMN.replace('"   25",', ""), "line 2 has 11 values under 12 columns"),
        (BY_COLUMN.splitlines()[0] + "\n", "a header and no rows"),
        (BY_COLUMN.replace('"PRCP"', '"TMIN"'), "two columns are named TMIN; keep one"),
        (BY_COLUMN.replace('"  206"', '"  inf"'), "line 4, column 'TMAX': 'inf' is not a number"),
        (BY_COLUMN.replace('"38.2"', '"1e999"', 1), "line 2, column 'LATITUDE': '1e999' is not a number"),
        (BY_STATION.replace(",TMIN,-50", ',"TMIN,-50'), "line 6, .* is damaged"),
        (BY_STATION.replace("-50,,I", '-50,,"'), "line 6, .* is damaged"),
        (BY_STATION.replace("TMAX,228", "TMAX,22\u20288"), "line 5, .* is damaged"),
        (BY_STATION.replace("\nZZ000000001,20240502,TMAX", "\n\n\n,20240502,TMAX"), "line 7, .* is damaged"),
        (BY_STATION.replace("\nZZ000000001,20240502,TMAX,228,,,7,0700", "\n000"), "line 5, '000', is damaged"),
    ],
)
def test_a_ghcn_file_with_a_slip_is_refused(tmp_path, text, message):
    """A stray quotation mark, a lost or doubled cell, or no row at all: one line that names the line of the file."""
    with pytest.raises(WeatherFileError, match=message):
        read_weather(write(tmp_path, text))


@pytest.mark.parametrize("by_column", [True, False])
def test_no_stray_quotation_mark_changes_a_ghcn_record(tmp_path, by_column):
    """Wherever one is put, the file is refused, or read as it was without it."""
    text = BY_COLUMN if by_column else BY_STATION
    sound = read_weather(write(tmp_path, text)).table
    refused = 0
    for place in range(len(text)):
        try:
            table = read_weather(write(tmp_path, f'{text[:place]}"{text[place:]}')).table
        except WeatherFileError:
            refused += 1
        else:
            pd.testing.assert_frame_equal(table, sound)
    assert refused > 0.9 * len(text)


def test_what_loggers_write_for_no_reading_is_weather_in_ghcn(tmp_path):
    """A frost of -9.9 degC is -99 in tenths, and a wet day of 99.9 mm is 999: neither is a missing value."""
    text = BY_COLUMN.replace('"   94"', '"  -99"').replace('"   25"', '"  999"')
    table = read_weather(write(tmp_path, text)).table
    assert (table["tmin_c"].iloc[0], table["prcp_mm"].iloc[0]) == (-9.9, 99.9)
    assert table["origin"].iloc[0] == "observed"


def test_a_ghcn_file_below_comments_or_with_other_separators_is_read(tmp_path):
    """The header is found and the columns are split as in any other sheet."""
    sound = read_weather(write(tmp_path, BY_COLUMN)).table
    for text in (f"# from the archive\n{BY_COLUMN}", BY_COLUMN.replace('","', '";"')):
        pd.testing.assert_frame_equal(read_weather(write(tmp_path, text)).table, sound)


def test_an_unknown_height_is_not_one(tmp_path):
    """The archive writes 999.9 or -999.9 for a height that it does not know."""
    (station,) = read_weather(write(tmp_path, BY_COLUMN.replace("260.0", "-999.9"))).stations
    assert station.elevation_m is None


@pytest.mark.parametrize(
    ("cell", "message"),
    [('"1"2', "line 3 holds a quotation mark that is out of place"), ('"12', "opens a quotation mark that is never")],
)
def test_a_stray_quotation_mark_in_a_sheet(tmp_path, cell, message):
    """It is not read as if it were not there: "1"2 is no 12."""
    text = f"date,tmin,tmax\n2024-05-01,3,14\n2024-05-02,{cell},24\n2024-05-03,4,15\n"
    with pytest.raises(WeatherFileError, match=message):
        read_weather(write(tmp_path, text))


def test_a_file_that_goes_while_it_is_read(tmp_path, monkeypatch):
    """When it was last written is not worth failing for, once its rows are there."""
    path = write(tmp_path, BY_COLUMN)
    content = path.read_bytes()
    path.unlink()
    monkeypatch.setattr(sheet, "read_whole", lambda _: content)
    assert read_weather(path).retrieved == ""
