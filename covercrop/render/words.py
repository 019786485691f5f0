"""The sentences of an answer, shared by every way of showing it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop import plantback, units

if TYPE_CHECKING:
    from covercrop.plan import Plan
    from covercrop.records import DateRange

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

#: What each date of the chain is called, in the order in which it is shown.
DATE_LABELS = {
    "emergence": "emergence",
    "bud": "buds visible",
    "first_flower": "first flowers open",
    "bloom_25": "25 % bloom",
    "bloom_50": "50 % bloom",
    "end_of_bloom": "end of bloom",
    "window_open": "window opens",
    "window_close": "window closes",
    "viable_seed": "first viable seed",
    "residue": "residue broken down",
    "disease": "seedling disease past",
    "maggot": "seedcorn maggot past",
    "soil_warm": "soil warm enough",
    "frost": "last spring frost",
    "earliest_planting": "earliest safe planting",
    "latest_planting": "latest planting to ripen",
}

STATE_WORDS = {
    "growing": "growing",
    "budding": "budding",
    "in-window": "in the window",
    "closing": "window closing",
    "seed-risk": "seed risk",
    "turned-under": "turned under",
    "plantable": "plantable",
    "planted": "planted",
    "winter-killed": "winter-killed",
}

#: Days that watering has to gain before it is mentioned.
WORTH_WATERING = 3

_ENDING = {
    "turn-under": "turn it under",
    "roll": "roll it",
    "mow": "mow it",
    "tarp": "tarp it",
}
_PLANTING = {"direct-seed": "sow {}", "transplant": "set out {}"}


def day_month(day: np.datetime64, year: int | None = None) -> str:
    """A date as ``5 May``; with its year where that is not ``year``.

    ``-`` stands for a date that is not reached.
    """
    if np.isnat(day):
        return "-"
    iso = str(day)
    text = f"{int(iso[8:10])} {MONTHS[int(iso[5:7]) - 1]}"
    return text if year is None or int(iso[:4]) == year else f"{text} {iso[:4]}"


def weekday(day: np.datetime64) -> str:
    """A date as ``Tue 5 May``."""
    return f"{WEEKDAYS[(int(day.astype(int)) + 3) % 7]} {day_month(day)}"


def span(start: np.datetime64, end: np.datetime64) -> str:
    """Two dates as ``2-8 May`` or ``28 Apr - 4 May``."""
    if str(start)[:7] == str(end)[:7]:
        return f"{int(str(start)[8:10])}-{day_month(end)}"
    return f"{day_month(start)} - {day_month(end)}"


def percent(share: float) -> str:
    """A share as whole percent, never a false 0 or 100."""
    if 0 < share < 0.01:
        return "under 1 %"
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{share * 100:.0f} %"


def headline(plan: Plan) -> str:
    """What to do about the cover, in a sentence that can be acted on."""
    return (_stand_headline if plan.field.cover.turned_under is None else _ground_headline)(plan)


def _stand_headline(plan: Plan) -> str:
    """The headline while the cover still stands, or has died."""
    ending = _ENDING[plan.field.cover.terminate]
    closing = plan.dates["window_close"].early
    soon = plan.on if np.isnat(closing) or closing < plan.on else closing
    best = plan.turn_under
    said = {
        "winter-killed": f"The cold has most likely killed the {plan.cover.common_name}: go and look. "
        "If it is dead there is no bloom to wait for.",
        "seed-risk": f"Too late for a safe window ({percent(plan.closed_now)} odds that the first seed is viable): "
        f"{ending} at once, and expect volunteers.",
        "closing": f"The window is closing: {ending} by {weekday(soon)} ({percent(plan.window_now)} odds today).",
        "in-window": f"The window is open ({percent(plan.window_now)} odds): {ending} by {weekday(soon)}.",
    }
    if plan.state in said:
        return said[plan.state]
    if best is None:
        return f"No day to {ending} can be named yet."
    return (
        f"Not yet: plan to {ending} about {weekday(best.date)} ({percent(best.probability)} odds; "
        f"best week {span(best.start, best.end)})."
    )


def _ground_headline(plan: Plan) -> str:
    """The headline once the cover is turned under."""
    if plan.state == "planted":
        return f"{plan.crop.common_name.capitalize()} was planted on {_own_date(plan, plan.field.crop.planted)}."
    if plan.state == "plantable":
        return f"The ground is ready: {planting(plan)} now{_latest(plan)}."
    return f"Turned under on {_own_date(plan, plan.field.cover.turned_under)}."


def planting(plan: Plan) -> str:
    """What planting is called for this crop: ``sow pumpkin``."""
    return _PLANTING[plan.field.crop.method].format(plan.crop.common_name)


def then(plan: Plan) -> str:
    """What follows for the crop, and which limit holds it back; empty where nothing is to be said."""
    earliest = plan.dates["earliest_planting"]
    if plan.state in ("planted", "plantable", "winter-killed") or np.isnat(earliest.early):
        return ""
    after = f", if it is turned under on {day_month(plan.turn_under.date)}" if plan.turn_under else ""
    why = f": {plantback.BINDING_WORDS[plan.binding_limit]}" if plan.binding_limit else ""
    if np.isnat(earliest.median):
        return f"It may be too cold to {planting(plan)} this season{after}{why}."
    when = f"from about {weekday(earliest.median)}"
    if np.isnat(earliest.late):
        when += f" (from {day_month(earliest.early)}, or not at all)"
    elif earliest.early != earliest.late:
        when += f" ({span(earliest.early, earliest.late)})"
    return f"{planting(plan).capitalize()} {when}{after}{why}."


def _own_date(plan: Plan, day: object) -> str:
    return day_month(np.datetime64(str(day)), int(str(plan.on)[:4]))


def _latest(plan: Plan) -> str:
    latest = plan.dates["latest_planting"].early
    return "" if np.isnat(latest) else f", and by {day_month(latest)} to ripen before frost"


def season_fit(plan: Plan) -> str:
    """Whether the crop still has time to ripen, in a sentence."""
    earliest, latest = plan.dates["earliest_planting"].median, plan.dates["latest_planting"].early
    if np.isnat(earliest) or np.isnat(latest):
        return ""
    room = int((latest - earliest).astype(int))
    crop = plan.crop.common_name
    if room >= 0:
        return (
            f"{crop.capitalize()} has {room} days to spare: planted by {day_month(latest)} it ripens before "
            "the first autumn frost in nine years of ten."
        )
    return (
        f"Short season: planted on {day_month(earliest)}, {crop} is {-room} days too late to ripen before the first "
        "autumn frost in nine years of ten; use transplants, a quicker variety or an earlier turning-under."
    )


def interval(dates: DateRange, year: int) -> tuple[str, str, str]:
    """Early, likely and late date of an 80 % interval, as text; only the likely one where they are one day."""
    early, likely, late = (day_month(day, year) for day in (dates.early, dates.median, dates.late))
    return ("", likely, "") if early == likely == late else (early, likely, late)


def what_is_where(plan: Plan) -> str:
    """What was sown, when, and what is to follow how, in a line."""
    field = plan.field
    named = f" '{field.cover.cultivar}'" if field.cover.cultivar else ""
    ground = {"bare": "on bare ground", "straw": "under straw", "black-plastic": "in black plastic"}
    how = {"direct-seed": "direct-seeded", "transplant": "transplanted"}
    return (
        f"{plan.cover.common_name.capitalize()}{named}, sown {_own_date(plan, field.cover.sown)}; then "
        f"{plan.crop.common_name}, {how[field.crop.method]} {ground[field.crop.ground_cover]}"
    )


def reasons(plan: Plan, *, us: bool = False) -> list[str]:
    """Why the answer is what it is, a sentence each."""
    if plan.state == "winter-killed":
        return [f"Odds that the stand has lived through the cold: {percent(plan.survival)}."]
    seen = f"{percent(plan.observed_share)} of the days up to turning under are observed"
    years = len(plan.outlook.years)
    said = [f"The stand is most likely at BBCH {plan.bbch}: {plan.stage}."]
    if plan.survival < 0.95:
        said.append(f"Odds that it lives through the winter: {percent(plan.survival)}.")
    said.append(f"{seen}; {years} past years of this place finish the season." if years else f"{seen}.")
    close = plan.cover.seed.flower_to_maturity
    if close.basis == "assumed" and not np.isnat(plan.dates["window_close"].early):
        said.append(f"When the window closes rests on an assumed number: {close.reason}.")
    if plan.nitrogen:
        said.append(nitrogen(plan, us=us))
    gain = plan.dates["residue"].median - plan.residue_if_watered
    if not np.isnat(gain) and gain.astype(int) >= WORTH_WATERING:
        said.append(
            f"The residue date goes by the rain: in ground that is kept moist it is likely "
            f"{day_month(plan.residue_if_watered)}."
        )
    if fit := season_fit(plan):
        said.append(fit)
    return said


def nitrogen(plan: Plan, *, us: bool = False) -> str:
    """What turning under brings, in a sentence."""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")

    def amount(name: str, step: int) -> str:
        value = plan.nitrogen[name]
        low, high = (round(end * per / step) * step for end in (value.low, value.high))
        return f"{low:,.0f} to {high:,.0f} {unit}" if low != high else f"{low:,.0f} {unit}"

    return (
        f"Turned under then it brings {amount('dry_matter_kg_ha', 100)} of dry matter with "
        f"{amount('n_kg_ha', 5)} of nitrogen; {amount('pan_kg_ha', 5)} of that becomes available to the crop"
        + (f", about {round(plan.pan_by_planting * 20) * 5} % of it by planting." if plan.pan_by_planting > 0 else ".")
    )
