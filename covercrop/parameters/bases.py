"""How many of the shipped numbers rest on what: counted from the files, so that what is said of them stays true."""

from __future__ import annotations

import tomllib
from collections import Counter
from typing import TYPE_CHECKING, Any

from covercrop.base.records import BASES
from covercrop.base.shipped import data_file

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

#: What the parts of a cover are called in the table; a part that is not named keeps its key.
_OF_COVERS = {
    "emergence": "covers: emergence",
    "bloom": "covers: bloom and its stages",
    "stages": "covers: bloom and its stages",
    "cultivars": "covers: cultivars",
    "seed": "covers: seed",
    "winter": "covers: winter",
    "growth": "covers: dry matter and nitrogen",
    "residue": "covers: residue",
    "sowing": "covers: sowing",
}

#: What the other files are called.
_FILES = {
    "companions.toml": "companions",
    "crops.toml": "crops",
    "amendments.toml": "manures and composts",
    "models.toml": "the models",
}


def count_bases() -> dict[str, Counter[str]]:
    """How many values of each kind rest on what.

    Returns
    -------
    dict of str to Counter
        By kind, in the order of the files: how often each of :data:`covercrop.base.records.BASES`.
    """
    found: dict[str, Counter[str]] = {}
    for cover in _tables("covers.toml").values():
        for part, table in cover.items():
            for basis in _bases(table):
                found.setdefault(_OF_COVERS[part], Counter())[basis] += 1
    for file, kind in _FILES.items():
        found[kind] = Counter(_bases(_tables(file)))
    return found


def basis_table(before: Mapping[str, tuple[int, int]]) -> str:
    """The table of the guide: what the values rest on, by kind, before and now.

    Parameters
    ----------
    before : mapping of str to (int, int)
        By kind, how many were assumed once, of how many.

    Returns
    -------
    str
        A table in Markdown, with a row for all.
    """
    counted = count_bases()
    whole: Counter[str] = sum(counted.values(), Counter())
    once = (sum(assumed for assumed, _ in before.values()), sum(count for _, count in before.values()))
    sourced = [basis for basis in BASES if basis != "assumed"]
    heads = ("values of", "all", *(basis.replace("-", " ") for basis in sourced), "assumed", "before")
    lines = [heads, ("---",) * len(heads)]
    lines += [
        (
            kind,
            str(now.total()),
            *(str(now[basis]) for basis in sourced),
            _part(now["assumed"], now.total()),
            _part(*then),
        )
        for kind, then, now in (*((kind, before[kind], counted[kind]) for kind in counted), ("all", once, whole))
    ]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _part(part: int, whole: int) -> str:
    return f"{part} ({part / whole:.0%})" if whole else "-"


def _tables(name: str) -> dict[str, Any]:
    return tomllib.loads(data_file(name).read_text(encoding="utf-8"))


def _bases(table: Any) -> Iterator[str]:
    """The basis of every value below a table; what is no table has none."""
    if isinstance(table, dict):
        if "basis" in table:
            yield table["basis"]
        else:
            for inner in table.values():
                yield from _bases(inner)
    elif isinstance(table, list):
        for inner in table:
            yield from _bases(inner)
