"""What a table is, whichever file it goes into: columns that say what they hold, and rows of
values.

Values are plain numbers in the column's own unit; how many decimals are shown, and whether inches
stand beside millimetres, is settled where a table is rendered. Nothing here knows the trade.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number that is shown with other decimals than its column's."""

    value: float
    decimals: int


Value = float | str | Figure | None
"""A number, words, or None where there is nothing to say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: the key it has in records, its heading, and how its numbers are shown."""

    key: str
    title: str
    unit: str = ""
    """``mm``, ``N``, ``deg`` and so on; empty for words and bare numbers."""
    decimals: int = 0
    signed: bool = False
    """Whether a plus sign is written too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of values under columns."""

    key: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Value, ...], ...]

    def pick(self, *keys: str) -> Table:
        """The table with these columns only, in this order; KeyError for one it lacks."""
        place = {c.key: i for i, c in enumerate(self.columns)}
        chosen = [place[k] for k in keys]
        return replace(
            self,
            columns=tuple(self.columns[i] for i in chosen),
            rows=tuple(tuple(row[i] for i in chosen) for row in self.rows),
        )

    def extended(self, column: Column, values: Iterable[Value]) -> Table:
        """The table with one more column at its end, a value a row."""
        rows = tuple((*row, v) for row, v in zip(self.rows, values, strict=True))
        return replace(self, columns=(*self.columns, column), rows=rows)

    def shown_to(self, **decimals: int) -> Table:
        """The table with other decimals for some of its columns, by their keys."""
        columns = (replace(c, decimals=decimals.get(c.key, c.decimals)) for c in self.columns)
        return replace(self, columns=tuple(columns))

    def records(self) -> list[dict[str, Any]]:
        """Each row as values by the columns' keys."""
        keys = [c.key for c in self.columns]
        return [dict(zip(keys, map(bare, row), strict=True)) for row in self.rows]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading, a table and what is to be said under it."""

    title: str
    table: Table | None = None
    notes: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    """Work in the order in which it is done; numbered where the format can."""
    verbatim: bool = False
    """Whether its notes are to be typed or copied, so that their lines are never broken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field(Generic[T]):
    """A column and where its value comes from."""

    column: Column
    value: Callable[[T], Value]


def tabulate(key: str, fields: Iterable[Field[T]], items: Iterable[T]) -> Table:
    """A table of one row an item."""
    fields = tuple(fields)
    return Table(
        key=key,
        columns=tuple(f.column for f in fields),
        rows=tuple(tuple(f.value(item) for f in fields) for item in items),
    )


def field(
    key: str,
    title: str,
    value: Callable[[T], Value],
    unit: str = "",
    decimals: int = 0,
    *,
    signed: bool = False,
) -> Field[T]:
    """A field written on one line; a length has two decimals where none are given."""
    if unit == "mm" and not decimals:
        decimals = 2
    column = Column(key=key, title=title, unit=unit, decimals=decimals, signed=signed)
    return Field(column=column, value=value)


def bare(value: Value) -> float | str | None:
    """The value itself, without how it is shown."""
    return value.value if isinstance(value, Figure) else value


def decimals(column: Column, value: Value) -> int:
    """How many decimals a value is shown with."""
    return value.decimals if isinstance(value, Figure) else column.decimals
