"""One job in, a folder of proven files out: the one layer that knows all the others."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from blankcam import folder
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.job import read, starter
from blankcam.job.job import BlankJob, Job
from blankcam.machine.profile import Holding, Profile
from blankcam.machine.read import read_profile, shipped
from blankcam.parts.design import Design, design
from blankcam.parts.nut import Nut
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage
from blankcam.writers import report, tables

if TYPE_CHECKING:
    from blankcam.cutting.plan import Plan
    from blankcam.cutting.slots import SlotChoice
    from blankcam.replay.verdict import Proof
    from blankcam.writers.gcode import Written

LARGEST_PROGRAM = 20_000_000
MOST_TOLD = 20  # findings of one proof that are printed


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Every computed number of a job, ready to be shown."""

    sections: tuple[tables.Section, ...]
    report_text: str


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


def layout(job_path: str, machine: str | None, stage: Stage) -> Layout:
    """Work a job out and lay its numbers out; raises as reading and designing do."""
    job = read.load(job_path)
    profile = machine_of(job, machine)
    found = design(job)
    choices = slot_choices(found, profile, stage)
    content = report.report(found, stage=stage, machine=profile.name, choices=choices)
    return Layout(sections=tables.sections(found, choices), report_text=report.dumps(content))


def make(
    job_path: str,
    out: str,
    machine: str | None,
    stage: Stage,
    *,
    what: str = "all",
    force: bool = False,
) -> Iterator[str]:
    """Make the files of a job, then write them as a whole; yields what to tell the maker.

    Parameters
    ----------
    what : ``all``, ``dxf`` or ``gcode``

    Raises
    ------
    BlankcamError
        Before anything is written.
    """
    job = read.load(job_path)
    profile = machine_of(job, machine)
    found = design(job)
    files: dict[str, bytes] = {}
    made: tuple[Made, ...] = ()
    if what in ("all", "gcode") and profile.cuts_programs:
        made = programs(found, profile, stage)
        _stop_unproven(made)
        files |= {w.file: w.text.encode() for m in made for w in m.written}
    elif what == "gcode":
        raise RefusedError(
            Fault(
                where=job.path,
                key="plan.machine",
                found=profile.name,
                wrong=f"a {profile.kind} takes no programs",
                mend="choose a mill or a router with --machine",
            )
        )
    if what in ("all", "dxf"):
        files |= drawings(found, profile, stage)
    if what == "all":
        content = _report(found, profile, stage, made)
        files["report.json"] = report.dumps(content).encode()
    folder.write(out, files, force=force)
    yield from _told(found, out, files, made)


def drawings(found: Design, profile: Profile, stage: Stage) -> dict[str, bytes]:
    """The DXF outlines by file name."""
    from blankcam.writers import dxf, notice

    job = found.job
    lines = notice.notice(job.blanks.material, str(profile.kind))
    title = (job.instrument.name, f"stage {stage}, job digest {job.digest}")
    return {
        "nut.dxf": dxf.write_nut(found.nut, stage, notice=lines, title=("nut", *title)),
        "saddle.dxf": dxf.write_saddle(
            found.saddle,
            stage,
            notice=lines,
            title=("saddle", *title),
            seat_top=job.saddle.slot_depth,
        ),
    }


def programs(found: Design, profile: Profile, stage: Stage) -> tuple[Made, ...]:
    """Both parts' programs, proven; raises RefusedError where a plan can't be made."""
    plans: list[tuple[Nut | Saddle, Plan]] = []
    faults: list[Fault] = []
    for part in (found.nut, found.saddle):
        try:
            plans.append((part, plan_part(found, part, profile, stage)))
        except RefusedError as refused:
            faults += refused.faults
    if faults:
        raise RefusedError(faults)
    # numpy lets go of the interpreter while it works: two parts take two cores
    with ThreadPoolExecutor(max_workers=2) as pool:
        return tuple(pool.map(lambda p: _made(found, p[0], p[1], profile, stage), plans))


def machine_of(job: Job, machine: str | None) -> Profile:
    """The machine profile asked for, with the job's own holding laid over it."""
    profile = read_profile(machine or job.plan.machine)
    given = {k: v for k, v in dataclasses.asdict(job.holding).items() if v is not None}
    held: Holding = dataclasses.replace(profile.holding, **given)
    return dataclasses.replace(profile, holding=held)


def slot_choices(found: Design, profile: Profile, stage: Stage) -> dict[int, Choice]:
    """Who makes each slot and why, without planning the rest."""
    from blankcam.cutting import slots

    by_file = found.job.plan.slots != "mill" or not profile.cuts_programs
    return _choices(
        [slots.choose(found.nut, s, profile, stage, by_file=by_file) for s in found.nut.slots]
    )


def _choices(chosen: Sequence[SlotChoice]) -> dict[int, Choice]:
    return {
        c.string: Choice(by=c.by, tool=c.tool.number if c.tool else None, why=c.why) for c in chosen
    }


def blank_as_cut(found: Design, part: Nut | Saddle) -> BlankJob:
    """The blank as it comes under the cutter: rubbed to its thickness first, where by hand."""
    blank: BlankJob = getattr(found.job.blanks, part.name)
    return dataclasses.replace(blank, thickness=part.thickness)


def plan_part(found: Design, part: Nut | Saddle, profile: Profile, stage: Stage) -> Plan:
    """The programs of one part and who does what; raises RefusedError where it can't be cut."""
    from blankcam.cutting import plan

    blank, material = blank_as_cut(found, part), found.job.blanks.material
    if isinstance(part, Nut):
        by = found.job.plan.slots
        return plan.plan_nut(
            part, blank, profile, material, stage,
            slots_by=by, outline_by=found.job.plan.outline,
        )  # fmt: skip
    by_hand = found.job.plan
    return plan.plan_saddle(
        part, blank, profile, material, stage,
        outline_by=by_hand.outline, ends_by=by_hand.ends,
    )  # fmt: skip


def written(found: Design, plan: Plan, profile: Profile) -> tuple[Written, ...]:
    """The texts of a plan's programs."""
    from blankcam.writers import gcode

    name, digest = found.job.instrument.name, found.job.digest
    return tuple(gcode.write(p, profile, name, digest) for p in plan.programs)


def _made(found: Design, part: Nut | Saddle, plan: Plan, profile: Profile, stage: Stage) -> Made:
    texts = written(found, plan, profile)
    proof = _proof(found, part, plan, profile, stage, texts={w.file: w.text for w in texts})
    return Made(part=part, plan=plan, written=texts, proof=proof)


def _proof(  # everything a proof needs is a fact of its own
    found: Design,
    part: Nut | Saddle,
    plan: Plan,
    profile: Profile,
    stage: Stage,
    texts: Mapping[str, str | bytes],
) -> Proof:
    from blankcam.replay import verdict
    from blankcam.replay.stock import Stock

    blank = blank_as_cut(found, part)
    over = (blank.length - part.length) / 2
    setups = {f"{p.stem}.ngc": verdict.Setup(p.setup) for p in plan.programs}
    cuts = [(o.tool.number, o.cut) for p in plan.programs for o in p.operations]
    return verdict.prove(
        [verdict.ProgramText(name=n, data=t, setup=setups[n]) for n, t in texts.items()],
        part,
        stage=stage,
        milled=frozenset(c.string for c in plan.slots if c.by == "mill"),
        stock=Stock(
            x0=-over,
            x1=part.length + over,
            y0=0.0,
            y1=blank.thickness,
            z0=0.0,
            z1=blank.height,
        ),
        profile=profile,
        plunge={n: max(c.plunge for m, c in cuts if m == n) for n, _ in cuts},
        depth={n: max(c.depth for m, c in cuts if m == n) for n, _ in cuts},
    )


def _stop_unproven(made: Sequence[Made]) -> None:
    faults = [
        Fault(where=m.part.name, wrong=f"the proof failed: {finding}", mend="nothing was written")
        for m in made
        if not m.proof.passed
        for finding in m.proof.faults[:MOST_TOLD]
    ]
    if faults:
        raise RefusedError(faults)


def _report(found: Design, profile: Profile, stage: Stage, made: Sequence[Made]) -> dict[str, Any]:
    chosen = [c for m in made for c in m.plan.slots]
    choices = _choices(chosen) if chosen else slot_choices(found, profile, stage)
    return report.report(
        found,
        stage=stage,
        machine=profile.name,
        choices=choices,
        programs=[p for m in made for p in _program_records(m, stage)],
        cautions=[c for m in made for c in m.plan.cautions],
    )


def _program_records(made: Made, stage: Stage) -> Iterator[dict[str, Any]]:
    for program, written in zip(made.plan.programs, made.written, strict=True):
        yield {
            "file": written.file,
            "part": program.part,
            "setup": program.setup,
            "stage": str(stage),
            "tools": [t.number for t in program.tools],
            "lines": written.lines,
            "cut_length": written.cut_length,
            "seconds": written.seconds,
            "proof": made.proof.record(),
        }


def _told(
    found: Design, out: str, files: Mapping[str, bytes], made: Sequence[Made]
) -> Iterator[str]:
    for m in made:
        for w in m.written:
            yield (
                f"{w.file}: proven; deepest below the part {m.proof.gouge_um:.1f} um, most left "
                f"{m.proof.left_um:.1f} um; {w.lines} lines, about {w.seconds / 60:.0f} min"
            )
    for caution in (*found.cautions, *(c for m in made for c in m.plan.cautions)):
        yield f"caution: {caution}"
    yield f"wrote {len(files)} files to {out}: {', '.join(sorted(files))}"


def prove(
    program: str, job_path: str, machine: str | None, stage: Stage | None, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Replay a program, also an edited one, in its place among its part's programs.

    Returns whether it passed and the lines to print. The part's other programs, run before or
    after it on the same blank, are those this tool would write.
    """
    data = _program_bytes(program)
    job = read.load(job_path)
    profile, found = machine_of(job, machine), design(job)
    stage = stage or _stage_said(data)
    stem = _stem_of(program, data)
    part = found.saddle if stem.startswith("saddle") else found.nut
    plan = plan_part(found, part, profile, stage)
    texts = _in_place(found, plan, profile, f"{stem}.ngc", data)
    if texts is None:
        names = ", ".join(f"{p.stem}.ngc" for p in plan.programs)
        raise InputError(
            Fault(
                where=program,
                wrong=f"does not say which program of the {part.name} it is",
                mend=f"name it like one of these: {names}",
            )
        )
    proof = _proof(found, part, plan, profile, stage, texts)
    one = next(p for p in proof.programs if p.name == f"{stem}.ngc")
    signed = _signed(one.as_written, one.job_digest, job.digest)
    if as_json:
        record = {"file": program, "part": part.name, "stage": str(stage), "signed": signed}
        return proof.passed, [report.dumps(record | {"proof": proof.record()}).rstrip("\n")]
    return proof.passed, list(_verdict_lines(program, proof, signed))


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


def _signed(as_written: bool | None, job_in_header: str, digest: str) -> str:
    if as_written is None:
        return "carries no digest of its moves"
    if not as_written:
        return "differs from what was written"
    return "as written" if job_in_header == digest else "as written, but for another job"


def _program_bytes(path: str) -> bytes:
    from pathlib import Path

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


def _stem_of(path: str, data: bytes) -> str:
    """Which of a part's programs this is: by its header, else by its name."""
    from pathlib import PurePath

    pattern = rb"((?:nut|saddle)-(?:edge|face)(?:-\d{1,2})?)\.ngc"
    said = re.search(rb"file[:=]? " + pattern, data)
    if said:
        return said[1].decode()
    named = re.search(pattern, PurePath(path).name.encode(errors="replace"))
    return named[1].decode() if named else PurePath(path).stem


def machines(name: str | None) -> tuple[tables.Section, ...]:
    """The machines that come along, or one checked and shown."""
    if name is not None:
        return tables.machine(read_profile(name))
    return tables.machines({n: read_profile(n) for n in shipped()})


def start(path: str, kind: str, *, force: bool) -> Iterator[str]:
    """Write a job file to begin with; yields what to do next."""
    folder.write_file(path, starter.text(kind).encode(), force=force)
    yield f"wrote {path}: measure your own instrument and change its values"
    yield f"then: blankcam layout {path}"
