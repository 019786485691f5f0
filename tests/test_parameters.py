"""The strict reader of parameter files, on small tables made here."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from covercrop.base.errors import CovercropError, ParameterError, UnknownNameError
from covercrop.base.records import CitedValue
from covercrop.parameters import catalogue
from covercrop.parameters.catalogue import build, cited_values
from covercrop.parameters.traits import Cover, Crop, Cultivar, Emergence, Seed

REPOSITORY = Path(__file__).resolve().parent.parent
CITED = '{ value = 40.0, unit = "degF", source = "someone1999", locator = "Table 2", basis = "measured" }'
SUM = (
    '{ value = 180, unit = "degF d", low = 162, high = 198, '
    'source = "someone1999", locator = "p. 4", basis = "converted" }'
)
GUESS = '{ value = 0.6, unit = "1", basis = "assumed", reason = "no trial tells; half and a little more" }'


@dataclass(frozen=True, kw_only=True)
class Holder:
    """A record with a part that may be missing."""

    part: CitedValue | None = None


def emergence(text: str) -> Emergence:
    """An Emergence record from TOML text."""
    return build(Emergence, tomllib.loads(text), "own.toml [clover] emergence")


def test_a_cited_value_is_converted_and_kept_as_printed() -> None:
    """Temperatures lose the offset, sums do not; the printed form and the citation stay."""
    record = emergence(f"base = {CITED}\nsum = {SUM}")
    assert record.base == CitedValue(
        value=pytest.approx(40 / 9),
        unit="degC",
        printed="40.0 degF",
        basis="measured",
        source="someone1999",
        locator="Table 2",
    )
    assert record.sum.value == pytest.approx(100.0)
    assert (record.sum.low, record.sum.high) == (pytest.approx(90.0), pytest.approx(110.0))
    assert (record.sum.unit, record.sum.printed, record.sum.basis) == ("degC d", "180 degF d", "converted")


def test_an_assumed_value_carries_its_reason() -> None:
    """An assumed value needs no source, and its reason reaches the record."""
    record = build(
        Seed,
        tomllib.loads(f"base = {CITED}\nflower_to_maturity = {SUM}\nviable_share = {GUESS}\nspread = {SUM}"),
        "own.toml",
    )
    assert record.viable_share.reason == "no trial tells; half and a little more"
    assert record.viable_share.source == ""


@pytest.mark.parametrize(
    ("base", "message"),
    [
        ('{ value = 1, unit = "degC", source = "s", basis = "measured" }', "a measured value needs its locator"),
        ('{ value = 1, unit = "degC", locator = "p. 1", basis = "converted" }', "a converted value needs its source"),
        (
            '{ value = 1, unit = "degC", source = "", locator = "p. 1", basis = "measured" }',
            "a measured value needs its source",
        ),
        ('{ value = 1, unit = "degC", basis = "assumed" }', "an assumed value needs its reason"),
        ('{ value = 1, unit = "degC", basis = "guessed", reason = "r" }', "basis 'guessed' is not measured"),
        ('{ value = 1, unit = "degC", source = "s", locator = "p. 1" }', "'basis' is missing"),
        ('{ unit = "degC", basis = "assumed", reason = "r" }', "'value' is missing"),
        ('{ value = 1, basis = "assumed", reason = "r" }', "'unit' is missing"),
        ('{ value = 1, unit = "degR", basis = "assumed", reason = "r" }', "unknown unit 'degR'"),
        ('{ value = "1", unit = "degC", basis = "assumed", reason = "r" }', "value '1' is not a number"),
        ('{ value = true, unit = "degC", basis = "assumed", reason = "r" }', "value True is not a number"),
        ('{ value = 1, low = "0", unit = "degC", basis = "assumed", reason = "r" }', "low '0' is not a number"),
        (
            '{ value = 1, low = 2, unit = "degC", basis = "assumed", reason = "r" }',
            "1 does not lie between its low and its high",
        ),
        (
            '{ value = 5, low = 2, high = 4, unit = "degC", basis = "assumed", reason = "r" }',
            "5 does not lie between its low and its high",
        ),
        ('{ value = 1, unit = "degC", basis = "assumed", reason = "r", page = 3 }', "unknown key 'page'"),
        ("4.5", "4.5 is not a table with value, unit and source"),
    ],
)
def test_a_wrong_value_is_refused_with_its_place(base: str, message: str) -> None:
    """Whatever a cited value lacks or has too much is named, after the place it stands at."""
    with pytest.raises(ParameterError, match=rf"^own\.toml \[clover\] emergence base: .*{message}"):
        emergence(f"base = {base}\nsum = {SUM}")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (f"base = {CITED}", "'sum' is missing"),
        (f"base = {CITED}\nsum = {SUM}\nsums = {SUM}", "unknown key 'sums'; known: base, sum"),
    ],
)
def test_a_wrong_table_is_refused(text: str, message: str) -> None:
    """A missing or unknown key is named together with what would be right."""
    with pytest.raises(ParameterError, match=message):
        emergence(text)


@pytest.mark.parametrize("number", ["nan", "inf", "-inf"])
def test_a_value_that_is_no_number_is_refused(number: str) -> None:
    """TOML can say nan and inf; a parameter cannot."""
    with pytest.raises(ParameterError, match=rf"base: value {number} is not a"):
        emergence(f'base = {{ value = {number}, unit = "degC", basis = "assumed", reason = "r" }}\nsum = {SUM}')


@pytest.mark.parametrize("table", [None, 3, "text", ["list"]])
def test_something_else_in_place_of_a_table(table: Any) -> None:
    """Anything but a table is refused in words."""
    with pytest.raises(ParameterError, match="is not a table"):
        build(Emergence, table, "own.toml")


CROP = f"""
common_name = "Test gourd"
scientific_name = "Nulla planta"
family = "Cucurbitaceae"
soil_minimum = {CITED}
soil_planting = {CITED}
frost = {CITED}
days_to_maturity = {{ value = 105, unit = "d", basis = "assumed", reason = "for the test" }}
transplant_credit = {{ value = 14, unit = "d", basis = "assumed", reason = "for the test" }}
touches_soil = true
maggot_host = false
notes = ["one", "two"]
[ripening]
base = {CITED}
cap = {CITED}
heat_of_a_day = {SUM}
[[emergence]]
soil = {CITED}
days = {{ value = 9, unit = "d", basis = "assumed", reason = "for the test" }}
"""


def test_a_whole_crop() -> None:
    """Nested tables, lists, flags and defaults all arrive."""
    crop = build(Crop, tomllib.loads(CROP), "own.toml [gourd]", key="gourd")
    assert (crop.key, crop.touches_soil, crop.maggot_host) == ("gourd", True, False)
    assert crop.days_to_maturity.value == 105.0
    assert crop.notes == ("one", "two")
    assert crop.cautions == ()
    assert crop.emergence[0].days.value == 9.0


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("touches_soil = true", 'touches_soil = "yes"', "touches_soil: 'yes' is not a bool"),
        ('family = "Cucurbitaceae"', "family = 7", "family: 7 is not a str"),
        ('notes = ["one", "two"]', 'notes = "one"', "notes: 'one' is not a list"),
        ('notes = ["one", "two"]', 'notes = ["one", 2]', "notes 2: 2 is not a str"),
        ("days = {", "day = {", r"emergence 1: unknown key 'day'"),
        ("maggot_host = false", "", "'maggot_host' is missing"),
        ("maggot_host = false", 'maggot_host = false\nkey = "gourd"', "unknown key 'key'"),
    ],
)
def test_a_wrong_entry_of_a_crop_is_refused(old: str, new: str, message: str) -> None:
    """Each kind of entry is checked for its type, and the message says where."""
    text = CROP.replace(old, new)
    assert text != CROP
    with pytest.raises(ParameterError, match=rf"own\.toml \[gourd\].*{message}"):
        build(Crop, tomllib.loads(text), "own.toml [gourd]", key="gourd")


def test_an_optional_part_may_be_left_out_but_not_be_wrong() -> None:
    """A part that may be None is read strictly when it is there."""
    assert build(Holder, {}, "own.toml").part is None
    assert build(Holder, tomllib.loads(f"part = {CITED}"), "own.toml").part is not None
    with pytest.raises(ParameterError, match="part: 3 is not a table"):
        build(Holder, {"part": 3}, "own.toml")


def test_every_cited_value_is_listed_with_its_path() -> None:
    """The list that feeds the citations holds each value once, nested ones too."""
    crop = build(Crop, tomllib.loads(CROP), "own.toml [gourd]", key="gourd")
    paths = [path for path, _ in cited_values(crop)]
    assert sorted(paths) == sorted(
        [
            "soil_minimum",
            "soil_planting",
            "frost",
            "days_to_maturity",
            "transplant_credit",
            "ripening base",
            "ripening cap",
            "ripening heat_of_a_day",
            "emergence soil",
            "emergence days",
        ]
    )


def test_own_file(tmp_path: Path) -> None:
    """A parameter file of one's own is read as it stands."""
    path = tmp_path / "own.toml"
    path.write_text(f"[clover]\nbase = {CITED}\n", encoding="utf-8")
    assert catalogue.read_parameter_file(path)["clover"]["base"]["value"] == 40.0


@pytest.mark.parametrize(
    ("content", "message"),
    [(None, "cannot be read"), (b"\xff\xfe", "cannot be read"), (b"[clover\n", r"own\.toml: .*line 1")],
)
def test_own_file_that_cannot_be_read(content: bytes | None, message: str, tmp_path: Path) -> None:
    """A missing, binary or broken file is named in one line."""
    path = tmp_path / "own.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ParameterError, match=message) as caught:
        catalogue.read_parameter_file(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("look_up", "name", "message"),
    [
        (catalogue.cover, "crimson-clovr", "unknown cover 'crimson-clovr'; did you mean crimson-clover"),
        (catalogue.crop, "pumpkns", "unknown crop 'pumpkns'; did you mean pumpkin"),
        (catalogue.cover, "qqqq", "unknown cover 'qqqq'; known: .*crimson-clover"),
    ],
)
def test_unknown_names_bring_near_matches(look_up: Any, name: str, message: str) -> None:
    """A name that is not known is answered with the near ones, or with all."""
    with pytest.raises(UnknownNameError, match=message) as caught:
        look_up(name)
    assert isinstance(caught.value, CovercropError)


def test_unknown_source_is_refused() -> None:
    """A key without an entry in sources.toml is refused by name."""
    with pytest.raises(ParameterError, match=r"sources\.toml: no source 'nobody1066'"):
        catalogue.source("nobody1066")


def test_a_cultivar_in_any_spelling_of_case() -> None:
    """Cultivars are found in any case; an unknown one brings the near matches."""
    offset = CitedValue(value=-7.0, unit="d", printed="-7 d", basis="assumed", reason="for the test")
    early = Cultivar(name="Purple Test", group="early", offset=offset)
    table = tomllib.loads(f"part = {CITED}")
    value = build(Emergence, {"base": table["part"], "sum": table["part"]}, "own.toml")
    cover = Cover(
        key="test",
        common_name="test vetch",
        scientific_name="Nulla planta",
        inoculant="none",
        standard="standard",
        confidence="low",
        emergence=value,
        bloom=None,  # type: ignore[arg-type]
        stages=None,  # type: ignore[arg-type]
        seed=None,  # type: ignore[arg-type]
        winter=None,  # type: ignore[arg-type]
        residue=None,  # type: ignore[arg-type]
        sowing=None,  # type: ignore[arg-type]
        cultivars=(early,),
    )
    assert catalogue.cultivar(cover, "PURPLE test") is early
    with pytest.raises(UnknownNameError, match="unknown test vetch cultivar 'Purpel Test'; did you mean Purple Test"):
        catalogue.cultivar(cover, "Purpel Test")


def every_record() -> list[tuple[str, str]]:
    """Kind and key of every shipped cover and crop."""
    return [("cover", name) for name in catalogue.cover_names()] + [("crop", name) for name in catalogue.crop_names()]


def test_every_shipped_number_has_a_source_that_exists() -> None:
    """Each shipped value is assumed with a sentence, or cites an entry of sources.toml that loads."""
    values = [
        (f"{name} {path}", value)
        for kind, name in every_record()
        for path, value in cited_values(getattr(catalogue, kind)(name))
    ]
    assert len(values) > 100
    for where, value in values:
        if value.basis == "assumed":
            assert len(value.reason.split()) >= 4, f"{where}: {value.reason!r} is no sentence a grower could use"
            assert not value.source, f"{where}: an assumed value cites {value.source}"
        else:
            assert catalogue.source(value.source).title, where


def test_no_source_is_an_orphan() -> None:
    """Every entry of sources.toml loads, has a title, a DOI that looks like one, and is used somewhere."""
    table = catalogue._shipped("sources.toml")
    assert len(table) > 5
    users = [path for path in REPOSITORY.glob("data/*.toml") if path.name != "sources.toml"]
    users += [*REPOSITORY.glob("data/validation/*.csv"), *REPOSITORY.glob("covercrop/**/*.py")]
    text = "\n".join(path.read_text(encoding="utf-8") for path in users)
    for key in table:
        entry = catalogue.source(key)
        assert entry.title, key
        assert not entry.doi or entry.doi.startswith("10."), f"{key}: {entry.doi}"
        assert re.search(rf"\b{re.escape(key)}\b", text), f"{key} is cited nowhere"


# --- what each number rests on --------------------------------------------------------------------


def shipped_values() -> list[tuple[str, CitedValue]]:
    """Every cited value of the covers, crops and materials, with its place."""
    records = [
        *map(catalogue.cover, catalogue.cover_names()),
        *map(catalogue.crop, catalogue.crop_names()),
        *map(catalogue.material, catalogue.material_names()),
    ]
    return [(f"{record.key} {path}", value) for record in records for path, value in catalogue.cited_values(record)]


def test_a_seller_measures_nothing() -> None:
    """What the seed trade says is stated, or worked out from what is stated, but never measured."""
    sold = [(place, value) for place, value in shipped_values() if value.source and is_trade(value.source)]
    assert len(sold) > 5
    assert [place for place, value in sold if value.basis == "measured" and not is_analysis(value.source)] == []


def is_trade(key: str) -> bool:
    return catalogue.source(key).kind == "trade"


def is_analysis(key: str) -> bool:
    return key == "cords_manure"  # a table of analyses, handed on by a dealer's page


def test_a_middle_is_not_measured() -> None:
    """A number half way between the ends of its printed range was worked out, not read off the source."""
    middles = [
        place
        for place, value in shipped_values()
        if value.low is not None
        and value.high is not None
        and value.low < value.value < value.high
        and abs(value.value - (value.low + value.high) / 2) <= 0.01 * value.high
        and value.basis == "measured"
    ]
    assert middles == []


def test_stages_of_hairy_vetch_follow_their_counts() -> None:
    """9.6 days from first flower to half of the peak: two thirds before 25 % bloom, one after, at 18 degC."""
    vetch = catalogue.cover("hairy-vetch")
    days = 9.6 * vetch.bloom.pace.value
    assert vetch.stages.first_flower.value == pytest.approx(2 / 3 * days, abs=0.5)
    assert vetch.stages.bloom_50.value == pytest.approx(1 / 3 * 9.6 * (18 - vetch.bloom.base.value), abs=2)
    assert vetch.stages.bloom_10.value == pytest.approx(vetch.stages.first_flower.value / 2, abs=0.5)


def test_range_of_faba_bean_follows_its_source() -> None:
    """830 to 1000 degC d from sowing to first flowers, less emergence, and on to 25 % bloom."""
    faba = catalogue.cover("faba-bean")
    between = faba.stages.first_flower.value - faba.emergence.sum.value
    assert faba.bloom.requirement.low == 830 + between
    assert faba.bloom.requirement.high == 1000 + between


@pytest.mark.parametrize(
    ("kind", "name", "key"),
    [
        ("crop", "Butternut", "winter-squash"),
        ("crop", "zucchini", "summer-squash"),
        ("crop", "cantaloupe", "muskmelon"),
        ("cover", "fava bean", "faba-bean"),
        ("cover", "Austrian winter pea", "winter-pea"),
    ],
)
def test_what_growers_call_it(kind: str, name: str, key: str) -> None:
    """A common name leads to the cover or crop, a slip in it to an offer of both names; no name leads to two."""
    find = getattr(catalogue, kind)
    assert find(name).key == key
    with pytest.raises(UnknownNameError, match=rf"did you mean .*{key}"):
        find(f"{name}x")
    names = [
        {catalogue._key(each) for each in (record.key, record.common_name, *record.also)}
        for record in getattr(catalogue, f"{kind}s")()
    ]
    assert sum(map(len, names)) == len(set().union(*names))
