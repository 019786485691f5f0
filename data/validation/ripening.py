"""Hold ripening by heat against the dates worked out elsewhere from the same station records.

    python data/validation/ripening.py FOLDER

FOLDER holds daily records (date, tmin, tmax) and an index.csv with the unit of each; the records that are meant are
named in :data:`RECORDS`.  Prints, for every row of ``ripening_checks.csv`` that has a place with a record, what the
program has, and writes ``ripening_heat.csv``: the mean daily heat of each month, which the tests go by.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.models import ripening
from covercrop.parameters import catalogue

HERE = Path(__file__).resolve().parent
RECORDS = {
    "Seattle WA": "wa_seattle",
    "Ames IA": "ia_ames",
    "Geneva NY": "ny_geneva",
    "State College PA": "pa_state_college",
    "Farmington ME": "me_farmington",
    "Beltsville MD": "md_beltsville",
    "Raleigh NC": "nc_raleigh",
    "Champaign IL": "il_champaign",
}
YEARS = range(1990, 2018)


def record(folder: Path, place: str) -> pd.DataFrame:
    """Daily extremes [degC] of a place."""
    (path,) = folder.glob(f"{RECORDS[place]}*.csv")
    with (folder / "index.csv").open(encoding="utf-8", newline="") as file:
        unit = next(row["unit"] for row in csv.DictReader(file) if row["file"] == path.name)
    table = pd.read_csv(path, parse_dates=["date"]).set_index("date")[["tmin", "tmax"]]
    return (table - 32) / 1.8 if unit == "degF" else table


def seasons(table: pd.DataFrame) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Extremes of each whole year, 1 January first; short gaps are bridged."""
    found = {}
    for year in YEARS:
        days = table.reindex(pd.date_range(f"{year}-01-01", f"{year}-12-31")).interpolate(limit=5)
        if not days.isna().any(axis=None):
            found[year] = (days["tmin"].to_numpy()[:365], days["tmax"].to_numpy()[:365])
    return found


def ripe_days(years: dict[int, tuple[np.ndarray, np.ndarray]], row: dict[str, str]) -> np.ndarray:
    """Days from sowing to ripeness in each year; NaN where the season ends before."""
    crop = catalogue.crop(row["crop"])
    tmin, tmax = (np.stack([pair[which] for pair in years.values()]) for which in (0, 1))
    total = ripening.heat(tmin, tmax, crop.ripening)
    start = float((np.datetime64(f"2001-{row['sown']}") - np.datetime64("2001-01-01")).astype(int))
    end = np.full(len(years), 319.0)  # 15 November, as they were worked out
    return ripening.ripe(total, np.array([float(row["sum_c"])]), 0.0, np.array([start]), end)[:, 0] - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    with (HERE / "ripening_checks.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    years = {place: seasons(record(folder, place)) for place in RECORDS}
    for row in rows:
        if row["place"] in RECORDS:
            found = ripe_days(years[row["place"]], row)
            middle = np.nanmedian(found)  # of the years that reach it, as there
            print(
                f"{row['place']:17} {row['crop']:13} sown {row['sown']}  there {row['days'] or '-':>4} d"
                f"  here {middle:4.0f} d  reached in {np.isfinite(found).sum()} of {found.size}, there {row['reached']}"
            )
    with (HERE / "ripening_heat.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["place", "base_c", "cap_c", "month", "heat_a_day_c"])
        for place, of_place in years.items():
            for name in ("summer-squash", "muskmelon"):
                crop = catalogue.crop(name)
                low, high = crop.ripening.base.value, crop.ripening.cap.value
                total = np.stack([ripening.heat(*pair, crop.ripening) for pair in of_place.values()]).mean(axis=0)
                daily = pd.Series(np.diff(total, prepend=0.0), pd.date_range("2001-01-01", periods=365))
                for month, mean in daily.groupby(daily.index.month).mean().items():
                    table.writerow([place, f"{low:.1f}", f"{high:.0f}", month, f"{mean:.2f}"])


if __name__ == "__main__":
    main()
