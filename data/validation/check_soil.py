"""How often the 80 % interval of the day on which the soil is warm holds the day that was measured.

Run from the top of the repository::

    python data/validation/check_soil.py FOLDER

FOLDER holds one CSV a station, columns ``date,tmin,tmax`` and ``soil_temp_5cm`` or ``soil_temp_10cm``, in degrees
Celsius, and ``index.csv`` with columns ``file`` and ``ground_cover`` (none is shipped: they are public).  None was in
a fit.  The day is the first after the middle of March on which the soil has held what a crop waits for; the
interval comes of the draws that the program uses, on ground taken to be bare.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.models.members import quantiles, standard_draws
from covercrop.models.plantback import soil_warm
from covercrop.models.soil_temperature import SOIL_ERROR_SD, soil_temperature
from covercrop.season.measurements import PASSING_SHARE

THRESHOLDS = (12.0, 16.0, 18.0)
FIRST, LAST = 74, 200  # days of the year


def springs(table: pd.DataFrame) -> list[tuple[np.ndarray, np.ndarray]]:
    """Air and measured soil of each spring that is whole, from 1 January on [degC]."""
    soil = (
        "soil_temp_5cm" if table.get("soil_temp_5cm", pd.Series(dtype=float)).notna().sum() > 100 else "soil_temp_10cm"
    )
    air = table[["tmin", "tmax"]].mean(axis=1, skipna=False)
    found = []
    for year in sorted(set(table.index.year)):
        days = pd.date_range(f"{year}-01-01", periods=LAST)
        both = pd.DataFrame({"air": air.reindex(days), "soil": table[soil].reindex(days)}).interpolate(limit=3)
        if not both.iloc[10:].isna().any().any():
            found.append((both.air.bfill().to_numpy(), both.soil.bfill().to_numpy()))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    index = pd.read_csv(folder / "index.csv")
    draws = standard_draws()
    lasting = SOIL_ERROR_SD * np.sqrt(1 - PASSING_SHARE) * draws.soil
    passing = SOIL_ERROR_SD * np.sqrt(PASSING_SHARE) * draws.soil_passing
    rows = []
    for station in index.itertuples():
        table = pd.read_csv(folder / station.file, parse_dates=["date"]).drop_duplicates("date").set_index("date")
        for air, measured in springs(table):
            modelled = soil_temperature(air, "bare")
            for threshold in THRESHOLDS:
                seen = float(soil_warm(measured, threshold, float(FIRST)))
                day = soil_warm(modelled, threshold, np.full(draws.soil.size, float(FIRST)), lasting + passing)
                early, middle, late = quantiles(day, np.ones(day.size))
                if not np.isnan(seen + early + late) and seen > FIRST:
                    rows.append(
                        (station.ground_cover.split(" (")[0], station.file, threshold, seen, early, middle, late)
                    )
    found = pd.DataFrame(rows, columns=["cover", "file", "threshold", "seen", "early", "middle", "late"])
    found["held"] = (found.early <= found.seen) & (found.seen <= found.late)
    found["bias"] = found.middle - found.seen
    found["width"] = found.late - found.early
    print(
        found.groupby("cover")
        .agg(
            stations=("file", "nunique"),
            springs=("held", "size"),
            held=("held", "mean"),
            bias=("bias", "mean"),
            width=("width", "mean"),
        )
        .round(2)
        .to_string()
    )
    print(f"all: {found.held.mean():.0%} of {len(found)} days at {found.file.nunique()} stations")


if __name__ == "__main__":
    main()
