"""What would help a field most: one thing done differently, each followed through the whole chain."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import invented
import numpy as np
import pytest

from covercrop.field.entries import Field, ScoutingNote
from covercrop.models.members import quantiles, standard_draws
from covercrop.models.soil_temperature import GROUND_COVERS
from covercrop.models.termination import METHODS
from covercrop.season import chain as chain_module
from covercrop.season import helps as module
from covercrop.season.chain import Chain
from covercrop.season.decision import decide
from covercrop.season.ending import Odds
from covercrop.season.following import follow
from covercrop.season.ground import follow_ground
from covercrop.season.helps import Help, helps
from covercrop.season.plan import start_of
from covercrop.season.stand import Stand, grow_stand
from covercrop.season.start import Start

ON = np.datetime64("2026-04-20")
#: So cool that a long pumpkin is in doubt.
COOL = invented.weather("2018-01-01", mean=9.5, swing=13.0)
DRAWS = standard_draws(8)
#: A pumpkin after a vetch that blooms late.
LATE = replace(invented.field("hairy-vetch", "pumpkin", sown="2025-09-08"), latitude=42.5)

Case = tuple[Start, Chain]


def started(plot: Field = LATE) -> Start:
    return start_of(plot, COOL, ON)


@pytest.fixture(scope="module")
def case() -> Case:
    start = started()
    return start, follow(start, DRAWS)


def changed(plot: Field, method: str) -> dict[tuple[str, str], Field]:
    """The fields in which one thing is done differently, as a grower would write them down."""
    crop, cover = plot.crop, plot.cover
    fields = {("transplants", ""): replace(plot, crop=replace(crop, method="transplant"))}
    # The quickest pumpkin of the table takes 90 days.
    fields["quicker-variety", "90"] = replace(plot, crop=replace(crop, days_to_maturity=90.0))
    for ground in set(GROUND_COVERS) - {crop.ground_cover}:
        fields["ground-cover", ground] = replace(plot, crop=replace(crop, ground_cover=ground))
    for way in set(METHODS) - {method, cover.terminate}:
        fields["way", way] = replace(plot, cover=replace(cover, terminate=way))
    return fields


def by_hand(plot: Field, chain: Chain, outlook: Any) -> list[Help]:
    """Each of them followed from the start as a field of its own, and what is worth a name."""
    best = chain.ending.best
    assert best is not None
    found = []
    for (change, detail), other in changed(plot, chain.ending.method).items():
        then = follow(started(other), DRAWS)
        day = then.ending.best
        if day is None:
            continue
        together, in_time = day.together - best.together, day.in_time - best.in_time
        if in_time >= -0.1 and max(together, in_time) >= 0.05:
            (likely,) = quantiles(then.ground.earliest, then.weights, (0.5,))
            found.append(
                Help(
                    change=change,
                    detail=detail,
                    date=day.date,
                    probability=day.probability,
                    in_time=day.in_time,
                    together=day.together,
                    gain=max(together, in_time),
                    of_crop=in_time > together,
                    plant_likely=outlook.dates([np.ceil(likely)])[0],
                )
            )
    return found


def ordered(found: list[Help] | tuple[Help, ...]) -> list[Help]:
    return sorted(found, key=lambda each: (each.change, each.detail))


def test_what_would_help_is_what_the_changed_field_gives(case: Case) -> None:
    """Everything that can be changed, whole chains from the start, and only what gains enough is named."""
    start, chain = case
    found = helps(start, chain, DRAWS)
    assert ordered(found) == ordered(by_hand(LATE, chain, start.outlook))
    assert [each.gain for each in found] == sorted((each.gain for each in found), reverse=True)
    assert {each.change for each in found} >= {"transplants", "quicker-variety", "way"}


def test_a_stand_is_grown_again_only_where_it_may_be_another(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """With notes in doubt each change has rivals of its own; of a mixture the cold may have taken a part."""
    start, chain = case
    given: list[tuple[str, object, object]] = []

    def follow(other: Start, draws: object, *, stand: object, ahead: object, grown: dict[object, object]) -> Any:
        assert draws is DRAWS
        assert len(grown) == len(given)  # one for all of them
        grown[len(given)] = None
        way = other.conditions.sown != start.conditions.sown
        given.append(("way" if way else "crop", stand, ahead))
        return SimpleNamespace(ending=SimpleNamespace(best=None))

    monkeypatch.setattr(module, "follow", follow)
    for grown, kept in (
        (chain, True),
        (replace(chain, rivals=(chain,)), False),
        (replace(chain, stand=replace(chain.stand, cereal=SimpleNamespace())), False),  # type: ignore[arg-type]
    ):
        given.clear()
        assert list(module._followed(start, grown, DRAWS)) == []  # no day, no help
        assert {change for change, _, _ in given} == {"way", "crop"}
        for change, stand, ahead in given:
            assert stand is (chain.stand if kept else None)
            assert ahead is (chain.ahead if kept and change == "way" else None)


def test_who_sets_out_plants_of_the_quickest_on_straw_can_change_less() -> None:
    """Nothing that is done already is named, nor the way that was asked for."""
    crop = replace(LATE.crop, method="transplant", days_to_maturity=90.0, ground_cover="straw")
    plot = replace(LATE, crop=crop, cover=replace(LATE.cover, terminate="roll"))
    given = {(change, detail) for change, detail, _ in module._changes(started(plot), "turn-under")}
    grounds = {("ground-cover", ground) for ground in GROUND_COVERS if ground != "straw"}
    assert given == grounds | {("way", "mow"), ("way", "tarp")}
    slower = replace(plot, crop=replace(crop, days_to_maturity=91.0))
    assert ("quicker-variety", "90") in {each[:2] for each in module._changes(started(slower), "turn-under")}


def test_a_crop_of_which_no_quicker_variety_is_known_has_none() -> None:
    """The source gives no range."""
    squash = started(invented.field()).conditions
    assert squash.crop.days_to_maturity.low is None
    assert module._quicker(squash.crop, squash.planting) is None
    assert module._quicker(squash.crop, replace(squash.planting, days_to_maturity=80.0)) is None


def test_nothing_helps_where_there_is_no_day_or_it_is_good_enough(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """From a chance of 95 in a hundred on, what may be gained is too little to name, and nothing is followed."""
    start, chain = case
    assert chain.ending.best is not None
    assert helps(start, replace(chain, ending=replace(chain.ending, best=None)), DRAWS) == ()
    asked: list[object] = []

    def nothing(*given: object) -> Iterator[Any]:
        asked.append(given)
        return iter(())

    monkeypatch.setattr(module, "_followed", nothing)
    for together, times in ((0.951, 0), (0.95, 1)):
        asked.clear()
        best = replace(chain.ending.best, together=together)
        assert helps(start, replace(chain, ending=replace(chain.ending, best=best)), DRAWS) == ()
        assert len(asked) == times


def odds(together: float, in_time: float) -> Odds:
    return Odds(date=ON, probability=0.6, killed=1.0, seed_free=1.0, bloom=0.6, in_time=in_time, together=together)


@pytest.mark.parametrize(
    ("together", "in_time", "named", "of_crop"),
    [
        (0.05, 0.1, True, False),  # exactly what is worth a name
        (0.049, 0.1, False, False),
        (0.0, 0.16, True, True),  # of the crop alone
        (0.0, 0.14, False, True),
        (0.2, 0.0, True, False),  # costs the crop a tenth, which is a fair price
        (0.2, -0.001, False, False),  # more is no help
        (0.3 - 0.1, 0.3, True, False),  # both gain the same
    ],
)
def test_what_is_gained_has_to_be_enough_and_not_at_the_price_of_the_crop(
    case: Case,
    monkeypatch: pytest.MonkeyPatch,
    together: float,
    in_time: float,
    named: bool,
    of_crop: bool,
) -> None:
    """Against a day with no chance of all, and one in ten that the crop is in time."""
    start, chain = case
    assert chain.ending.best is not None
    best = replace(chain.ending.best, together=0.0, in_time=0.1)
    changed: list[tuple[str, str, Odds, float]] = [("way", "mow", odds(together, in_time), 30.0)]
    monkeypatch.setattr(module, "_followed", lambda *_: iter(changed))
    found = helps(start, replace(chain, ending=replace(chain.ending, best=best)), DRAWS)
    assert [each.of_crop for each in found] == [of_crop] * named
    if named:
        assert found[0].gain == pytest.approx(max(together, in_time - 0.1))
        assert found[0].plant_likely == start.outlook.days[30]


# --- more risk ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def safe() -> Case:
    """A warm place, where one day is best with a risk of one in ten, and a later one with one in four."""
    start = start_of(invented.field(), invented.weather("2016-01-01"), ON)
    return start, follow(start, DRAWS)


def test_more_risk_is_named_only_for_who_compares(case: Case, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is no advice."""
    start, chain = case
    monkeypatch.setattr(module, "_followed", lambda *_: iter(()))
    monkeypatch.setattr(module, "_riskier", lambda *_: iter([("more-risk", "25", odds(0.9, 0.9), 290.0)]))
    assert helps(start, chain, DRAWS) == ()
    assert [each.change for each in helps(start, chain, DRAWS, with_risk=True)] == ["more-risk"]


def test_more_risk_is_another_of_the_same_days_with_the_ground_after_it(safe: Case) -> None:
    """One in four instead of one in ten, in percent, and the likely day of planting then."""
    start, chain = safe
    chances, ahead = chain.ending.chances, chain.ahead
    assert chances is not None
    assert ahead is not None
    day = decide(chances, ahead.may, most_risk=0.25)
    assert day is not None
    assert day.day != chain.ending.day
    ((change, detail, then, likely),) = module._riskier(start, chain, DRAWS)
    assert (change, detail, then.date) == ("more-risk", "25", start.outlook.days[day.day])
    assert then.together == chances.together[day.day]
    ground = follow_ground(
        start.outlook,
        start.conditions.cover,
        start.conditions.crop,
        start.conditions.planting,
        DRAWS,
        dead=float(day.day),
        midwinter=chain.midwinter,
        maturity=chain.stand.maturity(day.day, start.conditions.cover),
    )
    assert likely == np.ceil(quantiles(ground.earliest, chain.weights, (0.5,)))[0]


def test_who_would_take_the_same_day_with_more_risk_is_told_nothing(safe: Case) -> None:
    """Nor who has no days to choose from."""
    start, chain = safe

    def riskier(other: Chain) -> list[Any]:
        return list(module._riskier(start, other, DRAWS))

    ((*_, then, _),) = riskier(chain)
    there = replace(chain, ending=replace(chain.ending, day=start.outlook.position(then.date)))
    assert riskier(there) == []
    assert riskier(replace(chain, ahead=None)) == []
    assert riskier(replace(chain, ending=replace(chain.ending, chances=None))) == []
    assert chain.ahead is not None
    nobody = replace(chain.ahead, may=np.zeros_like(chain.ahead.may))
    assert riskier(replace(chain, ahead=nobody)) == []


def test_what_would_help_grows_each_stand_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a note in doubt the stands with it and without it, for each way; what comes of it is that of them afresh."""
    rolled = replace(LATE.cover, terminate="roll")
    field = replace(LATE, cover=rolled, scouting=(ScoutingNote(date=dt.date(2026, 4, 10), bloom_percent=20.0),))
    start, draws = start_of(field, COOL, ON), standard_draws()
    grown: list[tuple[object, ...]] = []
    grow = grow_stand

    def counted(*asked: object, **named: Any) -> Stand:
        grown.append((named["terminate"], named["scouting"], tuple(named["set_aside"])))
        return grow(*asked, **named)

    monkeypatch.setattr(chain_module, "grow_stand", counted)
    found = follow(start, draws)
    assert found.rivals
    assert len(set(grown)) == len(grown) > 1
    grown.clear()
    helped = next(each for each in helps(start, found, draws) if each.change == "transplants")
    assert len(set(grown)) == len(grown) > 1
    other = replace(start.conditions.planting, method="transplant")
    best = follow(replace(start, conditions=replace(start.conditions, planting=other)), draws).ending.best
    assert best is not None
    assert (helped.date, helped.together, helped.in_time) == (best.date, best.together, best.in_time)
