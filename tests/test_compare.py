"""Endings side by side: what each day and way gives, the one that is advised, and what would help."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import invented
import numpy as np
import pytest
from numpy.typing import NDArray

from covercrop.base.errors import FieldFileError, UnknownNameError, UsageError
from covercrop.cli import compare as command
from covercrop.cli.main import main
from covercrop.field.entries import AimEntry, Field, FieldFile, check_past
from covercrop.models import termination
from covercrop.season.comparison import Endings, compare_endings
from covercrop.season.plan import make_plan

ON = np.datetime64("2026-04-20")
#: Cool enough that a long pumpkin is in doubt.
COOL = invented.weather(mean=9.5, swing=13.0)
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


# --- what would help ------------------------------------------------------------------------------


def test_what_would_help_is_what_the_plan_of_the_changed_field_says(cool: Endings) -> None:
    """Each is worked out in full, and the one that gains most comes first."""
    assert cool.plan.window.best is not None
    gains = [helped.gain for helped in cool.helps]
    assert gains == sorted(gains, reverse=True)
    assert min(gains) >= 0.05
    helped = next(each for each in cool.helps if each.change == "transplants")
    field = late()
    other = make_plan(replace(field, crop=replace(field.crop, method="transplant")), COOL, ON).window.best
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
    best = make_plan(field, COOL, ON).window.best
    assert best is not None
    assert weekdays([best.date])[0] in (5, 6)


def test_a_wanted_planting_day_ends_it_sooner() -> None:
    """It is in time only if the crop is in the ground by then."""
    free, bound = (make_plan(late(aim=aim), COOL, ON).window.best for aim in (AimEntry(), by("2026-06-12")))
    assert free is not None
    assert bound is not None
    assert bound.date < free.date
    assert bound.in_time <= free.in_time


def by(day: str) -> AimEntry:
    return AimEntry(plant_by=dt.date.fromisoformat(day))


def test_a_cover_that_comes_first_is_ended_in_bloom() -> None:
    """The grower may want the bloom more than the crop, and is told the price."""
    best = make_plan(late(aim=AimEntry(favour="cover")), COOL, ON).window.best
    crop = make_plan(late(), COOL, ON).window.best
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
