"""Shipped files are found, and one that is not shipped is named."""

from __future__ import annotations

import csv
import datetime as dt
import runpy
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest

from covercrop.base.shipped import data_file, data_path
from covercrop.field.file import read_fields

DATA = Path(__file__).resolve().parent.parent / "data"


@pytest.mark.parametrize("parts", [("demo", "fields.toml"), ("demo", "weather.csv"), ("demo", "README.md")])
def test_shipped_files_are_found_from_anywhere(
    parts: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A shipped file is found whatever the working directory, with the bytes of data/."""
    monkeypatch.chdir(tmp_path)
    assert data_file(*parts).read_bytes() == DATA.joinpath(*parts).read_bytes()


@pytest.mark.parametrize("parts", [("demo", "none.toml"), ("demo",), ("none.toml",)])
def test_a_file_that_is_not_shipped_is_named(parts: tuple[str, ...]) -> None:
    """A missing file, or a folder in place of one, is refused with its name and where it was looked for."""
    with pytest.raises(FileNotFoundError, match=f"no data file '{'/'.join(parts)}' in .*data"):
        data_file(*parts)


def test_a_path_has_the_files_beside_it() -> None:
    """A reader that looks beside a shipped file finds what it was promised, and is told what is not shipped."""
    path = data_path("demo", "fields.toml", beside=("weather.csv",))
    assert path.with_name("weather.csv").is_file()
    with pytest.raises(FileNotFoundError, match=r"no data file 'demo/none\.csv'"):
        data_path("demo", "fields.toml", beside=("none.csv",))


def test_demo_weather_is_what_its_script_writes(tmp_path: Path) -> None:
    """The script beside the demo weather writes the same bytes again, and those of the bloom records."""
    target = tmp_path / "weather.csv"
    runpy.run_path(str(DATA / "demo" / "make_demo.py"))["main"](target)
    for name in ("weather.csv", "records.csv"):
        assert target.with_name(name).read_bytes() == DATA.joinpath("demo", name).read_bytes()


def test_demo_weather_has_the_faults_its_readme_tells_of() -> None:
    """Whole but for 17 lost days in five gaps, one false maximum, and nothing after the demo's own today."""
    with DATA.joinpath("demo", "weather.csv").open(encoding="ascii", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["date", "tmin_c", "tmax_c", "rain_mm"]
    days = [dt.date.fromisoformat(row["date"]) for row in rows]
    assert (days[0], days[-1]) == (dt.date(1995, 9, 1), dt.date(2026, 4, 20))
    lost = [(after - before).days - 1 for before, after in pairwise(days) if (after - before).days != 1]
    assert lost == [1, 3, 10, 2, 1]
    hot_january = [row["date"] for row in rows if row["date"][5:7] == "01" and float(row["tmax_c"]) > 30]
    assert hot_january == ["2022-01-16"]
    assert all(float(row["tmin_c"]) < float(row["tmax_c"]) and float(row["rain_mm"]) >= 0 for row in rows)


def test_demo_fields_differ() -> None:
    """Three fields with their own cover, crop, sowing date and place, one of them scouted before today."""
    table = tomllib.loads(DATA.joinpath("demo", "fields.toml").read_text(encoding="utf-8"))
    fields = table["field"]
    assert table["today"] == dt.date(2026, 4, 20)
    assert {field["cover"]["species"] for field in fields} == {"crimson-clover", "hairy-vetch", "winter-pea"}
    for distinct in (
        {field["name"] for field in fields},
        {field["crop"]["name"] for field in fields},
        {field["crop"]["ground_cover"] for field in fields},
        {field["cover"]["sown"] for field in fields},
        {(field["latitude"], field["longitude"]) for field in fields},
    ):
        assert len(distinct) == 3
    notes = [note["date"] for field in fields for note in field.get("scouting", [])]
    assert len(notes) == 2
    assert max(notes) < table["today"]


def test_demo_fields_can_be_read() -> None:
    """The program's own strict reader takes the demo as it is, today included."""
    read = read_fields(DATA / "demo" / "fields.toml")
    assert read.today == dt.date(2026, 4, 20)
    assert [field.name for field in read.fields] == ["Ford meadow", "Chapel bench", "Upper orchard strip"]
    assert all(field.weather.file is not None and field.weather.file.is_file() for field in read.fields)
