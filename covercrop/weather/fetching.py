"""One station's record, from what is kept of it and what the server answers.

A server that fails, one that is silent and one that has nothing look alike
in the rows that come; they are told apart by what the client logs.  What
comes is asked for a year at a time, so that a file with rows of another year
cannot put them in the place of that year's own, and takes the place of what
is kept only where :mod:`~covercrop.weather.belief` has nothing against it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.base.arrays import Days
from covercrop.base.errors import OfflineError, StationError, UnusableError, WeatherFileError
from covercrop.base.records import DailyWeather, Station
from covercrop.weather.belief import doubt_ahead, doubts, impossible
from covercrop.weather.daily import daily_weather
from covercrop.weather.store import (
    NO_DAYS,
    NO_READINGS,
    Kept,
    Values,
    age_notes,
    by_year,
    clock,
    credit,
    is_fresh,
    merge,
    save,
    spans,
    without,
    year_of,
)

#: After so many years in a row that could not be read no more are asked for; what came before is kept.
MOST_FAILURES = 3
#: Days of forecast rows asked for.
FORECAST_DAYS = 14
#: What the service holds possible [degC, mm]; single readings beyond it are left out, as its client does.
LEAST_READING = np.array([[-100.0], [-100.0], [0.0], [0.0]])
MOST_READING = np.array([[65.0], [65.0], [2000.0], [12000.0]])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """What one request brought.

    Attributes
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
        In order.
    readings : numpy.ndarray, shape (4, day)
        Minimum, maximum [degC], rain and depth of the snow [mm], as they came.
    attribution : str
    nothing : bool
        Whether the server says that it has none.
    silent : bool
        Whether it did not answer.
    failure : str
        What is wrong with what it sent, in words; empty for nothing.
    """

    days: Days
    readings: Values
    attribution: str = ""
    nothing: bool = False
    silent: bool = False
    failure: str = ""


#: Asks for a station's days from the first to the last: observed ones, or those of models.
Ask = Callable[[Station, np.datetime64, np.datetime64, bool], Answer]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fetched:
    """What is known after asking: ``behind`` are the years without an answer, ``refused`` those with a useless one."""

    kept: Kept
    behind: list[int]
    refused: dict[int, str]
    ahead: str = ""  # why there is no forecast


def station_record(
    kept: Kept,
    start: np.datetime64,
    end: np.datetime64,
    today: np.datetime64,
    folder: Path,
    ask: Ask | None,
    *,
    refresh: bool = False,
    thrown: str = "",
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
    thrown : str
        What is to be said of a kept file that could not be used.

    Returns
    -------
    DailyWeather
        ``notes`` name what could not be fetched or was not used.

    Raises
    ------
    StationError
        If the station has no temperatures in that time.
    OfflineError
        If nothing is kept and the server does not answer.
    UnusableError
        If nothing is kept and nothing that it sends can be used.
    """
    station, before = kept.station, kept
    notes = [thrown] if thrown else []
    false = {year: why for year, sent in by_year(kept.days, kept.readings).items() if (why := impossible(*sent))}
    if false:
        kept = without(kept, false)
        notes += [f"{note}; thrown away, and asked for again" for note in _told(station, "what was kept of", false)]
    lost = "; ".join(notes)
    years = range(year_of(start), year_of(min(end, today)) + 1)
    wanted = [year for year in years if refresh or not is_fresh(kept, year, today)]
    found = _Fetched(kept=kept, behind=wanted, refused={})
    again_ahead = bool(np.isnat(kept.ahead_fetched)) and end > today
    if (wanted or again_ahead) and ask is not None:
        found = _fetch(kept, wanted, today, ask)
        kept = found.kept
    if kept is not before and not save(folder, kept):
        notes.append(f"the weather cannot be kept in {folder}; it will be fetched again next time")
    notes += [
        f"{note}; it is not used, and asked for again next time"
        for note in _told(station, "the answer for", found.refused)
    ]
    if found.ahead and not found.behind:
        notes.append(f"station {station.id}: there is no forecast ({found.ahead}); it is asked for again next time")
    notes += age_notes(kept, found.behind, today)

    inside = (kept.days >= start) & (kept.days <= min(end, today))
    if not np.isfinite(kept.readings[:2, inside]).all(axis=0).any():
        raise _nothing(station, found, start, min(end, today), lost)
    try:
        weather = _record(kept, start, end, today)
    except WeatherFileError as error:
        fault = str(error).partition(";")[0]  # the way out of a file is none of a station's
        damaged = StationError(f"{fault}; the record is damaged, name another station")
        if ask is None or len(wanted) == len(years) or kept.anew == str(_stamp(today)):
            raise damaged from None
        # What was kept may be what is wrong with it: everything is asked for, once a day.
        anew = _fetch(Kept(station=station, anew=str(_stamp(today))), list(years), today, ask)
        if anew.behind or anew.refused:
            raise damaged from None
        save(folder, anew.kept)
        try:
            weather = _record(anew.kept, start, end, today)
        except WeatherFileError:
            raise damaged from None
        notes.append(f"what was kept did not fit together ({fault}); thrown away, and fetched anew")
    return replace(weather, notes=(*notes, *weather.notes))


def _record(kept: Kept, start: np.datetime64, end: np.datetime64, today: np.datetime64) -> DailyWeather:
    """The days asked for, checked, with the forecast of the day."""
    inside = (kept.days >= start) & (kept.days <= min(end, today))
    ahead = (kept.ahead > today) & (kept.ahead <= end) & (kept.ahead_fetched == _stamp(today))
    forecast = np.r_[np.zeros(int(inside.sum()), dtype=bool), np.ones(int(ahead.sum()), dtype=bool)]
    tmin, tmax, rain, snow = np.concatenate([kept.readings[:, inside], kept.ahead_readings[:, ahead]], axis=1)
    frame = pd.DataFrame(
        {"tmin_c": tmin, "tmax_c": tmax, "prcp_mm": rain, "snow_depth_mm": snow, "forecast": forecast},
        index=pd.DatetimeIndex(np.concatenate([kept.days[inside], kept.ahead[ahead]])),
    )
    return daily_weather(
        frame,
        stations=(kept.station,),
        attribution=kept.attribution or "Meteostat",
        retrieved=str(max(kept.fetched.values())),
        where=f"station {kept.station.id}",
    )


def _nothing(
    station: Station, found: _Fetched, start: np.datetime64, end: np.datetime64, thrown: str
) -> StationError | OfflineError:
    """What is said where no day is known."""
    first = f"{thrown}; " if thrown else ""
    if found.behind and not found.refused:
        return OfflineError(
            f"{first}station {station.id}: no answer from the weather server and nothing kept from earlier; "
            "connect and try again, or give a weather file"
        )
    if found.refused:
        told = "; ".join(_told(station, "the answer for", found.refused))
        return UnusableError(f"{first}{told}; nothing is kept from earlier: try again later, or give a weather file")
    return StationError(
        f"{first}station {station.id} ({station.name}) has no daily temperatures from {start} to {end}; "
        "name another station, or give a weather file"
    )


def _told(station: Station, what: str, refused: dict[int, str]) -> list[str]:
    """A sentence for each reason that years were refused for; one that differs only in its numbers is told once."""
    alike: dict[str, list[int]] = {}
    for year, why in sorted(refused.items()):
        alike.setdefault(re.sub(r"[\d.]+|warmer|colder", "", why), []).append(year)
    notes = []
    for years in alike.values():
        why = refused[years[-1]] if len(years) == 1 else f"in {years[-1]}, {refused[years[-1]]}"
        notes.append(f"station {station.id}: {what} {spans(years)} cannot be right ({why})")
    return notes


def _stamp(today: np.datetime64) -> np.datetime64:
    """The day on which what is fetched now was fetched."""
    return min(today, clock())


def _fetch(kept: Kept, wanted: list[int], today: np.datetime64, ask: Ask) -> _Fetched:
    """Ask for years, and for the days ahead."""
    station, stamp, was = kept.station, _stamp(today), kept
    answers, broken_off = _asked(station, wanted, ask)
    behind = [year for year in wanted if year not in answers or answers[year].silent]
    refused = {year: answer.failure for year, answer in answers.items() if answer.failure}
    last = min(today, clock() + np.timedelta64(1, "D"))
    came = {
        year: (answer.days[answer.days <= last], answer.readings[:, answer.days <= last])
        for year, answer in answers.items()
        if year not in behind and year not in refused
    }
    known = kept.days <= last
    held = by_year(kept.days[known], kept.readings[:, known])
    for year in came:
        if answers[year].nothing and year in held:
            refused[year] = "the server says that it has none, and days of it are kept"
    sent = {year: days for year, days in came.items() if year not in refused}
    refused |= doubts(kept.days[known], kept.readings[:, known], sent)
    for year in set(sent) - set(refused):
        days, readings = came[year]
        days, readings = _possible(days, readings)
        kept = merge(kept, days, readings, {year}, stamp, answers[year].attribution)
    if not np.isfinite(kept.readings[:2]).all(axis=0).any():
        # A station without any temperature, or a server that left out a column, and may have been mended next time.
        absent = {year for year in came if answers[year].nothing}
        kept = merge(was, NO_DAYS, NO_READINGS, absent, stamp, "") if absent else was
        return _Fetched(kept=kept, behind=behind, refused=refused)
    if again := {year for year in (*refused, *behind) if is_fresh(kept, year, today)}:
        kept = replace(kept, again=kept.again | again)
    # The file with this year's days holds the forecast too: one that is not believed has none to believe.
    if broken_off or year_of(today) in refused or kept.ahead_fetched == stamp:
        return _Fetched(kept=kept, behind=behind, refused=refused)
    kept, why = _ahead(kept, today, stamp, ask)
    return _Fetched(kept=kept, behind=behind, refused=refused, ahead=why)


def _possible(days: Days, readings: Values) -> tuple[Days, Values]:
    """Days without the single readings that the service's own client would leave out."""
    with_some = np.where((readings >= LEAST_READING) & (readings <= MOST_READING), readings, np.nan)
    some = ~np.isnan(with_some).all(axis=0)
    return days[some], with_some[:, some]


def _asked(station: Station, wanted: list[int], ask: Ask) -> tuple[dict[int, Answer], bool]:
    """What was answered for each year, from the newest back, and whether that was broken off.

    An outage is noticed at the cost of one request.
    """
    answers: dict[int, Answer] = {}
    failures = 0
    for year in sorted(wanted, reverse=True):
        answer = ask(station, np.datetime64(f"{year}-01-01"), np.datetime64(f"{year}-12-31"), False)
        answers[year] = answer
        failures = failures + 1 if answer.failure or answer.silent else 0
        if failures == MOST_FAILURES or (answer.silent and len(answers) == 1):
            if answer.failure:
                unasked = replace(answer, failure=f"not asked for after {MOST_FAILURES} that could not be used")
                answers |= dict.fromkeys(set(wanted) - set(answers), unasked)
            return answers, True
    return answers, False


def _ahead(kept: Kept, today: np.datetime64, stamp: np.datetime64, ask: Ask) -> tuple[Kept, str]:
    """What is kept with the forecast of today, or why there is none; without it the season goes on from past years."""
    day = np.timedelta64(1, "D")
    answer = ask(kept.station, today + day, today + FORECAST_DAYS * day, True)
    why = (
        "no answer from the weather server"
        if answer.silent
        else answer.failure or doubt_ahead(answer.days, answer.readings, kept.days, kept.readings)
    )
    if why:
        never = np.datetime64("NaT", "D")
        return replace(kept, ahead=NO_DAYS, ahead_readings=NO_READINGS, ahead_fetched=never), why
    days, readings = _possible(answer.days, answer.readings)
    return (
        replace(
            kept,
            ahead=days,
            ahead_readings=readings,
            ahead_fetched=stamp,
            attribution=credit(kept.attribution, answer.attribution) if answer.days.size else kept.attribution,
        ),
        "",
    )
