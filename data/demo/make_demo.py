"""Write ``weather.csv``, thirty years of invented daily weather, and ``records.csv``, invented bloom in it.

Run ``python data/demo/make_demo.py``; it writes the same bytes every time.
Nothing here is measured.  The numbers below shape a climate with mild, variable
winters and late frosts, and a record with the faults that real records have.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

SEED = 20260402
FIRST = np.datetime64("1995-09-01")
LAST = np.datetime64("2026-04-20")

ANNUAL_MEAN = 12.7  # degC, in the middle of the record
HALF_RANGE = 11.8  # K, half the distance from January to July
COLDEST_DAY = 22  # day of the year
TREND = 0.025  # K a year
PERSISTENCE = 0.70  # of a day's departure into the next day

# Faults of the record, as a grower's own logger would have them.
GAPS = (
    ("1999-06-12", 1),
    ("2006-02-03", 3),
    ("2011-01-08", 10),
    ("2017-10-21", 2),
    ("2025-11-29", 1),
)
SPIKE = ("2022-01-16", 31.8)  # degC, a maximum that no January here ever had

# What makes the last season worth looking at: (middle, half width [d], height [K]).
LAST_SEASON = (
    ("2025-12-14", 3.0, -6.0),
    ("2026-01-24", 4.0, -7.0),
    ("2026-03-26", 7.0, 9.5),
    ("2026-04-09", 2.5, -4.0),
)

# The blooms of the records: a strain of crimson clover of the valley's own.
STRAIN = "Hollin common"
NEEDS = 500.0  # degC d under the gate below, from emergence to 25 % bloom; the shipped number is 557
EYES = 2.5  # days by which a date is off
STAGES = (("10%", -3), ("25%", 0), ("50%", 5), ("BBCH 60", -6))  # and their days from 25 % bloom
SEEN = (  # place, latitude, sown, place of the stage in STAGES
    ("Ford meadow", 37.62, "2013-09-14", 1),
    ("Ford meadow", 37.62, "2016-09-02", 0),
    ("Ford meadow", 37.62, "2019-09-20", 1),
    ("Ford meadow", 37.62, "2023-09-28", 2),
    ("Chapel bench", 37.64, "2014-09-06", 1),
    ("Chapel bench", 37.64, "2018-10-03", 1),
    ("Chapel bench", 37.64, "2021-09-17", 3),
    ("Mill field", 37.58, "2012-10-09", 1),
    ("Mill field", 37.58, "2017-09-11", 2),
    ("Mill field", 37.58, "2024-09-24", 1),
)


def ar1(random: np.random.RandomState, days: int, persistence: float) -> np.ndarray:
    """Noise of unit variance in which each day remembers the one before."""
    shocks = random.standard_normal(days) * np.sqrt(1 - persistence**2)
    noise = np.empty(days)
    state = random.standard_normal()
    for day, shock in enumerate(shocks):
        state = persistence * state + shock
        noise[day] = state
    return noise


def wet_days(random: np.random.RandomState, days: int) -> np.ndarray:
    """Days with rain: wet days follow wet days more often than dry ones."""
    draws = random.random_sample(days)
    wet = np.zeros(days, dtype=bool)
    for day in range(1, days):
        wet[day] = draws[day] < (0.48 if wet[day - 1] else 0.26)
    return wet


def bump(dates: np.ndarray, middle: np.datetime64, half_width: float, height: float) -> np.ndarray:
    """A warm or cold spell that comes and goes smoothly [K]."""
    distance = (dates - middle).astype(float) / half_width
    return height * np.exp(-(distance**2))


def weather() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Dates, daily minimum and maximum [degC] and rain [mm], before any fault."""
    # RandomState, because its stream is frozen for good; that of a Generator may change with numpy.
    random = np.random.RandomState(SEED)
    dates = np.arange(FIRST, LAST + np.timedelta64(1, "D"))
    days = dates.size
    years = dates.astype("datetime64[Y]").astype(int) + 1970
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(float) + 1
    winter = np.cos(2 * np.pi * (day_of_year - COLDEST_DAY) / 365.25)  # 1 in January, -1 in July

    wet = wet_days(random, days)
    rain = np.where(wet, np.maximum(0.2, random.gamma(0.75, 10.5, days)), 0.0)

    mean = ANNUAL_MEAN - HALF_RANGE * winter + TREND * (np.arange(days) - days / 2) / 365.25
    mean += 0.7 * ar1(random, days, 0.995)  # warm and cold years
    mean += 0.8 * ar1(random, days, 0.97)  # warm and cold months
    mean += (3.1 + 0.6 * winter) * ar1(random, days, PERSISTENCE)
    mean += np.where(wet, 0.8 * winter - 0.4, 0.0)
    for year in np.unique(years):
        for _ in range(random.poisson(2.0)):
            middle = np.datetime64(f"{year}-12-01") + np.timedelta64(random.randint(0, 150), "D")
            mean += bump(dates, middle, random.uniform(1.5, 3.5), -random.uniform(3.0, 6.0))
        if random.random_sample() < 0.35:
            middle = np.datetime64(f"{year}-03-01") + np.timedelta64(random.randint(0, 35), "D")
            mean += bump(dates, middle, random.uniform(4.0, 9.0), random.uniform(3.0, 6.0))
    for middle, half_width, height in LAST_SEASON:
        mean += bump(dates, np.datetime64(middle), half_width, height)

    between = np.sin(2 * np.pi * (day_of_year - 60) / 182.625)  # 1 in mid-April and mid-October
    day_range = 11.6 - 0.4 * winter + 2.0 * between + 2.2 * random.standard_normal(days)
    day_range = np.maximum(2.0, np.where(wet, 0.62, 1.15) * day_range)
    return dates, mean - day_range / 2, mean + day_range / 2, rain


def rows() -> list[str]:
    """The lines of the file, with the faults of the record."""
    dates, tmin, tmax, rain = weather()
    tmax[dates == np.datetime64(SPIKE[0])] = SPIKE[1]
    lost = np.zeros(dates.size, dtype=bool)
    for start, length in GAPS:
        first = np.datetime64(start)
        lost |= (dates >= first) & (dates < first + np.timedelta64(length, "D"))
    kept = zip(dates[~lost], tmin[~lost], tmax[~lost], rain[~lost], strict=True)
    # Adding 0.0 after rounding turns -0.0 into 0.0.
    return [f"{date},{round(low, 1) + 0.0:.1f},{round(high, 1) + 0.0:.1f},{wet:.1f}" for date, low, high, wet in kept]


def quarter_bloom(dates: np.ndarray, mean: np.ndarray, latitude: float, sown: str) -> int:
    """Place among the dates at which a stand sown on a day is in 25 % bloom."""
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(float) + 1
    turn = 2 * np.pi * (day_of_year - 1) / 365  # the sun's declination after Spencer (1971)
    sun = 0.006918 - 0.399912 * np.cos(turn) + 0.070257 * np.sin(turn)
    sun += -0.006758 * np.cos(2 * turn) + 0.000907 * np.sin(2 * turn)
    noon = np.radians(latitude)
    height = (np.sin(np.radians(-0.83)) - np.sin(noon) * np.sin(sun)) / (np.cos(noon) * np.cos(sun))
    gate = np.clip((24 / np.pi * np.arccos(height) - 10) / 3, 0, 1)
    start = int(np.searchsorted(dates, np.datetime64(sown)))
    up = start + int(np.searchsorted(np.cumsum(np.maximum(mean[start:] - 1.5, 0)), 80)) + 1
    cool = np.minimum(np.cumsum((mean[up:] > 0) & (mean[up:] < 10)) / 20, 1)
    return up + int(np.searchsorted(np.cumsum(np.clip(mean[up:], 0, 22) * gate[up:] * cool), NEEDS))


def records() -> list[str]:
    """The lines of the bloom records."""
    random = np.random.RandomState(SEED + 1)
    dates, tmin, tmax, _ = weather()
    mean = (tmin + tmax) / 2
    lines = []
    for place, latitude, sown, which in SEEN:
        stage, days = STAGES[which]
        seen = dates[quarter_bloom(dates, mean, latitude, sown) + days + int(np.rint(random.normal(0, EYES)))]
        lines.append(f"{place},{latitude},crimson-clover,{STRAIN},{sown},{stage},{seen},weather.csv,metric")
    return lines


def main(target: Path) -> None:
    """Write the weather, and the records beside it."""
    text = "\n".join(["date,tmin_c,tmax_c,rain_mm", *rows(), ""])
    target.write_bytes(text.encode("ascii"))
    text = "\n".join(["place,latitude,cover,cultivar,sown,stage,date,weather,units", *records(), ""])
    target.with_name("records.csv").write_bytes(text.encode("ascii"))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("weather.csv"))
