"""A slot of the nut as a solid, and the waste over it that may be opened."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blankcam.data import table
from blankcam.parts.curve import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontStep:
    """The nut's front cut back around a slot, its walls upright: where its string's edge lies."""

    back: float
    """How far, mm: y of the string's edge."""
    left: float
    right: float
    """Between which x."""
    bottom: float
    """How far down, z over the seat."""
    beside: float
    """Its back is straight so far beside the slot at least; farther out a tool may leave its round.
    """

    def covers(self, x: Array, y: Array) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether a place lies in it, seen from above."""
        return np.asarray((x >= self.left) & (x <= self.right) & (y < self.back))


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """The groove a string lies in: a round cylinder laid along the floor line, walls upright."""

    string: int
    note: str
    course: int
    gauge: float
    centre: float
    """x at the nut's front."""
    width: float
    floor_front: float
    """Finished floor at the front edge, over the seat."""
    tilt: float
    """The floor falls toward the head by this angle."""
    yaw: float
    """The axis turns toward +x by this angle going to the head."""
    lift: float
    exposure: float
    """Part of the gauge really standing above the finished top."""
    depth_front: float
    """Depth under the finished top at the front edge."""
    step: FrontStep | None = None
    """Where nut compensation has the nut's front cut back around it."""

    @property
    def edge(self) -> float:
        """Y of its front edge, where the string leaves it."""
        return 0.0 if self.step is None else self.step.back

    @property
    def top_front(self) -> float:
        """Height of the finished top over its middle at its front edge."""
        return self.floor_front + self.depth_front

    @property
    def radius(self) -> float:
        """Radius of the round floor."""
        return self.width / 2

    def axis(self, y: Array | float) -> Array:
        """Place x of the slot's middle over y."""
        return np.asarray(self.centre + math.tan(self.yaw) * np.asarray(y, dtype=float))

    def floor(self, y: Array | float) -> Array:
        """Height of the finished floor line over y."""
        behind = np.asarray(y, dtype=float) - self.edge
        return np.asarray(self.floor_front - math.tan(self.tilt) * behind)

    def straight_back(self) -> tuple[float, float]:
        """Between which x the back of its step must be straight."""
        reach = self.radius + (0.0 if self.step is None else self.step.beside)
        return self.centre - reach, self.centre + reach

    def surface(self, x: Array, y: Array) -> Array:
        """Finished groove over the plan; +inf outside its walls.

        The cylinder of radius r along a line falling by ``tilt``: a section across x at one y is
        an ellipse, so z = floor + (r − sqrt(r² − dx²))/cos(tilt).
        """
        dx = np.asarray(x - self.axis(y)) * math.cos(self.yaw)
        r = self.radius
        inside = np.abs(dx) <= r
        rise = (r - np.sqrt(np.maximum(r**2 - dx**2, 0.0))) / math.cos(self.tilt)
        return np.where(inside, self.floor(y) + rise, np.inf)

    def without_step(self) -> Slot:
        """The same groove where the nut's front stands whole."""
        return dataclasses.replace(self, step=None, floor_front=float(self.floor(0.0)))

    def with_floor_raised(self, by: float) -> Slot:
        """The slot with its floor ``by`` mm higher under the same top."""
        return dataclasses.replace(
            self, floor_front=self.floor_front + by, depth_front=self.depth_front - by
        )


def clear_window(slots: Sequence[Slot], slot: Slot, length: float) -> tuple[float, float]:
    """Between which x the waste over one of a part's slots may be opened, in stage rough.

    The slots of a course may share their opening: a wall stays between two courses.
    ``length``: the part's, mm.
    """
    limits = table("limits")["nut"]
    at = sorted(slots, key=lambda s: s.centre)
    i = at.index(slot)
    left = slot.centre - slot.radius - limits["clear_side"]
    right = slot.centre + slot.radius + limits["clear_side"]
    for a, b in pairwise(at[: i + 1]):
        if a.course != b.course:
            left = max(left, between(a, b) + limits["clear_wall"] / 2)
    for a, b in pairwise(at[i:]):
        if a.course != b.course:
            right = min(right, between(a, b) - limits["clear_wall"] / 2)
    left, right = max(left, limits["clear_wall"]), min(right, length - limits["clear_wall"])
    return (min(left, slot.centre - slot.radius), max(right, slot.centre + slot.radius))


def between(left: Slot, right: Slot) -> float:
    """Middle of the wall between two slots."""
    return (left.centre + left.radius + right.centre - right.radius) / 2
