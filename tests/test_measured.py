"""What a soil thermometer, a ruler and a clip sample do to the models."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented import field, weather
from scipy.stats import multivariate_normal

from covercrop.field.entries import ScoutingNote
from covercrop.models.soil_temperature import SOIL_ERROR_SD
from covercrop.season import measurements
from covercrop.season.measurements import dry_matter, height_weight, nitrogen_factor, soil_check
from covercrop.season.plan import Plan, make_plan
from covercrop.weather.outlook import Outlook, season_outlook

SOWN = np.datetime64("2025-09-15")
OUTLOOK: Outlook = season_outlook(weather(), SOWN, 500, np.datetime64("2026-04-20"))
SOIL = np.broadcast_to(np.linspace(0.0, 25.0, 500), (3, 500))
GROWN = np.array([1.0, 1.1])[:, np.newaxis] * np.linspace(0.0, 5000.0, 251)


def grown_on(day: int) -> np.ndarray:
    """The growth model: a straight line, a tenth steeper in the second year."""
    return GROWN[:, day]


def on(day: int, **seen: float) -> ScoutingNote:
    """A note on a day index."""
    start: dt.date = SOWN.astype(object)
    return ScoutingNote(date=start + dt.timedelta(days=day), **seen)


# --- the soil -------------------------------------------------------------------------------------


def test_without_a_reading_the_soil_model_stands() -> None:
    """Nothing is added and the whole error is left."""
    check = soil_check([on(100, bbch=50)], OUTLOOK, SOIL, 230.0)
    assert (check.standing == 0).all()
    assert (check.after == 0).all()
    assert check.sd == SOIL_ERROR_SD
    assert check.corrected(SOIL, 230.0) == pytest.approx(SOIL)


@pytest.mark.parametrize("days", [(240,), (232, 235, 246), (200, 210, 240)])
def test_readings_count_as_a_normal_error_would_have_it(days: tuple[int, ...]) -> None:
    """Mean and spread of the lasting error are those of a joint normal distribution, conditioned numerically."""
    misses = np.array([3.0, 1.5, 2.0])[: len(days)]
    notes = [on(day, soil_c=float(SOIL[0, day] + miss)) for day, miss in zip(days, misses, strict=True)]
    check = soil_check(notes, OUTLOOK, SOIL, 230.0)
    # The error after the cover (lasting and passing), and the readings, as one normal vector.
    when = np.array(days)
    after = when >= 230
    whole = SOIL_ERROR_SD**2
    lasting = whole * (measurements.FIELD_SHARE + measurements.COVER_SHARE * after)
    readings = whole * (
        measurements.FIELD_SHARE
        + measurements.COVER_SHARE * (after[:, None] == after)
        + measurements.PASSING_SHARE * np.exp(-np.abs(when[:, None] - when) / measurements.PASSING_DAYS)
    ) + measurements.READING_SD**2 * np.eye(len(days))
    joint = multivariate_normal(
        np.zeros(len(days) + 1), np.block([[np.array([[whole]]), lasting[None]], [lasting[:, None], readings]])
    )
    error = np.linspace(-15, 15, 6001)
    density = joint.pdf(np.column_stack([error, np.tile(misses, (error.size, 1))]))
    mean = (density * error).sum() / density.sum()
    assert check.after == pytest.approx(np.full(3, mean), abs=1e-3)
    assert check.sd == pytest.approx(np.sqrt((density * (error - mean) ** 2).sum() / density.sum()), abs=1e-3)


def test_a_reading_on_the_bare_ground_tells_more_of_it() -> None:
    """Shrunk towards the model in either case; under the cover it says less of the ground after it."""
    under, bare = (soil_check([on(day, soil_c=float(SOIL[0, day] + 3))], OUTLOOK, SOIL, 230.0) for day in (220, 240))
    assert 0 < under.after[0] < bare.after[0] < 3
    assert bare.sd < under.sd < SOIL_ERROR_SD
    assert under.standing[0] > under.after[0]
    corrected = under.corrected(SOIL, 230.0) - SOIL
    assert corrected[:, 229] == pytest.approx(under.standing)
    assert corrected[:, 230] == pytest.approx(under.after)
    assert under.corrected(SOIL, np.nan) - SOIL == pytest.approx(np.full(SOIL.shape, under.standing[0]))


@given(misses=st.lists(st.floats(-4, 4), min_size=1, max_size=6))
def test_a_correction_never_outruns_the_readings(misses: list[float]) -> None:
    """Readings that all miss to one side shift the model that way, by less than they miss; more leave less error."""
    days = 232 + 3 * np.arange(len(misses))
    notes = [on(int(day), soil_c=float(SOIL[0, day] + abs(miss))) for day, miss in zip(days, misses, strict=True)]
    check = soil_check(notes, OUTLOOK, SOIL, 230.0)
    assert -1e-9 <= check.after[0] <= max(map(abs, misses)) + 1e-9
    fewer = soil_check(notes[:-1], OUTLOOK, SOIL, 230.0)
    assert check.sd < fewer.sd


def test_a_thermometer_in_the_wrong_unit_is_noticed() -> None:
    """Twenty degrees off is surprising; two are not."""
    far, near = (soil_check([on(220, soil_c=float(SOIL[0, 220] + miss))], OUTLOOK, SOIL, 230.0) for miss in (20, 2))
    assert [round(miss) for _, miss in far.surprising] == [20]
    assert near.surprising == ()


def test_readings_mend_a_field_whose_soil_is_off() -> None:
    """Simulated fields with the errors that are stated: what is left is as large as is said, and much less."""
    rng = np.random.default_rng(11)
    count, days = 3000, np.array([236, 243, 250])
    field_error = rng.normal(0, SOIL_ERROR_SD * np.sqrt(measurements.FIELD_SHARE + measurements.COVER_SHARE), count)
    passing = rng.normal(0, SOIL_ERROR_SD * np.sqrt(measurements.PASSING_SHARE), (count, 4))
    slips = rng.normal(0, measurements.READING_SD, (count, 3))
    # Each field is a year of its own whose model is too cold by its error, so that one check serves all of them.
    soil = np.tile(SOIL[:1], (count, 1))
    soil[:, days] -= field_error[:, np.newaxis] + passing[:, :3] + slips
    check = soil_check([on(int(day), soil_c=float(SOIL[0, day])) for day in days], OUTLOOK, soil, 230.0)
    left, said = field_error + passing[:, 3] - check.after, check.sd
    assert np.mean(left) == pytest.approx(0, abs=0.1)
    assert np.std(left) == pytest.approx(said, rel=0.06)
    assert said < 0.75 * SOIL_ERROR_SD


def test_a_reading_moves_the_soil_by_its_share() -> None:
    """One reading after the cover of what lasts: 3 parts in 4 of the variance of 4, against all of it and 2.25."""
    check = soil_check([on(240, soil_c=float(SOIL[0, 240] + 2.5))], OUTLOOK, SOIL, 230.0)
    assert check.after == pytest.approx(np.full(3, 2.5 * 3 / 6.25))
    assert check.standing == pytest.approx(np.full(3, 2.5 * 2 / 6.25))
    assert check.sd == pytest.approx(np.sqrt(4 - 9 / 6.25))
    under = soil_check([on(229, soil_c=float(SOIL[0, 229] + 2.5))], OUTLOOK, SOIL, 230.0)
    assert under.after == pytest.approx(np.full(3, 2.5 * 2 / 6.25))
    assert under.standing == pytest.approx(np.full(3, 2.5 * 3 / 6.25))
    on_the_day = soil_check([on(230, soil_c=float(SOIL[0, 230] + 2.5))], OUTLOOK, SOIL, 230.0)
    assert on_the_day.after == pytest.approx(np.full(3, 2.5 * 3 / 6.25))


def test_what_passes_is_forgotten_in_days() -> None:
    """Two readings of five days share a third of the passing quarter: 4 (3/4 + 1/4 e^-1) between them."""
    notes = [on(day, soil_c=float(SOIL[0, day] + 2.0)) for day in (240, 245)]
    check = soil_check(notes, OUTLOOK, SOIL, 230.0)
    together = 6.25 + 4 * (0.75 + 0.25 * np.exp(-1))
    assert check.after == pytest.approx(np.full(3, 2.0 * 6 / together))


@pytest.mark.parametrize(("miss", "surprising"), [(6.2, False), (6.3, True), (-6.2, False), (-6.3, True)])
def test_a_reading_is_surprising_beyond_its_bound(miss: float, surprising: bool) -> None:
    """Two and a half standard deviations of both, of 2 and of 1.5 K: 6.25 K on either side."""
    check = soil_check([on(240, soil_c=float(SOIL[0, 240] + miss))], OUTLOOK, SOIL, 230.0)
    assert bool(check.surprising) is surprising
    assert bool(check.left_out) is surprising
    assert check.readings == (0 if surprising else 1)
    if surprising:
        assert check.sd == SOIL_ERROR_SD
        assert (check.after == 0).all()


def test_only_another_day_the_same_way_brings_a_far_reading_back() -> None:
    """Not one of the same day, nor one that is off the other way, nor one that is not far off."""

    def off(*misses: tuple[int, float]) -> tuple[int, int, int]:
        check = soil_check([on(day, soil_c=float(SOIL[0, day] + miss)) for day, miss in misses], OUTLOOK, SOIL, 230.0)
        return check.readings, len(check.surprising), len(check.left_out)

    assert off((240, 9.0), (244, 9.0)) == (2, 2, 0)
    assert off((240, -9.0), (244, -9.0)) == (2, 2, 0)
    assert off((240, 9.0), (240, 9.0)) == (0, 2, 2)
    assert off((240, 9.0), (244, -9.0)) == (0, 2, 2)
    assert off((240, 9.0), (244, 5.0)) == (1, 1, 1)


def test_a_reading_beyond_the_season_tells_nothing() -> None:
    """The last day of the axis is one, the next is none, and one without a soil temperature neither."""
    assert soil_check([on(499, soil_c=25.5)], OUTLOOK, SOIL, 230.0).readings == 1
    assert soil_check([on(500, soil_c=25.5)], OUTLOOK, SOIL, 230.0).readings == 0
    unknown = np.where(np.arange(500) < 300, SOIL, np.nan)
    assert soil_check([on(320, soil_c=15.0), on(240, soil_c=12.5)], OUTLOOK, unknown, 230.0).readings == 1
    one_year = SOIL + np.array([[0.0], [0.0], [np.nan]])
    assert soil_check([on(240, soil_c=12.5)], OUTLOOK, one_year, 230.0).readings == 0


def test_one_of_several_places() -> None:
    """Its years, and what all places have in common."""
    check = soil_check([], OUTLOOK, np.stack([SOIL, SOIL]), np.array([230.0, 240.0]))
    assert check.after.shape == (2, 3)
    assert check.at(1).after.shape == check.at(1).standing.shape == (3,)


# --- the stand ------------------------------------------------------------------------------------


def test_the_rule_for_heights() -> None:
    """18 inches are 2,000 + 12 x 150 = 3,800 lb/acre, 3 inches half of 2,000 (the rule as stated; no source)."""
    assert height_weight(18 * 2.54) / 1.12085 == pytest.approx(3800, rel=1e-4)
    assert height_weight(3 * 2.54) / 1.12085 == pytest.approx(1000, rel=1e-4)


def test_without_a_measurement_the_growth_model_stands() -> None:
    """The mean is the model's, its spread the stated share."""
    mean, sd = dry_matter(250, [on(100, bbch=50)], OUTLOOK, grown_on, 0.3)
    assert mean == pytest.approx(GROWN[:, 250])
    assert sd == pytest.approx(0.3 * GROWN[:, 250])


def test_a_clip_sample_takes_the_place_of_the_model() -> None:
    """On its day it is all that counts; afterwards the model's gain comes on top, with the model's error."""
    notes = [on(150, dry_matter_kg_ha=1000.0), on(200, dry_matter_kg_ha=3200.0)]
    mean, sd = dry_matter(200, notes, OUTLOOK, grown_on, 0.3)
    assert (mean == 3200).all()
    assert sd == pytest.approx(np.full(2, 0.15 * 3200))
    later, later_sd = dry_matter(250, notes, OUTLOOK, grown_on, 0.3)
    assert later == pytest.approx(3200 + np.array([1000, 1100]))
    assert later_sd == pytest.approx(np.hypot(0.15 * 3200, 0.3 * np.array([1000, 1100])))


def test_a_height_moves_the_model_a_little() -> None:
    """Between the model and the rule, nearer to the model; its spread is a little smaller."""
    note = on(250, height_cm=120.0)
    mean, sd = dry_matter(250, [note], OUTLOOK, grown_on, 0.3)
    rule = height_weight(120.0)
    assert (GROWN[:, 250] < mean).all()
    assert (mean < (GROWN[:, 250] + rule) / 2).all()
    assert (sd < 0.3 * GROWN[:, 250]).all()
    assert (sd > 0.6 * 0.3 * GROWN[:, 250]).all()


def test_a_height_of_the_day_of_a_sample_adds_nothing() -> None:
    """The scales know better than the ruler."""
    with_height = dry_matter(250, [on(200, dry_matter_kg_ha=3200.0, height_cm=90.0)], OUTLOOK, grown_on, 0.3)
    without = dry_matter(250, [on(200, dry_matter_kg_ha=3200.0)], OUTLOOK, grown_on, 0.3)
    assert np.array(with_height) == pytest.approx(np.array(without))


def test_a_measurement_after_the_day_asked_about_does_not_count() -> None:
    """The last day is that of the cover."""
    mean, _ = dry_matter(240, [on(245, dry_matter_kg_ha=3200.0)], OUTLOOK, grown_on, 0.3)
    assert mean == pytest.approx(GROWN[:, 240])


def test_the_nitrogen_of_a_sample() -> None:
    """On its day the sample's, later in step with the model."""
    percent = {200.0: np.array([[3.0, 2.5]]), 250.0: np.array([[2.4, 2.0]])}
    notes = [on(200, nitrogen_percent=3.6)]
    assert percent[200.0] * nitrogen_factor(200, notes, OUTLOOK, percent.__getitem__) == pytest.approx(3.6)
    later = percent[250.0] * nitrogen_factor(250, notes, OUTLOOK, percent.__getitem__)
    assert later == pytest.approx(np.array([[2.88, 2.88]]))
    assert nitrogen_factor(199, notes, OUTLOOK, percent.__getitem__) == 1
    earlier = [on(day, nitrogen_percent=4.0) for day in (150, 180)]
    last = percent[200.0] * nitrogen_factor(200, [*earlier, *notes], OUTLOOK, percent.__getitem__)
    assert last == pytest.approx(3.6)


# --- the whole chain ------------------------------------------------------------------------------


def planned(*notes: ScoutingNote, details: bool = False) -> Plan:
    return make_plan(replace(field(), scouting=notes), weather(), np.datetime64("2026-04-20"), details=details)


def test_a_sample_is_what_the_answer_rests_on() -> None:
    """Half the model's dry matter and more nitrogen in it: the amounts follow, the dates do not, and it is said."""
    sample = on(215, dry_matter_kg_ha=600.0, nitrogen_percent=3.9)
    plain, sampled = planned(details=True), planned(sample, details=True)
    amounts = [plan.nitrogen.amounts["dry_matter_kg_ha"] for plan in (plain, sampled)]
    assert amounts[1].median < 0.8 * amounts[0].median
    assert amounts[1].high - amounts[1].low < amounts[0].high - amounts[0].low
    share = [
        plan.nitrogen.amounts["n_kg_ha"].median / plan.nitrogen.amounts["dry_matter_kg_ha"].median
        for plan in (plain, sampled)
    ]
    assert share[1] > 1.2 * share[0]
    # A stand that was cut was alive, which no longer leaves out the members that the cold would have killed: of the
    # many draws that planting hangs on, others are then in the middle.
    for name, days in (("bud", 1), ("window_open", 1), ("window_close", 1), ("earliest_planting", 2)):
        assert abs((sampled.dates[name].median - plain.dates[name].median).astype(int)) <= days, name
    said = " ".join(sampled.provenance.notes)
    assert "Your clip sample of 18 Apr, 600 kg/ha (540 lb/acre), is used instead of the model's" in said
    assert "The 3.9% of nitrogen in your sample of 18 Apr is used instead of the model's" in said
    assert any("A clip sample is taken to be good to 15%" in assumed for assumed in sampled.provenance.assumptions)
    assert not any("clip sample" in assumed for assumed in plain.provenance.assumptions)


def test_a_warm_soil_is_planted_sooner() -> None:
    """Three readings well above the model bring the warm soil forward and narrow it; the bloom is left alone."""
    plain = planned()
    model = plain.outlook.tmean[0]
    warm = planned(*(on(day, soil_c=float(model[day - 3 : day + 1].mean()) + 4) for day in (209, 213, 217)))
    for edge in ("median", "late"):
        assert getattr(warm.dates["soil_warm"], edge) < getattr(plain.dates["soil_warm"], edge)
    assert warm.dates["bloom_25"] == plain.dates["bloom_25"]
    assert warm.dates["frost"] == plain.dates["frost"]
    assert any(
        note.startswith("By your thermometer (3 readings) the soil after the cover is")
        for note in warm.provenance.notes
    )
    assert not any("scouting note" in note for note in warm.provenance.notes)


def test_a_height_and_a_surprising_note_are_said() -> None:
    """The height with what it makes of the model; the note by its day and by how far it is off."""
    said = planned(on(150, bbch=60), on(210, height_cm=40.0)).provenance.notes
    assert any("Your height of 13 Apr, 40 cm (16 inches), speaks for" in note for note in said)
    (line,) = (note for note in said if "surprising" in note)
    assert line.startswith(
        "Your note of 12 Feb (BBCH 60, first flowers open) is surprising: by this weather alone it would be expected "
    )
    assert line.endswith("days later. It is used all the same.")
    assert any("The notes do not fit this weather well" in note for note in said)


def test_only_a_note_of_the_stand_proves_it_alive() -> None:
    """A soil reading says nothing of a stand that the cold has killed; a height does."""
    cold = weather(mean=4.0, swing=16.0)
    dead = replace(field(), scouting=(on(200, soil_c=5.0),))
    seen = replace(field(), scouting=(on(200, height_cm=10.0),))
    day = np.datetime64("2026-04-20")
    assert make_plan(dead, cold, day, details=False).state == "winter-killed"
    assert make_plan(seen, cold, day, details=False).state != "winter-killed"


@pytest.mark.parametrize(("inches", "pounds"), [(0, 0), (3, 1000), (6, 2000), (7, 2150), (16, 3500)])
def test_heights_weigh_by_the_rule_of_thumb(inches: float, pounds: float) -> None:
    """2,000 lb an acre at six inches and 150 for each more, in proportion below (from memory, as the code says)."""
    assert height_weight(2.54 * inches) == pytest.approx(1.12085 * pounds, rel=1e-4)


def test_a_sample_is_good_to_15_percent_and_a_height_to_half() -> None:
    """The errors that are said, in numbers: what a sample leaves, and how far a height pulls."""
    _, sd = dry_matter(100, [on(100, dry_matter_kg_ha=3000.0)], OUTLOOK, grown_on, 0.3)
    assert sd == pytest.approx(np.full(2, 450.0))
    model = grown_on(100)
    by_height = height_weight(60.0)
    trust = (0.3 * model) ** 2 / ((0.3 * model) ** 2 + (0.5 * by_height) ** 2)
    mean, sd = dry_matter(100, [on(100, height_cm=60.0)], OUTLOOK, grown_on, 0.3)
    assert mean == pytest.approx(model + trust * (by_height - model))
    assert sd == pytest.approx(0.3 * model * np.sqrt(1 - trust))


def test_what_counts_for_the_weight() -> None:
    """The last of each, and a height only if it is later than the sample."""
    low, high = on(100, height_cm=20.0), on(120, height_cm=40.0)
    sample, again = on(110, dry_matter_kg_ha=1000.0), on(120, dry_matter_kg_ha=2000.0)
    assert measurements.weighing([low, high]) == (None, high)
    assert measurements.weighing([low, sample, high]) == (sample, high)
    assert measurements.weighing([low, sample, again]) == (again, None)
    assert measurements.weighing([sample, high, again]) == (again, None)
    assert measurements.weighing([]) == (None, None)


def test_each_measurement_says_what_it_rests_on() -> None:
    """A sentence a kind that is used, none where there is none."""
    assert measurements.assumptions([]) == ()
    soil, clip, height = (
        measurements.assumptions([note])
        for note in (on(100, soil_c=9.0), on(100, dry_matter_kg_ha=1000.0), on(100, height_cm=10.0))
    )
    assert [len(each) for each in (soil, clip, height)] == [1, 1, 1]
    assert "thermometer" in soil[0]
    assert "15%" in clip[0]
    assert "50%" in height[0]
