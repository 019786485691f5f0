"""What a plan says of a mixture, at the edges of what it decides."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from invented import days, field, season

from covercrop.models.cereal import ZADOKS
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion
from covercrop.season.beside import CerealStand, Share
from covercrop.season.mixture_part import Clash, MixturePart, mixture_part
from covercrop.season.nitrogen_part import Amount

RYE = companion("cereal-rye")
NAN = np.nan
OUTLOOK = season(10.0, length=320)
#: Ten members of one year, a tenth each.
TENTHS = np.full((1, 10), 0.1)

#: Days of the legume: its window for rolling is 240 to 256, for turning under 226 to 269.
LEGUME = {"bloom_10": 226.0, "bloom_50": 240.0, "swelling_pods": 256.0, "viable_seed": 270.0}
#: Days of the cereal: to be rolled from 250 on, mown from 245; its last day is 262.
CEREAL = {name: 210.0 + 10 * place for place, name in enumerate(ZADOKS)} | {
    "jointing": 215.0,
    "heading": 245.0,
    "flowering": 250.0,
    "last": 262.0,
}


def of_ten(values: object) -> np.ndarray:
    return np.broadcast_to(np.asarray(values, dtype=np.float64), (1, 10))


def part(
    *,
    legume: dict[str, Any] | None = None,
    cereal: dict[str, Any] | None = None,
    killed: object = NAN,
    method: str = "roll",
    today: float = 220.0,
    ending: float | None = None,
    soil_c: object = 20.0,
    legume_dead: bool = False,
    percent: float | None = None,
    of: str = "cereal-rye",
    weights: np.ndarray = TENTHS,
) -> MixturePart:
    """The part of a mixture whose stages are given, a number for all members or ten numbers."""
    own = {name: of_ten(each) for name, each in (CEREAL | (cereal or {})).items()}
    share = Share(low=0.3, middle=0.3, high=0.3, whose="field")
    beside = CerealStand(companion=companion(of), share=share, stages=own, killed=of_ten(killed), notes=2, sd=5.0)
    stages = {name: of_ten(each) for name, each in (LEGUME | (legume or {})).items()} | beside.among_stages()
    found = mixture_part(
        SimpleNamespace(stages=stages, cereal=beside, legume_dead=legume_dead),  # type: ignore[arg-type]
        OUTLOOK,
        catalogue.cover("crimson-clover"),
        catalogue.crop("sweet-corn"),
        field(crop="sweet-corn").crop,
        weights,
        asked=method,
        method=method,
        today=today,
        ending=ending,
        legume_survival=0.7,
        percent=None if percent is None else Amount(low=0.5, median=percent, high=4.0),
        soil_c=np.broadcast_to(np.asarray(soil_c, dtype=np.float64), (1, 320)),
    )
    assert found is not None
    return found


def clash(**given: Any) -> Clash:
    found = part(**given).clash
    assert found is not None
    return found


def day(index: int) -> np.datetime64:
    first: np.datetime64 = OUTLOOK.days[0]
    return first + days(index)


# --- what it holds --------------------------------------------------------------------------------


def test_it_tells_the_cereal_as_it_stands() -> None:
    """Its dates by name, each with its interval; its stage on the day that is asked for."""
    found = part(cereal={"boot": 240.0 + np.arange(10.0)}, today=217.0, percent=1.0)
    assert list(found.dates) == ["jointing", "boot", "heading", "flowering", "milk"]
    boot = found.dates["boot"]
    assert (boot.early, boot.median, boot.late) == (day(240), day(244), day(248))
    assert found.dates["milk"].median == day(270)
    assert (found.zadoks, found.stage) == (31, "stems stretching (jointing)")
    assert (found.notes, found.good_to, found.share.middle, found.legume_survival) == (2, 5.0, 0.3, 0.7)
    assert (found.companion, found.wait) == (RYE, None)
    assert part(method="turn-under").wait == RYE.wait.large_seed


@pytest.mark.parametrize(("percent", "band"), [(1.4, "tie-up"), (None, None), (3.0, "release")])
def test_what_it_does_with_nitrogen_goes_by_the_middle(percent: float | None, band: str | None) -> None:
    """Not by the ends of its interval; nothing is said where the percentage is not known."""
    assert part(percent=percent).band == band


@pytest.mark.parametrize(("zadoks", "headed"), [(50, False), (51, True)])
def test_it_is_headed_from_the_first_heads_on(zadoks: int, headed: bool) -> None:
    assert replace(part(), zadoks=zadoks).headed is headed


@pytest.mark.parametrize(("survival", "said"), [(0.949, True), (0.95, False)])
def test_that_it_may_die_is_said_below_nineteen_in_twenty(survival: float, said: bool) -> None:
    assert replace(part(), survival=survival).may_die is said


def killing(count: int) -> np.ndarray:
    """The cold kills so many of the ten, a day apart from day 100 on."""
    return np.where(np.arange(10) < count, 100.0 + np.arange(10), NAN)


def test_the_day_of_its_death_is_said_where_it_most_likely_dies() -> None:
    """Of the members in which it does; where it lives as likely as not, none is."""
    found = part(killed=killing(6))
    assert found.survival == pytest.approx(0.4)
    assert (found.dies.early, found.dies.median, found.dies.late) == (day(100), day(102), day(105))
    even = part(killed=killing(5))
    assert even.survival == pytest.approx(0.5)
    assert np.isnat(even.dies.median)


def test_it_is_called_dead_from_eight_in_ten_on() -> None:
    """By the day that is asked for: the eighth dies on day 107."""
    assert part(killed=killing(9), today=107.0).dead
    assert not part(killed=killing(9), today=106.0).dead


def test_its_grain_has_begun_to_fill_the_day_after_its_last() -> None:
    """From then on nothing is said of a clash: the legume alone is waited for."""
    late = {"swelling_pods": 245.0}
    last, after = (part(legume=late, cereal={"last": 262.0}, today=today) for today in (262.0, 263.0))
    assert (last.in_grain, after.in_grain) == (False, True)
    assert last.clash is not None
    assert after.clash is None


# --- cool soil ------------------------------------------------------------------------------------


def test_soil_is_cool_by_the_mean_of_the_four_weeks_after() -> None:
    """From the day of ending on; fifteen degrees is not cool; nothing is known beyond the season or without a day."""
    assert part(ending=250.0, soil_c=14.9).cool_soil
    assert not part(ending=250.0, soil_c=15.0).cool_soil
    assert not part(ending=None, soil_c=5.0).cool_soil
    assert not part(ending=320.0, soil_c=5.0).cool_soil
    assert part(ending=319.0, soil_c=5.0).cool_soil
    cold_after = np.where(np.arange(320) < 278, 15.0, -90.0)
    assert not part(ending=250.0, soil_c=cold_after).cool_soil  # the 28 days are over
    assert part(ending=251.0, soil_c=cold_after).cool_soil
    cold_before = np.where(np.arange(320) < 251, -90.0, 16.0)
    assert not part(ending=251.0, soil_c=cold_before).cool_soil
    assert part(ending=250.0, soil_c=cold_before).cool_soil


# --- the clash ------------------------------------------------------------------------------------


def first(count: int, then: float, otherwise: float) -> np.ndarray:
    """One day for so many of the ten members, another for the rest."""
    return np.where(np.arange(10) < count, then, otherwise)


def test_no_clash_where_three_in_four_have_a_day() -> None:
    """Eight of ten have one, seven do not; a window of a single day is one."""
    assert part(legume={"swelling_pods": first(8, 250.0, 249.0)}).clash is None
    found = clash(legume={"swelling_pods": first(7, 250.0, 249.0)})
    assert (found.method, found.past) == ("roll", "legume")
    assert found.chance == pytest.approx(0.7)


def test_exactly_three_in_four_is_no_clash() -> None:
    """Of the two together; of the legume alone it has to be as many for the cereal to be at fault."""
    quarters = np.array([[0.25, 0.5, 0.25, *[0.0] * 7]])
    assert part(legume={"swelling_pods": first(2, 250.0, 249.0)}, weights=quarters).clash is None
    assert part(legume={"swelling_pods": first(1, 250.0, 249.0)}, weights=quarters).clash is not None
    assert part(legume={"swelling_pods": first(2, 249.0, 239.0)}, weights=quarters).clash is not None
    assert part(legume={"swelling_pods": first(1, 249.0, 239.0)}, weights=quarters).clash is None


def test_no_clash_where_the_legume_alone_has_no_day_either() -> None:
    """Its pods swell before full bloom in four of ten: then that is no matter of the cereal."""
    assert part(legume={"swelling_pods": first(6, 249.0, 239.0)}).clash is None
    assert clash(legume={"swelling_pods": first(8, 249.0, 239.0)}).chance == 0.0


def test_only_ways_that_wait_for_the_cereal_clash() -> None:
    """Rolling and mowing do; turning under does not, nor where the legume is dead."""
    late = {"swelling_pods": 244.0}
    assert clash(legume=late, method="mow").method == "mow"
    assert part(legume=late, method="turn-under").clash is None
    assert part(legume=late, legume_dead=True).clash is None


def test_a_legume_past_its_last_day_is_helped_by_another_way() -> None:
    """Rye is mown five days sooner than it is rolled, and turned under while it is young; what gains most comes first.

    Nine of ten can be mown (245 to 245), none rolled, all turned under.  Later cereals help nothing.
    """
    found = clash(legume={"swelling_pods": first(9, 245.0, 244.0)})
    assert (found.past, found.chance) == ("legume", 0.0)
    assert list(found.helps.items()) == [("turn-under", pytest.approx(1.0)), ("mow", pytest.approx(0.9))]
    mown = clash(legume={"swelling_pods": 244.0}, method="mow")
    assert list(mown.helps) == ["turn-under"]


def test_a_cereal_past_its_last_day_is_helped_by_a_later_one() -> None:
    """A legume in full bloom on day 265 wants a cereal whose last day, 262, is three days later, or up to six.

    A late cultivar comes five days later, triticale eight and a half and wheat more; a window in four members of ten is
    closed until seven days later, so that the late cultivar helps in six and the others in all.
    """
    late = {"bloom_50": first(6, 265.0, 269.0), "swelling_pods": 280.0, "viable_seed": 290.0}
    found = clash(legume=late)
    assert (found.past, found.chance) == ("cereal", 0.0)
    assert found.helps == pytest.approx(
        {"triticale": 1.0, "winter-wheat": 1.0, "turn-under": 1.0, "later-cultivar": 0.6}
    )
    assert list(found.helps) == ["triticale", "winter-wheat", "turn-under", "later-cultivar"]


def test_a_cereal_that_is_later_already_is_not_told_to_be_so() -> None:
    """Wheat has only its later cultivars, and another way of ending."""
    late = {"bloom_50": 265.0, "swelling_pods": 280.0, "viable_seed": 290.0}
    assert list(clash(legume=late, of="winter-wheat").helps) == ["later-cultivar", "turn-under"]


def test_what_gains_nothing_is_no_help() -> None:
    """A legume that blooms thirty days after rye's last day is out of reach of any cereal; mowing waits for it too."""
    late = {"bloom_50": 295.0, "swelling_pods": 310.0, "viable_seed": 315.0}
    assert list(clash(legume=late).helps) == ["turn-under"]


def test_the_one_that_is_past_in_more_members_is_named() -> None:
    """As many of both: the cereal."""
    late = {"bloom_50": first(5, 265.0, 240.0), "swelling_pods": first(5, 280.0, 249.0), "viable_seed": 290.0}
    assert clash(legume=late).past == "cereal"
    fewer = {"bloom_50": first(4, 265.0, 240.0), "swelling_pods": first(4, 280.0, 249.0), "viable_seed": 290.0}
    assert clash(legume=fewer).past == "legume"


@pytest.mark.parametrize(("count", "past"), [(5, "legume"), (4, "cereal")])
def test_a_last_day_on_which_it_can_be_done_is_not_past(count: int, past: str) -> None:
    """Four times rye is past and once on its last day; so many times the legume is, and otherwise on its last day."""
    legume = {
        "bloom_50": [265.0] * 4 + [262.0] + [240.0] * 5,
        "swelling_pods": [280.0] * 5 + [249.0] * count + [250.0] * (5 - count),
        "viable_seed": 290.0,
    }
    assert clash(legume=legume).past == past


def test_a_window_that_does_not_close_has_days() -> None:
    """One that does not open has none."""
    assert part(legume={"swelling_pods": NAN, "viable_seed": NAN}, cereal={"last": NAN}).clash is None
    assert clash(cereal={"flowering": NAN}).chance == 0.0
