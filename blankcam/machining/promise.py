"""How good what is cut can be on a machine of which it is known how it really cuts.

The proof holds a program to its limits on the machine as it was measured; what was measured is
itself not sure, and that comes on top.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Tool
from blankcam.parts.frames import Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """How far from where it is wanted a thing may come out, mm: 95 of 100 lie nearer."""

    width: float
    """Of a slot."""
    height: float
    """Of its floor."""
    place: float
    """Of its centre."""


def promise(profile: Profile, tools: Iterable[Tool], stock: Box) -> Promise:
    """What is left of the proof's limits with these tools on a blank."""
    limits, errors, used = table("proof")["limits"], profile.errors, list(tools)
    along, high = max(abs(stock.x0), abs(stock.x1)), max(abs(stock.z0), abs(stock.z1))
    return Promise(
        width=limits["width"] + max((t.diameter_within for t in used), default=0.0),
        height=limits["floor"]
        + max((t.z_within for t in used), default=0.0)
        + errors.z.scale_within * high,
        place=limits["centre"] + errors.x.scale_within * along,
    )
