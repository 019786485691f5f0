"""Many fields in one file: the table, what is due, one field in full, and weather read once."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import invented
import numpy as np
import pandas as pd
import pytest

from covercrop.base.errors import UsageError, WeatherGapError
from covercrop.base.records import DailyWeather, DateRange
from covercrop.cli.main import main
from covercrop.dates.needs import by_need, is_due
from covercrop.field import weather_source
from covercrop.field.entries import Field, FieldFile, Ground, ScoutingNote, WeatherEntry, as_of
from covercrop.season import many
from covercrop.season.columns import COLUMNS
from covercrop.season.ending import Recommended
from covercrop.season.many import Plans, Problem, days_asked, each_field, plan_field, plan_fields
from covercrop.season.plan import Plan, make_plan, make_plans, start_of
from covercrop.weather.sharing import SharedWeather

ON = np.datetime64("2026-04-20")
RECORD = invented.weather()


@pytest.fixture(scope="module")
def plan() -> Plan:
    """A plan to vary."""
    return make_plan(invented.field(), RECORD, ON)


def varied(plan: Plan, name: str, state: str, **changes: object) -> Plan:
    """The plan of a field of another name and state, with no visit to scout before it."""
    never = np.datetime64("NaT", "D")
    buds = changes.pop("bud", DateRange(early=never, median=never, late=never))
    planting = {key: changes.pop(key) for key in ("safe", "ripe") if key in changes}
    return replace(
        plan,
        field=replace(plan.field, name=name),
        state=state,
        stand=replace(plan.stand, dates=plan.stand.dates | {"bud": buds}),
        window=replace(plan.window, **changes),  # type: ignore[arg-type]
        planting=replace(plan.planting, **planting),  # type: ignore[arg-type]
    )


def ahead(days: int, length: int = 6) -> Recommended:
    """A best day so many days after the day asked about, its week around it."""
    start = ON + invented.days(days)
    chances = dict.fromkeys(("probability", "killed", "seed_free", "bloom", "in_time", "together", "some_day"), 0.9)
    return Recommended(
        date=start + invented.days(3), start=start, end=start + invented.days(length), why="window", **chances
    )


def until(days: int) -> dict[str, DateRange]:
    """A window that may close from so many days on."""
    early = ON + invented.days(days)
    return {"closes": DateRange(early=early, median=early + invented.days(5), late=early + invented.days(9))}


def test_what_needs_doing_first_comes_first(plan: Plan) -> None:
    """Seed about, closing, dead or alive, open, next week, later, no date: in this order, whatever the file's."""
    never = np.datetime64("NaT", "D")
    fields = [
        varied(plan, "no date", "growing", best=None),
        varied(plan, "in June", "turned-under", safe=ON + invented.days(50)),
        varied(plan, "later", "budding", best=ahead(12)),
        varied(plan, "open", "in-window", best=replace(ahead(0), date=ON), **until(9)),
        varied(plan, "seed", "seed-risk", best=None),
        varied(plan, "dead", "winter-killed", best=None),
        varied(plan, "soon", "budding", best=ahead(5)),
        varied(plan, "closing", "closing", best=replace(ahead(0), date=ON), **until(2)),
        varied(plan, "planted", "planted", ripe=DateRange(early=never, median=never, late=never)),
    ]
    names = [each.field.name for each in by_need(fields)]
    assert names == ["seed", "closing", "dead", "open", "soon", "later", "in June", "no date", "planted"]
    assert [each.field.name for each in by_need(fields) if is_due(each)] == names[:5]


@pytest.mark.parametrize(("days", "due"), [(0, True), (6, True), (7, False)])
def test_a_week_has_seven_days(plan: Plan, days: int, due: bool) -> None:
    """What begins six days from now is due, what begins in seven is not."""
    assert is_due(varied(plan, "field", "budding", best=ahead(days))) is due


@pytest.mark.parametrize(("days", "due"), [(8, True), (13, True), (14, False), (28, False)])
def test_a_visit_within_the_week_is_due(plan: Plan, days: int, due: bool) -> None:
    """A field is scouted a week before its window opens, and it says so ahead of the ending."""
    opens = ON + invented.days(days)
    dates = {
        "bud": DateRange(
            early=opens - invented.days(9), median=opens - invented.days(8), late=opens - invented.days(7)
        ),
        "opens": DateRange(early=opens - invented.days(3), median=opens, late=opens + invented.days(3)),
    }
    budding = varied(plan, "field", "budding", best=ahead(days + 5), **dates)
    assert is_due(budding) is due
    step = budding.next_step
    assert (step.action, step.start) == (
        ("scout", opens - invented.days(7)) if due else ("end", ON + invented.days(days + 5))
    )


def test_a_window_that_may_have_closed_ends_today_at_the_earliest(plan: Plan) -> None:
    """No task ends before it begins."""
    step = varied(plan, "field", "closing", best=replace(ahead(0), date=ON), **until(-4)).next_step
    assert step.start == step.end == ON


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight fields on two weather files: some for this week, some for later, one of them turned under."""
    folder = tmp_path_factory.mktemp("farm")
    for number in range(2):
        table = invented.weather("2012-01-01", "2026-04-20", mean=12.5 + 4.5 * number, seed=number).table
        table[["tmin_c", "tmax_c", "prcp_mm"]].round(1).to_csv(folder / f"w{number}.csv")
    text = "today = 2026-04-20\n"
    for number in range(8):
        done = "turned_under = 2026-04-10\n" if number == 3 else ""
        name = f"Field {number}, a long way up the Hollin road"
        text += (
            f'[[field]]\nname = "{name}"\nlatitude = {37 - 3 * (number % 2)}\nlongitude = -84\n'
            f'[field.cover]\nspecies = "crimson-clover"\nsown = 2025-09-{10 + number}\n{done}'
            f'[field.weather]\nfile = "w{number % 2}.csv"\n[field.crop]\nname = "pumpkin"\n'
        )
    (folder / "fields.toml").write_text(text)
    return folder / "fields.toml"


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_the_table(farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """A line a field, within 80 columns, those of this week under their heading; then the way to one field in full."""
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["ready", str(farm)]) == 0
    shown = capsys.readouterr().out
    table = shown[: shown.index("One field in full")]
    assert max(map(len, shown.splitlines())) <= 80
    assert table.count("Hollin road") + table.count("..") >= 8
    assert table.index("This week") < table.index("Later")
    assert "--field NAME" in shown
    assert "licensed advice" in shown
    assert "Sources" not in shown
    assert re.search(r"safe to plant +ripens\n", table)
    this_week = table[table.index("This week") : table.index("Later")]
    assert main(["ready", str(farm), "--due"]) == 0
    due = capsys.readouterr().out
    assert "Later" not in due
    number_of = re.compile(r"Field (\d)")
    assert number_of.findall(due) == number_of.findall(this_week)
    last = [line for line in due.splitlines() if line][-1]
    assert number_of.search(last)  # a list, and nothing after it


@pytest.mark.usefixtures("plans_once", "autumns_once")
@pytest.mark.parametrize(("on", "status"), [("2026-04-20", 3), ("2025-12-20", 0)])
def test_a_script_learns_whether_anything_is_due(farm: Path, on: str, status: int) -> None:
    """By the exit status, whatever is printed; without --due there is nothing that it would say."""
    for form in ([], ["--json"], ["--full"]):
        assert main(["ready", str(farm), "--due", "--exit-code", "--on", on, *form]) == status
    assert main(["ready", str(farm), "--due", "--on", on]) == 0
    with pytest.raises(SystemExit):
        main(["ready", str(farm), "--exit-code"])


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_names_are_kept_on_a_narrow_screen(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Below 80 columns other columns go before a letter of a name does."""
    named = farm.with_name("named.toml")
    named.write_text(farm.read_text().replace(", a long way up the Hollin road", " up the road"))
    shown = {}
    for width in (80, 66, 50):
        monkeypatch.setenv("COLUMNS", str(width))
        assert main(["ready", str(named)]) == 0
        shown[width] = capsys.readouterr().out
        assert max(map(len, shown[width].splitlines())) <= width
        assert all(f"Field {number} up the road" in shown[width] for number in range(8))
    assert "ripens" in shown[80]
    assert "safe to plant" in shown[66]
    assert "safe to plant" not in shown[50]


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_names_that_a_cut_would_make_one_are_kept(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a wide screen too columns go, where what is left of the names would not tell them apart."""
    monkeypatch.setenv("COLUMNS", "80")
    alike = farm.with_name("alike.toml")
    named = re.sub(r"Field (\d), a long way up the Hollin road", r"Up the Hollin road, field \1", farm.read_text())
    alike.write_text(named)
    assert main(["ready", str(alike)]) == 0
    shown = capsys.readouterr().out
    assert all(f"Up the Hollin road, field {number}" in shown for number in range(8))


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_sow_for_many_fields_is_a_table(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line a field with its cover and days, and no more than that; one field in full when it is asked for."""
    monkeypatch.setenv("COLUMNS", "100")
    assert main(["sow", str(farm), "--cover", "crimson-clover"]) == 0
    shown = capsys.readouterr().out
    assert "all three" in shown
    assert "Sources" not in shown
    assert len(shown.splitlines()) < 30
    assert re.findall(r"Field \d", shown) == sorted(re.findall(r"Field \d", shown), key=shown.index)
    assert {f"Field {number}" for number in range(8)} == set(re.findall(r"Field \d", shown))
    name = "Field 2, a long way up the Hollin road"
    assert main(["sow", str(farm), "--cover", "crimson-clover", "--field", name]) == 0
    assert "Sources" in capsys.readouterr().out


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_work_of_one_day_is_joined(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fields to be scouted on one day stand in one line; the dates of one field come with their odds."""
    monkeypatch.setenv("COLUMNS", "100")
    assert main(["calendar", str(farm)]) == 0
    shown = capsys.readouterr().out
    lines = " ".join(shown.split())
    assert re.search(r"scout, [^:]*: Field \d, a long way up the Hollin road, Field \d", lines)
    assert len(shown.splitlines()) < 100
    assert main(["calendar", str(farm), "--field", "Field 2, a long way up the Hollin road"]) == 0
    alone = capsys.readouterr().out
    assert "in eight years of ten" in alone
    assert "Field 3" not in alone
    assert main(["calendar", str(farm), "--field", "Field 2, a long way up the Hollin road", "-o", "x.ics"]) == 1
    assert "leave --field out" in capsys.readouterr().err


def test_a_hundred_fields_fit_on_two_screens(
    farm: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of sixty lines, with all that stands around the table."""
    monkeypatch.setenv("COLUMNS", "80")
    start, *fields = farm.read_text().split("[[field]]")
    many = [field.replace("Field ", f"Field {turn}.") for turn in range(13) for field in fields][:100]
    hundred = farm.with_name("hundred.toml")
    hundred.write_text("[[field]]".join([start, *many]))
    assert main(["ready", str(hundred)]) == 0
    assert len(capsys.readouterr().out.splitlines()) <= 120


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_a_week_without_a_visit(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line that says so, and no sources of nothing."""
    assert main(["ready", str(farm), "--due", "--on", "2025-12-20"]) == 0
    shown = capsys.readouterr().out
    assert "0 of 8 fields need something within the week." in shown
    assert "Sources" not in shown
    assert "assumptions" not in shown
    assert len(shown.splitlines()) == 2


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_the_table_says_what_the_full_answers_say(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same states and dates as in JSON, which does without the table."""
    assert main(["ready", str(farm), "--json"]) == 0
    fields = json.loads(capsys.readouterr().out)["fields"]
    assert len(fields) == 8
    assert main(["ready", str(farm), "--json", "--due"]) == 0
    due = json.loads(capsys.readouterr().out)["fields"]
    assert 0 < len(due) < 8
    assert main(["calendar", str(farm), "--json"]) == 0
    for field, dated in zip(fields, json.loads(capsys.readouterr().out)["fields"], strict=True):
        if field["state"] in ("growing", "budding"):
            visits = [event["from"] for event in dated["events"] if event["kind"] in ("scout", "turn-under")]
            assert (field in due) == any(np.datetime64(day) < ON + invented.days(7) for day in visits)


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_one_field_in_full(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By name, in any case; an unknown one gets near matches."""
    name = "field 2, A long way up the hollin road"
    assert main(["ready", str(farm), "--field", name]) == 0
    shown = capsys.readouterr().out
    assert "earliest safe planting" in shown
    assert "Field 3" not in shown
    assert main(["ready", str(farm), "--field", "Field 9, a long way up the Hollin road"]) == 1
    assert "unknown field" in capsys.readouterr().err


@pytest.mark.usefixtures("plans_once", "autumns_once")
def test_full_means_every_field_in_full(farm: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--full` keeps the long form."""
    assert main(["ready", str(farm), "--full"]) == 0
    assert capsys.readouterr().out.count("earliest safe planting") == 8


def test_details_move_no_date(plan: Plan) -> None:
    """Without what is only said beside the dates, a plan is the same, and it says what was left out."""
    short = make_plan(invented.field(), RECORD, ON, details=False)
    assert short.dates == plan.dates
    assert short.window.best == plan.window.best
    assert short.planting.binding == plan.planting.binding
    for part in ("ground", "nitrogen"):
        with pytest.raises(
            UsageError, match=rf"^{short.field.name}: the plan was made without its {part}; make it with"
        ):
            getattr(short, part)


def same(one: object, other: object, of: str) -> None:
    """Hold that two plans, or parts of them, are the same to the last digit, where no date equals no date."""
    if dataclasses.is_dataclass(one):
        for each in dataclasses.fields(one):
            same(getattr(one, each.name), getattr(other, each.name), f"{each.name} of {of}")
    elif isinstance(one, np.ndarray):
        np.testing.assert_array_equal(one, other, of)
    else:
        assert repr(one) == repr(other), of


@pytest.mark.parametrize("on", ["2026-01-20", "2026-04-20", "2026-05-20", "2026-07-20"])
def test_fields_planned_together_are_as_planned_alone(on: str) -> None:
    """Warm and cold places, short and stale records, notes, tarps, covers ended and crops planted: all the same."""
    records = [
        invented.weather("2013-01-01", "2026-07-20", mean=11.0, seed=1),
        invented.weather("2013-01-01", "2026-07-20", mean=14.0, seed=2),
        invented.weather("2013-01-01", "2026-07-20", mean=4.0, swing=16.0, seed=3),
        invented.weather("2024-09-01", "2026-07-20", seed=4),
        invented.weather("2013-01-01", "2026-01-10", seed=5),
    ]
    changes: list[dict[str, str]] = [
        {},
        {"terminate": "tarp"},
        {"crop": "pumpkin", "ground_cover": "straw"},
        {"turned_under": "2026-05-08"},
        {"turned_under": "2026-05-08", "planted": "2026-06-10"},
    ]
    day = np.datetime64(on)
    fields = [(invented.field(**change), record) for change in changes for record in records]
    fields = [(as_of(field, day.item()), record) for field, record in fields]
    note = ScoutingNote(date=dt.date(2026, 1, 18), bbch=25)
    fields.append((replace(invented.field(), scouting=(note,)), records[0]))
    starts = [(field, start_of(field, record, day), record) for field, record in fields]
    assert len({start.joins for _, start, _ in starts}) < len(starts) / 2
    for (field, record), got in zip(fields, make_plans(starts), strict=True):
        alone = make_plan(field, record, day)
        same(replace(got, outlook=alone.outlook), alone, str(field))


def test_each_file_is_read_once(
    farm: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Eight fields, two files."""
    read: list[Path] = []
    original = weather_source.read_weather
    monkeypatch.setattr(
        weather_source, "read_weather", lambda path, units: (read.append(path), original(path, units))[1]
    )
    weather_source._read.cache_clear()
    assert main(["ready", str(farm)]) == 0
    capsys.readouterr()
    assert sorted(path.name for path in read) == ["w0.csv", "w1.csv"]


def test_each_station_is_asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fields that name one station share its record, each moved to its own height."""
    asked: list[str] = []

    def station_weather(station: str, *_: object, **__: object) -> object:
        asked.append(station)
        from covercrop.base.records import Station

        return replace(
            RECORD, stations=(Station(id=station, name="Hollin", latitude=37.6, longitude=-84.9, elevation_m=200.0),)
        )

    monkeypatch.setattr(weather_source, "station_weather", station_weather)
    shared = SharedWeather()
    fields = [
        replace(invented.field(), elevation_m=height, weather=WeatherEntry(station="HOLL1"))
        for height in (200.0, 400.0, 400.0)
    ]
    low, high, again = (weather_source.field_weather(field, dt.date(2026, 4, 20), shared=shared) for field in fields)
    assert asked == ["HOLL1"]
    assert high is again
    difference = (high.table["tmin_c"] - low.table["tmin_c"]).to_numpy()
    np.testing.assert_allclose(difference, -1.3, atol=1e-9)  # 200 m at the 6.5 K/km of ISO 2533


# --- one field's trouble --------------------------------------------------------------------------


def test_one_that_cannot_be_planned_leaves_the_others_theirs() -> None:
    """A season that is over stops its own field only, and trouble met later stands in its place."""
    record = invented.weather("2023-01-01")
    plots = [
        replace(invented.field(), name="first"),
        replace(invented.field(sown="2024-03-01"), name="second"),
        replace(invented.field(terminate="mow"), name="third"),
    ]
    plans = plan_fields(plots, record, "2026-04-20", today="2026-04-20", details=False)
    assert [(plan.field.name, place) for plan, place in zip(plans, plans.places, strict=True)] == [
        ("first", 0),
        ("third", 2),
    ]
    assert [(problem.place, problem.name) for problem in plans.problems] == [(1, "second")]
    assert "that season is over" in plans.problems[0].message

    def work(plan: Plan, weather: DailyWeather) -> str:
        if plan.field.name == "first":
            raise UsageError("no luck")
        return plan.field.name

    answers, problems = plans.each(work)
    assert answers == ["third"]
    assert [problem.place for problem in problems] == [0, 1]
    assert str(problems[0]) == "field 0, first: no luck"


@pytest.mark.parametrize(("count", "more"), [(1, ""), (5, ""), (6, ", ...")])
def test_weather_that_is_not_there_is_named(count: int, more: str) -> None:
    """With the first five that are; that of the station comes before that of the field."""
    record = invented.weather("2025-09-01")
    given = {f"S{number}": record for number in range(count)}
    plot = replace(invented.field(), name="plot")
    plans = plan_fields([plot], given, "2026-04-20", today="2026-04-20")
    held = ", ".join(f"S{number}" for number in range(min(count, 5)))
    assert [problem.message for problem in plans.problems] == [
        f"no weather for field 'plot'; `weather` holds {held}{more}"
    ]
    other = invented.weather("2025-09-01", mean=14.0)
    by_station = replace(plot, weather=replace(plot.weather, station="S0"))
    plans = plan_fields([by_station], {"plot": other, "S0": record}, "2026-04-20", today="2026-04-20", details=False)
    assert plans.weather == (record,)


# --- what is asked for, and what comes back -------------------------------------------------------


def problem(place: int, name: str, message: str) -> Problem:
    return Problem(place=place, name=name, message=message)


def test_the_table_has_a_row_for_each_field_that_was_given(plan: Plan) -> None:
    """In their order, by their names or by the index that they came with; a field without a plan has its trouble."""

    def table(index: pd.Index | tuple[str, ...]) -> pd.DataFrame:
        return Plans(
            on=ON,
            plans=(plan, plan),
            weather=(RECORD, RECORD),
            places=(0, 2),
            problems=(problem(1, "middle", "no luck"),),
            index=index,
            fields=(plan.field,) * 3,
        ).to_frame()

    named = table(("first", "middle", "last"))
    assert (named.index.name, list(named.index)) == ("name", ["first", "middle", "last"])
    assert list(named["problem"]) == ["", "no luck", ""]
    assert list(named["state"].isna()) == [False, True, False]
    assert list(named.columns) == [*(column for column, _, _ in COLUMNS), "problem"]
    given = pd.Index([30, 20, 10], name="plot")
    assert table(given).index is given or table(given).index.equals(given)
    assert table(given).index.name == "plot"
    numbered = table(given).reset_index(drop=True)
    pd.testing.assert_frame_equal(numbered, named.reset_index(drop=True))


def test_plans_are_counted_and_looked_up_by_their_places(plan: Plan) -> None:
    """Only those that were made."""
    other = varied(plan, "other", "growing")
    plans = Plans(on=ON, plans=(plan, other), weather=(RECORD,) * 2, places=(1, 3), problems=(), index=(), fields=())
    assert len(plans) == 2
    assert [each is wanted for each, wanted in zip(plans, (plan, other), strict=True)] == [True, True]
    assert plans[1] is other


def test_one_field_is_planned_as_it_was_known_on_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the weather that was given, or that which it names, up to the later of today and the day asked about."""
    asked: list[object] = []
    monkeypatch.setattr(many, "make_plan", lambda *given: given)

    def field_weather(_: Field, until: dt.date, *, shared: SharedWeather) -> DailyWeather:
        asked.append(until)
        return RECORD

    monkeypatch.setattr(many, "field_weather", field_weather)
    note = ScoutingNote(date=dt.date(2026, 4, 10), bbch=25)
    plot = replace(invented.field(), scouting=(note,))
    given: Any = plan_field(plot, RECORD, "2026-04-01", today="2026-04-20")
    assert given == (invented.field(), RECORD, np.datetime64("2026-04-01"))
    assert asked == []
    assert plan_field(plot, None, "2026-04-20", today="2026-04-20") == (plot, RECORD, ON)  # type: ignore[comparison-overlap]
    plan_field(plot, None, "2026-04-15", today="2026-04-20")
    plan_field(plot, None, "2026-04-25", today="2026-04-20")
    assert asked == [dt.date(2026, 4, 20), dt.date(2026, 4, 20), dt.date(2026, 4, 25)]
    with pytest.raises(UsageError, match="`weather` is a str; give what daily_weather, read_weather or field_weather"):
        plan_field(plot, "w.csv", "2026-04-20", today="2026-04-20")  # type: ignore[arg-type]


def test_the_day_is_that_which_is_asked_about_else_today_else_that_of_the_file() -> None:
    """And the day of this machine where nobody says."""
    april, may, june = (dt.date(2026, month, 1) for month in (4, 5, 6))
    file = FieldFile(path=Path("f.toml"), entries=(), today=april)
    assert days_asked(may, june, file) == (june, may)
    assert days_asked(None, june, file) == (june, june)
    assert days_asked(None, None, file) == (april, april)
    assert days_asked(may, None, file) == (april, may)
    assert days_asked("2026-05-01", "2026-06-01", []) == (june, may)
    before = dt.date.today()
    now, day = days_asked(None, None, FieldFile(path=Path("f.toml"), entries=()))
    assert before <= now == day <= dt.date.today()


def test_progress_is_told_twice_a_field() -> None:
    """Once its weather is there, and once it is done."""
    told: list[float] = []
    plots = [replace(invented.field(), name=name) for name in ("one", "two")]
    record = invented.weather("2025-09-01")
    plan_fields(plots, record, "2026-04-20", today="2026-04-20", details=False, advance=told.append)
    assert told == [1, 1, 1, 1]


def test_details_are_worked_out_unless_they_are_not_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where one field's trouble, met late, makes each of the others go alone."""
    asked: list[tuple[int, bool]] = []

    def make_plans(started: Sequence[tuple[Field, Any, Any]], *, details: bool, **_: Any) -> list[str]:
        asked.append((len(started), details))
        if any(plot.name == "two" for plot, _, _ in started):
            raise UsageError("no luck")
        return [plot.name for plot, _, _ in started]

    monkeypatch.setattr(many, "make_plans", make_plans)
    record = invented.weather("2025-09-01")
    plots = [replace(invented.field(), name=name) for name in ("one", "two", "three")]
    for wanted in ({}, {"details": True}, {"details": False}):
        asked.clear()
        plans = plan_fields(plots, record, "2026-04-20", today="2026-04-20", **wanted)  # type: ignore[arg-type]
        assert asked == [(3, wanted.get("details", True)), *[(1, wanted.get("details", True))] * 3]
        assert (plans.plans, plans.places) == (("one", "three"), (0, 2))  # type: ignore[comparison-overlap]
        assert plans.weather == (record, record)
        assert [str(each) for each in plans.problems] == ["field 1, two: no luck"]


def test_ground_without_a_cover_and_what_is_no_field_are_told() -> None:
    """An entry of the file that was not sown is a field's trouble; a record of another kind stops all, by its place."""
    bare = Ground(name="bare", latitude=37.6, longitude=-84.9, crop=invented.field().crop)
    file = FieldFile(path=Path("f.toml"), entries=(bare, invented.field()), today=dt.date(2026, 4, 20))
    plans = plan_fields(file, invented.weather("2025-09-01"), details=False)
    assert (plans.on, plans.places, plans.index) == (ON, (1,), ("bare", "Test plot"))
    assert [(each.place, each.name) for each in plans.problems] == [(0, "bare")]
    assert plans.problems[0].message.startswith("has no cover yet")
    assert plans.fields == (invented.field(),)
    with pytest.raises(UsageError, match="`fields`: str at place 1; give Field records or a DataFrame"):
        plan_fields([invented.field(), "x"], RECORD, "2026-04-20")  # type: ignore[list-item]


def test_a_gap_is_told_with_the_weather_that_has_it() -> None:
    """By the station or file that is named; any other trouble in its own words."""
    station = replace(invented.field(), weather=WeatherEntry(station="HOLL1"))

    def work(plot: Field) -> str:
        raise WeatherGapError("no days in May") if plot is station else UsageError("no luck")

    answers, problems = each_field([station, invented.field()], work)
    assert answers == []
    assert [each.message for each in problems] == ["station HOLL1: no days in May", "no luck"]


def test_weather_of_several_is_that_of_the_field_by_its_name_or_its_station() -> None:
    """The station's first; a field whose name stands for another record has that."""
    one, two = invented.weather("2025-09-01"), invented.weather("2025-09-01", mean=14.0)
    plot = replace(invented.field(), name="plot")
    by_station = replace(plot, weather=WeatherEntry(station="S1"))
    assert many._own({"plot": one, "S1": two}, plot) is one
    assert many._own({"plot": one, "S1": two}, by_station) is two
    assert many._own({"plot": one}, by_station) is one
    assert many._own(one, by_station) is one
    assert many._own(None, plot) is None
    with pytest.raises(UsageError, match="no weather for station S1; `weather` holds nothing"):
        many._own({}, by_station)
