"""Days as callers give them, taken strictly."""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING, TypeAlias

from covercrop.base.errors import UsageError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from covercrop.base.arrays import Array, Days

#: What is taken for a day: a date, a numpy or pandas one at midnight, or text such as 2026-04-20.
Day: TypeAlias = "dt.date | np.datetime64 | str"

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

#: As few letters of a weekday tell it from the others.
_FEWEST_LETTERS = 3

#: Years outside these are slips of the pen.
FIRST_YEAR, LAST_YEAR = 1800, 2100


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


def day_of_year(days: Days) -> Array:
    """Day of the year of each day, 1 on 1 January."""
    return (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype("float64") + 1


def date_of(value: Day, argument: str) -> dt.date:
    """A day that a caller gives.

    Parameters
    ----------
    value : datetime.date, numpy.datetime64 or str
        Text is ISO, 2026-04-20; a time of day is refused, but for midnight.
    argument : str
        Its name, for the message.

    Raises
    ------
    UsageError
        If it is no day, or one before 1800 or after 2100.
    """
    if type(value) is dt.date:
        day = value
    else:
        try:
            moment = dt.datetime.fromisoformat("" if isinstance(value, int | float) else str(value))
        except ValueError:
            raise UsageError(f"`{argument}` = {value!r} is no day; give a date, such as 2026-04-20") from None
        if moment != dt.datetime.combine(moment.date(), dt.time(), moment.tzinfo):
            raise UsageError(f"`{argument}` = {value!r} has a time of day; give the date alone, such as 2026-04-20")
        day = moment.date()
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise UsageError(f"`{argument}` = {day} is too far off; give a day from {FIRST_YEAR} to {LAST_YEAR}")
    return day


def day_of(value: Day, argument: str) -> np.datetime64:
    """A day that a caller gives, as the models take it; takes and raises what :func:`date_of` does."""
    import numpy as np

    return np.datetime64(date_of(value, argument), "D")


def weekday(days: Days) -> NDArray[np.int64]:
    """Number of the weekday of each day, Monday being 0."""
    return (days.astype("datetime64[D]").astype("int64") + 3) % 7  # 1 January 1970 was a Thursday


def weekday_named(value: object, argument: str) -> str:
    """A weekday that a caller names, in full or by its first letters.

    Raises
    ------
    UsageError
        If it is none.
    """
    text = value.strip().lower() if isinstance(value, str) else ""
    found = [day for day in WEEKDAYS if len(text) >= _FEWEST_LETTERS and day.startswith(text)]
    if not found:
        raise UsageError(f"{argument} = {value!r} is no weekday; name it in full or by three letters, such as sat")
    return found[0]
