"""What each key of a job file may hold."""

import math
import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from blankcam.faults import printable
from blankcam.inputs import job
from blankcam.inputs.fields import (
    LENGTH_SCHEMA,
    FileTable,
    Length,
    LengthOr,
    Matching,
    Quantity,
    Text,
    Whole,
    quantity_reader,
    sane,
)
from blankcam.inputs.units import ANGLE, UNIT_WEIGHT, UnfitError

_SIDES = {"bass": "treble", "treble": "bass"}
"""Each side's other, the bass first."""


def per_string(read: Callable[[object], float]) -> Callable[[object], job.PerString]:
    """A reader of ``one value``, ``{ bass, treble }`` or a table with one value a string number."""

    def each(table: dict[str, object], key: str) -> float:
        try:
            return read(table[key])
        except ValueError as fault:
            raise ValueError(f"{key} {printable(table[key], 30)!r}: {fault}") from None

    def reader(value: object) -> job.PerString:
        if isinstance(value, dict) and set(value) == {"bass", "treble"}:
            return job.Graded(bass=each(value, "bass"), treble=each(value, "treble"))
        if isinstance(value, dict):
            return tuple(each(value, key) for key in _by_number(value))
        if isinstance(value, list):
            wrong = "a bare list does not say which end it begins at"
            raise UnfitError(wrong, f"from the bass side it would be {_as_table(value)}")
        one = read(value)
        return job.Graded(bass=one, treble=one)

    return reader


def _by_number(value: dict[str, object]) -> list[str]:
    """The keys of a table by string number from the bass side, the highest number first."""
    fix = "write { bass = .., treble = .. }, or each string's number from 1, the treble's, on"
    if len(value) == 1 and (side := min(value)) in _SIDES:
        raise UnfitError(f"has no {_SIDES[side]}", fix)
    if not value or not all(re.fullmatch("[1-9][0-9]?", k, re.ASCII) for k in value):
        raise UnfitError("is neither by side nor by string number", fix)
    numbers = sorted(map(int, value), reverse=True)
    if left_out := set(range(1, numbers[0])) - set(numbers):
        raise UnfitError(f"leaves out string {max(left_out)}", fix)
    return [str(n) for n in numbers]


def _as_table(values: list[object]) -> str:
    """A list from the bass side as the table that it would be: of two by side, else by number."""
    count = len(values)
    names = list(_SIDES) if count == len(_SIDES) else range(count, 0, -1)
    pairs = (f"{name} = {_toml(v)}" for name, v in zip(names, values, strict=True))
    return f"{{ {', '.join(pairs)} }}"


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def ends(read: Callable[[object], float]) -> Callable[[object], job.Graded]:
    """A reader of one value or ``{ bass, treble }``, for what has no value for each string."""
    either = per_string(read)

    def reader(value: object) -> job.Graded:
        by_side = not isinstance(value, dict) or set(value) == {"bass", "treble"}
        if isinstance(value, list) or not by_side:
            raise ValueError("expected one length, or { bass = ..., treble = ... }")
        found = either(value)
        assert isinstance(found, job.Graded)
        return found

    return reader


def _exposure(value: object) -> float:
    low, high = sane("nut.exposure")
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise ValueError(f"expected a fraction of the gauge from {low:g} to {high:g}")
    return float(value)


def _radius(value: object) -> job.Radius:
    read = quantity_reader("board.radius")
    if value == "flat":
        return job.Radius(nut=math.inf, end=math.inf, end_at=1.0)
    if isinstance(value, dict):
        if set(value) != {"nut", "end", "end_at"}:
            raise ValueError("expected { nut = ..., end = ..., end_at = ... }")
        end_at = quantity_reader("board.end_at")(value["end_at"])
        return job.Radius(nut=read(value["nut"]), end=read(value["end"]), end_at=end_at)
    radius = read(value)
    return job.Radius(nut=radius, end=radius, end_at=1.0)


def _compensation(key: str, words: tuple[str, ...]) -> Callable[[object], str | job.PerString]:
    read = per_string(quantity_reader(key))
    choices = " or ".join(f'"{w}"' for w in words)

    def reader(value: object) -> str | job.PerString:
        if isinstance(value, str) and not any(c.isdigit() for c in value):
            if value in words:
                return value
            raise ValueError(f"expected {choices}, one length, or a length for each string number")
        return read(value)

    return reader


def _numbered(one: dict[str, Any]) -> dict[str, Any]:
    """The schema of a table with a value a string number."""
    return {
        "type": "object",
        "patternProperties": {"^[1-9][0-9]?$": one},
        "additionalProperties": False,
        "minProperties": 1,
    }


_ONE_OR_ENDS = [
    LENGTH_SCHEMA,
    {
        "type": "object",
        "properties": {"bass": LENGTH_SCHEMA, "treble": LENGTH_SCHEMA},
        "required": ["bass", "treble"],
        "additionalProperties": False,
    },
]
_ONE_OR_EACH = [*_ONE_OR_ENDS, _numbered(LENGTH_SCHEMA)]


def Lengths(key: str) -> Any:  # noqa: N802
    """A length for every string."""
    return Annotated[
        job.Graded | tuple[float, ...],
        BeforeValidator(per_string(quantity_reader(key))),
        WithJsonSchema({"anyOf": _ONE_OR_EACH}),
    ]


def Ends(key: str) -> Any:  # noqa: N802
    """A length at the bass and one at the treble end; one alone is both."""
    return Annotated[
        job.Graded,
        BeforeValidator(ends(quantity_reader(key))),
        WithJsonSchema({"anyOf": _ONE_OR_ENDS}),
    ]


def Compensation(key: str, *words: str) -> Any:  # noqa: N802
    """Lengths for every string, or one of the words."""
    return Annotated[
        str | job.Graded | tuple[float, ...],
        BeforeValidator(_compensation(key, words)),
        WithJsonSchema({"anyOf": [{"enum": list(words)}, *_ONE_OR_EACH]}),
    ]


_FRACTION = {"type": "number", "minimum": -1, "maximum": 1}
Exposure = Annotated[
    job.Graded | tuple[float, ...],
    BeforeValidator(per_string(_exposure)),
    WithJsonSchema(
        {
            "anyOf": [
                _FRACTION,
                {
                    "type": "object",
                    "properties": {"bass": _FRACTION, "treble": _FRACTION},
                    "required": ["bass", "treble"],
                    "additionalProperties": False,
                },
                _numbered(_FRACTION),
            ]
        }
    ),
]
BoardRadius = Annotated[
    job.Radius,
    BeforeValidator(_radius),
    WithJsonSchema(
        {
            "anyOf": [
                {"const": "flat"},
                LENGTH_SCHEMA,
                {
                    "type": "object",
                    "properties": dict.fromkeys(("nut", "end", "end_at"), LENGTH_SCHEMA),
                    "required": ["nut", "end", "end_at"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


Note = Matching(
    "[A-Ga-g](#|b|♯|♭)?[0-8]",
    "is not a note",
    'write a letter, # or b, and the octave, such as "E2" or "Bb3"',
)


class InstrumentTable(FileTable):
    """What instrument it is."""

    name: Text(200)  # type: ignore[valid-type]
    kind: Literal[job.KINDS]  # type: ignore[valid-type]
    scale: Length("instrument.scale")  # type: ignore[valid-type]
    handed: Literal["right", "left"]
    finger: Length("instrument.finger")  # type: ignore[valid-type]


class BoardTable(FileTable):
    """The fretboard as measured."""

    width_at_nut: Length("board.width_at_nut")  # type: ignore[valid-type]
    radius: BoardRadius
    fret_height: Length("board.fret_height")  # type: ignore[valid-type]
    relief: Length("board.relief")  # type: ignore[valid-type]
    body_fret: Whole(5, 30)  # type: ignore[valid-type]


class StringTable(FileTable):
    """One string; 1 is the treble side's outermost."""

    number: Whole(1, 24)  # type: ignore[valid-type]
    note: Note  # type: ignore[valid-type]
    gauge: Length("string.gauge")  # type: ignore[valid-type]
    make: Literal[job.MAKES]  # type: ignore[valid-type]
    unit_weight: Quantity("string.unit_weight", UNIT_WEIGHT) | None = None  # type: ignore[valid-type]
    stiffness: float | None = Field(default=None, ge=1, le=2000)
    course: Whole(1, 24) | None = None  # type: ignore[valid-type]


class NutTable(FileTable):
    """The nut's seat and what is wanted of the nut."""

    seat_width: Length("nut.seat_width")  # type: ignore[valid-type]
    seat_drop: Length("nut.seat_drop") | None = None  # type: ignore[valid-type]
    marked_line: Ends("nut.marked_line") | None = None  # type: ignore[valid-type]
    pencil: Length("nut.pencil")  # type: ignore[valid-type]
    margin_bass: Length("nut.margin")  # type: ignore[valid-type]
    margin_treble: Length("nut.margin")  # type: ignore[valid-type]
    margin_to: Literal["centre", "edge"]
    spacing: Literal["equal gaps", "equal centres"]
    course_gap: Length("nut.course_gap")  # type: ignore[valid-type]
    tilt: Quantity("nut.tilt", ANGLE)  # type: ignore[valid-type]
    first_fret: Lengths("nut.first_fret") | None = None  # type: ignore[valid-type]
    third_fret: Lengths("nut.third_fret") | None = None  # type: ignore[valid-type]
    lift: Lengths("nut.lift") | None = None  # type: ignore[valid-type]
    clearance: Length("nut.clearance")  # type: ignore[valid-type]
    exposure: Exposure
    allowance: Length("nut.allowance")  # type: ignore[valid-type]
    hold_back: Length("nut.hold_back")  # type: ignore[valid-type]
    compensation: Compensation("nut.compensation", "none", "computed")  # type: ignore[valid-type]


class SaddleTable(FileTable):
    """The saddle's slot, the strings over it and what is wanted of the saddle."""

    slot_width: Length("saddle.slot_width")  # type: ignore[valid-type]
    slot_length: Length("saddle.slot_length")  # type: ignore[valid-type]
    slot_depth: Length("saddle.slot_depth")  # type: ignore[valid-type]
    slot_ends: Literal["round", "square"]
    front_at: Ends("saddle.front_at")  # type: ignore[valid-type]
    string_span: Length("saddle.string_span")  # type: ignore[valid-type]
    spacing: Literal["equal gaps", "equal centres"]
    course_gap: Length("nut.course_gap")  # type: ignore[valid-type]
    fret_line: Length("saddle.fret_line")  # type: ignore[valid-type]
    action: Lengths("saddle.action")  # type: ignore[valid-type]
    top: Literal["board radius", "per string"]
    compensation: Compensation("saddle.compensation", "computed", "none")  # type: ignore[valid-type]
    crown_radius: Length("saddle.crown_radius") | None = None  # type: ignore[valid-type]
    allowance: Length("saddle.allowance")  # type: ignore[valid-type]
    end_clearance: Length("saddle.end_clearance")  # type: ignore[valid-type]
    tie_height: Length("saddle.tie_height") | None = None  # type: ignore[valid-type]
    tie_run: Length("saddle.tie_run") | None = None  # type: ignore[valid-type]


class BlankTable(FileTable):
    """One blank as measured."""

    length: Length("blank.length")  # type: ignore[valid-type]
    height: Length("blank.height")  # type: ignore[valid-type]
    thickness: Length("blank.thickness")  # type: ignore[valid-type]


class BlanksTable(FileTable):
    """What the parts are cut from; a part without a blank is not made."""

    material: Literal[job.MATERIALS]  # type: ignore[valid-type]
    fit: Literal["sliding", "snug", "hand"]
    nut: BlankTable | None = None
    saddle: BlankTable | None = None


class PlanTable(FileTable):
    """Which operations the machine does and which the hand."""

    machine: Text(300)  # type: ignore[valid-type]
    outline: Literal["mill", "saw"]
    thickness: Literal["mill", "hand"]
    top: Literal["mill", "hand"]
    crown: Literal["mill", "hand"]
    ends: Literal["mill", "hand"]
    slots: Literal["mill", "file"]


class HeldPartTable(FileTable):
    """How one part's blank is held, where it is not as the machine profile says."""

    kind: Literal["vice", "fixture", "carrier", "tape"] | None = None
    jaw_top: LengthOr("auto", "holding.jaw_top") | None = None  # type: ignore[valid-type]
    jaw_length: Length("holding.jaw_length") | None = None  # type: ignore[valid-type]
    face: Literal["carrier", "tape", "clamps", "fixture"] | None = None
    face_top: Length("holding.face_top") | None = None  # type: ignore[valid-type]
    clamp_reach: Length("holding.clamp") | None = None  # type: ignore[valid-type]
    clamp_width: Length("holding.clamp") | None = None  # type: ignore[valid-type]
    clamp_height: Length("holding.clamp") | None = None  # type: ignore[valid-type]


class JobHoldingTable(HeldPartTable):
    """How blanks are held; what is said of one part counts before what is said of both."""

    nut: HeldPartTable = HeldPartTable.model_construct()
    saddle: HeldPartTable = HeldPartTable.model_construct()


_Spread = Annotated[
    float, BeforeValidator(quantity_reader("uncertainty.length")), WithJsonSchema(LENGTH_SCHEMA)
]


class UncertaintyTable(FileTable):
    """Standard deviations of what was measured, where they are not the typical ones."""

    board: _Spread | None = None
    seat: _Spread | None = None
    fret_height: _Spread | None = None
    relief: _Spread | None = None
    fret_line: _Spread | None = None
    front_at: _Spread | None = None
    movement: _Spread | None = None
    gauge: _Spread | None = None
    tool: _Spread | None = None
    machine: _Spread | None = None


class JobFile(FileTable):
    """A job for blankcam: one instrument's nut and saddle."""

    instrument: InstrumentTable
    board: BoardTable
    strings: list[StringTable] = Field(min_length=2, max_length=24)
    nut: NutTable
    saddle: SaddleTable
    blanks: BlanksTable
    plan: PlanTable
    holding: JobHoldingTable = JobHoldingTable.model_construct()
    uncertainty: UncertaintyTable = UncertaintyTable.model_construct()
