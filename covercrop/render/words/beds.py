"""What is said about beds, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.beds import nutrients, spreading
from covercrop.beds.lengths import Measures
from covercrop.models import biomass
from covercrop.parameters import catalogue
from covercrop.render.words.phrases import day_month, percent, short_source, weekday

if TYPE_CHECKING:
    from collections.abc import Callable

    from covercrop.beds.beds import AfterHarvest, BedPlan
    from covercrop.beds.nutrients import Dose
    from covercrop.beds.spreading import Interval, Reading
    from covercrop.season.plan import Plan

    Day = Callable[[np.datetime64], str]

#: What a grower calls the families of crops.
_FAMILIES = {"Cucurbitaceae": "cucumber family", "Poaceae": "grass family", "Solanaceae": "tomato family"}

#: What can hurt, whatever the field.
CAUTIONS = (
    "Local codes, your extension office and licensed advice come before anything said here. Farms under the US produce "
    "safety rule keep to 21 CFR 112, subpart F, as well.",
    "Keep heaps, fresh manure and runoff away from wells, ditches and streams, and off slopes; wash hands and tools "
    "before touching what is eaten.",
    "Manure, hay, straw and compost can carry weed-killers that outlast composting: test before any of it goes on a "
    "bed.",
)
_SHEET = "A sheet sheds its rain beside it: lead it to where it soaks in, and take the sheet up after the season."
_BOARDS = (
    "Boards: none that are treated (arsenic, creosote: old decks, poles, railway ties), and no old paint, which may "
    "hold lead."
)
_SHEDS = "A woven or old sheet sheds threads and shreds: cut it with heat or hem it, and take it up before it crumbles."
_CLIPPINGS = (
    "Clippings from a lawn that may have been sprayed can kill vine crops, composted or not: take none within the "
    "times on the label, or that nobody can vouch for."
)
_SALT = (
    "Fresh poultry manure burns seed and seedlings with salt and ammonia: mix it through the soil, give it time, and "
    "wear a mask against its dust."
)


def _year(beds: BedPlan) -> int:
    return int(str(beds.plan.on)[:4])


def _beside(beds: BedPlan, day: np.datetime64) -> str:
    return weekday(day, _year(beds))


def stands(beds: BedPlan) -> str:
    """How the crop stands, in a line or two."""
    ground, say = beds.layout, Measures(beds.us)
    crop = beds.plan.crop.common_name.capitalize()
    size = f"{say.length(ground.length)} by {say.length(ground.width)}"
    square = ", taken as a square: give length and width in [field.beds]" if ground.squared else ""
    plants = ground.count * ground.plants
    where = f"on {say.area(ground.area)} ({size}{square})"
    if ground.frames:
        inside = f"{say.length(ground.frame_length)} by {say.length(ground.bed)}"
        spots = f"{ground.spots_per_frame} spot{'s' if ground.spots_per_frame > 1 else ''}"
        fit = "" if ground.counted else ", as many as fit"
        along, across = (say.length(each) for each in (ground.spacing, ground.row_spacing))
        apart = f"{along} along the field and {across} across it" if along != across else along
        return (
            f"{crop} in {ground.frames} framed beds of {inside}{fit}, {spots} in each: {plants:,} plants {where}. "
            f"Frames {apart} from middle to middle, {say.length(ground.margin)} or more from the edge."
        )
    rows = f"{ground.rows.size:,} row{'s' if ground.rows.size > 1 else ''}"
    each = f"{ground.spots.size:,} {'hills' if ground.kind == 'hills' else 'plants'}"
    path = ""
    if ground.row_path > 0:
        path = f", beds {say.length(ground.bed)} wide and paths {say.length(ground.row_path)}"
    return (
        f"{crop} in {rows} of {each}: {plants:,} plants {where}. Rows {say.length(ground.row_spacing)} apart, "
        f"{'hills' if ground.kind == 'hills' else 'plants'} {say.length(ground.spacing)}{path}."
    )


def line(beds: BedPlan) -> tuple[str, ...]:
    """A field in the list of many: name, crop, how it stands, plants, planting, nitrogen, manure."""
    ground, year = beds.layout, _year(beds)
    if ground.frames:
        stands_in = f"{ground.frames} frames"
    else:
        each = "hills" if ground.kind == "hills" else "plants"
        stands_in = f"{ground.rows.size:,} rows of {ground.spots.size:,} {each}"
    return (
        beds.plan.field.name,
        beds.plan.crop.common_name,
        stands_in,
        f"{ground.count * ground.plants:,}",
        "-" if np.isnat(beds.planting) else day_month(beds.planting, year),
        _balance(beds),
        _manure(beds, year),
    )


def _balance(beds: BedPlan) -> str:
    """What is likely missing of nitrogen, in a word or two."""
    balance = beds.nitrogen
    if balance is None:
        return "not known"
    if balance.verdict == "about-right":
        return "about right"
    likely = abs(balance.missing[1])
    return f"{_span(Measures(beds.us), likely, likely)} {'short' if balance.verdict == 'missing' else 'over'}"


def _manure(beds: BedPlan, year: int) -> str:
    """Whether manure may be spread, in a word or two: of several, the one that is the most bound."""
    kept = [each for each in beds.intervals if each.kind in ("raw", "on-top")]
    if any(each.allowed is False for each in kept):
        return "NO"
    last = min((each.end for each in kept if not np.isnat(each.end)), default=None)
    if last is not None:
        return f"until {day_month(last, year)}"
    return "not known" if kept else "YES"


def dates(beds: BedPlan) -> str:
    """When it is planted and thinned; empty where that is not known."""
    if np.isnat(beds.planting):
        return ""
    plan = beds.plan
    verb = "Set out" if plan.field.crop.method == "transplant" else "Sow"
    done = plan.field.crop.planted is not None
    when = _beside(beds, beds.planting)
    said = f"Planted on {when}" if done else f"{verb} from about {when}, when it is likely safe"
    if np.isnat(beds.thinning):
        return f"{said}."
    left = "one plant" if beds.layout.plants == 1 else f"{beds.layout.plants} plants"
    return f"{said}; thin to {left} a spot about {_beside(beds, beds.thinning)}."


#: What no source gives of a square in a sheet.
_SQUARES = (
    "Plant through the layers into the soil below, in the holes of the list: seed in fresh manure burns.",
    "Lay the mulch once the soil in the squares is warm, by a thermometer: covercrop ready says what it costs to lay "
    "it earlier. The dates take an open square to warm as bare ground does (assumed, no source).",
    "What is left of the cover lies under the sheet, and rots there; look for slugs and mice (assumed, no source).",
    "Rain falls only into the squares and past the edges: water each square until the roots have reached the ground "
    "outside (assumed, no source).",
    "Roll out the sheet on a still day, windward edge first, and load each edge before the next is laid (common "
    "practice, no source).",
)


def squares(beds: BedPlan) -> list[str]:
    """What goes into the squares of a sheet, and how it is kept; empty where there are none."""
    square, say = beds.squares, Measures(beds.us)
    if square is None:
        return []
    layers = []
    if square.layers:
        named = ", then ".join(f"{say.depth(depth)} of {name}" for name, depth in square.layers)
        over = f", which stand {say.depth(square.over)} above them: hold back, or take higher ones"
        layers.append(
            f"In each, from the soil up: {named}; {say.depth(square.depth)} in boards of {say.depth(square.board)}"
            f"{over if square.heaped else ''}."
        )
    return [*layers, *_SQUARES]


# --- nitrogen and phosphorus ----------------------------------------------------------------------


def nitrogen_rows(beds: BedPlan) -> list[tuple[str, str, str]]:
    """The balance of nitrogen: what, how much, and what is to be known about it."""
    balance = beds.nitrogen
    if balance is None:
        return []
    say, plan = Measures(beds.us), beds.plan
    tested = "" if balance.tested else ", not tested"
    soil = f"at {balance.organic_matter:g}% organic matter{tested} ({_by(balance.need_source)})"
    rows = [("the crop needs", _span(say, balance.need[0], balance.need[2]), soil)]
    known = bool(plan.nitrogen.amounts)
    share = plan.nitrogen.by_planting
    by = f"{round(share * 20) * 5}% of it by planting ({_by(biomass.PAN_SOURCE)})" if share > 0 else ""
    cover = _span(say, balance.cover[0], balance.cover[2])
    gives = (f"the {_cover(plan)} gives", cover if known else "0", by if known else "not known yet")
    rows.append(_of_cover(plan, say) or gives)
    rows += [
        (
            f"  of it by {day_month(given.day, _year(beds))}",
            _span(say, given.available[0], given.available[2]),
            f"{percent(given.share)}, {given.weeks} weeks after it dies",
        )
        for given in beds.cover_nitrogen
    ]
    rows += [
        (
            f"{each.material.common_name} gives",
            _span(say, each.credited, each.credited),
            _IN_COVER if each.in_cover else f"this year ({_share_of(each)})",
        )
        for each in beds.doses
    ]
    return [*rows, (*_left(beds, say),)]


def _cover(plan: Plan) -> str:
    return "mixture" if plan.mixture else plan.cover.common_name


def _of_cover(plan: Plan, say: Measures) -> tuple[str, str, str] | None:
    """What a mixture ties up of the crop's nitrogen; None where it likely ties up none."""
    owed = plan.nitrogen.ties_up
    if owed is None:
        return None
    return "the mixture ties up", _span(say, owed.low, owed.high), "what rots takes it from the crop at first"


_IN_COVER = "spread before the cover was sown, which has taken it up in part: counted there"


def _by(key: str) -> str:
    """A source in a word or two, or that there is none."""
    return short_source(catalogue.source(key)) if key else "assumed"


def _share_of(each: Dose) -> str:
    """What the nitrogen of an amendment rests on."""
    contents = "your own analysis" if each.own else _by(each.material.nitrogen.source)
    first_year = each.material.first_year(worked_in=each.entry.worked_in)
    share = "your own share" if each.entry.available is not None else _by(first_year.source)
    return contents if contents == share else f"{contents}; {share}"


def _span(say: Measures, low: float, high: float) -> str:
    ends = [round(say.rate_number(end) / 5) * 5 for end in (low, high)]
    return f"{ends[0]:,}" if ends[0] == ends[1] else f"{ends[0]:,} to {ends[1]:,}"


def _left(beds: BedPlan, say: Measures) -> tuple[str, str, str]:
    balance = beds.nitrogen
    assert balance is not None
    low, likely, high = balance.missing
    on_field = say.weight(abs(likely) * beds.layout.vine_area / 10_000)
    if balance.verdict == "missing":
        return "still missing", _span(say, max(low, 0.0), high), f"{on_field} in all"
    if balance.verdict == "too-much":
        return "too much by", _span(say, max(-high, 0.0), -low), f"{on_field} in all"
    if balance.leans is not None:
        ends = _span(say, *sorted((abs(low), abs(high))))
        return "about right", "", f"{ends} {balance.leans}"
    return "about right", "", f"{_span(say, -low, -low)} over to {_span(say, high, high)} short"


def nitrogen_advice(beds: BedPlan) -> str:
    """What to do about the balance of nitrogen."""
    if beds.nitrogen is None:
        return ""
    match beds.nitrogen.verdict:
        case "missing":
            where = " (over all the ground: the roots have left the spot by then)" if beds.reach else ""
            return _at_planting(beds) or (
                f"Give half of what is missing when the plants run{where}, after a nitrate test of the top foot: with "
                "25 ppm there, none is needed (University of Connecticut)."
            )
        case "too-much":
            return (
                "Too much nitrogen makes leaves for fruit, and pumpkins then yield less (University of Connecticut): "
                "spread less, or none."
            )
        case _:
            return "Nothing more is needed, unless the leaves turn pale."


def _at_planting(beds: BedPlan) -> str:
    """What to give when, where a mixture ties nitrogen up: that at planting, and of the rest half later."""
    owed, say = beds.plan.nitrogen.ties_up, Measures(beds.us)
    if owed is None:
        return ""
    on_field = say.weight(owed.median * beds.layout.area / 10_000)
    return (
        f"Give {say.about(owed.median)} of it at planting ({on_field} in all) for what the "
        "mixture ties up; of the rest half when the plants run, after a nitrate test of the top foot: with "
        "25 ppm there, none is needed (University of Connecticut)."
    )


def roots(beds: BedPlan) -> str:
    """What the plants of a spot can reach early and later; empty for a crop in rows."""
    reach, say = beds.reach, Measures(beds.us)
    if reach is None:
        return ""
    weeks = " to ".join(f"{days / 7:.0f}" for days in nutrients.SPOT_DAYS)
    until = ""
    if not np.isnat(reach.leaves[0]):
        until = " (until " + " to ".join(day_month(day, _year(beds)) for day in reach.leaves) + ")"

    def given(amount: tuple[float, float, float]) -> str:
        low, _, high = (say.weight(end) for end in amount)
        return low if low == high else f"{low} to {high}"

    return (
        f"Roots: a spot's plants need {say.weight(reach.need)} of nitrogen; for {weeks} weeks{until} they reach "
        f"{given(reach.spot)} in the spot, then {given(reach.ground)} on all their ground "
        f"({_by(nutrients.ROOTS_SOURCE)})."
    )


def phosphorus(beds: BedPlan) -> str:
    """What the amendments bring of phosphorus against what crops take off; empty without amendments."""
    load, say = beds.phosphorus, Measures(beds.us)
    if load is None:
        return ""
    on = f"{say.about(load.brought)} on the ground that the plants run over"
    if load.uneven:
        on += f", {say.about(load.on_beds)} where it lies thickest"
    removed = say.rates(*load.removed, step=1)
    said = (
        f"Phosphorus: {on}, some {percent(nutrients.P_FIRST_YEAR)} of it in reach of the first crop (Ontario, 2013); "
        f"vegetable crops take off {removed} in a year (University of Vermont)."
    )
    if load.excess:
        said += (
            f" TOO MUCH: what is left builds up and washes into water. Spread no more than {percent(load.share)} of "
            f"it{_thin(beds, load.share, say)}, or have the soil tested first; go by phosphorus, not nitrogen."
        )
    if load.thick:
        harvests = max(1, round(load.years))
        return (
            f"{said} Where it lies thickest it is worth {harvests} harvest{'s' if harvests > 1 else ''}: set the next "
            "ones elsewhere."
        )
    return said if load.excess else f"{said} That is no more than a crop can take."


def _thin(beds: BedPlan, share: float, say: Measures) -> str:
    """How thin a layer a share of what is spread is, where one layer is all of it."""
    layers = [each for each in beds.doses if each.entry.depth_m is not None]
    return f", a layer of {say.depth(share * layers[0].depth)}" if len(layers) == len(beds.doses) == 1 else ""


def layer(beds: BedPlan, each: Dose) -> str:
    """A layer on little ground that is richer than the crop needs there; else empty."""
    say = Measures(beds.us)
    if not nutrients.is_too_rich(each, beds.nitrogen):
        return ""
    long, wide = beds.layout.each
    mixed = "Mix it in well, and keep" if each.entry.worked_in else "Keep"
    place, share = (
        (f"one bed of {say.length(long)} by {say.length(wide)}", long * wide / each.area)
        if each.entry.where == "beds"
        else ("one spot", 1 / beds.layout.count)
    )
    return (
        f"{each.material.common_name.capitalize()} on little ground: {place} gets {say.weight(each.available * share)} "
        f"of nitrogen this year and {say.weight(each.phosphorus * share)} of phosphorus. Of nitrogen that is "
        f"{say.about(each.on_bed)} where it lies, {say.about(each.on_vines)} over all that the plants run over. "
        f"{_enough(beds, each, say)}{mixed} seed out of it."
    )


def _enough(beds: BedPlan, each: Dose, say: Measures) -> str:
    """How much less would do for the crop; empty where all of it is needed."""
    share = nutrients.enough(each, beds.nitrogen)
    if share is None or share >= 1:
        return ""
    if share <= 0:
        return "The crop needs none of it. "
    thin = f", a layer of {say.depth(share * each.depth)}" if each.entry.depth_m is not None else ""
    return f"For the crop {percent(share)} of it is enough{thin}. "


# --- intervals ------------------------------------------------------------------------------------


def interval(beds: BedPlan, kept: Interval) -> str:
    """Yes, no, or from when, in a sentence that names the rule."""
    said = _answer(beds, kept)
    why = f" It counts as raw, since {' and '.join(kept.faults)}." if kept.faults else ""
    return f"{kept.subject.capitalize()}: {said}{why}"


#: Why some materials need not wait for the harvest.
_ANY_DAY = {
    "plants": "as long as no manure is in it.",
    "heated": "if its maker shows that it was heated to 74 degC (165 degF), or to 66 degC (150 degF) for an hour, and "
    "dried to 12% water (Organic Materials Review Institute).",
    "compost": f"since its record passes {spreading.COMPOST_RULE}. Keep the record.",
}


def _answer(beds: BedPlan, kept: Interval) -> str:
    def day(date: np.datetime64) -> str:
        return day_month(date, _year(beds))

    wait = spreading.raw_days(beds.plan.crop)
    if kept.kind in _ANY_DAY:
        return f"YES, at any time, {_ANY_DAY[kept.kind]}"
    if kept.kind == "on-top":
        return _on_top(kept, day, wait, beds.plan.on)
    if kept.kind == "poultry":
        return _poultry(kept, day)
    return _bioassay(kept, day) if kept.kind == "bioassay" else _raw(beds, kept, day, wait)


def _on_top(kept: Interval, day: Day, wait: int, on: np.datetime64) -> str:
    if kept.is_too_late(on):
        way_out = f"The last day to work it in, {day(kept.worked_in_by)}, is past: take"
    else:
        way_out = f"Work it in{'' if np.isnat(kept.worked_in_by) else f' by {day(kept.worked_in_by)}'}, or take"

    def reading(said: Reading) -> str:
        first = "" if np.isnat(said.first_harvest) else f" (harvest from {day(said.first_harvest)})"
        return f"{said.who} {said.says}{first}"

    return (
        f"NO. {spreading.RAW_RULE} allows raw manure on a food crop's bed only where it is worked into the soil, "
        f"{wait} days before harvest; laid on top it fits none of its exceptions. How it is counted all the same: "
        f"{'; '.join(reading(said) for said in kept.readings)}. {way_out} compost whose record "
        f"passes {spreading.COMPOST_RULE}; where it lies already, ask your certifier and your "
        "local code, and keep to the longest that binds you."
    )


def _raw(beds: BedPlan, kept: Interval, day: Day, wait: int) -> str:
    rule = f"{wait} days before harvest, {spreading.RAW_RULE}"
    if kept.allowed is None:
        return f"worked in at least {rule}."
    spread = kept.done < beds.plan.on
    if kept.allowed and spread:
        last = f"the last day for a harvest about {day(kept.aim)} is {day(kept.end)}"
        return f"YES, worked in on {day(kept.done)}; {last} ({rule})."
    if kept.allowed:
        return f"YES until {day(kept.end)}, for a harvest about {day(kept.aim)} ({rule}). Work it in."
    first = day(kept.first_harvest)
    return (
        f"NO. Worked in on {day(kept.done)} it is too late for a harvest about {day(kept.aim)}: the last day is "
        f"{day(kept.end)} ({rule}). Harvest from {first} on would be allowed."
    )


def _poultry(kept: Interval, day: Day) -> str:
    rule = f"no seed within {spreading.POULTRY_DAYS} days of it, for its salt and ammonia; assumed"
    if kept.allowed is None:
        return f"{rule}."
    return (
        f"{'YES' if kept.allowed else 'NO'}. Spread on {day(kept.done)}, seed from {day(kept.start)} ({rule}); "
        f"planting is about {day(kept.aim)}."
    )


def _bioassay(kept: Interval, day: Day) -> str:
    test = "test for weed-killers (aminopyralid, clopyralid, picloram; NC State Extension)"
    if kept.allowed is None:
        return f"{test}: it is spread already, so watch the first leaves."
    if kept.allowed:
        return f"{test} before it is spread: sow the test by {day(kept.end)}."
    return f"{test} before it is spread: sow the test today, and spread from {day(kept.start)}."


# --- after the harvest ----------------------------------------------------------------------------


def after(beds: BedPlan) -> list[str]:
    """Next autumn's turn, a sentence each."""
    turn, plan, say = beds.after, beds.plan, Measures(beds.us)
    crop, cover, year = plan.crop, plan.cover, _year(beds)
    family = _FAMILIES.get(crop.family, f"family {crop.family}")
    brought = []
    if not np.isnan(turn.cover_nitrogen):
        brought.append(f"{say.weight(turn.cover_nitrogen)} of nitrogen in the cover")
    if beds.doses:
        parts = (turn.nitrogen, turn.phosphorus, turn.potassium)
        n, p, k = (say.weight(part) for part in parts)
        brought.append(f"{n} of nitrogen, {p} of phosphorus and {k} of potassium in manure and compost")
    said = [f"The soil gets this season, in all: {'; '.join(brought)}."] if brought else []
    if turn.same_family:
        past = " and ".join(
            f"{name} {'last year' if years == 1 else f'{years} years ago'}" for years, name in turn.same_family
        )
        said.append(
            f"SAME FAMILY AGAIN: {crop.common_name} is of the {family}, as was {past}. Its diseases wait in the "
            "ground; three years between are common practice."
        )
    else:
        said.append(
            f"Next year, plant something that is not of the {family}: three years between are common practice, no "
            "source."
        )
    said.append(_remains(turn.remains) if beds.squares is None else _remains_in_squares(turn.remains))
    if beds.squares is not None:
        said += [
            "In the squares add no more than what the next crop needs, as worked out above for this one; last year's "
            "manure still gives.",
            f"Sheet left lying: no cover can be sown. {_lifted(turn, cover.common_name, year)}",
        ]
    if not np.isnat(turn.harvest):
        said.append(_turn(beds, year))
    said.append(
        f"Change the legume now and then: {cover.common_name} year after year gathers its own rots (common practice, "
        "no source)."
    )
    return said


def _lifted(turn: AfterHarvest, cover: str, year: int) -> str:
    """By when a sheet has to be off for the next cover."""
    if np.isnat(turn.best_sowing):
        return (
            f"For a cover lift it before {day_month(turn.sowing, year)}, when this one was sown; covercrop sow gives "
            "the day for this autumn."
        )
    return (
        f"For a cover lift it before {day_month(turn.best_sowing, year)}, the best day for sowing {cover} again by "
        "covercrop sow."
    )


def _remains(choice: str | None) -> str:
    match choice:
        case "leave":
            return "Vines and roots left: chop and mix them in while it is warm, but take away whatever is sick."
        case "take":
            return (
                "Vines taken, roots left: what they hold goes with them, so bring it back as compost; cut them off and "
                "leave the roots."
            )
        case _:
            return "Leave the roots, and healthy vines too, chopped and mixed in; take sick ones away."


def _remains_in_squares(choice: str | None) -> str:
    """In a square nothing is mixed in while the sheet lies."""
    rest = {
        "leave": "leave healthy vines on the squares",
        "take": "take the vines, and bring back as compost what they hold",
        None: "leave healthy vines on the squares or compost them",
    }
    return f"Cut the vines at the ground and leave the roots in; {rest[choice]}. Pull up and take away what is sick."


def _turn(beds: BedPlan, year: int) -> str:
    turn, cover = beds.after, beds.plan.cover.common_name
    harvest, sowing = day_month(turn.harvest, year), day_month(turn.sowing, year)
    if turn.in_the_way:
        return (
            f"Harvest about {harvest} comes after {sowing}, when this cover was sown: sow {cover} between the rows "
            "before it, or another cover after it."
        )
    return f"Harvest about {harvest} comes before {sowing}, when this cover was sown: clear, then sow."


def cautions(beds: BedPlan) -> list[str]:
    """What can hurt on this field."""
    sheet = [_SHEET] if beds.plan.field.crop.ground_cover == "black-plastic" else []
    salt = (
        [_SALT] if any(each.material.animal == "poultry" and not each.material.composted for each in beds.doses) else []
    )
    boards = [_BOARDS] if beds.layout.frames else []
    squares = [_SHEDS] if beds.squares is not None else []
    mulch = [_CLIPPINGS] if beds.squares is not None and beds.squares.mulch == "clippings" else []
    return [*CAUTIONS, *sheet, *squares, *boards, *mulch, *salt]
