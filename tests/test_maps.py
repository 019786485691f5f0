"""Maps of a region: what would not ripen, what lies far off, the chances asked for, outlines and names."""

from __future__ import annotations

import itertools
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from covercrop.region.across import far_off, would_not_ripen
from covercrop.region.cells import no_answers
from covercrop.region.question import MonthDay, Question
from covercrop.region.survey import Survey
from covercrop.render.figures import maps, outlines

VIEW = (-90.0, 33.0, -80.0, 41.0)


def arrays(shape: tuple[int, ...]) -> dict[str, np.ndarray]:
    """Answers that are alike everywhere."""
    found = no_answers(int(np.prod(shape)), 3).arrays()
    found = {name: each.reshape(*each.shape[:-1], *shape) for name, each in found.items()}
    found["status"][:] = 0
    found["sowing"][...] = np.datetime64("2014-09-15")
    for name, day in (
        ("window_open", 220),
        ("window_close", 240),
        ("earliest_planting", 260),
        ("latest_planting", 290),
    ):
        found[name][:] = day + np.arange(3).reshape(3, *[1] * len(shape))
    found["safe_planting"][:] = 262
    found["planting_chance"][:] = found["survival"][:] = 0.9
    found["binding_limit"][:] = 1
    return found


def survey(found: dict[str, np.ndarray], *, plant_by: MonthDay | None = None, stations: bool = False) -> Survey:
    """A region as it is asked."""
    question = Question(cover="hairy-vetch", crop="pumpkin", sown=MonthDay(9, 15), plant_by=plant_by)
    if stations:
        latitude, longitude = (
            np.array([40.0, 41, 42, 40.5, 41.5, 19.7]),
            np.array([-77.0, -76, -75, -74, -76.5, -155.1]),
        )
        return Survey(out=Path("x"), arrays=found, latitude=latitude, longitude=longitude, x=None, y=None,
                      question=question, notes=())  # fmt: skip
    x, y = np.linspace(-89.5, -80.5, 10), np.linspace(40.5, 33.5, 8)
    latitude, longitude = np.meshgrid(y, x, indexing="ij")
    return Survey(out=Path("x"), arrays=found, latitude=latitude, longitude=longitude, x=x, y=y, question=question,
                  notes=())  # fmt: skip


@pytest.fixture(scope="module", autouse=True)
def land(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A package with the shapes of two countries."""
    folder = tmp_path_factory.mktemp("land")
    package = folder / "land_of_nowhere"
    package.mkdir()
    (package / "__init__.py").touch()
    squares = {
        "Westland": [(-100, 20), (-100, 60), (-85, 60), (-85, 20)],
        "Eastland": [(-85, 20), (-85, 60), (-70, 60)],
    }
    records = b""
    for number, points in enumerate(squares.values(), start=1):
        line = np.array([*points, points[0]], dtype="<f8")
        box = np.concatenate((line.min(axis=0), line.max(axis=0))).tobytes()
        content = struct.pack("<i", 5) + box + struct.pack("<3i", 1, len(line), 0) + line.tobytes()
        records += struct.pack(">2i", number, len(content) // 2) + content
    (package / "land.shp").write_bytes(bytes(100) + records)
    columns = b"".join(name.ljust(11, b"\0") + b"C" + bytes(4) + bytes([wide]) + bytes(15)
                       for name, wide in ((b"CODE", 3), (b"NAME", 10)))  # fmt: skip
    head = struct.pack("<4xI2H20x", len(squares), 32 + len(columns) + 1, 14) + columns + b"\r"
    rows = b"".join(b" " + b"XYZ" + name.encode().ljust(10) for name in squares)
    (package / "land.dbf").write_bytes(head + rows)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(folder))
        patch.setattr(outlines, "_SHAPES", (("land_of_nowhere", "", "land", "NAME"),))
        yield


@pytest.fixture(scope="module")
def figures(land: None, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Figure]:
    """A map of a grid and one of stations, drawn but not written; in each the first column or place does not ripen."""
    kept = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Figure, "savefig", lambda self, *_, **__: (kept.append(self), self.canvas.draw()))
        for stations in (False, True):
            found = arrays((6,) if stations else (8, 10))
            found["latest_planting"][..., 0] = 200
            asked = survey(found, plant_by=MonthDay(6, 10), stations=stations)
            maps.draw(asked, tmp_path_factory.mktemp("maps") / "map.png")
    return dict(zip(("grid", "stations"), kept, strict=True))


def crossing(figure: Figure) -> list[tuple[str, str]]:
    """Pieces of text that intersect."""
    renderer = figure.canvas.get_renderer()
    texts = [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]
    boxes = [(text.get_text(), text.get_window_extent(renderer).padded(-0.5)) for text in texts]
    return [(one, other) for (one, a), (other, b) in itertools.combinations(boxes, 2) if a.overlaps(b)]


def test_what_would_not_ripen() -> None:
    """Where the likely first day lies after the last one, or there is none; not where the season has no end."""
    found = arrays((5,))
    found["latest_planting"][:, 1] = 250  # before the first safe day
    found["latest_planting"][:, 2] = np.nan  # no autumn frost
    found["earliest_planting"][:, 3] = np.nan  # never safe
    found["latest_planting"][:, 4], found["status"][4] = -1, 1  # no answer
    assert would_not_ripen(found, 1).tolist() == [False, True, False, True, False]


def test_what_lies_far_off() -> None:
    """One of many at the other end of the world; none of those that lie evenly."""
    asked = survey(arrays((6,)), stations=True)
    assert far_off(asked.latitude, asked.longitude).tolist() == [False] * 5 + [True]
    assert not far_off(asked.latitude[:5], asked.longitude[:5]).any()
    assert not far_off(np.zeros(3), np.array([179.0, -179.0, 180.0])).any()


def test_far_stations_do_not_shrink_the_rest(figures: dict[str, Figure]) -> None:
    """The map is that of the others; the far one is a diamond at its edge, and the title says so."""
    figure = figures["stations"]
    axes = figure.axes[0]
    west, east = axes.get_xlim()
    assert west < -77 < -74 < east
    assert east - west < 5
    alone = [each.get_offsets()[0].tolist() for each in axes.collections if len(each.get_offsets()) == 1]
    assert pytest.approx([west, axes.get_ylim()[0]]) in alone
    assert "1 place far off: the diamond at the edge" in figure.get_suptitle()
    assert "far off" not in figures["grid"].get_suptitle()


@pytest.mark.parametrize(("name", "unripe"), [("grid", 8), ("stations", 1)])
def test_the_chance_asked_for_is_drawn(figures: dict[str, Figure], name: str, unripe: int) -> None:
    """With a day to plant by there are two more maps; no two words intersect, names and crosses included."""
    figure = figures[name]
    titles = [axes.get_title() for axes in figure.axes if axes.get_title()]
    assert titles[4] == "Chance that the ground is plantable by 10 Jun"
    assert titles[5:] == ["Chance that the stand lives through the winter"]
    assert crossing(figure) == []
    crosses = [len(each.get_offsets()) for each in figure.axes[2].collections if each.get_zorder() == 4]
    assert crosses == [unripe]
    assert any(text.get_text() == "would likely not ripen" for text in figure.findobj(Text))


def test_outlines_and_names_are_read(figures: dict[str, Figure]) -> None:
    """What reaches into the view, by its name, named where it takes room enough; elsewhere nothing."""
    assert outlines.have_outlines()
    shapes = outlines.outlines(VIEW)
    assert [shape.name for shape in shapes] == ["Westland", "Eastland"]
    assert shapes[0].rings[0][:, 0].max() == -85
    named = {name: (x, y) for name, x, y in outlines.names(shapes, VIEW)}
    assert named["Westland"] == pytest.approx((-87.5, 37))
    assert outlines.outlines((10.0, 33.0, 20.0, 41.0)) == []
    assert "Westland" in [text.get_text() for text in figures["grid"].axes[0].texts]


def test_without_a_package_there_are_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """A map is drawn all the same."""
    monkeypatch.setattr(outlines, "_SHAPES", (("no_such_package", "", "land", "NAME"),))
    assert not outlines.have_outlines()
    assert outlines.outlines(VIEW) == []
