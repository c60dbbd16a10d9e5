"""The page and the sheet to look at, nothing for a machine: drawn even where the job is refused.

Watched, the page alone is made anew each time the job is saved. The open page asks a small script
beside it, by a script tag, whether there is a newer one, and takes what is new from another;
nothing listens on the network.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar

from blankcam import output_folder
from blankcam.faults import BlankcamError, Fault, RefusedError, printable
from blankcam.inputs import job_file
from blankcam.inputs.job import Job
from blankcam.inputs.machine import Profile
from blankcam.inputs.units import Units
from blankcam.outputs.papers import next_steps
from blankcam.outputs.reasons import left_to_the_hand
from blankcam.parts.design import Design, drafted
from blankcam.parts.stage import Stage
from blankcam.workers import second_core
from blankcam.workflows.drawn import (
    Drafted,
    nut_cut,
    page_of,
    page_written,
    setup_cards,
    sheet,
    sheet_pages,
)
from blankcam.workflows.request import drawn_as, machine_of

if TYPE_CHECKING:
    from blankcam.cut import CutResult

P = ParamSpec("P")
T = TypeVar("T")

PAGE, TELLS, BRINGS = "preview.html", "preview-watch.js", "preview-newer.js"
PROVEN = "-proven"
EVERY = 0.03
"""Seconds between two looks at the job's file."""
SETTLES = 0.2
"""Seconds for which a file with a fault must stay unchanged before the fault is reported."""
DRAWS = 0.6
"""Seconds that the browser has to itself to draw a page before its proof begins."""
PROOF_WAITS = 10
"""How far the proof stands back behind other programs, in the system's steps of niceness."""


@dataclass(frozen=True, slots=True)
class _Shown:
    """A page that is watched."""

    known: str
    """What it is known by."""
    files: Mapping[str, bytes]
    """The page by itself, and the script that puts it in the place of the page before."""


class _SavedAgainError(Exception):
    """What was being worked out is no longer wanted."""


def preview(
    job_path: str, out: str, machine: str | None, stage: Stage, *, force: bool = False,
    paper: str | None = None, units: Units | None = None,
) -> Iterator[str]:  # fmt: skip
    """Draw a job and write the page and the sheet; yields what to tell the maker.

    Raises
    ------
    BlankcamError
        Before anything is written where there is nothing to draw; RefusedError with every reason,
        after the drawing is written, where the job must not be made so.
    """
    job = job_file.load(job_path)
    profile = drawn_as(machine_of(job, machine), release=None, paper=paper, units=units)
    output_folder.check(out, force=force)
    draft = draw(job, profile, stage)
    files = {PAGE: page_of(draft), **_sheets(draft)}
    output_folder.write(out, files, force=force)
    cautions = [*draft.found.cautions, *(c for m in draft.made for c in m.cautions)]
    for m in draft.made:
        cautions += left_to_the_hand(m.request.part.name, m.decisions)
    yield from (f"caution: {c}" for c in dict.fromkeys(cautions))
    yield f"wrote {len(files)} files to {out}: {', '.join(sorted(files))}"
    if draft.refused:
        raise RefusedError(draft.refused)
    yield from next_steps.after_files(job, out, files, machine)


def _sheets(draft: Drafted) -> dict[str, bytes]:
    found, profile = draft.found, draft.profile
    cut = nut_cut(found, profile, draft.stage, draft.made)
    setups = setup_cards(found, draft.made)
    return {
        "sheet.pdf": sheet(found, profile, cut, setups),
        **sheet_pages(found, profile, cut, setups),
    }


def draw(job: Job, profile: Profile, stage: Stage, *, proven: bool = True) -> Drafted:
    """The job worked out, its programs planned and replayed where ``proven`` and nothing is
    refused.
    """
    found, refused = drafted(job)
    made: tuple[CutResult, ...] = ()
    if profile.cuts_programs and proven and not refused:
        made, refused = _cut(found, profile, stage)
    return Drafted(found=found, profile=profile, stage=stage, made=made, refused=refused)


def _cut(
    found: Design, profile: Profile, stage: Stage
) -> tuple[tuple[CutResult, ...], tuple[Fault, ...]]:
    """The programs as far as they can be planned, and why they must not be run."""
    from blankcam.workflows.cut_part import cut_parts, stop_unproven

    made: tuple[CutResult, ...] = ()
    try:
        with second_core(wanted=True) as worker:
            made = cut_parts(found, profile, stage, worker)
        stop_unproven(made)
    except RefusedError as refused:
        return made, refused.faults
    return made, ()


# ---- watched ---------------------------------------------------------------------------------


def watch(
    job_path: str, out: str, machine: str | None, stage: Stage, *, force: bool = False,
    units: Units | None = None,
) -> Iterator[str]:  # fmt: skip
    """Keep a page of a job that is being worked on, until the run is broken off.

    Raises
    ------
    BlankcamError
        Where the job can't be drawn at first.
    """
    output_folder.check(out, force=force)
    profile_of = partial(_profile, machine=machine, units=units)
    shown: _Shown | None = None
    stamp: tuple[int, int] | None = None
    if _stamp(job_path) is None:
        job_file.load(job_path)  # tells why it can't be read
    try:
        while True:
            if (now := _stamp(job_path)) == stamp or now is None:
                time.sleep(EVERY)
                continue
            stamp, began = now, time.monotonic()
            try:
                for shown in _pages(job_path, profile_of, stage, partial(_stands, job_path, stamp)):
                    _put(out, shown, "", force=force)
                    what = "proven" if shown.known.endswith(PROVEN) else "new shapes drawn"
                    yield f"{job_path}: {what} in {time.monotonic() - began:.2f} s"
            except BlankcamError as fault:
                if _still_written(job_path, stamp):
                    continue
                if shown is None:
                    raise
                yield str(fault)
                _put(out, shown, str(fault), force=force)
    finally:
        if shown is not None:
            _put(out, shown, "No longer watched: run the command again to go on.", force=force)


def _profile(job: Job, machine: str | None, units: Units | None) -> Profile:
    return drawn_as(machine_of(job, machine), units=units)


def _stamp(path: str) -> tuple[int, int] | None:
    """What changes when a file is saved; None while an editor has it away."""
    try:
        found = Path(path).stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


def _still_written(path: str, stamp: tuple[int, int]) -> bool:
    """Whether a file changes within a moment: an editor may empty it before it writes."""
    return not _for_as_long(SETTLES, lambda: _stamp(path) == stamp)


def _for_as_long(seconds: float, holds: Callable[[], bool]) -> bool:
    """Whether something holds for so long; told at once when it no longer does."""
    until = time.monotonic() + seconds
    while holds():
        if time.monotonic() > until:
            return True
        time.sleep(EVERY)
    return False


def _stands(path: str, stamp: tuple[int, int]) -> bool:
    """Whether a file is still as it was, or away in an editor's hands."""
    return _stamp(path) in (stamp, None)


def _pages(
    job_path: str, profile_of: Callable[[Job], Profile], stage: Stage, stands: Callable[[], bool]
) -> Iterator[_Shown]:
    """The shapes wanted, at once; then who cuts what and what the programs leave, proven.

    The second is worked out in a process of its own, which ends as soon as ``stands`` says no: a
    maker who saves again sees his new shape without waiting for the proof of the old one.
    """
    job = job_file.load(job_path)
    profile = profile_of(job)
    quick = draw(job, profile, stage, proven=False)
    more = profile.cuts_programs and not quick.refused
    yield _shown(quick, f"{job.digest}-drawn", waiting=more)
    if more and _for_as_long(DRAWS, stands):
        proven = _done_while(stands, _proven_page, job, profile, stage)
        if proven is not None:
            yield proven


def _proven_page(job: Job, profile: Profile, stage: Stage) -> _Shown:
    """Done beside, behind the browser, which draws the page before meanwhile."""
    import multiprocessing

    if multiprocessing.parent_process() is not None and hasattr(os, "nice"):
        os.nice(PROOF_WAITS)
    return _shown(draw(job, profile, stage), f"{job.digest}{PROVEN}", waiting=False)


def _shown(draft: Drafted, known: str, *, waiting: bool) -> _Shown:
    from blankcam.preview.page import newer, whole

    page = page_written(draft, watch=known, waiting=waiting)
    return _Shown(known, {PAGE: whole(page).encode(), BRINGS: newer(page).encode()})


def _done_while(
    stands: Callable[[], bool], work: Callable[P, T], *args: P.args, **kwargs: P.kwargs
) -> T | None:
    """What ``work`` returns, done beside; None as soon as ``stands`` is false."""
    from concurrent.futures import wait

    try:
        with second_core(wanted=True) as worker:
            coming = worker.submit(work, *args, **kwargs)
            while not coming.done():
                _go_on(stands)
                wait([coming], timeout=EVERY)
            return coming.result()
    except _SavedAgainError:
        return None


def _go_on(stands: Callable[[], bool]) -> None:
    if not stands():
        raise _SavedAgainError


def _put(out: str, shown: _Shown, fault: str, *, force: bool) -> None:
    """The newest page, and what an open one is to hear: the name of that, and any fault."""
    said = json.dumps({"page": shown.known, "fault": _lines(fault)}, ensure_ascii=True)
    script = f"blankcam.watch.hear({said.replace('<', chr(92) + 'u003c')});\n"
    output_folder.write(out, {**shown.files, TELLS: script.encode()}, force=force)


def _lines(fault: str) -> Sequence[str]:
    return [printable(line, 400) for line in fault.splitlines()]
