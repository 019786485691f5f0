"""Notes that do not fit: found, said before any advice, and never a reason to be surer."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented import field, weather

from covercrop.field.entries import NO_BUDS, ScoutingNote
from covercrop.field.file import read_fields
from covercrop.models.members import standard_draws
from covercrop.models.note_weights import NOTE_NOT_YET, NOTE_REACHED, Evidence
from covercrop.models.termination import probability_by_day
from covercrop.parameters import catalogue
from covercrop.render.words.answer import headline
from covercrop.season import note_effects
from covercrop.season.doubts import Doubt, doubts_of, worst
from covercrop.season.plan import Plan, make_plan

Run = Callable[..., tuple[int, str, str]]

ON = dt.date(2026, 4, 20)
RECORD = weather()


def note(day: dt.date, **seen: float) -> ScoutingNote:
    return ScoutingNote(date=day, **seen)


def planned(*notes: ScoutingNote, on: dt.date = ON, species: str = "crimson-clover") -> Plan:
    return make_plan(replace(field(species), scouting=notes), RECORD, np.datetime64(on), details=False)


def best(plan: Plan) -> float:
    assert plan.window.best is not None
    return plan.window.best.probability


# --- a chance is a chance ------------------------------------------------------------------------

#: Weights whose running sum, and whose sum in another order, lie a hair above the whole.
UNEVEN = 1 / np.arange(1.0, 400.0)
UNEVEN /= UNEVEN.sum()


def test_a_chance_is_never_above_one() -> None:
    """All members within the window is a chance of 1, whatever the last digits of the sums."""
    assert np.cumsum(UNEVEN[::-1])[-1] > 1  # or there would be nothing to test
    opens = np.arange(399.0)[::-1]
    odds = probability_by_day(opens, np.full(399, 450.0), UNEVEN, 500)
    assert odds[:451].max() == pytest.approx(1.0)
    assert odds.max() <= 1.0
    assert odds.min() >= 0.0


@pytest.mark.parametrize("species", ["faba-bean", "hairy-vetch", "crimson-clover", "woollypod-vetch"])
def test_one_note_of_buds_is_shown(run: Run, own: Callable[..., Path], species: str) -> None:
    """The season strip of a field with one note of BBCH 55 has a sign for every chance."""
    path = own(('species = "crimson-clover"', f'species = "{species}"'))
    text = path.read_text(encoding="utf-8").replace("date = 2026-04-08\nbbch = 51", "date = 2026-03-23\nbbch = 55")
    first, _, rest = text.partition("[[field.scouting]]\ndate = 2026-04-17")
    path.write_text(first + rest.partition("\n\n")[2], encoding="utf-8")
    for on in ("2026-03-24", "2026-04-16", "2026-04-20"):
        status, screen, err = run("ready", path, "--field", "Ford meadow", "--on", on)
        assert (status, err) == (0, "")
        assert "Ford meadow: " in screen


# --- which notes do not fit ----------------------------------------------------------------------


def evidence(day: float, expected: float, kind: str = NOTE_REACHED) -> Evidence:
    return Evidence(day=day, expected=expected + 6 * standard_draws().requirement[np.newaxis], kind=kind)


DAYS = [ON - dt.timedelta(days=ago) for ago in (12, 9, 3, 0)]


def found(*each: tuple[dt.date, Evidence]) -> tuple[Doubt, ...]:
    notes = [note(day, bbch=60) for day, _ in each]
    return doubts_of(notes, [fact for _, fact in each], ())


def test_of_two_that_do_not_go_together_both_are_in_doubt() -> None:
    """Each by its days against the other, since the weather goes with both."""
    first, second = found((DAYS[2], evidence(213, 220)), (DAYS[3], evidence(216, 208, NOTE_NOT_YET)))
    assert (first.note.date, first.against and first.against.date, round(first.days)) == (DAYS[2], DAYS[3], 15)
    assert (second.note.date, second.against and second.against.date, round(second.days)) == (DAYS[3], DAYS[2], -15)


def test_a_note_against_the_weather_is_confirmed_by_another_visit() -> None:
    """Forty days ahead is in doubt; seen again on another day it is the weather that is; on the same day it is not."""
    (alone,) = found((DAYS[0], evidence(200, 240)))
    assert (alone.confirmed, alone.against, round(alone.days)) == (False, None, 40)
    assert [each.confirmed for each in found((DAYS[0], evidence(200, 240)), (DAYS[1], evidence(203, 243)))] == [
        True
    ] * 2
    same_day = found((DAYS[0], evidence(200, 240)), (DAYS[0], evidence(200, 241)))
    assert [each.confirmed for each in same_day] == [False] * 2
    other_way = found((DAYS[0], evidence(200, 240)), (DAYS[3], evidence(212, 172)))
    assert not any(each.confirmed for each in other_way)


def test_two_visits_that_contradict_each_other_confirm_nothing() -> None:
    """Forty days ahead of the weather, and a hundred: one of them at least is wrong, in either order."""
    forty, hundred = evidence(200, 240), evidence(203, 303)
    for first, second in ((forty, hundred), (evidence(200, 300), evidence(203, 243))):
        both = found((DAYS[0], first), (DAYS[1], second))
        assert [(each.confirmed, each.against) for each in both] == [(False, None)] * 2
    third = found((DAYS[0], forty), (DAYS[1], hundred), (DAYS[2], evidence(208, 248)))
    assert [each.against and each.against.date for each in third] == [DAYS[1], None, DAYS[1]]


def test_what_others_confirm_is_held_against_the_note_that_they_do_not_go_with() -> None:
    """Two visits forty days ahead, and a third that is on time: no longer the weather, but the notes are in doubt."""
    first, second, third = found(
        (DAYS[0], evidence(200, 240)), (DAYS[1], evidence(203, 243)), (DAYS[2], evidence(209, 209))
    )
    assert [(each.against and each.against.date, round(each.days)) for each in (first, second, third)] == [
        (DAYS[2], 40),
        (DAYS[2], 40),
        (DAYS[0], -40),  # of the first that it does not go with
    ]
    assert not any(each.confirmed for each in (first, second, third))


def test_what_the_weather_did_not_foretell_is_in_doubt_too() -> None:
    """In order of time, and no more than once a note."""
    notes = [note(day, bbch=60) for day in DAYS[:2]]
    facts = [evidence(203, 206), evidence(206, 209)]
    early, late = doubts_of(notes, facts, [(notes[1], 30.0), (notes[0], -12.0)])
    assert (early.note, early.days, early.against, early.confirmed) == (notes[0], -12.0, None, False)
    assert (late.note, late.days) == (notes[1], 30.0)
    (once,) = doubts_of(notes[:1], [evidence(203, 243)], [(notes[0], 20.0)])
    assert round(once.days) == 40


def test_a_stand_ahead_is_one_that_was_seen_further_on() -> None:
    """However little, and where it never comes so far; a reading of the soil says nothing of it."""
    seen = note(ON, bbch=60)
    assert [Doubt(note=seen, days=by).ahead for by in (-9.0, -0.5, 0.0, 0.5, np.inf)] == [False] * 3 + [True] * 2
    assert not Doubt(note=seen, kelvin=9.0).ahead


def test_notes_that_fit_are_not_in_doubt() -> None:
    """A week ahead, twice, is what stands do."""
    assert found((DAYS[0], evidence(200, 207)), (DAYS[3], evidence(212, 218))) == ()


# --- what becomes of the answer ------------------------------------------------------------------

EARLY = note(dt.date(2026, 3, 30), bloom_percent=50.0)  # six weeks before this weather allows it


def test_half_in_bloom_weeks_too_early_does_not_make_it_surer() -> None:
    """The first sentence is to look again, with the days and the date without the note; every chance stays below."""
    on = EARLY.date
    plain, doubted = planned(on=on), planned(EARLY, on=on)
    assert best(doubted) <= best(plain)
    assert (doubted.window.chances <= plain.window.chances + 1e-12).all()
    assert doubted.window.open_now <= plain.window.open_now
    assert doubted.planting.ripens <= plain.planting.ripens
    (doubt,) = doubted.provenance.doubts
    assert doubt.days > 35
    assert plain.window.best is not None
    assert headline(doubted).startswith(
        f"Look again before you act: your note of 30 Mar (50% bloom) is {doubt.days:.0f} days ahead of what this "
        "weather makes likely; without it the day would be "
    )


def test_no_buds_after_bloom_is_not_taken_in_silence() -> None:
    """No buds three days after 20 % bloom: both notes are in doubt, and the chance is lower than with either alone."""
    bloom, none = note(ON - dt.timedelta(days=3), bloom_percent=20.0), note(ON, bbch=NO_BUDS)
    both = planned(bloom, none)
    assert {doubt.note for doubt in both.provenance.doubts} == {bloom, none}
    assert best(both) <= min(best(planned(bloom)), best(planned(none)))
    assert "your note of 20 Apr (no buds) is 24 days behind your note of 17 Apr (20% bloom)" in headline(both)


def test_a_second_visit_that_agrees_is_believed() -> None:
    """The window comes forward, what is doubted is the sowing date or the cultivar, and the chance is not raised."""
    on = dt.date(2026, 4, 10)
    seen = [note(on - dt.timedelta(days=ago), bloom_percent=share) for ago, share in ((6, 25.0), (0, 50.0))]
    plain, once, twice = planned(on=on), planned(seen[1], on=on), planned(*seen, on=on)
    assert [each.confirmed for each in twice.provenance.doubts] == [True, True]
    assert headline(twice).startswith("Check the sowing date and the cultivar: your note of 10 Apr (50% bloom) is ")
    assert twice.window.best is not None
    assert once.window.best is not None
    assert plain.window.best is not None
    assert twice.window.best.date < once.window.best.date < plain.window.best.date
    assert best(twice) <= best(plain)


def test_an_old_slip_is_to_be_struck() -> None:
    """Where a later note fits, the doubt is no reason to go and look, but to mend the file."""
    slip, fits = note(dt.date(2026, 2, 1), soil_c=38.0), note(dt.date(2026, 4, 8), bbch=51)
    said = headline(planned(slip, fits))
    assert said.startswith("Measure the soil again: your soil reading of 1 Feb is ")
    first, last = note(dt.date(2026, 2, 12), bloom_percent=50.0), note(ON, bbch=51)
    assert headline(planned(first, last)).startswith(("Look again before you act", "Mend or strike a note"))


def test_once_the_cover_is_ended_its_stage_is_no_matter() -> None:
    """Nothing is left to be decided by a note of bloom; a reading of the soil still is."""
    ended = replace(field(turned_under="2026-04-05"), scouting=(EARLY,))
    plan = make_plan(ended, RECORD, np.datetime64(ON), details=False)
    assert plan.provenance.doubts == ()
    hot = replace(ended, scouting=(EARLY, note(dt.date(2026, 4, 15), soil_c=39.0)))
    doubts = make_plan(hot, RECORD, np.datetime64(ON), details=False).provenance.doubts
    assert [doubt.of_soil for doubt in doubts] == [True]


def test_one_wild_reading_of_the_soil_plants_nothing_and_two_do() -> None:
    """A single reading far off moves no date; with another of another day that is off the same way, both do."""
    model = planned(note(dt.date(2026, 4, 12), soil_c=12.0))
    wild = [note(dt.date(2026, 4, day), soil_c=30.0) for day in (12, 16)]
    plain, once, twice = planned(), planned(wild[0]), planned(*wild)
    assert once.dates["soil_warm"] == plain.dates["soil_warm"]
    assert twice.dates["soil_warm"].median < plain.dates["soil_warm"].median
    assert model.provenance.doubts == ()
    assert [doubt.confirmed for doubt in once.provenance.doubts] == [False]
    assert [doubt.confirmed for doubt in twice.provenance.doubts] == [True, True]
    assert any("is left out until one of another day agrees" in said for said in once.provenance.notes)
    assert any("is used all the same: check the thermometer" in said for said in twice.provenance.notes)


# --- scout ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (
            ["--bloom", "50", "--on", "2026-03-28"],
            "your note of 28 Mar (50% bloom) is {days} days ahead of what this weather makes likely: true only if this "
            "stand runs so many days earlier than hairy vetch does in this weather, and the cultivars that are known "
            "run 16 days earlier at most",
        ),
        (["--soil", "41"], "your soil reading of 20 Apr is {days} °C"),
        (
            ["--bbch", "85", "--on", "2025-10-01"],
            "your note of 1 Oct (BBCH 85, first seed may be viable) is {days} days",
        ),
    ],
)
def test_scout_says_what_does_not_fit_and_asks(run: Run, farm: Path, options: list[str], why: str) -> None:
    """One line with what it would take, nothing written; with --anyway it stands in the file, and the doubt is said."""
    before = farm.read_bytes()
    status, screen, err = run("scout", farm, "Chapel bench", *options)
    assert (status, screen) == (1, "")
    assert err.count("\n") == 1
    start, _, end = why.partition("{days}")
    assert start in err
    assert end in err
    assert "nothing is noted, since" in err
    assert err.endswith("look again, or add --anyway to note it all the same\n")
    assert farm.read_bytes() == before
    document = json.loads(run("scout", farm, "Chapel bench", *options, "--anyway", "--json")[1])
    (said,) = {*document["fields"][0]["does_not_fit"]}
    assert said in err
    assert len(read_fields(farm).fields[1].scouting) == 1


def test_scout_sees_two_notes_that_cannot_both_be_true(run: Run, farm: Path) -> None:
    """No buds three days after bloom was noted is asked about, though the weather alone goes with it."""
    assert run("scout", farm, "Chapel bench", "--bloom", 20, "--on", "2026-04-17", "--anyway")[0] == 0
    status, _, err = run("scout", farm, "Chapel bench", "--no-buds")
    assert status == 1
    assert "your note of 20 Apr (no buds) is " in err
    assert "behind your note of 17 Apr (20% bloom): true only if the stand was mown, grazed or frozen back" in err
    status, screen, _ = run("scout", farm, "Chapel bench", "--no-buds", "--anyway")
    assert status == 0
    assert "It does not fit, since your note of 20 Apr (no buds) is" in screen
    answer = json.loads(run("ready", farm, "--json")[1])["fields"][1]
    assert [doubt["date"] for doubt in answer["doubts"]] == ["2026-04-17", "2026-04-20"]
    assert all(doubt["said"].startswith("your note of") for doubt in answer["doubts"])
    screen = run("ready", farm, "--due")[1]
    assert "Look twice, for a note that does not fit: Chapel bench." in screen or "Chapel bench" not in screen


def test_what_fits_is_noted_without_a_word(run: Run, farm: Path) -> None:
    """A stage within the usual scatter of the weather needs no --anyway, and no JSON key speaks of doubt."""
    status, out, err = run("scout", farm, "Chapel bench", "--bbch", 51, "--json")
    assert (status, err) == (0, "")
    assert json.loads(out)["fields"][0].keys() == {"name", "file", "noted", "notes_in_file"}


def test_without_weather_a_note_is_taken_and_said_to_be_unchecked(run: Run, farm: Path) -> None:
    """No weather, nothing to tell by: the note must not be lost for that."""
    Path("weather.csv").unlink()
    status, screen, _ = run("scout", farm, "Chapel bench", "--bloom", 50, "--on", "2026-03-28")
    assert status == 0
    assert "Whether it fits the weather is not known: " in screen
    assert len(read_fields(farm).fields[1].scouting) == 1
    document = json.loads(run("scout", farm, "Chapel bench", "--bloom", 55, "--on", "2026-03-28", "--json")[1])
    assert "weather.csv" in document["fields"][0]["not_checked"]


def test_a_note_years_after_sowing_is_refused(run: Run, farm: Path) -> None:
    """Nine years after sowing is another cover's season, --anyway or not; 500 days after is still this one's."""
    text = farm.read_text(encoding="utf-8").replace("today = 2026-04-20", "today = 2034-12-01", 1)
    farm.write_text(text, encoding="utf-8")
    before = farm.read_bytes()
    for more in ([], ["--anyway"]):
        status, _, err = run("scout", farm, "Chapel bench", "--soil", "12", "--on", "2034-09-12", *more)
        assert status == 1
        assert "date = 2034-09-12 is more than 500 days after sowing on 2025-09-08, and that season is over" in err
        assert err.count("\n") == 1
    assert farm.read_bytes() == before
    last = dt.date(2025, 9, 8) + dt.timedelta(days=500)
    assert run("scout", farm, "Chapel bench", "--soil", "5", "--on", last)[0] == 0
    status, _, err = run("scout", farm, "Chapel bench", "--soil", "5", "--on", last + dt.timedelta(days=1))
    assert status == 1


@pytest.mark.parametrize(
    ("doubt", "said"),
    [
        (
            Doubt(note=note(ON, bbch=65), days=np.inf),
            "true only of another cover, another sowing date or another place",
        ),
        (Doubt(note=note(ON, soil_c=41.0), kelvin=20.0), "a thermometer left in the sun, set shallower, or read in"),
        (
            Doubt(note=note(ON, bbch=65), days=21.0, against=note(ON - dt.timedelta(days=9), bbch=51)),
            "true only if the stand went that far in 9 days; this weather takes about 30",
        ),
        (
            Doubt(note=note(ON, bbch=51), days=-30.0),
            "true only if this stand runs so many days later than crimson clover does in this weather",
        ),
    ],
)
def test_what_it_would_take(doubt: Doubt, said: str) -> None:
    """For each kind of doubt, what would have to be so."""
    assert note_effects.would_take(doubt, catalogue.cover("crimson-clover")).startswith(said)


def test_the_doubt_to_name_is_the_furthest_off() -> None:
    """Ahead or behind; of two alike the later; and a reading of the soil only where there is no other."""
    first, second, third = (ScoutingNote(date=dt.date(2026, 4, number), bbch=60) for number in (1, 2, 3))
    near, far, alike = Doubt(note=first, days=9.0), Doubt(note=first, days=-20.0), Doubt(note=second, days=20.0)
    soil = Doubt(note=third, kelvin=40.0)
    assert worst([near, far]) is far
    assert worst([far, alike, near]) is alike
    assert worst([soil, near]) is near
    slightly = replace(near, days=0.5)
    assert worst([soil, slightly]) is slightly
    assert worst([soil]) is soil
