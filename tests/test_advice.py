"""What goes with every answer: cautions, assumptions and sources, those that concern it and no others."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from invented import field

from covercrop.field.entries import ScoutingNote
from covercrop.parameters import catalogue
from covercrop.parameters.traits import label
from covercrop.season import advice

CRIMSON, VETCH = catalogue.cover("crimson-clover"), catalogue.cover("hairy-vetch")
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
