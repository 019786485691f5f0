"""What goes with every answer: cautions, assumptions and sources, those that concern it and no others."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from invented import field

from covercrop.field.entries import Field, ScoutingNote
from covercrop.models import cereal, mixture
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.parameters.traits import label
from covercrop.season import advice

CRIMSON, VETCH = catalogue.cover("crimson-clover"), catalogue.cover("hairy-vetch")
RYE = companion("cereal-rye")
SQUASH, CORN = catalogue.crop("summer-squash"), catalogue.crop("sweet-corn")

#: What the output repeats with its reason, or with the crop model that set it.
UNMEASURED = ("assumed", "model-setting")


def test_raw_manure_keeps_the_days_of_the_rule() -> None:
    """A hundred and twenty days before what lies on the soil, ninety before what does not (7 CFR 205.203(c)(1))."""
    for touches, days, other in ((True, "at least 120 days", "90 days"), (False, "at least 90 days", "120 days")):
        text = " ".join(advice.cautions(field(), CRIMSON, replace(SQUASH, touches_soil=touches)))
        assert days in text
        assert other not in text


def test_a_tarp_has_a_caution_of_its_own() -> None:
    """And no other way has it."""
    assert advice.TARP in advice.cautions(field(terminate="tarp"), CRIMSON, SQUASH)
    for way in ("turn-under", "mow", "roll"):
        assert advice.TARP not in advice.cautions(field(terminate=way), CRIMSON, SQUASH)


def test_cautions_of_the_cover_and_crop_come_first() -> None:
    """Then those of every answer, each once."""
    found = advice.cautions(field(), VETCH, SQUASH)
    own = (*VETCH.cautions, *SQUASH.cautions)
    assert found[: len(own)] == own
    assert {advice.ADVICE_FIRST, advice.BARE_SOIL, advice.INSURED, advice.TREATED_SEED} <= set(found)
    assert len(set(found)) == len(found)


def test_assumptions_are_those_of_the_cover_the_crop_and_the_way() -> None:
    """Every value that no source gives, with its reason, but for what belongs to other cultivars, sowing and beds.

    What a crop model's file sets is among them, called that.
    """
    found = advice.assumptions(field(), CRIMSON, CORN)
    elsewhere = ("cultivars", "sowing", "planting", "nitrogen_need")
    for subject in (CRIMSON, CORN):
        name = subject.common_name.capitalize()
        for path, value in catalogue.cited_values(subject):
            said = any(
                text.startswith(f"{name}, {label(path)}, {value.printed}: ") and value.doubt in text for text in found
            )
            if value.basis in UNMEASURED and not path.startswith(elsewhere):
                assert said, path
            elif path.startswith(elsewhere):
                assert not said, path
    measured = [text for text in found if text.startswith(CRIMSON.common_name.capitalize())]
    assumed = [
        path
        for path, value in catalogue.cited_values(CRIMSON)
        if value.basis in UNMEASURED and not path.startswith(elsewhere)
    ]
    assert len(measured) == len(assumed)
    assert any("a crop model's setting, no measurement (dssat_residue: " in text for text in measured)


def test_assumptions_of_measurements_and_ways_come_with_them() -> None:
    """A thermometer, and a tarp."""
    plain = set(advice.assumptions(field(), CRIMSON, CORN))
    note = ScoutingNote(date=field().cover.sown + dt.timedelta(days=30), soil_c=9.0)
    with_note = set(advice.assumptions(field(scouting=(note,)), CRIMSON, CORN))
    assert len(with_note - plain) == 1
    assert plain < with_note
    under_tarp = set(advice.assumptions(field(terminate="tarp"), CRIMSON, CORN))
    assert any("tarp" in text for text in under_tarp - plain)
    assert plain < under_tarp


def mixed(share: tuple[float, float] | None = None, scouting: tuple[ScoutingNote, ...] = ()) -> Field:
    """Crimson clover with rye, whose share somebody has entered, noted, or nobody has judged."""
    plain = field()
    cover = replace(plain.cover, companion="cereal-rye", legume_percent=share)
    return replace(plain, cover=cover, scouting=scouting)


def test_a_cereal_brings_its_own_cautions_and_values() -> None:
    """Between those of the cover and of the crop; and every value of it that no source gives."""
    alone, beside = (advice.cautions(each, CRIMSON, SQUASH) for each in (field(), mixed()))
    first = len(CRIMSON.cautions)
    assert beside == (*alone[:first], *RYE.cautions, *alone[first:])
    assert RYE.cautions
    found = advice.assumptions(mixed(), CRIMSON, SQUASH)
    assumed = [
        path
        for path, value in catalogue.cited_values(RYE)
        if value.basis in UNMEASURED and not path.startswith(("cultivars", "sowing", "planting", "nitrogen_need"))
    ]
    assert assumed
    for path in assumed:
        assert any(text.startswith(f"Cereal rye, {label(path)}, ") for text in found), path
    assert sum(text.startswith("Cereal rye, ") for text in found) == len(assumed)
    assert set(mixture.ASSUMPTIONS) <= set(found)
    assert not set(mixture.ASSUMPTIONS) & set(advice.assumptions(field(), CRIMSON, SQUASH))


def test_that_the_share_is_assumed_is_said_where_nobody_has_judged_it() -> None:
    """Neither in the field file nor on a visit; a visit that judged something else does not count."""
    seen = ScoutingNote(date=dt.date(2026, 3, 1), bbch=30)
    judged = ScoutingNote(date=dt.date(2026, 3, 8), legume_percent=40)
    for each, said in (
        (mixed(), True),
        (mixed(scouting=(seen,)), True),
        (mixed(share=(20.0, 40.0)), False),
        (mixed(scouting=(seen, judged)), False),
        (field(), False),
    ):
        assert (mixture.SHARE_ASSUMED in advice.assumptions(each, CRIMSON, SQUASH)) is said


def test_a_mixture_rests_on_more_sources() -> None:
    """Those of the legume first, each once, and all of them are there."""
    alone, beside = (advice.sources(each, CRIMSON, SQUASH) for each in (field(), mixed()))
    assert beside[: len(alone)] == alone
    assert len(set(beside)) == len(beside)
    wanted = {RYE.bloom.offset.source, RYE.wait.small_seed.source, *cereal.SOURCES, *mixture.SOURCES}
    assert wanted | {"mirsky2009", "ashford2003", "msu_rye_boot", "uc_cereal_latest"} <= set(beside)
    assert all(catalogue.source(each).key == each for each in beside)


@pytest.mark.parametrize(
    ("way", "said"),
    [
        ("turn-under", advice.BARE_SOIL),
        ("roll", advice.CUTTING),
        ("mow", advice.CUTTING),
        ("tarp", advice.TARP),
    ],
)
def test_each_way_of_ending_has_its_caution(way: str, said: str) -> None:
    """And no other: bare soil, a working machine, and what runs off a sheet."""
    found = advice.cautions(field(terminate=way), CRIMSON, SQUASH)
    assert {each for each in found if each in advice.OF_WAY.values()} == {said}


def test_open_squares_in_a_sheet_are_an_assumption_of_their_own() -> None:
    """Where the crop is planted into them."""
    plain = field(ground_cover="black-plastic")
    squares = replace(plain, beds=replace(plain.beds, frames=4))
    assert squares.in_squares
    assert advice.SQUARES in advice.assumptions(squares, CRIMSON, SQUASH)
    assert advice.SQUARES not in advice.assumptions(plain, CRIMSON, SQUASH)


def test_scatter_of_notes_is_told_as_it_is_used() -> None:
    """Four days between two people."""
    assert any("differ by about 4 days" in text for text in advice.assumptions(field(), CRIMSON, CORN))


@pytest.mark.parametrize(("way", "key"), [("tarp", "strader2019"), ("roll", "mischler2010"), ("mow", "clark2007")])
def test_sources_are_listed_once_and_exist(way: str, key: str) -> None:
    """Those of the cover and crop first, that of the way among them, then those of the methods."""
    found = advice.sources(field(terminate=way), CRIMSON, SQUASH)
    assert key in found
    assert found == advice.sources_of(way, CRIMSON, SQUASH)
    assert len(set(found)) == len(found)
    assert set(advice.METHOD_SOURCES) <= set(found)
    assert all(catalogue.source(each).key == each for each in found)
    assert CRIMSON.bloom.requirement.source in found or CRIMSON.bloom.requirement.basis == "assumed"
    assert "" not in found


def test_what_concerns_the_sowing_alone() -> None:
    """Of the general cautions the three that do; the assumed and the cited values of the sowing; the hard frost."""
    found = advice.sowing_cautions(VETCH)
    assert found == (*VETCH.cautions, advice.ADVICE_FIRST, advice.INSURED, advice.TREATED_SEED)
    sowing = [(path, value) for path, value in catalogue.cited_values(VETCH) if path.startswith("sowing")]
    assert sowing
    assumed = advice.sowing_assumptions(VETCH)
    assert len(assumed) == sum(value.basis == "assumed" for _, value in sowing)
    assert all(text.startswith("Hairy vetch, ") for text in assumed)
    sources = advice.sowing_sources(VETCH)
    assert sources[-1] == "phillips2014"
    assert set(sources) == {value.source for _, value in sowing if value.source} | {"phillips2014"}


def test_a_source_in_one_line() -> None:
    """Its DOI before its address, what was seen of it in brackets, and one full stop."""
    source = replace(
        catalogue.source("phillips2014"),
        authors="A. Grower",
        year=1999,
        title="On clover",
        container="Journal 1",
        doi="10.1/x",
        url="https://example.org",
        note="abstract seen.",
    )
    assert advice.reference(source) == "A. Grower (1999). On clover. Journal 1. doi:10.1/x. [abstract seen]"
    bare = replace(source, doi="", note="", container="")
    assert advice.reference(bare) == "A. Grower (1999). On clover. https://example.org."
    assert advice.reference(replace(bare, url="")) == "A. Grower (1999). On clover."
