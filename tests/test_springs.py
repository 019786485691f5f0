"""A season beside every past one: what is worked out, said and drawn of it."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from invented import days, field, weather
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from scipy.stats import theilslopes

from covercrop.base.errors import WeatherGapError
from covercrop.base.records import DailyWeather
from covercrop.checking.springs import Springs, past_springs
from covercrop.checking.trend import FEWEST_FOR_TREND, trend
from covercrop.field.entries import ScoutingNote
from covercrop.render.figures import springs as spring_charts
from covercrop.render.figures.charts import titled
from covercrop.render.figures.springs import SPRING_CHARTS
from covercrop.render.words import springs as words
from covercrop.season.plan import Plan, make_plan

ON = np.datetime64("2026-04-20")
RECORD = weather()


@pytest.fixture(scope="module")
def plan() -> Plan:
    """A field in April."""
    return make_plan(field(), RECORD, ON, details=False)


@pytest.fixture(scope="module")
def springs(plan: Plan) -> Springs:
    """Its season beside the past ones."""
    return past_springs(plan, RECORD)


def warmed(record: DailyWeather, first: str, by: float) -> DailyWeather:
    """A record that is so much warmer from a day on."""
    table = record.table.copy()
    table.loc[first:, ["tmin_c", "tmax_c"]] += by
    return replace(record, table=table)


# --- the trend ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("slope", "step"), [(0.0, 1), (-0.3, 1), (-0.5, 8), (-1.2, 8)])
def test_the_trend_is_that_of_scipy(slope: float, step: float) -> None:
    """Slope and interval are those of scipy's rule, ties among the dates included."""
    years = np.arange(1990, 2026)
    dates = 120 + slope * (years - 1990) + np.random.default_rng(4).normal(0, 4, years.size)
    dates = step * np.round(dates / step)
    told = theilslopes(dates, years, alpha=0.95)
    found = trend(years, dates)
    assert found is not None
    assert (found.slope, found.low, found.high) == pytest.approx((told.slope, told.low_slope, told.high_slope))
    assert found.at(2000) == pytest.approx(told.intercept + told.slope * 2000)
    assert found.is_told == (slope != 0)


def test_a_trend_needs_years() -> None:
    """Years without a date do not count, and too few give none."""
    years = np.arange(2000, 2000 + FEWEST_FOR_TREND + 1)
    dates = np.where(years == 2003, np.nan, years - 1900.0)
    found = trend(years, dates)
    assert found is not None
    assert (found.years, found.slope) == (FEWEST_FOR_TREND, 1.0)
    assert trend(years, np.where(years == 2004, np.nan, dates)) is None


# --- the season beside the past ones --------------------------------------------------------------


def test_every_whole_season_before_the_day_is_there(springs: Springs) -> None:
    """A spring for every season of the record, named by its own year; this one is none of them."""
    assert springs.years.tolist() == list(range(2001, 2026))
    assert springs.spring == 2026
    assert len(springs.sums) == len(springs.events["bloom_50"]) == 25


def test_the_same_weather_every_year_is_as_usual() -> None:
    """Where all years are alike nothing is ahead, early or warmer; one that is warmer by 3 K is by just that."""
    alike = weather(noise=0.0)
    plain = past_springs(make_plan(field(), alike, ON, details=False), alike)
    assert (plain.ahead, plain.early) == pytest.approx((0, 0), abs=1)
    assert plain.departure == pytest.approx(0, abs=0.1)
    assert np.ptp(plain.events["bloom_50"]) <= 1
    warm = warmed(alike, "2025-12-01", 3.0)
    found = past_springs(make_plan(field(), warm, ON, details=False), warm)
    assert found.lately == pytest.approx(plain.lately + 3.0)
    assert found.ahead > 5
    assert found.early > 5
    assert found.events["bloom_50"] == pytest.approx(plain.events["bloom_50"])


def test_a_past_season_is_that_of_a_plan_of_then(springs: Springs) -> None:
    """The bloom of a past season is the one that a plan at its end sees, to the doubt about the plant."""
    then = make_plan(field(sown="2019-09-20"), RECORD, np.datetime64("2020-07-20"), details=False)
    place = springs.years.tolist().index(2020)
    date = springs.days[0] + days(int(springs.events["bloom_50"][place]))
    own = then.dates["bloom_50"].median
    assert abs((date - (own + (np.datetime64("2026-01-01") - np.datetime64("2020-01-01")))).astype(int)) <= 2


def test_nothing_after_the_day_comes_in(plan: Plan, springs: Springs) -> None:
    """Weather after the day of the answer moves nothing."""
    longer = warmed(weather(last="2027-01-01"), "2026-04-21", 9.0)
    found = past_springs(make_plan(field(), longer, ON, details=False), longer)
    assert found.years.tolist() == springs.years.tolist()
    assert found.early == springs.early
    assert np.array_equal(found.sums, springs.sums)


def test_a_season_of_some_days_is_there() -> None:
    """The means of a season shorter than a week are over the days that are there."""
    young = past_springs(make_plan(field(), RECORD, np.datetime64("2025-09-23"), details=False), RECORD)
    air = RECORD.table.loc["2025-09-20":"2025-09-23", ["tmin_c", "tmax_c"]].mean(axis=1)
    assert young.warmth == pytest.approx([air.mean()] * 4)
    assert np.isnan(young.ahead)


def test_too_few_past_seasons_are_said() -> None:
    """A short record is refused with what it has and what is needed."""
    short = weather("2019-08-01")
    with pytest.raises(WeatherGapError, match="6 complete past seasons before 2026-04-20 in the weather, and 8 are"):
        past_springs(make_plan(field(), short, ON, details=False), short)


# --- what is said ---------------------------------------------------------------------------------


def test_the_sentences_hold_the_numbers(plan: Plan, springs: Springs) -> None:
    """Days ahead, days early with the usual date, and a trend only where it can be told from none."""
    said = words.beside(plan, replace(springs, ahead=9.4, early=-1.0))
    assert "9 days ahead of the middle of 25 springs" in said
    assert "1 day later than usual (" in said
    level = words.beside(plan, replace(springs, ahead=0.2, early=0.0))
    assert "is level with the middle of 25 springs" in level
    assert ", as usual (" in level
    assert words.phrases.day_month(springs.usual("bloom_50")) in said
    found = springs.trend
    assert found is not None
    told = replace(found, slope=-0.2, low=-0.4, high=-0.05)
    assert "2.0 days earlier every ten years (95% interval 0.5 to 4.0)" in words.trend_said(told)
    assert "no trend can be told from none" in words.trend_said(replace(told, high=0.05))
    assert "2.0 °F warmer" in words.warmth(replace(springs, departure=2.0 / 1.8), us=True)


def test_of_a_dead_stand_no_bloom_is_said(plan: Plan, springs: Springs) -> None:
    """Where the cold has killed it only what is drawn is said."""
    dead = replace(plan, state="winter-killed")
    assert words.beside(dead, springs) == ""
    assert words.describe(dead, springs, "springs") == "Degree-days up to 20 Apr, beside those of 25 past springs."


def test_south_of_the_equator_the_spring_is_of_the_same_year() -> None:
    """A cover sown in April blooms in the spring of that year."""
    record = weather(last="2026-09-20", coldest_day=202)
    south = make_plan(field(sown="2026-04-10", latitude=-37.6), record, np.datetime64("2026-09-20"), details=False)
    found = past_springs(south, record)
    assert (found.spring, str(found.midwinter)) == (2026, "2026-07-01")
    assert found.years[-1] == 2025
    assert found.days[0] + days(int(np.median(found.events["bloom_50"]))) > found.midwinter
    for name, draw in SPRING_CHARTS.items():
        assert crossing(titled(draw(found, False), south, words.TITLES[name])) == [], name


def test_where_notes_count_it_is_said(springs: Springs) -> None:
    """The weather alone says another day than the plan that a note has moved, and the line says so."""
    note = ScoutingNote(date=np.datetime64("2026-04-18").astype(object), bbch=50)
    moved = make_plan(field(scouting=(note,)), RECORD, ON, details=False)
    assert f"Your notes put it on {words.phrases.day_month(moved.dates['bloom_50'].median)}." in words.beside(
        moved, springs
    )


# --- what is drawn --------------------------------------------------------------------------------


def crossing(figure: Figure) -> list[tuple[str, ...]]:
    """Pieces of text that intersect, and those that leave the figure."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    # Axes of these charts have no spines, without which matplotlib cannot look for the words of its own ticks.
    holders = [figure, *figure.axes]
    legends = [legend for axes in figure.axes if (legend := axes.get_legend()) is not None]
    found = [*(text for holder in holders for text in holder.texts), *(t for each in legends for t in each.get_texts())]
    texts = [text for text in found if text.get_text().strip() and text.get_visible()]
    assert len(texts) > 3
    boxes = [(text.get_text(), text.get_window_extent(renderer).padded(-0.5)) for text in texts]
    crossed = [(one, other) for (one, a), (other, b) in itertools.combinations(boxes, 2) if a.overlaps(b)]
    return crossed + [(text,) for text, box in boxes if not figure.bbox.padded(1).containsx(box.x0)]


@pytest.mark.parametrize(
    ("on", "options", "us"),
    [
        ("2025-11-10", {}, True),
        ("2026-02-01", {"species": "hairy-vetch", "terminate": "roll"}, False),
        ("2026-04-20", {}, True),
        ("2026-06-05", {"turned_under": "2026-05-06"}, False),
    ],
)
def test_no_two_words_intersect(on: str, options: dict[str, str], us: bool) -> None:
    """In each state and both units every word stands alone and inside its chart."""
    record = weather(last=on)
    plan = make_plan(field(**options), record, np.datetime64(on), details=False)
    found = past_springs(plan, record)
    for name, draw in SPRING_CHARTS.items():
        assert crossing(titled(draw(found, us), plan, words.TITLES[name])) == [], name


def test_the_charts_show_the_numbers(springs: Springs) -> None:
    """A line a past spring and a bold one, a window each, a dot a year of bloom."""
    above, below = SPRING_CHARTS["springs"](springs, False).axes
    widths = [line.get_linewidth() for line in above.lines]
    assert widths.count(0.6) == springs.recent
    assert max(widths) == 2.6
    assert len(below.collections[0].get_segments()) == springs.recent
    lines = {line.get_label(): line for line in SPRING_CHARTS["bloom"](springs, False).axes[0].lines}
    start = springs.days[0].astype(float)
    assert lines["a past spring"].get_ydata() == pytest.approx(start + springs.events["bloom_50"])


@pytest.mark.parametrize("name", ["_PAST", "_PAST_WINDOW", "_WARM", "_COOL", "INK", "WINDOW"])
def test_pale_marks_stand_out_from_the_paper(name: str) -> None:
    """Three times as dark as the paper, as WCAG 2.2 (1.4.11) asks of graphics; the bands have such an edge."""

    def luminance(colour: str) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
        return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))

    paper = luminance(spring_charts.PAPER)
    assert (paper + 0.05) / (luminance(getattr(spring_charts, name)) + 0.05) >= 3
