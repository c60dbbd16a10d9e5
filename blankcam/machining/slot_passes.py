"""The groove of a slot, and the places of a ball's passes in its section.

A slot's groove is a cylinder about a sloping axis. A ball whose centre runs parallel to that axis
touches the groove from inside along its whole length, so passes with the centre at several places
on a circle of radius (slot radius - ball radius) about the axis make the round floor, and those at
its sides the upright walls.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from blankcam.data import table
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.setup_sheet import BESIDE, STANDING
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box, Place
from blankcam.parts.part import Part
from blankcam.parts.slot import Slot
from blankcam.parts.stage import Stage

FLOOR_CUSP: float = table("cutting")["slots"]["scallop_floor"]
UPRIGHT_CUSP: float = table("cutting")["slots"]["scallop_upright"]
JUDGED: float = table("cutting")["slots"]["width_from"]
SHARES = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5)
"""Cusps between the passes of upper layers that are tried, as shares of the depth of cut."""
THINNER = (1.0, 0.85, 0.7, 0.5)
"""Layers that are tried, as shares of the depth of cut."""
CLOSE = 2e-4
"""mm by which a planned depth may pass the table's; the proof allows 0.001 mm."""
ONE_WAY: int = table("cutting")["slots"]["one_way_layers"]
FLOOR_STANDS = max(FLOOR_CUSP, UPRIGHT_CUSP)
"""mm that may stand along a groove between the passes round its floor."""
LOW = 0.002
"""mm that may stand on the lowest line where no pass runs along it."""
MOST_PASSES = 400
FEW = 33
"""Places across a groove at which ways that cut too deep are told from others at once."""
STARTS = 8
"""Angles between the highest and the lowest at which passes round a floor are tried to begin."""
SAME = 1e-4
"""mm under which two radii are one."""
SIDE_CUSP: float = table("cutting")["slots"]["scallop_wall"]
BEHIND: float = table("cutting")["air"]["behind"]
AHEAD: float = table("cutting")["air"]["ahead"]


Way = tuple[float, float, bool]
"""A pass in a groove's section: how far its ball's centre runs beside the groove's axis and over
its lowest line, mm, and whether the tool may come back along the next one."""


def floor_front(nut: Part, slot: Slot, stage: Stage) -> float:
    """Where the line of the floor is wanted at the nut's front in that stage."""
    return float(slot.floor(0.0)) + nut.at(stage).floor_raise


@dataclass(frozen=True, slots=True, kw_only=True)
class Groove:
    """The line of a ball's tip that touches a slot's floor, and how to move about it."""

    x: float
    z: float
    """Of the groove's lowest line at y = 0."""
    radius: float
    tilt: float
    yaw: float

    @classmethod
    def of(cls, nut: Part, slot: Slot, stage: Stage) -> Groove:
        """The groove of a slot in that stage."""
        return cls(
            x=slot.centre,
            z=floor_front(nut, slot, stage),
            radius=slot.radius,
            tilt=slot.tilt,
            yaw=slot.yaw,
        )

    def place(self, ball: float, aside: float, up: float, y: float) -> Place:
        """The tip at y of a ball whose centre runs parallel to the groove's axis.

        ``aside`` is how far the centre runs beside the axis, ``up`` how far over the groove's
        lowest line, along the groove's upright normal (0, sin, cos).
        """
        cos, sin = math.cos(self.tilt), math.sin(self.tilt)
        z = self.z + up * cos - (y - up * sin) * math.tan(self.tilt) - ball
        return self.x + aside / math.cos(self.yaw) + y * math.tan(self.yaw), y, z


def judged_from(nut: Part, slot: Slot, stage: Stage) -> float:
    """The wall's angle from straight down over which its place sideways counts, radians.

    The proof takes the width at 0.9 of the depth under the lowest that may stand beside the slot,
    or at the height of the round floor; a little under that a scallop may already widen what it
    finds.
    """
    target = nut.at(stage)
    depth = slot.depth_front + target.opened - target.floor_raise
    rise = JUDGED * depth * math.cos(slot.tilt)
    return math.acos(1 - rise / slot.radius) if rise < slot.radius else math.pi / 2


def around(radius: float, ball: float, deep: float, judged: float) -> tuple[float, ...]:
    """Angles from straight down at which passes round the floor leave no more than they may.

    From where the groove meets what stands ``deep`` mm over its lowest line, the outermost pass as
    far below that as the wall there allows. Between passes 2h
    apart the groove falls short most in the middle, radially by
    R - e cos h - sqrt(r^2 - e^2 sin^2 h) with e the difference of the radii; where the groove's
    wall stands at an angle m that is 1/cos m as much upright, and 1/sin m sideways. At steep walls
    it is the distance sideways that counts, and from the angle ``judged`` on: what matters there
    is how far apart they stand.
    """
    return _angles(radius, ball, math.acos(1 - min(deep, radius) / radius), judged)


@functools.lru_cache(maxsize=512)  # most grooves are asked about from their radius on
def _angles(radius: float, ball: float, at: float, judged: float) -> tuple[float, ...]:
    """The angles from ``at`` on one side to that on the other."""
    off = radius - ball
    if off <= SAME:
        return (0.0,)
    lowest = _outermost(radius, ball, judged, at)
    fewest = _down_from(radius, ball, judged, lowest)
    for k in range(STARTS):
        # As high as that takes no pass more: so much less is left to the layers over it
        found = _down_from(radius, ball, judged, at + (lowest - at) * k / STARTS)
        if len(found) <= len(fewest):
            return found
    return fewest


def _down_from(radius: float, ball: float, judged: float, start: float) -> tuple[float, ...]:
    """The angles from ``start`` on one side to that on the other."""
    at, angles = start, [start]
    while at > 0.0 and len(angles) < MOST_PASSES:
        at = max(0.0, at - 2 * _half_angle(radius, ball, judged, at))
        angles.append(at)
    if len(angles) > 1 and _falls_short(radius, ball, angles[-2]) < LOW:
        # Two passes beside the lowest line are one at it
        return (*(-a for a in angles[:-1]), *angles[-2::-1])
    return (*(-a for a in angles[:-1]), *angles[::-1])


def _outermost(radius: float, ball: float, judged: float, edge: float) -> float:
    """The angle of the outermost pass where a groove's wall ends at an angle.

    Where it goes on upright, the wall is narrowest at the height of the groove's axis.
    """
    most = _may_fall_short(edge, edge, judged)
    return max(0.0, edge - _turn_short_of(radius, ball, most))


def _turn_short_of(radius: float, ball: float, short: float) -> float:
    """How far around from a pass a groove falls short by so much: the ball's edge stands there."""
    off, left = radius - ball, radius - short
    return math.acos(max(-1.0, (off**2 + left**2 - ball**2) / (2 * off * left)))


def _falls_short(radius: float, ball: float, turn: float) -> float:
    """How far a groove falls short along its normal so far around from a pass, mm."""
    off = radius - ball
    if off * math.sin(turn) >= ball:
        return math.inf
    return radius - off * math.cos(turn) - math.sqrt(ball**2 - (off * math.sin(turn)) ** 2)


def _widest(most: float, keeps: Callable[[float], bool]) -> float:
    """The widest angle up to ``most`` that keeps to what is asked, as all narrower ones do."""
    low, high = 0.0, most
    if keeps(high):
        return high
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if keeps(middle) else (low, middle)
    return low


def _half_angle(radius: float, ball: float, judged: float, start: float) -> float:
    """Half the widest step down from an angle that leaves no more than may be."""

    def keeps(half: float) -> bool:
        short = _falls_short(radius, ball, half)
        return short <= _may_fall_short(abs(start - half), start, judged)

    most = _turn_short_of(radius, ball, FLOOR_CUSP)  # more may stand nowhere
    return _widest(min(max(start / 2, 1e-3), most), keeps)


def _may_fall_short(wall: float, start: float, judged: float) -> float:
    """How far a groove may fall short along its normal where its wall stands at an angle, mm.

    ``start``: the angle of the pass above.
    """
    aside = SIDE_CUSP * math.sin(wall)
    if start > judged:
        return min(FLOOR_CUSP, aside)
    return min(FLOOR_CUSP, max(UPRIGHT_CUSP * math.cos(wall), aside))


@functools.lru_cache(maxsize=512)  # a choice of tools asks again and again
def passes(
    groove: Groove, ball: float, depth: float, step: float, judged: float
) -> tuple[Way, ...]:
    """(aside, up) of the ball's centre in each pass, from the top layer down; may it go back?

    A layer is as wide as the groove lets the ball be at that height; what stands between its
    passes is taken along by the next one, so that few layers or few passes in each will do. The
    last passes go round the floor. Well over the floor passes go both ways; in the last layers
    every pass leaves at the head side, where what breaks out breaks out at the back.
    """
    off, cos = max(groove.radius - ball, 0.0), math.cos(groove.tilt)
    deep, step = (depth + STANDING) * cos, step * cos
    floor = [
        (off * math.sin(a), groove.radius - off * math.cos(a), False)
        for a in sorted(around(groove.radius, ball, deep, judged), key=lambda a: -abs(a))
    ]
    return (*_layers(off, ball, deep, step, floor), *floor)


def floor_passes(slot: Slot, ball: float, depth: float, judged: float) -> int:
    """How many passes go round a slot's floor, the last of those that ``passes`` gives."""
    deep = (depth + STANDING) * math.cos(slot.tilt)
    return len(around(slot.radius, ball, deep, judged))


def fewest_passes(slot: Slot, ball: float, depth: float, step: float) -> float:
    """How many passes of a ball a slot takes at least: none cuts more than width times step."""
    deep, cos, radius = depth * math.cos(slot.tilt), math.cos(slot.tilt), slot.radius
    low = min(deep, radius)
    angle = math.acos(1 - low / radius)
    section = radius**2 * (angle - math.sin(2 * angle) / 2) + 2 * radius * (deep - low)
    stays = FLOOR_STANDS * radius * math.pi
    return max(0.0, section - stays) / (2 * ball * (step * cos + CLOSE))


def _layers(
    off: float,
    ball: float,
    deep: float,
    step: float,
    floor: Sequence[Way],
) -> list[Way]:
    """The fewest passes over the floor's own of which none, nor of those, cuts deeper than a step.

    Thinner layers where no way of full ones is found to keep to that.
    """
    radius, most = off + ball, step + CLOSE
    few = np.linspace(-radius, radius, FEW)

    def keeps(way: Sequence[Way]) -> bool:
        every = [*way, *floor]
        if max(_depths(every, ball, deep, few)) > most:  # as most do, told in a fifth of the time
            return False
        return max(_depths(every, ball, deep, _places(every, radius, ball, deep))) <= most

    every: list[list[Way]] = []
    for ways in _batches(off, ball, deep, step, floor[0][1] - ball):
        ways.sort(key=len)
        if (found := next(filter(keeps, ways), None)) is not None:
            return found
        every += ways
    return max(reversed(every), key=len)


def _batches(
    off: float, ball: float, deep: float, step: float, low: float
) -> Iterator[list[list[Way]]]:
    """Ways over the floor's own passes: all those of full layers, then of thinner and
    thinner ones.
    """
    for thinner in THINNER:
        ways = [_upper(off, ball, deep, thinner * step, share) for share in SHARES]
        yield [*_full_layers(off, ball, deep, step, low), *ways] if thinner == 1 else ways


def _full_layers(
    off: float, ball: float, deep: float, step: float, low: float
) -> Iterator[list[Way]]:
    """Ways that end in the floor's outer passes, that begin along the middle, or along one wall.

    ``low``: how high over the lowest line the tip runs in the floor's outer passes, mm.
    """
    if SAME < off < deep:
        least = math.ceil((deep - low) / step - 1e-9)
        most = math.ceil(deep / (step * (1 - SHARES[0])) - 1e-9)
        for share in SHARES:
            between = share * step
            yield from (_over_floor(off, ball, (deep, low), n, between) for n in range(least, most))
    if SAME < off < ball:
        for share in SHARES:
            yield from _middle_first(off, ball, (deep, low), step, share)
        yield from _one_wall_first(off, ball, (deep, low), step)


def _over_floor(
    off: float, ball: float, ends: tuple[float, float], layers: int, between: float
) -> list[Way]:
    """The passes of layers over the floor's two outer passes, which are the last layer."""
    deep, low = ends
    found = []
    for k in range(layers - 1, 0, -1):
        up = ball + max(low + (deep - low) * k / layers, off)
        found += [(aside, up, k > ONE_WAY) for aside in _side_by_side(off, ball, between)]
    return found


def _middle_first(
    off: float, ball: float, ends: tuple[float, float], step: float, share: float
) -> Iterator[list[Way]]:
    """Ways whose first layers are one pass each, along the middle, and the others wall to wall.

    At each wall a strip is left, which the ball's round meets higher than its tip runs: so much
    deeper may the first passes along the walls go.
    """
    (deep, low), gap = ends, step * (1 - share)
    sides = _side_by_side(off, ball, share * step)
    for count in range(1, math.ceil(deep / step)):
        down = min(count * step, ball)
        reach = math.sqrt(2 * ball * down - down**2)
        first = step + ball - math.sqrt(ball**2 - max(reach - off, 0.0) ** 2) - CLOSE
        walls = max(0, math.ceil((deep - low - first) / gap - 1e-9))
        tips = [(0.0, deep - k * step) for k in range(1, count + 1)]
        tips += [(x, max(low + k * gap, off)) for k in range(walls, 0, -1) for x in sides]
        two_way = len(tips) - ONE_WAY * (len(sides) if walls else 1)
        yield [(x, ball + tip, i < two_way) for i, (x, tip) in enumerate(tips)]


def _one_wall_first(
    off: float, ball: float, ends: tuple[float, float], step: float
) -> Iterator[list[Way]]:
    """Ways down along one wall, then along the other, where the ball's round has left less."""
    deep, low = ends[0], max(ends[1], off - step) + step - CLOSE
    count = math.ceil((deep - low) / step - 1e-9)
    down = [(off, deep - (deep - low) * k / count) for k in range(1, count + 1)]
    for more in range(count):
        tips = [*down, *((-off, low + step * k) for k in range(more, -1, -1))]
        yield [(x, ball + tip, tip > low + SAME) for x, tip in tips]


def depths(groove: Groove, ball: float, depth: float, ways: Sequence[Way]) -> list[float]:
    """How deep each of a slot's passes cuts, one after the other, mm along the upright normal."""
    deep = (depth + STANDING) * math.cos(groove.tilt)
    return _depths(ways, ball, deep, _places(ways, groove.radius, ball, deep))


def _depths(ways: Sequence[Way], ball: float, deep: float, x: Array) -> list[float]:
    """How deep each pass cuts at most at places across the groove."""
    aside, up = np.array([w[:2] for w in ways]).T[:, :, None]
    room = ball**2 - (x - aside) ** 2
    under = np.where(room >= 0, up - np.sqrt(np.maximum(room, 0.0)), np.inf)
    before = np.minimum.accumulate(np.vstack([np.full_like(x, deep), under[:-1]]))
    found: list[float] = np.max(before - under, axis=1, initial=0.0).tolist()
    return found


def _places(ways: Sequence[Way], radius: float, ball: float, deep: float) -> Array:
    """Places across a groove among which each pass cuts deepest.

    Beside each pass, and where arcs of two meet or one meets what stands ``deep``: between them the
    arcs are those of equal circles, whose distance upright grows one way.
    """
    aside, up = np.array([w[:2] for w in ways]).T
    i, j = np.triu_indices(len(ways), 1)
    over, lift = aside[j] - aside[i], up[j] - up[i]
    apart = np.maximum(np.hypot(over, lift), 1e-9)
    half = np.sqrt(np.maximum(ball**2 - apart**2 / 4, 0.0))
    met = (aside[i] + aside[j]) / 2 + np.sign(over) * half * lift / apart
    level = np.sqrt(np.maximum(ball**2 - (up - deep) ** 2, 0.0))
    beside = ball + 1e-6
    # not np.union1d: it loads numpy.ma, and a place looked at twice does no harm
    found = [met, aside - level, aside + level, aside - beside, aside + beside]
    evenly = np.linspace(-radius, radius, 101)
    return np.concatenate([evenly, np.clip(np.concatenate(found), -radius, radius)])


def _upper(off: float, ball: float, deep: float, step: float, share: float) -> list[Way]:
    """The passes of the upper layers where ridges of a share of the step stand between them."""
    between = share * step if off > SAME else 0.0
    layers = max(1, math.ceil(deep / (step - between) - 1e-9))
    passes = []
    for k in range(layers - 1, 0, -1):
        high = deep * k / layers
        half = math.sqrt(max(off**2 - max(off - high, 0.0) ** 2, 0.0)) if off > SAME else 0.0
        sides = _side_by_side(half, ball, between)
        passes += [(aside, ball + high, k > ONE_WAY) for aside in sides]
    return passes


def least_passes(radius: float, tool: Tool, depth: float, step: float, judged: float) -> float:
    """Full-width passes that hold the groove's waste, and those round its floor."""
    section = 2 * radius * max(depth - radius, 0.0) + math.pi * radius**2 / 2
    floor = len(around(radius, tool.tip_radius, depth, judged)) - 1
    return section / (tool.edge * step) + floor


def _side_by_side(half: float, ball: float, cusp: float) -> list[float]:
    """Places from -half to half at which level passes leave no more than ``cusp`` between them."""
    if half <= SAME:
        return [0.0]
    most = 2 * math.sqrt(2 * ball * cusp - cusp**2)
    count = math.ceil(2 * half / most)
    return [half * (2 * i / count - 1) for i in range(count + 1)]


def across_ends(
    stock: Box, tool: Tool, *, back: bool, lean: float, met: float | None = None
) -> tuple[float, float]:
    """Places y in air before the front and behind the back.

    A pass that only ends there need not leave the part with all of the tool: its axis passes the
    face by as much as a ball on a path that leans by that angle, rad, touches before it. A flat
    tool that goes down a slope touches with its rim. Where a ball finds no more than ``met`` mm
    over what it leaves, it meets the front with less than its radius. Where it turns ``back`` it
    leaves the part with all of it: lower down, on a floor that falls, it would touch the back.
    """
    radius, short = tool.radius, met is not None and tool.shape is Shape.BALL
    before = _touches(radius, met) if short and met is not None else radius + BESIDE
    if back:
        return stock.y0 - before, stock.y1 + radius + BESIDE
    along = 1.0 if tool.shape is Shape.FLAT else math.sin(min(abs(lean), math.pi / 2))
    return stock.y0 - before, stock.y1 + radius * along + BEHIND


def _touches(radius: float, met: float) -> float:
    """How far before a face a ball must stand that finds so much over what it leaves, mm."""
    if met >= radius:
        return radius + BESIDE
    return math.sqrt(met * (2 * radius - met)) + AHEAD
