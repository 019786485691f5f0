"""Hold the decay of residue against litter bags: what was left, and what each of the three models leaves.

    python data/validation/residue.py FOLDER [FOLDER ...]

Each FOLDER holds daily records and an index.csv, as for ``planting_windows.py``, which names those that are meant.  The
soil is worked out from the air as for any field; what lies on top follows the rain, where the record has it.  Writes
the columns ``slow``, ``likely`` and ``fast`` of ``residue_checks.csv`` anew: the share that is left in the middle year.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import numpy as np
import pandas as pd
from planting_windows import RECORDS, record

from covercrop.base.arrays import Array
from covercrop.models import decay, soil_water
from covercrop.models.decomposition import CASES, case_of, nitrogen_released
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters import catalogue

HERE = Path(__file__).resolve().parent

#: Standard normal draw of the pace on top in each case: the ends of the interval that is shown.
DRAWS = dict(zip(CASES, (-1.2816, 0.0, 1.2816), strict=True))


def left(
    tmin: Array, tmax: Array, rain: Array, latitude: float, first_day: int, row: dict[str, str]
) -> dict[str, float]:
    """Share that is left in the middle year, slow, likely and fast; weather of shape (year, day) from the start on."""
    on_top = row["laid"] == "on top"
    soil = soil_temperature((tmin + tmax) / 2, "residue" if on_top else "bare")
    day_of_year = (first_day + np.arange(soil.shape[-1]) - 1) % 365 + 1
    moist = soil_water.moisture(rain, tmin, tmax, latitude, day_of_year, "residue" if on_top else "bare", 0.0)
    found = {}
    for case in CASES:
        water = moist
        if on_top:
            pace = decay.surface_pace(DRAWS[case])
            water = decay.surface_moisture(moist, soil_water.litter_moisture(rain), pace)
        elif row["water"] == "kept moist":
            water = np.ones_like(moist)
        by_model = nitrogen_released(soil, 0.0, catalogue.cover(row["cover"]).residue, moisture=water)
        found[case] = float(np.median(1 - case_of(by_model, case)[:, 7 * int(row["weeks"])]))
    return found


def seasons(folders: list[Path], row: dict[str, str]) -> tuple[Array, Array, Array, int]:
    """Extremes and rain of each year from the day on which the residue was laid; and that day of the year."""
    table = record(folders, row["place"]).table
    days = 7 * int(row["weeks"]) + 1
    found, day = [], 1
    for year in sorted(set(table.index.year)):
        axis = pd.date_range(f"{year}-{row['laid_on']}", periods=days)
        part = table.reindex(axis)
        if not part[["tmin_c", "tmax_c"]].isna().any(axis=None):
            found.append(part.to_numpy()[:, :3].astype(float))
            day = axis[0].day_of_year
    return *np.moveaxis(np.stack(found), -1, 0), day


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", type=Path, nargs="+")
    folders = parser.parse_args().folders
    path = HERE / "residue_checks.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        tmin, tmax, rain, first_day = seasons(folders, row)
        ours = left(tmin, tmax, rain, RECORDS[row["place"]][1], first_day, row)
        row |= {case: f"{share:.2f}" for case, share in ours.items()}
        print(
            f"{row['place']:14} {row['cover']:15} {row['laid']:7} {row['weeks']:>3} weeks  there {row['left']:>5}"
            f" of the {row['of']:8}  here {row['likely']} ({row['fast']} to {row['slow']})"
        )
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        table.writeheader()
        table.writerows(rows)


if __name__ == "__main__":
    main()
