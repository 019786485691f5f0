"""Turning-under windows, residue lag and safe planting dates for legume cover crops.

The command ``covercrop`` is the usual way in; the modules are the library.
Temperatures are in degrees Celsius and lengths in metres or millimetres
everywhere inside; :mod:`covercrop.base.units` converts at the edges.

In a notebook a :class:`covercrop.season.plan.Plan` shows itself as a chart and a
table: where this package is imported in IPython, it says so there.
"""

import sys
from typing import Any

__version__ = "0.2.1"


def load_ipython_extension(shell: Any) -> None:
    """Let an IPython shell show plans; what ``%load_ext covercrop`` calls, for a shell that was started later."""
    from covercrop.render.page.notebook import register

    register(shell)


# A shell that is there already has imported IPython; nothing is imported for those who use none.
if "IPython" in sys.modules and (_shell := sys.modules["IPython"].get_ipython()) is not None:
    load_ipython_extension(_shell)
