"""A region as a picture: when to end the cover, when to plant, and what holds it back."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.errors import RegionError
from covercrop.base.replacing import replacing
from covercrop.region.across import day_and_month, far_off, middle_percentile, season_days, would_not_ripen
from covercrop.region.cells import LIMIT_NUMBER
from covercrop.region.question import MonthDay, as_words
from covercrop.render.figures.outlines import Box, Outline, names, outlines

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.colorbar import Colorbar
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

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


#: Shares that are drawn where a day to plant by is asked about, and what they are called.
_CHANCES = {
    "planting_chance": "Chance that the ground is plantable by {day}",
    "survival": "Chance that the stand lives through the winter",
}

#: Width of a panel's map, and the room for its title, ticks and legend [in].
_WIDE, _BENEATH = 4.4, 1.5

#: Around stations, as a share of their spread, and at least [degrees].
_AROUND, _ROOM = 0.06, 0.3

#: Cells without a harvest are marked at so many places along a side at the most.
_MARKS = 40

#: Size of a place name, and the width of a letter of it [points].
_NAME, _LETTER = 7.0, 4.4

#: What marks such a cell.
_UNRIPE: dict[str, Any] = {"marker": "x", "color": "#222222", "s": 14, "linewidths": 0.8}


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
    rows = 3 if survey.question.plant_by is not None else 2
    view = _view(survey)
    figure = Figure(figsize=(10, rows * (_WIDE * _height_of(survey, view) + _BENEATH)), layout=layout)
    FigureCanvasAgg(figure)
    axes = figure.subplots(rows, 2)
    middle = middle_percentile(survey.question.percentiles)
    dates = {name: season_days(survey.arrays, name, middle) for name in _DATES}
    unripe = would_not_ripen(survey.arrays, middle)
    for axis, (name, title) in zip(axes.flat, _DATES.items(), strict=False):
        _dates(figure, axis, survey, dates[name], title)
    _limit(axes.flat[3], survey, unripe)
    if survey.question.plant_by is not None:
        day = _named(survey.question.plant_by)
        for axis, (name, title) in zip(axes.flat[4:], _CHANCES.items(), strict=True):
            _chances(figure, axis, survey, name, title.format(day=day))
    for axis in (axes.flat[2], *axes.flat[3:5]):
        _mark(axis, survey, unripe)
    if view is not None:
        shapes = outlines(view)
        for axis in axes.flat:
            _outlined(axis, view, shapes, grid=survey.x is not None)
    figure.suptitle("\n".join(filter(None, (_title(survey), _said_far(survey)))), fontsize=14)
    try:
        with replacing(path) as file:
            figure.savefig(file, format="png", dpi=110)
    except OSError as error:
        raise RegionError(
            f"{path}: the map cannot be written ({error.strerror}); the answer is whole in {survey.out}, make room or "
            "name another place for the map"
        ) from None


def _view(survey: Survey) -> Box | None:
    """West, south, east and north of the map; None of a grid that does not lie along parallels and meridians.

    Stations far off do not shrink the others: they are drawn at the edge.
    """
    if survey.x is None:
        near = ~far_off(survey.latitude, survey.longitude) & ~np.isnan(survey.latitude)
        (south, north), (west, east) = (
            (float(place[near].min()), float(place[near].max())) for place in (survey.latitude, survey.longitude)
        )
        up, across = (max(_AROUND * (far - close), _ROOM) for close, far in ((south, north), (west, east)))
        return west - across, south - up, east + across, north + up
    if survey.y is None or not _geographic(survey):
        return None
    (x, _), (y, _) = (_along(survey, each) for each in (survey.x, survey.y))
    half_x, half_y = (float(np.diff(each).max()) / 2 if each.size > 1 else _ROOM for each in (x, y))
    return float(x[0]) - half_x, float(y[0]) - half_y, float(x[-1]) + half_x, float(y[-1]) + half_y


def _said_far(survey: Survey) -> str:
    """Which places are drawn at the edge; empty where there are none."""
    if survey.x is not None:
        return ""
    far = far_off(survey.latitude, survey.longitude)
    count = int(far.sum())
    return f"{count} place{'s' * (count > 1)} far off: the diamond{'s' * (count > 1)} at the edge" if count else ""


def _height_of(survey: Survey, view: Box | None = None) -> float:
    """Height of the map as a share of its width, within reason."""
    if view is not None:
        west, south, east_end, north_end = view
        north, east = north_end - south, (east_end - west) / _stretch(survey)
    else:
        assert survey.x is not None
        assert survey.y is not None
        north, east = (float(np.ptp(_along(survey, each)[0])) for each in (survey.y, survey.x))
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
        sown = _named(survey.question.sown)
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
    inch = 1 / (
        _WIDE * _height_of(survey, _view(survey))
    )  # in shares of the height of the map, which the bar is to be as wide as
    bar = figure.colorbar(drawn, cax=axis.inset_axes((0.0, -0.55 * inch, 1.0, 0.15 * inch)), orientation="horizontal")
    step = next(each for each in (1, 2, 5, 7, 14, 28, 56, 400) if (high - low) / each <= 6)
    ticks = np.arange(low, max(high, low + 1) + 0.5, step)
    bar.set_ticks(ticks.tolist(), labels=[_day_month(tick) for tick in ticks])


def _bar(figure: Figure, axis: Axes, survey: Survey, drawn: Any) -> Colorbar:
    """The colours of a map, beneath it and as wide."""
    inch = 1 / (_WIDE * _height_of(survey, _view(survey)))  # in shares of the height of the map
    return figure.colorbar(drawn, cax=axis.inset_axes((0.0, -0.55 * inch, 1.0, 0.15 * inch)), orientation="horizontal")


def _chances(figure: Figure, axis: Axes, survey: Survey, name: str, title: str) -> None:
    """A share over the region, from none to all."""
    _frame(axis, survey, title)
    chances = survey.arrays[name]
    if np.isnan(chances).all():
        axis.text(0.5, 0.5, "not known anywhere", transform=axis.transAxes, ha="center")
        return
    drawn = _fill(axis, survey, chances, cmap="cividis", vmin=0, vmax=1)
    bar = _bar(figure, axis, survey, drawn)
    bar.set_ticks([0, 0.25, 0.5, 0.75, 1], labels=["0%", "25%", "50%", "75%", "100%"])


def _mark(axis: Axes, survey: Survey, unripe: NDArray[np.bool_]) -> None:
    """A cross over what would not ripen, no closer than can be told apart."""
    if survey.x is None or survey.y is None:
        axis.scatter(*_inside(survey, unripe), zorder=4, **_UNRIPE)
        return
    (x, across), (y, down) = (_along(survey, each) for each in (survey.x, survey.y))
    shown = unripe[np.ix_(down, across)]
    every = [max(1, -(-each.size // _MARKS)) for each in (y, x)]
    rows, columns = np.nonzero(shown[:: every[0], :: every[1]])
    axis.scatter(x[:: every[1]][columns], y[:: every[0]][rows], zorder=4, **_UNRIPE)


def _inside(survey: Survey, which: NDArray[np.bool_]) -> tuple[np.ndarray, np.ndarray]:
    """Longitudes and latitudes of some stations, those far off at the edge of the view."""
    view = _view(survey)
    assert view is not None
    west, south, east, north = view
    return survey.longitude[which].clip(west, east), survey.latitude[which].clip(south, north)


def _outlined(axis: Axes, view: Box, shapes: list[Outline], *, grid: bool) -> None:
    """Outlines and the names that have room, over a grid and beneath stations."""
    from matplotlib.patheffects import withStroke

    west, south, east, north = view
    for shape in shapes:
        for ring in shape.rings:
            axis.plot(*ring.T, color="#333333", linewidth=0.6, zorder=3 if grid else 0.5)
    axis.set_xlim(west, east)
    axis.set_ylim(south, north)
    point = (east - west) / (72 * _WIDE)  # [degrees of longitude]
    taken: list[tuple[float, float, float]] = []
    for name, x, y in names(shapes, view):
        half = len(name) * _LETTER * point / 2
        free = all(abs(x - at) > half + wide or abs(y - high) > 2 * _NAME * point for at, high, wide in taken)
        if free and west + half < x < east - half and south + _NAME * point < y < north - _NAME * point:
            taken.append((x, y, half))
            halo = [withStroke(linewidth=2, foreground="white", alpha=0.8)]
            axis.text(x, y, name, fontsize=_NAME, ha="center", va="center", zorder=5, path_effects=halo, clip_on=True)


def _limit(axis: Axes, survey: Survey, unripe: NDArray[np.bool_]) -> None:
    from matplotlib.colors import BoundaryNorm, ListedColormap
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    _frame(axis, survey, "What holds planting back")
    number = survey.arrays["binding_limit"].astype(float)
    number[survey.arrays["status"] != 0] = np.nan
    names = ("none", *LIMIT_NUMBER)
    colours = ListedColormap([_LIMITS[name][1] for name in names])
    _fill(axis, survey, number, cmap=colours, norm=BoundaryNorm(np.arange(-0.5, len(names)), len(names)))
    shown = [place for place in range(len(names)) if (number == place).any()]
    patches: list[Any] = [Patch(facecolor=_LIMITS[names[place]][1], label=_LIMITS[names[place]][0]) for place in shown]
    if np.isnan(number).any():
        patches.append(Patch(facecolor=_NOTHING, label="no answer"))
    if unripe.any():
        cross: dict[str, Any] = {"marker": "x", "color": "#222222", "linestyle": "none"}
        patches.append(Line2D([], [], **cross, label="would likely not ripen"))
    beneath = -0.3 / (_WIDE * _height_of(survey, _view(survey)))
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
    here, far = ~np.isnan(values), far_off(survey.latitude, survey.longitude)
    unknown = _inside(survey, ~here & ~np.isnan(survey.latitude))
    axis.scatter(unknown[0], unknown[1], c="none", edgecolors="#555555", s=36)
    drawn = None
    for which, marker, size in ((here & far, "D", 60), (here & ~far, "o", 42)):
        x, y = _inside(survey, which)
        drawn = axis.scatter(
            x, y, c=values[which], s=size, marker=marker, edgecolors="#333333", linewidths=0.4, clip_on=False, zorder=2,
            **how,
        )  # fmt: skip
    return drawn


def _named(day: MonthDay) -> str:
    """A day of every year in words."""
    date = dt.date(2001, day.month, day.day)
    return f"{date.day} {date:%b}"


def _day_month(day: float) -> str:
    date = day_and_month(day)
    return f"{date.day} {date:%b}"
