"""Set up the laptops of a class from a stick, without a network.

Once, on a computer with a network, in a checkout:

    python3 notebooks/laptops.py pack STICK

Then on each laptop, with the stick in it:

    python3 STICK/laptops.py

The laptops need the Python (3.11 or newer) and the kind of computer on which the stick was packed, since some packages
are built for one kind; pack a folder for each kind.  Nothing is written outside the folder ``covercrop-class`` in the
home.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import venv
from pathlib import Path

HERE = Path(__file__).resolve().parent


def pack(stick: Path) -> str:
    """Fill a folder with all packages, the notebooks and this file; what to say at the end."""
    if not (HERE.parent / "pyproject.toml").is_file():
        raise SystemExit(f"{HERE} is no checkout of covercrop; pack where pyproject.toml stands beside notebooks/")
    shutil.rmtree(stick / "packages", ignore_errors=True)  # an older release beside a newer would be taken for it
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--wheel-dir", str(stick / "packages")]
    _run([*command, f"{HERE.parent}[notebooks]"], "a package could not be had; is there a network?")
    for file in (*HERE.glob("*.ipynb"), *HERE.glob("*.md"), HERE / "laptops.py"):
        shutil.copy(file, stick / file.name)
    count = len(list((stick / "packages").glob("*.whl")))
    return f"{count} packages and the notebooks are in {stick}. On each laptop: python3 {stick.name}/laptops.py"


def install(place: Path) -> str:
    """Set up one laptop from the folder in which this file stands; what to say at the end."""
    packages = HERE / "packages"
    if not list(packages.glob("covercrop-*.whl")):
        raise SystemExit(f"{packages} has no covercrop; fill it first: python3 notebooks/laptops.py pack STICK")
    place.mkdir(parents=True, exist_ok=True)
    venv.create(place / "python", with_pip=True, clear=True)
    tools = place / "python" / ("Scripts" if sys.platform == "win32" else "bin")
    command = [str(tools / "python"), "-m", "pip", "install", "--quiet", "--no-index", "--find-links", str(packages)]
    _run(
        [*command, "covercrop[notebooks]"],
        f"the packages on the stick do not fit this laptop's Python {sys.version.split()[0]}; pack one for it",
    )
    for file in HERE.glob("*.ipynb"):
        if not (place / file.name).exists():  # what a student has written there stays
            shutil.copy(file, place / file.name)
    return f"Ready. To start: {tools / 'jupyter'} lab {place}"


def _run(command: list[str], trouble: str) -> None:
    if subprocess.run(command, check=False).returncode:
        raise SystemExit(f"Stopped: {trouble}")


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["pack", folder]:
            Path(folder).mkdir(parents=True, exist_ok=True)
            print(pack(Path(folder).resolve()))
        case []:
            print(install(Path.home() / "covercrop-class"))
        case _:
            raise SystemExit("python3 notebooks/laptops.py pack STICK; then, on a laptop: python3 STICK/laptops.py")
