"""The readings after stringing: a small TOML file with a ``[readings]`` table."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Annotated, Literal

from pydantic import BeforeValidator, ValidationError
from pydantic_core import ErrorDetails

from blankcam import digest
from blankcam.data import table
from blankcam.faults import Fault, InputError, printable
from blankcam.inputs import job_schema
from blankcam.inputs.border import Path, key_lines, line_of, spelled
from blankcam.inputs.job import PerString
from blankcam.inputs.job_file import parse_toml, read_text

_TIME = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*(h|hours?|d|days?)\s*", re.ASCII)
_MOST_HOURS = 24 * 365 * 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What was read, mm; values per string as the job writes them."""

    path: str
    first_fret: PerString
    action: PerString
    relief: float | None
    """As read now, strings at pitch."""
    settled: float | None
    """Hours under tension."""
    uncertainty: float
    """The most a reading is wrong by."""
    uncertainty_assumed: bool
    stage: str
    """What the parts were cut to when they were strung the first time: ``rough`` or ``final``."""
    last_refit: str
    """``cut``, or ``not cut`` where what the last refit asked for was never done."""
    want_first_fret: PerString | None
    """Where the maker now wants another clearance than the job says."""
    want_action: PerString | None

    @property
    def digest(self) -> str:
        """Of the values, however the file is laid out."""
        values = {k: v for k, v in asdict(self).items() if k not in ("path", "last_refit")}
        return digest.of_text(json.dumps(values, sort_keys=True))


def _hours(value: object) -> float:
    found = _TIME.fullmatch(value) if isinstance(value, str) and len(value) < 40 else None
    if found is None:
        raise ValueError('expected a time such as "36 h" or "2 days"')
    hours = float(found[1]) * (24 if found[2][0] == "d" else 1)
    if hours > _MOST_HOURS:
        raise ValueError("not believable; expected hours or days")
    return hours


class _Readings(job_schema.Table):
    """Clearances of the strung instrument, one a string from the bass side."""

    first_fret: job_schema.Lengths("readings.first_fret")  # type: ignore[valid-type]
    action: job_schema.Lengths("readings.action")  # type: ignore[valid-type]
    relief: job_schema.Length("readings.relief") | None = None  # type: ignore[valid-type]
    settled: Annotated[float, BeforeValidator(_hours)] | None = None
    uncertainty: job_schema.Length("readings.uncertainty") | None = None  # type: ignore[valid-type]
    stage: Literal["rough", "final"] = "rough"
    last_refit: Literal["cut", "not cut"] = "cut"
    want_first_fret: job_schema.Lengths("readings.first_fret") | None = None  # type: ignore[valid-type]
    want_action: job_schema.Lengths("readings.action") | None = None  # type: ignore[valid-type]


class _ReadingsFile(job_schema.Table):
    """The file."""

    readings: _Readings


def load(path: str, strings: int) -> Readings:
    """The readings in a file; raises InputError as `parse` does, or when it can't be read."""
    return parse(read_text(path), path, strings)


def parse(text: str, path: str, strings: int) -> Readings:
    """The readings in a text.

    Parameters
    ----------
    text : TOML
    path : the name the user knows it by, for messages
    strings : how many the job has

    Raises
    ------
    InputError
        With every fault, each with its key path and line.
    """
    raw = parse_toml(text, path)
    lines = key_lines(text)
    try:
        model = _ReadingsFile.model_validate(raw).readings
    except ValidationError as found:
        errors = found.errors(include_url=False)
        raise InputError([_fault(e, path, lines) for e in errors]) from None
    if faults := list(_count_faults(model, path, lines, strings)):
        raise InputError(faults)
    usual = float(table("uncertainty")["readings"]["uncertainty"])
    return Readings(
        path=path,
        first_fret=model.first_fret,
        action=model.action,
        relief=model.relief,
        settled=model.settled,
        uncertainty=usual if model.uncertainty is None else model.uncertainty,
        uncertainty_assumed=model.uncertainty is None,
        stage=model.stage,
        last_refit=model.last_refit,
        want_first_fret=model.want_first_fret,
        want_action=model.want_action,
    )


def _fault(e: ErrorDetails, path: str, lines: dict[Path, int]) -> Fault:
    keys = list(_Readings.model_fields)
    at = e["loc"][:2]
    wrong, fix, found = e["msg"].removeprefix("Value error, "), "", e["input"]
    if e["type"] == "missing":
        wrong, found = "is missing", None
        fix = "give one length a string, or { bass, treble }" if len(at) > 1 else "write [readings]"
    elif e["type"] == "extra_forbidden":
        wrong, found, fix = "is not a key of a readings file", None, f"known: {', '.join(keys)}"
    elif isinstance(found, dict | list):
        found = None
    wrong = printable(wrong.replace("Input should be", "should be"), 300)
    return Fault(
        where=path, line=line_of(lines, at), key=spelled(at), found=found, wrong=wrong, fix=fix
    )


def _count_faults(
    model: _Readings, path: str, lines: dict[Path, int], strings: int
) -> Iterator[Fault]:
    for key in ("first_fret", "action", "want_first_fret", "want_action"):
        value = getattr(model, key)
        if isinstance(value, tuple) and len(value) != strings:
            at = ("readings", key)
            yield Fault(
                where=path,
                line=line_of(lines, at),
                key=spelled(at),
                wrong=f"has {len(value)} values for {strings} strings",
                fix="one value a string, from the bass side",
            )


def cautions(readings: Readings) -> list[str]:
    """What to know before cutting to these readings."""
    least = table("uncertainty")["readings"]["least_settled"]
    found = []
    if readings.settled is None:
        found.append(f"readings: settled is not given; wait {least} h at pitch before reading")
    elif readings.settled < least:
        found.append(
            f"readings: {readings.settled:g} h at pitch are few; the neck still moves, wait {least} h"
        )
    if readings.uncertainty_assumed:
        found.append(f"readings: uncertainty assumed to be {readings.uncertainty:g} mm")
    return found
