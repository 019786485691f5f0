"""What is asked of every cell: a cover, when it is sown, a crop, and how."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any, TypeAlias

from covercrop.base.errors import UnknownNameError, UsageError
from covercrop.models import seedling_disease, soil_temperature, termination
from covercrop.parameters import catalogue

if TYPE_CHECKING:
    from covercrop.parameters.traits import Cover

#: What stands before the name of a variable, or column, that holds a choice for each cell.
FROM = "from:"

#: Of a rule for the sowing date.
_BEFORE_FREEZE = re.compile(r"(\d{1,2})w-before-freeze", re.ASCII)
_MONTH_DAY = re.compile(r"(\d{1,2})-(\d{1,2})", re.ASCII)

#: Weeks before the first freeze beyond which a rule is a slip of the pen.
MOST_WEEKS = 26


@dataclass(frozen=True, slots=True)
class From:
    """A choice that each cell makes for itself: the name of the variable or column that holds it."""

    name: str


@dataclass(frozen=True, slots=True)
class MonthDay:
    """The same day every year."""

    month: int
    day: int


@dataclass(frozen=True, slots=True)
class BeforeFreeze:
    """So many weeks before the day by which half of the autumns have had their first freeze."""

    weeks: int


Choice: TypeAlias = str | From
Sowing: TypeAlias = MonthDay | BeforeFreeze | From


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked.

    Attributes
    ----------
    cover, crop : str or From
    sown : MonthDay, BeforeFreeze or From
    cultivar : str or From
        Or a maturity group, of which the middle cultivar is taken, the earlier of two; empty where it is not known.
    terminate, method, ground_cover : str or From
    days_to_maturity : float or None
        Of the crop, from the seed packet [d].
    percentiles : tuple of float
        Of the members, in percent, rising.
    plant_by : MonthDay or None
        The day for which the chance that the ground is plantable is given.
    """

    cover: Choice
    crop: Choice
    sown: Sowing
    cultivar: Choice = ""
    terminate: Choice = "turn-under"
    method: Choice = "direct-seed"
    ground_cover: Choice = "bare"
    days_to_maturity: float | None = None
    percentiles: tuple[float, ...] = (10.0, 50.0, 90.0)
    plant_by: MonthDay | None = None

    def per_cell(self) -> dict[str, str]:
        """The variable of each choice that every cell makes for itself."""
        chosen = {each.name: getattr(self, each.name) for each in fields(self)}
        return {name: choice.name for name, choice in chosen.items() if isinstance(choice, From)}

    def with_choices(self, **choices: Any) -> Question:
        """The question of a cell that makes these choices.

        Raises
        ------
        ParameterError
            If one of them is not known.
        """
        return check(replace(self, **choices))


def choice(text: str) -> Choice:
    """A name, or ``from:VARIABLE``."""
    return From(text.removeprefix(FROM)) if text.startswith(FROM) else text


def month_day(text: str) -> MonthDay:
    """A day of the year as it is typed, such as 09-15.

    Raises
    ------
    UsageError
        If there is no such day in every year.
    """
    found = _MONTH_DAY.fullmatch(text.strip())
    try:
        if found is None:
            raise ValueError
        day = dt.date(2001, int(found[1]), int(found[2]))
    except ValueError:
        raise UsageError(f"{text!r} is no day of every year; write the month and the day as 09-15") from None
    return MonthDay(day.month, day.day)


def sowing(text: str) -> Sowing:
    """When the cover is sown: ``09-15``, ``6w-before-freeze`` or ``from:VARIABLE``.

    Raises
    ------
    UsageError
        If it is none of these.
    """
    if text.startswith(FROM):
        return From(text.removeprefix(FROM))
    if found := _BEFORE_FREEZE.fullmatch(text.strip()):
        weeks = int(found[1])
        if weeks > MOST_WEEKS:
            raise UsageError(f"{text!r}: {weeks} weeks before the first freeze is no autumn; give up to {MOST_WEEKS}")
        return BeforeFreeze(weeks)
    try:
        return month_day(text)
    except UsageError:
        raise UsageError(
            f"sown {text!r}: write a day as 09-15, a rule as 6w-before-freeze, or from:NAME for a variable of the input"
        ) from None


def check(question: Question) -> Question:
    """The question with its names as the parameter files have them.

    Raises
    ------
    ParameterError
        If a name is not known.
    UsageError
        If a percentile is none.
    """
    known: dict[str, Any] = {}
    cover, cultivar, crop = question.cover, question.cultivar, question.crop
    if isinstance(cover, str):
        record = catalogue.cover(cover)
        known["cover"] = record.key
        if isinstance(cultivar, str) and cultivar:
            known["cultivar"] = _cultivar(record, cultivar)
    if isinstance(crop, str):
        known["crop"] = catalogue.crop(crop).key
    for name, kind, choices in (
        ("terminate", "way of ending a cover", termination.METHODS),
        ("method", "planting method", seedling_disease.METHODS),
        ("ground_cover", "ground cover", soil_temperature.GROUND_COVERS),
    ):
        chosen = getattr(question, name)
        if isinstance(chosen, str) and chosen not in choices:
            raise UnknownNameError(kind, chosen, choices)
    percentiles = question.percentiles
    if (
        not percentiles
        or sorted(set(percentiles)) != list(percentiles)
        or not 0 < min(percentiles) <= max(percentiles) < 100
    ):
        given = " ".join(f"{each:g}" for each in percentiles)
        raise UsageError(f"percentiles {given}: give numbers between 0 and 100, each greater than the one before")
    return replace(question, **known)


def _cultivar(cover: Cover, name: str) -> str:
    """A cultivar by its name, or the middle one of a maturity group."""
    group = [each for each in cover.cultivars if each.group.casefold() == name.casefold()]
    if group:
        return sorted(group, key=lambda each: (each.offset.value, each.name))[(len(group) - 1) // 2].name
    try:
        return catalogue.cultivar(cover, name).name
    except UnknownNameError:
        known = dict.fromkeys([each.name for each in cover.cultivars] + [each.group for each in cover.cultivars])
        raise UnknownNameError(f"{cover.common_name} cultivar or maturity group", name, known) from None


def as_words(question: Question) -> dict[str, Any]:
    """The question in plain values, for records and fingerprints."""

    def plain(value: Any) -> Any:
        if isinstance(value, From):
            return f"{FROM}{value.name}"
        if isinstance(value, MonthDay):
            return f"{value.month:02d}-{value.day:02d}"
        if isinstance(value, BeforeFreeze):
            return f"{value.weeks}w-before-freeze"
        return list(value) if isinstance(value, tuple) else value

    return {each.name: plain(getattr(question, each.name)) for each in fields(question)}
