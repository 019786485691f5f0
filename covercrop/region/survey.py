"""A region asked from its input to its output."""

from __future__ import annotations

import datetime as dt
import json
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from covercrop.base.errors import RegionError, UsageError
from covercrop.base.spreadsheet import csv_table
from covercrop.base.version import __version__
from covercrop.region import question as questions
from covercrop.region import results, running
from covercrop.region.cells import no_answers
from covercrop.region.part import Part, alone
from covercrop.region.question import Question, as_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from covercrop.base.records import Units
    from covercrop.region.results import Arrays

GRID_ENDINGS = (".nc", ".zarr")
TABLE_ENDINGS = (".geojson", ".csv")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Survey:
    """A region that was asked.

    Attributes
    ----------
    out : pathlib.Path
        Where the answer lies.
    arrays : dict of str to numpy.ndarray
        Everything in it (:meth:`covercrop.region.cells.Answers.arrays`), in the shape of space.
    latitude, longitude : numpy.ndarray
        [degrees], in the shape of space.
    x, y : numpy.ndarray or None
        Along the last and the first dimension of a grid, in its own coordinates; None for stations.
    question : Question
    notes : tuple of str
    history : str
        Who made it from what, and when.
    """

    out: Path
    arrays: Arrays
    latitude: np.ndarray
    longitude: np.ndarray
    x: np.ndarray | None
    y: np.ndarray | None
    question: Question
    notes: tuple[str, ...]
    history: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """How a region is worked through.

    Attributes
    ----------
    scheduler : str or None
        Address of a cluster; None for processes on this machine.
    workers : int or None
        Number of those.
    progress : callable, optional
        Told how many blocks there are and how many were done before; gives a context with what to call for each one.
    say : callable, optional
        Told, in a line, what became of what an earlier run left.
    """

    scheduler: str | None = None
    workers: int | None = None
    progress: Callable[[int, int], AbstractContextManager[Callable[[int], None]]] = lambda _all, _done: nullcontext(
        lambda _number: None
    )
    say: Callable[[str], None] = lambda _line: None


def survey_region(
    source: str | Path,
    out: str | Path,
    *,
    cover: str,
    sown: str,
    crop: str,
    cultivar: str = "",
    terminate: str = "turn-under",
    method: str = "direct-seed",
    ground_cover: str = "bare",
    days_to_maturity: float | None = None,
    percentiles: Sequence[float] = (10.0, 50.0, 90.0),
    plant_by: str | None = None,
    dates: Literal["calendar", "season"] = "calendar",
    units: Units = "metric",
    work: Work | None = None,
) -> Survey:
    """The answer for every cell of a grid or every station of a table; ``covercrop region`` asks the same.

    Each of ``cover`` to ``ground_cover`` also takes ``from:NAME``, a variable of the grid (or a column of the table) in
    which each cell chooses for itself.  A run that was stopped goes on where it was when it is asked again.

    Parameters
    ----------
    source : str or Path
        NetCDF or Zarr with ``tasmin`` and ``tasmax`` in CF form, or a CSV table of stations.
    out : str or Path
        What is written: .nc or .zarr for a grid, .geojson or .csv for stations.
    cover, crop, cultivar : str
        What is sown, what follows, and the cultivar of the cover or its maturity group.
    sown : str
        A day of the year, ``09-15``, or a rule such as ``6w-before-freeze``.
    terminate, method, ground_cover : str
        How the cover is ended, how the crop is planted, and into what.
    days_to_maturity : float, optional
        Of the crop, from the seed packet [d], 20 to 250.
    percentiles : sequence of float
        Of the dates over years and draws, between 0 and 100, rising [%].
    plant_by : str, optional
        A day of the year, ``06-10``, for which the chance is given that the ground is plantable by then.
    dates : {"calendar", "season"}
        Whether dates are CF time, or days after sowing [d].
    units : {"metric", "us"}
        Of the weather files of a table of stations; a grid says its own.
    work : Work, optional
        On which processes, and whom to tell of the progress.

    Returns
    -------
    Survey
        Where the answer lies, and its arrays in the shape of space.

    Raises
    ------
    UsageError, ParameterError
        If something is asked that cannot be.
    RegionError
        If the input cannot be used, or the run cannot go on.

    References
    ----------
    NetCDF Climate and Forecast Metadata Conventions; RFC 7946 (GeoJSON).
    """
    running.check_installed()
    asked = questions.check(
        Question(
            cover=questions.choice(cover),
            crop=questions.choice(crop),
            sown=questions.sowing(sown),
            cultivar=questions.choice(cultivar),
            terminate=questions.choice(terminate),
            method=questions.choice(method),
            ground_cover=questions.choice(ground_cover),
            days_to_maturity=days_to_maturity,
            percentiles=tuple(percentiles),
            plant_by=None if plant_by is None else questions.month_day(plant_by),
        )
    )
    if days_to_maturity is not None and not 20 <= days_to_maturity <= 250:
        raise UsageError(f"`days_to_maturity` {days_to_maturity:g}: give the days on the seed packet, 20 to 250")
    path, place, how = Path(source), Path(out), work or Work()
    if how.workers is not None and how.workers < 1:
        raise UsageError(f"`workers` {how.workers}: give at least one")
    when = dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    history = f"{when} covercrop {__version__}: region {path.name} -o {place.name}"
    if path.suffix == ".csv":
        return ask_stations(path, place, asked, units, how, history=history)
    return ask_grid(path, place, asked, how, as_dates=dates == "calendar", history=history)


def ask_grid(path: Path, out: Path, question: Question, work: Work, *, as_dates: bool, history: str) -> Survey:
    """Ask every cell of a grid, and write what they answer.

    Parameters
    ----------
    path, out : pathlib.Path
    question : Question
    work : Work
    as_dates : bool
        Write CF time; else days after sowing.
    history : str
        Who made it from what, and when.

    Raises
    ------
    CovercropError
        If the input cannot be used, or the run cannot go on.
    """
    from dask.delayed import delayed

    from covercrop.region.grid import block_answers, open_grid

    _check_ending(out, GRID_ENDINGS)
    grid = open_grid(path, question)
    blocks, percentiles = grid.blocks(), len(question.percentiles)

    def like(number: int) -> Arrays:
        return no_answers(grid.latitude[blocks[number]].size, percentiles).arrays()

    def job(number: int) -> Any:
        where = blocks[number]
        lies = dict(zip(grid.dims, where, strict=True))
        lazy = grid.dataset.isel(lies)
        return delayed(block_answers)(
            lazy["tasmin"].data,
            lazy["tasmax"].data,
            grid.days,
            grid.unit,
            grid.latitude[where],
            question,
            {option: values[where] for option, values in grid.choices.items()},
        )

    with alone(out):
        part = Part(out, _asked(question, grid.identity, dates=as_dates, blocks=len(blocks)), like)
        _work_through(part, len(blocks), job, work)
        laid_out = ((where, part.load(number)) for number, where in enumerate(blocks))
        arrays = results.together(laid_out, grid.latitude.shape, percentiles)
        _check_answered(path, part, arrays, "cell")
        made = results.dataset(grid, question, arrays, history=history, as_dates=as_dates)
        part.finish(lambda whole: (results.write_zarr if out.suffix == ".zarr" else results.write_netcdf)(made, whole))
    x, y = (grid.dataset[dim].values if dim in grid.dataset.coords else None for dim in (grid.dims[-1], grid.dims[0]))
    return Survey(
        out=out,
        arrays=arrays,
        latitude=grid.latitude,
        longitude=grid.longitude,
        x=x if len(grid.dims) == 2 else None,
        y=y if len(grid.dims) == 2 else None,
        question=question,
        notes=grid.notes,
        history=history,
    )


def ask_stations(path: Path, out: Path, question: Question, units: Units, work: Work, *, history: str) -> Survey:
    """Ask every station of a table, and write what they answer.

    Parameters
    ----------
    path, out : pathlib.Path
    question : Question
    units : {"metric", "us"}
        Of the weather files.
    work : Work
    history : str

    Raises
    ------
    CovercropError
        If the input cannot be used, or the run cannot go on.
    """
    from dask.delayed import delayed

    from covercrop.region import places

    _check_ending(out, TABLE_ENDINGS)
    stations = places.read_table(path, question)
    groups = [slice(at, at + places.GROUP) for at in range(0, len(stations), places.GROUP)]
    identity, percentiles = places.identity(path, stations), len(question.percentiles)

    def like(number: int) -> Arrays:
        return no_answers(len(stations[groups[number]]), percentiles).arrays()

    def job(number: int) -> Any:
        return delayed(places.group_answers)(stations[groups[number]], units, percentiles)

    with alone(out):
        part = Part(out, _asked(question, identity, units=units, blocks=len(groups)), like)
        _work_through(part, len(groups), job, work)
        laid_out = (((where,), part.load(number)) for number, where in enumerate(groups))
        arrays = results.together(laid_out, (len(stations),), percentiles)
        _check_answered(path, part, arrays, "place")
        answered = results.rows(places.as_places(stations), question, arrays)
        if out.suffix == ".geojson":
            document = results.geojson(answered, question, history)
            part.finish(lambda whole: _write(whole, json.dumps(document, indent=1, allow_nan=False) + "\n"))
        else:
            part.finish(lambda whole: _write_table(whole, answered))
    return Survey(
        out=out,
        arrays=arrays,
        latitude=np.array([station.latitude for station in stations]),
        longitude=np.array([station.longitude for station in stations]),
        x=None,
        y=None,
        question=question,
        notes=(),
        history=history,
    )


def _check_ending(out: Path, endings: tuple[str, ...]) -> None:
    if out.suffix not in endings:
        kind = "a grid" if endings == GRID_ENDINGS else "a table of stations"
        raise UsageError(f"`out` {out}: the answers of {kind} are written as {' or '.join(endings)}; name it so")


def _check_answered(path: Path, part: Part, arrays: Arrays, unit: str) -> None:
    """Refuse to write an answer that holds none."""
    found = results.counts(arrays)
    if "answered" in found:
        return
    part.discard()
    most = max(found, key=lambda status: (status != "no_data", found[status]))
    reason = results.why(found[most], most)
    raise RegionError(f"{path}: no {unit} can be answered: {reason}; mend the input, or ask otherwise")


def _asked(question: Question, identity: str, **more: Any) -> dict[str, Any]:
    """All that an answer depends on."""
    return {
        "input": identity,
        "question": as_words(question),
        "version": __version__,
        "parameters": results.parameter_fingerprint(),
        **more,
    }


def _work_through(part: Part, count: int, job: Callable[[int], Any], work: Work) -> None:
    missing = part.missing(count)
    if thrown := part.thrown_away:
        more = f" and {len(thrown) - 1} more" if len(thrown) > 1 else ""
        work.say(f"{part.folder}: {thrown[0]}{more} damaged or not of this run; thrown away, and worked out again")
    jobs = {number: job(number) for number in missing}
    with work.progress(count, count - len(missing)) as done:
        if work.scheduler is None and min(len(jobs), running.processes(work.workers)) <= 1:
            running.run_here(part, jobs, done)
            return
        with running.workers(work.scheduler, min(len(jobs), running.processes(work.workers))) as client:
            running.run(client, part, jobs, done)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def _write_table(path: Path, answered: Sequence[dict[str, Any]]) -> None:
    table = csv_table(list(answered[0]), (list(row.values()) for row in answered))
    path.write_text(f"{table}\n", encoding="utf-8", newline="")
