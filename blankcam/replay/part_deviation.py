"""The part that the programs leave, judged against the part that is wanted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Setup
from blankcam.parts.hand_left import NOTHING, HandLeft
from blankcam.parts.part import Part, Target
from blankcam.parts.stage import Stage
from blankcam.replay import outline_deviation
from blankcam.replay.codes import Code
from blankcam.replay.deviation import (
    Deviation,
    HeightAt,
    SlotDeviation,
    end_deviations,
    greatest_deviation,
    slot_deviation,
    step_deviation,
)
from blankcam.replay.face_setup import lower_by_face
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.motions import Moves, bounds
from blankcam.replay.polyline import value_by_tool
from blankcam.replay.reader import ParsedProgram
from blankcam.replay.stock_as_cut import StockAsCut
from blankcam.replay.sweep import swept_heights
from blankcam.replay.tool_profile import tool_profile_of

Floats = NDArray[np.float64]
Place = tuple[float, float, float]
Programs = Sequence[tuple[Setup, ParsedProgram]]
"""Programs in the order they run, each with its set-up."""

NOWHERE = Deviation(amount=0.0, at=(0.0, 0.0, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedPart:
    """What is to be left: the part at a stage, the strings whose slots are milled."""

    part: Part
    stage: Stage
    milled: frozenset[int]
    whole: bool
    """False where not all of the part's programs are given: what is left is not judged."""
    by_hand: HandLeft = NOTHING
    """What the hand still takes off."""

    @property
    def target(self) -> Target:
        """What the stage is to leave of the part."""
        return self.part.at(self.stage)

    @property
    def finished_top(self) -> HeightAt | None:
        """The top as the programs finish it for the stage; +inf over slots and outside the plan.

        None where the hand goes over it, and where a part has none to be brought out, as a test
        piece.
        """
        target, kinds = self.target, {f.kind for f in self.part.features}
        if target.ridge or self.by_hand.top or self.part.top_feature not in kinds:
            return None

        every = frozenset(s.string for s in target.slots)  # those left to the file are nicked

        def top(x: Floats, y: Floats) -> Floats:
            uncut = target.uncut(x, y)
            return np.where(target.upper(x, y, every) < uncut, np.inf, uncut)

        return top

    def upper(self, x: Floats, y: Floats) -> Floats:
        """Nothing may be left above this, mm; +inf outside the plan."""
        return self.by_hand.upper(self.target, self.milled, x, y)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartJudgement:
    """How far the part that is left differs from the one wanted."""

    gouge: Deviation
    left: Deviation
    end: Deviation
    slots: tuple[SlotDeviation, ...]
    found: Collector


def judge_part(
    stock: StockAsCut, wanted: WantedPart, programs: Programs, tools: Mapping[int, Tool]
) -> PartJudgement:
    """Gouge, what is left, slots, outline and ends, each over its limit a finding."""
    found = Collector()
    on_face = [program for setup, program in programs if setup is Setup.FACE]
    if on_face and wanted.whole:
        outline_deviation.judge_outline(
            wanted.part, wanted.stage, stock.stock, on_face, tools, found
        )
    _judge_steps(stock, wanted, found)
    return PartJudgement(
        gouge=_gouge(stock, wanted, programs, tools, found),
        left=_left(stock, wanted, found),
        slots=_slots(stock, wanted, found),
        end=_end(stock, wanted, found),
        found=found,
    )


def _gouge(
    stock: StockAsCut,
    wanted: WantedPart,
    programs: Programs,
    tools: Mapping[int, Tool],
    found: Collector,
) -> Deviation:
    allowed = table("proof")["limits"]
    gouge = greatest_deviation(
        stock.on_edge, wanted.target.lower, -1.0, allowed["gouge"], allowed["side"]
    )
    if gouge.amount > allowed["gouge"]:
        line, found.program, text = _lowest_cut(gouge.at, programs, tools)
        found.add(Code.GOUGE, "cut below the part, mm", line=line, text=text, value=gouge.amount,
                  limit=allowed["gouge"], at=gouge.at)  # fmt: skip
        found.program = ""
    return gouge


def _left(stock: StockAsCut, wanted: WantedPart, found: Collector) -> Deviation:
    if not wanted.whole:
        return NOWHERE
    allowed = table("proof")["limits"]
    left = greatest_deviation((stock.main,), wanted.upper, 1.0, allowed["left"], allowed["side"])
    if left.amount > allowed["left"]:
        found.add(Code.LEFT, "left above the part, mm", value=left.amount, limit=allowed["left"],
                  at=left.at)  # fmt: skip
    return left


def _end(stock: StockAsCut, wanted: WantedPart, found: Collector) -> Deviation:
    limit = table("proof")["limits"]["outline"]
    square = wanted.by_hand.ends
    ends = end_deviations(
        wanted.part, stock.probes.ends, wanted.stage, square=square, tabs=stock.tabs
    )
    end = max(ends, key=lambda e: abs(e.amount), default=NOWHERE)
    if abs(end.amount) > limit:
        found.add(Code.OUTLINE, "an end stands out (+) or falls short (-), mm", value=end.amount,
                  limit=limit, at=end.at)  # fmt: skip
    return end


def _slots(stock: StockAsCut, wanted: WantedPart, found: Collector) -> tuple[SlotDeviation, ...]:
    if not wanted.whole:
        return ()
    probes = stock.probes.slots
    out = tuple(
        slot_deviation(probes[slot.string], slot, wanted.target)
        for slot in wanted.target.slots
        if slot.string in probes
    )
    for slot in out:
        _judge_slot(slot, found)
    return out


def _judge_steps(stock: StockAsCut, wanted: WantedPart, found: Collector) -> None:
    """The back of each step in a nut's front: where its string leaves it."""
    if not wanted.whole:
        return
    limit = table("proof")["limits"]["step"]
    for slot in (s for s in wanted.target.slots if s.string in stock.probes.steps):
        back = step_deviation(stock.probes.steps[slot.string], slot)
        if abs(back.amount) > limit:
            found.add(Code.STEP,
                      f"front at string {slot.string}: cut back too far (+) or too little (-), mm",
                      value=back.amount, limit=limit, at=back.at)  # fmt: skip


def _judge_slot(slot: SlotDeviation, found: Collector) -> None:
    allowed = table("proof")["limits"]
    for code, what, value, limit in (
        (Code.FLOOR, "floor too high (+) or too low (-)", slot.floor_um, allowed["floor"]),
        (Code.CENTRE, "off centre, right (+) or left (-)", slot.centre_um, allowed["centre"]),
        (Code.WIDTH, "too wide (+) or too narrow (-)", slot.width_um, allowed["width"]),
    ):
        if not abs(value) <= 1000 * limit:
            found.add(code, f"slot {slot.string}: {what}, mm", value=value / 1000,
                      limit=limit, at=slot.at)  # fmt: skip


def _moves_over(moves: Moves, at: Place, tools: Mapping[int, Tool], *, across: bool) -> Moves:
    """The moves whose tool comes over a place: over its x and, where ``across``, its y."""
    radius = value_by_tool(moves, {n: t.radius for n, t in tools.items()})
    low, high = bounds(moves)
    near = moves.known & (radius > 0)
    for axis in (0, 1) if across else (0,):
        near &= (low[:, axis] - radius <= at[axis]) & (at[axis] <= high[:, axis] + radius)
    return moves.where(near)


def _lowest_cut(at: Place, programs: Programs, tools: Mapping[int, Tool]) -> tuple[int, str, str]:
    """Line, file and text of the move that cut lowest at a place of the part."""
    best: tuple[float, int, str, str] = (np.inf, 0, "", "")
    for setup, program in programs:
        moves = _moves_over(program.moves, at, tools, across=setup is Setup.EDGE)
        for i in range(len(moves)):
            z = _height_cut(setup, moves, i, at, tools)
            if z < best[0]:
                line = int(moves.line[i])
                best = (z, line, program.name, program.lines[line - 1].strip())
    return best[1:]


def _height_cut(setup: Setup, moves: Moves, i: int, at: Place, tools: Mapping[int, Tool]) -> float:
    """How low move i cuts at a place of the part, mm; inf where it does not come."""
    x, y = np.array([at[0]]), np.array([at[1]])
    if setup is Setup.EDGE:
        form = tool_profile_of(tools[int(moves.tool[i])])
        return float(swept_heights(form, moves, i, x, y)[0, 0])
    probe = Heightmap(x, y, np.full((1, 1), np.inf))
    lower_by_face(probe, moves.part(slice(i, i + 1)), tools, 0.0)
    return float(probe.z[0, 0])
