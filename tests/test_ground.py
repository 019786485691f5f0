"""The ground once the cover is ended: what stands between it and the crop, member by member."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from invented import season

from covercrop.field.entries import CropEntry, ScoutingNote
from covercrop.models import frost as hazards_frost
from covercrop.models import maggot, plantback
from covercrop.models.decomposition import Maturity, case_of, nitrogen_released, of_the_season, residue_clear
from covercrop.models.members import standard_draws
from covercrop.models.soil_temperature import soil_temperature
from covercrop.parameters import catalogue
from covercrop.season.ground import Ground, GroundDetails, dead_from, follow_ground, ground_details, planting_limits
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
