"""What goes into the page comes out again: a reader of the packed arrays written from
their words.
"""

import base64
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.preview import packing
from blankcam.preview.model import Heights


def unpacked(text, width):
    raw = np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype=np.uint8)
    planes = raw.reshape(width, -1).astype(np.uint64)
    steps = sum(planes[k] << np.uint64(8 * k) for k in range(width))
    return np.cumsum(steps) % (1 << (8 * width))


@pytest.mark.property
@given(st.lists(st.integers(0, 65535), min_size=1, max_size=50))
def test_words_come_back(values):
    got = unpacked(packing.of_words(np.array(values, dtype=np.uint16)), 2)
    assert got.tolist() == values


@pytest.mark.property
@given(st.lists(st.integers(-(2**31), 2**31 - 1), min_size=1, max_size=50))
def test_longs_come_back(values):
    got = unpacked(packing.of_longs(np.array(values, dtype=np.int64)), 4)
    assert got.astype(np.uint32).view(np.int32).tolist() == values


def grid(z):
    ny, nx = z.shape
    return Heights(
        x=0.01 + 0.02 * np.arange(nx),
        y=0.01 + 0.02 * np.arange(ny),
        z=z,
        box=(0.0, 0.02 * nx, 0.0, 0.02 * ny),
    )


def test_heights_are_within_half_a_step_and_nothing_stays_nothing():
    z = np.random.default_rng(5).uniform(0.0, 12.0, (7, 31))
    z[2, 3] = np.nan
    z[4, 5] = -np.inf
    got = packing.of_heights(grid(z))
    coded = unpacked(got["data"], 2)
    coded = coded.reshape(31, 7).T if got["columns"] else coded.reshape(7, 31)
    back = np.where(coded == 65535, np.nan, got["low"] + coded * got["step"])
    assert got["step"] < 0.0002  # 12 mm in 16 bits
    there = np.isfinite(z)
    assert np.array_equal(np.isfinite(back), there)
    assert np.max(np.abs(back[there] - z[there])) <= got["step"] / 2 + 1e-9


@pytest.mark.parametrize("columns", [False, True])
def test_a_grid_goes_along_the_side_on_which_it_is_shorter(columns):
    """Ridges that run along one side: small steps along them, of all sizes across."""
    rng = np.random.default_rng(7)
    ridges = rng.uniform(0.0, 12.0, (40, 1)) + rng.uniform(0.0, 0.002, (40, 60))
    got = packing.of_heights(grid(ridges.T if columns else ridges))
    assert got["columns"] is columns


def test_deviations_keep_a_tenth_of_a_micrometre_and_their_sign():
    off = np.array([[0.0, 0.04, -0.06, 12.34, -4999.9, np.nan]])
    coded = unpacked(packing.of_deviation(off), 2).astype(np.uint16).view(np.int16)
    assert coded.tolist() == [0, 0, -1, 123, -32767, -32768]


@pytest.mark.property
@given(st.integers(3, 40), st.integers(3, 40), st.integers(0, 2**31))
def test_thinning_hides_no_deviation(nx, ny, seed):
    """Every greatest and least value of the whole field is in the thinned one, at its own side."""
    rng = np.random.default_rng(seed)
    off = rng.normal(size=(ny, nx)) * (rng.random((ny, nx)) < 0.2)
    kept, rows, columns = packing.thinned(grid(off), 0.061, 0.081)
    got = packing.worst(off, rows, columns)
    assert got.shape == kept.z.shape
    biggest = off.ravel()[np.argmax(np.abs(off))]
    assert got.ravel()[np.argmax(np.abs(got))] == biggest


def test_thinned_heights_are_true_cells_at_their_own_places():
    z = np.arange(12 * 9, dtype=float).reshape(9, 12)
    kept, _, _ = packing.thinned(grid(z), 0.06, 0.04)
    for j, y in enumerate(kept.y):
        for i, x in enumerate(kept.x):
            assert kept.z[j, i] == z[round((y - 0.01) / 0.02), round((x - 0.01) / 0.02)]
    assert np.allclose(np.diff(kept.x), 0.06)
    assert np.allclose(np.diff(kept.y), 0.04)


def test_nothing_to_measure_stays_nothing():
    off = np.full((4, 4), np.nan)
    off[0, 0] = -3.0
    got = packing.worst(off, slice(0, None, 2), slice(0, None, 2))
    assert got[0, 0] == -3.0
    assert np.isnan(got[1, 1])
