"""The centre of an arc as a program gives it: NISTIR 6556 §3.5.3, centre format and R format."""

from __future__ import annotations

import math
from dataclasses import dataclass

from blankcam.replay.codes import Code

INCH = 25.4
TOLERANCE_MM = 0.002  # §3.5.3.2
TOLERANCE_INCH = 0.0002
WIDEST = 165.0  # degrees; §3.5.3.1: R is good up to 165 or from 195 to 345
NARROWEST = 15.0

Plane = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ArcWords:
    """An arc as its line gives it, mm in the two axes of its plane; its ends differ."""

    start: Plane
    end: Plane
    words: dict[str, float]
    """The I, J, K and R words of the line, mm."""
    names: tuple[str, str]
    """The two offset words that belong to the plane."""
    ccw: bool
    unit: float
    """mm in one unit of the program: the standard's tolerance depends on the unit."""


@dataclass(frozen=True, slots=True)
class ArcFault:
    """Why an arc has no centre."""

    code: Code
    what: str
    value: float | None = None
    limit: float | None = None


def arc_centre(asked: ArcWords) -> Plane | ArcFault:
    """The centre along the plane's axes, mm, or why there is none."""
    offsets = [k for k in "IJK" if k in asked.words]
    if "R" in asked.words:
        if offsets:
            return ArcFault(Code.ARC_FORM, "R and I J K on one line")
        return _from_radius(asked, asked.words["R"])
    if not offsets:
        return ArcFault(Code.ARC_FORM, "an arc needs its centre or its radius")
    if stray := [k for k in offsets if k not in asked.names]:
        return ArcFault(Code.ARC_FORM, f"{' '.join(stray)} does not belong in this plane")
    return _from_offsets(asked)


def _from_offsets(asked: ArcWords) -> Plane | ArcFault:
    first, second = (asked.words.get(n, 0.0) for n in asked.names)
    middle = (asked.start[0] + first, asked.start[1] + second)
    radius = math.dist(asked.start, middle)
    off = abs(radius - math.dist(asked.end, middle)) / asked.unit
    limit = TOLERANCE_INCH if asked.unit == INCH else TOLERANCE_MM
    if not off <= limit + 1e-9:
        return ArcFault(Code.ARC_RADIUS, "the arc's end is not on its circle", off, limit)
    if not radius > 0:
        return ArcFault(Code.ARC_FORM, "an arc without a radius")
    return middle


def _from_radius(asked: ArcWords, radius: float) -> Plane | ArcFault:
    """R > 0 for the arc of at most half a turn, R < 0 for the rest of the circle."""
    da, db = asked.end[0] - asked.start[0], asked.end[1] - asked.start[1]
    half = math.hypot(da, db) / 2
    if not 0 < half <= abs(radius):
        what = "the radius is too small for the arc's ends"
        return ArcFault(Code.ARC_RADIUS, what, radius, half)
    turn = 2 * math.degrees(math.asin(min(1.0, half / abs(radius))))
    if turn > WIDEST or (radius < 0 and turn < NARROWEST):
        what = "R leaves the centre uncertain near a half or a whole turn"
        return ArcFault(Code.ARC_FORM, what, turn)
    rise = math.sqrt(radius**2 - half**2)
    side = 1.0 if asked.ccw == (radius > 0) else -1.0
    return (
        asked.start[0] + da / 2 - side * rise * db / (2 * half),
        asked.start[1] + db / 2 + side * rise * da / (2 * half),
    )
