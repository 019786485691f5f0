"""`covercrop calibrate`: own bloom records to own numbers."""

from __future__ import annotations

import argparse
from pathlib import Path

from covercrop.cli.shared import Commands, screen, show


def add(commands: Commands) -> None:
    """Add it to the parser."""
    calibrate = commands.add(
        "calibrate", _run, "numbers of your own, from your bloom records, for one cultivar", ("calibrate_bloom",)
    )
    calibrate.add_argument(
        "records",
        nargs="?",
        type=Path,
        metavar="RECORDS.csv",
        help="columns place, latitude, cover, cultivar, sown, stage (25%% or BBCH 61), date, weather (a file beside "
        "this one), units (default: the demonstration)",
    )
    calibrate.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE.toml",
        help="where to keep the numbers; an earlier calibration there is replaced (default: show them only)",
    )


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.shipped import data_path
    from covercrop.checking.bloom_records import calibrate_bloom

    path = arguments.records or data_path("demo", "records.csv", beside=("weather.csv",))
    fitted = calibrate_bloom(path, arguments.output)
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.calibration(fitted, arguments.output)))
    else:
        from covercrop.render.screen import calibration

        calibration.show(screen(), fitted, arguments.output, us=arguments.units == "us")
    return 0
