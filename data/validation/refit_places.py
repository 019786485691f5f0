"""Fit bloom to dated records of several places, with whole places left out: which form, which sums, what spread.

Run from the top of the repository::

    python data/validation/refit_places.py FOLDER            # print the fits
    python data/validation/refit_places.py FOLDER --write    # and rewrite bloom_places.csv

FOLDER holds the daily records that ``bloom_dated.csv`` names in ``weather``, columns ``date,tmin,tmax`` (none is
shipped: they are public).  A record in degrees Fahrenheit is told by a minimum or maximum above 60.

``bloom_dated.csv`` holds one flowering a row.  Where two sowing days or several stations stand for one printed date,
their mean is fitted.  A row with ``latest`` is an interval: no day in it is an error.  Rows without a year are what is
usual, and their mean over all years of the record is fitted.

A sum is fitted to each cultivar, drawn towards the mean of its type as if that were a third of a row (a cultivar seen
once), under each form of :data:`FORMS`: base temperature, day-length gate, cool days, and plain sums among them.  The
form is chosen twice: with all places (``fixed``), and again without the place that is asked about (``nested``), which
is what a new place can expect.  From the second come the spread and the intervals: Student's t with as many degrees of
freedom as there are places, less one.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import t as student

from covercrop.models.daylength import day_length
from covercrop.models.phenology import COOL_RANGE, SEED_DEPTH
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters import catalogue

HERE = Path(__file__).resolve().parent
TABLE, RESULTS = HERE / "bloom_dated.csv", HERE / "bloom_places.csv"

#: Base [degC], day length [h] at which nothing and all counts, cool days [d]; the first gate is a plain sum's.
FORMS = [
    (base, none, full, cool)
    for base in (-2.0, 0.0, 2.0, 4.0)
    for none, full in [(0, 1), *((low, high) for low in (6, 8, 9, 10) for high in (11, 12, 13, 14) if high - low > 1)]
    for cool in (0, 5, 20, 40, 60)
]
OPTIMUM = 22.0
SHRINK = 1 / 3
SEASON, LEAD = 290, 45

#: Files whose maxima are dated a day late in their source (they fit their neighbours' best a day earlier).
LATE_MAXIMA = ("au_badgingarra_wa_2006.csv", "au_eradu_wa_2005.csv")

#: What is fitted together: name, species, type ("" for all).  Standard types of vetch are one cultivar to the fit: in
#: America "common" seed is sown and in Korea named cultivars, so that continents could not be told from cultivars else.
SETS = (
    ("blue lupin, early types", "blue-lupin", "early"),
    ("blue lupin, late types", "blue-lupin", "late"),
    ("blue lupin, one form for all", "blue-lupin", ""),
    ("hairy vetch, standard types", "hairy-vetch", "standard"),
    ("hairy vetch, by cultivar", "hairy-vetch", ""),
    ("woollypod vetch", "woollypod-vetch", ""),
    ("common vetch", "common-vetch", ""),
    ("faba bean", "faba-bean", ""),
)
#: Days from a stage to 25 % bloom: in hairy vetch as counted in 2019, in lupin the share in flower is not stated.
TO_QUARTER = {"first flowers": 6.4, "flowering": 0.0, "50 % bloom": -3.2, "25 % bloom": 0.0}


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of the table with their weather: each has one season, or several whose mean was printed."""

    table: pd.DataFrame
    row: np.ndarray  # of each season, its row
    tmean: np.ndarray  # (season, day)
    hours: np.ndarray
    emerged: np.ndarray
    early: np.ndarray  # of each season, first and last day index of 25 % bloom
    late: np.ndarray

    def sums(self, form: tuple[float, ...]) -> np.ndarray:
        """Running sums towards bloom under a form, shape (season, day)."""
        base, none, full, cool = form
        up = np.arange(self.tmean.shape[1]) > self.emerged[:, np.newaxis]
        rate = np.clip(self.tmean - base, 0, OPTIMUM - base) * np.clip((self.hours - none) / (full - none), 0, 1) * up
        if cool:
            cold = (self.tmean > COOL_RANGE[0]) & (self.tmean < COOL_RANGE[1]) & up
            rate = rate * np.minimum(np.cumsum(cold, axis=1) / cool, 1.0)
        return np.cumsum(rate, axis=1)


def read_weather(folder: Path, name: str) -> pd.Series:
    """Daily means of a record [degC], short gaps on a straight line."""
    table = pd.read_csv(folder / name, usecols=["date", "tmin", "tmax"], parse_dates=["date"]).drop_duplicates("date")
    table = table.set_index("date").astype(float)
    if table.max().max() > 60:
        table = (table - 32) / 1.8
    if name in LATE_MAXIMA:
        table["tmax"] = table.tmax.shift(-1)
    return table.mean(axis=1, skipna=False).asfreq("D").interpolate(limit=15)


def read_rows(folder: Path, species: str, type_: str) -> Rows:
    """The rows of a species, or of one maturity type of it, with their weather."""
    table = pd.read_csv(TABLE, dtype=str, keep_default_na=False)
    table = table[(table.species == species) & ((table.type == type_) | (type_ == ""))].reset_index(drop=True)
    cover = catalogue.cover(species)
    records: dict[str, pd.Series] = {}
    seasons = []
    for number, row in enumerate(table.itertuples()):
        for name in row.weather.split("; "):
            records.setdefault(name, read_weather(folder, name))
            mean = records[name]
            for sown in row.sown.split("; "):
                years = (
                    [""] if len(sown) > 5 else [f"{year}-" for year in range(mean.index[0].year, mean.index[-1].year)]
                )
                for year in years:
                    days = pd.date_range(f"{year}{sown}", periods=SEASON)
                    air = mean.reindex(days).to_numpy()
                    needed = 200 if abs(float(row.latitude)) > 34 and year else 110
                    if days[0] < mean.index[0] or np.isnan(air[:needed]).any():
                        continue
                    seen = [
                        (pd.Timestamp(day if len(day) > 5 else f"{days[0].year + 1}-{day}") - days[0]).days
                        + TO_QUARTER[row.stage]
                        for day in (row.observed, row.latest or row.observed)
                    ]
                    before = mean.reindex(pd.date_range(end=days[0], periods=LEAD + 1)[:-1]).dropna().to_numpy()
                    filled = pd.Series(air).ffill().to_numpy()
                    soil = soil_temperature(np.r_[before, filled], "bare", depth_mm=SEED_DEPTH)[before.size :]
                    warmth = np.cumsum(np.maximum(soil - cover.emergence.base.value, 0))
                    hours = day_length(float(row.latitude), days.day_of_year.to_numpy(dtype=float))
                    up = int(np.argmax(warmth >= cover.emergence.sum.value))
                    seasons.append((number, filled, hours, up, *seen))
    if type_ == "standard":
        table["cultivar"] = type_
    columns = [np.array(column) for column in zip(*seasons, strict=True)]
    return Rows(table, *columns)


def days_of(total: np.ndarray, needed: np.ndarray) -> np.ndarray:
    """Day on which each season's running sum comes to what it needs."""
    after = np.clip((total < needed[:, np.newaxis]).sum(axis=1), 1, total.shape[1] - 1)
    row = np.arange(len(total))
    before = total[row, after - 1]
    step = np.maximum(total[row, after] - before, 1e-9)
    return after - 1 + np.clip((needed - before) / step, 0, 1)


def by_row(rows: Rows, values: np.ndarray) -> np.ndarray:
    """Mean of each row over its seasons."""
    return np.bincount(rows.row, values) / np.bincount(rows.row)


def predicted(rows: Rows, total: np.ndarray, fit: np.ndarray) -> tuple[np.ndarray, dict[str, float]]:
    """Day of 25 % bloom of each season from the rows fitted, and the sum of each cultivar."""
    index = np.arange(rows.row.size)
    middle = (rows.early + rows.late) / 2
    low = np.floor(middle).astype(int)
    at = total[index, low] + (middle - low) * (total[index, low + 1] - total[index, low])
    needed = by_row(rows, at)
    cultivars = rows.table.cultivar.to_numpy()
    mean = np.mean([needed[fit & (cultivars == each)].mean() for each in np.unique(cultivars[fit])])
    sums = {}
    for each in np.unique(cultivars):
        own = needed[fit & (cultivars == each)]
        sums[each] = float((own.sum() + SHRINK * mean) / (own.size + SHRINK))
    return days_of(total, np.array([sums[cultivars[row]] for row in rows.row])), sums


def misses(rows: Rows, day: np.ndarray) -> np.ndarray:
    """Error of each row [d]: late is positive, within an interval it is 0, a row's seasons are averaged."""
    mean = [by_row(rows, values) for values in (day, rows.early, rows.late)]
    return np.maximum(mean[0] - mean[2], 0) - np.maximum(mean[1] - mean[0], 0)


def left_out(rows: Rows, totals: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray, list[int], np.ndarray]:
    """Errors with places left out: under every form, under the form chosen without the place, and that form.

    Returns
    -------
    tuple
        Shape (form, row); (row,); the form of each place; and for each row the root mean square that the other places
        had when they were left out in turn, which is the scale of its interval.
    """
    site = rows.table.site.to_numpy()
    places = list(dict.fromkeys(site))
    every = np.stack([_without(rows, total, site, places, ()) for total in totals])
    nested, chosen, scale = np.full(site.size, np.nan), [], np.full(site.size, np.nan)
    for place in places:
        others = [each for each in places if each != place]
        within = np.stack([_without(rows, total, site, others, (place,)) for total in totals])
        by_form = [rms_of_places(errors, site, others) for errors in within]
        best = int(np.argmin(by_form))
        chosen.append(best)
        here = site == place
        nested[here] = misses(rows, predicted(rows, totals[best], ~here)[0])[here]
        scale[here] = by_form[best]
    return every, nested, chosen, scale


def _without(rows: Rows, total: np.ndarray, site: np.ndarray, places: list[str], never: tuple[str, ...]) -> np.ndarray:
    errors = np.full(site.size, np.nan)
    for place in places:
        here = site == place
        fit = ~here & ~np.isin(site, never)
        if fit.any():
            errors[here] = misses(rows, predicted(rows, total, fit)[0])[here]
    return errors


def rms_of_places(errors: np.ndarray, site: np.ndarray, places: list[str]) -> float:
    """Root mean square over the rows of some places."""
    chosen = np.isin(site, places) & ~np.isnan(errors)
    return float(np.sqrt(np.mean(errors[chosen] ** 2))) if chosen.any() else np.inf


def said(form: tuple[float, ...]) -> str:
    base, none, full, cool = form
    gate = "no gate" if full == 1 else f"gate {none:g} to {full:g} h"
    return f"base {base:g} degC, {gate}, {cool:g} cool days"


def fit_set(folder: Path, name: str, species: str, type_: str) -> pd.DataFrame:
    """Fit one set, print what came of it, and give its rows with their errors."""
    rows = read_rows(folder, species, type_)
    site = rows.table.site.to_numpy()
    places = list(dict.fromkeys(site))
    totals = [rows.sums(form) for form in FORMS]
    print(f"\n{name}: {site.size} rows, {len(places)} places")
    if len(places) < 3:
        for form in ((0.0, 8, 11, 0), (0.0, 0, 1, 0), (-2.0, 9, 13, 40)):
            day, sums = predicted(rows, rows.sums(form), np.ones(site.size, dtype=bool))
            print(f"  {said(form)}: errors {np.round(misses(rows, day), 1)}")
            print("    sums:", {k: round(v) for k, v in sums.items()})
        return pd.DataFrame()
    every, nested, _, scale = left_out(rows, totals)
    error = [rms_of_places(each, site, places) for each in every]
    order = np.argsort(error)
    for label, wanted in (
        ("best", lambda form: True),
        ("plain sum", lambda form: form[2] == 1 and not form[3]),
        ("gate without cool days", lambda form: form[2] > 1 and not form[3]),
        ("cool days without gate", lambda form: form[2] == 1 and form[3]),
        ("as shipped", lambda form: form == shipped(species, type_)),
    ):
        found = [place for place in order if wanted(FORMS[place])]
        if found:
            print(f"  {label}: {error[found[0]]:.1f} d with places left out ({said(FORMS[found[0]])})")
    half = student.ppf(0.9, len(places) - 1) * scale
    print(f"  form chosen without the place: {rms_of_places(nested, site, places):.1f} d")
    print(f"  80 % interval holds {np.mean(np.abs(nested) <= half):.0%} of the rows left out")
    by_place = pd.Series(nested).groupby(site).mean()
    print("  by place:", by_place.round(1).to_dict(), f"sd {by_place.std():.1f}")
    form = shipped(species, type_)
    total = rows.sums(form)
    day, sums = predicted(rows, total, np.ones(site.size, dtype=bool))
    rate = np.diff(total, axis=1, prepend=0)
    pace = np.mean([rate[k, max(int(rows.early[k]) - 13, 0) : int(rows.early[k]) + 1].mean() for k in range(len(rate))])
    print(f"  as shipped ({said(form)}), pace {pace:.1f} K; sums:", {k: round(v) for k, v in sums.items()})
    of_form = FORMS.index(form)
    return rows.table.assign(
        set=name,
        fitted_error_days=misses(rows, day).round(1),
        left_out_error_days=every[of_form].round(1),
        nested_error_days=nested.round(1),
        plain_sum_error_days=every[
            min((p for p, f in enumerate(FORMS) if f[2] == 1 and not f[3]), key=lambda p: error[p])
        ].round(1),
        half_interval_days=half.round(1),
    )[
        [
            "set",
            "species",
            "cultivar",
            "site",
            "sown",
            "stage",
            "observed",
            "latest",
            "fitted_error_days",
            "left_out_error_days",
            "nested_error_days",
            "plain_sum_error_days",
            "half_interval_days",
        ]
    ]


def shipped(species: str, type_: str) -> tuple[float, ...]:
    """The form of a cover in ``covers.toml``, with the cool days of the cultivars of a type."""
    cover = catalogue.cover(species)
    bloom = cover.bloom
    cool = [
        each.cool_days.value for each in cover.cultivars if each.group == type_ != "" and each.cool_days is not None
    ]
    return (
        bloom.base.value,
        bloom.day_length_none.value,
        bloom.day_length_full.value,
        cool[0] if cool else bloom.cool_days.value,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, help="folder with the daily records")
    parser.add_argument("--write", action="store_true", help="rewrite bloom_places.csv")
    options = parser.parse_args()
    named = pd.read_csv(TABLE).weather.str.split("; ").explode().unique()
    if missing := sorted(name for name in named if not (options.folder / name).is_file()):
        sys.exit(f"{options.folder}: {missing[0]} not there ({len(missing)} missing); give a folder with all of them")
    done = [fit_set(options.folder, *each) for each in SETS]
    if options.write:
        text = pd.concat([each for each in done if not each.empty]).to_csv(index=False, lineterminator="\n")
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
