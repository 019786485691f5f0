"""The days of the crop: planted, up, thinned, ripe, and the frosts that end it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from invented import season

from covercrop.base.records import DateRange
from covercrop.season import crop_days

DAY = np.datetime64("2026-06-01")


def cited(value: float) -> SimpleNamespace:
    return SimpleNamespace(value=value)


def plan(
    *,
    method: str = "direct-seed",
    emergence: float = 6.4,
    table: tuple[float, ...] = (),
    seeds: int = 3,
    stands: bool = True,
    own: dict[str, int] | None = None,
) -> Any:
    """As much of a plan as is asked: planted on 1 June, two plants to a spot, thinned ten days after it is up."""
    own = own or {}
    standing = SimpleNamespace(seeds=cited(seeds), plants=cited(2.0), thin_after=cited(9.6))
    return SimpleNamespace(
        field=SimpleNamespace(
            crop=SimpleNamespace(method=method),
            beds=SimpleNamespace(plants=own.get("plants"), seeds=own.get("seeds")),
        ),
        crop=SimpleNamespace(
            planting=standing if stands else None,
            emergence=tuple(SimpleNamespace(days=cited(days)) for days in table),
        ),
        planting=SimpleNamespace(
            day=DAY,
            emergence_days=emergence,
            ripe=DateRange(early=DAY + 50, median=DAY + 55, late=DAY + 60),
        ),
    )


def test_planting_and_ripening_are_those_of_the_plan() -> None:
    """The likely day of planting, the middle of ripening, and the first harvest at its early end."""
    assert crop_days.planting_day(plan()) == DAY
    assert crop_days.ripe_day(plan()) == DAY + 55
    assert crop_days.first_harvest(plan()) == DAY + 50


def test_emergence_is_in_whole_days_and_in_cold_ground_the_slowest_of_the_table() -> None:
    """Where the soil lies off the table; a week where the crop has none."""
    assert crop_days.days_to_emergence(plan(emergence=6.4)) == 6
    assert crop_days.days_to_emergence(plan(emergence=6.6, table=(20.0,))) == 7
    assert crop_days.days_to_emergence(plan(emergence=np.nan, table=(5.0, 12.4, 8.0))) == 12
    assert crop_days.days_to_emergence(plan(emergence=np.nan)) == 7


def test_seedlings_are_thinned_once_they_are_up_and_have_their_leaves() -> None:
    """Six days to come up and ten more."""
    assert crop_days.thinning_day(plan()) == DAY + 16


@pytest.mark.parametrize(
    "without",
    [
        {"method": "transplant"},
        {"seeds": 2},  # no more seeds than plants
        {"seeds": 1},
        {"stands": False},
    ],
)
def test_nothing_is_thinned_of_what_is_not_sown_too_thick(without: dict[str, Any]) -> None:
    """Plants set out, one seed to a plant, and a crop of which nothing says how it stands."""
    found = crop_days.thinning_day(plan(**without))
    assert np.isnat(found)
    assert found.dtype == np.dtype("datetime64[D]")


@pytest.mark.parametrize(
    ("own", "sown"),
    [
        ({}, (3, 2)),
        ({"plants": 1}, (3, 1)),
        ({"plants": 5}, (5, 5)),  # a seed for each plant
        ({"seeds": 4}, (4, 2)),
        ({"plants": 5, "seeds": 4}, (4, 5)),
    ],
)
def test_a_spot_is_as_the_file_says_or_as_the_crop_stands(own: dict[str, int], sown: tuple[int, int]) -> None:
    """Of a crop of 3 seeds and 2 plants to a spot."""
    standing = SimpleNamespace(seeds=SimpleNamespace(value=3.0), plants=SimpleNamespace(value=2.0))
    plot = SimpleNamespace(beds=SimpleNamespace(plants=own.get("plants"), seeds=own.get("seeds")))
    assert crop_days.at_a_spot(plot, standing) == sown  # type: ignore[arg-type]


# --- frosts ---------------------------------------------------------------------------------------


def frosts(first: str, latitude: float, days: list[int], celsius: float = -1.0, *, complete: bool = True) -> Any:
    """A plan of ten years of mild days in each of which it freezes on one; 1 July, or 1 January, is day 122."""
    outlook = season(np.full((10, 460), 15.0), first=first, length=460, years=10, complete=complete)
    for year, day in enumerate(days):
        outlook.tmin[year, day] = celsius
    return SimpleNamespace(
        outlook=outlook,
        field=SimpleNamespace(latitude=latitude),
        crop=SimpleNamespace(frost=cited(0.0)),
    )


def within(found: DateRange, first: str) -> list[int | None]:
    """Early, middle and late day of a range, counted from a first one."""
    lags = [day - np.datetime64(first) for day in (found.early, found.median, found.late)]
    return [None if np.isnat(lag) else int(lag.astype(int)) for lag in lags]


@pytest.mark.parametrize(("first", "latitude"), [("2025-09-01", 37.6), ("2026-03-01", -37.6)])
def test_the_first_frost_of_autumn_is_that_after_midsummer(first: str, latitude: float) -> None:
    """By years that count alike: one of ten by the early day, half by the middle, nine by the late one."""
    # Midsummer is day 304: a freeze on the day counts, one before it is of spring.
    days = [*range(400, 409), 304]
    made = frosts(first, latitude, days)
    made.outlook.tmin[:, 303] = -5.0
    assert within(crop_days.autumn_frost(made), first) == [304, 403, 407]


def test_a_light_frost_harms_the_crop_and_is_no_hard_one() -> None:
    """A hard frost is 28 degF, -2.2 degC; a light one at 0 degC is one for the crop."""
    first = "2025-09-01"
    light = frosts(first, 37.6, [*range(400, 410)], 0.0)
    assert within(crop_days.autumn_frost(light), first) == [400, 404, 408]
    assert within(crop_days.hard_frost(light), first) == [None, None, None]
    hard = frosts(first, 37.6, [*range(400, 410)], -2.3)
    assert within(crop_days.hard_frost(hard), first) == [400, 404, 408]
    assert within(crop_days.hard_frost(frosts(first, 37.6, [*range(400, 410)], -2.1)), first) == [None] * 3


def test_years_without_a_frost_count_as_later_than_all() -> None:
    """Four of ten have one: the early day is known, the middle is not."""
    first = "2025-09-01"
    assert within(crop_days.autumn_frost(frosts(first, 37.6, [400, 401, 402, 403])), first) == [400, None, None]


def test_without_past_years_no_frost_is_foretold() -> None:
    """Though the days of the one season hold one."""
    made = frosts("2025-09-01", 37.6, [*range(400, 410)], complete=False)
    assert within(crop_days.autumn_frost(made), "2025-09-01") == [None, None, None]
