"""A field that was written, for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.render.screen.terminal import distance
from covercrop.render.words import phrases
from covercrop.render.words.answer import planting_of

if TYPE_CHECKING:
    from pathlib import Path

    from covercrop.render.screen.terminal import Screen
    from covercrop.season.adding import Added


def added(screen: Screen, new: Added, path: Path, *, us: bool = False) -> None:
    """Print the field as it was read back, what looks wrong of it, and what to ask next.

    Parameters
    ----------
    screen : Screen
    new : Added
    path : pathlib.Path
        The field file.
    us : bool
        Show US units.
    """
    field, cover = new.field, new.field.cover
    screen.say(f"{field.name} is written into {path}.", style="bold")
    screen.say(f"Place: {field.latitude:g}, {field.longitude:g}", indent=2)
    if cover is None:
        screen.say("Cover: none yet", indent=2)
    else:
        cultivar = f" '{cover.cultivar}'" if cover.cultivar else ""
        sown = np.datetime64(cover.sown, "D")
        name = catalogue.cover(cover.species).common_name
        beside = f" with {companion(cover.companion).common_name}" if cover.companion else ""
        screen.say(f"Cover: {name}{cultivar}{beside}, sown {phrases.weekday(sown)} {cover.sown.year}", indent=2)
    screen.say(f"Then: {planting_of(field, catalogue.crop(field.crop.name))}", indent=2)
    for station in new.weather.stations if new.weather is not None else ():
        far = "" if station.distance_km is None else f", {distance(station.distance_km, us=us)} away"
        screen.say(f"Weather: {station.name} ({station.id}){far}", indent=2)
    for doubt in new.doubts:
        screen.say(f"Check: {doubt}", style="yellow")
    if new.unchecked:
        screen.say(f"The first answer has to wait for its weather: {new.unchecked}.")
    command = "sow" if cover is None else "ready"
    screen.say(f"From now on: covercrop {command} {path}")
    screen.say()
