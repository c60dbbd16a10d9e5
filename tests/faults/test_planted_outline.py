"""Small faults planted in the outlines of the workshop's programs: found by distance, with line.

Each is a few micrometres on a stretch that is cut again on edge or lies beside an end, so that
heights alone would hardly show it.
"""

import math

import numpy as np
import pytest

from blankcam.replay.codes import Code
from blankcam.replay.motions import PLANE_AXES, MoveKind
from blankcam.replay.reader import read_program
from tests.faults.workshop import case
from tests.replay.dense import arc

CASES = [(0, "bench-mill", "nut"), (1, "light-router", "nut"), (2, "bench-mill", "nut"),
         (0, "bench-mill", "outlined saddle"), (2, "bench-mill", "outlined saddle")]  # fmt: skip


@pytest.fixture(params=CASES, ids=lambda c: "-".join(map(str, c)))
def made(request):
    """A case, its program on face, and the longest arc over the top at the level through it."""
    found = case(*request.param)
    name = next(n for n in found.names() if "-face" in n)
    moves = read_program(found.text(name), found.profile).moves
    deep = moves.is_arc & (moves.end[:, 2] <= -found.part.thickness)
    at = np.flatnonzero(deep)
    length = np.linalg.norm(moves.end[at] - moves.start[at], axis=1)
    return found, name, moves, int(at[length.argmax()])


def outline_faults(found, name, lines):
    text = "\n".join(lines)
    assert read_program(text, found.profile).findings == ()
    faults = found.proof(**{name[:-4].replace("-", "_"): text}).faults
    return [f for f in faults if f.code is Code.OUTLINE and "the outline" in f.what]


def lines_of(found, name, moves, i):
    lines = found.text(name).split("\n")
    return lines, int(moves.line[i]) - 1


@pytest.mark.parametrize("off", [0.0, 0.008, -0.008])
def test_a_stretch_off_by_eight_micrometres(made, off):
    found, name, moves, i = made
    lines, at = lines_of(found, name, moves, i)
    start, end, centre = moves.start[i], moves.end[i], moves.centre[i]
    ccw = moves.kind[i] == MoveKind.ARC_CCW
    points = arc(start, end, centre, ccw, PLANE_AXES[17], 200)
    away = points[:, :2] - centre[:2]
    away /= np.linalg.norm(away, axis=1)[:, None]
    away *= np.sign(away[:, 1:])  # up, away from the part
    points[60:140, :2] += off * away[60:140]
    way = [f"X{x:.4f} Y{y:.4f}" for x, y, _ in points[1:]]
    faults = outline_faults(found, name, [*lines[:at], "G1 " + way[0], *way[1:], *lines[at + 1 :]])
    if not off:
        assert faults == []
        return
    (fault,) = faults
    assert fault.value == pytest.approx(off, abs=1.2e-3)  # the fitted way is within 1 um itself
    assert min(points[60, 0], points[139, 0]) - 0.2 < fault.at[0]
    assert fault.at[0] < max(points[60, 0], points[139, 0]) + 0.2
    assert at + 55 < fault.line < at + 145


def test_an_arc_about_a_wrong_centre(made):
    """Ends kept, centre moved along the middle of the chord until the bow is 10 um off."""
    found, name, moves, i = made
    lines, at = lines_of(found, name, moves, i)
    start, end, centre = (v[i, :2] for v in (moves.start, moves.end, moves.centre))
    middle, half = (start + end) / 2, math.dist(start, end) / 2
    arm = math.dist(start, centre)
    bow = arm - math.sqrt(arm**2 - half**2) - 0.010
    other = half**2 / (2 * bow) + bow / 2
    toward = (centre - middle) / np.linalg.norm(centre - middle)
    where = middle + toward * math.sqrt(other**2 - half**2) - start
    code = "G3" if moves.kind[i] == MoveKind.ARC_CCW else "G2"
    line = f"{code} X{end[0]:.4f} Y{end[1]:.4f} I{where[0]:.4f} J{where[1]:.4f}"
    (fault,) = outline_faults(found, name, [*lines[:at], line, *lines[at + 1 :]])
    assert abs(fault.value) == pytest.approx(0.010, abs=1.3e-3)
    assert fault.line == at + 1
