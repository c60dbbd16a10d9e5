"""The elevation cut out of a blank that lies on its face.

Machine axes on face: X is the part's x, Y its z, Z its -y; the side seen from the bridge is up. The
seat side is the blank's own edge, so the path runs up the left end, over the top and down the
right end: clockwise around the part, which is climbing. It begins and ends in air below the seat
side. Tabs stay at the seat end of both ends and hold part and waste together.

Levels go to and fro. Climb levels bend the tool away from the part, conventional ones into it; so
all of them run further out, by as much as leaves no more than a finishing pass may bend. Where that
is not enough, every level climbs and has a way back. Where levels bend the tool by more than a
finishing pass may, both ends are passed again: over the tabs at full depth by the last level,
beside the tabs at the height of their top.
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
from blankcam.machining.outline import (
    TAB_HEIGHT,
    TAB_SHARE,
    THICKEST,
    aside,
    levels_of,
    raised,
)
from blankcam.machining.setup_sheet import BESIDE, HOP, Bench
from blankcam.parts import curve
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage
from blankcam.toolpath.linearize import plain
from blankcam.toolpath.moves import Operation, ToolPath

TAB_WIDTH: float = table("cutting")["tabs"]["width"]
OVER_BOARD: float = table("cutting")["air"]["over_board"]
PAST = 0.1
"""mm beyond the seat side that the tool's axis runs, where a level has been cut through."""
WITHIN = 0.001
"""mm by which a fitted outline may miss the exact path of the tool's centre."""
BOW = 0.003
"""mm that a chord may lie nearer to the part: the top is cut again on edge."""
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
    bend = cut.bend_um / 1000 * max(a - b for a, b in pairwise((0.0, *levels))) / cut.depth
    if (out := aside(bend)) is not None:
        way = replace(way, beyond=out, to_and_fro=True)
    if needs_spring_pass(bench.material, tool, bench.profile, cut.depth):
        way = replace(way, again_at=levels[-1])
    path = ToolPath(bench.clearance)
    over = [z for z in levels if z >= tab]
    for left, z in zip(range(len(over), 0, -1), over, strict=True):
        # So that the last ends at the left, where the levels under the tabs begin
        _over_tabs(path, way, bench, z, climbing=left % 2 == 0 or not way.to_and_fro)
    _under_tabs(path, way, bench, [z for z in levels if z <= tab])
    path.leave()
    return Operation(
        name="outline",
        words=f"{bench.stage} outline, tabs at the seat side of both ends",
        tool=tool,
        cut=cut,
        moves=tuple(path.moves),
        least=60 * way.around * (thick + through) / cut.depth / cut.feed,
    )


@dataclass(frozen=True, kw_only=True)
class _Way:
    """The tool's centre around a part."""

    part: Part
    tool: Tool
    stage: Stage
    cut: Cut
    feed_up: float
    """The machine's highest feed along its Z."""
    again_at: float | None = None
    """Z of the level at which both ends are passed again, where levels bend the tool too far."""

    beyond: float = 0.0
    """mm that the centre runs further out than the tool's radius."""
    to_and_fro: bool = False
    """Every other level is cut the conventional way; else all of them climb."""

    @cached_property
    def aside(self) -> float:
        """How far off the part the centre runs."""
        return self.tool.radius + self.beyond

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
        r, length = self.aside, self.part.length
        left, right = (0.0, self.corner(0.0)), (length, self.corner(length))
        (a0, b0), (a1, b1) = self._beside(*left), self._beside(*right)
        whole = curve.fit(self._height, a0, a1, WITHIN)
        fitted = tuple(p for s in whole for p in plain(s))
        return (
            *_turn((-r, left[1]), (a0, b0), left),
            *fitted,
            *_turn((a1, b1), (length + r, right[1]), right),
        )

    @cached_property
    def lines(self) -> tuple[tuple[curve.Line, float], ...]:
        """The way over the top in chords, each with its feed.

        An arc, once rounded for the file, differs in its last digit from the same arc the other
        way round: the next level would meet a sliver two levels deep at its side.
        """
        return tuple(
            (curve.Line(a, b), self.feed(segment))
            for segment in self.over
            for a, b in pairwise(curve.points([segment], BOW))
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
        return x - self.aside * slope / s, z + self.aside / s

    def _height(self, x: Array) -> Array:
        """Height of the centre over x, touching the top."""
        r, u = self.aside, x.copy()
        for _ in range(30):
            slope, before = self.part.top.slope(u), u
            u = x + r * slope / np.sqrt(1 + slope**2)
            if float(np.max(np.abs(u - before))) < SETTLED:
                break
        room = np.sqrt(np.maximum(r**2 - (u - x) ** 2, 0.0))
        return np.asarray(self.part.top.height(u) + self.raised + room)


@dataclass(frozen=True, slots=True, kw_only=True)
class _End:
    """One end of the part, as a way passes it."""

    x: float
    """Where the centre runs."""
    corner: float
    """Height of the top there."""
    beside: float
    """X in the air beside the blank."""
    over: float
    """mm that the blank is longer there."""
    free: bool
    """Whether nothing may be in the way there: on a carrier; else there may be a clamp."""

    def open_to(self, way: _Way, drop: float) -> bool:
        """Whether a level so much lower is entered from the air beside the end.

        Only where the levels before left nothing standing there, and where it is shorter than the
        ramp down into the cut.
        """
        across = BESIDE + self.over
        return self.free and self.over <= way.tool.diameter - HAIR and across < drop / way.steep


def _turn(start: curve.Point, end: curve.Point, centre: curve.Point) -> Iterator[curve.Segment]:
    """Clockwise around a corner."""
    if math.dist(start, end) > 1e-6:
        yield curve.Arc(start, end, centre, ccw=False)


def _over_tabs(path: ToolPath, way: _Way, bench: Bench, z: float, *, climbing: bool) -> None:
    """One level over the tabs: up one end, over the top, down the other."""
    start, stop = _ends(way, bench, climbing=climbing)
    _begin(path, way, bench.stock, start.x, z)
    path.line(way.cut.feed, y=start.corner)
    _over(path, way, climbing=climbing)
    _out(path, way, bench.stock, stop.x)


def _over(path: ToolPath, way: _Way, *, climbing: bool) -> None:
    """Over the top, from left to right where that is climbing."""
    for line, feed in way.lines if climbing else reversed(way.lines):
        x, y = line.end if climbing else line.start
        path.line(feed, x=x, y=y)


def _ends(way: _Way, bench: Bench, *, climbing: bool) -> tuple[_End, _End]:
    """Where a level begins and where it ends."""
    stock, length, beside = bench.stock, way.part.length, way.tool.radius + BESIDE
    free = bench.profile.holding.on_face == "carrier"
    left, right = (
        _End(x=x, corner=way.corner(at), beside=air, over=over, free=free)
        for x, at, air, over in (
            (-way.aside, 0.0, stock.x0 - beside, -stock.x0),
            (length + way.aside, length, stock.x1 + beside, stock.x1 - length),
        )
    )
    return (left, right) if climbing else (right, left)


def _begin(path: ToolPath, way: _Way, stock: Box, x: float, z: float) -> None:
    """In air beside the seat side, to where a way begins or goes on."""
    below = _below(way, stock)
    if path.at[1] == below:
        path.rapid(x=x, z=z)
    else:
        path.over(x, below, z, stock.z1 + HOP)


def _out(path: ToolPath, way: _Way, stock: Box, x: float) -> None:
    """Out through the seat side at x.

    Cut through once the axis is past it; what is behind it is cut already.
    """
    path.line(way.cut.feed, x=x, y=stock.y0 - PAST)
    path.rapid(y=_below(way, stock))


def _below(way: _Way, stock: Box) -> float:
    """Y in air beside the seat side."""
    return stock.y0 - way.tool.radius - BESIDE


def _past_tab(way: _Way, stock: Box) -> float:
    """Y of the centre where the tool leaves a tab whole."""
    return stock.y0 + TAB_WIDTH + way.tool.radius


def _under_tabs(path: ToolPath, way: _Way, bench: Bench, levels: Sequence[float]) -> None:
    """The levels under the first of these, the tabs' top: between the tabs.

    The last of levels that bend the tool further than a finishing pass may goes to and fro along
    both ends at full depth. Nothing finishes the ends later; the top between them is cut again on
    edge.
    """
    tab, stock, climbing = levels[0], bench.stock, True
    for before, z in pairwise(levels):
        start, stop = _ends(way, bench, climbing=climbing)
        if before == tab or not way.to_and_fro:
            _in_from_seat_side(path, way, stock, start, (tab, before, z))
        else:
            path.line(way.cut.plunge, z=before)
            if start.open_to(way, before - z):
                # Out at the level before: the round of the tool left a corner there
                path.line(way.cut.feed, x=start.beside)
                _in_from_beside(path, way, stock, start, z)
            else:
                _ramp(path, way, z, _past_tab(way, stock), start.corner)
        _under(path, way, stock, (start, stop), z)
        if not way.to_and_fro:
            _down_beside_tab(path, way, stock, stop, tab)
            continue
        climbing = not climbing
        if before == tab and len(levels) % 2 and way.again_at is not None:
            # The last level ends at the other end and does not pass here
            _down_beside_tab(path, way, stock, stop, tab)
            path.line(way.cut.feed, y=_past_tab(way, stock))
    if way.to_and_fro:
        _down_beside_tab(path, way, stock, stop, tab)
    path.rapid(y=_below(way, stock))


def _in_from_seat_side(
    path: ToolPath, way: _Way, stock: Box, left: _End, levels: tuple[float, float, float]
) -> None:
    """Past the left end's tab and down. ``levels``: the tabs' top, the level before, this one."""
    tab, before, z = levels
    path.rapid(y=_below(way, stock))
    if not left.open_to(way, before - z):
        _begin(path, way, stock, left.x, tab)
        path.line(way.cut.feed, y=_past_tab(way, stock))
        path.line(way.cut.plunge, z=before)
        _ramp(path, way, z, path.at[1], left.corner)
        return
    if way.again_at is not None and before == tab:
        # Up the end beside its tab again, where none of these levels passes
        _begin(path, way, stock, left.x, tab)
        path.line(way.cut.feed, y=_past_tab(way, stock))
        _out(path, way, stock, left.x)
    _begin(path, way, stock, left.beside, max(z, stock.z0 + OVER_BOARD))
    _in_from_beside(path, way, stock, left, z)


def _in_from_beside(path: ToolPath, way: _Way, stock: Box, end: _End, z: float) -> None:
    """From the air beside an end to the place past its tab, at z."""
    path.rapid(z=min(path.at[2], max(z, stock.z0 + OVER_BOARD)))
    _along_blank(path, way, z, _past_tab(way, stock))
    path.line(way.cut.feed, x=end.x)


def _under(path: ToolPath, way: _Way, stock: Box, ends: tuple[_End, _End], z: float) -> None:
    """One level under the tabs, from past one tab to past the other."""
    start, stop = ends
    feed, again, past_tab = way.cut.feed, z == way.again_at, _past_tab(way, stock)
    path.line(feed, y=start.corner)
    if again:
        path.line(feed, y=past_tab)
        path.line(feed, y=start.corner)
    _over(path, way, climbing=start.x < stop.x)
    path.line(feed, x=stop.x, y=past_tab)
    if again:
        path.line(feed, y=stop.corner)
        path.line(feed, y=past_tab)


def _down_beside_tab(path: ToolPath, way: _Way, stock: Box, end: _End, tab: float) -> None:
    """Up to the tabs' top, and down an end beside its tab, out through the seat side."""
    path.line(way.rise, z=tab)
    path.line(way.cut.feed, x=end.x, y=stock.y0 - PAST)


def _ramp(path: ToolPath, way: _Way, z: float, low: float, high: float) -> None:
    """Down to z between two places on the left end, as steep as allowed; ends at the low one.

    It goes as far up the end as it must, ``high`` at most. The way up that follows takes off the
    wedge that the ramp leaves.
    """
    drop, run, steep = path.at[2] - z, high - low, way.steep
    count = max(2, 2 * math.ceil(drop / (2 * run * steep)))
    start, high = path.at[2], low + drop / (count * steep)
    for i in range(1, count + 1):
        path.line(way.cut.feed, y=high if i % 2 else low, z=start - drop * i / count)


def _along_blank(path: ToolPath, way: _Way, z: float, y: float) -> None:
    """To y in the air beside the blank's end; down into the waste board on the way, if so deep."""
    drop, run = path.at[2] - z, y - path.at[1]
    if drop <= 0.0:
        path.rapid(y=y)
        return
    further = max(0.0, drop / way.steep - run) / 2
    if further > 0.0:
        path.line(way.cut.feed, y=y + further, z=path.at[2] - (run + further) * way.steep)
    path.line(way.cut.feed, y=y, z=z)
