"""The field file: what a grower writes down about each field.

Reading never changes the file.  Every message names the file, the field, the
key and the value found, and says what would be right.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, cast

from covercrop.base import units
from covercrop.base.errors import FieldFileError, ParameterError, UsageError
from covercrop.base.reading import read_whole
from covercrop.base.records import Units
from covercrop.base.shipped import data_path
from covercrop.field import bed_entries
from covercrop.field.checks import shown
from covercrop.field.entries import (
    FAVOURS,
    MEASURED,
    MIXED,
    NO_COVER,
    PLACE,
    SOIL_WANTED,
    TO_MATURITY,
    UNITS,
    AimEntry,
    CoverEntry,
    CropEntry,
    Field,
    FieldFile,
    Ground,
    ScoutingNote,
    WeatherEntry,
    check_aim,
    check_past,
    check_planted,
    check_visit,
    legume,
)
from covercrop.field.table import Table, us_date
from covercrop.models import seedling_disease, soil_temperature, termination
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.parameters.own_bloom import Calibration, read_calibration
from covercrop.parameters.traits import Cover

Value = TypeVar("Value")

#: What may be given in place of the path of a field file: other shipped files of the demonstration.
DEMONSTRATIONS = {"demo:squares": "squares.toml"}

#: The quantities of a place that may be given in more than one unit: each unit, and its factor to the metric one.
ELEVATION = (("m", 1.0), ("ft", units.M_PER_FT))
AREA = (("m2", 1.0), ("ft2", units.M_PER_FT**2), ("acres", units.M2_PER_ACRE), ("ha", 1e4))
_AREA_WORDS = {
    "m2": "the area in square metres, ",
    "ft2": "the area in square feet, ",
    "acres": "the area in acres, ",
    "ha": "the area in hectares, ",
}
_ELEVATION_WORDS = {"m": "metres above the sea, ", "ft": "feet above the sea, "}

_FIELD = (
    "name",
    "latitude",
    "longitude",
    *(f"elevation_{unit}" for unit, _ in ELEVATION),
    *(f"area_{unit}" for unit, _ in AREA),
    "cover",
    "weather",
    "crop",
    "aim",
    "scouting",
    "beds",
    "amendment",
    "soil",
)
_COVER = (
    "species",
    "cultivar",
    "with",
    "legume_percent",
    "sown",
    "ended",
    "turned_under",
    "terminate",
    "calibration",
)
_WEATHER = ("file", "station", "units")
_CROP = ("name", "method", "ground_cover", "days_to_maturity", "soil_c", "soil_f", "planted")
_AIM = ("plant_by", "favour", "can_come")
#: Keys of a note, of which all but its day and its words are numbers.
SCOUTING = (
    "date",
    "bloom_percent",
    "bbch",
    "note",
    "soil_c",
    "soil_f",
    "height_cm",
    "height_in",
    "dry_matter_kg_ha",
    "dry_matter_lb_acre",
    "nitrogen_percent",
    "cereal",
    "legume_percent",
)


def _named(lookup: Callable[..., Value], table: Table, *arguments: Any) -> Value:
    try:
        return lookup(*arguments)
    except ParameterError as error:
        raise FieldFileError(f"{table.where}: {error}") from None


def _made(table: Table, record: Callable[..., Value], **values: Any) -> Value:
    """A record of a table, or a check of one; what it refuses is said of the place in the file."""
    try:
        return record(**values)
    except UsageError as error:
        raise FieldFileError(f"{table.where}: {error}") from None


def _calibration(table: Table, folder: Path, cover: Cover, cultivar: str) -> Calibration | None:
    """The own numbers that a field names, if they are of the cover and cultivar that it has."""
    name = table.text("calibration", "name the file that covercrop calibrate wrote, relative to the field file", "")
    if not name:
        return None
    calibration = _named(read_calibration, table, folder / name)
    if calibration.cover != cover.key:
        raise table.fail(
            "calibration", f"was fitted to {calibration.cover}, and this field has {cover.key}; name another"
        )
    if calibration.cultivar.casefold() != cultivar.casefold():
        other = repr(calibration.cultivar) if calibration.cultivar else "records that name no cultivar"
        here = f"has cultivar = {cultivar!r}" if cultivar else "names no cultivar"
        raise table.fail("calibration", f"was fitted to {other}, and this field {here}; make the two the same")
    return calibration


def _cover(table: Table, folder: Path) -> CoverEntry:
    named = table.text("species", 'name the cover, such as "crimson-clover" (see: covercrop covers)')
    cover = _named(legume, table, named)
    cultivar = table.text("cultivar", "name the cultivar, or leave the line out", "")
    calibration = _calibration(table, folder, cover, cultivar)
    if cultivar and calibration is None:
        cultivar = _named(catalogue.cultivar, table, cover, cultivar).name
    cereal = table.text("with", 'name the cereal beside the legume, such as "rye", or leave the line out', None)
    return _made(
        table,
        CoverEntry,
        species=cover.key,
        cultivar=cultivar,
        sown=table.date("sown"),
        turned_under=_ended(table),
        terminate=table.choice("terminate", termination.METHODS, "turn-under"),
        calibration=calibration,
        companion=None if cereal is None else _named(companion, table, cereal).key,
        legume_percent=table.table.get("legume_percent"),
    )


def _ended(table: Table) -> dt.date | None:
    """The day on which the cover was ended; ``turned_under`` is its older name."""
    days: list[dt.date] = [day for key in ("ended", "turned_under") if (day := table.date(key, None)) is not None]
    if len(days) > 1:
        raise table.fail("turned_under", "ended is given too; keep one of them")
    return days[0] if days else None


def _aim(table: Table, cover: CoverEntry | None) -> AimEntry:
    aim = _made(
        table,
        AimEntry,
        plant_by=table.date("plant_by", None),
        favour=table.choice("favour", FAVOURS, "crop"),
        can_come=tuple(table.list_of("can_come", 'list weekdays, such as ["sat", "sun"]')),
    )
    _made(table, check_aim, aim=aim, cover=cover)
    return aim


def _weather(table: Table, folder: Path) -> WeatherEntry:
    file = table.text("file", "name the weather file, relative to the field file", "")
    return WeatherEntry(
        file=folder / file if file else None,
        station=table.text("station", "give the station's id as text", ""),
        units=cast("Units", table.choice("units", UNITS, "us" if table.us else "metric")),
    )


def _crop(table: Table, cover: CoverEntry | None) -> CropEntry:
    name = table.text("name", 'name the crop that follows, such as "pumpkin" (see: covercrop crops)')
    name = _named(catalogue.crop, table, name).key
    crop = CropEntry(
        name=name,
        method=table.choice("method", seedling_disease.METHODS, "direct-seed"),
        ground_cover=table.choice("ground_cover", soil_temperature.GROUND_COVERS, "bare"),
        days_to_maturity=table.number("days_to_maturity", *TO_MATURITY, None),
        soil_c=_soil_wanted(table),
        planted=table.date("planted", None),
    )
    _made(table, check_planted, crop=crop, cover=cover)
    return crop


def _soil_wanted(table: Table) -> float | None:
    """The grower's own soil threshold, in either unit, as metric."""
    metric = table.number("soil_c", *SOIL_WANTED, None)
    us = table.number("soil_f", 41, 95, "give the soil temperature to plant at, 41 to 95 degF", None)
    if metric is not None and us is not None:
        raise table.fail("soil_f", "soil_c is given too; keep one of them")
    return metric if us is None else units.celsius_from_fahrenheit(us)


@dataclass(frozen=True, slots=True)
class _Unit:
    """A key of a measurement: its unit in words, what is believed in it, and the way to the metric one."""

    key: str
    words: str
    low: float
    high: float
    to_metric: Callable[[float], float] = float


#: What a note may measure, each in the metric and in the US unit.
_MEASURED = {
    "soil": (
        _Unit("soil_c", "degC", *MEASURED["soil_c"][:2]),
        _Unit("soil_f", "degF", -4, 113, units.celsius_from_fahrenheit),
    ),
    "height": (
        _Unit("height_cm", "cm", *MEASURED["height_cm"][:2]),
        _Unit("height_in", "inches", 0.5, 120, lambda inches: inches * units.M_PER_IN * 100),
    ),
    "dry weight": (
        _Unit(
            "dry_matter_kg_ha", "kg/ha (the dry grams of a square metre, times 10)", *MEASURED["dry_matter_kg_ha"][:2]
        ),
        _Unit(
            "dry_matter_lb_acre",
            "lb/acre (the dry grams of a square foot, times 96)",
            45,
            18_000,
            lambda pounds: pounds * units.KG_HA_PER_LB_ACRE,
        ),
    ),
}


def _measured(table: Table, name: str) -> float | None:
    """A measurement that may stand in the metric or in the US unit, as metric."""
    metric, us = _MEASURED[name]
    values = [
        table.number(
            unit.key,
            unit.low,
            unit.high,
            f"give the {name} in {unit.words}, {unit.low:,g} to {unit.high:,g}; in {other.words.split(' (')[0]} it is "
            f"{other.key} (scout: --units {system})",
            None,
        )
        for unit, other, system in ((metric, us, "us"), (us, metric, "metric"))
    ]
    if None not in values:
        raise table.fail(us.key, f"{metric.key} is given too; keep one of them")
    found = [unit.to_metric(value) for unit, value in zip((metric, us), values, strict=True) if value is not None]
    return found[0] if found else None


def _note(table: Table, cover: CoverEntry) -> ScoutingNote:
    percent = table.number("bloom_percent", *MEASURED["bloom_percent"][:2], "give 0 to 100", None)
    bbch = table.number("bbch", *MEASURED["bbch"][:2], "give a BBCH stage, 0 to 99", None)
    cereal = table.whole("cereal", 0, 99, "give a Zadoks stage, a whole number from 0 to 99", None)
    if percent is not None and bbch is not None:
        raise FieldFileError(f"{table.where}: give bloom_percent or bbch, not both")
    if bbch is not None and bbch != int(bbch):
        raise table.fail("bbch", "give a whole number, such as 60")
    note = _made(
        table,
        ScoutingNote,
        date=table.date("date"),
        bloom_percent=percent,
        bbch=None if bbch is None else int(bbch),
        note=table.text("note", "write some words, or leave the line out", ""),
        soil_c=_measured(table, "soil"),
        height_cm=_measured(table, "height"),
        dry_matter_kg_ha=_measured(table, "dry weight"),
        nitrogen_percent=table.number(
            "nitrogen_percent", *MEASURED["nitrogen_percent"][:2], "give % N of the dry weight, 0.3 to 8", None
        ),
        cereal=cereal,
        legume_percent=table.number("legume_percent", *MEASURED["legume_percent"][:2], f"give {MIXED}", None),
    )
    _made(table, check_visit, note=note, cover=cover)
    return note


def read_note(where: str, entry: Any, cover: CoverEntry, *, us: bool) -> ScoutingNote:
    """A note from its keys and values, as they stand in a file.

    Parameters
    ----------
    where : str
        Where it stands, for messages.
    entry : mapping
    cover : CoverEntry
        That it is of.
    us : bool
        Whether the file is one of US units.
    """
    return _note(Table(where, entry, SCOUTING, us=us), cover)


def notes_in(path: Path, content: bytes, number: int) -> list[tuple[dict[str, Any], ScoutingNote]]:
    """The notes of a sound field file's field in the order of the file, each as it is written and as it is read."""
    cover = parse_fields(path, content).entries[number].cover
    raw = tomllib.loads(content.decode("utf-8-sig"))
    listed = raw["field"][number].get("scouting", []) if cover is not None else []
    us = raw.get("units") == "us"
    return [(entry, read_note(str(path), entry, cast("CoverEntry", cover), us=us)) for entry in listed]


def _place(table: Table, key: str) -> Any:
    """A number that says where a field is."""
    low, high, words = PLACE[key]
    return table.number(key, low, high, f"give {words}")


def _field(where: str, raw: Any, folder: Path, *, us: bool) -> Ground:
    named = raw.get("name") if isinstance(raw, dict) else None
    table = Table(f'{where} "{named}"' if isinstance(named, str) else where, raw, _FIELD, us=us)
    name = table.text("name", "give the field a name")
    cover = _cover(table.below("cover", _COVER), folder) if "cover" in table.table else None
    crop = _crop(table.below("crop", _CROP, "it says what is to follow the cover"), cover)
    scouting = table.table.get("scouting", [])
    if not isinstance(scouting, list):
        raise table.fail("scouting", "write each note as its own [[field.scouting]]")
    described: dict[str, Any] = {
        "name": name,
        "latitude": _place(table, "latitude"),
        "longitude": _place(table, "longitude"),
        "elevation_m": table.either("elevation", ELEVATION, *PLACE["elevation_m"][:2], _ELEVATION_WORDS),
        "area_m2": table.either("area", AREA, *PLACE["area_m2"][:2], _AREA_WORDS),
        "weather": _weather(table.below("weather", _WEATHER, default={}), folder),
        "crop": crop,
        "aim": _aim(table.below("aim", _AIM, default={}), cover),
        "beds": bed_entries.beds(table, crop.ground_cover, crop.method),
        "amendments": bed_entries.amendments(table),
        "soil": bed_entries.soil(table),
    }
    if cover is None:
        if scouting:
            raise FieldFileError(f"{table.where}: scouting: {NO_COVER}")
        return Ground(**described)
    notes = (
        read_note(f"{table.where}: scouting {number}", raw_note, cover, us=us)
        for number, raw_note in enumerate(scouting, start=1)
    )
    return Field(**described, cover=cover, scouting=tuple(notes))


_HOW_TO_WRITE = (
    "write texts and names in quotes, numbers with a point, dates as 2026-04-20 (or, under a first line "
    'units = "us", as "4/20/2026")'
)


def _line_named(error: tomllib.TOMLDecodeError, text: str) -> str:
    """The line that a message names, as it stands in the file."""
    number = re.search(r"at line (\d+)", str(error))
    lines = text.split("\n")
    return f": {shown(lines[int(number[1]) - 1].strip())}" if number else ""


def read_fields(path: str | Path | None = None) -> FieldFile:
    """Read a field file, as every command does that takes FIELDS.

    Parameters
    ----------
    path : str or Path, optional
        The demonstration by default, an invented place; ``demo:squares`` for its patch of framed squares in a sheet.

    Returns
    -------
    FieldFile

    Raises
    ------
    FieldFileError
        If the file cannot be read, or something in it is not what it should
        be; the line names the place, the value and the way out.
    """
    shipped = "fields.toml" if path is None else DEMONSTRATIONS.get(str(path))
    path = data_path("demo", shipped, beside=("weather.csv",)) if shipped else Path(str(path))
    return parse_fields(path, read_bytes(path))


def today_in(path: Path) -> dt.date | None:
    """The day that a field file fixes as today; None where it fixes none, or there is no such file yet."""
    fixed = _top(path).get("today")
    return fixed if type(fixed) is dt.date else None


def names_in(path: Path) -> tuple[str, ...]:
    """The names of the fields of a file; none where there is no such file yet, or no field in it.

    Raises
    ------
    FieldFileError
        If it is not sound.
    """
    if not path.exists():
        return ()
    content = read_bytes(path)
    try:
        if "field" not in tomllib.loads(content.decode("utf-8-sig")):
            return ()
    except (ValueError, RecursionError):
        pass  # reading the fields says what is wrong
    return tuple(entry.name for entry in parse_fields(path, content).entries)


def units_in(path: Path) -> Units:
    """In which units the owner of a field file thinks; metric where it does not say, or there is no such file yet."""
    return "us" if _top(path).get("units") == "us" else "metric"


def month_first(path: Path) -> tuple[str, dt.date] | None:
    """A date of a sound field file that is written as Americans do, and how it is read; None where there is none.

    One that another reader would take for another day is taken before one that can be read in one way only.
    """
    top = _top(path)
    if top.get("units") != "us":
        return None
    found = [(text, day) for text in _texts(top) if (day := us_date(text)) is not None]
    return min(found, key=lambda each: each[1].day > MONTHS_OF_YEAR, default=None)


def _texts(value: Any) -> Iterator[str]:
    """All texts in a TOML value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from (text for each in value.values() for text in _texts(each))
    elif isinstance(value, list):
        yield from (text for each in value for text in _texts(each))


#: A day of the month above this cannot be taken for a month.
MONTHS_OF_YEAR = 12


def _top(path: Path) -> dict[str, Any]:
    """What stands at the top of a field file, sound or not."""
    try:
        return tomllib.loads(read_whole(path).decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return {}  # reading the fields says what is wrong


def read_bytes(path: Path) -> bytes:
    """The bytes of a field file.

    Raises
    ------
    FieldFileError
        If there is no such file, or it cannot be read.
    """
    try:
        return read_whole(path)
    except FileNotFoundError:
        raise FieldFileError(f"{path}: no such file; give the path of your field file") from None
    except IsADirectoryError:
        raise FieldFileError(f"{path}: is a folder; give the path of a field file in it") from None
    except OSError as error:
        raise FieldFileError(f"{path}: cannot be read ({error.strerror}); give the path of your field file") from None


def parse_fields(path: Path, content: bytes) -> FieldFile:
    """The field file that some bytes make.

    Parameters
    ----------
    path : pathlib.Path
        Where they stand, or will stand.
    content : bytes

    Raises
    ------
    FieldFileError
        As :func:`read_fields`.
    """
    try:
        text = content.decode("utf-8-sig")  # some editors put a mark before the first character
        raw = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise FieldFileError(f"{path}: byte {error.start} is not UTF-8 text; save the file as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise FieldFileError(f"{path}: not TOML: {error}{_line_named(error, text)}; {_HOW_TO_WRITE}") from None
    except (ValueError, RecursionError) as error:
        raise FieldFileError(f"{path}: cannot be read ({error}); give the path of a plain field file") from None
    top = Table(str(path), raw, ("field", "today", "units"))
    system = cast("Units", top.choice("units", UNITS, "metric"))
    entries = raw.get("field", [])
    if not isinstance(entries, list) or not entries:
        raise FieldFileError(f"{path}: no field in it; begin each with a line [[field]]")
    fields = tuple(
        _field(f"{path}: field {number}", entry, path.parent, us=system == "us")
        for number, entry in enumerate(entries, start=1)
    )
    seen: set[str] = set()
    for field in fields:
        if field.name in seen:
            raise FieldFileError(f'{path}: two fields are named "{field.name}"; give each its own name')
        seen.add(field.name)
    return FieldFile(path=path, entries=fields, today=top.date("today", None), units=system)


def check_dates(file: FieldFile, today: dt.date) -> None:
    """Refuse what cannot have happened yet.

    Raises
    ------
    FieldFileError
        If a cover is sown, turned under, planted or scouted after ``today``.
    """
    for field in file.fields:
        try:
            check_past(field, today)
        except FieldFileError as error:
            raise FieldFileError(f'{file.path}: field "{field.name}": {error}') from None
