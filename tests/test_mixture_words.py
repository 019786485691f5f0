"""What is said of a mixture: on the screen, in notes, in the beds, and when it is sown."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from invented import field, weather

import covercrop
from covercrop.autumn.comparison import compare_sowing_dates
from covercrop.base.records import DailyWeather
from covercrop.beds.beds import lay_out_beds
from covercrop.field.entries import Field, ScoutingNote
from covercrop.models.members import standard_draws
from covercrop.parameters.companions import companion
from covercrop.render.data import beds as bed_data
from covercrop.render.data import comparison, machine
from covercrop.render.data import sowing as sowing_data
from covercrop.render.words import answer, mixture, sowing
from covercrop.render.words import beds as bed_words
from covercrop.season.beside import CerealStand, share_of
from covercrop.season.comparison import compare_endings
from covercrop.season.plan import Plan, make_plan, start_of
from covercrop.season.stand import grow_stand

Run = Callable[..., tuple[int, str, str]]
DRAWS = standard_draws(16)
ON, SPRING = np.datetime64("2026-04-20"), np.datetime64("2026-04-10")


@pytest.fixture(scope="module")
def record() -> DailyWeather:
    return weather("2014-01-01", "2026-04-20")


@pytest.fixture(scope="module")
def cold() -> DailyWeather:
    """Winters that kill a tender legume and all oats, but no rye."""
    made = weather("2014-01-01", "2026-04-20", mean=7.5, swing=15.5)
    return replace(made, table=made.table.assign(prcp_mm=0.0))  # no snow keeps them alive


def mixed(
    cereal: str = "rye",
    share: float | None = 40,
    terminate: str = "turn-under",
    notes: tuple[ScoutingNote, ...] = (),
    species: str = "hairy-vetch",
    sown: str = "2025-09-12",
) -> Field:
    plain = field(species, terminate=terminate, sown=sown)
    entry = replace(plain.cover, companion=cereal, legume_percent=None if share is None else (share, share))
    return replace(plain, cover=entry, area_m2=900.0, scouting=notes)


def planned(record: DailyWeather, on: np.datetime64 = ON, **changes: object) -> Plan:
    return make_plan(mixed(**changes), record, on, DRAWS)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def rolled(record: DailyWeather) -> Plan:
    return planned(record, terminate="roll")


@pytest.fixture(scope="module")
def thin(record: DailyWeather) -> Plan:
    """Hardly any legume in it: it ties nitrogen up."""
    return planned(record, share=5)


# --- the answer --------------------------------------------------------------------------------------


def test_the_first_sentences_say_what_to_do_of_both(rolled: Plan, thin: Plan) -> None:
    """The odds are those of killing both, not of bloom, and tillage is told by the heads of the rye."""
    assert answer.headline(rolled).startswith("Plan to roll it about ")
    for plan in (rolled, thin):
        assert "both killed" in answer.headline(plan)
        assert "in bloom " not in answer.headline(plan)
    assert answer.what_is_where(thin).startswith("Hairy vetch with cereal rye, sown 12 Sep 2025")


def test_the_clash_and_what_helps(rolled: Plan, thin: Plan) -> None:
    """In short what helps most; the rest among the reasons; nothing where they do not clash."""
    said = mixture.clash(rolled)
    assert said.startswith("The two clash: rolling waits for the hairy vetch until the cereal rye is past its last day")
    assert "What helps most: turning under, early (" in said
    assert any("triticale in place of the cereal rye" in each for each in mixture.reasons(rolled))
    assert mixture.clash(thin) == ""
    assert said in mixture.short(rolled)


def test_a_legume_that_is_the_earlier_is_said_so(record: DailyWeather) -> None:
    """Crimson clover is past its last day before rye flowers."""
    said = mixture.clash(planned(record, species="crimson-clover", sown="2025-09-20", terminate="roll"))
    assert "rolling waits for the cereal rye until the crimson clover is past its last day" in said


def test_what_ties_nitrogen_up_is_to_be_made_good(thin: Plan) -> None:
    """The share and whose it is, the C:N ratio in words, and the nitrogen to add, in either unit."""
    (said,) = mixture.short(thin)
    assert said.startswith("The legume is 5% of the dry matter, as your file says. ")
    assert "it ties nitrogen up at first; at planting give about " in said
    owed = thin.nitrogen.ties_up
    assert owed is not None
    assert owed.median == -thin.nitrogen.amounts["pan_kg_ha"].median > 0
    assert f"about {owed.median:.0f} kg/ha (up to {owed.high:.0f}) more" in said
    assert f"about {owed.median / 1.12085:.0f} lb/acre" in mixture.short(thin, us=True)[0]
    assert "ties up " in answer.nitrogen(thin) or "is tied up" in answer.nitrogen(thin)
    assert not any("-" in part for part in answer.nitrogen(thin).split() if part[0] == "-")


def test_a_rich_mixture_owes_nothing(record: DailyWeather) -> None:
    plan = planned(record, share=90)
    assert plan.nitrogen.ties_up is None
    assert mixture.to_add(plan) == ""
    assert "its nitrogen begins to come free" in mixture.short(plan)[0]


def test_a_share_that_nobody_judged_is_said_so(record: DailyWeather) -> None:
    """The range that is taken, and how to do better; a note comes before the file."""
    assert (
        "taken to be 15 to 50% of the dry matter, since nobody has judged it"
        in mixture.short(planned(record, share=None))[0]
    )
    note = ScoutingNote(date=dt.date(2026, 4, 18), legume_percent=25)
    assert mixture.short(planned(record, notes=(note,)))[0].startswith("The legume is 25% of the dry matter, by your n")


def test_the_reasons_tell_stages_and_waits(thin: Plan) -> None:
    """The stage in both scales and in words, its days ahead, and the wait for large and for small seed."""
    said = " ".join(mixture.reasons(thin))
    assert thin.mixture is not None
    assert f"Zadoks and BBCH {thin.mixture.zadoks}: {thin.mixture.stage}" in said
    assert "watery ripe grain, the last stage that is surely without seed" in said
    assert "large seed and plants wait 14 days (10 to 21), small seed 24 days (21 to 28)" in said


# --- the winter --------------------------------------------------------------------------------------


def test_a_dead_legume_in_living_rye(cold: DailyWeather) -> None:
    """It is told as such, the rye still has to be ended, and what it ties up is told of it alone."""
    plan = planned(cold, on=SPRING, species="berseem-clover", sown="2025-09-20")
    assert plan.mixture is not None
    assert plan.mixture.legume_dead
    assert mixture.winter(plan).startswith("The cold has most likely killed the berseem clover, and the cereal rye liv")
    assert plan.window.best is not None
    assert "end" not in plan.state
    assert mixture.short(plan)[0].startswith("What is left is the cereal rye. ")
    assert not any("BBCH" in each and "berseem" in each for each in answer.reasons(plan))


def test_oats_killed_by_the_winter_with_the_day(cold: DailyWeather) -> None:
    """Before it, when they will likely die; after it, when they died; and a plan for the vetch alone then."""
    ahead = planned(cold, on=np.datetime64("2025-11-10"), cereal="oats", species="red-clover", sown="2025-09-20")
    assert mixture.winter(ahead).startswith("The cold will most likely kill the oats, about ")
    after = planned(cold, on=SPRING, cereal="oats", species="red-clover", sown="2025-09-20")
    assert mixture.winter(after).startswith("The cold has most likely killed the oats, about ")
    assert mixture.short(after) == []
    assert "both" not in answer.headline(after)


# --- notes -------------------------------------------------------------------------------------------


@pytest.fixture
def own_mix(tmp_path: Path, demo_dir: Path) -> Path:
    """A field of vetch and rye beside the demonstration's weather, on its day."""
    path = tmp_path / "mix.toml"
    path.write_text(
        f'today = 2026-04-20\n[[field]]\nname = "Mix"\nlatitude = 37.6\nlongitude = -84.9\n[field.cover]\n'
        f'species = "hairy-vetch"\nwith = "rye"\nsown = 2025-09-12\n[field.weather]\n'
        f'file = "{demo_dir / "weather.csv"}"\n[field.crop]\nname = "pumpkin"\n',
        encoding="utf-8",
    )
    return path


def test_scouted_listed_and_taken_back(run: Run, own_mix: Path) -> None:
    """Stage and share go into the file in words, and into the next answer."""
    status, screen, _ = run("scout", own_mix, "mix", "--cereal", 45, "--legume-percent", 35)
    assert status == 0
    assert "the cereal at Zadoks and BBCH 45: boot" in screen
    assert "the legume 35% of the dry weight" in " ".join(screen.split())
    assert "cereal = 45  # boot" in own_mix.read_text(encoding="utf-8")
    assert "Zadoks and BBCH 45" in run("scout", own_mix, "mix", "--list")[1]
    told = json.loads(run("ready", own_mix, "--json")[1])["fields"][0]["mixture"]
    assert (told["stage_notes"], told["legume_share"]["whose"], told["legume_share"]["middle"]) == (1, "note", 0.35)
    assert run("scout", own_mix, "mix", "--undo")[0] == 0
    assert "cereal" not in own_mix.read_text(encoding="utf-8")


def test_a_stage_that_cannot_be_is_doubted(run: Run, own_mix: Path, record: DailyWeather) -> None:
    """Flowering in January is refused in a line; written all the same, the answer says so first and is held to it."""
    status, _, messages = run("scout", own_mix, "mix", "--cereal", 61, "--on", "2026-01-10")
    assert (status, messages.count("\n")) == (1, 1)
    assert "(the cereal at Zadoks 61, in flower) is" in messages
    assert "ahead of what this weather makes likely: true only if this cereal runs so many days earlier" in messages
    wrong = ScoutingNote(date=dt.date(2026, 1, 10), cereal=61)
    plan, without = planned(record, notes=(wrong,)), planned(record)
    assert answer.headline(plan).startswith("Look again before you act: your note of 10 Jan (the cereal at Zadoks 61")
    assert plan.window.best is not None
    assert without.window.best is not None
    assert plan.window.best.probability <= without.window.best.probability
    right = ScoutingNote(date=dt.date(2026, 4, 18), cereal=39)
    assert not planned(record, notes=(right,)).provenance.doubts
    seen_again = planned(record, notes=(wrong, right))
    assert (plan.provenance.check, seen_again.provenance.check) == ("stand", "notes")
    assert [each["of"] for each in machine.field(plan)["doubts"]] == ["cereal"]


def test_a_late_cereal_moves_its_dates(record: DailyWeather) -> None:
    """Seen at jointing when it should be in the boot, its heads are expected later."""
    plain = planned(record).mixture
    late = planned(record, notes=(ScoutingNote(date=dt.date(2026, 4, 18), cereal=26),)).mixture
    assert plain is not None
    assert late is not None
    assert late.dates["heading"].median > plain.dates["heading"].median + np.timedelta64(3, "D")
    assert late.good_to < plain.good_to


def test_a_slip_of_months_pulls_no_harder_than_one_of_weeks(record: DailyWeather) -> None:
    """Both pull the dates just as far as a note that one visit in twenty would show."""
    slips = [ScoutingNote(date=dt.date(2026, month, 10), cereal=61) for month in (1, 3)]
    found = [planned(record, notes=(slip,)).mixture for slip in slips]
    plain = planned(record).mixture
    assert plain is not None
    assert [part.dates["flowering"] for part in found if part] == [found[0].dates["flowering"]] * 2  # type: ignore[union-attr]
    assert found[0] is not None
    assert found[0].dates["flowering"].median > plain.dates["flowering"].median - np.timedelta64(25, "D")


def test_a_note_of_the_cereal_set_aside_does_nothing(record: DailyWeather) -> None:
    """Neither to its dates nor to what is in doubt."""
    slip = ScoutingNote(date=dt.date(2026, 1, 10), cereal=61)
    start = start_of(mixed(notes=(slip,)), record, ON)
    conditions = start.conditions
    assert conditions.companion is not None

    def grown(**kept: Any) -> CerealStand:
        found = grow_stand(
            start.outlook,
            start.latitude,
            conditions.cover,
            DRAWS,
            companion=conditions.companion,
            share=share_of(conditions.sown, ()),
            **kept,
        ).cereal
        assert found is not None
        return found

    without, aside, used = grown(), grown(scouting=(slip,), set_aside=(slip,)), grown(scouting=(slip,))
    assert np.array_equal(aside.stages["flowering"], without.stages["flowering"])
    assert aside.doubts == ()
    assert used.doubts != ()
    assert used.stages["flowering"].mean() < without.stages["flowering"].mean()


# --- beds and sowing ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("us", "rate"), [(False, "3.4 g/m²"), (True, "1.1 oz to 100 ft²")])
def test_seed_of_both_on_the_list(thin: Plan, us: bool, rate: str) -> None:
    """The cereal at less than half of what it is sown at alone, as for a garden too."""
    items = {item.item: item.why for item in lay_out_beds(thin, us=us).items}
    assert set(items) >= {"hairy vetch seed", "cereal rye seed", "inoculant"}
    assert rate in items["cereal rye seed"]
    assert "38% of what is sown of it alone, so that the legume leads" in items["cereal rye seed"]


def test_the_beds_give_at_planting_what_is_tied_up(thin: Plan) -> None:
    """A row of its own, the amount at planting, none of it in reach of the roots, and a key in JSON."""
    beds = lay_out_beds(thin)
    rows = {row[0]: row[1] for row in bed_words.nitrogen_rows(beds)}
    assert "the mixture ties up" in rows
    assert not rows["the mixture ties up"].startswith("-")
    assert bed_words.nitrogen_advice(beds).startswith("Give ")
    assert "of it at planting" in bed_words.nitrogen_advice(beds)
    assert beds.reach is not None
    assert min(beds.reach.spot) == 0
    assert beds.nitrogen is not None
    assert beds.nitrogen.missing[1] > beds.nitrogen.need[1]
    told = bed_data.document([beds], thin.on)["fields"][0]["nitrogen"]["give_at_planting_kg_ha"]
    assert told == -thin.nitrogen.amounts["pan_kg_ha"].median
    assert any(assumed.startswith("Cereal rye, ") for assumed in beds.assumptions)


def test_a_mixture_is_sown_as_one(record: DailyWeather) -> None:
    """Its window, its blend and its winter, on the screen and in JSON; any other cover stands alone."""
    asked = {"covers": ["hairy-vetch", "crimson-clover"], "start": "2026-09-10", "end": "2026-09-20"}
    whole = compare_sowing_dates(mixed(), record, "2026-04-20", draws=DRAWS, **asked)  # type: ignore[arg-type]
    alone = compare_sowing_dates(field("hairy-vetch"), record, "2026-04-20", draws=DRAWS, **asked)  # type: ignore[arg-type]
    own, other = (
        next(choice for choice in autumn.choices if choice.cover.key == "hairy-vetch") for autumn in (whole, alone)
    )
    assert sowing.name(own) == "hairy vetch with cereal rye"
    assert own.ended[own.best] < other.ended[other.best] - np.timedelta64(14, "D")
    assert own.brings["carbon_nitrogen"][own.best] > other.brings["carbon_nitrogen"][other.best] + 5
    assert own.cereal_lives.min() > 0.9
    assert f"{companion('rye').sowing.beside.value:.0f} kg/ha of cereal rye" in sowing.seed(whole, own, us=False)
    told = sowing_data.sow([whole], ON)["fields"][0]["covers"]
    assert {each["species"]: each.get("with") for each in told} == {"hairy-vetch": "cereal-rye", "crimson-clover": None}
    rows = sowing_data.sow_csv([whole]).splitlines()
    assert rows[0].endswith(",with")
    assert {row.rpartition(",")[2] for row in rows if ",hairy-vetch," in row} == {"cereal-rye"}


def test_a_table_of_fields_takes_and_gives_the_mixture(record: DailyWeather) -> None:
    """Columns for the cereal and its share, and for what comes of them; empty for a legume alone."""
    rows = pd.DataFrame(
        {
            "latitude": 37.6,
            "longitude": -84.9,
            "species": "hairy-vetch",
            "sown": "2025-09-12",
            "crop": "pumpkin",
            "with": ["rye", None],
            "legume_percent": ["10-20", None],
        },
        index=["mixed", "alone"],
    )
    frame = covercrop.plan_fields(rows, record, on="2026-04-20").to_frame()
    assert frame.loc["mixed", ["companion", "legume_share", "band"]].tolist() == ["cereal-rye", 0.15, "little-at-first"]
    assert 30 < frame.loc["mixed", "zadoks"] < 60
    assert frame.loc["alone", ["companion", "legume_share", "zadoks", "band"]].isna().all()


def test_a_spreadsheet_of_endings_tells_the_cereal(record: DailyWeather) -> None:
    """Its stage and what the blend does, a column each; empty of a legume alone."""
    told = [
        list(csv.DictReader(io.StringIO(comparison.table([compare_endings(each, record, ON)]))))
        for each in (mixed(share=5), field("hairy-vetch"))
    ]
    assert (told[0][0]["band"], told[0][-1]["band"]) == ("little-at-first", "tie-up")
    assert 30 < int(told[0][0]["cereal_zadoks"]) < 60
    assert {(row["band"], row["cereal_zadoks"]) for row in told[1]} == {("", "")}
