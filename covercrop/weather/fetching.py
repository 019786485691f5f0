"""One station's record, from what is kept of it and what the server answers.

A server that fails, one that is silent and one that has nothing look alike
in the rows that come; they are told apart here by the failures that come with
an answer, and by the years asked for that did not come.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.errors import OfflineError, StationError, WeatherFileError
from covercrop.records import DailyWeather, Station
from covercrop.weather.store import Days, Kept, Values, age_notes, credit, is_fresh, merge, save, year_of, years_of
from covercrop.weather.table import daily_weather

#: Years asked for at once; the client refuses more than 30, and what came before an outage is kept.
YEARS_AT_ONCE = 5
#: Days of forecast rows asked for.
FORECAST_DAYS = 14


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """What one request brought.

    Attributes
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
    readings : numpy.ndarray, shape (3, day)
        Minimum, maximum [degC] and rain [mm].
    attribution : str
    failures : tuple of str
        What went wrong on the way; empty where the server answered, be it
        that there is nothing.
    """

    days: Days
    readings: Values
    attribution: str = ""
    failures: tuple[str, ...] = ()


#: Asks for a station's days from the first to the last: observed ones, or those of models.
Ask = Callable[[Station, np.datetime64, np.datetime64, bool], Answer]


def station_record(
    kept: Kept,
    start: np.datetime64,
    end: np.datetime64,
    today: np.datetime64,
    folder: Path,
    ask: Ask | None,
    *,
    refresh: bool = False,
) -> DailyWeather:
    """The days asked for, after fetching what is not kept or no longer fresh.

    Parameters
    ----------
    kept : Kept
        What is known of the station.
    start, end, today : numpy.datetime64[D]
        Days after ``today`` come only as forecast rows.
    folder : Path
        Where it is kept.
    ask : callable or None
        Asks the server; None where it is known not to answer.
    refresh : bool
        Fetch everything again.

    Returns
    -------
    DailyWeather

    Raises
    ------
    StationError
        If the station has no temperatures in that time.
    OfflineError
        If nothing is kept and the server does not answer.
    """
    station = kept.station
    notes = []
    years = range(year_of(start), year_of(min(end, today)) + 1)
    wanted = [year for year in years if refresh or not is_fresh(kept, year, today)]
    behind = wanted
    if wanted and ask is not None:
        kept, behind = _fetch(kept, wanted, today, ask)
        if len(behind) < len(wanted) and not save(folder, kept):
            notes.append(f"the weather cannot be kept in {folder}; it will be fetched again next time")
    notes += age_notes(kept, behind, today)

    inside = (kept.days >= start) & (kept.days <= min(end, today))
    days, values = kept.days[inside], kept.readings[:, inside]
    if not np.isfinite(values[:2]).all(axis=0).any():
        if behind:
            raise OfflineError(
                f"station {station.id}: no answer from the weather server and nothing kept from earlier; "
                "connect and try again, or give a weather file"
            )
        raise StationError(
            f"station {station.id} ({station.name}) has no daily temperatures from {start} to {min(end, today)}; "
            "name another station, or give a weather file"
        )
    ahead = (kept.ahead > today) & (kept.ahead <= end) & (kept.ahead_fetched == min(today, _clock()))
    forecast = np.r_[np.zeros(days.size, dtype=bool), np.ones(int(ahead.sum()), dtype=bool)]
    tmin, tmax, rain = np.concatenate([values, kept.ahead_readings[:, ahead]], axis=1)
    frame = pd.DataFrame(
        {"tmin_c": tmin, "tmax_c": tmax, "prcp_mm": rain, "forecast": forecast},
        index=pd.DatetimeIndex(np.concatenate([days, kept.ahead[ahead]])),
    )
    try:
        weather = daily_weather(
            frame,
            stations=(station,),
            attribution=kept.attribution or "Meteostat",
            retrieved=str(max(kept.fetched.values())),
            where=f"station {station.id}",
        )
    except WeatherFileError as error:
        raise StationError(f"{error}; the record is damaged, name another station") from None
    return replace(weather, notes=(*notes, *weather.notes))


def _clock() -> np.datetime64:
    """The calendar's today: a day asked about ahead of time must not make the cache look newer than it is."""
    return np.datetime64(date.today(), "D")


def _fetch(kept: Kept, wanted: list[int], today: np.datetime64, ask: Ask) -> tuple[Kept, list[int]]:
    """Ask for years; what is then known, and the years that the server did not answer for.

    The newest year goes first and alone, so that an outage is noticed at
    the cost of one request.
    """
    stamp = min(today, _clock())
    newest, *older = sorted(wanted, reverse=True)
    requests = [[newest], *(older[at : at + YEARS_AT_ONCE] for at in range(0, len(older), YEARS_AT_ONCE))]
    behind = list(wanted)
    for years in requests:
        first, last = np.datetime64(f"{min(years)}-01-01"), min(np.datetime64(f"{max(years)}-12-31"), today)
        answer = ask(kept.station, first, last, False)
        failed = _failed(years, answer)
        answered = set(years) - failed
        behind = [year for year in behind if year not in answered]
        kept = merge(kept, answer.days, answer.readings, answered, stamp, answer.attribution)
        if not answered:
            return kept, behind
    if kept.ahead_fetched != stamp:
        ahead = ask(kept.station, today + np.timedelta64(1, "D"), today + np.timedelta64(FORECAST_DAYS, "D"), True)
        # Without forecast rows the season goes on from past years.
        if not ahead.failures:
            kept = replace(
                kept,
                ahead=ahead.days,
                ahead_readings=ahead.readings,
                ahead_fetched=stamp,
                attribution=credit(kept.attribution, ahead.attribution) if ahead.days.size else kept.attribution,
            )
    return kept, behind


def _failed(years: list[int], answer: Answer) -> set[int]:
    """Years that did not come because of a failure, rather than because there is nothing."""
    if not answer.failures:
        return set()
    absent = set(years) - set(years_of(answer.days).tolist())
    named = {year for year in absent if any(f'"{year}"' in message for message in answer.failures)}
    return named or absent
