"""Air programs beside the cuts they go before; limits are the profile's own."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.machine import Axis
from blankcam.inputs.machine_file import read_profile
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath import air
from tests.conftest import demo_job
from tests.proved import plan_of


@pytest.fixture(scope="module")
def nut():
    """The programs of a nut on the mill, and its blank as it comes under the cutter."""
    found = design(job_file.load(str(demo_job("concert-steel"))))
    return plan_of(found, found.nut, read_profile("bench-mill"), Stage.ROUGH).programs


def spread(program, axis):
    to = np.array([m.to[axis] for o in program.operations for m in o.moves if hasattr(m, "to")])
    return float(np.nanmin(to)), float(np.nanmax(to))


def in_air(program, stock, travel):
    return air.air_program(program, [stock], (), stock.z1, travel)


@pytest.mark.parametrize("axis", [0, 1])
def test_on_a_travel_shorter_than_the_blank_it_goes_no_further_than_the_cuts(nut, axis):
    """What the machine must reach to cut is all that it is known to reach."""
    program = nut[0]
    low, high = spread(program, axis)
    middle, half = (low + high) / 2, (high - low) / 2 + 20
    names = ("x0", "x1") if axis == 0 else ("y0", "y1")
    stock = dataclasses.replace(
        program.stock, **dict(zip(names, (middle - half, middle + half), strict=True))
    )
    short = Axis(**({"x": 500.0, "y": 500.0, "z": 100.0} | {"xy"[axis]: high - low}))
    least, most = spread(in_air(program, stock, short), axis)
    assert least >= low - 1e-9
    assert most <= high + 1e-9


def test_it_goes_round_all_of_a_blank_that_the_travel_allows(nut):
    program = nut[0]
    found = in_air(program, program.stock, Axis(x=500.0, y=500.0, z=100.0))
    for axis, ends in ((0, (program.stock.x0, program.stock.x1)),
                       (1, (program.stock.y0, program.stock.y1))):  # fmt: skip
        low, high = spread(found, axis)
        assert low <= ends[0] + 1e-9
        assert high >= ends[1] - 1e-9
