"""The packages that only some ways of showing need."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from covercrop.base.errors import UsageError


def need(module: str, extra: str = "report") -> Any:
    """A module of an optional package.

    Parameters
    ----------
    module : str
        Its dotted name.
    extra : str
        The extra of covercrop that brings it.

    Raises
    ------
    UsageError
        If it is not installed, with the line that installs it.
    """
    try:
        return import_module(module)
    except ImportError:
        package = module.partition(".")[0]
        raise UsageError(f"{package} is not installed; pip install 'covercrop[{extra}]' brings it") from None
