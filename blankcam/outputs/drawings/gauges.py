"""Extra outlines to cut from card, wood or acrylic: gauges for slots and radii, a test square."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from blankcam.outputs.drawing import spread
from blankcam.parts.curve import Arc, Chain, Line, Point
from blankcam.parts.offset import offset
from blankcam.parts.part import Part
from blankcam.parts.silhouette import rectangle

# Our own choice of sizes, mm; no source.
STRIP = 16.0  # height of the slot gauge
NOTCH_HALF, NOTCH_DEEP = 0.5, 1.5  # a notch to set a scriber or a file into
BODY = 12.0  # least height of a radius gauge
LEAST_WIDTH = 45.0  # of a radius gauge
SQUARE = 20.0  # side of the test square
NUMBER = 3.4  # from a string's number to the next in a row
ROW = 2.0  # from one row of numbers to the next


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """An outline to be cut and what is marked on it; its lower left corner is the origin."""

    name: str
    chain: Chain
    marks: tuple[Chain, ...] = ()
    words: tuple[tuple[Point, str], ...] = ()
    """Middle of a baseline, text."""


def slot_gauge(nut: Part, out: float = 0.0, label: str = "nut") -> Template:
    """A strip as long as the nut with a notch and a line at every slot's centre.

    ``out``: the offset it is to be cut with. Where its notches would close up, they are left out
    and only the lines remain. ``label``: whose it is, cut to what the strip holds.
    """
    notched = _notched(nut)
    try:
        offset(notched, out)
    except ValueError:
        notched = rectangle(0.0, 0.0, nut.length, STRIP)
    low, high = STRIP / 2, STRIP - NOTCH_DEEP
    return Template(
        name="slot gauge",
        chain=notched,
        marks=tuple((Line((s.centre, low), (s.centre, high)),) for s in nut.slots),
        words=(
            *_numbers(nut, low - 2.4),
            ((nut.length / 2, 1.5), f"{label[: int(nut.length / 1.7) - 6]} slots"),
        ),
    )


def _numbers(nut: Part, base: float) -> Iterator[tuple[Point, str]]:
    """Each slot's number under its mark; every other one lower where they would leave
    their marks.
    """
    tight = any(b.centre - a.centre < NUMBER for a, b in pairwise(nut.slots))
    for first in range(2 if tight else 1):
        row = nut.slots[first :: 2 if tight else 1]
        spots = spread([s.centre for s in row], NUMBER)
        for slot, x in zip(row, spots, strict=True):
            yield (x, base - first * ROW), str(slot.string)


def _notched(nut: Part) -> Chain:
    corners: list[Point] = [(0.0, 0.0), (nut.length, 0.0), (nut.length, STRIP)]
    for slot in sorted(nut.slots, key=lambda s: -s.centre):
        at = slot.centre
        corners += [(at + NOTCH_HALF, STRIP), (at, STRIP - NOTCH_DEEP), (at - NOTCH_HALF, STRIP)]
    corners.append((0.0, STRIP))
    return tuple(Line(p, q) for p, q in zip(corners, (*corners[1:], corners[0]), strict=True))


def radius_gauges(part: str, radius: float | None, length: float) -> tuple[Template, ...]:
    """Two plates: a hollow one to lay on the part's top, a round one for a block or caul.

    None where the top is no arc (``radius`` None or infinite).
    """
    if radius is None or math.isinf(radius):
        return ()
    width = min(max(length + 6.0, LEAST_WIDTH), 1.6 * radius)
    sag = radius - math.sqrt(radius**2 - (width / 2) ** 2)
    words = ((width / 2, 2.5), f"{part} R {radius:.1f} mm")
    inches = ((width / 2, 5.5), f"{radius / 25.4:.2f} in")
    return tuple(
        Template(name=f"{part} gauge {side}", chain=_plate(width, sag, radius, hollow=hollow),
                 words=(words, inches))
        for side, hollow in (("hollow", True), ("round", False))
    )  # fmt: skip


def _plate(width: float, sag: float, radius: float, *, hollow: bool) -> Chain:
    high = BODY + sag if hollow else BODY
    rise = math.sqrt(radius**2 - (width / 2) ** 2)
    centre = (width / 2, high + rise if hollow else high - rise)
    return (
        Line((0.0, 0.0), (width, 0.0)),
        Line((width, 0.0), (width, high)),
        Arc((width, high), (0.0, high), centre, ccw=not hollow),
        Line((0.0, high), (0.0, 0.0)),
    )


def square() -> Template:
    """The test square, cut without any offset: kerf = drawn width less the width it gets."""
    return Template(
        name="test square",
        chain=rectangle(0.0, 0.0, SQUARE, SQUARE),
        words=(((SQUARE / 2, SQUARE / 2 + 0.5), "kerf test"),
               ((SQUARE / 2, SQUARE / 2 - 2.5), f"{SQUARE:.2f} mm")),
    )  # fmt: skip
