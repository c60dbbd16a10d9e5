"""The passes that make the test piece."""

from __future__ import annotations

import math
from collections.abc import Iterator

from blankcam.calibration.piece import DOWN, SIZES, UP, Coupon, Land, Step, Trough
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Tool
from blankcam.machining.feeds import Cut, Material, Work, plan_cut
from blankcam.machining.setup_sheet import BESIDE, HOP, STANDING
from blankcam.parts.frames import ReferenceSurface, Setup, Zero
from blankcam.toolpath import bounds
from blankcam.toolpath.moves import Operation, Program, ToolPath


def coupon_program(piece: Coupon, profile: Profile, material: Material) -> Program:
    """The whole program, before it is split by tools."""
    clearance = piece.height + profile.clearance
    operations = tuple(_operations(piece, profile, material, clearance))
    return Program(
        stem="coupon",
        part=piece.name,
        setup=Setup.EDGE.value,
        stage="",
        material=material.name,
        stock=piece.box,
        holding=profile.holding,
        zeros=(
            Zero(axis="X", surface=ReferenceSurface.PIECE_LEFT_END),
            Zero(axis="Y", surface=ReferenceSurface.PIECE_FRONT),
            Zero(axis="Z", surface=ReferenceSurface.PIECE_TOP, value=piece.height),
        ),
        clearance=clearance,
        operations=operations,
        aside=bounds.place_aside(piece.box, operations, profile),
    )


def _operations(
    piece: Coupon, profile: Profile, material: Material, clearance: float
) -> Iterator[Operation]:
    for tool in piece.tools:
        cut = plan_cut(material, tool, profile, Work.SLOT)
        bench = _CouponWork(piece, tool, cut, clearance)
        if tool is piece.clearer:
            yield bench.operation("troughs", "clears beside all lands and over the steps")
            bench = _CouponWork(piece, tool, cut, clearance)
        bench.own_steps()
        bench.own_walls()
        names = ", ".join(one.name for one in piece.lands if one.tool is tool)
        yield bench.done("lands", f"steps and walls of {names}")


class _CouponWork:
    """One tool at work on the piece."""

    def __init__(self, piece: Coupon, tool: Tool, cut: Cut, clearance: float) -> None:
        self.piece, self.tool, self.cut = piece, tool, cut
        self.path = ToolPath(clearance)
        self.hop = piece.height + HOP
        self.away = tool.radius + BESIDE

    def operation(self, name: str, words: str) -> Operation:
        """Everything that the clearing tool does first."""
        for trough in self.piece.troughs:
            self._clear(trough)
        for step in self.piece.steps:
            if step.tool is not self.tool:
                self._mill(step, step.deep - SIZES["step_left"], self._wide_stride, DOWN)
        return self.done(name, words)

    def own_steps(self) -> None:
        """The steps of its own lands, to their depth."""
        for step in self.piece.steps:
            if step.tool is self.tool:
                before = 0.0 if self.tool is self.piece.clearer else step.deep - SIZES["step_left"]
                self._mill(step, step.deep, step.stride, step.way, before)

    def own_walls(self) -> None:
        """The walls of its own lands."""
        for land in self.piece.lands:
            if land.tool is self.tool and land.measured:
                r = self.tool.radius
                self._wall(land, land.low - r, land.ways[0])
                self._wall(land, land.high + r, land.ways[1])

    def done(self, name: str, words: str) -> Operation:
        """The operation of all moves so far."""
        self.path.leave()
        moves = tuple(self.path.moves)
        return Operation(name=name, words=words, tool=self.tool, cut=self.cut, moves=moves)

    # -- passes ----------------------------------------------------------------------------

    @property
    def _wide_stride(self) -> float:
        return self.piece.clear_stride

    def _layers(self, deep: float, before: float = 0.0) -> Iterator[float]:
        """Depths under the top, each no deeper than the tool may cut at once."""
        count = math.ceil((deep - before + STANDING) / self.cut.depth)
        for i in range(1, count + 1):
            yield before - STANDING + (deep - before + STANDING) * i / count

    def _to(self, axis: str, across: float, along: float) -> dict[str, float]:
        """A place by how far across the lands, and how far in from the edge, it is."""
        if axis == "x":
            return {"x": across, "y": along}
        return {"x": self.piece.length - along, "y": across}

    def _come(self, axis: str, across: float, along: float, way: int) -> None:
        """Over a place, the axis across the lands coming to it that way."""
        self.path.rapid(z=max(self.hop, self.path.at[2]))
        self.path.rapid(**self._to(axis, across - way * SIZES["aside"], along))
        self.path.rapid(**self._to(axis, across, along))

    def _clear(self, trough: Trough) -> None:
        """Snakes from the edge inward and out again, layer by layer."""
        low, high = (
            wall + side * (self.tool.radius + (SIZES["spare"] if land else 0.0))
            for wall, land, side in zip(
                (trough.low, trough.high), trough.walls, (1, -1), strict=True
            )
        )
        lanes = _spread(low, high, self._wide_stride)
        inner = self.piece.inner if trough.axis == "x" else self.piece.comb
        inner -= self.tool.radius
        for deep in self._layers(trough.deep):
            self._come(trough.axis, lanes[0], -self.away, UP)
            self.path.rapid(z=self.piece.height - deep)
            inward = True
            for i, lane in enumerate(lanes):
                if i:
                    at = inner if not inward else -self.away
                    self.path.line(self.cut.feed, **self._to(trough.axis, lane, at))
                to = inner if inward else -self.away
                self.path.line(self.cut.feed, **self._to(trough.axis, lane, to))
                inward = not inward

    def _mill(self, step: Step, deep: float, stride: float, way: int, before: float = 0.0) -> None:
        """The step, one-way passes inward, in layers; each pass comes to its height that way."""
        lanes = _spread(step.land.low, step.land.high, stride)
        for down in self._layers(deep, before):
            for lane in lanes:
                z = self.piece.height - down
                self._come("x", lane, -self.away, UP)
                if way == UP:
                    self.path.rapid(z=z - SIZES["aside"])
                self.path.rapid(z=z)
                self.path.line(self.cut.feed, y=float(SIZES["step_long"]))

    def _wall(self, land: Land, across: float, way: int) -> None:
        """One wall, layer by layer, the axis across it standing still from the first to
        the last.
        """
        self._come(land.axis, across, -self.away, way)
        reach = self.piece.reach if land.axis == "x" else self.piece.comb_reach
        for deep in self._layers(land.deep):
            self.path.rapid(z=self.piece.height - deep)
            self.path.line(self.cut.feed, **self._to(land.axis, across, reach))
            self.path.rapid(z=self.hop)
            self.path.rapid(**self._to(land.axis, across, -self.away))


def _spread(low: float, high: float, stride: float) -> list[float]:
    """Places from low to high, evenly, no further apart than a stride."""
    count = max(0, math.ceil((high - low) / stride - 1e-9))
    return [low + (high - low) * i / count for i in range(count + 1)] if count else [low]
