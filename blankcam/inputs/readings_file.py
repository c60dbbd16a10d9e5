"""The readings after stringing: a small TOML file with a ``[readings]`` table.

Values by string go by string number, 1 the treble side's outermost, or as ``{ bass, treble }``, which
reads the outer two strings. A bare list is refused: nobody can see which end it begins at.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError
from pydantic_core import ErrorDetails

from blankcam import digest
from blankcam.data import table
from blankcam.faults import Fault, InputError, printable
from blankcam.inputs import job_schema
from blankcam.inputs.border import Path, key_lines, line_of, spelled
from blankcam.inputs.job_file import parse_toml, read_text

ByString = Mapping[int, float]
"""mm by string number."""

_TIME = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*(h|hours?|d|days?)\s*", re.ASCII)
_SHIM = re.compile(r"\s*shimmed\s+(?P<by>\S.{0,30})", re.ASCII)
_MOST_HOURS = 24 * 365 * 10
_MOST_STRINGS = 24
BY_STRING = ("first_fret", "third_fret", "action", "want_first_fret", "want_action")


@dataclass(frozen=True, slots=True, kw_only=True)
class OnInstrument:
    """What is said of a part: as the book has it, another one, or raised on a shim."""

    new: bool = False
    shim: float = 0.0
    """mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What was read, mm; a string that was not read is not there."""

    path: str
    first_fret: ByString
    third_fret: ByString
    """The gap over fret 1 with the string held at fret 3."""
    action: ByString
    nut: OnInstrument
    saddle: OnInstrument
    filled: tuple[int, ...]
    """Numbers of the strings whose slots were filled and begun again."""
    relief: float | None
    """As read now, strings at pitch."""
    settled: float | None
    """Hours under tension."""
    uncertainty: float
    """The most a reading is wrong by."""
    uncertainty_assumed: bool
    twice: bool
    """Whether the maker took them again and they are right."""
    stage: Literal["rough", "final"]
    """What the parts were cut to when they were strung the first time."""
    last_refit: Literal["cut", "not cut"]
    """``not cut`` where what the last refit asked for was never done."""
    want_first_fret: ByString
    """Where the maker now wants another clearance than the job says, every string; else empty."""
    want_action: ByString

    @property
    def digest(self) -> str:
        """Of the values, however the file is laid out; taken twice they are the same readings."""
        values = {k: v for k, v in asdict(self).items() if k not in ("path", "last_refit", "twice")}
        return digest.of_text(json.dumps(values, sort_keys=True))


def _hours(value: object) -> float:
    found = _TIME.fullmatch(value) if isinstance(value, str) and len(value) < 40 else None
    if found is None:
        raise ValueError('expected a time such as "36 h" or "2 days"')
    hours = float(found[1]) * (24 if found[2][0] == "d" else 1)
    if hours > _MOST_HOURS:
        raise ValueError("not believable; expected hours or days")
    return hours


def _on_instrument(value: object) -> OnInstrument:
    if value in ("as before", "new"):
        return OnInstrument(new=value == "new")
    found = _SHIM.fullmatch(value) if isinstance(value, str) and len(value) < 60 else None
    if found is None:
        raise ValueError('expected "as before", "new" or "shimmed 0.30 mm"')
    return OnInstrument(shim=job_schema.length_reader("readings.shim")(found["by"]))


def _filled(value: object) -> tuple[int, ...]:
    if not isinstance(value, list) or not all(
        isinstance(v, int) and not isinstance(v, bool) and 1 <= v <= _MOST_STRINGS for v in value
    ):
        raise ValueError("expected the numbers of the filled slots' strings, such as [6]")
    return tuple(sorted(set(value), reverse=True))


def _by_string(key: str) -> Callable[[object], dict[int | str, float]]:
    """A reader of lengths by string number, or for the outer two by ``bass`` and ``treble``."""
    read = job_schema.length_reader(key)

    def each(name: str, value: object) -> float:
        try:
            mm = read(value)
        except ValueError as fault:
            raise ValueError(f"string {name}: {printable(value, 30)!r} {fault}") from None
        if mm == 0:
            raise ValueError(f"string {name}: 0 is not a reading: its string lies on the fret")
        return mm

    def reader(value: object) -> dict[int | str, float]:
        if isinstance(value, list):
            raise ValueError(_as_table(value))  # noqa: TRY004
        if not isinstance(value, dict) or not value:
            raise ValueError(
                'expected lengths by string number, { 6 = "0.86 mm", 1 = "0.61 mm" }, or'
                " { bass, treble }"
            )
        if set(value) == {"bass", "treble"}:
            return {name: each(name, v) for name, v in value.items()}
        numbers = [_string_number(name) for name in value]
        return {n: each(str(n), v) for n, v in zip(numbers, value.values(), strict=True)}

    return reader


def _string_number(name: str) -> int:
    if not (name.isascii() and name.isdigit() and 1 <= int(name[:4]) <= _MOST_STRINGS):
        raise ValueError(f"{printable(name, 30)!r} is not a string's number, nor bass with treble")
    return int(name)


def _as_table(values: list[object]) -> str:
    """Why a bare list is refused, and the table it would be."""
    shown = [f'"{printable(v, 20)}"' for v in values[:_MOST_STRINGS]]
    count = len(shown)
    rows = ", ".join(f"{count - i} = {v}" for i, v in enumerate(shown))
    return (
        "is a list, and nobody can see which end it begins at; if it begins with the bass, write"
        f" {{ {rows} }}"
    )


def _lengths(key: str) -> Any:
    return Annotated[dict[int | str, float], BeforeValidator(_by_string(key))]


class _Readings(job_schema.Table):
    """Clearances of the strung instrument, and what is on it."""

    nut: Annotated[OnInstrument, BeforeValidator(_on_instrument)] = OnInstrument()
    saddle: Annotated[OnInstrument, BeforeValidator(_on_instrument)] = OnInstrument()
    filled: Annotated[tuple[int, ...], BeforeValidator(_filled)] = ()
    first_fret: _lengths("readings.first_fret") = Field(default={})  # type: ignore[valid-type]
    third_fret: _lengths("readings.third_fret") = Field(default={})  # type: ignore[valid-type]
    action: _lengths("readings.action")  # type: ignore[valid-type]
    relief: job_schema.Length("readings.relief") | None = None  # type: ignore[valid-type]
    settled: Annotated[float, BeforeValidator(_hours)] | None = None
    uncertainty: job_schema.Length("readings.uncertainty") | None = None  # type: ignore[valid-type]
    measured: Literal["once", "twice"] = "once"
    stage: Literal["rough", "final"] = "rough"
    last_refit: Literal["cut", "not cut"] = "cut"
    want_first_fret: _lengths("nut.first_fret") = Field(default={})  # type: ignore[valid-type]
    want_action: _lengths("saddle.action") = Field(default={})  # type: ignore[valid-type]


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
    if faults := list(_number_faults(model, path, lines, strings)):
        raise InputError(faults)
    usual = float(table("uncertainty")["readings"]["uncertainty"])
    read = {key: _numbered(getattr(model, key), strings) for key in BY_STRING}
    for key in ("want_first_fret", "want_action"):
        read[key] = _every_string(read[key], getattr(model, key), strings)
    return Readings(
        path=path,
        nut=model.nut,
        saddle=model.saddle,
        filled=model.filled,
        relief=model.relief,
        settled=model.settled,
        uncertainty=usual if model.uncertainty is None else model.uncertainty,
        uncertainty_assumed=model.uncertainty is None,
        twice=model.measured == "twice",
        stage=model.stage,
        last_refit=model.last_refit,
        **read,
    )


def _numbered(values: Mapping[int | str, float], strings: int) -> dict[int, float]:
    """By string number; bass and treble are the outer two strings'."""
    ends = {"bass": strings, "treble": 1}
    return {ends[k] if isinstance(k, str) else k: v for k, v in values.items()}


def _every_string(
    numbered: dict[int, float], given: Mapping[int | str, float], strings: int
) -> dict[int, float]:
    """Targets given for bass and treble, straight between for the others."""
    if "bass" not in given:
        return numbered
    bass, treble = given["bass"], given["treble"]
    steps = max(strings - 1, 1)
    return {n: treble + (bass - treble) * (n - 1) / steps for n in range(strings, 0, -1)}


def _fault(e: ErrorDetails, path: str, lines: dict[Path, int]) -> Fault:
    keys = list(_Readings.model_fields)
    at = e["loc"][:2]
    wrong, fix, found = e["msg"].removeprefix("Value error, "), "", e["input"]
    if e["type"] == "missing":
        wrong, found = "is missing", None
        fix = "give it by string number, or { bass, treble }" if len(at) > 1 else "write [readings]"
    elif e["type"] == "extra_forbidden":
        wrong, found, fix = "is not a key of a readings file", None, f"known: {', '.join(keys)}"
    elif isinstance(found, dict | list):
        found = None
    wrong = printable(wrong.replace("Input should be", "should be"), 900)
    return Fault(
        where=path, line=line_of(lines, at), key=spelled(at), found=found, wrong=wrong, fix=fix
    )


def _number_faults(
    model: _Readings, path: str, lines: dict[Path, int], strings: int
) -> Iterator[Fault]:
    """Strings that the job has not, nothing read over fret 1, targets for some strings only."""

    def fault(key: str, wrong: str, fix: str) -> Fault:
        at = ("readings", key)
        return Fault(where=path, line=line_of(lines, at), key=spelled(at), wrong=wrong, fix=fix)

    for key in (*BY_STRING, "filled"):
        for number in getattr(model, key):
            if isinstance(number, int) and number > strings:
                yield fault(
                    key,
                    f"has string {number}, and the job has {strings} strings",
                    f"1 is the treble side's outermost, {strings} the bass side's",
                )
    if not model.first_fret and not model.third_fret:
        yield fault("first_fret", "is missing", "give it, or third_fret, by string number")
    for key in ("want_first_fret", "want_action"):
        given = getattr(model, key)
        if given and "bass" not in given and len(given) < strings:
            yield fault(key, "leaves strings out", "give every string, or { bass, treble }")


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


def is_young(readings: Readings) -> bool:
    """Whether the instrument may still be moving under its strings."""
    least = float(table("uncertainty")["readings"]["least_settled"])
    return readings.settled is None or readings.settled < least
