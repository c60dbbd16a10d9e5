"""Cells of a heightmap and windows on them, against each place asked by itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.parts.frames import Box
from blankcam.replay.heightmap import Heightmap

BLANK = Box(x0=-2.0, x1=14.0, y0=0.0, y1=5.0, z0=0.0, z1=8.0)


def test_a_full_blank_has_cells_of_about_that_size_all_over_it():
    got = Heightmap.of(BLANK, 0.3, 0.7)
    assert got.z.shape == (7, 53)
    assert (got.z == 8.0).all()
    assert np.diff(got.x) == pytest.approx(16 / 53)
    assert (got.x[0] - BLANK.x0, BLANK.x1 - got.x[-1]) == pytest.approx((8 / 53, 8 / 53))
    assert (got.y[0], BLANK.y1 - got.y[-1]) == pytest.approx((2.5 / 7, 2.5 / 7))


def test_a_blank_smaller_than_a_cell_has_one():
    assert Heightmap.of(BLANK, 100.0, 100.0).z.shape == (1, 1)


SPAN = st.tuples(st.floats(-4.0, 16.0), st.floats(-4.0, 16.0)).map(sorted)


@pytest.mark.property
@given(SPAN, SPAN)
def test_a_window_holds_the_centres_between(across, along):
    got = Heightmap.of(BLANK, 0.5, 0.5)
    low, high = np.array([across[0], along[0]]), np.array([across[1], along[1]])
    rows, columns = got.window(low, high)
    assert got.x[columns].tolist() == [v for v in got.x if low[0] <= v <= high[0]]
    assert got.y[rows].tolist() == [v for v in got.y if low[1] <= v <= high[1]]
    first, after = got.columns(low[:1], high[:1])
    assert (first[0], after[0]) == (columns.start, columns.stop)
    first, after = got.rows(low[1:], high[1:])
    assert (first[0], after[0]) == (rows.start, rows.stop)


def test_a_centre_on_the_bound_is_in():
    got = Heightmap(np.array([0.0, 1.0, 2.0]), np.array([0.0]), np.zeros((1, 3)))
    _, columns = got.window(np.array([1.0, 0.0]), np.array([1.0, 0.0]))
    assert columns == slice(1, 2)
