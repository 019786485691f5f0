"""The crop file: what its sources print, and that it reads strictly."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from covercrop.base.units import celsius_from_fahrenheit
from covercrop.models import plantback
from covercrop.parameters import catalogue

CHECKS = Path(__file__).resolve().parent.parent / "data" / "validation" / "planting_checks.csv"
VINES = ("summer-squash", "winter-squash", "pumpkin", "muskmelon", "watermelon", "cucumber")
CROPS = (*VINES, "sweet-corn", "dent-corn", "tomato")


def checks(*names: str) -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["check"] in names]


def test_the_crops_are_these() -> None:
    """Every crop the program promises is there, and no other."""
    assert catalogue.crop_names() == CROPS


@pytest.mark.parametrize("name", CROPS)
def test_every_number_has_an_origin(name: str) -> None:
    """A cited number names a source that is listed; an assumed one gives growers its reason."""
    values = catalogue.cited_values(catalogue.crop(name))
    assert len(values) >= 5
    for path, value in values:
        if value.basis == "assumed":
            assert len(value.reason.split()) >= 5, path
        else:
            assert catalogue.source(value.source).title, path


@pytest.mark.parametrize("name", CROPS)
def test_numbers_are_plausible(name: str) -> None:
    """Seed is sown into soil no colder than it germinates in, and no value leaves the range of its kind."""
    crop = catalogue.crop(name)
    assert 5 <= crop.soil_minimum.value <= crop.soil_planting.value <= 25
    assert -3 <= crop.frost.value <= 0
    assert 40 <= crop.days_to_maturity.value <= 150
    assert 0 <= crop.transplant_credit.value < crop.days_to_maturity.value
    soils = [point.soil.value for point in crop.emergence]
    days = [point.days.value for point in crop.emergence]
    assert soils == sorted(set(soils))
    # Above the best soil, 77 to 86 degF for tomato, seed slows down again.
    best = days.index(min(days)) if days else 0
    assert days[:best] == sorted(days[:best], reverse=True)
    assert days[best:] == sorted(days[best:])


@pytest.mark.parametrize(
    "row", checks("soil_minimum", "soil_planting"), ids=lambda row: f"{row['check']} {row['given']}"
)
def test_soil_temperatures_are_as_printed(row: dict[str, str]) -> None:
    """The coldest soil stands as its table prints it; the least to sow in is no warmer than that of Texas."""
    value = getattr(catalogue.crop(row["given"]), row["check"])
    if row["check"] == "soil_planting":
        assert value.value <= celsius_from_fahrenheit(float(row["expected"])) + 1e-9
        return
    assert value.printed == f"{row['expected']} degF"
    assert value.value == pytest.approx(celsius_from_fahrenheit(float(row["expected"])))
    assert value.basis == "measured"


@pytest.mark.parametrize("row", checks("emergence_days"), ids=lambda row: row["given"])
def test_emergence_is_as_printed(row: dict[str, str]) -> None:
    """At a temperature of the table the crop is up after the days of the table (Harrington and Minges 1954)."""
    name, soil = row["given"].removesuffix(" F").split(" at ")
    found = plantback.emergence_days(catalogue.crop(name), celsius_from_fahrenheit(float(soil)))
    assert found == pytest.approx(float(row["expected"]))


def test_every_printed_emergence_is_in_the_file() -> None:
    """The file holds as many rows as the tables printed, so that none was lost."""
    held = sum(len(catalogue.crop(name).emergence) for name in CROPS)
    assert held == len(checks("emergence_days")) == 24


def test_emergence_is_straight_between_and_unknown_outside() -> None:
    """Halfway between 68 and 77 degF muskmelon takes (8 + 4) / 2 days; colder or hotter than tested nothing is said."""
    melon, squash = catalogue.crop("muskmelon"), catalogue.crop("summer-squash")
    soil = np.array([celsius_from_fahrenheit(degrees) for degrees in (67.0, 68.0, 72.5, 86.0, 87.0)])
    np.testing.assert_allclose(plantback.emergence_days(melon, soil), [np.nan, 8, 6, 3, np.nan])
    assert np.isnan(plantback.emergence_days(squash, soil)).all()


def test_vines_lie_on_the_soil_and_corn_does_not() -> None:
    """What decides the manure interval of 7 CFR 205.203(c)(1): 120 days on the soil, 90 above it."""
    assert all(catalogue.crop(name).touches_soil for name in VINES)
    assert not catalogue.crop("sweet-corn").touches_soil
