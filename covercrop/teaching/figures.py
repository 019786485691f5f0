"""How pictures look and are shown in a class: large letters, four colours, words for who cannot see them."""

from __future__ import annotations

import base64
import html
import io
from typing import Any

from covercrop.base.errors import UsageError
from covercrop.base.extras import need

BLUE, ORANGE, GREEN, GREY = "#0072B2", "#D55E00", "#009E73", "#666666"


def large() -> Any:
    """matplotlib.pyplot, set to be read from the back of the room."""
    pyplot = need("matplotlib.pyplot", "notebooks")
    pyplot.rcParams.update({"figure.figsize": (11, 5.5), "font.size": 15})
    pyplot.rcParams.update({"axes.spines.top": False, "axes.spines.right": False})
    return pyplot


def day_axis(*axes: Any, form: str = "%-d %b") -> None:
    """Label axes of days as ``5 May``: some days, a week or a month apart, as they are long.

    Parameters
    ----------
    *axes : matplotlib.axis.Axis
    form : str
        Another form of the dates.
    """
    dates = need("matplotlib.dates", "notebooks")
    for axis in axes:
        first, last = axis.get_view_interval()
        days = abs(last - first)
        if days < 25:
            locator = dates.DayLocator(bymonthday=range(1, 31, 4))
        elif days < 150:
            locator = dates.WeekdayLocator(byweekday=dates.MO, interval=1 + int(days // 70))
        else:
            locator = dates.MonthLocator(interval=1 + int(days // 400))
        axis.set_major_locator(locator)
        axis.set_major_formatter(dates.DateFormatter(form))


def show(figure: Any, alt: str) -> None:
    """Show a figure in a notebook, with its content in words for those who cannot see it, and close it.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    alt : str
        What is to be seen, in a sentence or two.

    Raises
    ------
    UsageError
        If there are no words.
    """
    if not alt.strip():
        raise UsageError("`alt` is empty; say in a sentence what the figure shows")
    if figure.get_layout_engine() is None:  # set here, since the charts of the package lay themselves out
        figure.set_layout_engine("constrained")
    figure.get_layout_engine().execute(figure)
    figure.set_layout_engine(None)  # laid out already: savefig would draw it once more for that
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png")
    need("matplotlib.pyplot", "notebooks").close(figure)
    picture = base64.b64encode(drawn.getvalue()).decode("ascii")
    words = html.escape(alt, quote=True)
    page = f'<img style="max-width:100%" alt="{words}" src="data:image/png;base64,{picture}">'
    need("IPython.display", "notebooks").display({"text/html": page, "text/plain": alt}, raw=True)
