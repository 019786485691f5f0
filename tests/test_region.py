# ruff: noqa: PD011, PD013  the values of an xarray, not of a pandas object
"""A region: the same answers as a field's, whatever the input looks like, and none lost on the way."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import invented
import numpy as np
import pandas as pd
import pytest
import xarray as xr

from covercrop.base.records import DailyWeather
from covercrop.cli.main import main
from covercrop.models.members import standard_draws
from covercrop.region import cells, results, running
from covercrop.region import question as questions
from covercrop.region.cells import (
    AT_PERCENTILES,
    LIMIT_NUMBER,
    STATUS,
    Answers,
    NoAnswer,
    Place,
    grid_answers,
    start_of,
)
from covercrop.region.grid import open_grid
from covercrop.region.part import Part
from covercrop.region.question import Question
from covercrop.season.following import TOGETHER
from covercrop.season.plan import Plan, make_plan

if TYPE_CHECKING:
    from distributed import LocalCluster

REPOSITORY = Path(__file__).resolve().parent.parent
ASKED = ["--cover", "crimson-clover", "--sown", "09-20", "--crop", "summer-squash"]
QUESTION = questions.check(
    Question(
        cover="crimson-clover",
        sown=questions.sowing("09-20"),
        crop="summer-squash",
        plant_by=questions.month_day("06-10"),
    )
)
#: Of cells that are held against plans: the first day of their records, a few years more than needed, and the draws.
FIRST, FEW_DRAWS = np.datetime64("2004-01-01"), standard_draws(16)

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")  # a killed worker's pipes


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Invented grids on disk: one climate, as it may be stored."""
    folder = tmp_path_factory.mktemp("region")
    invented.grid(units="K").to_netcdf(folder / "kelvin.nc")
    invented.grid(units="degF", projected=True).to_zarr(folder / "fahrenheit.zarr", consolidated=False, zarr_format=2)
    invented.grid(calendar="noleap").to_netcdf(folder / "noleap.nc")
    return folder


@pytest.fixture(scope="module")
def answered(folder: Path) -> xr.Dataset:
    """The answer over the grid in kelvin, as the command writes it."""
    out = folder / "kelvin-answer.nc"
    assert (
        main(["region", str(folder / "kelvin.nc"), "-o", str(out), *ASKED, "--plant-by", "06-10", "--workers", "1"])
        == 0
    )
    return xr.load_dataset(out)


def record(low: np.ndarray, high: np.ndarray, first: str = "1996-01-01") -> DailyWeather:
    """A weather record from a cell's extremes [degC]."""
    table = pd.DataFrame(
        {"tmin_c": low, "tmax_c": high, "prcp_mm": np.nan, "origin": "observed", "flag": ""},
        index=pd.date_range(first, periods=len(low), name="date"),
    )
    return DailyWeather(table=table)


# --- the same answers -----------------------------------------------------------------------------


def without_rain(weather: DailyWeather) -> DailyWeather:
    """The same weather as a grid has it, which knows neither rain nor snow."""
    return replace(weather, table=weather.table.assign(prcp_mm=np.nan))


@pytest.fixture
def few_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cells are answered from fewer draws than the command's."""
    monkeypatch.setattr(cells, "standard_draws", lambda: FEW_DRAWS)


@pytest.mark.usefixtures("few_draws")
def test_fifty_cells_agree_with_ready_to_the_day() -> None:
    """Random cells, covers, ways, rules and hemispheres: every date is that of the plan of a field there."""
    rng = np.random.default_rng(50)
    covers, crops = (
        ("crimson-clover", "hairy-vetch", "winter-pea", "faba-bean"),
        ("summer-squash", "pumpkin", "sweet-corn"),
    )
    agreed = 0
    while agreed < 50:
        south = bool(rng.integers(2))
        latitude = float(rng.uniform(30, 44)) * (-1 if south else 1)
        weather = invented.weather(
            str(FIRST),
            f"2015-{rng.integers(1, 13):02d}-28",
            mean=float(rng.uniform(9, 17)),
            swing=float(rng.uniform(7, 13)),
            coldest_day=202 if south else 20,
            seed=int(rng.integers(1_000_000)),
        )
        sown = (
            f"{4 if south else 10}-{rng.integers(1, 28):02d}"
            if rng.random() < 0.7
            else f"{rng.integers(2, 8)}w-before-freeze"
        )
        question = questions.check(
            Question(
                cover=str(rng.choice(covers)),
                crop=str(rng.choice(crops)),
                sown=questions.sowing(sown),
                terminate=str(rng.choice(("turn-under", "roll", "mow", "tarp"))),
                method=str(rng.choice(("direct-seed", "transplant"))),
                ground_cover=str(rng.choice(("bare", "straw", "black-plastic"))),
                plant_by=questions.month_day("12-20" if south else "06-20"),
            )
        )
        extremes = (weather.table[name].to_numpy()[None] for name in ("tmin_c", "tmax_c"))
        got = grid_answers(FIRST, *extremes, [Place(latitude=latitude, question=question)], 3)
        if got.status[0]:
            assert STATUS[got.status[0]] == "no_sowing_date"
            continue
        sowing = got.sowing[0]
        field = invented.field(
            str(question.cover),
            str(question.crop),
            sown=str(sowing),
            latitude=latitude,
            terminate=str(question.terminate),
            method=str(question.method),
            ground_cover=str(question.ground_cover),
        )
        agrees(got, 0, make_plan(field, without_rain(weather), sowing, FEW_DRAWS, details=False))
        agreed += 1


def agrees(got: Answers, cell: int, plan: Plan) -> None:
    """The answer of a cell is, to the day, the plan of a field there."""

    def date(days: float) -> np.datetime64:
        return np.datetime64("NaT", "D") if np.isnan(days) else got.sowing[cell] + np.timedelta64(int(days), "D")

    for name in AT_PERCENTILES:
        dates = plan.dates[name]
        given = np.array([date(days) for days in got.days[name][:, cell]])
        np.testing.assert_array_equal(given, np.array([dates.early, dates.median, dates.late]), name)
    np.testing.assert_array_equal(date(got.days["safe_planting"][cell]), plan.planting.safe)
    assert got.years[cell] == len(plan.outlook.years)
    assert got.chances["survival"][cell] == plan.stand.survival
    if plan.window.best is not None:
        assert plan.window.best.probability == got.chances["end_cover_chance"][cell]
        assert plan.window.best.date == date(got.days["end_cover"][cell])
        assert LIMIT_NUMBER[str(plan.planting.binding)] == got.binding_limit[cell]


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("terminate", ["turn-under", "roll", "tarp"])
def test_cells_followed_together_agree_with_ready_to_the_day(terminate: str) -> None:
    """Cells of one grid, more than are followed at a time: warm and cold, on both sides of the equator, with gaps."""
    rng = np.random.default_rng(51)
    question = questions.check(
        Question(
            cover="hairy-vetch",
            crop="pumpkin",
            sown=questions.sowing("10-05"),
            terminate=terminate,
            plant_by=questions.month_day("06-20"),
        )
    )
    latitudes = np.concatenate([rng.uniform(30, 46, 2 * TOGETHER + 3), rng.uniform(-44, -30, 5)])
    weathers = [
        invented.weather(
            str(FIRST),
            "2015-12-31",
            mean=float(rng.uniform(3, 22)),
            swing=float(rng.uniform(5, 14)),
            coldest_day=20 if latitude > 0 else 202,
            seed=int(rng.integers(1_000_000)),
        )
        for latitude in latitudes
    ]
    low, high = (np.stack([each.table[name].to_numpy() for each in weathers]) for name in ("tmin_c", "tmax_c"))
    low[3, 2200:2400] = np.nan  # a gap that costs a year
    places = [Place(latitude=float(latitude), question=question) for latitude in latitudes]
    got = grid_answers(FIRST, low, high, places, 3)
    compared = np.flatnonzero(got.status == STATUS.index("answered"))
    sowing = np.datetime64("2015-10-05")
    for cell in compared:
        alone = grid_answers(FIRST, low[[cell]], high[[cell]], [places[cell]], 3).arrays()
        for name, values in got.arrays().items():
            np.testing.assert_array_equal(values[..., cell], alone[name][..., 0], name)
        if not np.isnan(low[cell]).any():
            field = invented.field(
                "hairy-vetch", "pumpkin", sown="2015-10-05", latitude=float(latitudes[cell]), terminate=terminate
            )
            agrees(got, cell, make_plan(field, without_rain(weathers[cell]), sowing, FEW_DRAWS, details=False))
    assert compared.size > len(places) - 3
    assert np.unique(got.years[compared]).size > 1
    # It was worth comparing: some stands die, and some dates are not reached.
    assert np.unique(got.chances["survival"][compared]).size > 2
    assert np.isnan(got.days["latest_planting"][:, compared]).any()


def test_a_cell_of_the_output_is_what_the_command_ready_says(
    folder: Path, answered: xr.Dataset, capsys: pytest.CaptureFixture[str]
) -> None:
    """From the grid on disk to the answer on disk, against `covercrop ready --json` on the cell's own record."""
    cell = {"lat": 3, "lon": 2}
    stored = xr.load_dataset(folder / "kelvin.nc").isel(cell)
    sowing = answered["sowing"].isel(cell).values.astype("datetime64[D]")
    table = pd.DataFrame(
        {"date": stored["time"].values.astype("datetime64[D]").astype(str)}
        | {name: stored[name].values.astype(np.float64) - 273.15 for name in ("tasmin", "tasmax")}
    ).rename(columns={"tasmin": "tmin_c", "tasmax": "tmax_c"})
    table.to_csv(folder / "cell.csv", index=False)
    (folder / "cell.toml").write_text(
        f"""today = {sowing}
[[field]]
name = "Cell"
latitude = {float(answered["lat"][3])}
longitude = -85.0
[field.cover]
species = "crimson-clover"
sown = {sowing}
[field.weather]
file = "cell.csv"
[field.crop]
name = "summer-squash"
"""
    )
    # What a thermometer would not have read by then does not lie in the record of a field.
    table[table["date"] <= str(sowing)].to_csv(folder / "cell.csv", index=False)
    assert main(["ready", str(folder / "cell.toml"), "--json"]) == 0
    (field,) = json.loads(capsys.readouterr().out)["fields"]
    for name in AT_PERCENTILES:
        expected = [field["dates"][name][each] for each in ("early", "median", "late")]
        assert answered[name].isel(cell).values.astype("datetime64[D]").astype(str).tolist() == expected, name
    assert field["turn_under"]["date"] == str(answered["end_cover"].isel(cell).values.astype("datetime64[D]"))
    meanings = answered["binding_limit"].attrs["flag_meanings"].split()
    assert meanings[int(answered["binding_limit"].isel(cell))] == field["binding_limit"]


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[bool, str], dict]:
    """What the IOOS compliance checker, started once, reports of answers with a projection and without."""
    folder = tmp_path_factory.mktemp("conventions")
    kinds = [(projected, dates) for projected in (False, True) for dates in ("calendar", "season")]
    answers = {kind: folder / f"{kind[1]}-{kind[0]}.nc" for kind in kinds}
    for (projected, dates), out in answers.items():
        grid = folder / f"grid-{projected}.nc"
        if not grid.exists():
            invented.grid(2, 3, projected=projected).to_netcdf(grid)
        asked = ["region", str(grid), "-o", str(out), *ASKED, "--plant-by", "06-10", "--workers", "1"]
        assert main([*asked, "--dates", dates]) == 0
    checker = Path(sys.executable).parent / "compliance-checker"
    reports = {kind: out.with_suffix(".json") for kind, out in answers.items()}
    done = subprocess.run(
        [checker, "--test=cf:1.11", "--format=json"]
        + [part for report in reports.values() for part in ("--output", report)]
        + list(answers.values()),
        capture_output=True,
        text=True,
        check=False,
    )
    assert all(report.exists() for report in reports.values()), done.stderr
    return {kind: json.loads(report.read_text())["cf:1.11"] for kind, report in reports.items()}


@pytest.mark.parametrize("dates", ["calendar", "season"])
@pytest.mark.parametrize("projected", [False, True])
def test_the_answer_keeps_the_conventions(checked: dict[tuple[bool, str], dict], projected: bool, dates: str) -> None:
    """The IOOS compliance checker finds nothing to object to by CF 1.11, neither error nor warning."""
    found = checked[projected, dates]
    assert found["scored_points"] == found["possible_points"] > 20
    said = [
        message
        for level in ("high", "medium", "low")
        for each in found[f"{level}_priorities"]
        for message in each["msgs"]
    ]
    assert said == []


def test_neither_unit_nor_store_nor_projection_moves_a_date(folder: Path, answered: xr.Dataset) -> None:
    """The same climate in degF, along x and y, in a Zarr store: the same dates but for its moved latitudes."""
    out = folder / "fahrenheit-answer.zarr"
    asked = ["region", str(folder / "fahrenheit.zarr"), "-o", str(out), *ASKED, "--plant-by", "06-10", "--workers", "1"]
    assert main(asked) == 0
    other = xr.open_zarr(out, consolidated=False).load()
    # Column 0 lies at the same latitudes in both.
    for name in (*AT_PERCENTILES, "end_cover", "safe_planting", "binding_limit", "planting_chance"):
        ours, theirs = (
            each[name].transpose(..., *dims).values[..., 0]
            for each, dims in ((answered, ("lat", "lon")), (other, ("y", "x")))
        )
        if ours.dtype.kind == "M":
            # Rounding to single precision may tip a sum over its threshold a day sooner.
            assert (np.abs((ours - theirs).astype("timedelta64[D]").astype(int)) <= 1).all(), name
            assert (ours == theirs).mean() > 0.9, name
    assert other["lat"].dims == ("y", "x")
    assert other["status"].values[0, -1] == STATUS.index("no_data")


def test_a_noleap_calendar_gives_the_dates_of_the_real_one(folder: Path) -> None:
    """29 February is put back on a straight line: the answer is that of the record with that day filled."""
    out = folder / "noleap-answer.nc"
    assert main(["region", str(folder / "noleap.nc"), "-o", str(out), *ASKED, "--workers", "1"]) == 0
    made = xr.load_dataset(out)
    assert "29 February" in made.attrs["comment"]
    stored = xr.load_dataset(folder / "noleap.nc", decode_times=False).isel(lat=2, lon=1)
    days = pd.date_range("1996-01-01", "2015-12-31", name="date")
    kept = days[(days.month != 2) | (days.day != 29)]
    series = [
        pd.Series(stored[name].values.astype(np.float64), kept).reindex(days).interpolate().to_numpy()
        for name in ("tasmin", "tasmax")
    ]
    plan = make_plan(
        invented.field(latitude=float(made["lat"][2]), sown="2015-09-20"), record(*series), np.datetime64("2015-09-20")
    )
    for name in AT_PERCENTILES:
        got = made[name].isel(lat=2, lon=1).values.astype("datetime64[D]")
        dates = plan.dates[name]
        np.testing.assert_array_equal(got, np.array([dates.early, dates.median, dates.late]), name)


def test_each_cell_may_choose_for_itself(tmp_path: Path) -> None:
    """Cover by flags, sowing by day of the year: each cell as if it were asked alone; one without a choice has none."""
    grid = invented.grid(2, 3)
    kinds = np.array([[1, 2, 1], [2, 1, 9]], dtype=np.int8)
    about = {"flag_values": np.array([1, 2], dtype=np.int8), "flag_meanings": "crimson_clover hairy_vetch"}
    grid["legume"] = (("lat", "lon"), kinds, about)
    grid["when"] = (("lat", "lon"), np.array([[263, 263, 250], [274, 260, 260]], dtype=np.int16))
    grid.to_netcdf(tmp_path / "choices.nc")
    out = tmp_path / "answer.nc"
    asked = ["--cover", "from:legume", "--sown", "from:when", "--crop", "pumpkin", "--workers", "1"]
    assert main(["region", str(tmp_path / "choices.nc"), "-o", str(out), *asked]) == 0
    made = xr.load_dataset(out)
    assert made["sowing"].values[1, 0].astype("datetime64[D]") == np.datetime64("2015-10-01")  # day 274 of 365
    assert [STATUS[each] for each in made["status"].values.ravel()] == ["answered"] * 2 + ["no_data"] + [
        "answered"
    ] * 2 + ["no_such_choice"]
    series = (grid[name].values[:, 1, 0].astype(np.float64) for name in ("tasmin", "tasmax"))
    plan = make_plan(
        invented.field("hairy-vetch", "pumpkin", latitude=float(made["lat"][1]), sown="2015-10-01"),
        record(*series),
        np.datetime64("2015-10-01"),
    )
    assert made["window_open"].values[1, 1, 0].astype("datetime64[D]") == plan.dates["window_open"].median


def test_the_sowing_rule_is_the_middle_of_the_first_freezes() -> None:
    """Six weeks before the day by which half of the autumns have frozen, counted by hand with pandas."""
    weather = invented.weather("1996-01-01", "2015-12-31", mean=12.0)
    table = weather.table
    autumn = table[(table.index.month >= 7) & (table["tmin_c"] <= 0)]
    first = autumn.groupby(autumn.index.year).apply(lambda year: year.index[0].day_of_year - year.index[0].is_leap_year)
    half = int(np.sort(first.to_numpy())[9])  # 10 of 20 autumns
    expected = dt.date(2015, 1, 1) + dt.timedelta(days=half - 1 - 42)
    question = replace(QUESTION, sown=questions.sowing("6w-before-freeze"))
    from covercrop.weather.record import record_of

    sowing = start_of(record_of(weather), Place(latitude=37.6, question=question)).outlook.days[0].item()
    assert abs((sowing - expected).days) <= 1  # a leap year's freeze falls a day of the year later


def test_where_it_hardly_freezes_there_is_no_such_rule() -> None:
    """No sowing date, rather than one made up."""
    question = replace(QUESTION, sown=questions.sowing("6w-before-freeze"))
    warm = invented.weather("1996-01-01", "2015-12-31", mean=24.0, swing=6.0)
    from covercrop.weather.record import record_of

    with pytest.raises(NoAnswer, match="no_sowing_date"):
        start_of(record_of(warm), Place(latitude=30.0, question=question))


@pytest.mark.parametrize(
    ("cover", "group", "cultivar"),
    [
        ("crimson-clover", "early", "Flame"),
        ("hairy-vetch", "Early", "Purple Bounty"),
        ("balansa-clover", "late", "Bolta"),
        ("winter-pea", "mid", "Austrian winter pea"),
        ("hairy-vetch", "groff", "Groff"),
    ],
)
def test_a_maturity_group_stands_for_its_middle_cultivar(cover: str, group: str, cultivar: str) -> None:
    """So that a field of that cultivar has the same answer; of two in the middle, the earlier."""
    asked = Question(cover=cover, sown=questions.sowing("09-20"), crop="pumpkin", cultivar=group)
    assert questions.check(asked).cultivar == cultivar


# --- what is written ------------------------------------------------------------------------------


def test_the_output_says_what_it_is(answered: xr.Dataset) -> None:
    """CF attributes, flags, provenance; dates as time, in order of percentile."""
    assert answered.attrs["Conventions"].startswith("CF-1")
    assert "covercrop" in answered.attrs["history"]
    assert answered.attrs["question_cover"] == "crimson-clover"
    assert "parr2011" in answered.attrs["source_keys"] or answered.attrs["source_keys"]
    assert len(answered.attrs["parameters"]) == 16
    assert answered["window_open"].dtype.kind == "M"
    assert answered["binding_limit"].attrs["flag_values"].size == len(
        answered["binding_limit"].attrs["flag_meanings"].split()
    )
    sea = answered.isel(lat=0, lon=-1)
    assert np.isnat(sea["window_open"].values).all()
    assert STATUS[int(sea["status"])] == "no_data"
    land = answered["status"] == 0
    assert int(land.sum()) == 29
    for name in AT_PERCENTILES:
        early, middle, late = (answered[name].isel(percentile=place).where(land) for place in range(3))
        assert not (early > middle).any()
        assert not (middle > late).any()
    assert ((answered["planting_chance"] >= 0) | ~land).all()


def test_days_after_sowing(folder: Path, answered: xr.Dataset) -> None:
    """The same answer as days of the season."""
    out = folder / "season.nc"
    assert (
        main(["region", str(folder / "kelvin.nc"), "-o", str(out), *ASKED, "--dates", "season", "--workers", "1"]) == 0
    )
    made = xr.load_dataset(out)
    days = (answered["window_open"] - answered["sowing"]).dt.days
    np.testing.assert_array_equal(made["window_open"].transpose(*days.dims).values, days.values)


def stations(folder: Path) -> Path:
    """A table of three stations beside their files."""
    folder.mkdir()
    for number in range(3):
        table = invented.weather("2000-01-01", "2015-12-31", mean=11.0 + number, seed=number).table
        table[["tmin_c", "tmax_c"]].round(1).to_csv(folder / f"s{number}.csv")
    lines = ["id,latitude,longitude,elevation,file,cover", "A,38.0,-85.0,200,s0.csv,crimson-clover"]
    lines += ["B,37.0,-85.5,,s1.csv,hairy-vetch", "C,36.0,-84.2,340,s2.csv,crimson-clover"]
    (folder / "stations.csv").write_text("\n".join(lines) + "\n")
    return folder / "stations.csv"


def test_a_row_and_a_height(tmp_path: Path) -> None:
    """One row of cells is a grid, and a height of two metres none of its dimensions; nor are single points refused."""
    grid = invented.grid(1, 3)
    grid.expand_dims(height=[2.0], axis=1).to_netcdf(tmp_path / "row.nc")
    points = (
        invented.grid(2, 2)
        .stack(site=("lat", "lon"))
        .reset_index("site")
        .reset_coords(drop=False)
        .set_coords(["lat", "lon"])
    )
    points.to_netcdf(tmp_path / "points.nc")
    for name, shape in (("row", (1, 3)), ("points", (4,))):
        out = tmp_path / f"{name}-answer.nc"
        assert main(["region", str(tmp_path / f"{name}.nc"), "-o", str(out), *ASKED, "--workers", "1"]) == 0
        made = xr.load_dataset(out)
        assert made["status"].shape == shape
        assert (made["status"] == 0).sum() == made["status"].size - 1


def test_a_table_of_stations(tmp_path: Path) -> None:
    """GeoJSON of points and a CSV, each station as a field there is answered."""
    table = stations(tmp_path / "table")
    asked = ["--cover", "from:cover", "--sown", "09-20", "--crop", "pumpkin", "--workers", "1"]
    assert main(["region", str(table), "-o", str(tmp_path / "out.geojson"), *asked]) == 0
    made = json.loads((tmp_path / "out.geojson").read_text())
    assert [feature["geometry"]["coordinates"] for feature in made["features"]] == [
        [-85.0, 38.0, 200.0],
        [-85.5, 37.0],
        [-84.2, 36.0, 340.0],
    ]
    assert main(["region", str(table), "-o", str(tmp_path / "out.csv"), *asked]) == 0
    rows = list(csv.DictReader((tmp_path / "out.csv").open()))
    from covercrop.weather.own_file import read_weather

    plan = make_plan(
        invented.field("hairy-vetch", "pumpkin", latitude=37.0, sown="2015-09-20"),
        read_weather(table.with_name("s1.csv"), "metric"),
        np.datetime64("2015-09-20"),
    )
    for row in (rows[1], made["features"][1]["properties"]):
        assert row["window_open_p50"] == str(plan.dates["window_open"].median)
        assert row["earliest_planting_p90"] == str(plan.dates["earliest_planting"].late)
        assert row["binding_limit"] == plan.planting.binding


def test_days_to_maturity_may_be_whole() -> None:
    """A whole number of days is written into the attributes as any other."""
    about = results._about(replace(QUESTION, days_to_maturity=95), "", ())
    assert about["question_days_to_maturity"] == 95
    assert about["question_percentiles"] == "10 50 90"


def test_the_map_is_a_picture(folder: Path, answered: xr.Dataset) -> None:
    """A PNG with as many colours as a map needs, from a grid and from stations; none half-written."""
    from matplotlib.image import imread

    table = stations(folder / "table")
    for grid, out in ((folder / "kelvin.nc", folder / "m.nc"), (table, folder / "m.csv")):
        png = folder / f"{out.name}.png"
        assert main(["region", str(grid), "-o", str(out), *ASKED, "--map", str(png), "--workers", "1"]) == 0
        picture = imread(png)
        assert picture.shape[1] > 900
        colours = np.ascontiguousarray(np.rint(255 * picture[..., :3]).astype(np.uint32) @ [65536, 256, 1])
        assert len(np.unique(colours)) > 50
    assert not list(folder.glob(".*writing"))


# --- nothing is lost ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    """Two processes of a cluster of one's own, forked from one that has imported what they need."""
    import dask
    from distributed import LocalCluster
    from distributed.utils import get_mp_context

    with dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"}):
        get_mp_context().set_forkserver_preload(["pytest", "distributed", "netCDF4", "xarray", "covercrop.region.grid"])
        with LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=50
        ) as cluster:
            yield cluster


def test_a_worker_that_is_killed_loses_nothing(
    tmp_path: Path, answered: xr.Dataset, folder: Path, cluster: LocalCluster
) -> None:
    """Two workers of a real cluster, one killed by the system in mid-run: every block is answered, and the same."""
    from dask.delayed import delayed
    from distributed import Client

    def slowly(*arguments: object) -> object:  # goes to a worker as it is, which need not import this file
        from covercrop.region.grid import block_answers

        time.sleep(0.05)
        return block_answers(*arguments, question, {})  # type: ignore[arg-type]

    question = QUESTION
    grid = open_grid(folder / "kelvin.nc", QUESTION)
    asked = [(row, column) for row in range(6) for column in range(5)]

    def job(row: int, column: int) -> object:
        place = {"lat": slice(row, row + 1), "lon": slice(column, column + 1)}
        lazy = grid.dataset.isel(place)
        latitude = grid.latitude[row : row + 1, column : column + 1]
        return delayed(slowly)(lazy["tasmin"].data, lazy["tasmax"].data, grid.days, grid.unit, latitude)

    part = Part(tmp_path / "out.nc", {"asked": "kill"}, lambda _number: cells.no_answers(1, 3).arrays())
    with Client(cluster) as client:
        pids = list(client.run(os.getpid).values())
        killed = []

        def done(_number: int) -> None:
            if not killed:
                os.kill(pids[0], signal.SIGKILL)
                killed.append(pids[0])

        running.run(client, part, {number: job(*cell) for number, cell in enumerate(asked)}, done)
    assert killed
    assert part.missing(len(asked)) == []
    for number, (row, column) in enumerate(asked):
        got = part.load(number)
        expected = answered.isel(lat=row, lon=column)
        assert got["status"][0] == int(expected["status"])
        if got["status"][0] == 0:
            opens = got["sowing"][0] + got["window_open"][:, 0].astype("timedelta64[D]")
            np.testing.assert_array_equal(opens, expected["window_open"].values.astype("datetime64[D]"))


def test_a_stopped_run_goes_on_where_it_was(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Killed by the system in mid-run: nothing that looks finished is there; the same command does only the rest."""
    for name in ("BLOCK_CELLS", "MOST_BLOCK_CELLS"):
        monkeypatch.setattr(f"covercrop.region.grid.{name}", 5)
    invented.grid(24, 5, str(FIRST)).to_netcdf(tmp_path / "grid.nc")
    out = tmp_path / "out.zarr"
    command = ["region", str(tmp_path / "grid.nc"), "-o", str(out), *ASKED, "--workers", "1"]
    program = (
        "import sys, covercrop.region.grid as grid; from covercrop.cli.main import main; "
        "grid.BLOCK_CELLS = grid.MOST_BLOCK_CELLS = 5; sys.exit(main(sys.argv[1:]))"
    )
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
    running_one = subprocess.Popen([sys.executable, "-c", program, *command], env=environment, start_new_session=True)
    deadline = time.monotonic() + 120
    part = tmp_path / "out.zarr.part"  # killed below while the blocks after the third are still to come
    while len(list(part.glob("block-*.npz"))) < 3:
        assert running_one.poll() is None, "it ended before it could be stopped"
        assert time.monotonic() < deadline
        time.sleep(0.02)
    os.killpg(running_one.pid, signal.SIGKILL)
    running_one.wait()
    assert not out.exists()
    kept = {file.name: file.stat().st_mtime_ns for file in part.glob("block-*.npz")}
    assert 3 <= len(kept) < 24

    saved: list[int] = []
    original = Part.save
    monkeypatch.setattr(
        Part, "save", lambda self, number, answers: (saved.append(number), original(self, number, answers))
    )
    assert main(command) == 0
    assert f"{len(kept)} of 24 blocks are done" in capsys.readouterr().err
    assert len(saved) == 24 - len(kept)
    assert not part.exists()
    assert int((xr.open_zarr(out, consolidated=False)["status"] == 0).sum()) == 119


def test_days_from_another_process_are_kept_without_a_warning(tmp_path: Path) -> None:
    """Unpickled by an older numpy, their type carries a note of its own; what is read back is the same days."""
    answers = cells.no_answers(2, 3)
    days = np.array(["2015-09-20", "2015-09-21"], "datetime64[D]")
    noted = days.astype(np.dtype("datetime64[D]", metadata={"from": "elsewhere"}))
    assert noted.dtype.metadata
    part = Part(tmp_path / "out.nc", {"asked": "this"}, lambda _number: answers.arrays())
    part.save(0, replace(answers, sowing=noted))
    with np.load(part.folder / "block-000000.npz") as kept:
        assert kept["sowing"].tolist() == days.tolist()


def test_another_question_is_not_mixed_in(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A part folder of another question is refused, and so is an output that is there."""
    Part(tmp_path / "out.nc", {"asked": "something else"}, lambda _number: cells.no_answers(1, 3).arrays())
    command = ["region", str(folder / "kelvin.nc"), "-o", str(tmp_path / "out.nc"), *ASKED]
    assert main(command) == 1
    assert "another input, question or version" in capsys.readouterr().err
    shutil.rmtree(tmp_path / "out.nc.part")
    (tmp_path / "out.nc").write_text("mine")
    assert main(command) == 1
    assert "is there already" in capsys.readouterr().err
    assert (tmp_path / "out.nc").read_text() == "mine"


def test_a_full_disk_is_said(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, and nothing that looks finished; what another run has made meanwhile is not written over."""
    out = tmp_path / "out.nc"
    command = ["region", str(folder / "kelvin.nc"), "-o", str(out), *ASKED, "--workers", "1"]

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr(Part, "_write", full)
        assert main(command) == 1
    assert "cannot be written (No space left on device)" in capsys.readouterr().err
    assert not out.exists()
    with monkeypatch.context() as other:
        other.setattr(
            "covercrop.region.results.write_netcdf", lambda made, path: (path.touch(), out.write_text("theirs"))
        )
        assert main(command) == 1
    assert "was made by another run" in capsys.readouterr().err
    assert out.read_text() == "theirs"


def test_two_runs_at_once_do_not_want_the_same_port() -> None:
    """Where the port of a Dask dashboard is taken, workers start all the same, without a warning."""
    with socket.socket() as taken:
        with contextlib.suppress(OSError):  # another has it: all the better
            taken.bind(("127.0.0.1", 8787))
            taken.listen()
        with running.workers(None, 1) as client:
            assert client.submit(abs, -3).result() == 3


def test_a_cluster_of_ones_own(folder: Path, tmp_path: Path, answered: xr.Dataset, cluster: LocalCluster) -> None:
    """`--scheduler` hands the blocks to a cluster that is there already."""
    out = tmp_path / "out.nc"
    asked = [*ASKED, "--plant-by", "06-10", "--scheduler", cluster.scheduler_address]
    assert main(["region", str(folder / "kelvin.nc"), "-o", str(out), *asked]) == 0
    made = xr.load_dataset(out)
    for name in answered.data_vars:
        np.testing.assert_array_equal(made[name].values, answered[name].values, str(name))


# --- what cannot be used --------------------------------------------------------------------------


def _without(name: str) -> xr.Dataset:
    return invented.grid(2, 2).drop_vars(name)


def _with_time(change: object) -> xr.Dataset:
    grid = invented.grid(2, 2)
    return grid.isel(time=change)


def _with(name: str, **attributes: str) -> xr.Dataset:
    grid = invented.grid(2, 2)
    grid[name].attrs.update(attributes)
    return grid


def _swapped() -> xr.Dataset:
    grid = invented.grid(2, 2)
    return grid.assign(tasmin=grid["tasmax"].copy(), tasmax=grid["tasmin"].copy())


def _third() -> xr.Dataset:
    return invented.grid(2, 2).expand_dims(realization=2)


WRONG = {
    "no variable": (lambda: _without("tasmax"), "no variable tasmax"),
    "no latitude": (lambda: _without("lat"), "no latitude for the cells"),
    "kelvin called degC": (
        lambda: invented.grid(2, 2, units="K").assign_attrs().pipe(_called_celsius),
        "mend its attribute 'units'",
    ),
    "no unit": (lambda: _with("tasmin", units=""), "tasmin has no units"),
    "an unknown unit": (lambda: _with("tasmax", units="furlong"), "tasmax has units 'furlong'"),
    "360 days": (lambda: _with("time", calendar="360_day"), "calendar '360_day' has days that no date stands for"),
    "julian": (lambda: _with("time", calendar="julian"), "calendar 'julian'"),
    "no time": (lambda: invented.grid(2, 2).drop_vars("time"), "no time coordinate"),
    "out of order": (lambda: _with_time([1, 0, *range(2, 7305)]), "not in order: 1996-01-02 stands before 1996-01-01"),
    "twice": (lambda: _with_time([0, 0, *range(1, 7305)]), "1996-01-01 stands more than once"),
    "missing days": (
        lambda: _with_time([*range(100), *range(103, 7305)]),
        "3 days are missing, the first after 1996-04-09",
    ),
    "too few years": (lambda: _with_time(slice(0, 2000)), "are needed for 8 whole seasons"),
    "one too many dimensions": (_third, "choose one of all but two of them"),
}


def _called_celsius(grid: xr.Dataset) -> xr.Dataset:
    for name in ("tasmin", "tasmax"):
        grid[name].attrs["units"] = "degC"
    return grid


@pytest.mark.parametrize("name", WRONG)
def test_a_grid_that_cannot_be_used(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line that says what is wrong, exit status 1, and nothing written."""
    make, words = WRONG[name]
    make().to_netcdf(tmp_path / "grid.nc")
    assert main(["region", str(tmp_path / "grid.nc"), "-o", str(tmp_path / "out.nc"), *ASKED]) == 1
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert sorted(each.name for each in tmp_path.iterdir()) == ["grid.nc"]


@pytest.mark.parametrize(
    ("latitude", "status"), [(36.0, None), (-36.0, "seasons_of_the_other_hemisphere"), (-20.0, None)]
)
def test_a_latitude_with_the_wrong_sign(latitude: float, status: str | None) -> None:
    """Warm in July, cold in January: no answer is made south of the equator, as `ready` makes none."""
    day = np.arange(14 * 365)
    mean = 12.5 - 12 * np.cos(2 * np.pi * (day - 20) / 365.25)
    record = cells.record_of_cell(np.datetime64("2000-01-01"), mean - 6, mean + 6)
    if status is None:
        cells.check_hemisphere(record, latitude)
    else:
        with pytest.raises(NoAnswer, match=status):
            cells.check_hemisphere(record, latitude)


@pytest.mark.parametrize(("count", "words"), [(1, "1 has no temperatures"), (1200, "1,200 have no temperatures")])
def test_one_cell_has_and_two_have(count: int, words: str) -> None:
    """As one would say it."""
    assert results.why(count, "no_data") == words


def test_swapped_extremes_leave_every_cell_without_an_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No answer is made from a minimum above the maximum; it is said, and nothing is written."""
    _swapped().to_netcdf(tmp_path / "grid.nc")
    assert main(["region", str(tmp_path / "grid.nc"), "-o", str(tmp_path / "out.nc"), *ASKED, "--workers", "1"]) == 1
    assert "no cell can be answered: 3 have a minimum above the maximum" in capsys.readouterr().err
    assert sorted(each.name for each in tmp_path.iterdir()) == ["grid.nc"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (["-o", "out.csv"], "written as .nc or .zarr"),
        (["--cover", "crimson"], "unknown cover 'crimson'"),
        (["--cultivar", "Nobody"], "unknown crimson clover cultivar or maturity group"),
        (["--sown", "02-29"], "write a day as 09-15"),
        (["--sown", "60w-before-freeze"], "give up to 26"),
        (["--sown", "from:nothing"], "no variable 'nothing'"),
        (["--terminate", "pray"], "unknown way of ending a cover 'pray'"),
        (["--percentiles", "90", "10"], "each greater than the one before"),
        (["--percentiles", "0"], "give numbers between 0 and 100"),
        (["--plant-by", "June"], "write the month and the day"),
        (["--days-to-maturity", "7"], "give the days on the seed packet"),
        (["--workers", "0"], "give at least one"),
        (["--map", "map.jpg"], "ends in .png"),
        (["--scheduler", "tcp://127.0.0.1:9"], "no cluster answers there"),
    ],
)  # fmt: skip
def test_a_question_that_cannot_be_asked(
    change: list[str],
    words: str,
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One line each, exit status 1."""
    monkeypatch.setattr("covercrop.region.running.PATIENCE", 0.2)
    monkeypatch.chdir(tmp_path)
    assert main(["region", str(folder / "kelvin.nc"), "-o", "out.nc", *ASKED, *change]) == 1
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert not (tmp_path / "out.nc").exists()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("D,95,-84,1,s0.csv,pea", "latitude = '95': give a number from -90 to 90"),
        ("D,35,east,1,s0.csv,pea", "longitude = 'east'"),
        ("D,35,-84,1,none.csv,pea", "no such weather file beside the table"),
        ("A,35,-84,1,s0.csv,crimson-clover", "two stations have the id 'A'"),
        (",35,-84,1,s0.csv,crimson-clover", "id is empty"),
        ("D,35,-84,1,s0.csv,thistle", "line 5: unknown cover 'thistle'"),
    ],
)
def test_a_table_that_cannot_be_used(line: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The line of the table is named."""
    table = stations(tmp_path / "table")
    table.write_text(table.read_text() + line + "\n")
    asked = ["--cover", "from:cover", "--sown", "09-20", "--crop", "pumpkin"]
    assert main(["region", str(table), "-o", str(tmp_path / "out.geojson"), *asked]) == 1
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1


def test_a_file_that_is_no_grid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A text called .nc, an empty folder, and nothing at all: a line each."""
    (tmp_path / "text.nc").write_text("no grid")
    (tmp_path / "empty.zarr").mkdir()
    for name, words in (
        ("text.nc", "cannot be read as a NetCDF file (it does not begin as one); check the path"),
        ("empty.zarr", "cannot be read as a Zarr"),
        ("gone.nc", "no such file"),
    ):
        assert main(["region", str(tmp_path / name), "-o", str(tmp_path / "out.nc"), *ASKED]) == 1
        said = capsys.readouterr().err
        assert words in said
        assert said.count("\n") == 1


def test_without_the_extra_it_says_how_to_get_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line with the way to install what is missing."""
    monkeypatch.setattr(running, "NEEDED", ("xarray", "not_a_package"))
    assert main(["region", "grid.nc", "-o", "out.nc", *ASKED]) == 1
    assert "not_a_package is not installed; pip install 'covercrop[region]' brings it" in capsys.readouterr().err
