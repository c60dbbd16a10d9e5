"""What a key of a maker's file may hold: the types that the models of all such files are built of.

Models live at the border only; the core sees plain values. Every model is frozen and strict,
refuses keys it does not know, and takes no NaN or infinity.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, StringConstraints, WithJsonSchema

from blankcam.data import table
from blankcam.inputs.units import (
    LENGTH,
    Dimension,
    UnfitError,
    inches,
    parse_quantity,
    with_article,
)

LENGTH_SCHEMA = {
    "type": "string",
    "description": 'a length with its unit: "43.5 mm", "1 11/16 in", "0.024 in"',
    "pattern": r"^\s*[-+]?\s*[0-9.][0-9./ -]*\s*(mm|cm|m|in|inch|inches|ft|thou|\"|″)\s*$",
}

_NEXT_TO_NOTHING = 0.01
"""Such a low end of a range says no more than that a value is over 0."""


class FileTable(BaseModel):
    """The settings that all tables share; validators are built with the first file that is read."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        hide_input_in_errors=True,
        defer_build=True,
    )


@dataclass(frozen=True, slots=True)
class Wanted:
    """A mark on a type: what would do where the key is missing or holds something else."""

    fix: str


def sane(key: str) -> tuple[float, float]:
    """The believable range of a key such as ``nut.tilt``, from data/sane.toml."""
    where, name = key.split(".")
    low, high = table("sane")[where][name]
    return float(low), float(high)


def quantity_reader(key: str, dimension: Dimension = LENGTH) -> Callable[[object], float]:
    """A reader of one quantity, bounded as data/sane.toml says; raises UnfitError."""
    low, high = sane(key)

    def read(value: object) -> float:
        if not isinstance(value, str):
            wrong = f"{kind_of(value)} is not {with_article(dimension.name)}"
            raise UnfitError(wrong, dimension.fix)
        number = parse_quantity(value, dimension)
        if not low <= number <= high:
            wrong = f"is {number:.6g} {dimension.unit}, not believable here"
            raise UnfitError(wrong, f"expected {_span(number, low, high, dimension)}")
        return number

    return read


def _span(number: float, low: float, high: float, dimension: Dimension) -> str:
    """What a number outside a range should be.

    Where the low end only says that a value is over 0, the end that it misses is told alone.
    """
    if 0 < low < _NEXT_TO_NOTHING:
        words, end = ("at least", low) if number < low else ("at most", high)
        return f"{words} {end:g} {dimension.unit}"
    span = f"{low:g} to {high:g} {dimension.unit}"
    return f"{span} ({inches(low, 3)} to {inches(high, 3)} in)" if dimension is LENGTH else span


def kind_of(value: object) -> str:
    """What a TOML value is, as makers say it."""
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, int | float):
        return "a bare number"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, str):
        return "one text"
    return "a table" if isinstance(value, dict) else "a date or time"


def Quantity(key: str, dimension: Dimension = LENGTH) -> Any:  # noqa: N802 - reads as a type
    """A quantity in the program's own unit, bounded by the key's entry in data/sane.toml."""
    schema = LENGTH_SCHEMA if dimension is LENGTH else {"type": "string"}
    return Annotated[
        float,
        BeforeValidator(quantity_reader(key, dimension)),
        WithJsonSchema({"description": dimension.fix} | schema),
        Wanted(dimension.fix),
    ]


def Length(key: str) -> Any:  # noqa: N802
    """A length in mm, bounded by the key's entry in data/sane.toml."""
    return Quantity(key)


def LengthOr(word: str, key: str) -> Any:  # noqa: N802
    """A length in mm, bounded as ``Length`` is, or one word in its place."""
    read_length = quantity_reader(key)

    def read(value: object) -> float | str:
        if value == word:
            return word
        try:
            return read_length(value)
        except UnfitError as unfit:
            raise UnfitError(unfit.wrong, f'{unfit.fix}; or "{word}"') from None

    fix = f'{LENGTH.fix}, or "{word}"'
    return Annotated[
        float | Literal[word],
        BeforeValidator(read),
        WithJsonSchema({"description": fix, "anyOf": [{"const": word}, LENGTH_SCHEMA]}),
        Wanted(fix),
    ]


def Whole(low: int, high: int) -> Any:  # noqa: N802
    """A whole number between two others."""

    def read(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise UnfitError("is not a whole number", f"write a number from {low} to {high}")
        if not low <= value <= high:
            raise UnfitError(f"is not between {low} and {high}")
        return value

    return Annotated[
        int,
        BeforeValidator(read),
        WithJsonSchema({"type": "integer", "minimum": low, "maximum": high}),
        Wanted(f"write a number from {low} to {high}"),
    ]


def Matching(pattern: str, wrong: str, fix: str) -> Any:  # noqa: N802
    """A text that matches a pattern as a whole."""

    def read(value: object) -> str:
        if not isinstance(value, str) or not re.fullmatch(pattern, value, re.ASCII):
            raise UnfitError(wrong, fix)
        return value

    return Annotated[
        str,
        BeforeValidator(read),
        WithJsonSchema({"type": "string", "pattern": f"^{pattern}$", "description": fix}),
        Wanted(fix),
    ]


def Text(most: int) -> Any:  # noqa: N802
    """A text of one character to so many."""
    return Annotated[str, StringConstraints(min_length=1, max_length=most)]
