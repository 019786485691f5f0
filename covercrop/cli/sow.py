"""`covercrop sow`: which sowing date, and which cover, for the autumn ahead."""

from __future__ import annotations

import argparse

from covercrop.cli.shared import (
    FEW,
    Commands,
    complain,
    date,
    field_argument,
    fields_argument,
    full_argument,
    named,
    on_argument,
    progress,
    read,
    said,
    screen,
    show,
)


def add(commands: Commands) -> None:
    """Add it to the parser."""
    sow = commands.add(
        "sow",
        _run,
        "which sowing date and which cover for the autumn ahead",
        ("compare_sowing_dates",),
        csv="print a line for each cover and sowing date",
    )
    fields_argument(sow)
    on_argument(sow)
    sow.add_argument("--from", dest="start", type=date, metavar="DATE", help="first sowing date, as 2026-08-20")
    sow.add_argument("--to", dest="end", type=date, metavar="DATE", help="last sowing date")
    sow.add_argument("--plant-by", type=date, metavar="DATE", help="when the crop has to be in the ground")
    sow.add_argument(
        "--cover", nargs="+", action="extend", default=[], metavar="NAME", help="covers to compare (default: all)"
    )
    for option, default, what in (
        ("covered", 0.8, "cover the ground before winter"),
        ("alive", 0.9, "live through the winter"),
        ("plantable", 0.8, "leave the ground plantable in time"),
    ):
        sow.add_argument(
            f"--{option}",
            type=_share,
            default=default,
            metavar="SHARE",
            help=f"share of years in which it has to {what}, as 0.8 or 80%% (default: {default})",
        )
    full_argument(sow)
    field_argument(sow, f"more than {FEW} fields are shown in a table")


def _share(text: str) -> float:
    try:
        share = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        share = -1.0
    if not 0.0 <= share <= 1.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a share of the years; give 0.8 or 80%")
    return share


def _run(arguments: argparse.Namespace) -> int:
    import numpy as np

    from covercrop.autumn.comparison import Risk
    from covercrop.autumn.many import compare_fields
    from covercrop.base.errors import UsageError
    from covercrop.parameters import catalogue

    for name in arguments.cover:
        if arguments.fields is None and name.lower().endswith(".toml"):
            raise UsageError(f"{name!r} is taken for a cover: name the field file before --cover")
        catalogue.cover(name)  # said once, not for every field
    if arguments.start and arguments.end and arguments.start > arguments.end:
        raise UsageError(f"--from {arguments.start} is after --to {arguments.end}; give the earlier date first")
    file, today, title = read(arguments, sown=False)
    risk = Risk(established=arguments.covered, survives=arguments.alive, plantable=arguments.plantable)

    fields = named(file, arguments.field, sown=False)
    on = arguments.on or today
    with progress("comparing sowing dates", len(fields)) as advance:
        answers, troubled = compare_fields(
            fields,
            on,
            today=today,
            covers=arguments.cover,
            start=arguments.start,
            end=arguments.end,
            plant_by=arguments.plant_by,
            risk=risk,
            advance=advance,
        )
    problems = said(troubled)
    us = arguments.units == "us"
    if arguments.json:
        from covercrop.render.data import machine
        from covercrop.render.data import sowing as sowing_data

        show(machine.dump(sowing_data.sow(answers, np.datetime64(on, "D"), problems)))
    elif arguments.csv:
        from covercrop.render.data import sowing as sowing_data

        show(sowing_data.sow_csv(answers, us=us))
    else:
        from covercrop.render.screen import sowing

        if len(fields) > FEW and not (arguments.full or arguments.field):
            sowing.table(screen(), answers, title=title)
            return complain(problems)
        sowing.sow(screen(), answers, title=title, us=us, full=arguments.full)
    return complain(problems)
