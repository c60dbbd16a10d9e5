"""The edge an outline leaves on face, by distance: beside polygons of shapely, and
planted faults.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from blankcam.parts.stage import Stage
from blankcam.replay import outline_deviation
from blankcam.replay.codes import Code
from blankcam.replay.deviation import uncut_ends
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import PLANE_AXES, MoveKind
from blankcam.replay.outline_deviation import distance_outside, judge_outline, outline_places
from blankcam.replay.reader import read_program
from tests.replay.bench import (
    MILL,
    NUT,
    RADIUS,
    STOCK,
    TOOLS,
    edge_program,
    face_program,
    prove_both,
)
from tests.replay.dense import arc, path
from tests.replay.test_reader import HEAD, TAIL

EDGE = edge_program()
ARM = RADIUS + 1.0  # of the tool's centre over the top
MIDDLE = 7.4 - RADIUS + 0.3


def outline_faults(face):
    return [f for f in prove_both(face, EDGE).faults if "the outline" in f.what]


def last_level(text, old, new):
    """The text with the last ``old`` exchanged: that of the level through the part."""
    head, found, tail = text.rpartition(old)
    assert found
    return head + new + tail


def over_the_top(text):
    """The line that goes over the top at the last level."""
    return next(s for s in reversed(text.split("\n")) if s.startswith("G2") and "J-1" in s
                and abs(float(s.split("J")[1])) > 50)  # fmt: skip


def chords(off, first=4.0, last=8.0, count=120):
    """The way over the top in short straight moves, off its circle between two x."""
    lean = math.asin(6.06 / ARM)
    lines = []
    for t in np.linspace(-lean, lean, count + 1)[1:]:
        x = 6 + ARM * math.sin(t)
        arm = ARM + (off if first < x < last else 0.0)
        lines.append(f"X{6 + arm * math.sin(t):.4f} Y{MIDDLE + arm * math.cos(t):.4f}")
    return "\n".join(["G1 " + lines[0], *lines[1:]])


def test_the_outline_of_the_part_is_raised_over_its_top_alone():
    at = outline_places(NUT, Stage.FINAL, 0.3)
    assert at[0] == pytest.approx((0, 0))
    assert at[-1] == pytest.approx((12, 0))
    assert np.abs(np.diff(at, axis=0)).max() < 0.051
    top = at[(at[:, 0] > 0) & (at[:, 0] < 12)]
    assert np.hypot(top[:, 0] - 6, top[:, 1] - MIDDLE) == pytest.approx(RADIUS)


@pytest.mark.parametrize(("seed", "at_once"), [(1, 64), (2, 1), (3, 2)])
def test_distances_are_those_of_the_polygon_around_the_discs(seed, at_once, monkeypatch):
    """shapely's buffers of close points, 256 corners a circle: 0.1 um inside the true discs."""
    monkeypatch.setattr(outline_deviation, "AT_ONCE", at_once)
    rng = np.random.default_rng(seed)
    lines = []
    for _ in range(12):
        x, y = np.round(rng.uniform(-4, 4, 2), 3)
        lines.append(f"G{rng.integers(1, 4)} X{x} Y{y}")
        if lines[-1][1] != "1":
            lines[-1] += f" R{rng.uniform(6, 9):.3f}"
    lines += ["G1 X0 Y0", "G2 X1 Y0 R-2", "G3 X2 Y.5 R-2.5"]  # the long way round
    got = read_program(HEAD + "\n".join(lines) + TAIL, MILL)
    assert got.findings == (), [str(f) for f in got.findings]
    moves = got.moves.where(got.moves.known & got.moves.cutting)
    radius = np.where(np.arange(len(moves)) % 2, 0.5, 0.8)
    shapes = []
    for i in range(len(moves)):
        ends = moves.start[i], moves.end[i]
        ccw = moves.kind[i] == MoveKind.ARC_CCW
        points = (arc(*ends, moves.centre[i], ccw, PLANE_AXES[17], 400) if moves.is_arc[i]
                  else path(*ends, 1))  # fmt: skip
        shapes.append(shapely.LineString(points[:, :2]).buffer(radius[i], quad_segs=64))
    at = rng.uniform(-7, 7, (800, 2))
    off, who = distance_outside(at, moves, radius)
    swept = shapely.union_all(shapes)
    want = shapely.distance(swept, shapely.points(at))
    assert np.maximum(off, 0) == pytest.approx(want, abs=5e-4)
    assert ((off < 0) == shapely.contains(swept, shapely.points(at)))[np.abs(off) > 5e-4].all()
    own = [shapely.distance(shapes[k], p) for k, p in zip(who, shapely.points(at), strict=True)]
    assert np.array(own) == pytest.approx(want, abs=5e-4)


def test_the_good_outline_is_good_also_in_chords():
    good = face_program()
    assert outline_faults(good) == []
    assert outline_faults(last_level(good, over_the_top(good), chords(0.0))) == []
    assert outline_faults(last_level(good, over_the_top(good), chords(0.004))) == []


@pytest.mark.parametrize("off", [0.008, -0.008])
def test_a_curved_stretch_that_is_off_is_found_with_line_place_and_amount(off):
    good = face_program()
    bad = last_level(good, over_the_top(good), chords(off))
    (found,) = outline_faults(bad)
    assert found.code is Code.OUTLINE
    assert found.value == pytest.approx(off, abs=2e-4)
    assert found.limit == 0.005
    assert 4.0 < found.at[0] < 8.0
    assert found.at[2] == pytest.approx(NUT.top.height(found.at[0]) + 0.3, abs=1e-3)
    text = bad.split("\n")[found.line - 1]
    assert text == found.text
    assert float(text.split()[0].removeprefix("X")) == pytest.approx(found.at[0], abs=0.2)
    assert found.program == "nut-face.ngc"


def test_an_arc_about_another_centre_is_found():
    """The same ends 12.12 mm apart on R 111 instead of 101: 12.12²/8 (1/101 - 1/111) = 16.4 um."""
    good = face_program()
    line = over_the_top(good)
    i, j = (float(v[1:]) for v in line.split()[3:])
    other = -math.sqrt(111.0**2 - i**2)
    assert j == pytest.approx(-math.sqrt(101.0**2 - i**2), abs=1e-3)
    (found,) = outline_faults(last_level(good, line, line.replace(f"J{j:.4f}", f"J{other:.4f}")))
    assert found.value == pytest.approx(-0.0164, abs=2e-4)
    assert found.at[0] == pytest.approx(6.0, abs=0.5)
    assert found.text.startswith("G2")


def test_moves_left_out_are_found():
    """Forty of 120 chords over a circle of R 101 with 4.04 mm between: 4.04²/8/101 = 20.2 um."""
    good = face_program()
    way = chords(0.0).split("\n")
    bad = last_level(good, over_the_top(good), "\n".join(way[:40] + way[79:]))
    (found,) = outline_faults(bad)
    assert found.value == pytest.approx(-0.0202, abs=3e-4)
    assert found.text == way[79]


def test_the_way_down_an_end_left_out_is_found():
    bad = last_level(face_program(), "G1 Y3.0000\n", "G0 Z5\nG0 Y3\nG1 Z-5.3 F60\n")
    found = outline_faults(bad)
    assert found[-1].value > 1.0  # a whole end stands, but for the two places the tool was at
    assert found[-1].at[0] == pytest.approx(12.0)
    assert 4.0 < found[-1].at[2] < 7.0


def test_the_top_not_cut_through_is_found():
    good = face_program()
    bad = last_level(good, over_the_top(good), "G1 Z-4.5 F60\n" + over_the_top(good))
    found = outline_faults(last_level(bad, "G2 X13", "G1 Z-5.3 F60\nG2 X13"))
    assert any(f.value > 0.005 for f in found)


def test_where_the_blank_ends_nothing_can_be_left():
    """Over a blank 7.6 high, and beside one that ends within the part, there is but air."""
    good, tools = face_program(), {t.number: t for t in TOOLS}

    def judged(text, **blank):
        found = Collector()
        program = read_program(text, MILL, name="nut-face.ngc")
        assert program.findings == ()
        judge_outline(NUT, Stage.FINAL, replace(STOCK, **blank), [program], tools, found)
        return [f.value for f in found.kept]

    high = last_level(good, over_the_top(good), chords(0.05))
    assert judged(high) == pytest.approx([0.05], abs=1e-3)
    assert judged(high, z1=7.6) == []
    wide = last_level(good, "G1 Y3.0000\n", "G0 Z5\nG0 Y3\nG1 Z-5.3 F60\n")
    assert len(judged(wide)) == 1
    assert judged(wide, x1=11.9) == []
    assert judged(wide, x0=0.1) != []


# -- what stays beside an end ------------------------------------------------------------------


def strip(skin, rows, end="right"):
    """The blank on its face, cut down to ``skin`` mm beside an end between two heights."""
    face = Heightmap(np.arange(-2, 14, 0.05), np.arange(0, 8, 0.05), np.zeros((160, 320)))
    near = (face.x > 12) & (face.x < 14) if end == "right" else (face.x < 0) & (face.x > -2)
    face.z[:, near] = -5.3
    tall = (face.y >= rows[0]) & (face.y <= rows[1])
    face.z[np.ix_(tall, near)] = skin - 5.0
    return face


@pytest.mark.parametrize("end", ["left", "right"])
def test_a_skin_beside_an_end_is_told_where_it_is_thickest(end):
    (found,) = uncut_ends(NUT, strip(0.5, (5.0, 6.0), end), 4.0)
    assert found.amount == pytest.approx(0.5)
    assert found.at[0] == pytest.approx(12.1 if end == "right" else -0.1, abs=0.1)
    assert 5.0 <= found.at[2] <= 6.0


def test_tabs_a_thin_film_and_a_sawn_end_are_not_told():
    assert list(uncut_ends(NUT, strip(1.5, (0.0, 3.9)), 4.0)) == []
    assert list(uncut_ends(NUT, strip(0.0008, (5.0, 6.0)), 4.0)) == []
    assert list(uncut_ends(NUT, strip(5.0, (0.0, 8.0)), 4.0)) == []
    assert list(uncut_ends(NUT, strip(0.002, (5.0, 6.0)), 4.0)) != []


def test_the_proof_says_of_an_end_that_it_is_not_cut_through_on_face():
    good = face_program()
    proof = prove_both(last_level(good, "G2 X", "G1 Z-4.5\nG2 X"), EDGE)
    found = next(f for f in proof.faults if "not cut through" in f.what)
    assert found.code is Code.OUTLINE
    assert found.value == pytest.approx(0.5)
    assert found.at[0] == pytest.approx(12.1, abs=0.1)
