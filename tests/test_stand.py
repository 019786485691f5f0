"""A cover in every member: what the notes, the cold and the sowing do to it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented import season

from covercrop.base.arrays import Array
from covercrop.field.entries import ScoutingNote
from covercrop.models import bbch, phenology, termination
from covercrop.models.daylength import day_length
from covercrop.models.members import Draws, standard_draws
from covercrop.models.note_weights import NOTE_NOT_YET, NOTE_PAST, NOTE_REACHED, SCOUTING_SD_DAYS, Evidence
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.season.beside import CerealStand, Share, grow_cereal
from covercrop.season.stand import (
    LASTING_SOIL_SD,
    Stand,
    _evidence,
    _over_years,
    _straightened,
    brought,
    grow_stand,
    soil_groups,
    stages_of,
)
from covercrop.weather.outlook import Outlook, together

CRIMSON = catalogue.cover("crimson-clover")
DRAWS = standard_draws(8)
LATITUDE = 37.6
LENGTH = 400


def wave(mean: float = 12.0, years: int = 3, **options: object) -> Outlook:
    """A season of a smooth yearly wave from 1 September, each year a little warmer than the one before."""
    day = np.arange(LENGTH)
    means = mean - 11.0 * np.cos(2 * np.pi * (day + 244 - 20) / 365.25)
    return season(means + np.linspace(-1, 1, years)[:, np.newaxis], length=LENGTH, years=years, **options)  # type: ignore[arg-type]


OUTLOOK = wave(known=200)


def grown(outlook: Outlook = OUTLOOK, draws: Draws = DRAWS, **options: object) -> Stand:
    return grow_stand(outlook, LATITUDE, CRIMSON, draws, **options)  # type: ignore[arg-type]


PLAIN = grown()


def on(day: int) -> dt.date:
    return dt.date(2025, 9, 1) + dt.timedelta(days=day)


def middle(stand: Stand, name: str) -> float:
    return float((stand.stages[name] * stand.weights).sum())


# --- the stand without notes ----------------------------------------------------------------------


def test_members_are_alike_without_notes() -> None:
    """Equal weights that sum to one, one row a year, one column a draw."""
    assert PLAIN.weights.shape == PLAIN.opens.shape == PLAIN.killed.shape == (3, 8)
    np.testing.assert_allclose(PLAIN.weights, 1 / 24)
    assert PLAIN.surprises == ()
    assert PLAIN.doubts == ()


def test_a_late_draw_blooms_late_and_an_unknown_cultivar_spreads_them() -> None:
    """The spread of the requirement is that of the draws, wider where the cultivar is not known."""
    known = grown(cultivar="Dixie")
    late = np.argsort(DRAWS.requirement)
    for stand in (PLAIN, known):
        assert (np.diff(stand.stages["bloom_25"][:, late], axis=1) >= 0).all()
    assert (np.ptp(PLAIN.stages["bloom_25"], axis=1) > np.ptp(known.stages["bloom_25"], axis=1)).all()


def test_an_early_cultivar_is_early() -> None:
    """Its offset is taken off what bloom needs."""
    early = min(CRIMSON.cultivars, key=lambda cultivar: cultivar.offset.value)
    late = max(CRIMSON.cultivars, key=lambda cultivar: cultivar.offset.value)
    assert early.offset.value < late.offset.value
    days = [middle(grown(cultivar=each.name), "bloom_25") for each in (early, late)]
    assert days[0] < days[1]


def test_seed_that_takes_long_is_late() -> None:
    """The draw of the seed moves the seed alone."""
    still = replace(DRAWS, requirement=np.zeros(8), viable_share=np.zeros(8))
    stand = grown(draws=still)
    order = np.argsort(DRAWS.seed)
    assert (np.diff(stand.stages["viable_seed"][:, order], axis=1) >= 0).all()
    assert (np.ptp(stand.stages["viable_seed"], axis=1) > 0).all()
    assert (np.ptp(stand.stages["first_flower"], axis=1) == 0).all()


def test_the_middle_draw_is_the_cover_as_it_is() -> None:
    """Neither its sum to bloom nor that to seed is moved; a standard deviation of the seed is its published spread."""
    noughts = replace(DRAWS, requirement=np.zeros(8), seed=np.zeros(8), viable_share=np.zeros(8), soil=np.zeros(8))
    lengths = day_length(LATITUDE, OUTLOOK.day_of_year)
    middle_one = grown(draws=noughts)
    emerged = middle_one.stages["emergence"][:, 0]
    as_it_is = phenology.stage_days(OUTLOOK.tmean, lengths, CRIMSON, emerged=emerged)
    for name, reached in stages_of(OUTLOOK.tmean, lengths, CRIMSON, emerged=emerged).items():
        np.testing.assert_array_equal(reached, as_it_is[name])
    slow = grown(draws=replace(noughts, seed=np.ones(8)))
    variation = CRIMSON.seed.spread.value / CRIMSON.seed.flower_to_maturity.value
    slower = phenology.stage_days(OUTLOOK.tmean, lengths, CRIMSON, emerged=emerged, seed_scale=1 + variation)
    for stand, stages in ((middle_one, as_it_is), (slow, slower)):
        for name, reached in stages.items():
            np.testing.assert_array_equal(stand.stages[name], np.broadcast_to(reached, (3, 8)))


def test_emergence_waits_for_the_soil() -> None:
    """It is that of the bare soil an inch deep, and days known before sowing warm it."""
    sure = grown(draws=replace(DRAWS, soil=np.zeros(8)))
    np.testing.assert_array_equal(sure.stages["emergence"][..., 0], phenology.emergence(OUTLOOK.tmean, CRIMSON))
    warmed = grown(replace(OUTLOOK, lead=np.full(40, 30.0)))
    chilled = grown(replace(OUTLOOK, lead=np.full(40, -5.0)))
    assert (warmed.stages["emergence"] < chilled.stages["emergence"]).all()
    assert (chilled.stages["emergence"] < 20).all()


def test_seed_that_lies_for_months_comes_up_all_the_same() -> None:
    """Sown into frost it is looked for beyond the first weeks, by the warmth of the soil."""
    frozen = season(np.where(np.arange(LENGTH) < 100, -3.0, 15.0), length=LENGTH)
    stand = grown(frozen, draws=replace(DRAWS, soil=np.zeros(8)))
    assert (stand.stages["emergence"] > 100).all()
    soil = soil_temperature(frozen.tmean, "bare", depth_mm=25.0)
    warmth = np.cumsum(np.maximum(soil - CRIMSON.emergence.base.value, 0.0), axis=-1)
    first = np.argmax(warmth >= CRIMSON.emergence.sum.value, axis=-1)
    np.testing.assert_array_equal(stand.stages["emergence"][..., 0], first)


def test_a_soil_that_is_off_moves_emergence_and_bloom() -> None:
    """By the draw that planting feels too: in a colder soil a cover is up later, and blooms as one that is up then."""
    soil = np.array([1.0, -2.0, 2.0, -1.0])
    ends = replace(
        standard_draws(4), soil=soil, **{name: np.zeros(4) for name in ("requirement", "seed", "viable_share")}
    )
    stages = grown(draws=ends, sowing=60.0).stages
    up = phenology.emergence(OUTLOOK.tmean, CRIMSON, 60.0, soil_error=LASTING_SOIL_SD * np.array([0, -2, 2, 0]))
    np.testing.assert_array_equal(stages["emergence"], up)
    by_warmth = [1, 0, 2]
    assert (np.diff(up[:, by_warmth], axis=-1) < 0).all()
    assert (np.diff(stages["bloom_25"][:, by_warmth], axis=-1) <= 0).all()
    lengths = day_length(LATITUDE, OUTLOOK.day_of_year)
    for place in range(4):
        alone = phenology.stage_days(OUTLOOK.tmean, lengths, CRIMSON, emerged=up[:, place])
        for name in ("bud", "bloom_25", "viable_seed"):
            np.testing.assert_array_equal(stages[name][:, place], alone[name][:, 0])


def test_soils_are_grouped_by_their_warmth() -> None:
    """Four groups of one size from cold to warm, each draw in one; what four does not divide stays together."""
    draw = standard_draws(64).soil
    groups = soil_groups(draw)
    assert groups.shape == (4, 16)
    assert sorted(groups.ravel()) == list(range(64))
    assert (draw[groups][:-1].max(axis=1) < draw[groups][1:].min(axis=1)).all()
    assert soil_groups(draw[:3]).shape == (1, 3)


def test_sowings_are_followed_together_as_alone() -> None:
    """One day index a sowing, on an axis before the years."""
    sowings = np.array([0.0, 20.0, 40.0])
    both = grown(sowing=sowings[:, np.newaxis])
    assert both.stages["bud"].shape == (3, 3, 8)
    for place, sowing in enumerate(sowings):
        alone = grown(sowing=sowing)
        for name, reached in alone.stages.items():
            np.testing.assert_array_equal(both.stages[name][place], reached)
    assert (np.diff(both.stages["emergence"], axis=0) > 0).all()


def test_places_are_followed_together_as_alone() -> None:
    """Each of them has the stand that it has alone."""
    cold = wave(10.0, known=200)
    both = grow_stand(together([OUTLOOK, cold]), np.array([LATITUDE, 45.0]), CRIMSON, DRAWS)
    for place, (outlook, latitude) in enumerate(((OUTLOOK, LATITUDE), (cold, 45.0))):
        alone, one = grow_stand(outlook, latitude, CRIMSON, DRAWS), both.at(place)
        for name, reached in alone.stages.items():
            np.testing.assert_array_equal(one.stages[name], reached)
        for part in ("opens", "closes", "killed", "weights"):
            np.testing.assert_array_equal(getattr(one, part), getattr(alone, part))


# --- the cold -------------------------------------------------------------------------------------


def freeze(day: int, kelvin: float = 45.0, width: int = 12) -> Outlook:
    """The wave with a spell of cold that nothing stands, from a day on."""
    days = np.arange(LENGTH)
    return replace(
        OUTLOOK,
        tmin=OUTLOOK.tmin - kelvin * ((days >= day) & (days < day + width)),
        tmax=OUTLOOK.tmax - kelvin * ((days >= day) & (days < day + width)),
    )


def test_a_cold_winter_kills_and_a_second_one_does_not() -> None:
    """What comes after the window has closed, or after midsummer, is no matter."""
    assert np.isnan(PLAIN.killed).all()
    dead = grown(freeze(120))
    assert (dead.killed >= 120).all()
    assert (dead.killed <= 132).all()
    assert dead.living.sum() == 0
    assert np.isnan(grown(freeze(360)).killed).all()


def test_midsummer_ends_the_winter_of_a_stand_without_a_window() -> None:
    """A stand that never comes to seed can be killed up to midsummer, the 2nd of July, and no later."""
    never = replace(OUTLOOK, tmin=OUTLOOK.tmin - 100, tmax=OUTLOOK.tmax - 100)
    days = np.arange(LENGTH)
    mild = np.where(days < 40, 12.0, 2.0)  # up, and no further
    midsummer = int((np.datetime64("2026-07-02") - np.datetime64("2025-09-01")).astype(int))
    for first, dies in ((midsummer - 20, True), (midsummer + 2, False)):
        spell = season(np.where((days >= first) & (days < first + 12), -40.0, mild), length=LENGTH)
        stand = grown(spell)
        assert np.isnan(stand.closes).all()
        assert (~np.isnan(stand.killed)).all() == dies
    assert np.isnan(grown(never).killed).all()  # what never comes up cannot be killed


def test_a_stand_seen_alive_was_not_killed_before() -> None:
    """Any visit to a standing cover proves it; a visit before it was up, or to the soil alone, does not."""
    cold = freeze(120)
    seen = {
        "height": ScoutingNote(date=on(150), height_cm=10.0),
        "clip": ScoutingNote(date=on(150), dry_matter_kg_ha=2000.0),
        "up": ScoutingNote(date=on(150), bbch=9),
    }
    for note in seen.values():
        assert np.isnan(grown(cold, scouting=(note,)).killed).all()
    for note in (
        ScoutingNote(date=on(150), soil_c=5.0),
        ScoutingNote(date=on(150), bbch=8),
        ScoutingNote(date=on(100), height_cm=10.0),
    ):
        assert (~np.isnan(grown(cold, scouting=(note,)).killed)).all()
    both = (seen["height"], ScoutingNote(date=on(100), height_cm=5.0))
    assert np.isnan(grown(cold, scouting=both).killed).all()


def test_the_living_keep_their_weight() -> None:
    """Members that die have none of the weight of the living."""
    killed = np.array([[np.nan, 3.0], [np.nan, np.nan]])
    weights = np.full((2, 2), 0.25)
    stand = replace(PLAIN, killed=killed, weights=weights)
    assert stand.living.tolist() == [[0.25, 0.0], [0.25, 0.25]]


# --- the notes ------------------------------------------------------------------------------------


def noted(*notes: ScoutingNote, **options: object) -> Stand:
    return grown(scouting=notes, **options)


def test_a_note_pulls_the_stage_towards_what_was_seen() -> None:
    """Buds seen earlier than foretold bring the bloom forward, later seen ones put it back; more so the surer."""
    outlook = wave(known=230)
    bud = round(middle(grown(outlook), "bud"))
    before = middle(grown(outlook), "bloom_50")
    early, fits, late = (
        middle(grown(outlook, scouting=(ScoutingNote(date=on(bud + off), bbch=51),)), "bloom_50") for off in (-8, 0, 8)
    )
    assert early < fits < late
    assert early < before - 2
    assert late > before + 2
    assert abs(fits - before) < 2.5  # of an interval of three weeks


def test_no_buds_puts_an_early_stand_back_and_says_nothing_against_a_late_one() -> None:
    """A note of none yet is a bound on one side only."""
    outlook = wave(known=260)
    plain = grown(outlook)
    bud = round(middle(plain, "bud"))
    # BBCH 50 is "no buds".
    later = grown(outlook, scouting=(ScoutingNote(date=on(bud + 6), bbch=50),))
    long_before = grown(outlook, scouting=(ScoutingNote(date=on(bud - 60), bbch=50),))
    assert middle(later, "bud") > middle(plain, "bud") + 1
    assert abs(middle(long_before, "bud") - middle(plain, "bud")) < 1.5
    flowers = round(middle(plain, "first_flower"))
    none = grown(outlook, scouting=(ScoutingNote(date=on(flowers + 6), bloom_percent=0.0),))
    assert middle(none, "first_flower") > middle(plain, "first_flower") + 1


def test_ripe_seed_seen_is_past() -> None:
    """Beyond the first viable seed it is only known that it was there before."""
    outlook = wave(known=330)
    plain = grown(outlook)
    seed = round(middle(plain, "viable_seed"))
    past = grown(outlook, scouting=(ScoutingNote(date=on(seed - 4), bbch=89),))
    assert middle(past, "viable_seed") < middle(plain, "viable_seed")
    long_after = grown(outlook, scouting=(ScoutingNote(date=on(seed + 40), bbch=89),))
    assert abs(middle(long_after, "viable_seed") - middle(plain, "viable_seed")) < 2


def test_notes_count_in_any_order_and_only_those_of_a_stage() -> None:
    """Sorted by their days; heights and soil readings move no stage; what is set aside neither."""
    bud = round(middle(PLAIN, "bud"))
    first, second = ScoutingNote(date=on(bud - 8), bbch=51), ScoutingNote(date=on(bud), bbch=55)
    forth, back = noted(first, second), noted(second, first)
    np.testing.assert_array_equal(forth.weights, back.weights)
    np.testing.assert_array_equal(forth.stages["bloom_50"], back.stages["bloom_50"])
    np.testing.assert_array_equal(noted(ScoutingNote(date=on(bud), height_cm=30.0)).weights, PLAIN.weights)
    aside = noted(first, set_aside=(first,))
    np.testing.assert_array_equal(aside.weights, PLAIN.weights)
    np.testing.assert_array_equal(aside.stages["bud"], PLAIN.stages["bud"])


def test_a_note_of_months_too_early_is_surprising_and_in_doubt() -> None:
    """It is told by how many days, the positive ones where the stage was seen early."""
    bud = round(middle(PLAIN, "bud"))
    note = ScoutingNote(date=on(bud - 60), bbch=51)
    stand = noted(note)
    assert [each for each, _ in stand.surprises] == [note]
    assert stand.surprises[0][1] == pytest.approx(60, abs=8)
    assert [doubt.note for doubt in stand.doubts] == [note]
    late = noted(ScoutingNote(date=on(bud + 60), bbch=51))
    assert late.surprises[0][1] == pytest.approx(-60, abs=8)
    assert noted(ScoutingNote(date=on(bud), bbch=51)).surprises == ()


def test_a_note_of_today_is_of_the_plants_not_of_the_weather_to_come() -> None:
    """The years that end the season keep their weights alike under a note of what is known."""
    bud = round(middle(grown(wave(known=250)), "bud"))
    stand = grown(wave(known=bud + 1), scouting=(ScoutingNote(date=on(bud), bbch=51),))
    np.testing.assert_allclose(stand.weights.sum(axis=1), 1 / 3, rtol=1e-6)
    ahead = grown(wave(known=bud), scouting=(ScoutingNote(date=on(bud), bbch=51),))
    assert np.ptp(ahead.weights.sum(axis=1)) > 0.01


def test_an_old_note_tells_less() -> None:
    """What was seen two weeks ago leaves the bloom nearer to what it was without a note."""
    bud = round(middle(PLAIN, "bud"))
    note = ScoutingNote(date=on(bud - 8), bbch=51)
    moved = [
        middle(grown(wave(known=known), scouting=(note,)), "bud") - middle(grown(wave(known=known)), "bud")
        for known in (bud - 7, bud + 7)
    ]
    assert moved[0] < moved[1] < 0


def test_the_draws_gather_where_the_note_puts_the_stand() -> None:
    """The members lie about the note's stage, and their spread is narrower than before it."""
    bud = round(middle(PLAIN, "bud"))
    stand = noted(ScoutingNote(date=on(bud - 10), bbch=51))
    wide, narrow = (
        np.sqrt((each.weights * (each.stages["bud"] - middle(each, "bud")) ** 2).sum()) for each in (PLAIN, stand)
    )
    assert narrow < wide
    assert bud - 10 < middle(stand, "bud") < bud


DAYS = np.array([6.0, -6.0, 2.0, -2.0])  # of the draws, in no order
WHERE = np.array([-10.0, 0.0, 4.0])


def straightened(*lateness: float) -> list[float]:
    """What becomes of a note of day 100, for members so many days later than it, at the places asked for."""
    fact = Evidence(day=100.0, expected=100.0 + np.array([lateness]), kind=NOTE_REACHED)
    return (_straightened(fact, DAYS, WHERE).expected[0] - 100.0).tolist()


@pytest.mark.parametrize(
    ("lateness", "nought"),
    [
        # By draw as in DAYS; in order of their days, -6, -2, 2 and 6:
        ((6.0, -6.0, 2.0, -2.0), 0.0),
        ((9.0, -3.0, 5.0, 1.0), -3.0),  # between the first two
        ((8.0, -1.0, 6.0, 1.0), -4.0),  # half way between them
        ((9.0, -1.0, 6.0, 3.0), -5.0),  # a quarter of the way
        ((3.0, -9.0, -1.0, -5.0), 3.0),  # a quarter of the way from the third to the last
        ((4.0, -4.0, 0.0, 0.0), 0.0),  # at the stage over a stretch: its middle
        ((0.0, 0.0, 0.0, 0.0), 0.0),
        ((4.0, 0.0, 0.0, 0.0), -2.0),
        ((20.0, 8.0, 16.0, 12.0), -14.0),  # all later: beyond the first, a day for a day
        ((-8.0, -20.0, -12.0, -16.0), 14.0),  # all earlier: beyond the last
        ((4.0, -4.0, 0.0, 2.0), -6 + 8 / 3),  # no draw is earlier for being later
    ],
)
def test_a_note_is_told_in_the_days_of_the_draws(lateness: tuple[float, ...], nought: float) -> None:
    """Where the lateness of the members passes nought, on the scale of the draws, is how late the stand is."""
    assert straightened(*lateness) == pytest.approx([place - nought for place in WHERE])


# What a note says, and of which stage it says it.
STAGES = {
    "emergence": np.full((3, 1), 10.0),
    "bud": np.array([[100.0], [101.0], [108.0]]),
    "first_flower": np.array([[110.0], [112.0], [120.0]]),
    "bloom_10": np.full((3, 1), 115.0),
    "bloom_25": np.full((3, 1), 118.0),
    "bloom_50": np.full((3, 1), 122.0),
    "end_of_bloom": np.full((3, 1), 132.0),
    "viable_seed": np.array([[150.0], [151.0], [155.0]]),
}


@pytest.mark.parametrize(
    ("note", "kind", "stage", "of_seed"),
    [
        ({"bloom_percent": 0.0}, NOTE_NOT_YET, "first_flower", False),
        ({"bbch": 50}, NOTE_NOT_YET, "bud", False),  # the last before the buds
        ({"bbch": 51}, NOTE_REACHED, "bud", False),
        ({"bbch": 60}, NOTE_REACHED, "first_flower", False),
        ({"bbch": 65}, NOTE_REACHED, "bloom_50", False),
        ({"bbch": 69}, NOTE_REACHED, "end_of_bloom", False),
    ],
)
def test_a_note_is_of_the_stage_that_was_seen(note: dict[str, float], kind: str, stage: str, of_seed: bool) -> None:
    """Seen, or seen not to have come yet; of a day to come by each year, of one that is known by their mean."""
    ahead = _evidence(ScoutingNote(date=on(200), **note), STAGES, wave(known=200))  # type: ignore[arg-type]
    assert (ahead.day, ahead.kind, ahead.of_seed) == (200.0, kind, of_seed)
    np.testing.assert_array_equal(ahead.expected, STAGES[stage])
    seen = _evidence(ScoutingNote(date=on(199), **note), STAGES, wave(known=200))  # type: ignore[arg-type]
    np.testing.assert_array_equal(seen.expected, [STAGES[stage].mean(axis=0)])


def test_pods_and_seed_are_told_apart_from_bloom() -> None:
    """From the first pods on a note is of seed; beyond the first viable seed it is only known to be past."""
    pods, viable = bbch.PODS, bbch.BBCH["viable_seed"]
    facts = {
        stage: _evidence(ScoutingNote(date=on(200), bbch=stage), STAGES, wave(known=200))
        for stage in (int(pods) - 1, int(pods), int(viable), int(viable) + 1)
    }
    assert [fact.of_seed for fact in facts.values()] == [False, True, True, True]
    assert [fact.kind for fact in facts.values()] == [NOTE_REACHED, NOTE_REACHED, NOTE_REACHED, NOTE_PAST]
    np.testing.assert_array_equal(facts[int(viable)].expected, STAGES["viable_seed"])
    np.testing.assert_array_equal(facts[int(viable) + 1].expected, STAGES["viable_seed"])


@pytest.mark.parametrize(("known", "age"), [(201, 0.0), (202, 1.0), (215, 14.0), (200, 0.0), (150, 0.0)])
def test_a_note_is_as_old_as_the_days_known_after_it(known: int, age: float) -> None:
    """Of the last known day it is new, and so is one of a day that is not known yet."""
    assert _evidence(ScoutingNote(date=on(200), bbch=51), STAGES, wave(known=known)).age == age


def test_a_note_moves_the_buds_as_far_as_its_scatter_and_theirs_say() -> None:
    """Closed form: the buds foretold, weighed by their variance, and those seen by that of a note: one normal law."""
    draws = replace(standard_draws(64), seed=np.zeros(64), viable_share=np.zeros(64), soil=np.zeros(64))
    outlook = wave(years=1, known=300)
    plain = grown(outlook, draws)
    assert plain.scouting_sd == SCOUTING_SD_DAYS
    spread, bud = float(plain.stages["bud"].std()), middle(plain, "bud")
    note = ScoutingNote(date=on(round(bud) - 4), bbch=51)
    known = replace(outlook, known=outlook.position(np.datetime64(note.date)) + 1)
    found = grown(known, draws, scouting=(note,))
    moved = (4 + bud - round(bud)) * spread**2 / (spread**2 + SCOUTING_SD_DAYS**2)
    assert middle(found, "bud") == pytest.approx(bud - moved, abs=0.35)
    left = np.sqrt((found.weights * (found.stages["bud"] - middle(found, "bud")) ** 2).sum())
    assert left == pytest.approx(spread * SCOUTING_SD_DAYS / np.hypot(spread, SCOUTING_SD_DAYS), rel=0.15)


# --- what it brings -------------------------------------------------------------------------------


def test_what_it_brings_grows_with_the_days_and_with_the_draw() -> None:
    """More on a later day, more in a lush stand, and never less than nothing."""
    growth = CRIMSON.growth
    assert growth is not None
    days = np.array([150.0, 200.0, 240.0, np.nan])
    stages = {name: np.broadcast_to(day, (4, *day.shape)) for name, day in PLAIN.stages.items()}
    brings = brought(growth, OUTLOOK.tmean, stages, DRAWS, days)
    dry = brings["dry_matter_kg_ha"]
    assert dry.shape == (4, 3, 8)
    assert (np.diff(dry[:3], axis=0) >= 0).all()
    assert (dry[2] > dry[0]).all()
    assert np.isnan(dry[3]).all()
    order = np.argsort(DRAWS.dry_matter)
    assert (np.diff(dry[2][:, order], axis=1) > 0).all()
    poor = brought(growth, OUTLOOK.tmean, stages, replace(DRAWS, dry_matter=np.full(8, -50.0)), days)
    assert (poor["dry_matter_kg_ha"][:3] == 0).all()
    even = brought(growth, OUTLOOK.tmean, stages, replace(DRAWS, dry_matter=np.zeros(8)), days)
    one = brought(growth, OUTLOOK.tmean, stages, replace(DRAWS, dry_matter=np.ones(8)), days)
    np.testing.assert_allclose(one["dry_matter_kg_ha"][:3], even["dry_matter_kg_ha"][:3] * (1 + growth.spread.value))


def test_nitrogen_falls_from_buds_to_seed() -> None:
    """Each member's own stages set it."""
    growth = CRIMSON.growth
    assert growth is not None
    stand = replace(
        PLAIN, stages={"bud": np.array([[10.0]]), "bloom_50": np.array([[20.0]]), "viable_seed": np.array([[40.0]])}
    )
    percents = [stand.nitrogen_percent(day, growth).item() for day in (5.0, 10.0, 20.0, 40.0, 50.0)]
    bud, bloom, seed = growth.nitrogen_bud.value, growth.nitrogen_bloom.value, growth.nitrogen_seed.value
    assert percents == pytest.approx([bud, bud, bloom, seed, seed])


def test_nothing_drawn_is_the_middle_plant() -> None:
    """Without draws the stages are those of the middle sum and of the middle time to seed."""
    hours = np.full(LENGTH, 14.0)
    plain = stages_of(OUTLOOK.tmean, hours, CRIMSON)
    drawn = stages_of(OUTLOOK.tmean, hours, CRIMSON, requirement=np.array([0.0, 1.0]), seed=np.array([0.0, 1.0]))
    for stage, index in plain.items():
        np.testing.assert_array_equal(index[..., 0], drawn[stage][..., 0])
    assert (drawn["bloom_25"][..., 1] > drawn["bloom_25"][..., 0]).all()
    assert (drawn["viable_seed"][..., 1] > drawn["viable_seed"][..., 0]).all()


def test_most_of_the_years_say_when_a_stage_is_expected() -> None:
    """The mean of those that reach it, where they are more than half of the years; else nothing."""
    no = np.nan
    years = np.array([[10.0, 10.0, no, no], [14.0, no, no, no], [15.0, no, 9.0, no], [no, 20.0, 9.0, no]])
    np.testing.assert_array_equal(_over_years(years), [[13.0, no, no, no]])
    np.testing.assert_array_equal(_over_years(years[:3]), [[13.0, no, no, no]])
    np.testing.assert_array_equal(_over_years(years[2:]), [[no, no, 9.0, no]])


def test_the_share_at_which_seed_is_viable_is_drawn() -> None:
    """It moves the seed and nothing else, by its printed range: 0.6 to 0.7 hold eight in ten."""
    still = replace(DRAWS, requirement=np.zeros(8), seed=np.zeros(8), viable_share=np.linspace(-1.2816, 1.2816, 8))
    stand = grown(draws=still)
    seed = stand.stages["viable_seed"]
    assert (np.diff(seed, axis=1) >= 0).all()
    assert (np.ptp(seed, axis=1) > 0).all()
    assert (np.ptp(stand.stages["first_flower"], axis=1) == 0).all()
    scale = phenology.seed_scale(CRIMSON, 0.0, np.array([-1.2816, 0.0, 1.2816]))
    np.testing.assert_allclose(scale * CRIMSON.seed.viable_share.value, [0.6, 0.65, 0.7], atol=1e-4)


# --- how far it has come when it is ended ---------------------------------------------------------


def test_a_cover_is_young_up_to_full_bloom_and_ages_towards_seed() -> None:
    """By the share of viable seed on the day of the first; nitrogen never wanting in a legume; days along an axis."""
    bloom, seed = PLAIN.stages["bloom_50"], PLAIN.stages["viable_seed"]
    early, late = (float(each) for each in (bloom.min() - 5, seed.max() + 40))
    ages = PLAIN.maturity(np.array([early, late]), CRIMSON).age
    assert ages.shape == (2, 3, 8)
    assert (ages[0] == 0).all()
    assert (ages[1] == CRIMSON.seed.viable_share.value).all()
    between = PLAIN.maturity(float(bloom[1, 3] + seed[1, 3]) / 2, CRIMSON)
    assert between.age[1, 3] == pytest.approx(CRIMSON.seed.viable_share.value / 2)
    assert between.carbon_nitrogen.tolist() == [[0.0]]  # for all of them
    assert np.isnan(PLAIN.maturity(np.nan, CRIMSON).age).all()  # it is not ended
    assert CRIMSON.growth is not None
    poor = replace(
        CRIMSON, growth=replace(CRIMSON.growth, nitrogen_seed=replace(CRIMSON.growth.nitrogen_seed, value=1.0))
    )
    starved = PLAIN.maturity(late, poor)
    np.testing.assert_allclose(starved.carbon_nitrogen, 40.0)
    unknown = PLAIN.maturity(late, replace(CRIMSON, growth=None))
    np.testing.assert_array_equal(unknown.age, ages[1])
    assert not unknown.carbon_nitrogen.any()


# --- with a cereal beside it ----------------------------------------------------------------------

RYE = companion("cereal-rye")
SHARE = Share(low=0.2, middle=0.4, high=0.6, whose="field")
MIDWINTER = 122
MIXED = grown(companion=RYE, share=SHARE)


def beside(stand: Stand) -> CerealStand:
    assert stand.cereal is not None
    return stand.cereal


def window(stand: Stand, method: str = "turn-under") -> tuple[Array, Array]:
    return termination.window(stand.stages, method, CRIMSON)


def test_a_cereal_is_followed_beside_the_legume() -> None:
    """Its stages are its own, the window that of both, and the legume is what it is alone."""
    lengths = day_length(np.array([[LATITUDE]]), OUTLOOK.day_of_year)
    alone = grow_cereal(OUTLOOK, lengths, RYE, DRAWS, midwinter=MIDWINTER, share=SHARE)
    for name, days in alone.stages.items():
        np.testing.assert_array_equal(beside(MIXED).stages[name], days)
        np.testing.assert_array_equal(MIXED.stages[f"cereal_{name}"], days)
    for name, days in PLAIN.stages.items():
        np.testing.assert_array_equal(MIXED.stages[name], days)
    np.testing.assert_array_equal(MIXED.opens, np.fmin(PLAIN.opens, alone.stages["jointing"]))
    np.testing.assert_array_equal(MIXED.closes, np.fmin(PLAIN.closes, alone.stages["last"]))
    assert (MIXED.opens < PLAIN.opens).any()
    assert beside(MIXED).share == SHARE
    assert (PLAIN.legume_dead, MIXED.legume_dead) == (False, False)
    for part in (grown(companion=RYE), grown(share=SHARE)):
        assert part.cereal is None  # there is none without both


def test_cold_kills_each_of_the_two_by_its_own() -> None:
    """Rye stands more than clover, dies in what nothing stands, and after its milk no cold is of account."""
    hard, deadly = (grown(freeze(120, kelvin), companion=RYE, share=SHARE) for kelvin in (22.0, 45.0))
    assert (~np.isnan(hard.killed)).all()
    assert np.isnan(beside(hard).killed).all()
    assert (~np.isnan(beside(deadly).killed)).all()
    # A dead cereal asks for nothing: the window is that of the legume.
    np.testing.assert_array_equal(deadly.opens, PLAIN.opens)
    np.testing.assert_array_equal(deadly.closes, PLAIN.closes)
    day = int(np.median(beside(MIXED).stages["milk"]))
    late = beside(grown(freeze(day, 70.0, 5), companion=RYE, share=SHARE))
    dies, milk = ~np.isnan(late.killed), late.stages["milk"]
    assert not dies[milk < day].any()
    assert dies[milk >= day + 4].all()
    assert (milk < day).any()


def test_a_cereal_seen_up_was_not_killed_before() -> None:
    """A note of its stage proves it, and says nothing of the legume; one of the legume says nothing of it."""
    cold = freeze(120)
    of_cereal, of_legume = ScoutingNote(date=on(150), cereal=25), ScoutingNote(date=on(150), height_cm=10.0)
    both = grown(cold, companion=RYE, share=SHARE, scouting=(of_cereal,))
    assert np.isnan(beside(both).killed).all()
    assert (~np.isnan(both.killed)).all()
    other = grown(cold, companion=RYE, share=SHARE, scouting=(of_legume,))
    assert (~np.isnan(beside(other).killed)).all()
    assert np.isnan(other.killed).all()
    earlier = ScoutingNote(date=on(100), cereal=25)
    again = grown(cold, companion=RYE, share=SHARE, scouting=(of_cereal, earlier))
    assert np.isnan(beside(again).killed).all()


def test_what_the_cold_leaves_of_a_mixture_is_the_cereal_alone() -> None:
    """It alone has a say in the window by every way, in what dies, and in what stands there."""
    killed = np.full_like(MIXED.opens, np.nan)
    killed[1, 2] = 130.0
    mixed = replace(MIXED, killed=np.full_like(MIXED.opens, 120.0), cereal=replace(beside(MIXED), killed=killed))
    stages = beside(MIXED).stages
    # Dug in from jointing to its last day; rolled from flowering, mown from heading; a tarp as what is dug in.
    for method, opens in (("turn-under", "jointing"), ("roll", "flowering"), ("mow", "heading"), ("tarp", "jointing")):
        left = mixed.without_legume(method, CRIMSON)
        np.testing.assert_array_equal(left.opens, stages[opens])
        np.testing.assert_array_equal(left.closes, stages["last"])
        assert left.legume_dead
        np.testing.assert_array_equal(left.killed, killed)
        share = beside(left).share
        assert (share.low, share.middle, share.high, share.whose) == (0.0, 0.0, 0.0, "field")
    np.testing.assert_array_equal(window(left)[0], stages["jointing"])


def test_past_its_grain_a_cereal_closes_no_window() -> None:
    """Only seed of the legume can still be kept out; when it opens stays as it was."""
    after = MIXED.past_grain("turn-under", CRIMSON)
    np.testing.assert_array_equal(after.opens, MIXED.opens)
    np.testing.assert_array_equal(after.closes, PLAIN.closes)
    assert (MIXED.closes < after.closes).any()
    rolled = MIXED.past_grain("roll", CRIMSON)
    np.testing.assert_array_equal(rolled.opens, np.maximum(window(PLAIN, "roll")[0], MIXED.stages["cereal_flowering"]))
    np.testing.assert_array_equal(rolled.closes, window(PLAIN, "roll")[1])


def test_residue_of_a_legume_alone_goes_at_its_own_pace_and_that_of_a_mixture_slower() -> None:
    """One for each day asked about, by how old the cereal is then."""
    days = np.array([200.0, 240.0])
    assert PLAIN.residue_pace(CRIMSON, days).tolist() == [1.0, 1.0]
    assert PLAIN.residue_pace(CRIMSON, np.nan).tolist() == 1.0
    slower = MIXED.residue_pace(CRIMSON, days)
    assert slower.shape == (2,)
    assert 0 < slower[1] < slower[0] < 1


def test_a_mixture_holds_the_nitrogen_of_both_by_their_shares() -> None:
    """Four parts of ten legume, by the middle; by the draws, each with its own share and its own cereal."""
    growth = CRIMSON.growth
    assert growth is not None
    day = 230.0
    legume, rye = PLAIN.nitrogen_percent(day, growth), beside(MIXED).nitrogen_percent(day, 0.0)
    np.testing.assert_allclose(MIXED.nitrogen_percent(day, growth), 0.4 * legume + 0.6 * rye)
    drawn = MIXED.nitrogen_percent(day, growth, DRAWS)
    share, rye = SHARE.drawn(DRAWS.legume_share), beside(MIXED).nitrogen_percent(day, DRAWS.cereal_nitrogen)
    np.testing.assert_allclose(drawn, share * legume + (1 - share) * rye)


def test_a_mixture_weighs_and_brings_more_than_its_legume() -> None:
    """So many times as much dry matter, with the nitrogen and the carbon of both in it."""
    growth = CRIMSON.growth
    assert growth is not None
    day = 230.0
    emergence = np.median(PLAIN.stages["emergence"], axis=-1)
    times = beside(MIXED).growth_factor(day)
    assert (times > 1).all()
    alone = PLAIN.dry_matter_on(OUTLOOK.tmean, emergence, day, growth)
    np.testing.assert_allclose(MIXED.dry_matter_on(OUTLOOK.tmean, emergence, day, growth), alone * times[:, 0])
    legume = brought(growth, OUTLOOK.tmean, PLAIN.stages, DRAWS, day)
    both = brought(growth, OUTLOOK.tmean, MIXED.stages, DRAWS, day, cereal=beside(MIXED))
    np.testing.assert_allclose(both["dry_matter_kg_ha"], legume["dry_matter_kg_ha"] * times)
    percent = MIXED.nitrogen_percent(day, growth, DRAWS)
    np.testing.assert_allclose(both["n_kg_ha"], both["dry_matter_kg_ha"] * percent / 100)
    share = SHARE.drawn(DRAWS.legume_share)
    carbon = share * 40 + (1 - share) * RYE.nitrogen.carbon.value  # 40 % of the legume
    np.testing.assert_allclose(both["carbon_nitrogen"], carbon / percent)
