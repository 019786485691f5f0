"""The screen of `covercrop hindcast`: a table for each field, and what it comes to in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from covercrop.checking.verdict import verdict, why_unscored
from covercrop.render.screen.terminal import long_list
from covercrop.render.words import phrases
from covercrop.render.words.hindcast import day, sentences

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.checking.hindcast import Hindcast, Score
    from covercrop.render.screen.terminal import Screen


#: What is shown unless everything is asked for: the two days that a visit hangs on.
_FIRST = ("window_open", "window_close")

_COLUMNS = (
    ("forecast made on", "left"),
    ("off by", "right"),
    ("80% interval", "right"),
    ("held it", "right"),
    ("score", "right"),
    ("average date", "right"),
    ("pace", "right"),
)

_UNSCORED = {"never": "never came", "seldom": "came seldom", "past": "past", "mostly-past": "mostly past"}

_KEY = (
    "Off by: days by which the likely date missed, as a root mean square over the seasons. Held it: seasons whose day "
    "fell inside the 80% interval. Score: the mean miss in days, with credit for honest odds (CRPS); smaller is "
    "better.",
    "Average date: the score of the other seasons' dates. Pace: that of degree-days since midwinter, carried on at the "
    "average pace up to the average sum, with the rule's own errors as its odds.",
    "What came is what the whole season's weather gives in the model: this tests the weather's part of an interval, "
    "not how well the model knows your cover. Keep bloom records for that; covercrop calibrate takes them.",
)


def show(screen: Screen, replayed: Sequence[Hindcast], *, title: str = "", full: bool = False) -> None:
    """Print how the forecasts did.

    Parameters
    ----------
    screen : Screen
    replayed : sequence of Hindcast
    title : str
        What was asked about.
    full : bool
        Every event, not only the window.
    """
    if not replayed:
        return
    screen.say(title, style="bold")
    for each in replayed:
        screen.say()
        screen.say(each.field.name, style="bold")
        for sentence in sentences(each):
            screen.say(sentence)
        screen.say(_what_is_where(each), style="dim")
        for event in dict.fromkeys(score.event for score in each.scores):
            if full or event in _FIRST:
                screen.say()
                screen.say(phrases.DATE_LABELS[event].capitalize())
                screen.table(_COLUMNS, [_row(each, score) for score in each.scores if score.event == event])
    screen.items("How to read it", _KEY)


#: Of the list of many fields.
_HEADS = ("field", "cover", "sown", "seasons", "off by", "held it", "beats both")


def table(screen: Screen, replayed: Sequence[Hindcast], *, title: str = "") -> None:
    """Print how the forecasts did in each of many fields, a line a field, in the order of the file.

    Parameters
    ----------
    screen : Screen
    replayed : sequence of Hindcast
    title : str
        What was asked about.
    """
    if not replayed:
        return
    rows = [_line(each) for each in replayed]
    more = "One field in full: covercrop hindcast FIELDS --field NAME"
    long_list(screen, title, _HEADS, rows, _SPARED, key=_LIST_KEY, more=more)


#: What is left out of it where names would be cut, the first of these first.
_SPARED = ("sown", "seasons", "cover")

_LIST_KEY = (
    "off by: days by which the likely opening of the window missed, on the last day of the forecast but one; held it: "
    "days of all events that fell inside their 80% interval; beats both: days of the forecast on which it does better "
    "than the average date and than degree-days at the average pace."
)


def _line(each: Hindcast) -> tuple[str, ...]:
    found, sown = verdict(each), each.field.cover.sown
    named = each.field.name, each.cover.common_name, f"{sown.day} {phrases.MONTHS[sown.month - 1]}"
    if found.unscored is not None:
        return (*named, str(len(each.years)), _UNSCORED_HERE[found.unscored], "", "")
    off_by = f"{found.example.rmse_days:.1f} days" if found.example is not None else "-"
    won = list(found.beaten.values()).count(())
    return (*named, str(len(each.years)), off_by, phrases.percent(found.held), f"{won} of {len(found.beaten)}")


#: Why a field has no score in the list.
_UNSCORED_HERE = {"never": "never came", "seldom": "came seldom", "past": "all past"}


def _what_is_where(each: Hindcast) -> str:
    sown = each.field.cover.sown
    cultivar = f" ({each.field.cover.cultivar})" if each.field.cover.cultivar else ""
    gaps = f"; {', '.join(map(str, each.left_out))} left out for gaps in the weather" if each.left_out else ""
    return (
        f"{each.cover.common_name.capitalize()}{cultivar}, sown {sown.day} {phrases.MONTHS[sown.month - 1]}, replayed "
        f"in {len(each.years)} seasons from {each.years[0]} to {each.years[-1]}, each with itself left out of the "
        f"history{gaps}"
    )


def _row(each: Hindcast, score: Score) -> tuple[str, ...]:
    why = why_unscored(each, score)
    if why is not None:
        return (day(score.issue), _UNSCORED[why], "", "", "", "", "")
    return (
        day(score.issue),
        f"{score.rmse_days:.1f} days",
        f"{score.width_days:.0f} days",
        phrases.percent(score.coverage_80),
        f"{score.crps_days:.1f}",
        f"{score.station_mean.crps_days:.1f}",
        f"{score.pace.crps_days:.1f}",
    )
