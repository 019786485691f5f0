"""Hold the earliest planting after an early-ended cover against the windows of practice of ten places.

    python data/validation/planting_windows.py FOLDER [FOLDER ...]

Each FOLDER holds daily records (date, tmin, tmax and perhaps prcp) and an index.csv, which says ``degF`` in the column
``unit`` of those that are not in degrees Celsius; the records that are meant are named in :data:`RECORDS`.  Writes the
columns ``likely``, ``safe`` and ``binding`` of ``planting_windows.csv`` anew, and ``place_normals.csv``: what the
weather of each place is like in each month, from which the tests make up years of their own.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.base.records import DailyWeather
from covercrop.field.entries import CoverEntry, CropEntry, Field
from covercrop.season.plan import Plan, make_plan

HERE = Path(__file__).resolve().parent

#: File and latitude of the record of each place.
RECORDS = {
    "Seattle WA": ("wa_seattle", 47.4),
    "Pendleton OR": ("or_pendleton", 45.7),
    "Hickory Corners MI": ("mi_dssat_mskb", 42.4),
    "Ames IA": ("ia_ames", 42.0),
    "Chicago IL": ("il_chicago", 41.9),
    "Clemson SC": ("sc_clemson", 34.7),
    "Wagga Wagga NSW": ("au_wagga", -35.2),
    "Beltsville MD": ("md_beltsville", 39.0),
    "Raleigh NC": ("nc_raleigh", 35.9),
    "Shelton NE": ("ne_shelton", 40.8),
    "Davis CA": ("ca_esparto", 38.7),
}
FIRST_YEAR = 1985

#: Weeks from ending the cover to the beginning of the window: what waits for residue and disease is over by then.
EARLY_WEEKS = 10


def record(folders: list[Path], place: str) -> DailyWeather:
    """The daily record of a place; short gaps are bridged."""
    name, _ = RECORDS[place]
    path = next(path for folder in folders for path in sorted(folder.glob(f"{name}*.csv")))
    with (path.parent / "index.csv").open(encoding="utf-8", newline="") as file:
        unit = next(row.get("unit", "degC") for row in csv.DictReader(file) if row["file"] == path.name)
    table = pd.read_csv(path, parse_dates=["date"]).drop_duplicates("date").set_index("date")
    if unit == "degF":
        table[["tmin", "tmax"]] = (table[["tmin", "tmax"]] - 32) / 1.8
    table = table[table.index.year >= FIRST_YEAR]
    table = table.reindex(pd.date_range(table.index[0], table.index[-1], name="date"))
    table[["tmin", "tmax"]] = table[["tmin", "tmax"]].interpolate(limit=5)
    table.loc[table["tmin"] > table["tmax"], ["tmin", "tmax"]] = np.nan
    table = table.rename(columns={"tmin": "tmin_c", "tmax": "tmax_c", "prcp": "prcp_mm"})
    if "prcp_mm" not in table:
        table["prcp_mm"] = np.nan
    return DailyWeather(table=table[["tmin_c", "tmax_c", "prcp_mm"]].assign(origin="observed", flag=""))


def planned(weather: DailyWeather, latitude: float, row: dict[str, str]) -> Plan:
    """A field whose cover was ended early, asked about on that day, in the last spring that the record has."""
    table = weather.table
    known = table.index[table["tmin_c"].notna()]
    for year in range(known[-1].year, known[0].year, -1):
        ended = pd.Timestamp(f"{year}-{row['practice_from']}") - pd.Timedelta(weeks=EARLY_WEEKS)
        sown = ended - pd.Timedelta(days=150)
        if ended <= known[-1] and table.loc[sown:ended, "tmin_c"].notna().all():
            break
    field = Field(
        name=row["place"],
        latitude=latitude,
        longitude=0.0,
        cover=CoverEntry(species="crimson-clover", sown=sown.date(), turned_under=ended.date()),
        crop=CropEntry(name=row["crop"], method=row["method"]),
    )
    # What came after the day of the question is of other years.
    return make_plan(field, DailyWeather(table=table.loc[: ended - dt.timedelta(days=1)]), np.datetime64(ended, "D"))


def normals(weather: DailyWeather, place: str) -> list[list[str]]:
    """Mean extremes of each month, how far a day lies from them, how like it the next one is, and the rain."""
    table = weather.table
    mean = table[["tmin_c", "tmax_c"]].mean(axis=1, skipna=False)
    smooth = mean.groupby(mean.index.day_of_year).mean()
    usual = smooth.rolling(31, center=True, min_periods=1).mean().reindex(mean.index.day_of_year).to_numpy()
    off = mean - usual
    rows = []
    for month in range(1, 13):
        here = table.index.month == month
        low, high = table.loc[here, "tmin_c"].mean(), table.loc[here, "tmax_c"].mean()
        part = pd.DataFrame({"now": off[here], "next": off.shift(-1)[here]}).dropna()
        rain = table.loc[here, "prcp_mm"].mean()
        rows.append(
            [
                place,
                str(month),
                f"{low:.1f}",
                f"{high:.1f}",
                f"{part['now'].std():.1f}",
                f"{part['now'].corr(part['next']):.2f}",
                "" if np.isnan(rain) else f"{rain:.1f}",
            ]
        )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+")
    folders = parser.parse_args().folders
    path = HERE / "planting_windows.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    weather = {place: record(folders, place) for place in RECORDS}
    for row in rows:
        if not row["place"]:
            continue
        plan = planned(weather[row["place"]], RECORDS[row["place"]][1], row)
        likely, safe = plan.dates["earliest_planting"].median, plan.planting.safe
        row |= {"likely": str(likely)[5:], "safe": str(safe)[5:], "binding": str(plan.planting.binding)}
        late = (safe - np.datetime64(f"{str(safe)[:4]}-{row['practice_from']}")).astype(int)
        print(
            f"{row['place']:20} {row['crop']:14} {row['method']:12} from {row['practice_from']}  likely {row['likely']}"
            f"  safe {row['safe']} ({late:+} d)  {row['binding']}"
            f"  soil {str(plan.dates['soil_warm'].median)[5:]} frost {str(plan.dates['frost'].median)[5:]}"
            f" residue {str(plan.dates['residue'].median)[5:]}"
        )
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)
    with (HERE / "place_normals.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["place", "month", "tmin_c", "tmax_c", "sd_c", "next_day", "rain_mm_a_day"])
        for place, of_place in weather.items():
            out.writerows(normals(of_place, place))


if __name__ == "__main__":
    main()
