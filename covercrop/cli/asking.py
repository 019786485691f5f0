"""Asking for a field at a terminal: one question at a time, with its default and what the answer is good for."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from covercrop.base.errors import CovercropError, StationError, UnknownNameError, UsageError, one_line
from covercrop.cli.shared import in_options, show

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

#: What is asked: the question, what it is good for, and what stands where nothing is typed; None where it is needed.
QUESTIONS: dict[str, tuple[str, str, str | None]] = {
    "name": ("Name of the field", "every answer calls it so", None),
    "at": (
        "Latitude and longitude, such as 37.80 -84.10",
        "most maps show them by a right click; west and south have a minus",
        None,
    ),
    "elevation": ("Height above the sea, such as 260m or 850ft", "brings a station's warmth to your height", ""),
    "area": ("Area, such as 900m2 or 0.5acres", "for seed and nitrogen of the whole field", ""),
    "cover": ("Cover that is sown", "leave it empty while nothing is: you are told what to sow", ""),
    "cultivar": ("Its cultivar", "narrows the dates of bloom", ""),
    "with": ("Cereal sown beside it: rye, triticale, wheat, barley, oats", "it has a clock and a straw of its own", ""),
    "legume_percent": (
        "The legume's share of the stand, such as 40 or 30-50",
        "by dry weight, or by eye in spring; empty: a wide range is taken",
        "",
    ),
    "sown": ("Day on which it was sown, such as 2025-09-12", "everything is counted from it", None),
    "terminate": ("How it is to be ended: turn-under, roll, mow or tarp", "each has its own window", "turn-under"),
    "crop": ("Crop that follows", "the soil and the frost that it can bear", None),
    "method": ("direct-seed or transplant", "plants ripen sooner, and fear disease less", "direct-seed"),
    "ground_cover": ("Its ground: bare, straw or black-plastic", "how warm the soil gets", "bare"),
    "days_to_maturity": ("Days to maturity on the packet", "whether it ripens before frost", ""),
    "station": ("Public station", "empty: the nearest; covercrop weather shows which", ""),
    "weather_file": ("File with your own weather", "comes before any station", ""),
    "weather_units": ("Its units: metric or us", "degC and mm, or degF and inches; empty: as the field file", ""),
}

#: What is only asked where something else was answered.
_RESTS_ON = {
    "cultivar": "cover",
    "with": "cover",
    "legume_percent": "with",
    "sown": "cover",
    "terminate": "cover",
    "weather_units": "weather_file",
}


def asked(given: dict[str, str], path: Path, *, us: bool) -> dict[str, str]:
    """What is given, and what a grower answers of the rest.

    Parameters
    ----------
    given : dict of str to str
    path : pathlib.Path
        The field file, for the names that it has already.
    us : bool
        Take dates as Americans write them.
    """
    from covercrop.field.file import names_in

    told, taken = dict(given), names_in(path)
    show("Enter takes what stands in brackets.")
    for key, (question, good_for, default) in QUESTIONS.items():
        if key in told or _RESTS_ON.get(key, key) not in (key, *told):
            continue
        try:
            answer = _answered(f"{question} ({good_for})", default, partial(_check, key, told, taken, us=us))
        except EOFError:
            raise UsageError(f"{path}: nothing is written, since the questions were left open") from None
        if answer:
            told[key] = answer
    return told


def _answered(question: str, default: str | None, check: Callable[[str], str]) -> str:
    """The answer to a question, asked again until it can be used; what is good to know of it is shown."""
    shown = "" if default is None else f" [{default or 'none'}]"
    while True:
        text = input(f"{question}{shown}: ").strip() or default
        if text is None:
            show("  It cannot do without.")
            continue
        try:
            remark = check(text) if text else ""
        except CovercropError as error:
            show(f"  {one_line(in_options(error))}")
            continue
        if remark:
            show(f"  {remark}")
        return text


def _check(key: str, told: dict[str, str], taken: tuple[str, ...], text: str, *, us: bool) -> str:
    """What is good to know of an answer; raises what is wrong with it."""
    from covercrop.field import entries, typed
    from covercrop.models import seedling_disease, soil_temperature, termination
    from covercrop.parameters import catalogue
    from covercrop.parameters.companions import companion

    match key:
        case "name":
            if text in taken:
                raise UsageError(f"a field of the file is named {text!r} already; give another name")
        case "at":
            return _near(*typed.place_of(text))
        case "elevation" | "area":
            typed.quantity_of(text, key)
        case "cover":
            names = ", ".join(each.name for each in entries.legume(text).cultivars)
            return f"Cultivars that are known: {names}." if names else ""
        case "cultivar":
            catalogue.cultivar(catalogue.cover(told["cover"]), text)
        case "legume_percent":
            entries.check_share(typed.share_of(text), told["with"])
        case "sown":
            return f"Read as {typed.day_of(text, 'sown', us=us):%A %d %B %Y}."
        case "crop" | "with":
            {"crop": catalogue.crop, "with": companion}[key](text)
        case "days_to_maturity":
            entries.CropEntry(name=told["crop"], days_to_maturity=typed.number_of(text, key))
        case "terminate" | "method" | "ground_cover" | "weather_units":
            known = {
                "terminate": termination.METHODS,
                "method": seedling_disease.METHODS,
                "ground_cover": soil_temperature.GROUND_COVERS,
                "weather_units": entries.UNITS,
            }[key]
            if text not in known:
                raise UnknownNameError(key, text, known)
    return ""


def _near(latitude: float, longitude: float) -> str:
    """The station nearest to a place, and how far it is."""
    from covercrop.base.errors import OfflineError
    from covercrop.field.entries import check_place
    from covercrop.weather.stations import nearest

    check_place(latitude, longitude)
    try:
        station = nearest(latitude, longitude)[0]
    except StationError as error:
        return f"{error}."
    except OfflineError as error:
        return f"Stations near it are not known: {one_line(error)}."
    return f"Nearest public station: {station.name} ({station.id}), {station.distance_km:.0f} km away."
