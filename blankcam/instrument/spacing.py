"""Where strings lie across the nut and the saddle.

Strings fretted as one (a course) space as a unit. Centres come back in the order given.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby


def centres(
    gauges: Sequence[float],
    courses: Sequence[int],
    first: float,
    last: float,
    *,
    rule: str,
    course_gap: float,
) -> tuple[float, ...]:
    """Centres between the outer two strings' centres.

    Parameters
    ----------
    gauges : a diameter a string, mm
    courses : the course each string belongs to, equal for neighbours fretted as one
    first, last : centres of the outer strings, mm
    rule : ``equal gaps`` (the clear distance between neighbouring units is the same) or
        ``equal centres`` (the middles of the units are equally far apart)
    course_gap : clear distance between the strings of a course, mm
    """
    units = [
        [gauges[i] for i, _ in members]
        for _, members in groupby(enumerate(courses), key=lambda pair: pair[1])
    ]
    inside = [_offsets(unit, course_gap) for unit in units]
    if len(units) == 1:
        return tuple(first + o - inside[0][0] for o in inside[0])
    if rule == "equal centres":
        return _equal_centres(units, inside, first, last)
    widths = [sum(unit) + course_gap * (len(unit) - 1) for unit in units]
    spread = last - first + units[0][0] / 2 + units[-1][-1] / 2
    gap = (spread - sum(widths)) / (len(units) - 1)
    edge = first - units[0][0] / 2
    places: list[float] = []
    for width, offsets in zip(widths, inside, strict=True):
        places += [edge + o for o in offsets]
        edge += width + gap
    return tuple(places)


def _offsets(unit: Sequence[float], gap: float) -> list[float]:
    """Centres of a unit's strings from its left edge."""
    edge, places = 0.0, []
    for gauge in unit:
        places.append(edge + gauge / 2)
        edge += gauge + gap
    return places


def _equal_centres(
    units: Sequence[Sequence[float]],
    inside: Sequence[Sequence[float]],
    first: float,
    last: float,
) -> tuple[float, ...]:
    """Middles of the units' outer strings, equally spaced."""
    middles = [(o[0] + o[-1]) / 2 for o in inside]
    start = first + middles[0] - inside[0][0]
    end = last + middles[-1] - inside[-1][-1]
    pitch = (end - start) / (len(units) - 1)
    return tuple(
        start + n * pitch + o - middle
        for n, (offsets, middle) in enumerate(zip(inside, middles, strict=True))
        for o in offsets
    )


def graded(bass: float, treble: float, places: Sequence[float]) -> tuple[float, ...]:
    """Values that go linearly from the first place to the last."""
    span = places[-1] - places[0]
    return tuple(bass + (treble - bass) * (p - places[0]) / span for p in places)
