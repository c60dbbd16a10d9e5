"""Offsets against shapely's buffer, and by Steiner's formula for convex outlines."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.outputs.drawings import gauges
from blankcam.parts import offset as off
from blankcam.parts.curve import Arc, Line, area, points
from blankcam.parts.silhouette import rectangle

MICROMETRE = 0.001


def polygon(chain):
    """The outline as a polygon no further than 2e-5 mm from it."""
    return shapely.Polygon(list(points(chain, 2e-5)))


def furthest(chain, other):
    """How far the two boundaries stand apart at most, seen from each one's corners."""
    ours, theirs = polygon(chain).exterior, other.exterior
    return max(
        float(np.max(shapely.distance(shapely.points(ours.coords), theirs))),
        float(np.max(shapely.distance(shapely.points(theirs.coords), ours))),
    )


@st.composite
def tops(draw):
    """A part's outline: straight sides, and a top of arcs and lines at odd angles to each other."""
    count = draw(st.integers(1, 5))
    steps = draw(st.lists(st.floats(6, 15), min_size=count, max_size=count))
    heights = draw(st.lists(st.floats(6, 11), min_size=count + 1, max_size=count + 1))
    sags = draw(st.lists(st.floats(-0.8, 0.8), min_size=count, max_size=count))
    xs = np.cumsum([0.0, *steps])
    corners = [(float(x), z) for x, z in zip(xs, heights, strict=True)][::-1]
    back = [arc(p, q, s) for p, q, s in zip(corners, corners[1:], sags, strict=False)]
    return (
        Line((0.0, 0.0), (corners[0][0], 0.0)),
        Line((corners[0][0], 0.0), corners[0]),
        *back,
        Line(corners[-1], (0.0, 0.0)),
    )


def arc(p, q, sag):
    """From p to q, out to the right of the way by sag (to the left where negative)."""
    chord = math.dist(p, q)
    if abs(sag) < 0.01:
        return Line(p, q)
    radius = (chord**2 / 4 + sag**2) / (2 * abs(sag))
    a, b = (q[0] - p[0]) / chord, (q[1] - p[1]) / chord
    inward = math.copysign(radius - abs(sag), sag)
    middle = ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2)
    return Arc(p, q, (middle[0] - b * inward, middle[1] + a * inward), ccw=sag > 0)


@pytest.mark.property
@settings(deadline=None, max_examples=50)
@given(tops(), st.floats(0.02, 1.0))
def test_outward_is_shapelys_buffer(chain, distance):
    try:
        ours = off.offset(chain, distance)
    except ValueError:
        return  # refused, see below for when it must be
    theirs = shapely.buffer(polygon(chain), distance, quad_segs=400)
    assert furthest(ours, theirs) < MICROMETRE
    assert area(ours) == pytest.approx(theirs.area, abs=0.02 * MICROMETRE * theirs.length)
    assert off.gaps(ours) < 1e-9


@pytest.mark.property
@settings(deadline=None)
@given(tops())
def test_a_kerf_is_never_refused_on_a_top_like_these(chain):
    assert area(off.offset(chain, 0.1)) > area(chain)


@pytest.mark.property
@settings(deadline=None, max_examples=50)
@given(tops(), st.floats(0.02, 0.5))
def test_inward_is_shapelys_negative_buffer(chain, distance):
    try:
        ours = off.offset(chain, -distance)
    except ValueError:
        return
    theirs = shapely.buffer(polygon(chain), -distance, quad_segs=400)
    assert furthest(ours, theirs) < MICROMETRE


def test_steiners_formula_for_a_convex_outline():
    """Area of a convex body grown by d: A + P d + pi d² (J. Steiner, 1840)."""
    chain = rectangle(0.0, 0.0, 43.0, 9.0)
    grown = off.offset(chain, 1.5875)
    assert area(grown) == pytest.approx(43 * 9 + 104 * 1.5875 + math.pi * 1.5875**2, abs=1e-9)


def test_the_worked_kerf_example():
    """43.00 mm wanted with a kerf of 0.20 mm: drawn 43.20; a hole of 5.00 mm: 4.80 (by hand)."""
    out = [p for s in off.offset(rectangle(0, 0, 43, 9), 0.1) for p in (s.start, s.end)]
    assert max(p[0] for p in out) - min(p[0] for p in out) == pytest.approx(43.2, abs=1e-12)
    hole = [p for s in off.offset(rectangle(0, 0, 5, 5), -0.1) for p in (s.start, s.end)]
    assert max(p[0] for p in hole) - min(p[0] for p in hole) == pytest.approx(4.8, abs=1e-12)


def test_arcs_stay_arcs_about_the_same_centre():
    (hollow, _) = gauges.radius_gauges("nut", 304.8, 43.0)
    before = next(s for s in hollow.chain if isinstance(s, Arc))
    grown = off.offset(hollow.chain, 0.1)
    after = [s for s in grown if isinstance(s, Arc) and s.radius > 1]
    assert len(after) == 1
    assert after[0].centre == before.centre
    assert after[0].radius == pytest.approx(304.8 - 0.1, abs=1e-9)  # the hollow side goes in


@pytest.mark.parametrize(
    ("chain", "distance"),
    [
        (rectangle(0, 0, 4, 4), -2.0),  # nothing left
        (rectangle(0, 0, 4, 4), -3.0),
        (rectangle(0, 0, 4, 4)[:3], 0.1),  # open
        (tuple(s.reversed() for s in reversed(rectangle(0, 0, 4, 4))), 0.1),  # clockwise
    ],
)
def test_what_has_no_offset_is_refused(chain, distance):
    with pytest.raises(ValueError, match=r"outline|closes|side"):
        off.offset(chain, distance)


def test_a_notch_narrower_than_the_tool_is_refused():
    """A slot 1 mm wide and 5 mm deep: a kerf of 0.2 mm passes, a tool of 1.2 mm does not."""
    corners = [(0, 0), (20, 0), (20, 9), (10.5, 9), (10.5, 4), (9.5, 4), (9.5, 9), (0, 9)]
    chain = tuple(Line(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True))
    assert area(off.offset(chain, 0.1)) > area(chain)
    with pytest.raises(ValueError, match="close"):
        off.offset(chain, 0.6)
