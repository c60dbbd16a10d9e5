"""After stringing: from a job and its readings to proven final cuts, the marks for them, and a log.

Stands beside ``make``, on the same layers below.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np

from blankcam import digest, output_folder
from blankcam.faults import Fault, InputError, RefusedError
from blankcam.inputs import job_file
from blankcam.inputs import readings_file as readings_files
from blankcam.inputs.job import Job, PerString
from blankcam.inputs.machine import Profile
from blankcam.inputs.readings_file import Readings
from blankcam.instrument.heights import per_string
from blankcam.machining.request import CutRequest, Label
from blankcam.outputs.papers import next_steps
from blankcam.outputs.papers import refit_list as papers
from blankcam.outputs.papers.refit_list import RefitSheet
from blankcam.outputs.reasons import words
from blankcam.outputs.render import records
from blankcam.outputs.rows import Section
from blankcam.outputs.tables import report
from blankcam.parts.design import Design, design
from blankcam.parts.frames import Box
from blankcam.parts.nut import Nut
from blankcam.parts.part import Stage
from blankcam.parts.saddle import Saddle
from blankcam.refit import as_cut, book
from blankcam.refit import needs as refits
from blankcam.refit.as_cut import Standing, Taken
from blankcam.refit.book import LogEntry
from blankcam.refit.needs import Refit
from blankcam.workflows.request import machine_of

if TYPE_CHECKING:
    from blankcam.cut import CutResult


STEMS = ("nut-refit", "saddle-refit", "saddle-bottom")
OVER = 1.0  # mm of box beyond each end: passes run off the part, its ends are not cut again


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """A refit worked out, nothing written."""

    found: Design
    readings: Readings
    log_path: str
    count: int
    logged: bool
    """Whether the log holds this very refit already."""
    now: Standing
    done: Refit
    after: Standing
    cautions: tuple[str, ...]


def work_out(job_path: str, readings_path: str) -> Worked:
    """What the readings ask for, from the parts as the log says they stand.

    Raises
    ------
    InputError
        Job, readings or log can't be used.
    RefusedError
        The parts must not be cut so, or the job is not the one that was refitted before.
    """
    job = job_file.load(job_path)
    found = design(job)
    readings = readings_files.load(readings_path, len(job.strings))
    path = book.log_path(job_path)
    entries = book.read_log(path)
    _same_job(path, entries, shape_digest(job))
    cut = book.cut_so_far(entries, readings.digest, readings.last_refit)
    now = _standing(found, cut, readings.stage)
    done = _refit(found, readings)
    return Worked(
        found=found,
        readings=readings,
        log_path=path,
        count=len(cut) + 1,
        logged=bool(entries) and entries[-1].readings == readings.digest,
        now=now,
        done=done,
        after=as_cut.after(found, now, Taken.of(done)),
        cautions=tuple(_cautions(found, readings)),
    )


def shape_digest(job: Job) -> str:
    """Of all in a job that says how its parts stand: neither machine, holding nor doubts."""
    names = ("instrument", "board", "strings", "nut", "saddle", "blanks")
    values = {n: v for n, v in dataclasses.asdict(job).items() if n in names}
    return digest.of_text(json.dumps(values, sort_keys=True))


def _same_job(path: str, entries: Sequence[LogEntry], shape: str) -> None:
    if any(e.job != shape for e in entries):
        raise RefusedError(
            Fault(
                where=path,
                wrong="the job was changed after its parts were refitted: they no longer stand as"
                " it says",
                fix="put the old values back, and new targets as want_first_fret and want_action"
                " into the readings; or, for new parts, move this log away",
            )
        )


def _standing(found: Design, cut: Sequence[LogEntry], first: str) -> Standing:
    """The parts after all that was cut; ``first`` is their stage before any of it."""
    stage = Stage(cut[0].stage if cut else first)
    return reduce(
        lambda now, entry: as_cut.after(found, now, _taken(entry)),
        cut,
        as_cut.as_made(found, stage),
    )


def _taken(entry: LogEntry) -> Taken:
    return Taken(
        nut=entry.nut_take,
        saddle=entry.saddle_take,
        saddle_by=entry.saddle_by,
        bottom_left=entry.bottom_left,
        bottom_right=entry.bottom_right,
    )


def _refit(found: Design, readings: Readings) -> Refit:
    instrument = found.instrument
    wanted = [s.clearance(instrument.board, np.array([1.0, 12.0])) for s in instrument.strings]
    want_1, want_12 = ([float(w[i]) for w in wanted] for i in (0, 1))
    at_nut, at_saddle = (
        [s.u_nut for s in instrument.strings],
        [s.u_saddle for s in instrument.strings],
    )

    def each(value: PerString | None, places: list[float], usual: Sequence[float]) -> list[float]:
        return [float(v) for v in (usual if value is None else per_string(value, places))]

    rows = as_cut.readings_of(
        found,
        first_fret=each(readings.first_fret, at_nut, ()),
        action=each(readings.action, at_saddle, ()),
        want_first_fret=each(readings.want_first_fret, at_nut, want_1),
        want_action=each(readings.want_action, at_saddle, want_12),
    )
    return refits.refit(
        rows, uncertainty=readings.uncertainty, saddle_length=as_cut.both_parts(found)[1].length
    )


def _cautions(found: Design, readings: Readings) -> Iterator[str]:
    yield from readings_files.cautions(readings)
    asked = found.job.board.relief
    if readings.relief is not None and abs(readings.relief - asked) > readings.uncertainty:
        yield (
            f"relief is {readings.relief:.2f} mm now, the job says {asked:.2f} mm: set the neck"
            " first and read again, for the action moves with it"
        )


def refit(
    job_path: str, readings_path: str, out: str, machine: str | None, *, force: bool = False
) -> Iterator[Section]:
    """Work a refit out, prove its programs, write the folder, then the log; yields what to show.

    The log comes last: should it fail, the next refit takes the parts to be higher than they are,
    never lower.

    Raises
    ------
    BlankcamError
        Before anything is written, but for a log that can't be written.
    """
    output_folder.check(out, force=force)
    output_folder.check_growing_file(book.log_path(job_path))
    worked = work_out(job_path, readings_path)
    profile = machine_of(worked.found.job, machine)
    cuts, by_hand = _cuts(worked, profile) if profile.cuts_programs else ((), ())
    if cuts:
        from blankcam.workflows.cut_part import stop_unproven

        stop_unproven(cuts)
    sheet = _sheet(worked, profile, cuts, by_hand)
    files = {f.name: f.text.encode() for c in cuts for f in c.programs}
    files["refit.md"] = papers.bench(sheet).encode()
    files["refit.json"] = records.render(papers.record(sheet)).encode()
    output_folder.write(out, files, force=force)
    if not worked.logged:
        book.append_entry(worked.log_path, _entry(worked))
    yield from papers.sections(sheet)
    names = ", ".join(sorted(files))
    yield Section(title="Written", notes=(f"to {out}: {names}", worked.log_path))
    steps = tuple(next_steps.after_refit(out, files, nothing=worked.done.nothing))
    if steps:
        yield Section(title="Next", verbatim=True, notes=steps)


def _entry(worked: Worked) -> LogEntry:
    done, readings = worked.done, worked.readings
    return LogEntry(
        made=datetime.now(UTC).isoformat(timespec="seconds"),
        job=shape_digest(worked.found.job),
        readings=readings.digest,
        before=readings.last_refit,
        stage=readings.stage,
        nut_take=tuple(s.nut_take for s in done.strings),
        saddle_take=tuple(s.saddle_take for s in done.strings),
        saddle_by=done.saddle_by,
        bottom_left=done.bottom_left,
        bottom_right=done.bottom_right,
        first_fret=tuple(s.first_fret_after for s in done.strings),
        action=tuple(s.action_after for s in done.strings),
    )


def _cuts(worked: Worked, profile: Profile) -> tuple[tuple[CutResult, ...], tuple[str, ...]]:
    """The programs of what is to be cut; and why a piece has none, for the marks serve a hand too."""
    from blankcam.workflows.cut_part import cut_part

    cuts, by_hand = [], []
    pieces = _pieces(worked.now, worked.after, Taken.of(worked.done))
    for request in _requests(worked.found.job, worked.readings.digest, profile, pieces):
        try:
            cuts.append(cut_part(request))
        except RefusedError as refused:
            first, *others = refused.faults
            more = f" (and {len(others)} more)" if others else ""
            by_hand.append(
                f"{request.part.name}: no program, cut it by hand to the marks: {first.wrong}{more}"
            )
    return tuple(cuts), tuple(by_hand)


@dataclass(frozen=True, slots=True)
class _Piece:
    """A part as it is to be, how high it stands now, and the name of its program."""

    part: Nut | Saddle
    height: float
    stem: str
    turned: bool = False

    @property
    def box(self) -> Box:
        """What the standing part fills at most."""
        part = self.part
        return Box(
            x0=-OVER, x1=part.length + OVER, y0=0.0, y1=part.thickness, z0=0.0, z1=self.height
        )


def _pieces(now: Standing, after: Standing, taken: Taken) -> Iterator[_Piece]:
    """What is to be cut."""
    if after.nut != now.nut:
        yield _Piece(after.nut, now.nut.height, "nut-refit")
    if taken.saddle_by == "crown":
        yield _Piece(after.saddle, now.saddle.height, "saddle-refit")
    elif taken.saddle_by == "bottom":
        trim = as_cut.bottom_trim(now.saddle, taken)
        yield _Piece(trim, now.saddle.height, "saddle-bottom", turned=True)


def _requests(
    job: Job, readings: str, profile: Profile, pieces: Iterable[_Piece]
) -> Iterator[CutRequest]:
    """A request a piece: nothing is cut but its top, its slots and round ends."""
    wishes = dataclasses.replace(job.plan, outline="saw", thickness="hand", ends="mill")
    for piece in pieces:
        yield CutRequest(
            part=piece.part,
            blank=piece.box,
            machine=profile,
            material=job.blanks.material,
            stage=Stage.FINAL,
            wishes=wishes,
            label=Label(
                stem=piece.stem,
                job=job.instrument.name,
                job_digest=job.digest,
                readings_digest=readings,
            ),
            turned=piece.turned,
        )


def _sheet(
    worked: Worked, profile: Profile, cuts: Sequence[CutResult], by_hand: Sequence[str]
) -> RefitSheet:
    from blankcam import safety

    job = worked.found.job
    told = (
        *worked.cautions,
        *by_hand,
        *as_cut.cautions(worked.after),
        *(c for cut in cuts for c in cut.cautions),
        *_left_to_the_file(cuts),
    )
    return RefitSheet(
        job=job.instrument.name,
        job_digest=job.digest,
        count=worked.count,
        done=worked.done,
        before=worked.now,
        after=worked.after,
        cautions=tuple(dict.fromkeys(told)),
        programs=tuple(r for c in cuts for r in report.program_records(c)),
        notice=safety.notice(job.blanks.material, str(profile.kind)),
    )


def _left_to_the_file(cuts: Sequence[CutResult]) -> Iterator[str]:
    for slot in (d for c in cuts for d in c.slots if d.tool is None):
        yield f"slot {slot.string} is left to the file: {words(slot.reasons)}"


def prove(
    program: str, job_path: str, machine: str | None, stage: Stage | None, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Replay a program of a refit, also an edited one, on the part as the log says it then stood.

    Which refit it belongs to is said by the digest of its readings in its header; without one it
    is taken to be of the last. Returns whether it passed and the lines to print.

    Raises
    ------
    InputError
        No such refit is in the log, or it cut nothing of that name.
    """
    if stage is not None:
        wrong = "a refit's program has no stage"
        raise InputError(Fault(where=program, wrong=wrong, fix="leave --stage out"))
    from blankcam.workflows import prove as proofs

    data = proofs.program_bytes(program)
    job = job_file.load(job_path)
    profile, found = machine_of(job, machine), design(job)
    entry, cut = _logged(program, data, job)
    now, taken = _standing(found, cut, entry.stage), _taken(entry)
    pieces = tuple(_pieces(now, as_cut.after(found, now, taken), taken))
    requests = _requests(job, entry.readings, profile, pieces)
    stem = proofs.stem_of(program, data)
    request = next((r for r in requests if stem.startswith(r.label.stem)), None)
    if request is None:
        fix = f"what it cuts is {', '.join(p.stem for p in pieces) or 'nothing'}"
        raise InputError(Fault(where=program, wrong="its refit has no such program", fix=fix))
    return proofs.prove_given(program, data, stem, request, as_json=as_json)


def _logged(program: str, data: bytes, job: Job) -> tuple[LogEntry, tuple[LogEntry, ...]]:
    """The log's entry of the refit that a program is of, and what was cut before it."""
    from blankcam.gcode.header import read_header

    path = book.log_path(job.path)
    entries = book.read_log(path)
    _same_job(path, entries, shape_digest(job))
    said = read_header(data).readings_digest
    of = said or (entries[-1].readings if entries else "")
    at = max((i for i, e in enumerate(entries) if e.readings == of), default=None)
    if at is None:
        wrong = f"its refit is not in the log {path}"
        fix = "give the job that was refitted, with its log beside it"
        raise InputError(Fault(where=program, wrong=wrong, fix=fix))
    entry = entries[at]
    return entry, book.cut_so_far(entries[: at + 1], entry.readings, entry.before)
