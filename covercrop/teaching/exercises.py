"""Exercises that say at once whether an answer is right, and if not, where to look."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from covercrop.base.errors import UnknownNameError


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """What is right, how far from it still counts, why it is so, and a hint for who is not there yet."""

    answer: float | str
    within: float = 0.0
    why: str
    hint: str


@cache
def exercises() -> dict[str, Exercise]:
    """All exercises by their name, from ``exercises.toml`` beside this module."""
    text = files("covercrop.teaching").joinpath("exercises.toml").read_text(encoding="utf-8")
    return {name: Exercise(**table) for name, table in tomllib.loads(text).items()}


def check(name: str, answer: Any = ...) -> str:
    """What a teacher would say to an answer.

    Parameters
    ----------
    name : str
        Which exercise.
    answer : float or str
        What the student says; ``...``, as the notebooks have it, while there is none yet.

    Returns
    -------
    str
        One line. A wrong answer gets a hint and never the answer.

    Raises
    ------
    UnknownNameError
        If there is no such exercise.
    """
    if name not in exercises():
        raise UnknownNameError("exercise", name, exercises())
    exercise = exercises()[name]
    if answer is ...:
        return "Put your answer in the place of the three dots and run the cell again."
    if isinstance(exercise.answer, str):
        right = str(answer).strip().casefold() == exercise.answer.casefold()
    else:
        try:
            right = abs(float(answer) - exercise.answer) <= exercise.within
        except (TypeError, ValueError):
            return f"{answer!r} is not a number, and a number is asked for."
    return f"Right. {exercise.why}" if right else f"Not yet. {exercise.hint}"
