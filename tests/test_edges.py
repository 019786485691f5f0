"""What a review of the chain found: edges of the season, of the record and of the day, and faults that no test saw."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import invented
import numpy as np
import pandas as pd
import pytest
from invented import field, weather
from rich.console import Console

from covercrop.base.errors import WeatherFileError
from covercrop.base.records import DailyWeather, Station
from covercrop.field import weather_source
from covercrop.field.entries import ScoutingNote, WeatherEntry
from covercrop.models import bbch, maggot, season_calendar, termination
from covercrop.models.members import standard_draws
from covercrop.models.winter import exposure, kill_day
from covercrop.parameters import catalogue
from covercrop.render.data import machine
from covercrop.render.screen import terminal
from covercrop.render.words import answer
from covercrop.season.ground import dead_from, follow_ground, ground_details
from covercrop.season.plan import Plan, make_plan
from covercrop.weather.daily import summary
from covercrop.weather.fetching import FORECAST_DAYS
from covercrop.weather.outlook import season_outlook

RECORD = weather()
LONG = weather(last="2026-10-31")


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


def plan_on(on: str, *, record: DailyWeather = RECORD, **changes) -> Plan:
    return make_plan(field(**changes), record, day(on))


def changed(record: DailyWeather, first: str, last: str, low: float, high: float) -> DailyWeather:
    table = record.table.copy()
    table.loc[first:last, ["tmin_c", "tmax_c"]] = [low, high]
    return replace(record, table=table)


# --- defects ---


@pytest.mark.parametrize("sown", ["2025-08-15", "2025-09-20", "2025-10-05"])
def test_cold_kills_without_past_years_too(sown: str) -> None:
    """With this season's weather alone, January at -20 has killed the stand, whichever month it was sown in."""
    harsh = changed(weather(first="2025-08-01"), "2026-01-10", "2026-01-24", -25.0, -15.0)
    assert plan_on("2026-04-20", record=harsh, sown=sown).state == "winter-killed"


def test_a_season_without_frost_lets_the_crop_ripen() -> None:
    """Where most years end without a freeze, the crop that is planted in May is all but certain to ripen."""
    plan = plan_on("2026-04-20", record=weather(mean=14), sown="2025-06-15")
    assert np.isnat(plan.dates["latest_planting"].median)
    assert plan.dates["earliest_planting"].late < plan.dates["latest_planting"].early
    assert plan.planting.ripens == pytest.approx(1.0)


def test_the_chance_of_today_is_known_beyond_the_record() -> None:
    """With no past years and a record that ends yesterday, the window that was open is not said to be shut."""
    table = LONG.table
    ends = {last: replace(LONG, table=table.loc["2025-08-01":last].copy()) for last in ("2026-05-05", "2026-05-06")}
    chances = [plan_on("2026-05-06", record=record).window.open_now for record in ends.values()]
    assert chances[1] > 0.5
    assert chances[0] == pytest.approx(chances[1], abs=0.1)


@pytest.mark.parametrize("terminate", ["turn-under", "tarp"])
def test_past_its_window_a_cover_is_turned_under_today(terminate: str) -> None:
    """Whatever was planned, seed risk means turning under: from today, without a best day or a tarp's three weeks."""
    plan = plan_on("2026-05-25", record=LONG, terminate=terminate)
    assert plan.state == "seed-risk"
    assert (plan.window.best, plan.window.ending_day) == (None, plan.on)
    assert plan.dates["disease"].median == plan.on + np.timedelta64(21, "D")
    assert "if it is turned under on" in answer.then(plan)


def test_a_cover_that_does_not_bloom_is_said_not_to() -> None:
    """Without cool days crimson clover does not bloom: the line says so, and names no day."""
    said = answer.headline(plan_on("2026-03-01", record=weather(mean=27, swing=6)))
    assert "does not bloom in time" in said
    assert "about" not in said


def test_a_day_of_another_year_is_given_with_its_year() -> None:
    """A best day a year ahead is not to be taken for one next week."""
    plan = plan_on("2026-04-20", record=weather(mean=20, swing=6), sown="2026-04-01")
    assert plan.window.best is not None
    assert str(plan.window.best.date)[:4] == "2027"
    assert " 2027 (" in answer.headline(plan)


def test_no_last_planting_before_the_spring_of_the_crop() -> None:
    """A freeze in the week of sowing is not the autumn that the crop has to ripen by."""
    cold = changed(weather(last="2025-09-28", mean=27, swing=6), "2025-09-23", "2025-09-23", -1.0, 10.0)
    latest = plan_on("2025-09-25", record=cold).dates["latest_planting"].early
    assert np.isnat(latest) or latest > day("2026-03-01")


def test_the_cold_before_does_not_narrow_the_ground_after() -> None:
    """Once the cover is ended the hard winter that it outlived has no say in when the ground is ready."""
    hard = changed(LONG, "2026-01-10", "2026-01-18", -21.0, -11.0)
    mild = changed(LONG, "2026-01-10", "2026-01-18", -6.0, 4.0)
    after = [
        plan_on("2026-05-20", record=record, turned_under="2026-05-08").dates["residue"] for record in (hard, mild)
    ]
    assert after[0] == after[1]


def test_rain_that_never_suffices_is_said() -> None:
    """Where the residue would not go with the rain alone, keeping it moist is said all the more."""
    table = RECORD.table.copy()
    table.loc[table.index.month.isin(range(4, 12)), "prcp_mm"] = 0.0
    plan = plan_on("2026-04-20", record=replace(RECORD, table=table))
    assert np.isnat(plan.ground.residue_by_rain)
    assert any(said.startswith("Keep the ground moist") for said in answer.reasons(plan))


# --- survivors ---


def test_states_change_on_the_day_their_odds_do() -> None:
    """Seed risk begins the day after half of the windows have closed, plantable on the day eight in ten are safe."""
    done = {"record": LONG, "turned_under": "2026-05-08"}
    safe = plan_on("2026-05-20", **done).planting.safe
    # Known weather decides by then, so that the safe day may shift a little as it comes nearer.
    days = np.arange(safe - invented.days(12), safe + invented.days(13))
    states = []
    for on in days:
        plan = plan_on(str(on), **done)
        states.append(plan.state)
        assert (plan.state == "plantable") == (plan.planting.safe <= plan.on), on
    assert {"turned-under", "plantable"} <= set(states)
    for on in np.arange(day("2026-05-12"), day("2026-05-25")):
        plan = plan_on(str(on), record=LONG)
        assert (plan.state == "seed-risk") == (plan.dates["window_close"].median < plan.on), on


def test_the_stage_stops_where_the_cover_was_ended() -> None:
    """Two months after turning under at bloom the stand is still given the stage that it was ended at."""
    then, later = (plan_on(on, record=LONG, turned_under="2026-05-08") for on in ("2026-05-08", "2026-07-10"))
    assert 60 <= then.stand.bbch <= 69
    assert abs(later.stand.bbch - then.stand.bbch) <= 2


def test_the_ground_under_a_tarp_is_that_of_a_stand_turned_under_when_it_is_dead() -> None:
    """Tarped on a day, every limit, the soil, the rain, the flies and the nitrogen are those of 21 days later."""
    outlook = season_outlook(LONG, day("2025-09-20"), 500, day("2026-07-01"))
    cover, crop = catalogue.cover("crimson-clover"), catalogue.crop("summer-squash")
    given = (outlook, cover, crop, field().crop, standard_draws())
    midwinter = outlook.position(day("2026-01-01"))
    tarped = follow_ground(*given, dead=dead_from(230.0, "tarp"), midwinter=midwinter)
    dug_in = follow_ground(*given, dead=dead_from(251.0, "turn-under"), midwinter=midwinter)
    for name in ("earliest", "latest", "soil_c"):
        np.testing.assert_array_equal(getattr(tarped, name), getattr(dug_in, name), err_msg=name)
    beside = [
        ground_details(outlook, 37.6, cover, catalogue.crop("summer-squash"), field().crop, ground)
        for ground in (tarped, dug_in)
    ]
    for name in ("residue_by_rain", "brood", "released"):
        np.testing.assert_array_equal(getattr(beside[0], name), getattr(beside[1], name), err_msg=name)
    for name, limit in tarped.limits.items():
        np.testing.assert_array_equal(limit, dug_in.limits[name], err_msg=name)


def test_the_days_on_the_seed_packet_count() -> None:
    """Thirty days more on the packet make the latest planting that much earlier, fewer days of a hot summer."""
    own = field()
    latest = [
        make_plan(replace(own, crop=replace(own.crop, days_to_maturity=days)), RECORD, day("2026-04-20"))
        .dates["latest_planting"]
        .median
        for days in (60.0, 90.0)
    ]
    assert np.timedelta64(18, "D") < latest[0] - latest[1] < np.timedelta64(30, "D")


def test_no_bloom_seen_is_not_bloom_seen() -> None:
    """A note of 0 % on a day on which flowers were likely makes bloom later; it is no sighting of first flowers."""
    on = "2026-05-02"
    before = plan_on(on, record=LONG)
    none = plan_on(on, record=LONG, scouting=(ScoutingNote(date=dt.date(2026, 5, 2), bloom_percent=0),))
    first = plan_on(on, record=LONG, scouting=(ScoutingNote(date=dt.date(2026, 5, 2), bbch=60),))
    assert none.dates["first_flower"].late > first.dates["first_flower"].late
    assert none.dates["bloom_25"].median > before.dates["bloom_25"].median


def test_bare_ground_after_the_cold_saves_no_stand() -> None:
    """Only plants that are up prove that the stand lives: BBCH 0 after the frost does not."""
    harsh = changed(RECORD, "2026-01-10", "2026-01-24", -25.0, -15.0)
    nothing = ScoutingNote(date=dt.date(2026, 4, 18), bbch=0)
    assert plan_on("2026-04-20", record=harsh, scouting=(nothing,)).state == "winter-killed"


def test_the_day_of_turning_under_breeds_no_flies() -> None:
    """Ten degrees above the base take 41 days for 408 degC d, counted from the day after turning under."""
    warm = np.full(100, maggot.MAGGOT_LOWER + 10)
    assert float(maggot.brood_peak(warm, warm, 10)) == 10 + 41


def test_the_frost_that_ends_a_crop_is_its_own() -> None:
    """A crop that bears two degrees of frost may be planted later, both limits taken from the same threshold."""
    outlook = season_outlook(RECORD, day("2025-09-20"), 500, day("2026-04-20"))
    crop = catalogue.crop("summer-squash")
    hardy = replace(crop, frost=replace(crop.frost, value=-2.0))
    cover, midwinter = catalogue.cover("crimson-clover"), outlook.position(day("2026-01-01"))
    tender, bears = (
        follow_ground(
            outlook,
            cover,
            each,
            field().crop,
            standard_draws(),
            dead=230.0,
            midwinter=midwinter,
        )
        for each in (crop, hardy)
    )
    assert (bears.latest > tender.latest).mean() > 0.3  # in the other years it is the warmth that runs out
    assert (bears.latest >= tender.latest).all()
    assert (bears.limits["frost"] <= tender.limits["frost"]).all()


def test_midwinter_at_the_equator_is_january() -> None:
    """Latitude 0 counts as north."""
    assert season_calendar.midwinter_before(day("2026-04-01"), 0.0) == day("2026-01-01")


def test_a_forecast_that_stops_short_of_today_is_not_the_whole_of_it() -> None:
    """Two forecast rows do not make ten unknown days forecast."""
    record = weather(last="2026-04-12")
    table = record.table.copy()
    table.loc["2026-04-11":, "origin"] = "forecast"
    notes = season_outlook(replace(record, table=table), day("2025-09-20"), 500, day("2026-04-20")).notes
    assert "the 10 days since are partly forecast, partly taken from past years" in notes[0]


@pytest.mark.parametrize(
    ("spring", "latitude", "midwinter"),
    [
        ("2025-09-30", 40.0, "2025-01-01"),
        ("2025-10-01", 40.0, "2026-01-01"),
        ("2026-03-30", -40.0, "2025-07-01"),
        ("2026-03-31", -40.0, "2026-07-01"),
    ],
)
def test_from_92_days_before_midwinter_the_next_spring_is_meant(spring: str, latitude: float, midwinter: str) -> None:
    """Turned under on 1 October (31 March in the south) makes way for the next spring, a day sooner for this one."""
    assert season_calendar.midwinter_before(day(spring), latitude) == day(midwinter)


def test_cold_on_the_last_day_still_kills() -> None:
    """The last day on which cold can kill is one of them; the day after is not."""
    winter = catalogue.cover("crimson-clover").winter
    tmean = np.full((1, 60), 5.0)
    tmean[0, 30:] = -40.0
    exposed = exposure(tmean, tmean, 0.0, 0.0)
    died = float(kill_day(exposed, winter, 0.0)[0, 0])
    assert float(kill_day(exposed, winter, 0.0, end=died)[0, 0]) == died
    assert np.isnan(kill_day(exposed, winter, 0.0, end=died - 1)[0, 0])


def test_only_days_up_to_the_ending_count_as_observed() -> None:
    """Twenty-five filled days before turning under stay filled, however many are observed after it."""
    table = weather(last="2026-06-20").table.copy()
    table.loc["2025-12-01":"2025-12-25", "origin"] = "climatology"
    plan = plan_on("2026-06-20", record=replace(RECORD, table=table), turned_under="2026-05-08")
    days = int((day("2026-05-08") - day("2025-09-20")).astype(int)) + 1
    assert plan.provenance.observed_share == pytest.approx(1 - 25 / days)


def test_seed_begins_on_its_day() -> None:
    """On the day of the first viable seed the code is 81, the day before it is not."""
    names = ("emergence", "bud", "first_flower", "bloom_10", "bloom_25", "bloom_50", "end_of_bloom", "viable_seed")
    days = dict(zip(names, (8.0, 200.0, 215.0, 218.0, 221.0, 225.0, 255.0, 246.0), strict=True))
    assert bbch.bbch(days, 246) == 81
    assert bbch.bbch(days, 245) < 70


def test_a_cut_cover_closes_on_the_last_whole_day() -> None:
    """Nine tenths of 27 days after the first flower is day 24.3: day 24 is within, day 25 is not."""
    stages = {"first_flower": np.array([200.0]), "bloom_50": np.array([210.0]), "viable_seed": np.array([228.0])}
    closes = termination.window(stages, "mow", catalogue.cover("crimson-clover"))[1]
    np.testing.assert_array_equal(closes, [224.0])


@pytest.mark.parametrize(("ahead", "refused"), [(1, False), (2, True)])
def test_a_reading_may_be_one_day_ahead_of_the_clock(tmp_path: Path, ahead: int, refused: bool) -> None:
    """East of the machine's clock it may be tomorrow already, but not the day after."""
    days = pd.date_range("2026-01-01", pd.Timestamp("2026-04-20") + pd.Timedelta(days=ahead))
    path = tmp_path / "plot.csv"
    # Changing by the day, or the readings would be taken for a stuck sensor.
    rows = "".join(f"{date:%Y-%m-%d},{place % 7},{10 + place % 5}\n" for place, date in enumerate(days))
    path.write_text("date,tmin,tmax\n" + rows, encoding="utf-8")
    own = replace(field(), weather=WeatherEntry(file=path))
    if refused:
        with pytest.raises(WeatherFileError, match="2026-04-22 is after 2026-04-20"):
            weather_source.field_weather(own, dt.date(2026, 4, 20))
    else:
        assert len(weather_source.field_weather(own, dt.date(2026, 4, 20)).table) == len(days)


def test_a_station_is_asked_for_its_forecast_and_moved_to_the_height_of_the_field(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """From thirty years before sowing to the end of the forecast; 1000 m up it is colder than at the station."""
    place = Station(id="X", name="X", latitude=37.6, longitude=-84.9, elevation_m=0.0)
    valley, asked = replace(RECORD, stations=(place,)), []

    def station(name: str, start: dt.date, end: dt.date, **_: object) -> DailyWeather:
        asked.append((name, start, end))
        return valley

    monkeypatch.setattr(weather_source, "station_weather", station)
    today = dt.date(2026, 4, 20)
    found = weather_source.field_weather(replace(field(), elevation_m=1000.0, weather=WeatherEntry(station="X")), today)
    assert asked == [("X", dt.date(1995, 1, 1), today + dt.timedelta(days=FORECAST_DAYS))]
    assert (found.table["tmin_c"] < RECORD.table["tmin_c"]).all()


def test_the_own_file_comes_before_the_station(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where both know a day the grower's own reading is used; the station only fills what the file has not."""
    place = Station(id="X", name="X", latitude=37.6, longitude=-84.9)
    other = weather(mean=10.0, noise=0.0)
    own = replace(RECORD, table=RECORD.table.loc["2025-09-01":].copy())
    monkeypatch.setattr(weather_source, "station_weather", lambda *_, **__: replace(other, stations=(place,)))
    monkeypatch.setattr(weather_source, "_file", lambda *_: own)
    both = replace(field(), weather=WeatherEntry(file=Path("own.csv"), station="X"))
    table = weather_source.field_weather(both, dt.date(2026, 4, 20)).table
    assert table.loc["2026-01-15", "tmin_c"] == pytest.approx(own.table.loc["2026-01-15", "tmin_c"])
    assert table.loc["2015-01-15", "tmin_c"] == pytest.approx(other.table.loc["2015-01-15", "tmin_c"], abs=3.0)


def test_no_past_year_reaches_into_the_days_to_come() -> None:
    """In September last year's weather up to next October is not known yet, though the record runs on."""
    on, sown = day("2020-09-25"), day("2020-09-15")
    ending, running_on = (
        season_outlook(weather(last=last), sown, 400, on).years for last in ("2020-09-25", "2022-12-31")
    )
    assert running_on == ending
    assert max(running_on) == 2018


def test_an_old_forecast_is_no_past_weather() -> None:
    """A past year with a forecast row that no reading replaced is no member."""
    table = RECORD.table.copy()
    table.loc["2013-07-10", "origin"] = "forecast"
    years = season_outlook(replace(RECORD, table=table), day("2025-09-20"), 500, day("2026-04-20")).years
    assert 2012 not in years
    assert 2013 in years


def test_ready_ground_is_not_to_be_planted_by_a_day_gone_by() -> None:
    """Where the cautious last day has passed but the likely one has not, the line says today."""
    plan = plan_on("2026-07-10", record=LONG, turned_under="2026-05-08")
    latest = replace(plan.dates["latest_planting"], early=day("2026-07-05"), median=day("2026-07-20"))
    late = replace(plan, planting=replace(plan.planting, latest=latest))
    assert plan.state == "plantable"
    assert answer.headline(late) == "The ground is ready: sow summer squash now, and by 10 Jul to ripen in time."


def test_json_holds_the_dates_and_amounts_of_the_plan() -> None:
    """Early is early, from is the first day of the week, low is low."""
    plan = plan_on("2026-03-01")
    found = machine.field(plan)
    assert plan.window.best is not None
    ends = ("early", "median", "late")
    for name, dates in plan.dates.items():
        assert found["dates"][name] == {end: str(getattr(dates, end)) for end in ends}
    best = plan.window.best
    assert [found["turn_under"][key] for key in ("date", "from", "to")] == [
        str(each) for each in (best.date, best.start, best.end)
    ]
    for name, amount in plan.nitrogen.amounts.items():
        assert [found["nitrogen"][name][key] for key in ("low", "median", "high")] == [
            pytest.approx(value, abs=0.06) for value in (amount.low, amount.median, amount.high)
        ]


def test_heights_and_distances_in_us_units() -> None:
    """1000 m are 3281 ft and 100 km are 62 miles (international foot and mile)."""
    place = Station(id="X", name="X", latitude=37.6, longitude=-84.9, elevation_m=1000.0, distance_km=100.0)
    text = io.StringIO()
    record = replace(RECORD, stations=(place,))
    screen = terminal.Screen(Console(file=text, width=100, highlight=False))
    terminal.weather(screen, ["A"], "station X", record, summary(record), us=True)
    assert "3281 ft" in text.getvalue()
    assert "62 miles away" in text.getvalue()


@pytest.mark.parametrize("note", [{"dry_matter_kg_ha": 3000.0}, {"height_cm": 40.0}])
def test_a_measurement_beyond_the_weather_is_said_not_to_be_used(note: dict[str, float]) -> None:
    """With a short record and no past years nothing is forecast: a later sample is set aside, and that is said."""
    seen = ScoutingNote(date=dt.date(2026, 4, 19), **note)
    plan = plan_on("2026-04-20", record=weather("2025-09-01", "2025-10-10"), scouting=(seen,))
    assert (
        "Your measurement of 19 Apr is of a day beyond the weather that is known, and is not used."
        in plan.provenance.notes
    )
