"""The command line: parse, hand over to the command, say what went wrong in one line.

Nothing is computed here or in the commands.  Everything that takes time to
import is imported by the command that needs it, so that ``--help`` answers at
once.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from covercrop.base.errors import CovercropError
from covercrop.base.streams import let_go, tell, told_output
from covercrop.base.version import __version__
from covercrop.cli import (
    add,
    beds,
    calendar,
    calibrate,
    compare,
    degree_days,
    guide,
    hindcast,
    known,
    ready,
    region,
    report,
    scout,
    sow,
    weather,
)
from covercrop.cli.shared import Commands, in_options

if TYPE_CHECKING:
    from collections.abc import Sequence

#: In the order of the help.
COMMANDS = (
    add,
    ready,
    compare,
    scout,
    sow,
    beds,
    calendar,
    report,
    region,
    weather,
    hindcast,
    calibrate,
    degree_days,
    known,
    guide,
)

DESCRIPTION = """\
When to turn a legume cover under, and when the ground is safe to plant.

With no FIELDS file, the commands show an invented demonstration."""

EPILOG = """\
examples:
  covercrop add fields.toml              write down your first field; it asks
  covercrop ready                        this week's answer for the demonstration
  covercrop ready fields.toml --due      which of your own fields need you this week
  covercrop compare fields.toml          each week and way of ending the cover, and what would help
  covercrop scout fields.toml "Mill terrace" --bloom 10
  covercrop sow fields.toml              what to sow this autumn, and when
  covercrop report fields.toml -o fields.html
  covercrop weather fields.toml          where the weather comes from, and how good it is

exit status: 0; 1 a problem, said in one line; 2 wrong usage; 3 something is due (ready --due --exit-code)"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments : sequence of str, optional
        Those of the process by default.

    Returns
    -------
    int
        Exit status: 0; 1 where a problem was said in one line.  Wrong usage
        leaves through ``SystemExit`` with status 2.
    """
    try:
        with told_output():
            parsed = _parser().parse_args(arguments)
            status: int = parsed.run(parsed)
    except CovercropError as error:
        tell(f"covercrop: {in_options(error)}")
        return 1
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader of a pipe has gone; that is its right, and nothing is lost.
        return 0
    except OSError as error:  # trouble of the machine that no reader or writer expected
        tell(f"covercrop: {error.filename or 'this machine'}: {error.strerror or error}")
        return 1
    finally:
        let_go()
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="covercrop",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"covercrop {__version__}")
    commands = Commands(parser)
    for command in COMMANDS:
        command.add(commands)
    return parser
