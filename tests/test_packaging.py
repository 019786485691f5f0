"""What is built, and that it works where it is installed: everything offline, in temporary folders."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent
SHIPPED = (
    "companions.toml",
    "covers.toml",
    "crops.toml",
    "amendments.toml",
    "sources.toml",
    "demo/fields.toml",
    "demo/weather.csv",
    "demo/README.md",
    "demo/records.csv",
    "demo/squares.toml",
    "models.toml",
    "validation/degree_day_cases.csv",
    "validation/bloom_places.csv",
)

# Run with -I: neither the working directory nor PYTHONPATH nor the user's own packages take part.
PROBE = """
import json, sys
sys.path.insert(0, sys.argv[1])
import covercrop
from covercrop.parameters import catalogue as parameters
from covercrop.base.shipped import data_file, data_path
demo = data_path("demo", "fields.toml", beside=("weather.csv",))
print(json.dumps({
    "package": covercrop.__file__,
    "places": [str(data_file(*name.split("/"))) for name in sys.argv[2:]],
    "sizes": [len(data_file(*name.split("/")).read_bytes()) for name in sys.argv[2:]],
    "covers": parameters.cover_names(),
    "demo": str(demo),
    "demo_sizes": [demo.with_name(name).stat().st_size for name in ("fields.toml", "weather.csv")],
}))
"""

# What the installed command does, without its launcher, which pip does not put on the path here.
START = """
import sys
sys.path.insert(0, sys.argv[1])
from covercrop.cli.main import main
sys.exit(main(["--help"]))
"""


def run(*command: str | Path, cwd: Path) -> str:
    """Run a command away from the repository, with neither index nor network asked for, and return what it prints."""
    environment = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "PYTHONHOME")}
    environment |= {"PIP_NO_INDEX": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist, and the wheel that was built from that sdist."""
    folder = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, REPOSITORY, cwd=folder)
    return folder


@pytest.fixture(scope="module")
def wheel(built: Path) -> Path:
    """The wheel."""
    (only,) = built.glob("*.whl")
    return only


def probe(python: str | Path, place: Path, cwd: Path) -> dict[str, Any]:
    """What a fresh interpreter, started elsewhere, finds with ``place`` in front of its packages."""
    found: dict[str, Any] = json.loads(run(python, "-I", "-c", PROBE, place, *SHIPPED, cwd=cwd))
    assert found["sizes"] == [(REPOSITORY / "data" / name).stat().st_size for name in SHIPPED]
    assert found["demo_sizes"] == [(REPOSITORY / "data" / name).stat().st_size for name in SHIPPED[5:7]]
    assert "crimson-clover" in found["covers"]
    return found


def test_the_wheel_holds_the_program_and_its_data_only(wheel: Path) -> None:
    """The wheel has every module, the shipped data and the licence; no tests, check tables or generators."""
    names = set(zipfile.ZipFile(wheel).namelist())
    modules = {path.relative_to(REPOSITORY).as_posix() for path in (REPOSITORY / "covercrop").rglob("*.py")}
    templates = {f"covercrop/render/page/templates/{name}" for name in ("page.html", "page.css", "card.html")}
    guide = {path.relative_to(REPOSITORY).as_posix() for path in (REPOSITORY / "covercrop" / "guide").glob("*.md")}
    data = {f"covercrop/data/{name}" for name in SHIPPED}
    assert len(guide) > 10
    assert modules | templates | guide | data | {"covercrop/py.typed"} <= names
    assert {name for name in names if name.startswith("covercrop/data/")} == data
    assert {name.split("/")[0].split("-")[0] for name in names} == {"covercrop"}
    assert any(name.endswith(".dist-info/licenses/covercrop/LICENSE") for name in names)


def test_every_parameter_file_is_shipped() -> None:
    """A parameter file added to data/ cannot be forgotten: the wheel's list and this test's list name it."""
    at_hand = {path.name for path in (REPOSITORY / "data").glob("*.toml")}
    assert at_hand <= set(SHIPPED)
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))
    listed = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert listed == {f"data/{name}": f"covercrop/data/{name}" for name in SHIPPED}


def test_the_sdist_holds_the_whole_tree(built: Path) -> None:
    """The sdist carries the tests, all data and the texts, so that it can be built and tested on its own."""
    (sdist,) = built.glob("*.tar.gz")
    with tarfile.open(sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    kept = {
        path.relative_to(REPOSITORY).as_posix()
        for folder in ("covercrop", "data", "tests", "notebooks")
        for path in (REPOSITORY / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and path.parent.name != ".ipynb_checkpoints"
    }
    assert kept | {"README.md", "pyproject.toml"} <= names


def test_an_installed_wheel_finds_its_data(wheel: Path, tmp_path: Path) -> None:
    """Installed by pip, the program reads the data inside the package from any working directory, and starts."""
    place = tmp_path / "place"
    run(sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", place, wheel, cwd=tmp_path)
    found = probe(sys.executable, place, tmp_path)
    assert Path(found["package"]) == place / "covercrop" / "__init__.py"
    assert found["places"] == [str(place / "covercrop" / "data" / name) for name in SHIPPED]
    start = f"import sys; sys.path.insert(0, {str(place)!r}); from covercrop.cli.main import main; "
    start += "sys.exit(main(['--help']))"
    assert "covercrop" in run(sys.executable, "-I", "-c", start, cwd=tmp_path)


def test_a_wheel_works_unopened(wheel: Path, tmp_path: Path) -> None:
    """The bare wheel on the path is enough: data are read out of the archive, and the unpacked demo is cleared away."""
    found = probe(sys.executable, wheel, tmp_path)
    assert found["places"] == [str(wheel / "covercrop" / "data" / name) for name in SHIPPED]
    assert not Path(found["demo"]).exists()


def test_an_editable_install_reads_the_tree(tmp_path: Path) -> None:
    """After `pip install -e`, in an environment of its own, the data are those of the working tree itself."""
    environment = tmp_path / "venv"
    run(sys.executable, "-m", "venv", "--without-pip", environment, cwd=tmp_path)
    python = environment / ("Scripts" if os.name == "nt" else "bin") / "python"
    here = Path(pytest.__file__).resolve().parent.parent  # numpy, hatchling and pip of the running environment
    inside = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=tmp_path).strip())
    inside.joinpath("zz_running_environment.pth").write_text(f"{here}\n", encoding="utf-8")
    install = ("pip", "install", "-q", "--no-deps", "--no-build-isolation", "--ignore-installed", "-e", REPOSITORY)
    run(python, "-m", *install, cwd=tmp_path)
    found = probe(python, inside, tmp_path)
    assert Path(found["package"]) == REPOSITORY / "covercrop" / "__init__.py"
    assert found["places"] == [str(REPOSITORY / "data" / name) for name in SHIPPED]
