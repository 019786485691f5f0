"""The dates ahead of all fields on a terminal, in the order of their days."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.render.words import phrases
from covercrop.season import advice

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.dates.agenda import Event
    from covercrop.render.data.icalendar import Changes
    from covercrop.render.screen.terminal import Screen
    from covercrop.render.words.reminders import Reminder


def datebook(screen: Screen, reminders: Sequence[Reminder], on: np.datetime64, *, title: str = "") -> None:
    """Print the dates ahead.

    Parameters
    ----------
    screen : Screen
    reminders : sequence of Reminder
    on : numpy.datetime64[D]
    title : str
        What was asked about.
    """
    year = int(str(on)[:4])
    screen.say(f"{title}, {phrases.weekday(on)} {year}", style="bold")
    if not reminders:
        screen.say()
        screen.say("No date lies ahead that could be named; covercrop ready says why.")
        return
    for reminder in sorted(reminders, key=lambda reminder: reminder.event.first):
        screen.say()
        screen.say(f"{_days(reminder.event, year)}  {reminder.title}", style="bold")
        screen.say(reminder.odds, indent=2)
    cautions = [caution for reminder in reminders for caution in reminder.cautions]
    screen.items("Take care", dict.fromkeys((*cautions, advice.ADVICE_FIRST)))


def joined(screen: Screen, reminders: Sequence[Reminder], on: np.datetime64, *, title: str = "") -> None:
    """Print the dates ahead of many fields, a paragraph each; what is to be done on the same days is joined.

    Parameters
    ----------
    screen : Screen
    reminders : sequence of Reminder
    on : numpy.datetime64[D]
    title : str
        What was asked about.
    """
    year = int(str(on)[:4])
    screen.say(f"{title}, {phrases.weekday(on)} {year}", style="bold")
    screen.say()
    together: dict[tuple[str, str, str], list[Reminder]] = {}
    for reminder in reminders:
        event = reminder.event
        together.setdefault((str(event.first), str(event.last), reminder.what), []).append(reminder)
    for (_, _, what), same in sorted(together.items()):
        names = ", ".join(reminder.field.name for reminder in same)
        screen.say(f"{_days(same[0].event, year)}  {what}: {names}", indent=2)
    screen.say()
    screen.say(f"The odds of each: covercrop calendar FIELDS --field NAME. {advice.ADVICE_FIRST}")


def _days(event: Event, year: int) -> str:
    last = phrases.weekday(event.last, year)
    if event.last == event.first:
        return last
    return f"{phrases.weekday(event.first, int(str(event.last)[:4]))} - {last}"


def saved(screen: Screen, path: str, changes: Changes) -> None:
    """Say what was written."""
    total = changes.new + changes.changed + changes.same
    screen.say(
        f"{path}: {_count(total)} ahead: {changes.new} new, {changes.changed} changed, {changes.same} as before"
        f"{f'; {changes.withdrawn} withdrawn' if changes.withdrawn else ''}."
    )
    screen.say(
        "Take it into your calendar. After the next run of this command take it in again: dates that have moved "
        "replace the old ones."
    )


def _count(number: int) -> str:
    return "1 date" if number == 1 else f"{number} dates"
