"""Prove: replay programs on a blank and say whether they leave the part, and touch nothing else."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blankcam.data import table
from blankcam.digest import of_program
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box, Setup
from blankcam.parts.hand_left import NOTHING, HandLeft
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.replay import cutting, limits, stops, thickness_deviation
from blankcam.replay.as_moved import as_moved
from blankcam.replay.bending import BeforeAndAfter, ToolsAtWork, check_bends
from blankcam.replay.codes import Code
from blankcam.replay.cutting_data import Allowed, allowed_for
from blankcam.replay.deviation import HeightAt, tabs_up_to, uncut_ends
from blankcam.replay.face_setup import lower_all_by_face, uses_only_flat_tools
from blankcam.replay.findings import Collector
from blankcam.replay.heightmap import Heightmap
from blankcam.replay.holding import HeldBlank, check_grip, check_on_edge
from blankcam.replay.motions import Moves, bounds
from blankcam.replay.part_deviation import WantedPart, judge_part
from blankcam.replay.proof import ProgramProof, ProgramText, Proof
from blankcam.replay.reader import ParsedProgram, read_program
from blankcam.replay.stock_as_cut import StockAsCut
from blankcam.replay.sweep import SweepResult, replay_moves

Floats = NDArray[np.float64]

_DIGEST = {kind: re.compile(rf"\b{kind} digest ([0-9a-fA-F]{{16}})\b") for kind in ("moves", "job")}
_CONTACT = {
    "rapid": (Code.RAPID, "rapid move through the stock, mm deep"),
    "body": (Code.RUBBING, "the tool rubs on the stock above its flutes, mm deep"),
    "shank": (Code.SHANK, "the shank runs into the stock, mm deep"),
    "holder": (Code.HOLDER, "the holder runs into the stock, mm deep"),
}


def prove(
    programs: Sequence[ProgramText],
    part: Part,
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
    by_hand: HandLeft = NOTHING,
    step: float | None = None,
) -> Proof:
    """Replay programs in order on one blank and judge what they leave.

    Never raises for what a program's text holds.

    Parameters
    ----------
    part : nut or saddle, or anything with their ``lower`` and ``upper``
    milled : strings whose slots the programs cut to the floor of their stage
    stock : the blank in the part's frame
    holding : how the blank is held; the profile's holding without
    plunge : fastest that a tip may go down into stock, mm/min, by tool number
    depth : greatest depth of cut, mm, by tool number
    material : of the blank; feeds, speeds, plunges and depths are held to its row in
        data/materials.toml, and not judged without
    whole : False where not all of the part's programs are given: what is left is not judged
    by_hand : what the hand still takes off
    step : size of the cells of the grid, mm; data/proof.toml's without
    """
    part = by_hand.as_programmed(part)
    every = [(p, _read(p, profile)) for p in programs]
    read = [(p.setup, program) for p, program in every if not p.air]
    blank = StockAsCut(part, stock, milled, step)
    bench = _bench(profile, holding, plunge or {}, depth or {}, material)
    lying = HeldBlank(stock, bench.holding, part.length, blank.inside)

    def replayed(
        setup: Setup, judge: Callable[[ParsedProgram], ProgramProof]
    ) -> list[ProgramProof]:
        return [
            _prove_in_air(setup, program, blank, bench) if p.air else judge(program)
            for p, program in every
            if p.setup is setup
        ]

    proofs = replayed(Setup.FACE, lambda program: _prove_on_face(program, blank, lying, bench))
    on_face = [program for setup, program in read if setup is Setup.FACE]
    faced = Collector()
    if on_face:
        blank.finish_face()
        _judge_face(blank, stage, on_face, bench.tools, faced)
    before = blank.copy_of_main() if on_face else None
    wanted = WantedPart(part=part, stage=stage, milled=milled, whole=whole, by_hand=by_hand)
    finished = wanted.finished_top
    proofs += replayed(Setup.EDGE, lambda program: _prove_on_edge(program, blank, bench, finished))
    judged = judge_part(blank, wanted, read, bench.tools)
    # What is wrong with the part comes first, so that it is not lost behind many of one kind
    faults = (*faced.kept, *judged.found.kept, *(f for p in proofs for f in p.faults))
    return Proof(
        passed=not faults,
        gouge_um=1000 * judged.gouge.amount,
        left_um=1000 * judged.left.amount,
        slots=judged.slots,
        ends_um=1000 * judged.end.amount,
        programs=tuple(proofs),
        faults=faults,
        field=blank.main,
        before=before,
    )


def _read(given: ProgramText, profile: Profile) -> ParsedProgram:
    """The program as read and as the machine makes it, its moves seen from this blank's zero."""
    program = given.data
    if not isinstance(program, ParsedProgram):
        program = read_program(program, profile, name=given.name, air=given.air)
    program = as_moved(program, profile)
    if not any(given.zero):
        return program
    events = tuple(e.shifted(given.zero) for e in program.events)
    return dataclasses.replace(program, moves=program.moves.shifted(given.zero), events=events)


def _bench(
    profile: Profile,
    holding: Holding | None,
    plunge: Mapping[int, float],
    depth: Mapping[int, float],
    material: str | None,
) -> _Bench:
    """The machine as the programs are judged on it, with what its tools may do in the material."""
    allowed = {t.number: allowed_for(t, material, profile) for t in profile.tools if material}
    return _Bench(
        profile=profile,
        holding=holding or profile.holding,
        allowed=allowed,
        plunge=plunge,
        depth=_greatest_depths(allowed, depth),
        material=material,
    )


def _greatest_depths(
    allowed: Mapping[int, Allowed], depth: Mapping[int, float]
) -> dict[int, float]:
    """Greatest depth of cut of each tool, mm: what is given, never more than the table allows."""
    return dict(depth) | {n: min(a.depth, depth.get(n, a.depth)) for n, a in allowed.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """The machine, how it holds the blank, and what its tools may do there."""

    profile: Profile
    holding: Holding
    allowed: Mapping[int, Allowed]
    plunge: Mapping[int, float]
    depth: Mapping[int, float]
    material: str | None

    @property
    def tools(self) -> dict[int, Tool]:
        return {t.number: t for t in self.profile.tools}

    def plunge_limits(self, moves: Moves) -> Floats:
        """How fast each move may go down into stock, (n,), mm/min."""
        return cutting.plunge_limits(moves, self.allowed, self.plunge, self.profile.feed_max.z)

    @property
    def at_work(self) -> ToolsAtWork | None:
        """The tools in the material; None where it is not known."""
        if self.material is None:
            return None
        return ToolsAtWork(profile=self.profile, allowed=self.allowed, material=self.material)


def _prove_on_face(
    program: ParsedProgram, blank: StockAsCut, lying: HeldBlank, bench: _Bench
) -> ProgramProof:
    found = Collector(program.name)
    plunge = bench.plunge_limits(program.moves)
    swept = replay_moves(blank.face, program.moves, bench.tools, bench.profile, plunge)
    for each in blank.face_lines:
        replay_moves(each, program.moves, bench.tools, bench.profile)
    _lower_by_outline(program, blank, bench, found)
    lying.check(program, bench.tools, found)
    used = np.unique(program.moves.tool)
    tabs = tabs_up_to(t.radius for n, t in bench.tools.items() if n in used)
    blank.tabs = tabs
    for skin in uncut_ends(blank.part, blank.face, tabs):
        found.add(Code.OUTLINE, "an end is not cut through on face, mm left", value=skin.amount,
                  limit=table("proof")["limits"]["skin"], at=skin.at)  # fmt: skip
    standing = limits.obstacles_on_face(blank.stock, bench.holding)
    around = limits.kept_clear_of(standing, bench.profile)
    stops.check_events(program, bench.profile, (*around, _as_obstacle(blank.stock.on_face())),
                       found)  # fmt: skip
    return _program_proof(program, Setup.FACE, -blank.stock.y0, swept, around, bench, found)


def _lower_by_outline(
    program: ParsedProgram, blank: StockAsCut, bench: _Bench, found: Collector
) -> None:
    """Take from the heights seen on edge what a program on face cuts away."""
    allowed = table("proof")["limits"]
    upright = program.moves.is_arc & (program.moves.plane != 17)
    if upright.any() or not uses_only_flat_tools(program.moves, bench.tools):
        found.add(Code.KERNEL, "on face only flat tools and arcs in G17 can be proven")
    level = program.moves.where(~upright)
    seats = lower_all_by_face(blank.on_edge, level, bench.tools, blank.inside, allowed["gouge"])
    # A cell on the end itself is touched by the tool that runs along it
    x, limit = blank.main.x, allowed["outline"]
    over = (x > limit) & (x < blank.part.length - limit)
    if (seat := float(seats[0][over].max(initial=-np.inf))) > limit:
        found.add(Code.OUTLINE, "cut into the part from its seat, mm", value=seat, limit=limit)


def _judge_face(
    blank: StockAsCut,
    stage: Stage,
    programs: Sequence[ParsedProgram],
    tools: Mapping[int, Tool],
    found: Collector,
) -> None:
    """Whether a face that is to be milled has its thickness."""
    if blank.mills_thickness:
        standing = blank.main.x[np.isfinite(blank.main.z).any(axis=0)]
        faces = (blank.face, *blank.face_lines)
        thickness_deviation.judge_thickness(
            blank.part, stage, faces, standing, programs, tools, found
        )


def _prove_on_edge(
    program: ParsedProgram, blank: StockAsCut, bench: _Bench, finished: HeightAt | None
) -> ProgramProof:
    """``finished``: the top that it brings out for good; None where some is left on it."""
    found = Collector(program.name)
    top = float(blank.main.z.max(initial=-np.inf))
    plunge = bench.plunge_limits(program.moves)
    before = dataclasses.replace(blank.main, z=blank.main.z.copy())
    swept = replay_moves(blank.main, program.moves, bench.tools, bench.profile, plunge)
    for each in blank.probes.all:
        replay_moves(each, program.moves, bench.tools, bench.profile)
    jaws = limits.obstacles_on_edge(blank.held, bench.holding)
    around = limits.kept_clear_of(jaws, bench.profile)
    check_grip(bench.holding, top, found)
    if finished is not None and (at_work := bench.at_work):
        stock = BeforeAndAfter(before=before, after=blank.main)
        check_bends(program, stock, swept, finished, at_work, found)
    middle, half = (blank.held.x0 + blank.held.x1) / 2, bench.holding.jaw_length / 2
    check_on_edge(program, blank.main, (middle - half, middle + half), found)
    standing = dataclasses.replace(blank.held, z1=top)
    stops.check_events(program, bench.profile, (*around, _as_obstacle(standing)), found)
    return _program_proof(program, Setup.EDGE, top, swept, around, bench, found)


def _prove_in_air(
    setup: Setup, program: ParsedProgram, blank: StockAsCut, bench: _Bench
) -> ProgramProof:
    """An air program: it must stay well over everything, and leaves the stock as it was."""
    found = Collector(program.name)
    heights = blank.face if setup is Setup.FACE else blank.main
    top = float(heights.z.max(initial=-np.inf))
    heights = _met_in_air(program, heights, top)
    if setup is Setup.FACE:
        around = limits.obstacles_on_face(blank.stock, bench.holding)
        standing = blank.stock.on_face()
    else:
        around = limits.obstacles_on_edge(blank.held, bench.holding)
        standing = dataclasses.replace(blank.held, z1=top)
    limits.check_air(program, max(standing.z1, *(o.high[2] for o in around)), found)
    swept = replay_moves(heights, program.moves, bench.tools, bench.profile)
    stops.check_events(program, bench.profile, (*around, _as_obstacle(standing)), found)
    return _program_proof(program, setup, top, swept, around, bench, found)


def _met_in_air(program: ParsedProgram, heights: Heightmap, top: float) -> Heightmap:
    """A copy of the heights where any known move comes below their ``top``; else none of them."""
    low, _ = bounds(program.moves)
    if low[program.moves.known, 2].min(initial=np.inf) < top:
        return dataclasses.replace(heights, z=heights.z.copy())
    return Heightmap(heights.x[:0], heights.y[:0], heights.z[:0, :0])


def _as_obstacle(box: Box) -> limits.Obstacle:
    """A blank as something that the tool must be clear of."""
    low, high = (box.x0, box.y0, box.z0), (box.x1, box.y1, box.z1)
    return limits.Obstacle(name="blank", low=low, high=high)


def _program_proof(  # every argument is a fact of its own
    program: ParsedProgram,
    setup: Setup,
    top: float,
    swept: SweepResult,
    around: tuple[limits.Obstacle, ...],
    bench: _Bench,
    found: Collector,
) -> ProgramProof:
    """All findings on one program but those on the part it leaves; ``top`` is the stock's."""
    limits.check_first_moves(program, max(top, *(o.high[2] for o in around)), found)
    held = limits.check_obstacles(program, bench.tools, bench.profile, around, found)
    rapids, bodies = _check_contacts(program, setup, swept, found)
    _check_depths(program, setup, swept, bench.depth, found)
    limits.check_feeds(program, bench.profile, found)
    cutting.check_cutting(program, swept, bench.allowed, found)
    cutting.check_plunges(program, swept, bench.plunge_limits(program.moves), found)
    outside = limits.check_travel(program, bench.profile, found)
    _check_blending(program, found)
    as_written, jobs = signature(program)
    return ProgramProof(
        name=program.name,
        setup=setup,
        lines=len(program.lines),
        moves=len(program.moves),
        rapid_contacts=rapids,
        holder_contacts=bodies,
        holding_contacts=held,
        outside_travel=outside,
        as_written=as_written,
        job_digests=jobs,
        around=around,
        faults=(*program.findings, *found.kept),
    )


def _check_contacts(
    program: ParsedProgram, setup: Setup, swept: SweepResult, found: Collector
) -> tuple[int, int]:
    """Faults contacts; how many rapids ran through stock, how many moves touched otherwise."""
    for c in swept.contacts:
        code, what = _CONTACT[c.what]
        excess = limits.Excess(code, what, c.deep, 0.0, _in_part(setup, c.at))
        limits.report_move(found, program, c.move, excess)
    rapids = {c.move for c in swept.contacts if c.what == "rapid"}
    bodies = {c.move for c in swept.contacts if c.what != "rapid"}
    return len(rapids), len(bodies)


def _in_part(setup: Setup, at: tuple[float, float, float]) -> tuple[float, float, float]:
    """A place in the machine's axes as the part's."""
    return at if setup is Setup.EDGE else (at[0], -at[2], at[1])


def _check_depths(
    program: ParsedProgram,
    setup: Setup,
    swept: SweepResult,
    depth: Mapping[int, float],
    found: Collector,
) -> None:
    moves = program.moves
    limit = np.array([depth.get(int(t), np.inf) for t in moves.tool])
    for i in np.flatnonzero(moves.cutting & (swept.depth > limit + 0.001)):
        at = (float(swept.place[i][0]), float(swept.place[i][1]), float(swept.place[i][2]))
        excess = limits.Excess(Code.DEPTH, "depth of cut over the material table's, mm",
                               float(swept.depth[i]), float(limit[i]), _in_part(setup, at)
                               )  # fmt: skip
        limits.report_move(found, program, int(i), excess)


def _check_blending(program: ParsedProgram, found: Collector) -> None:
    limit = table("proof")["limits"]["blending"]
    if program.blending > limit:
        found.add(Code.PROFILE, "G64 rounds corners by more than the proof allows, mm",
                  value=program.blending, limit=limit)  # fmt: skip


def signature(program: ParsedProgram) -> tuple[bool | None, tuple[str, ...]]:
    """Whether the moves have the digest in the header (None without one), and the jobs' digests."""
    comments = " ".join(program.comments)
    return _as_signed(comments, program.text), _digests("job", comments)


def as_written(data: bytes) -> bool | None:
    """Whether a program's text has the digest in its comments; None without one."""
    text = data.decode("ascii", "replace")
    return _as_signed(text, text)


def _as_signed(comments: str, text: str) -> bool | None:
    stated = _digests("moves", comments)
    return stated == (of_program(text),) if stated else None


def _digests(kind: str, comments: str) -> tuple[str, ...]:
    return tuple(d.lower() for d in _DIGEST[kind].findall(comments))
