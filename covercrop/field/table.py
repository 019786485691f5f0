"""One table of the field file, read strictly.

Every message names the file, the field, the key and the value found, and says
what would be right.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from types import MappingProxyType
from typing import Any

from covercrop.base.days import FIRST_YEAR, LAST_YEAR
from covercrop.base.errors import FieldFileError
from covercrop.field.checks import shown, wrong


def us_date(text: str) -> dt.date | None:
    """A date as Americans write it, the month first: 4/20/2026; None where it is none."""
    found = re.fullmatch(r"\s*(\d{1,2})[/-](\d{1,2})[/-](\d{4})\s*", text)
    if found is None:
        return None
    month, day, year = map(int, found.groups())
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


class Table:
    """One TOML table, with the words to say where something in it is wrong."""

    def __init__(self, where: str, table: Any, known: tuple[str, ...], *, us: bool = False) -> None:
        if not isinstance(table, dict):
            way_out = "write it once, with single brackets" if isinstance(table, list) else "write it as a table"
            raise FieldFileError(f"{where}: {shown(table)} is not one table; {way_out}")
        self.where = where
        self.table = table
        self.us = us  #: whether a date may be written as Americans do
        for key in table:
            if key not in known:
                near = get_close_matches(key, known, n=1)
                way_out = f"did you mean {near[0]!r}?" if near else f"known keys: {', '.join(known)}"
                raise FieldFileError(f"{where}: unknown key {key!r}; {way_out}")

    def fail(self, key: str, way_out: str) -> FieldFileError:
        """The error that a key holds something wrong."""
        return FieldFileError(f"{self.where}: {wrong(key, self.table.get(key), way_out)}")

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value: bool = self._take(key, lambda got: isinstance(got, bool), "write true or false", default)
        return value

    def whole(self, key: str, low: int, high: int, way_out: str, default: Any = ...) -> Any:
        """A whole number from low to high, both included."""
        value = self.number(key, low, high, way_out, default)
        if value is not None and value != int(value):
            raise self.fail(key, way_out)
        return value if value is None else int(value)

    def either(
        self,
        stem: str,
        units: tuple[tuple[str, float], ...],
        low: float,
        high: float,
        what: Mapping[str, str] = MappingProxyType({}),
    ) -> float | None:
        """A quantity that may be given in one of a few units, each a key of its own.

        Parameters
        ----------
        stem : str
            What the keys begin with.
        units : tuple of (str, float)
            What each key ends with, and its factor to the unit of ``low`` and
            ``high``, in which the answer is.
        low, high : float
        what : mapping of str to str
            What each unit is, for messages.

        Raises
        ------
        FieldFileError
            If it is given twice, or lies outside.
        """
        found, given = None, ""
        for unit, factor in units:
            key = f"{stem}_{unit}"
            words = what.get(unit, "")
            ends = low / factor, high / factor
            value = self.number(key, *ends, f"give {words}{ends[0]:.3g} to {ends[1]:.3g}", None)
            if value is None:
                continue
            if found is not None:
                raise self.fail(key, f"{given} is given too; keep one of them")
            found, given = value * factor, key
        return found

    def list_of(self, key: str, way_out: str) -> list[Any]:
        """What stands in a list, or in tables of the same name; empty where there is none."""
        value: list[Any] = self._take(key, lambda got: isinstance(got, list), way_out, [])
        return value

    def _take(self, key: str, is_right: Callable[[Any], bool], way_out: str, default: Any) -> Any:
        if key not in self.table:
            if default is ...:
                raise FieldFileError(f"{self.where}: {key!r} is missing; {way_out}")
            return default
        value = self.table[key]
        if not is_right(value):
            raise self.fail(key, way_out)
        return value

    def text(self, key: str, way_out: str, default: Any = ...) -> str:
        """Some words."""
        value: str = self._take(key, lambda got: isinstance(got, str) and bool(got.strip()), way_out, default)
        return value

    def choice(self, key: str, choices: tuple[str, ...], default: str) -> str:
        """One of a few words, however it is spelled in case and between words."""

        def spelled(got: Any) -> str:
            return got.casefold().replace(" ", "-").replace("_", "-") if isinstance(got, str) else ""

        value = self._take(key, lambda got: spelled(got) in choices, f"use one of {', '.join(choices)}", default)
        return spelled(value)

    def number(self, key: str, low: float, high: float, way_out: str, default: Any = ...) -> Any:
        """A number from low to high, both included."""

        def is_right(got: Any) -> bool:
            return isinstance(got, int | float) and not isinstance(got, bool) and low <= got <= high

        value = self._take(key, is_right, way_out, default)
        return value if value is None else float(value)

    def date(self, key: str, default: Any = ...) -> Any:
        """A date; text such as 4/20/2026 only where the file says that it is in US units."""

        def read(got: Any) -> Any:
            return us_date(got) if self.us and isinstance(got, str) else got

        day = read(
            self._take(
                key,
                lambda got: isinstance(read(got), dt.date) and not isinstance(got, dt.datetime),
                "write a date as 2026-04-20, without quotes" + (', or as "4/20/2026"' if self.us else ""),
                default,
            )
        )
        if day is not None and not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise self.fail(key, f"is too far off; give a day from {FIRST_YEAR} to {LAST_YEAR}")
        return day

    def below(self, key: str, known: tuple[str, ...], way_out: str = "", default: Any = ...) -> Table:
        """A table inside this one."""
        if key not in self.table:
            if default is ...:
                raise FieldFileError(f"{self.where}: the table [field.{key}] is missing; {way_out}")
            return Table(self.where, default, known, us=self.us)
        return Table(f"{self.where}: {key}", self.table[key], known, us=self.us)
