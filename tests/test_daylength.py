"""Day length against published tables and against an ephemeris, and where the sun does not rise or set."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from covercrop.base.errors import UsageError
from covercrop.base.shipped import data_file
from covercrop.models import daylength
from covercrop.models.daylength import (
    ASTRONOMICAL,
    CENTRE,
    CIVIL,
    NAUTICAL,
    SUNRISE,
    TOP,
    day_length,
    solar_declination,
)

Observed = Callable[[int, float, float], tuple[np.ndarray, np.ndarray]]


def test_published_tables() -> None:
    """All 15 published lengths, latitudes 0 to 60, are met within one minute; they are printed to a minute or so."""
    with data_file("validation", "daylength_cases.csv").open() as file:
        cases = pd.read_csv(file)
    assert len(cases) == 15
    computed = day_length(cases["latitude"], cases["day_of_year"], cases["sun_angle"])
    assert np.abs(computed - cases["hours"]).max() * 60 <= 1.0


@pytest.fixture(scope="module")
def observed() -> Iterator[Observed]:
    """Day of the year and length [h] of each day of a year, from JPL's ephemeris DE421, by the skyfield library."""
    import skyfield_data
    from skyfield import almanac
    from skyfield.api import load, load_file, wgs84

    ephemeris = load_file(str(Path(skyfield_data.__path__[0]) / "data" / "de421.bsp"))
    scale = load.timescale(builtin=True)

    def lengths(year: int, latitude: float, sun_angle: float) -> tuple[np.ndarray, np.ndarray]:
        place = ephemeris["earth"] + wgs84.latlon(latitude, 0.0)
        begin, end = scale.utc(year, 1, 1), scale.utc(year + 1, 1, 1)
        risings, rises = almanac.find_risings(place, ephemeris["sun"], begin, end, sun_angle)
        settings, sets = almanac.find_settings(place, ephemeris["sun"], begin, end, sun_angle)
        # Where the sun only comes near the angle, a time is given all the same, marked as no true event.
        risings, settings = risings.tt[rises], settings.tt[sets]
        following = np.searchsorted(settings, risings)
        risings, following = risings[following < len(settings)], following[following < len(settings)]
        hours = (settings[following] - risings) * 24
        noon = (settings[following] + risings) / 2 - begin.tt
        whole = hours < 24  # across a polar day the next setting is weeks away
        return np.floor(noon[whole]) + 1, hours[whole]

    yield lengths
    ephemeris.close()


@pytest.mark.parametrize("sun_angle", [CENTRE, SUNRISE, CIVIL])
@pytest.mark.parametrize("latitude", [-60, -45, -30, -10, 0, 20, 35, 40, 50, 60])
def test_every_day_of_a_leap_cycle(observed: Observed, latitude: float, sun_angle: float) -> None:
    """Within 3 minutes of the ephemeris up to 60 degrees, and 2 up to 50, on all days of 2020 and 2021.

    The two years lie at the ends of the leap cycle, where the day of the year is furthest from the sun's course.
    Civil days longer than 22 h, at 60 degrees in June, are left out: there the sun grazes the angle.
    """
    for year in (2020, 2021):
        day, hours = observed(year, latitude, sun_angle)
        clear = hours < 22
        assert clear.sum() >= (360 if abs(latitude) < 60 or sun_angle > CIVIL else 340)
        error = np.abs(day_length(latitude, day, sun_angle) - hours)[clear] * 60
        assert error.max() <= (3.0 if abs(latitude) > 50 else 2.0)


def test_polar_day_and_night_last_as_long_as_observed(observed: Observed) -> None:
    """At 75 north the days on which the sun both rises and sets are those of the ephemeris, to 2 either way."""
    day, _ = observed(2022, 75.0, SUNRISE)
    computed = day_length(75.0, np.arange(1, 366))
    assert abs(int(((computed > 0) & (computed < 24)).sum()) - day.size) <= 2


@pytest.mark.parametrize(
    ("latitude", "day", "hours"),
    [
        (90, 172, 24.0),
        (90, 355, 0.0),
        (-90, 172, 0.0),
        (-90, 355, 24.0),
        (70, 172, 24.0),
        (-70, 172, 0.0),
        (80, 1, 0.0),
    ],
)
def test_polar_day_and_night(latitude: float, day: float, hours: float) -> None:
    """24 h where the sun does not set, none where it does not rise, at the poles too.  Common practice, no source."""
    assert day_length(latitude, day) == hours


def test_hemispheres_mirror() -> None:
    """With the sun's centre on the horizon, north and south share 24 h between them, to 1e-9 h."""
    latitude, day = np.arange(-90.0, 91, 10)[:, None], np.arange(1, 367)
    both = day_length(latitude, day, CENTRE) + day_length(-latitude, day, CENTRE)
    np.testing.assert_allclose(both, 24.0, atol=1e-9)


def test_seasons() -> None:
    """The longest day of the north is the shortest of the south, and falls on 20 to 22 June."""
    days = np.arange(1, 366)
    assert 171 <= days[day_length(40.0, days).argmax()] <= 173
    assert 171 <= days[day_length(-40.0, days).argmin()] <= 173


def test_lower_sun_makes_longer_days() -> None:
    """From the sun's centre to astronomical twilight the day only grows."""
    angles = np.array([CENTRE, TOP, SUNRISE, CIVIL, NAUTICAL, ASTRONOMICAL])
    hours = day_length(40.0, np.arange(1, 366)[:, None], angles)
    assert hours.shape == (365, 6)
    assert (np.diff(hours, axis=1) > 0).all()


def test_parts_of_a_day_and_leap_days() -> None:
    """The curve is smooth: no step within a day, and day 366 leads on to day 1 within 1.5 minutes."""
    fine = day_length(50.0, np.arange(1, 366, 0.25))
    assert np.abs(np.diff(fine)).max() * 60 < 1.5
    assert abs(float(day_length(50.0, 366) - day_length(50.0, 1))) * 60 < 1.5


def test_declination_reaches_the_obliquity() -> None:
    """The sun goes as far north and south as the Earth's axis leans, 23.44 degrees (J2000 obliquity, IAU)."""
    degrees = np.degrees(solar_declination(np.arange(1, 366, 0.1)))
    assert degrees.max() == pytest.approx(23.44, abs=0.01)
    assert degrees.min() == pytest.approx(-23.44, abs=0.01)


@pytest.mark.parametrize("latitude", [90.5, -91.0, np.nan])
def test_impossible_latitudes_are_refused(latitude: float) -> None:
    """A latitude that is none is refused in one line with the value and the way out."""
    with pytest.raises(UsageError, match=f"latitude {latitude:g}: give degrees from -90"):
        day_length([40.0, latitude], 100)


def test_unknown_days_stay_unknown() -> None:
    """A day that is not reached has no length."""
    assert np.isnan(daylength.day_length(40.0, [100.0, np.nan])).tolist() == [False, True]


@pytest.mark.parametrize(("sun_angle", "degrees"), [(CENTRE, 0), (CIVIL, 6), (NAUTICAL, 12), (ASTRONOMICAL, 18)])
def test_twilights_at_the_equator(sun_angle: float, degrees: float) -> None:
    """There the sun of an equinox goes straight down, 15 degrees an hour, in the morning and in the evening."""
    assert day_length(0.0, 79.6, sun_angle) == pytest.approx(12 + 2 * degrees / 15, abs=0.01)


@pytest.mark.parametrize(("sun_angle", "minutes"), [(CENTRE, 0), (TOP, 16), (SUNRISE, 16 + 34)])
def test_the_disc_and_the_air_lengthen_the_day(sun_angle: float, minutes: int) -> None:
    """At the equator, four minutes of time a degree at either end: half a disc of 32', and 34' of refraction."""
    assert day_length(0.0, 79.6, sun_angle) == pytest.approx(12 + 2 * minutes / 60 / 15, abs=1e-4)


def test_declination_is_that_of_the_ephemeris_in_the_mean_of_a_leap_cycle() -> None:
    """Every fifth day of 2020 to 2023 within a fiftieth of a degree, which the sun moves in an hour in March."""
    import skyfield_data
    from skyfield.api import load, load_file

    ephemeris = load_file(str(Path(skyfield_data.__path__[0]) / "data" / "de421.bsp"))
    scale, days = load.timescale(builtin=True), np.arange(1, 366, 5)
    noons = (scale.utc(year, 1, days, 12) for year in range(2020, 2024))
    apparent = (ephemeris["earth"].at(noon).observe(ephemeris["sun"]).apparent() for noon in noons)
    mean = np.mean([place.radec("date")[1].degrees for place in apparent], axis=0)
    ephemeris.close()
    np.testing.assert_allclose(np.degrees(solar_declination(days)), mean, atol=0.02)
