"""The autumn ahead: what comes of each sowing date, for each cover, over the past years of a place.

Every date runs through the chain of a field's own answer (see
:mod:`covercrop.autumn.sowing_dates`).  The years are the same for all dates, so that
what differs between two dates is the date.
As a plan made on the day of sowing would have it, each date has one day on
which its cover is to be ended: the one on which the window is most likely open.

Three things have to go well, each as often as the grower asks for: the cover
hides the ground before winter, it lives, and the crop can be planted by the
wanted date.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from covercrop.autumn.frame import _dates, _frame, _frost, _ripens_by, _season
from covercrop.autumn.relaxations import NEAREST, Relaxation, _relaxations
from covercrop.autumn.sowing_dates import (
    LIMITS,
    SEEDBED_DAYS,
    SEEDBED_RAIN,
    Asked,
    Choice,
    Failure,
    Risk,
    compare,
    moist_share,
)
from covercrop.base.arrays import Array, Days
from covercrop.base.days import date_of, day_of
from covercrop.base.units import M_PER_IN, in_both
from covercrop.field.entries import cover_of
from covercrop.field.weather_source import field_weather
from covercrop.models.members import Draws, standard_draws
from covercrop.models.soil_water import SURFACE_DEPTH
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.parameters.constants import MODELS
from covercrop.season.beside import share_of
from covercrop.season.winter_part import snow_from

if TYPE_CHECKING:
    from collections.abc import Sequence

    from covercrop.base.days import Day
    from covercrop.base.records import DailyWeather
    from covercrop.field.entries import Ground
    from covercrop.parameters.traits import Cover, Crop


__all__ = ["LIMITS", "Autumn", "Choice", "Failure", "Relaxation", "Risk", "compare_sowing_dates"]

#: Draws of the uncertain numbers.  Four times as many move no share by more
#: than three in a hundred and no date by more than four days (a test holds it so).
DRAWS = 32

#: By the rule of the trade a cover is sown so many days before the first hard frost: at the earliest, at the latest.
RULE_DAYS = (int(MODELS.sowing.rule_earliest.value), int(MODELS.sowing.rule_latest.value))

#: What no source gives, for the reader of the odds.
ASSUMPTIONS = (
    "The ground has to be covered by midwinter; growth up to then counts from emergence.",
    f"Seed is taken to come up on the rain alone where {SEEDBED_RAIN:.0f} mm ({SEEDBED_RAIN / 1000 / M_PER_IN:.2g} in) "
    f"fall in the {SEEDBED_DAYS} days after sowing, what wets a dry loam to {in_both(SURFACE_DEPTH, 'mm')}; once it is "
    "up, drought is not reckoned with.",
    "The cover is ended on the one day that most often lies in the window, as if it were fixed in autumn; in a year "
    "of your own you will know better.",
    "Best is the middle of the dates with the best chance of all three, rain for the seed included.",
    f"Sowing {RULE_DAYS[1] // 7} to {RULE_DAYS[0] // 7} weeks before the first hard frost is "
    f"{MODELS.sowing.rule_latest.reason}.",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Autumn:
    """The sowing dates of one field compared.

    Attributes
    ----------
    field, crop
        What was asked about.
    on : numpy.datetime64[D]
    dates : numpy.ndarray of datetime64[D]
    plant_by : numpy.datetime64[D]
        The wanted planting date.
    plant_by_from : str
        Where it comes from: ``asked``, ``ripens`` (the last day that lets the
        crop ripen in as many years as have to be plantable) or ``midsummer``.
    ripens_by : float
        Share of the years in which a crop planted on that day ripens.
    risk : Risk
    frost : numpy.datetime64[D]
        Middle date of the first hard frost; NaT where half of the years have none.
    moist : numpy.ndarray
        Share of the years in which rain wets the seedbed, by date; NaN where rain is not known.
    snow_from : str
        Where the snow is from (see :class:`covercrop.season.winter_part.WinterPart`).
    choices : tuple of Choice
        The fittest cover first.
    relaxations : tuple of Relaxation
        Where no cover fits: what would make the nearest ones fit.
    years : tuple of int
    notes : tuple of str
    """

    field: Ground
    crop: Crop
    on: np.datetime64
    dates: Days
    plant_by: np.datetime64
    plant_by_from: str
    ripens_by: float
    risk: Risk
    frost: np.datetime64
    moist: Array
    snow_from: str
    choices: tuple[Choice, ...]
    relaxations: tuple[Relaxation, ...]
    years: tuple[int, ...]
    notes: tuple[str, ...]


def compare_sowing_dates(
    field: Ground,
    weather: DailyWeather | None = None,
    on: Day | None = None,
    *,
    covers: Sequence[str] = (),
    start: Day | None = None,
    end: Day | None = None,
    plant_by: Day | None = None,
    risk: Risk | None = None,
    draws: Draws | None = None,
    relax: bool = True,
) -> Autumn:
    """Compare the sowing dates of the autumn ahead; ``covercrop sow`` shows them.

    Parameters
    ----------
    field : Field or Ground
        Its place, crop, way of ending the cover, and cultivar.
    weather : DailyWeather, optional
        With at least eight whole past seasons; without it that which the field names
        (:func:`covercrop.field_weather`).
    on : date, optional
        Today, by this machine's clock if it is left out.
    covers : sequence of str
        All that are known by default.
    start, end : date, optional
        First and last sowing date; without them, from ten weeks before the
        middle date of the first hard frost, and four months before midwinter
        at the latest, to a week after it.
    plant_by : date, optional
        Date by which the crop has to be in the ground; by default the last
        that lets it ripen in eight years of ten, and midsummer at the latest.
    risk : Risk, optional
        The share of the years, from 0 to 1, in which each of the three has to go well.
    draws : Draws, optional
        :data:`DRAWS` by default.
    relax : bool
        Where nothing fits, also work out what would make it, which takes longer than the comparison.

    Returns
    -------
    Autumn

    Raises
    ------
    UsageError
        If the dates are not those of one autumn ahead.
    UnknownNameError
        If a cover is not known; names near matches.
    WeatherError
        If there is no weather, or there are too few whole past seasons.

    Notes
    -----
    What no source gives stands in :data:`ASSUMPTIONS`.
    """
    today = dt.date.today() if on is None else date_of(on, "on")
    weather = field_weather(field, today) if weather is None else weather
    on = np.datetime64(today, "D")
    start, end, plant_by = (
        None if day is None else day_of(day, name)
        for day, name in ((start, "start"), (end, "end"), (plant_by, "plant_by"))
    )
    accepted = risk or Risk()
    known = [catalogue.cover(name) for name in (covers or catalogue.cover_names())]
    own = {} if field.cover is None else {field.cover.species: cover_of(field.cover)}
    known = list({cover.key: own.get(cover.key, cover) for cover in known}.values())
    season = _season(weather, on, field.latitude, start, end)
    dates = _dates(season, on, start, end)
    frame = _frame(field, season, dates, accepted, draws or standard_draws(DRAWS), plant_by)
    asked = [Asked(cover=cover, cultivar=_cultivar(field, cover), **_beside(field, cover)) for cover in known]
    choices = sorted(compare(frame, asked), key=lambda choice: _fitness(choice, accepted), reverse=True)
    tried = choices[:NEAREST] if relax and not any(choice.fit for choice in choices) else []
    return Autumn(
        field=field,
        crop=frame.crop,
        on=on,
        dates=dates,
        plant_by=season.days[frame.plant_by],
        plant_by_from=frame.plant_by_from,
        ripens_by=_ripens_by(frame),
        risk=accepted,
        frost=_frost(season)[1],
        moist=moist_share(season, frame.sowing),
        snow_from=snow_from(season),
        choices=tuple(choices),
        relaxations=tuple(relaxed for choice in tried for relaxed in _relaxations(frame, choice, on)),
        years=season.years,
        notes=weather.notes,
    )


def _cultivar(field: Ground, cover: Cover) -> str:
    """The field's own cultivar for its own species; not known for any other."""
    return field.cover.cultivar if field.cover is not None and field.cover.species == cover.key else ""


def _beside(field: Ground, cover: Cover) -> dict[str, Any]:
    """The cereal beside the field's own species, and the share of the legume; none beside any other."""
    own = field.cover
    if own is None or own.species != cover.key or own.companion is None:
        return {}
    return {"companion": companion(own.companion), "share": share_of(own, field.scouting)}


def _fitness(choice: Choice, risk: Risk) -> tuple[bool, float]:
    """Those that fit first, by the nitrogen that they can be counted on for if they are ended in their window.

    The others by how little they fall short.

    Dying counts twice: a crop can be planted otherwise, the winter cannot be had otherwise.
    """
    place = choice.best
    if choice.fit:
        works = choice.together[place] * choice.window[place]
        return True, float(works * np.nan_to_num(choice.brings["pan_kg_ha"][place]))
    short = {name: min(float(choice.share(name)[place]) - getattr(risk, name), 0.0) for name in LIMITS}
    return False, sum(short.values()) + short["survives"]
