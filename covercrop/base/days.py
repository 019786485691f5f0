"""Days as callers give them, taken strictly."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, TypeAlias

from covercrop.base.errors import UsageError

if TYPE_CHECKING:
    import numpy as np

#: What is taken for a day: a date, a numpy or pandas one at midnight, or text such as 2026-04-20.
Day: TypeAlias = "dt.date | np.datetime64 | str"

#: Years outside these are slips of the pen.
FIRST_YEAR, LAST_YEAR = 1800, 2100


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
