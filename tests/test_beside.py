"""The cereal beside a legume: its share, its stages in every member, and what notes of it do to them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented import field, season

from covercrop.field.entries import ScoutingNote
from covercrop.models import cereal, termination
from covercrop.models.cereal import ZADOKS
from covercrop.models.members import standard_draws
from covercrop.models.mixture import growth_factor, residue_pace
from covercrop.models.note_weights import SCOUTING_SD_DAYS, SHARED_SCATTER
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.season.beside import CerealStand, Share, _doubts, _lateness, grow_cereal, joined, share_of

RYE = companion("cereal-rye")
NAN = np.nan
FIRST = dt.date(2025, 9, 1)
EVEN = np.ones((1, 4)) / 4


def note(day: int, **seen: float) -> ScoutingNote:
    return ScoutingNote(date=FIRST + dt.timedelta(days=day), **seen)  # type: ignore[arg-type]


def stand(killed: object = NAN, share: float = 0.4, **stages: object) -> CerealStand:
    """Rye in four draws of one year, that comes to a stage every ten days from day 200 on, draw by draw a day later."""
    days = {name: 200.0 + 10 * place + np.arange(4.0)[np.newaxis] for place, name in enumerate(ZADOKS)}
    given = {name: np.broadcast_to(each, (1, 4)).astype(float) for name, each in stages.items()}  # type: ignore[arg-type]
    return CerealStand(
        companion=RYE,
        share=Share(low=share, middle=share, high=share, whose="field"),
        stages=days | {"tilled_until": np.full((1, 4), 250.0), "last": np.full((1, 4), 265.0)} | given,
        killed=np.broadcast_to(killed, (1, 4)).astype(float),  # type: ignore[arg-type]
        notes=0,
        sd=8.0,
    )


# --- how much of it is the legume -----------------------------------------------------------------


def test_the_share_is_that_of_the_last_note_then_of_the_field_then_assumed() -> None:
    """Of a range its middle; nobody's is 15 to 50 %, likely 30."""
    plain = field().cover
    entered = replace(plain, companion="cereal-rye", legume_percent=(20.0, 50.0))
    told = [note(150, legume_percent=70), note(160, legume_percent=60), note(170, bbch=30)]
    assert share_of(entered, told) == Share(low=0.6, middle=0.6, high=0.6, whose="note")
    assert share_of(entered, ()) == Share(low=0.2, middle=0.35, high=0.5, whose="field")
    assert share_of(plain, ()) == Share(low=0.15, middle=0.3, high=0.5, whose="assumed")


def test_a_share_is_drawn_in_its_range() -> None:
    """Its ends are those of an 80 % interval."""
    drawn = Share(low=0.2, middle=0.3, high=0.6, whose="field").drawn([-1.2816, 0.0, 1.2816])
    np.testing.assert_allclose(drawn, [0.2, 0.3, 0.6])


def test_where_the_cereal_is_dead_all_is_legume() -> None:
    """From the day on which the cold kills it, in each member by its own draw of the share."""
    draws = standard_draws(4)
    half_dead = stand(killed=[100.0, 101.0, NAN, NAN])
    np.testing.assert_array_equal(half_dead.legume_share(100), [[1.0, 0.4, 0.4, 0.4]])
    wide = replace(half_dead, share=Share(low=0.2, middle=0.4, high=0.6, whose="field"))
    drawn = wide.share.drawn(draws.legume_share)
    assert np.ptp(drawn) > 0.2
    np.testing.assert_array_equal(wide.legume_share(101, draws), [[1.0, 1.0, drawn[2], drawn[3]]])


def test_a_mixture_weighs_more_by_the_cereal_that_lives() -> None:
    """What is over the legume alone counts in the share of the draws in which it lives, year by year."""
    over = float(growth_factor(0.4)) - 1
    assert over > 0.1
    two_years = replace(stand(), killed=np.array([[100.0, NAN, NAN, NAN], [NAN, NAN, NAN, NAN]]))
    np.testing.assert_allclose(two_years.growth_factor(100), [[1 + 0.75 * over], [1 + over]])
    np.testing.assert_allclose(two_years.growth_factor(99), [[1 + over], [1 + over]])
    one_place = replace(two_years, killed=two_years.killed[np.newaxis])
    np.testing.assert_allclose(one_place.growth_factor(100), [[[1 + 0.75 * over], [1 + over]]])


# --- its stages -----------------------------------------------------------------------------------


def test_a_dead_cereal_asks_for_nothing() -> None:
    """What a way of ending waits for has come, what it is too late for does not come, and no other stage is there."""
    found = stand(killed=[NAN, 90.0, NAN, NAN]).among_stages()
    assert set(found) == {f"cereal_{name}" for name in (*ZADOKS, "tilled_until", "last")}
    dead = {name: days[0, 1] for name, days in found.items()}
    assert dead.pop("cereal_heading") == dead.pop("cereal_flowering") == -np.inf
    assert dead.pop("cereal_tilled_until") == np.inf
    assert np.isnan(list(dead.values())).all()
    np.testing.assert_array_equal(found["cereal_boot"][0, [0, 2, 3]], [230.0, 232.0, 233.0])


def test_its_middle_is_that_of_all_members_of_a_place() -> None:
    """Of three years with two draws, place by place: the mean of the third and the fourth of six."""
    days = np.array([[[1.0, 9.0], [2.0, 8.0], [3.0, 5.0]], [[11.0, 19.0], [12.0, 18.0], [13.0, 13.0]]])
    plain = replace(stand(), stages={"boot": days}, killed=np.full(days.shape, NAN))
    np.testing.assert_array_equal(plain.likely()["boot"], [4.0, 13.0])
    assert plain.at(1).likely()["boot"] == 13.0
    assert plain.at(1).killed.shape == (3, 2)


def test_its_dates_are_of_the_members_that_live() -> None:
    """And of all, where none does; early, likely and late."""
    days = stand(killed=[50.0, NAN, NAN, NAN]).days(EVEN)
    assert days.shape == (len(ZADOKS), 3)
    np.testing.assert_array_equal(days[0], [201.0, 202.0, 203.0])
    np.testing.assert_array_equal(stand(killed=50.0).days(EVEN)[0], [200.0, 201.0, 203.0])


def test_its_stage_is_the_likely_one() -> None:
    """On the 231st day the likely stand, the second of four, is in boot; the latest is not so far by two days."""
    assert stand().zadoks_on(231.0, EVEN) == ZADOKS["boot"]
    assert stand().zadoks_on(230.0, EVEN) < ZADOKS["boot"]


def test_it_is_dead_from_the_day_of_the_cold_on() -> None:
    """By the weight of the members."""
    weights = np.array([[0.4, 0.3, 0.2, 0.1]])
    cold = stand(killed=[90.0, 91.0, NAN, NAN])
    assert [cold.dead_by(day, weights) for day in (89, 90, 91)] == pytest.approx([0.0, 0.4, 0.7])


def test_its_grain_fills_once_it_does_in_half_of_the_members() -> None:
    """Two of four, where the last of them is in time; what is dead has none."""
    filling = {"last": [260.0, 261.0, 262.0, 263.0]}
    assert [stand(**filling).in_grain(day, EVEN) for day in (260, 261)] == [False, True]
    assert not stand(**filling).in_grain(261, np.array([[0.25, 0.24, 0.25, 0.26]]))
    assert not stand(killed=[NAN, 90.0, NAN, NAN], **filling).in_grain(261, EVEN)


def test_days_are_counted_from_another_first_day() -> None:
    """Four days earlier: all of its days are four more."""
    moved = stand(killed=90.0).later(4)
    assert moved.killed[0, 0] == 94.0
    assert (moved.stages["boot"][0, 0], moved.stages["last"][0, 0]) == (234.0, 269.0)


def test_several_sowings_differ_by_what_the_cold_does() -> None:
    """One after the other, on the axis of the sowings."""
    parts = [replace(stand(), killed=np.full((1, 1, 4), day)) for day in (80.0, NAN)]
    both = joined(parts)
    np.testing.assert_array_equal(both.killed[:, 0, 0], [80.0, NAN])
    assert both.stages is parts[0].stages


# --- what it is made of ---------------------------------------------------------------------------


def test_its_nitrogen_falls_from_tillering_to_flowering() -> None:
    """Half of the way from tillering to jointing it is half of the way between the two."""
    young, grown = (each.value for each in (RYE.nitrogen.tillering, RYE.nitrogen.jointing))
    np.testing.assert_allclose(stand().nitrogen_percent(205.0, np.zeros(4))[0, 0], (young + grown) / 2)


@pytest.mark.parametrize(
    ("dead", "share"),
    [(7, 0.4), (8, 1.0)],  # of ten, the share from which on it is called dead
)
def test_it_slows_the_rot_until_it_is_dead(dead: int, share: float) -> None:
    """By its C:N at the stage of the middle member; once it is dead the residue is that of the legume."""
    legume = catalogue.cover("crimson-clover").residue
    days = {name: np.full((1, 10), 200.0 + 10 * place) for place, name in enumerate(ZADOKS)}
    killed = np.where(np.arange(10) < dead, 90.0, NAN)[np.newaxis]
    found = replace(stand(), stages=days, killed=killed).residue_pace(legume, 210.0)  # at jointing
    ratio = RYE.nitrogen.carbon.value / RYE.nitrogen.jointing.value
    assert float(found) == pytest.approx(float(residue_pace(share, legume, RYE.residue, ratio)))
    assert float(found) == pytest.approx(1.0) if share == 1.0 else float(found) < 0.95


# --- notes of its stage ---------------------------------------------------------------------------

#: A warm season of long days, in which the middle rye comes to each stage on a day that is looked up once.
OUTLOOK = season(12.0, length=330, years=2)
MIDDLE = cereal.stage_days(OUTLOOK.tmean, 16.0, RYE, 113)
FLOWERS = int(MIDDLE["flowering"][0, 0])
#: How far at a new place it may be off: its clock, 7.7 days, and its cultivars, 2.5 either way in eight of ten.
SD = float(np.hypot(7.7, 2.5 / 1.2816))


def grown(*notes: ScoutingNote, aside: tuple[ScoutingNote, ...] = ()) -> CerealStand:
    share = Share(low=0.3, middle=0.3, high=0.3, whose="field")
    return grow_cereal(
        OUTLOOK, 16.0, RYE, standard_draws(8), midwinter=113, share=share, scouting=notes, set_aside=aside
    )


def seen(late: int, stage: str = "flowering") -> ScoutingNote:
    """A note of a stage, so many days later than the middle stand."""
    return note(int(MIDDLE[stage][0, 0]) + late, cereal=ZADOKS[stage])


def test_without_notes_it_flowers_as_the_clock_has_it() -> None:
    """In each draw as far from the middle as the draw is; alive, until the cold is told."""
    found = grown(note(200, bbch=30))
    draws = standard_draws(8)
    assert (found.notes, found.doubts) == (0, ())
    assert found.sd == pytest.approx(SD)
    np.testing.assert_array_equal(found.stages["flowering"][0], np.rint(FLOWERS + SD * draws.cereal))
    assert found.killed.shape == found.stages["milk"].shape == (2, 8)
    assert np.isnan(found.killed).all()
    stages = found.stages
    np.testing.assert_array_equal(stages["last"], termination.last_before_grain(stages["milk"], draws.pods))
    np.testing.assert_array_equal(
        stages["tilled_until"], termination.tilled_until(stages["boot"], stages["milk"], draws.kill)
    )


@pytest.mark.parametrize("late", [(6,), (-6,), (9, 3, 4)])
def test_notes_move_it_as_far_as_they_are_to_be_trusted(late: tuple[int, ...]) -> None:
    """As the best linear estimate has it, of notes that share a part of their scatter."""
    stages = ("heading", "flowering", "boot")
    found = grown(*(seen(by, stage) for by, stage in zip(late, stages, strict=False)))
    count = len(late)
    scatter = SCOUTING_SD_DAYS**2 * (SHARED_SCATTER + (1 - SHARED_SCATTER) * np.eye(count))
    gain = SD**2 * np.linalg.solve(SD**2 + scatter, np.ones(count))
    sd = np.sqrt(SD**2 - SD**2 * gain.sum())
    assert found.notes == count
    assert found.sd == pytest.approx(sd)
    wanted = np.rint(FLOWERS + gain @ late + sd * standard_draws(8).cereal)
    np.testing.assert_array_equal(found.stages["flowering"][1], wanted)
    assert found.doubts == ()


def test_a_note_far_off_pulls_no_harder_than_one_at_the_edge_and_is_in_doubt() -> None:
    """Twice the scatter of a note and the clock together; two like it on other days confirm each other."""
    edge = 2 * np.hypot(SCOUTING_SD_DAYS, SD)
    far, further = grown(seen(40)), grown(seen(60))
    assert [doubt.days for doubt in (*far.doubts, *further.doubts)] == [-40.0, -60.0]
    assert far.doubts[0].of_cereal
    assert not far.doubts[0].confirmed
    np.testing.assert_array_equal(far.stages["flowering"], further.stages["flowering"])
    moved = edge * SD**2 / (SD**2 + SCOUTING_SD_DAYS**2)
    wanted = np.rint(FLOWERS + moved + far.sd * standard_draws(8).cereal)
    np.testing.assert_array_equal(far.stages["flowering"][0], wanted)
    early = grown(seen(-40))
    assert early.doubts[0].days == 40.0
    assert early.stages["flowering"].mean() < FLOWERS - 10


def test_a_note_that_is_set_aside_does_nothing() -> None:
    """The others count as if it were not there."""
    wrong, right = seen(40), seen(3, "heading")
    found, alone = grown(wrong, right, aside=(wrong,)), grown(right)
    assert (found.notes, found.doubts) == (1, ())
    np.testing.assert_array_equal(found.stages["flowering"], alone.stages["flowering"])


def test_a_note_that_is_far_is_in_doubt_and_another_day_confirms_it() -> None:
    """Further than the most, not just so far; confirmed by one of another day on the same side that is far too."""
    first, second, same_day = note(200, cereal=61), note(207, cereal=65), note(200, cereal=71)

    def told(late: dict[ScoutingNote, float]) -> list[tuple[float, bool]]:
        return [(doubt.days, doubt.confirmed) for doubt in _doubts(late, 10.0)]

    assert told({first: 10.0, second: -10.0}) == []
    assert told({first: 10.5, second: 9.5}) == [(-10.5, False)]
    assert told({first: 10.5, second: 11.0}) == [(-10.5, True), (-11.0, True)]
    assert told({first: -10.5, second: -0.5}) == [(10.5, False)]
    assert told({first: -10.5, second: 11.0}) == [(10.5, False), (-11.0, False)]
    assert told({first: -10.5, same_day: -11.0}) == [(10.5, False), (11.0, False)]


def test_how_late_a_stage_was_seen() -> None:
    """Against the middle year of those that come to it; nothing where none does."""
    assert _lateness(seen(5), MIDDLE, OUTLOOK) == 5.0
    partly = {name: np.vstack([days[:1], np.full_like(days[1:], NAN)]) for name, days in MIDDLE.items()}
    assert _lateness(seen(5), partly, OUTLOOK) == 5.0
    assert _lateness(seen(5), {name: days * NAN for name, days in MIDDLE.items()}, OUTLOOK) is None


@pytest.mark.parametrize(
    ("code", "stage", "late", "tells"),
    [
        (21, "tillering", -1, False),  # it may stand like that for weeks before
        (21, "tillering", 0, True),
        (21, "tillering", 9, True),
        (25, "tillering", -9, True),
        (83, "milk", 1, False),  # and ripen for weeks after
        (83, "milk", 0, True),
        (83, "milk", -9, True),
        (71, "milk", 9, True),
    ],
)
def test_beyond_the_dated_stages_only_one_side_tells(code: int, stage: str, late: int, tells: bool) -> None:
    """Young plants early in the year, and ripe ones late in it, are as they should be."""
    noted = note(int(MIDDLE[stage][0, 0]) + late, cereal=code)
    assert _lateness(noted, MIDDLE, OUTLOOK) == (late if tells else None)
