"""Kinds of value that a table may hold: what is believed of one, the way out where it is not so, what is made of it.

Each is a hook as cattrs has them: it takes the value and the type of its attribute.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from operator import mul
from types import MappingProxyType
from typing import Any

from covercrop.base.days import FIRST_YEAR, LAST_YEAR, us_date


class UnfitError(ValueError):
    """A value is not what it should be; the text is the way out, where the record has no words for it."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number from low to high, both included, and the way to what the record holds; a whole one where that is int."""

    low: float
    high: float
    way_out: str
    inner: Callable[[float], float] = float

    def __call__(self, got: Any, _: Any = None) -> float:
        """The number as the record holds it."""
        if isinstance(got, bool) or not isinstance(got, int | float) or not self.low <= got <= self.high:
            raise UnfitError(self.way_out)
        if self.inner is int and got != int(got):
            raise UnfitError(self.way_out)
        return self.inner(float(got))


def in_units(
    stem: str,
    units: Mapping[str, float],
    low: float,
    high: float,
    words: Mapping[str, str] = MappingProxyType({}),
) -> dict[str, Number]:
    """The keys of a quantity that may be given in one of a few units.

    Parameters
    ----------
    stem : str
        What the keys begin with.
    units : mapping of str to float
        What each key ends with, and its factor to the unit of ``low`` and ``high``, which is that of the record.
    low, high : float
    words : mapping of str to str
        What each unit is, for messages.
    """
    found = {}
    for unit, factor in units.items():
        least, most = low / factor, high / factor
        way_out = f"give {words.get(unit, '')}{float(f'{least:.3g}'):,g} to {float(f'{most:.3g}'):,g}"
        found[f"{stem}_{unit}"] = Number(least, most, way_out, partial(mul, factor))
    return found


@dataclass(frozen=True, slots=True)
class Text:
    """Some words."""

    way_out: str

    def __call__(self, got: Any, _: Any = None) -> str:
        """The words as they stand."""
        if not isinstance(got, str) or not got.strip():
            raise UnfitError(self.way_out)
        return got


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words, however it is spelled in case and between words."""

    choices: tuple[str, ...]

    @property
    def way_out(self) -> str:
        """All of them."""
        return f"use one of {', '.join(self.choices)}"

    def __call__(self, got: Any, _: Any = None) -> str:
        """The word as the choices have it."""
        spelled = got.casefold().replace(" ", "-").replace("_", "-") if isinstance(got, str) else ""
        if spelled not in self.choices:
            raise UnfitError(self.way_out)
        return spelled


@dataclass(frozen=True, slots=True)
class Listed:
    """A list, whatever stands in it."""

    way_out: str

    def __call__(self, got: Any, _: Any = None) -> tuple[Any, ...]:
        """What stands in it."""
        if not isinstance(got, list):
            raise UnfitError(self.way_out)
        return tuple(got)


@dataclass(frozen=True, slots=True)
class Flag:
    """True or false."""

    way_out: str = "write true or false"

    def __call__(self, got: Any, _: Any = None) -> bool:
        """The one or the other."""
        if not isinstance(got, bool):
            raise UnfitError(self.way_out)
        return got


@dataclass(frozen=True, slots=True)
class Date:
    """A date; text such as 4/20/2026 only where the file says that it is in US units."""

    us: bool

    @property
    def way_out(self) -> str:
        """How to write one."""
        return "write a date as 2026-04-20, without quotes" + (', or as "4/20/2026"' if self.us else "")

    def __call__(self, got: Any, _: Any = None) -> dt.date:
        """The day."""
        day = us_date(got) if self.us and isinstance(got, str) else got
        if not isinstance(day, dt.date) or isinstance(day, dt.datetime):
            raise UnfitError(self.way_out)
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise UnfitError(f"is too far off; give a day from {FIRST_YEAR} to {LAST_YEAR}")
        return day


def as_given(got: Any, _: Any = None) -> Any:
    """Whatever stands there: the record looks at it itself."""
    return got
