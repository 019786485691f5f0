"""`covercrop sow` from end to end: screens, documents, and what cannot be answered."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

import jsonschema
import pytest

Run = Callable[..., tuple[int, str, str]]

pytestmark = pytest.mark.usefixtures("autumns_once")


@pytest.fixture
def run(run: Run) -> Run:
    """`covercrop sow`, as any command is run."""
    return partial(run, "sow")


@pytest.fixture
def own(own: Callable[..., Path]) -> Callable[..., Path]:
    """The same with the first field alone."""

    def copy(*replacements: tuple[str, str]) -> Path:
        path = own(*replacements)
        head, first, *_ = path.read_text(encoding="utf-8").split("[[field]]")
        path.write_text(f"{head}[[field]]{first}", encoding="utf-8")
        return path

    return copy


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("sow.txt", ["--cover", "crimson-clover", "hairy-vetch", "winter-pea"]),
        ("sow_us.txt", ["--cover", "hairy-vetch", "--plant-by", "2027-06-15", "--units", "us", "--full"]),
        ("sow_none.txt", ["--cover", "winter-pea", "common-vetch", "--alive", "95%"]),
    ],
)
def test_screens(run: Run, golden: Callable[[str, str], None], name: str, arguments: list[str]) -> None:
    """Each screen is the recorded one, fits 80 columns, and leaves no blanks at the ends of lines."""
    status, screen, messages = run(*arguments)
    assert (status, messages) == (0, "")
    golden(name, screen)
    for line in screen.splitlines():
        assert len(line) <= 80
        assert line == line.rstrip()


def test_a_span_of_two_months_is_not_broken(run: Run, own: Callable[..., Path]) -> None:
    """With all covers at 80 columns, the days to sow stand on one line."""
    _, screen, _ = run(own(), "--from", "2026-08-15", "--to", "2026-10-20")
    table = screen[screen.index("  cover ") : screen.index("  covered: ")]
    assert "15 Aug - 29 Sep" in table
    assert all(len(line) <= 80 for line in screen.splitlines())


def test_all_covers_by_default(run: Run) -> None:
    """Twelve covers and a strip for each, in ASCII where the output holds no more."""
    _, screen, _ = run()
    for name in ("berseem clover", "blue lupin", "woollypod vetch"):
        assert screen.count(f"  {name}") >= 2 * 3


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_plain_output_gets_plain_characters(encoding: str, own: Callable[..., Path]) -> None:
    """Where blocks cannot be shown the height of the odds is drawn in ASCII."""
    from rich.console import Console

    from covercrop.autumn.comparison import compare_sowing_dates
    from covercrop.field.file import read_fields
    from covercrop.field.weather_source import field_weather
    from covercrop.render.screen import sowing
    from covercrop.render.screen.terminal import Screen

    file = read_fields(own())
    assert file.today is not None
    plot = file.fields[0]
    import numpy as np

    answer = compare_sowing_dates(
        plot, field_weather(plot, file.today), np.datetime64(file.today), covers=("hairy-vetch",)
    )
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding=encoding, newline="\n")
    sowing.sow(Screen(Console(file=out, width=80, highlight=False)), [answer], title="Test")
    out.flush()
    text = raw.getvalue().decode("ascii")
    strip = next(line for line in text.splitlines() if line.startswith("  hairy vetch          ") and "#" in line)
    assert set(strip.split("hairy vetch")[1].strip()) <= set(".:-=+*#@")


# --- documents ------------------------------------------------------------------------------------

DATE = {"type": ["string", "null"], "format": "date"}
DAY = {"type": "string", "format": "date"}
SHARE = {"type": "number", "minimum": 0, "maximum": 1}
AMOUNT = {"type": ["number", "null"], "minimum": 0}
TEXTS = {"type": "array", "items": {"type": "string", "minLength": 1}}
FAILURE = {
    "type": ["object", "null"],
    "properties": {
        "limit": {"enum": ["established", "survives", "plantable"]},
        "sown": DAY,
        "p": SHARE,
        "words": {"type": "string"},
    },
    "required": ["limit", "sown", "p", "words"],
    "additionalProperties": False,
}
ROW = {
    "type": "object",
    "properties": {
        "sown": DAY,
        **dict.fromkeys(("p_established", "p_survives", "p_plantable", "p_together", "p_window"), SHARE),
        **dict.fromkeys(("turn_under", "window_open", "earliest_planting"), DATE),
        **dict.fromkeys(("dry_matter_kg_ha", "n_kg_ha", "pan_kg_ha"), AMOUNT),
    },
    "additionalProperties": False,
}
ROW["required"] = list(ROW["properties"])
FLAG = {"type": "boolean"}
DOCUMENT = {
    "type": "object",
    "required": ["schema", "on", "fields"],
    "properties": {
        "schema": {"const": 1},
        "on": DAY,
        "fields": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": [
                    "name", "from", "to", "plant_by", "rain_known", "water_seed_in", "snow_matters", "covers", "relax",
                    "notes", "cautions", "sources",
                ],
                "properties": {
                    "from": DAY,
                    "to": DAY,
                    "first_hard_frost": DATE,
                    **dict.fromkeys(("rain_known", "water_seed_in", "snow_matters"), FLAG),
                    "relax": {"type": "array", "items": {"required": ["too_late"], "properties": {"too_late": FLAG}}},
                    "notes": TEXTS,
                    "cautions": TEXTS,
                    "sources": TEXTS,
                    "covers": {
                        "type": "array",
                        "minItems": 1,
                        "items": {
                            "type": "object",
                            "required": [
                                "species", "cultivar", "sow_from", "sow_to", "best", "fits", "too_late",
                                "best_is_past", "poor", "fails_first", "rows", "seed",
                            ],
                            "properties": {
                                "sow_from": DATE,
                                "sow_to": DATE,
                                "best": DATE,
                                **dict.fromkeys(("fits", "too_late", "best_is_past", "poor"), FLAG),
                                "fails_first": {
                                    "type": "object",
                                    "required": ["before", "after"],
                                    "properties": {"before": FAILURE, "after": FAILURE},
                                    "additionalProperties": False,
                                },
                                "rows": {"type": "array", "minItems": 1, "items": ROW},
                            },
                        },
                    },
                },
            },
        },
    },
}  # fmt: skip


@pytest.mark.parametrize("arguments", [[], ["--cover", "blue-lupin"], ["--from", "2026-09-10", "--to", "2026-09-10"]])
def test_json_keeps_to_its_schema(run: Run, arguments: list[str]) -> None:
    """Every key of the contract, ISO dates, null for what is not there; the first cover is that of the headline."""
    status, printed, messages = run("--json", *arguments)
    assert (status, messages) == (0, "")
    document = json.loads(printed)
    jsonschema.validate(document, DOCUMENT, format_checker=jsonschema.FormatChecker())
    assert document["on"] == "2026-04-20"
    _, screen, _ = run(*arguments)
    for field in document["fields"]:
        rows = [len(cover["rows"]) for cover in field["covers"]]
        assert len(set(rows)) == 1
        fit = field["covers"][0]["best"]
        said = f"{field['name']}: sow {field['covers'][0]['species'].replace('-', ' ')}"
        assert (said in screen) == (fit is not None)


def test_csv_is_the_rows_of_the_document(run: Run) -> None:
    """A line for each field, cover and date, with the numbers of the JSON document."""
    _, text, _ = run("--csv", "--cover", "hairy-vetch", "red-clover")
    _, printed, _ = run("--json", "--cover", "hairy-vetch", "red-clover")
    table = list(csv.DictReader(io.StringIO(text)))
    rows = [
        (field["name"], cover["species"], row)
        for field in json.loads(printed)["fields"]
        for cover in field["covers"]
        for row in cover["rows"]
    ]
    assert len(table) == len(rows) > 400
    for line, (name, species, row) in zip(table, rows, strict=True):
        assert (line["field"], line["cover"], line["sown"]) == (name, species, row["sown"])
        for key in ("p_established", "p_together", "dry_matter_kg_ha"):
            assert float(line[key]) == row[key]
        assert line["turn_under"] == row["turn_under"]


def test_csv_in_us_units(run: Run) -> None:
    """The heading names the unit: pounds an acre are 0.892 kilograms a hectare."""
    _, metric, _ = run("--csv", "--cover", "hairy-vetch")
    _, us, _ = run("--csv", "--cover", "hairy-vetch", "--units", "us")
    kilograms = float(next(csv.DictReader(io.StringIO(metric)))["dry_matter_kg_ha"])
    pounds = float(next(csv.DictReader(io.StringIO(us)))["dry_matter_lb_acre"])
    assert pounds == pytest.approx(kilograms * 0.8922, rel=1e-3)


def test_a_name_with_a_comma_is_one_cell(run: Run, own: Callable[..., Path]) -> None:
    """A field's name comes back as it was written."""
    path = own(('"Ford meadow"', '"Ford meadow, the \\"upper\\" half"'))
    _, text, _ = run(path, "--csv", "--cover", "hairy-vetch")
    assert {row["field"] for row in csv.DictReader(io.StringIO(text))} == {'Ford meadow, the "upper" half'}


def test_seed_for_the_area(run: Run) -> None:
    """Ford meadow, 850 m2, takes 2.5 kg of crimson clover at 26 lb an acre broadcast (22 to 30, Univ. of Georgia)."""
    _, screen, _ = run("--cover", "crimson-clover")
    flowing = " ".join(screen.split())
    assert f"29 kg/ha broadcast ({26 * 1.120851 * 0.085:.1f} kg on this field)" in flowing
    assert "6 to 13 mm deep" in flowing  # 1/4 to 1/2 inch
    assert "clover group" in flowing


# --- what cannot be answered ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ["--from", "2026-10-01", "--to", "2026-09-01"],
            "--from 2026-10-01 is after --to 2026-09-01; give the earlier",
        ),
        (["--from", "2026-09-01", "--to", "2027-10-01"], "sowing from 2026-09-01 to 2027-10-01 is not one autumn"),
        (["--plant-by", "2026-11-01"], "--plant-by 2026-11-01 is not in the year after the sowing"),
        (["--to", "2025-10-01"], "--to 2025-10-01 is before 2026-04-20, today"),
        (["--cover", "hairy-vetsch"], "unknown cover 'hairy-vetsch'; did you mean hairy-vetch"),
    ],
)
def test_what_makes_no_autumn_is_said_in_a_line(
    run: Run, own: Callable[..., Path], arguments: list[str], message: str
) -> None:
    """One line with the value and the way out, status 1, nothing printed."""
    status, screen, said = run(own(), *arguments)
    assert (status, screen) == (1, "")
    assert message in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--alive", "nine"], "'nine' is not a share of the years; give 0.8 or 80%"),
        (["--covered", "90"], "'90' is not a share of the years"),
        (["--plantable", "nan"], "'nan' is not a share of the years"),
        (["--from", "September"], "'September' is not a date; write it as 2026-04-20"),
        (["--cover"], "expected at least one argument"),
    ],
)
def test_wrong_usage(run: Run, arguments: list[str], message: str) -> None:
    """Status 2, and what would be right."""
    status, _, said = run(*arguments)
    assert status == 2
    assert message in said


def test_a_field_file_after_the_covers(run: Run) -> None:
    """It is read as one more cover, and the way out is said."""
    status, screen, said = run("--cover", "hairy-vetch", "mine.toml")
    assert (status, screen) == (1, "")
    assert "'mine.toml' is taken for a cover: name the field file before --cover" in said


def test_too_few_years(run: Run, own: Callable[..., Path]) -> None:
    """A record of some years: how many seasons there are, how many are needed, and the way out."""
    path = own()
    lines = (path.parent / "weather.csv").read_text(encoding="utf-8").splitlines()
    short = [line for line in lines if not line[:4].isdigit() or line >= "2020"]
    (path.parent / "weather.csv").write_text("\n".join(short) + "\n", encoding="utf-8")
    status, screen, said = run(path)
    assert (status, screen) == (1, "")
    assert "only 5 complete past seasons" in said
    assert "8 are needed; name a station with a longer record" in said


def test_a_field_that_fails_leaves_the_others(run: Run, own: Callable[..., Path]) -> None:
    """The weather file of one field is missing: the other is answered, the trouble is said, status 1."""
    path = own()
    text = path.read_text(encoding="utf-8")
    second = text[text.index("[[field]]") :].replace("Ford meadow", "Lost plot").replace("weather.csv", "gone.csv")
    path.write_text(text + "\n" + second, encoding="utf-8")
    status, screen, said = run(path, "--cover", "hairy-vetch")
    assert status == 1
    assert "Ford meadow: sow hairy vetch" in screen
    assert "Lost plot" in said
