"""What the scouting notes did to an answer, and which of them do not fit, a sentence each."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base import units
from covercrop.field.entries import NO_BUDS
from covercrop.models import bbch, biomass, cereal
from covercrop.models.note_weights import SCOUTING_SD_DAYS
from covercrop.models.soil_temperature import SOIL_ERROR_SD
from covercrop.season import measurements
from covercrop.season.stand import usual_emergence

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.field.entries import Field, ScoutingNote
    from covercrop.parameters.traits import Cover
    from covercrop.season.doubts import Doubt
    from covercrop.season.ground import Ground
    from covercrop.season.stand import Stand
    from covercrop.weather.outlook import Outlook


def what_notes_did(
    field: Field, cover: Cover, outlook: Outlook, stand: Stand, ground: Ground, set_aside: Sequence[Doubt] = ()
) -> list[str]:
    """What the notes of a field did, in plain sentences.

    Parameters
    ----------
    field : Field
    cover : Cover
    outlook : Outlook
    stand : Stand
    ground : Ground
    set_aside : sequence of Doubt
        Notes whose stage the answer does not rest on.
    """
    return [
        *_stages(field, stand, set_aside),
        *_weights(field, cover, outlook, stand),
        *_nitrogen(field, cover, outlook, stand),
        *_soil(ground),
    ]


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"


def _stages(field: Field, stand: Stand, set_aside: Sequence[Doubt]) -> list[str]:
    left = [doubt.note for doubt in set_aside]
    out = [
        f"{_capital(doubt_said(doubt))}. It is set aside until a visit on another day agrees with it."
        for doubt in set_aside
    ]
    used = [note for note in field.scouting if note.has_stage and note not in left]
    count = len(used)
    if not count:
        return out
    which = "1 scouting note is" if count == 1 else f"{count} scouting notes are"
    said = [f"{which} used, good to about {stand.scouting_sd:.0f} days."]
    first = min(note.date for note in used)
    said += [_surprise(note, days, alone=note.date == first) for note, days in stand.surprises]
    if round(stand.scouting_sd) > SCOUTING_SD_DAYS:
        fit = "this weather" if count == 1 else "this weather and each other"
        said.append(
            f"The notes do not fit {fit} well, so the dates are kept wide: check the sowing date, the cultivar and the "
            "stages noted."
        )
    return out + said


def _capital(said: str) -> str:
    return said[0].upper() + said[1:]


def stage_noted(note: ScoutingNote) -> str:
    """The stage of a note, in a few words."""
    if note.bbch is None:
        return f"{note.bloom_percent:g}% bloom" if note.bloom_percent else "no flowers"
    return "no buds" if note.bbch == NO_BUDS else f"BBCH {note.bbch}, {bbch.stage_name(note.bbch)}"


def doubt_said(doubt: Doubt) -> str:
    """What does not fit, as a clause: ``your note of 3 Apr (50% bloom) is 37 days ahead of ...``."""
    day = _day(doubt.note.date)
    if doubt.of_soil:
        return f"your soil reading of {day} is {_off(doubt.kelvin)} than this weather allows"
    side = "ahead of" if doubt.ahead else "behind"
    if doubt.of_cereal:
        assert doubt.note.cereal is not None
        seen = cereal.stage_name(doubt.note.cereal)
        return (
            f"your note of {day} (the cereal at Zadoks {doubt.note.cereal}, {seen}) is {abs(doubt.days):.0f} days "
            f"{side} what this weather makes likely"
        )
    said = f"your note of {day} ({stage_noted(doubt.note)})"
    if np.isinf(doubt.days):
        return f"{said} is of a stage that the cover comes to in hardly any year of this weather"
    what = "what this weather makes likely"
    if doubt.against is not None:
        what = f"your note of {_day(doubt.against.date)} ({stage_noted(doubt.against)})"
    return f"{said} is {abs(doubt.days):.0f} days {side} {what}"


def would_take(doubt: Doubt, cover: Cover) -> str:
    """What it would take for a note in doubt to be true, as a clause."""
    if doubt.of_cereal:
        side = "earlier" if doubt.ahead else "later"
        return f"true only if this cereal runs so many days {side} than its kind does in this weather"
    return _soil_would_take(doubt) or _legume_would_take(doubt, cover)


def _soil_would_take(doubt: Doubt) -> str:
    if doubt.of_soil:
        return "a thermometer left in the sun, set shallower, or read in the other unit would show that"
    return ""


def _legume_would_take(doubt: Doubt, cover: Cover) -> str:
    if doubt.against is not None:
        earlier, later = sorted((doubt.note, doubt.against), key=lambda note: note.date)
        if later.stage < earlier.stage:
            return "true only if the stand was mown, grazed or frozen back in between"
        days = (later.date - earlier.date).days
        took = f"{days} day{'s' * (days != 1)}"
        return f"true only if the stand went that far in {took}; this weather takes about {days + abs(doubt.days):.0f}"
    if np.isinf(doubt.days):
        return "true only of another cover, another sowing date or another place"
    offsets = [0.0, *(cultivar.offset.value for cultivar in cover.cultivars)]
    side, furthest = ("earlier", -min(offsets)) if doubt.ahead else ("later", max(offsets))
    said = f"true only if this stand runs so many days {side} than {cover.common_name} does in this weather"
    if furthest < 1:
        return said
    return f"{said}, and the cultivars that are known run {furthest:.0f} days {side} at most"


def _surprise(note: ScoutingNote, days: float, *, alone: bool) -> str:
    said = f"Your note of {_day(note.date)} ({stage_noted(note)}) is surprising: "
    if np.isinf(days):
        return f"{said}in this weather the model has that stage in hardly any year. It is used all the same."
    expected = note.date + dt.timedelta(days=round(days))
    known = "alone" if alone else "and your earlier notes"
    return (
        f"{said}by this weather {known} it would be expected about {_day(expected)}, {abs(days):.0f} days "
        f"{'later' if days > 0 else 'earlier'}. It is used all the same."
    )


def _kg_ha(amount: float) -> str:
    return f"{round(amount, -1):,.0f} kg/ha ({round(amount / units.KG_HA_PER_LB_ACRE, -1):,.0f} lb/acre)"


def _weights(field: Field, cover: Cover, outlook: Outlook, stand: Stand) -> list[str]:
    clip, height = measurements.weighing(field.scouting)
    last = height or clip
    if cover.growth is None or last is None:
        return []
    until = outlook.position(np.datetime64(last.date, "D"))
    if until >= outlook.tmean.shape[1]:  # of a day that is neither known nor forecast, for want of past years
        return [f"Your measurement of {_day(last.date)} is of a day beyond the weather that is known, and is not used."]
    grown = biomass.dry_matter(outlook.tmean, usual_emergence(stand.stages), cover.growth)
    if stand.cereal is not None:
        grown = grown * stand.cereal.growth_factor(until)
    said = []
    if clip is not None and clip.dry_matter_kg_ha is not None:
        model = float(np.median(grown[:, outlook.position(np.datetime64(clip.date, "D"))]))
        said.append(
            f"Your clip sample of {_day(clip.date)}, {_kg_ha(clip.dry_matter_kg_ha)}, is used instead of the model's "
            f"{_kg_ha(model)}; what grows after it is the model's."
        )
    if height is not None and height.height_cm is not None:
        mean, _ = measurements.dry_matter(
            until, field.scouting, outlook, lambda day: grown[:, day], cover.growth.spread.value
        )
        inches = height.height_cm / 100 / units.M_PER_IN
        said.append(
            f"Your height of {_day(height.date)}, {height.height_cm:.0f} cm ({inches:.0f} inches), speaks for "
            f"{_kg_ha(measurements.height_weight(height.height_cm))} by a rough rule; with the model it makes "
            f"{_kg_ha(float(np.median(mean)))}."
        )
    return said


def _nitrogen(field: Field, cover: Cover, outlook: Outlook, stand: Stand) -> list[str]:
    samples = [note for note in field.scouting if note.nitrogen_percent is not None]
    if cover.growth is None or not samples:
        return []
    last = samples[-1]
    model = stand.nitrogen_percent(outlook.position(np.datetime64(last.date, "D")), cover.growth)
    return [
        f"The {last.nitrogen_percent:g}% of nitrogen in your sample of {_day(last.date)} is used instead of the "
        f"model's {float(np.median(model)):.1f}%."
    ]


def _degrees(kelvin: float) -> str:
    return f"{abs(kelvin):.1f} °C ({units.fahrenheit_difference(abs(kelvin)):.1f} °F)"


def _off(kelvin: float) -> str:
    return f"{_degrees(kelvin)} {'warmer' if kelvin > 0 else 'colder'}"


def _soil(ground: Ground) -> list[str]:
    check = ground.soil_check
    said = []
    for note, miss in check.surprising:
        aside = "is left out until one of another day agrees" if note in check.left_out else "is used all the same"
        said.append(
            f"The soil reading of {_day(note.date)} is {_off(miss)} than the model, and {aside}: check the "
            "thermometer, its depth and its unit."
        )
    if not check.readings:
        return said
    by = float(np.median(check.after))
    count = "1 reading" if check.readings == 1 else f"{check.readings} readings"
    off = f"{_off(by)} than" if abs(by) >= 0.05 else "as warm as"
    return [
        f"By your thermometer ({count}) the soil after the cover is reckoned {off} the model alone has it, and good to "
        f"{_degrees(check.sd)} instead of {SOIL_ERROR_SD:.1f}.",
        *said,
    ]
