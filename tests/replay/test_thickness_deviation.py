"""A face milled to its thickness: strips left, and places cut too deep, by hand-made heights."""

import numpy as np
import pytest

from blankcam.parts.stage import Stage
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.thickness_deviation import face_deviations
from tests.replay.bench import NUT

X, Y = np.linspace(-1.9, 13.9, 317), np.linspace(0.05, 7.95, 159)
STANDING = X[(X > -0.5) & (X < 12.5)]
"""What is left of the blank for the set-up on edge."""


def face(**at):
    """The finished face at height 0, but for rectangles named by their height's sign."""
    z = np.zeros((len(Y), len(X)))
    for height, (x0, x1, y0, y1) in at.values():
        inside = (x0 <= X) & (x1 >= X) & (Y[:, None] >= y0) & (Y[:, None] <= y1)
        z[inside] = height
    return Heightmap(X, Y, z)


def amounts(*faces, standing=STANDING):
    over, under = face_deviations(NUT, faces, standing, Stage.FINAL)
    return over.amount, under.amount


def test_a_face_at_its_height_is_neither():
    assert amounts(face()) == (0.0, 0.0)


@pytest.mark.parametrize(("where", "over", "under"), [
    ((0.3, (3, 4, 2, 3)), 0.3, 0.0),
    ((0.3, (13, 13.5, 2, 3)), 0.0, 0.0),  # there the blank is cut away
    ((0.3, (12.2, 12.4, 2, 3)), 0.3, 0.0),  # waste, but the jaws hold it
    ((-0.1, (3, 4, 2, 3)), 0.0, 0.1),
    ((-0.1, (12.2, 12.4, 2, 3)), 0.0, 0.0),  # beside the part
    ((-0.1, (3, 4, 7.5, 7.9)), 0.0, 0.0),  # over its top, 7.4 high at most
    ((-0.1, (3, 4, 7.2, 7.3)), 0.0, 0.1),
])  # fmt: skip
def test_left_over_it_anywhere_that_stands_and_under_it_in_the_part(where, over, under):
    assert amounts(face(one=where)) == pytest.approx((over, under))


def test_the_worst_of_all_faces_counts_and_says_where():
    small, great = face(one=(0.1, (3, 4, 2, 3))), face(one=(0.4, (9, 9.04, 5, 5.04)))
    over, _ = face_deviations(NUT, (small, great), STANDING, Stage.FINAL)
    assert over.amount == pytest.approx(0.4)
    x, y, z = over.at  # in the part's frame: y from the face into it, so 0.4 in front of it
    assert (x, y, z) == pytest.approx((9.0, -0.4, 5.0), abs=0.06)


def test_where_nothing_stands_any_more_nothing_is_left():
    assert amounts(face(one=(0.3, (3, 4, 2, 3))), standing=np.array([])) == (0.0, 0.0)
