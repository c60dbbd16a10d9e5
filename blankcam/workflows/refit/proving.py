"""A program of an earlier refit, replayed on the part as the book says it then stood."""

from __future__ import annotations

from collections.abc import Sequence

from blankcam.faults import Fault, InputError
from blankcam.inputs import job_file
from blankcam.parts.design import Design, design
from blankcam.parts.stage import Stage
from blankcam.refit import as_cut, book
from blankcam.refit.book import Entry, ReadingsTaken, Refitted
from blankcam.refit.so_far import so_far, standing_calls, taken_of
from blankcam.workflows.refit.on_instrument import designs_made
from blankcam.workflows.refit.pieces import Piece, pieces, requests
from blankcam.workflows.request import machine_of


def prove(
    program: str, job_path: str, machine: str | None, stage: Stage | None, *, as_json: bool
) -> tuple[bool, list[str]]:
    """Replay a program of a refit, also an edited one, on the part as the book says it then stood.

    Which refit it belongs to is said by the digest of its readings in its header; without one it
    is taken to be of the last. Returns whether it passed and the lines to print.

    Raises
    ------
    InputError
        No such refit is in the book, or it cut nothing of that name.
    """
    if stage is not None:
        wrong = "a refit's program has no stage"
        raise InputError(Fault(where=program, wrong=wrong, fix="leave --stage out"))
    from blankcam.workflows import prove as proofs

    data = proofs.program_bytes(program)
    job = job_file.load(job_path)
    profile, found = machine_of(job, machine), design(job)
    asked, of = _asked_for(program, data, found)
    stem = proofs.stem_of(program, data)
    every = requests(job, of, profile, asked)
    request = next((r for r in every if stem.startswith(r.label.stem)), None)
    if request is None:
        fix = f"what it cuts is {', '.join(p.stem for p in asked) or 'nothing'}"
        raise InputError(Fault(where=program, wrong="its refit has no such program", fix=fix))
    return proofs.prove_given(program, data, stem, request, as_json=as_json)


def _asked_for(program: str, data: bytes, found: Design) -> tuple[tuple[Piece, ...], str]:
    """What the refit of a program asked for, and the digest of its readings."""
    from blankcam.gcode.header import read_header

    path = book.book_path(found.job.path)
    entries = book.read_book(path).entries
    of = read_header(data).readings_digest
    refitted = [i for i, e in enumerate(entries) if isinstance(e, Refitted)]
    if not of:
        at = refitted[-1] if refitted else None
    else:
        at = next((i for i in reversed(refitted) if _readings_before(entries, i) == of), None)
    if at is None:
        wrong = f"its refit is not in the book {path}"
        fix = "give the job that was refitted, with its book of parts beside it"
        raise InputError(Fault(where=program, wrong=wrong, fix=fix))
    before = tuple(e for call in standing_calls(entries[:at]) for e in call)
    known = so_far(before, designs_made(found, before))
    entry = entries[at]
    assert isinstance(entry, Refitted)
    taken = taken_of(entry, len(found.job.strings))
    now = as_cut.with_strings(found, known.standing)
    after = as_cut.after(found, now, taken)
    return tuple(pieces(now, after, taken)), _readings_before(entries, at)


def _readings_before(entries: Sequence[Entry], at: int) -> str:
    """Digest of the readings that an entry's refit goes by."""
    return next((e.digest for e in reversed(entries[:at]) if isinstance(e, ReadingsTaken)), "")
