"""Tools that stand out of the holder twice as far as planned: eight times the bend, F L^3 / (3 E
I).

Found in every job, on both mills, after a refit and in a load; the path itself is not touched.
"""

import dataclasses

import pytest

from blankcam.replay.codes import Code
from tests.conftest import first_then_long
from tests.faults.test_operated import EACH_JOB, LOADS, TURN_BY_TURN, ids
from tests.faults.workshop import LoadCase, case, load_case, refit_case

TWICE = 2.0


def stuck_out(profile):
    tools = (dataclasses.replace(t, stick_out=TWICE * t.stick_out) for t in profile.tools)
    return dataclasses.replace(profile, tools=tuple(tools))


def faults(made):
    longer = dataclasses.replace(made, profile=stuck_out(made.profile), known={})
    return longer.proof().faults


CASES = [(made, which) for made, which in EACH_JOB + TURN_BY_TURN if which[2] != "nut-refit"]
"""Everything with a top or a crown to be finished."""


@pytest.mark.parametrize(("made", "which"), first_then_long(
    [(refit_case, (1, "light-router", "nut-refit with its top")), *CASES], 2))  # fmt: skip
def test_a_tool_that_stands_out_twice_as_far_bends_too_far(made, which):
    """Also where a pass is deepest beyond the part's end, and shallower where it
    finishes the top.
    """
    found = faults(made(*which))
    assert {f.code for f in found} == {Code.BEND}
    assert all(3.0 < f.value < 3.0 * 1.05 * TWICE**3 for f in found)


@pytest.mark.long
@pytest.mark.parametrize(("made", "which"), ids(
    [t for t in TURN_BY_TURN if t[1][2] == "nut-refit"]))  # fmt: skip
def test_slots_cut_deeper_bring_out_no_top(made, which):
    assert faults(made(*which)) == ()


@pytest.mark.parametrize(("machine", "part"), first_then_long(LOADS))
def test_in_a_load_it_is_found_at_each_place(machine, part):
    load = load_case(machine, part).load
    blanks = {}
    for place, result in load.blanks.items():
        request = dataclasses.replace(result.request, machine=stuck_out(result.request.machine))
        blanks[place] = dataclasses.replace(result, request=request)
    longer = LoadCase(dataclasses.replace(load, blanks=blanks))
    name = next(n for n in longer.names() if "edge" in n)
    assert longer.codes(name, longer.text(name)) == {1: {Code.BEND}, 2: {Code.BEND}}


def test_the_tools_as_planned_bend_no_further_than_they_may():
    assert case(0, "bench-mill", "nut").proof().faults == ()
