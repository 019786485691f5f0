"""The patch of framed squares that comes with the demonstration, and what the guide says of it."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest

import covercrop
from covercrop.base import units
from covercrop.base.records import DailyWeather
from covercrop.beds.beds import BedPlan, lay_out_beds
from covercrop.dates.agenda import next_autumn, next_sowing
from covercrop.guide.pages import guide_page
from covercrop.parameters import catalogue
from covercrop.render.figures.beds import text_plan
from covercrop.render.words import answer
from covercrop.render.words import beds as bed_words

Answers = tuple[covercrop.Plan, DailyWeather]


@pytest.fixture(scope="module")
def answers() -> Answers:
    """The patch on the day of the demonstration, planned once, with its weather."""
    file = covercrop.read_fields("demo:squares")
    made, problems = covercrop.plan_fields(file.fields, on=file.today, today=file.today).each(lambda *both: both)
    assert not problems
    return made[0]


def raw(plan: covercrop.Plan) -> BedPlan:
    """The patch with raw manure left on top, in place of its compost."""
    heap = replace(plan.field.amendments[0], material="cattle-manure", composting=None)
    return lay_out_beds(replace(plan, field=replace(plan.field, amendments=(heap,))), us=True)


def test_the_sheet_is_off_by_the_day_that_sow_names(answers: Answers) -> None:
    """The last day of a sheet is the best day of `sow` for the same cover; without it, that of a year ago stands."""
    plan, weather = answers
    autumn = next_autumn(plan, weather)
    assert autumn is not None
    best = autumn.dates[autumn.choices[0].best]
    assert next_sowing(plan, weather) == best
    day = answer.day_month(best)
    assert f"lift it before {day}, the best day" in " ".join(bed_words.after(lay_out_beds(plan, next_sowing=best)))
    assert "lift it before 18 Sep, when this one was sown" in " ".join(bed_words.after(lay_out_beds(plan)))


def test_a_day_that_is_past_is_no_way_out(answers: Answers) -> None:
    """Raw manure on top: told to be worked in only as long as the harvest leaves the days for it."""
    plan, _ = answers
    (kept, _) = raw(plan).intervals
    assert kept.is_too_late(plan.on)
    assert not kept.is_too_late(kept.worked_in_by)
    assert "Work it in" not in bed_words.interval(raw(plan), kept)
    assert "The last day to work it in, 16 Apr, is past: take compost" in bed_words.interval(raw(plan), kept)
    early = raw(replace(plan, on=kept.worked_in_by))
    assert "Work it in by 16 Apr, or take compost" in bed_words.interval(early, kept)


def test_a_square_is_told_its_phosphorus_and_how_thin_a_layer_would_do(answers: Answers) -> None:
    """By hand: 4 in of compost on 16 square feet at 0.59 t/m3 and 14 lb of phosphate a ton."""
    beds = lay_out_beds(answers[0], us=True)
    tons = 16 / 3 * 0.59 * 1000 / units.KG_PER_LB / 2000 * units.M3_PER_YD3 / 27
    ounces = 16 * tons * 14 * 2 * 30.974 / (2 * 30.974 + 5 * 15.999)
    assert f"and {ounces:.1f} oz of phosphorus." in bed_words.layer(beds, beds.doses[0])
    assert beds.phosphorus is not None
    thin = 4 * beds.phosphorus.share
    assert f"a layer of {thin:.1f} in, or have the soil tested" in bed_words.phosphorus(beds)


def test_the_plan_in_characters_says_how_far_vines_reach(answers: Answers) -> None:
    """As the drawing to scale does, which has a dashed line for it."""
    beds = lay_out_beds(answers[0], us=True)
    assert f"vines and roots may reach {beds.layout.reach / units.M_PER_FT:g} ft" in text_plan(beds, 76)[-1]


@pytest.mark.parametrize("kind", ["straw", "wood-chips"])
def test_a_mulch_says_whose_coolness_it_is_given(answers: Answers, kind: str) -> None:
    """No source tells mulches apart: the answer says that another kind is taken for straw."""
    plan, _ = answers
    entry = replace(plan.field.beds, mulch=kind)
    said = " ".join(answer.reasons(replace(plan, field=replace(plan.field, beds=entry))))
    assert f"(assumed to cool the soil as straw does{'' if kind == 'straw' else ', wood chips too'})" in said


def test_the_guide_traces_the_nitrogen_of_five_inches() -> None:
    """Weights and shares from the shipped numbers, in pounds an acre, as rounded as the page has them."""
    dairy, bedded = catalogue.material("cattle-manure"), catalogue.material("bedded-cattle-manure")

    def pounds(density: float, nitrogen: float, share: float) -> float:
        return 5 * units.M_PER_IN * 10_000 * density * nitrogen * share / units.KG_HA_PER_LB_ACRE

    heavy, rich = dairy.density.value, dairy.nitrogen.value
    on_top, mixed = (dairy.first_year(worked_in=each).value for each in (False, True))
    text = " ".join(guide_page("beds").text.split())
    for said, value in (
        ("hold 5,100 lb of nitrogen", pounds(heavy, rich, 1)),
        ("gives 2,100 lb worked in", pounds(heavy, rich, mixed)),
        ("and 1,000 lb left on top", pounds(heavy, rich, on_top)),
        ("comes to 920 lb left on top", pounds(heavy, dairy.nitrogen.low or 0, on_top)),
        ("to 650 lb; manure", pounds(dairy.density.low or 0, rich, on_top)),
        ("manure with bedding to 340 lb", pounds(bedded.density.value, bedded.nitrogen.value, 0.1)),
        ("which made 1,400 lb", pounds(0.7, 21 / 2, 0.167)),
    ):
        assert said in text
        stated = float(re.findall(r"[\d,]+(?= lb)", said)[0].replace(",", ""))
        assert float(f"{value:.2g}") == stated


def test_the_example_keeps_the_day_of_the_demonstration() -> None:
    """It is set where and when the three plots are."""
    assert covercrop.read_fields("demo:squares").today == covercrop.read_fields().today == dt.date(2026, 4, 20)
    assert np.isclose(covercrop.read_fields("demo:squares").fields[0].latitude, 37.61)
