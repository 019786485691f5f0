"""`covercrop covers` and `covercrop crops`: what is known, with sources."""

from __future__ import annotations

import argparse

from covercrop.cli.shared import Commands, screen, show


def add(commands: Commands) -> None:
    """Add it to the parser."""
    for name, run, brief, twins in (
        (
            "covers",
            _covers,
            "the legume covers that are known, and the cereals beside them, with sources",
            ("covers", "cover", "companions", "companion"),
        ),
        ("crops", _crops, "the crops that are known, with sources", ("crops", "crop")),
    ):
        parser = commands.add(name, run, brief, twins)
        parser.add_argument("name", nargs="?", metavar="NAME", help="show every number of this one")


def _covers(arguments: argparse.Namespace) -> int:
    from covercrop.parameters import catalogue
    from covercrop.parameters.companions import companions, cover_or_companion
    from covercrop.render.data import machine
    from covercrop.render.screen import terminal

    if arguments.name:
        record = cover_or_companion(arguments.name)
        if arguments.json:
            show(machine.dump(machine.parameter_records([record])))
        else:
            terminal.record(screen(), record)
    elif arguments.json:
        show(machine.dump(machine.covers(catalogue.covers(), companions())))
    else:
        terminal.covers(screen(), catalogue.covers(), companions(), us=arguments.units == "us")
    return 0


def _crops(arguments: argparse.Namespace) -> int:
    from covercrop.parameters import catalogue
    from covercrop.render.data import machine
    from covercrop.render.screen import terminal

    records = [catalogue.crop(arguments.name)] if arguments.name else catalogue.crops()
    if arguments.json:
        show(machine.dump(machine.parameter_records(records)))
    elif arguments.name:
        terminal.record(screen(), records[0])
    else:
        terminal.crops(screen(), records, us=arguments.units == "us")
    return 0
