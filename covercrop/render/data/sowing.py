"""The sowing dates compared, for other programs: JSON and CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.autumn import verdict
from covercrop.base import units
from covercrop.base.spreadsheet import csv_table
from covercrop.parameters import catalogue
from covercrop.render.data import machine
from covercrop.render.words import sowing
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from covercrop.autumn.comparison import Autumn, Choice, Failure
    from covercrop.base.records import CitedValue

_AMOUNTS = ("dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha")
_CSV_COLUMNS = (
    "field",
    "cover",
    "cultivar",
    "sown",
    "p_established",
    "p_survives",
    "p_plantable",
    "p_together",
    "turn_under",
    "p_window",
    "window_open",
    "earliest_planting",
)


def sow(answers: Sequence[Autumn], on: np.datetime64, problems: Sequence[tuple[str, str]] = ()) -> dict[str, Any]:
    """The document of ``covercrop sow --json``.

    Parameters
    ----------
    answers : sequence of Autumn
    on : numpy.datetime64[D]
    problems : sequence of (field name, message)
        Fields that could not be worked out.
    """
    return machine.document(str(on), [_field(autumn) for autumn in answers], problems)


def _field(autumn: Autumn) -> dict[str, Any]:
    shown = verdict.talked_about(autumn)
    return {
        "name": autumn.field.name,
        "crop": autumn.crop.key,
        "from": str(autumn.dates[0]),
        "to": str(autumn.dates[-1]),
        "plant_by": {
            "date": str(autumn.plant_by),
            "from": autumn.plant_by_from,
            "p_ripens": round(autumn.ripens_by, 3),
        },
        "accepted": {
            "p_established": autumn.risk.established,
            "p_survives": autumn.risk.survives,
            "p_plantable": autumn.risk.plantable,
        },
        "first_hard_frost": machine.iso_date(autumn.frost),
        "common_practice": [machine.iso_date(day) for day in verdict.rule_dates(autumn)],
        "years": list(autumn.years),
        "moist_seedbed": [
            {"sown": str(day), "p": _share(share)} for day, share in zip(autumn.dates, autumn.moist, strict=True)
        ],
        "rain_known": verdict.rain_is_known(autumn),
        "water_seed_in": verdict.to_water_in(autumn) is not None,
        "snow_matters": verdict.snow_matters(autumn),
        "covers": [_choice(autumn, choice) for choice in autumn.choices],
        "relax": [
            {
                "cover": relaxed.cover,
                "kind": relaxed.kind,
                "sow_from": str(relaxed.start),
                "sow_to": str(relaxed.end),
                "with_snow": relaxed.snow,
                "too_late": verdict.relaxed_too_late(autumn, relaxed),
                "p_survives": _share(relaxed.alive),
                "words": sowing.relaxation(autumn, relaxed),
            }
            for relaxed in autumn.relaxations
        ],
        "notes": [*autumn.notes, *sowing.assumptions(autumn)],
        "cautions": list(sowing.cautions(autumn)),
        "sources": [advice.reference(catalogue.source(key)) for key in sowing.sources(autumn, shown)],
    }


def _choice(autumn: Autumn, choice: Choice) -> dict[str, Any]:
    return {
        "species": choice.cover.key,
        "cultivar": choice.cultivar or None,
        **_beside(choice),
        "sow_from": None if choice.first is None else str(autumn.dates[choice.first]),
        "sow_to": None if choice.last is None else str(autumn.dates[choice.last]),
        "best": str(autumn.dates[choice.best]) if choice.fit else None,
        "nearest": str(autumn.dates[choice.best]),
        "fits": choice.fit,
        "too_late": verdict.too_late(autumn, choice),
        "best_is_past": verdict.best_is_past(autumn, choice),
        "poor": verdict.is_poor(choice),
        "fails_first": {
            "before": _failure(autumn, choice, choice.before),
            "after": _failure(autumn, choice, choice.after),
        },
        "seed": {
            "drilled_kg_ha": _range(choice.cover.sowing.drilled),
            "broadcast_kg_ha": _range(choice.cover.sowing.broadcast),
            "depth_mm": _range(choice.cover.sowing.depth, 1000.0),
            "inoculant": choice.cover.inoculant,
        },
        "rows": [
            {
                "sown": str(day),
                "p_established": _share(choice.established[place]),
                "p_survives": _share(choice.survives[place]),
                "p_plantable": _share(choice.plantable[place]),
                "p_together": _share(choice.together[place]),
                "turn_under": machine.iso_date(choice.ended[place]),
                "p_window": _share(choice.window[place]),
                "window_open": machine.iso_date(choice.window_open[place]),
                "earliest_planting": machine.iso_date(choice.earliest_planting[place]),
                **{name: _number(choice.brings[name][place]) for name in _AMOUNTS},
            }
            for place, day in enumerate(autumn.dates)
        ],
    }


def _beside(choice: Choice) -> dict[str, Any]:
    """The cereal beside a cover; only where there is one."""
    cereal, share = choice.companion, choice.share_of_legume
    if cereal is None or share is None:
        return {}
    return {
        "with": cereal.key,
        "legume_share": {"low": share.low, "middle": share.middle, "high": share.high, "whose": share.whose},
        "cereal_seed_kg_ha": {"beside": _range(cereal.sowing.beside), "alone": _range(cereal.sowing.alone)},
        "p_cereal_survives": [_share(each) for each in choice.cereal_lives],
    }


def _failure(autumn: Autumn, choice: Choice, failure: Failure | None) -> dict[str, Any] | None:
    if failure is None:
        return None
    return {
        "limit": failure.limit,
        "sown": str(failure.date),
        "p": _share(failure.share),
        "words": sowing.fails(autumn, choice, failure),
    }


def _range(value: CitedValue, factor: float = 1.0) -> dict[str, float | None]:
    return {
        "value": round(value.value * factor, 1),
        "low": None if value.low is None else round(value.low * factor, 1),
        "high": None if value.high is None else round(value.high * factor, 1),
    }


def _share(share: float) -> float | None:
    return None if np.isnan(share) else round(float(share), 3)


def _number(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 1)


def sow_csv(answers: Sequence[Autumn], *, us: bool = False) -> str:
    """The table of ``covercrop sow --csv``, without a final newline; amounts per acre in pounds for US units."""
    per = 1 / units.KG_HA_PER_LB_ACRE if us else 1.0
    amounts = [name.replace("kg_ha", "lb_acre") if us else name for name in _AMOUNTS]
    return csv_table((*_CSV_COLUMNS, *amounts, "with"), (row for autumn in answers for row in _csv_rows(autumn, per)))


def _csv_rows(autumn: Autumn, per: float) -> Iterator[list[str | None]]:
    for choice in autumn.choices:
        shares = (choice.established, choice.survives, choice.plantable, choice.together)
        for place, day in enumerate(autumn.dates):
            yield [
                autumn.field.name,
                choice.cover.key,
                choice.cultivar,
                str(day),
                *(_decimal(share[place], 3) for share in shares),
                machine.iso_date(choice.ended[place]),
                _decimal(choice.window[place], 3),
                machine.iso_date(choice.window_open[place]),
                machine.iso_date(choice.earliest_planting[place]),
                *(_decimal(choice.brings[name][place] * per, 1) for name in _AMOUNTS),
                choice.companion.key if choice.companion else None,
            ]


def _decimal(value: float, places: int) -> str | None:
    """A number as it stands in the table; no cell holds a NaN."""
    return None if np.isnan(value) else f"{value:.{places}f}"
