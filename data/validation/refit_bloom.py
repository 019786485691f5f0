"""Refit the sum at 25 % bloom, and what it is worth at a place left out of the fit.

Run from the top of the repository::

    python data/validation/refit_bloom.py FOLDER            # print the table and the errors
    python data/validation/refit_bloom.py FOLDER --write    # and rewrite bloom_residuals.csv
    python data/validation/refit_bloom.py FOLDER --gates    # how much hangs on the day-length gate

FOLDER holds one CSV a station, columns ``date,tmin,tmax``, in degrees Celsius
(see :data:`STATIONS`; none is shipped, all four are public daily records).
Gaps of at most :data:`LONGEST_GAP` days are filled on a straight line, and the
days so filled are counted in column ``filled_days``.

The dates that are fitted stand in ``bloom_residuals.csv``, the other numbers
of the model in ``covers.toml``; the one number fitted here is each cover's
``bloom.requirement``, by least squares weighted with ``sd_days``.  Two simpler
rules are fitted to the same rows in the same way: a sum of degree-days from
sowing, and a date that moves by 4.5 days a degree with the latitude.
Each row's ``left_out`` columns come from a fit to the other sites.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.checking.bloom_fit import (
    Season,
    errors,
    fit_sum,
    latitude_rule,
    pace_before,
    photothermal_rates,
    rmse,
    sum_rule,
)
from covercrop.models.daylength import day_length
from covercrop.models.degree_days import accumulate
from covercrop.parameters import catalogue
from covercrop.weather.outlook import LEAD_DAYS

HERE = Path(__file__).resolve().parent
TABLE = HERE / "bloom_residuals.csv"

#: Site: file, station (GHCN-Daily id), latitude of the site [degrees].
STATIONS = {
    "Beltsville MD": ("beltsville.csv", "USC00180700", 39.03),
    "Raleigh NC": ("raleigh.csv", "USW00013722", 35.89),
    "Ashland VA": ("raleigh.csv", "USW00013722", 37.76),
    "State College PA": ("state_college.csv", "USC00368449", 40.79),
    "Landisville PA": ("lebanon.csv", "USC00364896", 40.12),
}
LONGEST_GAP = 15
SEASON = 300

#: Gates tried by ``--gates``: day lengths [h] at which development starts and is full, and cool days.
GATES = tuple((none, full, cool) for none in (9.5, 10, 10.5, 11) for full in (12, 12.5, 13, 14) for cool in (0, 20, 40))


def read_station(folder: Path, name: str) -> pd.DataFrame:
    """Daily mean temperature [degC], short gaps filled, and whether it was."""
    table = pd.read_csv(folder / name, usecols=["date", "tmin", "tmax"], parse_dates=["date"])
    table = table.drop_duplicates("date").set_index("date")
    mean = table.mean(axis=1, skipna=False).reindex(pd.date_range(table.index[0], table.index[-1]))
    missing = mean.isna()
    length = missing.groupby((~missing).cumsum()).transform("sum")
    return pd.DataFrame({"tmean": mean.interpolate().where(~missing | (length <= LONGEST_GAP)), "filled": missing})


def read_season(row: pd.Series, means: dict[str, pd.DataFrame]) -> Season:
    """A row of the table as arrays from its sowing day on."""
    file, _, latitude = STATIONS[row.site]
    days = pd.date_range(row.sown, periods=SEASON)
    observed = pd.Timestamp(row.observed)
    return Season(
        site=row.site,
        latitude=latitude,
        tmean=means[file].tmean.reindex(days).to_numpy(),
        day_length=day_length(latitude, days.day_of_year.to_numpy(dtype=float)),
        observed=(observed - days[0]).days,
        year_day=observed.day_of_year,
        weight=float(row.sd_days) ** -2,
        lead=means[file].tmean.reindex(pd.date_range(end=row.sown, periods=LEAD_DAYS + 1)[:-1]).dropna().to_numpy(),
    )


def filled_days(row: pd.Series, means: dict[str, pd.DataFrame]) -> int:
    """Days from sowing to what was observed that were filled."""
    return int(means[STATIONS[row.site][0]].filled.loc[row.sown : row.observed].sum())


def try_gates(table: pd.DataFrame, means: dict[str, pd.DataFrame]) -> list[float]:
    """Left-out RMSE [d] of crimson clover under each gate, sorted."""
    cover = catalogue.cover("crimson-clover")
    bloom = cover.bloom
    seasons = [read_season(row, means) for row in table[table.species == "crimson-clover"].itertuples()]
    found = []
    for values in GATES:
        names = ("day_length_none", "day_length_full", "cool_days")
        changed = {name: replace(getattr(bloom, name), value=value) for name, value in zip(names, values, strict=True)}
        rates = photothermal_rates(seasons, replace(cover, bloom=replace(bloom, **changed)))
        _, left_out = errors(seasons, sum_rule([accumulate(rate) for rate in rates], seasons))
        found.append(rmse(left_out))
    return sorted(found)


def refit(table: pd.DataFrame, means: dict[str, pd.DataFrame]) -> tuple[pd.DataFrame, dict[str, dict[str, float]]]:
    """The table with its predictions, and what was fitted to each cover."""
    done, fitted = [], {}
    for species, rows in table.groupby("species", sort=False):
        cover = catalogue.cover(species)
        seasons = [read_season(row, means) for row in rows.itertuples()]
        rates = photothermal_rates(seasons, cover)
        progress = [accumulate(rate) for rate in rates]
        warmth = [accumulate(np.maximum(season.tmean - cover.bloom.base.value, 0.0)) for season in seasons]
        whole, left_out = errors(seasons, sum_rule(progress, seasons))
        sum_whole, sum_left_out = errors(seasons, sum_rule(warmth, seasons))
        date_whole, date_left_out = errors(seasons, latitude_rule(seasons))
        observed = pd.to_datetime(rows.observed).to_numpy()
        requirement = fit_sum(progress, seasons)
        predicted = rows.assign(
            requirement_all=requirement,
            filled_days=[filled_days(row, means) for row in rows.itertuples()],
            predicted_all=(observed + pd.to_timedelta(whole, unit="D")).strftime("%Y-%m-%d"),
            predicted_left_out=(observed + pd.to_timedelta(left_out, unit="D")).strftime("%Y-%m-%d"),
            error_left_out_days=left_out,
            benchmark_sum_error_days=sum_left_out,
            benchmark_latitude_error_days=date_left_out,
        )
        done.append(predicted)
        fitted[species] = {
            "requirement": requirement,
            "pace": pace_before(rates, seasons),
            "rows": len(seasons),
            "rmse_all": rmse(whole),
            "rmse_left_out": rmse(left_out),
            "sum_rmse_all": rmse(sum_whole),
            "sum_rmse_left_out": rmse(sum_left_out),
            "latitude_rmse_all": rmse(date_whole),
            "latitude_rmse_left_out": rmse(date_left_out),
        }
    return pd.concat(done)[list(table.columns)], fitted


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, help="folder with the daily records")
    parser.add_argument("--write", action="store_true", help="rewrite bloom_residuals.csv")
    parser.add_argument("--gates", action="store_true", help="try other gates on crimson clover")
    options = parser.parse_args()
    files = sorted({file for file, _, _ in STATIONS.values()})
    if missing := [file for file in files if not (options.folder / file).is_file()]:
        sys.exit(
            f"{options.folder}: {', '.join(missing)} not there; needed are {', '.join(files)}, "
            "each with date,tmin,tmax in degrees Celsius"
        )
    table = pd.read_csv(TABLE, dtype={"predicted_left_out": str})
    means = {file: read_station(options.folder, file) for file in files}
    if options.gates:
        left_out = try_gates(table, means)
        print(
            f"left-out RMSE of crimson clover over {len(left_out)} gates: "
            f"{left_out[0]:.1f} to {left_out[-1]:.1f} days, median {np.median(left_out):.1f}"
        )
        return
    table, fitted = refit(table, means)
    text = table.to_csv(index=False, float_format="%.0f", lineterminator="\n")
    print(text)
    print(pd.DataFrame(fitted).T.round(1).to_string())
    if options.write:
        TABLE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
