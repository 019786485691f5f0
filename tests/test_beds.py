"""A field on the ground, end to end: the plan, the list, the drawing, and what is refused."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from defusedxml import ElementTree as SafeTree
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import field as invented_field
from invented import weather

from covercrop.base.errors import FieldFileError
from covercrop.base.records import DateRange
from covercrop.base.strict_table import keys_of
from covercrop.beds import nutrients
from covercrop.beds.beds import BedPlan, cover_nitrogen, lay_out_beds
from covercrop.field import bed_entries
from covercrop.field.bed_entries import AmendmentEntry, BedsEntry, Composting, SoilEntry
from covercrop.field.file import read_fields
from covercrop.guide.pages import guide_page
from covercrop.models import termination
from covercrop.parameters import catalogue
from covercrop.render.data import beds as bed_data
from covercrop.render.data import machine
from covercrop.render.figures import bed_sheets
from covercrop.render.figures import beds as bed_drawing
from covercrop.render.words import answer, phrases
from covercrop.render.words import beds as bed_words
from covercrop.season import absent
from covercrop.season.plan import Plan, make_plan

ON = np.datetime64("2026-04-20", "D")
SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = (
    '<script>alert("1")</script>',
    "</text></svg><!--",
    '" onload="alert(1)',
    "=HYPERLINK(1)",
    "&amp;<![CDATA[x]]>",
    "a\x00b\x1b[31m",
    "\u202egnitirw",
)


@pytest.fixture(scope="module")
def plans() -> Callable[..., Plan]:
    """Plans of invented fields, each worked out once."""
    record, kept = weather(), {}

    def plan(crop: str = "pumpkin", **more: object) -> Plan:
        key = (crop, *sorted(more.items()))
        if key not in kept:
            kept[key] = make_plan(invented_field(crop=crop, **more), record, ON)
        return kept[key]

    return plan


@pytest.fixture(scope="module")
def beds(plans: Callable[..., Plan]) -> Callable[..., BedPlan]:
    """The beds of a field of 36 by 27 m, with tables of its own."""

    def make(
        crop: str = "pumpkin",
        *,
        name: str = "Test plot",
        us: bool = False,
        amendments: tuple[AmendmentEntry, ...] = (),
        soil: SoilEntry | None = None,
        area_m2: float | None = 972.0,
        where: dict[str, object] | None = None,
        **tables: object,
    ) -> BedPlan:
        plan = plans(crop, **(where or {}))
        known = {"length_m": 36.0, "width_m": 27.0} if area_m2 is not None else {}
        own = replace(
            plan.field,
            name=name,
            area_m2=area_m2,
            beds=BedsEntry(**(known | tables)),
            amendments=amendments,
            soil=soil or SoilEntry(),
        )
        return lay_out_beds(replace(plan, field=own), us=us)

    return make


def quantity(laid: BedPlan, item: str) -> float:
    """How much of an item there is to load."""
    (only,) = (each.quantity for each in laid.items if each.item.startswith(item))
    return only


# --- the list -------------------------------------------------------------------------------------


def test_a_vine_field_as_it_is_commonly_laid(beds: Callable[..., BedPlan]) -> None:
    """Spots 3 to 4.5 m apart (common practice, no source), five seeds to a hill, three left (Illinois).

    They are thinned at one or two true leaves (Utah), some ten days after they are up.
    """
    laid = beds(row_spacing_m=4.5, spacing_m=3.0)
    assert laid.layout.count == 12 * 6
    assert laid.layout.plants == 3
    assert quantity(laid, "pumpkin seed") == 400  # 72 spots of 5 and a tenth spare are 396
    assert 14 <= (laid.thinning - laid.planting).astype(int) <= 21


def test_thinning_follows_the_emergence(plans: Callable[..., Plan], beds: Callable[..., BedPlan]) -> None:
    """Ten days after the predicted emergence; a crop set out as plants, or sown to a stand, is not thinned."""
    melon = beds("muskmelon")
    up = plans("muskmelon").planting.emergence_days
    assert (melon.thinning - melon.planting).astype(int) == round(up) + 10
    assert np.isnat(beds("muskmelon", where={"method": "transplant"}).thinning)
    assert np.isnat(beds("dent-corn").thinning)


def test_a_crop_that_stands_takes_no_more_seed(beds: Callable[..., BedPlan]) -> None:
    """Once it is planted the list has no seed for it, and thinning still counts from the day of planting."""
    laid = beds(where={"turned_under": "2026-03-20", "planted": "2026-04-18"})
    assert not [each for each in laid.items if each.group == "Seed and plants"]
    assert str(laid.planting) == "2026-04-18"
    assert (laid.thinning - laid.planting).astype(int) == 17
    assert bed_words.dates(laid).startswith("Planted on Sat 18 Apr; thin to 3 plants a spot about ")


def test_without_past_years_no_day_is_made_up() -> None:
    """A record of one season gives the list and the rule, but no day for either, on the screen or in the JSON."""
    plan = make_plan(invented_field(), weather("2025-08-01"), ON)
    heap = AmendmentEntry(material="poultry-manure", depth_m=0.01)
    laid = lay_out_beds(replace(plan, field=replace(plan.field, area_m2=400.0, amendments=(heap,))))
    assert bed_words.dates(laid) == ""
    assert [each.allowed for each in laid.intervals[:2]] == [None, None]
    (entry,) = bed_data.document([laid], ON)["fields"]
    assert entry["planting"] is entry["thinning"] is entry["after_harvest"]["harvest"] is None
    machine.dump(entry)  # NaN in it would be an error


def test_straw_and_sheet(beds: Callable[..., BedPlan]) -> None:
    """Bare ground needs nothing; straw comes in bales, less the holes; sheet in metres, held as the file says."""
    assert not [each for each in beds(row_spacing_m=3.0, spacing_m=3.0).items if each.group == "On the ground"]
    straw = beds(row_spacing_m=3.0, spacing_m=3.0, mulch_m=0.15, where={"ground_cover": "straw"})
    # 972 m2 less 108 holes of 0.09 m2, 0.15 m deep, is 144.3 m3; a bale makes 0.3596 m3.
    assert quantity(straw, "small bales of straw") == 402
    assert quantity(straw, "planting holes") == 108
    paths = beds(row_spacing_m=3.0, spacing_m=3.0, covering="paths", where={"ground_cover": "straw"})
    assert quantity(paths, "small bales of straw") == pytest.approx(972 / 2 * 0.1 / 0.3596, abs=1)
    sheet = beds(row_spacing_m=3.0, spacing_m=3.0, edges="weighted", where={"ground_cover": "black-plastic"})
    # Nine strips of 36.3 m over beds of 1.5 m; a rim of 2 * (36.3 + 1.8) m each, a weight every 1.5 m.
    assert quantity(sheet, "black sheet, 1.8 m wide") == 327
    assert quantity(sheet, "sandbags") == 460
    pinned = beds(row_spacing_m=3.0, spacing_m=3.0, edges="pinned", where={"ground_cover": "black-plastic"})
    # The same rim of 685.8 m, a pin a foot.
    assert quantity(pinned, "ground staples") == 2300


def test_cover_seed_as_published(beds: Callable[..., BedPlan]) -> None:
    """University of Georgia: crimson clover broadcast at 22 to 30 lb an acre; 972 m2 are 0.24 acre."""
    (seed,) = (each for each in beds(us=True).items if each.item == "crimson clover seed")
    assert 22 * 0.2402 <= float(seed.why.split()[0]) <= 30 * 0.2402
    assert seed.quantity >= float(seed.why.split()[0]) * 1.1 - 0.1
    assert quantity(beds(), "inoculant") == 1


@pytest.mark.parametrize(
    ("cover", "low", "high"),
    # University of Georgia (crimson clover, winter pea), a seed house of 2017 (vetch, red clover), Leballisters
    # (berseem): broadcast or alone, lb an acre.
    [
        ("crimson-clover", 22, 30),
        ("winter-pea", 60, 90),
        ("berseem-clover", 15, 20),
        ("red-clover", 8, 12),
    ],
)
def test_seed_rates_as_printed(cover: str, low: float, high: float) -> None:
    """The rate lies in the range of its source, which the record repeats."""
    rate = catalogue.cover(cover).sowing.broadcast
    assert rate.printed_range == f"{low} to {high} lb/acre"
    assert rate.basis == "converted"


@pytest.mark.parametrize("crop", catalogue.crop_names())
def test_every_crop_can_be_laid_out(beds: Callable[..., BedPlan], crop: str) -> None:
    """Each crop gives a list, a balance, and two drawings."""
    laid = beds(crop)
    assert laid.items
    assert laid.nitrogen is not None
    assert bed_drawing.text_plan(laid, 76)
    SafeTree.fromstring(bed_sheets.svg([laid]))
    assert catalogue.crop(crop).planting is not None


def test_winter_squash_as_published() -> None:
    """Seed trade: rows or hills 6 to 8 ft apart, 3 plants to a hill; hills of three stand 6 ft apart (Illinois)."""
    standing = catalogue.crop("winter-squash").planting
    assert standing is not None
    assert standing.row_spacing.printed == "8 ft"
    assert standing.spacing.printed == "6 ft"
    assert standing.plants.value == 3


@settings(max_examples=40)
@given(st.floats(12, 80), st.floats(12, 80), st.booleans(), st.sampled_from(["bare", "straw", "black-plastic"]))
def test_twice_the_area_twice_the_material(
    beds: Callable[..., BedPlan], length: float, width: float, us: bool, ground_cover: str
) -> None:
    """A field of whole spacings, twice as long, needs twice as much, but for the rounding and the ends of strips."""
    length, width = 3.0 * round(length / 3), 3.0 * round(width / 3)
    entry = AmendmentEntry(material="cattle-manure", depth_m=0.05, where="beds")
    one, two = (
        beds(
            row_spacing_m=3.0,
            spacing_m=3.0,
            us=us,
            area_m2=None,
            length_m=times * length,
            width_m=width,
            amendments=(entry,),
            where={"ground_cover": ground_cover},
        )
        for times in (1, 2)
    )
    assert two.layout.count == 2 * one.layout.count
    assert two.doses[0].mass == pytest.approx(2 * one.doses[0].mass)
    for once, twice in zip(one.items, two.items, strict=True):
        if once.unit == twice.unit and once.item == twice.item:
            # Two figures round up by a tenth at most, counts by one; the ends of strips are cut once for twice as much.
            assert 2 * once.quantity / 1.15 - 2 <= twice.quantity <= 2 * once.quantity * 1.1 + 1


def test_us_and_metric_lay_out_the_same_field(beds: Callable[..., BedPlan]) -> None:
    """Units change what is said and sold, never where the plants stand nor what they get."""
    entry = AmendmentEntry(material="poultry-litter", depth_m=0.02, where="spots")
    metric, us = (beds(amendments=(entry,), us=flag) for flag in (False, True))
    np.testing.assert_array_equal(metric.layout.spots, us.layout.spots)
    assert metric.nitrogen == us.nitrogen
    assert metric.phosphorus == us.phosphorus
    assert metric.thinning == us.thinning
    assert "lb/acre" in bed_words.phosphorus(us)
    assert "kg/ha" in bed_words.phosphorus(metric)


def test_frames_by_hand(beds: Callable[..., BedPlan]) -> None:
    """Six frames of 2.4 by 1.2 m: three boards each, 18; six posts each, 36."""
    laid = beds("cucumber", frames=6)
    assert quantity(laid, "boards 20 cm high, 2.4 m long") == 18
    assert quantity(laid, "posts") == 36
    us = beds("cucumber", frames=6, us=True)
    assert quantity(us, "boards 7.2 in high, 8 ft long") == 18
    # A single spot is said as one.
    one = beds("winter-squash", frames=6, frame_length_m=1.5)
    assert one.layout.spots_per_frame == 1
    assert "1 spot in each" in bed_sheets.svg([one])


# --- nitrogen, phosphorus, times ------------------------------------------------------------------


def test_the_covers_nitrogen_is_that_of_the_plan(plans: Callable[..., Plan], beds: Callable[..., BedPlan]) -> None:
    """What the plan says the cover releases is taken off what the crop needs."""
    laid, pan = beds(), plans().nitrogen.amounts["pan_kg_ha"]
    assert laid.nitrogen is not None
    assert laid.nitrogen.cover == (pan.low, pan.median, pan.high)
    assert laid.nitrogen.missing[1] == pytest.approx(laid.nitrogen.need[1] - pan.median)


def test_the_salt_line_names_the_day_that_it_counts_from(beds: Callable[..., BedPlan]) -> None:
    """Seed waits three weeks from the spreading, which is said beside it."""
    laid = beds(amendments=(AmendmentEntry(material="poultry-manure", depth_m=0.01, where="field"),))
    (kept,) = (each for each in laid.intervals if each.kind == "poultry")
    assert (kept.start - kept.done).astype(int) == 21
    said = bed_words.interval(laid, kept)
    assert f"Spread on {phrases.day_month(kept.done)}, seed from {phrases.day_month(kept.start)} (" in said


def test_the_covers_nitrogen_over_time(plans: Callable[..., Plan], beds: Callable[..., BedPlan]) -> None:
    """Most of it 4 to 6 weeks after the kill (Pacific Northwest Extension 636, 2012), never more than there is."""
    total = plans("pumpkin").nitrogen.amounts["pan_kg_ha"]
    laid = beds()
    given = laid.cover_nitrogen
    assert [each.weeks for each in given] == [2, 4, 8]
    assert [(each.day - plans("pumpkin").window.ending_day).astype(int) for each in given] == [14, 28, 56]
    for before, then in pairwise(given):
        assert before.share < then.share
        assert all(less < more for less, more in zip(before.available, then.available, strict=True))
    assert all(each.available[0] <= each.available[1] <= each.available[2] <= total.high for each in given)
    assert given[0].share < 0.5 < given[2].share
    assert given[2].available[1] == pytest.approx(total.median * given[2].share)
    rows = [what for what, _, _ in bed_words.nitrogen_rows(laid)]
    assert sum(what.startswith("  of it by ") for what in rows) == 3
    held = bed_data.document([laid], ON)["fields"][0]["nitrogen"]["cover_over_time"]
    assert [each["kg_ha"]["median"] for each in held] == [each.available[1] for each in given]


def test_a_tarp_gives_its_nitrogen_later(plans: Callable[..., Plan], beds: Callable[..., BedPlan]) -> None:
    """The weeks count from the death of the cover, which a tarp takes days to bring about."""
    laid = beds(where={"terminate": "tarp"})
    ended = laid.plan.window.ending_day
    assert (laid.cover_nitrogen[0].day - ended).astype(int) == 14 + termination.TARP_DAYS.value


def test_nothing_is_given_where_nothing_is_known(plans: Callable[..., Plan]) -> None:
    """Without a day of ending there is no nitrogen to share out."""
    plan = plans("pumpkin")
    assert plan.details is not None
    unknown = replace(plan.details, nitrogen=replace(plan.nitrogen, amounts={}))
    assert cover_nitrogen(replace(plan, details=unknown)) == ()


def test_a_thick_layer_in_small_beds_is_said(beds: Callable[..., BedPlan]) -> None:
    """Twelve centimetres of manure at each spot: far too much where it lies, a fraction over the vines."""
    entry = AmendmentEntry(material="cattle-manure", depth_m=0.12, where="spots")
    laid = beds(row_spacing_m=3.6, spacing_m=3.6, amendments=(entry,))
    said = bed_words.layer(laid, laid.doses[0])
    # 1.01 t/m3 * 0.12 m * 10,000 m2 * 4.5 kg/t * 0.4 = 2,182 kg/ha on a spot of 0.81 m2, a sixteenth of 12.96 m2.
    assert "2,200 kg/ha where it lies, 140 kg/ha over all" in said
    assert "one spot gets 180 g" in said
    assert "Where it lies thickest it is worth" in bed_words.phosphorus(laid)
    thin = AmendmentEntry(material="composted-cattle-manure", depth_m=0.001, where="spots")
    laid = beds(amendments=(thin,))
    assert bed_words.layer(laid, laid.doses[0]) == ""
    assert bed_words.phosphorus(laid).endswith("no more than a crop can take.")


def test_a_field_without_manure_still_hears_the_rule(beds: Callable[..., BedPlan]) -> None:
    """The last day for raw manure is said before anyone thinks of bringing some."""
    (rule,) = beds().intervals
    assert rule.end == beds().after.harvest - np.timedelta64(120, "D")
    said = bed_words.interval(beds(), rule)
    assert said.startswith("Raw manure: ")
    assert "7 CFR 205.203(c)(1)" in said


def test_every_kind_of_interval_is_said(beds: Callable[..., BedPlan]) -> None:
    """Each begins with the material, and answers yes, no, or from when."""
    passed = Composting(method="vessel", carbon_nitrogen=30, coolest_c=56, hottest_c=70, days=4)
    entries = (
        AmendmentEntry(material="poultry-manure", depth_m=0.01),
        AmendmentEntry(material="poultry-manure", depth_m=0.01, heated=True),
        AmendmentEntry(material="horse-manure", depth_m=0.01, worked_in=False),
        AmendmentEntry(material="horse-manure", depth_m=0.01, applied=np.datetime64("2026-03-01").astype(object)),
        AmendmentEntry(material="composted-horse-manure", depth_m=0.01),
        AmendmentEntry(material="composted-horse-manure", depth_m=0.01, composting=passed),
        AmendmentEntry(material="plant-compost", depth_m=0.01),
    )
    laid = beds(amendments=entries)
    said = [bed_words.interval(laid, each) for each in laid.intervals]
    assert {each.kind for each in laid.intervals} == {
        "raw",
        "heated",
        "on-top",
        "compost",
        "plants",
        "poultry",
        "bioassay",
    }
    for sentence in said:
        assert re.search(r"YES|NO\.|test for weed-killers", sentence), sentence
        assert "NaT" not in sentence
        assert not re.search(r"\d{4}-\d{2}-\d{2}", sentence), sentence
    assert any("worked in on 1 Mar" in sentence for sentence in said)
    assert any("counts as raw, since its composting is not recorded" in sentence for sentence in said)
    assert len([each for each in laid.intervals if each.kind == "bioassay"]) == 2  # one heap is spread already
    assert not [each for each in laid.items if "horse" in each.item and "1 Mar" in each.why]
    assert len([each for each in laid.items if each.group == "Manure and compost"]) == 6


def test_manure_on_top_hears_every_reading(beds: Callable[..., BedPlan]) -> None:
    """No, since the rule's text has no place for it; who counts it all the same is named, with the harvest allowed."""
    entry = AmendmentEntry(
        material="horse-manure", depth_m=0.01, worked_in=False, applied=np.datetime64("2026-03-01").astype(object)
    )
    laid = beds(amendments=(entry,))
    (kept,) = (each for each in laid.intervals if each.kind == "on-top")
    said = bed_words.interval(laid, kept)
    assert said.startswith("Horse manure: NO. 7 CFR 205.203(c)(1) allows raw manure on a food crop's bed only where it")
    for reading in ("office of the US organic programme", "some US certifiers", "US produce rule", "United Kingdom"):
        assert reading in said
    assert "(harvest from 29 Jun)" in said  # 120 days after 1 March
    assert "(harvest from 31 Aug)" in said  # 183
    assert "keeps 45 to 365 days, by scheme" in said
    assert said.endswith("keep to the longest that binds you.")
    assert {"nop_draft", "tilth_manure", "cfr112_56", "uk_fsa_manure", "au_compost_code"} <= set(laid.sources)
    assert "nop_draft" not in beds().sources


def test_roots_leave_the_spot(beds: Callable[..., BedPlan]) -> None:
    """Vines hear of spot and ground, corn in rows does not; what is missing goes where the roots are."""
    entry = AmendmentEntry(material="cattle-manure", depth_m=0.01, where="spots")
    vines, corn = beds(amendments=(entry,)), beds("sweet-corn", amendments=(entry,))
    assert corn.reach is None
    assert bed_words.roots(corn) == ""
    assert corn.absent["nitrogen.roots"] == "not-needed"
    assert vines.reach is not None
    assert vines.nitrogen is not None
    assert [int((day - vines.planting).astype(int)) for day in vines.reach.leaves] == [22, 41]
    # The spot holds what lies on it; its ground all of the balance.
    per_spot = vines.layout.vine_area / vines.layout.count / 10_000
    brought = vines.nitrogen.cover[1] + vines.nitrogen.amendments
    assert vines.reach.ground[1] == pytest.approx(brought * per_spot)
    assert vines.reach.spot[1] < vines.reach.ground[1]
    said = bed_words.roots(vines)
    assert said.startswith("Roots: a spot's plants need ")
    assert "for 3 to 6 weeks (until " in said
    assert "over all the ground" in bed_words.nitrogen_advice(beds(row_spacing_m=3.0, spacing_m=3.0))
    assert "over all the ground" not in bed_words.nitrogen_advice(beds("sweet-corn"))


# --- after the harvest ----------------------------------------------------------------------------


def test_the_same_family_again_is_said(beds: Callable[..., BedPlan]) -> None:
    """Pumpkin after melon two years ago is warned of, after corn and tomato not."""
    again = beds(soil=SoilEntry(crops_before=("sweet-corn", "muskmelon")))
    assert again.after.same_family == ((2, "muskmelon"),)
    assert any("SAME FAMILY AGAIN" in said and "muskmelon 2 years ago" in said for said in bed_words.after(again))
    other = beds(soil=SoilEntry(crops_before=("sweet-corn", "tomato")))
    assert other.after.same_family == ()
    assert not any("SAME FAMILY" in said for said in bed_words.after(other))


def test_what_the_soil_got_is_summed(plans: Callable[..., Plan], beds: Callable[..., BedPlan]) -> None:
    """The cover's nitrogen on 972 m2, and everything that the heaps hold."""
    entries = tuple(AmendmentEntry(material=name, depth_m=0.01) for name in ("cattle-manure", "plant-compost"))
    laid = beds(amendments=entries)
    assert laid.after.cover_nitrogen == pytest.approx(plans().nitrogen.amounts["n_kg_ha"].median * 0.0972)
    assert laid.after.phosphorus == pytest.approx(sum(each.phosphorus for each in laid.doses))
    assert any("in manure and compost" in said for said in bed_words.after(laid))


@pytest.mark.parametrize(("remains", "words"), [("leave", "left: chop"), ("take", "Vines taken"), (None, "Leave the")])
def test_remains_left_or_taken(beds: Callable[..., BedPlan], remains: str | None, words: str) -> None:
    """What is done with vines and roots decides what is said of them."""
    laid = beds(soil=SoilEntry(after_harvest=remains))
    assert any(words in said for said in bed_words.after(laid))


def test_the_next_sowing_against_the_harvest(beds: Callable[..., BedPlan]) -> None:
    """A crop that is still out on the cover's day of sowing is said to be; one that is off leaves time."""
    late = beds("pumpkin", where={"sown": "2025-08-20"})
    early = beds("summer-squash", where={"sown": "2025-10-10"})
    assert any("comes after 20 Aug" in said for said in bed_words.after(late))
    assert any("comes before 10 Oct" in said for said in bed_words.after(early))


# --- the drawings ---------------------------------------------------------------------------------


def test_the_text_plan_is_to_scale(beds: Callable[..., BedPlan]) -> None:
    """Each spot has a place of its own, as far apart as the columns and lines say."""
    *lines, legend = bed_drawing.text_plan(beds(row_spacing_m=4.5, spacing_m=3.0), 76)
    column, line = (float(each) for each in re.search(r"a column is ([\d.]+) m, a line ([\d.]+) m", legend).groups())
    assert 1.3 <= line / column <= 3.1
    assert sum(line.count("o") for line in lines) == 72
    assert abs((len(lines[0]) - 2) * column - 36) < column
    assert abs((len(lines) - 2) * line - 27) < line


def test_spots_too_close_show_the_corner(beds: Callable[..., BedPlan]) -> None:
    """Where the whole field is too coarse, its corner is drawn, open on two sides."""
    *lines, legend = bed_drawing.text_plan(beds("sweet-corn"), 76)
    assert legend.startswith("the corner: a column is 0.11 m, a line 0.25 m")
    assert not lines[-1].startswith("└")


@pytest.mark.parametrize("crop", ["pumpkin", "sweet-corn"])
@pytest.mark.parametrize("tables", [{}, {"frames": 3}, {"covering": "paths"}, {"covering": "rows"}])
def test_the_text_plan_fits_and_can_be_ascii(
    beds: Callable[..., BedPlan], crop: str, tables: dict[str, object]
) -> None:
    """No line is wider than it may be, at any width, and plain characters draw the same."""
    where = {"ground_cover": "straw"} if "covering" in tables else {}
    laid = beds(crop, where=where, **tables)
    for width in (30, 56, 76):
        drawn = bed_drawing.text_plan(laid, width, bed_drawing.ASCII)[:-1]
        assert max(map(len, drawn)) <= width
        assert "".join(drawn).isascii()
        assert len(drawn) <= bed_drawing.MOST_LINES + 2
        assert any("o" in line for line in drawn)


def drawn_spots(root: ElementTree.Element) -> int:
    """Spots of an SVG: circles, and dots of the dashed lines of no length."""
    count = len(root.findall(f".//{SVG}circle[@class='spot']"))
    for line in root.findall(f".//{SVG}line[@class='spots']"):
        every = float(line.get("stroke-dasharray", "").split()[1])
        count += int((float(line.get("x2", "")) - float(line.get("x1", ""))) / every + 1e-3) + 1
    return count


@pytest.mark.parametrize(
    "tables", [{"row_spacing_m": 3.0, "spacing_m": 3.0}, {"frames": 7}, {"row_spacing_m": 4.5, "spacing_m": 4.0}]
)
def test_the_svg_is_to_scale(beds: Callable[..., BedPlan], tables: dict[str, object]) -> None:
    """The field's rectangle, in millimetres, times the scale that is named is the field; and every spot is there."""
    laid = beds(**tables)
    root = SafeTree.fromstring(bed_sheets.svg([laid]))
    scale = int(re.search(r"Scale 1:([\d,]+)", "".join(root.itertext()))[1].replace(",", ""))
    sizes = [
        (float(each.get("width", "0").rstrip("%")), float(each.get("height", "0").rstrip("%")))
        for each in root.iter(f"{SVG}rect")
    ]
    assert (pytest.approx(36_000 / scale, abs=1e-3), pytest.approx(27_000 / scale, abs=1e-3)) in sizes
    assert root.get("width") == "204mm"
    assert root.get("viewBox", "").startswith("0 0 204 ")
    assert drawn_spots(root) == laid.layout.count


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_stays_a_name(beds: Callable[..., BedPlan], name: str) -> None:
    """Parsed as XML, the drawing has no script, no handler and no element that a name smuggled in."""
    plain, hostile = (SafeTree.fromstring(bed_sheets.svg([beds(name=each)])) for each in ("Plot", name))
    assert [each.tag for each in plain.iter()] == [each.tag for each in hostile.iter()]
    assert [sorted(each.keys()) for each in plain.iter()] == [sorted(each.keys()) for each in hostile.iter()]
    assert not [key for each in hostile.iter() for key in each.attrib if key.startswith("on")]
    if name.isprintable():
        assert name in "".join(hostile.itertext())


@given(name=st.text(min_size=1, max_size=40).filter(str.strip))
@settings(max_examples=60)
def test_any_name_can_be_drawn(beds: Callable[..., BedPlan], name: str) -> None:
    """Whatever a field is called, the document parses."""
    SafeTree.fromstring(bed_sheets.svg([beds(name=name)]).encode("utf-8"))


def test_plants_in_the_text_plan_stand_evenly(beds: Callable[..., BedPlan]) -> None:
    """Spots a whole number of columns and lines apart, whatever the spacing; frames too, each with its plant."""
    for tables in ({"row_spacing_m": 3.0, "spacing_m": 3.0}, {"row_spacing_m": 4.5, "spacing_m": 2.7}):
        *lines, _ = bed_drawing.text_plan(beds(**tables), 76)
        down = [at for at, line in enumerate(lines) if "o" in line]
        across = [at for at, mark in enumerate(lines[down[0]]) if mark == "o"]
        for places in (down, across):
            assert len(set(np.diff(places))) == 1, tables
    squares = {"frame_length_m": 1.2, "frame_width_m": 1.2, "spacing_m": 3.6, "row_spacing_m": 3.6}
    laid = beds(**squares, where={"ground_cover": "black-plastic"})
    *lines, _ = bed_drawing.text_plan(laid, 76)
    assert sum(line.count("o") for line in lines) == laid.layout.count == laid.layout.frames
    # Large squares in the sheet are open in the drawing, and it lies everywhere else.
    large = beds(frames=4, frame_length_m=5.0, frame_width_m=5.0, plants=1, where=ON_SHEET)
    *lines, legend = bed_drawing.text_plan(large, 76)
    drawn = "".join(lines)
    column, line = (float(each) for each in re.search(r"a column is ([\d.]+) m, a line ([\d.]+) m", legend).groups())
    assert "; ░ sheet; · square; vines and roots may reach" in legend
    assert (drawn.count("·") + drawn.count("o")) * column * line == pytest.approx(100, rel=0.35)
    assert " " not in drawn


def test_the_svg_shows_frames_and_how_far_vines_reach(beds: Callable[..., BedPlan]) -> None:
    """A rectangle for each frame where it stands, and round it a circle of half the published row spacing."""
    laid = beds(frame_length_m=1.2, frame_width_m=1.2, spacing_m=3.6, row_spacing_m=3.6)
    root = SafeTree.fromstring(bed_sheets.svg([laid]))
    scale = int(re.search(r"Scale 1:([\d,]+)", "".join(root.itertext()))[1].replace(",", ""))
    frames = root.findall(f".//{SVG}rect[@class='frame']")
    reaches = root.findall(f".//{SVG}rect[@class='reach']")
    assert len(frames) == len(reaches) == laid.layout.frames
    for frame, reach, (x, y) in zip(frames, reaches, laid.layout.places, strict=True):
        assert float(frame.get("x", "")) == pytest.approx((x - 0.6) * 1000 / scale, abs=1e-3)
        assert float(reach.get("y", "")) == pytest.approx((y - 1.3716) * 1000 / scale, abs=1e-3)  # half of 9 ft
        assert float(reach.get("width", "")) == pytest.approx(2 * 1.3716 * 1000 / scale, abs=2e-3)
        assert float(reach.get("rx", "")) == pytest.approx(1.3716 * 1000 / scale, abs=1e-3)
    assert "how far vines and roots may reach, 1.4 m (assumed)" in "".join(root.itertext())


def test_a_sheet_for_every_field_with_its_legend(beds: Callable[..., BedPlan]) -> None:
    """Sheets of one height below each other, as the paper has it, each with a swatch for every colour that it shows."""
    plain, strawed, framed = beds(), beds(where={"ground_cover": "straw"}), beds(frames=7)
    root = SafeTree.fromstring(bed_sheets.svg([plain, strawed, framed]))
    sheets = [each for each in root.findall(f"{SVG}g") if each.get("transform", "").startswith("translate(12 ")]
    tops = [float(each.get("transform", "").split()[1].rstrip(")")) for each in sheets]
    assert np.diff(tops) == pytest.approx([291.0, 291.0])  # A4 within margins of 3 mm
    assert "size: A4; margin: 3mm" in root.findtext(f"{SVG}style", "")
    for sheet, words in zip(
        sheets, ({"bed", "path", "hill"}, {"straw", "hill"}, {"bed", "plant", "boards"}), strict=True
    ):
        assert words <= {each.text for each in sheet.iter(f"{SVG}text")}
        legend = sheet.findall(f"./{SVG}g/{SVG}g")[-1]
        shown = {each.get("fill") for each in sheet.iter(f"{SVG}rect")} - {"none", "#222222", "#ffffff"}
        assert {each.get("fill") for each in legend.iter(f"{SVG}rect")} - {"none"} >= shown


def test_how_many_frames_fit_is_said(beds: Callable[..., BedPlan]) -> None:
    """Where the number is left out it is that which goes in, and the page says so."""
    fitted = beds(layout="frames", spacing_m=3.6, row_spacing_m=3.6, frame_length_m=1.2, frame_width_m=1.2)
    said = bed_words.stands(fitted)
    assert "Pumpkin in 70 framed beds of 1.2 m by 1.2 m, as many as fit, 1 spot in each: 210 plants" in said
    assert "Frames 3.6 m from middle to middle, 0.6 m or more from the edge." in said
    assert "as many as fit" not in bed_words.stands(beds(frames=6))
    assert bed_data.document([fitted], ON)["fields"][0]["layout"]["as_many_as_fit"] is True


# --- CSV ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@SUM(A1)", "  =1", "\t=1", 'a","b', "two\nlines"])
def test_a_spreadsheet_takes_no_name_for_a_formula(beds: Callable[..., BedPlan], name: str) -> None:
    """Read back, every cell is text or a plain number, and every row has its six columns."""
    laid = beds(name=name)
    rows = list(csv.reader(io.StringIO(bed_data.table_csv([laid]))))
    assert tuple(rows[0]) == bed_data.CSV_COLUMNS
    assert len(rows) == len(laid.items) + 1
    for row in rows[1:]:
        assert len(row) == 6
        assert not [cell for cell in row if cell.lstrip()[:1] in ("=", "+", "-", "@", "\t")]
        assert float(row[3]) > 0


# --- what is refused ------------------------------------------------------------------------------

PLOT = """\
[[field]]
name = "Mill terrace"
latitude = 37.8
longitude = -84.1
area_m2 = 900

[field.cover]
species = "hairy-vetch"
sown = 2025-09-12

[field.crop]
name = "pumpkin"
ground_cover = "straw"
"""

SHEETED = PLOT.replace('"straw"', '"black-plastic"')


def read(tmp_path: Path, extra: str, text: str = PLOT) -> object:
    """The field of a file with more tables."""
    path = tmp_path / "fields.toml"
    path.write_text(f"{text}\n{extra}\n", encoding="utf-8")
    return read_fields(path).fields[0]


def test_the_tables_are_read_in_either_unit(tmp_path: Path) -> None:
    """Feet and inches give what metres and centimetres do, to a millionth."""
    us = read(
        tmp_path,
        "[field.beds]\nlength_ft = 100\nwidth_ft = 96.875\nrow_spacing_ft = 10\nspacing_ft = 10\nmulch_in = 4\n"
        '[[field.amendment]]\nmaterial = "Cattle manure"\nrate_ton_acre = 10\nbucket_lb = 30\n'
        "[field.soil]\norganic_matter_percent = 3\n",
    )
    assert us.beds.length_m == pytest.approx(30.48)
    assert us.beds.mulch_m == pytest.approx(0.1016)
    # Ten short tons on an acre are 22.417 t/ha; 30 lb in five US gallons are 0.7190 t/m3.
    assert us.amendments[0].rate_kg_m2 == pytest.approx(2.24170, rel=1e-5)
    assert us.amendments[0].density_t_m3 == pytest.approx(0.718961, rel=1e-5)
    metric = read(
        tmp_path,
        "[field.beds]\nlength_m = 30.48\nwidth_m = 29.5275\nrow_spacing_m = 3.048\nspacing_m = 3.048\n"
        "mulch_cm = 10.16\n"
        '[[field.amendment]]\nmaterial = "cattle-manure"\nrate_t_ha = 22.417\nbucket_kg = 7.18961\n',
    )
    for name in ("length_m", "width_m", "row_spacing_m", "spacing_m", "mulch_m"):
        assert getattr(metric.beds, name) == pytest.approx(getattr(us.beds, name), rel=1e-6)
    assert metric.amendments[0].rate_kg_m2 == pytest.approx(us.amendments[0].rate_kg_m2, rel=1e-4)
    assert metric.amendments[0].density_t_m3 == pytest.approx(us.amendments[0].density_t_m3, rel=1e-5)


def test_the_tables_of_the_guide_can_be_read(tmp_path: Path) -> None:
    """The examples in the guide are taken as they stand, and with their last lines too."""
    example, framed, squares = re.findall(r"```toml\n(.*?)```", guide_page("beds").text, flags=re.DOTALL)
    assert read(tmp_path, squares, SHEETED).beds.in_squares("black-plastic")
    assert read(tmp_path, framed).beds.frames == 6
    field = read(tmp_path, example)
    assert field.amendments[0].nitrogen == pytest.approx(6.0)
    compost = example.replace("# composting", "composting").replace('"cattle-manure"', '"composted-cattle-manure"')
    assert read(tmp_path, compost).amendments[0].composting.turnings == 5


@pytest.mark.parametrize(
    ("extra", "message"),
    [
        ("[field.beds]\nlenght_m = 3", "beds: unknown key 'lenght_m'; did you mean 'length_m'?"),
        ("[field.beds]\nlength_m = 30", "beds: length is given without width; give both, as width_m or _ft"),
        ("[field.beds]\nlength_m = 30\nlength_ft = 90", "length_m is given too; keep one of them"),
        ("[field.beds]\nrow_spacing_m = 0", "row_spacing_m = 0: give 0.1 to 15"),
        ('[field.beds]\nspacing_ft = "ten"', "spacing_ft = 'ten': give 0.164 to 49.2"),
        ('[field.beds]\nlayout = "circles"', "layout = 'circles': use one of rows, hills, frames"),
        ("[field.beds]\nplants = 6\nseeds = 5", "plants = 6: more than the 5 seeds sown at a spot"),
        ("[field.beds]\nframes = 2.5", "frames = 2.5: give how many framed beds"),
        ('[field.beds]\nboard_cm = 20\nlayout = "hills"', "layout = 'hills': frames are described too"),
        ("[field.beds]\nframes = 2\npath_m = 1\nspacing_m = 3", "path and spacing both say how far frames stand apart"),
        ("[field.beds]\nsheet_width_m = 2", "sheet_width is given but the ground cover is straw"),
        ('[field.beds]\nedges = "pinned"', "edges = 'pinned': only a sheet has edges to hold"),
        ('[field.beds]\nmulch_kind = "straw"', "mulch_kind = 'straw': it goes with frames on a black sheet"),
        ('[field.beds]\nedges = "glued"', "edges = 'glued': use one of buried, weighted, pinned, boards, rolled"),
        ("[[field.beds]]\nframes = 2", "is not one table; write it once, with single brackets"),
        ("[field.amendment]\ndepth_cm = 3", "amendment = {'depth_cm': 3}: write each as its own [[field.amendment]]"),
        ("[[field.amendment]]\ndepth_cm = 3", "amendment 1: 'material' is missing; use one of cattle-manure"),
        (
            '[[field.amendment]]\nmaterial = "catle manure"\ndepth_cm = 3',
            "amendment 1: unknown material 'catle manure'; did you mean cattle-manure",
        ),
        ('[[field.amendment]]\nmaterial = "cattle-manure"', "give a depth or a rate; for a layer write depth_cm = 5"),
        (
            '[[field.amendment]]\nmaterial = "cattle-manure"\ndepth_cm = 3\nrate_t_ha = 20',
            "give a depth or a rate, not both",
        ),
        ('[[field.amendment]]\nmaterial = "cattle-manure"\ndepth_cm = 300', "depth_cm = 300: give 0.1 to 100"),
        (
            '[[field.amendment]]\nmaterial = "cattle-manure"\ndepth_cm = 3\ncomposting = { days = 15 }',
            "cattle-manure is raw; name a composted material",
        ),
        (
            '[[field.amendment]]\nmaterial = "plant-compost"\ndepth_cm = 3\ncomposting = { coolest_f = 300 }',
            "composting: coolest_f = 300: give degrees Fahrenheit, 32 to 212",
        ),
        (
            '[[field.amendment]]\nmaterial = "plant-compost"\ndepth_cm = 3\nbucket_kg = 6\nbucket_lb = 20',
            "bucket_kg is given too",
        ),
        (
            '[[field.amendment]]\nmaterial = "plant-compost"\ndepth_cm = 3\nworked_in = "yes"',
            "worked_in = 'yes': write true or false",
        ),
        (
            '[[field.amendment]]\nmaterial = "plant-compost"\ndepth_cm = 3\nn_percent = 46',
            "n_percent = 46: give percent of the weight as it is spread, 0 to 10",
        ),
        (
            '[[field.amendment]]\nmaterial = "plant-compost"\ndepth_cm = 3\napplied = "May"',
            "applied = 'May': write a date as 2026-04-20",
        ),
        ("[field.soil]\norganic_matter_percent = 101", "organic_matter_percent = 101: give percent, 0 to 100"),
        ('[field.soil]\ncrops_before = "corn"', "crops_before = 'corn': write a list of crops"),
        ("[field.soil]\ncrops_before = [3]", "crops_before = [3]: write a list of crops"),
        ('[field.soil]\ncrops_before = ["pumkin"]', "crops_before: unknown crop 'pumkin'; did you mean pumpkin"),
        ('[field.soil]\nafter_harvest = "burn"', "after_harvest = 'burn': use one of leave, take"),
    ],
)
def test_each_slip_has_its_line(tmp_path: Path, extra: str, message: str) -> None:
    """One line that names the file, the field, the key and the value, and the way out."""
    with pytest.raises(FieldFileError) as caught:
        read(tmp_path, extra)
    said = str(caught.value)
    assert message in said
    assert said.startswith(f'{tmp_path / "fields.toml"}: field 1 "Mill terrace"')
    assert "\n" not in said


@pytest.mark.parametrize("key", ['covering = "rows"', "mulch_cm = 10", "sheet_width_m = 2"])
def test_a_cover_on_bare_ground_is_refused(tmp_path: Path, key: str) -> None:
    """What lies on the ground is said once, in [field.crop]."""
    with pytest.raises(FieldFileError, match='the ground is bare; set ground_cover = "straw" or "black-plastic"'):
        read(tmp_path, f"[field.beds]\n{key}", PLOT.replace('ground_cover = "straw"\n', ""))


def test_a_mulch_on_plastic_is_refused(tmp_path: Path) -> None:
    """Straw has a depth, sheet has none."""
    with pytest.raises(FieldFileError, match="mulch is given but the ground cover is black-plastic"):
        read(tmp_path, "[field.beds]\nmulch_cm = 10", PLOT.replace('"straw"', '"black-plastic"'))


def test_every_key_of_the_beds_stands_in_the_guide() -> None:
    """One table names each key, and no other."""
    table = re.findall(r"^\| (`.*?) \|", guide_page("beds").text, flags=re.MULTILINE)
    named = {key for cell in table for key in re.findall(r"`([a-z_]+)`", cell) if not key.startswith("_")}
    wanted = {re.sub(r"_(m|ft|cm|in)$", "", key) for key in keys_of(bed_entries.BedsEntry)}
    assert named == wanted


# --- squares in a sheet ---------------------------------------------------------------------------

SQUARES = {
    "frame_length_m": 1.2,
    "frame_width_m": 1.2,
    "spacing_m": 3.6,
    "row_spacing_m": 3.6,
    "margin_m": 1.2,
    "board_m": 0.3,
}
ON_SHEET = {"ground_cover": "black-plastic"}


def test_a_sheet_with_squares_by_hand(beds: Callable[..., BedPlan]) -> None:
    """Ten by seven squares on 36 by 27 m (1.2 + 9 * 3.6 = 33.6 and 1.2 + 6 * 3.6 = 22.8 m, and both margins).

    27.3 m across: 27.25 - 0.15 over 11.85 is three strips of 12 m, 36.3 m long.  A square of 1.2 m has four staples to
    a side, 16; its rim is 2 * (36.3 + 27.3) = 127.2 m.
    """
    laid = beds(**SQUARES, edges="boards", mulch_m=0.1, where=ON_SHEET)
    assert laid.layout.frames == 70
    assert laid.covering == "everywhere"
    assert quantity(laid, "black sheet, 12 m wide") == 109
    assert quantity(laid, "ground staples") == 73  # two overlaps of 36.3 m, one every metre
    assert quantity(laid, "boards for the edges, 2.4 m long") == 53
    assert quantity(laid, "squares to cut") == 70
    assert quantity(laid, "staples for what is folded up") == 70 * 16
    assert quantity(laid, "stones between the frames") == 70
    assert quantity(laid, "screws") == 70 * 8
    assert quantity(laid, "boards 30 cm high") == 140  # two pieces of 1.2 m from each
    # 70 * (1.44 - 0.09) m2, 0.1 m deep, is 9.45 m3; a bale makes 12.7 ft3, 0.36.
    assert quantity(laid, "small bales of straw") == 27
    assert quantity(laid, "planting holes") == 70
    assert not [each for each in laid.items if each.item == "posts" or "10 cm across" in each.why]
    rolled = beds(**SQUARES, edges="rolled", where=ON_SHEET)
    assert quantity(rolled, "black sheet, 12 m wide") == 110  # 36.6 m a strip
    assert any("edges rolled" in each.why for each in rolled.items)


@pytest.mark.parametrize("ground_cover", ["bare", "straw"])
def test_frames_on_the_ground_are_another_list(beds: Callable[..., BedPlan], ground_cover: str) -> None:
    """Posts, and nothing to cut, fold up or weigh down."""
    laid = beds(**SQUARES, where={"ground_cover": ground_cover})
    assert laid.squares is None
    assert bed_words.squares(laid) == []
    assert quantity(laid, "posts") == 70 * 4
    assert not [each for each in laid.items if any(word in each.item for word in ("staples", "stones", "screws"))]


@pytest.mark.parametrize("kind", ["leaf-mould", "wood-chips", "clippings"])
def test_a_mulch_in_squares_by_its_kind(beds: Callable[..., BedPlan], kind: str) -> None:
    """9.45 m3 settled are 11.9 m3 loose; clippings bring a caution."""
    laid = beds(**SQUARES, mulch_m=0.1, mulch=kind, where=ON_SHEET)
    assert quantity(laid, kind.replace("-", " ")) == 12
    assert any("Clippings from a lawn" in said for said in bed_words.cautions(laid)) is (kind == "clippings")
    assert any("old paint" in said for said in bed_words.cautions(laid))


def test_layers_in_a_square(beds: Callable[..., BedPlan]) -> None:
    """Manure and mulch in order, with what they come to, and whether the boards hold them."""
    heap = AmendmentEntry(material="cattle-manure", depth_m=0.12, where="beds", worked_in=False)
    laid = beds(**SQUARES, mulch_m=0.1, amendments=(heap,), where=ON_SHEET)
    assert laid.squares is not None
    assert laid.squares.layers == (("cattle manure", pytest.approx(0.12)), ("straw", 0.1))
    assert not laid.squares.heaped
    assert bed_words.squares(laid)[0] == (
        "In each, from the soil up: 12 cm of cattle manure, then 10 cm of straw; 22 cm in boards of 30 cm."
    )
    low = beds(**(SQUARES | {"board_m": 0.2}), mulch_m=0.1, amendments=(heap,), where=ON_SHEET)
    assert "which stand 2 cm above them" in bed_words.squares(low)[0]
    with pytest.raises(
        FieldFileError, match=r"mulch = 25 cm .* is deeper than the frame, whose boards are 20 cm \(8 in\)"
    ):
        beds(**(SQUARES | {"board_m": 0.2}), mulch_m=0.25, where=ON_SHEET)
    (entry,) = bed_data.document([laid], ON)["fields"]
    assert entry["squares"]["depth_m"] == pytest.approx(0.22)
    machine.dump(entry)
    # 70 squares of 1.44 m2, 0.12 m deep, are 12.1 m3 settled, 15.12 loose.
    assert quantity(laid, "cattle manure") == 16


def test_manure_on_top_hears_what_would_do(beds: Callable[..., BedPlan]) -> None:
    """No number of days meets the rule; worked in by a day, or a compost with its record, does."""
    heap = AmendmentEntry(material="cattle-manure", depth_m=0.12, where="beds", worked_in=False)
    laid = beds(**SQUARES, amendments=(heap,), where=ON_SHEET)
    kept = laid.intervals[0]
    assert (kept.kind, kept.allowed) == ("on-top", False)
    assert kept.worked_in_by == laid.after.harvest - np.timedelta64(120, "D")
    said = bed_words.interval(laid, kept)
    assert "laid on top it fits none of its exceptions" in said
    assert f"Work it in by {phrases.day_month(kept.worked_in_by)}, or take compost whose record passes" in said


def test_how_thin_a_layer_is_enough(beds: Callable[..., BedPlan]) -> None:
    """With that share of the dose the likely balance comes out even, and the page says how thin it is."""
    heap = AmendmentEntry(material="cattle-manure", depth_m=0.12, where="beds")
    tables = {**SQUARES, "frame_length_m": 2.4, "frame_width_m": 2.4, "where": ON_SHEET}
    laid = beds(**tables, amendments=(heap,))
    share = nutrients.enough(laid.doses[0], laid.nitrogen)
    assert share is not None
    assert 0 < share < 1
    thin = beds(**tables, amendments=(replace(heap, depth_m=share * 0.12),))
    assert thin.nitrogen is not None
    assert thin.nitrogen.missing[1] == pytest.approx(0, abs=1e-9)
    assert re.search(r"For the crop \d+% of it is enough, a layer of [\d.]+ cm\.", bed_words.layer(laid, laid.doses[0]))
    assert nutrients.enough(thin.doses[0], thin.nitrogen) == pytest.approx(1)
    assert nutrients.enough(laid.doses[0], None) is None


def test_nitrogen_is_counted_once(beds: Callable[..., BedPlan]) -> None:
    """What was spread before the cover was sown is in the cover; on the day itself, and later, it is beside it."""
    sown = beds().plan.field.cover.sown
    days = (sown - dt.timedelta(1), sown)
    before, after = (
        beds(amendments=(AmendmentEntry(material="cattle-manure", depth_m=0.02, where="field", applied=day),))
        for day in days
    )
    assert before.doses[0].in_cover
    assert not after.doses[0].in_cover
    assert before.nitrogen is not None
    assert after.nitrogen is not None
    assert before.nitrogen.amendments == 0
    assert after.nitrogen.amendments == pytest.approx(after.doses[0].on_vines)
    assert any("counted there" in why for _, _, why in bed_words.nitrogen_rows(before))
    assert nutrients.enough(before.doses[0], before.nitrogen) is None


def test_the_sheet_and_the_next_cover(beds: Callable[..., BedPlan]) -> None:
    """A sheet left lying means no cover; lifted in time, the day is that of the sowing."""
    laid = beds(**SQUARES, where=ON_SHEET)
    day = phrases.day_month(laid.after.sowing, 2026)
    assert any("Sheet left lying: no cover" in said and f"before {day}" in said for said in bed_words.after(laid))
    assert not any("Sheet left lying" in said for said in bed_words.after(beds()))
    for choice, words in (("leave", "leave healthy vines on"), ("take", "take the vines"), (None, "or compost them")):
        said = bed_words.after(beds(**SQUARES, where=ON_SHEET, soil=SoilEntry(after_harvest=choice)))
        assert any(each.startswith("Cut the vines at the ground") and words in each for each in said)
        assert not any("mix" in each for each in said)


def test_an_open_square_warms_as_bare_ground_does() -> None:
    """Neither as under the sheet around it, nor, before the mulch is laid, as under straw; what that costs is said."""
    record = weather()

    def planned(ground_cover: str, **tables: object) -> Plan:
        field = replace(invented_field(ground_cover=ground_cover), beds=BedsEntry(**tables))
        return make_plan(field, record, ON)

    bare, straw, sheet = (planned(each) for each in ("bare", "straw", "black-plastic"))
    square, mulched = planned("black-plastic", **SQUARES), planned("black-plastic", **SQUARES, mulch_m=0.1)
    assert (
        square.planting.limits["soil_warm"] == mulched.planting.limits["soil_warm"] == bare.planting.limits["soil_warm"]
    )
    assert sheet.planting.limits["soil_warm"].median < bare.planting.limits["soil_warm"].median
    assert bare.ground.mulch_costs is straw.ground.mulch_costs is square.ground.mulch_costs is None
    late = (straw.planting.earliest.median - bare.planting.earliest.median).astype(int)
    assert late > 0
    assert abs(mulched.ground.mulch_costs - late) <= 1
    said = " ".join(answer.reasons(mulched))
    assert f"laid with the ending of the cover it puts planting off by some {mulched.ground.mulch_costs} day" in said
    assert "Lay the mulch" not in " ".join(answer.reasons(square))
    assert "in squares of a black sheet" in answer.what_is_where(square)
    assert machine.field(mulched)["mulch_laid_early_costs_days"] == mulched.ground.mulch_costs
    assert "mulch_laid_early_costs_days" not in machine.field(square)
    assert any("open square in a sheet" in each for each in square.provenance.assumptions)
    assert not any("open square in a sheet" in each for each in sheet.provenance.assumptions)


def test_seeds_of_a_crop_that_is_set_out_are_refused(tmp_path: Path) -> None:
    """No key is dropped without a word."""
    with pytest.raises(FieldFileError, match="seeds = 4: the crop is set out as plants"):
        read(tmp_path, "[field.beds]\nseeds = 4", f'{PLOT}method = "transplant"\n')


# --- what is decided of it, and what it lacks -----------------------------------------------------


def test_a_layer_is_too_rich_beyond_the_most_that_is_needed(beds: Callable[..., BedPlan]) -> None:
    """More than the top of the need where it lies; never over the whole field, nor where the need is not known."""
    laid = beds(amendments=(AmendmentEntry(material="cattle-manure", depth_m=0.12, where="spots"),))
    (dose,), balance = laid.doses, laid.nitrogen
    assert balance is not None
    assert nutrients.is_too_rich(dose, balance)
    enough = replace(balance, need=(0.0, 0.0, dose.on_bed))
    assert not nutrients.is_too_rich(dose, enough)
    assert not nutrients.is_too_rich(replace(dose, entry=replace(dose.entry, where="field")), balance)
    assert not nutrients.is_too_rich(dose, None)


@pytest.mark.parametrize(
    ("missing", "leans"), [((0.0, 5.0, 9.0), "short"), ((-9.0, -5.0, 0.0), "over"), ((-1.0, 0.0, 1.0), None)]
)
def test_on_which_side_a_balance_lies(
    beds: Callable[..., BedPlan], missing: tuple[float, float, float], leans: str | None
) -> None:
    """Only where its whole range lies there."""
    balance = beds().nitrogen
    assert balance is not None
    assert replace(balance, missing=missing).leans == leans


@pytest.mark.parametrize(("on_beds", "uneven"), [(10.5, False), (10.51, True)])
def test_phosphorus_that_lies_unevenly(beds: Callable[..., BedPlan], on_beds: float, uneven: bool) -> None:
    """A twentieth more where it lies thickest is worth saying, and less is not."""
    load = beds(amendments=(AmendmentEntry(material="cattle-manure", depth_m=0.01),)).phosphorus
    assert load is not None
    assert replace(load, brought=10.0, on_beds=on_beds).uneven is uneven


def test_a_crop_in_the_way_of_the_next_cover(beds: Callable[..., BedPlan]) -> None:
    """A harvest after the day of sowing, not on it, and not one that is not known."""
    turn = beds().after
    assert replace(turn, harvest=turn.sowing + np.timedelta64(1, "D")).in_the_way
    assert not replace(turn, harvest=turn.sowing).in_the_way
    assert not replace(turn, harvest=np.datetime64("NaT", "D")).in_the_way


def test_what_beds_lack_says_why(beds: Callable[..., BedPlan]) -> None:
    """No call for it, not known, or no day that is reached: each null of the document has its reason."""
    laid = beds()
    assert "planting" not in laid.absent
    assert laid.absent["phosphorus"] == absent.NOT_NEEDED
    never = np.datetime64("NaT", "D")
    late = replace(laid, planting=never, thinning=never, nitrogen=None)
    assert late.absent["planting"] == late.absent["thinning"] == absent.PAST
    assert late.absent["nitrogen"] == absent.NOT_KNOWN
    assert replace(laid, thinning=never).absent["thinning"] == absent.NOT_NEEDED
    nowhere = replace(laid.plan.planting, earliest=DateRange(early=never, median=never, late=never))
    assert replace(late, plan=replace(laid.plan, planting=nowhere)).absent["planting"] == absent.NOT_REACHED
