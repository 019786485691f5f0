"""Each answer in one system of units: no metric amount is left in US units, in assumptions and reasons neither."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

import covercrop
from covercrop.autumn import comparison
from covercrop.base.one_system import one_system
from covercrop.beds import layout, materials, nutrients, spreading
from covercrop.cli.main import main
from covercrop.parameters import catalogue
from covercrop.parameters.constants import MODELS
from covercrop.season import advice

METRIC = re.compile(
    r"degC|degF|°C|\b[Kk]elvin|\d K\b|\bkg\b|kg/|\d (?:mm|cm|km|m|g|t|ha)\b|\beach mm\b|m²|m³|\bm[23]\b|\blit(?:re|er)|"
    r"\bmet(?:re|er)s?\b|hectare|tonne"
)


@pytest.mark.parametrize(
    ("sentence", "us", "metric"),
    [
        ("below 10 degC", "below 50 °F", "below 10 °C"),
        ("0 degC: the base", "32 °F: the base", "0 °C: the base"),
        ("-9.0 degC", "16 °F", "-9.0 °C"),
        ("from -4 to 2 degC", "from 25 to 36 °F", "from -4 to 2 °C"),
        ("460 degC d above 0, 17 degC or 63 degF", "828 °F d above 32 °F, 63 °F", "460 °C d above 0 °C, 17 °C"),
        ("2 degC (4 degF) below", "4 °F below", "2 °C below"),
        ("scatter 1.5 K", "scatter 2.7 °F", "scatter 1.5 °C"),
        ("4.5 mm of water a day for each kelvin", "0.18 in of water a day for each 1.8 °F", None),
        ("529.0 kg/ha per 100 degC d", "472 lb/acre per 180 °F d", "529.0 kg/ha per 100 °C d"),
        ("80 litres (3 cubic feet)", "3 cubic feet", "80 litres"),
        ("7 m2 to 5 cm (76 square feet, two inches deep)", "76 square feet, two inches deep", "7 m² to 5 cm"),
        ("0.5 t/m3", "840 lb/yd³", "0.5 t/m³"),
        ("20 days, 3 a week; 7 CFR 205.203", "20 days, 3 a week; 7 CFR 205.203", "20 days, 3 a week; 7 CFR 205.203"),
        ("45 degF", "45 °F", "45 °F"),
        ("186 to 341 degC d above 0, taken as 140 above this base", None, None),
    ],
)
def test_a_sentence_in_each_system(sentence: str, us: str | None, metric: str | None) -> None:
    """By hand; where both stand in a sentence, that of the system is kept."""
    if us is not None:
        assert one_system(sentence, us=True) == us
    if metric is not None:
        assert one_system(sentence, us=False) == metric
    assert not METRIC.search(one_system(sentence, us=True))


def _texts(found: object, inside: set[str]) -> set[str]:
    """All texts of a record, a reason with the number that it is for."""
    if isinstance(found, str):
        inside.add(found)
    elif hasattr(found, "doubt"):
        if found.doubt:
            inside.add(f"{found.printed}: {found.doubt}")
    elif is_dataclass(found):
        for each in fields(found):
            _texts(getattr(found, each.name), inside)
    elif isinstance(found, dict):
        _texts(tuple(found.values()), inside)
    elif isinstance(found, tuple):
        for each in found:
            _texts(each, inside)
    return inside


def test_no_reason_keeps_a_metric_amount() -> None:
    """Of every cover, crop, manure and constant, and every assumption of a model: hundreds of sentences."""
    texts: set[str] = set()
    heaps = [catalogue.material(name) for name in catalogue.material_names()]
    for records in (covercrop.covers(), covercrop.crops(), heaps):
        _texts(tuple(records), texts)
    _texts(MODELS, texts)
    for module in (layout, materials, nutrients, spreading, comparison, advice):
        _texts(getattr(module, "ASSUMPTIONS", ()), texts)
    kept = [told for told in (one_system(text, us=True) for text in texts) if METRIC.search(told)]
    assert len(texts) > 500
    assert kept == []


@pytest.mark.parametrize(
    "arguments",
    [
        ("ready", "--full", "--on", "2026-05-12"),
        ("ready", "demo:squares", "--full"),
        ("compare", "--field", "Ford meadow"),
        ("beds", "demo:squares", "--full"),
        ("sow", "--full", "--cover", "hairy-vetch", "--field", "Chapel bench"),
        ("weather",),
        ("calibrate",),
    ],
    ids=" ".join,
)
def test_no_command_shows_a_metric_amount(arguments: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """All that a screen shows in US units, read as one text."""
    assert main([*arguments, "--units", "us"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert len(shown) > 200
    assert [shown[max(found.start() - 40, 0) : found.end() + 20] for found in METRIC.finditer(shown)] == []


def test_the_page_shows_no_metric_amount(tmp_path: Path) -> None:
    """The report in US units, with all that can be added to it; its drawings say what they measure in feet."""
    page = tmp_path / "page.html"
    more = ("--with", "materials", "--with", "cautions", "--field", "Ford meadow", "--on", "2026-05-12")
    assert main(["report", "-o", str(page), "--units", "us", *more]) == 0
    text = re.sub(r"<style.*?</style>|<svg.*?</svg>|<[^>]+>", " ", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert [text[max(found.start() - 40, 0) : found.end() + 20] for found in METRIC.finditer(text)] == []
