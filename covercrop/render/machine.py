"""Answers as JSON: the same habits for every command."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop import advice, parameters

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence

    from covercrop.plan import Amount, Plan
    from covercrop.records import DailyWeather, DateRange
    from covercrop.tabulate import DegreeDayTable
    from covercrop.traits import Cover, Crop
    from covercrop.weather.table import WeatherSummary

SCHEMA = 1


def dump(document: dict[str, Any]) -> str:
    """A document as indented JSON in ASCII, which any output can hold; a NaN or NaT in it is an error, not a guess."""
    return json.dumps(document, indent=2, allow_nan=False)


def ready(plans: Sequence[Plan], on: np.datetime64, problems: Sequence[tuple[str, str]] = ()) -> dict[str, Any]:
    """The document of ``covercrop ready --json``.

    Parameters
    ----------
    plans : sequence of Plan
    on : numpy.datetime64[D]
    problems : sequence of (field name, message)
        Fields that could not be worked out.
    """
    return document(str(on), [field(plan) for plan in plans], problems)


def document(on: str, fields: list[dict[str, Any]], problems: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """What every command about fields answers; ``problems`` only where there are any."""
    document: dict[str, Any] = {"schema": SCHEMA, "on": on, "fields": fields}
    if problems:
        document["problems"] = [{"name": name, "message": message} for name, message in problems]
    return document


def field(plan: Plan) -> dict[str, Any]:
    """One field of the document."""
    likely = np.flatnonzero(plan.window_probability >= 0.005)
    shown = range(likely[0], likely[-1] + 1) if likely.size else range(0)
    best = plan.turn_under
    return {
        "name": plan.field.name,
        "species": plan.cover.key,
        "cultivar": plan.field.cover.cultivar or None,
        "sown": plan.field.cover.sown.isoformat(),
        "state": plan.state,
        "stage": {"bbch": plan.bbch, "name": plan.stage},
        "dates": {name: _range(dates) for name, dates in plan.dates.items()},
        "turn_under": {
            "date": date(best.date) if best else None,
            "probability": round(best.probability, 3) if best else None,
            "from": date(best.start) if best else None,
            "to": date(best.end) if best else None,
        },
        "window_probability": [
            {"date": str(plan.window_days[place]), "p": round(float(plan.window_probability[place]), 3)}
            for place in shown
        ],
        "binding_limit": plan.binding_limit,
        "observed_share": round(plan.observed_share, 3),
        "nitrogen": {
            **{
                name: _amount(plan.nitrogen.get(name))
                for name in ("dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha", "carbon_nitrogen")
            },
            "released": [{"weeks": weeks, **_amount(share, 3)} for weeks, share in plan.release.items()],
        },
        "notes": [*plan.notes, *plan.assumptions],
        "cautions": list(plan.cautions),
        "sources": [advice.reference(parameters.source(key)) for key in plan.sources],
    }


def date(day: np.datetime64) -> str | None:
    """A date, or nothing where it is not reached."""
    return None if np.isnat(day) else str(day)


def _range(dates: DateRange) -> dict[str, str | None]:
    return {"early": date(dates.early), "median": date(dates.median), "late": date(dates.late)}


def _amount(amount: Amount | None, places: int = 1) -> dict[str, float | None]:
    if amount is None:
        return {"low": None, "median": None, "high": None}
    return {name: round(getattr(amount, name), places) for name in ("low", "median", "high")}


def weather(
    found: Sequence[tuple[str, DailyWeather, WeatherSummary]],
    today: dt.date,
    problems: Sequence[tuple[str, str]] = (),
) -> dict[str, Any]:
    """The document of ``covercrop weather --json``."""
    fields = [
        {
            "name": name,
            "stations": [asdict(station) for station in record.stations],
            "first": str(summary.first),
            "last": str(summary.last),
            "days": summary.days,
            "shares": {origin: round(share, 4) for origin, share in summary.shares.items()},
            "flags": [
                {"flag": fault.flag, "days": fault.days, "first": [str(day) for day in fault.first]}
                for fault in summary.flags
            ],
            "longest_gap": [str(day) for day in summary.longest_gap] if summary.longest_gap else None,
            "retrieved": record.retrieved or None,
            "attribution": record.attribution or None,
            "notes": list(record.notes),
        }
        for name, record, summary in found
    ]
    return document(today.isoformat(), fields, problems)


def degree_days(table: DegreeDayTable) -> dict[str, Any]:
    """The document of ``covercrop degree-days --json``."""
    days = [dict(zip(_COLUMNS, row, strict=True)) for row in _rows(table)]
    return {
        "schema": SCHEMA,
        **{name: getattr(table, name) for name in ("units", "method", "lower", "upper", "cutoff")},
        "days": [day | {"filled": bool(filled)} for day, filled in zip(days, table.filled, strict=True)],
    }


def degree_days_csv(table: DegreeDayTable) -> str:
    """The table of ``covercrop degree-days --csv``, without a final newline."""
    return "\n".join((",".join(_COLUMNS), *(",".join(map(str, row)) for row in _rows(table))))


_COLUMNS = ("date", "tmin", "tmax", "degree_days", "sum")


def _rows(table: DegreeDayTable) -> Iterator[tuple[str, float, float, float, float]]:
    # Four decimals hide the noise of converting units and lose nothing that a thermometer can tell.
    values = np.round(np.column_stack((table.tmin, table.tmax, table.degree_days, table.sum)), 4).tolist()
    for day, (low, high, daily, total) in zip(table.dates, values, strict=True):
        yield str(day), low, high, daily, total


def parameter_records(records: Sequence[Cover | Crop]) -> dict[str, Any]:
    """The document of ``covercrop covers --json`` and ``covercrop crops --json``."""
    return {"schema": SCHEMA, "records": [asdict(record) for record in records]}
