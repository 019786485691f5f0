"""The sheet to load the truck by: on the terminal, as JSON and as CSV."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.padding import Padding
from rich.text import Text

from covercrop import advice, amendments, parameters
from covercrop.measures import Measures
from covercrop.render import bed_drawing, bed_words, machine
from covercrop.render.terminal import foot
from covercrop.spreadsheet import csv_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds import BedPlan
    from covercrop.render.terminal import Screen
    from covercrop.supplies import Item

CSV_COLUMNS = ("field", "group", "item", "quantity", "unit", "why")


def show(screen: Screen, all_beds: Sequence[BedPlan], *, title: str = "", full: bool = False) -> None:
    """Print the beds of every field.

    Parameters
    ----------
    screen : Screen
    all_beds : sequence of BedPlan
    title : str
        What was asked about.
    full : bool
        Every assumption with its reason, and every source in full.
    """
    if not all_beds:
        return
    screen.say(title, style="bold")
    for beds in all_beds:
        _field(screen, beds)
    doses = any(beds.doses for beds in all_beds)
    if doses:
        screen.items("To test manure or compost for weed-killers", amendments.BIOASSAY_STEPS)
    screen.items("Take care", dict.fromkeys(said for beds in all_beds for said in bed_words.cautions(beds)))
    assumed = dict.fromkeys(assumption for beds in all_beds for assumption in beds.assumptions)
    keys = dict.fromkeys(key for beds in all_beds for key in beds.sources)
    foot(screen, list(assumed), list(keys), full=full)


def _field(screen: Screen, beds: BedPlan) -> None:
    screen.say()
    screen.say(beds.plan.field.name, style="bold")
    screen.say(bed_words.stands(beds))
    if said := bed_words.dates(beds):
        screen.say(said)
    _plan(screen, beds)
    _list(screen, beds.items)
    _nitrogen(screen, beds)
    kept = [bed_words.interval(beds, each) for each in beds.intervals]
    screen.items("When", kept)
    screen.items("After the harvest", bed_words.after(beds))


def _plan(screen: Screen, beds: BedPlan) -> None:
    marks = bed_drawing.ASCII if screen.plain else bed_drawing.BOX
    *drawing, legend = bed_drawing.text_plan(beds, min(screen.width, 80) - 4, marks)
    screen.say()
    for line in drawing:
        screen.show(Padding(Text(line), (0, 0, 0, 2)))
    screen.say(legend, style="dim", indent=2)


def _list(screen: Screen, items: Sequence[Item]) -> None:
    screen.say()
    rows = [(amount(item), item.item, item.why) for item in items]
    screen.table((("to load", "right"), ("", "left"), ("exact need, and what for", "left")), rows)


def amount(item: Item) -> str:
    """A quantity with its unit."""
    return f"{item.quantity:,.10g} {item.unit}".strip()


def _nitrogen(screen: Screen, beds: BedPlan) -> None:
    rows = bed_words.nitrogen_rows(beds)
    if rows:
        screen.say()
        screen.table((("nitrogen", "left"), (Measures(beds.us).rate_unit, "right"), ("", "left")), rows)
        screen.say(bed_words.nitrogen_advice(beds), indent=2)
    for said in (bed_words.phosphorus(beds), *(bed_words.layer(beds, each) for each in beds.doses)):
        if said:
            screen.say(said, indent=2)


# --- for machines ---------------------------------------------------------------------------------


def document(
    all_beds: Sequence[BedPlan], on: np.datetime64, problems: Sequence[tuple[str, str]] = ()
) -> dict[str, Any]:
    """The document of ``covercrop beds --json``.

    Parameters
    ----------
    all_beds : sequence of BedPlan
    on : numpy.datetime64[D]
    problems : sequence of (field name, message)
        Fields that could not be worked out.
    """
    return machine.document(str(on), [_as_json(beds) for beds in all_beds], problems)


def _as_json(beds: BedPlan) -> dict[str, Any]:
    ground = beds.layout
    return {
        "name": beds.plan.field.name,
        "crop": beds.plan.crop.key,
        "layout": {
            "kind": ground.kind,
            "length_m": ground.length,
            "width_m": ground.width,
            "taken_as_a_square": ground.squared,
            "row_spacing_m": ground.row_spacing,
            "spacing_m": ground.spacing,
            "rows": int(ground.rows.size),
            "frames": ground.frames,
            "spots": ground.count,
            "plants": ground.count * ground.plants,
            "bed_width_m": ground.bed,
            "bed_area_m2": ground.bed_area,
            "vine_area_m2": ground.vine_area,
            "covering": beds.covering,
        },
        "planting": machine.iso_date(beds.planting),
        "thinning": machine.iso_date(beds.thinning),
        "items": [asdict(item) for item in beds.items],
        "nitrogen": _nitrogen_json(beds),
        "phosphorus": None
        if beds.phosphorus is None
        else {
            "brought_kg_ha": beds.phosphorus.brought,
            "where_it_lies_kg_ha": beds.phosphorus.on_beds,
            "removed_kg_ha": list(beds.phosphorus.removed),
            "too_much": beds.phosphorus.excess,
            "too_much_where_it_lies": beds.phosphorus.thick,
            "says": bed_words.phosphorus(beds),
        },
        "intervals": [
            {
                "subject": kept.subject,
                "rule": kept.rule,
                "from": machine.iso_date(kept.start),
                "until": machine.iso_date(kept.end),
                "allowed": kept.allowed,
                "says": bed_words.interval(beds, kept),
                "source": kept.source or "assumed",
            }
            for kept in beds.intervals
        ],
        "after_harvest": _after_json(beds),
        "cautions": bed_words.cautions(beds),
        "assumptions": list(beds.assumptions),
        "sources": [advice.reference(parameters.source(key)) for key in beds.sources],
    }


def _nitrogen_json(beds: BedPlan) -> dict[str, Any] | None:
    balance = beds.nitrogen
    if balance is None:
        return None
    share = beds.plan.pan_by_planting

    def ends(values: tuple[float, float, float]) -> dict[str, float]:
        return dict(zip(("low", "median", "high"), values, strict=True))

    return {
        "organic_matter_percent": balance.organic_matter,
        "organic_matter_tested": balance.tested,
        "need_kg_ha": ends(balance.need),
        "cover_kg_ha": ends(balance.cover),
        "cover_share_by_planting": None if np.isnan(share) else share,
        "cover_over_time": [
            {
                "weeks": given.weeks,
                "date": machine.iso_date(given.day),
                "share": given.share,
                "kg_ha": ends(given.available),
            }
            for given in beds.cover_nitrogen
        ],
        "amendments_kg_ha": balance.amendments,
        "missing_kg_ha": ends(balance.missing),
        "verdict": balance.verdict,
    }


def _after_json(beds: BedPlan) -> dict[str, Any]:
    turn = beds.after
    return {
        "harvest": machine.iso_date(turn.harvest),
        "sowing_a_year_on": machine.iso_date(turn.sowing),
        "same_family": [{"years_ago": years, "crop": name} for years, name in turn.same_family],
        "remains": turn.remains,
        "soil_got_kg": {
            "nitrogen_in_cover": None if np.isnan(turn.cover_nitrogen) else turn.cover_nitrogen,
            "nitrogen": turn.nitrogen,
            "phosphorus": turn.phosphorus,
            "potassium": turn.potassium,
        },
        "says": bed_words.after(beds),
    }


def table_csv(all_beds: Sequence[BedPlan]) -> str:
    """The lists of all fields as CSV, a line for each item."""
    return csv_table(
        CSV_COLUMNS,
        (
            (beds.plan.field.name, item.group, item.item, f"{item.quantity:.10g}", item.unit, item.why)
            for beds in all_beds
            for item in beds.items
        ),
    )
