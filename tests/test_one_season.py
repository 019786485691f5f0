"""One field, one weather: every command comes to the same days from sowing to bloom.

The weather is the same in all years, and nothing is drawn, so that a forecast, a past season and a record of a bloom
can be held against one another to the day.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import replace
from typing import Any

import invented
import numpy as np
import pytest

from covercrop.autumn.comparison import compare_sowing_dates
from covercrop.base.records import DailyWeather
from covercrop.checking import hindcast
from covercrop.checking.bloom_fit import Model, Season
from covercrop.field.entries import AimEntry, CoverEntry, CropEntry, Field, ScoutingNote
from covercrop.models.members import Draws
from covercrop.parameters import catalogue
from covercrop.region import cells
from covercrop.region.question import MonthDay, Question
from covercrop.season.following import follow
from covercrop.season.plan import make_plan, start_of
from covercrop.season.progress import towards_bloom
from covercrop.season.start import Conditions, Start
from covercrop.weather.outlook import lead_of
from covercrop.weather.record import record_of

NO_DRAWS = Draws(**{each.name: np.zeros(1) for each in dataclasses.fields(Draws)})
SOWN, ON = "2025-09-20", np.datetime64("2026-07-10")
STAGES = ("emergence", "bud", "first_flower", "bloom_25", "bloom_50")

#: Covers whose clocks start at once or wait for cool or longer days, and two places where each lives.
CASES = [
    *((species, mean) for species in ("crimson-clover", "hairy-vetch") for mean in (9.5, 14.5)),
    *((species, mean) for species in ("faba-bean", "subterranean-clover", "blue-lupin") for mean in (14.5, 17.0)),
]


def same_years(mean: float) -> DailyWeather:
    """A record in which every year has the same weather, rough from day to day."""
    weather = invented.weather("2000-01-01", "2026-07-10", mean=mean)
    table = weather.table
    columns = ["tmin_c", "tmax_c", "prcp_mm"]
    table[columns] = table.groupby(table.index.strftime("%m-%d"))[columns].transform("last")
    return weather


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"{case[0]} {case[1]:g}")
def asked(request: pytest.FixtureRequest) -> tuple[Field, DailyWeather, dict[str, float]]:
    """A field, its weather, and the days from sowing that `ready` finds."""
    species, mean = request.param
    field, weather = invented.field(species, sown=SOWN), same_years(mean)
    stages = follow(start_of(field, weather, ON), NO_DRAWS).stand.stages
    found = {stage: float(stages[stage][0, 0]) for stage in STAGES}
    assert 2 < found["emergence"] < found["bud"] < found["bloom_50"]
    return field, weather, found


def date_of(day: float) -> np.datetime64:
    return np.datetime64(SOWN) + np.timedelta64(int(day), "D")


def test_ready_says_what_the_season_holds(asked: tuple[Field, DailyWeather, dict[str, float]]) -> None:
    """The dates of `ready`, `calendar`, `beds` and `report` are those of the season."""
    field, weather, found = asked
    dates = make_plan(field, weather, ON, NO_DRAWS, details=False).dates
    for stage in STAGES:
        assert dates[stage].median == date_of(found[stage]), stage


def test_sow_finds_the_same_window(asked: tuple[Field, DailyWeather, dict[str, float]]) -> None:
    """A cover sown on that day next autumn has its window on the same day of the year."""
    field, weather, _ = asked
    window = make_plan(field, weather, ON, NO_DRAWS, details=False).dates["window_open"].median
    start = np.datetime64("2026-09-10")
    autumn = compare_sowing_dates(
        field, weather, ON, covers=(field.cover.species,), start=start, end=start + invented.days(20), draws=NO_DRAWS
    )
    (choice,) = autumn.choices
    of_that_day = choice.window_open[(np.datetime64("2026-09-20") - start).astype(int)]
    assert str(of_that_day)[5:] == str(window)[5:]


def test_hindcast_finds_the_same_days(asked: tuple[Field, DailyWeather, dict[str, float]]) -> None:
    """What came in a past season, and what was foretold of it, is the same."""
    field, weather, found = asked
    record = record_of(weather)
    season = hindcast._replayed(
        field, catalogue.cover(field.cover.species), record, np.datetime64("2022-09-20"), [(2, 15)]
    )
    assert season is not None
    for event, day in zip(hindcast.EVENTS, season.truth, strict=True):
        if event in found:
            assert day == found[event], event
    assert (season.members[0] == season.truth).all()


def test_the_chart_shows_the_same_sum(asked: tuple[Field, DailyWeather, dict[str, float]]) -> None:
    """The curve of the chart leaves zero after emergence and comes to the sum on the day of bloom."""
    field, weather, found = asked
    cover = catalogue.cover(field.cover.species)
    total = towards_bloom(start_of(field, weather, ON).outlook, field.latitude, cover).median
    assert not total[: int(found["emergence"]) + 1].any()
    reached = int(np.argmax(total >= cover.bloom.requirement.value - 1e-6))
    assert reached == found["bloom_25"]
    if field.cover.species == "faba-bean":  # whose clock starts at once
        assert total[int(found["emergence"]) + 1] > 0


def test_region_finds_the_same_days(asked: tuple[Field, DailyWeather, dict[str, float]]) -> None:
    """A cell with the weather of the field has its stages."""
    field, weather, found = asked
    question = Question(cover=field.cover.species, crop=field.crop.name, sown=MonthDay(month=9, day=20))
    start = cells.start_of(record_of(weather), cells.Place(latitude=field.latitude, question=question))
    stages = follow(start, NO_DRAWS).stand.stages
    for stage in STAGES:
        assert stages[stage][0, 0] == found[stage], stage


def test_calibrate_expects_the_same_day(asked: tuple[Field, DailyWeather, dict[str, float]]) -> None:
    """A record of a season is held against the day that the season has: within the day on which the sum is reached."""
    field, weather, found = asked
    record, outlook = record_of(weather), start_of(field, weather, ON).outlook
    from covercrop.models.daylength import day_length

    season = Season(
        site="here",
        latitude=field.latitude,
        tmean=outlook.tmean[0],
        day_length=day_length(field.latitude, outlook.day_of_year),
        observed=found["bloom_25"],
        year_day=120,
        lead=lead_of(record, record.position(np.datetime64(SOWN))),
    )
    cover = catalogue.cover(field.cover.species)
    assert float(season.clock(cover).emergence) == found["emergence"]
    day = Model([season], cover).days([0], cover.bloom.requirement.value, cover.bloom.day_length_full.value)[0]
    assert np.ceil(day - 0.5) == found["bloom_25"]


# --- what is followed together --------------------------------------------------------------------

CHANGES: dict[str, dict[str, Any]] = {
    "sown": {"cover": CoverEntry(species="crimson-clover", sown=dt.date(2025, 9, 20), cultivar="Dixie")},
    "planting": {"crop": CropEntry(name="summer-squash", method="transplant")},
    "aim": {"aim": AimEntry(favour="cover")},
    "scouting": {"scouting": (ScoutingNote(date=dt.date(2026, 4, 1), bbch=51),)},
}


def start(field: Field, today: int = 200) -> Start:
    return Start.of(field, start_of(invented.field(sown=SOWN), WEATHER, np.datetime64("2026-04-10")).outlook, today)


WEATHER = invented.weather("2000-01-01", "2026-04-10")


@pytest.mark.parametrize("name", [each.name for each in dataclasses.fields(Conditions) if each.compare])
def test_each_condition_parts_what_differs_in_it(name: str) -> None:
    """Two fields that differ in one of the conditions are not followed together; two that do not, are."""
    field = invented.field(sown=SOWN)
    one = start(field)
    other = start(field, today=201) if name == "today" else start(replace(field, **CHANGES[name]))
    assert getattr(one.conditions, name) != getattr(other.conditions, name)
    assert one.joins != other.joins
    assert one.joins == start(replace(field, latitude=38.0)).joins


@pytest.mark.parametrize(
    "each", [*dataclasses.fields(CoverEntry), *dataclasses.fields(CropEntry)], ids=lambda f: f.name
)
def test_every_key_of_an_entry_is_a_condition(each: dataclasses.Field[Any]) -> None:
    """Whatever is added to an entry parts the fields that differ in it, but for what was done on some day."""
    conditions = start(invented.field(sown=SOWN, turned_under="2026-04-05", planted="2026-04-08")).conditions
    entry = conditions.sown if each in dataclasses.fields(CoverEntry) else conditions.planting
    assert type(entry) in (CoverEntry, CropEntry)
    assert each.compare
    assert (getattr(entry, each.name) is None) >= (each.name in ("turned_under", "planted"))
