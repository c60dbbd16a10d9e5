"""The outline on face: its levels, its tabs, and how levels under the tabs are entered."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blankcam.inputs import job_file
from blankcam.machining import feeds, outline
from blankcam.parts import curve
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.toolpath import contouring
from blankcam.toolpath.moves import LineMove, Rapid
from blankcam.workflows.request import machine_of
from tests.conftest import demo_job, first_then_long
from tests.proved import files_of, plan_of, proved

LEFT = demo_job("left-classical")


def fewest(thick, step, tab, board):
    """By trying tops of the tabs 0.01 mm apart; never fewer than there can be."""
    least = min(outline.LEAST_THROUGH, board)
    tops = [thick / 2 + 0.01 * k for k in range(int((thick / 2 - tab) / 0.01) + 1)]
    return min(
        math.ceil(top / step - 1e-9) + math.ceil((thick + least - top) / step - 1e-9)
        for top in [*tops, thick - tab]
    )


@pytest.mark.property
@given(st.floats(1.0, 9.0), st.floats(0.1, 1.5), st.floats(0.0, 1.0))
def test_levels_are_no_deeper_than_a_step_and_few(thick, step, board):
    tab = min(max(outline.TAB_HEIGHT, outline.TAB_SHARE * thick), thick / 2)
    levels, top = outline.levels_of(thick, step, tab, board)
    drops = [a - b for a, b in zip([0.0, *levels], levels, strict=False)]
    assert all(0 < d <= step + 1e-9 for d in drops)
    assert top in levels
    assert tab - 1e-9 <= thick + top <= thick / 2 + 1e-9
    through = -levels[-1] - thick
    assert min(outline.LEAST_THROUGH, board) - 1e-9 <= through
    assert through <= min(outline.THROUGH, board) + 1e-9
    assert len(levels) <= fewest(thick, step, tab, board)


def planned(overhang, held="carrier"):
    """The left-handed job's nut on the light router from a blank so much longer at both ends."""
    found = design(job_file.load(str(LEFT)))
    blank = dataclasses.replace(found.job.blanks.nut, length=found.nut.length + 2 * overhang)
    blanks = dataclasses.replace(found.job.blanks, nut=blank)
    found = dataclasses.replace(found, job=dataclasses.replace(found.job, blanks=blanks))
    profile = machine_of(found.job, "light-router")
    profile = dataclasses.replace(
        profile, holding=dataclasses.replace(profile.holding, face=held, clamp_reach=1.0)
    )
    return found, profile, plan_of(found, found.nut, profile, Stage.ROUGH)


def proof_of(found, profile, plan):
    written = files_of(found, plan, profile)
    return proved(found, found.nut, profile, Stage.ROUGH, plan, written)


def ways_down(program):
    """What sinks at feed, (moves in the blank or at its edge, moves beside it)."""
    (operation,) = program.operations
    edge = program.stock.x0 - operation.tool.radius
    at, inside, beside = None, [], []
    for move in operation.moves:
        if isinstance(move, LineMove) and move.to[2] < at[2] - 1e-9:
            (beside if max(move.to[0], at[0]) < edge else inside).append((at, move.to))
        at = move.to
    return inside, beside


@pytest.mark.parametrize("overhang", first_then_long([1.5, 0.2, 2.9]))
def test_where_nothing_stands_beside_the_end_levels_come_in_from_the_air(overhang):
    found, profile, plan = planned(overhang)
    program = plan.programs[0]
    inside, beside = ways_down(program)
    assert not inside
    assert beside  # into the waste board, for the last level
    steep = math.tan(program.operations[0].cut.ramp)
    for (_, y0, z0), (_, y1, z1) in beside:
        assert z0 - z1 <= abs(y1 - y0) * steep + 1e-9
    (operation,) = program.operations
    rapids = [m.to for m in operation.moves if isinstance(m, Rapid)]
    deep = [p for p in rapids if p[2] < program.stock.z1 - 1.0]
    r, stock = operation.tool.radius, program.stock
    assert deep
    assert all(x < stock.x0 - r or x > stock.x1 + r or y < stock.y0 - r for x, y, _ in deep)
    assert min(z for *_, z in rapids) > program.stock.z0
    assert proof_of(found, profile, plan).passed


@pytest.mark.parametrize(
    ("overhang", "held"), first_then_long([(16.0, "clamps"), (3.1, "carrier"), (6.0, "carrier")])
)
def test_else_they_come_down_by_ramps(overhang, held):
    found, profile, plan = planned(overhang, held)
    inside, beside = ways_down(plan.programs[0])
    assert inside
    assert not beside
    assert proof_of(found, profile, plan).passed


@pytest.mark.parametrize("machine", ["bench-mill", "light-router"])
@pytest.mark.parametrize("name", ["nut", "saddle"])
def test_what_passes_an_end_last_bends_no_further_than_a_finishing_pass(name, machine):
    """F L^3 / (3 E I) of a rod of 0.8 D (Kops and Vo, CIRP Annals 39(1), 1990), E 600 GPa: 3 um.

    Deeper levels bend the tool further: those that climb away from the part, and the last pass at
    full depth finds next to nothing standing; the others into it, from as much further out.
    """
    found = design(job_file.load(str(LEFT)))
    profile = machine_of(found.job, machine)
    part = getattr(found, name)
    program = plan_of(found, part, profile, Stage.ROUGH).programs[0]
    (operation,) = (o for o in program.operations if o.name == "outline")
    cut, tool = operation.cut, operation.tool
    assert found.job.blanks.material == "bone"
    force = 240.0 * cut.chip + 6.0  # N a millimetre of depth in bone, data/materials.toml
    inertia = math.pi * (0.8 * tool.diameter) ** 4 / 64
    give = tool.stick_out**3 / (3 * 600e3 * inertia)
    high = program.stock.y1 / 3  # over the tabs, under the top
    for x, climbing, out in ((-tool.radius, 1.0, -1.0), (part.length + tool.radius, -1.0, 1.0)):
        at, lowest, last, against = (math.nan,) * 3, 0.0, math.inf, 0
        for move in operation.moves:
            beside = out * (move.to[0] - x)
            if isinstance(move, LineMove) and at[0] == move.to[0] and abs(beside) < 0.1:
                low, top = sorted((at[1], move.to[1]))
                if low < high < top:
                    assert 0.0 <= beside <= 0.003
                    last, lowest = max(0.0, lowest - move.to[2]), min(lowest, move.to[2])
                    if math.copysign(1.0, move.to[1] - at[1]) != climbing:
                        against += last > 0.0
                        assert beside - force * last * give >= -0.003
            at = move.to
        assert force * last * give <= 0.003
        assert against  # to and fro
        assert force * cut.depth * give > 0.003  # else one pass less would do


@pytest.mark.parametrize("overhang", [1.5, 4.0])
def test_a_limber_tool_climbs_on_every_level(overhang):
    """Stuck out 15 mm instead of 12 it bends nearly twice as far (L^3): into the part it never
    goes, its centre stays at its radius, and there is a way back for each level.
    """
    found, profile, _ = planned(overhang)
    tools = tuple(
        dataclasses.replace(t, stick_out=15.0) if t.number == 1 else t for t in profile.tools
    )
    profile = dataclasses.replace(profile, tools=tools)
    plan = plan_of(found, found.nut, profile, Stage.ROUGH)
    (operation,) = (o for o in plan.programs[0].operations if o.name == "outline")
    assert operation.tool.stick_out == 15.0
    assert operation.cut.bend_um > 6.0
    at, lowest, cutting = (math.nan,) * 3, {-1: 0.0, 1: 0.0}, 0
    for move in operation.moves:
        side = -1 if move.to[0] < 0 else 1
        x = -operation.tool.radius if side < 0 else found.nut.length + operation.tool.radius
        deeper = move.to[2] < lowest[side] - 1e-9
        if isinstance(move, LineMove) and at[0] == move.to[0] == pytest.approx(x, abs=0.01):
            assert move.to[0] == pytest.approx(x, abs=1e-9)
            if deeper and at[2] == move.to[2] and abs(move.to[1] - at[1]) > 1.0:
                assert math.copysign(1.0, move.to[1] - at[1]) == -side  # up the left end
                lowest[side], cutting = move.to[2], cutting + 1
        at = move.to
    assert cutting >= 8
    assert proof_of(found, profile, plan).passed


@pytest.mark.parametrize("radius", [10.0, 1.0, 0.01, 1e-6])
def test_inside_an_arc_it_is_slower_but_never_only_rubs(radius):
    """vf (Rp - r) / Rp (Sandvik, p. 108) for the tool's path of that radius; 0.0005 mm a tooth is
    0.025 of the 0.020 mm that a tool of 3 mm has in bone."""
    found = design(job_file.load(str(LEFT)))
    profile = machine_of(found.job, "bench-mill")
    tool = profile.tool(1)
    cut = feeds.plan_cut(feeds.material("bone"), tool, profile, feeds.Work.FINISH)
    way = contouring._Way(part=found.nut, tool=tool, stage=Stage.ROUGH, cut=cut, feed_up=800.0)
    inside = curve.Arc(start=(0.0, 0.0), end=(radius, radius), centre=(0.0, radius), ccw=True)
    wanted = max(cut.feed * radius / (radius + tool.radius), 0.025 * cut.feed)
    assert way.feed(inside) == pytest.approx(wanted)
