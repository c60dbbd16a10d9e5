"""Gauges: their radii measured on three points, their notches on the slots' centres."""

from __future__ import annotations

import math

import pytest

from blankcam.inputs import job_file
from blankcam.outputs.drawings import gauges
from blankcam.parts.curve import Arc, area
from blankcam.parts.design import design
from tests.conftest import EACH_DEMO_JOB


@pytest.mark.parametrize("radius", [184.15, 304.8, 406.4])  # 7 1/4, 12 and 16 in
def test_a_pair_of_gauges_fit_each_other(radius):
    """The hollow plate's arc has the radius from its sagitta (R = c²/8s + s/2) and fills up with
    the round one's: their areas together are two whole rectangles.
    """
    hollow, proud = gauges.radius_gauges("nut", radius, 45.0)
    for t, sign in ((hollow, -1), (proud, 1)):
        (arc,) = (s for s in t.chain if isinstance(s, Arc))
        middle = arc.at(0.5)
        sagitta = sign * (middle[1] - arc.start[1])
        chord = abs(arc.end[0] - arc.start[0])
        assert chord**2 / (8 * sagitta) + sagitta / 2 == pytest.approx(radius, rel=1e-9)
    width = hollow.chain[0].end[0]
    tall = hollow.chain[1].end[1]
    assert area(hollow.chain) + area(proud.chain) == pytest.approx(
        width * (tall + gauges.BODY), rel=1e-12
    )


@pytest.mark.parametrize("radius", [None, math.inf])
def test_a_flat_or_free_top_has_no_radius_gauge(radius):
    assert gauges.radius_gauges("nut", radius, 45.0) == ()


@pytest.mark.parametrize("path", EACH_DEMO_JOB)
def test_the_slot_gauge_has_a_notch_at_every_slot(path):
    nut = design(job_file.load(str(path))).nut
    gauge = gauges.slot_gauge(nut, 0.1)
    bottoms = [s.end[0] for s in gauge.chain if s.end[1] == gauges.STRIP - gauges.NOTCH_DEEP]
    assert sorted(bottoms) == pytest.approx(sorted(s.centre for s in nut.slots), abs=1e-12)
    assert len(gauge.marks) == len(nut.slots)
    assert len(gauges.slot_gauge(nut, 1.5875).chain) == 4  # a 1/8 in tool can't cut notches
