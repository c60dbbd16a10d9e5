"""A job file to begin with: from typical values, or from the answers of a talk."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from shlex import quote

from blankcam import file_lock, output_folder
from blankcam.faults import Fault, InputError, OutputError, RefusedError
from blankcam.inputs import interview, job_file, starter
from blankcam.inputs.border import read_text
from blankcam.parts.design import design


def start(path: str, kind: str, *, force: bool) -> Iterator[str]:
    """Write a job file to begin with; yields what to do next."""
    output_folder.write_file(path, starter.text(kind).encode(), force=force)
    yield f"wrote {path}: measure your instrument, write what you found, take the # away"
    yield f"then: blankcam layout {quote(path)}"


def begin(path: str, kind: str | None, *, force: bool) -> interview.Talk:
    """The talk that a job file is to come of: taken up where it was broken off, or a new one.

    Raises
    ------
    BlankcamError
        When the job file is there already, or the kept answers can't be used.
    """
    output_folder.check_file(path, force=force)
    part = interview.part_path(path)
    if is_kept(path):
        return interview.taken_up(read_text(part), part)
    if kind is None:
        return interview.Talk()
    starter.known(kind)
    return interview.answered(interview.Talk(), kind)


@contextlib.contextmanager
def asking(path: str) -> Iterator[None]:
    """Keep another talk about the same job file out for the length of a block.

    Raises
    ------
    RefusedError
        Another one is at work.
    OutputError
        The answers can't be kept there.
    """
    lock = f"{interview.part_path(path)}.lock"
    output_folder.check_file(path, force=True)
    try:
        held = file_lock.held(lock, patience=0.0)
    except file_lock.HeldError:
        wrong = "is being asked for by another start --ask, which keeps its answers"
        fix = "go on there, or give another name"
        raise RefusedError(Fault(where=path, wrong=wrong, fix=fix)) from None
    except OSError as fault:
        why = (fault.strerror or "").lower()
        raise OutputError(Fault(where=lock, wrong=f"can't be written ({why})")) from None
    with held:
        try:
            yield
        finally:
            output_folder.remove_file(lock)


def keep(path: str, talk: interview.Talk) -> None:
    """Put the answers so far beside the job file to be; raises OutputError."""
    output_folder.write_file(interview.part_path(path), interview.kept(talk).encode(), force=True)


def is_kept(path: str) -> bool:
    """Whether answers were kept for a job file to be."""
    return os.path.lexists(interview.part_path(path))


def broken_off(path: str) -> InputError:
    """What to tell where the maker breaks a talk off."""
    fix, wrong = (
        f"go on with: blankcam start {quote(path)} --ask",
        "not written: the questions were broken off",
    )
    if is_kept(path):
        wrong += f"; the answers so far are kept in {interview.part_path(path)}"
    return InputError(Fault(where=path, wrong=wrong, fix=fix))


def forget(path: str) -> None:
    """Remove the kept answers, where there are any; raises OutputError."""
    output_folder.remove_file(interview.part_path(path))


def finish(path: str, talk: interview.Talk, *, force: bool) -> Iterator[str]:
    """Write the job file of a whole talk; yields what still hinders it, and what to do next."""
    text = interview.job_text(talk)
    output_folder.write_file(path, text.encode(), force=force)
    forget(path)
    yield f"wrote {path}"
    try:
        design(job_file.parse(text, path))
    except RefusedError as refused:
        yield from (f"not to be cut so yet: {f}" for f in refused.faults)
    yield f"then: blankcam layout {quote(path)}"
