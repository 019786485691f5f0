"""`covercrop weather`: which weather is used, and how good it is."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from covercrop.cli.shared import (
    Commands,
    complain,
    each_told,
    field_argument,
    fields_argument,
    named,
    read,
    said,
    screen,
    show,
)

if TYPE_CHECKING:
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Field


def add(commands: Commands) -> None:
    """Add it to the parser."""
    weather = commands.add(
        "weather",
        _run,
        "which weather is used, how complete it is, what was flagged",
        ("field_weather", "read_weather", "daily_weather"),
    )
    fields_argument(weather)
    field_argument(weather)
    weather.add_argument("--fetch", action="store_true", help="fetch station data now and keep them")


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.field.weather_source import described, field_weather
    from covercrop.render.data import machine
    from covercrop.render.screen import terminal
    from covercrop.weather.daily import summary
    from covercrop.weather.sharing import SharedWeather

    file, today, _ = read(arguments)
    shared = SharedWeather()

    def bring(field: Field) -> tuple[Field, DailyWeather]:
        return field, field_weather(field, today, refresh=arguments.fetch, shared=shared)

    found, troubled = each_told("bringing the weather", named(file, arguments.field), bring)
    problems = said(troubled)
    if arguments.json:
        entries = [(field.name, record, summary(record)) for field, record in found]
        show(machine.dump(machine.weather(entries, today, problems)))
    else:
        to = screen()
        for record in {id(record): record for _, record in found}.values():
            users = [field for field, used in found if used is record]
            names = [field.name for field in users]
            terminal.weather(to, names, described(users[0]), record, summary(record), us=arguments.units == "us")
    return complain(problems)
