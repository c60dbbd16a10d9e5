"""The elevation cut out of a blank that lies on its face.

Machine axes on face: X is the part's x, Y its z, Z its -y; the side seen from the bridge is up. The
seat side is the blank's own edge, so the path runs up the left end, over the top and down the
right end: clockwise around the part, which is climbing. It begins and ends in air below the seat
side. Tabs stay at the seat end of both ends and hold part and waste together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from blankcam.data import table
from blankcam.inputs.tool import Tool
from blankcam.machining.feeds import Cut, Work, arc_feed, least_feed, needs_spring_pass, plan_cut
from blankcam.machining.outline import TAB_HEIGHT, TAB_SHARE, THICKEST, levels_of, raised
from blankcam.machining.setup_sheet import BESIDE, HOP, Bench
from blankcam.parts import curve
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.toolpath.linearize import plain
from blankcam.toolpath.moves import Arc, Operation, Path

TAB_WIDTH: float = table("cutting")["tabs"]["width"]
OVER_BOARD: float = table("cutting")["air"]["over_board"]
PAST = 0.1
"""mm beyond the seat side that the tool's axis runs, where a level has been cut through."""
WITHIN = 0.001
"""mm by which a fitted outline may miss the exact path of the tool's centre."""
SETTLED = 1e-10
"""mm: the place where a tool touches the top is found to that."""
HAIR = 0.01
"""mm by which a tool must reach past the waste beside an end for nothing of it to stand."""


def outline_operation(part: Part, tool: Tool, bench: Bench) -> Operation:
    """The outline in levels, the last ones raised over the tabs."""
    cut = plan_cut(bench.material, tool, bench.profile, Work.SLOT)
    way = _Way(
        part=part,
        tool=tool,
        stage=bench.stage,
        cut=cut,
        feed_up=bench.profile.feed_max.z,
    )
    thick = -bench.stock.z0
    least_tab = min(max(TAB_HEIGHT, TAB_SHARE * thick), THICKEST * thick)
    levels, tab = levels_of(thick, cut.depth, least_tab, bench.profile.holding.carrier_depth)
    through = -levels[-1] - thick
    if bench.profile.holding.on_face == "carrier":
        way = replace(way, from_beside=_from_beside(way, bench.stock, levels, tab))
    if needs_spring_pass(bench.material, tool, bench.profile, cut.depth):
        way = replace(way, again_at=levels[-1])
    path = Path(bench.clearance)
    for level in pairwise((0.0, *levels)):
        _round(path, way, bench.stock, level, tab)
    path.leave()
    return Operation(
        name="outline",
        words=f"{bench.stage} outline, tabs at the seat side of both ends",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * way.around * (thick + through) / cut.depth / cut.feed,
    )


def _from_beside(way: _Way, stock: Box, levels: Sequence[float], tab: float) -> bool:
    """Whether levels under the tabs are entered from the air beside the left end.

    Only on a carrier: there may be a clamp else. And only where the levels over the tabs left
    nothing standing beside the end, and where it is shorter than the ramps down into the cut.
    """
    under = sum(z < tab - 1e-9 for z in levels)
    across, ramps = under * (BESIDE - stock.x0), (tab - levels[-1]) / way.steep
    return -stock.x0 <= way.tool.diameter - HAIR and across < ramps


@dataclass(frozen=True, kw_only=True)
class _Way:
    """The tool's centre around a part."""

    part: Part
    tool: Tool
    stage: Stage
    cut: Cut
    feed_up: float
    """The machine's highest feed along its Z."""
    from_beside: bool = False
    """Levels under the tabs are entered from the air beside the left end, not by ramps."""
    again_at: float | None = None
    """Z of the level at which both ends are passed again, where levels bend the tool too far."""

    @property
    def raised(self) -> float:
        return raised(self.part, self.stage)

    @property
    def rise(self) -> float:
        """The feed straight up, in what is cut already."""
        return min(self.cut.feed, self.feed_up)

    @property
    def steep(self) -> float:
        """Most fall of a ramp, for its angle and the plunging feed."""
        return min(math.tan(self.cut.ramp), self.cut.plunge / self.cut.feed)

    def corner(self, x: float) -> float:
        """Height of the top at an end."""
        return float(self.part.top.height(np.array(x))) + self.raised

    @cached_property
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
        return ends + sum(s.length for s in self.over)

    def feed(self, segment: curve.Segment) -> float:
        """The feed along a segment: slower inside arcs."""
        if isinstance(segment, curve.Arc) and segment.ccw:
            slow = arc_feed(self.cut.feed, segment.radius + self.tool.radius, self.tool.radius)
            return max(slow, least_feed(self.cut))
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
            slope, before = self.part.top.slope(u), u
            u = x + r * slope / np.sqrt(1 + slope**2)
            if float(np.max(np.abs(u - before))) < SETTLED:
                break
        room = np.sqrt(np.maximum(r**2 - (u - x) ** 2, 0.0))
        return np.asarray(self.part.top.height(u) + self.raised + room)


def _turn(start: curve.Point, end: curve.Point, centre: curve.Point) -> Iterator[curve.Segment]:
    """Clockwise around a corner."""
    if math.dist(start, end) > 1e-6:
        yield curve.Arc(start, end, centre, ccw=False)


def _round(path: Path, way: _Way, stock: Box, levels: tuple[float, float], tab: float) -> None:
    """One level, under the one before: up the left end, over the top, down the right end.

    The last of levels that bend the tool further than a finishing pass may goes to and fro along
    both ends at full depth, climbing at the end: the tool comes back to its path. Nothing finishes
    the ends later; the top between them is cut again on edge.
    """
    before, z = levels
    r, length, feed = way.tool.radius, way.part.length, way.cut.feed
    below = stock.y0 - r - BESIDE
    past_tab = stock.y0 + TAB_WIDTH + r
    shallow = max(z, tab)
    beside = z < tab and way.from_beside
    x, down = -r, shallow
    if beside:
        x, down = stock.x0 - r - BESIDE, max(z, stock.z0 + OVER_BOARD)
    if path.at[1] == below:
        # Back along the seat side, in air beside the blank
        path.rapid(x=x, z=down)
    else:
        path.over(x, below, down, stock.z1 + HOP)
    if beside:
        _along_blank(path, way, z, past_tab)
        path.line(feed, x=-r)
    elif z < tab:
        path.line(feed, y=past_tab)
        path.line(way.cut.plunge, z=before)
        _ramp(path, way, z, past_tab, way.corner(0.0))
    elif z == tab and way.again_at is not None and way.from_beside:
        # No later level passes here
        path.line(feed, y=past_tab)
        path.line(feed, y=stock.y0 - PAST)
    path.line(feed, y=way.corner(0.0))
    if z == way.again_at:
        path.line(feed, y=past_tab)
        path.line(feed, y=way.corner(0.0))
    for segment in way.over:
        _along(path, segment, way.feed(segment))
    if z == way.again_at:
        path.line(feed, y=past_tab)
        path.line(feed, y=way.corner(length))
    if z < tab:
        path.line(feed, y=past_tab)
        path.line(way.rise, z=shallow)
    # Cut through once the axis is past the seat side; what is behind it is cut already
    path.line(feed, x=length + r, y=stock.y0 - PAST)
    path.rapid(y=below)


def _ramp(path: Path, way: _Way, z: float, low: float, high: float) -> None:
    """Down to z between two places on the left end, as steep as allowed; ends at the low one.

    It goes as far up the end as it must, ``high`` at most. The way up that follows takes off the
    wedge that the ramp leaves.
    """
    drop, run, steep = path.at[2] - z, high - low, way.steep
    count = max(2, 2 * math.ceil(drop / (2 * run * steep)))
    start, high = path.at[2], low + drop / (count * steep)
    for i in range(1, count + 1):
        path.line(way.cut.feed, y=high if i % 2 else low, z=start - drop * i / count)


def _along_blank(path: Path, way: _Way, z: float, y: float) -> None:
    """To y in the air beside the blank's end; down into the waste board on the way, if so deep."""
    drop, run = path.at[2] - z, y - path.at[1]
    if drop <= 0.0:
        path.rapid(y=y)
        return
    further = max(0.0, drop / way.steep - run) / 2
    if further > 0.0:
        path.line(way.cut.feed, y=y + further, z=path.at[2] - (run + further) * way.steep)
    path.line(way.cut.feed, y=y, z=z)


def _along(path: Path, segment: curve.Segment, feed: float) -> None:
    x, y = segment.end
    if isinstance(segment, curve.Line):
        path.line(feed, x=x, y=y)
        return
    to = (x, y, path.at[2])
    path.moves.append(Arc(to, segment.centre, "G17", not segment.ccw, feed))
    path.at = to
