"""Whether every string rests on its part, with room outside it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from blankcam.data import table
from blankcam.faults import Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where one string crosses a part; mm."""

    string: int
    note: str
    gauge: float
    centre: float
    """From the part's left end."""


def resting_faults(
    path: str, part: str, length: float, crossings: Iterable[Crossing], *, key: str, fix: str
) -> Iterator[Fault]:
    """A fault for each string whose centre lies too near an end of its part, or beyond it."""
    for c in crossings:
        least = max(table("limits")["rest"]["least"], c.gauge)
        inside, end = min((c.centre, "left"), (length - c.centre, "right"))
        if inside < least - 1e-9:
            place = f"{inside:.2f} mm inside" if inside >= 0 else f"{-inside:.2f} mm beyond"
            yield Fault(
                where=path,
                key=key,
                wrong=f"string {c.string} ({c.note}) would cross the {part} {place} its {end} end, "
                f"and needs {least:.2f} mm",
                fix=fix,
            )
