"""Notebooks run as a student runs them, cell by cell, in one interactive shell of this process."""

from __future__ import annotations

import contextlib
import re
import socket
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import nbformat
from IPython.core.interactiveshell import InteractiveShell
from IPython.utils.capture import capture_output
from traitlets.config import Config

ALT = re.compile(r'<img [^>]*alt="([^"]*)"[^>]*base64,([^"]*)"')


@dataclass
class Run:
    """What a run left behind: names, texts, pictures with their words, and the hosts that it tried to reach."""

    names: dict[str, Any]
    printed: str = ""
    alarms: str = ""
    pictures: dict[str, str] = field(default_factory=dict)
    shown: list[str] = field(default_factory=list)
    attempts: list[str] = field(default_factory=list)


def code_cells(path: Path) -> list[str]:
    """The sources of the code cells of a notebook."""
    return [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]


@contextlib.contextmanager
def shell() -> Iterator[InteractiveShell]:
    """An interactive shell that writes no history, and is gone afterwards."""
    config = Config()
    config.HistoryManager.enabled = False
    config.InteractiveShell.colors = "nocolor"
    made = InteractiveShell.instance(config=config)
    from covercrop import load_ipython_extension

    load_ipython_extension(made)
    try:
        yield made
    finally:
        InteractiveShell.clear_instance()


@contextlib.contextmanager
def no_network(attempts: list[str]) -> Iterator[None]:
    """Refuse every address and name beyond this machine, and note it."""
    kept = socket.socket.connect, socket.getaddrinfo

    def refuse(host: Any) -> None:
        if host not in ("localhost", "127.0.0.1", "::1", "", None):
            attempts.append(str(host))
            raise OSError(f"a notebook may not reach {host!r}")

    def connect(self: socket.socket, address: Any) -> None:
        refuse(address[0] if isinstance(address, tuple) else None)
        kept[0](self, address)

    def getaddrinfo(host: Any, *rest: Any, **named: Any) -> Any:
        refuse(host)
        return kept[1](host, *rest, **named)

    socket.socket.connect, socket.getaddrinfo = connect, getaddrinfo  # type: ignore[method-assign,assignment]
    try:
        yield
    finally:
        socket.socket.connect, socket.getaddrinfo = kept  # type: ignore[method-assign]


def run(into: InteractiveShell, cells: list[str], fresh: bool = True) -> Run:
    """Run cells in turn; an error in one is raised as it is, with the cell's source.

    ``fresh`` begins with no names, as a new kernel does; else the names of the last run are there, as they are for a
    student who edits a cell and runs all below.
    """
    if fresh:
        into.reset(new_session=False)
    done = Run(names=into.user_ns)
    with no_network(done.attempts):
        for source in cells:
            with capture_output() as captured:
                result = into.run_cell(source)
            error = result.error_before_exec or result.error_in_exec
            if error is not None:
                error.add_note(source)
                raise error
            if result.result is not None and into.display_formatter is not None:
                bundle, _ = into.display_formatter.format(result.result)  # as a browser asks for it
                done.shown.append(bundle.get("text/html", bundle.get("text/plain", "")))
            done.printed += captured.stdout
            done.alarms += captured.stderr
            for output in captured.outputs:
                text = output.data.get("text/html", "")
                done.shown.append(text or output.data.get("text/plain", ""))
                done.pictures.update(dict(ALT.findall(text)))
    return done


def edited(path: Path, old: str, new: str) -> list[str]:
    """The code cells from the one with ``old``, which stands once in the notebook, on; with ``new`` in its place."""
    cells = code_cells(path)
    (place,) = (number for number, source in enumerate(cells) if old in source)
    assert cells[place].count(old) == 1, f"{old!r} stands more than once"
    return [cells[place].replace(old, new), *cells[place + 1 :]]
