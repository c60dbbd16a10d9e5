"""The sweep against hand-worked sections and against a slow, independent way of doing it."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blankcam.inputs.tool import Shape
from blankcam.parts.frames import Box
from blankcam.replay import polyline
from blankcam.replay.envelope import SAGITTA
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import PLANE_AXES, MoveKind
from blankcam.replay.reader import read_program
from blankcam.replay.sweep import replay_moves, swept_heights
from blankcam.replay.tool_profile import tool_profile_of
from tests.conftest import first_then_long
from tests.replay.bench import MILL, TOOLS, tool
from tests.replay.dense import arc, bounds, path
from tests.replay.test_reader import HEAD, TAIL

X = np.linspace(-4, 4, 33) + 0.003
Y = np.linspace(-4, 4, 29) + 0.001
BY_SHAPE = {t.shape: t for t in (TOOLS[0], TOOLS[2], TOOLS[3], TOOLS[4])}


def one_move(text, number=1):
    got = read_program(HEAD.replace("T1\n", f"T{number}\n") + text + TAIL, MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    return got.moves, 3  # three rapids and the plunge come first


def between(tool, text, count=1000, aside=0.0):
    """The exact heights of a move, and the bounds a sampled sweep puts on them."""
    moves, i = one_move(text, tool.number)
    exact = swept_heights(tool_profile_of(tool), moves, i, X, Y)
    start, end = moves.start[i], moves.end[i]
    if moves.kind[i] < MoveKind.ARC_CW:
        points = path(start, end, count)
    else:
        ccw = moves.kind[i] == MoveKind.ARC_CCW
        axes = PLANE_AXES[int(moves.plane[i])]
        points = arc(start, end, moves.centre[i], ccw, axes, count)
    return exact, *bounds(tool, points, X, Y, aside)


def check(exact, low, high):
    assert np.isfinite(exact[np.isfinite(high)]).all()
    assert np.isinf(exact[np.isinf(low)]).all()
    some = np.isfinite(exact)
    assert some.any()
    assert (low[some] - exact[some]).max() < 1e-8
    some = np.isfinite(high)
    assert (exact[some] - high[some]).max() < 1e-8


LINES = ["G1 X2 Y1 Z-1", "G1 X2 Y1 Z-5", "G1 X2 Z2", "G1 Y-2 Z-.4", "G1 X2", "G1 Z-3",
         "G1 X.3 Z-3"]  # fmt: skip
ARCS = ["G3 X2 Y2 I0 J2", "G2 X2 Y2 I0 J2", "G18 G2 X3 I1.5 K-1", "G18 G3 X3 I1.5 K-1",
        "G18 G2 X3 I1.5 K1", "G18 G3 X3 I1.5 K1", "G19 G2 Y3 J1.5 K-1", "G19 G3 Y3 J1.5 K1",
        # near the sides of the circle, 0.64 rad from level, where 3, 4 and 5 make it exact
        "G18 G2 X-.4 Z1.2 I-2 K0", "G18 G3 X-.4 Z-1.2 I-2 K0",
        "G18 G3 X.4 Z1.2 I2 K0", "G19 G3 Y-.4 Z1.2 J-2 K0",
        "G18 G3 X3 I1.5 K4", "G18 G3 X3 I1.5 K-20", "G18 G2 X.5 Z-.5 I.25 K-.25"]  # fmt: skip
HELICES = ["G3 X2 Y2 I0 J2 Z-.5", "G18 G3 X3 I1.5 K4 Y1"]


@pytest.mark.parametrize("shape", first_then_long(BY_SHAPE, 2))
@pytest.mark.parametrize("text", LINES + ARCS)
def test_the_closed_form_lies_where_dense_sampling_says(shape, text):
    chain = shape in (Shape.VEE, Shape.TAPERED_BALL) and text[:3] in ("G18", "G19")
    check(*between(BY_SHAPE[shape], text, aside=SAGITTA if chain else 0.0))


@pytest.mark.parametrize("shape", BY_SHAPE)
@pytest.mark.parametrize("text", HELICES)
def test_helices_as_chords(shape, text):
    check(*between(BY_SHAPE[shape], text, aside=SAGITTA))


number = st.floats(-3, 3).map(lambda v: round(v, 3))


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(
    shape=st.sampled_from(list(BY_SHAPE)),
    end=st.tuples(number, number, number).filter(lambda e: any(abs(v) > 0.01 for v in e)),
)
def test_any_line_is_the_lower_envelope(shape, end):
    check(*between(BY_SHAPE[shape], "G1 X{} Y{} Z{}".format(*end), count=400))


def test_a_ball_along_x_cuts_its_own_section():
    moves, i = one_move("G1 X3", 3)
    got = swept_heights(
        tool_profile_of(TOOLS[2]), moves, i, np.array([1.5]), np.array([0.0, 0.9, 1.2, 1.6])
    )
    # 1.5 - sqrt(1.5² - 0.9²) = 0.3; 1.5 - sqrt(1.5² - 1.2²) = 0.6, worked by hand
    assert got[:3, 0] == pytest.approx([0.0, 0.3, 0.6])
    assert got[3, 0] == np.inf


def test_cusp_between_two_passes_is_the_handbook_value():
    """h = R - sqrt(R² - ae²/4): R 1.5, ae 0.3 gives 0.00751884 mm (shared worked vector)."""
    text = "G1 X3\nY.3\nX0"
    got = read_program(HEAD.replace("T1\n", "T3\n") + text + TAIL, MILL)
    field = Heightmap(np.array([1.5]), np.linspace(0, 0.3, 301), np.full((301, 1), 1.0))
    replay_moves(field, got.moves, {t.number: t for t in TOOLS}, MILL)
    assert field.z.max() == pytest.approx(0.00751884, abs=1e-8)
    assert field.z.min() == 0.0


def test_a_tilted_ball_groove_is_the_cylinder_over_its_cosine():
    """A ball along a line falling by t cuts z = line + r (1/cos t) - sqrt(r² - w²)/cos t ..."""
    slope = math.tan(math.radians(7))
    moves, i = one_move(f"G1 Y3 Z{-3 * slope:.9f}", 2)
    x, y = np.array([-0.3, 0.0, 0.4]), np.array([1.5])
    got = swept_heights(tool_profile_of(TOOLS[1]), moves, i, x, y)[0]
    want = [0.5 - 1.5 * slope - math.sqrt(0.25 - w * w) / math.cos(math.radians(7)) for w in x]
    assert got == pytest.approx(want, abs=1e-9)


def test_a_ball_on_an_upright_arc_cuts_the_parallel_arc():
    """Tip on radius 101.5 less the ball's own height: the surface is the arc of radius 100."""
    moves, i = one_move("G18 G3 X10 I5 K-101.3761", 3)
    x = np.array([2.0, 5.0, 8.0])
    got = swept_heights(tool_profile_of(TOOLS[2]), moves, i, x, np.array([0.0]))[0]
    arm = math.hypot(5, 101.3761)
    want = -101.3761 + 1.5 + np.sqrt((arm - 1.5) ** 2 - (x - 5) ** 2)
    assert got == pytest.approx(want, abs=1e-9)


def block_field(step=0.05):
    return Heightmap.of(Box(x0=-2, x1=6, y0=-2, y1=2, z0=-10, z1=2.0), step, step)


def swept(text, number=1, tools=TOOLS):
    got = read_program(HEAD.replace("T1\n", f"T{number}\n") + text + TAIL, MILL)
    field = block_field()
    return replay_moves(field, got.moves, {t.number: t for t in tools}, MILL), got, field


def test_depth_of_each_move_and_its_place():
    seen, _, field = swept("G1 X3\nZ-.5\nX0")
    assert seen.depth[2:6] == pytest.approx([2.0, 2.0, 0.5, 0.5])
    assert seen.place[2][2] == 0.0
    assert field.z.min() == -0.5
    assert {c.what for c in seen.contacts} == set()


def test_a_rapid_through_stock_is_seen_and_one_through_air_is_not():
    seen, got, _ = swept("G1 X3\nG0 Y1.9\nG0 Z5\nG0 X-5")
    rapid = [c for c in seen.contacts if c.what == "rapid"]
    assert len(rapid) == 1
    assert got.moves.line[rapid[0].move] == HEAD.count("\n") + 2
    assert rapid[0].deep == pytest.approx(2.0)
    seen, *_ = swept("G1 X3\nG0 X0\nG0 Z5\nG0 Z0")
    assert seen.contacts == ()


def test_neck_shank_and_holder_are_solid():
    short = tool(1, Shape.FLAT, 2.0, flute_length=1.0, reach=1.5, shank=3.0, stick_out=20.0)
    seen, *_ = swept("G1 X3", 1, (short,))
    assert {c.what for c in seen.contacts} == {"body", "shank"}
    stubby = tool(1, Shape.FLAT, 2.0, flute_length=4.0, reach=4.0, shank=2.0, stick_out=1.8)
    seen, *_ = swept("G1 X3", 1, (stubby,))
    assert {c.what for c in seen.contacts} == {"holder"}
    assert max(c.deep for c in seen.contacts) == pytest.approx(0.2)


def test_clipping_to_the_stock_changes_nothing():
    got = read_program(HEAD + "G1 X30 Y7\nG2 X0 Y0 I-15 J-3.5" + TAIL, MILL)
    tools = {t.number: t for t in TOOLS}
    big = Heightmap.of(Box(x0=-10, x1=40, y0=-10, y1=20, z0=-1, z1=2), 0.125, 0.125)
    replay_moves(big, got.moves, tools, MILL)
    small = Heightmap.of(Box(x0=-2, x1=6, y0=-2, y1=2, z0=-1, z1=2), 0.125, 0.125)
    replay_moves(small, got.moves, tools, MILL)
    rows, columns = big.window(np.array([-2, -2]), np.array([6, 2]))
    assert np.array_equal(big.z[rows, columns], small.z)


def whole(moves, field):
    """The same replay without any short cut: every move over every cell."""
    tools = {t.number: tool_profile_of(t) for t in TOOLS}
    for i in np.flatnonzero(moves.known):
        sunk = swept_heights(tools[int(moves.tool[i])], moves, int(i), field.x, field.y)
        np.minimum(field.z, sunk, out=field.z)


def profile_along_x(heights, step, arcs, turn):
    """Passes along x there and back through the heights, lines or G18 arcs between them."""
    lines = ["G0 Z9", "G0 X-1 Y0", f"G1 Z{heights[0]:.3f} F100"]
    for y, order in ((0.0, 1), (0.7, -1), (1.1, 1)):
        places = list(enumerate(heights))[::order]
        lines.append(f"G1 Y{y}")
        for (i, z), (j, nxt) in pairwise(places):
            x = -1 + step * j
            if not arcs or abs(nxt - z) > abs(step):
                lines.append(f"G1 X{x:.3f} Z{nxt:.3f}")
                continue
            # Centre on the chord's perpendicular, in the printed numbers the reader checks
            dx, dz = x - (-1 + step * i), nxt - z
            i_word, k_word = dx / 2 + turn * dz, dz / 2 - turn * dx
            code = "G3" if turn * order > 0 else "G2"
            lines.append(f"G18 {code} X{x:.3f} Z{nxt:.3f} I{i_word:.5f} K{k_word:.5f}")
    return "\n".join(lines)


height = st.floats(-0.6, 0.6).map(lambda v: round(v, 3))


@pytest.mark.property
@settings(max_examples=40, deadline=None)
@given(
    heights=st.lists(height, min_size=3, max_size=14),
    step=st.sampled_from([0.05, 0.3, 0.9]),
    arcs=st.booleans(),
    turn=st.sampled_from([2.0, -2.0, 0.7, -0.7]),
    number=st.sampled_from([1, 2, 3, 5]),
)
def test_chains_and_blocks_leave_the_same_as_every_move_over_every_cell(
    heights, step, arcs, turn, number
):
    text = profile_along_x(heights, step, arcs, turn)
    got = read_program(HEAD.replace("T1\n", f"T{number}\n") + text + TAIL, MILL)
    stock = Box(x0=-2, x1=6, y0=-2, y1=2, z0=-10, z1=2)
    quick, slow = Heightmap.of(stock, 0.06, 0.09), Heightmap.of(stock, 0.06, 0.09)
    replay_moves(quick, got.moves, {t.number: t for t in TOOLS}, MILL)
    whole(got.moves, slow)
    assert np.abs(quick.z - slow.z).max() < 1e-9


def short_moves(seed, ahead=1):
    """Chains of many short straight moves of the 3 mm ball, and the moves as read."""
    rng = np.random.default_rng(seed)
    lines = ["G0 Z9"]
    for y in (-0.4, 0.6):
        x = np.sort(np.round(rng.uniform(-3.0, 7.0, 60), 3))[::ahead]
        z = np.round(0.4 * np.sin(x) + rng.uniform(-0.05, 0.05, 60), 3)
        lines += [f"G0 X{x[0]} Y{y}", f"G1 Z{z[0]} F100"]
        lines += [f"G1 X{a} Z{b}" for a, b in zip(x[1:], z[1:], strict=True)] + ["G0 Z9"]
    got = read_program(HEAD.replace("T1\n", "T3\n") + "\n".join(lines) + TAIL, MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    return got.moves


@pytest.mark.parametrize(("seed", "ahead"), [(1, 1), (2, -1), (3, 1)])
def test_short_moves_worked_at_once_leave_what_a_tool_set_down_everywhere_leaves(seed, ahead):
    moves = short_moves(seed, ahead)
    stock = Box(x0=-2, x1=6, y0=-1, y1=1, z0=-10, z1=0.3)
    field = Heightmap.of(stock, 0.1, 0.25)
    replay_moves(field, moves, {t.number: t for t in TOOLS}, MILL)
    low, high = (np.full(field.z.shape, 0.3) for _ in range(2))
    for i in np.flatnonzero(moves.known):
        points = path(moves.start[i], moves.end[i], 40)
        below, above = bounds(TOOLS[2], points, field.x, field.y)
        low, high = np.minimum(low, below), np.minimum(high, above)
    assert (low - field.z).max() < 1e-8
    assert (field.z - high).max() < 1e-8


@pytest.mark.parametrize(("seed", "cells"), [(1, 60_000), (4, 2_500), (5, 400)])
def test_short_moves_worked_at_once_each_take_what_they_took_one_by_one(seed, cells, monkeypatch):
    """Depths and places as well; with few cells a run, also where windows lie over each other."""
    moves, tools = short_moves(seed), {t.number: t for t in TOOLS}
    monkeypatch.setattr(polyline, "CELLS", cells)
    quick = block_field()
    got = replay_moves(quick, moves, tools, MILL)
    monkeypatch.setattr(polyline, "CELLS", 1)  # none fits
    slow = block_field()
    want = replay_moves(slow, moves, tools, MILL)
    assert np.array_equal(quick.z, slow.z)
    assert np.array_equal(got.depth, want.depth)
    assert got.contacts == want.contacts
    cut = want.depth > 0
    assert cut.sum() > 50
    assert np.isnan(got.place[~cut]).all()
    form = tool_profile_of(TOOLS[2])
    for i in np.flatnonzero(cut):  # two places may be as deep: each is one the move reached
        x, y, z = got.place[i]
        assert swept_heights(form, moves, int(i), np.array([x]), np.array([y]))[
            0, 0
        ] == pytest.approx(z)


@pytest.mark.parametrize("number", [1, 3, 5])
@pytest.mark.parametrize(
    "text", [*ARCS, *HELICES, "G1 Y2\nG2 X2 I1 J0", "G1 X1 Y1 Z-.2\nX2 Y0\nX3 Y1.5 Z0\nX2"]
)
def test_replay_leaves_the_same_as_every_move_over_every_cell(text, number):
    """Arcs of all planes and a zigzag in plan, with nothing left out for being out of reach."""
    got = read_program(HEAD.replace("T1\n", f"T{number}\n") + text + TAIL, MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    stock = Box(x0=-2, x1=6, y0=-3, y1=4, z0=-10, z1=0.4)
    quick, slow = Heightmap.of(stock, 0.11, 0.13), Heightmap.of(stock, 0.11, 0.13)
    replay_moves(quick, got.moves, {t.number: t for t in TOOLS}, MILL)
    whole(got.moves, slow)
    assert np.abs(quick.z - slow.z).max() < 1e-9
