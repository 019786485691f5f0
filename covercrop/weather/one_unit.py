"""Numbers in another unit than the one declared: all of a record, or a stretch of it.

Read in the wrong one, Fahrenheit is always warmer than it should be and
Celsius always colder, above -40 degrees.  So a stretch is looked for on one
side only, the other side of the record can be trusted, and it is never the
rest of a record that is taken for the stretch.

What a stretch would have to be is weighed as it stands and as it would be
converted: its level against the same days of the other years and against the
days around it, and its daily range, which the unit stretches by 1.8.  Weather
keeps from one day to the next, so ten days of it say what two or three would
that knew nothing of each other; the limits below are measured, not derived.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from covercrop.base.arrays import Days
from covercrop.base.errors import WeatherFileError
from covercrop.base.units import celsius_from_fahrenheit, fahrenheit_from_celsius
from covercrop.weather.quality import HOTTEST, Values

if TYPE_CHECKING:
    from covercrop.base.records import Units

#: What turns a number that was read in the declared unit into what it is if it was written in the other.
_OTHERWISE = {"metric": celsius_from_fahrenheit, "us": fahrenheit_from_celsius}
_UNIT = {"metric": ("degC", "degF"), "us": ("degF", "degC")}
#: Columns that may have changed their unit: both, or one alone.
_COLUMNS: tuple[tuple[int, ...], ...] = ((0, 1), (0,), (1,))

#: Readings beyond this are no temperature in either unit.
_BEYOND = 150.0
#: Days with both readings that a stretch must have, one less than ten, since its
#: ends are found within a day or two; and days beside it without which they say nothing of it.
FEWEST_DAYS, FEWEST_BESIDE = 9, 20
#: Days before and after an edge that are compared.
_WEEK = 7
#: Edges of each kind that are tried where there are no other years, and what the edges of
#: a stretch say on average; where they say less, as between a summer and an early
#: winter, the days beside it count for less, since one wave does not fit those either.
_MOST_PEAKS = 5
_CLEAR_STEP = {"metric": 3.0, "us": 2.0}
#: Stretches that one message looks for.
MOST_STRETCHES = 5

#: Other years are compared by their mean over so many days, of which so many must be known.
_AROUND, _FEWEST_AROUND = 21, 5
#: Of the other years the one at this quantile, from the side that a wrong unit
#: cannot reach: nearly half of the years may hold such a stretch themselves.
_TRUSTED = 0.4
#: Standard deviation of daily level [K] where nothing is known of it, and the
#: bounds within which a record may say its own, so that a stretch does not hide in it.
_USUAL, _LEAST_USUAL, _MOST_USUAL = 4.5, 3.0, 7.0
#: Of the logarithm of the daily range, and of the difference of two weeks side by side [K].
_USUAL_RANGE, _USUAL_STEP = 0.45, 6.0
#: By which that difference grows with a gap between the two [K/d].
_DRIFT = 0.25
#: Weight of a step at an edge, since both of its weeks count against each other.
_STEP_WEIGHT = 3.0
#: Yearly amplitude [K] that a record of one season is expected to have, at most, to about this.
_AMPLITUDE = 12.0
#: Days within which a stretch is compared with what lies beside it.
_BESIDE = 180
#: Days of weather that say as much as one that knew nothing of the day before: (1 + r) / (1 - r) with r = 2/3.
_PERSISTENCE = 5.0
#: Weight of the daily range beside the level where there are no other years.
_RANGE_WEIGHT = 0.3
#: What a stretch converted may be off the others, as a share of what it is off as it stands.
_MOST_LEFT = 0.5

#: Weight of evidence for one column alone: clouds for weeks change one without the other.
_ONE_COLUMN = 0.4
#: A column alone in another unit puts the logarithm of the daily range off by 0.8 and
#: more, day after day; where it nowhere is, none is looked for.
_RANGE_OFF = 0.8

#: Days of a record that were converted twice are looked for where they are this far off [K].
_TWICE_OFF = 15.0

#: Evidence from which a stretch is refused, without other years and with them.  So chosen
#: that of 36,000 readings of 237 station records, cut anywhere and judged in both units, none comes nearer than
#: nine tenths of it.  Of 1600 stretches of 10 to 180 days put into one half of the records,
#: of which the weights were not chosen, 99 % of degF among degC and 94 % of degC among degF
#: reach it.  The rest are mostly ten days or two weeks of frost, which read well in both.
LIMITS = {"metric": (7.0, 15.0), "us": (15.5, 30.0)}
#: What is added where only the stretch, or all but the stretch, is written in
#: whole degrees; and the shares of them that make the two kinds.  Degrees
#: rounded and converted are within 0.11 of a whole number.
_DECIMALS, _WHOLE, _NOT_WHOLE, _NEAR = 12.0, 0.9, 0.6, 0.11

#: Share of the limit by what a US stretch is once converted [degC]: weeks so far
#: below the season come in winter (the Great Plains in December 1983), none in summer.
_LEVELS, _SHARES = (0.0, 15.0), (1.0, 0.65)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Days in a row that seem to be in the other unit.

    Attributes
    ----------
    first, last : numpy.datetime64[D]
    columns : tuple of int
        0 for the minimum, 1 for the maximum.
    off, left : float
        How far its level is from the other years, or from the days beside it
        where there are none, as it stands and as converted [K].
    from_years : bool
        Whether there are other years.
    surely : float
        What speaks for it, as a multiple of what is needed to refuse it.
    """

    first: np.datetime64
    last: np.datetime64
    columns: tuple[int, ...]
    off: float
    left: float
    from_years: bool
    surely: float


def check_unit(readings: pd.DataFrame, units: str, prefix: str) -> None:
    """Refuse numbers that cannot be in the unit they were declared in.

    Hotter than any place on Earth over the whole record means Fahrenheit
    read as Celsius; never mild in four months means Celsius read as
    Fahrenheit.  A short winter record can pass in the wrong unit; there
    :func:`~covercrop.weather.daily.blend` sees the difference from the station.
    """
    read = readings[(readings["tmax_c"].abs() < 150) & readings["tmin_c"].notna()]
    days = len(read)
    if not days:
        return
    highest = read["tmax_c"]
    middle = float((read["tmin_c"] + highest).median()) / 2
    hot = int((highest > 57).sum())
    if hot >= max(3, 0.02 * days) or (days >= 180 and middle > 35):
        sign = (
            f"{hot} of {days} maxima lie above 57 degC"
            if hot
            else f"half of all days are hotter than {middle:.0f} degC"
        )
        fahrenheit = units == "metric" and celsius_from_fahrenheit(float(highest.quantile(0.99))) <= HOTTEST
        way_out = (
            'the numbers look like Fahrenheit: say units = "us"'
            if fahrenheit
            else "the numbers are in neither degC nor degF: convert them"
        )
        raise WeatherFileError(f"{prefix}{sign}, hotter than any place on Earth; {way_out}")
    if units == "us" and any(days >= least and highest.max() < warm for least, warm in ((60, 0.0), (120, 8.0))):
        raise WeatherFileError(
            f"{prefix}the warmest of {days} days has {fahrenheit_from_celsius(float(highest.max())):.0f} degF; "
            'the numbers look like Celsius: say units = "metric"'
        )


def check_stretches(days: Days, values: Values, units: Units, prefix: str) -> None:
    """Refuse a record in which a stretch of days is in another unit than the rest, or was converted twice.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
        Each day in turn.
    values : numpy.ndarray, shape (2, day)
        Minimum and maximum as they were read [degC], NaN where unknown.
    units : {"metric", "us"}
        What the record was declared to be in.
    prefix : str
        Beginning of the message.
    """
    found = stretches(days, values, units)
    if not found:
        return
    surest, way = found[0]
    named = [
        f"{_column_name(one.columns)}{one.first} to {one.last}"
        for one, its_way in sorted(found, key=lambda pair: pair[0].first)
        if its_way == way
    ]
    which = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
    declared, other = _UNIT[units]
    fault = f"be in {other} in a record of {declared}" if way == units else f"have been made {declared} twice"
    they = f"those from {surest.first} are" if len(named) > 1 else "they are"
    apart = f"{abs(surest.off):.0f} K {'warmer' if surest.off > 0 else 'colder'}"
    than = "the same days of other years" if surest.from_years else "the days beside them"
    raise WeatherFileError(
        f"{prefix}{which} seem to {fault} ({they} {apart} than {than}, and once converted {abs(surest.left):.0f} K "
        f"apart); write those days in {declared}, or delete them"
    )


def stretches(days: Days, values: Values, units: Units) -> list[tuple[Stretch, Units]]:
    """The stretches of a record that are in the other unit, or were converted twice, the surest first.

    With each comes the unit of which it would be a stretch in the other:
    degC converted to degC again are as far off as degC read as degF.
    See :func:`check_stretches`.
    """
    found: list[tuple[Stretch, Units]] = []
    while len(found) < MOST_STRETCHES:
        one, way = surest_stretch(days, values, units), units
        if one is None or one.surely < 1:
            way = "us" if units == "metric" else "metric"
            one = surest_stretch(days, values, way, least_off=_TWICE_OFF)
            if one is None or one.surely < 1:
                break
        found.append((one, way))
        values = values.copy()
        inside = (days >= one.first) & (days <= one.last)
        for column in one.columns:
            values[column, inside] = _OTHERWISE[way](values[column, inside])
    return found


def surest_stretch(days: Days, values: Values, units: Units, *, least_off: float = 0.0) -> Stretch | None:
    """The stretch that is most likely in the other unit, however unlikely that is; see :func:`check_stretches`.

    None if there are other years and no days in a row are ``least_off`` [K] from those.
    """
    values = np.where((np.abs(values) <= _BEYOND).all(axis=0), values, np.nan)
    known = ~np.isnan(values[0])
    known[1:] &= (np.diff(values, axis=1) != 0).any(axis=0)  # a stuck sensor says nothing
    at = np.flatnonzero(known)
    if at.size < FEWEST_DAYS + FEWEST_BESIDE:
        return None
    values = np.where(known, values, np.nan)
    share = _TRUSTED if units == "metric" else 1 - _TRUSTED
    readings = _Readings(days[at], values[:, at], units)
    if least_off:
        usual, _ = _other_years(days, _level(values, (0, 1))[None], share)
        sums = np.r_[0.0, np.cumsum(np.nan_to_num(_level(readings.both, (0, 1)) - usual[0, at]))]
        means = (sums[FEWEST_DAYS:] - sums[:-FEWEST_DAYS]) / FEWEST_DAYS
        alone = np.isnan(usual[0, at]).mean() > 0.5
        if not alone and (means.max() if units == "metric" else -means.min()) < least_off:
            return None
    quantities = np.stack([*(_level(values, columns) for columns in _COLUMNS), _range(values)])
    usual, years = _other_years(days, quantities, share)
    usual, years = usual[:, at], years[at]
    from_years = bool(np.median(years) >= 1)
    usual_range = usual[3]
    middle = np.median(_range(readings.both)) if np.isnan(usual_range).all() else np.nanmedian(usual_range)
    usual_range = np.where(np.isnan(usual_range), middle, usual_range)
    sums = np.r_[0.0, np.cumsum(_range(readings.both) - usual_range)]
    wider = (sums[FEWEST_DAYS:] - sums[:-FEWEST_DAYS]) / FEWEST_DAYS
    # Fahrenheit in the maxima widens the range, in the minima it closes it; Celsius does the reverse.
    widened, closed = (1, 0) if units == "metric" else (0, 1)
    tried = {0: True, 1 + widened: wider.max() > _RANGE_OFF, 1 + closed: wider.min() < -_RANGE_OFF}
    candidates = []
    for which, (columns, level) in enumerate(zip(_COLUMNS, usual[:3], strict=True)):
        if not tried[which]:
            continue
        other = readings.otherwise(columns)
        if from_years:
            found = _against_years(readings, other, columns, level, usual_range)
        else:
            found = _against_days_beside(readings, other, columns)
        if found is None or abs(found.left) > _MOST_LEFT * abs(found.off):
            continue
        limit = LIMITS[units][from_years]
        if units == "us" and from_years:
            limit *= float(np.interp(_level(other, columns)[found.start : found.end].mean(), _LEVELS, _SHARES))
        weighed = found.evidence * (1.0 if len(columns) == 2 else _ONE_COLUMN)
        surely = (weighed + _from_decimals(readings, columns, found.start, found.end)) / limit
        candidates.append((min(surely, 1.0), found.evidence, surely, columns, found))
    if not candidates:
        return None
    # Of those that would be refused the one that explains most, so that the right column is named.
    *_, surely, columns, found = max(candidates)
    return Stretch(
        first=readings.days[found.start],
        last=readings.days[found.end - 1],
        columns=columns,
        off=found.off,
        left=found.left,
        from_years=from_years,
        surely=surely,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """Where a stretch begins and ends (past the last), what speaks for it, and how far off it is [K]."""

    start: int
    end: int
    evidence: float
    off: float
    left: float


@dataclass(frozen=True, slots=True)
class _Readings:
    """The days that have both readings, in order [degC]."""

    days: Days
    both: Values
    units: Units

    def otherwise(self, columns: tuple[int, ...]) -> Values:
        """What they are if these columns are in the other unit [degC]."""
        other = self.both.copy()
        for column in columns:
            other[column] = _OTHERWISE[self.units](other[column])
        return other


def _column_name(columns: tuple[int, ...]) -> str:
    return "" if len(columns) == 2 else f"the {('minima', 'maxima')[columns[0]]} of "


def _level(values: Values, columns: tuple[int, ...]) -> Values:
    return values[list(columns)].mean(axis=0)


def _range(values: Values) -> Values:
    """Logarithm of the daily range, of which rounding leaves nothing below 1 K."""
    return np.log(np.maximum(values[1] - values[0], 1.0))


def _fit(departure: Values | float) -> Values:
    """Logarithm of the likelihood of a departure in standard deviations, up to a constant.

    Student's t of 4 degrees of freedom: weather has heavier tails than the
    normal distribution, and a single false value decides nothing.
    """
    return -2.5 * np.log1p(np.square(departure) / 4)


def _other_years(days: Days, quantities: Values, share: float) -> tuple[Values, Values]:
    """What the other years have about each day, and of how many they are.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
    quantities : numpy.ndarray, shape (quantity, day)
        NaN in all where unknown.
    share : float
        The quantile of the years that is taken.

    Returns
    -------
    usual : numpy.ndarray, shape (quantity, day)
        NaN where there is no other year.
    years : numpy.ndarray, shape (day,)
    """
    count = days.size
    known = ~np.isnan(quantities[0])
    sums = np.zeros((len(quantities), count + 1))
    np.cumsum(np.where(known, quantities, 0.0), axis=1, out=sums[:, 1:])
    counts = np.r_[0, np.cumsum(known)]
    low = np.maximum(np.arange(count) - _AROUND // 2, 0)
    high = np.minimum(np.arange(count) + _AROUND // 2 + 1, count)
    there = counts[high] - counts[low]
    means = np.where(there >= _FEWEST_AROUND, (sums[:, high] - sums[:, low]) / np.maximum(there, 1), np.nan)

    year = days.astype("datetime64[Y]").astype(np.int64)
    year -= year[0]
    day = np.minimum((days - days.astype("datetime64[Y]")).astype(np.int64), 364)
    grid = np.full((len(quantities), year[-1] + 1, 365), np.nan)
    grid[:, year, day] = means
    ordered = np.sort(grid, axis=1)  # NaN last
    own = ~np.isnan(grid[0])
    others = own.sum(axis=0) - own
    # Without the own year, the year at a rank is the next one where the own stands at or below it.
    rank = np.floor(share * (own.sum(axis=0) - 2) + (0.499 if share < 0.5 else 0.501)).astype(np.int64)
    rank = np.clip(rank, 0, len(ordered[0]) - 1)
    next_rank = np.minimum(rank + 1, len(ordered[0]) - 1)
    every = np.arange(365)
    at, after = ordered[:, rank, every][:, None], ordered[:, next_rank, every][:, None]
    usual = np.where(others >= 1, np.where(grid <= at, after, at), np.nan)
    return usual[:, year, day], others[year, day]


def _spread(days: Days, departure: Values) -> Values:
    """Standard deviation of the level at each day, from that of the three months about it [K]."""
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    known = ~np.isnan(departure)
    spread = np.full(12, np.nan)
    for number in range(12):
        near = departure[known & ((month - number + 1) % 12 <= 2)]
        if near.size >= FEWEST_BESIDE:
            spread[number] = 1.4826 * np.median(np.abs(near))
    return np.where(np.isnan(spread), _USUAL, np.clip(spread, _LEAST_USUAL, _MOST_USUAL))[month]


def _edges(days: Days, level: Values, other: Values) -> tuple[Values, Values]:
    """What speaks for a change into the other unit before each day, and out of it.

    The week before is compared with the week after, as they stand and with
    the one or the other converted.
    """
    count = level.size
    place = np.arange(count + 1)
    low, high = np.maximum(place - _WEEK, 0), np.minimum(place + _WEEK, count)

    def weeks(series: Values) -> tuple[Values, Values]:
        sums = np.r_[0.0, np.cumsum(series)]
        return (sums - sums[low]) / np.maximum(place - low, 1), (sums[high] - sums) / np.maximum(high - place, 1)

    (before, after), (before_other, after_other) = weeks(level), weeks(other)
    gap = np.zeros(count + 1)
    gap[1:-1] = np.diff(days).astype(np.int64) - 1
    scale = np.hypot(_USUAL_STEP, _DRIFT * gap)
    whole = high - low == 2 * _WEEK
    stands = _fit((after - before) / scale)
    enter = np.where(whole, _fit((after_other - before) / scale) - stands, 0.0)
    leave = np.where(whole, _fit((after - before_other) / scale) - stands, 0.0)
    return enter, leave


def _against_years(
    readings: _Readings, other: Values, columns: tuple[int, ...], usual: Values, usual_range: Values
) -> _Found | None:
    """The stretch for which the other years, and then the days beside it, speak most."""
    level, level_other = _level(readings.both, columns), _level(other, columns)
    scale = _spread(readings.days, level - usual)
    from_level = np.nan_to_num(_fit((level_other - usual) / scale) - _fit((level - usual) / scale))
    from_range = _range_tells(readings.both, other, usual_range)
    enter, leave = (_STEP_WEIGHT * step for step in _edges(readings.days, level, level_other))

    sums = np.r_[0.0, np.cumsum(from_level + from_range)]
    begun = enter - sums
    ended = (leave + sums)[FEWEST_DAYS:] + np.maximum.accumulate(begun)[:-FEWEST_DAYS]
    end = int(np.argmax(ended)) + FEWEST_DAYS
    start = int(np.argmax(begun[: end - FEWEST_DAYS + 1]))
    here = slice(start, end)
    with_years = ~np.isnan(usual[here])
    if not with_years.any():
        return None
    off, left = (float((series - usual)[here][with_years].mean()) for series in (level, level_other))
    told = float(from_level[here].sum() + enter[start] + leave[end])
    evidence = min(told + float(from_range[here].sum()), 2 * told) / _PERSISTENCE
    beside = _beside(readings, other, columns, start, end)
    # A stretch with nothing beside it has only the other years to speak for it.
    evidence += evidence if beside is None else beside.evidence
    return _Found(start, end, evidence, off, left)


def _against_days_beside(readings: _Readings, other: Values, columns: tuple[int, ...]) -> _Found | None:
    """The stretch between two edges, or an edge and an end, for which the days beside it speak most."""
    enter, leave = _edges(readings.days, _level(readings.both, columns), _level(other, columns))
    count = readings.days.size
    best: _Found | None = None
    for start in (0, *_peaks(enter)):
        for end in (*_peaks(leave), count):
            steps = [enter[start]] * (start > 0) + [leave[end]] * (end < count)
            if end - start < FEWEST_DAYS or not steps:
                continue
            one = _beside(readings, other, columns, start, end)
            if one is None:
                continue
            clear = float(np.clip(np.mean(steps) / _CLEAR_STEP[readings.units], 0.0, 1.0))
            # With less beside a stretch than in it, a blurred edge leaves open which of the two is the season.
            blurred = clear**2 if 2 * (end - start) < count else 0.0
            one = replace(one, evidence=one.evidence * (1.0 if clear == 1 else blurred))
            if best is None or one.evidence > best.evidence:
                best = one
    return best


def _peaks(series: Values) -> list[int]:
    """Places of the largest values, not close to each other."""
    series = series.copy()
    found: list[int] = []
    while len(found) < _MOST_PEAKS and series[place := int(np.argmax(series))] > 0.5:
        found.append(place)
        series[max(place - _WEEK // 2, 0) : place + _WEEK // 2 + 1] = 0.0
    return found


def _around(days: Days, start: int, end: int) -> tuple[int, int]:
    """Where the half-year before a stretch begins, and where the one after it ends."""
    return (
        int(np.searchsorted(days, days[start] - _BESIDE)),
        int(np.searchsorted(days, days[end - 1] + _BESIDE, side="right")),
    )


def _beside(readings: _Readings, other: Values, columns: tuple[int, ...], start: int, end: int) -> _Found | None:
    """How much better one yearly wave fits a stretch and the half-years beside it once it is converted.

    The evidence is the logarithm of the likelihood ratio; off and left are
    from the wave that fits the stretch converted.  None if too few days lie beside it.
    """
    low, high = _around(readings.days, start, end)
    if high - low - (end - start) < FEWEST_BESIDE:
        return None
    days, both = readings.days[low:high], readings.both[:, low:high]
    inside = np.zeros(days.size, dtype=bool)
    inside[start - low : end - low] = True
    level, level_other = _level(both, columns), _level(other[:, low:high], columns)
    turn = 2 * np.pi * (days - days[0].astype("datetime64[Y]")).astype(np.int64) / 365.25
    wave = np.stack([np.ones(turn.size), np.cos(turn), np.sin(turn)], axis=1)
    stands, _ = _wave_misfit(wave, level)
    converts, fitted = _wave_misfit(wave, np.where(inside, level_other, level))
    # Conversion alone makes a spread smaller or larger, which is no evidence.
    scale = np.log(1.8) * (end - start) * (-1 if readings.units == "metric" else 1)
    told = float(turn.size / 2 * np.log(stands / converts) + scale) / _PERSISTENCE
    usual_range = np.full(days.size, np.median(_range(both[:, ~inside])))
    from_range = float(_range_tells(both, other[:, low:high], usual_range)[inside].sum())
    off, left = (float((series - fitted)[inside].mean()) for series in (level, level_other))
    return _Found(start, end, min(told + _RANGE_WEIGHT * from_range, 2 * told), off, left)


def _range_tells(both: Values, other: Values, usual: Values) -> Values:
    """What the daily range of each day says for the other unit."""
    return _fit((_range(other) - usual) / _USUAL_RANGE) - _fit((_range(both) - usual) / _USUAL_RANGE)


def _from_decimals(readings: _Readings, columns: tuple[int, ...], start: int, end: int) -> float:
    """What the decimals say: a stretch that came from elsewhere is often rounded otherwise."""
    low, high = _around(readings.days, start, end)
    if high - low - (end - start) < FEWEST_BESIDE:
        return 0.0
    written = readings.both[list(columns), low:high]
    if readings.units == "us":
        written = fahrenheit_from_celsius(written)
    whole = np.abs(written - np.rint(written)) <= _NEAR
    inside = np.zeros(high - low, dtype=bool)
    inside[start - low : end - low] = True
    here, beside = whole[:, inside].mean(), whole[:, ~inside].mean()
    return _DECIMALS if max(here, beside) >= _WHOLE and min(here, beside) <= _NOT_WHOLE else 0.0


def _wave_misfit(wave: Values, level: Values) -> tuple[float, Values]:
    """Sum of squares left by a yearly wave, whose amplitude costs, and the wave."""
    cost = np.diag([0.0, 1.0, 1.0]) * _PERSISTENCE * (5.0 / _AMPLITUDE) ** 2
    weights = np.linalg.solve(wave.T @ wave + cost, wave.T @ level)
    fitted = wave @ weights
    return float(((level - fitted) ** 2).sum() + weights @ cost @ weights), fitted
