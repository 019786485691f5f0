"""How the forecasts of past seasons did, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from covercrop.checking.hindcast import FEWEST_SEASONS, SEASON_DAYS
from covercrop.checking.verdict import taken, verdict
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from covercrop.checking.hindcast import Hindcast, Score
    from covercrop.checking.verdict import Verdict

_WIDTH = {
    "too-narrow": ": they are too narrow here, so take them as that.",
    "fair": ".",
    "too-wide": ": they are wider than they need be here.",
}
_PLAIN = {"station_mean": "the average date", "pace": "the pace"}


def day(issue: str) -> str:
    """An issue date in words."""
    month, number = issue.split("-")
    return f"{int(number)} {phrases.MONTHS[int(month) - 1]}"


def sentences(each: Hindcast) -> list[str]:
    """What the scores come to, in plain sentences, also where the forecasts lose."""
    if why := nothing_scored(each):
        return [why]
    found = verdict(each)
    held = f"Over all dates and events the 80% intervals held {phrases.percent(found.held)}{_WIDTH[str(found.width)]}"
    return [f"{_example(found.example)}{held}", _against_plain(each, found), *_winters(each)]


def _winters(each: Hindcast) -> list[str]:
    """The seasons that the cold took, whose dates are those of stands that would have lived."""
    if not (years := taken(each)):
        return []
    named = ", ".join(f"{year}-{(year + 1) % 100:02d}" for year in years)
    return [
        f"The cold kills most of the stands in {len(years)} of the {len(each.years)} seasons ({named}); their dates "
        "are scored as those of what lives."
    ]


def nothing_scored(each: Hindcast) -> str:
    """Why no forecast of a field could be scored; empty where some were."""
    why = verdict(each).unscored
    if why is None:
        return ""
    if why == "past":
        return "Every event was past on these days in all but a few seasons: give earlier ones with --issue."
    seldom = "in none" if why == "never" else f"in no more than {max(each.reached.values())}"
    return (
        f"There is nothing to score: in the weather of this place {each.cover.common_name} comes to bloom or into its "
        f"window {seldom} of the {len(each.years)} seasons, within {SEASON_DAYS} days of sowing, and {FEWEST_SEASONS} "
        "are needed. Ask for another cover or another day of sowing: covercrop sow compares them."
    )


def _example(score: Score | None) -> str:
    """How the opening of the window was foretold."""
    if score is None:
        return ""
    days = max(round(score.rmse_days), 1)
    return (
        f"On {day(score.issue)} the opening of the window was forecast to within {days} day{'s' * (days > 1)}, and "
        f"the 80% interval held it in {round(score.coverage_80 * score.seasons)} of {score.seasons} seasons. "
    )


def _against_plain(each: Hindcast, found: Verdict) -> str:
    names = list(found.beaten)
    won = [name for name, plain in found.beaten.items() if not plain]
    if not won:
        days = "every one of these days" if len(names) > 1 else "this day"
        text = f"A plain forecast did as well or better on {days}: go by that here."
    elif len(won) == len(names):
        days = "each of these days" if len(names) > 1 else "this day"
        text = f"On {days} the forecasts beat both the average date and degree-days at the average pace."
    elif won == names[-len(won) :]:
        text = f"From {day(won[0])} on the forecasts beat both the average date and degree-days at the average pace."
    else:
        *others, last = (day(name) for name in won)
        text = f"The forecasts beat both plain ones on {' and '.join([', '.join(others), last] if others else [last])}."
    lost = [f"On {day(name)} {_better(each.overall[name], plain)}." for name, plain in found.beaten.items() if plain]
    return " ".join((text, *lost))


def _better(score: Score, beaten_by: tuple[str, ...]) -> str:
    """Which plain forecasts did as well or better, with the scores."""
    ours = f"{score.crps_days:.1f}"
    theirs = {name: f"{getattr(score, name).crps_days:.1f}" for name in beaten_by}
    return " and ".join(
        f"{_PLAIN[name]} did {f'better ({days} against {ours})' if days != ours else 'as well'}"
        for name, days in theirs.items()
    )
