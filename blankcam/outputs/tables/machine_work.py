"""What a machine does: how each operation cuts, how long a program takes, what its proof found."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining import feeds
from blankcam.outputs.rows import Field, Figure, Section, Table, field, tabulate
from blankcam.replay.proof import Proof
from blankcam.toolpath.moves import Operation, Program
from blankcam.toolpath.timing import Times, estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedOperation:
    """One operation of a program."""

    program: str
    operation: Operation


OPERATION: tuple[Field[PlannedOperation], ...] = (
    field("program", "program", lambda w: w.program),
    field("operation", "operation", lambda w: w.operation.name),
    field("words", "operation", lambda w: w.operation.words),
    field("tool", "tool", lambda w: f"{w.operation.tool.number}: {tool_words(w.operation.tool)}"),
    field("rpm", "spindle", lambda w: w.operation.cut.rpm, "rpm"),
    field("feed", "feed", lambda w: w.operation.cut.feed, "mm/min"),
    field("plunge", "plunge", lambda w: w.operation.cut.plunge, "mm/min"),
    field("depth", "depth", lambda w: w.operation.cut.depth, "mm", 3),
    field("width", "stepover", lambda w: w.operation.cut.width, "mm"),
    field("chip", "chip", lambda w: 1000 * w.operation.cut.chip, "µm", 1),
    field("teeth", "teeth", lambda w: w.operation.cut.teeth),
    field("force", "force", lambda w: w.operation.cut.force, "N", 2),
    field("bend", "bend", lambda w: w.operation.cut.bend_um, "µm", 2),
    field("power", "power", lambda w: w.operation.cut.power, "W", 2),
    field("limits", "limits", lambda w: "; ".join(w.operation.cut.limits)),
)


def operation_table(programs: Iterable[tuple[str, Program]]) -> Table:
    """A row an operation that cuts, for (name, program) pairs."""
    works = (
        PlannedOperation(program=name, operation=o)
        for name, p in programs
        if not p.air
        for o in p.operations
    )
    return tabulate("feeds", OPERATION, works)


def tool_words(tool: Tool) -> str:
    """A tool in the trade's words."""
    shape = {Shape.FLAT: "flat end", Shape.BALL: "ball end", Shape.VEE: "vee",
             Shape.TAPERED_BALL: "tapered ball end"}[tool.shape]  # fmt: skip
    size = tool.tip_label if tool.shape is Shape.TAPERED_BALL else tool.label
    return f"{shape}, {size:g} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A program and how long it takes."""

    program: Program
    took: Times


TIME: tuple[Field[Timed], ...] = (
    field("program", "program", lambda t: t.program.stem),
    field("cutting", "cutting", lambda t: t.took.cutting, "s"),
    field("air", "in the air", lambda t: t.took.air, "s"),
    field("changes", "tool changes", lambda t: t.took.changes, "s"),
    field("total", "estimate", lambda t: t.took.total, "s"),
    field("least", "cutting at least", lambda t: sum(o.least for o in t.program.operations), "s"),
)


def time_table(programs: Iterable[Program], profile: Profile) -> Table:
    """A row a program: its estimate, and the least time its cutting could take."""
    timed = (Timed(program=p, took=estimate(p, profile)) for p in programs)
    return tabulate("times", TIME, timed)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProvenProgram:
    """A program under the name it is shown with, and the proof of its part."""

    name: str
    file: ProgramFile
    proof: Proof


PROVEN: tuple[Field[ProvenProgram], ...] = (
    field("program", "program", lambda p: p.name),
    field("lines", "lines", lambda p: p.file.lines),
    field("cut_length", "length at feed", lambda p: Figure(value=p.file.cut_length, decimals=0),
          "mm"),
    field("minutes", "about", lambda p: p.file.seconds / 60, "min", 1),
    field("gouge_um", "below the part", lambda p: p.proof.gouge_um, "µm", 1),
    field("left_um", "above it", lambda p: p.proof.left_um, "µm", 1),
    field("contacts", "contacts", lambda p: _contacts(p.proof)),
    field("passed", "proof", lambda p: "passed" if p.proof.passed else "failed"),
)  # fmt: skip


def _contacts(proof: Proof) -> int:
    return proof.rapid_contacts + proof.holder_contacts + proof.holding_contacts


def proof_table(programs: Iterable[ProvenProgram]) -> Table:
    """A row a program; what its proof found is said of the whole part."""
    return tabulate("programs", PROVEN, programs)


def sections(programs: Sequence[Program], profile: Profile) -> tuple[Section, ...]:
    """How each operation cuts and what set its limits, and how long each program takes."""
    if not programs:
        return (Section(title="Feeds: this machine takes no programs"),)
    cuts = operation_table([(p.stem, p) for p in programs])
    limits = cuts.pick("program", "operation", "tool", "limits").rows
    shown = [c.key for c in cuts.columns if c.key not in ("words", "limits")]
    return (
        Section(
            title="Feeds",
            table=cuts.pick(*shown),
            notes=tuple(dict.fromkeys(f"{p} {o}, tool {t}: {why}" for p, o, t, why in limits)),
        ),
        Section(
            title="Times",
            table=time_table(programs, profile),
            notes=("at least: the waste at the highest rate allowed, and the finishing passes",),
        ),
        Section(title="Sources", notes=tuple(_sources({p.material for p in programs}))),
    )


def _sources(names: Iterable[str]) -> Iterator[str]:
    """Where the values of each material come from, and the range of its cutting pressure."""
    for m in map(feeds.material, sorted(names)):
        chip = m.chip[-1]
        low, high = m.pressure_low.at(chip), m.pressure_high.at(chip)
        yield f"{m.name}, speed, chip and depth: {m.source}"
        yield (
            f"{m.name}, cutting pressure: {low:.0f} to {high:.0f} MPa at a chip of "
            f"{1000 * chip:g} um, the high one judged. {m.pressure_source}"
        )
