"""What the planting dates of five crops come to at ten places.

    python data/validation/ten_places.py FOLDER [FOLDER ...]

Each FOLDER holds daily records and an index.csv, as for ``planting_windows.py``; the records that are meant are named
in :data:`PLACES`.  Hairy vetch is sown on 15 September and ended on a day that stands there, by turning under before
crops that are sown and by rolling before those that are set out, and asked about on that day.  Prints a row a place and
crop, for the table of ``guide/soil.md``: likely and safe planting, the last day that ripens in half of the years, and
the chance to ripen planted on the safe day.  Run it with another version of the package on the path to see what moves.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.base.records import DailyWeather
from covercrop.field.entries import CoverEntry, CropEntry, Field
from covercrop.season.plan import make_plan

#: File, unit, latitude, and the day on which vetch stands in full bloom there in the middle year.
PLACES = {
    "Seattle WA": ("wa_seattle", "degF", 47.4, "06-10"),
    "Geneva NY": ("ny_geneva", "degC", 42.9, "06-15"),
    "State College PA": ("pa_state_college", "degC", 40.8, "06-06"),
    "Beltsville MD": ("md_beltsville", "degC", 39.0, "05-25"),
    "Raleigh NC": ("nc_raleigh", "degF", 35.9, "05-08"),
    "Clemson SC": ("sc_clemson", "degF", 34.7, "05-03"),
    "Ames IA": ("ia_ames", "degF", 42.0, "06-05"),
    "Champaign IL": ("il_champaign", "degC", 40.1, "05-26"),
    "Amherst MA": ("ma_amherst", "degC", 42.4, "06-14"),
    "Burlington IA": ("ia_burlington", "degF", 40.8, "05-28"),
}
CROPS = {
    "summer-squash": "direct-seed",
    "winter-squash": "transplant",
    "pumpkin": "transplant",
    "muskmelon": "transplant",
    "sweet-corn": "direct-seed",
}
FIRST_YEAR, LAST_YEAR = 1990, 2017


def record(folders: list[Path], name: str, unit: str) -> pd.DataFrame:
    """The daily record of a place; short gaps are bridged."""
    path = next(path for folder in folders for path in sorted(folder.glob(f"{name}*.csv")))
    table = pd.read_csv(path, parse_dates=["date"]).drop_duplicates("date").set_index("date")[["tmin", "tmax"]]
    if unit == "degF":
        table = (table - 32) / 1.8
    table = table.loc[f"{FIRST_YEAR}" : f"{LAST_YEAR}-12-31"]
    table = table.reindex(pd.date_range(table.index[0], table.index[-1], name="date")).interpolate(limit=10)
    table.columns = ["tmin_c", "tmax_c"]
    return table.assign(prcp_mm=np.nan, origin="observed", flag="")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+")
    folders = parser.parse_args().folders
    for place, (name, unit, latitude, bloom) in PLACES.items():
        table = record(folders, name, unit)
        ended = np.datetime64(f"{LAST_YEAR}-{bloom}")
        weather = DailyWeather(table=table.loc[: pd.Timestamp(ended) - pd.Timedelta(days=1)])
        for crop, method in CROPS.items():
            field = Field(
                name=place,
                latitude=latitude,
                longitude=0.0,
                cover=CoverEntry(
                    species="hairy-vetch",
                    sown=pd.Timestamp(f"{LAST_YEAR - 1}-09-15").date(),
                    turned_under=ended.item(),
                    terminate="roll" if method == "transplant" else "turn-under",
                ),
                crop=CropEntry(name=crop, method=method),
            )
            plan = make_plan(field, weather, ended)
            days = plan.dates["earliest_planting"].median, plan.planting.safe, plan.dates["latest_planting"].median
            likely, safe, last = (str(day)[5:] or "none" for day in days)
            print(f"{place},{crop},{method},{likely},{safe},{last},{plan.planting.ripens:.2f},{plan.planting.binding}")


if __name__ == "__main__":
    main()
