"""From a job worked out, planned, written and proven to what the page shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from blankcam.cut import CutResult
from blankcam.data import table
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Profile
from blankcam.machining.decision import Decision
from blankcam.outputs.tables.machine_work import ProvenProgram
from blankcam.parts.design import Design
from blankcam.parts.hand_left import NOTHING, HandLeft
from blankcam.parts.stage import Stage
from blankcam.preview import numbers, paths, solids
from blankcam.preview.model import Block, Cells, Heights, PageData, ProgramView
from blankcam.preview.tables import job_tables, program_tables
from blankcam.replay.proof import Proof
from blankcam.toolpath.moves import Program


@dataclass(frozen=True, slots=True, kw_only=True)
class PartCut:
    """One part's programs of one stage and their proof."""

    part: str
    """``nut`` or ``saddle``."""
    stage: Stage
    milled: frozenset[int]
    """Strings whose slots the programs cut to their floor."""
    programs: tuple[ProgramFile, ...]
    """In the order they are run."""
    moves: tuple[paths.Moves, ...]
    """Their moves as the proof's reader reads the texts."""
    proof: Proof
    cautions: tuple[str, ...] = ()
    by_hand: HandLeft = NOTHING
    """What the hand still takes off."""

    @classmethod
    def of(cls, result: CutResult) -> PartCut:
        """What the page shows of a part that was cut and proven."""
        from blankcam.replay.reader import read_program

        request, proof = result.request, result.proof
        assert proof is not None
        return cls(
            part=request.part.name,
            stage=request.stage,
            milled=result.milled,
            by_hand=result.left_for_the_hand,
            programs=result.programs,
            moves=tuple(
                read_program(f.text, request.machine, name=f.name).moves for f in result.programs
            ),
            proof=proof,
            cautions=result.cautions,
        )


def page_data(
    found: Design,
    profile: Profile,
    cuts: Sequence[PartCut],
    *,
    choices: Mapping[int, Decision],
    notice: Sequence[str],
) -> PageData:
    """Everything on the page.

    Parameters
    ----------
    cuts : of each part and stage that was planned and replayed; none for a laser or hand work.
        A stage that is not among them is shown as it is wanted.
    choices : who makes each slot, by the number of its string
    notice : the lines of caution for material and machine
    """
    good, verdict = _verdict(cuts)
    job = found.job
    limits = table("proof")["limits"]
    handed = "left-handed" if job.left_handed else "right-handed"
    digest = f"job digest {job.digest}"
    cautions = (*found.cautions, *(c for cut in cuts for c in cut.cautions))
    named = _named(cuts)
    return PageData(
        title=job.instrument.name,
        subtitle=f"{found.part_names.capitalize()} for a {handed} {job.instrument.kind} instrument · "
        f"{job.blanks.material} · {profile.name} · {digest}",
        good=good,
        verdict=verdict,
        cautions=tuple(dict.fromkeys(cautions)),
        notice=tuple(notice),
        parts=tuple(
            solids.part_view(found, part, _left(cuts, part.name), choices) for part in found.parts
        ),
        programs=tuple(_programs(cuts, profile, named)),
        elevations=tuple(solids.elevation(p) for p in found.parts),
        side=numbers.side(found),
        plots=numbers.plots(found),
        limits_um=(1000 * limits["gouge"], 1000 * limits["left"]),
        tables=(*job_tables(found, choices), *program_tables(_proven(cuts, named))),
    )


def _named(cuts: Sequence[PartCut]) -> dict[tuple[int, int], str]:
    """Names of the programs, with their stage where two stages have the same file."""
    files = [(i, j, f.name) for i, cut in enumerate(cuts) for j, f in enumerate(cut.programs)]
    double = {f for _, _, f in files if sum(f == other for _, _, other in files) > 1}
    return {
        (i, j): f"{f}, {'rough' if cuts[i].stage is Stage.ROUGH else 'finished'}"
        if f in double
        else f
        for i, j, f in files
    }


def _verdict(cuts: Sequence[PartCut]) -> tuple[bool, str]:
    bad = [c for c in cuts if not c.proof.passed]
    if bad:
        faults = [str(f) for c in bad for f in c.proof.faults]
        first = faults[0] if faults else "the proof failed"
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        return False, f"Do not cut: {first}{more}"
    if not cuts:
        return (
            True,
            "Good to mark out: these blanks hold what is made of them. No program to cut.",
        )
    deep = max(c.proof.gouge_um for c in cuts)
    count = sum(len(c.programs) for c in cuts)
    programs = "the program" if count == 1 else f"all {count} programs"
    return True, (
        f"Good to cut: {programs} replayed, nothing touched that must not be, deepest "
        f"{deep:.1f} µm below the part."
    )


def _left(cuts: Sequence[PartCut], part: str) -> dict[Stage, solids.Left]:
    return {
        c.stage: solids.Left(stage=c.stage, milled=c.milled, field=c.proof.field, by_hand=c.by_hand)
        for c in cuts
        if c.part == part
    }


def _programs(cuts: Sequence[PartCut], profile: Profile, named: Mapping[tuple[int, int], str]
              ) -> Iterator[ProgramView]:  # fmt: skip
    count = 0
    for i, cut in enumerate(cuts):
        last: dict[str, int] = {}
        for j, (file, moves) in enumerate(zip(cut.programs, cut.moves, strict=True)):
            program = file.program
            stock = program.stock
            yield ProgramView(
                file=named[i, j],
                part=cut.part,
                setup=program.setup,
                stage=str(cut.stage),
                text=tuple(file.text.splitlines()),
                tools=tuple(paths.tool_view(t) for t in program.tools),
                path=paths.path(moves, profile, file.seconds),
                stock_top=stock.z1,
                stock_bottom=stock.z0,
                cells=_cells(cut, program),
                after=last.get(program.setup),
                held_by=_held_by(cut.proof, file.name),
                start=_start(cut, program) if program.setup not in last else None,
            )
            last[program.setup] = count
            count += 1


def _held_by(proof: Proof, file: str) -> tuple[Block, ...]:
    """What holds the blank while a program runs; the bed under it is left out."""
    around = next((p.around for p in proof.programs if p.name == file), ())
    return tuple(Block(low=b.low, high=b.high) for b in around if b.name != "bed")


def _start(cut: PartCut, program: Program) -> Heights | None:
    """What a set-up on face left for the first program on edge."""
    before = cut.proof.before
    return solids.cells(before) if before is not None and program.setup == "edge" else None


def _cells(cut: PartCut, program: Program) -> Cells:
    """On edge the cells of the picture of the part, on face cells of their own."""
    if program.setup == "edge":
        heights = solids.cells(cut.proof.field)
        return Cells(x=heights.x, y=heights.y, box=heights.box)
    s = program.stock
    x, y = (
        low + solids.middles(high - low, solids.CELL_Y)
        for low, high in ((s.x0, s.x1), (s.y0, s.y1))
    )
    return Cells(x=x, y=y, box=(s.x0, s.x1, s.y0, s.y1))


def _proven(cuts: Sequence[PartCut], named: Mapping[tuple[int, int], str]) -> list[ProvenProgram]:
    """Every program under the name it is shown with."""
    return [
        ProvenProgram(name=named[i, j], file=file, proof=cut.proof)
        for i, cut in enumerate(cuts)
        for j, file in enumerate(cut.programs)
    ]
