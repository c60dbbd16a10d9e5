"""A part cut from a blank: what was asked for, and all that came of it. Records only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blankcam.gcode.probing import ProbingFile
from blankcam.gcode.program_file import ProgramFile
from blankcam.machining.decision import ByHand, ByMachine, Decision
from blankcam.machining.request import CutRequest, Label
from blankcam.machining.setup_sheet import SetupSheet
from blankcam.parts.hand_left import HandLeft
from blankcam.parts.part import FeatureKind
from blankcam.replay.proof import Proof

__all__ = ["CutRequest", "CutResult", "Label"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutResult:
    """Who makes what of a part, the programs for it, and their proof."""

    request: CutRequest
    decisions: tuple[Decision, ...]
    programs: tuple[ProgramFile, ...]
    """Those that cut, in the order they are run."""
    cautions: tuple[str, ...]
    setups: tuple[SetupSheet, ...] = ()
    """How the blank is held, zeroed and stands in each set-up, in the order they are run."""
    probing: tuple[ProbingFile, ...] = ()
    """Programs that find a set-up's zeros, where the machine has a probe."""
    in_air: tuple[ProgramFile, ...] = ()
    """One for each set-up, run before its first cut, with the spindle off."""
    proof: Proof | None = None
    """None where nothing was proven yet."""

    @property
    def texts(self) -> dict[str, bytes]:
        """Every program for the machine by the name of its file."""
        probing = {f.name: f.text.encode() for f in self.probing}
        return probing | {f.name: f.text.encode() for f in self.files}

    @property
    def files(self) -> tuple[ProgramFile, ...]:
        """All programs in the order they are run, the one in the air first in each set-up."""
        each = (*self.in_air, *self.programs)
        setups = dict.fromkeys(p.setup for p in self.programs)
        return tuple(p for setup in setups for p in each if p.setup == setup)

    @property
    def milled(self) -> frozenset[int]:
        """The strings whose slots the machine cuts to their floor."""
        return frozenset(d.string for d in self.slots if d.tool is not None)

    @property
    def shaped(self) -> bool:
        """Whether the machine brings out the top or the crown."""
        return isinstance(self._top, ByMachine)

    @property
    def _top(self) -> ByMachine | ByHand | None:
        top = self.request.part.top_feature
        return next((d.by for d in self.decisions if d.feature.kind is top), None)

    @property
    def left_for_the_hand(self) -> HandLeft:
        """What may stand once the programs are run: a top, steps on it, square ends, a front."""
        by, ends = self._top, (d for d in self.decisions if d.feature.kind is FeatureKind.ENDS)
        return HandLeft(
            top=by.ridge if isinstance(by, ByMachine) else math.inf,
            ends=any(d.tool is None for d in ends),
            fronts=frozenset(d.string for d in self.fronts if d.tool is None),
        )

    @property
    def fronts(self) -> tuple[Decision, ...]:
        """Who cuts a nut's front back at each string, from the bass side."""
        return tuple(d for d in self.decisions if d.feature.kind is FeatureKind.FRONT)

    @property
    def slots(self) -> tuple[Decision, ...]:
        """Who makes each slot, from the bass side."""
        return tuple(d for d in self.decisions if d.feature.kind is FeatureKind.SLOT)

    @property
    def operation_names(self) -> frozenset[str]:
        """What the machine does: top, clear, slots, crown, …"""
        return frozenset(n for p in self.programs for n in p.operation_names)
