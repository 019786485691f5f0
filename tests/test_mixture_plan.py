"""A field with a cereal beside its legume: its window, its winter, what it brings, and what it costs."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from invented import days, field, weather

from covercrop import compare_endings
from covercrop.base.records import DailyWeather
from covercrop.checking.replay import _nitrogen
from covercrop.field.entries import AimEntry, Field, ScoutingNote
from covercrop.models.cereal import ZADOKS
from covercrop.models.members import quantiles, standard_draws
from covercrop.models.mixture import growth_factor
from covercrop.parameters.companions import companion
from covercrop.render.data import comparison, machine
from covercrop.render.words.answer import headline
from covercrop.season.following import follow, follow_each
from covercrop.season.mixture_part import HELPS
from covercrop.season.nitrogen_part import amounts_on
from covercrop.season.plan import Plan, make_plan, start_of
from covercrop.season.stand import brought
from covercrop.season.start import Start

ON = np.datetime64("2026-03-20")
DRAWS = standard_draws(16)


@pytest.fixture(scope="module")
def record() -> DailyWeather:
    """Some years of one place."""
    return weather("2014-01-01", "2026-04-20")


def mixed(
    companion: str = "cereal-rye", share: tuple[float, float] | None = None, notes: tuple = (), **changes: Any
) -> Field:
    """A field with a cereal in it."""
    plain = field(**changes)
    return replace(plain, cover=replace(plain.cover, companion=companion, legume_percent=share), scouting=notes)


@pytest.fixture(scope="module")
def vetch(record: DailyWeather) -> dict[str, Plan]:
    """Vetch and rye, to be ended in each way, and vetch alone."""
    made = {
        way: make_plan(mixed(species="hairy-vetch", terminate=way), record, ON, DRAWS) for way in ("turn-under", "roll")
    }
    return made | {"alone": make_plan(field("hairy-vetch"), record, ON, DRAWS)}


def test_a_legume_alone_has_no_such_part(vetch: dict[str, Plan]) -> None:
    """Neither in the plan nor in its document, and a mixture has both."""
    assert vetch["alone"].mixture is None
    assert "mixture" not in machine.field(vetch["alone"])
    told = machine.field(vetch["turn-under"])["mixture"]
    assert told["companion"] == "cereal-rye"
    assert told["legume_share"] == {"low": 0.15, "middle": 0.3, "high": 0.5, "whose": "assumed"}
    assert list(told["dates"]) == ["jointing", "boot", "heading", "flowering", "milk"]
    assert told["band"] in ("tie-up", "little-at-first", "release")
    machine.dump(machine.field(vetch["roll"]))  # holds no NaN


def test_the_cereal_leads_where_it_is_turned_under(vetch: dict[str, Plan]) -> None:
    """Long before the vetch blooms, between jointing and boot; and that it does not bloom is not hidden."""
    plan, alone = vetch["turn-under"], vetch["alone"]
    best, of_alone = plan.window.best, alone.window.best
    assert plan.mixture is not None
    assert best is not None
    assert of_alone is not None
    assert plan.mixture.dates["jointing"].median < best.date < plan.mixture.dates["boot"].late
    assert best.date < of_alone.date - days(14)
    assert best.bloom < 0.1 < best.probability
    assert plan.window.closes.median <= plan.mixture.dates["milk"].median + days(12)


def test_the_clash_is_said_with_what_helps(vetch: dict[str, Plan]) -> None:
    """Rolled, vetch waits until early rye is past its last day; a later cereal gives a day more often."""
    mixture = vetch["roll"].mixture
    assert mixture is not None
    clash = mixture.clash
    assert clash is not None
    assert (clash.method, clash.past) == ("roll", "cereal")
    assert clash.chance < 0.8
    assert set(clash.helps) <= set(HELPS)
    assert clash.helps["turn-under"] > 0.9
    assert clash.helps["winter-wheat"] > clash.helps["triticale"] > clash.chance
    assert list(clash.helps.values()) == sorted(clash.helps.values(), reverse=True)
    assert vetch["turn-under"].mixture is not None
    assert vetch["turn-under"].mixture.clash is None


def test_once_the_cereal_is_in_grain_the_legume_alone_is_waited_for() -> None:
    """Once its grain has most likely begun to fill, rolling waits for the vetch alone, and volunteers are foretold."""
    full = weather("2014-01-01", "2026-06-20")
    plot = mixed(species="hairy-vetch", terminate="roll")
    before = make_plan(plot, full, np.datetime64("2026-05-10"), DRAWS).mixture
    assert before is not None
    assert not before.in_grain
    after = make_plan(plot, full, before.dates["milk"].median + days(12), DRAWS)
    alone = make_plan(field("hairy-vetch", terminate="roll"), full, after.on, DRAWS)
    assert after.mixture is not None
    assert after.mixture.in_grain
    assert after.mixture.clash is None
    assert after.window.method == "roll"
    assert after.state != "seed-risk"
    assert (after.window.opens, after.window.closes) == (alone.window.opens, alone.window.closes)
    tilled = make_plan(mixed(species="hairy-vetch"), full, after.on, DRAWS)
    assert "mown first, since tillage alone may not kill the cereal rye" in headline(tilled)


def test_woollypod_vetch_and_rye_go_together(record: DailyWeather) -> None:
    """It is in full bloom with rye, so that rolling them has days and there is no clash."""
    plan = make_plan(mixed(species="woollypod-vetch", terminate="roll"), record, ON, DRAWS)
    assert plan.mixture is not None
    assert plan.mixture.clash is None
    assert plan.window.method == "roll"
    assert plan.window.opens.median >= plan.mixture.dates["flowering"].median


def test_a_legume_that_is_early_for_its_cereal_clashes_too(record: DailyWeather) -> None:
    """Crimson clover is in pod before the roller kills rye; a later cereal is then no help."""
    mixture = make_plan(mixed(terminate="roll"), record, ON, DRAWS).mixture
    assert mixture is not None
    assert mixture.clash is not None
    assert mixture.clash.past == "legume"
    assert set(mixture.clash.helps) == {"turn-under", "mow"}


def test_rolled_before_it_flowers_it_is_not_killed(record: DailyWeather) -> None:
    """No chance of a kill a month before rye flowers, and a good one after; each row tells the cereal's stage."""
    found = compare_endings(mixed(terminate="roll"), record, ON, by=("roll", "turn-under"))
    rolled = [row for row in found.rows if row.method == "roll"]
    tilled = [row for row in found.rows if row.method == "turn-under"]
    assert rolled[0].killed < 0.01
    assert rolled[0].zadoks is not None
    assert rolled[0].zadoks < ZADOKS["heading"]
    assert rolled[-1].killed > 0.5
    assert tilled[0].killed > 0.9 > tilled[-1].killed  # hard to till from the boot on
    bands = [row.band for row in tilled]
    assert bands[0] == "release" != bands[-1]
    shown = comparison.document([found], ON)["fields"][0]["rows"][0]
    assert (shown["band"], shown["cereal_zadoks"]) == (found.rows[0].band, found.rows[0].zadoks)


def test_more_legume_brings_more_and_none_ties_up(record: DailyWeather) -> None:
    """The blend goes by the share: nitrogen, C:N and what is available, below nothing where rye leads."""
    on = np.datetime64("2026-05-16")
    plans = [
        make_plan(mixed(share=(share, share), turned_under="2026-05-15"), record, on, DRAWS) for share in (90, 50, 3)
    ]
    amounts = [plan.nitrogen.amounts for plan in plans]
    for name, order in (("n_percent", -1), ("pan_kg_ha", -1), ("carbon_nitrogen", 1)):
        values = [each[name].median for each in amounts]
        assert values == sorted(values, reverse=order < 0), name
    assert plans[0].mixture is not None
    assert plans[2].mixture is not None
    assert (plans[0].mixture.band, plans[2].mixture.band) == ("release", "tie-up")
    assert amounts[2]["pan_kg_ha"].median < 0
    assert plans[2].nitrogen.release == {}
    assert plans[2].absent["nitrogen.released"] == "not-needed"
    residue = [plan.dates["residue"].median for plan in plans]
    assert residue == sorted(residue)
    assert residue[0] < residue[-1]


def test_a_note_of_the_share_wins_and_a_sample_is_of_all(record: DailyWeather) -> None:
    """What was judged last counts; a clip sample is of legume and cereal together."""
    note = ScoutingNote(
        date=dt.date(2026, 3, 18), legume_percent=60, dry_matter_kg_ha=5000, nitrogen_percent=2.4, cereal=31
    )
    plan = make_plan(mixed(share=(20, 30), notes=(note,), turned_under="2026-03-19"), record, ON, DRAWS)
    assert plan.mixture is not None
    assert (plan.mixture.share.middle, plan.mixture.share.whose) == (0.6, "note")
    assert plan.nitrogen.amounts["dry_matter_kg_ha"].median == pytest.approx(5000, rel=0.05)
    assert plan.nitrogen.amounts["n_percent"].median == pytest.approx(2.4, rel=0.05)
    told = make_plan(mixed(share=(20, 30)), record, ON, DRAWS).mixture
    assert told is not None
    assert (told.share.low, told.share.middle, told.share.high, told.share.whose) == (0.2, 0.25, 0.3, "field")


def test_a_note_of_the_cereal_moves_its_dates(record: DailyWeather, vetch: dict[str, Plan]) -> None:
    """Seen in boot a month early, it is taken to be early, not as early as that; and its dates narrow."""
    before = vetch["turn-under"].mixture
    assert before is not None
    seen = before.dates["boot"].median - days(14)
    note = ScoutingNote(date=seen.item(), cereal=ZADOKS["boot"])
    plot = mixed(species="hairy-vetch", notes=(note,))
    after = make_plan(plot, record, max(ON, seen), DRAWS).mixture
    assert after is not None
    moved = (before.dates["flowering"].median - after.dates["flowering"].median).astype(int)
    assert 7 < moved < 14
    assert after.notes == 1
    assert after.good_to < before.good_to
    early = ScoutingNote(date=dt.date(2025, 11, 15), cereal=21)  # says nothing of the spring
    same = make_plan(mixed(species="hairy-vetch", notes=(early,)), record, ON, DRAWS).mixture
    assert same is not None
    assert same.notes == 0
    assert same.dates == before.dates


# --- the winter -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cold() -> DailyWeather:
    """A place where tender legumes and oats die, and rye does not."""
    made = weather("2014-01-01", "2026-04-20", mean=7.5, swing=15.5)
    return replace(made, table=made.table.assign(prcp_mm=0.0))  # no snow


def test_a_dead_legume_in_a_living_rye(cold: DailyWeather) -> None:
    """The plan goes on with the rye alone: its window, its tie-up; nothing more is said of the legume's dates."""
    plan = make_plan(mixed(species="berseem-clover", terminate="roll"), cold, np.datetime64("2026-04-10"), DRAWS)
    alone = make_plan(field("berseem-clover", terminate="roll"), cold, np.datetime64("2026-04-10"), DRAWS)
    assert alone.state == "winter-killed"
    told = plan.mixture
    assert told is not None
    assert told.legume_dead
    assert told.legume_survival < 0.2 < told.survival
    assert plan.state != "winter-killed"
    assert plan.stand.killed
    assert np.isnat(plan.dates["bloom_10" if "bloom_10" in plan.dates else "bloom_50"].median)
    assert plan.window.opens.median == told.dates["flowering"].median
    assert plan.window.best is not None
    assert told.band == "tie-up"
    assert plan.nitrogen.amounts["pan_kg_ha"].median < 0
    assert machine.field(plan)["mixture"]["legume_dead"] is True
    machine.dump(machine.field(plan))


def test_oats_die_and_leave_the_legume(cold: DailyWeather) -> None:
    """When is said; the window is then that of the legume alone, and so is its nitrogen."""
    on = np.datetime64("2026-04-10")
    plan = make_plan(mixed("oat", species="red-clover"), cold, on, DRAWS)
    alone = make_plan(field("red-clover"), cold, on, DRAWS)
    told = plan.mixture
    assert told is not None
    assert told.dead
    assert told.survival < 0.05
    assert not told.legume_dead
    assert np.datetime64("2025-11-01") < told.dies.median < on
    assert (plan.window.opens, plan.window.closes) == (alone.window.opens, alone.window.closes)
    assert plan.nitrogen.amounts["carbon_nitrogen"] == alone.nitrogen.amounts["carbon_nitrogen"]
    assert plan.dates["residue"] == alone.dates["residue"]


def test_both_dead_is_dead(cold: DailyWeather) -> None:
    """With oats beside it a dead legume is a dead stand."""
    plan = make_plan(mixed("oat", species="berseem-clover"), cold, np.datetime64("2026-04-10"), DRAWS)
    assert plan.state == "winter-killed"
    assert plan.mixture is not None
    assert plan.mixture.dead
    assert not plan.mixture.legume_dead


# --- together -------------------------------------------------------------------------------------


def test_mixtures_are_followed_together_as_alone(record: DailyWeather, cold: DailyWeather) -> None:
    """Two places of one mixture on an axis of their own: each answer is that of the field alone."""
    plots = [replace(mixed(), latitude=latitude) for latitude in (37.6, 39.0)]
    starts = [start_of(plot, each, ON) for plot, each in zip(plots, (record, cold), strict=True)]
    assert starts[0].joins == starts[1].joins
    found = {place: chain for place, _, chain in follow_each(iter(starts), DRAWS)}
    for place, start in enumerate(starts):
        alone = follow(start, DRAWS)
        for name, index in alone.indexes().items():
            np.testing.assert_array_equal(found[place].indexes()[name], index, err_msg=name)
        assert found[place].ending.day == alone.ending.day
        assert found[place].ground.residue_pace == pytest.approx(float(alone.ground.residue_pace))


def test_other_cereals_do_not_join(record: DailyWeather) -> None:
    """What differs in its cereal is worked apart."""

    def joins(companion: str) -> Any:
        start: Start = start_of(mixed(companion), record, ON)
        return start.joins

    assert joins("oat") != joins("cereal-rye") == joins("rye")


# --- the parts that rest on the cereal ------------------------------------------------------------


@pytest.fixture(scope="module")
def ended(record: DailyWeather) -> tuple[Plan, Plan]:
    """A mixture and the same legume alone, both turned under on one day."""
    day = {"turned_under": "2026-04-10"}
    share = (40.0, 40.0)
    on = np.datetime64("2026-04-12")
    return make_plan(mixed(share=share, **day), record, on, DRAWS), make_plan(field(**day), record, on, DRAWS)


def test_dry_matter_and_release_are_of_the_two(ended: tuple[Plan, Plan]) -> None:
    """More of it by what mixtures weigh, and it comes free more slowly."""
    both, alone = ended
    weight = [plan.nitrogen.amounts["dry_matter_kg_ha"].median for plan in ended]
    assert weight[0] == pytest.approx(weight[1] * growth_factor(0.4).item())
    assert both.nitrogen.release[4].median < alone.nitrogen.release[4].median - 0.02
    assert both.dates["residue"].median > alone.dates["residue"].median


def test_a_slow_cereal_leaves_the_crop_less_time(record: DailyWeather) -> None:
    """Both of how it rots and of how long it makes wait, in the ground and in the days that are still in time."""
    start = start_of(replace(mixed(share=(20, 20)), aim=AimEntry(plant_by=dt.date(2026, 7, 5))), record, ON)
    rye = companion("rye")
    waits = replace(rye.wait.large_seed, value=60.0, low=60.0, high=60.0)
    poor = replace(rye.nitrogen.jointing, value=0.3)
    others = {
        "rye": rye,
        "wait": replace(rye, wait=replace(rye.wait, large_seed=waits)),
        "rot": replace(rye, nitrogen=replace(rye.nitrogen, tillering=poor, jointing=poor, flowering=poor)),
    }
    chains = {
        name: follow(replace(start, conditions=replace(start.conditions, companion=each)), DRAWS)
        for name, each in others.items()
    }
    until = {}
    for name, chain in chains.items():
        assert chain.ahead is not None
        until[name] = chain.ahead.in_time_until("turn-under")
    for slow in ("wait", "rot"):
        # Between the days that are followed its date is straight, so that single members may gain a day.
        assert np.median(until[slow] - until["rye"]) < 0, slow
        assert np.mean(until[slow] > until["rye"]) < 0.1, slow
    assert (chains["wait"].ground.limits["disease"] > chains["rye"].ground.limits["disease"]).all()


def test_a_row_says_of_the_ground_what_the_plan_does(record: DailyWeather) -> None:
    """The likely planting of the day that is advised is one and the same."""
    found = compare_endings(mixed(share=(20, 20)), record, ON)
    [chosen] = [row for row in found.rows if row.chosen]
    assert chosen.plant_likely == found.plan.planting.earliest.median
    assert chosen.plant_safe == found.plan.planting.safe


def test_the_replay_counts_the_nitrogen_of_the_two(record: DailyWeather) -> None:
    """Draw by draw what ending the mixture on a day brings; less than of the legume alone."""
    found = []
    for plot in (mixed(share=(30, 30)), field()):
        start = start_of(plot, record, ON)
        chain = follow(start, DRAWS)
        day = np.full(16, 205.0)
        found.append(_nitrogen(chain, start.outlook, plot, DRAWS)(day))
        growth = start.conditions.cover.growth
        assert growth is not None
        told = amounts_on(chain.stand, growth, start.outlook, (), chain.weights, DRAWS, 205)
        brings = brought(growth, start.outlook.tmean, chain.stand.stages, DRAWS, 205.0, cereal=chain.stand.cereal)
        middle = quantiles(brings["pan_kg_ha"], chain.weights)[1]
        assert middle == pytest.approx(told["pan_kg_ha"].median)
    assert np.median(found[0]) < np.median(found[1]) - 5
