"""The report page in a real browser: what it asks for, how it fits, how it prints, who can read it.

Needs Chromium (Debian's package ``chromium`` does, with ``fonts-liberation``, which the printed sheets are measured in)
and the extra ``test``.  Where there is no Chromium the tests are left out, unless COVERCROP_BROWSER=required says that
they must run.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented import field, weather

from covercrop.checking.springs import past_springs
from covercrop.field.entries import ScoutingNote
from covercrop.field.file import read_fields
from covercrop.models.members import standard_draws
from covercrop.render.figures.charts import CHARTS
from covercrop.render.figures.springs import SPRING_CHARTS
from covercrop.render.figures.svg import FONTS, svg
from covercrop.render.figures.timeline import timeline_axis, timeline_ends, timeline_key
from covercrop.render.page import report
from covercrop.render.words import phrases
from covercrop.render.words.answer import help_most
from covercrop.render.words.timeline import next_words
from covercrop.season.helps import Help
from covercrop.season.plan import STATES, Plan, make_plan

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

PAPERS = ("A4", "Letter")

HOSTILE = (
    "<script>document.title = 'taken'</script>",
    '"><img src=x onerror="document.title = \'taken\'">',
    "{{ 7 * 7 }}{% for x in y %}",
    "</style><style>* { display: none }</style>",
    "</title><h1>taken</h1><!-- ",
    "\u202egnorw\u202c \u05e9\u05d3\u05d4 \u200f",
    "http://invented.example/?q=1&amp;x",
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """A browser with a profile of its own; closed with the module, since it keeps an event loop running."""
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        reason = "no Chromium on this machine (Debian: apt-get install chromium)"
        if os.environ.get("COVERCROP_BROWSER") == "required":
            pytest.fail(reason)
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=list(QUIET))
        yield started
        started.close()


class Seen:
    """A page that was opened, with everything it asked for and complained of."""

    def __init__(self, browser: Any, path: Path, width: int) -> None:
        self.page = browser.new_page(viewport={"width": width, "height": 740})
        self.asked: list[str] = []
        self.said: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.goto(path.as_uri())
        # Fields are laid out when they are scrolled to; here all of them are to be seen.
        self.page.evaluate(
            "document.querySelectorAll('article').forEach(each => each.style.contentVisibility = 'visible')"
        )

    def sheets(self, paper: str) -> list[str]:
        """The text of every printed sheet; marks of charts keep their room, and are not drawn: reading takes long."""
        import pypdf

        self.page.evaluate(
            "document.querySelectorAll('svg :is(path, circle)').forEach(each => each.style.visibility = 'hidden')"
        )
        printed = pypdf.PdfReader(io.BytesIO(self.page.pdf(format=paper)))
        return [sheet.extract_text() for sheet in printed.pages]

    def too_wide(self) -> int:
        """Pixels by which the page is wider than its window."""
        return int(self.page.evaluate("document.documentElement.scrollWidth - window.innerWidth"))


@pytest.fixture(scope="module")
def pages() -> Callable[..., str]:
    """The page of some plans; a chart that an earlier page has too is not drawn again: that is what takes long."""
    drawn: dict[Any, tuple[Plan, Any]] = {}
    draw = report._chart

    def chart(plan: Plan, name: str, key: str, *, us: bool) -> Any:
        drawing = (id(plan), name, key, us)
        if drawing not in drawn:  # the plan is kept, so that no other takes its place
            drawn[drawing] = plan, draw(plan, name, key, us=us)
        return drawn[drawing][1]

    def page(plans: list[Plan], **options: Any) -> str:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(report, "_chart", chart)
            return report.page(plans, plans[0].on, title="Own fields", **options)

    return page


@pytest.fixture
def show(browser: Any, pages: Callable[..., str], tmp_path: Path) -> Iterator[Callable[..., Seen]]:
    """Open the page of some plans in a window of a small phone."""
    opened = []

    def show(plans: list[Plan], *, width: int = 360, **options: Any) -> Seen:
        path = tmp_path / "page.html"
        path.write_text(pages(plans, **options), encoding="utf-8")
        opened.append(Seen(browser, path, width))
        return opened[-1]

    yield show
    for seen in opened:
        seen.page.close()


@pytest.fixture(scope="module")
def demo_page(
    browser: Any, pages: Callable[..., str], demo: list[Plan], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Any]:
    """The page of the demonstration, for tests that leave it as they find it."""
    path = tmp_path_factory.mktemp("demo") / "page.html"
    path.write_text(pages(demo), encoding="utf-8")
    page = Seen(browser, path, 360).page
    yield page
    page.close()


@pytest.fixture(scope="module")
def demo() -> list[Plan]:
    """The plans of the demonstration."""
    from covercrop.base.shipped import data_path
    from covercrop.field.weather_source import field_weather

    file = read_fields(data_path("demo", "fields.toml", beside=("weather.csv",)))
    assert file.today is not None
    return [make_plan(each, field_weather(each, file.today), np.datetime64(file.today, "D")) for each in file.fields]


def plan(name: str = "Test plot", on: str = "2026-04-20", last: str | None = None, **options: Any) -> Plan:
    """A plan at an invented place, with weather up to its day."""
    sky = {key: options.pop(key) for key in ("first", "mean", "swing", "coldest_day") if key in options}
    draws = options.pop("draws", None)
    return make_plan(replace(field(**options), name=name), weather(last=last or on, **sky), np.datetime64(on), draws)


@pytest.fixture(scope="module")
def states() -> list[Plan]:
    """A field in every state that a page can be about, north and south, with and without past years."""
    ended = {"turned_under": "2026-05-06"}
    return [
        plan("growing", "2025-11-10"),
        plan("budding"),
        plan("in the window", "2026-05-03"),
        plan("closing", "2026-05-14"),
        plan("seed risk", "2026-06-25"),
        plan("turned under", "2026-05-12", **ended),
        plan("plantable", "2026-06-20", **ended),
        plan("planted", "2026-06-20", planted="2026-06-08", **ended),
        plan("dead", "2026-03-20", species="winter-pea", mean=2.0, swing=16.0),
        plan("south", "2026-08-20", sown="2026-03-15", latitude=-37.6, coldest_day=202),
        plan("no past years", first="2025-08-01"),
        plan("no cool days", mean=24.0, swing=5.0),
        plan("rolled", terminate="roll", method="transplant", ground_cover="black-plastic"),
    ]


def notes(count: int, text: str) -> tuple[ScoutingNote, ...]:
    """Notes of visits three days apart."""
    first = dt.date(2026, 3, 1)
    return tuple(
        ScoutingNote(date=first + dt.timedelta(days=3 * number), bbch=50 + number // 2, note=f"{number}: {text}")
        for number in range(count)
    )


def test_nothing_is_asked_for_and_nothing_complains(show: Callable[..., Seen], demo: list[Plan]) -> None:
    """The page is its only request, and the console stays empty: no policy is broken, no error is raised."""
    seen = show(demo, sections=[[report.Section(title="Take care", items=each.provenance.cautions)] for each in demo])
    seen.page.wait_for_timeout(300)
    assert [url.rpartition("/")[2] for url in seen.asked] == ["page.html"]
    assert seen.asked[0].startswith("file://")
    assert seen.said == []


def test_the_browser_would_complain(browser: Any, pages: Callable[..., str], tmp_path: Path, demo: list[Plan]) -> None:
    """The check above can fail: a style attribute, or a picture from elsewhere, breaks the page's policy."""
    path = tmp_path / "broken.html"
    html = pages(demo[:1])
    path.write_text(
        html.replace("<main>", '<main><p style="color: red">x</p><img src="http://127.0.0.1:9/x.png" alt="">')
    )
    seen = Seen(browser, path, 360)
    seen.page.wait_for_timeout(300)
    assert len([said for said in seen.said if "Content Security Policy" in said]) == 2
    seen.page.close()


def test_the_style_sheet_is_obeyed(demo_page: Any) -> None:
    """The policy lets the page's own style sheet through: its paper is not white, and the answer is large."""
    page = demo_page
    assert page.evaluate("getComputedStyle(document.querySelector('article')).backgroundColor") == "rgb(255, 253, 247)"
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('.answer')).fontSize)") >= 20
    assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('li')).fontSize)") >= 16


def test_at_night_the_paper_is_dark(demo_page: Any) -> None:
    """With a dark screen paper, words, marks and what lies behind words change; printed, they are as by day."""
    page = demo_page
    colours = """[getComputedStyle(document.querySelector('article')).backgroundColor,
        getComputedStyle(document.querySelector('.answer')).color,
        ...[...new Set([...document.querySelectorAll('svg[viewBox] [class]')].flatMap(mark =>
            [getComputedStyle(mark).fill, getComputedStyle(mark).stroke]))].sort()]"""
    day = page.evaluate(colours)
    page.emulate_media(color_scheme="dark")
    night = page.evaluate(colours)
    assert night[:2] == ["rgb(31, 29, 25)", "rgb(236, 230, 216)"]
    assert set(day) & set(night) <= {"none", "rgb(51, 147, 131)"}  # planting is the same on either
    page.emulate_media(color_scheme="dark", media="print")
    assert page.evaluate(colours)[1:] == day[1:]
    page.emulate_media(color_scheme="light", media="screen")
    assert page.evaluate(colours) == day


def test_what_is_next_is_said_in_every_state(states: list[Plan]) -> None:
    """The words of the timeline: what to do, when, and a chance; or that there is no date."""
    known = {each.field.name: each for each in states}
    said = {name: next_words(each) for name, each in known.items()}

    def best(name: str) -> tuple[str, str]:
        day = known[name].window.best
        assert day is not None
        return phrases.day_month(day.date, int(str(known[name].on)[:4])), phrases.chance(day.together)

    def safe(name: str) -> str:
        return phrases.day_month(known[name].planting.safe)

    assert said["growing"] == "turn it under about {}, works {}".format(*best("growing"))
    visit = phrases.day_month(known["budding"].next_step.start)
    assert said["budding"] == f"scout it {visit}; turn it under about {best('budding')[0]}, works {best('budding')[1]}"
    assert said["closing"] == f"turn it under now, works {best('closing')[1]}"
    assert said["seed risk"] == f"turn it under now, ripe seed {phrases.chance(known['seed risk'].stand.seed_now)}"
    assert said["turned under"] == f"sow summer squash from {safe('turned under')}, ripens over 99%"
    assert said["plantable"] == "sow summer squash now, ripens over 99%"
    assert said["planted"] == f"ripe about {phrases.day_month(known['planted'].planting.ripe.median)}"
    assert said["dead"] == f"look whether it lives, {phrases.chance(known['dead'].stand.survival)}"
    assert said["no past years"] == "no date yet"


@pytest.mark.parametrize("us", [False, True])
def test_no_page_is_wider_than_its_window(show: Callable[..., Seen], states: list[Plan], us: bool) -> None:
    """In every state, and with a name without a blank, nothing has to be pushed sideways; opened once and resized."""
    long = replace(field(), name="Longmeadow" * 12)
    plans = [*states, make_plan(long, weather(), np.datetime64("2026-04-20"))]
    seen = show(plans, us=us, problems=[("x" * 200, "y" * 500)])
    for width in (320, 360, 800, 1280):
        seen.page.set_viewport_size({"width": width, "height": 740})
        assert seen.too_wide() <= 0, width


def test_the_words_of_a_chart_can_be_read_on_a_phone(demo_page: Any) -> None:
    """At 360 pixels the words of a chart are as large as those of the page, and stay inside their chart."""
    page = demo_page
    sizes = page.evaluate(
        """[...document.querySelectorAll('svg[viewBox]')].flatMap(svg => {
            const box = svg.getBoundingClientRect(), scale = box.width / svg.viewBox.baseVal.width;
            return [...svg.querySelectorAll('text')].map(text => {
                const inside = text.getBoundingClientRect();
                return [parseFloat(getComputedStyle(text).fontSize) * scale,
                        Math.max(box.left - inside.left, inside.right - box.right), text.textContent];
            });
        })"""
    )
    assert len(sizes) > 60
    body = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.words li')).fontSize)")
    assert min(size for size, _, _ in sizes) >= body
    assert [text for _, outside, text in sizes if outside > 1] == []


#: Two words on one place, which the check has to find wherever it looks.
MEETING = '<svg viewBox="0 0 344 40"><text x="9" y="20">one word</text><text x="40" y="26">another</text></svg>'


def test_no_two_words_of_a_chart_meet(browser: Any, tmp_path: Path, states: list[Plan], demo: list[Plan]) -> None:
    """In every state, both units and three widths no two pieces of text of a chart, its key included, intersect.

    All charts stand on one page, with one that is wrong: it is found at each width, and nothing else.
    """
    assert {each.state for each in states} == set(STATES)
    plans = [*states, *demo]
    ends = timeline_ends(plans)
    units = {"window": (False,), "endings": (False,)}  # the others have degrees, or depths
    figures = [
        (f"{name} {each.field.name} {us}", draw(each, us))
        for name, draw in CHARTS.items()
        for each in plans
        for us in units.get(name, (False, True))
    ]
    figures += [("axis", timeline_axis(ends)), ("key", timeline_key())]
    springs = past_springs(demo[0], None)
    figures += [(f"{name} {us}", draw(springs, us)) for name, draw in SPRING_CHARTS.items() for us in (False, True)]
    drawn = [svg(figure, name, "", f"k{at}") for at, (name, figure) in enumerate(figures) if figure is not None]
    assert len(drawn) > 90
    style = f"font-family: {FONTS}; margin: 0; columns: 2; column-gap: 0"
    path = tmp_path / "charts.html"
    path.write_text(f'<!doctype html><meta charset="utf-8"><body style="{style}">{"".join(drawn)}{MEETING}')
    page = Seen(browser, path, 688).page
    for width in (640, 688, 1056):  # columns of a narrow phone, of a phone, and of a screen
        page.set_viewport_size({"width": width, "height": 740})
        met = page.evaluate(
            """[...document.querySelectorAll('svg')].flatMap(svg => {
                const box = svg.getBoundingClientRect(), least = 0.5;
                const words = [...svg.querySelectorAll('text')]
                    .map(text => [text.textContent, text.getBoundingClientRect()]);
                const title = svg.querySelector('title')?.textContent;
                return words.flatMap(([one, a], place) => [
                    ...words.slice(place + 1).filter(([, b]) =>
                        Math.min(a.right, b.right) - Math.max(a.left, b.left) > least &&
                        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > least
                    ).map(([other]) => [title, one, other]),
                    ...(a.left < box.left - 1 || a.right > box.right + 1 ? [[title, one, 'the edge']] : []),
                ]);
            })"""
        )
        assert met == [[None, "one word", "another"]], width
    page.close()


def test_every_chart_is_there_in_words(show: Callable[..., Seen], demo: list[Plan]) -> None:
    """The browser's own reading of the page has each chart as an image, with its name and what it shows."""
    page = show(demo[:1]).page
    charts = page.get_by_role("img")
    assert charts.count() == 3  # budding, it has the winter behind it
    page.get_by_role("img", name="What planting waits for").wait_for()
    warm = phrases.day_month(demo[0].dates["soil_warm"].median, 2026)
    assert f"soil at 16 °C {warm}" in charts.nth(2).locator("desc").text_content()


def test_one_field_on_one_sheet(show: Callable[..., Seen], demo: list[Plan]) -> None:
    """A page of one field has no sheet of all fields."""
    one_field = show(demo[:1])
    for paper in PAPERS:
        assert len(one_field.sheets(paper)) == 1, paper


@pytest.mark.parametrize("cautions", [False, True])
def test_a_sheet_for_every_field(show: Callable[..., Seen], demo: list[Plan], cautions: bool) -> None:
    """The demonstration prints on a sheet of all fields and one of each, cautions or not."""
    extra = [[report.Section(title="Take care", items=each.provenance.cautions)] if cautions else [] for each in demo]
    all_fields = show(demo, sections=extra)
    for paper in PAPERS:
        timeline, *sheets = all_fields.sheets(paper)
        assert len(sheets) == 3, paper
        assert all(each.field.name in timeline for each in demo)
        assert re.search(r"turn it under about \d+ May, works \d+%", " ".join(timeline.split())), paper
        for each, sheet in zip(demo, sheets, strict=True):
            assert each.field.name in sheet
            assert "What planting waits for" in sheet
            assert "latest planting to ripen" in sheet
            assert "assumptions stand" in sheet, paper  # the last line of a sheet
            assert not cautions or "Handle treated seed" in sheet


def test_a_sheet_in_every_state(show: Callable[..., Seen], states: list[Plan]) -> None:
    """Whatever the state of the field, it is one sheet after that of all; also where one could not be worked out."""
    assert {each.state for each in states} == set(STATES)
    seen = show(states, problems=[("Far field", "the weather file is not there")])
    for paper in PAPERS:
        sheets = seen.sheets(paper)
        assert len(sheets) == 1 + len(states), paper
        assert all("Far field" in sheet for sheet in sheets), paper


#: What would help a field that few days suit: a line more on its sheet.
TARPED = Help(
    change="way",
    detail="tarp",
    date=np.datetime64("2026-04-20"),
    probability=0.52,
    in_time=1.0,
    together=0.52,
    gain=0.15,
    of_crop=False,
    plant_likely=np.datetime64("2026-05-24"),
)


def test_many_long_notes_stay_on_the_sheet(show: Callable[..., Seen]) -> None:
    """Thirty notes of a thousand letters: the last four are printed, two lines each, and the sheet says so."""
    written = notes(30, "buds along the wall and by the gate, " * 27)
    told = plan("much told", scouting=written, first="2014-09-01", draws=standard_draws(9))
    assert len(told.provenance.doubts) > 20
    assert told.details is not None
    told = replace(told, details=replace(told.details, helps=(TARPED,)))
    assert "tarping instead" in help_most(told)
    seen = show([told])
    for paper in PAPERS:
        (sheet,) = seen.sheets(paper)
        assert "29: buds" in sheet, paper
        assert "24: buds" not in sheet, paper
        assert "26 earlier notes are on the page on screen" in sheet, paper
    assert seen.page.get_by_text("0: buds along").count() > 0


def test_what_is_too_much_for_a_sheet_goes_overleaf(show: Callable[..., Seen], demo: list[Plan]) -> None:
    """A list that was asked for and has no room begins a sheet of its own, and loses nothing."""
    items = tuple(f"Item {number} of a long list, with some words about what it is and when." for number in range(40))
    sheets = show(demo[:1], sections=[[report.Section(title="Materials", items=items)]]).sheets("A4")
    assert len(sheets) == 2
    assert "Materials" not in sheets[0]
    assert all(f"Item {number} " in sheets[1] for number in range(40))


@pytest.mark.parametrize("width", [360, 1280])
def test_accessibility(show: Callable[..., Seen], demo: list[Plan], states: list[Plan], width: int) -> None:
    """axe-core, with every rule it has, finds nothing serious or critical on the page."""
    from axe_playwright_python.sync_playwright import Axe

    plans = [*demo[:1], *states] if width == 360 else demo
    extra = [[report.Section(title="Take care", items=each.provenance.cautions)] for each in plans]
    seen = show(plans, width=width, sections=extra, problems=[("Far field", "no weather")])
    for details in seen.page.query_selector_all("summary"):
        details.click()
    found = Axe().run(seen.page).response
    assert len(found["passes"]) > 15
    serious = [
        (rule["id"], rule["nodes"][0]["html"])
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical")
    ]
    assert serious == []


@pytest.fixture(scope="module")
def noted() -> Plan:
    """A field with a note."""
    return plan("x", scouting=(ScoutingNote(date=dt.date(2026, 4, 1), bbch=51, note="y"),))


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_words_stay_words(show: Callable[..., Seen], noted: Plan, text: str) -> None:
    """Markup, templates and marks of direction in names, notes and messages are shown as they were written."""
    (note,) = noted.field.scouting
    told = replace(
        noted,
        field=replace(noted.field, name=text, scouting=(replace(note, note=text),)),
        provenance=replace(noted.provenance, notes=(*noted.provenance.notes, text)),
    )
    seen = show([told, told], problems=[(text, text)])
    page = seen.page
    assert page.title() == "Own fields, Mon 20 Apr 2026"
    assert (seen.said, len(seen.asked)) == ([], 1)
    assert page.locator("script, img, iframe, object").count() == 0
    assert page.locator("style").count() == 1
    assert page.locator("h1").all_text_contents() == ["Own fields"]
    written = text.replace("\u202e", "\\u202e").replace("\u202c", "\\u202c").replace("\u200f", "\\u200f")
    assert page.locator("h2 bdi").first.text_content() == written
    assert page.locator("q bdi").first.text_content() == written
    assert page.locator("article").first.is_visible()
