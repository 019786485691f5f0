"""Nothing is decided where it is only shown: ``render/`` holds no threshold, but of its own layout."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from sources import PACKAGE, TREES

RENDER = PACKAGE / "render"

#: Numbers with a name that a module may have: sizes of type and paper, columns and letters, what is too faint to draw,
#: versions of a form.  No chance, no number of days, no stage.
NAMED = {
    "data.machine": {"SCHEMA"},
    "figures.bed_sheets": {"SCALES", "PAPER", "_SHEETS", "_MARGIN", "_HEADING", "_FOOTING", "_FINEST", "_REACH"},
    "figures.beds": {"_STEPS", "MOST_LINES", "CORNER_LINES", "CORNER_COLUMNS", "_SKEWED", "_ROUND"},
    "figures.canvas": {"WIDTH", "EDGE", "TEXT", "LINE", "SHOWN_DPI", "BEHIND", "_MONTH_WIDE", "_DAY_WIDE"},
    "figures.chances": {"_SHARES", "_HEAD", "_PANEL", "_DAYS", "_WANTS"},
    "figures.charts": {"_LETTER"},
    "figures.key": {"_MARK", "_FILLED", "LIKELY", "ENDING", "VISIT"},
    "figures.limits": {"_PITCH", "_GUTTER", "_DATED", "_HEAD", "_DAYS"},
    "figures.maps": {"_WIDE", "_BENEATH", "_AROUND", "_ROOM", "_MARKS", "_NAME", "_LETTER", "_UNRIPE"},
    "figures.season": {"_SUMS", "_HEAD", "_PANEL", "_MONTHS", "_ROW", "_HUMP"},
    "figures.spans": {"LEAST_DRAWN", "_THICK", "_WAITING"},
    "figures.pen": {"POINTS", "_CODES", "_SIMPLER", "_CURVE", "_CIRCLE", "USUAL", "_LETTER", "_TALL", "_BELOW"},
    "figures.svg": {"PNG_DPI"},
    "figures.timeline": {"_STRIP", "_MONTHS", "_BEFORE", "_BESIDE"},
    "figures.winter": {"_DEGREES", "_HEAD", "_PANEL", "_MONTHS", "_SNOW", "_DASHES"},
    "page.report": {"MOST_PRINTED", "CLAMPED", "PARAGRAPH"},
    "figures.outlines": {"_POLYGON", "_HEADER", "_MOST_POINTS", "_LEAST_SHARE", "_MOST_NAMES"},
    "figures.springs": {"_STRIP", "_THIS", "_APART", "_GUTTER", "_HEAD", "_NAMES", "_LEGEND", "_STEP"},
    "figures.stages": {"_WIDE", "_HIGH", "_LINE", "_AMONG"},
    "page.pocket": {"BLANKS"},
    "page.seasons": {"FEW"},
    "page.sheet": {"SIZES", "_ROOM", "_TITLE", "_WIDE", "_ANSWER", "_SMALL", "_FOOT"},
    "screen.comparison": {"ALL_FROM", "_NARROW"},
    "screen.guide": {"_GAP"},
    "screen.many_fields": {"_NAMED"},
    "screen.sowing": {"LABEL"},
    "screen.strip": {"LABEL", "LEAST_SHOWN"},
    "screen.terminal": {"WIDEST", "WHOLE_FROM", "NARROW"},
}

#: Comparisons with a number that a module may make: where a word or line goes, how a number is rounded or read.
COMPARED = {
    "data.icalendar": {"(on - _last(old)).days <= SEASON_DAYS"},  # how long a file remembers what was withdrawn
    "figures.bed_sheets": {
        "ground.length * 1000 / scale <= PAPER[0]",
        "ground.width * 1000 / scale <= PAPER[1]",
        "part % 2 == 0",
    },
    "figures.beds": {
        "_lines(ground.length, column) <= width - 2",
        "_lines(ground.width, line) <= MOST_LINES",
        "apart <= wide / 2 + 1e-09",
        "columns * column >= ground.length - 1e-06",
        "lines * line >= ground.width - 1e-06",
        "abs(log2(each[1] / each[0]) - 1) <= _SKEWED",
        "min(each[0], each[1] / 2) <= most * _ROUND",
    },
    "figures.canvas": {
        "(middle - free) * wide >= _MONTH_WIDE / 2",
        "(right - left) * 2 >= end - start",
        "min(day - start, end - day) * wide >= _DAY_WIDE / 2 - EDGE",
        "min(middle - first, last - middle) * wide >= _MONTH_WIDE / 2",
    },
    "figures.chances": {"first - 21 <= at(plan.on) <= last"},
    "figures.charts": {"len(name) <= 40"},
    "figures.season": {"at(plan.on) < midwinter + 21"},
    "figures.spans": {"first <= at(day) + 0.5 <= last"},
    "figures.maps": {
        "(high - low) / each <= 6",
        "abs(y - high) > 2 * _NAME * point",
        "percentile == 50",
        "x > 360",
    },
    "figures.springs": {
        "(top - low) / each <= 6",
        "low <= height <= top - 0.07 * (top - low)",
        "max(low, 0) <= each <= top * 0.93",
        "share > 0.5",
        "year % 10 == 0",
    },
    "figures.stages": {"place < 4", "place < 5"},
    "page.sheet": {"len(name) > 38"},
    "screen.region": {"percentile == 50"},
    "screen.terminal": {"len(lists) < 2"},
    "words.phrases": {"0 < share < 0.005", "0.995 < share < 1"},
}

#: None, one and the counting from there decide nothing.
PLAIN = (0, 1)


def numbers(node: ast.AST) -> Iterator[float]:
    """The numbers in an expression that may decide something, places in a text or list left out."""
    if isinstance(node, ast.Constant):
        if type(node.value) in (int, float) and node.value not in PLAIN:
            yield node.value
    elif isinstance(node, ast.Subscript):
        yield from numbers(node.value)
    else:
        for child in ast.iter_child_nodes(node):
            yield from numbers(child)


def drawn_with(tree: ast.Module) -> set[str]:
    """Constants of the module itself and of its neighbours in ``render``, which are held to :data:`NAMED`."""
    borrowed = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("covercrop.render")
        for alias in node.names
    }
    return borrowed | {name for node in tree.body for name in given(node)}


def given(node: ast.stmt) -> set[str]:
    """The names that a statement gives."""
    if not isinstance(node, ast.Assign | ast.AnnAssign):
        return set()
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return {each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)}


def borrowed_in(node: ast.Compare, own: set[str]) -> bool:
    """Whether an order is held against a constant of the models or the season."""
    ordered = any(isinstance(sign, ast.Lt | ast.LtE | ast.Gt | ast.GtE) for sign in node.ops)
    named = {each.id for each in ast.walk(node) if isinstance(each, ast.Name)}
    named |= {each.attr for each in ast.walk(node) if isinstance(each, ast.Attribute)}
    return ordered and any(name.isupper() for name in named - own)


def decisions(tree: ast.Module, module: str) -> list[str]:
    """What a module compares or names that it may not."""
    own = drawn_with(tree)
    compared = {
        ast.unparse(node)
        for node in ast.walk(tree)
        if isinstance(node, ast.Compare) and (any(numbers(node)) or borrowed_in(node, own))
    }
    named = {
        name
        for node in tree.body
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None and any(numbers(node.value))
        for name in given(node)
    }
    return sorted((compared - COMPARED.get(module, set())) | (named - NAMED.get(module, set())))


def name_of(path: Path) -> str:
    """A module by its path below ``render``."""
    return ".".join(path.relative_to(RENDER).with_suffix("").parts)


@pytest.mark.parametrize("path", sorted(RENDER.rglob("*.py")), ids=name_of)
def test_nothing_is_decided_where_it_is_shown(path: Path) -> None:
    """No number that a chance, a date or a stage is held against, of its own or borrowed; those belong below."""
    assert decisions(TREES[path], name_of(path)) == []


def test_the_lists_hold_nothing_that_is_gone() -> None:
    """What may stand does stand, so that no licence outlives its reason."""
    for module, allowed in COMPARED.items():
        tree = TREES[RENDER / f"{module.replace('.', '/')}.py"]
        assert allowed <= {ast.unparse(node) for node in ast.walk(tree) if isinstance(node, ast.Compare)}, module
    for module, allowed in NAMED.items():
        tree = TREES[RENDER / f"{module.replace('.', '/')}.py"]
        assert allowed <= drawn_with(tree), module


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("if plan.planting.ripens < 0.8:\n    pass", ["plan.planting.ripens < 0.8"]),
        ("def said(days): return '' if -3 < days else 'late'", ["-3 < days"]),
        ("LIKELY = 0.8", ["LIKELY"]),
        ("from covercrop.season.ending import POOR\nbad = best.probability < POOR", ["best.probability < POOR"]),
        ("from covercrop.season import ending\nbad = chance < ending.POOR", ["chance < ending.POOR"]),
        ("fair = (0.75, 0.88)\ndef f(held): return held > fair[1]", ["fair"]),
        ("if plan.window.poor and count > 1:\n    text = str(day)[:4] == '2026'", []),
    ],
)
def test_a_decision_is_found(source: str, found: list[str]) -> None:
    """A number, a named one, and one that is borrowed; but not how many there are, nor a piece of text."""
    assert decisions(ast.parse(source), "words.answer") == found
