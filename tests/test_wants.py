"""The chance of each want on every day: where its stretch of days lies, and the share of the members in it."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from covercrop.models import termination
from covercrop.parameters import catalogue
from covercrop.season.wants import Chances, Wants, chances, wants

CRIMSON = catalogue.cover("crimson-clover")
DAYS = 14
NAMES = tuple(each.name for each in fields(Chances))


def members(*values: float) -> np.ndarray:
    return np.array([values], dtype=float)


def made(*chance: np.ndarray) -> Chances:
    return Chances(**dict(zip(NAMES, chance, strict=True)))


# --- from stages to wants -------------------------------------------------------------------------

LEGUME = {
    "bud": members(20, 22),
    "first_flower": members(28, 30),
    "bloom_10": members(30, 32),
    "bloom_50": members(36, 38),
    "swelling_pods": members(44, 46),
    "viable_seed": members(60, 62),
}
BESIDE = LEGUME | {
    "cereal_jointing": members(10, 34),
    "cereal_heading": members(25, 40),
    "cereal_flowering": members(40, 37),
    "cereal_milk": members(45, 55),
    "cereal_last": members(50, 70),
    "cereal_tilled_until": members(42, np.nan),
}


@pytest.mark.parametrize(
    ("method", "killed", "bloom", "free"),
    [
        # What kills at any stage is held to the window alone: a tarp's opens with the buds.
        ("turn-under", (0, 0), (30, 32), (59, 61)),
        ("tarp", (0, 0), (20, 22), (38, 40)),  # three weeks sooner than the day before the seed
        # What does not kill before full bloom is told apart from its ten in a hundred.
        ("roll", (36, 38), (30, 32), (44, 46)),
        ("mow", (36, 38), (30, 32), (44, 46)),
    ],
)
def test_a_legume_is_killed_in_bloom_and_without_seed_between_these_days(
    method: str, killed: tuple[int, int], bloom: tuple[int, int], free: tuple[int, int]
) -> None:
    """Each want of each way from the stages, worked by hand from the table of the ways of ending."""
    wanted = wants(LEGUME, method, CRIMSON, members(50, np.inf))
    assert wanted.killed_from.tolist() == [[*killed]]
    assert wanted.bloom_from.tolist() == [[*bloom]]
    assert wanted.seed_free_until.tolist() == [[*free]]
    assert wanted.in_time_until.tolist() == [[50, np.inf]]
    assert wanted.killed_until is None
    assert wanted.ready_from is None


@pytest.mark.parametrize(
    ("method", "killed", "ready", "free"),
    [
        ("turn-under", (0, 0), (10, 32), (50, 61)),  # by the first of the two that is ready, and the first of seeds
        ("tarp", (0, 0), (10, 22), (38, 40)),
        ("roll", (40, 38), (40, 38), (44, 46)),  # by the later, and it kills no sooner
        ("mow", (36, 40), (36, 40), (44, 46)),
    ],
)
def test_a_mixture_is_ready_by_both_and_in_bloom_by_its_legume(
    method: str, killed: tuple[int, int], ready: tuple[int, int], free: tuple[int, int]
) -> None:
    """Beside a cereal the bloom is that of the legume by every way, and the window opens as the way asks."""
    wanted = wants(BESIDE, method, CRIMSON, members(50, 50))
    assert wanted.killed_from.tolist() == [[*killed]]
    assert wanted.bloom_from.tolist() == [[30, 32]]
    assert wanted.ready_from is not None
    assert wanted.ready_from.tolist() == [[*ready]]
    assert wanted.seed_free_until.tolist() == [[*free]]
    if method == "turn-under":
        assert wanted.killed_until is not None
        assert wanted.killed_until.tolist() == [[42, np.inf]]  # a cereal that never comes to its boot stays soft
    else:
        assert wanted.killed_until is None


def test_every_way_is_known() -> None:
    """The tables above leave none out."""
    assert set(termination.METHODS) == {"turn-under", "tarp", "roll", "mow"}


# --- from wants to chances ------------------------------------------------------------------------


def test_the_chance_of_each_want_is_the_share_of_the_members() -> None:
    """Counted by hand: four members of equal weight."""
    wanted = Wants(
        killed_from=members(0, 5, 5, np.nan),
        bloom_from=members(2, 4, 8, 3),
        seed_free_until=members(10, np.nan, 9, 12),
        in_time_until=members(6, -np.inf, np.inf, 7),
    )
    found = chances(wanted, np.full((1, 4), 0.25), 14)
    assert found.killed[[0, 4, 5, 13]].tolist() == [0.25, 0.25, 0.75, 0.75]
    assert found.bloom[[1, 2, 3, 4, 8]].tolist() == [0.0, 0.25, 0.5, 0.75, 1.0]
    assert found.seed_free[[9, 10, 11, 13]].tolist() == [1.0, 0.75, 0.5, 0.25]
    assert found.in_time[[0, 6, 7, 8]].tolist() == [0.75, 0.75, 0.5, 0.25]
    assert found.clean[[0, 5, 10, 11]].tolist() == [0.25, 0.75, 0.5, 0.25]
    assert found.window[[2, 5, 8, 10]].tolist() == [0.25, 0.5, 0.75, 0.5]
    assert found.together[[2, 6, 7, 8]].tolist() == [0.25, 0.25, 0.0, 0.25]


def test_a_mixture_counts_from_when_it_is_ready_and_while_it_is_killed() -> None:
    """By hand: the window opens with the later of killed and ready, and closes with the first of kill and seed."""
    wanted = Wants(
        killed_from=members(0, 3, 0, 0),
        bloom_from=members(9, 9, 2, np.nan),
        seed_free_until=members(10, 8, np.nan, 10),
        in_time_until=members(np.inf, np.inf, 6, np.inf),
        killed_until=members(7, np.inf, 9, 11),
        ready_from=members(4, 1, 5, np.nan),
    )
    assert wanted.opens.tolist()[0][:3] == [4, 3, 5]
    assert np.isnan(wanted.opens[0, 3])
    assert wanted.clean_until.tolist() == [[7, 8, 9, 10]]
    found = chances(wanted, np.ones((1, 4)), DAYS)
    assert found.killed[[2, 3, 7, 8, 9, 10, 11, 12]].tolist() == [0.75, 1.0, 1.0, 0.75, 0.75, 0.5, 0.5, 0.25]
    assert found.clean[[7, 8, 9, 10, 11]].tolist() == [1.0, 0.75, 0.5, 0.25, 0.0]
    assert found.bloom[[1, 2, 8, 9]].tolist() == [0.0, 0.25, 0.25, 0.75]
    assert found.window[[2, 3, 4, 5, 7, 8, 9, 10]].tolist() == [0.0, 0.25, 0.5, 0.75, 0.75, 0.5, 0.25, 0.0]
    assert found.together[[5, 6, 7, 8, 9]].tolist() == [0.75, 0.75, 0.5, 0.25, 0.0]


def test_a_cereal_that_stays_soft_is_killed_to_the_last_day() -> None:
    """No last day of the kill and none of the seed: clean to the end of the axis."""
    never = members(np.nan)
    wanted = Wants(killed_from=members(2), bloom_from=never, seed_free_until=never, in_time_until=members(np.inf))
    assert wanted.clean_until.tolist() == [[np.inf]]
    found = chances(wanted, np.ones((1, 1)), 4)
    assert found.clean.tolist() == found.killed.tolist() == [0.0, 0.0, 1.0, 1.0]
    assert found.window.tolist() == [0.0] * 4


def test_several_weighings_at_once_are_each_as_alone() -> None:
    """Weights with an axis before, which need not sum to one, over years and draws whose days broadcast."""
    wanted = Wants(
        killed_from=np.zeros((2, 1)),
        bloom_from=np.array([[2.0, 5.0, 3.0], [4.0, 1.0, np.nan]]),
        seed_free_until=np.array([[9.0, 8.0, np.nan]]),
        in_time_until=np.array([[6.0], [7.0]]),
    )
    weights = np.array([[[1.0, 2.0, 1.0], [0.0, 3.0, 1.0]], [[0.2, 0.0, 0.2], [0.3, 0.1, 0.0]]])
    both = chances(wanted, weights, DAYS)
    for place in range(2):
        alone, one = chances(wanted, weights[place], DAYS), both.at(place)
        for name in NAMES:
            assert getattr(one, name).shape == (DAYS,)
            np.testing.assert_array_equal(getattr(one, name), getattr(alone, name), name)
    # Of the first, with 8 to share out: 1 in bloom from day 2, the 1 of day 3, the 3 of day 1, the 2 of day 5.
    assert both.at(0).bloom[[0, 1, 2, 3, 4, 5]].tolist() == [0.0, 0.375, 0.5, 0.625, 0.625, 0.875]
    assert both.at(0).in_time[[6, 7, 8]].tolist() == [1.0, 0.5, 0.0]


# --- chances held against others ------------------------------------------------------------------


def test_some_of_the_days_are_cut_out_of_every_chance() -> None:
    """From the first to before the end."""
    whole = made(*(np.arange(8.0) + 10 * place for place in range(7)))
    part = whole.between(2, 5)
    for place, name in enumerate(NAMES):
        assert getattr(part, name).tolist() == [10 * place + 2, 10 * place + 3, 10 * place + 4]


def test_a_lowered_chance_is_that_of_the_window_and_of_all_together() -> None:
    """Neither kill nor seed nor bloom nor crop is less sure for it."""
    half = made(*(np.full(3, 0.8) for _ in NAMES)).scaled(0.5)
    assert {name: getattr(half, name).tolist() for name in NAMES} == {
        name: [0.4] * 3 if name in ("window", "together") else [0.8] * 3 for name in NAMES
    }


@pytest.mark.parametrize("name", ["killed", "clean", "window", "together"])
def test_the_least_of_two_is_no_higher_than_either(name: str) -> None:
    """A chance that notes in doubt would raise is held down, each on its own."""
    one, other = (made(*(np.roll(np.arange(8.0), turn + place) for place in range(7))) for turn in (0, 3))
    least = getattr(one.least([other]), name)
    assert (least <= getattr(one, name)).all()
    assert (least <= getattr(other, name)).all()
    assert one.least([]) is one
