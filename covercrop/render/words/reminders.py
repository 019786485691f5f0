"""What each date ahead says, short enough for a telephone: a title, its odds, what to do, what can hurt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from covercrop.base.errors import one_line
from covercrop.dates.agenda import Event, agenda, next_autumn
from covercrop.models.frost import HARD_FROST
from covercrop.models.plantback import BINDING_WORDS
from covercrop.models.soil_temperature import DAYS_HELD
from covercrop.render.words import answer, mixture
from covercrop.render.words.ending import given_up, odds
from covercrop.render.words.phrases import chance, day_month, temperature, weekday
from covercrop.season import advice
from covercrop.season.crop_days import autumn_frost, days_to_emergence, hard_frost, planting_day, ripe_day

if TYPE_CHECKING:
    from collections.abc import Callable

    from covercrop.autumn.comparison import Autumn
    from covercrop.base.records import DailyWeather, DateRange
    from covercrop.field.entries import Field
    from covercrop.season.plan import Plan

#: What calendars may sort the dates by.
CATEGORIES = {
    "scout": "Scouting",
    "check-stand": "Scouting",
    "window-opens": "Cover",
    "turn-under": "Cover",
    "window-closes": "Cover",
    "planting": "Crop",
    "thinning": "Crop",
    "spring-frost": "Frost",
    "autumn-frost": "Frost",
    "next-sowing": "Cover",
}

#: What a visit is for.
_TO_SEE = {
    "buds": "look for flower buds",
    "first-flowers": "look for first flowers",
    "bloom": "see how much is in bloom",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reminder:
    """A date ahead in words.

    Attributes
    ----------
    field : Field
    event : Event
    title : str
        In a line, with the name of the field.
    odds : str
        How sure it is, in a sentence or two.
    advice : str
        What to do; empty where nothing is to be said.
    cautions : tuple of str
        What can hurt.
    """

    field: Field
    event: Event
    title: str
    odds: str
    advice: str = ""
    cautions: tuple[str, ...] = ()

    @property
    def what(self) -> str:
        """The title without the name of the field."""
        return self.title.removeprefix(f"{field_name(self.field)}: ")


@dataclass(frozen=True, slots=True)
class _Words:
    what: str
    odds: str
    advice: str = ""
    cautions: tuple[str, ...] = ()


def reminders(plan: Plan, autumn: Autumn | None = None, *, us: bool = False) -> tuple[Reminder, ...]:
    """The dates ahead of a field in words.

    Parameters
    ----------
    plan : Plan
    autumn : Autumn, optional
        The sowing dates of the next cover compared.
    us : bool
        Show US units.
    """
    stale = answer.stale_since(plan)
    found = []
    for event in agenda(plan, autumn):
        said = _WORDS[event.kind](plan, event, us)
        old = event.moves and stale not in said.odds
        basis = f"By weather that ends on {stale}." if old else ""
        found.append(
            Reminder(
                field=plan.field,
                event=event,
                title=f"{field_name(plan.field)}: {said.what}",
                odds=_joined(said.odds, basis),
                advice=said.advice,
                cautions=said.cautions,
            )
        )
    return tuple(found)


def upcoming_dates(plan: Plan, weather: DailyWeather | None = None, *, us: bool = False) -> tuple[Reminder, ...]:
    """The dates ahead of a field in words; ``covercrop calendar`` shows them.

    Parameters
    ----------
    plan : Plan
    weather : DailyWeather, optional
        That the plan rests on: with it the sowing dates of the next cover are compared; without it the rule of the
        trade stands for them (six to eight weeks before the first hard frost: common practice, no source).
    us : bool
        Show US units.

    Returns
    -------
    tuple of Reminder
        In the order of their first days (``numpy.datetime64[D]``), from the day of the plan on; none where nothing
        can be foretold.
    """
    return reminders(plan, None if weather is None else next_autumn(plan, weather), us=us)


def field_name(field: Field) -> str:
    """The name of a field in one line, with nothing in it that a program would obey."""
    return one_line(field.name)


def _joined(*sentences: str) -> str:
    return " ".join(filter(None, sentences))


def _year(day: np.datetime64) -> int:
    return int(str(day)[:4])


def _likely(dates: DateRange) -> str:
    """``likely 29 Apr, 26 Apr to 2 May in eight years of ten``, as far as it is known."""
    if dates.early == dates.late:
        return f"on {day_month(dates.median)}"
    said = "in fewer than half of the years" if np.isnat(dates.median) else f"most likely on {day_month(dates.median)}"
    if np.isnat(dates.early) or np.isnat(dates.late):
        return said
    return f"{said} ({day_month(dates.early)} to {day_month(dates.late)} in eight years of ten)"


def _open_on(plan: Plan, day: np.datetime64) -> str:
    """The chance that the window holds a day."""
    return chance(float(plan.window.chances[plan.outlook.position(day)]))


# --- the cover ------------------------------------------------------------------------------------


def _scout(plan: Plan, event: Event, us: bool) -> _Words:
    return _Words(
        f"scout, {_TO_SEE[event.look_for or '']}",
        answer.if_it_lives(
            plan,
            f"The window opens {_likely(plan.window.opens)}; on this day it is open with a chance "
            f"of {_open_on(plan, event.first)}.",
        ),
        f"Walk the {plan.cover.common_name}, edges and middle. Write the stage, or the percentage in bloom, into the "
        f"field file: one note narrows all later dates.{mixture.to_note(plan)}",
    )


def _check_stand(plan: Plan, event: Event, us: bool) -> _Words:
    return _Words("go and look, the cold may have killed it", answer.headline(plan))


def _window_opens(plan: Plan, event: Event, us: bool) -> _Words:
    return _Words(
        "window likely opens",
        answer.if_it_lives(plan, f"The window opens {_likely(plan.window.opens)}."),
        f"From then on the {plan.cover.common_name} is in flower with no viable seed: look before you bring a machine.",
    )


def _turn_under(plan: Plan, event: Event, us: bool) -> _Words:
    own = (advice.OF_WAY[plan.window.method],)
    cautions = (*own, advice.INSURED)
    if event.best is None or event.chance is None:
        return _Words(f"{answer.to_end(plan)} at once, seed risk", answer.headline(plan), "", cautions)
    return _Words(
        f"{answer.to_end(plan)}, best {weekday(event.best)}",
        answer.if_it_lives(
            plan,
            _joined(
                answer.instead(plan),
                f"On {weekday(event.best)}, the best day, {_promised(plan, event.chance)}.",
                given_up(plan, us=us),
                answer.surer(plan),
            ),
        ),
        "Look first: flowers open, no pods swelling. Once it is done, write the day into the field file as "
        "turned_under: the dates after it move along.",
        cautions,
    )


def _promised(plan: Plan, chance_of_window: float) -> str:
    """What the day of ending the cover promises."""
    best = plan.window.best
    return f"the window is open with a chance of {chance(chance_of_window)}" if best is None else odds(plan, best)


def _window_closes(plan: Plan, event: Event, us: bool) -> _Words:
    closes = plan.window.closes
    half = "" if np.isnat(closes.median) else f"; after {day_month(closes.median)} it is more likely closed than open"
    return _Words(
        "window closing",
        answer.if_it_lives(
            plan, f"After {day_month(closes.early)} the chance that it has closed passes one in ten{half}."
        ),
        "Look for swelling pods. Later, the first seed may be viable and come back as a weed.",
        plan.cover.cautions,
    )


# --- the crop -------------------------------------------------------------------------------------


def _planting(plan: Plan, event: Event, us: bool) -> _Words:
    cautions = (advice.TREATED_SEED,) if plan.field.crop.method == "direct-seed" else ()
    if plan.state == "plantable":
        odds = f"{answer.headline(plan)} By now it is safe in eight years of ten or more."
        return _Words(f"{answer.planting(plan)}, the ground is ready", odds, "", cautions)
    likely, safe = plan.planting.earliest.median, plan.planting.safe
    surer = "" if np.isnat(safe) or safe == likely else f", in eight years of ten from {day_month(safe)}"
    why = f": {BINDING_WORDS[plan.planting.binding]}" if plan.planting.binding else ""
    soil = temperature(plan.planting.soil_c, us=us)
    return _Words(
        f"{answer.planting(plan)}, likely safe from {day_month(likely)}",
        f"Likely safe from {day_month(likely)}{surer}{_if_ended(plan)}{why}. {answer.season_fit(plan)}".rstrip(),
        f"Measure before you plant: the soil should have held {soil} on {DAYS_HELD} days running.",
        cautions,
    )


def _if_ended(plan: Plan) -> str:
    if plan.is_ended:
        return ""
    return f", if you {answer.to_end(plan)} on {day_month(plan.window.ending_day)}"


def _thinning(plan: Plan, event: Event, us: bool) -> _Words:
    day, days = planting_day(plan), days_to_emergence(plan)
    guess = ", a guess" if np.isnan(plan.planting.emergence_days) else ""
    sown = "Sown" if plan.field.crop.planted else "If it is sown"
    later = int((event.first - day).astype(int)) - days
    return _Words(
        f"thin the {plan.crop.common_name}",
        f"{sown} on {day_month(day)} it is up in about {days} days{guess}; this is {later} days later.",
        "Go by the plants: vines are thinned at one or two true leaves (Utah State University). Leave the strongest "
        "seedlings of each spot and cut the others off.",
    )


def _spring_frost(plan: Plan, event: Event, us: bool) -> _Words:
    return _Words(
        "frost watch",
        f"Until {day_month(event.last)} the chance of a night of {temperature(plan.crop.frost.value, us=us)} or "
        "less to come is more than one in ten.",
        f"Read the night's forecast, and have cloth at hand to lay over the {plan.crop.common_name}.",
    )


def _autumn_frost(plan: Plan, event: Event, us: bool) -> _Words:
    frost, ripe = autumn_frost(plan), ripe_day(plan)
    half = "" if np.isnat(frost.median) else f", half of them by {day_month(frost.median)}"
    should = "may not be ripe by then" if np.isnat(ripe) else f"should be ripe about {day_month(ripe)}"
    when = "Planted" if plan.is_planted else "If it is planted"
    return _Words(
        "frost watch, first frost of autumn",
        f"One year in ten has had a night of {temperature(plan.crop.frost.value, us=us)} or less by "
        f"{day_month(frost.early)}{half}.",
        f"{when} on {day_month(planting_day(plan))}, the {plan.crop.common_name} {should}: bring it in, or cover it, "
        "before the first such night.",
    )


# --- the next cover -------------------------------------------------------------------------------


def _next_sowing(plan: Plan, event: Event, us: bool) -> _Words:
    late = ""
    if event.crop_stands:
        ripe = day_month(ripe_day(plan))
        late = f" The {plan.crop.common_name} may stand until about {ripe}: sow as soon as it is off."
    advice_given = f"covercrop sow compares dates and covers. Have seed and fresh inoculant at hand.{late}"
    cautions = (advice.TREATED_SEED,)
    if event.best is not None and event.chance is not None:
        return _Words(
            f"sow the next cover, best {weekday(event.best)}",
            f"Sown again, best on {weekday(event.best)}, {plan.cover.common_name} covers the ground before winter, "
            f"lives, and leaves it plantable in time with a chance of {chance(event.chance)}.",
            advice_given,
            cautions,
        )
    frost = hard_frost(plan)
    return _Words(
        "sow the next cover",
        f"Half of the years have had their first hard frost, {temperature(HARD_FROST.value, us=us)}, by "
        f"{day_month(frost.median)}, one in ten by {day_month(frost.early)}; six to eight weeks before it is common "
        "practice, with no source behind it.",
        advice_given,
        cautions,
    )


_WORDS: dict[str, Callable[[Plan, Event, bool], _Words]] = {
    "scout": _scout,
    "check-stand": _check_stand,
    "window-opens": _window_opens,
    "turn-under": _turn_under,
    "window-closes": _window_closes,
    "planting": _planting,
    "thinning": _thinning,
    "spring-frost": _spring_frost,
    "autumn-frost": _autumn_frost,
    "next-sowing": _next_sowing,
}
