"""Fitting the bloom of one cultivar to dated records, and what the fit is worth elsewhere.

The sum at 25 % bloom is fitted by least squares of days, and with it, where
the records can tell, the day length from which on all warmth counts.  Every
other number stays that of the cover.  Two plain rules are fitted to the same
rows in the same way: a sum of degree-days from sowing, and a date that moves
by :data:`DAYS_PER_DEGREE` with the latitude.

A day is compared at its middle: the running sum at the end of day ``k`` belongs
to ``k + 0.5``, and is taken to rise evenly in between, so that the squared
error has one lowest place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from covercrop import parameters, phenology
from covercrop.calibration import Calibration, Gate, Requirement
from covercrop.degree_days import accumulate, crossing
from covercrop.errors import RecordsError

if TYPE_CHECKING:
    import datetime as dt

    from covercrop.traits import Bloom, Cover, Emergence

Array = NDArray[np.float64]
Predict = Callable[[int], float]
Rule = Callable[[list[int]], Predict]

#: How far bloom moves with the latitude [d per degree]; common practice is 4 to 5, no source.
DAYS_PER_DEGREE = 4.5

#: A fit needs so many records, and below the second number it is said that they are few.
FEWEST_RECORDS, FEW_RECORDS = 3, 6

#: Sowing days that lie within so many days of each other say nothing about earlier or later sowing.
SAME_SOWING = 14

#: The day-length limit is fitted only to so many records at so many places so
#: many degrees of latitude apart, since beside one another all have the same
#: days; it is kept only if it is known to so many hours and lowers the
#: left-out error.
LIMIT_RECORDS, LIMIT_PLACES, LIMIT_DEGREES, LIMIT_SE = 8, 3, 4.0, 0.5

#: A stand is scouted no better than to a day: the scatter of a fit is taken to be no less [d].  `assumed`.
LEAST_SCATTER = 1.0

#: A record that the fit misses by more than this and by three times its scatter is named [d].
FAR_OFF = 10.0

#: The interval that is stated: 80 %.
_UPPER = 0.9

#: Steps in which the slope of the prediction is taken, about a day's worth [degC d, h].
_STEPS = np.array([12.0, 0.1])

_QUARTER = phenology.BBCH["bloom_25"]


# --- what is fitted, and the rules beside it ------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Season:
    """One record with its weather.

    Attributes
    ----------
    site : str
    latitude : float
        [degrees], north positive.
    tmean, day_length : numpy.ndarray, shape (day,)
        From the day of sowing [degC, h].
    observed : float
        Day index on which the stage was seen.
    year_day : int
        Its day of the year.
    code : float
        BBCH code that was seen.
    weight : float
    """

    site: str
    latitude: float
    tmean: Array
    day_length: Array
    observed: float
    year_day: int
    code: float = _QUARTER
    weight: float = 1.0


def day_of_sum(total: Array, needed: float) -> float:
    """The moment, in days, at which a running sum comes to a value; beyond its end at its last pace."""
    if needed <= total[-1]:
        return float(np.interp(needed, total, np.arange(total.size) + 0.5))
    pace = (total[-1] - total[-min(15, total.size)]) / 14
    return float(total.size - 0.5 + (needed - total[-1]) / max(pace, 1.0))


def fit_sum(sums: Sequence[Array], seasons: Sequence[Season]) -> float:
    """The sum that comes nearest to the observed days, to a whole degree-day."""
    candidates = np.arange(50.0, 3500.0)
    loss = np.zeros_like(candidates)
    for total, season in zip(sums, seasons, strict=True):
        known = total[~np.isnan(total)]
        day = np.interp(candidates, known, np.arange(known.size) + 0.5, right=known.size)
        loss += season.weight * (day - season.observed) ** 2
    return float(candidates[np.argmin(loss)])


def sum_rule(sums: Sequence[Array], seasons: Sequence[Season]) -> Rule:
    """Rule: the day on which the sum is reached; NaN where it is not within the weather at hand."""

    def fit(rows: list[int]) -> Predict:
        needed = fit_sum([sums[row] for row in rows], [seasons[row] for row in rows])
        return lambda row: float(crossing(sums[row], needed))

    return fit


def latitude_rule(seasons: Sequence[Season]) -> Rule:
    """Rule: the same date every year, later by so many days a degree towards the pole."""

    def fit(rows: list[int]) -> Predict:
        weights = [seasons[row].weight for row in rows]
        at_zero = [seasons[row].year_day - DAYS_PER_DEGREE * abs(seasons[row].latitude) for row in rows]
        start = np.average(at_zero, weights=weights)

        def predict(row: int) -> float:
            season = seasons[row]
            year_day = round(start + DAYS_PER_DEGREE * abs(season.latitude))
            return season.observed + year_day - season.year_day

        return predict

    return fit


def errors(seasons: Sequence[Season], rule: Rule, groups: Sequence[str] = ()) -> tuple[list[float], list[float]]:
    """Errors [d] of a rule fitted to all rows, and to those of the other groups.

    Parameters
    ----------
    seasons : sequence of Season
    rule : callable
        Takes the rows to fit, gives what predicts the day of a row.
    groups : sequence of str
        What is left out together; the sites by default.

    Returns
    -------
    tuple of list of float
        NaN in the second where there are no other groups.
    """
    groups = groups or [season.site for season in seasons]
    rows = list(range(len(seasons)))
    predict = rule(rows)
    whole = [predict(row) - seasons[row].observed for row in rows]
    without = {}
    for group in dict.fromkeys(groups):
        others = [other for other in rows if groups[other] != group]
        without[group] = rule(others) if others else lambda row: np.nan
    return whole, [without[groups[row]](row) - seasons[row].observed for row in rows]


def emergence_days(seasons: Sequence[Season], emergence: Emergence) -> list[Array]:
    """Day index of emergence in each season."""
    warmth = [accumulate(np.maximum(season.tmean - emergence.base.value, 0.0)) for season in seasons]
    return [crossing(total, emergence.sum.value) for total in warmth]


def photothermal_rates(seasons: Sequence[Season], emerged: Sequence[Array], bloom: Bloom) -> list[Array]:
    """Progress towards bloom on each day of each season [degC d]."""
    return [
        phenology.photothermal_rate(season.tmean, season.day_length, up, bloom)
        for season, up in zip(seasons, emerged, strict=True)
    ]


def pace_before(rates: Sequence[Array], seasons: Sequence[Season]) -> float:
    """Mean progress in a day of the two weeks up to what was observed [K]."""
    days = [round(season.observed) for season in seasons]
    return float(np.mean([rate[max(day - 13, 0) : day + 1].mean() for rate, day in zip(rates, days, strict=True)]))


def rmse(values: Sequence[float]) -> float:
    """Root of the mean square [d]; NaN where there is nothing to average."""
    return float(np.sqrt(np.mean(np.square(values))))


# --- the fit --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """A sum, and a day-length limit where it was fitted too, with their errors.

    Attributes
    ----------
    requirement, requirement_se : float
        [degC d]
    day_length_full, day_length_full_se : float
        [h]; the error is NaN where the limit is the cover's own.
    scatter : float
        Of a record about the fit [d].
    records, freedom : int
        Records, and records less numbers fitted.
    pace, scale : float
        As in :class:`covercrop.calibration.Requirement`.
    """

    requirement: float
    requirement_se: float
    day_length_full: float
    day_length_full_se: float
    scatter: float
    records: int
    freedom: int
    pace: float
    scale: float

    @property
    def ahead(self) -> float:
        """Scatter of a record that was not fitted [d]: that of a record, and the mean error of the fit at a record.

        The second is the scatter times the root of numbers fitted over
        records, whatever they are and however they hang together.
        """
        return self.scatter * float(np.sqrt(1 + (self.records - self.freedom) / self.records))

    def interval(self, value: float, se: float) -> tuple[float, float]:
        """The 80 % interval of a fitted number, by Student's t."""
        from scipy.stats import t

        half = float(t.ppf(_UPPER, self.freedom)) * se
        return value - half, value + half


class Model:
    """Days of the stages that were seen, for any sum and day-length limit.

    Parameters
    ----------
    seasons : sequence of Season
    cover : Cover
    """

    def __init__(self, seasons: Sequence[Season], cover: Cover) -> None:
        self.seasons = seasons
        self.cover = cover
        self.thermal = [accumulate(phenology.thermal_rate(season.tmean, cover.bloom)) for season in seasons]
        self._emerged = emergence_days(seasons, cover.emergence)
        self._under: dict[float, tuple[list[Array], float]] = {}
        self.standard_pace = self.under(cover.bloom.day_length_full.value)[1]

    def under(self, day_length_full: float) -> tuple[list[Array], float]:
        """Running sums under a day-length limit, and the pace before bloom."""
        if day_length_full not in self._under:
            bloom = self.cover.bloom
            limit = replace(bloom.day_length_full, value=day_length_full)
            rates = photothermal_rates(self.seasons, self._emerged, replace(bloom, day_length_full=limit))
            self._under[day_length_full] = [accumulate(rate) for rate in rates], pace_before(rates, self.seasons)
        return self._under[day_length_full]

    def days(self, rows: Sequence[int], requirement: float, day_length_full: float) -> Array:
        """Day of the stage that was seen, row by row."""
        sums, pace = self.under(day_length_full)
        scale = pace / self.standard_pace
        return np.array([self._day(row, sums[row], requirement, scale) for row in rows])

    def _day(self, row: int, progress: Array, requirement: float, scale: float) -> float:
        stages, code = self.cover.stages, self.seasons[row].code
        if code <= _QUARTER:
            hurry = min(requirement / (scale * self.cover.bloom.requirement.value), 1.0)
            before = [stages.bud.value, stages.first_flower.value, stages.bloom_10.value, 0.0]
            codes = [phenology.BBCH[name] for name in ("bud", "first_flower", "bloom_10", "bloom_25")]
            return day_of_sum(progress, requirement - hurry * scale * float(np.interp(code, codes, before)))
        # The day on which a stage is reached is left behind before the next clock counts: half a day, on average.
        behind = day_of_sum(progress, requirement) + 0.5 * min((code - _QUARTER) / 2.5, 1.0)
        after = [0.0, stages.bloom_50.value, stages.end_of_bloom.value]
        codes = [phenology.BBCH[name] for name in ("bloom_25", "bloom_50", "end_of_bloom")]
        thermal = self.thermal[row]
        begun = float(np.interp(behind, np.arange(thermal.size) + 0.5, thermal))
        return max(day_of_sum(thermal, begun + float(np.interp(code, codes, after))), behind)

    def quarter_bloom(self, requirement: float, day_length_full: float) -> Array:
        """Day of 25 % bloom that each record stands for: what was seen, less the model's days in between."""
        rows = range(len(self.seasons))
        quarter = [day_of_sum(total, requirement) for total in self.under(day_length_full)[0]]
        seen = np.array([season.observed for season in self.seasons])
        return seen + np.array(quarter) - self.days(rows, requirement, day_length_full)


def fit(model: Model, rows: Sequence[int], *, limit: bool) -> Fit:
    """Fit the sum, and with ``limit`` the day length from which on all warmth counts.

    Parameters
    ----------
    model : Model
    rows : sequence of int
        Records to fit: more of them than numbers.
    limit : bool

    Returns
    -------
    Fit
    """
    from scipy.optimize import least_squares

    seasons = [model.seasons[row] for row in rows]
    seen = np.array([season.observed for season in seasons])
    own = model.cover.bloom.day_length_full.value
    sums = model.under(own)[0]
    at_seen = [
        float(np.interp(model.seasons[row].observed, np.arange(sums[row].size) + 0.5, sums[row])) for row in rows
    ]
    start = max(float(np.median(at_seen)), 60.0)

    def predicted(numbers: Array) -> Array:
        return model.days(rows, float(numbers[0]), float(numbers[1]) if limit else own)

    count = 1 + limit
    lowest = model.cover.bloom.day_length_none.value + 0.5
    found = least_squares(
        lambda numbers: predicted(numbers) - seen,
        np.array([start, own])[:count],
        bounds=(np.array([20.0, lowest])[:count], np.array([6000.0, lowest + 6.0])[:count]),
        x_scale=np.array([50.0, 0.5])[:count],
        diff_step=np.array([0.02, 0.01])[:count],
        jac="3-point",
    )
    best = found.x
    slopes = np.empty((len(rows), count))
    for column in range(count):
        step = np.zeros(count)
        step[column] = _STEPS[column]
        slopes[:, column] = (predicted(best + step) - predicted(best - step)) / (2 * _STEPS[column])
    freedom = len(rows) - count
    scatter = max(float(np.sqrt((found.fun**2).sum() / freedom)), LEAST_SCATTER)
    se = scatter * np.sqrt(np.diag(np.linalg.pinv(slopes.T @ slopes)))
    full = float(best[1]) if limit else own
    pace = model.under(full)[1]
    return Fit(
        requirement=float(best[0]),
        requirement_se=float(se[0]),
        day_length_full=full,
        day_length_full_se=float(se[1]) if limit else np.nan,
        scatter=scatter,
        records=len(rows),
        freedom=freedom,
        pace=pace,
        scale=pace / model.standard_pace,
    )


# --- the answer -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BloomRecord:
    """One row of a file of records, with its weather.

    Attributes
    ----------
    line : int
        Where it stands in the file.
    cover, cultivar : str
        Key of the cover; the cultivar as it is written, empty where there is none.
    sown, date : datetime.date
    stage : str
        As it is written.
    season : Season
    """

    line: int
    cover: str
    cultivar: str
    sown: dt.date
    date: dt.date
    stage: str
    season: Season


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One record, and how the fit and the two plain rules miss it [d]; late is positive.

    The last three come from a fit to the other places (seasons, where there
    is one place), and are NaN where there are none.
    """

    record: BloomRecord
    error: float
    left_out: float
    plain_sum: float
    latitude: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibrated:
    """What the records give.

    Attributes
    ----------
    calibration : Calibration
    rows : tuple of Row
        In the order of the file.
    left_out_by : {"place", "season", ""}
        What was left out together for ``left_out``.
    rmse, left_out, plain_sum, latitude : float
        Of the fit on its own records; and left out, beside the two rules [d].
    later : float
        Days by which the cultivar blooms later than the program takes it to,
        as it is shipped.
    on_limit : str
        What became of the day-length limit, and why.
    warnings : tuple of str
    """

    calibration: Calibration
    rows: tuple[Row, ...]
    left_out_by: str
    rmse: float
    left_out: float
    plain_sum: float
    latitude: float
    later: float
    on_limit: str
    warnings: tuple[str, ...]


def calibrate(records: Sequence[BloomRecord], name: str = "records") -> Calibrated:
    """Fit one cultivar to its records.

    Parameters
    ----------
    records : sequence of BloomRecord
        Of one cover and cultivar.
    name : str
        Of the file that they stand in.

    Returns
    -------
    Calibrated

    Raises
    ------
    RecordsError
        If there are too few, or the weather of one gives no progress towards bloom.
    """
    if len(records) < FEWEST_RECORDS:
        raise RecordsError(
            f"{name}: {len(records)} record{'s' * (len(records) != 1)} in it, and a fit needs {FEWEST_RECORDS}; add "
            "more"
        )
    cover = parameters.cover(records[0].cover)
    seasons = [record.season for record in records]
    model = Model(seasons, cover)
    for record, total in zip(records, model.under(cover.bloom.day_length_full.value)[0], strict=True):
        if not np.interp(record.season.observed, np.arange(total.size) + 0.5, total) > 0:
            raise RecordsError(
                f"{name}: line {record.line}: by {record.date} the weather gives no progress towards bloom since "
                f"sowing on {record.sown} at latitude {record.season.latitude:g}; check the dates, the weather file "
                "and the sign of the latitude"
            )
    by, groups = _groups(records)
    every = list(range(len(records)))
    plain, whole, left_out = _fitted(model, groups, limit=False)
    limited, why = _with_limit(model, groups, records, rmse(left_out))
    if limited:
        plain, whole, left_out = limited
    quarter = model.quarter_bloom(plain.requirement, plain.day_length_full)
    beside = [
        replace(season, observed=float(day), year_day=season.year_day + round(day - season.observed))
        for season, day in zip(seasons, quarter, strict=True)
    ]
    warmth = [accumulate(np.maximum(season.tmean - cover.bloom.base.value, 0.0)) for season in seasons]
    by_sum = errors(beside, sum_rule(warmth, beside), groups)[1]
    by_latitude = errors(beside, latitude_rule(beside), groups)[1]
    rows = tuple(
        Row(record=record, error=error, left_out=without, plain_sum=total, latitude=place)
        for record, error, without, total, place in zip(records, whole, left_out, by_sum, by_latitude, strict=True)
    )
    errors_of = {"left_out": rmse(left_out), "plain_sum": rmse(by_sum), "latitude": rmse(by_latitude)}
    return Calibrated(
        calibration=_calibration(records, name, cover, plain, errors_of["left_out"] if by == "place" else np.nan),
        rows=rows,
        left_out_by=by,
        rmse=rmse(whole),
        **errors_of,
        later=float(np.mean(model.days(every, plain.requirement, plain.day_length_full) - _as_shipped(model, records))),
        on_limit=why,
        warnings=tuple(_warnings(rows, by, plain, errors_of)),
    )


def _groups(records: Sequence[BloomRecord]) -> tuple[str, list[str]]:
    """What is left out together: places, or seasons where there is only one place."""
    for by, groups in (
        ("place", [record.season.site for record in records]),
        ("season", [str(record.sown.year) for record in records]),
    ):
        if len(set(groups)) > 1:
            return by, groups
    return "", [""] * len(records)


def _fitted(model: Model, groups: Sequence[str], *, limit: bool) -> tuple[Fit, list[float], list[float]]:
    """The fit, and its errors on its own records and on groups left out."""

    def rule(rows: list[int]) -> Predict:
        # Of fewer records than numbers and one, the errors cannot be told, but they are not asked for here.
        found = fit(model, rows, limit=limit and len(rows) > 2) if len(rows) > 1 else fit(model, rows * 2, limit=False)
        return lambda row: float(model.days([row], found.requirement, found.day_length_full)[0])

    return fit(model, range(len(model.seasons)), limit=limit), *errors(model.seasons, rule, groups)


def _with_limit(
    model: Model, groups: Sequence[str], records: Sequence[BloomRecord], without: float
) -> tuple[tuple[Fit, list[float], list[float]] | None, str]:
    """The fit with a day-length limit, if the records can tell one; and what is said about it."""
    kept = f"the day-length limit stays at {model.cover.bloom.day_length_full.value:g} h, as shipped"
    places = len({record.season.site for record in records})
    apart = float(np.ptp([record.season.latitude for record in records]))
    if len(records) < LIMIT_RECORDS or places < LIMIT_PLACES or apart < LIMIT_DEGREES:
        needed = f"{LIMIT_RECORDS} records at {LIMIT_PLACES} places, {LIMIT_DEGREES:g} degrees of latitude apart"
        return None, f"{kept}: to fit it takes {needed}"
    fitted = _fitted(model, groups, limit=True)
    se, left_out = fitted[0].day_length_full_se, rmse(fitted[2])
    if not se <= LIMIT_SE:
        return None, f"{kept}: these records tell it to no better than {se:.1f} h"
    if not left_out < without:
        return (
            None,
            f"{kept}: fitted too, it does no better at a place left out ({left_out:.1f} days, {without:.1f} without)",
        )
    return fitted, f"the day-length limit was fitted too: {fitted[0].day_length_full:.1f} h, give or take {se:.1f} h"


def _as_shipped(model: Model, records: Sequence[BloomRecord]) -> Array:
    """The days that the program would have given, had it not seen the records."""
    bloom = model.cover.bloom
    named = [each for each in model.cover.cultivars if each.name.casefold() == records[0].cultivar.casefold()]
    shift = phenology.requirement_shift_for(named[0].offset.value, model.cover) if named else 0.0
    return model.days(range(len(records)), bloom.requirement.value + shift, bloom.day_length_full.value)


def _calibration(
    records: Sequence[BloomRecord], name: str, cover: Cover, found: Fit, error_elsewhere: float
) -> Calibration:
    from scipy.stats import norm, t

    # What another season will do: the scatter of a record, the error of the fit itself, and that both are known from
    # few records.  Where places were left out, the error at those is known, and is taken if it is larger.
    widened = float(t.ppf(_UPPER, found.freedom) / norm.ppf(_UPPER))
    ahead = widened * found.ahead
    low, high = found.interval(found.requirement, found.requirement_se)
    bloom = cover.bloom
    return Calibration(
        cover=cover.key,
        cultivar=records[0].cultivar,
        records=name,
        count=len(records),
        places=len({record.season.site for record in records}),
        first_season=min(record.sown.year for record in records),
        last_season=max(record.sown.year for record in records),
        requirement=Requirement(
            value=found.requirement,
            se=found.requirement_se,
            low=low,
            high=high,
            spread=found.pace * float(np.nanmax([ahead, error_elsewhere])),
            pace=found.pace,
            scale=found.scale,
        ),
        gate=Gate(
            base=bloom.base.value,
            optimum=bloom.optimum.value,
            day_length_none=bloom.day_length_none.value,
            day_length_full=found.day_length_full,
            cool_days=bloom.cool_days.value,
            day_length_full_se=None if np.isnan(found.day_length_full_se) else found.day_length_full_se,
        ),
    )


def _warnings(rows: Sequence[Row], by: str, found: Fit, errors_of: dict[str, float]) -> list[str]:
    records = [row.record for row in rows]
    said = []
    if len(records) < FEW_RECORDS:
        said.append(
            f"{len(records)} records are few: the intervals allow for it, but one slip of the pen moves everything."
        )
    if by != "place":
        said.append("All records are from one place: what the fit is worth at another cannot be told.")
    if not by:
        said.append("All are from one season: another spring may tell another story.")
    sown = np.array([record.sown.timetuple().tm_yday for record in records])
    if np.ptp(sown) <= SAME_SOWING:
        said.append(
            f"All were sown within {int(np.ptp(sown)) + 1} days of the year, so that sowing much earlier or later "
            "is not covered."
        )
    said += [
        f"Line {row.record.line} ({row.record.season.site}, {row.record.date}) misses the fit by {abs(row.error):.0f} "
        "days: check its dates, its stage and its weather."
        for row in rows
        if abs(row.error) > max(FAR_OFF, 2.5 * found.scatter)
    ]
    ours = errors_of["left_out"]
    for name, label in (("plain_sum", "A plain degree-day sum from sowing"), ("latitude", "A date by latitude alone")):
        if errors_of[name] <= ours:
            said.append(
                f"{label} does as well or better on these records ({errors_of[name]:.1f} against {ours:.1f} days)."
            )
    return said
