"""The sowing dates of many fields compared: the same question is asked once, and one field's trouble stops no other."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

from covercrop.autumn.comparison import Autumn, compare_sowing_dates
from covercrop.field.weather_source import field_weather
from covercrop.season.many import each_field
from covercrop.weather.sharing import SharedWeather

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

    from covercrop.autumn.comparison import Risk
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Ground
    from covercrop.season.many import Problem


def compare_fields(
    fields: Sequence[Ground],
    on: dt.date,
    *,
    today: dt.date,
    covers: Sequence[str] = (),
    start: dt.date | None = None,
    end: dt.date | None = None,
    plant_by: dt.date | None = None,
    risk: Risk | None = None,
    advance: Callable[[float], None] = lambda _share: None,
) -> tuple[list[Autumn], list[Problem]]:
    """Compare the sowing dates of every field, as :func:`compare_sowing_dates` does those of one.

    Parameters
    ----------
    fields : sequence of Ground
        Those that differ in nothing but their name, their area and what lies on their beds share one comparison.
    on, today : datetime.date
        The day asked about, and the last day of which weather can be known.
    covers, start, end, plant_by, risk
        As for :func:`compare_sowing_dates`.
    advance : callable, optional
        Told 1 as each field is done.

    Returns
    -------
    list of Autumn, list of Problem
        In the order of the fields.
    """
    shared = SharedWeather()
    compared: dict[Hashable, Autumn] = {}

    def compare(field: Ground) -> Autumn:
        weather = field_weather(field, max(on, today), shared=shared)
        question = _question(field, weather)
        if question not in compared:
            compared[question] = compare_sowing_dates(
                field, weather, on, covers=covers, start=start, end=end, plant_by=plant_by, risk=risk
            )
        advance(1)
        return replace(compared[question], field=field)

    return each_field(fields, compare)


def _question(field: Ground, weather: DailyWeather) -> Hashable:
    """All of a field that its comparison depends on; its weather is the same only if it is the same object."""
    cover = field.cover
    own = None if cover is None else (cover.species, cover.cultivar, cover.calibration)
    return id(weather), field.latitude, field.seedbed, field.crop, field.terminate, field.aim, own
