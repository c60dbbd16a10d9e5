"""A probing program judged: from every place its probe may start at it touches what it should.

Its text is read here, by rules of its own, and run against boxes: what holds the blank, and the
blank. A rapid must touch nothing; a probing move must meet the right box within its travel, slowly
enough; each value set must be where that place really is. Only lines that such a program needs are
known; any other is a fault.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from blankcam.replay.limits import Obstacle

INCH = 25.4
CLOSE = 0.002
"""mm by which a value that is set may miss the place it is set at: what printing rounds."""
HEIGHT = 60.0
"""mm of probe and holder over the tip that must not touch anything either."""
_WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")
_WORDS = re.compile(rf"(?:{_WORD.pattern})+")
_LINE_NUMBER = re.compile(r"^N\d+")
_COMMENT = re.compile(r"\([^()]*\)|;.*")
_AXES = "XYZ"
_SILENT = {"G17", "G90", "G91", "G94", "G40", "G49", "G54", "G21", "G20", "M5", "M9", "M30"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """What a probing program is to find, in the frame that the zeros are to give."""

    boxes: Mapping[str, Obstacle]
    """What stands there, by the axis that is to be found on it; others by other names."""
    radius: float
    """Of the probe, mm."""
    fastest: float
    """mm/min that it may touch at."""
    starts: Sequence[tuple[float, float, float]]
    """Places of its tip that it may be started at."""


def faults(program: str, touched: Touched) -> tuple[str, ...]:
    """What is wrong with a probing program, each once; empty where it may be run."""
    lines = [_bare(line) for line in program.splitlines()]
    found = (w for start in touched.starts for w in _Run(touched, list(start)).of(lines))
    return tuple(dict.fromkeys(found))


def _bare(line: str) -> str:
    """A line's words without comments, spaces and number, in capitals."""
    return _LINE_NUMBER.sub("", re.sub(r"\s", "", _COMMENT.sub("", line)).upper())


@dataclass(slots=True)
class _Run:
    """One run from one start."""

    touched: Touched
    at: list[float]
    """Where the tip really is, in the frame that the zeros are to give."""
    shown: dict[str, float] = field(default_factory=dict)
    """What is added to a place to give what the controller shows, of each axis that is set."""
    steps: bool = False
    scale: float = 1.0
    met: str = ""
    still: bool = False
    """Whether the spindle was stopped by the program itself."""

    def of(self, lines: Sequence[str]) -> Iterator[str]:
        for line in lines:
            if line:
                wrong = self._line(line)
                if wrong:
                    yield f"{line}: {wrong}"
                    return
        for axis in _AXES:
            if axis not in self.shown:
                yield f"{axis} is not set"

    def _line(self, line: str) -> str:
        if not _WORDS.fullmatch(line):
            return "can't be read"
        words = _WORD.findall(line)
        codes = [f"{a}{float(b):g}" for a, b in words if a in "GM"]
        values = {a: float(b) for a, b in words if a not in "GM"}
        self.scale = INCH if "G20" in codes else self.scale
        self.still = self.still or "M5" in codes
        self.steps = ("G91" in codes) or (self.steps and "G90" not in codes)
        if all(c in _SILENT for c in codes) and not values:
            return ""
        moves = [a for a in _AXES if a in values]
        if codes == ["G10"] and values.get("L") == 20 and values.get("P") == 1 and len(moves) == 1:
            return self._set(moves[0], values[moves[0]] * self.scale)
        if codes not in (["G0"], ["G38.2"]) or len(moves) != 1:
            return "is not known in a probing program"
        if not self.still:
            return "moves before M5: the spindle may still turn"
        to = self._target(moves[0], values[moves[0]] * self.scale)
        if to is None:
            return f"goes to a place of {moves[0]} that is not set yet"
        if codes == ["G0"]:
            hit = self._first(moves[0], to)
            self.at[_AXES.index(moves[0])] = to
            return f"a rapid meets {hit[1]}" if hit else ""
        return self._probe(moves[0], to, values.get("F", 0.0) * self.scale)

    def _target(self, axis: str, value: float) -> float | None:
        if self.steps:
            return self.at[_AXES.index(axis)] + value
        return value - self.shown[axis] if axis in self.shown else None

    def _set(self, axis: str, value: float) -> str:
        if self.met != axis:
            return f"sets {axis} where it was not touched"
        here = self.at[_AXES.index(axis)]
        self.shown[axis] = value - here
        wrong = abs(value - here)
        return f"sets {axis} {wrong:.3f} mm off" if wrong > CLOSE else ""

    def _probe(self, axis: str, to: float, feed: float) -> str:
        if not 0 < feed <= self.touched.fastest:
            return f"touches at {feed:g} mm/min, over {self.touched.fastest:g}"
        hit = self._first(axis, to)
        if hit is None:
            return "meets nothing within its travel"
        where, name = hit
        self.at[_AXES.index(axis)] = where
        self.met = axis
        return "" if name == self.touched.boxes[axis].name else f"meets {name} first"

    def _first(self, axis: str, to: float) -> tuple[float, str] | None:
        """Where the probe meets a box first on its way along an axis, and which."""
        i = _AXES.index(axis)
        start, way = self.at[i], 1.0 if to > self.at[i] else -1.0
        hits = []
        for box in self.touched.boxes.values():
            low, high = self._grown(box)
            if any(not low[k] < self.at[k] < high[k] for k in range(3) if k != i):
                continue
            edge = low[i] if way > 0 else high[i]
            beyond = high[i] if way > 0 else low[i]
            # It begins inside, or comes to the near side before it ends
            if (start - edge) * way >= 0 and (start - beyond) * way < 0 and start != edge:
                hits.append((start, box.name))
            elif (start - edge) * way <= 0 < (to - edge) * way:
                hits.append((edge, box.name))
        wanted = self.touched.boxes[axis].name
        return min(hits, key=lambda h: (abs(h[0] - start), h[1] != wanted), default=None)

    def _grown(self, box: Obstacle) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """A box as the tip of the probe, an upright cylinder, is kept out of it."""
        r = self.touched.radius
        low = (box.low[0] - r, box.low[1] - r, box.low[2] - HEIGHT)
        return low, (box.high[0] + r, box.high[1] + r, box.high[2])


def corners(
    middle: tuple[float, float, float], off: float
) -> tuple[tuple[float, float, float], ...]:
    """A place, and the eight corners of the box that lies ``off`` mm around it."""
    ways = itertools.product((-off, off), repeat=3)
    x, y, z = middle
    return (middle, *((x + a, y + b, z + c) for a, b, c in ways))
