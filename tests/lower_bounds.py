"""The lower bounds of pyproject.toml, installed and used: ``python tests/lower_bounds.py [core] [EXTRA ...]``.

For the core and for each extra (or those named), a fresh environment of the oldest Python that is supported gets
every package that pyproject.toml declares for it in the oldest release that it allows, and the project as a wheel.
What these packages need themselves is chosen by pip, as for anybody: mostly the newest.  Then

* the demonstration is run there, and every command that the extra brings, in a folder elsewhere: each must end as it
  should, write what it should, and leave nothing on standard error;
* with the core alone, the commands of the extras must say in one line what to install, and write nothing;
* with ``test``, the quick tests named below run on the tree, warnings being errors as always;
* with ``dev``, style and types are checked.  What they say depends on how new the packages are that are checked
  against, so only what ``dev`` brings of its own is held at its bound there.

Prints what was installed, what came of each step and how long it took; leaves with 1 if anything failed.  It needs a
package index, and changes nothing outside a temporary folder.
"""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
import sys
import tempfile
import textwrap
import time
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

REPOSITORY = Path(__file__).resolve().parent.parent
CORE, BUILD = "core", "build-system"

# Tests that touch every package at least once: reading weather, the stations' client and its server, grids in Zarr and
# NetCDF on Dask's workers, report and charts, calendar, notes, properties, and the other libraries compared with.
QUICK = (
    "tests/test_units.py",
    "tests/test_ensemble.py",
    "tests/test_degree_days.py",
    "tests/test_weather_files.py",
    "tests/test_weather_table.py",
    "tests/test_weather_stations.py",
    "tests/test_field_notes.py",
    "tests/test_supplies.py",
    "tests/test_calendar.py",
    "tests/test_report.py",
    "tests/test_region.py",
    "tests/test_daylength.py::test_polar_day_and_night_last_as_long_as_observed",
    "tests/test_other_library.py",
    "tests/test_agenda.py::test_the_first_frosts_of_a_real_place",
    "tests/test_cli.py::test_screens",
    "tests/test_beds_command.py::test_the_drawing_is_written_whole",
    "tests/test_report_browser.py::test_accessibility",
    "tests/test_report_browser.py::test_a_sheet_in_every_state",
    "tests/test_notebooks.py::test_it_runs[1-what-a-degree-day-is]",
    "tests/test_packaging.py::test_the_wheel_holds_the_program_and_its_data_only",
)

# A small invented grid, in both forms that `region` reads.
GRID = "import invented; g = invented.grid(2, 2); g.to_netcdf('tas.nc'); g.to_zarr('tas.zarr', consolidated=False)"
SHAPES = (
    "from covercrop.render.figures.outlines import have_outlines, outlines; "
    "assert have_outlines() and outlines((-90.0, 35.0, -80.0, 42.0))"
)
ASKED = "--cover crimson-clover --sown 09-20 --crop summer-squash"

NOTEBOOKS = sorted((REPOSITORY / "notebooks").glob("*.ipynb"))
ROW = "{:10} {:>9}  {:>6}  {:>6}  {:>12}  {:>6}"
INDENT = {"initial_indent": "  ", "subsequent_indent": "  "}


class BoundError(Exception):
    """A bound that cannot be used, or an environment that cannot be made."""


@dataclass(frozen=True)
class Step:
    """One thing that is done in an environment."""

    what: str  # as it is shown
    command: tuple[str, ...]  # after the environment's Python
    makes: tuple[str, ...] = ()  # what it must have written, in the folder that it runs in
    shows: str = ""  # the recorded screen that it must print
    refused: str = ""  # where it must end with status 1, one line and nothing written: a part of that line
    quiet: bool = True  # whether standard error must stay empty
    on_the_tree: bool = False  # whether it runs at the top of the repository, not in a folder elsewhere


@dataclass(frozen=True)
class Outcome:
    """What came of a step."""

    step: Step
    seconds: float
    trouble: str  # empty if none
    closing: str  # the last line that it printed


# --- what is declared -----------------------------------------------------------------------------


def bound(text: str, place: str) -> tuple[str, str]:
    """The name and the lower bound of a requirement, refused if it has none.

    Parameters
    ----------
    text : str
        As it stands in pyproject.toml.
    place : str
        The extra that it stands in.

    Raises
    ------
    BoundError
        If it has a marker, an address or extras, or not exactly one ``>=``.
    """
    requirement = Requirement(text)
    lowest = [clause.version for clause in requirement.specifier if clause.operator == ">="]
    if requirement.marker or requirement.url or requirement.extras or len(lowest) != 1:
        raise BoundError(f"pyproject.toml, {place}: {text!r} has no lower bound to install; write it as name>=1.2")
    return canonicalize_name(requirement.name), lowest[0]


def lower_bounds(project: Mapping[str, Any], *, own: bool = False) -> dict[str, dict[str, str]]:
    """The lower bound of every package, for the core and for each extra together with the core.

    Parameters
    ----------
    project : Mapping[str, Any]
        What pyproject.toml holds.
    own : bool
        Only what stands in the extra itself.

    Raises
    ------
    BoundError
        If a package has no lower bound or two, or an extra leads to one that is not there or back to itself.
    """
    about = project["project"]
    name = canonicalize_name(about["name"])
    listed: dict[str, list[str]] = {CORE: about["dependencies"], **about.get("optional-dependencies", {})}

    def gather(group: str, inside: tuple[str, ...]) -> dict[str, str]:
        if group not in listed:
            raise BoundError(f"pyproject.toml, {inside[-1]}: there is no extra {group!r}")
        if group in inside:
            raise BoundError(f"pyproject.toml, {group}: the extra leads back to itself")
        found: dict[str, str] = {}
        for text in listed[group]:
            requirement = Requirement(text)
            if canonicalize_name(requirement.name) != name:
                add(found, dict([bound(text, group)]), group)
            elif not own:
                for extra in sorted(requirement.extras):
                    add(found, gather(extra, (*inside, group)), group)
        return found

    built = dict(bound(text, BUILD) for text in project["build-system"]["requires"])
    every: dict[str, dict[str, str]] = {}
    for group in listed:
        every[group] = gather(group, ())
        if not own and group != CORE:
            add(every[group], gather(CORE, ()), group)
        add(dict(every[group]), built, group)  # which is not installed with it, but has one bound too
    return every


def add(found: dict[str, str], further: Mapping[str, str], place: str) -> None:
    """Take further bounds in; a package with another bound than it has already is refused."""
    for name, version in further.items():
        if Version(found.setdefault(name, version)) != Version(version):
            raise BoundError(f"pyproject.toml, {place}: {name} is bounded by {found[name]} and by {version}; give one")


def astray(pins: Mapping[str, str], installed: Mapping[str, str]) -> list[str]:
    """Of the packages that are pinned, those that are installed in another release, or not at all."""
    return [
        f"{name} is {installed.get(name, 'missing')}, not {version}"
        for name, version in pins.items()
        if name not in installed or Version(installed[name]) != Version(version)
    ]


# --- what is done ---------------------------------------------------------------------------------


def program(line: str, *makes: str, shows: str = "", refused: str = "") -> Step:
    """The program itself, as it is typed."""
    return Step(f"covercrop {line}", ("-m", "covercrop", *shlex.split(line)), makes, shows, refused)


def tool(line: str, *, quiet: bool = True, on_the_tree: bool = True) -> Step:
    """Another program, as a module of the environment's Python."""
    return Step(line, ("-m", *shlex.split(line)), quiet=quiet, on_the_tree=on_the_tree)


#: What every environment has to do.
DEMONSTRATION = (program("ready", shows="ready.txt"),)

#: What each brings; those that it takes in bring theirs too.
BRINGS: dict[str, tuple[Step, ...]] = {
    CORE: (
        program("ready --full --json"),
        program("ready --on 2026-05-05", shows="ready_may.txt"),
        program("sow --cover crimson-clover hairy-vetch winter-pea", shows="sow.txt"),
        program("calendar", shows="calendar.txt"),
        program("weather", shows="weather.txt"),
        program("beds --svg beds.svg", "beds.svg"),
        program("hindcast"),
        program("calibrate -o mine.toml", "mine.toml"),
        program("calendar -o none.ics", refused="pip install 'covercrop[calendar]' brings"),
        program("report -o none.html", refused="pip install 'covercrop[report]' brings"),
        program("report --chart season -o none.svg", refused="pip install 'covercrop[report]' brings"),
        program(f"region tas.nc -o none.nc {ASKED}", refused="pip install 'covercrop[region]' brings"),
    ),
    "calendar": (program("calendar -o dates.ics", "dates.ics"),),
    "report": (
        program("report -o page.html", "page.html"),
        program("report --chart season --field 'Ford meadow' -o season.svg", "season.svg"),
        program("report --chart window --field 'Ford meadow' -o window.png", "window.png"),
    ),
    "region": (
        Step("an invented grid", ("-c", GRID), ("tas.nc", "tas.zarr")),
        program(f"region tas.nc -o answer.nc --map answer.png {ASKED} --workers 1", "answer.nc", "answer.png"),
        program(f"region tas.nc -o answer.zarr {ASKED} --workers 2", "answer.zarr"),
        program(f"region tas.zarr -o again.zarr {ASKED}", "again.zarr"),
    ),
    "outlines": (
        program(f"region tas.nc -o none.nc {ASKED}", refused="pip install 'covercrop[region]' brings"),
        Step("the shapes that it brings", ("-c", SHAPES)),
    ),
    "notebooks": (
        tool("jupyter lab --version", on_the_tree=False),
        tool("jupyter execute " + " ".join(f"notebooks/{path.name}" for path in NOTEBOOKS), quiet=False),
    ),
    "test": (tool(f"pytest -q -p no:cacheprovider {' '.join(QUICK)}"),),
    "dev": (
        tool("ruff check --no-cache ."),
        tool("ruff format --no-cache --check ."),
        tool(f"mypy --cache-dir={os.devnull}"),
    ),
}


def steps(group: str) -> tuple[Step, ...]:
    """What is done with the core or an extra.

    Raises
    ------
    BoundError
        If nobody has said what an extra brings.
    """
    if group not in BRINGS:
        raise BoundError(f"{Path(__file__).name}: say in BRINGS what is to be run with the extra {group!r}")
    return (*DEMONSTRATION, *BRINGS[group])


def perform(step: Step, python: Path, folder: Path) -> Outcome:
    """Do one step with an environment's Python, in a folder."""
    kept = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    kept |= {"PYTHONNOUSERSITE": "1", "PYTHONDONTWRITEBYTECODE": "1", "COLUMNS": "80", "NO_COLOR": "1"}
    kept["PATH"] = os.pathsep.join((str(python.parent), kept.get("PATH", "")))
    if step.command[0] == "-c":
        kept["PYTHONPATH"] = str(REPOSITORY / "tests")
    before = set(folder.iterdir())
    began = time.perf_counter()
    done = subprocess.run(
        [str(python), *step.command],
        cwd=REPOSITORY if step.on_the_tree else folder,
        env=kept,
        capture_output=True,
        text=True,
        check=False,
    )
    seconds = time.perf_counter() - began
    written = {path.name for path in set(folder.iterdir()) - before}
    said = [line for line in (done.stdout + done.stderr).splitlines() if line.strip()]
    return Outcome(step, seconds, trouble(step, done, written), said[-1].strip() if said else "")


def trouble(step: Step, done: subprocess.CompletedProcess[str], written: set[str]) -> str:
    """What is wrong with what a step did: empty if nothing is."""
    told = "\n".join((done.stdout + done.stderr).splitlines()[-40:])
    if step.refused:
        lines = done.stderr.splitlines()
        if (done.returncode, len(lines), done.stdout, written) == (1, 1, "", set()) and step.refused in lines[0]:
            return ""
        return (
            f"should have been refused by one line with {step.refused!r}, and status 1; got {done.returncode}:\n{told}"
        )
    if done.returncode:
        return f"ended with status {done.returncode}:\n{told}"
    if step.quiet and done.stderr:
        return f"wrote to standard error:\n{done.stderr.strip()}"
    missing = [name for name in step.makes if name not in written]
    if missing:
        return f"did not write {', '.join(missing)}"
    if step.shows and done.stdout != (REPOSITORY / "tests" / "golden" / step.shows).read_text(encoding="utf-8"):
        return f"printed another screen than tests/golden/{step.shows}"
    return ""


# --- where it is done -----------------------------------------------------------------------------


def oldest_python(project: Mapping[str, Any]) -> str:
    """A Python of the oldest release that is supported.

    Raises
    ------
    BoundError
        If there is none here: bounds are only promised to go together there.
    """
    _, version = bound(f"python{project['project']['requires-python']}", "requires-python")
    if Version(version).release == sys.version_info[:2]:
        return sys.executable
    found = shutil.which(f"python{version}")
    if found is None or subprocess.run([found, "-c", ""], capture_output=True, check=False).returncode:
        raise BoundError(f"no python{version} is here, the oldest that pyproject.toml supports; install it first")
    return found


def run(*command: str | Path) -> str:
    """Run a command of making an environment; what it prints."""
    done = subprocess.run([str(part) for part in command], capture_output=True, text=True, check=False)
    if done.returncode:
        told = "\n".join(line for line in done.stderr.splitlines() if "WARNING" not in line)
        raise BoundError(f"{' '.join(map(str, command[1:]))}\n{told.strip() or done.stdout.strip()}")
    return done.stdout


def environment(place: Path, base: str, pins: Mapping[str, str]) -> tuple[Path, Path]:
    """An empty environment, and the file that holds pip to the pins there: its Python, and that file."""
    run(base, "-m", "venv", place)
    held = place / "pins.txt"
    held.write_text("".join(f"{name}=={version}\n" for name, version in pins.items()), encoding="utf-8")
    return place / ("Scripts" if os.name == "nt" else "bin") / "python", held


def install(python: Path, held: Path, wheel: Path, group: str, pins: Mapping[str, str]) -> dict[str, str]:
    """Install the wheel with an extra at its bounds; every release that is there now.

    Raises
    ------
    BoundError
        If the bounds do not go together, or pip installed anything but them.
    """
    wanted = f"covercrop @ {wheel.as_uri()}" if group == CORE else f"covercrop[{group}] @ {wheel.as_uri()}"
    # pip compiles them: what Python warns of while it compiles an old module is no fault of the test that imports it.
    run(python, "-m", "pip", "install", "-q", "-c", held, wanted)
    run(python, "-m", "pip", "check")
    there = json.loads(run(python, "-m", "pip", "list", "--format", "json"))
    installed = {canonicalize_name(package["name"]): package["version"] for package in there}
    wrong = astray(pins, installed)
    if wrong:
        raise BoundError(f"not as pinned: {'; '.join(wrong)}")
    return installed


def build(folder: Path, base: str, project: Mapping[str, Any]) -> Path:
    """The project as a wheel, built by what it is built with in its oldest release."""
    pins = dict(bound(text, BUILD) for text in project["build-system"]["requires"])
    python, held = environment(folder / BUILD, base, pins)
    run(python, "-m", "pip", "install", "-q", *held.read_text(encoding="utf-8").split())
    run(python, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", folder / "wheel", REPOSITORY)
    (wheel,) = (folder / "wheel").glob("*.whl")
    say(f"build: {', '.join(held.read_text(encoding='utf-8').split())} made {wheel.name}")
    return wheel


def say(*lines: str) -> None:
    """Print at once, so that one can watch."""
    print(*lines, sep="\n", flush=True)  # noqa: T201  a script


def try_out(group: str, pins: Mapping[str, str], wheel: Path, base: str, folder: Path) -> tuple[float, list[Outcome]]:
    """Install one group, do its steps and show what came of it: the seconds of the installation, and the outcomes."""
    began = time.perf_counter()
    python, held = environment(folder / group, base, pins)
    installed = install(python, held, wheel, group, pins)
    took = time.perf_counter() - began
    scratch = folder / f"{group}-scratch"
    scratch.mkdir()
    say("", f"{group}: {len(pins)} packages at their bounds, {len(installed) - len(pins)} below them; {took:.0f} s")
    say(*textwrap.wrap(", ".join(f"{name} {installed[name]}" for name in sorted(pins)), 100, **INDENT))
    outcomes = []
    for step in steps(group):
        outcome = perform(step, python, scratch)
        outcomes.append(outcome)
        say(f"  {'FAILED' if outcome.trouble else 'passed'} {outcome.seconds:6.1f} s  {shorten(step.what)}")
        if outcome.trouble:
            say(textwrap.indent(outcome.trouble, "      "))
        elif "pytest" in step.command:
            say(f"      {outcome.closing}")
    return took, outcomes


def shorten(text: str) -> str:
    """So much of a command as fits on a line."""
    return text if len(text) <= 82 else f"{text[:79]}..."


def main(arguments: Sequence[str]) -> int:
    """Try out the groups that are named, or all; 1 if anything failed."""
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))
    rows, failed = [], False
    try:
        every, own = lower_bounds(project), lower_bounds(project, own=True)
        unknown = [name for name in arguments if name not in every]
        if unknown:
            raise BoundError(f"unknown {unknown[0]!r}; there are {', '.join(every)}")
        base = oldest_python(project)
        say(run(base, "--version").strip())
        with tempfile.TemporaryDirectory(prefix="lower-bounds-") as temporary:
            folder = Path(temporary)
            wheel = build(folder, base, project)
            for group in arguments or every:
                pins = own[group] if group == "dev" else every[group]
                try:
                    took, outcomes = try_out(group, pins, wheel, base, folder)
                except BoundError as error:
                    failed = True
                    say("", f"{group}: FAILED to install", textwrap.indent(str(error), "      "))
                    rows.append((group, len(pins), "-", "-", "-", "-"))
                    continue
                wrong = sum(bool(outcome.trouble) for outcome in outcomes)
                failed = failed or bool(wrong)
                spent = sum(outcome.seconds for outcome in outcomes)
                rows.append((group, len(pins), len(outcomes) - wrong, wrong, f"{took:.0f} s", f"{spent:.0f} s"))
                shutil.rmtree(folder / group)
    except BoundError as error:
        say(str(error))
        return 1
    say("", ROW.format("", "at bounds", "passed", "failed", "installed in", "run in"))
    say(*(ROW.format(*row) for row in rows))
    say("", "the lower bounds do not all work" if failed else "the lower bounds work")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
