"""What the scouting notes did to an answer, said in a sentence each."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from invented import field, season

from covercrop.field.entries import ScoutingNote
from covercrop.models.members import standard_draws
from covercrop.parameters import catalogue
from covercrop.season.doubts import Doubt
from covercrop.season.ground import Ground, follow_ground
from covercrop.season.measurements import SoilCheck
from covercrop.season.note_effects import doubt_said, stage_noted, what_notes_did, would_take
from covercrop.season.stand import Stand, grow_stand

CRIMSON, SQUASH = catalogue.cover("crimson-clover"), catalogue.crop("summer-squash")
OUTLOOK = season(11.0 - 9.0 * np.cos(2 * np.pi * (np.arange(450) + 224) / 365.25), length=450, years=2, known=240)
FIRST = dt.date(2025, 9, 1)


def on(day: int, **seen: float) -> ScoutingNote:
    return ScoutingNote(date=FIRST + dt.timedelta(days=day), **seen)


APRIL = dt.date(2026, 4, 3)


def note(day: int = 3, **seen: float) -> ScoutingNote:
    return ScoutingNote(date=APRIL.replace(day=day), **seen)


@cache
def season_of(notes: tuple[ScoutingNote, ...]) -> tuple[Stand, Ground]:
    plot, draws = field(sown="2025-09-01"), standard_draws(8)
    stand = grow_stand(OUTLOOK, 37.6, CRIMSON, draws, scouting=notes)
    ground = follow_ground(OUTLOOK, CRIMSON, SQUASH, plot.crop, draws, dead=235.0, midwinter=122, scouting=notes)
    return stand, ground


def said(*notes: ScoutingNote, aside: tuple[Doubt, ...] = (), cover=CRIMSON, **of_stand: object) -> list[str]:
    stand, ground = season_of(notes)
    return what_notes_did(
        field(sown="2025-09-01", scouting=notes), cover, OUTLOOK, replace(stand, **of_stand), ground, aside
    )


# --- stages ---------------------------------------------------------------------------------------


def test_without_notes_nothing_is_said() -> None:
    """Nothing was used, and nothing is said to be."""
    assert said() == []


def test_how_many_notes_are_used_and_how_good_they_are() -> None:
    """One is said as one; more by their number; and what is set aside is said to be, and not counted."""
    first, second = on(205, bbch=51), on(212, bbch=55)
    one, two = (said(*notes, scouting_sd=4.0, surprises=()) for notes in ((first,), (first, second)))
    assert one == ["1 scouting note is used, good to about 4 days."]
    assert two == ["2 scouting notes are used, good to about 4 days."]
    doubt = Doubt(note=second, days=20.0)
    left = said(first, second, aside=(doubt,), scouting_sd=4.0, surprises=())
    assert left[0].startswith("Your note of 1 Apr (BBCH 55, flower buds all over, none open) is 20 days ahead of")
    assert left[0].endswith("It is set aside until a visit on another day agrees with it.")
    assert left[1:] == one
    alone = said(second, aside=(doubt,), scouting_sd=4.0, surprises=())
    assert len(alone) == 1
    assert alone[0] == left[0]


@pytest.mark.parametrize(("sd", "wide"), [(4.0, False), (4.4, False), (4.6, True), (9.0, True)])
def test_notes_that_do_not_fit_are_said_to(sd: float, wide: bool) -> None:
    """From the scatter on that rounds to more than the usual; of one note only the weather can be meant."""
    one = said(on(205, bbch=51), scouting_sd=sd, surprises=())
    two = said(on(205, bbch=51), on(212, bbch=55), scouting_sd=sd, surprises=())
    assert any("do not fit this weather well" in each for each in one) is wide
    assert any("do not fit this weather and each other well" in each for each in two) is wide


def test_a_surprising_note_is_told_by_its_days() -> None:
    """When it would be expected, and whether earlier notes had a part in that."""
    first, second = on(205, bbch=51), on(212, bloom_percent=40.0)
    told = said(first, second, scouting_sd=4.0, surprises=((first, 20.4), (second, -12.0)))
    assert told[1] == (
        "Your note of 25 Mar (BBCH 51, first flower buds visible) is surprising: by this weather alone it would be "
        "expected about 14 Apr, 20 days later. It is used all the same."
    )
    assert told[2] == (
        "Your note of 1 Apr (40% bloom) is surprising: by this weather and your earlier notes it would be expected "
        "about 20 Mar, 12 days earlier. It is used all the same."
    )
    never = said(first, scouting_sd=4.0, surprises=((first, np.inf),))
    assert "in this weather the model has that stage in hardly any year" in never[1]


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        ({"bloom_percent": 0.0}, "no flowers"),
        ({"bloom_percent": 12.5}, "12.5% bloom"),
        ({"bbch": 50}, "no buds"),
        ({"bbch": 51}, "BBCH 51, first flower buds visible"),
    ],
)
def test_a_stage_in_a_few_words(seen: dict[str, float], words: str) -> None:
    """As the grower noted it."""
    assert stage_noted(note(**seen)) == words


# --- doubts ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("doubt", "words"),
    [
        (
            Doubt(note=note(bloom_percent=50.0), days=37.4),
            "your note of 3 Apr (50% bloom) is 37 days ahead of what this weather makes likely",
        ),
        (
            Doubt(note=note(bbch=50), days=-21.0),
            "your note of 3 Apr (no buds) is 21 days behind what this weather makes likely",
        ),
        (
            Doubt(note=note(bbch=50), days=-21.0, against=note(1, bloom_percent=20.0)),
            "your note of 3 Apr (no buds) is 21 days behind your note of 1 Apr (20% bloom)",
        ),
        (
            Doubt(note=note(bbch=81), days=np.inf),
            "your note of 3 Apr (BBCH 81, first seed may be viable) is of a stage that the cover comes to in hardly "
            "any year of this weather",
        ),
        (
            Doubt(note=note(soil_c=30.0), kelvin=10.0),
            "your soil reading of 3 Apr is 10.0 °C (18.0 °F) warmer than this weather allows",
        ),
        (
            Doubt(note=note(soil_c=3.0), kelvin=-7.5),
            "your soil reading of 3 Apr is 7.5 °C (13.5 °F) colder than this weather allows",
        ),
        (
            Doubt(note=note(cereal=45), days=20.6, of_cereal=True),
            "your note of 3 Apr (the cereal at Zadoks 45, boot: the head swells in its sheath) is 21 days ahead of "
            "what this weather makes likely",
        ),
        (
            Doubt(note=note(cereal=30), days=-20.0, of_cereal=True),
            "your note of 3 Apr (the cereal at Zadoks 30, stems stretching (jointing)) is 20 days behind what this "
            "weather makes likely",
        ),
    ],
)
def test_what_does_not_fit_as_a_clause(doubt: Doubt, words: str) -> None:
    """By how much, on which side, and of what."""
    assert doubt_said(doubt) == words


def test_what_it_would_take_between_two_notes() -> None:
    """A stand that went back was cut back; one that went on did so in the days between, which are counted."""
    buds, bloom = note(1, bbch=51), note(2, bloom_percent=50.0)
    forth = would_take(Doubt(note=bloom, days=20.0, against=buds), CRIMSON)
    assert forth == "true only if the stand went that far in 1 day; this weather takes about 21"
    assert would_take(Doubt(note=buds, days=-20.0, against=bloom), CRIMSON) == forth
    later = note(9, bloom_percent=50.0)
    assert "in 8 days; this weather takes about 28" in would_take(Doubt(note=later, days=20.0, against=buds), CRIMSON)
    back = would_take(Doubt(note=note(2, bbch=51), days=-9.0, against=note(1, bloom_percent=50.0)), CRIMSON)
    assert back == "true only if the stand was mown, grazed or frozen back in between"
    same = would_take(Doubt(note=note(2, bbch=51), days=-9.0, against=note(1, bbch=51)), CRIMSON)
    assert same.startswith("true only if the stand went that far in 1 day;")


def with_offsets(*days: float):
    one = catalogue.cover("hairy-vetch").cultivars[0]
    named = tuple(replace(one, name=f"{by:g}", offset=replace(one.offset, value=by)) for by in days)
    return replace(CRIMSON, cultivars=named)


@pytest.mark.parametrize(
    ("offsets", "days", "end"),
    [
        ((-14.0, 0.0, 9.0), 30.0, "and the cultivars that are known run 14 days earlier at most"),
        ((-14.0, 0.0, 9.0), -30.0, "and the cultivars that are known run 9 days later at most"),
        ((0.5,), -30.0, "in this weather"),
        ((1.0,), -30.0, "and the cultivars that are known run 1 days later at most"),
        ((-1.0,), 30.0, "and the cultivars that are known run 1 days earlier at most"),
        ((-14.0,), -30.0, "in this weather"),
        ((9.0,), 30.0, "in this weather"),
        ((), 30.0, "in this weather"),
        ((), -30.0, "in this weather"),
    ],
)
def test_what_it_would_take_of_a_cultivar(offsets: tuple[float, ...], days: float, end: str) -> None:
    """How far the cultivars that are known run to that side, where any does by a day."""
    told = would_take(Doubt(note=note(bbch=60), days=days), with_offsets(*offsets))
    assert told.startswith(f"true only if this stand runs so many days {'earlier' if days > 0 else 'later'} than")
    assert told.endswith(end)


def test_what_it_would_take_where_no_number_helps() -> None:
    """A stage that hardly any year has, and a reading of the soil."""
    assert "another cover" in would_take(Doubt(note=note(bbch=81), days=np.inf), CRIMSON)
    assert "left in the sun" in would_take(Doubt(note=note(soil_c=30.0), kelvin=9.0), CRIMSON)


@pytest.mark.parametrize(("days", "side"), [(20.0, "earlier"), (-20.0, "later")])
def test_what_it_would_take_of_a_cereal(days: float, side: str) -> None:
    """Whatever the legume's cultivars do."""
    told = would_take(Doubt(note=note(cereal=45), days=days, of_cereal=True), with_offsets(-14.0, 9.0))
    assert told == f"true only if this cereal runs so many days {side} than its kind does in this weather"


# --- weights, nitrogen, soil ----------------------------------------------------------------------


def test_a_sample_and_a_height_are_told_with_what_they_replace() -> None:
    """The sample instead of the model; a later height with it; each in both units, to tens."""
    sample, height = on(200, dry_matter_kg_ha=2468.0), on(230, height_cm=50.8)
    (one,) = said(sample)
    assert one.startswith("Your clip sample of 20 Mar, 2,470 kg/ha (2,200 lb/acre), is used instead of the model's ")
    (two,) = said(height)
    assert two.startswith("Your height of 19 Apr, 51 cm (20 inches), speaks for 4,600 kg/ha (4,100 lb/acre) by a rough")
    assert said(on(230, height_cm=203.2))[0].startswith("Your height of 19 Apr, 203 cm (80 inches), speaks for")
    both = said(sample, height)
    assert both[0] == one
    assert both[1].startswith("Your height of 19 Apr")
    assert both[1] != two  # with what the sample makes of the model
    assert said(sample, cover=replace(CRIMSON, growth=None)) == []


def test_a_sample_of_a_mixture_is_held_against_the_two_together() -> None:
    """Twice the legume alone, where the model has it so."""
    sample = on(200, dry_matter_kg_ha=2468.0)
    model = [
        float(said(sample, **of_stand)[0].partition("the model's ")[2].partition(" kg/ha")[0].replace(",", ""))
        for of_stand in ({}, {"cereal": SimpleNamespace(growth_factor=lambda day: 2.0 if day == 200 else 1.0)})
    ]
    assert model[0] > 100
    assert model[1] == pytest.approx(2 * model[0], abs=10)  # each is said to tens


def test_a_measurement_of_the_last_day_is_used_and_one_beyond_is_not() -> None:
    """The weather is known to the 450th day."""
    assert said(on(449, height_cm=50.0))[0].startswith("Your height of")
    assert said(on(450, height_cm=50.0)) == [
        "Your measurement of 25 Nov is of a day beyond the weather that is known, and is not used."
    ]


def test_the_last_sample_of_nitrogen_counts() -> None:
    """With what the model has on its day."""
    early, late = (on(190, nitrogen_percent=3.5), on(200, nitrogen_percent=3.25)), on(230, nitrogen_percent=2.5)
    stand, _ = season_of((*early, late))
    assert CRIMSON.growth is not None
    model = float(np.median(stand.nitrogen_percent(230, CRIMSON.growth)))
    told = f"The 2.5% of nitrogen in your sample of 19 Apr is used instead of the model's {model:.1f}%."
    assert said(*early, late) == [told]
    assert said(late, cover=replace(CRIMSON, growth=None)) == []


def reading(day: int, off: float) -> ScoutingNote:
    _, ground = season_of(())
    return on(day, soil_c=float(ground.soil_c[0, day] + off))


def test_a_thermometer_is_told_by_what_it_did() -> None:
    """By how much, on which side, from how many readings, and how good it is then."""
    (warm,) = said(reading(238, 3.0))
    assert warm.startswith(
        "By your thermometer (1 reading) the soil after the cover is reckoned 1.4 °C (2.6 °F) warmer"
    )
    assert warm.endswith("instead of 2.0.")
    (cold,) = said(reading(236, -3.0), reading(238, -3.0))
    assert cold.startswith("By your thermometer (2 readings) ")
    assert " colder than the model alone has it" in cold
    (even,) = said(reading(238, 0.0))
    assert "is reckoned as warm as the model alone has it" in even


def test_a_wild_reading_is_left_out_until_another_agrees() -> None:
    """And said to be, on its side."""
    (alone,) = said(reading(238, 12.0))
    assert "12.0 °C (21.6 °F) warmer than the model, and is left out until one of another day agrees" in alone
    agreed = said(reading(236, -12.0), reading(238, -12.0))
    assert agreed[0].startswith("By your thermometer (2 readings)")
    assert [("colder than the model, and is used all the same" in each) for each in agreed] == [False, True, True]


@pytest.mark.parametrize(
    ("by", "words"),
    [
        (0.05, "0.1 °C (0.1 °F) warmer than"),
        (0.0495, "as warm as"),
        (-0.0495, "as warm as"),
        (-0.051, "0.1 °C (0.1 °F) colder than"),
    ],
)
def test_a_twentieth_of_a_degree_is_no_difference(by: float, words: str) -> None:
    """Of the middle year; from there on it is said, and to which side."""
    stand, ground = season_of(())
    nothing = np.zeros(3)
    check = SoilCheck(standing=nothing, after=np.array([by, -9.0, 9.0]), sd=1.2, readings=2)
    told = what_notes_did(field(), CRIMSON, OUTLOOK, stand, replace(ground, soil_check=check))
    assert told == [
        f"By your thermometer (2 readings) the soil after the cover is reckoned {words} the model alone has it, and "
        "good to 1.2 °C (2.2 °F) instead of 2.0."
    ]
