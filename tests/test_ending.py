"""When, and how, the cover is best ended: the edges of the window, of today and of the axis."""

from __future__ import annotations

import datetime as dt
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


def rival(grown: Stand, today: int, *, by: str = "turn-under", closed: float = 0.0) -> Rival:
    return Rival(stand=grown, weights=grown.weights, ending=ended(grown, today, by=by), closed=closed)


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
