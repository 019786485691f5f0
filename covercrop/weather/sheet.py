"""The text of a weather file: encoding, layout, dates, and where a value stands."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import NoReturn

import numpy as np
import pandas as pd

from covercrop.base.errors import WeatherFileError
from covercrop.base.reading import read_whole

#: Written by loggers and archives where there is no reading.
NO_READING = [
    "",
    "NA",
    "N/A",
    "NaN",
    "nan",
    "null",
    "M",
    "-",
    "--",
    "-99",
    "-99.9",
    "-999",
    "-999.9",
    "-9999",
    "-9999.0",
    "999",
    "999.9",
    "9999",
    "9999.0",
]
#: Years outside these are slips of the pen.
FIRST_YEAR, LAST_YEAR = 1750, 2100

EXAMPLE = "date,tmin,tmax"
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]00:00(?::00)?)?")


@dataclass(frozen=True, slots=True)
class Sheet:
    """The text of a weather file and how it is laid out.

    Attributes
    ----------
    name : str
        Of the file, for messages.
    text : str
    delimiter : str
    header : tuple of str
        Titles of the columns.
    header_line : int
        Where they stand; the first line is 1.
    """

    name: str
    text: str
    delimiter: str
    header: tuple[str, ...]
    header_line: int

    def fail(self, message: str) -> NoReturn:
        """Refuse the file, naming it."""
        raise WeatherFileError(f"{self.name}: {message}") from None

    @property
    def body(self) -> str:
        """The lines below the header."""
        return "".join(self.text.split("\n", self.header_line)[self.header_line :])

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Line number and cells of each row that is not blank.  Slow: for messages."""
        reader = csv.reader(io.StringIO(self.body), delimiter=self.delimiter, skipinitialspace=True)
        line = self.header_line + 1  # on which the row begins: one with a stray quotation mark runs on
        try:
            for row in reader:
                if any(cell.strip() for cell in row):
                    yield line, [cell.strip() for cell in row]
                line = self.header_line + reader.line_num + 1
        except csv.Error:
            self.fail(f"line {line} opens a quotation mark that is never closed; delete it")

    def check_quotes(self) -> None:
        """Refuse a cell that goes on behind its closing quotation mark, such as "1"2."""
        reader = csv.reader(io.StringIO(self.body), delimiter=self.delimiter, skipinitialspace=True, strict=True)
        line = self.header_line + 1
        try:
            for _ in reader:
                line = self.header_line + reader.line_num + 1
        except csv.Error as error:
            if "expected after" in str(error):  # of the others rows() says what they are
                self.fail(f"line {line} holds a quotation mark that is out of place; delete it")

    def line_of(self, position: int, text: str) -> int:
        """Line on which a column first holds a text."""
        for line, row in self.rows():
            if (row[position] if position < len(row) else "").lower() == text.lower():
                return line
        return self.header_line


def read_text(path: Path, example: str = EXAMPLE) -> str:
    """The text of a file, if it is text."""
    try:
        raw = read_whole(path)
    except FileNotFoundError:
        near = get_close_matches(path.name, [entry.name for entry in _siblings(path)], n=1)
        way_out = f"did you mean {near[0]}?" if near else "check the name and the folder"
        raise WeatherFileError(f"{path}: no such file; {way_out}") from None
    except IsADirectoryError:
        raise WeatherFileError(f"{path}: this is a folder; name the CSV file in it") from None
    except OSError as error:
        raise WeatherFileError(f"{path}: cannot be read ({error.strerror}); check its name and permissions") from None
    if not raw.strip():
        raise WeatherFileError(f"{path.name}: the file is empty; it needs a header line such as {example}")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise WeatherFileError(f'{path.name}: the file is in UTF-16; save it as "CSV UTF-8"')
    if raw.startswith(b"PK\x03\x04") or b"\0" in raw:
        raise WeatherFileError(f"{path.name}: this is not a text file; export the sheet or the logger as CSV")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise WeatherFileError(
            f"{path.name}: line {line} holds the byte 0x{raw[error.start]:02x}, which is not UTF-8; "
            'save the file as "CSV UTF-8"'
        ) from None
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _siblings(path: Path) -> list[Path]:
    try:
        return list(path.parent.iterdir())
    except OSError:
        return []


def layout(name: str, text: str, example: str = EXAMPLE) -> Sheet:
    """Find the header line and the delimiter; lines before it may start with #."""
    lines = enumerate(text.split("\n"), start=1)
    number, line = next(((at, line) for at, line in lines if line.strip() and not line.startswith("#")), (0, ""))
    if not number:
        raise WeatherFileError(f"{name}: only comments in it; it needs a header line such as {example}")
    delimiter = next((mark for mark in "\t;," if mark in line), None)
    if delimiter is None:
        raise WeatherFileError(
            f"{name}: line {number}, {line.strip()[:40]!r}, is no header of several columns; "
            f"it needs one such as {example}"
        )
    header = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    header = [title.strip() for title in header]
    if header[0][:1].isdigit():
        raise WeatherFileError(
            f"{name}: line {number} starts with {header[0]!r} and not with names of columns; "
            f"put a header such as {example} above it"
        )
    return Sheet(name, text, delimiter, tuple(header), number)


def dates(sheet: Sheet, texts: pd.Series[str], position: int) -> pd.DatetimeIndex:
    """The days of a column of ISO dates; any other form is refused."""
    try:
        days = pd.DatetimeIndex(pd.to_datetime(texts, format="%Y-%m-%d"))
    except ValueError:
        plain = [match[1] if (match := _DATE.fullmatch(str(text).strip())) else None for text in texts]
        try:
            days = pd.DatetimeIndex(pd.to_datetime(pd.Series(plain), format="%Y-%m-%d"))
        except ValueError:
            days = pd.DatetimeIndex(pd.to_datetime(pd.Series(plain), format="%Y-%m-%d", errors="coerce"))
    wrong = np.asarray(days.isna() | (days.year < FIRST_YEAR) | (days.year > LAST_YEAR))
    if wrong.any():
        text = texts.iloc[int(np.flatnonzero(wrong)[0])]
        text = "" if pd.isna(text) else str(text).strip()
        why = "is no date"
        if re.fullmatch(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}", text):
            why = "is in no order that is safe to guess"
        elif re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            why = "is not in the calendar" if days[wrong].isna()[0] else "is too far off"
        elif re.match(r"\d{4}-\d{2}-\d{2}[T ]", text):
            why = "is a time of day, and one row a day is needed"
        sheet.fail(
            f"line {sheet.line_of(position, text)}, column {sheet.header[position]!r}: {text!r} {why}; "
            "write dates as 2026-04-05 (in a spreadsheet, give the column the format yyyy-mm-dd)"
        )
    return days


def changed(path: Path) -> str:
    """Day on which a file was last written, as an ISO date."""
    try:
        return date.fromtimestamp(path.stat().st_mtime).isoformat()
    except (OSError, ValueError, OverflowError):  # gone since, or a time beyond the calendar
        return ""
