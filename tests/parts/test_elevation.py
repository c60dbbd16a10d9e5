"""Elevations, plans and sections against the solids themselves and hand-worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from blankcam.inputs import job_file
from blankcam.parts import elevation
from blankcam.parts.curve import Arc, area, points
from blankcam.parts.design import design
from blankcam.parts.offset import gaps
from blankcam.parts.stage import Stage
from tests.conftest import DEMO_JOBS, EACH_DEMO_JOB, STEEL

MICROMETRE = 0.001


@pytest.fixture(scope="module", params=EACH_DEMO_JOB)
def made(request):
    return design(job_file.load(str(request.param)))


def chains(found):
    nut, saddle = found.nut, found.saddle
    for part in (nut, saddle):
        for stage in Stage:
            yield part.at(stage).elevation()
        yield part.plan()
    yield elevation.slotted(nut)
    yield from (elevation.slot_shape(nut, s) for s in nut.slots)
    yield elevation.slot_end(nut, nut.slots[0])
    yield elevation.nut_end(nut, nut.length / 2, Stage.ROUGH)
    yield elevation.saddle_end(saddle, saddle.length / 2, Stage.FINAL)


def test_every_outline_is_closed_and_walked_counter_clockwise(made):
    for chain in chains(made):
        assert gaps(chain) < 1e-6
        assert area(chain) > 0
        assert shapely.LinearRing(list(points(chain, 1e-3))[:-1]).is_simple


def test_the_slotted_elevation_is_the_solids_front_face(made):
    """Sampled at the witness edge: the drawn outline against the height field, within 1.5 µm.

    Off the upright walls, where a height over x has no single value.
    """
    nut = made.nut
    ring = shapely.LinearRing(list(points(elevation.slotted(nut), 1e-5))[:-1])
    x = np.linspace(0.01, nut.length - 0.01, 3001)
    steep = np.zeros_like(x, dtype=bool)
    for s in nut.slots:
        steep |= np.abs(np.abs(x - s.centre) - s.radius) < 0.05 * s.radius
    x = x[~steep]
    z = nut.at(Stage.FINAL).lower(x, np.zeros_like(x))
    off = shapely.distance(shapely.points(x, z), ring)
    assert float(off.max()) < 1.5 * MICROMETRE


def test_elevations_are_the_solids_tops(made):
    for part in (made.nut, made.saddle):
        for stage in Stage:
            ring = shapely.LinearRing(list(points(part.at(stage).elevation(), 1e-5))[:-1])
            x = np.linspace(0.0, part.length, 1001)
            raised = part.allowance if stage is Stage.ROUGH else 0.0
            z = part.top.height(x) + raised
            assert shapely.distance(shapely.points(x, z), ring).max() < 1.1 * MICROMETRE


def test_a_slot_is_as_wide_and_deep_as_the_job_says(made):
    """Width gauge + clearance where the slot is deep enough; floor at the lowest point."""
    nut, job = made.nut, made.job
    for slot, string in zip(nut.slots, job.strings, strict=True):
        section = elevation.slot_section(nut, slot, 0.0)
        a0, b0, a1, _ = elevation.bounds([section])
        assert b0 == pytest.approx(slot.floor_front, abs=1e-6)
        full = string.gauge + job.nut.clearance
        assert a1 - a0 <= full + 1e-5  # an ellipse drawn as arcs
        if slot.depth_front > slot.radius * 1.2:
            assert a1 - a0 == pytest.approx(full, abs=1e-9)
        raised = elevation.slot_section(nut, slot, 0.02)
        assert elevation.bounds([raised])[1] == pytest.approx(slot.floor_front + 0.02, abs=1e-6)


def test_a_deep_slot_has_upright_walls_and_half_a_round_floor():
    """Width 1.0 mm, 2 mm deep, level: area = 1.5 x 1.0 + pi 0.25/2 (by hand)."""
    from dataclasses import replace

    from blankcam.parts.top_curve import ArcCurve

    found = design(job_file.load(str(STEEL)))
    flat = ArcCurve(z0=8.0, k=0.0, radius=math.inf, middle=20.0)
    slot = replace(found.nut.slots[0], centre=20.0, width=1.0, floor_front=6.0, tilt=0.0, yaw=0.0)
    nut = replace(found.nut, length=40.0, top=flat, tilt=0.0, slots=(slot,))
    shape = elevation.slot_shape(nut, slot)
    assert area(shape) == pytest.approx(1.5 + math.pi * 0.25 / 2, abs=1e-9)
    assert all(s.radius == pytest.approx(0.5, abs=1e-9) for s in shape if isinstance(s, Arc))
    assert area(elevation.slotted(nut)) == pytest.approx(320 - 1.5 - math.pi * 0.25 / 2, abs=1e-9)


def test_a_saddle_with_round_ends_is_a_stadium():
    """Area of a stadium: (L - t) t + pi t²/4."""
    found = next(
        d for d in (design(job_file.load(str(p))) for p in DEMO_JOBS) if d.saddle.ends == "round"
    )
    saddle = found.saddle
    t = saddle.thickness
    wanted = (saddle.length - t) * t + math.pi * t**2 / 4
    assert area(saddle.plan()) == pytest.approx(wanted, abs=1e-9)


def test_the_saddles_section_is_the_solids(made):
    """y runs to the left on the paper: the face toward the nut (y = thickness) is at 0."""
    saddle = made.saddle
    x = made.saddle.strings[1].centre
    ring = shapely.LinearRing(list(points(elevation.saddle_end(saddle, x, Stage.FINAL), 1e-6))[:-1])
    y = np.linspace(0.0, saddle.thickness, 301)
    z = saddle.at(Stage.FINAL).lower(np.full_like(y, x), y)
    assert shapely.distance(shapely.points(saddle.thickness - y, z), ring).max() < 1e-5


def test_the_ridge_drawn_from_above_goes_through_every_strings_ridge(made):
    saddle = made.saddle
    line = shapely.LineString(list(points(elevation.ridge_plan(saddle), 1e-6)))
    for seat in saddle.strings:
        assert line.distance(shapely.Point(seat.centre, seat.ridge)) < 1.1 * MICROMETRE


@pytest.mark.parametrize(
    ("arc", "box"),
    [
        (Arc((1, 0), (0, 1), (0, 0), ccw=True), (0, 0, 1, 1)),
        (Arc((1, 0), (0, 1), (0, 0), ccw=False), (-1, -1, 1, 1)),
        (Arc((0, 1), (1, 0), (0, 0), ccw=False), (0, 0, 1, 1)),
    ],
)
def test_bounds_of_arcs_by_hand(arc, box):
    assert elevation.bounds([(arc,)]) == pytest.approx(box, abs=1e-12)
