"""The teaching notebooks: they say what is true, go on when a number is changed, and stand in git without output."""

from __future__ import annotations

import ast
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import matplotlib
import nbformat
import numpy as np
import pandas as pd
import pytest
from IPython.core.interactiveshell import InteractiveShell
from nbclient import NotebookClient
from notebook_runner import Run, code_cells, edited, run, shell
from scipy.stats import binom

from covercrop.teaching.exercises import exercises
from covercrop.weather.outlook import FEWEST_YEARS, MOST_YEARS

REPOSITORY = Path(__file__).resolve().parent.parent
FOLDER = REPOSITORY / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
PROXY = re.compile(r"(?i)(https?|all|ftp)_proxy")

#: The one thing about its kernel that a notebook says, and of a cell that its code is folded.
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
FOLDED = {"jupyter": {"source_hidden": True}, "tags": ["hide-input"]}

#: Runs in each kernel before its first cell.  The kernel's own talk with the tests goes through zmq, not through these.
GUARD = """
import os, socket

def _guarded(original, place):
    def call(*arguments, **named):
        address = arguments[place]
        host = address[0] if isinstance(address, tuple) else None if place else address
        host = host.decode() if isinstance(host, bytes) else host
        if host not in ("localhost", "127.0.0.1", "::1", "", None):
            with open(os.environ["NETWORK_ATTEMPTS"], "a") as file:
                print(host, file=file)
            raise OSError(f"a notebook may not reach {host!r}")
        return original(*arguments, **named)
    return call

for _name in ("connect", "connect_ex"):
    setattr(socket.socket, _name, _guarded(getattr(socket.socket, _name), 1))
socket.getaddrinfo = _guarded(socket.getaddrinfo, 0)
"""


@pytest.fixture(scope="module")
def kernel_environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The environment of a user who has never run anything, on a machine without a network."""
    home = tmp_path_factory.mktemp("home")
    startup = home / "ipython" / "profile_default" / "startup"
    startup.mkdir(parents=True)
    startup.joinpath("00-no-network.py").write_text(GUARD, encoding="utf-8")
    kept = {name: value for name, value in os.environ.items() if not PROXY.fullmatch(name)}
    places = {
        "HOME": home,
        "USERPROFILE": home,
        "IPYTHONDIR": home / "ipython",
        "MPLCONFIGDIR": home / "matplotlib",
        "XDG_CACHE_HOME": home / "cache",
        "XDG_CONFIG_HOME": home / "config",
        "XDG_DATA_HOME": home / "data",
        "NETWORK_ATTEMPTS": home / "attempts.txt",
    }
    search = os.pathsep.join(filter(None, (str(REPOSITORY), os.environ.get("PYTHONPATH", ""))))
    return kept | {name: str(place) for name, place in places.items()} | {"PYTHONPATH": search}


def in_a_kernel(notebook: Any, environment: dict[str, str]) -> list[str]:
    """Execute a notebook in a fresh kernel, away from the repository; the hosts that it tried to reach."""
    attempts = Path(environment["NETWORK_ATTEMPTS"])
    attempts.unlink(missing_ok=True)
    place = {"metadata": {"path": environment["HOME"]}}
    NotebookClient(notebook, timeout=120, kernel_name="python3", resources=place).execute(env=environment)
    return attempts.read_text(encoding="utf-8").split() if attempts.exists() else []


# --- what the text says is so ---------------------------------------------------------------------------------------


def rounded(numbers: dict[str, float], digits: int = 1) -> dict[str, float]:
    """Numbers as the text prints them."""
    return {name: round(float(number), digits) for name, number in numbers.items()}


def degree_days(names: dict[str, Any]) -> None:
    """Notebook 1."""
    day = names["hourly"]["2013-04-05"]
    assert (day.size, round(day.min(), 1), round(day.max(), 1)) == (24, 5.0, 17.8)
    assert round(names["measured_on"]("2013-04-05", 10.0), 1) == 2.2
    assert rounded(names["six"]) == {
        "average": 1.4, "clamped-average": 3.9, "triangle": 2.4, "double-triangle": 2.1, "sine": 2.8, "double-sine": 2.6
    }  # fmt: skip
    tomorrow = names["hourly"]["2013-04-06"].min()
    for name, curve in names["pictures"](day.min(), day.max(), tomorrow).items():
        assert np.maximum(curve - 10.0, 0).mean() == pytest.approx(names["six"][name], abs=0.03)
    days, gap = names["days"], names["gap"]
    assert len(days) == 347
    assert gap[days["tmin"] >= 10.0].max() < 1e-9
    assert gap[days["tmax"] <= 10.0].max() < 1e-9
    assert round(gap.max(), 1) == 3.5
    assert rounded(names["off"]["March to May"].to_dict(), 0) == {
        "average": -5, "clamped-average": 9, "triangle": -1, "double-triangle": 0, "sine": 2, "double-sine": 3
    }  # fmt: skip
    assert names["off"]["June to August"].abs().max() < 0.5
    assert names["sums"]["days from the thermometer"].tolist() == [0, 2, -3, 0, 0, -1, -1]
    cases = names["cases"].query("method == 'sine' and tmin == 58 and tmax == 78").set_index("cutoff")["degree_days"]
    assert rounded(cases.to_dict()) == {"horizontal": 15.8, "intermediate": 13.5, "vertical": 7.0}
    for cutoff, published in cases.items():
        assert names["computed"][cutoff] == pytest.approx(published, abs=0.01)
        assert names["counts"][cutoff].mean() == pytest.approx(published, abs=0.1)
    cases, agree = names["cases"], names["agree"]
    assert (len(cases), int((cases["kind"] == "published").sum()), int((~agree).sum())) == (499, 487, 3)
    reckon = names["degree_days"]
    assert [reckon([low], [100], 55, 90, method="triangle")[0] for low in (60, 75)] == [23.75, 30.5]
    assert max(names["six"], key=names["six"].get) == exercises()["says-most"].answer


def bloom(names: dict[str, Any]) -> None:
    """Notebook 2."""
    sightings = names["sightings"]
    assert (sightings["days early"].min(), sightings["days early"].max()) == (27, 54)
    assert names["sum_moves"] == 58
    length = names["day_length"]
    assert length(31, "2001-01-15") > length(43, "2001-01-15")
    assert length(31, "2001-05-15") < length(43, "2001-05-15")
    day = pd.Timedelta(days=1)
    assert sightings["seen"].between(sightings["first_flower"] - day, sightings["end_of_bloom"]).all()
    assert (sightings["end_of_bloom"] - sightings["first_flower"]).dt.days.between(21, 29).all()
    assert names["clock_moves"] == exercises()["moves-by-the-clock"].answer == 0
    assert all(place["bloom"].size == 25 for place in names["places"].values())
    worst = names["trial"].groupby("rule").max().round().astype(int)
    assert worst["fitted at home"].to_dict() == {"from sowing": 10, "from a date": 7, "day length too": 3}
    assert worst["place left out"].to_dict() == {"from sowing": 73, "from a date": 16, "day length too": 3}
    assert names["residuals"]["left_out_error_days"].abs().max() <= 7.5
    error = names["error"]
    assert error.loc["crimson clover", "left_out_error_days"] < 0.5
    assert 7 < error.loc["crimson clover", "plain_sum_error_days"] < 8.5
    assert error.loc["winter pea", "plain_sum_error_days"] < error.loc["winter pea", "left_out_error_days"]
    assert error.loc["crimson clover", "averaged_error_days"] < 1.5


def season(names: dict[str, Any]) -> None:
    """Notebook 3."""

    def days(difference: Any) -> float:
        return float(difference / np.timedelta64(1, "D"))

    desk, width = names["from_the_desk"], names["width"]
    opens = [answer.median for answer in desk.values()]
    by_march = [abs(days(date - opens[0])) for day, date in zip(desk, opens, strict=True) if f"{day}" < "2026-03-20"]
    assert len(by_march) == 3
    assert max(by_march) <= 2
    assert -12 <= days(opens[-1] - opens[0]) <= -7
    assert round(names["this"] - names["usual"]) == 6
    assert 1.7 < names["this"] / names["usual"] < 2
    nobody, first, both = names["plans"].values()
    assert width(nobody) == pytest.approx(30, abs=2)
    assert 0.3 < width(both) / width(nobody) < 0.4
    assert width(both) < width(first) < width(nobody)
    assert days(first.dates["window_open"].median - nobody.dates["window_open"].median) >= 4
    assert both.window.best.probability == pytest.approx(0.90, abs=0.012)
    assert nobody.window.best.probability == pytest.approx(0.55, abs=0.012)
    assert names["unscouted"](pd.Timestamp("2026-04-08").date()).dates["bud"].median < np.datetime64("2026-04-05")
    assert 5 <= names["safe"].size <= 12
    assert names["plan"].state == "plantable"
    told = names["after_ending"]()
    assert told.planting.binding == exercises()["what-binds"].answer
    assert days(told.dates["maggot"].median - told.dates["soil_warm"].median) > 5
    waiting = names["waiting"]
    assert waiting["black-plastic"] < waiting["bare"] < waiting["straw"]
    middle = [answer.median for answer in names["answers"].values()]
    assert days(max(middle) - min(middle)) <= 8
    assert days(names["plan"].on - list(names["answers"].values())[-1].early) > 4
    measured, reckoned = names["measured"], names["reckoned"]
    assert days(reckoned.planting.safe - measured.planting.safe) == 1
    assert width(measured, "soil_warm") < width(reckoned, "soil_warm")


def odds(names: dict[str, Any]) -> None:
    """Notebook 4."""
    outlook, held = names["outlook_of"](1993), names["held"]
    assert len(outlook.years) == 30
    assert 1992 not in outlook.years  # named by its sowing: no spring may foretell itself
    low, high = binom.interval(0.95, held.size, 0.8)
    assert (held.size, low, high) == (90, 64, 79)
    assert low <= held.sum() <= high
    assert exercises()["honest-hits"].answer == 0.8 * held.size
    assert abs(names["scores"]["bloom_25"].coverage_80 - held.mean()) < 0.015
    holds = names["verdicts"]["80% interval holds [%]"]
    assert holds["too sure"] < holds["5 years"] < 75 < holds["honest"] < 88 < holds["too shy"]
    assert names["verdicts"]["score [days]"].idxmin() == "honest"
    assert (FEWEST_YEARS, MOST_YEARS) == (8, 30)
    kept, width, real = names["kept"], names["width"], names["real"]
    assert 0.2 < kept(names["forecasts"], real)[7] < 0.3
    assert width(names["both"]) > 3 * width(names["forecasts"])
    assert low <= 90 * kept(names["both"], real)[7] <= high
    weather, both = names["widths"].values()
    assert weather[-1] < weather[0] / 2
    assert both[-1] > 0.6 * both[0]


def station(names: dict[str, Any]) -> None:
    """Notebook 5."""
    assert names["barn"].iloc[0][["Low (F)", "High (F)"]].tolist() == [60.4, 77.2]
    assert len(names["refused"]) == 2
    missed = [name for name, flag in names["found"].items() if not flag]
    assert missed == ["it falls off its post into the sun"]
    assert len(missed) == exercises()["gets-through"].answer
    assert (names["table"]["origin"] == "observed").mean() > 0.99
    assert names["odd"].index.min() >= pd.Timestamp("2025-05-25")
    assert names["odd"].index.max() <= pd.Timestamp("2025-06-21")
    assert 1.1 < names["warmth"]["barn"] / names["warmth"]["truth"] < 1.4
    fitted, own = names["fitted"], names["own"]
    wanted = names["clover"].bloom.requirement.value + names["SECRET"]
    assert len(fitted.rows) == 12
    assert own.low <= wanted <= own.high
    assert fitted.left_out < 3.5 < fitted.plain_sum
    shipped, own_plan = names["plans"].values()
    assert own_plan.window.best.date < shipped.window.best.date
    assert own_plan.window.best.probability > shipped.window.best.probability
    autumn = names["autumn"]
    planting = {choice.cover.key: choice.earliest_planting[choice.best] for choice in autumn.choices}
    assert all(choice.fit and choice.after.limit == "established" for choice in autumn.choices)
    others = min(planting["hairy-vetch"], planting["winter-pea"])
    assert 14 <= (others - planting["crimson-clover"]).astype(int) <= 28


def gardeners(names: dict[str, Any]) -> None:
    """Notebook 6, and the sheet of its teacher."""
    assert names["pencil_sum"] == exercises()["pencil-sum"].answer
    assert names["hour_by_hour"].sum() > names["pencil_sum"]
    assert f"{names['came']:%-d %B}" == "6 April"
    assert names["degree_days"].idxmax() == pd.Timestamp("2013-04-09").date()
    teacher = " ".join((FOLDER / "6-for-the-teacher.md").read_text(encoding="utf-8").split())
    a, b = names["first_word"], names["last_word"]
    assert f"from {a[0]:%-d %B} to {a[1]:%-d %B}" in teacher
    assert f"from {b[0]:%-d %B} to {b[1]:%-d %B}" in teacher
    assert f"{names['past'].min():%-d %B} to {names['past'].max():%-d %B}" in teacher
    assert "the sixth of April" in teacher
    assert names["opens"] == ["23 January", "11 April"]
    assert "on 23 January and thirteen on 11 April" in teacher
    for value in names["degree_days"]:
        assert f"{value:g}" in teacher
    assert f"{names['hour_by_hour'].sum():.0f} by the hourly" in teacher


#: What holds of each notebook as it stands, and edits that its text asks for, each a picture of its own and no error.
TRUE = dict(zip(NOTEBOOKS, (degree_days, bloom, season, odds, station, gardeners), strict=True))
EDITS: dict[int, list[tuple[str, str]]] = {
    1: [
        ('AIRPORT = "EWR"', 'AIRPORT = "JFK"'),
        ("off, sums = draw_sums(base=10.0", "off, sums = draw_sums(base=15.0"),
        ("FAHRENHEIT = False", "FAHRENHEIT = True"),
    ],
    2: [
        ('START = "2002-01-01"', 'START = "2002-03-01"'),
        ("OBSERVER = 3 ", "OBSERVER = 10 "),
        ('SOWN = "10-01"', 'SOWN = "12-01"'),
    ],
    3: [
        ("spring = spring_like(ENDING)", "seen = ()\nspring = spring_like(2018)"),
        ("ENDED = dt.date(2026, 5, 6)", "ENDED = dt.date(2026, 4, 25)"),
        ('SORT = ""', 'SORT = "AU Robin"'),
    ],
    4: [
        (
            "SURE, SHY =",
            "forecasts = [np.append(m, [t] * 10) for m, t in zip(forecasts, truths)]\nSURE, SHY =",
        ),
        ("NEAREST = 5 ", "NEAREST = 15 "),
        ("CULTIVAR_KNOWN = False", "CULTIVAR_KNOWN = True"),
    ],
    5: [
        ("KEPT = 6 ", "KEPT = 3 "),
        ('PLANT_BY = "2027-07-01"', 'PLANT_BY = "2027-06-10"'),
        ("records.to_csv(folder", 'records.loc[2, "date"] += dt.timedelta(days=30)\nrecords.to_csv(folder'),
    ],
    6: [
        ("MY_SUM = ...", "MY_SUM = 47"),
        ('MY_BET = "April 17"', 'MY_BET = "10 April, perhaps"'),
        ('MY_CARD = "41-60 38-55 44-63 50-71 47-66"', 'MY_CARD = "45-70, 70-45 hot"'),
        ("FAHRENHEIT = True", "FAHRENHEIT = False"),
    ],
}


@pytest.fixture(scope="module")
def student(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InteractiveShell]:
    """A shell in an empty folder, so that a notebook that looks for files beside it is found out; coarse pictures."""
    here = Path.cwd()
    os.chdir(tmp_path_factory.mktemp("desk"))
    try:
        with matplotlib.rc_context({"backend": "agg", "savefig.dpi": 20}), shell() as made:
            yield made
    finally:
        os.chdir(here)


def kept_clean(done: Run) -> None:
    """Nothing on standard error, no network, every picture with words, and no picture that nobody is told of."""
    assert done.alarms == ""
    assert "Traceback" not in done.printed  # IPython tells of a value that cannot be shown, and goes on
    assert done.attempts == []
    assert not [shown for shown in done.shown if shown.startswith(("Figure(", "<Figure"))]
    assert not matplotlib.pyplot.get_fignums()
    assert all(len(alt) > 40 for alt in done.pictures)


@pytest.mark.usefixtures("plans_once", "autumns_once")  # most of what an edit leaves as it was
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs_and_goes_on_when_changed(path: Path, student: InteractiveShell) -> None:
    """From no names, without a network, to the end, and what its text states is so.

    Then each edit that its text asks for, with all the cells below: no error, nothing on standard error, and another
    answer than before.
    """
    whole = run(student, code_cells(path))
    kept_clean(whole)
    assert len(whole.pictures) >= 3
    assert any("<svg" in shown for shown in whole.shown) == path.name.startswith("3")  # there a plan shows itself
    TRUE[path](whole.names)
    assert len(EDITS[int(path.name[0])]) >= 3
    for old, new in EDITS[int(path.name[0])]:
        again = run(student, edited(path, old, new), fresh=False)
        kept_clean(again)
        assert again.pictures
        assert not set(again.pictures.items()) <= set(whole.pictures.items()) or again.printed not in whole.printed


def test_it_runs_in_a_kernel_and_reaches_for_nothing(kernel_environment: dict[str, str]) -> None:
    """The sixth as a user has it who never ran anything; and the guard works: what is beyond this machine is told."""
    notebook = nbformat.read(NOTEBOOKS[5], as_version=4)
    cell = """
import socket, urllib.request
for reach in (lambda: socket.create_connection(("192.0.2.1", 80)), lambda: urllib.request.urlopen("http://example.org")):
    try:
        reach()
    except OSError:
        pass
"""
    notebook.cells.append(nbformat.v4.new_code_cell(cell))
    assert in_a_kernel(notebook, kernel_environment) == ["192.0.2.1", "example.org"]
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    assert [output.text for output in outputs if output.get("name") == "stderr"] == []
    assert sum("<img" in output.get("data", {}).get("text/html", "") for output in outputs) >= 3


# --- they are kept clean --------------------------------------------------------------------------------------------


def stripped(text: str) -> str:
    """A notebook as it stands in git: no output, no counts, no metadata but the kernel's name."""
    notebook = nbformat.reads(text, as_version=4)
    notebook.metadata = nbformat.from_dict(METADATA)
    notebook.nbformat, notebook.nbformat_minor = 4, 5
    for cell in notebook.cells:
        folded = cell.metadata.get("jupyter", {}).get("source_hidden", False)
        cell.metadata = nbformat.from_dict(FOLDED if folded else {})
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    return nbformat.writes(notebook) + "\n"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_is_stripped(path: Path, request: pytest.FixtureRequest) -> None:
    """The file is, byte for byte, the notebook without what running it leaves behind."""
    text = path.read_text(encoding="utf-8")
    if request.config.getoption("--update-golden"):
        text = stripped(text)
        path.write_text(text, encoding="utf-8")
    assert text == stripped(text), "run pytest tests/test_notebooks.py -k stripped --update-golden"
    notebook = nbformat.reads(text, as_version=4)
    nbformat.validate(notebook)
    ids = [cell.id for cell in notebook.cells]
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize(
    "change",
    [
        lambda cell, _: cell.outputs.append(nbformat.v4.new_output("stream", text="42")),
        lambda cell, _: cell.update(execution_count=3),
        lambda cell, _: cell.metadata.update(collapsed=True),
        lambda _, notebook: notebook.metadata.update(widgets={}),
        lambda _, notebook: notebook.metadata.language_info.update(version="3.11.2"),
    ],
    ids=["output", "count", "cell metadata", "metadata", "version"],
)
def test_what_running_leaves_behind_is_seen(change: Any) -> None:
    """The check itself catches each of the things that a session in a browser adds."""
    clean = NOTEBOOKS[0].read_text(encoding="utf-8")
    notebook = nbformat.reads(clean, as_version=4)
    change(next(cell for cell in notebook.cells if cell.cell_type == "code"), notebook)
    dirty = nbformat.writes(notebook) + "\n"
    assert dirty != clean
    assert stripped(dirty) == clean


# --- they teach -----------------------------------------------------------------------------------------------------


def test_there_are_six() -> None:
    """One, two, three, four, five, six."""
    assert [path.name.partition("-")[0] for path in NOTEBOOKS] == ["1", "2", "3", "4", "5", "6"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_is_built_like_the_others(path: Path) -> None:
    """A title, 10 to 30 cells, predictions, hidden answers, checks, a switch of degrees, three exercises at the end."""
    cells = nbformat.read(path, as_version=4).cells
    assert 10 <= len(cells) <= 30
    assert cells[0].cell_type == cells[-1].cell_type == "markdown"
    assert cells[0].source.startswith("# ")
    assert re.findall(r"^(\d)\. ", cells[-1].source, flags=re.MULTILINE) == ["1", "2", "3"]
    text = "\n".join(cell.source for cell in cells if cell.cell_type == "markdown")
    answers = text.count("<details><summary>Answer</summary>\n\n")
    assert answers == text.count("\n</details>") == text.count("**Question.**")
    assert answers >= 3
    assert text.count("**Predict first.**") + text.count("**Predict first**") >= 3
    code = "\n".join(cell.source for cell in cells if cell.cell_type == "code")
    assert len(re.findall(r"^FAHRENHEIT = (?:True|False)", code, flags=re.MULTILINE)) == 1
    assert "check(" in code
    assert "slide(" in code or path.name.startswith("5")  # the station's file has nothing to slide along
    assert not re.search(r"^ *assert ", code, flags=re.MULTILINE)  # a changed number is no error
    assert "plt.show(" not in code  # which knows no words for a picture


def test_the_gardeners_see_no_code() -> None:
    """In the sixth whatever is not folded is a line with a number or a word of one's own."""
    cells = nbformat.read(NOTEBOOKS[5], as_version=4).cells
    seen = [cell.source for cell in cells if cell.cell_type == "code" and dict(cell.metadata) != FOLDED]
    lines = [line for source in seen for line in ast.parse(source).body]
    assert 4 <= len(lines) <= 6
    assert all(isinstance(line, ast.Assign) and isinstance(line.value, ast.Constant) for line in lines)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_folder_lists_it(path: Path) -> None:
    """notebooks/README.md says in a line what each is about."""
    assert f"`{path.name}`" in (FOLDER / "README.md").read_text(encoding="utf-8")
