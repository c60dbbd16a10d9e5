"""The replay beside a general drop-cutter (opencamlib): where it says a tool touches, we agree."""

import numpy as np
import pytest

from blankcam.inputs.tool import Shape
from blankcam.replay.envelope import line_envelope
from blankcam.replay.tool_profile import tool_profile_of
from tests.conftest import library
from tests.replay.bench import TOOLS

pytestmark = pytest.mark.oracle
ocl = library("opencamlib")

BY_SHAPE = {t.shape: t for t in (TOOLS[0], TOOLS[2], TOOLS[3], TOOLS[4])}


def cutter_of(tool):
    half = np.radians(tool.angle / 2)
    if tool.shape is Shape.FLAT:
        return ocl.CylCutter(tool.diameter, 20)
    if tool.shape is Shape.BALL:
        return ocl.BallCutter(tool.diameter, 20)
    if tool.shape is Shape.VEE:
        return ocl.CylConeCutter(tool.tip_diameter, tool.diameter, half)
    return ocl.BallConeCutter(tool.tip_diameter, tool.diameter, half)


def surface(count=40):
    """Corners (count, count, 3) of a bumpy ground of triangles over 0..8 by 0..8."""
    x, y = np.meshgrid(np.linspace(0, 8, count), np.linspace(0, 8, count), indexing="ij")
    z = 1.2 * np.sin(x * 1.1) * np.cos(y * 0.9) + 0.3 * np.sin(3 * x + y)
    return np.stack((x, y, z), axis=-1)


def triangles(corners):
    a, b = corners[:-1, :-1], corners[1:, :-1]
    c, d = corners[:-1, 1:], corners[1:, 1:]
    return np.concatenate([np.stack(t, axis=2).reshape(-1, 3, 3) for t in ((a, b, c), (b, d, c))])


@pytest.mark.parametrize("shape", BY_SHAPE)
def test_a_dropped_tool_touches_and_does_not_cut(shape):
    tool = BY_SHAPE[shape]
    corners = surface()
    ground = ocl.STLSurf()
    for t in triangles(corners):
        ground.addTriangle(ocl.Triangle(*(ocl.Point(*map(float, p)) for p in t)))
    drop = ocl.BatchDropCutter()
    drop.setSTL(ground)
    cutter = cutter_of(tool)  # kept in a name: the library holds no reference of its own
    drop.setCutter(cutter)
    rng = np.random.default_rng(3)
    for x, y in rng.uniform(2, 6, (60, 2)):
        drop.appendPoint(ocl.CLPoint(float(x), float(y), -9.0))
    drop.run()
    form = tool_profile_of(tool)
    for point in drop.getCLPoints():
        at = (point.x, point.y, point.z)
        touch = point.getCC()
        mine = line_envelope(form, at, at, np.array([touch.x]), np.array([touch.y]))[0, 0]
        assert mine == pytest.approx(touch.z, abs=1e-5)
        near = corners[np.hypot(*(corners[..., :2] - at[:2]).transpose(2, 0, 1)) < form.radius]
        own = [line_envelope(form, at, at, p[:1], p[1:2])[0, 0] for p in near]
        assert (np.array(own) >= near[:, 2] - 1e-6).all()
