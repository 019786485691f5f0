"""Fit the clock of cereal rye, with places left out, and the heat between its stages.

``refit_rye.py FOLDER [FOLDER ...]``: folders with the daily records that ``rye_dated.csv`` and ``rye_ratings.csv`` name
(columns date, tmin, tmax, or tmean where they lack; in degrees Fahrenheit where a value lies above 60).

Each row of ``rye_dated.csv`` is a day on which rye was at a stage of the Zadoks scale: rated, stated, or a class that
the authors wrote for the whole sampling.  It is moved to the start of flowering (61) by the heat between the stages,
which comes from the 60 ratings of four cultivars in ``rye_ratings.csv``: straight between two ratings in time, the
median of cultivars and places.  Three clocks are then fitted, each as the mean of what the rows say, and held against
the place that was left out: the heat of long days, a plain sum, and one date for all.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.models.daylength import day_length

HERE = Path(__file__).resolve().parent
DATED, RATINGS = HERE / "rye_dated.csv", HERE / "rye_ratings.csv"

#: Base of the heat between stages, and of the plain sum [degC].
STAGE_BASE = 4.4
#: Day length at which nothing and all counts [h], and base [degC], of the clocks that are tried.
CLOCKS = [(base, low, high) for base in (0.0, 2.0, 4.4) for low in (7, 8, 9, 10, 11) for high in (13, 14, 15, 16, 18)]
SHIPPED = (0.0, 9, 15)
FLOWERING = 61
STAGES = (30, 39, 45, 51, 65, 69, 71)
SPRING = 200


def read_weather(folders: list[Path], name: str) -> pd.Series:
    """Daily means of a record [degC], short gaps on a straight line."""
    path = next((folder / name for folder in folders if (folder / name).is_file()), None)
    if path is None:
        sys.exit(f"{name}: in none of the folders; give all that hold the records named in {DATED.name}")
    table = pd.read_csv(path, parse_dates=["date"]).drop_duplicates("date").set_index("date")
    extremes = table[["tmin", "tmax"]].astype(float)
    if extremes.max().max() > 60:
        extremes = (extremes - 32) / 1.8
    mean = extremes.mean(axis=1, skipna=False)
    if "tmean" in table:
        mean = mean.fillna(table.tmean)
    return mean.asfreq("D").interpolate(limit=15)


def spring(mean: pd.Series, year: int) -> np.ndarray:
    """Daily means from 1 January [degC]."""
    return mean.reindex(pd.date_range(f"{year}-01-01", periods=SPRING)).to_numpy()


def stage_heat(folders: list[Path]) -> pd.DataFrame:
    """Heat from the start of flowering to each stage, for every place and cultivar that was rated on both sides."""
    ratings = pd.read_csv(RATINGS, parse_dates=["rated"])
    rows = []
    for (place, cultivar), group in ratings.groupby(["place", "cultivar"]):
        year = int(group.rated.dt.year.iloc[0])
        total = np.cumsum(np.maximum(spring(read_weather(folders, group.weather.iloc[0]), year) - STAGE_BASE, 0))
        day = group.rated.dt.day_of_year.to_numpy() - 1.0
        stage = np.maximum.accumulate(group.zadoks.to_numpy())
        at = {
            code: float(np.interp(np.interp(code, stage, day), np.arange(total.size), total))
            if stage[0] <= code <= stage[-1]
            else np.nan
            for code in (*STAGES, FLOWERING)
        }
        rows.append({"place": place, "cultivar": cultivar, **{code: at[code] - at[FLOWERING] for code in STAGES}})
    return pd.DataFrame(rows)


def clock_sums(tmean: np.ndarray, latitude: float, base: float, low: float, high: float) -> np.ndarray:
    """Running sum of heat, weighed by the length of the day."""
    hours = day_length(latitude, np.arange(1.0, SPRING + 1))
    return np.cumsum(np.maximum(tmean - base, 0) * np.clip((hours - low) / (high - low), 0, 1))


def reached(total: np.ndarray, needed: float) -> float:
    """Day of the year on which a sum is reached."""
    return float(np.searchsorted(total, needed) + 1)


def left_out(day: np.ndarray, sums: list[np.ndarray], places: np.ndarray) -> np.ndarray:
    """Error of each row when its place plays no part in the fit [d]; late is positive."""
    at = np.array([total[round(each) - 1] for total, each in zip(sums, day, strict=True)])
    return np.array(
        [reached(sums[row], at[places != places[row]].mean()) - day[row] for row in range(day.size)], dtype=float
    )


def chosen_without(day: np.ndarray, by_clock: list[list[np.ndarray]], places: np.ndarray) -> np.ndarray:
    """Error of each row under the clock that does best at the other places, each of them left out in turn [d]."""
    found = np.empty(day.size)
    for place in np.unique(places):
        others = np.flatnonzero(places != place)
        within = [rms(left_out(day[others], [sums[k] for k in others], places[others])) for sums in by_clock]
        best = by_clock[int(np.argmin(within))]
        found[places == place] = left_out(day, best, places)[places == place]
    return found


def rms(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    folders = parser.parse_args().folders
    heat = stage_heat(folders)
    middle = heat[list(STAGES)].median()
    print(
        heat.round(0).to_string(),
        "\nmedian, from the start of flowering [degC d]:",
        middle.round(0).to_dict(),
        sep="\n",
    )

    table = pd.read_csv(DATED, parse_dates=["observed"])
    means = [spring(read_weather(folders, row.weather), row.observed.year) for row in table.itertuples()]
    day = np.empty(len(table))
    for number, (row, mean) in enumerate(zip(table.itertuples(), means, strict=True)):
        total = np.cumsum(np.maximum(mean - STAGE_BASE, 0))
        seen = row.observed.day_of_year
        gap = 0.0 if row.zadoks == FLOWERING else float(middle[row.zadoks])
        day[number] = seen if not gap else reached(total, total[seen - 1] - gap)
    places = table.place.to_numpy()
    latitude = table.latitude.to_numpy()
    errors = {}
    by_clock = [[clock_sums(mean, lat, *clock) for mean, lat in zip(means, latitude, strict=True)] for clock in CLOCKS]
    for clock, sums in zip(CLOCKS, by_clock, strict=True):
        errors[clock] = left_out(day, sums, places)
        at = np.mean([total[round(each) - 1] for total, each in zip(sums, day, strict=True)])
        mark = " (as shipped)" if clock == SHIPPED else ""
        print(f"base {clock[0]:g} degC, {clock[1]} to {clock[2]} h: sum {at:.0f}, {rms(errors[clock]):.1f} d{mark}")
    print(f"clock chosen without the place: {rms(chosen_without(day, by_clock, places)):.1f} d")
    plain = [np.cumsum(np.maximum(mean - STAGE_BASE, 0)) for mean in means]
    at = np.mean([total[round(each) - 1] for total, each in zip(plain, day, strict=True)])
    of_plain = left_out(day, plain, places)
    print(f"plain sum above {STAGE_BASE} degC: {at:.0f}, {rms(of_plain):.1f} d")
    one_date = np.array([day[places != each].mean() for each in places]) - day
    print(f"one date for all: {rms(one_date):.1f} d")
    shown = table.assign(flowering=day, clock=errors[SHIPPED], plain_sum=of_plain, one_date=one_date.round(1))
    print(shown[["place", "observed", "zadoks", "basis", "flowering", "clock", "plain_sum", "one_date"]].to_string())


if __name__ == "__main__":
    main()
