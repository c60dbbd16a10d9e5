"""A program for several blanks in one fixture, judged place by place.

The load is planned and written anew from its jobs, as they are today, and the given program takes
the place of its own among the load's: so each blank is judged under all that the load does to it.
"""

from __future__ import annotations

import contextlib
import dataclasses
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from blankcam.cut import CutResult
from blankcam.faults import BlankcamError, Fault, InputError, RefusedError
from blankcam.gcode.comments import clean
from blankcam.gcode.header import ENDING, Header, StatedPlace
from blankcam.gcode.program_file import ProgramFile
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.machine import ToolChange
from blankcam.outputs.render import records
from blankcam.parts.stage import Stage
from blankcam.replay.findings import Finding
from blankcam.replay.proof import Proof
from blankcam.statements import read_statements, squeezed
from blankcam.workflows.batch import safe_name
from blankcam.workflows.cut_part import (
    MOST_TOLD,
    WrittenLoad,
    proven_in_place,
    write_load,
    write_part,
)
from blankcam.workflows.fixture import MOST_PLACES, request_in_fixture, walled_alike
from blankcam.workflows.request import machine_of
from blankcam.workflows.stated import (
    ALONE,
    CODES,
    StatedDifference,
    moved_looks,
    other_file_name,
    stated_differences,
)
from blankcam.workflows.verdict import judged_lines, signed_words, verdict_word

MOST_JOBS = 200
"""Files of a folder that are read to find the jobs of a load."""
LONE = 50.0
"""mm from place to place where a program says nothing of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GivenLoad:
    """A load's program to prove, and what it says of itself."""

    program: str
    """Its path."""
    data: bytes
    stem: str
    """Which of the load's programs it is: ``nut-edge``, ``nut-edge-2``, ``nut-face-air``."""
    header: Header
    part: str
    machine: str | None
    stage: Stage

    @property
    def places(self) -> tuple[StatedPlace, ...]:
        """Every place that its header names."""
        return self.header.every_place


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundJob:
    """A job of a load, and what its file is called: equal jobs may be called differently."""

    job: Job
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadToday:
    """The load as it would be written today, and which of its files stands for the given one."""

    load: WrittenLoad
    file: ProgramFile
    wrong: tuple[StatedDifference, ...]
    """What the given program states otherwise."""

    def of_place(self, number: int) -> Iterator[Finding]:
        """What is stated otherwise of one place."""
        return (d.finding(self.file.name) for d in self.wrong if d.name == f"place {number}")

    def of_all(self) -> tuple[Finding, ...]:
        """What is stated otherwise of all places, or of one that is not judged."""
        judged = {f"place {number}" for number in self.load.blanks}
        return tuple(d.finding(self.file.name) for d in self.wrong if d.name not in judged)


def prove_load(given: GivenLoad, job: Job, *, as_json: bool) -> tuple[bool, list[str]]:
    """Every place of a load's program judged, one line a place; not passed where one is not.

    ``job`` is that of one of its blanks. Returns whether all passed and the lines to print.

    Raises
    ------
    BlankcamError
        When the job is none of the load's, or the load can't be written today.
    """
    digests = {p.job_digest for p in given.places}
    if job.digest not in digests:
        wrong = f"is for {len(given.places)} blanks in a fixture, none of {job.path} as it is now"
        fix = "give the job of one of them, or run batch --fixture again"
        raise InputError(Fault(where=given.program, wrong=wrong, fix=fix))
    if len(given.places) > MOST_PLACES:
        wrong = f"is for {len(given.places)} blanks in a fixture, which holds up to {MOST_PLACES}"
        raise InputError(Fault(where=given.program, wrong=wrong))
    jobs = jobs_near((given.program, job.path), digests)
    jobs.setdefault(job.digest, FoundJob(job=job, names=(Path(job.path).stem,)))
    today = load_today(given, jobs)
    judged = [_Judged.of(given, place, jobs, today) for place in given.places]
    shared = today.of_all()
    passed = not shared and all(j.passed for j in judged)
    head = {"file": given.program, "part": given.part, "stage": str(given.stage), "passed": passed}
    if as_json:
        record = {
            **head,
            "faults": [str(f) for f in shared],
            "places": [j.record() for j in judged],
        }
        return passed, [records.render(record).rstrip("\n")]
    return passed, [
        f"{given.program}: {verdict_word(passed=passed)}; {len(given.places)} places",
        *(f"  {finding}" for finding in shared[:MOST_TOLD]),
        *(line for j in judged for line in j.lines()),
        *judged_lines(),
    ]


def jobs_near(paths: Sequence[str], wanted: set[str]) -> dict[str, FoundJob]:
    """The jobs of those digests, looked for beside the files named and one folder further up."""
    found: dict[str, FoundJob] = {}
    folders = dict.fromkeys(
        f.resolve() for p in paths for f in (Path(p).parent, Path(p).resolve().parents[1])
    )
    files = (file for folder in folders for file in sorted(folder.glob("*.toml"))[:MOST_JOBS])
    for file in files:
        with contextlib.suppress(BlankcamError):
            job = job_file.load(str(file))
            if job.digest in wanted:
                one = found.setdefault(job.digest, FoundJob(job=job, names=()))
                names = (*one.names, file.stem)
                found[job.digest] = dataclasses.replace(one, names=names)
    return found


def load_today(given: GivenLoad, jobs: Mapping[str, FoundJob]) -> LoadToday:
    """The load as it would be written today, its places as far apart as fits the program best.

    Of the places and the pitch that a program states one may have been changed: that is taken
    which leaves the fewest differences.
    """
    planned = _planned(given, jobs)
    every_job = len(planned) == len({p.number for p in given.places})
    tried: list[LoadToday] = []
    faults: list[Fault] = []
    for pitch in _stated_pitches(given.header):
        try:
            load = write_load(f"load-1-{given.part}", planned, pitch)
        except RefusedError as refused:
            faults += refused.faults
            continue
        file = _own_file(given, load, every_job=every_job)
        compared = CODES if every_job else ALONE
        wrong = (
            *other_file_name(given.program, given.stem),
            *stated_differences(given.data, file.text, tuple(compared)),
        )
        if every_job and not wrong:  # else other blanks explain where it stands
            wrong = tuple(_looks(given, load, file))
        tried.append(LoadToday(load=load, file=file, wrong=wrong))
    if not tried:
        raise RefusedError(faults)
    return min(tried, key=lambda t: len(t.wrong))


def _looks(given: GivenLoad, load: WrittenLoad, file: ProgramFile) -> Iterator[StatedDifference]:
    """Where an air program stands at its stops otherwise than today."""
    if file.program.air:
        yield from moved_looks(
            given.data, file.text, next(iter(load.blanks.values())).request.machine
        )


def _planned(given: GivenLoad, jobs: Mapping[str, FoundJob]) -> dict[int, CutResult]:
    """Each blank whose job was found with its own programs, by its place; equal jobs only once."""
    known = [p for p in given.places if p.job_digest in jobs]
    asked = {
        digest: request_in_fixture(
            jobs[digest].job, given.part, machine_of(jobs[digest].job, given.machine), given.stage
        )
        for digest in dict.fromkeys(p.job_digest for p in known)
    }
    numbers = dict(enumerate(asked))
    walled = walled_alike({n: asked[digest] for n, digest in numbers.items()})
    written = {numbers[n]: write_part(request) for n, request in walled.items()}
    return {
        p.number: _named(written[p.job_digest], _name_today(p, jobs[p.job_digest])) for p in known
    }


def _named(result: CutResult, name: str) -> CutResult:
    label = dataclasses.replace(result.request.label, job=name)
    return dataclasses.replace(result, request=dataclasses.replace(result.request, label=label))


def _name_today(place: StatedPlace, found: FoundJob) -> str:
    """What a blank would be called today: as it is stated, where its job's file is called so."""
    stated = squeezed(place.name)
    for name in found.names:
        of_file = re.escape(squeezed(clean(safe_name(name))))
        if re.fullmatch(rf"{of_file}(-\d+)?", stated):  # numbered where names are alike
            return place.name
    return safe_name(found.names[0])


def _stated_pitches(header: Header) -> list[float]:
    """How far apart the places are, mm, by the header's own words and by each place of it."""
    stated = [header.pitch] if header.pitch else []
    by_place = [round(p.zero[1] / (p.number - 1), 4) for p in header.every_place if p.number > 1]
    return list(dict.fromkeys(p for p in (*stated, *by_place) if p > 0)) or [LONE]


def _own_file(given: GivenLoad, load: WrittenLoad, *, every_job: bool) -> ProgramFile:
    """The file of today's load that the given program stands for.

    Where some of its jobs are not known, files of one tool may be numbered otherwise: then it is
    the one of the same tool.
    """
    name = f"load-1-{given.stem}{ENDING}"
    files = {f.name: f for f in load.files}
    request = next(iter(load.blanks.values())).request
    a_file_a_tool = request.machine.controller.tool_change is ToolChange.FILE
    if not every_job and a_file_a_tool and not given.stem.endswith("-air"):
        said = read_statements(given.data.decode("ascii", "replace"))
        same = (f for f in load.files if not f.program.air and f"-{f.setup}" in given.stem)
        name = next((f.name for f in same if f"tool {f.tools[0].number}" in said), name)
    if name not in files:
        wrong = "does not say which program of the load it is"
        known = ", ".join(n.removeprefix("load-1-") for n in files)
        fix = f"its name must end like one of these: {known}"
        raise InputError(Fault(where=given.program, wrong=wrong, fix=fix))
    return files[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """The verdict on one place."""

    number: int
    job: Job | None
    """None where its file was not found: then nothing was judged."""
    signed: str
    proof: Proof | None

    @classmethod
    def of(
        cls,
        given: GivenLoad,
        place: StatedPlace,
        jobs: Mapping[str, FoundJob],
        today: LoadToday,
    ) -> _Judged:
        """The program replayed on the blank in a place."""
        found = jobs.get(place.job_digest)
        if found is None:
            words = f"not judged: the job of digest {place.job_digest} is not beside the program "
            return cls(number=place.number, job=None, signed=f"{words}or the job", proof=None)
        name = today.file.name
        proof = proven_in_place(today.load, place.number, {name: given.data}, place.zero).proof
        assert proof is not None
        faults = (*today.of_place(place.number), *proof.faults)
        return cls(
            number=place.number,
            job=found.job,
            signed=signed_words(proof, name, place.job_digest),
            proof=dataclasses.replace(proof, passed=not faults, faults=faults),
        )

    @property
    def passed(self) -> bool:
        return self.proof is not None and self.proof.passed

    def lines(self) -> Iterator[str]:
        """The lines to print."""
        if self.proof is None or self.job is None:
            yield f"place {self.number}: {self.signed}"
            return
        verdict = verdict_word(passed=self.passed)
        yield f"place {self.number}: {verdict}; {self.signed}; {self.job.instrument.name[:60]}"
        yield from (f"  {finding}" for finding in self.proof.faults[:MOST_TOLD])

    def record(self) -> dict[str, object]:
        """The same for other programs."""
        if self.proof is None or self.job is None:
            return {"place": self.number, "job": None, "passed": False, "faults": [self.signed]}
        return {"place": self.number, "job": self.job.instrument.name, "signed": self.signed,
                **self.proof.record()}  # fmt: skip
