"""The sentences of an answer: what is said in each state, and what is left unsaid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import field, weather

from covercrop.base.records import DailyWeather
from covercrop.render.words import answer as words
from covercrop.render.words import phrases
from covercrop.season.plan import Plan, make_plan

SEASON = weather(last="2026-10-31")


def answer(on: str, record: DailyWeather = SEASON, **changes) -> Plan:
    return make_plan(field(**changes), record, np.datetime64(on))


def cold(low: float, high: float) -> DailyWeather:
    """The season with nine days of hard frost in January."""
    table = SEASON.table.copy()
    table.loc["2026-01-10":"2026-01-18", ["tmin_c", "tmax_c"]] = [low, high]
    return replace(SEASON, table=table)


@pytest.mark.parametrize(
    ("on", "changes", "begins"),
    [
        ("2026-03-01", {}, "Not yet: plan to turn it under about "),
        ("2026-05-06", {}, "Turn it under now (6-7 May is about as good); everything works with a chance of "),
        (
            "2026-05-14",
            {},
            "Turn it under now; no day is left without some risk ",
        ),
        ("2026-06-15", {}, "Too late for a safe window (over 99% chance that the first seed is viable): turn it under"),
        ("2026-05-20", {"turned_under": "2026-05-08"}, "Since 8 May; wait before planting."),
        ("2026-07-01", {"turned_under": "2026-05-08"}, "The ground is ready: sow summer squash now, and by "),
        ("2026-07-01", {"turned_under": "2026-05-08", "method": "transplant"}, "The ground is ready: set out summer"),
        ("2026-10-15", {"turned_under": "2026-05-08"}, "The ground is ready, but planted now summer squash would"),
        (
            "2026-07-01",
            {"turned_under": "2026-05-08", "planted": "2026-06-20"},
            "Summer squash was planted on 20 Jun; it should ripen about 6 Aug.",
        ),
        (
            "2026-07-01",
            {"turned_under": "2026-05-08", "planted": "2026-05-15"},
            "Summer squash was planted on 15 May, before the",
        ),
        (
            "2026-03-01",
            {"species": "balansa-clover", "terminate": "roll"},
            "Rolling has no day that is safe; turning under",
        ),
        ("2026-03-01", {"species": "crimson-clover", "terminate": "roll"}, "Plan to roll it about "),
        ("2026-12-01", {}, "By weather that ends on 31 Oct, too late"),
    ],
)
def test_headlines(on: str, changes: dict[str, str], begins: str) -> None:
    """Each state says first what to do, in the verb of the method."""
    assert words.headline(answer(on, **changes)).startswith(begins)


def test_past_the_last_day_for_a_tarp_it_can_still_be_turned_under() -> None:
    """A tarp's window closes three weeks before seed; from then on the whole answer is that of turning under."""
    plan = answer("2026-05-30", species="hairy-vetch", cultivar="common", terminate="tarp")
    assert plan.window.method == "turn-under"
    assert plan.stand.seed_now < 0.5
    assert words.headline(plan).startswith("Tarping has no day that is safe; turning under may have. ")
    assert "if it is turned under on" in words.then(plan)


def test_the_surer_way_is_named_beside_a_poor_one() -> None:
    """Rolling vetch has a window of a few days; turning under is named with its better chance."""
    plan = answer("2026-03-01", species="hairy-vetch", terminate="roll")
    assert plan.window.method == "roll"
    assert plan.window.best is not None
    assert plan.window.surer is not None
    assert plan.window.surer.probability > plan.window.best.probability
    assert "What would help most: turning under instead; everything works with a chance of" in words.headline(plan)
    assert "Turning under is surer: " in words.surer(plan)  # for where what would help was not worked out


def test_what_was_done_is_called_by_its_name() -> None:
    """A cover that was mown is not called turned under."""
    assert words.state(answer("2026-05-20", turned_under="2026-05-08", terminate="mow")) == "mown"


def test_a_crop_that_will_hardly_ripen_is_said_to() -> None:
    """Where the chance of ripening is poor it stands beside the planting date."""
    late = replace(
        field(turned_under="2026-07-20", sown="2025-09-20"), crop=replace(field().crop, days_to_maturity=120)
    )
    plan = make_plan(late, SEASON, np.datetime64("2026-07-21"))
    assert plan.planting.ripens < 0.5
    assert "it ripens in time with a chance of only" in words.then(plan)


def test_a_doubtful_stand_is_spoken_of_as_such() -> None:
    """With half of the members dead every sentence is conditional, and the state goes by those that live."""
    plan = answer("2026-03-01", cold(-19.0, -9.0))
    assert 0.3 < plan.stand.survival < 0.7
    assert plan.state == "growing"
    assert words.headline(plan).startswith("If it has lived through the cold (")
    assert any("under the snow that temperature and rain make" in note for note in plan.provenance.notes)


def test_a_dead_stand_has_no_reasons() -> None:
    """A killed stand is said to be so, and nothing is explained about bloom or planting."""
    plan = answer("2026-03-01", cold(-27.0, -17.0))
    assert plan.state == "winter-killed"
    assert "go and look" in words.headline(plan)
    assert words.then(plan) == ""
    assert words.reasons(plan) == []


def test_what_follows_names_the_day_and_the_limit() -> None:
    """The second line counts from the same day as the first and says what holds the crop back."""
    plan = answer("2026-03-01")
    assert plan.window.best is not None
    assert f"if it is turned under on {phrases.day_month(plan.window.best.date)}" in words.then(plan)
    assert "holding you back" in words.then(plan)


def test_a_likely_day_that_has_passed_is_no_go_ahead() -> None:
    """Between the likely and the safe day the line speaks of the likely one as past and names the safe one."""
    plan = answer("2026-06-05", crop="pumpkin", ground_cover="straw", turned_under="2026-05-08")
    assert plan.state == "turned-under"
    likely, safe = plan.dates["earliest_planting"].median, plan.planting.safe
    assert likely < safe
    said = words.then(plan)
    assert ("was likely safe" if likely < plan.on else "is likely safe") in said
    assert f"in eight years of ten from {phrases.weekday(safe)}" in said


def test_without_history_nothing_is_promised() -> None:
    """Turned under, with this season's weather only, the line says why no planting date can be given."""
    plan = answer("2026-06-20", weather(first="2025-08-01", last="2026-10-31"), turned_under="2026-05-08")
    assert words.then(plan) == "When it is safe to sow summer squash cannot be said without past years of weather."


def test_a_stand_that_is_gone_is_not_described() -> None:
    """After the ending of the cover neither its stage nor its window is among the reasons."""
    said = " ".join(words.reasons(answer("2026-05-20", turned_under="2026-05-08")))
    assert "BBCH" not in said
    assert "end of the window" not in said
    assert "The cover brought" in said


@pytest.mark.parametrize(("us", "unit"), [(False, "kg/ha"), (True, "lb/acre")])
def test_nitrogen_in_both_units(us: bool, unit: str) -> None:
    """100 kg/ha are 89 lb/acre; the sentence keeps to one unit."""
    plan = answer("2026-03-01")
    said = words.nitrogen(plan, us=us)
    assert unit in said
    assert ("lb/acre" if not us else "kg/ha") not in said
    per = 0.892179 if us else 1.0  # lb/acre in a kg/ha, from the exact pound and acre
    assert f"{round(plan.nitrogen.amounts['n_kg_ha'].low * per / 5) * 5:,.0f} to " in said


@pytest.mark.parametrize(
    ("share", "said"), [(0.0, "under 1%"), (0.004, "under 1%"), (0.5, "50%"), (0.996, "over 99%"), (1.0, "over 99%")]
)
def test_a_chance_is_never_certain(share: float, said: str) -> None:
    """No number of members makes a thing certain or impossible."""
    assert phrases.chance(share) == said


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [("2026-05-02", "2026-05-08", "2-8 May"), ("2026-04-28", "2026-05-04", "28 Apr - 4 May")],
)
def test_spans(start: str, end: str, said: str) -> None:
    """A span names its month once."""
    assert phrases.span(np.datetime64(start), np.datetime64(end)) == said


def test_weekdays() -> None:
    """5 May 2026 is a Tuesday (ISO 8601 calendar)."""
    assert phrases.weekday(np.datetime64("2026-05-05")) == "Tue 5 May"
