"""What each part of a plan decides, at the edges of each decision, and what a plan says that it lacks."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from invented import days, field, weather

from covercrop.base.errors import UsageError
from covercrop.base.records import DateRange
from covercrop.field.entries import ScoutingNote
from covercrop.models import biomass
from covercrop.models.members import standard_draws
from covercrop.parameters.companions import companion
from covercrop.render.data import machine
from covercrop.season import absent
from covercrop.season.chain import DATES
from covercrop.season.doubts import Doubt
from covercrop.season.ground_part import ground_part
from covercrop.season.next_step import look_for, next_step, visits, work_ahead
from covercrop.season.nitrogen_part import Amount, NitrogenPart, nitrogen_part
from covercrop.season.plan import Plan, make_plan
from covercrop.season.planting_part import planting_part
from covercrop.season.provenance import observed_share, stale_since, to_check
from covercrop.season.stand_part import seen_otherwise, stand_part
from covercrop.season.window_part import WindowPart, window_part

ON = np.datetime64("2026-04-20")
NEVER = np.datetime64("NaT", "D")
RECORD = weather(last="2026-10-31")


def day(text: str) -> np.datetime64:
    return np.datetime64(text, "D")


def plan_on(on: str, *, details: bool = True, **changes: object) -> Plan:
    return make_plan(field(**changes), RECORD, day(on), details=details)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def spring() -> Plan:
    """A plan in spring, with all its parts."""
    return plan_on("2026-04-20")


# --- the stand ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("survival", "ended", "doubtful"), [(0.79, False, True), (0.8, False, False), (0.1, True, False)]
)
def test_a_stand_is_doubtful_below_eight_in_ten(spring: Plan, survival: float, ended: bool, doubtful: bool) -> None:
    """And only while it stands: once it is ended, what the cold would have done no longer matters."""
    likely = dict.fromkeys(("emergence", "bud", "first_flower", "bloom_10", "bloom_25", "bloom_50"), 20.0)
    made = stand_part(
        spring.dates,
        likely | {"end_of_bloom": np.nan, "viable_seed": np.nan},
        10.0,
        survival=survival,
        killed=False,
        ended=ended,
        seed_now=0.0,
        notes=(),
        on=ON,
    )
    assert made.doubtful is doubtful
    assert (made.bbch, made.stage) == (0, "sown, not yet up")


@pytest.mark.parametrize(
    ("seen", "on", "code", "otherwise"),
    [
        (57, "2026-04-20", 55, False),  # three stages apart are argued over, two are not
        (58, "2026-04-20", 55, False),  # both are buds, none open
        (52, "2026-04-20", 55, True),
        (62, "2026-04-20", 60, False),  # two shares in bloom, two stages apart
        (63, "2026-04-20", 60, True),
        (59, "2026-04-20", 60, True),  # between the last bud and the first flower there is a step to see
        (30, "2026-04-19", 55, False),  # it may have gone on since yesterday
        (30, "2026-04-20", 55, True),
        (65, "2026-04-19", 55, True),  # and it has not gone back
    ],
)
def test_what_was_seen_is_not_argued_with(seen: int, on: str, code: int, otherwise: bool) -> None:
    """A note of another stage than the likely one is said, but not for a step or two, nor for what has gone on."""
    note = ScoutingNote(date=dt.date.fromisoformat(on), bbch=seen)
    assert (seen_otherwise([note], code, ON) is note) is otherwise


def test_the_last_note_of_a_stage_counts() -> None:
    """Not an earlier one, nor one of the soil."""
    first, last = (ScoutingNote(date=dt.date(2026, 4, number), bbch=80) for number in (10, 20))
    soil = ScoutingNote(date=dt.date(2026, 4, 20), soil_c=12.0)
    assert seen_otherwise([last, soil, first], 55, ON) is last
    assert seen_otherwise([soil], 55, ON) is None


# --- the window -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("chance", "poor"), [(0.49, True), (0.5, False)])
def test_a_window_is_poor_below_one_half(spring: Plan, chance: float, poor: bool) -> None:
    """And without a best day there is nothing to be poor."""
    assert spring.window.best is not None
    assert replace(spring.window, best=replace(spring.window.best, probability=chance)).poor is poor
    assert not replace(spring.window, best=None).poor


def test_chances_that_round_to_nothing_are_left_out(spring: Plan) -> None:
    """From the first day with half a hundredth to the last, and what lies between; half or more is half or more."""
    chances = np.zeros(spring.window.days.size)
    chances[[10, 11, 13, 14, 15, 16]] = [0.0049, 0.005, 0.5, 0.6, 0.49, 0.005]
    window = replace(spring.window, chances=chances)
    assert window.spell == slice(11, 17)
    assert window.likely_open == (window.days[13], window.days[14])
    nothing = replace(window, chances=np.zeros_like(chances))
    assert chances[nothing.spell].size == 0
    assert nothing.likely_open is None


def window_of(plan: Plan, *, chance: float = 0.0, closes: np.datetime64 = NEVER, **changes: object) -> WindowPart:
    """A window of one likely day, on the day of the answer."""
    odds = np.zeros(plan.outlook.days.size)
    today = plan.outlook.position(plan.on)
    odds[today] = chance
    ending = SimpleNamespace(
        method="turn-under", odds=odds, best=None, day=today, surer=None, too_late=False, chances=None
    )
    never = DateRange(early=NEVER, median=NEVER, late=NEVER)
    given = {"asked": "turn-under", "open_now": chance, "undoubted": None, "killed": False, "ended": False}
    dates = (never, replace(never, early=closes))
    return window_part(ending, plan.outlook, today, dates=dates, **(given | changes))  # type: ignore[arg-type]


def test_a_window_is_foretold_from_a_chance_of_one_in_twenty(spring: Plan) -> None:
    """But not once the cover is ended or dead."""
    assert window_of(spring, chance=0.05).foretold
    assert not window_of(spring, chance=0.0499).foretold
    assert not window_of(spring, chance=0.9, ended=True).foretold
    dead = window_of(spring, chance=0.9, killed=True)
    assert (dead.foretold, dead.chances.max(), dead.no_best) == (False, 0.0, absent.DEAD)
    assert np.isnat(dead.ending_day)
    assert window_of(spring, chance=0.9).ending_day == ON


def test_a_day_without_the_doubts_is_told_where_it_is_another(spring: Plan) -> None:
    """Not where it is the same, nor where there is none."""
    best = spring.window.best
    assert best is not None
    other = replace(best, date=best.date + days(1))
    outlook, today = spring.outlook, spring.outlook.position(ON)
    ending = SimpleNamespace(
        chances=None, method="roll", odds=spring.window.chances, best=best, day=today, surer=None, too_late=False
    )
    edges = (spring.window.opens, spring.window.closes)
    given = {"asked": "roll", "dates": edges, "open_now": 0.5, "killed": False, "ended": False}
    for undoubted, told in ((best, None), (other, other), (None, None)):
        made = window_part(ending, outlook, today, undoubted=undoubted, **given)  # type: ignore[arg-type]
        assert made.undoubted is told


def test_a_window_may_be_closed_from_the_day_after_one_in_ten_is(spring: Plan) -> None:
    """Not on the early end of the interval itself, and not where it does not close."""
    assert window_of(spring, closes=ON - days(1)).may_be_closed
    assert not window_of(spring, closes=ON).may_be_closed
    assert not window_of(spring).may_be_closed


def test_the_best_chance_of_being_in_time_is_that_of_the_days_ahead(spring: Plan) -> None:
    """Today among them, what is gone by not; nothing is known where there is nothing to choose."""
    today, size = spring.outlook.position(ON), spring.outlook.days.size
    in_time = np.zeros(size)
    in_time[today - 1 : today + 3] = [0.9, 0.7, 0.6, 0.65]
    ending = SimpleNamespace(
        method="roll", odds=np.zeros(size), best=None, day=None, surer=None, too_late=False, chances=None
    )
    edges = (spring.window.opens, spring.window.closes)
    given = {"asked": "roll", "dates": edges, "open_now": 0.5, "killed": False, "ended": False, "undoubted": None}

    def best(of_days: np.ndarray | None, day: int) -> float:
        ending.chances = None if of_days is None else SimpleNamespace(in_time=of_days)
        return window_part(ending, spring.outlook, day, **given).best_in_time  # type: ignore[arg-type]

    assert best(in_time, today) == 0.7
    assert best(in_time, today + 1) == 0.65
    assert best(in_time, size) == 0.0
    assert np.isnan(best(None, today))


def test_another_way_than_was_asked_for_is_said() -> None:
    """Balansa clover cannot be rolled in time, so it is turned under instead; crimson clover can."""
    changed = plan_on("2026-03-01", species="balansa-clover", terminate="roll")
    assert (changed.window.asked, changed.window.method, changed.window.instead) == ("roll", "turn-under", True)
    assert machine.field(changed)["turn_under"]["instead_of"] == "roll"
    kept = plan_on("2026-03-01", terminate="roll")
    assert (kept.window.method, kept.window.instead) == ("roll", False)
    assert machine.field(kept)["turn_under"]["instead_of"] is None


def test_a_best_day_ahead_is_waited_for(spring: Plan) -> None:
    """In April it is ahead; once the window is closing it is today."""
    assert spring.window.waits
    closing = plan_on("2026-05-14")
    assert closing.window.best is not None
    assert (closing.window.best.date, closing.window.waits) == (closing.on, False)
    assert not plan_on("2026-06-15").window.waits


# --- planting -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ripens", "likely"), [(0.79, False), (0.8, True), (np.nan, None)])
def test_a_crop_is_likely_ripe_from_eight_in_ten(spring: Plan, ripens: float, likely: bool | None) -> None:
    """And where the chance is not known, neither is that."""
    assert replace(spring.planting, ripens=ripens).likely_ripe is likely


def test_planted_before_it_was_safe_and_too_late_to_plant() -> None:
    """Both are said of the days on which they are so, and of no other."""
    early = plan_on("2026-07-01", turned_under="2026-05-08", planted="2026-05-15").planting
    in_time = plan_on("2026-07-01", turned_under="2026-05-08", planted="2026-06-20").planting
    assert (early.before_safe, in_time.before_safe) == (True, False)
    on_the_day = plan_on("2026-07-01", turned_under="2026-05-08", planted=str(early.earliest.median)).planting
    assert (on_the_day.earliest.median, on_the_day.before_safe) == (early.earliest.median, False)
    assert early.earliest.median > day("2026-05-15")
    assert not plan_on("2026-07-01", turned_under="2026-05-08").planting.too_late
    assert plan_on("2026-10-15", turned_under="2026-05-08").planting.too_late
    assert day("2026-06-20") + days(40) < in_time.ripe.median < day("2026-06-20") + days(70)  # summer squash
    assert plan_on("2026-07-01", turned_under="2026-05-08").planting.day == day("2026-07-01")
    assert np.isnat(plan_on("2026-10-15", turned_under="2026-05-08").planting.ripe.median)


@pytest.mark.parametrize(("chance", "cold"), [(0.49, False), (0.5, True), (np.nan, None)])
def test_cold_filling_is_warned_of_from_even_odds(spring: Plan, chance: float, cold: bool | None) -> None:
    """And is not known of a crop that is picked young."""
    made = planting_part(
        spring.field.crop,
        spring.dates,
        safe=NEVER,
        binding=None,
        ripens=0.5,
        day=ON,
        ripe=DateRange(early=NEVER, median=NEVER, late=NEVER),
        cold_filling=chance,
        soil_c=16.0,
        emergence_days=5.0,
        too_late=False,
    )
    assert made.cold_filling is cold


# --- the ground -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("by_rain", "known", "worth"),
    [
        ("2026-06-02", True, False),
        ("2026-06-03", True, True),
        ("NaT", True, True),
        ("NaT", False, False),
    ],
)
def test_watering_is_worth_three_days(by_rain: str, known: bool, worth: bool) -> None:
    """Or a residue that the rain alone would not rot this season, where the season is known to its end."""
    assert ground_part(day("2026-05-31"), day(by_rain), NEVER, NEVER, NEVER, known=known).worth_watering is worth


def test_nothing_is_gained_where_nothing_rots() -> None:
    """Where the residue is not gone on moist ground either, water does not help."""
    assert not ground_part(NEVER, NEVER, NEVER, NEVER, NEVER, known=True).worth_watering


@pytest.mark.parametrize(("later", "named"), [(7, False), (8, True)])
def test_soil_that_is_good_for_seed_is_named_where_it_comes_more_than_a_week_later(later: int, named: bool) -> None:
    """Both dates are said only where they differ by enough to be worth a choice."""
    made = ground_part(NEVER, NEVER, NEVER, ON + days(later), ON, known=True)
    assert (not np.isnat(made.soil_good)) is named


# --- nitrogen -------------------------------------------------------------------------------------


def nitrogen_of(
    plan: Plan,
    *notes: ScoutingNote,
    draws: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0),
    percent: float = 3.0,
    cereal: object = None,
    ending: int | None = None,
    other: int | None = None,
    release: dict[int, np.ndarray] | None = None,
) -> NitrogenPart:
    """What a stand of so many per cent of nitrogen brings, ended on the day of the answer if not told otherwise."""
    years = plan.outlook.tmean.shape[0]
    stand = SimpleNamespace(
        cereal=cereal,
        stages={"emergence": np.full((years, 4), 10.0)},
        dry_matter_on=biomass.dry_matter_on,
        nitrogen_percent=lambda day, growth, draws: np.full((years, 4), percent),
    )
    return nitrogen_part(
        stand,  # type: ignore[arg-type]
        plan.cover.growth,
        plan.outlook,
        notes,
        np.ones((years, 4)),
        SimpleNamespace(dry_matter=np.array(draws)),  # type: ignore[arg-type]
        plan.outlook.position(ON) if ending is None else ending,
        killed=False,
        release=release or {},
        by_planting=0.4,
        other=other,
    )


#: Clipped on the day of the answer [kg/ha].
CLIPPED = ScoutingNote(date=ON.item(), dry_matter_kg_ha=4000.0)


def test_amounts_are_those_of_a_sample_and_its_scatter(spring: Plan) -> None:
    """4,000 kg/ha clipped on the day of ending, good to 15 %: 3,400 to 4,600; at 3 % N; and never less than nothing."""
    found = nitrogen_of(spring, CLIPPED, draws=(-1.0, 0.0, 0.0, 1.0)).amounts
    for name, share in (("dry_matter_kg_ha", 1.0), ("n_kg_ha", 0.03)):
        assert (found[name].low, found[name].median, found[name].high) == pytest.approx(
            (3400 * share, 4000 * share, 4600 * share)
        )
    assert "n_percent" not in found
    assert nitrogen_of(spring, CLIPPED, draws=(-10.0, 0.0, 0.0, 1.0)).amounts["dry_matter_kg_ha"].low == 0.0


def test_a_sample_of_nitrogen_takes_the_place_of_the_models(spring: Plan) -> None:
    """2.4 % by the laboratory, where the model has 3."""
    sample = replace(CLIPPED, nitrogen_percent=2.4)
    assert nitrogen_of(spring, sample).amounts["n_kg_ha"].median == pytest.approx(96.0)


def test_a_mixture_tells_its_nitrogen_and_what_it_ties_up(spring: Plan) -> None:
    """Legume and cereal by their shares, in C:N; a poor one ties up, releases nothing, and has no share of it."""
    shares: list[float] = []
    cereal = SimpleNamespace(
        companion=companion("rye"), legume_share=lambda day, draws: shares.append(day) or np.full(4, 0.25)
    )
    half = {4: np.full((3, 4), 0.5)}
    poor = nitrogen_of(spring, CLIPPED, percent=1.0, cereal=cereal, release=half)
    carbon = 0.25 * biomass.CARBON_PERCENT + 0.75 * cereal.companion.nitrogen.carbon.value
    assert poor.amounts["carbon_nitrogen"].median == pytest.approx(carbon / 1.0)
    assert poor.amounts["n_percent"].median == 1.0
    assert poor.ties_up is not None
    assert (poor.release, shares) == ({}, [spring.outlook.position(ON)])
    assert np.isnan(poor.by_planting)
    rich = nitrogen_of(spring, CLIPPED, cereal=cereal, release=half)
    assert (rich.ties_up, rich.by_planting, set(rich.release)) == (None, 0.4, {4})


def test_a_poor_legume_brings_nothing_and_ties_nothing_up(spring: Plan) -> None:
    """Nothing at all is no less than nothing: its release is told all the same."""
    found = nitrogen_of(spring, CLIPPED, percent=0.5, release={4: np.full((3, 4), 0.5)})
    assert (found.amounts["pan_kg_ha"].median, found.ties_up, found.by_planting) == (0.0, None, 0.4)
    assert set(found.release) == {4}


@pytest.mark.parametrize(
    ("pan", "tied"),
    [
        ((-30.0, -10.0, -2.0), (2.0, 10.0, 30.0)),
        ((-30.0, -10.0, 5.0), (0.0, 10.0, 30.0)),
        ((-9.0, -0.5, 9.0), (0.0, 0.5, 9.0)),
        ((-9.0, 0.0, 9.0), None),
    ],
)
def test_what_is_tied_up_is_told_as_it_has_to_be_made_good(
    spring: Plan, pan: tuple[float, ...], tied: tuple[float, ...] | None
) -> None:
    """From the least to the most, and no less than nothing."""
    low, median, high = pan
    amounts = {"pan_kg_ha": Amount(low=low, median=median, high=high)}
    found = replace(spring.nitrogen, amounts=amounts).ties_up
    assert (None if found is None else (found.low, found.median, found.high)) == tied
    assert replace(spring.nitrogen, amounts={}).ties_up is None


def test_what_is_forgone_is_the_difference_between_the_two_days(spring: Plan) -> None:
    """More, where the day that is given up is the later one; none without such a day."""
    now = spring.outlook.position(ON)
    first, later = (nitrogen_of(spring, ending=day).amounts["pan_kg_ha"].median for day in (now, now + 20))
    assert later > first + 1
    assert nitrogen_of(spring, other=now + 20).forgone_kg_ha == pytest.approx(later - first)
    assert nitrogen_of(spring, ending=now + 20, other=now).forgone_kg_ha == pytest.approx(first - later)
    assert np.isnan(nitrogen_of(spring).forgone_kg_ha)


def test_an_ending_beyond_the_season_has_no_amounts(spring: Plan) -> None:
    """The last day of it has."""
    size = spring.outlook.days.size
    assert nitrogen_of(spring, ending=size - 1).no_amounts is None
    assert nitrogen_of(spring, ending=size).no_amounts == absent.NOT_KNOWN


def test_the_release_of_the_middle_year_is_told(spring: Plan) -> None:
    """From the slow to the fast case, each by the middle of the years; without a week that most do not reach."""
    years = np.array([[0.1, 0.2, 0.9], [0.3, 0.4, 0.9], [0.5, 0.6, 0.9]])
    beyond = np.full((3, 3), np.nan)
    assert nitrogen_of(spring, release={4: years, 8: beyond}).release == {4: Amount(low=0.2, median=0.4, high=0.6)}


# --- provenance -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("age", "stale"), [(21, False), (22, True)])
def test_weather_is_stale_after_three_weeks(age: int, stale: bool) -> None:
    """And the last day with weather is named."""
    outlook = SimpleNamespace(days=ON - days(30) + np.arange(60), known=31 - age)
    found = stale_since(outlook, ON)  # type: ignore[arg-type]
    assert bool(np.isnat(found)) is not stale
    assert not stale or found == ON - days(age)


def test_the_share_observed_runs_to_the_day_of_ending() -> None:
    """That day included; without an ending, to the last day that is known."""
    outlook = SimpleNamespace(observed=np.array([True] * 5 + [False] * 5), known=10)
    assert observed_share(outlook, 4) == pytest.approx(1.0)  # type: ignore[arg-type]
    assert observed_share(outlook, 5) == pytest.approx(5 / 6)  # type: ignore[arg-type]
    assert observed_share(outlook, None) == pytest.approx(0.5)  # type: ignore[arg-type]


def test_what_doubts_ask_for_first() -> None:
    """The soil, the sowing date, the note once the stand was seen since, otherwise the stand; nothing without any."""
    note = ScoutingNote(date=dt.date(2026, 4, 3), bloom_percent=50)
    since = ScoutingNote(date=dt.date(2026, 4, 4), bbch=30)
    soil = ScoutingNote(date=dt.date(2026, 4, 5), soil_c=20.0)
    doubt = Doubt(note=note, days=30.0)
    assert to_check([], [note]) is None
    assert to_check([doubt, Doubt(note=soil, kelvin=9.0)], [note]) == "soil"
    assert to_check([replace(doubt, confirmed=True)], [note]) == "sowing"
    assert to_check([doubt], [note, since]) == "notes"
    assert to_check([doubt], [note, soil]) == "stand"
    assert to_check([doubt], [note, replace(since, date=note.date)]) == "stand"
    assert to_check([doubt, Doubt(note=since, days=9.0)], [note, since]) == "stand"
    cereal, later = (ScoutingNote(date=dt.date(2026, 4, number), cereal=45) for number in (3, 9))
    of_cereal = Doubt(note=cereal, days=20.0, of_cereal=True)
    assert to_check([of_cereal], [cereal, later]) == "notes"
    assert to_check([of_cereal], [cereal, since]) == "stand"  # that looked at the legume
    assert to_check([doubt], [note, later]) == "stand"


def test_a_doubted_note_that_the_answer_rests_on(spring: Plan) -> None:
    """Not one that is set aside, nor a reading of the soil that no other confirms."""
    stage = Doubt(note=ScoutingNote(date=dt.date(2026, 4, 3), bbch=65), days=30.0)
    soil = Doubt(note=ScoutingNote(date=dt.date(2026, 4, 3), soil_c=30.0), kelvin=12.0)
    rests = replace(spring.provenance, doubts=(stage, soil))
    assert rests.rests_on(stage)
    assert not rests.rests_on(soil)
    assert rests.rests_on(replace(soil, confirmed=True))
    assert not replace(rests, set_aside=(stage,)).rests_on(stage)


# --- what is next ---------------------------------------------------------------------------------


def test_what_there_is_to_look_for(spring: Plan) -> None:
    """Buds, a week before the window the first flowers, and once they are likely open, how many."""
    first = spring.stand.dates["first_flower"].median
    assert look_for(spring.stand, first - days(1), 3) == "buds"
    assert look_for(spring.stand, first - days(1), 1) == "first-flowers"
    assert look_for(spring.stand, first, 3) == "bloom"


@pytest.mark.parametrize(
    ("ahead", "weeks"), [(2, [1]), (7, [1]), (13, [1]), (14, [2, 1]), (70, [8, 7, 6, 5, 4, 3, 2, 1])]
)
def test_a_visit_a_week_from_the_buds_on(spring: Plan, ahead: int, weeks: list[int]) -> None:
    """One at the least, eight at the most, each numbered by its weeks before the window opens."""
    opens = ON + days(90)
    window = replace(spring.window, opens=DateRange(early=opens, median=opens, late=opens))
    bud = DateRange(early=NEVER, median=opens - days(ahead), late=NEVER)
    found = list(visits(replace(spring.stand, dates=spring.stand.dates | {"bud": bud}), window))
    assert found == [(week, opens - days(7 * week)) for week in weeks]
    assert list(visits(spring.stand, replace(window, opens=DateRange(early=NEVER, median=NEVER, late=NEVER)))) == []


@pytest.mark.parametrize(
    ("buds", "best", "action"), [(3, 3, "end"), (3, 4, "scout"), (0, 4, "scout"), (-1, 4, "end"), (7, 20, "end")]
)
def test_a_visit_comes_before_the_best_week(spring: Plan, buds: int, best: int, action: str) -> None:
    """Today or within the week, and not on its first day, when one comes to end the cover."""
    assert spring.window.best is not None
    opens, start = ON + days(buds + 7), ON + days(best)
    window = replace(
        spring.window,
        opens=DateRange(early=opens, median=opens, late=opens),
        best=replace(spring.window.best, date=start, start=start, end=start + days(6)),
    )
    bud = DateRange(early=NEVER, median=ON + days(buds), late=NEVER)
    stand = replace(spring.stand, dates=spring.stand.dates | {"bud": bud})
    step = next_step("budding", ON, stand, window, spring.planting)
    assert (step.action, step.start) == (action, ON + days(buds) if action == "scout" else start)


@pytest.mark.parametrize(("best", "start"), [(None, 0), (-2, 0), (3, 3)])
def test_an_open_window_is_used_from_today_or_from_its_best_week(spring: Plan, best: int | None, start: int) -> None:
    """Never from a day gone by; and it ends no earlier than it begins, whatever the odds of its closing."""
    assert spring.window.best is not None
    closes = ON - days(1)
    window = replace(
        spring.window,
        best=None if best is None else replace(spring.window.best, start=ON + days(best)),
        closes=DateRange(early=closes, median=closes, late=closes),
    )
    step = next_step("in-window", ON, spring.stand, window, spring.planting)
    assert (step.action, step.start, step.end) == ("end", ON + days(start), ON + days(start))


def test_where_seed_is_about_it_is_turned_under() -> None:
    """Whatever way was asked for."""
    late = plan_on("2026-06-15", terminate="mow")
    assert late.state == "seed-risk"
    assert (late.next_step.action, late.next_step.method) == ("end", "turn-under")
    assert plan_on("2026-05-06", terminate="roll").next_step.method == "roll"
    assert plan_on("2026-05-20", turned_under="2026-05-08").next_step.method is None


def test_the_work_ahead_passes_scouting_over(spring: Plan) -> None:
    """Ending the cover on its best day; then planting from the likely day, or today; then none."""
    assert spring.window.best is not None
    assert spring.work_ahead is not None
    assert (spring.work_ahead.action, spring.work_ahead.start) == ("end", spring.window.best.date)
    ended = plan_on("2026-05-20", turned_under="2026-05-08")
    assert ended.work_ahead is not None
    assert (ended.work_ahead.action, ended.work_ahead.start) == ("plant", ended.planting.earliest.median)
    late = work_ahead(day("2026-07-20"), ended.window, ended.planting, ended=True, planted=False)
    assert late is not None
    assert late.start == day("2026-07-20")
    assert plan_on("2026-07-01", turned_under="2026-05-08", planted="2026-06-20").work_ahead is None
    assert plan_on("2026-06-15").work_ahead is None


# --- what is not there ----------------------------------------------------------------------------


def test_a_part_that_was_left_out_raises_one_plain_line() -> None:
    """And JSON says that nobody asked, instead of a null that could be a never."""
    short = plan_on("2026-04-20", details=False)
    for part in ("ground", "nitrogen"):
        with pytest.raises(UsageError, match=rf"^Test plot: the plan was made without its {part}; make it with"):
            getattr(short, part)
    found = machine.field(short)
    assert found["nitrogen"]["pan_kg_ha"] == {"low": None, "median": None, "high": None}
    assert found["worth_watering"] is None
    left_out = {key for key, why in found["absent"].items() if why == absent.NOT_ASKED_FOR}
    assert left_out == {"nitrogen", "nitrogen.released", "worth_watering"}


@pytest.mark.parametrize(
    ("growth", "ending", "killed", "known", "why"),
    [
        (None, 200, False, True, absent.NOT_KNOWN),
        ("a table", None, False, True, absent.NOT_REACHED),
        ("a table", None, False, False, absent.NOT_KNOWN),
        ("a table", 10_000, False, True, absent.NOT_KNOWN),
        ("a table", 200, True, True, absent.DEAD),
    ],
)
def test_why_there_are_no_amounts(
    spring: Plan, growth: object, ending: int, killed: bool, known: bool, why: str
) -> None:
    """Growth that no source gives, an ending that never comes, is not known yet or lies beyond it, and a dead stand."""
    made = nitrogen_part(
        None,  # type: ignore[arg-type]
        growth,  # type: ignore[arg-type]
        replace(spring.outlook, complete=known),
        (),
        np.ones((1, 1)),
        standard_draws(),
        ending,
        killed=killed,
        release={2: np.full((3, 4), 0.5), 4: np.full((3, 4), np.nan)},
        by_planting=np.nan,
    )
    assert (made.no_amounts, made.amounts) == (why, {})
    # Weeks beyond the season are left out, and all where there is no ending to count them from.
    assert set(made.release) == (set() if ending is None or killed else {2})
    assert replace(spring, details=replace(spring.details, nitrogen=made)).absent["nitrogen"] == why  # type: ignore[type-var]
    assert spring.nitrogen.no_amounts is None
    assert "nitrogen" not in spring.absent


@pytest.mark.parametrize(
    ("on", "changes", "why"),
    [
        ("2026-06-15", {}, absent.PAST),
        ("2026-05-20", {"turned_under": "2026-05-08"}, absent.DONE),
    ],
)
def test_why_there_is_no_best_day(on: str, changes: dict[str, str], why: str) -> None:
    """It is too late, or it has been done; in spring there is one."""
    assert plan_on(on, **changes).absent["turn_under"] == why
    assert plan_on(on, **changes).window.no_best == why
    assert "turn_under" not in plan_on("2026-04-20").absent


@pytest.mark.parametrize(("pan", "why"), [(-5.0, absent.NOT_NEEDED), (5.0, absent.NOT_REACHED)])
def test_why_nothing_is_released(spring: Plan, pan: float, why: str) -> None:
    """What ties nitrogen up has none to release; otherwise the season is over before it is."""
    amounts = spring.nitrogen.amounts | {"pan_kg_ha": Amount(low=pan, median=pan, high=pan)}

    def lacking(release: dict[int, Amount]) -> dict[str, str]:
        part = replace(spring.nitrogen, amounts=amounts, release=release)
        return replace(spring, details=replace(spring.details, nitrogen=part)).absent  # type: ignore[type-var]

    assert lacking({}) == {"nitrogen.released": why}
    assert lacking(spring.nitrogen.release) == {}


def test_a_dead_stand_has_no_dates() -> None:
    """All but the day on which it came up are gone with it."""
    table = RECORD.table.copy()
    table.loc["2026-01-10":"2026-01-18", ["tmin_c", "tmax_c"]] = [-30.0, -22.0]
    dead = make_plan(field(), replace(RECORD, table=table), day("2026-03-01"))
    assert dead.state == "winter-killed"
    gone = {f"dates.{name}" for name in DATES if name != "emergence"}
    wanted = gone | {"turn_under", "binding_limit", "nitrogen", "nitrogen.released"}
    assert {key for key, why in dead.absent.items() if why == absent.DEAD} >= wanted
    assert "dates.emergence" not in dead.absent


def test_a_season_that_is_not_known_is_told_from_a_date_that_is_not_reached() -> None:
    """With no past years nothing beyond the last day is known; with them, a date may lie beyond the season."""
    short = make_plan(field(), weather("2025-09-01", "2026-04-20"), ON)
    assert short.absent["dates.window_close"] == absent.NOT_KNOWN
    assert short.absent["turn_under"] == absent.NOT_KNOWN
    assert short.absent["p_ripens"] == absent.NOT_KNOWN
    warm = make_plan(field(), weather(mean=27.0, swing=1.5, noise=1.0, last="2026-10-31"), ON)
    assert warm.outlook.complete
    assert (warm.absent["dates.window_open"], warm.absent["turn_under"]) == (absent.NOT_REACHED, absent.NOT_REACHED)
    assert absent.NOT_KNOWN not in set(warm.absent.values())


@pytest.mark.parametrize("on", ["2025-11-01", "2026-04-20", "2026-05-14", "2026-06-15", "2026-09-01"])
@pytest.mark.parametrize("details", [True, False])
def test_every_null_of_a_date_has_its_reason(on: str, details: bool) -> None:
    """JSON holds a reason for just those dates of the chain that lack an end."""
    plan = plan_on(on, details=details)
    found = machine.field(plan)
    lacking = {f"dates.{name}" for name, ends in found["dates"].items() if None in ends.values()}
    assert lacking == {key for key in found["absent"] if key.startswith("dates.")}
    assert set(found["absent"].values()) <= set(absent.WHY)
    assert (found["turn_under"]["date"] is None) == ("turn_under" in found["absent"])
    assert (found["binding_limit"] is None) == ("binding_limit" in found["absent"])


@pytest.mark.parametrize("end", ["early", "median", "late"])
def test_a_date_that_lacks_one_end_is_told_to(spring: Plan, end: str) -> None:
    """Whichever it is; one with all three is there."""
    whole = DateRange(early=ON, median=ON, late=ON)
    missing = replace(spring, window=replace(spring.window, closes=replace(whole, **{end: NEVER}))).absent
    assert missing == {"dates.window_close": absent.NOT_REACHED}
    assert replace(spring, window=replace(spring.window, closes=whole)).absent == {}


def test_the_dates_are_those_of_the_parts(spring: Plan) -> None:
    """In the order of the chain."""
    assert tuple(spring.dates) == DATES
    moved = DateRange(early=ON, median=ON, late=ON)
    assert replace(spring, window=replace(spring.window, opens=moved)).dates["window_open"] is moved
    assert replace(spring, planting=replace(spring.planting, latest=moved)).dates["latest_planting"] is moved


def test_weather_of_last_week_is_not_stale() -> None:
    """So long as the last day is no further back than the limit, no day is named; from the next day on it is."""
    outlook = SimpleNamespace(days=np.arange("2026-03-01", "2026-04-01", dtype="datetime64[D]"), known=31)
    last = np.datetime64("2026-03-31")
    limit = next(age for age in range(1, 100) if not np.isnat(stale_since(outlook, last + days(age))))
    assert limit > 1
    assert np.isnat(stale_since(outlook, last + days(limit - 1)))
    assert stale_since(outlook, last + days(limit)) == last
