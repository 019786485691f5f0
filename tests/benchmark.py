"""Speed, as ratios measured in one run: ``python tests/benchmark.py [core] [ready] [hindcast] ... [help]``.

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
sow
    ``python -m covercrop sow`` for 75 dates and 5 covers on one field with 29 past years, against the same, by
    processor time; with the seconds of its own computing and the most memory that it takes.
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

from covercrop.degree_days import TOLERANCE, accumulate, crossing, degree_days  # noqa: E402  the tree this script is in

Array = NDArray[np.float64]

STATIONS, YEARS, BASE = 200, 40, 4.0
SUMS = np.array([200.0, 500.0, 900.0, 1300.0, 1800.0])
REPEATS_CORE, REPEATS_COMMAND = 9, 11
BARS = {
    "core": 1.3,
    "ready": 2.5,
    "hindcast": 6.0,
    "report": 5.0,
    "help": 0.6,
    "sow": 2.5,
    "dates": 2.2,
    "covers": 2.5,
    "years": 2.2,
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
    from covercrop.autumn import plan_autumn
    from covercrop.field_weather import weather_of
    from covercrop.parameters import cover_names
    from covercrop.resources import data_path
    from covercrop.season import read_fields

    file = read_fields(data_path("demo", "fields.toml", beside=("weather.csv",)))
    assert file.today is not None
    names = (*SOWN_COVERS, *(name for name in cover_names() if name not in SOWN_COVERS))
    start = np.datetime64(f"{last_year}-{SOWN[0][5:]}")
    return plan_autumn(
        file.fields[0],
        weather_of(file.fields[0], file.today),
        np.datetime64(f"{last_year}-04-20"),
        covers=names[:covers],
        start=start,
        end=start + np.timedelta64(dates - 1, "D"),
    )


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


BENCHMARKS: dict[str, Callable[[], str]] = {
    "core": core,
    "ready": lambda: _command("ready", "ready"),
    "hindcast": lambda: _command("hindcast", "hindcast"),
    "report": report,
    "help": lambda: _command("help", "--help"),
    "sow": sow,
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
