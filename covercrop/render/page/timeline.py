"""The timeline of all fields at the top of a page: a row a field, the one that needs something first at the top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from covercrop.base.extras import need
from covercrop.dates.needs import by_need
from covercrop.render.figures.svg import Shared, svg
from covercrop.render.figures.timeline import timeline_axis, timeline_ends, timeline_key, timeline_strips
from covercrop.render.words import answer
from covercrop.render.words.timeline import next_words, strip_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from covercrop.season.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A field in the timeline.

    Attributes
    ----------
    id, name : str
        Where its page is, and what it is called.
    state, kind : str
        In words, and as the plan has it.
    next : str
        What is next, and its odds.
    strip : str
        Its season, as SVG.
    """

    id: str
    name: str
    state: str
    kind: str
    next: str
    strip: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """The rows, the months above them and the key below as SVG, and what all these have in common."""

    axis: str
    key: str
    rows: tuple[Row, ...]
    shared: Shared


def timeline(plans: Sequence[Plan]) -> Timeline | None:
    """The timeline of some plans; None of a single one.

    Parameters
    ----------
    plans : sequence of Plan
        Each is taken to have its page as ``field-1``, ``field-2`` and so on, in this order.
    """
    if len(plans) == 1:
        return None
    ends = timeline_ends(plans)
    pages: dict[int, list[str]] = {}
    for number, plan in enumerate(plans, start=1):  # one plan may be asked for twice
        pages.setdefault(id(plan), []).append(f"field-{number}")
    ordered = by_need(plans)
    strips = timeline_strips(ordered, ends)
    shared = Shared()

    def drawn(figure: Figure, title: str, description: str, prefix: str) -> str:
        made: str = need("markupsafe").Markup(svg(figure, title, description, prefix, page=shared))
        return made

    return Timeline(
        axis=drawn(timeline_axis(ends), "Months", "The months that the rows below run through.", "axis"),
        key=drawn(timeline_key(), "Key", "What the marks of the rows mean.", "key"),
        rows=tuple(
            Row(
                id=page,
                name=plan.field.name,
                state=answer.state(plan),
                kind=plan.state,
                next=next_words(plan),
                strip=drawn(strip, "Season", strip_words(plan), f"{page}-row"),
            )
            for plan, strip in zip(ordered, strips, strict=True)
            for page in (pages[id(plan)].pop(0),)
        ),
        shared=shared,
    )
