"""Gaps in daily readings: filled within limits, and said so."""

from __future__ import annotations

import numpy as np

from covercrop.base.arrays import Days
from covercrop.weather.quality import Values, Words, climatology, days_word, runs

#: Gaps up to this many days are interpolated.  On gaps cut out of complete
#: records (Clemson SC, Champion NE) the straight line beats the climatology up to
#: five days (rms error 3.5 to 4.4 K a day) and loses from seven days on.
LINEAR_LIMIT = 5
#: Gaps up to this many days get the season's usual temperature.  On the same
#: records the sum over a gap of 30 days is then off by 50 to 75 degC d (rms), about as
#: much as a cultivar; beyond that the season would be made up.
CLIMATOLOGY_LIMIT = 30
#: Days on either side whose departure from the season is carried into a gap,
#: and the share of it that is: half is better than all or nothing there.
EDGE_DAYS, EDGE_SHARE = 5, 0.5


def fill_gaps(days: Days, values: Values, origin: Words) -> tuple[Values, Words]:
    """The gaps that may be filled, filled, and where each day then comes from.

    Parameters
    ----------
    days : numpy.ndarray of datetime64[D], shape (day,)
    values : numpy.ndarray, shape (2, day)
        Minimum and maximum [degC], NaN where unknown.
    origin : numpy.ndarray of str, shape (day,)
        ``observed``, ``forecast`` or ``missing``.

    Returns
    -------
    tuple of numpy.ndarray
        Values and origins.  What leads from the last reading to a forecast
        is itself a forecast.
    """
    observed = origin == "observed"
    empty = np.isnan(values)
    filled = values.copy()
    by_climatology = np.zeros(len(days), dtype=bool)
    for series, holes in zip(filled, empty, strict=True):
        usual = None
        for first, end in runs(holes):
            if first == 0 or end == len(days) or end - first > CLIMATOLOGY_LIMIT:
                continue
            if end - first <= LINEAR_LIMIT:
                ends = [series[first - 1], series[end]]
                series[first:end] = np.interp(np.arange(first, end), [first - 1, end], ends)
                continue
            if usual is None:
                usual = climatology(days, np.where(observed & ~holes, series, np.nan))[0]
            beside = np.r_[max(first - EDGE_DAYS, 0) : first, end : min(end + EDGE_DAYS, len(days))]
            departure = series[beside] - usual[beside]
            if not np.isnan(departure).all():
                series[first:end] = usual[first:end] + EDGE_SHARE * np.nanmean(departure)
                by_climatology[first:end] = True
    # A filled minimum may not pass the maximum that was read, nor the reverse.
    low, high = filled
    crossed = low > high
    low[crossed & empty[0]] = high[crossed & empty[0]]
    high[crossed & ~empty[0]] = low[crossed & ~empty[0]]

    origin = origin.copy()
    here = empty.any(axis=0) & ~np.isnan(filled).any(axis=0)
    origin[here] = np.where(by_climatology, "climatology", "filled")[here]
    last_reading = int(np.flatnonzero(observed)[-1]) if observed.any() else -1
    origin[here & (np.arange(len(days)) > last_reading)] = "forecast"
    return filled, origin


def fill_notes(days: Days, origin: Words) -> list[str]:
    """What was filled and what was not, in words."""
    notes = []
    for name, how in (
        ("filled", f"filled by a straight line (gaps of up to {LINEAR_LIMIT} days)."),
        ("climatology", f"filled with the season's usual temperature (gaps of up to {CLIMATOLOGY_LIMIT} days)."),
    ):
        if count := int((origin == name).sum()):
            notes.append(f"{days_word(count)} {how}")
    if gaps := runs(origin == "missing"):
        first, end = max(gaps, key=lambda gap: gap[1] - gap[0])
        count = sum(stop - start for start, stop in gaps)
        notes.append(f"{days_word(count)} left empty; the longest gap runs from {days[first]} to {days[end - 1]}.")
    return notes
