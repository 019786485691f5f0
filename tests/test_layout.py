"""Rows, hills and frames on a rectangle: counted by hand, and by their invariants."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from covercrop.base.errors import FieldFileError
from covercrop.base.units import M_PER_FT
from covercrop.beds.layout import Layout, framed, rows_or_hills, sides
from covercrop.parameters import catalogue

side = st.floats(1.0, 300.0)
gap = st.floats(0.2, 6.0)


def hills(length: float, width: float, row_spacing: float, spacing: float, **more: float) -> Layout:
    """A layout of single plants."""
    return rows_or_hills(length, width, kind="hills", row_spacing=row_spacing, spacing=spacing, plants=1, **more)


def test_watermelon_hills_as_published() -> None:
    """Cornell Home Gardening: hills 3 ft apart in rows 8 ft apart, 2 to 3 plants a hill.

    By hand on 48 by 24 ft: three rows of sixteen hills.
    """
    crop = catalogue.crop("watermelon").planting
    assert crop is not None
    laid = rows_or_hills(
        48 * M_PER_FT,
        24 * M_PER_FT,
        kind=crop.layout,
        row_spacing=crop.row_spacing.value,
        spacing=crop.spacing.value,
        plants=round(crop.plants.value),
    )
    assert (laid.rows.size, laid.spots.size, laid.count) == (3, 16, 48)
    assert 2 <= laid.plants <= 3
    np.testing.assert_allclose(laid.rows / M_PER_FT, [4, 12, 20])


@pytest.mark.parametrize("apart", [3.0, 3.5, 4.5])
def test_vine_spots_wide_apart(apart: float) -> None:
    """Common practice, no source: spots of vine crops 3 to 4.5 m apart each way.

    By hand on 36 by 27 m: 12 by 9, 10 by 7 and 8 by 6 spots.
    """
    laid = hills(36, 27, apart, apart)
    by_hand = {3.0: (9, 12), 3.5: (7, 10), 4.5: (6, 8)}
    assert (laid.rows.size, laid.spots.size) == by_hand[apart]


def test_corn_has_no_paths_and_vines_have() -> None:
    """Rows 0.75 m apart are one stand; rows 2.4 m apart leave half of it as path, by default."""
    corn, vines = hills(30, 15, 0.75, 0.25), hills(30, 24, 2.4, 1.2)
    assert corn.bed == 0.75
    assert not corn.has_paths
    assert corn.path_area == pytest.approx(0)
    assert vines.bed == pytest.approx(1.2)
    assert vines.has_paths
    assert vines.bed_area == pytest.approx(10 * 1.2 * 30)
    assert vines.path_area == pytest.approx(30 * 24 / 2)


def test_a_field_smaller_than_a_spacing_still_has_a_plant() -> None:
    """One spot in the middle, and vines that reach no farther than the field."""
    laid = hills(2, 1, 3, 3)
    assert laid.count == 1
    assert (laid.rows[0], laid.spots[0]) == (0.5, 1.0)
    assert laid.vine_area == pytest.approx(2.0)


@given(side, side, gap, gap)
def test_spots_lie_inside_and_apart(length: float, width: float, row_spacing: float, spacing: float) -> None:
    """Every row and spot lies on the field, they are the spacing apart, and the middle is the middle."""
    laid = hills(length, width, row_spacing, spacing)
    for places, across, each in ((laid.rows, width, row_spacing), (laid.spots, length, spacing)):
        assert places.min() >= -1e-9
        assert places.max() <= across + 1e-9
        np.testing.assert_allclose(np.diff(places), each)
        assert places.mean() == pytest.approx(across / 2)
    assert laid.bed_area + laid.path_area == pytest.approx(laid.area)
    assert laid.vine_area <= laid.area * (1 + 1e-9)


@given(st.integers(1, 200), st.integers(1, 200), gap, gap)
def test_twice_the_length_twice_the_spots(spots: int, rows: int, row_spacing: float, spacing: float) -> None:
    """Whole numbers of spacings double exactly; anything else by one spot a row at most."""
    one = hills(spots * spacing, rows * row_spacing, row_spacing, spacing)
    two = hills(2 * spots * spacing, rows * row_spacing, row_spacing, spacing)
    assert one.count == spots * rows
    assert two.count == 2 * one.count
    loose = hills(2 * (spots + 0.7) * spacing, rows * row_spacing, row_spacing, spacing)
    assert 0 <= loose.count - two.count <= rows


def test_squares_by_hand() -> None:
    """Squares of 4 ft, 12 ft from middle to middle, 4 ft from the edge of 40 by 28 ft: three by two, in the middle."""
    foot = M_PER_FT
    laid = framed(
        40 * foot,
        28 * foot,
        row_spacing=9 * foot,
        spacing=6 * foot,
        plants=1,
        frame_length=4 * foot,
        frame_width=4 * foot,
        apart=(12 * foot, 12 * foot),
        margin=4 * foot,
    )
    assert (laid.frames, laid.counted, laid.spots_per_frame, laid.count) == (6, False, 1, 6)
    wanted = [(x, y) for y in (8, 20) for x in (8, 20, 32)]
    np.testing.assert_allclose(laid.places / foot, wanted)
    np.testing.assert_allclose(laid.frame_spots[:, 0] / foot, wanted)
    assert laid.bed_area == pytest.approx(96 * foot**2)
    assert laid.vine_area == pytest.approx(6 * 144 * foot**2)
    assert laid.reach == pytest.approx(4.5 * foot)


def test_frames_at_the_published_spacing() -> None:
    """Pumpkin, 6 ft in rows 9 ft apart: a square of 4 ft holds one and has 6 by 9 ft; 5 by 4 of them go on 30 by 36."""
    foot = M_PER_FT
    laid = framed(
        31 * foot, 36 * foot, row_spacing=9 * foot, spacing=6 * foot, plants=1, frame_length=1.2, frame_width=1.2
    )
    assert (laid.spots.size, laid.rows.size, laid.frames) == (4, 4, 16)
    assert laid.spacing == pytest.approx(6 * foot)
    assert laid.row_spacing == pytest.approx(9 * foot)
    # A frame of 8 by 4 ft holds three plants a yard apart, whose room is 9 ft.
    bed = framed(20, 10, row_spacing=4 * foot, spacing=3 * foot, plants=1, us=True)
    assert bed.spots_per_frame == 2
    assert bed.spacing == pytest.approx(8 * foot + 0.6)  # more than the 6 ft: a wheelbarrow goes between


def test_a_path_between_frames_gives_their_room() -> None:
    """A wide path is room for the vines; a narrow one leaves them what is published, beyond the path."""
    wide, narrow = (
        framed(40, 40, row_spacing=2.0, spacing=2.0, plants=1, frame_length=1.2, frame_width=1.2, path=path)
        for path in (3.0, 0.5)
    )
    assert wide.frame_room == pytest.approx(4.2**2)
    assert narrow.frame_room == pytest.approx(2.0**2)
    assert narrow.vine_area == 1600  # the field at most


def test_a_number_of_frames_is_spread_over_the_field() -> None:
    """Six frames on 36 by 27 m: the published 3 by 1.8 m, stretched alike, is three rows of two, 18 by 9 m, by hand."""
    laid = framed(36, 27, frames=6, row_spacing=1.8, spacing=0.8, plants=1)
    assert (laid.spacing, laid.row_spacing) == (18, 9)
    np.testing.assert_allclose(laid.places, [(x, y) for y in (4.5, 13.5, 22.5) for x in (9, 27)])
    assert laid.vine_area == pytest.approx(6 * 3.0 * 1.8)  # what is published, not the whole field
    ten = framed(36, 27, frames=10, row_spacing=2.4, spacing=1.2, plants=1)
    assert np.unique(ten.places[:, 1], return_counts=True)[1].tolist() == [3, 4, 3]
    seven = framed(36, 27, frames=7, row_spacing=1.8, spacing=0.8, plants=1)
    assert sorted(np.unique(seven.places[:, 1], return_counts=True)[1]) in ([3, 4], [2, 2, 3])


sides_of_frames = st.floats(0.5, 4.0)


@settings(max_examples=300)
@given(
    field=st.tuples(st.floats(3, 120), st.floats(3, 120)),
    frame=st.tuples(sides_of_frames, sides_of_frames),
    frames=st.integers(0, 60),
    apart=st.none() | st.tuples(st.floats(0.5, 8), st.floats(0.5, 8)),
    path=st.none() | st.floats(0, 5),
    margin=st.none() | st.floats(0, 4),
    crop=st.tuples(st.floats(0.3, 3), st.floats(0.3, 3)),
)
def test_frames_never_overlap_nor_leave_the_field(
    field: tuple[float, float],
    frame: tuple[float, float],
    frames: int,
    apart: tuple[float, float] | None,
    path: float | None,
    margin: float | None,
    crop: tuple[float, float],
) -> None:
    """They are refused, or there are so many, as far apart as was asked, inside the margin, and in the middle."""
    path = path if apart is None else None
    try:
        laid = framed(
            *field,
            frames=frames,
            row_spacing=crop[1],
            spacing=crop[0],
            plants=1,
            frame_length=frame[0],
            frame_width=frame[1],
            apart=apart or (None, None),
            path=path,
            margin=margin,
        )
    except FieldFileError as error:
        if not any(word in str(error) for word in ("which holds", "overlap", "too small")):
            raise
        return
    places = laid.places
    assert places.shape == (laid.frames, 2)
    assert laid.frames == (frames or laid.rows.size * laid.spots.size)
    half = np.array(frame) / 2
    edge = laid.margin - 1e-5
    assert (places - half >= edge).all()
    assert (places + half <= np.array(field) - edge).all()
    gaps = np.abs(places[:, np.newaxis] - places)
    pitch = np.array([laid.spacing, laid.row_spacing])
    others = ~np.eye(laid.frames, dtype=bool)
    assert (gaps >= pitch - 1e-6).any(axis=-1)[others].all()
    assert (pitch >= half * 2 - 1e-9).all()
    if apart is not None:
        np.testing.assert_allclose(pitch, apart)
    elif path is not None:
        np.testing.assert_allclose(pitch, np.array(frame) + path)
    else:
        assert (pitch >= np.array(laid.grid) * crop - 1e-6).all()
    np.testing.assert_allclose(places[:, 0].min() + places[:, 0].max(), field[0], atol=1e-6)
    assert (np.abs(laid.frame_spots - places[:, np.newaxis]) < half).all()
    if not frames:  # not one more would go in
        room = np.array(field) - 2 * laid.margin - frame
        assert (np.floor(room / pitch + 1e-6) + 1 == [laid.spots.size, laid.rows.size]).all()


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            {"apart": (1.0, None)},
            r"spacing = 1 m \(3.28 ft\) in \[field.beds\] lets frames overlap whose frame_length",
        ),
        ({"apart": (None, 1.1)}, r"row_spacing = 1.1 m .* lets frames overlap whose frame_width is 1.2 m"),
        (
            {"frames": 40},
            r"40 frames of 1.2 m .* do not go onto 12 m .* by 9 m .*, which holds 12; give fewer",
        ),
        ({"margin": 4.0}, r"frames of 1.2 m.* with a margin of 4 m \(13.1 ft\) do not go onto .* which holds 0"),
        ({"plants": 20}, r"a frame of 1.2 m .* by 1.2 m .* is too small for 20 plants, which take 0.3 by 0.3 m each"),
        ({"spot": 1.5}, r"spot = 1.5 m .* is more than the 1.2 m .* that each spot of a frame has"),
    ],
)
def test_frames_that_cannot_stand_are_refused(more: dict[str, object], message: str) -> None:
    """One line each, with the value and the way out."""
    given_ = {"row_spacing": 2.7, "spacing": 2.7, "plants": 1, "frame_length": 1.2, "frame_width": 1.2}
    with pytest.raises(FieldFileError, match=message) as caught:
        framed(12, 9, **(given_ | more))
    assert "\n" not in str(caught.value)


def test_a_spot_beyond_its_room_is_refused() -> None:
    """A square that is fed at a spot is no longer than the spots are apart, nor than the bed is wide."""
    with pytest.raises(FieldFileError, match=r"spot = 1.2 m .* in \[field.beds\] is more than the 1 m"):
        hills(20, 20, 3.0, 1.0, spot=1.2)


def test_the_size_of_a_field() -> None:
    """Length and width come before the area; an area alone is a square; nothing at all is refused."""
    assert sides(900.0, None, None) == (30.0, 30.0, True)
    assert sides(900.0, 45.0, 20.0) == (45.0, 20.0, False)
    with pytest.raises(FieldFileError, match=r"the size of the field is not given; add area_m2"):
        sides(None, None, None)
    with pytest.raises(FieldFileError, match=r"make 1,000 m2 .* but the area is 900 m2"):
        sides(900.0, 50.0, 20.0)


def test_a_path_as_wide_as_the_rows_is_refused() -> None:
    """There has to be a bed between two paths."""
    with pytest.raises(FieldFileError, match="leaves no bed between rows 2 m apart"):
        hills(20, 20, 2.0, 1.0, path=2.0)


@pytest.mark.parametrize(("frame", "spots"), [(1.95, 2), (1.94, 1), (2.0, 2), (2.92, 3), (2.90, 2)])
def test_a_frame_gives_by_three_hundredths(frame: float, spots: int) -> None:
    """Plants a metre apart: a frame that is short by up to three in a hundred of its length holds one more."""
    spaced = {"frames": 1, "row_spacing": 1.0, "spacing": 1.0, "plants": 1}
    along = framed(20, 20, frame_length=frame, frame_width=0.98, **spaced)
    across = framed(20, 20, frame_length=0.98, frame_width=frame, **spaced)
    assert along.spots_per_frame == across.spots_per_frame == spots
