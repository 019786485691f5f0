"""What a field's page can hold beside the answer: what to load, with boxes to tick, and what can hurt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from covercrop.base.errors import CovercropError, one_line
from covercrop.base.extras import need
from covercrop.beds.beds import lay_out_beds
from covercrop.beds.lengths import Measures
from covercrop.render.figures import bed_sheets
from covercrop.render.screen import beds as bed_sheet
from covercrop.render.words import beds as bed_words

if TYPE_CHECKING:
    from covercrop.beds.beds import BedPlan
    from covercrop.season.plan import Plan

#: What a sheet can show besides the answer.
SECTIONS = ("materials", "cautions", "changes", "springs", "notes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A titled list that is added to a field's page where it was asked for.

    Attributes
    ----------
    title : str
    items : tuple of str
    boxes : bool
        Whether each item has a box to tick.
    said : tuple of str
        What stands above the list.
    picture : str
        A drawing, as HTML; printed on a sheet of its own.
    """

    title: str
    items: tuple[str, ...]
    boxes: bool = False
    said: tuple[str, ...] = ()
    picture: str = ""


def sections(plan: Plan, wanted: Sequence[str], *, us: bool) -> list[Section]:
    """What was asked for besides the answer, of :data:`SECTIONS`."""
    found = _materials(plan, us=us) if "materials" in wanted else []
    return [*found, Section(title="Take care", items=plan.provenance.cautions)] if "cautions" in wanted else found


def _materials(plan: Plan, *, us: bool) -> list[Section]:
    """The list of a field, or why there is none: its answer stands without it."""
    try:
        return materials(lay_out_beds(plan, us=us))
    except CovercropError as error:
        return [Section(title="Materials", items=(f"No list: {one_line(error)}",))]


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
    stand = tuple(filter(None, (bed_words.stands(beds), bed_words.dates(beds))))
    layers = (bed_words.layer(beds, each) for each in beds.doses)
    fed = (*nitrogen, bed_words.nitrogen_advice(beds), bed_words.roots(beds), bed_words.phosphorus(beds), *layers)
    rules = (bed_words.interval(beds, each) for each in beds.intervals)
    drawn = need("markupsafe").Markup(bed_sheets.inline(beds))
    squares = bed_words.squares(beds)
    return [
        Section(title="Materials", items=tuple(loaded), boxes=True, said=stand, picture=drawn),
        *([Section(title="In the squares", items=tuple(squares))] if squares else []),
        Section(title=f"Nitrogen, {Measures(beds.us).rate_unit}", items=tuple(filter(None, fed))),
        Section(title="When", items=tuple(rules)),
        Section(title="Take care with materials", items=tuple(bed_words.cautions(beds))),
    ]
