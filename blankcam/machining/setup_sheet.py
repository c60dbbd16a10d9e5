"""What every operation of a set-up shares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from blankcam.inputs.job import BlankJob
from blankcam.inputs.machine import Profile
from blankcam.machining import feeds
from blankcam.machining.feeds import Material
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Stage

BESIDE = 0.3
"""mm of air between the tool's side and the blank where a tool goes down or a pass begins."""
HOP = 1.0
"""mm of air over what stands, for moves inside one operation."""
STANDING = 0.02
"""mm that may stand over a surface already cut: cusps, and what rounding adds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A blank on a machine."""

    profile: Profile
    material: Material
    stage: Stage
    stock: Box
    clearance: float
    """Z of the clearance plane."""
    outline: Callable[[Array], Array] | None = None
    """Height over x of what an outline cut before has left; None where the whole blank stands."""


def set_up(length: float, blank: BlankJob, profile: Profile, material: str, stage: Stage) -> Bench:
    """A whole blank on edge, held as the profile says, the part in the middle of its length."""
    over = (blank.length - length) / 2
    stock = Box(
        x0=-over,
        x1=length + over,
        y0=0.0,
        y1=blank.thickness,
        z0=0.0,
        z1=blank.height,
    )
    return Bench(
        profile=profile,
        material=feeds.material(material),
        stage=stage,
        stock=stock,
        clearance=max(stock.z1, profile.holding.jaw_top) + profile.clearance,
    )
