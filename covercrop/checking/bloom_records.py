"""Reading a file of bloom records: one row for each time that a stage was seen.

A file is read as a whole or refused in one line that names the row, the value
and what to do; of a file with one bad row nothing is used.
"""

from __future__ import annotations

import datetime as dt
import re
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, TypeVar, cast

import numpy as np

from covercrop.base.days import date_of
from covercrop.base.errors import CovercropError, ParameterError, RecordsError, WeatherFileError
from covercrop.checking.bloom_fit import Season
from covercrop.checking.cultivar_fit import BloomRecord, calibrate
from covercrop.models import bbch
from covercrop.models.daylength import day_length
from covercrop.parameters import catalogue
from covercrop.parameters.own_bloom import write_calibration
from covercrop.weather.outlook import lead_of
from covercrop.weather.own_file import read_weather
from covercrop.weather.record import Record, record_of
from covercrop.weather.sheet import layout, read_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from covercrop.base.days import Day
    from covercrop.base.records import Units
    from covercrop.checking.cultivar_fit import Calibrated

Value = TypeVar("Value")

NEEDED = ("place", "latitude", "cover", "sown", "stage", "date", "weather")
OPTIONAL = ("cultivar", "units", "note")
EXAMPLE = ",".join(NEEDED)

#: Longest season that a record may tell of; later the sowing year is a slip of the pen [d].
LONGEST = 400

#: Stages that a record may name: from visible buds to the end of bloom.
STAGES = (bbch.BBCH["bud"], bbch.BBCH["end_of_bloom"])

_STAGE = re.compile(r"(?:bbch\s*(?P<code>\d{1,2})|(?P<percent>\d{1,3}(?:[.,]\d+)?)\s*%(?:\s*bloom)?)", re.IGNORECASE)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_YEARS = (1800, 2100)


def calibrate_bloom(records: str | Path, out: str | Path | None = None, *, today: Day | None = None) -> Calibrated:
    """Own bloom records turned into own numbers for one cultivar; ``covercrop calibrate`` shows them.

    Parameters
    ----------
    records : str or Path
        A CSV file, as :func:`read_bloom_records` takes it.
    out : str or Path, optional
        Where to keep the numbers, for ``calibration`` in a field file; an earlier calibration there is replaced.
    today : date, optional
        After which nothing can have been seen; that of this machine's clock by default.

    Returns
    -------
    Calibrated
        The fitted numbers [degC d, h], how each record is missed [d], and what the fit is worth at a place left out.

    Raises
    ------
    RecordsError
        If the file cannot be used, or holds too few records.
    ParameterError
        If something else stands in the place of ``out``, or it cannot be written.
    """
    path = Path(records)
    fitted = calibrate(
        read_bloom_records(path, dt.date.today() if today is None else date_of(today, "today")), path.name
    )
    if out is not None:
        write_calibration(Path(out), fitted.calibration)
    return fitted


def read_bloom_records(path: Path, today: dt.date) -> list[BloomRecord]:
    """The records of a file.

    Parameters
    ----------
    path : pathlib.Path
        A CSV file with the columns :data:`NEEDED`, in any order, and where
        there are some :data:`OPTIONAL`.  A stage is a share in bloom, ``25%``,
        or ``BBCH 61``; a weather file is named relative to this file, and is in
        the ``units`` of its row, metric if none are given.
    today : datetime.date
        After which nothing can have been seen.

    Raises
    ------
    RecordsError
        If anything in it is not what it should be.
    """
    try:
        sheet = layout(path.name, read_text(path, EXAMPLE), EXAMPLE)
        rows = list(sheet.rows())
    except WeatherFileError as error:
        raise RecordsError(str(error)) from None
    columns = _columns(path.name, sheet.header)
    if not rows:
        raise RecordsError(f"{path.name}: no record below the header; add a line for each time that a stage was seen")
    reader = _Reader(path, columns, today, comma=sheet.delimiter == ";")
    return [reader.record(line, cells) for line, cells in rows]


def _columns(name: str, header: tuple[str, ...]) -> dict[str, int]:
    known = (*NEEDED, *OPTIONAL)
    columns: dict[str, int] = {}
    for position, title in enumerate(header):
        key = title.casefold()
        if key not in known:
            near = get_close_matches(key, known, n=1)
            way_out = f"did you mean {near[0]!r}?" if near else f"known columns: {', '.join(known)}"
            raise RecordsError(f"{name}: unknown column {title!r}; {way_out}")
        if key in columns:
            raise RecordsError(f"{name}: two columns are named {key!r}; keep one of them")
        columns[key] = position
    if missing := [key for key in NEEDED if key not in columns]:
        raise RecordsError(f"{name}: column {missing[0]!r} is missing; the header needs {EXAMPLE}")
    return columns


class _Reader:
    """What is the same for all rows, and what earlier rows said."""

    def __init__(self, path: Path, columns: dict[str, int], today: dt.date, *, comma: bool) -> None:
        self.path = path
        self.columns = columns
        self.today = today
        self.comma = comma
        self.line = 0
        self.cells: list[str] = []
        self.weather: dict[tuple[Path, str], Record] = {}
        self.first: BloomRecord | None = None
        self.latitudes: dict[str, tuple[float, int]] = {}
        self.seen: dict[tuple[str, ...], int] = {}

    def fail(self, key: str, way_out: str) -> NoReturn:
        raise RecordsError(f"{self.path.name}: line {self.line}: {key} = {self.cell(key)!r}: {way_out}") from None

    def cell(self, key: str) -> str:
        position = self.columns.get(key, len(self.cells))
        return self.cells[position] if position < len(self.cells) else ""

    def record(self, line: int, cells: list[str]) -> BloomRecord:
        self.line, self.cells = line, cells
        if len(cells) > len(self.columns) and any(cells[len(self.columns) :]):
            raise RecordsError(
                f"{self.path.name}: line {line} has {len(cells)} values under {len(self.columns)} columns; put a text "
                "that holds the separator in quotation marks"
            )
        place = self.cell("place") or self.fail("place", "name the place")
        latitude = self._latitude(place)
        cover, cultivar = self._cover()
        sown, date = self._date("sown"), self._date("date")
        if date <= sown:
            self.fail("date", f"is not after sowing on {sown}")
        if (date - sown).days > LONGEST:
            self.fail("date", f"is more than {LONGEST} days after sowing on {sown}; check the two years")
        code = self._stage()
        self._once(place, str(sown), self.cell("stage").casefold(), str(date))
        found = BloomRecord(
            line=line,
            cover=cover,
            cultivar=cultivar,
            sown=sown,
            date=date,
            stage=" ".join(self.cell("stage").split()),
            season=self._season(place, latitude, sown, date, code),
        )
        self.first = self.first or found
        return found

    def _latitude(self, place: str) -> float:
        text = self.cell("latitude")
        try:
            latitude = float(text.replace(",", ".") if self.comma else text)
        except ValueError:
            self.fail("latitude", "is not a number; give degrees north of the equator, such as 37.6")
        if not -90 <= latitude <= 90:
            self.fail("latitude", "give degrees north of the equator, -90 to 90")
        before, line = self.latitudes.setdefault(place, (latitude, self.line))
        if before != latitude:
            self.fail("latitude", f"line {line} puts {place} at {before:g}; mend one, or give the places two names")
        return latitude

    def _cover(self) -> tuple[str, str]:
        name = self.cell("cover") or self.fail("cover", 'name the cover, such as "crimson-clover"')
        cover = self._named(lambda: catalogue.cover(name)).key
        cultivar = " ".join(self.cell("cultivar").split())
        if self.first and cover != self.first.cover:
            self.fail("cover", f"the rows above are of {self.first.cover}; keep one cover to a file")
        if self.first and cultivar.casefold() != self.first.cultivar.casefold():
            above = repr(self.first.cultivar) if self.first.cultivar else "no named cultivar"
            self.fail("cultivar", f"the rows above are of {above}; keep one cultivar to a file")
        return cover, self.first.cultivar if self.first else cultivar

    def _named(self, work: Callable[[], Value]) -> Value:
        try:
            return work()
        except ParameterError as error:
            raise RecordsError(f"{self.path.name}: line {self.line}: {error}") from None

    def _date(self, key: str) -> dt.date:
        text = self.cell(key)
        if not _DATE.fullmatch(text):
            self.fail(key, "write a date as 2026-04-20")
        try:
            day = dt.date.fromisoformat(text)
        except ValueError:
            self.fail(key, "is not in the calendar")
        if not _YEARS[0] <= day.year <= _YEARS[1]:
            self.fail(key, f"is too far off; give a day from {_YEARS[0]} to {_YEARS[1]}")
        if day > self.today:
            self.fail(key, f"is after {self.today}, today; mend the date")
        return day

    def _stage(self) -> float:
        found = _STAGE.fullmatch(self.cell("stage"))
        if not found:
            self.fail("stage", "write the share in bloom as 25%, or the BBCH stage as BBCH 61")
        if found["code"]:
            code = float(found["code"])
            if not STAGES[0] <= code <= STAGES[1]:
                self.fail(
                    "stage", f"give a stage from visible buds to the end of bloom, BBCH {STAGES[0]:g} to {STAGES[1]:g}"
                )
            return code
        percent = float(found["percent"].replace(",", "."))
        if not 0 < percent <= 100:
            self.fail("stage", "give more than 0% and no more than 100%; nothing in bloom dates no stage")
        return bbch.bbch_of_percent(percent)

    def _once(self, *what: str) -> None:
        before = self.seen.setdefault(what, self.line)
        if before != self.line:
            raise RecordsError(
                f"{self.path.name}: line {self.line}: says the same as line {before} ({', '.join(what)}); keep one of "
                "them"
            )

    def _season(self, place: str, latitude: float, sown: dt.date, date: dt.date, code: float) -> Season:
        record = self._weather()
        start, seen = np.datetime64(sown, "D"), np.datetime64(date, "D")
        begin, end = record.position(start), record.position(seen)
        if begin < 0:
            self.fail(
                "weather", f"begins on {record.first}, after sowing on {sown}; give a record that reaches back to it"
            )
        known = record.usable & ~record.forecast
        if end >= known.size:
            self.fail("weather", f"ends on {record.day(known.size - 1)}, before {date}; bring it up to date")
        if not known[begin : end + 1].all():
            hole = record.day(begin + int(np.argmin(known[begin : end + 1])))
            self.fail("weather", f"has a gap from {hole} that is too long to fill; complete the record")
        rest = known[begin : begin + LONGEST + 1]  # the day of sowing and the last one among them
        days = rest.size if rest.all() else int(np.argmin(rest))
        tmean = ((record.tmin + record.tmax) / 2)[begin : begin + days]
        calendar = start + np.arange(days)
        year_day = (calendar - calendar.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.float64) + 1
        return Season(
            site=place,
            latitude=latitude,
            tmean=tmean,
            day_length=day_length(latitude, year_day),
            observed=float(end - begin),
            year_day=date.timetuple().tm_yday,
            code=code,
            lead=lead_of(record, begin),
        )

    def _weather(self) -> Record:
        units = self.cell("units").casefold() or "metric"
        if units not in ("metric", "us"):
            self.fail("units", "use metric or us, for the weather file of the row")
        name = self.cell("weather") or self.fail("weather", "name the weather file, relative to this file")
        key = (self.path.parent / name, units)
        if key not in self.weather:
            try:
                self.weather[key] = record_of(read_weather(key[0], cast("Units", units)))
            except CovercropError as error:
                raise RecordsError(f"{self.path.name}: line {self.line}: {error}") from None
        return self.weather[key]
