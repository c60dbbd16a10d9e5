"""The bench list: the work in the order it is done, as Markdown short enough for a wall."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from blankcam.cutting.motion import Program
from blankcam.cutting.plan import Plan
from blankcam.job.lengths import inches
from blankcam.machine.profile import Profile
from blankcam.parts.design import Design
from blankcam.parts.nut import Nut, Slot
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage
from blankcam.writers.gcode import ENDING, tool_words
from blankcam.writers.notice import notice


def bench(
    design: Design,
    profile: Profile,
    stage: Stage,
    plans: Mapping[str, Plan],
    seconds: Mapping[str, float],
) -> str:
    """The whole list.

    Parameters
    ----------
    plans
        By the part's name; empty where the machine takes no programs.
    seconds
        The estimate of each program by its file's name.
    """
    job = design.job
    lines = [f"# Bench list: {_plain(job.instrument.name)}", ""]
    lines += [f"> {line}  " for line in notice(job.blanks.material, str(profile.kind))]
    head = f"Stage {stage}, machine {_plain(profile.name)}, {job.blanks.material}, job digest "
    head += f"{job.digest}. Millimetres (inches). x from the part's left end, seen from the bridge."
    lines += ["", head]
    for part in (design.nut, design.saddle):
        steps = _steps(design, part, plans.get(part.name), seconds, stage)
        lines += ["", f"## {part.name.capitalize()}", ""]
        lines += [f"{i}. {words}" for i, words in enumerate(steps, start=1)]
    lines += ["", "## Then", ""]
    lines += [f"{i}. {words}" for i, words in enumerate(_then(stage), start=1)]
    return "\n".join([*lines, ""])


def _steps(
    design: Design,
    part: Nut | Saddle,
    plan: Plan | None,
    seconds: Mapping[str, float],
    stage: Stage,
) -> Iterator[str]:
    programs = plan.programs if plan else ()
    yield from _blank_steps(design, part, programs)
    done = {o.name for p in programs for o in p.operations}
    if "outline" not in done:
        yield f"Leave it at least {_both(part.length)} long; square its seat side and string side."
    for program in programs:
        yield from _program_steps(program, seconds.get(program.stem + ENDING, 0.0))
        if "outline" in {o.name for o in program.operations}:
            yield "Saw through the tabs at the seat end of both ends, file them flush."
    if programs:
        yield (
            "Let the spindle stop, brush and vacuum, measure before unclamping: height over the "
            f"seat side at the highest {_both(_highest(part, stage))}."
        )
    if "outline" not in done:
        yield f"Saw to {_both(part.length)} long, file the ends."
    if isinstance(part, Nut):
        yield from _slot_steps(part, plan, stage)
    elif part.ends == "round":
        yield "File the ends to a full round where the machine left them, and below the jaws' line."
    yield "Break the sharp edges, dry fit it in its seat. Do not glue yet."


def _blank_steps(design: Design, part: Nut | Saddle, programs: Sequence[Program]) -> Iterator[str]:
    for check in design.checks:
        if check.part == part.name:
            words = f"Measure the blank's {check.dimension}: {_both(check.have)} by the job"
            if check.rub_off > 0:
                milled = check.by == "mill" and programs
                words += (
                    f"; the program on face mills off {_both(check.rub_off, 3)}"
                    if milled
                    else (f"; rub off {_both(check.rub_off, 3)} first")
                )
            yield f"{words}, at least {_both(check.need)}."
    yield (
        f"Thickness must end between {_both(part.fit.low, 3)} and {_both(part.fit.high, 3)} "
        f"({part.fit.name}, {part.fit.code})."
    )


def _program_steps(program: Program, seconds: float) -> Iterator[str]:
    held = program.holding
    if program.setup == "edge":
        yield (
            f"Hold the blank on edge, seat side down, {held.kind}, jaws up to "
            f"{_both(held.jaw_top)} over the seat side; the face toward the tail looks to you."
        )
    else:
        yield (
            "Fix the blank on a waste board, the face toward the tail up, seat side toward you; "
            "waste and tabs stay fixed too."
        )
    yield f"Zero: {program.zero}."
    for tool in program.tools:
        yield f"Have ready: {tool_words(tool)} (out of the collet {_both(tool.stick_out)})."
    yield f"Dry run, then run `{program.stem}{ENDING}`: about {max(1, round(seconds / 60))} min."


def _slot_steps(nut: Nut, plan: Plan | None, stage: Stage) -> Iterator[str]:
    chosen = {c.string: c for c in plan.slots} if plan else {}
    for slot in nut.slots:
        choice = chosen.get(slot.string)
        milled = choice is not None and choice.by == "mill"
        start = nut.slot_raise(stage) if milled else slot.depth_front
        if not milled and stage is Stage.ROUGH:
            start += nut.allowance
        why = f" ({_plain(choice.why)})" if choice else ""
        yield f"{_slot_words(slot)}; " + (
            f"file the last {_both(start, 3)} after stringing{why}."
            if milled
            else f"by file from the top, {_both(start)} deep in all, stop "
            f"{_both(nut.hold_back)} short until strung{why}."
        )


def _slot_words(slot: Slot) -> str:
    return (
        f"Slot {slot.string} {_plain(slot.note)} at {_both(slot.centre)}: round file "
        f"{_both(slot.width, 3)} wide, finished floor {_both(slot.floor_front)} over the seat"
    )


def _then(stage: Stage) -> Iterator[str]:
    yield "String it up, tune it, let it settle a day or two."
    yield "Measure the clearance over fret 1 and over fret 12 of each string, and the relief."
    if stage is Stage.ROUGH:
        yield "Run `blankcam refit` with the readings; cut or file what it says, then polish."
    else:
        yield "Polish; if a reading is off, run `blankcam refit` with the readings."


def _highest(part: Nut | Saddle, stage: Stage) -> float:
    return part.height + (part.allowance if stage is Stage.ROUGH else 0.0)


def _both(mm: float, places: int = 2) -> str:
    return f"{mm:.{places}f} mm ({inches(mm, places + 1)} in)"


def _plain(text: str) -> str:
    """A maker's words without what Markdown would act on."""
    return "".join(c if c.isprintable() and c not in "<>|`*_[]\\#" else " " for c in text)
