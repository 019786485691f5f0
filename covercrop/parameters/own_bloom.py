"""Own numbers for the bloom of one cultivar: a small file, and the cover that follows it.

``covercrop calibrate`` writes the file (:mod:`covercrop.checking.cultivar_fit` fits what
is in it), and a field names it: ``calibration = "mine.toml"``.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

from covercrop.base.errors import ParameterError
from covercrop.base.reading import read_whole
from covercrop.base.records import CitedValue
from covercrop.base.replacing import replacing
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Cover, Cultivar

#: The first line of the file's own: what has it is ours to replace.
MADE_BY = "covercrop calibrate"
SCHEMA = 1

#: Key in ``data/sources.toml`` that stands for what was seen by oneself.
SOURCE = "own_records"


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """The sum at 25 % bloom that was fitted.

    Attributes
    ----------
    value, se, low, high : float
        Sum, its standard error, and its 80 % interval [degC d].
    spread : float
        Standard deviation with which it holds for a season or a place that
        was not in the records [degC d].
    pace : float
        Sum gained in a day of the two weeks up to bloom [K].
    scale : float
        That pace over the one under the gate as shipped: the other stages'
        sums before bloom are scaled by it [1].
    """

    value: float
    se: float
    low: float
    high: float
    spread: float
    pace: float
    scale: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """What the sum is counted under, without which it means nothing; see :class:`covercrop.parameters.traits.Bloom`.

    ``day_length_full_se`` is there only where that limit was fitted too [h].
    """

    base: float
    optimum: float
    day_length_none: float
    day_length_full: float
    cool_days: float
    day_length_full_se: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """What was fitted to own records.

    Attributes
    ----------
    cover : str
        Key of the cover.
    cultivar : str
        Empty where the records name none.
    records : str
        Name of the records file.
    count, places, first_season, last_season : int
        Records, places, and years of sowing.
    requirement : Requirement
    gate : Gate
    """

    cover: str
    cultivar: str
    records: str
    count: int
    places: int
    first_season: int
    last_season: int
    requirement: Requirement
    gate: Gate


def calibrated(cover: Cover, calibration: Calibration) -> Cover:
    """A cover whose bloom follows own records.

    Parameters
    ----------
    cover : Cover
        The one that the records are of.
    calibration : Calibration

    Returns
    -------
    Cover
        With the fitted gate, sum and spread, and the other stages before
        bloom scaled to them.
    """
    fitted, gate = calibration.requirement, calibration.gate
    places = f"{calibration.places} place{'s' * (calibration.places > 1)}"
    locator = f"{calibration.records}: {calibration.count} records at {places}"

    def own(value: float, unit: str) -> CitedValue:
        return CitedValue(
            value=value, unit=unit, printed=f"{value:.4g} {unit}", basis="measured", source=SOURCE, locator=locator
        )

    bloom = replace(
        cover.bloom,
        base=own(gate.base, "degC"),
        optimum=own(gate.optimum, "degC"),
        day_length_none=own(gate.day_length_none, "h"),
        day_length_full=own(gate.day_length_full, "h"),
        cool_days=own(gate.cool_days, "d"),
        requirement=own(fitted.value, "degC d"),
        pace=own(fitted.pace, "K"),
        spread=own(fitted.spread, "degC d"),
        # What was fitted is this strain, whatever it is called.
        cultivar_spread=own(0.0, "degC d"),
    )
    # As with a cultivar's offset, a plant that blooms on a smaller sum hurries through its buds too.
    hurry = min(fitted.value / (fitted.scale * cover.bloom.requirement.value), 1.0)
    before = {name: getattr(cover.stages, name) for name in ("bud", "first_flower", "bloom_10")}
    stages = {name: _scaled(value, fitted.scale * hurry) for name, value in before.items()}
    others = tuple(known for known in cover.cultivars if known.name.casefold() != calibration.cultivar.casefold())
    cultivar = Cultivar(name=calibration.cultivar, group="own records", offset=own(0.0, "d"))
    return replace(
        cover,
        bloom=bloom,
        stages=replace(cover.stages, **stages),
        cultivars=(*others, cultivar),
        confidence="own records",
    )


def _scaled(cited: CitedValue, factor: float) -> CitedValue:
    value = cited.value * factor
    return (
        cited if factor == 1 else replace(cited, value=value, printed=f"{value:.4g} {cited.unit}", low=None, high=None)
    )


# --- the file -------------------------------------------------------------------------------------

_HEAD = """\
The bloom of {what}, fitted to own records.
Written by covercrop calibrate; run it again rather than edit it.
A field uses it with a line in [field.cover]:  calibration = "{name}"
Sums in degC d (25 % bloom, counted from emergence), pace and temperatures in
K and degC, day lengths in hours; 80 % interval from low to high.
"""


def write_calibration(path: Path, calibration: Calibration) -> None:
    """Write the file, whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        May hold an earlier calibration, which is replaced.
    calibration : Calibration

    Raises
    ------
    ParameterError
        If another file stands there, or it cannot be written.
    """
    if path.is_dir():
        raise ParameterError(f"{path}: is a folder; give the name of a file in it")
    if path.exists() and not _is_ours(path):
        raise ParameterError(f"{path}: is there already and is no calibration; give another name with `out`")
    catalogue.cover(calibration.cover)
    content = _text(path.name, calibration)
    try:
        with replacing(path) as file:
            file.write(content.encode())
    except OSError as error:
        raise ParameterError(
            f"{path}: cannot be written ({error.strerror}); nothing was changed, check the folder and its permissions"
        ) from None


def _is_ours(path: Path) -> bool:
    try:
        return tomllib.loads(read_whole(path).decode()).get("made_by") == MADE_BY
    except (OSError, ValueError):
        return False


def _text(name: str, calibration: Calibration) -> str:
    import tomlkit

    cover = catalogue.cover(calibration.cover)
    cultivar = " ".join(calibration.cultivar.split())
    what = f"{cover.common_name}{f', {cultivar}' if cultivar else ''}"
    document = tomlkit.document()
    for line in _HEAD.format(what=what, name=name).splitlines():
        document.add(tomlkit.comment("".join(filter(str.isprintable, line))))  # TOML allows nothing else there
    document.add(tomlkit.nl())
    document.update({"made_by": MADE_BY, "schema": SCHEMA, **_plain(calibration)})
    return document.as_string()


def _plain(record: Any) -> dict[str, Any]:
    """A record as a table; what it does not have is left out."""
    values = {field.name: getattr(record, field.name) for field in fields(record)}
    return {
        key: _plain(value) if is_dataclass(value) else round(value, 4) if isinstance(value, float) else value
        for key, value in values.items()
        if value is not None
    }


def read_calibration(path: Path) -> Calibration:
    """A calibration from its file, strictly.

    Parameters
    ----------
    path : pathlib.Path

    Raises
    ------
    ParameterError
        If the file cannot be read, was not written by ``covercrop
        calibrate``, or holds something that it should not.
    """
    again = "write it again with covercrop calibrate"
    try:
        table = tomllib.loads(read_whole(path).decode("utf-8-sig"))
    except FileNotFoundError:
        raise ParameterError(f"{path}: no such file; write it with covercrop calibrate RECORDS.csv -o FILE") from None
    except OSError as error:
        raise ParameterError(f"{path}: cannot be read ({error.strerror})") from None
    except (ValueError, RecursionError) as error:  # neither UTF-8 nor TOML
        raise ParameterError(f"{path}: cannot be read ({error}); {again}") from None
    if table.pop("made_by", None) != MADE_BY:
        raise ParameterError(f"{path}: was not written by covercrop calibrate; name the file that it wrote with -o")
    if (schema := table.pop("schema", None)) != SCHEMA:
        raise ParameterError(f"{path}: schema = {schema!r} is not {SCHEMA}, the one of this version; {again}")
    try:
        calibration = catalogue.build(Calibration, table, str(path))
        cover = catalogue.cover(calibration.cover)
    except ParameterError as error:
        text = str(error)
        raise ParameterError(f"{text if text.startswith(str(path)) else f'{path}: {text}'}; {again}") from None
    requirement, gate = calibration.requirement, calibration.gate
    for place, number, low, high in (
        ("requirement value", requirement.value, 1, 10_000),
        ("requirement se", requirement.se, 0, 10_000),
        ("requirement low", requirement.low, -10_000, requirement.value),
        ("requirement high", requirement.high, requirement.value, 20_000),
        ("requirement spread", requirement.spread, 0, 10_000),
        ("requirement pace", requirement.pace, 0.1, 60),
        ("requirement scale", requirement.scale, 0.05, 20),
        ("gate base", gate.base, -10, 20),
        ("gate optimum", gate.optimum, gate.base + 1, 50),
        ("gate day_length_none", gate.day_length_none, 0, 24),
        ("gate day_length_full", gate.day_length_full, gate.day_length_none + 0.01, 24),
        ("gate cool_days", gate.cool_days, 0, 365),
    ):
        if not (math.isfinite(number) and low <= number <= high):
            raise ParameterError(f"{path}: {place} = {number:g} cannot be; {again}")
    return replace(calibration, cover=cover.key)
