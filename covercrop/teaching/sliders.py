"""Sliders for a function that draws, where the package ipywidgets is there; a plain line where it is not."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable
from typing import Any

from covercrop.base.errors import UsageError
from covercrop.base.extras import need

WITHOUT = (
    "No sliders here (pip install 'covercrop[notebooks]' brings them): "
    "change a value in the call above and run its cell again."
)


def slide(draw: Callable[..., object], **choices: Iterable[Any]) -> None:
    """A slider for each named argument of a function, which is called again whenever one is moved.

    Parameters
    ----------
    draw : callable
        Draws with its arguments, all of which have defaults.
    **choices : iterable
        The values that an argument may take, in order; each slider starts at
        the default of its argument, or at the first value if that is none of them.
    """
    try:
        widgets = need("ipywidgets", "notebooks")
    except UsageError:
        print(WITHOUT)  # noqa: T201 a notebook has no other place for it
        return
    starts = inspect.signature(draw).parameters
    sliders = {}
    for name, values in choices.items():
        options = [(_label(value), value) for value in values]
        start = next((i for i, (_, value) in enumerate(options) if value == starts[name].default), 0)
        sliders[name] = widgets.SelectionSlider(
            options=options,
            index=start,
            description=name.replace("_", " "),
            continuous_update=False,
            style={"description_width": "initial"},
            layout={"width": "30em"},
        )
    need("IPython.display", "notebooks").display(
        widgets.VBox([*sliders.values(), widgets.interactive_output(draw, sliders)])
    )


def _label(value: Any) -> str:
    """A value as it stands beside its slider."""
    return "none" if value is None else f"{value:%-d %b}" if hasattr(value, "strftime") else str(value)
