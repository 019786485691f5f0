"""What the scores of a hindcast, and a comparison of sowing dates, come to: each decision at its edges."""

from __future__ import annotations

from types import SimpleNamespace

import invented
import numpy as np
import pytest

from covercrop.autumn import verdict as of_autumn
from covercrop.autumn.comparison import Autumn
from covercrop.checking.hindcast import EVENTS, FEWEST_SEASONS, Hindcast, Plain, Score
from covercrop.checking.verdict import verdict, why_unscored
from covercrop.parameters import catalogue
from covercrop.render.data import machine

ON = np.datetime64("2026-08-20")


# --- hindcast -------------------------------------------------------------------------------------


def score(issue: str = "04-01", event: str = "all", *, seasons: int = 20, **changes: float) -> Score:
    """A score as good as it should be, better than both plain forecasts."""
    numbers = {"crps": 2.0, "coverage": 0.8, "mean": 3.0, "pace": 3.0} | changes
    return Score(
        issue=issue,
        event=event,
        seasons=seasons,
        bias_days=0.0,
        rmse_days=3.0,
        crps_days=numbers["crps"],
        coverage_80=numbers["coverage"],
        width_days=8.0,
        station_mean=Plain(rmse_days=4.0, crps_days=numbers["mean"]),
        pace=Plain(rmse_days=4.0, crps_days=numbers["pace"]),
    )


def hindcast(overall: list[Score], scores: list[Score] | None = None, reached: int = 25) -> Hindcast:
    """The hindcast of an invented field with given scores."""
    return Hindcast(
        field=invented.field(sown="2024-09-20"),
        cover=catalogue.cover("crimson-clover"),
        years=tuple(range(2000, 2025)),
        left_out=(),
        lived=(1.0,) * 25,
        reached=dict.fromkeys(EVENTS, reached),
        scores=tuple(scores or ()),
        overall={each.issue: each for each in overall},
    )


@pytest.mark.parametrize(
    ("held", "width"), [(0.749, "too-narrow"), (0.75, "fair"), (0.879, "fair"), (0.881, "too-wide")]
)
def test_intervals_that_are_as_wide_as_they_should_be(held: float, width: str) -> None:
    """An interval of eight in ten may hold a little less or more."""
    assert verdict(hindcast([score(coverage=held)])).width == width


def test_dates_with_more_seasons_count_for_more() -> None:
    """The share held is that of all days, and dates with too few seasons are left out of it."""
    found = verdict(
        hindcast(
            [
                score("02-15", coverage=0.9, seasons=30),
                score("03-15", coverage=0.6, seasons=10),
                score("04-15", coverage=0.0, seasons=FEWEST_SEASONS - 1),
            ]
        )
    )
    assert found.held == pytest.approx(0.825)
    assert list(found.beaten) == ["02-15", "03-15"]


def test_what_beats_the_forecasts() -> None:
    """A plain forecast that does as well counts as better: it costs nothing."""
    found = verdict(hindcast([score("02-15", mean=2.0), score("03-15", mean=1.9, pace=1.0), score("04-01", mean=2.01)]))
    assert found.beaten == {"02-15": ("station_mean",), "03-15": ("station_mean", "pace"), "04-01": ()}


def test_the_example_is_of_the_last_date_but_one() -> None:
    """Of the opening of the window, where it was scored; of one date, that one; of none, none."""
    opening = [score(issue, "window_open") for issue in ("02-15", "03-15", "04-01")]
    rest = [score("04-15", "window_open", seasons=FEWEST_SEASONS - 1), score("04-15", "bloom_50")]
    assert verdict(hindcast([score()], [*opening, *rest])).example is opening[1]
    assert verdict(hindcast([score()], [opening[0], *rest])).example is opening[0]
    assert verdict(hindcast([score()], rest)).example is None


@pytest.mark.parametrize(
    ("reached", "seasons", "all_of_it", "of_one"),
    [
        (0, 0, "never", "never"),
        (FEWEST_SEASONS - 1, 0, "seldom", "seldom"),
        (FEWEST_SEASONS, 0, "past", "past"),
        (FEWEST_SEASONS, FEWEST_SEASONS - 1, "past", "mostly-past"),
        (FEWEST_SEASONS, FEWEST_SEASONS, None, None),
    ],
)
def test_why_there_is_no_score(reached: int, seasons: int, all_of_it: str | None, of_one: str | None) -> None:
    """What never comes is told from what comes seldom, and from what was past."""
    one = score(event="bloom_50", seasons=seasons)
    each = hindcast([score(seasons=seasons)], [one], reached=reached)
    assert verdict(each).unscored == all_of_it
    assert why_unscored(each, one) == of_one
    (found,) = machine.hindcast([each], ON.item())["fields"]
    assert found["verdict"]["unscored"] == all_of_it
    assert found["rows"][0]["unscored"] == of_one
    assert (found["nothing_scored"] is None) == (all_of_it is None)


def test_the_verdict_in_json() -> None:
    """The names of the plain forecasts are those of the rows."""
    (found,) = machine.hindcast([hindcast([score(mean=1.0, coverage=0.7)], [score(event="bloom_50")])], ON.item())[
        "fields"
    ]
    assert found["verdict"] == {
        "unscored": None,
        "intervals_held": 0.7,
        "intervals": "too-narrow",
        "beaten_by": {"04-01": ["station_mean"]},
    }
    assert "station_mean" in found["rows"][0]


# --- sowing dates ---------------------------------------------------------------------------------


def autumn(
    moist: tuple[float, ...] = (0.9, 0.9, 0.9), survives: float = 1.0, window: float = 0.8, snow_from: str = "none"
) -> Autumn:
    """Three sowing dates of which the last two fit, as far as a verdict looks at them."""
    dates = ON + np.array([-1, 0, 1]) * invented.days(7)
    choice = SimpleNamespace(
        cover=SimpleNamespace(key="hairy-vetch"),
        first=1,
        last=2,
        best=1,
        survives=np.array([0.0, survives, 0.0]),
        window=np.array([0.0, window, 0.0]),
    )
    own = SimpleNamespace(**(vars(choice) | {"cover": SimpleNamespace(key="crimson-clover"), "first": 0}))
    other = SimpleNamespace(
        **(vars(choice) | {"cover": SimpleNamespace(key="winter-pea"), "first": None, "last": None})
    )
    return SimpleNamespace(  # type: ignore[return-value]
        field=invented.field(species="crimson-clover"),
        on=ON,
        dates=dates,
        moist=np.array(moist),
        snow_from=snow_from,
        frost=np.datetime64("2026-10-30"),
        choices=(choice, other, own),
    )


def test_the_fittest_and_the_fields_own_are_talked_about() -> None:
    """No other cover gets sentences of its own."""
    assert [choice.cover.key for choice in of_autumn.talked_about(autumn())] == ["hairy-vetch", "crimson-clover"]


def test_what_is_past_of_the_dates() -> None:
    """Today is not past; a cover that fits nowhere is not too late."""
    asked = autumn()
    best, nowhere, own = asked.choices
    assert not of_autumn.best_is_past(asked, best)
    later = SimpleNamespace(**(vars(asked) | {"on": ON + invented.days(1)}))
    assert of_autumn.best_is_past(later, best)  # type: ignore[arg-type]
    assert not of_autumn.too_late(later, best)  # type: ignore[arg-type]
    last = SimpleNamespace(**(vars(asked) | {"on": ON + invented.days(7)}))
    assert not of_autumn.too_late(last, best)  # type: ignore[arg-type]
    over = SimpleNamespace(**(vars(asked) | {"on": ON + invented.days(8)}))
    assert of_autumn.too_late(over, best)  # type: ignore[arg-type]
    assert not of_autumn.too_late(over, nowhere)  # type: ignore[arg-type]
    assert [of_autumn.starts_with_the_first(choice) for choice in (best, nowhere, own)] == [False, False, True]
    for end, past in ((ON, False), (ON - invented.days(1), True)):
        assert of_autumn.relaxed_too_late(asked, SimpleNamespace(end=end)) is past  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("moist", "driest", "known"),
    [
        ((0.9, 0.7, 0.8), None, True),
        ((0.9, 0.69, 0.8), 1, True),
        ((0.9, 0.69, 0.6), 2, True),
        ((np.nan, 0.5, np.nan), 1, True),
        ((np.nan, np.nan, np.nan), None, False),
    ],
)
def test_seed_is_watered_in_where_three_in_ten_years_fail(
    moist: tuple[float, ...], driest: int | None, known: bool
) -> None:
    """The driest date is named; where no rain is known, nothing is."""
    assert of_autumn.to_water_in(autumn(moist)) == driest
    assert of_autumn.rain_is_known(autumn(moist)) is known


def test_snow_matters_where_not_nearly_all_live() -> None:
    """From a chance below 95 in a hundred on, and only where no snow is reckoned with."""
    assert of_autumn.snow_matters(autumn(survives=0.949))
    assert not of_autumn.snow_matters(autumn(survives=0.95))
    for known in ("measured", "worked-out"):
        assert not of_autumn.snow_matters(autumn(survives=0.5, snow_from=known))
    assert of_autumn.snow_matters(autumn(survives=0.5, snow_from="no-catch"))


def test_a_best_day_may_be_poor() -> None:
    """Below one half."""
    assert of_autumn.is_poor(autumn(window=0.49).choices[0])
    assert not of_autumn.is_poor(autumn(window=0.5).choices[0])


def test_the_rule_counts_back_from_the_frost() -> None:
    """Eight weeks and six; no frost, no dates."""
    asked = autumn()
    assert of_autumn.rule_dates(asked) == (np.datetime64("2026-09-04"), np.datetime64("2026-09-18"))
    without = SimpleNamespace(frost=np.datetime64("NaT", "D"))
    assert np.isnat(of_autumn.rule_dates(without)).all()  # type: ignore[arg-type]
