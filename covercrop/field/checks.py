"""Values of the records that a grower's entries make, held to what can be: each message names the argument."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from covercrop.base.errors import UsageError, shown
from covercrop.base.kinds import Number

#: One number, or two with a dash or a word between them.
_ENDS = re.compile(r"\s*(\d+(?:\.\d*)?)\s*(?:(?:-|\u2013|to)\s*(\d+(?:\.\d*)?)\s*)?%?\s*")


def wrong(name: str, value: object, way_out: str) -> UsageError:
    """The error that an argument holds something that it cannot."""
    return UsageError(f"{name} = {shown(value)}: {way_out}")


def check_number(name: str, value: Any, kind: Number) -> None:
    """Refuse what is no number from low to high, both included; None is no value, and passes."""
    if value is None:
        return
    if isinstance(value, bool) or not hasattr(value, "__float__") or not kind.low <= float(value) <= kind.high:
        raise wrong(name, value, kind.way_out)


def ends_of(text: str, name: str, way_out: str) -> tuple[float, float]:
    """The two numbers of ``30-50`` or ``30 to 50``; one number stands for both."""
    found = _ENDS.fullmatch(text)
    if found is None:
        raise wrong(name, text, way_out)
    return float(found[1]), float(found[2] or found[1])


def check_date(name: str, value: Any) -> None:
    """Refuse what is no plain date, of whatever year a model run may count; None is no value, and passes."""
    if value is not None and type(value) is not dt.date:
        raise wrong(name, value, "give a datetime.date, such as datetime.date(2026, 4, 20)")


def check_choice(name: str, value: Any, choices: tuple[str, ...]) -> None:
    """Refuse what is none of a few words."""
    if value not in choices:
        raise wrong(name, value, f"use one of {', '.join(choices)}")


def check_kind(name: str, value: Any, kind: type) -> None:
    """Refuse what is no record of a kind, or no text."""
    if not isinstance(value, kind):
        raise wrong(name, value, f"give a {'text' if kind is str else kind.__name__}")
