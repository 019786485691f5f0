"""How far a cover has come towards its bloom, in every way the season may go."""

from __future__ import annotations

import numpy as np
import pytest
from invented import season

from covercrop.parameters import catalogue
from covercrop.season.progress import towards_bloom

CRIMSON = catalogue.cover("crimson-clover")


def years(*means: float, length: int = 300) -> np.ndarray:
    return np.array(means)[:, np.newaxis] * np.ones(length)


def test_the_three_lines_are_the_middle_and_one_year_in_ten_on_either_side() -> None:
    """Of eleven years, of which each is warmer than the one before, the tenth, the sixth and the second."""
    eleven = years(*np.linspace(8.0, 9.9, 11))
    found = towards_bloom(season(eleven, length=300, years=11), 37.6, CRIMSON)
    for line, place in ((found.early, 9), (found.median, 5), (found.late, 1)):
        assert line.shape == (300,)
        alone = towards_bloom(season(eleven[place], length=300), 37.6, CRIMSON)
        np.testing.assert_allclose(line, alone.median)
    assert found.early[-1] > found.median[-1] > found.late[-1] > 0


def test_the_sum_runs_from_emergence_on_and_never_falls() -> None:
    """Nothing counts up to the day on which the seed is up, nor on days below the base of the cover."""
    cold_then_warm = np.where(np.arange(300) < 20, CRIMSON.emergence.base.value - 5, 9.0)
    line = towards_bloom(season(cold_then_warm, length=300), 37.6, CRIMSON).median
    need = CRIMSON.emergence.sum.value
    up = 20 + int(np.ceil(need / (9.0 - CRIMSON.emergence.base.value))) - 1
    assert (line[: up + 1] == 0).all()
    assert (np.diff(line) >= 0).all()
    assert line[-1] > 0


def test_all_years_are_one_line_where_they_are_alike() -> None:
    """What is known of the season is the same in all of them."""
    found = towards_bloom(season(9.0, length=300, years=5), 37.6, CRIMSON)
    np.testing.assert_array_equal(found.early, found.late)
    assert found.median[-1] == pytest.approx(found.early[-1])


def test_long_days_count_for_more() -> None:
    """Further north the days of late spring are longer, those of winter shorter."""
    south, north = (towards_bloom(season(9.0, length=300), latitude, CRIMSON).median for latitude in (30.0, 45.0))
    assert np.diff(north)[280] >= np.diff(south)[280]
    assert north[110] <= south[110]
