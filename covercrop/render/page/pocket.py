"""The stages that a note tells of, drawn for a page, and the blanks of its sheet of notes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from covercrop.base.extras import need
from covercrop.render.figures.stages import stage_drawing
from covercrop.render.words.stages import STAGES

if TYPE_CHECKING:
    from covercrop.season.plan import Plan

#: Lines to fill in on the sheet of notes.
BLANKS = 16


def drawn_stages(plans: Sequence[Plan]) -> list[dict[str, Any]]:
    """The drawings of the stages, for each form of flowers among the covers."""
    forms: dict[str, list[str]] = {}
    for plan in plans:
        forms.setdefault(plan.cover.inflorescence, []).append(plan.cover.common_name)
    markup = need("markupsafe").Markup
    return [
        {
            "covers": ", ".join(dict.fromkeys(covers)),
            "stages": [
                {
                    "title": stage.title,
                    "told": stage.told[form],
                    "typed": stage.typed,
                    "svg": markup(stage_drawing(form, name, f"{form}-{name}")),
                }
                for name, stage in STAGES.items()
            ],
        }
        for form, covers in forms.items()
    ]
