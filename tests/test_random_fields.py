"""Random ordinary fields through every command: no traceback, no broken number, and no note that makes an answer surer
than it may.

The suite takes a few farms; `pytest tests/test_random_fields.py --hypothesis-profile=search` takes 2,000 fields.
"""

from __future__ import annotations

import datetime as dt
import json
import pickle
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, replace
from functools import cache
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented import weather

from covercrop.base.records import DailyWeather
from covercrop.cli.main import main
from covercrop.field.entries import CoverEntry, CropEntry, Field, ScoutingNote, as_of
from covercrop.models import seedling_disease
from covercrop.models.soil_temperature import GROUND_COVERS
from covercrop.models.termination import METHODS
from covercrop.parameters import catalogue
from covercrop.parameters.companions import companion_names
from covercrop.render.words.answer import headline
from covercrop.season import many
from covercrop.season.following import MOST_ALONE
from covercrop.season.plan import Plan, make_plan

FIELDS_A_FARM = 4
#: The search takes 500 farms of four fields.  Its examples differ from run to run, those of the suite do not.
SEARCHING = not settings().derandomize
FARMS = 500 if SEARCHING else 4

#: Latitude, and mean and swing of the year [degC], of places from 55 S to 60 N.
CLIMATES = {
    -55.0: (6.0, -5.0),
    -34.0: (16.0, -7.0),
    -8.0: (25.0, -1.5),
    12.0: (26.0, 2.0),
    30.5: (20.0, 9.0),
    38.0: (12.5, 12.0),
    45.0: (8.0, 15.0),
    52.0: (9.5, 8.0),
    60.0: (4.0, 13.0),
}
FIRST, LAST = "2012-01-01", "2026-08-31"
COVERS = catalogue.cover_names()
#: Half of the covers stand alone.
BESIDE = (*[None] * len(companion_names()), *companion_names())
CROPS = catalogue.crop_names()


@cache
def record(latitude: float) -> DailyWeather:
    mean, swing = CLIMATES[latitude]
    return weather(FIRST, LAST, mean=mean, swing=swing, seed=int(latitude + 90))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the weather of every place lies."""
    place = tmp_path_factory.mktemp("farms")
    for latitude in CLIMATES:
        table = record(latitude).table[["tmin_c", "tmax_c", "prcp_mm"]].round(1)
        table.rename(columns={"tmin_c": "tmin", "tmax_c": "tmax", "prcp_mm": "rain"}).to_csv(place / f"{latitude}.csv")
    return place


# --- what is drawn ----------------------------------------------------------------------------------

SEEN = st.one_of(
    st.fixed_dictionaries(
        {"bbch": st.sampled_from([9, 30, 50, 51, 53, 55, 57, 59, 60, 61, 63, 65, 67, 69, 75, 81, 89])}
    ),
    st.fixed_dictionaries({"bloom_percent": st.sampled_from([0.0, 1.0, 5.0, 10.0, 25.0, 50.0, 80.0, 100.0])}),
    st.fixed_dictionaries({"soil_c": st.floats(-5, 40).map(lambda value: round(value, 1))}),
    st.fixed_dictionaries({"height_cm": st.integers(2, 150).map(float)}),
    st.fixed_dictionaries(
        {"dry_matter_kg_ha": st.integers(100, 12_000).map(float), "nitrogen_percent": st.sampled_from([1.0, 2.5, 4.5])}
    ),
)

#: What is seen of a mixture besides.
SEEN_BESIDE = st.one_of(
    st.just({}),
    st.fixed_dictionaries({"cereal": st.sampled_from([9, 25, 30, 39, 45, 51, 61, 65, 71, 83, 92])}),
    st.fixed_dictionaries({"legume_percent": st.sampled_from([1.0, 30.0, 99.0])}),
)


@st.composite
def fields(draw: st.DrawFn, latitude: float, on: dt.date, name: str = "Test plot") -> Field:
    """A field as a grower may have it on a day, with none to five notes."""
    species = draw(st.sampled_from(COVERS))
    # Sown some time in the year and a half before; mostly in the autumn before this spring.
    ago = draw(st.one_of(st.integers(120, 300), st.integers(1, 499)))
    sown = on - dt.timedelta(days=ago)
    names = [known.name for known in catalogue.cover(species).cultivars]
    days = st.integers(1, ago) if ago else st.nothing()
    notes = draw(st.lists(st.tuples(days, SEEN), max_size=5, unique_by=lambda each: each[0]))
    ended = draw(st.none() | st.integers(30, ago)) if ago > 30 and draw(st.integers(0, 3)) == 0 else None
    planted = draw(st.none() | st.integers(1, 60)) if ended else None
    turned = sown + dt.timedelta(days=ended) if ended else None
    set_out = turned + dt.timedelta(days=planted) if turned and planted else None
    beside = draw(st.sampled_from(BESIDE))
    scouting = [
        ScoutingNote(date=sown + dt.timedelta(days=day), **seen, **(draw(SEEN_BESIDE) if beside else {}))
        for day, seen in notes
    ]
    return Field(
        name=name,
        latitude=latitude,
        longitude=-84.9,
        area_m2=draw(st.sampled_from([None, 20.0, 400.0, 9000.0])),
        cover=CoverEntry(
            species=species,
            cultivar=draw(st.sampled_from(["", *names])),
            sown=sown,
            turned_under=turned,
            terminate=draw(st.sampled_from(METHODS)),
            companion=beside,
            legume_percent=draw(st.sampled_from([None, (40.0, 40.0), (20.0, 60.0)])) if beside else None,
        ),
        crop=CropEntry(
            name=draw(st.sampled_from(CROPS)),
            method=draw(st.sampled_from(seedling_disease.METHODS)),
            ground_cover=draw(st.sampled_from(tuple(GROUND_COVERS))),
            days_to_maturity=draw(st.sampled_from([None, 55.0, 110.0])),
            planted=set_out if set_out and set_out <= on else None,
        ),
        scouting=tuple(
            sorted(
                (note for note in scouting if not (turned and note.of_the_stand and note.date > turned)),
                key=lambda note: note.date,
            )
        ),
    )


@dataclass(frozen=True)
class Farm:
    """Some fields of one place, and the day on which they are asked about."""

    latitude: float
    on: dt.date
    fields: tuple[Field, ...]


@st.composite
def farms(draw: st.DrawFn, most: int = FIELDS_A_FARM) -> Farm:
    """Fields of one place; every seventh day is drawn from the whole record, the others from its last springs."""
    latitude = draw(st.sampled_from(sorted(CLIMATES)))
    on = dt.date(2026, 1, 1) + dt.timedelta(days=draw(st.integers(-400, 242)))
    drawn = [draw(fields(latitude, on, f"Plot {number}")) for number in range(most)]
    return Farm(latitude=latitude, on=on, fields=tuple(drawn))


def toml(field: Field, weather_file: str) -> str:
    """A field as it stands in a field file."""

    def table(head: str, **values: Any) -> str:
        lines = [
            f"{key} = {json.dumps(value) if isinstance(value, str) else value}"
            for key, value in values.items()
            if value not in (None, "")
        ]
        return "\n".join([head, *lines, ""])

    crop, cover = field.crop, field.cover
    return "\n".join(
        [
            table(
                "[[field]]",
                name=field.name,
                latitude=field.latitude,
                longitude=field.longitude,
                area_m2=field.area_m2,
            ),
            table(
                "[field.cover]",
                species=cover.species,
                cultivar=cover.cultivar,
                sown=cover.sown,
                turned_under=cover.turned_under,
                terminate=cover.terminate,
                **{"with": cover.companion},
                legume_percent=cover.legume_percent and list(cover.legume_percent),
            ),
            table("[field.weather]", file=weather_file),
            table(
                "[field.crop]",
                name=crop.name,
                method=crop.method,
                ground_cover=crop.ground_cover,
                days_to_maturity=crop.days_to_maturity,
                planted=crop.planted,
            ),
            *(
                table(
                    "[[field.scouting]]",
                    date=note.date,
                    bbch=note.bbch,
                    bloom_percent=note.bloom_percent,
                    soil_c=note.soil_c,
                    height_cm=note.height_cm,
                    dry_matter_kg_ha=note.dry_matter_kg_ha,
                    nitrogen_percent=note.nitrogen_percent,
                    cereal=note.cereal,
                    legume_percent=note.legume_percent,
                )
                for note in field.scouting
            ),
        ]
    )


# --- every command -----------------------------------------------------------------------------------

#: What each command prints for a field file on a day; `{on}` stands for it.
SCREENS = (
    ("ready", "--on", "{on}"),
    ("ready", "--on", "{on}", "--full", "--units", "us"),
    ("ready", "--on", "{on}", "--due"),
    ("beds", "--on", "{on}"),
    ("weather",),
)
DOCUMENTS = (
    ("ready", "--on", "{on}", "--json"),
    ("beds", "--on", "{on}", "--json"),
    ("weather", "--json"),
)
#: What works as long for the one form as for the other: a farm of the suite draws one of the two.
LONG = (
    (("calendar", "--on", "{on}"), ("calendar", "--on", "{on}", "--json")),
    (("report", "--on", "{on}", "-o", "page.html"), ("report", "--on", "{on}", "--json", "-o", "page.html")),
)
#: Slow ones, of one field a farm.
SLOW_SCREENS = (("sow",), ("hindcast",), ("report", "--on", "{on}", "-o", "chart.svg", "--chart", "season"))
SLOW_DOCUMENTS = (("sow", "--json"), ("hindcast", "--json"))

#: A number or a date that is none.
BROKEN = re.compile(r"\b(nan|NaN|NaT|inf|-inf|None|null|1970-01-01)\b")
TABLES = ("sow", "beds")


def ran(*arguments: object) -> tuple[int, str, str]:
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err), warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            status = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            status = int(stop.code or 0)
    return status, out.getvalue(), err.getvalue()


def chances(document: Any) -> Iterator[tuple[str, float]]:
    """Every chance in a document, by its key."""
    if isinstance(document, dict):
        for key, value in document.items():
            if isinstance(value, int | float) and (key in ("p", "probability", "odds") or key.startswith("p_")):
                yield key, value
            yield from chances(value)
    elif isinstance(document, list):
        for each in document:
            yield from chances(each)


def said_in_lines(status: int, err: str, command: Sequence[str]) -> None:
    """What could not be worked out is said in lines of the program's own, with status 1; nothing else is."""
    assert status in (0, 1), (command, err)
    assert all(line.startswith("covercrop: ") for line in err.splitlines()), err
    assert (status == 1) == bool(err), (command, status, err)
    assert not BROKEN.search(err), err


def screen_of(path: Path, on: dt.date, command: Sequence[str]) -> None:
    arguments = [part.format(on=on) for part in command]
    status, out, err = ran(arguments[0], path, *arguments[1:])
    said_in_lines(status, err, command)
    assert out or status == 1
    assert not BROKEN.search(out), BROKEN.search(out)
    assert max(map(len, out.splitlines()), default=0) <= 100 or command[0] == "report"


def document_of(path: Path, on: dt.date, command: Sequence[str]) -> Any:
    arguments = [part.format(on=on) for part in command]
    status, out, err = ran(arguments[0], path, *arguments[1:])
    said_in_lines(status, err, command)
    if not out:
        assert status == 1
        return None

    def refuse(word: str) -> float:
        raise AssertionError(f"{word} in the document of {command}")

    document = json.loads(out, parse_constant=refuse)
    assert all(0 <= value <= 1 for _, value in chances(document)), command
    return document


def planned_once(patch: pytest.MonkeyPatch) -> None:
    """Plans that one command has had made, of the same fields, weather and day, are not made again for the next."""
    made: dict[bytes, list[Plan]] = {}
    make_plans = many.make_plans

    def once(asked: Sequence[Any], *, details: bool, **told: Any) -> list[Plan]:
        question = pickle.dumps((asked, details))
        if question not in made:
            made[question] = make_plans(asked, details=details, **told)
        return made[question]

    patch.setattr(many, "make_plans", once)


@settings(max_examples=FARMS, deadline=None)
@given(farms(), st.data())
def test_random_fields_through_every_command(folder: Path, farm: Farm, data: st.DataObject) -> None:
    """Every cover, crop, way, place and day, notes of all kinds: an answer or a line, and chances that are chances."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("COLUMNS", "80")
        planned_once(patch)
        path = folder / "farm.toml"
        texts = [toml(field, f"{farm.latitude}.csv") for field in farm.fields]
        path.write_text(f"today = {LAST}\n\n" + "\n".join(texts), encoding="utf-8")
        for command in SCREENS:
            screen_of(path, farm.on, command)
        answers = {command[0]: document_of(path, farm.on, command) for command in DOCUMENTS}
        assert [each["name"] for each in answers["ready"]["fields"]] == [
            field.name for field in farm.fields
        ]  # all are within 500 days of sowing: none may be missing
        for screen, document in LONG:
            as_document = data.draw(st.booleans())
            if SEARCHING or not as_document:
                screen_of(path, farm.on, screen)
            if SEARCHING or as_document:
                document_of(path, farm.on, document)
        one = folder / "one.toml"
        one.write_text(f"today = {farm.on}\n\n{texts[0]}", encoding="utf-8")
        for command in SLOW_SCREENS if SEARCHING else [data.draw(st.sampled_from(SLOW_SCREENS))]:
            screen_of(one, farm.on, command)
        for command in SLOW_DOCUMENTS if SEARCHING else [data.draw(st.sampled_from(SLOW_DOCUMENTS))]:
            document_of(one, farm.on, command)
        _, out, _ = ran("sow" if SEARCHING else "beds", one, "--csv")
        assert not BROKEN.search(out)
        seen = data.draw(SEEN)
        (key, value), *_ = seen.items()
        option = {"bbch": "--bbch", "bloom_percent": "--bloom", "soil_c": "--soil", "height_cm": "--height"}.get(key)
        for more in ((), ("--anyway",), ("--json",)):
            status, _, err = ran("scout", one, "Plot 0", option or "--dry-matter", f"{value}", "--on", farm.on, *more)
            said_in_lines(status, err, ("scout",))


# --- notes that do not fit ---------------------------------------------------------------------------


def plan_of(field: Field, on: dt.date) -> Plan:
    return make_plan(as_of(field, on), record(field.latitude), np.datetime64(on), details=False)


@settings(max_examples=2000 if SEARCHING else 60, deadline=None)
@given(st.data())
def test_a_note_in_doubt_makes_nothing_surer(data: st.DataObject) -> None:
    """Where a note contradicts the weather or another note, the headline says so and no chance is higher for it."""
    latitude = data.draw(st.sampled_from([-34.0, 30.5, 38.0, 45.0, 52.0]))
    on = dt.date(2026, 1, 1) + dt.timedelta(days=data.draw(st.integers(-60, 200)))
    field = data.draw(fields(latitude, on))
    plan = plan_of(field, on)
    alone = [doubt for doubt in plan.provenance.doubts if not doubt.confirmed and not doubt.of_soil]
    if plan.provenance.doubts:
        assert headline(plan).startswith(("Look again", "Mend or strike", "Measure the soil", "Check the sowing date"))
    if len(alone) > MOST_ALONE:
        return
    for doubt in alone:
        others = tuple(note for note in field.scouting if note != doubt.note)
        without = plan_of(replace(field, scouting=others), on)
        if without.state == "winter-killed":  # that the note shows it alive is believed
            continue
        assert not plan.window.open_now > without.window.open_now + 1e-9
        assert not plan.stand.seed_now > without.stand.seed_now + 1e-9
        assert not plan.planting.ripens > without.planting.ripens + 1e-9
        if plan.window.best is not None and without.window.best is not None:
            assert plan.window.best.probability <= without.window.best.probability + 1e-9
        # Several notes that no day goes with are left out together, and each day is as likely as without them all.
        if not plan.provenance.set_aside or len(alone) == 1:
            assert (plan.window.chances <= without.window.chances + 1e-9).all()
