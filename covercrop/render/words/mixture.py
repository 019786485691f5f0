"""A cereal beside the legume in words: where it stands, what the two bring, where they clash, and its winter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.models.biomass import PAN_NONE
from covercrop.models.cereal import stage_name
from covercrop.models.mixture import RELEASE_FROM
from covercrop.parameters.constants import MODELS
from covercrop.render.words.ending import ended, ending
from covercrop.render.words.phrases import chance, day_month, interval, percent, span, temperature

if TYPE_CHECKING:
    from covercrop.season.mixture_part import MixturePart
    from covercrop.season.plan import Plan

#: What the blend does with nitrogen, by its band.
_BANDS = {
    "tie-up": "it ties nitrogen up at first",
    "little-at-first": "little of its nitrogen comes free in the first month",
    "release": "its nitrogen begins to come free within the first month",
}

COOL_SOIL = MODELS.mixture.cool_soil.value

#: What each date of a cereal is called.
_DATES = {
    "jointing": "stems stretch",
    "boot": "boot",
    "heading": "heading",
    "flowering": "flowering",
    "milk": "watery ripe grain, the last stage that is surely without seed,",
}

#: What helps where the two clash, other than another way of ending them.
_HELPS = {
    "later-cultivar": "a late cultivar of {cereal} next time",
    "triticale": "triticale in place of the {cereal} next time",
    "winter-wheat": "winter wheat in place of the {cereal} next time",
}


def to_note(plan: Plan) -> str:
    """What else to look at in a mixture, after what is said of the legume; empty where no cereal lives."""
    if plan.mixture is None or plan.mixture.dead:
        return ""
    return f" Note the stage of the {_cereal(plan.mixture)} and the legume's share, too."


def zadoks(code: float) -> str:
    """A stage of a cereal in numbers and words; the Zadoks and the BBCH scale agree on it."""
    return f"Zadoks and BBCH {code:.0f}: {stage_name(code)}"


def _cereal(mixture: MixturePart) -> str:
    return mixture.companion.common_name


def short(plan: Plan, *, us: bool = False) -> list[str]:
    """What matters of the mixture now, a sentence or two each; none for a legume alone, or a crop that is planted."""
    mixture = plan.mixture
    if mixture is None or plan.state in ("winter-killed", "planted"):
        return []
    alone = mixture.dead or not np.isnat(mixture.dies.median)
    clashes = "" if plan.is_ended or plan.state == "seed-risk" else clash(plan)
    told = ("" if alone else _both(plan, us=us), _grain(mixture), clashes)
    return [said for said in told if said]


def _grain(mixture: MixturePart) -> str:
    """That grain of the cereal may come up in the crop; empty where it has hardly begun to fill."""
    if not mixture.in_grain:
        return ""
    return f"The grain of the {_cereal(mixture)} has most likely begun to fill: some of it may come up in the crop."


def available(plan: Plan, *, us: bool) -> str:
    """What of the nitrogen of a mixture that may tie some up becomes available, as a clause; empty where all does."""
    pan = plan.nitrogen.amounts["pan_kg_ha"]
    if plan.mixture is None or pan.low >= 0:
        return ""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
    low, high = pan.low * per, pan.high * per
    if high <= 0:
        return f"it ties up {-high:.0f} to {-low:.0f} {unit} of the crop's"
    return f"of that up to {high:.0f} {unit} becomes available to the crop, or up to {-low:.0f} {unit} is tied up"


def _both(plan: Plan, *, us: bool) -> str:
    """The share, the C:N ratio and what it means for nitrogen."""
    mixture, amounts = plan.mixture, plan.details.nitrogen.amounts if plan.details else {}
    if mixture is None or mixture.band is None:
        return ""
    ratio = amounts["carbon_nitrogen"].median
    when = "Its C:N ratio was" if plan.is_ended else f"{_upper(ended(plan.window.method))} then, its C:N ratio is"
    return f"{_share(mixture)}. {when} about {ratio:.0f}: {_BANDS[mixture.band]}{to_add(plan, us=us)}."


def to_add(plan: Plan, *, us: bool = False) -> str:
    """The nitrogen that has to be given at planting for what the blend ties up; empty where it likely ties up none."""
    owed = plan.details.nitrogen.ties_up if plan.details else None
    if owed is None:
        return ""
    per, unit = (1 / units.KG_HA_PER_LB_ACRE, "lb/acre") if us else (1.0, "kg/ha")
    most = f" (up to {owed.high * per:.0f})" if owed.high > owed.median else ""
    return f"; at planting give about {owed.median * per:.0f} {unit}{most} more than the crop needs"


def _share(mixture: MixturePart) -> str:
    """How much of the stand is legume, and who says so."""
    share = mixture.share
    if mixture.legume_dead:
        return f"What is left is the {_cereal(mixture)}"
    low, high = percent(share.low), percent(share.high)
    much = low if low == high else f"{low[:-1]} to {high}"
    match share.whose:
        case "note":
            return f"The legume is {much} of the dry matter, by your note"
        case "field":
            return f"The legume is {much} of the dry matter, as your file says"
        case _:
            return (
                f"The legume is taken to be {much} of the dry matter, since nobody has judged it (scout "
                "--legume-percent makes all of this surer)"
            )


def winter(plan: Plan) -> str:
    """What the cold did, or will likely do, to the cereal, or to the legume beside it; empty where both likely live."""
    mixture = plan.mixture
    if mixture is None or plan.is_ended:
        return ""
    cereal, legume = _cereal(mixture), plan.cover.common_name
    if mixture.legume_dead:
        return (
            f"The cold has most likely killed the {legume}, and the {cereal} lives: go and look. What is said here is "
            f"of the {cereal} alone; a scouting note of living {legume} changes it."
        )
    return _lost(plan, mixture) or _in_doubt(plan, mixture)


def _lost(plan: Plan, mixture: MixturePart) -> str:
    """That the cereal is dead, or will likely be; empty where it likely lives."""
    cereal, legume = _cereal(mixture), plan.cover.common_name
    if plan.state == "winter-killed":
        return f"The cold has most likely killed the {cereal}, too." if mixture.dead else ""
    if mixture.dead:
        return f"The cold has most likely killed the {cereal}{_about(plan)}: what is said here is of the {legume}."
    if np.isnat(mixture.dies.median):
        return ""
    how = "will most likely kill" if mixture.dies.median > plan.on else "has likely killed"
    return f"The cold {how} the {cereal}{_about(plan)}, whose mulch the {legume} grows through."


def _in_doubt(plan: Plan, mixture: MixturePart) -> str:
    """What to do with a cereal that lives where the legume may be dead, or that it may die itself."""
    cereal = _cereal(mixture)
    if plan.stand.doubtful:
        last = mixture.dates["milk"].early
        by = "" if np.isnat(last) else f", by {day_month(last)} at the latest, before its grain fills"
        return f"If the {plan.cover.common_name} is dead, the {cereal} that lives still has to be ended{by}."
    if mixture.may_die:
        return f"The chance that the winter leaves the {cereal} alive is {chance(mixture.survival)}."
    return ""


def _about(plan: Plan) -> str:
    """When the cereal dies: the likely day, and the range."""
    assert plan.mixture is not None
    dies = plan.mixture.dies
    if np.isnat(dies.median):
        return ""
    early, likely, late = interval(dies, int(str(plan.on)[:4]))
    return (
        f", about {likely} ({early} to {late})" if early and late and not np.isnat(dies.late) else f", about {likely}"
    )


def too_late(plan: Plan) -> str:
    """What to do once the last day of a living cereal is past; empty where there is none."""
    mixture = plan.mixture
    if mixture is None or mixture.dead:
        return ""
    return (
        f"Too late for a safe window: the {_cereal(mixture)} is most likely past its last day, or the "
        f"{plan.cover.common_name} has seed ({chance(plan.stand.seed_now)}). Mow it and turn it under at once, and "
        "expect volunteers."
    )


def clash(plan: Plan) -> str:
    """That the two are not ready for one way of ending at once, and what helps most; empty where they are."""
    mixture = plan.mixture
    if mixture is None or mixture.clash is None:
        return ""
    found = mixture.clash
    late, early = plan.cover.common_name, _cereal(mixture)
    if found.past == "legume":
        late, early = early, late
    said = (
        f"The two clash: {ending(found.method)} waits for the {late} until the {early} is past its "
        f"last day, and the chance of a day that suits both is {chance(found.chance)}."
    )
    helps = _helps(mixture)
    return f"{said} What helps most: {helps[0]}." if helps else said


def _more_help(plan: Plan) -> str:
    """What else helps where the two clash; empty where nothing does."""
    helps = _helps(plan.mixture)[1:] if plan.mixture else []
    return f"What else gives a day that suits both: {', '.join(helps)}." if helps else ""


def _helps(mixture: MixturePart) -> list[str]:
    found = {} if mixture.clash is None else mixture.clash.helps
    return [f"{_help(name, _cereal(mixture))} ({chance(gain)})" for name, gain in found.items()]


def _help(name: str, cereal: str) -> str:
    if name in _HELPS:
        return _HELPS[name].format(cereal=cereal)
    return f"{ending(name)}{', early' if name == 'turn-under' else ''}"


def reasons(plan: Plan, *, us: bool = False) -> list[str]:
    """What else is to be known of the mixture, a sentence each."""
    mixture = plan.mixture
    if mixture is None:
        return []
    cereal = _cereal(mixture)
    said = []
    if not plan.is_ended and not mixture.dead:
        rests = f" and {mixture.notes} note{'s' * (mixture.notes > 1)} of it" if mixture.notes else ""
        said.append(
            f"The likely stage of the {cereal}, by the weather{rests} and good to about {mixture.good_to:.0f} days: "
            f"{zadoks(mixture.zadoks)}."
        )
        said += filter(None, (_dates(plan),))
    if mixture.percent is not None and not mixture.dead:
        low, high = mixture.percent.low, mixture.percent.high
        said.append(
            f"All of it together then holds {low:.1f} to {high:.1f}% nitrogen: below {PAN_NONE:g}% it ties nitrogen "
            f"up, from {RELEASE_FROM:g}% on it releases some in the first month."
        )
    if mixture.cool_soil and mixture.band is not None:
        said.append(
            f"The soil of the month after is likely cooler than {temperature(COOL_SOIL, us=us)}, and less of the "
            "nitrogen comes free in it than is said here."
        )
    return [*said, *filter(None, (_wait(plan), "" if plan.is_ended else _more_help(plan)))]


def _dates(plan: Plan) -> str:
    """The days of the cereal's stages that lie ahead."""
    assert plan.mixture is not None
    ahead = [
        f"{words} {day_month(dates.median)} ({span(dates.early, dates.late)})"
        for name, words in _DATES.items()
        for dates in (plan.mixture.dates[name],)
        if dates.median > plan.on and not np.isnat(dates.late)  # the first is never true of NaT
    ]
    return f"Ahead of it, on the likely day and in eight years of ten: {', '.join(ahead)}." if ahead else ""


def _wait(plan: Plan) -> str:
    """How long the cereal makes a crop wait, this one and one of the other size of seed."""
    mixture = plan.mixture
    if mixture is None or mixture.dead:
        return ""
    wait, cereal = mixture.companion.wait, _cereal(mixture)
    if mixture.wait is None:
        on_top = wait.small_seed_on_top
        return (
            f"Plants and large seed need not wait for the {cereal} on top of the ground; small seed would wait "
            f"{_days(on_top.value, on_top.low, on_top.high)}."
        )
    return (
        f"After the {cereal} wait {_days(mixture.wait.value, mixture.wait.low, mixture.wait.high)} before "
        f"{plan.crop.common_name}: dug in, large seed and plants wait "
        f"{_days(wait.large_seed.value, wait.large_seed.low, wait.large_seed.high)}, small seed "
        f"{_days(wait.small_seed.value, wait.small_seed.low, wait.small_seed.high)}."
    )


def _upper(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"


def _days(likely: float, low: float | None, high: float | None) -> str:
    around = "" if low is None or high is None else f" ({low:.0f} to {high:.0f})"
    return f"{likely:.0f} days{around}"
