"""How long a program takes: trapezoid moves joined at corner speeds.

A planner of this kind slows down in a corner to the speed at which a circle that touches both
legs, a given deviation inside the corner, asks for no more than the acceleration there is (the
junction deviation of S. Jeon, 2011, as machining controllers use it).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from blankcam.data import table
from blankcam.inputs.machine import Axis, Profile, ToolChange
from blankcam.machining.kinematics import trapezoid
from blankcam.parts.frames import Place
from blankcam.toolpath.linearize import plane_arc
from blankcam.toolpath.moves import AXES_OF_PLANE, ArcMove, Move, Note, Program, Rapid, Stop

FLOOR: float = table("cutting")["time"]["floor"]
PAUSE: float = table("cutting")["time"]["pause"]

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One move as a planner sees it; mm, mm/s, mm/s²."""

    length: float
    speed: float
    acceleration: float
    begins: Vector
    """Direction at its start."""
    ends: Vector
    """Direction at its end."""
    cutting: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Seconds."""

    cutting: float
    air: float
    changes: float

    @property
    def total(self) -> float:
        """The estimate to show."""
        return FLOOR * (self.cutting + self.air) + self.changes


def corner_speed(before: Vector, after: Vector, acceleration: float, deviation: float) -> float:
    """Speed through a corner, mm/s; infinite where it goes straight on, 0 where it turns back."""
    cos = -sum(a * b for a, b in zip(before, after, strict=True))
    if cos > 0.999999:
        return 0.0
    if cos < -0.999999:
        return math.inf
    half = math.sqrt((1 - cos) / 2)
    return math.sqrt(acceleration * deviation * half / (1 - half))


def run_time(legs: Sequence[Leg], deviation: float) -> list[float]:
    """Seconds of each leg, from rest to rest."""
    if not legs:
        return []
    joints = [0.0]
    for a, b in pairwise(legs):
        corner = corner_speed(a.ends, b.begins, min(a.acceleration, b.acceleration), deviation)
        joints.append(min(corner, a.speed, b.speed))
    joints.append(0.0)
    for i, leg in enumerate(legs):  # what can be reached from rest
        joints[i + 1] = min(joints[i + 1], _reached(joints[i], leg))
    for i in range(len(legs) - 1, -1, -1):  # and can be stopped again
        joints[i] = min(joints[i], _reached(joints[i + 1], legs[i]))
    return [
        trapezoid(leg.length, leg.speed, leg.acceleration, joints[i], joints[i + 1])
        for i, leg in enumerate(legs)
    ]


def estimate(program: Program, profile: Profile) -> Times:
    """Seconds of a program, tool changes as the profile says."""
    cutting = air = 0.0
    for operation in program.operations:
        legs = list(legs_of(operation.moves, profile))
        for leg, seconds in zip(legs, run_time(legs, profile.corner_deviation), strict=True):
            if leg.cutting:
                cutting += seconds
            else:
                air += seconds
    numbers = [o.tool.number for o in program.operations]
    count = sum(a != b for a, b in pairwise(numbers))
    if profile.controller.tool_change is ToolChange.AUTOMATIC:
        count += 1
    starts = 1 + sum(a != b for a, b in pairwise(numbers))
    waits = count * (profile.tool_change_seconds + PAUSE) + starts * profile.spin_up
    if program.air:
        waits = sum(isinstance(m, Stop) for o in program.operations for m in o.moves) * PAUSE
    return Times(cutting=cutting, air=air, changes=waits)


def legs_of(moves: Iterable[Move], profile: Profile) -> Iterator[Leg]:
    """The moves as legs; none for the first, which begins at a place that is not known."""
    at: Place | None = None
    for move in moves:
        if isinstance(move, Note):
            continue
        if at is not None and not any(map(math.isnan, at)):
            leg = _leg(at, move, profile)
            if leg.length > 0:
                yield leg
        at = move.to


def _leg(at: Place, move: Move, profile: Profile) -> Leg:
    if isinstance(move, ArcMove):
        return _arc_leg(at, move, profile)
    assert not isinstance(move, Note)
    length = math.dist(at, move.to)
    way = _unit(at, move.to, length)
    limit = profile.rapid if isinstance(move, Rapid) else profile.feed_max
    speed = _within(way, limit) / 60
    if not isinstance(move, Rapid):
        speed = min(speed, move.feed / 60)
    return Leg(
        length=length,
        speed=speed,
        acceleration=_within(way, profile.acceleration),
        begins=way,
        ends=way,
        cutting=not isinstance(move, Rapid),
    )


def _arc_leg(at: Place, move: ArcMove, profile: Profile) -> Leg:
    arc = plane_arc(at, move)
    first, second, normal = AXES_OF_PLANE[move.plane]
    acceleration = min(
        getattr(profile.acceleration, "xyz"[first]), getattr(profile.acceleration, "xyz"[second])
    )
    rise = move.to[normal] - at[normal]
    length = math.hypot(arc.length, rise)

    def tangent(t: float) -> Vector:
        a, b = arc.at(t)
        sign = 1.0 if arc.ccw else -1.0
        way = [0.0, 0.0, 0.0]
        if length > 0 and arc.radius > 0:
            flat = arc.length / length
            way[first] = -sign * (b - arc.centre[1]) / arc.radius * flat
            way[second] = sign * (a - arc.centre[0]) / arc.radius * flat
            way[normal] = rise / length
        return (way[0], way[1], way[2])

    return Leg(
        length=length,
        speed=min(move.feed / 60, math.sqrt(acceleration * arc.radius)),
        acceleration=acceleration,
        begins=tangent(0.0),
        ends=tangent(1.0),
        cutting=True,
    )


def _reached(speed: float, leg: Leg) -> float:
    return math.sqrt(speed**2 + 2 * leg.acceleration * leg.length)


def _unit(at: Place, to: Place, length: float) -> Vector:
    if length == 0:
        return (0.0, 0.0, 0.0)
    x, y, z = ((b - a) / length for a, b in zip(at, to, strict=True))
    return (x, y, z)


def _within(way: Vector, limit: Axis) -> float:
    """The most along a direction that keeps every axis under its own limit."""
    shares = [
        most / abs(part)
        for part, most in zip(way, (limit.x, limit.y, limit.z), strict=True)
        if abs(part) > 1e-12
    ]
    return min(shares, default=limit.x)
