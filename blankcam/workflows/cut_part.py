"""One part from its request to proven programs; and several in one fixture.

The one place that plans, writes and proves: ``make``, ``gcode``, ``refit``, ``batch``, ``prove``
and the tests all come here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from blankcam import digest
from blankcam.cut import CutRequest, CutResult
from blankcam.faults import Fault, RefusedError
from blankcam.gcode import writer
from blankcam.inputs.machine import Profile
from blankcam.parts.design import Design
from blankcam.parts.frames import Place, Setup
from blankcam.parts.stage import Stage
from blankcam.replay.proof import ProgramText
from blankcam.replay.prove import prove
from blankcam.toolpath import bounds, build, fixture_load
from blankcam.toolpath.moves import Program
from blankcam.workers import Worker
from blankcam.workflows.kept_case import keep_case
from blankcam.workflows.probing import with_probing
from blankcam.workflows.request import requests_of

if TYPE_CHECKING:
    from blankcam.gcode.program_file import ProgramFile
    from blankcam.replay.proof import Proof
    from blankcam.toolpath.fixture_load import Placed

MOST_TOLD = 20
"""Findings of one proof that are printed."""
_HERE: Place = (0.0, 0.0, 0.0)


def cut_parts(
    found: Design, machine: Profile, stage: Stage, worker: Worker
) -> tuple[CutResult, ...]:
    """The parts' programs, planned, written and proven, the second part beside the first.

    Raises
    ------
    RefusedError
        Where a plan can't be made: every reason for every part.
    """
    first, *more = requests_of(found, machine, stage)
    beside = [worker.submit(cut_part, request) for request in more]
    here = Worker().submit(cut_part, first)
    faults: list[Fault] = []
    results: list[CutResult] = []
    for part in (here, *beside):
        try:
            results.append(part.result())
        except RefusedError as refused:
            faults += refused.faults
    if faults:
        raise RefusedError(faults)
    return tuple(results)


def cut_part(request: CutRequest) -> CutResult:
    """One part planned, its programs written and proven.

    Raises
    ------
    RefusedError
        Where it can't or must not be cut so. A proof that fails is not raised but told.
    """
    return proven(write_part(request))


def write_part(request: CutRequest) -> CutResult:
    """One part planned and its programs written, not proven; raises as ``cut_part`` does."""
    plan = build.plan(request)
    result = CutResult(
        request=plan.request,
        decisions=plan.decisions,
        setups=plan.setups,
        programs=tuple(_written(program, plan.request) for program in plan.programs),
        in_air=tuple(_written(program, plan.request) for program in plan.in_air),
        cautions=plan.cautions,
    )
    return with_probing(result)


def _written(program: Program, request: CutRequest) -> ProgramFile:
    label = request.label
    return writer.write(program, request.machine, label.job, label.job_digest)


def proven(result: CutResult) -> CutResult:
    """The result with the proof of its programs, those given by the request in place of ours."""
    given = result.request.given
    texts = [
        ProgramText(
            name=file.name,
            data=given.get(file.name, file.text),
            setup=Setup(file.setup),
            air=file.program.air,
        )
        for file in result.files
    ]
    return dataclasses.replace(result, proof=_proof(result, texts))


def _proof(result: CutResult, texts: Sequence[ProgramText]) -> Proof:
    """The proof of programs in the order in which they run, on the request's blank."""
    request = result.request
    cuts = [(o.tool.number, o.cut) for p in result.programs for o in p.program.operations]
    return prove(
        texts,
        request.part,
        stage=request.stage,
        milled=result.milled,
        by_hand=result.left_for_the_hand,
        stock=request.blank,
        profile=request.machine,
        material=request.material,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
    )


def stop_unproven(results: Sequence[CutResult]) -> None:
    """Raise RefusedError where a proof failed: a fault of the program, whose case is kept."""
    failed = [r for r in results if r.proof and not r.proof.passed]
    if not failed:
        return
    kept = keep_case(failed)
    case = f"the case is kept in {kept}" if kept else "the case could not be kept"
    wrong = "the proof failed: this is a fault of blankcam, not of your job or machine"
    where = ", ".join(dict.fromkeys(_where(r) for r in failed))
    raise RefusedError(Fault(where=where, wrong=wrong, fix=f"nothing was written; {case}"))


def _where(result: CutResult) -> str:
    label = result.request.label
    return label.stem if label.readings_digest else result.request.part.name


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class SharedSetup:
    """A set-up's programs for all blanks, and where each blank stands in them."""

    setup: Setup
    placed: Mapping[int, Placed]
    in_air: ProgramFile
    files: tuple[ProgramFile, ...]

    @property
    def every_file(self) -> tuple[ProgramFile, ...]:
        """The file in the air, then those that cut, in the order they are run."""
        return (self.in_air, *self.files)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class WrittenLoad:
    """Blanks side by side in one fixture and their shared programs, not proven."""

    blanks: Mapping[int, CutResult]
    """Each between the fixture's walls, with its own programs, by the number of its place."""
    setups: tuple[SharedSetup, ...]

    @property
    def files(self) -> tuple[ProgramFile, ...]:
        """The shared programs in the order they are run."""
        return tuple(f for s in self.setups for f in s.every_file)


def cut_load(stem: str, planned: Mapping[int, CutResult], pitch: float) -> dict[int, CutResult]:
    """Blanks side by side in one fixture: shared programs, each blank proven under all of them.

    Takes what ``write_load`` takes.

    Returns
    -------
    Each blank with the load's programs in place of its own, and the proof that they leave its part.

    Raises
    ------
    RefusedError
        Where the blanks don't fit beside each other, or a proof failed.
    """
    load = write_load(stem, planned, pitch)
    return {number: _passed_in_place(load, number) for number in load.blanks}


def _passed_in_place(load: WrittenLoad, number: int) -> CutResult:
    result = proven_in_place(load, number)
    if result.proof is not None and not result.proof.passed:
        raise RefusedError(
            Fault(where=f"place {number}", wrong=f"the proof failed: {finding}")
            for finding in result.proof.faults[:MOST_TOLD]
        )
    return result


def write_load(stem: str, planned: Mapping[int, CutResult], pitch: float) -> WrittenLoad:
    """Blanks side by side in one fixture, their shared programs written.

    Parameters
    ----------
    stem : names the load's programs
    planned : each blank's own programs by the number of its place; of one part, one material and
        one machine; the labels' jobs name the blanks in the header
    pitch : from one place to the next, mm

    Raises
    ------
    RefusedError
        Where the blanks don't fit beside each other.
    """
    wall = max(pitch - max(r.request.part.thickness for r in planned.values()), 0.0)
    walled = {n: _between_walls(r, wall) for n, r in planned.items()}
    setups = (_shared(stem, walled, pitch, setup) for setup in Setup)
    return WrittenLoad(blanks=walled, setups=tuple(s for s in setups if s))


def _between_walls(result: CutResult, wall: float) -> CutResult:
    machine = result.request.machine
    held = dataclasses.replace(machine.holding, jaw_width=wall)
    machine = dataclasses.replace(machine, holding=held)
    return dataclasses.replace(result, request=dataclasses.replace(result.request, machine=machine))


def _shared(
    stem: str, blanks: Mapping[int, CutResult], pitch: float, setup: Setup
) -> SharedSetup | None:
    """A set-up's programs for all blanks that have one; raises where they don't fit."""
    own = {n: whole_program(r, setup) for n, r in blanks.items()}
    placed = {n: fixture_load.place(n, p, pitch) for n, p in own.items() if p is not None}
    if not placed:
        return None
    stem, every = f"{stem}-{setup}", list(placed.values())
    labels = [blanks[n].request.label for n in placed]
    names = [f"{label.job}, job digest {label.job_digest}" for label in labels]
    whole = fixture_load.shared(stem, every, labels, pitch)
    request = next(iter(blanks.values())).request
    machine = request.machine
    faults = fixture_load.pitch_faults(stem, every, pitch)
    faults += bounds.travel_faults(stem, machine, whole.operations)
    if faults:
        raise RefusedError(faults)
    words, signed = (
        f"{len(placed)} {request.part.name}s in one fixture",
        digest.of_text("\n".join(names)),
    )
    whole = dataclasses.replace(
        whole, aside=bounds.place_aside(whole.stock, whole.operations, machine)
    )
    over = build.in_air(whole, fixture_load.stocks(every), (), machine)
    air, *files = (
        writer.write(p, machine, words, signed) for p in (over, *build.split(whole, machine))
    )
    return SharedSetup(setup=setup, placed=placed, in_air=air, files=tuple(files))


def whole_program(result: CutResult, setup: Setup) -> Program | None:
    """The programs of a set-up as one, where a machine has them one a tool; None without any."""
    programs = [f.program for f in result.programs if f.setup == setup]
    if not programs:
        return None
    operations = tuple(o for p in programs for o in p.operations)
    return dataclasses.replace(programs[0], operations=operations)


def proven_in_place(
    load: WrittenLoad, number: int, given: Mapping[str, bytes] | None = None, zero: Place = _HERE
) -> CutResult:
    """One blank under all that the load's programs do, with those programs as its own.

    ``given`` are texts in place of the load's, by the names of their files; in those the blank's
    zero stands at ``zero``. A proof that fails is not raised but told.
    """
    given = given or {}
    mine = [
        s for s in load.setups if number in s.placed or any(f.name in given for f in s.every_file)
    ]
    texts = [
        ProgramText(
            name=f.name,
            data=given.get(f.name, f.text),
            setup=s.setup,
            zero=zero if f.name in given else s.placed[number].at,
            air=f.program.air,
        )
        for s in mine
        for f in s.every_file
        if f.name in given or number in s.placed
    ]
    result = load.blanks[number]
    return dataclasses.replace(
        result,
        programs=tuple(f for s in mine for f in s.files),
        in_air=tuple(s.in_air for s in mine),
        proof=_proof(result, texts),
    )
