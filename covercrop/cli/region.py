"""`covercrop region`: the same over every cell of a grid, or every station of a table."""

from __future__ import annotations

import argparse
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from covercrop.base.streams import tell
from covercrop.cli.shared import Commands, screen, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


def add(commands: Commands) -> None:
    """Add it to the parser."""
    region = commands.add(
        "region",
        _run,
        "what ready says, for every cell of a grid or every station of a table",
        ("survey_region",),
        units="units of the weather files of a table of stations; a grid says its own",
    )
    region.add_argument("grid", metavar="GRID", type=Path, help="NetCDF, Zarr, or a CSV table of stations")
    region.add_argument("-o", "--output", dest="out", metavar="OUT", type=Path, required=True,
                        help=".nc or .zarr for a grid, .geojson or .csv for stations")  # fmt: skip
    region.add_argument("--cover", metavar="NAME", required=True, help="what is sown; covercrop covers lists the names")
    region.add_argument("--sown", metavar="WHEN", required=True,
                        help="09-15, or a rule such as 6w-before-freeze: so many weeks before the day by which half of "
                        "the autumns have frozen")  # fmt: skip
    region.add_argument("--with", dest="beside", metavar="NAME", help="refused: a region knows the legume alone")
    region.add_argument("--crop", metavar="NAME", required=True, help="what follows; covercrop crops lists the names")
    region.add_argument(
        "--cultivar", metavar="NAME", default="", help="of the cover, or its maturity group; it narrows the dates"
    )
    region.add_argument("--terminate", metavar="HOW", default="turn-under", help="turn-under, roll, mow or tarp")
    region.add_argument("--method", metavar="HOW", default="direct-seed", help="direct-seed or transplant")
    region.add_argument("--ground-cover", metavar="WHAT", default="bare", help="bare, straw or black-plastic")
    region.add_argument("--days-to-maturity", metavar="DAYS", type=float, help="of the crop, from the seed packet")
    region.add_argument("--percentiles", metavar="P", type=float, nargs="+", default=[10.0, 50.0, 90.0],
                        help="of the dates over years and draws (default: 10 50 90)")  # fmt: skip
    region.add_argument("--plant-by", metavar="MM-DD", help="add the chance that the ground is plantable by then")
    region.add_argument("--dates", choices=("calendar", "season"), default="calendar",
                        help="dates as calendar time, or as days after sowing (default: calendar)")  # fmt: skip
    region.add_argument("--map", metavar="FILE.png", type=Path, help="draw it, too")
    region.add_argument("--scheduler", metavar="ADDRESS", help="of a Dask cluster (default: this machine)")
    region.add_argument("--workers", metavar="N", type=int, help="processes on this machine (default: its cores)")
    region.epilog = (
        "Every option from --cover to --ground-cover also takes from:NAME, a variable of the grid (or a column of the "
        "table) in which each cell chooses for itself. A run that was stopped goes on where it was: give the same "
        "command again."
    )


def _run(arguments: argparse.Namespace) -> int:
    from covercrop.base.errors import UsageError
    from covercrop.region.survey import Work, survey_region
    from covercrop.render.data import machine
    from covercrop.render.screen import region as regional

    if arguments.beside is not None:
        raise UsageError(
            f"--with {arguments.beside}: a region is worked out for the legume alone, since nobody has judged the "
            "share of each cell; leave it out, or ask covercrop ready for a field"
        )
    if arguments.map is not None:
        from covercrop.base.extras import need
        from covercrop.render.figures import maps
        from covercrop.render.figures.outlines import have_outlines

        need("matplotlib", "region")
        if not _can_be_drawn(arguments.map):
            raise UsageError(f"--map {arguments.map}: name a file that ends in .png, in a folder that is there")
        if not have_outlines():
            tell("covercrop: the map will have no outlines; pip install 'covercrop[outlines]' brings them")

    asked = survey_region(
        arguments.grid,
        arguments.out,
        cover=arguments.cover,
        sown=arguments.sown,
        crop=arguments.crop,
        cultivar=arguments.cultivar,
        terminate=arguments.terminate,
        method=arguments.method,
        ground_cover=arguments.ground_cover,
        days_to_maturity=arguments.days_to_maturity,
        percentiles=arguments.percentiles,
        plant_by=arguments.plant_by,
        dates=arguments.dates,
        units=arguments.units or "metric",
        work=Work(scheduler=arguments.scheduler, workers=arguments.workers, progress=_progress, say=tell),
    )
    if arguments.map is not None:
        maps.draw(asked, arguments.map)
    if arguments.json:
        show(machine.dump(regional.document(asked, asked.history)))
    else:
        regional.summary(screen(), asked)
    return 0


def _can_be_drawn(path: Path) -> bool:
    """Whether a map may have this name; one that is too long is none."""
    try:
        return path.suffix == ".png" and path.parent.is_dir() and not path.is_dir()
    except OSError:
        return False


@contextmanager
def _progress(count: int, done: int) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal's error output; where it is none, a line if a run goes on that was stopped."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if done:
        tell(f"going on with a run that was stopped: {done} of {count} blocks are done")
    columns = (TextColumn("blocks"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    try:
        if not sys.stderr.isatty():  # even where it is told to show nothing, many a release of rich ends with a line
            yield lambda _number: None
            return
        with Progress(*columns, console=console, transient=True) as bar:
            task = bar.add_task("blocks", total=count, completed=done)
            yield lambda _number: bar.advance(task)
    except KeyboardInterrupt:
        console.print("stopped; the same command goes on where it was")
        raise
