"""The report and its charts, without a browser: what is drawn, what is said, what is refused."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import json
import os
import re
import runpy
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import colorspacious
import matplotlib.colors
import numpy as np
import pytest
from invented import field, weather

from covercrop.base import output
from covercrop.base.one_system import one_system
from covercrop.checking.springs import past_springs
from covercrop.cli import report as report_command
from covercrop.cli.main import main
from covercrop.field.entries import ScoutingNote
from covercrop.models.daylength import day_length
from covercrop.models.phenology import photothermal_rate, stage_days
from covercrop.render.figures import canvas, charts, spans, svg
from covercrop.render.figures import springs as spring_charts
from covercrop.render.figures.springs import SPRING_CHARTS
from covercrop.render.page import notebook, report
from covercrop.render.page.sheet import SIZES, type_size
from covercrop.render.words import charts as captions
from covercrop.render.words import springs as spring_words
from covercrop.season.plan import Plan, make_plan
from covercrop.season.progress import towards_bloom

REPOSITORY = Path(__file__).resolve().parent.parent

pytestmark = pytest.mark.usefixtures("plans_once")
SVG = "{http://www.w3.org/2000/svg}"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def plan() -> Plan:
    """A field in April."""
    return make_plan(field(), weather(), np.datetime64("2026-04-20"))


# --- what is drawn --------------------------------------------------------------------------------


def test_the_progress_is_that_of_the_model(plan: Plan) -> None:
    """In the years whose bloom it is, the sum on the day of 25% bloom is the cover's requirement, to one day's gain."""
    outlook, bloom = plan.outlook, plan.cover.bloom
    length = day_length(plan.field.latitude, outlook.day_of_year)
    days = stage_days(outlook.tmean, length, plan.cover)
    rate = photothermal_rate(outlook.tmean, length, days["emergence"][:, 0], bloom)
    reached = days["bloom_25"][:, 0].astype(int)
    year = np.arange(len(reached))
    sums = rate.cumsum(axis=1)
    assert (sums[year, reached] >= bloom.requirement.value - 1e-6).all()
    assert (sums[year, reached - 1] < bloom.requirement.value).all()
    found = towards_bloom(outlook, plan.field.latitude, plan.cover)
    assert found.median == pytest.approx(np.median(sums, axis=0))
    share_below = (sums <= found.late[None, :] + 1e-9).mean(axis=0)
    assert share_below[-1] == pytest.approx(0.1, abs=0.05)  # the late line has a tenth of the years below it
    assert (found.early >= found.median).all()


def test_the_line_of_the_season_is_the_sum(plan: Plan) -> None:
    """The drawn line is the progress up to the last observed day, and in degF days 1.8 times as high."""
    known = plan.outlook.known
    sums = towards_bloom(plan.outlook, plan.field.latitude, plan.cover).median
    for us, factor in ((False, 1.0), (True, 1.8)):
        axes = charts.season_chart(plan, us=us).axes[0]
        (line,) = (line for line in axes.lines if line.get_label() == "this season")
        assert np.asarray(line.get_xdata()) == pytest.approx(plan.outlook.days[:known].astype(float))
        assert np.asarray(line.get_ydata()) == pytest.approx(sums[:known] * factor)


def test_a_bar_for_the_chance_of_every_day(plan: Plan) -> None:
    """The bars are the plan's own odds, day by day, and the days of the best week are the dark ones."""
    figure = charts.window_chart(plan)
    assert figure is not None
    bars = figure.axes[0].patches
    days = np.array([bar.get_x() + bar.get_width() / 2 - 0.5 for bar in bars]).round().astype("datetime64[D]")
    heights = np.array([bar.get_height() for bar in bars])
    place = np.searchsorted(plan.window.days, days)
    assert heights == pytest.approx(plan.window.chances[place])
    left_out = np.delete(plan.window.chances, place)
    assert left_out.max() < spans.LEAST_DRAWN
    dark = days[[matplotlib.colors.to_hex(bar.get_facecolor()) == canvas.WINDOW for bar in bars]]
    assert plan.window.best is not None
    best = plan.window.best
    assert (dark[0], dark[-1], dark.size) == (best.start, best.end, (best.end - best.start).astype(int) + 1)


def test_the_limit_that_binds_stands_out(plan: Plan) -> None:
    """One limit is in bold, the one of the plan, and each has its likely date beside it."""
    figure = charts.limits_chart(plan)
    assert figure is not None
    words = {text.get_text(): text.get_fontweight() for text in figure.axes[0].texts}
    bold = [text for text, weight in words.items() if weight == "bold" and not text[0].isdigit()]
    label = {"disease": "seedling disease", "soil_warm": "soil at 16 °C"}[str(plan.planting.binding)]
    assert bold == [label, "safe to plant"]


@pytest.mark.parametrize(
    ("on", "options", "drawn"),
    [
        ("2025-11-10", {}, (True, True, True, True, False)),
        ("2026-05-12", {"turned_under": "2026-05-06"}, (True, False, False, True, True)),
        ("2026-06-20", {"turned_under": "2026-05-06", "planted": "2026-06-08"}, (True, False, False, False, True)),
    ],
)
def test_only_what_there_is_is_drawn(on: str, options: dict[str, str], drawn: tuple[bool, ...]) -> None:
    """No window once the cover is under, nothing to wait for once the crop is in, no winter before the first frost."""
    plan = make_plan(field(**options), weather(last=on), np.datetime64(on))
    assert tuple(draw(plan, False) is not None for draw in charts.CHARTS.values()) == drawn


def test_without_past_years_only_the_past_is_drawn() -> None:
    """A season with no history has the line up to today, and nothing after it."""
    plan = make_plan(field(), weather("2025-08-01"), np.datetime64("2026-04-20"))
    figure = charts.season_chart(plan)
    assert [line.get_label() for line in figure.axes[0].lines if not line.get_label().startswith("_")] == [
        "this season"
    ]
    assert not figure.axes[0].collections
    assert len(figure.axes) == 1


# --- colours --------------------------------------------------------------------------------------


def lightness(colour: str) -> float:
    """CIELAB lightness, 0 to 100, which is what a grey print keeps."""
    return float(colorspacious.cspace_convert(matplotlib.colors.to_rgb(colour), "sRGB1", "CIELab")[0])


@pytest.mark.parametrize("pair", list(combinations({**canvas.COLOURS, "binding": canvas.INK}.items(), 2)), ids=str)
def test_colours_are_told_apart(pair: tuple[tuple[str, str], tuple[str, str]]) -> None:
    """Any two colours of a chart differ in lightness, and to eyes that lack a kind of cone.

    Simulated after Machado, Oliveira and Fernandes (2009), as colorspacious has it; CAM02-UCS, in which 1 is about
    the least difference that is seen.
    """
    (_, one), (_, other) = pair
    assert abs(lightness(one) - lightness(other)) > 10
    rgb = [matplotlib.colors.to_rgb(colour) for colour in (one, other)]
    for kind in ("deuteranomaly", "protanomaly", "tritanomaly"):
        space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
        assert colorspacious.deltaE(*rgb, input_space=space) > 15


def luminance(colour: str) -> float:
    """Relative luminance after WCAG 2.2, 0 to 1."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in matplotlib.colors.to_rgb(colour)]
    return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))


def contrast(one: str, other: str) -> float:
    """The contrast of two colours, 1 to 21."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("night", [False, True])
def test_every_mark_stands_out_from_the_paper(plan: Plan, night: bool) -> None:
    """Words have a contrast of 4.5 or more with the paper, and every line and edge one of 3, as WCAG 2.2 asks.

    A pale area has an edge that does (1.4.11); paper itself is only laid behind words and into dots with an edge.
    """
    own = {each: each for each in ("#948c78", "#b8728c", "#c2831a", "#4d7391")}  # of past springs, on either paper
    colours = own | (canvas.DARK if night else {each: each for each in canvas.DARK})
    paper, seen = colours[canvas.PAPER], set()
    beside = past_springs(plan, weather())
    drawn = [draw(plan, False) for draw in charts.CHARTS.values()]
    for figure in (*drawn, *(draw(beside, False) for draw in SPRING_CHARTS.values())):
        assert figure is not None
        root = ElementTree.fromstring(svg.svg(figure, "", "", "x"))
        parents = {child: parent for parent in root.iter() for child in parent}
        for mark in root.iter():
            style = {**parents[mark].attrib, **mark.attrib} if mark in parents else {}
            kind, fill, edge = mark.tag.removeprefix(SVG), style.get("fill", "none"), style.get("stroke", "none")
            if kind == "text":
                assert contrast(colours[fill], paper) >= 4.5, mark.text
            elif kind in ("path", "circle") and (fill, edge) != (canvas.PAPER, "none"):
                assert max(contrast(colours[each], paper) for each in {fill, edge} - {"none"}) >= 3, style
                seen |= {fill, edge}
    assert {canvas.FAN, canvas.WAIT, canvas.HALF, canvas.NINE, canvas.FAINT, canvas.SNOW, canvas.RULE} <= seen


def test_the_shades_of_planting_are_told_apart() -> None:
    """Safe in five, in eight and in nine years of ten: each darker than the last in grey, and lighter at night."""
    shades = [lightness(each) for each in (canvas.HALF, canvas.PLANTING, canvas.NINE)]
    assert min(-np.diff(shades)) > 15
    assert min(np.diff([lightness(canvas.DARK[each]) for each in (canvas.HALF, canvas.PLANTING, canvas.NINE)])) > 15


def test_planting_is_shaded_by_how_sure_it_is(plan: Plan) -> None:
    """The shades begin on the likely day, on the day that is safe in eight years of ten, and on the late one.

    The mark of the eight stands on the day that the words name.
    """
    figure = charts.limits_chart(plan)
    assert figure is not None
    (axes,) = figure.axes
    begins = {
        matplotlib.colors.to_hex(patch.get_facecolor()): patch.get_x()
        for patch in axes.patches
        if hasattr(patch, "get_x")
    }
    dates, safe = plan.planting.earliest, plan.planting.safe
    days = {canvas.HALF: dates.median, canvas.PLANTING: safe, canvas.NINE: dates.late}
    assert {colour: begins[colour] for colour in days} == {colour: canvas.at(day) for colour, day in days.items()}
    marks = [line.get_xdata()[0] for line in axes.lines if line.get_linewidth() == 2.4]
    assert marks == [canvas.at(safe)]
    words = [text.get_text() for text in axes.texts if text.get_fontweight() == "bold"]
    assert captions.phrases.day_month(safe) in words


# --- the SVG --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", charts.CHARTS)
def test_an_svg_fits_a_strict_page(plan: Plan, name: str) -> None:
    """No style attribute, no style sheet, text as text, ids of its own, a title and a description."""
    figure = charts.CHARTS[name](plan, False)
    assert figure is not None
    root = ElementTree.fromstring(svg.svg(figure, "A title", "What is shown", "here"))
    elements = list(root.iter())
    assert not [element for element in elements if "style" in element.attrib or element.tag == f"{SVG}style"]
    ids = [element.attrib["id"] for element in elements if "id" in element.attrib]
    assert len(ids) == len(set(ids))
    assert all(each.startswith("here-") for each in ids)
    pointed = re.findall(r"#(here-[\w-]+)", ElementTree.tostring(root, encoding="unicode"))
    assert set(pointed) <= set(ids)
    assert root.attrib["role"] == "img"
    assert [ids[0], ids[1]] == root.attrib["aria-labelledby"].split()
    assert [element.text for element in root[:2]] == ["A title", "What is shown"]
    assert len(root.findall(f".//{SVG}text")) >= 8
    assert {"width", "height"}.isdisjoint(root.attrib)


def test_the_description_says_what_the_chart_shows(plan: Plan) -> None:
    """Each description has the dates of the plan in words."""
    assert plan.window.best is not None
    season, window, endings, limits, winter = (captions.describe(plan, name) for name in charts.CHARTS)
    assert f"{len(plan.outlook.years)} past years" in season
    assert captions.phrases.day_month(plan.dates["window_open"].median) in season
    best = plan.window.days[plan.window.chances.argmax()]
    assert f"highest on {captions.phrases.day_month(best)}" in window
    assert f"turn it under on {captions.phrases.day_month(plan.window.best.date)} is advised" in endings
    assert limits.count(";") == 4
    assert "Last of all is most often" in limits
    assert captions.phrases.day_month(plan.winter.hardest) in winter


def test_a_name_in_a_picture_is_text(plan: Plan) -> None:
    """A name with markup, mathematics and letters that no font here has gives no warning and no markup."""
    named = replace(plan, field=replace(plan.field, name="$x_1$ <b>&\u202e \u7530\u3093\u307c \uffff\x00"))
    drawn = report.picture(named, "season", ".svg").decode()
    root = ElementTree.fromstring(drawn)
    texts = [element.text or "" for element in root.iter(f"{SVG}text")]
    assert any(text.startswith("$x_1$ <b>&\\u202e \u7530\u3093\u307c \ufffd\\x00, 20 Apr 2026") for text in texts)
    assert report.picture(named, "season", ".png").startswith(b"\x89PNG")


# --- the page -------------------------------------------------------------------------------------


class Page(HTMLParser):
    """The tags of a page with their attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_a_page_needs_nothing_else(plan: Plan) -> None:
    """No script, no style but the one whose digest the policy names, and links to places on the page only."""
    html = report.page([plan, plan], plan.on, title="Own fields")
    tags = Page(html).tags
    assert {"script", "link", "img", "iframe", "object", "embed", "base", "form"}.isdisjoint(tag for tag, _ in tags)
    assert not [tag for tag, attributes in tags if any(name == "style" or name.startswith("on") for name in attributes)]
    links = [value for _, attributes in tags for name, value in attributes.items() if name in ("href", "src")]
    assert links
    assert all(str(value).startswith("#") for value in links)
    style = re.search(r"<style>(.*?)</style>", html, flags=re.DOTALL)
    assert style is not None
    assert "url(" not in style[1]
    assert "@import" not in style[1]
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    (policy,) = (a["content"] for tag, a in tags if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy")
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    ids = [attributes["id"] for _, attributes in tags if "id" in attributes]
    assert len(ids) == len(set(ids))


@pytest.fixture(scope="module")
def demo_page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page of the demonstration, as the command writes it."""
    path = tmp_path_factory.mktemp("demo") / "page.html"
    assert main(["report", "-o", str(path)]) == 0
    return path.read_text(encoding="utf-8")


def test_the_page_says_what_ready_says(run: Run, demo_page: str) -> None:
    """Every sentence of the answer, every date and every reason of `ready --full` stands on the page."""
    import html

    _, printed, _ = run("ready", "--json")
    text = html.unescape(re.sub(r"<[^>]+>", " ", demo_page))
    text = " ".join(text.split())
    for each in json.loads(printed)["fields"]:
        assert each["name"] in text
        for entry in (*each["notes"], *each["sources"]):  # JSON says a number in both units, the page in the field's
            assert {" ".join(said.split()) in text for said in (entry, one_system(entry, us=False))} & {True}, entry
    _, screen, _ = run("ready")
    answers = re.findall(r"^[^\n]+: [A-Z ]+\. (.*?\.)\n(?=[A-Z][^\n]*, sown )", screen, flags=re.DOTALL | re.MULTILINE)
    assert len(answers) == len(json.loads(printed)["fields"])
    for answer in answers:
        first, then = answer.split("\nIt is likely", 1)
        assert " ".join(first.split()) in text
        assert " ".join(f"It is likely{then}".split()) in text
    assert "the residue, not the soil, is holding you back." in text
    assert "Weather from the file weather.csv, observed up to 20 Apr 2026; 30 past years (1995 to 2024) finish" in text
    assert "Handle treated seed" not in text


def test_the_timeline_has_a_row_for_every_field(run: Run, demo_page: str) -> None:
    """What needs something first is at the top, as in `ready`; each row leads to its field, and each field back."""
    html = demo_page
    rows = re.findall(r'<tr class="[\w-]+"><th scope="row"><a href="#(field-\d)"><bdi>(.*?)</bdi></a>.*</tr>', html)
    due = {each["name"]: each["next_step"]["from"] for each in json.loads(run("ready", "--json")[1])["fields"]}
    assert [due[name] for _, name in rows] == sorted(due.values())
    for place, name in rows:
        assert re.search(rf'<article id="{place}"[^>]*>.*?<bdi>{name}</bdi>.*?href="#fields"', html, flags=re.DOTALL)
    assert html.index('id="fields"') < html.index("<article")
    assert re.search(r"scout it \d+ Apr; turn it under about \d+ May, works \d+%", html)


def test_sixty_fields_are_under_a_megabyte(plan: Plan) -> None:
    """What a field adds to a page, sixty times, and the rest of it."""
    two, seven = (len(report.page([plan] * count, plan.on, title="Own fields").encode()) for count in (2, 7))
    assert two + 58 * (seven - two) / 5 < 1_000_000


def test_what_is_loaded_has_boxes_to_tick(run: Run, tmp_path: Path) -> None:
    """A box for each thing to load, before the sources; the drawing of the beds stands there too."""
    path = tmp_path / "page.html"
    assert run("report", "-o", path, "--with", "materials", "--field", "Ford meadow")[0] == 0
    html = path.read_text(encoding="utf-8")
    (field,) = json.loads(run("beds", "--json", "--field", "Ford meadow")[1])["fields"]
    boxes = re.findall(r'<label><input type="checkbox"> (.*?)</label>', html)
    assert len(boxes) == len(field["items"])
    on_screen = html.index('<footer class="screen">')  # printed, the sources stand on the first sheet
    assert html.index("<label>") < html.index("Bed plan: Ford meadow") < on_screen < html.rindex("<p>Sources: ")


def test_among_many_fields_a_winter_that_did_no_harm_is_not_drawn() -> None:
    """On a page of few it is there until buds are likely; on one of many only for a stand that is dead or in doubt."""
    calm = make_plan(field(), weather(last="2026-03-01"), np.datetime64("2026-03-01"))
    titles = [report.page([calm] * count, calm.on, title="").count("The winter") for count in (5, 6)]
    assert titles[0] >= 5
    assert titles[1] == 0


def test_a_winter_that_is_past_is_not_on_the_page() -> None:
    """Its chart is there until buds are likely, and for a stand that is dead or in doubt."""
    seen = {}
    for name, on, sky in (("winter", "2026-03-01", {}), ("spring", "2026-04-20", {}),
                          ("dead", "2026-03-20", {"mean": 2.0, "swing": 16.0})):  # fmt: skip
        plan = make_plan(field("winter-pea" if sky else "crimson-clover"), weather(last=on, **sky), np.datetime64(on))
        html = report.page([plan], plan.on, title="Own fields")
        seen[name] = re.findall(r'<figure class="(\w+)">', html)
    assert seen == {
        "winter": ["season", "endings", "limits", "winter"],
        "spring": ["season", "endings", "limits"],
        "dead": ["winter"],
    }


def test_old_weather_is_said(plan: Plan) -> None:
    """A page made days after the last reading says how many."""
    old = make_plan(field(), weather(last="2026-04-10"), np.datetime64("2026-04-20"))
    assert "observed up to 10 Apr 2026, 10 days before this page" in report.weather_line(old)
    assert "before this page" not in report.weather_line(plan)


def test_the_same_answer_gives_the_same_bytes(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process with another hash seed writes the same page, SVG and PNG as this one."""
    commands = [
        ["report", "-o", "page.html", "--with", "cautions"],
        ["report", "-o", "season.svg", "--chart", "season", "--field", "Chapel bench"],
        ["report", "-o", "limits.png", "--chart", "limits", "--field", "Chapel bench"],
    ]
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir()
    there.mkdir()
    code = (
        f"import sys; sys.path.insert(0, {str(REPOSITORY)!r}); from covercrop.cli.main import main\n"
        f"for command in {commands!r}: main(command)"
    )
    seed = "2" if os.environ.get("PYTHONHASHSEED") == "1" else "1"
    subprocess.run(
        [sys.executable, "-c", code], cwd=there, env={**os.environ, "PYTHONHASHSEED": seed}, check=True,
        capture_output=True,
    )  # fmt: skip
    monkeypatch.chdir(here)
    for command in commands:
        assert run(*command)[0] == 0
    written = [{path.name: path.read_bytes() for path in folder.iterdir()} for folder in (here, there)]
    assert set(written[0]) == {"page.html", "season.svg", "limits.png"}
    assert written[0] == written[1]


def test_type_gets_smaller_as_there_is_more(plan: Plan) -> None:
    """More words never give larger type, and too many are said to be too many."""
    found = [
        type_size("x", ("y" * 150,), True, 16, [["z" * 80] * count], ("foot",)) for count in range(0, 100, 4)
    ]  # fmt: skip
    assert found == sorted(found)
    assert (found[0], found[-1]) == (0, len(SIZES))


# --- the command ----------------------------------------------------------------------------------


def one_line(status: int, printed: str, said: str) -> str:
    """The message of a refused command."""
    assert (status, printed) == (1, "")
    assert said.startswith("covercrop: ")
    assert said.count("\n") == 1
    return said


def test_the_command_says_what_it_wrote(run: Run, tmp_path: Path) -> None:
    """One line on the screen, or a document; the file is whole, and may be read as any other."""
    path = tmp_path / "page.html"
    assert run("report", "-o", path) == (0, f"{path}: page of 3 fields\n", "")
    assert path.read_text(encoding="utf-8").endswith("</html>\n")
    assert path.stat().st_mode & 0o777 == 0o666 & ~_umask()
    assert list(tmp_path.iterdir()) == [path]
    status, printed, _ = run("report", "-o", path, "--field", "Ford meadow", "--with", "cautions", "--json")
    assert (status, json.loads(printed)) == (
        0,
        {
            "schema": 1, "on": "2026-04-20", "fields": [{"name": "Ford meadow", "state": "budding"}], "file": str(path)
        },
    )  # fmt: skip
    assert "Handle treated seed" in path.read_text(encoding="utf-8")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["-o", "none/page.html"], "there is no folder"),
        (["-o", "folder.html"], "is a folder"),
        (["-o", "fields.toml"], "give a name that ends with .html or .htm"),
        (["-o", "x.html", "--chart", "season"], "ends with .svg or .png"),
        (["-o", "x.svg", "--chart", "season"], "name it with --field, one of: Ford meadow"),
        (["-o", "x.html", "--field", "Ford medow"], "did you mean Ford meadow"),
        (["-o", "x.html", "--on", "2020-01-01"], "sown = 2025-09-15 is after 2020-01-01"),
    ],
)
def test_what_cannot_be_written(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], message: str
) -> None:
    """A place, chart or field that makes no sense gives one line each, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    Path("folder.html").mkdir()
    status, printed, said = run("report", *arguments)
    assert (status, printed) == (1, "")
    assert message in said
    assert said.count("\n") == (3 if "--on" in arguments else 1)
    assert [path.name for path in tmp_path.iterdir()] == ["folder.html"]


def test_materials_are_those_of_beds(run: Run, tmp_path: Path) -> None:
    """Every line of the list of `beds`, and every rule, stands on the page; also in US units."""
    import html

    for units in ("metric", "us"):
        path = tmp_path / f"{units}.html"
        assert run("report", "-o", path, "--with", "materials", "--units", units)[0] == 0
        text = html.unescape(path.read_text(encoding="utf-8"))
        _, printed, _ = run("beds", "--json", "--units", units)
        for each in json.loads(printed)["fields"]:
            assert each["items"]
            for item in each["items"]:
                assert f"{item['item']} ({item['why']})" in text
            for rule in each["intervals"]:
                assert rule["says"] in text
            assert f"<title>Bed plan: {each['name']}</title>" in text


def test_a_field_without_a_size_has_no_list(run: Run, tmp_path: Path, demo_dir: Path) -> None:
    """Where beds cannot be laid out, the answer stands, and the page says why there is no list."""
    text = (demo_dir / "fields.toml").read_text(encoding="utf-8").split('[[field]]\nname = "Upper')[0]
    second = text.index('[[field]]\nname = "Chapel')
    own = tmp_path / "fields.toml"
    text = text[second:].replace("area_m2 = 1200", "").replace('"weather.csv"', f'"{demo_dir / "weather.csv"}"')
    own.write_text(f"today = 2026-04-20\n{text}", encoding="utf-8")
    path = tmp_path / "page.html"
    assert run("report", own, "-o", path, "--with", "materials")[0] == 0
    assert "No list: " in path.read_text(encoding="utf-8")


def test_without_a_place_it_is_wrong_usage(run: Run) -> None:
    """-o has to be given."""
    status, printed, said = run("report")
    assert (status, printed) == (2, "")
    assert "-o" in said


def test_no_chart_of_what_is_over(run: Run, tmp_path: Path, demo_dir: Path) -> None:
    """The chart of a window that is past is refused with the reason."""
    text = (demo_dir / "fields.toml").read_text(encoding="utf-8").split('[[field]]\nname = "Chapel')[0]
    text = text.replace("sown = 2025-09-15", "sown = 2025-09-15\nturned_under = 2026-04-19")
    own = tmp_path / "fields.toml"
    own.write_text(text.replace('"weather.csv"', f'"{demo_dir / "weather.csv"}"'), encoding="utf-8")
    said = one_line(*run("report", own, "-o", tmp_path / "x.svg", "--chart", "window"))
    assert "Ford meadow: no chart of the window, since the field is turned under" in said


def test_a_field_that_fails_is_named_on_the_page(run: Run, tmp_path: Path, demo_dir: Path) -> None:
    """The others have their sheets; the one that failed stands at the top with its reason; the status is 1."""
    own = tmp_path / "fields.toml"
    text = (demo_dir / "fields.toml").read_text(encoding="utf-8")
    text = text.replace('"weather.csv"', '"elsewhere.csv"', 1).replace('"weather.csv"', f'"{demo_dir / "weather.csv"}"')
    own.write_text(text, encoding="utf-8")
    path = tmp_path / "page.html"
    status, printed, said = run("report", own, "-o", path)
    assert (status, said.count("\n")) == (1, 1)
    assert "page of 2 fields" in printed
    html = path.read_text(encoding="utf-8")
    assert html.count("<article ") == 2
    assert re.search(r"<b><bdi>Ford meadow</bdi></b>: <bdi>[^<]*elsewhere.csv", html)


def test_a_failed_write_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fills up is one line; the old file stands, and no half of a new one."""
    path = tmp_path / "page.html"
    path.write_text("old", encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(output.UsageError, match=r"cannot be written .No space left on device"):
        output.write_whole(path, b"new")
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]
    assert path.read_text(encoding="utf-8") == "old"


def test_a_folder_that_cannot_be_written_to(tmp_path: Path) -> None:
    """No right to write is one line too; here a folder that went away in between."""
    with pytest.raises(output.UsageError, match="cannot be written"):
        output.write_whole(tmp_path / "gone" / "page.html", b"new")


@pytest.mark.parametrize("package", ["matplotlib", "jinja2"])
def test_a_missing_package_is_one_line(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, package: str) -> None:
    """Without an optional package the command says how to get it, before any work, and writes nothing."""
    monkeypatch.setitem(sys.modules, package, None)
    said = one_line(*run("report", "-o", tmp_path / "page.html"))
    assert f"{package} is not installed; pip install 'covercrop[report]' brings it" in said
    assert not list(tmp_path.iterdir())


def test_the_other_commands_need_no_extra() -> None:
    """`ready` works where neither matplotlib nor jinja2 can be imported."""
    code = (
        "import sys; sys.modules.update(matplotlib=None, jinja2=None); "
        "from covercrop.cli.main import main; sys.exit(main(['ready']))"
    )
    ended = subprocess.run([sys.executable, "-c", code], cwd=REPOSITORY, capture_output=True, text=True, check=True)
    assert "BUDDING" in ended.stdout


def test_the_choices_of_the_help() -> None:
    """The charts that the help names are those of the library."""
    assert tuple(charts.CHARTS) == tuple(captions.TITLES)
    assert tuple(spring_charts.SPRING_CHARTS) == tuple(spring_words.TITLES) == tuple(spring_words.KEYS)
    assert (*charts.CHARTS, *spring_charts.SPRING_CHARTS) == report_command.CHARTS
    assert report.SECTIONS == report_command.WITH


# --- at a prompt ----------------------------------------------------------------------------------


def test_a_plan_shows_itself_in_a_notebook(tmp_path: Path) -> None:
    """A real kernel shows a plan as an accessible chart and a table, and a chart as a picture, with no set-up."""
    import nbclient
    import nbformat

    code = f"""
import sys
sys.path[:0] = [{str(REPOSITORY)!r}, {str(REPOSITORY / "tests")!r}]
import numpy as np
from invented import field, weather
from covercrop.season.plan import make_plan
plan = make_plan(field(), weather(), np.datetime64("2026-04-20"))
plan"""
    cells = [nbformat.v4.new_code_cell(cell) for cell in (
        code, "from covercrop.render.figures.charts import season_chart\nseason_chart(plan)"
    )]  # fmt: skip
    book = nbformat.v4.new_notebook(cells=cells)
    nbclient.NotebookClient(book, timeout=300, resources={"metadata": {"path": str(tmp_path)}}).execute()
    shown, drawn = (cell.outputs[0].data for cell in book.cells)
    html, text = shown["text/html"], shown["text/plain"]
    assert "<svg " in html
    assert 'role="img"' in html
    assert "<th>earliest safe planting</th>" in html
    assert "Test plot: BUDDING" in text
    assert max(map(len, text.splitlines())) <= 80
    assert base64.b64decode(drawn["image/png"]).startswith(b"\x89PNG")


def test_without_the_extra_a_plan_is_text(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the charts cannot be drawn, the notebook falls back on the screen of `ready`."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    assert notebook.html(plan) is None
    assert notebook.text(plan).startswith("Test plot, Mon 20 Apr 2026\n\nTest plot: BUDDING")


# --- the pictures of the README -------------------------------------------------------------------


#: A number of a path, which follows the one before without a blank where it can.
NUMBER = r"-?(?:\d+\.?\d*|\.\d+)"


def shapes(text: str) -> tuple[list[str], list[tuple[str, float, float]]]:
    """The words of an SVG, and where and how large its filled shapes are, as colour, middle and width."""
    root = ElementTree.fromstring(text)
    words = [element.text or "" for element in root.iter() if element.tag.split("}")[1] in ("text", "title", "desc")]
    found = []
    for path in root.iter(f"{SVG}path"):
        for part in path.attrib["d"].split("M")[1:]:
            across = part_across(part)
            if path.attrib.get("fill", "none") != "none":
                found.append((path.attrib["fill"], float(across.min() + across.max()) / 2, float(np.ptp(across))))
    return words, found


def part_across(part: str) -> np.ndarray:
    """How far right each point of a piece of a path is: it begins at a place, and goes on in steps."""
    first, *steps = re.findall(r"[lhv]?[^lhvz]+", part)
    places = [float(re.findall(NUMBER, first)[0])]
    for step in steps:
        numbers = [float(each) for each in re.findall(NUMBER, step[1:])]
        places += {"h": numbers, "v": [0.0] * len(numbers), "l": numbers[::2]}[step[0]]
    return np.cumsum(places)


def test_the_pictures_of_the_readme_are_current() -> None:
    """`python data/demo/make_pictures.py` would draw the same words, and the same bars to half a point."""
    folder = REPOSITORY / "data" / "demo"
    drawn = runpy.run_path(str(folder / "make_pictures.py"))["pictures"]()
    readme = (REPOSITORY / "README.md").read_text(encoding="utf-8")
    assert len(drawn) == 2
    for name, text in drawn.items():
        assert f"](data/demo/{name})" in readme
        kept = (folder / name).read_text(encoding="utf-8")
        assert len(kept) < 40_000
        words, bars = shapes(text)
        kept_words, kept_bars = shapes(kept)
        assert words == kept_words
        assert [colour for colour, _, _ in bars] == [colour for colour, _, _ in kept_bars]
        assert np.array([bar[1:] for bar in bars]) == pytest.approx(np.array([bar[1:] for bar in kept_bars]), abs=0.5)
        assert "20 Apr 2026" in " ".join(words)


@pytest.mark.parametrize("notes", [(), (ScoutingNote(date=dt.date(2026, 4, 19), bbch=55),)])
def test_the_chart_of_a_field_whose_weather_ends_before_it_was_turned_under(notes: tuple[ScoutingNote, ...]) -> None:
    """With a month of weather and no past years the season's line ends there, and later notes are not on it."""
    ended = field(turned_under="2026-04-20", scouting=notes)
    plan = make_plan(ended, weather("2025-09-10", "2025-10-10"), np.datetime64("2026-04-20"))
    drawn = report.picture(plan, "season", ".svg").decode()
    assert "°C days to bloom" in drawn
    assert "your notes" not in drawn


def test_the_chart_of_a_place_where_nothing_is_summed() -> None:
    """Near the equator the days never lengthen enough, whatever buds were seen: the chart is flat, and warns not."""
    seen = tuple(
        ScoutingNote(date=day, bbch=code) for day, code in ((dt.date(2025, 1, 25), 53), (dt.date(2025, 4, 28), 55))
    )
    tropics = field("woollypod-vetch", sown="2025-01-24", latitude=-8.0, scouting=seen)
    record = weather("2012-01-01", "2026-08-31", mean=25.0, swing=-1.5, seed=82)
    plan = make_plan(tropics, record, np.datetime64("2025-05-24"))
    assert "°C days to bloom" in report.picture(plan, "season", ".svg").decode()
