"""The trend of a date over the years, by a rule that a few odd years do not sway."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

#: Fewer years than this tell of no trend, whatever their slope.
FEWEST_FOR_TREND = 10

#: The interval of a slope that is shown.
SURE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A straight line through dates, with the interval of its slope.

    Attributes
    ----------
    slope, low, high : float
        Per year, and the ends of its interval of 95 %.
    level : float
        Height of the line in year 0.
    years : int
        Number of years that it rests on.
    """

    slope: float
    low: float
    high: float
    level: float
    years: int

    @property
    def is_told(self) -> bool:
        """Whether it can be told from no trend at all: its interval does not hold 0."""
        return self.low > 0 or self.high < 0

    def at(self, year: ArrayLike) -> np.ndarray:
        """The height of the line in a year."""
        return np.asarray(self.level + self.slope * np.asarray(year, dtype=np.float64))


def trend(years: ArrayLike, values: ArrayLike) -> Trend | None:
    """The middle of the slopes between all pairs of years (Theil 1950), with the interval of Sen (1968).

    Parameters
    ----------
    years : array_like, shape (year,)
        Each once.
    values : array_like, shape (year,)
        NaN where there is none.

    Returns
    -------
    Trend or None
        None of fewer than :data:`FEWEST_FOR_TREND` years.

    Notes
    -----
    ``scipy.stats.theilslopes`` gives the same (held against it in the tests) and takes a second to load.  The interval
    takes the years as independent.
    """
    x, y = (np.asarray(each, dtype=np.float64) for each in (years, values))
    known = np.isfinite(y)
    x, y = x[known], y[known]
    if x.size < FEWEST_FOR_TREND:
        return None
    earlier, later = np.triu_indices(x.size, 1)
    slopes = np.sort((y[later] - y[earlier]) / (x[later] - x[earlier]))
    slope = float(np.median(slopes))
    tied = np.unique(y, return_counts=True)[1]
    variance = (_pairs(np.array([x.size])) - _pairs(tied)) / 18  # of Kendall's sum, less what ties take away
    spread = NormalDist().inv_cdf((1 + SURE) / 2) * np.sqrt(variance)
    upper = min(round((slopes.size + spread) / 2), slopes.size - 1)
    lower = max(round((slopes.size - spread) / 2) - 1, 0)
    return Trend(
        slope=slope,
        low=float(slopes[lower]),
        high=float(slopes[upper]),
        level=float(np.median(y) - slope * np.median(x)),
        years=x.size,
    )


def _pairs(count: np.ndarray) -> int:
    """The part of Kendall's variance that groups of so many make, times 18."""
    return int((count * (count - 1) * (2 * count + 5)).sum())
