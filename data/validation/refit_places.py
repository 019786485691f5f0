"""Fit bloom to dated records of several places, with whole places left out: which form, which sums, what spread.

Run from the top of the repository::

    python data/validation/refit_places.py FOLDER            # print the fits
    python data/validation/refit_places.py FOLDER --write    # and rewrite bloom_places.csv

FOLDER holds the daily records that ``bloom_dated.csv`` names in ``weather``, columns ``date,tmin,tmax`` (none is
shipped: they are public).  A record in degrees Fahrenheit is told by a minimum or maximum above 60.

``bloom_dated.csv`` holds one flowering a row.  A row whose ``earliest`` and ``latest`` differ is an interval: what was
worked back from a sum, from the day of a roller or from what is usual is not known to the day, and its likelihood is
the chance of the whole interval.  Where two sowing days or several stations stand for one printed date, their mean is
fitted.  Rows without a year are what is usual, and their mean over all years of the record is fitted.  ``basis`` says
which rows are dated, which were worked back, and which are what is usual.

Days follow the function that the program follows (:mod:`covercrop.models.phenology`) under each form of :data:`FORMS`:
base temperature, day-length gate, cool days, and plain sums among them.  Of each form the sums of all cultivars are
known as far as the rows tell, each drawn towards the mean of its set; a row scatters about its day with a standard
deviation that is not known either.  Forms are averaged by the likelihood that they give places left out of the fit,
each place counting as one case.  To say what a new place can expect, the place that is asked about has no say in sums,
scatter or average (``averaged``); beside it stand the one best form chosen in that way (``nested``), the plain sum that
is best when all places are known (``plain_sum``), and the form that is shipped (``left_out``).
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

from covercrop.base.arrays import Array
from covercrop.models import phenology
from covercrop.models.daylength import day_length
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Cover

HERE = Path(__file__).resolve().parent
TABLE, RESULTS = HERE / "bloom_dated.csv", HERE / "bloom_places.csv"

#: Base [degC], day length [h] at which nothing and all counts, cool days [d]; the first gate is a plain sum's.  A gate
#: that begins far below the shortest day is the average of a gate and a plain sum.
FORMS = np.array(
    [
        (base, none, full, cool)
        for base in (-2.0, 0.0, 2.0, 4.0)
        for none, full in [(0, 1), *((low, high) for low in (0, 4, 6, 8, 9, 10) for high in (11, 12, 13, 14))]
        for cool in (0, 5, 20, 40, 60)
    ]
)
PLAIN = (FORMS[:, 2] == 1) & (FORMS[:, 3] == 0)
SEASON, LEAD = 290, 45

#: Scatter of a row about its day [d], and how likely it is before the rows of the set are seen: where they are of few
#: places, about what was found in hairy vetch and blue lupin.
SCATTER = np.array([1.5, 2.2, 3.2, 4.6, 6.6, 9.5, 13.6])
FEW_PLACES, USUAL_SCATTER, SURE = 4, 5.5, 0.4

#: A row whose interval is shorter is dated, and can tell the scatter [d].
DATED = 5

#: Rows of one cultivar at one place hang together: each counts as one over 1 and half of the number of the others.
TOGETHER = 0.5

#: Files whose maxima are dated a day late in their source (they fit their neighbours' best a day earlier).
LATE_MAXIMA = ("au_badgingarra_wa_2006.csv", "au_eradu_wa_2005.csv")

#: What is fitted together: name, species, type ("" for all), how far the sums of its cultivars differ [share], and the
#: set of a relative before it whose weights the forms start with, where there are too few places to tell them apart.
#: Standard types of vetch are one cultivar to the fit: in America "common" seed is sown and in Korea named cultivars,
#: so that continents could not be told from cultivars else.
SETS = (
    ("blue lupin, early types", "blue-lupin", "early", 0.03, ""),
    ("blue lupin, late types", "blue-lupin", "late", 0.04, ""),
    ("hairy vetch, standard types", "hairy-vetch", "standard", 0.01, ""),
    ("hairy vetch, by cultivar", "hairy-vetch", "", 0.2, ""),
    ("crimson clover", "crimson-clover", "", 0.05, ""),
    ("winter pea", "winter-pea", "", 0.05, ""),
    ("berseem", "berseem-clover", "", 0.05, "crimson clover"),
    ("common vetch", "common-vetch", "", 0.5, "hairy vetch, standard types"),
    ("woollypod vetch", "woollypod-vetch", "", 0.05, "hairy vetch, standard types"),
    ("faba bean", "faba-bean", "", 0.05, "blue lupin, early types"),
    ("lentil, two spring types", "lentil", "spring", 0.05, ""),
    ("lentil, a winter type", "lentil", "winter", 0.05, "lentil, two spring types"),
)
#: Not a cover of the program: comes up like this one, and is here for the form alone.
COMES_UP_LIKE = {"lentil": "common-vetch"}
#: Days from a stage to 25 % bloom: in hairy vetch as counted in 2019, in lupin the share in flower is not stated.
TO_QUARTER = {"first flowers": 6.4, "flowering": 0.0, "50 % bloom": -3.2, "25 % bloom": 0.0}

#: Where a cover may be sown anew, for the doubt that the forms leave there: record, latitude, day of sowing.
ANEW = (
    ("nc_raleigh_durham_rdu.csv", 35.89, "10-01"),
    ("md_beltsville_USC00180700.csv", 39.03, "09-20"),
    ("ny_ithaca_cornell_univ_USC00304174.csv", 42.45, "09-01"),
    ("ia_ames_8_wsw_IA0200.csv", 42.03, "09-05"),
    ("wa_pullman_1998_2019.csv", 46.78, "09-10"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of the table with their weather: each has one season, or several whose mean was printed."""

    table: pd.DataFrame
    cover: Cover
    row: NDArray[np.int64]  # of each season, its row
    tmean: Array  # (season, day)
    hours: Array
    emerged: Array
    early: Array  # of each season, first and last day index of 25 % bloom
    late: Array

    def sums(self, form: Array) -> Array:
        """Running sums towards bloom under a form, shape (season, day)."""
        names = ("base", "day_length_none", "day_length_full", "cool_days")
        bloom = self.cover.bloom
        changed = {name: replace(getattr(bloom, name), value=float(v)) for name, v in zip(names, form, strict=True)}
        rate = phenology.photothermal_rate(self.tmean, self.hours, self.emerged, replace(bloom, **changed))
        return np.cumsum(rate, axis=1)

    def mean(self, values: Array) -> Array:
        """Mean of each row over its seasons, on the first axis."""
        total = np.zeros((int(self.row[-1]) + 1, *values.shape[1:]))
        np.add.at(total, self.row, values)
        return total / np.bincount(self.row).reshape(-1, *[1] * (values.ndim - 1))


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
    if type_ == "standard":
        table["cultivar"] = type_
    return with_weather(folder, table, cover_of(species))


def cover_of(species: str) -> Cover:
    """The cover, or that which a relative comes up like."""
    return catalogue.cover(COMES_UP_LIKE.get(species, species))


def with_weather(folder: Path, table: pd.DataFrame, cover: Cover) -> Rows:
    """Rows of the table with their weather, season by season."""
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
                        for day in (row.earliest, row.latest)
                    ]
                    before = mean.reindex(pd.date_range(end=days[0], periods=LEAD + 1)[:-1]).dropna().to_numpy()
                    filled = pd.Series(air).ffill().to_numpy()
                    hours = day_length(float(row.latitude), days.day_of_year.to_numpy(dtype=float))
                    up = float(phenology.emergence(filled, cover, lead=before))
                    seasons.append((number, filled, hours, up, *seen))
    columns = [np.array(column) for column in zip(*seasons, strict=True)]
    return Rows(table, cover, *columns)


# --- one form -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Under:
    """Rows under one form: the day of each for every sum that may be needed, and how well it fits.

    Attributes
    ----------
    usual : float
        Middle of what the rows needed [degC d].
    sums : numpy.ndarray, shape (sum,)
        [degC d]
    days : numpy.ndarray, shape (row, sum)
    likely : numpy.ndarray, shape (scatter, row, sum)
        Chance of what was seen of a row.
    """

    usual: float
    sums: Array
    days: Array
    likely: Array


def under(rows: Rows, form: Array) -> Under:
    """Follow the rows under a form."""
    total = rows.sums(form)
    index = np.arange(total.shape[1])
    middle = np.array(
        [np.interp(at, index, sums) for at, sums in zip((rows.early + rows.late) / 2, total, strict=True)]
    )
    needed = np.maximum(rows.mean(middle), 20.0)
    sums = np.linspace(0.4 * needed.min(), 1.6 * needed.max(), 200)
    reached = np.stack([np.interp(sums, each + 1e-6 * index, index) for each in total])
    days = rows.mean(reached)
    early, late = (rows.mean(each)[:, np.newaxis] for each in (rows.early, rows.late))
    scatter = SCATTER[:, np.newaxis, np.newaxis]
    likely = ndtr((late + 0.5 - days) / scatter) - ndtr((early - 0.5 - days) / scatter)
    return Under(float(np.median(needed)), sums, days, np.maximum(likely, 1e-12))


def known(seen: Under, rows: Rows, fit: NDArray[np.bool_], share: float) -> dict[str, Array]:
    """How likely each sum is for each cultivar by the rows fitted, shape (scatter, sum); each adds up to 1."""
    return known_logs(seen, rows, fit, share)[0]


def known_logs(seen: Under, rows: Rows, fit: NDArray[np.bool_], share: float) -> tuple[dict[str, Array], Array]:
    """The same, and the log of the likelihood of the rows for each scatter, any mean of the sums being as likely."""
    site, cultivar = (rows.table[name].to_numpy() for name in ("site", "cultivar"))
    others = np.array([np.sum(fit & (site == s) & (cultivar == c)) - 1 for s, c in zip(site, cultivar, strict=True)])
    counts = fit / (1 + TOGETHER * np.maximum(others, 0))
    logs = np.log(seen.likely) * counts[:, np.newaxis]
    spread = share * seen.usual
    near = np.exp(-0.5 * ((seen.sums[:, np.newaxis] - seen.sums) / spread) ** 2)
    near /= near.sum(axis=0)
    of_each, of_mean = {}, {}
    for each in dict.fromkeys(cultivar):
        own = logs[:, cultivar == each].sum(axis=1)
        top = own.max(axis=1, keepdims=True)
        of_each[each] = np.exp(own - top)
        of_mean[each] = np.log(np.maximum(of_each[each] @ near, 1e-300)) + top
    together = np.sum(list(of_mean.values()), axis=0)
    found = {}
    for each, own in of_each.items():
        rest = together - of_mean[each]
        posterior = own * (np.exp(rest - rest.max(axis=1, keepdims=True)) @ near.T)
        found[each] = posterior / posterior.sum(axis=1, keepdims=True)
    return found, np.logaddexp.reduce(together, axis=1)


def foretold(seen: Under, rows: Rows, fit: NDArray[np.bool_], share: float) -> tuple[Array, Array, Array]:
    """Mean day, its variance and log of the chance of what was seen, (scatter, row) each, by the rows fitted."""
    by_cultivar = known(seen, rows, fit, share)
    posterior = np.stack([by_cultivar[each] for each in rows.table.cultivar], axis=1)
    mean = (posterior * seen.days).sum(axis=2)
    variance = (posterior * seen.days**2).sum(axis=2) - mean**2 + SCATTER[:, np.newaxis] ** 2
    return mean, variance, np.log((posterior * seen.likely).sum(axis=2))


# --- all forms, with places left out --------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """What is foretold of each row under each form without its place, and without one place more.

    Attributes
    ----------
    places : list of str
    mean, variance : numpy.ndarray, shape (form, scatter, row)
        Without the place of the row.
    score : numpy.ndarray, shape (place, place, form, scatter)
        Log of the chance of what was seen at the second place by a fit that knows neither; a place is one case.
    """

    places: list[str]
    mean: Array
    variance: Array
    score: Array

    def weights(self, without: int | None, forms: Array, scatter: Array) -> Array:
        """Weight of each form and scatter by the places left out in turn, but for one that has no say.

        With one place alone all places have been left out, and what was known before is all that is known.
        """
        logs = np.log(forms)[:, np.newaxis] + np.log(scatter)
        if len(self.places) > 1:
            for place in range(len(self.places)):
                if place != without:
                    logs = logs + self.score[place if without is None else without, place]
        weights = np.exp(logs - logs.max())
        return weights / weights.sum()


def left_out(rows: Rows, share: float, seen: list[Under]) -> LeftOut:
    """Leave out each place, and each two."""
    site = rows.table.site.to_numpy()
    places = list(dict.fromkeys(site))
    shape = (len(FORMS), SCATTER.size, site.size)
    mean, variance = np.full(shape, np.nan), np.full(shape, np.nan)
    score = np.zeros((len(places), len(places), *shape[:2]))
    for number, each in enumerate(seen):
        for one, first in enumerate(places):
            for two in range(one, len(places)):
                fit = (site != first) & (site != places[two])
                at, spread, logs = foretold(each, rows, fit, share)
                for away, here in ((one, two), (two, one)):
                    asked = site == places[here]
                    score[away, here, number] = logs[:, asked].mean(axis=1)
                    if one == two:
                        mean[number][:, asked], variance[number][:, asked] = at[:, asked], spread[:, asked]
    return LeftOut(places, mean, variance, score)


def mixed(weights: Array, mean: Array, variance: Array) -> tuple[Array, Array]:
    """Mean, and half of the 80 % interval, of a mixture over forms and scatters, row by row [d]."""
    weight = weights[:, :, np.newaxis]
    middle = (weight * mean).sum(axis=(0, 1))
    kept = weights > 1e-6 * weights.max()
    off = np.linspace(0, 120, 481)
    away, scale = (mean - middle)[kept], np.sqrt(variance[kept])
    share = weights[kept] / weights[kept].sum()
    half = np.empty(middle.size)
    for row in range(middle.size):
        inside = ndtr((off[:, np.newaxis] - away[:, row]) / scale[:, row]) - ndtr(
            (-off[:, np.newaxis] - away[:, row]) / scale[:, row]
        )
        half[row] = np.interp(0.8, inside @ share, off)
    return middle, half


def misses(rows: Rows, day: Array) -> Array:
    """Error of each row [d]: late is positive, within an interval it is 0."""
    early, late = rows.mean(rows.early), rows.mean(rows.late)
    return np.maximum(day - late, 0) - np.maximum(early - day, 0)


def rms(errors: Array) -> float:
    """Root mean square over the rows; NaN where there is one that is not known."""
    return float(np.sqrt(np.mean(errors**2)))


def said(form: Array) -> str:
    """A form in words."""
    base, none, full, cool = form
    gate = "no gate" if full == 1 else f"gate {none:g} to {full:g} h"
    return f"base {base:g} degC, {gate}, {cool:g} cool days"


def anew(folder: Path, rows: Rows) -> Rows:
    """The rows, and after them places sown anew, of the cultivar of the first row."""
    table = pd.DataFrame(
        [
            {"site": name, "latitude": str(latitude), "weather": name, "sown": f"2011-{sown}"}
            for name, latitude, sown in ANEW
        ]
    ).assign(stage="25 % bloom", earliest="2012-05-01", latest="2012-05-01", cultivar=rows.table.cultivar.iloc[0])
    new = with_weather(folder, table, rows.cover)
    parts = [
        np.concatenate([getattr(rows, name), getattr(new, name) + (len(rows.table) if name == "row" else 0)])
        for name in ("row", "tmean", "hours", "emerged", "early", "late")
    ]
    return Rows(pd.concat([rows.table, table], ignore_index=True), rows.cover, *parts)


def fit_set(
    folder: Path, name: str, species: str, type_: str, share: float, before: Array | None
) -> tuple[pd.DataFrame, Array]:
    """Fit one set, print what came of it, and give its rows with their errors and the weights of the forms."""
    rows = read_rows(folder, species, type_)
    site = rows.table.site.to_numpy()
    seen = [under(rows, form) for form in FORMS]
    found = left_out(rows, share, seen)
    dated = rows.table.site[(rows.mean(rows.late - rows.early) < DATED)].nunique()
    usual = np.exp(-0.5 * (np.log(SCATTER / USUAL_SCATTER) / SURE) ** 2)
    scatter_before = usual if dated < FEW_PLACES else np.ones(SCATTER.size)
    forms_before = np.ones(len(FORMS)) if before is None else before
    weights = found.weights(None, forms_before, scatter_before)
    scatter = weights.sum(axis=0)
    print(f"\n{name}: {site.size} rows, {len(found.places)} places, {dated} of them dated")

    ship, everything = shipped(species, type_), np.ones(site.size, dtype=bool)
    own = under(rows, ship)
    fitted = scatter @ foretold(own, rows, everything, share)[0]
    sums = {each: scatter @ (post @ own.sums) for each, post in known(own, rows, everything, share).items()}
    print(f"  shipped: {said(ship)}; sums { {each: round(total) for each, total in sums.items()} }")
    print("  pace:", pace(rows, ship))
    print("  sums differ by, log of their likelihood:", sums_differ(own, rows))
    order = np.argsort(-weights.sum(axis=1))[:4]
    print("  most weight:", "; ".join(f"{said(FORMS[k])} {weights[k].sum():.3f}" for k in order))
    print("  scatter:", dict(zip(SCATTER.tolist(), scatter.round(2).tolist(), strict=True)))

    more = anew(folder, rows)
    fit = np.arange(len(more.table)) < site.size
    told = [foretold(under(more, form), more, fit, share) for form in FORMS]
    middle, half_anew = mixed(weights, np.stack([each[0] for each in told]), np.stack([each[1] for each in told]))
    print(
        f"  sown anew: 25 % bloom on day {middle[~fit].round().tolist()},",
        f"half of 80 % {half_anew[~fit].round(1).tolist()}",
    )
    off = [rms(scatter @ each[0] - middle) for each in told]
    near = np.argsort(off)[:4]
    at_ship = rms(scatter @ foretold(under(more, ship), more, fit, share)[0] - middle)
    print(
        "  nearest to the average:",
        "; ".join(f"{said(FORMS[k])} {off[k]:.1f} d" for k in near),
        f"; shipped {at_ship:.1f} d",
    )

    without, nested, plain, averaged, half = (np.full(site.size, np.nan) for _ in range(5))
    plain_best = int(np.argmax(np.where(PLAIN, weights.sum(axis=1), -1)))
    for place, where in enumerate(found.places if len(found.places) > 1 else []):
        here = site == where
        weight = (
            found.weights(place, forms_before, scatter_before)
            if len(found.places) > 2
            else np.outer(forms_before, scatter_before) / (forms_before.sum() * scatter_before.sum())
        )
        without[here] = (weight.sum(axis=0) @ foretold(own, rows, ~here, share)[0])[here]
        averaged[here], half[here] = mixed(weight, found.mean[:, :, here], found.variance[:, :, here])
        for days, form in ((nested, int(np.argmax(weight.sum(axis=1)))), (plain, plain_best)):
            days[here] = weight[form] / weight[form].sum() @ found.mean[form][:, here]
    named = {"fitted": fitted, "left_out": without, "averaged": averaged, "nested": nested, "plain_sum": plain}
    errors = {f"{each}_error_days": misses(rows, days) for each, days in named.items()}
    for label, error in errors.items():
        if not np.isnan(error).any():
            print(f"  {label}: {rms(error):.2f} d; {pd.Series(error).groupby(site).mean().round(1).to_dict()}")
    held = np.abs(errors["averaged_error_days"]) <= half
    print(f"  80 % interval, half {half.mean():.1f} d, holds {held.sum()} of {held.size}")
    of_row = [round(sums[each]) for each in rows.table.cultivar]
    table = rows.table.assign(set=name, sum=of_row, **{each: error.round(1) for each, error in errors.items()})
    columns = ["set", "species", "cultivar", "site", "sown", "stage", "earliest", "latest", "basis", "sum", *errors]
    return table[columns].assign(half_interval_days=half.round(1)), weights.sum(axis=1)


def pace(rows: Rows, form: Array) -> dict[str, float]:
    """Mean of the two weeks up to 25 % bloom, place by place [K]."""
    rate = np.diff(rows.sums(form), axis=1, prepend=0)
    day = np.rint((rows.early + rows.late) / 2).astype(int)
    mean = np.array([rate[k, max(day[k] - 13, 0) : day[k] + 1].mean() for k in range(len(rate))])
    found = pd.Series(rows.mean(mean)).groupby(rows.table.site).mean().round(1).to_dict()
    return found | {"all rows": round(float(rows.mean(mean).mean()), 1)}


def sums_differ(seen: Under, rows: Rows) -> dict[float, float]:
    """How likely it is that the sums of the cultivars differ by so much [share], as a log; the scatter is the usual."""
    everything = np.ones(len(rows.table), dtype=bool)
    middle = int(np.argmin(np.abs(SCATTER - USUAL_SCATTER)))
    return {
        share: round(float(known_logs(seen, rows, everything, share)[1][middle]), 1)
        for share in (0.02, 0.05, 0.1, 0.2, 0.4, 0.8)
    }


def shipped(species: str, type_: str) -> Array:
    """The form of a cover in ``covers.toml``, with the cool days of the cultivars of a type."""
    cover = cover_of(species)
    bloom = cover.bloom
    cool = [
        each.cool_days.value for each in cover.cultivars if each.group == type_ != "" and each.cool_days is not None
    ]
    return np.array(
        [
            bloom.base.value,
            bloom.day_length_none.value,
            bloom.day_length_full.value,
            (cool or [bloom.cool_days.value])[0],
        ]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, help="folder with the daily records")
    parser.add_argument("--write", action="store_true", help="rewrite bloom_places.csv")
    options = parser.parse_args()
    named = pd.read_csv(TABLE).weather.str.split("; ").explode().unique()
    if missing := sorted(name for name in named if not (options.folder / name).is_file()):
        sys.exit(f"{options.folder}: {missing[0]} not there ({len(missing)} missing); give a folder with all of them")
    done: dict[str, pd.DataFrame] = {}
    weights: dict[str, Array] = {}
    for name, species, type_, share, like in SETS:
        done[name], weights[name] = fit_set(options.folder, name, species, type_, share, weights.get(like))
    if options.write:
        text = pd.concat(done.values()).to_csv(index=False, lineterminator="\n")
        RESULTS.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
