"""The book of parts beside the job: one JSON object a line, only ever added to.

It says which nut and saddle were made, to which stage, what each refit took, what was shimmed or
filled, and which readings were taken. Every value by string goes by string number: 1 is the treble
side's outermost. Each line carries a check over itself and the check before it, so that a line
changed, lost or cut short shows; then nothing is written to it.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Annotated, Any, Literal

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass as checked

from blankcam import digest, file_lock
from blankcam.faults import Fault, InputError, OutputError, RefusedError
from blankcam.inputs.border import read_text
from blankcam.inputs.readings_file import PartName

SUFFIX = ".parts.jsonl"
OLD_SUFFIX = ".refits.jsonl"
_LOCK_SECONDS = 10.0
_FIX = 'restore it from a copy; or move it away, and write "new" for the part that is new'
_STRICT = ConfigDict(extra="forbid", allow_inf_nan=False)

ByString = dict[int, float]
"""mm by string number."""


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Made:
    """A part was made, and is on the instrument from here on."""

    event: Literal["made"] = "made"
    part: PartName
    number: int
    """nut 1, nut 2, ..."""
    stage: Literal["rough", "final"]
    job: str
    """The job file's text as it then was: the part is what it says."""
    milled: tuple[int, ...]
    """Strings whose slots the machine cut; of a saddle every string or none."""


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class ReadingsTaken:
    """Both clearances were read."""

    event: Literal["readings"] = "readings"
    digest: str
    first_fret: ByString
    action: ByString
    held: ByString
    """Clearance over fret 1 worked out from the gap with the string held at fret 3."""
    uncertainty: float
    relief: float | None
    settled: float | None
    """Hours at pitch."""
    measured: Literal["once", "twice"]
    loosened: str = ""
    """The cause that readings taken twice speak for; empty where they are as foreseen."""
    loosened_string: int | None = None
    loosened_which: str = ""


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class Refitted:
    """What one refit took off, or asked to."""

    event: Literal["refit"] = "refit"
    number: int
    nut: ByString
    """Off each slot's floor."""
    saddle: ByString
    """Off the saddle under each string."""
    trim: Literal["nothing", "bottom", "crown"]
    bottom_left: float
    bottom_right: float
    top: bool
    """Whether the nut's top was brought down to its floors."""
    widths: ByString
    """Slots' widths, where other strings asked for wider ones; else empty."""
    milled: tuple[int, ...]
    saddle_milled: bool


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class NotCut:
    """The refit before this was never cut, or only on one of the parts."""

    event: Literal["not cut"] = "not cut"
    part: PartName | Literal["both"] = "both"
    """What was not cut."""


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class ShimPut:
    """A part was raised on a shim."""

    event: Literal["shimmed"] = "shimmed"
    part: PartName
    by: float


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class SlotsFilled:
    """Slots were filled and begun again."""

    event: Literal["filled"] = "filled"
    strings: tuple[int, ...]


@checked(frozen=True, slots=True, kw_only=True, config=_STRICT)
class NewStrings:
    """Other strings were put on."""

    event: Literal["strings"] = "strings"
    job: str
    """The job file's text with them."""
    pull: float
    """The new strings' pull over the old ones'."""


Entry = Annotated[
    Made | ReadingsTaken | Refitted | NotCut | ShimPut | SlotsFilled | NewStrings,
    Field(discriminator="event"),
]
_ENTRY: TypeAdapter[Any] = TypeAdapter(Entry)


@dataclass(frozen=True, slots=True, kw_only=True)
class Book:
    """A book as read."""

    path: str
    entries: tuple[Entry, ...]
    check: str
    """Of its last line."""


def book_path(job_path: str) -> str:
    """Where the book of a job lies."""
    return str(Path(job_path).with_suffix(SUFFIX))


def read_book(path: str) -> Book:
    """Every entry so far, oldest first; none where there is no book.

    Raises
    ------
    InputError
        The book is damaged, with the line, or can't be read.
    """
    if not os.path.lexists(path):
        return Book(path=path, entries=(), check="")
    text = read_text(path)
    entries, check = [], ""
    lines = text.split("\n")
    for number, line in enumerate(lines[:-1], start=1):
        try:
            entry, check = _unpack(line, check)
        except (ValidationError, ValueError, TypeError, KeyError, RecursionError) as fault:
            why = str(fault) if type(fault) is ValueError else "is not a whole entry"
            raise InputError(_damage(path, number, why)) from None
        entries.append(entry)
    if lines[-1]:
        raise InputError(_torn(path, len(lines)))
    return Book(path=path, entries=tuple(entries), check=check)


def _damage(path: str, line: int, why: str) -> Fault:
    return Fault(where=path, line=line, wrong=f"the book of parts is damaged: {why}", fix=_FIX)


def _torn(path: str, line: int) -> Fault:
    return Fault(
        where=path,
        line=line,
        wrong="its last line is cut short, as when the power fails: the book is damaged there",
        fix="the same command with --drop-torn-line goes on without that line",
    )


def drop_torn_line(path: str) -> bool:
    """Take a last line that is cut short off a book whose other lines are whole.

    Returns whether there was one; raises InputError where another line is damaged.
    """
    if not os.path.lexists(path):
        return False
    whole, _, torn = read_text(path).rpartition("\n")
    if not torn:
        return False
    kept = whole + "\n" if whole else ""
    check = ""
    for number, line in enumerate(kept.split("\n")[:-1], start=1):
        try:
            _, check = _unpack(line, check)
        except (ValidationError, ValueError, TypeError, KeyError, RecursionError):
            raise InputError(_damage(path, number, "is not a whole entry")) from None
    with _told(path), Path(path).open("r+b") as file:
        file.truncate(len(kept.encode()))
        _settle(file)
    return True


def add_entries(book: Book, entries: Sequence[Entry]) -> None:
    """Add to a book that was read, while it is locked.

    Raises
    ------
    OutputError
        It can't be written.
    """
    lines, check = [], book.check
    for entry in entries:
        values = _ENTRY.dump_python(entry, mode="json")
        check = _check(values, check)
        lines.append(json.dumps({**values, "check": check}, allow_nan=False) + "\n")
    with _told(book.path), Path(book.path).open("ab") as file:
        file.write("".join(lines).encode())
        _settle(file)


def _settle(file: IO[bytes]) -> None:
    file.flush()
    os.fsync(file.fileno())


def _unpack(line: str, before: str) -> tuple[Entry, str]:
    values = json.loads(line)
    if not isinstance(values, dict):
        raise TypeError
    check = values.pop("check")
    entry = _ENTRY.validate_python(values)
    if check != _check(_ENTRY.dump_python(entry, mode="json"), before):
        raise ValueError("its check does not fit: a line was changed or lost")
    return entry, check


def _check(values: dict[str, Any], before: str) -> str:
    return digest.of_text(before + json.dumps(values, sort_keys=True, ensure_ascii=True))


@contextlib.contextmanager
def _told(path: str) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        why = (fault.strerror or "").lower()
        raise OutputError(Fault(where=path, wrong=f"can't be written ({why})")) from None


@contextlib.contextmanager
def locked(path: str) -> Iterator[None]:
    """Hold a book while it is read, reckoned and added to: two refits at once take turns.

    An empty book that was made for the lock alone goes again.

    Raises
    ------
    OutputError
        It can't be written.
    RefusedError
        Another refit holds it for long.
    """
    if os.path.lexists(path) and not Path(path).is_file():
        raise InputError(Fault(where=path, wrong="is not a file"))
    try:
        with _told(path):
            file = file_lock.held(path, _LOCK_SECONDS)
    except file_lock.HeldError:
        wrong, fix = (
            "another refit of this job is at work",
            "wait until it has ended, then try again",
        )
        raise RefusedError(Fault(where=path, wrong=wrong, fix=fix)) from None
    try:
        yield
    finally:
        empty = os.fstat(file.fileno()).st_size == 0
        if empty and os.name == "posix":
            Path(path).unlink(missing_ok=True)
        file.close()
        if empty and os.name != "posix":
            with contextlib.suppress(OSError):
                Path(path).unlink(missing_ok=True)


def refuse_old_log(job_path: str) -> None:
    """Raise InputError where an older version's log of refits lies beside the job."""
    old = str(Path(job_path).with_suffix(OLD_SUFFIX))
    if os.path.lexists(old):
        raise InputError(
            Fault(
                where=old,
                wrong="is the log of an older version, which did not keep the readings: it can't be"
                " carried on",
                fix="move it away; the first readings are then questioned, since the parts are "
                "lower"
                ' than the job says: take them twice and add measured = "twice"',
            )
        )
