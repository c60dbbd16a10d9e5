"""Prove: replay programs on a blank and say whether they leave the part, and touch nothing else."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.digest import of_moves
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box, Setup
from blankcam.parts.part import Stage
from blankcam.replay import limits, outline_deviation, thickness_deviation
from blankcam.replay.deviation import (
    PartLike,
    SlotProof,
    Worst,
    beyond,
    end_errors,
    measure,
    probes,
    slots_of,
    uncut_ends,
)
from blankcam.replay.face_setup import drop_waste, lower_all_by_face, lower_by_face, only_flat, thin
from blankcam.replay.findings import Code, Collector, Finding
from blankcam.replay.heightmap import Field
from blankcam.replay.motions import Moves, box
from blankcam.replay.polyline import by_tool
from blankcam.replay.reader import Program, read
from blankcam.replay.sweep import Swept, lowest, replay
from blankcam.replay.tool_profile import of_tool

Floats = NDArray[np.float64]

_DIGEST = {kind: re.compile(rf"\b{kind} digest ([0-9a-fA-F]{{16}})\b") for kind in ("moves", "job")}
_CONTACT = {
    "rapid": (Code.RAPID, "rapid move through the stock, mm deep"),
    "body": (Code.RUBBING, "the tool rubs above its flutes, mm deep"),
    "shank": (Code.SHANK, "the shank runs into the stock, mm deep"),
    "holder": (Code.HOLDER, "the holder runs into the stock, mm deep"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramText:
    """A program as it came: its name, bytes or text or as it was read, and its set-up."""

    name: str
    data: bytes | str | Program
    setup: Setup
    zero: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Where this blank's zero stands in the program's axes, mm; elsewhere in a fixture of many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramProof:
    """What one program did."""

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
    """Whether the header's digest is that of the moves; None where it carries none."""
    job_digests: tuple[str, ...]
    """Of the jobs that the header names: one, or one a blank where a fixture holds several."""
    around: tuple[limits.Obstacle, ...]
    """What stood around the blank, and must not be touched."""
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
    slots: tuple[SlotProof, ...]
    ends_um: float
    """The worst end, signed, positive stands out; 0 where no end is cut."""
    programs: tuple[ProgramProof, ...]
    faults: tuple[Finding, ...]
    """Every finding, those of the programs included."""
    before: Field | None = field(repr=False)
    """What stood before the set-up on edge where there was one on face, else None."""
    field: Field = field(repr=False)
    """What is left, in the part's frame, seen on edge: heights over x and y."""

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
        """The keys of report.json for a proof."""
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


def prove(
    programs: Sequence[ProgramText],
    part: PartLike,
    *,
    stage: Stage,
    milled: frozenset[int],
    stock: Box,
    profile: Profile,
    holding: Holding | None = None,
    plunge: Mapping[int, float] | None = None,
    depth: Mapping[int, float] | None = None,
    material: str | None = None,
    whole: bool = True,
    step: float | None = None,
) -> Proof:
    """Replay programs in order on one blank and judge what they leave.

    Parameters
    ----------
    part : nut or saddle, or anything with their ``lower`` and ``upper``
    milled : strings whose slots the programs cut to their stage's floor
    stock : the blank in the part's frame
    holding : how the blank is held, where it is not the profile's way
    plunge : fastest straight plunge, mm/min, by tool number
    depth : greatest depth of cut, mm, by tool number
    material : of the blank; no tool may cut deeper than the table of it says
    whole : False where not all of the part's programs are given: what is left is not judged
    step : cells of the grid, mm; data/proof.toml's without

    Never raises for what a program's text holds.
    """
    read_all = [(p, _from_zero(_read(p, profile), p.zero)) for p in programs]
    fields = _Fields(part, stock, milled, step)
    deepest = dict(depth or {})
    if material is not None:
        for tool in profile.tools:
            most = limits.table_depth(tool, material)
            deepest[tool.number] = min(most, deepest.get(tool.number, most))
    bench = _Bench(profile, holding or profile.holding, plunge or {}, deepest)
    proofs = [_on_face(t, fields, bench) for p, t in read_all if p.setup is Setup.FACE]
    faced = _faced(fields, stage, read_all, bench.tools) if proofs else Collector()
    before = dataclasses.replace(fields.main, z=fields.main.z.copy()) if proofs else None
    proofs += [_on_edge(t, fields, bench) for p, t in read_all if p.setup is Setup.EDGE]
    judged = _judge(fields, _Wanted(part, stage, milled, whole), read_all, bench.tools)
    # What is wrong with the part comes first: it must not be lost behind many of one kind
    faults = (*faced.kept, *judged.found.kept, *(f for p in proofs for f in p.faults))
    return Proof(
        passed=not faults,
        gouge_um=1000 * judged.gouge.amount,
        left_um=1000 * judged.left.amount,
        slots=judged.slots,
        ends_um=1000 * judged.end.amount,
        programs=tuple(proofs),
        faults=faults,
        field=fields.main,
        before=before,
    )


def _read(given: ProgramText, profile: Profile) -> Program:
    if isinstance(given.data, Program):
        return given.data
    return read(given.data, profile, name=given.name)


def _from_zero(program: Program, zero: tuple[float, float, float]) -> Program:
    """The program's moves as this blank sees them."""
    if not any(zero):
        return program
    return dataclasses.replace(program, moves=program.moves.shifted(zero))


class _Fields:
    """The grid, the fine probes, and the blank they began as."""

    def __init__(
        self, part: PartLike, stock: Box, milled: frozenset[int], step: float | None
    ) -> None:
        cells = table("proof")["cells"]
        dx = dy = step or cells["step"]
        if step is None and any(s.width < cells["fine_under"] for s in slots_of(part)):
            dx = cells["fine"]
        self.part, self.stock, self.held = part, stock, stock
        self.main = Field.of(stock, dx, dy)
        self.probes = probes(part, stock, milled)
        across = np.linspace(0.0, part.length, 201)[1:-1]
        self.centre = part.length / 2
        heights = part.lower(across, np.full_like(across, part.thickness / 2), Stage.FINAL)
        self.middle = float(heights.min()) / 2
        self.face = Field.of(stock.on_face(), cells["face"], cells["face"])
        self.thick = stock.y0 < 0  # something is to come off the face
        self.faces = thickness_deviation.probes(stock) if self.thick else ()

    @property
    def all(self) -> tuple[Field, ...]:
        return (self.main, *self.probes.lanes)


@dataclass(frozen=True, slots=True)
class _Bench:
    """What the checks hold a program against."""

    profile: Profile
    holding: Holding
    plunge: Mapping[int, float]
    depth: Mapping[int, float]

    @property
    def tools(self) -> dict[int, Tool]:
        return {t.number: t for t in self.profile.tools}


def _on_face(program: Program, fields: _Fields, bench: _Bench) -> ProgramProof:
    found = Collector(program.name)
    swept = replay(fields.face, program.moves, bench.tools, bench.profile)
    arcs = program.moves.is_arc & (program.moves.plane != 17)
    if arcs.any() or not only_flat(program.moves, bench.tools):
        found.add(Code.KERNEL, "on face only flat tools and arcs in G17 can be proven")
    flat = program.moves.where(~arcs)
    limit = table("proof")["limits"]["outline"]
    for each in fields.faces:
        replay(each, program.moves, bench.tools, bench.profile)
    shallow = table("proof")["limits"]["gouge"]
    seats = lower_all_by_face(fields.all, flat, bench.tools, fields.middle, shallow)
    # A cell on the end itself is touched by the tool that runs along it
    over = (fields.main.x > limit) & (fields.main.x < 2 * fields.centre - limit)
    if (seat := float(seats[0][over].max(initial=-np.inf))) > limit:
        found.add(Code.OUTLINE, "cut into the part from its seat, mm", value=seat, limit=limit)
    for skin in uncut_ends(fields.part, fields.face):
        found.add(Code.OUTLINE, "an end is not cut through on face, mm left", value=skin.amount,
                  limit=table("proof")["limits"]["skin"], at=skin.at)  # fmt: skip
    around = limits.on_face(fields.stock, bench.holding)
    limits.starts(program, max(-fields.stock.y0, *(b.high[2] for b in around)), found)
    holding = limits.boxes(program, bench.tools, bench.profile, around, found)
    return _told(program, Setup.FACE, _Seen(swept, around, holding, found), bench)


def _faced(fields: _Fields, stage: Stage, read_all: Sequence[tuple[ProgramText, Program]],
           tools: Mapping[int, Tool]) -> Collector:  # fmt: skip
    """What stands after the set-up on face, and whether the blank has its thickness."""
    found = Collector()
    for each in fields.all:
        thin(each, fields.face)
        drop_waste(each, fields.middle, fields.centre)
    if fields.thick:
        # From here on the jaws hold it by its finished faces
        fields.held = dataclasses.replace(fields.stock, y0=0.0)
        standing = fields.main.x[np.isfinite(fields.main.z).any(axis=0)]
        faces = (fields.face, *fields.faces)
        programs = [p for given, p in read_all if given.setup is Setup.FACE]
        thickness_deviation.judge(fields.part, stage, faces, standing, programs, tools, found)
    return found


def _on_edge(program: Program, fields: _Fields, bench: _Bench) -> ProgramProof:
    found = Collector(program.name)
    top = float(fields.main.z.max(initial=-np.inf))
    swept = replay(fields.main, program.moves, bench.tools, bench.profile)
    for each in fields.all[1:]:
        replay(each, program.moves, bench.tools, bench.profile)
    around = limits.on_edge(fields.held, bench.holding)
    limits.starts(program, max(top, *(b.high[2] for b in around)), found)
    holding = limits.boxes(program, bench.tools, bench.profile, around, found)
    return _told(program, Setup.EDGE, _Seen(swept, around, holding, found), bench)


@dataclass(frozen=True, slots=True)
class _Seen:
    swept: Swept
    around: tuple[limits.Obstacle, ...]
    holding: int
    found: Collector


def _told(program: Program, setup: Setup, seen: _Seen, bench: _Bench) -> ProgramProof:
    """Everything there is to say of one program but the part it leaves."""
    found = seen.found
    touched: dict[str, set[int]] = {"rapid": set(), "other": set()}
    for c in seen.swept.contacts:
        code, what = _CONTACT[c.what]
        touched["rapid" if c.what == "rapid" else "other"].add(c.move)
        said = limits.Said(code, what, c.deep, 0.0, _in_part(setup, c.at))
        limits.tell(found, program, c.move, said)
    _depths(program, setup, seen, bench.depth)
    limits.feeds(program, bench.profile, bench.plunge, found)
    outside = limits.travel(program, bench.profile, found)
    limit = table("proof")["limits"]["blending"]
    if program.blending > limit:
        found.add(Code.PROFILE, "G64 rounds corners by more than the proof allows, mm",
                  value=program.blending, limit=limit)  # fmt: skip
    as_written, jobs = signature(program)
    return ProgramProof(
        name=program.name,
        setup=setup,
        lines=len(program.lines),
        moves=len(program.moves),
        rapid_contacts=len(touched["rapid"]),
        holder_contacts=len(touched["other"]),
        holding_contacts=seen.holding,
        outside_travel=outside,
        as_written=as_written,
        job_digests=jobs,
        around=seen.around,
        faults=(*program.findings, *found.kept),
    )


def _in_part(setup: Setup, at: tuple[float, float, float]) -> tuple[float, float, float]:
    """A place in the machine's axes as the part's."""
    return at if setup is Setup.EDGE else (at[0], -at[2], at[1])


def signature(program: Program) -> tuple[bool | None, tuple[str, ...]]:
    """Whether the moves are as the header's digest says (None without one); digests of jobs."""
    said = {
        kind: tuple(d.lower() for d in pattern.findall(" ".join(program.comments)))
        for kind, pattern in _DIGEST.items()
    }
    if not said["moves"]:
        return None, said["job"]
    return said["moves"] == (of_moves(program.text),), said["job"]


def _depths(program: Program, setup: Setup, seen: _Seen, depth: Mapping[int, float]) -> None:
    swept = seen.swept
    moves = program.moves
    limit = np.array([depth.get(int(t), np.inf) for t in moves.tool])
    for i in np.flatnonzero(moves.cutting & (swept.depth > limit + 0.001)):
        at = (float(swept.place[i][0]), float(swept.place[i][1]), float(swept.place[i][2]))
        said = limits.Said(Code.DEPTH, "depth of cut over the table, mm", float(swept.depth[i]),
                           float(limit[i]), _in_part(setup, at))  # fmt: skip
        limits.tell(seen.found, program, int(i), said)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    gouge: Worst
    left: Worst
    end: Worst
    slots: tuple[SlotProof, ...]
    found: Collector


@dataclass(frozen=True, slots=True)
class _Wanted:
    part: PartLike
    stage: Stage
    milled: frozenset[int]
    whole: bool

    def lower(self, x: Floats, y: Floats) -> Floats:
        return self.part.lower(x, y, self.stage)

    def upper(self, x: Floats, y: Floats) -> Floats:
        return self.part.upper(x, y, self.stage, self.milled)


def _judge(fields: _Fields, wanted: _Wanted, read_all: Sequence[tuple[ProgramText, Program]],
           tools: Mapping[int, Tool]) -> _Judged:  # fmt: skip
    allowed = table("proof")["limits"]
    found = Collector()
    side = allowed["side"]
    on_face = [p for given, p in read_all if given.setup is Setup.FACE]
    if on_face and wanted.whole:
        outline_deviation.judge(wanted.part, wanted.stage, fields.stock, on_face, tools, found)
    gouge = beyond(fields.all, wanted.lower, -1.0, allowed["gouge"], side)
    left = Worst(amount=0.0, at=(0.0, 0.0, 0.0))
    if wanted.whole:
        left = beyond((fields.main,), wanted.upper, 1.0, allowed["left"], side)
    if gouge.amount > allowed["gouge"]:
        _tell_gouge(found, gouge, allowed["gouge"], read_all, tools)
    if left.amount > allowed["left"]:
        found.add(Code.LEFT, "left above the part, mm", value=left.amount, limit=allowed["left"],
                  at=left.at)  # fmt: skip
    slots = tuple(_slots(fields, wanted.part, wanted.stage, found)) if wanted.whole else ()
    ends = list(end_errors(wanted.part, fields.probes.ends, wanted.stage))
    end = max(ends, key=lambda w: abs(w.amount), default=Worst(amount=0.0, at=(0.0, 0.0, 0.0)))
    if abs(end.amount) > allowed["outline"]:
        found.add(Code.OUTLINE, "an end stands out (+) or falls short (-), mm", value=end.amount,
                  limit=allowed["outline"], at=end.at)  # fmt: skip
    return _Judged(gouge=gouge, left=left, end=end, slots=slots, found=found)


def _slots(fields: _Fields, part: PartLike, stage: Stage, found: Collector) -> list[SlotProof]:
    allowed = table("proof")["limits"]
    out = []
    for slot in slots_of(part):
        if slot.string not in fields.probes.slots:
            continue
        got = measure(fields.probes.slots[slot.string], slot, part, stage)
        out.append(got)
        for code, what, value, limit in (
            (Code.FLOOR, "floor too high (+) or too low (-)", got.floor_um, allowed["floor"]),
            (Code.CENTRE, "off centre, right (+) or left (-)", got.centre_um, allowed["centre"]),
            (Code.WIDTH, "too wide (+) or too narrow (-)", got.width_um, allowed["width"]),
        ):
            if not abs(value) <= 1000 * limit:
                found.add(code, f"slot {slot.string}: {what}, mm", value=value / 1000,
                          limit=limit, at=got.at)  # fmt: skip
    return out


def _tell_gouge(found: Collector, gouge: Worst, limit: float,
                read_all: Sequence[tuple[ProgramText, Program]], tools: Mapping[int, Tool]
                ) -> None:  # fmt: skip
    line, name, text = _blame(gouge.at, read_all, tools)
    found.program = name
    found.add(Code.GOUGE, "cut below the part, mm", line=line, text=text, value=gouge.amount,
              limit=limit, at=gouge.at)  # fmt: skip
    found.program = ""


def _over(moves: Moves, at: tuple[float, float, float], tools: Mapping[int, Tool], *,
          across: bool) -> Moves:  # fmt: skip
    """The moves whose tool comes over a place: over its x and, where ``across``, its y."""
    radius = by_tool(moves, {n: t.radius for n, t in tools.items()})
    low, high = box(moves)
    near = moves.known & (radius > 0)
    for axis in (0, 1) if across else (0,):
        near &= (low[:, axis] - radius <= at[axis]) & (at[axis] <= high[:, axis] + radius)
    return moves.where(near)


def _blame(at: tuple[float, float, float], read_all: Sequence[tuple[ProgramText, Program]],
           tools: Mapping[int, Tool]) -> tuple[int, str, str]:  # fmt: skip
    """Line, file and text of the move that cut lowest at a place of the part."""
    x, y = np.array([at[0]]), np.array([at[1]])
    best: tuple[float, int, str, str] = (np.inf, 0, "", "")
    forms = {n: of_tool(t) for n, t in tools.items()}
    for given, program in read_all:
        moves = _over(program.moves, at, tools, across=given.setup is Setup.EDGE)
        for i in range(len(moves)):
            if given.setup is Setup.EDGE:
                z = float(lowest(forms[int(moves.tool[i])], moves, i, x, y)[0, 0])
            else:
                probe = Field(x, y, np.full((1, 1), np.inf))
                lower_by_face(probe, moves.part(slice(i, i + 1)), tools, 0.0)
                z = float(probe.z[0, 0])
            if z < best[0]:
                line = int(moves.line[i])
                best = (z, line, program.name, program.lines[line - 1].strip())
    return best[1:]
