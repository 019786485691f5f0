"""The drawings of the stages, and the sheet of notes to fill in."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from invented import field, weather

from covercrop.parameters import catalogue
from covercrop.parameters.traits import INFLORESCENCES
from covercrop.render.figures.stages import _OPEN, stage_drawing
from covercrop.render.page import pocket, report
from covercrop.render.words.stages import STAGES
from covercrop.season.plan import make_plan


def open_parts(drawing: ElementTree.Element) -> int:
    """How many pieces are drawn as open petals."""
    return sum(each.attrib.get("fill") == _OPEN for each in drawing.iter())


@pytest.mark.parametrize("form", INFLORESCENCES)
def test_what_is_drawn_is_the_stage(form: str) -> None:
    """Nothing is open in bud or over pods, little at first, and of four plants one or two at 25% and 50%."""
    drawn = {name: ElementTree.fromstring(stage_drawing(form, name, f"x-{name}")) for name in STAGES}
    assert open_parts(drawn["bud"]) == open_parts(drawn["pods"]) == 0
    assert open_parts(drawn["first"]) > 0
    for name, flowering in (("quarter", 1), ("half", 2)):
        plants = [each for each in drawn[name] if each.tag.endswith("}g")]
        assert len(plants) == 4
        assert sum(open_parts(plant) > 0 for plant in plants) == flowering
        assert STAGES[name].plants.count("*") * 4 == flowering * len(STAGES[name].plants.split())
    assert not any("style" in each.attrib for root in drawn.values() for each in root.iter())
    for name, root in drawn.items():
        assert root.attrib["aria-labelledby"] == f"x-{name}-title x-{name}-told"
        assert root[1].text == STAGES[name].told[form]


def test_clovers_have_heads() -> None:
    """Of the covers that are known, the clovers bloom in heads and all others in racemes."""
    heads = {cover.key for cover in catalogue.covers() if cover.inflorescence == "head"}
    assert heads == {cover.key for cover in catalogue.covers() if "clover" in cover.common_name}


def test_the_sheet_of_notes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked for, the page ends with drawings for each form among its covers and with blanks; else they are folded."""
    monkeypatch.setattr(report, "_chart", lambda *_, **__: None)  # none of them is looked at
    record = weather()
    clover, vetch = (
        make_plan(field(species), record, np.datetime64("2026-04-20")) for species in ("crimson-clover", "hairy-vetch")
    )
    asked = report.page([clover], clover.on, notes=True)
    blanks = asked[asked.index('<table class="blanks') :]
    assert "soil, 7.5 cm deep" in blanks
    assert blanks.count("<tr><td>") == pocket.BLANKS
    assert asked.count('class="stages"') == 1
    assert all(stage.told["head"] in asked for stage in STAGES.values())
    folded = report.page([clover, vetch, clover], clover.on)
    assert '<table class="blanks' not in folded
    assert folded.count('class="stages"') == 2
    assert folded.index("<details>") < folded.index('class="stages"')


def test_scout_shows_them(run, tmp_path: Path, demo_dir: Path) -> None:
    """`scout --stages` tells each stage and how it is typed, writes nothing, and stands alone."""
    fields = demo_dir / "fields.toml"
    before = fields.read_bytes()
    status, out, _ = run("scout", fields, "Chapel bench", "--stages")
    assert status == 0
    assert all(stage.title in out and stage.typed in out and stage.plants in out for stage in STAGES.values())
    told = json.loads(run("scout", fields, "Chapel bench", "--stages", "--json")[1])
    assert (told["inflorescence"], len(told["stages"])) == ("raceme", len(STAGES))
    assert "stand alone" in run("scout", fields, "Chapel bench", "--stages", "--bloom", 5)[2]
    assert fields.read_bytes() == before
