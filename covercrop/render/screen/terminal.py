"""Answers for a terminal: good at 80 columns, without colour, and when piped."""

from __future__ import annotations

import unicodedata
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

import numpy as np
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from covercrop.base import units
from covercrop.base.errors import visible
from covercrop.base.one_system import one_system
from covercrop.beds.lengths import Measures
from covercrop.dates import needs
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Crop, label
from covercrop.render.screen.strip import BLOCKS, LABEL, PLAIN, Glyphs, season_strip
from covercrop.render.words import answer, mixture, phrases
from covercrop.render.words.changes import changed
from covercrop.render.words.phrases import short_source
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from covercrop.base.records import DailyWeather
    from covercrop.checking.degree_day_table import DegreeDayTable
    from covercrop.parameters.companions import Companion
    from covercrop.parameters.traits import Cover
    from covercrop.season.changes import Changes
    from covercrop.season.plan import Plan
    from covercrop.weather.daily import WeatherSummary


#: Text wider than this is hard to read, however wide the terminal.
WIDEST = 100

#: On a narrower screen every column of a table has to give.
WHOLE_FROM = 70

#: On a narrower one a long list of fields keeps their names and leaves columns out.
NARROW = 80

#: The colour of each state.
STATE_STYLE = {
    "growing": "green",
    "budding": "green",
    "in-window": "bold magenta",
    "closing": "bold yellow",
    "seed-risk": "bold red",
    "turned-under": "yellow",
    "plantable": "bold cyan",
    "planted": "cyan",
    "winter-killed": "bold red",
}
_ROW_STYLE = {"ruler": "dim", "today": "bold", "window": "magenta", "lag": "yellow", "planting": "cyan"}

#: What the less plain origins of a day are called.
_ORIGINS = {"filled": "filled from the days beside", "climatology": "filled with the season's usual"}

#: Characters beyond ASCII that the words use, for outputs that cannot hold them.
_ASCII = str.maketrans({"·": "-", "°": " deg ", "²": "2", "³": "3", "±": "+/-", "•": "-", "─": "-"})


class Screen:
    """A console that keeps to a readable width and to what its encoding can hold."""

    def __init__(self, console: Console | None = None) -> None:
        self.console = console or Console(highlight=False)
        self.width = min(self.console.width, WIDEST)
        self.plain = not (self.console.encoding or "").lower().startswith("utf")

    @property
    def glyphs(self) -> Glyphs:
        """Characters to draw with."""
        return PLAIN if self.plain else BLOCKS

    def show(self, content: RenderableType) -> None:
        """Print anything; without the blanks that fill a line up, unless they are coloured on a terminal."""
        if self.console.is_terminal:
            self.console.print(content, width=self.width)
            return
        with self.console.capture() as captured:
            self.console.print(content, width=self.width)
        self.console.file.write("".join(f"{line.rstrip()}\n" for line in captured.get().splitlines()))

    def fit(self, text: str) -> str:
        """Text in the characters that the output can hold, and none that a terminal would obey."""
        text = visible(text)
        if not self.plain:
            return text
        # Letters lose their accents; what has no plain form at all becomes a question mark.
        plain = unicodedata.normalize("NFKD", text.translate(_ASCII))
        return (
            "".join(letter for letter in plain if not unicodedata.combining(letter)).encode("ascii", "replace").decode()
        )

    def say(self, text: str = "", style: str = "", indent: int = 0) -> None:
        """Print a paragraph, wrapped and indented; a blank line by default."""
        self.show(Padding(Text(self.fit(text), style=style), (0, 0, 0, indent)))

    def items(self, title: str, entries: Iterable[str]) -> None:
        """Print a titled list, if there is anything in it."""
        entries = list(entries)
        if not entries:
            return
        self.say()
        self.say(title, style="bold")
        for entry in entries:
            item = Table.grid(padding=(0, 1, 0, 0))
            item.add_row("-", Text(self.fit(entry), overflow="fold"))
            self.show(Padding(item, (0, 0, 0, 2)))

    def table(self, columns: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]], indent: int = 2) -> None:
        """Print a table; a column is its heading and ``left``, ``right``, or ``whole`` for left and never broken."""
        table = Table(box=None, padding=(0, 2, 0, 0))
        for heading, side in columns:
            justify: Literal["left", "right"] = "right" if side == "right" else "left"
            table.add_column(
                heading, justify=justify, no_wrap=side == "whole" and self.width >= WHOLE_FROM, header_style="dim"
            )
        for row in rows:
            table.add_row(*(Text(self.fit(cell)) for cell in row))
        self.show(Padding(table, (0, 0, 0, indent)))


# --- ready ----------------------------------------------------------------------------------------


def ready(
    screen: Screen,
    plans: Sequence[Plan],
    on: np.datetime64,
    *,
    title: str = "",
    us: bool = False,
    full: bool = False,
    changes: Mapping[str, Changes] = MappingProxyType({}),
) -> None:
    """Print this week's answer for every field.

    Parameters
    ----------
    screen : Screen
    plans : sequence of Plan
    on : numpy.datetime64[D]
    title : str
        What was asked about.
    us : bool
        Show US units.
    full : bool
        Why, every date, every caution, every assumption with its reason, and every source in full.
    changes : mapping of str to Changes
        What moved of a field since an earlier day, by its name.
    """
    if not plans:
        return
    year = int(str(on)[:4])
    screen.say(f"{title}, {phrases.weekday(on)} {year}", style="bold")
    shared = in_all([_told(plan, full=full) for plan in plans])
    for plan in plans:
        _field(screen, plan, us=us, full=full, leave_out=shared, changes=changes.get(plan.field.name))
    screen.items("Remarks for every field", shared)
    if full:
        beneath(screen, plans, full=full, us=us)
        return
    for caution in dict.fromkeys(filter(None, map(needs.caution_now, plans))):
        screen.say()
        screen.say(f"Take care: {one_system(caution, us=us)}", style="yellow")
    more(screen, plans)


def more(screen: Screen, plans: Sequence[Plan]) -> None:
    """Print what else there is to be read, and whose word comes first, in a line."""
    assumed = len({assumption for plan in plans for assumption in plan.provenance.assumptions})
    cautions = len({caution for plan in plans for caution in plan.provenance.cautions})
    screen.say()
    screen.say(
        f"--full adds why, every date, {cautions} cautions, {assumed} assumptions with their reasons, and the sources. "
        f"{advice.ADVICE_FIRST}",
        style="dim",
    )


def _told(plan: Plan, *, full: bool) -> Sequence[str]:
    """The notes that are shown: in short only what the weather lacks."""
    return plan.provenance.notes if full else plan.provenance.of_weather


def beneath(screen: Screen, plans: Sequence[Plan], *, full: bool = False, us: bool = False) -> None:
    """Print what goes with every answer: cautions, assumptions, sources.

    Parameters
    ----------
    screen : Screen
    plans : sequence of Plan
    full : bool
        Every assumption with its reason, and every source in full.
    us : bool
        Show US units.
    """
    cautions = dict.fromkeys(caution for plan in plans for caution in plan.provenance.cautions)
    screen.items("Take care", (one_system(caution, us=us) for caution in cautions))
    assumed = dict.fromkeys(assumption for plan in plans for assumption in plan.provenance.assumptions)
    keys = dict.fromkeys(key for plan in plans for key in plan.provenance.sources)
    foot(screen, list(assumed), list(keys), full=full, us=us)


def foot(screen: Screen, assumed: Sequence[str], keys: Sequence[str], *, full: bool, us: bool = False) -> None:
    """Print what an answer rests on: in full, or the sources in short and the number of assumptions."""
    if full:
        screen.items("Assumed, since no source gives it", (one_system(said, us=us) for said in assumed))
        screen.items("Sources", (advice.reference(catalogue.source(key)) for key in keys))
        return
    screen.say()
    screen.say("Sources", style="bold")
    screen.say("; ".join(dict.fromkeys(short_source(catalogue.source(key)) for key in keys)) + ".", indent=2)
    screen.say(
        f"{len(assumed)} assumptions stand where no source, or only a crop model, gives a number; --full shows each "
        "with its reason, and the sources in full.",
        indent=2,
    )


def fitting(
    heads: Sequence[str], rows: Sequence[Sequence[str]], width: int, kept: str, spared: Sequence[str]
) -> tuple[Sequence[str], list[Sequence[str]], list[int]]:
    """Headings, rows and widths of a long list that fit: columns are left out before one of them is cut.

    Parameters
    ----------
    heads : sequence of str
    rows : sequence of sequences of str
    width : int
        Of the screen.
    kept : str
        The heading of the column that is cut last.
    spared : sequence of str
        The headings of those that may be left out, the first one first.
    """
    columns = dict(zip(heads, zip(*rows, strict=True), strict=True)) if rows else {}
    left = list(spared)
    while True:
        widths = [max(map(len, (head, *column))) for head, column in columns.items()]
        over = sum(widths) + 2 * len(widths) - width
        if over <= 0 or not left:
            break
        columns.pop(left.pop(0), None)
    if over > 0 and widths:
        place = list(columns).index(kept)
        widths[place] = max(widths[place] - over, len(kept))
    return tuple(columns), list(zip(*columns.values(), strict=True)), widths


def lines(screen: Screen, rows: Sequence[Sequence[str]], widths: Sequence[int], styles: Sequence[str]) -> None:
    """Print a long list: straight to the output, since laying out a table of hundreds would take seconds."""
    for row, style in zip(rows, styles, strict=True):
        cells = [_fitted(screen.fit(cell), width) for cell, width in zip(row, widths, strict=True)]
        line = f"  {'  '.join(cells)}".rstrip()
        if screen.console.is_terminal:
            screen.console.print(line, style=style, markup=False, highlight=False, no_wrap=True, soft_wrap=True)
        else:
            screen.console.file.write(f"{line}\n")


def long_list(
    screen: Screen,
    title: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    spared: Sequence[str],
    *,
    key: str,
    more: str,
    styles: Sequence[str] = (),
) -> None:
    """Print many fields, a line each: their title, the list, how it is read, and how to see more of one.

    Parameters
    ----------
    screen : Screen
    title : str
    heads, rows, spared
        As for :func:`fitting`; the column ``field`` is cut last.
    key, more : str
    styles : sequence of str, optional
        One for each row.
    """
    screen.say(title, style="bold")
    screen.say()
    left, fitted, widths = fitting(heads, rows, screen.width, "field", spared)
    lines(screen, [left, *fitted], widths, ["dim", *(styles or [""] * len(fitted))])
    screen.say()
    screen.say(key, style="dim", indent=2)
    screen.say()
    screen.say(more)


def _fitted(text: str, width: int) -> str:
    return (text if len(text) <= width else f"{text[: width - 2]}..").ljust(width)


def in_all(lists: Sequence[Sequence[str]]) -> list[str]:
    """Entries that stand in every one of several lists."""
    if len(lists) < 2:
        return []
    return [entry for entry in lists[0] if all(entry in other for other in lists[1:])]


def moved(screen: Screen, plans: Sequence[Plan], changes: Mapping[str, Changes]) -> None:
    """Print which of many fields moved since an earlier day."""
    found = [(plan, changes[plan.field.name]) for plan in plans if plan.field.name in changes]
    entries = [f"{plan.field.name}. {changed(plan, each)}" for plan, each in found if not each.is_still]
    if found and not entries:
        screen.say()
        screen.say(f"Since {phrases.day_month(found[0][1].since)} no field has moved.")
    screen.items("What moved", entries)


def _field(
    screen: Screen,
    plan: Plan,
    *,
    us: bool,
    full: bool,
    leave_out: Sequence[str] = (),
    changes: Changes | None = None,
) -> None:
    state = (answer.state(plan).upper(), STATE_STYLE[plan.state])
    headline = screen.fit(answer.headline(plan))
    screen.say()
    screen.show(Text.assemble((screen.fit(plan.field.name), "bold"), ": ", state, f". {headline}"))
    for said in (mixture.winter(plan), answer.then(plan), *mixture.short(plan, us=us)):
        if said:
            screen.say(said)
    if changes is not None:
        screen.say(changed(plan, changes))
    screen.say(answer.what_is_where(plan), style="dim")
    if plan.state != "winter-killed":
        _dates(
            screen,
            answer.date_rows(plan, us=us) if full else answer.date_rows(plan, needs.dates_that_matter(plan), us=us),
        )
        _strip(screen, plan)
    if full:
        screen.items("Why", filter(None, [*answer.reasons(plan, us=us), answer.release(plan)]))
    screen.items("Remarks", (note for note in _told(plan, full=full) if note not in leave_out))


def _dates(screen: Screen, rows: Sequence[Sequence[str]]) -> None:
    if not rows:
        return
    screen.say()
    screen.table((("date", "left"), ("early", "right"), ("likely", "right"), ("late", "right")), rows)


def _strip(screen: Screen, plan: Plan) -> None:
    rows = season_strip(plan, screen.width - 2, screen.glyphs)
    if not rows:
        return
    screen.say()
    for row in rows:
        line = Text.assemble((row.label.ljust(LABEL), "dim"), (row.text, _ROW_STYLE[row.kind]))
        screen.show(Padding(line, (0, 0, 0, 2)))


# --- covers and crops -----------------------------------------------------------------------------


def covers(screen: Screen, records: Sequence[Cover], beside: Sequence[Companion], *, us: bool = False) -> None:
    """Print the covers that are known, and the cereals that are sown beside them, a line each."""
    screen.table(
        (("name", "left"), ("bloom", "left"), ("cultivars", "left")),
        [(cover.key, cover.confidence, ", ".join(known.name for known in cover.cultivars)) for cover in records],
        indent=0,
    )
    say = Measures(us)
    screen.say()
    screen.say(
        f"Cereals beside them (with = in the field file); seed in {say.rate_unit}, days to wait for large seed and, "
        "after the bar, for small",
        style="bold",
    )
    screen.table(
        (
            ("name", "whole"),
            ("days after rye", "right"),
            ("half die at", "right"),
            ("seed beside", "right"),
            ("seed alone", "right"),
            ("wait", "right"),
        ),
        [
            (
                cereal.key,
                f"{cereal.bloom.offset.value:g}",
                phrases.temperature(cereal.winter.kill_temperature.value, us=us),
                f"{say.rate_number(cereal.sowing.beside.value):.0f}",
                f"{say.rate_number(cereal.sowing.alone.value):.0f}",
                f"{cereal.wait.large_seed.value:.0f} | {cereal.wait.small_seed.value:.0f}",
            )
            for cereal in beside
        ],
        indent=0,
    )
    screen.say()
    screen.say("Every number with its source: covercrop covers NAME")


def crops(screen: Screen, records: Sequence[Crop], *, us: bool = False) -> None:
    """Print the crops that are known, a line each."""
    screen.table(
        (("name", "left"), ("crop", "left"), ("soil to wait for", "right"), ("days to ripen", "right")),
        [
            (
                crop.key,
                crop.common_name,
                phrases.temperature(crop.soil_planting.value, us=us),
                f"{crop.days_to_maturity.value:.0f}",
            )
            for crop in records
        ],
        indent=0,
    )
    screen.say()
    screen.say("Every number with its source: covercrop crops NAME")


def record(screen: Screen, subject: Cover | Companion | Crop) -> None:
    """Print every number of a cover or crop, with its source or its reason."""
    family = f", {subject.family}" if isinstance(subject, Crop) else ""
    screen.say(f"{subject.common_name} ({subject.scientific_name}{family})", style="bold")
    values = catalogue.cited_values(subject)
    screen.say()
    for path, value in values:
        about = f" ({value.printed_range})" if value.printed_range else ""
        screen.say(f"{label(path)}: {value.printed}{about}", indent=2)
        origin = f"{value.source}, {value.locator}"
        if value.doubt:
            origin = f"assumed: {value.reason}" if not value.source else value.doubt
        screen.say(origin, style="dim", indent=6)
    screen.items("Take care", subject.cautions)
    screen.items("Remarks", subject.notes)
    keys = dict.fromkeys(value.source for _, value in values if value.source)
    screen.items("Sources", (f"{key}: {advice.reference(catalogue.source(key))}" for key in keys))


# --- weather --------------------------------------------------------------------------------------


def weather(
    screen: Screen,
    names: Sequence[str],
    origin: str,
    record: DailyWeather,
    summary: WeatherSummary,
    *,
    us: bool = False,
) -> None:
    """Print where the weather of some fields comes from and how good it is.

    Parameters
    ----------
    screen : Screen
    names : sequence of str
        Fields that use it.
    origin : str
        The file or station that was asked for.
    record : DailyWeather
    summary : WeatherSummary
    """
    screen.say(", ".join(names), style="bold")
    screen.say(f"from {origin}", indent=2)
    for station in record.stations:
        place = f"{station.latitude:.2f}, {station.longitude:.2f}"
        height = "" if station.elevation_m is None else f", {_height(station.elevation_m, us=us)}"
        far = "" if station.distance_km is None else f", {distance(station.distance_km, us=us)} away"
        screen.say(f"{station.name} ({station.id}): {place}{height}{far}", indent=4)
    shares = ", ".join(
        f"{phrases.percent(share)} {_ORIGINS.get(kind, kind)}" for kind, share in summary.shares.items() if share
    )
    screen.say(f"{summary.first} to {summary.last}, {summary.days:,} days: {shares}", indent=2)
    if summary.longest_gap:
        screen.say("longest run without readings: {} to {}".format(*summary.longest_gap), indent=2)
    for fault in summary.flags:
        more = ", ..." if fault.days > len(fault.first) else ""
        screen.say(f"{fault.flag}: {fault.days} ({', '.join(map(str, fault.first))}{more})", indent=2)
    for note in record.notes:
        screen.say(note, indent=2)
    if record.attribution:
        screen.say(record.attribution, indent=2)
    screen.say()


def _height(metres: float, *, us: bool) -> str:
    return f"{metres / units.M_PER_FT:.0f} ft" if us else f"{metres:.0f} m"


def distance(kilometres: float, *, us: bool) -> str:
    """How far a station is."""
    return f"{kilometres / units.KM_PER_MILE:.0f} miles" if us else f"{kilometres:.0f} km"


def degree_days(screen: Screen, table: DegreeDayTable) -> None:
    """Print degree-days per day and summed, a line a day."""
    unit = screen.fit("°F" if table.units == "us" else "°C")
    above = "" if table.upper is None else f", below {table.upper:g} {unit} ({table.cutoff} cut-off)"
    columns = (table.tmin, table.tmax, table.degree_days, table.sum, table.filled)
    lines = [
        f"Degree-days above {table.lower:g} {unit}{above}, method: {table.method}",
        "",
        f"{'date':<10} {'tmin':>8} {'tmax':>8} {f'{unit} d':>9} {'sum':>10}",
    ]
    lines += [
        f"{day} {low:8.2f} {high:8.2f} {daily:9.2f} {total:10.2f}{' filled' if filled else ''}"
        for day, low, high, daily, total, filled in zip(table.dates, *columns, strict=True)
    ]
    # A record may hold decades: straight to the output, since laying out a table would take seconds.
    screen.console.file.write("\n".join(lines) + "\n")
