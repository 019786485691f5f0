"""Facts of the trade that have no source, on real records: common practice, no source."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from invented import field

from covercrop.base.records import DailyWeather
from covercrop.season.plan import make_plan
from covercrop.weather.daily import daily_weather


@pytest.fixture(scope="module")
def plains(champion: pd.DataFrame) -> DailyWeather:
    """Champion, Nebraska, as the program reads it."""
    return daily_weather(champion)


def days_from_first_june(plains: DailyWeather, year: int) -> int:
    """Days from 1 June to the likely earliest planting of direct-seeded muskmelon on bare, watered ground."""
    plot = field("hairy-vetch", "muskmelon", sown=f"{year - 1}-09-01", latitude=40.4, turned_under=f"{year}-05-10")
    plan = make_plan(replace(plot, longitude=-101.7), plains, np.datetime64(dt.date(year, 5, 20)))
    return int((plan.dates["earliest_planting"].median - np.datetime64(dt.date(year, 6, 1))).astype(int))


def test_melons_on_the_plains(plains: DailyWeather, champion: pd.DataFrame) -> None:
    """Inland at 41 N, who waits for warm soil sows melons around 1 June: the whole chain, within ten days.

    Normal years are the middle half of the springs by the mean of May and
    June; the cover was turned under on 10 May.
    """
    spring = champion[champion.index.month.isin((5, 6))][["tmin_c", "tmax_c"]].mean(axis=1)
    means = spring.groupby(spring.index.year).mean().loc[1992:]
    normal = means[means.between(means.quantile(0.25), means.quantile(0.75))].index
    assert len(normal) >= 12
    assert abs(np.median([days_from_first_june(plains, int(year)) for year in normal])) <= 10


def test_crimson_clover_in_the_south_east(clemson: pd.DataFrame) -> None:
    """Sown in early autumn at 35 N, crimson clover comes into bloom about six months later: first flowers, 34.66 N.

    "About" is taken as five and a half to seven months; sown on 1 October, thirty years.
    """
    record = daily_weather(clemson["1960":])
    months = []
    for year in range(1990, 2020):
        plan = make_plan(field(sown=f"{year}-10-01", latitude=34.66), record, np.datetime64(f"{year + 1}-07-01"))
        months.append((plan.dates["first_flower"].median - np.datetime64(f"{year}-10-01")).astype(int) / 30.4)
    assert 5.5 <= np.median(months) <= 7.0
