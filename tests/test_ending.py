"""When, and how, the cover is best ended: the edges of the window, of today and of the axis."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from invented import season

from covercrop.base.errors import UnknownNameError
from covercrop.models.termination import probability_by_day, window
from covercrop.parameters import catalogue
from covercrop.season.ending import Ahead, Dispute, Ending, Rival, choose_ending, is_closing
from covercrop.season.stand import Stand

CRIMSON = catalogue.cover("crimson-clover")
OUTLOOK = season(length=60)
TWO = np.full((1, 2), 0.5)


def members(*values: float) -> np.ndarray:
    return np.array([values], dtype=float)


def stand(opens: np.ndarray, seed: np.ndarray, buds: np.ndarray | None = None) -> Stand:
    """A stand whose window for turning under opens on the first days and closes on the day before those of seed."""
    names = ("emergence", "first_flower", "bloom_10", "bloom_25", "bloom_50", "end_of_bloom")
    stages = dict.fromkeys(names, opens) | {"bud": opens - 5 if buds is None else buds, "viable_seed": seed}
    return Stand(
        stages=stages,
        opens=opens,
        closes=seed - 1,
        killed=np.full(opens.shape, np.nan),
        snow=np.zeros((1, 60)),
        exposed=SimpleNamespace(),  # type: ignore[arg-type]
        weights=np.full(opens.shape, 1 / opens.size),
        scouting_sd=4.0,
    )


def ahead(today: int, in_time: float = np.inf, *, cover_first: bool = False) -> Ahead:
    """All days from today on; each way leaves the crop in time up to one day."""
    return Ahead(
        may=np.arange(60) >= today, cover_first=cover_first, in_time_until=lambda method: np.full((1, 1), in_time)
    )


def ended(
    grown: Stand,
    today: int,
    *,
    by: str = "turn-under",
    turned_under: str | None = None,
    complete: bool = True,
    settled: bool = False,
    in_time: float = np.inf,
    cover_first: bool = False,
    dispute: Dispute | None = None,
) -> Ending:
    return choose_ending(
        by,
        None if turned_under is None else dt.date.fromisoformat(turned_under),
        CRIMSON,
        season(length=60, complete=complete),
        grown,
        grown.weights,
        today,
        ahead=None if settled or not complete else ahead(today, in_time, cover_first=cover_first),
        dispute=dispute,
    )


# --- closing --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("opens", "closes", "closing"),
    [
        ((10, 30), (17, 40), True),  # half of them open, half of them closed in a week: on the edge of both
        ((11, 30), (17, 40), False),  # a day before half are open
        ((10, 30), (18, 40), False),  # half of them closed in eight days
        ((0, 0), (0, 9), True),
        ((np.nan, 10), (17, np.nan), True),
        ((np.nan, np.nan), (17, 17), False),
        ((10, 10), (np.nan, np.nan), False),
    ],
)
def test_a_window_is_closing_when_half_is_open_and_half_closes_within_a_week(
    opens: tuple[float, ...], closes: tuple[float, ...], closing: bool
) -> None:
    """Half is enough for each, and the seventh day is within the week."""
    assert is_closing(members(*opens), members(*closes), TWO, 10) is closing


def test_one_half_of_a_closing_window_is_not_enough() -> None:
    """All about to close and fewer than half open is not closing; nor all open and fewer than half about to close."""
    uneven = members(0.4, 0.6)
    assert not is_closing(members(10, 30), members(17, 17), uneven, 10)
    assert not is_closing(members(10, 10), members(17, 30), uneven, 10)
    assert is_closing(members(10, 30), members(17, 17), members(0.5, 0.5), 10)


def test_a_hair_less_than_half_is_not_half() -> None:
    """Neither of the open nor of the closing windows."""
    less = members(0.48, 0.52)
    assert not is_closing(members(10, 30), members(17, 17), less, 10)
    assert not is_closing(members(10, 10), members(17, 30), less, 10)


# --- the way and the day --------------------------------------------------------------------------


def test_too_late_begins_when_half_have_closed_by_yesterday() -> None:
    """On the last day of the window of half of the members it is not too late yet, on the morrow it is."""
    grown = stand(members(10, 10), members(21, 50))
    last = ended(grown, 20)
    assert not last.too_late
    assert last.best is not None
    assert last.day == 20
    late = ended(grown, 21)
    assert late.too_late
    assert (late.day, late.best, late.surer) == (21, None, None)


def test_fewer_than_half_closed_is_not_too_late() -> None:
    """One member of three, and there is a day yet."""
    grown = stand(members(10, 10, 10), members(21, 50, 50))
    assert not ended(grown, 30).too_late
    assert ended(grown, 50).too_late


def test_a_hair_less_than_half_closed_is_not_too_late() -> None:
    """Half is: 48 in a hundred are not."""
    grown = replace(stand(members(10, 10), members(21, 50)), weights=members(0.48, 0.52))
    assert not ended(grown, 21).too_late


def test_a_day_of_one_in_twenty_is_a_day_and_less_is_none() -> None:
    """What has a smaller chance on every day has no best one, though there is something to choose."""
    grown = stand(members(10, np.nan), members(31, np.nan))
    least = ended(replace(grown, weights=members(0.05, 0.95)), 0)
    assert least.best is not None
    assert least.best.probability == 0.05
    less = ended(replace(grown, weights=members(0.049, 0.951)), 0)
    assert (less.best, less.day, less.too_late) == (None, None, False)
    assert less.chances is not None


def test_only_days_that_are_to_come_make_a_best_day() -> None:
    """A window that most likely has not closed, but is hardly open on any day ahead, has none."""
    grown = replace(stand(members(10, np.nan), members(31, np.nan)), weights=members(0.49, 0.51))
    assert ended(grown, 30).best is not None
    past = ended(grown, 31)
    assert (past.best, past.day, past.too_late) == (None, None, False)
    assert past.odds[[30, 31]].tolist() == [0.49, 0.0]


def test_the_chances_are_those_of_the_members() -> None:
    """Each day's is the share of the windows that hold it, and the day is that of the best."""
    grown = stand(members(10, 20), members(31, 41))
    found = ended(grown, 0)
    assert found.odds[[9, 10, 19, 20, 30, 31, 40, 41]].tolist() == [0.0, 0.5, 0.5, 1.0, 1.0, 0.5, 0.5, 0.0]
    assert found.best is not None
    assert found.best.date == OUTLOOK.days[20]  # the first on which both are open
    assert found.best.end == OUTLOOK.days[26]
    assert found.day == 20
    assert found.stand.opens.tolist() == [[10, 20]]
    assert found.stand.closes.tolist() == [[30, 40]]


def test_weights_that_do_not_sum_to_one_are_shares_all_the_same() -> None:
    """A stand half of which lives has the chances of the living."""
    grown = stand(members(10, 20), members(31, 41))
    weights = members(0.125, 0.375)
    found = choose_ending("turn-under", None, CRIMSON, OUTLOOK, grown, weights, 0, ahead=ahead(0))
    assert found.odds[[15, 25, 35]].tolist() == [0.25, 1.0, 0.75]


def test_shares_of_the_living_are_shares_where_nothing_is_chosen_too() -> None:
    """Weights that sum to one half, of a cover that is ended."""
    grown = replace(stand(members(10, 20), members(31, 41)), weights=members(0.125, 0.375))
    assert ended(grown, 0, settled=True).odds[[15, 25, 35]].tolist() == [0.25, 1.0, 0.75]


def test_what_is_done_is_done_on_its_day() -> None:
    """The day in the file counts, whatever the window is, and nothing is to be chosen."""
    grown = stand(members(10, 10), members(21, 21))
    done = ended(grown, 40, turned_under="2025-09-13", settled=True)
    assert (done.day, done.best, done.too_late) == (12, None, False)


def test_a_dead_stand_has_no_day() -> None:
    """Nor is it too late for it."""
    dead = ended(stand(members(10, 10), members(21, 21)), 40, settled=True)
    assert (dead.day, dead.best, dead.too_late) == (None, None, False)


def test_without_past_years_it_is_not_called_too_late() -> None:
    """What is not known to have closed has not."""
    unknown = ended(stand(members(10, 10), members(21, 21)), 40, complete=False)
    assert (unknown.day, unknown.best, unknown.too_late) == (None, None, False)


# Under a tarp the window opens with the buds and closes three weeks before the day before the seed.


def test_the_way_asked_for_is_taken_while_half_of_its_windows_are_left() -> None:
    """Half is enough; of fewer, the cover is turned under."""
    half = ended(stand(members(30, 30), members(45, 31), members(5, 20)), 10, by="tarp")
    assert half.method == "tarp"
    less = ended(stand(members(30, 30, 30), members(45, 31, 31), members(5, 20, 20)), 10, by="tarp")
    assert less.method == "turn-under"


def test_a_window_holds_its_last_day_and_one_of_a_day() -> None:
    """Of the way asked for there is still a day on the last one, and a window of one day is a window."""
    grown = stand(members(30, 30), members(45, 45), members(5, 5))  # closes on day 23
    assert ended(grown, 23, by="tarp").method == "tarp"
    assert ended(grown, 24, by="tarp").method == "turn-under"
    assert ended(stand(members(30, 30), members(45, 45), members(23, 23)), 10, by="tarp").method == "tarp"


def test_half_of_the_windows_keeps_the_way_though_turning_under_is_surer() -> None:
    """On their last day, and of a single day, too; a hair less than half, and it is turned under."""
    half = stand(members(26, 26), members(45, 31), members(5, 5))  # a tarp's close on days 23 and 9
    assert ended(half, 23, by="tarp").method == "tarp"
    assert ended(half, 24, by="tarp").method == "turn-under"
    assert ended(replace(half, weights=members(0.48, 0.52)), 23, by="tarp").method == "turn-under"
    one_day = stand(members(26, 26), members(45, 31), members(23, 12))
    assert ended(one_day, 10, by="tarp").method == "tarp"


def test_a_way_without_a_window_is_kept_where_turning_under_is_no_surer() -> None:
    """Hopeless is not enough: what takes its place has to have a better day; any is, where the way has none."""
    # Of three tarps' windows one is left, on days 6 to 10; turned under, no more than one of them overlaps a day.
    apart = stand(members(10, 20, 30), members(33, 26, 36), members(6, 20, 30))
    assert ended(replace(apart, weights=members(0.4, 0.3, 0.3)), 6, by="tarp").method == "turn-under"
    alone = stand(members(10, 26, 34), members(25, 34, 56), members(2, 26, 36))
    kept = ended(replace(alone, weights=members(0.4, 0.3, 0.3)), 2, by="tarp")
    assert kept.best is not None
    assert (kept.method, kept.best.probability) == ("tarp", 0.4)


def test_a_surer_way_is_named_where_the_one_asked_for_is_poor() -> None:
    """Below one half turning under is named beside it; at one half it is not; nor beside itself."""
    # The windows for a tarp do not overlap; that for turning under holds all members on days 40 to 48.
    poor = ended(stand(members(40, 40, 40), members(50, 53, 56), members(26, 30, 33)), 10, by="tarp")
    assert poor.best is not None
    assert poor.best.probability == pytest.approx(1 / 3)
    assert poor.surer is not None
    assert poor.surer.probability == 1.0
    assert poor.surer.date == OUTLOOK.days[40]
    half = ended(stand(members(40, 40), members(50, 55), members(26, 32)), 10, by="tarp")
    assert half.best is not None
    assert half.best.probability == 0.5
    assert half.surer is None
    assert ended(stand(members(40, 50), members(45, 55)), 10).surer is None
    # Neither is one named that is as poor: here no two windows of either overlap.
    alike = ended(stand(members(20, 45, 70), members(43, 68, 93), members(20, 45, 70)), 10, by="tarp")
    assert alike.best is not None
    assert (alike.method, alike.best.probability, alike.surer) == ("tarp", pytest.approx(1 / 3), None)


def test_the_crop_has_its_say() -> None:
    """Where only the first days leave it in time, they are taken; what that gives up is said with its day."""
    grown = stand(members(10, 20), members(31, 41))
    found = ended(grown, 0, in_time=12)
    assert found.best is not None
    assert (found.day, found.best.why, found.best.given_up) == (10, "crop", "bloom")
    assert found.best.in_time == 1.0
    assert found.best.other is not None
    assert (found.best.other.date, found.best.other.in_time) == (OUTLOOK.days[20], 0.0)
    kept = ended(grown, 0, in_time=12, cover_first=True)
    assert kept.best is not None
    assert (kept.day, kept.best.given_up) == (20, "crop")


def test_the_chance_of_any_day_counts_the_seasons_that_have_one() -> None:
    """Windows that do not overlap have no day that fits both, and both have one."""
    found = ended(stand(members(10, 30), members(21, 41)), 0)
    assert found.best is not None
    assert (found.best.probability, found.best.some_day) == (0.5, 1.0)
    late = ended(stand(members(10, 30), members(21, 41)), 20)
    assert late.best is not None
    assert late.best.some_day == 1.0
    past = ended(stand(members(10, 30, 30), members(21, 41, 41)), 25)
    assert past.best is not None
    assert past.best.some_day == pytest.approx(2 / 3)


# --- notes in doubt -------------------------------------------------------------------------------


def rival(grown: Stand, today: int, *, by: str = "turn-under", closed: float = 0.0, in_time: float = np.inf) -> Rival:
    ending = ended(grown, today, by=by, in_time=in_time)
    return Rival(stand=grown, weights=grown.weights, ending=ending, closed=closed)


EARLY, LATE = stand(members(10, 10), members(31, 31)), stand(members(25, 25), members(46, 46))


def test_no_day_is_surer_than_without_a_note_in_doubt() -> None:
    """The day is one of both windows."""
    other = rival(LATE, 5)
    found = ended(EARLY, 5, dispute=Dispute(rivals=(other,), settled=other))
    assert np.flatnonzero(found.odds).tolist() == [*range(25, 31)]
    assert found.day == 25


def test_no_chance_is_above_the_best_without_any_of_them() -> None:
    """A stand whose windows are apart has no day above one half, and the answer with the note has none either."""
    apart = rival(stand(members(10, 30), members(21, 41)), 5)
    same = rival(EARLY, 5)
    found = ended(EARLY, 5, dispute=Dispute(rivals=(same,), settled=apart))
    assert found.odds.max() == pytest.approx(0.5)
    assert np.flatnonzero(found.odds).tolist() == [*range(10, 31)]
    capped = ended(EARLY, 5, dispute=Dispute(rivals=(same,), settled=same, ceilings=(apart,)))
    np.testing.assert_allclose(capped.odds, found.odds)
    free = ended(EARLY, 5, dispute=Dispute(rivals=(same,), settled=same))
    assert free.odds.max() == 1.0


def test_a_lower_ceiling_lowers_all_days_in_the_same_measure() -> None:
    """Three quarters of the members agree on a day where half may: each chance is two thirds of what it was."""
    grown = stand(members(10, 10, 10, 40), members(31, 31, 21, 51))
    apart = rival(stand(members(10, 30), members(21, 41)), 5)
    found = ended(grown, 5, dispute=Dispute(rivals=(), settled=apart))
    assert found.odds[[9, 10, 25, 40]] == pytest.approx([0.0, 0.5, 1 / 3, 1 / 6])
    assert found.best is not None
    assert found.best.probability == pytest.approx(0.5)


def test_a_stand_without_the_notes_has_its_own_crop_in_time() -> None:
    """Its chances are those that it was given, with its own last day, not what the stand with the notes has."""
    other = rival(EARLY, 5, in_time=20)
    found = ended(EARLY, 5, dispute=Dispute(rivals=(other,), settled=other))
    assert found.chances is not None
    assert found.chances.in_time[[20, 21]].tolist() == [1.0, 0.0]
    assert found.chances.window[21] == 1.0


def test_the_best_day_is_no_surer_than_that_of_any_stand_without_the_notes() -> None:
    """One of them gives up the surest days for its crop: what is left to it is all that may be told."""
    grown = stand(members(10, 20), members(31, 41))
    hurried, free = rival(grown, 5, in_time=12), rival(grown, 5)
    assert hurried.ending.best is not None
    assert hurried.ending.best.probability == 0.5
    found = ended(grown, 5, cover_first=True, dispute=Dispute(rivals=(hurried,), settled=free))
    assert found.best is not None
    assert (found.day, found.odds[20], found.best.probability) == (20, 1.0, 0.5)


def test_the_ceiling_of_another_way_is_that_of_its_own_windows() -> None:
    """What the stands without the notes would be by the way asked for counts, not the day that they have by theirs."""
    # Turned under, the windows of days 10 to 31 and 50 to 56 have no day in common; for a tarp, days 6 to 10 are.
    grown = stand(members(10, 50), members(32, 57), members(5, 6))
    turned = rival(grown, 4)
    assert turned.ending.best is not None
    assert turned.ending.best.probability == 0.5
    covered = rival(grown, 4, by="tarp")
    found = ended(grown, 4, by="tarp", dispute=Dispute(rivals=(), settled=covered, ceilings=(turned,)))
    assert found.method == "tarp"
    assert found.odds[[5, 6, 10, 11]].tolist() == [0.5, 1.0, 1.0, 0.5]
    assert found.best is not None
    assert found.best.probability == 1.0


def test_it_is_too_late_only_where_it_is_without_the_notes() -> None:
    """The least of what the stands without them say counts."""
    open_yet, closed = rival(LATE, 40, closed=0.1), rival(EARLY, 40, closed=0.9)
    assert not ended(EARLY, 40, dispute=Dispute(rivals=(open_yet, closed), settled=closed)).too_late
    assert ended(LATE, 40, dispute=Dispute(rivals=(closed,), settled=closed)).too_late
    half = rival(EARLY, 40, closed=0.5)
    assert ended(LATE, 40, dispute=Dispute(rivals=(half,), settled=half)).too_late
    assert ended(EARLY, 40, dispute=Dispute(rivals=(), settled=open_yet)).too_late


def test_the_way_is_that_of_the_stand_without_the_notes() -> None:
    """It is turned under where that stand is, and not where it is not."""
    grown = stand(members(30, 30), members(45, 45), members(5, 5))
    turned, covered = rival(grown, 10), rival(grown, 10, by="tarp")
    assert ended(grown, 10, by="tarp", dispute=Dispute(rivals=(turned,), settled=turned)).method == "turn-under"
    kept = ended(grown, 24, by="tarp", dispute=Dispute(rivals=(covered,), settled=covered))
    assert kept.method == "tarp"  # where no tarp's window is left, by the members with the note
    opens, closes = window(grown.stages, "tarp", CRIMSON)
    np.testing.assert_allclose(kept.odds, probability_by_day(opens, closes, grown.weights, 60))


def test_no_such_way() -> None:
    """An unknown way of ending is refused with those that there are."""
    with pytest.raises(UnknownNameError, match="burn"):
        ended(EARLY, 5, by="burn")
