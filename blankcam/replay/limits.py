"""Checks that need only the moves and the machine: feeds, travel, first moves, jaws and bed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box
from blankcam.replay.codes import Code
from blankcam.replay.envelope import arc_points
from blankcam.replay.findings import Collector
from blankcam.replay.motions import PLANE_AXES, MoveKind, Moves, arc_angles, bounds, plane_arc_of
from blankcam.replay.reader import ParsedProgram
from blankcam.replay.sweep import SIDE, TOUCH, tool_bodies
from blankcam.replay.tool_profile import tool_profile_of

Floats = NDArray[np.float64]

SLACK = 1.0005
"""Share by which a printed feed may exceed its limit: feeds are printed rounded."""
CLAMP_BODY = 60.0
"""mm by which a clamp with its screw and support reaches beyond the end of a blank."""
PRINTED = 0.001
"""mm by which a printed height may miss its limit."""
SAMPLE = 0.05
"""mm between the points of a path that are tried against an obstacle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """A box that must not be touched: jaws, clamps, walls or bed; mm in the machine's axes."""

    name: str
    low: tuple[float, float, float]
    high: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Excess:
    """A value of one move that is over its limit."""

    code: Code
    what: str
    value: float
    limit: float
    at: tuple[float, float, float] | None = None


def check_feeds(program: ParsedProgram, profile: Profile, found: Collector) -> None:
    """Fault feeds over what the machine's axes can do."""
    moves = program.moves
    step = np.abs(moves.end - moves.start)
    run = np.where((length := np.linalg.norm(step, axis=1)) > 0, length, 1.0)
    share = np.where(moves.is_arc[:, None], _arc_shares(moves), step / run[:, None])
    most = np.array([profile.feed_max.x, profile.feed_max.y, profile.feed_max.z]) * SLACK
    over = moves.cutting & ((share * moves.feed[:, None]) > most).any(axis=1)
    for i in np.flatnonzero(over):
        axis = int(np.argmax(share[i] * moves.feed[i] / most))
        what = f"feed of axis {'XYZ'[axis]} over what the machine can do, mm/min"
        value, limit = share[i, axis] * moves.feed[i], most[axis] / SLACK
        report_move(found, program, int(i), Excess(Code.FEED, what, value, limit))


def _arc_shares(moves: Moves) -> Floats:
    """The greatest component of each arc's unit tangent along each axis, (n, 3)."""
    out = np.ones((len(moves), 3))
    for plane, (a, b, normal) in PLANE_AXES.items():
        pick = moves.is_arc & (moves.plane == plane)
        if pick.any():
            first, sweep, _ = arc_angles(moves, pick, a, b)
            low, high = np.minimum(first, first + sweep), np.maximum(first, first + sweep)
            out[pick, a] = _greatest_sine(low, high)
            out[pick, b] = _greatest_sine(low + np.pi / 2, high + np.pi / 2)
            still = moves.start[pick, normal] == moves.end[pick, normal]
            out[pick, normal] = np.where(still, 0.0, 1.0)
    return out


def _greatest_sine(low: Floats, high: Floats) -> Floats:
    """Greatest absolute sine over each range of angles, radians."""
    quarter = np.ceil((low - np.pi / 2) / np.pi) * np.pi + np.pi / 2
    ends = np.maximum(np.abs(np.sin(low)), np.abs(np.sin(high)))
    return np.where(quarter <= high, 1.0, ends)


def check_travel(program: ParsedProgram, profile: Profile, found: Collector) -> int:
    """Fault the moves that need more travel than the machine has, and return how many they are."""
    moves = program.moves
    if not len(moves):
        return 0
    low, high = bounds(moves)
    most = np.array([profile.travel.x, profile.travel.y, profile.travel.z])
    with np.errstate(invalid="ignore"):
        first, last = np.fmin.reduce(low), np.fmax.reduce(high)
        outside = ((high - first > most) | (last - low > most)).any(axis=1)
    for i in np.flatnonzero(outside):
        need = float(np.nanmax((last - first) - most))
        what = "more travel than the machine has, mm over"
        report_move(found, program, int(i), Excess(Code.TRAVEL, what, need, 0.0))
    return int(outside.sum())


def check_first_moves(program: ParsedProgram, clear: float, found: Collector) -> None:
    """Fault first moves, from wherever the machine stands, that are not above ``clear`` mm."""
    moves = program.moves
    unknown = ~np.isfinite(moves.start).all(axis=1) & (moves.aloft == 0)
    across = unknown & (np.nan_to_num(moves.end[:, 2], nan=-np.inf) < clear)
    for i in np.flatnonzero(across):
        what = "first moves lower than the highest thing on the machine, mm"
        report_move(found, program, int(i), Excess(Code.CLEARANCE, what, moves.end[i, 2], clear))


def check_air(program: ParsedProgram, top: float, found: Collector) -> None:
    """Fault moves of an air program that are not well over ``top``, the highest thing, mm."""
    moves, least = program.moves, top + table("proof")["limits"]["air"]
    low = np.fmin(moves.start[:, 2], moves.end[:, 2])
    with np.errstate(invalid="ignore"):
        under = low < least - PRINTED
    for i in np.flatnonzero(under):
        what = "an air program comes too near to what stands on the machine, mm"
        report_move(found, program, int(i), Excess(Code.AIR, what, low[i], least))


def check_obstacles(program: ParsedProgram, tools: Mapping[int, Tool], profile: Profile,
          around: tuple[Obstacle, ...], found: Collector) -> int:  # fmt: skip
    """Fault every move whose tool, shank or holder touches an obstacle; returns how many."""
    moves, touched = program.moves, 0
    if not len(moves) or not around:
        return 0
    low, _ = bounds(moves)
    top = max(b.high[2] for b in around)
    for i in np.flatnonzero(moves.known & (low[:, 2] < top - TOUCH)):
        tool = tools.get(int(moves.tool[i]))
        if tool is None:
            continue
        hit = _obstacle_hit(moves, int(i), tool, profile, around)
        if hit is not None:
            touched += 1
            code = Code.BED if hit[0].name == "bed" else Code.JAWS
            what = f"the {hit[1]} runs into the {hit[0].name}, mm"
            report_move(found, program, int(i), Excess(code, what, hit[2], 0.0, hit[3]))
    return touched


def _obstacle_hit(moves: Moves, i: int, tool: Tool, profile: Profile, around: tuple[Obstacle, ...]
          ) -> tuple[Obstacle, str, float, tuple[float, float, float]] | None:  # fmt: skip
    shapes = (
        ("cutter", tool_profile_of(tool), 0.0),
        *((s.what, s.form, s.above) for s in tool_bodies(tool, profile)),
    )
    wide = max(shape.radius for _, shape, _ in shapes) + SIDE
    for b in around:
        path = _points_near(moves, i, b, wide)
        if not len(path):
            continue
        aside = np.hypot(*(
            np.maximum(np.maximum(b.low[a] - path[:, a], path[:, a] - b.high[a]), 0.0)
            for a in (0, 1)
        ))  # fmt: skip
        for what, shape, above in shapes:
            reach = np.maximum(aside + (SIDE if what == "cutter" else 0.0), 0.0)
            deep = b.high[2] - (path[:, 2] + above + shape.heights(reach**2))
            at = int(deep.argmax())
            if deep[at] > TOUCH:
                x, y, z = (float(v) for v in path[at])
                return b, what, float(deep[at]), (x, y, z)
    return None


def _points_near(moves: Moves, i: int, box: Obstacle, wide: float) -> Floats:
    """Points along a move, (n, 3), close enough to find whether it touches a box.

    Of a line only the stretch that comes within ``wide`` mm of the box in plan. Where all of it is
    over the box its lowest point is one of its ends.
    """
    start, end = moves.start[i], moves.end[i]
    if moves.kind[i] >= MoveKind.ARC_CW:
        return arc_points(*plane_arc_of(moves, i))
    first, last = 0.0, 1.0
    over = True
    for axis in (0, 1):
        low, high = box.low[axis], box.high[axis]
        over &= bool(low <= min(start[axis], end[axis]) and max(start[axis], end[axis]) <= high)
        step = end[axis] - start[axis]
        sides = np.array((low - wide, high + wide)) - start[axis]
        if abs(step) < 1e-9:
            if not sides[0] <= 0.0 <= sides[1]:
                return np.empty((0, 3))
            continue
        enters, leaves = sorted((sides / step).tolist())
        first, last = max(first, enters), min(last, leaves)
    if first > last:
        return np.empty((0, 3))
    run = float(np.linalg.norm(end - start)) * (last - first)
    count = 1 if over else min(max(1, int(np.ceil(run / SAMPLE))), 100_000)
    return np.asarray(start + (end - start) * np.linspace(first, last, count + 1)[:, None])


def obstacles_on_edge(stock: Box, held: Holding) -> tuple[Obstacle, ...]:
    """The jaws against both faces of a blank on edge, and the bed below them."""
    middle, half = (stock.x0 + stock.x1) / 2, held.jaw_length / 2
    bed = -held.bed_gap
    far = 1e4
    jaws = tuple(
        Obstacle(name="jaws", low=(middle - half, y0, bed), high=(middle + half, y1, held.jaws))
        for y0, y1 in (
            (stock.y0 - held.jaw_width, stock.y0),
            (stock.y1, stock.y1 + held.jaw_width),
        )
    )
    return (*jaws, Obstacle(name="bed", low=(-far, -far, -far), high=(far, far, bed)))


def obstacles_on_face(stock: Box, held: Holding) -> tuple[Obstacle, ...]:
    """What must not be touched on face, in the machine's axes: what holds the blank, and the bed.

    The bed is what the blank lies on; a waste board may be cut to ``carrier_depth``.
    """
    far, box = 1e4, stock.on_face()
    fixture = held.on_face == "fixture"
    depth = box.z0 - (0.0 if fixture else held.carrier_depth)
    around = [Obstacle(name="bed", low=(-far, -far, -far), high=(far, far, depth))]
    if fixture:
        middle, half = (box.x0 + box.x1) / 2, held.jaw_length / 2
        around += [
            Obstacle(name="fixture", low=(middle - half, y0, depth),
                high=(middle + half, y1, box.z0 + held.face_top))
            for y0, y1 in ((box.y0 - held.jaw_width, box.y0), (box.y1, box.y1 + held.jaw_width))
        ]  # fmt: skip
    if held.on_face == "clamps":
        middle, half = (box.y0 + box.y1) / 2, held.clamp_width / 2
        reach, out = held.clamp_reach, CLAMP_BODY
        around += [
            Obstacle(name="clamp", low=(x0, middle - half, depth),
                high=(x1, middle + half, box.z1 + held.clamp_height))
            for x0, x1 in ((box.x0 - out, box.x0 + reach), (box.x1 - reach, box.x1 + out))
        ]  # fmt: skip
    return tuple(around)


def kept_clear_of(around: tuple[Obstacle, ...], profile: Profile) -> tuple[Obstacle, ...]:
    """What must not be touched, as much larger as it is unsure how the machine really moves.

    The bed stays: what lies under the work is there to be cut into.
    """
    return tuple(o if o.name == "bed" else _grown(o, profile) for o in around)


def _grown(one: Obstacle, profile: Profile) -> Obstacle:
    wide = max((t.diameter_within / 2 for t in profile.tools), default=0.0)
    low = max((t.z_within for t in profile.tools), default=0.0)
    more = [
        max(abs(a), abs(b)) * e.scale_within + e.backlash_within + of_tool
        for a, b, e, of_tool in zip(
            one.low, one.high, profile.errors.each, (wide, wide, low), strict=True
        )
    ]
    (x0, y0, _), (x1, y1, z1) = one.low, one.high
    return Obstacle(
        name=one.name,
        low=(x0 - more[0], y0 - more[1], one.low[2]),
        high=(x1 + more[0], y1 + more[1], z1 + more[2]),
    )


def report_move(found: Collector, program: ParsedProgram, i: int, said: Excess) -> None:
    """Add a finding on move i, with its line and text."""
    line = int(program.moves.line[i])
    found.add(
        said.code,
        said.what,
        line=line,
        text=program.lines[line - 1].strip(),
        value=float(said.value),
        limit=float(said.limit),
        at=said.at,
    )
