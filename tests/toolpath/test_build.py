"""Plans: which tool, what is refused, and where the tool may go, told by independent geometry."""

import dataclasses
import math
import re

import numpy as np
import pytest

from blankcam.gcode import writer
from blankcam.gcode.header import zero_words
from blankcam.inputs import job_file
from blankcam.inputs.machine import Controller, Holding, ToolChange
from blankcam.inputs.machine_file import read_profile
from blankcam.inputs.tool import Shape
from blankcam.machining import slot_passes, slots
from blankcam.machining.cutter_contact import tip_height
from blankcam.machining.decision import HandStepKind
from blankcam.outputs.reasons import words
from blankcam.parts.design import design
from blankcam.parts.frames import Box as ProofStock
from blankcam.parts.part import FeatureKind
from blankcam.parts.stage import Stage
from blankcam.replay.proof import ProgramText, Setup
from blankcam.replay.prove import prove
from blankcam.toolpath.linearize import chords
from blankcam.toolpath.moves import ArcMove, LineMove, Rapid
from blankcam.toolpath.timing import estimate
from tests.conftest import STEEL, demo_job
from tests.proved import hand_words, in_one_program, plan_for, result_of

ROUTER = in_one_program(read_profile("light-router"))


@pytest.fixture(scope="module")
def found():
    return design(job_file.load(str(STEEL)))


@pytest.fixture(scope="module")
def blank(found):
    return dataclasses.replace(found.job.blanks.nut, thickness=found.nut.thickness)


@pytest.fixture(scope="module")
def rough(found, blank):
    return plan_for(found.nut, blank, ROUTER, "bone", Stage.ROUGH)


def test_tools_are_narrower_than_their_slots_and_long_enough(found, rough):
    by_string = {s.string: s for s in found.nut.slots}
    assert {c.string for c in rough.slots} == set(by_string)
    for choice in rough.slots:
        if choice.tool:
            assert choice.tool.diameter <= by_string[choice.string].width - 0.05
            assert choice.tool.diameter >= 0.5
            assert choice.tool.flute_length >= choice.by.depth + 0.2
            assert choice.by.depth <= 3 * choice.tool.diameter
        else:
            assert choice.reasons
            assert choice.nick is not None


def test_a_flat_tool_is_refused_for_a_round_floor(found):
    flat = dataclasses.replace(ROUTER.tools[2], shape=Shape.FLAT, number=99)
    only = dataclasses.replace(ROUTER, tools=(flat,))
    widest = max(found.nut.slots, key=lambda s: s.width)
    choice = slots.choose(found.nut, widest, only, Stage.ROUGH, by_file=False)
    assert choice.tool is None
    assert "high in its middle" in words(choice.reasons)


@pytest.mark.parametrize(
    ("radius", "ball"), [(0.7, 0.6), (0.7, 0.4), (1.37, 1.0), (0.3, 0.25), (0.5, 0.5)]
)
def test_passes_of_a_floor_leave_no_more_than_the_cusp(radius, ball):
    """The lower envelope of the balls' circles against the groove's circle, point by point.

    0.010 along the normal is the design's scallop, 0.020 upright what the proof allows.
    """
    angles = slot_passes.around(radius, ball, radius, math.pi / 2)
    off = radius - ball
    x = np.linspace(-0.999 * radius, 0.999 * radius, 4001)
    wanted = radius - np.sqrt(radius**2 - x**2)
    got = np.full_like(x, np.inf)
    for a in angles:
        cx, cz = off * math.sin(a), radius - off * math.cos(a)
        inside = np.abs(x - cx) <= ball
        low = cz - np.sqrt(np.maximum(ball**2 - (x - cx) ** 2, 0))
        got = np.minimum(got, np.where(inside, low, np.inf))
    left = np.minimum(got, radius) - wanted  # over the axis the walls stand upright
    assert float(left.min()) > -1e-9
    steep = np.abs(x) < 0.9 * radius
    assert float(left[steep].max()) <= 0.020
    assert float((radius - np.hypot(x, radius - np.minimum(got, radius))).max()) <= 0.010
    for level in np.linspace(0.9 * radius, 0.99 * radius, 50):  # and sideways at the walls
        walls = (x[z <= level] for z in (wanted, got))
        aside = abs(np.subtract(*((w.min(), w.max()) for w in walls)))
        assert float(aside.max()) <= 0.005 + (x[1] - x[0])


def test_a_ball_on_the_tilted_top_touches_and_does_not_cut(found):
    """Brute force: the ball's underside over a fine grid of the surface."""
    surface = found.nut.at(Stage.FINAL).surface
    tool = ROUTER.tool(2)
    for x0, y0 in ((3.0, 0.2), (20.0, 3.0), (40.0, 5.5)):
        (z,) = tip_height(surface, tool, np.array([x0]), np.array([y0]))
        d = np.linspace(-tool.radius, tool.radius, 801)
        x, y = np.meshgrid(x0 + d, y0 + d)
        room = tool.radius**2 - (x - x0) ** 2 - (y - y0) ** 2
        under = z + tool.radius - np.sqrt(np.where(room >= 0, room, np.nan))
        gap = np.nanmin(under - surface.height(x, y))
        assert -1e-5 < gap < 1e-4


def test_depth_at_rapid_only_in_air_beside_or_above(rough, blank):
    (program,) = rough.programs
    for operation in program.operations:
        at = None
        for move in operation.moves:
            if isinstance(move, Rapid) and at is not None and move.to[2] < at[2]:
                r, stock = operation.tool.radius, program.stock
                x, y, z = move.to
                beside = (
                    x <= stock.x0 - r or x >= stock.x1 + r
                    or y <= stock.y0 - r or y >= stock.y1 + r
                )  # fmt: skip
                assert beside or z >= blank.height or operation.name != "top"
            at = move.to


def test_every_cut_stays_over_the_jaws(rough):
    for operation in rough.programs[0].operations:
        lows = [m.to[2] for m in operation.moves if isinstance(m, (LineMove, ArcMove))]
        assert min(lows) >= rough.request.machine.holding.jaws + 0.5


@pytest.mark.parametrize(
    ("held", "said"),
    [
        (Holding(jaw_top=2.9), "grips too little"),
        (Holding(jaw_top=7.5), "within 0.5 mm of the jaws"),
        (Holding(kind="tape"), "can't hold a blank on its edge"),
        (Holding(kind="carrier"), "can't hold a blank on its edge"),
    ],
)
def test_holding_that_leaves_the_work_to_the_hand(found, blank, held, said):
    plan = plan_for(found.nut, blank, ROUTER, "bone", Stage.ROUGH, held=held)
    assert said in hand_words(plan)
    assert "top" not in [o.name for p in plan.programs for o in p.operations]


@pytest.mark.long
def test_a_machine_too_small_makes_the_slots_that_it_reaches(found, blank):
    small = dataclasses.replace(ROUTER, travel=dataclasses.replace(ROUTER.travel, x=30.0))
    plan = plan_for(found.nut, blank, small, "bone", Stage.ROUGH)
    assert "this part needs" in hand_words(plan)
    for program in plan.programs:
        at = [m.to[0] for o in program.operations for m in o.moves if hasattr(m, "to")]
        assert max(at) - min(at) <= 30.0


@pytest.mark.parametrize("out", [30.0, 80.0])
def test_tools_that_stick_out_too_far_leave_the_top_to_the_hand(found, blank, out):
    mill = read_profile("bench-mill")
    tools = tuple(dataclasses.replace(t, stick_out=out) for t in mill.tools)
    limber = dataclasses.replace(mill, tools=tools)
    said = hand_words(plan_for(found.nut, blank, limber, "bone", Stage.ROUGH))
    assert re.search(rf"stick_out {out:g} mm: bends .* 12 mm", said)


@pytest.mark.long
def test_down_a_steep_crown_z_keeps_to_the_machines_feed():
    """Three teeth in hardwood feed 800 mm/min; along this saddle's slope Z must do under 300."""
    job = job_file.load(str(demo_job("short-courses")))
    tools = tuple(dataclasses.replace(t, flutes=3) for t in ROUTER.tools)
    router = dataclasses.replace(ROUTER, tools=tools)
    job = dataclasses.replace(
        job,
        plan=dataclasses.replace(job.plan, outline="saw", ends="hand"),
        blanks=dataclasses.replace(job.blanks, material="hardwood"),
    )
    made = result_of(design(job), "saddle", router, Stage.FINAL)
    assert made.proof.passed, [str(f) for f in made.proof.faults]
    assert made.programs[0].program.operations[0].cut.feed > 700


@pytest.mark.long
def test_without_a_ball_a_flat_tool_makes_the_top_in_steps(found, blank):
    flats = dataclasses.replace(
        ROUTER, tools=tuple(t for t in ROUTER.tools if t.shape is Shape.FLAT)
    )
    plan = plan_for(found.nut, blank, flats, "bone", Stage.ROUGH)
    (top,) = (d for d in plan.decisions if d.feature.kind is FeatureKind.TOP)
    assert 0.0 < top.by.ridge <= 0.05


def test_without_a_tool_for_the_top_it_is_the_hands(found, blank):
    none = dataclasses.replace(ROUTER, tools=tuple(t for t in ROUTER.tools if t.diameter < 1.0))
    plan = plan_for(found.nut, blank, none, "bone", Stage.ROUGH)
    (top,) = (d for d in plan.decisions if d.feature.kind is FeatureKind.TOP)
    assert [s.kind for s in top.by.steps] == [HandStepKind.TOP]
    assert top.by.steps[0].values["high"] == pytest.approx(found.nut.height + found.nut.allowance)


def test_one_file_a_tool(found, blank, rough):
    by_file = dataclasses.replace(ROUTER, controller=Controller(tool_change=ToolChange.FILE))
    programs = plan_for(found.nut, blank, by_file, "bone", Stage.ROUGH).programs
    assert [p.stem for p in programs] == [f"nut-edge-{i}" for i in range(1, len(programs) + 1)]
    assert all(len(p.tools) == 1 for p in programs)
    assert [o.name for p in programs for o in p.operations] == [
        o.name for o in rough.programs[0].operations
    ]


def test_without_arcs_in_g18_the_chords_keep_to_2_um():
    """Places along each chord against the circle itself."""
    centre, r = (-100.0, 20.0), 103.0
    ends = [(centre[1] + r * math.sin(a), 1.0, centre[0] + r * math.cos(a)) for a in (-0.2, 0.15)]
    arc = ArcMove(ends[1], centre, "G18", clockwise=False, feed=100.0)
    at = ends[0]
    found = list(chords(at, arc))
    assert len(found) > 3
    for line in found:
        for t in np.linspace(0, 1, 11):
            z, x = (at[i] + t * (line.to[i] - at[i]) for i in (2, 0))
            assert abs(math.dist((z, x), centre) - r) <= 0.002
        at = line.to
    assert at == pytest.approx(ends[1])


def test_no_arcs_are_planned_where_the_controller_has_none(found, blank):
    plain = dataclasses.replace(
        ROUTER, controller=dataclasses.replace(ROUTER.controller, arc_planes=frozenset())
    )
    (program,) = plan_for(found.nut, blank, plain, "bone", Stage.ROUGH).programs
    assert not [m for o in program.operations for m in o.moves if isinstance(m, ArcMove)]


def test_outline_climbs_clear_of_the_part_and_leaves_tabs(found, blank):
    face, _ = plan_for(found.nut, blank, ROUTER, "bone", Stage.FINAL, outline="mill").programs
    (operation,) = face.operations
    r, length = operation.tool.radius, found.nut.length
    thick = blank.thickness
    ends = [m.to for m in operation.moves if isinstance(m, (LineMove, ArcMove))]
    for x, y, z in ends:
        in_tab = y < 2.0 + r - 1e-6
        assert z >= (-thick + 0.8 if in_tab else -thick - 0.5) - 1e-6
        if 0 < x < length:
            top_here = float(found.nut.top.height(np.array(x)))
            assert y - r >= top_here - 1e-3
        else:
            assert x <= -r + 1e-6 or x >= length + r - 1e-6 or y > 5
    deepest = min(z for *_, z in ends)
    assert deepest < -thick
    # Clockwise around the part: along the top to the right
    arcs = [m for m in operation.moves if isinstance(m, ArcMove)]
    assert all(a.clockwise for a in arcs)


def test_on_edge_the_plan_begins_with_what_the_outline_left(found, blank, rough):
    """Cut out, the part's own length stands, 0.3 mm higher than the stage's top; sawn,
    it all does.
    """
    _, cut_out = plan_for(found.nut, blank, ROUTER, "bone", Stage.ROUGH, outline="mill").programs
    (sawn,) = rough.programs
    xs = np.linspace(0.0, found.nut.length, 501)
    crest = float(np.max(found.nut.at(Stage.ROUGH).surface.height(xs, np.zeros_like(xs))))
    assert (cut_out.stock.x0, cut_out.stock.x1) == (0.0, found.nut.length)
    assert cut_out.stock.z1 == pytest.approx(crest + 0.3, abs=0.02)
    assert "the left end as cut" in zero_words(cut_out.zeros)
    assert sawn.stock.z1 == blank.height
    assert sawn.stock.x1 - sawn.stock.x0 == pytest.approx(blank.length)
    assert cut_out.clearance == sawn.clearance  # as high as over the whole blank
    seconds = [estimate(p, ROUTER).cutting for p in (cut_out, sawn)]
    assert seconds[0] < 0.8 * seconds[1]


def test_a_cut_out_plan_fails_on_a_blank_that_was_not_cut_out(found, blank):
    """The proof tells: the edge's program alone, on the whole blank, runs into what stands."""
    made = plan_for(found.nut, blank, ROUTER, "bone", Stage.FINAL, outline="mill")
    texts = [writer.write(p, ROUTER, "x", "0" * 16) for p in made.programs]
    over = (blank.length - found.nut.length) / 2
    stock = ProofStock(
        x0=-over, x1=found.nut.length + over, y0=0.0, y1=blank.thickness, z0=0.0, z1=blank.height
    )
    milled = frozenset(c.string for c in made.slots if c.tool)
    given = [ProgramText(name=t.name, data=t.text, setup=Setup(t.setup)) for t in texts]

    def proved(programs):
        return prove(
            programs,
            found.nut,
            stage=Stage.FINAL,
            milled=milled,
            stock=stock,
            profile=made.request.machine,
        )

    assert proved(given).passed
    alone = proved(given[1:])
    assert alone.rapid_contacts > 0
    assert not alone.passed


def test_the_last_passes_of_every_slot_leave_at_the_head_side(found, rough):
    """What breaks out breaks out at the back: from where the floor is near, passes go one way."""
    backs = 0
    for operation in rough.programs[0].operations:
        if operation.name not in ("slots", "clear"):
            continue
        passes, at = [], None  # where over x, how high before the witness face, and whether back
        for move in operation.moves:
            if isinstance(move, LineMove):
                back = move.to[1] < at[1]
                passes.append((round(move.to[0]), (move.to if back else at)[2], back))
            at = move.to
        for x, z, back in passes:
            over = z - min(other for where, other, _ in passes if where == x)
            backs += back
            assert not back or over > operation.cut.depth / 2
    assert backs > 0


def test_tape_alone_is_refused_on_a_small_face(found, blank):
    short = dataclasses.replace(blank, height=7.5)
    held = Holding(kind="tape")
    from blankcam.machining.workholding import tape_faults

    tool = ROUTER.tool(1)
    assert tape_faults("nut", held, tool, short.length * short.height)
    assert not tape_faults("nut", held, tool, 500.0)
    assert not tape_faults("nut", Holding(kind="carrier"), tool, 100.0)
