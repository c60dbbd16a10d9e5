"""The columns of a nut's slot, spelled out once for every screen, sheet, list and record."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from blankcam.instrument.nut_edges import NutEdge
from blankcam.machining.decision import Decision
from blankcam.machining.files import Files, files
from blankcam.outputs.reasons import words
from blankcam.outputs.rows import Field, Table, field, tabulate
from blankcam.parts.part import Part
from blankcam.parts.slot import FrontStep, Slot
from blankcam.parts.stage import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotFacts:
    """A slot with what its row needs besides."""

    slot: Slot
    nut: Part
    gap: float | None
    """Between its string and the one before; None for the first."""
    choice: Decision | None
    """None where no machine was chosen."""
    files: Files

    @property
    def rough_depth(self) -> float:
        """How deep the finished floor lies under the rough top, mm."""
        return self.slot.depth_front + self.nut.allowance

    @property
    def tool(self) -> int | None:
        """The number of the machine's tool for it; None where the hand files it."""
        return self.choice.tool.number if self.choice and self.choice.tool else None

    @property
    def cutter(self) -> str:
        """The tool that cuts it, or its locating nick, else the file."""
        if self.milled:
            return f"T{self.tool}"
        return f"nick T{self.choice.nick.number}" if self.choice and self.choice.nick else "file"

    @property
    def milled(self) -> bool:
        """Whether a machine cuts it to its floor."""
        return self.choice is not None and self.choice.tool is not None


SLOT: tuple[Field[SlotFacts], ...] = (
    field("name", "string", lambda f: f"{f.slot.string} {f.slot.note}"),
    field("string", "string", lambda f: f.slot.string),
    field("note", "note", lambda f: f.slot.note),
    field("course", "course", lambda f: f.slot.course),
    field("gauge", "gauge", lambda f: f.slot.gauge, "mm", 3),
    field("centre", "centre", lambda f: f.slot.centre, "mm"),
    field("gap", "clear gap before", lambda f: f.gap, "mm"),
    field("width", "slot width", lambda f: f.slot.width, "mm", 3),
    field("floor_front", "floor over seat", lambda f: f.slot.floor_front, "mm"),
    field("depth_front", "finished depth", lambda f: f.slot.depth_front, "mm"),
    field("rough_depth", "depth from rough top", lambda f: f.rough_depth, "mm"),
    field("first_depth", "cut at first",
          lambda f: max(f.rough_depth - f.nut.at(Stage.ROUGH).floor_raise, 0.0), "mm"),
    field("tilt", "tilt", lambda f: math.degrees(f.slot.tilt), "deg", 1),
    field("lift", "lift", lambda f: f.slot.lift, "mm"),
    field("exposure", "exposed", lambda f: f.slot.exposure, decimals=2),
    field("file_start", "start file", lambda f: f.files.start, "in", 3),
    field("file_final", "final file", lambda f: f.files.final if f.files.fits else "saw", "in", 3),
    field("by", "by", lambda f: "mill" if f.milled else "file"),
    field("tool", "tool", lambda f: f.tool),
    field("why", "why", lambda f: words(f.choice.reasons) if f.choice else "no machine chosen"),
    field("cutter", "by", lambda f: f.cutter),
    field("made_with", "made with",
          lambda f: f"tool {f.tool}" if f.milled else "file"),
)  # fmt: skip


def slot_table(nut: Part, choices: Mapping[int, Decision] | None = None) -> Table:
    """A row a slot; centres from the nut's left end, floors and depths at its front edge.

    ``choices``: who makes each slot, by the number of its string.
    """
    return tabulate("nut", SLOT, _facts(nut, choices or {}))


def _facts(nut: Part, choices: Mapping[int, Decision]) -> list[SlotFacts]:
    gaps = [None, *(_gap(a, b) for a, b in pairwise(nut.slots))]
    return [
        SlotFacts(slot=s, nut=nut, gap=gap, choice=choices.get(s.string), files=files(s.width))
        for s, gap in zip(nut.slots, gaps, strict=True)
    ]


def _gap(a: Slot, b: Slot) -> float:
    return abs(b.centre - a.centre) - (a.gauge + b.gauge) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeFacts:
    """A string's front edge with the step that makes it."""

    edge: NutEdge
    step: FrontStep | None
    """None where the string leaves at the nut's front."""
    choice: Decision | None
    """None where no machine was chosen, or where nothing is cut."""

    @property
    def tool(self) -> int | None:
        """The number of the machine's tool for its step; None where the hand cuts it."""
        return self.choice.tool.number if self.choice and self.choice.tool else None

    @property
    def by(self) -> str | None:
        """Who cuts its step; None where there is none."""
        if self.step is None:
            return None
        return "file" if self.tool is None else "mill"

    @property
    def cutter(self) -> str | None:
        """The tool that cuts its step, or the file."""
        return self.by if self.tool is None else f"T{self.tool}"


EDGE: tuple[Field[EdgeFacts], ...] = (
    field("name", "string", lambda f: f"{f.edge.number} {f.edge.note}"),
    field("string", "string", lambda f: f.edge.number),
    field("note", "note", lambda f: f.edge.note),
    field("forward", "toward the saddle", lambda f: f.edge.forward, "mm"),
    field("back", "front cut back", lambda f: f.edge.back, "mm"),
    field("left", "from", lambda f: f.step.left if f.step else None, "mm"),
    field("right", "to", lambda f: f.step.right if f.step else None, "mm"),
    field("bottom", "down to, over seat", lambda f: f.step.bottom if f.step else None, "mm"),
    field("setback", "compensation with it", lambda f: f.edge.compensation, "mm"),
    field("by", "by", lambda f: f.by),
    field("tool", "tool", lambda f: f.tool),
    field("cutter", "by", lambda f: f.cutter),
)  # fmt: skip


def edge_table(
    nut: Part, edges: Sequence[NutEdge], choices: Mapping[int, Decision] | None = None
) -> Table:
    """Where each string's front edge lies and the step that is cut for it, a row a string.

    ``choices``: who cuts each step, by the number of its string.
    """
    steps, chosen = {s.string: s.step for s in nut.slots}, choices or {}
    facts = [
        EdgeFacts(edge=e, step=steps.get(e.number), choice=chosen.get(e.number)) for e in edges
    ]
    return tabulate("edges", EDGE, facts)
