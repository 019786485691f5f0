"""A region asked wrongly, of a damaged input, or stopped half-way: a line that says so, and nothing false or lost."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import invented
import numpy as np
import pytest
import xarray as xr
from rich.console import Console

from covercrop.base.errors import RegionError
from covercrop.cli.main import main
from covercrop.region import across, cells, results, survey
from covercrop.region import question as questions
from covercrop.region.cells import NoAnswer, Place
from covercrop.region.classic import is_whole
from covercrop.region.grid import open_grid
from covercrop.region.part import Part, alone
from covercrop.region.places import read_table
from covercrop.region.question import Question
from covercrop.render.figures import maps
from covercrop.render.screen import region
from covercrop.render.screen.terminal import Screen

REPOSITORY = Path(__file__).resolve().parent.parent
ASKED = ["--cover", "crimson-clover", "--sown", "09-20", "--crop", "summer-squash", "--workers", "1"]
QUESTION = questions.check(Question(cover="crimson-clover", sown=questions.sowing("09-20"), crop="summer-squash"))


def small(rows: int = 2, columns: int = 2, **how: Any) -> xr.Dataset:
    """A grid of a few cells and twelve years, the upper right of them sea."""
    return invented.grid(rows, columns, "2004-01-01", **how)


def with_time(change: Callable[[np.ndarray], Any], **about: Any) -> xr.Dataset:
    """A grid with other steps in time."""
    grid = small()
    steps = change(grid["time"].values.astype(np.float64))
    return grid.assign_coords(time=("time", steps, grid["time"].attrs | about))


def with_values(name: str, change: Callable[[np.ndarray], Any], **about: Any) -> xr.Dataset:
    """A grid with other values in a variable."""
    grid = small()
    made = (grid[name].dims, change(grid[name].values), grid[name].attrs | about)
    return grid.assign_coords({name: made}) if name in grid.coords else grid.assign({name: made})


def at(step: int, value: float) -> Callable[[np.ndarray], np.ndarray]:
    """What puts a value in one place."""

    def change(steps: np.ndarray) -> np.ndarray:
        changed = steps.copy()
        changed[step] = value
        return changed

    return change


def said_to_be(unit: str, **how: Any) -> xr.Dataset:
    """A grid that says another unit than it holds."""
    grid = small(**how)
    for name in ("tasmin", "tasmax"):
        grid[name].attrs["units"] = unit
    return grid


def scaled(by: float) -> xr.Dataset:
    """A grid in another scale than it says."""
    grid = small()
    return grid.assign(
        {name: (grid[name].dims, grid[name].values * by, grid[name].attrs) for name in ("tasmin", "tasmax")}
    )


# --- a grid that cannot be what it says -----------------------------------------------------------

WRONG = {
    "no time steps": (lambda: small().isel(time=slice(0, 0)), "holds no day: time has no steps"),
    "no latitude": (lambda: small().isel(lat=slice(0, 0)), "the dimension lat is empty"),
    "no longitude": (lambda: small().isel(lon=slice(0, 0)), "the dimension lon is empty"),
    "a step without a date": (lambda: with_time(at(5, np.nan)), "time holds no date at step 6 of 4383"),
    "a step beyond all dates": (lambda: with_time(at(5, np.inf)), "time holds no date at step 6"),
    "a missing step": (
        lambda: with_time(lambda steps: at(7, -9)(steps).astype(np.int64), _FillValue=np.int64(-9)),
        "time holds no date at step 8",
    ),
    "time in words": (lambda: with_time(lambda steps: steps.astype(str)), "time holds text"),
    "time before there were years": (lambda: with_time(abs, units="days since -4712-01-01"), "the time cannot be read"),
    "time beyond what dates can be": (lambda: with_time(abs, units="days since 99999-01-01"), "into the year 99999"),
    "time by the rule of Caesar": (lambda: with_time(abs, units="days since 1000-01-01"), "no date stands for"),
    "a unit of time that is a number": (lambda: with_time(abs, units=5), "no time coordinate|the time cannot be read"),
    "temperatures in words": (
        lambda: with_values("tasmin", lambda values: np.where(values > 0, "warm", "cold")),
        "tasmin holds text; give it as numbers",
    ),
    "temperatures as text": (lambda: with_values("tasmax", lambda values: values.astype(str)), "tasmax holds text"),
    "temperatures as yes and no": (lambda: with_values("tasmin", lambda values: values > 0), "tasmin holds yes or no"),
    "kelvin said to be degC": (lambda: said_to_be("degC", units="K"), "would run from 262 to 302 degC at latitude 33"),
    "kelvin said to be degF": (lambda: said_to_be("degF", units="K"), "mend its attribute 'units'"),
    "degC said to be kelvin": (lambda: said_to_be("K"), "mend its attribute 'units'"),
    "degF said to be degC": (lambda: said_to_be("degC", units="degF"), "mend its attribute 'units'"),
    "degF said to be kelvin": (lambda: said_to_be("K", units="degF"), "mend its attribute 'units'"),
    "tenths of degC": (lambda: scaled(10), "mend its attribute 'units'"),
    "radians that say so": (lambda: with_values("lat", np.radians, units="radians"), "lat is in radians; give degrees"),
    "radians that do not": (
        lambda: with_values("lat", np.radians),
        "no latitude is further from the equator than 0.70, but summer and winter are 20 K apart at latitude 0.58",
    ),
    "longitude in radians": (lambda: with_values("lon", np.radians, units="rad"), "lon is in rad; give degrees"),
    "latitude in words": (lambda: with_values("lat", lambda _: ["40N", "33N"]), "lat holds text"),
    "latitude unknown": (lambda: with_values("lat", at(1, np.nan)), "lat holds no number for some of the cells"),
    "latitude unknown everywhere": (lambda: with_values("lat", lambda lat: lat * np.nan), "no number for any"),
    "latitude beyond the pole": (lambda: with_values("lat", at(0, 90.5)), "a latitude of 90.5; give degrees"),
    "longitude in tenths": (lambda: with_values("lon", lambda lon: lon * 10), "a longitude of -880; give degrees"),
    "longitude without end": (lambda: with_values("lon", at(0, np.inf)), "a longitude of inf"),
    "a dimension called as an answer": (lambda: small().rename(lat="status"), "a dimension is called status"),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_a_grid_that_cannot_be_what_it_says(name: str, tmp_path: Path) -> None:
    """One line that names the file, what is wrong and the way out, before anything is worked out."""
    make, words = WRONG[name]
    make().to_netcdf(tmp_path / "grid.nc")
    with pytest.raises(RegionError, match=words) as refused:
        open_grid(tmp_path / "grid.nc", QUESTION)
    assert "grid.nc: " in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_day_of_sowing_in_words_is_no_day_of_the_year(tmp_path: Path) -> None:
    """Where each cell chooses its sowing, the choice is a number."""
    grid = small()
    grid["when"] = (("lat", "lon"), np.full((2, 2), "September"))
    grid.to_netcdf(tmp_path / "grid.nc")
    chosen = questions.check(Question(cover="crimson-clover", sown=questions.sowing("from:when"), crop="summer-squash"))
    with pytest.raises(RegionError, match="when holds text; give it as numbers"):
        open_grid(tmp_path / "grid.nc", chosen)


def test_the_command_says_it_in_one_line_and_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Degrees Celsius said to be Fahrenheit: no summer in any cell, which is told when all have been looked at."""
    for made, words in (
        (said_to_be("degF"), "3 have no day above 12 degC in all years (is the unit of the temperatures right?)"),
        (scaled(0.1), "3 have no day above 12 degC in all years"),
        (with_values("tasmin", lambda values: values * np.nan), "4 have no temperatures"),
        (with_values("tasmax", at(9, np.inf)), "3 have temperatures that cannot be (are missing values declared?)"),
    ):
        made.to_netcdf(tmp_path / "grid.nc")
        assert main(["region", str(tmp_path / "grid.nc"), "-o", str(tmp_path / "out.nc"), *ASKED]) == 1
        said = capsys.readouterr().err
        assert f"no cell can be answered: {words}" in said
        assert said.count("\n") == 1
        assert [each.name for each in tmp_path.iterdir()] == ["grid.nc"]


def record(mean: float, swing: float, years: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """Daily extremes of a smooth year [degC]."""
    middle = mean - swing * np.cos(2 * np.pi * (np.arange(years * 365) - 20) / 365.25)
    return middle - 5, middle + 5


@pytest.mark.parametrize(
    ("low", "high", "status"),
    [
        (*record(-6.0, 4.0), "never_warm"),
        (np.full(4000, 8.0), record(20.0, 8.0)[1][:4000], "temperature_that_cannot_be"),
        (record(20.0, 8.0)[0][:4000], np.full(4000, 40.0), "temperature_that_cannot_be"),
        (*(extreme * 3 + 40 for extreme in record(15.0, 12.0)), "temperature_that_cannot_be"),
    ],
    ids=["never warm", "one minimum for all days", "one maximum for all days", "too hot"],
)
def test_a_cell_that_cannot_be_weather(low: np.ndarray, high: np.ndarray, status: str) -> None:
    """It has no answer, and its neighbours have theirs."""
    with pytest.raises(NoAnswer, match=status):
        cells.record_of_cell(np.datetime64("2000-01-01"), low, high)


def test_a_cold_place_with_a_summer_is_weather() -> None:
    """A smooth year at the edge of the trees, with a mean of 10 degC in its warmest weeks, is asked like any other."""
    cells.record_of_cell(np.datetime64("2000-01-01"), *record(-4.0, 14.0))


@pytest.mark.parametrize(
    ("latitude", "swing", "refused"), [(0.66, 10.0, True), (-0.66, 10.0, True), (0.66, 1.5, False), (2.0, 10.0, False)]
)
def test_seasons_that_no_place_at_the_equator_has(latitude: float, swing: float, refused: bool) -> None:
    """A latitude in radians gives itself away by its summer; a real place at the equator has none."""
    weather = cells.record_of_cell(np.datetime64("2000-01-01"), *record(20.0, swing))
    with pytest.raises(NoAnswer, match="seasons_too_far_apart") if refused else contextlib.nullcontext():
        cells.check_hemisphere(weather, latitude)


def test_a_real_grid_at_the_equator_is_asked(tmp_path: Path) -> None:
    """Latitudes of less than a radian and a half, and no summer: degrees."""
    grid = with_values("lat", np.radians)
    low, high = record(24.0, 1.0, 21)
    for name, series in (("tasmin", low), ("tasmax", high)):
        grid[name].values[:] = series[: grid.sizes["time"], None, None]
    grid.to_netcdf(tmp_path / "grid.nc")
    assert open_grid(tmp_path / "grid.nc", QUESTION).latitude.max() < 1


def test_a_cell_without_a_latitude_has_no_answer() -> None:
    """As a curvilinear grid has them; the others are answered, and nothing stops."""
    weather = invented.weather("1996-01-01", "2015-12-31").table
    low, high = (np.tile(weather[name].to_numpy(), (2, 1)) for name in ("tmin_c", "tmax_c"))
    places = [Place(latitude=latitude, question=QUESTION) for latitude in (np.nan, 37.6)]
    got = cells.grid_answers(np.datetime64("1996-01-01"), low, high, places, 3)
    assert [cells.STATUS[each] for each in got.status] == ["no_place", "answered"]


def test_a_model_run_counts_its_years_from_one(tmp_path: Path) -> None:
    """The years of a control run are no dates of ours, and are asked all the same."""
    grid = small(calendar="noleap")
    grid["time"].attrs["units"] = "days since 0001-01-01"
    grid.to_netcdf(tmp_path / "grid.nc")
    assert main(["region", str(tmp_path / "grid.nc"), "-o", str(tmp_path / "out.nc"), *ASKED]) == 0
    with xr.open_dataset(tmp_path / "out.nc", decode_times=False) as made:
        assert made["sowing"].attrs["units"].startswith("days since 0012-09-20")


# --- a file that is damaged -----------------------------------------------------------------------


@pytest.mark.parametrize("form", ["NETCDF3_CLASSIC", "NETCDF3_64BIT", "NETCDF3_64BIT_DATA"])
@pytest.mark.parametrize("unlimited", [(), ("time",)])
def test_a_classic_file_that_was_cut_short_is_not_read_as_zeros(
    form: Any, unlimited: tuple[str, ...], tmp_path: Path
) -> None:
    """Wherever it ends, but for its end: also in the header, and within the last value."""
    whole, cut = tmp_path / "whole.nc", tmp_path / "cut.nc"
    small().to_netcdf(whole, format=form, engine="netcdf4", unlimited_dims=unlimited)
    content = whole.read_bytes()
    assert is_whole(whole)
    for length in (*range(4, 1200, 61), len(content) // 2, len(content) - 1):
        cut.write_bytes(content[:length])
        assert not is_whole(cut), length
    with pytest.raises(RegionError, match="was cut short"):
        open_grid(cut, QUESTION)
    open_grid(whole, QUESTION)


def damage(store: Path, variable: str, content: bytes) -> None:
    """Spoil every piece of a variable of a Zarr store."""
    for piece in (store / variable).iterdir():
        if not piece.name.startswith("."):
            piece.write_bytes(content)


DAMAGED = {
    "a piece cut short": (lambda store: damage(store, "tasmin", b"\0" * 9), "tasmin cannot be read"),
    "a piece of rubbish": (lambda store: damage(store, "tasmax", b"rubbish" * 99), "tasmax cannot be read"),
    "an empty time": (lambda store: damage(store, "time", b""), "cannot be read"),
    "a latitude of rubbish": (lambda store: damage(store, "lat", b"rubbish"), "cannot be read"),
    "a description cut short": (lambda store: (store / "tasmin" / ".zarray").write_text("{"), "read as a Zarr store"),
    "a description of another kind": (lambda store: (store / "tasmin" / ".zarray").write_text("[]"), "a Zarr store"),
    "no description": (lambda store: (store / "tasmin" / ".zarray").unlink(), "no variable tasmin"),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_a_damaged_store(name: str, tmp_path: Path) -> None:
    """One line, whatever its libraries raise."""
    spoil, words = DAMAGED[name]
    store = tmp_path / "grid.zarr"
    small().to_zarr(store, consolidated=False, zarr_format=2)
    spoil(store)
    with pytest.raises(RegionError, match=words):
        open_grid(store, QUESTION)


def test_a_damaged_netcdf(tmp_path: Path) -> None:
    """Cut short, spoilt in the middle, empty: a line that says so in words."""
    whole = tmp_path / "whole.nc"
    small().to_netcdf(whole, encoding={name: {"zlib": True} for name in ("tasmin", "tasmax")})
    content = whole.read_bytes()
    middle = len(content) // 2
    spoilt = content[:middle] + bytes(30000) + content[middle + 30000 :]
    for damaged, words in (
        (content[:middle], "it is damaged, or was cut short"),
        (content[:-100], "it is damaged, or was cut short"),
        (spoilt, "tasm.. cannot be read .it is damaged"),
        (b"", "it does not begin as one"),
    ):
        (tmp_path / "grid.nc").write_bytes(damaged)
        with pytest.raises(RegionError, match=words):
            open_grid(tmp_path / "grid.nc", QUESTION)


def test_what_is_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pipe that nobody writes to, a name too long for any file, a device: said at once."""
    os.mkfifo(tmp_path / "pipe.nc")
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "endless.nc").symlink_to("/dev/zero")
    (tmp_path / "folder.csv").mkdir()
    for name, out, words in (
        ("pipe.nc", "out.nc", "is no file"),
        ("pipe.csv", "out.csv", "it is a pipe, not a file"),
        ("endless.nc", "out.nc", "is no file"),
        ("folder.csv", "out.csv", "is a folder"),
        ("x" * 3000 + ".nc", "out.nc", "File name too long"),
        ("x" * 3000 + ".csv", "out.csv", "File name too long"),
    ):
        assert main(["region", str(tmp_path / name), "-o", str(tmp_path / out), *ASKED]) == 1
        said = capsys.readouterr().err
        assert words in said
        assert said.count("\n") == 1


def test_a_block_that_cannot_be_read_is_named_and_the_others_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Damage where nothing was looked at before the work began: one line, and what is done goes on from there."""
    for name in ("BLOCK_CELLS", "MOST_BLOCK_CELLS"):
        monkeypatch.setattr(f"covercrop.region.grid.{name}", 4)
    store, out = tmp_path / "grid.zarr", tmp_path / "out.nc"
    small(6, 2).chunk({"lat": 2}).to_zarr(store, consolidated=False, zarr_format=2)
    last = store / "tasmin" / "0.2.0"
    content = last.read_bytes()
    last.write_bytes(content[:50])
    command = ["region", str(store), "-o", str(out), *ASKED]
    assert main(command) == 1
    said = capsys.readouterr().err
    assert "block 2 could not be worked out" in said
    assert said.count("\n") == 1
    assert not out.exists()
    assert sorted(each.name for each in (tmp_path / "out.nc.part").iterdir()) == [
        "block-000000.npz",
        "block-000001.npz",
        "manifest.json",
    ]


def test_what_a_store_says_beside_its_values_does_not_stop_the_answer(tmp_path: Path) -> None:
    """Attributes that JSON can hold and NetCDF cannot, on what is copied into the answer."""
    grid = small(projected=True)
    grid = grid.assign_coords(crs=((), 0, {"grid_mapping_name": "latitude_longitude"}))
    for name in ("tasmin", "tasmax"):
        grid[name].attrs["grid_mapping"] = "crs"
    store = tmp_path / "grid.zarr"
    grid.to_zarr(store, consolidated=False, zarr_format=2)
    odd = {"odd": {"a": 1}, "none": None, "yes": True, "nested": [[1], [2]], "mixed": [1, "a"], "big": 2**70}
    for name in ("x", "crs"):
        about = store / name / ".zattrs"
        about.write_text(json.dumps(json.loads(about.read_text()) | odd | {"kept": "this"}))
    assert main(["region", str(store), "-o", str(tmp_path / "out.nc"), *ASKED]) == 0
    made = xr.load_dataset(tmp_path / "out.nc")
    assert made["x"].attrs["kept"] == made["crs"].attrs["kept"] == "this"
    assert not {"odd", "none", "nested"} & made["x"].attrs.keys()


# --- a table of stations --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("B,37,-85,1," + "x" * 3000, "line 3: file = 'x+': no such weather file"),
        ("B,37,-85,1," + "x/" * 1500, "no such weather file"),
        ("B,37,-85,1,.", "no such weather file"),
        ("B,37,-85,1,loop.csv", "no such weather file"),
        ("B,37,-85,1,pipe.csv", "no such weather file"),
        ("B,3_7,-85,1,s.csv", "latitude = '3_7': give a number"),
        ("B,\N{ARABIC-INDIC DIGIT THREE},-85,1,s.csv", "latitude = .*: give a number"),
        ("B,nan,-85,1,s.csv", "latitude = 'nan': give a number"),
        ("B,37,1e400,1,s.csv", "longitude = '1e400': give a number"),
        ("B,37,-85,1,s.csv,more", "line 3 has 6 values under 5 columns"),
        ("B" * 200_000 + ",37,-85,1,s.csv", "line 3 cannot be read as CSV"),
    ],
)
def test_a_line_that_cannot_be_used(line: str, words: str, tmp_path: Path) -> None:
    """The line of the table, what stands there, and the way out."""
    (tmp_path / "s.csv").write_text("date,tmin,tmax\n")
    (tmp_path / "loop.csv").symlink_to("loop.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    table = tmp_path / "table.csv"
    table.write_text(f"id,latitude,longitude,elevation,file\nA,38,-85,200,s.csv\n{line}\n")
    with pytest.raises(RegionError, match=words):
        read_table(table, QUESTION)


def test_two_columns_of_one_name(tmp_path: Path) -> None:
    """Which of the two is meant is not guessed."""
    (tmp_path / "s.csv").touch()
    (tmp_path / "table.csv").write_text("id,latitude,longitude,Latitude,file\nA,38,-85,37,s.csv\n")
    with pytest.raises(RegionError, match="two columns are called 'latitude'; keep one"):
        read_table(tmp_path / "table.csv", QUESTION)


def test_a_run_over_stations_that_did_nothing_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A weather file that cannot be used is named; once it is mended, the same command begins anew."""
    (tmp_path / "s.csv").write_text("nothing here")
    (tmp_path / "table.csv").write_text("id,latitude,longitude,file\nA,38,-85,s.csv\n")
    assert main(["region", str(tmp_path / "table.csv"), "-o", str(tmp_path / "out.csv"), *ASKED]) == 1
    assert "station A: s.csv: " in capsys.readouterr().err
    assert sorted(each.name for each in tmp_path.iterdir()) == ["s.csv", "table.csv"]


def test_what_a_spreadsheet_would_run_stays_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The id of a station is text in the CSV of the answers, and a negative longitude a number."""
    invented_table = invented.weather("2004-01-01", "2015-12-31").table[["tmin_c", "tmax_c"]].round(1)
    invented_table.rename(columns={"tmin_c": "tmin", "tmax_c": "tmax"}).to_csv(tmp_path / "s.csv")
    (tmp_path / "table.csv").write_text("id,latitude,longitude,file\n=1+1,38,-85,s.csv\n")
    assert main(["region", str(tmp_path / "table.csv"), "-o", str(tmp_path / "out.csv"), *ASKED]) == 0
    with (tmp_path / "out.csv").open(newline="") as written:
        (row,) = csv.DictReader(written)
    assert (row["id"], float(row["longitude"])) == ("'=1+1", -85.0)


# --- an unfinished run ----------------------------------------------------------------------------


def answers_of(number: int) -> cells.Answers:
    """Made-up answers of four cells, other ones for each block."""
    made = cells.no_answers(4, 3)
    made.days["window_open"][:] = number
    return made


def like(_number: int) -> dict[str, np.ndarray]:
    """What the answers of four cells look like."""
    return cells.no_answers(4, 3).arrays()


def test_a_block_is_whole_or_worked_out_again(tmp_path: Path) -> None:
    """Bits, bytes and stretches of a block file changed at random: refused, or the answers are the same."""
    part = Part(tmp_path / "out.nc", {"asked": "this"}, like)
    part.save(0, answers_of(0))
    (file,) = part.folder.glob("block-*")
    good, rng = file.read_bytes(), np.random.default_rng(4)
    refused = 0
    for _ in range(150):
        content = bytearray(good)
        place = int(rng.integers(len(content)))
        match rng.integers(4):
            case 0:
                content[place] ^= 1 << int(rng.integers(8))
            case 1:
                del content[place : place + int(rng.integers(1, 200))]
            case 2:
                content[place:place] = rng.bytes(int(rng.integers(1, 20)))
            case _:
                del content[place:]
        file.write_bytes(content)
        if part.missing(1):
            refused += 1
            assert not file.exists()
        else:
            np.testing.assert_array_equal(part.load(0)["window_open"], answers_of(0).days["window_open"])
    assert refused > 130
    assert part.thrown_away == [file.name] * refused


def foreign(part: Part, file: Path) -> None:
    """A block of another question."""
    other = Part(part.out.with_name("other.nc"), {"asked": "something else"}, like)
    other.save(0, answers_of(0))
    shutil.move(next(other.folder.glob("block-*")), file)


def spelled(part: Part, file: Path, **change: Any) -> None:
    """A block that is whole, and not as a block is."""
    with np.load(file) as stored:
        arrays = {name: stored[name] for name in stored.files} | change
    np.savez(file, **{name: array for name, array in arrays.items() if array is not None})


NO_BLOCK: dict[str, Callable[[Part, Path], object]] = {
    "nothing in it": lambda _, file: file.write_bytes(b""),
    "text": lambda _, file: file.write_text("a block"),
    "a folder": lambda _, file: (file.unlink(), file.mkdir(), (file / "more").touch()),
    "a link to nowhere": lambda _, file: (file.unlink(), file.symlink_to("nowhere")),
    "of another block": lambda _, file: shutil.copy(file.with_name("block-000001.npz"), file),
    "of another question": foreign,
    "an array too few": lambda part, file: spelled(part, file, status=None),
    "an array too many": lambda part, file: spelled(part, file, more=np.zeros(4)),
    "of another shape": lambda part, file: spelled(part, file, status=np.zeros(5, dtype=np.int8)),
    "of another kind": lambda part, file: spelled(part, file, status=np.zeros(4)),
}


@pytest.mark.parametrize("name", NO_BLOCK)
def test_what_is_no_block_of_this_run_is_thrown_away(name: str, tmp_path: Path) -> None:
    """It is missing then, and is worked out again; the other blocks stay."""
    part = Part(tmp_path / "out.nc", {"asked": "this"}, like)
    for number in range(3):
        part.save(number, answers_of(number))
    file = part.folder / "block-000000.npz"
    NO_BLOCK[name](part, file)
    assert part.missing(3) == [0]
    assert part.thrown_away == ["block-000000.npz"]
    assert not os.path.lexists(file)
    with pytest.raises(RegionError, match="run the same command again"):
        part.load(0)
    np.testing.assert_array_equal(part.load(2)["window_open"], answers_of(2).days["window_open"])


@pytest.fixture(scope="module")
def six_blocks(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A grid on disk that is cut into six blocks."""
    folder = tmp_path_factory.mktemp("blocks")
    small(6, 2).to_netcdf(folder / "grid.nc")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("BLOCK_CELLS", "MOST_BLOCK_CELLS"):
            patch.setattr(f"covercrop.region.grid.{name}", 2)
        yield folder / "grid.nc"


def ask(grid: Path, out: Path) -> tuple[xr.Dataset, list[str]]:
    """The answer over a grid, and what was said on the way."""
    said: list[str] = []
    work = survey.Work(workers=1, say=said.append)
    survey.ask_grid(grid, out, QUESTION, work, as_dates=True, history="now")
    return xr.load_dataset(out), said


def test_an_interrupted_run_with_damaged_blocks_ends_with_the_same_answer(
    six_blocks: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped after four blocks of six, two of which are spoilt: said in a line, worked out again, and no other."""
    expected, said = ask(six_blocks, tmp_path / "whole.nc")
    assert said == []
    saved: list[int] = []
    save = Part.save

    def stop_after_four(part: Part, number: int, answers: cells.Answers) -> None:
        if len(saved) == 4:
            raise KeyboardInterrupt
        saved.append(number)
        save(part, number, answers)

    monkeypatch.setattr(Part, "save", stop_after_four)
    with pytest.raises(KeyboardInterrupt):
        ask(six_blocks, tmp_path / "out.nc")
    part = tmp_path / "out.nc.part"
    assert sorted(each.name for each in part.iterdir()) == [
        *(f"block-00000{number}.npz" for number in range(4)),
        "manifest.json",
    ]
    (part / "block-000001.npz").write_bytes((part / "block-000001.npz").read_bytes()[:700])
    (part / "block-000003.npz").write_bytes(b"")
    (part / "manifest.json").write_text("{")
    saved.clear()
    monkeypatch.setattr(Part, "save", lambda part, number, answers: (saved.append(number), save(part, number, answers)))
    made, said = ask(six_blocks, tmp_path / "out.nc")
    assert saved == [1, 3, 4, 5]
    assert said == [
        f"{part}: block-000001.npz and 1 more damaged or not of this run; thrown away, and worked out again"
    ]
    xr.testing.assert_identical(made, expected)
    assert (tmp_path / "out.nc").read_bytes() == (tmp_path / "whole.nc").read_bytes()
    assert sorted(each.name for each in tmp_path.iterdir()) == ["out.nc", "whole.nc"]


# --- two runs, a full disk, and what stands there already -----------------------------------------


def test_a_second_run_to_one_output_says_so_and_stops(
    six_blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, status 1, and the first is not disturbed."""
    out = tmp_path / "out.nc"
    command = ["region", str(six_blocks), "-o", str(out), *ASKED]
    with alone(out):
        assert main(command) == 1
        said = capsys.readouterr().err
        assert (
            said
            == f"covercrop: {out}: another run is at work on it; wait until it is done, or name another place with -o\n"
        )
        assert (tmp_path / "out.nc.part").exists()
    assert list(tmp_path.iterdir()) == []
    assert main(command) == 0


def test_the_lock_of_a_killed_run_does_not_block_the_next(tmp_path: Path) -> None:
    """It goes with the process, however that ends; what lies there afterwards is cleared away."""
    out = tmp_path / "out.nc"
    program = (
        "import sys, time, pathlib; from covercrop.region.part import alone\n"
        "with alone(pathlib.Path(sys.argv[1])): print('held', flush=True); time.sleep(60)"
    )
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}
    with subprocess.Popen(
        [sys.executable, "-c", program, str(out)], env=environment, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(RegionError, match="another run is at work"), alone(out):
            pass
        other.send_signal(signal.SIGKILL)
        other.wait()
    with alone(out):
        assert (tmp_path / "out.nc.part").is_dir()
    assert list(tmp_path.iterdir()) == []


@contextlib.contextmanager
def no_file_longer_than(size: int) -> Iterator[None]:
    """As on a disk that has so much room left, for each file."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("ending", ["nc", "zarr"])
def test_a_disk_that_is_full_at_the_end(
    ending: str, six_blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The blocks fit and the whole does not: a line, nothing that looks finished, and the same command goes on."""
    out = tmp_path / f"out.{ending}"
    command = ["region", str(six_blocks), "-o", str(out), *ASKED]
    room = 6_500
    with no_file_longer_than(room), pytest.MonkeyPatch.context() as patch:
        if ending == "zarr":  # its pieces are smaller than a block, so that here a piece of it is what finds no room

            def full(*_: object, **__: object) -> None:
                raise OSError(28, "No space left on device")

            patch.setattr(xr.Dataset, "to_zarr", full)
        assert main(command) == 1
    said = capsys.readouterr().err
    assert "cannot be written" in said
    assert said.count("\n") == 1
    assert not out.exists()
    assert len(list((tmp_path / f"out.{ending}.part").glob("block-*.npz"))) == 6
    assert not list((tmp_path / f"out.{ending}.part").glob("whole*"))
    assert main(command) == 0
    assert "6 of 6 blocks are done" in capsys.readouterr().err
    assert [each.name for each in tmp_path.iterdir()] == [out.name]


def test_a_link_that_leads_nowhere_is_not_written_over(
    six_blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is the user's stays, also where nothing is behind it; a name too long for any file is said."""
    out = tmp_path / "out.nc"
    out.symlink_to(tmp_path / "elsewhere.nc")
    for name, words in (("out.nc", "is there already"), ("x" * 3000 + ".nc", "File name too long")):
        assert main(["region", str(six_blocks), "-o", str(tmp_path / name), *ASKED]) == 1
        said = capsys.readouterr().err
        assert words in said
        assert said.count("\n") == 1
    assert out.is_symlink()


@pytest.mark.parametrize("name", ["folder.png", "x" * 3000 + ".png"])
def test_a_map_that_cannot_be_written_is_said_before_the_work(
    name: str, six_blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder in its place, or a name too long: nothing has been worked out."""
    (tmp_path / "folder.png").mkdir()
    command = ["region", str(six_blocks), "-o", str(tmp_path / "out.nc"), *ASKED, "--map", str(tmp_path / name)]
    assert main(command) == 1
    assert "name a file that ends in .png" in capsys.readouterr().err
    assert [each.name for each in tmp_path.iterdir()] == ["folder.png"]


# --- what it came to ------------------------------------------------------------------------------


def surveyed(sowing: list[str | None], days: dict[str, list[float]], **question: Any) -> survey.Survey:
    """A survey of places with these answers; other dates are reached by none."""
    arrays = cells.no_answers(len(sowing), 3).arrays()
    arrays["sowing"][:] = np.array(sowing, dtype="datetime64[D]")
    arrays["status"][:] = np.where(np.isnat(arrays["sowing"]), cells.STATUS.index("no_data"), 0)
    for name, given in days.items():
        arrays[name][:] = given
    asked = questions.check(
        Question(cover="crimson-clover", sown=questions.sowing("6w-before-freeze"), crop="summer-squash", **question)
    )
    here = np.linspace(35, 40, len(sowing))
    return survey.Survey(
        out=Path("out.geojson"),
        arrays=arrays,
        latitude=here,
        longitude=here - 120,
        x=None,
        y=None,
        question=asked,
        notes=(),
    )


def screen_of(asked: survey.Survey, width: int = 80) -> str:
    """What is printed."""
    text = io.StringIO()
    region.summary(Screen(Console(file=text, width=width, highlight=False)), asked)
    return text.getvalue()


def line_of(asked: survey.Survey, label: str) -> str:
    """A line of the table behind its label."""
    (line,) = (line for line in screen_of(asked).splitlines() if line.strip().startswith(label))
    return " ".join(line.replace(label, "").split())


def test_dates_are_in_order_of_the_day_of_the_season_whatever_their_year() -> None:
    """Three records that end in different years: the early place is first, though its date has the last year."""
    asked = surveyed(
        ["2015-09-20", "2009-09-20", "2003-09-20"], {"window_open": [205, 230, 240], "end_cover": [210, 220, np.nan]}
    )
    assert line_of(asked, "window opens") == "12 Apr 8 May 17 May all"
    assert line_of(asked, "best day to end the cover") == "17 Apr 28 Apr 28 Apr 2"
    assert line_of(asked, "latest planting to ripen") == "- - - none"
    told = region.document(asked, "")["dates"]
    assert told["window_open"] == {"first": "2016-04-12", "middle": "2016-05-08", "last": "2016-05-17", "cells": 3}
    assert told["end_cover"] == {"first": "2016-04-17", "middle": "2016-04-28", "last": "2016-04-28", "cells": 2}
    assert told["latest_planting"] == {"first": None, "middle": None, "last": None, "cells": 0}
    for each in told.values():
        given = [each[name] for name in ("first", "middle", "last") if each[name]]
        assert given == sorted(given)


def test_a_season_that_begins_on_either_side_of_the_new_year_is_one() -> None:
    """28 December comes before 3 January, and what follows either is of the same spring."""
    asked = surveyed(["2014-12-28", "2015-01-03", "2010-01-03", None], {"window_open": [100.0, 100.0, 90.0, np.nan]})
    assert line_of(asked, "sowing") == "28 Dec 3 Jan 3 Jan all"
    assert line_of(asked, "window opens") == "3 Apr 7 Apr 13 Apr all"
    assert region.document(asked, "")["dates"]["sowing"] == {
        "first": "2014-12-28",
        "middle": "2015-01-03",
        "last": "2015-01-03",
        "cells": 3,
    }


def test_a_leap_year_does_not_move_a_date() -> None:
    """8 May is 8 May in 2016 as in 2015: neither the table nor the colours of the map tell them apart."""
    asked = surveyed(["2015-09-20", "2014-09-20"], {"window_open": [231.0, 230.0]})
    days = across.season_days(asked.arrays, "window_open", 1)
    assert days[0] == days[1]
    assert across.day_and_month(days[0]) == dt.date(2001, 5, 8)
    assert line_of(asked, "window opens") == "8 May 8 May 8 May all"


def test_the_percentile_that_stands_for_the_middle_is_named() -> None:
    """Where 50 was not asked for, it is not called the middle year."""
    days = {"window_open": [205.0, 206.0]}
    assert "in the middle year" in screen_of(surveyed(["2015-09-20"] * 2, days))
    asked = surveyed(["2015-09-20"] * 2, days, percentiles=(20.0, 90.0, 95.0))
    assert "at percentile 20" in screen_of(asked)
    assert "middle year" not in screen_of(asked)
    assert region.document(asked, "")["percentile"] == 20.0


@pytest.mark.parametrize("width", [60, 80])
def test_the_table_fits_the_screen(width: int) -> None:
    """No line is wider, and every date and number stands whole."""
    many = 12_345
    asked = surveyed(["2015-09-20"] * many, {"safe_planting": [240.0] * 2000 + [np.nan] * (many - 2000)})
    shown = screen_of(asked, width)
    assert max(map(len, shown.splitlines())) <= width
    assert "17 May" in shown
    assert "2,000" in shown
    assert "of 12,345" in shown


DRAWN = {
    "over the date line": lambda: small(2, 4).assign_coords(lon=("lon", [178.0, 179.0, -180.0, -179.0])),
    "over the meridian of Greenwich": lambda: small(2, 4).assign_coords(lon=("lon", [358.0, 359.0, 0.0, 1.0])),
    "in no order": lambda: small(4, 2).isel(lat=[2, 0, 3, 1]),
    "along names": lambda: small(projected=True).assign_coords(x=("x", ["a", "b"])),
    "along a coordinate with a hole": lambda: small(projected=True).assign_coords(x=("x", [1.0, np.nan])),
}


@pytest.mark.parametrize("name", DRAWN)
def test_a_map_of_any_grid_is_drawn_without_a_warning(name: str, tmp_path: Path) -> None:
    """And the cells lie in order along it."""
    DRAWN[name]().to_netcdf(tmp_path / "grid.nc")
    work = survey.Work(workers=1)
    asked = survey.ask_grid(tmp_path / "grid.nc", tmp_path / "out.nc", QUESTION, work, as_dates=True, history="")
    maps.draw(asked, tmp_path / "map.png")
    assert (tmp_path / "map.png").read_bytes().startswith(b"\x89PNG")
    assert results.counts(asked.arrays)["answered"] == asked.latitude.size - 1


def test_a_map_for_which_there_is_no_room_leaves_the_one_that_was_there(
    six_blocks: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line that says that the answer itself is whole; the picture of the last time still stands."""
    picture = tmp_path / "map.png"
    picture.write_bytes(b"the last one")
    command = ["region", str(six_blocks), "-o", str(tmp_path / "out.nc"), *ASKED, "--map", str(picture)]
    with pytest.MonkeyPatch.context() as patch:

        def full(_figure: object, file: io.BufferedWriter, **_: object) -> None:
            file.write(b"half a picture")
            raise OSError(28, "No space left on device")

        patch.setattr("matplotlib.figure.Figure.savefig", full)
        assert main(command) == 1
    said = capsys.readouterr().err
    assert f"the answer is whole in {tmp_path / 'out.nc'}" in said
    assert picture.read_bytes() == b"the last one"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["map.png", "out.nc"]
