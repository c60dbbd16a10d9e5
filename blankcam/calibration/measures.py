"""What is measured on the test piece, and what each reading is made of.

A reading is what a true machine would leave, and a sum over what is not known: how much wider each
tool cuts (``wide``), how much higher its tip is (``z_offset``), the play and scale of each axis,
how thick the piece is, and a caliper's zero. All of it is linear, so that least squares find it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from blankcam.calibration.piece import DOWN, UP, Coupon, Land, Step

CALIPER, THICKNESS = "caliper", "thickness"
LONG = {"AB": "x", "CD": "y"}
"""The long distances, each from the first land's low wall to the last one's high wall."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One thing to measure on the piece."""

    table: str
    """Of coupon.toml: ``lands``, ``steps`` or ``piece``."""
    name: str
    nominal: float
    """mm that a true machine and tools as they are sold would leave."""
    shares: Mapping[str, float]
    """By how much the reading grows with each thing that is not known."""

    @property
    def key(self) -> str:
        """Its key in coupon.toml."""
        return f"{self.table}.{self.name}"


def wide(number: int) -> str:
    """The unknown of how much wider a tool cuts than it is sold."""
    return f"wide {number}"


def z_offset(number: int) -> str:
    """The unknown of how much higher a tool's tip is than reckoned."""
    return f"z_offset {number}"


def backlash(axis: str) -> str:
    """The unknown of an axis's play."""
    return f"backlash {axis}"


def scale(axis: str) -> str:
    """The unknown of an axis's scale."""
    return f"scale {axis}"


def measures_of(piece: Coupon) -> tuple[Measure, ...]:
    """Everything that is measured, in the order in which the list asks for it."""
    return (*_thickness(piece), *_lands(piece), *_steps(piece))


def _thickness(piece: Coupon) -> Iterator[Measure]:
    shares = {THICKNESS: 1.0, CALIPER: 1.0}
    yield Measure(table="piece", name="thickness", nominal=piece.height, shares=shares)


def _lands(piece: Coupon) -> Iterator[Measure]:
    for land in piece.lands:
        if land.measured:
            yield _between(land.name, land, land)
    for name in LONG:
        yield _between(name, piece.land(name[0]), piece.land(name[1]))


def _between(name: str, first: Land, last: Land) -> Measure:
    """From the low wall of one land to the high wall of another, cut by the same tool.

    The pass beside the low wall stands half the tool below it, that beside the high wall half of it
    above; a pass that its axis came to on the way down stands the play too high.
    """
    across, axis = last.high - first.low, first.axis
    late = (last.ways[1] == DOWN) - (first.ways[0] == DOWN)
    return Measure(
        table="lands",
        name=name,
        nominal=across,
        shares={
            wide(first.tool.number): -1.0,
            scale(axis): across + first.tool.diameter,
            backlash(axis): float(late),
            CALIPER: 1.0,
        },
    )


def _steps(piece: Coupon) -> Iterator[Measure]:
    """How high over the underside each step lies; a Z that came up stands the play too low."""
    for step in piece.steps:
        yield _step(piece, step)


def _step(piece: Coupon, step: Step) -> Measure:
    return Measure(
        table="steps",
        name=step.land.name,
        nominal=piece.height - step.deep + step.cusp,
        shares={
            z_offset(step.tool.number): 1.0,
            THICKNESS: 1.0,
            scale("z"): -step.deep,
            backlash("z"): -1.0 if step.way == UP else 0.0,
            CALIPER: 1.0,
        },
    )
