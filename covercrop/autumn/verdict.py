"""What a comparison of sowing dates comes to: which covers to talk about, what is past, what to mind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from covercrop.autumn.comparison import RULE_DAYS
from covercrop.season.ending import POOR
from covercrop.season.stand_part import SURE
from covercrop.season.winter_part import UNKNOWN_SNOW

if TYPE_CHECKING:
    from covercrop.autumn.comparison import Autumn, Choice
    from covercrop.autumn.relaxations import Relaxation

#: Where rain fails the seed in more years than this, it is to be watered in.
DRY_SHARE = 0.3

#: Below this chance of living, what snow would do is to be thought of.
SNOW_MATTERS = 0.95


def talked_about(autumn: Autumn) -> list[Choice]:
    """The covers that get sentences of their own: the fittest, and the field's own."""
    own = None if autumn.field.cover is None else autumn.field.cover.species
    return [choice for place, choice in enumerate(autumn.choices) if place == 0 or choice.cover.key == own]


def cereal_lives(choice: Choice) -> bool:
    """Whether the cereal beside a cover lives in nearly all years, sown on the best date."""
    return bool(choice.cereal_lives[choice.best] >= SURE)


def too_late(autumn: Autumn, choice: Choice) -> bool:
    """Whether all days on which a cover fits are past, which can be so where past days are asked about."""
    return choice.last is not None and bool(autumn.dates[choice.last] < autumn.on)


def best_is_past(autumn: Autumn, choice: Choice) -> bool:
    """Whether the best day of a cover is past, while others may still come."""
    return bool(autumn.dates[choice.best] < autumn.on)


def relaxed_too_late(autumn: Autumn, relaxed: Relaxation) -> bool:
    """Whether what would make a cover fit asks for a day that is past."""
    return bool(relaxed.end < autumn.on)


def is_poor(choice: Choice) -> bool:
    """Whether the window is more likely closed than open even on the day that is best for ending the cover."""
    return bool(choice.window[choice.best] < POOR)


def starts_with_the_first(choice: Choice) -> bool:
    """Whether a cover fits from the first day on that was looked at."""
    return choice.first == 0


def rain_is_known(autumn: Autumn) -> bool:
    """Whether anything is known of the rain on the seedbed."""
    return not np.isnan(autumn.moist).all()


def to_water_in(autumn: Autumn) -> int | None:
    """Place of the driest sowing date, where seed has to be watered in; None where not, or rain is not known."""
    if not (autumn.moist < 1.0 - DRY_SHARE).any():
        return None
    return int(np.nanargmin(autumn.moist))


def snow_matters(autumn: Autumn) -> bool:
    """Whether snow would change the odds of living, where none is reckoned with."""
    return (
        autumn.snow_from in UNKNOWN_SNOW
        and min(float(choice.survives[choice.best]) for choice in autumn.choices) < SNOW_MATTERS
    )


def rule_dates(autumn: Autumn) -> tuple[np.datetime64, np.datetime64]:
    """First and last date by the rule of six to eight weeks; NaT where there is no hard frost to count from."""
    early, late = (autumn.frost - np.timedelta64(days, "D") for days in RULE_DAYS)
    return early, late
