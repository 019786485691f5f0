"""Plant-back: five limits, the latest of them, and the time left before autumn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from covercrop.base.errors import UnknownNameError
from covercrop.base.records import CitedValue
from covercrop.models import decomposition, frost, plantback
from covercrop.models import maggot as hazards
from covercrop.models.decomposition import Maturity
from covercrop.models.degree_days import TOLERANCE
from covercrop.models.soil_temperature import held, soil_temperature
from covercrop.parameters import catalogue
from covercrop.parameters.traits import Residue

DAY_INDEXES = arrays(np.float64, (3, 4), elements=st.one_of(st.integers(0, 9).map(float), st.just(np.nan)))
MIDWINTER, TURNED_UNDER = 108, 237  # a season from 15 September; 10 May


def number(value: float) -> CitedValue:
    return CitedValue(value=value, unit="1", printed="", basis="assumed")


RESIDUE = Residue(carbohydrate=number(0.54), cellulose=number(0.37), lignin=number(0.09))


@pytest.fixture(scope="module")
def weather() -> tuple[np.ndarray, np.ndarray]:
    """Six made-up years, about that of western Kentucky in the mean: minimum and maximum from 15 September."""
    day = np.arange(500)
    mean = 13.5 - 12.5 * np.cos(2 * np.pi * (day - 125) / 365)
    noise = np.random.default_rng(7).normal(0, 3.0, (6, 500))
    return mean + noise - 6, mean + noise + 6


# --- one by one -----------------------------------------------------------------------------------


@given(
    arrays(np.float64, (2, 40), elements=st.floats(10, 24)),
    st.lists(st.one_of(st.floats(0, 45), st.just(np.nan)), min_size=1, max_size=4),
)
def test_soil_warm_is_the_first_of_some_warm_days_running(soil: np.ndarray, starts: list[float]) -> None:
    """From turning under on, the first day that ends four days at the planting temperature or above."""
    found = plantback.soil_warm(soil, 18.0, np.array(starts))
    for row, season in enumerate(soil):
        for column, start in enumerate(starts):
            warm = [
                day for day in range(40) if day >= start and (season[max(day - 3, 0) : day + 1] >= 18.0 - 1e-6).all()
            ]
            expected = next((day for day in warm if day >= 3), np.nan)
            np.testing.assert_equal(found[row, column], float(expected))


def test_soil_error_shifts_the_soil() -> None:
    """An error of the prediction is as good as a threshold that much lower, for every draw."""
    soil = np.linspace(8, 24, 60)
    error = np.array([-3.0, 0.0, 3.0])
    expected = [float(plantback.soil_warm(soil, 18.0 - shift, 5)) for shift in error]
    np.testing.assert_array_equal(plantback.soil_warm(soil, 18.0, 5, error), expected)
    assert expected == sorted(expected, reverse=True)
    assert held(soil)[int(expected[1])] >= 18.0 > held(soil)[int(expected[1]) - 1]


# --- together -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("starts", "draws"), [((), ()), ((1,), (8,)), ((6, 8), (8,)), ((3,), ())])
def test_limits_have_one_shape(
    weather: tuple[np.ndarray, np.ndarray], starts: tuple[int, ...], draws: tuple[int, ...]
) -> None:
    """Whatever is one for all members is spread over (year, draw), and each member is as if it stood alone."""
    tmin, tmax = weather
    soil = soil_temperature((tmin + tmax) / 2, "bare", canopy_until=TURNED_UNDER)
    start = np.full(starts, float(TURNED_UNDER))
    draw = np.linspace(-2, 2, 8) if draws else np.asarray(0.0)
    given = {"residue": RESIDUE, "crop": catalogue.crop("pumpkin"), "method": "direct-seed"}
    found = plantback.limits(tmin, tmax, soil, start, MIDWINTER, **given, residue_draw=draw, soil_error=-draw)
    assert tuple(found) == plantback.LIMITS
    shape = np.broadcast_shapes((6, 1), starts, draws)
    assert {index.shape for index in found.values()} == {shape}
    alone = plantback.limits(
        tmin[2:3],
        tmax[2:3],
        soil[2:3],
        TURNED_UNDER,
        MIDWINTER,
        **given,
        residue_draw=np.ravel(draw)[-1:],
        soil_error=-np.ravel(draw)[-1:],
    )
    for name in plantback.LIMITS:
        assert found[name][2, -1] == alone[name][0, 0], name
    assert len(np.unique(found["frost"])) > 1, "each year has its own last frost"


def test_each_limit_is_asked_of_its_own_model(weather: tuple[np.ndarray, np.ndarray]) -> None:
    """Maggots count only for a crop they harm, and frost at the crop's own temperature, each year's own."""
    tmin, tmax = weather
    soil = soil_temperature((tmin + tmax) / 2, "bare", canopy_until=TURNED_UNDER)
    host = catalogue.crop("pumpkin")
    spared = replace(host, maggot_host=False, frost=number(4.0))
    for crop in (host, spared):
        found = plantback.limits(
            tmin,
            tmax,
            soil,
            TURNED_UNDER,
            MIDWINTER,
            residue=RESIDUE,
            crop=crop,
            method="direct-seed",
        )
        maggot = hazards.maggot_clear(tmin, tmax, soil, TURNED_UNDER, MIDWINTER)
        assert (maggot > TURNED_UNDER).any()
        np.testing.assert_array_equal(found["maggot"][:, 0], maggot if crop.maggot_host else TURNED_UNDER)
        free = frost.freeze_free_from(tmin, MIDWINTER, crop.frost.value)
        np.testing.assert_array_equal(found["frost"][:, 0], free)


def test_soil_that_is_warm_a_year_later_is_found(weather: tuple[np.ndarray, np.ndarray]) -> None:
    """Turned under in autumn, what waits for warm soil waits through the winter: searched day by day."""
    tmin, tmax = (extreme - 3 for extreme in weather)
    soil = soil_temperature((tmin + tmax) / 2, "bare")
    pumpkin = catalogue.crop("pumpkin")
    start = np.array([60.0])
    got = plantback.limits(tmin, tmax, soil, start, MIDWINTER, residue=RESIDUE, crop=pumpkin, method="direct-seed")
    warm = soil >= pumpkin.soil_planting.value - TOLERANCE
    expected = [next(day for day in range(60, soil.shape[1]) if year[day - 3 : day + 1].all()) for year in warm]
    assert min(expected) > 60 + 120
    np.testing.assert_array_equal(got["soil_warm"][:, 0], expected)
    np.testing.assert_array_equal(got["maggot"], hazards.maggot_clear(tmin, tmax, soil, start, MIDWINTER))


def test_limits_follow_the_crop_and_the_method(weather: tuple[np.ndarray, np.ndarray]) -> None:
    """Corn waits for less warmth than pumpkin, plants for less time than seed, and plastic warms the ground."""
    tmin, tmax = weather

    def limits(crop: str, method: str, ground_cover: str = "bare") -> dict[str, np.ndarray]:
        soil = soil_temperature((tmin + tmax) / 2, ground_cover, canopy_until=TURNED_UNDER)
        return plantback.limits(
            tmin, tmax, soil, TURNED_UNDER, MIDWINTER, residue=RESIDUE, crop=catalogue.crop(crop), method=method
        )

    pumpkin, corn = limits("pumpkin", "direct-seed"), limits("sweet-corn", "direct-seed")
    assert (corn["soil_warm"] <= pumpkin["soil_warm"]).all()
    assert (corn["soil_warm"] < pumpkin["soil_warm"]).any()
    assert (limits("pumpkin", "transplant")["disease"] == pumpkin["disease"] - 7).all()
    plastic, straw = limits("pumpkin", "direct-seed", "black-plastic"), limits("pumpkin", "direct-seed", "straw")
    for name in ("residue", "soil_warm"):
        assert (plastic[name] <= pumpkin[name]).all()
        assert (pumpkin[name] <= straw[name]).all()
    assert (plantback.earliest(plastic) <= plantback.earliest(straw)).all()


@given(DAY_INDEXES, DAY_INDEXES, DAY_INDEXES)
def test_earliest_is_the_latest_limit(first: np.ndarray, second: np.ndarray, third: np.ndarray) -> None:
    """No limit is later than the earliest planting, one is as late, and one that never clears leaves no date."""
    limits = {"residue": first, "soil_warm": second, "frost": third}
    found = plantback.earliest(limits)
    days = np.stack([first, second, third])
    known = ~np.isnan(days).any(axis=0)
    assert (np.isnan(found) == ~known).all()
    assert (days.max(axis=0)[known] == found[known]).all()
    for place in np.ndindex(found.shape):
        alone = np.zeros(found.shape)
        alone[place] = 1.0
        held_back = limits[str(plantback.binding(limits, alone))][place]
        assert held_back == found[place] if known[place] else np.isnan(held_back)


def test_binding_is_the_most_frequent_by_weight() -> None:
    """Two members in three are held back by the soil, unless the third weighs more than both."""
    limits = {"residue": np.array([[1.0, 1.0, 9.0]]), "soil_warm": np.array([[5.0, np.nan, 5.0]])}
    assert plantback.binding(limits) == "soil_warm"
    assert plantback.binding(limits, np.array([[0.2, 0.2, 0.6]])) == "residue"
    assert plantback.binding(limits, np.zeros((1, 3))) is None


def test_every_limit_has_its_words() -> None:
    """Each limit is explained in a plain sentence of its own."""
    assert tuple(plantback.BINDING_WORDS) == plantback.LIMITS
    assert len(set(plantback.BINDING_WORDS.values())) == len(plantback.LIMITS)


def test_the_limits_rest_on_listed_sources() -> None:
    """Each key that the limits name is an entry of sources.toml, once."""
    assert len(set(plantback.SOURCES)) == len(plantback.SOURCES)
    assert all(catalogue.source(key).title for key in plantback.SOURCES)


# --- before autumn --------------------------------------------------------------------------------


def test_days_to_maturity() -> None:
    """The packet comes before the table, and plants save 14 days (seed trade, pumpkin and winter squash)."""
    squash = catalogue.crop("winter-squash")
    assert plantback.days_to_maturity(squash, "direct-seed") == 90
    assert plantback.days_to_maturity(squash, "direct-seed", 105) == 105
    assert plantback.days_to_maturity(squash, "transplant", 105) == 105 - 14
    with pytest.raises(UnknownNameError, match="unknown planting method 'seed'"):
        plantback.days_to_maturity(squash, "seed")


def test_emergence_is_read_off_the_table_of_the_crop() -> None:
    """Its days at its temperatures, half way between two half way in days; outside them, and without it, nothing."""
    crop = next(each for each in map(catalogue.crop, catalogue.crop_names()) if len(each.emergence) > 1)
    points = [(point.soil.value, point.days.value) for point in crop.emergence]
    for soil, days in points:
        assert plantback.emergence_days(crop, soil) == pytest.approx(days)
    (first, slow), (second, quick) = points[:2]
    assert plantback.emergence_days(crop, (first + second) / 2) == pytest.approx((slow + quick) / 2)
    assert np.isnan(plantback.emergence_days(crop, [points[0][0] - 0.1, points[-1][0] + 0.1])).all()
    assert np.isnan(plantback.emergence_days(replace(crop, emergence=()), [20.0, 25.0])).all()


def test_left_out_means_the_likely_case(weather: tuple[np.ndarray, np.ndarray]) -> None:
    """The likely residue and disease, and no error of the soil."""
    tmin, tmax = weather
    soil = soil_temperature((tmin + tmax) / 2, "bare")
    given = {"residue": RESIDUE, "crop": catalogue.crop("summer-squash"), "method": "direct-seed"}
    short = plantback.limits(tmin, tmax, soil, TURNED_UNDER, MIDWINTER, **given)  # type: ignore[arg-type]
    plain = {"residue_draw": 0.0, "clear_draw": 0.0, "disease_draw": 0.0, "soil_error": 0.0, "soil_passing": 0.0}
    full = plantback.limits(tmin, tmax, soil, TURNED_UNDER, MIDWINTER, **given, **plain)  # type: ignore[arg-type]
    for name in plantback.LIMITS:
        np.testing.assert_array_equal(short[name], full[name])
    other = plantback.limits(tmin, tmax, soil, TURNED_UNDER, MIDWINTER, **given, **(plain | {"residue_draw": 1.0}))  # type: ignore[arg-type]
    assert (other["residue"] <= short["residue"]).all()
    assert (other["residue"] < short["residue"]).any()


@pytest.mark.parametrize("method", ["direct-seed", "transplant"])
def test_what_is_rolled_is_planted_through(weather: tuple[np.ndarray, np.ndarray], method: str) -> None:
    """Rolled residue neither holds back a squash nor breeds flies to wait for; turned under it does both."""
    tmin, tmax = weather
    soil = soil_temperature((tmin + tmax) / 2, "bare")
    squash, start = catalogue.crop("summer-squash"), np.array([250.0])
    given = {"residue": RESIDUE, "crop": squash, "method": method}
    rolled = plantback.limits(tmin, tmax, soil, start, MIDWINTER, terminate="roll", **given)
    turned = plantback.limits(tmin, tmax, soil, start, MIDWINTER, **given)
    assert (rolled["residue"] == 250).all()
    assert (rolled["maggot"] == 250).all()
    assert (turned["residue"] > 255).all()
    assert (rolled["disease"] < turned["disease"]).all()
    small = {"residue": RESIDUE, "crop": catalogue.crop("tomato"), "method": "direct-seed"}
    on_top, buried = (
        plantback.limits(tmin, tmax, soil, start, MIDWINTER, terminate=way, **small)["residue"]
        for way in ("mow", "turn-under")
    )
    assert (on_top > buried).all()
    drawn = plantback.limits(
        tmin, tmax, soil, start, MIDWINTER, terminate="mow", surface_draw=np.array([-1.0, 0.0, 1.0]), **small
    )["residue"]
    assert (np.diff(drawn, axis=1) < 0).all()
    np.testing.assert_array_equal(drawn[:, 1], on_top[:, 0])
    old = Maturity(age=np.array([1.0]), carbon_nitrogen=np.zeros(1))
    older = plantback.limits(tmin, tmax, soil, start, MIDWINTER, maturity=old, **given)["residue"]
    assert (older > turned["residue"]).all()


@pytest.mark.parametrize(
    ("crop", "method", "own", "expected"),
    [
        ("pumpkin", "direct-seed", None, (60, 65)),
        ("muskmelon", "direct-seed", None, (68, 75)),
        ("muskmelon", "transplant", None, (65, None)),
        ("sweet-corn", "transplant", None, (55, None)),
        ("muskmelon", "direct-seed", 12.0, (53.6, None)),
    ],
)
def test_soil_to_wait_for(crop: str, method: str, own: float | None, expected: tuple[float, float | None]) -> None:
    """By crop and way of planting [degF]; a threshold of one's own wins."""
    least, good = plantback.soil_wanted(catalogue.crop(crop), method, own)
    assert least * 1.8 + 32 == pytest.approx(expected[0])
    assert (None if good is None else good * 1.8 + 32) == pytest.approx(expected[1])


# --- what each limit is asked with ----------------------------------------------------------------


@pytest.fixture(scope="module")
def ground(weather: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The extremes, and the soil under bare ground."""
    tmin, tmax = weather
    return tmin, tmax, soil_temperature((tmin + tmax) / 2, "bare", canopy_until=TURNED_UNDER)


@pytest.mark.parametrize(
    ("crop", "method", "terminate", "through"),
    [
        ("pumpkin", "direct-seed", "roll", True),
        ("pumpkin", "transplant", "turn-under", False),
        ("pumpkin", "direct-seed", "turn-under", False),
        ("tomato", "direct-seed", "mow", False),
        ("tomato", "transplant", "tarp", True),
    ],
)
def test_plants_and_large_seed_go_in_through_what_lies_on_top(
    crop: str, method: str, terminate: str, through: bool
) -> None:
    """Small seed does not, and nothing goes in through what was turned under."""
    assert plantback.planted_through(catalogue.crop(crop), method, terminate) is through


def test_a_passing_error_is_felt_by_thresholds_alone(ground: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """A kelvin that lasts and half a one that passes: warm soil and flies feel both, residue the one that lasts."""
    tmin, tmax, soil = ground
    crop, start = catalogue.crop("pumpkin"), np.array([float(TURNED_UNDER)])
    lasts, passes = np.array([-1.0, 1.0]), np.array([-0.5, -0.5])
    found = plantback.limits(
        *ground,
        start,
        MIDWINTER,
        residue=RESIDUE,
        crop=crop,
        method="direct-seed",
        soil_error=lasts,
        soil_passing=passes,
    )
    both = np.array([-1.5, 0.5])
    np.testing.assert_array_equal(found["soil_warm"], plantback.soil_warm(soil, crop.soil_planting.value, start, both))
    np.testing.assert_array_equal(
        found["maggot"], hazards.maggot_clear(tmin, tmax, soil, start, MIDWINTER, soil_error=both)
    )
    np.testing.assert_array_equal(found["residue"], decomposition.residue_clear(soil, start, RESIDUE, soil_error=lasts))


@pytest.mark.parametrize(("terminate", "pace"), [("turn-under", 0.5), ("mow", 0.35)])
def test_a_mixture_rots_at_its_share_of_the_pace(
    ground: tuple[np.ndarray, np.ndarray, np.ndarray], terminate: str, pace: float
) -> None:
    """Half of the pace of the legume, of which what is mown has seven tenths; left out, all of it."""
    crop, start = catalogue.crop("tomato"), np.array([float(TURNED_UNDER)])
    for asked, share in (({"residue_pace": 0.5}, 1.0), ({}, 2.0)):
        found = plantback.limits(
            *ground,
            start,
            MIDWINTER,
            residue=RESIDUE,
            crop=crop,
            method="direct-seed",
            terminate=terminate,
            **asked,  # type: ignore[arg-type]
        )
        expected = decomposition.residue_clear(ground[2], start, RESIDUE, pace=pace * share)
        np.testing.assert_array_equal(found["residue"], expected)


def test_own_soil_comes_before_that_of_the_crop(ground: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
    """The threshold that is given is the one that is waited for."""
    crop, start = catalogue.crop("pumpkin"), np.array([float(TURNED_UNDER)])
    found = plantback.limits(
        *ground, start, MIDWINTER, residue=RESIDUE, crop=crop, method="direct-seed", soil_least=20.0
    )
    np.testing.assert_array_equal(found["soil_warm"], plantback.soil_warm(ground[2], 20.0, start))


def test_years_before_draws_keep_their_place() -> None:
    """A place before the years: what is one for all is spread over (place, year, draw)."""
    air = np.full((2, 3, 400), 18.0)
    found = plantback.limits(
        air - 5,
        air + 5,
        air,
        np.full((2, 1, 1), 237.0),
        MIDWINTER,
        residue=RESIDUE,
        crop=catalogue.crop("pumpkin"),
        method="direct-seed",
        disease_draw=np.linspace(-1, 1, 4),
    )
    assert {index.shape for index in found.values()} == {(2, 3, 4)}


def test_of_two_limits_on_one_day_the_first_binds() -> None:
    """In the order of the dictionary; one that is never reached binds before all that are."""
    on_one_day = {"residue": np.array([5.0]), "frost": np.array([5.0])}
    assert plantback.binding(on_one_day) == "residue"
    assert plantback.binding(on_one_day | {"frost": np.array([np.nan])}) == "frost"
    assert plantback.binding({"residue": np.empty(0), "frost": np.empty(0)}) is None
