"""Passes across a nut, from its front to its back, and back again where that does no harm."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.machining.setup_sheet import Bench
from blankcam.parts.frames import Place
from blankcam.parts.part import Part
from blankcam.toolpath.moves import ToolPath

LOW_HOP: float = table("cutting")["air"]["low_hop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WayBack:
    """How high over a nut a tool goes back from behind it to the next pass."""

    hop: float
    """Z at the front."""
    fall: float = 0.0
    """By how much less a mm further toward the head, where what stands falls as well."""

    @classmethod
    def over(cls, nut: Part, bench: Bench, hop: float) -> WayBack:
        """Along the top of a nut, where the machine rises along that before it goes back."""
        fall = math.tan(max(nut.at(bench.stage).surface.tilt, 0.0))
        follows = not bench.uncut and _rises_first(bench.profile, fall)
        return cls(hop=hop, fall=fall if follows else 0.0)

    def lowered(self, hop: float) -> WayBack:
        """The same with another height at the front."""
        return replace(self, hop=hop)


def _rises_first(profile: Profile, rise: float) -> bool:
    """Whether of a rapid move that rises so much a mm along Y the rise is over first.

    Each axis goes by itself: it must not come forward before it is up.
    """
    rapid, acceleration = profile.rapid, profile.acceleration
    return rapid.z >= rapid.y * rise and acceleration.z >= acceleration.y * rise


def across(path: ToolPath, near: Place, far: Place, feed: float, back: WayBack) -> None:
    """One pass, entered before the front and left behind the back."""
    x, y, z = near
    if math.isnan(path.at[0]):
        path.rapid(x=x, y=y)
    elif path.at[:2] != (x, y):
        path.rapid(z=max(back.hop - back.fall * path.at[1], path.at[2]))
        path.rapid(x=x, y=y, z=max(back.hop, path.at[2]))
    path.rapid(z=z)
    path.line(feed, x=far[0], y=far[1], z=far[2])


def to_and_fro(path: ToolPath, near: Place, far: Place, feed: float, back: WayBack) -> None:
    """One pass: from where the tool stands behind the head side if it does, else ``across``."""
    if path.at[1] != far[1]:
        across(path, near, far, feed, back)
        return
    # Only air there, whichever axis gets to its place first
    path.rapid(x=far[0], z=far[2])
    path.line(feed, x=near[0], y=near[1], z=near[2])


def out_of_the_back(path: ToolPath, behind: float, feed: float) -> None:
    """On the way that a pass has ended on, until all of the tool is behind the head side."""
    if path.at[1] > 0.0:  # not at an operation's start
        path.line(feed, y=max(path.at[1], behind))
