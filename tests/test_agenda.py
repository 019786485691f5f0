"""The dates ahead: which there are in each state, where they lie, and what they say."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented import field, weather

from covercrop.base.records import DailyWeather
from covercrop.beds.beds import lay_out_beds
from covercrop.dates.agenda import KINDS, agenda, next_autumn
from covercrop.field.bed_entries import BedsEntry
from covercrop.field.entries import Field
from covercrop.render.words.phrases import chance
from covercrop.render.words.reminders import _WORDS, CATEGORIES, reminders
from covercrop.season import crop_days
from covercrop.season.crop_days import autumn_frost, hard_frost
from covercrop.season.plan import Plan, make_plan
from covercrop.weather.daily import daily_weather

NORTH = weather()
SOUTH = weather(coldest_day=202)


def plan(plot: Field, on: str, record: DailyWeather = NORTH) -> Plan:
    return make_plan(plot, record, np.datetime64(on))


def days(made: Plan) -> dict[str, list[tuple[np.datetime64, np.datetime64]]]:
    """First and last day of each kind of event."""
    found: dict[str, list[tuple[np.datetime64, np.datetime64]]] = {}
    for event in agenda(made):
        found.setdefault(event.kind, []).append((event.first, event.last))
    return found


STANDING = {"scout", "turn-under", "window-opens", "window-closes", "planting", "thinning", "next-sowing"}
OPEN = STANDING - {"scout", "window-opens"}


@pytest.mark.parametrize(
    ("state", "on", "plot", "kinds"),
    [
        ("growing", "2026-01-10", field(), STANDING),
        ("budding", "2026-04-20", field(), STANDING),
        ("in-window", "2026-05-08", field(), OPEN),
        ("closing", "2026-05-15", field(), OPEN),
        ("seed-risk", "2026-05-25", field(), OPEN - {"window-closes"}),
        ("turned-under", "2026-05-03", field(turned_under="2026-05-01"), {"planting", "thinning", "next-sowing"}),
        ("plantable", "2026-07-03", field(turned_under="2026-05-01"), {"planting", "thinning", "next-sowing"}),
        (
            "planted",
            "2026-04-10",
            field(turned_under="2026-03-25", planted="2026-04-02"),
            {"spring-frost", "thinning", "next-sowing"},
        ),
    ],
)
def test_each_state_has_its_dates(state: str, on: str, plot: Field, kinds: set[str]) -> None:
    """Each state has the dates that are still ahead of it, in order, and none that is past."""
    made = plan(plot, on)
    assert made.state == state
    events = agenda(made)
    assert {event.kind for event in events} == kinds
    assert all(event.last >= max(event.first, made.on) for event in events)
    assert [event.first for event in events] == sorted(event.first for event in events)
    assert len({(event.kind, event.number) for event in events}) == len(events)


def test_a_dead_stand_is_to_be_looked_at() -> None:
    """Killed by cold, a stand has a visit today and the next sowing, and no window."""
    made = plan(field("berseem-clover"), "2026-03-10", weather(mean=4, swing=16))
    assert made.state == "winter-killed"
    assert days(made)["check-stand"] == [(made.on, made.on)]
    assert set(days(made)) == {"check-stand", "next-sowing"}


def test_without_past_years_nothing_is_foretold() -> None:
    """A season's own record alone gives no date ahead."""
    assert agenda(plan(field(), "2026-04-20", weather("2025-08-01", "2026-04-20"))) == ()


def test_the_visits_lead_up_to_the_window() -> None:
    """A visit a week from the likely buds to the likely opening, numbered by the weeks that are left."""
    made = plan(field("hairy-vetch", sown="2025-09-08"), "2026-02-15")
    opens, buds = made.dates["window_open"].median, made.dates["bud"].median
    visits = [event for event in agenda(made) if event.kind == "scout"]
    assert len(visits) >= 2
    assert [event.number for event in visits] == list(range(len(visits), 0, -1))
    for event in visits:
        assert event.first == event.last == opens - np.timedelta64(7 * event.number, "D")
        assert event.first >= buds


def test_the_dates_are_those_of_the_answer() -> None:
    """The window, the best week and the planting stand where the plan has them."""
    made = plan(field(), "2026-02-15")
    found = days(made)
    assert made.window.best is not None
    assert found["turn-under"] == [(made.window.best.start, made.window.best.end)]
    assert found["window-opens"] == [(made.dates["window_open"].median,) * 2]
    assert found["window-closes"] == [(made.dates["window_close"].early, made.dates["window_close"].median)]
    assert found["planting"] == [(made.dates["earliest_planting"].median, made.planting.safe)]


def test_a_window_that_hardly_is_has_no_ends() -> None:
    """Rolled, crimson clover has a best week of small odds here: it is named, its window is not."""
    made = plan(field(terminate="roll"), "2026-03-10")
    assert made.window.best is not None
    assert made.window.best.probability < 0.5
    assert "turn-under" in days(made)
    assert not {"window-opens", "window-closes"} & set(days(made))
    (said,) = [reminder for reminder in reminders(made) if reminder.event.kind == "turn-under"]
    assert "roll it" in said.title
    assert "Turning under is surer" in said.odds


@pytest.mark.parametrize("sown", ["2026-06-02", None])
def test_thinning_comes_at_the_first_true_leaves(sown: str | None) -> None:
    """One or two true leaves (Utah), 7 to 14 days after emergence, which takes up to two weeks: 2 to 4 weeks in all."""
    plot = field(crop="muskmelon", turned_under="2026-05-01", planted=sown)
    made = plan(plot, "2026-06-10" if sown else "2026-05-10")
    day = np.datetime64(sown) if sown else made.dates["earliest_planting"].median
    ((thin, _),) = days(made)["thinning"]
    assert 14 <= (thin - day).astype(int) <= 28
    assert made.crop.planting is not None
    assert thin == day + np.timedelta64(round(made.planting.emergence_days + made.crop.planting.thin_after.value), "D")
    assert lay_out_beds(replace(made, field=replace(made.field, area_m2=100.0))).thinning == thin


def test_a_crop_planted_into_cold_ground_is_slower() -> None:
    """Emergence, and thinning with it, goes by the soil of the day on which the crop was sown, off the table too."""
    waits = []
    for sown, on in (("2026-04-02", "2026-04-20"), ("2026-04-18", "2026-04-20"), ("2026-06-20", "2026-06-21")):
        made = plan(field(crop="sweet-corn", turned_under="2026-03-20", planted=sown), on)
        waits.append(crop_days.days_to_emergence(made))
    assert waits == sorted(waits, reverse=True)
    assert waits[0] > waits[2] + 7


def test_transplants_are_not_thinned() -> None:
    """What is set out one by one has nothing to thin."""
    assert "thinning" not in days(plan(field(turned_under="2026-05-01", method="transplant"), "2026-05-03"))


def test_seed_sown_one_by_one_is_not_thinned() -> None:
    """No more seeds than plants, or nothing known of how a crop stands, and there is no day for it."""
    plot = field(crop="muskmelon", turned_under="2026-05-01")
    one_by_one = plan(replace(plot, beds=BedsEntry(seeds=1, plants=1)), "2026-05-03")
    assert "thinning" not in days(one_by_one)
    several = plan(replace(plot, beds=BedsEntry(seeds=3, plants=2)), "2026-05-03")
    assert "thinning" in days(several)
    assert "thinning" not in days(replace(several, crop=replace(several.crop, planting=None)))


def test_too_late_to_plant_is_not_planted() -> None:
    """Ground that is ready in October has no planting date, only the next cover's."""
    made = plan(field(crop="pumpkin", turned_under="2026-05-01"), "2026-10-03")
    assert made.state == "plantable"
    assert set(days(made)) == {"next-sowing"}


def test_frost_watch_while_the_crop_may_stand() -> None:
    """Pumpkin that ripens into autumn is watched from the first decile of the first frost to its middle."""
    made = plan(field(crop="pumpkin", turned_under="2026-06-10", planted="2026-07-10"), "2026-07-20")
    frost = autumn_frost(made)
    assert days(made)["autumn-frost"] == [(frost.early, frost.median)]
    early = plan(field(crop="sweet-corn", turned_under="2026-05-10", planted="2026-06-02"), "2026-06-10")
    assert "autumn-frost" not in days(early)


def test_the_south_has_its_own_autumn() -> None:
    """South of the equator the window opens in spring, which is October, and the next cover goes in in autumn."""
    found = days(plan(field(sown="2026-03-20", latitude=-37.6), "2026-04-20", SOUTH))
    ((opens, _),), ((sow, _),) = found["window-opens"], found["next-sowing"]
    assert "2026-09" <= str(opens)[:7] <= "2026-11"
    assert "2027-03" <= str(sow)[:7] <= "2027-04"


def first_cold(table: pd.DataFrame, first: dt.date, celsius: float) -> dt.date:
    """The first day from ``first`` on with such a minimum, by pandas alone."""
    rows = table[str(first) : str(first + dt.timedelta(days=200))]
    return rows.index[rows["tmin_c"] <= celsius][0].date()


def test_the_first_frosts_of_a_real_place(clemson: pd.DataFrame) -> None:
    """Half of the years have had their frosts by the dates given: Clemson, 34.66 N, counted anew from the record.

    A hard frost is below 28 degF (Phillips 2014, Michigan State University
    Extension); a cover goes in six to eight weeks before the first frost (a
    seed house's guide; common practice).
    """
    record = clemson["1985":"2016-02-20"].interpolate()
    made = make_plan(
        field(crop="pumpkin", sown="2015-09-20", latitude=34.66), daily_weather(record), np.datetime64("2016-02-20")
    )
    assert len(made.outlook.years) >= 25
    for celsius, found in ((0.0, autumn_frost(made).median), ((28 - 32) / 1.8, hard_frost(made).median)):
        # A member's year is named by its sowing; the autumn after it is the one that counts.
        lags = [
            (first_cold(record, dt.date(year + 1, 7, 2), celsius) - dt.date(year + 1, 7, 2)).days
            for year in made.outlook.years
        ]
        middle = np.datetime64("2016-07-02") + np.timedelta64(round(float(np.median(lags))), "D")
        assert abs((found - middle).astype(int)) <= 2
    ((first, last),) = days(made)["next-sowing"]
    assert [(hard_frost(made).median - day).astype(int) for day in (first, last)] == [56, 42]


def test_no_hard_frost_no_rule() -> None:
    """Where hard frost is rare, the rule has nothing to count from."""
    mild = plan(field(), "2026-02-15", weather(mean=19, swing=6))
    assert "next-sowing" not in days(mild)


def test_the_planner_knows_the_next_sowing_better() -> None:
    """With the dates of the autumn compared, those that fit stand in the agenda, with the best and its chance."""
    made = plan(field(), "2026-02-15")
    autumn = next_autumn(made, NORTH)
    assert autumn is not None
    (choice,) = autumn.choices
    assert choice.cover.key == "crimson-clover"
    assert choice.first is not None
    (event,) = [each for each in agenda(made, autumn) if each.kind == "next-sowing"]
    assert (event.first, event.last) == (autumn.dates[choice.first], autumn.dates[choice.last or 0])
    assert event.best == autumn.dates[choice.best]
    assert event.first <= event.best <= event.last
    (said,) = [each for each in reminders(made, autumn) if each.event.kind == "next-sowing"]
    assert f"with a chance of {chance(float(choice.together[choice.best]))}" in said.odds


def test_the_rule_holds_where_the_planner_does_not() -> None:
    """Without years, just after sowing, or where no date fits, the planner has no date; the rule may have one."""
    short = weather("2025-08-01", "2026-04-20")
    assert next_autumn(plan(field(), "2026-04-20", short), short) is None
    fresh = plan(field(), "2025-10-05")
    assert next_autumn(fresh, NORTH) is None
    cold = weather(mean=5, swing=15)
    tender = plan(field("berseem-clover"), "2025-10-05", cold)
    unfit = next_autumn(replace(tender, on=np.datetime64("2026-04-10")), cold)
    assert unfit is not None
    assert unfit.choices[0].first is None
    assert unfit.relaxations == ()  # a calendar says nothing of them
    (event,) = [each for each in agenda(tender, unfit) if each.kind == "next-sowing"]
    assert event.best is None
    assert (event.last - event.first).astype(int) == 14


# --- in words -------------------------------------------------------------------------------------


def test_every_kind_has_words_and_a_category() -> None:
    """No kind of event is without its words."""
    assert set(_WORDS) == set(CATEGORIES) == set(KINDS)


@pytest.mark.parametrize(
    ("kind", "on", "plot"),
    [
        *((kind, "2026-02-15", field()) for kind in sorted(STANDING)),
        ("turn-under", "2026-05-25", field()),
        ("planting", "2026-07-03", field(turned_under="2026-05-01")),
        ("spring-frost", "2026-04-10", field(turned_under="2026-03-25", planted="2026-04-02")),
        ("autumn-frost", "2026-07-20", field(crop="pumpkin", turned_under="2026-06-10", planted="2026-07-10")),
    ],
)
def test_each_date_says_its_field_and_its_odds(kind: str, on: str, plot: Field) -> None:
    """Each title names the field; each has its odds in words: a chance, so many years of ten, or the reckoning."""
    found = [reminder for reminder in reminders(plan(plot, on)) if reminder.event.kind == kind]
    assert found
    for reminder in found:
        assert reminder.title.startswith("Test plot: ")
        assert len(reminder.title) <= 80
        odds = {"thinning": "up in about", "next-sowing": "Half of the years", "autumn-frost": "One year in ten"}
        assert odds.get(kind, "chance") in reminder.odds or "years of ten" in reminder.odds
        assert reminder.odds.endswith(".")


def test_a_stand_in_doubt_is_spoken_of_conditionally() -> None:
    """Where the stand may well be dead, every date of it says so first."""
    made = plan(field("winter-pea"), "2025-12-10", weather(mean=5, swing=14))
    said = [each for each in reminders(made) if each.event.kind in ("scout", "turn-under", "window-closes")]
    assert said
    assert all(each.odds.startswith("If it has lived through the cold") for each in said)


def test_old_weather_is_said() -> None:
    """Dates that rest on weather of two months ago say so, once; those of other years' frosts have no need to."""
    found = reminders(plan(field(), "2026-06-20"))
    assert {each.event.kind for each in found} >= {"turn-under", "planting", "next-sowing"}
    for reminder in found:
        said = reminder.odds.lower().count("by weather that ends on 20 apr")
        assert said == (reminder.event.kind not in ("thinning", "next-sowing"))


def test_units() -> None:
    """Temperatures are shown in the units asked for."""
    made = plan(field(), "2026-02-15")
    metric, us = (" ".join(each.odds + each.advice for each in reminders(made, us=us)) for us in (False, True))
    assert "-2 °C" in metric
    assert "16 °C" in metric
    assert "28 °F" in us
    assert "60 °F" in us
    assert "°C" not in us


def test_cautions_stand_where_they_are_due() -> None:
    """Bare soil with turning under, none of it with rolling; treated seed with sowing, none with transplants."""

    def cautions(plot: Field, kind: str) -> str:
        made = plan(plot, "2026-02-15")
        return " ".join(text for each in reminders(made) if each.event.kind == kind for text in each.cautions)

    assert "keep off wet ground" in cautions(field(), "turn-under")
    assert "keep off wet ground" not in cautions(field(terminate="roll"), "turn-under")
    assert "Insured ground" in cautions(field(terminate="roll"), "turn-under")
    assert "weigh its edges down" in cautions(field(terminate="tarp"), "turn-under")
    assert "treated seed" in cautions(field(), "planting")
    assert cautions(field(method="transplant"), "planting") == ""
    assert "keep stock off vetch" in cautions(field("hairy-vetch", sown="2025-09-08"), "window-closes")


def test_the_plan_is_left_alone() -> None:
    """Two askings give one answer."""
    made = plan(field(), "2026-02-15")
    assert reminders(made) == reminders(replace(made))
