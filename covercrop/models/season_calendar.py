"""The calendar of a season: midwinter, midsummer, and the last day that still belongs to it."""

from __future__ import annotations

import datetime as dt

import numpy as np

#: Days from midwinter in which spring freezes are looked for; then it is midsummer.
HALF_YEAR = 182

#: What is turned under so many days before midwinter, or later, makes way for the next spring's crop.
AUTUMN_DAYS = 92


def midwinter_before(spring: np.datetime64, latitude: float) -> np.datetime64:
    """1 January, south of the equator 1 July, before the spring that a day belongs to.

    Parameters
    ----------
    spring : numpy.datetime64[D]
        From :data:`AUTUMN_DAYS` days before midwinter on, the next spring is
        meant.
    latitude : float
        [degrees], north positive.

    Returns
    -------
    numpy.datetime64[D]
    """
    months = np.timedelta64(0 if latitude >= 0 else 6, "M")
    month = (spring + np.timedelta64(AUTUMN_DAYS, "D")).astype("datetime64[M]") - months
    day: np.datetime64 = (month.astype("datetime64[Y]").astype("datetime64[M]") + months).astype("datetime64[D]")
    return day


def midwinter_after(sown: np.datetime64, latitude: float) -> np.datetime64:
    """The midwinter that follows a sowing; takes and gives what :func:`midwinter_before` does."""
    return midwinter_before(sown + np.timedelta64(HALF_YEAR, "D"), latitude)


#: From sowing to past the first freeze of the next autumn; what is done or seen later is of another season [d].
SEASON_DAYS = 500
#: Days of such a season, the day of sowing and the last one among them.
DAYS_OF_SEASON = SEASON_DAYS + 1


def season_ends(sown: dt.date) -> dt.date:
    """The last day of the season of a cover."""
    return sown + dt.timedelta(days=SEASON_DAYS)
