"""A table is added to a TOML text, and all else in it stays where it was."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.base.toml_text import NoPlaceError, with_table

NEW = "\n[[field.scouting]]\nbbch = 60  # first flowers\n"


def added(text: str, number: int = 0) -> str:
    return with_table(text, ("field", number), "scouting", {"bbch": 60}, {"bbch": "first flowers"})


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("[[field]]\na = 1\n", ""),
        ("[[field]]\na = 1\n", "\n\n"),
        ("[[field]]\na = 1\n# b = 2\n", ""),  # a comment at the end belongs to what it follows
        ("[[field]]\na = 1\n\n# left out\n", "\n# the next\n# of them\n[[field]]\na = 2\n"),
        ("[[field]]\na = 1\n[field.empty]  # so far\n", "\n[[field]]\na = 2\n"),
        ("[[field]]\na = 1\n[[field.scouting]]\nbbch = 51\n", "\n[field.crop]\nname = 'maize'\n"),
        ("x = 1\n[[field]]\na.b = 1\n", "\n[[field]]\na.b = 2\n"),
        (  # what stands between two of one list, which tomlkit alone would move
            "[[field]]\n[[field.scouting]]\nbbch = 51\n[field.crop]\nname = 'maize'\n[[field.scouting]]\nbbch = 55\n",
            "\n# the next\n[[field]]\na = 2\n",
        ),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_the_table_stands_at_the_end(before: str, after: str, newline: str) -> None:
    """After the last line of its own, before the blank line and the comment of what follows."""
    told = added((before + after).replace("\n", newline))
    assert told == (before + NEW + after).replace("\n", newline)


def test_a_last_line_without_an_end_gets_one() -> None:
    """And a table that follows without a blank line is set apart by one."""
    assert added("[[field]]\na = 1") == "[[field]]\na = 1\n" + NEW
    assert added("[[field]]\na = 1\n[[field]]\na = 2\n") == "[[field]]\na = 1\n" + NEW + "\n[[field]]\na = 2\n"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("field = [{a = 1}]\n", "field"),
        ("[[field]]\nscouting = [{bbch = 51}]\n", "scouting"),
        ("[[field]]\nscouting = []\n", "scouting"),
    ],
)
def test_lists_in_one_line_take_no_table(text: str, key: str) -> None:
    """What stands in the way is named."""
    with pytest.raises(NoPlaceError) as caught:
        added(text)
    assert caught.value.key == key


def test_what_would_say_something_else_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """The new text is read again by another parser, and has to say the old and the entry."""
    import tomlkit

    monkeypatch.setattr(tomlkit.TOMLDocument, "as_string", lambda self: "[[field]]\na = 1\n")
    with pytest.raises(NoPlaceError):
        added("[[field]]\na = 1\n")


#: What may stand in a field, in any order: tables, notes with others between them, comments, texts of several lines.
PARTS = st.lists(
    st.sampled_from(
        [
            '[field.cover]\nspecies = "x"   # y\n',
            '[ field . "crop" ]\nname="p"\n\n',
            "[[field.amendment]]\nn = 1\n[field.amendment.composting]\ndays = 2\n",
            "[[field.scouting]]\ndate = 2026-05-01\n",
            '[["field".scouting]]\nnote = """a\n[[field]]\n# b"""\n',
            "[[field.scouting]]\nnote = '''\n# c'''\n",
            "# a comment\n",
            "\n \t\n",
        ]
    ),
    max_size=7,
)


@given(first=PARTS, second=PARTS, number=st.sampled_from([0, 1]), form=st.sampled_from(["plain", "windows", "no end"]))
def test_every_other_byte_stays(first: list[str], second: list[str], number: int, form: str) -> None:
    """However the parts of a file are ordered: two tables more are read back at their field, and can be cut out."""
    text = "# top\n"
    for parts in (first, second):
        once = [part for at, part in enumerate(parts) if not part.startswith(("[f", "[ f")) or part not in parts[:at]]
        text += "".join(["[[field]]\n", 'name = "a"\n', *once])
    if form == "windows":
        text = text.replace("\n", "\r\n")
    if form == "no end":
        text = text.rstrip()
    wanted = tomllib.loads(text)
    for entry in ({"bbch": 55, "note": "a\n[[field]]"}, {"bbch": 60}):
        new = with_table(text, ("field", number), "scouting", entry)
        wanted["field"][number].setdefault("scouting", []).append(entry)
        assert tomllib.loads(new) == wanted
        more = len(new) - len(text)
        assert any(new[:cut] + new[cut + more :] == text for cut in range(len(text) + 1))
        text = new
