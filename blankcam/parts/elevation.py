"""What is drawn and cut flat: elevations and plans as chains of lines and arcs, and their offsets.

Elevations are seen from the bridge toward the head: the first axis is the part's x (to the right
from its left end), the second its z (up from the floor of the seat). Plans: x and y. Closed chains
are walked counter-clockwise. Nothing is ever mirrored.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from blankcam.parts.curve import Arc, Chain, Line, Point, Segment, fit, through
from blankcam.parts.nut import Nut
from blankcam.parts.part import Part
from blankcam.parts.saddle import Saddle
from blankcam.parts.silhouette import WITHIN, closed_under, top_line
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.top_curve import Curve


def slotted(nut: Part) -> Chain:
    """A finished part's closed outline at its front, with the slots in it."""
    cuts = sorted((slot_section(nut, s, 0.0) for s in nut.slots), key=lambda c: -c[0].start[0])
    back: list[Segment] = []
    at = nut.length
    for cut in cuts:
        back += top_line(nut.top, at, cut[0].start[0])
        back += cut
        at = cut[-1].end[0]
    back += top_line(nut.top, at, 0.0)
    return closed_under(nut.length, tuple(back))


def slot_section(nut: Part, slot: Slot, raised: float) -> Chain:
    """A slot at its front from its right mouth down, round its floor and up to the left.

    ``raised``: how much higher than finished its floor stands. The round floor is the section of
    a cylinder that falls by the slot's tilt, an ellipse, drawn as arcs within ``WITHIN``.
    """
    half = slot.radius / math.cos(slot.yaw)
    deep = slot.radius / math.cos(slot.tilt)
    floor = slot.floor_front + raised

    def wall(turn: float) -> Point:
        return (slot.centre + half * math.sin(turn), floor + deep * (1 - math.cos(turn)))

    right, left = (_mouth(nut.top, wall, sign * math.pi / 2) for sign in (1, -1))
    turns = (*np.linspace(right, 0.0, 5), *np.linspace(0.0, left, 5)[1:])  # the lowest is a joint
    low = tuple(
        through(wall(float(a)), wall(float((a + b) / 2)), wall(float(b)))
        for a, b in pairwise(turns)
    )
    return (*_upright(nut.top, low[0].start), *low, *_upright(nut.top, low[-1].end, up=True))


def step_front(nut: Part, slot: Slot) -> Chain:
    """A slot's step seen from the bridge: down its left wall, along its bottom, up its
    right wall.
    """
    assert slot.step is not None
    ends = [(x, slot.step.bottom) for x in (slot.step.left, slot.step.right)]
    left, right = (_upright(nut.top, end, up=True) for end in ends)
    return (*(s.reversed() for s in left), Line(ends[0], ends[1]), *right)


def step_plan(slot: Slot) -> Chain:
    """A slot's step from above: in along its left wall, along its back, out along its
    right wall.
    """
    assert slot.step is not None
    step = slot.step
    corners = ((step.left, 0.0), (step.left, step.back), (step.right, step.back), (step.right, 0.0))
    return tuple(Line(p, q) for p, q in pairwise(corners))


def slot_shape(nut: Part, slot: Slot, raised: float = 0.0) -> Chain:
    """A slot's section as a closed outline, its mouth closed by the finished top."""
    section = slot_section(nut, slot, raised)
    lid = top_line(nut.top, section[-1].end[0], section[0].start[0])
    loop = (*section, *lid)
    return tuple(s.reversed() for s in reversed(loop))


def _mouth(top: Curve, wall: Callable[[float], Point], end: float) -> float:
    """The turn from the lowest point at which a round floor meets the top, or ``end``."""

    def under(turn: float) -> bool:
        x, z = wall(turn)
        return z < float(top.height(np.array(x)))

    if under(end):
        return end
    low, high = 0.0, end
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if under(middle) else (low, middle)
    return low


def _upright(top: Curve, foot: Point, *, up: bool = False) -> Chain:
    """The straight wall between a round floor and the top; nothing where they meet."""
    x, z = foot
    mouth = (x, float(top.height(np.array(x))))
    if mouth[1] - z < 1e-6:
        return ()
    return (Line(foot, mouth),) if up else (Line(mouth, foot),)


def slot_plan(nut: Nut, slot: Slot) -> tuple[Chain, Chain, Chain]:
    """A slot from above at its full width: left wall, axis, right wall."""
    run = np.array([slot.edge, nut.thickness])
    x = slot.axis(run)
    half = slot.radius / math.cos(slot.yaw)
    left, axis, right = (
        (Line((float(x[0] + d), slot.edge), (float(x[1] + d), nut.thickness)),)
        for d in (-half, 0.0, half)
    )
    return left, axis, right


def ridge_plan(saddle: Saddle) -> Chain:
    """The ridge line from above, end to end."""
    return fit(saddle.ridge.height, 0.0, saddle.length, WITHIN)


def nut_end(nut: Nut, x: float, stage: Stage) -> Chain:
    """The nut cut across at x between its slots, seen from its left end.

    First axis: thickness - y, so the string side stands on the right and the head is to the left.
    """
    return _leaning(nut.thickness, *(_top_at(nut, x, y, stage) for y in (0.0, nut.thickness)))


def slot_end(nut: Nut, slot: Slot) -> Chain:
    """The finished nut cut through along a slot's lowest line, seen from the nut's left end."""
    t, back = nut.thickness, float(slot.floor(nut.thickness))
    if slot.step is None:
        return _leaning(t, slot.floor_front, back)
    front, edge, bottom = t - slot.edge, slot.floor_front, slot.step.bottom
    corners = ((0.0, 0.0), (t, 0.0), (t, bottom), (front, bottom), (front, edge), (0.0, back))
    return tuple(Line(p, q) for p, q in zip(corners, (*corners[1:], corners[0]), strict=True))


def _top_at(nut: Nut, x: float, y: float, stage: Stage) -> float:
    return float(nut.at(stage).surface.height(np.array(x), np.array(y)))


def _leaning(thickness: float, front: float, back: float) -> Chain:
    """A section from the seat up to a line from its height in front to that at the back."""
    corners = ((0.0, 0.0), (thickness, 0.0), (thickness, front), (0.0, back))
    return tuple(Line(p, q) for p, q in zip(corners, (*corners[1:], corners[0]), strict=True))


def saddle_end(saddle: Saddle, x: float, stage: Stage) -> Chain:
    """The saddle cut across at x, seen from its left end; first axis: thickness - y.

    The face toward the nut (y = thickness) stands on the left.
    """
    t, r = saddle.thickness, saddle.crown_radius
    high = float(saddle.at(stage).top.height(np.array(x)))
    ridge = t - float(saddle.ridge.height(np.array(x)))
    right, left = (high - r + math.sqrt(r**2 - (a - ridge) ** 2) for a in (t, 0.0))
    return (
        Line((0.0, 0.0), (t, 0.0)),
        Line((t, 0.0), (t, right)),
        Arc((t, right), (0.0, left), (ridge, high - r), ccw=True),
        Line((0.0, left), (0.0, 0.0)),
    )


def moved(chain: Chain, da: float, db: float) -> Chain:
    """The chain shifted."""
    return tuple(s.moved(da, db) for s in chain)


def bounds(chains: Sequence[Chain]) -> tuple[float, float, float, float]:
    """Least a, least b, greatest a, greatest b over all chains, exact for arcs."""
    spots = [p for c in chains for s in c for p in _extremes(s)]
    a, b = zip(*spots, strict=True)
    return min(a), min(b), max(a), max(b)


def _extremes(seg: Segment) -> list[Point]:
    """Ends of a segment and the places where it runs level or upright."""
    if isinstance(seg, Line):
        return [seg.start, seg.end]
    c, r = seg.centre, seg.radius
    begin = math.atan2(seg.start[1] - c[1], seg.start[0] - c[0])
    span, spots = abs(seg.sweep), [seg.start, seg.end]
    for turn in (0.0, math.pi / 2, math.pi, -math.pi / 2):
        gone = (turn - begin) % math.tau if seg.ccw else (begin - turn) % math.tau
        if gone < span:
            spots.append((c[0] + r * math.cos(turn), c[1] + r * math.sin(turn)))
    return spots


def scaled(chain: Chain, by: float) -> Chain:
    """The chain enlarged about the origin."""

    def big(p: Point) -> Point:
        return (p[0] * by, p[1] * by)

    return tuple(
        Line(big(s.start), big(s.end))
        if isinstance(s, Line)
        else Arc(big(s.start), big(s.end), big(s.centre), s.ccw)
        for s in chain
    )
