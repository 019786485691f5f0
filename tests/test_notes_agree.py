"""What a further note does to a whole field: it moves the dates its own way, and what contradicts is said."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import field, weather

from covercrop.field.entries import NO_BUDS, ScoutingNote
from covercrop.models import bbch
from covercrop.models.members import quantiles, standard_draws
from covercrop.models.note_weights import SCOUTING_SD_DAYS
from covercrop.parameters import catalogue
from covercrop.render.words.answer import reasons
from covercrop.season.plan import Plan, make_plan
from covercrop.season.stand import Stand, grow_stand
from covercrop.weather.outlook import season_outlook

TODAY = dt.date(2026, 4, 20)
WEATHER = weather()
OUTLOOK = season_outlook(WEATHER, np.datetime64("2025-09-20"), 400, np.datetime64(TODAY))
COVER = catalogue.cover("crimson-clover")

#: What may be seen, from a stand that is behind to one that is ahead: BBCH codes, then bloom [%].
SCALE = (("bbch", NO_BUDS), ("bbch", 51), ("bbch", 55), *(("bloom_percent", share) for share in (1, 5, 10, 25, 50, 80)))

#: Dates are whole days and the draws are few, so that what does not move may move by a day.
GRAIN = 1.0

#: Notes that lie further apart than twice their scatter widen the dates so much that the middle may move with it by so
#: many days: buds noted in full bloom in a cold March, say.
GRAIN_WHEN_WIDE = 3.0


def note(days_ago: int, seen: tuple[str, int]) -> ScoutingNote:
    return ScoutingNote(date=TODAY - dt.timedelta(days=days_ago), **{seen[0]: seen[1]})


@cache
def stand(*notes: ScoutingNote) -> Stand:
    return grow_stand(OUTLOOK, 37.6, COVER, standard_draws(), scouting=notes)


def middles(grown: Stand) -> np.ndarray:
    """Likely day of the buds, the first flowers, and the opening and the close of the window."""
    edges = (grown.stages["bud"], grown.stages["first_flower"], grown.opens, grown.closes)
    return np.array([quantiles(edge, grown.weights)[1] for edge in edges])


def planned(*notes: ScoutingNote, details: bool = False) -> Plan:
    """The plan with such notes; what is only said beside its dates takes as long again, and only reasons need it."""
    return make_plan(replace(field(), scouting=notes), WEATHER, np.datetime64(TODAY), details=details)


seen_before = st.lists(st.builds(note, st.integers(0, 25), st.sampled_from(SCALE)), max_size=2).map(tuple)


@settings(max_examples=25, deadline=None)
@given(seen_before, st.sampled_from([0, 1, 14]))
def test_the_more_is_seen_the_earlier(earlier: tuple[ScoutingNote, ...], days_ago: int) -> None:
    """With no, one or two notes before it: the further on the stand is seen to be, the earlier each date, or equal."""
    grown = [stand(*earlier, note(days_ago, seen)) for seen in SCALE]
    found = np.array([middles(each) for each in grown])
    wide = np.array([each.scouting_sd > 2 * SCOUTING_SD_DAYS for each in grown])
    for place, least in enumerate(found):
        slack = np.where(wide[place:] | wide[place], GRAIN_WHEN_WIDE, GRAIN)[:, np.newaxis]
        assert (found[place:] <= least + slack).all()
    assert (found[-1] <= found[0]).all()
    assert (found[-1] < found[0]).any()


@settings(max_examples=60, deadline=None)
@given(seen_before, st.sampled_from([0, 1, 14]), st.sampled_from(SCALE))
def test_a_note_moves_the_dates_its_own_way(
    earlier: tuple[ScoutingNote, ...], days_ago: int, seen: tuple[str, int]
) -> None:
    """A stage seen before it was foretold moves no date later, one seen after it none earlier, but for the grain."""
    before, added = stand(*earlier), note(days_ago, seen)
    after = stand(*earlier, added)
    moved = middles(after) - middles(before)
    wide = max(before.scouting_sd, after.scouting_sd) > 2 * SCOUTING_SD_DAYS
    grain = GRAIN_WHEN_WIDE if wide else GRAIN
    no_buds = added.stage == NO_BUDS
    expected = before.stages["bud"] if no_buds else bbch.day_at_bbch(before.stages, added.stage)
    foretold = quantiles(expected, before.weights)[1]
    gap = foretold - OUTLOOK.position(np.datetime64(added.date))
    if gap > GRAIN and not no_buds:
        assert (moved <= grain).all()
        assert moved.sum() <= grain
    if gap < -GRAIN:
        assert (moved >= -grain).all()
        assert moved.sum() >= -grain


BUDS = (note(12, ("bbch", 51)), note(3, ("bbch", 55)))
HALF = note(0, ("bloom_percent", 50))


def test_half_in_bloom_today_against_two_notes_of_buds() -> None:
    """The note is used and named with its days, the dates come forward and widen, and the answer does not argue."""
    before, after = planned(*BUDS), planned(*BUDS, HALF, details=True)
    for name in ("bud", "first_flower", "bloom_25", "window_open", "window_close"):
        old, new = before.dates[name], after.dates[name]
        assert new.median < old.median, name
        assert new.late - new.early > 1.2 * (old.late - old.early), name
    surprises = [said for said in after.provenance.notes if "surprising" in said]
    assert surprises == [
        "Your note of 20 Apr (50% bloom) is surprising: by this weather and your earlier notes it would be expected "
        "about 6 May, 16 days later. It is used all the same."
    ]
    assert not any("surprising" in said for said in before.provenance.notes)
    assert "3 scouting notes are used, good to about 8 days." in after.provenance.notes
    assert any(
        "do not fit this weather and each other well, so the dates are kept wide" in said
        for said in after.provenance.notes
    )
    assert reasons(after)[0].endswith("On 20 Apr you saw 50% in bloom: if you are sure of that, go by it.")


def test_buds_seen_today_after_bloom_was_noted() -> None:
    """The mirror: two notes of bloom, then none open today; the dates go back, and the note is named."""
    bloom = (note(9, ("bloom_percent", 10)), note(3, ("bloom_percent", 50)))
    before, after = planned(*bloom), planned(*bloom, note(0, ("bbch", 51)))
    for name in ("bud", "first_flower", "window_open"):
        assert after.dates[name].median > before.dates[name].median, name
    (said,) = (said for said in after.provenance.notes if "surprising" in said and "20 Apr" in said)
    assert "days earlier. It is used all the same." in said


@pytest.mark.parametrize("earlier", [(), BUDS, (note(25, ("bbch", 51)),)])
def test_half_in_bloom_on_two_days_is_in_flower(earlier: tuple[ScoutingNote, ...]) -> None:
    """Two visits that agree are believed, whatever was noted or foretold before: the stand is in flower."""
    plan = planned(*earlier, note(1, ("bloom_percent", 40)), HALF)
    assert plan.stand.bbch >= bbch.BBCH["first_flower"]
    assert plan.dates["first_flower"].median <= np.datetime64(TODAY)


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        (("bloom_percent", 5), "On 20 Apr you saw 5% in bloom: if you are sure of that, go by it."),
        (("bbch", NO_BUDS), "On 20 Apr you saw BBCH 50 (up and growing, no buds): if you are sure of that, go by it."),
        (("bloom_percent", 0), ""),
        (("bbch", 55), ""),
    ],
)
def test_what_is_seen_today_is_not_denied(seen: tuple[str, int], said: str) -> None:
    """Where the likely stage is another than the one seen today, both are said; where they are alike, one is."""
    first = reasons(planned(*BUDS, note(0, seen), details=True))[0]
    assert first.endswith(said or "none open.")
    assert first.startswith("By the weather and all your notes" if said else "The stand is most likely at BBCH")


def test_a_stage_that_has_passed_is_no_contradiction() -> None:
    """Buds three weeks ago, flowers now: nothing to say."""
    plan = planned(note(21, ("bbch", 51)), note(9, ("bloom_percent", 10)), details=True)
    assert plan.stand.bbch > bbch.BBCH["first_flower"]
    assert reasons(plan)[0] == f"The stand is most likely at BBCH {plan.stand.bbch}: {plan.stand.stage}."


def test_the_order_of_the_file_does_not_matter() -> None:
    """Notes are taken by their dates."""
    assert (middles(stand(*BUDS, HALF)) == middles(stand(HALF, *BUDS[::-1]))).all()
    assert stand(HALF, *BUDS).surprises == stand(*BUDS, HALF).surprises


def test_the_slip_of_a_month_moves_a_forecast_by_less() -> None:
    """Full bloom noted in February: the dates come forward, by weeks less than the note says, and are wide."""
    plain, slipped = stand(), stand(note(67, ("bloom_percent", 50)))
    moved = middles(slipped) - middles(plain)
    assert (moved < 0).all()
    assert (moved > -35).all()
    assert slipped.scouting_sd > 3 * SCOUTING_SD_DAYS
    assert slipped.surprises[0][1] > 60
