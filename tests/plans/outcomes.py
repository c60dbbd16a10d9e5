"""What becomes of a job on a machine: made, refused and why, or a fault of the program."""

from __future__ import annotations

import traceback
from dataclasses import dataclass
from enum import StrEnum

from blankcam.cut import CutResult
from blankcam.faults import BlankcamError, Fault
from blankcam.inputs import job_file
from blankcam.inputs.machine import Profile
from blankcam.inputs.machine_file import parse_profile, read_profile
from blankcam.outputs.reasons import left_to_the_hand
from blankcam.parts.design import design
from blankcam.parts.frames import Setup
from blankcam.parts.stage import Stage
from blankcam.replay.proof import ProgramText, Proof
from blankcam.replay.prove import prove
from blankcam.workflows.cut_part import write_part
from blankcam.workflows.request import requests_of
from tests.plans import hobby_machines


class Ending(StrEnum):
    """How a job ended."""

    MADE = "made"
    SMALL = "blank too small"
    REFUSED = "refused"
    UNPROVEN = "the proof failed"
    CRASHED = "crashed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How a job ended, and why."""

    ending: Ending
    why: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()
    """What the job gives to the machine and the hand must make, and why."""
    made: tuple[str, ...] = ()
    """What the machine makes: part and feature."""


def profile(name: str) -> Profile:
    """A shipped machine, or a hobby machine of the list."""
    known = {n for n, _, _ in hobby_machines.MACHINES}
    if name in known:
        return parse_profile(hobby_machines.profile_text(name), name)
    return read_profile(name)


def outcome(text: str, machine: str, stage: str, step: float | None = None) -> Outcome:
    """Plan, write and prove a job; never raises.

    ``step``: cells of the proof's grid, mm; coarser ones than its own are quicker, and slots and
    ends have their own fine lines anyway.
    """
    try:
        return _made(text, machine, stage, step)
    except BlankcamError as refused:
        ending = Ending.SMALL if all(map(_small, refused.faults)) else Ending.REFUSED
        return Outcome(ending=ending, why=tuple(map(str, refused.faults)))
    except Exception:  # noqa: BLE001 - what this is here to find
        return Outcome(ending=Ending.CRASHED, why=(traceback.format_exc(),))


def small(text: str) -> bool:
    """Whether a job's blanks are too small for its parts, and nothing else is wrong with it."""
    try:
        design(job_file.parse(text, "job.toml"))
    except BlankcamError as refused:
        return all(map(_small, refused.faults))
    return False


def _small(fault: Fault) -> bool:
    return (fault.key or "").startswith("blanks.") and "too small" in fault.wrong


def _made(text: str, machine: str, stage: str, step: float | None) -> Outcome:
    found = design(job_file.parse(text, "job.toml"))
    on = profile(machine)
    results = [write_part(r) for r in requests_of(found, on, Stage(stage))]
    made = [(r, proof_of(r, step)) for r in results]
    failed = tuple(str(f) for _, p in made for f in p.faults if not p.passed)
    by_hand = tuple(w for r in results for w in left_to_the_hand(r.request.part.name, r.decisions))
    return Outcome(
        ending=Ending.UNPROVEN if failed else Ending.MADE,
        why=failed,
        by_hand=by_hand,
        made=tuple(
            f"{r.request.part.name} {d.feature.kind}"
            for r in results for d in r.decisions if d.tool is not None
        ),
    )  # fmt: skip


def proof_of(result: CutResult, step: float | None = None) -> Proof:
    """The proof of a part's own programs."""
    request, programs = result.request, result.programs
    cuts = [(o.tool.number, o.cut) for p in programs for o in p.program.operations]
    return prove(
        [
            ProgramText(name=f.name, data=f.text, setup=Setup(f.setup), air=f.program.air)
            for f in result.files
        ],
        request.part,
        stage=request.stage,
        milled=result.milled,
        by_hand=result.left_for_the_hand,
        stock=request.blank,
        profile=request.machine,
        material=request.material,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
        step=step,
    )
