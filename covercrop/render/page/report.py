"""A page to look at and to print: every field's answer in words and charts, in one file that needs no other.

Nothing on it runs, and nothing is loaded: the content-security policy allows
the page's own style sheet and nothing else.  What people have written, such
as names and notes, goes in as text.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.errors import CovercropError, UnknownNameError, UsageError, one_line, visible
from covercrop.base.extras import need
from covercrop.beds.beds import lay_out_beds
from covercrop.beds.lengths import Measures
from covercrop.checking.springs import past_springs
from covercrop.field.weather_source import described
from covercrop.parameters import catalogue
from covercrop.render.figures import beds as bed_drawing
from covercrop.render.figures.charts import CHARTS, PAGE_CHARTS, titled
from covercrop.render.figures.springs import SPRING_CHARTS
from covercrop.render.figures.svg import png, svg
from covercrop.render.page.pocket import BLANKS, drawn_stages
from covercrop.render.page.seasons import Season, seasons_of, shown
from covercrop.render.page.sheet import SIZES, type_size
from covercrop.render.screen import beds as bed_sheet
from covercrop.render.screen.scouting import seen as seen_on
from covercrop.render.words import answer, phrases
from covercrop.render.words import beds as bed_words
from covercrop.render.words import charts as captions
from covercrop.render.words import springs as beside
from covercrop.render.words.changes import changed
from covercrop.render.words.phrases import short_source
from covercrop.season import advice

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from covercrop.base.records import DailyWeather
    from covercrop.beds.beds import BedPlan
    from covercrop.field.entries import ScoutingNote
    from covercrop.season.many import Plans
    from covercrop.season.plan import Plan

#: What a sheet can show besides the answer.
SECTIONS = ("materials", "cautions", "changes", "springs", "notes")

#: So many notes of each kind are printed, so that a field keeps to one sheet; the page on a screen has them all.
MOST_PRINTED = 4

#: Letters of a note that its two printed lines hold.
CLAMPED = 120

#: Letters of a paragraph at the foot that says the same on every sheet.
PARAGRAPH = 180


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A titled list that is added to a field's page where it was asked for."""

    title: str
    items: tuple[str, ...]
    picture: str = ""


def page(
    plans: Sequence[Plan],
    on: np.datetime64,
    *,
    title: str = "",
    problems: Sequence[tuple[str, str]] = (),
    sections: Sequence[Sequence[Section]] = (),
    seasons: Sequence[Season] = (),
    notes: bool = False,
    us: bool = False,
) -> str:
    """The page of some fields.

    Parameters
    ----------
    plans : sequence of Plan
    on : numpy.datetime64[D]
    title : str
        What was asked about.
    problems : sequence of (field name, message)
        Fields that could not be worked out.
    sections : sequence of sequence of Section, optional
        What else goes on each field's page.
    seasons : sequence of Season, optional
        What is told of each field from one day or year to another.
    notes : bool
        Add the sheet of notes to fill in.
    us : bool
        Show US units.

    Returns
    -------
    str
        HTML; the same bytes for the same answer.

    Raises
    ------
    UsageError
        If matplotlib or jinja2 is not installed.
    """
    style = _template_text("page.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    more = sections or [()] * len(plans)
    told = seasons or [Season()] * len(plans)
    keys = dict.fromkeys(key for plan in plans for key in plan.provenance.sources)
    return (
        _environment()
        .get_template("page.html")
        .render(
            title=title,
            on=f"{phrases.weekday(on)} {str(on)[:4]}",
            style=need("markupsafe").Markup(style),
            digest=digest,
            fields=[
                _field(plan, f"field-{number}", extra, season, us=us, problems=bool(problems))
                for number, (plan, extra, season) in enumerate(zip(plans, more, told, strict=True), start=1)
            ],
            guide=drawn_stages(plans),
            notes=notes,
            blanks=BLANKS,
            depth="3 in" if us else "7.5 cm",
            problems=[(name, one_line(message)) for name, message in problems],
            references=[advice.reference(catalogue.source(key)) for key in keys],
            assumptions=list(dict.fromkeys(assumption for plan in plans for assumption in plan.provenance.assumptions)),
            most=MOST_PRINTED,
        )
    )


def report_html(plans: Plans, *, title: str = "", sections: Sequence[str] = (), us: bool = False) -> str:
    """A page to look at and to print, with a sheet for every field; ``covercrop report`` writes it.

    Parameters
    ----------
    plans : Plans
        From :func:`covercrop.plan_fields`; what could not be worked out is said on the page too.
    title : str
        What was asked about.
    sections : sequence of str
        What else goes on each sheet, of :data:`SECTIONS`: what to load, what can hurt.
    us : bool
        Show US units.

    Returns
    -------
    str
        HTML in one file, which loads nothing and runs nothing; the same for the same answer.

    Raises
    ------
    UnknownNameError
        If there is no such section.
    UsageError
        If there is no plan to show, or matplotlib or jinja2 is not installed.
    """
    for section in sections:
        if section not in SECTIONS:
            raise UnknownNameError("section of a report", section, SECTIONS)
    if not plans.plans:
        first = f"; the first: {plans.problems[0]}" if plans.problems else ""
        raise UsageError(f"`plans` holds no plan to show{first}")
    return page(
        plans.plans,
        plans.on,
        title=title,
        problems=[(problem.name, problem.message) for problem in plans.problems],
        sections=[_sections(plan, sections, us=us) for plan in plans],
        seasons=seasons_of(plans, sections),
        notes="notes" in sections,
        us=us,
    )


def _sections(plan: Plan, wanted: Sequence[str], *, us: bool) -> list[Section]:
    """What was asked for besides the answer."""
    found = _materials(plan, us=us) if "materials" in wanted else []
    return [*found, Section(title="Take care", items=plan.provenance.cautions)] if "cautions" in wanted else found


def _materials(plan: Plan, *, us: bool) -> list[Section]:
    """The list of a field, or why there is none: its answer stands without it."""
    try:
        return materials(lay_out_beds(plan, us=us))
    except CovercropError as error:
        return [Section(title="Materials", items=(f"No list: {one_line(error)}",))]


def card(plan: Plan, *, us: bool = False) -> str:
    """One field as a piece of HTML, without a style sheet: its answer, the chart of its season, its dates."""
    check_packages()
    made = _field(plan, "season", (), Season(), us=us, only=("season",))
    return _environment().get_template("card.html").render(field=made)


def materials(beds: BedPlan) -> list[Section]:
    """What goes on the ground of a field, for its page.

    Parameters
    ----------
    beds : BedPlan
    """
    loaded = (f"{bed_sheet.amount(item)} {item.item} ({item.why})" for item in beds.items)
    nitrogen = (
        f"{what.strip()}: {', '.join(filter(None, (much, about)))}"
        for what, much, about in bed_words.nitrogen_rows(beds)
    )
    stand = (bed_words.stands(beds), bed_words.dates(beds), *loaded)
    layers = (bed_words.layer(beds, each) for each in beds.doses)
    fed = (*nitrogen, bed_words.nitrogen_advice(beds), bed_words.roots(beds), bed_words.phosphorus(beds), *layers)
    rules = (bed_words.interval(beds, each) for each in beds.intervals)
    # The drawing is on the page on screen; printed, it has a sheet of its own, from `covercrop beds --svg`.
    drawn = need("markupsafe").Markup(bed_drawing.inline([beds]))
    squares = bed_words.squares(beds)
    return [
        Section(title="Materials", items=tuple(filter(None, stand)), picture=drawn),
        *([Section(title="In the squares", items=tuple(squares))] if squares else []),
        Section(title=f"Nitrogen, {Measures(beds.us).rate_unit}", items=tuple(filter(None, fed))),
        Section(title="When", items=tuple(rules)),
        Section(title="Take care with materials", items=tuple(bed_words.cautions(beds))),
    ]


def picture(plan: Plan, chart: str, suffix: str, *, weather: DailyWeather | None = None, us: bool = False) -> bytes:
    """One chart of one field, as a file of its own.

    Parameters
    ----------
    plan : Plan
    chart : str
        One of :data:`covercrop.render.figures.charts.CHARTS` or
        :data:`covercrop.render.figures.springs.SPRING_CHARTS`.
    suffix : str
        ``.svg`` or ``.png``.
    weather : DailyWeather, optional
        What the plan rests on, for the charts of past seasons; without it that which the field names.
    us : bool
        Show US units.

    Raises
    ------
    UsageError
        If there is nothing to draw, or matplotlib is not installed.
    WeatherError
        If there are too few past seasons to draw this one beside.
    """
    if chart in SPRING_CHARTS:
        springs = past_springs(plan, weather)
        drawn, title = SPRING_CHARTS[chart](springs, us), beside.TITLES[chart]
        return _written(titled(drawn, plan, title), plan, title, beside.describe(plan, springs, chart, us=us), suffix)
    figure = CHARTS[chart](plan, us)
    if figure is None:
        raise UsageError(f"{plan.field.name}: no chart of the {chart}, since the field is {answer.state(plan)}")
    title = captions.TITLES[chart]
    return _written(titled(figure, plan, title), plan, title, captions.describe(plan, chart, us=us), suffix)


def _written(figure: Figure, plan: Plan, title: str, told: str, suffix: str) -> bytes:
    """A figure as a file."""
    if suffix.lower() == ".png":
        return png(figure)
    named = f"{plan.field.name}, {phrases.day_month(plan.on, 0)}: {title}"
    return svg(figure, named, told, "chart", file=True).encode()


def check_packages() -> None:
    """Say which package is missing before any work is done.

    Raises
    ------
    UsageError
        With the line that installs it.
    """
    for module in ("matplotlib", "jinja2"):
        need(module)


def _field(
    plan: Plan,
    key: str,
    sections: Sequence[Section],
    season: Season,
    *,
    us: bool,
    only: Sequence[str] = PAGE_CHARTS,
    problems: bool = False,
) -> dict[str, Any]:
    """What the template needs of one field."""
    said = [answer.headline(plan), answer.then(plan), changed(plan, season.changes) if season.changes else ""]
    why = answer.reasons(plan, us=us)
    dates = [] if plan.state == "winter-killed" else answer.date_rows(plan, us=us)
    notes = [note for note in plan.provenance.notes if not note.startswith("Weather: ")]
    scouting = [_scouted(note, us=us) for note in reversed(plan.field.scouting)]
    credit = [note for note in plan.provenance.notes if note.startswith("Weather: ")]
    charts = [chart for name in only if (chart := _chart(plan, name, key, us=us))]
    weather = " ".join((weather_line(plan), *credit))
    sources = "; ".join(short_source(catalogue.source(source)) for source in plan.provenance.sources)
    seen = [f"{day}: {stage}. {text}"[:CLAMPED] for day, stage, text in scouting[:MOST_PRINTED]]
    printed = [seen, why, [note[:CLAMPED] for note in notes[:MOST_PRINTED]]]
    foot = (weather, sources, *(["-" * PARAGRAPH] * (2 if problems else 1)))

    def size(*more: Sequence[str]) -> int:
        return type_size(plan.field.name, said, bool(charts), len(dates), (*printed, *more), foot)

    together = size(*(section.items for section in sections))
    crowded = together == len(SIZES)
    return {
        "id": key,
        "name": plan.field.name,
        "state": answer.state(plan),
        "kind": plan.state,
        "next": _next(plan),
        "answer": said[0],
        "then": said[1],
        "changed": said[2],
        "springs": shown(plan, season, key, us=us),
        "what": answer.what_is_where(plan),
        "charts": charts,
        "dates": dates,
        "scouting": scouting,
        "why": why,
        "notes": notes,
        "sections": [] if crowded else sections,
        "overleaf": sections if crowded else [],
        "weather": weather,
        "sources": sources,
        "density": min(size() if crowded else together, len(SIZES) - 1),
    }


def _chart(plan: Plan, name: str, key: str, *, us: bool) -> dict[str, Any] | None:
    figure = CHARTS[name](plan, us)
    if figure is None:
        return None
    title = captions.TITLES[name]
    drawn = svg(figure, title, captions.describe(plan, name, us=us), f"{key}-{name}")
    return {"name": name, "title": title, "svg": need("markupsafe").Markup(drawn)}


def _next(plan: Plan) -> str:
    """The next thing to do, in a few words; empty where there is none."""
    work = plan.work_ahead
    if work is None:
        return ""
    day = phrases.day_month(work.start)
    return f"{answer.to_end(plan)} about {day}" if work.action == "end" else f"{answer.planting(plan)} from {day}"


def _scouted(note: ScoutingNote, *, us: bool) -> tuple[str, str, str]:
    """The day of a visit, what was seen, and the words that were written."""
    return phrases.day_month(np.datetime64(note.date, "D"), 0), "; ".join(seen_on(note, us=us)), note.note


def weather_line(plan: Plan) -> str:
    """Whose weather it is, how old, and what finishes the season."""
    outlook = plan.outlook
    last = outlook.days[outlook.known - 1]
    behind = int((plan.on - last).astype(int))
    age = "" if behind <= 0 else f", {behind} day{'s' if behind > 1 else ''} before this page"
    said = f"Weather from {described(plan.field)}, observed up to {phrases.day_month(last, 0)}{age}"
    if outlook.forecast:
        said += f", then {outlook.forecast} days of forecast"
    if outlook.years:
        said += f"; {len(outlook.years)} past years ({min(outlook.years)} to {max(outlook.years)}) finish the season"
    return f"{said}."


# --- templates ------------------------------------------------------------------------------------


def _template_text(name: str) -> str:
    return files("covercrop.render.page").joinpath("templates", name).read_text(encoding="utf-8")


@cache
def _environment() -> Any:
    """The engine: it escapes everything, and refuses a name that it was not given."""
    jinja2 = need("jinja2")
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(_template_text),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=lambda value: visible(value) if type(value) is str else value,
    )
