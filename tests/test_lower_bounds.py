"""The script that tries out the lower bounds: what it reads, what it refuses, and that it sees what goes wrong.

The trying out itself takes minutes and a package index: ``python tests/lower_bounds.py``.
"""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path
from typing import Any

import lower_bounds
import pytest
from lower_bounds import BoundError, Step, astray, perform
from packaging.version import Version

PROJECT = tomllib.loads((lower_bounds.REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))
EXTRAS = PROJECT["project"]["optional-dependencies"]


def project(*core: str, **extras: list[str]) -> dict[str, Any]:
    """What a small pyproject.toml holds."""
    about = {"name": "Own", "dependencies": list(core), "optional-dependencies": extras}
    return {"project": about, "build-system": {"requires": ["builder>=2"]}}


# --- what is read ---------------------------------------------------------------------------------


def test_every_bound_of_the_project_is_pinned() -> None:
    """The core and each extra pin what stands in pyproject.toml, all of it, to the number that stands there."""
    found = lower_bounds.lower_bounds(PROJECT)
    assert list(found) == ["core", *EXTRAS]
    stated = {"core": PROJECT["project"]["dependencies"], **EXTRAS}
    for group, lines in stated.items():
        for line in lines:
            written = re.match(r"([\w-]+)>=([\w.]+)", line)
            if written is not None:
                assert found[group][written[1].lower()] == written[2]
            else:
                assert line.startswith("covercrop["), line
    assert len(found["core"]) == len(stated["core"])


def test_extras_that_take_in_others() -> None:
    """Own extras are followed, as far as they lead, and every extra has the core too."""
    found = lower_bounds.lower_bounds(
        project("a>=1", one=["b>=2,<3"], two=["own[one]", "c_C>=3"], three=["OWN[two]", "d>=4.5"])
    )
    assert found["one"] == {"b": "2", "a": "1"}
    assert found["three"] == {"b": "2", "c-c": "3", "d": "4.5", "a": "1"}
    alone = lower_bounds.lower_bounds(project("a>=1", one=["b>=2"], two=["own[one]", "c>=3"]), own=True)
    assert alone == {"core": {"a": "1"}, "one": {"b": "2"}, "two": {"c": "3"}}
    everything = lower_bounds.lower_bounds(PROJECT)
    for extra in ("calendar", "report", "region", "test"):
        assert everything[extra].items() <= everything["dev"].items()


@pytest.mark.parametrize(
    "line",
    ["b", "b<3", "b!=2.1", "b~=2.1", "b==2.1", "b>2", "b>=2,>=3", "b[more]>=2", "b>=2; python_version < '3.12'"],
)
def test_what_has_no_lower_bound_is_refused(line: str) -> None:
    """In the core or in an extra: the line and its place are named."""
    with pytest.raises(BoundError, match=re.escape(f"core: {line!r} has no lower bound")):
        lower_bounds.lower_bounds(project(line))
    with pytest.raises(BoundError, match=re.escape(f"one: {line!r} has no lower bound")):
        lower_bounds.lower_bounds(project(one=[line]))


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (project(one=["own[two]"]), "one: there is no extra 'two'"),
        (project(one=["own[two]"], two=["own[one]"]), "one: the extra leads back to itself"),
        (project("a>=1", one=["a>=1.1"]), "one: a is bounded by 1.1 and by 1; give one"),
        (project(one=["a>=1"], two=["a>=2"], three=["own[one,two]"]), "three: a is bounded by 1 and by 2; give one"),
        (project("builder>=1"), "core: builder is bounded by 1 and by 2; give one"),
    ],
)
def test_bounds_that_do_not_go_together(made: dict[str, Any], words: str) -> None:
    """An extra that is not there, a circle, and two bounds for one package, the builder's included."""
    with pytest.raises(BoundError, match=re.escape(words)):
        lower_bounds.lower_bounds(made)


def test_one_bound_may_be_written_in_two_ways() -> None:
    """2 and 2.0 are the same."""
    assert lower_bounds.lower_bounds(project("a>=2", one=["a>=2.0"]))["one"] == {"a": "2.0"}


def test_another_release_than_the_pinned_is_seen() -> None:
    """One that is missing or newer; 7 is 7.0.0, and a post-release is not."""
    assert astray({"a": "7", "b": "1.2"}, {"a": "7.0.0", "b": "1.2", "c": "9"}) == []
    assert astray({"a": "7", "b": "1", "c": "2"}, {"a": "7.0.1", "b": "1.post1"}) == [
        "a is 7.0.1, not 7",
        "b is 1.post1, not 1",
        "c is missing, not 2",
    ]


# --- what is done ---------------------------------------------------------------------------------


def test_every_extra_is_tried_out() -> None:
    """An extra that is added has to say what it brings; the core and all that are there do."""
    for group in lower_bounds.lower_bounds(PROJECT):
        assert len(lower_bounds.steps(group)) > len(lower_bounds.DEMONSTRATION)
    with pytest.raises(BoundError, match="say in BRINGS what is to be run with the extra 'new'"):
        lower_bounds.steps("new")


@pytest.mark.parametrize("name", lower_bounds.QUICK)
def test_the_quick_tests_are_there(name: str) -> None:
    """A test that is renamed is renamed in the script too."""
    file, _, test = name.partition("::")
    text = (lower_bounds.REPOSITORY / file).read_text(encoding="utf-8")
    assert f"def {test.partition('[')[0]}" in text


WRONG = {
    "status": (Step("", ("-c", "raise SystemExit(3)")), "ended with status 3"),
    "warning": (Step("", ("-c", "import warnings; warnings.warn('old', FutureWarning)")), "wrote to standard error"),
    "file": (Step("", ("-c", "open('b', 'w').close()"), ("a", "b")), "did not write a"),
    "screen": (Step("", ("-c", "print('BUDDING')"), shows="ready.txt"), "another screen than tests/golden/ready.txt"),
    "taken": (Step("", ("-c", ""), refused="pip install"), "should have been refused"),
    "traceback": (Step("", ("-c", "raise OSError('pip install')"), refused="pip install"), "should have been refused"),
    "half": (
        Step("", ("-c", "open('b', 'w').close(); raise SystemExit('pip install')"), refused="pip install"),
        "should have been refused",
    ),
    "other": (Step("", ("-c", "raise SystemExit('no')"), refused="pip install"), "should have been refused"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_goes_wrong_is_seen(case: str, tmp_path: Path) -> None:
    """A status, a warning, a file or a screen that is not as it should be; a refusal that is none, or no plain one."""
    step, words = WRONG[case]
    assert words in perform(step, Path(sys.executable), tmp_path).trouble


@pytest.mark.parametrize(
    "step",
    [
        Step("", ("-c", "open('a', 'w').close()"), ("a",)),
        Step("", ("-c", "raise SystemExit('covercrop: pip install it')"), refused="pip install it"),
        Step("", ("-c", "import sys; print('said', file=sys.stderr)"), quiet=False),
    ],
)
def test_what_goes_right_is_no_trouble(step: Step, tmp_path: Path) -> None:
    """A file that was written, a plain refusal, and a program that may talk."""
    assert perform(step, Path(sys.executable), tmp_path).trouble == ""


def test_bounds_that_pip_cannot_install_are_a_failure(monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """The script says which and leaves with 1; so it does with a name that is no extra."""

    def refuse(*_: Any) -> Any:
        raise BoundError("zarr 3.0.8 and xarray 2024.10 conflict")

    monkeypatch.setattr(lower_bounds, "oldest_python", lambda _: sys.executable)
    monkeypatch.setattr(lower_bounds, "build", lambda *_: Path("no.whl"))
    monkeypatch.setattr(lower_bounds, "try_out", refuse)
    assert lower_bounds.main(["region"]) == 1
    said = capsys.readouterr().out
    assert "region: FAILED to install" in said
    assert "conflict" in said
    assert said.endswith("the lower bounds do not all work\n")
    assert lower_bounds.main(["regoin"]) == 1
    assert "unknown 'regoin'; there are core, calendar" in capsys.readouterr().out


def test_the_oldest_python_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """This one where it is the oldest, another where that is here, and otherwise a message."""
    major, minor = sys.version_info[:2]
    here, next_one = f">={major}.{minor}", f">={major}.{minor + 1}"
    monkeypatch.setattr(lower_bounds.shutil, "which", lambda name: None)
    assert lower_bounds.oldest_python({"project": {"requires-python": here}}) == sys.executable
    with pytest.raises(BoundError, match=f"no python{major}.{minor + 1} is here, the oldest"):
        lower_bounds.oldest_python({"project": {"requires-python": next_one}})
    monkeypatch.setattr(lower_bounds.shutil, "which", lambda name: sys.executable)
    assert lower_bounds.oldest_python({"project": {"requires-python": next_one}}) == sys.executable


def test_this_environment_is_within_the_bounds() -> None:
    """What the tests run with is no older than what pyproject.toml allows."""
    from importlib.metadata import version

    for name, lowest in lower_bounds.lower_bounds(PROJECT)["test"].items():
        assert Version(version(name)) >= Version(lowest), name
