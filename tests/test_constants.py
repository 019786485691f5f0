"""The numbers of the models: cited in one file, used, and said as they are."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from sources import PACKAGE, TREES

from covercrop.base.errors import ParameterError
from covercrop.base.shipped import data_file
from covercrop.parameters import catalogue
from covercrop.parameters.constants import MODELS, read

TEXT = data_file("models.toml").read_text(encoding="utf-8")
VALUES = catalogue.cited_values(MODELS) + [
    (f"maggot peaks {number}", peak) for number, peak in enumerate(MODELS.maggot.peaks, start=1)
]

#: Modules whose numbers decide an answer.
#: Modules outside of ``models`` that hold a model of their own.
ELSEWHERE = ("season/measurements", "beds/nutrients", "beds/spreading", "weather/forecast_error")

#: Numbers that stand in those modules and are none of the models', with the reason.
NOT_OF_A_MODEL = {
    "ABSOLUTE_ZERO": "physics",
    "AUTUMN_DAYS": "how a season is told from the next: the calendar",
    "BBCH": "the codes of the scale",
    "DAYS_OF_SEASON": "the calendar",
    "DEEPEST": "how deep a caller may ask",
    "EIGHTY": "mathematics: the normal quantile of nine in ten",
    "DRAWS": "how finely the members are spread",
    "HALF_YEAR": "the calendar",
    "NO_DAY": "a mark that lies before all days",
    "KG_HA_PER_CM": "centimetres in a metre",
    "K_IN_POTASH": "chemistry: molar masses",
    "LEAST_EFFECTIVE_SHARE": "numerical: when weights are told to have run out",
    "LEAST_REQUIREMENT": "numerical: where the tail of a draw is cut",
    "LEAST_SEED": "numerical: where the tail of a draw is cut",
    "LEAST_PACE": "numerical: where the tail of a draw is cut",
    "LEAST_SHARE": "numerical: where the tail of a draw is cut",
    "LOW_STAND_CM": "centimetres in a metre",
    "MEMBERS": "how many members there are",
    "PLACES": "numerical: a grid",
    "PODS": "a code of the scale",
    "P_IN_PHOSPHATE": "chemistry: molar masses",
    "SEASON_DAYS": "the calendar",
    "SOIL_DAYS": "numerical: how many days a first guess is forgotten in",
    "SOON": "how far one looks first, for speed; the answer is the same",
    "SOON_UP": "how far one looks first, for speed; the answer is the same",
    "STAGE_NAMES": "the codes of the scale",
    "TOLERANCE": "numerical",
    "UNEVEN": "what is said as uneven",
    "TOTAL_EVAPORABLE": "an equation: half of the lower limit",
    "_AGES": "numerical: a grid",
    "ZADOKS": "the codes of the scale",
    "_BLOCK": "how much is held at a time, for speed",
    "_COMMON": "numerical: a grid",
    "_EVAPORATION_LEFT": "bare ground is the unit",
    "_FEW_DAYS": "which way of counting is quicker",
    "_GRID": "numerical: a grid",
    "_LEAF_AREA": "bare ground has no leaves",
    "_LOG_SHARES": "mathematics: the normal distribution",
    "_PRIMES": "mathematics: the points of a sequence",
    "WORKABLE": "the scale of the soil's water, 1 being the lower limit",
    "_SAME": "numerical",
    "_SOON": "how far one looks first, for speed; the answer is the same",
    "_STRETCH": "numerical: how many days are summed at a time",
    # The interval that is shown, and what is said as surprising: choices of what to say.
    "EARLY": "the interval that is shown",
    "MEDIAN": "the interval that is shown",
    "LATE": "the interval that is shown",
    "FIRM_SD": "statistics: where Huber's rule is customarily put",
    "SURPRISING_SD": "what is said as surprising",
    "REFOCUS_WIDER": "numerical: importance sampling",
    "REFOCUS_LEAST": "numerical: importance sampling",
    "REFOCUS_LIMIT": "numerical: importance sampling",
    # Heights of the sun: what is meant by the names.
    "CENTRE": "what the name means",
    "TOP": "what the name means",
    "SUNRISE": "what the name means",
    "CIVIL": "what the name means",
    "NAUTICAL": "what the name means",
    "ASTRONOMICAL": "what the name means",
}


def modules() -> list[Path]:
    return sorted([*(PACKAGE / "models").glob("[!_]*.py"), *(PACKAGE / f"{name}.py" for name in ELSEWHERE)])


def assigned(tree: ast.Module) -> Iterator[tuple[list[str], ast.expr]]:
    """Names bound in the module itself, with what they are bound to."""
    for node in tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            yield [name.id for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)], node.value


def has_number(value: ast.expr) -> bool:
    """Whether a number is written out in an expression, but for those in a sentence."""
    if isinstance(value, ast.JoinedStr):
        return False
    if isinstance(value, ast.Constant):
        return isinstance(value.value, int | float) and not isinstance(value.value, bool)
    return any(has_number(child) for child in ast.iter_child_nodes(value) if isinstance(child, ast.expr))


@pytest.mark.parametrize("path", modules(), ids=lambda path: path.stem)
def test_no_model_keeps_a_number_of_its_own(path: Path) -> None:
    """A number of a model stands in models.toml with its origin, or is listed here with the reason why it is none."""
    kept = {name for names, value in assigned(TREES[path]) if has_number(value) for name in names}
    assert kept - NOT_OF_A_MODEL.keys() == set()


def test_the_exceptions_are_there() -> None:
    """No reason outlives its number, and every module that is looked at is found."""
    assert len(modules()) > 15
    named = {
        name for path in modules() for names, value in assigned(TREES[path]) if has_number(value) for name in names
    }
    assert NOT_OF_A_MODEL.keys() - named == set()


def test_every_number_is_used() -> None:
    """What no module asks for does not stand in the file."""
    used = {
        (node.value.attr, node.attr)
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(TREES[path])
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Attribute)
        and isinstance(node.value.value, ast.Name)
        and node.value.value.id == "MODELS"
    }
    kept = {
        (table, key) for table in type(MODELS).__annotations__ for key in type(getattr(MODELS, table)).__annotations__
    }
    assert kept - used == set()


@pytest.mark.parametrize(("path", "value"), VALUES, ids=[path for path, _ in VALUES])
def test_every_number_has_an_origin(path: str, value: catalogue.CitedValue) -> None:
    """A source that is listed, or a reason; what is from memory is not cited."""
    if value.basis == "assumed":
        assert value.reason, path
    else:
        assert catalogue.source(value.source).title
        assert "memory" not in value.locator


def test_no_sentence_writes_a_number_out() -> None:
    """What the output says of a number is made from it; the number of a paper is a name."""
    sentences = [
        (path.stem, part.value)
        for path in PACKAGE.rglob("*.py")
        if path.stem not in ("layout", "materials")  # sizes as they are sold
        for names, value in assigned(TREES[path])
        if {"ASSUMPTIONS", "_ASSUMPTIONS", "_SOIL", "_CLIP", "_HEIGHT"} & set(names)
        for part in ast.walk(value)
        if isinstance(part, ast.Constant) and isinstance(part.value, str) and " " in part.value
    ]
    assert len(sentences) > 20
    assert [said for said in sentences if re.search(r"\d", said[1].replace("Paper 56", ""))] == []


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[frost]\nhard =", "[frost]\nlight =", "models.toml frost: unknown key 'light'"),
        ("[frost]\n", "[frosts]\n", "models.toml: unknown key 'frosts'"),
        ('value = 28, unit = "degF"', 'value = 28, unit = "degR"', "models.toml frost hard: unknown unit 'degR'"),
        (
            'value = 1080, unit = "degF d", source = "varenhorst2024"',
            'value = 1080, unit = "degF d"',
            "peaks 2: a stated",
        ),
    ],
)
def test_the_file_is_read_strictly(old: str, new: str, message: str) -> None:
    """A mistake in the file is named with its table and key."""
    assert TEXT.count(old) == 1
    with pytest.raises(ParameterError, match=re.escape(message)):
        read(TEXT.replace(old, new))
