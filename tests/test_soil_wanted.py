"""The grower's own soil threshold: in the field file, in a table of fields, and in the answer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented import field, weather

from covercrop.base.errors import CovercropError
from covercrop.field.entries import CropEntry
from covercrop.field.file import read_fields
from covercrop.field.rows import read_rows
from covercrop.render.words import answer
from covercrop.season.plan import make_plan

TEXT = """
[[field]]
name = "Plot"
latitude = 40.0
longitude = -77.0
[field.cover]
species = "hairy-vetch"
sown = 2025-09-10
[field.weather]
file = "weather.csv"
[field.crop]
name = "pumpkin"
{line}
"""


def read(tmp_path: Path, line: str) -> CropEntry:
    path = tmp_path / "fields.toml"
    path.write_text(TEXT.format(line=line), encoding="utf-8")
    (got,) = read_fields(path).fields
    return got.crop


@pytest.mark.parametrize("line", ["soil_c = 16", "soil_f = 60.8"])
def test_it_is_read_in_either_unit(tmp_path: Path, line: str) -> None:
    """And is degrees Celsius inside."""
    assert read(tmp_path, line).soil_c == pytest.approx(16.0)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("soil_c = 60", r"soil_c.*5 to 35 degC"),
        ("soil_f = 16", r"soil_f.*41 to 95 degF"),
        ("soil_c = 16\nsoil_f = 60", r"soil_f.*soil_c is given too"),
        ('soil_c = "warm"', r"soil_c"),
    ],
)
def test_what_is_no_soil_to_plant_in_is_refused(tmp_path: Path, line: str, message: str) -> None:
    """With the key and the way out."""
    with pytest.raises(CovercropError, match=message):
        read(tmp_path, line)


def test_it_stands_in_a_row_too() -> None:
    """As the column soil_c."""
    frame = pd.DataFrame(
        [
            {
                "latitude": 40.0,
                "longitude": -77.0,
                "species": "hairy-vetch",
                "sown": "2025-09-10",
                "crop": "pumpkin",
                "soil_c": 17,
            }
        ]
    )
    ((_, got),) = read_rows(frame)
    assert not isinstance(got, str)
    assert got.crop.soil_c == 17.0


def test_it_wins_over_that_of_the_crop() -> None:
    """A warmer threshold is met later, and is the one that is named."""
    own, record, on = field(), weather(last="2026-10-31"), np.datetime64("2026-04-20")
    plain = make_plan(own, record, on).planting
    warmer = make_plan(replace(own, crop=replace(own.crop, soil_c=24.0)), record, on)
    assert warmer.planting.soil_c == 24.0
    assert warmer.planting.limits["soil_warm"].median > plain.limits["soil_warm"].median + np.timedelta64(7, "D")
    assert np.isnat(warmer.ground.soil_good)


def test_both_soils_are_named_with_how_they_are_measured() -> None:
    """The one that the planting waits for, and the one in which seed comes up well, where they are a week apart."""
    plan = make_plan(
        field("crimson-clover", "pumpkin", turned_under="2026-03-20"), weather(), np.datetime64("2026-04-20")
    )
    (said,) = [line for line in answer.reasons(plan) if "warm enough" in line]
    assert "sow pumpkin at 16 °C" in said
    assert "for which the planting waits; seed comes up well at 18 °C" in said
    assert said.endswith("Both are means of a day at planting depth, held on 4 days running.")


def test_nitrogen_of_what_lies_on_top_is_that_of_the_rain() -> None:
    """What is dug in is taken to be kept moist; nobody waters a mulch for its nitrogen."""
    ways = {"turn-under": "of moist ground.", "roll": "of the usual rain."}
    for way, water in ways.items():
        plan = make_plan(field("crimson-clover", terminate=way), weather(), np.datetime64("2026-04-20"))
        assert water in answer.release(plan)
        assert plan.window.method == way
