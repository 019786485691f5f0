"""`covercrop add`: a field written by options or by asking, and the first answer."""

from __future__ import annotations

import builtins
import datetime as dt
import json
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import covercrop
from covercrop.base.errors import CovercropError, FieldFileError, OfflineError, StationError, UsageError, WeatherError
from covercrop.base.records import Station, Units
from covercrop.field import weather_source
from covercrop.field.entries import CoverEntry, CropEntry, Field, Ground
from covercrop.field.file import read_fields
from covercrop.season import adding
from covercrop.weather import stations

Run = Callable[..., tuple[int, str, str]]

pytestmark = pytest.mark.usefixtures("autumns_once")

PLACE = ("--at", "37.80", "-84.10")
COVER = ("--cover", "Hairy vetch", "--cultivar", "purple bounty", "--sown", "2025-09-12")
THEN = ("--crop", "pumpkin", "--weather-file", "weather.csv", "--weather-units", "metric")


@pytest.fixture
def desk(tmp_path: Path, demo_dir: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of one's own with a weather record, in which one works; the day is that of the record."""
    shutil.copy(demo_dir / "weather.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def old_file(desk: Path, text: str = "# mine\ntoday = 2026-04-20\n") -> Path:
    path = desk / "mine.toml"
    path.write_bytes(text.encode())
    return path


def test_from_nothing_to_an_answer(run: Run, desk: Path) -> None:
    """One command makes the file, shows what was read and answers; the next one answers by it."""
    status, screen, messages = run("add", "new.toml", "Mill terrace", *PLACE, *COVER, *THEN, "--on", "2026-04-20")
    assert (status, messages) == (0, "")
    assert "Cover: hairy vetch 'Purple Bounty', sown Fri 12 Sep 2025" in screen
    assert "Mill terrace: GROWING" in screen or "Mill terrace: BUDDING" in screen
    (field,) = read_fields(desk / "new.toml").fields
    assert (field.latitude, field.longitude, field.crop.name) == (37.8, -84.1, "pumpkin")
    assert (
        json.loads(run("ready", "new.toml", "--on", "2026-04-20", "--json")[1])["fields"][0]["name"] == "Mill terrace"
    )


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_all_else_stays_as_it_was(run: Run, desk: Path, newline: str, mark: bytes) -> None:
    """What stood in the file stands in front of the field, byte for byte, and the line ends are its own."""
    before = mark + "# mine\ntoday = 2026-04-20   # ours\n\n".replace("\n", newline).encode()
    path = desk / "mine.toml"
    path.write_bytes(before)
    assert run("add", path, "Mill terrace", *PLACE, *COVER, *THEN)[0] == 0
    assert run("add", path, "Low meadow", *PLACE, *COVER, *THEN)[0] == 0
    after = path.read_bytes()
    assert after.startswith(before)
    assert after.count(b"\n") == after.count(newline.encode())
    assert [field.name for field in read_fields(path).fields] == ["Mill terrace", "Low meadow"]
    assert sorted(each.name for each in desk.iterdir()) == ["mine.toml", "weather.csv"]


def test_a_field_without_a_cover(run: Run, desk: Path) -> None:
    """It may be written; sow answers for it, and the others say in one line that they cannot."""
    path = old_file(desk)
    status, screen, _ = run("add", path, "Bare acre", *PLACE, *THEN)
    assert status == 0
    assert "Cover: none yet" in screen
    assert "Bare acre: sow " in screen
    said = "Bare acre: has no cover yet; covercrop sow says which to sow"
    for command in ("ready", "calendar", "beds", "weather"):
        status, screen, messages = run(command, path)
        assert (status, screen, messages.count("\n")) == (1, "", 1)
        assert said in messages
    status, _, messages = run("scout", path, "Bare acre", "--bloom", 5)
    assert (status, said.split(": ")[1] in messages) == (1, True)
    run("add", path, "Mill terrace", *PLACE, *COVER, *THEN)
    status, screen, messages = run("ready", path)
    assert (status, messages.count("\n")) == (0, 1)
    assert said in messages
    assert "Mill terrace" in screen
    assert run("ready", path, "--field", "bare acre")[0] == 1
    # A note goes to the field that it is of, though another stands before it.
    assert run("scout", path, "Mill terrace", "--bbch", 51)[0] == 0
    assert [len(entry.scouting) for entry in read_fields(path).entries] == [0, 1]
    problems = covercrop.plan_fields(read_fields(path)).problems
    assert [problem.name for problem in problems] == ["Bare acre"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((*PLACE, "--crop", "pumkin"), "unknown crop 'pumkin'; did you mean pumpkin"),
        ((*PLACE, "--cover", "vetch", "--sown", "2025-09-12", "--crop", "pumpkin"), "unknown cover 'vetch'"),
        ((*PLACE, "--cover", "hairy vetch", "--crop", "pumpkin"), "--sown is missing"),
        ((*PLACE, "--sown", "2025-09-12", "--crop", "pumpkin"), "--cover is missing"),
        ((*PLACE, "--cover", "red clover", "--sown", "9/12/2025", "--crop", "pumpkin"), "write it as 2025-09-12, or"),
        ((*PLACE, "--cover", "red clover", "--sown", "2026-09-12", "--crop", "pumpkin"), "is after 2026-04-20, today"),
        (("--at", "378", "-84.1", "--crop", "pumpkin"), "latitude = 378: give degrees north"),
        (("--at", "x", "-84.1", "--crop", "pumpkin"), "--at = 'x' is no number"),
        ((*PLACE, "--area", "12", "--crop", "pumpkin"), "--area = '12': give a number and its unit, one of m2, ft2"),
        ((*PLACE, "--area", "0acres", "--crop", "pumpkin"), "area_acres = 0: give the area in acres"),
        ((*PLACE, "--crop", "pumpkin", "--weather-file", "none.csv"), "none.csv"),
        ((*PLACE, "--crop", "pumpkin", "--method", "throw"), "method = 'throw': use one of direct-seed"),
    ],
)
def test_bad_input_writes_nothing(run: Run, desk: Path, arguments: tuple[str, ...], message: str) -> None:
    """One line each, and neither an old file is changed nor a new one made."""
    path = old_file(desk)
    before = path.read_bytes()
    status, screen, messages = run("add", path, "Mill terrace", *arguments)
    assert (status, screen, messages.count("\n")) == (1, "", 1), messages
    assert message in messages
    assert path.read_bytes() == before
    assert sorted(each.name for each in desk.iterdir()) == ["mine.toml", "weather.csv"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("field = []\n", "two|no place for another field"),
        ("x = \n", "not TOML"),
        ("[field]\nname = 1\n", "no place for another field"),
    ],
)
def test_a_file_that_takes_no_field(run: Run, desk: Path, text: str, message: str) -> None:
    """It is left as it is."""
    path = old_file(desk, text)
    status, _, messages = run("add", path, "Mill terrace", *PLACE, *THEN)
    assert (status, messages.count("\n")) == (1, 1)
    assert any(each in messages for each in message.split("|")), messages
    assert path.read_text() == text


def test_a_name_twice_and_a_folder_that_is_not_there(run: Run, desk: Path) -> None:
    """Neither is written."""
    path = old_file(desk)
    assert run("add", path, "Mill terrace", *PLACE, *THEN)[0] == 0
    before = path.read_bytes()
    assert 'two fields are named "Mill terrace"' in run("add", path, "Mill terrace", *PLACE, *THEN)[2]
    assert path.read_bytes() == before
    assert "there is no folder" in run("add", desk / "none" / "mine.toml", "Mill terrace", *PLACE, *THEN)[2]


def test_us_units_stand_in_the_file(run: Run, desk: Path) -> None:
    """A new file says them; dates, acres and feet are read as Americans write them, there and nowhere else."""
    new = ("add", "us.toml", "Mill terrace", *PLACE, "--area", "0.5 acres", "--elevation", "850ft", "--crop", "pumpkin")
    more = (
        "--cover",
        "hairy vetch",
        "--sown",
        "9/12/2025",
        "--weather-file",
        "weather.csv",
        "--weather-units",
        "metric",
    )
    status, screen, messages = run(*new, *more, "--units", "us", "--on", "2026-04-20")
    assert (status, messages) == (0, "")
    assert "soil at 60 °F" in run("ready", "us.toml", "--on", "2026-04-20", "--full")[1]
    file = read_fields(desk / "us.toml")
    (field,) = file.fields
    assert (file.units, field.cover.sown) == ("us", dt.date(2025, 9, 12))
    assert field.area_m2 == pytest.approx(0.5 * 4046.8564224)
    assert field.elevation_m == pytest.approx(850 * 0.3048)
    assert "sown Fri 12 Sep 2025" in screen
    text = (desk / "us.toml").read_text()
    american = text.replace("sown = 2025-09-12", 'sown = "9/12/2025"')
    (desk / "us.toml").write_text(american)
    assert read_fields(desk / "us.toml").fields[0].cover.sown == dt.date(2025, 9, 12)
    (desk / "us.toml").write_text(american.replace('units = "us"', 'units = "metric"', 1))
    with pytest.raises(FieldFileError, match=r"sown = '9/12/2025': write a date as 2026-04-20, without quotes$"):
        read_fields(desk / "us.toml")
    (desk / "us.toml").write_text(text.replace("area_acres = 0.5", "area_acres = 0.5\narea_ha = 0.2"))
    with pytest.raises(FieldFileError, match=r"area_ha = 0.2: area_acres is given too; keep one of them"):
        read_fields(desk / "us.toml")


# --- what looks like a slip of the pen --------------------------------------------------------------


def test_a_place_on_the_wrong_side(run: Run, desk: Path) -> None:
    """An American longitude without its minus, and a sowing in spring, are said."""
    place = ("--at", "37.8", "84.1")
    added = run("add", "us.toml", "Mill", *place, *THEN, "--units", "us", "--on", "2026-04-20")[1].replace("\n", " ")
    assert "longitude = 84.1 lies east of Greenwich" in added
    spring = ("--cover", "hairy vetch", "--sown", "2026-03-12")
    added = run("add", "new.toml", "Mill", *PLACE, *spring, *THEN, "--on", "2026-04-20", "--json")[1]
    (doubt,) = json.loads(added)["fields"][0]["check"]
    assert doubt.startswith("sown = 2026-03-12 is spring north of the equator")
    assert (
        json.loads(run("add", "c.toml", "Mill", *PLACE, *COVER, *THEN, "--on", "2026-04-20", "--json")[1])["fields"][0][
            "check"
        ]
        == []
    )


def ground(latitude: float, longitude: float, sown: str | None = None) -> Ground:
    crop = CropEntry(name="pumpkin")
    if sown is None:
        return Ground(name="Mill", latitude=latitude, longitude=longitude, crop=crop)
    cover = CoverEntry(species="crimson-clover", sown=dt.date.fromisoformat(sown))
    return Field(name="Mill", latitude=latitude, longitude=longitude, cover=cover, crop=crop)


@pytest.mark.parametrize(
    ("latitude", "longitude", "units", "doubted"),
    [
        (37.8, 84.1, "us", True),
        (37.8, -84.1, "us", False),
        (37.8, 0.0, "us", False),
        (37.8, 0.5, "us", True),
        (37.8, 84.1, "metric", False),
        (17.0, 84.1, "us", True),  # from Puerto Rico
        (16.9, 84.1, "us", False),
        (72.0, 84.1, "us", True),  # to Alaska
        (72.1, 84.1, "us", False),
    ],
)
def test_a_longitude_without_its_minus_is_doubted(
    latitude: float, longitude: float, units: Units, doubted: bool
) -> None:
    """In a file of US units, on a latitude on which there are any of its states."""
    found = adding._doubts(ground(latitude, longitude), units)
    assert [said.startswith("longitude = ") for said in found] == [True] * doubted


@pytest.mark.parametrize(
    ("latitude", "spring", "side", "sign"),
    [
        (37.8, (2, 3, 4, 5, 6), "north", "has a minus south"),
        (0.0, (2, 3, 4, 5, 6), "north", "has a minus south"),
        (-0.5, (8, 9, 10, 11, 12), "south", "has no minus north"),
    ],
)
def test_a_cover_that_is_sown_in_spring_is_doubted(
    latitude: float, spring: tuple[int, ...], side: str, sign: str
) -> None:
    """From the February of its half of the world to its June; the date may be wrong, or the sign of the latitude."""
    found = {month: adding._doubts(ground(latitude, -84.1, f"2025-{month:02}-12"), "metric") for month in range(1, 13)}
    assert tuple(month for month, said in found.items() if said) == spring
    (said,) = found[spring[0]]
    assert f" is spring {side} of the equator" in said
    assert f"or the latitude, which {sign} of it." in said
    assert adding._doubts(ground(latitude, -84.1), "metric") == ()


def test_no_station_but_on_the_other_side(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where none is near, the place with the other sign is looked at, and named."""

    def none(*_: object, **__: object) -> None:
        raise StationError("no station near")

    there = Station(id="72422", name="Bluegrass", latitude=37.8, longitude=-84.2, distance_km=9.0)
    found = [there, replace(there, name="Ohio", distance_km=30.0)]
    monkeypatch.setattr(adding, "field_weather", none)
    monkeypatch.setattr(adding, "nearest", lambda latitude, longitude, _: found if longitude == -84.1 else none())
    entry = {"name": "Mill", "latitude": 37.8, "longitude": 84.1, "crop": {"name": "pumpkin"}}
    with pytest.raises(StationError, match=r"with longitude = -84.1 Bluegrass would be 9 km away"):
        covercrop.add_field("new.toml", entry)
    with pytest.raises(StationError, match=r"^no station near$"):
        covercrop.add_field("new.toml", entry | {"longitude": 10.0})
    with pytest.raises(StationError, match=r"^no station near$"):  # that one was named, not looked for
        covercrop.add_field("new.toml", entry | {"weather": {"station": "72422"}})
    assert not (desk / "new.toml").exists()


@pytest.mark.parametrize(
    ("place", "refused"),
    [((37.8, 84.1), "longitude = 84.1"), ((-37.8, -84.1), "latitude = -37.8"), ((37.8, -84.1), ""), ((3.0, 80.0), "")],
)
def test_a_station_gives_a_wrong_sign_away(place: tuple[float, float], refused: str) -> None:
    """A named station on the other side of the meridian or the equator is told; one that is merely far off is not."""
    latitude, longitude = place
    ground = Ground(name="Mill", latitude=latitude, longitude=longitude, crop=CropEntry(name="pumpkin"))
    station = Station(id="72422", name="Bluegrass", latitude=38.0, longitude=-84.6)
    if not refused:
        weather_source._check_side(ground, station)
        return
    with pytest.raises(WeatherError, match=f"but {refused}; check the sign"):
        weather_source._check_side(ground, station)


def test_without_a_network(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The field is written, and that it could not be held against its weather is said."""

    def gone(*_: object, **__: object) -> None:
        raise OfflineError("no network")

    monkeypatch.setattr(adding, "field_weather", gone)
    entry = {"name": "Mill", "latitude": 37.8, "longitude": -84.1, "crop": {"name": "pumpkin"}}
    added = covercrop.add_field("new.toml", entry)
    assert (added.field.name, added.weather, added.unchecked) == ("Mill", None, "no network")
    assert not isinstance(added.field, Field)
    assert len(read_fields(desk / "new.toml").unsown) == 1
    assert added.units == "metric"


def test_the_day_is_that_of_the_file_then_of_the_clock(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless it is given; the weather is asked for up to it, of the field that is new."""
    asked: list[tuple[str, dt.date]] = []

    def weather(field: Ground, today: dt.date) -> str:
        asked.append((field.name, today))
        return "its weather"

    monkeypatch.setattr(adding, "field_weather", weather)
    entry = {"latitude": 37.8, "longitude": -84.1, "crop": {"name": "pumpkin"}}
    before = dt.date.today()
    added = covercrop.add_field("new.toml", entry | {"name": "First"}, units="us")
    assert (added.units, added.weather, added.unchecked, added.doubts) == ("us", "its weather", "", ())
    assert asked[0][0] == "First"
    assert before <= asked[0][1] <= dt.date.today()
    path = old_file(desk)
    for name, today, then in (("A", None, dt.date(2026, 4, 20)), ("B", "2026-05-01", dt.date(2026, 5, 1))):
        assert covercrop.add_field(path, entry | {"name": name}, today=today).field.name == name
        assert asked[-1] == (name, then)


def test_what_the_library_refuses(desk: Path) -> None:
    """No mapping, unknown units, and the demonstration."""
    with pytest.raises(UsageError, match="`field` is a str"):
        covercrop.add_field("new.toml", "Mill")  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="`units` = 'imperial'"):
        covercrop.add_field("new.toml", {"name": "Mill"}, units="imperial")  # type: ignore[arg-type]
    with pytest.raises(CovercropError, match="is the demonstration"):
        covercrop.add_field(read_fields().path, {"name": "Mill"})


# --- asking -----------------------------------------------------------------------------------------


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], list[str]]:
    """Let a terminal answer what is asked, and keep the questions."""

    def answers(*lines: str) -> list[str]:
        questions: list[str] = []
        left: Iterator[str] = iter(lines)

        def answer(question: str = "") -> str:
            questions.append(question)
            return next(left)

        monkeypatch.setattr(builtins, "input", answer)
        monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
        return questions

    return answers


def test_one_question_at_a_time(
    run: Run, desk: Path, typed: Callable[..., list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be is asked again with the reason; Enter takes the default; what was given is not asked."""
    path = old_file(desk)
    near = Station(id="72422", name="Bluegrass", latitude=38.0, longitude=-84.6, distance_km=48.2)
    monkeypatch.setattr(stations, "nearest", lambda *_: [near])
    questions = typed(
        "", "Mill terrace", "37.80", "37.80, -84.10", "", "0.5 acres",
        "hairy vech", "hairy vetch", "", "rie", "rye", "0", "30-50", "2025-13-12", "2025-09-12", "",
        "pumkin", "pumpkin", "throw", "", "straw", "105", "",
    )  # fmt: skip
    status, screen, messages = run("add", path, "--weather-file", "weather.csv", "--weather-units", "metric")
    assert (status, messages) == (0, "")
    assert len(questions) == 23
    assert sum(question.startswith("Name of the field (every answer calls it so): ") for question in questions) == 2
    assert any(question.endswith("[turn-under]: ") for question in questions)
    assert "did you mean hairy-vetch" in screen
    assert "Nearest public station: Bluegrass (72422), 48 km away." in screen
    assert "Read as Friday 12 September 2025." in screen
    (field,) = read_fields(path).fields
    assert (field.cover.species, field.crop.ground_cover, field.crop.days_to_maturity) == ("hairy-vetch", "straw", 105)
    assert (field.cover.companion, field.cover.legume_percent) == ("cereal-rye", (30, 50))
    assert "Cover: hairy vetch with cereal rye, sown" in screen


def test_questions_left_open(run: Run, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever ends the input has written nothing; a file that is not sound is told before the first question."""

    def ended(_: str) -> str:
        raise EOFError

    monkeypatch.setattr(builtins, "input", ended)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    status, _, messages = run("add", "new.toml")
    assert (status, messages) == (1, "covercrop: new.toml: nothing is written, since the questions were left open\n")
    assert not (desk / "new.toml").exists()
    assert "not TOML" in run("add", old_file(desk, "x =\n"))[2]


def test_nothing_is_asked_where_nobody_answers(run: Run, desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a terminal what is lacking is named, and nothing is made."""
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)
    status, _, messages = run("add", "new.toml", "--crop", "pumpkin")
    assert status == 2
    assert "NAME, --at LAT LON is needed; at a terminal it is asked for" in " ".join(messages.split())
    assert not (desk / "new.toml").exists()
