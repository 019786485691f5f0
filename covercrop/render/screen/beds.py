"""The sheet to load the truck by: on the terminal, as JSON and as CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.text import Text

from covercrop.beds import spreading
from covercrop.beds.lengths import Measures
from covercrop.render.figures import beds as bed_drawing
from covercrop.render.screen.terminal import foot, long_list
from covercrop.render.words import beds as bed_words
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.beds.beds import BedPlan
    from covercrop.beds.materials import Item
    from covercrop.render.screen.terminal import Screen


def show(screen: Screen, all_beds: Sequence[BedPlan], *, title: str = "", full: bool = False) -> None:
    """Print the beds of every field.

    Parameters
    ----------
    screen : Screen
    all_beds : sequence of BedPlan
    title : str
        What was asked about.
    full : bool
        Every assumption with its reason, and every source in full.
    """
    if not all_beds:
        return
    screen.say(title, style="bold")
    for beds in all_beds:
        _field(screen, beds)
    doses = any(beds.doses for beds in all_beds)
    if doses:
        screen.items("To test manure or compost for weed-killers", spreading.BIOASSAY_STEPS)
    screen.items("Take care", dict.fromkeys(said for beds in all_beds for said in bed_words.cautions(beds)))
    assumed = dict.fromkeys(assumption for beds in all_beds for assumption in beds.assumptions)
    keys = dict.fromkeys(key for beds in all_beds for key in beds.sources)
    foot(screen, list(assumed), list(keys), full=full, us=all_beds[0].us)


#: Of the list of many fields.
_HEADS = ("field", "crop", "stands in", "plants", "plant", "nitrogen", "manure")

#: What is left out of it where names would be cut, the first of these first.
_SPARED = ("stands in", "plants", "crop")


def table(screen: Screen, all_beds: Sequence[BedPlan], *, title: str = "") -> None:
    """Print what stands on each of many fields, a line a field, those that are planted first at the top.

    Parameters
    ----------
    screen : Screen
    all_beds : sequence of BedPlan
    title : str
        What was asked about.
    """
    if not all_beds:
        return
    ordered = sorted(all_beds, key=lambda beds: str(beds.planting))  # NaT after all days
    unit = Measures(ordered[0].us).rate_unit
    long_list(
        screen,
        title,
        _HEADS,
        [bed_words.line(beds) for beds in ordered],
        _SPARED,
        key=f"plant: from when it is likely safe; nitrogen: {unit}, what the likely need is short of or over; manure: "
        "whether what is to be spread, else any raw manure, is allowed, and until when.",
        more=f"One field in full, with its list: covercrop beds FIELDS --field NAME; the lists of all: --csv. "
        f"{advice.ADVICE_FIRST}",
    )


def _field(screen: Screen, beds: BedPlan) -> None:
    screen.say()
    screen.say(beds.plan.field.name, style="bold")
    screen.say(bed_words.stands(beds))
    if said := bed_words.dates(beds):
        screen.say(said)
    _plan(screen, beds)
    _list(screen, beds.items)
    if said_of_squares := bed_words.squares(beds):
        screen.items("In the squares", said_of_squares)
    _nitrogen(screen, beds)
    kept = [bed_words.interval(beds, each) for each in beds.intervals]
    screen.items("When", kept)
    screen.items("After the harvest", bed_words.after(beds))


def _plan(screen: Screen, beds: BedPlan) -> None:
    marks = bed_drawing.ASCII if screen.plain else bed_drawing.BOX
    *drawing, legend = bed_drawing.text_plan(beds, min(screen.width, 80) - 4, marks)
    screen.say()
    for line in drawing:
        screen.show(Padding(Text(line), (0, 0, 0, 2)))
    screen.say(legend, style="dim", indent=2)


def _list(screen: Screen, items: Sequence[Item]) -> None:
    screen.say()
    rows = [(amount(item), item.item, item.why) for item in items]
    screen.table((("to load", "right"), ("", "left"), ("exact need, and what for", "left")), rows)


def amount(item: Item) -> str:
    """A quantity with its unit."""
    return f"{item.quantity:,.10g} {item.unit}".strip()


def _nitrogen(screen: Screen, beds: BedPlan) -> None:
    rows = bed_words.nitrogen_rows(beds)
    if rows:
        screen.say()
        screen.table((("nitrogen", "left"), (Measures(beds.us).rate_unit, "right"), ("", "left")), rows)
        screen.say(bed_words.nitrogen_advice(beds), indent=2)
    for said in (
        bed_words.roots(beds),
        bed_words.phosphorus(beds),
        *(bed_words.layer(beds, each) for each in beds.doses),
    ):
        if said:
            screen.say(said, indent=2)
