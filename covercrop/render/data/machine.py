"""Answers as JSON: the same habits for every command."""

from __future__ import annotations

import json
from dataclasses import asdict
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.spreadsheet import csv_table
from covercrop.parameters import catalogue
from covercrop.render.words.ending import given_up
from covercrop.render.words.stages import STAGES
from covercrop.season import advice, note_effects
from covercrop.season.nitrogen_part import AMOUNTS

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from covercrop.base.records import DailyWeather, DateRange
    from covercrop.checking.cultivar_fit import Calibrated
    from covercrop.checking.degree_day_table import DegreeDayTable
    from covercrop.checking.hindcast import Hindcast, Score
    from covercrop.checking.replay import AdviceReplay, Outcome
    from covercrop.checking.verdict import Verdict
    from covercrop.field.entries import Field, ScoutingNote
    from covercrop.guide.pages import Page
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover, Crop
    from covercrop.render.words.reminders import Reminder
    from covercrop.season.adding import Added
    from covercrop.season.changes import Changes, Move
    from covercrop.season.doubts import Doubt
    from covercrop.season.ending import Odds, Recommended
    from covercrop.season.mixture_part import MixturePart
    from covercrop.season.nitrogen_part import Amount, NitrogenPart
    from covercrop.season.noting import Noted
    from covercrop.season.plan import Details, Plan
    from covercrop.season.provenance import Provenance
    from covercrop.weather.daily import WeatherSummary

SCHEMA = 1


def dump(document: dict[str, Any]) -> str:
    """A document as indented JSON in ASCII, which any output can hold; a NaN or NaT in it is an error, not a guess."""
    return json.dumps(document, indent=2, allow_nan=False)


def ready(
    plans: Sequence[Plan],
    on: np.datetime64,
    problems: Sequence[tuple[str, str]] = (),
    changes: Mapping[str, Changes] = MappingProxyType({}),
) -> dict[str, Any]:
    """The document of ``covercrop ready --json``.

    Parameters
    ----------
    plans : sequence of Plan
    on : numpy.datetime64[D]
    problems : sequence of (field name, message)
        Fields that could not be worked out.
    changes : mapping of str to Changes
        What moved of a field since an earlier day, by its name.
    """
    fields = [field(plan) for plan in plans]
    for told in fields:
        if told["name"] in changes:
            told["changed"] = _changed(changes[told["name"]])
    return document(str(on), fields, problems)


def _changed(changes: Changes) -> dict[str, Any]:
    """What moved; null where there is no such day any more, or never was."""
    return {
        "since": str(changes.since),
        "state": changes.state,
        "ending": _move(changes.ending),
        "planting": _move(changes.planting),
    }


def _move(move: Move | None) -> dict[str, Any] | None:
    if move is None:
        return None
    return {
        "before": iso_date(move.before),
        "after": iso_date(move.after),
        "days_later": move.days,
        "days_later_by": move.by,
    }


def report(
    plans: Sequence[Plan], on: np.datetime64, file: str, problems: Sequence[tuple[str, str]] = ()
) -> dict[str, Any]:
    """The document of ``covercrop report --json``: what was written where, and what it is about."""
    fields = [{"name": plan.field.name, "state": plan.state} for plan in plans]
    return {**document(str(on), fields, problems), "file": file}


def document(on: str, fields: list[dict[str, Any]], problems: Sequence[tuple[str, str]]) -> dict[str, Any]:
    """What every command about fields answers; ``problems`` only where there are any."""
    answer: dict[str, Any] = {"schema": SCHEMA, "on": on, "fields": fields}
    if problems:
        answer["problems"] = [{"name": name, "message": message} for name, message in problems]
    return answer


def field(plan: Plan) -> dict[str, Any]:
    """One field of the document; ``absent`` says of what is null or empty in it whether it was left out, or why."""
    stand, window, planting, rests = plan.stand, plan.window, plan.planting, plan.provenance
    return {
        "name": plan.field.name,
        "species": plan.cover.key,
        "cultivar": plan.field.cover.cultivar or None,
        "sown": plan.field.cover.sown.isoformat(),
        "state": plan.state,
        "stage": {"bbch": stand.bbch, "name": stand.stage},
        "seen_otherwise": _seen(stand.seen_otherwise),
        "p_survives": round(stand.survival, 3),
        "doubtful": stand.doubtful,
        "winter": {
            "snow_from": plan.winter.snow_from,
            "hardest": iso_date(plan.winter.hardest),
            "snow_mm": _number(plan.winter.snow_mm),
            "felt_c": _number(plan.winter.felt_c),
            "stands_c": _number(plan.winter.stands_c),
            "lost": plan.winter.lost,
            "cause": plan.winter.cause or None,
        },
        "dates": {name: _range(dates) for name, dates in plan.dates.items()},
        "turn_under": {
            **_best(window.best),
            "method": window.method,
            "instead_of": window.asked if window.instead else None,
            "poor": window.poor,
            "may_be_closed": window.may_be_closed,
            "surer": _best(window.surer) if window.surer else None,
        },
        "given_up": given_up(plan) or None,
        "next_step": {
            "action": plan.next_step.action,
            "method": plan.next_step.method,
            "from": iso_date(plan.next_step.start),
            "to": iso_date(plan.next_step.end),
        },
        "window_probability": [
            {"date": str(day), "p": round(float(chance), 3)}
            for day, chance in zip(window.days[window.spell], window.chances[window.spell], strict=True)
        ],
        "binding_limit": planting.binding,
        "safe_planting": iso_date(planting.safe),
        "planted_before_safe": planting.before_safe,
        "too_late_to_plant": planting.too_late,
        "p_ripens": None if np.isnan(planting.ripens) else round(planting.ripens, 3),
        "likely_ripe": planting.likely_ripe,
        "ripe": _range(planting.ripe),
        "cold_filling": planting.cold_filling,
        "worth_watering": plan.details.ground.worth_watering if plan.details else None,
        **_mulch(plan.details),
        "doubts": [_doubt(doubt, rests) for doubt in rests.doubts],
        "check_first": rests.check,
        "stale_since": iso_date(rests.stale_since),
        "observed_share": round(rests.observed_share, 3),
        "nitrogen": _nitrogen(plan.details.nitrogen if plan.details else None),
        **_mixture(plan.mixture),
        "absent": plan.absent,
        "notes": [*rests.notes, *rests.assumptions],
        "cautions": list(rests.cautions),
        "sources": [advice.reference(catalogue.source(key)) for key in rests.sources],
    }


def _number(value: float) -> float | None:
    return None if np.isnan(value) else round(value, 1)


def _mulch(details: Details | None) -> dict[str, int]:
    """The days that a mulch laid early in the squares of a sheet costs, where one is to be laid and that is known."""
    costs = details.ground.mulch_costs if details else None
    return {} if costs is None else {"mulch_laid_early_costs_days": costs}


def _best(best: Recommended | None) -> dict[str, Any]:
    """The best day, its chances and the days about as good; null throughout where there is none."""
    if best is None:
        return dict.fromkeys(("date", "from", "to", *_CHANCES, "p_some_day", "why", "given_up", "instead_of_day"))
    return {
        **_odds(best),
        "from": iso_date(best.start),
        "to": iso_date(best.end),
        "p_some_day": round(best.some_day, 3),
        "why": best.why,
        "given_up": best.given_up,
        "instead_of_day": None if best.other is None else _odds(best.other),
    }


#: Chances of a day of ending the cover, as they are called here and in :class:`covercrop.season.ending.Odds`.
_CHANCES = {
    "probability": "probability",
    "p_killed": "killed",
    "p_seed_free": "seed_free",
    "p_bloom": "bloom",
    "p_in_time": "in_time",
    "p_all": "together",
}


def _odds(odds: Odds) -> dict[str, Any]:
    chances = {key: round(getattr(odds, name), 3) for key, name in _CHANCES.items()}
    return {"date": iso_date(odds.date), **chances}


def _seen(note: ScoutingNote | None) -> dict[str, Any] | None:
    """A note of another stage than the likely one; BBCH codes of a share in bloom lie between the whole ones."""
    return None if note is None else {"date": note.date.isoformat(), "bbch": round(note.stage, 1)}


def _nitrogen(nitrogen: NitrogenPart | None) -> dict[str, Any]:
    amounts, release = ({}, {}) if nitrogen is None else (nitrogen.amounts, nitrogen.release)
    return {
        **{name: _amount(amounts.get(name)) for name in AMOUNTS},
        "released": [{"weeks": weeks, **_amount(share, 3)} for weeks, share in release.items()],
    }


def _mixture(mixture: MixturePart | None) -> dict[str, Any]:
    """The cereal beside the legume, and the two together; only where there is one."""
    if mixture is None:
        return {}
    share, wait, clash = mixture.share, mixture.wait, mixture.clash
    told = {
        "companion": mixture.companion.key,
        "stage": {"zadoks": mixture.zadoks, "name": mixture.stage},
        "dates": {name: _range(dates) for name, dates in mixture.dates.items()},
        "stage_notes": mixture.notes,
        "good_to_days": round(mixture.good_to, 1),
        "legume_share": {
            "low": round(share.low, 3),
            "middle": round(share.middle, 3),
            "high": round(share.high, 3),
            "whose": share.whose,
        },
        "p_survives": round(mixture.survival, 3),
        "dead": mixture.dead,
        "dies": _range(mixture.dies),
        "in_grain": mixture.in_grain,
        "legume_dead": mixture.legume_dead,
        "p_legume_survives": round(mixture.legume_survival, 3),
        "n_percent": _amount(mixture.percent, 2),
        "band": mixture.band,
        "cool_soil": mixture.cool_soil,
        "wait_days": None if wait is None else {"low": wait.low, "likely": wait.value, "high": wait.high},
        "clash": None
        if clash is None
        else {
            "method": clash.method,
            "past": clash.past,
            "p_some_day": round(clash.chance, 3),
            "helps": [{"change": name, "p_some_day": round(chance, 3)} for name, chance in clash.helps.items()],
        },
    }
    return {"mixture": told}


def _doubt(doubt: Doubt, rests: Provenance) -> dict[str, Any]:
    """A note that does not fit; ``days`` is null where the cover hardly ever comes to what was seen."""
    return {
        "date": doubt.note.date.isoformat(),
        "of": "soil" if doubt.of_soil else "cereal" if doubt.of_cereal else "stage",
        "days": round(doubt.days, 1) if np.isfinite(doubt.days) else None,
        "kelvin": round(doubt.kelvin, 1) if doubt.of_soil else None,
        "against": doubt.against.date.isoformat() if doubt.against else None,
        "confirmed": doubt.confirmed,
        "used": rests.rests_on(doubt),
        "said": note_effects.doubt_said(doubt),
    }


def iso_date(day: np.datetime64) -> str | None:
    """An ISO date; None where it is not reached."""
    return None if np.isnat(day) else str(day)


def _range(dates: DateRange) -> dict[str, str | None]:
    return {"early": iso_date(dates.early), "median": iso_date(dates.median), "late": iso_date(dates.late)}


def _amount(amount: Amount | None, places: int = 1) -> dict[str, float | None]:
    if amount is None:
        return {"low": None, "median": None, "high": None}
    return {name: round(getattr(amount, name), places) for name in ("low", "median", "high")}


def added(new: Added, path: Path) -> dict[str, Any]:
    """The document of ``covercrop add --json``: the field as it was read back, in metric units, and its weather."""
    field, cover = new.field, new.field.cover
    entry = {
        "name": field.name,
        "file": str(path),
        "latitude": field.latitude,
        "longitude": field.longitude,
        "elevation_m": field.elevation_m,
        "area_m2": field.area_m2,
        "cover": None
        if cover is None
        else {"species": cover.species, "cultivar": cover.cultivar, "sown": cover.sown.isoformat()},
        "crop": field.crop.name,
        "stations": [] if new.weather is None else [asdict(station) for station in new.weather.stations],
        "check": list(new.doubts),
        "not_checked": new.unchecked,
    }
    return {"schema": SCHEMA, "fields": [entry]}


def notes(field: Field, path: Path) -> dict[str, Any]:
    """The document of ``covercrop scout --list --json``: the notes of a field, in metric units."""
    listed = [{"date": note.date.isoformat(), **_said_in(note)} for note in field.scouting]
    return {"schema": SCHEMA, "fields": [{"name": field.name, "file": str(path), "notes": listed}]}


def stages(cover: Cover) -> dict[str, Any]:
    """What each stage of a cover looks like, and how it is typed."""
    told = [
        {"stage": name, "title": each.title, "told": each.told[cover.inflorescence], "option": each.typed}
        for name, each in STAGES.items()
    ]
    return {"schema": SCHEMA, "species": cover.key, "inflorescence": cover.inflorescence, "stages": told}


def unnoted(field: Field, note: ScoutingNote, path: Path) -> dict[str, Any]:
    """The document of ``covercrop scout --undo --json``: the note that was taken out."""
    entry = {
        "name": field.name,
        "file": str(path),
        "taken_out": _said_in(note),
        "notes_in_file": len(field.scouting),
    }
    return document(note.date.isoformat(), [entry], ())


def edited(noted: Noted, path: Path, unchecked: str = "") -> dict[str, Any]:
    """The document of ``covercrop scout --edit --json``: as :func:`scouted`, with the note as it was."""
    told = scouted(noted.field, noted.note, path, noted.doubts, unchecked)
    if noted.before is not None:
        told["fields"][0]["was"] = {"date": noted.before.date.isoformat(), **_said_in(noted.before)}
    return told


def noted_many(noted: Sequence[Noted | None], path: Path) -> dict[str, Any]:
    """The document of ``covercrop scout --from --json``: an entry for each note that was written."""
    written = [each for each in noted if each is not None]
    told = [(each.note.date, scouted(each.field, each.note, path, each.doubts, each.unchecked)) for each in written]
    fields = [{"date": day.isoformat(), **entry["fields"][0]} for day, entry in told]
    return {"schema": SCHEMA, "fields": fields, "there_already": len(noted) - len(written)}


def unnoted_many(undone: Sequence[Noted], path: Path) -> dict[str, Any]:
    """The document of ``covercrop scout --from --undo --json``: an entry for each note that was taken out."""
    fields = [
        {"date": each.note.date.isoformat(), **unnoted(each.field, each.note, path)["fields"][0]} for each in undone
    ]
    return {"schema": SCHEMA, "fields": fields}


def _said_in(note: ScoutingNote) -> dict[str, Any]:
    """What a note says, in metric units."""
    return {key: value for key, value in asdict(note).items() if key != "date" and value not in (None, "")}


def scouted(
    field: Field, note: ScoutingNote, path: Path, doubts: Sequence[Doubt] = (), unchecked: str = ""
) -> dict[str, Any]:
    """The document of ``covercrop scout --json``: the note as it was read back, in metric units.

    ``does_not_fit`` and ``not_checked`` say what is wrong with it, or why that is not known; only where it is so.
    """
    entry: dict[str, Any] = {
        "name": field.name,
        "file": str(path),
        "noted": _said_in(note),
        "notes_in_file": len(field.scouting),
    }
    if doubts:
        entry["does_not_fit"] = [note_effects.doubt_said(doubt) for doubt in doubts]
    if unchecked:
        entry["not_checked"] = unchecked
    return document(note.date.isoformat(), [entry], ())


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


def calendar(
    plans: Sequence[Plan],
    reminders: Sequence[Reminder],
    on: np.datetime64,
    problems: Sequence[tuple[str, str]] = (),
) -> dict[str, Any]:
    """The document of ``covercrop calendar --json``."""
    fields = [
        {
            "name": plan.field.name,
            "state": plan.state,
            "events": [_event(reminder) for reminder in reminders if reminder.field is plan.field],
        }
        for plan in plans
    ]
    return document(str(on), fields, problems)


def _event(reminder: Reminder) -> dict[str, Any]:
    event = reminder.event
    return {
        "kind": event.kind,
        "look_for": event.look_for,
        "crop_stands": event.crop_stands,
        "number": event.number,
        "from": str(event.first),
        "to": str(event.last),
        "title": reminder.title,
        "odds": reminder.odds,
        "advice": reminder.advice or None,
        "cautions": list(reminder.cautions),
    }


def hindcast(replayed: Sequence[Hindcast], today: dt.date, problems: Sequence[tuple[str, str]] = ()) -> dict[str, Any]:
    """The document of ``covercrop hindcast --json``."""
    from covercrop.checking.verdict import verdict
    from covercrop.render.words.hindcast import nothing_scored

    fields = [
        {
            "name": each.field.name,
            "species": each.cover.key,
            "cultivar": each.field.cover.cultivar or None,
            "sown": f"{each.field.cover.sown:%m-%d}",
            "years": list(each.years),
            "years_left_out": list(each.left_out),
            "lived": [round(share, 3) for share in each.lived],
            "reached": each.reached,
            "nothing_scored": nothing_scored(each) or None,
            "verdict": _verdict(verdict(each)),
            "rows": [_hindcast_row(each, score) for score in each.scores],
        }
        for each in replayed
    ]
    return document(today.isoformat(), fields, problems)


def replay(
    replayed: Sequence[AdviceReplay], today: dt.date, problems: Sequence[tuple[str, str]] = ()
) -> dict[str, Any]:
    """The document of ``covercrop hindcast --advice --json``."""
    fields = [
        {
            "name": each.field.name,
            "seasons": len(each.years),
            "years": list(each.years),
            "best_fixed_date": f"{each.best_fixed[0]:02d}-{each.best_fixed[1]:02d}",
            **{name: _outcome(outcome) for name, outcome in each.outcomes.items()},
        }
        for each in replayed
    ]
    return document(today.isoformat(), fields, problems)


def _outcome(outcome: Outcome) -> dict[str, float | None]:
    return {
        "seed_free": round(outcome.seed_free, 3),
        "in_bloom": round(outcome.in_bloom, 3),
        "in_time": round(outcome.in_time, 3),
        "all": round(outcome.together, 3),
        "pan_kg_ha": None if np.isnan(outcome.pan_kg_ha) else round(outcome.pan_kg_ha, 1),
        "visits": round(outcome.visits, 2),
        "moved_days": round(outcome.moved_days, 2),
    }


def _verdict(found: Verdict) -> dict[str, Any]:
    """What the scores come to; ``beaten_by`` only of the issue dates that were scored."""
    return {
        "unscored": found.unscored,
        "intervals_held": None if np.isnan(found.held) else round(found.held, 3),
        "intervals": found.width,
        "beaten_by": {issue: list(plain) for issue, plain in found.beaten.items()},
    }


def _hindcast_row(each: Hindcast, score: Score) -> dict[str, Any]:
    from covercrop.checking.verdict import why_unscored

    def days(value: float, digits: int = 2) -> float | None:
        return None if np.isnan(value) else round(value, digits)

    return {
        "issue": score.issue,
        "event": score.event,
        "seasons": score.seasons,
        "unscored": why_unscored(each, score),
        "bias_days": days(score.bias_days),
        "rmse_days": days(score.rmse_days),
        "crps_days": days(score.crps_days),
        "coverage_80": days(score.coverage_80, 3),
        "width_days": days(score.width_days),
        **{
            name: {"rmse_days": days(plain.rmse_days), "crps_days": days(plain.crps_days)}
            for name, plain in (("station_mean", score.station_mean), ("pace", score.pace))
        },
    }


def calibration(fitted: Calibrated, path: Path | None) -> dict[str, Any]:
    """The document of ``covercrop calibrate --json``."""

    def days(value: float) -> float | None:
        return None if np.isnan(value) else round(value, 2)

    return {
        "schema": SCHEMA,
        "file": None if path is None else str(path),
        **asdict(fitted.calibration),
        "rmse_days": days(fitted.rmse),
        "left_out": {
            "by": fitted.left_out_by or None,
            "rmse_days": days(fitted.left_out),
            "plain_sum_rmse_days": days(fitted.plain_sum),
            "latitude_rmse_days": days(fitted.latitude),
        },
        "later_days": days(fitted.later),
        "rows": [
            {
                "line": row.record.line,
                "place": row.record.season.site,
                "sown": row.record.sown.isoformat(),
                "stage": row.record.stage,
                "date": row.record.date.isoformat(),
                "error_days": days(row.error),
                "left_out_days": days(row.left_out),
                "plain_sum_days": days(row.plain_sum),
                "latitude_days": days(row.latitude),
            }
            for row in fitted.rows
        ],
        "notes": [fitted.on_limit, *fitted.warnings],
    }


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
    return csv_table(_COLUMNS, _rows(table))


_COLUMNS = ("date", "tmin", "tmax", "degree_days", "sum")


def _rows(table: DegreeDayTable) -> Iterator[tuple[str, float, float, float, float]]:
    # Four decimals hide the noise of converting units and lose nothing that a thermometer can tell.
    values = np.round(np.column_stack((table.tmin, table.tmax, table.degree_days, table.sum)), 4).tolist()
    for day, (low, high, daily, total) in zip(table.dates, values, strict=True):
        yield str(day), low, high, daily, total


def parameter_records(records: Sequence[Cover | Companion | Crop]) -> dict[str, Any]:
    """The document of ``covercrop covers NAME --json`` and ``covercrop crops --json``."""
    return {"schema": SCHEMA, "records": [asdict(record) for record in records]}


def covers(records: Sequence[Cover], beside: Sequence[Companion]) -> dict[str, Any]:
    """The document of ``covercrop covers --json``: the legumes as its records, the cereals beside them apart."""
    return parameter_records(records) | {"companions": [asdict(record) for record in beside]}


def manual(pages: Sequence[Page]) -> dict[str, Any]:
    """The document of ``covercrop guide --json``."""
    return {"schema": SCHEMA, "pages": [asdict(page) for page in pages]}
