"""What a plan says of the winter: the day on which the stand came nearest to dying, and what killed or saved it."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from invented import season

from covercrop.parameters import catalogue
from covercrop.season.winter_part import WinterPart, snow_from, winter_part

CRIMSON = catalogue.cover("crimson-clover")

#: Five days of a stand that comes up on the second: nothing is felt before.
AIR = (-3.0, -8.0, -12.0, -9.0, 2.0)
FELT = (np.inf, -8.0, -12.0, -9.0, 2.0)


def winter(
    felt: tuple[float, ...] = FELT,
    *,
    stands: float | tuple[float, ...] = -10.0,
    snow: float | tuple[float, ...] = 0.0,
    grown: float = 1.0,
    hardened: float = 1.0,
    until: int = 5,
    air: tuple[float, ...] = AIR,
) -> WinterPart:
    """The winter of a stand that stood five days of a season of eight, with another year beside it that is milder."""

    def of_two(values: object) -> np.ndarray:
        return np.stack([np.broadcast_to(values, 5), np.full(5, 5.0)]).astype(np.float64)  # type: ignore[arg-type]

    means = np.full((2, 8), 5.0)
    means[0, :5] = air
    killing = of_two(stands)
    exposed = SimpleNamespace(
        felt=of_two(felt), grown=of_two(grown), hardened=of_two(hardened), stands=lambda winter: killing
    )
    stand = SimpleNamespace(snow=of_two(snow), exposed=exposed)
    return winter_part(season(means, length=8, years=2, first="2026-01-01"), CRIMSON, stand, until)  # type: ignore[arg-type]


def day(number: int) -> np.datetime64:
    """Of January."""
    return np.datetime64("2026-01-01") + np.timedelta64(number - 1, "D")


def test_it_died_on_the_day_that_was_furthest_below_what_it_stood() -> None:
    """Twelve below on the third day, and it stands ten below."""
    found = winter(snow=(0.0, 0.0, 4.0, 0.0, 0.0))
    assert (found.hardest, found.felt_c, found.stands_c, found.snow_mm) == (day(3), -12.0, -10.0, 4.0)
    assert found.lost


def test_the_hardest_day_is_not_always_the_coldest() -> None:
    """Nine below on a day on which it stands five below is four too cold; twelve below against ten is two."""
    found = winter(stands=(-10.0, -10.0, -10.0, -5.0, -5.0))
    assert (found.hardest, found.felt_c, found.stands_c) == (day(4), -9.0, -5.0)


def test_half_of_the_stands_died_of_just_what_they_can_stand() -> None:
    """The temperature that kills half of them is itself a loss, and no snow is said to have saved it; less is none."""
    assert winter(stands=-12.0, snow=(0.0, 0.0, 0.0, 200.0, 0.0), air=(-60.0,) * 5).cause == "bare"
    assert winter(stands=-12.0).lost is True
    assert winter(stands=-12.1).lost is False
    assert winter(stands=-12.1).cause == ""


@pytest.mark.parametrize(
    ("stand", "cause"),
    [
        ({"grown": 0.49, "hardened": 0.2}, "young"),
        ({"grown": 0.5, "hardened": 0.49}, "soft"),
        ({"grown": 0.5, "hardened": 0.5, "snow": 9.5}, "bare"),
        ({"snow": 10.0}, "cold"),
    ],
)
def test_what_killed_it(stand: dict[str, float], cause: str) -> None:
    """Its youth before its softness, and both before the want of snow; half grown is grown, a centimetre is snow."""
    assert winter(**stand).cause == cause  # type: ignore[arg-type]


def test_growth_and_hardening_are_those_of_the_day_that_killed() -> None:
    """On the third day it had both; on the others neither."""
    only = (0.0, 0.0, 1.0, 0.0, 0.0)
    assert winter(grown=only, hardened=only).cause == "bare"  # type: ignore[arg-type]


def test_snow_saved_what_would_have_died_in_the_open() -> None:
    """Under it three below is felt; bare crowns in air of thirty below have far more than the six that it stands."""
    felt = (np.inf, -3.0, -3.0, -3.0, 2.0)
    air = (-30.0, -30.0, -30.0, -30.0, -30.0)
    saved = winter(felt, stands=-6.0, snow=(0.0, 100.0, 100.0, 100.0, 100.0), air=air)
    assert (saved.cause, saved.lost) == ("snow", False)
    assert (saved.felt_c, saved.snow_mm) == (-3.0, 100.0)


@pytest.mark.parametrize(("snow", "cause"), [(9.5, ""), (10.0, "snow")])
def test_a_dusting_saves_nothing(snow: float, cause: str) -> None:
    """Snow of less than a centimetre is none to speak of, however cold the air."""
    felt = (np.inf, -3.0, -3.0, -3.0, 2.0)
    assert winter(felt, stands=-6.0, snow=snow, air=(-30.0,) * 5).cause == cause


def test_the_day_that_snow_saved_it_from_is_told() -> None:
    """Not that on which it felt most: that was the second, bare; the fourth would have killed it without its snow."""
    felt = (np.inf, -5.0, -2.0, -3.0, 2.0)
    air = (0.0, -1.0, -20.0, -40.0, 10.0)
    saved = winter(felt, stands=-6.0, snow=(0.0, 0.0, 50.0, 60.0, 0.0), air=air)
    assert (saved.hardest, saved.felt_c, saved.snow_mm) == (day(4), -3.0, 60.0)
    mild = winter(felt, stands=-6.0, snow=(0.0, 0.0, 50.0, 60.0, 0.0), air=(0.0,) * 5)
    assert (mild.hardest, mild.cause) == (day(2), "")


def test_cold_before_it_was_up_does_not_count() -> None:
    """Nothing is drawn of those days, nor of what it could have stood on them."""
    found = winter()
    assert np.isnan(found.felt[0])
    assert np.isnan(found.stands[0])
    np.testing.assert_array_equal(found.felt[1:], FELT[1:])
    assert (found.stands[1:] == -10.0).all()
    late = winter((np.inf,) * 3 + (-1.0, -2.0), stands=-6.0, snow=100.0, air=(-60.0, -60.0, 30.0, 30.0, 30.0))
    assert (late.cause, late.hardest) == ("", day(5))


@pytest.mark.parametrize("felt", [(0.0, 1.0, 0.5, 3.0, 0.0), (np.inf,) * 5])
def test_without_frost_there_is_no_hardest_day(felt: tuple[float, ...]) -> None:
    """Freezing itself is none; nor is a seed that never came up."""
    found = winter(felt, stands=2.0, snow=50.0)
    assert np.isnat(found.hardest)
    assert (found.lost, found.cause) == (False, "")
    assert np.isnan([found.felt_c, found.stands_c, found.snow_mm]).all()


def test_only_so_many_days_are_looked_at() -> None:
    """Two days: the cold of the third is not known yet.  None: nothing.  And no more than the stand stood."""
    two = winter(until=2)
    assert (two.hardest, two.lost) == (day(2), False)
    assert two.days.size == two.snow.size == two.felt.size == two.stands.size == 2
    none = winter(until=0)
    assert np.isnat(none.hardest)
    assert none.days.size == 0
    all_days = winter(until=8)
    assert all_days.days.size == all_days.felt.size == 5


# --- where the snow is from -----------------------------------------------------------------------


def source(
    cold_days: int = 100, *, wet: int = 0, cold: float = -10.0, snow: float = np.nan, unknown: int = 0, rain: float = 5
) -> str:
    """Of a season with rain on its warm days, and so many days of frost, some wet and of some not known."""
    means = np.concatenate([np.full(30, 8.0), np.full(cold_days, cold)])
    outlook = season(means, length=30 + cold_days)
    outlook.prcp[:, :30] = rain
    outlook.prcp[:, 30 : 30 + wet] = 0.1
    outlook.prcp[:, 30 + wet : 30 + wet + unknown] = np.nan
    outlook.snow[:, 0] = snow
    return snow_from(outlook)


def test_snow_is_measured_where_any_day_is() -> None:
    """A single one, and be it that nothing lay; whatever the gauge does."""
    assert source(snow=0.0) == source(snow=30.0, rain=np.nan) == "measured"


def test_without_snow_and_rain_there_is_none() -> None:
    """But the rain of a single day is something."""
    assert source(0, rain=np.nan) == "none"
    assert source(1, rain=np.nan) == "worked-out"


@pytest.mark.parametrize(
    ("gauge", "found"),
    [
        ({"wet": 2}, "worked-out"),  # two in a hundred
        ({"wet": 1}, "no-catch"),
        ({"cold_days": 105, "wet": 2}, "no-catch"),  # 1.9 in a hundred
        ({"cold_days": 60}, "no-catch"),
        ({"cold_days": 59}, "worked-out"),  # too few to tell
        ({"cold_days": 100, "unknown": 41}, "worked-out"),  # 59 that are known
        ({"cold_days": 101, "unknown": 41}, "no-catch"),  # 60
        ({"cold_days": 100, "wet": 1, "unknown": 39}, "no-catch"),  # one of 61
        ({"cold_days": 88, "wet": 1, "unknown": 39}, "worked-out"),  # one of 49
        ({"cold": -5.0}, "no-catch"),
        ({"cold": -4.9}, "worked-out"),  # it may have rained
    ],
)
def test_a_gauge_that_misses_snow_is_told_by_its_days_of_frost(gauge: dict[str, float], found: str) -> None:
    """By sixty such days at the least, of which fewer than two in a hundred are wet."""
    assert source(**gauge) == found  # type: ignore[arg-type]
