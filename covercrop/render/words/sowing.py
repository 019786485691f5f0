"""The sentences about sowing dates, shared by every way of showing them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.autumn import comparison as model
from covercrop.autumn import verdict
from covercrop.base import units
from covercrop.render.words.answer import planting_of
from covercrop.render.words.phrases import chance, day_month, percent, span
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.autumn.comparison import Autumn, Choice, Failure
    from covercrop.autumn.relaxations import Relaxation

_ENDED = {"turn-under": "turned under", "roll": "rolled", "mow": "mown", "tarp": "tarped"}

#: Why the crop cannot be planted in time, by the limit that clears last.
_LATE = {
    "bloom": "it does not bloom in time",
    "residue": "it blooms and rots too late",
    "disease": "it blooms too late, and the seedling diseases on it take three weeks more",
    "maggot": "it blooms too late for the maggots to be over",
    "soil_warm": "the soil is not warm by then",
    "frost": "frost is not over by then",
}


def name(choice: Choice) -> str:
    """A cover by its common name, with its cultivar where that is known, and the cereal beside it."""
    cultivar = f" '{choice.cultivar}'" if choice.cultivar else ""
    return f"{choice.cover.common_name}{cultivar}{beside(choice)}"


def beside(choice: Choice) -> str:
    """The cereal beside a cover; empty where there is none."""
    return f" with {choice.companion.common_name}" if choice.companion else ""


def year(autumn: Autumn) -> int:
    """The year of the first sowing date, which goes without saying."""
    return int(str(autumn.dates[0])[:4])


def headline(autumn: Autumn) -> str:
    """Which cover, and when to sow it."""
    best = autumn.choices[0]
    if best.fit and verdict.too_late(autumn, best):
        return f"it is too late for {name(best)}, which was to be sown {_between(autumn, best)}."
    if best.fit and verdict.best_is_past(autumn, best):
        return (
            f"sow {name(best)} by {day_month(autumn.dates[best.last or 0], year(autumn))}; the best day, about "
            f"{day_month(autumn.dates[best.best], year(autumn))}, is past."
        )
    if best.fit:
        return f"sow {name(best)} {_between(autumn, best)}."
    if len(autumn.choices) > 1:
        return f"no cover fits within the risk that you accept. Nearest comes {_nearest(autumn, best)}."
    return f"{name(best)} does not fit within the risk that you accept. {_nearest(autumn, best, 'It comes nearest')}."


def _between(autumn: Autumn, choice: Choice) -> str:
    first, last = autumn.dates[choice.first or 0], autumn.dates[choice.last or 0]
    best = day_month(autumn.dates[choice.best], year(autumn))
    return f"on {best}" if first == last else f"{span(first, last)}, best about {best}"


def _nearest(autumn: Autumn, choice: Choice, called: str = "") -> str:
    return (
        f"{called or name(choice)} sown about {day_month(autumn.dates[choice.best], year(autumn))}: "
        f"{percent(float(choice.established[choice.best]))} of the years cover the ground before winter, "
        f"{percent(float(choice.survives[choice.best]))} live, {percent(float(choice.plantable[choice.best]))} of "
        f"those leave the ground plantable by {day_month(autumn.plant_by)}"
    )


def outcome(autumn: Autumn, choice: Choice) -> str:
    """What the best date of a cover leads to; empty where it does not bloom."""
    ended, planted = choice.ended[choice.best], choice.earliest_planting[choice.best]
    if np.isnat(ended):
        return ""
    ending = _ENDED[str(choice.methods[choice.best])]
    said = f"{ending.capitalize()} about {day_month(ended, year(autumn))} ({chance(float(choice.window[choice.best]))} "
    said += "chance that the window is open then"
    said += "; so poor that spring has to tell)" if verdict.is_poor(choice) else ")"
    if np.isnat(planted):
        return f"{said}, it leaves no day safe to {planting_of(autumn.field, autumn.crop)} in most years."
    return (
        f"{said}, it lets you {planting_of(autumn.field, autumn.crop)} from about {day_month(planted, year(autumn))}. "
        f"Covered, alive and in time: {percent(float(choice.together[choice.best]))} of the years."
    )


def own(autumn: Autumn, choice: Choice) -> str:
    """The field's own cover, where another one is fitter."""
    if choice.fit:
        return f"{_first_big(name(choice))}, as on this field now: {_between(autumn, choice)}."
    nearest = _nearest(autumn, choice, "it comes nearest")
    return f"{_first_big(name(choice))}, as on this field now, does not fit; {nearest}."


def _first_big(text: str) -> str:
    """A sentence with its first letter made big, and the names in it left alone."""
    return f"{text[:1].upper()}{text[1:]}"


def fails(autumn: Autumn, choice: Choice, failure: Failure) -> str:
    """What fails first on one side of the dates that fit, in a sentence."""
    often = percent(1.0 - failure.share)
    when = f"sown on {day_month(failure.date)} or {'later' if failure is choice.after else 'earlier'}"
    match failure.limit:
        case "established":
            return f"{when}, {name(choice)} does not cover the ground before winter in {often} of the years."
        case "survives":
            return f"{when}, {name(choice)} dies of the cold in {often} of the years."
        case _:
            why = f": {_LATE[failure.cause]}" if failure.cause else ""
            return (
                f"{when}, {name(choice)} does not leave the ground plantable by {day_month(autumn.plant_by)} in "
                f"{often} of the years{why}."
            )


def edges(autumn: Autumn, choice: Choice) -> list[str]:
    """What fails first on either side of a cover's dates."""
    if not choice.fit:
        return []
    said = [fails(autumn, choice, failure) for failure in (choice.before, choice.after) if failure is not None]
    if choice.before is None and choice.after is None:
        said.append(f"nothing fails {name(choice)} between the dates looked at.")
    return [_first_big(sentence) for sentence in said]


def beyond(autumn: Autumn, choice: Choice) -> str:
    """What the first day of a cover means where it is only the first that was looked at."""
    if not verdict.starts_with_the_first(choice):
        return ""
    return (
        f"No day before {day_month(autumn.dates[0])} was looked at. Nothing fails here for being sown too early; in a "
        "field a rank stand may."
    )


def wanted(autumn: Autumn) -> str:
    """By when the crop has to be planted, and why."""
    crop, by = autumn.crop.common_name, day_month(autumn.plant_by, year(autumn))
    ripe = f"ripens in time in {percent(autumn.ripens_by)} of the years"
    match autumn.plant_by_from:
        case "asked":
            return f"Wanted: {crop} in the ground by {by}; planted then, it {ripe}."
        case "midsummer":
            return (
                f"Wanted: {crop} in the ground by {by}, midsummer (--plant-by sets another day); planted then, it "
                f"{ripe}."
            )
        case _:
            return (
                f"Wanted: {crop} in the ground by {by}, the last day from which it {ripe} (--plant-by sets another "
                "day)."
            )


def brings(autumn: Autumn, choice: Choice, *, us: bool) -> str:
    """What a cover brings, sown on its best date; empty where that is not known."""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
    dry, nitrogen, pan = (
        float(choice.brings[amount][choice.best]) for amount in ("dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha")
    )
    if np.isnan(dry):
        return ""
    here = _on_this_field(autumn, abs(pan), us=us)
    available = f"{pan * per:.0f} {unit} of that{here} becomes available to the crop"
    if pan < 0:
        available = f"it ties up {-pan * per:.0f} {unit} of the crop's{here}"
    return (
        f"{_first_big(name(choice))} sown on the best date brings, in the middle year, "
        f"{round(dry * per, -2):,.0f} {unit} of dry matter with {nitrogen * per:.0f} {unit} of nitrogen (C:N "
        f"{choice.brings['carbon_nitrogen'][choice.best]:.0f}); {available}."
    )


def _on_this_field(autumn: Autumn, kg_ha: float, *, us: bool) -> str:
    if autumn.field.area_m2 is None:
        return ""
    per, unit = (1 / units.KG_PER_LB, "lb") if us else (1.0, "kg")
    return f" ({kg_ha * autumn.field.area_m2 / units.M2_PER_HA * per:.1f} {unit} on this field)"


def rule(autumn: Autumn, *, us: bool) -> str:
    """The trade's own rule, with the dates that it gives here."""
    frost = "28 °F" if us else "-2.2 °C"
    if np.isnat(autumn.frost):
        return (
            "Common practice, no source, has it six to eight weeks before the first hard frost; half of the years have "
            f"none here ({frost})."
        )
    return (
        "Common practice, no source: six to eight weeks before the first hard frost "
        f"({frost}; here about {day_month(autumn.frost)}), which gives {span(*verdict.rule_dates(autumn))}."
    )


def seed(autumn: Autumn, choice: Choice, *, us: bool) -> str:
    """How much seed, how deep, with which inoculant."""
    sowing = choice.cover.sowing
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
    ways = " or ".join(
        f"{rate.value * per:.0f} {unit} {way}{_on_this_field(autumn, rate.value, us=us)}"
        for rate, way in ((sowing.drilled, "drilled"), (sowing.broadcast, "broadcast"))
    )
    deep = sowing.depth
    ends = [deep.value] if deep.low is None or deep.high is None else [deep.low, deep.high]
    depth = " to ".join(f"{end / units.M_PER_IN:.2g}" if us else f"{end * 1000:.0f}" for end in ends)
    depth += " inches" if us else " mm"
    memory = " These rates are from memory: ask your seed house." if sowing.drilled.basis == "assumed" else ""
    return (
        f"Seed of {choice.cover.common_name}: {ways}, {depth} deep, with the inoculant of the "
        f"{choice.cover.inoculant}.{memory}{_cereal_seed(autumn, choice, us=us)}"
    )


def _cereal_seed(autumn: Autumn, choice: Choice, *, us: bool) -> str:
    """The seed of the cereal beside a cover, thin enough that the legume leads; empty where there is none."""
    if choice.companion is None:
        return ""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
    beside, alone = (rate.value for rate in (choice.companion.sowing.beside, choice.companion.sowing.alone))
    return (
        f" Beside it {beside * per:.0f} {unit} of {choice.companion.common_name}"
        f"{_on_this_field(autumn, beside, us=us)}, of which {alone * per:.0f} {unit} are sown alone: so thin that the "
        "legume leads."
    )


def cereal_winter(autumn: Autumn, choice: Choice) -> str:
    """How often the cereal beside a cover lives through the winter; empty without one, and where it always does."""
    if choice.companion is None or verdict.cereal_lives(choice):
        return ""
    lives = percent(float(choice.cereal_lives[choice.best]))
    return (
        f"Sown on {day_month(autumn.dates[choice.best], year(autumn))}, {lives} of the winters leave the "
        f"{choice.companion.common_name} beside the {choice.cover.common_name} alive; after the others the mulch stays."
    )


def dry(autumn: Autumn) -> str:
    """Whether seed has to be watered in; empty where it need not, or rain is not known."""
    if not verdict.rain_is_known(autumn):
        return "No rain is known here: look at the seedbed, and water where it is dry."
    worst = verdict.to_water_in(autumn)
    if worst is None:
        return ""
    often = percent(1.0 - float(autumn.moist[worst]))
    return (
        f"Be ready to water the seed in: sown on {day_month(autumn.dates[worst])}, the driest time, it gets too little "
        f"rain in the first three weeks in {often} of the years."
    )


def snow(autumn: Autumn) -> str:
    """What the odds of living leave out; empty where all live anyway."""
    if not verdict.snow_matters(autumn):
        return ""
    return "No snow is reckoned with: where it lies through the coldest weeks, more lives than is shown."


def relaxation(autumn: Autumn, relaxed: Relaxation, *, us: bool = False) -> str:
    """What would make a cover fit, in a sentence."""
    dates = f"{relaxed.cover} fits sown {_from_to(relaxed.start, relaxed.end)}"
    enough = "" if np.isnan(relaxed.alive) else f"if {relaxed.alive:.0%} alive is enough for you (--alive), "
    under = "where snow lies through the coldest weeks, " if relaxed.snow else enough
    crop = autumn.crop.common_name
    match relaxed.kind:
        case "snow" | "accept":
            said = f"{under}{dates}"
        case "earlier-sowing":
            if verdict.relaxed_too_late(autumn, relaxed):
                again = (relaxed.start.astype("datetime64[M]") + np.timedelta64(12, "M")).astype("datetime64[D]")
                said = (
                    f"{under}too late this autumn: {dates.replace(' fits ', ' would have fitted ')}; for the next, ask "
                    f"with --from {again}"
                )
            else:
                said = f"{under}sown earlier: {dates}"
        case "early-ending":
            per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
            said = (
                f"{under}turned under by {day_month(relaxed.day)}, ahead of its best day, {dates}; it then "
                f"brings {round(relaxed.number * per, -2):,.0f} {unit} of dry matter"
            )
        case "early-cultivar":
            said = f"{under}with the early cultivar '{relaxed.detail}', {dates}"
        case "transplants":
            said = f"{under}with transplants instead of seed, {dates}"
        case "shorter-crop":
            said = (
                f"{under}with a variety of {crop} that ripens in {relaxed.number:.0f} days, planted by "
                f"{day_month(relaxed.day)}, {dates}"
            )
        case _:
            said = f"{under}with {crop} planted by {day_month(relaxed.day)} instead, {dates}"
    return f"{_first_big(said)}."


def _from_to(start: np.datetime64, end: np.datetime64) -> str:
    return f"on {day_month(start)}" if start == end else span(start, end)


def assumptions(autumn: Autumn) -> list[str]:
    """What no source gives, for the covers that are talked about."""
    said: dict[str, None] = dict.fromkeys(model.ASSUMPTIONS)
    for choice in verdict.talked_about(autumn):
        said.update(dict.fromkeys(advice.sowing_assumptions(choice.cover)))
        said.update(dict.fromkeys(advice.assumptions(autumn.field, choice.cover, autumn.crop)))
    return list(said)


def cautions(autumn: Autumn) -> list[str]:
    """What can hurt, for the covers that are talked about."""
    return list(
        dict.fromkeys(
            caution for choice in verdict.talked_about(autumn) for caution in advice.sowing_cautions(choice.cover)
        )
    )


def sources(autumn: Autumn, choices: Sequence[Choice]) -> list[str]:
    """Keys of the sources of some covers' odds and of their sowing."""
    keys: dict[str, None] = {}
    for choice in choices:
        keys.update(dict.fromkeys(advice.sowing_sources(choice.cover)))
        keys.update(dict.fromkeys(advice.sources(autumn.field, choice.cover, autumn.crop)))
    return list(keys)
