"""How far down the round ends of a saddle are cut on edge."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from blankcam.data import table
from blankcam.faults import Fault
from blankcam.inputs.machine import Holding
from blankcam.machining.workholding import JAW_ROOM
from blankcam.parts.part import Part
from blankcam.parts.stage import Stage

ROOM = 0.05
"""mm over the least height above the jaws."""


def lowest(held: Holding) -> float:
    """How far down an end is cut, z."""
    return held.jaws + JAW_ROOM + ROOM


def jaw_faults(part: Part, held: Holding, stage: Stage) -> Iterator[Fault]:
    """A fault where the jaws leave next to nothing of the ends to be made round."""
    r, inside = part.thickness / 2, 1e-6
    x, y = np.meshgrid([r, part.length - r], [inside, part.thickness - inside])
    high = float(np.min(part.at(stage).lower(x, y)))
    most, low = float(table("limits")["ends"]["round_to"]) * high, lowest(held)
    if low > most:
        yield Fault(
            where=part.name,
            key="holding.jaw_top",
            found=f"{held.jaws:g} mm",
            wrong=f"the ends, {high:.2f} mm high, could be made round above {low:.2f} mm only",
            fix=f"lower the {held.grip}, or leave the ends to the file",
        )
