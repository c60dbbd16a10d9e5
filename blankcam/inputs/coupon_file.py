"""What was measured on a test piece: coupon.toml, with the values filled in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, WithJsonSchema

from blankcam.inputs.border import FileKind, Source, parse_toml, read_text, source_of, validated
from blankcam.inputs.fields import LENGTH_SCHEMA, FileTable, Length, Wanted, Whole, quantity_reader
from blankcam.inputs.machine_schema import Day, ShortText
from blankcam.inputs.units import UnfitError

FILE = FileKind(name="a file of what was measured on a test piece")
MOST = 10
"""Readings of one thing."""
_FIX = 'write "3.02 mm", or several readings: ["3.02 mm", "3.01 mm"]'


def _read_once_or_more(value: object) -> tuple[float, ...]:
    """One reading or several, mm; raises UnfitError."""
    if isinstance(value, list) and not 1 <= len(value) <= MOST:
        raise UnfitError(f"is not 1 to {MOST} readings", _FIX)
    read = quantity_reader("coupon.reading")
    return tuple(map(read, value)) if isinstance(value, list) else (read(value),)


_ONE_OR_MORE = {"anyOf": [LENGTH_SCHEMA, {"type": "array", "items": LENGTH_SCHEMA}]}
Reading = Annotated[
    tuple[float, ...],
    BeforeValidator(_read_once_or_more),
    WithJsonSchema({"description": _FIX} | _ONE_OR_MORE),
    Wanted(_FIX),
]
Each = Annotated[dict[ShortText, Reading], Field(max_length=100), Wanted(_FIX)]


class PieceTable(FileTable):
    """The ``[piece]`` table."""

    thickness: Reading | None = None


class CouponFile(FileTable):
    """What was measured on a test piece for blankcam."""

    measured: Day
    machine: ShortText | None = None
    piece_digest: ShortText | None = None
    tools: Annotated[list[Whole(1, 255)], Field(max_length=200)] | None = None  # type: ignore[valid-type]
    caliper: Length("coupon.caliper") | None = None  # type: ignore[valid-type]
    twice: Annotated[list[ShortText], Field(max_length=100)] | None = None
    piece: PieceTable = PieceTable.model_construct()
    lands: Each | None = None
    steps: Each | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured, mm."""

    source: Source
    """For faults."""
    day: str
    machine: str | None
    """The name of the machine that it says it was cut on."""
    piece_digest: str | None
    tools: tuple[int, ...]
    """Numbers of those that the piece was made for; empty for all."""
    good_to: float | None
    """What the caliper is good to."""
    twice: tuple[str, ...]
    """Keys of what was measured again and is right."""
    readings: Mapping[str, tuple[float, ...]]
    """By key, such as ``lands.A``."""


def read_measured(path: str) -> Measured:
    """What a file says was measured.

    Raises
    ------
    InputError
        With every fault found.
    """
    text = read_text(path, fix="coupon --machine NAME writes one to fill in")
    return parse_measured(text, path)


def parse_measured(text: str, where: str) -> Measured:
    """What a text says was measured; ``where`` names it in faults. Raises InputError."""
    source = source_of(text, where)
    model = validated(CouponFile, parse_toml(text, where), source, FILE)
    thick: Any = {} if model.piece.thickness is None else {"thickness": model.piece.thickness}
    tables = {"piece": thick, "lands": model.lands or {}, "steps": model.steps or {}}
    return Measured(
        source=source,
        day=model.measured,
        machine=model.machine,
        piece_digest=model.piece_digest,
        tools=tuple(model.tools or ()),
        good_to=model.caliper,
        twice=tuple(model.twice or ()),
        readings={f"{t}.{k}": v for t, each in tables.items() for k, v in each.items()},
    )
