"""Small faults planted in the outlines of the workshop's programs: found by distance, with line.

Each is a few micrometres on a stretch that is cut again on edge or lies beside an end, so that
heights alone would hardly show it.
"""

import math
from dataclasses import dataclass

import numpy as np
import pytest

from blankcam.replay.codes import Code
from blankcam.replay.motions import PLANE_AXES
from blankcam.replay.reader import read_program
from tests.faults.workshop import case
from tests.replay.dense import arc

CASES = [(0, "bench-mill", "nut"), (1, "light-router", "nut"), (2, "bench-mill", "nut"),
         (0, "bench-mill", "outlined saddle"), (2, "bench-mill", "outlined saddle")]  # fmt: skip
FIRST = (0,)
"""Those of a first run."""


TRUE = 0.0005
"""mm by which the ends of the chords may lie beside one circle."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Chords over the top that lie on one circle, at the level that is cut through."""

    out: float
    """mm that the tool runs further out than its radius, read at the part's left end."""

    first: int
    last: int
    """Their lines in the text, from 0."""
    start: np.ndarray
    end: np.ndarray
    centre: np.ndarray
    ccw: bool


def circle(a, b, c):
    """The middle of the circle through three places."""
    rows = 2 * np.array([b - a, c - a])
    return np.linalg.solve(rows, [b @ b - a @ a, c @ c - a @ a])


def on_one_circle(places):
    """The middle of the circle on which all of them lie, or None."""
    a, b, c = places[0], places[len(places) // 2], places[-1]
    if len(places) < 4 or abs(np.linalg.det(np.array([b - a, c - a]))) < 1e-6:
        return None
    centre = circle(a, b, c)
    off = np.linalg.norm(places - centre, axis=1) - math.dist(a, centre)
    return centre if np.max(np.abs(off)) <= TRUE else None


def longest_stretch(moves, deepest, radius):
    """Of the chords over the top at a level, the most that lie on one circle."""
    flat = ~moves.is_arc & (moves.end[:, 2] <= deepest) & (moves.start[:, 2] <= deepest)
    step = moves.end - moves.start
    chords = flat & moves.cutting & (np.abs(step[:, 0]) > 5 * np.abs(step[:, 1]))
    chords &= np.abs(step[:, 1]) > 0
    best = None
    for i in np.flatnonzero(chords):
        j = i
        while j + 1 < len(chords) and chords[j + 1]:
            j += 1
            places = np.vstack([moves.start[i : i + 1, :2], moves.end[i : j + 1, :2]])
            centre = on_one_circle(places)
            long = math.dist(places[0], places[-1])
            if centre is not None and (best is None or long > best[0]):
                best = long, i, j, centre
    _, i, j, centre = best
    (ax, ay), (bx, by) = moves.start[i, :2] - centre, moves.end[j, :2] - centre
    level = moves.start[i, 2]
    upright = flat & moves.cutting & (step[:, 0] == 0) & (np.abs(step[:, 1]) > 1)
    out = -float(np.max(moves.end[upright & (moves.end[:, 0] < 0), 0])) - radius
    assert 0 <= out <= 0.003 + 1e-9
    return Stretch(
        out=out,
        first=int(moves.line[i]) - 1, last=int(moves.line[j]) - 1, start=moves.start[i],
        end=moves.end[j], centre=np.array([*centre, level]), ccw=ax * by - ay * bx > 0,
    )  # fmt: skip


@pytest.fixture(params=[
    pytest.param(each, id="-".join(map(str, each)), marks=() if at in FIRST else pytest.mark.long)
    for at, each in enumerate(CASES)
])  # fmt: skip
def made(request):
    """A case, its program on face, and a stretch over the top at the level through it."""
    found = case(*request.param)
    name = next(n for n in found.names() if "-face" in n)
    moves = read_program(found.text(name), found.profile).moves
    (number,) = set(moves.tool[moves.cutting].tolist())
    (tool,) = (t for t in found.profile.tools if t.number == number)
    return found, name, longest_stretch(moves, -found.part.thickness, tool.radius)


def outline_faults(found, name, lines):
    text = "\n".join(lines)
    assert read_program(text, found.profile).findings == ()
    faults = found.proof(**{name[:-4].replace("-", "_"): text}).faults
    return [f for f in faults if f.code is Code.OUTLINE and "the outline" in f.what]


@pytest.mark.parametrize("off", [0.0, 0.008, -0.008])
def test_a_stretch_off_by_eight_micrometres(made, off):
    found, name, way = made
    lines, at = found.text(name).split("\n"), way.first
    points = arc(way.start, way.end, way.centre, way.ccw, PLANE_AXES[17], 200)
    away = points[:, :2] - way.centre[:2]
    away /= np.linalg.norm(away, axis=1)[:, None]
    away *= np.sign(away[:, 1:])  # up, away from the part
    points[60:140, :2] += off * away[60:140]
    there = [f"X{x:.4f} Y{y:.4f}" for x, y, _ in points[1:]]
    rest = lines[way.last + 1 :]
    faults = outline_faults(found, name, [*lines[:at], "G1 " + there[0], *there[1:], *rest])
    if not off:
        assert faults == []
        return
    (fault,) = faults
    # The fitted way is within 1 um itself
    assert fault.value == pytest.approx(off + way.out, abs=1.2e-3)
    assert min(points[60, 0], points[139, 0]) - 0.2 < fault.at[0]
    assert fault.at[0] < max(points[60, 0], points[139, 0]) + 0.2
    assert at + 55 < fault.line < at + 145


@pytest.mark.parametrize("off", [0.0, 0.010])
def test_an_arc_about_a_wrong_centre(made, off):
    """Ends kept, centre moved along the middle of the chord until the bow is 10 um off."""
    found, name, way = made
    lines, at = found.text(name).split("\n"), way.first
    start, end, centre = (v[:2] for v in (way.start, way.end, way.centre))
    middle, half = (start + end) / 2, math.dist(start, end) / 2
    arm = math.dist(start, centre)
    bow = arm - math.sqrt(arm**2 - half**2) - off
    other = half**2 / (2 * bow) + bow / 2
    toward = (centre - middle) / np.linalg.norm(centre - middle)
    where = middle + toward * math.sqrt(other**2 - half**2) - start
    code = "G3" if way.ccw else "G2"
    line = f"{code} X{end[0]:.4f} Y{end[1]:.4f} I{where[0]:.4f} J{where[1]:.4f}"
    faults = outline_faults(found, name, [*lines[:at], line, *lines[way.last + 1 :]])
    if not off:
        assert faults == []
        return
    (fault,) = faults
    assert abs(fault.value - way.out) == pytest.approx(off, abs=1.3e-3)
    assert fault.line == at + 1
