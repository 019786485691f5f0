"""The screen of `covercrop calibrate`: what was fitted, what it is worth, and what to mind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.models.bbch import stage_name
from covercrop.parameters import catalogue
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from pathlib import Path

    from covercrop.checking.cultivar_fit import Calibrated
    from covercrop.render.screen.terminal import Screen

_COLUMNS = (
    ("place", "left"),
    ("sown", "left"),
    ("stage", "left"),
    ("seen", "left"),
    ("fit", "right"),
    ("left out", "right"),
    ("sum", "right"),
    ("latitude", "right"),
)


def show(screen: Screen, fitted: Calibrated, path: Path | None, *, us: bool = False) -> None:
    """Print what the records give.

    Parameters
    ----------
    screen : Screen
    fitted : Calibrated
    path : pathlib.Path or None
        Where it was written.
    us : bool
        Show US units.
    """
    calibration = fitted.calibration
    cover = catalogue.cover(calibration.cover)
    screen.say(
        f"{cover.common_name.capitalize()}{f', {calibration.cultivar}' if calibration.cultivar else ''}", style="bold"
    )
    for sentence in sentences(fitted, us=us):
        screen.say(sentence)
    screen.say()
    screen.say("Each record, and the days by which it was missed; + is too late")
    screen.table(
        _COLUMNS,
        [
            (
                row.record.season.site,
                phrases.day_month(np.datetime64(row.record.sown)),
                row.record.stage,
                phrases.day_month(np.datetime64(row.record.date), 0),
                *(_days(value) for value in (row.error, row.left_out, row.plain_sum, row.latitude)),
            )
            for row in fitted.rows
        ],
    )
    codes = dict.fromkeys(row.record.stage for row in fitted.rows if row.record.stage.startswith("BBCH"))
    words = "".join(f"{code}: {stage_name(float(code.split()[1]))}. " for code in codes)
    screen.say(
        f"{words}fit: all records together. The other three are fitted with the record's "
        f"{fitted.left_out_by or 'place'} left out: this fit, a degree-day sum from sowing, and a date that moves 4.5 "
        "days for each degree of latitude.",
        style="dim",
        indent=2,
    )
    screen.items("Take note", fitted.warnings)
    screen.say()
    if path is None:
        screen.say("Nothing was written; -o FILE.toml keeps these numbers.")
    else:
        screen.say(f'Written to {path}. To use it, add to [field.cover] in the field file: calibration = "{path.name}"')


def _days(value: float) -> str:
    return "" if np.isnan(value) else f"{round(value):+d}".replace("+0", "0").replace("-0", "0")


def sentences(fitted: Calibrated, *, us: bool = False) -> list[str]:
    """What was fitted and what it is worth, in plain sentences."""
    calibration, number = fitted.calibration, fitted.calibration.requirement
    unit = "°F d" if us else "°C d"
    value, low, high, spread = (
        round(units.fahrenheit_difference(each) if us else each)
        for each in (number.value, number.low, number.high, number.spread)
    )
    days = round(abs(fitted.later))
    known = (
        f"{days} day{'s' * (days != 1)} {'later' if fitted.later > 0 else 'earlier'} than" if days else "the day that"
    )
    places = f"{calibration.places} place{'s' * (calibration.places > 1)}"
    years = f"{calibration.first_season}"
    if calibration.last_season > calibration.first_season:
        years = f"{years} to {calibration.last_season}"
    text = [
        f"{calibration.count} records at {places}, sown {years}. 25% bloom at {value:,} {unit} (80% interval {low:,} "
        f"to {high:,}), {known} covercrop says without them; {fitted.on_limit}.",
        f"The records scatter about the fit by {fitted.rmse:.1f} days. In a field its bloom is taken to be good to "
        f"{number.spread / number.pace:.0f} days ({spread:,} {unit}), and the weather to come is added to that.",
    ]
    if fitted.left_out_by:
        text.append(
            f"At a {fitted.left_out_by} left out of the fit it misses by {fitted.left_out:.1f} days, a degree-day sum "
            f"from sowing by {fitted.plain_sum:.1f}, a date by latitude by {fitted.latitude:.1f} (root mean square)."
        )
    return text
