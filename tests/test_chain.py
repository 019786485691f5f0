"""The chain of one season: followed alone or together, with notes in doubt and without them."""

from __future__ import annotations

import datetime as dt
from dataclasses import fields, replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from invented import days, field, weather

from covercrop.base.records import DailyWeather
from covercrop.field.entries import AimEntry, Field, ScoutingNote
from covercrop.models.members import share_by, standard_draws
from covercrop.season import chain as module
from covercrop.season import following
from covercrop.season.chain import DATES, Chain, limits_after, member_days
from covercrop.season.doubts import Doubt
from covercrop.season.following import doubts_about, follow, follow_each
from covercrop.season.in_time import Deadline
from covercrop.season.plan import start_of
from covercrop.season.start import Start

RECORD = weather("2017-01-01")
DRAWS = standard_draws(16)
ON = np.datetime64("2026-04-20")


def started(plot: Field, on: np.datetime64 = ON, record: DailyWeather = RECORD) -> Start:
    return start_of(plot, record, on)


def followed(plot: Field, on: np.datetime64 = ON, record: DailyWeather = RECORD) -> Chain:
    return follow(started(plot, on, record), DRAWS)


def seen(day: int, month: int = 4, **what: float) -> ScoutingNote:
    return ScoutingNote(date=dt.date(2026, month, day), **what)


#: Full bloom weeks before this weather has it, and no buds after buds.
WILD = seen(3, 3, bloom_percent=50.0)


@cache
def plain() -> Chain:
    return followed(field())


@cache
def doubted() -> Chain:
    return followed(field(scouting=(WILD,)))


def alike(one: Chain, other: Chain) -> None:
    """The same answer, to the last digit."""
    assert one.ending.day == other.ending.day
    assert one.ending.method == other.ending.method
    np.testing.assert_array_equal(one.ending.odds, other.ending.odds)
    np.testing.assert_array_equal(one.weights, other.weights)
    for name, index in one.indexes().items():
        np.testing.assert_array_equal(index, other.indexes()[name], err_msg=name)
    assert (one.survival, one.killed) == (other.survival, other.killed)
    assert [doubt.note for doubt in one.doubts] == [doubt.note for doubt in other.doubts]


# --- alone and together ---------------------------------------------------------------------------


def test_fields_are_followed_together_as_alone() -> None:
    """Twenty places, of which some have notes, are ended, or have another crop: each in its own order, none lost."""
    plots = [field(latitude=37.0 + 0.1 * place) for place in range(18)]
    plots[3] = field(scouting=(WILD,))
    plots[5] = field(turned_under="2026-04-10")
    plots[7] = field(crop="sweet-corn", ground_cover="straw")
    plots[8] = field(terminate="roll")
    plots[9] = field(scouting=(seen(10, bbch=55),))
    plots += [field(latitude=-37.0), field(species="hairy-vetch"), field(cultivar="Dixie"), field(sown="2025-09-25")]
    starts = [started(plot) for plot in plots]
    found = {place: chain for place, start, chain in follow_each(iter(starts), DRAWS) if start is starts[place]}
    assert sorted(found) == list(range(len(plots)))
    for place in (0, 3, 5, 7, 8, 9, 16, 17, 18, 19, 20, 21):
        alike(found[place], follow(starts[place], DRAWS))


def test_sixteen_fields_do_not_wait_for_the_next() -> None:
    """As soon as so many alike are there they are followed; what is left at the end too."""
    asked = []

    def starts():
        for place in range(18):
            asked.append(place)
            yield started(field(latitude=37.0 + 0.1 * place))

    each = follow_each(starts(), DRAWS)
    place, _, _ = next(each)
    assert (place, len(asked)) == (0, 16)
    assert [place for place, _, _ in each] == list(range(1, 18))


def test_springs_of_two_years_are_followed_together() -> None:
    """A cover that was ended in autumn has another midwinter before its crop than one that stands."""
    early = field(turned_under="2025-09-25")
    both = [early, field(turned_under="2026-04-10")]
    found = {place: chain for place, _, chain in follow_each(map(started, both), DRAWS)}
    for place, plot in enumerate(both):
        alike(found[place], followed(plot))
    # The spring before the first crop was over at sowing: of its frost nothing is known.
    assert np.isnan(found[0].ground.limits["frost"]).all()
    assert not np.isnan(found[1].ground.limits["frost"]).any()


# --- what a chain says ---------------------------------------------------------------------------


def test_every_date_of_the_chain_is_there() -> None:
    """Each in every member, the window that of the way of ending, the frost that of the years."""
    chain = plain()
    indexes = chain.indexes()
    assert set(DATES) <= set(indexes)
    np.testing.assert_array_equal(indexes["window_open"], chain.ending.stand.opens)
    np.testing.assert_array_equal(indexes["window_close"], chain.stand.closes)
    np.testing.assert_array_equal(indexes["frost"], chain.ground.limits["frost"])
    np.testing.assert_array_equal(indexes["earliest_planting"], chain.ground.earliest)
    np.testing.assert_array_equal(indexes["latest_planting"], chain.ground.latest)
    np.testing.assert_array_equal(indexes["bloom_25"], chain.stand.stages["bloom_25"])
    np.testing.assert_array_equal(indexes["residue"], chain.ground.limits["residue"])


def test_days_of_the_members_are_whole_days_reached() -> None:
    """Rounded up; a year's array goes with that of its draws."""
    weights = np.full((2, 2), 0.25)
    found = member_days([np.array([[1.0, 2.2], [3.0, 4.0]]), np.array([[5.5], [7.0]])], weights, (0.5, 0.75, 1.0))
    assert found.tolist() == [[3.0, 3.0, 4.0], [6.0, 7.0, 7.0]]
    assert member_days([np.array([[1.0, 2.0], [3.0, np.nan]])], weights).tolist()[0][:2] == [1.0, 2.0]


def test_a_stand_that_lives_weighs_by_its_chance_to() -> None:
    """Members that die have no weight, whose sum is the survival; once it is ended, all have theirs."""
    cold = weather("2010-01-01", mean=4.0)
    standing = followed(field(species="winter-pea"), np.datetime64("2025-11-20"), cold)
    assert 0 < standing.survival < 1
    assert standing.weights.sum() == pytest.approx(standing.survival)
    assert (standing.weights[~np.isnan(standing.stand.killed)] == 0).all()
    done = followed(field(species="winter-pea", turned_under="2025-11-19"), np.datetime64("2025-11-20"), cold)
    assert done.weights.sum() == pytest.approx(1.0)
    assert not done.killed


def test_a_stand_is_called_dead_only_once_the_cold_has_been() -> None:
    """Certain death ahead is none yet; then it is, with nothing left to end; and what is ended cannot die."""
    arctic = weather("2010-01-01", mean=-6.0)
    arctic = replace(arctic, table=arctic.table.assign(prcp_mm=0.0))  # and no snow
    before = followed(field(sown="2025-07-01"), np.datetime64("2025-09-01"), arctic)
    after = followed(field(sown="2025-07-01"), np.datetime64("2026-02-20"), arctic)
    assert (before.killed, after.killed) == (False, True)
    assert after.survival == 0.0
    assert after.weights.sum() == pytest.approx(1.0)  # nobody lives, so that all count
    assert (after.ending.day, after.ending.best) == (None, None)
    ended = followed(field(sown="2025-07-01", turned_under="2025-09-20"), np.datetime64("2026-02-20"), arctic)
    assert not ended.killed


def test_the_ground_starts_with_the_day_of_ending() -> None:
    """That of the best day, of the field file, or of the tarp three weeks on."""
    chain = plain()
    assert chain.ground.dead == chain.ending.day
    sown = np.datetime64("2025-09-20")
    done = followed(field(turned_under="2026-04-10"))
    assert sown + days(int(done.ground.dead)) == np.datetime64("2026-04-10")
    tarp = followed(field(terminate="tarp", turned_under="2026-03-10"))
    assert sown + days(int(tarp.ground.dead)) == np.datetime64("2026-03-31")


# --- notes in doubt -------------------------------------------------------------------------------


def test_no_doubt_no_rival() -> None:
    """A season whose notes fit stands on its own."""
    for chain in (plain(), followed(field(scouting=(seen(10, bbch=55),)))):
        assert (chain.doubts, chain.rivals, chain.settled, chain.set_aside) == ((), (), None, ())


def test_a_note_in_doubt_is_held_to_the_season_without_it() -> None:
    """On no day is the chance higher than without it; and where no day goes with both, it is set aside."""
    chain = doubted()
    assert [doubt.note for doubt in chain.doubts] == [WILD]
    assert chain.settled is not None
    alike(chain.settled, plain())
    assert [rival is chain.settled for rival in chain.rivals] == [True]
    assert (chain.ending.odds <= plain().ending.odds + 1e-12).all()
    assert chain.ending.best is not None or chain.ending.too_late
    if chain.set_aside:
        assert [doubt.note for doubt in chain.set_aside] == [WILD]


def test_chances_are_the_least_of_all_and_those_without_the_notes() -> None:
    """The least over a chain and its rivals; without the notes, over the rivals alone, theirs in turn."""

    def chance(chain: Chain) -> float:
        return {id(top): 0.3, id(left): 0.6, id(right): 0.5, id(below): 0.2, id(alone): 0.7}[id(chain)]

    alone, below = replace(plain()), replace(plain())
    left, right = replace(plain()), replace(plain(), rivals=(below,))
    top = replace(plain(), rivals=(left, right))
    assert (alone.least(chance), alone.undoubted(chance)) == (0.7, 0.7)
    assert (right.least(chance), right.undoubted(chance)) == (0.2, 0.2)
    assert top.least(chance) == 0.2
    assert top.undoubted(chance) == 0.2
    pair = replace(plain(), rivals=(left, alone))
    assert pair.undoubted(chance) == 0.6


def test_a_window_has_closed_and_is_closing_by_the_members() -> None:
    """The share of the members, on and off the day; with rivals, what they say."""
    chain = plain()
    day = int(np.nanmedian(chain.stand.closes))
    assert chain.closed_by(day) == share_by(chain.stand.closes, chain.weights, day)
    assert chain.is_closing(day - 3)
    assert not chain.is_closing(day - 60)
    later = replace(chain, stand=replace(chain.stand, closes=chain.stand.closes + 40))
    held = replace(chain, rivals=(later,))
    assert held.closed_by(day) == later.closed_by(day) < chain.closed_by(day)
    assert not held.is_closing(day - 3)
    assert replace(later, rivals=(chain,)).closed_by(day) == chain.closed_by(day)


def test_of_two_that_clash_each_is_left_out_alone() -> None:
    """Buds, then no buds: a rival without each, and the season without both."""
    buds, none = seen(2, bbch=59), seen(8, bbch=50)
    chain = followed(field(scouting=(buds, none)))
    assert {doubt.note for doubt in chain.doubts} == {buds, none}
    assert len(chain.rivals) == 2
    assert chain.settled is not None
    alike(chain.settled, plain())
    for rival, kept in zip(chain.rivals, (none, buds), strict=True):
        alike(rival, followed(field(scouting=(kept,))))


def test_notes_that_confirm_each_other_are_no_rivals() -> None:
    """Bloom seen twice weeks early is doubted by no one but the weather: all of it is left out in one go only."""
    twice = (seen(3, 3, bloom_percent=40.0), seen(9, 3, bloom_percent=55.0))
    chain = followed(field(scouting=twice))
    assert chain.doubts
    assert all(doubt.confirmed for doubt in chain.doubts)
    assert chain.rivals == ()
    assert chain.set_aside == ()
    assert chain.settled is not None
    alike(chain.settled, plain())


def test_of_many_in_doubt_none_is_left_out_alone() -> None:
    """Of six a season without any of them, and they are told in the order of their days."""
    days_of_pairs = [(20 + 4 * pair, 22 + 4 * pair) for pair in range(3)]
    notes = tuple(note for one, other in days_of_pairs for note in (seen(one, 3, bbch=65), seen(other, 3, bbch=50)))
    chain = followed(field(scouting=notes))
    assert len([doubt for doubt in chain.doubts if not doubt.confirmed]) == 6
    assert len(chain.rivals) == 1
    assert chain.rivals[0] is chain.settled
    assert all(earlier.note.date <= later.note.date for earlier, later in pairwise(chain.doubts))


@pytest.mark.parametrize(("alone", "rivals"), [(1, 1), (4, 4), (5, 5), (6, 1), (7, 1)])
def test_up_to_five_in_doubt_are_left_out_one_by_one(alone: int, rivals: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """One more that another note confirms is left out with all of them, and never alone."""
    doubts = [Doubt(note=seen(day, 3, bbch=65), days=40.0) for day in range(1, alone + 1)]
    doubts.append(Doubt(note=seen(20, 3, bbch=65), days=30.0, confirmed=True))
    start = started(field(scouting=tuple(doubt.note for doubt in doubts)))
    asked: list[int] = []

    def answer(other: Start, *_: object) -> Chain:
        asked.append(len(other.conditions.scouting))
        return replace(plain())

    monkeypatch.setattr(following, "_answer", answer)
    monkeypatch.setattr(following, "_alone", lambda *_, **__: plain())
    chain = following._held(start, plain(), doubts, DRAWS, {}, {})
    assert len(chain.rivals) == rivals
    # The season without any, and one for each note that is left out of all.
    assert sorted(asked) == sorted([0, *([alone] * rivals if alone <= 5 else [])])
    assert [rival is chain.settled for rival in chain.rivals] == [alone > 5] * rivals


def test_once_it_is_done_the_stage_is_in_doubt_no_more() -> None:
    """Of an ended cover no stage is; of a planted crop no soil either."""
    hot = seen(18, soil_c=45.0)
    notes = (WILD, hot)
    standing = followed(field(scouting=notes))
    assert [doubt.note for doubt in standing.doubts] == [WILD, hot]
    assert [doubt.of_soil for doubt in standing.doubts] == [False, True]
    ended = followed(field(scouting=notes, turned_under="2026-04-15"))
    assert [doubt.note for doubt in ended.doubts] == [hot]
    assert followed(field(scouting=notes, turned_under="2026-04-15", planted="2026-04-19")).doubts == ()


def test_a_reading_that_another_confirms_is_said_to_be() -> None:
    """One alone is left out; two that agree are used, and are in doubt all the same."""
    alone = followed(field(scouting=(seen(18, soil_c=45.0),)))
    assert [(doubt.confirmed, doubt.kelvin > 15) for doubt in alone.doubts] == [(False, True)]
    both = followed(field(scouting=(seen(15, soil_c=45.0), seen(18, soil_c=45.0))))
    assert [doubt.confirmed for doubt in both.doubts] == [True, True]


def test_what_does_not_fit_of_one_note() -> None:
    """Only of the one that is asked about, or against it, and nothing where another day tells the same."""
    buds, none, fits = seen(2, bbch=59), seen(8, bbch=50), seen(10, bbch=55)
    pair = started(field(scouting=(buds, none)))
    for note, other in ((buds, none), (none, buds)):
        found = doubts_about(pair, note, DRAWS)
        assert note in {doubt.note for doubt in found}
        assert all(doubt.note == note or doubt.against == note for doubt in found)
        assert other in {each for doubt in found for each in (doubt.note, doubt.against)}
    assert doubts_about(started(field(scouting=(fits,))), fits, DRAWS) == ()
    twice = (seen(3, 3, bloom_percent=40.0), seen(9, 3, bloom_percent=55.0))
    assert doubts_about(started(field(scouting=twice)), twice[0], DRAWS) == ()
    hot = seen(18, soil_c=45.0)
    mixed = started(field(scouting=(WILD, hot)))
    assert [doubt.note for doubt in doubts_about(mixed, hot, DRAWS)] == [hot]
    assert [doubt.note for doubt in doubts_about(mixed, WILD, DRAWS)] == [WILD]


# --- what there is to choose from -----------------------------------------------------------------

SOWN = np.datetime64("2025-09-20")


def day_index(day: str) -> int:
    return int((np.datetime64(day) - SOWN).astype(int))


def deadlines(plot: Field, monkeypatch: pytest.MonkeyPatch, record: DailyWeather = RECORD) -> tuple[Chain, Deadline]:
    """A chain, and the deadline that it was asked to meet."""
    asked: list[Deadline] = []

    def ending_in_time_until(*given: Any, **_: Any) -> np.ndarray:
        asked.append(given[5])
        return np.full((1, 1), np.inf)

    monkeypatch.setattr(module, "ending_in_time_until", ending_in_time_until)
    chain = followed(plot, record=record)
    return chain, asked[0]


def test_days_to_choose_from_run_from_today_to_the_last_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    """After it no day is without seed in any member; each way of ending is followed once, whoever asks."""
    chain, deadline = deadlines(field(), monkeypatch)
    assert chain.ahead is not None
    last = int(chain.stand.stages["viable_seed"].max())
    assert np.flatnonzero(chain.ahead.may).tolist() == [*range(day_index("2026-04-20"), last + 1)]
    assert (deadline.today, deadline.horizon) == (day_index("2026-04-20"), last)
    assert deadline.midwinter == chain.midwinter == day_index("2026-01-01")
    assert chain.ahead.in_time_until("tarp") is chain.ahead.in_time_until("tarp")


def test_a_cover_without_seed_may_be_ended_for_a_month_past_midsummer() -> None:
    """Where a member never comes to seed, or does so later: midwinter, half a year and thirty days."""
    start, stand = started(field()), plain().stand
    month = day_index("2026-01-01") + 182 + 30
    for seed, last in ((np.nan, month), (month + 1.0, month), (month - 1.0, month - 1)):
        seeds = stand.stages["viable_seed"].copy()
        seeds[0, 0] = seed
        other = replace(stand, stages=stand.stages | {"viable_seed": seeds})
        ahead = module._ahead(start, other, DRAWS, day_index("2026-01-01"))
        assert int(np.flatnonzero(ahead.may)[-1]) == last


def test_a_day_that_is_past_the_last_seed_is_its_own_horizon(monkeypatch: pytest.MonkeyPatch) -> None:
    """There is always one day to look at, though nothing may be left on it."""
    late = weather("2010-01-01", "2026-08-20")
    monkeypatch.setattr(module, "ending_in_time_until", lambda *_, **__: np.full((1, 1), np.inf))
    chain = followed(field(), np.datetime64("2026-08-20"), late)
    assert chain.ahead is not None
    assert np.flatnonzero(chain.ahead.may).tolist() == [day_index("2026-08-20")]


def test_the_crop_is_planted_to_ripen_and_by_the_wish_of_the_grower(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first of the two in every member; a season without an end sets no day."""
    free, deadline = deadlines(field(), monkeypatch)
    np.testing.assert_array_equal(deadline.plant_by, free.ground.latest)
    latest = float(np.median(free.ground.latest))
    by = SOWN + days(int(latest))
    wish = replace(field(), aim=AimEntry(plant_by=by.astype(object)))
    np.testing.assert_array_equal(deadlines(wish, monkeypatch)[1].plant_by, np.minimum(free.ground.latest, int(latest)))
    assert (free.ground.latest > int(latest)).any()
    warm = weather("2010-01-01", mean=24.0, swing=4.0)
    endless, deadline = deadlines(field(), monkeypatch, warm)
    assert np.isnan(endless.ground.latest).any()
    np.testing.assert_array_equal(np.isposinf(deadline.plant_by), np.isnan(endless.ground.latest))


def test_only_days_on_which_the_grower_can_come() -> None:
    """Of the days from the first to the last, both of them too; 20 April 2026 is a Monday."""
    calendar = np.datetime64("2026-04-20") + np.arange(14).astype("timedelta64[D]")
    assert np.flatnonzero(module._may(AimEntry(), calendar, 3, 7)).tolist() == [3, 4, 5, 6, 7]
    weekend = AimEntry(can_come=("sat", "sun"))
    assert np.flatnonzero(module._may(weekend, calendar, 5, 12)).tolist() == [5, 6, 12]
    assert np.flatnonzero(module._may(weekend, calendar, 6, 11)).tolist() == [6]


def test_the_cover_comes_first_where_the_grower_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the crop."""
    found = [
        deadlines(replace(field(), aim=aim), monkeypatch)[0].ahead for aim in (AimEntry(), AimEntry(favour="cover"))
    ]
    assert [each.cover_first for each in found if each] == [False, True]


def test_there_is_nothing_to_choose_where_it_is_done_dead_or_unknown() -> None:
    """An ended cover, and a season of which only its own days are known."""
    assert followed(field(turned_under="2026-04-10")).ahead is None
    short = followed(field(), record=weather("2025-08-01"))
    assert short.ahead is None
    assert short.ending.chances is None
    assert plain().ahead is not None


def test_the_midwinter_is_that_before_the_spring_of_its_ending() -> None:
    """Of the day on which it was ended; else of the window, or of half a year on, but not of a spring that is over."""
    assert plain().midwinter == day_index("2026-01-01")
    assert followed(field(turned_under="2025-09-25")).midwinter == day_index("2025-01-01")
    assert followed(field(turned_under="2026-04-10")).midwinter == day_index("2026-01-01")
    start = started(field())
    never, early = (replace(plain().stand, opens=np.full_like(plain().stand.opens, day)) for day in (np.nan, 5.0))
    weights = plain().weights
    assert module._midwinter(start, never, weights) == day_index("2026-01-01")
    at_sowing = replace(start, conditions=replace(start.conditions, today=0))
    # The window would open before October: the crop is of the same year; without a window half a year is waited.
    assert module._midwinter(at_sowing, early, weights) == day_index("2025-01-01")
    assert module._midwinter(at_sowing, never, weights) == day_index("2026-01-01")
    assert module._midwinter(start, early, weights) == day_index("2026-01-01")  # today is in April


def test_a_stand_that_is_known_is_not_grown_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """With another crop, or by another way, what comes of it is that of the field followed from the start."""
    others = [field(crop="sweet-corn", ground_cover="straw"), field(terminate="tarp")]
    wanted = [followed(plot) for plot in others]
    stand, ahead = plain().stand, plain().ahead
    monkeypatch.setattr(module, "grow_stand", lambda *_, **__: pytest.fail("it is known"))
    alike(follow(started(others[0]), DRAWS, stand=stand), wanted[0])
    same = follow(started(others[1]), DRAWS, stand=stand, ahead=ahead)
    alike(same, wanted[1])
    assert same.ahead is ahead


# --- other days and ways --------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["turn-under", "tarp"])
def test_the_chances_of_another_way_are_those_of_a_field_ended_so(way: str) -> None:
    """Of its own way those that it has already."""
    chain = plain()
    size = chain.ending.odds.size
    found = chain.chances_by(way, started(field()).conditions.cover, size)
    if way == "turn-under":
        assert found is chain.ending.chances
    other = followed(field(terminate=way))
    assert other.ending.method == way
    assert other.ending.chances is not None
    for each in fields(found):
        np.testing.assert_array_equal(getattr(found, each.name), getattr(other.ending.chances, each.name), each.name)


def test_the_chances_of_another_way_are_no_higher_than_without_the_notes_in_doubt() -> None:
    """The least of the chain and of its rivals that have something to choose."""
    chain = plain()
    cover, size = started(field()).conditions.cover, chain.ending.odds.size
    later = replace(chain, stand=replace(chain.stand, stages={k: d + 9 for k, d in chain.stand.stages.items()}))
    own, others = (each.chances_by("tarp", cover, size) for each in (chain, later))
    held = replace(chain, rivals=(later, replace(later, ahead=None)))
    for each in fields(own):
        least = np.minimum(getattr(own, each.name), getattr(others, each.name))
        np.testing.assert_array_equal(getattr(held.chances_by("tarp", cover, size), each.name), least)
    assert (own.window > others.window).any()


def test_the_limits_after_other_days_are_those_of_fields_ended_then() -> None:
    """On the day that is advised, those of the chain itself; by another way, those of a field that is ended so."""
    chain, start = plain(), started(field())
    assert chain.ending.day is not None
    day = chain.ending.day
    found = limits_after(start, chain, DRAWS, "turn-under", [day - 10, day])
    for name, index in chain.ground.limits.items():
        np.testing.assert_array_equal(found[name][1], np.broadcast_to(index, chain.weights.shape), name)
    covered = limits_after(start, chain, DRAWS, "tarp", [day])
    ended = replace(start, ended=(SOWN + days(day)).astype(object))
    sown = replace(start.conditions.sown, terminate="tarp")
    other = follow(replace(ended, conditions=replace(start.conditions, sown=sown)), DRAWS)
    for name, index in other.ground.limits.items():
        np.testing.assert_array_equal(covered[name][0], np.broadcast_to(index, chain.weights.shape), name)


def test_where_no_day_of_planting_will_do_none_is_told() -> None:
    """Though a day before all others stands in the members."""
    index = np.array([[-1.0, -1.0, -1.0, 40.0, 41.0]])
    assert np.isnan(member_days([index], np.full((1, 5), 0.2), (0.5,))).all()
    assert member_days([index], np.full((1, 5), 0.2), (0.8, 1.0)).tolist() == [[40.0, 41.0]]


# --- a mixture ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dead", "cereal", "only"),
    [(0.8, 0.79, True), (0.79, 0.0, False), (1.0, 0.8, False), (1.0, 0.0, True)],
)
def test_only_the_cereal_is_left_once_eight_in_ten_of_the_legume_are_dead(
    dead: float, cereal: float, only: bool
) -> None:
    """And fewer of the cereal; by today, or by the day of ending where that was sooner."""
    asked: list[float] = []

    def dead_by(day: float, weights: np.ndarray) -> float:
        asked.append(day)
        return cereal

    start = started(field())
    today = start.conditions.today
    stand: Any = SimpleNamespace(
        killed=np.array([[100.0, np.nan]]),
        weights=np.array([[dead, 1 - dead]]),
        cereal=SimpleNamespace(dead_by=dead_by),
    )
    assert module._only_cereal(start, stand) is only
    assert set(asked) <= {today}
    for ended, by in (("2026-04-30", today), ("2026-01-10", day_index("2026-01-10"))):
        asked.clear()
        done = replace(start, ended=dt.date.fromisoformat(ended))
        assert module._only_cereal(done, stand) is only
        assert set(asked) <= {by}
    before = replace(start, ended=dt.date(2025, 12, 20))  # day 91: the cold was after it
    assert not module._only_cereal(before, stand)
