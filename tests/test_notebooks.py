"""The teaching notebooks: they run from a fresh kernel, need no network, and stand in git without output."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

REPOSITORY = Path(__file__).resolve().parent.parent
FOLDER = REPOSITORY / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
PROXY = re.compile(r"(?i)(https?|all|ftp)_proxy")

#: The one thing about its kernel that a notebook says.
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}

#: Runs in each kernel before its first cell.  The kernel's own talk with the tests goes through zmq, not through these.
GUARD = """
import os, socket

def _guarded(original, place):
    def call(*arguments, **named):
        address = arguments[place]
        host = address[0] if isinstance(address, tuple) else None if place else address
        host = host.decode() if isinstance(host, bytes) else host
        if host not in ("localhost", "127.0.0.1", "::1", "", None):
            with open(os.environ["NETWORK_ATTEMPTS"], "a") as file:
                print(host, file=file)
            raise OSError(f"a notebook may not reach {host!r}")
        return original(*arguments, **named)
    return call

for _name in ("connect", "connect_ex"):
    setattr(socket.socket, _name, _guarded(getattr(socket.socket, _name), 1))
socket.getaddrinfo = _guarded(socket.getaddrinfo, 0)
"""


@pytest.fixture(scope="module")
def kernel_environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The environment of a user who has never run anything, on a machine without a network."""
    home = tmp_path_factory.mktemp("home")
    startup = home / "ipython" / "profile_default" / "startup"
    startup.mkdir(parents=True)
    startup.joinpath("00-no-network.py").write_text(GUARD, encoding="utf-8")
    kept = {name: value for name, value in os.environ.items() if not PROXY.fullmatch(name)}
    places = {
        "HOME": home,
        "USERPROFILE": home,
        "IPYTHONDIR": home / "ipython",
        "MPLCONFIGDIR": home / "matplotlib",
        "XDG_CACHE_HOME": home / "cache",
        "XDG_CONFIG_HOME": home / "config",
        "XDG_DATA_HOME": home / "data",
        "NETWORK_ATTEMPTS": home / "attempts.txt",
    }
    search = os.pathsep.join(filter(None, (str(REPOSITORY), os.environ.get("PYTHONPATH", ""))))
    return kept | {name: str(place) for name, place in places.items()} | {"PYTHONPATH": search}


def run(notebook: Any, folder: Path, environment: dict[str, str]) -> list[str]:
    """Execute a notebook in a fresh kernel; the hosts that it tried to reach."""
    attempts = Path(environment["NETWORK_ATTEMPTS"])
    attempts.unlink(missing_ok=True)
    client = NotebookClient(notebook, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}})
    client.execute(env=environment)
    return attempts.read_text(encoding="utf-8").split() if attempts.exists() else []


# --- they run -------------------------------------------------------------------------------------------------------


def cases() -> list[Any]:
    """Every notebook from its own folder, and the first from the top of the repository too."""
    here = [pytest.param(path, FOLDER, id=path.stem) for path in NOTEBOOKS]
    return [*here, pytest.param(NOTEBOOKS[0], REPOSITORY, id=f"{NOTEBOOKS[0].stem}, from the top")]


@pytest.mark.parametrize(("path", "folder"), cases())
def test_it_runs(path: Path, folder: Path, kernel_environment: dict[str, str]) -> None:
    """From a fresh kernel, without network, to the end: every number that the text states is asserted by a cell.

    Nothing is written to standard error, so that no class sees a warning; and there are figures to show to it.
    """
    notebook = nbformat.read(path, as_version=4)
    assert run(notebook, folder, kernel_environment) == []
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    assert [output.text for output in outputs if output.get("name") == "stderr"] == []
    assert sum("image/png" in output.get("data", {}) for output in outputs) >= 3


def test_a_notebook_that_reaches_out_is_caught(kernel_environment: dict[str, str]) -> None:
    """The guard works in the kernel: an address and a name beyond this machine are refused and told."""
    cell = """
import socket, urllib.request
for reach in (lambda: socket.create_connection(("192.0.2.1", 80)), lambda: urllib.request.urlopen("http://example.org")):
    try:
        reach()
    except OSError:
        pass
"""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell)])
    assert run(notebook, FOLDER, kernel_environment) == ["192.0.2.1", "example.org"]


# --- they are kept clean --------------------------------------------------------------------------------------------


def stripped(text: str) -> str:
    """A notebook as it stands in git: no output, no counts, no metadata but the kernel's name."""
    notebook = nbformat.reads(text, as_version=4)
    notebook.metadata = nbformat.from_dict(METADATA)
    notebook.nbformat, notebook.nbformat_minor = 4, 5
    for cell in notebook.cells:
        cell.metadata = {}
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    return nbformat.writes(notebook) + "\n"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_is_stripped(path: Path, request: pytest.FixtureRequest) -> None:
    """The file is, byte for byte, the notebook without what running it leaves behind."""
    text = path.read_text(encoding="utf-8")
    if request.config.getoption("--update-golden"):
        text = stripped(text)
        path.write_text(text, encoding="utf-8")
    assert text == stripped(text), "run pytest tests/test_notebooks.py -k stripped --update-golden"
    notebook = nbformat.reads(text, as_version=4)
    nbformat.validate(notebook)
    ids = [cell.id for cell in notebook.cells]
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize(
    "change",
    [
        lambda cell, _: cell.outputs.append(nbformat.v4.new_output("stream", text="42")),
        lambda cell, _: cell.update(execution_count=3),
        lambda cell, _: cell.metadata.update(collapsed=True),
        lambda _, notebook: notebook.metadata.update(widgets={}),
        lambda _, notebook: notebook.metadata.language_info.update(version="3.11.2"),
    ],
    ids=["output", "count", "cell metadata", "metadata", "version"],
)
def test_what_running_leaves_behind_is_seen(change: Any) -> None:
    """The check itself catches each of the things that a session in a browser adds."""
    clean = NOTEBOOKS[0].read_text(encoding="utf-8")
    notebook = nbformat.reads(clean, as_version=4)
    change(next(cell for cell in notebook.cells if cell.cell_type == "code"), notebook)
    dirty = nbformat.writes(notebook) + "\n"
    assert dirty != clean
    assert stripped(dirty) == clean


# --- they teach -----------------------------------------------------------------------------------------------------


def test_there_are_five() -> None:
    """One, two, three, four, five."""
    assert [path.name.partition("-")[0] for path in NOTEBOOKS] == ["1", "2", "3", "4", "5"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_is_built_like_the_others(path: Path) -> None:
    """A title, 10 to 25 cells, questions whose answers are hidden, and three exercises at the end."""
    cells = nbformat.read(path, as_version=4).cells
    assert 10 <= len(cells) <= 25
    assert cells[0].cell_type == cells[-1].cell_type == "markdown"
    assert cells[0].source.startswith("# ")
    assert re.findall(r"^(\d)\. ", cells[-1].source, flags=re.MULTILINE) == ["1", "2", "3"]
    text = "\n".join(cell.source for cell in cells if cell.cell_type == "markdown")
    answers = text.count("<details><summary>Answer</summary>\n\n")
    assert answers == text.count("\n</details>") == text.count("**Question.**")
    assert answers >= 3


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_folder_lists_it(path: Path) -> None:
    """notebooks/README.md says in a line what each is about."""
    assert f"`{path.name}`" in (FOLDER / "README.md").read_text(encoding="utf-8")
