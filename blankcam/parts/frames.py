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
    CUT_LEFT_END = "the left end that the outline on face has cut"
    LEFT_END = "the part's left end"
    FINGERBOARD_SIDE = "a nut's fingerboard side"
    TAIL_SIDE = "a saddle's tail side"
    NUT_SIDE = "a saddle's nut side"
    SEAT_SIDE = "the seat side"
    UPPER_FACE = "the upper face"
    UNDERSIDE = "the underside"
    STOP = "a fixture's stop"
    FIRST_SEEN_SIDE = "the first blank's side that is seen from the bridge"
    FIRST_SEAT_SIDE = "the first blank's seat side"
    FLOOR = "a fixture's floor"
    WASTE_BOARD = "the waste board"
    PIECE_LEFT_END = "a test piece's left end"
    PIECE_FRONT = "a test piece's front edge"
    PIECE_TOP = "the mark on top of the test piece"


@dataclass(frozen=True, slots=True, kw_only=True)
class Zero:
    """How one axis is zeroed: which surface stands where on it."""

    axis: str
    surface: ReferenceSurface
    value: float = 0.0
    """Where the surface stands, mm."""


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
