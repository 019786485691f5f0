"""The sentences of an answer, shared by every way of showing it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.models import plantback
from covercrop.models.bbch import BBCH, stage_name
from covercrop.render.words.phrases import DATE_LABELS, chance, day_month, interval, percent, span, temperature, weekday
from covercrop.season import note_effects

if TYPE_CHECKING:
    from covercrop.field.entries import Field, ScoutingNote
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

#: Days without weather after which the answer begins with saying so.
STALE_DAYS = 21

#: Below this chance of ripening it is said beside the planting date.
LIKELY_RIPE = 0.8

#: Below this chance of having lived through the winter, every sentence about the stand is conditional.
DOUBTFUL = 0.8

#: Stages of the BBCH scale so few apart are not worth arguing over.
NEAR_STAGES = 3

#: Days that watering has to gain before it is mentioned.
WORTH_WATERING = 3

#: What is done to the cover, and what has been done once it is.
_ENDING = {
    "turn-under": ("turn it under", "turned under"),
    "roll": ("roll it", "rolled"),
    "mow": ("mow it", "mown"),
    "tarp": ("tarp it", "tarped"),
}
_GERUND = {"roll": "Rolling", "mow": "Mowing", "tarp": "Tarping"}
_PLANTING = {"direct-seed": "sow {}", "transplant": "set out {}"}
_GROUND = {"bare": "on bare ground", "straw": "under straw", "black-plastic": "in black plastic"}
_HOW = {"direct-seed": "direct-seeded", "transplant": "transplanted"}

#: Rows of the table of dates that only a standing cover has.
STAND_DATES = (
    "emergence",
    "bud",
    "first_flower",
    "bloom_25",
    "bloom_50",
    "end_of_bloom",
    "window_open",
    "window_close",
    "viable_seed",
)


def state(plan: Plan) -> str:
    """The state in words; a cover that was rolled, mown or tarped is not called turned under."""
    return _ENDING[plan.method][1] if plan.state == "turned-under" else STATE_WORDS[plan.state]


def to_end_next(plan: Plan) -> str:
    """What is to be done to the cover: at once by turning under, where seed is about."""
    return _ENDING["turn-under" if plan.state == "seed-risk" else plan.method][0]


def is_doubtful(plan: Plan) -> bool:
    """Whether a standing cover may well have died of the cold."""
    return plan.survival < DOUBTFUL and not is_ended(plan)


def is_planted(plan: Plan) -> bool:
    """Whether the crop is in the ground."""
    return plan.field.crop.planted is not None


def ending(plan: Plan) -> str:
    """What the cover was or is to be: ``turned under``."""
    return _ENDING[plan.method][1]


def date_rows(plan: Plan, *, us: bool = False) -> list[tuple[str, str, str, str]]:
    """The table of dates: what, and its early, likely and late date; what is not reached or over is left out."""
    year = _year(plan)
    return [
        (label.format(soil=temperature(plan.crop.soil_planting.value, us=us)), *interval(plan.dates[name], year))
        for name, label in DATE_LABELS.items()
        if not np.isnat(plan.dates[name].early) and not (is_ended(plan) and name in STAND_DATES)
    ]


def headline(plan: Plan) -> str:
    """What to do about the cover, in a sentence that can be acted on."""
    said = (_ground_headline if is_ended(plan) else _stand_headline)(plan)
    stale = "" if is_ended(plan) else stale_since(plan)
    said = f"By weather that ends on {stale}: {said[0].lower()}{said[1:]}" if stale else said
    return " ".join(filter(None, (doubt(plan), said)))


def doubt(plan: Plan) -> str:
    """That notes do not fit, and what to do about it; empty where all do.  It comes before any advice."""
    if not plan.doubts:
        return ""
    last = plan.doubts[-1]
    said = note_effects.doubt_said(last)
    if last.of_soil:
        return f"Measure the soil again: {said}{'' if last.confirmed else ', and is left out'}."
    if last.confirmed:
        return f"Check the sowing date and the cultivar: {said}, twice; if you are sure of that, go by the stand."
    doubted = {each.note for each in plan.doubts}
    since = any(note.has_stage and note not in doubted and note.date > last.note.date for note in plan.field.scouting)
    what = f"Mend or strike a note before you go by this: {said}" if since else f"Look again before you act: {said}"
    if last in plan.set_aside:
        return f"{what}; it is left out."
    if plan.undoubted is None:
        return f"{what}."
    which = "it" if len(plan.doubts) == 1 else "the notes in doubt"
    return f"{what}; without {which} the day would be {weekday(plan.undoubted.date, _year(plan))}."


def stale_since(plan: Plan) -> str:
    """The last day with weather, where that is long ago; empty otherwise."""
    ends = plan.outlook.days[plan.outlook.known - 1]
    return _own_date(plan, ends) if (plan.on - ends).astype(int) > STALE_DAYS else ""


def is_ended(plan: Plan) -> bool:
    """Whether the cover has been ended, so that only the ground is left to talk about."""
    return plan.field.cover.turned_under is not None


def _stand_headline(plan: Plan) -> str:
    """The headline while the cover still stands, or has died."""
    match plan.state:
        case "winter-killed":
            return (
                f"The cold has most likely killed the {plan.cover.common_name}, unless snow covered it: go and look. "
                "If it lives, add a scouting note; if not, write the day you work it in as turned_under."
            )
        case "seed-risk":
            said = (
                f"Too late for a safe window ({chance(plan.seed_now)} chance that the first seed is viable): turn it "
                "under at once, and expect volunteers."
            )
        case "closing":
            said = (
                f"The window is closing ({chance(plan.window_now)} chance that it is still open): "
                f"{_ENDING[plan.method][0]} now."
            )
        case "in-window":
            said = _open(plan)
        case _:
            said = _not_yet(plan)
    said = " ".join(filter(None, (instead(plan), said, surer(plan))))
    return if_it_lives(plan, said)


def instead(plan: Plan) -> str:
    """That another way of ending the cover is planned than was asked for; empty where it is the same."""
    if plan.method == plan.field.cover.terminate:
        return ""
    return f"{_GERUND[plan.field.cover.terminate]} has no day that is safe; turning under may have."


def surer(plan: Plan) -> str:
    """The best day of turning under, where the way asked for has poor chances; empty otherwise."""
    if plan.surer is None:
        return ""
    return f"Turning under is surer: {chance(plan.surer.probability)} on {weekday(plan.surer.date, _year(plan))}."


def if_it_lives(plan: Plan, said: str) -> str:
    """A sentence about the stand, made conditional where it may well have died."""
    if not is_doubtful(plan):
        return said
    return f"If it has lived through the cold ({chance(plan.survival)}): {said[0].lower()}{said[1:]}"


def to_end(plan: Plan) -> str:
    """What is to be done to the cover: ``turn it under``."""
    return _ENDING[plan.method][0]


def _not_yet(plan: Plan) -> str:
    ending, best = _ENDING[plan.method][0], plan.turn_under
    if best is None:
        why = ": in most years it does not bloom in time" if plan.outlook.complete else " yet"
        return f"No day to {ending} can be named{why}."
    about = f"if it has to be, {ending} now"
    if best.date > plan.on:
        about = f"plan to {ending} about {weekday(best.date, _year(plan))}"
    poor = "" if best.probability >= 0.5 else ", which is little"
    return (
        f"Not yet: {about} ({chance(best.probability)} chance that the window is open{poor}; best week "
        f"{span(best.start, best.end)})."
    )


def _open(plan: Plan) -> str:
    best, last = plan.turn_under, plan.dates["window_close"].early
    later = best is not None and best.date > plan.on
    day = f"best on {weekday(best.date, _year(plan))}" if best is not None and later else "today is as good as any day"
    if np.isnat(last):
        risk = ""
    elif last < plan.on:
        risk = "; the chance that it has closed has passed one in ten"
    else:
        risk = f"; after {day_month(last)} the chance that it has closed passes one in ten"
    return f"The window is open ({chance(plan.window_now)} chance): {_ENDING[plan.method][0]}, {day}{risk}."


def _ground_headline(plan: Plan) -> str:
    """The headline once the cover is ended."""
    if plan.state == "planted":
        return _planted(plan)
    if plan.state == "plantable":
        return _ready(plan)
    return f"Since {_own_date(plan, plan.field.cover.turned_under)}; wait before planting."


def _planted(plan: Plan) -> str:
    planted = np.datetime64(str(plan.field.crop.planted))
    said = f"{plan.crop.common_name.capitalize()} was planted on {_own_date(plan, planted)}"
    likely = plan.dates["earliest_planting"].median
    if not np.isnat(likely) and planted < likely:
        said += f", before the ground was likely safe ({day_month(likely)}): look at the stand, and be ready to resow"
    return f"{said}; it should ripen about {_own_date(plan, plan.ripe)}."


def _ready(plan: Plan) -> str:
    latest = plan.dates["latest_planting"]
    if latest.median < plan.on:
        return f"The ground is ready, but planted now {plan.crop.common_name} would hardly ripen before frost."
    until = "" if np.isnat(latest.early) else f", and by {day_month(max(latest.early, plan.on))} to ripen before frost"
    return f"The ground is ready: {planting(plan)} now{until}."


def planting(plan: Plan) -> str:
    """What planting is called for this crop: ``sow pumpkin``."""
    return planting_of(plan.field, plan.crop)


def planting_of(field: Field, crop: Crop) -> str:
    """What planting a crop is called on a field."""
    return _PLANTING[field.crop.method].format(crop.common_name)


def then(plan: Plan) -> str:
    """What follows for the crop, and which limit holds it back; empty where nothing is to be said."""
    if plan.state in ("planted", "plantable", "winter-killed") or np.isnat(plan.turned):
        return ""
    after = "" if is_ended(plan) else f", if it is {_ENDING[plan.method][1]} on {day_month(plan.turned)}"
    if not plan.outlook.complete:
        return f"When it is safe to {planting(plan)} cannot be said without past years of weather."
    why = f": {plantback.BINDING_WORDS[plan.binding_limit]}" if plan.binding_limit else ""
    likely, safe = plan.dates["earliest_planting"].median, plan.safe_planting
    if np.isnat(likely):
        return f"In most years no day is safe to {planting(plan)} this season{after}{why}."
    surer = not np.isnat(safe) and safe != likely
    sure = f", in eight years of ten from {weekday(safe, _year(plan))}" if surer else ""
    if likely < plan.on:
        said = f"It was likely safe to {planting(plan)} from {weekday(likely, _year(plan))}{sure}{after}."
    else:
        said = f"It is likely safe to {planting(plan)} from {weekday(likely, _year(plan))}{sure}{after}{why}."
    if plan.ripens < LIKELY_RIPE:
        said += f" Planted then, it ripens before frost with a chance of only {chance(plan.ripens)}."
    return said


def _year(plan: Plan) -> int:
    return int(str(plan.on)[:4])


def _own_date(plan: Plan, day: object) -> str:
    return day_month(np.datetime64(str(day)), _year(plan))


def season_fit(plan: Plan) -> str:
    """Whether the crop still has time to ripen, in a sentence; empty where that is not known."""
    latest = plan.dates["latest_planting"].early
    if np.isnat(latest) or np.isnan(plan.ripens):
        return ""
    crop = plan.crop.common_name
    said = (
        f"The chance that {crop}, planted as soon as it is safe, ripens before the first autumn frost is "
        f"{chance(plan.ripens)}; planted by {day_month(latest)} it is nine in ten."
    )
    if plan.ripens < LIKELY_RIPE:
        said += " Transplants, a quicker variety or an earlier ending of the cover would help."
    return said


def what_is_where(plan: Plan) -> str:
    """What was sown, when, and what is to follow how, in a line."""
    field = plan.field
    named = f" '{field.cover.cultivar}'" if field.cover.cultivar else ""
    return (
        f"{plan.cover.common_name.capitalize()}{named}, sown {_own_date(plan, field.cover.sown)}; then "
        f"{plan.crop.common_name}, {_HOW[field.crop.method]} {_GROUND[field.crop.ground_cover]}"
    )


def stage_seen(note: ScoutingNote) -> str:
    """The stage that a note tells of, as a phrase."""
    if note.bbch is not None:
        return f"BBCH {note.bbch} ({stage_name(note.bbch)})"
    return "no flowers yet" if note.bloom_percent == 0 else f"{note.bloom_percent:g}% in bloom"


def _stage(plan: Plan) -> str:
    """Where the stand is, and what was seen last if that is something else: an answer may not argue with eyes."""
    said = f"The stand is most likely at BBCH {plan.bbch}: {plan.stage}."
    last = max((note for note in plan.field.scouting if note.has_stage), key=lambda note: note.date, default=None)
    if last is None or _alike(last.stage, plan.bbch):
        return said
    seen = np.datetime64(last.date, "D")
    # What was seen before today may have gone on since; it has not gone back.
    if seen < plan.on and last.stage < plan.bbch:
        return said
    return (
        f"By the weather and {'your note' if _stages_noted(plan) == 1 else 'all your notes'} the stand is most likely "
        f"at BBCH {plan.bbch}: {plan.stage}. On {day_month(seen)} you saw {stage_seen(last)}: if you are sure of that, "
        "go by it."
    )


def _alike(seen: float, bbch: int) -> bool:
    """Whether two BBCH codes are one stage to the eye: near each other, no first bud or flower between."""
    firsts = (BBCH["bud"], BBCH["first_flower"])
    near = abs(seen - bbch) < NEAR_STAGES and all((seen < first) == (bbch < first) for first in firsts)
    return near or stage_name(seen) == stage_name(bbch)


def _stages_noted(plan: Plan) -> int:
    return sum(note.has_stage for note in plan.field.scouting)


def reasons(plan: Plan, *, us: bool = False) -> list[str]:
    """Why the answer is what it is, a sentence each."""
    if plan.state in ("winter-killed", "planted"):
        return []
    said = [] if is_ended(plan) else [_stage(plan)]
    years = len(plan.outlook.years)
    seen = f"Of the days up to the ending of the cover, {percent(plan.observed_share)} are observed"
    said.append(f"{seen}; {years} past years of this place finish the season." if years else f"{seen}.")
    seed = plan.cover.seed.flower_to_maturity
    if seed.basis == "assumed" and not is_ended(plan) and not np.isnat(plan.dates["window_close"].early):
        said.append(
            f"The end of the window is the least sure: it rests on an assumed {seed.printed} from the first flowers "
            f"to ripe seed ({seed.reason})."
        )
    if plan.nitrogen:
        said.append(nitrogen(plan, us=us))
    return [*said, *_of_the_ground(plan), *filter(None, (season_fit(plan),))]


def _of_the_ground(plan: Plan) -> list[str]:
    """What is to be known about the ground and the seed in it."""
    if plan.state == "plantable":
        return []
    said = []
    residue = plan.dates["residue"].median
    wait = plan.residue_by_rain - residue
    if plan.outlook.complete and np.isnat(wait) and not np.isnat(residue):
        said.append("Keep the ground moist while the residue rots: with the rain alone it would not this season.")
    if not np.isnat(wait) and wait.astype(int) >= WORTH_WATERING:
        said.append(
            "Keep the ground moist while the residue rots: with the rain alone it would take until about "
            f"{day_month(plan.residue_by_rain)}."
        )
    if plan.binding_limit == "maggot" and not np.isnat(plan.brood):
        said.append(f"The flies bred on this cover are likely out about {day_month(plan.brood)}.")
    if plan.emergence_days > 0 and plan.field.crop.method == "direct-seed":
        said.append(f"Sown on the likely day, {plan.crop.common_name} is up in about {plan.emergence_days:.0f} days.")
    return said


def nitrogen(plan: Plan, *, us: bool = False) -> str:
    """What ending the cover brings, in a sentence."""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")

    def amount(name: str, step: int) -> str:
        value = plan.nitrogen[name]
        low, high = (round(end * per / step) * step for end in (value.low, value.high))
        return f"{low:,.0f} to {high:,.0f} {unit}" if low != high else f"{low:,.0f} {unit}"

    _, ended = _ENDING[plan.method]
    released = f", about {round(plan.pan_by_planting * 20) * 5}% of it by planting" if plan.pan_by_planting > 0 else ""
    return (
        f"The cover {'brought' if is_ended(plan) else f'then {ended} brings'} {amount('dry_matter_kg_ha', 100)} of dry "
        f"matter with {amount('n_kg_ha', 5)} of nitrogen; {amount('pan_kg_ha', 5)} of that"
        f"{_on_this_field(plan, us=us)} becomes available to the crop{released}."
    )


def release(plan: Plan) -> str:
    """How its nitrogen comes free over the weeks, in a sentence; empty where that is not known."""
    if not plan.nitrogen or not plan.release:
        return ""
    low, high = (getattr(plan.nitrogen["carbon_nitrogen"], end) for end in ("low", "high"))
    ratio = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    weeks = ", ".join(
        f"{share.median:.0%} ({share.low:.0%} to {share.high:.0%}) in {number} weeks"
        for number, share in plan.release.items()
    )
    return (
        f"Of the nitrogen that becomes available, {weeks} of moist ground. The C:N ratio of the cover is then {ratio}; "
        "below 25 nothing is tied up."
    )


def _on_this_field(plan: Plan, *, us: bool) -> str:
    """The nitrogen that becomes available on the field's own area, where that is known."""
    if plan.field.area_m2 is None:
        return ""
    per, unit = (1 / units.KG_PER_LB, "lb") if us else (1.0, "kg")
    hectares = plan.field.area_m2 / units.M2_PER_HA
    low, high = (end * hectares * per for end in (plan.nitrogen["pan_kg_ha"].low, plan.nitrogen["pan_kg_ha"].high))
    return f" ({low:.1f} to {high:.1f} {unit} on this field)"
