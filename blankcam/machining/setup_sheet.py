"""What every operation of a set-up shares."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.machining import feeds
from blankcam.machining.feeds import Material
from blankcam.machining.request import CutRequest
from blankcam.parts.curve import Array
from blankcam.parts.frames import Box
from blankcam.parts.part import Stage

BESIDE: float = table("cutting")["air"]["beside"]
HOP: float = table("cutting")["air"]["hop"]
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


def set_up(request: CutRequest, *, y0: float = 0.0) -> Bench:
    """The whole blank of a request on edge; ``y0``: where its lower face is then, mm."""
    machine = request.machine
    stock = dataclasses.replace(request.blank, y0=y0)
    return Bench(
        profile=machine,
        material=feeds.material(request.material),
        stage=request.stage,
        stock=stock,
        clearance=max(stock.z1, machine.holding.jaw_top) + machine.clearance,
    )
