"""Hold the soil temperature against measurements, and fit the leaf area of each kind of ground on half of the stations.

    python data/validation/soil_temperature.py FOLDER

FOLDER holds daily air and soil temperatures of many stations and an index.csv that says what covers their ground.
Prints, for each kind of ground, bias and error of the daily value from March to June with no leaves above the ground
and with the leaf area that fits every second station, shown on the others; and how far the days lie apart on which the
soil has been warm enough on four days running.  Writes ``soil_checks.csv``: ten-day means of a few stations.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import numpy as np
import pandas as pd

from covercrop.base.arrays import Array
from covercrop.models.degree_days import first_at_least
from covercrop.models.soil_temperature import daily_gain, held, surface_temperature

HERE = Path(__file__).resolve().parent
LEAF_AREAS = np.arange(0.0, 4.1, 0.25)
KEPT = {"de_dwd_00403.csv": "2017", "ks_manhattan_6_ssw_uscrn.csv": "2015", "il_bondville_1998.csv": "1998"}
THRESHOLDS = (15.6, 18.3)  # 60 and 65 degF


def kind_of(row: dict[str, str]) -> str:
    """The kind of ground, from what the index says of a station."""
    words = row["ground_cover"].lower()
    if ("grass" in words and "snow-zone" not in words) or "prairie" in words:
        return "grass, east of 100 W" if float(row["lon"] or 0) > -100 else "grass, west of 100 W"
    for part, kind in (
        ("bare soil plot", "bare plot"),
        ("bare/short", "bare or short cover"),
        ("no-till", "no-till field"),
    ):
        if part in words:
            return kind
    return "sparse" if "arid" in words or "snow-zone" in words else "not stated"


def modelled(air: Array, leaf_area: float, depth_mm: float) -> Array:
    """The soil of each day under one leaf area."""
    surface, gain = surface_temperature(air, leaf_area), float(daily_gain(depth_mm, leaf_area))
    soil = np.empty_like(air)
    now = surface[0]
    for day, value in enumerate(surface):
        now = now + gain * (value - now)
        soil[day] = now
    return soil


def springs(table: pd.DataFrame, column: str) -> list[tuple[Array, Array]]:
    """Air and soil of each spring, from February on so that the start is forgotten; the soil NaN before March."""
    found = []
    for year, measured in table.groupby(table.index.year):
        axis = pd.date_range(f"{year}-02-01", f"{year}-06-30")
        days = measured.reindex(axis)
        air = ((days["tmin"] + days["tmax"]) / 2).interpolate(limit=3).to_numpy()
        soil = days[column].where(axis.month >= 3).to_numpy()
        if not np.isnan(air).any() and (~np.isnan(soil)).sum() >= 60:
            found.append((air, soil))
    return found


def misses(stations: list[tuple[str, float, list[tuple[Array, Array]]]], leaf_area: float) -> list[Array]:
    """Model less measurement [K], a station each."""
    return [
        np.concatenate([modelled(air, leaf_area, depth) - soil for air, soil in years]) for _, depth, years in stations
    ]


def summary(parts: list[Array]) -> str:
    """Bias, error and the number of days and stations."""
    every = np.concatenate(parts)
    every = every[~np.isnan(every)]
    return f"bias {every.mean():+.1f}  error {np.sqrt((every**2).mean()):.1f} K  ({every.size} days, {len(parts)} st.)"


def days_apart(
    stations: list[tuple[str, float, list[tuple[Array, Array]]]], leaf_area: float, threshold: float
) -> Array:
    """Days from the measured to the modelled first day on which the soil has been warm enough [d]."""
    found = []
    for _, depth, years in stations:
        for air, soil in years:
            if np.isnan(soil[28:]).any():
                continue
            first = [
                float(first_at_least(held(each), threshold, 28.0)[0])
                for each in (modelled(air, leaf_area, depth), soil)
            ]
            found.append(first[0] - first[1])
    return np.array([each for each in found if not np.isnan(each)])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    kinds: dict[str, list[tuple[str, float, list[tuple[Array, Array]]]]] = {}
    kept = []
    with (folder / "index.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        table = pd.read_csv(folder / row["file"], parse_dates=["date"]).set_index("date")
        column = next(
            (
                name
                for name in ("soil_temp_5cm", "soil_temp_10cm")
                if table.get(name) is not None and table[name].notna().any()
            ),
            None,
        )
        if column is None:
            continue
        depth = 50.0 if "_5cm" in column else 100.0
        years = springs(table, column)
        if years:
            kinds.setdefault(kind_of(row), []).append((row["station"], depth, years))
        if year := KEPT.get(row["file"]):
            days = table.loc[f"{year}-02-01" : f"{year}-06-30"]
            air = ((days["tmin"] + days["tmax"]) / 2).resample("10D", origin="start").mean()
            soil = days[column].resample("10D", origin="start").mean()
            kept += [
                [row["station"], kind_of(row), f"{depth:.0f}", f"{day:%Y-%m-%d}", f"{a:.2f}", f"{s:.2f}"]
                for (day, a), s in zip(air.items(), soil, strict=True)
                if not np.isnan(a + s)
            ]
    for kind, stations in kinds.items():
        print(f"{kind}: no leaves   {summary(misses(stations, 0.0))}")
        half, rest = stations[::2], stations[1::2]
        errors = [np.nanmean(np.concatenate(misses(half, area)) ** 2) for area in LEAF_AREAS]
        area = float(LEAF_AREAS[int(np.argmin(errors))])
        shown = summary(misses(rest, area)) if rest else "no other station"
        print(f"  leaf area {area:.2f} fits every second one; on the rest  {shown}")
        for threshold in THRESHOLDS:
            for leaf in sorted({0.0, 1.0, area}):
                apart = days_apart(stations, leaf, threshold)
                if apart.size:
                    print(
                        f"  {threshold:.1f} degC, leaf area {leaf:.2f}: {np.mean(apart):+.0f} d, on average "
                        f"{np.abs(apart).mean():.0f} d off, {np.std(apart):.0f} d of spread (N {apart.size})"
                    )
    with (HERE / "soil_checks.csv").open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["station", "ground", "depth_mm", "from", "air_c", "soil_c"])
        out.writerows(kept)


if __name__ == "__main__":
    main()
