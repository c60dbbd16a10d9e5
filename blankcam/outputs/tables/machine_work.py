"""The feeds of a plan as rows, each saying which rules set its limits."""

from __future__ import annotations

from collections.abc import Iterable

from blankcam.toolpath.moves import Program

HEADINGS = (
    "program", "operation", "tool", "rpm", "feed mm/min", "plunge mm/min", "depth mm", "width mm",
    "chip um", "teeth", "force N", "bend um", "power W", "limits",
)  # fmt: skip


def feed_rows(programs: Iterable[Program]) -> tuple[tuple[str, ...], ...]:
    """A row an operation, under ``HEADINGS``."""
    return tuple(
        (
            program.stem,
            operation.name,
            f"{operation.tool.number}: {operation.tool.shape} {operation.tool.diameter:g}",
            f"{operation.cut.rpm:.0f}",
            f"{operation.cut.feed:.0f}",
            f"{operation.cut.plunge:.0f}",
            f"{operation.cut.depth:.3f}",
            f"{operation.cut.width:.2f}",
            f"{1000 * operation.cut.chip:.1f}",
            str(operation.cut.teeth),
            f"{operation.cut.force:.2f}",
            f"{operation.cut.bend_um:.2f}",
            f"{operation.cut.power:.2f}",
            "; ".join(operation.cut.limits),
        )
        for program in programs
        for operation in program.operations
    )
