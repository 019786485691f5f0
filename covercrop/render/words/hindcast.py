"""How the forecasts of past seasons did, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.checking.hindcast import FEWEST_SEASONS, SEASON_DAYS
from covercrop.render.words import phrases

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.checking.hindcast import Hindcast, Score

#: An interval of eight in ten that held so many is as it should be.
_FAIR = (0.75, 0.88)


def _day(issue: str) -> str:
    month, day = issue.split("-")
    return f"{int(day)} {phrases.MONTHS[int(month) - 1]}"


def verdict(each: Hindcast) -> list[str]:
    """What the scores come to, in plain sentences, also where the forecasts lose."""
    scored = {name: score for name, score in each.overall.items() if score.seasons >= FEWEST_SEASONS}
    if why := nothing_scored(each):
        return [why]
    return [f"{_example(each)}{_intervals(list(scored.values()))}", _against_plain(scored)]


def nothing_scored(each: Hindcast) -> str:
    """Why no forecast of a field could be scored; empty where some were."""
    if any(score.seasons >= FEWEST_SEASONS for score in each.overall.values()):
        return ""
    came = max(each.reached.values())
    if came >= FEWEST_SEASONS:
        return "Every event was past on these days in all but a few seasons: give earlier ones with --issue."
    seldom = f"in no more than {came}" if came else "in none"
    return (
        f"There is nothing to score: in the weather of this place {each.cover.common_name} comes to bloom or into its "
        f"window {seldom} of the {len(each.years)} seasons, within {SEASON_DAYS} days of sowing, and {FEWEST_SEASONS} "
        "are needed. Ask for another cover or another day of sowing: covercrop sow compares them."
    )


def _example(each: Hindcast) -> str:
    """How the opening of the window was foretold, from the last issue date but one at which it was still ahead."""
    opening = [score for score in each.scores if score.event == "window_open" and score.seasons >= FEWEST_SEASONS]
    if not opening:
        return ""
    score = opening[max(len(opening) - 2, 0)]
    days = max(round(score.rmse_days), 1)
    return (
        f"On {_day(score.issue)} the opening of the window was forecast to within {days} day{'s' * (days > 1)}, and "
        f"the 80% interval held it in {round(score.coverage_80 * score.seasons)} of {score.seasons} seasons. "
    )


def _intervals(scores: Sequence[Score]) -> str:
    held = float(np.average([score.coverage_80 for score in scores], weights=[score.seasons for score in scores]))
    text = f"Over all dates and events the 80% intervals held {phrases.percent(held)}"
    if held < _FAIR[0]:
        return f"{text}: they are too narrow here, so take them as that."
    return f"{text}{': they are wider than they need be here.' if held > _FAIR[1] else '.'}"


def _against_plain(scored: dict[str, Score]) -> str:
    won = [name for name, score in scored.items() if not _better(score)]
    names = list(scored)
    if not won:
        days = "every one of these days" if len(names) > 1 else "this day"
        text = f"A plain forecast did as well or better on {days}: go by that here."
    elif len(won) == len(names):
        days = "each of these days" if len(names) > 1 else "this day"
        text = f"On {days} the forecasts beat both the average date and degree-days at the average pace."
    elif won == names[-len(won) :]:
        text = f"From {_day(won[0])} on the forecasts beat both the average date and degree-days at the average pace."
    else:
        *others, last = (_day(name) for name in won)
        text = f"The forecasts beat both plain ones on {' and '.join([', '.join(others), last] if others else [last])}."
    lost = [f"On {_day(name)} {_better(score)}." for name, score in scored.items() if _better(score)]
    return " ".join((text, *lost))


def _better(score: Score) -> str:
    """Which plain forecasts did as well or better, with the scores; empty for none."""
    ours = f"{score.crps_days:.1f}"
    plain = {"the average date": score.station_mean.crps_days, "the pace": score.pace.crps_days}
    better = [
        f"{name} did {f'better ({days:.1f} against {ours})' if f'{days:.1f}' != ours else 'as well'}"
        for name, days in plain.items()
        if days <= score.crps_days
    ]
    return " and ".join(better)
