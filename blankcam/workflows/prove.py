"""Any program replayed in its place among its part's programs, and what it would leave."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePath

from blankcam.cut import CutRequest
from blankcam.faults import Fault, InputError
from blankcam.file_kinds import why_no_file
from blankcam.gcode import header
from blankcam.inputs import job_file
from blankcam.outputs.render import records
from blankcam.parts.design import design
from blankcam.parts.part import Stage
from blankcam.replay.proof import Proof
from blankcam.workflows.cut_part import MOST_TOLD, proven, write_part
from blankcam.workflows.request import machine_of, request_of

LARGEST_PROGRAM = 20_000_000
"""Bytes."""


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
    request = request_of(found, "saddle" if stem.startswith("saddle") else "nut", profile, stage)
    if said.places and job.digest not in said.places:
        raise InputError(
            Fault(
                where=program,
                wrong=f"is for {len(said.places)} blanks in a fixture, none of {job.path} as it is"
                " now",
                fix="give the job of one of them, or run batch --fixture again",
            )
        )
    return prove_given(program, data, stem, request, as_json=as_json)


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
    if name not in (names := [file.name for file in result.programs]):
        raise InputError(
            Fault(
                where=program,
                wrong=f"does not say which program of the {request.part.name} it is",
                fix=f"name it like one of these: {', '.join(names)}",
            )
        )
    proof = proven(result).proof
    assert proof is not None
    stage = "refit" if request.label.readings_digest else str(request.stage)
    place = {"file": program, "part": request.part.name, "stage": stage}
    return _told(place, proof, name, request.label.job_digest, as_json=as_json)


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
            raise InputError(Fault(where=path, wrong="is too large for a program"))
        return found.read_bytes()
    except (OSError, ValueError) as fault:
        raise InputError(Fault(where=path, wrong=f"can't be read ({fault})")) from None


def stem_of(path: str, data: bytes) -> str:
    """Which of a part's programs this is: by its header, else by its name."""
    name = PurePath(path).name
    return header.read_header(data).stem or header.stem_in_name(name) or PurePath(path).stem
