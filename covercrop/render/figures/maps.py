"""A region as a picture: when to end the cover, when to plant, and what holds it back."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.errors import RegionError
from covercrop.base.replacing import replacing
from covercrop.region.across import day_and_month, middle_percentile, season_days
from covercrop.region.cells import LIMIT_NUMBER
from covercrop.region.question import MonthDay, as_words

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from covercrop.region.survey import Survey

#: Each limit, and none, in words and in one of the colours of Okabe and Ito, which all kinds of sight tell apart.
_LIMITS = {
    "none": ("no day to end it", "#999999"),
    "residue": ("residue", "#009E73"),
    "disease": ("seedling disease", "#CC79A7"),
    "maggot": ("seedcorn maggot", "#E69F00"),
    "soil_warm": ("cool soil", "#0072B2"),
    "frost": ("late frost", "#56B4E9"),
}
_NOTHING = "#e8e8e8"

#: What is drawn in colours of time, and what it is called.
_DATES = {
    "window_open": "Window opens",
    "window_close": "Window closes",
    "safe_planting": "Planting safe in eight years of ten",
}


#: Width of a panel's map, and the room for its title, ticks and legend [in].
_WIDE, _BENEATH = 4.4, 1.5


def draw(survey: Survey, path: Path) -> None:
    """Draw a region as a PNG.

    Parameters
    ----------
    survey : Survey
    path : pathlib.Path
        Written whole or not at all.

    Raises
    ------
    RegionError
        If it cannot be written.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    layout = ConstrainedLayoutEngine(h_pad=0.12, w_pad=0.1)
    figure = Figure(figsize=(10, 2 * (_WIDE * _height_of(survey) + _BENEATH)), layout=layout)
    FigureCanvasAgg(figure)
    axes = figure.subplots(2, 2)
    middle = middle_percentile(survey.question.percentiles)
    dates = {name: season_days(survey.arrays, name, middle) for name in _DATES}
    for axis, (name, title) in zip(axes.flat, _DATES.items(), strict=False):
        _dates(figure, axis, survey, dates[name], title)
    _limit(axes.flat[3], survey)
    figure.suptitle(_title(survey), fontsize=14)
    try:
        with replacing(path) as file:
            figure.savefig(file, format="png", dpi=110)
    except OSError as error:
        raise RegionError(
            f"{path}: the map cannot be written ({error.strerror}); the answer is whole in {survey.out}, make room or "
            "name another place for the map"
        ) from None


def _height_of(survey: Survey) -> float:
    """Height of the map as a share of its width, within reason."""
    if survey.x is None or survey.y is None:
        north, east = (float(np.nanmax(place) - np.nanmin(place)) for place in (survey.latitude, survey.longitude))
    else:
        north, east = (float(np.ptp(_along(survey, each)[0])) for each in (survey.y, survey.x))
    if survey.x is None or _geographic(survey):
        east /= _stretch(survey)
    return float(np.clip(north / east, 0.3, 1.2)) if north > 0 and east > 0 else 1.0


def _stretch(survey: Survey) -> float:
    """Length of a degree of latitude over that of a degree of longitude."""
    return 1 / max(float(np.cos(np.radians(np.nanmean(survey.latitude)))), 0.1)


def _title(survey: Survey) -> str:
    """What was asked, in words."""
    words = {name: str(value).replace("from:", "by ") for name, value in as_words(survey.question).items()}
    cover, crop = (words[name].replace("-", " ") for name in ("cover", "crop"))
    sown = words["sown"].replace("w-before-freeze", " weeks before the middle first freeze")
    if isinstance(survey.question.sown, MonthDay):
        date = dt.date(2001, survey.question.sown.month, survey.question.sown.day)
        sown = f"{date.day} {date:%b}"
    return f"{cover[0].upper()}{cover[1:]}, sown {sown}; then {crop}"


def _dates(figure: Figure, axis: Axes, survey: Survey, days: np.ndarray, title: str) -> None:
    known = days[~np.isnan(days)]
    percentile = survey.question.percentiles[middle_percentile(survey.question.percentiles)]
    which = (
        ""
        if title.startswith("Planting")
        else f" ({'middle year' if percentile == 50 else f'percentile {percentile:g}'})"
    )
    _frame(axis, survey, f"{title}{which}")
    if not known.size:
        axis.text(0.5, 0.5, "not reached anywhere", transform=axis.transAxes, ha="center")
        return
    low, high = np.floor(known.min()), np.ceil(known.max())
    drawn = _fill(axis, survey, days, cmap="viridis", vmin=low, vmax=max(high, low + 1))
    inch = 1 / (_WIDE * _height_of(survey))  # in shares of the height of the map, which the bar is to be as wide as
    bar = figure.colorbar(drawn, cax=axis.inset_axes((0.0, -0.55 * inch, 1.0, 0.15 * inch)), orientation="horizontal")
    step = next(each for each in (1, 2, 5, 7, 14, 28, 56, 400) if (high - low) / each <= 6)
    ticks = np.arange(low, max(high, low + 1) + 0.5, step)
    bar.set_ticks(ticks.tolist(), labels=[_day_month(tick) for tick in ticks])


def _limit(axis: Axes, survey: Survey) -> None:
    from matplotlib.colors import BoundaryNorm, ListedColormap
    from matplotlib.patches import Patch

    _frame(axis, survey, "What holds planting back")
    number = survey.arrays["binding_limit"].astype(float)
    number[survey.arrays["status"] != 0] = np.nan
    names = ("none", *LIMIT_NUMBER)
    colours = ListedColormap([_LIMITS[name][1] for name in names])
    _fill(axis, survey, number, cmap=colours, norm=BoundaryNorm(np.arange(-0.5, len(names)), len(names)))
    shown = [place for place in range(len(names)) if (number == place).any()]
    patches = [Patch(facecolor=_LIMITS[names[place]][1], label=_LIMITS[names[place]][0]) for place in shown]
    if np.isnan(number).any():
        patches.append(Patch(facecolor=_NOTHING, label="no answer"))
    beneath = -0.3 / (_WIDE * _height_of(survey))
    axis.legend(handles=patches, loc="upper center", bbox_to_anchor=(0.5, beneath), ncols=2, frameon=False)


def _frame(axis: Axes, survey: Survey, title: str) -> None:
    axis.set_title(title, fontsize=11)
    axis.set_facecolor(_NOTHING)
    axis.tick_params(labelsize=8)
    if survey.x is None or _geographic(survey):
        axis.set_aspect(_stretch(survey))
        axis.xaxis.set_major_formatter(lambda x, _: f"{x - 360 if x > 360 else x:g}\N{DEGREE SIGN}")
        axis.yaxis.set_major_formatter("{x:g}\N{DEGREE SIGN}")
    else:
        axis.set_aspect("equal")
        axis.set_xticks([])
        axis.set_yticks([])


def _geographic(survey: Survey) -> bool:
    """Whether the grid lies along parallels and meridians."""
    assert survey.x is not None
    along = survey.longitude[0]
    return survey.y is not None and np.array_equal(survey.x, along) and np.array_equal(survey.y, survey.latitude[:, 0])


def _along(survey: Survey, coordinate: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A coordinate of the grid as it can be drawn along, and the order in which it rises.

    Longitudes go on over the date line; where the coordinate is no number, positions stand for it.
    """
    if coordinate.dtype.kind not in "iuf" or not np.isfinite(coordinate).all():
        place = np.arange(coordinate.size)
        return place, place
    drawn = coordinate.astype(np.float64)
    if coordinate is survey.x and _geographic(survey):
        drawn = np.unwrap(drawn, period=360)
    order = np.argsort(drawn, kind="stable")
    return drawn[order], order


def _fill(axis: Axes, survey: Survey, values: np.ndarray, **how: Any) -> Any:
    if survey.x is not None and survey.y is not None:
        (x, across), (y, down) = (_along(survey, each) for each in (survey.x, survey.y))
        return axis.pcolormesh(x, y, np.ma.masked_invalid(values[np.ix_(down, across)]), shading="nearest", **how)
    here = ~np.isnan(values)
    axis.scatter(survey.longitude[~here], survey.latitude[~here], c="none", edgecolors="#555555", s=36)
    return axis.scatter(
        survey.longitude[here], survey.latitude[here], c=values[here], s=42, edgecolors="#333333", linewidths=0.4, **how
    )


def _day_month(day: float) -> str:
    date = day_and_month(day)
    return f"{date.day} {date:%b}"
