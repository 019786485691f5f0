"""Rows, hills and frames on a rectangle: counted by hand, and by their invariants."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
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


def test_frames_in_a_block() -> None:
    """Twelve frames of 2.4 by 1.2 m with 0.6 m between go on 20 m in two rows of six; 12 * 2.88 m2 by hand."""
    laid = framed(20, 10, frames=12, row_spacing=1.8, spacing=0.8, plants=1, path=0.6)
    assert (laid.rows.size, laid.spots.size) == (2, 6)
    assert laid.bed_area == pytest.approx(34.56)
    assert laid.spots_per_frame == 3
    assert laid.count == 36
    np.testing.assert_allclose(laid.spots[:2], [0.6 + 1.2, 0.6 + 1.2 + 3.0])


@given(st.floats(3, 60), st.floats(2, 60), st.integers(1, 40), st.floats(0, 2))
def test_frames_stay_on_the_field(length: float, width: float, frames: int, path: float) -> None:
    """Either all frames lie on the field without touching, or it is said that they do not go there."""
    room = int((length + path) / (2.4 + path) + 1e-6) * int((width + path) / (1.2 + path) + 1e-6)
    if room < frames:
        with pytest.raises(FieldFileError, match=f"{frames} frames .* which holds {room}"):
            framed(length, width, frames=frames, row_spacing=2, spacing=1, plants=1, path=path)
        return
    laid = framed(length, width, frames=frames, row_spacing=2, spacing=1, plants=1, path=path)
    assert laid.rows.size * laid.spots.size >= frames
    assert laid.spots[0] - 1.2 >= -1e-6
    assert laid.spots[-1] + 1.2 <= length + 1e-5
    assert laid.rows[0] - 0.6 >= -1e-6
    assert laid.rows[-1] + 0.6 <= width + 1e-5


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
