"""The ground once the cover is ended: what stands between it and the crop, member by member."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented import season

from covercrop.field.entries import CropEntry, ScoutingNote
from covercrop.models import decay, maggot, plantback, soil_water
from covercrop.models import frost as hazards_frost
from covercrop.models.decomposition import Maturity, case_of, nitrogen_released, of_the_season, residue_clear
from covercrop.models.members import standard_draws
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.season.ground import (
    Ground,
    GroundDetails,
    dead_from,
    follow_ground,
    ground_details,
    ground_under,
    limits_by_ending,
    planting_limits,
)
from covercrop.weather.outlook import Outlook, together

CRIMSON, SQUASH = catalogue.cover("crimson-clover"), catalogue.crop("summer-squash")
PLAN = CropEntry(name="summer-squash")
DRAWS = standard_draws(8)
MIDWINTER, ENDED, LENGTH = 122, 240.0, 500


def wave(mean: float = 13.0, *, wet: float = 4.0) -> Outlook:
    """Three years of a smooth wave from 1 September, each a degree warmer than the one before, with rain daily."""
    means = mean - 11.0 * np.cos(2 * np.pi * (np.arange(LENGTH) + 244 - 20) / 365.25)
    made = season(means + np.array([[-1.0], [0.0], [1.0]]), length=LENGTH, years=3, known=300)
    return replace(made, prcp=np.full((3, LENGTH), wet))


OUTLOOK = wave()


def followed(
    outlook: Outlook = OUTLOOK, plan: CropEntry = PLAN, dead: float = ENDED, notes: tuple[ScoutingNote, ...] = ()
) -> Ground:
    return follow_ground(outlook, CRIMSON, SQUASH, plan, DRAWS, dead=dead, midwinter=MIDWINTER, scouting=notes)


GROUND = followed()


def reading(day: int, celsius: float) -> ScoutingNote:
    return ScoutingNote(date=dt.date(2025, 9, 1) + dt.timedelta(days=day), soil_c=celsius)


def test_a_tarp_takes_three_weeks_and_nothing_else_takes_any() -> None:
    """The clocks of the ground start when the plants are dead."""
    assert [float(dead_from(100, way)) for way in ("turn-under", "mow", "roll", "tarp")] == [100, 100, 100, 121]
    assert np.isnan(dead_from(np.nan, "tarp"))


def test_the_ground_is_planted_once_the_last_limit_has_cleared() -> None:
    """In every year and draw, and no sooner."""
    assert tuple(GROUND.limits) == plantback.LIMITS
    stacked = np.stack(list(GROUND.limits.values()))
    assert stacked.shape == (5, 3, 8)
    np.testing.assert_array_equal(GROUND.earliest, stacked.max(axis=0))
    wait = GROUND.limits["disease"] - ENDED
    assert wait.min() >= 7
    assert np.median(wait) == pytest.approx(21, abs=1)
    assert wait.max() <= 35
    assert GROUND.dead == ENDED


def test_soil_is_that_of_the_standing_cover_until_it_is_dead() -> None:
    """And that of the ground cover from that day on; of a cover that is not ended it stands throughout."""
    straw = followed(plan=replace(PLAN, ground_cover="straw"))
    np.testing.assert_array_equal(straw.soil_c, soil_temperature(OUTLOOK.tmean, "straw", canopy_until=ENDED))
    np.testing.assert_array_equal(straw.soil_c[:, :240], GROUND.soil_c[:, :240])
    assert (straw.soil_c[:, 245:300] < GROUND.soil_c[:, 245:300]).all()
    standing = followed(dead=np.nan)
    np.testing.assert_array_equal(standing.soil_c, soil_temperature(OUTLOOK.tmean, "bare", canopy_until=np.nan))
    assert np.isnan(standing.earliest).all()


def test_frost_is_that_of_the_crop_and_of_its_spring() -> None:
    """The first day after the last freeze of spring; the season ends by the first freeze after midsummer, or before."""
    frost = SQUASH.frost.value
    free = hazards_frost.freeze_free_from(OUTLOOK.tmin, MIDWINTER, frost)
    assert np.ptp(free) > 0
    np.testing.assert_array_equal(GROUND.limits["frost"], np.broadcast_to(free[:, np.newaxis], GROUND.earliest.shape))
    freeze = hazards_frost.first_autumn_freeze(OUTLOOK.tmin, MIDWINTER, frost)
    assert (GROUND.ripeness.end <= freeze).all()
    assert (GROUND.latest < GROUND.ripeness.end[:, np.newaxis] - 0.8 * SQUASH.days_to_maturity.value).all()
    short = followed(plan=replace(PLAN, days_to_maturity=30.0))
    assert (short.latest > GROUND.latest + 10).all()


def test_draws_shift_the_residue_and_the_soil() -> None:
    """Faster residue is gone sooner; warmer soil is warm sooner, and rots it sooner: one draw for both."""
    calm = {name: np.zeros(8) for name in ("residue", "residue_clear", "soil_passing", "disease")}
    still = replace(DRAWS, **calm, soil=np.linspace(-2, 2, 8))
    by_soil = planting_limits(OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, still, ENDED, MIDWINTER)
    assert (np.diff(by_soil["residue"], axis=1) <= 0).all()
    assert (np.ptp(by_soil["residue"], axis=1) > 2).all()
    early = planting_limits(OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, still, 190.0, MIDWINTER)
    assert (np.diff(early["soil_warm"], axis=1) <= 0).all()
    assert (np.ptp(early["soil_warm"], axis=1) > 0).all()
    for place in (0, 7):
        lasting = 2.0 * np.sqrt(0.75) * still.soil[place]  # of the error's variance three quarters last
        shifted = plantback.soil_warm(GROUND.soil_c + lasting, SQUASH.soil_planting.value, 190.0)
        np.testing.assert_array_equal(early["soil_warm"][:, place], shifted)
    narrow = planting_limits(
        OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, still, 190.0, MIDWINTER, soil_sd=0.0
    )
    assert (np.ptp(narrow["soil_warm"], axis=1) == 0).all()
    passing = replace(still, soil=np.zeros(8), soil_passing=np.linspace(-2, 2, 8))
    by_days = planting_limits(OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, passing, 190.0, MIDWINTER)
    assert (np.ptp(by_days["residue"], axis=1) == 0).all(), "what comes and goes within days rots nothing sooner"
    assert (np.ptp(by_days["soil_warm"], axis=1) > 0).all()
    quick = replace(still, soil=np.zeros(8), residue=np.linspace(-1, 1, 8))
    by_residue = planting_limits(OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, quick, ENDED, MIDWINTER)
    assert (np.diff(by_residue["residue"], axis=1) <= 0).all()
    assert (np.ptp(by_residue["residue"], axis=1) > 0).all()


def test_a_thermometer_sets_the_soil_right_and_narrows_it() -> None:
    """A reading that is warmer warms the soil after it and leaves less error for the draws."""
    warm = followed(notes=(reading(250, float(GROUND.soil_c[1, 250]) + 2.0),))
    assert (warm.soil_c[:, 245:] > GROUND.soil_c[:, 245:]).all()
    assert warm.soil_check.readings == 1
    assert GROUND.soil_check.readings == 0
    early = [followed(dead=190.0, notes=notes) for notes in ((), (reading(200, float(GROUND.soil_c[1, 200])),))]
    spread = [np.ptp(ground.limits["soil_warm"], axis=1).sum() for ground in early]
    assert spread[1] < spread[0]


def test_places_are_followed_together_as_alone() -> None:
    """Each with its own day of ending."""
    cold = wave(11.5)
    both = follow_ground(
        together([OUTLOOK, cold]), CRIMSON, SQUASH, PLAN, DRAWS, dead=np.array([ENDED, 250.0]), midwinter=MIDWINTER
    )
    for place, alone in enumerate((GROUND, followed(cold, dead=250.0))):
        one = both.at(place)
        for name, days in alone.limits.items():
            np.testing.assert_array_equal(one.limits[name], days)
        for part in ("earliest", "latest", "dead", "soil_c"):
            np.testing.assert_array_equal(getattr(one, part), getattr(alone, part))
        np.testing.assert_array_equal(one.soil_check.after, alone.soil_check.after)


def test_what_is_said_beside_the_dates() -> None:
    """The brood, the nitrogen, and the residue in a drought."""
    aside = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, GROUND)
    np.testing.assert_array_equal(aside.brood[:, 0], maggot.brood_peak(OUTLOOK.tmin, OUTLOOK.tmax, ENDED))
    moist = residue_clear(GROUND.soil_c, ENDED, CRIMSON.residue)
    assert (aside.residue_by_rain[:, 0] >= moist).all()
    dry = ground_details(wave(wet=0.0), 37.6, CRIMSON, SQUASH, PLAN, GROUND)
    assert not (dry.residue_by_rain[:, 0] <= aside.residue_by_rain[:, 0]).any()
    by_model = of_the_season(nitrogen_released(GROUND.soil_c, ENDED, CRIMSON.residue), GROUND.ripeness.end)
    np.testing.assert_array_equal(aside.released, case_of(by_model, "likely"))
    assert (aside.released[:, :241] == 0).all()
    assert (aside.released[:, 242:] > 0).all()


def test_the_release_is_told_two_four_and_eight_weeks_on() -> None:
    """The slow, the likely and the fast case, a year each; nothing beyond the season."""
    aside = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, GROUND)
    assert tuple(aside.release) == (2, 4, 8)
    for weeks, shares in aside.release.items():
        assert shares.shape == (3, 3)
        assert (np.diff(shares, axis=0) >= 0).all()
        for row, case in zip(shares, ("slow", "likely", "fast"), strict=True):
            whole = of_the_season(nitrogen_released(GROUND.soil_c, ENDED, CRIMSON.residue), GROUND.ripeness.end)
            np.testing.assert_array_equal(row, case_of(whole, case)[:, 240 + 7 * weeks])


@pytest.mark.parametrize(("ended", "known"), [(LENGTH - 15, [True, False]), (LENGTH - 14, [False, False])])
def test_the_last_day_of_the_season_is_a_day_of_it(ended: int, known: list[bool]) -> None:
    """Two weeks after the fifteenth day from the end is the last one; a day later is none."""
    late = followed(dead=float(ended))
    aside = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, late)
    assert [not np.isnan(aside.release[weeks]).any() for weeks in (2, 4)] == known
    assert aside.release[4].shape == (3, 3)


def test_a_cover_that_stands_gives_nothing_up() -> None:
    """No release, no brood, no end of the residue."""
    standing = followed(dead=np.nan)
    aside = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, standing)
    assert all(np.isnan(shares).all() for shares in aside.release.values())
    assert np.isnan(aside.brood).all()
    assert np.isnan(aside.residue_by_rain).all()


def test_an_older_cover_rots_later_and_gives_its_nitrogen_later() -> None:
    """Ended near ripe seed; each place with its own."""
    old = Maturity(age=np.full((3, 8), 0.6), carbon_nitrogen=np.zeros((1, 1)))
    aged = follow_ground(OUTLOOK, CRIMSON, SQUASH, PLAN, DRAWS, dead=ENDED, midwinter=MIDWINTER, maturity=old)
    assert (aged.limits["residue"] >= GROUND.limits["residue"]).all()
    assert (aged.limits["residue"] > GROUND.limits["residue"]).mean() > 0.8
    slower, plain = (ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, ground) for ground in (aged, GROUND))
    assert (slower.residue_by_rain > plain.residue_by_rain).all()
    assert (slower.release[2] <= plain.release[2]).all()
    assert (slower.release[2] < plain.release[2]).any()
    both = follow_ground(
        together([OUTLOOK, OUTLOOK]),
        CRIMSON,
        SQUASH,
        PLAN,
        DRAWS,
        dead=np.array([ENDED, ENDED]),
        midwinter=MIDWINTER,
        maturity=Maturity.together([old, Maturity(age=np.zeros((3, 8)), carbon_nitrogen=np.zeros((1, 1)))]),
    )
    for place, alone in enumerate((aged, GROUND)):
        np.testing.assert_array_equal(both.at(place).limits["residue"], alone.limits["residue"])


def test_what_lies_on_top_gives_its_nitrogen_as_the_rain_allows() -> None:
    """Slower than dug in, slower in a drought; what is planted through it waits for no rot."""

    def aside(way: str, wet: float) -> GroundDetails:
        outlook = wave(wet=wet)
        ground = follow_ground(outlook, CRIMSON, SQUASH, PLAN, DRAWS, dead=ENDED, midwinter=MIDWINTER, terminate=way)
        return ground_details(outlook, 37.6, CRIMSON, SQUASH, PLAN, ground)

    # Each share is one of its own season, so that a slow pace tells in the first weeks.
    rolled, dry, dug_in = aside("roll", 2.0), aside("roll", 0.0), aside("turn-under", 2.0)
    assert (rolled.release[2][1] < dug_in.release[2][1]).all()
    assert (dry.release[2][1] < rolled.release[2][1]).all()
    assert (rolled.release[2][0] < rolled.release[2][1]).all()
    assert (rolled.residue_by_rain == ENDED).all()
    assert (dug_in.residue_by_rain > ENDED).all()


@pytest.mark.parametrize(
    ("ground_cover", "ways"),
    [
        ("bare", {"turn-under": "bare", "roll": "residue", "mow": "residue", "tarp": "bare"}),
        ("straw", {"turn-under": "straw", "roll": "straw", "mow": "straw", "tarp": "straw"}),
        ("black-plastic", {"turn-under": "black-plastic", "roll": "black-plastic"}),
    ],
)
def test_what_is_cut_down_lies_on_bare_ground_and_what_is_laid_lies_on_it(
    ground_cover: str, ways: dict[str, str]
) -> None:
    """A tarp is taken off again with what it killed; what the grower lays is what counts."""
    entry = replace(PLAN, ground_cover=ground_cover)
    assert {way: ground_under(entry, way) for way in ways} == ways


def test_a_legume_goes_at_its_own_pace_unless_it_is_said_otherwise() -> None:
    """Once for all ways of asking; half the pace is twice the wait, or nearly."""
    assert GROUND.residue_pace == 1.0
    plain = planting_limits(OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, DRAWS, ENDED, MIDWINTER)
    for name, days in GROUND.limits.items():
        np.testing.assert_array_equal(plain[name], days)
    slow = follow_ground(OUTLOOK, CRIMSON, SQUASH, PLAN, DRAWS, dead=ENDED, midwinter=MIDWINTER, residue_pace=0.5)
    assert slow.residue_pace == 0.5
    times = (slow.limits["residue"] - ENDED) / (GROUND.limits["residue"] - ENDED)
    assert (times > 1.5).all()
    assert (times < 2.1).all()  # in soil that grows warmer


@pytest.mark.parametrize(
    ("sd", "lasting", "passing"), [(2.0, np.sqrt(3), 1.0), (1.5, np.sqrt(1.25), 1.0), (0.5, 0, 0.5)]
)
def test_what_a_thermometer_leaves_of_the_error_lasts_less(sd: float, lasting: float, passing: float) -> None:
    """A standard deviation of 1 K comes and goes, or all that is left of it; the rest of its square lasts."""
    still = {name: np.zeros(8) for name in ("residue", "residue_clear", "soil_passing", "disease", "soil")}
    draw = np.linspace(-2, 2, 8)
    for changed, size in (("soil", lasting), ("soil_passing", passing)):
        drawn = replace(DRAWS, **(still | {changed: draw}))
        limits = planting_limits(
            OUTLOOK, GROUND.soil_c, CRIMSON.residue, SQUASH, PLAN, drawn, 190.0, MIDWINTER, soil_sd=sd
        )
        for place in (0, 7):
            off = GROUND.soil_c + size * draw[place]
            np.testing.assert_array_equal(
                limits["soil_warm"][:, place], plantback.soil_warm(off, SQUASH.soil_planting.value, 190.0)
            )


def test_the_cereal_beside_it_makes_wait() -> None:
    """As many days as it is said to, where the legume clears sooner."""
    rye = companion("cereal-rye")
    long = replace(
        rye, wait=replace(rye.wait, large_seed=replace(rye.wait.large_seed, value=60.0, low=60.0, high=60.0))
    )
    mixed = follow_ground(OUTLOOK, CRIMSON, SQUASH, PLAN, DRAWS, dead=ENDED, midwinter=MIDWINTER, cereal=long)
    assert (mixed.earliest == ENDED + 60).all()
    assert (GROUND.earliest < ENDED + 60).all()


@pytest.mark.parametrize("endings", [(208.0,), (208.0, 240.0), (208.0, 224.0, 240.0)])
def test_several_days_of_ending_are_each_as_followed_alone(endings: tuple[float, ...]) -> None:
    """With the age and the pace of each; what a thermometer found on day 205 holds for all of them."""
    notes = (reading(205, float(GROUND.soil_c[1, 205]) + 2.0),)
    paces = np.linspace(0.6, 0.9, len(endings))
    age = np.broadcast_to(np.linspace(0.1, 0.5, len(endings))[:, np.newaxis, np.newaxis], (len(endings), 3, 8))
    old = Maturity(age=age, carbon_nitrogen=np.zeros((len(endings), 1, 1)))
    rye = companion("cereal-rye")
    together = limits_by_ending(
        OUTLOOK,
        CRIMSON,
        SQUASH,
        PLAN,
        DRAWS,
        dead=np.array(endings),
        midwinter=MIDWINTER,
        terminate="mow",
        maturity=old,
        scouting=notes,
        residue_pace=paces,
        cereal=rye,
    )
    for place, dead in enumerate(endings):
        alone = follow_ground(
            OUTLOOK,
            CRIMSON,
            SQUASH,
            PLAN,
            DRAWS,
            dead=dead,
            midwinter=MIDWINTER,
            terminate="mow",
            maturity=old.at(place),
            scouting=notes,
            residue_pace=paces[place],
            cereal=rye,
        )
        for name, days in alone.limits.items():
            np.testing.assert_array_equal(together[name][place], np.broadcast_to(days, (3, 8)), name)


def test_a_reading_of_today_is_of_the_standing_cover_though_an_ending_of_before_is_followed() -> None:
    """The days of ending are whole eighths of the year, of which the first may lie before today."""
    notes = (reading(212, float(GROUND.soil_c[1, 212]) + 2.0),)
    both = limits_by_ending(
        OUTLOOK,
        CRIMSON,
        SQUASH,
        PLAN,
        DRAWS,
        dead=np.array([208.0, 216.0]),
        midwinter=MIDWINTER,
        terminate="turn-under",
        scouting=notes,
    )
    alone = followed(dead=216.0, notes=notes)
    for name, days in alone.limits.items():
        np.testing.assert_array_equal(both[name][1], np.broadcast_to(days, (3, 8)), name)


def test_the_soil_in_which_seed_comes_up_well_is_told_where_it_is_known() -> None:
    """Warmer than that which planting waits for; of a threshold of the grower's own no better one is known."""
    assert SQUASH.soil_good is not None
    early = followed(dead=190.0)
    good = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, early).soil_good
    assert good.shape == (3, 1)
    np.testing.assert_array_equal(good[:, 0], plantback.soil_warm(early.soil_c, SQUASH.soil_good.value, 190.0))
    own = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, replace(PLAN, soil_c=14.0), early).soil_good
    assert own.shape == (3, 1)
    assert np.isnan(own).all()


def test_a_cover_ended_after_the_season_of_the_crop_gives_to_the_rest_of_the_days() -> None:
    """Of the plant-available nitrogen of a season that is over there is none to share out."""
    assert (GROUND.ripeness.end < 470).all()
    late = followed(dead=470.0)
    released = ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, late).released
    whole = nitrogen_released(late.soil_c, 470.0, CRIMSON.residue)
    np.testing.assert_array_equal(released, case_of(of_the_season(whole, np.full(3, np.nan)), "likely"))
    assert (released[:, -1] > 0).all()


def test_a_mixture_gives_its_nitrogen_and_is_gone_at_its_pace() -> None:
    """Both by rain and kept moist, the slower residue is the later."""
    slow = follow_ground(OUTLOOK, CRIMSON, SQUASH, PLAN, DRAWS, dead=ENDED, midwinter=MIDWINTER, residue_pace=0.5)
    late, plain = (ground_details(OUTLOOK, 37.6, CRIMSON, SQUASH, PLAN, ground) for ground in (slow, GROUND))
    by_model = nitrogen_released(GROUND.soil_c, ENDED, CRIMSON.residue, moisture=0.5)
    np.testing.assert_array_equal(late.released, case_of(of_the_season(by_model, GROUND.ripeness.end), "likely"))
    assert (late.residue_by_rain > plain.residue_by_rain).all()


def test_what_lies_on_top_rots_by_rain_and_by_the_pace_of_the_surface() -> None:
    """The slow and the fast case are the ends of the 80 % interval of that pace; small seed waits for it to be gone."""
    outlook = wave(wet=1.2)  # so little that the litter is drier than the ground below it
    ground = follow_ground(outlook, CRIMSON, SQUASH, PLAN, DRAWS, dead=ENDED, midwinter=MIDWINTER, terminate="mow")
    aside = ground_details(outlook, 37.6, CRIMSON, SQUASH, PLAN, ground)
    soil = soil_water.moisture(outlook.prcp, outlook.tmin, outlook.tmax, 37.6, outlook.day_of_year, "residue", ENDED)
    litter = soil_water.litter_moisture(outlook.prcp)
    for row, (case, draw) in enumerate((("slow", -1.2816), ("likely", 0.0), ("fast", 1.2816))):
        moist = decay.surface_moisture(soil, litter, decay.surface_pace(draw))
        released = of_the_season(
            nitrogen_released(ground.soil_c, ENDED, CRIMSON.residue, moisture=moist), ground.ripeness.end
        )
        np.testing.assert_allclose(aside.release[4][row], case_of(released, case)[:, 268], rtol=1e-4)
    assert (np.diff(aside.release[2], axis=0) > 0).all()
    small = replace(SQUASH, small_seed=True)
    gone = ground_details(outlook, 37.6, CRIMSON, small, PLAN, ground).residue_by_rain
    likely = decay.surface_moisture(soil, litter, decay.surface_pace(0.0))
    np.testing.assert_array_equal(gone[:, 0], residue_clear(ground.soil_c, ENDED, CRIMSON.residue, moisture=likely))
