"""What the jaws and the machine's travel allow the operations of a set-up on edge."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Iterator, Sequence

from blankcam.faults import Fault
from blankcam.machining import jaws, workholding
from blankcam.machining.decision import Reason
from blankcam.machining.setup_sheet import Bench
from blankcam.parts.frames import Box
from blankcam.parts.part import Part


class Limits:
    """The jaws and the machine's travel, which all operations of the set-up share."""

    def __init__(self, part: Part, edge: Bench) -> None:
        self._part, self._edge, self._taken = part, edge, list[Box]()

    def against(self, name: str, reaches: Iterable[Box]) -> list[Reason]:
        """Why an operation that goes there can't be; where it can, it is counted in."""
        each = list(reaches)
        if not (found := self.foreseen(name, each)):
            self._taken += each
        return found

    def foreseen(self, name: str, reaches: Sequence[Box]) -> list[Reason]:
        """Why an operation that goes there can't be; it is not counted in yet."""
        faults = list(self._jaw_faults(name, min(box.z0 for box in reaches)))
        faults += self._travel_faults(reaches)
        return [Reason.of_limit(f) for f in faults]

    def against_beside_jaws(self, reach: Box) -> list[Reason]:
        """Why an operation can't be that goes as low as the jaws allow, whatever their height."""
        return [Reason.of_limit(f) for f in self._travel_faults([reach])]

    def in_jaws(self, edge: Bench) -> Bench:
        """The set-up with its jaws as high as given, or as the operations counted in allow."""
        held = edge.profile.holding
        window = jaws.Window(standing=edge.stock.z1, cut="", low=math.inf)
        # Where nothing has a say in it, no higher than they must hold
        least = window.least + jaws.SPARE
        low = min((box.z0 for box in self._taken), default=least)
        window = dataclasses.replace(window, low=low)
        profile = dataclasses.replace(edge.profile, holding=jaws.settled(held, window))
        return dataclasses.replace(edge, profile=profile)

    def _jaw_faults(self, name: str, low: float) -> Iterator[Fault]:
        edge = self._edge
        window = jaws.Window(standing=edge.stock.z1, cut=name, low=low)
        fix = _wider_window(window, edge)
        return jaws.height_faults(self._part.name, edge.profile.holding, window, fix)

    def _travel_faults(self, more: Sequence[Box]) -> list[Fault]:
        where = f"{self._part.name}, on edge"
        return workholding.travel_faults(where, self._edge.profile, [*self._taken, *more])


def _wider_window(window: jaws.Window, edge: Bench) -> str:
    """What would leave the jaws a height to stand at."""
    if edge.outline is not None or window.most < workholding.GRIP:
        return f"cut the {window.cut} by hand"
    lower = f"a blank no higher than {window.most / workholding.GRIP_SHARE:.2f} mm"
    return f'use {lower}, set outline = "mill" in [plan], or cut the {window.cut} by hand'
