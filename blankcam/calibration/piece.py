"""The test piece: a strip with a comb of lands along its front edge and another at its right end.

Frame: x right from the left end, y back from the front edge, z up from the underside. A *land* is
what stands between two passes; what an outside caliper says across it tells the tool's diameter,
and with passes that came to their places from either side, the play of the axis. Each land along
the front ends in a *step* that its tool has milled down: its height tells the tool's zero.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.feeds import cusp_flat, step_flat
from blankcam.parts.curve import Array, Chain, Line
from blankcam.parts.fit import Fit
from blankcam.parts.frames import Box, ReferenceSurface
from blankcam.parts.part import Feature, FeatureKind
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage
from blankcam.parts.surface import PartSurface
from blankcam.parts.top_curve import Curve

SIZES = table("coupon")["piece"]
UP, DOWN = 1, -1
"""The way an axis comes to a place: with rising or with falling coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Land:
    """What stands between two passes of one tool; mm."""

    name: str
    axis: str
    """``x`` or ``y``: across which it is measured."""
    tool: Tool
    low: float
    high: float
    """Its two walls along that axis."""
    deep: float
    """How deep below the top its tool goes."""
    ways: tuple[int, int] = (UP, UP)
    """How the axis comes to the pass at the low and at the high wall."""

    @property
    def measured(self) -> bool:
        """Whether its walls are cut by its tool: a cone's would lean, they stay as cleared."""
        return self.tool.shape is not Shape.TAPERED_BALL

    @property
    def wide(self) -> float:
        """What it would measure on a true machine."""
        return self.high - self.low


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The front end of a land along the front, milled down; mm."""

    land: Land
    tool: Tool
    deep: float
    """Under the top."""
    way: int = DOWN
    """How Z comes to its height."""

    @property
    def stride(self) -> float:
        """From one pass to the next."""
        tip = self.tool.tip_radius
        if self.tool.shape is Shape.FLAT:
            return 0.6 * self.tool.diameter
        return step_flat(SIZES["cusp"], tip)

    @property
    def cusp(self) -> float:
        """What stands over its floor between two passes: a caliper's jaw lies on that."""
        return 0.0 if self.tool.shape is Shape.FLAT else float(SIZES["cusp"])


@dataclass(frozen=True, slots=True, kw_only=True)
class Trough:
    """What is cleared beside lands: from the edge inward; mm."""

    axis: str
    """Across which its walls stand."""
    low: float
    high: float
    deep: float
    walls: tuple[Land | None, Land | None]
    """The lands at its low and high side."""


@dataclass(frozen=True, kw_only=True)
class Coupon:
    """The whole piece; a part like any other to the proof."""

    lands: tuple[Land, ...]
    steps: tuple[Step, ...]
    troughs: tuple[Trough, ...]
    clearer: Tool
    """The tool that clears the troughs; its lands are A to D."""
    length: float
    height: float
    left_out: tuple[tuple[Tool, str], ...] = ()
    """Tools that are not measured, and why."""
    thickness: float = SIZES["width"]
    name: str = "coupon"

    @cached_property
    def reach(self) -> float:
        """How far in from the front edge walls along Y are true, mm."""
        wide = max(t.radius for t in self.tools)
        return float(SIZES["step_long"] + wide + SIZES["walls_long"])

    @cached_property
    def inner(self) -> float:
        """How far in from the front edge the troughs are cleared, mm."""
        return self.reach + max(t.radius for t in self.tools) + float(SIZES["spare"])

    @property
    def comb(self) -> float:
        """How far in from the right end the troughs are cleared, mm."""
        return float(SIZES["comb"])

    @property
    def comb_reach(self) -> float:
        """How far in from the right end walls along X are true, mm."""
        return self.comb - self.clearer.radius - float(SIZES["spare"])

    @property
    def clear_stride(self) -> float:
        """From one lane of the clearing tool to the next, mm."""
        return self.clearer.diameter * (0.65 if self.clearer.shape is Shape.FLAT else 0.4)

    @property
    def clear_ridge(self) -> float:
        """What stands between two of its lanes, mm."""
        if self.clearer.shape is Shape.FLAT:
            return 0.0
        return cusp_flat(self.clear_stride, self.clearer.tip_radius)

    @property
    def mark(self) -> tuple[float, float]:
        """Where each tool is touched off on its top, and its thickness is measured: x and y."""
        return self.length / 2, (self.inner + self.thickness) / 2

    @property
    def tools(self) -> tuple[Tool, ...]:
        """Every tool measured, the one that clears first."""
        seen = {s.tool.number: s.tool for s in self.steps}
        return tuple(seen.values())

    @property
    def box(self) -> Box:
        """The strip before it is cut."""
        return Box(x0=0.0, x1=self.length, y0=0.0, y1=self.thickness, z0=0.0, z1=self.height)

    def land(self, name: str) -> Land:
        """The land of that name."""
        return next(one for one in self.lands if one.name == name)

    # -- what the proof asks of a part ---------------------------------------------------------

    @property
    def fit(self) -> Fit:
        """It has no seat."""
        t = self.thickness
        return Fit(name="hand", code="none", seat=t, low=t, high=t)

    @property
    def top(self) -> Curve:
        """Not asked of it."""
        raise NotImplementedError

    @property
    def top_radius(self) -> float | None:
        """Its top is straight."""
        return math.inf

    @property
    def slots(self) -> tuple[Slot, ...]:
        """It has none."""
        return ()

    @property
    def allowance(self) -> float:
        """Nothing is left on it."""
        return 0.0

    @property
    def features(self) -> tuple[Feature, ...]:
        """It is made as a whole."""
        return ()

    @property
    def seen_side(self) -> ReferenceSurface:
        """Its front."""
        return ReferenceSurface.PIECE_FRONT

    @property
    def top_feature(self) -> FeatureKind:
        """Its top stays as it is."""
        return FeatureKind.TOP

    def at(self, stage: Stage) -> CouponTarget:
        """What is to be left of it, whatever the stage."""
        del stage
        return CouponTarget(piece=self)

    def elevation(self) -> Chain:
        """Its outline seen from the front."""
        return _rectangle(self.length, self.height)

    def plan(self) -> Chain:
        """Its outline from above."""
        return _rectangle(self.length, self.thickness)


def _rectangle(a: float, b: float) -> Chain:
    corners = ((0.0, 0.0), (a, 0.0), (a, b), (0.0, b), (0.0, 0.0))
    return tuple(Line(p, q) for p, q in pairwise(corners))


@dataclass(frozen=True, slots=True, kw_only=True)
class CouponTarget:
    """What the programs are to leave of the piece.

    Where walls end in rounds and where a cutter leaves its own form beside a wall there is nothing
    to be measured and nothing is judged but that no trough is too deep.
    """

    piece: Coupon
    raised: float = 0.0
    ridge: float = 0.0
    floor_raise: float = 0.0
    opened: float = 0.0

    @property
    def top(self) -> Curve:
        """Not asked of it."""
        raise NotImplementedError

    @property
    def slots(self) -> tuple[Slot, ...]:
        """It has none."""
        return ()

    @property
    def surface(self) -> PartSurface:
        """Not asked of it."""
        raise NotImplementedError

    def elevation(self) -> Chain:
        """Its outline seen from the front."""
        return self.piece.elevation()

    def lower(self, x: Array, y: Array) -> Array:
        """Nothing may be cut below this; -inf outside the plan."""
        p = self.piece
        x, y = np.broadcast_arrays(x, y)
        z = np.full(x.shape, p.height)
        for trough in p.troughs:
            z = np.where(self._inside(trough, x, y), p.height - trough.deep, z)
        widest = max(t.radius for t in p.tools)
        for step in p.steps:
            over = (x >= step.land.low) & (x <= step.land.high)
            z = np.where(over & (y <= SIZES["step_long"] + widest), p.height - step.deep, z)
        outside = (x < 0) | (x > p.length) | (y < 0) | (y > p.thickness)
        return np.where(outside, -np.inf, z)

    def upper(self, x: Array, y: Array, milled: frozenset[int]) -> Array:
        """Nothing may be left above this; +inf outside the plan."""
        del milled
        p = self.piece
        x, y = np.broadcast_arrays(x, y)
        z = np.full(x.shape, p.height)
        for trough in p.troughs:
            z = np.where(self._judged(trough, x, y), self._left(trough, x, y), z)
        for step in p.steps:
            inside = (x >= step.land.low) & (x <= step.land.high)
            near = y <= SIZES["step_long"]
            z = np.where(inside & near, p.height - step.deep + step.cusp, z)
        outside = (x < 0) | (x > p.length) | (y < 0) | (y > p.thickness)
        return np.where(outside, np.inf, z)

    def uncut(self, x: Array, y: Array) -> Array:
        """Nothing of it is left to the hand: as ``upper``."""
        return self.upper(x, y, frozenset())

    def _inside(self, trough: Trough, x: Array, y: Array) -> Array:
        p = self.piece
        if trough.axis == "x":
            return np.asarray((x >= trough.low) & (x <= trough.high) & (y <= p.inner))
        return np.asarray((y >= trough.low) & (y <= trough.high) & (x >= p.length - p.comb))

    def _judged(self, trough: Trough, x: Array, y: Array) -> Array:
        p = self.piece
        if trough.axis == "x":
            return np.asarray((x >= trough.low) & (x <= trough.high) & (y <= p.reach))
        return np.asarray((y >= trough.low) & (y <= trough.high) & (x >= p.length - p.comb_reach))

    def _left(self, trough: Trough, x: Array, y: Array) -> Array:
        """The floor, and beside a land what its tool leaves of the spare."""
        at = x if trough.axis == "x" else y
        floor = self.piece.height - trough.deep + self.piece.clear_ridge
        z = np.full(at.shape, floor)
        for land, wall, side in zip(trough.walls, (trough.low, trough.high), (1, -1), strict=True):
            off = side * (at - wall)
            strip = off <= (0.0 if land is None else SIZES["spare"] + 0.01)
            rounded = off <= (0.0 if land is None else SIZES["spare"]) + _fillet(self.piece.clearer)
            if land is not None and land.measured:
                z = np.where(strip, np.maximum(z, self._beside(land, off)), z)
                z = np.where(rounded & ~strip, self.piece.height, z)
            else:
                z = np.where(strip | rounded, self.piece.height, z)
        return z

    def _beside(self, land: Land, off: Array) -> Array:
        """The height of what a land's own tool leaves so far beside its wall."""
        tool, foot = land.tool, self.piece.height - land.deep
        if tool.shape is Shape.FLAT:
            return np.full(off.shape, foot)
        r = tool.radius
        aside = np.clip(r - np.asarray(off), 0.0, r)
        return np.asarray(foot + r - np.sqrt(r**2 - aside**2))


# -- laying it out -----------------------------------------------------------------------------


def coupon_for(profile: Profile, wanted: Sequence[int] = ()) -> Coupon:
    """The piece for a machine's tools, or for those of these numbers.

    Raises
    ------
    InputError
        Where a number is none of the machine's.
    RefusedError
        Where none of them can clear the troughs, or they are too many for one piece.
    """
    tools, left_out = _measurable(profile, wanted)
    clearer = _clearer(profile, tools)
    others = sorted((t for t in tools if t is not clearer), key=lambda t: (-t.diameter, t.number))
    return _laid_out(clearer, others, tuple(left_out))


def _measurable(
    profile: Profile, wanted: Sequence[int]
) -> tuple[list[Tool], list[tuple[Tool, str]]]:
    """The tools that can be measured, and the others with the reason."""
    where = profile.path or profile.name
    own = {t.number: t for t in profile.tools}
    if unknown := [n for n in wanted if n not in own]:
        fix = f"its tools are {', '.join(map(str, own))}"
        wrong = f"the machine has no tool {unknown[0]}"
        raise InputError(Fault(where="--tools", found=unknown[0], wrong=wrong, fix=fix))
    asked = [own[n] for n in dict.fromkeys(wanted)] or list(profile.tools)
    why = {t.number: _not_measured(t) for t in asked}
    tools = [t for t in asked if not why[t.number]]
    if len(tools) > SIZES["most_tools"]:
        wrong = f"{len(tools)} tools are too many for one piece"
        fix = f"name at most {SIZES['most_tools']} with --tools, such as --tools 1,2,5"
        raise RefusedError(Fault(where=where, key="tools", wrong=wrong, fix=fix))
    return tools, [(t, why[t.number]) for t in asked if why[t.number]]


def _not_measured(tool: Tool) -> str:
    """Why a tool is not measured; empty where it is."""
    if tool.shape is Shape.VEE:
        return "a vee cuts nothing that a caliper could be put to"
    if tool.diameter > SIZES["widest_tool"]:
        return f"wider than {SIZES['widest_tool']:g} mm, which no slot needs"
    if _contact(tool) < SIZES["least_contact"]:
        return "its flutes are too short for walls that a caliper can be put to"
    return ""


def _fillet(tool: Tool) -> float:
    return 0.0 if tool.shape is Shape.FLAT else tool.tip_radius


def _contact(tool: Tool) -> float:
    """How much of a wall stands upright that the tool's flutes reach, mm."""
    room = min(tool.flute_length, tool.reach) - _fillet(tool) - 0.1
    return float(min(SIZES["contact"], room))


def _clearer(profile: Profile, tools: Sequence[Tool]) -> Tool:
    """The tool that clears: the largest flat one of those asked for, else of all, else a ball."""
    for each in (tools, [t for t in profile.tools if not _not_measured(t)]):
        wide = [
            t for t in each if t.diameter >= SIZES["clears"] and _contact(t) >= SIZES["contact"]
        ]
        for shape in (Shape.FLAT, Shape.BALL):
            if fit := [t for t in wide if t.shape is shape]:
                return max(fit, key=lambda t: (t.diameter, -t.number))
    wrong = f"no flat or ball tool of {SIZES['clears']:g} mm or more can clear the piece"
    raise RefusedError(Fault(where=profile.path or profile.name, key="tools", wrong=wrong,
                             fix="add one"))  # fmt: skip


def _land(name: str, tool: Tool, place: int, ways: tuple[int, int] = (UP, UP)) -> Land:
    """A land at 0; ``place``: of its width among all, so that no two are alike."""
    deep = _fillet(tool) + _contact(tool)
    wide = SIZES["land"] + SIZES["wider"] * place
    return Land(name=name, axis="x", tool=tool, low=0.0, high=wide, deep=deep, ways=ways)


def _laid_out(
    clearer: Tool, others: Sequence[Tool], left_out: tuple[tuple[Tool, str], ...]
) -> Coupon:
    """Everything in its place: A, a land for each other tool, and B along the front; C, D behind.

    A and B, C and D are as far apart as they can be: their distance shows the scale of the axis.
    Their widths differ by two steps: swapped, they would pass for half as much play.
    """
    gap = float(max(SIZES["trough"], clearer.diameter + SIZES["beside_tool"]))
    along = [_land("A", clearer, 0, (UP, DOWN))]
    places = [1, *range(3, len(others) + 2)]
    along += [_land(f"T{t.number}", t, i) for t, i in zip(others, places, strict=False)]
    along.append(_land("B", clearer, 2, (DOWN, UP)))
    front, end = _in_a_row(along, gap)
    length = float(math.ceil(end + SIZES["wall"] + SIZES["comb"]))
    behind = [_land("C", clearer, -1, (UP, DOWN)), _land("D", clearer, -3, (DOWN, UP))]
    wide = float(max(SIZES["width"], math.ceil(3 * gap + sum(one.wide for one in behind))))
    side = _at_both_ends(behind, gap, wide)
    steps = tuple(_steps(front))
    troughs = (*_troughs(front, steps, end), *_troughs(side, (), wide + 1.0))
    deep = max(t.deep for t in troughs)
    high = math.ceil(SIZES["jaws"] + SIZES["over_jaws"] + deep)
    return Coupon(
        lands=(*front, *side),
        steps=steps,
        troughs=troughs,
        clearer=clearer,
        length=length,
        thickness=wide,
        height=float(max(SIZES["least_high"], high)),
        left_out=left_out,
    )


def _in_a_row(lands: Sequence[Land], gap: float) -> tuple[list[Land], float]:
    """Lands one after the other, and where the last trough ends."""
    placed, at = [], gap
    for land in lands:
        placed.append(dataclasses.replace(land, low=at, high=at + land.wide))
        at += land.wide + gap
    return placed, at


def _at_both_ends(lands: Sequence[Land], gap: float, wide: float) -> list[Land]:
    """Two lands across Y, a trough from the front and from the back."""
    first, last = lands
    return [
        dataclasses.replace(first, axis="y", low=gap, high=gap + first.wide),
        dataclasses.replace(last, axis="y", low=wide - gap - last.wide, high=wide - gap),
    ]


def _steps(lands: Sequence[Land]) -> Iterator[Step]:
    """A step a land, neighbours of very different depths; B's is come to from below."""
    more = min(SIZES["step_more"], SIZES["step_range"] / (len(lands) - 1))
    for land, place in zip(lands, _far_apart(len(lands)), strict=True):
        deep = SIZES["step_first"] + more * place
        way = UP if land.name == "B" else DOWN
        yield Step(land=land, tool=land.tool, deep=deep, way=way)


def _far_apart(count: int) -> list[int]:
    """The numbers from 0, in an order in which neighbours are far apart: 0 3 6 1 4 7 2 5."""
    return [i for first in range(3) for i in range(first, count, 3)]


def _troughs(lands: Sequence[Land], steps: Sequence[Step], end: float) -> Iterator[Trough]:
    """The troughs before, between and behind lands; the first is open at its low side."""
    down = {s.land.name: s.deep for s in steps}
    sides: list[Land | None] = [None, *lands, None]
    for low, high in pairwise(sides):
        deep = max(max(one.deep, down.get(one.name, 0.0)) for one in (low, high) if one)
        yield Trough(
            axis=lands[0].axis,
            low=low.high if low else -1.0,
            high=high.low if high else end,
            deep=deep + SIZES["under"],
            walls=(low, high),
        )
