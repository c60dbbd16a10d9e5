"""A nut's slot cut across at its front edge and along its middle, in the nut's millimetres.

What stands at each step of the work, what goes, and where the string lies. ``slot_across`` and
``slot_along`` lay this out with its dimensions for a screen or for paper.

Across: the part's x, and z over the seat, seen from the bridge. Along: thickness - y, so that the
head is to the left, and z.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from blankcam.instrument.heights import StringPath
from blankcam.parts.curve import Array, Point
from blankcam.parts.nut import Nut
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.surface import HeightField

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

STEP = 0.02
"""mm between the places at which a profile is taken."""
LEAST = 0.003
"""mm: what is thinner is no waste but the proof's own grain."""


class Standing(StrEnum):
    """How far the work has come; a section shows what goes from there on."""

    BLANK = "blank"
    ROUGH = "rough"
    REFIT = "refit"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a refit asks of a slot: heights over the seat at its middle and front edge, mm."""

    floor: float
    top: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotSection:
    """One slot with all that its sections show."""

    nut: Nut
    slot: Slot
    string: StringPath
    stock: float
    """Height of the blank over the seat."""
    milled: bool
    """Whether a machine cuts it to its rough floor; else the file does."""
    bass_left: bool
    left: HeightField | None = None
    """What the replay of stage rough left; without it, the shape that the stage asks for."""
    refit: Asked | None = None
    """None before the readings."""
    stands: Asked | None = None
    """How the slot and its top stand now, where a refit asks for less; else as stage rough."""

    @property
    def finished_top(self) -> float:
        """Over the seat at the slot's middle and front edge, as all heights here."""
        return self.slot.top_front

    @property
    def rough_top(self) -> float:
        """Where stage rough leaves the top beside the slot."""
        if self.stands is not None:
            return self.stands.top
        return self.finished_top + self.nut.allowance

    @property
    def first_floor(self) -> float:
        """How deep the slot goes before the strings are on."""
        if self.stands is not None:
            return self.stands.floor
        return min(self.slot.floor_front + self.nut.hold_back, self.rough_top)

    @property
    def clear(self) -> float:
        """Between the string and each wall, mm."""
        return (self.slot.width - self.slot.gauge) / 2

    @property
    def stands_out(self) -> float:
        """Of the string over the finished top, mm."""
        return self.slot.gauge - self.slot.depth_front

    @property
    def nick(self) -> float | None:
        """Depth of the nick that was milled for the file, as the replay left it; None without."""
        if self.milled or self.left is None:
            return None
        _, z = _row(self, self.slot.centre - STEP, self.slot.centre + STEP)
        depth = self.rough_top - float(np.min(z, initial=math.inf))
        return depth if depth > 2 * LEAST else None

    @property
    def string_make(self) -> str:
        """How it is drawn; see ``string_look``."""
        return string_look(self.string.make)

    @property
    def standings(self) -> tuple[Standing, ...]:
        """Those that there is something to show of."""
        return tuple(s for s in Standing if s is not Standing.REFIT or self.refit is not None)

    def window(self, half: float) -> tuple[float, float]:
        """Places x that far to both sides, but short of the slots beside it and the nut's ends."""
        c = self.slot.centre
        others = [s for s in self.nut.slots if s.string != self.slot.string]
        left = [s.centre + s.radius + 0.05 for s in others if s.centre < c]
        right = [s.centre - s.radius - 0.05 for s in others if s.centre > c]
        return max([c - half, 0.0, *left]), min([c + half, self.nut.length, *right])

    def lies_at(self, standing: Standing) -> float | None:
        """The floor that the string lies on now; None while it is not in its place yet."""
        if standing is Standing.FINISHED:
            return self.slot.floor_front
        strung = standing is Standing.REFIT or (standing is Standing.ROUGH and self.milled)
        return self.first_floor if strung else None


def string_look(make: str) -> str:
    """How a string of that make looks: ``plain steel``, ``wound`` or ``nylon``."""
    if "wound" in make:
        return "wound"
    return "plain steel" if "steel" in make else "nylon"


def finished_floor(section: SlotSection, standing: Standing) -> float:
    """The floor that the work is to come to: the refit's where one is asked for."""
    asked = section.refit if standing is Standing.REFIT else None
    return section.slot.floor_front if asked is None else asked.floor


def finished_across(section: SlotSection, left: float, right: float, standing: Standing
                    ) -> list[Point]:  # fmt: skip
    """The line that the work is to come to, across, from left to right."""
    asked = section.refit if standing is Standing.REFIT else None
    done = Asked(floor=section.slot.floor_front, top=section.finished_top)
    return _shaped_across(section, left, right, asked or done)


def _shaped_across(section: SlotSection, left: float, right: float, to: Asked) -> list[Point]:
    """The line of a top and a slot at those heights."""
    raised = to.top - section.finished_top
    slot = section.slot
    lowered = to.floor - slot.floor_front
    walls = [slot.centre + side * (slot.radius + e) for side in (-1, 1) for e in (-1e-6, 1e-6)]
    x = np.unique(np.concatenate([_places(left, right), np.clip(walls, left, right)]))
    top = section.nut.top.height(x) - math.tan(section.nut.tilt) * slot.edge + raised
    groove = slot.with_floor_raised(lowered).surface(x, np.full_like(x, slot.edge))
    return _simple(_points(x, np.minimum(top, groove)))


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesAcross:
    """The section's lines from left to right of what is shown."""

    finished: list[Point]
    wanted: list[Point]
    """What the work is to come to now: the refit's line where one is asked for."""
    rough: list[Point]
    stands: list[Point]
    """What stands at this step of the work."""


def lines_across(
    section: SlotSection, left: float, right: float, standing: Standing
) -> LinesAcross:
    """The lines at a step of the work, across, from left to right."""
    finished = finished_across(section, left, right, Standing.FINISHED)
    asked = standing is Standing.REFIT
    wanted = finished_across(section, left, right, standing) if asked else finished
    rough = rough_across(section, left, right)
    others = {
        Standing.BLANK: [(left, section.stock), (right, section.stock)],
        Standing.FINISHED: finished,
    }
    return LinesAcross(
        finished=finished, wanted=wanted, rough=rough, stands=others.get(standing, rough)
    )


def rough_across(section: SlotSection, left: float, right: float) -> list[Point]:
    """The rough line across, opened waste included where the replay is known."""
    if section.stands is not None:
        return _shaped_across(section, left, right, section.stands)
    return _simple(_points(*_row(section, left, right)))


def _row(section: SlotSection, left: float, right: float) -> tuple[Array, Array]:
    """Places and rough heights along the front edge."""
    edge = section.slot.edge
    if section.left is None:
        x = _places(left, right)
        return x, section.nut.at(Stage.ROUGH).upper(x, np.full_like(x, edge), _milled(section))
    field = section.left
    row = field.z[int(np.argmin(np.where(field.y >= edge, field.y, np.inf)))]
    x = np.unique(np.concatenate([field.x[(field.x > left) & (field.x < right)], [left, right]]))
    return x, np.interp(x, field.x, row)


def _milled(section: SlotSection) -> frozenset[int]:
    return frozenset((section.slot.string,)) if section.milled else frozenset()


def finished_along(section: SlotSection, standing: Standing) -> list[Point]:
    """The floor that the work is to come to, along, from the back face to the front."""
    return floor_along(section, finished_floor(section, standing))


def floor_along(section: SlotSection, floor: float) -> list[Point]:
    """A floor so high at the front edge, and the step before it, from the back face to
    the front.
    """
    slot, t = section.slot, section.nut.thickness
    edge = t - slot.edge
    line = [(0.0, floor - math.tan(slot.tilt) * edge), (edge, floor)]
    if slot.step is not None:
        line += [(edge, slot.step.bottom), (t, slot.step.bottom)]
    return line


def top_along(section: SlotSection, raised: float = 0.0) -> list[Point]:
    """The finished top beside the slot, behind the cut, so much higher."""
    t = section.nut.thickness
    front = section.finished_top + math.tan(section.nut.tilt) * section.slot.edge + raised
    return [(0.0, front - math.tan(section.nut.tilt) * t), (t, front)]


def standing_along(section: SlotSection, standing: Standing) -> list[Point]:
    """The line that stands at a step of the work, along."""
    t = section.nut.thickness
    if standing is Standing.BLANK:
        return [(0.0, section.stock), (t, section.stock)]
    if standing is Standing.FINISHED:
        return finished_along(section, standing)
    return rough_along(section)


def rough_along(section: SlotSection) -> list[Point]:
    """The rough line along the slot's middle."""
    if section.stands is not None:
        return floor_along(section, section.stands.floor)
    t, slot = section.nut.thickness, section.slot
    if section.left is None:
        y = _places(0.0, t)
        z = section.nut.at(Stage.ROUGH).upper(slot.axis(y), y, _milled(section))
    else:
        field = section.left
        inside = field.y[(field.y > 0) & (field.y < t)]
        column = field.z[:, int(np.argmin(np.abs(field.x - slot.centre)))]
        y = np.concatenate([[0.0], inside, [t]])
        z = np.interp(y, field.y, column)
    return _simple(_points(t - y[::-1], z[::-1]))


def string_along(section: SlotSection, floor: float, beyond: float) -> list[Point]:
    """The string's middle from behind the nut over its front edge; level from there."""
    t, half = section.nut.thickness, section.slot.gauge / 2
    slope, edge = math.tan(section.slot.tilt), t - section.slot.edge
    mid = floor + half / math.cos(section.slot.tilt)
    return [(-beyond, mid - slope * (edge + beyond)), (edge, mid), (t + beyond, mid)]


def filled(line: list[Point], low: float) -> BaseGeometry:
    """The bone under a line down to a height."""
    from shapely import Polygon

    return Polygon([*line, (line[-1][0], low), (line[0][0], low)]).buffer(0)


def height_at(body: BaseGeometry, x: float, high: float) -> float:
    """The upper limit of a body at ``x``, at most ``high``; ``high`` where there is no body."""
    from shapely import LineString

    cut = body.buffer(1e-6).intersection(LineString([(x, -1.0), (x, high)]))
    return float(cut.bounds[3]) if not cut.is_empty else high


def waste(standing: BaseGeometry, stays: BaseGeometry) -> BaseGeometry:
    """What goes, without slivers of the replay's grain."""
    return standing.difference(stays).buffer(-LEAST).buffer(LEAST, join_style="mitre")


def _places(left: float, right: float) -> Array:
    return np.linspace(left, right, max(2, math.ceil((right - left) / STEP)))


def _points(x: Array, z: Array) -> list[Point]:
    there = np.isfinite(x) & np.isfinite(z)
    return [(float(a), float(b)) for a, b in zip(x[there], z[there], strict=True)]


def _simple(points: list[Point]) -> list[Point]:
    from shapely import LineString

    return [(float(a), float(b)) for a, b in LineString(points).simplify(LEAST / 2).coords]
