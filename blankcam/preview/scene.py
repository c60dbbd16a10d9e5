"""From a job worked out, planned, written and proven to what the page shows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from blankcam.cut import CutResult
from blankcam.data import table
from blankcam.faults import Fault
from blankcam.gcode.comments import comment
from blankcam.gcode.header import operation_words
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs.machine import Profile
from blankcam.machining.decision import Decision
from blankcam.outputs.drawings.setup_card import Card, cards_of
from blankcam.outputs.drawings.slot_section import Asked, SlotSection
from blankcam.outputs.reasons import left_to_the_hand
from blankcam.outputs.tables.machine_work import ProvenProgram
from blankcam.parts.design import Design
from blankcam.parts.hand_left import NOTHING, HandLeft
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.preview import numbers, paths, solids
from blankcam.preview.first_step import WAITING, first_step
from blankcam.preview.model import (
    Cells,
    Chapter,
    Heights,
    HoldingBody,
    NextStep,
    PageData,
    ProgramView,
)
from blankcam.preview.seat_drawings import seat_drawings
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
    moves: tuple[paths.ReadMoves, ...]
    """Their moves as the proof's reader reads the texts."""
    proof: Proof
    cautions: tuple[str, ...] = ()
    by_hand: HandLeft = NOTHING
    """What the hand still takes off."""
    setups: tuple[Card, ...] = ()
    """How the blank is held and zeroed; for the right-handed."""

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
            setups=tuple(cards_of(result, bass_left=True)),
            cautions=(*result.cautions, *left_to_the_hand(request.part.name, result.decisions)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitShown:
    """What a refit asks for, as the page shows it."""

    parts: Mapping[str, solids.RefitStates]
    """By the part's name."""
    verdict: str
    """Its head, a colon, and what there is to do."""
    cautions: tuple[str, ...]
    """In place of those of the job and its first programs."""
    next_step: NextStep


def page_data(
    found: Design,
    profile: Profile,
    cuts: Sequence[PartCut],
    *,
    choices: Mapping[int, Decision],
    notice: Sequence[str],
    refused: Sequence[Fault] = (),
    watch: str = "",
    waiting: bool = False,
    refit: RefitShown | None = None,
) -> PageData:
    """Everything on the page.

    Parameters
    ----------
    cuts : of each part and stage that was planned and replayed; none for a laser or hand work.
        A stage that is not among them is shown as it is wanted.
    choices : who makes each slot, by the number of its string
    notice : the lines of caution for material and machine
    refused : why nothing may be made so
    watch : what the page is known by while its job is watched
    waiting : whether who cuts what, and the proof of the programs, are still to come
    refit : what a refit asks for; None before any
    """
    good, verdict = _refused(refused) if refused else _verdict(cuts)
    if refit is not None and good:
        verdict = refit.verdict
    if waiting and good:
        verdict = "Working it out: who cuts each slot, and the proof of the programs"
    job = found.job
    limits = table("proof")["limits"]
    handed = "left-handed" if job.left_handed else "right-handed"
    digest = f"job digest {job.digest}"
    cautions = _most_pressing_first(found.cautions, [c for cut in cuts for c in cut.cautions])
    if refit is not None:
        cautions = refit.cautions
    named = _named(cuts)
    programs = [(c.part, f) for c in cuts for f in c.programs]
    return PageData(
        next_step=_next_step(found, programs, refit, good=good, waiting=waiting),
        sections=tuple(_sections(found, cuts, choices, refit)),
        seats=tuple(seat_drawings(found)),
        title=job.instrument.name,
        units=profile.drawing.units,
        subtitle=f"{found.part_names.capitalize()} for a {handed} {job.instrument.kind} instrument "
        f"· {job.blanks.material} · {profile.name} · {digest}",
        good=good,
        waiting=waiting and good,
        refused=tuple(str(f) for f in refused),
        blanks=_blanks(found),
        watch=watch,
        verdict=verdict,
        cautions=tuple(dict.fromkeys(cautions)),
        notice=tuple(notice),
        parts=tuple(
            solids.part_view(
                found,
                part,
                {} if refit else _left(cuts, part.name),
                choices,
                refit.parts.get(part.name) if refit else None,
            )
            for part in found.parts
        ),
        programs=tuple(_programs(cuts, profile, named)),
        setups=tuple(
            replace(card, bass_left=not job.left_handed) for cut in cuts for card in cut.setups
        ),
        elevations=tuple(solids.elevation(p) for p in found.parts),
        side=numbers.side(found),
        plots=numbers.plots(found),
        limits_um=(1000 * limits["gouge"], 1000 * limits["left"]),
        tables=(*job_tables(found, choices), *program_tables(_proven(cuts, named))),
    )


def _next_step(
    found: Design, programs: Sequence[tuple[str, ProgramFile]], refit: RefitShown | None,
    *, good: bool, waiting: bool,
) -> NextStep:  # fmt: skip
    if refit is not None:
        return refit.next_step
    return WAITING if waiting and good else first_step(found, programs, good=good)


def _most_pressing_first(job: Sequence[str], machine: Sequence[str]) -> tuple[str, ...]:
    """What may hurt at the machine, strings that may break, the parts; last, string by string."""
    snaps = [c for c in job if "MPa is more than" in c]
    others = sorted((c for c in job if c not in snaps), key=lambda c: c.startswith("string "))
    return (*machine, *snaps, *others)


def _asked(part: Part, string: int, *, standing: bool) -> Asked:
    """A slot's floor and the top over its middle, with the waste that stands on it, or without."""
    slot = next(s for s in part.slots if s.string == string)
    top = float(part.top.height(np.array(slot.centre)))
    return Asked(floor=slot.floor_front, top=top + (part.allowance if standing else 0.0))


def _sections(
    found: Design, cuts: Sequence[PartCut], choices: Mapping[int, Decision],
    refit: RefitShown | None,
) -> Iterator[SlotSection]:  # fmt: skip
    """The nut's slots, the rough line as the replay left it where there was one."""
    nut = found.nut
    if nut is None or found.job.blanks.nut is None:
        return
    rough = next((c for c in cuts if c.part == nut.name and c.stage is Stage.ROUGH), None)
    parts = refit.parts.get(nut.name) if refit else None
    for slot, string in zip(nut.slots, found.instrument.strings, strict=True):
        choice = choices.get(slot.string)
        yield SlotSection(
            nut=nut,
            slot=slot,
            string=string,
            stock=found.job.blanks.nut.height,
            milled=choice is not None and choice.tool is not None,
            bass_left=not found.job.left_handed,
            left=None if rough is None or refit else rough.proof.field,
            stands=_asked(parts.now, slot.string, standing=True) if parts else None,
            refit=_asked(parts.asked, slot.string, standing=False) if parts else None,
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


def _blanks(found: Design) -> dict[str, tuple[float, float]]:
    pieces = {p.name: getattr(found.job.blanks, p.name) for p in found.parts}
    return {name: (piece.length, piece.height) for name, piece in pieces.items()}


def _refused(faults: Sequence[Fault]) -> tuple[bool, str]:
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    named = f"{faults[0].key} is " if faults[0].wrong.startswith("too ") else ""
    return False, f"Do not cut: {named}{faults[0].wrong}{more}"


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
        f"Good to cut: {programs} replayed, nothing touched that must not be, nowhere "
        f"more than {deep:.1f} µm too low."
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
                chapters=tuple(chapters(file, profile)),
                held_by=(*_held_by(cut.proof, file.name), *_waste_board(program)),
                held=_held_words(program),
                start=_start(cut, program) if program.setup not in last else None,
            )
            last[program.setup] = count
            count += 1


def _held_by(proof: Proof, file: str) -> tuple[HoldingBody, ...]:
    """What holds the blank while a program runs; the bed under it is left out."""
    around = next((p.around for p in proof.programs if p.name == file), ())
    return tuple(HoldingBody(low=b.low, high=b.high) for b in around if b.name != "bed")


WASTE_BOARD = 6.0
"""mm of waste board drawn round and under a blank; its own size is not known."""
GLUED = {"carrier": "glued on a waste board", "tape": "by tape on a waste board"}


def _waste_board(program: Program) -> Iterator[HoldingBody]:
    """What a blank on face is fixed to, drawn for its place only."""
    if program.setup != "face" or program.holding.on_face not in GLUED:
        return
    s, by = program.stock, WASTE_BOARD
    yield HoldingBody(low=(s.x0 - by, s.y0 - by, s.z0 - by), high=(s.x1 + by, s.y1 + by, s.z0))


def _held_words(program: Program) -> str:
    held = program.holding
    if program.setup == "edge":
        return f"{held.kind}, {held.grip} {held.jaw_top:.2f} mm over the seat side"
    return GLUED.get(
        held.on_face,
        "a clamp at each end" if held.on_face == "clamps" else "between the walls of a fixture",
    )


def chapters(file: ProgramFile, profile: Profile) -> Iterator[Chapter]:
    """The operations of a program, each from the comment that begins it in the text."""
    lines = file.text.splitlines()
    at = 0
    for o in file.program.operations:
        said = [*comment(profile.controller, operation_words(o))]
        first = next((i for i in range(at, len(lines)) if said and lines[i] == said[0]), None)
        if first is None:
            continue
        at = first + 1
        yield Chapter(line=at, name=o.name, words=o.words, tool=o.tool.number)


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
