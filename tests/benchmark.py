"""Speed, as ratios measured in one run: ``python tests/benchmark.py [NAME ...]``, of the names below.

Times of one machine say little on another, and little on the same one an hour later; so each benchmark runs ours and
a reference in turn and gives the median of the pairwise ratios.  Nothing is asserted.

core
    Single sine above 4 degC, running sums, and the first day on which five sums are reached from each of 40 starts in
    39 seasons, for 200 stations of 40 years; against the same written plainly in numpy.
ready
    ``python -m covercrop ready`` on the demonstration, against starting Python with numpy and pandas.
hindcast
    ``python -m covercrop hindcast`` on the demonstration (30 seasons, four issue dates, three covers), against
    the same.
report
    ``python -m covercrop report`` on the demonstration, nine charts on three sheets, against the same.
help
    ``python -m covercrop --help``, against the same.
many
    ``python -m covercrop ready`` on 300 fields that share ten weather files, in seconds of processor time, against 5 s.
read
    A weather file of 11,000 days, read and checked for faults; against pandas reading it unchecked.
cells
    The first day on which each of 64 degree-day sums, as a region needs for its draws, is reached in each season of 48
    cells of 30 years: ours against xclim's.
grid
    ``python -m covercrop region`` on 2,000 and 10,000 cells of 30 years, from a NetCDF file to all dates on disk:
    processor time, memory, and what the larger run costs as a multiple of the smaller.
sow
    ``python -m covercrop sow`` for 75 dates and 5 covers on one field with 29 past years, against the same, by
    processor time; with the seconds of its own computing and the most memory that it takes.
mixture
    The computing of one field of the demonstration's weather with rye beside its legume, against the legume alone, by
    processor time.
dates, covers, years
    The computing of ``sow`` for twice as many of each, against once as many, by processor time: 2 is linear. The
    second six covers end on more days than the first, and each day is a ground of its own.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np
from numpy.typing import NDArray

REPOSITORY = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(REPOSITORY))

from covercrop.models.degree_days import TOLERANCE, accumulate, crossing, degree_days  # noqa: E402  the tree this script is in

Array = NDArray[np.float64]

STATIONS, YEARS, BASE = 200, 40, 4.0
SUMS = np.array([200.0, 500.0, 900.0, 1300.0, 1800.0])
REPEATS_CORE, REPEATS_COMMAND = 9, 11
BARS = {
    "core": 1.3,
    "ready": 2.5,
    "hindcast": 6.0,
    "report": 5.0,
    "help": 0.2,
    "sow": 2.5,
    "mixture": 1.6,
    "dates": 2.2,
    "covers": 2.5,
    "years": 2.2,
    "cells": 1 / 50,
    "read": 15.0,
}
SOWN = ("2026-09-01", "2026-11-14")
SOWN_COVERS = ("crimson-clover", "hairy-vetch", "winter-pea", "common-vetch", "berseem-clover")


def _weather() -> tuple[Array, Array]:
    """Invented daily extremes [degC] of many stations, to 0.1 degree as records have them."""
    rng = np.random.default_rng(1983)
    day = np.arange(round(YEARS * 365.25))
    warmth = np.linspace(0.0, 1.0, STATIONS)[:, None]
    yearly = -np.cos(2 * np.pi * (day - 20) / 365.25)
    mean = 5 + 15 * warmth + (14 - 6 * warmth) * yearly + rng.normal(0, 3, (STATIONS, day.size))
    half = np.clip(rng.normal(6, 1.5, mean.shape), 1, None)
    return (mean - half).round(1), (mean + half).round(1)


def _starts() -> Array:
    """Day indices of every second day from 20 August, 40 in each of 39 seasons."""
    return np.concatenate([round(year * 365.25) + 231 + np.arange(0, 80, 2) for year in range(YEARS - 1)]).astype(float)


def _plain(tmin: Array, tmax: Array, starts: Array) -> Array:
    """The job of `core` as one would write it in numpy for this job alone."""
    mean, half = (tmin + tmax) / 2, (tmax - tmin) / 2
    angle = np.arcsin(np.clip((BASE - mean) / half, -1, 1))
    crossed = ((mean - BASE) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    daily = np.where(tmin >= BASE, mean - BASE, np.where(tmax <= BASE, 0.0, crossed))
    totals = np.cumsum(daily, axis=1)
    first = starts.astype(int)
    result = np.empty((STATIONS, first.size, SUMS.size))
    for station, total in enumerate(totals):
        before = np.where(first > 0, total[first - 1], 0.0)
        found = np.searchsorted(total, before[:, None] + SUMS - TOLERANCE)
        result[station] = np.where(found < total.size, found, np.nan)
    return result


def _ours(tmin: Array, tmax: Array, starts: Array) -> Array:
    total = accumulate(degree_days(tmin, tmax, BASE, method="sine"))
    return crossing(total[:, None], SUMS, starts[:, None])


def _timed(job: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> tuple[float, object]:
    begin = clock()
    result = job()
    return clock() - begin, result


def _children() -> float:
    """Processor time of the processes that were started and have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _row(name: str, ours: list[float], reference: list[float], remark: str = "") -> str:
    ratio = median(a / b for a, b in zip(ours, reference, strict=True))
    within = "yes" if ratio <= BARS[name] else "NO"
    times = f"{median(ours):7.3f} s {median(reference):9.3f} s"
    return f"{name:<9}{times}{ratio:>8.2f}{BARS[name]:>7.2f}  {within:<7} {remark}".rstrip()


def core() -> str:
    """Degree-days, running sums and crossings, and whether all dates agree."""
    tmin, tmax = _weather()
    starts = _starts()
    ours, reference = [], []
    for _ in range(REPEATS_CORE):
        seconds, got = _timed(lambda: _ours(tmin, tmax, starts))
        ours.append(seconds)
        seconds, expected = _timed(lambda: _plain(tmin, tmax, starts))
        reference.append(seconds)
    got, expected = np.asarray(got), np.asarray(expected)
    differ = int((~((got == expected) | (np.isnan(got) & np.isnan(expected)))).sum())
    agree = "all agree" if not differ else f"{differ} differ"
    return _row("core", ours, reference, f"{got.size} dates, {np.isfinite(got).mean():.1%} reached, {agree}")


def _command(
    name: str, *arguments: str, clock: Callable[[], float] = time.perf_counter, remark: Callable[[], str] = str
) -> str:
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY)}

    def run(*what: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, *what], cwd=REPOSITORY, env=environment, capture_output=True, text=True, check=False
        )

    ours, reference = [], []
    for repeat in range(REPEATS_COMMAND + 1):
        seconds, done = _timed(lambda: run("-m", "covercrop", *arguments), clock)
        assert isinstance(done, subprocess.CompletedProcess)
        if done.returncode:
            last = (done.stderr.strip() or "no word why").splitlines()[-1]
            return f"{name:<9}missing: `covercrop {' '.join(arguments)}` ends with status {done.returncode}: {last}"
        baseline, _ = _timed(lambda: run("-c", "import numpy, pandas"), clock)
        if repeat:  # the first pair fills the disk cache and compiles
            ours.append(seconds)
            reference.append(baseline)
    return _row(name, ours, reference, remark())


def _compare(dates: int = 75, covers: int = 5, last_year: int = 2026) -> object:
    """Compare the sowing dates of the demonstration's first field."""
    from covercrop.autumn.comparison import compare_sowing_dates
    from covercrop.base.shipped import data_path
    from covercrop.field.file import read_fields
    from covercrop.field.weather_source import field_weather
    from covercrop.parameters.catalogue import cover_names

    file = read_fields(data_path("demo", "fields.toml", beside=("weather.csv",)))
    assert file.today is not None
    names = (*SOWN_COVERS, *(name for name in cover_names() if name not in SOWN_COVERS))
    start = np.datetime64(f"{last_year}-{SOWN[0][5:]}")
    return compare_sowing_dates(
        file.fields[0],
        field_weather(file.fields[0], file.today),
        np.datetime64(f"{last_year}-04-20"),
        covers=names[:covers],
        start=start,
        end=start + np.timedelta64(dates - 1, "D"),
    )


def mixture() -> str:
    """A field with rye beside its legume, against the legume alone: each way of ending them, details and all."""
    import datetime as dt

    from covercrop.base.shipped import data_path
    from covercrop.field.entries import CoverEntry, CropEntry, Field
    from covercrop.season.plan import make_plan
    from covercrop.weather.own_file import read_weather

    weather = read_weather(data_path("demo", "weather.csv"))

    def planned(companion: str | None) -> None:
        for way in ("turn-under", "mow"):
            cover = CoverEntry(species="hairy-vetch", sown=dt.date(2025, 9, 15), terminate=way, companion=companion)
            crop = CropEntry(name="pumpkin", method="transplant")
            field = Field(name="Plot", latitude=37.62, longitude=-84.91, cover=cover, crop=crop)
            make_plan(field, weather, np.datetime64("2026-04-10"))

    ours, reference = [], []
    for repeat in range(REPEATS_CORE + 1):
        mixed, _ = _timed(lambda: planned("cereal-rye"), time.process_time)
        alone, _ = _timed(lambda: planned(None), time.process_time)
        if repeat:
            ours.append(mixed)
            reference.append(alone)
    return _row("mixture", ours, reference)


def _twice(name: str, once: dict[str, int], twice: dict[str, int]) -> str:
    """The computing for twice as much of something, against once as much."""
    ours, reference = [], []
    for repeat in range(REPEATS_CORE + 1):
        more, _ = _timed(lambda: _compare(**twice), time.process_time)
        less, _ = _timed(lambda: _compare(**once), time.process_time)
        if repeat:
            ours.append(more)
            reference.append(less)
    return _row(name, ours, reference)


def cells() -> str:
    """The degree-day crossing that each stage of a region needs, by ours and by xclim: 64 sums above 4 degC."""
    import warnings

    import pandas as pd
    import xarray as xr

    warnings.simplefilter("ignore")
    from xclim.indices import degree_days_exceedance_date

    rng = np.random.default_rng(7)
    years, count, needs = 30, 48, np.linspace(250.0, 350.0, 64)
    time_axis = pd.date_range("1991-01-01", periods=round(years * 365.25), freq="D")
    day = np.arange(time_axis.size)
    mean = 11 - 11 * np.cos(2 * np.pi * (day - 20) / 365.25) + rng.normal(0, 4, (count, day.size))
    tas = xr.DataArray(mean, dims=("cell", "time"), coords={"time": time_axis}, attrs={"units": "degC"})
    starts = np.flatnonzero(time_axis.day_of_year == 1)

    def our(sums: Array) -> Array:
        # A cell at a time, which stays in the processor's cache: its running sum, and a start for each season.
        begin = starts[:, None]
        found = [crossing(accumulate(np.maximum(cell - BASE, 0.0)), sums, begin) - begin for cell in mean]
        return np.stack(found) + 1

    def theirs(sums: Array) -> Array:
        found = [
            degree_days_exceedance_date(tas, thresh="4 degC", sum_thresh=f"{need} K days", after_date="01-01")
            for need in sums
        ]
        return np.stack([np.asarray(one.transpose("cell", "time")) for one in found], axis=-1)

    # Processor time: others may be busy on the machine.
    once = [
        (_timed(lambda: our(needs[:1]), time.process_time)[0], _timed(lambda: theirs(needs[:1]), time.process_time)[0])
        for _ in range(11)
    ]
    seconds, got = _timed(lambda: our(needs), time.process_time)
    reference, expected = _timed(lambda: theirs(needs), time.process_time)
    agree = float(np.mean(np.asarray(got) == np.asarray(expected)))
    times, single = reference / seconds, median(b / a for a, b in once)
    remark = (
        f"{np.asarray(got).size} dates, {agree:.2%} agree; {times:.0f} times as fast, {single:.0f} times for one sum"
    )
    return _row("cells", [seconds], [reference], remark)


def _grid_file(path: Path, cells: int) -> None:
    """Invented extremes of 30 years on a square grid, single precision, as a NetCDF file in tiles of 10 by 25."""
    import netCDF4

    rng = np.random.default_rng(3)
    columns = 100
    rows = cells // columns
    day = np.arange(10957)
    wave = 12.5 - 12 * np.cos(2 * np.pi * (day - 20) / 365.25)
    weather = wave + rng.normal(0, 4, day.size)
    with netCDF4.Dataset(path, "w") as file:
        for name, size in (("time", day.size), ("lat", rows), ("lon", columns)):
            file.createDimension(name, size)
        steps = file.createVariable("time", "i4", ("time",))
        steps.units, steps.standard_name, steps.calendar = "days since 1991-01-01", "time", "standard"
        steps[:] = day
        for name, values, unit in (
            ("lat", np.linspace(34, 41, rows), "degrees_north"),
            ("lon", np.linspace(-90, -80, columns), "degrees_east"),
        ):
            place = file.createVariable(name, "f8", (name,))
            place.units = unit
            place[:] = values
        for name, sign in (("tasmin", -1), ("tasmax", 1)):
            extreme = file.createVariable(name, "f4", ("time", "lat", "lon"), chunksizes=(day.size, 10, 25))
            extreme.units = "degC"
            for row in range(0, rows, 10):
                local = rng.normal(0, 1.5, (1, 10, columns)) - 0.7 * np.linspace(-3, 4, rows)[row : row + 10][:, None]
                noise = rng.normal(0, 1.5, (day.size, 10, columns))
                extreme[:, row : row + 10] = weather[:, None, None] + local + noise * 0.3 + sign * 6


def grid() -> str:
    """A region from file to file, and whether five times the cells cost five times as much."""
    import threading

    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY), "OMP_NUM_THREADS": "1"}
    asked = ["--cover", "crimson-clover", "--sown", "09-15", "--crop", "pumpkin", "--plant-by", "06-10"]
    lines, spent = [], {}
    for count in (2000, 10000):
        with tempfile.TemporaryDirectory() as folder:
            _grid_file(Path(folder, "grid.nc"), count)
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            begin = time.perf_counter()
            command = ["-m", "covercrop", "region", f"{folder}/grid.nc", "-o", f"{folder}/out.zarr", *asked]
            process = subprocess.Popen([sys.executable, *command], env=environment, stdout=subprocess.DEVNULL)
            most = [0]

            def watch(
                root: int = process.pid, most: list[int] = most, process: subprocess.Popen[bytes] = process
            ) -> None:
                while process.poll() is None:
                    most[0] = max(most[0], _memory(root))
                    time.sleep(0.3)

            watcher = threading.Thread(target=watch)
            watcher.start()
            status = process.wait()
            watcher.join()
            seconds = time.perf_counter() - begin
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
        if status:
            return f"grid    missing: it ends with status {status}"
        spent[count] = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        lines.append(
            f"grid    {count:>6} cells: {seconds:6.1f} s, {spent[count]:6.1f} s of processor, "
            f"{spent[count] / count * 1e3:5.2f} ms a cell, {most[0] / 2**30:.2f} GiB"
        )
    lines.append(f"grid    five times the cells cost {spent[10000] / spent[2000]:.2f} times as much")
    return "\n".join(lines)


def _memory(root: int) -> int:
    """Bytes held by a process and all below it, shared pages counted once [bytes]."""
    parents, sizes = {}, {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            stat = (entry / "stat").read_text().rsplit(")", 1)[1].split()
            parents[int(entry.name)] = int(stat[1])
            rollup = (entry / "smaps_rollup").read_text()
            sizes[int(entry.name)] = int(rollup.split("Pss:")[1].split()[0]) * 1024
        except (OSError, IndexError):
            continue
    family = {root}
    while grown := {child for child, parent in parents.items() if parent in family} - family:
        family |= grown
    return sum(sizes.get(member, 0) for member in family)


def many() -> str:
    """A file of 300 fields that share ten weather files, read, planned and shown."""
    with tempfile.TemporaryDirectory() as folder:
        _many_fields(Path(folder))
        environment = {**os.environ, "PYTHONPATH": str(REPOSITORY), "OMP_NUM_THREADS": "1"}
        command = [sys.executable, "-m", "covercrop", "ready", f"{folder}/fields.toml"]
        lines = []
        for _ in range(3):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            seconds, done = _timed(
                lambda: subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
            )
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            lines.append((after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, seconds))
            assert isinstance(done, subprocess.CompletedProcess)
            if done.returncode:
                return f"many    missing: {done.stderr.strip().splitlines()[-1]}"
    processor, seconds = min(lines)
    return f"many    300 fields: {seconds:.2f} s, {processor:.2f} s of processor (bar 5 s)"


def _many_fields(folder: Path) -> None:
    """Ten records of thirty years to 0.1 degree, and 300 fields that use them."""
    rng = np.random.default_rng(11)
    dates = np.arange(np.datetime64("1995-09-01"), np.datetime64("2026-04-21"))
    day = (dates - dates.astype("datetime64[Y]").astype("datetime64[D]")).astype(int)
    for number in range(10):
        mean = 12 + 0.2 * number - 12 * np.cos(2 * np.pi * (day - 20) / 365.25) + rng.normal(0, 4, day.size)
        rain = np.maximum(rng.normal(-2, 9, day.size), 0)
        rows = (f"{d},{m - 5:.1f},{m + 5:.1f},{r:.1f}" for d, m, r in zip(dates, mean, rain, strict=True))
        (folder / f"w{number}.csv").write_text("date,tmin,tmax,rain\n" + "\n".join(rows) + "\n")
    covers, crops = ("crimson-clover", "hairy-vetch", "winter-pea"), ("pumpkin", "summer-squash", "sweet-corn")
    text = "today = 2026-04-20\n"
    for number in range(300):
        text += (
            f'[[field]]\nname = "Field {number:03d}"\nlatitude = {36 + number / 100:.2f}\nlongitude = -84\n'
            f'[field.cover]\nspecies = "{covers[number % 3]}"\nsown = 2025-09-{5 + number % 20:02d}\n'
            f'[field.weather]\nfile = "w{number % 10}.csv"\n[field.crop]\nname = "{crops[number % 3]}"\n'
        )
    (folder / "fields.toml").write_text(text)


def report() -> str:
    """The page of the demonstration, written to a folder that is cleared away."""
    with tempfile.TemporaryDirectory() as folder:
        return _command("report", "report", "-o", str(Path(folder, "page.html")))


def sow() -> str:
    """The command for one field, and the computing in it."""
    with tempfile.TemporaryDirectory() as folder:
        demo = REPOSITORY / "data" / "demo"
        (Path(folder) / "weather.csv").write_bytes((demo / "weather.csv").read_bytes())
        text = (demo / "fields.toml").read_text(encoding="utf-8").split("[[field]]")
        fields = Path(folder) / "fields.toml"
        fields.write_text("[[field]]".join(text[:2]), encoding="utf-8")

        def remark() -> str:
            _compare()
            seconds = min(_timed(_compare, time.process_time)[0] for _ in range(REPEATS_CORE))
            most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
            return f"computing {seconds:.2f} s, at most {most:.0f} MB"

        return _command(
            "sow", "sow", str(fields), "--from", SOWN[0], "--to", SOWN[1], "--cover", *SOWN_COVERS,
            clock=_children, remark=remark,
        )  # fmt: skip


def read() -> str:
    """Thirty years of daily weather from a CSV file."""
    import pandas as pd

    from covercrop.weather.own_file import read_weather

    days = pd.date_range("1995-01-01", periods=11_000)
    mean = 12 - 10 * np.cos(2 * np.pi * days.day_of_year.to_numpy() / 365) + 4 * np.sin(np.arange(11_000) * 1.3)
    ours, reference = [], []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "weather.csv")
        pd.DataFrame({"date": days, "tmin": mean - 6, "tmax": mean + 6, "rain": 1.2}).to_csv(
            path, index=False, float_format="%.1f"
        )
        for _ in range(REPEATS_CORE):
            ours.append(_timed(lambda: read_weather(path))[0])
            reference.append(_timed(lambda: pd.read_csv(path, parse_dates=["date"]))[0])
    return _row("read", ours, reference, f"{days.size} days")


BENCHMARKS: dict[str, Callable[[], str]] = {
    "core": core,
    "ready": lambda: _command("ready", "ready"),
    "hindcast": lambda: _command("hindcast", "hindcast"),
    "report": report,
    "help": lambda: _command("help", "--help"),
    "many": many,
    "read": read,
    "cells": cells,
    "grid": grid,
    "sow": sow,
    "mixture": mixture,
    "dates": lambda: _twice("dates", {"dates": 38}, {"dates": 76}),
    "covers": lambda: _twice("covers", {"covers": 6}, {"covers": 12}),
    "years": lambda: _twice("years", {"last_year": 2012}, {"last_year": 2026}),
}


def main(names: list[str]) -> int:
    """Run the benchmarks named, or all, and print a table."""
    unknown = [name for name in names if name not in BENCHMARKS]
    if unknown:
        sys.stderr.write(f"no benchmark {', '.join(unknown)}; there are {', '.join(BENCHMARKS)}\n")
        return 2
    sys.stdout.write(f"{'name':<9}{'ours':>9}{'reference':>12}{'ratio':>7}{'bar':>7}  within\n")
    for name in names or BENCHMARKS:
        sys.stdout.write(BENCHMARKS[name]() + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
