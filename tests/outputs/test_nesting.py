"""Outlines on one sheet of stock: all there, apart, inside; checked with shapely."""

from __future__ import annotations

from itertools import combinations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.faults import RefusedError
from blankcam.outputs.drawing import Drawing, Path
from blankcam.outputs.drawings.cut_offset import Offset, with_offset
from blankcam.outputs.drawings.nesting import Stock, laid_out
from blankcam.parts.curve import points
from blankcam.parts.silhouette import rectangle


def plate(size):
    chain = rectangle(5.0, -3.0, *size)
    return Drawing(paths=(Path(chain=chain, holds="outline", closed=True, cut=True),))


sizes = st.tuples(st.floats(1, 90), st.floats(1, 40))


@pytest.mark.property
@settings(deadline=None, max_examples=50)
@given(st.lists(sizes, min_size=1, max_size=12), st.floats(0.5, 5), st.floats(0, 4))
def test_nothing_overlaps_and_all_lies_on_the_sheet(plates, spacing, width):
    way = Offset(kind="tool", width=width)
    stock = Stock(width=100 + 2 * spacing, height=700, spacing=spacing)
    placed = laid_out([plate(s) for s in plates], stock, way=way)
    assert len(placed.paths) == len(plates)
    grown = with_offset(placed, way).paths
    cuts = [
        shapely.Polygon(list(points(p.chain, 1e-3)))
        for p in grown
        if width == 0 or p.holds == "tool"
    ]
    sheet = shapely.box(0, 0, stock.width, stock.height).buffer(-spacing, join_style="mitre")
    for cut in cuts:
        assert sheet.buffer(1e-6).contains(cut)
    for one, other in combinations(cuts, 2):
        assert one.distance(other) >= spacing - 1e-6


def test_a_sheet_too_small_is_refused_with_what_did_not_fit():
    with pytest.raises(RefusedError, match=r"too small for 2 outlines .*44\.0 x 9\.0 mm"):
        laid_out([plate((44, 9)), plate((44, 9))], Stock(width=60, height=20))


def test_a_wide_one_alone_is_refused_too():
    with pytest.raises(RefusedError, match="too small"):
        laid_out([plate((80, 9))], Stock(width=60, height=200))
