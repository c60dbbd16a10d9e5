"""What becomes of a job on a machine: made, refused and why, or a fault of the program."""

from __future__ import annotations

import traceback
from dataclasses import dataclass
from enum import StrEnum

from blankcam.faults import BlankcamError, Fault
from blankcam.inputs import job_file
from blankcam.inputs.machine import Profile
from blankcam.inputs.machine_file import parse_profile, read_profile
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.workers import Worker
from blankcam.workflows.cut_part import cut_parts
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


def profile(name: str) -> Profile:
    """A shipped machine, or a hobby machine of the list."""
    known = {n for n, _, _ in hobby_machines.MACHINES}
    if name in known:
        return parse_profile(hobby_machines.profile_text(name), name)
    return read_profile(name)


def outcome(text: str, machine: str, stage: str) -> Outcome:
    """Plan, write and prove a job; never raises."""
    try:
        return _made(text, machine, stage)
    except BlankcamError as refused:
        ending = Ending.SMALL if all(map(_small, refused.faults)) else Ending.REFUSED
        return Outcome(ending=ending, why=tuple(map(str, refused.faults)))
    except Exception:  # noqa: BLE001 - what this is here to find
        return Outcome(ending=Ending.CRASHED, why=(traceback.format_exc(),))


def _small(fault: Fault) -> bool:
    return (fault.key or "").startswith("blanks.") and "too small" in fault.wrong


def _made(text: str, machine: str, stage: str) -> Outcome:
    found = design(job_file.parse(text, "job.toml"))
    on = profile(machine)
    if not on.cuts_programs:
        return Outcome(ending=Ending.MADE)
    made = cut_parts(found, on, Stage(stage), Worker())
    failed = [str(f) for m in made for f in m.proof.faults if not m.proof.passed]
    ending = Ending.UNPROVEN if failed else Ending.MADE
    return Outcome(ending=ending, why=tuple(failed))
