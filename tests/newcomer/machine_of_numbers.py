"""A machine made up of numbers: it knows how long each tool really is and where the work stands.

It counts as machines do (NISTIR 6556, 2.1 and 3.5.21): the place a program names is the machine's
own less the work's zero, and along Z less the length of the tool that is in force.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.newcomer.programs_read import need

FINDER = "an edge finder"
PROBE = "the probe"
FINDER_WIDTH = 10.0
TRUE_ZERO = (61.3, 47.9, -31.7)
"""Where the program's zero stands in the machine's own places, mm; any three numbers would do."""


def length_of(tool: str | int) -> float:
    """How far a tool really stands out of the spindle, mm: no two alike."""
    if isinstance(tool, str):
        return {FINDER: 71.9, PROBE: 64.3}[tool]
    return 40.0 + 3.7 * tool


@dataclass
class Machine:
    """What a controller and a vice remember."""

    spindle: str | int | None = None
    in_force: int | None = None
    """The tool whose length counts."""
    table: set[int] = field(default_factory=set)
    offset: dict[str, float] = field(default_factory=dict)
    """The work's zero in the machine's places, of the axes zeroed since the work was moved."""
    held: str = ""
    setup: str = ""
    air_run: bool = False
    dry_by: float = 0.0
    """mm that Z is set lower for a dry run."""

    def work_moved(self) -> None:
        """Nothing that was zeroed holds any more."""
        self.offset, self.air_run = {}, False

    def freed(self) -> None:
        """Nothing is held any more."""
        self.work_moved()
        self.held = self.setup = ""

    def fit(self, tool: str | int) -> None:
        """A tool in the spindle; the length of the one before counts no more."""
        self.spindle, self.in_force = tool, None

    def touch_top(self, stands: float, to: float) -> None:
        """The tip on a surface that stands at a Z of the program's, and Z set to a number."""
        need(self.spindle is not None, "Z is touched with nothing in the spindle")
        machine_z = TRUE_ZERO[2] + stands + length_of(self.spindle)
        self.offset["Z"] = machine_z - self._counted() - to

    def touch_side(self, axis: str, stands: float, half: float, to: float) -> None:
        """A side against a surface from the smaller numbers, and the axis set to a number."""
        self.offset[axis] = TRUE_ZERO["XY".index(axis)] + stands - half - to

    def off(self, tool: int, *, with_length: bool) -> dict[str, float]:
        """How far from where the program means it a tool's tip really comes, by axis."""
        counted = length_of(tool) if with_length and tool in self.table else 0.0
        off = {a: self.offset[a] - TRUE_ZERO["XYZ".index(a)] for a in self.offset}
        off["Z"] += counted - length_of(tool)
        return off

    def _counted(self) -> float:
        return length_of(self.in_force) if self.in_force in self.table else 0.0
