"""Stages as BBCH codes, and BBCH codes as days and in words."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from covercrop.base.arrays import Array

#: BBCH code of each stage that the model dates; 25 % bloom lies between 62 (20 %) and 63 (30 %).
BBCH = {
    "sown": 0.0,
    "emergence": 9.0,
    "bud": 51.0,
    "first_flower": 60.0,
    "bloom_10": 61.0,
    "bloom_25": 62.5,
    "bloom_50": 65.0,
    "end_of_bloom": 69.0,
    "viable_seed": 81.0,
}

#: From this code on a stage is one of pods.
PODS = 70

#: The stages in plain words, each from its BBCH code on.
STAGE_NAMES = {
    0: "sown, not yet up",
    9: "up and growing, no buds",
    51: "first flower buds visible",
    55: "flower buds all over, none open",
    60: "first flowers open",
    61: "10% in bloom",
    62: "20% in bloom",
    63: "30% in bloom",
    64: "40% in bloom",
    65: "full bloom",
    67: "bloom fading",
    69: "bloom over, pods filling",
    81: "first seed may be viable",
}

# Between these the code is read off a straight line; from emergence to buds a cover only grows leaves.
_BLOOM_STAGES = ("bud", "first_flower", "bloom_10", "bloom_25", "bloom_50", "end_of_bloom", "viable_seed")


def bbch(stage_days: dict[str, float] | dict[str, np.float64], on: float) -> int:
    """BBCH code of a stand on a day.

    Parameters
    ----------
    stage_days : dict of str to float
        Day index of each stage, NaN where not reached.
    on : float
        Day index.

    Returns
    -------
    int
        Codes between two stages are read off a straight line, from the first
        buds on; 81 from the first viable seed, whatever is still in bloom.
    """
    if on >= stage_days["viable_seed"]:
        return int(BBCH["viable_seed"])
    code = BBCH["emergence"] if on >= stage_days["emergence"] else BBCH["sown"]
    for stage, following in pairwise(_BLOOM_STAGES):
        reached, then = stage_days[stage], stage_days[following]
        if not on >= reached:
            break
        code = BBCH[stage]
        if then > reached:
            code += (BBCH[following] - code) * ((on - reached) / (then - reached))
    return int(code + 1e-9)


def stage_name(code: float) -> str:
    """A BBCH code in plain words."""
    return STAGE_NAMES[max((known for known in STAGE_NAMES if known <= code), default=0)]


def bbch_of_percent(percent: float) -> float:
    """BBCH code of a share of plants in bloom.

    Parameters
    ----------
    percent : float
        Plants (or heads) in bloom, 0 to 100.

    Returns
    -------
    float
        61 is 10 % by definition, 65 is 50 % (full bloom); all in bloom is
        taken as 67, when the first petals have fallen.
    """
    return float(np.interp(percent, (0.0, 50.0, 100.0), (BBCH["first_flower"], BBCH["bloom_50"], 67.0)))


def day_at_bbch(stage_days: dict[str, Array], code: float) -> Array:
    """Day on which a stand comes to a BBCH code.

    Parameters
    ----------
    stage_days : dict of str to numpy.ndarray
        From :func:`stage_days`.
    code : float
        Beyond the last dated stage (81) it is taken as that stage.

    Returns
    -------
    numpy.ndarray
        Day index, on a straight line between the dated stages on either side;
        NaN where a stage that is needed is not reached.  From 70 on the code
        tells of pods, which set while the stand still blooms: the line then
        runs from the first flowers to the first viable seed.
    """
    code = min(max(code, BBCH["emergence"]), BBCH["viable_seed"])
    stages = ("first_flower", "viable_seed") if code >= PODS else ("emergence", *_BLOOM_STAGES)
    codes = [BBCH[stage] for stage in stages]
    after = next(place for place, known in enumerate(codes) if known >= code)
    if codes[after] == code:
        return stage_days[stages[after]]
    share = (code - codes[after - 1]) / (codes[after] - codes[after - 1])
    return (1 - share) * stage_days[stages[after - 1]] + share * stage_days[stages[after]]
