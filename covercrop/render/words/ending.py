"""The advice about ending a cover in words: what to do and with what odds, and what that gives up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.models.termination import NEED_PODS
from covercrop.render.words.phrases import chance, day_month, percent, span, weekday

if TYPE_CHECKING:
    from covercrop.season.ending import Odds, Recommended
    from covercrop.season.plan import Plan

#: What is done to the cover, what has been done once it is, and the doing of it.
TO_END = {
    "turn-under": ("turn it under", "turned under", "turning under"),
    "roll": ("roll it", "rolled", "rolling"),
    "mow": ("mow it", "mown", "mowing"),
    "tarp": ("tarp it", "tarped", "tarping"),
}


def to_end(method: str) -> str:
    """What is to be done to the cover: ``turn it under``."""
    return TO_END[method][0]


def ended(method: str) -> str:
    """What has been done to it then: ``turned under``."""
    return TO_END[method][1]


def ending(method: str) -> str:
    """The doing of it: ``turning under``."""
    return TO_END[method][2]


def advice(plan: Plan, best: Recommended) -> str:
    """What to do, when, how, and the odds, in a sentence or two."""
    year, method = int(str(plan.on)[:4]), plan.window.method
    day = weekday(best.date, year)
    do = f"plan to {to_end(method)} about {day}" if plan.window.waits else f"{to_end(method)} now"
    around = f" ({span(best.start, best.end)} is about as good)" if best.end > best.start else ""
    crop = plan.crop.common_name
    match best.why:
        case "crop-out-of-reach":
            return (
                f"{crop.capitalize()} will hardly be in time after this cover: on no safe day is its chance higher "
                f"than {chance(plan.window.best_in_time)}. For the sake of the cover, {do}{around}: {odds(plan, best)}."
            )
        case "crop" | "before-bloom":
            bloom = "before most of it blooms" if best.why == "crop" else "before it blooms"
            return (
                f"{_upper(do)}, {bloom}, so that {crop} can be in time{around}: its chance is then "
                f"{chance(best.in_time)}, with no seed {chance(best.seed_free)}, in bloom {chance(best.bloom)}; all of "
                f"it {chance(best.together)}."
            )
        case "least-risk" if best.killed < best.seed_free:
            return (
                f"{_upper(do)}, {_seen(plan)}{around}, and let what you see decide: in {percent(best.some_day)} of the "
                f"ways the season may go there is a day on which {ending(method)} works. Fixed to that date now, it "
                f"kills with a chance of {chance(best.killed)}, and {odds(plan, best)}."
            )
        case "least-risk":
            return f"{_upper(do)}{around}: no day is left without some risk of seed, and {odds(plan, best)}."
        case _:
            wait = "Not yet: " if plan.window.waits and plan.state in ("growing", "budding") else ""
            return f"{_upper(f'{wait}{do}')}{around}: {odds(plan, best)}."


def _seen(plan: Plan) -> str:
    """What is to be seen on the day on which a cover is rolled or mown."""
    method, mixture = plan.window.method, plan.mixture
    pods = method == "roll" and plan.cover.key in NEED_PODS
    bloom = "at full bloom to the first pods" if pods else "in full bloom"
    if mixture is None or mixture.dead:
        return bloom
    cereal = mixture.companion.common_name
    if method == "turn-under" and mixture.in_grain:
        return f"mown first, since tillage alone may not kill the {cereal}"
    if method == "turn-under":
        return f"before the grain of the {cereal} fills" if mixture.headed else f"before the {cereal} heads"
    when = f"the {cereal} in flower or past it" if method == "roll" else f"the {cereal} headed"
    return f"with {when}" if mixture.legume_dead else f"{bloom}, and {when}"


def odds(plan: Plan, day: Odds) -> str:
    """The chances of a day: of everything together, and of what it is made of."""
    # Beside a cereal it is not bloom that is waited for, but the days on which a way of ending kills both.
    wanted = f"in bloom {chance(day.bloom)}" if plan.mixture is None else f"{_killed(plan)} {chance(day.killed)}"
    return (
        f"everything works with a chance of {chance(day.together)} ({wanted}, no seed {chance(day.seed_free)}, "
        f"{plan.crop.common_name} in time {chance(day.in_time)})"
    )


def _killed(plan: Plan) -> str:
    """What of a mixture is to be killed."""
    mixture = plan.mixture
    return "killed" if mixture is None or mixture.dead or mixture.legume_dead else "both killed"


def given_up(plan: Plan, *, us: bool = False) -> str:
    """What the day that is advised gives up, and the price; empty where nothing."""
    best = plan.window.best
    if best is None or best.other is None:
        return ""
    other, crop = best.other, plan.crop.common_name
    on = f"on {day_month(other.date, int(str(plan.on)[:4]))}"
    if best.given_up == "crop":
        return (
            f"That puts the cover before the crop: {ended(plan.window.method)} {on}, {crop} would be in time with a "
            f"chance of {chance(other.in_time)}, in bloom {chance(other.bloom)}."
        )
    nitrogen = forgone(plan, us=us)
    return (
        f"That gives up bloom: {ended(plan.window.method)} {on} it would be in bloom without seed with a chance of "
        f"{chance(other.probability)}{nitrogen}, and {crop} in time with one of {chance(other.in_time)}."
    )


def forgone(plan: Plan, *, us: bool) -> str:
    """The nitrogen that an earlier ending costs; empty where it is not known, or none to speak of."""
    lost = plan.details.nitrogen.forgone_kg_ha if plan.details else np.nan
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
    amount = 5 * round(lost * per / 5) if np.isfinite(lost) else 0
    return f", with about {amount} {unit} more nitrogen for the crop" if amount > 0 else ""


def _upper(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
