"""Own records of bloom turned into own numbers, and what these are worth elsewhere (the fit: :mod:`.bloom_fit`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.arrays import Array
from covercrop.base.errors import RecordsError
from covercrop.checking.bloom_fit import (
    LEAST_SCATTER,
    UPPER,
    Fit,
    Model,
    Predict,
    Season,
    errors,
    fit,
    latitude_rule,
    rmse,
    sum_rule,
)
from covercrop.models import members, phenology
from covercrop.models.degree_days import accumulate
from covercrop.parameters import catalogue
from covercrop.parameters.own_bloom import Calibration, Gate, Requirement

if TYPE_CHECKING:
    import datetime as dt

    from covercrop.parameters.traits import Cover


#: A fit needs so many records, and below the second number it is said that they are few.
FEWEST_RECORDS, FEW_RECORDS = 3, 6

#: Sowing days that lie within so many days of each other say nothing about earlier or later sowing.
SAME_SOWING = 14

#: The day-length limit is fitted only to so many records at so many places so
#: many degrees of latitude apart, since beside one another all have the same
#: days; it is kept only if it is known to so many hours and lowers the
#: left-out error.
LIMIT_RECORDS, LIMIT_PLACES, LIMIT_DEGREES, LIMIT_SE = 8, 3, 4.0, 0.5

#: A record is named that misses the middle of the others by more than this, and by so many times their own usual miss.
FAR_OFF, FAR_TIMES = 10.0, 3.0


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
    cover = catalogue.of_cultivar(catalogue.cover(records[0].cover), records[0].cultivar)
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
        warnings=tuple(_warnings(rows, by, _alone(model, plain.day_length_full), errors_of)),
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


def _alone(model: Model, day_length_full: float) -> list[float]:
    """Days by which each record misses a sum that fits the middle one of the others; 0 where it fits as they do.

    One bad row moves a least-squares fit and widens its scatter, so that nothing seems far from it; the middle of the
    others it does not move.
    """
    sums, _ = model.under(day_length_full)
    at_seen = np.array(
        [
            np.interp(season.observed, np.arange(total.size) + 0.5, total)
            for season, total in zip(model.seasons, sums, strict=True)
        ]
    )
    seen = np.array([season.observed for season in model.seasons])
    found = []
    for row in range(seen.size):
        others = np.delete(np.arange(seen.size), row)
        middle = float(np.median(at_seen[others]))
        miss = model.days(range(seen.size), middle, day_length_full) - seen
        usual = float(np.median(np.abs(miss[others])))
        found.append(float(miss[row]) if abs(miss[row]) > FAR_TIMES * max(usual, LEAST_SCATTER) else 0.0)
    return found


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
    # The members are drawn by a t of their own, which widens the interval already.
    widened = float(t.ppf(UPPER, found.freedom) / members.student(norm.ppf(UPPER), phenology.FREEDOM))
    ahead = widened * found.ahead
    bloom = cover.bloom
    named = [each for each in cover.cultivars if each.name.casefold() == records[0].cultivar.casefold()]
    shift = phenology.requirement_shift_for(named[0].offset.value, cover) if named else 0.0
    told = found.posterior(
        found.scale * (bloom.requirement.value + shift),
        found.scale * phenology.requirement_spread(cover, cultivar_known=bool(named)),
    )
    return Calibration(
        cover=cover.key,
        cultivar=records[0].cultivar,
        records=name,
        count=len(records),
        places=len({record.season.site for record in records}),
        first_season=min(record.sown.year for record in records),
        last_season=max(record.sown.year for record in records),
        requirement=Requirement(
            value=told.value,
            se=told.se,
            low=told.low,
            high=told.high,
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


def _warnings(rows: Sequence[Row], by: str, misses: Sequence[float], errors_of: dict[str, float]) -> list[str]:
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
        f"Line {row.record.line} ({row.record.season.site}, {row.record.date}) misses what the others say by "
        f"{abs(miss):.0f} days: check its dates, its stage and its weather."
        for row, miss in zip(rows, misses, strict=True)
        if abs(miss) > FAR_OFF
    ]
    ours = errors_of["left_out"]
    for name, label in (("plain_sum", "A plain degree-day sum from sowing"), ("latitude", "A date by latitude alone")):
        if errors_of[name] <= ours:
            said.append(
                f"{label} does as well or better on these records ({errors_of[name]:.1f} against {ours:.1f} days)."
            )
    return said
