"""Which tools can make a feature, the best first."""

from __future__ import annotations

from collections.abc import Iterator

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool
from blankcam.machining.decision import Reason, ReasonCode
from blankcam.machining.feeds import Material, Work, least_feed, plan_cut

USUAL: float = table("cutting")["outline"]["usual_tool"]
WIDEST: float = table("cutting")["outline"]["widest_tool"]
ROOM: float = table("cutting")["slots"]["opening_room"]
REACH: float = table("cutting")["slots"]["flute_room"]
NARROWEST: float = table("cutting")["outline"]["narrowest_tool"]
OVER_SPEED: float = table("cutting")["tools"]["over_speed"]
LEAST_DEPTH: float = table("cutting")["tools"]["least_depth"]


def unusable(tool: Tool, material: Material, profile: Profile) -> Reason | None:
    """Why a tool can't cut a material on a machine at all; None where it can."""
    cut = plan_cut(material, tool, profile, Work.SLOT)
    most = material.speed_max * OVER_SPEED
    if cut.rpm <= profile.spindle_min and cut.surface_speed > most:
        speed, bears = cut.surface_speed, material.speed_max
        return Reason.about(tool, ReasonCode.TOO_FAST, speed=speed, most=bears)
    if (slowest := min(cut.feed, cut.plunge)) < least_feed(cut):
        return Reason.about(tool, ReasonCode.TOO_SLOW, feed=slowest, least=least_feed(cut))
    if cut.depth < LEAST_DEPTH:
        return Reason.about(tool, ReasonCode.TOO_WEAK, depth=cut.depth)
    return None


def facing_tools(profile: Profile, depth: float) -> Iterator[Tool]:
    """The flat tools whose flutes are longer than what comes off, the largest first."""
    yield from sorted(_flats(profile, depth), key=lambda t: (-t.diameter, t.number))


def outline_tools(profile: Profile, depth: float) -> Iterator[Tool]:
    """The flat tools that cut that deep: the largest of the usual ones first, wider ones last."""
    fit = [t for t in _flats(profile, depth) if t.diameter <= WIDEST]
    usual = [t for t in fit if t.diameter <= USUAL]
    yield from sorted(usual, key=lambda t: (-t.diameter, t.number))
    yield from sorted((t for t in fit if t not in usual), key=lambda t: (t.diameter, t.number))


def _flats(profile: Profile, depth: float) -> list[Tool]:
    return [
        t
        for t in profile.tools
        if t.shape is Shape.FLAT
        and t.diameter >= NARROWEST
        and min(t.flute_length, t.reach) >= depth
    ]


def surfacing_tools(profile: Profile, *, level: bool) -> Iterator[Tool]:
    """The tools that bring out a top or a crown in fine passes, the best first.

    The largest ball first; over a level section the largest flat tool.
    """
    for shape in (Shape.FLAT, Shape.BALL) if level else (Shape.BALL,):
        yield from surfacing_tools_of(profile, shape)


def surfacing_tools_of(profile: Profile, shape: Shape) -> Iterator[Tool]:
    """The tools of a shape that are of a size for a top or a crown, the largest first."""
    fit = (t for t in profile.tools if t.shape is shape and NARROWEST <= t.diameter <= WIDEST)
    yield from sorted(fit, key=lambda t: (-t.diameter, t.number))


def opening_tools(profile: Profile, width: float, depth: float) -> list[Tool]:
    """The flat and ball tools that fit into a window and reach its bottom, the widest first."""
    fit = [
        t
        for t in profile.tools
        if t.shape in (Shape.FLAT, Shape.BALL)
        and t.diameter <= width - ROOM
        and min(t.flute_length, t.reach) >= depth + REACH
    ]
    return sorted(fit, key=lambda t: (-t.diameter, t.shape is not Shape.FLAT, t.number))


def opening_tool(profile: Profile, width: float, depth: float) -> Tool | None:
    """The widest flat or ball tool that fits into a window and reaches its bottom."""
    return next(iter(opening_tools(profile, width, depth)), None)
