"""Numbers as text: their decimals, their sign, inches beside millimetres, pounds beside newtons."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from blankcam.inputs.units import Units
from blankcam.outputs.rows import Column, Table, Value, bare, decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class Imperial:
    """The unit that makers know beside a metric one."""

    unit: str
    size: float
    """How many of the metric unit it is."""
    decimals: int
    """How many decimals more than the metric number it is written with."""


IMPERIAL = {
    "mm": Imperial(unit="in", size=25.4, decimals=1),  # exact, by definition
    "N": Imperial(unit="lb", size=4.4482216152605, decimals=0),  # exact, by definition
}


def number(value: float, places: int, *, signed: bool = False) -> str:
    """A number with its decimals, never ``-0``."""
    return f"{value:{'+' if signed else ''}z.{places}f}"


def both(mm: float, places: int = 2) -> str:
    """Millimetres with inches in brackets."""
    return measure(mm, "mm", places, "both")


def measure(value: float, unit: str, places: int, units: Units, *, signed: bool = False) -> str:
    """A measure in the units asked for, the unit itself not written."""
    other = IMPERIAL.get(unit)
    metric = number(value, places, signed=signed)
    if other is None or units == "mm":
        return metric
    imperial = number(value / other.size, places + other.decimals, signed=signed)
    return imperial if units == "in" else f"{metric} ({imperial})"


def unit_words(unit: str, units: Units) -> str:
    """How a column's unit is written over numbers in the units asked for."""
    other = IMPERIAL.get(unit)
    if other is None or units == "mm":
        return unit
    return other.unit if units == "in" else f"{unit} ({other.unit})"


def about_minutes(seconds: float) -> str:
    """How long something takes, as told to someone who waits beside it."""
    return f"about {seconds / 60:.0f} min" if round(seconds / 60) else "under 1 min"


def off_by(low_um: float, high_um: float) -> str:
    """How far a part is off what it should be at most, micrometres."""
    return f"nowhere more than {low_um:.1f} um too low or {high_um:.1f} um too high"


def cell(column: Column, value: Value, units: Units = "both") -> str:
    """A cell as text; nothing where there is no value."""
    given = bare(value)
    if given is None or isinstance(given, str):
        return given or ""
    return measure(given, column.unit, decimals(column, value), units, signed=column.signed)


def heading(column: Column, units: Units = "both") -> str:
    """A column's title with its unit."""
    return f"{column.title} {unit_words(column.unit, units)}".strip()


def cells(table: Table, units: Units = "both") -> Iterator[tuple[str, ...]]:
    """Every row of a table as text."""
    for row in table.rows:
        yield tuple(cell(c, v, units) for c, v in zip(table.columns, row, strict=True))
