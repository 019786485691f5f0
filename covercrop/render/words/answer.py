"""The sentences of an answer, shared by every way of showing it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.base.one_system import one_system
from covercrop.models import plantback
from covercrop.models.bbch import stage_name
from covercrop.models.soil_temperature import DAYS_HELD
from covercrop.models.termination import ON_SURFACE
from covercrop.render.words import mixture
from covercrop.render.words.comparison import most
from covercrop.render.words.ending import advice, ended, given_up
from covercrop.render.words.ending import to_end as to_end_by
from covercrop.render.words.phrases import DATE_LABELS, chance, day_month, interval, percent, temperature, weekday
from covercrop.season import note_effects
from covercrop.season.stand_part import STAND_DATES
from covercrop.season.winter_part import UNKNOWN_SNOW

if TYPE_CHECKING:
    from collections.abc import Iterable

    from covercrop.field.entries import Ground, ScoutingNote
    from covercrop.parameters.traits import Crop
    from covercrop.season.plan import Plan


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

_GERUND = {"roll": "Rolling", "mow": "Mowing", "tarp": "Tarping"}
_PLANTING = {"direct-seed": "sow {}", "transplant": "set out {}"}
_GROUND = {"bare": "on bare ground", "straw": "under straw", "black-plastic": "in black plastic"}
_HOW = {"direct-seed": "direct-seeded", "transplant": "transplanted"}

#: Rows of the table of dates that only a standing cover has.
_OF_THE_COVER = (*STAND_DATES, "window_open", "window_close")


def state(plan: Plan) -> str:
    """The state in words; a cover that was rolled, mown or tarped is not called turned under."""
    return ending(plan) if plan.state == "turned-under" else STATE_WORDS[plan.state]


def ending(plan: Plan) -> str:
    """What the cover was or is to be: ``turned under``."""
    return ended(plan.window.method)


def date_rows(plan: Plan, names: Iterable[str] = DATE_LABELS, *, us: bool = False) -> list[tuple[str, str, str, str]]:
    """The table of dates: what, and its early, likely and late date; what is not reached or over is left out."""
    year, dates = _year(plan), plan.dates
    return [
        (label.format(soil=temperature(plan.planting.soil_c, us=us)), *interval(dates[name], year))
        for name in names
        for label in (DATE_LABELS[name],)
        if not np.isnat(dates[name].early) and not (plan.is_ended and name in _OF_THE_COVER)
    ]


def headline(plan: Plan) -> str:
    """What to do about the cover, in a sentence that can be acted on."""
    said = (_ground_headline if plan.is_ended else _stand_headline)(plan)
    stale = "" if plan.is_ended else stale_since(plan)
    said = f"By weather that ends on {stale}, {said[0].lower()}{said[1:]}" if stale else said
    return " ".join(filter(None, (doubt(plan), said)))


def doubt(plan: Plan) -> str:
    """That notes do not fit, and what to do about it; empty where all do.  It comes before any advice."""
    doubts = plan.provenance.doubts
    if not doubts:
        return ""
    last = doubts[-1]
    said, used = note_effects.doubt_said(last), plan.provenance.rests_on(last)
    match plan.provenance.check:
        case "soil":
            return f"Measure the soil again: {said}{'' if used else ', and is left out'}."
        case "sowing":
            return f"Check the sowing date and the cultivar: {said}, twice; if you are sure of that, go by the stand."
        case "notes":
            what = f"Mend or strike a note before you go by this: {said}"
        case _:
            what = f"Look again before you act: {said}"
    if not used:
        return f"{what}; it is left out."
    if plan.window.undoubted is None:
        return f"{what}."
    which = "it" if len(doubts) == 1 else "the notes in doubt"
    return f"{what}; without {which} the day would be {weekday(plan.window.undoubted.date, _year(plan))}."


def stale_since(plan: Plan) -> str:
    """The last day with weather, where that is long ago; empty otherwise."""
    return _own_date(plan, plan.provenance.stale_since) if plan.provenance.is_stale else ""


#: What killed or protected a stand, by the cause.
_CAUSES = {
    "young": "it was too young to have hardened",
    "soft": "it had hardly hardened",
    "bare": "no snow lay in the cold week of {day}",
    "cold": "the {snow} of snow did not keep the cold of {day} off",
    "snow": "{snow} of snow kept it alive in the cold week of {day}",
}


def winter(plan: Plan, *, us: bool = False) -> str:
    """What the stand went through, in sentences; empty where it has felt no frost."""
    told = plan.winter
    if np.isnat(told.hardest):
        return ""
    day = day_month(told.hardest)
    felt, stands = (temperature(value, us=us) for value in (told.felt_c, told.stands_c))
    said = f"It was hardest on {day}, when the stand felt {felt}; half of such stands die at {stands}."
    return f"{said} {_cause(plan, us=us)[:1].upper()}{_cause(plan, us=us)[1:]}." if told.cause else said


def _cause(plan: Plan, *, us: bool = False) -> str:
    told = plan.winter
    depth = told.snow_mm / (units.M_PER_IN * 1000) if us else told.snow_mm / 10
    day = day_month(told.hardest)
    return _CAUSES[told.cause].format(day=day, snow=f"{depth:.0f} {'in' if us else 'cm'}")


def _of_cold(plan: Plan) -> str:
    """Why the cold killed it, to be put behind that it did."""
    if not plan.winter.lost:
        return ""
    known = plan.winter.snow_from not in UNKNOWN_SNOW
    return f", since {_cause(plan)}" if known or plan.winter.cause != "bare" else ", unless snow covered it"


def _stand_headline(plan: Plan) -> str:
    """The headline while the cover still stands, or has died."""
    match plan.state:
        case "seed-risk" if mixture.too_late(plan):
            return if_it_lives(plan, mixture.too_late(plan))
        case "winter-killed":
            return (
                f"The cold has most likely killed the {plan.cover.common_name}{_of_cold(plan)}: go and look. "
                "If it lives, add a scouting note; if not, write the day you work it in as turned_under."
            )
        case "seed-risk":
            said = (
                f"Too late for a safe window ({chance(plan.stand.seed_now)} chance that the first seed is viable): "
                "turn it under at once, and expect volunteers."
            )
        case "closing":
            said = _closing(plan)
        case "in-window":
            said = _open(plan)
        case _:
            said = _not_yet(plan)
    better = help_most(plan) or surer(plan)
    return if_it_lives(plan, " ".join(filter(None, (instead(plan), said, given_up(plan), better))))


def instead(plan: Plan) -> str:
    """That another way of ending the cover is planned than was asked for; empty where it is the same."""
    if not plan.window.instead:
        return ""
    return f"{_GERUND[plan.window.asked]} has no day that is safe; turning under may have."


def help_most(plan: Plan) -> str:
    """What would help most, where the advice is more likely to fail than not; empty otherwise."""
    return most(plan, plan.details.helps[0]) if plan.details and plan.details.helps else ""


def surer(plan: Plan) -> str:
    """The best day of turning under, where the way asked for has poor chances; empty otherwise."""
    best = plan.window.surer
    if best is None:
        return ""
    return f"Turning under is surer: {chance(best.probability)} on {weekday(best.date, _year(plan))}."


def if_it_lives(plan: Plan, said: str) -> str:
    """A sentence about the stand, made conditional where it may well have died."""
    if not plan.stand.doubtful:
        return said
    it = "it" if plan.mixture is None else f"the {plan.cover.common_name}"
    return (
        f"If {it} has lived through the cold (a chance of {chance(plan.stand.survival)}), {said[0].lower()}{said[1:]}"
    )


def to_end(plan: Plan) -> str:
    """What is to be done to the cover: ``turn it under``."""
    return to_end_by(plan.window.method)


def _not_yet(plan: Plan) -> str:
    if plan.window.best is not None:
        return advice(plan, plan.window.best)
    why = ": in most years it does not bloom in time" if plan.outlook.complete else " yet"
    return f"No day to {to_end(plan)} can be named{why}."


def _closing(plan: Plan) -> str:
    best = plan.window.best
    closing = f"The window is closing ({chance(plan.window.open_now)} chance that it is still open)"
    if best is None:
        return f"{closing}: {to_end(plan)} now."
    return f"{advice(plan, best)} {closing}."


def _open(plan: Plan) -> str:
    best, last = plan.window.best, plan.window.closes.early
    if np.isnat(last):
        risk = ""
    elif plan.window.may_be_closed:
        risk = "; the chance that it has closed has passed one in ten"
    else:
        risk = f"; after {day_month(last)} the chance that it has closed passes one in ten"
    now = f"The window is open ({chance(plan.window.open_now)} chance that it is){risk}."
    return now if best is None else f"{advice(plan, best)} {now}"


def _ground_headline(plan: Plan) -> str:
    """The headline once the cover is ended."""
    if plan.state == "planted":
        return _planted(plan)
    if plan.state == "plantable":
        return _ready(plan)
    return f"Since {_own_date(plan, plan.field.cover.turned_under)}; wait before planting."


def _planted(plan: Plan) -> str:
    said = f"{plan.crop.common_name.capitalize()} was planted on {_own_date(plan, plan.field.crop.planted)}"
    if plan.planting.before_safe:
        likely = day_month(plan.planting.earliest.median)
        said += f", before the ground was likely safe ({likely}): look at the stand, and be ready to resow"
    ripe = plan.planting.ripe.median
    if not np.isnat(ripe):
        return f"{said}; it should ripen about {_own_date(plan, ripe)}."
    if not plan.outlook.complete:
        return f"{said}; when it ripens cannot be said without past years of weather."
    return f"{said}; in most years the warmth of the season does not suffice to ripen it."


def _ready(plan: Plan) -> str:
    latest = plan.planting.latest
    if plan.planting.too_late:
        return f"The ground is ready, but planted now {plan.crop.common_name} would hardly ripen in time."
    until = "" if np.isnat(latest.early) else f", and by {day_month(max(latest.early, plan.on))} to ripen in time"
    return f"The ground is ready: {planting(plan)} now{until}."


def planting(plan: Plan) -> str:
    """What planting is called for this crop: ``sow pumpkin``."""
    return planting_of(plan.field, plan.crop)


def planting_of(field: Ground, crop: Crop) -> str:
    """What planting a crop is called on a field."""
    return _PLANTING[field.crop.method].format(crop.common_name)


def then(plan: Plan) -> str:
    """What follows for the crop, and which limit holds it back; empty where nothing is to be said."""
    if plan.state in ("planted", "plantable", "winter-killed") or np.isnat(plan.window.ending_day):
        return ""
    after = "" if plan.is_ended else f", if it is {ending(plan)} on {day_month(plan.window.ending_day)}"
    if not plan.outlook.complete:
        return f"When it is safe to {planting(plan)} cannot be said without past years of weather."
    why = f": {plantback.BINDING_WORDS[plan.planting.binding]}" if plan.planting.binding else ""
    likely, safe = plan.planting.earliest.median, plan.planting.safe
    if np.isnat(likely):
        return f"In most years no day is safe to {planting(plan)} this season{after}{why}."
    surer = not np.isnat(safe) and safe != likely
    sure = f", in eight years of ten from {weekday(safe, _year(plan))}" if surer else ""
    if likely < plan.on:
        said = f"It was likely safe to {planting(plan)} from {weekday(likely, _year(plan))}{sure}{after}."
    else:
        said = f"It is likely safe to {planting(plan)} from {weekday(likely, _year(plan))}{sure}{after}{why}."
    if plan.is_ended and plan.planting.likely_ripe is False:
        said += f" Planted then, it ripens in time with a chance of only {chance(plan.planting.ripens)}."
    return said


def _year(plan: Plan) -> int:
    return int(str(plan.on)[:4])


def _own_date(plan: Plan, day: object) -> str:
    return day_month(np.datetime64(str(day)), _year(plan))


def season_fit(plan: Plan) -> str:
    """Whether the crop still has time to ripen, in a sentence; empty where that is not known."""
    latest, likely = plan.planting.latest.early, plan.planting.likely_ripe
    if likely is None or (likely and np.isnat(latest)):
        return ""
    crop = plan.crop.common_name
    by = (
        "no day of planting makes it nine in ten"
        if np.isnat(latest)
        else f"planted by {day_month(latest)} it is nine in ten"
    )
    said = (
        f"The chance that {crop}, planted as soon as it is safe, ripens before frost, or before the warmth runs out, "
        f"is {chance(plan.planting.ripens)}; {by}."
    )
    if not likely:
        said += " Transplants, a quicker variety or an earlier ending of the cover would help."
    if plan.planting.cold_filling:
        said += f" {cold_filling(plan)}"
    return said


def cold_filling(plan: Plan) -> str:
    """That the fruit would fill in the cold."""
    return (
        "Its last weeks of filling would be cold: fruit set late fills slowly, stores badly and may stay unripe "
        "though the sum of heat is met."
    )


def what_is_where(plan: Plan) -> str:
    """What was sown, when, and what is to follow how, in a line."""
    field = plan.field
    ground = "in squares of a black sheet" if field.in_squares else _GROUND[field.crop.ground_cover]
    named = f" '{field.cover.cultivar}'" if field.cover.cultivar else ""
    beside = f" with {plan.mixture.companion.common_name}" if plan.mixture else ""
    return (
        f"{plan.cover.common_name.capitalize()}{named}{beside}, sown {_own_date(plan, field.cover.sown)}; then "
        f"{plan.crop.common_name}, {_HOW[field.crop.method]} {ground}"
    )


def stage_seen(note: ScoutingNote) -> str:
    """The stage that a note tells of, as a phrase."""
    if note.bbch is not None:
        return f"BBCH {note.bbch} ({stage_name(note.bbch)})"
    return "no flowers yet" if note.bloom_percent == 0 else f"{note.bloom_percent:g}% in bloom"


def _stage(plan: Plan) -> str:
    """Where the stand is, and what was seen last if that is something else: an answer may not argue with eyes."""
    at, last = f"at BBCH {plan.stand.bbch}: {plan.stand.stage}.", plan.stand.seen_otherwise
    what = "stand" if plan.mixture is None else plan.cover.common_name
    if last is None:
        return f"The {what} is most likely {at}"
    notes = "your note" if sum(note.has_stage for note in plan.field.scouting) == 1 else "all your notes"
    return (
        f"By the weather and {notes} the {what} is most likely {at} On {day_month(np.datetime64(last.date, 'D'))} you "
        f"saw {stage_seen(last)}: if you are sure of that, go by it."
    )


def reasons(plan: Plan, *, us: bool = False) -> list[str]:
    """Why the answer is what it is, a sentence each."""
    if plan.state in ("winter-killed", "planted"):
        return []
    said = [] if plan.is_ended or plan.stand.killed else [_stage(plan)]
    said += mixture.reasons(plan, us=us)
    years = len(plan.outlook.years)
    seen = f"Of the days up to the ending of the cover, {percent(plan.provenance.observed_share)} are observed"
    said.append(f"{seen}; {years} past years of this place finish the season." if years else f"{seen}.")
    seed = plan.cover.seed.flower_to_maturity
    if (
        seed.basis == "assumed"
        and not plan.is_ended
        and not plan.stand.killed
        and not np.isnat(plan.window.closes.early)
    ):
        rests = (
            f"The end of the window is the least sure: it rests on an assumed {seed.printed} from the first flowers "
            f"to ripe seed ({seed.reason})."
        )
        said.append(one_system(rests, us=us))
    if plan.nitrogen.amounts:
        said.append(nitrogen(plan, us=us))
    return [*said, *_of_the_ground(plan, us=us), *filter(None, (season_fit(plan),))]


def _of_the_ground(plan: Plan, *, us: bool) -> list[str]:
    """What is to be known about the ground and the seed in it."""
    if plan.state == "plantable":
        return []
    said = []
    by_rain, brood, days = plan.ground.residue_by_rain, plan.ground.brood, plan.planting.emergence_days
    if plan.ground.worth_watering:
        rots = "not this season" if np.isnat(by_rain) else f"take until about {day_month(by_rain)}"
        said.append(f"Keep the ground moist while the residue rots: with the rain alone it would {rots}.")
    good = plan.crop.soil_good
    if good is not None and not np.isnat(plan.ground.soil_good):
        said.append(
            f"The soil is warm enough to {planting(plan)} at {temperature(plan.planting.soil_c, us=us)}, about "
            f"{day_month(plan.planting.limits['soil_warm'].median)}, for which the planting waits; seed comes up well "
            f"at {temperature(good.value, us=us)}, about {day_month(plan.ground.soil_good)}. Both are means of a day "
            f"at planting depth, held on {DAYS_HELD} days running."
        )
    costs = plan.ground.mulch_costs
    if costs is not None:
        mulch = plan.field.beds.mulch.replace("-", " ")
        off = f"puts planting off by some {costs} day{'s' if costs != 1 else ''}" if costs > 0 else "costs no day here"
        said.append(
            f"Lay the mulch in the squares once their soil is warm: laid with the ending of the cover it {off} "
            f"(assumed to cool the soil as straw does{'' if mulch == 'straw' else f', {mulch} too'})."
        )
    if plan.planting.binding == "maggot" and not np.isnat(brood):
        said.append(f"The flies bred on this cover are likely out about {day_month(brood)}.")
    if days > 0 and plan.field.crop.method == "direct-seed":
        said.append(f"Sown on the likely day, {plan.crop.common_name} is up in about {days:.0f} days.")
    return said


def nitrogen(plan: Plan, *, us: bool = False) -> str:
    """What ending the cover brings, in a sentence."""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")

    def amount(name: str, step: int) -> str:
        value = plan.nitrogen.amounts[name]
        low, high = (round(end * per / step) * step for end in (value.low, value.high))
        return f"{low:,.0f} to {high:,.0f} {unit}" if low != high else f"{low:,.0f} {unit}"

    share = plan.nitrogen.by_planting
    released = f", about {round(share * 20) * 5}% of it by planting" if share > 0 else ""
    brings = "brought" if plan.is_ended else f"then {ending(plan)} brings"
    available = mixture.available(plan, us=us) or (
        f"{amount('pan_kg_ha', 5)} of that{_on_this_field(plan, us=us)} becomes available to the crop{released}"
    )
    return (
        f"The cover {brings} {amount('dry_matter_kg_ha', 100)} of dry matter with {amount('n_kg_ha', 5)} of nitrogen; "
        f"{available}."
    )


def release(plan: Plan) -> str:
    """How its nitrogen comes free over the weeks, in a sentence; empty where that is not known."""
    amounts, released = plan.nitrogen.amounts, plan.nitrogen.release
    if not amounts or not released:
        return ""
    low, high = (getattr(amounts["carbon_nitrogen"], end) for end in ("low", "high"))
    ratio = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    weeks = ", ".join(
        f"{share.median:.0%} ({share.low:.0%} to {share.high:.0%}) in {number} weeks"
        for number, share in released.items()
    )
    below = "." if plan.mixture else "; below 25 nothing is tied up."
    water = "of the usual rain" if plan.window.method in ON_SURFACE else "of moist ground"
    return f"Of the nitrogen that becomes available, {weeks} {water}. The C:N ratio of the cover is then {ratio}{below}"


def _on_this_field(plan: Plan, *, us: bool) -> str:
    """The nitrogen that becomes available on the field's own area, where that is known."""
    if plan.field.area_m2 is None:
        return ""
    per, unit = (1 / units.KG_PER_LB, "lb") if us else (1.0, "kg")
    hectares = plan.field.area_m2 / units.M2_PER_HA
    pan = plan.nitrogen.amounts["pan_kg_ha"]
    low, high = (end * hectares * per for end in (pan.low, pan.high))
    return f" ({low:.1f} to {high:.1f} {unit} on this field)"
