"""The field file: what is read, and what is refused with one plain line."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from covercrop.base.errors import FieldFileError
from covercrop.field.entries import as_of
from covercrop.field.file import check_dates, read_fields

GOOD = """\
[[field]]
name = "Mill terrace"
latitude = 37.80
longitude = -84.10
elevation_m = 260
area_m2 = 900

[field.cover]
species = "hairy-vetch"
cultivar = "purple bounty"
sown = 2025-09-12
turned_under = 2026-05-19

[field.weather]
file = "terrace.csv"
units = "us"

[field.crop]
name = "pumpkin"
method = "direct-seed"
ground_cover = "straw"
days_to_maturity = 105

[[field.scouting]]
date = 2026-05-10
bbch = 61

[[field.scouting]]
date = 2026-05-04
bloom_percent = 5
note = "first racemes open along the wall"
"""


@pytest.fixture
def written(tmp_path: Path):
    """A function that writes a field file, with one text replaced by another."""

    def write(old: str = "", new: str = "", text: str = GOOD) -> Path:
        assert old in text
        path = tmp_path / "fields.toml"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return path

    return write


def test_the_contract_is_read(written) -> None:
    """Every key of the field file arrives, dates as dates, notes in their order of time."""
    field = read_fields(written()).fields[0]
    assert (field.name, field.latitude, field.longitude) == ("Mill terrace", 37.80, -84.10)
    assert (field.elevation_m, field.area_m2) == (260.0, 900.0)
    assert (field.cover.species, field.cover.cultivar) == ("hairy-vetch", "Purple Bounty")
    assert (field.cover.sown, field.cover.turned_under) == (dt.date(2025, 9, 12), dt.date(2026, 5, 19))
    assert field.weather.file is not None
    assert (field.weather.file.name, field.weather.units) == ("terrace.csv", "us")
    assert (field.crop.name, field.crop.method, field.crop.ground_cover) == ("pumpkin", "direct-seed", "straw")
    assert field.crop.days_to_maturity == 105
    assert [note.date.day for note in field.scouting] == [4, 10]
    assert field.scouting[0].bloom_percent == 5
    assert field.scouting[1].bbch == 61


def test_square_feet_become_square_metres(written) -> None:
    """10.764 square feet are one square metre (international foot, exact)."""
    field = read_fields(written("area_m2 = 900", "area_ft2 = 9687.5")).fields[0]
    assert field.area_m2 == pytest.approx(9687.5 * 0.09290304)


def test_reading_changes_nothing(written) -> None:
    """The bytes of the file and its time stamp stay."""
    path = written()
    before = path.read_bytes(), path.stat().st_mtime_ns
    read_fields(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "latitude = 37.80",
            "latitude = 91",
            r'field 1 "Mill terrace": latitude = 91: give degrees north .* -90 to 90',
        ),
        ("latitude = 37.80", 'latitude = "37 N"', r"latitude = '37 N': give degrees"),
        ("latitude = 37.80", "latitude = nan", r"latitude = nan: give degrees"),
        ("longitude = -84.10", "longitude = 190", "longitude = 190: give degrees east"),
        ("longitude = -84.10\n", "", "'longitude' is missing; give degrees east"),
        ("elevation_m = 260", "elevation_m = true", "elevation_m = True: give metres"),
        ("area_m2 = 900", "area_m2 = 0", "area_m2 = 0: give the area"),
        ("area_m2 = 900", "area_m2 = 900\narea_ft2 = 900", "area_ft2 = 900: area_m2 is given too"),
        ("area_m2", "area_m3", "unknown key 'area_m3'; did you mean 'area_m2'"),
        ("hairy-vetch", "hairy-vech", "cover: unknown cover 'hairy-vech'; did you mean hairy-vetch"),
        (
            "purple bounty",
            "Purple Bountee",
            "unknown hairy vetch cultivar 'Purple Bountee'; did you mean Purple Bounty",
        ),
        ("sown = 2025-09-12", 'sown = "2025-09-12"', "sown = '2025-09-12': write a date as 2026-04-20, without quotes"),
        ("sown = 2025-09-12\n", "", "cover: 'sown' is missing; write a date"),
        ("turned_under = 2026-05-19", "turned_under = 2025-09-01", "turned_under = 2025-09-01: is not after sowing"),
        ("pumpkin", "pumpkn", "crop: unknown crop 'pumpkn'; did you mean pumpkin"),
        ('"straw"', '"hay"', "ground_cover = 'hay': use one of bare, straw, black-plastic"),
        ('"direct-seed"', '"seed"', "method = 'seed': use one of direct-seed, transplant"),
        ("= 105", "= 5", "days_to_maturity = 5: give the days on the seed packet"),
        ('units = "us"', 'units = "F"', "weather: units = 'F': use one of metric, us"),
        ("bbch = 61", "bbch = 61\nbloom_percent = 3", "scouting 1: give bloom_percent or bbch, not both"),
        ("bbch = 61\n", "", "scouting 1: give bloom_percent or bbch"),
        ("bbch = 61", "bbch = 60.5", "bbch = 60.5: give a whole number"),
        ("bbch = 61", "bbch = 130", "bbch = 130: give a BBCH stage, 0 to 99"),
        ("bbch = 61", "bbhc = 61", "scouting 1: unknown key 'bbhc'; did you mean 'bbch'"),
        ("bbch = 61", "soil = 14", "scouting 1: unknown key 'soil'; did you mean 'soil_"),
        ("bbch = 61", "hight_cm = 40", "scouting 1: unknown key 'hight_cm'; did you mean 'height_cm'"),
        ("bbch = 61", "dry_matter = 3200", "scouting 1: unknown key 'dry_matter'; did you mean 'dry_matter_kg_ha'"),
        ("bbch = 61", "soil_c = 14\nsoil_f = 57", "scouting 1: soil_f = 57: soil_c is given too; keep one of them"),
        ("bbch = 61", 'height_in = "waist"', "height_in = 'waist': give the height in inches, 0.5 to 120; in cm it is"),
        (
            "bbch = 61",
            "dry_matter_lb_acre = 2.1",
            r"give the dry weight in lb/acre \(the dry grams of a square foot, tim",
        ),
        ("bbch = 61", "nitrogen_percent = 0", "nitrogen_percent = 0: give % N of the dry weight, 0.3 to 8"),
        (
            "date = 2026-05-10",
            "date = 2026-05-20",
            "is after turning under on 2026-05-19; mend one of the two, or note t",
        ),
        ("date = 2026-05-10", "date = 2025-05-10", "scouting 1: date = 2025-05-10: is not after sowing"),
        ("[field.crop]", "[field.crops]", "unknown key 'crops'; did you mean 'crop'"),
        ("[field.cover]", "[field.weather_old]", "unknown key 'weather_old'"),
        ('name = "Mill terrace"', "name = 7", "field 1: name = 7: give the field a name"),
        ("[[field]]", "[[fields]]", "unknown key 'fields'; did you mean 'field'"),
        ("[[field]]", "[[field]", "not TOML: .*line 1"),
    ],
)
def test_what_is_wrong_is_named(written, old: str, new: str, message: str) -> None:
    """Each fault gives one line with the file, the place, the value found and the way out."""
    path = written(old, new)
    with pytest.raises(FieldFileError, match=message) as caught:
        read_fields(path)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """No such file, a folder in its place, and bytes that are no text are told apart."""
    with pytest.raises(FieldFileError, match="no such file"):
        read_fields(tmp_path / "none.toml")
    with pytest.raises(FieldFileError, match="is a folder"):
        read_fields(tmp_path)
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FieldFileError, match="byte 0 is not UTF-8"):
        read_fields(tmp_path / "bytes.toml")
    (tmp_path / "empty.toml").write_text("", encoding="utf-8")
    with pytest.raises(FieldFileError, match=r"no field in it; begin each with a line \[\[field\]\]"):
        read_fields(tmp_path / "empty.toml")


def test_two_fields_of_one_name(written) -> None:
    """A name stands for one field."""
    with pytest.raises(FieldFileError, match='two fields are named "Mill terrace"'):
        read_fields(written(text=GOOD + GOOD))


@pytest.mark.parametrize(
    ("today", "message"),
    [
        ("2025-09-01", "sown = 2025-09-12 is after 2025-09-01, today; mend the date"),
        ("2026-05-06", "turned_under = 2026-05-19 is after 2026-05-06"),
    ],
)
def test_the_future_has_not_happened(written, today: str, message: str) -> None:
    """What is written down as done cannot lie ahead."""
    with pytest.raises(FieldFileError, match=message):
        check_dates(read_fields(written()), dt.date.fromisoformat(today))


def test_a_scouting_date_ahead_is_refused(written) -> None:
    """A note cannot be from tomorrow."""
    path = written("turned_under = 2026-05-19\n", "")
    with pytest.raises(FieldFileError, match="scouting date = 2026-05-10 is after 2026-05-06"):
        check_dates(read_fields(path), dt.date(2026, 5, 6))


def test_the_field_as_it_was_known(written) -> None:
    """Asked about an earlier day, what was done and seen later is left out, and an unsown field is refused."""
    (field,) = read_fields(written()).fields
    earlier = as_of(field, dt.date(2026, 5, 6))
    assert earlier.cover.turned_under is None
    assert [note.date.day for note in earlier.scouting] == [4]
    assert as_of(field, dt.date(2026, 5, 20)) == field
    with pytest.raises(FieldFileError, match="sown = 2025-09-12 is after 2025-08-01, the day asked about"):
        as_of(field, dt.date(2025, 8, 1))


def test_names_in_any_spelling(written) -> None:
    """Capitals, spaces and underscores in names and choices do not matter."""
    path = written("hairy-vetch", "Hairy Vetch", text=GOOD.replace("direct-seed", "Direct seed"))
    (field,) = read_fields(path).fields
    assert (field.cover.species, field.crop.method) == ("hairy-vetch", "direct-seed")


def test_measurements_in_either_unit(written) -> None:
    """59 degF are 15 degC, 18 inches 45.72 cm, 2,000 lb/acre 2,241.7 kg/ha; a soil may be read after turning under."""
    us = "soil_f = 59\nheight_in = 18\ndry_matter_lb_acre = 2000\nnitrogen_percent = 3.1"
    note = read_fields(written("bbch = 61", us)).fields[0].scouting[-1]
    assert note.soil_c == pytest.approx(15.0)
    assert note.height_cm == pytest.approx(45.72)
    assert note.dry_matter_kg_ha == pytest.approx(2241.7, abs=0.05)
    assert note.nitrogen_percent == 3.1
    assert not note.has_stage
    path = written("date = 2026-05-10\nbbch = 61", "date = 2026-05-30\nsoil_c = 17.5")
    assert read_fields(path).fields[0].scouting[-1].soil_c == 17.5
