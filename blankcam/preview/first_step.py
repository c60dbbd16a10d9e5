"""What a maker does first with the blank in hand, for the head of the page."""

from __future__ import annotations

from collections.abc import Sequence

from blankcam.gcode.program_file import ProgramFile
from blankcam.parts.design import Design
from blankcam.preview.model import NextStep

WAITING = NextStep(
    head=("Wait for the proof",),
    words=("What is drawn here is the job as it was saved last.",),
)
"""Of a page whose programs are still being worked out."""
HELD = {"face": "on face", "edge": "on edge, seat side down"}


def first_step(found: Design, programs: Sequence[tuple[str, ProgramFile]], *, good: bool
               ) -> NextStep:  # fmt: skip
    """The first step of the work.

    Parameters
    ----------
    programs : the part each belongs to and the file, in the order they are run
    good : whether the proofs passed
    """
    if not good:
        return NextStep(
            head=("Do not cut",), words=("Put right what stands above, then make the job again.",)
        )
    for check in found.checks:
        if check.rub_off > 0 and check.by == "hand":
            fit = next(p.fit for p in found.parts if p.name == check.part)
            return NextStep(
                head=(f"Rub the {check.part} blank to ", check.have - check.rub_off),
                words=(check.rub_off, " off its ", check.have, "; anything from ", fit.low, " to ",
                       fit.high, " fits the seat. ", *_after(programs, check.part)),
            )  # fmt: skip
    if not programs:
        return NextStep(
            head=("Print the sheet at 100 %",),
            words=("Measure its 100 mm rule, then follow the bench list.",),
        )
    part, file = programs[0]
    return NextStep(
        head=(f"Hold the {part} blank {HELD[file.program.setup]}",),
        words=(f"{file.name} runs first, dry.",),
    )


def _after(programs: Sequence[tuple[str, ProgramFile]], part: str) -> tuple[str, ...]:
    """How it is held and which program runs first; nothing where none does."""
    file = next((f for p, f in programs if p == part), None)
    if file is None:
        return ("Then follow the bench list.",)
    return (f"Then hold it {HELD[file.program.setup]}; {file.name} runs first, dry.",)
