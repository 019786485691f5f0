"""Imports run one way only, and what is outside stays at the edges."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "covercrop"
LAYERS = (
    ("errors", "reading"),
    ("units", "records", "resources", "replacement", "field_table", "streams", "spreadsheet"),
    ("traits", "measures"),
    ("parameters", "degree_days", "daylength", "soil_temperature", "soil_water", "weather"),
    ("phenology", "termination", "decomposition", "hazards", "growth", "calibration", "bed_tables", "layout"),
    ("ensemble", "plantback", "season", "amendments", "supplies"),
    ("measured", "doubts"),
    ("stand", "ground", "progress", "shopping", "advice", "bloom_fit", "field_weather", "field_notes", "tabulate"),
    ("ending", "remarks"),
    ("course", "sowing_dates"),
    ("plan", "autumn", "hindcast", "calibrate"),
    ("region", "agenda", "bloom_records"),
    ("needs",),
    ("beds",),
    ("render",),
    ("commands",),
    ("cli",),
    ("__main__",),
)
RANK = {module: rank for rank, layer in enumerate(LAYERS) for module in layer}
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def module_of(path: Path) -> str:
    """The part of covercrop that a file belongs to: its module or its subpackage."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports(tree: ast.AST) -> Iterator[str]:
    """Dotted names of everything imported, wherever the statement stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            dots = "." * node.level
            yield from (f"{dots}{node.module or ''}.{alias.name}" for alias in node.names)


def faults(source: str, importer: str) -> list[str]:
    """Imports in a module of the package that do not run towards a lower layer."""
    found = []
    for name in imports(ast.parse(source)):
        if name.startswith("."):
            found.append(f"{name} is relative")
        elif name.split(".")[0] == "covercrop":
            target = [*name.split("."), ""][1]
            if target == "__version__" or (
                target == importer and importer in ("weather", "region", "render", "commands")
            ):
                continue
            if target not in RANK:
                found.append(f"{name} has no layer")
            elif RANK[target] >= RANK[importer]:
                found.append(f"{name} is not below {importer}")
    return found


def test_every_module_has_a_layer() -> None:
    """A module that stands in no layer fails, so that the order is never silently incomplete."""
    assert len(MODULES) >= 5
    assert {module_of(path) for path in MODULES} <= RANK.keys()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_downwards(path: Path) -> None:
    """A module imports only from lower layers, or from its own package in weather/ and render/."""
    assert faults(path.read_text(encoding="utf-8"), module_of(path)) == []


@pytest.mark.parametrize(
    ("source", "importer", "fault"),
    [
        ("from covercrop.season.plan import plan", "phenology", "covercrop.plan.plan is not below phenology"),
        ("def f():\n    import covercrop.cli.main", "plan", "covercrop.cli.main is not below plan"),
        (
            "from covercrop.base import units; from covercrop.field import file as season",
            "season",
            "covercrop.season is not below season",
        ),
        ("from covercrop.base.units import M_PER_FT", "records", "covercrop.units.M_PER_FT is not below records"),
        ("from . import units", "plan", "..units is relative"),
        ("from covercrop import nothing", "plan", "covercrop.nothing has no layer"),
    ],
)
def test_a_fault_is_seen(source: str, importer: str, fault: str) -> None:
    """The check itself catches an import upwards, sideways, inside a function, relative or unknown."""
    assert faults(source, importer) == [fault]


def test_one_module_speaks_to_the_weather_service() -> None:
    """Only weather/stations.py imports meteostat, so that the rest works without a network."""
    users = {
        path.relative_to(PACKAGE).as_posix()
        for path in MODULES
        for name in imports(ast.parse(path.read_text(encoding="utf-8")))
        if name.split(".")[0] == "meteostat"
    }
    assert users <= {"weather/stations.py"}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_slow_packages_wait_until_they_are_needed(path: Path) -> None:
    """Outside weather/ and render/ nothing slow is imported at module level: starting takes no longer than numpy."""
    slow = {"pandas", "scipy", "meteostat", "rich", "icalendar", "matplotlib", "jinja2", "markupsafe"}
    slow |= {"xarray", "dask", "distributed", "cftime", "netCDF4"}
    if module_of(path) in ("weather", "render"):
        slow -= {"pandas", "rich"}
    statements = [
        node
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    at_start = {name.split(".")[0] for statement in statements for name in imports(statement)}
    assert at_start & slow == set()
