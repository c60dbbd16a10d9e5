"""Which tool makes a feature: the largest that fits and reaches."""

from __future__ import annotations

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool

WIDEST: float = table("cutting")["outline"]["widest_tool"]
ROOM: float = table("cutting")["slots"]["opening_room"]


def facing_tool(profile: Profile, depth: float) -> Tool | None:
    """The largest flat tool whose flutes are longer than what comes off."""
    fit = [
        t
        for t in profile.tools
        if t.shape is Shape.FLAT and t.diameter >= 1.0 and min(t.flute_length, t.reach) >= depth
    ]
    return max(fit, key=lambda t: (t.diameter, -t.number), default=None)


def outline_tool(profile: Profile, depth: float) -> Tool | None:
    """The largest flat tool that cuts that deep."""
    fit = [
        t
        for t in profile.tools
        if t.shape is Shape.FLAT
        and 1.0 <= t.diameter <= WIDEST
        and min(t.flute_length, t.reach) >= depth
    ]
    return max(fit, key=lambda t: (t.diameter, -t.number), default=None)


def surfacing_tools(profile: Profile, *, level: bool) -> list[Tool]:
    """The tools for a top or a crown, the best first: balls, for a level section flat ones before.

    Of each the largest first; tools over 6 mm are left out.
    """
    wanted = [Shape.FLAT, Shape.BALL] if level else [Shape.BALL]
    fit = [t for t in profile.tools if t.shape in wanted and 1.0 <= t.diameter <= 6.0]
    return sorted(fit, key=lambda t: (wanted.index(t.shape), -t.diameter, t.number))


def opening_tools(profile: Profile, width: float, depth: float) -> list[Tool]:
    """The flat and ball tools that fit into a window and reach its bottom, the widest first."""
    fit = [
        t
        for t in profile.tools
        if t.shape in (Shape.FLAT, Shape.BALL)
        and t.diameter <= width - ROOM
        and min(t.flute_length, t.reach) >= depth + 0.2
    ]
    return sorted(fit, key=lambda t: (-t.diameter, t.shape is not Shape.FLAT, t.number))


def opening_tool(profile: Profile, width: float, depth: float) -> Tool | None:
    """The widest flat or ball tool that fits into a window and reaches its bottom."""
    return next(iter(opening_tools(profile, width, depth)), None)
