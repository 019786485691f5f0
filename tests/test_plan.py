"""The chain for one field: its order, its states, and what must not change the answer."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import invented
import numpy as np
import pandas as pd
import pytest
from invented import field, weather

from covercrop.base.errors import FieldFileError, WeatherGapError
from covercrop.base.records import DailyWeather, DateRange
from covercrop.field.bed_entries import BedsEntry
from covercrop.field.entries import AimEntry, ScoutingNote
from covercrop.models.members import Draws, quantiles, share_by, standard_draws
from covercrop.models.note_weights import SCOUTING_SD_DAYS
from covercrop.models.plantback import LIMITS, emergence_days, soil_wanted
from covercrop.parameters import catalogue
from covercrop.season.chain import Chain
from covercrop.season.following import follow
from covercrop.season.plan import (
    DATES,
    STATES,
    Plan,
    _chance,
    _emergence,
    _median_on,
    _notes,
    _open_on,
    _planted,
    _ripens_at_least,
    _state,
    make_plan,
    make_plans,
    plan_of,
    start_of,
)
from covercrop.season.stand import grow_stand

RECORD = weather()


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


def plan_on(on: str, *, record: DailyWeather = RECORD, details: bool = False, **changes) -> Plan:
    return make_plan(field(**changes), record, day(on), details=details)


#: Eight past years, and all of this one.
SHORT = weather("2018-01-01", "2026-10-31")


def few(on: str, **changes) -> Plan:
    """A plan of few members, where it is not the chances that matter."""
    return make_plan(field(**changes), SHORT, day(on), standard_draws(8), details=False)


def width(plan: Plan, name: str) -> int:
    dates = plan.dates[name]
    return int((dates.late - dates.early).astype(int))


@pytest.fixture(scope="module")
def april() -> Plan:
    """Crimson clover on 20 April, still to bloom, with all that is said of it."""
    return make_plan(field(), RECORD, day("2026-04-20"))


# --- order ----------------------------------------------------------------------------------------


def test_every_date_is_an_interval_in_order(april: Plan) -> None:
    """Early, median and late come in this order for each date of the chain, and all are there."""
    assert tuple(april.dates) == DATES
    for name, dates in april.dates.items():
        assert dates.early <= dates.median <= dates.late, name


@pytest.mark.parametrize("end", ["early", "median", "late"])
def test_the_chain_hangs_together(april: Plan, end: str) -> None:
    """Stages follow each other, the window lies between 10 % bloom and seed, planting after every limit."""
    at = {name: getattr(dates, end) for name, dates in april.dates.items()}
    stages = ("emergence", "bud", "first_flower", "bloom_25", "bloom_50", "end_of_bloom")
    assert [at[name] for name in stages] == sorted(at[name] for name in stages)
    assert at["first_flower"] <= at["window_open"] <= at["bloom_25"]
    assert at["window_open"] < at["window_close"] < at["viable_seed"]
    for limit in ("residue", "disease", "maggot", "soil_warm"):
        assert at["earliest_planting"] >= at[limit], limit
    assert at["earliest_planting"] < at["latest_planting"]


def test_frost_gates_planting_year_by_year() -> None:
    """No share of the plantings lies before that share of the last frosts: one risk for all limits, not two stacked."""
    cold = weather(mean=9.0)
    plan = plan_on("2026-04-20", record=cold, crop="sweet-corn", turned_under="2026-04-10")
    planting, frost = plan.dates["earliest_planting"], plan.dates["frost"]
    for end in ("early", "median", "late"):
        assert getattr(planting, end) >= getattr(frost, end), end
    assert planting.late - frost.late < np.timedelta64(30, "D")


def test_the_window_odds_rise_and_fall(april: Plan) -> None:
    """The odds per day lie between 0 and 1; of the days with little risk of seed the best is one of the greatest."""
    odds = april.window.chances
    assert odds.min() >= 0
    assert odds.max() <= 1 + 1e-9
    best = april.window.best
    assert best is not None
    wants = april.window.wants
    assert wants is not None
    safe = (wants.clean >= 0.9) & (april.window.days >= april.on)
    assert odds[safe].max() - 0.03 - 1e-9 <= best.probability <= odds[safe].max()
    assert best.start <= best.date <= best.end
    assert (best.end - best.start).astype(int) <= 6
    assert odds[april.window.days == april.dates["window_open"].early - np.timedelta64(30, "D")] < 0.1


def test_the_answer_is_the_same_twice(april: Plan) -> None:
    """No randomness is left in it."""
    again = plan_on("2026-04-20")
    assert again.dates == april.dates
    assert (again.window.chances == april.window.chances).all()


# --- states ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "state"),
    [("2025-12-15", "growing"), ("2026-04-16", "budding"), ("2026-05-06", "in-window"), ("2026-06-15", "seed-risk")],
)
def test_the_cover_goes_through_its_states(on: str, state: str) -> None:
    """As the season goes on the state follows the stage."""
    assert plan_on(on, record=weather(last="2026-09-01")).state == state


def test_the_window_closes_before_seed() -> None:
    """Between in-window and seed-risk there are days on which the window is said to be closing, and never back."""
    record = weather(last="2026-09-01")
    days = pd.date_range("2026-04-20", "2026-06-10", freq="3D").strftime("%Y-%m-%d")
    states = [plan_on(on, record=record).state for on in days]
    order = ["growing", "budding", "in-window", "closing", "seed-risk"]
    ranks = [order.index(state) for state in states]
    assert ranks == sorted(ranks)
    assert {"budding", "in-window", "closing", "seed-risk"} <= set(states)


def test_once_turned_under_the_chain_starts_there() -> None:
    """The lag counts from the day it was done; plantable comes when eight members of ten say so; planted ends it."""
    record = weather(last="2026-09-01")
    done = {"record": record, "turned_under": "2026-05-08"}
    early = plan_on("2026-05-10", **done)
    assert (early.state, early.window.best) == ("turned-under", None)
    assert early.dates["disease"].median == day("2026-05-29")
    assert plan_on("2026-07-05", **done).state == "plantable"
    assert plan_on("2026-07-10", planted="2026-07-06", **done).state == "planted"


def test_a_killed_stand_ends_the_forecast() -> None:
    """Two weeks at -20 in January on bare ground kill crimson clover: no window, no bloom date, and it is said."""
    record = weather()
    cold = record.table.copy()
    cold.loc["2026-01-10":"2026-01-24", ["tmin_c", "tmax_c"]] = [-25.0, -15.0]
    cold["prcp_mm"] = 0.0
    plan = plan_on("2026-04-20", record=replace(record, table=cold), details=True)
    assert plan.state == "winter-killed"
    assert plan.stand.survival < 0.05
    assert plan.window.best is None
    assert plan.window.chances.max() == 0
    assert np.isnat(plan.dates["bloom_25"].median)
    assert not np.isnat(plan.dates["emergence"].median)
    assert plan.nitrogen.amounts == {}


def test_a_stand_that_was_seen_alive_was_not_killed_before() -> None:
    """Buds seen in April outweigh the cold of January; a note from before the cold proves nothing."""
    record = weather()
    cold = record.table.copy()
    cold.loc["2026-01-10":"2026-01-24", ["tmin_c", "tmax_c"]] = [-25.0, -15.0]
    harsh = replace(record, table=cold)
    buds = ScoutingNote(date=dt.date(2026, 4, 18), bbch=51)
    seen = plan_on("2026-04-20", record=harsh, scouting=(buds,))
    assert seen.state in ("budding", "in-window")
    assert seen.stand.survival == pytest.approx(1.0)
    assert seen.window.best is not None
    leaves = ScoutingNote(date=dt.date(2025, 12, 1), bbch=20)
    assert plan_on("2026-04-20", record=harsh, scouting=(leaves,)).state == "winter-killed"


def test_every_state_is_a_known_word(april: Plan) -> None:
    """The states are the nine of the field vocabulary."""
    assert april.state in STATES
    assert len(set(STATES)) == 9


# --- what is known and what is not ------------------------------------------------------------------


def test_without_history_only_reached_dates_are_given() -> None:
    """With this season's weather alone, bloom in May is not named in April, and the reason is."""
    plan = plan_on("2026-04-20", record=weather(first="2025-08-01"))
    assert not np.isnat(plan.dates["emergence"].median)
    assert not np.isnat(plan.dates["bud"].median)
    for name in ("bloom_50", "window_close", "earliest_planting", "latest_planting", "soil_warm", "frost"):
        assert np.isnat(plan.dates[name].early), name
    assert plan.window.best is None
    assert any("past years of weather" in note for note in plan.provenance.notes)


def test_the_interval_narrows_as_the_season_goes_on() -> None:
    """A forecast in April is narrower than one in January, and rests more on observed days."""
    record = weather(last="2026-05-01")
    january, april = (plan_on(on, record=record, cultivar="Tibbee") for on in ("2026-01-10", "2026-04-25"))
    assert width(april, "bloom_25") < width(january, "bloom_25")
    assert april.provenance.observed_share > january.provenance.observed_share


def test_an_unknown_cultivar_widens_the_interval(april: Plan) -> None:
    """Naming the cultivar narrows the bloom date."""
    assert width(plan_on("2026-04-20", cultivar="Dixie"), "bloom_25") < width(april, "bloom_25")


def test_an_early_cultivar_blooms_earlier() -> None:
    """AU Robin comes into bloom about two weeks before Dixie (SARE 2007, p. 105), within five days here."""
    early, standard = (plan_on("2026-02-01", cultivar=name).dates["bloom_25"].median for name in ("AU Robin", "Dixie"))
    assert abs(int((standard - early).astype(int)) - 14) <= 5


def test_a_scouting_note_narrows_and_pulls() -> None:
    """A sighting of 10 % bloom a week late pulls the dates later and narrows them."""
    record = weather(last="2026-05-20")
    before = plan_on("2026-05-08", record=record)
    seen = ScoutingNote(date=dt.date(2026, 5, 8), bloom_percent=2)
    after = plan_on("2026-05-08", record=record, scouting=(seen,))
    assert after.dates["bloom_25"].median > before.dates["bloom_25"].median
    assert width(after, "bloom_25") < width(before, "bloom_25")
    assert any(f"good to about {SCOUTING_SD_DAYS:.0f} days" in note for note in after.provenance.notes)


def test_a_note_that_nothing_explains_is_said_to_be_odd() -> None:
    """Full bloom in December is used with a wide scatter and a word of doubt, not swallowed."""
    seen = ScoutingNote(date=dt.date(2025, 12, 1), bbch=65)
    plan = plan_on("2026-04-20", scouting=(seen,))
    assert any("do not fit this weather" in note for note in plan.provenance.notes)


def test_a_planting_day_beyond_the_season_is_none() -> None:
    """Asked sixteen months after sowing, the likely planting lies past the last day of the season: nothing comes up."""
    late = field("crimson-clover", "tomato", sown="2025-03-01", terminate="roll", latitude=38.0)
    record = weather("2012-01-01", "2026-08-31", seed=128)
    plan = make_plan(late, record, np.datetime64("2026-06-30"))
    assert np.isnan(plan.planting.emergence_days)


# --- what must not change the answer ----------------------------------------------------------------


def test_weather_after_the_day_asked_about_is_not_used(april: Plan) -> None:
    """The answer for 20 April is the same whether or not the record runs on."""
    assert plan_on("2026-04-20", record=weather(last="2026-12-31")).dates == april.dates


def test_the_weather_is_not_changed() -> None:
    """Planning leaves the record as it was."""
    before = RECORD.table.copy()
    plan_on("2026-04-20")
    pd.testing.assert_frame_equal(RECORD.table, before)


def test_south_of_the_equator_it_is_the_same_half_a_year_later() -> None:
    """The same waves of warmth and light, six months on at 37.6 S: dates within five days of the north's."""
    smooth = {"noise": 0.0}
    north = make_plan(field(sown="2025-09-20"), weather(**smooth), day("2026-04-20"))
    shifted = weather(last="2026-10-20", coldest_day=20 + 183, **smooth)
    south = make_plan(field(sown="2026-03-22", latitude=-37.6), shifted, day("2026-10-20"))
    for name in ("emergence", "bud", "bloom_25", "window_close", "residue", "soil_warm", "frost", "earliest_planting"):
        north_days = int((north.dates[name].median - day("2025-09-20")).astype(int))
        south_days = int((south.dates[name].median - day("2026-03-22")).astype(int))
        assert abs(north_days - south_days) <= 5, (name, north_days, south_days)


def test_a_warmer_spring_is_never_later() -> None:
    """Two degrees more from February on bring every stage and the warm soil forward, never back."""
    record = weather(last="2026-06-30")
    warm = record.table.copy()
    warm.loc["2026-02-20":, ["tmin_c", "tmax_c"]] += 2.0
    plans = [plan_on("2026-06-20", record=each) for each in (record, replace(record, table=warm))]
    for name in ("bud", "first_flower", "bloom_25", "bloom_50", "end_of_bloom", "viable_seed", "window_close"):
        normal, warmer = (plan.dates[name].median for plan in plans)
        assert warmer < normal, name


@pytest.mark.parametrize("terminate", ["turn-under", "roll", "mow", "tarp"])
def test_each_way_of_ending_has_its_window(terminate: str) -> None:
    """Every method gives a window that ends before seed."""
    plan = plan_on("2026-03-01", species="hairy-vetch", terminate=terminate)
    assert plan.window.best is not None
    assert plan.dates["window_close"].median < plan.dates["viable_seed"].median


@pytest.mark.parametrize(
    ("sown", "on", "spring"),
    [
        ("2026-01-02", "2026-04-20", "2026-03-01"),
        ("2026-03-05", "2026-04-20", "2026-03-01"),
        ("2025-06-15", "2026-04-20", "2026-03-01"),
        ("2025-11-20", "2025-12-20", "2026-03-01"),
        ("2025-07-10", "2025-10-20", "2025-09-01"),
        ("2025-04-10", "2025-06-20", "2025-09-01"),
    ],
)
def test_the_limits_belong_to_the_spring_of_the_crop(sown: str, on: str, spring: str) -> None:
    """Whether sown in summer, autumn or after midwinter: last frost, planting and first frost follow one another."""
    south = spring.endswith("09-01")
    record = weather(last=on, coldest_day=202) if south else RECORD
    if sown == "2026-01-02":  # seedlings of midwinter outlive a mild one only
        record = weather(mean=15.5)
    dates = plan_on(on, record=record, sown=sown, latitude=-37.6 if south else 37.6).dates
    assert day(spring) < dates["frost"].late < day(spring) + np.timedelta64(92, "D")
    assert dates["frost"].late <= dates["earliest_planting"].median < dates["latest_planting"].early
    assert dates["latest_planting"].early < day(spring) + np.timedelta64(275, "D")


def test_a_record_that_starts_too_late_is_refused() -> None:
    """Without weather since sowing there is no answer, and the line says what to bring."""
    with pytest.raises(WeatherGapError, match="begins on 2025-10-01, after sowing"):
        plan_on("2026-04-20", record=weather(first="2025-10-01"))


# --- what real seasons taught -------------------------------------------------------------------------


def test_too_late_counts_from_today() -> None:
    """With seed already likely, the ground is followed from today, the day on which it has to be done."""
    plan = plan_on("2026-06-15", record=weather(last="2026-10-31"))
    assert (plan.state, plan.window.best) == ("seed-risk", None)
    assert plan.window.ending_day == day("2026-06-15")
    assert plan.dates["disease"].median == day("2026-07-06")


def test_under_a_tarp_the_clocks_start_when_the_plants_are_dead() -> None:
    """Tarped on 8 May, residue begins three weeks later (SARE ONC17-033: full kill after three).

    The weeks under the tarp count for the seedling disease.
    """
    record = weather(last="2026-10-31")
    tarped = plan_on("2026-06-01", record=record, terminate="tarp", turned_under="2026-05-08")
    dug_in = plan_on("2026-06-01", record=record, turned_under="2026-05-08")
    assert tarped.dates["disease"].early == tarped.dates["disease"].late == day("2026-05-29")
    assert dug_in.dates["disease"].median == day("2026-05-29")
    assert tarped.dates["residue"].early >= day("2026-05-29") > dug_in.dates["residue"].early


def test_chances_are_those_of_a_stand_that_lives() -> None:
    """A hard winter lowers the survival that is said, not the chance that the window holds its best day."""
    record = weather()
    cold = record.table.copy()
    cold.loc["2026-01-10":"2026-01-18", ["tmin_c", "tmax_c"]] = [-18.0, -8.0]
    cold["prcp_mm"] = 0.0
    plan = plan_on("2026-03-01", record=replace(record, table=cold))
    assert 0.3 < plan.stand.survival < 0.7
    assert plan.window.best is not None
    assert plan.window.best.probability > 0.5


def test_the_second_winter_kills_nothing() -> None:
    """Cold in the December after bloom does not make the spring's stand a dead one."""
    record = weather(last="2026-12-31")
    cold = record.table.copy()
    cold.loc["2026-12-10":"2026-12-31", ["tmin_c", "tmax_c"]] = [-30.0, -20.0]
    mild, hard = (plan_on("2026-12-31", record=each) for each in (record, replace(record, table=cold)))
    assert hard.stand.survival == pytest.approx(mild.stand.survival)


def test_no_more_than_thirty_past_years_are_used() -> None:
    """A record of fifty years gives thirty members: older weather is of a cooler time."""
    plan = plan_on("2026-04-20", record=weather(first="1975-01-01"))
    assert len(plan.outlook.years) == 30
    assert max(plan.outlook.years) == 2024


def test_rain_alone_is_never_quicker_than_moist_ground() -> None:
    """The residue in ground that gets only rain is gone no sooner than in ground that is kept moist."""
    plan = plan_on("2026-04-20", details=True)
    assert plan.ground.residue_by_rain >= plan.dates["residue"].median


# --- forecast rows --------------------------------------------------------------------------------


def with_forecast(days: int, warmer: float, *, first: str = "2000-01-01") -> DailyWeather:
    """The record with a forecast of so many days, each so much warmer than the 20 days before."""
    record = weather(first, str(day("2026-04-20") + invented.days(days)))
    table = record.table
    ahead = table.index > pd.Timestamp("2026-04-20")
    for name in ("tmin_c", "tmax_c"):
        table.loc[ahead, name] = table.loc[~ahead, name].iloc[-20:].mean() + warmer
    table.loc[ahead, "origin"] = "forecast"
    return record


def test_a_warm_forecast_brings_the_bloom_forward() -> None:
    """Ten days of heat ahead: an earlier opening than with ten days of cold, and the note says how good they are."""
    warm, cold = (plan_on("2026-04-20", record=with_forecast(10, by)) for by in (8.0, -4.0))
    assert warm.dates["window_open"].median + invented.days(3) <= cold.dates["window_open"].median
    assert any("10 forecast days are used, to 2026-04-30" in note for note in warm.provenance.notes)


def test_a_forecast_does_not_make_its_days_certain() -> None:
    """With the plant's own draws off, a stage within the forecast keeps a spread, and a later one a wider one."""
    still = Draws(**{name: np.zeros(1) for name in Draws.__slots__})
    plan = make_plan(field(), with_forecast(14, 6.0), day("2026-04-20"), still)
    reached = [name for name in ("first_flower", "bloom_25", "bloom_50") if plan.dates[name].late <= day("2026-05-04")]
    assert reached
    assert width(plan, reached[-1]) >= 1
    assert width(plan, "end_of_bloom") > width(plan, reached[0])


def test_a_forecast_without_past_years_dates_what_it_covers() -> None:
    """With this season alone, a stage that the forecast reaches is dated, with a spread; what lies beyond it is not."""
    plan = plan_on("2026-04-20", record=with_forecast(14, 8.0, first="2025-09-01"))
    assert not plan.outlook.complete
    inside = [name for name in ("bud", "first_flower") if not np.isnat(plan.dates[name].median)]
    assert inside
    assert all(plan.dates[name].early < plan.dates[name].median for name in inside)
    assert np.isnat(plan.dates["viable_seed"].median)
    assert plan.window.best is None


# --- what a note does not tell --------------------------------------------------------------------


def test_a_note_of_today_says_nothing_of_the_weather_to_come() -> None:
    """Buds half way to flowers on the last observed day: no past year is likelier to follow for it."""
    note = ScoutingNote(date=dt.date(2026, 4, 20), bbch=55)
    plan = plan_on("2026-04-20", scouting=(note,))
    stand = grow_stand(plan.outlook, plan.field.latitude, plan.cover, standard_draws(), scouting=(note,))
    assert np.ptp(stand.stages["first_flower"], axis=0).max() > 3  # the years do differ in when it flowers
    years = stand.weights.sum(axis=1)
    assert years == pytest.approx(np.full(years.size, 1 / years.size))
    assert width(plan, "window_open") < width(plan_on("2026-04-20"), "window_open")


def test_a_note_narrows_the_stage_and_leaves_the_rest_as_wide() -> None:
    """The soil and the dry matter are no surer for a note of the bloom: their intervals stay as wide, or nearly."""
    note = ScoutingNote(date=dt.date(2026, 4, 20), bbch=55)
    plain, noted = (plan_on("2026-04-20", details=True, scouting=notes) for notes in ((), (note,)))
    spans = [
        (plan.nitrogen.amounts["dry_matter_kg_ha"].high - plan.nitrogen.amounts["dry_matter_kg_ha"].low)
        / plan.nitrogen.amounts["dry_matter_kg_ha"].median
        for plan in (plain, noted)
    ]
    assert spans[1] > 0.9 * spans[0]
    assert width(noted, "soil_warm") > 0.85 * width(plain, "soil_warm")


# --- single parts ---------------------------------------------------------------------------------


def test_plans_made_together_keep_their_own_weather() -> None:
    """Each is that of its field and its record, in the order asked."""
    named = replace(RECORD, attribution="A")
    asked = [
        (asked_of, start_of(asked_of, record, day("2026-04-20")), record)
        for asked_of, record in (
            (field(), named),
            (field(turned_under="2026-04-10"), RECORD),
        )
    ]
    first, second = make_plans(asked)
    assert (first.state, second.state) == ("budding", "turned-under")
    assert first.provenance.notes[0] == "Weather: A"
    assert second.provenance.notes[0] != "Weather: A"


def test_no_limit_binds_where_the_season_is_not_known() -> None:
    """Without past years there is none; with them there is, unless there is no day of ending."""
    short = DailyWeather(table=RECORD.table.loc["2025-09-01":])
    assert plan_on("2026-04-20", record=short, turned_under="2026-04-10").planting.binding is None
    assert plan_on("2026-04-20", turned_under="2026-04-10").planting.binding in LIMITS


def test_seed_is_a_risk_from_the_morrow_of_the_middle_close_on() -> None:
    """On the last day of the window of half of the members it is still closing."""
    middle = plan_on("2026-04-20").dates["window_close"].median
    later = plan_on(str(middle))
    close = later.dates["window_close"].median
    assert plan_on(str(close)).state == "closing" or plan_on(str(close)).dates["window_close"].median < close
    states = [plan_on(str(close + np.timedelta64(by, "D"))).state for by in range(-8, 8)]
    assert "closing" in states
    first = states.index("seed-risk")
    on = close + np.timedelta64(first - 8, "D")
    assert plan_on(str(on)).dates["window_close"].median < on
    assert plan_on(str(on - np.timedelta64(1, "D"))).dates["window_close"].median >= on - np.timedelta64(1, "D")


def test_a_stand_of_nothing_brings_nothing() -> None:
    """The least clip sample that is taken, on the day of ending, leaves no member below nothing."""
    note = ScoutingNote(date=dt.date(2026, 4, 10), dry_matter_kg_ha=50.0)
    brings = plan_on("2026-04-20", turned_under="2026-04-10", scouting=(note,), details=True).nitrogen.amounts
    assert 0.0 <= brings["dry_matter_kg_ha"].low < 50.0 < brings["dry_matter_kg_ha"].high < 100.0


def test_what_the_day_would_be_without_a_doubtful_note() -> None:
    """Said where it is another, and not where there is no note in doubt."""
    wild = ScoutingNote(date=dt.date(2026, 3, 3), bloom_percent=50.0)
    plain, doubted = plan_on("2026-04-20"), plan_on("2026-04-20", scouting=(wild,))
    assert plain.window.undoubted is None
    assert plain.window.best is not None
    if doubted.window.best is None or doubted.window.best.date != plain.window.best.date:
        assert doubted.window.undoubted is not None
        assert doubted.window.undoubted.date == plain.window.best.date
    else:
        assert doubted.window.undoubted is None


def test_the_chance_to_ripen_is_a_chance(april: Plan) -> None:
    """Squash sown in June at 37.6 N ripens in most years, and where the season is not known nothing is said."""
    assert 0.5 < april.planting.ripens <= 1.0
    short = DailyWeather(table=RECORD.table.loc["2025-09-01":])
    assert np.isnan(plan_on("2026-04-20", record=short).planting.ripens)


def test_a_plan_is_of_the_day_asked_about() -> None:
    """And a window that is not known to have closed is open, on a day beyond what is known too."""
    assert plan_on("2026-04-20").on == day("2026-04-20")
    cut = weather(last="2026-05-14").table.loc["2025-09-01":]
    beyond = plan_on("2026-05-16", record=DailyWeather(table=cut))
    assert beyond.on == day("2026-05-16")
    assert not np.isnat(beyond.dates["window_open"].median)
    assert np.isnat(beyond.dates["window_close"].median)
    assert not np.isnat(beyond.dates["window_close"].early)
    assert 0.4 < beyond.window.open_now < 0.9  # of some it is known to have closed


def test_too_late_to_plant_begins_the_day_after_the_likely_last() -> None:
    """Then the crop has no day any more; up to it the day is today, where the ground is ready."""
    last = few("2026-08-01", turned_under="2026-05-08").planting.latest.median
    in_time, late = (few(str(last + invented.days(by)), turned_under="2026-05-08").planting for by in (0, 1))
    assert (in_time.too_late, late.too_late) == (False, True)
    assert (in_time.day, in_time.ripe.median > last) == (last, True)
    assert np.isnat([late.day, late.ripe.median]).all()


def test_a_plan_of_a_chain_has_its_details_and_says_what_it_lacks(april: Plan) -> None:
    """Unless they were left out; what was worked out is not told to be missing."""
    start = start_of(field(), RECORD, day("2026-04-20"))
    made = plan_of(field(), start, RECORD, follow(start, standard_draws(8)), standard_draws(8))
    assert made.details is not None
    assert "nitrogen" not in made.absent
    assert replace(made, details=None).absent["nitrogen"] == "not-asked-for"
    assert april.absent == {}


def test_what_is_done_is_read_from_the_field() -> None:
    """Ended, and planted."""
    states = [few("2026-07-01", **done) for done in ({}, {"turned_under": "2026-05-08"})]
    planted = few("2026-07-01", turned_under="2026-05-08", planted="2026-06-20")
    assert [(plan.is_ended, plan.is_planted) for plan in (*states, planted)] == [
        (False, False),
        (True, False),
        (True, True),
    ]


def test_the_planting_follows_the_chain(april: Plan) -> None:
    """Its likely day is the median of the earliest planting, its safe one that by which eight members of ten can."""
    chain = follow(start_of(field(), RECORD, day("2026-04-20")), standard_draws())
    planting, first = april.planting, april.outlook.days[0]
    assert planting.day == planting.earliest.median
    ready = [
        share_by(chain.ground.earliest, chain.weights, float((planting.safe - first).astype(int)) - by) for by in (0, 1)
    ]
    assert ready[1] < 0.8 <= ready[0]
    assert planting.soil_c == soil_wanted(april.crop, "direct-seed", None)[0]
    ripe = chain.ground.ripeness.ripe(float((planting.day - first).astype(int)))
    days = quantiles(np.broadcast_to(ripe, chain.weights.shape), chain.weights)
    assert planting.ripe == DateRange(**dict(zip(("early", "median", "late"), april.outlook.dates(days), strict=True)))


def test_what_is_planted_is_told_from_its_day() -> None:
    """When it comes up and ripens; and one that was planted beyond the days that are followed has no such days."""
    planted = few("2026-07-01", planted="2026-06-20", turned_under="2026-05-08").planting
    assert planted.day == day("2026-06-20")
    assert planted.day < planted.ripe.early
    later = few("2026-07-01", planted="2026-07-01", turned_under="2026-05-08").planting
    assert later.ripe.median > planted.ripe.median
    hopeless = few("2026-09-15", planted="2026-09-10", turned_under="2026-05-08").planting
    assert hopeless.ripens < 0.1 < 0.9 < planted.ripens  # by its own day, not by that on which it could have been


def test_the_stage_of_an_ended_cover_is_that_of_its_end() -> None:
    """It does not go on under the ground."""
    ended, then = few("2026-06-15", turned_under="2026-04-20"), few("2026-04-20")
    assert abs(ended.stand.bbch - then.stand.bbch) <= 1  # the weather of the day itself was not known in full
    assert few("2026-06-15").stand.bbch > then.stand.bbch + 10
    assert few("2026-03-02").stand.bbch < then.stand.bbch - 10


def test_the_winter_is_told_as_far_as_it_is_known_and_the_stand_stood() -> None:
    """To the last day with weather; to midsummer at the most; to the day of ending, that day included."""

    def told(on: str, **changes: str) -> np.datetime64:
        winter = few(on, **changes).winter
        assert winter.days[0] == day("2025-09-20")
        last: np.datetime64 = winter.days[-1]
        return last

    assert told("2026-04-20") == day("2026-04-20")
    assert told("2026-04-20", turned_under="2026-03-10") == day("2026-03-10")
    assert told("2026-08-20") == day("2026-01-01") + invented.days(182)
    assert told("2026-08-20", turned_under="2026-08-01") == told("2026-08-20")


def test_seed_by_now_is_a_chance_of_today() -> None:
    """The share of the members in which the first seed is viable by the day of the answer."""
    plan = few("2026-05-19")
    stand = grow_stand(plan.outlook, plan.field.latitude, plan.cover, standard_draws(8))
    today = plan.outlook.position(plan.on)
    assert plan.stand.seed_now == pytest.approx(share_by(stand.stages["viable_seed"], stand.weights, today))
    assert 0.1 < plan.stand.seed_now < 0.9


def test_a_season_that_is_over_is_refused() -> None:
    """Five hundred days after sowing is its last day."""
    sown, last = field().cover.sown, day("2027-02-02")
    assert last - np.datetime64(sown) == invented.days(500)
    record = weather(last="2027-02-03")
    assert start_of(field(), record, last).conditions.today == 500
    with pytest.raises(FieldFileError, match="lies more than 500 days before 2027-02-03, and that season is over"):
        start_of(field(), record, last + invented.days(1))


def test_a_day_to_plant_by_that_is_gone_is_refused() -> None:
    """Not today, nor once the crop is planted."""
    aim = replace(field(), aim=AimEntry(plant_by=dt.date(2026, 4, 20)))
    assert start_of(aim, RECORD, day("2026-04-20")).conditions.today == 212
    with pytest.raises(FieldFileError, match="plant_by = 2026-04-20 is before 2026-04-21; give a later day"):
        start_of(aim, RECORD, day("2026-04-21"))
    planted = replace(field(turned_under="2026-04-01", planted="2026-04-19"), aim=aim.aim)
    assert start_of(planted, RECORD, day("2026-04-21")).conditions.today == 213


def test_a_legume_that_died_beside_its_cereal_has_no_dates() -> None:
    """But that on which it came up; the stand is called dead, and the plan goes on with the rye."""
    cold = weather("2018-01-01", mean=7.5, swing=15.5)
    dry = replace(cold, table=cold.table.assign(prcp_mm=0.0))  # no snow
    alone = field("berseem-clover")
    rye = replace(alone, cover=replace(alone.cover, companion="cereal-rye"))
    plan = make_plan(rye, dry, day("2026-04-10"), standard_draws(16), details=False)
    assert plan.stand.killed
    assert plan.state != "winter-killed"
    assert not np.isnat(plan.stand.dates["emergence"].median)
    assert np.isnat([dates.early for name, dates in plan.stand.dates.items() if name != "emergence"]).all()
    assert any("The chance that the berseem clover lives" in note for note in plan.provenance.notes)
    assert any(note.endswith("dates are of the cereal alone.") for note in plan.provenance.notes)


def test_a_mulch_that_is_laid_early_costs_days() -> None:
    """As many as the same field under straw is later; nothing where none is laid, or the crop is planted."""
    done = field("hairy-vetch", "pumpkin", turned_under="2026-04-10", ground_cover="black-plastic")
    squares = replace(done, beds=BedsEntry(frames=4, mulch_m=0.1))
    on, draws = day("2026-04-20"), standard_draws(8)
    mulched = make_plan(squares, SHORT, on, draws)
    straw = make_plan(replace(done, crop=replace(done.crop, ground_cover="straw")), SHORT, on, draws)
    late = straw.planting.earliest.median - mulched.planting.earliest.median
    assert mulched.ground.mulch_costs == late.astype(int) > 0
    for other in (
        replace(squares, beds=replace(squares.beds, mulch_m=None)),
        replace(squares, crop=replace(done.crop, ground_cover="bare")),
        replace(squares, crop=replace(done.crop, planted=dt.date(2026, 4, 19))),
    ):
        assert make_plan(other, SHORT, on, draws).ground.mulch_costs is None
    alone = DailyWeather(table=SHORT.table.loc["2025-09-01":])
    assert make_plan(squares, alone, on, draws).ground.mulch_costs is None  # nothing is known of the days to come


# --- the edges of what is decided -----------------------------------------------------------------


def two_members(opens: float, bud: float, *, closed: float = 0.0, closing: bool = False) -> SimpleNamespace:
    """As much of a chain as a state is read from: two members of one weight, of which one never gets there."""
    stand = SimpleNamespace(opens=np.array([[opens, np.nan]]), stages={"bud": np.array([[bud, np.nan]])})
    chain = SimpleNamespace(stand=stand, weights=np.ones((1, 2)), is_closing=lambda today: closing)
    chain.closed_by = lambda day: closed if day == 99 else 0.0
    chain.least = lambda ask: ask(chain)
    return chain


@pytest.mark.parametrize(
    ("chain", "state"),
    [
        (two_members(101, 101), "growing"),
        (two_members(101, 100), "budding"),
        (two_members(100, 90), "in-window"),
        (two_members(100, 90, closing=True), "closing"),
        (two_members(100, 90, closed=0.49, closing=True), "closing"),
        (two_members(100, 90, closed=0.5, closing=True), "seed-risk"),  # by yesterday, day 99
    ],
)
def test_half_of_the_members_make_a_state(chain: Chain, state: str) -> None:
    """From the day on which half have come to it, that day included."""
    assert _state(field(), chain, 100) == state


@pytest.mark.parametrize(("ready", "state"), [(7, "turned-under"), (8, "plantable")])
def test_eight_members_of_ten_make_it_plantable(ready: int, state: str) -> None:
    """By the day asked about, and neither seed nor buds matter any more."""
    earliest = np.where(np.arange(10) < ready, 100.0, 101.0)
    chain = SimpleNamespace(ground=SimpleNamespace(earliest=earliest), weights=np.ones(10))
    assert _state(field(turned_under="2026-05-08"), chain, 100) == state  # type: ignore[arg-type]


def ripening(*latest: float, rivals: tuple = (), earliest: float = 250.0) -> SimpleNamespace:
    """As much of a chain as the chance to ripen is read from, with one member for each last day of planting."""
    ground = SimpleNamespace(earliest=np.full(len(latest), earliest), latest=np.array(latest))
    return SimpleNamespace(ground=ground, weights=np.ones(len(latest)), rivals=rivals)


@pytest.mark.parametrize(
    ("chain", "chance"),
    [
        (ripening(250.0, 249.0, np.nan, 251.0), 0.75),  # on the last day it ripens, and where it never freezes
        (ripening(250.0, 249.0, rivals=(ripening(251.0, 252.0),)), 0.5),
        (ripening(251.0, 252.0, rivals=(ripening(250.0, 249.0), ripening(250.0, earliest=np.nan))), 0.5),
        (ripening(251.0, rivals=(ripening(250.0, earliest=np.nan),)), 1.0),
    ],
)
def test_the_chance_to_ripen_is_the_least_that_is_known(chain: Chain, chance: float) -> None:
    """With the notes in doubt or without them; a chain whose ground is never ready says nothing."""
    assert _ripens_at_least(chain, None) == pytest.approx(chance)


def test_without_past_years_nothing_is_said_of_ripening() -> None:
    """The ground is ready, but of the freezes to come no year tells; with past years there is a chance."""
    for first, known in (("2025-09-01", False), ("2000-01-01", True)):
        plan = plan_on("2026-08-01", record=weather(first, "2026-08-01"), turned_under="2026-05-08")
        assert not np.isnat(plan.planting.earliest.median)
        assert np.isnan(plan.planting.ripens) != known


@pytest.mark.parametrize(
    ("survival", "turned_under", "said"),
    [(0.95, None, ""), (0.9499, None, " 95%,"), (0.004, None, " 1%,"), (0.5, "2026-05-08", "")],
)
def test_a_doubtful_winter_is_said_below_95_percent(survival: float, turned_under: str | None, said: str) -> None:
    """While the stand stands; and never a chance of nothing."""
    notes = _notes(field(turned_under=turned_under), catalogue.cover("crimson-clover"), survival, "measured")
    found = [note for note in notes if note.startswith("The chance that the stand lives through the cold is")]
    assert [said in note for note in found] == [True] * bool(said)


def test_the_middle_year_of_a_day() -> None:
    """Up to the last day of the season; beyond it, or on no day, there is none."""
    by_year = np.array([[1.0, 2.0], [5.0, 9.0], [2.0, 4.0]])
    assert [_median_on(by_year, day) for day in (0.0, 1.0)] == [2.0, 4.0]
    assert np.isnan([_median_on(by_year, day) for day in (2.0, np.nan)]).all()


def test_the_window_is_open_where_it_is_not_known_to_have_closed() -> None:
    """By its odds, as far as they go; beyond them from the day of opening to that of closing, both within."""
    stand = SimpleNamespace(
        opens=np.array([101.0, 102.0, 101.0, 101.0, np.nan]), closes=np.array([101.0, 109.0, 100.0, np.nan, np.nan])
    )
    chain = SimpleNamespace(
        stand=stand, ending=SimpleNamespace(odds=np.full(101, 0.25)), weights=np.array([1.0, 2.0, 4.0, 8.0, 16.0])
    )
    assert _open_on(chain, 100) == 0.25  # type: ignore[arg-type]
    assert _open_on(chain, 101) == pytest.approx((1 + 8) / 31)  # type: ignore[arg-type]
    assert _open_on(chain, 102) == pytest.approx((2 + 8) / 31)  # type: ignore[arg-type]


@pytest.mark.parametrize(("planted", "chance"), [(250.0, 0.75), (251.0, 0.5), (252.0, 0.25)])
def test_a_crop_in_the_ground_ripens_by_its_own_day(planted: float, chance: float) -> None:
    """Not by that on which the ground was ready; of what never freezes there is no last day."""
    chain = ripening(249.0, 250.0, 251.0, np.nan, earliest=200.0)
    assert _ripens_at_least(chain, planted) == pytest.approx(chance)  # type: ignore[arg-type]


def test_a_chance_is_of_the_members_in_which_it_is_known() -> None:
    """By their weights, with one row for all draws; in none it is not known."""
    weights = np.array([[0.1, 0.2], [0.3, 0.4]])
    assert _chance(np.array([[1.0, 0.0], [np.nan, 1.0]]), weights) == pytest.approx((0.1 + 0.4) / 0.7)
    assert _chance(np.array([[1.0], [0.0]]), weights) == pytest.approx(0.3)
    assert _chance(np.array([[0.0], [np.nan]]), weights) == 0.0
    assert np.isnan(_chance(np.full((2, 1), np.nan), weights))


def test_a_crop_that_is_planted_has_its_day_while_it_is_followed() -> None:
    """Up to the last day of the season; one that is not planted has the likely one."""
    outlook = invented.season(10.0, length=300)
    last, beyond = (field(turned_under="2026-05-01", planted=each) for each in ("2026-06-27", "2026-06-28"))
    assert _planted(last, outlook, 7.0) == 299.0
    assert np.isnan(_planted(beyond, outlook, 7.0))
    assert _planted(field(), outlook, 7.0) == 7.0


@pytest.mark.parametrize(
    ("places", "said"), [(1, "(mine.csv: 9 at 1 place), good to about 5 days"), (2, "9 at 2 places), good to about 5")]
)
def test_own_numbers_are_said_to_be_used(places: int, said: str) -> None:
    """With how many records they rest on; then nothing is said of a cultivar."""
    own = SimpleNamespace(records="mine.csv", count=9, places=places)
    entry = SimpleNamespace(cover=SimpleNamespace(companion=None, turned_under=None, calibration=own, cultivar=""))
    cover = catalogue.cover("crimson-clover")
    spread, pace = replace(cover.bloom.spread, value=60.0), replace(cover.bloom.pace, value=12.0)
    bloom = replace(cover.bloom, spread=spread, pace=pace)
    (note,) = _notes(entry, replace(cover, bloom=bloom), 1.0, "measured")  # type: ignore[arg-type]
    assert said in note


def test_a_cultivar_that_is_not_given_is_said_to_widen_the_dates() -> None:
    cover = catalogue.cover("crimson-clover")
    (note,) = _notes(field(), cover, 1.0, "measured")
    assert note == "The cultivar of the crimson clover is not given, so its dates are wider than they need be."
    assert _notes(field(cultivar="Dixie"), cover, 1.0, "measured") == []


def test_what_lives_is_the_legume_where_a_cereal_stands_beside_it() -> None:
    """Alone it is the stand."""
    cover, plain = catalogue.cover("crimson-clover"), field(cultivar="Dixie")
    mixed = replace(plain, cover=replace(plain.cover, companion="cereal-rye"))
    alone, beside = (_notes(each, cover, 0.5, "none") for each in (plain, mixed))
    assert alone[0].startswith("The chance that the stand lives through the cold is 50%, with no snow reckoned with")
    assert beside[0].startswith("The chance that the crimson clover lives through the cold is 50%")
    assert alone[0].endswith("dates are those of a stand that lives.")


def test_a_crop_is_up_after_the_days_that_the_soil_of_its_day_asks() -> None:
    """That of the middle year; beyond the season it is not known."""
    corn, soil = catalogue.crop("sweet-corn"), np.array([[10.0, 15.0], [10.0, 20.0], [10.0, 30.0]])
    ground = SimpleNamespace(soil_c=soil)
    assert _emergence(corn, ground, 1.0) == float(emergence_days(corn, 20.0)) > 3  # type: ignore[arg-type]
    assert np.isnan(_emergence(corn, ground, 2.0))  # type: ignore[arg-type]


def test_each_field_that_is_done_is_told() -> None:
    """One by one, with its details if they were asked for."""
    told: list[float] = []
    asked = [(field(), start_of(field(), RECORD, day("2026-04-20")), RECORD)] * 2
    made = make_plans(asked, standard_draws(8), details=False, advance=told.append)
    assert (told, [plan.details for plan in made]) == ([1, 1], [None, None])
