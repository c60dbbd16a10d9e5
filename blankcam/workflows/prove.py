"""Any program replayed in its place among its part's programs, and what it would leave."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePath

from blankcam.cut import CutRequest, CutResult
from blankcam.faults import Fault, InputError, printable
from blankcam.file_kinds import why_no_file
from blankcam.gcode import header
from blankcam.gcode.probing import ProbingFile
from blankcam.inputs import job_file
from blankcam.outputs.render import records
from blankcam.parts.design import design
from blankcam.parts.stage import Stage
from blankcam.replay.findings import Finding
from blankcam.replay.proof import Proof
from blankcam.replay.prove import as_written
from blankcam.statements import read_statements, squeezed
from blankcam.workflows.cut_part import proven, write_part
from blankcam.workflows.probing import probing_findings
from blankcam.workflows.prove_load import GivenLoad, prove_load
from blankcam.workflows.request import machine_of, request_of
from blankcam.workflows.stated import moved_looks, other_file_name, stated_differences
from blankcam.workflows.verdict import (
    probing_lines,
    signed_words,
    verdict_lines,
    written_words,
)

LARGEST_PROGRAM = 20_000_000
"""Bytes."""
MOST_LINES = 30_000
"""Of a program; replaying as many long moves takes a minute or two; one part has about a thousand.
"""


def prove(
    program: str, job_path: str, machine: str | None, stage: Stage | None, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Replay a program, also an edited one, in its place among its part's programs.

    Returns whether it passed and the lines to print. The part's other programs, run before or
    after it on the same blank, are those this tool would write.
    """
    data = program_bytes(program)
    job = job_file.load(job_path)
    said = header.read_header(data)
    stage = stage or said.stage or Stage.ROUGH
    stem = stem_of(program, data)
    part = "saddle" if stem.startswith("saddle") else "nut"
    if said.every_place:
        load = GivenLoad(
            program=program, data=data, stem=stem, header=said, part=part, machine=machine,
            stage=stage,
        )  # fmt: skip
        return prove_load(load, job, as_json=as_json)
    request = request_of(design(job), part, machine_of(job, machine), stage)
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
    _need_program(program, data, name, result)
    place = {"file": program, "part": request.part.name, "stage": _stage_of(request)}
    if (file := next((f for f in result.probing if f.name == name), None)) is not None:
        return _told_of_probing(place, data, file, result, as_json=as_json)
    proof = proven(result).proof
    assert proof is not None
    # A wrong zero, blank or tool explains what is found of the path: it comes first
    faults = (*_stated(program, stem, data, result), *proof.faults)
    proof = dataclasses.replace(proof, passed=not faults, faults=faults)
    return _told(place, proof, name, request.label.job_digest, as_json=as_json)


def _stage_of(request: CutRequest) -> str:
    return "refit" if request.label.readings_digest else str(request.stage)


def _told_of_probing(
    place: Mapping[str, str], data: bytes, file: ProbingFile, result: CutResult, *, as_json: bool
) -> tuple[bool, list[str]]:
    """A probing program judged from every place it may be started at; as ``_told``."""
    program, stem = place["file"], file.name.removesuffix(header.ENDING)
    wrong = [*other_file_name(program, stem), *stated_differences(data, file.text)]
    faults = (*(each.finding(file.name) for each in wrong), *probing_findings(data, file, result))
    signed = written_words(as_written(data))
    if as_json:
        proof = {"passed": not faults, "faults": [str(f) for f in faults]}
        record = {**place, "signed": signed, "proof": proof}
        return not faults, [records.render(record).rstrip("\n")]
    return not faults, list(probing_lines(program, faults, signed))


def _need_program(program: str, data: bytes, name: str, result: CutResult) -> None:
    names = [*(f.name for f in result.files), *(f.name for f in result.probing)]
    if name in names:
        return
    machine = read_statements(data.decode("ascii", "replace")).get("machine")
    if machine and squeezed(machine) != squeezed(result.request.machine.name):
        ours = result.request.machine.name
        wrong = f"is written for the machine {printable(machine)}, not for the {ours}"
        fix = "name it with --machine: its name, or the path of its profile"
    else:
        wrong = f"does not say which program of the {result.request.part.name} it is"
        fix = f"name it like one of these: {', '.join(names)}"
    raise InputError(Fault(where=program, wrong=wrong, fix=fix))


def _stated(program: str, stem: str, data: bytes, result: CutResult) -> Iterator[Finding]:
    """What a program states wrongly for job, blank and machine of today."""
    today = next(f for f in result.files if f.name == f"{stem}{header.ENDING}")
    wrong = [*other_file_name(program, stem), *stated_differences(data, today.text)]
    if today.program.air:
        wrong += moved_looks(data, today.text, result.request.machine)
    return (each.finding(today.name) for each in wrong)


def _told(
    place: Mapping[str, str], proof: Proof, name: str, job_digest: str, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Whether the proof passed, and the lines to print of the program of that name in it."""
    signed = signed_words(proof, name, job_digest)
    if as_json:
        record = {**place, "signed": signed, "proof": proof.record()}
        return proof.passed, [records.render(record).rstrip("\n")]
    return proof.passed, list(verdict_lines(place["file"], proof, signed))


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
