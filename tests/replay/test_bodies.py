"""Bodies of a coarse solid, against unions of squares by shapely (a general-purpose library)."""

import hypothesis.extra.numpy as hnp
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.replay.bodies import label_bodies, opened

SOLIDS = hnp.arrays(bool, st.tuples(st.integers(1, 7), st.integers(1, 9)))


def squares(solid):
    """One unit square for each solid cell, by its row and column."""
    return {
        (y, x): shapely.box(x, y, x + 1, y + 1) for y, x in zip(*np.nonzero(solid), strict=True)
    }


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(SOLIDS)
def test_bodies_are_the_regions_that_hang_together_by_sides(solid):
    labels, count = label_bodies(solid)
    assert (labels > 0).tolist() == solid.tolist()
    # Squares that meet at a corner only may be one polygon's rings elsewhere: eroded, they part.
    apart = shapely.union_all(list(squares(solid).values())).buffer(-0.1, join_style="mitre")
    regions = [g for g in shapely.get_parts(apart) if not g.is_empty]
    assert count == len(regions)
    for region in regions:
        inside = {int(labels[c]) for c, s in squares(solid).items() if s.centroid.within(region)}
        assert len(inside) == 1


@pytest.mark.property
@settings(max_examples=50, deadline=None)
@given(SOLIDS, st.lists(st.integers(1, 3), min_size=9, max_size=9))
def test_rows_and_columns_that_are_alike_change_no_body(solid, times):
    """What is drawn out to more cells has the same bodies, drawn out."""

    def drawn_out(cells):
        tall = np.repeat(cells, times[: len(cells)], axis=0)
        return np.repeat(tall, times[: cells.shape[1]], axis=1)

    labels, count = label_bodies(solid)
    found = label_bodies(drawn_out(solid))
    assert (found[0].tolist(), found[1]) == (drawn_out(labels).tolist(), count)


@pytest.mark.property
@settings(max_examples=150, deadline=None)
@given(SOLIDS, st.integers(1, 3), st.integers(1, 3))
def test_what_a_rectangle_covers_somewhere_is_left(solid, rows, columns):
    """By laying the rectangle at every place and asking shapely whether the solid covers it."""
    whole = shapely.union_all(list(squares(solid).values()))
    high, wide = solid.shape
    covered = [
        shapely.box(x, y, x + columns, y + rows)
        for y in range(high - rows + 1)
        for x in range(wide - columns + 1)
        if shapely.box(x, y, x + columns, y + rows).within(whole)
    ]
    left = shapely.union_all(covered)
    if rows > high or columns > wide:
        return
    found = opened(solid, rows, columns)
    wanted = [
        [shapely.Point(x + 0.5, y + 0.5).within(left) for x in range(wide)] for y in range(high)
    ]
    assert found.tolist() == wanted


def test_corners_do_not_hold():
    _, count = label_bodies(np.array([[True, False], [False, True]]))
    assert count == 2


def test_a_ring_is_one_body_and_its_island_another():
    ring = np.ones((5, 5), dtype=bool)
    ring[1:4, 1:4] = False
    ring[2, 2] = True
    labels, count = label_bodies(ring)
    assert count == 2
    assert labels[2, 2] != labels[0, 0]
    assert labels[0, 0] == labels[4, 4]
