"""Fitting the bloom of one cultivar to dated records: the sum, the day-length limit, and two plain rules beside them.

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
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.models import bbch, phenology
from covercrop.models.degree_days import accumulate, crossing
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.parameters.traits import Cover

Predict = Callable[[int], float]
Rule = Callable[[list[int]], Predict]

#: How far bloom moves with the latitude [d per degree].
DAYS_PER_DEGREE = MODELS.fit.days_per_degree.value

#: The scatter of a fit is taken to be no less [d].
LEAST_SCATTER = MODELS.fit.least_scatter.value

#: The interval that is stated: 80 %.
UPPER = 0.9

#: Steps in which the slope of the prediction is taken, about a day's worth [degC d, h].
_STEPS = np.array([12.0, 0.1])

_QUARTER = bbch.BBCH["bloom_25"]


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
    lead : numpy.ndarray, shape (day,)
        Temperature of the days just before sowing, as many as are known [degC].
    """

    site: str
    latitude: float
    tmean: Array
    day_length: Array
    observed: float
    year_day: int
    code: float = _QUARTER
    weight: float = 1.0
    lead: Array = field(default_factory=lambda: np.empty(0))

    def clock(self, cover: Cover) -> phenology.BloomClock:
        """Emergence and progress towards bloom of a cover in this season."""
        return phenology.bloom_clock(self.tmean, self.day_length, cover, emerged=self.emergence(cover))

    def emergence(self, cover: Cover) -> Array:
        """Day index on which a cover is up, shape ()."""
        return phenology.emergence(self.tmean, cover, lead=self.lead)


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


def photothermal_rates(seasons: Sequence[Season], cover: Cover) -> list[Array]:
    """Progress towards bloom on each day of each season [degC d]."""
    return [season.clock(cover).rate for season in seasons]


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
        As in :class:`covercrop.parameters.own_bloom.Requirement`.
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

    def interval(self, value: float, se: float, freedom: float | None = None) -> tuple[float, float]:
        """The 80 % interval of a number, by Student's t with the degrees of freedom of the fit or others."""
        from scipy.stats import t

        half = float(t.ppf(UPPER, self.freedom if freedom is None else freedom)) * se
        return value - half, value + half

    def posterior(self, before: float, sd: float) -> Posterior:
        """The sum by these records and by what is known of the cover without them.

        Parameters
        ----------
        before, sd : float
            The sum as it is shipped, and how far that of one cultivar at one place may be from it [degC d].

        Notes
        -----
        Each counts by how well it is known.  The interval is that of Student's t, with the more degrees of freedom the
        less the records, which are few, have to say in it (Welch and Satterthwaite).
        """
        weight = sd**2 / (sd**2 + self.requirement_se**2)
        value = weight * self.requirement + (1 - weight) * before
        se = float(np.sqrt(weight)) * self.requirement_se
        low, high = self.interval(value, se, self.freedom / weight**2)
        return Posterior(value=value, se=se, low=low, high=high)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """A sum after the records [degC d], and its 80 % interval."""

    value: float
    se: float
    low: float
    high: float


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
        self._up = [season.emergence(cover) for season in seasons]  # whatever the day-length limit
        self._under: dict[float, tuple[list[Array], float]] = {}
        self.standard_pace = self.under(cover.bloom.day_length_full.value)[1]

    def under(self, day_length_full: float) -> tuple[list[Array], float]:
        """Running sums under a day-length limit, and the pace before bloom."""
        if day_length_full not in self._under:
            bloom = self.cover.bloom
            limited = replace(bloom, day_length_full=replace(bloom.day_length_full, value=day_length_full))
            rates = [
                phenology.photothermal_rate(season.tmean, season.day_length, up, limited)
                for season, up in zip(self.seasons, self._up, strict=True)
            ]
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
            codes = [bbch.BBCH[name] for name in ("bud", "first_flower", "bloom_10", "bloom_25")]
            return day_of_sum(progress, requirement - hurry * scale * float(np.interp(code, codes, before)))
        # The day on which a stage is reached is left behind before the next clock counts: half a day, on average.
        behind = day_of_sum(progress, requirement) + 0.5 * min((code - _QUARTER) / 2.5, 1.0)
        after = [0.0, stages.bloom_50.value, stages.end_of_bloom.value]
        codes = [bbch.BBCH[name] for name in ("bloom_25", "bloom_50", "end_of_bloom")]
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
