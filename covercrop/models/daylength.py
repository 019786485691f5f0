"""Day length at any latitude, for any height of the sun that bounds the day.

The sun's declination comes from the low-precision formula of the Astronomical
Almanac (U.S. Naval Observatory, "Approximate Solar Coordinates"), taken for a
year of mean length: a day of the year falls up to half a day earlier or later
in the sun's course as leap years come round, which is the larger error, about
three minutes of day length at 60 degrees near the equinoxes.  Height above the
sea and the hills around are left out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covercrop.base.errors import UsageError

# Height of the sun's centre that bounds the day [degrees].
CENTRE = 0.0  #: The centre of the disc on the horizon, without refraction.
TOP = -0.2667  #: The top of the disc on the horizon, without refraction.
SUNRISE = -0.8333  #: Sunrise and sunset as seen: top of the disc, with refraction.
CIVIL = -6.0
NAUTICAL = -12.0
ASTRONOMICAL = -18.0


def day_length(latitude: ArrayLike, day_of_year: ArrayLike, sun_angle: ArrayLike = SUNRISE) -> NDArray[np.float64]:
    """Time for which the sun stands higher than a given angle.

    Parameters
    ----------
    latitude : array_like
        [degrees], north positive.
    day_of_year : array_like
        1 on the first of January; parts of a day are allowed.
    sun_angle : array_like, optional
        Height of the sun's centre that bounds the day [degrees]: sunrise to
        sunset if left out.  Photoperiods in the literature differ in it:
        counted from civil twilight the day at 40 degrees is an hour longer.

    Returns
    -------
    ndarray
        [h], the three arguments broadcast; 24 in polar day, 0 in polar night.

    Raises
    ------
    UsageError
        If a latitude does not lie between -90 and 90.
    """
    degrees = np.asarray(latitude, dtype=np.float64)
    outside = ~(np.abs(degrees) <= 90.0)
    if outside.any():
        raise UsageError(f"latitude {degrees[outside].flat[0]:g}: give degrees from -90 (south) to 90 (north)")
    phi = np.radians(degrees)
    declination = solar_declination(day_of_year)
    lift = np.sin(np.radians(sun_angle)) - np.sin(phi) * np.sin(declination)
    # At a pole cos(phi) is tiny in floating point, not zero: the ratio is large and clipped.
    half_day = np.arccos(np.clip(lift / (np.cos(phi) * np.cos(declination)), -1.0, 1.0))
    return np.asarray(24.0 / np.pi * half_day)


def solar_declination(day_of_year: ArrayLike) -> NDArray[np.float64]:
    """Declination of the sun at noon.

    Parameters
    ----------
    day_of_year : array_like
        1 on the first of January; parts of a day are allowed.

    Returns
    -------
    ndarray
        [rad], north positive.
    """
    # Days since noon of 2000-01-01.  That year began half a day early in the sun's course; one of mean place is meant.
    day = np.asarray(day_of_year, dtype=np.float64) - 0.5
    anomaly = np.radians(357.529 + 0.98560028 * day)
    longitude = 280.459 + 0.98564736 * day + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly)
    return np.asarray(np.arcsin(np.sin(np.radians(23.439)) * np.sin(np.radians(longitude))))
