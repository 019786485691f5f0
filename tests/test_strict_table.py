"""The one strict reader of tables, on small records made here: a table becomes a record, or one line says why not."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from covercrop.base.errors import FieldFileError, UnknownNameError, UsageError
from covercrop.base.kinds import Choice, Date, Flag, Listed, Number, Text, in_units
from covercrop.base.strict_table import TableReader, keys_of
from covercrop.field.entries import ScoutingNote
from covercrop.field.file import parse_fields


def known(got: Any, _: Any) -> str:
    """A hook that looks a name up."""
    if got != "oak":
        raise UnknownNameError("tree", str(got), ("oak",))
    return "oak"


FEET = {"ft": "the height in feet, "}


@dataclass(frozen=True, kw_only=True)
class Branch:
    """A table below another."""

    name: Annotated[str, Text("name it")]
    green: bool = True


@dataclass(frozen=True, kw_only=True)
class Tree:
    """A table with keys of each kind."""

    kind: Annotated[str, known]
    planted: dt.date
    height_m: Annotated[
        float | None, in_units("height", {"m": 1.0, "ft": 0.25}, 1, 200, {"ft": "the height in feet, "})
    ]
    rings: Annotated[int, Number(0, 500, "count them, 0 to 500", int)] = 0
    crown: Annotated[str, Choice(("round", "flat-topped"))] = "round"
    names: Annotated[tuple[str, ...], {"also": Listed("list them")}] = ()
    trunk: Branch | None = None
    branches: Annotated[tuple[Branch, ...], "write each as its own [[branch]]"] = ()

    def __post_init__(self) -> None:
        """Refuse what no tree is."""
        if self.rings > 400:
            raise UsageError(f"rings = {self.rings}: so old is none; count again")


def of_age(table: Mapping[str, Any], made: dict[str, Any]) -> dict[str, Any]:
    """A rule: a tree with a crown of its own is not young, and one without has a ring."""
    if "crown" in table and made.get("rings") == 0:
        raise UsageError("crown is given of a tree without rings; leave it out")
    return {"rings": 1} | made


READER = TableReader(FieldFileError, {bool: Flag(), dt.date: Date(us=True)}, {Tree: of_age})
RIGHT = 'kind = "oak"\nplanted = 1901-03-04\nheight_ft = 40\n'


def tree(text: str) -> Tree:
    """A tree of TOML text."""
    return READER.read(Tree, tomllib.loads(text), "wood.toml")


def test_a_table_becomes_the_record() -> None:
    """Units become the one of the record, words the ones that are known, lists tuples; the rest is as by default."""
    made = tree(
        f'{RIGHT}rings = 12.0\ncrown = "Flat topped"\nalso = ["Quercus"]\n'
        'trunk = { name = "t" }\nbranches = [{ name = "a", green = false }, { name = "b" }]'
    )
    assert (made.height_m, made.planted, made.names) == (10.0, dt.date(1901, 3, 4), ("Quercus",))
    assert (made.rings, type(made.rings), made.crown) == (12, int, "flat-topped")
    assert made.trunk == Branch(name="t")
    assert [branch.green for branch in made.branches] == [False, True]
    assert tree(RIGHT).rings == 1
    assert tree(RIGHT.replace("1901-03-04", '"3/4/1901"')).planted == made.planted
    assert keys_of(Tree)[:5] == ("kind", "planted", "height_m", "height_ft", "rings")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (RIGHT.replace("height_ft = 40", ""), ": 'height_m' is missing; give 1 to 200"),
        (RIGHT.replace("planted = 1901-03-04", ""), ": 'planted' is missing; write a date as 2026-04-20, without qu"),
        (RIGHT.replace('kind = "oak"', ""), ": 'kind' is missing"),
        (RIGHT.replace("oak", "oka"), ": kind: unknown tree 'oka'; did you mean oak?"),
        (RIGHT.replace("1901", "1701"), ": planted = 1701-03-04: is too far off; give a day from 1800 to 2100"),
        (RIGHT.replace("03-04", "03-04T05:00:00"), ": planted = 1901-03-04T05:00:00: write a date as 2026-04-20, with"),
        (RIGHT.replace("1901-03-04", '"May"'), ": planted = 'May': write a date as 2026-04-20, without quotes, or as"),
        (RIGHT.replace("= 40", "= 900"), ": height_ft = 900: give the height in feet, 4 to 800"),
        (f"{RIGHT}height_m = 9", ": height_m = 9: height_ft is given too; keep one of them"),
        (f"{RIGHT}heigth_m = 9", ": unknown key 'heigth_m'; did you mean 'height_m'?"),
        (f"{RIGHT}zzz = 9", ": unknown key 'zzz'; known keys: kind, planted, height_m, height_ft, rings, crown, also"),
        (f"{RIGHT}rings = 2.5", ": rings = 2.5: count them, 0 to 500"),
        (f"{RIGHT}rings = true", ": rings = True: count them, 0 to 500"),
        (f"{RIGHT}rings = 450", ": rings = 450: so old is none; count again"),
        (f'{RIGHT}rings = 0\ncrown = "round"', ": crown is given of a tree without rings; leave it out"),
        (f"{RIGHT}crown = 3", ": crown = 3: use one of round, flat-topped"),
        (f'{RIGHT}also = "Quercus"', ": also = 'Quercus': list them"),
        (f"{RIGHT}trunk = 3", ": trunk: 3 is not one table; write it as a table"),
        (f"{RIGHT}trunk = [3]", ": trunk: [3] is not one table; write it once, with single brackets"),
        (f'{RIGHT}trunk = {{ name = " " }}', ": trunk: name = ' ': name it"),
        (f'{RIGHT}branches = {{ name = "a" }}', ": branches = {'name': 'a'}: write each as its own [[branch]]"),
        (
            f'{RIGHT}branches = [{{ name = "a" }}, {{ name = "b", green = 1 }}]',
            ": branches 2: green = 1: write true or fa",
        ),
    ],
)
def test_what_cannot_be_is_told_with_its_place(text: str, said: str) -> None:
    """Place, key, value and the way out."""
    with pytest.raises(FieldFileError) as caught:
        tree(text)
    assert str(caught.value).startswith(f"wood.toml{said}")


def test_what_is_given_does_not_stand_in_the_table() -> None:
    """An attribute that the reader is handed is no key, and none of those that are known."""
    assert READER.read(Branch, {"green": False}, "w", name="trunk") == Branch(name="trunk", green=False)
    with pytest.raises(FieldFileError, match=r"^w: unknown key 'name'; known keys: green$"):
        READER.read(Branch, {"name": "a"}, "w", name="trunk")


#: Values of each kind that TOML has, right ones of some key among them.
VALUES = (
    *("oak", "round", "3/4/1901", "", "\n", "x" * 90, 1, 12, -3, 10**30, 2.5, float("nan"), float("inf"), True, False),
    *(dt.date(1901, 3, 4), dt.date(9, 1, 1), dt.datetime(1901, 3, 4, 5), dt.time(5), [], {}, [[]], [{}], ["a", 1]),
    *({"name": "a"}, {"name": 1, "green": True}, [{"name": "a"}, {"name": "b", "zzz": 1}], {"name": "a", "green": 0}),
)
TABLES = st.dictionaries(st.sampled_from((*keys_of(Tree), "zzz")), st.sampled_from(VALUES))


def refusal(read: Callable[[], object]) -> str:
    """What is said where something is refused; empty where it is not."""
    try:
        read()
    except FieldFileError as error:
        return str(error)
    return ""


@settings(max_examples=60)
@given(TABLES, st.booleans())
def test_any_table_is_a_record_or_one_line(table: dict[str, Any], sound: bool) -> None:
    """Whatever TOML holds: nothing but the one error leaves, and it names the place, a key and more."""
    whole = {**tomllib.loads(RIGHT), **table} if sound else table
    said = refusal(lambda: READER.read(Tree, whole, "wood.toml"))
    assert not said or (said.startswith("wood.toml: ") and any(key in said for key in (*whole, *keys_of(Tree))))
    assert "\n" not in said
    assert said or whole["kind"] == "oak"


FIELD = tomllib.loads(
    """
[[field]]
name = "A"
latitude = 42.4
longitude = -76.5
area_acres = 2
cover = { species = "hairy-vetch", with = "rye", legume_percent = 40, sown = 2025-09-12, ended = 2026-05-19 }
crop = { name = "pumpkin", ground_cover = "black-plastic", soil_f = 62, planted = 2026-06-01 }
aim = { plant_by = 2026-06-20, can_come = ["sat"] }
weather = { station = "72515", units = "us" }
beds = { length_m = 30, width_m = 20, seeds = 3, plants = 1, edges = "pinned", sheet_width_ft = 4 }
amendment = [{ material = "plant-compost", depth_in = 1, bucket_lb = 30, composting = { days = 15, coolest_f = 131 } }]
soil = { crops_before = ["sweet corn"], after_harvest = "take" }
scouting = [{ date = 2026-05-01, bloom_percent = 5, soil_f = 60, height_in = 9, cereal = 51, legume_percent = 40 }]
"""
)


def test_every_date_of_a_us_file_may_be_american() -> None:
    """That on which an amendment was applied too; in a metric file none may."""
    raw = {**deepcopy(FIELD), "units": "us"}
    raw["field"][0]["amendment"][0]["applied"] = "4/20/2026"
    content = tomlkit.dumps(raw)
    (entry,) = parse_fields(Path("f.toml"), content.encode()).entries
    assert entry.amendments[0].applied == dt.date(2026, 4, 20)
    with pytest.raises(FieldFileError, match=r"amendment 1: applied = '4/20/2026': write a date as 2026-04-20, .*s$"):
        parse_fields(Path("f.toml"), content.replace('"us"', '"metric"').encode())


def test_a_field_says_which_of_its_parts_disagree() -> None:
    """The place stands before the key, for a record and for a file alike; a whole stage is kept as one."""
    (entry,) = parse_fields(Path("f.toml"), tomlkit.dumps(FIELD).encode()).entries
    early = dt.date(2025, 9, 12)
    for part, said in (
        ({"crop": replace(entry.crop, planted=early)}, "crop: planted = 2025-09-12: is not after turning under"),
        ({"aim": replace(entry.aim, plant_by=early)}, "aim: plant_by = 2025-09-12: is not after sowing"),
        ({"scouting": (replace(entry.scouting[0], date=early),)}, "scouting 1: date = 2025-09-12: is not after sowing"),
    ):
        with pytest.raises(UsageError, match=f"^{said}"):
            replace(entry, **part)
    assert type(ScoutingNote(date=early, bbch=61.0).bbch) is int  # type: ignore[arg-type]


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to every value below one."""
    below = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in below:
        yield (*path, key)
        yield from places(inner, (*path, key))


@settings(max_examples=60)
@given(st.sampled_from(list(places(FIELD))), st.sampled_from((None, *VALUES)))
def test_any_value_in_any_place_of_a_field_is_read_or_told(place: tuple[Any, ...], value: Any) -> None:
    """One value of a sound file becomes another, or goes: it is read, or told in one line that begins with the file."""
    raw = deepcopy(FIELD)
    at: Any = raw
    for key in place[:-1]:
        at = at[key]
    at[place[-1]] = value
    if value is None:
        del at[place[-1]]
    content = tomlkit.dumps(raw).encode()
    said = refusal(lambda: parse_fields(Path("f.toml"), content))
    assert not said or said.startswith("f.toml: ")
    assert "\n" not in said
