"""What the material table allows a tool: chip, surface speed, plunge, depth.

Read from data/materials.toml here, apart from the planning, so that a mistake made there is found
here. The formulas are those of every cutter maker's page: n = 1000 Vc/(pi D), Vf = n z fz.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from blankcam.data import table
from blankcam.inputs.machine import Profile
from blankcam.inputs.tool import Shape, Tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """The most that one tool may do in one material on one machine."""

    chip: float
    """mm a tooth."""
    teeth: int
    """Teeth that share the chip: one where a small tool's runout is not known."""
    speed: float
    """Surface speed at its widest cutting diameter, m/min."""
    widest: float
    """That diameter, mm."""
    plunge: float
    """Plunging feed as a share of the feed that the chip allows."""
    depth: float
    """Depth of cut, mm."""

    def feed(self, rpm: float) -> float:
        """The fastest feed at a spindle speed, mm/min."""
        return rpm * self.teeth * self.chip

    def rpm(self) -> float:
        """The fastest spindle speed."""
        return 1000 * self.speed / (math.pi * self.widest)


def allowed_for(tool: Tool, material: str, profile: Profile) -> Allowed:
    """What the table allows; a material that it does not list is cut as its row ``unknown``."""
    row = row_of(material)
    chip = _chip(row, table("materials")["diameters"], tool.edge)
    return Allowed(
        chip=chip,
        teeth=_teeth(tool, chip, profile),
        speed=_speed(row, tool, profile),
        widest=_widest(tool),
        plunge=float(row["plunge"]),
        depth=_depth(row, tool),
    )


def row_of(material: str) -> dict[str, Any]:
    """A material's row of the table."""
    rows = table("materials")
    found = rows.get(material)
    return dict(found if isinstance(found, dict) else rows["unknown"])


def _chip(row: dict[str, Any], diameters: list[float], diameter: float) -> float:
    """Linear between the table's diameters, in proportion below them, level above them."""
    return float(np.interp(diameter, [0.0, *diameters], [0.0, *row["chip"]]))


def _teeth(tool: Tool, chip: float, profile: Profile) -> int:
    """One tooth may cut it all where a small tool runs out by an unknown or large share."""
    rows = table("materials")
    known = profile.runout is not None and profile.runout <= rows["runout_share"] * chip
    return tool.flutes if known or tool.edge > rows["runout_diameter"] else 1


def _widest(tool: Tool) -> float:
    """The widest diameter that cuts, mm; a cone's, so many times its tip up."""
    if tool.shape is Shape.TAPERED_BALL:
        return 2 * tool.radius_at(table("proof")["cutting"]["cone"] * tool.edge)
    return tool.edge


def _speed(row: dict[str, Any], tool: Tool, profile: Profile) -> float:
    """The table's speed; a little more where the spindle turns no slower."""
    most, over = float(row["speed_max"]), table("proof")["cutting"]["speed_over"]
    slowest = math.pi * _widest(tool) * profile.spindle_min / 1000
    return float(min(max(most, slowest), most * over))


def _depth(row: dict[str, Any], tool: Tool) -> float:
    rows = table("materials")
    small = float(rows["small_factor"]) if tool.edge < rows["small_below"] else 1.0
    return min(float(row["depth"]) * tool.edge * small, tool.flute_length)
