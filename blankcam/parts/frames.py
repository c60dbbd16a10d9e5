"""The frames that a blank is seen in, and a blank as a plain box in one of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

Place = tuple[float, float, float]
"""x, y and z, mm."""


class Setup(StrEnum):
    """How a blank lies while a program runs."""

    FACE = "face"
    """Its front up: Xm = x, Ym = z, Zm = -y."""
    EDGE = "edge"
    """Seat side down: the machine's axes are the part's."""


class ReferenceSurface(StrEnum):
    """What a zero is touched off on."""

    BLANK_LEFT_END = "the blank's left end"
    CUT_LEFT_END = "the left end as cut"
    LEFT_END = "the part's left end"
    FINGERBOARD_SIDE = "a nut's fingerboard side"
    TAIL_SIDE = "a saddle's tail side"
    NUT_SIDE = "a saddle's nut side"
    SEAT_SIDE = "the seat side"
    STOPPED_ENDS = "the left ends that a fixture's stop has set"
    FIRST_SEEN_SIDE = "the first blank's side that is seen from the bridge"
    FIRST_SEAT_SIDE = "the first blank's seat side"
    JAW_TOP = "the jaw top"
    WALL_TOP = "the top of a fixture's walls"
    WASTE_BOARD = "the waste board"
    PIECE_LEFT_END = "a test piece's left end"
    PIECE_FRONT = "a test piece's front edge"
    PIECE_TOP = "the mark on top of the test piece"


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """A cutter that may stand in for an edge finder, its side against a surface."""

    number: int
    """Of the tool."""
    diameter: float
    paper: float
    """Thickness of the paper between, mm."""
    tip: float
    """Z of its tip meanwhile: over what holds the blank, below what is ever cut there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zero:
    """How one axis is zeroed: which surface stands where on it.

    All are surfaces that can be reached before the first cut and again after any of them. Z is
    touched by the tip from above, X and Y by a side from the smaller values.
    """

    axis: str
    surface: ReferenceSurface
    value: float = 0.0
    """Where the surface stands, mm."""
    touch: Touch | None = None
    """Of X and Y: what may touch in place of an edge finder, if anything."""
    upper_face: float | None = None
    """Of Z, where a face is milled: where it must stand then; what glues it down may lift it."""

    def beside(self, diameter: float, paper: float = 0.0) -> float:
        """What to set the axis to while a side of that diameter touches, paper between, mm."""
        return self.value - diameter / 2 - paper


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box in the frame it is given in, mm: a blank, or what is left of it."""

    x0: float
    x1: float
    y0: float
    y1: float
    z0: float
    z1: float

    def on_face(self) -> Box:
        """The same box as the machine sees it on face: Xm = x, Ym = z, Zm = -y."""
        return Box(x0=self.x0, x1=self.x1, y0=self.z0, y1=self.z1, z0=-self.y1, z1=-self.y0)
