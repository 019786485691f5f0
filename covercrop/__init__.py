"""Turning-under windows, residue lag and safe planting dates for legume cover crops.

This is the front door: everything public is had from here, and loaded when it
is first asked for, so that ``import covercrop`` brings neither numpy nor
pandas.  Every command has its twin here, and its ``--help`` names it; each
docstring names the command.  Temperatures are in degrees Celsius and lengths
in metres or millimetres everywhere; :mod:`covercrop.base.units` converts at
the edges.  Whatever is raised on purpose is a :class:`CovercropError`, one
plain line that names the argument, the value and the way out.

In a notebook a :class:`Plan` shows itself as a chart and a table: where this
package is imported in IPython, it says so there.
"""

import sys
from importlib import import_module
from typing import TYPE_CHECKING, Any

from covercrop.base.version import __version__ as __version__

if TYPE_CHECKING:
    from covercrop.autumn.comparison import compare_sowing_dates
    from covercrop.base.errors import CovercropError
    from covercrop.beds.beds import lay_out_beds
    from covercrop.checking.bloom_records import calibrate_bloom
    from covercrop.checking.hindcast import hindcast_field
    from covercrop.checking.replay import replay_advice
    from covercrop.checking.springs import past_springs
    from covercrop.field.entries import CoverEntry, CropEntry, Field, ScoutingNote
    from covercrop.field.file import read_fields
    from covercrop.field.weather_source import field_weather
    from covercrop.guide.pages import guide_page, guide_pages
    from covercrop.models.labelled import (
        crown_temperature,
        day_length,
        growing_degree_days,
        snow_depth,
        soil_temperature,
    )
    from covercrop.parameters.catalogue import cover, covers, crop, crops
    from covercrop.parameters.companions import companion, companions
    from covercrop.region.survey import survey_region
    from covercrop.render.data.icalendar import write_icalendar
    from covercrop.render.page.report import report_html
    from covercrop.render.words.reminders import upcoming_dates
    from covercrop.season.adding import add_field
    from covercrop.season.changes import what_changed
    from covercrop.season.comparison import compare_endings
    from covercrop.season.many import plan_field, plan_fields
    from covercrop.season.noting import (
        add_scouting_note,
        add_scouting_notes,
        edit_scouting_note,
        undo_scouting_note,
        undo_scouting_notes,
    )
    from covercrop.season.plan import Plan
    from covercrop.weather.daily import daily_weather
    from covercrop.weather.own_file import read_weather

#: Where each public name lives; the imports above say the same to those who read types, and a test holds them equal.
_HOME = {
    "CoverEntry": "field.entries",
    "CovercropError": "base.errors",
    "CropEntry": "field.entries",
    "Field": "field.entries",
    "Plan": "season.plan",
    "ScoutingNote": "field.entries",
    "add_field": "season.adding",
    "add_scouting_note": "season.noting",
    "add_scouting_notes": "season.noting",
    "calibrate_bloom": "checking.bloom_records",
    "companion": "parameters.companions",
    "companions": "parameters.companions",
    "compare_endings": "season.comparison",
    "compare_sowing_dates": "autumn.comparison",
    "cover": "parameters.catalogue",
    "covers": "parameters.catalogue",
    "crop": "parameters.catalogue",
    "crops": "parameters.catalogue",
    "crown_temperature": "models.labelled",
    "daily_weather": "weather.daily",
    "day_length": "models.labelled",
    "edit_scouting_note": "season.noting",
    "field_weather": "field.weather_source",
    "growing_degree_days": "models.labelled",
    "guide_page": "guide.pages",
    "guide_pages": "guide.pages",
    "hindcast_field": "checking.hindcast",
    "replay_advice": "checking.replay",
    "lay_out_beds": "beds.beds",
    "past_springs": "checking.springs",
    "plan_field": "season.many",
    "plan_fields": "season.many",
    "read_fields": "field.file",
    "read_weather": "weather.own_file",
    "report_html": "render.page.report",
    "snow_depth": "models.labelled",
    "soil_temperature": "models.labelled",
    "survey_region": "region.survey",
    "undo_scouting_note": "season.noting",
    "undo_scouting_notes": "season.noting",
    "upcoming_dates": "render.words.reminders",
    "what_changed": "season.changes",
    "write_icalendar": "render.data.icalendar",
}

__all__ = [
    "CoverEntry",
    "CovercropError",
    "CropEntry",
    "Field",
    "Plan",
    "ScoutingNote",
    "add_field",
    "add_scouting_note",
    "add_scouting_notes",
    "calibrate_bloom",
    "companion",
    "companions",
    "compare_endings",
    "compare_sowing_dates",
    "cover",
    "covers",
    "crop",
    "crops",
    "crown_temperature",
    "daily_weather",
    "day_length",
    "edit_scouting_note",
    "field_weather",
    "growing_degree_days",
    "guide_page",
    "guide_pages",
    "hindcast_field",
    "lay_out_beds",
    "past_springs",
    "plan_field",
    "plan_fields",
    "read_fields",
    "read_weather",
    "replay_advice",
    "report_html",
    "snow_depth",
    "soil_temperature",
    "survey_region",
    "undo_scouting_note",
    "undo_scouting_notes",
    "upcoming_dates",
    "what_changed",
    "write_icalendar",
]


if not TYPE_CHECKING:  # those who read types see the names above, and no others

    def __getattr__(name: str) -> Any:
        """A public name, from the room in which it lives."""
        if name not in _HOME:
            raise AttributeError(f"module 'covercrop' has no attribute {name!r}")
        found = getattr(import_module(f"covercrop.{_HOME[name]}"), name)
        globals()[name] = found
        return found


def __dir__() -> list[str]:
    """What is here, whether it was asked for yet or not."""
    return sorted({*globals(), *__all__})


def load_ipython_extension(shell: Any) -> None:
    """Let an IPython shell show plans; what ``%load_ext covercrop`` calls, for a shell that was started later."""
    from covercrop.render.page.notebook import register

    register(shell)


# A shell that is there already has imported IPython; nothing is imported for those who use none.
if "IPython" in sys.modules and (_shell := sys.modules["IPython"].get_ipython()) is not None:
    load_ipython_extension(_shell)
