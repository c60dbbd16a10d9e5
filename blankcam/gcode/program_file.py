"""One program as it goes to the machine: its text, and what was planned for it."""

from __future__ import annotations

from dataclasses import dataclass

from blankcam.inputs.tool import Tool
from blankcam.toolpath.moves import Program
from blankcam.toolpath.timing import Times


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramFile:
    """A program's file and what a report says of it."""

    name: str
    text: str
    program: Program
    """The operations and moves that the text was written from."""
    cut_length: float
    """mm at feed."""
    times: Times

    @property
    def lines(self) -> int:
        """Of the text."""
        return self.text.count("\n")

    @property
    def setup(self) -> str:
        """``edge`` or ``face``."""
        return self.program.setup

    @property
    def tools(self) -> tuple[Tool, ...]:
        """In the order they are first used."""
        return self.program.tools

    @property
    def operation_names(self) -> frozenset[str]:
        """What it does: top, clear, slots, crown, …"""
        return frozenset(o.name for o in self.program.operations)

    @property
    def seconds(self) -> float:
        """How long it takes, an estimate."""
        return self.times.total

    @property
    def bound_seconds(self) -> float:
        """Cutting at least: the waste at the best rate allowed, and the finishing passes."""
        return sum(o.least for o in self.program.operations)
