"""`covercrop guide`: the manual, a page a question."""

from __future__ import annotations

import argparse

from covercrop.cli.shared import Commands, screen, show


def add(commands: Commands) -> None:
    """Add it to the parser."""
    parser = commands.add("guide", _run, "the manual, a page a question", ("guide_pages", "guide_page"))
    parser.add_argument("topic", nargs="?", metavar="TOPIC", help="show this page; without it, which there are")


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.guide.pages import guide_page, guide_pages
    from covercrop.render.data import machine
    from covercrop.render.screen import guide

    found = [guide_page(arguments.topic)] if arguments.topic else guide_pages()
    if arguments.json:
        show(machine.dump(machine.manual(found)))
    elif arguments.topic:
        guide.show(screen(), found[0])
    else:
        guide.contents(screen(), found)
    return 0
