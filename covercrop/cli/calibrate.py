"""`covercrop calibrate`: own bloom records to own numbers."""

from __future__ import annotations

import argparse
from pathlib import Path

from covercrop.cli.shared import Commands, screen, show


def add(commands: Commands) -> None:
    """Add it to the parser."""
    calibrate = commands.add("calibrate", _run, "numbers of your own, from your bloom records, for one cultivar")
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
    import datetime as dt

    from covercrop.base.shipped import data_path
    from covercrop.checking.bloom_records import read_bloom_records
    from covercrop.checking.cultivar_fit import calibrate
    from covercrop.parameters.own_bloom import write_calibration

    path = arguments.records or data_path("demo", "records.csv", beside=("weather.csv",))
    fitted = calibrate(read_bloom_records(path, dt.date.today()), path.name)
    if arguments.output:
        write_calibration(arguments.output, fitted.calibration)
    if arguments.json:
        from covercrop.render.data import machine

        show(machine.dump(machine.calibration(fitted, arguments.output)))
    else:
        from covercrop.render.screen import calibration

        calibration.show(screen(), fitted, arguments.output, us=arguments.units == "us")
    return 0
