"""The log of refits beside the job: one JSON object a line, only ever added to.

Each line carries a check over itself and the check before it, so that a line changed, lost or cut
short shows. A damaged log is told, and nothing is written to it.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from blankcam import digest
from blankcam.faults import Fault, InputError, OutputError
from blankcam.inputs.job_file import read_text

SUFFIX = ".refits.jsonl"
_FIX = "restore it from a copy, or move it away and start from the job's rough parts"


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEntry:
    """One refit as it was cut; mm, values per string from the bass side."""

    made: str
    """When, ISO 8601."""
    job: str
    """Digest of all in the job that says how its parts stand."""
    readings: str
    """Digest of the readings: the same readings again are the same refit, not a further one."""
    before: str
    """``cut``, or ``not cut`` where the refit before this one never was."""
    stage: str
    """What the parts were cut to before the first refit."""
    nut_take: tuple[float, ...]
    saddle_take: tuple[float, ...]
    saddle_by: str
    bottom_left: float
    bottom_right: float
    first_fret: tuple[float, ...]
    """As predicted after the cut."""
    action: tuple[float, ...]


def cut_so_far(entries: Sequence[LogEntry], readings: str, before: str) -> tuple[LogEntry, ...]:
    """The refits that have been cut when these readings were taken, oldest first.

    Parameters
    ----------
    entries : the whole log
    readings : digest of the readings now at hand; where the last entry is theirs, it is left out
    before : ``not cut`` where the maker says that the last refit never was
    """
    cut: list[LogEntry] = []
    for entry in entries:
        if entry.before == "not cut" and cut:
            cut.pop()
        cut.append(entry)
    if cut and cut[-1].readings == readings:
        return tuple(cut[:-1])
    return tuple(cut[:-1] if before == "not cut" else cut)


def log_path(job_path: str) -> str:
    """Where the log of a job lies."""
    return str(Path(job_path).with_suffix(SUFFIX))


def read_log(path: str) -> tuple[LogEntry, ...]:
    """Every refit so far, oldest first; none where there is no log.

    Raises
    ------
    InputError
        The log is damaged, with the line, or can't be read.
    """
    if not os.path.lexists(path):
        return ()
    entries: list[LogEntry] = []
    check = ""
    text = read_text(path)
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            entry, check = _unpack(line, check)
        except (ValueError, TypeError, KeyError, OverflowError, RecursionError) as fault:
            why = str(fault) if type(fault) is ValueError else "is not a whole entry"
            raise InputError(_damage(path, number, why)) from None
        entries.append(entry)
    if text and not text.endswith("\n"):
        raise InputError(_damage(path, len(entries), "is cut short"))
    return tuple(entries)


def _damage(path: str, line: int, why: str) -> Fault:
    return Fault(where=path, line=line, wrong=f"the log of refits is damaged: {why}", fix=_FIX)


def append_entry(path: str, entry: LogEntry) -> None:
    """Add a refit; what stands there is read first and never changed.

    Raises
    ------
    InputError
        The log is damaged.
    OutputError
        It can't be written.
    """
    so_far = read_log(path)
    line = _pack(entry, _check_of(so_far))
    try:
        with Path(path).open("ab") as file:
            file.write(line.encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        why = (fault.strerror or "").lower()
        raise OutputError(Fault(where=path, wrong=f"can't be written ({why})")) from None


def _check_of(entries: Sequence[LogEntry]) -> str:
    check = ""
    for entry in entries:
        check = _check(asdict(entry), check)
    return check


def _check(values: dict[str, Any], before: str) -> str:
    return digest.of_text(before + json.dumps(values, sort_keys=True, ensure_ascii=True))


def _pack(entry: LogEntry, before: str) -> str:
    values = asdict(entry)
    return json.dumps({**values, "check": _check(values, before)}, allow_nan=False)


def _unpack(line: str, before: str) -> tuple[LogEntry, str]:
    values = json.loads(line)
    if not isinstance(values, dict):
        raise TypeError
    check = values.pop("check")
    entry = _typed(values)
    if check != _check(asdict(entry), before):
        raise ValueError("its check does not fit: a line was changed or lost")
    return entry, check


def _typed(values: dict[str, Any]) -> LogEntry:
    """The entry, every value of its own type and finite."""
    if set(values) != {f.name for f in fields(LogEntry)}:
        raise KeyError
    made: dict[str, Any] = {}
    for field in fields(LogEntry):
        value = values[field.name]
        if field.type == "str" and isinstance(value, str):
            made[field.name] = value
        elif field.type == "float":
            made[field.name] = _number(value)
        elif field.type == "tuple[float, ...]" and isinstance(value, list):
            made[field.name] = tuple(_number(v) for v in value)
        else:
            raise TypeError
    return LogEntry(**made)


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise TypeError
    return float(value)
