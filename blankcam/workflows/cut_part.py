"""Programs of a job planned, written and proven; and any program proved in its place among them."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.inputs.job import BlankJob, Job
from blankcam.inputs.machine import Holding, Profile
from blankcam.inputs.machine_file import read_profile
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, design
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.workers import Worker

if TYPE_CHECKING:
    from blankcam.gcode.writer import Written
    from blankcam.machining.slots import SlotChoice
    from blankcam.parts.frames import Stock
    from blankcam.replay.proof import ProgramText, Proof
    from blankcam.toolpath.build import Plan

LARGEST_PROGRAM = 20_000_000
MOST_TOLD = 20  # findings of one proof that are printed


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the plan says of one slot, as plain values."""

    by: str
    tool: int | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One part's programs and their proof."""

    part: Nut | Saddle
    plan: Plan
    written: tuple[Written, ...]
    proof: Proof


def programs(found: Design, profile: Profile, stage: Stage, worker: Worker) -> tuple[Made, ...]:
    """Both parts' programs, planned, written and proven, the saddle beside the nut.

    Raises
    ------
    RefusedError
        Where a plan can't be made: every reason for both parts.
    """
    saddle = worker.submit(part_made, found, "saddle", profile, stage)
    nut = Worker().submit(part_made, found, "nut", profile, stage)
    faults: list[Fault] = []
    made: list[Made] = []
    for part in (nut, saddle):
        try:
            made.append(part.result())
        except RefusedError as refused:
            faults += refused.faults
    if faults:
        raise RefusedError(faults)
    return tuple(made)


def part_made(found: Design, name: str, profile: Profile, stage: Stage) -> Made:
    """One part's programs, planned, written and proven."""
    part = found.nut if name == "nut" else found.saddle
    plan = plan_part(found, part, profile, stage)
    texts = written(found, plan, profile)
    proof = _proof(found, part, plan, profile, stage, {w.file: w.text for w in texts}, {})
    return Made(part=part, plan=plan, written=texts, proof=proof)


def machine_of(job: Job, machine: str | None) -> Profile:
    """The machine profile asked for, with the job's own holding laid over it."""
    profile = read_profile(machine or job.plan.machine)
    given = {k: v for k, v in dataclasses.asdict(job.holding).items() if v is not None}
    held: Holding = dataclasses.replace(profile.holding, **given)
    return dataclasses.replace(profile, holding=held)


def slot_choices(found: Design, profile: Profile, stage: Stage) -> dict[int, Choice]:
    """Who makes each slot and why, without planning the rest."""
    from blankcam.machining import setup_sheet, slots

    nut, material = found.nut, found.job.blanks.material
    blank = dataclasses.replace(found.job.blanks.nut, thickness=nut.thickness)
    by_file = found.job.plan.slots != "mill" or not profile.cuts_programs
    on = setup_sheet.set_up(nut.length, blank, profile, material, stage)
    return choices_of(slots.chosen(nut, on, by_file=by_file))


def foreseen(found: Design, profile: Profile, stage: Stage) -> tuple[str, ...]:
    """What the plans of both parts will caution, without planning them."""
    if not profile.cuts_programs:
        return ()
    from blankcam.machining import foreseen as ahead

    material, by = found.job.blanks.material, found.job.plan
    said = (
        ahead.cautions(part, blank_as_cut(found, part), profile, material, stage, by)
        for part in (found.nut, found.saddle)
    )
    return tuple(dict.fromkeys(caution for part in said for caution in part))


def refusals(found: Design, profile: Profile, stage: Stage) -> tuple[Fault, ...]:
    """Why the plans of both parts will be refused.

    Without planning, but where only the moves would tell.
    """
    if not profile.cuts_programs:
        return ()
    from blankcam.machining import foreseen as ahead

    material, by = found.job.blanks.material, found.job.plan
    each = [
        (part, blank_as_cut(found, part), profile, material, stage, by)
        for part in (found.nut, found.saddle)
    ]
    told = tuple(fault for asked in each for fault in ahead.refusals(*asked))
    if told or not any(ahead.may_be_more(*asked) for asked in each):
        return told
    return tuple(
        fault for part, *_ in each for fault in _refused(plan_part, found, part, profile, stage)
    )


def _refused(work: Callable[..., object], *on: object) -> tuple[Fault, ...]:
    """Why a piece of work is refused, if it is."""
    try:
        work(*on)
    except RefusedError as refused:
        return refused.faults
    return ()


def choices_of(chosen: Sequence[SlotChoice]) -> dict[int, Choice]:
    """The plan's choices as plain values, by the number of the string."""
    return {
        c.string: Choice(by=c.by, tool=c.tool.number if c.tool else None, why=c.why) for c in chosen
    }


def blank_as_cut(found: Design, part: Nut | Saddle) -> BlankJob:
    """The blank as it comes under the cutter: rubbed to its thickness first, where by hand."""
    from blankcam.machining import thickness

    blank: BlankJob = getattr(found.job.blanks, part.name)
    if found.job.plan.thickness == "mill" and thickness.needed(part, blank):
        return blank
    return dataclasses.replace(blank, thickness=part.thickness)


def stock_of(found: Design, part: Nut | Saddle) -> Stock:
    """That blank in the part's frame; what is to be milled off its face lies below y 0."""
    from blankcam.parts.frames import Stock

    blank = blank_as_cut(found, part)
    over = (blank.length - part.length) / 2
    return Stock(
        x0=-over,
        x1=part.length + over,
        y0=part.thickness - blank.thickness,
        y1=part.thickness,
        z0=0.0,
        z1=blank.height,
    )


def plan_part(found: Design, part: Nut | Saddle, profile: Profile, stage: Stage) -> Plan:
    """The programs of one part and who does what; raises RefusedError where it can't be cut."""
    from blankcam.toolpath import build

    blank, material, by = blank_as_cut(found, part), found.job.blanks.material, found.job.plan
    if isinstance(part, Nut):
        return build.plan_nut(
            part, blank, profile, material, stage,
            slots_by=by.slots, outline_by=by.outline, thickness_by=by.thickness,
        )  # fmt: skip
    return build.plan_saddle(
        part, blank, profile, material, stage,
        outline_by=by.outline, ends_by=by.ends, thickness_by=by.thickness,
    )  # fmt: skip


def written(found: Design, plan: Plan, profile: Profile) -> tuple[Written, ...]:
    """The texts of a plan's programs."""
    from blankcam.gcode import writer

    name, digest = found.job.instrument.name, found.job.digest
    return tuple(writer.write(p, profile, name, digest) for p in plan.programs)


def _proof(  # everything a proof needs is a fact of its own
    found: Design,
    part: Nut | Saddle,
    plan: Plan,
    profile: Profile,
    stage: Stage,
    texts: Mapping[str, str | bytes],
    zeros: Mapping[str, tuple[float, float, float]],
) -> Proof:

    from blankcam.replay.proof import ProgramText, Setup

    setups = {f"{p.stem}.ngc": Setup(p.setup) for p in plan.programs}
    given = [
        ProgramText(name=n, data=t, setup=setups[n], zero=zeros.get(n, (0.0, 0.0, 0.0)))
        for n, t in texts.items()
    ]
    return proof(found, part, plan, profile, stage, given)


def proof(  # everything a proof needs is a fact of its own
    found: Design,
    part: Nut | Saddle,
    plan: Plan,
    profile: Profile,
    stage: Stage,
    given: Sequence[ProgramText],
) -> Proof:
    """The proof of programs given in order, on the blank that the plan is for."""
    from blankcam.replay import prove

    cuts = [(o.tool.number, o.cut) for p in plan.programs for o in p.operations]
    return prove.prove(
        given,
        part,
        stage=stage,
        milled=frozenset(c.string for c in plan.slots if c.by == "mill"),
        stock=stock_of(found, part),
        profile=profile,
        material=found.job.blanks.material,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
    )


def stop_unproven(made: Sequence[Made]) -> None:
    """Raise RefusedError with what the proofs found, where one failed."""
    faults = [
        Fault(where=m.part.name, wrong=f"the proof failed: {finding}", fix="nothing was written")
        for m in made
        if not m.proof.passed
        for finding in m.proof.faults[:MOST_TOLD]
    ]
    if faults:
        raise RefusedError(faults)


def prove(
    program: str, job_path: str, machine: str | None, stage: Stage | None, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Replay a program, also an edited one, in its place among its part's programs.

    Returns whether it passed and the lines to print. The part's other programs, run before or
    after it on the same blank, are those this tool would write.
    """
    data = program_bytes(program)
    job = job_file.load(job_path)
    profile, found = machine_of(job, machine), design(job)
    stage = stage or _stage_said(data)
    stem = stem_of(program, data)
    part = found.saddle if stem.startswith("saddle") else found.nut
    plan = plan_part(found, part, profile, stage)
    texts = _in_place(found, plan, profile, f"{stem}.ngc", data)
    if texts is None:
        names = ", ".join(f"{p.stem}.ngc" for p in plan.programs)
        raise InputError(
            Fault(
                where=program,
                wrong=f"does not say which program of the {part.name} it is",
                fix=f"name it like one of these: {names}",
            )
        )
    zero = _zero_said(program, data, job)
    proof = _proof(found, part, plan, profile, stage, texts, {f"{stem}.ngc": zero})
    place = {"file": program, "part": part.name, "stage": str(stage)}
    return verdict_lines(place, proof, f"{stem}.ngc", job.digest, as_json=as_json)


_PLACE = re.compile(
    r"\bplace \d+ at X(-?\d{1,6}\.\d{3}) Y(-?\d{1,6}\.\d{3}) Z(-?\d{1,6}\.\d{3})"
    r".{1,300}?, job digest ([0-9a-f]{16})\b"
)


def _zero_said(program: str, data: bytes, job: Job) -> tuple[float, float, float]:
    """Where this job's blank has its zero in a program for several in one fixture; else 0, 0, 0.

    Raises
    ------
    InputError
        When the header names blanks, none of this job.
    """
    head = " ".join(line.strip("();") for line in data.decode("ascii", "replace").split("\n")[:400]
                    if line.startswith(("(", ";")))  # fmt: skip
    places = {m[4]: (float(m[1]), float(m[2]), float(m[3])) for m in _PLACE.finditer(head)}
    if places and job.digest not in places:
        fault = Fault(
            where=program,
            wrong=f"is for {len(places)} blanks in a fixture, none of {job.path} as it is now",
            fix="give the job of one of them, or run batch --fixture again",
        )
        raise InputError(fault)
    return places.get(job.digest, (0.0, 0.0, 0.0))


def verdict_lines(
    place: Mapping[str, str], proof: Proof, name: str, job_digest: str, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Whether the proof passed, and the lines to print of the program of that name in it."""
    one = next(p for p in proof.programs if p.name == name)
    signed = _signed(one.as_written, one.job_digests, job_digest)
    if as_json:
        record = {**place, "signed": signed, "proof": proof.record()}
        return proof.passed, [report.dumps(record).rstrip("\n")]
    return proof.passed, list(_verdict_lines(place["file"], proof, signed))


def _in_place(
    found: Design, plan: Plan, profile: Profile, name: str, data: bytes
) -> dict[str, str | bytes] | None:
    texts: dict[str, str | bytes] = {w.file: w.text for w in written(found, plan, profile)}
    if name not in texts:
        return None
    texts[name] = data
    return texts


def _verdict_lines(program: str, proof: Proof, signed: str) -> Iterator[str]:
    yield f"{program}: {'passed' if proof.passed else 'FAILED'}; {signed}"
    yield (
        f"  deepest below the part {proof.gouge_um:.1f} um, most left above it "
        f"{proof.left_um:.1f} um"
    )
    yield (
        f"  rapids through stock {proof.rapid_contacts}, shank or holder contacts "
        f"{proof.holder_contacts}, jaws or bed {proof.holding_contacts}, "
        f"outside travel {proof.outside_travel}"
    )
    yield from (f"  {finding}" for finding in proof.faults[:MOST_TOLD])
    if len(proof.faults) > MOST_TOLD:
        yield f"  and {len(proof.faults) - MOST_TOLD} more"


def _signed(as_written: bool | None, in_header: tuple[str, ...], digest: str) -> str:
    if as_written is None:
        return "carries no digest of its moves"
    if not as_written:
        return "differs from what was written"
    return "as written" if digest in in_header else "as written, but for another job"


def program_bytes(path: str) -> bytes:
    """What a program's file holds; raises InputError where it can't be one."""
    try:
        found = Path(path)
        if not found.is_file():
            raise InputError(Fault(where=path, wrong="there is no such file"))
        if found.stat().st_size > LARGEST_PROGRAM:
            raise InputError(Fault(where=path, wrong="is too large for a program"))
        return found.read_bytes()
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=path, wrong=f"can't be read ({fault})")) from None


def _stage_said(data: bytes) -> Stage:
    said = re.search(rb"makes[:=]? (?:nut|saddle), on (?:edge|face), stage (rough|final)", data)
    return Stage(said[1].decode()) if said else Stage.ROUGH


def stem_of(path: str, data: bytes) -> str:
    """Which of a part's programs this is: by its header, else by its name."""
    pattern = rb"((?:nut-(?:edge|face|refit)|saddle-(?:edge|face|refit|bottom))(?:-\d{1,2})?)\.ngc"
    said = re.search(rb"file[:=]? " + pattern, data)
    if said:
        return said[1].decode()
    named = re.search(pattern, PurePath(path).name.encode(errors="replace"))
    return named[1].decode() if named else PurePath(path).stem
