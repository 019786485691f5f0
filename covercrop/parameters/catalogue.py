"""The parameter files of ``data/``, as cited records.

The files hold each number as its source prints it, with its unit; it is
converted on reading, so that a reader can hold the file against the paper.
Reading is strict: an unknown key, an unknown unit, a missing source or a low
above its high stops the program with the place named.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from covercrop.base.errors import ParameterError, UnknownNameError
from covercrop.base.kinds import UnfitError
from covercrop.base.reading import read_whole
from covercrop.base.records import BASES, CitedValue, Source
from covercrop.base.shipped import data_file
from covercrop.base.strict_table import TableReader
from covercrop.base.units import to_internal
from covercrop.parameters.traits import Cover, Crop, Cultivar, Material

Record = TypeVar("Record")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Printed:
    """A cited value as its table has it: numbers as the source prints them, in its unit."""

    value: Any
    unit: str
    basis: str
    low: Any = None
    high: Any = None
    source: str = ""
    locator: str = ""
    reason: str = ""


def _cited(table: Any, _: Any) -> CitedValue:
    if not isinstance(table, dict):
        raise UnfitError("is not a table with value, unit and source")
    printed = _reader().made(table, _Printed)
    basis = printed.basis
    if basis not in BASES:
        raise ParameterError(f"basis {basis!r} is not {', '.join(BASES[:-1])} or {BASES[-1]}")
    for key in ("reason",) if basis == "assumed" else ("source", "locator"):
        if not getattr(printed, key):
            raise ParameterError(f"{'an' if basis == 'assumed' else 'a'} {basis} value needs its {key}")
    value, unit = _inner(printed, "value")
    low, high = (None if getattr(printed, end) is None else _inner(printed, end)[0] for end in ("low", "high"))
    if (low is not None and low > value) or (high is not None and high < value):
        raise ParameterError(f"{printed.value} does not lie between its low and its high")
    return CitedValue(
        value=value,
        unit=unit,
        printed=_with_unit(f"{printed.value}", printed.unit),
        printed_range=_printed_range(printed),
        basis=basis,
        source=printed.source,
        locator=printed.locator,
        reason=printed.reason,
        low=low,
        high=high,
    )


def _inner(printed: _Printed, key: str) -> tuple[float, str]:
    """A printed number in the unit used inside, and that unit."""
    number = getattr(printed, key)
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
        raise ParameterError(f"{key} {number!r} is not a number")
    return to_internal(float(number), printed.unit)


def _with_unit(numbers: str, unit: str) -> str:
    return numbers if unit == "1" else f"{numbers} {unit}"


def _printed_range(printed: _Printed) -> str:
    low, high = printed.low, printed.high
    if low is None and high is None:
        return ""
    if low is None:
        return _with_unit(f"up to {high}", printed.unit)
    return _with_unit(f"from {low}" if high is None else f"{low} to {high}", printed.unit)


def _plain(got: Any, kind: Any) -> Any:
    """A value of just the type of its attribute."""
    if type(got) is not kind:
        raise UnfitError(f"is not a {kind.__name__}")
    return got


class _ParameterReader(TableReader):
    """Says what is wrong to those who write parameter files: tersely, and where in the tables."""

    joint = " "

    def no_table(self, got: Any) -> str:
        return f"{got!r} is not a table"

    def unknown(self, key: str, known: list[str]) -> str:
        return f"unknown key {key!r}; known: {', '.join(sorted(known))}"

    def unfit(self, key: str, got: Any, way_out: str) -> tuple[str, str]:
        return f" {key}", f"{got!r} {way_out or 'is not a list'}"


@cache
def _reader() -> TableReader:
    return _ParameterReader(ParameterError, {CitedValue: _cited} | dict.fromkeys((str, bool, int, float), _plain))


def build(record: type[Record], table: Any, where: str, **given: Any) -> Record:
    """A record of :mod:`covercrop.parameters.traits` and its like from a TOML table; as :meth:`TableReader.read`."""
    return _reader().read(record, table, where, **given)


def _load(text: str, where: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ParameterError(f"{where}: {error}") from None


@cache
def _shipped(name: str) -> dict[str, Any]:
    return _load(data_file(name).read_text(encoding="utf-8"), name)


def names_in(name: str) -> tuple[str, ...]:
    """The keys of the tables in a file of ``data/``."""
    return tuple(_shipped(name))


@cache
def _called(file: str) -> dict[str, str]:
    """The key of each name that is understood."""
    others = {_key(name): key for key, table in _shipped(file).items() for name in table.get("also", ())}
    return others | {key: key for key in _shipped(file)}


def _key(name: str) -> str:
    """A name as the files have it, however it is spelled in case and between words."""
    return "-".join(name.casefold().replace("_", " ").replace("-", " ").split())


def of_name(record: type[Record], what: str, name: str, file: str) -> Record:
    """What a file has under a name, its own or another that growers use."""
    called, asked = _called(file), _key(name)
    # A grower says pumpkins and winter peas.
    plural = (asked.removesuffix("s"), asked.removesuffix("es"))
    key = next((called[each] for each in (asked, *plural) if each in called), "")
    table = _shipped(file).get(key)
    if table is None:
        raise UnknownNameError(
            what, name, names_in(file), {also: of for also, of in _called(file).items() if also != of}
        )
    return build(record, table, f"{file} [{key}]", key=key)


def cover_names() -> tuple[str, ...]:
    """Keys of the covers that are known."""
    return names_in("covers.toml")


def crop_names() -> tuple[str, ...]:
    """Keys of the crops that are known."""
    return names_in("crops.toml")


def material_names() -> tuple[str, ...]:
    """Keys of the manures and composts that are known."""
    return names_in("amendments.toml")


def covers() -> tuple[Cover, ...]:
    """Every legume cover that is known, in the order of the file; ``covercrop covers`` lists them.

    Returns
    -------
    tuple of Cover
        Each number a :class:`~covercrop.base.records.CitedValue`, with its unit, range and source.
    """
    return tuple(cover(name) for name in cover_names())


def crops() -> tuple[Crop, ...]:
    """Every crop that is known, in the order of the file; ``covercrop crops`` lists them.

    Returns
    -------
    tuple of Crop
        Each number a :class:`~covercrop.base.records.CitedValue`, with its unit, range and source.
    """
    return tuple(crop(name) for name in crop_names())


@cache
def cover(name: str) -> Cover:
    """A cover by its name, such as ``crimson-clover`` or ``Crimson clover``; ``covercrop covers NAME`` shows it.

    Returns
    -------
    Cover
        Each number a :class:`~covercrop.base.records.CitedValue`, with its unit, range and source.

    Raises
    ------
    UnknownNameError
        If there is no such cover; names near matches.
    """
    return of_name(Cover, "cover", name, "covers.toml")


@cache
def crop(name: str) -> Crop:
    """A crop by its name, such as ``sweet-corn`` or ``Sweet corn``; ``covercrop crops NAME`` shows it.

    Returns
    -------
    Crop
        Each number a :class:`~covercrop.base.records.CitedValue`, with its unit, range and source.

    Raises
    ------
    UnknownNameError
        If there is no such crop; names near matches.
    """
    return of_name(Crop, "crop", name, "crops.toml")


@cache
def material(name: str) -> Material:
    """A manure or compost by its name, such as ``cattle-manure`` or ``Cattle manure``.

    Raises
    ------
    UnknownNameError
        If there is no such material; names near matches.
    """
    return of_name(Material, "material", name, "amendments.toml")


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


def of_cultivar(of: Cover, name: str) -> Cover:
    """A cover whose bloom is that of a cultivar with a sum and cool days of its own.

    It is then its own standard, nothing later or earlier; of any other name the cover is left as it is.
    """
    own = next((each for each in of.cultivars if each.name.casefold() == name.casefold()), None)
    if own is None or own.requirement is None or own.cool_days is None:
        return of
    bloom = replace(of.bloom, requirement=own.requirement, cool_days=own.cool_days)
    standard = replace(own, offset=replace(own.offset, value=0.0))
    cultivars = tuple(standard if each is own else each for each in of.cultivars)
    return replace(of, bloom=bloom, cultivars=cultivars)


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
        text = read_whole(path).decode()
    except OSError as error:
        raise ParameterError(f"{path}: cannot be read ({error.strerror})") from None
    except ValueError as error:
        raise ParameterError(f"{path}: cannot be read ({error})") from None
    return _load(text, str(path))
