"""`covercrop guide`: the list of the pages, one page, as JSON, and what is no page."""

from __future__ import annotations

import json
import re

import pytest

from covercrop.cli.main import main
from covercrop.guide.pages import TOPICS, guide_page, guide_pages


def test_the_list_names_every_page(capsys: pytest.CaptureFixture[str]) -> None:
    """A line each, with the question that the page answers."""
    assert main(["guide"]) == 0
    said = capsys.readouterr().out.splitlines()
    for topic, line in zip(TOPICS, said[2:], strict=True):
        assert line.split()[0] == topic
        assert line.endswith(guide_page(topic).question)


@pytest.mark.parametrize("topic", TOPICS)
@pytest.mark.parametrize("columns", ["40", "80"])
def test_a_page_keeps_to_the_screen(
    topic: str, columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every page fits its width, piped without colour, and shows no marks that are not for a reader."""
    monkeypatch.setenv("COLUMNS", columns)
    assert main(["guide", topic.upper()]) == 0
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= int(columns)
    assert "\x1b" not in said
    assert "<!--" not in said
    assert ".md" not in said
    question = guide_page(topic).question
    assert said.startswith(question.split()[0])
    assert " ".join(said.split()).startswith(question)


@pytest.mark.parametrize("topic", TOPICS)
def test_what_is_to_be_copied_stands_as_it_is(
    topic: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """At 80 columns each block of a page is shown line for line: broken, it could not be copied."""
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["guide", topic]) == 0
    said = capsys.readouterr().out
    for block in re.findall(r"```\w+\n(.*?)\n```", guide_page(topic).text, flags=re.DOTALL):
        assert "\n".join(line.rstrip() for line in block.splitlines()) in said


@pytest.mark.parametrize("columns", ["40", "60", "80"])
def test_no_word_of_a_table_is_lost(
    columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where its words do not fit beside one another, a row names its columns; nothing is cut short."""
    monkeypatch.setenv("COLUMNS", columns)
    assert main(["guide", "trust"]) == 0
    said = capsys.readouterr().out
    assert "\N{HORIZONTAL ELLIPSIS}" not in said
    for row in re.findall(r"^\| (\w.*) \|$", guide_page("trust").text, flags=re.MULTILINE):
        assert {word for word in re.split(r"[ |]+", row) if word not in said} == set()
    assert ("place: Beltsville" in " ".join(said.split())) == (columns != "80")


def test_a_page_where_only_ascii_is_held(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Bullets and rules become plain characters."""
    monkeypatch.setattr("covercrop.render.screen.terminal.Console.encoding", "ascii")
    assert main(["guide", "limits"]) == 0
    said = capsys.readouterr().out
    assert said.isascii()
    assert " - Snow." in said


def test_json_has_every_page(capsys: pytest.CaptureFixture[str]) -> None:
    """Topic, question and the text in Markdown."""
    assert main(["guide", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert [each["topic"] for each in document["pages"]] == list(TOPICS)
    assert document["pages"][0]["text"] == guide_pages()[0].text
    assert document["pages"][0]["question"] == "How do I write down my fields?"


def test_what_is_no_page_is_said_in_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    """With the page that it is near."""
    assert main(["guide", "soww"]) == 1
    assert capsys.readouterr().err == "covercrop: unknown topic 'soww'; did you mean sow or soil?\n"
