"""The elevation cut out of a blank that lies on its face.

Machine axes on face: X is the part's x, Y its z, Z its -y; the face toward the tail looks up. The
seat side is the blank's own edge, so the path runs up the left end, over the top and down the
right end: clockwise around the part, which is climbing. It begins and ends in air below the seat
side. Tabs stay at the seat end of both ends and hold part and waste together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from blankcam.cutting.bench import BESIDE, HOP, Bench
from blankcam.cutting.feeds import Cut, Work, arc_feed, plan_cut
from blankcam.cutting.motion import Arc, Operation, Path, Stock
from blankcam.cutting.surface import plain
from blankcam.data import table
from blankcam.machine.profile import Profile
from blankcam.machine.tool import Shape, Tool
from blankcam.parts import curve
from blankcam.parts.curve import Array
from blankcam.parts.nut import Nut
from blankcam.parts.saddle import Saddle
from blankcam.parts.stage import Stage

LEAVE: float = table("limits")["outline"]["leave"]
"""mm left over the stage's top for the set-up on edge (our own: a touch-off error adds to it)."""
TAB_WIDTH = 2.0
TAB_HEIGHT = 0.8
TAB_SHARE = 0.3
"""Tabs, mm, and their least height as a share of the thickness (our own)."""
STANDING = 0.01
"""mm more that an outline may leave: its arcs are fitted, its places rounded."""
THICKER = 1.25
"""Tabs may be this much thicker where that saves a level (our own)."""
THROUGH = 0.3
"""mm cut into the waste board, where it may be."""
WIDEST = 3.2
"""mm: largest tool for an outline."""
PAST = 0.1
"""mm beyond the seat side that the tool's axis runs, where a level has been cut through."""
WITHIN = 0.001


def choose_tool(profile: Profile, depth: float) -> Tool | None:
    """The largest flat tool that cuts that deep."""
    fit = [
        t
        for t in profile.tools
        if t.shape is Shape.FLAT
        and 1.0 <= t.diameter <= WIDEST
        and min(t.flute_length, t.reach) >= depth
    ]
    return max(fit, key=lambda t: (t.diameter, -t.number), default=None)


def outline_operation(part: Nut | Saddle, tool: Tool, bench: Bench) -> Operation:
    """The outline in levels, the last ones raised over the tabs."""
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    way = _Way(part=part, tool=tool, stage=bench.stage, cut=cut, feed_up=bench.profile.feed_max.z)
    thick = -bench.stock.z_min
    through = min(THROUGH, bench.profile.holding.carrier_depth)
    tab = -thick + max(TAB_HEIGHT, TAB_SHARE * thick)
    path = Path(bench.clearance)
    levels, tab = _levels(thick + through, cut.depth, tab, thick)
    before = 0.0
    for z in levels:
        _round(path, way, bench.stock, (before, z), tab)
        before = z
    path.leave()
    return Operation(
        name="outline",
        words=f"{bench.stage} outline, tabs at the seat side of both ends",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * way.around * (thick + through) / cut.depth / cut.feed,
    )


def left_standing(part: Nut | Saddle, stage: Stage, x: Array) -> Array:
    """Height over x that the outline of a stage leaves for the set-up on edge, mm."""
    return np.asarray(part.top.height(np.clip(x, 0.0, part.length)) + _raised(part, stage))


def _raised(part: Nut | Saddle, stage: Stage) -> float:
    return LEAVE + (part.allowance if stage is Stage.ROUGH else 0.0)


def _levels(depth: float, step: float, tab: float, thick: float) -> tuple[list[float], float]:
    """Z of each level, one of which is the tabs' top, and that top: at ``tab`` or a little higher.

    Evenly spaced where that needs fewer levels and the tabs hardly grow.
    """
    upper, lower = max(1, math.ceil(-tab / step)), max(1, math.ceil((depth + tab) / step))
    even = math.ceil(depth / step)
    high = -depth * math.floor(-tab * even / depth) / even
    if even < upper + lower and high < 0.0 and high + thick <= THICKER * (tab + thick):
        return [-depth * k / even for k in range(1, even + 1)], high
    down = [tab * k / upper for k in range(1, upper + 1)]
    return down + [tab - (depth + tab) * k / lower for k in range(1, lower + 1)], tab


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """The tool's centre around a part."""

    part: Nut | Saddle
    tool: Tool
    stage: Stage
    cut: Cut
    feed_up: float
    """The machine's highest feed along its Z."""

    @property
    def raised(self) -> float:
        return _raised(self.part, self.stage)

    @property
    def rise(self) -> float:
        """The feed straight up, in what is cut already."""
        return min(self.cut.feed, self.feed_up)

    def corner(self, x: float) -> float:
        """Height of the top at an end."""
        return float(self.part.top.height(np.array(x))) + self.raised

    def over(self) -> curve.Chain:
        """Over the top from left to right, the corners rounded."""
        r, length = self.tool.radius, self.part.length
        left, right = (0.0, self.corner(0.0)), (length, self.corner(length))
        (a0, b0), (a1, b1) = self._beside(*left), self._beside(*right)
        whole = curve.fit(self._height, a0, a1, WITHIN)
        fitted = tuple(p for s in whole for p in plain(s))
        return (
            *_turn((-r, left[1]), (a0, b0), left),
            *fitted,
            *_turn((a1, b1), (length + r, right[1]), right),
        )

    @property
    def around(self) -> float:
        """Length of the outline from the seat side over the top and back, mm."""
        ends = self.corner(0.0) + self.corner(self.part.length)
        return ends + sum(s.length for s in self.over())

    def feed(self, segment: curve.Segment) -> float:
        """The feed along a segment: slower inside arcs."""
        if isinstance(segment, curve.Arc) and segment.ccw:
            return arc_feed(self.cut.feed, segment.radius + self.tool.radius, self.tool.radius)
        return self.cut.feed

    def _beside(self, x: float, z: float) -> tuple[float, float]:
        """Centre of the tool that touches the top at x."""
        slope = float(self.part.top.slope(np.array(x)))
        s = math.hypot(1.0, slope)
        return x - self.tool.radius * slope / s, z + self.tool.radius / s

    def _height(self, x: Array) -> Array:
        """Height of the centre over x, touching the top."""
        r, u = self.tool.radius, x.copy()
        for _ in range(30):
            slope = self.part.top.slope(u)
            u = x + r * slope / np.sqrt(1 + slope**2)
        room = np.sqrt(np.maximum(r**2 - (u - x) ** 2, 0.0))
        return np.asarray(self.part.top.height(u) + self.raised + room)


def _turn(start: curve.Point, end: curve.Point, centre: curve.Point) -> Iterator[curve.Segment]:
    """Clockwise around a corner."""
    if math.dist(start, end) > 1e-6:
        yield curve.Arc(start, end, centre, ccw=False)


def _round(path: Path, way: _Way, stock: Stock, levels: tuple[float, float], tab: float) -> None:
    """One level, under the one before: up the left end, over the top, down the right end."""
    before, z = levels
    r, length, feed = way.tool.radius, way.part.length, way.cut.feed
    below = stock.y_min - r - BESIDE
    past_tab = stock.y_min + TAB_WIDTH + r
    shallow = max(z, tab)
    if path.at[1] == below:
        # Back along the seat side, in air beside the blank
        path.rapid(x=-r)
        path.rapid(z=shallow)
    else:
        path.over(-r, below, shallow, stock.z_max + HOP)
    if z < tab:
        path.line(feed, y=past_tab)
        path.line(way.cut.plunge, z=before)
        _ramp(path, way, z, past_tab, way.corner(0.0))
    path.line(feed, y=way.corner(0.0))
    for segment in way.over():
        _along(path, segment, way.feed(segment))
    if z < tab:
        path.line(feed, y=past_tab)
        path.line(way.rise, z=shallow)
    # Cut through once the axis is past the seat side; what is behind it is cut already
    path.line(feed, x=length + r, y=stock.y_min - PAST)
    path.rapid(y=below)


def _ramp(path: Path, way: _Way, z: float, low: float, high: float) -> None:
    """Down to z between two places on the left end, as steep as allowed; ends at the low one.

    It goes as far up the end as it must, ``high`` at most.
    The way up that follows takes off the wedge that the ramp left.
    """
    drop, run = path.at[2] - z, high - low
    steep = min(math.tan(way.cut.ramp), way.cut.plunge / way.cut.feed)
    count = max(2, 2 * math.ceil(drop / (2 * run * steep)))
    start, high = path.at[2], low + drop / (count * steep)
    for i in range(1, count + 1):
        path.line(way.cut.feed, y=high if i % 2 else low, z=start - drop * i / count)


def _along(path: Path, segment: curve.Segment, feed: float) -> None:
    x, y = segment.end
    if isinstance(segment, curve.Line):
        path.line(feed, x=x, y=y)
        return
    to = (x, y, path.at[2])
    path.moves.append(Arc(to, segment.centre, "G17", not segment.ccw, feed))
    path.at = to
