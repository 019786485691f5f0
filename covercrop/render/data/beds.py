"""The beds and the list to load as JSON and CSV."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.spreadsheet import csv_table
from covercrop.beds import nutrients
from covercrop.parameters import catalogue
from covercrop.render.data import machine
from covercrop.render.words import beds as bed_words
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds.beds import BedPlan

CSV_COLUMNS = ("field", "group", "item", "quantity", "unit", "why")


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
            "as_many_as_fit": not ground.counted,
            "frame_length_m": ground.frame_length,
            "frame_places_m": ground.places.tolist(),
            "margin_m": ground.margin,
            "vines_reach_m": ground.reach,
            "spots": ground.count,
            "plants": ground.count * ground.plants,
            "bed_width_m": ground.bed,
            "bed_area_m2": ground.bed_area,
            "vine_area_m2": ground.vine_area,
            "covering": beds.covering,
        },
        "squares": None
        if beds.squares is None
        else {
            "layers": [{"material": name, "depth_m": depth} for name, depth in beds.squares.layers],
            "depth_m": beds.squares.depth,
            "board_m": beds.squares.board,
            "above_the_boards": beds.squares.heaped,
            "says": bed_words.squares(beds),
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
            "uneven": beds.phosphorus.uneven,
            "says": bed_words.phosphorus(beds),
        },
        "enough": [
            {"material": each.material.key, "share": nutrients.enough(each, beds.nitrogen), "in_cover": each.in_cover}
            for each in beds.doses
        ],
        "too_rich_where_it_lies": [
            each.material.key for each in beds.doses if nutrients.is_too_rich(each, beds.nitrogen)
        ],
        "intervals": [
            {
                "subject": kept.subject,
                "rule": kept.rule,
                "from": machine.iso_date(kept.start),
                "until": machine.iso_date(kept.end),
                "allowed": kept.allowed,
                "says": bed_words.interval(beds, kept),
                "source": kept.source or "assumed",
                "readings": [
                    {
                        "who": reading.who,
                        "says": reading.says,
                        "days": reading.days,
                        "first_harvest": machine.iso_date(reading.first_harvest),
                        "source": reading.source,
                    }
                    for reading in kept.readings
                ],
            }
            for kept in beds.intervals
        ],
        "after_harvest": _after_json(beds),
        "absent": beds.absent,
        "cautions": bed_words.cautions(beds),
        "assumptions": list(beds.assumptions),
        "sources": [advice.reference(catalogue.source(key)) for key in beds.sources],
    }


def _nitrogen_json(beds: BedPlan) -> dict[str, Any] | None:
    balance = beds.nitrogen
    if balance is None:
        return None
    share, owed = beds.plan.nitrogen.by_planting, beds.plan.nitrogen.ties_up

    def ends(values: tuple[float, float, float]) -> dict[str, float]:
        return dict(zip(("low", "median", "high"), values, strict=True))

    return {
        "organic_matter_percent": balance.organic_matter,
        "organic_matter_tested": balance.tested,
        "need_kg_ha": ends(balance.need),
        "cover_kg_ha": ends(balance.cover),
        **({} if beds.plan.mixture is None else {"give_at_planting_kg_ha": 0.0 if owed is None else owed.median}),
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
        "roots": _reach_json(beds),
        "verdict": balance.verdict,
        "leans": balance.leans,
    }


def _reach_json(beds: BedPlan) -> dict[str, Any] | None:
    reach = beds.reach
    if reach is None:
        return None

    def grams(values: tuple[float, float, float]) -> dict[str, float]:
        return dict(zip(("low", "median", "high"), (value * 1000 for value in values), strict=True))

    leaves = [machine.iso_date(day) for day in reach.leaves]
    return {
        "leave_the_spot": None if leaves[0] is None else leaves,
        "need_g_a_spot": reach.need * 1000,
        "in_the_spot_g": grams(reach.spot),
        "over_its_ground_g": grams(reach.ground),
    }


def _after_json(beds: BedPlan) -> dict[str, Any]:
    turn = beds.after
    return {
        "harvest": machine.iso_date(turn.harvest),
        "sowing_a_year_on": machine.iso_date(turn.sowing),
        "best_sowing": machine.iso_date(turn.best_sowing),
        "harvest_after_sowing": turn.in_the_way,
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
