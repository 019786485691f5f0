"""What all covers of one autumn share: the past seasons, the dates looked at, the day to plant by."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from covercrop.autumn.sowing_dates import (
    BEFORE_MIDWINTER,
    Frame,
    Risk,
)
from covercrop.base.arrays import Array, Days
from covercrop.base.errors import UsageError
from covercrop.models import season_calendar
from covercrop.models.frost import HARD_FROST, first_autumn_freeze
from covercrop.models.members import MEDIAN, Draws, quantiles
from covercrop.models.snow import lying_snow
from covercrop.parameters import catalogue
from covercrop.season.ripeness import ripeness
from covercrop.weather.outlook import Outlook, past_seasons

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import CropEntry, Ground
    from covercrop.parameters.traits import Crop

#: Days from midwinter to the end of the season.
AFTER_MIDWINTER = 365

#: Last day after midwinter that still counts as a sowing of that autumn.
LATEST_SOWING = 60

#: Dates that are looked at where none are asked for: from so many days before the
#: middle date of the first hard frost, or before midwinter where that is earlier
#: (1 September, south 1 March), to so many after that frost, or before midwinter
#: where there is none.
FROM_BEFORE_FROST, TO_AFTER_FROST = 70, 7
FROM_BEFORE_MIDWINTER, TO_BEFORE_MIDWINTER = 122, 31


# --- the dates ------------------------------------------------------------------------------------


def _season(
    weather: DailyWeather,
    on: np.datetime64,
    latitude: float,
    start: np.datetime64 | None,
    end: np.datetime64 | None,
) -> Outlook:
    """Past seasons on the days of the autumn asked about, or of the next whose dates are not over."""
    day = start if start is not None else end if end is not None else on
    midwinter = season_calendar.midwinter_after(day, latitude)
    if midwinter + np.timedelta64(LATEST_SOWING, "D") < on:
        raise _past(on, start, end)

    def around(midwinter: np.datetime64) -> Outlook:
        first = midwinter - np.timedelta64(BEFORE_MIDWINTER, "D")
        return past_seasons(weather, first, BEFORE_MIDWINTER + AFTER_MIDWINTER, on)

    season = around(midwinter)
    if day is on and season.days[_default_dates(season)[1]] < on:
        return around((midwinter.astype("datetime64[M]") + np.timedelta64(12, "M")).astype("datetime64[D]"))
    return season


def _frost(season: Outlook) -> tuple[float, np.datetime64]:
    """Middle date of the first hard frost; NaN and NaT where half of the years have none."""
    autumn = season.tmin[:, : BEFORE_MIDWINTER + LATEST_SOWING]
    first = first_autumn_freeze(autumn, BEFORE_MIDWINTER - AFTER_MIDWINTER, HARD_FROST.value)
    middle = quantiles(first, np.ones(first.shape), (MEDIAN,))
    return float(middle[0]), season.dates(middle)[0]


def _default_dates(season: Outlook) -> tuple[int, int]:
    frost, september = _frost(season)[0], BEFORE_MIDWINTER - FROM_BEFORE_MIDWINTER
    if np.isnan(frost):
        return september, BEFORE_MIDWINTER - TO_BEFORE_MIDWINTER
    return max(min(int(frost) - FROM_BEFORE_FROST, september), 0), int(frost) + TO_AFTER_FROST


def _dates(season: Outlook, on: np.datetime64, start: np.datetime64 | None, end: np.datetime64 | None) -> Days:
    first, last = (season.days[place] for place in _default_dates(season))
    asked = end
    if start is None:
        start = max(first, on)
        if end is not None and start > end:
            start = max(end - (last - first), season.days[0], min(on, end))
    if end is None:
        end = last if last >= start else start + (last - first)
    if start > end:
        raise UsageError(f"`start` {start} is after `end` {end}; give the earlier date first")
    if end < on:
        raise _past(on, start, asked)
    earliest, latest = season.days[0], season.days[BEFORE_MIDWINTER + LATEST_SOWING]
    if start < earliest or end > latest:
        raise UsageError(
            f"sowing from {start} to {end} is not one autumn; give days from {earliest} to {latest}, or another year"
        )
    return np.arange(start, end + np.timedelta64(1, "D"))


def _past(on: np.datetime64, start: np.datetime64 | None, end: np.datetime64 | None) -> UsageError:
    """What to say of dates that are over."""
    asked = f"`end` {end} is before {on}, today" if end is not None else f"`start` {start}: that autumn is over on {on}"
    return UsageError(f"{asked}; for a cover that is sown already ask covercrop ready, or give a later date")


def _frame(
    field: Ground,
    season: Outlook,
    dates: Days,
    risk: Risk,
    draws: Draws,
    plant_by: np.datetime64 | None,
    planting: CropEntry | None = None,
) -> Frame:
    planting = planting or field.seedbed
    crop = catalogue.crop(planting.name)
    if plant_by is None:
        by, source = _plant_by(season, crop, planting, draws, risk.plantable)
    else:
        by, source = season.position(plant_by), "asked"
        if not BEFORE_MIDWINTER < by < season.days.size:
            raise UsageError(
                f"`plant_by` {plant_by} is not in the year after the sowing; give a day from "
                f"{season.days[BEFORE_MIDWINTER + 1]} to {season.days[-1]}"
            )
    return Frame(
        field=field,
        crop=crop,
        planting=planting,
        # Worked out once, not for each cover and date.
        season=replace(season, snow=lying_snow(season.snow, season.tmean, season.prcp)),
        dates=dates,
        sowing=(dates - season.days[0]).astype(np.intp),
        plant_by=by,
        plant_by_from=source,
        risk=risk,
        draws=draws,
    )


def _latest_planting(season: Outlook, crop: Crop, planting: CropEntry, draws: Draws) -> Array:
    """Last day that lets the crop ripen, year by year and draw by draw; infinite where nothing ends the season."""
    latest = ripeness(season, crop, planting, draws, BEFORE_MIDWINTER).latest()
    return np.where(np.isnan(latest), np.inf, latest)


def _plant_by(season: Outlook, crop: Crop, planting: CropEntry, draws: Draws, share: float) -> tuple[int, str]:
    """Day index by which to plant, where none is asked for, and where it comes from."""
    ripens = _reached_by(_latest_planting(season, crop, planting, draws), share)
    midsummer = BEFORE_MIDWINTER + season_calendar.HALF_YEAR - 1
    return (int(ripens), "ripens") if ripens < midsummer else (midsummer, "midsummer")


def _reached_by(days: Array, share: float) -> float:
    """The latest day that is no later than those of this share of the years, or of the years and draws."""
    return float(np.sort(days, axis=None)[min(int((1.0 - share) * days.size + 1e-9), days.size - 1)])


def _ripens_by(frame: Frame) -> float:
    return float((_latest_planting(frame.season, frame.crop, frame.planting, frame.draws) >= frame.plant_by).mean())
