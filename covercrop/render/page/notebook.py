"""How a plan shows itself at a prompt: as a chart and a table in a notebook, as the screen of ``ready`` elsewhere.

IPython asks by name for whoever shows a :class:`covercrop.season.plan.Plan`; the
package's own module tells it of :func:`html` and :func:`text`, so that the
plan itself knows nothing of how it is shown.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from covercrop.base.errors import UsageError

if TYPE_CHECKING:
    from covercrop.season.plan import Plan


def register(shell: Any) -> None:
    """Let an IPython shell show plans.

    Parameters
    ----------
    shell : IPython.core.interactiveshell.InteractiveShell
    """
    formatters = shell.display_formatter.formatters
    formatters["text/html"].for_type_by_name("covercrop.season.plan", "Plan", html)
    formatters["text/plain"].for_type_by_name(
        "covercrop.season.plan", "Plan", lambda plan, printer, cycle: printer.text(text(plan))
    )


def html(plan: Plan) -> str | None:
    """A plan as HTML: its answer, the chart of its season, its dates; None where the extra ``report`` is missing."""
    from covercrop.render.page.report import card

    try:
        return card(plan)
    except UsageError:
        return None


def text(plan: Plan) -> str:
    """A plan as the screen of ``covercrop ready``."""
    from rich.console import Console

    from covercrop.render.screen.terminal import Screen, ready

    written = io.StringIO()
    console = Console(file=written, width=80, color_system=None, highlight=False, force_jupyter=False)
    ready(Screen(console), [plan], plan.on, title=plan.field.name)
    return "\n".join(line.rstrip() for line in written.getvalue().splitlines())
