"""The soil temperature against measured ten-day means: which leaf area goes with which ground."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from covercrop.models.soil_temperature import daily_gain, surface_temperature

CHECKS = Path(__file__).resolve().parent.parent / "data" / "validation" / "soil_checks.csv"


def misses(ground: str, leaf_area: float) -> np.ndarray:
    """Model less measurement of each ten days from March on [K]; the air straight between its ten-day means."""
    with CHECKS.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["ground"].startswith(ground)]
    air, soil = (np.array([float(row[name]) for row in rows]) for name in ("air_c", "soil_c"))
    days = np.interp(np.arange(10 * len(rows)), 4.5 + 10 * np.arange(len(rows)), air)
    gain = float(daily_gain(float(rows[0]["depth_mm"]), leaf_area))
    now, found = float(surface_temperature(days[0], leaf_area)), []
    for value in surface_temperature(days, leaf_area):
        now += gain * (value - now)
        found.append(now)
    return (np.reshape(found, (-1, 10)).mean(axis=1) - soil)[3:]


def test_bare_ground_has_no_leaves() -> None:
    """Berlin-Dahlem 2017, a bare plot of the German weather service: no leaves do better than a leaf area of one."""
    bare = misses("bare plot", 0.0)
    assert abs(bare.mean()) < 1.2
    assert np.sqrt((bare**2).mean()) < 2.0
    assert np.abs(bare.mean()) < np.abs(misses("bare plot", 1.0).mean())


def test_short_grass_is_worth_half_a_leaf_area() -> None:
    """Manhattan in Kansas 2015, US Climate Reference Network, 5 cm: too warm without leaves, too cold with one."""
    assert abs(misses("grass", 0.5).mean()) < misses("grass", 0.0).mean() < abs(misses("grass", 1.0).mean())
    assert np.sqrt((misses("grass", 0.5) ** 2).mean()) < 1.0


@pytest.mark.parametrize("leaf_area", [0.0, 1.0])
def test_a_no_till_field_lies_between(leaf_area: float) -> None:
    """Bondville in Illinois 1998, residue of crops on top: within a degree of either on the mean of the spring."""
    assert abs(misses("no-till", leaf_area).mean()) < 1.0
