"""Dates, odds, temperatures and names as people say them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units

if TYPE_CHECKING:
    from covercrop.base.records import DateRange, Source


def short_source(source: Source) -> str:
    """A source by its first author and year."""
    first = source.authors.split(",")[0].split(" and ")[0].strip()
    if first.startswith(("Authors not", "A seed house")):
        first = source.title.split("(")[0].strip()
    return first if source.year == "undated" else f"{first} {source.year}"


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

#: What each date of the chain is called, in the order in which it is shown.
DATE_LABELS = {
    "emergence": "emergence",
    "bud": "buds visible",
    "first_flower": "first flowers open",
    "bloom_25": "25% bloom",
    "bloom_50": "50% bloom",
    "end_of_bloom": "end of bloom",
    "window_open": "window opens",
    "window_close": "window closes",
    "viable_seed": "first viable seed",
    "residue": "residue broken down",
    "disease": "seedling disease past",
    "maggot": "seedcorn maggot past",
    "soil_warm": "soil at {soil}",
    "frost": "frost likely past",
    "earliest_planting": "earliest safe planting",
    "latest_planting": "latest planting to ripen",
}


def day_month(day: np.datetime64, year: int | None = None) -> str:
    """A date as ``5 May``; with its year where that is not ``year``.

    ``-`` stands for a date that is not reached.
    """
    if np.isnat(day):
        return "-"
    iso = str(day)
    text = f"{int(iso[8:10])} {MONTHS[int(iso[5:7]) - 1]}"
    return text if year is None or int(iso[:4]) == year else f"{text} {iso[:4]}"


def weekday(day: np.datetime64, year: int | None = None) -> str:
    """A date as ``Tue 5 May``; with its year where that is not ``year``."""
    return f"{WEEKDAYS[(int(day.astype(int)) + 3) % 7]} {day_month(day, year)}"


def span(start: np.datetime64, end: np.datetime64) -> str:
    """Two dates as ``2-8 May`` or ``28 Apr - 4 May``."""
    if str(start)[:7] == str(end)[:7]:
        return f"{int(str(start)[8:10])}-{day_month(end)}"
    return f"{day_month(start)} - {day_month(end)}"


def percent(share: float) -> str:
    """A share as whole percent, never a false 0 or 100."""
    if 0 < share < 0.005:
        return "under 1%"
    if 0.995 < share < 1:
        return "over 99%"
    return f"{share:.0%}"


def chance(share: float) -> str:
    """A chance as whole percent; a count of members makes nothing certain or impossible."""
    return percent(min(max(share, 0.001), 0.999))


def temperature(celsius: float, *, us: bool) -> str:
    """A temperature with its unit, whole degrees, and never -0."""
    degrees = float(np.round(units.fahrenheit_from_celsius(celsius) if us else celsius)) + 0.0
    return f"{degrees:.0f} {'°F' if us else '°C'}"


def interval(dates: DateRange, year: int) -> tuple[str, str, str]:
    """Early, likely and late date of an 80 % interval, as text; only the likely one where they are one day."""
    early, likely, late = (day_month(day, year) for day in (dates.early, dates.median, dates.late))
    return ("", likely, "") if early == likely == late else (early, likely, late)
