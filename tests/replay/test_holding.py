"""What stays held, against shapely's unions and differences (a general-purpose library).

A blank of 40 x 10 x 5 mm lies on a waste board, the part in its middle 32 mm; a flat tool of 2 mm
cuts through along straight ways. Sizes of tabs and pieces are data/proof.toml's.
"""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from blankcam.inputs.machine import Holding
from blankcam.inputs.tool import Shape
from blankcam.parts.frames import Box
from blankcam.replay.codes import Code
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.holding import HeldBlank, check_grip, check_on_edge
from blankcam.replay.reader import read_program
from tests.replay.bench import MILL, tool

LENGTH, HIGH, THICK = 32.0, 10.0, 5.0
STOCK = Box(x0=-4.0, x1=36.0, y0=0.0, y1=THICK, z0=0.0, z1=HIGH)
TOOL = tool(6, Shape.FLAT, 2.0)
THROUGH = -THICK - 0.2
HEAD = "G21 G17 G90 G94 G40\nG49\nG54\nT6\nG0 Z5\nS8000 M3\nG4 P3\n"
TAIL = "M5\nM30\n"
GLUED, CLAMPED = Holding(face="carrier"), Holding(face="clamps")


def way(*points, z=THROUGH):
    """A way through the points at a depth, down into it and up again."""
    (x, y), *more = points
    lines = [f"G0 X{x:.4f} Y{y:.4f}", f"G1 Z{z:.4f} F60"]
    return "\n".join([*lines, *(f"G1 X{a:.4f} Y{b:.4f} F200" for a, b in more), "G0 Z5\n"])


def check(*ways, holding=GLUED, wide=TOOL):
    """What is found of ways cut one after the other."""
    program = read_program(HEAD + "".join(ways) + TAIL, MILL)
    assert program.findings == ()
    found = Collector()
    HeldBlank(STOCK, holding, LENGTH, 4.0).check(program, {6: wide}, found)
    return found.kept


def codes(*ways, **more):
    return {f.code for f in check(*ways, **more)}


LEFT, RIGHT = -1.0, LENGTH + 1.0
"""X of the tool's middle along the part's ends."""


def down_an_end(x, to, z=THROUGH):
    """Beside an end from above the blank's top down to a height over the seat side."""
    return way((x, HIGH + 2), (x, to + 1.0), z=z)


def tab(height):
    """Z of a level that leaves a tab of a height on the board."""
    return height - THICK


@pytest.mark.parametrize("x", [LEFT, RIGHT])
@pytest.mark.parametrize(("width", "height", "code"), [
    (2.5, 5.0, None), (2.1, 5.0, None), (1.7, 5.0, Code.TAB), (1.0, 5.0, Code.TAB),
    (2.5, 1.55, None), (2.5, 1.492, None), (2.5, 1.485, Code.TAB), (2.5, 1.45, Code.TAB), (2.5, 0.5, Code.TAB),
    (0.0, 0.0, Code.CUT_FREE), (-3.0, 0.0, Code.CUT_FREE),
])  # fmt: skip
def test_tabs_have_their_width_and_height(x, width, height, code):
    """2 mm along the end, and 0.3 of the 5 mm of the blank, more than 0.8 mm, printed rounded."""
    across = way((x, 9.0), (x, -2.0), z=tab(height)) if 0 < height < THICK else ""
    assert codes(down_an_end(x, width), across) == ({code} if code else set())


def test_a_thin_blank_wants_no_tab_over_half_of_it():
    thin = dataclasses.replace(STOCK, y1=1.4)
    blank = HeldBlank(thin, GLUED, LENGTH, 4.0)
    assert blank.tab - blank.box.z0 == pytest.approx(0.7)
    half = HeldBlank(dataclasses.replace(STOCK, y1=2.0), GLUED, LENGTH, 4.0)
    assert half.tab - half.box.z0 == pytest.approx(0.8)


def test_what_is_milled_off_the_face_first_is_no_height_of_a_tab():
    thick = dataclasses.replace(STOCK, y0=-1.0)
    blank = HeldBlank(thick, GLUED, LENGTH, 4.0)
    assert blank.tab - blank.box.z0 == pytest.approx(0.3 * THICK)


def test_the_move_that_cuts_loose_is_named_once():
    ways = [down_an_end(LEFT, 0.0), down_an_end(RIGHT, 0.0)]
    first, *more = check(*ways)
    assert more == []
    lines = (HEAD + "".join(ways)).split("\n")
    assert lines[first.line - 1] == f"G1 X{LEFT:.4f} Y1.0000 F200"
    assert first.value == pytest.approx(2.0 * HIGH, abs=1.5)  # 4 mm of waste less the 2 mm cut


def test_a_piece_milled_away_afterwards_was_loose_before():
    ways = [down_an_end(LEFT, 0.0), way((-3.0, HIGH + 2), (-3.0, -2.0))]
    assert codes(*ways) == {Code.CUT_FREE}
    assert codes(ways[1], ways[0]) == set()  # from outside inward nothing ever comes loose


@pytest.mark.parametrize(("side", "code"), [(0.8, None), (1.2, Code.CUT_FREE)])
def test_a_chip_is_no_piece(side, code):
    """A square corner of the blank between two ways: 0.64 or 1.44 mm2, where 1 is the limit."""
    x, y = STOCK.x0 + side + 1.0, side + 1.0
    corner = way((-6.0, y), (x, y), (x, -2.0))
    assert codes(corner) == ({code} if code else set())


TOP_WASTE = way((LEFT, 5.0), (LEFT, 8.5), (RIGHT, 8.5), (RIGHT, 5.0))
"""Over the part's top: what lies beyond hangs on the waste at the ends."""


@pytest.mark.parametrize(("holding", "code"), [(GLUED, None), (CLAMPED, Code.CUT_FREE)])
def test_waste_over_the_top_is_held_by_glue_alone(holding, code):
    cut = way((-5.0, 8.0), (LENGTH + 5.0, 8.0))
    assert codes(cut, holding=holding) == ({code} if code else set())
    assert codes(TOP_WASTE, holding=holding) == set()


# -- against shapely -------------------------------------------------------------------------

PLAN = shapely.box(STOCK.x0, 0.0, STOCK.x1, HIGH)
HALVES = (shapely.box(-9.0, -9.0, LENGTH / 2, 30.0), shapely.box(LENGTH / 2, -9.0, 50.0, 30.0))
MIDDLE = shapely.Point(LENGTH / 2, 4.0)
SEAT = shapely.box(STOCK.x0, 0.0, STOCK.x1, 1.95)
GRID = 0.2
"""mm: cells of the solid are 0.25 by 0.1 mm; necks and pieces nearer to a limit are not asked."""


def largest_loose(ways, radius, holding):
    """Plan area of the largest loose piece after any of the ways, mm2, by solid differences."""
    worst, left = 0.0, PLAN
    for points in ways:
        for a, b in itertools.pairwise(points):
            cut = shapely.LineString((a, b)).buffer(radius, quad_segs=32)
            left = shapely.make_valid(left.difference(cut, grid_size=1e-6))
            for half in HALVES:
                for piece in shapely.get_parts(left.intersection(half)):
                    if piece.geom_type != "Polygon" or piece.distance(MIDDLE) < 1e-6:
                        continue
                    if holding is CLAMPED or piece.intersects(SEAT):
                        worst = max(worst, piece.area)
    return worst


ASIDE = st.lists(st.tuples(st.floats(-6.0, 10.0), st.floats(-3.0, 13.0)), min_size=2, max_size=4)
"""A way that stays clear of the middle, as seen from the left end."""


@pytest.mark.long
@pytest.mark.property
@settings(max_examples=120, deadline=None)
@given(st.lists(st.tuples(st.booleans(), ASIDE), min_size=1, max_size=4),
       st.sampled_from([GLUED, CLAMPED]))  # fmt: skip
def test_loose_pieces_are_those_of_solid_differences(ways, holding):
    """Where a hair more or less would change what is loose, nothing is asked."""
    ways = [[(LENGTH - x if right else x, y) for x, y in points] for right, points in ways]
    thin, wide = (largest_loose(ways, 1.0 + by, holding) for by in (-GRID, GRID))
    assume((thin > 3.0) == (wide > 0.2))
    found = codes(*(way(*points) for points in ways), holding=holding)
    assert (Code.CUT_FREE in found) == (thin > 3.0)


@pytest.mark.parametrize(("on_face", "width", "area", "code"), [
    ("tape", 1.0, 400.0, None), ("tape", 1.1, 390.0, Code.TAPE), ("tape", 1.1, 400.0, None),
    ("carrier", 3.0, 100.0, None), ("clamps", 3.0, 100.0, None),
])  # fmt: skip
def test_tape_alone_holds_small_tools_or_wide_faces(on_face, width, area, code):
    """1 mm, and 400 mm2: our own design from the strength of carpet tape."""
    stock = dataclasses.replace(STOCK, x1=STOCK.x0 + area / HIGH)
    holding = Holding(kind="tape") if on_face == "tape" else Holding(face=on_face)
    text = HEAD + "G0 X10 Y5\nG1 Z-0.2 F60\nG1 X12 F200\nG0 Z5\n" + TAIL
    program, found = read_program(text, MILL), Collector()
    cutter = tool(6, Shape.FLAT, width)
    HeldBlank(stock, holding, 20.0, 4.0).check(program, {6: cutter}, found)
    assert [f.code for f in found.kept] == ([code] if code else [])


@pytest.mark.parametrize(("jaws", "top", "good"), [
    (3.0, 8.0, True), (2.9, 8.0, False), (4.0, 12.0, True), (3.9, 12.0, False), (3.0, 9.0, True),
])  # fmt: skip
def test_jaws_hold_three_millimetres_and_a_third(jaws, top, good):
    found = Collector()
    check_grip(Holding(jaw_top=jaws), top, found)
    assert [f.code for f in found.kept] == ([] if good else [Code.GRIP])


def standing(cut_at):
    """A blank on edge, 40 by 5 mm, with cuts 1 mm wide down to the seat side at some x."""
    x, y = np.arange(-4.0, 36.0, 0.1) + 0.05, np.arange(0.0, 5.0, 0.1) + 0.05
    z = np.full((len(y), len(x)), 8.0)
    for at in cut_at:
        z[:, np.abs(x - at) < 0.5] = 0.0
    return Heightmap(x, y, z)


@pytest.mark.parametrize(("cut_at", "lowest", "loose"), [
    ((2.0,), 0.0, 5.5), ((2.0, -3.6), 0.0, 4.6), ((30.0,), 0.0, 5.5), ((2.0,), 1.0, 0.0),
    ((10.0,), 0.0, 0.0), ((), 0.0, 0.0), ((-3.9,), 0.0, 0.0),
])  # fmt: skip
def test_on_edge_the_jaws_hold_what_is_between_them(cut_at, lowest, loose):
    """From x 5 to 27; ``loose`` mm along x of 5 mm thickness hang on nothing."""
    text = HEAD + f"G0 X2 Y-3\nG1 Z{lowest} F60\nG1 Y8 F200\nG0 Z5\n" + TAIL
    program, found = read_program(text, MILL), Collector()
    check_on_edge(program, standing(cut_at), (5.0, 27.0), found)
    if not loose:
        assert found.kept == []
        return
    (one,) = found.kept
    assert one.code is Code.CUT_FREE
    assert one.value == pytest.approx(loose * 5.0, rel=0.03)
