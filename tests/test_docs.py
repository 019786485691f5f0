"""README, the pages of the guide and DEVELOPERS say what is true now."""

from __future__ import annotations

import argparse
import csv
import re
import shlex
from pathlib import Path

import numpy as np
import pytest

from covercrop.cli import main as cli
from covercrop.cli.main import main
from covercrop.guide.pages import TOPICS, guide_pages
from covercrop.models import termination
from covercrop.parameters import catalogue
from covercrop.render.words import answer
from covercrop.season import decision, ending

REPOSITORY = Path(__file__).resolve().parent.parent
README = (REPOSITORY / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")
GUIDE = {page.topic: page.text for page in guide_pages()}
TEXTS = {"README": README, **GUIDE}
OUTPUT = re.compile(r"<!-- output of: covercrop (.+?) -->\n```text\n(.*?)```\n", flags=re.DOTALL)
SHOWN = [(name, *found) for name, text in TEXTS.items() for found in OUTPUT.findall(text)]
COMMANDS = (
    "add",
    "ready",
    "compare",
    "scout",
    "sow",
    "beds",
    "calendar",
    "report",
    "region",
    "weather",
    "hindcast",
    "calibrate",
    "degree-days",
    "covers",
    "crops",
    "guide",
)


def test_the_readme_shows_output() -> None:
    """There is something to hold against the program, in README and in the guide."""
    assert {"README", "reading", "sow", "beds", "trust", "calibrate"} <= {name for name, _, _ in SHOWN}


def test_the_readme_is_short() -> None:
    """One season, one's own field, the commands, how far to trust it: no more than 220 lines."""
    assert len(README.splitlines()) <= 220


def test_each_page_answers_its_question_at_once() -> None:
    """A page is named by one word, begins with a question, and goes on with a sentence; no page is left out."""
    assert sorted(TOPICS) == sorted(path.stem for path in (REPOSITORY / "covercrop" / "guide").glob("*.md"))
    for topic, text in GUIDE.items():
        title, blank, answer = text.split("\n")[:3]
        assert re.fullmatch(r"# [A-Z].*\?", title), topic
        assert blank == ""
        assert answer[0].isupper() or answer[0] == "`", topic
        assert f"](covercrop/guide/{topic}.md): {title[2:]}\n" in README


@pytest.mark.parametrize("name", TEXTS)
def test_links_lead_somewhere(name: str) -> None:
    """Every link within the project is a file that is there."""
    home = REPOSITORY if name == "README" else REPOSITORY / "covercrop" / "guide"
    for link in re.findall(r"\]\(([^)]+)\)", TEXTS[name]):
        assert link.startswith("https://") or (home / link).is_file(), link


def options(parser: argparse.ArgumentParser) -> set[str]:
    """The long options of a parser and of all below it."""
    found: set[str] = set()
    for action in parser._actions:
        found.update(option for option in action.option_strings if option.startswith("--"))
        if isinstance(action, argparse._SubParsersAction):
            found.update(*(options(each) for each in action.choices.values()))
    return found


#: An option of a script of the project's own, which a page names.
OTHERS = {"--gates"}


@pytest.mark.parametrize("name", TEXTS)
def test_every_option_that_is_named_is_there(name: str) -> None:
    """What README and the guide call an option is one of some command."""
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", TEXTS[name]))
    assert named - options(cli._parser()) - OTHERS == set()


def told(text: str) -> list[tuple[str, str]]:
    """The command and the rest of each `covercrop COMMAND ...` in the code of a text."""
    shell = re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL)
    spans = re.findall(r"(?<!`)`([^`]+)`(?!`)", re.sub(r"```.*?```", "", text, flags=re.DOTALL))
    lines = "\n".join([*shell, *(" ".join(span.split()) for span in spans)]).replace("\\\n", " ")
    return re.findall(r"^(?:\S*/)?covercrop ([a-z-]+)(.*)$", lines, flags=re.MULTILINE)


@pytest.mark.parametrize("name", TEXTS)
def test_every_command_that_is_named_takes_its_options(name: str) -> None:
    """Each command that README or a page tells to type is one, and so are the options that it is told to be given."""
    choices = cli._parser()._subparsers._group_actions[0].choices
    for command, rest in told(TEXTS[name]):
        assert command in choices
        assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", rest)) <= options(choices[command]), command


def test_each_command_in_a_block_can_be_typed() -> None:
    """The lines of the shell blocks of the guide go through the parser as they stand."""
    lines = [
        line
        for text in GUIDE.values()
        for block in re.findall(r"```sh\n(.*?)```", text, flags=re.DOTALL)
        for line in block.replace("\\\n", " ").splitlines()
        if line.startswith("covercrop ")
    ]
    assert len(lines) >= 4
    for line in lines:
        cli._parser().parse_args(shlex.split(line)[1:])


def test_python_stands_where_it_is_run() -> None:
    """Examples are run from the page for the library, and so stand on no other."""
    assert {name for name, text in TEXTS.items() if "```python" in text} == {"library"}


@pytest.mark.parametrize(("name", "command", "shown"), SHOWN, ids=[f"{name}: {command}" for name, command, _ in SHOWN])
def test_shown_output_is_current(
    name: str, command: str, shown: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What README or a page shows of a command stands so, line for line, in what the command prints."""
    monkeypatch.setenv("COLUMNS", "80")
    assert main(shlex.split(command)) == 0
    assert shown in capsys.readouterr().out, name


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_described(command: str) -> None:
    """Each command stands in the README's table, and with its options in the guide's."""
    assert f"`covercrop {command} " in README
    assert f"`covercrop {command} " in GUIDE["commands"]


def test_no_command_is_left_out() -> None:
    """The list above is that of the program."""
    choices = cli._parser()._subparsers._group_actions[0].choices
    assert tuple(choices) == COMMANDS


def test_the_field_file_of_the_readme_can_be_read(tmp_path: Path) -> None:
    """The short example of README and the long one of the guide are field files that the program takes."""
    from covercrop.field.file import read_fields

    path = tmp_path / "fields.toml"
    for text, notes in ((README, []), (GUIDE["fields"], [5])):
        example = re.search(r"```toml\n(.*?)```", text, flags=re.DOTALL)
        assert example is not None
        path.write_text(example[1], encoding="utf-8")
        (field,) = read_fields(path).fields
        assert field.name == "Mill terrace"
        assert [note.bloom_percent for note in field.scouting] == notes


def test_the_states_of_a_field_are_explained() -> None:
    """The page on reading the answer has each state in the words of the screen."""
    for words in answer.STATE_WORDS.values():
        assert f"`{words}`" in GUIDE["reading"]


def test_the_page_on_ending_has_the_numbers_of_the_program() -> None:
    """What the page states in words is what the day is chosen by."""
    numbers = (decision.MOST_RISK, decision.IN_TIME_WITHIN, decision.FLAT_TOP, decision.OUT_OF_REACH)
    assert numbers == (1 / 10, 1 / 10, 3 / 100, 1 / 5)
    assert (ending.LEAST_ODDS, ending.CLOSING_DAYS, ending.POOR) == (1 / 20, 7, 1 / 2)
    assert (termination.TARP_DAYS.value, termination.SWELLING_PODS.low) == (3 * 7, 4 / 5)
    for words in (
        "more than one in ten",
        "within a tenth",
        "within three in a hundred",
        "below one in five",
        "one in twenty",
        "within a week",
        "below one half",
        "three weeks before",
        "last fifth",
        *(f"`{way}`" for way in termination.METHODS),
    ):
        assert words in " ".join(GUIDE["ending"].split())


def test_every_module_has_its_line() -> None:
    """DEVELOPERS names every module of the package."""
    modules = {
        path.stem
        for path in (REPOSITORY / "covercrop").rglob("*.py")
        if path.parent.name != "cli"  # named after what they run
    } - {"__init__", "__main__"}
    assert {name for name in modules if f"`{name}`" not in DEVELOPERS} == set()


def fitted_rows() -> list[dict[str, str]]:
    """Rows of clover and pea that are predicted from other places."""
    with (REPOSITORY / "data" / "validation" / "bloom_places.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["set"] in ("crimson clover", "winter pea")]


@pytest.mark.parametrize("row", fitted_rows(), ids=lambda row: f"{row['set']} {row['site']} {row['earliest'][:4]}")
def test_the_bloom_table_of_the_guide(row: dict[str, str]) -> None:
    """Each row that was predicted from other places stands in the guide as it stands in the data."""
    cells = (
        row["set"],
        row["site"],
        f"{row['earliest']} to {row['latest'][-5:]}",
        row["basis"],
        *(f"{float(row[f'{name}_error_days']):+.0f}" for name in ("left_out", "averaged", "plain_sum")),
    )
    assert re.sub(r"[+-]0(?= \|)", "0", f"| {' | '.join(cells)} |") in GUIDE["trust"]


@pytest.mark.parametrize(
    "name",
    [
        "blue lupin, early types",
        "blue lupin, late types",
        "hairy vetch, standard types",
        "crimson clover",
        "winter pea",
    ],
)
def test_the_errors_that_the_guide_states(name: str) -> None:
    """The errors at places left out are those of the data, in every form that is compared."""
    with (REPOSITORY / "data" / "validation" / "bloom_places.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["set"] == name]
    found = [
        np.sqrt(np.mean([float(row[f"{column}_error_days"]) ** 2 for row in rows]))
        for column in ("left_out", "averaged", "nested", "plain_sum")
    ]
    held = sum(abs(float(row["averaged_error_days"])) <= float(row["half_interval_days"]) for row in rows)
    line = next(line for line in GUIDE["trust"].splitlines() if line.startswith(f"| {name} |"))
    assert line.endswith(f"| {' | '.join(f'{error:.1f}' for error in found)} | {held} of {len(rows)} |")


def test_the_counts_of_the_readme() -> None:
    """As many covers and crops as it says."""
    assert len(catalogue.cover_names()) == 12
    assert len(catalogue.crop_names()) == 9
    assert "twelve covers and nine\ncrops" in GUIDE["changes"]
