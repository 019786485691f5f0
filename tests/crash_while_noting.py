"""Add notes to a field file in processes that die: run by test_field_notes.py, never imported.

``python crash_while_noting.py steps FILE``: a child dies at its first line inside field_notes.py (or pathlib), the next
at its second, and so on until one lives; prints how many died, and stops with status 1 if a file was ever in pieces.
``python crash_while_noting.py killed FILE COUNT``: so many children that write without end are killed after a random
time.
"""

from __future__ import annotations

import datetime as dt
import os
import random
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import filelock  # noqa: F401  these two so that not every child has to import them
import tomlkit.items  # noqa: F401

from covercrop.field import add_note, rewriting
from covercrop.field.file import read_fields

TODAY = dt.date(2026, 6, 1)
NOTED = "Mill terrace", {"date": TODAY, "bloom_percent": 5, "note": "a visit"}, TODAY


def die_at(step: int) -> None:
    """Leave without a word at a line of the module or of pathlib under it, as a machine without power does."""
    left = step

    def trace(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal left
        own = frame.f_code.co_filename in (add_note.__file__, rewriting.__file__)
        if not own and "pathlib" not in frame.f_code.co_filename:
            return None
        if event == "line":
            left -= 1
            if left == 0:
                os._exit(9)
        return trace

    sys.settrace(trace)


def remembered(put_in: Callable[..., str]) -> Callable[..., str]:
    """The same function, which works out once what it is asked for again."""
    known: dict[str, str] = {}

    def put_in_once(*asked: Any) -> str:
        question = repr(asked)
        if question not in known:
            known[question] = put_in(*asked)
        return known[question]

    return put_in_once


def whole(path: Path, before: bytes) -> bool:
    """Whether the file is the old one, or the old one with one note put into it."""
    now = path.read_bytes()
    if now == before:
        return True
    added = len(now) - len(before)
    start = next(place for place, (old, new) in enumerate(zip(before, now, strict=False)) if old != new)
    cuts = range(max(start - 4, 0), start + 1)
    notes = [text.count(b"[[field.scouting]]") for text in (before, now)]
    read_fields(path)
    return notes[1] == notes[0] + 1 and any(now[:cut] + now[cut + added :] == before for cut in cuts)


def steps(path: Path) -> int:
    died, before = 0, path.read_bytes()
    # The text with the note is the same for all, and on its way to no file while it is made: it is made once.
    add_note.with_table = remembered(add_note.with_table)
    add_note.proposed_note(path, *NOTED)
    while True:
        path.write_bytes(before)
        child = os.fork()
        if child == 0:
            die_at(died + 1)
            add_note.add_note(path, *NOTED)
            sys.settrace(None)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        if not whole(path, before):
            return 1
        if os.waitstatus_to_exitcode(status) == 0:
            break
        died += 1
    sys.stdout.write(f"{died}\n")
    return 0


def killed(path: Path, count: int) -> int:
    chance = random.Random(7)
    for round_ in range(count):
        child = os.fork()
        if child == 0:
            number = 0
            while True:
                name, entry, today = NOTED
                add_note.add_note(path, name, {**entry, "note": f"visit {1000 * round_ + number}"}, today)
                number += 1
        time.sleep(chance.uniform(0.01, 0.08))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        read_fields(path)
        if path.read_bytes().count(b"[[field.scouting]]") != len(read_fields(path).fields[0].scouting):
            return 1
    sys.stdout.write(f"{len(read_fields(path).fields[0].scouting)}\n")
    return 0


if __name__ == "__main__":
    job, file, *rest = sys.argv[1:]
    read_fields(Path(file))  # what is known of covers and crops is loaded once, not in every child
    sys.exit(steps(Path(file)) if job == "steps" else killed(Path(file), int(rest[0])))
