"""How far a weather forecast may be off, day by day ahead.

The first days of a forecast are good and the tenth is little better than the
season's usual.  A forecast that has gone wrong stays wrong for days, in the way
in which weather departs from the usual for days; so each past year lends its own
departures as the error, scaled to the size that the lead has.  Over the members
the errors cancel out: the forecast itself is kept.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from covercrop.base.arrays import Array
from covercrop.parameters.constants import MODELS

#: Standard error of the daily mean temperature on the first day, and what each further day adds [K].
FIRST_DAY_SD = MODELS.forecast.first_day.value
DAILY_GROWTH = MODELS.forecast.each_day.value

#: Departure of a day from the season's usual that is assumed where there are too few past years to tell [K]; no
#: forecast is worse.
USUAL_SD = MODELS.forecast.usual.value

#: Members where there are too few past years to lend their departures.
MEMBERS = 15


def lead_sd(days: int) -> Array:
    """Standard error of a forecast of the daily mean temperature.

    Parameters
    ----------
    days : int

    Returns
    -------
    numpy.ndarray, shape (days,)
        From the first day ahead on [K].
    """
    return np.minimum(FIRST_DAY_SD + DAILY_GROWTH * np.arange(days), USUAL_SD)


def forecast_error(past: Array) -> Array:
    """Errors of a forecast, one row a past year.

    Parameters
    ----------
    past : numpy.ndarray, shape (year, day)
        Daily mean temperature of past years on the days that are forecast
        [degC]; NaN where unknown, which departs from nothing.

    Returns
    -------
    numpy.ndarray, shape (year, day)
        To be added to the forecast [K].  Of mean 0 on each day, and of the
        standard deviation of :func:`lead_sd`, or that of the past years
        themselves where that is less.
    """
    unknown = np.isnan(past)
    mean = np.where(unknown, 0.0, past).sum(axis=0) / np.maximum((~unknown).sum(axis=0), 1)
    departure = np.where(unknown, 0.0, past - mean)
    spread = departure.std(axis=0)
    return departure * np.minimum(lead_sd(past.shape[-1]) / np.maximum(spread, 1e-9), 1.0)


def lone_forecast_error(days: int) -> Array:
    """Errors of a forecast where there are no past years to lend theirs.

    Parameters
    ----------
    days : int

    Returns
    -------
    numpy.ndarray, shape (MEMBERS, days)
        To be added to the forecast [K]; each member is too warm or too cold
        throughout.
    """
    normal = NormalDist()
    member = np.array([normal.inv_cdf((place + 0.5) / MEMBERS) for place in range(MEMBERS)])
    return member[:, np.newaxis] * lead_sd(days)
