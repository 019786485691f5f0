"""Endings side by side: what each day and way gives, the one that is advised, and what would help."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import invented
import numpy as np
import pytest
from numpy.typing import NDArray

from covercrop.base.errors import FieldFileError, UnknownNameError, UsageError
from covercrop.cli import compare as command
from covercrop.cli.main import main
from covercrop.field.entries import AimEntry, Field, FieldFile, check_past
from covercrop.models import mixture, soil_water, termination
from covercrop.models.members import standard_draws
from covercrop.season import comparison
from covercrop.season.chain import member_days
from covercrop.season.comparison import Endings, compare_endings
from covercrop.season.following import follow
from covercrop.season.nitrogen_part import PERCENT, amounts_on
from covercrop.season.plan import make_plan, start_of
from covercrop.season.start import Conditions, Start

ON = np.datetime64("2026-04-20")
#: Cool enough that a long pumpkin is in doubt.
COOL = invented.weather("2012-01-01", mean=9.5, swing=13.0)
WARM = invented.weather()


def late(**changes: object) -> Field:
    """A pumpkin after a vetch that blooms late."""
    return replace(invented.field("hairy-vetch", "pumpkin", sown="2025-09-08", latitude=42.5), **changes)


@pytest.fixture(scope="module")
def cool() -> Endings:
    return compare_endings(late(), COOL, "2026-04-20")


# --- the rows -------------------------------------------------------------------------------------


def test_the_advised_day_is_marked_once_and_is_that_of_the_plan(cool: Endings) -> None:
    """What compare marks is what ready says."""
    (chosen,) = [row for row in cool.rows if row.chosen]
    plan = make_plan(late(), COOL, ON)
    best = plan.window.best
    assert best is not None
    assert (chosen.date, chosen.method) == (best.date, "turn-under")
    told = (chosen.killed, chosen.seed_free, chosen.bloom, chosen.in_time, chosen.together)
    assert told == (best.killed, best.seed_free, best.bloom, best.in_time, best.together)
    assert chosen.plant_likely == plan.planting.earliest.median
    assert chosen.plant_safe == plan.planting.safe
    assert chosen.amounts["pan_kg_ha"] == plan.nitrogen.amounts["pan_kg_ha"]


def test_rows_are_a_week_apart_and_their_chances_go_the_right_way(cool: Endings) -> None:
    """Later means more in bloom, fewer without seed, fewer in time; all together is no more than any of them."""
    weekly = [row for row in cool.rows if not row.chosen]
    assert {int((after.date - row.date).astype(int)) for row, after in pairwise(weekly)} <= {7, 14}
    for row, after in pairwise(cool.rows):
        assert after.bloom >= row.bloom
        assert after.seed_free <= row.seed_free
        assert after.in_time <= row.in_time + 0.02  # the flies of a later day may be fewer
        assert after.plant_likely >= row.plant_likely
    for row in cool.rows:
        assert row.together <= min(row.killed, row.seed_free, row.bloom, row.in_time) + 1e-9
        assert 0.0 <= row.workable <= 1.0


def test_days_and_ways_that_are_asked_for_stand_in_it() -> None:
    """A day of the grower's own, by every way, beside the weeks ahead."""
    found = compare_endings(late(), COOL, "2026-04-20", ends=["2026-05-30"], by=termination.METHODS)
    asked = {(row.method, str(row.date)) for row in found.rows}
    assert {(way, "2026-05-30") for way in termination.METHODS} <= asked
    assert set(found.chances) == set(termination.METHODS)
    rolled = next(row for row in found.rows if row.method == "roll" and str(row.date) == "2026-05-30")
    dug = next(row for row in found.rows if row.method == "turn-under" and str(row.date) == "2026-05-30")
    assert rolled.killed < dug.killed == 1.0


def test_without_rain_nothing_is_said_of_dry_ground() -> None:
    """The share is not known, and not made up."""
    table = COOL.table.assign(prcp_mm=np.nan)
    found = compare_endings(late(), replace(COOL, table=table), "2026-04-20")
    assert all(np.isnan(row.workable) for row in found.rows)


# --- which days, and how dry ----------------------------------------------------------------------


def chances_of(window: NDArray[np.float64]) -> Any:
    return SimpleNamespace(window=window)


def places(
    *, alive: tuple[int, int], best: int, first: int = 100, asked: tuple[int, ...] = (), way: str = "turn-under"
) -> list[int]:
    """The days compared where the window has a chance on some, and one is advised for turning under."""
    window = np.zeros(300)
    window[alive[0] : alive[1] + 1] = 0.005
    chain: Any = SimpleNamespace(ending=SimpleNamespace(day=best, method="turn-under"))
    return comparison._places(chain, chances_of(window), first, asked, way)


def test_each_week_is_compared_while_the_window_has_a_chance() -> None:
    """From today to the last day that has one in two hundred, or to the day that is advised; ten weeks at most."""
    assert places(alive=(90, 121), best=109) == [100, 107, 109, 114, 121]
    assert places(alive=(90, 120), best=109) == [100, 107, 109, 114]
    assert places(alive=(90, 101), best=115) == [100, 107, 114, 115]
    assert places(alive=(90, 200), best=100) == [*range(100, 164, 7)]
    assert places(alive=(90, 200), best=190) == [*range(100, 164, 7), 190]
    assert places(alive=(20, 10), best=100) == [100]  # on no day


def test_the_advised_day_stands_among_those_of_its_own_way_only() -> None:
    """Days that are asked for stand among those of every way, once."""
    assert places(alive=(90, 108), best=120, way="roll") == [100, 107]
    assert places(alive=(20, 10), best=120, way="roll") == [100]
    assert places(alive=(90, 108), best=104, asked=(130, 107, 104)) == [100, 104, 107, 130]


def test_a_day_is_workable_by_the_dry_days_of_its_week(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the seven days from it on, the mean over the years of those dry enough; the last days have no week."""
    water = np.full((2, 20), soil_water.WORKABLE + 0.1)
    water[:, 3:8] = soil_water.WORKABLE  # dry enough, just so
    water[0, 8] = 0.0
    monkeypatch.setattr(soil_water, "relative_water", lambda *_: water)
    outlook = invented.season(np.full((2, 20), 12.0), length=20, years=2)
    start: Any = SimpleNamespace(outlook=outlook, latitude=37.6)
    found = comparison._workable(start)
    assert found.shape == (20,)
    # Days 3 to 7 in both years, day 8 in one of two.
    assert found[:4] * 7 == pytest.approx([4.0, 5.0, 5.5, 5.5])
    assert found[[8, 9, 13]] * 7 == pytest.approx([0.5, 0.0, 0.0])
    assert np.isnan(found[14:]).all()


def test_where_rain_is_not_known_for_a_week_nothing_is_said_of_it() -> None:
    """One day of one year that is known is enough."""
    outlook = invented.season(np.full((2, 40), 12.0), length=40, years=2)
    prcp = np.full((2, 40), np.nan)
    prcp[1, 10] = 0.0
    found = comparison._workable(SimpleNamespace(outlook=replace(outlook, prcp=prcp), latitude=37.6))  # type: ignore[arg-type]
    assert np.flatnonzero(~np.isnan(found)).tolist() == [*range(4, 11)]


@pytest.mark.parametrize(
    ("ended", "killed", "complete", "said"),
    [
        (True, True, False, "the cover was ended on 2026-04-10; ask about an earlier day with `on`"),
        (False, True, False, "the cold has most likely killed the cover"),
        (False, False, False, "the rest of the season is not known; name a station with a longer record"),
        (False, False, True, "in most years the cover does not bloom in time"),
    ],
)
def test_why_there_is_nothing_to_compare(ended: bool, killed: bool, complete: bool, said: str) -> None:
    """The first of the reasons that holds."""
    plan: Any = SimpleNamespace(
        is_ended=ended,
        field=SimpleNamespace(cover=SimpleNamespace(turned_under="2026-04-10")),
        stand=SimpleNamespace(killed=killed),
        outlook=SimpleNamespace(complete=complete),
    )
    assert comparison._settled(plan) == said


@pytest.mark.parametrize(
    ("day", "place"), [("2025-09-11", 10), ("2025-09-30", 29), ("2025-09-10", 0), ("2025-10-01", 0)]
)
def test_a_day_asked_for_is_one_from_today_to_the_last(day: str, place: int) -> None:
    """Both of them too, and no other."""
    start: Any = SimpleNamespace(outlook=invented.season(length=30))  # from 1 September
    if place:
        assert comparison._position(day, start, 10) == place
    else:
        with pytest.raises(UsageError, match=f"`ends` = {day} is not ahead; give a day from 2025-09-11 to 2025-09-30"):
            comparison._position(day, start, 10)


def test_each_row_is_the_field_ended_on_that_day_in_that_way() -> None:
    """Its chances, its ground and what it brings, with a cereal its stage and its band; the advised one is marked."""
    draws = standard_draws(8)
    record = invented.weather("2016-01-01")
    plot = invented.field("hairy-vetch")
    plot = replace(plot, cover=replace(plot.cover, companion="cereal-rye"))
    start = start_of(plot, record, ON)
    chain = follow(start, draws)
    day, cereal = chain.ending.day, chain.stand.cereal
    assert day is not None
    assert cereal is not None
    found = chain.chances_by("tarp", start.conditions.cover, start.outlook.days.size)
    rows = list(comparison._rows(start, chain, draws, "tarp", [day, day + 9], found))
    assert [row.date for row in rows] == [start.outlook.days[day], start.outlook.days[day + 9]]
    assert [row.chosen for row in rows] == [False, False]  # the day is right, and the way is not
    own = list(comparison._rows(start, chain, draws, "turn-under", [day - 1, day], chain.ending.chances))  # type: ignore[arg-type]
    assert [row.chosen for row in own] == [False, True]
    growth = start.conditions.cover.growth
    assert growth is not None
    for row, place in zip(rows, (day, day + 9), strict=True):
        assert row.together == found.together[place]
        ended = replace(start, ended=row.date.astype(object), conditions=by_tarp(start))
        ground = follow(ended, draws).ground
        likely, safe = start.outlook.dates(member_days([ground.earliest], chain.weights, (0.5, 0.8))[0])
        assert (row.plant_likely, row.plant_safe) == (likely, safe)
        assert row.zadoks == cereal.zadoks_on(place, chain.weights)
        assert row.amounts == amounts_on(
            chain.stand, growth, start.outlook, start.conditions.scouting, chain.weights, draws, place
        )
        assert row.band == mixture.band(row.amounts[PERCENT].median)
    bare = replace(start, conditions=replace(start.conditions, cover=replace(start.conditions.cover, growth=None)))
    (without,) = comparison._rows(bare, chain, draws, "tarp", [day], found)
    assert (without.amounts, without.band) == ({}, None)


def test_what_is_compared_runs_over_the_days_ahead_and_looks_at_more_risk_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """From the first to the last day on which the grower can come, each way with its chances on them."""
    monkeypatch.setattr(comparison, "helps", lambda *_, with_risk: ("with risk",) * with_risk)
    aim = AimEntry(can_come=("sat",))
    found = compare_endings(
        replace(invented.field(), aim=aim),
        invented.weather("2018-01-01"),
        "2026-04-20",
        by=("tarp", "turn-under", "tarp"),
    )
    assert [str(each) for each in found.helps] == ["with risk"]
    assert found.days[0] == np.datetime64("2026-04-25")
    assert weekdays([found.days[-1]])[0] == 5
    assert found.days[-1] > np.datetime64("2026-06-01")
    assert (np.diff(found.days).astype(int) == 1).all()
    assert list(found.chances) == ["tarp", "turn-under"]
    for chances in found.chances.values():
        assert chances.window.shape == found.days.shape
    (chosen,) = [row for row in found.rows if row.chosen]
    assert chosen.together == found.chances[chosen.method].together[list(found.days).index(chosen.date)]


def by_tarp(start: Start) -> Conditions:
    return replace(start.conditions, sown=replace(start.conditions.sown, terminate="tarp"))


# --- what would help ------------------------------------------------------------------------------


def test_what_would_help_is_what_the_plan_of_the_changed_field_says(cool: Endings) -> None:
    """Each is worked out in full, and the one that gains most comes first."""
    assert cool.plan.window.best is not None
    gains = [helped.gain for helped in cool.helps]
    assert gains == sorted(gains, reverse=True)
    assert min(gains) >= 0.05
    helped = next(each for each in cool.helps if each.change == "transplants")
    field = late()
    other = make_plan(
        replace(field, crop=replace(field.crop, method="transplant")), COOL, ON, details=False
    ).window.best
    assert other is not None
    assert (helped.date, helped.together, helped.in_time) == (other.date, other.together, other.in_time)
    best = cool.plan.window.best
    assert helped.gain == pytest.approx(max(other.together - best.together, other.in_time - best.in_time))
    assert helped.of_crop == (other.in_time - best.in_time > other.together - best.together)
    assert all(each.in_time >= best.in_time - 0.1 for each in cool.helps)  # what costs the crop is no help


def test_a_plan_that_likely_works_looks_for_no_help() -> None:
    """And one that likely fails names what helps most in its answer."""
    assert make_plan(invented.field(), WARM, ON).details.helps == ()  # type: ignore[union-attr]


# --- the aim --------------------------------------------------------------------------------------


def weekdays(dates: list[np.datetime64]) -> NDArray[np.int64]:
    return (np.array(dates).astype(np.int64) + 3) % 7


def test_it_is_ended_on_a_day_on_which_the_grower_can_come() -> None:
    """Saturdays and Sundays alone, whatever else is better."""
    field = late(aim=AimEntry(can_come=("sat", "Sunday")))
    best = make_plan(field, COOL, ON, details=False).window.best
    assert best is not None
    assert weekdays([best.date])[0] in (5, 6)


def test_a_wanted_planting_day_ends_it_sooner() -> None:
    """It is in time only if the crop is in the ground by then."""
    free, bound = (
        make_plan(late(aim=aim), COOL, ON, details=False).window.best for aim in (AimEntry(), by("2026-06-12"))
    )
    assert free is not None
    assert bound is not None
    assert bound.date < free.date
    assert bound.in_time <= free.in_time


def by(day: str) -> AimEntry:
    return AimEntry(plant_by=dt.date.fromisoformat(day))


def test_a_cover_that_comes_first_is_ended_in_bloom() -> None:
    """The grower may want the bloom more than the crop, and is told the price."""
    best = make_plan(late(aim=AimEntry(favour="cover")), COOL, ON, details=False).window.best
    crop = make_plan(late(), COOL, ON, details=False).window.best
    assert best is not None
    assert crop is not None
    assert best.date > crop.date
    assert (best.given_up, best.why) == ("crop", "cover-first")
    assert crop.given_up == "bloom"


def test_a_wanted_day_that_is_past_is_refused() -> None:
    """It can no longer be met."""
    with pytest.raises(FieldFileError, match="plant_by = 2026-04-01 is before 2026-04-20; give a later day"):
        make_plan(late(aim=by("2026-04-01")), COOL, ON)


@pytest.mark.parametrize(
    ("aim", "said"),
    [
        ({"favour": "both"}, "favour = 'both': use one of crop, cover"),
        ({"can_come": ("sonday",)}, "can_come = 'sonday' is no weekday"),
        ({"can_come": ("s",)}, "can_come = 's' is no weekday"),
        ({"plant_by": "2026-06-01"}, "plant_by = '2026-06-01': give a datetime.date"),
    ],
)
def test_an_aim_checks_itself(aim: dict[str, object], said: str) -> None:
    """One line names the argument, the value and the way out."""
    with pytest.raises(UsageError, match=said):
        AimEntry(**aim)  # type: ignore[arg-type]


def test_a_day_to_come_on_which_it_is_ended_is_refused_and_points_here() -> None:
    """What is not done yet is compared, not entered."""
    field = replace(late(), cover=replace(late().cover, turned_under=dt.date(2026, 5, 9)))
    with pytest.raises(FieldFileError, match=r"turned_under = 2026-05-09 is after 2026-04-20.*covercrop compare shows"):
        check_past(field, dt.date(2026, 4, 20))


# --- what cannot be compared ----------------------------------------------------------------------


def test_what_is_settled_is_not_compared() -> None:
    """An ended cover, a dead one and one whose season is not known say so."""
    with pytest.raises(UsageError, match=r"nothing to compare: the cover was ended on 2026-04-10"):
        compare_endings(invented.field(turned_under="2026-04-10"), WARM, "2026-04-20")
    with pytest.raises(UsageError, match="nothing to compare: the rest of the season is not known"):
        compare_endings(invented.field(), invented.weather("2025-09-01", "2026-04-20"), "2026-04-20")


@pytest.mark.parametrize("day", ["2026-04-19", "2029-01-01"])
def test_a_day_that_is_not_ahead_is_refused(day: str) -> None:
    """Nor one beyond the season."""
    with pytest.raises(UsageError, match=f"`ends` = {day} is not ahead; give a day from 2026-04-20 to "):
        compare_endings(invented.field(), WARM, "2026-04-20", ends=[day])


def test_an_unknown_way_is_refused() -> None:
    """With those that there are."""
    with pytest.raises(UnknownNameError, match="burn"):
        compare_endings(invented.field(), WARM, "2026-04-20", by=["burn"])


# --- the command ----------------------------------------------------------------------------------


def test_the_ways_of_the_command_are_those_of_the_model() -> None:
    """It repeats them, so that its help answers at once."""
    assert command.WAYS == termination.METHODS


def test_the_document_and_the_table_say_what_the_rows_say(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON and CSV of the demonstration are the same numbers."""
    assert main(["compare", "--json", "--field", "Ford meadow"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["fields"]
    assert main(["compare", "--csv", "--field", "Ford meadow"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [row["date"] for row in told["rows"]] == [row["date"] for row in rows]
    assert [row["p_all"] for row in told["rows"]] == [float(row["p_all"]) for row in rows]
    (chosen,) = [row for row in told["rows"] if row["chosen"]]
    assert told["choice"] == {"date": chosen["date"], "method": chosen["method"], "why": "window"}
    assert [row["date"] for row in rows if row["chosen"] == "yes"] == [chosen["date"]]
    wanted = {"p_killed", "p_seed_free", "p_bloom", "p_in_time", "p_all", "p_workable", "plant_likely", "plant_safe"}
    assert wanted <= set(chosen)
    assert all({"change", "p_all", "date", "plant_likely"} <= set(helped) for helped in told["helps"])


@pytest.mark.parametrize("columns", ["60", "80"])
def test_the_screen_keeps_to_its_width(
    columns: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No line is longer, the day that is advised is marked, and what would help is said."""
    monkeypatch.setenv("COLUMNS", columns)
    assert main(["compare", "--field", "Upper orchard strip", "--by", "turn-under", "--by", "roll"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= int(columns)
    (marked,) = [line for line in lines if line.lstrip().startswith(">")]
    assert "24 May" in marked
    assert "  Rolling" in lines


def test_an_option_that_is_wrong_is_told_in_options(capsys: pytest.CaptureFixture[str]) -> None:
    """The message speaks of --end."""
    assert main(["compare", "--field", "Ford meadow", "--end", "2025-05-01"]) == 1
    assert "--end = 2025-05-01 is not ahead" in capsys.readouterr().err


def test_the_aim_is_read_from_the_file(tmp_path: Path) -> None:
    """With its keys held to what they may be."""
    from covercrop.field.file import parse_fields

    def read(aim: str, cover: str = "") -> FieldFile:
        text = (
            '[[field]]\nname = "A"\nlatitude = 42\nlongitude = -76\n[field.cover]\nspecies = "hairy-vetch"\n'
            f'sown = 2025-09-08\n{cover}\n[field.crop]\nname = "pumpkin"\n[field.aim]\n{aim}\n'
        )
        return parse_fields(tmp_path / "f.toml", text.encode())

    (field,) = read('plant_by = 2026-06-20\nfavour = "cover"\ncan_come = ["sat", "sun"]', "ended = 2026-05-02").fields
    assert field.aim == AimEntry(plant_by=dt.date(2026, 6, 20), favour="cover", can_come=("saturday", "sunday"))
    assert field.cover.turned_under == dt.date(2026, 5, 2)
    for aim, cover, said in (
        ('favour = "both"', "", "aim: favour = 'both': use one of crop, cover"),
        ('can_come = "sat"', "", 'can_come = \'sat\': list weekdays, such as ["sat", "sun"]'),
        ("plant_by = 2025-08-01", "", "plant_by = 2025-08-01: is not after sowing on 2025-09-08"),
        ("plant_bye = 2026-06-20", "", "unknown key 'plant_bye'; did you mean 'plant_by'?"),
        ("", "ended = 2026-05-02\nturned_under = 2026-05-02", "ended is given too; keep one of them"),
    ):
        with pytest.raises(FieldFileError) as caught:
            read(aim, cover)
        assert said in str(caught.value)


def test_an_aim_of_the_command_line_is_that_of_the_file(capsys: pytest.CaptureFixture[str]) -> None:
    """In place of the field's own; a weekday that is none is said in a line."""
    from covercrop.cli import shared
    from covercrop.field.entries import FAVOURS

    assert shared.FAVOURS == FAVOURS
    assert main(["ready", "--json", "--field", "Ford meadow", "--can-come", "wed"]) == 0
    (field,) = json.loads(capsys.readouterr().out)["fields"]
    assert weekdays([np.datetime64(field["turn_under"]["date"])])[0] == 2
    assert main(["compare", "--field", "Ford meadow", "--plant-by", "2026-05-25", "--json"]) == 0
    (bound,) = json.loads(capsys.readouterr().out)["fields"]
    assert bound["choice"]["date"] < field["turn_under"]["date"]
    assert main(["ready", "--can-come", "sonday"]) == 1
    assert "can_come = 'sonday' is no weekday" in capsys.readouterr().err
