"""The autumn ahead: sowing dates and covers compared."""

from __future__ import annotations

import datetime as dt
import importlib.util
from dataclasses import replace
from functools import cache
from pathlib import Path

import invented
import numpy as np
import pandas as pd
import pytest
from invented import field, weather

from covercrop.autumn import comparison, relaxations, sowing_dates
from covercrop.autumn.comparison import Autumn, Choice, Risk, compare_sowing_dates
from covercrop.base.errors import ParameterError, UnknownNameError, UsageError, WeatherGapError
from covercrop.base.records import DailyWeather
from covercrop.field.entries import Field
from covercrop.models.members import quantiles, standard_draws
from covercrop.parameters import catalogue
from covercrop.render.words import sowing
from covercrop.season.plan import make_plan
from covercrop.season.stand import grow_stand
from covercrop.weather.outlook import past_seasons

RECORD = weather("2010-01-01")
LONG = weather()  # with harder winters among its years
ON = np.datetime64("2026-04-20")
THREE = ("crimson-clover", "hairy-vetch", "winter-pea")


#: Share of the years by which a day's later ending moves the chance to be planted in time, at the most.
A_DAY = 0.04


def day(text: str) -> np.datetime64:
    return np.datetime64(text)


def sow(record: DailyWeather = RECORD, on: np.datetime64 = ON, **changes) -> Autumn:
    """The answer for an invented field; what is not a field's key goes to the planner."""
    keys = {"covers", "start", "end", "plant_by", "risk", "draws", "relax"}
    asked = {key: value for key, value in changes.items() if key in keys}
    plot = field(**{key: value for key, value in changes.items() if key not in keys})
    return compare_sowing_dates(plot, record, on, **{"covers": THREE, **asked})


def of(answer: Autumn, name: str) -> Choice:
    return next(choice for choice in answer.choices if choice.cover.key == name)


def days_apart(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    return np.abs((first - second).astype(int))


@pytest.fixture(scope="module")
def answer() -> Autumn:
    """The three commonest covers at an invented place."""
    return sow()


def as_weather(table: pd.DataFrame) -> DailyWeather:
    """A public record without its faults: days far off are left out, and what is missing is what the day before had."""
    table = table.copy()
    if "prcp_mm" not in table:
        table["prcp_mm"] = np.nan
    full = table.reindex(pd.date_range(table.index[0], table.index[-1], name="date"))
    wrong = (full["tmin_c"] < -45) | (full["tmin_c"] > full["tmax_c"])
    full.loc[wrong, ["tmin_c", "tmax_c"]] = np.nan
    full[["tmin_c", "tmax_c"]] = full[["tmin_c", "tmax_c"]].ffill(limit=20)
    full["origin"], full["flag"] = "observed", ""
    return DailyWeather(table=full)


@cache
def aquacrop_record(name: str) -> DailyWeather:
    """A record of the aquacrop package, which is not imported."""
    package = importlib.util.find_spec("aquacrop")
    assert package is not None
    assert package.origin is not None
    table = pd.read_csv(Path(package.origin).parent / "data" / f"{name}_climate.txt", sep=r"\s+")
    table.index = pd.DatetimeIndex(pd.to_datetime(table[["Year", "Month", "Day"]]), name="date")
    table = table.rename(columns={"Tmin(C)": "tmin_c", "Tmax(C)": "tmax_c", "Prcp(mm)": "prcp_mm"})
    return as_weather(table[["tmin_c", "tmax_c", "prcp_mm"]].astype(float))


# --- the same chain as the field's own answer -----------------------------------------------------


@pytest.mark.parametrize("sown", ["2025-08-25", "2025-09-20", "2025-10-15"])
@pytest.mark.parametrize(
    ("species", "cultivar", "terminate"),
    [("crimson-clover", "", "turn-under"), ("hairy-vetch", "Purple Bounty", "turn-under"), ("winter-pea", "", "tarp")],
)
def test_it_says_what_ready_says_on_the_day_of_sowing(sown: str, species: str, cultivar: str, terminate: str) -> None:
    """With as many draws, the two differ by no more than a day in any date, by a hundredth or two in any share.

    What is left: `ready` has seen the day of sowing, begins its soil on it, and may use one past year more.
    """
    plot = {"species": species, "cultivar": cultivar, "terminate": terminate, "sown": sown}
    on = day(sown)
    ready = make_plan(field(**plot), RECORD, on)
    compared = sow(on=on, start=on, end=on, covers=(species,), draws=standard_draws(), **plot)
    (choice,) = compared.choices
    assert ready.window.best is not None
    for ours, theirs in (
        (choice.ended[0], ready.window.best.date),
        (choice.window_open[0], ready.dates["window_open"].median),
        (choice.earliest_planting[0], ready.dates["earliest_planting"].median),
    ):
        assert abs(int((ours - theirs).astype(int))) <= 1
    assert choice.window[0] == pytest.approx(ready.window.best.probability, abs=0.03)
    assert choice.survives[0] == pytest.approx(ready.stand.survival, abs=0.03)
    # A day of May is 150 kg/ha of dry matter at the most.
    for name, a_day in (("dry_matter_kg_ha", 150.0), ("n_kg_ha", 5.0), ("pan_kg_ha", 2.5)):
        assert choice.brings[name][0] == pytest.approx(ready.nitrogen.amounts[name].median, rel=0.03, abs=a_day)


def test_few_draws_are_enough(answer: Autumn) -> None:
    """Four times as many draws move no share by more than three in a hundred, and no date by more than four days."""
    many = sow(draws=standard_draws(4 * comparison.DRAWS))
    for choice in answer.choices:
        other = of(many, choice.cover.key)
        # The best day of ending is flat, and each day later takes one from the wait, which has a spread of its own.
        later = np.abs((choice.ended - other.ended).astype(float))
        for name in (*comparison.LIMITS, "together"):
            assert (np.abs(choice.share(name) - other.share(name)) <= 0.03 + A_DAY * later).all()
        for name in ("ended", "window_open", "earliest_planting"):
            assert days_apart(getattr(choice, name), getattr(other, name)).max() <= 4
        assert (choice.first, choice.last) == pytest.approx((other.first, other.last), abs=2)


def test_the_middle_is_the_median_of_the_members_that_count() -> None:
    """By date, as the weighted quantile of every other answer has it; what is not reached is late."""
    values = np.array([[[1.0, np.nan], [5.0, 3.0]], [[np.nan, np.nan], [np.nan, 2.0]], [[4.0, 4.0], [9.0, 1.0]]])
    counted = np.array([[[1, 1], [0, 1]], [[1, 1], [1, 1]], [[1, 0], [1, 0]]], dtype=bool)
    expected = [quantiles(row, weights.astype(float), (0.5,))[0] for row, weights in zip(values, counted, strict=True)]
    np.testing.assert_array_equal(sowing_dates.middle(values, counted), expected)


# --- what has to hold whatever the weather --------------------------------------------------------


@pytest.mark.parametrize("species", ["crimson-clover", "hairy-vetch", "red-clover", "faba-bean"])
def test_later_sowing_never_blooms_earlier(species: str) -> None:
    """In the same weather no stage comes sooner for being sown later; no tolerance is needed.

    A plant that is up later has, on any day, gathered no more warmth and had no more cool days.
    """
    season = past_seasons(RECORD, day("2026-07-01"), 420, ON)
    dates = np.arange(0.0, 150.0, 5.0)[:, np.newaxis]
    stand = grow_stand(season, 37.6, catalogue.cover(species), standard_draws(8), sowing=dates)
    for stage, index in stand.stages.items():
        late = np.where(np.isnan(index), np.inf, index)
        assert (late[1:] >= late[:-1]).all(), stage
        assert np.isfinite(index).any(), stage


def test_later_sowing_covers_the_ground_less_often_and_brings_less(answer: Autumn) -> None:
    """Every week later costs odds and dry matter, but for the scatter of the day of ending."""
    for choice in answer.choices:
        assert (np.diff(choice.established) <= 0).all()
        # Sown so late that most of it dies, what lives came up in the mildest years, or in spring.
        weekly = choice.brings["dry_matter_kg_ha"][::7][choice.survives[::7] >= 0.6]
        assert (np.diff(weekly) <= 0.03 * weekly[:-1]).all()
        assert weekly[-1] < weekly[0]


def test_sowing_late_costs_dry_matter_as_published() -> None:
    """Two to three weeks late costs hairy vetch 20 % at flowering (Teasdale 2004), 50 % at Puyallup (Lawson 2015)."""
    (choice,) = sow(start=day("2026-09-15"), end=day("2026-10-02"), covers=("hairy-vetch",)).choices
    dry = choice.brings["dry_matter_kg_ha"]
    assert 0.10 <= 1 - dry[-1] / dry[0] <= 0.50


def test_a_colder_winter_never_raises_survival() -> None:
    """January and February ten degrees colder, when every stand has hardened."""
    table = RECORD.table.copy()
    table.loc[table.index.month <= 2, ["tmin_c", "tmax_c"]] -= 10.0
    # What is sown later comes up in those months, in a cold one after them.
    asked = {"start": day("2026-09-01"), "end": day("2026-10-20")}
    mild, cold = sow(**asked), sow(DailyWeather(table=table), **asked)
    for choice in mild.choices:
        assert (of(cold, choice.cover.key).survives <= choice.survives + 1e-9).all()
    assert of(cold, "winter-pea").survives.max() < of(mild, "winter-pea").survives.max()


def test_south_of_the_equator_it_is_the_same_half_a_year_later(answer: Autumn) -> None:
    """The same weather 181 days later, from 1 January to 1 July, gives the same autumn."""
    table = RECORD.table.copy()
    table.index = table.index + pd.Timedelta(days=181)
    south = sow(DailyWeather(table=table), day("2026-10-18"), latitude=-37.6)
    shift = np.timedelta64(181, "D")
    # Hairy vetch and winter pea are as good as each other here, and may change places.
    assert {choice.cover.key for choice in south.choices} == {choice.cover.key for choice in answer.choices}
    assert {choice.cover.key for choice in south.choices[:2]} == {choice.cover.key for choice in answer.choices[:2]}
    assert abs(int((south.frost - answer.frost - shift).astype(int))) <= 1
    assert abs(int((south.plant_by - answer.plant_by - shift).astype(int))) <= 1
    common = np.intersect1d(answer.dates + shift, south.dates)
    assert common.size > 60
    for choice in answer.choices:
        other = of(south, choice.cover.key)
        mine, theirs = np.isin(answer.dates + shift, common), np.isin(south.dates, common)
        for name in comparison.LIMITS:
            later = np.abs((other.ended[theirs] - shift - choice.ended[mine]).astype(float))
            # By a wanted day that lies on the steepest part of its curve, a day more is one year in eight.
            apart = 0.15 if name == "plantable" else 0.08
            assert (np.abs(other.share(name)[theirs] - choice.share(name)[mine]) <= apart + A_DAY * later).all()
        assert days_apart(other.ended[theirs], choice.ended[mine] + shift).max() <= 4


def test_the_answer_is_the_same_twice_and_leaves_the_weather_alone(answer: Autumn) -> None:
    """No randomness, and the record is not touched."""
    before = RECORD.table.copy()
    again = sow()
    assert [choice.best for choice in answer.choices] == [choice.best for choice in again.choices]
    np.testing.assert_array_equal(answer.choices[0].together, again.choices[0].together)
    pd.testing.assert_frame_equal(RECORD.table, before)


def test_nothing_after_today_is_used() -> None:
    """A record that runs on past the day asked about gives the same answer as one that ends there."""
    on = day("2020-04-20")
    until = DailyWeather(table=RECORD.table.loc[:"2020-04-20"])
    ours, theirs = sow(on=on), sow(until, on)
    assert ours.years == theirs.years
    np.testing.assert_array_equal(ours.choices[0].together, theirs.choices[0].together)


# --- the answer -----------------------------------------------------------------------------------


def test_the_range_keeps_every_limit_and_its_neighbours_do_not(answer: Autumn) -> None:
    """Inside all three shares are as large as asked for; on the days beside it the one that is named is not."""
    for choice in answer.choices:
        if choice.first is None or choice.last is None:
            assert choice.before is None
            assert choice.after is None
            continue
        inside = slice(choice.first, choice.last + 1)
        for name in comparison.LIMITS:
            assert (choice.share(name)[inside] >= getattr(answer.risk, name) - 1e-9).all()
        assert choice.first <= choice.best <= choice.last
        for failure, place in ((choice.before, choice.first - 1), (choice.after, choice.last + 1)):
            if failure is not None:
                assert failure.date == answer.dates[place]
                assert failure.share == choice.share(failure.limit)[place] < getattr(answer.risk, failure.limit)
    assert any(choice.fit for choice in answer.choices)


def test_taking_more_risk_never_narrows_the_range() -> None:
    """Each date that fits a careful grower fits a bold one."""
    careful, bold = sow(risk=Risk(established=0.9, survives=0.95, plantable=0.9)), sow(risk=Risk(established=0.5))
    for choice in careful.choices:
        assert (of(bold, choice.cover.key).fits >= choice.fits).all()
    assert of(bold, "hairy-vetch").fits.sum() > of(careful, "hairy-vetch").fits.sum()


def test_any_share_may_be_asked_for(answer: Autumn) -> None:
    """Nothing asked for, every date fits; everything asked for, hardly one does; neither is an error."""
    nothing = sow(risk=Risk(established=0.0, survives=0.0, plantable=0.0))
    assert all(choice.fits.all() for choice in nothing.choices)
    everything = sow(risk=Risk(established=1.0, survives=1.0, plantable=1.0))
    assert sum(choice.fits.sum() for choice in everything.choices) < sum(c.fits.sum() for c in answer.choices)


def test_those_that_fit_come_first(answer: Autumn) -> None:
    """In the order of the nitrogen they can be counted on for, ended in their window."""
    fits = [choice.fit for choice in answer.choices]
    assert fits == sorted(fits, reverse=True)
    counted = [c.together[c.best] * c.window[c.best] * c.brings["pan_kg_ha"][c.best] for c in answer.choices if c.fit]
    assert counted == sorted(counted, reverse=True)


def test_the_dates_are_about_the_first_hard_frost(answer: Autumn) -> None:
    """By default from ten weeks before its middle date, or 1 September, to a week after; 28 degF (Phillips 2014)."""
    cold = RECORD.table["tmin_c"] <= (28 - 32) / 1.8
    firsts = [cold[f"{year}-07-01" : f"{year + 1}-03-01"].idxmax() for year in answer.years]
    middle = sorted((first - pd.Timestamp(f"{first.year}-01-01")).days for first in firsts)[(len(firsts) - 1) // 2]
    assert abs(int((answer.frost - day("2026-01-01")).astype(int)) - middle) <= 1
    assert answer.dates[0] == min(answer.frost - np.timedelta64(70, "D"), day("2026-09-01"))
    assert answer.dates[-1] == answer.frost + np.timedelta64(7, "D")


def test_the_autumn_is_the_next_one_whose_dates_are_not_over() -> None:
    """In October the rest of this autumn; in December the next one."""
    record = weather("2010-01-01", "2026-12-31")
    october, december = (sow(record, day(on), covers=("hairy-vetch",)) for on in ("2026-10-10", "2026-12-20"))
    assert october.dates[0] == day("2026-10-10")
    assert str(december.dates[0])[:4] == "2027"


def test_where_it_never_freezes_the_dates_are_broad() -> None:
    """No frost to count from: three months of autumn, and midsummer for planting."""
    mild = weather("2010-01-01", mean=19.0, swing=6.0, noise=2.0)
    answer = sow(mild, latitude=34.0, covers=("hairy-vetch",))
    assert np.isnat(answer.frost)
    assert answer.dates[0] == day("2026-09-01")
    assert answer.dates[-1] == day("2026-12-01")
    assert (answer.plant_by, answer.plant_by_from, answer.ripens_by) == (day("2027-07-01"), "midsummer", 1.0)


def test_the_wanted_date_lets_the_crop_ripen() -> None:
    """A slow crop in a short summer: as many years as asked for let it ripen, planted on the wanted day."""
    cold, asked = weather("2010-01-01", mean=8.0, swing=13.0), {"crop": "pumpkin", "latitude": 43.0}
    answer = sow(cold, covers=("hairy-vetch",), **asked)
    assert answer.plant_by_from == "ripens"
    assert answer.ripens_by >= 0.8
    later = sow(cold, covers=("hairy-vetch",), plant_by=answer.plant_by + np.timedelta64(12, "D"), **asked)
    assert later.ripens_by < answer.ripens_by


def test_rain_for_the_seed_is_counted(answer: Autumn) -> None:
    """The share of years with 19 mm in three weeks, read out of the record (top 10 cm of a dry loam, FAO-56)."""
    rain = RECORD.table["prcp_mm"]
    place = 20
    wet = []
    for year in answer.years:
        first = pd.Timestamp(str(answer.dates[place])).replace(year=year)
        wet.append(rain[first : first + pd.Timedelta(days=20)].sum() >= 19.0)
    assert answer.moist[place] == pytest.approx(np.mean(wet))
    dry = RECORD.table.assign(prcp_mm=np.nan)
    assert np.isnan(sow(DailyWeather(table=dry), covers=("crimson-clover",)).moist).all()


def test_a_cultivar_is_taken_for_its_own_species_only(answer: Autumn) -> None:
    """The field's cultivar goes with the field's species; every other cover has its spread of cultivars."""
    early = sow(species="hairy-vetch", cultivar="Purple Bounty", covers=("crimson-clover", "hairy-vetch"))
    assert of(early, "hairy-vetch").cultivar == "Purple Bounty"
    assert of(early, "crimson-clover").cultivar == ""
    assert (of(early, "hairy-vetch").window_open <= of(answer, "hairy-vetch").window_open).all()


# --- what to relax --------------------------------------------------------------------------------


def changed(relaxed: relaxations.Relaxation, plot: Field, answer: Autumn) -> tuple[Field, dict[str, object]]:
    """The field and the question with the thing done differently."""
    crop, cover, asked = plot.crop, plot.cover, {"plant_by": answer.plant_by}
    match relaxed.kind:
        case "early-cultivar":
            cover = replace(cover, cultivar=relaxed.detail)
        case "transplants":
            crop = replace(crop, method="transplant")
            asked = {}
        case "shorter-crop" | "later-planting":
            crop = replace(crop, days_to_maturity=relaxed.number)
            asked = {"plant_by": relaxed.day}
    return replace(plot, crop=crop, cover=cover), asked


def test_what_is_said_to_help_helps() -> None:
    """Each thing done differently is tried for itself, in full, and then fits on the dates that were named."""
    cold = weather(mean=9.0, swing=12.0)
    plot = field("hairy-vetch", "pumpkin", latitude=42.0)
    answer = compare_sowing_dates(plot, cold, ON, covers=("hairy-vetch",), risk=Risk(survives=0.2))
    assert not answer.choices[0].fit
    kinds = {relaxed.kind for relaxed in answer.relaxations}
    assert {"early-ending", "early-cultivar"} & kinds
    for relaxed in answer.relaxations:
        assert not relaxed.snow
        if relaxed.kind == "early-ending":
            assert relaxed.day < answer.choices[0].ended[answer.choices[0].best]
            assert 0 < relaxed.number < answer.choices[0].brings["dry_matter_kg_ha"].max()
            continue
        other, asked = changed(relaxed, plot, answer)
        again = compare_sowing_dates(other, cold, ON, covers=("hairy-vetch",), risk=Risk(survives=0.2), **asked)
        fitting = again.dates[again.choices[0].fits]
        assert relaxed.start in fitting
        assert relaxed.end in fitting


def test_asked_too_late_it_says_how_much_earlier() -> None:
    """Only late dates asked about: the dates before them that work are named, and do work."""
    answer = sow(start=day("2026-11-05"), end=day("2026-11-25"), covers=("hairy-vetch",), risk=Risk(survives=0.5))
    (relaxed,) = answer.relaxations
    assert relaxed.kind == "earlier-sowing"
    assert sow(start=answer.dates[0], covers=("hairy-vetch",), risk=Risk(survives=0.5), relax=False).relaxations == ()
    again = sow(start=relaxed.start, end=relaxed.end, covers=("hairy-vetch",), risk=Risk(survives=0.5))
    assert again.choices[0].fits[[0, -1]].all()


@pytest.mark.parametrize("place", [0, 1, 2])
def test_earlier_sowing_is_tried_from_the_second_day_on(place: int) -> None:
    """Where a day makes the difference: before the second of the days that are known lies the first, and it works.

    At a place as cold as this the ground is covered in 16, 14 and 10 years of 25, sown on 1, 2 and 3 July.
    """
    first, cold = day("2026-07-01"), weather(mean=-1.1)
    asked = {"covers": ("crimson-clover",), "risk": Risk(established=0.6, survives=0.0, plantable=0.0)}
    answer = sow(cold, start=first + invented.days(place), end=first + invented.days(place), **asked)
    found = [(each.kind, each.start, each.end) for each in answer.relaxations]
    assert found == [("earlier-sowing", first, first)] * min(place, 1)
    assert answer.choices[0].fit == (place == 0)


def test_an_autumn_that_is_over_is_called_that() -> None:
    """Asked at its very end: the dates that would have worked are past, and the next autumn is pointed to."""
    late = day("2025-11-20")
    answer = sow(LONG, late, start=late, end=late, covers=("hairy-vetch",), risk=Risk(survives=0.5))
    (relaxed,) = answer.relaxations
    assert relaxed.kind == "earlier-sowing"
    assert day("2025-08-01") < relaxed.start <= day("2025-09-01")
    assert relaxed.end < late
    said = sowing.relaxation(answer, relaxed)
    assert said.startswith("Too late this autumn: hairy vetch would have fitted sown ")
    assert said.endswith(f"for the next, ask with --from 2026{str(relaxed.start)[4:]}.")


def test_days_that_are_past_are_not_advised() -> None:
    """The headline of a range asked about, on days before it, beyond its best day, and after it."""
    asked = {
        "covers": ("hairy-vetch",),
        "start": day("2025-09-01"),
        "end": day("2025-12-10"),
        "risk": Risk(survives=0.5),
    }
    answer = sow(on=day("2025-09-01"), **asked)
    (choice,) = answer.choices
    best, last = answer.dates[choice.best], answer.dates[choice.last]
    assert best < last < answer.dates[-1]
    assert sowing.headline(answer).startswith("sow hairy vetch ")
    assert "is past" not in sowing.headline(answer)
    beyond = replace(answer, on=best + invented.days(1))
    assert sowing.headline(beyond).startswith("sow hairy vetch by ")
    assert sowing.headline(beyond).endswith(", is past.")
    assert sowing.headline(replace(answer, on=last)).startswith("sow hairy vetch by ")
    assert sowing.headline(replace(answer, on=last + invented.days(1))).startswith(
        "it is too late for hairy vetch, which was to"
    )


@pytest.mark.parametrize(("crop", "kind"), [("pumpkin", "shorter-crop"), ("summer-squash", "later-planting")])
def test_a_later_planting_leaves_time_to_ripen(crop: str, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pumpkin takes 105 days, more than are left from then to frost, so a quicker one is asked for; squash takes 55."""
    plot, place = field("hairy-vetch", crop, latitude=42.0), weather("2010-01-01", mean=10.5, swing=9.0)
    asked = {"covers": ("hairy-vetch",), "risk": Risk(survives=0.2), "plant_by": day("2027-06-01")}
    answer = compare_sowing_dates(plot, place, ON, **asked)
    relaxed = answer.relaxations[-1]
    assert relaxed.kind == kind
    assert (relaxed.number < catalogue.crop(crop).days_to_maturity.value) == (kind == "shorter-crop")
    assert (f"ripens in {relaxed.number:.0f} days" in sowing.relaxation(answer, relaxed)) == (kind == "shorter-crop")
    # Asked for that day in full, it fits, and for the day before it does not.
    for by, fits in ((relaxed.day, True), (relaxed.day - np.timedelta64(1, "D"), False)):
        assert compare_sowing_dates(plot, place, ON, **{**asked, "plant_by": by}).choices[0].fit == fits
    # It is the first day that does, as looking at one day after the other finds.
    monkeypatch.setattr(
        relaxations,
        "bisect_left",
        lambda days, found, key: next((place for place, by in enumerate(days) if key(by) == found), len(days)),
    )
    assert compare_sowing_dates(plot, place, ON, **asked).relaxations[-1] == relaxed


def test_the_way_of_ending_is_the_one_that_was_worked_out() -> None:
    """Balansa clover rolled has no window here, and is turned under in the sums: the words say so."""
    answer = sow(covers=("balansa-clover", "hairy-vetch"), terminate="roll")
    for name, method, said in (("balansa-clover", "turn-under", "Turned under"), ("hairy-vetch", "roll", "Rolled")):
        choice = of(answer, name)
        assert choice.methods[choice.best] == method
        outcome = sowing.outcome(answer, choice)
        assert outcome.startswith(f"{said} about ")
        assert ("so poor that spring has to tell" in outcome) == (choice.window[choice.best] < 0.5)


def test_the_first_day_looked_at_is_no_limit(answer: Autumn) -> None:
    """Where the dates that fit begin with the first one, that is said to be no more than that."""
    vetch = of(answer, "hairy-vetch")
    assert vetch.first == 0
    assert sowing.beyond(answer, vetch).startswith("No day before ")
    assert sowing.beyond(answer, replace(vetch, first=3)) == ""


def test_snow_is_named_where_only_the_cold_is_in_the_way() -> None:
    """A tender cover in a hard winter of which neither the snow nor the rain is known."""
    record = DailyWeather(table=LONG.table.assign(prcp_mm=np.nan))
    answer = sow(record, covers=("winter-pea",), risk=Risk(survives=1.0, plantable=0.5))
    assert [relaxed.kind for relaxed in answer.relaxations] == ["accept", "snow"]
    accept, snow = answer.relaxations
    bold = sow(record, covers=("winter-pea",), risk=Risk(survives=accept.alive, plantable=0.5))
    assert {accept.start, accept.end} <= set(bold.dates[bold.choices[0].fits])
    assert snow.end >= accept.end


# --- real places and published sowing windows -----------------------------------------------------


def test_a_cold_place(champion: pd.DataFrame) -> None:
    """Hairy vetch covers the ground if sown to the middle of September, 40 degrees north.

    Northern Indiana, as far north: to 15 September, with more risk of freezing to the 30th (Allison 2018).  At
    Champion, Nebraska (aquacrop), higher and colder, it is a little earlier.  Bare of snow the winter is too cold
    for nine years in ten; the handbook has hairy vetch killed below 5 degF there without snow (Clark 2007).
    """
    plot = field("hairy-vetch", "muskmelon", latitude=40.4, method="transplant", ground_cover="black-plastic")
    answer = compare_sowing_dates(plot, as_weather(champion), day("2018-06-01"), covers=THREE)
    vetch = of(answer, "hairy-vetch")
    last = answer.dates[np.flatnonzero(vetch.established >= 0.8)[-1]]
    assert day("2018-09-01") <= last <= day("2018-09-30")
    assert 0.5 <= vetch.survives.max() < 0.9
    assert vetch.survives.max() > of(answer, "crimson-clover").survives.max() > of(answer, "winter-pea").survives.max()
    assert "snow" in {relaxed.kind for relaxed in answer.relaxations}


def test_a_mild_place(clemson: pd.DataFrame) -> None:
    """Crimson clover is sown in August and September in Georgia (University of Georgia); Clemson is next door."""
    answer = compare_sowing_dates(
        field(latitude=34.66),
        as_weather(clemson),
        day("2019-06-01"),
        covers=THREE,
        start=day("2019-08-01"),
        end=day("2019-12-01"),
    )
    for choice in answer.choices:
        september = (answer.dates >= day("2019-08-15")) & (answer.dates <= day("2019-09-30"))
        assert choice.fits[september].all()
        assert not choice.fits[-1]
    assert np.isnan(answer.moist).all()  # the record has no rain


def test_a_mediterranean_place() -> None:
    """Subterranean clover is sown from late March to late May in New South Wales (Archer 1987): here half a year on.

    Tunis (aquacrop), where rain wets the seedbed more often in November than in September.
    """
    answer = compare_sowing_dates(
        field(latitude=36.8), aquacrop_record("tunis"), day("2002-05-31"), covers=("subterranean-clover", "faba-bean")
    )
    assert np.isnat(answer.frost)
    for choice in answer.choices:
        assert choice.fits[(answer.dates >= day("2002-09-25")) & (answer.dates <= day("2002-10-31"))].all()
    assert answer.moist[-20:].mean() > answer.moist[:10].mean()


def test_a_place_south_of_the_equator() -> None:
    """Cordoba, Argentina (aquacrop): autumn is in March and April, and what follows is planted before the New Year."""
    record = aquacrop_record("cordoba")
    assert record.table["tmin_c"][record.table.index.month == 1].mean() > 15  # it is that Cordoba
    answer = compare_sowing_dates(field(latitude=-31.4), record, day("2021-12-31"), covers=("crimson-clover",))
    assert str(answer.dates[0])[:7] == "2022-03"
    assert str(answer.plant_by) == "2022-12-30" or str(answer.plant_by)[:7] == "2022-12"
    assert of(answer, "crimson-clover").fit


# --- what cannot be answered ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"start": "2026-10-01", "end": "2026-09-01"}, "`start` 2026-10-01 is after `end` 2026-09-01"),
        ({"start": "2026-09-01", "end": "2027-10-01"}, "sowing from 2026-09-01 to 2027-10-01 is not one autumn"),
        ({"start": "2026-09-01", "end": "2027-04-01"}, "is not one autumn; give days from 2026-07-01 to 2027-03-02"),
        ({"start": "2025-09-01", "end": "2025-10-01"}, "`end` 2025-10-01 is before 2026-04-20, today"),
        ({"start": "2026-01-10"}, "`start` 2026-01-10: that autumn is over on 2026-04-20; for a cover that is sown"),
        ({"start": "1800-09-01"}, "`start` 1800-09-01: that autumn is over on 2026-04-20"),
        ({"start": "1800-09-01", "end": "1800-10-01"}, "`end` 1800-10-01 is before 2026-04-20, today"),
        ({"plant_by": "2026-06-10"}, "`plant_by` 2026-06-10 is not in the year after the sowing"),
        ({"plant_by": "2028-06-10"}, "give a day from 2027-01-02 to 2027-12-31"),
    ],
)
def test_dates_that_make_no_autumn(asked: dict[str, str], message: str) -> None:
    """Each is refused with the value found and the days that would do."""
    with pytest.raises(UsageError, match=message):
        sow(**{name: day(text) for name, text in asked.items()})


def test_too_few_years() -> None:
    """Seven whole seasons are too few."""
    with pytest.raises(WeatherGapError, match=r"complete past seasons of weather are there, .* 8 are needed"):
        sow(weather(first="2018-01-01"))


def test_an_unknown_cover() -> None:
    """The near matches are offered."""
    with pytest.raises(UnknownNameError, match="did you mean hairy-vetch"):
        sow(covers=("hairy-vetsch",))
    assert issubclass(UnknownNameError, ParameterError)


def test_only_one_end_of_the_dates(answer: Autumn) -> None:
    """The other end is the default, or as far away as the defaults are apart."""
    from_october = sow(start=day("2026-10-01"), covers=("hairy-vetch",))
    assert from_october.dates[-1] == answer.dates[-1]
    to_july = sow(end=day("2026-08-20"), covers=("hairy-vetch",), on=ON)
    assert to_july.dates[-1] == day("2026-08-20")
    assert dt.date.fromisoformat(str(to_july.dates[0])) < dt.date(2026, 8, 20)
