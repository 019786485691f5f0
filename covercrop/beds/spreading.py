"""When manure, compost and poultry litter may be spread, by published rules."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from covercrop.beds.nutrients import Dose
from covercrop.parameters.constants import MODELS

if TYPE_CHECKING:
    from covercrop.field.bed_entries import Composting
    from covercrop.parameters.traits import Crop


#: Days from raw manure to harvest, where what is eaten lies on the soil and where it does not.
RAW_DAYS_ON_SOIL, RAW_DAYS_ABOVE = int(MODELS.spreading.raw_on_soil.value), int(MODELS.spreading.raw_above.value)

#: What a compost of manure has to have been through [1, degC, d].
COMPOST_CARBON_NITROGEN = (MODELS.spreading.compost_carbon_least.value, MODELS.spreading.compost_carbon_most.value)
COMPOST_CELSIUS = (MODELS.spreading.compost_coldest.value, MODELS.spreading.compost_hottest.value)
COMPOST_DAYS = {
    "vessel": int(MODELS.spreading.vessel.value),
    "aerated-pile": int(MODELS.spreading.aerated_pile.value),
    "windrow": int(MODELS.spreading.windrow.value),
}
WINDROW_TURNINGS = int(MODELS.spreading.turnings.value)

#: From the day a test for weed-killers is sown to the day it can be read [d].
BIOASSAY_DAYS = int(MODELS.spreading.bioassay.value)

#: From fresh poultry manure to seed [d].
POULTRY_DAYS = int(MODELS.spreading.poultry.value)

#: What no source gives, for the reader.
ASSUMPTIONS = (
    f"Seed is kept {POULTRY_DAYS} days away from fresh poultry manure, whose salt and ammonia burn it: "
    f"{MODELS.spreading.poultry.reason}.",
)

RAW_RULE = "7 CFR 205.203(c)(1)"
COMPOST_RULE = "7 CFR 205.203(c)(2)"

_MIX = MODELS.spreading.bioassay_mix

BIOASSAY_STEPS = (
    f"Take a handful from a dozen places in the heap, mix, and blend {_MIX.value:g} part with 1 of clean potting soil, "
    f"or {_MIX.high:g} with 1 for a stronger test of a mild compost.",
    "Fill three pots with the blend and three with potting soil alone; stand each in its own saucer.",
    "Sow three beans or peas in each, since legumes are among the first to suffer (University of Florida), and keep "
    "them warm and moist.",
    "Wait for three sets of true leaves. Cupped, twisted or thick leaves in the blend only: use none of that heap on "
    "this crop. Test every load; nothing but the test shows it.",
)


NEVER = np.datetime64("NaT", "D")

Kind = Literal["raw", "on-top", "compost", "heated", "plants", "poultry", "bioassay"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How somebody counts raw manure that is not worked in.

    Attributes
    ----------
    who, says : str
    days : int or None
        To the harvest; None where no number is given.
    first_harvest : numpy.datetime64[D]
        After those days; NaT where there are none, or the spreading is not known.
    source : str
        Key in ``data/sources.toml``.
    """

    who: str
    says: str
    days: int | None
    first_harvest: np.datetime64
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A time to keep.

    Attributes
    ----------
    kind : str
        ``raw`` manure, raw manure left ``on-top``, ``compost`` that passes,
        manure that was ``heated`` and dried, ``plants`` only, fresh
        ``poultry`` manure near seed, a ``bioassay`` for weed-killers.
    subject : str
        What it is about, such as ``cattle manure``.
    rule : str
        What is asked for, and by whom.
    done, aim : numpy.datetime64[D]
        When it is spread, and the harvest (or seed) that it has to wait for;
        NaT where that is not known.
    start, end : numpy.datetime64[D]
        First and last day on which it may be done; NaT where there is none.
    allowed : bool or None
        Whether what is planned keeps to it; None where that is not known.
    faults : tuple of str
        Why a compost counts as raw.
    source : str
        Key in ``data/sources.toml``; empty where it is assumed.
    first_harvest : numpy.datetime64[D]
        That raw manure spread then allows; NaT for everything else.
    readings : tuple of Reading
        How others count raw manure left on top; empty for everything else.
    worked_in_by : numpy.datetime64[D]
        Last day on which raw manure left on top could be worked in instead; NaT for everything else.
    """

    kind: Kind
    subject: str
    rule: str
    done: np.datetime64
    aim: np.datetime64
    start: np.datetime64
    end: np.datetime64
    allowed: bool | None
    source: str
    faults: tuple[str, ...] = ()
    first_harvest: np.datetime64 = NEVER
    readings: tuple[Reading, ...] = ()
    worked_in_by: np.datetime64 = NEVER

    def is_too_late(self, on: np.datetime64) -> bool:
        """Whether raw manure left on top can no longer be worked in on a day, in time for the harvest."""
        return bool(on > self.worked_in_by)


def on_top_readings(crop: Crop, applied: np.datetime64) -> tuple[Reading, ...]:
    """How raw manure is counted that is laid on a bed and not worked in.

    The rule's two intervals are for manure that is worked in, and manure laid on top of a food crop's bed fits none of
    its exceptions: no reading makes it allowed, and each that names days gives the harvest before which it is surely
    too early.

    Parameters
    ----------
    crop : Crop
    applied : numpy.datetime64[D]
        NaT where that is not known.
    """
    raw = raw_days(crop)
    produce = (
        "names no days yet where it may touch what is eaten (reserved)"
        if crop.touches_soil
        else "asks for no days where it touches what is eaten neither while it is spread nor after"
    )
    uk, australia = MODELS.spreading.on_top_uk, MODELS.spreading.on_top_australia
    return tuple(
        Reading(
            who=who,
            says=says,
            days=days,
            first_harvest=NEVER if days is None else applied + np.timedelta64(days, "D"),
            source=source,
        )
        for who, says, days, source in (
            ("the rule's text", f"has days only for manure that is worked in, {RAW_RULE}", None, "cfr205_203"),
            ("the office of the US organic programme", f"keeps any raw manure {raw} days", raw, "nop_draft"),
            ("some US certifiers", f"count the {raw} days from spreading, worked in or not", raw, "tilth_manure"),
            ("the US produce rule", produce, None, "cfr112_56"),
            ("United Kingdom advice", "keeps fresh manure six months", int(uk.value), uk.source),
            (
                "Australia",
                f"keeps {australia.low:.0f} to {australia.high:.0f} days, by scheme",
                int(australia.value),
                australia.source,
            ),
        )
    )


def raw_days(crop: Crop) -> int:
    """Days from raw manure to harvest."""
    return RAW_DAYS_ON_SOIL if crop.touches_soil else RAW_DAYS_ABOVE


def compost_faults(composting: Composting | None) -> list[str]:
    """Why a compost of manure does not pass, as published; empty if it does.

    Parameters
    ----------
    composting : Composting or None
        How it was composted, as far as that is known.
    """
    if composting is None:
        return ["its composting is not recorded"]
    faults = []
    low, high = COMPOST_CARBON_NITROGEN
    if composting.carbon_nitrogen is None:
        faults.append("its C:N ratio at the start is not known")
    elif not low <= composting.carbon_nitrogen <= high:
        faults.append(f"its C:N ratio at the start, {composting.carbon_nitrogen:g}, is not within {low:g} to {high:g}")
    faults += _temperature_faults(composting)
    if composting.method is None:
        return [*faults, "the way it was composted is not known"]
    wanted = COMPOST_DAYS[composting.method]
    if composting.days is None:
        faults.append("the days at that heat are not known")
    elif composting.days < wanted:
        faults.append(f"{composting.days} days at that heat are fewer than {wanted}")
    if composting.method == "windrow":
        if composting.turnings is None:
            faults.append("how often the windrow was turned is not known")
        elif composting.turnings < WINDROW_TURNINGS:
            faults.append(f"{composting.turnings} turnings of the windrow are fewer than {WINDROW_TURNINGS}")
    return faults


def _temperature_faults(composting: Composting) -> list[str]:
    low, high = COMPOST_CELSIUS
    if composting.coolest_c is None or composting.hottest_c is None:
        return ["its temperatures are not known"]
    faults = []
    if composting.coolest_c < low - 1e-6:
        faults.append(f"it cooled to {composting.coolest_c:.0f} degC, below 55 degC (131 degF)")
    if composting.hottest_c > high + 1e-6:
        faults.append(f"it heated to {composting.hottest_c:.0f} degC, above 77 degC (170 degF)")
    return faults


def raw_interval(
    crop: Crop,
    subject: str,
    applied: np.datetime64,
    harvest: np.datetime64,
    *,
    mixed: bool = True,
    faults: tuple[str, ...] = (),
) -> Interval:
    """Whether raw manure on a day leaves enough time to the harvest.

    Parameters
    ----------
    crop : Crop
    subject : str
        The manure.
    applied, harvest : numpy.datetime64[D]
        NaT where they are not known.
    mixed : bool
        Whether it is worked into the soil, as the rule asks.
    faults : tuple of str
        Why a compost counts as raw.
    """
    days = raw_days(crop)
    where = "lies on the soil" if crop.touches_soil else "does not touch the soil"
    last = harvest - np.timedelta64(days, "D")
    known = not (np.isnat(applied) or np.isnat(harvest))
    return Interval(
        kind="raw" if mixed else "on-top",
        subject=subject,
        rule=f"raw manure is worked in {days} days before harvest where what is eaten {where}, {RAW_RULE}",
        done=applied,
        aim=harvest,
        start=NEVER,
        end=last if mixed else NEVER,
        allowed=(bool(applied <= last) if known else None) if mixed else False,
        source="cfr205_203",
        faults=faults,
        first_harvest=applied + np.timedelta64(days, "D") if mixed else NEVER,
        readings=() if mixed else on_top_readings(crop, applied),
        worked_in_by=NEVER if mixed else last,
    )


def manure_interval(crop: Crop, each: Dose, applied: np.datetime64, harvest: np.datetime64) -> Interval:
    """Whether an amendment may be spread on a day, before a harvest.

    Parameters
    ----------
    crop : Crop
    each : Dose
    applied, harvest : numpy.datetime64[D]
        NaT where they are not known.
    """
    name, entry = each.material.common_name, each.entry
    faults = tuple(compost_faults(entry.composting)) if each.material.composted else ("it is raw",)
    if each.material.animal != "none" and not entry.heated and faults:
        why = faults if each.material.composted else ()
        return raw_interval(crop, name, applied, harvest, mixed=entry.worked_in, faults=why)
    kind, rule, source = _FREE["plants" if each.material.animal == "none" else "heated" if entry.heated else "compost"]
    return Interval(
        kind=kind,
        subject=name,
        rule=rule,
        done=applied,
        aim=harvest,
        start=NEVER,
        end=NEVER,
        allowed=True,
        source=source,
    )


#: What may be spread at any time: the kind, the rule, its source.
_FREE: dict[str, tuple[Kind, str, str]] = {
    "plants": ("plants", f"plant material has no interval to harvest, {COMPOST_RULE}", "cfr205_203"),
    "heated": (
        "heated",
        "manure heated to 74 degC (165 degF), or to 66 degC (150 degF) for an hour, and dried to 12% water has no "
        "interval to harvest",
        "omri_generic",
    ),
    "compost": (
        "compost",
        f"compost of manure from a C:N of 25 to 40, held at 131 to 170 degF, has no interval, {COMPOST_RULE}",
        "cfr205_203",
    ),
}


def poultry_interval(each: Dose, applied: np.datetime64, planting: np.datetime64) -> Interval:
    """Whether fresh poultry manure leaves its salt and ammonia time before seed."""
    first = applied + np.timedelta64(POULTRY_DAYS, "D")
    known = not (np.isnat(applied) or np.isnat(planting))
    return Interval(
        kind="poultry",
        subject=each.material.common_name,
        rule=f"no seed within {POULTRY_DAYS} days of fresh poultry manure: its salt and ammonia burn it (assumed)",
        done=applied,
        aim=planting,
        start=first,
        end=NEVER,
        allowed=bool(planting >= first) if known else None,
        source="",
    )


def bioassay_interval(subject: str, applied: np.datetime64, on: np.datetime64) -> Interval:
    """Whether there is time to test for weed-killers before spreading.

    ``start`` is the first day to spread, tested from ``on``; ``end`` the last
    day to sow the test.
    """
    spread = np.isnat(applied) or applied < on
    ready = on + np.timedelta64(BIOASSAY_DAYS, "D")
    return Interval(
        kind="bioassay",
        subject=subject,
        rule="test every load for aminopyralid, clopyralid and picloram, which outlast gut and heap, before use",
        done=applied,
        aim=NEVER,
        start=NEVER if spread else ready,
        end=NEVER if spread else applied - np.timedelta64(BIOASSAY_DAYS, "D"),
        allowed=None if spread else bool(applied >= ready),
        source="ncstate_herbicide",
    )
