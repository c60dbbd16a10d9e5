"""What every operation of a set-up shares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from blankcam.cutting.feeds import Material
from blankcam.cutting.motion import Stock
from blankcam.machine.profile import Profile
from blankcam.parts.curve import Array
from blankcam.parts.stage import Stage


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A blank on a machine."""

    profile: Profile
    material: Material
    stage: Stage
    stock: Stock
    clearance: float
    """Z of the clearance plane."""
    outline: Callable[[Array], Array] | None = None
    """Height over x of what an outline cut before has left; None where the whole blank stands."""
