"""Imports run one way only, between the rooms and inside each, and what is outside stays at the edges."""

from __future__ import annotations

import ast
import importlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from sources import PACKAGE, TREES

#: The rooms from the ground up; those of a line know nothing of each other.
ROOMS: tuple[tuple[str, ...], ...] = (
    ("base",),
    ("guide", "parameters", "teaching"),
    ("weather",),
    ("models",),
    ("field",),
    ("season",),
    ("autumn", "beds", "checking", "region"),
    ("dates",),
    ("render.words",),
    ("render.figures", "render.data"),
    ("render.screen",),
    ("render.page",),
    ("cli",),
)

#: What may import what inside a room: a module only those of the lines above its own.
INSIDE: dict[str, tuple[tuple[str, ...], ...]] = {
    "base": (
        ("arrays", "errors", "marks", "reading", "records", "shipped", "toml_text", "version"),
        ("days", "extras", "replacing", "spreadsheet", "streams", "units"),
        ("kinds", "one_system", "output"),
        ("strict_table",),
    ),
    "guide": (("pages",),),
    "teaching": (("exercises", "figures", "records", "scale", "sliders"),),
    "parameters": (("traits", "bases"), ("catalogue",), ("companions", "constants", "own_bloom")),
    "weather": (
        ("forecast_error", "patience", "quality", "record", "sharing", "sheet", "station_list", "store"),
        ("belief", "gaps", "hemisphere", "one_unit", "outlook"),
        ("daily",),
        ("fetching", "ghcn"),
        ("own_file", "stations"),
    ),
    "models": (
        ("bbch", "daylength", "degree_days", "members", "season_calendar", "spans"),
        ("crown", "decay", "snow", "soil_temperature", "soil_water", "termination"),
        ("decomposition", "frost", "labelled", "maggot", "note_weights", "phenology", "seedling_disease", "winter"),
        ("biomass", "plantback", "ripening"),
        ("cereal", "mixture"),
    ),
    "field": (
        ("checks",),
        ("bed_entries", "ranges"),
        ("entries",),
        ("file", "rows", "weather_source"),
        ("rewriting", "typed"),
        ("add_field", "add_note"),
        ("change_note", "notes_file"),
    ),
    "season": (
        (
            "absent",
            "doubts",
            "ground_part",
            "measurements",
            "planting_part",
            "progress",
            "ripeness",
            "stand_part",
            "start",
        ),
        ("beside",),
        ("advice", "ground", "stand", "wants"),
        ("decision", "in_time", "nitrogen_part", "note_effects"),
        ("ending", "mixture_part"),
        ("chain", "provenance", "window_part", "winter_part"),
        ("absences", "following", "next_step"),
        ("helps",),
        ("plan",),
        ("changes", "columns", "crop_days"),
        ("many",),
        ("adding", "comparison", "noting"),
    ),
    "autumn": (("sowing_dates",), ("frame",), ("relaxations",), ("comparison",), ("many", "verdict")),
    "checking": (
        ("bloom_fit", "degree_day_table", "hindcast", "trend"),
        ("cultivar_fit", "replay", "springs", "verdict"),
        ("bloom_records",),
    ),
    "region": (
        ("classic", "question"),
        ("cells", "stored"),
        ("grid", "part", "places"),
        ("results", "running"),
        ("across", "survey"),
    ),
    "dates": (("agenda",), ("needs",)),
    "beds": (("layout", "lengths", "nutrients"), ("materials", "spreading"), ("loading_list",), ("beds",)),
    "render.words": (
        ("phrases", "stages"),
        ("ending",),
        ("comparison", "mixture"),
        ("answer", "beds", "hindcast", "replay"),
        ("changes", "charts", "reminders", "sowing", "springs", "timeline"),
    ),
    "render.figures": (
        ("bed_sheets", "beds", "outlines", "pen"),
        ("svg",),
        ("canvas", "maps", "stages"),
        ("key",),
        ("spans", "springs", "winter"),
        ("chances", "limits", "season", "timeline"),
        ("charts",),
    ),
    "render.data": (("icalendar", "lists", "machine"), ("beds", "comparison", "sowing")),
    "render.screen": (
        ("strip",),
        ("terminal",),
        ("adding", "beds", "calibration", "comparison", "datebook", "guide", "hindcast"),
        ("many_fields", "region", "replay", "scouting", "sowing"),
    ),
    "render.page": (("pocket", "seasons", "sections", "sheet", "timeline"), ("report",), ("notebook",)),
    "cli": (
        ("shared",),
        ("asking",),
        (
            "add",
            "beds",
            "calendar",
            "calibrate",
            "compare",
            "degree_days",
            "guide",
            "hindcast",
            "known",
            "ready",
            "region",
            "report",
            "scout",
            "sow",
            "weather",
        ),
        ("main",),
    ),
}

FLOOR = {room: floor for floor, rooms in enumerate(ROOMS) for room in rooms}
RANK = {
    f"{room}.{module}": (FLOOR[room], rank)
    for room, lines in INSIDE.items()
    for rank, line in enumerate(lines)
    for module in line
}
#: What stands in no room: the front door may open every room, when asked.
DOORS = {"__init__", "__main__"}
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.name != "__init__.py" and path.stem not in DOORS)


def name_of(path: Path) -> str:
    """A module as its room and its own name."""
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts)


def room_of(module: str) -> str:
    """The room in which a module stands."""
    return module.rpartition(".")[0]


def imports(tree: ast.AST) -> Iterator[str]:
    """Dotted names of everything imported, wherever the statement stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            dots = "." * node.level
            yield from (f"{dots}{node.module or ''}.{alias.name}" for alias in node.names)


def target_of(name: str) -> str:
    """The module of the package that a dotted name leads to; empty for what no module has."""
    parts = name.split(".")[1:]
    return next((found for k in range(len(parts), 0, -1) if (found := ".".join(parts[:k])) in RANK), "")


def faults(tree: ast.Module, importer: str) -> list[str]:
    """Imports in a module of the package that do not run towards a lower floor, or a lower line of its own room."""
    found = []
    for name in imports(tree):
        if name.startswith("."):
            found.append(f"{name} is relative")
        elif name.split(".")[0] == "covercrop":
            target = target_of(name)
            if not target:
                found.append(f"{name} stands in no room")
            elif room_of(target) != room_of(importer) and RANK[target][0] >= RANK[importer][0]:
                found.append(f"{name} is not below {importer}")
            elif room_of(target) == room_of(importer) and RANK[target] >= RANK[importer]:
                found.append(f"{name} is not above {importer} in its room")
    return found


def test_every_module_stands_in_a_room() -> None:
    """A module without a line fails, so that the order is never silently incomplete, and so does a line without one."""
    assert {name_of(path) for path in MODULES} == set(RANK)
    assert set(INSIDE) == set(FLOOR)


def test_nothing_lies_flat() -> None:
    """Beside the rooms the package holds its doors, its licence and the mark of its types, and nothing else."""
    flat = {path.name for path in PACKAGE.iterdir() if path.is_file()}
    assert flat == {"__init__.py", "__main__.py", "py.typed", "LICENSE"}


def test_the_floors_are_few() -> None:
    """The longest chain of imports from room to room, ``render`` being one, is no longer than eleven."""
    below: dict[str, set[str]] = {}
    for path in MODULES:
        importer = name_of(path).split(".")[0]
        targets = {target_of(name) for name in imports(TREES[path])}
        below.setdefault(importer, set()).update({target.split(".")[0] for target in targets if target} - {importer})

    def floor(room: str) -> int:
        return 1 + max((floor(other) for other in below.get(room, ())), default=0)

    assert 2 <= max(map(floor, below)) <= 11


@pytest.mark.parametrize("room", ["render", *INSIDE])
def test_each_room_says_what_lives_there(room: str) -> None:
    """Three lines: what lives in the room, and what may not."""
    text = importlib.import_module(f"covercrop.{room}").__doc__
    assert text is not None
    what, blank, not_here = text.strip().split("\n")
    assert what.endswith(".")
    assert blank == ""
    assert not_here.endswith(".")


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_run_downwards(path: Path) -> None:
    """A module imports only from lower floors, and in its own room only from the lines above its own."""
    assert faults(TREES[path], name_of(path)) == []


@pytest.mark.parametrize(
    ("source", "importer", "fault"),
    [
        (
            "from covercrop.season.plan import plan",
            "models.frost",
            "covercrop.season.plan.plan is not below models.frost",
        ),
        ("def f():\n    import covercrop.cli.main", "season.plan", "covercrop.cli.main is not below season.plan"),
        (
            "from covercrop.weather import daily",
            "parameters.traits",
            "covercrop.weather.daily is not below parameters.traits",
        ),
        (
            "from covercrop.season import plan, stand",
            "season.stand",
            "covercrop.season.plan is not above season.stand in its room",
        ),
        (
            "from covercrop.base.units import M_PER_FT",
            "base.records",
            "covercrop.base.units.M_PER_FT is not above base.records in its room",
        ),
        ("from . import units", "season.plan", "..units is relative"),
        ("from covercrop import nothing", "season.plan", "covercrop.nothing stands in no room"),
    ],
)
def test_a_fault_is_seen(source: str, importer: str, fault: str) -> None:
    """The check itself catches an import upwards, sideways, inside a function, up a room, relative or unknown."""
    assert fault in faults(ast.parse(source), importer)


def test_one_module_speaks_to_the_weather_service() -> None:
    """Only weather/stations.py imports meteostat, so that the rest works without a network."""
    users = {name_of(path) for path in MODULES for name in imports(TREES[path]) if name.split(".")[0] == "meteostat"}
    assert users == {"weather.stations"}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_slow_packages_wait_until_they_are_needed(path: Path) -> None:
    """Outside weather/ and render/ nothing slow is imported at module level: starting takes no longer than numpy."""
    slow = {"pandas", "scipy", "meteostat", "rich", "icalendar", "matplotlib", "jinja2", "markupsafe"}
    slow |= {"xarray", "dask", "distributed", "cftime", "netCDF4", "tomlkit", "cattrs"}
    if name_of(path).split(".")[0] in ("weather", "render"):
        slow -= {"pandas", "rich"}
    statements = [node for node in TREES[path].body if isinstance(node, ast.Import | ast.ImportFrom)]
    at_start = {name.split(".")[0] for statement in statements for name in imports(statement)}
    assert at_start & slow == set()
