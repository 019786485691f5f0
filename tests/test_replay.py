"""The advice followed through past seasons, beside plain rules."""

from __future__ import annotations

import json
from dataclasses import replace

import invented
import numpy as np
import pytest

from covercrop.base.errors import WeatherGapError
from covercrop.checking import replay as replays
from covercrop.checking.replay import AdviceReplay, _outcome, replay_advice
from covercrop.cli.main import main
from covercrop.season.wants import Wants

#: Eight seasons, the fewest that will do, and the autumn after the last.
RECORD = invented.weather("2010-01-01", "2018-12-31", mean=9.5, swing=13.0)
FIELD = invented.field("hairy-vetch", "pumpkin", sown="2020-09-08", latitude=42.5)


@pytest.fixture(scope="module")
def replay() -> AdviceReplay:
    return replay_advice(FIELD, RECORD)


def test_all_whole_seasons_are_followed(replay: AdviceReplay) -> None:
    """Those whose crop can ripen in the record, named by their sowing."""
    assert replay.years == tuple(range(2010, 2018))


def test_shares_are_shares_and_all_is_the_least(replay: AdviceReplay) -> None:
    """From 0 to 1; everything together is no more than any part of it."""
    for outcome in replay.outcomes.values():
        parts = (outcome.seed_free, outcome.in_bloom, outcome.in_time)
        assert all(0.0 <= share <= 1.0 for share in parts)
        assert outcome.together <= min(parts)
        assert outcome.pan_kg_ha > 0
        assert outcome.visits >= 1


def test_the_best_fixed_date_is_no_worse_than_any_other_rule_of_one_day(replay: AdviceReplay) -> None:
    """It is chosen for these very seasons; and looking for flowers takes more visits than going once."""
    assert replay.fixed_date.visits == replay.advice.visits == 1.0
    assert replay.first_flower.visits > 1.0
    month, _ = replay.best_fixed
    assert month in (5, 6)


def test_the_advice_leaves_little_seed_and_keeps_its_day(replay: AdviceReplay) -> None:
    """One in ten at the most by its own rule, and the day that is named moves with the weather alone."""
    assert replay.advice.seed_free >= 0.9
    assert 0.0 < replay.advice.moved_days < 3.0


def test_whoever_looks_does_better_than_the_advice_alone_and_than_flowers_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same weekly visits: told to the advice they are worth more than ending at the first flowers seen."""
    monkeypatch.setattr(replays, "LOOKED_AT", (0.1, 0.9))  # a stand in early bloom and one in late, for speed
    clover = invented.field("crimson-clover", "pumpkin", sown="2020-09-08", latitude=40.0)
    found = replay_advice(clover, RECORD, scouted=True)
    scouted = found.advice_scouted
    assert scouted is not None
    assert scouted.together > found.advice.together
    assert scouted.together > found.first_flower.together
    assert scouted.visits > found.advice.visits
    assert list(found.outcomes)[1] == "advice_scouted"


def test_an_outcome_is_counted_by_hand() -> None:
    """Two draws of one season: the second sets seed before it is ended, and only the first is in time."""
    from types import SimpleNamespace

    season = SimpleNamespace(
        wanted=Wants(
            killed_from=np.array([[0.0, 0.0]]),
            bloom_from=np.array([[100.0, np.nan]]),
            seed_free_until=np.array([[np.nan, 99.0]]),
            in_time_until=np.array([[100.0, -np.inf]]),
        ),
        weights=np.array([0.5, 0.5]),
        pan=lambda days: days / 2,
    )
    found = _outcome([season], [np.array([100.0, 100.0])], 2.0)  # type: ignore[list-item]
    told = (found.seed_free, found.in_bloom, found.in_time, found.together, found.pan_kg_ha, found.visits)
    assert told == (0.5, 0.5, 0.5, 0.5, 50.0, 2.0)


def test_too_short_a_record_says_so() -> None:
    """Fewer than eight seasons up to the harvest are none to judge by."""
    with pytest.raises(WeatherGapError, match="can be replayed up to the harvest, and 8 are needed"):
        replay_advice(FIELD, invented.weather("2015-01-01", "2021-12-31"))


def test_the_command_tells_it(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """As a table and as JSON, and not together with days of a forecast."""
    from covercrop.checking import replay as checking

    monkeypatch.setattr(checking, "replay_advice", lambda field, **_: replay_of(field))
    assert main(["hindcast", "--advice"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "In 1 past seasons everything would have worked in 60% by this advice, and in 50% by a fixed date" in said
    assert main(["hindcast", "--advice", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["fields"][0]
    assert told["advice"] == {
        "seed_free": 0.9,
        "in_bloom": 0.8,
        "in_time": 0.7,
        "all": 0.6,
        "pan_kg_ha": 40.0,
        "visits": 1.0,
        "moved_days": 0.5,
    }
    assert {"fixed_date", "first_flower", "degree_day_sum", "seasons"} <= set(told)
    assert main(["hindcast", "--advice", "--issue", "04-01"]) == 1
    assert "--issue names days of a forecast" in capsys.readouterr().err


def replay_of(field: object) -> AdviceReplay:
    from covercrop.checking.replay import Outcome

    best = Outcome(seed_free=0.9, in_bloom=0.8, in_time=0.7, together=0.6, pan_kg_ha=40.0, visits=1.0, moved_days=0.5)
    worse = replace(best, together=0.5)
    return AdviceReplay(
        field=field,  # type: ignore[arg-type]
        years=(2020,),
        advice=best,
        fixed_date=worse,
        first_flower=replace(worse, together=0.4),
        degree_day_sum=replace(worse, together=0.3),
        best_fixed=(5, 8),
    )
