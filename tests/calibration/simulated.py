"""A machine with errors of its own, cutting what a program says: closed forms, no code shared.

A milling machine's axis as textbooks of machine tools describe it: it goes ``scale`` too far, and
has play, so that after turning it stands still until the play is taken up. A tool that runs out by
``runout`` (total indicator reading) turns about an axis half of that beside its own: what it cuts
is as much wider, on its flat end a flat, on a ball a ring. Nothing of blankcam is imported here.
"""

from __future__ import annotations

import math
import random
import re
from dataclasses import dataclass, field
from itertools import pairwise

WORD = re.compile(r"([A-Z])([-+]?[0-9.]+)")
COMMENT = re.compile(r"\([^)]*\)|;.*")


@dataclass
class Machine:
    """How it really moves and cuts; mm and shares."""

    backlash: tuple[float, float, float]
    scale: tuple[float, float, float]
    runout: dict[int, float]
    z_off: dict[int, float]

    @classmethod
    def drawn(cls, dice: random.Random, tools: list[int]) -> Machine:
        """Runout to 0.02, backlash to 0.03, Z off by up to 0.04 a tool, scale by up to 0.1 %."""
        return cls(
            backlash=tuple(dice.uniform(0, 0.03) for _ in "xyz"),
            scale=tuple(dice.uniform(-0.001, 0.001) for _ in "xyz"),
            runout={n: dice.uniform(0, 0.02) for n in tools},
            z_off={n: dice.uniform(-0.04, 0.04) for n in tools},
        )


@dataclass
class Cut:
    """A straight cut as made: where the tip really goes from and to."""

    tool: int
    words: str
    start: tuple[float, ...]
    end: tuple[float, ...]


@dataclass
class _State:
    told: list[float] = field(default_factory=lambda: [math.nan] * 3)
    real: list[float] = field(default_factory=lambda: [math.nan] * 3)


def cuts_of(text: str, machine: Machine, dice: random.Random) -> list[Cut]:
    """Every straight cut of a program in mm, as the machine makes it; arcs by their ends only."""
    found, state, motion, tool, words = [], _State(), 0, 0, ""
    for line in text.splitlines():
        said = re.match(r"[(;] *(slots|top|clear|crown|ends|lands|troughs) ", line)
        words = line if said else words
        code = COMMENT.sub("", line)
        values = WORD.findall(code)
        for letter, number in values:
            if letter == "T":
                tool, state = int(float(number)), _State()
            if letter == "G" and number in ("0", "1", "2", "3"):
                motion = int(number)
        if "G53" in code.replace(" ", "") or re.search(r"G(28|30|38)", code):
            state = _State()
            continue
        to = list(state.told)
        for letter, number in values:
            if letter in "XYZ":
                to["XYZ".index(letter)] = float(number)
        if not any(letter in "XYZ" for letter, _ in values):
            continue
        start = tuple(state.real)
        _go(state, to, machine, dice)
        if motion and not any(map(math.isnan, (*start, *state.real))):
            up = machine.z_off[tool]
            found.append(
                Cut(tool, words, (*start[:2], start[2] + up), (*state.real[:2], state.real[2] + up))
            )
    return found


def _go(state: _State, to: list[float], machine: Machine, dice: random.Random) -> None:
    """X and Y are true on the way up, Z on the way down: that is how zero was touched."""
    for axis, told in enumerate(to):
        if math.isnan(told):
            continue
        at, play = told * (1 + machine.scale[axis]), machine.backlash[axis]
        low, high = (at - play, at) if axis == 2 else (at, at + play)
        real = state.real[axis]
        state.real[axis] = (
            dice.uniform(low, high) if math.isnan(real) else min(max(real, low), high)
        )
    state.told = to


# -- what it leaves of a test piece --------------------------------------------------------------


@dataclass
class Tool:
    """As it is sold, mm."""

    number: int
    shape: str
    diameter: float


def half_width(tool: Tool, runout: float, high: float) -> float:
    """Half of what a tool cuts at a height over its tip, runout and all."""
    r = tool.diameter / 2
    if tool.shape == "ball" and high < r:
        return runout / 2 + math.sqrt(max(r * r - (r - high) ** 2, 0.0))
    return runout / 2 + r


def land_width(cuts: list[Cut], machine: Machine, tool: Tool, axis: int, near: float, high: float,
               reach: tuple[float, float], between: tuple[float, float]) -> float:  # fmt: skip
    """What stands about ``near`` along an axis between one tool's level cuts, at a height.

    ``reach``: the other axis's range in which a cut must run to count. ``between``: cuts whose
    axis runs inside are of what lies within a long distance, and don't bound it.
    """
    low_wall, high_wall = -math.inf, math.inf
    for cut in cuts:
        if cut.tool != tool.number or abs(cut.start[axis] - cut.end[axis]) > 1e-3:
            continue
        along = sorted((cut.start[1 - axis], cut.end[1 - axis]))
        if along[1] < reach[0] or along[0] > reach[1] or high < cut.end[2]:
            continue
        half = half_width(tool, machine.runout[tool.number], high - cut.end[2])
        at = cut.end[axis]
        if between[0] < at < between[1]:
            continue
        if at < near:
            low_wall = max(low_wall, at + half)
        else:
            high_wall = min(high_wall, at - half)
    return high_wall - low_wall


def step_height(cuts: list[Cut], tool: Tool, x: tuple[float, float], y: float) -> float:
    """Where a caliper's jaw lies on a step: over the passes of its tool about a place."""
    over = [c for c in cuts if c.tool == tool.number and x[0] <= c.end[0] <= x[1]
            and min(c.start[1], c.end[1]) <= y <= max(c.start[1], c.end[1])]  # fmt: skip
    lowest = min(c.end[2] for c in over)
    if tool.shape != "ball":
        return lowest
    places = sorted({round(c.end[0], 4) for c in over if c.end[2] < lowest + 0.002})
    stride = max((b - a for a, b in pairwise(places)), default=0.0)
    r = tool.diameter / 2
    return lowest + r - math.sqrt(r * r - stride * stride / 4)


class Caliper:
    """Good to 0.02, read to 0.01: part of it is its zero, part is how a thing is held."""

    def __init__(self, dice: random.Random) -> None:
        self.dice, self.zero = dice, dice.uniform(-0.004, 0.004)

    def read(self, size: float, times: int) -> list[float]:
        """Several readings of one thing."""
        held = self.dice.uniform(-0.008, 0.008)
        return [
            round((size + self.zero + held + self.dice.uniform(-0.008, 0.008)) / 0.01) * 0.01
            for _ in range(times)
        ]


# -- what it leaves of a slot --------------------------------------------------------------------


@dataclass
class SlotSize:
    """A slot as cut, at the front edge; mm."""

    floor: float
    centre: float
    width: float


def slot_as_cut(cuts: list[Cut], machine: Machine, tool: Tool, centre: float, rise: float
                ) -> SlotSize:  # fmt: skip
    """The slot about a place that one tool has cut across a nut; its width ``rise``
    over its floor.
    """
    passes = []
    for cut in cuts:
        if cut.tool != tool.number or "slots" not in cut.words:
            continue
        (x0, y0, z0), (x1, y1, z1) = cut.start, cut.end
        if (y0 < 0) == (y1 < 0):
            continue
        share = -y0 / (y1 - y0)
        x, z = x0 + share * (x1 - x0), z0 + share * (z1 - z0)
        if abs(x - centre) < 2.0:
            passes.append((x, z))
    floor = min(z for _, z in passes)
    level, out = floor + rise, machine.runout[tool.number]
    ends = [(x - w, x + w) for x, z in passes if z <= level
            for w in [half_width(tool, out, level - z)]]  # fmt: skip
    left, right = min(a for a, _ in ends), max(b for _, b in ends)
    return SlotSize(floor=floor, centre=(left + right) / 2, width=right - left)
