"""An own, slow look at what programs do, for those damaged ones that the proof lets pass.

Nothing of blankcam's reader or replay: words by a plain pattern, paths as close samples, the tool
set down at each over scattered places (``tests.replay.dense.profile``). What the look says is
whether the part is whole and no rapid ran through anything; of a program that the proof passes it
must say so, however the program was damaged.
"""

import math
import re
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from blankcam.parts.stage import Stage
from tests.replay.dense import profile

SAMPLE = 0.04
"""mm between samples; a ball of 0.3 mm radius set down so far apart leaves 0.7 µm between."""
AXES = {17: (0, 1, 2, "IJ"), 18: (2, 0, 1, "KI"), 19: (1, 2, 0, "JK")}
GOUGE, LEFT, ENDS = 0.005, 0.020, 0.005  # design/proof: the limits, written out again
SLACK = 0.002
"""mm: what samples and four decimals may make of them."""
ASIDE = 0.02
"""mm: heights beside a wall are held against those so far around."""


@dataclass(frozen=True)
class Stroke:
    """One move as samples (n, 3)."""

    rapid: bool
    tool: int
    points: np.ndarray


def strokes(text):
    """The moves of a program that the reader found nothing against, mm.

    After a move in the machine's own coordinates (G53: NIST RS274/NGC, 3.5.12) nobody knows where
    its axes stand in the part's.
    """
    at, tool, motion, plane, out = [np.nan] * 3, 0, 0, 17, []
    for line in text.split("\n"):
        words = re.findall(r"([A-Z])\s*(-?[\d.]+)", re.sub(r"\(.*?\)|;.*", "", line))
        value = {k: float(v) for k, v in words if k != "G"}
        for code in (int(float(v)) for k, v in words if k == "G"):
            motion = code if code in (0, 1, 2, 3) else motion
            plane = code if code in AXES else plane
        tool = int(value.get("T", tool))
        if not value.keys() & set("XYZ"):
            continue
        to = [value.get(k, at[i]) for i, k in enumerate("XYZ")]
        if "G53" in line:
            at = [np.nan if k in value else at[i] for i, k in enumerate("XYZ")]
            continue
        points = _arc(at, to, value, plane, motion == 3) if motion > 1 else _line(at, to)
        if np.isfinite(points).all():
            out.append(Stroke(motion == 0, tool, points))
        at = to
    return out


def _line(start, end):
    length = math.dist(start, end)
    count = max(1, math.ceil(length / SAMPLE)) if math.isfinite(length) else 1
    return np.linspace(start, end, count + 1)


def _arc(start, end, value, plane, ccw):
    a, b, c, names = AXES[plane]
    centre = start[a] + value.get(names[0], 0.0), start[b] + value.get(names[1], 0.0)
    first = math.atan2(start[b] - centre[1], start[a] - centre[0])
    turn = math.atan2(end[b] - centre[1], end[a] - centre[0]) - first
    turn = turn % math.tau if ccw else -(-turn % math.tau)
    radius = math.dist((start[a], start[b]), centre)
    t = np.linspace(0, 1, max(2, math.ceil(abs(turn) * radius / SAMPLE) + 1))
    out = np.empty((len(t), 3))
    out[:, a] = centre[0] + radius * np.cos(first + turn * t)
    out[:, b] = centre[1] + radius * np.sin(first + turn * t)
    out[:, c] = start[c] + (end[c] - start[c]) * t
    return out


def wrong(case, name, text):
    """What is wrong once a case's programs ran with the named one exchanged, as words."""
    return (_wrong_on_face if "-face" in name else _wrong_on_edge)(case, case.run(name, text))


def _wrong_on_edge(case, texts, places=900):
    """What is wrong with the part and the rapids of the programs on edge."""
    part, chance = case.part, np.random.default_rng(7)
    x = chance.uniform(0.0, part.length, places)
    y = chance.uniform(0.0, part.thickness, places)
    for slot in getattr(part, "slots", ()):  # each floor looked at along its middle
        along = np.linspace(0.05, part.thickness - 0.05, 9)
        x = np.append(x, slot.centre + math.tan(slot.yaw) * along)
        y = np.append(y, along)
    z, wrong = _blank(case, x), []
    for stroke in (s for text in texts for s in strokes(text)):
        low = _set_down(case.tools[stroke.tool], stroke.points, x, y)
        if stroke.rapid and (low < z - 0.002).any():
            wrong.append("rapid")
        z = np.minimum(z, low)
    around = [(ASIDE * i, ASIDE * j) for i in (-1, 0, 1) for j in (-1, 0, 1)]
    lower = np.min([part.at(Stage.FINAL).lower(x + i, y + j) for i, j in around], axis=0)
    upper = np.max(
        [part.at(Stage.FINAL).upper(x + i, y + j, case.milled) for i, j in around], axis=0
    )
    wrong += ["gouge"] * int((z < lower - GOUGE - SLACK).any())
    return wrong + ["left"] * int((z > upper + LEFT + SLACK).any())


def _blank(case, x):
    """Heights before the program on edge: what the undamaged outline on face left, if any."""
    z = np.full(len(x), case.stock.z1)
    for text in (case.text(n) for n in case.names() if "-face" in n):
        for stroke in strokes(text):
            radius, p = case.tools[stroke.tool].diameter / 2, stroke.points
            p = p[(p[:, 2] <= -case.part.thickness) & (p[:, 1] > case.stock.z1 / 2)]
            off = radius**2 - (x[:, None] - p[:, 0]) ** 2
            lower = np.where(off >= 0, p[:, 1] - np.sqrt(np.maximum(off, 0)), np.inf)
            z = np.minimum(z, lower.min(axis=1, initial=np.inf))
    return z


def _set_down(tool, points, x, y):
    """Lowest heights over scattered places, inf where the tool does not come."""
    reach, out = tool.diameter / 2, np.full(len(x), np.inf)
    low, high = points.min(axis=0) - reach, points.max(axis=0) + reach
    near = np.flatnonzero((x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1]))
    if near.size:
        places = KDTree(np.column_stack((x[near], y[near])))
        pairs = places.sparse_distance_matrix(
            KDTree(points[:, :2]), reach + 1e-9, output_type="ndarray"
        )
        np.minimum.at(out, near[pairs["i"]], points[pairs["j"], 2] + profile(tool, pairs["v"]))
    return out


def _wrong_on_face(case, texts):
    """The same of an outline on face: discs against the part's own outline, in x and height."""
    part, stock, wrong = case.part, case.stock, []
    x = np.linspace(0.0, part.length, 1500)
    x[[0, -1]] += (1e-6, -1e-6)
    top = part.at(Stage.FINAL).lower(x, np.full_like(x, part.thickness / 2))
    shape = np.vstack((
        np.column_stack((x, top)), np.column_stack((x, np.zeros_like(x))),
        *(np.column_stack((np.full(200, end), np.linspace(0.0, high, 200)))
          for end, high in ((0.0, top[0]), (part.length, top[-1]))),
    ))  # fmt: skip
    tree = KDTree(shape)
    cut = []  # discs so far: x, height, tip, radius
    ends = {0.0: np.inf, part.length: np.inf}
    for stroke in (s for text in texts for s in strokes(text)):
        radius, p = case.tools[stroke.tool].diameter / 2, stroke.points
        inside = p[:, 2] < 0
        if not inside.any():
            continue
        q = p[inside]
        nearest = float(tree.query(q[:, :2])[0].min())
        wrong += ["gouge"] * int(nearest < radius - GOUGE - SLACK)
        if stroke.rapid and _in_stock(q[::4], radius, cut, stock):
            wrong.append("rapid")
        cut.append(np.column_stack((q, np.full(len(q), radius))))
        for end, best in ends.items():
            deep = q[(q[:, 2] <= -part.thickness) & (q[:, 1] > top.min() / 2)]
            off = np.abs(deep[:, 0] - end).min(initial=np.inf) - radius
            ends[end] = min(best, off)
    # An end beside which nothing was cut is the saw's: on face both are cut
    return wrong + ["ends"] * int(max(ends.values()) > ENDS + SLACK)


def _in_stock(points, radius, cut, stock):
    """Whether the discs at these places meet stock that no earlier disc took away."""
    turn = np.linspace(0, math.tau, 24, endpoint=False)
    rim = np.column_stack((np.cos(turn), np.sin(turn))) * (radius - 0.005)
    for x, y, z in points:
        at = np.array((x, y)) + rim
        solid = ((at[:, 0] > stock.x0) & (at[:, 0] < stock.x1)
                 & (at[:, 1] > stock.z0) & (at[:, 1] < stock.z1))  # fmt: skip
        for discs in cut:
            if solid.any():
                d = discs[discs[:, 2] <= z + 0.001]
                off = np.hypot(at[solid, None, 0] - d[:, 0], at[solid, None, 1] - d[:, 1])
                solid[solid] = ~(off <= d[:, 3]).any(axis=1)
        if solid.any():
            return True
    return False
