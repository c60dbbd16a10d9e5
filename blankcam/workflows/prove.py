"""Any program replayed in its place among its part's programs, and what it would leave."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePath

from blankcam.cut import CutRequest, CutResult
from blankcam.faults import BlankcamError, Fault, InputError
from blankcam.file_kinds import why_no_file
from blankcam.gcode import header
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile, ToolChange
from blankcam.outputs.render import records
from blankcam.parts.design import design
from blankcam.parts.frames import Place
from blankcam.parts.stage import Stage
from blankcam.replay.proof import Proof
from blankcam.statements import read_statements
from blankcam.workflows.cut_part import MOST_TOLD, proven, write_part
from blankcam.workflows.fixture import request_in_fixture, walled_alike
from blankcam.workflows.request import machine_of, request_of
from blankcam.workflows.stated import stated_differences

LARGEST_PROGRAM = 20_000_000
"""Bytes."""
MOST_LINES = 30_000
"""Of a program; replaying as many long moves takes a minute or two; one part has about a thousand."""
MOST_JOBS = 200
"""Files of a folder that are read to find the jobs of a load."""


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
    said = header.read_header(data)
    stage = stage or said.stage or Stage.ROUGH
    stem = stem_of(program, data)
    part = "saddle" if stem.startswith("saddle") else "nut"
    if not said.every_place:
        request = request_of(found, part, profile, stage)
        return prove_given(program, data, stem, request, as_json=as_json)
    if job.digest not in said.places:
        raise InputError(
            Fault(
                where=program,
                wrong=f"is for {len(said.every_place)} blanks in a fixture, none of {job.path} as "
                "it is now",
                fix="give the job of one of them, or run batch --fixture again",
            )
        )
    jobs = {job.digest: job} | _jobs_near((program, job_path), set(said.places) - {job.digest})
    load = _Load(program=program, data=data, stem=stem, part=part, machine=machine, stage=stage)
    return _prove_load(load, said.every_place, jobs, as_json=as_json)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Load:
    """A program for several blanks in one fixture."""

    program: str
    data: bytes
    stem: str
    part: str
    machine: str | None
    stage: Stage


def _jobs_near(paths: Sequence[str], wanted: set[str]) -> dict[str, Job]:
    """The jobs of those digests, looked for beside the files named and one folder further up."""
    found: dict[str, Job] = {}
    folders = dict.fromkeys(
        f for p in paths for f in (Path(p).parent, Path(p).resolve().parents[1])
    )
    files = (file for folder in folders for file in sorted(folder.glob("*.toml"))[:MOST_JOBS])
    for file in files:
        if not wanted - found.keys():
            break
        with contextlib.suppress(BlankcamError):
            job = job_file.load(str(file))
            if job.digest in wanted:
                found[job.digest] = job
    return found


def _prove_load(
    load: _Load,
    places: Sequence[tuple[int, str, Place]],
    jobs: Mapping[str, Job],
    *,
    as_json: bool,
) -> tuple[bool, list[str]]:
    """Every place of a load's program judged, one line a place; not passed where one is not."""
    passed, lines = True, list[str]()
    entries: list[dict[str, object]] = []
    requests = _requests(load, {n: jobs[digest] for n, digest, _ in places if digest in jobs})
    for number, digest, zero in places:
        job = jobs.get(digest)
        if job is None:
            passed = False
            why = f"not judged: the job of digest {digest} is not beside the program or the job"
            lines.append(f"place {number}: {why}")
            entries.append({"place": number, "job": None, "passed": False, "faults": [why]})
            continue
        proof, signed = _prove_place(load, requests[number], digest, zero)
        passed &= proof.passed
        verdict = "passed" if proof.passed else "FAILED"
        lines.append(f"place {number}: {verdict}; {signed}; {job.instrument.name[:60]}")
        lines += [f"  {finding}" for finding in proof.faults[:MOST_TOLD]]
        entries.append({"place": number, "job": job.instrument.name, "signed": signed,
                        **proof.record()})  # fmt: skip
    head = {"file": load.program, "part": load.part, "stage": str(load.stage)}
    if as_json:
        return passed, [records.render({**head, "passed": passed, "places": entries}).rstrip("\n")]
    verdict = "passed" if passed else "FAILED"
    return passed, [f"{load.program}: {verdict}; {len(places)} places", *lines, *_judged()]


def _requests(load: _Load, jobs: Mapping[int, Job]) -> dict[int, CutRequest]:
    """What was asked of the blank in each place."""
    each = {
        n: request_in_fixture(job, load.part, machine_of(job, load.machine), load.stage)
        for n, job in jobs.items()
    }
    return walled_alike(each)


def _prove_place(load: _Load, request: CutRequest, digest: str, zero: Place) -> tuple[Proof, str]:
    """The proof of one place of a load, and whether the program is as written."""
    own = write_part(request)
    name = f"{load.stem}{header.ENDING}"
    if _takes_one_tool(request.machine) and not load.stem.endswith("-air"):
        name, own = _in_place_of(load, name, own)
    _need_program(load.program, name, own)
    given = dataclasses.replace(own.request, given={name: load.data})
    result = dataclasses.replace(own, request=given)
    proof = _with_stated(proven(result, zero).proof, name, load.data, result, load=True)
    one = next(p for p in proof.programs if p.name == name)
    return proof, _signed(one.as_written, one.job_digests, digest)


def _takes_one_tool(machine: Profile) -> bool:
    """Whether each program is of one tool, so that a set-up has several."""
    return machine.controller.tool_change is ToolChange.FILE


def _in_place_of(load: _Load, name: str, own: CutResult) -> tuple[str, CutResult]:
    """The blank's own program that a load's stands for: of the same set-up and tool.

    A load's files are numbered by all its blanks' tools, a blank's own by its own. Where the blank
    has none of that tool, the load's is one more program, run before the others.
    """
    said = read_statements(load.data.decode("ascii", "replace"))
    tools = {f"tool {f.tools[0].number}": f for f in own.programs if f"-{f.setup}" in load.stem}
    same = next((file for tool, file in tools.items() if tool in said), None)
    if same is not None:
        return same.name, own
    if not tools:
        return name, own
    name = f"load-{name}"
    more = dataclasses.replace(next(iter(tools.values())), name=name)
    return name, dataclasses.replace(own, programs=(more, *own.programs))


def prove_given(
    program: str, data: bytes, stem: str, request: CutRequest, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Prove a program in place of the request's own of that stem; returns as ``prove`` does.

    Raises
    ------
    InputError
        When the request has no program of that stem.
    """
    name = f"{stem}{header.ENDING}"
    result = write_part(dataclasses.replace(request, given={name: data}))
    _need_program(program, name, result)
    proof = _with_stated(proven(result).proof, name, data, result)
    stage = "refit" if request.label.readings_digest else str(request.stage)
    place = {"file": program, "part": request.part.name, "stage": stage}
    return _told(place, proof, name, request.label.job_digest, as_json=as_json)


def _need_program(program: str, name: str, result: CutResult) -> None:
    names = [file.name for file in result.files]
    if name not in names:
        raise InputError(
            Fault(
                where=program,
                wrong=f"does not say which program of the {result.request.part.name} it is",
                fix=f"name it like one of these: {', '.join(names)}",
            )
        )


def _with_stated(
    proof: Proof | None, name: str, data: bytes, result: CutResult, *, load: bool = False
) -> Proof:
    """The proof with what the program states wrongly for job, blank and machine of today."""
    assert proof is not None
    today = next(file.text for file in result.files if file.name == name)
    wrong = tuple(stated_differences(name, data, today, load=load))
    faults = (*proof.faults, *wrong)
    return dataclasses.replace(proof, passed=not faults, faults=faults)


def _judged() -> Iterator[str]:
    """What the proof says something about, and what it cannot."""
    yield (
        "  judged: the path and the part it leaves, what is touched and held, feeds and speeds "
        "against the material table, stops and dwells, header and stops against today's job"
    )
    yield (
        "  not judged: whether zero, tools and blank on the machine are as stated, how sharp the "
        "tools are, how firmly anything is clamped or glued, flaws in the blank"
    )


def _told(
    place: Mapping[str, str], proof: Proof, name: str, job_digest: str, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Whether the proof passed, and the lines to print of the program of that name in it."""
    one = next(p for p in proof.programs if p.name == name)
    signed = _signed(one.as_written, one.job_digests, job_digest)
    if as_json:
        record = {**place, "signed": signed, "proof": proof.record()}
        return proof.passed, [records.render(record).rstrip("\n")]
    return proof.passed, list(_verdict_lines(place["file"], proof, signed))


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
    yield from _judged()


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
        if wrong := why_no_file(path):
            raise InputError(Fault(where=path, wrong=wrong))
        if found.stat().st_size > LARGEST_PROGRAM:
            raise InputError(_too_long(path, f"{LARGEST_PROGRAM // 1_000_000} MB"))
        data = found.read_bytes()
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=path, wrong=f"can't be read ({fault})")) from None
    if data.count(b"\n") + data.count(b"\r") > MOST_LINES:
        raise InputError(_too_long(path, f"{MOST_LINES:,} lines"))
    return data


def _too_long(path: str, most: str) -> Fault:
    wrong = f"has over {most}, too many for a program that cuts one part"
    return Fault(where=path, wrong=wrong, fix="give the program of one set-up")


def stem_of(path: str, data: bytes) -> str:
    """Which of a part's programs this is: by its header, else by its name."""
    name = PurePath(path).name
    return header.read_header(data).stem or header.stem_in_name(name) or PurePath(path).stem
