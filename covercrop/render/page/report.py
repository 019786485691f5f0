"""A page to look at and to print: every field's answer in words and charts, in one file that needs no other.

Nothing on it runs, and nothing is loaded: the content-security policy allows
the page's own style sheet and nothing else.  What people have written, such
as names and notes, goes in as text.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.base.errors import UnknownNameError, UsageError, one_line, visible
from covercrop.base.extras import need
from covercrop.base.one_system import one_system
from covercrop.checking.springs import past_springs
from covercrop.dates.needs import winter_matters
from covercrop.field.weather_source import described
from covercrop.parameters import catalogue
from covercrop.render.figures.canvas import DARK
from covercrop.render.figures.charts import CHARTS, PAGE_CHARTS, titled
from covercrop.render.figures.springs import SPRING_CHARTS
from covercrop.render.figures.svg import Shared, png, svg
from covercrop.render.page.pocket import BLANKS, drawn_stages
from covercrop.render.page.seasons import FEW, Season, seasons_of, shown
from covercrop.render.page.sections import SECTIONS, Section
from covercrop.render.page.sections import sections as field_sections
from covercrop.render.page.sheet import SIZES, type_size
from covercrop.render.page.timeline import timeline
from covercrop.render.screen.scouting import seen as seen_on
from covercrop.render.words import answer, mixture, phrases
from covercrop.render.words import charts as captions
from covercrop.render.words import springs as beside
from covercrop.render.words.changes import changed
from covercrop.render.words.phrases import short_source
from covercrop.season import advice

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import ScoutingNote
    from covercrop.season.many import Plans
    from covercrop.season.plan import Plan


#: So many notes of each kind are printed, so that a field keeps to one sheet; the page on a screen has them all.
MOST_PRINTED = 4

#: Letters of a note that its two printed lines hold.
CLAMPED = 120

#: Letters of a paragraph at the foot that says the same on every sheet.
PARAGRAPH = 180


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
    more = sections or [()] * len(plans)
    told = seasons or [Season()] * len(plans)
    keys = dict.fromkeys(key for plan in plans for key in plan.provenance.sources)
    rows = timeline(plans)
    fields = [
        _field(plan, f"field-{number}", extra, season, us=us, few=len(plans) <= FEW, problems=bool(problems))
        for number, (plan, extra, season) in enumerate(zip(plans, more, told, strict=True), start=1)
    ]
    shared = Shared()
    drawn = [chart for field in fields for chart in (*field["charts"], *(field["springs"] or {}).get("charts", ()))]
    for each in (*([rows.shared] if rows else []), *(chart["shared"] for chart in drawn)):
        shared.add(each)
    style = _template_text("page.css") + shared.style_sheet(DARK)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        _environment()
        .get_template("page.html")
        .render(
            title=title,
            on=f"{phrases.weekday(on)} {str(on)[:4]}",
            style=need("markupsafe").Markup(style),
            digest=digest,
            timeline=rows,
            fields=fields,
            keys=need("markupsafe").Markup("".join(shared.keys.values())),
            guide=drawn_stages(plans),
            notes=notes,
            blanks=BLANKS,
            depth="3 in" if us else "7.5 cm",
            problems=[(name, one_line(message)) for name, message in problems],
            references=[advice.reference(catalogue.source(key)) for key in keys],
            assumptions=[
                one_system(said, us=us)
                for said in dict.fromkeys(said for plan in plans for said in plan.provenance.assumptions)
            ],
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
        sections=[field_sections(plan, sections, us=us) for plan in plans],
        seasons=seasons_of(plans, sections),
        notes="notes" in sections,
        us=us,
    )


def card(plan: Plan, *, us: bool = False) -> str:
    """One field as a piece of HTML, without a style sheet: its answer, the chart of its season, its dates."""
    check_packages()
    made = _field(plan, "season", (), Season(), us=us, charts=False)
    name = "winter" if plan.state == "winter-killed" else "season"
    made["charts"] = [_chart(plan, name, "season", us=us, page=False)]
    return _environment().get_template("card.html").render(field=made)


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
    charts: bool = True,
    few: bool = True,
    problems: bool = False,
) -> dict[str, Any]:
    """What the template needs of one field."""
    said = [answer.headline(plan), answer.then(plan), changed(plan, season.changes) if season.changes else ""]
    why = [*filter(None, (mixture.winter(plan),)), *mixture.short(plan, us=us), *answer.reasons(plan, us=us)]
    dates = [] if plan.state == "winter-killed" else answer.date_rows(plan, us=us)
    notes = [note for note in plan.provenance.notes if not note.startswith("Weather: ")]
    scouting = [_scouted(note, us=us) for note in reversed(plan.field.scouting)]
    credit = [note for note in plan.provenance.notes if note.startswith("Weather: ")]
    wanted = [name for name in PAGE_CHARTS if name != "winter" or winter_matters(plan, among_few=few)] if charts else []
    drawn = [chart for name in wanted if (chart := _chart(plan, name, key, us=us))]
    weather = " ".join((weather_line(plan), *credit))
    sources = "; ".join(short_source(catalogue.source(source)) for source in plan.provenance.sources)
    seen = [f"{day}: {stage}. {text}"[:CLAMPED] for day, stage, text in scouting[:MOST_PRINTED]]
    printed = [seen, why, [note[:CLAMPED] for note in notes[:MOST_PRINTED]]]
    foot = (weather, sources, *(["-" * PARAGRAPH] * (2 if problems else 1)))

    def size(*more: Sequence[str]) -> int:
        return type_size(plan.field.name, said, bool(drawn), len(dates), (*printed, *more), foot)

    together = size(*((*section.said, *section.items) for section in sections))
    crowded = together == len(SIZES)
    return {
        "id": key,
        "name": plan.field.name,
        "state": answer.state(plan),
        "kind": plan.state,
        "answer": said[0],
        "then": said[1],
        "changed": said[2],
        "springs": shown(plan, season, key, us=us),
        "what": answer.what_is_where(plan),
        "charts": drawn,
        "dates": dates,
        "scouting": scouting,
        "why": why,
        "notes": notes,
        "sections": [] if crowded else sections,
        "overleaf": sections if crowded else [],
        "pictures": [section.picture for section in sections if section.picture],
        "weather": weather,
        "sources": sources,
        "density": min(size() if crowded else together, len(SIZES) - 1),
    }


def _chart(plan: Plan, name: str, key: str, *, us: bool, page: bool = True) -> dict[str, Any] | None:
    """A chart with its title and, on a page, the classes that its marks have there; None where there is none."""
    figure = CHARTS[name](plan, us)
    if figure is None:
        return None
    title, shared = captions.TITLES[name], Shared()
    said = captions.describe(plan, name, us=us)
    drawn = svg(figure, title, said, f"{key}-{name}", page=shared if page else None)
    return {"name": name, "title": title, "svg": need("markupsafe").Markup(drawn), "shared": shared}


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
