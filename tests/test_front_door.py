"""The front door: everything public from covercrop itself, loaded when asked for, each command and its twin."""

from __future__ import annotations

import ast
import contextlib
import dataclasses
import datetime as dt
import inspect
import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import invented
import numpy as np
import pandas as pd
import pytest
from sources import TREES

import covercrop
from covercrop.base.errors import CovercropError, UnknownNameError, UsageError, WeatherFileError
from covercrop.cli import main, report, shared
from covercrop.field.entries import WeatherEntry
from covercrop.parameters.own_bloom import read_calibration
from covercrop.region.survey import Work
from covercrop.render.page.report import SECTIONS
from covercrop.season import many
from covercrop.season.columns import COLUMNS
from covercrop.season.plan import make_plan

REPOSITORY = Path(__file__).resolve().parent.parent
PAGE = REPOSITORY / "covercrop" / "guide" / "library.md"
ON = "2026-04-20"
RECORD = invented.weather("2012-01-01")
PARSERS = main._parser()._subparsers._group_actions[0].choices

#: Each command, and what does the same in Python.
TWINS = {
    "add": ("add_field",),
    "ready": ("plan_field", "plan_fields", "what_changed"),
    "scout": (
        "add_scouting_note",
        "edit_scouting_note",
        "undo_scouting_note",
        "add_scouting_notes",
        "undo_scouting_notes",
    ),
    "compare": ("compare_endings",),
    "sow": ("compare_sowing_dates",),
    "beds": ("lay_out_beds",),
    "calendar": ("upcoming_dates", "write_icalendar"),
    "report": ("report_html", "past_springs"),
    "region": ("survey_region",),
    "weather": ("field_weather", "read_weather", "daily_weather"),
    "hindcast": ("hindcast_field", "replay_advice"),
    "calibrate": ("calibrate_bloom",),
    "degree-days": ("growing_degree_days",),
    "covers": ("covers", "cover", "companions", "companion"),
    "crops": ("crops", "crop"),
    "guide": ("guide_pages", "guide_page"),
}
RECORDS = ("CoverEntry", "CovercropError", "CropEntry", "Field", "Plan", "ScoutingNote")
#: What no command shows alone.
ALONE = ("crown_temperature", "day_length", "read_fields", "snow_depth", "soil_temperature")


# --- what is there, and when it is loaded ---------------------------------------------------------


def test_what_is_public() -> None:
    """The list is the records, the twins of the commands and what stands alone; all of it is there, and is offered."""
    assert sorted(covercrop.__all__) == sorted(
        {*RECORDS, *ALONE, *(twin for twins in TWINS.values() for twin in twins)}
    )
    assert set(covercrop.__all__) == set(covercrop._HOME)
    assert set(covercrop.__all__) <= set(dir(covercrop))
    for name in covercrop.__all__:
        found = getattr(covercrop, name)
        assert found.__name__ == name
        assert found.__module__ == f"covercrop.{covercrop._HOME[name]}"
    with pytest.raises(AttributeError, match="module 'covercrop' has no attribute 'plan_feilds'"):
        covercrop.plan_feilds  # noqa: B018


def test_readers_of_types_see_the_same() -> None:
    """The imports under TYPE_CHECKING are those that are made when a name is asked for."""
    tree = TREES[Path(covercrop.__file__)]
    (block,) = (node for node in tree.body if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING")
    seen = {
        alias.name: f"{node.module}" for node in block.body if isinstance(node, ast.ImportFrom) for alias in node.names
    }
    assert seen == {name: f"covercrop.{home}" for name, home in covercrop._HOME.items()}


@pytest.mark.parametrize(
    "what",
    [
        "import covercrop; dir(covercrop)",
        "from covercrop.cli.main import main\ntry: main(['--help'])\nexcept SystemExit: pass",
    ],
    ids=["import", "help"],
)
def test_nothing_slow_is_loaded(what: str) -> None:
    """Neither the import nor the help of the program brings numpy, pandas, scipy or rich."""
    code = f"{what}\nimport sys\nsys.stderr.write(' '.join({{name.partition('.')[0] for name in sys.modules}}))"
    done = subprocess.run([sys.executable, "-c", code], cwd=REPOSITORY, capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    assert "covercrop" in loaded
    assert not loaded & {"numpy", "pandas", "scipy", "rich", "meteostat", "matplotlib", "xarray"}


# --- a command and its twin -----------------------------------------------------------------------


def test_every_command_has_a_twin() -> None:
    """The list above is that of the program."""
    assert set(TWINS) == set(PARSERS)


@pytest.mark.parametrize("command", TWINS)
def test_the_help_names_the_twin_and_the_twin_the_command(command: str) -> None:
    """Each way round, and nothing else is named."""
    told = " ".join(PARSERS[command].format_help().split())
    assert set(re.findall(r"covercrop\.(\w+)", told)) == set(TWINS[command])
    for twin in TWINS[command]:
        assert re.search(rf"``covercrop {command}[ `]", inspect.getdoc(getattr(covercrop, twin)) or "")


@pytest.mark.parametrize("name", sorted({*ALONE, *(twin for twins in TWINS.values() for twin in twins)}))
def test_each_docstring_says_what_goes_in_and_out(name: str) -> None:
    """Every argument is described, with its unit where it has one, and so are the answer and what is raised."""
    function = inspect.unwrap(getattr(covercrop, name))
    doc = inspect.getdoc(function) or ""
    head, _, raises = doc.partition("Raises\n------")
    assert "Returns\n-------" in head
    assert raises or name in ("companions", "covers", "crops", "guide_pages", "lay_out_beds", "upcoming_dates")
    described = head.partition("Parameters\n----------")[2].partition("Returns\n-------")[0]
    for argument in set(inspect.signature(function).parameters) - {"name"}:
        assert re.search(rf"^(\w+, )*{argument}(, \w+)*( :|$)", described, flags=re.MULTILINE), argument


def test_the_help_repeats_what_the_library_has() -> None:
    """The choices of --with, repeated so that the help needs no numpy."""
    assert report.WITH == SECTIONS


def test_messages_speak_of_options_at_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    """What the library says of arguments, a command says of its options."""
    with pytest.raises(CovercropError, match="`start` 2026-10-01 is after `end` 2026-09-01"):
        covercrop.compare_sowing_dates(invented.field(), RECORD, ON, start="2026-10-01", end="2026-09-01")
    with pytest.raises(CovercropError, match="ask about a later day with `on`"):
        covercrop.plan_field(invented.field(), RECORD, on="2025-09-01", today=ON)
    assert main.main(["ready", "--on", "2025-09-01"]) == 1
    assert capsys.readouterr().err.count("ask about a later day with --on\n") == 3
    assert main.main(["sow", "--from", "2025-09-01", "--to", "2025-10-01"]) == 1
    assert "--to 2025-10-01 is before 2026-04-20, today" in capsys.readouterr().err
    assert main.main(["degree-days", str(covercrop.read_fields().fields[0].weather.file), "--lower", "inf"]) == 1
    assert "--lower inf: give a temperature" in capsys.readouterr().err
    assert shared.in_options("`on` and `plant_by`, not `else`") == "--on and --plant-by, not `else`"


def test_the_library_speaks_of_no_options() -> None:
    """Outside the command line no message names an option; the two modules that may write for commands alone."""
    found = {}
    for path in sorted((REPOSITORY / "covercrop").rglob("*.py")):
        room = path.relative_to(REPOSITORY / "covercrop").parts[0]
        tree = TREES[path]
        docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        texts = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and id(node) not in docs]
        options = [text for text in texts if isinstance(text, str) and re.search(r"(^| )(--[a-z]|-o\b)", text)]
        if options and room not in ("cli", "render"):
            found[path.stem] = options
    # A place to write to is checked for commands alone; a US unit in the field file is that of scout's option.
    # A file that is named in a field file is written by a command; what made a region is told as its command.
    assert set(found) <= {"output", "ranges", "own_bloom", "survey"}
    assert all("covercrop calibrate" in text for text in found["own_bloom"])


# --- many fields ----------------------------------------------------------------------------------


def table(count: int = 5) -> pd.DataFrame:
    """Rows of fields, in an order and with labels of their own."""
    rows = pd.DataFrame(
        {"latitude": 37.0, "longitude": -84.9, "species": "Crimson clover", "crop": "pumpkin"}, range(count)
    )
    rows["sown"] = pd.Timestamp("2025-09-10") + pd.to_timedelta(np.arange(count), "D")
    return rows.set_axis([f"plot {count - row}" for row in range(count)])


def test_one_bad_field_is_named_and_the_others_are_planned() -> None:
    """Each kind of trouble keeps to its field, which is named with its place; the index comes back whole."""
    rows = table(6)
    rows["cultivar"] = ["", None, "Dixey", np.nan, "", ""]
    rows["crop"] = ["pumpkin", "pumkin", "pumpkin", "pumpkin", "pumpkin", "pumpkin"]
    rows.loc["plot 2", "latitude"] = 370.0
    rows["turned_under"] = [None, None, None, None, None, "2026-04-12"]
    rows.loc["plot 3", "sown"] = pd.Timestamp("2026-09-10")
    plans = covercrop.plan_fields(rows, RECORD, on=ON, today=ON, details=False)
    assert [plan.field.name for plan in plans] == ["plot 6", "plot 1"]
    assert plans.places == (0, 5)
    assert [(problem.place, problem.name) for problem in plans.problems] == [
        (1, "plot 5"), (2, "plot 4"), (3, "plot 3"), (4, "plot 2")
    ]  # fmt: skip
    for problem, said in zip(
        plans.problems,
        ("did you mean pumpkin?", "unknown", "sown = 2026-09-10 is after", "latitude = 370"),
        strict=True,
    ):
        assert said in problem.message
        assert "\n" not in problem.message
    frame = plans.to_frame()
    assert list(frame.index) == list(rows.index)
    assert (frame["problem"] != "").tolist() == [False, True, True, True, True, False]
    assert frame.loc["plot 1", "state"] == "turned-under"
    assert frame.loc["plot 2", ["state", "end_cover", "bbch"]].isna().all()
    assert rows.join(frame).shape[1] == rows.shape[1] + frame.shape[1]


def test_what_more_is_worked_out_keeps_its_trouble_to_its_field() -> None:
    """Those without a plan and those that the work fails on, in the order of the fields; names from their column."""
    rows = table(4).assign(name=["A", "", "C", "D"], area_m2=[100.0, np.nan, 100.0, 100.0])
    rows.loc["plot 1", "latitude"] = 370.0
    plans = covercrop.plan_fields(rows, RECORD, on=ON)
    areas, problems = plans.each(
        lambda plan, weather: covercrop.lay_out_beds(plan).layout if weather is RECORD else None
    )
    assert len(areas) == 2
    assert [(problem.place, problem.name) for problem in problems] == [(1, "plot 3"), (3, "D")]
    assert [plan.field.name for plan in plans] == ["A", "plot 3", "C"]


def test_a_field_that_fails_while_it_is_worked_out_stops_itself_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """What goes wrong in the midst of many is found by asking each alone."""
    work = many.make_plans

    def failing(asked: list[Any], **kept: Any) -> list[Any]:
        if any(field.name == "plot 4" for field, _, _ in asked):
            raise UsageError("nothing is known of it; leave it out")
        return work(asked, **kept)

    monkeypatch.setattr(many, "make_plans", failing)
    plans = covercrop.plan_fields(table(), RECORD, on=ON, details=False)
    assert [str(problem) for problem in plans.problems] == ["field 1, plot 4: nothing is known of it; leave it out"]
    assert plans.places == (0, 2, 3, 4)
    assert len(plans.weather) == len(plans) == 4


def test_many_give_what_one_gives() -> None:
    """A table, records and one field alone: the same plans; the columns are those of the plan."""
    rows = table(3).assign(method="transplant", ground_cover="straw", days_to_maturity=90, elevation_m=np.nan)
    plans = covercrop.plan_fields(rows, RECORD, on=ON)
    alone = [covercrop.plan_field(plan.field, RECORD, on=ON) for plan in plans]
    pd.testing.assert_frame_equal(plans.to_frame(), covercrop.plan_fields(
        [plan.field for plan in alone], {plan.field.name: RECORD for plan in alone}, on=dt.date(2026, 4, 20)
    ).to_frame().rename_axis(None))  # fmt: skip
    frame, plan = plans.to_frame(), alone[1]
    assert list(frame.columns) == [*(column for column, _, _ in COLUMNS), "problem"]
    assert plan.field.crop == covercrop.CropEntry(
        name="pumpkin", method="transplant", ground_cover="straw", days_to_maturity=90
    )
    assert plan.window.best is not None
    row = frame.loc[plan.field.name]
    assert row["end_cover"] == pd.Timestamp(plan.window.best.date)
    assert row["safe_planting"] == pd.Timestamp(plan.planting.safe)
    assert row["n_kg_ha"] == plan.nitrogen.amounts["n_kg_ha"].median
    assert plans[1].dates == plan.dates
    again = make_plan(plan.field, RECORD, np.datetime64(ON))
    assert again.dates == plan.dates


def test_fields_of_one_weather_and_one_sowing_share_their_season() -> None:
    """A thousand fields beside one station need not hold it a thousand times; one that was sown later has its own."""
    rows = table(3).assign(sown=["2025-09-10", "2025-09-10", "2025-09-11"])
    first, second, later = covercrop.plan_fields(rows, RECORD, on=ON, details=False)
    assert first.outlook is second.outlook
    assert later.outlook.days[0] == first.outlook.days[0] + invented.days(1)


def test_a_table_that_is_none_is_refused_at_once() -> None:
    """An unknown column with the nearest known one, a missing one, one twice; what holds no fields."""
    for rows, message in (
        (table().rename(columns={"sown": "sowed"}), "`fields`: unknown column 'sowed'; did you mean 'sown'?"),
        (table().drop(columns="crop"), "`fields`: no column 'crop'; a row needs latitude, longitude"),
        (table().assign(zzz=1), "`fields`: unknown column 'zzz'; known columns: name, latitude"),
        (table().rename(columns={"longitude": "latitude"}), "`fields`: two columns are named 'latitude'; keep one"),
        (["Mill"], "`fields`: str at place 0; give Field records or a DataFrame"),
    ):
        with pytest.raises(UsageError, match=re.escape(message)):
            covercrop.plan_fields(rows, RECORD, on=ON)  # type: ignore[arg-type]
    holed = table(2).astype({"longitude": object})
    holed.loc["plot 2", "longitude"] = "west"
    holed.loc["plot 1", "species"] = None
    told = [problem.message for problem in covercrop.plan_fields(holed, RECORD, on=ON).problems]
    assert told == ["longitude = 'west' is no number; mend the cell", "species is empty; fill it in"]


def test_weather_by_station_or_by_field() -> None:
    """The station's record goes before the field's; one that is missing is a problem of its field."""
    warm = invented.weather("2012-01-01", mean=15.0)
    rows = table(3)
    rows["station"] = ["A", "", "B"]
    plans = covercrop.plan_fields(rows, {"A": warm, "plot 3": RECORD, "plot 2": RECORD}, on=ON, details=False)
    assert plans.weather == (warm, RECORD)
    assert [str(problem) for problem in plans.problems] == [
        "field 2, plot 1: no weather for station B; `weather` holds A, plot 3, plot 2"
    ]
    with pytest.raises(UsageError, match="`weather` is a DataFrame; give what daily_weather, read_weather or"):
        covercrop.plan_field(invented.field(), RECORD.table, on=ON)  # type: ignore[arg-type]


def test_the_day_is_that_of_the_file_or_the_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """A field file may fix today; else it is the machine's, and nothing may have happened after it."""
    assert covercrop.plan_fields(covercrop.read_fields(), details=False).on == np.datetime64(ON)

    class Clock(dt.date):
        @classmethod
        def today(cls) -> dt.date:
            return dt.date(2026, 4, 18)

    monkeypatch.setattr(many.dt, "date", Clock)
    assert covercrop.plan_field(invented.field(), RECORD).on == np.datetime64("2026-04-18")
    with pytest.raises(
        CovercropError, match="turned_under = 2026-04-19 is after 2026-04-18, today; enter it once it is done"
    ):
        covercrop.plan_field(invented.field(turned_under="2026-04-19"), RECORD)


@pytest.mark.parametrize(
    "day", ["yesterday", "2026", 5, None, np.datetime64("NaT"), pd.NaT, "2026-04-20T10:00", "1750-01-01"]
)
def test_a_day_that_is_none(day: Any) -> None:
    """Said of the argument; None alone is today."""
    if day is None:
        assert covercrop.plan_field(invented.field(), RECORD, on=day, today=ON).on == np.datetime64(ON)
        return
    with pytest.raises(UsageError, match=r"^`on` = .*; give (a|the) da"):
        covercrop.plan_field(invented.field(), RECORD, on=day, today=ON)


# --- records check themselves ---------------------------------------------------------------------

DAY = dt.date(2026, 4, 18)
COVER = {"species": "hairy-vetch", "sown": dt.date(2025, 9, 12)}
FIELD = {
    "name": "Mill", "latitude": 37.0, "longitude": -84.0,
    "cover": covercrop.CoverEntry(**COVER), "crop": covercrop.CropEntry(name="pumpkin"),
}  # fmt: skip


@pytest.mark.parametrize(
    ("record", "right", "wrong", "message"),
    [
        ("Field", FIELD, {"latitude": 95}, "latitude = 95: give degrees north of the equator, -90 to 90"),
        ("Field", FIELD, {"latitude": None}, "latitude = None: give degrees north"),
        ("Field", FIELD, {"longitude": "west"}, "longitude = 'west': give degrees east"),
        ("Field", FIELD, {"latitude": float("nan")}, "latitude = nan: give degrees north"),
        ("Field", FIELD, {"elevation_m": 25_000}, "elevation_m = 25000: give metres above the sea"),
        ("Field", FIELD, {"area_m2": 0}, "area_m2 = 0: give the area in square metres"),
        ("Field", FIELD, {"name": " "}, "name = ' ': give the field a name"),
        ("Field", FIELD, {"cover": "hairy-vetch"}, "cover = 'hairy-vetch': give a CoverEntry"),
        ("Field", FIELD, {"crop": covercrop.CropEntry(name="pumpkin", planted=DAY)}, "planted = 2026-04-18: the cover"),
        ("Field", FIELD, {"scouting": ["buds"]}, "scouting = 'buds': give a ScoutingNote"),
        ("CoverEntry", COVER, {"sown": "yesterday"}, "sown = 'yesterday': give a datetime.date, such as"),
        ("CoverEntry", COVER, {"sown": pd.Timestamp("2025-09-12")}, "give a datetime.date, such as"),
        ("CoverEntry", COVER, {"sown": None}, "sown = None: give the day on which the cover was sown"),
        ("CoverEntry", COVER, {"species": "hairy-vech"}, "unknown cover 'hairy-vech'; did you mean hairy-vetch"),
        ("CoverEntry", COVER, {"cultivar": "none such"}, "'none such'"),
        ("CoverEntry", COVER, {"terminate": "burn"}, "terminate = 'burn': use one of turn-under, roll, mow, tarp"),
        ("CoverEntry", COVER, {"turned_under": dt.date(2025, 9, 1)}, "turned_under = 2025-09-01: is not after sowing"),
        ("CropEntry", {"name": "pumpkin"}, {"method": "x"}, "method = 'x': use one of direct-seed, transplant"),
        ("CropEntry", {"name": "pumpkin"}, {"ground_cover": "hay"}, "ground_cover = 'hay': use one of bare, straw"),
        ("CropEntry", {"name": "pumpkin"}, {"days_to_maturity": 5}, "days_to_maturity = 5: give the days on the seed"),
        ("CropEntry", {"name": "pumpkin"}, {"name": "pumkin"}, "unknown crop 'pumkin'; did you mean pumpkin"),
        ("ScoutingNote", {"date": DAY, "bbch": 51}, {"bbch": 120}, "bbch = 120: give a BBCH stage, 0 to 99"),
        ("ScoutingNote", {"date": DAY, "bbch": 51}, {"bloom_percent": 10}, "bloom_percent is given too; keep one"),
        ("ScoutingNote", {"date": DAY, "bbch": 51}, {"bbch": None}, "give bloom_percent or bbch, or what was measured"),
        ("ScoutingNote", {"date": DAY, "bbch": 51}, {"date": "today"}, "date = 'today': give a datetime.date"),
        ("ScoutingNote", {"date": DAY, "bloom_percent": 5}, {"bloom_percent": 140}, "bloom_percent = 140: give"),
        ("ScoutingNote", {"date": DAY, "bloom_percent": 5}, {"soil_c": 64}, "soil_c = 64: give the soil temperature"),
    ],
)  # fmt: skip
def test_a_record_checks_itself(record: str, right: dict[str, Any], wrong: dict[str, Any], message: str) -> None:
    """One plain line names the argument, the value and the way out; with the right value there is none."""
    kind: Callable[..., Any] = getattr(covercrop, record)
    made = kind(**right)
    assert dataclasses.replace(made) == made
    with pytest.raises(CovercropError) as caught:
        kind(**right | wrong)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_names_are_kept_as_the_parameter_files_have_them() -> None:
    """However they are spelled, so that what goes by the name finds it; notes are kept in order of time."""
    assert covercrop.CoverEntry(species="Hairy vetch", sown=DAY).species == "hairy-vetch"
    assert covercrop.CropEntry(name="Sweet corn").name == "sweet-corn"
    later, earlier = (covercrop.ScoutingNote(date=DAY + dt.timedelta(days), bbch=55) for days in (2, 1))
    assert covercrop.Field(**FIELD, scouting=[later, earlier]).scouting == (earlier, later)
    with pytest.raises(UsageError, match="date = 2025-09-12: is not after sowing on 2025-09-12"):
        covercrop.Field(**FIELD, scouting=[covercrop.ScoutingNote(date=dt.date(2025, 9, 12), bbch=9)])
    with pytest.raises(UsageError, match=r"file = 'w.csv': give a Path"):
        WeatherEntry(file="w.csv")  # type: ignore[arg-type]


# --- the other twins ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo() -> many.Plans:
    """The plans of the demonstration."""
    return covercrop.plan_fields(covercrop.read_fields())


def test_a_field_brings_its_own_weather(demo: many.Plans) -> None:
    """Where no record is given it is that which the field names, as if it were given."""
    field = demo[0].field
    own = covercrop.field_weather(field, today=ON)
    assert own.table.equals(demo.weather[0].table)
    asked = {"covers": ["winter-pea"], "start": "2026-09-10", "end": "2026-09-12"}
    given = covercrop.compare_sowing_dates(field, own, ON, **asked)
    fetched = covercrop.compare_sowing_dates(field, on=ON, **asked)
    np.testing.assert_array_equal(given.choices[0].together, fetched.choices[0].together)
    past = [covercrop.hindcast_field(field, *record, issues=[(4, 1)], today=ON) for record in ((), (own,))]
    assert past[0].overall == past[1].overall


def test_upcoming_dates_know_the_next_sowing_by_the_weather(demo: many.Plans) -> None:
    """With the weather the dates of the next cover are compared; without it the rule of the trade stands for them."""
    known, rule = (
        [each.event for each in covercrop.upcoming_dates(demo[0], *record) if each.event.kind == "next-sowing"]
        for record in ((demo.weather[0],), ())
    )
    assert known[0].best is not None
    assert rule[0].best is None


def test_a_calendar_keeps_the_dates_of_a_field_in_trouble(demo: many.Plans, tmp_path: Path) -> None:
    """What could not be worked out this time is not withdrawn; what is no calendar of ours stays."""
    dates = [date for plan in demo for date in covercrop.upcoming_dates(plan)]
    first = covercrop.write_icalendar(tmp_path / "dates.ics", dates, demo)
    assert first.new == len(dates)
    without = dataclasses.replace(demo, plans=demo.plans[1:], places=demo.places[1:], weather=demo.weather[1:])
    left = [date for plan in without for date in covercrop.upcoming_dates(plan)]
    again = covercrop.write_icalendar(tmp_path / "dates.ics", left, without)
    assert (again.new, again.changed, again.same, again.withdrawn) == (0, 0, len(left), 0)
    (tmp_path / "mine.ics").write_text("BEGIN:VCALENDAR\nEND:VCALENDAR\n")
    with pytest.raises(UsageError, match="that another program wrote; give another name with `out`"):
        covercrop.write_icalendar(tmp_path / "mine.ics", dates, demo)
    with pytest.raises(UsageError, match=r"none\.ics: not written, since no date can be named after 2026-04-20"):
        covercrop.write_icalendar(tmp_path / "none.ics", [], demo)


def test_a_page_of_nothing_is_refused() -> None:
    """No plan, with the first trouble; a section that there is none of."""
    none = covercrop.plan_fields(table(1).assign(crop="pumkin"), RECORD, on=ON)
    with pytest.raises(UsageError, match="`plans` holds no plan to show; the first: field 0, plot 1: unknown crop"):
        covercrop.report_html(none)
    with pytest.raises(UnknownNameError, match="did you mean materials"):
        covercrop.report_html(none, sections=["material"])


def test_a_page_tells_troubles_in_the_words_of_who_asked(tmp_path: Path) -> None:
    """A page from the library names arguments, one from the command line options."""
    plans = covercrop.plan_fields(covercrop.read_fields(), on="2025-09-12")
    assert 0 < len(plans) < 3
    page = covercrop.report_html(plans)
    assert "with `on`" in page
    assert main.main(["report", "--on", "2025-09-12", "-o", str(tmp_path / "page.html")]) == 1
    written = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "with --on" in written
    assert "`on`" not in written


def test_own_numbers_are_kept_where_they_are_asked_to_be(tmp_path: Path) -> None:
    """The file that a field names as its calibration; nothing may have been seen after today."""
    records = covercrop.read_fields().path.with_name("records.csv")
    fitted = covercrop.calibrate_bloom(records, tmp_path / "mine.toml", today=ON)
    assert read_calibration(tmp_path / "mine.toml").requirement.value == pytest.approx(
        fitted.calibration.requirement.value, abs=0.5
    )
    with pytest.raises(CovercropError, match="is after 2018-01-01"):
        covercrop.calibrate_bloom(records, today="2018-01-01")


def test_a_note_is_checked_before_it_is_written(tmp_path: Path) -> None:
    """One that does not fit is refused and names the way out; the demonstration is not written to."""
    demo = covercrop.read_fields().path
    for name in ("fields.toml", "weather.csv"):
        (tmp_path / name).write_bytes(demo.with_name(name).read_bytes())
    path, before = tmp_path / "fields.toml", demo.read_bytes()
    early = covercrop.ScoutingNote(date=dt.date(2026, 4, 20), bloom_percent=90)
    with pytest.raises(CovercropError, match=r"nothing is noted, since .*add `anyway` to note it all the same"):
        covercrop.add_scouting_note(path, "Chapel bench", early)
    assert path.read_bytes() == before
    noted = covercrop.add_scouting_note(path, "Chapel bench", early, anyway=True)
    assert noted.note == early
    assert noted.doubts
    with pytest.raises(CovercropError, match="is the demonstration, which is not written to"):
        covercrop.add_scouting_note(demo, "Chapel bench", early)
    with pytest.raises(UsageError, match="`note` is a str; give a ScoutingNote, or a mapping"):
        covercrop.add_scouting_note(path, "Chapel bench", "90 %")  # type: ignore[arg-type]


def test_a_region_that_cannot_be_asked(tmp_path: Path) -> None:
    """What is asked is checked before the input is opened, and told as an argument."""
    asked = {"cover": "crimson-clover", "sown": "09-15", "crop": "pumpkin"}
    for wrong, message in (
        ({"days_to_maturity": 5}, "`days_to_maturity` 5: give the days on the seed packet, 20 to 250"),
        ({"work": Work(workers=0)}, "`workers` 0: give at least one"),
        ({"crop": "pumkin"}, "did you mean pumpkin"),
    ):
        with pytest.raises(CovercropError, match=message):
            covercrop.survey_region(tmp_path / "none.nc", tmp_path / "out.nc", **asked | wrong)


# --- readings -------------------------------------------------------------------------------------


def test_readings_that_would_have_been_dropped_are_refused() -> None:
    """A column that is not known with the nearest that is, one missing, one twice, an index that holds no days."""
    frame = RECORD.table.loc["2026-01-01":, ["tmin_c", "tmax_c", "prcp_mm"]]
    assert covercrop.daily_weather(frame.astype("Float64")).table["tmin_c"].equals(frame["tmin_c"])
    for readings, message in (
        (frame.rename(columns={"prcp_mm": "prcp"}), "unknown column 'prcp' in `frame`; did you mean 'prcp_mm'?"),
        (
            frame.assign(wind=1.0),
            "unknown column 'wind' in `frame`; known columns: tmin_c, tmax_c, prcp_mm, snow_depth_mm, forecast",
        ),
        (frame.drop(columns="tmax_c"), r"no column 'tmax_c' in `frame` \(found: tmin_c, prcp_mm\)"),
        (frame.set_axis(["tmin_c", "tmax_c", "tmin_c"], axis=1), "two columns of `frame` are named 'tmin_c'; keep one"),
        (frame.reset_index(drop=True), "the index of `frame` holds .*0.*, which is no day; index it by dates"),
        (frame.tz_localize("UTC"), "the index of `frame` has the time zone UTC; take it off with tz_localize"),
        (frame.astype({"tmin_c": str}), "column 'tmin_c' of `frame` holds what is no number; convert it"),
    ):  # fmt: skip
        with pytest.raises(WeatherFileError, match=f"^shed: {message}"):
            covercrop.daily_weather(readings, where="shed")


# --- the page of the guide ------------------------------------------------------------------------

BLOCK = re.compile(r"```python\n(.*?)```\n(?:\n```text\n(.*?)```\n)?", flags=re.DOTALL)


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What each example of the page prints, run one after the other in a folder of their own."""
    printed: dict[str, str] = {}
    known: dict[str, Any] = {}
    with contextlib.chdir(tmp_path_factory.mktemp("page")):
        for code, _ in BLOCK.findall(PAGE.read_text(encoding="utf-8")):
            with contextlib.redirect_stdout(io.StringIO()) as told:
                exec(compile(code, PAGE.name, "exec"), known)
            printed[code] = told.getvalue()
    return printed


def test_the_page_shows_what_its_examples_print(ran: dict[str, str], request: pytest.FixtureRequest) -> None:
    """Letter for letter."""
    text = PAGE.read_text(encoding="utf-8")
    if request.config.getoption("--update-golden"):
        text = BLOCK.sub(
            lambda found: f"```python\n{found[1]}```\n" + (f"\n```text\n{ran[found[1]]}```\n" if ran[found[1]] else ""),
            text,
        )
        PAGE.write_text(text, encoding="utf-8")
    shown = dict(BLOCK.findall(text))
    assert shown == ran


def test_the_page_has_an_example_of_each() -> None:
    """Every public name but the plan's own stands in an example."""
    code = "\n".join(code for code, _ in BLOCK.findall(PAGE.read_text(encoding="utf-8")))
    used = set(re.findall(r"(?<!from )covercrop\.(\w+)", code))
    assert used == set(covercrop.__all__) - {"Plan"}


def test_a_thousand_fields_in_ten_lines(ran: dict[str, str]) -> None:
    """The first example does it in ten lines, and the one bad field of the thousand is named."""
    first, second, *_ = ran
    assert len(first.splitlines()) - first.count("\n\n") <= 10
    assert "np.arange(1000)" in first
    assert ran[second].startswith("999 planned\nfield 7, 7: latitude = 370.0: give degrees north")


def test_json_of_a_problem_speaks_of_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The problems in JSON are those of the command line."""
    text = covercrop.read_fields().path.read_text(encoding="utf-8").replace('file = "weather.csv"', 'file = "w.csv"', 1)
    for name in ("fields.toml", "weather.csv"):
        (tmp_path / name).write_bytes(covercrop.read_fields().path.with_name(name).read_bytes())
    (tmp_path / "fields.toml").write_text(text, encoding="utf-8")
    assert main.main(["ready", str(tmp_path / "fields.toml"), "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert [problem["name"] for problem in document["problems"]] == ["Ford meadow"]
    assert len(document["fields"]) == 2
