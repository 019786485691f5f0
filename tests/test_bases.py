"""What the shipped numbers rest on, counted, and the guide's table of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from covercrop.base.records import BASES
from covercrop.parameters import catalogue
from covercrop.parameters.bases import basis_table, count_bases
from covercrop.parameters.companions import companions
from covercrop.parameters.constants import MODELS

PAGE = Path(__file__).resolve().parent.parent / "covercrop" / "guide" / "values.md"

#: By kind, how many were assumed in 0.3.0, of how many.
BEFORE = {
    "covers: emergence": (16, 24),
    "covers: bloom and its stages": (140, 168),
    "covers: seed": (43, 48),
    "covers: cultivars": (18, 32),
    "covers: winter": (31, 36),
    "covers: residue": (47, 48),
    "covers: sowing": (35, 48),
    "covers: dry matter and nitrogen": (84, 96),
    "companions": (0, 0),
    "crops": (58, 184),
    "manures and composts": (31, 45),
    "the models": (53, 92),
}


def test_the_page_has_the_table_as_it_is(request: pytest.FixtureRequest) -> None:
    """The function writes the table, and the page repeats it."""
    head, old, tail = cut(PAGE.read_text(encoding="utf-8"))
    if request.config.getoption("--update-golden"):
        PAGE.write_text(head + basis_table(BEFORE) + tail, encoding="utf-8")
        return
    assert old == basis_table(BEFORE), "pytest tests/test_bases.py --update-golden writes it"


def cut(page: str) -> tuple[str, str, str]:
    """A page before its table, the table, and the rest."""
    start = page.index("| values of |")
    end = page.index("\n\n", start) + 1
    return page[:start], page[start:end], page[end:]


def test_every_value_is_counted_once() -> None:
    """As many as the records hold, and the three peaks of the maggot's flies, which are a list of values."""
    records = [
        *map(catalogue.cover, catalogue.cover_names()),
        *companions(),
        *map(catalogue.crop, catalogue.crop_names()),
        *map(catalogue.material, catalogue.material_names()),
        MODELS,
    ]
    held = [value.basis for record in records for _, value in catalogue.cited_values(record)]
    held += [peak.basis for peak in MODELS.maggot.peaks]
    counted = count_bases()
    assert {basis: sum(kind[basis] for kind in counted.values()) for basis in BASES} == {
        basis: held.count(basis) for basis in BASES
    }
    assert counted.keys() == BEFORE.keys()


def test_no_more_than_55_in_100_are_assumed() -> None:
    """In the covers, crops and manures, of which 503 of 729 were, and with the models too."""
    counted = count_bases()
    for kinds in (counted.keys(), counted.keys() - {"the models"}):
        assumed = sum(counted[kind]["assumed"] for kind in kinds)
        assert assumed / sum(counted[kind].total() for kind in kinds) <= 0.55
    assert sum(assumed for kind, (assumed, _) in BEFORE.items() if kind != "the models") == 503
    assert sum(count for kind, (_, count) in BEFORE.items() if kind != "the models") == 729


def test_a_crop_model_is_called_one() -> None:
    """A value of a crop model's file has that basis, and that basis has no other source; the output repeats it."""
    records = [*map(catalogue.cover, catalogue.cover_names()), *map(catalogue.crop, catalogue.crop_names()), MODELS]
    values = [value for record in records for _, value in catalogue.cited_values(record)]
    settings = [value for value in values if value.basis == "model-setting"]
    assert settings == [value for value in values if value.source and of_a_model(value.source)]
    assert all(value.doubt.startswith("a crop model's setting, no measurement (") for value in settings)
    assert {value.doubt for value in values if value.basis in ("measured", "converted", "stated")} == {""}


def of_a_model(key: str) -> bool:
    return catalogue.source(key).kind == "crop model"
