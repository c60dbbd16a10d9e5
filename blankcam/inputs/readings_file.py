"""The readings after stringing: a small TOML file with a ``[readings]`` table.

Values by string go by string number, 1 the treble side's outermost, or as ``{ bass, treble }``,
which reads the outer two strings. A bare list is refused: nobody can see which end it begins at.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from blankcam import digest
from blankcam.data import table
from blankcam.faults import Fault, InputError, printable
from blankcam.inputs.border import FileKind, Source, parse_toml, read_text, source_of, validated
from blankcam.inputs.fields import (
    LENGTH_SCHEMA,
    FileTable,
    Length,
    Quantity,
    Wanted,
    kind_of,
    quantity_reader,
)
from blankcam.inputs.units import HOURS, UnfitError

ByString = Mapping[int, float]
"""mm by string number."""

PartName = Literal["nut", "saddle"]
LastRefit = Literal["cut", "not cut", "nut not cut", "saddle not cut"]
"""Whether what the last refit asked for was cut."""
PARTS: tuple[PartName, ...] = ("nut", "saddle")
_WHOLE: frozenset[PartName] = frozenset(PARTS)
_READ_OF: Mapping[PartName, str] = {"nut": "first_fret", "saddle": "action"}
"""What a part's cut is reckoned from."""
_OF_PART: Mapping[PartName, tuple[str, ...]] = {
    "nut": ("nut", "filled", "want_first_fret"),
    "saddle": ("saddle", "want_action"),
}
"""Keys that say nothing where the part is not made."""

FILE = FileKind(name="a readings file")
BY_STRING = ("first_fret", "third_fret", "action", "want_first_fret", "want_action")
_MOST_STRINGS = 24
_SHIM = re.compile(r"\s*shimmed\s+(?P<by>\S.{0,30})", re.ASCII)
_ON_IT = 'write "as before", "new" or "shimmed 0.30 mm"'
_EACH = 'write lengths by string number, { 6 = "0.86 mm", 1 = "0.61 mm" }, or { bass, treble }'
_FILLED = "write the numbers of the strings whose slots were filled, such as [6]"


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
    strings: Literal["as before", "new"]
    """``new`` where other strings are to go on and nothing can be read yet."""
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
    last_refit: LastRefit
    """Whether what the last refit asked for was done: on both parts, or on one of them not."""
    want_first_fret: ByString
    """Where the maker now wants another clearance than the job says, every string; else empty."""
    want_action: ByString

    @property
    def any_read(self) -> bool:
        """Whether any clearance was read."""
        return bool(self.first_fret or self.third_fret or self.action)

    @property
    def digest(self) -> str:
        """Of the values, however the file is laid out; taken twice they are the same readings."""
        values = {k: v for k, v in asdict(self).items() if k not in ("path", "last_refit", "twice")}
        return digest.of_text(json.dumps(values, sort_keys=True))


def _on_instrument(value: object) -> OnInstrument:
    if value in ("as before", "new"):
        return OnInstrument(new=value == "new")
    found = _SHIM.fullmatch(value) if isinstance(value, str) and len(value) < 60 else None
    if found is None:
        raise UnfitError("is not known", _ON_IT)
    return OnInstrument(shim=quantity_reader("readings.shim")(found["by"]))


def _filled(value: object) -> tuple[int, ...]:
    if not isinstance(value, list) or not all(
        isinstance(v, int) and not isinstance(v, bool) and 1 <= v <= _MOST_STRINGS for v in value
    ):
        raise UnfitError("is not a list of string numbers", _FILLED)
    return tuple(sorted(set(value), reverse=True))


def _by_string(key: str) -> Callable[[object], dict[int | str, float]]:
    """A reader of lengths by string number, or for the outer two by ``bass`` and ``treble``."""
    read = quantity_reader(key)

    def each(name: str, value: object) -> float:
        try:
            return read(value)
        except UnfitError as fault:
            shown = printable(value, 30)
            which = f"string {name}" if name.isdigit() else name
            raise UnfitError(f"{which}, {shown!r}: {fault.wrong}", fault.fix) from None

    def reader(value: object) -> dict[int | str, float]:
        if isinstance(value, list):
            raise _as_table(value)
        if not isinstance(value, dict) or not value:
            raise UnfitError(f"{kind_of(value)} is not lengths by string", _EACH)
        if set(value) == {"bass", "treble"}:
            return {name: each(name, v) for name, v in value.items()}
        return {_string_number(name): each(name, v) for name, v in value.items()}

    return reader


def _string_number(name: str) -> int:
    if not re.fullmatch("[1-9][0-9]?", name, re.ASCII) or int(name) > _MOST_STRINGS:
        raise UnfitError(f"{printable(name, 30)!r} is not a string's number", _EACH)
    return int(name)


def _as_table(values: list[object]) -> UnfitError:
    """Why a bare list is refused, and the table it would be."""
    shown = [f'"{printable(v, 20)}"' for v in values[:_MOST_STRINGS]]
    rows = ", ".join(f"{len(shown) - i} = {v}" for i, v in enumerate(shown))
    return UnfitError(
        "is a list, and nobody can see which end it begins at",
        f"if it begins with the bass, write {{ {rows} }}",
    )


def LengthsByString(key: str) -> Any:  # noqa: N802 - reads as a type
    """Lengths in mm by string number, or ``bass`` and ``treble``."""
    schema = {"type": "object", "description": _EACH, "additionalProperties": LENGTH_SCHEMA}
    return Annotated[
        dict[int | str, float],
        BeforeValidator(_by_string(key)),
        WithJsonSchema(schema),
        Wanted(_EACH),
    ]


_OnInstrument = Annotated[
    OnInstrument,
    BeforeValidator(_on_instrument),
    WithJsonSchema({"type": "string", "description": _ON_IT}),
    Wanted(_ON_IT),
]
_Filled = Annotated[
    tuple[int, ...],
    BeforeValidator(_filled),
    WithJsonSchema({"type": "array", "items": {"type": "integer"}, "description": _FILLED}),
    Wanted(_FILLED),
]
_AS_BEFORE = OnInstrument()


class ReadingsTable(FileTable):
    """Clearances of the strung instrument, and what is on it."""

    nut: _OnInstrument = Field(default=_AS_BEFORE)
    saddle: _OnInstrument = Field(default=_AS_BEFORE)
    filled: _Filled = ()
    first_fret: LengthsByString("readings.first_fret") = Field(default={})  # type: ignore[valid-type]
    third_fret: LengthsByString("readings.third_fret") = Field(default={})  # type: ignore[valid-type]
    action: LengthsByString("readings.action") = Field(default={})  # type: ignore[valid-type]
    relief: Length("readings.relief") | None = None  # type: ignore[valid-type]
    settled: Quantity("readings.settled", HOURS) | None = None  # type: ignore[valid-type]
    uncertainty: Length("readings.uncertainty") | None = None  # type: ignore[valid-type]
    strings: Literal["as before", "new"] = "as before"
    measured: Literal["once", "twice"] = "once"
    stage: Literal["rough", "final"] = "rough"
    last_refit: LastRefit = "cut"
    want_first_fret: LengthsByString("nut.first_fret") = Field(default={})  # type: ignore[valid-type]
    want_action: LengthsByString("saddle.action") = Field(default={})  # type: ignore[valid-type]


class ReadingsFile(FileTable):
    """The file."""

    readings: ReadingsTable


def load(path: str, strings: int, makes: Collection[PartName] = _WHOLE) -> Readings:
    """The readings in a file; raises InputError as `parse` does, or when it can't be read."""
    return parse(read_text(path), path, strings, makes)


def parse(text: str, path: str, strings: int, makes: Collection[PartName] = _WHOLE) -> Readings:
    """The readings in a text.

    Parameters
    ----------
    text : TOML
    path : the name the user knows it by, for messages
    strings : how many the job has
    makes : the parts that the job makes; of the other nothing need be read

    Raises
    ------
    InputError
        With every fault, each with its key path and line.
    """
    source = source_of(text, path)
    model = validated(ReadingsFile, parse_toml(text, path), source, FILE).readings
    faults = [
        *_number_faults(model, source, strings),
        *_missing_faults(model, source, strings, makes),
        *_other_part_faults(model, source, makes),
    ]
    if faults:
        raise InputError(faults)
    usual = float(table("uncertainty")["readings"]["uncertainty"])
    read = {key: _numbered(getattr(model, key), strings) for key in BY_STRING}
    for key in ("want_first_fret", "want_action"):
        read[key] = _every_string(read[key], getattr(model, key), strings)
    return Readings(
        path=path,
        nut=model.nut,
        saddle=model.saddle,
        strings=model.strings,
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


def _number_faults(model: ReadingsTable, source: Source, strings: int) -> Iterator[Fault]:
    """Strings that the job has not, targets for some strings only."""
    for key in (*BY_STRING, "filled"):
        for number in getattr(model, key):
            if isinstance(number, int) and number > strings:
                yield source.fault(
                    ("readings", key),
                    f"has string {number}, and the job has {strings} strings",
                    f"1 is the treble side's outermost, {strings} the bass side's",
                )
    for key in ("want_first_fret", "want_action"):
        given = getattr(model, key)
        if given and "bass" not in given and len(given) < strings:
            at = ("readings", key)
            yield source.fault(at, "leaves strings out", "give every string, or { bass, treble }")


def _missing_faults(
    model: ReadingsTable, source: Source, strings: int, makes: Collection[PartName]
) -> Iterator[Fault]:
    """Nothing read of a part that is made; a gap at fret 3 without the action that goes with it."""
    read = {"first_fret": model.first_fret or model.third_fret, "action": model.action}
    nothing = model.strings == "new" and not any(getattr(model, k) for k in BY_STRING)
    for part in (p for p in PARTS if p in makes and not nothing):
        if not read[_READ_OF[part]]:
            yield source.fault(("readings", _READ_OF[part]), "is missing", _EACH)
    held, action = (_numbered(v, strings) for v in (model.third_fret, model.action))
    alone = [number for number in held if number not in action]
    if alone and model.action:
        yield source.fault(
            ("readings", "third_fret"),
            f"has string {alone[0]}, and action has not: one is worked out with the other",
            "read the action of every string that was held at fret 3",
        )
    elif alone and "saddle" not in makes:
        yield source.fault(
            ("readings", "action"),
            "is missing, and what is read with the string held at fret 3 is worked out with it",
            "read the action of those strings too, or read first_fret",
        )


def _other_part_faults(
    model: ReadingsTable, source: Source, makes: Collection[PartName]
) -> Iterator[Fault]:
    """What is said of a part that the job does not make."""
    for part in (p for p in PARTS if p not in makes):
        for key in _OF_PART[part]:
            if key in model.model_fields_set and getattr(model, key) not in (_AS_BEFORE, (), {}):
                yield source.fault(
                    ("readings", key),
                    f"is of the {part}, and this job makes no {part}",
                    f"leave it out; the {part} stands as it is",
                )


def cautions(readings: Readings, makes: Collection[PartName] = _WHOLE) -> list[str]:
    """What to know before cutting to these readings."""
    least = table("uncertainty")["readings"]["least_settled"]
    found: list[str] = []
    if not readings.any_read:
        return found
    if readings.settled is None:
        found.append(f"readings: settled is not given; wait {least} h at pitch before reading")
    elif readings.settled < least:
        found.append(
            f"readings: only {readings.settled:g} h at pitch: the neck still moves; wait {least} h"
        )
    if readings.uncertainty_assumed:
        found.append(f"readings: uncertainty assumed to be {readings.uncertainty:g} mm")
    if "saddle" not in makes and readings.action:
        found.append(
            "readings: action is not needed, for this job makes no saddle; it is taken as a check "
            "of where the bridge stands"
        )
    if "nut" not in makes and (readings.first_fret or readings.third_fret):
        found.append(
            "readings: those over fret 1 are not needed, for this job makes no nut; they are taken"
            " as a check"
        )
    return found


def is_young(readings: Readings) -> bool:
    """Whether the instrument may still be moving under its strings."""
    least = float(table("uncertainty")["readings"]["least_settled"])
    return readings.settled is None or readings.settled < least
