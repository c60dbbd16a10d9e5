"""The bend of the passes that bring out a top.

Check values: F L^3 / (3 E I) of a rod of 0.8 D, the equivalent diameter of an end mill (Kops and
Vo, CIRP Annals 39(1), 1990), E 600 GPa; worked by hand. Brass: a published table by VDI 3323 group.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from blankcam.inputs import job_file
from blankcam.inputs.tool import Shape, Tool
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.replay.bending import compliance, pressure
from blankcam.replay.codes import Code
from blankcam.replay.cutting_data import row_of
from blankcam.workflows.request import machine_of
from tests.conftest import demo_job
from tests.proved import plan_of, proved, unproven


def tool(diameter, stick_out, **more):
    known = {"shape": Shape.FLAT, "flute_length": 3.0, "reach": 3.0, "shank": diameter}
    return Tool(number=1, diameter=diameter, stick_out=stick_out, **(known | more))


@pytest.mark.parametrize(
    ("force", "long", "diameter", "um"),
    [(1.25, 3.0, 1.0, 0.93255), (7.5, 9.0, 3.0, 1.86510), (7.5, 12.0, 3.0, 4.42097)],
)
def test_a_tool_bends_as_a_rod_of_four_fifths_of_its_diameter(force, long, diameter, um):
    assert 1000 * force * compliance(tool(diameter, long)) == pytest.approx(um, rel=2e-5)


def test_a_neck_bends_on_a_shank_that_bends_less():
    """1 mm wide for 3 mm, then a shank of 3 mm up to 9 mm: both lengths by the same formula."""
    thin, thick = (np.pi * (0.8 * d) ** 4 / 64 for d in (1.0, 3.0))
    by_hand = (3.0**3 / thin + (9.0**3 - 3.0**3) / thick) / (3 * 600e3)
    assert compliance(tool(1.0, 9.0, shank=3.0)) == pytest.approx(by_hand, rel=1e-4)


def test_a_cone_bends_less_than_its_tip_and_more_than_its_shank():
    cone = tool(3.0, 12.0, shape=Shape.TAPERED_BALL, tip_diameter=1.0, angle=10.0, reach=10.0)
    assert compliance(tool(3.0, 12.0)) < compliance(cone) < compliance(tool(1.0, 12.0))


def test_a_thinner_chip_presses_less_in_all_but_more_for_its_thickness():
    """240 MPa and 6 N/mm of edge in bone: at 20 um 540 MPa or 10.8 N/mm, at 5 um 1440 or 7.2."""
    found = pressure(row_of("bone"), np.array([0.020, 0.005]))
    assert found == pytest.approx([540.0, 1440.0])
    assert found * [0.020, 0.005] == pytest.approx([10.8, 7.2])


def test_brass_presses_as_the_power_law_of_its_group_says():
    """kc1 hm^-mc: 700 MPa and 0.27 give 2926.69 to 1571.72 MPa; ours at its high end, 850."""
    chips = np.array([0.005, 0.01, 0.02, 0.05])
    wanted = np.array([2926.69, 2427.16, 2012.89, 1571.72]) * 850 / 700
    assert pressure(row_of("brass"), chips) == pytest.approx(wanted, rel=1e-5)


@pytest.fixture(scope="module")
def concert():
    return design(job_file.load(str(demo_job("concert-steel"))))


def faults(found, name, stage, longer):
    """Codes with their values where the tools stand out of the holder by so much more
    than planned.
    """
    profile = machine_of(found.job, "bench-mill")
    part = getattr(found, name)
    plan = plan_of(found, part, profile, stage)
    written = unproven(found, name, profile, stage).programs
    tools = tuple(
        dataclasses.replace(t, stick_out=t.stick_out * longer) for t in plan.request.machine.tools
    )
    held = dataclasses.replace(plan.request.machine, tools=tools)
    changed = dataclasses.replace(plan, request=dataclasses.replace(plan.request, machine=held))
    return proved(found, part, held, stage, changed, written).faults


@pytest.mark.parametrize("name", ["nut", "saddle"])
def test_a_top_is_finished_with_no_more_bend_than_the_table_lets(concert, name):
    assert faults(concert, name, Stage.FINAL, 1.0) == ()


@pytest.mark.parametrize("name", ["nut", "saddle"])
def test_a_tool_that_stands_out_further_than_planned_bends_too_far(concert, name):
    """Half as far again: three and a third times the bend."""
    found = faults(concert, name, Stage.FINAL, 1.5)
    assert {f.code for f in found} == {Code.BEND}
    assert max(f.value for f in found) < 3.0 * 1.5**3 * 1.05
    assert all(f.value > f.limit == 3.0 for f in found)


def test_a_top_that_the_hand_goes_over_is_not_asked_about(concert):
    """A rough nut's ridges are filed away; what stands on a rough crown is read through strings."""
    assert Code.BEND not in {f.code for f in faults(concert, "nut", Stage.ROUGH, 1.5)}
    assert Code.BEND in {f.code for f in faults(concert, "saddle", Stage.ROUGH, 1.5)}
