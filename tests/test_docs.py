"""README and DEVELOPERS say what is true now."""

from __future__ import annotations

import csv
import re
import shlex
from pathlib import Path

import numpy as np
import pytest

from covercrop.cli import main as cli
from covercrop.cli.main import main
from covercrop.parameters import catalogue

REPOSITORY = Path(__file__).resolve().parent.parent
README = (REPOSITORY / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"<!-- output of: covercrop (.+?) -->\n```text\n(.*?)```\n", README, flags=re.DOTALL)
COMMANDS = (
    "ready",
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
)


def test_the_readme_shows_output() -> None:
    """There is something to hold against the program."""
    assert len(SHOWN) >= 2


@pytest.mark.parametrize(("command", "shown"), SHOWN)
def test_shown_output_is_current(
    command: str, shown: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the README shows of a command stands so, line for line, in what the command prints."""
    monkeypatch.setenv("COLUMNS", "80")
    assert main(shlex.split(command)) == 0
    assert shown in capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_described(command: str) -> None:
    """Each command stands in the README's table."""
    assert f"`covercrop {command} " in README


def test_no_command_is_left_out() -> None:
    """The list above is that of the program."""
    choices = cli._parser()._subparsers._group_actions[0].choices
    assert tuple(choices) == COMMANDS


def test_the_field_file_of_the_readme_can_be_read(tmp_path: Path) -> None:
    """The example in the README is a field file that the program takes."""
    from covercrop.field.file import read_fields

    example = re.search(r"```toml\n(.*?)```", README, flags=re.DOTALL)
    assert example is not None
    path = tmp_path / "fields.toml"
    path.write_text(example[1], encoding="utf-8")
    (field,) = read_fields(path).fields
    assert field.name == "Mill terrace"
    assert field.scouting[0].bloom_percent == 5


def test_every_module_has_its_line() -> None:
    """DEVELOPERS names every module of the package."""
    modules = {
        path.stem
        for path in (REPOSITORY / "covercrop").rglob("*.py")
        if path.parent.name != "cli"  # named after what they run
    } - {"__init__", "__main__"}
    assert {name for name in modules if f"`{name}`" not in DEVELOPERS} == set()


def residuals() -> list[dict[str, str]]:
    """Rows of the residual table that are predicted from other places."""
    with (REPOSITORY / "data" / "validation" / "bloom_residuals.csv").open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["predicted_left_out"]]


@pytest.mark.parametrize("row", residuals(), ids=lambda row: f"{row['species']} {row['site']} {row['year']}")
def test_the_residual_table_of_the_readme(row: dict[str, str]) -> None:
    """Each row that was predicted from other places stands in the README as it stands in the data."""
    cells = (
        row["species"].replace("-", " "),
        row["site"],
        row["sown"],
        row["observed"],
        row["predicted_left_out"],
        f"{int(row['error_left_out_days']):+d}",
        f"{int(row['benchmark_sum_error_days']):+d}",
        f"{int(row['benchmark_latitude_error_days']):+d}",
    )
    assert f"| {' | '.join(cells)} |".replace("+0", "0") in README


def test_the_errors_that_the_readme_states() -> None:
    """The README's left-out RMSE of crimson clover is that of the table, and below both benchmarks."""
    rows = [row for row in residuals() if row["species"] == "crimson-clover"]
    found = [
        np.sqrt(np.mean([float(row[column]) ** 2 for row in rows]))
        for column in ("error_left_out_days", "benchmark_latitude_error_days", "benchmark_sum_error_days")
    ]
    assert found == sorted(found)
    assert found[0] <= 5
    for error in found:
        assert f"{error:.1f}" in README


def test_the_counts_of_the_readme() -> None:
    """As many covers and crops as it says."""
    assert len(catalogue.cover_names()) == 12
    assert len(catalogue.crop_names()) == 9
    assert "twelve covers and nine\ncrops" in README
