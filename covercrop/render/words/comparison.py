"""Words about endings compared: what would help, and how the table is read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from covercrop.render.words import ending
from covercrop.render.words.phrases import chance, day_month, weekday

if TYPE_CHECKING:
    from covercrop.season.helps import Help
    from covercrop.season.plan import Plan

_GROUND = {
    "bare": "leaving the ground bare until it is planted",
    "straw": "laying straw",
    "black-plastic": "laying black plastic",
}

#: How the table is read.
KEY = (
    "killed, no seed, bloom, in time: the chance of each if it is ended on that day; all: of everything at once. In "
    "time: the crop can be planted so that it ripens, and by the day you want. Dry: how much of the seven days from "
    "then on the soil can be worked. N: what the crop gets of the cover's nitrogen."
)


#: What is more to be known of a mixture.
OF_MIXTURES = (
    ", below nothing what it ties up. Killed and all count both of a mixture, bloom the legume; Zadoks: the stage of "
    "the cereal (30 stems stretch, 45 boot, 61 flowers, 71 grain)."
)


def change(plan: Plan, helped: Help) -> str:
    """What is done differently: ``setting out transplants``."""
    crop = plan.crop.common_name
    match helped.change:
        case "transplants":
            return f"setting out transplants of {crop}"
        case "quicker-variety":
            return f"a {crop} variety of {helped.detail} days"
        case "ground-cover":
            return _GROUND[helped.detail]
        case "more-risk":
            return f"taking a risk of seed of up to {helped.detail}%, and pulling what comes up"
        case _:
            return f"{ending.ending(helped.detail)} instead"


def _promise(plan: Plan, helped: Help) -> str:
    """What it makes of the chances, that which gains most first."""
    everything = f"everything works with a chance of {chance(helped.together)}"
    if not helped.of_crop:
        return everything
    return f"{plan.crop.common_name} is in time with a chance of {chance(helped.in_time)}, and {everything}"


def helps(plan: Plan, helped: Help) -> str:
    """What one thing would do, in a sentence."""
    said = change(plan, helped)
    planted = f"planted from about {day_month(helped.plant_likely)}"
    return f"{said[0].upper()}{said[1:]}: {_promise(plan, helped)}, {_then(plan, helped)}, {planted}."


def most(plan: Plan, helped: Help) -> str:
    """What would help most, in a sentence after the advice."""
    return f"What would help most: {change(plan, helped)}; {_promise(plan, helped)}, {_then(plan, helped)}."


def _then(plan: Plan, helped: Help) -> str:
    """How and when the cover is then ended."""
    how = helped.detail if helped.change == "way" else plan.window.method
    return f"{ending.ended(how)} about {weekday(helped.date, int(str(plan.on)[:4]))}"
