"""What the proof is given and what it says: programs as text, and the verdict on them."""

from __future__ import annotations

from dataclasses import dataclass, field

from blankcam.parts.frames import Setup
from blankcam.replay.deviation import SlotDeviation
from blankcam.replay.findings import Finding
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.limits import Obstacle
from blankcam.replay.reader import ParsedProgram


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramText:
    """A program to prove: the file's name, its bytes or text (or as already read), its set-up."""

    name: str
    data: bytes | str | ParsedProgram
    setup: Setup
    zero: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Where this blank's zero lies in the program's axes, mm; not 0 in a fixture of several."""
    air: bool = False
    """Whether it is asked to go round in the air alone, and is judged as such."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramProof:
    """What the replay of one program found."""

    name: str
    setup: Setup
    lines: int
    moves: int
    rapid_contacts: int
    holder_contacts: int
    """Moves in which the tool's body, shank or holder touched the stock."""
    holding_contacts: int
    """Moves in which anything touched jaws or bed."""
    outside_travel: int
    as_written: bool | None
    """Whether the moves still have the digest in the header; None where it gives none."""
    job_digests: tuple[str, ...]
    """Of the jobs named in the header: one, or one for each blank in a fixture."""
    around: tuple[Obstacle, ...]
    """Jaws, clamps, fixture walls and bed around the blank."""
    faults: tuple[Finding, ...]

    def record(self) -> dict[str, object]:
        """The keys of report.json for what this one program touched."""
        return {
            "rapid_contacts": self.rapid_contacts,
            "holder_contacts": self.holder_contacts,
            "holding_contacts": self.holding_contacts,
            "outside_travel": self.outside_travel,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The verdict on programs run one after the other on one blank."""

    passed: bool
    gouge_um: float
    left_um: float
    slots: tuple[SlotDeviation, ...]
    ends_um: float
    """How far the worse end stands out (+) or falls short (-); 0 where no end is cut."""
    programs: tuple[ProgramProof, ...]
    faults: tuple[Finding, ...]
    """Every finding, those of the programs included."""
    before: Heightmap | None = field(repr=False)
    """The stock as cut before the set-up on edge, where there was one on face; else None."""
    field: Heightmap = field(repr=False)
    """The stock as cut at the end, in the part's frame, seen on edge: heights over x and y."""

    @property
    def rapid_contacts(self) -> int:
        """Of all programs."""
        return sum(p.rapid_contacts for p in self.programs)

    @property
    def holder_contacts(self) -> int:
        """Of all programs."""
        return sum(p.holder_contacts for p in self.programs)

    @property
    def holding_contacts(self) -> int:
        """Of all programs."""
        return sum(p.holding_contacts for p in self.programs)

    @property
    def outside_travel(self) -> int:
        """Of all programs."""
        return sum(p.outside_travel for p in self.programs)

    def record(self) -> dict[str, object]:
        """The proof as it stands in report.json: plain values, micrometres to two decimals."""
        return {
            "passed": self.passed,
            "gouge_um": round(self.gouge_um, 2),
            "left_um": round(self.left_um, 2),
            "rapid_contacts": self.rapid_contacts,
            "holder_contacts": self.holder_contacts,
            "holding_contacts": self.holding_contacts,
            "outside_travel": self.outside_travel,
            "faults": [str(f) for f in self.faults],
        }
