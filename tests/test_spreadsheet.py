"""What people have written stays text in a spreadsheet, in every CSV that is printed."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Run
from hypothesis import given
from hypothesis import strategies as st

from covercrop.base.spreadsheet import csv_table, inert

#: As a field may be named in TOML, and what is left of it in the cell.
RUN = {
    '=HYPERLINK("http://a.b","c")': '\'=HYPERLINK("http://a.b","c")',
    "+1+cmd|' /C calc'!A0": "'+1+cmd|' /C calc'!A0",
    "-2+3": "'-2+3",
    "@SUM(A1)": "'@SUM(A1)",
    "\t=1+1": "'\\t=1+1",
    "\r=1+1": "'\\r=1+1",
    "  =1+1": "'  =1+1",
    "\uff1d1+1": "'\uff1d1+1",
    "- north of the brook": "'- north of the brook",
}


@pytest.mark.parametrize("text", RUN)
def test_a_text_that_would_be_run_is_made_inert(text: str) -> None:
    """It gets an apostrophe, by which every spreadsheet knows text."""
    assert inert(text) == RUN[text]


@pytest.mark.parametrize("text", ["3.5", "1e-5", "2026-04-20", "North-east", "a=b", "'=1", '"=1"', "", "5 - 3"])
def test_numbers_and_plain_texts_stay_as_they_are(text: str) -> None:
    """A sign inside a name is only a sign."""
    assert inert(text) == text


def test_a_frost_stays_a_number() -> None:
    """A number below nothing is one; a name that looks like it is a text."""
    _, row = csv.reader(io.StringIO(csv_table(["t", "name"], [[-3.5, "-3.5"]])))
    assert row == ["-3.5", "'-3.5"]


@given(st.text())
def test_no_cell_begins_what_a_spreadsheet_would_run(text: str) -> None:
    """Read back, the cell is no formula, whatever the text."""
    _, (cell, _) = csv.reader(io.StringIO(csv_table(["a", "b"], [[text, -1.5]])))
    assert not re.match(r"\s*[=+@\t\r\uff1d\uff0b\uff0d\uff20-]", cell)
    assert "\n" not in cell


@pytest.mark.parametrize("command", [["sow", "--cover", "hairy-vetch"], ["beds"]])
@pytest.mark.parametrize("name", ["=1+1", "+1+1", "-1+1", "@A1", "\\t=1", "\\r=1"])
def test_the_name_of_a_field_is_inert(run: Run, own: Callable[..., Path], command: list[str], name: str) -> None:
    """A field named like a formula is a name in the table, with nothing else in its cells changed."""
    path = own(('"Ford meadow"', f'"{name}"'))
    path.write_text(path.read_text(encoding="utf-8").split('[[field]]\nname = "Chapel')[0], encoding="utf-8")
    status, printed, said = run(command[0], path, *command[1:], "--csv")
    assert (status, said) == (0, "")
    rows = list(csv.DictReader(io.StringIO(printed)))
    assert {row["field"] for row in rows} == {f"'{name}"}
    assert not any(cell[:1] in tuple("=+-@") for row in rows for cell in row.values())


def test_frost_stays_a_number(run: Run, tmp_path: Path) -> None:
    """Temperatures below zero are not given an apostrophe, and the table can be read as weather again."""
    path = tmp_path / "week.csv"
    rows = "".join(f"2026-01-0{day},{-day},{day}\n" for day in range(1, 8))
    path.write_text(f"date,tmin,tmax\n{rows}", encoding="utf-8")
    _, printed, _ = run("degree-days", path, "--lower", "-4", "--csv")
    assert printed.splitlines()[1] == "2026-01-01,-1.0,1.0,4.0,4.0"
    path.write_text(printed, encoding="utf-8")
    assert run("degree-days", path, "--lower", "-4", "--csv")[1] == printed
