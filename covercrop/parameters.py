"""The parameter files of ``data/``, as cited records.

The files hold each number as its source prints it, with its unit; it is
converted on reading, so that a reader can hold the file against the paper.
Reading is strict: an unknown key, an unknown unit, a missing source or a low
above its high stops the program with the place named.
"""

from __future__ import annotations

import math
import tomllib
import types
import typing
from dataclasses import MISSING, dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from covercrop.errors import ParameterError, UnknownNameError
from covercrop.records import CitedValue, Source
from covercrop.resources import data_file
from covercrop.units import to_internal

Record = TypeVar("Record")


# --- what a cover is ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Emergence:
    """Sowing to emergence: a degree-day sum above a base."""

    base: CitedValue
    sum: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Bloom:
    """Emergence to 25 % bloom: day-length-gated thermal time after cool days.

    Attributes
    ----------
    base, optimum : CitedValue
        Daily mean temperature at which development starts and levels off [degC].
    day_length_none, day_length_full : CitedValue
        Sunrise-to-sunset day length below which nothing counts, and above
        which everything does [h].
    cool_days : CitedValue
        Days with a mean between 0 and 10 degC over which the response rises
        from 0 to 1 [d].
    requirement : CitedValue
        Sum at 25 % bloom [degC d].
    pace : CitedValue
        Sum gained in an average day of the two weeks up to 25 % bloom where the
        cover was calibrated; turns days between cultivars into sums [K].
    spread : CitedValue
        Standard deviation of the requirement for a known cultivar at a new
        place [degC d].
    cultivar_spread : CitedValue
        Standard deviation among cultivars, added where the cultivar is not
        known [degC d].
    """

    base: CitedValue
    optimum: CitedValue
    day_length_none: CitedValue
    day_length_full: CitedValue
    cool_days: CitedValue
    requirement: CitedValue
    pace: CitedValue
    spread: CitedValue
    cultivar_spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Stages:
    """The other stages, as thermal time before or after 25 % bloom [degC d].

    ``bud``, ``first_flower`` and ``bloom_10`` come before and are counted on
    the photothermal clock; ``bloom_50`` and ``end_of_bloom`` come after and
    are counted on temperature alone.  All are positive.
    """

    bud: CitedValue
    first_flower: CitedValue
    bloom_10: CitedValue
    bloom_50: CitedValue
    end_of_bloom: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Seed:
    """First flowers to seed: a degree-day sum above a base.

    ``viable_share`` is the share of ``flower_to_maturity`` after which the
    first seed counts as viable; ``spread`` is the standard deviation of the
    sum [degC d].
    """

    base: CitedValue
    flower_to_maturity: CitedValue
    viable_share: CitedValue
    spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Winter:
    """Winter kill: the cold that kills half of a hardened stand.

    ``kill_temperature`` is compared with the lowest running mean of the daily
    mean temperature over ``days`` days; ``spread`` is the standard deviation
    among stands [K].
    """

    kill_temperature: CitedValue
    days: CitedValue
    spread: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Residue:
    """What is turned under: pools of young residue, and its nitrogen."""

    carbohydrate: CitedValue
    cellulose: CitedValue
    lignin: CitedValue
    carbon_nitrogen: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """Dry matter and nitrogen of the standing cover.

    Attributes
    ----------
    base : CitedValue
        Base temperature of growth [degC].
    slope : CitedValue
        Dry matter per unit of thermal time once growth is under way
        [kg/ha per degC d].
    lag : CitedValue
        Thermal time from emergence before that slope holds [degC d].
    most : CitedValue
        Dry matter that a good stand does not exceed [kg/ha].
    spread : CitedValue
        Coefficient of variation of the dry matter among stands [1].
    nitrogen_bud, nitrogen_bloom, nitrogen_seed : CitedValue
        Nitrogen in the dry matter at visible buds, full bloom and seed set [% N].
    """

    base: CitedValue
    slope: CitedValue
    lag: CitedValue
    most: CitedValue
    spread: CitedValue
    nitrogen_bud: CitedValue
    nitrogen_bloom: CitedValue
    nitrogen_seed: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Cultivar:
    """A named cultivar as days earlier (negative) or later than the standard."""

    name: str
    group: str
    offset: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """A legume cover: one table of ``data/covers.toml``."""

    key: str
    common_name: str
    scientific_name: str
    inoculant: str
    standard: str
    confidence: str
    emergence: Emergence
    bloom: Bloom
    stages: Stages
    seed: Seed
    winter: Winter
    residue: Residue
    growth: Growth | None = None
    cultivars: tuple[Cultivar, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


# --- what a crop is -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class EmergenceTime:
    """Days from sowing to emergence at one soil temperature."""

    soil: CitedValue
    days: CitedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop:
    """A heavy feeder: one table of ``data/crops.toml``.

    Attributes
    ----------
    soil_minimum, soil_planting : CitedValue
        Coldest soil in which seed germinates, and the soil to wait for [degC].
    frost : CitedValue
        Air temperature that harms the crop [degC].
    days_to_maturity : CitedValue
        Sowing to harvest, direct-seeded [d].
    transplant_credit : CitedValue
        Days saved by transplants [d].
    touches_soil : bool
        Whether the part that is eaten touches the soil.
    maggot_host : bool
        Whether seedcorn maggot is known to harm it.
    emergence : tuple of EmergenceTime
        Coldest first.
    """

    key: str
    common_name: str
    scientific_name: str
    family: str
    soil_minimum: CitedValue
    soil_planting: CitedValue
    frost: CitedValue
    days_to_maturity: CitedValue
    transplant_credit: CitedValue
    touches_soil: bool
    maggot_host: bool
    emergence: tuple[EmergenceTime, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


# --- reading --------------------------------------------------------------------------------------


def _cited(table: Any, where: str) -> CitedValue:
    if not isinstance(table, dict):
        raise ParameterError(f"{where}: {table!r} is not a table with value, unit and source")
    known = {"value", "unit", "low", "high", "source", "locator", "basis", "reason"}
    if unknown := table.keys() - known:
        raise ParameterError(f"{where}: unknown key {min(unknown)!r}; known: {', '.join(sorted(known))}")
    for key in ("value", "unit", "basis"):
        if key not in table:
            raise ParameterError(f"{where}: {key!r} is missing")
    basis = table["basis"]
    if basis not in ("measured", "converted", "assumed"):
        raise ParameterError(f"{where}: basis {basis!r} is not measured, converted or assumed")
    needed = ("reason",) if basis == "assumed" else ("source", "locator")
    for key in needed:
        if not table.get(key):
            article = "an" if basis == "assumed" else "a"
            raise ParameterError(f"{where}: {article} {basis} value needs its {key}")
    numbers = {}
    unit = ""
    for key in ("value", "low", "high"):
        number = table.get(key)
        if number is None:
            continue
        if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
            raise ParameterError(f"{where}: {key} {number!r} is not a number")
        try:
            numbers[key], unit = to_internal(float(number), table["unit"])
        except ParameterError as error:
            raise ParameterError(f"{where}: {error}") from None
    value, low, high = numbers["value"], numbers.get("low"), numbers.get("high")
    if (low is not None and low > value) or (high is not None and high < value):
        raise ParameterError(f"{where}: {table['value']} does not lie between its low and its high")
    return CitedValue(
        value=value,
        unit=unit,
        printed=_with_unit(f"{table['value']}", table["unit"]),
        printed_range=_printed_range(table),
        basis=basis,
        source=table.get("source", ""),
        locator=table.get("locator", ""),
        reason=table.get("reason", ""),
        low=low,
        high=high,
    )


def _with_unit(numbers: str, unit: str) -> str:
    return numbers if unit == "1" else f"{numbers} {unit}"


def _printed_range(table: dict[str, Any]) -> str:
    low, high = table.get("low"), table.get("high")
    if low is None and high is None:
        return ""
    if low is None:
        return _with_unit(f"up to {high}", table["unit"])
    return _with_unit(f"from {low}" if high is None else f"{low} to {high}", table["unit"])


@cache
def _hints(record: type) -> dict[str, Any]:
    return typing.get_type_hints(record)


def _convert(kind: Any, value: Any, where: str) -> Any:
    if isinstance(kind, types.UnionType):
        kind = next(option for option in typing.get_args(kind) if option is not type(None))
    if kind is CitedValue:
        return _cited(value, where)
    if is_dataclass(kind):
        return build(typing.cast("type", kind), value, where)
    if typing.get_origin(kind) is tuple:
        if not isinstance(value, list):
            raise ParameterError(f"{where}: {value!r} is not a list")
        member = typing.get_args(kind)[0]
        return tuple(_convert(member, entry, f"{where} {number}") for number, entry in enumerate(value, start=1))
    if not isinstance(value, kind):
        raise ParameterError(f"{where}: {value!r} is not a {kind.__name__}")
    return value


def build(record: type[Record], table: Any, where: str, **given: Any) -> Record:
    """A record from a TOML table, strictly.

    Parameters
    ----------
    record : type
        A dataclass of this module.
    table : dict
    where : str
        Place named in messages, such as ``"covers.toml [hairy-vetch]"``.
    **given
        Attributes that do not stand in the table.

    Raises
    ------
    ParameterError
        If a key is unknown or missing, or a value is not what it should be.
    """
    if not isinstance(table, dict):
        raise ParameterError(f"{where}: {table!r} is not a table")
    hints = _hints(typing.cast("Any", record))
    expected = {field.name: field for field in fields(typing.cast("Any", record)) if field.name not in given}
    if unknown := table.keys() - expected.keys():
        raise ParameterError(f"{where}: unknown key {min(unknown)!r}; known: {', '.join(sorted(expected))}")
    arguments = dict(given)
    for name, field in expected.items():
        if name in table:
            arguments[name] = _convert(hints[name], table[name], f"{where} {name}")
        elif field.default is MISSING:
            raise ParameterError(f"{where}: {name!r} is missing")
    return record(**arguments)


def _load(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ParameterError(f"{where}: {error}") from None


@cache
def _shipped(name: str) -> dict[str, Any]:
    return _load(data_file(name).read_text(encoding="utf-8"), name)


def _names(name: str) -> tuple[str, ...]:
    return tuple(_shipped(name))


def cover_names() -> tuple[str, ...]:
    """Keys of the covers that are known."""
    return _names("covers.toml")


def crop_names() -> tuple[str, ...]:
    """Keys of the crops that are known."""
    return _names("crops.toml")


@cache
def cover(name: str) -> Cover:
    """A cover by its key.

    Raises
    ------
    UnknownNameError
        If there is no such cover; names near matches.
    """
    table = _shipped("covers.toml").get(name)
    if table is None:
        raise UnknownNameError("cover", name, cover_names())
    return build(Cover, table, f"covers.toml [{name}]", key=name)


@cache
def crop(name: str) -> Crop:
    """A crop by its key.

    Raises
    ------
    UnknownNameError
        If there is no such crop; names near matches.
    """
    table = _shipped("crops.toml").get(name)
    if table is None:
        raise UnknownNameError("crop", name, crop_names())
    return build(Crop, table, f"crops.toml [{name}]", key=name)


def cultivar(of: Cover, name: str) -> Cultivar:
    """A cultivar of a cover by its name, in any spelling of case.

    Raises
    ------
    UnknownNameError
        If the cover has no such cultivar; names near matches.
    """
    for candidate in of.cultivars:
        if candidate.name.casefold() == name.casefold():
            return candidate
    raise UnknownNameError(f"{of.common_name} cultivar", name, [known.name for known in of.cultivars])


@cache
def source(key: str) -> Source:
    """A source by its key.

    Raises
    ------
    ParameterError
        If there is no such source.
    """
    table = _shipped("sources.toml").get(key)
    if table is None:
        raise ParameterError(f"sources.toml: no source {key!r}")
    return build(Source, table, f"sources.toml [{key}]", key=key)


#: What the less plain attributes are called where they are shown.
_LABELS = {
    "bloom day_length_none": "bloom, day length below which nothing counts",
    "bloom day_length_full": "bloom, day length from which all counts",
    "bloom cool_days": "bloom, cool days wanted",
    "bloom requirement": "bloom, sum at 25% bloom",
    "bloom pace": "bloom, progress in a day near bloom",
    "bloom spread": "bloom, scatter of the sum at a new place",
    "bloom cultivar_spread": "bloom, scatter among cultivars",
    "stages bud": "buds visible, before 25% bloom",
    "stages first_flower": "first flowers, before 25% bloom",
    "stages bloom_10": "10% bloom, before 25% bloom",
    "stages bloom_50": "50% bloom, after 25% bloom",
    "stages end_of_bloom": "end of bloom, after 25% bloom",
    "seed flower_to_maturity": "seed, from first flower to ripe",
    "seed viable_share": "seed, share of that to the first viable one",
    "seed spread": "seed, scatter of the sum",
    "winter kill_temperature": "winter, mean that kills half of the stands",
    "winter days": "winter, days of that mean",
    "winter spread": "winter, scatter among stands",
    "residue carbon_nitrogen": "residue, C:N ratio",
    "growth slope": "growth, dry matter for warmth",
    "growth lag": "growth, warmth before it is under way",
    "growth most": "growth, most dry matter",
    "growth spread": "growth, scatter among stands",
    "growth nitrogen_bud": "nitrogen at visible buds",
    "growth nitrogen_bloom": "nitrogen at full bloom",
    "growth nitrogen_seed": "nitrogen at seed set",
    "soil_minimum": "coldest soil for seed",
    "soil_planting": "soil to wait for",
    "frost": "air that harms it",
    "days_to_maturity": "sowing to harvest",
    "transplant_credit": "days saved by transplants",
}


def label(path: str) -> str:
    """What a cited value is called where it is shown."""
    return _LABELS.get(path, path.replace("_", " "))


def cited_values(record: Any) -> list[tuple[str, CitedValue]]:
    """Every cited value below a record, with its dotted path."""
    found: list[tuple[str, CitedValue]] = []
    for field in fields(record):
        value = getattr(record, field.name)
        if isinstance(value, CitedValue):
            found.append((field.name, value))
        elif isinstance(value, tuple):
            for entry in value:
                if is_dataclass(entry):
                    label = getattr(entry, "name", "")
                    found += [
                        (f"{field.name} {label} {path}".replace("  ", " "), cited)
                        for path, cited in cited_values(entry)
                    ]
        elif is_dataclass(value):
            found += [(f"{field.name} {path}", cited) for path, cited in cited_values(value)]
    return found


def read_parameter_file(path: Path) -> dict[str, Any]:
    """The tables of a parameter file of one's own.

    Raises
    ------
    ParameterError
        If the file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ParameterError(f"{path}: cannot be read ({error})") from None
    return _load(text, str(path))
